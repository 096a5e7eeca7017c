"""What needs a person today, and finding inspections again. Read only; the date comes in.

Each section of the first page is a question that a supervisor must answer, with its source:

- stopped: a stop was found and nobody has certified it since (49 CFR 396.7, 396.11(a)(3));
- certify: a defect was reported; before the vehicle goes again, somebody certifies that it was
  repaired or that no repair is needed (49 CFR 396.11(a)(3));
- review: all defects are certified; the next driver reviews the report and signs (49 CFR 396.13);
- papers: what was answered to be valid until a month or day, over or within 30 days of it;
- unfinished: begun and not finished;
- retention: recordings whose date has come.

Sections of Part 396 as numbered in the Code of Federal Regulations; from memory where the table of
limits has no row for them.
"""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import ColumnElement, Exists, Select, and_, exists, func, not_, or_, select
from sqlalchemy.orm import Session

from voicecheck.desk.store import DefectOf, Inspection, MarkOf, PaperOf, UnitOf

SHOWN = 20
"""How many of a section are shown on the first page."""

PAGE = 50
DUE_DAYS = 30
RETENTION_DAYS = 7
CERTIFIED = ("repaired", "not needed")


@dataclass(frozen=True)
class Line:
    """One inspection, with the defects or the paper that it is listed for."""

    inspection: Inspection
    units: str
    defects: tuple[DefectOf, ...] = ()
    paper: PaperOf | None = None
    overdue: bool = False


@dataclass(frozen=True)
class Section:
    """``total`` of which ``lines`` are the first."""

    total: int
    lines: tuple[Line, ...]


def _certified() -> Exists:
    return exists().where(
        MarkOf.inspection == DefectOf.inspection,
        MarkOf.defect == DefectOf.number,
        MarkOf.kind.in_(CERTIFIED),
        MarkOf.stands,
    )


def today(session: Session, day: str) -> dict[str, Section]:
    """The sections by name. ``day``: today, YYYY-MM-DD."""
    uncertified = not_(_certified())
    return {
        "stopped": _with_defects(session, and_(DefectOf.status == "open", uncertified)),
        "certify": _with_defects(session, and_(DefectOf.status != "open", uncertified)),
        "review": _review(session),
        "papers": _papers(session, day),
        "unfinished": _section(
            session, select(Inspection).where(Inspection.verdict == "not finished")
        ),
        "retention": _section(
            session,
            select(Inspection).where(
                Inspection.has_audio,
                Inspection.delete_after != "",
                Inspection.delete_after <= _later(day, RETENTION_DAYS),
            ),
        ),
    }


def _later(day: str, days: int) -> str:
    return (datetime.date.fromisoformat(day) + datetime.timedelta(days=days)).isoformat()


def _with_defects(session: Session, which: ColumnElement[bool]) -> Section:
    owed = select(DefectOf.inspection).where(which).distinct()
    section = _section(session, select(Inspection).where(Inspection.id.in_(owed)))
    ids = [line.inspection.id for line in section.lines]
    found: dict[str, list[DefectOf]] = {}
    wanted = select(DefectOf).where(which, DefectOf.inspection.in_(ids))
    for defect in session.scalars(wanted.order_by(DefectOf.number)):
        found.setdefault(defect.inspection, []).append(defect)
    return Section(
        section.total,
        tuple(
            Line(line.inspection, line.units, tuple(found[line.inspection.id]))
            for line in section.lines
        ),
    )


def _review(session: Session) -> Section:
    has_defect = exists().where(DefectOf.inspection == Inspection.id)
    owed = exists().where(DefectOf.inspection == Inspection.id, not_(_certified()))
    reviewed = exists().where(
        MarkOf.inspection == Inspection.id, MarkOf.kind == "reviewed", MarkOf.stands
    )
    return _section(session, select(Inspection).where(has_defect, not_(owed), not_(reviewed)))


