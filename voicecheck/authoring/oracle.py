"""What an author wrote, read a second time, and every turn of the session held against it.

The rules of this file:

1. It reads the author's model (what stands in the YAML files) and neither the compiled checklist
   nor the session's own questions about facts. A need that the compiler lost, a fact that a rule
   forgot to end and a stop that blocks too little are therefore seen here.
2. ``check`` looks at one turn: the state before, the event, what the session did, the state after.
   It assumes nothing about how the state before came about. Where it finds nothing, the turn keeps
   the invariants whatever went before.
3. A breach names its invariant: H1 to H4, H5, H6, H8, H9, "exclusive", "complete", "silence" (the
   interval of a timed step, the time between two marks), "make safe", "reckoned", "defect" (a
   finding that is not recorded as the author's table says) or "closed" (something happens after
   the end).
4. A defect that was handed on from another inspection is not in the author's list: what it stops is
   in the opening record, and nothing else counts for it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from itertools import pairwise, product

from voicecheck.checklist.compile import Context
from voicecheck.checklist.compiled import Step
from voicecheck.checklist.model import (
    REPLY_KINDS,
    AnswerModel,
    ChecklistModel,
    Condition,
    HazardModel,
    HazardsModel,
    ReckoningModel,
    StepModel,
    VariantModel,
)
from voicecheck.checklist.vehicle import Position, positions
from voicecheck.errors import VoicecheckError
from voicecheck.limits.judge import judge_family, leak_per_minute
from voicecheck.limits.reckon import RULES, Reading
from voicecheck.reply.phrases import also_said
from voicecheck.session import actions as a
from voicecheck.session import events as e
from voicecheck.session import records as r
from voicecheck.session.state import Phase, State
from voicecheck.units import Quantity, unit_named

DONE_WELL = frozenset({"good", "noted", "not fitted", "carried"})
DEAF_PHASES = frozenset({Phase.SPEAKING, Phase.HOLDING, Phase.STOPPING})
OPEN = frozenset(
    {Phase.SPEAKING, Phase.ASKED, Phase.FOLLOWING, Phase.READING, Phase.TIMING, Phase.ASKING}
    | {Phase.MEMO, Phase.CLOCKING}
)
AWAY_MS = 600_000  # design: facts "until left" end after more than ten minutes
STANDING = Phase.STANDING
WAITING = frozenset(
    {Phase.ASKED, Phase.FOLLOWING, Phase.READING, Phase.TIMING, Phase.STOPPED, Phase.ASKING}
    | {STANDING, Phase.CLOCKING, Phase.CODING}
)
RUNNING = frozenset({Phase.TIMING, Phase.CLOCKING})  # of itself the program is silent
SPOKEN = "it is spoken"
SPOKEN_BY_TIMER = frozenset({"quiet"})
SAME_PHASE = frozenset(
    {"command:say again", "command:explain", "command:location", "command:read back"}
    | {"command:time left", "command:brief", "command:full", "quiet", "hands busy"}
)
# What a word or an event means, by the record that it must leave behind, in a phase or anywhere.
LEAVES_RECORD: dict[tuple[Phase | None, str], tuple[type[r.Record], ...]] = {
    (None, "command:stand by"): (r.StoodBy,),
    (None, "command:go ahead"): (r.WentAhead,),
    (None, "command:correction"): (r.Withdrawn, r.StepStarted, r.Hold, r.ReadBackRefused),
    (Phase.ASKED, "command:next place"): (r.Deferred,),
    (Phase.ASKED, "command:not done"): (r.FollowedUp, r.Hold),
    (Phase.ASKED, "command:cannot see"): (r.Answered, r.Hold),
    (None, "command:memo"): (r.MemoWanted,),
    (None, "command:end inspection"): (r.Asking,),
    (None, "command:brief"): (r.ModeSet,),
    (None, "command:full"): (r.ModeSet,),
    (Phase.READING, "command:disregard"): (r.ReadBackRefused,),
    (Phase.FOLLOWING, "negative"): (r.StepStarted, r.Hold),
    (Phase.FOLLOWING, "command:disregard"): (r.StepStarted, r.Hold),
    (Phase.TIMING, "command:disregard"): (r.StepStarted, r.Hold),
    (Phase.CLOCKING, "command:disregard"): (r.StepStarted, r.Hold),
    (Phase.ASKED, "mark"): (r.Marked, r.StepStarted, r.Hold),
    (Phase.CLOCKING, "mark"): (r.Marked, r.StepStarted, r.Hold),
    (Phase.ASKING, "command:disregard"): (r.AskingDropped,),
    (Phase.ASKING, "negative"): (r.AskingDropped,),
    (Phase.READING, "negative"): (r.ReadBackRefused,),
    (Phase.READING, "affirm"): (
        *(r.Answered, r.FollowedUp, r.Timing, r.ItemNoted, r.ItemMeasured, r.Again),
        *(r.StepStarted, r.Hold),
    ),
    (Phase.STOPPED, "release"): (r.Asking,),
    (Phase.STOPPED, "mended"): (r.Asking,),
    (Phase.STOPPED, "carry on"): (r.CarriedOn,),
    (Phase.STOPPED, "by code"): (r.CodeAsked,),
    (Phase.CODING, "spelling"): (r.Asking,),
    (Phase.CODING, "command:disregard"): (r.StepStarted, r.Hold),
    (Phase.ASKING, "affirm"): (
        *(r.Finished, r.Withdrawn, r.MemoWanted, r.CodeGiven, r.StepStarted, r.Hold),
    ),
    (None, "code checked"): (r.CodeTried,),
    (None, "memo taken"): (r.MemoTaken,),
    (None, "back"): (r.Back,),
    (None, "lost"): (r.Lost,),
    (None, "Interrupted"): (r.StoodBy,),
    (None, "Resumed"): (r.Resumed,),
    (None, "ClosedLate"): (r.Finished,),
    (None, "spoken"): (r.Said,),
    (None, "interval"): (r.TimingDone,),
    (None, "not heard"): (r.NotHeard,),
}
RELEASES = frozenset({"driver-mended", "in person", "by code"})
WAIT_MS = 900_000  # after five wrong codes in a row


@dataclass(frozen=True)
class Breach:
    """One invariant that one turn broke. ``what`` in words for a reader."""

    invariant: str
    what: str


@dataclass(frozen=True)
class Known:
    """One step as its author wrote it. ``conditions`` must all hold; leaves are plain facts."""

    id: str
    model: StepModel
    kind: str
    conditions: tuple[tuple[str, object], ...]
    leaves: frozenset[str]
    ends: frozenset[str]
    hazard: str
    safe: str
    cautions: tuple[str, ...]  # of the hazard and of the step
    never_blocked: bool
    speaks: bool
    at: str  # "@position" or ""
    items: tuple[str, ...] = ()  # of a group, in the order of the vehicle
    given: Mapping[str, str] = field(default_factory=dict)  # what a limit may ask of the place
    item_places: Mapping[str, Position] = field(default_factory=dict)  # where the vehicle has some
    position: str = ""  # the place of this instance, as spoken
    breath: tuple[str, ...] = ()  # the steps that may be asked in one sentence with it

    def says(self, written: str, text: str, part: bool = False) -> bool:
        """Whether ``text`` ends as written, of this place; of a ``part`` its items are named."""
        head, _, tail = written.replace("{position}", self.position).partition("{items}")
        named = self.items if part and self.id != self.model.id + self.at else ()
        ends = text.endswith(tail) and head in text if tail else text.endswith(head)
        return ends and all(item in text.lower() for item in named)

    def gives(self, facts: Iterable[str]) -> frozenset[str]:
        return frozenset(f"{fact}{self.at}" for fact in facts)

    def needs_hold(self, true: Iterable[str]) -> bool:
        facts = {f for f in true if f.partition("@")[0] not in self.ends}
        return all(_holds(condition, facts) for _, condition in self.conditions)

    def lacking(self, true: Iterable[str]) -> list[str]:
        facts = {f for f in true if f.partition("@")[0] not in self.ends}
        return [name for name, condition in self.conditions if not _holds(condition, facts)]


# A condition is a fact's name or ("any" | "all", conditions).
def _holds(condition: object, facts: set[str]) -> bool:
    if isinstance(condition, str):
        return condition in facts
    assert isinstance(condition, tuple)
    how, parts = condition
    test = any if how == "any" else all
    return test(_holds(part, facts) for part in parts)


def _leaves(condition: object) -> frozenset[str]:
    if isinstance(condition, str):
        return frozenset({condition})
    assert isinstance(condition, tuple)
    return frozenset(leaf for part in condition[1] for leaf in _leaves(part))


@dataclass
class Oracle:
    """The author's model for one vehicle. ``check`` is its one question."""

    model: ChecklistModel
    hazards: Mapping[str, HazardModel]
    steps: dict[str, Known]
    lasts: dict[str, str]
    exclusive: tuple[tuple[str, str], ...]
    units: dict[str, str] = field(default_factory=dict)
    _lives: dict[str, str] = field(default_factory=dict)
    reckonings: tuple[tuple[ReckoningModel, tuple[str, ...]], ...] = ()
    vehicle_given: Mapping[str, str] = field(default_factory=dict)

    @classmethod
    def of(cls, model: ChecklistModel, hazards: HazardsModel, context: Context) -> Oracle:
        chosen = {name: s.default for name, s in model.settings.items()}
        chosen.update({k: v for k, v in context.settings.items() if k in chosen})
        here = [s for s in model.steps if _applies(s, context, chosen) and _has(s, context)]
        found = {s.id: positions(context.vehicle, s.each) if s.each else () for s in here}
        places = {id: [p.id for p in those] for id, those in found.items()}
        of_place = {(id, p.id): p for id, those in found.items() for p in those}
        vehicle_given = context.vehicle.given()
        expanded: dict[str, list[str]] = {}  # fact of an each: step -> its instances
        for s in here:
            if s.each:
                for fact in _all_gives(s):
                    expanded[fact] = [f"{fact}@{p}" for p in places[s.id]]

        def condition(part: str | Condition, seen: tuple[str, ...] = ()) -> object:
            if isinstance(part, Condition):
                how = "any" if part.any else "all"
                return (how, tuple(condition(p, seen) for p in (part.any or part.all)))
            if part in expanded and part not in seen:
                return ("all", tuple(expanded[part]))
            derived = model.derived.get(part)
            if derived is not None:
                how = "any" if derived.any else "all"
                inner = (condition(p, (*seen, part)) for p in (derived.any or derived.all))
                return (how, tuple(inner))
            return part

        steps: dict[str, Known] = {}
        for s in here:
            hazard = hazards.hazards.get(s.hazard)
            names = dict.fromkeys((*(hazard.needs if hazard else ()), *s.needs))
            conditions = tuple((name, condition(name)) for name in names)
            for place, (part, items) in product(
                places[s.id] if s.each else [""], _parts(s, context)
            ):
                id = f"{s.id}{part}@{place}" if place else f"{s.id}{part}"
                here_is = of_place.get((s.id, place))
                steps[id] = Known(
                    id=id,
                    model=s,
                    kind=_kind(s),
                    conditions=conditions,
                    leaves=frozenset(leaf for _, c in conditions for leaf in _leaves(c)),
                    ends=frozenset(s.ends),
                    hazard=s.hazard,
                    safe=hazard.safe if hazard else "",
                    cautions=(*((hazard.caution,) if hazard else ()), s.caution),
                    never_blocked=bool(hazard and hazard.never_blocked),
                    speaks=_speaks(s, hazard),
                    at=f"@{place}" if place else "",
                    items=items,
                    given={
                        **vehicle_given,
                        **(here_is.given if here_is else {}),
                        **getattr(getattr(s, _kind(s)), "given", {}),
                    },
                    item_places={p.said: p for p in _item_places(s, context)},
                    position=here_is.said if here_is else "",
                    breath=_breath(s, here, context),
                )
        return cls(
            model,
            hazards.hazards,
            steps,
            {name: fact.lasts for name, fact in model.facts.items()},
            tuple(
                pair
                for first, second in model.exclusive
                for pair in product(expanded.get(first, [first]), expanded.get(second, [second]))
            ),
            reckonings=tuple(
                (x, ids)
                for x in model.reckonings
                if (ids := tuple(dict.fromkeys(_instances(steps, x.readings))))
            ),
            vehicle_given=vehicle_given,
        )

    # -- small questions -----------------------------------------------------------------------

    def life(self, fact: str) -> str:
        """lasting | until left | time, as the author wrote it."""
        if fact not in self._lives:
            lasts = self.lasts[fact.partition("@")[0]]
            self._lives[fact] = "time" if lasts.endswith(" s") else lasts
        return self._lives[fact]

    def seconds(self, fact: str) -> int:
        return int(self.lasts[fact.partition("@")[0]].split()[0])

    def blocked_by(self, step: Known, state: State) -> list[r.DefectFound]:
        """Open stops that block the step, by the author's own list of defects."""
        if not step.hazard or step.never_blocked:
            return []
        found = []
        for d in state.defects:
            if d.number not in state.released and self.stops(d, step):
                found.append(d)
        return found

    def written(self, d: r.DefectFound) -> tuple[str, tuple[str, ...], str]:
        """Class, hazards that it blocks and who mends it: as written, or as handed on."""
        if d.origin is not None:
            return d.severity, d.scope, d.mended_by
        known = self.model.defects[d.defect]
        return known.severity, known.blocks, known.mended_by

    def stops(self, d: r.DefectFound, step: Known) -> bool:
        if not step.hazard or step.never_blocked:
            return False
        severity, blocks, _ = self.written(d)
        return severity == "major" and (step.hazard == "leave" or step.hazard in blocks)

    def walked(self, state: State) -> list[Known]:
        return [s for s in self.steps.values() if not s.model.only_again or s.id in state.wanted]

    def unlike(self, step: Step) -> list[str]:
        """What would be said otherwise than written and is not said on the walk that is explored:
        brief questions, explanations, the question after an interval or a mark, that of an item."""
        known = self.steps[step.id]
        model = known.model
        said: list[tuple[str, str, str]] = [("explanation", model.explain, step.explain)]
        asked: Sequence[VariantModel | StepModel] = model.variants or [model]
        for one, variant in zip(asked, step.variants, strict=True):
            said.append(("brief question", one.brief or one.ask, variant.brief or variant.ask))
        body = model.timed or model.clocked
        if body and step.reading:
            said.append(("second question", body.then, step.reading.second_ask))
        for item in step.items:
            for finding, reading in item.measured:
                written = model.group.measured[finding].ask if model.group else ""
                said.append((f"question about {finding!r}", written, reading.second_ask))
        fitted = bool(model.verdict and model.verdict.not_fitted)
        said.append(("answer", "not fitted" * fitted, "not fitted" * step.not_fitted))
        return [
            f"{model.item!r}: the {what} is {text!r} and not as written"
            for what, written, text in said
            if bool(written) != bool(text) or not known.says(written, text)
        ]

    # -- one turn ------------------------------------------------------------------------------

    def check(
        self, before: State, event: e.Event, actions: Sequence[a.Action], after: State
    ) -> list[Breach]:
        """Every invariant that this turn broke."""
        return _Check(self, before, event, actions, after).run()


