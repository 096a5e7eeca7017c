"""A second small checklist: what the first one has not.

Marks on a gauge, a group of more than five, a date of issue, figures reckoned from readings, an
item with a figure of its own.
"""

from __future__ import annotations

from functools import cache

from tests.session.small import HAZARDS
from voicecheck.checklist.compile import Context, compile_checklist
from voicecheck.checklist.compiled import Compiled
from voicecheck.checklist.load import load_checklist, load_hazards, load_vehicle

VEHICLE = """
name: Invented pair
units:
  - kind: tractor
    number: HL-1
    axles: [{name: steer axle, position: steer, wheels: single, brake: {chamber: "20"}}]
  - kind: trailer
    number: HLT-7K42
    lamps: {rear: [tail lamps, stop lamps, turn lamps, marker lamps, plate lamp, fog lamp]}
"""

CHECKLIST = """
id: day
edition: "1"
title: A day
places: {cab: In the cab, rear: At the rear}
facts:
  parked: {text: Both knobs are out., lasts: until left}
  seen locked: {text: The jaws were seen closed., lasts: lasting}
  people clear: {text: Nobody is near., lasts: 60 s}
  chocked: {text: The wheels are chocked., lasts: lasting}
  legs up: {text: The legs are up., lasts: lasting}
  builds up: {text: The compressor is quick enough., lasts: lasting}
derived:
  parked or chocked: {text: It cannot roll., any: [parked, chocked]}
defects:
  slow: {text: The compressor is slow., class: major, blocks: [crank], source: [practice]}
  overdue: {text: The inspection is overdue., class: major, source: [practice]}
  too-long: {text: The stroke is too long., class: major, source: [practice]}
  uneven: {text: The strokes are uneven., class: major, source: [practice]}
  air-lost: {text: An application takes too much air., class: minor, source: [practice]}
  tire-cut: {text: A tire is cut., class: major, source: [practice]}
  tire-worn: {text: A tire is worn., class: major, source: [practice]}
  lamp-out: {text: A lamp is out., class: minor, source: [practice]}
steps:
  - {id: sticker, place: cab, item: Sticker, ask: "Inspected when?", source: [practice],
     date: {what: Month of the inspection, valid: 12 months, overdue: overdue}}
  - id: park
    place: cab
    item: Park
    ask: Both knobs?
    source: [practice]
    answers: {both out: {gives: [parked, seen locked, legs up]}, not so: {bad: true}}
  - id: people
    place: cab
    item: People
    confirm: true
    ask: Anybody near?
    source: [practice]
    answers: {nobody near: {gives: [people clear]}, somebody near: {again: people}}
  - id: build up
    place: cab
    item: Build up
    hazard: crank
    hands busy: true
    ask: Say mark at eighty five.
    source: [practice]
    clocked: {then: Mark at one hundred., limit: us-air-4, given: {air system: dual},
              outside: slow, gives: [builds up], most: 120}
  - id: lamps
    place: rear
    item: Rear lamps
    needs: [builds up]
    carry: rear lamps
    ask: All good, or which?
    source: [practice]
    group: {each: lamps.rear, wrong: {out: lamp-out}}
  - id: stroke
    place: rear
    item: "{position} stroke"
    each: brakes
    ask: "{position}. Stroke?"
    source: [practice]
    measure: {unit: in, fractions: true, low: "0", high: "4", limit: stroke, outside: too-long}
  - {id: before, place: cab, item: Pressure before, ask: "Gauge before?", source: [practice],
     measure: {unit: psi, low: "0", high: "150"}}
  - {id: after, place: cab, item: Pressure after, ask: "Gauge after?", source: [practice],
     measure: {unit: psi, low: "0", high: "150"}}
  - id: tires
    place: rear
    item: Left tires
    ask: All good, or which?
    source: ["49 CFR 393.75"]
    group:
      each: tires.tractor.left
      wrong: {cut: tire-cut}
      measured: {tread measured: {ask: "How deep?", unit: in, fractions: true, low: "0", high: "1",
                                  limit: tread, outside: tire-worn}}
  - {id: statement, place: cab, item: Statement, hazard: leave, ask: "Is it so?",
     source: [practice], attest: {}}
reckonings:
  - {id: balance, text: Left and right stroke., rule: difference, from: [stroke],
     outside: uneven, source: [practice]}
  - {id: kept, text: Pressure kept., rule: pressure kept, from: [before, after],
     outside: air-lost, source: ["49 CFR 393.50(a)"]}
"""

GOOD_DAY = (
    "november twenty twenty five", "affirm", "both out", "nobody near", "mark", "mark", "affirm",
    "all good", "all good", "one and a half inches", "affirm", "one and a half inches", "affirm",
    "one hundred", "affirm", "nine zero", "affirm", "all good", "affirm",
)  # fmt: skip


@cache
def day() -> Compiled:
    model, lines = load_checklist(CHECKLIST, "day.yaml")
    hazards, _ = load_hazards(HAZARDS, "hazards.yaml")
    context = Context(load_vehicle(VEHICLE, "vehicle.yaml"))
    return compile_checklist(model, lines, "day.yaml", hazards, context)
