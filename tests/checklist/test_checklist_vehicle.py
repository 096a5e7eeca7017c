"""Vehicle files: what they may say, what steps expand over, what limits are told.

Expected names and counts are worked out by hand from the descriptions, which are invented.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from voicecheck.checklist.compiled import Compiled
from voicecheck.checklist.load import load_vehicle
from voicecheck.checklist.vehicle import Vehicle, positions
from voicecheck.errors import ChecklistError
from voicecheck.limits.judge import judge_family
from voicecheck.run.library import compile_sources, load_sources, names, read_text, shipped
from voicecheck.units import Quantity

SHIPPED = ["doubles", "flatbed", "reefer", "tractor-semitrailer", "tractor-tridem"]


def vehicle(name: str) -> Vehicle:
    return load_vehicle(read_text(shipped("checklists") / "vehicles" / f"{name}.yaml"), name)


def said(name: str, of: str) -> list[str]:
    return [position.said for position in positions(vehicle(name), of)]


def test_what_is_shipped() -> None:
    assert names("vehicles") == SHIPPED


@pytest.mark.parametrize("name", SHIPPED)
def test_every_shipped_vehicle_has_positions_of_every_kind(name: str) -> None:
    for of in (
        "axles", "wheels", "wheels.left", "wheels.tractor.right", "brakes", "brakes.steer",
        "tires.left", "tires.tractor.right", "lamps.rear", "lamps.tractor.front", "units",
        "trailers",
    ):  # fmt: skip
        found = positions(vehicle(name), of)
        assert found, of
        ids = [position.id for position in found]
        assert len(set(ids)) == len(ids), "an id names one place"
        assert len({p.said for p in found}) == len(found), "so do the words"


# -- walking order ---------------------------------------------------------------------------------


def test_a_tandem_and_a_tridem_give_different_walks() -> None:
    assert said("tractor-semitrailer", "tires.left") == [
        "left front outer", "left front inner", "left rear outer", "left rear inner",
    ]  # fmt: skip
    assert said("tractor-tridem", "tires.left") == [
        "left front outer", "left front inner", "left middle outer", "left middle inner",
        "left rear outer", "left rear inner",
    ]  # fmt: skip
    tandem, tridem = (
        [s.id for s in compile_sources(load_sources("couple", name))[0].steps]
        for name in ("tractor-semitrailer", "tractor-tridem")
    )
    # six tires on a side are more than a group of five: the walk has a second look on each side
    assert [id for id in tridem if id.startswith("left tires")] == ["left tires", "left tires 2"]
    assert [id for id in tandem if id.startswith("left tires")] == ["left tires"]


def test_walking_order_is_down_the_left_side_and_up_the_right() -> None:
    """Common practice, no source: one walk round the vehicle, without going back."""
    assert said("reefer", "wheels.left") == [
        "left steer axle",
        "left front drive axle outer", "left front drive axle inner",
        "left rear drive axle outer", "left rear drive axle inner",
        "left front trailer axle", "left rear trailer axle",
    ]  # fmt: skip
    assert said("reefer", "wheels.right") == [
        "right rear trailer axle", "right front trailer axle",
        "right rear drive axle outer", "right rear drive axle inner",
        "right front drive axle outer", "right front drive axle inner",
        "right steer axle",
    ]  # fmt: skip
    assert said("reefer", "tires.tractor.right") == [
        "right rear drive outer", "right rear drive inner",
        "right front drive outer", "right front drive inner", "right steer",
    ]  # fmt: skip


def test_doubles_need_no_words_of_their_own() -> None:
    assert said("doubles", "units") == ["tractor", "first trailer", "dolly", "second trailer"]
    assert said("doubles", "trailers") == ["first trailer", "second trailer"]
    assert said("doubles", "axles") == [
        "steer axle", "drive axle", "first trailer axle", "dolly axle", "second trailer axle",
    ]  # fmt: skip
    assert said("doubles", "tires.right") == [
        "right second trailer outer", "right second trailer inner",
        "right dolly outer", "right dolly inner",
        "right first trailer outer", "right first trailer inner",
    ]  # fmt: skip
    assert said("doubles", "brakes.dolly") == ["left dolly axle", "right dolly axle"]
    assert said("doubles", "brakes.second-trailer.left") == ["left second trailer axle"]
    assert said("doubles", "lamps.dolly.rear") == [
        "dolly tail lamps", "dolly stop lamps", "dolly turn lamps",
    ]  # fmt: skip
    assert vehicle("doubles").numbers()[-2:] == (
        ("second trailer", "HLP-2C88"), ("second trailer plate", "T94 033"),
    )  # fmt: skip
    assert vehicle("doubles").features >= {"doubles", "dolly", "spring suspension"}


def test_what_the_vehicle_lacks_is_no_position() -> None:
    assert said("reefer", "brakes.dolly") == []
    assert said("reefer", "wheels.second-trailer.left") == []
    assert said("reefer", "wheels.first-trailer.left") == [
        "left front trailer axle", "left rear trailer axle",
    ]  # fmt: skip
    assert said("reefer", "tie-down kinds") == []


@pytest.mark.parametrize(
    "of",
    ["seats", "wheels.upper", "wheels.left.right", "brakes.tractor.dolly", "lamps", "lamps.nose",
     "tires.eighth-trailer", "units.left.left"],
)  # fmt: skip
def test_a_misspelt_position_is_refused_and_never_empty(of: str) -> None:
    with pytest.raises(ChecklistError):
        positions(vehicle("reefer"), of)


# -- what a list makes of it -----------------------------------------------------------------------

LIST = """
id: small
edition: "1"
title: A small walk
places: {yard: In the yard}
facts:
  parked: {text: It is parked., lasts: lasting}
  strokes good: {text: Each stroke is within its limit., lasts: lasting}
