"""A yard without hardware: the real program, a virtual sound card, and a recorded driver.

The driver hears what a person would: the prompts (as the program prints them, when it speaks
them) and how long they take; his replies are played into the virtual microphone.
"""

from __future__ import annotations

import os
import queue
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path
from typing import Protocol, Self

import numpy as np
import soundfile

from voicecheck.audio.noise import diesel, to_samples
from voicecheck.audio.ports import RATE
from voicecheck.audio.voice import SynthesiserVoice
from voicecheck.run.driver import RecordedDriver, load_drive
from voicecheck.session.sentences import NOT_UNDERSTOOD

PAUSE_S = 0.5  # after a sound; pauses within a prompt are shorter, or known from its length
LATE_S = 20.0  # a prompt that nobody hears for so long is not waited for
PATIENCE_S = 8.0
CARD = Path(__file__).parents[1] / "audio" / "sound_card.sh"


class Card:
    """A private PulseAudio with a loudspeaker and a microphone. Use as a context manager.

    ``loud_at``: when something was last heard from the loudspeaker (monotonic; 0 never).
    """

    def __enter__(self) -> Self:
        self.folder = Path(tempfile.mkdtemp(prefix="card"))
        out = subprocess.run(
            ["sh", str(CARD), "start", str(self.folder), "duplex"],
            check=True, capture_output=True, text=True, timeout=60,
        ).stdout  # fmt: skip
        lines = [line for line in out.splitlines() if "=" in line]
        self.env = {**os.environ, **dict(line.split("=", 1) for line in lines)}
        # a real microphone is never at exact zero; the program takes that for a dead headset
        floor = to_samples(np.random.default_rng(1).standard_normal(RATE * 30), -62.0)
        self._file("floor.wav", floor * 60)
        self.floor = subprocess.Popen(
            ["paplay", "--device=mic", str(self.folder / "floor.wav")], env=self.env
        )
        self.loud_at = 0.0
        self.ear = subprocess.Popen(
            ["parec", "--device=card.monitor", "--format=s16le", "--rate=16000", "--channels=1",
             "--latency-msec=20"], env=self.env, stdout=subprocess.PIPE,
        )  # fmt: skip
        threading.Thread(target=self._listen, daemon=True).start()
        return self

    def _listen(self) -> None:
        assert self.ear.stdout is not None
        while block := self.ear.stdout.read(320):
            if any(block):
                self.loud_at = time.monotonic()

    def _file(self, name: str, samples: bytes) -> Path:
        file = self.folder / name
        soundfile.write(file, np.frombuffer(samples, dtype="<i2"), RATE, subtype="PCM_16")
        return file

    def __exit__(self, *_: object) -> None:
        for process in (self.floor, self.ear):
            process.kill()
            process.wait(30)
        subprocess.run(["sh", str(CARD), "stop", str(self.folder)], check=False, timeout=60)
        shutil.rmtree(self.folder, ignore_errors=True)

    def speak(self, samples: bytes) -> None:
        """Play 16 kHz mono int16 samples into the microphone; returns when they were played."""
        file = self._file("reply.wav", samples)
        subprocess.run(["paplay", "--device=mic", str(file)], check=True, env=self.env, timeout=60)


class Surroundings(Protocol):
    """What a program needs to be told of a card."""

    env: dict[str, str]


class Program:
    """``voicecheck run … --microphone`` as a process, its lines as they come."""

    def __init__(self, card: Surroundings, *arguments: str, command: str = "run") -> None:
        words = [sys.executable, "-m", "voicecheck.cli", command, *arguments, "--microphone"]
        self.process = subprocess.Popen(
            words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
            text=True, env=card.env,
            # a test run in the background has Ctrl-C switched off, and a child inherits that
            preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
        )  # fmt: skip
        self.lines: queue.Queue[str] = queue.Queue()
        self.seen: list[str] = []
        self.prompted_at = time.monotonic()
        threading.Thread(target=self._read, daemon=True).start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            if line.startswith("  "):
                self.prompted_at = time.monotonic()
            self.lines.put(line.rstrip("\n"))

    def until(self, part: str, most_s: float = 120.0) -> float:
        """Wait for a line with this part. The seconds that it took."""
        began = time.monotonic()
        while time.monotonic() - began < most_s:
            try:
                line = self.lines.get(timeout=0.1)
            except queue.Empty:
                assert self.process.poll() is None, "\n".join(["ended:", *self.seen])
                continue
            self.seen.append(line)
            if part in line:
                return time.monotonic() - began
        raise AssertionError("\n".join([f"no {part!r} in {most_s} s:", *self.seen]))

    def hear(self, seconds: float) -> list[str]:
        """The prompts that begin within ``seconds``."""
        until, prompts = time.monotonic() + seconds, []
        while time.monotonic() < until and self.process.poll() is None:
            try:
                line = self.lines.get(timeout=0.05)
            except queue.Empty:
                continue
            self.seen.append(line)
            if line.startswith("  ") and not line.startswith("  ("):
                prompts.append(line.strip())
        return prompts


def drive(
    card: Card, name: str, program: Program, *, noise_db: float | None, most_s: float
) -> list[str]:
    """Let the driver of a drive answer until the program ends. The lines it printed.

    He answers when it has been quiet for ``PAUSE_S``, and again when nothing comes back.
    """
    model, folder = load_drive(name)
    driver = RecordedDriver(model, folder, noise="none")
    voice = SynthesiserVoice()
    hum = to_samples(diesel(5.0, 3), noise_db) if noise_db is not None else b""
    told = 0
    until = time.monotonic() + most_s
    talk_until = spoke_at = 0.0
    while program.process.poll() is None and time.monotonic() < until:
        prompts = program.hear(0.2)
        if any(line.startswith("> ") for line in program.seen[told:]):
            driver.hear_tone("accepted")  # something was taken from him
            spoke_at = 0.0
        told = len(program.seen)
        for prompt in prompts:
            driver.hear_prompt(prompt)
            if prompt.startswith(tuple(NOT_UNDERSTOOD.values())):
                driver.hear_tone("not understood")
            length = len(voice.render(prompt)) / 2 / RATE
            talk_until = max(talk_until, time.monotonic()) + length
            spoke_at = 0.0
        now = time.monotonic()
        unheard = card.loud_at < program.prompted_at and now < talk_until + LATE_S
        if prompts or unheard or now < max(talk_until, card.loud_at + PAUSE_S):
            continue
        if spoke_at and now > spoke_at + PATIENCE_S:
            driver.unheard()
        spoken = driver.reply()
        if spoken is not None:
            card.speak(_over(spoken.samples, hum))
            spoke_at = time.monotonic()
    program.hear(0.5)
    return program.seen


def _over(samples: bytes, hum: bytes) -> bytes:
    if not hum:
        return samples
    speech = np.frombuffer(samples, dtype="<i2").astype(np.int32)
    noise = np.resize(np.frombuffer(hum, dtype="<i2"), speech.size).astype(np.int32)
    return bytes(np.clip(speech + noise, -32768, 32767).astype("<i2").tobytes())
