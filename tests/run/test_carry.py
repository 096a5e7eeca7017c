"""What one inspection hands on to the next: answers not asked again, defects still open (H8, H9).

Common practice, no source: an item seen good in the coupling need not be walked to again in the
inspection of the same morning. That a trip inspection holds for 24 hours: National Safety Code
Standard 13, Ontario daily-inspection guide p. 4.
"""

from __future__ import annotations

import hashlib
import io
import json
import re
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from pypdf import PdfReader

from tests.run.day import VEHICLE, Day
from voicecheck.checklist.load import load_order
from voicecheck.errors import ChecklistError, OrderInvalid
from voicecheck.journal.file import read as read_journal
from voicecheck.journal.file import read_bytes
from voicecheck.journal.verify import verify_journal
from voicecheck.report.build import build, to_json
from voicecheck.report.html import to_html
from voicecheck.report.pdf import to_pdf
from voicecheck.run.due import Due, due
from voicecheck.run.library import Sources, find, load_sources, read_text
from voicecheck.run.opening import Setting, read_inspection
from voicecheck.run.past import all_past
from voicecheck.session import records as r
from voicecheck.session.fold import fold

HEAD = """
id: {id}
edition: "1"
title: {title}
places: {{near: At the near side, far: At the far side, cab: In the cab}}
facts:
  parked: {{text: Both knobs are out., lasts: until left}}
  right trailer: {{text: The trailer is the ordered one., lasts: lasting}}
  legs down: {{text: The legs are down., lasts: lasting}}
  people clear: {{text: Nobody is near., lasts: 60 s}}
{facts}
defects:
  flat: {{text: A tire is flat., class: major, blocks: [crank], source: ["49 CFR 393.75(a)"]}}
  torn: {{text: A mud flap is torn., class: minor, source: ["common practice, no source"]}}
  overdue: {{text: The inspection is overdue., class: major, source: ["49 CFR 396.17"]}}
steps:
"""
HAZARDS = """
hazards:
  crank: {text: Cranking, needs: [parked], safe: Both hands off.}
  draw out: {text: Drawing out, needs: [parked], safe: Stop., moving: true, parts: true}
  leave: {text: Leaving, needs: [parked], safe: Stop now.}
"""
NUMBER = """
  - {id: number, place: near, item: Trailer number, ask: "Trailer number?", source: [practice],
     spell: {least: 4, most: 4, match: trailer}}
"""
PARK = """
  - {id: park, place: cab, item: Park, ask: "Both knobs?", source: [practice],
     answers: {both out: {gives: [parked]}}}
"""
SAME = """
  - {id: left tires %s, place: near, item: Left tires, carry: tires left, ask: "Left tires?",
     source: [practice], group: {items: [%s], wrong: {flat: flat}}}
  - {id: flaps %s, place: far, item: Mud flaps, carry: mud flaps, ask: "Mud flaps?",
     source: [practice], verdict: {wrong: {torn: torn}}}
  - {id: sticker %s, place: far, item: Sticker, carry: sticker, ask: "Valid until?",
     source: [practice], date: {what: Last month, overdue: overdue}}
"""
LEAVE = """
  - {id: statement, place: cab, item: Statement, hazard: leave, ask: "Is it so?",
     source: [practice], attest: {}}
"""
CRANK = """
  - {id: crank, place: far, item: Legs, hazard: crank, ask: "Legs up?", source: [practice],
     done: {}}
"""
DRAW_OUT = """
  - {id: draw, place: cab, item: Draw out, hazard: draw out, ask: "Clear of it?",
     source: [practice], done: {}}
"""
ITEMS = "front outer, front inner, rear outer, rear inner"


def listed(id: str, *steps: str) -> Sources:
    """A checklist of these steps for the shipped tractor-semitrailer."""
    text = HEAD.format(id=id, title=f"The list {id}", facts="") + "".join(steps)
    shipped = load_sources("couple", VEHICLE)
    return replace(shipped, checklist=text, hazards=HAZARDS, checklist_file=f"{id}.yaml")


def same(where: str, items: str = ITEMS) -> str:
    return SAME % (where, items, where, where)


HITCH = listed("hitch", NUMBER, same("here"), PARK, LEAVE)
TRIP = listed("trip", NUMBER, same("there"), PARK, CRANK, LEAVE)
PART = listed("part", PARK, DRAW_OUT)


