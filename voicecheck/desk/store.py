"""The desk's database: made from the reports, and at any time to be made again from them.

The rules:

1. ``desk.sqlite`` in the folder of the inspections holds nothing that is not in the reports or in
   the log (log.py). Deleting it loses nothing; another version's is made anew.
2. An inspection is taken in when its report.json is a report, its journal is whole, and the two
   agree on number of records and head of the chain. Anything else is told with its reason and
   changes nothing that was taken in before: half a copy never replaces a whole one.
3. Practice is not evidence and is refused.
4. The same inspection found twice counts once. A longer journal of which the other is the beginning
   replaces it; two that contradict each other are told, and the first stays.
5. A folder is read again only when size or time of its report or journal changed.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import Any

from pydantic import ValidationError
from sqlalchemy import Engine, ForeignKey, Index, create_engine, delete, event, insert, select
from sqlalchemy.exc import DatabaseError
from sqlalchemy.orm import DeclarativeBase, Mapped, Session, mapped_column

from voicecheck.desk import log
from voicecheck.errors import DeskNotWritable, VoicecheckError
from voicecheck.journal import file as journal_file
from voicecheck.journal.format import encode_all
from voicecheck.report.build import Report
from voicecheck.report.files import JSON

DATABASE = "desk.sqlite"
VERSION = 1
_DATE = re.compile(r"\d{4}-\d\d(?:-\d\d)?")
_READING = re.compile(r"(-?\d+(?:\.\d+)?|\d+/\d+|\d+ \d+/\d+) (\S.*)")


class Base(DeclarativeBase):
    pass


class Inspection(Base):
    """One inspection. Times in UTC, ISO 8601; ``begun`` and ``closed`` as the device wrote them."""

    __tablename__ = "inspection"

    id: Mapped[str] = mapped_column(primary_key=True)
    folder: Mapped[str]
    stamp: Mapped[str]  # size and time of report and journal
    head: Mapped[str]
    records: Mapped[int]
    checklist: Mapped[str]
    title: Mapped[str]
    verdict: Mapped[str]
    headline: Mapped[str]
    driver: Mapped[str]
    carrier: Mapped[str]
    place: Mapped[str]
    jurisdiction: Mapped[str]
    begun: Mapped[str]
    closed: Mapped[str]
    at: Mapped[str] = mapped_column(index=True)  # of its end
    seconds: Mapped[int]
    finished: Mapped[bool]
    unanswered: Mapped[int]
    quick: Mapped[int]  # answers sooner than the walk allows
    left_out: Mapped[int]  # not done or not seen
    holds: Mapped[int]
    delete_after: Mapped[str]
    has_audio: Mapped[bool]

    __table_args__ = (
        Index("by_driver", "driver", "at"),
        Index("by_verdict", "verdict", "at"),
        Index("by_checklist", "checklist", "at"),
    )


def _of() -> Mapped[str]:
    return mapped_column(ForeignKey("inspection.id", ondelete="CASCADE"), primary_key=True)


class UnitOf(Base):
    __tablename__ = "unit"

    inspection: Mapped[str] = _of()
    name: Mapped[str] = mapped_column(primary_key=True)
    number: Mapped[str] = mapped_column(index=True)


class DefectOf(Base):
    __tablename__ = "defect"

    inspection: Mapped[str] = _of()
    number: Mapped[int] = mapped_column(primary_key=True)
    id: Mapped[str]
    severity: Mapped[str]
    status: Mapped[str] = mapped_column(index=True)
    text: Mapped[str]
    item: Mapped[str]
    place: Mapped[str]
    mended_by: Mapped[str]
    release: Mapped[str]


class StepOf(Base):
    __tablename__ = "step"

    inspection: Mapped[str] = _of()
    step: Mapped[str] = mapped_column(primary_key=True)
    item: Mapped[str]
    state: Mapped[str] = mapped_column(index=True)
    quick: Mapped[bool]


class ReadingOf(Base):
    __tablename__ = "reading"

    inspection: Mapped[str] = _of()
    step: Mapped[str] = mapped_column(primary_key=True)
    item: Mapped[str]
    value: Mapped[str]  # decimal text
    unit: Mapped[str]
    limit: Mapped[str]
    verdict: Mapped[str]


class PaperOf(Base):
    """A date up to which something is valid, as answered."""

    __tablename__ = "paper"

    inspection: Mapped[str] = _of()
    step: Mapped[str] = mapped_column(primary_key=True)
    item: Mapped[str]
    until: Mapped[str]  # YYYY-MM or YYYY-MM-DD


class MarkOf(Base):
    __tablename__ = "mark"

    n: Mapped[int] = mapped_column(primary_key=True)
    wall: Mapped[str]
    kind: Mapped[str]
    inspection: Mapped[str] = mapped_column(index=True)
    defect: Mapped[int]
    of: Mapped[int]
    who: Mapped[str]
    note: Mapped[str]
    stands: Mapped[bool]


class Refused(Base):
    """A folder that was not taken in, and why."""

    __tablename__ = "refused"

    folder: Mapped[str] = mapped_column(primary_key=True)
    stamp: Mapped[str]
    why: Mapped[str]


@dataclass(frozen=True)
class Synced:
    """What a look through the folder brought."""

    taken: int
    unchanged: int
    refused: tuple[tuple[str, str], ...]


def open_store(folder: Path) -> Engine:
    """The database of the desk in ``folder``; made anew when it is another version's or damaged.

    DeskNotWritable when it cannot be made.
    """
    if not folder.is_dir():
        raise DeskNotWritable(f"There is no folder {folder}.", "name the folder of inspections")
    file = folder / DATABASE
    for attempt in (1, 2):
        engine = create_engine(f"sqlite:///{file}")
        event.listen(engine, "connect", _pragmas)
        try:
            with engine.begin() as connection:
                version = connection.exec_driver_sql("PRAGMA user_version").scalar()
                if version == 0:
                    Base.metadata.create_all(connection)
                    connection.exec_driver_sql(f"PRAGMA user_version = {VERSION}")
                    version = VERSION
            if version == VERSION:
                return engine
        except DatabaseError as error:
            if attempt == 2:
                raise DeskNotWritable(
                    f"{file} cannot be made: {error.orig}.",
                    "make space, or make the folder writable",
                ) from error
        engine.dispose()
        for part in (file, Path(f"{file}-wal"), Path(f"{file}-shm")):
            part.unlink(missing_ok=True)
    raise DeskNotWritable(f"{file} cannot be made.", "make the folder writable")


def _pragmas(connection: Any, _: Any) -> None:
    connection.execute("PRAGMA foreign_keys = ON")
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("PRAGMA synchronous = NORMAL")


def sync(engine: Engine, folder: Path) -> Synced:
    """Take in what is new or changed in ``folder`` and its log. DeskLogDamaged."""
    taken = unchanged = 0
    with Session(engine) as session:
        known = {row.folder: row.stamp for row in session.execute(_SEEN)}
        known |= {row.folder: row.stamp for row in session.execute(_REFUSED)}
        for inspection in sorted(path.parent for path in folder.glob(f"*/{journal_file.JOURNAL}")):
            name, stamp = inspection.name, _stamp(inspection)
            if known.get(name) == stamp:
                unchanged += 1
                continue
            why = _take(session, inspection, stamp)
            session.execute(delete(Refused).where(Refused.folder == name))
            if why:
                session.add(Refused(folder=name, stamp=stamp, why=why))
            else:
                taken += 1
        _marks(session, folder)
        session.commit()
        refused = tuple((r.folder, r.why) for r in session.scalars(select(Refused)))
    return Synced(taken, unchanged, refused)


_SEEN = select(Inspection.folder, Inspection.stamp)
_REFUSED = select(Refused.folder, Refused.stamp)


def _stamp(folder: Path) -> str:
    """Changes when report or journal do, or a file comes or goes (recordings are deleted)."""
    parts = [str(folder.stat().st_mtime_ns)]
    for name in (JSON, journal_file.JOURNAL):
        try:
            status = (folder / name).stat()
        except OSError:
            parts.append("-")
        else:
            parts.append(f"{status.st_size}.{status.st_mtime_ns}")
    return "/".join(parts)


def _take(session: Session, folder: Path, stamp: str) -> str:
    """Take one inspection in; why not, or ""."""
    try:
        report = Report.model_validate_json((folder / JSON).read_bytes())
    except FileNotFoundError:
        return "It has no report yet."
    except (OSError, ValidationError):
        return f"{JSON} is no report of this version, or half a copy."
    if report.kind == "practice":
        return "Practice is not evidence."
    try:
        contents = journal_file.read(folder)
    except VoicecheckError as error:
        return error.what
    if contents.torn or (len(contents.records), contents.head) != (
        report.chain.records,
        report.chain.head,
    ):
        return (
            f"The report was made from {report.chain.records} records, the journal holds "
            f"{len(contents.records)} whole ones: half a copy, or the report is older."
        )
    other = session.get(Inspection, report.subject.inspection)
    if other is not None and other.folder != folder.name and other.head != report.chain.head:
        records = [record for _, record in contents.records]
        if len(records) < other.records:
            return f"It is another version of {other.id} in {other.folder}, with fewer records."
        if encode_all(records[: other.records])[1] != other.head:
            return f"It contradicts the inspection of the same name in {other.folder}."
    elif other is not None and other.folder != folder.name:
        return f"It is the same inspection as {other.folder}."
    if other is not None:
        session.delete(other)
        session.flush()
    _insert(session, folder, stamp, report)
    return ""


def _insert(session: Session, folder: Path, stamp: str, report: Report) -> None:
    s, id = report.subject, report.subject.inspection
    begun = datetime.datetime.fromisoformat(s.started)
    closed = datetime.datetime.fromisoformat(s.ended)
    states = [step.state for step in report.steps]
    standing = [(step, answer) for step in report.steps for answer in step.answers if answer.stands]
    session.execute(
        insert(Inspection),
        [
            {
                "id": id,
                "folder": folder.name,
                "stamp": stamp,
                "head": report.chain.head,
                "records": report.chain.records,
                "checklist": s.checklist,
                "title": s.title,
                "verdict": report.headline.verdict,
                "headline": report.headline.text,
                "driver": s.driver,
                "carrier": s.carrier,
                "place": s.place,
                "jurisdiction": s.jurisdiction,
                "begun": s.started,
                "closed": s.ended,
                "at": closed.astimezone(datetime.UTC).isoformat(timespec="seconds"),
                "seconds": max(0, int((closed - begun).total_seconds())),
                "finished": s.closed,
                "unanswered": report.headline.unanswered,
                "quick": sum(answer.quick for _, answer in standing),
                "left_out": sum(state in ("not done", "cannot see") for state in states),
                "holds": sum(len(step.holds) for step in report.steps),
                "delete_after": report.evidence.delete_after,
                "has_audio": any(
                    reply.audio and (folder / reply.audio).exists()
                    for _, answer in standing
                    for reply in answer.heard
                ),
            }
        ],
    )
    _many(
        session,
        UnitOf,
        [{"inspection": id, "name": unit.name, "number": unit.value} for unit in s.units],
    )
    _many(
        session,
        DefectOf,
        [
            {
                "inspection": id,
                "number": d.number,
                "id": d.id,
                "severity": d.severity,
                "status": d.status,
                "text": d.text,
                "item": d.item,
                "place": d.place,
                "mended_by": d.mended_by,
                "release": d.release.how if d.release else "",
            }
            for d in report.defects
        ],
    )
    _many(
        session,
        StepOf,
        [
            {
                "inspection": id,
                "step": step.id,
                "item": step.item,
                "state": step.state,
                "quick": any(answer.quick for answer in step.answers if answer.stands),
            }
            for step in report.steps
        ],
    )
    readings = []
    papers = []
    for step, answer in standing:
        own = answer.measured
        figures = [(step.id, step.item, own.value, own.limit, own.verdict)] if own else []
        named = {f"{x.item}, {x.finding}": x for x in answer.items if x.quantity}  # the last one
        figures += [
            (f"{step.id}: {name}", name, x.quantity, x.limit, x.verdict)
            for name, x in named.items()
        ]
        for at, item, value, limit, verdict in figures:
            if found := _READING.fullmatch(value):
                readings.append(
                    {
                        "inspection": id,
                        "step": at,
                        "item": item,
                        "value": str(_number(found[1])),
                        "unit": found[2],
                        "limit": limit,
                        "verdict": verdict,
                    }
                )
        dates = _DATE.findall(answer.text)
        if dates and answer.text.removeprefix("issued ").startswith(dates[0]):
            papers.append(
                {"inspection": id, "step": step.id, "item": step.item, "until": dates[-1]}
            )
    _many(session, ReadingOf, readings)
    _many(session, PaperOf, papers)


def _many(session: Session, table: type[Base], rows: Sequence[dict[str, Any]]) -> None:
    if rows:
        session.execute(insert(table), rows)


def _number(text: str) -> Decimal:
    """ "1 3/4", "3/16" or "5.5" as a decimal number."""
    whole, _, part = text.rpartition(" ")
    try:
        if "/" not in part:
            return Decimal(text)
        above, below = part.split("/")
        return Decimal(whole or 0) + Decimal(above) / Decimal(below)
    except (InvalidOperation, ZeroDivisionError):
        return Decimal(0)


def _marks(session: Session, folder: Path) -> None:
    marks = log.read(folder)
    standing = {mark.n for mark in log.standing(marks)}
    session.execute(delete(MarkOf))
    _many(
        session,
        MarkOf,
        [{**mark.model_dump(), "stands": mark.n in standing} for mark in marks],
    )
