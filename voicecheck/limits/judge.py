"""Judging a reading against the table of limits.

Rules of this room:

1. A reading is compared in the unit that was spoken: with the figure that the source prints for
   that unit, else with the usual rounded figure, else the reading is converted exactly and the
   judgement says so. Nothing is rounded on the way to a verdict.
2. A missing input (axle, chamber type ...) gives "cannot judge" with the name of the input. So does
   an input for which the table has no row, and a reading below zero. It never gives "within".
3. A guide value stays a guide value: ``Judgement.guide`` is true and the sentence says so.
4. "Within" says that one figure is inside one limit. It never says that a vehicle is safe or fit.

Pure functions: no clock, no file.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import ROUND_UP, Context, Decimal
from fractions import Fraction
from typing import Literal

from voicecheck.errors import InexactNumber, IntervalUnusable, UnknownInput, UnknownUnit
from voicecheck.limits.table import (
    FAMILIES,
    INPUTS,
    JURISDICTIONS,
    LASH_DIAMETERS,
    LIMITS,
    OPEN_INPUTS,
    Bound,
    Figure,
    Limit,
    Sense,
    limit_of,
)
from voicecheck.units import (
    COUNT,
    FT,
    IN,
    KG,
    KPA,
    KPA_PER_MIN,
    LB,
    MM,
    PERCENT,
    PSI,
    PSI_PER_MIN,
    M,
    Quantity,
    S,
    Unit,
    rounded,
    unit_named,
)

Verdict = Literal["within", "outside", "cannot judge"]
Basis = Literal["source figure", "usual rounded figure", "reading converted"]


@dataclass(frozen=True, slots=True)
class CannotJudge:
    """No limit could be chosen. ``missing`` names the inputs to ask for; empty if none helps."""

    reason: str
    missing: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Judgement:
    """The verdict on one reading.

    ``bound`` is the figure that was compared and ``basis`` where it came from; both are None when
    the verdict is "cannot judge". ``guide`` is true when the limit is no statement of law.
    ``short`` is a sentence for the voice beside the figures: what is missing.
    """

    verdict: Verdict
    reading: Quantity
    reason: str
    limit: Limit | None = None
    bound: Bound | None = None
    basis: Basis | None = None
    guide: bool = False
    missing: tuple[str, ...] = ()
    short: str = ""


def find(family: str, given: Mapping[str, str], jurisdiction: str) -> Limit | CannotJudge:
    """The row of a family (or of one id) that fits the inputs, in that jurisdiction.

    Looks first at the jurisdiction itself, then at its country ("US-MD", then "US"). A country
    never borrows from the other one. ``family`` may also be the id of a row: then that row is
    returned if the inputs fit it, whatever the jurisdiction.

    Raises UnknownLimit for an unknown family or id, UnknownInput for an unknown jurisdiction or a
    value outside an input's closed list.
    """
    check_inputs(given)
    if jurisdiction not in JURISDICTIONS:
        raise UnknownInput(
            f"There is no jurisdiction {jurisdiction!r}.",
            "Use one of: " + ", ".join(JURISDICTIONS) + ".",
        )
    if family not in FAMILIES:
        return _fits(limit_of(family), given)
    country = jurisdiction.partition("-")[0]
    for place in dict.fromkeys((jurisdiction, country)):
        rows = [row for row in LIMITS if row.family == family and row.jurisdiction == place]
        possible = [row for row in rows if not _contradicts(row, given)]
        if not possible:
            continue
        missing = _missing(possible, given)
        if missing:
            return CannotJudge("Not known: " + ", ".join(missing) + ".", missing)
        return possible[0]
    known = ", ".join(f"{key} {given[key]}" for key in _keys(family) if key in given)
    return CannotJudge(
        f"No limit on file for {family} in {jurisdiction}" + (f" with {known}." if known else ".")
    )


def inputs_of(family: str, jurisdiction: str | None = None) -> tuple[str, ...]:
    """Names of all inputs that the rows of a family (or one row by id) may ask for, sorted."""
    if family not in FAMILIES:
        row = limit_of(family)
        return tuple(sorted({*row.conditions, *row.needs}))
    return _keys(family, jurisdiction)


def units_of(family: str) -> frozenset[str]:
    """Symbols of the units in which the rows of a family (or one row by id) carry a figure."""
    rows = [row for row in LIMITS if row.family == family] or [limit_of(family)]
    return frozenset(symbol for row in rows for symbol in row.unit_symbols)


def judges_a_time(family: str) -> bool:
    """Whether every row of a family (or one row by id) is a longest time."""
    rows = [row for row in LIMITS if row.family == family] or [limit_of(family)]
    return all(
        row.sense in ("at most", "less than") and unit_named(symbol).kind == "time"
        for row in rows
        for symbol in row.unit_symbols
    )


def judge(limit_id: str, reading: Quantity, given: Mapping[str, str]) -> Judgement:
    """Judge a reading against one row; ``given`` must confirm every condition of the row.

    A reading of another kind than the limit (a length against an angle) gives "cannot judge"; use
    ``units_of`` to find that beforehand. Raises UnknownLimit and UnknownInput.
    """
    check_inputs(given)
    return _judge(_fits(limit_of(limit_id), given), reading, given)


def judge_family(
    family: str, reading: Quantity, given: Mapping[str, str], jurisdiction: str
) -> Judgement:
    """Find the row of a family for these inputs and judge the reading against it."""
    return _judge(find(family, given, jurisdiction), reading, given)


def confirming(limit: Limit) -> dict[str, str]:
    """Inputs that fit a row that a person chose by id: the first value of each condition.

    Only for a person who names the row on purpose (the command that shows and tries the table).
    """
    return {
        key: f"{values[0]} in" if key == "wheel diameter" and values[0] != _UNLISTED else values[0]
        for key, values in limit.conditions.items()
        if values[0] != _UNLISTED
    }


# -- choosing the row -----------------------------------------------------------------------

_UNLISTED = "not listed"


def check_inputs(given: Mapping[str, str]) -> None:
    """Raises UnknownInput if an input that the table knows has a value that it cannot have.

    Inputs that the table does not know are left alone. For loaders of vehicle files; ``find`` and
    ``judge`` call it too.
    """
    for key, value in given.items():
        allowed = INPUTS.get(key)
        if allowed is not None and value not in allowed:
            raise UnknownInput(f"{key} cannot be {value!r}.", f"Use one of: {', '.join(allowed)}.")
        kind = OPEN_INPUTS.get(key)
        if kind is not None:
            quantity = _parsed(key, value)
            if quantity.value <= 0 or quantity.unit.kind != kind:
                raise UnknownInput(
                    f"{key} cannot be {value!r}.", f"Give a {kind} above zero, with its unit."
                )


def _parsed(key: str, value: str) -> Quantity:
    try:
        return Quantity.parse(value)
    except (InexactNumber, UnknownUnit) as fault:
        raise UnknownInput(f"{key} cannot be {value!r}. {fault.what}", fault.how) from fault


def _keys(family: str, jurisdiction: str | None = None) -> tuple[str, ...]:
    return tuple(
        sorted(
            {
                key
                for row in LIMITS
                if row.family == family and jurisdiction in (None, row.jurisdiction)
                for key in (*row.conditions, *row.needs)
            }
        )
    )


def _value(row: Limit, key: str, given: Mapping[str, str]) -> str | None:
    """The given value of an input as the row's conditions spell it; None if it is not known."""
    value = given.get(key)
    if value is None or key != "wheel diameter":
        return value
    inches = Quantity.parse(value).exact_in(IN)
    if inches <= 16:
        return "16"
    for listed in LASH_DIAMETERS[row.family]:
        if inches == int(listed):
            return listed
    return _UNLISTED


