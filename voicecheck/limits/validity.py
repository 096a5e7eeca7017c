"""Until when a paper is valid, and how old it may be.

Rules of this file:

1. A month or a day that is spoken as the date of issue gives the last month or day on which the
   paper is still valid; that month or day itself counts ("at most": equal passes). A month of issue
   is taken to the end of the same month later: a sticker "March 2026" with 12 months is good to the
   last day of March 2027. That a month stands for its last day: common practice, no source.
2. Months are calendar months. Where the later month is shorter, its last day takes the place of the
   day (29 February and 12 months: 28 February).
3. Hours are counted from the moment. From a day alone the last day is the next one for 24 h: until
   which hour of it must be asked.
4. Periods come from the table of limits, with their source: a periodic inspection 12 months (49
   CFR 396.17(a), (c)), a trip inspection 24 h in the provinces that the table names. A licence, and
   every other paper that prints its own end, is valid to the end of the printed day or month
   (common practice, no source): period "".

Dates are texts as in ISO 8601: "2026-03", "2026-03-14", "2026-03-14T06:40", with seconds and offset
if wanted. Pure functions: no clock; what is "now" comes in.
"""

from __future__ import annotations

import re

from voicecheck.errors import UnknownInput
from voicecheck.limits.judge import CannotJudge, find
from voicecheck.limits.table import Limit
from voicecheck.units import DAY, MONTH, H, Quantity, plain

_DATE = re.compile(
    r"(?P<year>[1-9]\d{3})-(?P<month>\d\d)(?:-(?P<day>\d\d)"
    r"(?:T(?P<hour>\d\d):(?P<minute>\d\d)(?P<rest>(?::\d\d(?:\.\d+)?)?(?:Z|[+-]\d\d:\d\d)?))?)?",
    re.ASCII,
)
_PERIOD = re.compile(r"(?P<number>[1-9]\d{0,3}) (?P<what>months?|days?|h)", re.ASCII)


def last_valid(issued: str, period: str) -> str:
    """The last month, day or moment that is valid, in the form of ``issued``.

    ``period`` is "" (``issued`` is the last one itself), "12 months", "20 days" or "24 h". Raises
    UnknownInput for a date that does not exist, another period, and days or hours from a month.
    """
    year, month, day, clock = _read(issued)
    if not period:
        return issued
    found = _PERIOD.fullmatch(period)
    if found is None:
        raise UnknownInput(
            f"{period!r} is no period.", 'Write "12 months", "20 days", "24 h", or nothing.'
        )
    number = int(found["number"])
    if found["what"].startswith("month"):
        year, month = year + (month - 1 + number) // 12, (month - 1 + number) % 12 + 1
        day = min(day, days_in(year, month))
        return _write(year, month, day, clock)
    if not day:
        raise UnknownInput(f"{issued} has no day.", f"Say the day from which {period} count.")
    if found["what"] == "h":
        return _hours_later(year, month, day, clock, number)
    return _write(*_day_of(_number_of(year, month, day) + number), clock)


def period_of(family: str, jurisdiction: str) -> tuple[str, Limit] | CannotJudge:
    """The period that a row of the table gives, as ``last_valid`` reads it, and the row.

    For the families "periodic-inspection", "trip-inspection", "report-handed-in", "report-kept" and
    "periodic-report-kept". Raises UnknownLimit and UnknownInput.
    """
    row = find(family, {}, jurisdiction)
    if isinstance(row, CannotJudge):
        return row
    value = row.value
    words = {MONTH: "months", DAY: "days", H: "h"}
    if not isinstance(value, Quantity) or value.unit not in words:
        raise UnknownInput(f"{row.id} is no period.", "Name a family of periods.")
    return f"{plain(value.value)} {words[value.unit]}", row


def days_in(year: int, month: int) -> int:
    """Days of a month of the Gregorian calendar."""
    if month == 2:
        leap = year % 4 == 0 and (year % 100 != 0 or year % 400 == 0)
        return 29 if leap else 28
    return 30 if month in (4, 6, 9, 11) else 31


def _read(text: str) -> tuple[int, int, int, str]:
    """Year, month, day (0: none) and the time of day as written."""
    found = _DATE.fullmatch(text)
    if found is not None:
        year, month, day = int(found["year"]), int(found["month"]), int(found["day"] or 0)
        hour, minute = int(found["hour"] or 0), int(found["minute"] or 0)
        real = 1 <= month <= 12 and (found["day"] is None or 1 <= day <= days_in(year, month))
        if real and hour <= 23 and minute <= 59:
            return year, month, day, text.partition("T")[2]
    raise UnknownInput(
        f"{text!r} is no date.", "Write 2026-03, 2026-03-14 or 2026-03-14T06:40 of the calendar."
    )


def _write(year: int, month: int, day: int, clock: str = "") -> str:
    text = f"{year:04}-{month:02}"
    text += f"-{day:02}" if day else ""
    return f"{text}T{clock}" if clock else text


def _hours_later(year: int, month: int, day: int, clock: str, hours: int) -> str:
    """From a moment the moment; from a day alone the last day that any moment of it reaches."""
    if not clock:
        days = -(-hours // 24)
        return _write(*_day_of(_number_of(year, month, day) + days))
    days, hour = divmod(int(clock[:2]) + hours, 24)
    later = _day_of(_number_of(year, month, day) + days)
    return _write(*later, f"{hour:02}{clock[2:]}")


def _number_of(year: int, month: int, day: int) -> int:
    """Days since a fixed day, in the Gregorian calendar."""
    before = year - 1
    whole = 365 * before + before // 4 - before // 100 + before // 400
    return whole + sum(days_in(year, m) for m in range(1, month)) + day


def _day_of(number: int) -> tuple[int, int, int]:
    year = number // 366 + 1
    while _number_of(year + 1, 1, 1) <= number:
        year += 1
    month = 1
    while month < 12 and _number_of(year, month + 1, 1) <= number:
        month += 1
    return year, month, number - _number_of(year, month, 1) + 1
