"""Random things to say for training: replies of the trade, numbers, letters, common words.

Rules of this file. A text is a list of segments, each of which becomes one training utterance; one
call of the synthesiser speaks a whole text and is cut in the pauses between the segments. Common
words come in random order, so that the network learns phones and not sentences. A word that sounds
like a reply ("know", "ate", "won") is never a lone word of talk: alone it would teach that the
reply is garbage.
"""

from __future__ import annotations

import random
from typing import NamedTuple

from training import lexicon

# Words that one was taken for the other of; both members of each are said, alone and in replies.
# RESULTS.md names the tables that they come from.
NUMBER_PAIRS = [
    ("eight", "eighth"), ("fifty", "fifteen"), ("sixty", "sixteen"), ("ninety", "nineteen"),
    ("thirty", "thirteen"), ("forty", "fourteen"), ("seventy", "seventeen"),
    ("eighty", "eighteen"), ("eighty", "thirty"), ("six", "sixth"), ("six", "sixty"),
    ("sixteenth", "sixteen"), ("eighth", "eighths"), ("eighty", "eight"), ("zero", "three"),
    ("four", "forty"), ("nine", "niner"), ("five", "four"), ("one", "nine"), ("two", "three"),
    ("zero", "niner"), ("six", "five"),
]  # fmt: skip
WORD_PAIRS = [
    ("leak", "leaking"), ("done", "down"), ("high", "five"), ("latched", "oscar"),
    ("latched", "unlatched"), ("loose", "moved"), ("loose", "two"), ("moved", "held"),
    ("no", "low"), ("no", "go"), ("no", "zero"), ("chocked", "cracked"), ("chocked", "stop"),
    ("six", "repeat"), ("six", "victor"), ("three", "brief"), ("sixty", "cracked"),
    ("cracked", "left"), ("pass", "brief"), ("pass", "parked"), ("worn", "one"),
    ("kilo", "zero"), ("yankee", "thirty"), ("no", "none"), ("gap", "cut"), ("leak", "left"),
    ("high", "hinge"), ("tight", "high"), ("moved", "mended"), ("done", "dim"),
]  # fmt: skip
FRACTION_TOPS = ["one", "three", "five", "seven"]


class Segment(NamedTuple):
    """``trade``: words of the trade; ``contrast``: said because something sounds like it."""

    words: list[str]
    trade: bool
    contrast: bool = False


FUNCTION_WORDS = [
    "the",
    "a",
    "and",
    "of",
    "to",
    "in",
    "is",
    "it",
    "that",
    "for",
    "on",
    "with",
    "as",
    "at",
    "this",
    "but",
    "by",
    "from",
    "or",
    "an",
    "be",
    "are",
    "was",
    "we",
    "you",
    "they",
    "he",
    "she",
    "have",
    "has",
    "not",
    "will",
    "can",
    "could",
    "would",
    "there",
    "their",
    "our",
    "your",
    "my",
    "so",
    "if",
    "when",
    "then",
    "what",
    "which",
]
UNITS = [
    "psi",
    "pounds",
    "kilopascals",
    "inches",
    "millimetres",
    "feet",
    "percent",
    "degrees",
    "seconds",
    "minutes",
]


