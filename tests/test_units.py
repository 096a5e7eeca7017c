"""Units: exact factors, no floats, nothing compared across units.

Outside checks: NIST SP 811 (2008) Appendix B.8 and the library pint as an independent table.
"""

from __future__ import annotations

import ast
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

import voicecheck.units as units
from voicecheck.errors import InexactNumber, UnknownUnit
from voicecheck.units import UNITS, Quantity, unit_named

# pint's own definitions, with Decimal arithmetic. pint has no calendar month of ours and
# no extinguisher rating.
REGISTRY: pint.UnitRegistry[Decimal] = pint.UnitRegistry(non_int_type=Decimal)
PINT_NAMES = {
    "psi": "psi", "kPa": "kilopascal", "psi/min": "psi/minute", "kPa/min": "kilopascal/minute",
    "in": "inch", "ft": "foot", "mi": "mile", "mm": "millimeter", "m": "meter", "km": "kilometer",
    "lb": "pound", "kg": "kilogram", "s": "second", "min": "minute", "h": "hour", "day": "day",
    "km/h": "kilometer/hour", "mph": "mile/hour", "degC": "degC", "degF": "degF", "deg": "degree",
    "in3": "inch**3", "L": "liter", "g": "standard_gravity", "percent": "percent", "count": "count",
}  # fmt: skip
PAIRS = [
    (a, b) for a in PINT_NAMES for b in PINT_NAMES if a != b and UNITS[a].kind == UNITS[b].kind
]
FIGURES = st.decimals(-9999, 9999, allow_nan=False, allow_infinity=False, places=3)


def test_pint_knows_every_unit_but_the_month_and_the_rating() -> None:
    assert set(PINT_NAMES) == set(UNITS) - {"month", "B:C"}


@pytest.mark.parametrize(("a", "b"), PAIRS)
@given(value=FIGURES)
def test_conversion_agrees_with_pint(a: str, b: str, value: Decimal) -> None:
    ours = Quantity(value, UNITS[a]).to(UNITS[b]).value
    theirs = REGISTRY.Quantity(value, PINT_NAMES[a]).to(PINT_NAMES[b]).magnitude
    # pint rounds at every step with 28 figures; ours rounds once.
    assert abs(ours - Decimal(theirs)) <= Decimal("1e-20") * max(Decimal(1), abs(ours))


@pytest.mark.parametrize(
    ("text", "unit", "expected"),
    [
        # International yard and pound, 1959: exact.
        ("1 in", "mm", "25.4"),
        ("1 ft", "m", "0.3048"),
        ("1 mi", "m", "1609.344"),
        ("1 lb", "kg", "0.45359237"),
        # NIST SP 811 (2008) B.8: psi 6.894757 E+03 Pa; mile per hour 1.609344 km/h; degrees.
        ("1 mph", "km/h", "1.609344"),
        ("212 degF", "degC", "100"),
        ("32 degF", "degC", "0"),
        ("-40 degF", "degC", "-40"),
        ("2 min", "s", "120"),
    ],
)
def test_published_factors(text: str, unit: str, expected: str) -> None:
    assert Quantity.parse(text).to(UNITS[unit]).value == Decimal(expected)


def test_psi_is_pound_force_over_square_inch() -> None:
    # NIST SP 811 (2008) B.8 gives 6.894757 kPa; the defining quotient is exact.
    exact = Quantity.parse("1 psi").exact_in(UNITS["kPa"])
    assert exact == Fraction("4.4482216152605") / Fraction("0.00064516") / 1000
    assert round(exact, 6) == Fraction("6.894757")


@given(value=FIGURES, pair=st.sampled_from(PAIRS))
def test_exact_conversion_comes_back_exactly(value: Decimal, pair: tuple[str, str]) -> None:
    a, b = UNITS[pair[0]], UNITS[pair[1]]
    there = Quantity(value, a).exact_in(b)
    back = (there - b.zero) * b.factor / a.factor + a.zero
    assert back == Fraction(value)


@given(st.floats())
def test_a_float_is_refused_everywhere(value: float) -> None:
    with pytest.raises(InexactNumber):
        Quantity(value, units.IN)  # type: ignore[arg-type]
    with pytest.raises(InexactNumber):
        Quantity.of(value, "in")  # type: ignore[arg-type]


@pytest.mark.parametrize("value", [True, None, b"1", 1j])
def test_other_objects_are_refused(value: object) -> None:
    with pytest.raises(InexactNumber):
        Quantity.of(value, "in")  # type: ignore[arg-type]


@pytest.mark.parametrize("value", ["NaN", "Infinity", "-Infinity", "sNaN"])
def test_infinity_and_nan_are_refused(value: str) -> None:
    with pytest.raises(InexactNumber):
        Quantity(Decimal(value), units.PSI)


@pytest.mark.parametrize(
    "text", ["", "abc", "1/0", "1/3", "1e3", "1,000", "1 2", "3/", "--1", "٣", "0x10", "1_0", ".5"]
)
def test_text_that_is_no_exact_figure_is_refused(text: str) -> None:
    with pytest.raises(InexactNumber):
        Quantity.of(text, "in")


def test_the_source_holds_no_float() -> None:
    root = Path(units.__file__).parent
    for path in [root / "units.py", *(root / "limits").glob("*.py")]:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            literal = isinstance(node, ast.Constant) and isinstance(node.value, float)
            assert not literal, f"{path.name}:{getattr(node, 'lineno', 0)} has a float"
            called = isinstance(node, ast.Call) and isinstance(node.func, ast.Name)
            if called:
                assert node.func.id != "float", path.name  # type: ignore[attr-defined]


