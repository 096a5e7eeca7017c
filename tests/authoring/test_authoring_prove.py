"""Prove: kept on what is shipped, broken where a checklist or the core is, reduced as unreduced.

The invariants are quoted from docs/invariants.md by their numbers.
"""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from tests.authoring.random_checklists import VEHICLE
from tests.checklist.test_checklist_compile import EXCLUDING, GROUPS, TRIDEM
from tests.long import agreement, mutants
from tests.session.test_dialogues import ISSUED
from voicecheck.authoring.explore import Moves, quick
from voicecheck.authoring.oracle import Oracle
from voicecheck.authoring.prove import Proof, dialogue, opened_for, prove, prove_model
from voicecheck.checklist.compile import Context, compile_checklist
from voicecheck.checklist.load import load_checklist, load_hazards, load_vehicle
from voicecheck.reply.grammar import parse, samples
from voicecheck.run.library import names
from voicecheck.session import answering, replying, session
from voicecheck.session.state import Phase, State
from voicecheck.session.turn import Turn

ROOT = Path(__file__).parents[2]
# Proven by hand: voicecheck prove NAME --vehicle doubles (docs/measurements.md).
LONG = {"couple-dolly", "uncouple-dolly"}


@cache
def shipped(name: str) -> Proof:
    w = mutants.written(name)
    return prove(w.compiled, w.oracle, opened_for(w.compiled, w.context))


@pytest.mark.slow
@pytest.mark.parametrize("name", [*sorted({*names("checklists")} - LONG), "small", "day", "breath"])
def test_nothing_breaks_what_is_shipped(name: str) -> None:
    proof = shipped(name)
    assert [(f.breach, dialogue(proof, f)[-4:]) for f in proof.found] == []
    assert proof.kept
    assert proof.graph.started == {step.id for step in proof.compiled.steps}
    # 135 for each pair of steps of the coupling when this was written, where 2 to the number of
    # steps would be 60 billion. Seconds stand in docs/measurements.md.
    if name == "couple":
        assert proof.graph.transitions < 200 * len(proof.compiled.steps) ** 2


@pytest.mark.slow
def test_reduced_and_unreduced_agree_on_random_checklists() -> None:
    """A sample of 20, two of each size up to ten steps; tests/long/agreement.py compares 500."""
    rows = [agreement.compared(seed, most=700) for seed in range(20)]
    whole = [row for row in rows if row.whole]
    assert [row for row in whole if not row.agree] == []
    assert len(whole) >= 15
    assert sum(row.steps > 5 for row in whole) >= 5
    assert sum(bool(row.unreduced) for row in whole) >= 3  # else the agreement would say little


@pytest.mark.slow
def test_more_states_of_a_class_reach_further_and_break_nothing() -> None:
    w = mutants.written("small")
    proof = prove(w.compiled, w.oracle, opened_for(w.compiled, w.context), deep=2)
    assert proof.kept
    assert proof.graph.classes > len(shipped("small").graph.nodes)
    assert proof.graph.classes < len(proof.graph.nodes) <= 2 * proof.graph.classes


@pytest.mark.slow
def test_seeded_faults_in_the_taking_of_a_breath_are_noticed() -> None:
    w = mutants.written("breath")
    every = [f for f in mutants.faults(w) if f.operator in ("a breath", "asked with others")]
    assert len(every) > 15
    assert [f.where for f in every[::3] if not mutants.noticed(w, f)] == []


