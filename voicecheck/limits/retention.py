"""How long reports are kept, by jurisdiction.

Rules of this file:

1. A period is a row of the table of limits and travels with its source and standing. A row from
   memory or a private copy is a guide value; the answer says so.
2. A jurisdiction without a row of its own takes that of its country, never of the other one.
3. "At least" means that the last day counts: a report may be destroyed on the day after it.

Families: "report-kept" (trip reports), "periodic-report-kept" (periodic inspections) and
"report-handed-in" (days until the driver sends the report to the carrier).
"""

from __future__ import annotations

from dataclasses import dataclass

from voicecheck.limits.judge import CannotJudge
from voicecheck.limits.table import Limit
from voicecheck.limits.validity import last_valid, period_of


@dataclass(frozen=True, slots=True)
class Period:
    """``last`` is the last day (or month, or moment) of the period that began at ``start``."""

    start: str
    last: str
    limit: Limit

    def __str__(self) -> str:
        row = self.limit
        guide = "; guide value, not a statement of law" if row.guide else ""
        source = f"{row.source}, {row.section}; {row.standing}{guide}"
        return f"{row.quantity}: {row.sense} {row.value}, until {self.last}. {source}."


def period(family: str, start: str, jurisdiction: str) -> Period | CannotJudge:
    """The period that began on a day (ISO 8601 text), by the rule of the jurisdiction.

    CannotJudge where the table has no row. Raises UnknownInput, UnknownLimit.
    """
    found = period_of(family, jurisdiction)
    if isinstance(found, CannotJudge):
        return found
    length, row = found
    return Period(start, last_valid(start, length), row)
