"""Spoken numbers, measurements, spellings and dates: patterns to hear and words to read back.

Rules of this file:

1. A measurement has exactly one reading or none. Where people commonly say something that may be
   taken in two ways ("one twenty five", "thirteen six", "five thirty seconds" for a time), the
   pattern hears it and marks it, and it is refused.
2. What is left when the beginning of a reply is cut off is refused where it can be told: "hundred
   twenty", "point five", "and three quarters", "quarter inch". It cannot always be told ("twenty
   five" of "one hundred twenty five", "three quarters" of "one and three quarters"). Therefore a
   measurement is read back.
3. A number does not begin with zero unless it is zero or a decimal ("zero point five"): "zero five"
   may be a decimal whose point was lost. "Oh" is a figure only between figures ("one oh five"); at
   the end it may be a cry ("five, oh"), in a time it may be a clock's reading, in a spelling it may
   be a letter: there it is heard and refused.
4. Figures are read back one by one, because "fifteen" and "fifty" are confused in noise. A fraction
   is read back as a fraction with the denominator that was said. Its numerator is below thirty-two;
   twenty and thirty are reduced ("thirty thirty seconds" is read back as "fifteen sixteenths"), so
   that a "thirteen" cannot be taken for a "thirty".
5. The plural of a fraction may lose its end ("three quarter inch"), but not where that makes two
   readings: "twenty one thirty seconds" is 21/32, "twenty one thirty second" may be 20 1/32.
   A quarter is called a quarter: "fourth" is too near to "four".

Sources: figures ICAO Annex 10 Volume II, 5.2.1.4.3.1, and US Navy training text after ACP 125
(NAVEDTRA 14244, chapter 4, Numerals: "136 wun tree six", "16,000 wun six tou-sand", "the numeral 0
is always spoken as zero, never oh"); letters ICAO Annex 10 Volume II, figure 5-1, also Table S14-2
of SERA.14020 (Commission Implementing Regulation (EU) No 923/2012). Which everyday forms are
taken (articles, "and", "oh"): common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache, partial
from types import MappingProxyType
from typing import Any

from voicecheck.errors import ChecklistError
from voicecheck.reply.pattern import (
    Doubt,
    Either,
    Maybe,
    Pattern,
    Rule,
    Run,
    Say,
    Times,
    TwoWays,
)
from voicecheck.units import FT, IN, LB, MIN, PSI, H, Quantity, S, Unit, plain

MOST_FIGURES = 6
MOST_DECIMALS = 4

FIGURES: Mapping[str, str] = MappingProxyType(
    {
        "zero": "0",
        "one": "1",
        "two": "2",
        "three": "3",
        "tree": "3",
        "four": "4",
        "fower": "4",
        "five": "5",
        "fife": "5",
        "six": "6",
        "seven": "7",
        "eight": "8",
        "nine": "9",
        "niner": "9",
    }
)
LETTERS: tuple[str, ...] = (
    *("alfa", "bravo", "charlie", "delta", "echo", "foxtrot", "golf", "hotel", "india"),
    *("juliett", "kilo", "lima", "mike", "november", "oscar", "papa", "quebec", "romeo"),
    *("sierra", "tango", "uniform", "victor", "whiskey", "xray", "yankee", "zulu"),
)
MONTHS: tuple[str, ...] = (
    *("january", "february", "march", "april", "may", "june"),
    *("july", "august", "september", "october", "november", "december"),
)
_TEENS = (
    *("ten", "eleven", "twelve", "thirteen", "fourteen"),
    *("fifteen", "sixteen", "seventeen", "eighteen", "nineteen"),
)
_TENS = ("twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety")
_ONES = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
_PARTS: Mapping[int, tuple[str, str]] = MappingProxyType(
    {
        2: ("half", "halves"),
        4: ("quarter", "quarters"),
        8: ("eighth", "eighths"),
        16: ("sixteenth", "sixteenths"),
        32: ("thirty second", "thirty seconds"),
    }
)
_ORDINALS = (
    *("first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth"),
    *("tenth", "eleventh", "twelfth", "thirteenth", "fourteenth", "fifteenth", "sixteenth"),
    *("seventeenth", "eighteenth", "nineteenth", "twentieth", "twenty first", "twenty second"),
    *("twenty third", "twenty fourth", "twenty fifth", "twenty sixth", "twenty seventh"),
    *("twenty eighth", "twenty ninth", "thirtieth", "thirty first"),
)


@dataclass(frozen=True)
class NumberForm:
    """A measurement may be said.

    ``unit`` is assumed when none is spoken; ``units`` may be spoken (``unit`` always may), all of
    one kind. ``fractions`` allows halves to thirty-seconds. ``low`` and ``high`` bound the
    plausible range in ``unit``, both included; outside it the reply is refused as implausible.
    A time is given in seconds where seconds may be spoken, else in the finest unit that may be.
    """

    unit: Unit
    units: tuple[Unit, ...]
    fractions: bool = False
    low: Decimal | None = None
    high: Decimal | None = None

    def __post_init__(self) -> None:
        kinds = {unit.kind for unit in self.units} - {self.unit.kind}
        if kinds:
            raise ChecklistError(
                f"A {self.unit.kind} in {self.unit} cannot be said as {', '.join(sorted(kinds))}.",
                "List units of one kind.",
            )
        if self.low is not None and self.high is not None and self.low > self.high:
            raise ChecklistError(
                f"The plausible range {self.low} to {self.high} {self.unit} is empty.",
                "Write the lower bound first.",
            )

    def spoken(self) -> tuple[Unit, ...]:
        """Every unit that may be spoken, the assumed one first."""
        return tuple(dict.fromkeys((self.unit, *self.units)))

    def plausible(self, quantity: Quantity) -> bool:
        """Whether the quantity lies in the plausible range."""
        number = quantity.exact_in(self.unit)
        if self.low is not None and number < Fraction(self.low):
            return False
        return self.high is None or number <= Fraction(self.high)


@dataclass(frozen=True)
class SpellForm:
    """Letters (ICAO alphabet) and figures, ``least`` to ``most`` of them."""

    least: int
    most: int

    def __post_init__(self) -> None:
        if not 1 <= self.least <= self.most <= 40:
            raise ChecklistError(
                f"A spelling of {self.least} to {self.most} signs cannot be asked for.",
                "Ask for 1 to 40 signs, the smaller number first.",
            )


@dataclass(frozen=True)
class DateForm:
    """Month and year ("march twenty twenty seven"), or with ``day`` a full date."""

    day: bool = False


# -- whole numbers ----------------------------------------------------------------------------


def _figures(first: int, last: int) -> Pattern:
    """One figure from first to last, as text."""
    return Either(
        *(Say(word, sign) for word, sign in FIGURES.items() if first <= int(sign) <= last)
    )


def _whole(sign: Any) -> int:
    return int(sign)


_FIGURE = Rule("figure", _figures(1, 9))
_ZERO = Say("zero", "0")
_NOUGHT = Rule("nought", Either(_ZERO, Say("oh", "0")))
_ANY_FIGURE = Rule("anyfigure", Either(_FIGURE, _NOUGHT))
_PLAIN_FIGURE = Rule("plainfigure", Either(_FIGURE, _ZERO))
_TEEN = Rule("teen", Either(*(Say(word, 10 + step) for step, word in enumerate(_TEENS))))
_TENS_ONLY = Either(*(Say(word, 20 + 10 * step) for step, word in enumerate(_TENS)))
_TENS_RULE = Rule("tens", Run(_TENS_ONLY, Maybe(_FIGURE, "0"), make=lambda v: v[0] + _whole(v[1])))
_ONE_TO_NINE = Run(_FIGURE, make=lambda v: _whole(v[0]))
_BELOW_100 = Rule("belowhundred", Either(_ONE_TO_NINE, _TEEN, _TENS_RULE))
_AND_TAIL = Maybe(Run(Maybe(Say("and")), _BELOW_100, make=lambda v: v[1]), 0)
_HUNDREDS = Run(
    Either(_ONE_TO_NINE, Say("a", 1)),
    Say("hundred"),
    _AND_TAIL,
    make=lambda v: 100 * v[0] + v[2],
)
_BELOW_1000 = Rule("belowthousand", Either(_BELOW_100, _HUNDREDS))
_TEEN_HUNDREDS = Run(
    Either(*(Say(word, 10 + step) for step, word in enumerate(_TEENS) if step)),
    Say("hundred"),
    _AND_TAIL,
    make=lambda v: 100 * v[0] + v[2],
)


def _row(least: int, most: int) -> Pattern:
    """A whole number, figure by figure, of least to most figures."""
    return Run(
        _FIGURE,
        Times(_PLAIN_FIGURE, least - 1, most - 1, make="".join),
        make=lambda v: _whole(v[0] + v[1]),
    )


# "One oh five": once, and between figures. At the end it may be a cry ("five, oh").
_ROW_WITH_OH = Run(
    _FIGURE,
    Times(_PLAIN_FIGURE, 0, 2, make="".join),
    Say("oh", "0"),
    Times(_PLAIN_FIGURE, 1, 2, make="".join),
    make=lambda v: _whole("".join(v)),
)
_THOUSAND = Rule(
    "thousands",
    Run(
        Say("thousand"),
        Maybe(Either(_BELOW_1000, Run(Say("and"), _BELOW_100, make=lambda v: v[1])), 0),
        make=lambda v: v[1],
    ),
)


def _positive(time: bool) -> Pattern:
    """A whole number above zero. For a time "one oh five" is a clock's reading too: left out."""
    ways = [
        Run(
            Either(_BELOW_1000, _row(2, 3)),
            Maybe(_THOUSAND),
            make=lambda v: v[0] if v[1] is None else 1000 * v[0] + v[1],
        ),
        Run(Say("a"), _THOUSAND, make=lambda v: 1000 + v[1]),
        _TEEN_HUNDREDS,
        _row(4, MOST_FIGURES),
        *([] if time else [_ROW_WITH_OH]),
    ]
    return Rule("wholetime" if time else "whole", Either(*ways))


