"""The report: what an inspection's records say, put together for the people who act on it.

READ THIS FIRST. The rules:

1. The report tells what was answered. It never says that a vehicle is fit for the road or free of
   danger, in any form; the headline has three forms and no other (``headline``).
2. Every statement names the records that it came from, by their number in the journal (R1).
3. The report is a function of the records and of the checklist that travels in the first record.
   It knows no clock, no folder and no machine; so the same journal gives the same bytes (J3). For
   that reason it does not tell whether a recording still lies beside it: ``verify`` does.
4. The headline is the most careful one that the records allow. "All required items answered" needs
   a finished inspection in which every step has a standing answer that is good, noted (a minor
   defect) or not fitted: "not done", "cannot see" and "blocked" leave a step open, and so does a
   failed one that no open stop carries. A stop that was released is never hidden behind "no
   stopping defect reported".
5. Only a release closes a stop (H4). An answer that was corrected afterwards leaves its defect
   open, and the report says that it was corrected.
6. Failed, not done, not seen and not fitted are four different things and are kept apart.
7. A question is told as it was spoken. Where several steps were asked in one sentence, each names
   that sentence, the steps that it asked for, and those that one reply answered.
8. What was carried from another inspection names that inspection, the number of its record and the
   hash of that record's line, so that it can be looked up there.

``build`` gives the value, ``to_json`` the bytes of report.json, ``schema`` the JSON Schema.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Annotated, Any, Literal, Protocol

from pydantic import BaseModel, ConfigDict, Field

from voicecheck.errors import SessionFault
from voicecheck.journal.expiry import deletable_after
from voicecheck.journal.format import canonical, encode_all
from voicecheck.journal.verify import AUDIO_NAME
from voicecheck.session import records as r

if TYPE_CHECKING:
    from voicecheck.checklist.compiled import Compiled

Outcome = Literal[
    "good", "noted", "failed", "not done", "cannot see", "not fitted", "blocked", "carried"
]
Verdict = Literal["complete", "stopped", "not finished"]

_BEFORE_PLACES = {"All", "At", "Behind", "Between", "By", "In", "On", "Under"}
ODOMETER = "odometer"
"""A step of this name is printed beside the numbers of the units: trip reports want it there."""
_ANSWERING = {"command:not done", "command:cannot see"}
_OPEN_OUTCOMES = {"not done", "cannot see", "blocked"}
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


class StepText(Protocol):
    """What the report needs to know of a step.

    ``only_again``: it belongs to the walk only where an answer led back to it.
    """

    @property
    def id(self) -> str: ...
    @property
    def place(self) -> str: ...
    @property
    def item(self) -> str: ...
    @property
    def kind(self) -> str: ...
    @property
    def question(self) -> str: ...
    @property
    def sources(self) -> tuple[str, ...]: ...
    @property
    def hazard(self) -> str: ...
    @property
    def only_again(self) -> bool: ...
    def asked(self, variant: int, together: bool, brief: bool, /) -> str: ...


class ReckoningText(Protocol):
    """What the report needs to know of a reckoning: the steps whose readings it takes."""

    @property
    def id(self) -> str: ...
    @property
    def text(self) -> str: ...
    @property
    def steps(self) -> tuple[str, ...]: ...
    @property
    def sources(self) -> tuple[str, ...]: ...


class ChecklistText(Protocol):
    """What the report needs to know of the checklist: ``steps`` in walking order."""

    @property
    def title(self) -> str: ...
    @property
    def steps(self) -> Sequence[StepText]: ...
    @property
    def reckonings(self) -> Sequence[ReckoningText]: ...
    @property
    def places(self) -> Mapping[str, str]: ...
    @property
    def setting_texts(self) -> Mapping[str, str]: ...
    def fact_text(self, name: str, /) -> str: ...
    def hazard_text(self, name: str, /) -> str: ...


if TYPE_CHECKING:

    def _compiled_fits(compiled: Compiled) -> ChecklistText:
        """The type checker sees here that the compiled checklist has what the report needs."""
        return compiled


# -- the models ------------------------------------------------------------------------------

RecordNumber = Annotated[int, Field(ge=1)]


class Model(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Statement(Model):
    """Anything that the report states. ``records``: the journal's records it came from (R1)."""

    records: Annotated[tuple[RecordNumber, ...], Field(min_length=1)]


class Headline(Statement):
    """``text`` begins with "All required items answered", "Not to be driven:" or "Not finished:".

    ``unanswered``: how many items are open. ``next``: the first of them, in walking order.
    """

    verdict: Verdict
    text: str
    unanswered: int
    next: str


class Must(Statement):
    """One thing that must happen before the vehicle moves. ``who``: driver, mechanic, or both."""

    text: str
    who: str


class NamedValue(Statement):
    name: str
    value: str
    text: str = ""


class Subject(Statement):
    """What was inspected, by whom, where and when, as given; nothing here was checked."""

    inspection: str
    checklist: str
    title: str
    edition: str
    carrier: str
    driver: str
    place: str
    units: tuple[NamedValue, ...]
    order: tuple[NamedValue, ...]
    read_off: tuple[NamedValue, ...]  # numbers that the driver read off: units, odometer
    jurisdiction: str
    season: str
    started: str
    ended: str
    closed: bool


class CarriedFrom(Statement):
    """The record of another inspection that this rests on. ``digest``: SHA-256 of its line.

    ``inspection``: its folder's name; ``record``: the number there; ``wall``: when.
    """

    inspection: str
    checklist: str
    record: RecordNumber
    digest: str
    wall: str


class Release(Statement):
    """How a stop was released. ``identity`` is printed beside every release in person.

    ``typed``: the text was entered at the keyboard.
    """

    how: str
    identity: str
    text: str
    audio: str
    wall: str
    typed: bool = False


