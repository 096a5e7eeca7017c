"""Tiedowns: worked examples, reasoned here by hand from the rule, and reckoning over readings.

Sources: 49 CFR 393.108 tables (private copies), 393.106(d) and 393.110 (quotations), the example of
a 20 ft article in those quotations (two blocked, three not), N.C. commercial-driver manual, July
2017, section 3 (never fewer than two), National Safety Code Standard 10 (unmarked must not be used
since 1 Jan 2010: British Columbia's driver manual, p. 95; half for each end section: private
quotations).
"""

from __future__ import annotations

import re
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from voicecheck.errors import UnknownInput
from voicecheck.limits import CannotJudge, judge_family, limit_of
from voicecheck.limits.reckon import RULES, Reading
from voicecheck.limits.tiedowns import Secured, Tiedown, secured, working_load_limit
from voicecheck.units import COUNT, KG, LB, Quantity

q = Quantity.parse


def strap(count: int, use: str = "over", size: str = "4", marked: str = "") -> Tiedown:
    label = q(marked) if marked else None
    return Tiedown("straps", count, "strap", size, use=use, marked=label)  # type: ignore[arg-type]


def chain(count: int, use: str = "over", size: str = "3/8", grade: str = "70") -> Tiedown:
    return Tiedown("chains", count, "chain", size, grade, use)  # type: ignore[arg-type]


# -- how many, 393.110 --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("length", "weight", "blocked", "least"),
    [
        # (b) not blocked: one up to 5 ft and 1100 lb.
        ("5 ft", "1100 lb", "no", 1),
        ("5 ft", "1101 lb", "no", 2),
        ("4.9 ft", "500 lb", "no", 1),
        # two above 5 ft up to 10 ft, whatever it weighs.
        ("5.1 ft", "500 lb", "no", 2),
        ("10 ft", "500 lb", "no", 2),
        # above 10 ft: two, and one more for every 10 ft or part beyond the first 10.
        ("10.1 ft", "500 lb", "no", 3),
        ("20 ft", "40000 lb", "no", 3),
        ("20.1 ft", "40000 lb", "no", 4),
        ("48 ft", "40000 lb", "no", 6),
        # (c) blocked in front: one for every 10 ft or part. 20 ft: 2 blocked, 3 not (quotation).
        ("20 ft", "40000 lb", "yes", 2),
        ("20.1 ft", "40000 lb", "yes", 3),
        ("8 ft", "40000 lb", "yes", 1),
        ("48 ft", "40000 lb", "yes", 5),
        # Metric steps 1.52 m, 3.04 m, 500 kg (from memory).
        ("1.52 m", "500 kg", "no", 1),
        ("1.53 m", "500 kg", "no", 2),
        ("1.52 m", "500.1 kg", "no", 2),
        ("3.04 m", "9000 kg", "no", 2),
        ("3.05 m", "9000 kg", "no", 3),
        ("6.08 m", "9000 kg", "yes", 2),
        ("240 in", "40000 lb", "no", 3),
    ],
)
def test_number_by_length_and_weight(length: str, weight: str, blocked: str, least: int) -> None:
    given_ = {"article length": length, "article weight": weight, "blocked": blocked}
    for number, verdict in ((least - 1, "outside"), (least, "within"), (least + 1, "within")):
        found = judge_family("tiedown-count", Quantity.of(number, COUNT), given_, "US")
        assert found.verdict == verdict
        assert found.bound == Quantity.of(least, COUNT)
        assert found.guide  # the federal words were seen in quotations only


def test_what_the_number_needs() -> None:
    one = Quantity.of(1, COUNT)
    found = judge_family("tiedown-count", one, {"blocked": "no"}, "US")
    assert found.verdict == "cannot judge"
    assert found.missing == ("article length", "article weight")
    found = judge_family("tiedown-count", one, {"blocked": "yes", "article length": "9 ft"}, "US")
    assert found.verdict == "within"


def test_a_state_manual_asks_for_two() -> None:
    found = judge_family("tiedown-count-least", Quantity.of(1, COUNT), {}, "US")
    assert found.verdict == "outside"
    assert not found.guide
    assert limit_of("us-crg-14-two").standing == "handbook"


