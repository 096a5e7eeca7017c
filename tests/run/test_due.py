"""``voicecheck due``: what comes next, each line with its source and the record it rests on.

Periods are typed from the sources, not from the table: first cargo check within 50 miles, then 3
hours or 150 miles (49 CFR 392.9(b)); periodic inspection 12 months (49 CFR 396.17); report kept 3
months (49 CFR 396.11(a)(4)); trip inspection 24 hours (Ontario daily-inspection guide p. 4); report
kept 6 months in Canada (National Safety Code Standard 13, from memory).
"""

from __future__ import annotations

import json
import re
import time
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from tests.run.cli_process import command
from tests.run.day import MORNING, Day
from tests.run.test_carry import FLAT, HITCH, LEAVE, NUMBER, PARK, PART, TRIP, listed, same
from voicecheck.journal.format import encode_all
from voicecheck.run.due import Due, due, lines
from voicecheck.run.past import all_past
from voicecheck.session import records as r

TRIP_LIST = listed("trip-inspection", NUMBER, same("there"), PARK, LEAVE)
EN_ROUTE = listed("en-route", PARK)
POST_TRIP = listed("post-trip", PARK)


@pytest.fixture
def day(tmp_path: Path) -> Day:
    return Day(tmp_path)


def at(hours: float) -> str:
    return (datetime.fromisoformat(MORNING) + timedelta(hours=hours)).isoformat()


def found(day: Day, hours: float = 0, now: str = "") -> list[Due]:
    return due(*all_past(day.parent), now or at(hours))


def of(day: Day, what: str, hours: float = 0, now: str = "") -> list[Due]:
    return [x for x in found(day, hours, now) if x.what == what]


def test_nothing_is_due_from_nothing(day: Day) -> None:
    assert found(day) == []
    assert list(lines([])) == ["Nothing is due by the inspections in this folder."]


def test_each_line_rests_on_a_record_that_is_there(day: Day) -> None:
    day.whole(HITCH, but=FLAT)
    day.whole(TRIP_LIST, 1, but={"flaps there": ["torn"], "statement": ["end inspection"]},
              jurisdiction="CA-ON")  # fmt: skip
    day.open(PART, 2).keep()
    made = found(day, 3)
    assert {x.what for x in made} >= {"stop", "defect", "paper", "resume", "retention"}
    past = {p.folder: p for p in all_past(day.parent)[0]}
    for x in made:
        assert x.source
        assert 1 <= x.record <= len(past[x.inspection].records)
    stop = next(x for x in made if x.what == "stop")
    record = past[stop.inspection].records[stop.record - 1]
    assert isinstance(record, r.DefectFound)
    assert record.defect == "flat"
    assert stop.source == "49 CFR 393.75(a)"
    assert "tractor HL-208, trailer HLT-7K42" in stop.text


def test_what_is_due_now_comes_first_then_by_date(day: Day) -> None:
    day.whole(HITCH, but=FLAT)
    day.open(PART, 2).keep()
    made = found(day, 3)
    dates = [x.when for x in made if x.when and not x.overdue]
    assert dates == sorted(dates)
    assert made[0].what == "stop"


def test_a_released_stop_is_not_due(day: Day) -> None:
    day.whole(HITCH, but=FLAT)
    assert len(of(day, "stop", 1)) == 1
    later = day.open(TRIP, 2)
    later.lead(until="crank")
    later.reply("release", "affirm", "Pat Example, shop, tire changed")
    later.lead()
    later.keep()
    assert of(day, "stop", 3) == []


def test_practice_is_due_for_nothing(day: Day) -> None:
    day.whole(HITCH, but=FLAT, operating="practice")
    assert found(day, 1) == []


# -- on the road: 49 CFR 392.9(b) --------------------------------------------------------------


def test_the_first_check_is_within_50_miles_then_3_hours_or_150(day: Day) -> None:
    gone = day.whole(TRIP_LIST)
    (first,) = of(day, "cargo check", 1)
    assert "within 50 mi or 180 min of driving, or at a change of duty status" in first.text
    assert "392.9(b)" in first.source
    left = gone.records[first.record - 1]
    assert isinstance(left, r.Answered)
    assert left.step == "statement"
    assert first.when[:16] == "2026-11-25T09:00", "3 hours after 06:00"
    assert not first.overdue
    assert of(day, "cargo check", 4)[0].overdue
    day.whole(EN_ROUTE, 1)
    (then,) = of(day, "cargo check", 1.5)
    assert "within 150 mi or 180 min of driving" in then.text
    assert then.when[:16] == "2026-11-25T10:00"
    assert then.inspection.startswith("en-route")


def test_the_trip_ends_with_its_report_or_where_the_units_are_parted(day: Day) -> None:
    day.whole(TRIP_LIST)
    day.whole(POST_TRIP, 8)
    assert of(day, "cargo check", 9) == []
    day.whole(TRIP_LIST, 10)
    assert of(day, "cargo check", 11)
    day.whole(PART, 12)
    assert of(day, "cargo check", 13) == []


def test_no_trip_begins_under_a_stop(day: Day) -> None:
    day.whole(HITCH, but=FLAT)
    assert of(day, "cargo check", 1) == []


# -- trip report: 24 h where the province says so ------------------------------------------------


def test_a_trip_inspection_holds_24_hours_in_ontario(day: Day) -> None:
    day.whole(TRIP_LIST, jurisdiction="CA-ON")
    (report,) = of(day, "trip report", 1)
    assert report.when[:13] == "2026-11-26T06"
    assert "p. 4" in report.source
    assert not of(day, "trip report", 24)[0].overdue
    assert of(day, "trip report", 24.1)[0].overdue


