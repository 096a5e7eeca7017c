"""Tiedowns on one article of cargo: enough of them, strong enough together, and what is short.

Rules of this file:

1. The weakest part governs: strap, chain, hook, tensioner and anchor point share the lowest working
   load limit of all (49 CFR 393.108(a)). A marked limit counts, whatever the table says. Without a
   marking the default of 393.108 holds in the United States; in Canada an unmarked tiedown must not
   be used and counts neither for the sum nor for the number (National Safety Code Standard 10,
   s. 11(4), since 1 Jan 2010, warnings only until 1 Jan 2011: British Columbia's driver manual and
   the transport pages of Québec and Nova Scotia; the section in two private quotations).
2. A tiedown counts half its limit for each of its ends that is fastened to the vehicle: one end
   when it goes to the article or back to the same side ("direct": half), two ends when it goes over
   the article ("over": whole). 49 CFR 393.106(d), private copy of the sentence; Standard 10 says
   the same as one half for each end section (private quotation).
3. The sum must be at least half the weight, and the number must fit length and weight
   (393.106(d), 393.110). Both are judged; one that is short makes the whole outside.
4. A limit that is not on file adds nothing to the sum. If the sum is short then, the answer is
   "cannot judge", never "outside" and never "within". Canada: a chain marked with its grade has the
   limit of the table in Standard 10, Part 4, section 7 (s. 11(3), private quotation). That table
   was not found, so there a chain needs its marked figure.
5. Everything is summed in the unit of the weight, exactly, and rounded down.

Pure functions: no clock, no file.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import ROUND_DOWN, ROUND_UP
from fractions import Fraction
from typing import Literal

from voicecheck.errors import UnknownInput
from voicecheck.limits.judge import CannotJudge, Judgement, figure_in, find, judge_family
from voicecheck.limits.table import Limit
from voicecheck.units import COUNT, PERCENT, Quantity, Unit, rounded

Kind = Literal["strap", "chain", "rope"]
Use = Literal["direct", "over"]

#: Ends fastened to the vehicle, by use.
_ENDS: Mapping[str, int] = {"direct": 1, "over": 2}


@dataclass(frozen=True, slots=True)
class Tiedown:
    """So many tiedowns alike.

    ``size``: width of webbing, or diameter of chain or rope, in inches ("4", "3/8 in"). ``grade``:
    of a chain ("70", "unmarked"). ``marked``: the lowest working load limit marked on any part,
    anchor point and tensioner among them; None where nothing is marked. Raises UnknownInput.
    """

    name: str
    count: int
    kind: Kind
    size: str = ""
    grade: str = ""
    use: Use = "over"
    marked: Quantity | None = None

    def __post_init__(self) -> None:
        if self.kind not in ("strap", "chain", "rope") or self.use not in _ENDS or self.count < 0:
            raise UnknownInput(
                f"{self.count} {self.kind} {self.use} is no tiedown.",
                "Give a number, strap, chain or rope, and direct or over.",
            )
        if self.marked is not None and (self.marked.value <= 0 or self.marked.unit.kind != "mass"):
            raise UnknownInput(
                f"{self.marked} is no working load limit.", "Give it in lb or kg, above zero."
            )

    @property
    def marking(self) -> bool:
        """Whether a limit is marked on it, as a figure or as the grade of a chain."""
        return self.marked is not None or self.grade not in ("", "unmarked")


@dataclass(frozen=True, slots=True)
class Secured:
    """How an article is tied down.

    ``sum`` and ``least_sum`` are in the unit of the weight; ``number`` and ``least_number`` count
    tiedowns; ``short_sum`` and ``short_number`` are what is missing, zero if nothing is. A "least"
    that cannot be told is None, and nothing is short of what cannot be judged. ``uncounted`` holds
    name and reason of the kinds that add nothing to the sum. ``judgement`` is of the one that
    decides; its reason tells both.
    """

    sum: Quantity
    least_sum: Quantity | None
    short_sum: Quantity
    number: int
    least_number: int | None
    short_number: int
    uncounted: tuple[tuple[str, str], ...]
    judgement: Judgement

    def shortage(self) -> str:
        """What is short and by how much, in short sentences; empty if nothing is."""
        many = "tiedown" if self.short_number == 1 else "tiedowns"
        said = [f"Short by {self.short_number} {many}."] if self.short_number else []
        if self.short_sum.value:
            said.append(f"Working load limit short by {self.short_sum}.")
        said += [f"{name} not counted. {why}" for name, why in self.uncounted]
        return " ".join(said)

    def spoken(self) -> str:
        """The same for the voice."""
        said = []
        if self.short_number:
            said.append(f"Short by {Quantity.of(self.short_number, COUNT).spoken()}.")
        if self.short_sum.value:
            said.append(f"Short by {self.short_sum.spoken()}.")
        return " ".join((*said, *(f"{name} not counted." for name, _ in self.uncounted)))


def working_load_limit(
    tiedown: Tiedown, jurisdiction: str, unit: Unit
) -> tuple[Fraction, Limit | None] | CannotJudge:
    """Exact working load limit of one such tiedown in a unit of mass, and the row it came from.

    The row is None for a marked limit. CannotJudge where no figure is on file, and in Canada for an
    unmarked one. Raises UnknownInput for a size or grade that the table cannot have.
    """
    if tiedown.marked is not None:
        return tiedown.marked.exact_in(unit), None
    if _country(jurisdiction) == "CA" and not tiedown.marking:
        return CannotJudge("Not marked.", ("working load limit",))
    family, given = _default(tiedown)
    row = find(family, given, jurisdiction)
    if isinstance(row, CannotJudge):
        return row
    return Fraction(figure_in(row, unit).value), row


def secured(
    tiedowns: Sequence[Tiedown],
    weight: Quantity,
    length: Quantity,
    blocked: bool,
    jurisdiction: str,
) -> Secured:
    """Judge the tiedowns on one article by their sum and their number.

    ``blocked``: a headerboard, bulkhead or other cargo keeps the article from moving forward.
    Raises UnknownInput for a weight or length that cannot be one, or an unknown jurisdiction.
    """
    size = {
        "blocked": "yes" if blocked else "no",
        "article length": str(length),
        "article weight": str(weight),
    }
    canada = _country(jurisdiction) == "CA"
    used = [tiedown for tiedown in tiedowns if tiedown.count]
    number = sum(t.count for t in used if t.marking or not canada)
    by_number = judge_family("tiedown-count", Quantity.of(number, COUNT), size, jurisdiction)

    total, rows, uncounted = Fraction(0), dict[str, Limit](), list[tuple[str, str]]()
    unknown: list[str] = []
    for tiedown in used:
        found = working_load_limit(tiedown, jurisdiction, weight.unit)
        if isinstance(found, CannotJudge):
            uncounted.append((tiedown.name, found.reason))
            unknown += [tiedown.name] if tiedown.marking or not canada else []
        else:
            limit, row = found
            total += limit * tiedown.count * _ENDS[tiedown.use] / 2
            rows.update({row.section: row} if row else {})
    by_sum, least_sum = _judge_sum(total, weight, jurisdiction, tuple(rows.values()), unknown)

    least_number = by_number.bound if isinstance(by_number.bound, Quantity) else None
    missing = Fraction(0)
    if by_sum.verdict == "outside" and least_sum is not None:
        missing = Fraction(least_sum.value) - total
    result = Secured(
        sum=by_sum.reading,
        least_sum=least_sum,
        short_sum=Quantity(rounded(missing, ROUND_UP), weight.unit),
        number=number,
        least_number=int(least_number.value) if least_number else None,
        short_number=max(0, int(least_number.value) - number) if least_number else 0,
        uncounted=tuple(uncounted),
        judgement=by_sum,
    )
    order = ("outside", "cannot judge", "within")
    first, second = sorted((by_sum, by_number), key=lambda judged: order.index(judged.verdict))
    if first.verdict == "cannot judge":
        return replace(result, judgement=first)
    told = " ".join(filter(None, (result.shortage(), first.reason, second.reason)))
    guide = first.guide or second.guide
    short = result.spoken() if first.verdict == "outside" else ""
    return replace(result, judgement=replace(first, reason=told, guide=guide, short=short))


def _judge_sum(
    total: Fraction,
    weight: Quantity,
    jurisdiction: str,
    rows: Sequence[Limit],
    unknown: Sequence[str],
) -> tuple[Judgement, Quantity | None]:
    """The judgement of the sum, and the least that it must be."""
    reading = Quantity(rounded(total, ROUND_DOWN), weight.unit)
    row = find("cargo-aggregate", {}, jurisdiction)
    if isinstance(row, CannotJudge):
        return Judgement("cannot judge", reading, row.reason), None
    share = figure_in(row, PERCENT)
    least = Quantity(rounded(Fraction(weight.value) * Fraction(share.value) / 100), weight.unit)
    sources = ". ".join(f"{x.source}, {x.section}; {x.standing}" for x in (row, *rows))
    reason = f"Limits together {reading}, at least {least}, {share} of {weight}. {sources}."
    guide = any(x.guide for x in (row, *rows))
    if total >= Fraction(least.value):
        return Judgement("within", reading, reason, row, least, "source figure", guide), least
    if unknown:
        missing = ("working load limit",)
        here = "Canadian limit" if _country(jurisdiction) == "CA" else "limit"
        told = f"No {here} on file for {' and '.join(unknown)}. Their marked figure is needed."
        return Judgement("cannot judge", reading, told, row, missing=missing), least
    return Judgement("outside", reading, reason, row, least, "source figure", guide), least


def _country(jurisdiction: str) -> str:
    return jurisdiction.partition("-")[0]


def _default(tiedown: Tiedown) -> tuple[str, dict[str, str]]:
    """Family of the default limits for its kind, and the inputs that are known."""
    size = tiedown.size.removesuffix(" in")
    if tiedown.kind == "strap":
        family, given = "wll-webbing", {"webbing width": size}
    elif tiedown.kind == "chain":
        grade = tiedown.grade or "unmarked"
        family, given = "wll-chain", {"chain size": size, "chain grade": grade}
    else:
        family, given = "wll-wire-rope", {"rope size": size}
    return family, {key: value for key, value in given.items() if value}