# -- how strong, 393.106(d), 393.108 --------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "size", "grade", "pounds", "kilograms"),
    [
        # Typed from the private copies of the tables to 393.108.
        ("strap", "1 3/4", "", 1750, 790),
        ("strap", "2", "", 2000, 910),
        ("strap", "3", "", 3000, 1360),
        ("strap", "4", "", 4000, 1810),
        ("strap", "4 in", "", 4000, 1810),
        ("chain", "1/4", "", 1300, 580),
        ("chain", "3/8", "unmarked", 2650, 1200),
        ("chain", "3/8", "30", 2650, 1200),
        ("chain", "3/8", "43", 5400, 2450),
        ("chain", "3/8", "70", 6600, 2990),
        ("chain", "1/2", "80", 12000, 5400),
        ("chain", "5/8", "100", 22600, 10300),
        ("rope", "1/2", "", 5300, 2400),
    ],
)
def test_default_limits(kind: str, size: str, grade: str, pounds: int, kilograms: int) -> None:
    one = Tiedown("one", 1, kind, size, grade)  # type: ignore[arg-type]
    for unit, figure in ((LB, pounds), (KG, kilograms)):
        found = working_load_limit(one, "US", unit)
        assert not isinstance(found, CannotJudge)
        assert found[0] == figure
        assert found[1] is not None
        assert found[1].guide


def test_weight_of_forty_thousand_and_six_straps_over() -> None:
    # 6 x 4000 lb over the top count whole: 24000; half of 40000 is 20000. 48 ft needs six.
    found = secured([strap(6)], q("40000 lb"), q("48 ft"), False, "US")
    assert (found.sum, found.least_sum) == (q("24000 lb"), q("20000 lb"))
    assert (found.number, found.least_number) == (6, 6)
    assert (found.short_sum, found.short_number) == (q("0 lb"), 0)
    assert found.judgement.verdict == "within"
    assert found.shortage() == ""


def test_the_same_straps_direct_are_short_by_eight_thousand() -> None:
    # 6 x 4000 / 2 = 12000; 20000 needed.
    found = secured([strap(6, "direct")], q("40000 lb"), q("48 ft"), False, "US")
    assert found.sum == q("12000 lb")
    assert found.short_sum == q("8000 lb")
    assert found.judgement.verdict == "outside"
    assert found.judgement.reading == q("12000 lb")
    assert found.judgement.bound == q("20000 lb")
    assert found.judgement.limit is limit_of("us-crg-4")
    assert found.shortage() == "Working load limit short by 8000 lb."


def test_exactly_half_the_weight_is_enough_and_a_pound_more_is_not() -> None:
    # Two 4 in straps over: 8000. At least one half: 16000 holds, 16001 does not.
    assert secured([strap(2)], q("16000 lb"), q("10 ft"), False, "US").judgement.verdict == "within"
    over = secured([strap(2)], q("16001 lb"), q("10 ft"), False, "US")
    assert over.judgement.verdict == "outside"
    assert over.short_sum == q("0.5 lb")


def test_strong_enough_and_too_few() -> None:
    # A 12 ft article, not blocked: 3 needed. Two grade 70 chains 1/2 in carry 22600.
    found = secured([chain(2, size="1/2")], q("10000 lb"), q("12 ft"), False, "US")
    assert found.sum == q("22600 lb")
    assert (found.number, found.least_number, found.short_number) == (2, 3, 1)
    assert found.judgement.verdict == "outside"
    assert found.judgement.reading == Quantity.of(2, COUNT)
    assert "Short by 1 tiedown." in found.judgement.reason
    # The same article blocked in front: 2 needed.
    held = secured([chain(2, size="1/2")], q("10000 lb"), q("12 ft"), True, "US")
    assert held.judgement.verdict == "within"


def test_mixed_kinds_direct_and_over() -> None:
    # Four 3/8 grade 70 chains direct: 4 x 6600 / 2 = 13200. Two 4 in straps over: 8000. Together
    # 21200; a machine of 42000 lb needs 21000.
    both = [chain(4, "direct"), strap(2)]
    found = secured(both, q("42000 lb"), q("16 ft"), False, "US")
    assert found.sum == q("21200 lb")
    assert found.judgement.verdict == "within"
    assert secured(both, q("42402 lb"), q("16 ft"), False, "US").short_sum == q("1 lb")


def test_the_weakest_part_governs() -> None:
    # 393.108(a): a 4 in strap with a hook marked 3300 lb carries 3300, and a marking above the
    # default counts too (a strap marked 5400 lb).
    weak = secured([strap(2, marked="3300 lb")], q("13200 lb"), q("10 ft"), False, "US")
    assert weak.sum == q("6600 lb")
    assert weak.judgement.verdict == "within"
    strong = secured([strap(2, marked="5400 lb")], q("21600 lb"), q("10 ft"), False, "US")
    assert strong.sum == q("10800 lb")
    assert strong.judgement.verdict == "within"


def test_kilograms_use_the_printed_kilograms() -> None:
    # Table: 4 in is 4000 lb and 1810 kg. 4 x 1810 = 7240 kg, for at most 14480 kg.
    assert secured([strap(4)], q("14480 kg"), q("9 m"), False, "US").judgement.verdict == "within"
    found = secured([strap(4)], q("14482 kg"), q("9 m"), False, "US")
    assert found.short_sum == q("1 kg")