defects:
  long: {text: The stroke is too long., class: major, source: [practice]}
steps:
  - id: park
    place: yard
    item: Parking
    ask: "Set?"
    source: [practice]
    answers: {set: {gives: [parked]}}
  - id: stroke
    place: yard
    item: "Stroke, {position}"
    each: OF
    ask: "{position}. Stroke?"
    source: [practice]
    measure: {unit: in, limit: LIMIT, outside: long, gives: [strokes good]}
  - id: lamps
    place: yard
    item: Lamps
    ask: "Lamps?"
    source: [practice]
    group: {each: GROUP, wrong: {out: long}}
  - {id: end, place: yard, item: End, NEEDS ask: "Go?", source: [practice], answers: {gone: {}}}
"""


def small(
    tmp_path: Path,
    name: str = "reefer",
    of: str = "brakes",
    group: str = "lamps.rear",
    limit: str = "stroke",
    needs: str = "",
) -> Compiled:
    text = LIST.replace("OF", of).replace("GROUP", group).replace("LIMIT", limit)
    file = tmp_path / "small.yaml"
    file.write_text(text.replace("NEEDS", needs), encoding="utf-8")
    return compile_sources(load_sources(str(file), name))[0]


def test_a_list_over_what_the_vehicle_lacks_is_left_out(tmp_path: Path) -> None:
    ids = [s.id for s in small(tmp_path, of="brakes.dolly", group="lamps.dolly.rear").steps]
    assert ids == ["park", "end"]


def test_a_list_over_nothing_gives_no_fact(tmp_path: Path) -> None:
    """ "Every instance gave it" must not be true for want of instances."""
    needs = "needs: [strokes good],"
    assert small(tmp_path, needs=needs)
    with pytest.raises(ChecklistError, match="'strokes good', which no step gives"):
        small(tmp_path, of="brakes.dolly", needs=needs)


def test_a_limit_is_told_what_it_asks_of_the_vehicle_as_a_whole(tmp_path: Path) -> None:
    def given(name: str, limit: str) -> dict[str, str]:
        steps = small(tmp_path, name=name, of="axles.steer", limit=limit).steps
        return dict(next(s.reading for s in steps if s.reading).given)

    lash = given("reefer", "steering-lash")
    assert (lash["wheel diameter"], lash["power steering"]) == ("18 in", "yes")
    assert "governor cut-out" not in lash, "only what the limit asks for"
    assert given("doubles", "leak-applied")["combination"] == "three or more units"


# -- given: what limits are told, judged by the rows themselves ------------------------------------


@pytest.mark.parametrize(
    ("name", "of", "bound", "over"),
    [
        # 49 CFR 393.47(e) clamp table as copied in COMAR 11.22.02.06 J Table 1, and for the long
        # stroke of type 30 in two private charts; the reading over it is 1/16 in more
        ("tractor-semitrailer", "brakes.steer", "1 3/4 in", "1 13/16 in"),  # 20 standard
        ("tractor-semitrailer", "brakes.drive", "2 in", "2 1/16 in"),  # 30 standard
        ("tractor-semitrailer", "brakes.trailer", "2 1/2 in", "2 9/16 in"),  # 30 long
        ("flatbed", "brakes.steer", "2 in", "2 1/16 in"),  # 24 long
        ("doubles", "brakes.dolly", "2 in", "2 1/16 in"),
    ],
)
def test_the_stroke_of_each_brake_meets_its_own_row(
    name: str, of: str, bound: str, over: str
) -> None:
    for position in positions(vehicle(name), of):
        for reading, verdict in ((bound, "within"), (over, "outside")):
            judged = judge_family("stroke", Quantity.parse(reading), position.given, "US")
            assert judged.verdict == verdict


@pytest.mark.parametrize(
    ("name", "of", "family", "least", "under"),
    [
        # 49 CFR 393.47(d): drum at least 1/4 in away from the steer axle, disc 1/8 in anywhere
        ("flatbed", "brakes.drive", "lining", "1/4 in", "7/32 in"),
        ("reefer", "brakes.steer", "lining", "1/8 in", "3/32 in"),
        ("reefer", "brakes.trailer", "lining", "1/8 in", "3/32 in"),
        # 49 CFR 393.75(b), (c): 4/32 in on the front wheels, 2/32 in elsewhere
        ("doubles", "wheels.steer", "tread", "4/32 in", "3/32 in"),
        ("doubles", "wheels.dolly", "tread", "2/32 in", "1/32 in"),
    ],
)
def test_lining_and_tread_by_axle_and_kind_of_brake(
    name: str, of: str, family: str, least: str, under: str
) -> None:
    for position in positions(vehicle(name), of):
        for reading, verdict in ((least, "within"), (under, "outside")):
            judged = judge_family(family, Quantity.parse(reading), position.given, "US")
            assert judged.verdict == verdict


ONE = """
name: Invented tractor
units:
  - kind: tractor
    number: HL-1
    AIR
    axles: [{position: steer, wheels: single, brake: {BRAKE}}]
