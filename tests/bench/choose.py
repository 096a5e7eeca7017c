"""Choose among networks, and costs of [unk], by the calibration voices alone.

Rules of this file. The engine alone, as in training/bench.py, with its 33 phrases and its rules of
counting; but every voice, word and noise is one of tests/bench/spoken.py's "calibration", so
nothing that a table reports is used up by choosing. Each voice says the phrases, and as many short
words as other ones that are in no phrase; clean once, at 10 and 5 dB twice each.

    python -m tests.bench.choose --cache FOLDER --models FOLDER... [--part 0 --parts 2]
"""

from __future__ import annotations

import argparse
import time
from pathlib import Path

import numpy as np
import soundfile

from tests.bench import spoken
from training import bench
from training import bench_items as b

WORDS = 24  # a voice, short and longer ones each
SHORT = 4
SEED = 12
LEVELS = (("clean", 99, 1), ("10 dB", 10, 2), ("5 dB", 5, 2))  # name, dB, times each


def said(number: int) -> list[str]:
    """Phrases and other words for the ``number``-th voice."""
    listed, draw = {w for p in b.COMMON for w in p.split()}, f"choose {number}"
    words = [w for w in spoken.single_words("calibration") if w not in listed]
    short = [w for w in words if len(w) <= SHORT]
    longer = [w for w in words if len(w) > SHORT]
    return [*b.COMMON, *spoken.some(draw, short, WORDS), *spoken.some(draw, longer, WORDS)]


def items(cache: Path, part: int, parts: int) -> list[b.Item]:
    """Spoken into the cache where they are not yet."""
    speaker, found = spoken.Speaker(cache), []
    for number, voice in enumerate(spoken.calibration_voices()):
        if number % parts != part:
            continue
        for words in said(number):
            sound = np.asarray(soundfile.read(speaker.speak(voice, words))[0], np.float64)
            phrase, kind = (words, "word") if words in b.COMMON else ("", "talk")
            found.append(b.Item(phrase, sound, voice.name, kind))
    return found


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cache", type=Path, required=True)
    parser.add_argument("--models", type=Path, nargs="*", default=[])
    parser.add_argument("--part", type=int, default=0)
    parser.add_argument("--parts", type=int, default=1)
    args = parser.parse_args()
    began = time.time()
    every = items(args.cache, args.part, args.parts)
    noises = {
        kind: np.asarray(spoken.noise("calibration", kind), np.float64) for kind in spoken.NOISES
    }
    engines = {"/".join(f.parts[-2:]): bench.vosk_engine(f) for f in args.models}
    print("| right / wrong / dangerous (count) | n | " + " | ".join(engines) + " |")
    print("|---|---|" + "---|" * len(engines))
    for kind, title in (("word", "phrases"), ("talk", "other words (wrong = accepted)")):
        own = [item for item in every if item.kind == kind]
        for level, snr, times in LEVELS:
            bed = None if level == "clean" else noises
            scores = bench.run(own, list(b.COMMON), engines, bed, snr, SEED, times)
            n = next(iter(scores.values())).n
            cells = " | ".join(score.text() for score in scores.values())
            print(f"| {title}, {level} | {n} | {cells} |", flush=True)
    print(f"\n{time.strftime('%Y-%m-%d')}, {time.time() - began:.0f} s")


if __name__ == "__main__":
    main()
