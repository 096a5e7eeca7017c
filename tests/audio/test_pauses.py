"""A prompt that was broken off goes on without losing a word."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from voicecheck.audio.pauses import pause_before
from voicecheck.audio.ports import RATE

# words of noise and pauses, in seconds: a word is loud, a pause is not
WORDS = ((0.0, 0.9), (1.1, 2.0), (2.2, 3.4), (3.55, 5.0))


def prompt() -> bytes:
    values = np.random.default_rng(5).normal(0, 3000, 5 * RATE)
    t = np.arange(values.size) / RATE
    loud = np.any([(first <= t) & (t < last) for first, last in WORDS], axis=0)
    return np.where(loud, values, values / 300).astype("<i2").tobytes()


PROMPT = prompt()


@given(st.floats(0.0, 5.2))
def test_it_goes_on_before_the_first_word_that_was_not_heard_whole(seconds: float) -> None:
    """Up to 0.3 s of sound are still on their way to a headset by radio (common practice, no
    source: 0.1 to 0.3 s)."""
    at = pause_before(PROMPT, round(seconds * RATE)) / RATE
    assert at == 0 or any(before[1] < at < after[0] for before, after in pairwise(WORDS))
    unheard = [first for first, last in WORDS if last > seconds - 0.3]
    assert at <= (unheard[0] if unheard else 5.0)
    assert seconds - at < 2.6 or seconds > 5


def test_without_a_pause_it_goes_on_from_the_quietest_place_of_the_last_seconds() -> None:
    values = np.random.default_rng(6).normal(0, 3000, 6 * RATE)
    dip = slice(round(3.5 * RATE), round(3.54 * RATE))
    values[dip] /= 10
    at = pause_before(values.astype("<i2").tobytes(), 5 * RATE)
    assert dip.start - RATE // 100 <= at < dip.stop


def test_in_its_beginning_it_is_said_from_its_beginning() -> None:
    assert pause_before(PROMPT, 0) == 0
    assert pause_before(PROMPT, RATE // 2) == 0
    assert pause_before(b"", RATE) == 0
