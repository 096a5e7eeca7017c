"""Records: what happened in an inspection, one frozen value each.

The state is a fold of the records and of nothing else, so everything that the session must
remember is in one of them. They are written to the journal in this order and never changed.
Fields are text, whole numbers, truth values, None, frozen dataclasses of these, or tuples of them,
so that a record can be written in canonical JSON and read back to an equal value (``to_body``,
``from_body``).

Quantities are text ("1.75 in"): a number never travels without its unit.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from types import UnionType
from typing import Any, ClassVar, get_args, get_origin, get_type_hints

from voicecheck.errors import SessionFault

Pairs = tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Stamp:
    """A moment: wall clock (ISO 8601 with offset, as the device shows it) and monotonic ms."""

    wall: str
    mono: int


@dataclass(frozen=True)
class Origin:
    """The record of another inspection that something carried rests on."""

    inspection: str  # name of its folder
    checklist: str
    record: int  # number in its journal
    digest: str  # SHA-256 of that record's line, which the chain covers
    wall: str  # when it was recorded


@dataclass(frozen=True)
class Carried:
    """A good answer of an earlier inspection of the same units, which is not asked again."""

    name: str  # that both steps carry
    step: str  # of this checklist
    text: str  # what was answered there
    quick: bool  # it was answered faster there than the walk and look allow
    origin: Origin


@dataclass(frozen=True)
class CarriedDefect:
    """A defect of an earlier inspection of one of the units, open when this one begins."""

    defect: str
    severity: str  # minor | major
    name: str  # that its step carried there, "" when none
    found_at: str  # the step that found it there
    step: str  # of this checklist that looks at the same thing, "" when none does
    item: str
    unit: str  # number of the unit that it belongs to, "" where that is not known
    text: str
    scope: tuple[str, ...]
    mended_by: str  # driver | mechanic
    source: tuple[str, ...]
    origin: Origin
    reckoning: str = ""  # that found it there


@dataclass(frozen=True, kw_only=True)
class Record:
    """Root of the records. ``at`` travels in the journal line's envelope, not in its body."""

    kind: ClassVar[str] = ""
    at: Stamp