_PAIR = Rule(
    "pair",
    TwoWays(
        Either(
            Run(_BELOW_100, Either(_TEEN, _TENS_RULE), make=tuple),
            Run(_TEEN, _FIGURE, make=tuple),
            Run(_NOUGHT, Times(_ANY_FIGURE, 1, 3, make=tuple), make=tuple),
            Run(_FIGURE, Times(_ANY_FIGURE, 1, MOST_FIGURES - 1, make=tuple), make=tuple),
        )
    ),
)

_DECIMALS = Rule(
    "decimals",
    Either(
        Times(_PLAIN_FIGURE, 1, MOST_DECIMALS, make="".join),
        Run(
            Say("oh", "0"),
            Times(_PLAIN_FIGURE, 1, MOST_DECIMALS - 1, make="".join),
            make="".join,
        ),
    ),
)
_POINT = Rule("point", Either(Say("point"), Say("decimal")))
_AFTER_POINT = Run(_POINT, _DECIMALS, make=lambda v: Decimal(f"0.{v[1]}"))

# -- fractions --------------------------------------------------------------------------------


def _numerators(last: int) -> Pattern:
    """Two to last, at most nineteen."""
    figures = Run(_figures(2, min(last, 9)), make=lambda v: _whole(v[0]))
    if last < 10:
        return figures
    teens = (Say(word, 10 + step) for step, word in enumerate(_TEENS) if 10 + step <= last)
    return Either(figures, *teens)


