"""How far apart two phrases sound: edit distance over their phones.

Pronunciations come from the CMU dictionary inside the pocketsphinx wheel and from
voicecheck/audio/pronunciations.py. Every pair of pronunciations is compared and the nearest
counts. Weights: the same phone 0; two phones of one kind (two vowels, voiced and unvoiced of one
place, two nasals) 0.5; any other pair, or a phone too many, 1. The kinds follow the usual chart of
English consonants (place and manner); the weights are common practice, no source.
"""

from __future__ import annotations

from functools import lru_cache
from itertools import product
from pathlib import Path

from voicecheck.audio.pronunciations import PRONUNCIATIONS
from voicecheck.errors import RecogniserMissing

VOWELS = frozenset(
    ("AA", "AE", "AH", "AO", "AW", "AY", "EH", "ER", "EY", "IH", "IY", "OW", "OY", "UH", "UW")
)
_KINDS = ("P B", "T D", "K G", "F V", "TH DH", "S Z", "SH ZH", "CH JH", "M N NG", "L R", "W Y HH")
KIND = {phone: kind for kind in _KINDS for phone in kind.split()} | dict.fromkeys(VOWELS, "vowel")
MOST_WAYS = 8


@lru_cache(maxsize=1)
def dictionary() -> dict[str, tuple[tuple[str, ...], ...]]:
    """Word to its pronunciations. RecogniserMissing when pocketsphinx is not installed."""
    try:
        import pocketsphinx
    except (ImportError, OSError) as error:
        raise RecogniserMissing(
            f"pocketsphinx cannot be loaded: {error}.", "Install it: pip install pocketsphinx"
        ) from error
    file = Path(pocketsphinx.get_model_path()) / "en-us" / "cmudict-en-us.dict"
    words: dict[str, list[tuple[str, ...]]] = {}
    for line in file.read_text(encoding="utf-8").splitlines():
        word, _, phones = line.partition(" ")
        words.setdefault(word.partition("(")[0], []).append(tuple(phones.split()))
    for word, ways in PRONUNCIATIONS.items():
        words[word] = [tuple(way.split()) for way in ways] + words.get(word, [])
    return {word: tuple(dict.fromkeys(ways)) for word, ways in words.items()}


def phones_of(phrase: str) -> tuple[tuple[str, ...], ...]:
    """The ways to say a phrase, at most eight; empty when a word is not in the dictionary."""
    ways = [dictionary().get(word, ())[:3] for word in phrase.split()]
    if not all(ways):
        return ()
    joined = (tuple(p for part in choice for p in part) for choice in product(*ways))
    return tuple(dict.fromkeys(way for way, _ in zip(joined, range(MOST_WAYS), strict=False)))


def distance(first: str, second: str) -> float | None:
    """Weighted phones between two phrases, the nearest ways to say them; None when unknown."""
    pairs = list(product(phones_of(first), phones_of(second)))
    return min((_between(a, b) for a, b in pairs), default=None)


@lru_cache(maxsize=200_000)
def _between(first: tuple[str, ...], second: tuple[str, ...]) -> float:
    row = [float(n) for n in range(len(second) + 1)]
    for n, phone in enumerate(first):
        diagonal, row[0] = row[0], float(n + 1)
        for m, other in enumerate(second):
            change = diagonal + _cost(phone, other)
            diagonal = row[m + 1]
            row[m + 1] = min(change, row[m] + 1, diagonal + 1)
    return row[-1]


def _cost(first: str, second: str) -> float:
    if first == second:
        return 0.0
    kind = KIND.get(first)
    return 0.5 if kind is not None and kind == KIND.get(second) else 1.0