@pytest.fixture
def day(tmp_path: Path) -> Day:
    return Day(tmp_path)


# -- answers -----------------------------------------------------------------------------------


def test_good_answers_are_carried_and_told_once(day: Day) -> None:
    earlier = day.whole(HITCH)
    assert earlier.outcome == "complete"
    later = day.open(TRIP, 0.5)
    assert later.said[0] == "Carried from hitch at 06:00: Left tires, Mud flaps, Sticker."
    later.lead()
    assert later.outcome == "complete"
    assert later.asked == ["number", "park", "crank", "statement"]
    assert later.answer("left tires there").outcome == "carried"
    assert sum(text.startswith("Carried") for text in later.said) == 1


def test_a_carried_answer_cites_the_record_and_the_hash_of_its_line(day: Day) -> None:
    """R1: the other inspection's folder, record and chain hash, looked up in its journal."""
    earlier = day.whole(HITCH)
    carried = day.open(TRIP, 0.5).carried()["left tires there"]
    lines = read_bytes(earlier.folder).splitlines()
    assert carried.origin.inspection == earlier.folder.name
    line = lines[carried.origin.record - 1]
    assert hashlib.sha256(line).hexdigest() == carried.origin.digest
    told = json.loads(line)
    assert (told["kind"], told["body"]["step"]) == ("answered", "left tires here")
    assert told["wall"] == carried.origin.wall
    following = json.loads(lines[carried.origin.record])
    assert following["prev"] == carried.origin.digest


def test_it_gives_no_fact(day: Day) -> None:
    """H8. A step that gives a fact cannot be written with carry at all."""
    day.whole(HITCH)
    later = day.open(TRIP, 0.5)
    assert not later.session.state.facts
    for answer in later.session.state.answers.values():
        assert answer.gives == ()
    giving = PARK.replace("item: Park,", "item: Park, carry: park,")
    with pytest.raises(ChecklistError, match="carried forward and gives"):
        day.open(listed("wrong", giving), 1)


def test_a_correction_by_name_asks_it_here(day: Day) -> None:
    day.whole(HITCH)
    later = day.open(TRIP, 0.5)
    later.lead(until="park")
    later.reply("correction left tires")
    assert later.session.state.step == "left tires there"
    later.reply("all good")
    assert later.answer("left tires there").outcome == "good"
    later.lead()
    assert later.outcome == "complete"


@pytest.mark.parametrize(
    ("hours", "carried"),
    [(23.9, True), (24.1, False)],  # the first answer is given seconds after the day began
)
def test_at_most_24_hours(day: Day, hours: float, carried: bool) -> None:
    day.whole(HITCH)
    later = day.open(TRIP, hours)
    assert ("left tires there" in later.carried()) is carried


def test_a_validity_date_is_not_carried_into_the_next_day(day: Day) -> None:
    day.whole(HITCH)
    assert "sticker there" in day.open(TRIP, 17.9).carried()
    next_day = day.open(TRIP, 18.1).carried()
    assert "sticker there" not in next_day
    assert "left tires there" in next_day


def test_24_hours_count_from_the_first_answer_however_often_it_is_handed_on(day: Day) -> None:
    first = day.whole(HITCH)
    second = day.whole(TRIP, 12)
    assert "left tires there" in second.carried()
    third = day.open(HITCH, 23)
    carried = third.carried()["left tires here"]
    assert carried.origin.inspection == first.folder.name
    assert not day.open(HITCH, 25).carried()


@pytest.mark.parametrize(
    "but",
    [
        {"left tires here": ["cannot see"]},
        {"left tires here": ["front outer flat", "nothing else"], "statement": ["end inspection"]},
        {"left tires here": ["not done", "too dark"]},
    ],
)
def test_only_good_answers_are_carried(day: Day, but: dict[str, list[str]]) -> None:
    earlier = day.open(HITCH)
    earlier.lead(but, until="statement")
    if not earlier.outcome:
        earlier.reply("end inspection", "affirm")
    earlier.keep()
    carried = day.open(TRIP, 0.5).carried()
    assert "left tires there" not in carried
    assert "flaps there" in carried