CARGO
"""


def one(brake: str = 'chamber: "20"', air: str = "", cargo: str = "") -> Vehicle:
    text = ONE.replace("BRAKE", brake).replace("AIR", air).replace("CARGO", cargo)
    return load_vehicle(text, "vehicle.yaml")


def test_a_chamber_of_no_table_is_judged_by_its_rated_stroke() -> None:
    """49 CFR 396 Appendix A 1.a(5)(b): 80 percent of the stroke marked: 2 in of 2 1/2 in."""
    (left, _) = positions(one("chamber: other, rated stroke: 2 1/2 in"), "brakes")
    assert judge_family("stroke", Quantity.parse("2 in"), left.given, "US").verdict == "within"
    over = judge_family("stroke", Quantity.parse("2 1/16 in"), left.given, "US")
    assert over.verdict == "outside"


def test_a_long_stroke_of_three_inches_has_its_own_row() -> None:
    """Type 24, rated 3 in: 2 1/2 in, from a maker's manual (private copy)."""
    (left, _) = positions(one('chamber: "24", long stroke: 3 inch'), "brakes")
    found = judge_family("stroke", Quantity.parse("2 1/2 in"), left.given, "US")
    assert (found.verdict, found.guide) == ("within", True)


def test_what_the_file_does_not_say_cannot_be_judged() -> None:
    (left, _) = positions(one(), "brakes")
    pull = judge_family("hand-pull", Quantity.parse("1 in"), left.given, "US")
    assert (pull.verdict, pull.missing) == ("cannot judge", ("slack adjuster",))
    known = one(air="air: {reservoirs: 5600 in3}").given()
    assert known == {"combination": "no", "actual reservoir volume": "5600 in3"}
    found = judge_family("build-up-design", Quantity.parse("20 s"), known, "US")
    assert (found.verdict, found.missing) == ("cannot judge", ("required reservoir volume",))


def test_reservoirs_reach_the_build_up_formula() -> None:
    """49 CFR 571.121 S5.1.1: actual capacity x 25 / required: 6000 x 25 / 5000 = 30 s."""
    known = one(air="air: {reservoirs: 6000 in3, required: 5000 in3}").given()
    for reading, verdict in (("30 s", "within"), ("31 s", "outside")):
        found = judge_family("build-up-design", Quantity.parse(reading), known, "US")
        assert found.verdict == verdict


