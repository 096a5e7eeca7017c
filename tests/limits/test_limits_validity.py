"""Validity, retention and the next check on the road, against the rules and the calendar.

Outside checks: the calendar of Python's datetime; 49 CFR 396.17(a), (c) (within the preceding 12
months); Ontario daily-inspection guide p. 4 ("valid for 24 hours from the time of inspection");
49 CFR 396.11(a)(4) and 396.21 (3 and 14 months), National Safety Code course of British Columbia,
module 4 (3 months, 20 days); 49 CFR 392.9(b) (50 miles; 3 hours, 150 miles, change of duty status).
"""

from __future__ import annotations

import datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from voicecheck.errors import UnknownInput, UnknownLimit, UnknownUnit
from voicecheck.limits import CannotJudge
from voicecheck.limits.enroute import next_check
from voicecheck.limits.retention import period
from voicecheck.limits.validity import days_in, last_valid, period_of
from voicecheck.units import Quantity

q = Quantity.parse


@pytest.mark.parametrize(
    ("issued", "valid", "last"),
    [
        # 396.17: at least once in the preceding 12 months. A month stands for its last day.
        ("2026-03", "12 months", "2027-03"),
        ("2026-12", "12 months", "2027-12"),
        ("2026-03-14", "12 months", "2027-03-14"),
        # No 29 February in the next year: the last day of that month.
        ("2028-02-29", "12 months", "2029-02-28"),
        ("2026-01-31", "1 months", "2026-02-28"),
        ("2026-08-31", "6 months", "2027-02-28"),
        # 24 hours from the time of inspection; from a day alone the next day is the last one.
        ("2026-03-14T06:40", "24 h", "2026-03-15T06:40"),
        ("2026-12-31T23:59:30-05:00", "24 h", "2027-01-01T23:59:30-05:00"),
        ("2026-02-28T22:00Z", "3 h", "2026-03-01T01:00Z"),
        ("2026-03-14", "24 h", "2026-03-15"),
        ("2026-03-14", "20 days", "2026-04-03"),
        # The paper prints its own end: that is it.
        ("2026-03", "", "2026-03"),
        ("2026-03-14", "", "2026-03-14"),
    ],
)
def test_last_valid(issued: str, valid: str, last: str) -> None:
    assert last_valid(issued, valid) == last


@given(st.dates(datetime.date(1990, 1, 1), datetime.date(2099, 12, 31)), st.integers(1, 9999))
def test_days_agree_with_the_calendar(day: datetime.date, days: int) -> None:
    later = day + datetime.timedelta(days=days)
    assert last_valid(day.isoformat(), f"{days} days") == later.isoformat()


@given(
    st.datetimes(datetime.datetime(1990, 1, 1), datetime.datetime(2099, 1, 1)),
    st.integers(1, 999),
)
def test_hours_agree_with_the_calendar(moment: datetime.datetime, hours: int) -> None:
    moment = moment.replace(second=0, microsecond=0)
    later = moment + datetime.timedelta(hours=hours)
    found = last_valid(moment.isoformat(timespec="minutes"), f"{hours} h")
    assert found == later.isoformat(timespec="minutes")