class Defect(Statement):
    """``typed``: the words in which it was found were entered at the keyboard."""

    number: int
    id: str
    severity: Literal["minor", "major"]
    status: Literal["open", "released", "noted"]
    text: str
    step: str
    item: str
    place: str
    wall: str
    words: str
    blocks: tuple[str, ...]
    mended_by: str
    sources: tuple[str, ...]
    release: Release | None
    corrected: bool
    carried_on: bool
    origin: CarriedFrom | None
    typed: bool = False


class Heard(Statement):
    """A reply. ``source``: typed, microphone, wav or rehearsal. ``audio``: file beside the report.

    ``confidence`` and ``snr_db`` are empty when the recogniser gave none.
    """

    wall: str
    words: str
    source: str
    certainty: str
    confidence: str
    snr_db: str
    audio: str
    digest: str
    taken: bool
    why: str


class Item(Statement):
    """One exception named in a group, or the figure of one of its items.

    ``quantity`` carries its unit; ``judged`` names limit, source and standing. These, ``limit`` and
    ``verdict`` are empty where nothing was measured.
    """

    item: str
    finding: str
    quantity: str = ""
    limit: str = ""
    verdict: str = ""
    judged: str = ""


class Measured(Statement):
    """``value`` and ``first`` carry their unit. ``judged`` names limit, source and standing."""

    value: str
    first: str
    limit: str
    verdict: str
    judged: str


class Interval(Statement):
    """A timed interval. ``seconds``: its length. ``ran_out``: it ran to its end."""

    first: str
    seconds: int
    ran_out: bool


class Part(Statement):
    """A step that a question asked for. ``number``: its place in the walk, counted from 1."""

    number: int
    id: str
    item: str


class Asked(Statement):
    """A question as it was spoken, without place and caution.

    ``together``: the steps that it asked for in one sentence, none where one was asked alone.
    ``one_reply``: those of them that one and the same reply answered, none where fewer than two.
    """

    wall: str
    question: str
    together: tuple[Part, ...]
    one_reply: tuple[Part, ...]


class Answer(Statement):
    """One answer to a step. ``stands``: no later record took it back; else ``withdrawn`` says why.

    ``asked``: which of the step's questions it answers, counted from 1; 0 where none was asked.

    ``origin``: of an answer that was carried forward and not asked here.

    ``read_back``: what was read back and affirmed, empty when nothing was. ``quick``: it came
    sooner than walking there and looking takes.
    """

    wall: str
    asked: int
    outcome: Outcome
    text: str
    stands: bool
    withdrawn: str
    heard: tuple[Heard, ...]
    read_back: str
    quick: bool
    items: tuple[Item, ...]
    measured: Measured | None
    interval: Interval | None
    origin: CarriedFrom | None


class Held(Statement):
    """The loop refused to go on. ``missing``: what was not established, or the stops.

    ``cleared``: in words how it was cleared, or that it was not.
    """

    wall: str
    hold: str
    text: str
    missing: tuple[str, ...]
    cleared: str


class StepEntry(Statement):
    """A step with all that happened in it. ``state``: outcome of the standing answer.

    ``number``: its place in the walk, counted from 1. ``question``: as the checklist asks it alone;
    ``asked``: each question that asked for it, in the words that were spoken.
    """

    number: int
    id: str
    place: str
    item: str
    question: str
    asked: tuple[Asked, ...]
    hazard: str
    sources: tuple[str, ...]
    state: Outcome | Literal["unanswered"]
    answers: tuple[Answer, ...]
    holds: tuple[Held, ...]
    refused: tuple[Heard, ...]
    not_heard: int
    defects: tuple[int, ...]


class Figure(Statement):
    """One time that it was reckoned. ``inputs``: item and reading. ``stands``: they all stand.

    ``value`` is empty where it could not be judged; ``judged`` names limit, source and standing.
    """

    wall: str
    value: str
    limit: str
    verdict: str
    judged: str
    stands: bool
    inputs: tuple[NamedValue, ...]


class Reckoning(Statement):
    """A figure reckoned from several readings. ``state``: verdict of the one that stands."""

    id: str
    text: str
    sources: tuple[str, ...]
    state: Literal["within", "outside", "cannot judge", "not reckoned"]
    figures: tuple[Figure, ...]
    defects: tuple[int, ...]


class Open(Statement):
    """An item that has no answer in the sense of rule 4. ``why``: in words."""

    step: str
    item: str
    place: str
    state: str
    why: str


class Correction(Statement):
    """An answer taken back, and what replaced it; ``after`` is empty when nothing did."""

    step: str
    item: str
    why: str
    before: str
    after: str
    wall: str


class Event(Statement):
    """Something on the way: stand by, resume, microphone, a hazard broken off, left for later,
    the device's clock."""

    event: str
    text: str
    wall: str


class Note(Statement):
    wall: str
    item: str
    text: str
    audio: str
    seconds: str


class Attestation(Statement):
    """The statement of the person attesting. ``effect`` says what is not claimed."""

    name: str
    statement: str
    answer: str
    wall: str
    effect: str


class MadeWith(Statement):
    program: str
    engine: str
    engine_digest: str
    voice: str
    source: str


class Evidence(Statement):
    """What was recorded and until when recordings are kept. ``delete_after``: ISO date or ""."""

    text: str
    delete_after: str


class Chain(Model):
    """``head``: SHA-256 of the journal's last line; ``records``: how many there were."""

    records: int
    head: str


