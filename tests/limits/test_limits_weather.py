"""Wind chill against published chart points, frostbite bands at their edges.

Chart points: US National Weather Service chart (degF, mph); Celsius values as published with the
formula on a college meteorology page.
"""

from __future__ import annotations

import math
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from voicecheck.errors import UnknownUnit
from voicecheck.limits import CannotJudge
from voicecheck.limits.weather import frostbite_band, wind_chill
from voicecheck.units import DEG_C, DEG_F, KM_PER_H, MPH, Quantity

q = Quantity.parse


@pytest.mark.parametrize(
    ("temperature", "wind", "expected"),
    [
        # National Weather Service: 20 degrees and 20 mph "will feel like 4 degrees"; chart.
        ("20 degF", "20 mph", "4 degF"),
        ("0 degF", "15 mph", "-19 degF"),
        ("-20 degF", "30 mph", "-53 degF"),
        # Celsius page: -30.3 (chart -30), -32.6, -17.9.
        ("-18 degC", "32 km/h", "-30 degC"),
        ("-20 degC", "30 km/h", "-33 degC"),
        ("-10 degC", "20 km/h", "-18 degC"),
        # National Weather Service chart, from memory: 40/5 is 36, 30/25 is 16, -45/60 is -98.
        ("40 degF", "5 mph", "36 degF"),
        ("30 degF", "25 mph", "16 degF"),
        ("-45 degF", "60 mph", "-98 degF"),
    ],
)
def test_chart_points(temperature: str, wind: str, expected: str) -> None:
    assert wind_chill(q(temperature), q(wind)) == q(expected)


@given(t=st.integers(-50, 0), v=st.integers(5, 120))
def test_celsius_formula_against_the_mathematics_library(t: int, v: int) -> None:
    power = math.pow(v, 0.16)
    expected = 13.12 + 0.6215 * t - 11.37 * power + 0.3965 * t * power
    found = wind_chill(Quantity.of(t, DEG_C), Quantity.of(v, KM_PER_H))
    assert isinstance(found, Quantity)
    assert abs(float(found.value) - expected) <= 0.5 + 1e-9
    assert found.value == found.value.to_integral_value()


@given(t=st.integers(-50, 50), v=st.integers(4, 80))
def test_fahrenheit_formula_against_the_mathematics_library(t: int, v: int) -> None:
    power = math.pow(v, 0.16)
    expected = 35.74 + 0.6215 * t - 35.75 * power + 0.4275 * t * power
    found = wind_chill(Quantity.of(t, DEG_F), Quantity.of(v, MPH))
    assert isinstance(found, Quantity)
    assert abs(float(found.value) - expected) <= 0.5 + 1e-9


@given(t=st.integers(-45, -10), v=st.integers(10, 90))
def test_the_two_formulas_describe_the_same_cold(t: int, v: int) -> None:
    # Both come from one model; rounded coefficients and rounded results differ by about a degree.
    metric = wind_chill(Quantity.of(t, DEG_C), Quantity.of(v, KM_PER_H))
    other = wind_chill(Quantity.of(t, DEG_C).to(DEG_F), Quantity.of(v, KM_PER_H).to(MPH))
    assert isinstance(metric, Quantity)
    assert isinstance(other, Quantity)
    assert abs(metric.value - other.to(DEG_C).value) <= 1


@pytest.mark.parametrize(
    ("temperature", "wind"),
    [
        # Range T <= 0 degC and V >= 5 km/h (from memory); T <= 50 degF and V > 3 mph.
        ("0.1 degC", "30 km/h"),
        ("-10 degC", "4.9 km/h"),
        ("50.1 degF", "20 mph"),
        ("10 degF", "3 mph"),
        ("-10 degC", "0 km/h"),
        ("-10 degC", "-5 km/h"),
    ],
)
def test_outside_the_range_there_is_no_wind_chill(temperature: str, wind: str) -> None:
    answer = wind_chill(q(temperature), q(wind))
    assert isinstance(answer, CannotJudge)
    assert "No wind chill" in answer.reason


@pytest.mark.parametrize(
    ("temperature", "wind"),
    [("0 degC", "5 km/h"), ("50 degF", "3.1 mph"), ("-10 degC", "5.0 km/h")],
)
def test_the_edges_of_the_range_count(temperature: str, wind: str) -> None:
    assert isinstance(wind_chill(q(temperature), q(wind)), Quantity)


@pytest.mark.parametrize(
    ("temperature", "wind"),
    # The Celsius formula with mph is a known error of one published page.
    [("-18 degC", "20 mph"), ("0 degF", "20 km/h"), ("0 in", "20 mph"), ("0 degF", "20 psi")],
)
def test_units_are_never_mixed(temperature: str, wind: str) -> None:
    with pytest.raises(UnknownUnit):
        wind_chill(q(temperature), q(wind))


@pytest.mark.parametrize(
    ("chill", "minutes"),
    [
        # Environment Canada hazard table, as copied: -28 to -39 10-30, -40 to -47 5-10,
        # -48 to -54 2-5, -55 and below under 2 minutes.
        ("-27 degC", None),
        ("-28 degC", (10, 30)),
        ("-39 degC", (10, 30)),
        ("-40 degC", (5, 10)),
        ("-47 degC", (5, 10)),
        ("-48 degC", (2, 5)),
        ("-54 degC", (2, 5)),
        ("-55 degC", (None, 2)),
        ("-70 degC", (None, 2)),
        # Between two whole degrees: the colder one.
        ("-27.5 degC", (10, 30)),
        ("-39.5 degC", (5, 10)),
        # National Weather Service text: at -19 degF skin can freeze in 30 minutes.
        ("-19 degF", (None, 30)),
        ("-18 degF", (None, 30)),
        ("-17 degF", None),
    ],
)
def test_frostbite_bands(chill: str, minutes: tuple[int | None, int] | None) -> None:
    band = frostbite_band(q(chill))
    assert (None if band is None else (band.fastest, band.slowest)) == minutes


@given(st.decimals(-80, 20, places=1), st.decimals(-80, 20, places=1))
def test_colder_is_never_slower(one: Decimal, other: Decimal) -> None:
    cold, mild = sorted((one, other))
    first = frostbite_band(Quantity(cold, DEG_C))
    second = frostbite_band(Quantity(mild, DEG_C))
    if second is not None:
        assert first is not None
        assert first.slowest <= second.slowest


def test_bands_in_words_and_wrong_units() -> None:
    assert str(frostbite_band(q("-30 degC"))) == "bare skin can freeze in 10 to 30 minutes"
    assert str(frostbite_band(q("-60 degC"))) == "bare skin can freeze in 2 minutes or less"
    with pytest.raises(UnknownUnit):
        frostbite_band(q("-30 km/h"))