def test_a_figure_that_is_not_on_file_decides_nothing() -> None:
    # No table has a 7/16 chain of grade 80.
    unknown = chain(2, size="7/16", grade="80")
    found = secured([unknown], q("10000 lb"), q("8 ft"), False, "US")
    assert found.judgement.verdict == "cannot judge"
    assert found.judgement.missing == ("working load limit",)
    assert found.uncounted[0][0] == "chains"
    # Enough without it: within. Too few of them: outside, whatever they carry.
    enough = secured([unknown, strap(2)], q("10000 lb"), q("8 ft"), False, "US")
    assert enough.judgement.verdict == "within"
    few = secured([unknown], q("10000 lb"), q("28 ft"), False, "US")
    assert few.judgement.verdict == "outside"


def test_in_canada_unmarked_does_not_count() -> None:
    # NSC 10: neither the sum nor the number. The same straps marked count half for each end.
    bare = secured([strap(6)], q("40000 lb"), q("48 ft"), False, "CA-ON")
    assert (bare.sum, bare.number) == (q("0 lb"), 0)
    assert bare.judgement.verdict == "outside"
    assert bare.short_number == 6
    assert bare.short_sum == q("20000 lb")
    marked = secured([strap(6, marked="4000 lb")], q("40000 lb"), q("48 ft"), False, "CA-ON")
    assert marked.sum == q("24000 lb")
    assert marked.judgement.verdict == "within"
    assert marked.judgement.guide
    one_end = secured(
        [strap(6, "direct", marked="4000 lb")], q("24000 lb"), q("48 ft"), False, "CA"
    )
    assert one_end.sum == q("12000 lb")
    assert one_end.judgement.verdict == "within"


def test_in_canada_a_grade_without_a_table_cannot_be_judged() -> None:
    # The grade is a marking, but the Canadian table was not found and the other is not borrowed.
    found = secured([chain(4)], q("20000 lb"), q("10 ft"), False, "CA-AB")
    assert found.number == 4
    assert found.judgement.verdict == "cannot judge"


def test_nothing_on_board_is_short_of_everything() -> None:
    found = secured([strap(0)], q("9000 lb"), q("11 ft"), False, "US")
    assert (found.short_number, found.short_sum) == (3, q("4500 lb"))
    assert found.judgement.verdict == "outside"


@pytest.mark.parametrize(
    ("weight", "length"), [("0 lb", "9 ft"), ("9 ft", "9 ft"), ("900 lb", "0 ft"), ("9 lb", "9 lb")]
)
def test_no_article(weight: str, length: str) -> None:
    with pytest.raises(UnknownInput):
        secured([strap(2)], q(weight), q(length), False, "US")


@pytest.mark.parametrize(
    ("count", "kind", "use", "marked"),
    [
        (1, "tape", "over", ""),
        (-1, "strap", "over", ""),
        (1, "strap", "round", ""),
        (1, "strap", "over", "4 ft"),
        (1, "strap", "over", "0 lb"),
    ],
)
def test_no_tiedown(count: int, kind: str, use: str, marked: str) -> None:
    label = q(marked) if marked else None
    with pytest.raises(UnknownInput):
        Tiedown("x", count, kind, "4", "", use, label)  # type: ignore[arg-type]


def test_a_width_that_no_table_has() -> None:
    with pytest.raises(UnknownInput):
        secured([strap(2, size="5")], q("9000 lb"), q("9 ft"), False, "US")


COUNTS = st.integers(0, 12)


@given(COUNTS, COUNTS, st.integers(1, 80000), st.integers(1, 60), st.booleans())
def test_one_more_never_makes_it_worse(
    over: int, direct: int, weight: int, length: int, blocked: bool
) -> None:
    def of(n: int, m: int) -> Secured:
        on = [strap(n), chain(m, "direct")]
        return secured(on, q(f"{weight} lb"), q(f"{length} ft"), blocked, "US")

    few, more = of(over, direct), of(over, direct + 1)
    assert more.sum > few.sum
    assert more.short_sum <= few.short_sum
    assert more.short_number <= few.short_number
    holds = few.short_number == 0 and few.short_sum.value == 0
    assert (few.judgement.verdict == "within") is holds
    # The rule again, in whole half pounds.
    assert few.sum.value == 4000 * over + 3300 * direct
    assert max(Decimal(0), Decimal(weight) / 2 - few.sum.value) == few.short_sum.value


# -- reckoned over the readings of an inspection ---------------------------------------------------


def reading(quantity: str, position: str = "", step: str = "x", **given_: str) -> Reading:
    names = {key.replace("_", " "): value for key, value in given_.items()}
    return Reading(step, position, q(quantity), names)


ON = {"article_weight": "40000 lb", "article_length": "20 ft"}


