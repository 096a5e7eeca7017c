"""From the answers of a spoken set-up to a vehicle file.

The set-up is the checklist ``vehicle``; the ids of its steps are the names in the tables below.
What was answered with "cannot see" or "not done" is left out of the file: it is then not known,
and nothing is put in its place.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import yaml

from voicecheck.checklist.compiled import Compiled
from voicecheck.checklist.load import load_vehicle
from voicecheck.errors import SetupUnfinished
from voicecheck.session import records as r
from voicecheck.session.fold import fold
from voicecheck.session.state import Phase

CHECKLIST = "vehicle"
#: What cannot be left open: without it there is nothing to walk along.
NEEDED = (
    "tractor number", "drive axles", "drive wheels", "trailer number", "trailer axles",
    "trailer wheels",
)  # fmt: skip
#: Answers in the words of the vehicle file.
WORDS: Mapping[str, Any] = {
    "air suspension": "air",
    "spring suspension": "spring",
    "one axle": 1,
    "two axles": 2,
    "three axles": 3,
    "dual wheels": "dual",
    "single wheels": "single",
    "drum brakes": "drum",
    "disc brakes": "disc",
    "type sixteen": "16",
    "type twenty": "20",
    "type twenty four": "24",
    "type thirty": "30",
    "type thirty six": "36",
    "standard stroke": False,
    "long stroke": True,
}
FEATURES = {
    "hand valve": "hand valve",
    "flat bed": "flatbed",
    "refrigerated": "reefer",
    "sliding axles": "slider",
}
UNIT_KEYS = ("number", "plate", "built", "inspected", "length", "width", "gvwr", "suspension")
BRAKE_KEYS = {
    "chamber": "chamber", "long stroke": "stroke", "style": "brakes", "adjuster": "adjusters",
}  # fmt: skip


def vehicle_text(compiled: Compiled, records: tuple[r.Record, ...]) -> str:
    """The vehicle file that a finished set-up describes: YAML that was loaded once.

    SetupUnfinished when it is another checklist, not finished, or lacks one of ``NEEDED``.
    """
    state = fold(compiled, records)
    if state.opened is None or compiled.id != CHECKLIST:
        raise SetupUnfinished(
            f"This was led by {compiled.id!r}, which describes no vehicle.",
            "describe one with: voicecheck run vehicle --microphone",
        )
    if state.phase is not Phase.FINISHED:
        raise SetupUnfinished("The description is not finished.", "go on with: voicecheck resume")
    said = {id: _value(x) for id, x in state.answers.items() if x.outcome == "good"}
    open_ = [id for id in NEEDED if id not in said]
    if open_:
        raise SetupUnfinished(
            f"Not answered: {', '.join(open_)}.", "describe it again, and answer these"
        )
    steer = {"position": "steer", "wheels": "single", "brake": _brake(said, "steer")}
    tractor = _unit(said, "tractor") | {"axles": [steer, *_axles(said, "drive")]}
    trailer = _unit(said, "trailer") | {"axles": _axles(said, "trailer")}
    text = yaml.safe_dump(
        {
            "name": f"Described by voice on {state.opened.at.wall[:10]}",
            "jurisdiction": state.opened.jurisdiction,
            "features": [FEATURES[word] for word in said.values() if word in FEATURES],
            "units": [tractor, trailer],
        },
        sort_keys=False,
        default_flow_style=None,
        width=200,
    )
    load_vehicle(text, "the description")
    return text


def _value(answered: r.Answered) -> Any:
    """A measure with its unit; a spelled number or a date as it is written; else the answer."""
    if answered.quantity:
        return answered.quantity
    if answered.answer in ("spelled", "date"):
        return answered.text
    return WORDS.get(answered.answer, answered.answer)


def _unit(said: Mapping[str, Any], kind: str) -> dict[str, Any]:
    found = {key: said[f"{kind} {key}"] for key in UNIT_KEYS if f"{kind} {key}" in said}
    return {"kind": kind, **found}


def _axles(said: Mapping[str, Any], owner: str) -> list[dict[str, Any]]:
    wheels, brake = said[f"{owner} wheels"], _brake(said, owner)
    return [
        {"position": owner, "wheels": wheels, "brake": dict(brake)}
        for _ in range(said[f"{owner} axles"])
    ]


def _brake(said: Mapping[str, Any], owner: str) -> dict[str, Any]:
    stroke = {"long stroke": "unknown"}  # left out it would be the standard one
    named = {key: f"{owner} {word}" for key, word in BRAKE_KEYS.items()}
    return stroke | {key: said[id] for key, id in named.items() if id in said}
