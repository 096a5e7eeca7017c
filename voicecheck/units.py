"""Units and quantities: exact numbers that never travel without their unit.

Rules of this room:

1. The table of units is closed. A word that is not in it is refused; nothing is guessed.
2. Numbers are ``Decimal``. A binary float is refused, because 0.1 as a float is not 0.1.
3. Two quantities are compared only in the same unit. Whoever wants to compare across units must
   convert on purpose and say so.
4. Factors are exact ratios, so ``exact_in`` never rounds. Only ``to`` rounds, to 28 figures, where
   the quotient does not end.

Sources of the factors: the international yard and pound of 1959 (1 in = 25.4 mm, 1 ft = 12 in,
1 mi = 5280 ft, 1 lb = 0.45359237 kg, all exact) and NIST SP 811, edition 2008, Appendix B.8 (pound
force per square inch = 0.45359237 kg x 9.80665 m/s2 over (0.0254 m)2; degree Fahrenheit
t = (t_F - 32) / 1.8; standard acceleration of free fall 9.80665 m/s2; litre 0.001 m3).
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Context, Decimal, Inexact
from fractions import Fraction
from types import MappingProxyType

from voicecheck.errors import InexactNumber, UnknownUnit

_FIGURES = 28
_EXACT = Context(prec=60, traps=[Inexact])


@dataclass(frozen=True, slots=True)
class Unit:
    """One unit: value in the base of its kind = (number - zero) x factor, both exact.

    ``one`` and ``many`` are the words for the voice. Only units of the same ``kind`` convert.
    """

    symbol: str
    kind: str
    factor: Fraction
    one: str
    many: str
    zero: Fraction = Fraction(0)

    def __str__(self) -> str:
        return self.symbol


_INCH = Fraction("0.0254")
_FOOT = 12 * _INCH
_MILE = 5280 * _FOOT
_POUND = Fraction("0.45359237")
_GRAVITY = Fraction("9.80665")
_PSI = _POUND * _GRAVITY / _INCH**2

PSI = Unit("psi", "pressure", _PSI, "p s i", "p s i")
KPA = Unit("kPa", "pressure", Fraction(1000), "kilopascal", "kilopascals")
# A leak is a pressure in a time. It has its own unit so that a gauge reading is never taken for it.
PSI_PER_MIN = Unit("psi/min", "pressure rate", _PSI / 60, "p s i a minute", "p s i a minute")
KPA_PER_MIN = Unit(
    "kPa/min", "pressure rate", Fraction(1000, 60), "kilopascal a minute", "kilopascals a minute"
)
IN = Unit("in", "length", _INCH, "inch", "inches")
FT = Unit("ft", "length", _FOOT, "foot", "feet")
MI = Unit("mi", "length", _MILE, "mile", "miles")
MM = Unit("mm", "length", Fraction(1, 1000), "millimetre", "millimetres")
M = Unit("m", "length", Fraction(1), "metre", "metres")
KM = Unit("km", "length", Fraction(1000), "kilometre", "kilometres")
LB = Unit("lb", "mass", _POUND, "pound", "pounds")
KG = Unit("kg", "mass", Fraction(1), "kilogram", "kilograms")
S = Unit("s", "time", Fraction(1), "second", "seconds")
MIN = Unit("min", "time", Fraction(60), "minute", "minutes")
H = Unit("h", "time", Fraction(3600), "hour", "hours")
DAY = Unit("day", "time", Fraction(86400), "day", "days")
# A calendar month has no fixed length, so it converts to nothing.
MONTH = Unit("month", "calendar", Fraction(1), "month", "months")
KM_PER_H = Unit("km/h", "speed", Fraction(1000, 3600), "kilometre an hour", "kilometres an hour")
MPH = Unit("mph", "speed", _MILE / 3600, "mile an hour", "miles an hour")
DEG_C = Unit("degC", "temperature", Fraction(1), "degree Celsius", "degrees Celsius")
DEG_F = Unit(
    "degF", "temperature", Fraction(5, 9), "degree Fahrenheit", "degrees Fahrenheit", Fraction(32)
)
DEG = Unit("deg", "angle", Fraction(1), "degree of turn", "degrees of turn")
IN3 = Unit("in3", "volume", _INCH**3, "cubic inch", "cubic inches")
LITRE = Unit("L", "volume", Fraction(1, 1000), "litre", "litres")
G = Unit("g", "acceleration", _GRAVITY, "g", "g")
PERCENT = Unit("percent", "ratio", Fraction(1, 100), "percent", "percent")
# Whole things that are counted: tiedowns, triangles, spare fuses.
COUNT = Unit("count", "number", Fraction(1), "piece", "pieces")
# The figure before "B:C" on a fire extinguisher (the rating of Underwriters Laboratories).
RATING_BC = Unit("B:C", "extinguisher rating", Fraction(1), "b c", "b c")

UNITS: Mapping[str, Unit] = MappingProxyType(
    {
        unit.symbol: unit
        for unit in (
            *(PSI, KPA, PSI_PER_MIN, KPA_PER_MIN),
            *(IN, FT, MI, MM, M, KM),
            *(LB, KG),
            *(S, MIN, H, DAY, MONTH),
            *(KM_PER_H, MPH),
            *(DEG_C, DEG_F, DEG),
            *(IN3, LITRE, G, PERCENT, COUNT, RATING_BC),
        )
    }
)


def unit_named(symbol: str) -> Unit:
    """The unit of that symbol, e.g. ``psi``. Raises UnknownUnit outside the closed table."""
    found = UNITS.get(symbol)
    if found is None:
        raise UnknownUnit(f"There is no unit {symbol!r}.", "Use one of: " + ", ".join(UNITS) + ".")
    return found


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number with its unit. Raises InexactNumber for a float or for infinity and NaN.

    Equality means the same number in the same unit: ``1 in`` and ``25.4 mm`` are not equal objects.
    ``<``, ``<=``, ``>`` and ``>=`` raise UnknownUnit when the units differ.
    """

    value: Decimal
    unit: Unit

    def __post_init__(self) -> None:
        if type(self.value) is not Decimal:
            raise InexactNumber(
                f"{self.value!r} is a {type(self.value).__name__}, not a Decimal.",
                "Write the figure as text, for example Quantity.parse('3/16 in').",
            )
        if not self.value.is_finite():
            raise InexactNumber(f"{self.value} is not a number.", "Give a figure.")
        if not isinstance(self.unit, Unit):
            raise UnknownUnit(f"{self.unit!r} is not a unit.", "Use unit_named(symbol).")

    @classmethod
    def of(cls, value: Decimal | Fraction | int | str, unit: Unit | str) -> Quantity:
        """A quantity from exact input: Decimal, whole number, ending fraction, or text.

        Text may be ``1.25``, ``3/16`` or ``1 3/4``. Raises InexactNumber for a float, for a
        fraction without a finite decimal form (1/3) and for text that is not a figure.
        """
        return cls(_exact(value), unit if isinstance(unit, Unit) else unit_named(unit))

    @classmethod
    def parse(cls, text: str) -> Quantity:
        """A quantity from text such as ``3/16 in``, ``1 3/4 in``, ``28 kPa/min``, ``-18 degC``."""
        number, _, symbol = text.strip().rpartition(" ")
        if not number:
            raise UnknownUnit(f"{text!r} has no unit.", "Write a figure, a space and a unit.")
        return cls.of(number.strip(), symbol)

    def exact_in(self, unit: Unit) -> Fraction:
        """The exact number of this quantity in another unit of the same kind, never rounded."""
        if unit.kind != self.unit.kind:
            raise UnknownUnit(
                f"{self.unit.symbol} cannot become {unit.symbol}: "
                f"{self.unit.kind} is not {unit.kind}.",
                "Name a unit of the same kind.",
            )
        if unit == self.unit:
            return Fraction(self.value)
        base = (Fraction(self.value) - self.unit.zero) * self.unit.factor
        return base / unit.factor + unit.zero

    def to(self, unit: Unit) -> Quantity:
        """This quantity in another unit; rounded half to even at 28 figures if it never ends."""
        if unit == self.unit:
            return self
        return Quantity(rounded(self.exact_in(unit)), unit)

    def __lt__(self, other: Quantity) -> bool:
        return self.value < self._alike(other)

    def __le__(self, other: Quantity) -> bool:
        return self.value <= self._alike(other)

    def __gt__(self, other: Quantity) -> bool:
        return self.value > self._alike(other)

    def __ge__(self, other: Quantity) -> bool:
        return self.value >= self._alike(other)

    def _alike(self, other: Quantity) -> Decimal:
        if other.unit != self.unit:
            raise UnknownUnit(
                f"{self} and {other} are in different units.",
                "Compare in one unit; convert with Quantity.to first if that is meant.",
            )
        return other.value

    def figure(self) -> str:
        """The number alone: a reduced fraction for 32nds of an inch, else a plain decimal."""
        if self.unit == IN:
            parts = _thirty_seconds(self.value)
            if parts is not None and parts[2]:
                sign, whole, part = parts
                return f"{sign}{whole} {part}" if whole else f"{sign}{part}"
        return plain(self.value)

    def __str__(self) -> str:
        return f"{self.figure()} {self.unit.symbol}"

    def digits(self) -> str:
        """The number digit by digit: 180 is "one eight zero", 1.25 "one decimal two five".

        Digit by digit because "fifteen" and "fifty" are confused over a radio (ICAO Doc 9432,
        4th edition 2007: figures are spoken one by one, the point as "decimal").
        """
        return " ".join(_DIGITS[sign] for sign in plain(self.value))

    def spoken(self) -> str:
        """Text for the read-back, with the unit in words.

        32nds of an inch are read as they stand on a rule ("one and three quarters inches"), a
        numerator above nine digit by digit ("one one over one six inch").
        """
        if self.unit == IN:
            parts = _thirty_seconds(self.value)
            if parts is not None and parts[2]:
                sign, whole, part = parts
                words = _fraction_words(part)
                minus = "minus " if sign else ""
                if whole:
                    digits = " ".join(_DIGITS[figure] for figure in str(whole))
                    return f"{minus}{digits} and {words} {self.unit.many}"
                return f"{minus}{words} {self.unit.one}"
        single = abs(self.value) == 1
        return f"{self.digits()} {self.unit.one if single else self.unit.many}"


