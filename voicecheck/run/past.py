"""Earlier inspections as their journals tell them. Reads files, changes none.

Of a long history only the first and the last line of each journal are looked at, and those read
whole that can still matter: each inspection lists what was open for its units when it began, so
behind one of the same units lies nothing more than what was written after that one had begun.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import lru_cache
from pathlib import Path

from voicecheck.checklist.compiled import Compiled
from voicecheck.checklist.vehicle import Vehicle
from voicecheck.errors import JournalDamaged, VoicecheckError
from voicecheck.journal.file import JOURNAL, read_bytes
from voicecheck.journal.format import line_digests, read_to_damage
from voicecheck.run.library import Sources, compile_sources
from voicecheck.session import records as r
from voicecheck.session.fold import evolve
from voicecheck.session.state import State

CARRIED_FOR = timedelta(hours=24)
SHIFT = timedelta(hours=4)  # an inspection is resumed within it
SPOKEN_BY_PEOPLE = frozenset({"microphone", "typed"})  # not a recorded driver, nor a recording
_TAIL = 65536


@dataclass(frozen=True, eq=False)
class Past:
    """One inspection. ``whole``: its journal has no damage; else the records before the damage.

    ``digests``: SHA-256 of each record's line.
    """

    folder: str
    compiled: Compiled
    vehicle: Vehicle
    records: tuple[r.Record, ...]
    digests: tuple[str, ...]
    whole: bool = True

    @property
    def opened(self) -> r.Opened:
        first = self.records[0]
        assert isinstance(first, r.Opened)
        return first

    @property
    def finished(self) -> r.Finished | None:
        last = self.records[-1]
        return last if isinstance(last, r.Finished) else None

    def origin(self, n: int) -> r.Origin:
        """What cites record ``n`` of this inspection."""
        wall = self.records[n - 1].at.wall
        return r.Origin(self.folder, self.opened.checklist, n, self.digests[n - 1], wall)

    def standing(self) -> dict[str, tuple[int, r.Answered]]:
        """Step to its standing answer, with the number of the record."""
        found: dict[str, tuple[int, r.Answered]] = {}
        for n, record in enumerate(self.records, 1):
            if isinstance(record, r.Answered):
                found[record.step] = (n, record)
            elif isinstance(record, r.Withdrawn):
                found.pop(record.step, None)
        return found


def moment(wall: str) -> datetime | None:
    """The moment of a record; None when it has no offset, so that it cannot be compared."""
    try:
        found = datetime.fromisoformat(wall)
    except ValueError:
        return None
    return found if found.utcoffset() is not None else None


def bare(number: str) -> str:
    """A number without what is written differently from paper to paper."""
    return "".join(c for c in number.upper() if c.isalnum())


def unit_numbers(units: Iterable[tuple[str, str]]) -> frozenset[tuple[str, str]]:
    """The units by kind and number, without plates, spelled alike."""
    return frozenset(
        (kind, bare(number))
        for kind, number in units
        if not kind.endswith(" plate") and bare(number)
    )


def folded(compiled: Compiled, records: Iterable[r.Record]) -> State:
    """The state after these records.

    JournalDamaged when one of them does not fit the checklist that travels with them: the chain is
    whole, and yet they were not written by this program.
    """
    state = State()
    for n, record in enumerate(records, 1):
        try:
            _names_known(compiled, record)
            state = evolve(compiled, state, record)
        except (LookupError, ValueError, TypeError, AttributeError, AssertionError) as error:
            raise JournalDamaged(
                f"Record {n} ({record.kind}) does not fit the checklist that travels with it.",
                "use a copy of the inspection that is whole, or the version that wrote it",
                0,
                n,
            ) from error
    return state


_CLOSED = {
    "outcome": frozenset(
        ("good", "noted", "failed", "not done", "cannot see", "not fitted", "blocked", "carried")
    ),
    "severity": frozenset(("major", "minor")),
}


_AT_A_STEP = (r.StepStarted, r.Answered, r.Withdrawn, r.Again, r.ItemNoted, r.ItemMeasured)


def _names_known(compiled: Compiled, record: r.Record) -> None:
    """LookupError for a step, hazard, fact or outcome that there is not."""
    for id in (getattr(record, "step", ""), *getattr(record, "steps", ())):
        if id or isinstance(record, _AT_A_STEP):
            compiled.step(id)
    if hazard := getattr(record, "hazard", ""):
        compiled.hazards[hazard]
    for fact in (*getattr(record, "gives", ()), *getattr(record, "ends", ())):
        compiled.facts[fact]
    for name, known in _CLOSED.items():
        value = getattr(record, name, None)
        if value is not None and not isinstance(record, r.Finished) and value not in known:
            raise LookupError(value)


def read_past(folder: Path) -> Past | None:
    """The inspection in ``folder``; None when its beginning cannot be read."""
    try:
        contents, damage = read_to_damage(read_bytes(folder))
        records = tuple(record for _, record in contents.records)
        if not records or not isinstance(records[0], r.Opened):
            return None
        opened = records[0]
        compiled, vehicle = _compiled(
            Sources(opened.checklist_text, opened.hazards_text, opened.vehicle_text),
            opened.season,
            opened.jurisdiction,
            opened.settings,
            opened.order,
        )
        folded(compiled, records)
    except VoicecheckError:
        return None
    return Past(folder.name, compiled, vehicle, records, line_digests(records), damage is None)


@lru_cache(maxsize=64)
def _compiled(
    sources: Sources, season: str, jurisdiction: str, settings: r.Pairs, order: r.Pairs
) -> tuple[Compiled, Vehicle]:
    return compile_sources(
        sources, season=season, jurisdiction=jurisdiction, settings=dict(settings), order=order
    )


def all_past(parent: Path) -> tuple[list[Past], list[str]]:
    """Every inspection under ``parent``, oldest first, and the folders that cannot be read."""
    found, unreadable = [], []
    for file in sorted(parent.glob(f"*/{JOURNAL}")):
        past = read_past(file.parent)
        if past is None:
            unreadable.append(file.parent.name)
        else:
            found.append(past)
    return sorted(found, key=lambda past: past.opened.at.wall), unreadable


def past_of(parent: Path, opened: r.Opened) -> tuple[list[Past], list[str]]:
    """The inspections under ``parent`` that can matter to one that is opened now.

    And the folders of those that should and cannot be read.
    """
    wanted = unit_numbers(opened.units)
    now = moment(opened.at.wall)
    glances = filter(None, map(_glance, sorted(parent.glob(f"*/{JOURNAL}"))))
    kin = sorted(
        (g for g in glances if g.units & wanted and g.operating == opened.operating and g.people),
        key=lambda g: g.ended,
        reverse=True,
    )
    begun: dict[tuple[str, str], datetime] = {}  # unit -> when its latest inspection began
    found: list[Past] = []
    unreadable: list[str] = []
    for glance in kin:
        known = [begun.get(unit) for unit in glance.units & wanted]
        old = now is not None and glance.ended < now - CARRIED_FOR
        if old and all(at is not None and glance.ended < at for at in known):
            continue
        past = read_past(glance.folder)
        if past is None:
            unreadable.append(glance.folder.name)
            continue
        found.append(past)
        for unit in glance.units:
            begun[unit] = max(begun.get(unit, glance.began), glance.began)
    return found, unreadable


@dataclass(frozen=True)
class _Glance:
    folder: Path
    units: frozenset[tuple[str, str]]
    operating: str
    people: bool
    began: datetime
    ended: datetime


def _glance(file: Path) -> _Glance | None:
    """What the first and the last whole line of a journal tell; None when they tell nothing."""
    try:
        with file.open("rb") as stream:
            first = json.loads(stream.readline())
            size = stream.seek(0, 2)
            stream.seek(max(0, size - _TAIL))
            lines = stream.read().rpartition(b"\n")[0].splitlines()
        body = first["body"]
        units = unit_numbers(tuple(pair) for pair in body["units"])
        began = moment(first["wall"])
        ended = moment(json.loads(lines[-1])["wall"]) if len(lines) > 1 else began
        people = body["source"] in SPOKEN_BY_PEOPLE
        operating = str(body["operating"])
    except (OSError, ValueError, KeyError, TypeError, IndexError):
        return None
    if began is None or ended is None:
        return None
    return _Glance(file.parent, units, operating, people, began, ended)