@dataclass(frozen=True, kw_only=True)
class Opened(Record):
    """The inspection begins. The texts of the files travel with it, so that it replays alone."""

    kind: ClassVar[str] = "opened"
    inspection: str  # identity of the inspection
    checklist: str
    edition: str
    checklist_text: str
    hazards_text: str
    vehicle_text: str
    settings: Pairs
    jurisdiction: str
    season: str  # "winter" | "summer"
    operating: str  # "inspection" | "practice"
    source: str  # "microphone" | "wav" | "typed" | "rehearsal"
    engine: str
    engine_digest: str
    voice: str
    program: str
    driver: str
    carrier: str
    units: Pairs  # as described before the start: ("trailer", "T-4417"), ("trailer plate", ...)
    place: str
    codes: bool = False  # whether this device can check release codes
    audio_days: int = 0  # recordings may be deleted so many days after; 0: no date is set
    order: Pairs = ()  # the rest of the order, e.g. ("destination", "Dock 4")
    carried: tuple[Carried, ...] = ()
    defects: tuple[CarriedDefect, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Resumed(Record):
    kind: ClassVar[str] = "resumed"
    gap_s: int


@dataclass(frozen=True, kw_only=True)
class StepStarted(Record):
    """The step is being spoken; the facts in ``ends`` are false from here on.

    Not ``spoken``: it was answered in the breath of the question before, so its own is left out.
    """

    kind: ClassVar[str] = "step started"
    step: str
    ends: tuple[str, ...]
    hazard: str
    speaks: bool  # a caution or a confirming question must be spoken to its end first
    variant: int  # which of the rotating questions is asked
    together: tuple[str, ...] = ()  # the steps asked in one sentence, this one first
    spoken: bool = True


@dataclass(frozen=True, kw_only=True)
class Hold(Record):
    """The loop holds. hold: precondition | stop | unanswered. Confirm and timed holds are steps."""

    kind: ClassVar[str] = "hold"
    hold: str
    step: str
    missing: tuple[str, ...]  # facts, defects that stop, or steps without answer
    goes_to: str  # the step that clears it, "" for a stop
    text: str


@dataclass(frozen=True, kw_only=True)
class Said(Record):
    """A hold, caution or make-safe sentence was spoken to its end."""

    kind: ClassVar[str] = "said"
    what: str


@dataclass(frozen=True, kw_only=True)
class HeardReply(Record):
    """A reply came in, accepted or not. ``took`` says whether the session acted on it."""

    kind: ClassVar[str] = "heard"
    step: str
    words: str
    meaning: str
    certainty: str  # "clear" | "doubtful" | "typed"
    confidence: str  # "" when the engine gives none
    snr_db: str
    evidence: str  # file name of the audio, "" when typed
    digest: str
    took: bool
    why: str  # why it was refused, "" when taken


@dataclass(frozen=True, kw_only=True)
class NotHeard(Record):
    """Sound or silence that was no reply."""

    kind: ClassVar[str] = "not heard"
    step: str
    why: str  # noise | talk | fragment | too long | silence | muted | not kept
    words: str
    ms: int = 0  # how long the sound lasted


@dataclass(frozen=True, kw_only=True)
class FollowedUp(Record):
    """A further question inside the step: which, why, anything else, the second reading."""

    kind: ClassVar[str] = "followed up"
    step: str
    question: str
    about: str


@dataclass(frozen=True, kw_only=True)
class ReadBack(Record):
    """The reply was read back and waits for affirm or negative."""

    kind: ClassVar[str] = "read back"
    step: str
    text: str
    pending: str  # the reply that waits, as the session's own text


@dataclass(frozen=True, kw_only=True)
class ReadBackRefused(Record):
    kind: ClassVar[str] = "read back refused"
    step: str


@dataclass(frozen=True, kw_only=True)
class Timing(Record):
    """A timed interval runs: silent, replies refused until ``until`` (monotonic ms)."""

    kind: ClassVar[str] = "timing"
    step: str
    first: str
    until: int


@dataclass(frozen=True, kw_only=True)
class TimingDone(Record):
    """The interval ran to its end, or the clock to its longest time."""

    kind: ClassVar[str] = "timing done"
    step: str


@dataclass(frozen=True, kw_only=True)
class Marked(Record):
    """The driver's first or second mark. From the first one on the program is silent."""

    kind: ClassVar[str] = "marked"
    step: str
    mark: int  # 1 | 2
    mono: int  # monotonic ms at which the word began, or was heard where that is not known
    until: int  # monotonic ms at which the clock is called off, 0 at the second mark
    heard: int


@dataclass(frozen=True, kw_only=True)
class ItemNoted(Record):
    """One exception of a group, named by the driver."""

    kind: ClassVar[str] = "item noted"
    step: str
    item: str
    finding: str
    heard: int  # number of the heard record, counted from 1


@dataclass(frozen=True, kw_only=True)
class ItemMeasured(Record):
    """The figure of one item of a group, read back, and the judgement of it.

    Within its limit the item is no exception; else an ``ItemNoted`` goes with it.
    """

    kind: ClassVar[str] = "item measured"
    step: str
    item: str
    finding: str
    heard: int  # number of the heard record, counted from 1
    quantity: str
    limit: str
    verdict: str
    judged: str


@dataclass(frozen=True, kw_only=True)
class Answered(Record):
    """The step has its accepted answer.

    outcome: good | noted | failed | not done | cannot see | not fitted | blocked | carried.
    ``rested_on`` lists "fact<tab>supporter" pairs that the answer stood on.
    """

    kind: ClassVar[str] = "answered"
    step: str
    outcome: str
    answer: str  # id of the answer
    text: str  # what was answered, in words for a reader
    gives: tuple[str, ...]
    rested_on: tuple[str, ...]
    heard: int  # number of the heard record that it cites, 0 when none
    quantity: str  # "1.75 in", "" when no measurement
    first_quantity: str  # of two readings
    limit: str  # id of the limit it was judged by
    verdict: str  # within | outside | cannot judge | ""
    judged: str  # the judgement in words, with source and standing
    quick: bool  # answered faster than the walk and look allow


@dataclass(frozen=True, kw_only=True)
class Reckoned(Record):
    """A figure was reckoned from the answers in the records ``inputs``.

    It stands while they do; answered anew, they are reckoned anew.
    """

    kind: ClassVar[str] = "reckoned"
    reckoning: str
    inputs: tuple[int, ...]
    quantity: str  # "" when it cannot be judged
    limit: str
    verdict: str  # within | outside | cannot judge
    judged: str  # the judgement in words, with source and standing


@dataclass(frozen=True, kw_only=True)
class FactEnded(Record):
    kind: ClassVar[str] = "fact ended"
    fact: str
    why: str  # time | another step | left | stood by | resumed


@dataclass(frozen=True, kw_only=True)
class Withdrawn(Record):
    """An answer no longer stands; both answers stay in the journal."""

    kind: ClassVar[str] = "withdrawn"
    step: str
    # correction | rested on a withdrawn answer | again | released | answered anew | another unit
    why: str


@dataclass(frozen=True, kw_only=True)
class Again(Record):
    kind: ClassVar[str] = "again"
    step: str
    to: str
    count: int


@dataclass(frozen=True, kw_only=True)
class DefectFound(Record):
    kind: ClassVar[str] = "defect"
    defect: str
    number: int  # counted from 1 in this inspection
    severity: str  # minor | major
    step: str  # "" for a carried one that no step of this checklist looks at
    item: str
    text: str
    scope: tuple[str, ...]  # hazards that it blocks
    mended_by: str  # driver | mechanic
    source: tuple[str, ...]
    heard: int
    reckoning: str = ""  # id of the reckoning that found it: all its readings are its test
    origin: Origin | None = None  # of a carried one


@dataclass(frozen=True, kw_only=True)
class Released(Record):
    """A stop was released. how: driver-mended | in person (identity not verified) | by code."""

    kind: ClassVar[str] = "released"
    number: int  # of the defect
    how: str
    memo: str  # file name of the voice note, or the typed text; by code: the reference


@dataclass(frozen=True, kw_only=True)
class CodeAsked(Record):
    """The reference was told; the supervisor makes the code for it. ``number`` of the defect."""

    kind: ClassVar[str] = "code asked"
    number: int
    reference: str  # eight figures


@dataclass(frozen=True, kw_only=True)
class CodeGiven(Record):
    """A code was affirmed and is being checked."""

    kind: ClassVar[str] = "code given"
    number: int
    reference: str
    code: str


@dataclass(frozen=True, kw_only=True)
class CodeTried(Record):
    """What the check of a code said."""

    kind: ClassVar[str] = "code tried"
    number: int
    reference: str
    right: bool


@dataclass(frozen=True, kw_only=True)
class CarriedOn(Record):
    """The driver inspects on under these stops; what they block is recorded as blocked."""

    kind: ClassVar[str] = "carried on"
    numbers: tuple[int, ...]


@dataclass(frozen=True, kw_only=True)
class Asking(Record):
    """A command waits for affirm (ending, releasing, disregarding)."""

    kind: ClassVar[str] = "asking"
    command: str
    text: str


@dataclass(frozen=True, kw_only=True)
class AskingDropped(Record):
    kind: ClassVar[str] = "asking dropped"
    command: str


@dataclass(frozen=True, kw_only=True)
class MemoWanted(Record):
    kind: ClassVar[str] = "memo wanted"
    about: str  # "note" | "driver-mended" | "in person"
    number: int  # of the defect, 0 for a note


@dataclass(frozen=True, kw_only=True)
class MemoTaken(Record):
    kind: ClassVar[str] = "memo"
    step: str
    about: str
    evidence: str
    digest: str
    text: str  # typed memo, "" when spoken
    seconds: str


@dataclass(frozen=True, kw_only=True)
class Deferred(Record):
    """Next place: the open steps of this place come back at the end."""

    kind: ClassVar[str] = "deferred"
    steps: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class StoodBy(Record):
    kind: ClassVar[str] = "stood by"
    why: str  # driver | talk | what interrupted


@dataclass(frozen=True, kw_only=True)
class WentAhead(Record):
    kind: ClassVar[str] = "went ahead"
    away_s: int


@dataclass(frozen=True, kw_only=True)
class ModeSet(Record):
    kind: ClassVar[str] = "mode"
    mode: str  # brief | full


@dataclass(frozen=True, kw_only=True)
class MadeSafe(Record):
    """The make-safe sentence of an open hazard was ordered as the first words."""

    kind: ClassVar[str] = "make safe"
    hazard: str
    why: str
    text: str


@dataclass(frozen=True, kw_only=True)
class Lost(Record):
    kind: ClassVar[str] = "lost"
    what: str  # microphone | loudspeaker | synthesiser


@dataclass(frozen=True, kw_only=True)
class Back(Record):
    kind: ClassVar[str] = "back"
    what: str


@dataclass(frozen=True, kw_only=True)
class Finished(Record):
    """outcome: complete | stopped | not finished."""

    kind: ClassVar[str] = "finished"
    outcome: str
    why: str


KINDS: dict[str, type[Record]] = {
    cls.kind: cls
    for cls in (
        Opened, Resumed, StepStarted, Hold, Said, HeardReply, NotHeard, FollowedUp, ReadBack,
        ReadBackRefused, Timing, TimingDone, Marked, ItemNoted, ItemMeasured, Answered, Reckoned,
        FactEnded, Withdrawn, Again, DefectFound, Released, CodeAsked, CodeGiven, CodeTried,
        CarriedOn, Asking, AskingDropped, MemoWanted, MemoTaken, Deferred, StoodBy, WentAhead,
        ModeSet, MadeSafe, Lost, Back, Finished,
    )
}  # fmt: skip


def to_body(record: Record) -> dict[str, Any]:
    """The fields of a record without ``at``, as JSON values."""
    return {
        field.name: _plain(getattr(record, field.name))
        for field in dataclasses.fields(record)
        if field.name != "at"
    }


def from_body(kind: str, body: Mapping[str, Any], at: Stamp) -> Record:
    """The inverse of :func:`to_body`. SessionFault for an unknown kind or a wrong field."""
    cls = KINDS.get(kind)
    if cls is None:
        raise SessionFault(
            f"The journal has a record of unknown kind {kind!r}.",
            "use the program version that wrote the journal",
        )
    hints = _HINTS[cls]
    if set(body) != set(hints):
        raise SessionFault(
            f"A record {kind!r} has other fields than this version writes.",
            "use the program version that wrote the journal",
        )
    return cls(at=at, **{name: _typed(hints[name], value) for name, value in body.items()})


def _hints(cls: type) -> dict[str, Any]:
    return {
        name: hint
        for name, hint in get_type_hints(cls).items()
        if name != "at" and get_origin(hint) is not ClassVar
    }


_PARTS = {cls: _hints(cls) for cls in (Origin, Carried, CarriedDefect)}
_HINTS: dict[type[Record], dict[str, Any]] = {cls: _hints(cls) for cls in KINDS.values()}


def _plain(value: Any) -> Any:
    if isinstance(value, tuple):
        return [_plain(v) for v in value]
    if type(value) in _PARTS:
        return {name: _plain(getattr(value, name)) for name in _PARTS[type(value)]}
    return value


def _typed(hint: Any, value: Any) -> Any:
    origin = get_origin(hint)
    if origin is tuple and isinstance(value, list):
        args = get_args(hint)
        inner = [args[0]] * len(value) if len(args) == 2 and args[1] is Ellipsis else list(args)
        if len(inner) == len(value):
            return tuple(_typed(t, v) for t, v in zip(inner, value, strict=True))
    elif origin is UnionType:
        return None if value is None else _typed(get_args(hint)[0], value)
    elif hint in _PARTS and isinstance(value, dict) and set(value) == set(_PARTS[hint]):
        return hint(**{name: _typed(_PARTS[hint][name], v) for name, v in value.items()})
    elif origin is None and type(value) is hint:
        return value
    raise SessionFault(
        f"A record holds {value!r} where {hint} is wanted.",
        "the journal was changed, or written by another version",
    )
