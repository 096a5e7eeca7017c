"""Random things to say for training: replies of the trade, numbers, letters, common words.

Rules of this file. A text is a list of segments, each of which becomes one training utterance; one
call of the synthesiser speaks a whole text and is cut in the pauses between the segments. Common
words come in random order, so that the network learns phones and not sentences.
"""

from __future__ import annotations

import random

from training import lexicon

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

    def number(self) -> list[str]:
        """A figure as drivers say it."""
        r = self.rng
        kind = r.random()
        if kind < 0.35:
            digits = lexicon.DIGITS + (lexicon.ICAO_DIGITS if r.random() < 0.3 else [])
            return [r.choice(digits) for _ in range(r.randint(1, 5))]
        if kind < 0.6:
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
        if kind < 0.75:
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
        count = r.choice((1, 1, 1, 2, 2, 3, 4, 5, 6, 8))
        # rank drawn so that frequent words come more often, but the tail is well covered
        picks = [self.words[int(len(self.words) * r.random() ** 1.8)] for _ in range(count)]
        if r.random() < 0.5:
            mixed = []
            for word in picks:
                if r.random() < 0.6:
                    mixed.append(r.choice(FUNCTION_WORDS))
                mixed.append(word)
            return mixed
        return picks

    def segment(self) -> tuple[list[str], bool]:
        """(words, True where they belong to the trade)."""
        r = self.rng
        kind = r.random()
        if kind < 0.16:
            return [r.choice(self.single)], True
        if kind < 0.32:
            return list(r.choice(self.core)), True
        if kind < 0.38:
            out = [*r.choice(self.said), *r.choice(self.said)]
            return out, True
        if kind < 0.41:
            return [r.choice(self.trade) for _ in range(r.randint(1, 4))], True
        if kind < 0.50:
            out = self.number()
            if r.random() < 0.4:
                out.append(r.choice(UNITS))
            return out, True
        if kind < 0.55:
            pool = lexicon.ALPHABET + (lexicon.DIGITS if r.random() < 0.5 else [])
            return [r.choice(pool) for _ in range(r.randint(1, 5))], True
        return self.common(), False

    def text(self) -> list[tuple[list[str], bool]]:
        """One to five segments: a lone word is spoken otherwise than one in a row."""
        return [self.segment() for _ in range(self.rng.choice((1, 1, 2, 3, 3, 4, 4, 5)))]