def test_the_latest_answer_counts_not_the_last_good_one(day: Day) -> None:
    day.whole(HITCH)
    later = day.open(TRIP, 1)
    later.lead(until="park")
    later.reply("correction left tires", "cannot see", "end inspection", "affirm")
    later.keep()
    assert "left tires here" not in day.open(HITCH, 2).carried()
    assert "flaps here" in day.open(HITCH, 2).carried()


def test_an_unfinished_inspection_hands_on_no_answer(day: Day) -> None:
    earlier = day.open(HITCH)
    earlier.lead(until="statement")
    earlier.keep()
    assert not day.open(TRIP, 0.5).carried()


def test_only_the_same_units(day: Day) -> None:
    day.whole(HITCH)
    other = day.open(TRIP, 0.5, units=(("trailer", "HLT-9Z99"),))
    assert not other.carried()
    spelled_otherwise = day.open(TRIP, 0.5, units=(("trailer", "hlt 7k42"),))
    assert spelled_otherwise.carried()


def test_only_the_same_jurisdiction(day: Day) -> None:
    day.whole(HITCH)
    assert not day.open(TRIP, 0.5, jurisdiction="CA-ON").carried()


def test_only_the_same_items(day: Day) -> None:
    """A list that asks for more wheels than were looked at asks for all of them."""
    day.whole(HITCH)
    more = listed("more", same("there", f"{ITEMS}, spare wheel"), PARK, LEAVE)
    fewer = listed("fewer", same("there", "front outer, front inner"), PARK, LEAVE)
    assert "left tires there" not in day.open(more, 0.5).carried()
    assert "left tires there" in day.open(fewer, 0.5).carried()


def test_one_question_is_not_answered_by_a_part_of_a_long_group(day: Day) -> None:
    """Seven lamps are two questions; a list that asks once for all of them asks again."""
    lamps = """
  - {id: lamps, place: far, item: Lamps, carry: lamps, ask: "Lamps?", source: [practice],
     %s}
"""
    long = lamps % "group: {each: lamps.rear, wrong: {out: torn}}"
    once = listed("once", lamps % "verdict: {wrong: {out: torn}}", PARK)
    names = ["one", "two", "three", "four", "five", "six", "seven"]
    for count, carried in ((5, True), (7, False)):
        there = Day(day.parent / str(count))
        rear = f"rear: [{', '.join(f'{name} lamp' for name in names[:count])}]"
        vehicle = re.sub(r"rear: \[.*?\]", rear, HITCH.vehicle)
        there.whole(replace(listed("long", long, PARK), vehicle=vehicle))
        later = there.open(replace(once, vehicle=vehicle), 1)
        assert bool(later.carried()) is carried


def test_nothing_is_carried_across_a_parting_of_the_units(day: Day) -> None:
    day.whole(HITCH)
    day.whole(PART, 1)
    assert not day.open(TRIP, 2).carried()
    day.whole(HITCH, 3)
    assert day.open(TRIP, 4).carried(), "coupled and looked at again"


def test_an_uncoupling_that_was_only_begun_parts_them_too(day: Day) -> None:
    day.whole(HITCH)
    begun = day.open(PART, 1)
    begun.reply("end inspection", "affirm")
    begun.keep()
    assert not day.open(TRIP, 2).carried()


def test_a_coupling_takes_nothing_over_and_hands_on_what_came_after_it(day: Day) -> None:
    """Whoever couples had uncoupled, whether he led a list for it or not."""
    tires, flaps, sticker = same("here").split("  - ")[1:]
    join = listed("join", PARK, f"  - {tires}", DRAW_OUT, f"  - {flaps}", f"  - {sticker}")
    day.whole(HITCH)
    first = day.whole(join, 1)
    assert not first.carried()
    carried = day.open(TRIP, 2).carried()
    assert set(carried) == {"flaps there", "sticker there"}, "the tires were seen before"
    assert {x.origin.inspection for x in carried.values()} == {first.folder.name}


def test_the_shipped_coupling_hands_on_lamps_and_tires(day: Day) -> None:
    day.whole("couple")
    assert not day.open("couple", 1).carried()
    trip = day.open("trip-inspection", 1)
    assert {x.name for x in trip.opened.carried} == {
        "lamps front top", "lamps left", "lamps right", "lamps rear", "tires left", "tires right",
    }  # fmt: skip


