"""From an author's checklist to the steps of one walk: each:, when:, every reply kind."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from voicecheck.checklist.compile import Context, compile_checklist
from voicecheck.checklist.compiled import Compiled, Need
from voicecheck.checklist.load import load_checklist, load_hazards, load_vehicle
from voicecheck.checklist.model import REPLY_KINDS
from voicecheck.checklist.vehicle import positions
from voicecheck.errors import ChecklistError
from voicecheck.run.library import compile_sources, load_sources, read_text, shipped

HERE = Path(__file__).parent
VEHICLE = "tractor-semitrailer"
EVERY = HERE / "good" / "every-kind.yaml"


def every(**context: Any) -> Compiled:
    return compile_sources(load_sources(str(EVERY), VEHICLE), **context)[0]


def ids(compiled: Compiled) -> list[str]:
    return [step.id for step in compiled.steps]


def test_every_reply_kind_compiles() -> None:
    text = EVERY.read_text(encoding="utf-8")
    assert all(f"{kind}:" in text for kind in REPLY_KINDS)
    kinds = {step.kind for step in every().steps}
    assert kinds == set(REPLY_KINDS) - {"variants"}, "variants are answers that rotate"


def test_each_over_the_wheels_of_the_shipped_vehicle() -> None:
    """Two single and four times four dual wheels: counted by hand from the vehicle file."""
    wheels = [id for id in ids(every()) if id.startswith("tread@")]
    assert len(wheels) == 2 + 4 * 4
    assert wheels[:3] == [
        "tread@steer axle left", "tread@steer axle right", "tread@front drive axle left outer",
    ]  # fmt: skip
    step = every().step("tread@rear trailer axle right inner")
    assert step.question == "right rear trailer axle inner. Pass or fail?"
    assert step.item == "Tread, right rear trailer axle inner"
    assert step.gives == ("tyres seen@rear trailer axle right inner",)


def test_each_over_the_brakes_hands_the_chamber_to_the_limit() -> None:
    """Chambers as the shipped vehicle file says: 20 in front, long 30 on the trailer."""
    brakes = [s for s in every().steps if s.id.startswith("stroke@")]
    assert len(brakes) == 10
    readings = {s.id: dict(s.reading.given) for s in brakes if s.reading}
    steer = readings["stroke@steer axle left"]
    assert (steer["chamber type"], steer["long stroke"]) == ("20", "no")
    trailer = readings["stroke@rear trailer axle right"]
    assert (trailer["chamber type"], trailer["long stroke"]) == ("30", "yes")
    assert trailer["axle"] == "trailer"


def test_a_fact_of_each_is_true_when_every_instance_gave_it() -> None:
    compiled = every()
    need = compiled.need("strokes seen")
    leaves = need.leaves()
    assert len(leaves) == 10
    assert all(leaf.startswith("strokes seen@") for leaf in leaves)
    assert need.holds(leaves.__contains__)
    for missing in leaves:
        assert not need.holds(lambda leaf, missing=missing: leaf != missing)
    assert {compiled.facts[leaf].lasts for leaf in leaves} == {"lasting"}


def test_axles_and_lamps() -> None:
    assert [id for id in ids(every()) if id.startswith("axle@")] == [
        "axle@steer axle", "axle@front drive axle", "axle@rear drive axle",
        "axle@front trailer axle", "axle@rear trailer axle",
    ]  # fmt: skip
    assert [id for id in ids(every()) if id.startswith("lamp@")] == [
        "lamp@front marker", "lamp@middle marker", "lamp@rear marker",
    ]  # fmt: skip
    group = every().step("group")
    assert [item.name for item in group.items] == [
        "tail lamps", "stop lamps", "turn lamps", "marker lamps", "plate lamp",
    ]  # fmt: skip


def test_positions_that_there_are_not() -> None:
    vehicle = load_vehicle(
        read_text(shipped("checklists") / "vehicles" / f"{VEHICLE}.yaml"), "vehicle"
    )
    with pytest.raises(ChecklistError, match="no kind of position"):
        positions(vehicle, "seats")
    with pytest.raises(ChecklistError, match="no area with lamps"):
        positions(vehicle, "lamps.underneath")
    assert positions(vehicle, "lamps.front") == (), "an area, but not of this trailer"


@pytest.mark.parametrize(
    ("context", "present", "absent"),
    [
        ({}, {"summer", "valve"}, {"winter", "canada", "maryland", "lift", "early"}),
        ({"season": "winter"}, {"winter"}, {"summer"}),
        ({"jurisdiction": "CA"}, {"canada"}, {"maryland"}),
        ({"jurisdiction": "CA-ON"}, {"canada"}, {"maryland"}),
        ({"jurisdiction": "US-MD"}, {"maryland"}, {"canada"}),
        ({"jurisdiction": "US"}, set(), {"maryland", "canada"}),
        ({"settings": {"air lines": "before the lock"}}, {"early"}, set()),
        ({"settings": {"of another list": "whatever"}}, {"summer"}, {"early"}),
    ],
)
def test_when(context: dict[str, Any], present: set[str], absent: set[str]) -> None:
    found = set(ids(every(**context)))
    assert present <= found
    assert not absent & found


def test_a_setting_has_only_its_choices() -> None:
    with pytest.raises(ChecklistError, match="no choice 'sometime'") as caught:
        every(settings={"air lines": "sometime"})
    assert caught.value.line == 7
    assert "before the lock, after the lock" in caught.value.how
    assert every().settings == {"air lines": "after the lock"}


def test_derived_facts_are_resolved_to_plain_ones() -> None:
    need = every().need("held")
    assert need.how == "any"
    assert need.parts[0] == Need("fact", "parked")
    assert need.holds({"parked"}.__contains__)
    assert not need.holds({"looked"}.__contains__)


def test_reading_keeps_its_exact_range_and_units() -> None:
    step = every().step("stroke@steer axle left")
    assert step.reading is not None
    assert (step.reading.low, step.reading.high) == (Decimal(0), Decimal(5))
    assert [unit.symbol for unit in step.reading.units] == ["in", "mm"]
    timed = every().step("timed").reading
    assert timed is not None
    assert (timed.seconds, timed.second_ask) == (60, "And now?")


def test_rotating_questions_refuse_pass() -> None:
    step = every().step("variants")
    assert step.confirm
    assert [variant.brief for variant in step.variants] == ["Lever. In or out?", "Lever?"]


# -- groups of more than five --------------------------------------------------------------------

TRIDEM = """
name: Invented tridem
units:
  - kind: trailer
    number: HLT-1
    axles:
      - {name: front axle, position: trailer, wheels: dual, short: front}
      - {name: middle axle, position: trailer, wheels: dual, short: middle}
      - {name: rear axle, position: trailer, wheels: dual, short: rear}
    lamps: {rear: [a, b, c, d, e, f, g, h, i, j, k]}
