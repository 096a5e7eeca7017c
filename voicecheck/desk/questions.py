"""What a supervisor asks of many inspections: what fails, what comes back, who is quick, trends.

Counts, not judgements: a driver who reports many defects looks well, one who reports none may not
have looked. The page says so beside each table.
"""

from __future__ import annotations

import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from sqlalchemy import Integer, func, select
from sqlalchemy.orm import Session

from voicecheck.desk.store import DefectOf, Inspection, ReadingOf, StepOf, UnitOf

MOST = 20
LEAST_INSPECTIONS = 5
"""A driver with fewer inspections is listed last: so few say nothing about a habit."""


@dataclass(frozen=True)
class Share:
    """``part`` of ``whole``."""

    name: str
    part: int
    whole: int

    @property
    def percent(self) -> float:
        return 100 * self.part / self.whole if self.whole else 0.0


@dataclass(frozen=True)
class Habit:
    """One driver: per inspection, items left out and answers sooner than the walk allows."""

    driver: str
    inspections: int
    left_out: float
    quick: float
    minutes: float  # median


@dataclass(frozen=True)
class Took:
    """How long the inspections of one checklist took, in minutes."""

    checklist: str
    inspections: int
    median: float
    ninetieth: float


@dataclass(frozen=True)
class Point:
    at: str
    value: Decimal
    verdict: str
    inspection: str


@dataclass(frozen=True)
class Trend:
    """The readings of one item on one unit, oldest first, all in ``unit``."""

    item: str
    unit: str
    points: tuple[Point, ...]


def failing_items(session: Session) -> list[Share]:
    """Items by how often they failed or had a minor defect, of the times they were answered."""
    bad = func.sum(StepOf.state.in_(("failed", "noted")).cast(Integer))
    rows = session.execute(
        select(StepOf.item, bad, func.count())
        .where(StepOf.state.not_in(("unanswered", "not fitted", "carried")))
        .group_by(StepOf.item)
        .having(bad > 0)
        .order_by((bad * 1.0 / func.count()).desc(), StepOf.item)
        .limit(MOST)
    )
    return [Share(item, part, whole) for item, part, whole in rows]


def returning_units(session: Session) -> list[Share]:
    """Units by the number of their inspections in which a defect was found."""
    with_defect = func.count(DefectOf.inspection.distinct())
    rows = session.execute(
        select(
            UnitOf.name + " " + UnitOf.number, with_defect, func.count(UnitOf.inspection.distinct())
        )
        .outerjoin(DefectOf, DefectOf.inspection == UnitOf.inspection)
        .group_by(UnitOf.name, UnitOf.number)
        .having(with_defect > 1)
        .order_by(with_defect.desc(), UnitOf.number)
        .limit(MOST)
    )
    return [Share(name, part, whole) for name, part, whole in rows]


def habits(session: Session) -> list[Habit]:
    """Drivers, those who leave out or are quick most often first."""
    seconds: dict[str, list[int]] = {}
    totals: dict[str, list[int]] = {}
    rows = session.execute(
        select(Inspection.driver, Inspection.left_out, Inspection.quick, Inspection.seconds)
    )
    for driver, left_out, quick, took in rows:
        total = totals.setdefault(driver, [0, 0])
        total[0] += left_out
        total[1] += quick
        seconds.setdefault(driver, []).append(took)
    found = [
        Habit(
            driver,
            len(seconds[driver]),
            totals[driver][0] / len(seconds[driver]),
            totals[driver][1] / len(seconds[driver]),
            statistics.median(seconds[driver]) / 60,
        )
        for driver in totals
    ]
    return sorted(
        found,
        key=lambda h: (h.inspections < LEAST_INSPECTIONS, -(h.left_out + h.quick), h.driver),
    )[:MOST]


def durations(session: Session) -> list[Took]:
    """How long finished inspections took, by checklist."""
    seconds: dict[str, list[int]] = {}
    for title, took in session.execute(
        select(Inspection.title, Inspection.seconds).where(Inspection.verdict == "complete")
    ):
        seconds.setdefault(title, []).append(took)
    return [
        Took(title, len(all_), statistics.median(all_) / 60, _ninetieth(sorted(all_)) / 60)
        for title, all_ in sorted(seconds.items())
    ]


def _ninetieth(ordered: Sequence[int]) -> int:
    """The smallest value that nine of ten do not exceed (nearest rank)."""
    return ordered[-(-9 * len(ordered) // 10) - 1]


def trends(session: Session, number: str) -> list[Trend]:
    """What was measured on the unit ``number``, by item and unit of measure."""
    rows = session.execute(
        select(
            ReadingOf.item, ReadingOf.unit, Inspection.at, ReadingOf.value, ReadingOf.verdict,
            Inspection.id,
        )
        .join(Inspection, Inspection.id == ReadingOf.inspection)
        .join(UnitOf, UnitOf.inspection == ReadingOf.inspection)
        .where(UnitOf.number == number)
        .order_by(ReadingOf.item, ReadingOf.unit, Inspection.at)
    )  # fmt: skip
    found: dict[tuple[str, str], list[Point]] = {}
    for item, unit, at, value, verdict, inspection in rows:
        found.setdefault((item, unit), []).append(Point(at, Decimal(value), verdict, inspection))
    return [Trend(item, unit, tuple(points)) for (item, unit), points in found.items()]
