"""Where a sound that was broken off goes on, so that no word of it is lost."""

from __future__ import annotations

import numpy as np

from voicecheck.audio.ports import RATE

_FRAME = RATE // 100
_PAUSE_FRAMES = 8
"""80 ms of quiet: more than the silence within most words (a stop consonant closes for less)."""
_QUIET = 0.05
"""Of the loudest frame: what counts as quiet."""
_HEARD_S = 0.45
"""At least this lies between the pause and the break: the last sound was still on its way (0.3 s by
radio) and was not heard."""
_MOST_S = 2.5
"""So far back at most; where there is no pause, from the quietest place."""


def pause_before(samples: bytes, place: int) -> int:
    """The sample of ``samples`` (16 kHz mono int16) from which to go on after a break at ``place``.

    It lies before ``place``: what was heard last is heard again, from the middle of a pause.
    """
    last = (place - round(_HEARD_S * RATE)) // _FRAME
    first = max(0, (place - round(_MOST_S * RATE)) // _FRAME)
    values = np.frombuffer(samples, dtype="<i2").astype(np.float64)
    frames = values[: values.size // _FRAME * _FRAME].reshape(-1, _FRAME)
    last = min(last, len(frames))
    if last <= _PAUSE_FRAMES:
        return 0
    loud = np.sqrt(np.mean(frames**2, axis=1))
    quiet = (loud <= _QUIET * loud.max())[first:last].astype(int)
    runs = np.convolve(quiet, np.ones(_PAUSE_FRAMES, dtype=int), "valid")
    whole = np.flatnonzero(runs == _PAUSE_FRAMES)
    if whole.size:
        return int((first + whole[-1] + _PAUSE_FRAMES // 2) * _FRAME)
    if first == 0:
        return 0
    return int((first + int(loud[first:last].argmin())) * _FRAME)
