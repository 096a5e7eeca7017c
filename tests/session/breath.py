"""A small checklist in which several states are asked in one breath, with every way that can end.

The steps are invented; what it must do stands in rule 14 of voicecheck/session/state.py.
"""

from __future__ import annotations

from functools import cache

from tests.session.small import VEHICLE
from voicecheck.checklist.compile import Context, compile_checklist
from voicecheck.checklist.compiled import Compiled
from voicecheck.checklist.load import load_checklist, load_hazards, load_vehicle

HAZARDS = """
hazards:
  doors: {text: Opening the doors, needs: [held], caution: Stand behind the door., safe: Step back.}
  between: {text: Standing between the units, needs: [held], safe: Step out.}
  leave: {text: Leaving, needs: [locked], safe: Stop now.}
"""

CHECKLIST = """
id: breath
edition: "1"
title: Several in one breath
places: {near: At the near side, rear: At the rear}
facts:
  springs: {text: The spring brakes are set., lasts: lasting}
  chocked: {text: The wheels are chocked., lasts: lasting}
  locked: {text: The doors are locked., lasts: lasting}
  agreed: {text: Dispatch agrees., lasts: lasting}
  firm: {text: The legs are firm., lasts: until left}
derived:
  held: {text: The trailer cannot roll., any: [springs, chocked]}
exclusive: [[springs, chocked]]
defects:
  shifted: {text: The load has shifted., class: major, blocks: [between], source: [practice]}
  dirty: {text: It is dirty., class: minor, source: [practice]}
  seal-torn: {text: A seal is torn., class: major, blocks: [between], mended by: driver,
              source: [practice]}
  lamp-out: {text: A lamp is out., class: major, mended by: driver, source: [practice]}
steps:
  - id: look
    place: near
    item: Near side
    ask: "Near side. All good?"
    source: [practice]
    together: {with: [brakes, legs], ask: "Near side, brakes, legs. What of them?",
               brief: "Side, brakes, legs?"}
    group: {items: [body, floor], good: [side good], wrong: {bent: dirty, broken: shifted}}
  - id: brakes
    place: near
    item: Brakes
    ask: "What holds it?"
    source: [practice]
    answers:
      spring brakes: {also: [springs set], gives: [springs]}
      chocks: {gives: [chocked]}
      nothing: {bad: true, say: Set the brakes.}
  - id: legs
    place: near
    item: Legs
    ask: "Legs?"
    source: [practice]
    done: {good: [legs firm], gives: [firm]}
  - id: load
    place: rear
    item: Load
    hazard: doors
    ends: [agreed]
    ask: "Load as ordered?"
    explain: Look for shifted freight.
    source: [practice]
    together: {with: [doors, dispatch], ask: "Load, doors, dispatch. As ordered?"}
    answers:
      as ordered: {}
      empty: {say: Noted.}
      shifted: {defect: shifted}
      unsure: {repeat: true}
  - id: doors
    place: rear
    item: Doors
    ask: "Doors?"
    explain: Try the lock.
    source: [practice]
    answers:
      closed: {gives: [locked]}
      not locked: {again: load, third: dirty}
  - id: dispatch
    place: rear
    item: Dispatch
    needs: [firm]
    ask: "Dispatch?"
    source: [practice]
    answers:
      confirmed: {gives: [agreed]}
      no answer: {again: dispatch, third: dirty}
  - id: seals
    place: rear
    item: Seals
    hazard: between
    needs: [agreed]
    ask: "Seals?"
    source: [practice]
    together: {with: [plug], ask: "Seals and plug. How are they?"}
    verdict: {good: [seals whole], wrong: {torn: seal-torn, dirty: dirty}, not fitted: true}
  - id: plug
    place: rear
    item: Plug
    hazard: between
    needs: [locked]
    ends: [firm]
    ask: "Plug?"
    source: [practice]
    verdict: {good: [plug in], wrong: {loose: shifted}}
  - {id: statement, place: near, item: Statement, hazard: leave, ask: "Is it so?",
     source: [practice], attest: {}}
"""

GOOD_BREATH = (
    "side good spring brakes legs firm", "as ordered closed confirmed", "seals whole plug in",
    "affirm",
)  # fmt: skip


@cache
def breath() -> Compiled:
    model, lines = load_checklist(CHECKLIST, "breath.yaml")
    hazards, _ = load_hazards(HAZARDS, "hazards.yaml")
    vehicle = load_vehicle(VEHICLE, "vehicle.yaml")
    return compile_checklist(model, lines, "breath.yaml", hazards, Context(vehicle))
