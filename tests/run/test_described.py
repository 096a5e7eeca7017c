"""A vehicle described by voice, at the keyboard through the real command, and the file made of it.

What is expected of the file is written from the answers, by hand.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from tests.run.cli_process import command, converse, only
from voicecheck.checklist.load import load_vehicle
from voicecheck.checklist.vehicle import Vehicle, positions
from voicecheck.errors import SetupUnfinished
from voicecheck.journal.file import read as read_journal
from voicecheck.limits.judge import judge_family
from voicecheck.run.described import NEEDED, vehicle_text
from voicecheck.run.library import compile_sources, load_sources
from voicecheck.session import records as r
from voicecheck.units import Quantity

# An invented tractor with a three-axle open trailer of 1992, too old for tape and for an ABS lamp.
SAID = {
    "i heard:": "affirm",
    "number of the tractor": "hotel lima four four",
    "plate of the tractor": "tango romeo one nine",
    "number of the trailer": "hotel seven kilo",
    "plate of the trailer": "sierra mike two zero",
    "steer brakes.": "drum",
    "steer brake chambers": "twenty four",
    "drive brakes.": "drum",
    "drive brake chambers": "type thirty",
    "trailer brakes.": "disc",
    "trailer brake chambers": "cannot see",
    "foot brake only": "hand valve",
    "drive axles. how many": "two axles",
    "drive wheels": "dual",
    "trailer body": "flat bed",
    "length of the trailer": "forty eight feet",
    "width of the trailer": "one zero two inches",
    "rated weight": "six five zero zero zero pounds",
    "trailer axles. how many": "three axles",
    "sliding, or fixed": "fixed",
    "trailer wheels": "single",
    "say affirm": "affirm",
}
IN_TURN = {  # asked of one thing after another, in the same words
    "built in which": ["march two zero two one", "may one nine nine two"],
    "yearly inspection": ["june two zero two six", "cannot see"],
    "suspension": ["air", "springs"],
    "same chambers": ["long stroke", "standard stroke", "cannot see"],
    "slack adjusters": ["automatic", "automatic", "manual"],
}


def driver() -> Callable[[str], str | None]:
    left = {part: list(words) for part, words in IN_TURN.items()}

    def reply(sentence: str) -> str | None:
        heard = sentence.lower()
        for part, words in SAID.items():
            if part in heard:
                return words
        return next((words.pop(0) for part, words in left.items() if part in heard and words), None)

    return reply


@pytest.fixture(scope="module")
def described(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("described")
    talk = converse(folder, "run", "vehicle", "--typed", reply=driver())
    assert talk.status in (0, 1), talk.text + talk.errors
    return folder


@pytest.fixture(scope="module")
def vehicle(described: Path) -> Vehicle:
    file = described / "mine.yaml"
    made = command(described, "vehicle", str(only(described)), "--into", str(file))
    assert made.returncode == 0, made.stderr
    return load_vehicle(file.read_text(encoding="utf-8"), "mine.yaml")


def test_the_file_says_what_was_answered(vehicle: Vehicle) -> None:
    assert vehicle.jurisdiction == "US"
    assert vehicle.numbers() == (
        ("tractor", "HL44"), ("tractor plate", "TR19"),
        ("trailer", "H7K"), ("trailer plate", "SM20"),
    )  # fmt: skip
    assert {"flatbed", "hand valve"} <= vehicle.features
    assert not {"slider", "reefer", "abs lamp"} & vehicle.features
    tractor, trailer = vehicle.units
    assert (tractor.built, tractor.inspected) == ("2021-03", "2026-06")
    assert (tractor.suspension, trailer.suspension) == ("air", "spring")
    assert [str(x) for x in (trailer.length, trailer.width, trailer.gvwr)] == [
        "48 ft", "102 in", "65000 lb",
    ]  # fmt: skip


def test_the_walk_follows_from_it(vehicle: Vehicle) -> None:
    assert [p.said for p in positions(vehicle, "tires.right")] == [
        "right rear", "right middle", "right front",
    ]  # fmt: skip
    rear = [p.said for p in positions(vehicle, "lamps.rear")]
    assert "identification lamps" in rear
    assert "reflective tape" not in rear, "made before December 1993, 49 CFR 393.11(b)"


def test_what_could_not_be_seen_is_not_known(vehicle: Vehicle) -> None:
    """The chamber behind the trailer wheel was not seen: its stroke cannot be judged."""
    (steer, *_) = positions(vehicle, "brakes.steer")
    # type 24 long stroke: 2 in (COMAR 11.22.02.06 J Table 1, footnote)
    assert judge_family("stroke", Quantity.parse("2 in"), steer.given, "US").verdict == "within"
    (trailer, *_) = positions(vehicle, "brakes.trailer")
    found = judge_family("stroke", Quantity.parse("1 in"), trailer.given, "US")
    assert (found.verdict, found.missing) == ("cannot judge", ("chamber type", "long stroke"))
    assert vehicle.units[1].inspected == ""


def test_it_leads_an_inspection(described: Path, vehicle: Vehicle) -> None:
    steps = compile_sources(load_sources("couple", str(described / "mine.yaml")))[0].steps
    (tires,) = (step for step in steps if step.id == "right tires")
    assert [item.name for item in tires.items] == ["right rear", "right middle", "right front"]


def test_a_file_is_not_written_over(described: Path, vehicle: Vehicle) -> None:
    again = command(
        described, "vehicle", str(only(described)), "--into", str(described / "mine.yaml")
    )
    assert again.returncode == 2
    assert "is there already" in again.stderr


def test_a_description_that_is_not_whole_makes_no_file(described: Path, vehicle: Vehicle) -> None:
    compiled, _ = compile_sources(load_sources("vehicle", "tractor-semitrailer"))
    records = tuple(record for _, record in read_journal(only(described)).records)
    with pytest.raises(SetupUnfinished, match="not finished"):
        vehicle_text(compiled, records[:-1])
    for needed in NEEDED:
        lacking = tuple(
            replace(x, outcome="cannot see")
            if isinstance(x, r.Answered) and x.step == needed else x for x in records
        )  # fmt: skip
        with pytest.raises(SetupUnfinished, match=f"Not answered: {needed}"):
            vehicle_text(compiled, lacking)
    other, _ = compile_sources(load_sources("couple", "tractor-semitrailer"))
    with pytest.raises(SetupUnfinished, match="describes no vehicle"):
        vehicle_text(other, records[:1])


@pytest.mark.parametrize("unit", ["tractor", "trailer"])
def test_every_key_of_a_unit_is_asked(unit: str) -> None:
    """The ids of the checklist are the names that the file is made from."""
    ids = {s.id for s in compile_sources(load_sources("vehicle", "tractor-semitrailer"))[0].steps}
    assert {
        f"{unit} {key}" for key in ("number", "plate", "built", "inspected", "suspension")
    } < ids
    assert set(NEEDED) < ids