def _contradicts(row: Limit, given: Mapping[str, str]) -> bool:
    for key, values in row.conditions.items():
        value = _value(row, key, given)
        if value is not None and value not in values:
            return True
    return False


def _missing(rows: list[Limit], given: Mapping[str, str]) -> tuple[str, ...]:
    wanted = dict.fromkeys(key for row in rows for key in row.conditions if key not in given)
    if not wanted:
        wanted = dict.fromkeys(key for row in rows for key in row.needs if key not in given)
    return tuple(wanted)


def _fits(row: Limit, given: Mapping[str, str]) -> Limit | CannotJudge:
    if _contradicts(row, given):
        wrong = [
            f"{key} {given[key]}"
            for key, values in row.conditions.items()
            if key in given and _value(row, key, given) not in values
        ]
        return CannotJudge(f"{row.id} is not the limit for {', '.join(wrong)}.")
    missing = _missing([row], given)
    if missing:
        return CannotJudge("Not known: " + ", ".join(missing) + ".", missing)
    return row


# -- comparing ------------------------------------------------------------------------------


def _judge(row: Limit | CannotJudge, reading: Quantity, given: Mapping[str, str]) -> Judgement:
    if isinstance(row, CannotJudge):
        return Judgement("cannot judge", reading, row.reason, missing=row.missing)
    unfit = _unfit(row, reading)
    if unfit:
        return Judgement("cannot judge", reading, unfit, limit=row, guide=row.guide)
    bound, basis = _bound_for(row, reading.unit, given)
    holds = _holds(row.sense, reading, bound)
    verdict: Verdict = "within" if holds else "outside"
    return Judgement(
        verdict,
        reading,
        _reason(row, reading, bound, basis, verdict),
        limit=row,
        bound=bound,
        basis=basis,
        guide=row.guide,
    )