def _above_19() -> Pattern:
    """Twenty to thirty-one."""
    twenties = Run(Say("twenty"), Maybe(_FIGURE, "0"), make=lambda v: 20 + _whole(v[1]))
    return Either(twenties, Say("thirty", 30), Say("thirty one", 31))


def _nth(bottom: int, values: list[Any]) -> Decimal:
    return Decimal(values[0]) / bottom


def _proper(bottom: int) -> Pattern:
    one, many = _PARTS[bottom]
    single = Say(f"one {one}", Decimal(1) / bottom)
    if bottom == 2:
        return single
    both = Either(Say(one), Say(many))
    make = partial(_nth, bottom)
    # "Twenty one thirty second" is left out: twenty, and one thirty second?
    short = Run(_numerators(min(bottom - 1, 19)), both, make=make)
    if bottom < 32:
        return Either(single, short)
    return Either(single, short, Run(_above_19(), Say(many), make=make))


def _article(word: str) -> str:
    return "an" if word[0] in "aeio" or word == "hour" else "a"


_WITHOUT_END = {"eighth": "eight", "sixteenth": "sixteen"}


def _whole_fractions(bottom: int) -> tuple[str, ...]:
    """And what sounds like them, so that neither is the shorter path: "one eight"."""
    one, many = _PARTS[bottom]
    numerators = (*_ONES, *_TEENS)[2:bottom]
    return (
        f"{_article(one)} {one}",
        f"one {one}",
        *(f"{top} {many}" for top in numerators),
        *(f"{top} {_WITHOUT_END[one]}" for top in ("one", *numerators)),
    )