class Texts:
    """Source of random texts; ``words`` are the common words, most frequent first."""

    def __init__(self, rng: random.Random, words: list[str]) -> None:
        self.rng = rng
        self.words = words
        self.said = lexicon.phrases()[0]
        self.trade = sorted({w for p in self.said for w in p})
        self.core = [p for p in self.said if len(p) < 5]
        self.single = sorted({p[0] for p in self.said if len(p) == 1} | {
            *lexicon.DIGITS, *lexicon.TEENS, *lexicon.TENS, *lexicon.ALPHABET})  # fmt: skip
        replies = {*self.trade, *self.single, *lexicon.NUMBER_WORDS}
        sounds = {p for w in replies for p in lexicon.pronunciations(w)}
        said = {w: lexicon.pronunciations(w) for w in words}
        self.outside = [w for w in words if not sounds & set(said[w])]
        self.near = self.neighbours(said)

    def neighbours(self, said: dict[str, list[tuple[str, ...]]]) -> list[str]:
        """Common words that are one phone away from a lone reply of at least two phones."""
        holes: set[tuple[str, ...]] = set()
        for word in self.single:
            for p in lexicon.pronunciations(word):
                if 1 < len(p) < 7:
                    holes |= _with_holes(p)
        return [w for w in self.outside if any(holes & _with_holes(p) for p in said[w])]

    def number(self) -> list[str]:
        """A figure as drivers say it."""
        r = self.rng
        kind = r.random()
        if kind < 0.2:
            digits = lexicon.DIGITS + (lexicon.ICAO_DIGITS if r.random() < 0.3 else [])
            return [r.choice(digits) for _ in range(r.randint(2, 6))]
        if kind < 0.35:  # as a number plate is spelled
            return [r.choice(r.choice((lexicon.DIGITS, lexicon.ALPHABET)))
                    for _ in range(r.randint(3, 6))]  # fmt: skip
        if kind < 0.65:
            out = []
            if r.random() < 0.3:
                out += [r.choice(lexicon.DIGITS[1:]), "hundred"] + (
                    ["and"] if r.random() < 0.3 else []
                )
            if r.random() < 0.4:
                out.append(r.choice(lexicon.TEENS))
            else:
                out.append(r.choice(lexicon.TENS))
                if r.random() < 0.6:
                    out.append(r.choice(lexicon.DIGITS[1:]))
            return out
        if kind < 0.77:
            return [r.choice(lexicon.DIGITS), "point", r.choice(lexicon.DIGITS)]
        if kind < 0.95:
            top = r.choice(lexicon.DIGITS[1:])
            part = r.choice(
                [
                    "half",
                    "quarter",
                    "quarters",
                    "eighth",
                    "eighths",
                    "sixteenth",
                    "sixteenths",
                    "third",
                ]
            )
            out = [top, part] if r.random() < 0.7 else ["a", part]
            if r.random() < 0.2:
                out = [top, "thirty", r.choice(["second", "seconds"])]
            if r.random() < 0.5:
                out = [r.choice(lexicon.DIGITS[1:]), "and", *out]
            return out
        return [r.choice(lexicon.DIGITS[1:]), r.choice(["thousand", "hundred"])]

    def common(self) -> list[str]:
        """One to eight common words, half of the time mixed with function words."""
        r = self.rng
        count = r.choice((1, 1, 1, 1, 2, 2, 2, 3, 3, 4, 5, 6, 8))
        # rank drawn so that frequent words come more often, but the tail is well covered
        pool = self.outside if count == 1 else self.words
        picks = [pool[int(len(pool) * r.random() ** 1.8)] for _ in range(count)]
        if count > 1 and r.random() < 0.5:
            mixed = []
            for word in picks:
                if r.random() < 0.6:
                    mixed.append(r.choice(FUNCTION_WORDS))
                mixed.append(word)
            return mixed
        return picks

    def contrast(self) -> list[str]:
        """One of two words that sound alike, beside the other or in a reply; a figure also alone.

        A word alone that differs by one sound from talk teaches to take talk (RESULTS.md).
        """
        r = self.rng
        numbers = r.random() < 0.7
        pair = r.choice(NUMBER_PAIRS if numbers else WORD_PAIRS)
        word = r.choice(pair)
        kind = r.random()
        if numbers and kind < 0.3:
            return [word]
        if kind < 0.4:
            return r.sample(pair, 2)
        if not numbers:
            other = list(r.choice(self.core))
            return r.choice(([*other, word], [word, *other], ["not", word], [word, word]))
        if word in ("eighth", "sixteenth", "eighths"):
            top = "one" if word[-1] != "s" and r.random() < 0.7 else r.choice(FRACTION_TOPS)
            whole = [r.choice(lexicon.DIGITS[1:]), "and"] if r.random() < 0.4 else []
            return [*whole, top, word, *([r.choice(UNITS)] if r.random() < 0.3 else [])]
        if word == "eight" and r.random() < 0.3:
            return [r.choice(FRACTION_TOPS), word]
        before = r.choice(([], [], ["one", "hundred"], [r.choice(lexicon.DIGITS)],
                           [r.choice(lexicon.ALPHABET)]))  # fmt: skip
        after = r.choice(([], [r.choice(UNITS)], [r.choice(lexicon.DIGITS)],
                          ["point", r.choice(lexicon.DIGITS)]))  # fmt: skip
        return [*before, word, *after]

    def segment(self) -> Segment:
        """A reply or talk."""
        r = self.rng
        kind = r.random()
        if kind < 0.12:
            return Segment([r.choice(self.single)], True)
        if kind < 0.25:
            return Segment(list(r.choice(self.core)), True)
        if kind < 0.29:
            return Segment([*r.choice(self.said), *r.choice(self.said)], True)
        if kind < 0.31:
            return Segment([r.choice(self.trade) for _ in range(r.randint(1, 4))], True)
        if kind < 0.42:
            out = self.number()
            if r.random() < 0.4:
                out.append(r.choice(UNITS))
            return Segment(out, True)
        if kind < 0.46:
            pool = lexicon.ALPHABET + (lexicon.DIGITS if r.random() < 0.5 else [])
            return Segment([r.choice(pool) for _ in range(r.randint(1, 5))], True)
        if kind < 0.56:
            return Segment(self.contrast(), True, True)
        if kind < 0.6:
            return Segment([r.choice(self.near)], False, True)
        return Segment(self.common(), False)

    def text(self) -> list[Segment]:
        """One to five segments: a lone word is spoken otherwise than one in a row."""
        return [self.segment() for _ in range(self.rng.choice((1, 1, 2, 3, 3, 4, 4, 5)))]


def _with_holes(phones: tuple[str, ...]) -> set[tuple[str, ...]]:
    """The phones with one left out: two words that share one are at most one phone apart."""
    spots = range(len(phones))
    return {(*phones[:k], "", *phones[k + 1 :]) for k in spots} | {
        (*phones[:k], *phones[k + 1 :]) for k in spots
    }
