"""Random small checklists, most of them foolish, and random drivers, to compare explorations on.

How a sample is drawn (``drawn``), from its seed alone:

1. Steps: seed 0 has one, seed 1 has two, ... seed 9 has ten, seed 10 one again. ``each: brakes``
   makes two of one, so that a few have eleven or twelve.
2. Every step: a reply kind out of all, and by chance needs, ends, a hazard, a caution, a
   confirming question, hands busy. One to three facts of all lifetimes; by chance a derived fact,
   two that exclude one another, a step of "only again".
3. Up to three steps, answers are written freely. From four steps on, ``SPARE`` answers at most that
   are less than good are written in the whole checklist.
4. Neighbours whose kinds allow it are by chance asked together, at one place; a breath that the
   compiler refuses is taken out again.
5. What does not compile is drawn anew from the same random numbers, going on.
6. The driver (``Driver``): up to three steps he says and suffers everything everywhere. From four
   steps on it is drawn at which steps he says which of the words that stay remembered (``STAYS``)
   and which of those that pass (``PASSES``), or has this happen. Answers, their read-backs, the
   ends of sentences, time passing, crashes, releases and what clears a hold are open to everyone.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import yaml

from voicecheck.authoring.explore import Move
from voicecheck.authoring.oracle import Oracle
from voicecheck.authoring.prove import Proof, opened_for, prove
from voicecheck.checklist.breath import CLOSED
from voicecheck.checklist.compile import Context, compile_checklist
from voicecheck.checklist.compiled import Compiled
from voicecheck.checklist.load import load_checklist, load_hazards, load_vehicle
from voicecheck.errors import ChecklistError, NotTogether
from voicecheck.session.state import Phase, State

VEHICLE = """
name: Invented pair
units:
  - kind: tractor
    number: HL-1
    axles: [{name: steer axle, position: steer, wheels: single, brake: {chamber: "20"}}]
  - {kind: trailer, number: HLT-7K42}
"""
WORDS = ("alfa", "bravo", "charlie", "delta", "golf", "hotel", "india", "lima", "mike", "papa")
MOST = 10  # steps
FREE = 3  # up to so many steps nothing is held back
SPARE = 3
KINDS = ("done", "verdict", "answers", "variants", "group", "measure", "timed", "clocked", "spell",
         "date", "memo", "attest")  # fmt: skip
WEIGHTS = (6, 4, 10, 2, 2, 2, 1, 1, 2, 2, 1, 2)

# Words after which something else is remembered of a step; each of them doubles the states.
STAYS = ("command:not done", "command:cannot see", "command:next place", "command:correction",
         "command:disregard", "named correction")  # fmt: skip
# What leads through a phase of its own and back.
PASSES = ("doubtful", "command:stand by", "command:end inspection", "command:memo", "lost",
          "not heard", "told", "early")  # fmt: skip
TOLD = ("say again", "explain", "location", "read back", "brief", "full", "time left", "quiet",
        "hands busy")  # fmt: skip


@dataclass(frozen=True)
class Driver:
    """What this driver says, and what befalls him, at which step. ``pairs`` None: all, anywhere."""

    pairs: frozenset[tuple[str, str]] | None

    @classmethod
    def of(cls, rnd: random.Random, compiled: Compiled, thin: int = 0) -> Driver:
        """``thin``: how often a fuller driver was given up since not all could be explored."""
        ids = [step.id for step in compiled.steps]
        if len(ids) <= FREE and not thin:
            return cls(None)
        stays = [(id, word) for id in ids for word in STAYS if word != "named correction"]
        # at a step the driver names another one; as many of these pairs as of all other words
        stays += [(id, f"command:correction:{rnd.choice(ids)}") for _ in range(4) for id in ids]
        passes = [(id, word) for id in ids for word in PASSES]
        many = max(2, 7 - len(ids) // 2) - thin
        return cls(frozenset(
            rnd.sample(stays, max(1, many)) + rnd.sample(passes, max(1, len(ids) - 2 * thin))
        ))  # fmt: skip

    def does(self, s: State, move: Move) -> bool:
        """Whether this move is the driver's in this state."""
        if self.pairs is None:
            return True
        if move.meaning.startswith("why:") and move.meaning != "why:too dark":
            return False
        return all((s.step, word) in self.pairs for word in _held_back(s, move))


