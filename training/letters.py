"""Letters to sound: the phones of a word that no dictionary has, guessed from its spelling.

Rules of this file. Used only when the words of a model are made, never at run time, and only for
words that CMUdict and pronunciations.txt lack; what was guessed is listed by training/export.py and
stands in the model's card, so that a person can read it and write the right phones into
pronunciations.txt. Method: each letter is aligned to none, one or two phones (Viterbi training from
equal chances), and the pairs of a word are a sequence with an n-gram model (order 6, Witten-Bell
interpolation); the best sequence for a spelling is searched with a beam. The dictionary is the only
source. Tested on words held out by their digest: see the command for the errors.

    python -m training.letters                 # phone and word errors on words that were held out
    python -m training.letters gladhand pintle
"""

from __future__ import annotations

import argparse
import hashlib
import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping
from functools import cache

Phones = tuple[str, ...]
Pair = tuple[str, Phones]  # a letter and its phones
ORDER = 6
BEAM = 24
LETTERS = frozenset("abcdefghijklmnopqrstuvwxyz'")
_START: Pair = ("<", ())
_END: Pair = (">", ())
_NEVER = -1e9


def held_out(word: str) -> bool:
    """One word in twenty is for testing."""
    return hashlib.sha256(word.encode()).digest()[0] < 13


def aligned(word: str, phones: Phones, costs: Mapping[Pair, float]) -> list[Pair]:
    """The likeliest way to give each letter none to two phones; [] when there is none."""
    best = [[(_NEVER, 0)] * (len(phones) + 1) for _ in range(len(word) + 1)]
    best[0][0] = (0.0, 0)
    for n, letter in enumerate(word):
        for m in range(len(phones) + 1):
            score = best[n][m][0]
            if score == _NEVER:
                continue
            for count in range(min(2, len(phones) - m) + 1):
                new = score + costs.get((letter, phones[m : m + count]), -12.0)
                if new > best[n + 1][m + count][0]:
                    best[n + 1][m + count] = (new, count)
    if best[-1][-1][0] == _NEVER:
        return []
    pairs: list[Pair] = []
    m = len(phones)
    for n in range(len(word), 0, -1):
        count = best[n][m][1]
        pairs.append((word[n - 1], phones[m - count : m]))
        m -= count
    return pairs[::-1]


