"""The table of thresholds and the judgement, case by case (rules at the head of acceptance.py)."""

from __future__ import annotations

import math

import pytest

from voicecheck.audio.acceptance import TABLE, UNKNOWN_ENGINE, judge, thresholds_of
from voicecheck.audio.ports import Hypothesis, Word

VOSK = TABLE["vosk"]


def verdict(
    confidence: float,
    *,
    careful: bool = False,
    trusted: bool = True,
    snr_db: float | None = 20.0,
    margin: float | None = 99.0,
) -> str:
    heard = Hypothesis("pass", (Word("pass", 0, 0.4, confidence),), confidence)
    ask = None if margin is None else lambda: margin
    return judge(heard, VOSK, careful=careful, trusted=trusted, snr_db=snr_db, margin=ask)


def test_rows() -> None:
    for engine, row in TABLE.items():
        assert 0 <= row.low <= row.high <= row.careful_high, engine
        assert row.measured and "pending" not in row.measured
    assert VOSK.careful_high > VOSK.high and VOSK.margin > 0
    assert thresholds_of("vosk 0.3.45") is VOSK
    assert thresholds_of("something else 1") is UNKNOWN_ENGINE


@pytest.mark.parametrize("engine", ["pocketsphinx 5.1.1", "something else 1"])
@pytest.mark.parametrize("careful", [True, False])
def test_engines_that_are_never_clear(engine: str, careful: bool) -> None:
    """pocketsphinx accepted 157 of 160 sentences outside its grammar with any confidence."""
    heard = Hypothesis("pass", (Word("pass", 0, 0.4, 1.0),), 1.0)
    row = thresholds_of(engine)
    said = judge(heard, row, careful=careful, trusted=True, snr_db=60, margin=lambda: math.inf)
    assert said == "doubtful"


def test_three_bands() -> None:
    assert verdict(VOSK.low - 0.01) == "talk"
    assert verdict(VOSK.low) == "doubtful"
    assert verdict(VOSK.high - 0.01) == "doubtful"
    assert verdict(VOSK.high) == "clear"


def test_careful_needs_more_and_a_margin() -> None:
    assert verdict(VOSK.careful_high, careful=True) == "clear"
    assert verdict(VOSK.careful_high - 0.001, careful=True) == "doubtful"
    assert verdict(1.0, careful=True, margin=VOSK.margin - 0.01) == "doubtful"
    assert verdict(1.0, careful=True, margin=-math.inf) == "doubtful"
    assert verdict(1.0, careful=True, margin=math.nan) == "doubtful"
    assert verdict(1.0, careful=True, margin=None) == "doubtful"
    assert verdict(1.0, margin=None) == "clear"


def test_figures_have_a_bound_of_their_own() -> None:
    """They are read back whatever is said here (session/rules.py); phrases are not."""
    assert VOSK.low_figures is not None and 0.3 <= VOSK.low_figures <= VOSK.low
    for confidence, figures, said in (
        (VOSK.low_figures, True, "doubtful"),
        (VOSK.low_figures - 0.01, True, "talk"),
        (VOSK.low - 0.01, False, "talk"),
    ):
        heard = Hypothesis("fifty", (Word("fifty", 0, 0.4, confidence),), confidence)
        assert said == judge(
            heard, VOSK, careful=False, trusted=True, snr_db=20, margin=None, figures=figures
        )


def test_a_phrase_fills_its_speech() -> None:
    """Speech around the phrase makes it talk, whatever its score: "pass me the flashlight"."""
    heard = Hypothesis("pass", (Word("pass", 0, 0.4, 1.0),), 1.0)

    def said(before: float, after: float) -> str:
        return judge(
            heard, VOSK, careful=True, trusted=True, snr_db=20, margin=lambda: 99.0,
            outside=(before, after),
        )  # fmt: skip

    assert 0 < VOSK.before < 0.6 and 0 < VOSK.after < 1.0
    assert said(VOSK.before, VOSK.after) == said(-0.1, -0.1) == "clear"
    assert said(VOSK.before + 0.01, 0) == said(0, VOSK.after + 0.01) == "talk"
    assert said(math.inf, 0) == "talk"


@pytest.mark.parametrize("snr_db", [None, -20.0, VOSK.floor_db - 0.1])
def test_noise_above_the_measured_one_makes_doubtful(snr_db: float | None) -> None:
    assert verdict(1.0, snr_db=snr_db) == "doubtful"
    assert verdict(0.1, snr_db=snr_db) == "talk"


def test_the_margin_is_not_asked_without_need() -> None:
    def never() -> float:
        raise AssertionError("a decode for nothing")

    between = (VOSK.low + VOSK.careful_high) / 2
    heard = Hypothesis("pass", (Word("pass", 0, 0.4, between),), between)
    assert judge(heard, VOSK, careful=True, trusted=True, snr_db=20, margin=never) == "doubtful"
    sure = Hypothesis("fail", (Word("fail", 0, 0.4, 1.0),), 1.0)
    assert judge(sure, VOSK, careful=False, trusted=True, snr_db=20, margin=never) == "clear"
