"""A yard whose devices can be broken one by one: each on a sound server of its own.

A device is a private PulseAudio with one null sink (tests/audio/sound_card.sh). What is played into
the microphone's sink is what the program hears; what comes out of the loudspeaker's is recorded.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
import threading
import time
from pathlib import Path

import numpy as np
import soundfile

from tests.run.yard import CARD, Program
from voicecheck.audio.noise import to_samples
from voicecheck.audio.ports import RATE
from voicecheck.journal.file import read

ROOT = Path(__file__).parents[2]
HAZARDS = """
hazards:
  crank: {text: Cranking the landing gear, needs: [], safe: Both hands off.}
"""

CHECKLIST = """
id: yard
edition: "1"
title: Three steps of a coupling
places: {legs: Legs, rear: Rear}
facts:
  doors locked: {text: The doors are locked., lasts: lasting}
steps:
  - id: crank
    place: legs
    item: Legs
    hazard: crank
    ask: Locked, or not?
    source: [common-practice]
    answers:
      closed and locked: {gives: [doors locked]}
      not locked: {bad: true}
  - id: brakes
    place: rear
    item: Trailer held
    hazard: crank
    needs: [doors locked]
    confirm: true
    ask: What holds the trailer, spring brakes or chocks?
    source: [common-practice]
    answers:
      spring brakes: {}
      chocks: {}
