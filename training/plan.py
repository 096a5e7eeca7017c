"""Write the plan of the synthesis: what is said, by which mixture of voices, how fast.

Rules of this file. It runs where the dictionaries are (no GPU needed) and writes two small files
that travel to the GPU: plan.npz and voices.npz. Held-out voices are in neither; that is asserted.
Random, but fixed by --seed.

    python -m training.plan --calls 100000 --out FOLDER
"""

from __future__ import annotations

import argparse
import json
import random
from pathlib import Path

import numpy as np

from training import kokoro, lexicon
from training.texts import Segment, Texts

SPACE, PAUSE = 255, 254  # in the phone array
FIRST_OF_PHONE, FIRST_OF_WORD, FIRST_OF_SEGMENT, TRADE, CONTRAST = 1, 2, 4, 8, 16
ROWS = 240  # style rows that are kept, by number of tokens
AWAY, STRAY = 5, 0.6
VOICES = 3 + AWAY
WHISPERED = 0.02
ENGLISH = ("af_", "am_", "bf_", "bm_")


def mixture(
    rng: random.Random, english: list[int], every: list[int]
) -> tuple[list[int], list[float]]:
    """VOICES voices and weights that sum to one; weights may be negative.

    One to three voices, two of them also beyond each other (a third of the way), and beside them
    a random step along the differences of AWAY others, so that no two calls have one speaker.
    """
    pool = english if rng.random() < 0.6 else every
    kind = rng.random()
    voices = [rng.choice(pool) for _ in range(3)]
    weights = [1.0, 0.0, 0.0]
    if kind >= 0.6:
        w = [rng.gammavariate(1.0, 1.0) for _ in range(3)]
        weights = [x / sum(w) for x in w]
    elif kind >= 0.15:
        a = rng.uniform(-0.35, 1.35)
        weights = [a, 1 - a, 0.0]
    size = abs(rng.gauss(0, STRAY))
    steps = [rng.gauss(0, size) for _ in range(AWAY)]
    mean = sum(steps) / AWAY
    voices += [rng.choice(every) for _ in range(AWAY)]
    return voices, [*weights, *(s - mean for s in steps)]


def encode(
    segments: list[Segment],
    rng: random.Random,
    vocab: dict[str, int],
    table: dict[str, list[list[str]]],
) -> tuple[list[int], list[int], list[int]]:
    """Token ids, phone of each token, flags of each token."""
    british, flap = rng.random() < 0.2, rng.random() < 0.7
    ids: list[int] = []
    phones: list[int] = []
    flags: list[int] = []

    def add(letter: str, phone: int, flag: int = 0) -> None:
        ids.append(vocab[letter])
        phones.append(phone)
        flags.append(flag)

    for n, (words, trade, contrast) in enumerate(segments):
        if n:
            add(rng.choice(".,.!?;"), PAUSE)
        for k, word in enumerate(words):
            if k and rng.random() < 0.08:
                add(",", PAUSE)
            if ids:
                add(" ", SPACE)
            spoken = kokoro.phone_tokens(rng.choice(table[word]), british=british, flap=flap)
            for j, (base, letters) in enumerate(spoken):
                for i, letter in enumerate(letters):
                    flag = TRADE * trade | CONTRAST * contrast
                    if i == 0:
                        flag |= FIRST_OF_PHONE
                        if j == 0:
                            flag |= FIRST_OF_WORD | (FIRST_OF_SEGMENT if k == 0 else 0)
                    add(letter, lexicon.INDEX[base], flag)
    if rng.random() < 0.7:
        add(rng.choice("..!?"), PAUSE)
    return ids, phones, flags


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--calls", type=int, default=100000)
    parser.add_argument("--words", type=int, default=32000)
    parser.add_argument("--seed", type=int, default=3)
    parser.add_argument("--out", type=Path, required=True)
    args = parser.parse_args()
    rng = random.Random(args.seed)
    folder = kokoro.assets_folder()
    vocab = json.loads((folder / "vocab.json").read_text("utf-8"))["vocab"]
    names = [v for v in kokoro.voice_names(folder) if v not in kokoro.HELD_OUT]
    assert not set(names) & kokoro.HELD_OUT
    styles = np.stack([kokoro.read_voice(folder, v)[:ROWS] for v in names]).astype(np.float16)
    every = list(range(len(names)))
    english = [i for i, v in enumerate(names) if v.startswith(ENGLISH)]
    texts = Texts(rng, lexicon.common_words(args.words))
    table = lexicon.dictionary()
    columns: dict[str, list] = {k: [] for k in ("ids", "phone", "flag", "voice", "weight")}
    offsets = [0]
    how: dict[str, list[float]] = {k: [] for k in ("speed", "pitch", "stretch", "lively")}
    while len(offsets) <= args.calls:
        ids, phones, flags = encode(texts.text(), rng, vocab, table)
        if len(ids) > 220:
            continue
        columns["ids"] += ids
        columns["phone"] += phones
        columns["flag"] += flags
        offsets.append(len(columns["ids"]))
        timbre = mixture(rng, english, every)
        prosody = timbre if rng.random() < 0.5 else mixture(rng, english, english)
        columns["voice"].append([timbre[0], prosody[0]])
        columns["weight"].append([timbre[1], prosody[1]])
        how["speed"].append(float(np.clip(np.exp(rng.gauss(0.03, 0.23)), 0.6, 1.75)))
        pitch = float(np.clip(np.exp(rng.gauss(0, 0.17)), 0.62, 1.6))
        how["pitch"].append(0.0 if rng.random() < WHISPERED else pitch)
        how["stretch"].append(rng.uniform(0, 0.3) if rng.random() < 0.7 else 0.0)
        how["lively"].append(float(np.clip(np.exp(rng.gauss(0, 0.45)), 0.2, 2.0)))
    args.out.mkdir(parents=True, exist_ok=True)
    np.savez_compressed(
        args.out / "plan.npz",
        ids=np.array(columns["ids"], np.uint8),
        phone=np.array(columns["phone"], np.uint8),
        flag=np.array(columns["flag"], np.uint8),
        offset=np.array(offsets, np.int64),
        voice=np.array(columns["voice"], np.uint8),
        weight=np.array(columns["weight"], np.float16),
        **{k: np.array(v, np.float16) for k, v in how.items()},
    )
    np.savez_compressed(args.out / "voices.npz", styles=styles, names=np.array(names))
    print(len(offsets) - 1, "calls,", offsets[-1], "tokens,", len(names), "voices")


if __name__ == "__main__":
    main()