class _Check:
    def __init__(
        self,
        oracle: Oracle,
        before: State,
        event: e.Event,
        actions: Sequence[a.Action],
        after: State,
    ) -> None:
        self.o, self.before, self.event, self.after = oracle, before, event, after
        self.actions = actions
        self.records = [x.record for x in actions if isinstance(x, a.Keep)]
        self.facts: dict[str, frozenset[str]] = dict(before.facts)
        self.deadlines = {k: v for k, v in before.deadlines.items() if k != "timing"}
        self.answered = dict.fromkeys(before.answers, "")  # step: outcome in this turn
        self.defects: list[r.DefectFound] = []  # found in this turn so far
        self.unspoken: list[str] = []  # started in this turn without their question
        self.found: list[Breach] = []
        self.said = self._joint()

    def fail(self, invariant: str, what: str) -> None:
        self.found.append(Breach(invariant, what))

    def run(self) -> list[Breach]:
        if self.before.phase is Phase.FINISHED:
            if self.records:
                self.fail("closed", "a finished inspection goes on")
            return self.found
        self._nothing_early()
        self._expiry()
        for n, record in enumerate(self.records):
            self._record(n, record)
        self._left_out()
        self._lives()
        if self.facts != dict(self.after.facts):
            self._facts_differ()
        self._exclusive()
        self._reckonings()
        if isinstance(self.event, e.Started):
            self._handed_on()
        self._withdrawals()
        self._stops()
        self._codes()
        self._make_safe()
        self._sound()
        self._interval()
        self._obeyed()
        self._kept()
        self._whole()
        return self.found

    def _kept(self) -> None:
        """What a record says must be remembered is in the state after the turn."""
        after = self.after
        for record in self.records:
            match record:
                case r.ItemNoted(step=id, item=item, finding=finding):
                    if (item, finding) not in after.items.get(id, ()) and id not in after.answers:
                        self.fail("defect", f"{item!r} {finding!r} is not remembered")
                case r.CarriedOn(numbers=numbers):
                    if not set(numbers) <= after.carried:
                        self.fail("heard", "that the driver carries on is not remembered")
                case r.Deferred(steps=steps):
                    # or it was come to in the same turn and a stop carried on under blocks it
                    blocked = {id for id, x in after.answers.items() if x.outcome == "blocked"}
                    if not set(steps) <= after.deferred | blocked | {after.step}:
                        self.fail("heard", "what is put off is not remembered")
                case r.Answered(step=id, quantity=quantity) if id in after.answers:
                    if after.answers[id].quantity != quantity:
                        self.fail("heard", "what was measured is not remembered")
                case r.ModeSet(mode=mode):
                    if after.mode != mode:
                        self.fail("heard", "brief or full is not remembered")
                case r.NotHeard():
                    if after.phase is self.before.phase and (
                        after.refusals != self.before.refusals + 1
                    ):
                        self.fail("heard", "refusals are not counted")

    def _whole(self) -> None:
        """A hold, a caution and a confirming question are said whole, with the ear closed."""
        phase, after = self.after.phase, self.after
        entered = phase is not self.before.phase or after.asked != self.before.asked
        if phase not in DEAF_PHASES or not (entered or self._held()):
            return
        name = f"{phase}:{after.step}:{after.asked.get(after.step, 0)}"
        whole = [x for x in self.actions if isinstance(x, a.Say) and x.name == name]
        if not whole or whole[-1].interruptible:
            self.fail("H6", f"the sentence before {after.step!r} may be cut short")
        closed = False
        for action in self.actions:
            closed = isinstance(action, a.Deafen) or (
                closed and not isinstance(action, a.Listen | a.ListenMemo)
            )
        if not closed:
            self.fail("H6", f"the ear is open during the sentence before {after.step!r}")

    def _held(self) -> bool:
        return any(isinstance(x, r.Hold) for x in self.records)

    # -- facts ---------------------------------------------------------------------------------

    def _expiry(self) -> None:
        step = self.o.steps.get(self.before.step)
        used = step.leaves if step and self.before.phase in OPEN else frozenset()
        if self.before.phase is Phase.NEW:
            return
        for fact, until in list(self.deadlines.items()):
            if until <= self.event.at.mono and fact not in used:
                self._drop(fact)

    def _drop(self, fact: str) -> None:
        self.facts.pop(fact, None)
        self.deadlines.pop(fact, None)

    def _lives(self) -> None:
        for fact in self.facts:
            timed = self.o.life(fact) == "time"
            if timed != (fact in self.after.deadlines):
                self.fail("H2", f"{fact!r} does not last as written: {self.o.lasts[_base(fact)]}")

    def _facts_differ(self) -> None:
        for fact in sorted({*self.facts, *self.after.facts}):
            mine, theirs = self.facts.get(fact), self.after.facts.get(fact)
            if mine == theirs:
                continue
            if theirs and not mine:
                self.fail("H2", f"{fact!r} is held for true and must be false")
            elif mine and not theirs:
                self.fail("H2", f"{fact!r} is held for false and was given and not ended")
            else:
                self.fail("H3", f"{fact!r} rests on other answers than were given")

    def _exclusive(self) -> None:
        for pair in self.o.exclusive:
            if all(fact in self.after.facts for fact in pair):
                self.fail("exclusive", f"{pair[0]!r} and {pair[1]!r} are both true")

    # -- records -------------------------------------------------------------------------------

    def _record(self, n: int, record: r.Record) -> None:
        match record:
            case r.StepStarted():
                self._started(record)
            case r.HeardReply():
                self._words(record)
            case r.Answered():
                self._answered(record)
            case r.FollowedUp(step=id) | r.ReadBack(step=id) | r.Timing(step=id):
                self._may_be_open(id, "a reply to it is taken")
                if isinstance(record, r.Timing):
                    self._timing(record)
            case r.ItemNoted():
                self._may_be_open(record.step, "what is wrong with it is taken")
                self._item_noted(record)
            case r.ItemMeasured():
                self._may_be_open(record.step, "a figure for it is taken")
                self._item_measured(record)
            case r.Marked():
                self._may_be_open(record.step, "a mark for it is taken")
                self._marked(record)
            case r.Withdrawn(step=id):
                self.answered.pop(id, None)
                for fact, givers in list(self.facts.items()):
                    if id in givers:
                        self.facts[fact] = givers - {id}
                        if not self.facts[fact]:
                            self._drop(fact)
            case r.StoodBy() | r.Lost():
                self._end_of("time")
            case r.WentAhead() | r.Back():
                if self.event.at.mono - self.before.away_since > AWAY_MS + 999:
                    self._end_of("until left")
            case r.Resumed():
                self._end_of("time", "until left")
            case r.Again(step=id, count=count):
                self._again(id, count)
            case r.DefectFound():
                self.defects.append(record)
                self._defect(record)
            case r.Hold(hold="stop", step=id):
                if not self.o.blocked_by(self.o.steps[id], self.after):
                    self.fail("H4", f"{id!r} is held by a stop that does not block it")
            case r.Finished():
                self._finished(record)

    def _end_of(self, *lives: str) -> None:
        for fact in list(self.facts):
            if self.o.life(fact) in lives:
                self._drop(fact)

    def _may_be_open(self, id: str, what: str) -> None:
        step = self.o.steps.get(id)
        if step is None:
            self.fail("H1", f"{id!r} is no step of this checklist")
            return
        if what != SPOKEN and id != self.before.step and id not in self.unspoken:
            self.fail("heard", f"{step.model.item!r}: {what} and it was not asked")
        lacking = step.lacking(self.facts)
        if lacking:
            self.fail("H1", f"{step.model.item!r}: {what} while false: {', '.join(lacking)}")

    def _started(self, record: r.StepStarted) -> None:
        self._may_be_open(record.step, SPOKEN)
        step = self.o.steps.get(record.step)
        if step is None:
            return
        parts = self._asked_with(step, record)
        stops = self.o.blocked_by(step, self.after if self._released() else self.before)
        stops += [d for d in self.defects if self.o.stops(d, step)]
        if stops:
            self.fail("H4", f"{step.model.item!r} is spoken under the stop {stops[0].defect!r}")
        for fact in list(self.facts):
            ended = any(_base(fact) in one.ends for one in (step, *parts))
            if ended or (self.o.life(fact) == "time" and fact not in step.leaves):
                self._drop(fact)
        for part in parts:
            lacking = part.lacking(self.facts)
            if lacking:
                what = f"it is spoken with another while false: {', '.join(lacking)}"
                self.fail("H1", f"{part.model.item!r}: {what}")
            if self.o.blocked_by(part, self.after if self._released() else self.before):
                self.fail("H4", f"{part.model.item!r} is spoken with another under a stop")
        if step.hazard == "leave":
            left = [
                s.model.item
                for s in self.o.walked(self.after)
                if s.hazard != "leave"
                and (
                    s.id not in self.after.answers
                    or self.after.answers[s.id].outcome not in DONE_WELL
                )
            ]
            if left:
                what = f"{step.model.item!r} is spoken before: {', '.join(left[:3])}"
                self.fail("complete", what)
        if step.speaks != record.speaks:
            self.fail("H6", f"{step.model.item!r} is not spoken to its end as written")
        if record.hazard != step.hazard:
            self.fail("H4", f"{step.model.item!r} is not known for its hazard {step.hazard!r}")

    # -- several steps in one breath ---------------------------------------------------------------

    def _joint(self) -> dict[str, str]:
        """What a joint reply means to each step that it names, by the author's list of them."""
        raw = self._raw()
        if not raw.startswith("joint:"):
            return {}
        parts = raw.removeprefix("joint:").split("|")
        known = self.o.steps.get(self.before.step)
        ids = known.breath if known else ()
        if self.before.breath != ids or not 1 < len(parts) <= len(ids):
            self.fail("heard", "one breath answers steps that were not asked together")
            return {}
        return dict(zip(ids, parts, strict=False))

    def _asked_with(self, step: Known, record: r.StepStarted) -> list[Known]:
        """The other steps of the same sentence; and whether its question may be left out."""
        item = step.model.item
        if not record.spoken:
            ids = list(self.said)
            at = ids.index(step.id) if step.id in self.said else 0
            if not at or self.answered.get(ids[at - 1]) != "good":
                self.fail("heard", f"{item!r}: its question is left out and was not answered")
            if step.speaks:
                self.fail("H6", f"{item!r} must be heard, and its question is left out")
            self.unspoken.append(step.id)
        if not record.together:
            if record.spoken:
                self._asked(step, record)
            return []
        body = step.model.together
        if body is None or record.together != step.breath:
            self.fail("heard", f"{item!r} is asked with others than the author wrote")
            return []
        parts = [self.o.steps[id] for id in step.breath[1:]]
        sentences = (body.ask, body.brief or body.ask)
        if not any(isinstance(x, a.Say) and x.text.endswith(sentences) for x in self.actions):
            self.fail("heard", f"{item!r}: the sentence for all of them is not said")
        for part in parts:
            if part.id in self.answered:
                self.fail("heard", f"{part.model.item!r} is answered and asked with another")
            if part.speaks or part.kind not in ("done", "verdict", "answers", "group"):
                self.fail("H6", f"{part.model.item!r} must be asked alone")
        return parts

    def _asked(self, step: Known, record: r.StepStarted) -> None:
        """The question is the author's, of this place; a part of a group names its items."""
        asked: Sequence[VariantModel | StepModel] = step.model.variants or [step.model]
        one = asked[record.variant % len(asked)]
        cautions = [x.replace("{position}", step.position) for x in step.cautions]
        ask = one.brief if self.after.mode == "brief" and one.brief else one.ask
        texts = [x.text for x in self.actions if isinstance(x, a.Say)]
        if not any(step.says(ask, text, part=True) for text in texts):
            self.fail("heard", f"{step.model.item!r}: its question is not said")
        if not any(all(x in text for x in cautions) for text in texts):
            self.fail("H6", f"{step.model.item!r}: its caution is not said")

    def _words(self, record: r.HeardReply) -> None:
        """What was said is among the words that the author wrote for what it is taken for."""
        step = self.o.steps.get(self.before.step)
        kind, _, rest = record.meaning.partition(":")
        if step is None or self.before.breath or not record.took:
            return
        if kind == "answer" and step.kind in ("answers", "variants"):
            answer = self._answer_of(step, rest)
            written = (rest, *answer.also) if answer else ()
        elif kind == "wrong":
            written = (rest,)
        elif kind == "item":
            name, _, finding = rest.partition(":")
            place = step.item_places.get(name)
            names = (name, *(place.also if place else ()))
            written = (*names, finding, *(f"{x} {finding}" for x in names))
        else:
            return
        if record.words not in {way for phrase in written for way in also_said(phrase)}:
            self.fail("heard", f"{step.model.item!r}: {record.words!r} is taken for {rest!r}")

    def _left_out(self) -> None:
        """Nobody waits for the answer to a question that was left out, and what was said counts."""
        taken = {x.step for x in self.records if isinstance(x, r.Answered | r.FollowedUp | r.Again)}
        last = [x for x in self.records if isinstance(x, r.StepStarted)][-1:]
        if last and not last[0].spoken and last[0].step == self.after.step not in taken:
            self.fail("heard", f"{self.after.step!r} waits, and its question was left out")
        for before, id in pairwise(self.said):
            step = self.o.steps[id]
            went_on = before in taken and self.answered.get(before) == "good"
            held = step.lacking(self.facts) or self.o.blocked_by(step, self.after)
            if went_on and not held and id not in taken:
                self.fail("heard", f"{step.model.item!r} was answered and that is not taken")

    def _released(self) -> bool:
        return any(isinstance(x, r.Released) for x in self.records)

    def _answered(self, record: r.Answered) -> None:
        step = self.o.steps.get(record.step)
        if step is None:
            self.fail("H1", f"{record.step!r} is no step of this checklist")
            return
        self.answered[record.step] = record.outcome
        if record.outcome == "carried":
            self._carried(step, record)
            return
        if record.outcome == "blocked":
            # blocked itself, or waiting for a fact under an open stop
            if not (self.o.blocked_by(step, self.before) or self._waits(step)):
                self.fail("H4", f"{step.model.item!r} is called blocked and nothing blocks it")
            return
        self._may_be_open(record.step, "an answer to it is accepted")
        if isinstance(self.event, e.ReplyHeard) and record.heard != self._number_of_reply():
            self.fail("heard", f"{step.model.item!r}: the answer cites another reply")
        if self.before.phase in DEAF_PHASES:
            self.fail("H6", f"{step.model.item!r} is answered before the sentence is over")
        self._judged(step, record)
        expected = self._expected_gives(step, record)
        if set(record.gives) != expected:
            extra = sorted(set(record.gives) - expected) or sorted(expected - set(record.gives))
            self.fail("H2", f"{step.model.item!r}, {record.answer!r}: gives other facts: {extra}")
        stands_on = {
            f"{fact}\t{giver}" for fact in step.leaves for giver in self.facts.get(fact, ())
        }
        if set(record.rested_on) != stands_on:
            self.fail("H3", f"{step.model.item!r}: what the answer rests on is not kept")
        for fact in expected:
            for pair in self.o.exclusive:
                if fact in pair:
                    for other in pair:
                        if other != fact:
                            self._drop(other)
            self.facts[fact] = self.facts.get(fact, frozenset()) | {record.step}
            if self.o.life(fact) == "time":
                due = self.event.at.mono + self.o.seconds(fact) * 1000
                self.deadlines[fact] = due
                if fact in self.after.facts and self.after.deadlines.get(fact, due) != due:
                    self.fail("H2", f"{fact!r} does not last {self.o.lasts[_base(fact)]}")

    def _carried(self, step: Known, record: r.Answered) -> None:
        """A carried answer gives nothing, and stands in the opening record for a step like it."""
        item = step.model.item
        handed = [x for x in self._opening().carried if x.step == record.step]
        if not isinstance(self.event, e.Started) or not handed:
            self.fail("H8", f"{item!r} is called carried, and nothing was handed on")
        if record.gives or record.rested_on:
            self.fail("H8", f"{item!r} is carried and gives {', '.join(record.gives)}")
        facts = [*_all_gives(step.model), *step.model.ends]
        own = step.model.carry + step.id.removeprefix(step.model.id)
        names = [x for x in handed if x.name == own]
        if facts or not step.model.carry or not names:
            self.fail("H8", f"{item!r} is carried and is no step for that")

    def _opening(self) -> r.Opened:
        opened = self.after.opened
        assert opened is not None
        return opened

    def _handed_on(self) -> None:
        """After the opening: what was handed on stands, and nothing else (H8, H9)."""
        opened = self._opening()
        if [x.origin for x in self.after.defects] != [x.origin for x in opened.defects]:
            self.fail("H9", "a defect that was open is not open here")
        carried = {x.step for x in opened.carried}
        answered = {id for id, x in self.after.answers.items() if x.outcome == "carried"}
        if carried != answered:
            self.fail("H8", "what was handed on is not what is carried")
        if self.after.facts:
            self.fail("H8", "an inspection begins with a fact")

    def _number_of_reply(self) -> int:
        if self.before.phase is Phase.READING:
            return int(self._pending(5) or 0)
        for n, record in enumerate(self.records):
            if isinstance(record, r.HeardReply):
                return self.before.records + n + 1
        return 0

    def _waits(self, step: Known) -> bool:
        open_stops = any(
            d.severity == "major" and d.number not in self.after.released
            for d in self.after.defects
        )
        return open_stops and bool(step.lacking(self.facts))

    def _expected_gives(self, step: Known, record: r.Answered) -> set[str]:
        """The facts that the author lists for what was answered; also whether it was listed."""
        meaning = self._meaning(step.id)
        model = step.model
        good = record.outcome == "good"
        if step.kind in ("answers", "variants"):
            answer = self._answer_of(step, meaning.partition(":")[2])
            if record.outcome in ("not done", "cannot see"):
                return set()
            if answer is None:
                self.fail("H2", f"{model.item!r}: {meaning!r} is no listed answer")
                return set()
            plain = not (answer.again or answer.defect or answer.repeat or answer.bad)
            if good != plain:
                self.fail("H2", f"{model.item!r}: {record.answer!r} is taken for {record.outcome}")
            found = answer.defect or (answer.third if answer.again else "")
            if found:
                self._must_be_found(step, found, model_item(step))
            return set(step.gives(answer.gives)) if plain else set()
        if not good:
            wrong = {**(model.verdict.wrong if model.verdict else {})}
            reading = model.measure or model.timed or model.clocked
            if reading and reading.outside and record.verdict == "outside":
                self._must_be_found(step, reading.outside, model_item(step))
            if model.date and model.date.overdue and record.answer == "overdue":
                self._must_be_found(step, model.date.overdue, model_item(step))
            if model.spell and record.answer == "mismatch":
                if model.spell.mismatch:
                    self._must_be_found(step, model.spell.mismatch, model_item(step))
                if any(x.outcome == "carried" for x in self.after.answers.values()):
                    self.fail("H8", "carried answers stand although it is another unit")
            if meaning.startswith("wrong:"):
                self._must_be_found(step, wrong[meaning[6:]], model_item(step))
            return set()
        wanted = {
            "done": ("done", "pass"),
            "verdict": ("pass",),
            "attest": ("answer:affirm",),
            "measure": ("number",),
            "timed": ("number",),
            "clocked": ("mark",),
            "spell": ("spelling",),
            "date": ("date",),
            "group": ("all good", "pass", "nothing else", "negative"),
            "memo": ("memo",),
        }[step.kind]
        if meaning not in wanted:
            self.fail("H2", f"{model.item!r}: {meaning!r} is taken for good")
        body = getattr(model, step.kind)
        if (
            step.kind in ("measure", "timed", "clocked")
            and body.limit
            and record.verdict != "within"
        ):
            self.fail("H2", f"{model.item!r}: a reading {record.verdict!r} is taken for good")
        if step.kind == "clocked" and (
            self.before.phase is not Phase.READING or record.quantity != self._pending(2)
        ):
            self.fail("H5", f"{model.item!r}: a time is accepted that was not read back")
        if step.kind == "timed" and self.before.question != "second reading":
            self.fail("silence", f"{model.item!r} is answered without a second reading")
        if step.kind == "spell" and body.match and self._ordered(body.match):
            ordered, said = _bare(self._ordered(body.match)), _bare(self._pending(3))
            if said not in (ordered, ordered[-4:]):
                self.fail("H2", f"{model.item!r}: {said!r} is taken for {ordered!r}")
        if step.kind == "date" and body.overdue:
            said = self._pending(4)
            if _overdue(said, body.valid, self.event.at.wall[:10]):
                self.fail("H2", f"{model.item!r}: an overdue date is taken for good")
        if step.kind == "date" and body.valid and self._pending(4) > self.event.at.wall[:10]:
            self.fail("H2", f"{model.item!r}: a date of issue to come is taken for good")
        if step.kind == "group" and self.before.items.get(step.id):
            self.fail("H2", f"{model.item!r} has exceptions and is taken for all good")
        return set(step.gives(getattr(body, "gives", ())))

    def _again(self, id: str, count: int) -> None:
        step = self.o.steps.get(id)
        answer = self._answer_of(step, self._meaning(id).partition(":")[2]) if step else None
        if answer is None or not answer.again:
            self.fail("H2", f"{id!r} is done over for an answer that does not say so")
        elif answer.third and count >= 3:
            self.fail("defect", f"{id!r}: the third time is no defect and must be one")
        if count != self.before.agains.get(id, 0) + 1 or self.after.agains.get(id, 0) != count:
            self.fail("defect", f"{id!r}: the times are not counted")

    def _answer_of(self, step: Known, id: str) -> AnswerModel | None:
        tables = (
            [v.answers for v in step.model.variants]
            if step.model.variants is not None
            else [step.model.answers or {}]
        )
        return tables[self.before.variant % len(tables)].get(id)

    def _meaning(self, id: str) -> str:
        """What was said to that step."""
        raw = self._raw()
        return self.said.get(id, "") if raw.startswith("joint:") else raw

    def _raw(self) -> str:
        if isinstance(self.event, e.MemoHeard):
            return "memo"
        if self.before.phase is Phase.READING:
            return self._pending(0)
        for record in self.records:
            if isinstance(record, r.HeardReply):
                return record.meaning
        return ""

    def _pending(self, n: int) -> str:
        return (self.before.pending.split("\t") + [""] * 6)[n]

    def _ordered(self, key: str) -> str:
        return self.o.units.get(key, "")

    # -- what is reckoned --------------------------------------------------------------------------

    def _reckonings(self) -> None:
        """A figure stands just while all its readings do, and was reckoned from them."""
        answers = {
            x.step: self.before.records + n + 1
            for n, x in enumerate(self.records)
            if isinstance(x, r.Answered)
        }
        for written, ids in self.o.reckonings:
            made = [
                x for x in self.records
                if isinstance(x, r.Reckoned) and x.reckoning == written.id
            ]  # fmt: skip
            read = [self.after.answers[id].quantity for id in ids if id in self.after.answers]
            whole = len(read) == len(ids) and all(read)
            if whole != (written.id in self.after.reckoned):
                self.fail("reckoned", f"{written.id!r} {'does not stand' if whole else 'stands'}")
            if len(made) != int(whole and any(id in answers for id in ids)):
                self.fail("reckoned", f"{written.id!r} is reckoned {len(made)} times in this turn")
            for record in made:
                self._reckoned(written, ids, answers, record)

    def _reckoned(
        self,
        written: ReckoningModel,
        ids: tuple[str, ...],
        answers: Mapping[str, int],
        record: r.Reckoned,
    ) -> None:
        numbers = tuple(answers.get(id, self.before.numbers.get(id, 0)) for id in ids)
        if record.inputs != numbers:
            self.fail("reckoned", f"{written.id!r} names other records than it rests on")
        if any(id not in self.after.answers for id in ids):
            return  # told above
        readings = tuple(
            Reading(
                self.o.steps[id].model.id,
                id.partition("@")[2],
                Quantity.parse(self.after.answers[id].quantity),
                self.o.steps[id].given,
            )
            for id in ids
        )
        try:
            verdict = RULES[written.rule](
                readings, {**self.o.vehicle_given, **written.given}, self._opening().jurisdiction
            ).verdict
        except VoicecheckError:
            verdict = "cannot judge"
        if record.verdict != verdict:
            self.fail("reckoned", f"{written.id!r} is {verdict}, and told as {record.verdict}")
        if not any(isinstance(x, a.Say) and written.text in x.text for x in self.actions):
            self.fail("reckoned", f"{written.id!r} is not spoken")
        open_here = [
            d.defect
            for d in self.after.defects
            if d.reckoning == written.id and d.number not in self.after.released
        ]
        if verdict == "outside" and written.outside and written.outside not in open_here:
            self.fail("defect", f"{written.id!r}: {written.outside!r} is not recorded")

    def _must_be_found(self, step: Known, defect: str, item: str) -> None:
        severity = self.o.model.defects[defect].severity
        standing = any(
            d.defect == defect
            and (d.step, d.reckoning) == (step.id, "")
            and (not step.items or d.item == item)
            and d.number not in self.after.released
            for d in self.after.defects
        )
        if not standing:
            self.fail("defect", f"{item!r}: {defect!r} ({severity}) is not recorded")

    def _judged(self, step: Known, record: r.Answered) -> None:
        """A figure is judged as the limit of the author's says of it, where the vehicle is."""
        body = step.model.measure or step.model.timed or step.model.clocked
        if body is None or not record.quantity:
            return
        figure = Quantity.parse(record.quantity)
        if step.model.timed:
            elapsed = Quantity.of(step.model.timed.seconds, unit_named("s"))
            figure = leak_per_minute(Quantity.parse(record.first_quantity), figure, elapsed)
        wanted = self._verdict(body.limit, figure, step.given) if body.limit else ""
        if record.verdict != wanted:
            self.fail("H2", f"{step.model.item!r}: {figure} is {wanted}, told as {record.verdict}")

    def _verdict(self, limit: str, figure: Quantity, given: Mapping[str, str]) -> str:
        try:
            return judge_family(limit, figure, given, self._opening().jurisdiction).verdict
        except VoicecheckError:
            return "cannot judge"

    def _item_noted(self, record: r.ItemNoted) -> None:
        """What is wrong with an item of a group is the defect that the author wrote beside it."""
        step = self.o.steps[record.step]
        group = step.model.group
        if group is None or record.item not in step.items:
            self.fail("heard", f"{record.item!r} is no item of {record.step!r}")
        elif record.finding in group.wrong:
            self._must_be_found(step, group.wrong[record.finding], record.item)
        elif record.finding not in group.measured:
            self.fail("heard", f"{record.item!r}: {record.finding!r} is nothing that was written")

    def _item_measured(self, record: r.ItemMeasured) -> None:
        """Read back before it counts; outside its limit the defect; not judged, no pass."""
        step = self.o.steps[record.step]
        group = step.model.group
        if group is None or record.finding not in group.measured:
            self.fail("heard", f"{step.model.item!r}: {record.finding!r} has no figure")
            return
        affirmed = self.before.phase is Phase.READING and record.quantity == self._pending(2)
        if not affirmed:
            self.fail("H5", f"{step.model.item!r}: a figure is accepted that was not read back")
        if self.before.about != f"{record.item}:{record.finding}":
            self.fail("heard", f"{step.model.item!r}: the figure is taken for another item")
        noted = any(
            isinstance(x, r.ItemNoted) and (x.item, x.finding) == (record.item, record.finding)
            for x in self.records
        )
        body = group.measured[record.finding]
        place = step.item_places.get(record.item)
        given = {**step.given, **(place.given if place else {}), **body.given}
        wanted = self._verdict(body.limit, Quantity.parse(record.quantity), given)
        if record.verdict != wanted:
            told = f"{record.quantity} is {wanted}, told as {record.verdict}"
            self.fail("H2", f"{record.item!r}: {told}")
        if record.verdict != "within" and not noted:
            self.fail("H2", f"{record.item!r}: a figure {record.verdict!r} is taken for good")
        if record.verdict == "outside":
            self._must_be_found(step, body.outside, record.item)

    def _defect(self, record: r.DefectFound) -> None:
        if record.origin is not None:
            kept = (record.severity, record.scope, record.mended_by, record.origin)
            handed = self._opening().defects
            if kept not in [(x.severity, x.scope, x.mended_by, x.origin) for x in handed]:
                self.fail("H9", f"{record.text!r} is not what was handed on")
            return
        if record.reckoning and not any(
            isinstance(x, r.Reckoned)
            and (x.reckoning, x.verdict) == (record.reckoning, "outside")
            and any((y.id, y.outside) == (x.reckoning, record.defect) for y, _ in self.o.reckonings)
            for x in self.records
        ):
            self.fail("defect", f"{record.defect!r} is found by no figure of this turn")
        written = self.o.model.defects.get(record.defect)
        if written is None:
            self.fail("defect", f"{record.defect!r} is no defect of this checklist")
        elif (
            record.severity != written.severity
            or set(record.scope) != set(written.blocks)
            or record.mended_by != written.mended_by
            or record.source != tuple(written.source)
            or not record.text.endswith(written.text)
        ):
            self.fail("H4", f"the defect {record.defect!r} is not what the author wrote")

    def _finished(self, record: r.Finished) -> None:
        open_stops = [
            d
            for d in self.before.defects
            if self.o.written(d)[0] == "major" and d.number not in self.after.released
        ]
        new = [
            d
            for d in self.after.defects[len(self.before.defects) :]
            if self.o.written(d)[0] == "major"
        ]
        left = [
            s.model.item
            for s in self.o.walked(self.after)
            if s.id not in self.after.answers or self.after.answers[s.id].outcome not in DONE_WELL
        ]
        if record.outcome == "complete" and (open_stops or new):
            self.fail("complete", "the end is called complete under an open stop")
        if record.outcome == "complete" and left:
            self.fail("complete", f"the end is called complete without: {', '.join(left[:3])}")
        if record.outcome == "not finished" and (open_stops or new):
            self.fail("complete", "an open stop is not named at the end")

    # -- H3: what falls with an answer -----------------------------------------------------------

    def _withdrawals(self) -> None:
        gone = {x.step for x in self.records if isinstance(x, r.Withdrawn)}
        if not gone:
            return
        standing = {
            id: answer for id, answer in self.after.answers.items() if id in self.before.answers
        }
        for id, answer in standing.items():
            step = self.o.steps.get(id)
            if step is None or not answer.rested_on or answer.outcome == "blocked":
                continue
            if self.before.answers[id] is not answer:
                continue
            pairs = [pair.partition("\t") for pair in answer.rested_on]
            left = {fact for fact, _, giver in pairs if giver not in gone}
            if not step.needs_hold(left):
                self.fail("H3", f"{step.model.item!r} still stands and rested on what was taken")
        for id in gone & set(self.after.answers):
            if not any(isinstance(x, r.Answered) and x.step == id for x in self.records):
                self.fail("H3", f"the answer to {id!r} was taken back and still stands")
        for fact, givers in self.after.facts.items():
            if givers & gone - set(self.after.answers):
                self.fail("H3", f"{fact!r} rests on an answer that was taken back")

    # -- H4: stops -----------------------------------------------------------------------------

    def _stops(self) -> None:
        for number in set(self.after.released) - set(self.before.released):
            kinds = [x.how for x in self.records if isinstance(x, r.Released)]
            if kinds != [self.after.released[number]] or kinds[0] not in RELEASES:
                self.fail("H4", "a stop is released without its kind")
            defect = next(d for d in self.before.defects if d.number == number)
            if kinds == ["driver-mended"] and self.o.written(defect)[2] != "driver":
                self.fail("H4", f"{defect.defect!r} is not for the driver to mend")
            if kinds == ["by code"]:
                self._released_by_code(number)
            elif self.before.phase is not Phase.MEMO or not isinstance(self.event, e.MemoHeard):
                self.fail("H4", "a stop is released without a voice note")
            tested = {x.id: ids for x, ids in self.o.reckonings}.get(
                defect.reckoning, (defect.step,)
            )
            if set(tested) & set(self.after.answers):
                self.fail("H4", "after a release the same test is not asked again")
        if len(self.after.defects) < len(self.before.defects):
            self.fail("H4", "a defect is forgotten")

    def _released_by_code(self, number: int) -> None:
        """Only by a check that said right, for the reference of this very defect."""
        event, state = self.event, self.before
        if not isinstance(event, e.CodeChecked) or not event.right:
            self.fail("H4", "a stop is released without a right code")
        elif state.phase is not Phase.CHECKING or state.code_for != number:
            self.fail("H4", "a code for another stop releases this one")
        elif event.reference != state.reference:
            self.fail("H4", "a code for another reference releases this stop")

    def _codes(self) -> None:
        """Codes are asked for and checked only where the device can, and not while it waits."""
        opened, now = self.after.opened, self.event.at.mono
        asked = [x for x in self.records if isinstance(x, r.CodeAsked | r.CodeGiven)]
        if asked and not (opened and opened.codes):
            self.fail("H4", "a code is asked for without a key")
        if asked and self.before.codes_from > now:
            self.fail("H4", "a code is taken in spite of the wait")
        checks = [x for x in self.actions if isinstance(x, a.CheckCode)]
        given = [x for x in self.records if isinstance(x, r.CodeGiven)]
        if [(x.reference, x.code) for x in checks] != [(x.reference, x.code) for x in given]:
            self.fail("H4", "another code is checked than was given")
        for record in self.records:
            if not isinstance(record, r.CodeTried):
                continue
            if not isinstance(self.event, e.CodeChecked) or record.right != self.event.right:
                self.fail("H4", "a check of a code is kept otherwise than it came out")
            fifth = not record.right and self.before.wrong_codes == 4
            if fifth != (self.after.codes_from == now + WAIT_MS):
                self.fail("H4", "five wrong codes lead to no wait, or fewer do")

    # -- H6: nothing counts before the sentence is over ------------------------------------------

    def _nothing_early(self) -> None:
        phase, event = self.before.phase, self.event
        if phase not in DEAF_PHASES:
            return
        if isinstance(event, e.ReplyHeard | e.SoundRefused | e.MemoHeard | e.TimerElapsed):
            done = [x for x in self.records if not isinstance(x, r.FactEnded)]
            if done or self.after.phase is not phase:
                self.fail("H6", f"a reply counts while the sentence is spoken ({phase})")
        elif isinstance(event, e.PromptEnded):
            name = f"{phase}:{self.before.step}:{self.before.asked.get(self.before.step, 0)}"
            if event.name != name and self.after.phase is not phase:
                self.fail("H6", "another sentence's end is taken for this one's")
        if any(isinstance(x, a.Listen) for x in self.actions) and not isinstance(
            event, e.PromptEnded | e.MicrophoneLost | e.SpeechLost | e.Interrupted | e.Resumed
        ):
            self.fail("H6", "the ear is opened while the sentence is spoken")

    # -- H5 and the readings that must be read back ------------------------------------------------

    def _sound(self) -> None:
        event = self.event
        if isinstance(event, e.SoundRefused) and (
            dict(self.after.answers) != dict(self.before.answers)
            or self.after.defects != self.before.defects
        ):
            self.fail("H5", "a sound that was no reply changed an answer")
        if not isinstance(event, e.ReplyHeard):
            return
        heard = [x for x in self.records if isinstance(x, r.HeardReply)]
        accepted = [x for x in self.records if isinstance(x, r.Answered)]
        accepted = [x for x in accepted if x.outcome != "blocked"]
        if any(not x.took for x in heard) and accepted:
            self.fail("H5", "a refused reply is accepted")
        if self.before.phase in (Phase.ASKED, Phase.FOLLOWING) and accepted:
            meaning = heard[0].meaning if heard else ""
            if meaning in ("number", "spelling", "date"):
                self.fail("H5", "a number or a spelling is accepted without read-back")
            if event.certainty == "doubtful" and meaning not in ("fail", "affirm", "negative"):
                self.fail("H5", "a doubtful reply is accepted without read-back")
            step = self.o.steps.get(self.before.step)
            if (
                step
                and step.kind in ("answers", "variants")
                and self.before.phase is Phase.ASKED
                and meaning in ("pass", "done", "fail", "all good")
            ):
                self.fail("H2", f"{step.model.item!r}: {meaning!r} is taken for a named state")

    # -- the interval of a timed step --------------------------------------------------------------

    def _timing(self, record: r.Timing) -> None:
        step = self.o.steps[record.step]
        seconds = step.model.timed.seconds if step.model.timed else 0
        if record.until != self.event.at.mono + seconds * 1000:
            self.fail("silence", f"{step.model.item!r} does not run for {seconds} s")

    def _marked(self, record: r.Marked) -> None:
        """Each mark counts from its word; the time between is the number of begun seconds."""
        item, event = self.o.steps[record.step].model.item, self.event
        clock = self.o.steps[record.step].model.clocked
        if clock is None or not isinstance(event, e.ReplyHeard):
            self.fail("silence", f"{item!r} has no clock, or nobody spoke")
            return
        if record.mono != event.at.mono - event.ago_ms:
            self.fail("silence", f"{item!r}: a mark counts from another moment than its word")
        if record.mark == 1:
            if self.before.phase is not Phase.ASKED or self.after.phase is not Phase.CLOCKING:
                self.fail("silence", f"{item!r}: a first mark where none is asked")
            if record.until != record.mono + clock.most * 1000:
                self.fail("silence", f"{item!r} is not called off after {clock.most} s")
            if self.after.marked_at != record.mono:
                self.fail("silence", f"{item!r}: the first mark is not remembered")
            return
        elapsed = record.mono - self.before.marked_at
        told = (self.after.pending.split("\t") + [""] * 3)[2].partition(" ")
        if self.before.phase is not Phase.CLOCKING or self.after.phase is not Phase.READING:
            self.fail("silence", f"{item!r}: a second mark where none is asked")
        elif elapsed < 2000 or told[2] != "s" or not -1000 < elapsed - int(told[0]) * 1000 <= 0:
            self.fail("silence", f"{item!r}: {elapsed} ms are told as {' '.join(told)!r}")

    def _interval(self) -> None:
        if self.before.phase is Phase.CLOCKING:
            asked = any(
                isinstance(x, r.HeardReply) and x.meaning == "command:say again"
                for x in self.records
            )
            talk = [x.text for x in self.actions if isinstance(x, a.Say)]
            if self.after.phase is Phase.CLOCKING and talk and not asked:
                self.fail("silence", f"between two marks it says {talk[0]!r}")
        if self.before.phase not in RUNNING:
            return
        over = self.event.at.mono >= self.before.deadlines.get("timing", 0)
        if any(isinstance(x, r.TimingDone) for x in self.records) and not over:
            self.fail("silence", "the interval is cut short")
        if any(isinstance(x, r.Answered) and x.outcome != "blocked" for x in self.records):
            self.fail("silence", "a reply is accepted inside the interval")

    # -- what is said is heard, and does what its word means ---------------------------------------

    def _obeyed(self) -> None:
        event, phase = self.event, self.before.phase
        kept = {type(x) for x in self.records}
        what = ""
        if isinstance(event, e.ReplyHeard) and phase in WAITING:
            heard = [x for x in self.records if isinstance(x, r.HeardReply)]
            if not heard:
                self.fail("heard", f"a reply in the phase {phase!r} is passed over")
                return
            if not heard[0].meaning and self.after.phase is not phase:
                self.fail("heard", f"words not understood lead to {self.after.phase!r}")
            always = SAME_PHASE | {"negative"}
            if heard[0].meaning in always and phase is not Phase.TIMING and not heard[0].took:
                self.fail("heard", f"{heard[0].meaning!r} is refused")
            if event.certainty == "doubtful" or not heard[0].took:
                return
            what = heard[0].meaning
            if what.startswith("command:correction"):
                what = "command:correction"
                back = kept & {r.Withdrawn, r.Hold, r.StepStarted}
                if self.before.hold != "unanswered":
                    back &= {r.Withdrawn}
                if self.before.order and phase is not Phase.READING and not back:
                    self.fail("heard", "a correction takes nothing back")
            disregards = what == "command:disregard" and phase is Phase.ASKED
            if disregards and self.before.order and r.Asking not in kept:
                self.fail("heard", "disregard asks nothing")
        elif isinstance(event, e.MemoHeard) and phase is Phase.MEMO:
            what = "memo taken"
        elif isinstance(event, e.CodeChecked) and phase is Phase.CHECKING:
            what = "code checked" if event.reference == self.before.reference else ""
        elif isinstance(event, e.MicrophoneBack | e.SpeechBack) and phase is Phase.DEAF:
            what = "back"
        elif isinstance(event, e.MicrophoneLost | e.SpeechLost) and phase not in (
            Phase.DEAF,
            Phase.NEW,
        ):
            what = "lost"
        elif isinstance(event, e.Interrupted | e.Resumed | e.ClosedLate):
            what = type(event).__name__
        elif isinstance(event, e.PromptEnded) and phase in DEAF_PHASES:
            name = f"{phase}:{self.before.step}:{self.before.asked.get(self.before.step, 0)}"
            what = "spoken" if event.name == name else ""
        elif isinstance(event, e.TimerElapsed) and phase in RUNNING:
            due = self.before.deadlines.get("timing", 0)
            over = event.name in ("timing", "mark") and event.at.mono >= due
            what = "interval" if over else ""
            if over and self.after.phase is phase:
                self.fail("heard", "the time is over and nothing follows")
        elif isinstance(event, e.SoundRefused) and phase in WAITING - RUNNING - {STANDING}:
            what = "not heard"
        elif isinstance(event, e.TimerElapsed) and phase in WAITING - RUNNING - {STANDING}:
            what = event.name if event.name in SPOKEN_BY_TIMER else ""
            if event.name == "hands busy" and phase is Phase.ASKED:
                what = event.name
        if what in SAME_PHASE and self.after.phase is not phase:
            self.fail("heard", f"{what!r} leads from {phase!r} to {self.after.phase!r}")
        if what in SAME_PHASE and not any(isinstance(x, a.Say | a.Tone) for x in self.actions):
            self.fail("heard", f"{what!r} is not answered")
        wanted = LEAVES_RECORD.get((phase, what)) or LEAVES_RECORD.get((None, what))
        if wanted and not kept & set(wanted):
            self.fail("heard", f"{what!r} in the phase {phase!r} does not do what it means")

    # -- make safe first -----------------------------------------------------------------------

    def _make_safe(self) -> None:
        """Where a hazard is open and something goes wrong, its sentence is the first thing said.

        In one breath each part has its own turn, from its start on.
        """
        step = self.o.steps.get(self.before.step)
        turns: list[tuple[Known | None, list[a.Action]]] = [
            (step if self.before.hazard else None, [])
        ]
        for action in self.actions:
            record = action.record if isinstance(action, a.Keep) else None
            if isinstance(record, r.StepStarted) and not record.spoken:
                turns.append((self.o.steps.get(record.step), []))
            turns[-1][1].append(action)
        gone = isinstance(self.event, e.MicrophoneLost | e.SpeechLost | e.Interrupted | e.Resumed)
        for n, (open_step, actions) in enumerate(turns):
            if open_step is not None and open_step.safe:
                self._said_first(open_step, actions, gone and n == 0)

    def _said_first(self, step: Known, actions: Sequence[a.Action], gone: bool) -> None:
        records = [x.record for x in actions if isinstance(x, a.Keep)]
        answered = any(isinstance(x, r.Answered) for x in records)
        wrong = gone or any(
            isinstance(x, r.StoodBy | r.Again)
            or (isinstance(x, r.Finished | r.Deferred) and not answered)
            or (isinstance(x, r.Withdrawn) and x.why in ("correction", "again", "released"))
            or (isinstance(x, r.DefectFound) and x.severity == "major")
            for x in records
        )
        if not wrong:
            return
        said = [x for x in actions if isinstance(x, a.Say)]
        if not said or said[0].text != step.safe or said[0].interruptible:
            self.fail("make safe", f"{step.model.item!r}: {step.safe!r} is not said first")


