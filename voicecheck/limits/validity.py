"""Until when a paper is valid: calendar arithmetic on dates of issue.

Pure functions: no clock, no file.
"""

from __future__ import annotations

import calendar
import datetime

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
        last = datetime.date(year, month, day[0]) + datetime.timedelta(days=int(number) // 24)
        return last.isoformat()
    months = year * 12 + month - 1 + int(number)
    year, month = months // 12, months % 12 + 1
    if not day:
        return f"{year:04}-{month:02}"
    return f"{year:04}-{month:02}-{min(day[0], calendar.monthrange(year, month)[1]):02}"