FRACTION_ENDS: frozenset[str] = frozenset({*_PARTS[8], *_PARTS[16]})
"""Denominators that sound like a figure ("eighth", "eight") and so are heard only in
WHOLE_FRACTIONS, where an engine can do that."""
WHOLE_FRACTIONS: tuple[str, ...] = (*_whole_fractions(8), *_whole_fractions(16))

_PROPER = Rule("fraction", Either(*(_proper(bottom) for bottom in _PARTS)))
_WITH_ARTICLE = Rule(
    "apart",
    Either(
        *(Say(f"{_article(one)} {one}", Decimal(1) / bottom) for bottom, (one, _) in _PARTS.items())
    ),
)
_AND_FRACTION = Run(Say("and"), Either(_PROPER, _WITH_ARTICLE), make=lambda v: v[1])

# -- units ------------------------------------------------------------------------------------

_SPOKEN: Mapping[str, tuple[str, str]] = MappingProxyType(
    {
        "psi": ("psi", "psi"),
        "psi/min": ("psi a minute", "psi a minute"),
    }
)


def unit_words(unit: Unit) -> tuple[str, str]:
    """Singular and plural of a unit as spoken and heard, lower-case, American spelling."""
    found = _SPOKEN.get(unit.symbol)
    if found is None:
        one, many = (
            words.lower().replace("metre", "meter").replace("litre", "liter")
            for words in (unit.one, unit.many)
        )
        found = (one, many)
    return found


def _unit(unit: Unit) -> Pattern:
    words = dict.fromkeys(unit_words(unit))
    if unit == PSI:  # at the gauge "pounds" is a pressure; units of mass are another form
        words.update(dict.fromkeys(unit_words(LB)))
    return Either(*(Say(text, unit) for text in words))


# -- measurements -----------------------------------------------------------------------------

_CLOCK = (S, MIN, H)


@lru_cache(maxsize=256)
def number_pattern(form: NumberForm) -> Pattern:
    """The pattern of a measurement; its values are Quantity or Doubt.

    Whole numbers stand in it once, with everything that may follow them, because a recogniser
    copies a JSGF rule for each reference to it.
    """
    units = form.spoken()
    grain = _grain(units)
    unit = Rule("unit", Either(*(_unit(one) for one in units)))
    after: list[Pattern] = [
        _AFTER_POINT,
        TwoWays(Run(_POINT, Either(_TEEN, _TENS_RULE), make=tuple)),
    ]
    alone: list[Pattern] = [_PAIR]
    if form.fractions:
        after += [_AND_FRACTION, TwoWays(_PROPER)]
        alone.append(_PROPER)
    rests: list[Pattern] = [
        Run(Maybe(Either(*after), Decimal(0)), Maybe(unit, form.unit), make=lambda v: (1, *v))
    ]
    if form.fractions:  # "two inches and three quarters"
        rests.append(Run(unit, _AND_FRACTION, make=lambda v: (1, v[1], v[0])))
    if IN in units and FT in units:
        rests.append(_feet_and_inches(form.fractions))
    rests += _clock_times(units)

    # What follows a whole number says (times, plus, unit): the measurement is whole x times + plus.
    def measured(parts: list[Any]) -> Quantity:
        times, plus, said = parts[1]
        return _grained(Quantity(times * Decimal(parts[0]) + plus, said), grain)

    whole = Either(_positive(form.unit.kind == "time"), Run(_ZERO, make=lambda v: 0))
    ways: list[Pattern] = [
        Run(whole, Rule("rest", Either(*rests)), make=measured),
        Run(
            Either(*alone),
            Maybe(unit, form.unit),
            make=lambda v: _grained(Quantity(v[0], v[1]), grain),
        ),
    ]
    if form.fractions:
        ways += [_part_of(one, grain) for one in units]
        if S in units:
            # Parts of something, or seconds? Stands beside the fraction's own reading.
            ways.append(
                TwoWays(Run(_BELOW_100, Say("thirty"), Either(*_both(S)), make=tuple), Doubt.STRONG)
            )
    return Rule("number", Either(*ways))