def test_tie_downs_over_readings() -> None:
    rule = RULES["tie-downs"]
    straps = reading("4 count", "four inch straps", webbing_width="4", use="over", **ON)
    chains = reading("2 count", "chains", chain_size="3/8", chain_grade="70", use="direct", **ON)
    # 4 x 4000 + 2 x 6600 / 2 = 22600 of 20000; 6 on, 3 needed.
    assert rule((straps, chains), {}, "US").verdict == "within"
    # Three straps: 12000 + 6600 = 18600.
    fewer = reading("3 count", "four inch straps", webbing_width="4", use="over", **ON)
    found = rule((fewer, chains), {}, "US")
    assert found.verdict == "outside"
    assert "Working load limit short by 1400 lb." in found.reason


def test_tie_downs_with_weight_and_length_spoken() -> None:
    rule = RULES["tie-downs"]
    straps = reading("2 count", webbing_width="4", use="over")
    said = (straps, reading("16000 lb", step="weight"), reading("20 ft", step="length"))
    # 8000 of 8000; 20 ft needs three unless blocked: two.
    assert rule(said, {}, "US").verdict == "outside"
    assert rule(said, {"blocked": "yes"}, "US").verdict == "within"
    # Without its use a tiedown counts half: 4000 of 8000.
    plain = (reading("2 count", webbing_width="4"), *said[1:])
    assert rule(plain, {"blocked": "yes"}, "US").verdict == "outside"


def test_tie_downs_that_cannot_be_judged() -> None:
    rule = RULES["tie-downs"]
    straps = reading("2 count", webbing_width="4", use="over")
    found = rule((straps,), {}, "US")
    assert found.verdict == "cannot judge"
    assert found.missing == ("article weight", "article length")
    odd = (reading("2.5 count", webbing_width="4"), reading("9 lb"), reading("9 ft"))
    assert rule(odd, {}, "US").verdict == "cannot judge"
    marked = reading("2 count", webbing_width="4", use="over", marked_limit="5000 lb", **ON)
    assert "10000 lb" in rule((marked,), {}, "CA").reason


def brake(stroke: str, position: str, axle: str) -> Reading:
    side, _, name = position.partition(" ")
    where = {"axle": axle, "axle name": name, "side": side, "chamber type": "20"}
    return Reading("stroke", position, q(stroke), where)


def test_difference_of_left_and_right_on_the_steering_axle() -> None:
    # COMAR 11.22.02.06 J(3): at most 1/4 in on the steering axle.
    rule = RULES["difference"]
    for right, verdict in (("1 1/2 in", "within"), ("1 17/32 in", "outside"), ("1 in", "within")):
        pair = (
            brake("1 1/4 in", "left steer axle", "steer"),
            brake(right, "right steer axle", "steer"),
        )
        found = rule(pair, {}, "US-MD")
        assert found.verdict == verdict, right
        assert not found.guide
    advice = rule(pair, {}, "US")
    assert advice.guide  # only advice outside Maryland


def test_difference_tells_every_axle_and_judges_what_the_table_has() -> None:
    strokes = (
        brake("1 in", "left steer axle", "steer"),
        brake("1 1/8 in", "right steer axle", "steer"),
        brake("1 in", "left rear drive axle", "drive"),
        brake("2 in", "right rear drive axle", "drive"),
    )
    found = RULES["difference"](strokes, {}, "US-MD")
    assert found.verdict == "within"
    assert found.reading == q("1/8 in")
    assert re.search(r"rear drive axle 1 in", found.reason)
    alone = RULES["difference"](strokes[2:], {}, "US-MD")
    assert alone.verdict == "cannot judge"
    half = RULES["difference"](strokes[:1], {}, "US-MD")
    assert half.verdict == "cannot judge"
    assert half.missing == ("stroke of the other side",)
    assert RULES["difference"]((), {}, "US").verdict == "cannot judge"
    assert RULES["difference"](strokes, {}, "CA-ON").verdict == "cannot judge"


def test_pressure_kept_over_readings() -> None:
    # 393.50(a): not less than 70 percent; Maryland rejects a drop of 30 percent or more.
    rule = RULES["pressure kept"]
    for after, us, maryland in (
        ("71 psi", "within", "within"),
        ("70 psi", "within", "outside"),
        ("69 psi", "outside", "outside"),
    ):
        pair = (reading("100 psi"), reading(after))
        assert rule(pair, {}, "US").verdict == us
        assert rule(pair, {}, "US-MD").verdict == maryland
    assert rule((reading("100 psi"),), {}, "US").verdict == "cannot judge"
    assert rule((reading("100 psi"), reading("600 kPa")), {}, "US").verdict == "cannot judge"
    assert rule((reading("0 psi"), reading("0 psi")), {}, "US").verdict == "cannot judge"
