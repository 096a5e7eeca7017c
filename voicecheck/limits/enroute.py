"""When cargo and its securement must be looked at again on the road.

Rules of this file:

1. First within the first 50 miles of the trip; then at a change of duty status, after 3 hours of
   driving or after 150 miles, whichever comes first (49 CFR 392.9(b)). The 3 hours and the change
   of duty status hold from the start too, because the rule excepts no part of the trip.
2. Equal is still in time: the check is due at the figure itself, overdue above it.
3. A sealed vehicle whose driver is ordered not to open it, or a load that cannot practically be
   looked at, is excepted (392.9(b)(4); Canada: Ontario truck handbook 1-4-4). A padlock whose key
   the driver has is no seal (federal guidance). The vehicle itself is not excepted.
4. Figures are rows of the table; a guide value stays one. Old copies of the rule say 25 miles.

Pure functions: distance and time come in.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from voicecheck.limits.judge import CannotJudge, figure_in, find
from voicecheck.limits.table import Limit
from voicecheck.units import MIN, Quantity, rounded


@dataclass(frozen=True, slots=True)
class NextCheck:
    """What is left until the next check, whichever is first; never below zero.

    ``distance`` in the unit that was given, ``time`` in minutes. ``due``: now, before driving on.
    ``overdue``: a figure has been passed. ``excepted``: no check of the cargo is due at all.
    """

    distance: Quantity
    time: Quantity
    due: bool
    overdue: bool
    excepted: bool
    reason: str
    limits: tuple[Limit, ...]

    @property
    def guide(self) -> bool:
        """Whether a figure is no statement of law."""
        return any(row.guide for row in self.limits)


def next_check(
    driven: Quantity,
    driving: Quantity,
    *,
    checked: bool,
    jurisdiction: str,
    duty_changed: bool = False,
    excepted: bool = False,
) -> NextCheck | CannotJudge:
    """When the next check is due.

    ``driven`` and ``driving``: distance and driving time since the last check of the cargo, or
    since the trip began when ``checked`` on the way is false. CannotJudge where the jurisdiction
    has no row. Raises UnknownUnit for other kinds of quantity, UnknownInput for an unknown
    jurisdiction.
    """
    rows = []
    for family in ("cargo-check-distance" if checked else "cargo-first-check", "cargo-check-time"):
        row = find(family, {}, jurisdiction)
        if isinstance(row, CannotJudge):
            return row
        rows.append(row)
    by_distance, by_time = rows
    far = figure_in(by_distance, driven.unit).exact_in(driven.unit) - Fraction(driven.value)
    long = figure_in(by_time, MIN).exact_in(MIN) - driving.exact_in(MIN)
    least = min(far, long)
    due = (least <= 0 or duty_changed) and not excepted
    left = Quantity(rounded(max(Fraction(0), far)), driven.unit)
    minutes = Quantity(rounded(max(Fraction(0), long)), MIN)
    if excepted:
        told = "No check of the cargo: sealed, or it cannot practically be looked at."
    elif due:
        told = "Check the cargo now, before driving on."
    else:
        told = f"Next check within {left}, within {minutes} of driving, or at a change of duty"
        told += " status, whichever is first."
    sources = "; ".join(dict.fromkeys(f"{r.source}, {r.section}, {r.standing}" for r in rows))
    guide = " Guide value, not a statement of law." if any(row.guide for row in rows) else ""
    reason = f"{told} {sources}.{guide}"
    over = least < 0 and not excepted
    return NextCheck(left, minutes, due, over, excepted, reason, (by_distance, by_time))
