"""What earlier inspections hand on to one that begins: answers not asked again, defects still open.

The rules:

1. Steps of two checklists that are written with the same ``carry`` ask for the same thing. The
   latest answer to it is looked for; a good one, and no other, stands in the new inspection too,
   and gives no fact there (H8).
2. It must be of a finished inspection, of exactly the same unit numbers, in the same jurisdiction,
   at most 24 hours old, and of the same items where they were named. An inspection in which a
   number did not agree with the order hands on no answer. A validity date is carried on the day
   on which it was given and not into the next.
3. Nothing is carried across a parting of the units: a hazard that ``parts`` them says that they
   are apart before it or after it. A walk with such a step takes nothing over, and hands on only
   what was answered after the last of them was begun. Nor is anything carried across driving, as
   far as a list shows it: a check on the road, or the report at the end.
4. A defect that was open is open here, whatever lies between (H9): where the vehicle says whose it
   is, for that unit; else for every inspection that shares a unit with its own. A stop is closed by
   a release, in whatever later inspection it is given. A minor defect is closed by a good answer to
   its own step, there or where it was handed on to. A step with an open defect is always asked.
5. When an inspection is resumed, or its device woke, all this is looked at again: an answer that
   would not be carried any more falls and is asked for.
6. Practice and inspections never meet. Recorded drivers and recordings hand on nothing at all.

Pure: values in, values out.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from voicecheck.checklist.compiled import Compiled, Step
from voicecheck.run.past import CARRIED_FOR, SPOKEN_BY_PEOPLE, Past, bare, moment, unit_numbers
from voicecheck.session import records as r

ON_THE_ROAD = frozenset({"en-route", "post-trip"})
NEVER = frozenset({"spell", "memo", "attest"})  # identity, a note and a statement are one's own


def carried_into(opened: r.Opened, compiled: Compiled, past: Sequence[Past]) -> r.Opened:
    """The opening record with what these earlier inspections hand on."""
    if opened.source not in SPOKEN_BY_PEOPLE:
        return opened
    kin = [p for p in past if _meet(p.opened, opened)]
    units = {number for _, number in unit_numbers(opened.units)}
    defects = tuple(
        _placed(found, compiled)
        for found in open_defects(kin)
        if not found.unit or bare(found.unit) in units
    )
    asked = {x.step for x in defects}
    answers = [] if parts(compiled) else _answers(opened, kin)
    parted = _parted(kin)
    carried = []
    for step in compiled.steps:
        if not step.carry or step.kind in NEVER or step.only_again or step.id in asked:
            continue
        known = _latest(step, answers)
        if known and _fresh(known, step, opened, parted):
            origin = known.origin
            carried.append(r.Carried(step.carry, step.id, known.text, known.quick, origin))
    return replace(opened, carried=tuple(carried), defects=defects)


def _meet(earlier: r.Opened, now: r.Opened) -> bool:
    return (
        earlier.operating == now.operating
        and earlier.source in SPOKEN_BY_PEOPLE
        and bool(unit_numbers(earlier.units) & unit_numbers(now.units))
    )


# -- answers -----------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Known:
    """A standing answer to what is carried under ``name``."""

    name: str
    items: frozenset[str]
    whole: bool  # not one of several parts of a long group
    good: bool
    text: str
    quick: bool
    origin: r.Origin
    at: datetime


def _answers(opened: r.Opened, kin: Iterable[Past]) -> list[_Known]:
    found = []
    for past in kin:
        standing = past.standing()
        if (
            unit_numbers(past.opened.units) != unit_numbers(opened.units)
            or past.opened.jurisdiction != opened.jurisdiction
            or past.finished is None
            or not past.whole
            or any(x.answer == "mismatch" for _, x in standing.values())
        ):
            continue
        handed_on = {x.step: x for x in past.opened.carried}
        for id, (n, answer) in standing.items():
            step = past.compiled.step(id)
            if not step.carry:
                continue
            origin, text, quick = past.origin(n), answer.text, answer.quick
            if answer.outcome == "carried":
                origin, text, quick = handed_on[id].origin, handed_on[id].text, handed_on[id].quick
            at = moment(origin.wall)
            if at is not None:
                good = answer.outcome in ("good", "carried")
                items = frozenset(item.name for item in step.items)
                whole = len(_siblings(past.compiled, step)) == 1
                found.append(_Known(step.carry, items, whole, good, text, quick, origin, at))
    return found


def _siblings(compiled: Compiled, step: Step) -> list[Step]:
    """The parts of one long group at one position, this one among them."""
    place = step.id.partition("@")[2]
    return [
        s for s in compiled.steps if s.written == step.written and s.id.partition("@")[2] == place
    ]


def _latest(step: Step, answers: Iterable[_Known]) -> _Known | None:
    """The latest answer to what the step asks for, if it is good and covers all its items."""
    items = frozenset(item.name for item in step.items)
    about = [
        x for x in answers if x.name == step.carry and (not items or not x.items or items & x.items)
    ]
    if not about:
        return None
    last = max(about, key=lambda x: x.at)
    covered = items <= last.items if items else last.whole
    return last if last.good and covered else None


def _fresh(known: _Known, step: Step, opened: r.Opened, parted: datetime | None) -> bool:
    now = moment(opened.at.wall)
    if now is None or not _holds(known.at, step, now):
        return False
    return parted is None or known.at > parted


def _holds(at: datetime, step: Step, now: datetime) -> bool:
    """Whether an answer of that moment is young enough."""
    if not at <= now <= at + CARRIED_FOR:
        return False
    return step.kind != "date" or at.astimezone(now.tzinfo).date() == now.date()


def fallen(
    opened: r.Opened,
    compiled: Compiled,
    standing: Mapping[str, r.Answered],
    now: datetime,
    past: Sequence[Past],
) -> tuple[str, ...]:
    """The steps whose answer was carried, still stands, and would not be carried now."""
    handed_on = {x.step: x for x in opened.carried}
    carried = [id for id, x in standing.items() if x.outcome == "carried" and id in handed_on]
    others = [p for p in past if p.folder != opened.inspection]
    again = carried_into(replace(opened, at=r.Stamp(now.isoformat(), 0)), compiled, others)
    left = {x.step for x in again.carried}
    return tuple(
        id
        for id in carried
        if id not in left
        or (at := moment(handed_on[id].origin.wall)) is None
        or not _holds(at, compiled.step(id), now)
    )


def _parted(kin: Sequence[Past]) -> datetime | None:
    """When units of these were last parted, being parted, or had been driven."""
    driven = [p.records[-1].at.wall for p in kin if p.compiled.id in ON_THE_ROAD]
    moments = (*map(parting, kin), *map(moment, driven))
    return max((at for at in moments if at is not None), default=None)


def parts(compiled: Compiled) -> frozenset[str]:
    """The steps of the walk at which the units come together or apart."""
    hazards = compiled.hazards
    return frozenset(
        s.id for s in compiled.steps if s.hazard and hazards[s.hazard].parts and not s.only_again
    )


def parting(past: Past) -> datetime | None:
    """The last moment at which the units may still, or again, have been apart; None if never."""
    hazards = past.compiled.hazards
    begun = [x for x in past.records if isinstance(x, r.StepStarted)]
    apart = [x for x in begun if x.hazard and hazards[x.hazard].parts]
    if parts(past.compiled) - {x.step for x in begun}:
        return moment(past.records[-1].at.wall)
    return moment(apart[-1].at.wall) if apart else None


# -- defects -----------------------------------------------------------------------------------


def open_defects(past: Iterable[Past]) -> list[r.CarriedDefect]:
    """What is open after these inspections, each once, oldest first; ``step`` is left empty."""
    found: dict[tuple[str, int], r.CarriedDefect] = {}
    closed: set[tuple[str, int]] = set()
    for inspection in past:
        known, over = _defects_of(inspection)
        found.update({(x.origin.inspection, x.origin.record): x for x in known})
        closed.update((x.origin.inspection, x.origin.record) for x in over)
    left = [x for key, x in found.items() if key not in closed]
    return sorted(left, key=lambda x: (x.origin.wall, x.origin.inspection, x.origin.record))


def _defects_of(past: Past) -> tuple[list[r.CarriedDefect], list[r.CarriedDefect]]:
    """The defects that the inspection knows of, and those that it closes."""
    handed_on = {x.origin: x for x in past.opened.defects}
    standing = past.standing()
    released = {x.number for x in past.records if isinstance(x, r.Released)}
    known, over = list(past.opened.defects), []
    within = {x.reckoning: x.verdict == "within" for x in past.records if isinstance(x, r.Reckoned)}
    for n, x in enumerate(past.records, 1):
        if not isinstance(x, r.DefectFound):
            continue
        made = handed_on[x.origin] if x.origin else _found(past, n, x)
        if not x.origin:
            known.append(made)
        if x.reckoning:
            good = within.get(x.reckoning, False)
        else:
            good = x.step in standing and standing[x.step][1].outcome == "good"
        if x.number in released or (x.severity == "minor" and good):
            over.append(made)
    return known, over


def _found(past: Past, n: int, x: r.DefectFound) -> r.CarriedDefect:
    step = past.compiled.step(x.step)
    unit = next((item.unit for item in step.items if item.name == x.item), step.unit)
    return r.CarriedDefect(
        defect=x.defect,
        severity=x.severity,
        name=step.carry,
        found_at=x.step,
        step="",
        item=x.item,
        unit=dict(past.opened.units).get(unit, ""),
        text=x.text,
        scope=x.scope,
        mended_by=x.mended_by,
        source=x.source,
        origin=past.origin(n),
        reckoning=x.reckoning,
    )


def _placed(found: r.CarriedDefect, compiled: Compiled) -> r.CarriedDefect:
    """With the step of this checklist that looks at the same thing."""
    return replace(found, step=next(_looking(found, compiled), ""))


def _looking(found: r.CarriedDefect, compiled: Compiled) -> Iterator[str]:
    if found.reckoning:  # tested by the same figure, which is reckoned anew
        for part in compiled.reckonings if compiled.id == found.origin.checklist else ():
            if part.id == found.reckoning:
                yield part.steps[0]
        return
    for step in compiled.steps:
        items = {item.name for item in step.items}
        same = step.id == found.found_at if compiled.id == found.origin.checklist else False
        named = bool(found.name) and step.carry == found.name
        if (same or named) and (not items or found.item in items):
            yield step.id