def _held_back(s: State, move: Move) -> Iterator[str]:
    if move.kind == "doubtful":
        yield "doubtful"
    if move.kind == "lost":
        yield "lost"
    if move.kind == "sound" or move.meaning == "unknown words":
        yield "not heard"
    if move.meaning in ("early", "another sentence") or move.said in (
        "the program is told to stop", "the shift ends"
    ):  # fmt: skip
        yield "early"
    if move.meaning.removeprefix("command:") in TOLD:
        yield "told"
    clears = s.phase is Phase.STOPPED and move.meaning == "command:correction"
    if not clears and (
        move.meaning in (*STAYS, *PASSES) or move.meaning.startswith("command:correction:")
    ):
        yield move.meaning


@dataclass(frozen=True)
class Drawn:
    """One of the sample, compiled. ``again``: how many before it did not compile."""

    seed: int
    listing: dict[str, object]
    compiled: Compiled
    oracle: Oracle
    context: Context
    again: int

    def driver(self, thin: int = 0) -> Driver:
        return Driver.of(random.Random(f"{self.seed} {thin}"), self.compiled, thin)

    def prove(
        self, reduced: bool, most_nodes: int = 1_000_000, driver: Driver | None = None
    ) -> Proof:
        return prove(
            self.compiled, self.oracle, opened_for(self.compiled, self.context), reduced=reduced,
            most_nodes=most_nodes, shorten=False, does=driver.does if driver else None,
        )  # fmt: skip

    def kinds(self) -> Counter[str]:
        return Counter(kind for step in self._steps() for kind in KINDS if kind in step)

    def features(self) -> set[str]:
        """What of the language is used in it, as words."""
        found = {f"a fact {f['lasts']}" for f in self._part("facts").values()}
        found |= {name for name in ("derived", "exclusive") if self.listing[name]}
        found |= {f"hazard {s['hazard']}" for s in self._steps() if "hazard" in s}
        found |= {
            name for s in self._steps() for name in
            ("needs", "ends", "confirm", "caution", "each", "only again", "hands busy")
            if s.get(name)
        }  # fmt: skip
        if any(step.together for step in self.compiled.steps):
            found.add("together")
        if len({s["place"] for s in self._steps()}) > 1:
            found.add("two places")
        for step in self._steps():
            for table in (
                step.get("answers", {}),
                *(v["answers"] for v in step.get("variants", ())),
            ):
                found |= {f"answer {word}" for answer in table.values() for word in answer}
        return found

    def _steps(self) -> list[dict[str, Any]]:
        return self.listing["steps"]  # type: ignore[return-value]

    def _part(self, name: str) -> dict[str, dict[str, object]]:
        return self.listing[name]  # type: ignore[return-value]


def drawn(seed: int, most: int = MOST) -> Drawn:
    """The checklist of this seed; ``most``: the greatest number of steps."""
    rnd = random.Random(seed)
    for again in range(1000):
        listing, hazard_text = _text(rnd, 1 + seed % most)
        hazards, _ = load_hazards(yaml.safe_dump(hazard_text), "hazards.yaml")
        context = Context(load_vehicle(VEHICLE, "vehicle.yaml"))
        while True:
            model, lines = load_checklist(yaml.safe_dump(listing), "random.yaml")
            try:
                compiled = compile_checklist(model, lines, "random.yaml", hazards, context)
            except NotTogether as error:
                steps: list[dict[str, object]] = listing["steps"]  # type: ignore[assignment]
                next(s for s in steps if repr(s["id"]) in error.what.partition("with")[2]).pop(
                    "together"
                )
                continue
            except ChecklistError:
                compiled = None
            break
        if compiled is None:
            continue
        return Drawn(seed, listing, compiled, Oracle.of(model, hazards, context), context, again)
    raise AssertionError(f"seed {seed}: nothing compiles")


