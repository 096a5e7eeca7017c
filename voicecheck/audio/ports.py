"""What passes between the sound adapters and the loop.

Rules of this room:

1. Sound is 16 kHz, one channel, signed 16-bit little-endian, cut into blocks of 512 samples.
   Everything that brings other sound in refuses it (wav.py) or converts it before this border.
2. Nothing here reads a clock. Time is the number of samples heard so far, in seconds.
3. A reply is heard whole or not at all. A text that is not a whole phrase of what may be said
   now is never passed on as heard, nor is the rest of a sentence whose beginning was missed.
4. Turning a bad answer into a good one is the accident to prevent. Whatever is not clearly a
   good answer is at most doubtful, and the session reads it back.
5. Sound is evidence: what was recognised leaves this room together with the samples, the level
   and the estimated signal-to-noise ratio it was recognised from.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol, runtime_checkable

if TYPE_CHECKING:
    from voicecheck.errors import VoicecheckError
    from voicecheck.reply.grammar import Vocabulary

RATE = 16_000
"""Samples a second."""
BLOCK = 512
"""Samples of a block (32 ms); a block is ``2 * BLOCK`` bytes."""
UNKNOWN = "[unk]"
"""The word that stands for sound outside the vocabulary."""


@dataclass(frozen=True)
class Word:
    """One recognised word; times in seconds from the utterance's first sample."""

    text: str
    start: float
    end: float
    confidence: float


@dataclass(frozen=True)
class Hypothesis:
    """What a recogniser makes of an utterance.

    ``text`` is empty when nothing was recognised and may contain ``[unk]``. ``confidence`` is
    the lowest of the words' confidences (0 to 1), 0 when there is no word.
    """

    text: str
    words: tuple[Word, ...]
    confidence: float


@runtime_checkable
class Recogniser(Protocol):
    """Turns one whole utterance into words of the vocabulary it was prepared for."""

    @property
    def name(self) -> str:
        """Engine and version, for example ``vosk 0.3.45``."""
        ...

    @property
    def digest(self) -> str:
        """SHA-256 (hex) of the model files in use."""
        ...

    @property
    def trusts_pass(self) -> bool:
        """False: with this engine every accepted reply is read back."""
        ...

    def prepare(self, vocabulary: Vocabulary) -> None:
        """Listen for this vocabulary from now on. Raises WordNotInModel."""
        ...

    def hear(self, samples: bytes) -> Hypothesis:
        """Recognise one utterance (16 kHz mono int16)."""
        ...

    def missing(self, words: Iterable[str]) -> tuple[str, ...]:
        """Those of ``words`` that this engine can never hear, in the order given."""
        ...


@runtime_checkable
class RivalScoring(Protocol):
    """An engine that can say by how much a phrase beat everything else."""

    def margin(self, samples: bytes, phrase: str) -> float:
        """Natural-log score of the best path less that of the best path without ``phrase``.

        0 or less when ``phrase`` is not what the engine hears best.
        """
        ...


@dataclass(frozen=True)
class Utterance:
    """One stretch of speech with what led up to it.

    ``samples`` begin 0.5 s before the speech (less at the very beginning of the stream) and end
    with the silence that ended it. ``start``, ``end`` and where the speech itself starts and ends
    are stream seconds.
    ``snr_db`` is None when there was too little sound before the speech to know the floor; in
    wind the figure is poor (see acceptance.py). ``peak_dbfs`` is 0 at full scale.
    """

    samples: bytes
    start: float
    end: float
    speech_start: float
    speech_end: float
    snr_db: float | None
    peak_dbfs: float
    clipped: bool


@dataclass(frozen=True)
class Heard:
    """A whole reply. ``certainty``: "clear", or "doubtful" (must be read back)."""

    hypothesis: Hypothesis
    utterance: Utterance
    certainty: str


@dataclass(frozen=True)
class NotHeard:
    """Sound that gives no reply.

    ``why``: "noise" (no words), "talk" (words, not of the vocabulary or not sure enough),
    "fragment" (part of a phrase, or speech that had begun before the ear was opened),
    "too long", "silence" (the stream ended without speech) or "muted" (exact zeros).
    ``text`` is what the recogniser made of it, for the log; never an answer.
    """

    why: str
    utterance: Utterance | None
    text: str


@dataclass(frozen=True)
class Memo:
    """Free talk, kept as sound only."""

    utterance: Utterance


class Voice(Protocol):
    """Text to sound."""

    @property
    def name(self) -> str: ...

    def render(self, text: str) -> bytes:
        """16 kHz mono int16 samples of ``text``. Raises NoSynthesiser."""
        ...


class Speaker(Protocol):
    """Plays sound. ``done`` is called once, on another thread, when it was played to its end,
    and never when it was stopped or the device was lost.

    ``failure`` says then why the sound did not come to its end; whoever reads it sets it to None.
    """

    failure: VoicecheckError | None

    @property
    def playing(self) -> bool: ...

    def play(self, samples: bytes, done: Callable[[], None]) -> None: ...

    def stop(self) -> None: ...