def _both(unit: Unit) -> tuple[Pattern, ...]:
    return tuple(Say(text, unit) for text in dict.fromkeys(unit_words(unit)))


def _grain(units: tuple[Unit, ...]) -> Unit | None:
    """The finest unit of the clock that may be spoken."""
    return next((unit for unit in _CLOCK if unit in units), None)


def _grained(quantity: Quantity, grain: Unit | None) -> Quantity:
    if grain is None or quantity.unit not in _CLOCK or quantity.unit == grain:
        return quantity
    return Quantity.of(quantity.exact_in(grain), grain)


def _part_of(unit: Unit, grain: Unit | None) -> Pattern:
    """ "Seven eighths of an inch", "half an inch", "a quarter inch"."""
    one = unit_words(unit)[0]
    of = f"of {_article(one)} {one}"
    parts = Either(
        Run(_PROPER, Say(of), make=lambda v: v[0]),
        Run(_WITH_ARTICLE, Either(Say(one), Say(of)), make=lambda v: v[0]),
        Say(f"half {_article(one)} {one}", Decimal("0.5")),
        Say(f"half {one}", Decimal("0.5")),
    )
    return Run(parts, make=lambda v: _grained(Quantity(v[0], unit), grain))


def _feet_and_inches(fractions: bool) -> Pattern:
    """ "[Thirteen] feet six inches": a length in inches."""
    small = Either(
        Run(_PLAIN_FIGURE, make=lambda v: Decimal(v[0])),
        Say("ten", Decimal(10)),
        Say("eleven", Decimal(11)),
        Say("one zero", Decimal(10)),
        Say("one one", Decimal(11)),
    )
    after: list[Pattern] = [_AFTER_POINT, *([_AND_FRACTION] if fractions else [])]
    inches: list[Pattern] = [
        Run(small, Maybe(Either(*after), Decimal(0)), make=sum),
        *([_PROPER] if fractions else []),
    ]
    return Run(
        Either(*_both(FT)),
        Maybe(Say("and")),
        Either(*inches),
        Either(*_both(IN)),
        make=lambda v: (12, v[2], IN),
    )


def _clock_times(units: tuple[Unit, ...]) -> list[Pattern]:
    """ "[One] minute fifteen seconds", "[one] hour ten minutes"; below sixty after the first."""
    below_60 = Rule(
        "belowsixty",
        Either(
            _ONE_TO_NINE,
            _TEEN,
            Run(
                Either(*(Say(word, 20 + 10 * n) for n, word in enumerate(_TENS[:4]))),
                Maybe(_FIGURE, "0"),
                make=lambda v: v[0] + _whole(v[1]),
            ),
            Run(_figures(1, 5), _PLAIN_FIGURE, make=lambda v: _whole(v[0] + v[1])),
        ),
    )

    def then(unit: Unit) -> Pattern:
        return Run(
            Maybe(Say("and")),
            below_60,
            Either(*_both(unit)),
            make=lambda v: Decimal(v[1] * int(unit.factor)),
        )

    ways: list[Pattern] = []
    if MIN in units and S in units:
        ways.append(Run(Either(*_both(MIN)), then(S), make=lambda v: (60, v[1], S)))
    if H in units and MIN in units:
        seconds = Maybe(then(S), Decimal(0)) if S in units else Run(make=lambda v: Decimal(0))
        ways.append(
            Run(Either(*_both(H)), then(MIN), seconds, make=lambda v: (3600, v[1] + v[2], S))
        )
    return ways


# -- spellings --------------------------------------------------------------------------------