def model_item(step: Known) -> str:
    return step.model.item


def _base(fact: str) -> str:
    return fact.partition("@")[0]


def _bare(number: str) -> str:
    return "".join(c for c in number.upper() if c.isalnum())


def _kind(step: StepModel) -> str:
    return next(kind for kind in REPLY_KINDS if getattr(step, kind) is not None)


def _speaks(step: StepModel, hazard: HazardModel | None) -> bool:
    return bool(
        step.confirm or step.variants is not None or step.caution or (hazard and hazard.caution)
    )


def _all_gives(step: StepModel) -> list[str]:
    tables = [step.answers or {}, *(v.answers for v in step.variants or ())]
    listed = [fact for table in tables for answer in table.values() for fact in answer.gives]
    return [*listed, *getattr(getattr(step, _kind(step)), "gives", ())]


def _instances(steps: Mapping[str, Known], names: Iterable[str]) -> Iterable[str]:
    """The steps that an author means: all of an id, or one by its full id."""
    for name in names:
        yield from (s.id for s in steps.values() if name in (s.id, s.model.id))


def _breath(step: StepModel, here: Sequence[StepModel], context: Context) -> tuple[str, ...]:
    """The steps that the author wants asked together, where each is in the walk and one step."""
    if step.together is None:
        return ()
    ids = (step.id, *step.together.parts)
    at = here.index(step)
    found = here[at : at + len(ids)]
    whole = tuple(s.id for s in found) == ids
    return ids if whole and all(len(_parts(s, context)) == 1 for s in found) else ()


