"""Spoken numbers against text2num, fractions by exact arithmetic, times and lengths."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from expectations import (
    BARE_PRESSURE,
    CLOCK,
    INCHES,
    LENGTH,
    MINUTES,
    PRESSURE,
    SECONDS,
    WEIGHT,
)
from hypothesis import given, settings
from hypothesis import strategies as st
from text_to_num import alpha2digit, text2num

from voicecheck.errors import ChecklistError
from voicecheck.reply.grammar import Expect, NumberForm, Refused, Understood, parse, read_back
from voicecheck.units import FT, IN, KPA, LB, MIN, MM, PSI, H, Quantity, S

ONES = [
    *("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"),
    *("ten", "eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen"),
    *("eighteen", "nineteen"),
]
TENS = ["twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"]
FIGURES = ONES[:10]


def cardinal(number: int, joint: str) -> str:
    """English words of 0 to 999,999; ``joint`` is " " or " and "."""
    if number < 20:
        return ONES[number]
    if number < 100:
        tens = TENS[number // 10 - 2]
        return f"{tens} {ONES[number % 10]}" if number % 10 else tens
    if number < 1000:
        head, rest = f"{ONES[number // 100]} hundred", number % 100
        return f"{head}{joint}{cardinal(rest, joint)}" if rest else head
    head, rest = f"{cardinal(number // 1000, joint)} thousand", number % 1000
    if not rest:
        return head
    return f"{head}{joint if rest < 100 else ' '}{cardinal(rest, joint)}"


def understood(expect: Expect, text: str) -> Quantity:
    found = parse(expect, text)
    assert isinstance(found, Understood), (text, found)
    assert found.quantity is not None
    return found.quantity


def refused(expect: Expect, text: str) -> str:
    found = parse(expect, text)
    assert isinstance(found, Refused), (text, found)
    return found.why


@pytest.mark.parametrize("joint", [" ", " and "])
def test_whole_numbers_agree_with_text2num(joint: str) -> None:
    """Oracle: text2num (PyPI), 0 to 2000, with and without "and"."""
    for number in range(2001):
        text = cardinal(number, joint)
        assert text2num(text, "en") == number  # the oracle confirms the words
        assert understood(BARE_PRESSURE, text) == Quantity(Decimal(number), PSI)


def test_thousands_agree_with_text2num() -> None:
    """Oracle: text2num, weights up to 999,999 in uneven steps."""
    for number in range(2001, 1_000_000, 4_999):
        for joint in (" ", " and "):
            text = cardinal(number, joint)
            assert text2num(text, "en") == number
            assert understood(WEIGHT, text).value == number


NUMBER_WORDS = [*ONES, *TENS, "hundred", "thousand", "and", "oh", "a", "point", "decimal"]


def test_no_value_but_that_of_text2num() -> None:
    """Oracle: text2num and alpha2digit. Where both take random words as one number they agree."""
    agreed: set[str] = set()

    @settings(max_examples=3000, deadline=None, derandomize=True)
    @given(st.lists(st.sampled_from(NUMBER_WORDS), min_size=1, max_size=6))
    def compare(words: list[str]) -> None:
        text = " ".join(words)
        found = parse(BARE_PRESSURE, text)
        if not isinstance(found, Understood) or found.quantity is None:
            return
        try:
            theirs = Decimal(text2num(text, "en"))
        except ValueError:
            written = alpha2digit(text, "en").replace(" ", "")
            if "point" not in words or not written.replace(".", "").isdigit():
                return  # figure by figure, "decimal", "oh", "a hundred": not the oracle's language
            theirs = Decimal(written)
        assert found.quantity.value == theirs
        agreed.add(text)

    compare()
    assert len(agreed) > 50  # the comparison was not empty


@settings(max_examples=500, deadline=None)
@given(st.integers(0, 2000), st.text("0123456789", min_size=1, max_size=4))
def test_decimals_agree_with_alpha2digit(whole: int, decimals: str) -> None:
    """Oracle: alpha2digit of text2num writes "one point two five" as 1.25."""
    tail = " ".join(FIGURES[int(sign)] for sign in decimals)
    text = f"{cardinal(whole, ' ')} point {tail}"
    assert understood(BARE_PRESSURE, text).value == Decimal(f"{whole}.{decimals}")
    assert understood(BARE_PRESSURE, text.replace("point", "decimal")).value == Decimal(
        f"{whole}.{decimals}"
    )
    theirs = alpha2digit(text, "en").replace(" ", "")
    assert Decimal(theirs) == Decimal(f"{whole}.{decimals}")


@settings(max_examples=500, deadline=None)
@given(st.integers(1, 999_999))
def test_figure_by_figure(number: int) -> None:
    """ICAO Annex 10 Volume II, 5.2.1.4.1.1: each figure is pronounced separately."""
    text = " ".join(FIGURES[int(sign)] for sign in str(number))
    assert understood(WEIGHT, text) == Quantity(Decimal(number), LB)


# US Navy training text after ACP 125 (NAVEDTRA 14244, chapter 4, "Numerals"), as spoken there; the
# spelling of the figures is the pronunciation that the text asks for.
NAVY_NUMERALS = [
    ("twelve", 12),
    ("fower fower", 44),
    ("niner zero", 90),
    ("wun tree six", 136),
    ("fife zero zero", 500),
    ("wun fower seven ait", 1478),
    ("seven thousand", 7000),
    ("wun six thousand", 16000),
    ("ait wun too six ait wun", 812681),
]
# ICAO Annex 10 Volume II, 5.2.1.4.1.2, examples for altitude, cloud height and visibility.
ICAO_HUNDREDS = [
    ("eight hundred", 800),
    ("three thousand four hundred", 3400),
    ("one two thousand", 12000),
    ("two thousand two hundred", 2200),
    ("four thousand three hundred", 4300),
]


@pytest.mark.parametrize(("text", "number"), NAVY_NUMERALS + ICAO_HUNDREDS)
def test_published_examples(text: str, number: int) -> None:
    assert understood(WEIGHT, text) == Quantity(Decimal(number), LB)


BOTTOMS = {
    2: ("half", "halves"),
    4: ("quarter", "quarters"),
    8: ("eighth", "eighths"),
    16: ("sixteenth", "sixteenths"),
    32: ("thirty second", "thirty seconds"),
}
FRACTIONS = [(top, bottom) for bottom in BOTTOMS for top in range(1, bottom)]


def fraction_text(top: int, bottom: int) -> str:
    return f"{cardinal(top, ' ')} {BOTTOMS[bottom][top > 1]}"


@pytest.mark.parametrize(("top", "bottom"), FRACTIONS)
def test_every_fraction(top: int, bottom: int) -> None:
    """All halves to thirty-seconds, alone and after a whole number, exact and read back."""
    part = fraction_text(top, bottom)
    for whole in (0, 1, 2, 13, 20, 30, 100, 105, 120):
        text = f"{cardinal(whole, ' ')} and {part}" if whole else part
        for tail in ("", " inches", *((" of an inch",) if not whole else ())):
            quantity = understood(INCHES, text + tail)
            assert Fraction(quantity.value) == whole + Fraction(top, bottom)
            assert quantity.unit == IN
            spoken = read_back(Understood("number", text + tail, quantity))
            assert understood(INCHES, spoken) == quantity
            assert spoken.endswith(("inch", "inches"))
            assert "decimal" not in spoken


def test_a_lost_plural_makes_no_other_fraction() -> None:
    """A fraction without its last s is the same fraction or is refused."""
    taken = 0
    for top, bottom in FRACTIONS:
        if top > 1:
            found = parse(INCHES, f"{cardinal(top, ' ')} {BOTTOMS[bottom][0]}")
            if isinstance(found, Understood):
                taken += 1
                assert found.quantity is not None
                assert Fraction(found.quantity.value) == Fraction(top, bottom)
            else:
                assert (top, bottom) in {(n, 32) for n in range(20, 32)}
    assert taken == 2 + 6 + 14 + 18


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("one and a half", "1.5"),
        ("two and a quarter inches", "2.25"),
        ("two inches and three quarters", "2.75"),
        ("half an inch", "0.5"),
        ("half inch", "0.5"),
        ("a half inch", "0.5"),
        ("a quarter inch", "0.25"),
        ("an eighth of an inch", "0.125"),
        ("a sixteenth inch", "0.0625"),
        ("a thirty second of an inch", "0.03125"),
        ("three quarter inch", "0.75"),
        ("one hundred and one half inches", "100.5"),
    ],
)
def test_everyday_inches(text: str, value: str) -> None:
    assert understood(INCHES, text) == Quantity(Decimal(value), IN)


@pytest.mark.parametrize(
    ("expect", "text", "quantity"),
    [
        (PRESSURE, "eighty five", Quantity(Decimal(85), PSI)),
        (PRESSURE, "eighty five psi", Quantity(Decimal(85), PSI)),
        (PRESSURE, "eighty five P S I", Quantity(Decimal(85), PSI)),
        (PRESSURE, "a hundred pounds", Quantity(Decimal(100), PSI)),
        (PRESSURE, "six hundred kilopascals", Quantity(Decimal(600), KPA)),
        (PRESSURE, "one oh five", Quantity(Decimal(105), PSI)),
        (PRESSURE, "one point oh five", Quantity(Decimal("1.05"), PSI)),
        (PRESSURE, "zero", Quantity(Decimal(0), PSI)),
        (PRESSURE, "zero point five psi", Quantity(Decimal("0.5"), PSI)),
        (INCHES, "forty millimetres", Quantity(Decimal(40), MM)),
        (INCHES, "forty millimeters", Quantity(Decimal(40), MM)),
        (SECONDS, "forty five seconds", Quantity(Decimal(45), S)),
        (SECONDS, "ninety", Quantity(Decimal(90), S)),
        (SECONDS, "two minutes", Quantity(Decimal(120), S)),
        (SECONDS, "one minute fifteen seconds", Quantity(Decimal(75), S)),
        (SECONDS, "one minute and one five seconds", Quantity(Decimal(75), S)),
        (SECONDS, "two point five minutes", Quantity(Decimal(150), S)),
        (CLOCK, "two", Quantity(Decimal(120), S)),
        (CLOCK, "half an hour", Quantity(Decimal(1800), S)),
        (CLOCK, "two and a half minutes", Quantity(Decimal(150), S)),
        (CLOCK, "one hour ten minutes five seconds", Quantity(Decimal(4205), S)),
        (MINUTES, "two minutes", Quantity(Decimal(2), MIN)),
        (LENGTH, "thirteen feet six inches", Quantity(Decimal(162), IN)),
        (LENGTH, "thirteen feet six and a half inches", Quantity(Decimal("162.5"), IN)),
        (LENGTH, "thirteen feet", Quantity(Decimal(13), FT)),
        (LENGTH, "one foot zero inches", Quantity(Decimal(12), IN)),
        (WEIGHT, "twelve hundred and fifty pounds", Quantity(Decimal(1250), LB)),
    ],
)
def test_units(expect: Expect, text: str, quantity: Quantity) -> None:
    assert understood(expect, text) == quantity


def test_seconds_after_minutes_stay_below_sixty() -> None:
    """After a minute or an hour 1 to 59 may follow; more would be a second time."""
    for seconds in range(100):
        text = f"two minutes {cardinal(seconds, ' ')} seconds"
        if 1 <= seconds < 60:
            assert understood(SECONDS, text) == Quantity(Decimal(120 + seconds), S)
            text = f"two hours {cardinal(seconds, ' ')} minutes"
            assert understood(CLOCK, text) == Quantity(Decimal(7200 + 60 * seconds), S)
        else:
            assert refused(SECONDS, text) == "two readings"


def test_hours_alone_stay_hours() -> None:
    expect = Expect((), NumberForm(H, (H,)))
    assert understood(expect, "eleven hours") == Quantity(Decimal(11), H)


@pytest.mark.parametrize(
    ("expect", "text"),
    [
        (PRESSURE, "one twenty five"),
        (PRESSURE, "twenty thirty"),
        (PRESSURE, "one twenty"),
        (PRESSURE, "thirteen five"),
        (PRESSURE, "eighty five ninety"),
        (PRESSURE, "zero five"),
        (PRESSURE, "oh five"),
        (PRESSURE, "zero zero five"),
        (PRESSURE, "five oh"),  # fifty, or five and a cry
        (PRESSURE, "one oh oh"),
        (PRESSURE, "one point twenty five"),
        (PRESSURE, "eighty five psi ninety"),
        (PRESSURE, "say again eighty five"),
        (PRESSURE, "eighty five say again"),
        (INCHES, "one three quarters"),
        (INCHES, "one one sixteenth"),
        (INCHES, "one three thirty seconds"),
        (INCHES, "twenty one thirty second"),
        (INCHES, "thirty one thirty second"),
        (INCHES, "two inches three quarters"),
        (INCHES, "one half three quarters"),
        (SECONDS, "five thirty seconds"),
        (SECONDS, "one thirty second"),
        (SECONDS, "two thirty"),
        (SECONDS, "one oh five"),
        (SECONDS, "one oh five seconds"),
        (SECONDS, "one minute fifteen"),
        (SECONDS, "one minute seventy five seconds"),
        (CLOCK, "five thirty seconds"),
        (CLOCK, "one thirty second"),
        (LENGTH, "thirteen six"),
        (LENGTH, "six eleven"),
        (WEIGHT, "twenty five hundred"),
        (WEIGHT, "one fifty thousand"),
    ],
)
def test_two_readings(expect: Expect, text: str) -> None:
    assert refused(expect, text) == "two readings"


@pytest.mark.parametrize(
    ("expect", "text", "why"),
    [
        (PRESSURE, "hundred", "no number"),
        (PRESSURE, "hundred twenty", "fragment"),
        (PRESSURE, "one hundred and", "fragment"),
        (PRESSURE, "point five", "fragment"),
        (PRESSURE, "eighty point", "fragment"),
        (PRESSURE, "oh", "fragment"),
        (PRESSURE, "psi", "no number"),
        (PRESSURE, "and psi", "no number"),
        (PRESSURE, "psi eighty", "no number"),
        (INCHES, "and three quarters", "fragment"),
        (INCHES, "half", "fragment"),
        (INCHES, "a quarter", "fragment"),
        (INCHES, "quarter inch", "fragment"),
        (INCHES, "thirty seconds", "fragment"),
        (INCHES, "nine eighths", "no number"),
        (INCHES, "twenty one sixteenths", "no number"),
        (PRESSURE, "one two three four five six seven", "too long"),
        (PRESSURE, "one five one", "implausible"),
        (PRESSURE, "two thousand kilopascals", "implausible"),
        (CLOCK, "nine thousand hours", "implausible"),  # 32,400,000 s: more than six figures
        (SECONDS, "three quarters", "unknown words"),
        (PRESSURE, "forty inches", "unknown words"),
        (PRESSURE, "eighty [unk]", "unknown words"),
        (PRESSURE, "[unk]", "unknown words"),
        (PRESSURE, "85", "unknown words"),
        (PRESSURE, "", "nothing"),
        (PRESSURE, " \t\n", "nothing"),
    ],
)
def test_refusals(expect: Expect, text: str, why: str) -> None:
    assert refused(expect, text) == why


def test_five_thirty_seconds_is_a_fraction_of_an_inch_and_no_time() -> None:
    assert understood(INCHES, "five thirty seconds") == Quantity(Decimal("0.15625"), IN)
    assert refused(SECONDS, "five thirty seconds") == "two readings"
    assert understood(SECONDS, "thirty seconds") == Quantity(Decimal(30), S)
    assert understood(INCHES, "thirty two") == Quantity(Decimal(32), IN)
    assert understood(INCHES, "one thirty second") == Quantity(Decimal("0.03125"), IN)


@pytest.mark.parametrize("text", ["zero", "one five zero"])
def test_range_includes_its_bounds(text: str) -> None:
    understood(PRESSURE, text)


def test_range_is_judged_in_the_spoken_unit() -> None:
    """150 psi = 1034.21 kPa (NIST SP 811, 2008, B.8: 1 psi = 6.894757 kPa)."""
    understood(PRESSURE, "one zero three four kilopascals")
    assert refused(PRESSURE, "one zero three five kilopascals") == "implausible"


@pytest.mark.parametrize(
    ("expect", "text", "spoken"),
    [
        (PRESSURE, "fifteen", "one five psi"),
        (PRESSURE, "fifty", "five zero psi"),
        (PRESSURE, "one point two five", "one decimal two five psi"),
        (PRESSURE, "one kilopascal", "one kilopascal"),
        (INCHES, "one and three quarters", "one and three quarters inches"),
        (INCHES, "one point seven five", "one decimal seven five inches"),
        (INCHES, "seven eighths of an inch", "seven eighths inch"),
        (INCHES, "fifteen and a half", "one five and one half inches"),
        (INCHES, "thirteen thirty seconds", "thirteen thirty seconds inch"),
        (INCHES, "thirty thirty seconds", "fifteen sixteenths inch"),
        (INCHES, "twenty thirty seconds", "five eighths inch"),
        (SECONDS, "one minute fifteen seconds", "one minute one five seconds"),
        (SECONDS, "seventy five seconds", "seven five seconds"),
        (LENGTH, "thirteen feet six inches", "one three feet six inches"),
    ],
)
def test_read_back(expect: Expect, text: str, spoken: str) -> None:
    found = parse(expect, text)
    assert isinstance(found, Understood)
    assert read_back(found) == spoken


@settings(max_examples=400, deadline=None)
@given(st.integers(0, 999_999_9999).map(lambda n: Decimal(n) / 10_000))
def test_every_decimal_read_back_is_the_same_quantity(value: Decimal) -> None:
    for expect, unit in ((WEIGHT, LB), (INCHES, IN), (SECONDS, S)):
        spoken = read_back(Understood("number", "", Quantity(value, unit)))
        assert understood(expect, spoken) == Quantity(value, unit)
        assert not set(spoken.split()) & {*ONES[10:], *TENS}


def test_a_form_of_two_kinds_is_refused_when_it_is_made() -> None:
    with pytest.raises(ChecklistError):
        NumberForm(PSI, (PSI, LB))
    with pytest.raises(ChecklistError):
        NumberForm(PSI, (PSI,), low=Decimal(2), high=Decimal(1))
