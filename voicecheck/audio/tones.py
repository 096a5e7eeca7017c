"""The short sounds of the loop, synthesised; each differs from the others in pitch and rhythm.

A person in gloves beside an engine tells them apart by rhythm even when pitch is masked: one
short, two rising, three level, two falling and long, one soft tick. All lie between 500 and
1,600 Hz, above most of the engine's energy and inside what a headset carries. (Common practice,
no source.)
"""

from __future__ import annotations

import math
from array import array
from functools import cache

from voicecheck.audio.ports import RATE

# name: sequence of (hertz, milliseconds); 0 Hz is a pause.
_SCORE: dict[str, tuple[tuple[int, int], ...]] = {
    "listening": ((880, 90),),
    "accepted": ((1047, 60), (0, 40), (1568, 90)),
    "hold": ((523, 140), (0, 80), (523, 140), (0, 80), (523, 140)),
    "not understood": ((784, 110), (0, 50), (587, 240)),
    "working": ((1319, 25), (0, 200), (1319, 25)),
}
_PEAK = 0.35
_RAMP_MS = 6

NAMES = tuple(_SCORE)


@cache
def tone(name: str) -> bytes:
    """Samples (16 kHz mono int16) of "listening", "accepted", "hold", "not understood" or
    "working". Raises KeyError for another name."""
    out = array("h")
    for hertz, milliseconds in _SCORE[name]:
        count = RATE * milliseconds // 1000
        ramp = RATE * _RAMP_MS // 1000
        for n in range(count):
            if hertz == 0:
                out.append(0)
                continue
            edge = min(1.0, (n + 1) / ramp, (count - n) / ramp)
            swell = 0.5 - 0.5 * math.cos(math.pi * edge)  # no click at either end
            phase = 2 * math.pi * hertz * n / RATE
            value = math.sin(phase) + 0.2 * math.sin(2 * phase)
            out.append(round(32767 * _PEAK * swell * value / 1.2))
    return _little_endian(out)


def _little_endian(samples: array[int]) -> bytes:
    import sys

    if sys.byteorder == "big":
        samples.byteswap()
    return samples.tobytes()
