"""Actions: what the session wants done. Imperative, frozen, performed in order.

Records come first: whoever performs the actions writes every ``Keep`` durably before anything that
follows from it is said (invariant J1).
"""

from __future__ import annotations

from dataclasses import dataclass

from voicecheck.reply.grammar import Expect
from voicecheck.session.records import Record


@dataclass(frozen=True)
class Action:
    pass


@dataclass(frozen=True)
class Keep(Action):
    """Write the record to the journal."""

    record: Record


@dataclass(frozen=True)
class Say(Action):
    """Speak. A sentence that may not be interrupted is reported back with its ``name``."""

    text: str
    interruptible: bool = True
    name: str = ""


@dataclass(frozen=True)
class Tone(Action):
    """listening | accepted | hold | not understood | working."""

    name: str


@dataclass(frozen=True)
class Listen(Action):
    """Hear these forms from now on. ``careful`` are the phrases that unlock or pass."""

    expect: Expect
    careful: frozenset[str] = frozenset()


@dataclass(frozen=True)
class ListenMemo(Action):
    """Record talk until it ends, recognise nothing."""


@dataclass(frozen=True)
class CheckCode(Action):
    """Compare a release code with the device's key; told back at once as CodeChecked."""

    reference: str
    code: str


@dataclass(frozen=True)
class Deafen(Action):
    """Hear nothing: a hold is being spoken, or the driver listens for a leak."""


@dataclass(frozen=True)
class StartTimer(Action):
    name: str
    seconds: float


@dataclass(frozen=True)
class Finish(Action):
    """The inspection is over (or interrupted: ``outcome`` is then "interrupted")."""

    outcome: str
