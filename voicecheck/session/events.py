"""Events: what happened outside, told to the session. Past tense, frozen, each with its moment."""

from __future__ import annotations

from dataclasses import dataclass

from voicecheck.session.records import Opened, Stamp


@dataclass(frozen=True, kw_only=True)
class Event:
    at: Stamp


@dataclass(frozen=True, kw_only=True)
class Started(Event):
    """The inspection was opened; ``opened`` is its first record."""

    opened: Opened


@dataclass(frozen=True, kw_only=True)
class Resumed(Event):
    """The program came back after a crash, a suspend or an interruption of ``gap_s`` seconds."""

    gap_s: int


@dataclass(frozen=True, kw_only=True)
class PromptEnded(Event):
    """A sentence that may not be interrupted was spoken to its end. ``name`` is Say.name."""

    name: str


@dataclass(frozen=True, kw_only=True)
class ReplyHeard(Event):
    """Words were heard or typed. certainty: clear | doubtful | typed."""

    words: str
    certainty: str
    confidence: str = ""
    snr_db: str = ""
    evidence: str = ""
    digest: str = ""
    ago_ms: int = 0  # how long before ``at`` the words began, 0 where that is not known


@dataclass(frozen=True, kw_only=True)
class SoundRefused(Event):
    """Sound that was no reply.

    why: noise | talk | fragment | too long | silence | muted | not kept | engine.
    """

    why: str
    words: str = ""
    ms: int = 0  # how long it lasted


@dataclass(frozen=True, kw_only=True)
class MemoHeard(Event):
    """A voice note was recorded (``evidence``), or typed (``text``)."""

    evidence: str
    digest: str
    seconds: str
    text: str = ""


@dataclass(frozen=True, kw_only=True)
class CodeChecked(Event):
    """The release code for ``reference`` was compared with the one that the key gives."""

    reference: str
    right: bool


@dataclass(frozen=True, kw_only=True)
class TimerElapsed(Event):
    name: str


@dataclass(frozen=True, kw_only=True)
class MicrophoneLost(Event):
    pass


@dataclass(frozen=True, kw_only=True)
class MicrophoneBack(Event):
    pass


@dataclass(frozen=True, kw_only=True)
class SpeechLost(Event):
    """What is said cannot be heard. what: loudspeaker | synthesiser."""

    what: str


@dataclass(frozen=True, kw_only=True)
class SpeechBack(Event):
    what: str


@dataclass(frozen=True, kw_only=True)
class Interrupted(Event):
    """The program is told to stop, or is failing. ``why`` for the record."""

    why: str


@dataclass(frozen=True, kw_only=True)
class ClosedLate(Event):
    """The inspection was not resumed in time and is closed as unfinished."""

    why: str