@given(st.integers(1900, 2200), st.integers(1, 12))
def test_the_length_of_a_month(year: int, month: int) -> None:
    first = datetime.date(year + month // 12, month % 12 + 1, 1)
    assert days_in(year, month) == (first - datetime.timedelta(days=1)).day


@pytest.mark.parametrize(
    ("issued", "valid"),
    [
        ("2026-13", "12 months"),
        ("2026-02-29", "12 months"),
        ("26-03", "12 months"),
        ("2026-03-14T24:00", "24 h"),
        ("March 2026", "12 months"),
        ("2026-03", "24 h"),
        ("2026-03", "a year"),
        ("2026-03", "0 months"),
    ],
)
def test_no_date_and_no_period(issued: str, valid: str) -> None:
    with pytest.raises(UnknownInput):
        last_valid(issued, valid)


@pytest.mark.parametrize(
    ("family", "jurisdiction", "period", "guide"),
    [
        ("periodic-inspection", "US", "12 months", False),
        ("periodic-inspection", "US-MD", "12 months", False),
        ("trip-inspection", "CA-ON", "24 h", False),
        ("trip-inspection", "CA-QC", "24 h", True),  # the national model, seen in a summary only
        ("report-kept", "US", "3 months", False),
        ("report-handed-in", "CA-BC", "20 days", False),
    ],
)
def test_periods_come_from_the_table(
    family: str, jurisdiction: str, period: str, guide: bool
) -> None:
    found = period_of(family, jurisdiction)
    assert not isinstance(found, CannotJudge)
    assert found[0] == period
    assert found[1].guide is guide


def test_where_no_period_is_known() -> None:
    assert isinstance(period_of("trip-inspection", "US"), CannotJudge)
    with pytest.raises(UnknownInput):
        period_of("breakaway-hold", "US")
    with pytest.raises(UnknownLimit):
        period_of("driving licence", "US")


@pytest.mark.parametrize(
    ("family", "start", "jurisdiction", "last", "guide"),
    [
        ("report-kept", "2026-03-14", "US", "2026-06-14", False),
        ("periodic-report-kept", "2026-03-14", "US", "2027-05-14", False),
        ("report-kept", "2026-03-14", "CA-BC", "2026-06-14", False),
        # Ontario and the national model, six months: from memory.
        ("report-kept", "2026-08-31", "CA-ON", "2027-02-28", True),
        ("report-kept", "2026-03-14", "CA-MB", "2026-09-14", True),
        ("report-handed-in", "2026-03-14", "CA-BC", "2026-04-03", False),
        ("report-handed-in", "2026-03-14", "CA-NS", "2026-04-03", True),
    ],
)
def test_retention(family: str, start: str, jurisdiction: str, last: str, guide: bool) -> None:
    found = period(family, start, jurisdiction)
    assert not isinstance(found, CannotJudge)
    assert found.last == last
    assert found.limit.guide is guide
    assert ("guide value" in str(found)) is guide
    assert found.limit.source in str(found)


def test_a_country_does_not_borrow_the_period_of_the_other() -> None:
    assert isinstance(period("periodic-report-kept", "2026-03-14", "CA-ON"), CannotJudge)


# -- the next check on the road -----------------------------------------------------------------


@pytest.mark.parametrize(
    ("driven", "driving", "checked", "left", "minutes", "due", "overdue"),
    [
        # 392.9(b)(2): within the first 50 miles.
        ("0 mi", "0 min", False, "50 mi", "180 min", False, False),
        ("49 mi", "1 h", False, "1 mi", "120 min", False, False),
        ("50 mi", "1 h", False, "0 mi", "120 min", True, False),
        ("51 mi", "1 h", False, "0 mi", "120 min", True, True),
        # (b)(3): 3 hours or 150 miles, whichever is first.
        ("51 mi", "1 h", True, "99 mi", "120 min", False, False),
        ("149 mi", "179 min", True, "1 mi", "1 min", False, False),
        ("150 mi", "150 min", True, "0 mi", "30 min", True, False),
        ("100 mi", "3 h", True, "50 mi", "0 min", True, False),
        ("100 mi", "181 min", True, "50 mi", "0 min", True, True),
        # A jam: three hours are three hours, in the first 50 miles too.
        ("20 mi", "3 h", False, "30 mi", "0 min", True, False),
        # The usual rounded figures in kilometres: 80 and 241.
        ("80 km", "1 h", False, "0 km", "120 min", True, False),
        ("240 km", "1 h", True, "1 km", "120 min", False, False),
    ],
)
def test_next_check(
    driven: str,
    driving: str,
    checked: bool,
    left: str,
    minutes: str,
    due: bool,
    overdue: bool,
) -> None:
    found = next_check(q(driven), q(driving), checked=checked, jurisdiction="US")
    assert not isinstance(found, CannotJudge)
    assert (found.distance, found.time) == (q(left), q(minutes))
    assert (found.due, found.overdue) == (due, overdue)
    assert "392.9(b)(2)" in found.reason or checked


def test_a_change_of_duty_status_is_a_check() -> None:
    found = next_check(q("60 mi"), q("1 h"), checked=True, jurisdiction="US", duty_changed=True)
    assert not isinstance(found, CannotJudge)
    assert found.due
    assert not found.overdue


def test_a_sealed_load_is_excepted() -> None:
    # 392.9(b)(4)
    found = next_check(q("300 mi"), q("5 h"), checked=False, jurisdiction="US", excepted=True)
    assert not isinstance(found, CannotJudge)
    assert found.excepted
    assert not found.due
    assert not found.overdue


def test_guide_values_and_places_without_a_rule() -> None:
    # The 50 miles were seen in private copies only, the 3 h and 150 miles in a state manual, those
    # of Canada in Ontario's.
    first = next_check(q("1 mi"), q("1 min"), checked=False, jurisdiction="US")
    later = next_check(q("1 mi"), q("1 min"), checked=True, jurisdiction="US-MD")
    north = next_check(q("1 km"), q("1 min"), checked=True, jurisdiction="CA-ON")
    assert not isinstance(first, CannotJudge)
    assert not isinstance(later, CannotJudge)
    assert not isinstance(north, CannotJudge)
    assert (first.guide, later.guide, north.guide) == (True, False, False)
    assert "guide value" in first.reason.lower()
    assert isinstance(
        next_check(q("1 km"), q("1 min"), checked=True, jurisdiction="EU"), CannotJudge
    )
    with pytest.raises(UnknownUnit):
        next_check(q("1 lb"), q("1 min"), checked=True, jurisdiction="US")