class Report(Model):
    """The whole report. Times are the device's wall clock, ISO 8601 with offset."""

    format: Literal["voicecheck-report-1"] = "voicecheck-report-1"
    kind: Literal["inspection", "practice"]
    headline: Headline
    before_moving: tuple[Must, ...]
    subject: Subject
    defects: tuple[Defect, ...]
    open: tuple[Open, ...]
    not_fitted: tuple[Open, ...]
    steps: tuple[StepEntry, ...]
    reckonings: tuple[Reckoning, ...]
    corrections: tuple[Correction, ...]
    events: tuple[Event, ...]
    notes: tuple[Note, ...]
    settings: tuple[NamedValue, ...]
    attestation: Attestation | None
    made_with: MadeWith
    evidence: Evidence
    chain: Chain


# -- building --------------------------------------------------------------------------------

Numbered = tuple[int, r.Record]


@dataclass(frozen=True)
class _Asking:
    """A question that was spoken, up to the next one.

    ``start``: number of its record. ``steps``: all that it asked for. ``answers``: what answered
    them before another question was spoken, in order. ``brief``: spoken so when it was answered.
    """

    start: int
    record: r.StepStarted
    steps: tuple[str, ...]
    answers: tuple[tuple[int, r.Answered], ...]
    brief: bool


def build(records: Sequence[r.Record], compiled: ChecklistText) -> Report:
    """The report of these records, in journal order; record 1 must be the opening.

    SessionFault when they do not begin with the opening or name a step that the checklist lacks.
    """
    return _Builder(records, compiled).report()


def to_json(report: Report) -> bytes:
    """report.json: canonical JSON (RFC 8785), the same bytes for the same report (J3)."""
    return canonical(report.model_dump(mode="json"))


def schema() -> dict[str, Any]:
    """JSON Schema 2020-12 of report.json, generated from the models."""
    generated = Report.model_json_schema(mode="serialization")
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": "urn:voicecheck:report:1",
        **generated,
    }


def day(wall: str) -> str:
    """ "25 Nov 2026" of an ISO 8601 moment; the text itself when it is none."""
    try:
        moment = datetime.datetime.fromisoformat(wall)
    except ValueError:
        return wall
    return f"{moment.day} {_MONTHS[moment.month - 1]} {moment.year}"


def clock(wall: str) -> str:
    """ "06:42:10" of an ISO 8601 moment; the text itself when it is none."""
    try:
        return datetime.datetime.fromisoformat(wall).strftime("%H:%M:%S")
    except ValueError:
        return wall


def zone(wall: str) -> str:
    """ "UTC−06:00" of an ISO 8601 moment, empty when it has none."""
    try:
        moment = datetime.datetime.fromisoformat(wall)
    except ValueError:
        return ""
    offset = moment.utcoffset()
    if offset is None:
        return ""
    minutes = int(offset.total_seconds()) // 60
    sign = "−" if minutes < 0 else "+"
    return f"UTC{sign}{abs(minutes) // 60:02}:{abs(minutes) % 60:02}"


def count(n: int, one: str, many: str = "") -> str:
    """ "1 item", "2 items"."""
    return f"{n} {one if n == 1 else many or one + 's'}"


def _sentence(text: str) -> str:
    """Without its final stop, so that it can stand inside another sentence."""
    return text.strip().rstrip(".").rstrip()


def inside(place: str) -> str:
    """A place inside a sentence: "at the near side"."""
    first = place.partition(" ")[0]
    return place[0].lower() + place[1:] if first in _BEFORE_PLACES else place


def _numbers(*parts: int | Sequence[int]) -> tuple[int, ...]:
    """Record numbers in order, once each, without zeros."""
    found: set[int] = set()
    for part in parts:
        found.update([part] if isinstance(part, int) else part)
    return tuple(sorted(found - {0}))


def _item(n: int, x: r.ItemNoted | r.ItemMeasured) -> Item:
    item = Item(item=x.item, finding=x.finding, records=_numbers(n, x.heard))
    if isinstance(x, r.ItemNoted):
        return item
    figure = {"quantity": x.quantity, "limit": x.limit, "verdict": x.verdict, "judged": x.judged}
    return item.model_copy(update=figure)