def test_no_period_is_made_up_where_the_table_has_none(day: Day) -> None:
    day.whole(TRIP_LIST, jurisdiction="US")
    assert of(day, "trip report", 48) == []


# -- papers --------------------------------------------------------------------------------------


def papers(day: Day, item: str, hours: float = 1, now: str = "") -> list[tuple[str, bool]]:
    return [(x.when, x.overdue) for x in of(day, "paper", hours, now) if item in x.text]


def test_the_date_that_was_answered_last_counts(day: Day) -> None:
    day.whole(HITCH)  # march 2029
    assert papers(day, "Sticker") == [("2029-03", False)]
    assert papers(day, "Sticker", now="2029-03-31T23:00:00-05:00") == [("2029-03", False)]
    assert papers(day, "Sticker", now="2029-04-01T00:10:00-05:00") == [("2029-03", True)]
    day.whole(HITCH, 30, but={"sticker here": ["may twenty twenty nine", "affirm"]})
    assert papers(day, "Sticker", 31) == [("2029-05", False)]


def test_a_date_of_issue_counts_for_its_period(day: Day) -> None:
    """12 months from the month of issue, to the end of that month: 49 CFR 396.17(c)."""
    issued = same("here").replace("overdue: overdue}", 'overdue: overdue, valid: "12 months"}')
    day.whole(listed("issue", issued, PARK),
              but={"sticker here": ["march twenty twenty six", "affirm"]})  # fmt: skip
    assert papers(day, "Sticker") == [("2027-03", False)]


def test_the_vehicle_file_names_the_last_periodic_inspection(day: Day) -> None:
    """49 CFR 396.17(a), (c): each unit, within the preceding 12 months."""
    vehicle = re.sub(r"inspected: .*", "inspected: 2026-02", HITCH.vehicle)
    assert vehicle != HITCH.vehicle
    day.whole(replace(HITCH, vehicle=vehicle))
    assert papers(day, "trailer HLT-7K42 is valid") == [("2027-02", False)]
    after = "2027-03-01T06:00:00-05:00"
    assert papers(day, "trailer HLT-7K42 is valid", now=after) == [("2027-02", True)]
    other = Day(day.parent / "other")
    other.whole(replace(HITCH, vehicle=vehicle), units=(("trailer", "HLT-9Z99"),))
    assert papers(other, "of the trailer") == [], "the file tells of another trailer"
    assert papers(other, "of the tractor") == [("2027-02", False)]


# -- retention -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("jurisdiction", "last"),
    [("US", "2027-02-25"), ("CA-BC", "2027-02-25"), ("CA-ON", "2027-05-25")],
)
def test_reports_are_kept_by_jurisdiction(day: Day, jurisdiction: str, last: str) -> None:
    """3 months: 49 CFR 396.11(a)(4) and British Columbia; 6 months: Standard 13, from memory."""
    day.whole(TRIP_LIST, jurisdiction=jurisdiction)
    day.whole(HITCH, 1, jurisdiction=jurisdiction)
    (kept,) = of(day, "retention", 2)
    assert kept.when == last


def test_reports_that_need_not_be_kept_any_longer_are_named(day: Day) -> None:
    day.whole(TRIP_LIST)
    day.whole(TRIP_LIST, 24)
    day.whole(TRIP_LIST, 48)
    kept = of(day, "retention", now="2027-02-26T12:00:00-05:00")
    assert [x.when for x in kept] == ["2027-02-25", "2027-02-26"]


# -- unfinished, unreadable, the command ---------------------------------------------------------


def test_an_unfinished_inspection_is_resumed_within_four_hours(day: Day) -> None:
    day.open(HITCH).keep()
    (soon,) = of(day, "resume", 1)
    assert soon.when[:16] == "2026-11-25T10:00"
    assert "voicecheck resume" in soon.text
    (late,) = of(day, "resume", 5)
    assert late.overdue
    assert "begin it anew" in late.text


def test_what_cannot_be_read_is_named(day: Day) -> None:
    made = day.whole(HITCH)
    (made.folder / "journal.jsonl").write_bytes(b"not a journal\n")
    (line,) = found(day, 1)
    assert (line.what, line.inspection, line.record) == ("unreadable", made.folder.name, 0)


def test_the_command(day: Day) -> None:
    made = day.whole(HITCH, but=FLAT)
    folder = str(day.parent)
    shown = command(day.parent, "due", folder, "--at", at(1))
    assert shown.returncode == 1, "a stop is open"
    first = shown.stdout.splitlines()[0]
    assert first.startswith("now: Stops the vehicle (tractor HL-208, trailer HLT-7K42): ")
    assert f"of {made.folder.name}" in shown.stdout
    told = json.loads(command(day.parent, "due", folder, "--json", "--at", at(1)).stdout)
    assert [x["what"] for x in told] == [x.what for x in found(day, 1)]
    assert command(day.parent, "due", folder, "--at", "noon").returncode == 2
    empty = command(day.parent, "due", str(day.parent / "empty"))
    assert (empty.returncode, empty.stdout) == (
        0,
        "Nothing is due by the inspections in this folder.\n",
    )


def test_a_thousand_inspections_open_in_time(day: Day) -> None:
    """The next inspection does not wait for the history to be read whole."""
    made = day.whole(HITCH)
    for n in range(1000):
        folder = day.parent / f"hitch-older-{n}"
        folder.mkdir()
        opened = replace(made.opened, inspection=folder.name, at=replace(made.opened.at,
                         wall=f"2026-0{n % 9 + 1}-11T06:00:00-05:00"))  # fmt: skip
        data, _ = encode_all([opened])
        (folder / "journal.jsonl").write_bytes(data)
    began = time.process_time()
    day.open(TRIP, 1)
    took = time.process_time() - began
    print(f"opened beside a thousand inspections in {took:.2f} s of processor")
    assert took < 3