def _unfit(row: Limit, reading: Quantity) -> str:
    """Why this reading cannot be held against this row at all; empty if it can."""
    if reading.value < 0:
        return f"{reading} is below zero, which this reading cannot be."
    symbol = row.unit_symbols[0]
    if reading.unit.kind != unit_named(symbol).kind:
        return f"{reading} was read, but {row.id} is judged in {' or '.join(row.unit_symbols)}."
    return ""


def _bound_for(row: Limit, unit: Unit, given: Mapping[str, str]) -> tuple[Bound, Basis]:
    if row.rule == "plain":
        return _plain_bound(row, unit)
    if row.rule == "half cut-out":
        # The lesser of the two; the printed 379 kPa stands for 55 psi.
        bound, basis = _plain_bound(row, unit)
        cut_out = Quantity.parse(given["governor cut-out"])
        half = cut_out.exact_in(unit) / 2
        if half < _lowest(bound).exact_in(unit):
            return _up(half, unit), (
                "source figure" if cut_out.unit == unit else "usual rounded figure"
            )
        return bound, basis
    if row.rule == "rated stroke":
        rated = Quantity.parse(given["rated stroke"])
        part = Fraction(_lowest(row.value).value) / 100
        same: Basis = "source figure" if rated.unit == unit else "reading converted"
        return Quantity(rounded(rated.exact_in(rated.unit) * part), rated.unit), same
    if row.rule == "article size":
        return tiedowns_needed(given), "source figure"
    limit = build_up_limit(
        Quantity.parse(given["actual reservoir volume"]),
        Quantity.parse(given["required reservoir volume"]),
    )
    return limit, "source figure" if unit == S else "reading converted"


def _plain_bound(row: Limit, unit: Unit) -> tuple[Bound, Basis]:
    for figure in (Figure(row.value, True), *row.also):
        if _lowest(figure.value).unit == unit:
            return figure.value, "source figure" if figure.printed else "usual rounded figure"
    return row.value, "reading converted"


def figure_in(row: Limit, unit: Unit) -> Quantity:
    """The figure of a plain row with one bound: its own in that unit, else converted."""
    bound, _ = _plain_bound(row, unit)
    return _lowest(bound).to(unit)


def _lowest(bound: Bound) -> Quantity:
    return bound[0] if isinstance(bound, tuple) else bound


def _up(number: Fraction, unit: Unit) -> Quantity:
    return Quantity(rounded(number, ROUND_UP), unit)


