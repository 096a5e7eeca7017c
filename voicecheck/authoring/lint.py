"""``voicecheck lint``: what an author should mend before a driver hears it.

The rules of this file:

1. A finding names its rule, file and line, says why it matters and how to mend it.
2. "mend" is for what can mislead or stop a driver; "mind" is advice. Only "mend" fails the command.
3. Nothing here is a proof. What a driver can be led into is shown by ``voicecheck prove``.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Protocol

from voicecheck.authoring.budget import BUDGETS, OTHER, Walked, walk
from voicecheck.authoring.oracle import Oracle, _kind
from voicecheck.authoring.route import best_changes, changes, crossings
from voicecheck.authoring.sounds import distance
from voicecheck.checklist.breath import refused
from voicecheck.checklist.compile import Context, compile_checklist
from voicecheck.checklist.compiled import Compiled, Step
from voicecheck.checklist.load import Lines, line_of
from voicecheck.checklist.model import ChecklistModel, HazardsModel
from voicecheck.checklist.vehicle import positions
from voicecheck.limits.table import LIMITS
from voicecheck.reply.grammar import Expect, Refused, parse, vocabulary
from voicecheck.session.replying import expect, vocabularies
from voicecheck.session.state import Phase, State
from voicecheck.units import Quantity, S

MOST_WORDS = 14  # a sentence: design, "prompts too long to follow"
NEAREST = 1.5  # weighted phones: less than one other phone and one of its kind
NO_SOURCE = ("common practice, no source", "practice")
# Moving and pinching; other hazards carry their condition in what they need.
PINCHING = re.compile(r"\b(crank|hose|door|reach|clos|lift|lower)", re.IGNORECASE)
FIGURE = re.compile(
    r"\b(\d+([./]\d+)?|one|two|three|four|five|six|seven|eight|nine|ten|twenty|thirty|forty|fifty"
    r"|sixty|eighty|ninety|hundred)\s+"
    r"(psi|kpa|inch(es)?|millimet(er|re)s?|feet|foot|met(er|re)s?|pounds?|kilograms?|degrees)\b",
    re.IGNORECASE,
)


class Words(Protocol):
    """Of a recogniser, what lint asks: which words it cannot hear."""

    @property
    def name(self) -> str: ...

    def missing(self, words: Iterable[str]) -> tuple[str, ...]: ...


@dataclass(frozen=True)
class Finding:
    """``grave``: "mend" or "mind"."""

    rule: str
    grave: str
    file: str
    line: int
    why: str
    mend: str

    def __str__(self) -> str:
        return f"{self.file}:{self.line}: {self.grave}: [{self.rule}] {self.why} {self.mend}"


@dataclass(frozen=True)
class Linted:
    findings: tuple[Finding, ...]
    walked: Walked

    @property
    def clean(self) -> bool:
        return all(f.grave != "mend" for f in self.findings)


def lint(
    model: ChecklistModel,
    lines: Lines,
    file: str,
    hazards: HazardsModel,
    context: Context,
    engines: Sequence[Words] = (),
) -> Linted:
    """Every finding, in the order of the file. ChecklistError when it cannot be compiled."""
    compiled = compile_checklist(model, lines, file, hazards, context)
    found = _Lint(model, lines, file, hazards, context, compiled)
    walked = walk(compiled, Oracle.of(model, hazards, context), context)
    every = [
        *found.words(engines),
        *found.alike(),
        *found.sources(),
        *found.sentences(),
        *found.facts(),
        *found.hazards_without_caution(),
        *found.dead_answers(),
        *found.contradictions(walked),
        *found.budgets(walked),
        *found.route(),
    ]
    every.sort(key=lambda f: (f.file, f.line, f.rule, f.why))
    return Linted(tuple(dict.fromkeys(every)), walked)


def lint_names(wanted: Iterable[Expect], engines: Sequence[Words] = ()) -> list[Finding]:
    """Names of files that are spoken to choose them: can they be heard, and told apart?"""
    found = []
    how = "Give the file another name."
    for expect_ in wanted:
        said = [(form.meaning, text) for form in expect_.forms for text in form.said]
        for n, (meaning, text) in enumerate(said):
            for engine in engines:
                for word in engine.missing(text.split()):
                    why = f"{engine.name} cannot hear {word!r} of {text!r}."
                    found.append(Finding("word", "mend", "begin", 1, why, how))
            for other, second in said[n + 1 :]:
                apart = distance(text, second)
                if other != meaning and apart is not None and apart < NEAREST:
                    why = f"{text!r} and {second!r} sound alike ({apart:g} phones apart)."
                    found.append(Finding("alike", "mend", "begin", 1, why, how))
    return list(dict.fromkeys(found))


class _Lint:
    def __init__(
        self,
        model: ChecklistModel,
        lines: Lines,
        file: str,
        hazards: HazardsModel,
        context: Context,
        compiled: Compiled,
    ) -> None:
        self.model, self.lines, self.file = model, lines, file
        self.hazards, self.context, self.compiled = hazards.hazards, context, compiled
        self.place = {step.id: n for n, step in enumerate(model.steps)}

    def line(self, step: str, *path: str | int) -> int:
        written = step if step in self.place else self.compiled.step(step).written
        return line_of(self.lines, "steps", self.place[written], *path)

    def mend(self, rule: str, line: int, why: str, how: str) -> Finding:
        return Finding(rule, "mend", self.file, line, why, how)

    def mind(self, rule: str, line: int, why: str, how: str) -> Finding:
        return Finding(rule, "mind", self.file, line, why, how)

    # -- words ---------------------------------------------------------------------------------

    def _states(self) -> Iterator[tuple[Step, Expect]]:
        """Each question with what may be said to it, named corrections of all steps among it."""
        every = tuple(step.id for step in self.compiled.steps)
        for step in self.compiled.steps:
            for n in range(len(step.variants)):
                asked = State(phase=Phase.ASKED, step=step.id, variant=n, order=every)
                yield step, expect(self.compiled, asked)[0]
                if step.together:
                    joint = replace(asked, breath=step.together.steps)
                    yield step, expect(self.compiled, joint)[0]
            for question in ("which", "anything else") if step.items else ("which",):
                if step.items or step.wrong:
                    s = State(phase=Phase.FOLLOWING, step=step.id, question=question)
                    yield step, expect(self.compiled, s)[0]

    def words(self, engines: Sequence[Words]) -> Iterator[Finding]:
        where: dict[str, int] = {}
        for step, wanted in self._states():
            for word in vocabulary(wanted).all_words():
                where.setdefault(word, self.line(step.id))
        for wanted in vocabularies(self.compiled):
            for word in vocabulary(wanted).all_words():
                where.setdefault(word, 1)
        for engine in engines:
            for word in engine.missing(sorted(where)):
                yield self.mend(
                    "word",
                    where[word],
                    f"{engine.name} cannot hear the word {word!r}.",
                    "Use another word, or add this one: its sound in "
                    "voicecheck/audio/pronunciations.py, or, for vosk, its spelling alone in "
                    "training/trade_words.txt, and then make the words of the model anew: "
                    "python -m training.export --out voicecheck/acoustic/model.",
                )

    def alike(self) -> Iterator[Finding]:
        told: set[tuple[str, str]] = set()
        for step, wanted in self._states():
            own = [
                (form.meaning, text)
                for form in wanted.forms
                for text in form.said
                if not form.meaning.startswith("command:correction:")
            ]
            for n, (meaning, text) in enumerate(own):
                for other, second in own[n + 1 :]:
                    if other == meaning or (text, second) in told:
                        continue
                    apart = distance(text, second)
                    if apart is not None and apart < NEAREST:
                        told.add((text, second))
                        ours = not any(":" in m and not m.startswith("command:")
                                       for m in (meaning, other))  # fmt: skip
                        # an author cannot change the program's own words
                        yield (self.mind if ours else self.mend)(
                            "alike",
                            self.line(step.id),
                            f"{text!r} and {second!r} sound alike ({apart:g} phones apart) and "
                            "mean different things here.",
                            "Give one of them other words.",
                        )
        named = [
            (step, text)
            for step in self.compiled.steps
            if (text := " ".join(re.findall("[a-z]+", step.item.lower())))
        ]
        for n, (_, text) in enumerate(named):
            for other_step, second in named[n + 1 :]:
                apart = distance(text, second)
                if apart is not None and apart < NEAREST and text != second:
                    yield self.mind(
                        "alike",
                        self.line(other_step.id, "item"),
                        f"The items {text!r} and {second!r} sound alike after 'correction'.",
                        "Name one of them otherwise.",
                    )

    def dead_answers(self) -> Iterator[Finding]:
        for step, wanted in self._states():
            for form in wanted.forms:
                if form.meaning.startswith("command:"):
                    continue
                for text in form.said:
                    read = parse(wanted, text)
                    if isinstance(read, Refused) or read.meaning != form.meaning:
                        yield self.mend(
                            "dead answer",
                            self.line(step.id),
                            f"{text!r} can never be taken for the answer it stands for here.",
                            "Give the answer words that nothing else has.",
                        )

    # -- sources, sentences ------------------------------------------------------------------------

    def sources(self) -> Iterator[Finding]:
        families = {row.family: row for row in LIMITS} | {row.id: row for row in LIMITS}
        for n, step in enumerate(self.model.steps):
            if not step.source:
                yield self.mend("source", line_of(self.lines, "steps", n, "source"),
                                f"The step {step.id!r} names no source.",
                                'Name one, or write "common practice, no source".')  # fmt: skip
            body = step.measure or step.timed or step.clocked
            if body and body.outside and not body.limit:
                yield self.mend("limit", self.line(step.id, _kind(step)),
                                f"{step.id!r} finds a defect outside a limit and names none.",
                                "Name the limit: voicecheck limits lists them.")  # fmt: skip
            if body and body.limit and not families[body.limit].source:
                yield self.mend("limit", self.line(step.id),
                                f"The limit {body.limit!r} has no source.",
                                "Use a limit with a source.")  # fmt: skip
            if step.clocked and step.clocked.most <= _longest(step.clocked.limit):
                yield self.mend("limit", self.line(step.id, "clocked"),
                                f"{step.id!r} is called off before it can be outside its limit.",
                                "Let most: be longer than the limit.")  # fmt: skip
            said = [step.ask, step.explain, step.brief, *(v.ask for v in step.variants or ())]
            if all(source in NO_SOURCE for source in step.source) and any(
                FIGURE.search(text) for text in said
            ):
                yield self.mend("source", self.line(step.id),
                                f"{step.id!r} speaks a figure and cites nobody for it.",
                                "Cite who says so, or leave the figure out.")  # fmt: skip
        for id, defect in self.model.defects.items():
            if not defect.source:
                yield self.mend("source", line_of(self.lines, "defects", id),
                                f"The defect {id!r} names no source for its class.",
                                'Name one, or write "common practice, no source".')  # fmt: skip

    def sentences(self) -> Iterator[Finding]:
        for n, step in enumerate(self.model.steps):
            spoken: list[tuple[str, tuple[str | int, ...]]] = [
                (step.ask, ("ask",)), (step.brief, ("brief",)), (step.caution, ("caution",)),
                (step.timed.then if step.timed else "", ("timed",)),
                (step.clocked.then if step.clocked else "", ("clocked",)),
                (step.together.ask if step.together else "", ("together", "ask")),
                (step.together.brief if step.together else "", ("together", "brief")),
                *((x.say, ("answers", p, "say")) for p, x in (step.answers or {}).items()),
            ]  # fmt: skip
            for k, v in enumerate(step.variants or ()):
                spoken += [(v.ask, ("variants", k, "ask")), (v.brief, ("variants", k, "brief"))]
                spoken += [(x.say, ("variants", k)) for x in v.answers.values()]
            for text, path in spoken:
                yield from self._too_long(text, line_of(self.lines, "steps", n, *path))
        for id, defect in self.model.defects.items():
            yield from self._too_long(defect.text, line_of(self.lines, "defects", id))
        for name, fact in self.model.facts.items():
            yield from self._too_long(fact.text, line_of(self.lines, "facts", name))

    def _too_long(self, text: str, line: int) -> Iterator[Finding]:
        for sentence in re.split(r"(?<=[.?!])\s+", text):
            count = len(sentence.split())
            if count > MOST_WORDS:
                yield self.mend("sentence", line,
                                f"A sentence of {count} words is too long to follow by ear.",
                                f"Make it two, of at most {MOST_WORDS} words each.")  # fmt: skip

    # -- facts, hazards ------------------------------------------------------------------------

    def facts(self) -> Iterator[Finding]:
        read = {
            leaf.partition("@")[0]
            for step in self.compiled.steps
            for need in step.needs
            for leaf in self.compiled.need(need).leaves()
        }
        for step in self.model.steps:  # also those that another vehicle would have
            hazard = self.hazards.get(step.hazard)
            for need in (*step.needs, *(hazard.needs if hazard else ())):
                read |= set(self._plain(need, set()))
        given = {f.partition("@")[0] for f in self.compiled.facts if self.compiled.givers(f)}
        written_given = {
            fact
            for step in self.model.steps
            for table in (step.answers or {}, *(v.answers for v in step.variants or ()))
            for answer in table.values()
            for fact in answer.gives
        } | {
            fact
            for step in self.model.steps
            for body in (step.done, step.verdict, step.measure, step.timed, step.clocked,
                         step.spell, step.date, step.attest)
            if body is not None
            for fact in body.gives
        }  # fmt: skip
        exclusive = {fact for pair in self.model.exclusive for fact in pair}
        for name in self.model.facts:
            line = line_of(self.lines, "facts", name)
            if name not in given | written_given:
                yield self.mend("fact", line, f"No step gives the fact {name!r}.",
                                "List it under gives: of an answer, or take it out.")  # fmt: skip
            elif name not in read | exclusive:
                yield self.mend("fact", line, f"No step needs the fact {name!r}.",
                                "Let a step or a hazard need it, or take it out.")  # fmt: skip

    def _plain(self, name: object, seen: set[str]) -> Iterator[str]:
        if not isinstance(name, str):
            for part in (*getattr(name, "any", ()), *getattr(name, "all", ())):
                yield from self._plain(part, seen)
            return
        if name in seen:
            return
        seen.add(name)
        derived = self.model.derived.get(name)
        if derived is None:
            yield name
        else:
            for part in (*derived.any, *derived.all):
                yield from self._plain(part, seen)

    def hazards_without_caution(self) -> Iterator[Finding]:
        for step in self.model.steps:
            hazard = self.hazards.get(step.hazard)
            if hazard is None or hazard.caution or step.caution:
                continue
            looked = any(
                self.model.facts[fact].lasts.endswith(" s")
                for need in (*hazard.needs, *step.needs)
                for fact in self._plain(need, set())
                if fact in self.model.facts
            )
            leaving = step.hazard == "leave"
            if hazard.moving and not looked and not leaving:
                yield self.mend("caution", self.line(step.id, "hazard"),
                                f"{step.hazard!r} moves the vehicle, and neither a caution nor a "
                                "look just before stands against it.",
                                "Write caution:, or need a fact that lasts seconds.")  # fmt: skip
            elif not hazard.moving and PINCHING.search(hazard.text) and not hazard.needs:
                yield self.mend("caution", self.line(step.id, "hazard"),
                                f"{step.hazard!r} can pinch, and nothing warns of it.",
                                "Write caution: on the step or the hazard.")  # fmt: skip

    # -- the good walk -------------------------------------------------------------------------

    def contradictions(self, walked: Walked) -> Iterator[Finding]:
        for step, lacking, ender in walked.held:
            by = f" {ender!r} has ended it." if ender else ""
            yield self.mend("ends", self.line(step),
                            f"Even when all is well the walk is held before {step!r}: "
                            f"{', '.join(lacking)} is false there.{by}",
                            "Order the steps otherwise, or let one give it again.")  # fmt: skip

    def budgets(self, walked: Walked) -> Iterator[Finding]:
        replies, seconds = BUDGETS.get(self.model.id, OTHER)
        if walked.replies > replies:
            yield self.mind("budget", 1, f"{walked.replies} replies, and {replies} are planned.",
                            "Group what lies at one place, or ask it together.")  # fmt: skip
            yield from self._could_be_together()
        if walked.seconds > seconds:
            longest = "; ".join(f"{s:.0f} s {text!r}" for s, text in walked.costliest[:3])
            yield self.mind("budget", 1, f"{walked.seconds:.0f} s of talk by the program, and "
                            f"{seconds} are planned. The costliest: {longest}.",
                            "Shorten these.")  # fmt: skip

    def _could_be_together(self) -> Iterator[Finding]:
        """Neighbours of one place that could be answered in one breath; a reply less each."""
        joined = {id for s in self.compiled.steps if s.together for id in s.together.steps}
        walked = [s for s in self.compiled.steps if not s.only_again]
        for pair in pairwise(walked):
            one, other = (replace(s, good=s.good or (f"{s.id} good",)) for s in pair)
            if joined.isdisjoint({one.id, other.id}) and not refused(self.compiled, [one, other]):
                yield self.mind("together", self.line(one.id),
                                f"{one.id!r} and {other.id!r} could be answered in one breath.",
                                "Write together: on the first, if one look sees both.")  # fmt: skip

    def route(self) -> Iterator[Finding]:
        walked = {step.written for step in self.compiled.steps}
        for part in self.model.steps:
            of = part.each or (part.group.each if part.group else "")
            across = crossings(positions(self.context.vehicle, of)) if of else 0
            if across > 1 and part.id in walked:
                yield self.mind("route", self.line(part.id, "each"),
                                f"The list {of!r} goes from side to side {across} times.",
                                f"Write {of}.left and {of}.right: that crosses once.")  # fmt: skip
        steps = [s for s in self.compiled.steps if not s.only_again]
        if len({s.place for s in steps}) > 14:
            return
        written = changes(steps)
        best = best_changes(self.compiled, steps, self._after())
        if best is not None and best[0] < written:
            order = ", ".join(best[1])
            yield self.mind("route", 1, f"The walk changes its place {written} times, and its "
                            f"order would allow {best[0]}: {order}.",
                            "Move steps, where the practice allows it.")  # fmt: skip

    def _after(self) -> dict[str, tuple[str, ...]]:
        return {step.id: step.after for step in self.model.steps}


def _longest(limit: str) -> int:
    """Seconds of the longest time that a row of the limit allows by its own figure; 0 if none."""
    rows = [row for row in LIMITS if limit in (row.id, row.family) and row.rule == "plain"]
    times = [row.value for row in rows if isinstance(row.value, Quantity)]
    return max((int(time.exact_in(S)) for time in times), default=0)