def test_practice_and_inspections_never_meet(day: Day) -> None:
    day.whole(HITCH, operating="practice")
    assert not day.open(TRIP, 0.5).carried()
    assert day.open(TRIP, 0.5, operating="practice").carried()
    other = Day(day.parent / "other")
    other.whole(HITCH, but={"left tires here": ["front outer flat", "nothing else"],
                            "statement": ["end inspection"]})  # fmt: skip
    practice = other.open(TRIP, 0.5, operating="practice")
    assert not practice.opened.carried
    assert not practice.opened.defects


@pytest.mark.parametrize("source", ["rehearsal", "wav"])
def test_recorded_replies_hand_on_nothing(day: Day, source: str) -> None:
    day.whole(HITCH, operating="practice", source=source)
    assert not day.open(TRIP, 0.5, operating="practice").carried()
    day.whole(HITCH, 1, operating="practice")
    assert not day.open(TRIP, 1.5, operating="practice", source=source).carried()


def test_another_unit_than_ordered_takes_back_what_was_carried(day: Day) -> None:
    earlier = day.whole(HITCH)
    later = day.open(TRIP, 0.5)
    assert later.carried()
    later.reply("zulu quebec niner niner", "affirm")
    taken = [x.step for x in later.records if isinstance(x, r.Withdrawn)]
    assert set(taken) == set(later.carried())
    later.lead(until="park")
    assert "left tires there" in later.asked
    later.lead({"statement": ["end inspection"]}, until="statement")
    later.reply("end inspection", "affirm")
    later.keep()
    assert later.outcome == "not finished"
    handed_on = day.open(HITCH, 1).carried().values()
    assert {x.origin.inspection for x in handed_on} == {earlier.folder.name}, "nothing of its own"


def test_a_damaged_journal_hands_on_no_answer(day: Day) -> None:
    earlier = day.whole(HITCH)
    journal = earlier.folder / "journal.jsonl"
    data = journal.read_bytes()
    journal.write_bytes(data[:-40] + b"x" + data[-39:])
    assert not day.open(TRIP, 0.5).carried()
    journal.write_bytes(data.replace(b'"carried":[]', b'"carry":[]', 1))
    assert not day.open(TRIP, 0.5).carried()
    assert day.told == [
        f"({earlier.folder.name} cannot be read: "
        "nothing is carried from it, no open defect either.)"
    ]


# -- defects -----------------------------------------------------------------------------------

FLAT = {"left tires here": ["front outer flat", "nothing else"], "statement": ["end inspection"]}


def test_a_stop_stays_a_stop(day: Day) -> None:
    """H9, H4: open from the first word, for what it blocks, until it is released."""
    earlier = day.whole(HITCH, but=FLAT)
    assert earlier.outcome == "stopped"
    later = day.open(TRIP, 30)  # a day later: answers are too old, defects are not
    assert later.said[0] == (
        "Still open from hitch at 06:00: Front outer: A tire is flat. Stopping defect."
    )
    (found,) = later.session.state.defects
    assert (found.step, found.item, found.severity) == ("left tires there", "front outer", "major")
    later.lead(until="crank")
    assert later.session.state.phase == "stopped"
    assert "left tires there" in later.asked
    later.reply("release", "affirm", "Pat Example, shop, tire changed")
    assert later.session.state.step == "left tires there", "the same test again"
    later.lead()
    assert later.outcome == "complete"
    later.keep()
    assert not day.open(HITCH, 31).opened.defects, "released is closed for all that follow"
    compiled, records = read_inspection(later.folder)
    report = build(records, compiled)
    (defect,) = report.defects
    assert defect.origin is not None
    assert defect.origin.inspection == earlier.folder.name
    assert defect.status == "released"
    assert "released in person" in report.headline.text


def test_a_stop_is_not_lost_over_inspections_that_cannot_test_it(day: Day) -> None:
    day.whole(HITCH, but=FLAT)
    day.whole(PART, 1)
    later = day.open(PART, 2)
    (found,) = later.session.state.defects
    assert found.step == ""
    later.lead()
    later.keep()
    assert later.outcome == "stopped"
    compiled, records = read_inspection(later.folder)
    report = build(records, compiled)
    assert report.headline.verdict == "stopped"
    assert report.defects[0].place == ""
    assert b"Front outer: A tire is flat" in to_html(report)
    third = day.open(TRIP, 3)
    assert third.session.state.defects[0].step == "left tires there"


