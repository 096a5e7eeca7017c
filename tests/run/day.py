"""A driver's day at the keyboard: one inspection after another in one folder, at given times.

Each is opened by the program's own ``open_inspection`` from what lies in the folder, and written to
a journal of its own. The driver answers well but for what a test tells him.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from pathlib import Path

from voicecheck.checklist.compiled import Compiled
from voicecheck.journal.file import JournalFile
from voicecheck.reply.numbers import spelling_words
from voicecheck.run.library import Sources, load_sources
from voicecheck.run.opening import Setting, open_inspection
from voicecheck.session import actions as a
from voicecheck.session import events as e
from voicecheck.session import records as r
from voicecheck.session.session import Session

MORNING = "2026-11-25T06:00:00-05:00"
VEHICLE = "tractor-semitrailer"


@dataclass
class Inspection:
    """One inspection being led. ``said``: all sentences so far."""

    compiled: Compiled
    opened: r.Opened
    folder: Path
    session: Session
    began: datetime
    records: list[r.Record] = field(default_factory=list)
    said: list[str] = field(default_factory=list)
    asked: list[str] = field(default_factory=list)
    outcome: str = ""
    seconds: int = 0

    def at(self, seconds: int = 0) -> r.Stamp:
        self.seconds += seconds
        wall = (self.began + timedelta(seconds=self.seconds)).isoformat()
        return r.Stamp(wall, self.seconds * 1000)

    def tell(self, event: e.Event) -> None:
        for action in self.session.receive(event):
            match action:
                case a.Keep(record=record):
                    self.records.append(record)
                    if isinstance(record, r.StepStarted):
                        self.asked.append(record.step)
                case a.Say(text=text, interruptible=interruptible, name=name):
                    self.said.append(text)
                    if not interruptible and name not in ("make safe", "interval"):
                        self.tell(e.PromptEnded(at=self.at(), name=name))
                case a.Finish(outcome=outcome):
                    self.outcome = outcome

    def reply(self, *replies: str) -> None:
        for words in replies:
            if self.session.state.phase == "memo":
                heard = e.MemoHeard(at=self.at(5), evidence="", digest="", seconds="2", text=words)
                self.tell(heard)
            else:
                self.tell(e.ReplyHeard(at=self.at(5), words=words, certainty="typed"))

    def well(self) -> str:
        """The good answer to what is open now."""
        state = self.session.state
        step = self.compiled.step(state.step)
        if state.phase in ("reading back", "asking"):
            return "affirm"
        if state.phase == "memo":
            return "a note"
        if step.kind == "answers":
            return next(
                x.said[0]
                for x in step.variants[state.variant].answers
                if not (x.again or x.defect or x.repeat or x.bad)
            )
        if step.spelling:
            number = dict(self.opened.units).get(step.spelling.match, "A123")
            return spelling_words("".join(c for c in number if c.isalnum())[-4:]).lower()
        return {
            "done": "done",
            "verdict": "pass",
            "group": "all good",
            "date": "march twenty twenty nine",
            "attest": "affirm",
        }[step.kind]

    def lead(self, but: Mapping[str, Sequence[str]] | None = None, until: str = "") -> None:
        """Answer well to the end, or until the step is asked; ``but``: other replies by step."""
        other = {step: list(replies) for step, replies in (but or {}).items()}
        for _ in range(600):
            state = self.session.state
            if self.outcome or (state.step == until and state.phase in ("asked", "stopped")):
                return
            if state.phase == "timing":
                self.tell(e.TimerElapsed(at=self.at(600), name="timing"))
                continue
            left = other.get(state.step)
            self.reply(left.pop(0) if left else self.well())
        raise AssertionError(f"no end in sight: {self.session.state.phase} {self.asked[-5:]}")

    def keep(self) -> None:
        """Write the journal, as the loop does turn by turn."""
        with JournalFile.create(self.folder) as journal:
            journal.append(self.records)

    def answer(self, step: str) -> r.Answered:
        return self.session.state.answers[step]

    def carried(self) -> dict[str, r.Carried]:
        return {x.step: x for x in self.opened.carried}


@dataclass
class Day:
    """``parent``: where the inspections are kept."""

    parent: Path
    began: datetime = field(default_factory=lambda: datetime.fromisoformat(MORNING))
    setting: Setting = field(
        default_factory=lambda: Setting(operating="inspection", source="typed")
    )
    told: list[str] = field(default_factory=list)

    def open(self, checklist: str | Sources, hours: float = 0, **changed: object) -> Inspection:
        """Begin one, so many hours after the day began."""
        at = self.began + timedelta(hours=hours)
        sources = load_sources(checklist, VEHICLE) if isinstance(checklist, str) else checklist
        compiled, opened, folder = open_inspection(
            sources,
            replace(self.setting, **changed),  # type: ignore[arg-type]
            r.Stamp(at.isoformat(), 0),
            self.parent,
            self.told.append,
        )
        made = Inspection(compiled, opened, folder, Session(compiled), at)
        made.tell(e.Started(at=opened.at, opened=opened))
        return made

    def whole(
        self,
        checklist: str | Sources,
        hours: float = 0,
        but: Mapping[str, Sequence[str]] | None = None,
        **changed: object,
    ) -> Inspection:
        """One led to its end and kept."""
        made = self.open(checklist, hours, **changed)
        made.lead(but)
        made.keep()
        return made