def _holds(sense: Sense, reading: Quantity, bound: Bound) -> bool:
    """Exact comparison; a reading in another unit is converted without rounding."""
    low, high = bound if isinstance(bound, tuple) else (bound, bound)
    number = reading.exact_in(low.unit)
    least, most = Fraction(low.value), Fraction(high.value)
    match sense:
        case "at least":
            return number >= least
        case "at most":
            return number <= most
        case "more than":
            return number > least
        case "less than":
            return number < most
        case "between":
            return least <= number <= most


def bound_text(sense: Sense, bound: Bound) -> str:
    """The limit in words, e.g. "at most 2 in", "between 20 psi and 45 psi"."""
    if isinstance(bound, tuple):
        return f"{sense} {bound[0]} and {bound[1]}"
    return f"{sense} {bound}"


def _reason(row: Limit, reading: Quantity, bound: Bound, basis: Basis, verdict: Verdict) -> str:
    text = f"{reading} is {verdict}: {row.quantity} {bound_text(row.sense, bound)}"
    unit = _lowest(bound).unit
    if basis == "reading converted" and reading.unit != unit:
        number = rounded(reading.exact_in(unit))
        text += f" (reading converted: {Quantity(_for_show(number), unit)})"
    elif basis == "usual rounded figure":
        text += f" (usual rounded figure for {bound_text(row.sense, row.value)})"
    if row.or_maker:
        text += ", or the maker's figure"
    text += f". {row.source}, {row.section}; {row.standing}"
    return text + ("; guide value, not a statement of law." if row.guide else ".")


def _for_show(number: Decimal) -> Decimal:
    """A number to four decimals for a sentence only; verdicts use the exact one."""
    return number.quantize(Decimal("0.0001"), context=Context(prec=60))


# -- arithmetic on readings -----------------------------------------------------------------

_RATES = {PSI: PSI_PER_MIN, KPA: KPA_PER_MIN}


def leak_per_minute(start: Quantity, end: Quantity, elapsed: Quantity) -> Quantity:
    """Pressure lost in a minute, from two gauge readings and the time between them.

    ``start`` and ``end`` in psi, or both in kPa; ``elapsed`` any unit of time. Returns psi/min or
    kPa/min: exact if the quotient ends, else rounded away from zero so that rounding never
    flatters. Below zero if the pressure rose. Raises UnknownUnit, and IntervalUnusable when no time
    passed.
    """
    if start.unit != end.unit or start.unit not in _RATES:
        raise UnknownUnit(
            f"A leak cannot be taken from {start} and {end}.", "Read both gauges in psi or in kPa."
        )
    seconds = elapsed.exact_in(S)
    if seconds <= 0:
        raise IntervalUnusable(f"{elapsed} is no interval.", "Time the test again.")
    lost = (Fraction(start.value) - Fraction(end.value)) * 60 / seconds
    return _up(lost, _RATES[start.unit])


def pressure_kept(before: Quantity, after: Quantity) -> Quantity:
    """Percent of the pressure that is left after an application, both in one unit.

    Rounded down to 28 figures at most, so that rounding never flatters. Source of the test:
    49 CFR 393.50(a).
    """
    if before.unit != after.unit or before.unit not in _RATES:
        raise UnknownUnit(
            f"A part cannot be taken from {before} and {after}.",
            "Read both gauges in psi or in kPa.",
        )
    if before.value <= 0:
        raise IntervalUnusable(f"{before} is no pressure to start from.", "Read the gauge again.")
    part = Fraction(after.value) * 100 / Fraction(before.value)
    return Quantity(rounded(part, "ROUND_DOWN"), PERCENT)


def build_up_time(
    start: Quantity, end: Quantity, elapsed: Quantity, over: tuple[Quantity, Quantity]
) -> Quantity:
    """Time that the compressor took, usable against a limit over the span ``over``; seconds.

    The readings must cover the span (start at or below its lower end, end at or above its upper
    end): the time is then never too short. Raises IntervalUnusable otherwise; nothing is
    extrapolated.
    """
    low, high = over
    covers = start.exact_in(low.unit) <= Fraction(low.value) and end.exact_in(
        high.unit
    ) >= Fraction(high.value)
    seconds = elapsed.exact_in(S)
    if not covers or seconds <= 0:
        raise IntervalUnusable(
            f"{start} to {end} in {elapsed} does not cover {low} to {high}.",
            f"Start the time at {low} or below and stop it at {high} or above.",
        )
    return _up(seconds, S)


