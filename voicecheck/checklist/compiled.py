"""A checklist as the session walks it: expanded for one vehicle, season and set of settings.

Everything is frozen and plain. An author never writes these; :mod:`voicecheck.checklist.load`
makes them from what an author writes (:mod:`voicecheck.checklist.model`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Literal

from voicecheck.units import Unit

Kind = Literal[
    "done", "verdict", "answers", "group", "measure", "timed", "clocked", "spell", "date", "memo",
    "attest",
]  # fmt: skip
Severity = Literal["minor", "major"]
Lasts = Literal["lasting", "until left", "time"]


@dataclass(frozen=True)
class Need:
    """A condition over facts: a leaf (``fact``), or any / all of ``parts``."""

    how: Literal["fact", "any", "all"]
    fact: str = ""
    parts: tuple[Need, ...] = ()

    def holds(self, true: Callable[[str], bool]) -> bool:
        if self.how == "fact":
            return true(self.fact)
        found = self.how == "any"
        for part in self.parts:
            if part.holds(true) is found:
                return found
        return not found

    def leaves(self) -> tuple[str, ...]:
        """The plain facts that it reads, in written order."""
        if self.how == "fact":
            return (self.fact,)
        return tuple(dict.fromkeys(leaf for part in self.parts for leaf in part.leaves()))


@dataclass(frozen=True)
class Fact:
    """``lasts``: "lasting", "until left", or "time" with ``seconds``."""

    name: str
    text: str
    lasts: Lasts
    seconds: int = 0


@dataclass(frozen=True)
class Defect:
    id: str
    text: str
    severity: Severity
    scope: tuple[str, ...]
    mended_by: Literal["driver", "mechanic"]
    source: tuple[str, ...]


@dataclass(frozen=True)
class Hazard:
    """``needs`` by the names the reader knows (a derived fact keeps its name)."""

    name: str
    text: str
    needs: tuple[str, ...]
    caution: str
    safe: str
    moving: bool
    never_blocked: bool = False  # a make-safe movement: no stop blocks it
    parts: bool = False  # the units are apart before it or after it


@dataclass(frozen=True)
class Answer:
    """A state that may be named, and what follows from it.

    Exactly one of: it is good (gives facts, may be none), ``again`` (go back to that step; at the
    third time ``third`` is found), ``defect``, ``repeat`` (ask again), or ``bad`` (recorded as
    failed, gives nothing, finds no defect: the hold comes where the fact is needed).
    """

    id: str
    said: tuple[str, ...]
    gives: tuple[str, ...] = ()
    again: str = ""
    third: str = ""
    defect: str = ""
    repeat: bool = False
    bad: bool = False
    say: str = ""  # spoken after it, e.g. what to do before the next try


@dataclass(frozen=True)
class Variant:
    """One form of the question with its own answers (rotating confirm questions)."""

    ask: str
    brief: str
    answers: tuple[Answer, ...]


@dataclass(frozen=True)
class Item:
    """One thing of a group, or the step itself in a verdict, with what can be wrong with it."""

    name: str
    said: tuple[str, ...]
    wrong: tuple[tuple[str, str], ...]  # (spoken finding, defect id)
    unit: str = ""  # of the vehicle that it belongs to, "" where the author named it
    measured: tuple[tuple[str, Reading], ...] = ()  # what is said of it, and the figure then asked

    @property
    def findings(self) -> tuple[str, ...]:
        """What may be said of it: what is wrong with it, or that it was measured."""
        return tuple(finding for finding, _ in (*self.wrong, *self.measured))


@dataclass(frozen=True)
class Reading:
    """A measurement, its plausible range in ``unit``, and what it is judged by (limits/)."""

    unit: Unit
    units: tuple[Unit, ...]
    fractions: bool
    low: Decimal | None
    high: Decimal | None
    limit: str  # id of a limit or name of a family, "" when only recorded
    given: tuple[tuple[str, str], ...]
    outside: str  # defect id when outside the limit, "" when only told
    seconds: int = 0  # timed: length of the silent interval; clocked: the longest time
    # timed: the question after the interval; clocked: after the first mark; item: for its figure
    second_ask: str = ""
    fall: bool = True  # timed: the judged quantity is the fall per minute


@dataclass(frozen=True)
class Reckoning:
    """A figure reckoned by a rule of limits/reckon.py from the readings of ``steps``."""

    id: str
    text: str
    rule: str
    steps: tuple[str, ...]
    given: tuple[tuple[str, str], ...]
    outside: str  # defect id when outside the limit, "" when only told
    sources: tuple[str, ...]


@dataclass(frozen=True)
class Spelling:
    least: int
    most: int
    match: str  # key of the inspection's units to compare with, "" to record only
    mismatch: str  # defect id, or "" : recorded as failed, gives nothing


@dataclass(frozen=True)
class DateAsked:
    what: str
    overdue: str  # defect id
    day: bool
    valid: str = ""  # how long after the date spoken, "12 months" or "24 h"; "": that date itself


@dataclass(frozen=True)
class Breath:
    """Steps that may be asked in one sentence, in order, the asking one first."""

    steps: tuple[str, ...]
    ask: str
    brief: str


@dataclass(frozen=True)
class Step:
    id: str
    place: str
    item: str  # short name, for lists and the report
    kind: Kind
    variants: tuple[Variant, ...]
    hazard: str = ""
    caution: str = ""
    explain: str = ""
    location: str = ""
    needs: tuple[str, ...] = ()  # names of facts, the hazard's among them
    gives: tuple[str, ...] = ()  # on the good answer of done, verdict, measure, spell, date, attest
    ends: tuple[str, ...] = ()
    wrong: tuple[tuple[str, str], ...] = ()  # verdict: (spoken finding, defect id)
    not_fitted: bool = False
    items: tuple[Item, ...] = ()
    reading: Reading | None = None
    spelling: Spelling | None = None
    date: DateAsked | None = None
    hands_busy: bool = False
    only_again: bool = False  # led to by an again only, never in the ordinary walk
    confirm: bool = False  # the state must be named; "pass" is refused
    carry: str = ""  # name under which a good answer holds in another checklist of the day
    look_s: int = 2  # shortest honest time for looking; faster answers are marked
    sources: tuple[str, ...] = ()
    unit: str = ""  # of the vehicle, where the step is one of several positions
    written: str = ""  # id that the author wrote; several steps have it where it was expanded
    good: tuple[str, ...] = ()  # words of its own for "pass", "done" or "all good"
    together: Breath | None = None

    @property
    def question(self) -> str:
        """What is asked, for a reader."""
        return self.variants[0].ask

    def asked(self, variant: int, together: bool, brief: bool) -> str:
        """The question as it is spoken, without place and caution.

        ``together``: in one sentence with the steps that follow it.
        """
        joint = self.together if together else None
        words = joint or self.variants[variant]
        return words.brief if brief else words.ask


@dataclass(frozen=True, eq=False)
class Compiled:
    """The whole checklist. ``needs_of`` resolves derived facts."""

    id: str
    edition: str
    title: str
    steps: tuple[Step, ...]
    facts: Mapping[str, Fact]
    derived: Mapping[str, Need]
    exclusive: tuple[tuple[str, str], ...]
    hazards: Mapping[str, Hazard]
    defects: Mapping[str, Defect]
    places: Mapping[str, str]
    settings: Mapping[str, str] = field(default_factory=dict)
    setting_texts: Mapping[str, str] = field(default_factory=dict)
    reckonings: tuple[Reckoning, ...] = ()

    def step(self, id: str) -> Step:
        return self._by_id[id]

    def index(self, id: str) -> int:
        return self._index[id]

    def need(self, name: str) -> Need:
        """The condition behind the name of a plain or derived fact."""
        return self._needs.get(name) or Need("fact", name)

    def fact_text(self, name: str) -> str:
        fact = self.facts.get(name)
        return fact.text if fact else self.derived_texts.get(name, name)

    def hazard_text(self, name: str) -> str:
        return self.hazards[name].text

    def reads(self, step: Step) -> frozenset[str]:
        """The plain facts that the needs of the step read."""
        return self._reads[step.id]

    def walk(self, wanted: frozenset[str]) -> tuple[Step, ...]:
        """The steps in walking order; those of ``again`` only where they are ``wanted``."""
        if not wanted:
            return self._always
        return tuple(s for s in self.steps if not s.only_again or s.id in wanted)

    def given_by(self, step: Step) -> tuple[str, ...]:
        """The plain facts that an answer to the step can give."""
        answers = (answer for variant in step.variants for answer in variant.answers)
        return (*step.gives, *(fact for answer in answers for fact in answer.gives))

    def givers(self, fact: str) -> tuple[str, ...]:
        """Steps that can give a plain fact, in order."""
        return self._givers.get(fact, ())

    derived_texts: Mapping[str, str] = field(default_factory=dict)
    _needs: dict[str, Need] = field(init=False, repr=False)
    _by_id: dict[str, Step] = field(init=False, repr=False)
    _index: dict[str, int] = field(init=False, repr=False)
    _givers: dict[str, tuple[str, ...]] = field(init=False, repr=False)
    _reads: dict[str, frozenset[str]] = field(init=False, repr=False)
    _always: tuple[Step, ...] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        givers: dict[str, list[str]] = {}
        for step in self.steps:
            for fact in sorted(set(self.given_by(step))):
                givers.setdefault(fact, []).append(step.id)
        plain = {name: Need("fact", name) for name in self.facts}
        object.__setattr__(self, "_needs", {**plain, **self.derived})
        object.__setattr__(self, "_by_id", {step.id: step for step in self.steps})
        object.__setattr__(self, "_index", {step.id: n for n, step in enumerate(self.steps)})
        object.__setattr__(self, "_givers", {fact: tuple(ids) for fact, ids in givers.items()})
        reads = {s.id: {f for n in s.needs for f in self.need(n).leaves()} for s in self.steps}
        object.__setattr__(self, "_reads", {id: frozenset(facts) for id, facts in reads.items()})
        object.__setattr__(self, "_always", tuple(s for s in self.steps if not s.only_again))
