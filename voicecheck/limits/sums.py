"""What a driver works out in the head, from words as typed: ``voicecheck limits NAME ...``.

Rules of this file:

1. ``SUMS`` is the closed table of what can be asked; ``work`` answers one of them, or judges a
   reading by the id or family of a limit. Words are quantities with their unit ("1 3/4 in"), a few
   bare words, and inputs as "name=value" ("chamber type=30").
2. What is not understood is refused with an example (WrongUse). Nothing is assumed silently: what
   was taken for granted stands in the answer.
3. Every figure travels with its unit, every limit with its source and standing.

Pure: words in, lines out.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from voicecheck.errors import WrongUse
from voicecheck.limits.enroute import next_check
from voicecheck.limits.judge import (
    CannotJudge,
    Judgement,
    build_up_time,
    confirming,
    describe,
    find,
    inputs_of,
    judge,
    judge_family,
    leak_per_minute,
)
from voicecheck.limits.reckon import RULES, Reading
from voicecheck.limits.retention import period
from voicecheck.limits.table import FAMILIES, LIMITS, limit_of
from voicecheck.limits.validity import last_valid
from voicecheck.limits.weather import frostbite_band, wind_chill
from voicecheck.units import COUNT, Quantity


@dataclass(frozen=True, slots=True)
class Worked:
    """Lines for a person, and the verdict: "within", "outside", "cannot judge", or "" for none."""

    lines: tuple[str, ...]
    verdict: str = ""


@dataclass(frozen=True, slots=True)
class Words:
    """Typed words taken apart: quantities in order, and inputs (a name may come again)."""

    quantities: tuple[Quantity, ...]
    inputs: tuple[tuple[str, str], ...]

    @property
    def given(self) -> dict[str, str]:
        return dict(self.inputs)


def work(name: str, words: Sequence[str], jurisdiction: str) -> Worked:
    """The answer to one question; ``name`` is a sum, the id of a limit or a family.

    Raises WrongUse for words that do not fit, UnknownLimit for another name, and what the functions
    behind it raise for readings that cannot be.
    """
    if name in SUMS:
        return SUMS[name].do(words, jurisdiction)
    if name not in FAMILIES:
        limit_of(name)
    if not words:
        rows = [row for row in LIMITS if name in (row.family, row.id)]
        return Worked(tuple(describe(row) for row in rows))
    said = _parted(words)
    example = f"voicecheck limits {name} 1 in"
    (reading,) = _exactly(said, 1, example)
    if name not in FAMILIES:
        return _told(judge(name, reading, {**confirming(limit_of(name)), **said.given}))
    _known(said, inputs_of(name), example)
    return _told(judge_family(name, reading, said.given, jurisdiction))


def _parted(words: Sequence[str]) -> Words:
    """Raises UnknownUnit for figures without a unit and words that are no unit."""
    quantities: list[Quantity] = []
    inputs: list[tuple[str, str]] = []
    figure: list[str] = []
    for word in words:
        name, equals, value = word.partition("=")
        if equals:
            inputs.append((name.strip(), value.strip()))
        elif word[:1].isdigit() or word[:1] == "-":
            figure.append(word)
        else:
            quantities.append(Quantity.parse(" ".join((*figure, word))))
            figure = []
    if figure:
        quantities.append(Quantity.parse(" ".join(figure)))
    return Words(tuple(quantities), tuple(inputs))


def _exactly(said: Words, number: int, example: str) -> tuple[Quantity, ...]:
    if len(said.quantities) != number:
        raise WrongUse(
            f"{number} figures with their units are wanted here.", f"write for example: {example}"
        )
    return said.quantities


def _known(said: Words, names: Sequence[str], example: str) -> None:
    for name, _ in said.inputs:
        if name not in names:
            raise WrongUse(f"There is no input {name!r} here.", f"write for example: {example}")


def _told(judged: Judgement) -> Worked:
    lines = [f"{judged.verdict}: {judged.reason}"]
    if judged.missing:
        lines.append("Give " + ", ".join(f'"{name}=..."' for name in judged.missing) + ".")
    return Worked(tuple(lines), judged.verdict)


# -- the sums -------------------------------------------------------------------------------------


def _leak(words: Sequence[str], jurisdiction: str) -> Worked:
    said = _parted(words)
    start, end, elapsed = _exactly(said, 3, SUMS["leak-down"].example)
    _known(said, ("brakes", "combination"), SUMS["leak-down"].example)
    brakes = said.given.get("brakes", "applied")
    if brakes not in ("applied", "released"):
        raise WrongUse(f"Brakes cannot be {brakes!r}.", "write brakes=applied or brakes=released")
    leak = leak_per_minute(start, end, elapsed)
    inputs = {key: value for key, value in said.inputs if key != "brakes"}
    worked = _told(judge_family(f"leak-{brakes}", leak, inputs, jurisdiction))
    first = f"{start} to {end} in {elapsed}, brakes {brakes}: {leak}."
    return Worked((first, *worked.lines), worked.verdict)


def _build_up(words: Sequence[str], jurisdiction: str) -> Worked:
    said = _parted(words)
    start, end, elapsed = _exactly(said, 3, SUMS["build-up-time"].example)
    families = ("build-up", "build-up-design")
    _known(said, [key for name in families for key in inputs_of(name)], _BUILD_UP)
    volumes = "actual reservoir volume" in said.given
    lines: list[str] = []
    verdict = ""
    for family in families if volumes else families[:1]:
        row = find(family, said.given, jurisdiction)
        if isinstance(row, CannotJudge):
            judged = Judgement("cannot judge", elapsed, row.reason, missing=row.missing)
        else:
            assert row.over is not None
            time = build_up_time(start, end, elapsed, row.over)
            judged = judge_family(family, time, said.given, jurisdiction)
        worked = _told(judged)
        lines += worked.lines
        verdict = worked.verdict if verdict in ("", "within") else verdict
    return Worked(tuple(lines), verdict)


def _tie_downs(words: Sequence[str], jurisdiction: str) -> Worked:
    said = _parted(words)
    example = SUMS["tie-downs"].example
    _known(said, ("weight", "length", "blocked", "tie-down"), example)
    names = {"weight": "article weight", "length": "article length", "blocked": "blocked"}
    cargo = {names[key]: value for key, value in said.inputs if key in names}
    readings = [_kind(value, example) for key, value in said.inputs if key == "tie-down"]
    if not readings or said.quantities or cargo.get("blocked", "no") not in _YES_NO:
        raise WrongUse("Weight, length and tiedowns are wanted.", f"write for example: {example}")
    taken = () if "blocked" in cargo else ("Taken as not blocked in front.",)
    worked = _told(RULES["tie-downs"](tuple(readings), cargo, jurisdiction))
    return Worked((*worked.lines, *taken), worked.verdict)


_YES_NO = ("yes", "no")


def _kind(text: str, example: str) -> Reading:
    """Such as "4 strap 4 over", "2 chain 3/8 grade 70 direct", "4 strap 4 over marked 5000 lb"."""
    plain, _, marked = text.partition(" marked ")
    words = plain.split()
    fits = len(words) >= 4 and words[0].isdigit() and words[-1] in ("over", "direct")
    sizes = {"strap": "webbing width", "chain": "chain size", "rope": "rope size"}
    if not fits or words[1] not in sizes:
        raise WrongUse(f"{text!r} is no kind of tiedown.", f"write for example: {example}")
    size, _, grade = " ".join(words[2:-1]).partition(" grade ")
    given = {sizes[words[1]]: size, "chain grade": grade, "marked limit": marked}
    given = {key: value for key, value in given.items() if value} | {"use": words[-1]}
    return Reading("tie-downs", plain, Quantity.of(words[0], COUNT), given)


def _valid(words: Sequence[str], jurisdiction: str) -> Worked:
    """A date, and how long: a period, or the family of the table that has it."""
    if len(words) < 2:
        raise WrongUse(
            "A date and a period are wanted.",
            "write for example: voicecheck limits valid 2026-03 12 months",
        )
    date, how_long = words[0], " ".join(words[1:])
    if how_long in FAMILIES:
        found = period(how_long, date, jurisdiction)
        if isinstance(found, CannotJudge):
            return Worked((f"cannot judge: {found.reason}",), "cannot judge")
        return Worked((str(found),))
    return Worked((f"Valid until {last_valid(date, how_long)}, which still counts.",))


def _wind_chill(words: Sequence[str], jurisdiction: str) -> Worked:
    said = _parted(words)
    temperature, wind = _exactly(said, 2, SUMS["wind-chill"].example)
    chill = wind_chill(temperature, wind)
    if isinstance(chill, CannotJudge):
        return Worked((f"cannot judge: {chill.reason}",), "cannot judge")
    band = frostbite_band(chill)
    told = f"{band}." if band else "no band of frostbite is known for it; cold can still hurt."
    return Worked((f"Wind chill {chill}: {told}", _COLD[chill.unit.symbol]))


_COLD = {
    "degC": "Formula on a college meteorology page, hazard table of Environment Canada as copied; "
    "private copy; guide value, not a statement of law.",
    "degF": "Chart of the US National Weather Service; time to frostbite as copied, private copy; "
    "guide value, not a statement of law.",
}


def _en_route(words: Sequence[str], jurisdiction: str) -> Worked:
    said = _parted(words)
    example = SUMS["en-route"].example
    driven, driving = _exactly(said, 2, example)
    _known(said, ("checked", "duty", "sealed"), example)
    given = {"checked": "no", "duty": "same", "sealed": "no", **said.given}
    allowed = {"checked": _YES_NO, "duty": ("same", "changed"), "sealed": _YES_NO}
    for key, values in allowed.items():
        if given[key] not in values:
            raise WrongUse(f"{key} cannot be {given[key]!r}.", f"write {' or '.join(values)}")
    found = next_check(
        driven,
        driving,
        checked=given["checked"] == "yes",
        jurisdiction=jurisdiction,
        duty_changed=given["duty"] == "changed",
        excepted=given["sealed"] == "yes",
    )
    if isinstance(found, CannotJudge):
        return Worked((f"cannot judge: {found.reason}",), "cannot judge")
    return Worked((found.reason,), "outside" if found.overdue else "within")


@dataclass(frozen=True, slots=True)
class Sum:
    """``what`` it works out, an ``example`` as typed, and the function."""

    what: str
    example: str
    do: Callable[[Sequence[str], str], Worked]


_BUILD_UP = 'voicecheck limits build-up-time 85 psi 100 psi 40 s "air system=dual"'

SUMS: Mapping[str, Sum] = MappingProxyType(
    {
        "leak-down": Sum(
            "air lost in a minute, from two readings and a time",
            "voicecheck limits leak-down 120 psi 117 psi 60 s combination=yes brakes=applied",
            _leak,
        ),
        "build-up-time": Sum(
            "time of the compressor, by the driver's test and by the tank formula",
            f'{_BUILD_UP} "actual reservoir volume=6000 in3" "required reservoir volume=4000 in3"',
            _build_up,
        ),
        "tie-downs": Sum(
            "sum and number of the tiedowns on one article, and what is short",
            'voicecheck limits tie-downs "weight=40000 lb" "length=20 ft" blocked=no '
            '"tie-down=4 strap 4 over" "tie-down=2 chain 3/8 grade 70 direct"',
            _tie_downs,
        ),
        "valid": Sum(
            "last day or month of a paper, or until when a report is kept",
            "voicecheck limits valid 2026-03 12 months; "
            "voicecheck limits valid 2026-03-14 report-kept",
            _valid,
        ),
        "wind-chill": Sum(
            "wind chill and time to frostbite",
            "voicecheck limits wind-chill -18 degC 32 km/h",
            _wind_chill,
        ),
        "en-route": Sum(
            "when the cargo must be looked at next, from what was driven since the last time",
            "voicecheck limits en-route 30 mi 45 min checked=no",
            _en_route,
        ),
    }
)
