"""A small checklist with every reply kind and rule, and a hand that plays it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from typing import Any

from voicecheck.checklist.compile import Context, compile_checklist
from voicecheck.checklist.compiled import Compiled
from voicecheck.checklist.load import load_checklist, load_hazards, load_vehicle
from voicecheck.session import actions as a
from voicecheck.session import events as e
from voicecheck.session import records as r
from voicecheck.session.session import Session

HAZARDS = """
hazards:
  crank: {text: Cranking, needs: [seen locked, parked, people clear], safe: Both hands off.}
  draw out: {text: Drawing out, needs: [parked or chocked], safe: Stop., moving: true,
             never blocked: true}
  leave: {text: Leaving, needs: [legs up], safe: Stop now.}
"""

VEHICLE = """
name: Invented pair
units:
  - kind: tractor
    number: HL-1
    axles: [{name: steer axle, position: steer, wheels: single, brake: {chamber: "20"}}]
  - kind: trailer
    number: HLT-7K42
"""

CHECKLIST = """
id: small
edition: "1"
title: A small one
places: {cab: In the cab, coupling: At the coupling}
facts:
  right trailer: {text: The trailer is the ordered one., lasts: lasting}
  parked: {text: Both knobs are out., lasts: until left}
  chocked: {text: The wheels are chocked., lasts: lasting}
  seen locked: {text: The jaws were seen closed., lasts: lasting}
  people clear: {text: Nobody is near., lasts: 60 s}
  legs down: {text: The legs are down., lasts: lasting}
  legs up: {text: The legs are up., lasts: lasting}
  strokes good: {text: Each stroke is within its limit., lasts: lasting}
derived:
  parked or chocked: {text: The trailer cannot roll., any: [parked, chocked]}
exclusive: [[legs down, legs up]]
defects:
  jaws-open: {text: The jaws do not close., class: major, blocks: [crank], source: [practice]}
  seal-torn: {text: A seal is torn., class: major, blocks: [crank], mended by: driver,
              source: [practice]}
  dirty: {text: It is dirty., class: minor, source: [practice]}
  lamp-out: {text: A lamp is out., class: major, mended by: driver, source: [practice]}
  too-long: {text: The stroke is too long., class: major, source: [practice]}
  leaks: {text: It leaks., class: major, source: [practice]}
  overdue: {text: The inspection is overdue., class: major, source: [practice]}
steps:
  - {id: number, place: cab, item: Trailer number, ask: "Trailer number?", source: [practice],
     spell: {least: 4, most: 4, match: trailer, gives: [right trailer]}}
  - {id: sticker, place: cab, item: Sticker, ask: "Valid until?", source: [practice],
     date: {what: Last month, overdue: overdue}}
  - id: park
    place: cab
    item: Park
    ask: Both knobs?
    source: [practice]
    answers:
      both out: {gives: [parked]}
      chocked instead: {gives: [chocked]}
  - id: draw out
    place: cab
    item: Draw out
    only again: true
    hazard: draw out
    ends: [seen locked, legs up]
    ask: Draw out.
    source: [practice]
    answers: {clear of it: {}}
  - id: jaws
    place: coupling
    item: Jaws
    needs: [parked, right trailer]
    ends: [legs up]
    source: [practice]
    variants:
      - ask: Jaws closed round what?
        answers:
          round the shank: {gives: [seen locked, legs down]}
          not closed: {again: draw out, third: jaws-open}
      - ask: Shank held by what?
        answers:
          held by the jaws: {gives: [seen locked, legs down]}
          held by nothing: {again: draw out, third: jaws-open}
  - id: seals
    place: coupling
    item: Seals
    ask: Seals?
    source: [practice]
    needs: [seen locked]
    verdict: {wrong: {torn: seal-torn, dirty: dirty}, not fitted: true}
  - id: lamps
    place: coupling
    item: Lamps
    ask: Lamps?
    source: [practice]
    group: {items: [left lamp, right lamp], wrong: {out: lamp-out, dirty: dirty}}
  - id: stroke
    place: coupling
    item: "{position} stroke"
    each: brakes
    ask: "{position}. Stroke?"
    source: ["49 CFR 393.47(e)"]
    measure: {unit: in, units: [mm], fractions: true, low: "0", high: "4", limit: stroke,
              outside: too-long, gives: [strokes good]}
  - id: leak
    place: cab
    item: Leak
    ask: Gauge now?
    source: ["Georgia DDS 11M.1.2"]
    timed: {unit: psi, seconds: 60, then: "Gauge again?", limit: us-air-7-combination, low: "0",
            high: "150", given: {combination: "yes"}, outside: leaks}
  - id: people
    place: cab
    item: People
    confirm: true
    ask: Anybody near?
    source: [practice]
    answers:
      nobody near: {gives: [people clear]}
      somebody near: {again: people}
  - id: raise
    place: coupling
    item: Raise
    hazard: crank
    needs: [strokes good]
    ends: [legs down]
    hands busy: true
    ask: All the way up?
    source: [practice]
    answers:
      all the way up: {gives: [legs up]}
      stuck fast: {defect: leaks}
      unsure: {repeat: true}
  - {id: note, place: cab, item: Note, ask: Say a word on the yard., source: [practice], memo: {}}
  - {id: clear, place: cab, item: Table, ask: "Table cleared?", source: [practice], done: {}}
  - {id: statement, place: cab, item: Statement, hazard: leave, ask: "Is it so?",
     source: [practice], attest: {}}
