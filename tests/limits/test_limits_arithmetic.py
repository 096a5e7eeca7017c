"""Leak in a minute, pressure kept, build-up: pure arithmetic that never flatters."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from voicecheck.errors import IntervalUnusable, UnknownUnit
from voicecheck.limits import (
    build_up_limit,
    build_up_time,
    judge_family,
    leak_per_minute,
    limit_of,
    pressure_kept,
)
from voicecheck.units import IN3, KPA, PSI, PSI_PER_MIN, Quantity, S

q = Quantity.parse
GAUGE = st.decimals(0, 150, places=1)
SECONDS = st.decimals("0.1", 600, places=1)


@pytest.mark.parametrize(
    ("start", "end", "elapsed", "lost"),
    [
        # By hand.
        ("120 psi", "117 psi", "60 s", "3 psi/min"),
        ("120 psi", "117 psi", "1 min", "3 psi/min"),
        ("120 psi", "116 psi", "2 min", "2 psi/min"),
        ("120 psi", "118.5 psi", "30 s", "3 psi/min"),
        ("827 kPa", "799 kPa", "60 s", "28 kPa/min"),
        ("100 psi", "101 psi", "60 s", "-1 psi/min"),
        ("100 psi", "100 psi", "60 s", "0 psi/min"),
    ],
)
def test_leak(start: str, end: str, elapsed: str, lost: str) -> None:
    assert leak_per_minute(q(start), q(end), q(elapsed)) == q(lost)


@given(start=GAUGE, end=GAUGE, seconds=SECONDS)
def test_a_leak_is_never_rounded_down(start: Decimal, end: Decimal, seconds: Decimal) -> None:
    found = leak_per_minute(Quantity(start, PSI), Quantity(end, PSI), Quantity(seconds, S))
    exact = (Fraction(start) - Fraction(end)) * 60 / Fraction(seconds)
    assert found.unit == PSI_PER_MIN
    assert abs(Fraction(found.value)) >= abs(exact)
    assert abs(Fraction(found.value) - exact) <= Fraction(1, 10**20)


def test_a_leak_over_a_longer_minute_is_not_excused() -> None:
    # 49 CFR driver manuals: more than four pounds in one minute; 4.1 in 61 s is 4.03 a minute.
    given_inputs = {"combination": "yes"}
    leak = leak_per_minute(q("100 psi"), q("95.9 psi"), q("61 s"))
    assert judge_family("leak-applied", leak, given_inputs, "US").verdict == "outside"
    leak = leak_per_minute(q("100 psi"), q("96 psi"), q("60 s"))
    assert judge_family("leak-applied", leak, given_inputs, "US").verdict == "within"


def test_a_rising_gauge_cannot_be_judged() -> None:
    leak = leak_per_minute(q("100 psi"), q("104 psi"), q("60 s"))
    assert judge_family("leak-applied", leak, {"combination": "no"}, "US").verdict == "cannot judge"


@pytest.mark.parametrize(
    ("start", "end", "elapsed", "error"),
    [
        ("100 psi", "650 kPa", "60 s", UnknownUnit),
        ("100 in", "90 in", "60 s", UnknownUnit),
        ("100 psi", "97 psi", "60 in", UnknownUnit),
        ("100 psi", "97 psi", "0 s", IntervalUnusable),
        ("100 psi", "97 psi", "-60 s", IntervalUnusable),
    ],
)
def test_readings_that_give_no_leak(
    start: str, end: str, elapsed: str, error: type[Exception]
) -> None:
    with pytest.raises(error):
        leak_per_minute(q(start), q(end), q(elapsed))


def test_pressure_kept() -> None:
    # 49 CFR 393.50(a): 70 percent must be left after one full application.
    assert pressure_kept(q("120 psi"), q("84 psi")) == q("70 percent")
    assert pressure_kept(q("800 kPa"), q("560 kPa")) == q("70 percent")
    third = pressure_kept(q("90 psi"), q("60 psi"))
    assert Fraction(third.value) < Fraction(200, 3)
    with pytest.raises(UnknownUnit):
        pressure_kept(q("120 psi"), q("560 kPa"))
    with pytest.raises(IntervalUnusable):
        pressure_kept(q("0 psi"), q("0 psi"))


@given(before=st.integers(1, 1000), after=st.integers(0, 1000))
def test_pressure_kept_is_never_rounded_up(before: int, after: int) -> None:
    found = pressure_kept(Quantity.of(before, KPA), Quantity.of(after, KPA))
    assert Fraction(found.value) <= Fraction(after * 100, before)
    verdict = judge_family("pressure-kept", found, {}, "US").verdict
    assert verdict == ("within" if after * 10 >= before * 7 else "outside")


def test_build_up_time_needs_the_whole_span() -> None:
    # Model manual section 5: 85 to 100 psi within 45 s.
    span = limit_of("us-air-4").over
    assert span == (q("85 psi"), q("100 psi"))
    assert build_up_time(q("85 psi"), q("100 psi"), q("44 s"), span) == q("44 s")
    assert build_up_time(q("80 psi"), q("105 psi"), q("1 min"), span) == q("60 s")
    assert build_up_time(q("586 kPa"), q("690 kPa"), q("40 s"), span) == q("40 s")
    for start, end, elapsed in [
        ("86 psi", "100 psi", "40 s"),
        ("85 psi", "99 psi", "40 s"),
        ("85 psi", "100 psi", "0 s"),
        ("100 psi", "85 psi", "40 s"),
        ("587 kPa", "690 kPa", "40 s"),
        ("586 kPa", "689 kPa", "40 s"),  # 100 psi is 689.48 kPa
    ]:
        with pytest.raises(IntervalUnusable):
            build_up_time(q(start), q(end), q(elapsed), span)


def test_every_build_up_row_has_its_span() -> None:
    # Ontario 85 to 100; Alberta, Maryland and the older single system 50 to 90; Québec in kPa.
    spans = {
        "us-air-3": "85-100", "us-air-4": "85-100", "ca-on-air-build": "85-100",
        "us-air-4-single": "50-90", "us-md-air-4": "50-90", "ca-ab-air-build": "50-90",
        "ca-mb-air-build": "50-90", "ca-qc-air-build": "350-620",
        "ca-bc-air-build": "50-90",
    }  # fmt: skip
    for name, span in spans.items():
        over = limit_of(name).over
        assert over is not None
        assert f"{over[0].value}-{over[1].value}" == span
        assert over[0].unit == over[1].unit == (KPA if name.startswith("ca-qc") else PSI)


def test_build_up_limit_by_reservoirs() -> None:
    # 49 CFR 571.121 S5.1.1 as quoted by NHTSA: actual capacity x 25 / required capacity.
    assert build_up_limit(q("4000 in3"), q("4000 in3")) == q("25 s")
    assert build_up_limit(q("6000 in3"), q("4000 in3")) == q("37.5 s")
    assert build_up_limit(q("60 L"), q("50 L")) == q("30 s")
    mixed = build_up_limit(q("65.548256 L"), q("4000 in3"))  # 4000 in3 x 0.016387064 L
    assert mixed == q("25 s")
    with pytest.raises(UnknownUnit):
        build_up_limit(q("60 L"), q("50 kg"))
    for actual, required in (("0 L", "50 L"), ("50 L", "0 L"), ("-1 L", "50 L")):
        with pytest.raises(IntervalUnusable):
            build_up_limit(q(actual), q(required))


@given(st.integers(1, 99999), st.integers(1, 99999))
def test_build_up_limit_is_never_rounded_up(actual: int, required: int) -> None:
    found = build_up_limit(Quantity.of(actual, IN3), Quantity.of(required, IN3))
    assert Fraction(found.value) <= Fraction(actual * 25, required)
