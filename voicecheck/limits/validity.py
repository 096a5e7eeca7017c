"""Until when a paper is valid: calendar arithmetic on dates of issue.

Pure functions: no clock, no file.
"""

from __future__ import annotations

from calendar import monthrange

from voicecheck.errors import IntervalUnusable


def last_valid(issued: str, valid: str) -> str:
    """The last month or day on which what was issued then is valid, in the form of ``issued``.

    ``issued``: ISO year-month or full date. ``valid``: "12 months" or "24 h". Months end on the
    same day of the month, or on its last day where it has none. Hours need a full date and count
    whole days, begun from that day. IntervalUnusable for hours after a month.
    """
    number, _, unit = valid.partition(" ")
    year, month, *day = map(int, issued.split("-"))
    if unit == "h":
        if not day:
            raise IntervalUnusable(
                f"{valid} cannot be counted from a month.", "Give the day of issue."
            )
        last = day[0] + int(number) // 24
        while last > monthrange(year, month)[1]:
            last -= monthrange(year, month)[1]
            year, month = _month(year, month + 1)
        return f"{year:04}-{month:02}-{last:02}"
    year, month = _month(year, month + int(number))
    if not day:
        return f"{year:04}-{month:02}"
    return f"{year:04}-{month:02}-{min(day[0], monthrange(year, month)[1]):02}"


def _month(year: int, month: int) -> tuple[int, int]:
    """The month counted on from January of that year: (2026, 14) is (2027, 2)."""
    return year + (month - 1) // 12, (month - 1) % 12 + 1
