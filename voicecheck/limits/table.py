"""The table of limits: what a reading is compared with, and who says so.

Rules of this table:

1. A row exists only for a figure that was found in a document named in the row. What could not be
   found has no row, and the verdict is then "cannot judge". There is, for instance, no row for a
   Type 20 chamber with a three-inch rated stroke.
2. Every row says how well it is known (``standing``). Rows known only from memory, from common
   practice or from a private copy are guide values and never a statement of law.
3. A reading is compared in the unit that was spoken. ``value`` is the figure of the source,
   ``also`` holds the figure for other units: printed by the source itself, or the rounded figure
   that is usual beside it. The two never have to agree to the last digit: 3/16 in is 4.7625 mm and
   is printed as 4.8 mm.
4. Equal is acceptable under "at least" and "at most". A text that says "or less is a defect" or
   "or more is a defect" is entered as "more than" or "less than", so equal fails.
5. Where jurisdictions differ there are several rows of one family. They are never averaged; the
   jurisdiction is a setting.
6. Within one family and jurisdiction no two rows fit the same inputs.

This module is data only: it reads no file and knows no clock.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal

from voicecheck.errors import UnknownLimit
from voicecheck.units import Quantity

Sense = Literal["at least", "at most", "more than", "less than", "between"]
Standing = Literal["law seen", "law copy", "handbook", "private copy", "practice", "memory"]
Rule = Literal["plain", "rated stroke", "half cut-out", "reservoir volumes", "article size"]
Bound = Quantity | tuple[Quantity, Quantity]

STANDINGS: Mapping[Standing, str] = MappingProxyType(
    {
        "law seen": "seen in the text of the law, or in a mirror that prints that text",
        "law copy": "seen in another government's rule that copies the text, or in an official "
        "letter that quotes it",
        "handbook": "seen in a government handbook or manual for drivers or inspectors",
        "private copy": "seen only in a private page, or only in part: a guide value",
        "practice": "common practice, no law: a guide value",
        "memory": "from memory, no document seen: a guide value",
    }
)
GUIDE_STANDINGS: frozenset[Standing] = frozenset({"private copy", "practice", "memory"})

JURISDICTIONS: Mapping[str, str] = MappingProxyType(
    {
        "US": "United States, federal",
        "US-CA": "California",
        "US-MD": "Maryland",
        "CA": "Canada, national model",
        "CA-AB": "Alberta",
        "CA-BC": "British Columbia",
        "CA-MB": "Manitoba",
        "CA-NS": "Nova Scotia",
        "CA-ON": "Ontario",
        "CA-QC": "Québec",
        "CA-SK": "Saskatchewan",
        "EU": "Europe (ISO and UN rules)",
    }
)

_CLAMP = ("6", "9", "12", "16", "20", "24", "30", "36")
_BOLT = tuple(f"bolt {letter}" for letter in "ABCDEFG")
_ROTO = tuple(f"rotochamber {size}" for size in (9, 12, 16, 20, 24, 30, 36, 50))

#: Inputs with a closed list of values. Spelling is exact.
INPUTS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "axle": ("steer", "drive", "trailer"),
        "brake": ("air drum", "air disc", "hydraulic", "electric", "wedge"),
        "lining style": ("continuous strip", "two pads"),
        "lining fastening": ("bonded", "riveted", "bolted"),
        "chamber type": (*_CLAMP, *_BOLT, *_ROTO, "other"),
        "long stroke": ("no", "yes", "3 inch"),
        "slack adjuster": ("manual", "automatic"),
        "combination": ("no", "yes", "three or more units"),
        "fmvss 121": ("yes", "no"),
        "air system": ("dual", "single"),
        "made from march 1997": ("yes", "no"),
        "power steering": ("yes", "no"),
        "direction": ("forward", "rearward", "sideways"),
        "webbing width": ("1 3/4", "2", "3", "4"),
        "chain grade": ("30", "43", "70", "80", "100", "unmarked"),
        "chain size": ("1/4", "5/16", "3/8", "7/16", "1/2", "5/8"),
        "rope size": ("1/4", "5/16", "3/8", "7/16", "1/2", "5/8", "3/4"),
        "blocked": ("no", "yes"),
        "placarded load": ("no", "yes"),
        "extinguishers": ("one", "two"),
        "warning device": ("triangles", "fusees", "liquid-burning flares"),
    }
)
#: Inputs that are quantities with their unit, e.g. ``"2.5 in"``, and their kind: the diameter of
#: the steering wheel, the rated stroke marked on the actuator, the pressure at which the compressor
#: stops, the volume of all the tractor's reservoirs and the volume that the rule requires, length
#: and weight of an article of cargo.
OPEN_INPUTS: Mapping[str, str] = MappingProxyType(
    {
        "wheel diameter": "length",
        "rated stroke": "length",
        "governor cut-out": "pressure",
        "actual reservoir volume": "volume",
        "required reservoir volume": "volume",
        "article length": "length",
        "article weight": "mass",
    }
)


@dataclass(frozen=True, slots=True)
class Figure:
    """The limit in another unit: ``printed`` by the source, or the usual rounded figure."""

    value: Bound
    printed: bool


@dataclass(frozen=True, slots=True, eq=False)
class Limit:
    """One row. ``conditions`` maps an input to the values for which the row holds.

    ``needs`` names further inputs that its ``rule`` reads. ``over`` is the span of pressure over
    which a time is taken. ``about``: the source itself says "about", so it is only a guide.
    ``or_maker``: the source lets the maker's figure take the place of this one.
    """

    id: str
    family: str
    quantity: str
    sense: Sense
    value: Bound
    applies: str
    jurisdiction: str
    source: str
    section: str
    standing: Standing
    edition: str = "edition not visible"
    also: tuple[Figure, ...] = ()
    conditions: Mapping[str, tuple[str, ...]] = field(default_factory=lambda: MappingProxyType({}))
    needs: tuple[str, ...] = ()
    rule: Rule = "plain"
    over: tuple[Quantity, Quantity] | None = None
    about: bool = False
    or_maker: bool = False
    note: str = ""

    @property
    def guide(self) -> bool:
        """True if the row may advise but must not be shown as a statement of law."""
        return self.about or self.standing in GUIDE_STANDINGS

    @property
    def unit_symbols(self) -> tuple[str, ...]:
        """Units for which the row has its own figure; others of the kind are converted."""
        if self.rule == "rated stroke":
            return ("in", "mm")
        bounds = (self.value, *(figure.value for figure in self.also))
        return tuple(_first(bound).unit.symbol for bound in bounds)


def _first(bound: Bound) -> Quantity:
    return bound[0] if isinstance(bound, tuple) else bound


def _bound(text: str) -> Bound:
    low, separator, high = text.partition(" to ")
    if not separator:
        return Quantity.parse(text)
    symbol = high.rpartition(" ")[2]
    return (Quantity.parse(f"{low} {symbol}"), Quantity.parse(high))


def _row(
    id: str,
    family: str,
    quantity: str,
    sense: Sense,
    value: str,
    *,
    applies: str,
    j: str,
    source: str,
    section: str,
    standing: Standing,
    edition: str = "edition not visible",
    printed: tuple[str, ...] = (),
    usual: tuple[str, ...] = (),
    given: Mapping[str, str | tuple[str, ...]] | None = None,
    needs: tuple[str, ...] = (),
    rule: Rule = "plain",
    over: str = "",
    about: bool = False,
    or_maker: bool = False,
    note: str = "",
) -> Limit:
    span = _bound(over) if over else None
    return Limit(
        id=id,
        family=family,
        quantity=quantity,
        sense=sense,
        value=_bound(value),
        applies=applies,
        jurisdiction=j,
        source=source,
        section=section,
        standing=standing,
        edition=edition,
        also=(
            *(Figure(_bound(text), True) for text in printed),
            *(Figure(_bound(text), False) for text in usual),
        ),
        conditions=MappingProxyType(
            {
                key: (values,) if isinstance(values, str) else values
                for key, values in (given or {}).items()
            }
        ),
        needs=needs,
        rule=rule,
        over=span if isinstance(span, tuple) else None,
        about=about,
        or_maker=or_maker,
        note=note,
    )


_CFR = "49 CFR"
_ECFR_2021 = "electronic Code of Federal Regulations, copy of early 2021"
_APP_A = "49 CFR Part 396, Appendix A"
_COMAR = "Code of Maryland Regulations (COMAR)"
_COMAR_ED = "chapter effective 8 Jan 1990, official law text as of 22 Jul 2026"
_UTAH = "Utah Administrative Code, written to match the federal periodic standards"
_UTAH_ED = "current 2019"
_MANUALS = "commercial-driver manuals of Georgia and North Carolina"
_MANUALS_ED = "Georgia: modernised text; North Carolina: July 2017"
_MODEL = "model commercial-driver manual"
_MB = "provincial air brake manual, publisher not visible, probably Manitoba"
_MB_ED = "2014 copy"
_MB_NOTE = "the publisher could not be seen, so the province is a guess"
_SGI = "Saskatchewan Air Brake Manual (SGI)"
_AB = "Alberta commercial driver's guide"
_MTO = "Ontario truck handbook (MTO)"
_BC = "Driving Commercial Vehicles (British Columbia)"
_QC = "Québec, C-24.2, r. 32"
_QC_38 = "French text after O.C. 370-2016"
_QC_166 = "26 Nov 2024"
_QC_31 = "English text, no date printed"

_STEER = "steer"
_OTHERS = ("drive", "trailer")
_ANY_COMBINATION = ("yes", "three or more units")


def _linings() -> Iterator[Limit]:
    what = "brake lining thickness"
    power = "truck, truck-tractor, bus: steering axle"
    yield _row(
        "us-lin-1",
        "lining",
        what,
        "at least",
        "3/16 in",
        printed=("4.8 mm",),
        applies=f"{power}, air drum, shoe with a continuous strip",
        j="US",
        given={"axle": _STEER, "brake": "air drum", "lining style": "continuous strip"},
        source=_CFR,
        section="393.47(d)(1)",
        edition=_ECFR_2021,
        standing="law seen",
        note="measured at the shoe centre; a lining marked with a wear indicator must not be worn "
        "to it",
    )
    yield _row(
        "us-lin-2",
        "lining",
        what,
        "at least",
        "1/4 in",
        printed=("6.4 mm",),
        applies=f"{power}, air drum, shoe with two pads",
        j="US",
        given={"axle": _STEER, "brake": "air drum", "lining style": "two pads"},
        source=_CFR,
        section="393.47(d)(1)",
        edition=_ECFR_2021,
        standing="law seen",
        note="measured at the shoe centre; a lining marked with a wear indicator must not be worn "
        "to it",
    )
    yield _row(
        "us-lin-4",
        "lining",
        what,
        "at least",
        "1/8 in",
        printed=("3.2 mm",),
        applies=f"{power}, air disc",
        j="US",
        given={"axle": _STEER, "brake": "air disc"},
        source=_CFR,
        section="393.47(d)(1)",
        edition=_ECFR_2021,
        standing="law seen",
    )
    yield _row(
        "us-lin-5",
        "lining",
        what,
        "more than",
        "1/16 in",
        printed=("1.6 mm",),
        applies=f"{power}, hydraulic or electric brake",
        j="US",
        given={"axle": _STEER, "brake": ("hydraulic", "electric")},
        source=_CFR,
        section="393.47(d)(1)",
        edition=_ECFR_2021,
        standing="law seen",
        note='the text makes "1.6 mm (1/16 inch) or less" the defect: equal fails',
    )
    yield _row(
        "us-lin-6",
        "lining",
        what,
        "at least",
        "1/4 in",
        printed=("6.4 mm",),
        applies="axles other than steering, air drum",
        j="US",
        given={"axle": _OTHERS, "brake": "air drum"},
        source=_CFR,
        section="393.47(d)(2)",
        edition=_ECFR_2021,
        standing="law seen",
        note="and not worn to the wear indicator",
    )
    yield _row(
        "us-lin-7",
        "lining",
        what,
        "at least",
        "1/8 in",
        printed=("3.2 mm",),
        applies="axles other than steering, air disc",
        j="US",
        given={"axle": _OTHERS, "brake": "air disc"},
        source=_CFR,
        section="393.47(d)(2)",
        edition=_ECFR_2021,
        standing="law seen",
    )
    yield _row(
        "us-lin-7-hydraulic",
        "lining",
        what,
        "at least",
        "1/16 in",
        printed=("1.6 mm",),
        applies="axles other than steering, hydraulic or electric brake",
        j="US",
        given={"axle": _OTHERS, "brake": ("hydraulic", "electric")},
        source=_CFR,
        section="393.47(d)(2)",
        edition=_ECFR_2021,
        standing="law seen",
        note="the text makes less than 1.6 mm the defect: equal passes here, unlike on the "
        "steering axle",
    )
    air, oil = ("air drum", "air disc", "wedge"), ("hydraulic", "electric")
    thinnest = "at the thinnest point, the bevel left out"
    fixed = "lining fastening"
    rows: tuple[tuple[str, str, str, Mapping[str, str | tuple[str, ...]], str], ...] = (
        ("bonded", "5 mm", "air brakes, bonded", {"brake": air, fixed: "bonded"}, ""),
        ("bonded-oil", "1.6 mm", "other brakes, bonded", {"brake": oil, fixed: "bonded"}, ""),
        ("steer", "4.8 mm", "steering axle, riveted", {"axle": _STEER, fixed: "riveted"}, "rivets"),
        ("riveted", "8 mm", "other axles, riveted", {"axle": _OTHERS, fixed: "riveted"}, "rivets"),
        ("bolted", "8 mm", "bolted", {fixed: "bolted"}, "fittings"),
    )
    for id, least, applies, given, note in rows:
        yield _row(
            f"ca-qc-lin-{id}",
            "lining",
            what,
            "at least",
            least,
            applies=applies,
            j="CA-QC",
            given=given,
            source=_QC,
            section="s. 31 (2)",
            edition=_QC_31,
            standing="law seen",
            note=f"{thinnest}; the text adds: or 1 mm above the {note}" if note else thinnest,
        )
    yearly = "brake lining thickness at the periodic inspection"
    section = "1.a(6)(d)"
    yield _row(
        "us-lin-10-drum",
        "lining-periodic",
        yearly,
        "at least",
        "1/4 in",
        usual=("6.4 mm",),
        applies="steering axle, air drum, any shoe",
        j="US",
        given={"axle": _STEER, "brake": "air drum"},
        source=_APP_A,
        section=section,
        standing="law seen",
        note="no 3/16 in allowance here",
    )
    yield _row(
        "us-lin-10-disc",
        "lining-periodic",
        yearly,
        "at least",
        "1/8 in",
        usual=("3.2 mm",),
        applies="steering axle, air disc",
        j="US",
        given={"axle": _STEER, "brake": "air disc"},
        source=_APP_A,
        section=section,
        standing="law seen",
    )
    yield _row(
        "us-lin-10-hydraulic",
        "lining-periodic",
        yearly,
        "more than",
        "1/16 in",
        usual=("1.6 mm",),
        applies="steering axle, hydraulic or electric brake",
        j="US",
        given={"axle": _STEER, "brake": ("hydraulic", "electric")},
        source=_APP_A,
        section=section,
        standing="law seen",
        note="1/16 in or less is rejected: equal fails",
    )
    yield _row(
        "us-lin-10-drum-other",
        "lining-periodic",
        yearly,
        "at least",
        "1/4 in",
        usual=("6.4 mm",),
        applies="axles other than steering, air drum",
        j="US",
        given={"axle": _OTHERS, "brake": "air drum"},
        source=_APP_A,
        section="1.a(6)(c)",
        standing="law seen",
        note="same figures as 393.47(d)(2)",
    )
    yield _row(
        "us-lin-10-disc-other",
        "lining-periodic",
        yearly,
        "at least",
        "1/8 in",
        usual=("3.2 mm",),
        applies="axles other than steering, air disc",
        j="US",
        given={"axle": _OTHERS, "brake": "air disc"},
        source=_APP_A,
        section="1.a(6)(c)",
        standing="law seen",
        note="same figures as 393.47(d)(2)",
    )
    yield _row(
        "us-lin-10-hydraulic-other",
        "lining-periodic",
        yearly,
        "more than",
        "1/16 in",
        usual=("1.6 mm",),
        applies="axles other than steering, hydraulic or electric drum brake",
        j="US",
        given={"axle": _OTHERS, "brake": ("hydraulic", "electric")},
        source=_APP_A,
        section="1.a(6)(c)",
        standing="law seen",
        note="1/16 in or less is rejected: equal fails, unlike 393.47(d)(2)",
    )
    yield _row(
        "us-lin-8-length",
        "lining-crack-length",
        "length of a crack in a drum lining",
        "at most",
        "1 1/2 in",
        usual=("38 mm",),
        applies="drum linings, periodic inspection",
        j="US",
        source=_UTAH,
        section="R714-162-11(1)(e)(iv)",
        edition=_UTAH_ED,
        standing="law copy",
    )
    yield _row(
        "us-lin-8-width",
        "lining-crack-width",
        "width of a crack or void at the edge of a drum lining",
        "at most",
        "1/16 in",
        usual=("1.6 mm",),
        applies="drum linings, periodic inspection",
        j="US",
        source=_UTAH,
        section="R714-162-11(1)(e)(iv)",
        edition=_UTAH_ED,
        standing="law copy",
    )
    yield _row(
        "us-lin-9",
        "wedge-scribe",
        "movement of the scribe mark on a wedge brake lining",
        "at most",
        "1/16 in",
        usual=("1.6 mm",),
        applies="wedge brakes",
        j="US",
        source=_UTAH,
        section="R714-162-11(1)(d)",
        edition=_UTAH_ED,
        standing="law copy",
    )
    yield _row(
        "us-md-lin-9",
        "wedge-scribe",
        "movement of the scribe mark on a wedge brake lining",
        "at most",
        "1/16 in",
        usual=("1.6 mm",),
        applies="wedge brakes",
        j="US-MD",
        source=_COMAR,
        section="11.22.02.06 K",
        edition=_COMAR_ED,
        standing="law seen",
    )


# Type, long-stroke value, inches, millimetres, are the millimetres printed in the line seen,
# standing. The federal lines seen are those of Types 12 and 16; the rest of the standard column
# was seen in the Maryland table only.
_CLAMP_STROKES: tuple[tuple[str, str, str, str, bool, Standing, str], ...] = (
    ("6", "no", "1 1/4", "31.8", False, "law copy", "4 1/2 in"),
    ("9", "no", "1 3/8", "34.9", False, "law copy", "5 1/4 in"),
    ("12", "no", "1 3/8", "34.9", True, "law copy", "5 11/16 in"),
    ("12", "yes", "1 3/4", "44.5", True, "private copy", "5 11/16 in"),
    ("16", "no", "1 3/4", "44.5", True, "law copy", "6 3/8 in"),
    ("16", "yes", "2", "50.8", True, "private copy", "6 3/8 in"),
    ("20", "no", "1 3/4", "44.5", False, "law copy", "6 25/32 in"),
    ("20", "yes", "2", "50.8", False, "private copy", "6 25/32 in"),
    ("24", "no", "1 3/4", "44.5", False, "law copy", "7 7/32 in"),
    ("24", "yes", "2", "50.8", False, "law copy", "7 7/32 in"),
    ("24", "3 inch", "2 1/2", "63.5", False, "private copy", "7 7/32 in"),
    ("30", "no", "2", "50.8", False, "law copy", "8 3/32 in"),
    ("30", "yes", "2 1/2", "63.5", False, "private copy", "8 3/32 in"),
    ("36", "no", "2 1/4", "57.2", False, "law copy", "9 in"),
)
_STROKE_NAMES = {"no": "standard", "yes": "long", "3 inch": "3-inch"}
# Where a row does not rest on the Maryland table: source, edition, note.
_FEDERAL_LINE = (
    "49 CFR, one line of the table, seen in part",
    "77 FR 46633, 6 Aug 2012",
    "the printed line of this size was seen, not the whole table",
)
_LONG_SOURCES: Mapping[str, tuple[str, str, str]] = MappingProxyType(
    {
        "12-long": _FEDERAL_LINE,
        "16-long": _FEDERAL_LINE,
        "20-long": ("a truck maker's manual, after 49 CFR", "Nov 2015", ""),
        "24-3-inch": ("a maker's manual, after 49 CFR", "edition not visible", ""),
        "30-long": ("two private charts, after 49 CFR", "edition not visible", ""),
    }
)
_BOLT_STROKES = ("1 3/8", "1 3/4", "1 3/4", "1 1/4", "1 3/8", "2 1/4", "2")
_ROTO_STROKES = ("1 1/2", "1 1/2", "2", "2", "2", "2 1/4", "2 3/4", "3")


def _strokes() -> Iterator[Limit]:
    what = "applied pushrod stroke"
    table = (
        f"{_CFR}; table in {_COMAR}",
        "77 FR 46633, 6 Aug 2012; Maryland: " + _COMAR_ED,
        "",
    )
    for size, long, inches, millimetres, seen, standing, diameter in _CLAMP_STROKES:
        name = f"{size}-{_STROKE_NAMES[long]}"
        metric = (f"{millimetres} mm",)
        source, edition, note = _LONG_SOURCES.get(name, table)
        if name == "24-long":
            note = "Maryland footnote: 2 inches for long stroke design"
        yield _row(
            f"us-str-{name}",
            "stroke",
            what,
            "at most",
            f"{inches} in",
            printed=metric if seen else (),
            usual=() if seen else metric,
            applies=f"clamp chamber Type {name.replace('-', ' ', 1)}, outside diameter {diameter}",
            j="US",
            given={"chamber type": size, "long stroke": long},
            source=source,
            section="393.47(e)(1)" + ("" if name in _LONG_SOURCES else "; 11.22.02.06 J Table 1"),
            edition=edition,
            standing=standing,
            note=note,
        )
        yield _row(
            f"ca-on-str-{name}",
            "stroke",
            what,
            "at most",
            f"{inches} in",
            usual=metric,
            applies=f"clamp chamber Type {name.replace('-', ' ', 1)}, outside diameter {diameter}",
            j="CA-ON",
            given={"chamber type": size, "long stroke": long},
            source="Ontario, R.R.O. 1990, Reg. 587 (not seen; figures of the United States table)",
            section="s. 5",
            standing="memory",
        )
    for kind, inches in zip(_BOLT, _BOLT_STROKES, strict=True):
        yield _row(
            f"us-str-{kind.lower().replace(' ', '-')}",
            "stroke",
            what,
            "at most",
            f"{inches} in",
            applies=f"bolt-type chamber {kind[-1]}",
            j="US",
            given={"chamber type": kind},
            source=_COMAR,
            section="11.22.02.06 J Table 1",
            edition=_COMAR_ED,
            standing="law copy",
        )
    for kind, inches in zip(_ROTO, _ROTO_STROKES, strict=True):
        yield _row(
            f"us-str-{kind.replace(' ', '-')}",
            "stroke",
            what,
            "at most",
            f"{inches} in",
            applies=kind,
            j="US",
            given={"chamber type": kind},
            source=_COMAR,
            section="11.22.02.06 J Table 1",
            edition=_COMAR_ED,
            standing="law copy",
        )
    yield _row(
        "us-str-r",
        "stroke",
        "applied pushrod stroke, as a part of the rated stroke",
        "at most",
        "80 percent",
        applies="actuator not in the tables",
        j="US",
        given={"chamber type": "other"},
        needs=("rated stroke",),
        rule="rated stroke",
        source=_APP_A,
        section="1.a(5)(b)",
        standing="law seen",
        note="80 percent of the rated stroke marked on the actuator; a readjustment limit marked "
        "on it goes first",
    )
    yield _row(
        "us-str-0",
        "stroke-test-pressure",
        "reservoir pressure while strokes are measured",
        "between",
        "80 to 90 psi",
        usual=("552 to 621 kPa",),
        applies="engine off, brakes fully applied, spring brakes released",
        j="US",
        source=_APP_A,
        section="1.a(5)(a)",
        standing="law seen",
    )
    yield _row(
        "ca-on-str-0",
        "stroke-test-pressure",
        "reservoir pressure while strokes are measured",
        "between",
        "90 to 100 psi",
        printed=("621 to 690 kPa",),
        applies="engine off, brakes fully applied, spring brakes released",
        j="CA-ON",
        source="Ontario air brake and bus handbooks (MTO)",
        section="air brake 11-2-0; bus 7-1-5",
        standing="handbook",
    )
    yield _row(
        "us-md-str-d",
        "stroke-difference",
        "difference of pushrod strokes, left to right",
        "at most",
        "1/4 in",
        usual=("6.4 mm",),
        applies="steering axle",
        j="US-MD",
        given={"axle": _STEER},
        source=_COMAR,
        section="11.22.02.06 J(3)",
        edition=_COMAR_ED,
        standing="law seen",
        note="only advice outside Maryland",
    )
    yield _row(
        "us-str-d",
        "stroke-difference",
        "difference of pushrod strokes, left to right",
        "at most",
        "1/4 in",
        usual=("6.4 mm",),
        applies="steering axle",
        j="US",
        given={"axle": _STEER},
        source="Maryland's rule (COMAR), taken as advice elsewhere",
        section="11.22.02.06 J(3)",
        standing="practice",
    )
    yield _row(
        "us-str-h",
        "hand-pull",
        "travel of a slack adjuster pulled by hand, brakes released",
        "at most",
        "1 in",
        usual=("25 mm",),
        applies="drum brakes with manual slack adjusters",
        j="US",
        given={"slack adjuster": "manual"},
        source="commercial-driver manual of Georgia",
        section="11.2.3",
        standing="handbook",
        note="a driver's check, not a legal stroke limit; never turn an automatic adjuster to "
        "cure a long stroke",
    )
    yield _row(
        "ca-str-h",
        "hand-pull",
        "travel of a slack adjuster pulled by hand or pry bar, brakes released",
        "at most",
        "3/4 in",
        usual=("19 mm",),
        applies="drum brakes with manual slack adjusters",
        j="CA",
        given={"slack adjuster": "manual"},
        source="driver-training pages on Canadian air brakes",
        section="manual slack adjusters",
        edition="seen 2026-11-25",
        standing="private copy",
        note="half to three quarters of an inch there; the legal limit is of the applied stroke",
    )
    yield _row(
        "ca-sk-str-h",
        "hand-pull",
        "slack of a brake, brakes released",
        "less than",
        "3/4 in",
        printed=("19 mm",),
        applies="drum brakes with manual slack adjusters",
        j="CA-SK",
        given={"slack adjuster": "manual"},
        source=_SGI,
        section="Within an inch of your life",
        standing="handbook",
        note="half to three quarters of an inch is right; at three quarters it must be adjusted: "
        "equal fails",
    )
    yield _row(
        "ca-bc-str-h",
        "hand-pull",
        "free stroke by the pry method, brakes released",
        "at most",
        "3/4 in",
        printed=("20 mm",),
        applies="drum brakes with manual slack adjusters, Type 30 clamp chamber",
        j="CA-BC",
        given={"slack adjuster": "manual"},
        source=_BC,
        section="chapter 9, air brake adjustment, p. 188",
        standing="handbook",
        note="more must be adjusted",
    )


def _air() -> Iterator[Limit]:
    yield from _low_air()
    yield from _build_up()
    yield from _governor()
    yield from _leaks()
    yield from _valves()


def _low_air() -> Iterator[Limit]:
    what = "pressure at which the low-air warning comes on"
    yield _row(
        "us-air-1",
        "low-air-warning",
        what,
        "at least",
        "55 psi",
        printed=("379 kPa",),
        applies="power units not subject to FMVSS 121 (this scope from memory)",
        j="US",
        given={"fmvss 121": "no"},
        needs=("governor cut-out",),
        rule="half cut-out",
        source=_CFR,
        section="393.51(c)",
        standing="private copy",
        note="55 psi or half of the governor cut-out, whichever is less; the words were seen in "
        "part",
    )
    yield _row(
        "us-air-2",
        "low-air-warning",
        what,
        "at least",
        "60 psi",
        usual=("414 kPa",),
        applies="truck and truck-tractor under FMVSS 121",
        j="US",
        given={"fmvss 121": "yes"},
        source="49 CFR 571.121, quoted in NHTSA letters; COMAR 11.22.02.06 A",
        section="S5.1.5",
        edition="letters of 21 Dec 1973 and 1 Jul 1983",
        standing="law copy",
        note="the signal must be on below 60 psi: visible ahead, or audible and visible",
    )
    yield _row(
        "us-air-15",
        "low-air-warning-test",
        what,
        "at least",
        "55 psi",
        usual=("379 kPa",),
        applies="driver's test: key on, engine off, fan the pedal",
        j="US",
        or_maker=True,
        source=_MANUALS,
        section="11M.1.2; section 11",
        edition=_MANUALS_ED,
        standing="handbook",
        note="older editions say 60",
    )
    yield _row(
        "us-md-air-2",
        "low-air-warning",
        what,
        "at least",
        "60 psi",
        usual=("414 kPa",),
        applies="air-braked vehicles",
        j="US-MD",
        source=_COMAR,
        section="11.22.02.06 A",
        edition=_COMAR_ED,
        standing="law seen",
        note="rejected if not on at 60",
    )
    yield _row(
        "ca-on-air-low",
        "low-air-warning",
        what,
        "at least",
        "55 psi",
        printed=("380 kPa",),
        applies="air-braked vehicles",
        j="CA-ON",
        source=_MTO,
        section="6-1-3, 6-1-4, 6-1-6",
        standing="handbook",
        note="a defect only if it fails to act at 55 psi",
    )
    yield _row(
        "ca-ab-air-low",
        "low-air-warning",
        what,
        "at least",
        "60 psi",
        printed=("414 kPa",),
        applies="air-braked vehicles",
        j="CA-AB",
        source=_AB,
        section="section not visible",
        standing="handbook",
    )
    yield _row(
        "ca-mb-air-low",
        "low-air-warning",
        what,
        "at least",
        "55 psi",
        applies="air-braked vehicles",
        j="CA-MB",
        source=_MB,
        section="section not visible",
        edition=_MB_ED,
        standing="private copy",
        note=_MB_NOTE,
    )
    yield _row(
        "ca-bc-air-low",
        "low-air-warning",
        what,
        "at least",
        "60 psi",
        printed=("414 kPa",),
        applies="air-braked tractor",
        j="CA-BC",
        source=_BC,
        section="chapter 10, Class 1 pre-trip inspection, p. 203",
        standing="handbook",
    )
    yield _row(
        "ca-qc-air-low",
        "low-air-warning",
        what,
        "at least",
        "380 kPa",
        usual=("55 psi",),
        applies="air-braked vehicles",
        j="CA-QC",
        source=_QC,
        section="s. 38 (3); s. 166 (10)",
        edition=_QC_166,
        standing="law seen",
        note="none of the warnings on below 380 kPa is a major defect",
    )


def _build_up() -> Iterator[Limit]:
    what = "time for the compressor to build pressure"
    yield _row(
        "us-air-3",
        "build-up-design",
        f"{what} from 85 to 100 psi",
        "at most",
        "25 s",
        applies="engine at maximum recommended speed, the tractor's reservoirs only",
        j="US",
        over="85 to 100 psi",
        rule="reservoir volumes",
        needs=("actual reservoir volume", "required reservoir volume"),
        source="49 CFR 571.121, quoted in an NHTSA letter",
        section="S5.1.1",
        standing="law copy",
        note="time = actual reservoir capacity x 25 / required reservoir capacity",
    )
    yield _row(
        "us-air-4",
        "build-up",
        f"{what} from 85 to 100 psi",
        "at most",
        "45 s",
        applies="dual air systems, operating engine speed",
        j="US",
        given={"air system": "dual"},
        over="85 to 100 psi",
        source=_MODEL,
        section="5",
        standing="private copy",
        note="larger tanks may lawfully take longer",
    )
    yield _row(
        "us-air-4-single",
        "build-up",
        f"{what} from 50 to 90 psi",
        "at most",
        "3 min",
        applies="single systems made before 1975, 600 to 900 rpm",
        j="US",
        given={"air system": "single"},
        over="50 to 90 psi",
        source=_MODEL,
        section="5",
        standing="private copy",
    )
    yield _row(
        "us-md-air-4",
        "build-up",
        f"{what} from 50 to 90 psi",
        "at most",
        "3 min",
        applies="about 1200 rpm",
        j="US-MD",
        over="50 to 90 psi",
        source=_COMAR,
        section="11.22.02 (paragraph not visible)",
        edition=_COMAR_ED,
        standing="law seen",
    )
    yield _row(
        "ca-on-air-build",
        "build-up",
        f"{what} from 85 to 100 psi",
        "at most",
        "2 min",
        applies="600 to 900 rpm",
        j="CA-ON",
        over="85 to 100 psi",
        source=_MTO,
        section="6-1-3, 6-1-4, 6-1-6",
        standing="handbook",
        note="slower is a minor defect",
    )
    yield _row(
        "ca-ab-air-build",
        "build-up",
        f"{what} from 50 to 90 psi",
        "at most",
        "3 min",
        applies="about 1200 rpm",
        j="CA-AB",
        over="50 to 90 psi",
        source=_AB,
        section="section not visible",
        standing="handbook",
    )
    yield _row(
        "ca-mb-air-build",
        "build-up",
        f"{what} from 50 to 90 psi",
        "at most",
        "3 min",
        applies="air-braked vehicles",
        j="CA-MB",
        over="50 to 90 psi",
        source=_MB,
        section="section not visible",
        edition=_MB_ED,
        standing="private copy",
        note=f"{_MB_NOTE}; the line is cut off",
    )
    yield _row(
        "ca-bc-air-build",
        "build-up",
        f"{what} from 50 to 90 psi",
        "at most",
        "3 min",
        applies="air-braked tractor",
        j="CA-BC",
        over="50 to 90 psi",
        source=_BC,
        section="chapter 10, Class 1 pre-trip inspection, p. 203",
        standing="handbook",
        note="printed 345 to 620 kPa too; the engine speed is not visible",
    )
    yield _row(
        "ca-qc-air-build",
        "build-up",
        f"{what} from 350 to 620 kPa",
        "less than",
        "3 min",
        applies="not over 1200 rpm",
        j="CA-QC",
        over="350 to 620 kPa",
        source=_QC,
        section="s. 38 (1)",
        edition=_QC_38,
        standing="law seen",
        note="in less than three minutes: equal fails",
    )


def _governor() -> Iterator[Limit]:
    out = "governor cut-out pressure"
    into = "governor cut-in pressure"
    yield _row(
        "us-air-5-cut-out",
        "governor-cut-out",
        out,
        "between",
        "120 to 140 psi",
        usual=("827 to 965 kPa",),
        applies="tractor",
        j="US",
        about=True,
        or_maker=True,
        source=_MANUALS,
        section="11M.1.2; section 11",
        edition=_MANUALS_ED,
        standing="handbook",
        note="about; an older text says 125",
    )
    yield _row(
        "us-air-5-cut-in",
        "governor-cut-in",
        into,
        "at least",
        "100 psi",
        usual=("689 kPa",),
        applies="tractor made before 1 Mar 1997",
        j="US",
        given={"made from march 1997": "no"},
        about=True,
        or_maker=True,
        source=_MODEL,
        section="5",
        standing="private copy",
    )
    yield _row(
        "us-air-6",
        "governor-cut-in",
        into,
        "at least",
        "100 psi",
        usual=("689 kPa",),
        applies="powered air-braked vehicle made on or after 1 Mar 1997 (bus: other figure)",
        j="US",
        given={"made from march 1997": "yes"},
        source="Federal Register, amending 49 CFR 571.121",
        section="61 FR 6173",
        edition="16 Feb 1996",
        standing="law seen",
    )
    yield _row(
        "us-md-air-5-cut-out",
        "governor-cut-out",
        out,
        "at most",
        "135 psi",
        applies="air-braked vehicles",
        j="US-MD",
        source=_COMAR,
        section="11.22.02 (paragraph not visible)",
        edition=_COMAR_ED,
        standing="law seen",
    )
    yield _row(
        "us-md-air-5-cut-in",
        "governor-cut-in",
        into,
        "at least",
        "80 psi",
        applies="air-braked vehicles",
        j="US-MD",
        source=_COMAR,
        section="11.22.02 (paragraph not visible)",
        edition=_COMAR_ED,
        standing="law seen",
    )
    yield _row(
        "ca-sk-air-cut-out",
        "governor-cut-out",
        out,
        "between",
        "120 to 145 psi",
        applies="air-braked vehicles",
        j="CA-SK",
        source=_SGI,
        section="section not visible",
        standing="handbook",
    )
    yield _row(
        "ca-sk-air-cut-in",
        "governor-cut-in",
        into,
        "at least",
        "100 psi",
        applies="air-braked vehicles",
        j="CA-SK",
        source=_SGI,
        section="section not visible",
        standing="handbook",
    )
    yield _row(
        "ca-sk-air-gap",
        "governor-gap",
        "governor cut-out less cut-in",
        "between",
        "20 to 25 psi",
        applies="air-braked vehicles",
        j="CA-SK",
        source=_SGI,
        section="section not visible",
        standing="handbook",
    )
    yield _row(
        "ca-bc-air-cut-out",
        "governor-cut-out",
        out,
        "between",
        "105 to 135 psi",
        printed=("724 to 931 kPa",),
        applies="air-braked tractor",
        j="CA-BC",
        source=_BC,
        section="chapter 10, Class 1 pre-trip inspection, p. 203",
        standing="handbook",
    )
    yield _row(
        "ca-bc-air-cut-in",
        "governor-cut-in",
        into,
        "at least",
        "80 psi",
        printed=("552 kPa",),
        applies="air-braked tractor",
        j="CA-BC",
        source=_BC,
        section="chapter 10, Class 1 pre-trip inspection, p. 203",
        standing="handbook",
        note="before the pressure falls below 80 psi",
    )
    yield _row(
        "ca-qc-air-cut-out",
        "governor-cut-out",
        out,
        "between",
        "805 to 945 kPa",
        usual=("117 to 137 psi",),
        applies="air-braked vehicles",
        j="CA-QC",
        source=_QC,
        section="s. 38 (2)",
        edition=_QC_38,
        standing="law seen",
    )
    yield _row(
        "ca-qc-air-cut-in",
        "governor-cut-in",
        into,
        "more than",
        "550 kPa",
        usual=("80 psi",),
        applies="air-braked vehicles",
        j="CA-QC",
        source=_QC,
        section="s. 38 (2)",
        edition=_QC_38,
        standing="law seen",
        note="before the pressure has come down to 550 kPa: equal fails",
    )
    yield _row(
        "ca-on-air-start",
        "leak-test-pressure",
        "reservoir pressure at the start of a leak test",
        "between",
        "80 to 145 psi",
        applies="air-braked vehicles",
        j="CA-ON",
        source=_MTO,
        section="6-1-3, 6-1-4, 6-1-6",
        standing="handbook",
    )


def _leaks() -> Iterator[Limit]:
    on = "air lost in one minute, brakes applied, after the first drop"
    off = "air lost in one minute, brakes released"
    held = "engine off, key on, full pedal"
    yield _row(
        "us-air-7-combination",
        "leak-applied",
        on,
        "at most",
        "4 psi/min",
        usual=("28 kPa/min",),
        applies=f"combination; {held}",
        j="US",
        given={"combination": _ANY_COMBINATION},
        source=f"{_MANUALS}; COMAR 11.22.02.06 D",
        section="11M.1.2; section 11",
        edition=_MANUALS_ED,
        standing="handbook",
        note="more than four pounds in one minute is too much",
    )
    yield _row(
        "us-air-7-single",
        "leak-applied",
        on,
        "at most",
        "3 psi/min",
        usual=("21 kPa/min",),
        applies=f"single vehicle; {held}",
        j="US",
        given={"combination": "no"},
        source=f"{_MANUALS}; COMAR 11.22.02.06 D",
        section="11M.1.2; section 11",
        edition=_MANUALS_ED,
        standing="handbook",
        note="more than three pounds in one minute is too much",
    )
    yield _row(
        "us-ca-air-7-three",
        "leak-applied",
        on,
        "at most",
        "6 psi/min",
        applies=f"three or more units; {held}",
        j="US-CA",
        given={"combination": "three or more units"},
        source="California Commercial Driver Handbook (DMV)",
        section="in-cab air brake check, applied leakage",
        edition="as put up elsewhere on 13 Jan 2013",
        standing="handbook",
    )
    yield _row(
        "ca-on-air-7-combination",
        "leak-applied",
        on,
        "at most",
        "4 psi/min",
        printed=("28 kPa/min",),
        applies="class A combination",
        j="CA-ON",
        given={"combination": "yes"},
        source=_MTO,
        section="6-1-3, 6-1-4, 6-1-6",
        standing="handbook",
    )
    yield _row(
        "ca-on-air-7-single",
        "leak-applied",
        on,
        "at most",
        "3 psi/min",
        printed=("21 kPa/min",),
        applies="class D single vehicle",
        j="CA-ON",
        given={"combination": "no"},
        source=_MTO,
        section="6-1-3, 6-1-4, 6-1-6",
        standing="handbook",
    )
    yield _row(
        "ca-on-air-7-three",
        "leak-applied",
        on,
        "at most",
        "6 psi/min",
        applies="doubles and trains",
        j="CA-ON",
        given={"combination": "three or more units"},
        source="Ontario truck handbook (this figure not seen)",
        section="6-1-3, 6-1-4, 6-1-6",
        standing="memory",
    )
    yield _row(
        "ca-sk-air-7-combination",
        "leak-applied",
        on,
        "at most",
        "4 psi/min",
        printed=("28 kPa/min",),
        applies="combination",
        j="CA-SK",
        given={"combination": _ANY_COMBINATION},
        source=_SGI,
        section="section not visible",
        standing="handbook",
    )
    for name, units, most, given in (
        ("single", "single vehicle", 40, "no"),
        ("combination", "two vehicles", 48, "yes"),
        ("three", "three vehicles", 62, "three or more units"),
    ):
        yield _row(
            f"ca-qc-air-7-{name}",
            "leak-applied",
            on,
            "at most",
            f"{most} kPa/min",
            applies=f"{units}; full pressure, engine off, parking brake released",
            j="CA-QC",
            given={"combination": given},
            source=_QC,
            section="s. 166 (5)",
            edition=_QC_166,
            standing="law seen",
            note="more is a major defect; a leak that is heard is against s. 38 whatever the gauge "
            "says",
        )
    yield _row(
        "us-air-8-combination",
        "leak-released",
        off,
        "at most",
        "3 psi/min",
        usual=("21 kPa/min",),
        applies="combination; engine off",
        j="US",
        given={"combination": _ANY_COMBINATION},
        source=f"{_COMAR}, state inspection",
        section="11.14.04.03 K",
        standing="law copy",
        note="not part of the modernised four-part test; the model manual says less than 3",
    )
    yield _row(
        "us-air-8-single",
        "leak-released",
        off,
        "at most",
        "2 psi/min",
        usual=("14 kPa/min",),
        applies="single vehicle; engine off",
        j="US",
        given={"combination": "no"},
        source=f"{_COMAR}, state inspection",
        section="11.14.04.03 K",
        standing="law copy",
        note="not part of the modernised four-part test; the model manual says less than 2",
    )
    yield _row(
        "us-ca-air-8-three",
        "leak-released",
        off,
        "at most",
        "5 psi/min",
        applies="three or more units; engine off",
        j="US-CA",
        given={"combination": "three or more units"},
        source="California Commercial Driver Handbook (DMV), as quoted in a forum",
        section="in-cab air brake check, static leakage",
        edition="quoted on 2 Jun 2013",
        standing="private copy",
    )


def _valves() -> Iterator[Limit]:
    shut = "pressure at which the tractor's air is shut off from a lost trailer"
    pop = "pressure at which the park valve pops out while fanning"
    yield _row(
        "us-air-9",
        "tractor-protection",
        shut,
        "between",
        "20 to 45 psi",
        usual=("138 to 310 kPa",),
        applies="tractor towing an air-braked trailer",
        j="US",
        source="49 CFR, copied in D.C. Municipal Regulations 18-721",
        section="393.43(b)",
        standing="law copy",
        note="not lower than 20 or higher than 45",
    )
    yield _row(
        "us-md-air-16",
        "tractor-protection",
        shut,
        "between",
        "45 to 60 psi",
        usual=("310 to 414 kPa",),
        applies="tractor",
        j="US-MD",
        or_maker=True,
        source=_COMAR,
        section="11.22.02.06 F(5)",
        edition=_COMAR_ED,
        standing="law seen",
        note="no air may leave the service line with the valve shut",
    )
    yield _row(
        "ca-ab-air-supply",
        "tractor-protection",
        shut,
        "at least",
        "40 psi",
        applies="both lines disconnected",
        j="CA-AB",
        source=_AB,
        section="section not visible",
        standing="handbook",
        note="the guide says 40 to 60 psi or higher",
    )
    yield _row(
        "ca-sk-air-supply",
        "tractor-protection",
        shut,
        "at least",
        "20 psi",
        printed=("138 kPa",),
        applies="supply line opened",
        j="CA-SK",
        source=_SGI,
        section="section not visible",
        standing="handbook",
    )
    yield _row(
        "ca-bc-air-supply",
        "tractor-protection",
        shut,
        "between",
        "20 to 45 psi",
        printed=("138 to 310 kPa",),
        applies="tractor with trailer, pumped down; the highest reservoir gauge is read",
        j="CA-BC",
        source=_BC,
        section="chapter 10, Class 1 pre-trip inspection, p. 203",
        standing="handbook",
        note="the park valve may close too, or not",
    )
    yield _row(
        "ca-qc-air-supply",
        "tractor-protection",
        shut,
        "at least",
        "420 kPa",
        usual=("61 psi",),
        applies="lines to the trailer broken or parted",
        j="CA-QC",
        source=_QC,
        section="s. 38 (7)",
        edition=_QC_38,
        standing="law seen",
        note="what the tractor must keep; less than 138 kPa is a major defect, s. 166 (6)",
    )
    yield _row(
        "us-air-11",
        "park-valve",
        pop,
        "between",
        "20 to 45 psi",
        usual=("138 to 310 kPa",),
        applies="combination",
        j="US",
        about=True,
        or_maker=True,
        source=_MODEL,
        section="5",
        standing="private copy",
        note="North Carolina, July 2017: about 40 psi on a combination; the trailer valve may pop "
        "with or before the tractor's",
    )
    yield _row(
        "ca-ab-air-park",
        "park-valve",
        pop,
        "between",
        "20 to 45 psi",
        printed=("138 to 311 kPa",),
        applies="air-braked vehicles",
        j="CA-AB",
        source=_AB,
        section="section not visible",
        standing="handbook",
    )
    yield _row(
        "us-air-10",
        "breakaway-hold",
        "time that the trailer brakes hold after a breakaway",
        "at least",
        "15 min",
        applies="trailer",
        j="US",
        source="49 CFR, copied in D.C. Municipal Regulations 18-721",
        section="393.43(d)",
        standing="law copy",
    )
    kept = "pressure kept after one full application, engine off, of the reading just before"
    yield _row(
        "us-air-12",
        "pressure-kept",
        kept,
        "at least",
        "70 percent",
        applies="air-braked vehicles",
        j="US",
        source="49 CFR, copied in S.C. Reg. 38-393.50",
        section="393.50(a)",
        standing="law copy",
        edition="older wording; South Carolina current to 27 Sep 2024",
        note="from memory: the present wording, not seen, keeps this figure only for vehicles not "
        "built to FMVSS 121; Texas asks for 80 percent of the cut-out (Transportation Code "
        "547.406)",
    )
    yield _row(
        "us-md-air-12",
        "pressure-kept",
        kept,
        "more than",
        "70 percent",
        applies="air-braked vehicles",
        j="US-MD",
        source=_COMAR,
        section="11.22.02 (paragraph not visible)",
        edition=_COMAR_ED,
        standing="law seen",
        note="a drop of 30 percent or more is rejected: equal fails",
    )


def _tyres() -> Iterator[Limit]:
    what = "tread depth in a major groove"
    where = "not at tie bars, humps or fillets"
    copies = "49 CFR, copied in USPS Handbook PO-515, COMAR 11.22.02.07 and a driver manual"
    yield _row(
        "us-tyr-1",
        "tread",
        what,
        "at least",
        "4/32 in",
        usual=("3.2 mm",),
        applies="front wheels of a tractor, truck or bus",
        j="US",
        given={"axle": _STEER},
        source=copies,
        section="393.75(b)",
        standing="law copy",
        note=f"{where}; 49 CFR 570.62(a), seen, has the same figure",
    )
    yield _row(
        "us-tyr-2",
        "tread",
        what,
        "at least",
        "2/32 in",
        usual=("1.6 mm",),
        applies="all other wheels",
        j="US",
        given={"axle": _OTHERS},
        source=copies,
        section="393.75(c)",
        standing="law copy",
        note=f"{where}; 49 CFR 570.62(a), seen, has the same figure",
    )
    ontario = "Ontario Driver's Handbook copy of R.R.O. 1990, Reg. 625"
    yield _row(
        "ca-on-tyr-steer",
        "tread",
        what,
        "at least",
        "3 mm",
        applies="over 4,500 kg, steering",
        j="CA-ON",
        given={"axle": _STEER},
        source=ontario,
        section="section not visible",
        standing="private copy",
    )
    yield _row(
        "ca-on-tyr-other",
        "tread",
        what,
        "at least",
        "1.5 mm",
        applies="over 4,500 kg, other wheels",
        j="CA-ON",
        given={"axle": _OTHERS},
        source=ontario,
        section="s. 3 (1)",
        standing="private copy",
        note="in two adjacent major grooves at three places round the tire",
    )
    yield _row(
        "ca-bc-tyr-steer",
        "tread",
        what,
        "at least",
        "3 mm",
        printed=("1/8 in",),
        applies="5,500 kg or more, front",
        j="CA-BC",
        given={"axle": _STEER},
        source=_BC,
        section="Tire condition, p. 56",
        standing="handbook",
    )
    yield _row(
        "ca-bc-tyr-other",
        "tread",
        what,
        "at least",
        "1.6 mm",
        printed=("1/16 in",),
        applies="5,500 kg or more, rear and trailer",
        j="CA-BC",
        given={"axle": _OTHERS},
        source=_BC,
        section="Tire condition, p. 56",
        standing="handbook",
    )
    for name, axle, wheels, least, major in (
        ("steer", _STEER, "steering axle", "3.2 mm", "1.6 mm"),
        ("other", _OTHERS, "other wheels", "1.6 mm", "0.8 mm"),
    ):
        yield _row(
            f"ca-qc-tyr-{name}",
            "tread",
            what,
            "at least",
            least,
            applies=f"motor vehicle of 4,500 kg or more, {wheels}",
            j="CA-QC",
            given={"axle": axle},
            source=_QC,
            section="s. 120 (1)",
            edition="French text, 21 May 2019",
            standing="law seen",
            note="not at the wear indicator, which must not touch the road",
        )
        yield _row(
            f"ca-qc-tyr-major-{name}",
            "tread-major",
            f"{what}, below which the defect is major",
            "at least",
            major,
            applies=f"motor vehicle of 4,500 kg or more, {wheels}",
            j="CA-QC",
            given={"axle": axle},
            source=_QC,
            section="s. 170 (2)",
            edition="French text, 26 Nov 2024",
            standing="law seen",
            note="in two adjacent grooves",
        )


_LASH_INSPECTION = (
    ("16", "2", "51"),
    ("18", "2 1/4", "57"),
    ("20", "2 1/2", "64"),
    ("22", "2 3/4", "70"),
)
_LASH = (
    ("16", "2", "51", "4 1/4", "108"),
    ("18", "2 1/4", "57", "4 3/4", "121"),
    ("19", "2 3/8", "60", "5", "127"),
    ("20", "2 1/2", "64", "5 1/4", "133"),
    ("21", "2 5/8", "67", "5 1/2", "140"),
    ("22", "2 3/4", "70", "5 3/4", "146"),
)
#: Diameters of a steering wheel that have rows of their own; "16" stands for 16 in or less.
LASH_DIAMETERS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "steering-lash": tuple(row[0] for row in _LASH),
        "steering-lash-inspection": tuple(row[0] for row in _LASH_INSPECTION),
    }
)


def _steering() -> Iterator[Limit]:
    what = "steering wheel lash at the rim"
    for diameter, manual, manual_mm, power, power_mm in _LASH:
        wheel = f"wheel {diameter} in" + (" or less" if diameter == "16" else "")
        for assisted, inches, metric in (("no", manual, manual_mm), ("yes", power, power_mm)):
            name = "power" if assisted == "yes" else "manual"
            yield _row(
                f"us-ste-2-{diameter}-{name}",
                "steering-lash",
                what,
                "at most",
                f"{inches} in",
                printed=(f"{metric} mm",),
                applies=f"{wheel}, {name} steering",
                j="US",
                given={"wheel diameter": diameter, "power steering": assisted},
                source=_CFR,
                section="393.209(b)(1)",
                edition="70 FR 48055, 15 Aug 2005",
                standing="law seen",
                note="shall not exceed: equal passes",
            )
    for assisted, degrees in (("no", "14"), ("yes", "30")):
        name = "power" if assisted == "yes" else "manual"
        yield _row(
            f"us-ste-4-{name}",
            "steering-lash",
            "steering wheel lash as an angle",
            "at most",
            f"{degrees} deg",
            applies=f"wheel diameter not listed, {name} steering",
            j="US",
            given={"wheel diameter": "not listed", "power steering": assisted},
            source=_CFR,
            section="393.209(b)(2)",
            edition="70 FR 48055, 15 Aug 2005",
            standing="law seen",
        )
    for diameter, inches, metric in _LASH_INSPECTION:
        wheel = f"wheel {diameter} in" + (" or less" if diameter == "16" else "")
        yield _row(
            f"us-ste-1-{diameter}",
            "steering-lash-inspection",
            what,
            "at most",
            f"{inches} in",
            usual=(f"{metric} mm",),
            applies=f"{wheel}, vehicle over 10,000 lb in use",
            j="US",
            given={"wheel diameter": diameter},
            source=_CFR,
            section="570.60 Table 2",
            standing="law seen",
            note="engine running if power steering",
        )


def _coupling() -> Iterator[Limit]:
    source = f"{_APP_A} 2; {_UTAH}"
    pivot = "horizontal movement between pivot pin and bracket"
    slider = "movement between slider bracket and slider base"
    plates = "horizontal movement between upper and lower fifth wheel halves"
    yield _row(
        "us-fw-2",
        "fifth-wheel-pivot",
        pivot,
        "at most",
        "3/8 in",
        usual=("9.5 mm",),
        applies="fifth wheel",
        j="US",
        source=source,
        section="R714-162-10(1)(b)",
        edition=_UTAH_ED,
        standing="law copy",
    )
    yield _row(
        "us-fw-3",
        "fifth-wheel-slider",
        slider,
        "at most",
        "3/8 in",
        usual=("9.5 mm",),
        applies="sliding fifth wheel",
        j="US",
        source=source,
        section="R714-162-10(1)(c)",
        edition=_UTAH_ED,
        standing="law copy",
    )
    yield _row(
        "us-fw-4",
        "fifth-wheel-plates",
        plates,
        "at most",
        "1/2 in",
        usual=("12.7 mm",),
        applies="coupled unit",
        j="US",
        source=source,
        section="R714-162-10(1)(d)",
        edition=_UTAH_ED,
        standing="law copy",
    )
    for part, words in (("slider", slider), ("jaw", "movement of the jaws")):
        yield _row(
            f"us-md-fw-{part}",
            f"fifth-wheel-{part}",
            words,
            "at most",
            "1/4 in",
            applies="fifth wheel",
            j="US-MD",
            source=_COMAR,
            section="11.22.02.27",
            edition=_COMAR_ED,
            standing="law copy",
            note="stricter than the federal figure",
        )
    yield _row(
        "ca-on-fw-1",
        "fifth-wheel-plates",
        "fore-and-aft movement of the fifth wheel",
        "at most",
        "12.7 mm",
        usual=("1/2 in",),
        applies="coupled unit",
        j="CA-ON",
        source="O. Reg. 199/07, as quoted",
        section="s. 19 note 4",
        standing="private copy",
    )
    for part, words, most, inches in (
        ("plates", "horizontal play between kingpin and jaws", "12.8 mm", "1/2 in"),
        ("slider", "lengthwise play in the locks of a sliding fifth wheel", "9.5 mm", "3/8 in"),
    ):
        yield _row(
            f"ca-qc-fw-{part}",
            f"fifth-wheel-{part}",
            words,
            "at most",
            most,
            usual=(inches,),
            applies="coupled unit",
            j="CA-QC",
            source=_QC,
            section="s. 169 (6)" if part == "plates" else "s. 169 (7)",
            edition="French text, 22 May 2020",
            standing="law seen",
            note="more is a major defect",
        )
    guides = "SAE J700 values as printed on inspection guides (standard not seen)"
    yield _row(
        "us-kp-1-jaw",
        "kingpin-new-jaw",
        "diameter of a new kingpin where the jaws close",
        "between",
        "1.995 to 2.005 in",
        applies="2-inch kingpin",
        j="US",
        source=guides,
        section="section not visible",
        standing="private copy",
        note="2.000 plus or minus 0.005 in",
    )
    yield _row(
        "us-kp-1-throat",
        "kingpin-new-throat",
        "diameter of a new kingpin at the throat",
        "between",
        "2.870 to 2.880 in",
        applies="2-inch kingpin",
        j="US",
        source=guides,
        section="section not visible",
        standing="private copy",
        note="2.875 plus or minus 0.005 in",
    )
    yield _row(
        "us-kp-2",
        "kingpin-wear",
        "kingpin wear",
        "less than",
        "1/8 in",
        usual=("3.2 mm",),
        applies="trailer",
        j="US-MD",
        source=_COMAR,
        section="11.22.04.11 B",
        edition=_COMAR_ED,
        standing="law seen",
        note="rejected when worn 1/8 inch or more: equal fails",
    )
    yield _row(
        "us-kp-2-gauge",
        "kingpin-wear",
        "kingpin wear",
        "less than",
        "1/8 in",
        usual=("3.2 mm",),
        applies="trailer",
        j="US",
        source="makers' wear gauges, after a Maryland rule",
        section="common practice",
        standing="practice",
        note="SAE J2228 holds the wear limits; its figure was not seen",
    )
    yield _row(
        "us-kp-2-diameter",
        "kingpin-diameter",
        "kingpin diameter where the jaws close",
        "more than",
        "1.875 in",
        usual=("47.6 mm",),
        applies="2-inch kingpin",
        j="US",
        source="makers' wear gauges: 2 in less 1/8 in of wear",
        section="common practice",
        standing="practice",
        note="1/8 inch of wear is already too much: equal fails",
    )
    yield _row(
        "eu-kp-1",
        "kingpin-diameter",
        "kingpin diameter where the jaws close",
        "at least",
        "49 mm",
        applies="kingpin 50, ISO 337, UN R55 class H50",
        j="EU",
        source="service figure, no standard text seen",
        section="none",
        standing="memory",
    )


def _cab() -> Iterator[Limit]:
    area = "area up from the top of the steering wheel, without 2-in top and 1-in side borders"
    yield _row(
        "us-gls-1-width",
        "windshield-crack",
        "width of a windshield crack",
        "at most",
        "1/4 in",
        printed=("6 mm",),
        applies=area,
        j="US",
        source=f"{_CFR}; {_APP_A} 12",
        section="393.60(c)",
        standing="private copy",
        note="and not meeting another crack; the width is the gap on one surface",
    )
    yield _row(
        "us-gls-1-disc",
        "windshield-damage",
        "smallest disc that covers the damage",
        "at most",
        "3/4 in",
        printed=("19 mm",),
        applies=area,
        j="US",
        source=f"{_CFR}; {_APP_A} 12",
        section="393.60(c)",
        standing="private copy",
    )
    yield _row(
        "us-gls-1-space",
        "windshield-spacing",
        "distance between two damaged places",
        "at least",
        "3 in",
        printed=("76 mm",),
        applies=area,
        j="US",
        source=f"{_CFR}; {_APP_A} 12",
        section="393.60(c)",
        standing="private copy",
    )
    yield _row(
        "us-md-gls",
        "windshield-damage",
        "size of a chip",
        "at most",
        "1/2 in",
        applies="sweep of the wipers",
        j="US-MD",
        source=_COMAR,
        section="11.22.02.20 A(3)",
        edition=_COMAR_ED,
        standing="law seen",
    )
    yield _row(
        "us-md-exh",
        "exhaust-clearance",
        "distance from exhaust to fuel and brake lines",
        "at least",
        "1 1/2 in",
        applies="tractor",
        j="US-MD",
        source=_COMAR,
        section="11.22.02 (paragraph not visible)",
        edition=_COMAR_ED,
        standing="law seen",
    )


_SIZES = ("1/4", "5/16", "3/8", "7/16", "1/2", "5/8")
_SIZES_80 = ("1/4", "5/16", "3/8", "1/2", "5/8")
_WEBBING = (("1 3/4", 1750, 790), ("2", 2000, 910), ("3", 3000, 1360), ("4", 4000, 1810))
_CHAIN: tuple[tuple[str, tuple[str, ...], tuple[int, ...], tuple[int, ...]], ...] = (
    ("30", _SIZES, (1300, 1900, 2650, 3700, 4500, 6900), (580, 860, 1200, 1680, 2030, 3130)),
    ("43", _SIZES, (2600, 3900, 5400, 7200, 9200, 13000), (1180, 1770, 2450, 3270, 4170, 5910)),
    ("70", _SIZES, (3150, 4700, 6600, 8750, 11300, 15800), (1430, 2130, 2990, 3970, 5130, 7170)),
    ("80", _SIZES_80, (3500, 4500, 7100, 12000, 18100), (1570, 2000, 3200, 5400, 8200)),
    ("100", _SIZES_80, (4300, 5700, 8800, 15000, 22600), (1950, 2600, 4000, 6800, 10300)),
)
_ROPE = (
    *(("1/4", 1400, 640), ("5/16", 2100, 950), ("3/8", 3000, 1360), ("7/16", 4100, 1860)),
    *(("1/2", 5300, 2400), ("5/8", 8300, 3770), ("3/4", 10900, 4940)),
)


def _slug(size: str) -> str:
    return size.replace(" ", "-").replace("/", "-")


def _cargo() -> Iterator[Limit]:
    what = "load on one tiedown, against its default working load limit"
    tables = "49 CFR, three private copies of the tables to 393.108"
    for width, pounds, kilograms in _WEBBING:
        yield _row(
            f"us-crg-5-{_slug(width)}",
            "wll-webbing",
            what,
            "at most",
            f"{pounds} lb",
            printed=(f"{kilograms} kg",),
            applies=f"unmarked webbing {width} in wide",
            j="US",
            given={"webbing width": width},
            source=tables,
            section="393.108",
            standing="private copy",
        )
    number = {"30": 6, "43": 7, "70": 8, "80": 9, "100": 10}
    for grade, sizes, pound_row, kilogram_row in _CHAIN:
        for size, pounds, kilograms in zip(sizes, pound_row, kilogram_row, strict=True):
            yield _row(
                f"us-crg-{number[grade]}-{_slug(size)}",
                "wll-chain",
                what,
                "at most",
                f"{pounds} lb",
                printed=(f"{kilograms} kg",),
                applies=f"chain grade {grade}, {size} in"
                + (", and every unmarked chain" if grade == "30" else ""),
                j="US",
                given={
                    "chain grade": ("30", "unmarked") if grade == "30" else grade,
                    "chain size": size,
                },
                source=tables,
                section="393.108",
                standing="private copy",
            )
    for size, pounds, kilograms in _ROPE:
        yield _row(
            f"us-crg-11-{_slug(size)}",
            "wll-wire-rope",
            what,
            "at most",
            f"{pounds} lb",
            printed=(f"{kilograms} kg",),
            applies=f"wire rope 6x37, fibre core, {size} in",
            j="US",
            given={"rope size": size},
            source=tables,
            section="393.108",
            standing="private copy",
        )
    for id, family, words, section, figures in (
        (
            "us-crg-1",
            "cargo-breaking-strength",
            "breaking strength",
            "393.102(a)(1)",
            ("0.8", "0.5", "0.5"),
        ),
        (
            "us-crg-2",
            "cargo-working-load",
            "working load limit",
            "393.102(a)(2)",
            ("0.435", "0.5", "0.25"),
        ),
    ):
        for direction, figure in zip(INPUTS["direction"], figures, strict=True):
            yield _row(
                f"{id}-{direction}",
                family,
                f"deceleration that the securement withstands within its {words}",
                "at least",
                f"{figure} g",
                applies=f"tiedowns, {direction}",
                j="US",
                given={"direction": direction},
                source=_CFR,
                section=section,
                edition="rule text of the FMCSA site, no date",
                standing="law seen",
            )
    yield _row(
        "us-crg-3",
        "cargo-downward",
        "downward force, of the weight of the article",
        "at least",
        "20 percent",
        applies="article not fully contained",
        j="US",
        source=_CFR,
        section="393.102(b)",
        edition="rule text of the FMCSA site, no date",
        standing="law seen",
    )
    canada = f"{_BC}, after National Safety Code Standard 10"
    for direction, figure in zip(INPUTS["direction"], ("0.8", "0.5", "0.5"), strict=True):
        yield _row(
            f"ca-crg-1-{direction}",
            "cargo-working-load",
            "deceleration that the securement withstands within its working load limit",
            "at least",
            f"{figure} g",
            applies=f"each component of the securement, {direction}",
            j="CA",
            given={"direction": direction},
            source=canada,
            section="chapter 5, p. 93",
            standing="handbook",
            note="the same in Québec's law, C-24.2, r. 30, s. 3, for a system held equivalent",
        )
    yield _row(
        "ca-crg-3",
        "cargo-downward",
        "downward force, of the weight of the article",
        "at least",
        "20 percent",
        applies="cargo",
        j="CA",
        source=canada,
        section="chapter 5, p. 93",
        standing="handbook",
        note="Québec, C-24.2, r. 30, s. 3 (2): an article not fully contained",
    )
    yield _row(
        "us-crg-4",
        "cargo-aggregate",
        "sum of working load limits, of the weight secured",
        "at least",
        "50 percent",
        applies="each article or group",
        j="US",
        source="49 CFR; Federal Register summary of 6 Jul 1994",
        section="393.106(d)",
        standing="law copy",
    )
    yield _row(
        "ca-crg-2",
        "cargo-aggregate",
        "sum of working load limits, of the weight secured",
        "at least",
        "50 percent",
        applies="each article or group",
        j="CA",
        source=canada,
        section="chapter 5, Strength of tiedowns, p. 95",
        standing="handbook",
        note="British Columbia makes the standard law (B.C. Reg. 26/58, s. 35.02), Québec too "
        "(C-24.2, r. 30, s. 1); an unmarked tiedown must not be used since 1 Jan 2010",
    )
    yield from _tiedown_counts()
    carolina = "North Carolina commercial-driver manual"
    yield _row(
        "us-crg-15-first",
        "cargo-first-check",
        "distance driven before the first cargo check",
        "at most",
        "50 mi",
        usual=("80 km",),
        applies="truck driver",
        j="US",
        source=_CFR,
        section="392.9(b)(2)",
        standing="private copy",
        note="an old text says 25 miles",
    )
    yield _row(
        "us-crg-15-time",
        "cargo-check-time",
        "time between cargo checks",
        "at most",
        "3 h",
        applies="truck driver; or 150 mi, or a change of duty status, whichever is first",
        j="US",
        source=carolina,
        section="3",
        edition="July 2017",
        standing="handbook",
    )
    yield _row(
        "us-crg-15-distance",
        "cargo-check-distance",
        "distance between cargo checks",
        "at most",
        "150 mi",
        usual=("241 km",),
        applies="truck driver; or 3 h, or a change of duty status, whichever is first",
        j="US",
        source=carolina,
        section="3",
        edition="July 2017",
        standing="handbook",
    )

    ontario = f"{_MTO}, after National Safety Code Standard 10"
    for id, family, what, most in (
        ("ca-crg-15-first", "cargo-first-check", "driven before the first cargo check", "80 km"),
        ("ca-crg-15-time", "cargo-check-time", "time between cargo checks", "3 h"),
        ("ca-crg-15-distance", "cargo-check-distance", "driven between cargo checks", "240 km"),
    ):
        yield _row(
            id,
            family,
            what,
            "at most",
            most,
            applies="driver; or a change of duty status, whichever is first",
            j="CA",
            source=ontario,
            section="1-4-4, Cargo securement",
            standing="handbook",
        )


def _tiedown_counts() -> Iterator[Limit]:
    """Fewest tiedowns on one article. The bound is worked out from its length and weight."""
    what = "number of tiedowns on the article"
    free = "not blocked in front: 1 up to 5 ft and 1100 lb, 2 up to 10 ft, 1 more per 10 ft or part"
    held = "blocked or braced in front: 1 per 10 ft or part"
    federal = "49 CFR, as quoted by private pages and a state manual"
    canada = "National Safety Code Standard 10 (not seen; figures of the United States rule)"
    rows: tuple[tuple[str, str, str, str, str, str, Standing], ...] = (
        ("us-crg-13", "no", free, "US", federal, "393.110(b)", "private copy"),
        ("us-crg-14", "yes", held, "US", federal, "393.110(c)", "private copy"),
        ("ca-crg-13", "no", free, "CA", canada, "section not visible", "memory"),
        ("ca-crg-14", "yes", held, "CA", canada, "section not visible", "memory"),
    )
    for id, blocked, applies, j, source, section, standing in rows:
        yield _row(
            id,
            "tiedown-count",
            what,
            "at least",
            "1 count",
            applies=applies,
            j=j,
            given={"blocked": blocked},
            needs=("article length",) if blocked == "yes" else ("article length", "article weight"),
            rule="article size",
            source=source,
            section=section,
            standing=standing,
            note="metric steps 1.52 m, 3.04 m and 500 kg from memory"
            + ("; British Columbia's manual has three for 3.65 m" if id == "ca-crg-13" else ""),
        )
    yield _row(
        "us-crg-14-two",
        "tiedown-count-least",
        what,
        "at least",
        "2 count",
        applies="any load, whatever its length",
        j="US",
        source="North Carolina commercial-driver manual",
        section="3",
        edition="July 2017",
        standing="handbook",
        note="stricter than 393.110 for a short article",
    )


def _emergency() -> Iterator[Limit]:
    law = "49 CFR, as copied by S.C. Reg. 38-393.95 and COMAR 11.22.02.16"
    for id, load, bottles, rating in (
        ("us-emg-1-one", "no", "one", 5),
        ("us-emg-1-two", "no", "two", 4),
        ("us-emg-2", "yes", ("one", "two"), 10),
    ):
        yield _row(
            id,
            "extinguisher",
            "rating of each fire extinguisher",
            "at least",
            f"{rating} B:C",
            applies="truck-tractor" + (", placarded load" if load == "yes" else ""),
            j="US",
            given={"placarded load": load, "extinguishers": bottles},
            source=law,
            section="393.95(a)(1)(ii)",
            edition="South Carolina Sep 2024",
            standing="law copy",
            note="full, gauge readable, mounted, in reach",
        )
    what = "warning devices carried"
    for device, least in (("triangles", 3), ("fusees", 6), ("liquid-burning flares", 3)):
        yield _row(
            f"us-emg-3-{device.partition('-')[0]}",
            "warning-devices",
            what,
            "at least",
            f"{least} count",
            applies=f"truck-tractor, {device}",
            j="US",
            given={"warning device": device},
            source=law,
            section="393.95(f)",
            edition="South Carolina Sep 2024",
            standing="law copy",
            note="flame devices are barred with some hazardous loads",
        )
    yield _row(
        "us-md-emg-3",
        "warning-devices",
        what,
        "at least",
        "3 count",
        applies="truck-tractor; only triangles count",
        j="US-MD",
        given={"warning device": "triangles"},
        source=_COMAR,
        section="11.22.02.16 A",
        edition=_COMAR_ED,
        standing="law seen",
    )
    yield _row(
        "us-emg-4",
        "spare-fuses",
        "spare fuses of each type and size in use",
        "at least",
        "1 count",
        applies="vehicle that uses fuses",
        j="US",
        source=law,
        section="393.95(b)",
        edition="South Carolina Sep 2024",
        standing="law copy",
    )


def _reports() -> Iterator[Limit]:
    keep = "time that the carrier keeps trip reports"
    yield _row(
        "us-rpt-5",
        "report-kept",
        keep,
        "at least",
        "3 month",
        applies="carrier",
        j="US",
        source="49 CFR; Oregon DOT motor-carrier page",
        section="396.11(a)(4)",
        standing="law copy",
    )
    yield _row(
        "us-rpt-7",
        "periodic-inspection",
        "age of the last periodic inspection",
        "at most",
        "12 month",
        applies="each unit of the combination, proof on the vehicle",
        j="US",
        source=_CFR,
        section="396.17(a), (c)",
        standing="law seen",
    )
    yield _row(
        "us-rpt-8",
        "periodic-report-kept",
        "time that the carrier keeps a periodic report",
        "at least",
        "14 month",
        applies="carrier",
        j="US",
        source="49 CFR; Oregon DOT motor-carrier page",
        section="396.21",
        standing="law copy",
    )
    age = "age of the trip inspection"
    validity: tuple[tuple[str, str, str, str, Standing], ...] = (
        ("ca-on-rpt-1", "CA-ON", "Ontario daily-inspection guide (MTO)", "p. 4", "handbook"),
        (
            "ca-mb-rpt-1",
            "CA-MB",
            "Manitoba trip-inspection page",
            "section not visible",
            "handbook",
        ),
        (
            "ca-sk-rpt-1",
            "CA-SK",
            "Saskatchewan trip-inspection page (SGI)",
            "section not visible",
            "handbook",
        ),
        (
            "ca-ns-rpt-1",
            "CA-NS",
            "National Safety Code Standard 13, as summarised",
            "section not visible",
            "private copy",
        ),
        (
            "ca-rpt-1",
            "CA",
            "National Safety Code Standard 13, as summarised",
            "section not visible",
            "private copy",
        ),
    )
    for id, j, source, section, standing in validity:
        yield _row(
            id,
            "trip-inspection",
            age,
            "at most",
            "24 h",
            applies="driver",
            j=j,
            source=source,
            section=section,
            standing=standing,
        )
    hand_in = "time until the driver sends the report to the carrier"
    yield _row(
        "ca-bc-rpt-3",
        "report-handed-in",
        hand_in,
        "at most",
        "20 day",
        applies="driver",
        j="CA-BC",
        source="National Safety Code course (CVSE, British Columbia)",
        section="module 4",
        standing="handbook",
    )
    yield _row(
        "ca-ns-rpt-3",
        "report-handed-in",
        hand_in,
        "at most",
        "20 day",
        applies="driver",
        j="CA-NS",
        source="summary of N.S. Reg. 26/2018",
        section="section not visible",
        standing="private copy",
    )
    yield _row(
        "ca-bc-rpt-4",
        "report-kept",
        keep,
        "at least",
        "3 month",
        applies="carrier",
        j="CA-BC",
        source="National Safety Code course (CVSE, British Columbia)",
        section="module 4",
        standing="handbook",
    )
    yield _row(
        "ca-rpt-4",
        "report-kept",
        keep,
        "at least",
        "6 month",
        applies="carrier",
        j="CA",
        source="National Safety Code Standard 13 (not seen)",
        section="section not visible",
        standing="memory",
    )
    yield _row(
        "ca-qc-rpt-4",
        "report-kept",
        keep,
        "at least",
        "6 month",
        applies="carrier and owner, circle check reports",
        j="CA-QC",
        source="Québec record-keeping page (SAAQ), Heavy vehicle record",
        section="table",
        standing="handbook",
    )
    yield _row(
        "ca-on-rpt-4",
        "report-kept",
        keep,
        "at least",
        "6 month",
        applies="carrier",
        j="CA-ON",
        source="O. Reg. 199/07 (this section not seen)",
        section="s. 15",
        standing="memory",
    )
    free = "gross weight up to which no trip inspection is due"
    yield _row(
        "ca-on-rpt-5",
        "trip-inspection-weight",
        free,
        "at most",
        "4500 kg",
        usual=("9921 lb",),
        applies="truck, tractor, trailer",
        j="CA-ON",
        source="O. Reg. 199/07",
        section="s. 1",
        standing="law seen",
    )
    yield _row(
        "ca-ns-rpt-5",
        "trip-inspection-weight",
        free,
        "at most",
        "4500 kg",
        usual=("9921 lb",),
        applies="truck, tractor, trailer",
        j="CA-NS",
        source="summary of N.S. Reg. 26/2018",
        section="section not visible",
        standing="private copy",
        note="the regulation before it, N.S. Reg. 223/90, s. 1, seen, has the same figure",
    )
    yield _row(
        "ca-sk-rpt-5",
        "trip-inspection-weight",
        free,
        "at most",
        "11794 kg",
        applies="truck, tractor, trailer",
        j="CA-SK",
        source="Saskatchewan trip-inspection page (SGI)",
        section="section not visible",
        standing="handbook",
    )


LIMITS: tuple[Limit, ...] = tuple(
    row
    for part in (
        _linings,
        _strokes,
        _air,
        _tyres,
        _steering,
        _coupling,
        _cab,
        _emergency,
        _cargo,
        _reports,
    )
    for row in part()
)
BY_ID: Mapping[str, Limit] = MappingProxyType({row.id: row for row in LIMITS})
FAMILIES: frozenset[str] = frozenset(row.family for row in LIMITS)


def limit_of(limit_id: str) -> Limit:
    """The row of that id. Raises UnknownLimit."""
    found = BY_ID.get(limit_id)
    if found is None:
        raise UnknownLimit(
            f"There is no limit {limit_id!r}.",
            "List the limits with `voicecheck limits` and use an id from there.",
        )
    return found
