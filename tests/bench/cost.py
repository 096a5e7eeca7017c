"""What it costs: processor time while waiting, memory, start time.

``python -m tests.bench.cost [--minutes 1]``. Waiting is the real ear with the shipped model before
blocks of a yard (diesel at -40 dBFS, nobody speaks), fed at once and counted in processor seconds
for an hour of sound; and the real ``run --microphone`` on a virtual sound card, where there is
PulseAudio, measured from outside. Start is ``--version``, and the first line of ``begin --typed``.
"""

from __future__ import annotations

import argparse
import shutil
import subprocess
import sys
import tempfile
import time

import psutil

from tests.run.yard import Card, Program
from voicecheck.audio.ear import Ear
from voicecheck.audio.noise import diesel, to_samples
from voicecheck.audio.ports import BLOCK, RATE
from voicecheck.reply.grammar import vocabulary
from voicecheck.run.begin import choices, expectations
from voicecheck.run.choosing import Choice
from voicecheck.run.engines import recogniser

VEHICLE = "tractor-semitrailer"


def waiting_ear(minutes: float) -> float:
    """Processor seconds an hour of sound in which nobody speaks."""
    ear = Ear(recogniser())
    ear.listen(vocabulary(next(expectations(choices(Choice(vehicle=VEHICLE))))))
    bed = to_samples(diesel(30.0, 4), -40.0)
    size = 2 * BLOCK
    blocks = [bed[at : at + size] for at in range(0, len(bed) - size, size)]
    count = round(minutes * 60 * RATE / BLOCK)
    began = time.process_time()
    for n in range(count):
        ear.feed(blocks[n % len(blocks)])
    return (time.process_time() - began) / (count * BLOCK / RATE) * 3600


def waiting_program(minutes: float) -> tuple[float, float]:
    """Processor seconds an hour, and MB, of the whole program while it waits for a reply."""
    with tempfile.TemporaryDirectory() as parent, Card() as card:
        program = Program(card, "couple", "--into", parent)
        program.hear(25)  # until the first question and its repetition are over
        process = psutil.Process(program.process.pid)
        whole = [process, *process.children(recursive=True)]
        began = sum(sum(p.cpu_times()[:2]) for p in whole)
        program.hear(minutes * 60)
        spent = sum(sum(p.cpu_times()[:2]) for p in whole if p.is_running()) - began
        memory = sum(p.memory_info().rss for p in whole if p.is_running())
        program.process.kill()
        program.process.wait()
    return spent / minutes * 60, memory / 1e6


def start(*words: str) -> tuple[float, float]:
    """Wall and processor seconds to the end of a command that does nothing."""
    began, before = time.perf_counter(), psutil.Process().cpu_times()
    with tempfile.TemporaryDirectory() as parent:
        subprocess.run(
            [sys.executable, "-m", "voicecheck.cli", *words, *(("--into", parent) if words[0] ==
             "begin" else ())], input="", text=True, capture_output=True, check=False,
        )  # fmt: skip
    after = psutil.Process().cpu_times()
    spent = (after.children_user + after.children_system) - (
        before.children_user + before.children_system
    )
    return time.perf_counter() - began, spent


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=1.0)
    given = parser.parse_args()
    for words in (("--version",), ("begin", "--typed")):
        runs = [start(*words) for _ in range(3)]
        wall, spent = min(runs)
        print(f"voicecheck {' '.join(words)}: {wall:.2f} s, {spent:.2f} s of processor (best of 3)")
    print(f"the ear, waiting: {waiting_ear(given.minutes):.0f} s of processor an hour")
    if shutil.which("pulseaudio"):
        spent, memory = waiting_program(given.minutes)
        print(f"run --microphone, waiting: {spent:.0f} s of processor an hour, {memory:.0f} MB")


if __name__ == "__main__":
    main()