class _Writer:
    def __init__(self, rnd: random.Random, count: int) -> None:
        self.rnd, self.count = rnd, count
        self.facts = [f"fact {w}" for w in WORDS[: rnd.randint(1, 3)]]
        self.exclusive = len(self.facts) > 1 and rnd.random() < 0.2
        self.spare = 1000 if count <= FREE else SPARE
        self.steps: list[dict[str, object]] = []

    def some(self, p: float) -> list[str]:
        return [f for f in self.facts if self.rnd.random() < p]

    def gives(self, p: float) -> list[str]:
        given = self.some(p)
        if self.exclusive and set(self.facts[:2]) <= set(given):
            given.remove(self.rnd.choice(self.facts[:2]))
        return given

    def bad(self, p: float) -> bool:
        """Whether one more answer that is less than good is written."""
        wanted = self.spare > 0 and self.rnd.random() < p
        self.spare -= wanted
        return wanted

    def answers(self, word: str, n: int) -> dict[str, object]:
        rnd = self.rnd
        made: dict[str, object] = {f"is {word}": {"gives": self.gives(0.6)}}
        if rnd.random() < 0.2:
            made[f"so {word}"] = {"gives": self.gives(0.5)}
        if self.bad(0.4):
            to = rnd.choice([s["id"] for s in self.steps] + [f"step {WORDS[n]}"])
            made["not so"] = {"again": to, "third": rnd.choice(["", "bad"])}
        if self.bad(0.3):
            made["wrong way"] = rnd.choice(
                [{"bad": True}, {"defect": "bad"}, {"defect": "torn"}, {"defect": "dirty"}]
            )
        if self.bad(0.1):
            made["unsure"] = {"repeat": True}
        return made

    def body(self, kind: str, word: str, n: int) -> object:
        rnd, gives = self.rnd, self.gives(0.5)
        defect = rnd.choice(["bad", "torn", "dirty"])
        match kind:
            case "answers":
                return self.answers(word, n)
            case "variants":
                return [{"ask": f"{word} {k}?", "answers": self.answers(f"{word} {k}", n)}
                        for k in ("left", "right")]  # fmt: skip
            case "verdict":
                wrong = {"bent": defect} if self.bad(0.8) else {}
                fitted = {"not fitted": True} if rnd.random() < 0.3 else {}
                return {"gives": gives, "wrong": wrong, **fitted}
            case "group":
                self.spare -= 2
                return {"items": [f"{word} one", f"{word} two"], "wrong": {"out": defect}}
            case "measure":
                return {"unit": "psi", "low": "0", "high": "150", "gives": gives}
            case "timed":
                limit = {"limit": "us-air-7-combination", "given": {"combination": "yes"},
                         "outside": defect} if self.bad(0.7) else {}  # fmt: skip
                return {"unit": "psi", "seconds": 60, "then": "Gauge again?", "low": "0",
                        "high": "150", "gives": gives, **limit}  # fmt: skip
            case "clocked":
                return {"then": "Mark at the end.", "most": 60, "gives": gives}
            case "spell":
                match = {"match": "trailer", "mismatch": defect} if self.bad(0.7) else {}
                return {"least": 4, "most": 4, "gives": gives, **match}
            case "date":
                overdue = {"overdue": defect} if self.bad(0.7) else {}
                return {"what": "Last month", "gives": gives, **overdue}
            case "memo":
                return {}
        self.spare -= kind == "attest"
        return {"gives": gives}

    def step(self, n: int) -> dict[str, object]:
        rnd, word = self.rnd, WORDS[n]
        kind = rnd.choices(KINDS, WEIGHTS)[0]
        while self.spare <= 0 and kind in ("group", "attest", "verdict"):
            kind = rnd.choices(KINDS, WEIGHTS)[0]
        step: dict[str, object] = {
            "id": f"step {word}", "place": rnd.choice(["cab", "yard"]), "item": word,
            "source": ["x"], kind: self.body(kind, word, n),
        }  # fmt: skip
        if kind != "variants":
            step["ask"] = f"{word}?"
        if kind == "measure" and rnd.random() < 0.5:
            step |= {"each": "brakes", "item": f"{{position}} {word}", kind: {
                "unit": "in", "fractions": True, "low": "0", "high": "4", "limit": "stroke",
                "outside": "bad", "gives": self.gives(0.5)}}  # fmt: skip
            self.spare -= 2
        if rnd.random() < 0.25:
            step["needs"] = rnd.choice([self.some(0.5), ["either"]])
        if rnd.random() < 0.2:
            step["ends"] = self.some(0.4)
        if rnd.random() < 0.25:
            step["hazard"] = rnd.choice(["crank", "leave", "creep"])
        if rnd.random() < 0.15:
            step["confirm"] = True
        if rnd.random() < 0.1:
            step["caution"] = "Mind your hands."
        if rnd.random() < 0.1:
            step["hands busy"] = True
        if n and self.count > 1 and rnd.random() < 0.06:
            step["only again"] = True
        return step


