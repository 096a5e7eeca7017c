"""Carried answers when an inspection is resumed, or its device wakes (H8): looked at again."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest

from tests.run.day import Day, Inspection
from tests.run.test_carry import HITCH, PART, TRIP
from voicecheck.journal.verify import verify_journal
from voicecheck.run.clock import CompressedClock
from voicecheck.run.opening import read_inspection
from voicecheck.run.start import Equipment, Wanted, resume
from voicecheck.run.typed import TypedWorld
from voicecheck.session import events as e
from voicecheck.session import records as r
from voicecheck.session.fold import fold

CARRIED = ["left tires there", "flaps there", "sticker there"]


@pytest.fixture
def day(tmp_path: Path) -> Day:
    return Day(tmp_path)


def broken_off(day: Day, hours: float) -> Inspection:
    """Begun with carried answers; its device fails at the step "park"."""
    later = day.open(TRIP, hours)
    later.lead(until="park")
    later.keep()
    return later


class SetBack(CompressedClock):
    """Two hours after the last record by the steady clock, none by the wall."""

    def __init__(self, later: Inspection) -> None:
        self.last = later.records[-1].at

    def now(self) -> r.Stamp:
        return r.Stamp(self.last.wall, self.last.mono + 2 * 3_600_000)

    def pass_time(self, seconds: float) -> None: ...


def waking(gap_s: int) -> type[TypedWorld]:
    """A keyboard whose device sleeps once for so long."""

    class Waking(TypedWorld):
        slept = False

        def next_event(self) -> e.Event:
            if self.slept:
                return super().next_event()
            self.slept = True
            self.clock.pass_time(gap_s)
            return e.Resumed(at=self.clock.now(), gap_s=gap_s)

    return Waking


def resumed(
    day: Day, later: Inspection, hours: float, *lines: str, world: type[TypedWorld] = TypedWorld
) -> tuple[list[str], str]:
    """What is printed, and the outcome."""
    clock = CompressedClock(day.began + timedelta(hours=hours))
    printed: list[str] = []
    wanted = Wanted("typed", day.parent, printed.append, lambda: pytest.fail("no engine"))
    gear = Equipment(clock, None, None, None, world(lines, clock, printed.append))
    outcome = resume(later.folder, wanted, gear).outcome
    return printed, outcome


def fallen(later: Inspection) -> list[str]:
    _, records = read_inspection(later.folder)
    return [x.step for x in records if isinstance(x, r.Withdrawn) and x.why == "carried no longer"]


def test_within_its_24_hours_it_stands(day: Day) -> None:
    day.whole(HITCH)
    later = broken_off(day, 12)
    assert sorted(later.carried()) == sorted(CARRIED)
    resumed(day, later, 13)
    assert fallen(later) == []


def test_it_does_not_outlive_its_24_hours(day: Day) -> None:
    """Answered at 0 h, carried at 23 h, resumed at 25 h: asked again."""
    day.whole(HITCH)
    later = broken_off(day, 23)
    assert sorted(later.carried()) == ["flaps there", "left tires there"]
    said, outcome = resumed(
        day, later, 25, "both out", "all good", "pass", "march twenty twenty nine", "affirm",
        "both out", "done", "affirm",
    )  # fmt: skip
    assert sorted(fallen(later)) == ["flaps there", "left tires there"]
    assert any("Left tires?" in line for line in said)
    assert any("Mud flaps?" in line for line in said)
    compiled, records = read_inspection(later.folder)
    answers = fold(compiled, records).answers
    assert "carried" not in {x.outcome for x in answers.values()}
    assert outcome == "complete", said
    findings, _, whole = verify_journal(later.folder)
    assert whole and not [x for x in findings if x.grave], findings


def test_a_wall_clock_that_was_set_back_does_not_lengthen_them(day: Day) -> None:
    """The steady clock shows that two hours passed; the wall clock says that none did."""
    day.whole(HITCH)
    later = broken_off(day, 23)
    clock = SetBack(later)
    printed: list[str] = []
    wanted = Wanted("typed", day.parent, printed.append, lambda: pytest.fail("no engine"))
    world = TypedWorld((), clock, printed.append)
    resume(later.folder, wanted, Equipment(clock, None, None, None, world))
    assert sorted(fallen(later)) == ["flaps there", "left tires there"]


def test_a_validity_date_is_asked_again_on_the_next_day(day: Day) -> None:
    """Carried at 23:00 of the day, resumed at 00:30 of the next."""
    day.whole(HITCH)
    later = broken_off(day, 17)
    resumed(day, later, 18.5)
    assert fallen(later) == ["sticker there"]


def test_units_that_were_parted_meanwhile_are_looked_at_again(day: Day) -> None:
    day.whole(HITCH)
    later = broken_off(day, 1)
    day.whole(PART, 2)
    resumed(day, later, 3)
    assert sorted(fallen(later)) == sorted(CARRIED)


def test_a_bad_answer_given_meanwhile_counts(day: Day) -> None:
    """The same tires, seen flat in another list: the answer from before stands no more."""
    day.whole(HITCH)
    later = broken_off(day, 1)
    meanwhile = day.open(HITCH, 2)
    meanwhile.lead(until="park")
    meanwhile.reply("correction left tires", "front outer flat", "nothing else")
    meanwhile.reply("end inspection", "affirm")
    meanwhile.keep()
    resumed(day, later, 3)
    assert fallen(later) == ["left tires there"]


def test_a_device_that_woke_looks_again_too(day: Day) -> None:
    day.whole(HITCH)
    later = broken_off(day, 22)
    _, outcome = resumed(day, later, 23, world=waking(3600 * 2))
    assert outcome == "interrupted"
    assert sorted(fallen(later)) == ["flaps there", "left tires there"]


def test_a_device_that_slept_beyond_the_shift_closes_the_inspection(day: Day) -> None:
    later = day.open(TRIP)
    later.lead(until="park")
    later.keep()
    _, outcome = resumed(day, later, 1, world=waking(3600 * 5))
    assert outcome == "not finished"
    _, records = read_inspection(later.folder)
    assert [x.kind for x in records if isinstance(x, r.Finished)]