class Letters:
    """A letter-to-sound model; ``table`` holds words and their phones."""

    def __init__(self, table: Mapping[str, Phones], rounds: int = 5) -> None:
        words = {w: p for w, p in table.items() if LETTERS.issuperset(w)}
        counts: Counter[Pair] = Counter()
        for word, phones in words.items():  # begin with what lies near the diagonal
            for n, letter in enumerate(word):
                at = n * len(phones) // len(word)
                for k in (at - 1, at, at + 1):
                    if 0 <= k < len(phones):
                        counts[letter, phones[k : k + 1]] += 1
        sample = sorted(words)[:: max(1, len(words) // 12_000)]
        for _ in range(rounds):
            counts = self._counted(words, sample, self._costs(counts))
        costs = self._costs(counts)
        self._follow: dict[tuple[Pair, ...], Counter[Pair]] = defaultdict(Counter)
        choices: dict[str, Counter[Pair]] = defaultdict(Counter)
        for word, phones in words.items():
            pairs = aligned(word, phones, costs)
            row = [_START] * (ORDER - 1) + pairs + [_END]
            for n in range(ORDER - 1, len(row)):
                choices[row[n][0]][row[n]] += 1
                for size in range(ORDER):
                    self._follow[tuple(row[n - size : n])][row[n]] += 1
        self._choices = {
            k: [p for p, n in c.most_common(24) if n > 1] or list(c) for k, c in choices.items()
        }
        self._total = sum(self._follow[()].values())

    @staticmethod
    def _costs(counts: Counter[Pair]) -> dict[Pair, float]:
        total: Counter[str] = Counter()
        for (letter, _), n in counts.items():
            total[letter] += n
        # A silent letter and two phones for one letter are rarer than one for one.
        return {
            (letter, phones): math.log(n / total[letter]) for (letter, phones), n in counts.items()
        } | {(letter, ()): math.log(0.05) for letter in total if (letter, ()) not in counts}

    @staticmethod
    def _counted(
        words: Mapping[str, Phones], sample: Iterable[str], costs: Mapping[Pair, float]
    ) -> Counter[Pair]:
        counts: Counter[Pair] = Counter()
        for word in sample:
            counts.update(aligned(word, words[word], costs))
        return counts

    def _chance(self, history: tuple[Pair, ...], pair: Pair) -> float:
        """Witten-Bell: each shorter history has the weight of the number of different followers."""
        chance = 1e-6
        for size in range(len(history) + 1):
            seen = self._follow.get(history[len(history) - size :])
            if seen is None:
                break
            total, kinds = seen.total(), len(seen)
            chance = (seen[pair] + kinds * chance) / (total + kinds)
        return chance

    def phones(self, word: str) -> Phones:
        """The likeliest phones, never empty. ValueError for a word of other than a to z and '."""
        if not word or not LETTERS.issuperset(word):
            raise ValueError(f"{word!r} is not spelled with the letters a to z")
        row: list[tuple[float, tuple[Pair, ...]]] = [(0.0, (_START,) * (ORDER - 1))]
        for letter in (*word, ">"):
            options = [_END] if letter == ">" else self._choices[letter]
            grown = [
                (score + math.log(self._chance(path[1 - ORDER :], pair)), (*path, pair))
                for score, path in row
                for pair in options
            ]
            row = sorted(grown, key=lambda item: -item[0])[:BEAM]
        for _, path in row:
            if found := tuple(p for _, phones in path for p in phones):
                return found
        raise ValueError(f"no sound was found for {word!r}")


@cache
def letters(part: str = "all") -> Letters:
    """Trained on the dictionary; ``part`` "training" leaves the words for testing out."""
    from training import lexicon

    table = {
        word: tuple(p.rstrip("012") for p in ways[0])
        for word, ways in lexicon.dictionary().items()
        if part == "all" or not held_out(word)
    }
    return Letters(table)


def errors(model: Letters, words: Mapping[str, list[Phones]]) -> tuple[float, float]:
    """Shares of wrong phones and of wrong words, each against the nearest pronunciation."""
    wrong = edits = total = 0
    for word, ways in words.items():
        guess = model.phones(word)
        apart, length = min((_edits(guess, way), len(way)) for way in ways)
        wrong, edits, total = wrong + (apart > 0), edits + apart, total + length
    return edits / total, wrong / len(words)


def _edits(first: Phones, second: Phones) -> int:
    row = list(range(len(second) + 1))
    for n, phone in enumerate(first):
        diagonal, row[0] = row[0], n + 1
        for m, other in enumerate(second):
            diagonal, row[m + 1] = (
                row[m + 1],
                min(diagonal + (phone != other), row[m] + 1, row[m + 1] + 1),
            )
    return row[-1]


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description="phones of a spelling, or the errors of guessing")
    parser.add_argument("words", nargs="*")
    args = parser.parse_args()
    if args.words:
        for word in args.words:
            print(word, *letters().phones(word))
        return
    from training import lexicon

    table = lexicon.dictionary()
    common = lexicon.common_words(30_000)
    for name, words in (
        ("the 30,000 commonest", common),
        ("all", [w for w in table if LETTERS.issuperset(w)]),
    ):
        test = {
            w: [tuple(p.rstrip("012") for p in way) for way in table[w]]
            for w in words
            if held_out(w) and LETTERS.issuperset(w)
        }
        phone, word = errors(letters("training"), dict(list(test.items())[:3000]))
        print(f"{name}: {min(3000, len(test))} words held out; wrong phones {100 * phone:.1f} %, "
              f"wrong words {100 * word:.1f} %")  # fmt: skip


if __name__ == "__main__":
    main()
