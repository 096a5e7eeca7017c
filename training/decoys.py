"""graph/decoys.txt: common words that stand for talk in a run-time grammar.

Rules of this file. A decoy is a common word of at least three phones. Beside it stand the words of
the model that sound like it (less than NEAREST weighted phones away, as ``voicecheck lint`` counts
them); where one of these may be said, the recogniser leaves the decoy out. Which words are decoys
was chosen by how common they are and by nothing else.
One line a decoy: the decoy, then its near words.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from pathlib import Path

import numpy as np

from training import lexicon
from voicecheck.authoring.sounds import KIND

COUNT = 700
LEAST_PHONES = 3
NEAREST = 2.0


def costs() -> np.ndarray:
    """(phones, phones): 0 alike, 0.5 of one kind, 1 otherwise."""
    phones = lexicon.PHONES
    kinds = np.array([KIND.get(p, p) for p in phones])
    table = np.where(kinds[:, None] == kinds[None], 0.5, 1.0)
    np.fill_diagonal(table, 0.0)
    return table


def distances(one: np.ndarray, many: np.ndarray, table: np.ndarray) -> np.ndarray:
    """Weighted edit distances of phones (n,) to each row of (words, m)."""
    row = np.tile(np.arange(many.shape[1] + 1.0), (len(many), 1))
    for n, phone in enumerate(one, 1):
        new = np.empty_like(row)
        new[:, 0] = n
        for m in range(many.shape[1]):
            change = row[:, m] + table[phone, many[:, m]]
            new[:, m + 1] = np.minimum(change, np.minimum(row[:, m + 1], new[:, m]) + 1)
        row = new
    return row[:, -1]


def near_words(words: Iterable[str], count: int = COUNT) -> dict[str, list[str]]:
    """Decoys, the commonest first, with the words among ``words`` that sound like them."""
    grouped: dict[int, list[tuple[tuple[int, ...], str]]] = defaultdict(list)
    for word in words:
        for phones in lexicon.pronunciations(word):
            grouped[len(phones)].append((tuple(lexicon.INDEX[p] for p in phones), word))
    arrays = {
        n: (np.array([p for p, _ in rows]), np.array([w for _, w in rows]))
        for n, rows in grouped.items()
    }
    table = costs()
    found: dict[str, list[str]] = {}
    for decoy in lexicon.common_words(4 * count):
        ways = [tuple(lexicon.INDEX[p] for p in way) for way in lexicon.pronunciations(decoy)]
        if min(map(len, ways)) < LEAST_PHONES:
            continue
        near: set[str] = {decoy}
        for way in ways:
            for size in range(len(way) - 1, len(way) + 2):
                if size in arrays:
                    phones, names = arrays[size]
                    near |= set(names[distances(np.array(way), phones, table) < NEAREST].tolist())
        found[decoy] = sorted(near)
        if len(found) == count:
            break
    return found


def write_decoys(path: Path, words: Iterable[str]) -> None:
    """Write graph/decoys.txt for a model with these words."""
    rows = near_words(words).items()
    path.write_text("".join(f"{decoy} {' '.join(near)}\n" for decoy, near in rows), "utf-8")