@lru_cache(maxsize=64)
def spell_pattern(form: SpellForm) -> Pattern:
    """The pattern of a spelling; its values are text such as "7K42", or Doubt.

    "Oh" is heard and refused: it may be the letter or the figure.
    """
    sign = Rule(
        "sign",
        Either(
            *(Say(word, word[0].upper()) for word in LETTERS),
            *(Say(word, figure) for word, figure in FIGURES.items()),
            TwoWays(Say("oh"), Doubt.STRONG),
        ),
    )
    return Rule(
        "spelling",
        Run(
            Maybe(Say("i spell")),
            Times(sign, form.least, form.most, make="".join),
            make=lambda v: v[1],
        ),
    )


# -- dates ------------------------------------------------------------------------------------


def _year() -> Pattern:
    """1950 to 2099."""
    last = Either(
        Run(Say("oh"), _FIGURE, make=lambda v: _whole(v[1])),
        _TEEN,
        _TENS_RULE,
    )
    later = Either(
        Say("fifty", 50), Say("sixty", 60), Say("seventy", 70), Say("eighty", 80), Say("ninety", 90)
    )
    return Rule(
        "year",
        Either(
            Run(Say("twenty"), last, make=lambda v: 2000 + v[1]),
            Run(
                Say("nineteen"),
                later,
                Maybe(_FIGURE, "0"),
                make=lambda v: 1900 + v[1] + _whole(v[2]),
            ),
            Run(Say("two thousand"), _AND_TAIL, make=lambda v: 2000 + v[1]),
            Run(
                _figures(2, 2),
                _NOUGHT,
                _PLAIN_FIGURE,
                _PLAIN_FIGURE,
                make=lambda v: _whole("".join(v)),
            ),
            Run(
                Say("one", "1"),
                _figures(9, 9),
                _figures(5, 9),
                _PLAIN_FIGURE,
                make=lambda v: _whole("".join(v)),
            ),
        ),
    )


@lru_cache(maxsize=4)
def date_pattern(form: DateForm) -> Pattern:
    """The pattern of a date; its values are "2027-03" or "2027-03-31", or Doubt.

    A month in figures is heard and refused: "zero three two zero two seven" may be March 2027 or
    the twentieth of March in a year 27. So is a year of two figures ("march twenty seven").
    """
    month = Rule("month", Either(*(Say(word, step + 1) for step, word in enumerate(MONTHS))))
    year = _year()
    figures: Pattern = TwoWays(
        Either(
            Times(_ANY_FIGURE, 4, 8, make=tuple),
            Run(_BELOW_100, Maybe(_BELOW_100), year, make=tuple),
            Run(_NOUGHT, _FIGURE, year, make=tuple),
        )
    )
    if not form.day:
        two_figures = Either(_TEEN, _TENS_RULE, Run(_PLAIN_FIGURE, _FIGURE, make=tuple))
        figures = Either(figures, TwoWays(Run(month, two_figures, make=tuple)))
        whole: Pattern = Run(month, year, make=lambda v: f"{v[1]:04d}-{v[0]:02d}")
        return Rule("date", Either(whole, figures))
    ordinal = Either(*(Say(word, step + 1) for step, word in enumerate(_ORDINALS)))
    cardinal = Either(
        _ONE_TO_NINE,
        _TEEN,
        Run(Say("twenty"), Maybe(_FIGURE, "0"), make=lambda v: 20 + _whole(v[1])),
        Say("thirty", 30),
        Say("thirty one", 31),
        Run(_ZERO, _FIGURE, make=lambda v: _whole(v[1])),
        Run(_figures(1, 3), _PLAIN_FIGURE, make=lambda v: _whole(v[0] + v[1])),
    )
    day = Rule("day", Either(ordinal, cardinal))
    before = Either(Run(ordinal, Maybe(Say("of")), make=lambda v: v[0]), cardinal)
    whole = Either(
        Run(month, day, year, make=lambda v: f"{v[2]:04d}-{v[0]:02d}-{v[1]:02d}"),
        Run(before, month, year, make=lambda v: f"{v[2]:04d}-{v[1]:02d}-{v[0]:02d}"),
    )
    # A month and year without the day: "twenty twenty seven" may be the day and a short year.
    short = TwoWays(Run(month, year, make=tuple))
    return Rule("date", Either(whole, figures, short))