@pytest.mark.slow
def test_a_sample_of_seeded_faults_is_noticed() -> None:
    """Every Nth of all that the operators make; all of them by tests/long/mutants.py."""
    w = mutants.written("small")
    every = mutants.faults(w)
    sample = every[:: max(1, len(every) // 20)][:20]
    survivors = [f"{f.operator}: {f.where}" for f in sample if not mutants.noticed(w, f, 1500)]
    assert len(sample) == 20
    assert len(survivors) <= 1, survivors


# -- openings with what an earlier inspection handed on ------------------------------------------


def _day(text: str = "", reduced: bool = True) -> Proof:
    """A small list whose tires are carried, under a carried stop."""
    model, lines = load_checklist(text or CARRYING, "day.yaml")
    free = DAY_HAZARDS.replace("needs: [parked], ", "") if text else DAY_HAZARDS
    hazards, _ = load_hazards(free, "hazards.yaml")
    context = Context(load_vehicle(VEHICLE, "vehicle.yaml"))
    return prove_model(model, lines, "day.yaml", hazards, context, reduced=reduced, carried=True)


DAY_HAZARDS = """
hazards:
  crank: {text: Cranking, needs: [parked], safe: Both hands off.}
  leave: {text: Leaving, needs: [parked], safe: Stop now.}
"""
CARRYING = """
id: day
edition: "1"
title: A day
places: {near: At the near side}
facts:
  parked: {text: Both knobs are out., lasts: until left}
defects:
  flat: {text: A tire is flat., class: major, blocks: [crank], source: [practice]}
steps:
  - {id: number, place: near, item: Trailer number, ask: "Number?", source: [practice],
     spell: {least: 4, most: 4, match: trailer}}
  - {id: tires, place: near, item: Tires, carry: tires, ask: "Tires?", source: [practice],
     group: {items: [front, rear], wrong: {flat: flat}}}
  - {id: park, place: near, item: Park, ask: "Both knobs?", source: [practice],
     answers: {both out: {gives: [parked]}}}
  - {id: crank, place: near, item: Legs, hazard: crank, ask: "Legs up?", source: [practice],
     done: {}}
  - {id: statement, place: near, item: Statement, hazard: leave, ask: "So?", source: [practice],
     attest: {}}
"""


def test_a_carried_opening_keeps_every_claim() -> None:
    """H1 to H9 from an opening with a carried answer and a carried stop."""
    proof = _day()
    assert len(proof.opened.carried) == 1
    assert len(proof.opened.defects) == 1
    assert [(f.breach, dialogue(proof, f)) for f in proof.found] == []
    assert proof.graph.started == {"number", "tires", "park", "crank", "statement"}
    blocked = [n for n in proof.graph.nodes.values() if n.state.phase == Phase.STOPPED]
    assert {n.state.step for n in blocked if n.state.hold == "stop"} >= {"statement"}


@pytest.mark.slow
def test_a_carried_opening_of_the_smallest_list_unreduced() -> None:
    """Number, tires and statement only, every state: the same verdicts."""
    parts = re.split(r"^(?=  - )", CARRYING, flags=re.M)
    smallest = "".join(x for x in parts if not x.startswith(("  - {id: park", "  - {id: crank")))
    whole, reduced = _day(smallest, reduced=False), _day(smallest)
    assert not whole.graph.cut
    assert whole.kept
    assert whole.verdicts == reduced.verdicts


@pytest.mark.parametrize(
    ("claim", "where", "wrong"),
    [
        ("H9", "take_over", lambda turn, opened: None),
        ("H8", "withdraw", None),
    ],
)
def test_what_a_core_does_wrong_with_it_is_noticed(
    claim: str, where: str, wrong: object, monkeypatch: pytest.MonkeyPatch
) -> None:
    """H8: carried answers that stand for another unit. H9: defects that are dropped."""
    whole = Turn.withdraw

    def keeps(turn: Turn, steps: object, why: str) -> tuple[str, ...]:
        return () if why == "another unit" else whole(turn, steps, why)  # type: ignore[arg-type]

    monkeypatch.setattr(Turn, where, wrong or keeps)
    proof = _day()
    assert not proof.verdicts[claim]


def test_a_stop_that_blocks_too_much_is_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    """H4: a stop on leaving holds nothing else."""
    monkeypatch.setattr(Turn, "stops_before", lambda turn, step: turn.state.open_stops())
    assert not _day().verdicts["H4"]


@pytest.mark.slow
def test_an_overdue_sticker_blocks_leaving_only() -> None:
    """Every hold by a stop is justified by the author's table; the sticker's names leaving."""
    w = mutants.written("couple")
    assert w.oracle.model.defects["sticker-overdue"].blocks == ("leave",)
    opened = opened_for(w.compiled, w.context, carried=True)
    made = w.compiled.defects["sticker-overdue"]
    stop = replace(opened.defects[0], defect=made.id, text=made.text, scope=made.scope,
                   step="sticker")  # fmt: skip
    # the states next to a good walk, which are found first
    proof = prove(w.compiled, w.oracle, replace(opened, defects=(stop,)), most_nodes=4000)
    assert [(f.breach, dialogue(proof, f)[-4:]) for f in proof.found] == []
    under = {
        n.state.step
        for n in proof.graph.nodes.values()
        if n.state.phase is Phase.ASKED and n.state.open_stops()
    }
    moving = {s.id for s in w.compiled.steps if s.hazard and s.hazard != "leave"}
    assert moving <= under, "each is asked while the sticker is overdue"
    assert not {s.id for s in w.compiled.steps if s.hazard == "leave"} & {
        n.state.step
        for n in proof.graph.nodes.values()
        if n.state.phase is Phase.ASKED and any(d.defect == made.id for d in n.state.open_stops())
    }


# -- what is broken is shown by a dialogue ---------------------------------------------------------

HEAD = """
id: bad
edition: "1"
title: A bad one
places: {cab: In the cab}
facts:
  one: {text: One is so., lasts: lasting}
  two: {text: Two is so., lasts: lasting}
defects:
  torn: {text: It is torn., class: minor, source: [x]}
steps:
"""
HAZARDS = """
hazards:
  leave: {text: Leaving, safe: Stop now.}
"""


def step(id: str, **more: str) -> str:
    lines = [f"  - id: {id}", "    place: cab", f"    item: {id}", f"    ask: {id}?"]
    lines += ["    source: [x]", *(f"    {key}: {value}" for key, value in more.items())]
    return "\n".join([*lines, ""])


def broken(*steps: str, head: str = HEAD) -> Proof:
    model, lines = load_checklist(head + "".join(steps), "bad.yaml")
    hazards, _ = load_hazards(HAZARDS, "hazards.yaml")
    context = Context(load_vehicle(VEHICLE, "vehicle.yaml"))
    return prove_model(model, lines, "bad.yaml", hazards, context)


def test_two_steps_that_undo_each_other_hold_the_third_for_ever() -> None:
    proof = broken(
        step("first", ends="[two]", done="{gives: [one]}"),
        step("second", ends="[one]", done="{gives: [two]}"),
        step("third", needs="[one, two]", done="{}"),
    )
    assert {claim for claim, kept in proof.verdicts.items() if not kept} == {"reached", "cleared"}
    found = next(f for f in proof.found if f.breach.invariant == "cleared")
    lines = dialogue(proof, found)
    assert lines[0].startswith("program: In the cab. first?")
    assert lines[1] == "driver: done"
    assert "Hold. Not established: One is so." in lines[-1]


def test_facts_that_wait_for_each_other_are_never_given() -> None:
    """The program says that it cannot go on and ends; it does not talk in a circle."""
    proof = broken(
        step("first", needs="[two]", done="{gives: [one]}"),
        step("second", needs="[one]", done="{gives: [two]}"),
    )
    assert not proof.verdicts["reached"]
    assert not proof.verdicts["cleared"]
    assert proof.verdicts["endless talk"]


def test_a_core_that_holds_in_a_circle_talks_endlessly(monkeypatch: pytest.MonkeyPatch) -> None:
    w = mutants.written("small")
    monkeypatch.setattr(Turn, "giver", lambda self, step, lacking: step)
    proof = prove(w.compiled, w.oracle, opened_for(w.compiled, w.context), shorten=False)
    assert not proof.verdicts["endless talk"]


def test_a_good_checklist_of_the_same_kind_is_kept() -> None:
    proof = broken(
        step("first", done="{gives: [one]}"),
        step("second", done="{gives: [two]}"),
        step("third", needs="[one, two]", done="{}"),
    )
    assert proof.found == []


def test_parts_of_a_group_and_dates_of_issue_are_explored() -> None:
    for text, vehicle in (
        (GROUPS, TRIDEM),
        (ISSUED.replace("VALID", "24 h").replace("DAY", "true"), TRIDEM),
    ):
        model, lines = load_checklist(text, "list.yaml")
        hazards, _ = load_hazards(HAZARDS, "hazards.yaml")
        context = Context(load_vehicle(vehicle, "vehicle.yaml"))
        proof = prove_model(model, lines, "list.yaml", hazards, context)
        assert [f.breach for f in proof.found] == []
        assert proof.kept


def test_items_that_the_compiler_lost_are_noticed() -> None:
    model, lines = load_checklist(GROUPS, "list.yaml")
    hazards, _ = load_hazards(HAZARDS, "hazards.yaml")
    context = Context(load_vehicle(TRIDEM, "vehicle.yaml"))
    compiled = compile_checklist(model, lines, "list.yaml", hazards, context)
    first = replace(compiled.steps[0], items=compiled.steps[0].items[1:])
    compiled = replace(compiled, steps=(first, *compiled.steps[1:]))
    proof = prove(compiled, Oracle.of(model, hazards, context), opened_for(compiled, context))
    assert [f.breach.what for f in proof.found] == [
        "the items asked for are not those of the vehicle"
    ]


def test_an_overdue_date_of_issue_that_is_taken_is_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(answering, "last_valid", lambda issued, valid: "2099-12-31")
    model, lines = load_checklist(
        ISSUED.replace("VALID", "24 h").replace("DAY", "true"), "list.yaml"
    )
    hazards, _ = load_hazards(HAZARDS, "hazards.yaml")
    proof = prove_model(model, lines, "list.yaml", hazards, Context(load_vehicle(VEHICLE, "v")))
    assert not proof.verdicts["H2"]


def test_a_fact_given_by_position_excludes_too() -> None:
    """Found by a random checklist: the pair was not applied to the instances of ``each:``."""
    model, lines = load_checklist(EXCLUDING, "list.yaml")
    hazards, _ = load_hazards(HAZARDS, "hazards.yaml")
    context = Context(load_vehicle(VEHICLE, "vehicle.yaml"))
    assert prove_model(model, lines, "list.yaml", hazards, context).kept
    compiled = compile_checklist(model, lines, "list.yaml", hazards, context)
    forgot = replace(compiled, exclusive=model.exclusive)
    proof = prove(forgot, Oracle.of(model, hazards, context), opened_for(forgot, context))
    assert not proof.verdicts["exclusive"]


def test_a_note_is_no_answer_while_a_needed_fact_is_gone() -> None:
    """H1. Found by a random checklist: a note asked for was taken without looking again."""
    proof = broken(
        step("first", done="{gives: [one]}"),
        step("second", needs="[one]", memo="{}"),
    )
    assert proof.found == []


def test_a_core_that_forgets_needs_is_shown_by_a_dialogue() -> None:
    """H1: the shortest way is to answer the first step with what gives nothing."""
    w = mutants.written("small")
    fault = next(f for f in mutants.core_faults() if f.where == "missing: nothing is missing")
    assert fault.patch is not None
    with fault.patch():
        proof = prove(w.compiled, w.oracle, opened_for(w.compiled, w.context))
        found = next(f for f in proof.found if f.breach.invariant == "H1")
        lines = dialogue(proof, found)
    assert "while false" in found.breach.what
    assert any(line.startswith("driver: ") for line in lines)
    assert lines[-1].startswith("program: ") or "spoiled" in lines[-1] or "made if" in lines[-1]


# -- the words -------------------------------------------------------------------------------------


def test_looking_named_corrections_up_equals_parsing_them() -> None:
    w = mutants.written("couple")
    compiled = w.compiled
    order = tuple(s.id for s in compiled.steps)
    compared = 0
    for s in compiled.steps[::9]:
        state = State(phase=Phase.ASKED, step=s.id, order=order)
        wanted = replying.expect(compiled, state)[0]
        plain = {words: parse(wanted, words) for form in wanted.forms for words in form.said}
        plain |= {words: parse(wanted, words) for words, _ in samples(wanted, 80)}
        plain["[unk]"] = parse(wanted, "[unk]")
        with quick(compiled):
            looked = session.expect(compiled, state)[0]  # type: ignore[attr-defined]
            for words, understood in plain.items():
                assert session.parse(looked, words) == understood, words  # type: ignore[attr-defined]
                compared += 1
    assert compared > 200


def test_every_meaning_that_may_be_said_is_tried() -> None:
    """The moves of a state hold each meaning of its vocabulary, clear and doubtful."""
    w = mutants.written("small")
    opened = opened_for(w.compiled, w.context)
    moves = Moves(w.compiled, opened)
    for key, node in shipped("small").graph.nodes.items():
        del key
        meanings = {f.meaning for f in replying.expect(w.compiled, node.state)[0].forms}
        tried = {m.meaning for m in moves.of(node)}
        assert meanings <= tried
