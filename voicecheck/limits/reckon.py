"""Figures that are reckoned from several readings of one inspection.

Rules of this file:

1. ``RULES`` is the closed table: name to a pure function of the readings, the inputs that the
   author gives, and the jurisdiction. Nothing is remembered between calls.
2. What is missing gives "cannot judge" and names it. Too many readings are an error of the author
   and give "cannot judge" too: nothing is picked out silently.
3. A result is judged against the table of limits and is never more than that row says.

Names: "difference" (greatest difference of left and right stroke on one axle), "tie-downs" (sum and
number of the tiedowns on the cargo), "pressure kept" (part of the pressure left after one full
application).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from decimal import ROUND_DOWN, Decimal
from fractions import Fraction
from types import MappingProxyType

from voicecheck.errors import IntervalUnusable, UnknownUnit
from voicecheck.limits.judge import Judgement, judge_family, pressure_kept
from voicecheck.limits.tiedowns import Kind, Tiedown, secured
from voicecheck.units import COUNT, IN, PERCENT, Quantity, rounded


@dataclass(frozen=True, slots=True)
class Reading:
    """One accepted measurement: its step, the position within it ("" if none), what was read, and
    what the position gives for the limits (axle, chamber type, kind of tiedown ...)."""

    step: str
    position: str
    quantity: Quantity
    given: Mapping[str, str]


Rule = Callable[[tuple[Reading, ...], Mapping[str, str], str], Judgement]


def difference(
    readings: tuple[Reading, ...], given: Mapping[str, str], jurisdiction: str
) -> Judgement:
    """The greatest difference between left and right on one axle, against "stroke-difference".

    The ``given`` of a reading holds "axle name" and "side" (left, right). An axle that the table
    has no row for is told in the reason and decides nothing. Readings of one axle in two units are
    converted exactly into the unit of the left one.
    """
    sides: dict[str, dict[str, Reading]] = {}
    for reading in readings:
        axle, side = reading.given.get("axle name", ""), reading.given.get("side", "")
        if axle and side:
            sides.setdefault(axle, {})[side] = reading
    judged: list[tuple[str, Judgement]] = []
    for axle, pair in sides.items():
        if len(pair) < 2:
            return _cannot(f"{axle}: only one side was measured.", "stroke of the other side")
        left, right = pair["left"].quantity, pair["right"].quantity
        gap = abs(Fraction(left.value) - right.exact_in(left.unit))
        inputs = {**pair["left"].given, **given}
        found = judge_family(
            "stroke-difference", Quantity(rounded(gap), left.unit), inputs, jurisdiction
        )
        judged.append((axle, found))
    if not judged:
        return _cannot("No stroke of a left and a right brake.", "strokes")
    order = ("outside", "within", "cannot judge")
    worst = min(judged, key=lambda pair: (order.index(pair[1].verdict), -_size(pair[1])))
    told = "; ".join(f"{axle} {found.reading}" for axle, found in judged)
    axle, first = worst
    return replace(first, reason=f"Left and right differ: {told}. {axle}: {first.reason}")


def _size(judged: Judgement) -> Fraction:
    return judged.reading.exact_in(IN)


def tie_downs(
    readings: tuple[Reading, ...], given: Mapping[str, str], jurisdiction: str
) -> Judgement:
    """Sum of the working load limits and number of the tiedowns, against weight and length.

    A reading in "count" is the number of tiedowns of one kind; its ``given`` holds "webbing width",
    "chain size" (with "chain grade") or "rope size", "use" (direct or over) and "marked limit"
    where one is marked. A mass is the weight of the article, a length its length; else they are in
    a ``given`` as "article weight" and "article length". "blocked" stands in a ``given`` too;
    without it the article counts as not blocked, and without "use" a tiedown as direct: both ask
    for more.
    """
    cargo = {key: value for reading in readings for key, value in reading.given.items()} | {**given}
    kinds = []
    for reading in readings:
        kind = reading.quantity.unit.kind
        if kind in _SIZES:
            cargo[_SIZES[kind]] = str(reading.quantity)
        elif kind == COUNT.kind and reading.quantity.value % 1 == 0:
            kinds.append(_tiedown(reading))
        else:
            return _cannot(f"{reading.quantity} is no number of tiedowns.", "number of tiedowns")
    missing = tuple(key for key in _SIZES.values() if key not in cargo)
    if missing:
        return _cannot(f"Not known: {', '.join(missing)}.", *missing)
    weight, length = (Quantity.parse(cargo[key]) for key in _SIZES.values())
    return secured(kinds, weight, length, cargo.get("blocked") == "yes", jurisdiction).judgement


_SIZES = {"mass": "article weight", "length": "article length"}
_KINDS: tuple[tuple[str, Kind], ...] = (
    ("webbing width", "strap"),
    ("chain size", "chain"),
    ("rope size", "rope"),
)


def _tiedown(reading: Reading) -> Tiedown:
    has = reading.given
    key, kind = next((pair for pair in _KINDS if pair[0] in has), _KINDS[0])
    marked = has.get("marked limit", "")
    return Tiedown(
        name=reading.position or reading.step,
        count=int(reading.quantity.value),
        kind=kind,
        size=has.get(key, ""),
        grade=has.get("chain grade", ""),
        use="over" if has.get("use") == "over" else "direct",
        marked=Quantity.parse(marked) if marked else None,
    )


def kept(readings: tuple[Reading, ...], given: Mapping[str, str], jurisdiction: str) -> Judgement:
    """Part of the pressure that is left after one full application, in percent.

    Two readings in this order: just before, and after.
    """
    if len(readings) != 2:
        return _cannot(f"Two pressures are needed, {len(readings)} given.", "pressures")
    before, after = (reading.quantity for reading in readings)
    try:
        part = pressure_kept(before, after)
    except (UnknownUnit, IntervalUnusable) as error:
        return Judgement("cannot judge", after, error.what, missing=("pressures",))
    exact = judge_family("pressure-kept", part, given, jurisdiction)
    # spoken and printed in tenths, or in as many figures as the same verdict needs
    for places in ("0.1", "0.001", "0.000001"):
        short = Quantity(part.value.quantize(Decimal(places), ROUND_DOWN), PERCENT)
        judged = judge_family("pressure-kept", short, given, jurisdiction)
        if judged.verdict == exact.verdict:
            return judged
    return exact


def _cannot(reason: str, *missing: str) -> Judgement:
    return Judgement("cannot judge", Quantity.of(0, COUNT), reason, missing=missing)


RULES: Mapping[str, Rule] = MappingProxyType(
    {"difference": difference, "tie-downs": tie_downs, "pressure kept": kept}
)
