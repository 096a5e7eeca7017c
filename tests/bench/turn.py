"""How long a driver waits: end of speech to the first sound of the answer, and what it costs.

``python -m tests.bench.turn [--engine E] [--model DIR] [--drive NAME]`` plays a drive through the
real loop with evidence, fsync and rendered prompts, and prints: the wait after closed words and
after numbers (silence that the endpoint waits for, plus the time until the first tone or prompt is
handed to the loudspeaker), real-time factor of the recogniser, start-up and memory. Prompts are
cached after the first run; the first run's figures contain their rendering.
"""

from __future__ import annotations

import argparse
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

import psutil

from voicecheck.audio.ear import Ear
from voicecheck.audio.ports import RATE, Heard, Hypothesis, Recogniser
from voicecheck.audio.tones import tone
from voicecheck.audio.voice import SynthesiserVoice
from voicecheck.journal.file import JournalFile
from voicecheck.run.clock import CompressedClock
from voicecheck.run.driver import RecordedDriver, load_drive
from voicecheck.run.engines import recogniser
from voicecheck.run.hearing import Hearing
from voicecheck.run.library import load_sources
from voicecheck.run.loop import run
from voicecheck.run.opening import Setting, open_inspection
from voicecheck.run.rehearsal import RehearsalWorld
from voicecheck.session import actions as a
from voicecheck.session import events as e
from voicecheck.session.session import Session
from voicecheck.session.state import State


class Timed:
    """A recogniser whose work is timed."""

    def __init__(self, inner: Recogniser) -> None:
        self._inner = inner
        self.seconds = self.sound = 0.0

    def __getattr__(self, name: str) -> object:
        return getattr(self._inner, name)

    def hear(self, samples: bytes) -> Hypothesis:
        began = time.perf_counter()
        result = self._inner.hear(samples)
        self.seconds += time.perf_counter() - began
        self.sound += len(samples) / 2 / RATE
        return result


class TimedEar(Ear):
    """Notes when the block that ends a reply came in, and how long the silence was."""

    arrived = 0.0
    silence = 0.0

    def feed(self, block: bytes) -> object:  # type: ignore[override]
        began = time.perf_counter()
        result = super().feed(block)
        if isinstance(result, Heard):
            self.arrived = began
            self.silence = result.utterance.end - result.utterance.speech_end
        return result


class TimedWorld(RehearsalWorld):
    """Notes the wait from the end of speech to the first sound handed out."""

    waits: dict[str, list[float]]
    ear: TimedEar
    number = False

    def perform(self, action: a.Action) -> None:
        if isinstance(action, a.Say | a.Tone) and self.ear.arrived:
            if isinstance(action, a.Say):
                sound = self._prompts.render(action.text)
            else:
                sound = tone(action.name)
            took = time.perf_counter() - self.ear.arrived if sound else 0.0
            self.waits["numbers" if self.number else "closed words"].append(self.ear.silence + took)
            self.ear.arrived = 0.0
        if isinstance(action, a.Listen):
            wanted = action.expect
            self.number = bool(wanted.number or wanted.spell or wanted.date)
        super().perform(action)


def percentile(values: Sequence[float], share: float) -> float:
    return sorted(values)[min(len(values) - 1, int(share * len(values)))]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--engine", default="")
    parser.add_argument("--model", default="")
    parser.add_argument("--drive", default="all-good")
    given = parser.parse_args()
    before = time.perf_counter()
    engine = Timed(recogniser(given.engine, given.model))
    loaded = time.perf_counter() - before
    drive, folder = load_drive(given.drive)
    sources = load_sources(drive.checklist, drive.vehicle)
    clock = CompressedClock()
    with tempfile.TemporaryDirectory() as parent, SynthesiserVoice() as voice:
        compiled, opened, inspection = open_inspection(
            sources, Setting("practice", "rehearsal"), clock.now(), Path(parent)
        )
        ear = TimedEar(engine)  # type: ignore[arg-type]
        world = TimedWorld(
            RecordedDriver(drive, folder), Hearing(ear, inspection), clock, lambda line: None, voice
        )
        world.waits, world.ear = {"closed words": [], "numbers": []}, ear
        with JournalFile.create(inspection) as journal:
            first = e.Started(at=opened.at, opened=opened)
            outcome = run(Session(compiled, State()), journal, world, first)
    print(f"{engine.name}, drive {given.drive}: {outcome}, {world.replies} replies, "
          f"{world.talk_s:.0f} s of talk")  # fmt: skip
    for name, waits in world.waits.items():
        if waits:
            print(f"end of speech to answer, {name}: median {statistics.median(waits) * 1000:.0f} "
                  f"ms, p95 {percentile(waits, 0.95) * 1000:.0f} ms, n {len(waits)}")  # fmt: skip
    print(f"real-time factor of the recogniser: {engine.seconds / engine.sound:.3f} "
          f"over {engine.sound:.0f} s of sound")  # fmt: skip
    print(f"recogniser loaded in {loaded:.2f} s")
    memory = psutil.Process().memory_info().rss
    print(f"memory of the whole program: {memory / 1e6:.0f} MB")
    began = time.perf_counter()
    subprocess.run(
        [sys.executable, "-m", "voicecheck.cli", "--version"], check=True, capture_output=True
    )
    print(f"start of the program to its first line: {time.perf_counter() - began:.2f} s")


if __name__ == "__main__":
    main()
