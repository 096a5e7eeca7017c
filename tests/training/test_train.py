"""Garbage words, words cut in two, and the labels of what is left of them."""

import random

import numpy as np
import pytest

torch = pytest.importorskip("torch")

from training import lexicon, lfmmi, plan, train  # noqa: E402
from training.augment import Augment  # noqa: E402

STEP = 480  # samples per output frame


def two_words(folder):
    """One utterance, "go up": four phones of 0.1 s each after 0.3 s of silence."""
    times = np.zeros((1, 72), np.int32)
    phone, word = np.zeros((1, 72), np.uint8), np.zeros((1, 72), np.uint8)
    phone[0, :4] = [lexicon.INDEX[p] for p in ("G", "OW", "AH", "P")]
    word[0, :4] = [0, 0, 1, 1]
    begin, end = times.copy(), times.copy()
    begin[0, :4] = 4800 + 1600 * np.arange(4)
    end[0, :4] = begin[0, :4] + 1600
    np.save(folder / "pcm-0.npy", np.full(16000, 1000, np.int16))
    np.savez(folder / "speech-0.npz", start=np.array([0]), length=np.array([16000], np.int32),
             count=np.array([4], np.int32), trade=np.array([True]), phone=phone, word=word,
             begin=begin, end=end)  # fmt: skip
    return train.Speech(folder, [0], "cpu", 0.1)


@pytest.fixture
def batches(tmp_path, monkeypatch):
    monkeypatch.setattr(train.Batches, "work", lambda self: None)
    speech = two_words(tmp_path)
    bigram = lfmmi.Bigram.count([[0, 1, 0]], len(lexicon.PHONES))
    return train.Batches(speech, bigram, 3, 10, 0.0)


def test_half_a_word_is_garbage_and_what_lies_beyond_is_silence(batches, monkeypatch):
    monkeypatch.setattr(train, "FRAGMENTS", 1.0)
    monkeypatch.setattr(batches, "garbage", lambda words, trade: np.zeros(words, bool))
    seen = set()
    for _ in range(40):
        b = batches.make(np.array([0]), 1.2)
        low, high = b["keep"][0]
        phones = [p for p in b["phone"][0] if p]
        speech = batches.s
        t = {k: torch.from_numpy(v) for k, v in b.items()}
        labels = train.frame_labels(t, speech, torch.zeros(1, 1), torch.ones(1, 1), 34)[0] // 2
        names = [lexicon.PHONES[p] for p in phones]
        kept = [lexicon.PHONES[p] for p in dict.fromkeys(labels.tolist()) if p]
        assert names == kept
        heard = torch.arange(34) * STEP + 200.0
        assert (labels[(heard < low) | (heard >= high)] == lexicon.SIL).all()
        # 15 to 55 % of the word's 0.2 s are left
        edge = low if low > 0 else high
        inside = (edge - 4800) % 3200
        assert 0.15 <= (1 - inside / 3200 if low > 0 else inside / 3200) <= 0.55
        seen.add(tuple(names))
    assert seen == {("SPN",), ("SPN", "AH", "P"), ("G", "OW", "SPN")}


def test_the_samples_beyond_a_cut_are_not_heard():
    bank = torch.zeros(1, 16000).half()
    augment = Augment("cpu", 1, bank, torch.zeros(1, 8), 0.0)
    pcm = torch.full((16016,), 1000, dtype=torch.int16)
    keep = torch.tensor([[4000.0, 8000.0]])
    start, length = torch.tensor([1]), torch.tensor([16000])
    x, first, speed = augment.place(pcm, start, length, 24000, keep)
    loud = torch.nonzero(x[0]).flatten()
    source = (loud - first[0]) * speed[0]
    assert 4000 <= source.min() < 4002
    assert 7998 < source.max() < 8000


def test_a_lone_word_of_the_trade_is_hardly_ever_garbage(batches):
    share = np.mean([batches.garbage(1, True)[0] for _ in range(4000)])
    assert share < 0.02
    several = np.concatenate([batches.garbage(4, False) for _ in range(4000)])
    assert 0.09 < several.mean() < 0.13  # 0.14 * 0.5 + 0.04


def test_mixtures_of_voices_sum_to_one_and_no_two_are_alike():
    rng = random.Random(2)
    mixed = [plan.mixture(rng, [0, 1, 2], list(range(9))) for _ in range(200)]
    for voices, weights in mixed:
        assert len(voices) == len(weights) == plan.VOICES
        assert sum(weights) == pytest.approx(1)
        assert set(voices) <= set(range(9))
    assert len({tuple(w) for _, w in mixed}) == 200
