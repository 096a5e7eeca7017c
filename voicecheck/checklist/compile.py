"""From the author's model to the steps that the session walks, or an error with file and line.

What is checked here is what makes a checklist meaningless: names that nobody declares, facts that
nobody gives, an ``again`` that leads forward, a step that unlocks a hazard and yet offers "not
fitted". Whether every hold can be cleared is shown by exploring the compiled checklist.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from decimal import Decimal
from itertools import product
from typing import cast

from voicecheck.checklist.breath import HOW, refused, written_wrongly
from voicecheck.checklist.compiled import (
    Answer,
    Breath,
    Compiled,
    DateAsked,
    Defect,
    Fact,
    Hazard,
    Item,
    Kind,
    Lasts,
    Need,
    Reading,
    Reckoning,
    Spelling,
    Step,
    Variant,
)
from voicecheck.checklist.load import Lines, line_of
from voicecheck.checklist.model import (
    REPLY_KINDS,
    AnswerModel,
    ChecklistModel,
    ClockedModel,
    Condition,
    DerivedModel,
    HazardModel,
    HazardsModel,
    MeasureModel,
    StepModel,
    TimedModel,
)
from voicecheck.checklist.vehicle import Position, Vehicle, positions
from voicecheck.errors import ChecklistError, FactNeverGiven, NotTogether, UnknownLimit
from voicecheck.limits.judge import inputs_of, judges_a_time, units_of
from voicecheck.limits.reckon import RULES
from voicecheck.units import UNITS, S, unit_named

MOST_ITEMS = 5  # of a group: nobody can keep more in mind
PART_NAMES = ("one", "two", "three", "four", "five", "six", "seven", "eight")


@dataclass(frozen=True)
class Context:
    """For whom the checklist is compiled. ``settings`` holds only the choices that differ."""

    vehicle: Vehicle
    season: str = "summer"
    jurisdiction: str = "US"
    settings: Mapping[str, str] = field(default_factory=dict)


def compile_checklist(
    model: ChecklistModel, lines: Lines, file: str, hazards: HazardsModel, context: Context
) -> Compiled:
    """The compiled checklist. ChecklistError or FactNeverGiven with file and line."""
    return _Compiler(model, lines, file, hazards, context).compile()


class _Compiler:
    def __init__(
        self,
        model: ChecklistModel,
        lines: Lines,
        file: str,
        hazards: HazardsModel,
        context: Context,
    ) -> None:
        self.model, self.lines, self.file = model, lines, file
        self.hazards, self.context = hazards.hazards, context
        self.settings = {name: s.default for name, s in model.settings.items()}
        for name, choice in context.settings.items():
            if name not in model.settings:
                continue  # another checklist of the day has it
            if choice not in model.settings[name].choices:
                raise ChecklistError(
                    f"setting {name!r} has no choice {choice!r}",
                    f"choose one of: {', '.join(model.settings[name].choices)}",
                    file,
                    line_of(lines, "settings", name),
                )
            self.settings[name] = choice
        self.derived: dict[str, Need] = {}
        self.carried: list[StepModel] = []

    def fail(self, what: str, how: str, *path: str | int) -> ChecklistError:
        return ChecklistError(what, how, self.file, line_of(self.lines, *path))

    # -- the whole ----------------------------------------------------------------------------

    def compile(self) -> Compiled:
        model = self.model
        for name, derived in model.derived.items():
            if name in model.facts:
                raise self.fail(
                    f"{name!r} is both a fact and derived", "rename one of them", "derived", name
                )
            self.derived[name] = self._need(derived, ("derived", name))
        self._acyclic()
        for n, pair in enumerate(model.exclusive):
            for fact in pair:
                self._plain(fact, "exclusive", n)
        for id, defect in model.defects.items():
            for hazard in defect.blocks:
                if self._hazard(hazard, "defects", id).never_blocked:
                    raise self.fail(
                        f"{hazard!r} is a make-safe movement, which no defect may block",
                        "take it out of blocks:",
                        "defects",
                        id,
                    )
        steps = tuple(step for n, part in enumerate(model.steps) for step in self._steps(part, n))
        steps = self._breaths(steps)
        self._orders()
        reckonings = tuple(self._reckonings(steps))
        compiled = Compiled(
            id=model.id,
            edition=model.edition,
            title=model.title,
            steps=steps,
            facts=self._facts(steps),
            derived=self.derived,
            exclusive=tuple(
                pair
                for first, second in model.exclusive
                for pair in product(self._instances(first, steps), self._instances(second, steps))
            ),
            hazards={
                name: Hazard(
                    name, h.text, h.needs, h.caution, h.safe, h.moving, h.never_blocked, h.parts
                )
                for name, h in self.hazards.items()
            },
            defects={
                id: Defect(id, d.text, d.severity, d.blocks, d.mended_by, d.source)
                for id, d in model.defects.items()
            },
            places=model.places,
            settings=self.settings,
            setting_texts={name: s.text for name, s in model.settings.items()},
            derived_texts={name: d.text for name, d in model.derived.items()},
            reckonings=reckonings,
        )
        self._all_given(compiled)
        self._one_way(compiled)
        for step in steps:
            if step.together:
                self._together(refused(compiled, [compiled.step(x) for x in step.together.steps]),
                               step.id)  # fmt: skip
        return compiled

    def _breaths(self, steps: tuple[Step, ...]) -> tuple[Step, ...]:
        """Each breath at its first step, where its parts follow one another in this walk."""
        found = {}
        for n, part in enumerate(self.model.steps):
            if part.together is None:
                continue
            self._together(written_wrongly(self.model.steps, n), part.id)
            ids = (part.id, *part.together.parts)
            at = next((k for k, s in enumerate(steps) if s.id == part.id), len(steps))
            once = [s.id for s in steps if s.written in ids] == list(ids)
            if once and tuple(s.id for s in steps[at : at + len(ids)]) == ids:
                body = part.together
                found[part.id] = Breath(ids, body.ask, body.brief or body.ask)
        return tuple(replace(s, together=found.get(s.id)) for s in steps)

    def _together(self, why: tuple[str, str] | None, first: str) -> None:
        if why is not None:
            n = next(n for n, s in enumerate(self.model.steps) if s.id == first)
            raise NotTogether(
                f"step {why[1]!r} cannot be asked together with {first!r} ({why[0]})",
                HOW[why[0]],
                self.file,
                line_of(self.lines, "steps", n, "together"),
            )

    def _instances(self, fact: str, steps: Iterable[Step]) -> list[str]:
        """The fact itself, or its instances where a step ``each:`` gives it."""
        return [f for f in self._facts(steps) if f.startswith(f"{fact}@")] or [fact]

    def _one_way(self, compiled: Compiled) -> None:
        for fact in compiled.facts:
            plain = fact.partition("@")[0]
            if "@" in fact and compiled.givers(plain):
                written = compiled.step(compiled.givers(plain)[0]).written
                raise self.fail(
                    f"{plain!r} is given here, and at each position by another step",
                    "give them different names, and join the two under derived:",
                    "steps",
                    next(n for n, s in enumerate(self.model.steps) if s.id == written),
                )

    def _facts(self, steps: Iterable[Step]) -> dict[str, Fact]:
        facts: dict[str, Fact] = {}
        for name, part in self.model.facts.items():
            seconds = int(part.lasts.split()[0]) if part.lasts.endswith(" s") else 0
            lasts = cast("Lasts", "time" if seconds else part.lasts)
            facts[name] = Fact(name, part.text, lasts, seconds)
        # instances of an each: step carry the life of the fact they are instances of
        for step in steps:
            for fact in (
                *step.gives,
                *(f for v in step.variants for a in v.answers for f in a.gives),
            ):
                if "@" in fact:
                    base_fact = facts[fact.partition("@")[0]]
                    facts[fact] = Fact(fact, base_fact.text, base_fact.lasts, base_fact.seconds)
        return facts

    def _need(self, part: DerivedModel | Condition | str, path: tuple[str | int, ...]) -> Need:
        if isinstance(part, str):
            self._known(part, *path)
            return Need("fact", part)
        how = "any" if part.any else "all"
        return Need(
            "any" if part.any else "all",
            parts=tuple(self._need(p, (*path, how, n)) for n, p in enumerate(part.any or part.all)),
        )

    def _acyclic(self) -> None:
        """Derived facts may use derived facts; resolve them to plain facts, refuse circles."""

        def resolve(need: Need, seen: tuple[str, ...]) -> Need:
            if need.how != "fact":
                return Need(need.how, parts=tuple(resolve(p, seen) for p in need.parts))
            if need.fact in seen:
                raise self.fail(
                    f"derived facts in a circle: {' > '.join((*seen, need.fact))}",
                    "a derived fact may not depend on itself",
                    "derived",
                    need.fact,
                )
            inner = self.derived.get(need.fact)
            return resolve(inner, (*seen, need.fact)) if inner else need

        self.derived = {name: resolve(need, (name,)) for name, need in self.derived.items()}

    def _orders(self) -> None:
        ids = [step.id for step in self.model.steps]
        for n, step in enumerate(self.model.steps):
            for earlier in step.after:
                if earlier not in ids[:n]:
                    raise self.fail(
                        f"after: {earlier!r} is no earlier step",
                        "name a step that is written before this one",
                        "steps",
                        n,
                        "after",
                    )

    def _reckonings(self, steps: tuple[Step, ...]) -> Iterator[Reckoning]:
        """Those of which a step is in this walk."""
        for n, part in enumerate(self.model.reckonings):
            path = ("reckonings", n)
            if [x.id for x in self.model.reckonings].count(part.id) > 1:
                raise self.fail(f"two reckonings are called {part.id!r}", "rename one", *path, "id")
            if part.rule not in RULES:
                raise self.fail(
                    f"there is no rule {part.rule!r}",
                    f"use one of: {', '.join(RULES)}",
                    *path,
                    "rule",
                )
            if part.outside:
                self._defects((("", part.outside),), *path, "outside")
            found: dict[str, None] = {}
            for name in part.readings:
                named = [s for s in steps if name in (s.written, s.id)]
                if not named and name.partition("@")[0] not in {s.id for s in self.model.steps}:
                    raise self.fail(
                        f"from: {name!r} is no step",
                        "name a step that measures, or one of its instances",
                        *path,
                        "from",
                    )
                for step in named:
                    if step.reading is None or step.carry:
                        why = "is carried forward" if step.carry else "takes no reading"
                        raise self.fail(
                            f"from: {name!r} {why}",
                            "a reckoning needs a reading of this inspection",
                            *path,
                            "from",
                        )
                found.update(dict.fromkeys(s.id for s in named))
            given = {**self.context.vehicle.given(), **part.given}
            if found:
                yield Reckoning(
                    part.id,
                    part.text,
                    part.rule,
                    tuple(found),
                    tuple(sorted(given.items())),
                    part.outside,
                    part.source,
                )

    def _all_given(self, compiled: Compiled) -> None:
        for step in compiled.steps:
            for name in step.needs:
                for fact in compiled.need(name).leaves():
                    if compiled.givers(fact):
                        continue
                    need = compiled.need(name)
                    if need.holds(lambda leaf: bool(compiled.givers(leaf))):
                        continue  # another branch of an any: can give it
                    n = next(n for n, s in enumerate(self.model.steps) if s.id == step.written)
                    raise FactNeverGiven(
                        f"step {step.id!r} needs {fact!r}, which no step gives",
                        "list it under gives: of an answer, or take the need away",
                        self.file,
                        line_of(self.lines, "steps", n, "hazard" if step.hazard else "needs"),
                    )

    # -- one step -----------------------------------------------------------------------------

    def _steps(self, part: StepModel, n: int) -> Iterator[Step]:
        path = ("steps", n)
        if [s.id for s in self.model.steps].count(part.id) > 1:
            raise self.fail(f"two steps are called {part.id!r}", "rename one", *path, "id")
        if part.place not in self.model.places:
            raise self.fail(
                f"the place {part.place!r} is not declared", "add it to places:", *path, "place"
            )
        if not self._applies(part, path) or self._lacking(part, *path):
            return
        self._may_be_carried(part, *path)
        items = self._items(part, *path)
        if not part.each:
            yield from (self._step(part, n, None, items, k) for k in range(len(items)))
            return
        found = self._positions(part.each, *path, "each")
        for given in self._given_by(part):
            self._plain(given, *path)
            self.derived[given] = Need(
                "all", parts=tuple(Need("fact", f"{given}@{p.id}") for p in found)
            )
        for position in found:
            yield from (self._step(part, n, position, items, k) for k in range(len(items)))

    def _items(self, part: StepModel, *path: str | int) -> tuple[tuple[Item, ...], ...]:
        """The items of each of the steps that a group becomes; one step without any, else.

        At most ``MOST_ITEMS`` a step, as evenly as can be, in the order of the vehicle.
        """
        if part.group is None:
            return ((),)
        named = (
            self._positions(part.group.each, *path, "group", "each")
            if part.group.each
            else tuple(Position(name, name, {}) for name in part.group.items)
        )
        if not 0 < len(named) <= MOST_ITEMS * len(PART_NAMES):
            raise self.fail(
                f"the group has {len(named)} items, and a group has 1 to "
                f"{MOST_ITEMS * len(PART_NAMES)}",
                "leave the step out with when:, or correct the vehicle file",
                *path,
                "group",
            )
        wrong = tuple(part.group.wrong.items())
        self._defects(wrong, *path, "group", "wrong")
        count = -(-len(named) // MOST_ITEMS)
        return tuple(
            tuple(
                Item(
                    p.said,
                    (p.said, *p.also),
                    wrong,
                    p.given.get("unit", ""),
                    self._measured(part, p, *path),
                )
                for n, p in enumerate(named)
                if n * count // len(named) == k
            )
            for k in range(count)
        )

    def _measured(
        self, part: StepModel, position: Position, *path: str | int
    ) -> tuple[tuple[str, Reading], ...]:
        """What the driver may say of an item that he has measured, with the figure then asked."""
        found = part.group.measured.items() if part.group else ()
        return tuple(
            (
                said,
                replace(
                    self._figure(body, position, str, (*path, "group", "measured"), said),
                    second_ask=body.ask,
                ),
            )
            for said, body in found
        )

    def _may_be_carried(self, part: StepModel, *path: str | int) -> None:
        """What is carried forward is not done again, so no fact may hang on its doing."""
        facts = (*self._given_by(part), *part.ends)
        if part.carry and facts:
            raise self.fail(
                f"the step is carried forward and gives or ends {facts[0]!r}",
                "a carried answer gives nothing: take carry: away, or the fact",
                *path,
                "carry",
            )
        same = [s.id for s in self.carried if s.carry == part.carry]
        if part.carry and same:
            raise self.fail(
                f"{part.carry!r} is carried by the step {same[0]!r} already",
                "give each its own name; the name is looked for in the other checklist",
                *path,
                "carry",
            )
        if part.carry:
            self.carried.append(part)

    def _lacking(self, part: StepModel, *path: str | int) -> bool:
        """The vehicle has nothing of what the step is about: then it gives no fact either."""
        lists = (part.each, *path, "each"), (part.group.each if part.group else "", *path, "group")
        return any(of and not self._positions(str(of), *at) for of, *at in lists)

    def _positions(self, of: str, *path: str | int) -> tuple[Position, ...]:
        try:
            return positions(self.context.vehicle, of)
        except ChecklistError as error:
            raise self.fail(error.what, error.how, *path) from None

    def _given_by(self, part: StepModel) -> list[str]:
        kind = next(k for k in REPLY_KINDS if getattr(part, k) is not None)
        body = getattr(part, kind)
        if kind == "answers":
            return [f for answer in body.values() for f in answer.gives]
        if kind == "variants":
            return [f for v in body for answer in v.answers.values() for f in answer.gives]
        return list(getattr(body, "gives", ()))

    def _applies(self, part: StepModel, path: tuple[str | int, ...]) -> bool:
        when = part.when
        if when is None:
            return True
        for name in when.setting:
            if name not in self.model.settings:
                raise self.fail(
                    f"there is no setting {name!r}", "declare it under settings:", *path, "when"
                )
        return (
            (when.season is None or when.season == self.context.season)
            and (
                not when.jurisdiction
                or any(
                    self.context.jurisdiction == j or self.context.jurisdiction.startswith(j + "-")
                    for j in when.jurisdiction
                )
            )
            and all(f in self.context.vehicle.features for f in when.feature)
            and not any(f in self.context.vehicle.features for f in when.without)
            and all(self.settings[name] == value for name, value in when.setting.items())
        )

    def _step(
        self,
        part: StepModel,
        n: int,
        position: Position | None,
        parts: tuple[tuple[Item, ...], ...],
        k: int,
    ) -> Step:
        """One of the steps that an author's step becomes: at a position, the k-th of its parts."""
        path = ("steps", n)
        items = parts[k]
        number = f" {k + 1}" if k else ""
        at = f"@{position.id}" if position else ""
        kind = next(k for k in REPLY_KINDS if getattr(part, k) is not None)
        hazard = self._hazard(part.hazard, *path, "hazard") if part.hazard else None
        needs = tuple(dict.fromkeys((*(hazard.needs if hazard else ()), *part.needs)))
        for need in needs:
            self._known(need, *path, "needs" if need in part.needs else "hazard")
        for fact in part.ends:
            self._plain(fact, *path, "ends")
            if not all(self._resolved(n).holds(lambda leaf: leaf not in part.ends) for n in needs):
                raise self.fail(
                    f"the step ends {fact!r}, which it needs itself",
                    "let another step end it, or take the need away",
                    *path,
                    "ends",
                )

        names = _listed([item.name for item in items])

        def put(text: str) -> str:
            if position:
                text = text.replace("{position}", position.said)
            return text.replace("{items}", names)

        def asked(text: str) -> str:
            """Of several parts each must say what it is about."""
            several = len(parts) > 1 and "{items}" not in text
            return put(f"{names.capitalize()}. {text}" if several else text)

        def gives(facts: tuple[str, ...], *where: str | int) -> tuple[str, ...]:
            for fact in facts:
                self._plain(fact, *path, *where)
                if fact in part.ends and kind not in ("answers", "variants", "done", "verdict"):
                    raise self.fail(
                        f"{fact!r} is ended and given by one step", "keep one", *path, "ends"
                    )
            return tuple(f"{fact}{at}" for fact in facts)

        def answer(phrase: str, a: AnswerModel, *where: str | int) -> Answer:
            for defect in (a.defect, a.third):
                if defect and defect not in self.model.defects:
                    raise self.fail(
                        f"the defect {defect!r} is not declared",
                        "add it to defects: with text, class and source",
                        *path,
                        *where,
                    )
            if a.again:
                earlier = [s.id for s in self.model.steps[: n + 1]]
                if a.again not in earlier:
                    raise self.fail(
                        f"again: {a.again!r} is no earlier step",
                        "name this step or one before it",
                        *path,
                        *where,
                    )
            for pair in self.model.exclusive:
                if set(pair) <= set(a.gives):
                    raise self.fail(
                        f"the answer gives {pair[0]!r} and {pair[1]!r}, which exclude one another",
                        "let it give one of the two",
                        *path,
                        *where,
                    )
            return Answer(
                id=phrase,
                said=(phrase, *a.also),
                gives=gives(a.gives, *where),
                again=a.again,
                third=a.third,
                defect=a.defect,
                repeat=a.repeat,
                bad=a.bad,
                say=put(a.say),
            )

        def answers(table: Mapping[str, AnswerModel], *where: str | int) -> tuple[Answer, ...]:
            made = tuple(answer(p, a, *where, p) for p, a in table.items())
            said = [s for a in made for s in a.said]
            for phrase in said:
                if said.count(phrase) > 1:
                    raise self.fail(
                        f"{phrase!r} stands for two answers",
                        "give each its own words",
                        *path,
                        *where,
                    )
            return made

        variants: tuple[Variant, ...]
        if part.variants is not None:
            variants = tuple(
                Variant(put(v.ask), put(v.brief or v.ask), answers(v.answers, "variants", k))
                for k, v in enumerate(part.variants)
            )
        else:
            table = part.answers or {}
            variants = (
                Variant(asked(part.ask), asked(part.brief or part.ask), answers(table, "answers")),
            )
        body = getattr(part, kind)
        wrong = tuple(part.verdict.wrong.items()) if part.verdict else ()
        self._defects(wrong, *path, "verdict", "wrong")
        own_gives = (
            () if kind in ("answers", "variants", "group", "memo") else gives(body.gives, kind)
        )
        if part.verdict and part.verdict.not_fitted and own_gives:
            unlocking = [
                f for h in self.hazards.values() for f in h.needs if f in part.verdict.gives
            ]
            if unlocking:
                raise self.fail(
                    f"the step unlocks a hazard ({unlocking[0]!r}) and offers 'not fitted'",
                    "take 'not fitted' away, or give the fact elsewhere",
                    *path,
                    "verdict",
                )
        return Step(
            id=f"{part.id}{number}{at}",
            place=part.place,
            item=put(part.item) + (f", part {PART_NAMES[k]}" if k else ""),
            kind=cast("Kind", "answers" if kind == "variants" else kind),
            variants=variants,
            hazard=part.hazard,
            caution=put(" ".join(filter(None, (hazard.caution if hazard else "", part.caution)))),
            explain=put(part.explain),
            location=put(part.location),
            needs=needs,
            gives=own_gives,
            ends=part.ends,
            wrong=wrong,
            not_fitted=bool(part.verdict and part.verdict.not_fitted),
            items=items,
            reading=self._reading(part, position, put, path),
            spelling=self._spelling(part, put, path),
            date=self._date(part, path),
            hands_busy=part.hands_busy,
            only_again=part.only_again,
            confirm=part.confirm or part.variants is not None,
            carry=f"{part.carry}{number}{at}" if part.carry else "",
            look_s=part.look,
            sources=part.source,
            unit=position.given.get("unit", "") if position else "",
            written=part.id,
            good=getattr(body, "good", ()),
        )

    def _reading(
        self,
        part: StepModel,
        position: Position | None,
        put: Callable[[str], str],
        path: tuple[str | int, ...],
    ) -> Reading | None:
        body: MeasureModel | TimedModel | ClockedModel | None
        body = part.timed or part.measure or part.clocked
        if body is None:
            return None
        where = "timed" if part.timed else "measure" if part.measure else "clocked"
        return self._figure(body, position, put, path, where)

    def _figure(
        self,
        body: MeasureModel | TimedModel | ClockedModel,
        position: Position | None,
        put: Callable[[str], str],
        path: tuple[str | int, ...],
        where: str,
    ) -> Reading:
        clocked = isinstance(body, ClockedModel)
        symbols = (S.symbol,) if isinstance(body, ClockedModel) else (body.unit, *body.units)
        for symbol in symbols:
            if symbol not in UNITS:
                raise self.fail(
                    f"the unit {symbol!r} is not known",
                    f"use one of: {', '.join(UNITS)}",
                    *path,
                    where,
                    "unit",
                )
        if body.limit:
            try:
                units_of(body.limit)
                if clocked and not judges_a_time(body.limit):
                    raise self.fail(
                        f"the clock counts begun seconds, and {body.limit!r} is no longest time",
                        "name a limit in seconds or minutes that says at most",
                        *path,
                        where,
                        "limit",
                    )
            except UnknownLimit:
                raise self.fail(
                    f"there is no limit {body.limit!r}",
                    "voicecheck limits lists them",
                    *path,
                    where,
                    "limit",
                ) from None
        if body.outside:
            self._defects((("", body.outside),), *path, where, "outside")
        wanted = inputs_of(body.limit) if body.limit else ()
        known = self.context.vehicle.given()
        given = {
            **{name: known[name] for name in wanted if name in known},
            **(position.given if position else {}),
            **body.given,
        }
        timed = body if isinstance(body, TimedModel) else None
        if isinstance(body, ClockedModel):
            return Reading(
                unit=S,
                units=(S,),
                fractions=False,
                low=None,
                high=None,
                limit=body.limit,
                given=tuple(sorted(given.items())),
                outside=body.outside,
                seconds=body.most,
                second_ask=put(body.then),
            )
        return Reading(
            unit=unit_named(body.unit),
            units=tuple(unit_named(u) for u in dict.fromkeys(symbols)),
            fractions=body.fractions,
            low=Decimal(body.low) if body.low else None,
            high=Decimal(body.high) if body.high else None,
            limit=body.limit,
            given=tuple(sorted(given.items())),
            outside=body.outside,
            seconds=timed.seconds if timed else 0,
            second_ask=put(timed.then) if timed else "",
        )

    def _spelling(
        self, part: StepModel, put: Callable[[str], str], path: tuple[str | int, ...]
    ) -> Spelling | None:
        if part.spell is None:
            return None
        match = put(part.spell.match)
        if "{" in match:  # it would be compared with nothing
            raise self.fail(
                f"match: {match!r} names no unit without each:",
                "write each: trailers on the step, or name the unit",
                *path,
                "spell",
            )
        if part.spell.least > part.spell.most:
            raise self.fail("least is more than most", "swap them", *path, "spell")
        if part.spell.mismatch:
            self._defects((("", part.spell.mismatch),), *path, "spell")
        return Spelling(part.spell.least, part.spell.most, match, part.spell.mismatch)

    def _date(self, part: StepModel, path: tuple[str | int, ...]) -> DateAsked | None:
        if part.date is None:
            return None
        if part.date.overdue:
            self._defects((("", part.date.overdue),), *path, "date")
        return DateAsked(part.date.what, part.date.overdue, part.date.day, part.date.valid)

    # -- names --------------------------------------------------------------------------------

    def _known(self, name: str, *path: str | int) -> None:
        if name not in self.model.facts and name not in self.model.derived:
            raise self.fail(
                f"the fact {name!r} is not declared",
                "add it to facts: with text and lasts, or mind its spelling",
                *path,
            )

    def _resolved(self, name: str) -> Need:
        return self.derived.get(name, Need("fact", name))

    def _plain(self, name: str, *path: str | int) -> None:
        self._known(name, *path)
        if name not in self.model.facts:
            raise self.fail(
                f"{name!r} is derived, so it cannot be given or ended itself",
                "give or end one of the facts it is made of",
                *path,
            )

    def _hazard(self, name: str, *path: str | int) -> HazardModel:
        found = self.hazards.get(name)
        if found is None:
            raise self.fail(
                f"there is no hazard {name!r}",
                f"use one of: {', '.join(self.hazards)}",
                *path,
            )
        return found

    def _defects(self, wrong: tuple[tuple[str, str], ...], *path: str | int) -> None:
        for _, defect in wrong:
            if defect not in self.model.defects:
                raise self.fail(
                    f"the defect {defect!r} is not declared",
                    "add it to defects: with text, class and source",
                    *path,
                )


def _listed(names: list[str]) -> str:
    return " and ".join(filter(None, (", ".join(names[:-1]), *names[-1:])))
