"""The lamps that follow from a unit's kind, size and age, against the published charts.

Source of the rows: Texas Department of Public Safety, Commercial Vehicle Enforcement, "Lighting
chart" (dps.texas.gov), which summarises 49 CFR 393.11 Table 1. Its letters: C truck tractors,
D trailers 80 in or more wide, E converter dollies, F trailers under 80 in wide. Each row below is
typed from the chart: item, number, colour, letters. "(Md.)" rows, which the chart leaves without
letters or without a row, are from Maryland COMAR 11.22.04.09 (trailers) and 11.22.02.14 (tractors).
"""

from __future__ import annotations

import pytest

from voicecheck.checklist.lamps import Letter, lamps_of
from voicecheck.checklist.load import load_vehicle
from voicecheck.checklist.vehicle import positions
from voicecheck.errors import ChecklistError
from voicecheck.units import Quantity

FRONT, TOP, SIDE, REAR = "front", "front top", "left side", "rear"

# item of the chart, our word, number in the chart (sides: one each), colour, area, its letters
ROWS = [
    ("Headlamps", "head lamps", "2 at least", "white", FRONT, "C"),
    ("Turn Signal (Front)", "turn lamps", "2", "amber", FRONT, "C"),
    ("Identification lamp (front)", "identification lamps", "3", "amber", FRONT, "C"),
    ("Tail Lamp", "tail lamps", "2", "red", REAR, "CDEF"),
    ("Stop Lamp", "stop lamps", "2", "red", REAR, "CDEF"),
    ("Clearance Lamp, tractor", "clearance lamps", "2", "amber", FRONT, "C"),
    ("Clearance Lamp, trailer", "clearance lamps", "2", "amber", TOP, "D"),
    ("Side Marker, intermediate, over 30 ft", "middle marker", "2", "amber", SIDE, "DF"),
    ("Reflector, intermediate, over 30 ft", "middle reflector", "2", "amber", SIDE, "DF"),
    ("Reflector, rear", "reflectors", "2", "red", REAR, "CDF"),
    ("Reflector, rear side", "rear reflector", "2", "red", SIDE, "DF"),
    ("Reflector, front side", "front reflector", "2", "amber", SIDE, "CDF"),
    ("License plate lamp", "plate lamp", "1", "white", REAR, "CDF"),
    ("Side marker lamp front", "front marker", "2", "amber", SIDE, "CDF"),
    ("Side marker lamp rear", "rear marker", "2", "red", SIDE, "DF"),
    ("Turn Signal rear", "turn lamps", "2", "amber or red", REAR, "CDEF"),
    ("Identification lamp rear (Md.)", "identification lamps", "3", "red", REAR, "D"),
    ("Clearance lamp rear (Md.)", "clearance lamps", "2", "red", REAR, "D"),
    ("Backup lamp", "backup lamp", "1", "white", REAR, "C"),
    # not of the chart: 62 FR 16709 (8 Apr 1997), rear of truck tractors, in force from 1 Jul 1997
    ("Tape, rear of tractor", "reflective tape", "strips", "white, red and white", REAR, "C"),
]  # fmt: skip

# one of each letter, long enough for the intermediate rows; sizes invented
UNITS: dict[Letter, tuple[str, str, str]] = {
    "C": ("tractor", "96 in", "24 ft"),
    "D": ("trailer", "102 in", "53 ft"),
    "E": ("dolly", "96 in", "7 ft"),
    "F": ("trailer", "78 in", "32 ft"),
}


def names(
    kind: str, width: str, length: str, gvwr: str = "9000 lb", built: str = "2015-06"
) -> dict[str, list[str]]:
    found = lamps_of(
        kind, Quantity.parse(width), Quantity.parse(length), Quantity.parse(gvwr), built
    )
    return {area: [lamp.name for lamp in lamps] for area, lamps in found.items()}