def date_exists(date: str) -> bool:
    """Whether a date "2027-03" or "2027-03-31" is in the (Gregorian) calendar."""
    year, month, *days = (int(part) for part in date.split("-"))
    if not 1 <= month <= 12:
        return False
    leap = year % 4 == 0 and (year % 100 != 0 or year % 400 == 0)
    length = (
        29 if month == 2 and leap else (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)[month - 1]
    )
    return all(1 <= day <= length for day in days)


# -- reading back -----------------------------------------------------------------------------


def figure_words(text: str) -> str:
    """Figures, and the point as "decimal", one by one: "1.25" is "one decimal two five"."""
    return " ".join("decimal" if sign == "." else _ONES[int(sign)] for sign in text)


def spelling_words(spelled: str) -> str:
    """ "7K42" as "seven kilo four two"."""
    by_letter = {word[0].upper(): word for word in LETTERS}
    return " ".join(by_letter.get(sign) or figure_words(sign) for sign in spelled.upper())


def date_words(date: str) -> str:
    """ "2027-03" as "march two zero two seven"; a day as two figures between the two."""
    year, month, *day = date.split("-")
    figures = figure_words("".join(day) + year)
    return f"{MONTHS[int(month) - 1]} {figures}"


def quantity_words(quantity: Quantity, heard: str = "") -> str:
    """A measurement to be read back, unit at the end.

    ``heard`` are the words as they were said: a fraction said is read back as a fraction, feet and
    inches as feet and inches, minutes as minutes and seconds; everything else figure by figure.
    """
    words = frozenset(heard.split())
    if quantity.unit == IN and words & set(unit_words(FT)):
        feet, inches = divmod(quantity.value, 12)
        return f"{_counted(feet, FT)} {_measured(Quantity(inches, IN), heard)}"
    if quantity.unit in _CLOCK and quantity.unit != H:
        split = _clock_words(quantity, words)
        if split:
            return split
    return _measured(quantity, heard)


def _clock_words(quantity: Quantity, words: frozenset[str]) -> str:
    """Hours, minutes and seconds of a time that was said so; empty when it was not."""
    coarse = [unit for unit in (H, MIN) if words & set(unit_words(unit)) and unit != quantity.unit]
    if not coarse or quantity.value != quantity.value.to_integral_value():
        return ""
    order = [H, MIN, S]
    order = order[order.index(coarse[0]) : order.index(quantity.unit) + 1]
    rest = int(quantity.exact_in(S))
    said: list[str] = []
    for unit in order:
        count, rest = divmod(rest, int(unit.factor))
        if count:
            said.append(_counted(Decimal(count), unit))
    return " ".join(said)


def _counted(value: Decimal, unit: Unit) -> str:
    one, many = unit_words(unit)
    return f"{figure_words(plain(value))} {one if value == 1 else many}"


def _measured(quantity: Quantity, heard: str) -> str:
    bottom = _bottom(heard, quantity.value)
    if bottom is None:
        return _counted(quantity.value, quantity.unit)
    whole, rest = divmod(quantity.value, 1)
    top = int(rest * bottom)
    if top in (20, 30):
        reduced = Fraction(top, bottom)
        top, bottom = reduced.numerator, reduced.denominator
    one, many = _PARTS[bottom]
    part = f"{_numerator(top)} {one if top == 1 else many}"
    single, plural = unit_words(quantity.unit)
    if whole:
        return f"{figure_words(plain(whole))} and {part} {plural}"
    return f"{part} {single}"


def _numerator(top: int) -> str:
    if top < 10:
        return _ONES[top]
    if top < 20:
        return _TEENS[top - 10]
    tens = _TENS[top // 10 - 2]
    return f"{tens} {_ONES[top % 10]}" if top % 10 else tens


def _bottom(heard: str, value: Decimal) -> int | None:
    """The denominator that was said and fits the value."""
    if "point" in heard.split() or "decimal" in heard.split():
        return None
    for bottom, names in _PARTS.items():
        said = any(f" {name} " in f" {heard} " for name in names)
        scaled = value * bottom
        if said and value % 1 and scaled == scaled.to_integral_value():
            return bottom
    return None
