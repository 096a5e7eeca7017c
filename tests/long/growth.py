"""How prove grows: generated checklists of 10 to 300 steps.

    python tests/long/growth.py [SIZES ...]

Every third step needs what the one before gives, every tenth ends it, every seventh can be failed.
"""

from __future__ import annotations

import math
import sys
from typing import Any

import yaml

from tests.authoring.random_checklists import VEHICLE
from voicecheck.authoring.prove import Proof, prove_model
from voicecheck.checklist.compile import Context
from voicecheck.checklist.load import load_checklist, load_hazards, load_vehicle

LETTERS = "abcdefghijklmnopqrstuvwxyz"
HAZARDS = "hazards:\n  crank: {text: Cranking, safe: Hands off.}\n"


def name(n: int) -> str:
    return f"item {LETTERS[n // 26]} {LETTERS[n % 26]}"


def generated(count: int) -> str:
    """A checklist of ``count`` steps as YAML."""
    facts: dict[str, Any] = {}
    steps: list[dict[str, Any]] = []
    for n in range(count):
        fact = f"fact {LETTERS[n // 26]} {LETTERS[n % 26]}"
        facts[fact] = {"text": f"It is {fact}.", "lasts": ("lasting", "until left")[n % 2]}
        step: dict[str, Any] = {
            "id": name(n), "place": "cab", "item": name(n), "ask": f"{name(n)}?", "source": ["x"],
            "answers": {"so": {"gives": [fact]}},
        }  # fmt: skip
        if n % 3 == 2:
            step["needs"] = [list(facts)[n - 1]]
        if n % 10 == 9:
            step["ends"] = [list(facts)[n - 8]]
        if n % 7 == 6:
            step["answers"]["not so"] = {"defect": "bad"}
        if n % 11 == 10:
            step["hazard"] = "crank"
        steps.append(step)
    return yaml.safe_dump({
        "id": "growth", "edition": "1", "title": "Growth", "places": {"cab": "In the cab"},
        "facts": facts, "steps": steps,
        "defects": {"bad": {"text": "Bad.", "class": "major", "blocks": ["crank"],
                            "source": ["x"]}},
    })  # fmt: skip


def grown(count: int) -> Proof:
    model, lines = load_checklist(generated(count), "growth.yaml")
    hazards, _ = load_hazards(HAZARDS, "hazards.yaml")
    context = Context(load_vehicle(VEHICLE, "vehicle.yaml"))
    return prove_model(model, lines, "growth.yaml", hazards, context)


def main(sizes: list[int]) -> int:
    before: tuple[int, int] | None = None
    worst = 0.0
    for count in sizes:
        proof = grown(count)
        made = proof.graph.transitions
        text = f"{count:4} steps: {len(proof.graph.nodes):7} states, {made:8} transitions, "
        text += f"{proof.seconds:7.1f} s of processor, {'kept' if proof.kept else 'BROKEN'}"
        if before:
            power = math.log(made / before[1]) / math.log(count / before[0])
            worst = max(worst, power)
            text += f", transitions grow by the power {power:.2f}"
        print(text, flush=True)
        before = count, made
    return 0 if worst <= 2.05 else 1


if __name__ == "__main__":
    sys.exit(main([int(n) for n in sys.argv[1:]] or [10, 20, 50, 100, 200, 300]))