@pytest.mark.parametrize("letter", UNITS)
@pytest.mark.parametrize("row", ROWS, ids=[row[0] for row in ROWS])
def test_each_row_of_the_chart(row: tuple[str, ...], letter: Letter) -> None:
    _, word, number, colour, area, letters = row
    kind, width, length = UNITS[letter]
    found = lamps_of(
        kind, Quantity.parse(width), Quantity.parse(length), Quantity.parse("9000 lb"), "2015-06"
    )
    here = [lamp for lamp in found.get(area, ()) if lamp.name == word]
    assert len(here) == (letter in letters)
    for lamp in here:
        counted = {"1": "2"}.get(lamp.number) if area == SIDE else lamp.number
        assert (counted, lamp.colour) == (
            {"2 at least": "at least 2"}.get(number, number), colour,
        )  # fmt: skip


@pytest.mark.parametrize("letter", UNITS)
def test_nothing_is_asked_that_the_chart_does_not_list(letter: Letter) -> None:
    """Below 10,001 lb a trailer has no tape either, so these rows are all."""
    listed = {(word, area) for _, word, _, _, area, letters in ROWS if letter in letters}
    found = names(*UNITS[letter])
    assert found.pop("right side", []) == found.get("left side", [])
    assert {(word, area) for area, words in found.items() for word in words} == listed


# Rows of the chart at the rear of a truck tractor, and whether a driver who tows is asked for them.
# Maryland Transportation Code 22-212 (2019): "any lamp (except tail lamps) that, by reason of its
# location on a vehicle of the combination, would be obscured by another vehicle of the combination,
# need not be lighted"; Texas Transportation Code 547.381 (1995) in like words. Turn lamps are seen
# from beside the trailer (footnote to 393.11 Table 1 on turn signals on the rear of the cab, from
# memory).
BEHIND_THE_NOSE = [
    ("Tail Lamp", "tail lamps", True),
    ("Turn Signal rear", "turn lamps", True),
    ("Stop Lamp", "stop lamps", False),
    ("Reflector, rear", "reflectors", False),
    ("License plate lamp", "plate lamp", False),
    ("Backup lamp", "backup lamp", False),
    ("Tape, rear of tractor", "reflective tape", False),
]
TRACTOR = """
name: Invented tractor
jurisdiction: US
units:
  - {kind: tractor, number: HL-208, built: 2019-05}
"""
TOWED = (
    "  - {kind: trailer, number: HLT-1, width: 102 in, length: 53 ft, built: 2016-09,"
    " gvwr: 65000 lb}\n"
)


@pytest.mark.parametrize(
    ("word", "towing"), [row[1:] for row in BEHIND_THE_NOSE], ids=[r[0] for r in BEHIND_THE_NOSE]
)
def test_a_row_of_the_tractors_rear_alone_and_before_a_trailer(word: str, towing: bool) -> None:
    alone = load_vehicle(TRACTOR, "vehicle.yaml")
    before = load_vehicle(TRACTOR + TOWED, "vehicle.yaml")
    assert word in [p.said.removeprefix("tractor ") for p in positions(alone, "lamps.tractor.rear")]
    asked = [p.said for p in positions(before, "lamps.tractor.rear")]
    assert (word in asked) is towing


def test_the_rear_of_the_trailer_loses_nothing_to_the_tractor() -> None:
    before = load_vehicle(TRACTOR + TOWED, "vehicle.yaml")
    asked = {p.said for p in positions(before, "lamps.rear")}
    assert {"tail lamps", "stop lamps", "turn lamps", "reflectors", "plate lamp"} <= asked


@pytest.mark.parametrize(
    ("built", "taped"), [("1997-06", False), ("1997-07", True), ("2019-05", True), ("", True)]
)
def test_tape_at_the_rear_of_a_tractor(built: str, taped: bool) -> None:
    """62 FR 16709: effective 1 Jul 1997. Where the age is not known it is asked."""
    found = names("tractor", "96 in", "24 ft", built=built)
    assert ("reflective tape" in found["rear"]) is taped


WIDE = {"identification lamps", "clearance lamps"}


