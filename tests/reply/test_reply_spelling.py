"""Letters and figures. The tables are typed from the published ones, not from the program."""

from __future__ import annotations

import pytest
from expectations import LONG_SPELLING, UNIT_NUMBER
from hypothesis import given, settings
from hypothesis import strategies as st

from voicecheck.errors import ChecklistError
from voicecheck.reply.grammar import (
    Expect,
    NumberForm,
    Refused,
    SpellForm,
    Understood,
    parse,
    read_back,
    vocabulary,
)
from voicecheck.units import PSI

# Radiotelephony spelling alphabet: ICAO Annex 10 Volume II, figure 5-1, as reproduced in Commission
# Implementing Regulation (EU) No 923/2012, SERA.14020, Table S14-2.
ICAO_LETTERS = {
    "A": "Alfa",
    "B": "Bravo",
    "C": "Charlie",
    "D": "Delta",
    "E": "Echo",
    "F": "Foxtrot",
    "G": "Golf",
    "H": "Hotel",
    "I": "India",
    "J": "Juliett",
    "K": "Kilo",
    "L": "Lima",
    "M": "Mike",
    "N": "November",
    "O": "Oscar",
    "P": "Papa",
    "Q": "Quebec",
    "R": "Romeo",
    "S": "Sierra",
    "T": "Tango",
    "U": "Uniform",
    "V": "Victor",
    "W": "Whiskey",
    "X": "X-ray",
    "Y": "Yankee",
    "Z": "Zulu",
}
# Pronunciation of figures: US Navy training text after ACP 125 (NAVEDTRA 14244, chapter 4,
# "Numerals"); the same in ICAO Annex 10 Volume II, 5.2.1.4.3.1. Hyphens and capitals left out.
FIGURES_SPOKEN = {
    "0": "zero",
    "1": "wun",
    "2": "too",
    "3": "tree",
    "4": "fower",
    "5": "fife",
    "6": "six",
    "7": "seven",
    "8": "ait",
    "9": "niner",
}
PLAIN = {
    "0": "zero",
    "1": "one",
    "2": "two",
    "3": "three",
    "4": "four",
    "5": "five",
    "6": "six",
    "7": "seven",
    "8": "eight",
    "9": "nine",
}


def spelled(text: str) -> str:
    found = parse(UNIT_NUMBER, text)
    assert isinstance(found, Understood), (text, found)
    assert found.meaning == "spelling"
    return found.spelled


@pytest.mark.parametrize(("letter", "word"), ICAO_LETTERS.items())
def test_letter(letter: str, word: str) -> None:
    assert spelled(f"{word} one") == f"{letter}1"
    assert read_back(Understood("spelling", "", spelled=letter)) == word.lower().replace("-", "")


@pytest.mark.parametrize(("figure", "word"), [*FIGURES_SPOKEN.items(), *PLAIN.items()])
def test_figure(figure: str, word: str) -> None:
    assert spelled(f"kilo {word}") == f"K{figure}"
    assert read_back(Understood("spelling", "", spelled=figure)) == PLAIN[figure]


def test_other_spellings_of_the_same_sound() -> None:
    assert spelled("alpha juliet xray") == spelled("alfa juliett x-ray") == "AJX"


def test_one_spelling_of_each_sound_in_the_vocabulary() -> None:
    words = vocabulary(UNIT_NUMBER).all_words()
    assert {"alfa", "juliett", "xray", "one", "two", "eight"} <= set(words)
    assert not {"alpha", "juliet", "wun", "too", "ait"} & set(words)


def test_figures_inside_a_spelling() -> None:
    assert spelled("seven kilo four two") == "7K42"
    assert spelled("i spell seven kilo four two") == "7K42"
    found = parse(UNIT_NUMBER, "I spell seven kilo four two")
    assert isinstance(found, Understood)
    assert read_back(found) == "seven kilo four two"


@settings(max_examples=300, deadline=None)
@given(st.text("ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789", min_size=2, max_size=8))
def test_every_spelling_survives_the_round_trip(signs: str) -> None:
    text = " ".join((ICAO_LETTERS.get(s) or PLAIN[s]).lower() for s in signs)
    assert spelled(text) == signs
    assert spelled(read_back(Understood("spelling", text, spelled=signs))) == signs


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("seven oh two", "two readings"),  # the letter or the figure; ACP 125: "never oh"
        ("kilo", "fragment"),
        ("i spell kilo", "fragment"),
        ("seven kilo say again", "two readings"),
        ("one two three four five six seven eight nine", "too long"),
        ("i spell alfa bravo charlie delta echo foxtrot golf hotel india", "too long"),
        ("forty two", "unknown words"),
        ("kilo [unk] two", "unknown words"),
    ],
)
def test_refusals(text: str, why: str) -> None:
    found = parse(UNIT_NUMBER, text)
    assert isinstance(found, Refused)
    assert found.why == why


def test_a_vehicle_identification_number_has_seventeen_signs() -> None:
    """49 CFR 565.13(b): a VIN has 17 characters (from memory)."""
    assert isinstance(parse(LONG_SPELLING, " ".join(["kilo"] * 17)), Understood)
    for count, why in ((16, "fragment"), (18, "too long")):
        found = parse(LONG_SPELLING, " ".join(["kilo"] * count))
        assert isinstance(found, Refused)
        assert found.why == why


def test_one_sign_may_be_a_number_and_a_spelling() -> None:
    expect = Expect((), NumberForm(PSI, (PSI,)), SpellForm(1, 4))
    found = parse(expect, "seven")
    assert isinstance(found, Refused)
    assert found.why == "two readings"
    assert isinstance(parse(expect, "seven psi"), Understood)
    assert isinstance(parse(expect, "seven kilo"), Understood)


@pytest.mark.parametrize(("least", "most"), [(0, 3), (4, 3), (1, 41)])
def test_impossible_lengths(least: int, most: int) -> None:
    with pytest.raises(ChecklistError):
        SpellForm(least, most)
