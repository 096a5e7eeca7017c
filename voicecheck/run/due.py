"""What must be done next and by when, from the journals of earlier inspections.

The rules:

1. Only inspections led by people count; practice is no evidence and is due for nothing.
2. Each line names the record that it rests on and the source of its period or duty. Where the table
   of limits has no row for the jurisdiction, nothing is due by this program.
3. A defect is due until it is released (a stop) or its step is answered good (a minor one).
4. A trip begins with the last good answer to a step of leaving; a check on the road is an
   ``en-route`` inspection. It ends with a ``post-trip`` inspection, or where the units are parted.
   The program knows no miles: it tells distance and time, and the moment at which the time would be
   up if the driver drove without a break.
5. A paper is due by the date that was answered for it last. The date of the last periodic
   inspection in the vehicle file counts for the unit of that number.
6. Reports are those of ``trip-inspection`` and ``post-trip``. Those that need not be kept any
   longer are named, and the one that comes next.

Pure: what is now comes in. Periods are computed in limits/.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import timedelta

from voicecheck.limits.enroute import next_check
from voicecheck.limits.judge import CannotJudge
from voicecheck.limits.retention import period
from voicecheck.limits.table import Limit
from voicecheck.limits.validity import last_valid
from voicecheck.run.carry import open_defects, parting
from voicecheck.run.past import SHIFT, SPOKEN_BY_PEOPLE, Past, moment, unit_numbers
from voicecheck.session import records as r
from voicecheck.units import KM, MI, MIN, Quantity

REPORTS = frozenset({"trip-inspection", "post-trip"})
_DATE = re.compile(r"\d{4}-\d\d(?:-\d\d)?")


@dataclass(frozen=True)
class Due:
    """``what``: stop | defect | cargo check | trip report | paper | resume | retention, or
    unreadable.

    ``when``: the last month, day or moment (ISO 8601), "" for now. ``record``: number in the
    journal of ``inspection``, 0 when it cannot be read.
    """

    what: str
    text: str
    when: str
    overdue: bool
    source: str
    inspection: str
    record: int


def due(past: Sequence[Past], unreadable: Iterable[str], now: str) -> list[Due]:
    """The lines, first what is overdue or due now, then by date. ``now``: ISO 8601 with offset."""
    real = [
        p
        for p in past
        if p.opened.operating == "inspection" and p.opened.source in SPOKEN_BY_PEOPLE
    ]
    real.sort(key=lambda p: p.opened.at.wall)
    found = [
        Due("unreadable", "It cannot be read: what it leaves open is not known.", "", False,
            "voicecheck verify", name, 0)
        for name in unreadable
    ]  # fmt: skip
    found += _defects(real)
    found += _unfinished(real, now)
    for units in dict.fromkeys(unit_numbers(p.opened.units) for p in real):
        same = [p for p in real if unit_numbers(p.opened.units) == units]
        found += _cargo_check(same, now)
        found += _trip_report(same, now)
        found += _papers(same, now)
    found += _inspected(real, now)
    found += _retention(real, now)
    return sorted(found, key=lambda x: (bool(x.when) and not x.overdue, x.when))


def _over(when: str, now: str) -> bool:
    """Whether the month, day or moment has passed; it counts itself."""
    if "T" not in when:
        return now[: len(when)] > when
    end, at = moment(when), moment(now)
    return end is not None and at is not None and at > end


def _units(past: Past) -> str:
    plates = {name for name, _ in past.opened.units if name.endswith(" plate")}
    return ", ".join(f"{kind} {number}" for kind, number in past.opened.units if kind not in plates)


def _cited(rows: Iterable[Limit]) -> str:
    told = [f"{row.source}, {row.section} ({row.standing})" for row in rows]
    return "; ".join(dict.fromkeys(told))


# -- defects, and what is not finished -----------------------------------------------------------


def _defects(real: Sequence[Past]) -> Iterator[Due]:
    by_folder = {p.folder: p for p in real}
    for x in open_defects(real):
        found_in = by_folder.get(x.origin.inspection)
        on = f" ({x.unit or (_units(found_in) if found_in else 'a unit of these')})"
        stop = x.severity == "major"
        text = f"{'Stops the vehicle' if stop else 'To be mended'}{on}: {x.text}"
        what = "stop" if stop else "defect"
        source = "; ".join(x.source)
        yield Due(what, text, "", False, source, x.origin.inspection, x.origin.record)


def _unfinished(real: Sequence[Past], now: str) -> Iterator[Due]:
    for past in real:
        last = moment(past.records[-1].at.wall)
        if past.finished is not None or last is None:
            continue
        when = (last + SHIFT).isoformat()
        over = _over(when, now)
        text = (
            f"{past.compiled.title} was not finished: too late to go on, begin it anew."
            if over
            else f"{past.compiled.title} is not finished: voicecheck resume."
        )
        source = "an inspection is resumed within four hours (rule of this program)"
        yield Due("resume", text, when, over, source, past.folder, len(past.records))


# -- on the road ---------------------------------------------------------------------------------


def _cargo_check(same: Sequence[Past], now: str) -> Iterator[Due]:
    begun: tuple[Past, int, bool] | None = None
    for past in same:
        if past.compiled.id == "post-trip" and past.finished:
            begun = None
        if parting(past):
            begun = None
        if past.finished is None or past.finished.outcome != "complete":
            continue
        on_the_road = past.compiled.id == "en-route"
        left = [
            n for id, (n, _) in past.standing().items() if past.compiled.step(id).hazard == "leave"
        ]
        if left or on_the_road:
            begun = past, max(left, default=len(past.records)), on_the_road
    if begun is None:
        return
    past, n, checked = begun
    place = past.opened.jurisdiction
    nothing = Quantity.of(0, KM if place.partition("-")[0] == "CA" else MI)
    check = next_check(nothing, Quantity.of(0, MIN), checked=checked, jurisdiction=place)
    start = moment(past.records[n - 1].at.wall)
    if isinstance(check, CannotJudge) or start is None:
        return
    when = (start + timedelta(minutes=int(check.time.value))).isoformat()
    text = (
        f"Check the cargo ({_units(past)}) within {check.distance} or {check.time} of driving, or "
        "at a change of duty status, whichever is first; without a break by this time"
    )
    yield Due("cargo check", text, when, _over(when, now), _cited(check.limits), past.folder, n)


def _trip_report(same: Sequence[Past], now: str) -> Iterator[Due]:
    whole = [
        p
        for p in same
        if p.compiled.id == "trip-inspection" and p.finished and p.finished.outcome == "complete"
    ]
    if not whole:
        return
    past = whole[-1]
    end = past.records[-1].at.wall
    valid = period("trip-inspection", end, past.opened.jurisdiction)
    if isinstance(valid, CannotJudge):
        return
    text = f"The trip inspection ({_units(past)}) is to be done again"
    over = _over(valid.last, now)
    cited = _cited([valid.limit])
    yield Due("trip report", text, valid.last, over, cited, past.folder, len(past.records))


# -- papers --------------------------------------------------------------------------------------


def _papers(same: Sequence[Past], now: str) -> Iterator[Due]:
    latest: dict[str, tuple[Past, int, r.Answered]] = {}
    for past in same:
        for id, (n, answer) in past.standing().items():
            step = past.compiled.step(id)
            if step.date is not None and answer.answer in ("date", "overdue"):
                latest[step.carry or id] = past, n, answer
    for past, n, answer in latest.values():
        step = past.compiled.step(answer.step)
        spoken = _DATE.search(answer.text)
        assert step.date is not None
        if spoken is None:
            continue
        when = last_valid(spoken.group(), step.date.valid)
        text = f"{step.item} ({_units(past)}) is valid to this date"
        source = "; ".join(step.sources)
        yield Due("paper", text, when, _over(when, now), source, past.folder, n)


def _inspected(real: Sequence[Past], now: str) -> Iterator[Due]:
    """By the vehicle file: the last periodic inspection of each unit."""
    told: dict[str, Due] = {}
    for past in real:
        numbers = dict(past.opened.units)
        for name, unit in zip(past.vehicle.unit_names(), past.vehicle.units, strict=True):
            if not unit.inspected or numbers.get(name) != unit.number:
                continue
            valid = period("periodic-inspection", unit.inspected, past.opened.jurisdiction)
            if isinstance(valid, CannotJudge):
                continue
            text = f"Periodic inspection of the {name} {unit.number} is valid to this date"
            cited = _cited([valid.limit])
            over = _over(valid.last, now)
            told[unit.number] = Due("paper", text, valid.last, over, cited, past.folder, 1)
    yield from told.values()


def _retention(real: Sequence[Past], now: str) -> Iterator[Due]:
    ends = []
    for past in real:
        if past.compiled.id not in REPORTS or past.finished is None:
            continue
        kept = period("report-kept", past.records[-1].at.wall[:10], past.opened.jurisdiction)
        if not isinstance(kept, CannotJudge):
            ends.append((kept, past))
    later = sorted((x for x in ends if not _over(x[0].last, now)), key=lambda x: x[0].last)
    for kept, past in [*(x for x in ends if _over(x[0].last, now)), *later[:1]]:
        text = "The report must be kept to this date"
        yield Due("retention", text, kept.last, False, _cited([kept.limit]), past.folder,
                  len(past.records))  # fmt: skip


def lines(found: Sequence[Due]) -> Iterator[str]:
    """For a reader."""
    if not found:
        yield "Nothing is due by the inspections in this folder."
    for x in found:
        when = f"by {x.when[:16].replace('T', ' ')}" if x.when else "now"
        yield f"{'OVERDUE, ' if x.overdue else ''}{when}: {x.text}"
        rests = f"record {x.record} of {x.inspection}" if x.record else x.inspection
        yield f"    {x.source}; {rests}"
