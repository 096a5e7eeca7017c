"""Random small checklists, most of them foolish, to compare the two explorations on."""

from __future__ import annotations

import random

import yaml

from voicecheck.authoring.oracle import Oracle
from voicecheck.authoring.prove import Proof, opened_for, prove
from voicecheck.checklist.compile import Context, compile_checklist
from voicecheck.checklist.load import load_checklist, load_hazards, load_vehicle
from voicecheck.errors import ChecklistError

VEHICLE = """
name: Invented pair
units:
  - kind: tractor
    number: HL-1
    axles: [{name: steer axle, position: steer, wheels: single, brake: {chamber: "20"}}]
  - {kind: trailer, number: HLT-7K42}
"""
WORDS = ("alfa", "bravo", "charlie", "delta", "golf", "hotel", "india", "lima", "mike", "papa")


def text_of(seed: int, most: int = 10) -> tuple[str, str]:
    """Checklist and hazards as YAML. Most have two to four steps, some up to ``most``."""
    rnd = random.Random(seed)
    count = min(most, rnd.choice((1, 2, 2, 2, 3, 3, 3, 4, 4, 5, rnd.randint(6, 10))))
    facts = [f"fact {w}" for w in WORDS[: rnd.randint(1, 3)]]
    lives = ("lasting", "lasting", "until left", "60 s")
    some = lambda p: [f for f in facts if rnd.random() < p]  # noqa: E731
    hazards = {
        "crank": {"text": "Cranking", "needs": some(0.3), "safe": "Hands off."},
        "leave": {"text": "Leaving", "needs": some(0.3), "safe": "Stop now."},
    }
    defects = {
        "bad": {"text": "It is bad.", "class": "major", "blocks": ["crank"], "source": ["x"],
                "mended by": rnd.choice(["driver", "mechanic"])},
        "dirty": {"text": "It is dirty.", "class": "minor", "source": ["x"]},
    }  # fmt: skip
    plain = count > 4  # larger ones have fewer answers, so that all can be explored
    steps = []
    for n in range(count):
        step: dict[str, object] = {
            "id": f"step {WORDS[n]}", "place": rnd.choice(["cab", "yard"]), "item": WORDS[n],
            "ask": f"{WORDS[n]}?", "source": ["x"],
        }  # fmt: skip
        if rnd.random() < 0.25:
            step["needs"] = some(0.5)
        if rnd.random() < 0.2:
            step["ends"] = some(0.4)
        if rnd.random() < 0.2:
            step["hazard"] = rnd.choice(["crank", "leave"])
        if rnd.random() < 0.15:
            step["confirm"] = True
        kind = rnd.choice(["answers", "answers", "done", "verdict"])
        if kind == "done" or plain:
            step["done"] = {"gives": some(0.5)}
        elif kind == "verdict":
            step["verdict"] = {"gives": some(0.5), "wrong": {"bent": rnd.choice(list(defects))}}
        else:
            answers: dict[str, object] = {f"is {WORDS[n]}": {"gives": some(0.6)}}
            if rnd.random() < 0.4:
                again = rnd.choice([s["id"] for s in steps] + [step["id"]])
                answers["not so"] = {"again": again, "third": rnd.choice(["", "bad"])}
            if rnd.random() < 0.3:
                answers["wrong way"] = rnd.choice([{"bad": True}, {"defect": "bad"}])
            step["answers"] = answers
        steps.append(step)
    listing = {
        "id": "random", "edition": "1", "title": "A random one",
        "places": {"cab": "In the cab", "yard": "In the yard"},
        "facts": {f: {"text": f"It is {f}.", "lasts": rnd.choice(lives)} for f in facts},
        "exclusive": [facts[:2]] if len(facts) > 1 and rnd.random() < 0.2 else [],
        "defects": defects, "steps": steps,
    }  # fmt: skip
    return yaml.safe_dump(listing), yaml.safe_dump({"hazards": hazards})


def proved(seed: int, reduced: bool, most_nodes: int) -> Proof | None:
    """The proof of the checklist of this seed; None where it cannot be compiled."""
    listing, hazard_text = text_of(seed)
    model, lines = load_checklist(listing, "random.yaml")
    hazards, _ = load_hazards(hazard_text, "hazards.yaml")
    context = Context(load_vehicle(VEHICLE, "vehicle.yaml"))
    try:
        compiled = compile_checklist(model, lines, "random.yaml", hazards, context)
    except ChecklistError:
        return None
    oracle = Oracle.of(model, hazards, context)
    return prove(
        compiled, oracle, opened_for(compiled, context), reduced=reduced, most_nodes=most_nodes
    )