def build_up_limit(actual: Quantity, required: Quantity) -> Quantity:
    """Longest build-up time from 85 to 100 psi for these reservoirs, in seconds.

    actual reservoir capacity x 25 / required reservoir capacity, the tractor's reservoirs only
    (49 CFR 571.121 S5.1.1, as quoted in an NHTSA letter). Both are volumes; raises UnknownUnit else
    and IntervalUnusable for a volume not above zero. Rounded down to 28 figures at most.
    """
    if actual.unit.kind != "volume" or required.unit.kind != "volume":
        raise UnknownUnit(f"{actual} and {required} are not volumes.", "Give both in in3 or L.")
    if actual.value <= 0 or required.value <= 0:
        raise IntervalUnusable(
            f"{actual} and {required} give no limit.", "Give volumes above zero."
        )
    ratio = actual.exact_in(required.unit) / Fraction(required.value)
    base = _lowest(limit_of("us-air-3").value)
    return Quantity(rounded(ratio * base.exact_in(S), "ROUND_DOWN"), S)


def tiedowns_needed(given: Mapping[str, str]) -> Quantity:
    """Fewest tiedowns on one article by its length, weight and whether it is blocked in front.

    49 CFR 393.110(b), not blocked: one for an article up to 5 ft and 1100 lb; two up to 10 ft, or
    up to 5 ft and heavier; above 10 ft two and one more for each further 10 ft or part. (c),
    blocked or braced in front: one for each 10 ft or part. ``given`` holds "blocked", "article
    length" and, unless blocked, "article weight". In metres and kilograms the steps are 1.52 m,
    3.04 m and 500 kg (from memory); any other unit is converted exactly.
    """
    said = Quantity.parse(given["article length"])
    metric = said.unit in (M, MM)
    length = said.exact_in(M if metric else FT)
    five, ten = (Fraction("1.52"), Fraction("3.04")) if metric else (Fraction(5), Fraction(10))
    if given["blocked"] == "yes":
        return Quantity(Decimal(math.ceil(length / ten)), COUNT)
    weight = Quantity.parse(given["article weight"])
    light = weight.value <= 500 if weight.unit == KG else weight.exact_in(LB) <= 1100
    if length <= five:
        return Quantity(Decimal(1 if light else 2), COUNT)
    return Quantity(Decimal(2 + max(0, math.ceil((length - ten) / ten))), COUNT)


# -- showing the table ----------------------------------------------------------------------


def describe(limit: Limit) -> str:
    """One line for people: limit, scope, source and standing."""
    figures = bound_text(limit.sense, limit.value)
    extra = "; ".join(
        f"{'printed' if figure.printed else 'usually'} {_range_text(figure.value)}"
        for figure in limit.also
    )
    text = f"{limit.id}: {limit.quantity} {figures}" + (f" ({extra})" if extra else "")
    text += f"; {limit.applies}; {limit.jurisdiction}; {limit.source}, {limit.section}"
    text += f" [{limit.standing}{', guide value' if limit.guide else ''}]"
    return text + (f" {limit.note}" if limit.note else "")


def _range_text(bound: Bound) -> str:
    return f"{bound[0]} to {bound[1]}" if isinstance(bound, tuple) else str(bound)


def table_lines(jurisdiction: str | None = None) -> list[str]:
    """The table as lines for people, in its own order; all of it, or one jurisdiction.

    Raises UnknownInput for a jurisdiction that the table does not know.
    """
    if jurisdiction is not None and jurisdiction not in JURISDICTIONS:
        raise UnknownInput(
            f"There is no jurisdiction {jurisdiction!r}.",
            "Use one of: " + ", ".join(JURISDICTIONS) + ".",
        )
    return [
        describe(row) for row in LIMITS if jurisdiction is None or row.jurisdiction == jurisdiction
    ]
