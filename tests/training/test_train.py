"""Garbage words, words cut in two, and the labels of what is left of them."""

import random

import numpy as np
import pytest

torch = pytest.importorskip("torch")

from training import lexicon, lfmmi, plan, train  # noqa: E402
from training.augment import Augment  # noqa: E402
from training.texts import Texts  # noqa: E402

STEP = 480  # samples per output frame


def two_words(folder, contrast=False):
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
             count=np.array([4], np.int32), trade=np.array([True]),
             contrast=np.array([contrast]), phone=phone, word=word,
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
        # 15 to 45 % of the word's 0.2 s are left
        edge = low if low > 0 else high
        inside = (edge - 4800) % 3200
        assert 0.15 <= (1 - inside / 3200 if low > 0 else inside / 3200) <= 0.45
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
    assert 0.1 < several.mean() < 0.14  # 0.14 * 0.5 + 0.05
    # lone words and short rows of talk are garbage more often
    lone = np.mean([batches.garbage(1, False)[0] for _ in range(4000)])
    assert 0.26 < lone < 0.34
    batches.garbled = False
    assert not any(batches.garbage(n, False).any() for n in (1, 2, 5) for _ in range(200))


def test_several_stored_files_are_one(tmp_path):
    two_words(tmp_path, contrast=True)
    for name in ("pcm-0.npy", "speech-0.npz"):
        (tmp_path / name).rename(tmp_path / name.replace("0", "1"))
    two_words(tmp_path)
    both = train.Speech(tmp_path, [0, 1], "cpu", 0.1)
    assert both.start.tolist() == [1, 16000] and len(both.pcm) == 32016
    assert len(train.Speech(tmp_path, [0, 1], "cpu", 0.1, contrast=False).start) == 1


def test_without_noise_or_shifts_the_speech_is_as_it_was():
    bank = torch.randn(4, 16000).half()
    pcm = torch.full((16016,), 1000, dtype=torch.int16)
    keep, start = torch.tensor([[0.0, 1e9]] * 8), torch.ones(8, dtype=torch.long)
    length = torch.tensor([16000] * 8)
    still = Augment("cpu", 1, bank, torch.zeros(1, 8), 1.0, ["shifts"])
    assert still.place(pcm, start, length, 24000, keep)[2].eq(1).all()
    assert len(still.mfcc.banks) == 1
    moved = Augment("cpu", 1, bank, torch.zeros(1, 8), 1.0)
    assert not moved.place(pcm, start, length, 24000, keep)[2].eq(1).all()


def test_a_word_that_sounds_like_a_reply_is_no_lone_talk():
    texts = Texts(random.Random(4), ["know", "ate", "won", "table", "node", "done", "gate"])
    assert texts.outside == ["table", "node", "gate"]
    assert set(texts.near) == {"node", "gate"}
    said = [texts.segment() for _ in range(3000)]
    assert 0.07 < np.mean([s.contrast and s.trade for s in said]) < 0.13
    talk = [s.words[0] for s in said if not s.trade and len(s.words) == 1]
    assert talk and set(talk) <= set(texts.outside)


def test_mixtures_of_voices_sum_to_one_and_no_two_are_alike():
    rng = random.Random(2)
    mixed = [plan.mixture(rng, [0, 1, 2], list(range(9))) for _ in range(200)]
    for voices, weights in mixed:
        assert len(voices) == len(weights) == plan.VOICES
        assert sum(weights) == pytest.approx(1)
        assert set(voices) <= set(range(9))
    assert len({tuple(w) for _, w in mixed}) == 200
