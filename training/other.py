"""A little speech of older synthesisers: flite, festival and espeak-ng (Debian packages).

Rules of this file. These voices have no phone times, so their utterances train LF-MMI only. They
are spoken one segment at a time, cut to the sound, and stored as 8-bit mu-law at 16 kHz.
Debian: flite, espeak-ng, festival, festvox-kallpc16k.

    python -m training.other --minutes 40 --out FOLDER/other.npz
"""

from __future__ import annotations

import argparse
import math
import random
import subprocess
import tempfile
import wave
from pathlib import Path

import numpy as np

from training import lexicon
from training.synthesise import MAX_PHONES
from training.texts import Texts

RATE = 16000
FLITE = ("awb", "rms", "slt", "kal16")
ESPEAK = [f"{a}+{v}" for a in ("en-us", "en-gb", "en-gb-scotland", "en-029")
          for v in ("m1 m2 m3 m4 m5 m6 m7 f1 f2 f3 f4 f5".split())]  # fmt: skip  # noqa: SIM905


def command(rng: random.Random, text: str, out: str) -> list[str]:
    """A random voice at a random speed."""
    kind = rng.random()
    if kind < 0.6:
        stretch = f"duration_stretch={math.exp(rng.gauss(0, 0.15)):.2f}"
        return ["flite", "-voice", rng.choice(FLITE), "--setf", stretch, "-t", text, "-o", out]
    if kind < 0.7:
        return ["text2wave", "-eval", "(voice_kal_diphone)", "-o", out]
    speed, pitch = int(rng.uniform(110, 200)), int(rng.uniform(20, 80))
    return [
        "espeak-ng",
        "-v",
        rng.choice(ESPEAK),
        "-s",
        str(speed),
        "-p",
        str(pitch),
        "-w",
        out,
        text,
    ]


def read(path: str) -> np.ndarray:
    """Samples at 16 kHz, float, from mono int16 at any rate."""
    with wave.open(path) as f:
        rate, x = f.getframerate(), np.frombuffer(f.readframes(f.getnframes()), "<i2")
    x = x.astype(np.float64)
    if rate == RATE or len(x) == 0:
        return x
    n = int(len(x) * RATE / rate)
    spectrum = np.fft.rfft(x, 1 << (len(x) + 1000).bit_length())
    size = round(2 * (len(spectrum) - 1) * RATE / rate)
    return np.fft.irfft(spectrum[: size // 2 + 1], size)[:n] * RATE / rate


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=40)
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--out", type=Path, required=True)
    args = parser.parse_args()
    rng = random.Random(args.seed)
    texts = Texts(rng, lexicon.common_words(24000))
    rows: dict[str, list] = {
        k: [] for k in ("start", "length", "count", "phone", "word", "trade", "contrast")
    }
    pieces, total = [], 0
    with tempfile.TemporaryDirectory() as temp:
        out = f"{temp}/x.wav"
        while total < args.minutes * 60 * RATE:
            words, trade, contrast = texts.segment()
            phones, word = [], []
            for w, name in enumerate(words):
                said = lexicon.pronunciations(name)[0]
                phones += [lexicon.INDEX[p] for p in said]
                word += [w] * len(said)
            text = " ".join(words)
            done = subprocess.run(command(rng, text, out), input=text.encode(), capture_output=True)
            if done.returncode or len(phones) > MAX_PHONES:
                continue
            x = read(out)
            loud = (
                np.flatnonzero(np.abs(x) > 0.02 * np.abs(x).max()) if len(x) else np.zeros(0, int)
            )
            if len(loud) == 0:
                continue
            x = x[max(0, loud[0] - 1600) : loud[-1] + 1600]
            if not 0.03 * RATE * len(phones) < len(x) < 6 * RATE:
                continue
            x = x / np.abs(x).max()
            code = np.sign(x) * np.log1p(255 * np.abs(x)) / math.log(256) * 127
            pieces.append((np.round(code) + 128).astype(np.uint8))
            for key, value in (("start", total), ("length", len(x)), ("count", len(phones)),
                               ("phone", phones), ("word", word), ("trade", trade),
                               ("contrast", contrast)):  # fmt: skip
                rows[key].append(value)
            total += len(x)
    padded = {k: np.zeros((len(pieces), MAX_PHONES), np.uint8) for k in ("phone", "word")}
    for key, table in padded.items():
        for i, row in enumerate(rows[key]):
            table[i, : len(row)] = row
    nothing = np.zeros((len(pieces), MAX_PHONES), np.int32)
    np.savez(args.out, mulaw=np.concatenate(pieces), start=np.array(rows["start"], np.int64),
             length=np.array(rows["length"], np.int32), count=np.array(rows["count"], np.int32),
             trade=np.array(rows["trade"]), contrast=np.array(rows["contrast"]),
             begin=nothing, end=nothing, **padded)  # fmt: skip
    print(len(pieces), "utterances", total / RATE / 60, "minutes")


if __name__ == "__main__":
    main()
