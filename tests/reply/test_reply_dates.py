"""Dates against the calendar of the standard library."""

from __future__ import annotations

import calendar
import datetime

import pytest
from expectations import DAY, MONTH
from hypothesis import given, settings
from hypothesis import strategies as st

from voicecheck.reply.grammar import Expect, Refused, Understood, parse, read_back
from voicecheck.reply.numbers import date_exists

MONTHS = [name.lower() for name in calendar.month_name[1:]]


def understood(expect: Expect, text: str) -> str:
    found = parse(expect, text)
    assert isinstance(found, Understood), (text, found)
    assert found.meaning == "date"
    return found.date


@pytest.mark.parametrize(
    ("text", "date"),
    [
        ("march twenty twenty seven", "2027-03"),
        ("march two zero two seven", "2027-03"),
        ("march two oh two seven", "2027-03"),
        ("march two thousand twenty seven", "2027-03"),
        ("march two thousand and twenty seven", "2027-03"),
        ("may twenty oh five", "2005-05"),
        ("may two thousand five", "2005-05"),
        ("june twenty twenty", "2020-06"),
        ("december nineteen ninety eight", "1998-12"),
        ("december one niner nine eight", "1998-12"),
        ("september twenty thirty", "2030-09"),
    ],
)
def test_month_and_year(text: str, date: str) -> None:
    assert understood(MONTH, text) == date


@pytest.mark.parametrize(
    ("text", "date"),
    [
        ("march thirty first twenty twenty seven", "2027-03-31"),
        ("thirty first of march twenty twenty seven", "2027-03-31"),
        ("thirty one march two zero two seven", "2027-03-31"),
        ("march three one two zero two seven", "2027-03-31"),
        ("march zero three two zero two seven", "2027-03-03"),
        ("march third twenty twenty seven", "2027-03-03"),
        ("march twenty one twenty twenty seven", "2027-03-21"),
        ("march twenty twenty twenty seven", "2027-03-20"),
        ("february twenty ninth two thousand twenty eight", "2028-02-29"),
    ],
)
def test_day(text: str, date: str) -> None:
    assert understood(DAY, text) == date


@pytest.mark.parametrize(
    ("expect", "text", "why"),
    [
        # March 2027, or the twentieth of March in a year 27.
        (MONTH, "zero three two zero two seven", "two readings"),
        (MONTH, "three twenty twenty seven", "two readings"),
        (MONTH, "zero three twenty twenty seven", "two readings"),
        (MONTH, "march twenty seven", "two readings"),  # a day, or a year
        (DAY, "march twenty twenty seven", "two readings"),  # no day, or the twentieth
        (DAY, "zero three three one two zero two seven", "two readings"),
        (MONTH, "march twenty twenty seven april twenty twenty seven", "two readings"),
        (MONTH, "march", "fragment"),
        (MONTH, "twenty twenty seven", "fragment"),
        (MONTH, "march two zero two", "fragment"),
        (DAY, "march thirty first", "fragment"),
        (MONTH, "march thirty first twenty twenty seven", "unknown words"),
        (DAY, "february thirtieth twenty twenty seven", "implausible"),
        (DAY, "february twenty ninth twenty twenty seven", "implausible"),
        (DAY, "april three one two zero two seven", "implausible"),
    ],
)
def test_refusals(expect: Expect, text: str, why: str) -> None:
    found = parse(expect, text)
    assert isinstance(found, Refused), found
    assert found.why == why


@settings(max_examples=400, deadline=None)
@given(st.dates(datetime.date(1950, 1, 1), datetime.date(2099, 12, 31)))
def test_every_date_survives_the_round_trip(date: datetime.date) -> None:
    spoken = read_back(Understood("date", "", date=date.isoformat()))
    assert spoken.split()[0] == MONTHS[date.month - 1]
    assert understood(DAY, spoken) == date.isoformat()
    month = date.isoformat()[:7]
    assert understood(MONTH, read_back(Understood("date", "", date=month))) == month


def test_calendar_agrees_with_the_standard_library() -> None:
    for year in (1950, 1999, 2000, 2027, 2028, 2096, 2100):
        for month in range(1, 13):
            length = calendar.monthrange(year, month)[1]
            for day in range(1, 33):
                assert date_exists(f"{year}-{month:02d}-{day:02d}") == (day <= length)
    assert not date_exists("2027-13")