def rounded(number: Fraction, rounding: str = ROUND_HALF_EVEN) -> Decimal:
    """An exact ratio as a Decimal; exact when it ends within 28 figures, else rounded there."""
    context = Context(prec=_FIGURES, rounding=rounding)
    return context.divide(Decimal(number.numerator), Decimal(number.denominator))


def plain(value: Decimal) -> str:
    """A Decimal in plain figures: no exponent, no trailing zeros, no negative zero."""
    text = format(value, "f")
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


_MIXED = re.compile(
    r"(?P<sign>-?)(?:(?P<whole>\d{1,9}) )?(?P<top>\d{1,9})/(?P<bottom>\d{1,9})", re.ASCII
)
_PLAIN = re.compile(r"-?\d{1,15}(?:\.\d{1,15})?", re.ASCII)


def _exact(value: Decimal | Fraction | int | str) -> Decimal:
    if isinstance(value, bool) or not isinstance(value, Decimal | Fraction | int | str):
        raise InexactNumber(
            f"{value!r} is a {type(value).__name__}, which is not an exact number.",
            "Write the figure as text, for example '0.1'.",
        )
    if isinstance(value, Decimal):
        return value
    if isinstance(value, int):
        return Decimal(value)
    if isinstance(value, Fraction):
        return _ending(value)
    text = value.strip()
    if _PLAIN.fullmatch(text):
        return Decimal(text)
    mixed = _MIXED.fullmatch(text)
    if mixed is None or int(mixed["bottom"]) == 0:
        raise InexactNumber(
            f"{value!r} is not a figure.", "Write figures such as 15, 1.25, 3/16 or 1 3/4."
        )
    number = int(mixed["whole"] or 0) + Fraction(int(mixed["top"]), int(mixed["bottom"]))
    return _ending(-number if mixed["sign"] else number)