"""

GOOD = (
    "seven kilo four two", "affirm", "march twenty twenty seven", "affirm", "both out",
    "round the shank", "pass", "all good", "one and a half inches", "affirm",
    "one and a half inches", "affirm", "one hundred", "affirm", "TIME", "nine nine", "affirm",
    "nobody near", "all the way up", "a word", "done", "affirm",
)  # fmt: skip


@cache
def small() -> Compiled:
    model, lines = load_checklist(CHECKLIST, "small.yaml")
    hazards, _ = load_hazards(HAZARDS, "hazards.yaml")
    vehicle = load_vehicle(VEHICLE, "vehicle.yaml")
    return compile_checklist(model, lines, "small.yaml", hazards, Context(vehicle))


def opened(inspection: str = "a") -> r.Opened:
    """``inspection`` chooses the rotating question: "b" begins with the first variant."""
    return r.Opened(
        at=r.Stamp("2026-11-25T06:00:00-07:00", 0),
        inspection=inspection,
        checklist="small",
        edition="1",
        checklist_text=CHECKLIST,
        hazards_text=HAZARDS,
        vehicle_text=VEHICLE,
        settings=(),
        jurisdiction="US",
        season="summer",
        operating="inspection",
        source="typed",
        engine="",
        engine_digest="",
        voice="",
        program="voicecheck",
        driver="",
        carrier="",
        units=(("tractor", "HL-1"), ("trailer", "HLT-7K42")),
        place="",
    )


class Hand:
    """Plays a session: types replies, ends every sentence, lets time pass."""

    def __init__(
        self, compiled: Compiled | None = None, inspection: str = "b", **of_opened: Any
    ) -> None:
        """``of_opened``: what is different in the first record."""
        self.session = Session(compiled or small())
        self.mono = 0
        self.records: list[r.Record] = []
        self.said: list[str] = []
        self.outcome = ""
        self.certainty = "typed"
        first = replace(opened(inspection), **of_opened)
        self.tell(e.Started(at=self.at(0), opened=first))

    def at(self, seconds: float = 5) -> r.Stamp:
        self.mono += round(seconds * 1000)
        return r.Stamp("2026-11-25T06:00:00-07:00", self.mono)

    def tell(self, event: e.Event) -> Sequence[a.Action]:
        """One event, and the end of every sentence that follows from it."""
        actions = self.raw(event)
        for action in actions:
            if isinstance(action, a.Say) and not action.interruptible:
                self.tell(e.PromptEnded(at=self.at(0), name=action.name))
        return actions

    def raw(self, event: e.Event) -> Sequence[a.Action]:
        """One event; sentences stay unfinished."""
        actions = self.session.receive(event)
        for action in actions:
            if isinstance(action, a.Keep):
                self.records.append(action.record)
            elif isinstance(action, a.Say):
                self.said.append(action.text)
            elif isinstance(action, a.Finish):
                self.outcome = action.outcome
        return actions

    def reply(self, *replies: str) -> str:
        """Replies in order ("TIME": the interval passes). What was said after the last one."""
        for words in replies:
            self.said.clear()
            if words == "TIME":
                self.tell(e.TimerElapsed(at=self.at(61), name="timing"))
            elif self.session.state.phase == "memo":
                self.tell(
                    e.MemoHeard(at=self.at(), evidence="", digest="", seconds="2", text=words)
                )
            else:
                self.tell(e.ReplyHeard(at=self.at(), words=words, certainty=self.certainty))
        return " ".join(self.said)

    @property
    def step(self) -> str:
        return self.session.state.step

    @property
    def phase(self) -> str:
        return str(self.session.state.phase)

    def true(self, fact: str) -> bool:
        return self.session.state.true(fact)
