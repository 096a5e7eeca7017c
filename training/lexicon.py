"""The words that the shipped model knows, with their phones.

Rules of this file. Network phones are the 41 of PHONES, in this order (SIL, SPN, 39 ARPAbet phones
without stress). Pronunciations come from CMUdict and, before it, from pronunciations.txt. Only a
word of trade_words.txt that is in neither is guessed from its spelling (letters.py); ``guessed``
says which were. A phrase marked "=" in phrases.txt is one entry of its own,
written with underscores ("stand_by"), beside its words, so that a run-time grammar can allow it
whole and none of its fragments.
"""

from __future__ import annotations

import ast
from collections.abc import Iterable
from functools import cache
from pathlib import Path

from training.kokoro import load_pronunciations

PHONES = [
    "SIL",
    "SPN",
    "AA",
    "AE",
    "AH",
    "AO",
    "AW",
    "AY",
    "B",
    "CH",
    "D",
    "DH",
    "EH",
    "ER",
    "EY",
    "F",
    "G",
    "HH",
    "IH",
    "IY",
    "JH",
    "K",
    "L",
    "M",
    "N",
    "NG",
    "OW",
    "OY",
    "P",
    "R",
    "S",
    "SH",
    "T",
    "TH",
    "UH",
    "UW",
    "V",
    "W",
    "Y",
    "Z",
    "ZH",
]
INDEX = {phone: i for i, phone in enumerate(PHONES)}
SIL, SPN = 0, 1
FOLDER = Path(__file__).parent

ALPHABET = [
    "alfa",
    "alpha",
    "bravo",
    "charlie",
    "delta",
    "echo",
    "foxtrot",
    "golf",
    "hotel",
    "india",
    "juliett",
    "kilo",
    "lima",
    "mike",
    "november",
    "oscar",
    "papa",
    "quebec",
    "romeo",
    "sierra",
    "tango",
    "uniform",
    "victor",
    "whiskey",
    "xray",
    "yankee",
    "zulu",
]
DIGITS = ["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"]
ICAO_DIGITS = ["tree", "fife", "niner", "fower"]
TEENS = [
    "ten",
    "eleven",
    "twelve",
    "thirteen",
    "fourteen",
    "fifteen",
    "sixteen",
    "seventeen",
    "eighteen",
    "nineteen",
]
TENS = ["twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"]
FRACTIONS = [
    "half",
    "halves",
    "third",
    "thirds",
    "quarter",
    "quarters",
    "eighth",
    "eighths",
    "sixteenth",
    "sixteenths",
    "thirty-second",
    "thirty-seconds",
]
NUMBER_WORDS = [*DIGITS, *ICAO_DIGITS, *TEENS, *TENS, "hundred", "thousand", "point", "and", "oh",
                "decimal", "minus", "over", "first", "second", "third", "fourth", "fifth", "sixth",
                *(f for f in FRACTIONS if "-" not in f)]  # fmt: skip
# Whole entries beside those of phrases.txt, as voicecheck/reply/numbers.py has them: "eighth" alone
# would be a rival of "eight", and "one eighth" as one entry a shorter path than "one eight".
WHOLE_FRACTIONS = [
    f"{top}_{part}"
    for bottom, figure, one in ((8, "eight", "eighth"), (16, "sixteen", "sixteenth"))
    for number, top in enumerate([{8: "an", 16: "a"}[bottom], *DIGITS[1:], *TEENS][:bottom])
    for part in [one if number < 2 else f"{one}s", *([figure] if number else [])]
]
MONTHS = [
    "january",
    "february",
    "march",
    "april",
    "may",
    "june",
    "july",
    "august",
    "september",
    "october",
    "november",
    "december",
]


class UnknownWord(Exception):
    """A word without a pronunciation: add a line to training/pronunciations.txt."""


@cache
def package_table() -> dict[str, tuple[str, ...]]:
    """The table that the other engine uses (ARPAbet without stress, one string a variant)."""
    path = FOLDER.parent / "voicecheck/audio/pronunciations.py"
    tree = ast.parse(path.read_text(encoding="utf-8")) if path.exists() else ast.Module([], [])
    for node in tree.body:
        if isinstance(node, ast.AnnAssign) and getattr(node.target, "id", "") == "PRONUNCIATIONS":
            return ast.literal_eval(node.value)
    return {}


@cache
def dictionary() -> dict[str, list[list[str]]]:
    """Word to pronunciations (ARPAbet, with stress where the source has it)."""
    table = dict(load_pronunciations())
    for word, variants in package_table().items():
        table[word] = table.get(word, []) + [v.split() for v in variants]
    return table


def trade_words() -> list[str]:
    """The words of trade_words.txt."""
    lines = (FOLDER / "trade_words.txt").read_text(encoding="utf-8").splitlines()
    return [word for line in lines for word in line.split("#")[0].lower().split()]


@cache
def guessed() -> dict[str, tuple[str, ...]]:
    """Phones, guessed from the spelling, of the trade words that no dictionary has."""
    from training.letters import letters

    table = dictionary()
    return {word: letters().phones(word) for word in trade_words() if word not in table}


def pronunciations(word: str) -> list[tuple[str, ...]]:
    """Phones without stress of a word, a hyphenated word or an underscored phrase; all variants.

    A phrase has the first variant of each of its words, and for "the", "a" and "and" also the
    others (at most eight).
    """
    table = dictionary()
    if word not in table and word in trade_words():
        return [guessed()[word]]
    parts = [word] if word in table else word.lower().replace("-", "_").split("_")
    out: list[tuple[str, ...]] = [()]
    for part in parts:
        if part not in table:
            raise UnknownWord(f"no pronunciation for {part!r}: add it to pronunciations.txt")
        variants = [tuple(p.rstrip("012") for p in v) for v in table[part]]
        if len(parts) > 1 and part not in ("the", "a", "and", "eighth", "eighths"):
            variants = variants[:1]
        out = [o + v for o in out for v in dict.fromkeys(variants)][:8]
    return list(dict.fromkeys(out))


@cache
def phrases() -> tuple[list[list[str]], list[str]]:
    """(all phrases as word lists, the whole entries written with underscores)."""
    said, whole = [], []
    for line in (FOLDER / "phrases.txt").read_text(encoding="utf-8").splitlines():
        line = line.split("#")[0].strip()
        if line:
            said.append(line.lstrip("=").split())
            if line.startswith("="):
                whole.append("_".join(said[-1]))
    return said, whole + WHOLE_FRACTIONS


def common_words(number: int) -> list[str]:
    """The commonest English words that the dictionary has, most frequent first."""
    import wordfreq

    table = dictionary()
    ranked = wordfreq.top_n_list("en", 4 * number, wordlist="large")
    return [w for w in ranked if w in table and w.isascii() and w.replace("'", "").isalpha()][
        :number
    ]


def word_list(number: int = 32000, more: Iterable[str] = ()) -> list[str]:
    """Every word of the model, sorted: trade, numbers, letters, common words, whole phrases."""
    said, whole = phrases()
    words = {w for phrase in said for w in phrase}
    words |= {*ALPHABET, *NUMBER_WORDS, *MONTHS, *whole, *(w.lower() for w in more)}
    words |= {"thirty-second", "thirty-seconds", *package_table()}
    for line in (FOLDER / "pronunciations.txt").read_text(encoding="utf-8").splitlines():
        words |= set(line.split("#")[0].split()[:1])
    words |= set(trade_words())
    words |= set(common_words(number))
    for word in words:
        pronunciations(word)
    return sorted(words)
