"""Which lamps and reflectors a unit must have, from its kind, size and age.

Rules of this file:

1. The table is the Texas DPS lighting chart, which summarises 49 CFR 393.11 Table 1, completed by
   Maryland COMAR 11.22.04.09 for the two rear rows that the chart leaves open. Both copy the
   federal table; neither is its text.
2. The letters are the chart's: C truck tractor, D trailer 80 in or more wide, E converter dolly,
   F trailer under 80 in wide.
3. The chart is law of the United States. For another country nothing is derived from it: list the
   lamps in the vehicle file.
4. Four-ways are not counted apart: they are the turn lamps. The chart's dolly has turn lamps; the
   federal footnote 5 asks for them only where the dolly hides those of the vehicle before it
   (federal guidance to 393.11, question 3; a lens hidden in part is hidden).
5. A lamp that another unit of the combination hides need not be lit, tail lamps excepted: Maryland
   Transportation Code 22-212, Texas Transportation Code 547.381; Arizona and Nevada say the same.
   No federal sentence on it was seen. So of a tractor that tows, the rear rows behind the nose of
   the trailer are not asked (``hidden``), but its tail lamps are, and its turn lamps, which stand
   where passing drivers see them (footnote to Table 1, from memory).

Data and pure functions.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

from voicecheck.units import FT, IN, LB, Quantity

Letter = Literal["C", "D", "E", "F"]
CHART = "Texas DPS lighting chart, after 49 CFR 393.11 Table 1"
MARYLAND = "COMAR 11.22.04.09"
OBSCURED = "Maryland Transportation Code 22-212; Texas Transportation Code 547.381"
TRACTOR_TAPE = "49 CFR 571.108, rear of truck tractors, 62 FR 16709 (8 Apr 1997)"
TAPE = "49 CFR 393.11(b)"
SIDES = ("left side", "right side")
AREAS = ("front", "front top", *SIDES, "rear")


@dataclass(frozen=True)
class Lamp:
    """One row. ``number`` counts the lamps in one of its ``areas``.

    ``hidden``: of a tractor that tows it stands behind the nose of the trailer (OBSCURED).
    """

    name: str
    colour: str
    number: str
    areas: tuple[str, ...]
    on: str  # letters of the chart
    over_30_ft: bool = False
    hidden: bool = False
    source: str = CHART

    def fits(self, letter: Letter, length: Quantity | None) -> bool:
        """Raises ValueError when the row turns on a length that is not known."""
        if letter not in self.on:
            return False
        return not self.over_30_ft or _known(length, "length").exact_in(FT) > 30


#: In the order in which somebody who walks along an area meets them.
LAMPS: tuple[Lamp, ...] = (
    Lamp("head lamps", "white", "at least 2", ("front",), "C"),
    Lamp("turn lamps", "amber", "2", ("front",), "C"),
    Lamp("identification lamps", "amber", "3", ("front",), "C"),
    Lamp("clearance lamps", "amber", "2", ("front",), "C"),
    Lamp("clearance lamps", "amber", "2", ("front top",), "D"),
    Lamp("front marker", "amber", "1", SIDES, "CDF"),
    Lamp("front reflector", "amber", "1", SIDES, "CDF"),
    Lamp("middle marker", "amber", "1", SIDES, "DF", over_30_ft=True),
    Lamp("middle reflector", "amber", "1", SIDES, "DF", over_30_ft=True),
    Lamp("rear marker", "red", "1", SIDES, "DF"),
    Lamp("rear reflector", "red", "1", SIDES, "DF"),
    Lamp("tail lamps", "red", "2", ("rear",), "CDEF"),
    Lamp("stop lamps", "red", "2", ("rear",), "CDEF", hidden=True),
    Lamp("turn lamps", "amber or red", "2", ("rear",), "CDEF"),
    Lamp("reflectors", "red", "2", ("rear",), "CDF", hidden=True),
    Lamp("plate lamp", "white", "1", ("rear",), "CDF", hidden=True),
    Lamp("identification lamps", "red", "3", ("rear",), "D", source=MARYLAND),
    Lamp("clearance lamps", "red", "2", ("rear",), "D", source=MARYLAND),
    Lamp("backup lamp", "white", "1", ("rear",), "C", hidden=True),
)
#: 393.11(b): a trailer 80 in or more wide, over 10,000 lb, made on or after 1 Dec 1993.
TAPE_ROW = Lamp("reflective tape", "red and white", "strips", (*SIDES, "rear"), "D", source=TAPE)
#: A tractor made on or after 1 Jul 1997, upper corners of the cab and flaps; asked where the age is
#: not known.
TRACTOR_TAPE_ROW = Lamp(
    "reflective tape", "white, red and white", "strips", ("rear",), "C",
    hidden=True, source=TRACTOR_TAPE,
)  # fmt: skip


def lamps_of(
    kind: str,
    width: Quantity | None,
    length: Quantity | None,
    gvwr: Quantity | None,
    built: str,
    towing: bool = False,
) -> Mapping[str, tuple[Lamp, ...]]:
    """Area to lamps, for a tractor, trailer or dolly under United States law.

    ``width`` and ``length`` any unit of length, ``gvwr`` (rated weight) any of mass, ``built``
    "YYYY-MM"; ``towing``: of a tractor, whether a unit stands behind it. Raises ValueError that
    names the one that is missing and decides.
    """
    letter: Letter
    if kind == "tractor":
        letter = "C"
    elif kind == "dolly":
        letter = "E"
    else:
        letter = "D" if _known(width, "width").exact_in(IN) >= 80 else "F"
    rows = [row for row in LAMPS if row.fits(letter, length)]
    if letter == "D" and _taped(gvwr, built):
        rows.append(TAPE_ROW)
    if letter == "C":
        rows += [TRACTOR_TAPE_ROW] if built == "" or built >= "1997-07" else []
        rows = [row for row in rows if not (towing and row.hidden)]
    areas = dict.fromkeys(area for row in rows for area in row.areas)
    return MappingProxyType(
        {area: tuple(row for row in rows if area in row.areas) for area in areas}
    )


def _taped(gvwr: Quantity | None, built: str) -> bool:
    if not built:
        raise ValueError("built")
    return built >= "1993-12" and _known(gvwr, "gvwr").exact_in(LB) > 10_000


def _known(quantity: Quantity | None, name: str) -> Quantity:
    if quantity is None:
        raise ValueError(name)
    return quantity
