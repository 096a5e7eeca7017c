"""Prove on marks and reckonings: reduced as unreduced, kept and broken alike."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from tests.authoring.random_checklists import VEHICLE
from voicecheck.authoring.oracle import Oracle
from voicecheck.authoring.prove import Proof, opened_for, prove
from voicecheck.checklist.compile import Context, compile_checklist
from voicecheck.checklist.load import load_checklist, load_hazards, load_vehicle
from voicecheck.session import answering, fold, reckoning, rules

HAZARDS = """
hazards:
  leave: {text: Leaving, safe: Stop now.}
"""
HEAD = """
id: figures
edition: "1"
title: Figures
places: {cab: In the cab}
facts: {quick: {text: The compressor is quick enough., lasts: lasting}}
defects:
  air-lost: {text: An application takes too much air., class: CLASS, source: [x]}
  slow: {text: It is slow., class: minor, source: [x]}
"""
RECKONED = """
steps:
  - {id: before, place: cab, item: Before, ask: "How many?", source: [x],
     measure: {unit: psi, low: "0", high: "150"}}
  - {id: after, place: cab, item: After, ask: "How many?", source: [x],
     measure: {unit: psi, low: "0", high: "150"}}
LAST
reckonings:
  - {id: kept, text: Pressure kept., rule: pressure kept, from: [before, after],
     outside: air-lost, source: ["49 CFR 393.50(a)"]}
"""
CLOCKED = """
steps:
  - {id: build, place: cab, item: Build, ask: Mark., source: [x],
     clocked: {then: Mark., limit: us-air-4, given: {air system: dual}, outside: slow,
               gives: [quick], most: 60}}
  - {id: last, place: cab, item: Last, needs: [quick], ask: Done., source: [x], done: {}}
"""
LEAVE = '  - {id: go, place: cab, item: Go, hazard: leave, ask: "So?", source: [x], attest: {}}'


def both(text: str) -> tuple[Proof, Proof]:
    model, lines = load_checklist(text, "figures.yaml")
    hazards, _ = load_hazards(HAZARDS, "hazards.yaml")
    context = Context(load_vehicle(VEHICLE, "vehicle.yaml"))
    compiled = compile_checklist(model, lines, "figures.yaml", hazards, context)
    oracle = Oracle.of(model, hazards, context)
    opened = opened_for(compiled, context)
    made = [
        prove(compiled, oracle, opened, reduced=reduced, most_nodes=3000, shorten=False)
        for reduced in (True, False)
    ]
    return made[0], made[1]


LISTS = {
    "marks": HEAD.replace("CLASS", "minor") + CLOCKED,
    "a minor figure": HEAD.replace("CLASS", "minor") + RECKONED.replace("LAST\n", ""),
    "a figure that stops": HEAD.replace("CLASS", "major") + RECKONED.replace("LAST", LEAVE),
}


@pytest.mark.parametrize("name", LISTS)
def test_kept_reduced_and_unreduced(name: str) -> None:
    reduced, full = both(LISTS[name])
    assert [f.breach for f in (*reduced.found, *full.found)] == []
    assert not full.graph.cut
    assert reduced.graph.started == full.graph.started


due = reckoning.due
FAULTS: dict[str, tuple[Any, str, Any]] = {
    "marks": (rules, "MARKS_APART_MS", 0),
    "a minor figure": (answering, "due", lambda *x: ()),
    "a figure that stops": (fold, "_resting_on", lambda compiled, step: ()),
}


@pytest.mark.parametrize("name", LISTS)
def test_broken_reduced_and_unreduced(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    owner, what, value = FAULTS[name]
    monkeypatch.setattr(owner, what, value)
    reduced, full = both(LISTS[name])
    assert reduced.verdicts == full.verdicts
    assert not reduced.kept


def test_a_verdict_that_was_bent_is_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    def bent(*x: Any) -> Any:
        return tuple(
            (part, replace(judged, verdict="within") if judged.verdict == "outside" else judged)
            for part, judged in due(*x)
        )

    monkeypatch.setattr(answering, "due", bent)
    reduced, _ = both(LISTS["a figure that stops"])
    assert not reduced.verdicts["reckoned"]