"""
GROUPS = """
id: groups
edition: "1"
title: Groups
places: {side: At the side}
facts: {}
defects: {flat: {text: It is flat., class: minor, source: [x]}}
steps:
  - id: tires
    place: side
    item: Left tires
    carry: left tires
    ask: Left tires. All good, or which?
    brief: Tires?
    source: [x]
    group: {each: tires.left, wrong: {flat: flat}}
  - id: lamps
    place: side
    item: Lamps
    ask: "Lamps, {items}. All good?"
    source: [x]
    group: {each: lamps.rear, wrong: {out: flat}}
"""


def groups() -> Compiled:
    model, lines = load_checklist(GROUPS, "groups.yaml")
    hazards, _ = load_hazards("hazards: {}", "hazards.yaml")
    context = Context(load_vehicle(TRIDEM, "vehicle.yaml"))
    return compile_checklist(model, lines, "groups.yaml", hazards, context)


def test_a_group_of_more_than_five_becomes_even_parts_in_the_order_of_the_vehicle() -> None:
    compiled = groups()
    assert ids(compiled) == ["tires", "tires 2", "lamps", "lamps 2", "lamps 3"]
    names = [[item.name for item in step.items] for step in compiled.steps]
    assert names[0] == ["left front outer", "left front inner", "left middle outer"]
    assert names[1] == ["left middle inner", "left rear outer", "left rear inner"]
    assert ["".join(part) for part in names[2:]] == ["abcd", "efgh", "ijk"]
    assert {step.written for step in compiled.steps} == {"tires", "lamps"}


def test_each_part_says_what_it_is_about_and_has_a_name_of_its_own() -> None:
    compiled = groups()
    first, second = compiled.step("tires"), compiled.step("tires 2")
    assert first.question.startswith(
        "Left front outer, left front inner and left middle outer. Left tires."
    )
    assert second.variants[0].brief.startswith("Left middle inner, ")
    assert compiled.step("lamps 3").question == "Lamps, i, j and k. All good?"
    assert (first.item, second.item) == ("Left tires", "Left tires, part two")
    assert (first.carry, second.carry) == ("left tires", "left tires 2")


# -- the shipped checklist ---------------------------------------------------------------------


@pytest.fixture(scope="module")
def couple() -> Compiled:
    return compile_sources(load_sources("couple", VEHICLE))[0]


def test_hazards_of_the_shipped_checklist_bring_their_needs(couple: Compiled) -> None:
    """An author cannot forget them: they come from the shared hazards file."""
    crank = couple.step("raise legs")
    for need in ("coupling seen locked", "tractor parked", "trailer held", "people clear"):
        assert need in crank.needs
    assert crank.caution.startswith("Feet planted.")
    assert not couple.hazards["back under"].never_blocked
    assert couple.hazards["draw out"].never_blocked


def test_every_major_defect_stops_the_vehicle_from_leaving(couple: Compiled) -> None:
    """In the core any open major blocks ``leave``; the list says so too, for the reader."""
    majors = [d for d in couple.defects.values() if d.severity == "major"]
    assert majors
    for defect in majors:
        assert "leave" in defect.scope, defect.id


def test_every_step_has_a_source_and_a_sentence_short_enough(couple: Compiled) -> None:
    for step in couple.steps:
        assert step.sources, step.id
        for variant in step.variants:
            assert len(variant.ask.split()) <= 16, (step.id, variant.ask)


def test_hand_valve_step_only_where_there_is_one(couple: Compiled, tmp_path: Path) -> None:
    assert "test three" in ids(couple)
    file = tmp_path / "plain.yaml"
    text = (shipped("checklists") / "vehicles" / f"{VEHICLE}.yaml").read_text(encoding="utf-8")
    file.write_text(text.replace(", hand valve", ""), encoding="utf-8")
    plain = compile_sources(load_sources("couple", str(file)))[0]
    assert "test three" not in ids(plain)


EXCLUDING = """
id: small
edition: "1"
title: A small walk
places: {yard: In the yard}
facts:
  left open: {text: It was left open., lasts: lasting}
  closed: {text: It is closed., lasts: lasting}
exclusive: [[left open, closed]]
steps:
  - {id: open, place: yard, item: "{position}", each: axles, ask: Left open.,
     source: [practice], done: {gives: [left open]}}
  - {id: close, place: yard, item: Closing, ask: Now closed., source: [practice],
     done: {gives: [closed]}}
"""


def test_what_each_position_gives_excludes_what_the_fact_excludes() -> None:
    model, lines = load_checklist(EXCLUDING, "list.yaml")
    context = Context(load_vehicle(TRIDEM, "vehicle.yaml"))
    hazards, _ = load_hazards("hazards: {}", "hazards.yaml")
    compiled = compile_checklist(model, lines, "list.yaml", hazards, context)
    assert set(compiled.exclusive) == {
        (f"left open@{axle.name}", "closed")
        for unit in context.vehicle.units
        for axle in unit.axles
    }