@pytest.mark.parametrize("symbol", ["PSI", "inch", "bar", "", "kpa", "cm"])
def test_a_unit_outside_the_table_is_refused(symbol: str) -> None:
    with pytest.raises(UnknownUnit):
        unit_named(symbol)


@pytest.mark.parametrize("text", ["15", "", "psi", "15psi", "15 PSI"])
def test_a_number_never_comes_without_its_unit(text: str) -> None:
    with pytest.raises((UnknownUnit, InexactNumber)):
        Quantity.parse(text)


@pytest.mark.parametrize(("a", "b"), [("psi", "in"), ("psi", "psi/min"), ("month", "day")])
def test_different_kinds_do_not_convert(a: str, b: str) -> None:
    with pytest.raises(UnknownUnit):
        Quantity.of(1, a).to(unit_named(b))


def test_comparison_needs_the_same_unit() -> None:
    inch, metric = Quantity.parse("1 in"), Quantity.parse("25.4 mm")
    for compare in (Quantity.__lt__, Quantity.__le__, Quantity.__gt__, Quantity.__ge__):
        with pytest.raises(UnknownUnit):
            compare(inch, metric)
    assert inch != metric
    assert inch.to(units.MM) == metric
    assert Quantity.parse("1/2 in") < Quantity.parse("5/8 in") <= Quantity.parse("0.625 in")
    assert Quantity.parse("5/8 in") > Quantity.parse("1/2 in") >= Quantity.parse("0.5 in")


def test_quantities_from_exact_numbers() -> None:
    assert Quantity.of(Fraction(3, 16), "in") == Quantity.parse("3/16 in")
    assert Quantity.of(Decimal("0.1875"), units.IN) == Quantity.parse("3/16 in")
    same = Quantity.parse("3/16 in")
    assert same.to(units.IN) is same
    assert str(units.KPA_PER_MIN) == "kPa/min"
    with pytest.raises(InexactNumber):
        Quantity.of(Fraction(1, 3), "in")
    with pytest.raises(UnknownUnit):
        Quantity(Decimal(1), "in")  # type: ignore[arg-type]


def test_a_quantity_is_frozen() -> None:
    with pytest.raises(AttributeError):
        Quantity.parse("1 in").value = Decimal(2)  # type: ignore[misc]


@pytest.mark.parametrize(
    ("text", "shown", "digits", "spoken"),
    [
        # Digit by digit, "decimal" for the point: ICAO Doc 9432, 4th edition 2007.
        ("15 psi", "15 psi", "one five", "one five p s i"),
        ("50 psi", "50 psi", "five zero", "five zero p s i"),
        ("180 psi", "180 psi", "one eight zero", "one eight zero p s i"),
        ("3.2 mm", "3.2 mm", "three decimal two", "three decimal two millimetres"),
        ("1.50 mm", "1.5 mm", "one decimal five", "one decimal five millimetres"),
        ("-18 degC", "-18 degC", "minus one eight", "minus one eight degrees Celsius"),
        ("1 min", "1 min", "one", "one minute"),
        ("100 kg", "100 kg", "one zero zero", "one zero zero kilograms"),
        ("0 psi", "0 psi", "zero", "zero p s i"),
        # Thirty-seconds of an inch as they stand on a rule.
        ("3/16 in", "3/16 in", "zero decimal one eight seven five", "three sixteenths inch"),
        ("0.1875 in", "3/16 in", "zero decimal one eight seven five", "three sixteenths inch"),
        ("1.75 in", "1 3/4 in", "one decimal seven five", "one and three quarters inches"),
        ("11/16 in", "11/16 in", "zero decimal six eight seven five", "one one over one six inch"),
        ("1/2 in", "1/2 in", "zero decimal five", "one half inch"),
        ("2 in", "2 in", "two", "two inches"),
        ("1.9 in", "1.9 in", "one decimal nine", "one decimal nine inches"),
        ("1/64 in", "0.015625 in", "zero decimal zero one five six two five",
         "zero decimal zero one five six two five inches"),
        ("1/2 mm", "0.5 mm", "zero decimal five", "zero decimal five millimetres"),
        ("-1 1/4 in", "-1 1/4 in", "minus one decimal two five",
         "minus one and one quarter inches"),
    ],
)  # fmt: skip
def test_shown_and_spoken(text: str, shown: str, digits: str, spoken: str) -> None:
    quantity = Quantity.parse(text)
    assert str(quantity) == shown
    assert quantity.digits() == digits
    assert quantity.spoken() == spoken


@given(value=FIGURES, symbol=st.sampled_from(sorted(UNITS)))
def test_what_is_shown_parses_back(value: Decimal, symbol: str) -> None:
    quantity = Quantity(value, UNITS[symbol])
    assert Quantity.parse(str(quantity)) == quantity


@given(st.integers(-400, 400))
def test_every_thirty_second_is_shown_as_a_fraction_and_parses_back(parts: int) -> None:
    quantity = Quantity.of(Fraction(parts, 32), "in")
    assert "." not in str(quantity)
    assert Quantity.parse(str(quantity)) == quantity


def test_no_teen_or_tens_word_is_ever_spoken() -> None:
    # "fifteen" and "fifty" are taken for one another; digit by digit they cannot be.
    for number in range(1000):
        words = Quantity.of(number, "psi").spoken().split()
        assert not [word for word in words if word.endswith(("teen", "ty"))]
    for parts in range(1, 200):
        words = Quantity.of(Fraction(parts, 32), "in").spoken().split()
        assert not [word for word in words if word.endswith(("teen", "ty"))]