"""
ASKED = "Locked, or not?"
QUESTION = f"Legs. {ASKED}"
SAFE = "Both hands off."


def put_list(folder: Path) -> Path:
    """The checklist, with its hazards beside it."""
    (folder / "hazards.yaml").write_text(HAZARDS)
    file = folder / "yard.yaml"
    file.write_text(CHECKLIST)
    return file


class Server:
    """One device: a sound server with one null sink, ``card``, and its monitor."""

    def __init__(self, *, heard: bool = False) -> None:
        self.folder = Path(tempfile.mkdtemp(prefix="vc-"))
        self.heard = heard
        self.ear: subprocess.Popen[bytes] | None = None
        self.start()

    def start(self) -> None:
        out = subprocess.run(
            ["sh", str(CARD), "start", str(self.folder)],
            check=True, stdout=subprocess.PIPE, text=True, timeout=60,
        ).stdout  # fmt: skip
        lines = dict(line.split("=", 1) for line in out.splitlines() if "=" in line)
        self.env = {**os.environ, **lines}
        self.loud_at = 0.0
        if not self.heard:
            return
        self.ear = subprocess.Popen(
            ["parec", "--device=card.monitor", "--format=s16le", "--rate=16000", "--channels=1",
             "--latency-msec=60"], env=self.env, stdout=subprocess.PIPE,
        )  # fmt: skip
        threading.Thread(target=self._listen, args=(self.ear,), daemon=True).start()

    def _listen(self, ear: subprocess.Popen[bytes]) -> None:
        """Remember when something was last heard from the device."""
        assert ear.stdout is not None
        while block := ear.stdout.read(1024):
            if any(block):
                self.loud_at = time.monotonic()

    def end(self) -> None:
        """The device is gone."""
        subprocess.run(["sh", str(CARD), "stop", str(self.folder)], check=False, timeout=60)
        self.told("info", most=40, want=False)

    def told(self, *words: str, most: int = 1, want: bool = True) -> str:
        """``pactl`` with these words, until it succeeds (or fails, ``want`` False)."""
        for _ in range(most):
            done = subprocess.run(
                ["pactl", *words], env=self.env, capture_output=True, text=True, timeout=30
            )
            if (done.returncode == 0) is want:
                return done.stdout
            subprocess.run(["sleep", "0.1"], check=True)
        raise AssertionError(f"pactl {words}: {done.stderr}")

    def play(self, samples: bytes, sink: str = "card") -> subprocess.Popen[bytes]:
        """Begin to play 16 kHz mono int16 samples into the device."""
        handle, name = tempfile.mkstemp(suffix=".wav", dir=self.folder)
        os.close(handle)
        soundfile.write(name, np.frombuffer(samples, dtype="<i2"), RATE, subtype="PCM_16")
        return subprocess.Popen(["paplay", f"--device={sink}", name], env=self.env)

    def close(self) -> None:
        if self.ear is not None:
            self.ear.kill()
            self.ear.wait(30)
        subprocess.run(["sh", str(CARD), "stop", str(self.folder)], check=False, timeout=60)
        shutil.rmtree(self.folder, ignore_errors=True)


class Yard:
    """A microphone with a little noise in it, a loudspeaker, and the program. A context manager."""

    def __enter__(self) -> Yard:
        self.place = Path(tempfile.mkdtemp(prefix="vc-"))
        self.microphone, self.loudspeaker = Server(), Server(heard=True)
        card = self.place / "asound.conf"
        card.write_text(
            f"pcm.mic {{ type pulse server unix:{self.microphone.folder}/native }}\n"
            f"pcm.spk {{ type pulse server unix:{self.loudspeaker.folder}/native }}\n"
            "pcm.!default { type asym capture.pcm mic playback.pcm spk\n"
            "  hint { show on description both } }\n"
        )
        folders = {f"XDG_{k}_HOME": str(self.place / k) for k in ("CONFIG", "DATA", "CACHE")}
        self.env = {**os.environ, **folders,
                    "ALSA_CONFIG_PATH": f"/usr/share/alsa/alsa.conf:{card}"}  # fmt: skip
        self.noise()
        self.list = put_list(self.place)
        self.program: Program | None = None
        return self

    def __exit__(self, *_: object) -> None:
        if self.program is not None:
            self.program.process.kill()
            self.program.process.wait(30)
        self.floor.kill()
        self.floor.wait(30)
        self.microphone.close()
        self.loudspeaker.close()
        shutil.rmtree(self.place, ignore_errors=True)

    def patch(self, code: str) -> Path:
        """Run this at the start of each Python process of the program. Its file ``FLAG``."""
        flag, folder = self.place / "flag", self.place / "patch"
        folder.mkdir()
        (folder / "sitecustomize.py").write_text(f"FLAG = {str(flag)!r}\n{code}")
        self.env["PYTHONPATH"] = f"{folder}{os.pathsep}{ROOT}"
        return flag

    def kinds(self) -> list[str]:
        """The kinds of the records so far."""
        return [record.kind for _, record in read(self.folder).records]

    def until_kept(self, kind: str, most_s: float = 120.0) -> None:
        """Wait for a record of this kind."""
        until = time.monotonic() + most_s
        while kind not in self.kinds():
            assert time.monotonic() < until, (kind, self.kinds())
            time.sleep(0.2)

    def noise(self, sink: str = "card") -> None:
        """A real microphone is never at exact zero; the program takes that for a dead headset."""
        rng = np.random.default_rng(1)
        self.floor = self.microphone.play(to_samples(rng.standard_normal(RATE * 300), -62.0), sink)
        for _ in range(100):  # until it is there
            listed = self.microphone.told("list", "short", "sinks").splitlines()
            if any(sink in line and "RUNNING" in line for line in listed):
                return
            time.sleep(0.1)
        raise AssertionError("no noise comes")

    def silence(self) -> None:
        self.floor.kill()
        self.floor.wait(30)

    def run(self, *words: str) -> Program:
        self.program = Program(
            self, str(self.list), "--into", str(self.place / "out"), "--engine", "pocketsphinx",
            *words,
        )  # fmt: skip
        return self.program

    @property
    def folder(self) -> Path:
        (found,) = (self.place / "out").iterdir()
        return found

    def say(self, words: str, gain: float = 1.0, sink: str = "card") -> None:
        """A recorded reply, said to its end."""
        self.microphone.play(recorded(words, gain), sink).wait(60)

    def answer(self, words: str, sink: str = "card") -> None:
        """Say it when nothing is being said, and affirm what is read back."""
        assert self.program is not None
        self.quiet()
        self.say(words, sink=sink)
        self.program.until(f"I heard: {words}.")
        self.quiet()
        self.say("affirm", sink=sink)

    def quiet(self, most_s: float = 120.0) -> None:
        """Wait until what was printed last was heard, and then nothing for a second."""
        assert self.program is not None
        until = time.monotonic() + most_s
        while (
            self.loudspeaker.loud_at < self.program.prompted_at
            or time.monotonic() - self.loudspeaker.loud_at < 1.0
        ):
            assert time.monotonic() < until, "the program talks on and on, or not at all"
            self.program.hear(0.1)


def recorded(words: str, gain: float = 1.0) -> bytes:
    """A clip of the drive "all-good"."""
    clip = ROOT / "audio_fixtures/all-good/clips" / f"{words.replace(' ', '-')}-1.flac"
    values, rate = soundfile.read(clip, dtype="int16")
    assert rate == RATE
    return bytes(np.clip(values * gain, -32768, 32767).astype("<i2").tobytes())
