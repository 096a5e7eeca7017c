"""Last valid days against the standard library's calendar and dates counted by hand."""

from __future__ import annotations

import datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from voicecheck.errors import IntervalUnusable
from voicecheck.limits.validity import last_valid


@pytest.mark.parametrize(
    ("issued", "valid", "last"),
    [
        ("2025-11", "12 months", "2026-11"),
        ("2025-12", "1 months", "2026-01"),
        ("2024-02-29", "12 months", "2025-02-28"),
        ("2026-01-31", "1 months", "2026-02-28"),
        ("2025-11-25", "12 months", "2026-11-25"),
        ("2026-12-31", "24 h", "2027-01-01"),
    ],
)
def test_counted_by_hand(issued: str, valid: str, last: str) -> None:
    assert last_valid(issued, valid) == last


@given(st.dates(datetime.date(1990, 1, 1), datetime.date(2090, 1, 1)), st.integers(1, 999))
def test_hours_against_the_standard_library(issued: datetime.date, hours: int) -> None:
    expected = issued + datetime.timedelta(days=hours // 24)
    assert last_valid(issued.isoformat(), f"{hours} h") == expected.isoformat()


def test_hours_are_not_counted_from_a_month() -> None:
    with pytest.raises(IntervalUnusable):
        last_valid("2026-11", "24 h")