class _Builder:
    """One walk over the records, then the parts one by one."""

    def __init__(self, records: Sequence[r.Record], compiled: ChecklistText) -> None:
        if not records or not isinstance(records[0], r.Opened):
            raise SessionFault(
                "The records do not begin with the opening of an inspection.",
                "make the report from a whole journal",
            )
        self.opened = records[0]
        self.all: list[Numbered] = list(enumerate(records, 1))
        self.compiled = compiled
        self.steps = {step.id: step for step in compiled.steps}
        self.number = {step.id: n for n, step in enumerate(compiled.steps, 1)}
        self.tested = {part.id: part.steps for part in compiled.reckonings}
        for _, record in self.all:
            step = getattr(record, "step", "")
            if step and step not in self.steps:
                raise SessionFault(
                    f"The records name a step {step!r} that the checklist does not have.",
                    "make the report with the checklist that travels in the journal",
                )
        self.head = encode_all(records)[1]
        self.finished = next(((n, x) for n, x in self.all if isinstance(x, r.Finished)), None)
        self.answered = self._answered()
        self.askings = self._askings()
        self.carried = {x.step: x.origin for x in self.opened.carried}
        self.called_for = self._called_for()
        self.defects = [(n, x) for n, x in self.all if isinstance(x, r.DefectFound)]
        self.released: dict[int, tuple[int, r.Released]] = {
            x.number: (n, x) for n, x in self.all if isinstance(x, r.Released)
        }

    # -- what stands

    def _answered(self) -> dict[str, list[tuple[int, r.Answered, int, str]]]:
        """Step -> its answers: number, record, number of the withdrawal (0), why."""
        found: dict[str, list[tuple[int, r.Answered, int, str]]] = {}
        for n, record in self.all:
            if isinstance(record, r.Answered):
                entries = found.setdefault(record.step, [])
                if entries and not entries[-1][2]:  # an answer over a standing one replaces it
                    last = entries[-1]
                    entries[-1] = (last[0], last[1], n, "answered anew")
                entries.append((n, record, 0, ""))
            elif isinstance(record, r.Withdrawn):
                entries = found.get(record.step, [])
                if entries and not entries[-1][2]:
                    last = entries[-1]
                    entries[-1] = (last[0], last[1], n, record.why)
        return found

    def _askings(self) -> list[_Asking]:
        spoken = [n for n, x in self.all if isinstance(x, r.StepStarted) and x.spoken]
        found: list[_Asking] = []
        brief = False
        before = 1
        for start, end in pairwise((*spoken, len(self.all) + 1)):
            record = self._record(start)
            assert isinstance(record, r.StepStarted)
            steps = record.together or (record.step,)
            reached = {record.step}
            answers: list[tuple[int, r.Answered]] = []
            for _, x in self.all[before - 1 : start - 1]:
                if isinstance(x, r.ModeSet):
                    brief = x.mode == "brief"
            words = brief
            for n, x in self.all[start : end - 1]:
                if isinstance(x, r.StepStarted):
                    reached.add(x.step)
                elif isinstance(x, r.ModeSet) and not answers:
                    words = x.mode == "brief"  # the question was then spoken again
                elif isinstance(x, r.Answered) and x.step in reached & set(steps):
                    answers.append((n, x))
                    reached.discard(x.step)
            found.append(_Asking(start, record, steps, tuple(answers), words))
            before = start
        return found

    def _called_for(self) -> set[str]:
        """Steps that an "again" led back to and that were not answered since."""
        called: set[str] = set()
        for _, record in self.all:
            if isinstance(record, r.Again):
                called.add(record.to)
            elif isinstance(record, r.Answered):
                called.discard(record.step)
        return called

    def _standing(self, step: str) -> tuple[int, r.Answered] | None:
        entries = self.answered.get(step, [])
        if entries and not entries[-1][2]:
            return entries[-1][0], entries[-1][1]
        return None

    def _open_majors(self) -> list[tuple[int, r.DefectFound]]:
        return [
            (n, x)
            for n, x in self.defects
            if x.severity == "major" and x.number not in self.released
        ]

    def _place(self, step: StepText) -> str:
        return self.compiled.places.get(step.place, step.place)

    def _item(self, id: str) -> str:
        return self.steps[id].item if id in self.steps else id

    def _hazard(self, name: str) -> str:
        try:
            return self.compiled.hazard_text(name)
        except KeyError:
            return name

    # -- the parts

    def report(self) -> Report:
        open_items = self._open()
        return Report(
            kind="practice" if self.opened.operating == "practice" else "inspection",
            headline=self._headline(open_items),
            before_moving=self._before_moving(open_items),
            subject=self._subject(),
            defects=self._defect_entries(),
            open=open_items,
            not_fitted=self._not_fitted(),
            steps=tuple(self._step(step) for step in self.compiled.steps),
            reckonings=tuple(map(self._reckoning, self.compiled.reckonings)),
            corrections=self._corrections(),
            events=self._events(),
            notes=self._notes(),
            settings=tuple(
                NamedValue(
                    name=name,
                    value=value,
                    text=self.compiled.setting_texts.get(name, ""),
                    records=(1,),
                )
                for name, value in self.opened.settings
            ),
            attestation=self._attestation(),
            made_with=MadeWith(
                program=self.opened.program,
                engine=self.opened.engine,
                engine_digest=self.opened.engine_digest,
                voice=self.opened.voice,
                source=self.opened.source,
                records=(1,),
            ),
            evidence=self._evidence(),
            chain=Chain(records=len(self.all), head=self.head),
        )

    def _open(self) -> tuple[Open, ...]:
        found = []
        for step in self.compiled.steps:
            standing = self._standing(step.id)
            state, why, numbers = "unanswered", "", self._about(step.id) or (1,)
            if standing is not None:
                n, answer = standing
                numbers = _numbers(n, answer.heard)
                if answer.outcome in _OPEN_OUTCOMES:
                    state, why = answer.outcome, _sentence(answer.text)
                elif answer.outcome == "failed" and not any(
                    x.step == step.id for _, x in self._open_majors()
                ):
                    state, why = "failed", _sentence(answer.text)
                else:
                    continue
            elif step.only_again and step.id not in self.called_for:
                continue
            else:
                entries = self.answered.get(step.id, [])
                if entries:
                    why = f"answer taken back: {entries[-1][3]}"
                elif self._asked_for(step.id):
                    why = "asked, not answered"
                else:
                    why = "not asked"
            found.append(
                Open(
                    step=step.id,
                    item=step.item,
                    place=self._place(step),
                    state=state,
                    why="" if why == state else why,
                    records=numbers,
                )
            )
        return tuple(found)

    def _not_fitted(self) -> tuple[Open, ...]:
        found = []
        for step in self.compiled.steps:
            standing = self._standing(step.id)
            if standing and standing[1].outcome == "not fitted":
                found.append(
                    Open(
                        step=step.id,
                        item=step.item,
                        place=self._place(step),
                        state="not fitted",
                        why="",
                        records=_numbers(standing[0], standing[1].heard),
                    )
                )
        return tuple(found)

    def _about(self, step: str) -> tuple[int, ...]:
        """The latest records that tell that a step was started, held, or its answer taken back."""
        latest: dict[str, int] = {}
        for n, x in self.all:
            if isinstance(x, r.StepStarted | r.Hold | r.Withdrawn | r.Answered) and (
                x.step == step or (isinstance(x, r.StepStarted) and step in x.together)
            ):
                latest[x.kind] = n
        return _numbers(list(latest.values()))

    def _headline(self, open_items: tuple[Open, ...]) -> Headline:
        last = self.finished[0] if self.finished else len(self.all)
        majors = self._open_majors()
        first = open_items[0].item if open_items else ""
        if majors:
            texts = "; ".join(dict.fromkeys(_sentence(x.text) for _, x in majors))
            return Headline(
                verdict="stopped",
                text=f"Not to be driven: {texts}",
                unanswered=len(open_items),
                next=first,
                records=_numbers([n for n, _ in majors], last),
            )
        if self.finished and self.finished[1].outcome == "stopped":
            why = _sentence(self.finished[1].why) or "the inspection ended in a stop"
            return Headline(
                verdict="stopped",
                text=f"Not to be driven: {why}",
                unanswered=len(open_items),
                next=first,
                records=(last,),
            )
        if open_items or not self.finished or self.finished[1].outcome != "complete":
            number = len(open_items)
            items = count(number, "item")
            then = f"next: {first}" if first else "the inspection was not closed as complete"
            return Headline(
                verdict="not finished",
                text=f"Not finished: {items} unanswered, {then}",
                unanswered=number,
                next=first,
                records=_numbers([n for x in open_items[:1] for n in x.records], last),
            )
        released = [(n, x) for n, x in self.defects if x.severity == "major"]
        text = "All required items answered, no stopping defect reported"
        if released:
            kinds = sorted(
                # Complete: the test has a standing good answer, given after the release.
                _release_words(how) + (" and tested again" if how == "driver-mended" else "")
                for how in {self.released[x.number][1].how for _, x in released}
            )
            text = (
                "All required items answered, "
                f"{count(len(released), 'stopping defect')} {' and '.join(kinds)}"
            )
        return Headline(
            verdict="complete",
            text=text,
            unanswered=0,
            next="",
            records=_numbers(last, [self.released[x.number][0] for _, x in released]),
        )

    def _before_moving(self, open_items: tuple[Open, ...]) -> tuple[Must, ...]:
        musts = []
        for n, x in self._open_majors():
            by_driver = x.mended_by == "driver"
            musts.append(
                Must(
                    text=f"{_sentence(x.text)}: "
                    + (
                        "to be mended, then the same test again"
                        if by_driver
                        else "to be mended, released in person by name, then the same test again"
                    ),
                    who="driver or mechanic" if by_driver else "mechanic",
                    records=_numbers(n, x.heard),
                )
            )
        words = {
            "unanswered": "to be answered",
            "not done": "to be done",
            "cannot see": "to be seen",
            "blocked": "to be answered once the stop is released",
            "failed": "to be put right and answered again",
        }
        musts += [
            Must(
                text=f"{x.item} ({inside(x.place)}): {words[x.state]}"
                + (f" (answer was: {x.why})" if x.state == "failed" and x.why else ""),
                who="driver",
                records=x.records,
            )
            for x in open_items
        ]
        return tuple(musts)

    def _subject(self) -> Subject:
        opened = self.opened
        last_n, last = self.finished or self.all[-1]
        return Subject(
            inspection=opened.inspection,
            checklist=opened.checklist,
            title=self.compiled.title,
            edition=opened.edition,
            carrier=opened.carrier,
            driver=opened.driver,
            place=opened.place,
            units=tuple(
                NamedValue(name=name, value=value, records=(1,)) for name, value in opened.units
            ),
            order=tuple(
                NamedValue(name=name, value=value, records=(1,)) for name, value in opened.order
            ),
            read_off=self._read_off(),
            jurisdiction=opened.jurisdiction,
            season=opened.season,
            started=opened.at.wall,
            ended=last.at.wall,
            closed=self.finished is not None,
            records=_numbers(1, last_n),
        )

    def _read_off(self) -> tuple[NamedValue, ...]:
        """The numbers that were spelled, and the odometer, as their answers stand."""
        return tuple(
            NamedValue(
                name=step.item.lower(),
                value=answer.measured.value if answer.measured else answer.text,
                records=answer.records,
            )
            for step in map(self._step, self.compiled.steps)
            if self.steps[step.id].kind == "spell" or step.id == ODOMETER
            for answer in step.answers
            if answer.stands and answer.outcome in ("good", "failed")
        )

    def _defect_entries(self) -> tuple[Defect, ...]:
        """Open stops first, then released ones, then minor defects; by number within each."""
        carried = {
            number: n for n, x in self.all if isinstance(x, r.CarriedOn) for number in x.numbers
        }
        entries = []
        for n, x in self.defects:
            release = self._release(x.number)
            status: Literal["open", "released", "noted"] = (
                "noted" if x.severity == "minor" else "released" if release else "open"
            )
            tested = self.tested.get(x.reckoning, (x.step,))
            corrected = any(
                isinstance(y, r.Withdrawn)
                and y.step in tested
                and m > n
                and y.why in ("correction", "rested on a withdrawn answer")
                for m, y in self.all
            )
            heard = self._record(x.heard)
            entries.append(
                Defect(
                    number=x.number,
                    id=x.defect,
                    severity="minor" if x.severity == "minor" else "major",
                    status=status,
                    text=_sentence(x.text),
                    step=x.step,
                    item=x.item or self._item(x.step),
                    place=self._place(self.steps[x.step]) if x.step else "",
                    wall=x.at.wall,
                    words=heard.words if isinstance(heard, r.HeardReply) else "",
                    typed=isinstance(heard, r.HeardReply) and heard.certainty == "typed",
                    blocks=tuple(_sentence(self._hazard(name)) for name in x.scope),
                    mended_by=x.mended_by,
                    sources=x.source,
                    release=release,
                    corrected=corrected,
                    carried_on=x.number in carried,
                    origin=self._origin(n, x.origin),
                    records=_numbers(
                        n, x.heard, carried.get(x.number, 0), release.records if release else ()
                    ),
                )
            )
        rank = {"open": 0, "released": 1, "noted": 2}
        return tuple(sorted(entries, key=lambda entry: (rank[entry.status], entry.number)))

    def _release(self, number: int) -> Release | None:
        if number not in self.released:
            return None
        n, x = self.released[number]
        memo = next(
            (
                (m, y)
                for m, y in reversed(self.all[: n - 1])
                if isinstance(y, r.MemoTaken) and x.memo and x.memo in (y.evidence, y.text)
            ),
            None,
        )
        spoken = memo is not None and x.memo == memo[1].evidence
        by_code = x.how == "by code"
        figures = f"reference {x.memo[:4]} {x.memo[4:]}"
        return Release(
            how=x.how,
            identity="somebody with the key, person not verified"
            if by_code
            else "identity not verified",
            text=figures if by_code else "" if spoken else x.memo,
            audio=x.memo if spoken else "",
            typed=bool(x.memo) and not by_code and not spoken,
            wall=x.at.wall,
            records=_numbers(n, memo[0] if memo else 0),
        )

    def _record(self, n: int) -> r.Record | None:
        return self.all[n - 1][1] if 1 <= n <= len(self.all) else None

    def _heard(self, n: int, x: r.HeardReply) -> Heard:
        return Heard(
            wall=x.at.wall,
            words=x.words,
            source="typed" if x.certainty == "typed" else self.opened.source,
            certainty=x.certainty,
            confidence=x.confidence,
            snr_db=x.snr_db,
            audio=x.evidence,
            digest=x.digest,
            taken=x.took,
            why=x.why,
            records=(n,),
        )

    def _asked_for(self, step: str) -> list[_Asking]:
        return [asking for asking in self.askings if step in asking.steps]

    def _part(self, id: str, *numbers: int) -> Part:
        return Part(number=self.number[id], id=id, item=self._item(id), records=_numbers(numbers))

    def _asked(self, asking: _Asking) -> Asked:
        record = asking.record
        words = self.steps[record.step].asked(record.variant, bool(record.together), asking.brief)
        same = asking.answers if asking.answers[1:] else ()
        heard = same[0][1].heard if same else 0
        return Asked(
            wall=record.at.wall,
            question=words,
            together=tuple(self._part(id, asking.start) for id in record.together),
            one_reply=tuple(self._part(x.step, heard, n) for n, x in same),
            records=_numbers(asking.start, heard, [n for n, _ in same]),
        )

    def _step(self, step: StepText) -> StepEntry:
        standing = self._standing(step.id)
        askings = self._asked_for(step.id)
        mine = [(n, x) for n, x in self.all if getattr(x, "step", "") == step.id]
        state: Any = standing[1].outcome if standing else "unanswered"
        return StepEntry(
            number=self.number[step.id],
            id=step.id,
            place=self._place(step),
            item=step.item,
            question=step.question,
            asked=tuple(map(self._asked, askings)),
            hazard=_sentence(self._hazard(step.hazard)) if step.hazard else "",
            sources=step.sources,
            state=state,
            answers=tuple(self._answer(askings, entry) for entry in self.answered.get(step.id, [])),
            holds=tuple(self._held(n, x) for n, x in mine if isinstance(x, r.Hold)),
            refused=tuple(
                self._heard(n, x) for n, x in mine if isinstance(x, r.HeardReply) and not x.took
            ),
            not_heard=sum(isinstance(x, r.NotHeard) for _, x in mine),
            defects=tuple(x.number for _, x in self.defects if x.step == step.id),
            # A step that nothing happened in comes from the checklist, which record 1 carries.
            records=_numbers([n for n, _ in mine], [asking.start for asking in askings]) or (1,),
        )

    def _answer(self, askings: list[_Asking], entry: tuple[int, r.Answered, int, str]) -> Answer:
        n, x, withdrawn_at, why = entry
        asked = next((k for k, y in enumerate(askings, 1) if (n, x) in y.answers), 0)
        # What was said to a joint question is kept with the first step that it asked for.
        starts = (y.start for y in askings if y.start < n and y.record.step == x.step)
        start, names = max(starts, default=1), {x.step}
        if asked:
            start, names = askings[asked - 1].start, {x.step, askings[asked - 1].record.step}
        window = [(m, y) for m, y in self.all[start - 1 : n - 1] if _step_of(y) in names]
        # Replies before a refused read-back were taken back with it.
        refusal = max((m for m, y in window if isinstance(y, r.ReadBackRefused)), default=0)
        used = [(m, y) for m, y in window if m > refusal]
        # "Say again" and the like are in the journal, but no answer rests on them.
        heard = {
            m: y
            for m, y in used
            if isinstance(y, r.HeardReply)
            and y.took
            and (not y.meaning.startswith("command:") or y.meaning in _ANSWERING)
        }
        cited = self._record(x.heard)
        if isinstance(cited, r.HeardReply):
            heard[x.heard] = cited
        read_back = [(m, y) for m, y in used if isinstance(y, r.ReadBack)]
        measured = [(m, y) for m, y in used if isinstance(y, r.ItemMeasured) and y.step == x.step]
        with_figure = {(y.item, y.finding, y.heard) for _, y in measured}
        noted = [
            (m, y)
            for m, y in used
            if isinstance(y, r.ItemNoted)
            and y.step == x.step
            and (y.item, y.finding, y.heard) not in with_figure
        ]
        items: list[tuple[int, r.ItemNoted | r.ItemMeasured]] = [*noted, *measured]
        items.sort(key=lambda pair: pair[0])
        marks = [m for m, y in used if isinstance(y, r.Marked)]
        return Answer(
            wall=x.at.wall,
            asked=asked,
            outcome=x.outcome,  # type: ignore[arg-type]  # pydantic checks it
            text=_sentence(x.text),
            stands=not withdrawn_at,
            withdrawn=why,
            heard=tuple(self._heard(m, heard[m]) for m in sorted(heard)),
            read_back=_sentence(read_back[-1][1].text) if read_back else "",
            quick=x.quick,
            items=tuple(_item(m, y) for m, y in items),
            measured=self._measured(n, x, marks),
            interval=self._interval(used),
            origin=self._origin(n, self.carried[x.step]) if x.outcome == "carried" else None,
            records=_numbers(
                n,
                withdrawn_at,
                list(heard),
                [m for m, _ in read_back],
                [m for m, _ in items],
                marks,
            ),
        )

    def _origin(self, n: int, x: r.Origin | None) -> CarriedFrom | None:
        if x is None:
            return None
        return CarriedFrom(
            inspection=x.inspection,
            checklist=x.checklist,
            record=x.record,
            digest=x.digest,
            wall=x.wall,
            records=_numbers(1, n),
        )

    def _measured(self, n: int, x: r.Answered, marks: list[int]) -> Measured | None:
        if not x.quantity:
            return None
        return Measured(
            value=x.quantity,
            first=x.first_quantity,
            limit=x.limit,
            verdict=x.verdict,
            judged=x.judged,
            records=_numbers(n, x.heard, marks),
        )

    def _reckoning(self, part: ReckoningText) -> Reckoning:
        made = [(n, x) for n, x in self.all if isinstance(x, r.Reckoned) and x.reckoning == part.id]
        figures = tuple(self._figure(n, x) for n, x in made)
        found = [(n, x.number) for n, x in self.defects if x.reckoning == part.id]
        stands = bool(figures) and figures[-1].stands
        state: Any = figures[-1].verdict if stands else "not reckoned"
        return Reckoning(
            id=part.id,
            text=_sentence(part.text),
            sources=part.sources,
            state=state,
            figures=figures,
            defects=tuple(number for _, number in found),
            records=_numbers([n for n, _ in (*made, *found)]) or (1,),
        )

    def _figure(self, n: int, x: r.Reckoned) -> Figure:
        inputs = [(m, y) for m in x.inputs if isinstance(y := self._record(m), r.Answered)]
        return Figure(
            wall=x.at.wall,
            value=x.quantity,
            limit=x.limit,
            verdict=x.verdict,
            judged=x.judged,
            stands=all(self._standing(y.step) == (m, y) for m, y in inputs),
            inputs=tuple(
                NamedValue(name=self._item(y.step), value=y.quantity, records=_numbers(m, y.heard))
                for m, y in inputs
            ),
            records=_numbers(n, x.inputs),
        )

    def _interval(self, used: list[Numbered]) -> Interval | None:
        timings = [(m, y) for m, y in used if isinstance(y, r.Timing)]
        if not timings:
            return None
        m, timing = timings[-1]
        done = [k for k, y in used if k > m and isinstance(y, r.TimingDone)]
        return Interval(
            first=timing.first,
            seconds=max(0, (timing.until - timing.at.mono) // 1000),
            ran_out=bool(done),
            records=_numbers(m, done),
        )

    def _held(self, n: int, x: r.Hold) -> Held:
        if x.hold == "stop":
            texts = {y.defect: _sentence(y.text) for m, y in self.defects if m < n}
            missing = tuple(texts.get(name, name) for name in x.missing)
        elif x.hold == "unanswered":
            missing = tuple(map(self._item, x.missing))
        else:
            missing = tuple(_sentence(self.compiled.fact_text(name)) for name in x.missing)
        cleared, numbers = self._cleared(n, x)
        return Held(
            wall=x.at.wall,
            hold=x.hold,
            text=x.text,
            missing=missing,
            cleared=cleared,
            records=_numbers(n, numbers),
        )

    def _cleared(self, n: int, x: r.Hold) -> tuple[str, tuple[int, ...]]:
        """How the hold ended: what came between it and the next time its step was spoken."""
        end = next(
            (
                m
                for m, y in self.all[n:]
                if isinstance(y, r.StepStarted | r.Answered) and y.step == x.step
            ),
            0,
        )
        between = self.all[n : end - 1 if end else len(self.all)]
        if x.hold == "stop":
            return self._stop_cleared(n, x)
        end_record = self._record(end)
        if not isinstance(end_record, r.StepStarted):
            return "not cleared", _numbers(end)
        wanted = set(x.missing)
        givers = [
            (m, y)
            for m, y in between
            if isinstance(y, r.Answered)
            and (
                y.step == x.goes_to
                or y.step in wanted
                or wanted & ({*y.gives} | {fact.partition("@")[0] for fact in y.gives})
            )
        ]
        if not givers:  # a derived fact: whatever gave something before the step went on
            givers = [(m, y) for m, y in between if isinstance(y, r.Answered) and y.gives]
        texts = [
            f"{self._item(y.step)}: {_sentence(y.text)}, {clock(y.at.wall)}" for _, y in givers
        ]
        return "; ".join(texts) or f"asked again at {clock(end_record.at.wall)}", _numbers(
            [m for m, _ in givers], end
        )

    def _stop_cleared(self, n: int, x: r.Hold) -> tuple[str, tuple[int, ...]]:
        """Which of the stops were released before the loop held there again, and how."""
        end = next(
            (m for m, y in self.all[n:] if isinstance(y, r.Hold) and y.step == x.step),
            len(self.all) + 1,
        )
        between = self.all[n : end - 1]
        stops = {
            y.number: y
            for m, y in self.defects
            if m < n
            and y.defect in x.missing
            and (y.number not in self.released or self.released[y.number][0] > n)
        }
        released = [(m, y) for m, y in between if isinstance(y, r.Released) and y.number in stops]
        carried = [m for m, y in between if isinstance(y, r.CarriedOn)]
        texts = [
            f"{_sentence(stops[y.number].text)}: {_release_words(y.how)}, {clock(y.at.wall)}"
            for _, y in released
        ]
        if not stops or len(released) < len(stops):
            texts.insert(0, "not cleared" if not released else "not cleared altogether")
            if carried:
                texts.append("the driver inspected on under the stop")
        return "; ".join(texts), _numbers([m for m, _ in released], carried)

    def _corrections(self) -> tuple[Correction, ...]:
        found = []
        for id, entries in self.answered.items():
            for index, (n, x, withdrawn_at, why) in enumerate(entries):
                if not withdrawn_at:
                    continue
                after = entries[index + 1] if index + 1 < len(entries) else None
                taken_back = self._record(withdrawn_at)
                assert taken_back is not None
                found.append(
                    Correction(
                        step=id,
                        item=self._item(id),
                        why=why,
                        before=_sentence(x.text),
                        after=_sentence(after[1].text) if after else "",
                        wall=taken_back.at.wall,
                        records=_numbers(n, withdrawn_at, after[0] if after else 0),
                    )
                )
        return tuple(sorted(found, key=lambda entry: entry.records))

    def _events(self) -> tuple[Event, ...]:
        found = []
        before: tuple[int, datetime.datetime] | None = None
        for n, x in self.all:
            text = self._event(x)
            if text:
                event = "broken off" if isinstance(x, r.MadeSafe) else x.kind
                found.append(Event(event=event, text=text, wall=x.at.wall, records=(n,)))
            try:
                moment = datetime.datetime.fromisoformat(x.at.wall)
            except ValueError:
                continue
            if moment.utcoffset() is None:
                continue
            if before is not None and moment < before[1]:
                found.append(
                    Event(
                        event="clock",
                        text="The clock of the device was set back here",
                        wall=x.at.wall,
                        records=_numbers(before[0], n),
                    )
                )
            before = (n, moment)
        return tuple(found)

    def _event(self, x: r.Record) -> str:
        match x:
            case r.StoodBy():
                return "Stood by" + ("" if x.why == "driver" else f" ({x.why})")
            case r.WentAhead():
                return f"Went ahead after {count(x.away_s, 'second')}"
            case r.Resumed():
                gap = count(x.gap_s // 60, "minute") if x.gap_s >= 60 else "less than a minute"
                return (
                    f"The program ended or the device slept; resumed after {gap}. What may have "
                    "changed meanwhile was asked again"
                )
            case r.Lost():
                return f"Lost: {x.what}"
            case r.Back():
                return f"Back: {x.what}"
            case r.MadeSafe():
                return (
                    f"{_sentence(self._hazard(x.hazard))} broken off ({x.why}): {_sentence(x.text)}"
                )
            case r.Deferred():
                return "Left for later: " + ", ".join(self._item(id) for id in x.steps)
            case r.CodeAsked():
                return f"A release code for defect {x.number} was asked for"
            case r.CodeTried():
                told = "was right" if x.right else "was wrong"
                return f"A release code for defect {x.number} {told}"
            case r.CarriedOn():
                return "Inspected on under stop " + ", ".join(map(str, x.numbers))
            case r.Again():
                return (
                    f"{self._item(x.step)}: done over from {self._item(x.to)} "
                    f"({count(x.count, 'time')})"
                )
            case _:
                return ""

    def _notes(self) -> tuple[Note, ...]:
        return tuple(
            Note(
                wall=x.at.wall,
                item=self._item(x.step) if x.step else "",
                text=x.text,
                audio=x.evidence,
                seconds=x.seconds,
                records=(n,),
            )
            for n, x in self.all
            if isinstance(x, r.MemoTaken) and x.about == "note"
        )

    def _attestation(self) -> Attestation | None:
        for step in self.compiled.steps:
            standing = self._standing(step.id)
            if step.kind == "attest" and standing and standing[1].outcome == "good":
                n, x = standing
                return Attestation(
                    name=self.opened.driver,
                    statement=self._statement(step.id, n),
                    answer=_sentence(x.text),
                    wall=x.at.wall,
                    effect="legal effect not claimed; nobody's identity was verified",
                    records=_numbers(1, n, x.heard),
                )
        return None

    def _statement(self, step: str, n: int) -> str:
        """The statement as it was spoken before answer ``n``."""
        spoken = [y for y in self._asked_for(step) if any(m == n for m, _ in y.answers)]
        return self._asked(spoken[-1]).question if spoken else self.steps[step].question

    def _evidence(self) -> Evidence:
        last = deletable_after(self.opened)
        delete_after = last.isoformat() if last else ""
        heard = [n for n, x in self.all if isinstance(x, r.HeardReply | r.MemoTaken) and x.evidence]
        if not heard:
            text = "Recorded: no sound; replies were typed or had no recording"
        elif delete_after:
            text = f"Recorded: replies only; audio may be deleted after {day(delete_after)}"
        else:
            text = "Recorded: replies only; no date is set after which audio may be deleted"
        return Evidence(text=text, delete_after=delete_after, records=_numbers(1, heard))


def _step_of(x: r.Record) -> str:
    return str(getattr(x, "step", ""))


def _release_words(how: str) -> str:
    if how == "in person":
        return "released in person, identity not verified"
    if how == "driver-mended":
        return "mended by the driver"
    if how == "by code":
        return "released by a supervisor's code, person not verified"
    return f"released ({how}), identity not verified"


def audio_name(name: str) -> str:
    """The name if it is a plain recording beside the report, else empty."""
    return name if AUDIO_NAME.fullmatch(name) else ""
