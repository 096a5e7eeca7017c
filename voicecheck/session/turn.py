"""One turn: an event comes in, records and actions go out.

The turn holds the state while the rules work on it. The only way to change the state is ``keep``:
it puts the record on the list of actions and folds it in, so that what is remembered and what is
written are one.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal

from voicecheck.checklist.compiled import Compiled, Step
from voicecheck.session import actions as a
from voicecheck.session import records as r
from voicecheck.session import sentences as say
from voicecheck.session.facts import ended_by, falls_with, in_use, missing, rests_on
from voicecheck.session.fold import evolve
from voicecheck.session.replying import Reply, expect
from voicecheck.session.state import HANDS_BUSY_S, QUIET_S, Phase, State

DONE_WELL = frozenset({"good", "noted", "not fitted", "carried"})
OPEN_PHASES = frozenset(
    {
        Phase.SPEAKING,
        Phase.ASKED,
        Phase.FOLLOWING,
        Phase.READING,
        Phase.TIMING,
        Phase.CLOCKING,
        Phase.ASKING,
        Phase.MEMO,
    }
)
TIMERS = {Phase.TIMING: "timing", Phase.CLOCKING: "mark"}


class Turn:
    def __init__(self, compiled: Compiled, state: State, at: r.Stamp) -> None:
        self.compiled = compiled
        self.state = state
        self.at = at
        self.spoken_at = at.mono  # monotonic ms at which the reply of this turn began
        self.actions: list[a.Action] = []
        self.said_with: tuple[str, ...] = ()  # steps answered in the breath of this reply, to come
        self.unspoken = ""  # the one among them that was started last

    # -- what every rule does ------------------------------------------------------------------

    def keep(self, record: r.Record) -> None:
        self.actions.append(a.Keep(record))
        self.state = evolve(self.compiled, self.state, record)

    def say(self, text: str, interruptible: bool = True, name: str = "") -> None:
        self.actions.append(a.Say(text, interruptible, name))

    def tone(self, name: str) -> None:
        self.actions.append(a.Tone(name))

    def listen(self) -> None:
        self.actions.append(a.Listen(*expect(self.compiled, self.state)))
        step = self.current()
        if self.state.phase is Phase.ASKED and step and step.hands_busy:
            self.actions.append(a.StartTimer("hands busy", HANDS_BUSY_S))
        elif self.state.phase in TIMERS:  # opening the ear has stopped it
            left = max(0, self.state.deadlines["timing"] - self.at.mono)
            self.actions.append(a.StartTimer(TIMERS[self.state.phase], left / 1000))
        elif self.state.phase is not Phase.STANDING:
            self.actions.append(a.StartTimer("quiet", QUIET_S))

    def current(self) -> Step | None:
        return self.compiled.step(self.state.step) if self.state.step else None

    def spoken_name(self) -> str:
        """The name under which the end of the present hold or caution is reported."""
        return f"{self.state.phase}:{self.state.step}:{self.state.asked.get(self.state.step, 0)}"

    # -- facts ---------------------------------------------------------------------------------

    def expire(self) -> None:
        """End the facts whose time is over, unless the open step is standing on them."""
        step = self.current() if self.state.phase in OPEN_PHASES else None
        used = in_use(self.compiled, step) if step else frozenset()
        for fact, until in sorted(self.state.deadlines.items()):
            if fact != "timing" and until <= self.at.mono and fact not in used:
                self.keep(r.FactEnded(at=self.at, fact=fact, why="time"))

    def end_facts(self, why: str, *lasting: str) -> None:
        """End the true facts whose life is one of these (``until left``, ``time``)."""
        for fact in sorted(self.state.facts):
            if self.compiled.facts[fact].lasts in lasting:
                self.keep(r.FactEnded(at=self.at, fact=fact, why=why))

    def withdraw(self, steps: Iterable[str], why: str) -> tuple[str, ...]:
        """Withdraw answers and all that rested on them. The steps withdrawn, in order."""
        first = tuple(id for id in steps if id in self.state.answers)
        fallen = falls_with(self.compiled, self.state, first)
        for id in first:
            self.keep(r.Withdrawn(at=self.at, step=id, why=why))
        for id in fallen:
            self.keep(r.Withdrawn(at=self.at, step=id, why="rested on a withdrawn answer"))
        return tuple(sorted({*first, *fallen}, key=self.compiled.index))

    # -- make safe first -----------------------------------------------------------------------

    def make_safe(self, why: str) -> None:
        """Where a hazard is open, its make-safe sentence before anything else is said."""
        if not self.state.hazard:
            return
        hazard = self.compiled.hazards[self.state.hazard]
        self.keep(r.MadeSafe(at=self.at, hazard=hazard.name, why=why, text=hazard.safe))
        self.say(hazard.safe, interruptible=False, name="make safe")

    # -- what earlier inspections left ---------------------------------------------------------

    def take_over(self, opened: r.Opened) -> None:
        """Keep and tell what was carried: open defects as found, good answers as given (H8, H9)."""
        for found in opened.defects:
            self.keep(
                r.DefectFound(
                    at=self.at,
                    defect=found.defect,
                    number=len(self.state.defects) + 1,
                    severity=found.severity,
                    step=found.step,
                    item=found.item,
                    text=found.text,
                    scope=found.scope,
                    mended_by=found.mended_by,
                    source=found.source,
                    heard=0,
                    reckoning=found.reckoning if found.step else "",
                    origin=found.origin,
                )
            )
        for answer in opened.carried:
            self.keep(
                r.Answered(
                    at=self.at,
                    step=answer.step,
                    outcome="carried",
                    answer="carried",
                    text=answer.text,
                    gives=(),
                    rested_on=(),
                    heard=0,
                    quantity="",
                    first_quantity="",
                    limit="",
                    verdict="",
                    judged="",
                    quick=answer.quick,
                )
            )
        items = [(x.origin, self.compiled.step(x.step).item) for x in opened.carried]
        for sentence in (
            *say.carried(items),
            *say.still_open([(x.origin, x.text, x.severity) for x in opened.defects]),
        ):
            self.say(sentence)

    # -- where to go ---------------------------------------------------------------------------

    def onward(self) -> None:
        """Start the first step in walking order that has no answer, or finish.

        What was put off comes back before the steps that leave the yard.
        """
        while len(now := self.not_put_off()) > 1 and self.waits_for_deferred(now[0]):
            # the driver put off what this one waits for: put it off too
            self.keep(r.Deferred(at=self.at, steps=(now[0].id,)))
        ahead = self.ahead()
        if ahead:
            self.begin(ahead[0])
        else:
            self.finish("every step has an answer")

    def not_put_off(self) -> list[Step]:
        """The open steps before the leaving, without those that were put off."""
        answers, deferred = self.state.answers, self.state.deferred
        return [
            s
            for s in self.walk()
            if s.id not in answers and s.id not in deferred and s.hazard != "leave"
        ]

    def ahead(self) -> list[Step]:
        """The open steps in the order in which they come, of those that come first."""
        first = self.not_put_off()
        if first:
            return first
        open_steps = [s for s in self.walk() if s.id not in self.state.answers]
        return [s for s in open_steps if s.hazard != "leave"] or open_steps

    def waits_for_deferred(self, step: Step) -> bool:
        """Whether a step that was put off stands between this one and its needs."""
        seen: set[str] = set()
        wanted: Step | None = step
        while self.state.deferred and wanted is not None and wanted.id not in seen:
            seen.add(wanted.id)
            wanted = self.giver(wanted, missing(self.compiled, self.state, wanted))
            if wanted is not None and wanted.id in self.state.deferred:
                return True
        return False

    def walk(self) -> tuple[Step, ...]:
        """The steps of the walk: those of ``again`` only where one was called for."""
        return self.compiled.walk(self.state.wanted)

    def restart(self) -> None:
        """Start the current step anew, or go on when it is answered."""
        step = self.current()
        if step is None or step.id in self.state.answers:
            self.onward()
        else:
            self.begin(step)

    def begin(self, step: Step) -> None:
        """Speak the step, or the hold that stands before it."""
        stops = self.stops_before(step)
        if self.blocked(step):
            self.answered(step, "blocked", "blocked", "blocked by a stop")
            self.onward()
        elif stops:
            self.hold_stop(step, stops)
        elif step.hazard == "leave" and self.unanswered():
            self.hold_unanswered(step)
        elif lacking := missing(self.compiled, self.state, step):
            if self.waits_for_release(step):
                self.answered(step, "blocked", "blocked", "blocked by a stop")
                self.onward()
            else:
                self.hold_precondition(step, lacking)
        else:
            self.start(step)

    def start(self, step: Step) -> None:
        state, opened = self.state, self.state.opened
        used = in_use(self.compiled, step)
        for fact in sorted(state.facts):  # facts for seconds die when another step is spoken
            if self.compiled.facts[fact].lasts == "time" and fact not in used:
                self.keep(r.FactEnded(at=self.at, fact=fact, why="another step"))
        unspoken = self.said_before(step)
        together = () if unspoken else self.breath(step)
        ends = {fact for id in (step.id, *together) for fact in self.compiled.step(id).ends}
        occasion = state.asked.get(step.id, 0) + sum(map(ord, opened.inspection if opened else ""))
        moved = step.place != state.last_place
        speaks = step.confirm or bool(step.caution)
        self.keep(
            r.StepStarted(
                at=self.at,
                step=step.id,
                ends=ended_by(self.state, ends),
                hazard=step.hazard,
                speaks=speaks,
                variant=occasion % len(step.variants),
                together=together,
                spoken=not unspoken,
            )
        )
        if unspoken:
            self.unspoken = step.id
            return
        text = self.prompt(step, moved)
        if step.kind == "memo":
            self.keep(r.MemoWanted(at=self.at, about="note", number=0))
            self.say(text)
            self.tone("listening")
            self.actions.append(a.ListenMemo())
        elif speaks:
            self.actions.append(a.Deafen())
            self.say(text, interruptible=False, name=self.spoken_name())
        else:
            self.say(text)
            self.listen()

    def prompt(self, step: Step, with_place: bool = True) -> str:
        """The step's sentence: the place first, the caution, the question last."""
        brief = self.state.mode == "brief"
        parts = [
            f"{self.compiled.places[step.place]}." if with_place or brief else "",
            step.caution,
            step.asked(self.state.variant, bool(self.state.breath), brief),
        ]
        return " ".join(part for part in parts if part)

    def breath(self, step: Step) -> tuple[str, ...]:
        """The steps to be asked in one sentence with this one, itself first; none when it is to be
        asked alone, because another comes next, is answered, or may not be spoken now."""
        ids = step.together.steps if step.together else ()
        if not ids or tuple(s.id for s in self.ahead()[: len(ids)]) != ids:
            return ()
        later = [self.compiled.step(id) for id in ids[1:]]
        if any(self.stops_before(s) or missing(self.compiled, self.state, s) for s in later):
            return ()
        return ids

    def said_before(self, step: Step) -> bool:
        """Whether the reply of this turn answers this step too, the ones before it being good.

        When another step is started, what was said behind it is dropped.
        """
        ids, self.said_with = self.said_with, self.said_with[1:]
        done = self.state.answers.get(self.state.step)
        if ids[:1] == (step.id,) and done is not None and done.outcome == "good":
            return True
        self.said_with = ()
        return False

    # -- holds ---------------------------------------------------------------------------------

    def stops_before(self, step: Step) -> tuple[r.DefectFound, ...]:
        """The open stops that block the step's hazard."""
        if not step.hazard or self.compiled.hazards[step.hazard].never_blocked:
            return ()
        return tuple(
            d for d in self.state.open_stops() if step.hazard == "leave" or step.hazard in d.scope
        )

    def unanswered(self) -> tuple[Step, ...]:
        """Steps other than those of ``leave`` that are not answered well."""
        return tuple(
            s
            for s in self.walk()
            if s.hazard != "leave"
            and (
                s.id not in self.state.answers or self.state.answers[s.id].outcome not in DONE_WELL
            )
        )

    def hold_precondition(self, step: Step, lacking: Sequence[str]) -> None:
        giver = self.giver(step, lacking)
        texts = [self.compiled.fact_text(name) for name in lacking[:2]]
        text = say.hold_precondition(texts, giver.item) if giver else say.hold_no_way(texts)
        self.hold("precondition", step, tuple(lacking), giver.id if giver else "", text)

    def giver(self, step: Step, lacking: Sequence[str]) -> Step | None:
        """The step that can give the first missing fact: with the fewest further holds, then the
        nearest before this one, and one that moves nothing before one that does.

        The earliest would lead a driver who is coupled back under the nose to set two knobs.
        """
        if not lacking:
            return None
        here, ranks = self.compiled.index(step.id), self.ranks()

        def far(id: str) -> tuple[int, bool, bool, int]:
            at, giver = self.compiled.index(id), self.compiled.step(id)
            moving = bool(giver.hazard) and self.compiled.hazards[giver.hazard].moving
            return ranks[id], at > here, moving, abs(at - here)

        for name in lacking:
            ids = [
                id
                for leaf in self.compiled.need(name).leaves()
                if not self.state.true(leaf)
                for id in self.compiled.givers(leaf)
                if id != step.id and id in ranks
            ]
            if ids:
                return self.compiled.step(min(ids, key=far))
        return None

    def blocked(self, step: Step) -> bool:
        """Whether the step stands under stops that the driver chose to carry on under."""
        stops = self.stops_before(step)
        return bool(stops) and all(d.number in self.state.carried for d in stops)

    def waits_for_release(self, step: Step) -> bool:
        """Whether the step, or every way to a fact that it needs, is blocked while stops stand.

        Without this a hold would lead to a blocked step and back, for ever.
        """
        return bool(self.state.carried) and step.id not in self.ranks()

    def ranks(self) -> dict[str, int]:
        """The steps that can be brought to start, and how many rounds of other steps that takes.

        A step that needs what only it gives, and one under a stop that is carried on, are not
        among them.
        """
        waiting = [s for s in self.compiled.steps if not self.blocked(s)]
        can_be = set(self.state.facts)
        found: dict[str, int] = {}
        for rank in range(len(waiting) + 1):
            ready = [
                s
                for s in waiting
                if all(self.compiled.need(name).holds(can_be.__contains__) for name in s.needs)
            ]
            if not ready:
                break
            found.update({s.id: rank for s in ready})
            waiting = [s for s in waiting if s.id not in found]
            for s in ready:
                can_be.update(s.gives)
                can_be.update(f for v in s.variants for x in v.answers for f in x.gives)
        return found

    def hold_stop(self, step: Step, stops: Sequence[r.DefectFound]) -> None:
        driver = any(d.mended_by == "driver" for d in stops)
        codes = self.state.opened is not None and self.state.opened.codes
        text = say.hold_stop([d.text for d in stops], step.item, driver, codes)
        self.hold("stop", step, tuple(d.defect for d in stops), "", text)

    def hold_unanswered(self, step: Step) -> None:
        left = self.unanswered()
        text = say.hold_unanswered([s.item for s in left])
        self.hold("unanswered", step, tuple(s.id for s in left), "", text)

    def hold(
        self, kind: str, step: Step, lacking: tuple[str, ...], goes_to: str, text: str
    ) -> None:
        self.keep(
            r.Hold(at=self.at, hold=kind, step=step.id, missing=lacking, goes_to=goes_to, text=text)
        )
        self.actions.append(a.Deafen())
        self.tone("hold")
        self.say(text, interruptible=False, name=self.spoken_name())

    # -- answers -------------------------------------------------------------------------------

    def answered(
        self,
        step: Step,
        outcome: str,
        answer: str,
        text: str,
        *,
        gives: tuple[str, ...] = (),
        heard: int = 0,
        quantity: str = "",
        first_quantity: str = "",
        limit: str = "",
        verdict: str = "",
        judged: str = "",
    ) -> None:
        """Keep the step's accepted answer. An earlier one that gave more falls first."""
        lost = {
            fact
            for fact, givers in self.state.facts.items()
            if step.id in givers and fact not in gives
        }
        if lost and step.id in self.state.answers:
            self.withdraw((step.id,), "answered anew")
        took = Decimal(self.at.mono - self.state.asked_at) / 1000
        self.keep(
            r.Answered(
                at=self.at,
                step=step.id,
                outcome=outcome,
                answer=answer,
                text=text,
                gives=gives,
                rested_on=rests_on(self.compiled, self.state, step),
                heard=heard,
                quantity=quantity,
                first_quantity=first_quantity,
                limit=limit,
                verdict=verdict,
                judged=judged,
                quick=outcome == "good" and took < step.look_s,
            )
        )

    def defect(self, id: str, step: Step, item: str, reply: Reply, reckoning: str = "") -> str:
        """Keep a defect, once while it is open. Its severity.

        That of a reckoning is one, whichever of its readings came last.
        """
        known = self.compiled.defects[id]
        standing = any(
            d.defect == id
            and d.reckoning == reckoning
            and (bool(reckoning) or (d.step == step.id and d.item == item))
            and d.number not in self.state.released
            for d in self.state.defects
        )
        if not standing:
            self.keep(
                r.DefectFound(
                    at=self.at,
                    defect=id,
                    number=len(self.state.defects) + 1,
                    severity=known.severity,
                    step=step.id,
                    item=item,
                    text=known.text
                    if reckoning or item == step.item
                    else f"{item.capitalize()}: {known.text}",
                    scope=known.scope,
                    mended_by=known.mended_by,
                    source=known.source,
                    heard=reply.heard,
                    reckoning=reckoning,
                )
            )
        return known.severity

    def finish(self, why: str) -> None:
        stops = self.state.open_stops()
        left = [
            s
            for s in self.walk()
            if s.id not in self.state.answers or self.state.answers[s.id].outcome not in DONE_WELL
        ]
        outcome = "stopped" if stops else "not finished" if left else "complete"
        self.make_safe("the inspection ends")
        self.keep(r.Finished(at=self.at, outcome=outcome, why=why))
        self.actions.append(a.Deafen())
        self.say(
            say.finished(outcome, [d.text for d in stops], [s.item for s in left]),
            interruptible=False,
            name="finished",
        )
        self.actions.append(a.Finish(outcome))
