"""What the cost of entering [unk] buys, on training voices in made-up noise (no test material).

Rules of this file. Stored training speech of one to three words, 0 to 25 dB of every kind of
made-up noise. Once the words are a phrase of the list (right / lost), once they are not (accepted).
The cost that ships is chosen from this table alone.

    python -m training.unknown_cost --data FOLDER --models FOLDER...
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
import torch

from training import bench_items as b
from training import lexicon
from training.bench import vosk_engine
from training.noise import Maker


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--models", type=Path, nargs="+", required=True)
    parser.add_argument("--count", type=int, default=150)
    args = parser.parse_args()
    table, pcm = np.load(args.data / "speech-0.npz"), np.load(args.data / "pcm-0.npy")
    by_phones: dict[tuple[str, ...], str] = {}
    for word in lexicon.common_words(24000) + lexicon.word_list(0):
        for p in lexicon.pronunciations(word):
            by_phones.setdefault(p, word)
    items = []
    for i in range(len(table["start"])):
        n = table["count"][i]
        phones, word = [lexicon.PHONES[p] for p in table["phone"][i][:n]], table["word"][i][:n]
        said = [
            by_phones.get(tuple(p for p, k in zip(phones, word, strict=True) if k == w), "")
            for w in range(int(word[-1]) + 1)
        ]
        if len(said) > 3 or not all(said):
            continue
        x = pcm[table["start"][i] : table["start"][i] + table["length"][i]] / 32768
        items.append((" ".join(said), x))
        if len(items) == args.count:
            break
    speech = torch.tensor(pcm.astype(np.float32))

    def running(n: int, size: int) -> torch.Tensor:
        at = torch.randint(0, len(speech) - size, (n,), generator=torch.Generator().manual_seed(3))
        return torch.stack([speech[k : k + size] for k in at.tolist()])

    bank, names = Maker("cpu", 55, running, 6).bank(1)
    keep = [k for k, n in enumerate(names) if n not in Maker.TALK]
    print(
        "| model | in the list: right | lost | wrong | not in it: accepted |\n|---|---|---|---|---|"
    )
    for folder in args.models:
        engine, rng = vosk_engine(folder), np.random.default_rng(8)
        right = lost = wrong = accepted = 0
        for said, x in items:
            noise = bank[keep[rng.integers(len(keep))]].numpy().astype(np.float64)
            samples = b.mixed(x, noise, rng.uniform(0, 25), rng)
            others = [p for p in b.COMMON if p != said]
            with_it = [*others, said]
            heard = engine(samples, with_it)
            right += heard == said
            wrong += heard != said and heard in with_it
            lost += heard not in with_it
            accepted += engine(samples, others) in others
        n = len(items)
        print(f"| {folder.name} | {right / n:.3f} | {lost / n:.3f} | {wrong / n:.3f}"
              f" | {accepted / n:.3f} |", flush=True)  # fmt: skip


if __name__ == "__main__":
    main()
