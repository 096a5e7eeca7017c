"""Opening an inspection, resuming one, and reading one back."""

from __future__ import annotations

import datetime
import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from voicecheck import __version__
from voicecheck.checklist.compiled import Compiled
from voicecheck.checklist.order import Order
from voicecheck.checklist.vehicle import Vehicle
from voicecheck.errors import InspectionClosed, JournalDamaged, OrderInvalid
from voicecheck.journal.file import JournalFile
from voicecheck.journal.file import read as read_journal
from voicecheck.run.carry import carried_into
from voicecheck.run.library import Sources, compile_sources
from voicecheck.run.past import SHIFT, folded, past_of
from voicecheck.session import records as r
from voicecheck.session.state import Phase, State

SHIFT_S = int(SHIFT.total_seconds())


@dataclass(frozen=True)
class Setting:
    """What is known before the first word: people, engine, mode of operation."""

    operating: str  # inspection | practice
    source: str  # microphone | wav | typed | rehearsal
    engine: str = ""
    engine_digest: str = ""
    voice: str = ""
    driver: str = ""
    carrier: str = ""
    place: str = ""
    season: str = "summer"
    jurisdiction: str = ""
    settings: tuple[tuple[str, str], ...] = ()
    units: tuple[tuple[str, str], ...] = ()
    codes: bool = False  # whether release codes can be checked
    audio_days: int = 0  # after which recordings may be deleted, 0: not set
    order: Order | None = None


def open_inspection(
    sources: Sources,
    setting: Setting,
    at: r.Stamp,
    parent: Path,
    told: Callable[[str], None] = print,
) -> tuple[Compiled, r.Opened, Path]:
    """The compiled checklist, the first record and the folder of a new inspection.

    The first record holds what earlier inspections under ``parent`` hand on (run/carry.py); where
    one of them cannot be read, ``told`` is given a line that says so.
    """
    order = setting.order
    compiled, vehicle = compile_sources(
        sources,
        season=setting.season,
        jurisdiction=setting.jurisdiction,
        settings=dict(setting.settings),
        order=order.rest() if order else (),
    )
    fits(order, vehicle)
    given = {**(order.numbers() if order else {}), **dict(setting.units)}
    plates = {
        f"{name} plate": unit.plate
        for name, unit in zip(vehicle.unit_names(), vehicle.units, strict=True)
        if unit.plate and given.get(name, unit.number) == unit.number  # else of another unit
    }
    numbers = {**dict(vehicle.numbers()), **plates, **given}
    folder = _free_folder(parent, compiled.id, at, setting.operating)
    opened = r.Opened(
        at=at,
        inspection=folder.name,
        checklist=compiled.id,
        edition=compiled.edition,
        checklist_text=sources.checklist,
        hazards_text=sources.hazards,
        vehicle_text=sources.vehicle,
        settings=tuple(sorted(compiled.settings.items())),
        jurisdiction=setting.jurisdiction or vehicle.jurisdiction,
        season=setting.season,
        operating=setting.operating,
        source=setting.source,
        engine=setting.engine,
        engine_digest=setting.engine_digest,
        voice=setting.voice,
        program=f"voicecheck {__version__}",
        driver=setting.driver,
        carrier=(order.carrier if order else None) or setting.carrier,
        units=tuple(numbers.items()),
        place=setting.place,
        codes=setting.codes,
        audio_days=setting.audio_days,
        order=order.rest() if order else (),
    )
    past, unreadable = past_of(parent, opened)
    for name in unreadable:
        told(f"({name} cannot be read: nothing is carried from it, no open defect either.)")
    return compiled, carried_into(opened, compiled, past), folder


def fits(order: Order | None, vehicle: Vehicle) -> None:
    """OrderInvalid when the order names a unit that the vehicle has not."""
    if order is None:
        return
    for unit in order.units:
        if unit not in vehicle.unit_names():
            raise OrderInvalid(
                f"the order {order.order!r} names a {unit}, and {vehicle.name} has none",
                f"its units are: {', '.join(vehicle.unit_names())}; or name another vehicle "
                "with --vehicle",
            )


def _free_folder(parent: Path, checklist: str, at: r.Stamp, operating: str) -> Path:
    when = re.sub(r"[^0-9]", "", at.wall[:16])
    base = f"{'practice-' if operating == 'practice' else ''}{checklist}-{when[:8]}-{when[8:]}"
    for n in range(1, 1000):
        folder = parent / (base if n == 1 else f"{base}-{n}")
        if not folder.exists():
            return folder
    raise InspectionClosed(
        f"There are a thousand inspections called {base}.", "name another folder with --folder"
    )


def compiled_of(records: tuple[r.Record, ...], folder: Path) -> Compiled:
    """The checklist that travels in the first record."""
    if not records or not isinstance(records[0], r.Opened):
        raise JournalDamaged(
            f"The journal in {folder} does not begin with an opening record.",
            "use a copy of the inspection that is whole",
            0,
            1,
        )
    opened = records[0]
    sources = Sources(
        opened.checklist_text, opened.hazards_text, opened.vehicle_text, opened.checklist
    )
    compiled, _ = compile_sources(
        sources,
        season=opened.season,
        jurisdiction=opened.jurisdiction,
        settings=dict(opened.settings),
        order=opened.order,
    )
    return compiled


def read_inspection(folder: Path) -> tuple[Compiled, tuple[r.Record, ...]]:
    """The checklist and the records of an inspection, read only. JournalDamaged."""
    records = tuple(record for _, record in read_journal(folder).records)
    compiled = compiled_of(records, folder)
    folded(compiled, records)
    return compiled, records


def reopen(folder: Path) -> tuple[Compiled, State, JournalFile, r.Stamp]:
    """An inspection to go on with: its checklist, state, journal, and its last moment.

    InspectionClosed when it is finished.
    """
    journal = JournalFile.open(folder)
    try:
        records = tuple(record for _, record in journal.records)
        compiled = compiled_of(records, folder)
        state = folded(compiled, records)
        if state.phase is Phase.FINISHED:
            raise InspectionClosed(
                f"The inspection in {folder} is finished.",
                "start a new one, or read its report",
            )
    except BaseException:
        journal.close()
        raise
    return compiled, state, journal, records[-1].at


def seconds_between(earlier: r.Stamp, later: r.Stamp, *, steady: bool = True) -> int:
    """Seconds that have passed at least: the more of the wall's and the steady clock's, or none.

    A wall clock that was set back hides time, the steady clock does not. It begins anew with the
    device, and then shows less than has passed, never more. ``steady`` False: the stamps' steady
    clocks have nothing to do with each other.
    """
    before = datetime.datetime.fromisoformat(earlier.wall)
    after = datetime.datetime.fromisoformat(later.wall)
    passed = (later.mono - earlier.mono) // 1000 if steady else 0
    return max(0, int((after - before).total_seconds()), passed)


def last_open(parent: Path) -> Path | None:
    """The latest inspection under ``parent`` that is not finished, for resume without a name."""
    folders = sorted(
        (p.parent for p in parent.glob("*/journal.jsonl")),
        key=lambda p: (p / "journal.jsonl").stat().st_mtime,
        reverse=True,
    )
    for folder in folders:
        try:
            _, records = read_inspection(folder)
        except JournalDamaged:
            continue
        if records and not isinstance(records[-1], r.Finished):
            return folder
    return None