def test_a_stop_without_its_test_here_can_be_released_here(day: Day) -> None:
    day.whole(HITCH, but=FLAT)
    away = listed("away", PARK, LEAVE)
    later = day.open(away, 1)
    later.lead(until="statement")
    assert later.session.state.phase == "stopped"
    later.reply("release", "affirm", "Pat Example, shop, tire changed")
    assert later.session.state.step == "statement"
    later.lead()
    assert later.outcome == "complete"


def test_a_defect_stays_with_each_unit_it_may_belong_to(day: Day) -> None:
    day.whole(HITCH, but=FLAT)
    assert day.open(TRIP, 1, units=(("trailer", "HLT-9Z99"),)).opened.defects
    both = (("tractor", "HL-9"), ("trailer", "HLT-9Z99"))
    assert not day.open(TRIP, 1, units=both).opened.defects


def test_a_defect_of_a_wheel_stays_with_its_unit(day: Day) -> None:
    """The vehicle says whose wheel it is: the tractor goes on without it, the trailer does not."""
    wheels = same("here").replace(f"items: [{ITEMS}]", "each: tires.left")
    assert wheels != same("here")
    day.whole(listed("wheels", wheels, PARK, LEAVE), but=FLAT)
    assert not day.open(TRIP, 1, units=(("trailer", "HLT-9Z99"),)).opened.defects
    day.whole(TRIP, 1, units=(("trailer", "HLT-9Z99"),))
    assert not day.open(TRIP, 2, units=(("trailer", "HLT-9Z99"),)).opened.defects
    (flat,) = day.open(TRIP, 3, units=(("tractor", "HL-9"),)).opened.defects
    assert flat.unit == "HLT-7K42"
    assert len(day.open(TRIP, 4).opened.defects) == 1, "and it is there when both come together"


def test_a_minor_defect_is_told_until_its_step_is_good(day: Day) -> None:
    day.whole(HITCH, but={"flaps here": ["torn"]})
    later = day.open(TRIP, 1)
    assert "Still open from hitch at 06:00: A mud flap is torn." in later.said
    assert "flaps there" not in later.carried()
    later.lead()
    assert later.outcome == "complete"
    later.keep()
    assert not day.open(HITCH, 2).opened.defects


STROKES = """
  - {id: stroke, place: near, item: "{position} stroke", each: brakes.steer, ask: "Stroke?",
     source: [practice], measure: {unit: in, fractions: true, low: "0", high: "4"}}
"""
BALANCE = """
reckonings:
  - {id: balance, text: Left and right stroke., rule: difference, from: [stroke], outside: torn,
     source: [practice]}
"""
EVEN = {f"stroke@steer axle {side}": ["one inch"] for side in ("left", "right")}
UNEVEN = EVEN | {"stroke@steer axle right": ["two inches"]}


def test_a_minor_defect_of_a_figure_is_told_until_the_figure_is_within(day: Day) -> None:
    """1 in apart, and 1/4 in is allowed (COMAR 11.22.02.06 J(3), taken as advice)."""
    brakes = listed("brakes", NUMBER, STROKES, PARK, LEAVE, BALANCE)
    first = day.whole(brakes, but=dict(UNEVEN))
    assert [x.reckoning for x in first.session.state.defects] == ["balance"]
    again = day.whole(brakes, 1, but=dict(UNEVEN))
    assert [x.reckoning for x in again.opened.defects] == ["balance"]
    assert len(again.session.state.defects) == 1  # found again, it is the same one
    assert [x.step for x in day.whole(HITCH, 2).opened.defects] == [""]
    mended = day.whole(brakes, 3, but=dict(EVEN))
    assert [x.step for x in mended.opened.defects] == ["stroke@steer axle left"]
    assert not day.open(HITCH, 4).opened.defects


def test_an_unfinished_inspection_hands_on_its_defects(day: Day) -> None:
    earlier = day.open(HITCH)
    earlier.lead(FLAT, until="park")
    earlier.keep()
    assert [x.defect for x in day.open(TRIP, 1).opened.defects] == ["flat"]