@pytest.mark.parametrize(
    ("width", "wide"),
    [
        ("79.99 in", False), ("80 in", True), ("80.01 in", True),
        # 80 in is 2032 mm exactly (international inch, 1959)
        ("2031 mm", False), ("2032 mm", True), ("2033 mm", True),
        ("102 in", True), ("2.6 m", True),
    ],
)  # fmt: skip
def test_at_just_under_and_just_over_eighty_inches(width: str, wide: bool) -> None:
    """ "80 in or more": equal is wide (chart, letter D; COMAR 11.22.04.09)."""
    found = names("trailer", width, "28 ft")
    assert WIDE.issubset(found["rear"]) is wide
    assert WIDE.isdisjoint(found["rear"]) is not wide
    assert ("front top" in found) is wide


@pytest.mark.parametrize(
    ("length", "middle"),
    [
        ("29.99 ft", False), ("30 ft", False), ("30.01 ft", True),
        # 30 ft is 9.144 m exactly
        ("9.143 m", False), ("9.144 m", False), ("9.145 m", True),
        ("360 in", False), ("361 in", True), ("53 ft", True),
    ],
)  # fmt: skip
@pytest.mark.parametrize("width", ["78 in", "102 in"])
def test_at_just_under_and_just_over_thirty_feet(length: str, middle: bool, width: str) -> None:
    """The chart: "one on each side if over 30' in length": equal is not over."""
    found = names("trailer", width, length)
    for side in ("left side", "right side"):
        assert ("middle marker" in found[side]) is middle
        assert ("middle reflector" in found[side]) is middle


@pytest.mark.parametrize(
    ("width", "gvwr", "built", "taped"),
    [
        ("80 in", "10001 lb", "1993-12", True),
        ("79.9 in", "10001 lb", "1993-12", False),
        ("80 in", "10000 lb", "1993-12", False),
        ("80 in", "10001 lb", "1993-11", False),
        ("80 in", "4536 kg", "2020-01", True),  # 10,000 lb is 4535.9 kg
        ("80 in", "4535 kg", "2020-01", False),
    ],
)
def test_tape(width: str, gvwr: str, built: str, taped: bool) -> None:
    """49 CFR 393.11(b), copy revised 18 Nov 2024: 80 in (2,032 mm) or more, over 10,000 lb
    (4,536 kg), made on or after 1 Dec 1993."""
    found = names("trailer", width, "28 ft", gvwr, built)
    for area in ("left side", "right side", "rear"):
        assert ("reflective tape" in found[area]) is taped


TRAILER = """
name: Invented trailer
jurisdiction: {place}
units:
  - {{kind: trailer, number: HLT-1{more}}}
"""


@pytest.mark.parametrize(
    ("more", "missing"),
    [
        ("", "width"),
        (", width: 102 in", "length"),
        (", width: 102 in, length: 53 ft", "built"),
        (", width: 102 in, length: 53 ft, built: 2015-06", "gvwr"),
    ],
)
def test_a_size_that_decides_and_is_not_known_is_asked_for(more: str, missing: str) -> None:
    vehicle = load_vehicle(TRAILER.format(place="US", more=more), "vehicle.yaml")
    with pytest.raises(ChecklistError, match=f"its {missing}, which is not known"):
        positions(vehicle, "lamps.rear")


@pytest.mark.parametrize("place", ["CA", "CA-ON", "EU"])
def test_the_chart_is_not_lent_to_another_country(place: str) -> None:
    sizes = ", width: 102 in, length: 53 ft, built: 2015-06, gvwr: 65000 lb"
    vehicle = load_vehicle(TRAILER.format(place=place, more=sizes), "vehicle.yaml")
    with pytest.raises(ChecklistError, match=f"none are on file for {place}"):
        positions(vehicle, "lamps.rear")
    inside = load_vehicle(TRAILER.format(place="US-MD", more=sizes), "vehicle.yaml")
    assert positions(inside, "lamps.rear")


def test_lamps_listed_by_hand_take_the_place_of_the_chart() -> None:
    vehicle = load_vehicle(
        TRAILER.format(place="CA-ON", more=", lamps: {rear: [tail lamps]}"), "vehicle.yaml"
    )
    assert [p.said for p in positions(vehicle, "lamps.rear")] == ["tail lamps"]
    assert positions(vehicle, "lamps.left-side") == ()
