"""Hours of inspections in compressed time: memory flat, no false verdict.

    python tests/long/soak.py [--hours 10] [--seed 1]

One recorded driver after the other leads the coupling through the real ear and recogniser, in noise
of 5 to 20 dB that changes with each inspection. A part of what he says is at random: something else
than asked, a phrase cut off, noise alone, silence. Inspections follow each other in one process
until the hours have passed on the compressed clock.

A verdict is false when an answer was accepted as good, or gave a fact, though nothing that was
spoken since its question began means that answer by the grammar of the question. Where the driver
affirmed what was read back (at random, he does not listen), it is counted apart. Printed are these,
the memory after each hour, and processor time. Exit status 1 on a false verdict, or when the memory
grew by more than ``GROWTH_MB`` after the first hour (or inspection, where one hour is all).
"""

from __future__ import annotations

import argparse
import gc
import random
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

import psutil

from voicecheck.audio.ear import Ear
from voicecheck.audio.ports import RATE
from voicecheck.audio.wav import read_wav
from voicecheck.journal.file import JournalFile
from voicecheck.reply.grammar import Understood, parse
from voicecheck.run.clock import CompressedClock
from voicecheck.run.driver import RecordedDriver, Spoken, load_drive
from voicecheck.run.engines import recogniser
from voicecheck.run.hearing import Hearing
from voicecheck.run.library import load_sources
from voicecheck.run.loop import run
from voicecheck.run.opening import Setting, open_inspection
from voicecheck.run.rehearsal import RehearsalWorld
from voicecheck.session import actions as a
from voicecheck.session import events as e
from voicecheck.session import records as r
from voicecheck.session.session import Session
from voicecheck.session.state import State

GROWTH_MB = 20.0
AT_RANDOM = 0.2


class Random(RecordedDriver):
    """A recorded driver who now and then says, or does, something else."""

    def __init__(self, rng: random.Random, name: str) -> None:
        drive, folder = load_drive(name)
        kind = rng.choice(("diesel", "wind"))
        super().__init__(drive, folder, noise=kind, snr_db=rng.choice((5, 10, 15, 20)))
        self.rng = rng
        self.spoken: list[str] = []
        self._files = sorted((folder / "clips").glob("*.flac"))

    def reply(self) -> Spoken | None:
        if self.rng.random() < AT_RANDOM:
            self._not_understood = True  # he goes on with what he was asked
            return self._odd()
        spoken = super().reply()
        if spoken is not None:
            self.spoken.append(spoken.text)
        return spoken

    def _odd(self) -> Spoken:
        rng = self.rng
        file = rng.choice(self._files)
        words = file.stem.rpartition("-")[0].replace("-", " ")
        sound = read_wav(file)
        match rng.randrange(4):
            case 0:
                self.spoken.append(words)
                return Spoken(sound, words)
            case 1:
                return Spoken(sound[: len(sound) // 4 * 2], f"({words}, cut off)")
            case 2:
                return self._say(f"noise:{self._noise_kind}:{rng.choice((2, 10, 60))}", keep=False)
            case _:
                return Spoken(bytes(2 * RATE * rng.choice((2, 20))), "(silence)")


class Watch:
    """Told every turn; finds verdicts that nothing spoken means."""

    def __init__(self, driver: Random) -> None:
        self.driver = driver
        self.heard: dict[int, tuple[str, object]] = {}  # record -> words, what could be said then
        self.records = 0
        self.false: list[str] = []
        self.affirmed = 0
        self.good = 0
        self.expect: object = None
        self.asked = 0  # index into what was spoken when the step began

    def told(self, actions: Sequence[a.Action]) -> None:
        for action in actions:
            if isinstance(action, a.Keep):
                self.records += 1
                self._record(action.record)
            elif isinstance(action, a.Listen):
                self.expect = action.expect

    def _record(self, record: r.Record) -> None:
        if isinstance(record, r.HeardReply):
            self.heard[self.records] = record.words, self.expect
        if isinstance(record, r.StepStarted):
            self.asked = len(self.driver.spoken)
        if not isinstance(record, r.Answered) or not (record.gives or record.outcome == "good"):
            return
        self.good += 1
        words, wanted = self.heard.get(record.heard, ("", None))
        said = self.driver.spoken[max(0, self.asked - 1) :]
        if wanted is not None and any(_means_the_same(wanted, words, text) for text in said):
            return
        if said and said[-1] == "affirm":
            self.affirmed += 1
        else:
            self.false.append(f"{record.step}: {record.text!r}, heard {words!r}, spoken {said}")


def _means_the_same(wanted: object, heard: str, spoken: str) -> bool:
    first, second = parse(wanted, heard), parse(wanted, spoken.lower())  # type: ignore[arg-type]
    return isinstance(first, Understood) and isinstance(second, Understood) and (
        (first.meaning, first.quantity, first.spelled, first.date)
        == (second.meaning, second.quantity, second.spelled, second.date)
    )  # fmt: skip


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--hours", type=float, default=10.0)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    rng = random.Random(given.seed)
    engine = recogniser()
    process = psutil.Process()
    passed, inspections, replies, good, affirmed = 0.0, 0, 0, 0, 0
    false: list[str] = []
    memory: list[float] = []
    began, next_hour = time.process_time(), 1.0
    while passed < given.hours * 3600:
        clock = CompressedClock()
        driver = Random(rng, rng.choice(("all-good", "corrections", "stop")))
        sources = load_sources(driver.drive.checklist, driver.drive.vehicle)
        with tempfile.TemporaryDirectory() as parent:
            compiled, first, folder = open_inspection(
                sources, Setting("practice", "rehearsal"), clock.now(), Path(parent)
            )
            session = Session(compiled, State())
            watch = Watch(driver)
            world = RehearsalWorld(driver, Hearing(Ear(engine), folder), clock, lambda line: None)
            with JournalFile.create(folder) as journal:
                run(session, journal, world, e.Started(at=first.at, opened=first), watch.told)
        passed += clock.now().mono / 1000
        inspections, replies = inspections + 1, replies + world.replies
        good, affirmed = good + watch.good, affirmed + watch.affirmed
        false += watch.false
        for text in watch.false:
            print(f"FALSE: {text}", flush=True)
        if passed >= next_hour * 3600 or inspections == 1:
            gc.collect()
            memory.append(process.memory_info().rss / 1e6)
            next_hour += inspections > 1
            print(
                f"{passed / 3600:.2f} h: {inspections} inspections, {memory[-1]:.0f} MB", flush=True
            )
    memory.append(process.memory_info().rss / 1e6)
    grown = memory[-1] - (memory[1] if len(memory) > 3 else memory[0])
    print(f"{passed / 3600:.1f} compressed hours, {inspections} inspections, {replies} replies, "
          f"{good} good answers; false verdicts {len(false)}, affirmed unheard {affirmed}; "
          f"memory {memory[-1]:.0f} MB, grown by {grown:.1f} MB; "
          f"{time.process_time() - began:.0f} s of processor time")  # fmt: skip
    return 1 if false or grown > GROWTH_MB else 0


if __name__ == "__main__":
    sys.exit(main())