def test_a_long_history_is_not_read_whole(day: Day, monkeypatch: pytest.MonkeyPatch) -> None:
    """What lies behind an inspection of the same units was handed on to it."""
    from voicecheck.run import past

    day.whole(HITCH, but=FLAT)
    for hour in range(1, 200, 20):
        day.whole(PART, hour)
    read: list[Path] = []
    whole = past.read_past

    def seen(folder: Path) -> past.Past | None:
        read.append(folder)
        return whole(folder)

    monkeypatch.setattr(past, "read_past", seen)
    later = day.open(TRIP, 300)
    assert [x.defect for x in later.opened.defects] == ["flat"]
    assert len(read) == 1


# -- journal and report ------------------------------------------------------------------------


def test_the_journal_replays_to_the_same_bytes(day: Day) -> None:
    """J3, with what was carried in the first record."""
    day.whole(HITCH, but={"flaps here": ["torn"]})
    later = day.whole(TRIP, 1)
    compiled, records = read_inspection(later.folder)
    assert list(records) == later.records
    assert fold(compiled, records) == later.session.state
    first = build(records, compiled)
    again = build([record for _, record in read_journal(later.folder).records], compiled)
    assert to_json(first) == to_json(again)
    assert to_html(first) == to_html(again)


def test_the_report_names_the_other_inspections_record(day: Day) -> None:
    earlier = day.whole(HITCH)
    later = day.whole(TRIP, 1)
    report = build(later.records, later.compiled)
    assert report.headline.verdict == "complete"
    step = next(x for x in report.steps if x.id == "left tires there")
    assert step.state == "carried"
    (answer,) = step.answers
    assert answer.origin is not None
    carried = later.carried()["left tires there"]
    assert answer.origin.inspection == earlier.folder.name
    assert (answer.origin.record, answer.origin.digest) == (
        carried.origin.record,
        carried.origin.digest,
    )
    assert 1 in answer.origin.records
    page = to_html(report).decode("utf-8")
    assert f"From the inspection {earlier.folder.name}" in page
    assert carried.origin.digest in page
    assert "Carried forward" in page
    sheets = PdfReader(io.BytesIO(to_pdf(report))).pages
    printed = "".join("".join(sheet.extract_text().split()) for sheet in sheets)
    assert f"Fromtheinspection{earlier.folder.name}" in printed
    assert carried.origin.digest in printed


def test_verify_looks_up_what_was_carried(day: Day) -> None:
    earlier = day.whole(HITCH, but={"flaps here": ["torn"]})
    later = day.whole(TRIP, 1)

    def codes() -> list[tuple[str, bool]]:
        return [(x.code, x.grave) for x in verify_journal(later.folder)[0]]

    assert codes() == []
    journal = earlier.folder / "journal.jsonl"
    whole = journal.read_bytes()
    journal.write_bytes(whole.replace(b'"all good"', b'"all wood"'))
    assert ("carried-differs", True) in codes()
    journal.unlink()
    assert codes() == [("carried-absent", False)]


# -- orders ------------------------------------------------------------------------------------

ORDER = load_order(read_text(find("van-load", "orders")), "van-load.yaml")


def test_the_order_is_compared_with_what_is_spelled(day: Day) -> None:
    right = day.open("couple", order=ORDER)
    assert dict(right.opened.units) == {
        "tractor": "HL-208", "trailer": "HLT-7K42",
        "tractor plate": "TR 40-918", "trailer plate": "SM 7719",
    }  # fmt: skip
    assert ("load weight", "38200 lb") in right.opened.order
    right.reply("seven kilo four two", "affirm")
    assert right.session.state.true("right trailer")
    wrong = day.open("couple", order=ORDER)
    wrong.reply("zulu quebec niner niner", "affirm")
    assert "The order says 7 K 4 2." in wrong.said
    assert not wrong.session.state.true("right trailer")
    wrong.lead(until="back under")
    holds = [x for x in wrong.records if isinstance(x, r.Hold)]
    assert any("right trailer" in x.missing for x in holds), "a mismatch holds"
    assert wrong.asked.count("trailer number") == 2, "and leads back to the number"


def test_the_order_is_in_the_report(day: Day) -> None:
    made = day.whole(HITCH, order=ORDER)
    report = build(made.records, made.compiled)
    assert ("destination", "Dock 4, Pinder Creek") in [
        (x.name, x.value) for x in report.subject.order
    ]
    assert report.subject.carrier == "Harrow Lake Haulage"