def _papers(session: Session, day: str) -> Section:
    """The latest answer about each paper of each set of units, where it ends soon or is over."""
    numbers = (
        select(
            UnitOf.inspection,
            func.group_concat(UnitOf.name + " " + UnitOf.number, ", ").label("units"),
        )
        .group_by(UnitOf.inspection)
        .subquery()
    )
    latest = (
        select(PaperOf.step, numbers.c.units, func.max(Inspection.at).label("at"))
        .join(Inspection, Inspection.id == PaperOf.inspection)
        .join(numbers, numbers.c.inspection == PaperOf.inspection)
        .group_by(PaperOf.step, numbers.c.units)
        .subquery()
    )
    # A month is valid to its last day: as text, "2026-03" counts as "2026-03-31".
    end = func.substr(PaperOf.until + "-31", 1, 10)
    rows = session.execute(
        select(PaperOf, Inspection, numbers.c.units, end < day)
        .join(Inspection, Inspection.id == PaperOf.inspection)
        .join(numbers, numbers.c.inspection == PaperOf.inspection)
        .join(
            latest,
            and_(
                latest.c.step == PaperOf.step,
                latest.c.units == numbers.c.units,
                latest.c.at == Inspection.at,
            ),
        )
        .where(end <= _later(day, DUE_DAYS))
        .order_by(end, Inspection.at.desc())
    ).all()
    lines = [
        Line(inspection, units, paper=paper, overdue=bool(over))
        for paper, inspection, units, over in rows
    ]
    return Section(len(lines), tuple(lines[:SHOWN]))


def _section(session: Session, which: Select[Inspection]) -> Section:
    total = session.scalar(select(func.count()).select_from(which.subquery())) or 0
    found = session.scalars(which.order_by(Inspection.at.desc()).limit(SHOWN)).all()
    return Section(total, lines_of(session, found))


def lines_of(session: Session, found: Sequence[Inspection]) -> tuple[Line, ...]:
    """Inspections with the numbers of their units."""
    units: dict[str, list[str]] = {}
    wanted = select(UnitOf).where(UnitOf.inspection.in_([i.id for i in found]))
    for unit in session.scalars(wanted):
        units.setdefault(unit.inspection, []).append(f"{unit.name} {unit.number}")
    return tuple(Line(i, ", ".join(units.get(i.id, []))) for i in found)


@dataclass(frozen=True)
class Filter:
    """What to look for; empty parts do not filter. ``first`` and ``last``: days, both included."""

    unit: str = ""
    driver: str = ""
    verdict: str = ""
    checklist: str = ""
    first: str = ""
    last: str = ""
    words: str = ""  # in the headline or in the text of a defect


def found(session: Session, wanted: Filter, page: int) -> Section:
    """Page ``page`` (from 1) of the inspections that fit, latest first."""
    which = select(Inspection)
    if wanted.unit:
        like = f"%{_plain(wanted.unit)}%"
        which = which.where(
            Inspection.id.in_(
                select(UnitOf.inspection).where(UnitOf.number.like(like, escape="\\"))
            )
        )
    if wanted.driver:
        which = which.where(Inspection.driver.like(f"%{_plain(wanted.driver)}%", escape="\\"))
    if wanted.verdict:
        which = which.where(Inspection.verdict == wanted.verdict)
    if wanted.checklist:
        which = which.where(Inspection.checklist == wanted.checklist)
    if wanted.first:
        which = which.where(Inspection.closed >= wanted.first)
    if wanted.last:
        which = which.where(Inspection.closed < _later(wanted.last, 1))
    if wanted.words:
        like = f"%{_plain(wanted.words)}%"
        which = which.where(
            or_(
                Inspection.headline.like(like, escape="\\"),
                Inspection.id.in_(
                    select(DefectOf.inspection).where(DefectOf.text.like(like, escape="\\"))
                ),
            )
        )
    total = session.scalar(select(func.count()).select_from(which.subquery())) or 0
    rows = session.scalars(
        which.order_by(Inspection.at.desc(), Inspection.id).offset((page - 1) * PAGE).limit(PAGE)
    ).all()
    return Section(total, lines_of(session, rows))


def _plain(text: str) -> str:
    """Text in which % and _ stand for themselves."""
    return text.replace("\\", "\\\\").replace("%", "\\%").replace("_", "\\_")