def _parts(step: StepModel, context: Context) -> list[tuple[str, tuple[str, ...]]]:
    """What is added to the id of each part of a group, and the items of it: five at most."""
    if step.group is None:
        return [("", ())]
    items = [p.said for p in _item_places(step, context)] or [*step.group.items]
    count = (len(items) + 4) // 5
    least, more = divmod(len(items), count)
    found = []
    for k in range(count):
        size = least + (k < more)
        found.append((f" {k + 1}" if k else "", tuple(items[:size])))
        del items[:size]
    return found


def _item_places(step: StepModel, context: Context) -> tuple[Position, ...]:
    """Where the items of a group are, where the vehicle names them."""
    if step.group is None or not step.group.each:
        return ()
    return positions(context.vehicle, step.group.each)


def _overdue(said: str, valid: str, today: str) -> bool:
    """Whether today lies behind the last month or day; ``said`` is that of issue with ``valid``."""
    if not valid:
        return said < today[: len(said)]
    number, unit = valid.split()
    if unit == "h":
        age = date.fromisoformat(today) - date.fromisoformat(said)
        return age.days * 24 > int(number)
    months = 12 * (int(today[:4]) - int(said[:4])) + int(today[5:7]) - int(said[5:7])
    # in the last month the day decides, where one was said
    return months > int(number) or (
        months == int(number) and said[8:] != "" and today[8:] > said[8:]
    )


def _has(step: StepModel, context: Context) -> bool:
    """Whether the vehicle has anything of what the step is about."""
    lists = [of for of in (step.each, step.group.each if step.group else "") if of]
    return all(positions(context.vehicle, of) for of in lists)


def _applies(step: StepModel, context: Context, chosen: Mapping[str, str]) -> bool:
    when = step.when
    if when is None:
        return True
    place = context.jurisdiction
    return (
        when.season in (None, context.season)
        and (
            not when.jurisdiction
            or any(place == j or place.startswith(f"{j}-") for j in when.jurisdiction)
        )
        and set(when.feature) <= set(context.vehicle.features)
        and not set(when.without) & set(context.vehicle.features)
        and all(chosen.get(name) == value for name, value in when.setting.items())
    )