def test_an_order_for_another_combination_is_refused(day: Day) -> None:
    text = "order: A\nunits: {dolly: {number: D-1}}\n"
    with pytest.raises(OrderInvalid, match="names a dolly"):
        day.open(HITCH, order=load_order(text, "order.yaml"))


@pytest.mark.parametrize(
    ("text", "line", "part"),
    [
        ("order: A\nunits: {}\n", 2, "at least 1"),
        ("order: A\nunits:\n  wagon: {number: W-1}\n", 3, "wagon"),
        ("order: A\nunits:\n  trailer: {}\n", 3, "a number, a plate, or both"),
        ("order: A\nunits:\n  trailer: {number: T-1}\nload: {weight: 38000}\n", 4, "weight"),
        ("order: A\nunits:\n  trailer: {number: T-1}\nload: {weight: 48 ft}\n", 4, "no mass"),
        ("order: A\nunits:\n  trailer: {number: T-1}\nload: {length: 0 ft}\n", 4, "above zero"),
        ("order: A\nunits:\n  trailer: {number: T-1}\ndriver: X\n", 4, "driver"),
        ("order: [\n", 2, "YAML"),
    ],
)
def test_a_wrong_order_is_told_with_its_line(text: str, line: int, part: str) -> None:
    with pytest.raises(OrderInvalid, match=part) as caught:
        load_order(text, "order.yaml")
    assert (caught.value.code, caught.value.line) == ("order-invalid", line)
    assert str(caught.value).startswith(f"order.yaml:{line}: ")


# -- papers ------------------------------------------------------------------------------------


def test_an_overdue_sticker_blocks_leaving_and_nothing_else(day: Day) -> None:
    """Issue: an overdue sticker blocks ``leave``, not coupling. 49 CFR 396.17(c)."""
    coupling = day.open("couple")
    coupling.lead({"sticker": ["march twenty twenty five"]}, until="statement")
    stops = [x for x in coupling.records if isinstance(x, r.Hold) and x.hold == "stop"]
    assert [x.step for x in stops] == ["statement"]
    moved = {"back under", "first pull", "raise legs", "test one", "test four"}
    assert moved <= set(coupling.asked)
    coupling.reply("end inspection", "affirm")
    assert coupling.outcome == "stopped"


def test_setting_has_no_order_by_itself() -> None:
    assert Setting(operating="inspection", source="typed").order is None


# -- a whole day -------------------------------------------------------------------------------


def test_the_whole_day_with_the_shipped_lists(day: Day) -> None:
    """Coupled, inspected, driven, looked at on the road, reported: one folder, shipped lists.

    On the road within 50 miles, then 3 hours or 150 miles (49 CFR 392.9(b)); the report of 49 CFR
    396.11 at the end; no answer of the coupling is asked twice.
    """
    coupled = day.whole("couple", order=ORDER)
    trip = day.whole("trip-inspection", 0.7, order=ORDER)
    handed_on = {
        "lamps front top", "lamps left", "lamps right", "lamps rear", "tires left", "tires right",
    }  # fmt: skip
    assert {x.name for x in trip.opened.carried} == handed_on
    assert {x.origin.inspection for x in trip.opened.carried} == {coupled.folder.name}
    assert not {x.step for x in trip.opened.carried} & set(trip.asked)
    assert (coupled.outcome, trip.outcome) == ("complete", "complete")

    (check,) = _due(day, "cargo check", 1)
    assert "within 50 mi" in check.text
    looked = day.whole("en-route", 2.5, order=ORDER)
    assert looked.outcome == "complete"
    (check,) = _due(day, "cargo check", 2.6)
    assert "within 150 mi" in check.text
    assert check.inspection == looked.folder.name

    reported = day.whole("post-trip", 9, order=ORDER)
    assert reported.outcome == "complete"
    assert _due(day, "cargo check", 9.1) == []
    assert not day.open("trip-inspection", 23, order=ORDER).carried(), "driven since"
    for made in (coupled, trip, looked, reported):
        assert verify_journal(made.folder)[0] == []
        compiled, records = read_inspection(made.folder)
        assert build(records, compiled).headline.verdict == "complete"


def _due(day: Day, what: str, hours: float) -> list[Due]:
    now = (day.began + timedelta(hours=hours)).isoformat()
    return [x for x in due(*all_past(day.parent), now) if x.what == what]