def _together(rnd: random.Random, steps: list[dict[str, object]]) -> None:
    """By chance a step and the one or two behind it are asked in one sentence."""
    n = 0
    while n < len(steps) - 1:
        parts = steps[n : n + rnd.choice([2, 2, 3])]
        n += 1
        if any(not set(s) & {*CLOSED} or s.get("hazard") == "leave" for s in parts):
            continue
        n += len(parts) - 1
        for k, part in enumerate(parts):
            part["place"] = parts[0]["place"]
            for key in ("confirm", "hands busy", "only again", *(("caution",) if k else ())):
                part.pop(key, None)
            if part.get("hazard") != parts[0].get("hazard") and k:
                part.pop("hazard", None)
            for kind in set(part) & {"done", "verdict", "group"}:
                part[kind] = {**part[kind], "good": [f"{part['item']} good"]}  # type: ignore[dict-item]
        parts[0]["together"] = {"with": [s["id"] for s in parts[1:]], "ask": "All of them?"}


def _text(rnd: random.Random, count: int) -> tuple[dict[str, object], object]:
    """Checklist and hazards, to be written as YAML."""
    w = _Writer(rnd, count)
    lives = ("lasting", "lasting", "until left", "60 s")
    hazards = {
        "crank": {"text": "Cranking", "needs": w.some(0.3), "safe": "Hands off."},
        "creep": {"text": "Creeping", "safe": "Stop.", "never blocked": True},
        "leave": {"text": "Leaving", "needs": w.some(0.3), "safe": "Stop now."},
    }
    defects = {
        "bad": {"text": "It is bad.", "class": "major", "blocks": ["crank"], "source": ["x"]},
        "torn": {"text": "It is torn.", "class": "major", "blocks": rnd.choice([[], ["crank"]]),
                 "source": ["x"], "mended by": "driver"},
        "dirty": {"text": "It is dirty.", "class": "minor", "source": ["x"]},
    }  # fmt: skip
    for n in range(count):
        w.steps.append(w.step(n))
    _together(random.Random(repr(w.steps)), w.steps)
    derived = {"either": {"text": "One of them is so.", rnd.choice(["any", "all"]): w.facts}}
    return {
        "id": "random", "edition": "1", "title": "A random one",
        "places": {"cab": "In the cab", "yard": "In the yard"},
        "facts": {f: {"text": f"It is {f}.", "lasts": rnd.choice(lives)} for f in w.facts},
        "derived": derived if any(s.get("needs") == ["either"] for s in w.steps) else {},
        "exclusive": [w.facts[:2]] if w.exclusive else [],
        "defects": defects, "steps": w.steps,
    }, {"hazards": hazards}  # fmt: skip