@pytest.mark.parametrize(
    ("month", "made"), [("1997-02", "no"), ("1997-03", "yes"), ("1998-01", "yes")]
)
def test_made_from_march_1997(month: str, made: str) -> None:
    """Federal Register 61:6173: air-braked vehicles made on or after 1 March 1997."""
    assert one(air=f"built: {month}").given()["made from march 1997"] == made


CARGO = """
cargo:
  weight: 42000 lb
  length: 40 ft
  blocked: false
  tie-down kinds:
    - {name: straps, kind: strap, size: "4", use: over}
    - {name: chains, kind: chain, size: 3/8, grade: "70", use: direct, marked: 6600 lb}
    - {name: old chains, kind: chain, size: 1/2, use: direct}
    - {name: wire, kind: rope, size: 1/4, use: over}
"""


def test_tie_downs_reach_the_tables() -> None:
    """49 CFR 393.108 tables (private copies): 4 in webbing 4,000 lb, 3/8 in chain of grade 70
    6,600 lb, unmarked 1/2 in chain as grade 30 4,500 lb, 1/4 in wire rope 1,400 lb."""
    load = one(cargo=CARGO)
    found = {p.id: dict(p.given) for p in positions(load, "tie-down kinds")}
    assert [found[name]["use"] for name in found] == ["over", "direct", "direct", "over"]
    assert found["chains"]["marked limit"] == "6600 lb"
    for name, family, figure in (
        ("straps", "wll-webbing", "4000 lb"), ("chains", "wll-chain", "6600 lb"),
        ("old chains", "wll-chain", "4500 lb"), ("wire", "wll-wire-rope", "1400 lb"),
    ):  # fmt: skip
        judged = judge_family(family, Quantity.parse(figure), found[name], "US")
        assert judged.limit is not None
        assert str(judged.bound) == figure
    assert "tie-downs" in load.features
    assert load.cargo is not None
    assert str(load.cargo.weight) == "42000 lb"


# -- mistakes --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('brake: {chamber: "31"}', "chamber type cannot be '31'"),
        ('brake: {chamber: "20", long stroke: maybe}', "long stroke"),
        ("brake: {chamber: other, rated stroke: 3}", "has no unit"),
        ("brake: {chamber: other, rated stroke: 3 psi}", "no length above zero"),
        ("brake: {chamber: other, rated stroke: 0 in}", "no length above zero"),
        ("brake: {chamber: other, rated stroke: 1/3 in}", "1/3"),
        ("color: red", "Extra inputs"),
    ],
)
def test_a_mistake_in_a_brake_is_told_with_its_line(text: str, told: str) -> None:
    file = f"""name: Invented tractor
units:
  - kind: tractor
    number: HL-1
    axles:
      - {{position: steer, wheels: single, {text}}}
"""
    with pytest.raises(ChecklistError, match=told) as caught:
        load_vehicle(file, "vehicle.yaml")
    assert caught.value.line == 6


@pytest.mark.parametrize(
    ("units", "told"),
    [
        ("[]", "at least 1"),
        ("[{kind: trailer, number: a}, {kind: tractor, number: b}]", "tractor comes first"),
        ("[{kind: tractor, number: a}, {kind: dolly, number: b}]", "between two trailers"),
        (
            "[{kind: trailer, number: a, axles: [{position: steer, wheels: single}]}]",
            "an axle of a trailer is trailer",
        ),
        (
            "[{kind: trailer, number: a, axles: [{name: one axle, position: trailer, wheels: dual},"
            " {name: one axle, position: trailer, wheels: dual}]}]",
            "two axles are called 'one axle'",
        ),
        ("[{kind: trailer, number: a, air: {system: dual}}]", "belong to the tractor"),
        ("[{kind: tractor, number: a, steering: {power: true, wheel: 18}}]", "has no unit"),
        ("[{kind: tractor, number: a, built: 2019}]", "built"),
        ("[{kind: tractor, number: a, built: 2019-13}]", "built"),
    ],
)
def test_a_combination_that_there_cannot_be(units: str, told: str) -> None:
    with pytest.raises(ChecklistError, match=told):
        load_vehicle(f"name: Invented\nunits: {units}\n", "vehicle.yaml")