def _ending(number: Fraction) -> Decimal:
    try:
        return _EXACT.divide(Decimal(number.numerator), Decimal(number.denominator))
    except Inexact:
        raise InexactNumber(
            f"{number} has no finite decimal form.",
            "Use a fraction that ends, such as halves to thirty-seconds, or a decimal.",
        ) from None


def _thirty_seconds(value: Decimal) -> tuple[str, int, Fraction] | None:
    """Sign, whole part and reduced fraction, if the value is a whole number of 32nds."""
    number = Fraction(value)
    if 32 % number.denominator:
        return None
    whole, rest = divmod(abs(number), 1)
    return ("-" if number < 0 else "", int(whole), rest)


_NAMES = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
_DIGITS: Mapping[str, str] = MappingProxyType(
    {**{str(figure): name for figure, name in enumerate(_NAMES)}, ".": "decimal", "-": "minus"}
)
_PARTS: Mapping[int, tuple[str, str]] = MappingProxyType(
    {
        2: ("half", "halves"),
        4: ("quarter", "quarters"),
        8: ("eighth", "eighths"),
        16: ("sixteenth", "sixteenths"),
        32: ("thirty-second", "thirty-seconds"),
    }
)


def _fraction_words(part: Fraction) -> str:
    if part.numerator > 9:
        top = " ".join(_DIGITS[figure] for figure in str(part.numerator))
        bottom = " ".join(_DIGITS[figure] for figure in str(part.denominator))
        return f"{top} over {bottom}"
    one, many = _PARTS[part.denominator]
    return f"{_DIGITS[str(part.numerator)]} {one if part.numerator == 1 else many}"
