"""Faults of the world around the loop, caused for real: full disk, odd recordings, no devices."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile

from tests.checklists.walk import Walk, compiled
from voicecheck.audio.noise import wind

CLI = [sys.executable, "-m", "voicecheck.cli"]


def command(*words: str, typed: str = "") -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [*CLI, *words], input=typed, capture_output=True, text=True, timeout=120, check=False
    )


def good_replies() -> str:
    walk, replies = Walk(compiled("couple")), []
    while not walk.outcome:
        replies.append(walk.good())
        walk.reply(replies[-1])
    return "\n".join(replies) + "\n"


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    if os.geteuid() != 0:
        pytest.skip("mounting a small disk needs root")
    place = tmp_path / "disk"
    place.mkdir()
    options = ["-t", "tmpfs", "-o", "size=48k", "tmpfs", str(place)]
    if subprocess.run(["mount", *options], check=False, capture_output=True).returncode:
        pytest.skip("no tmpfs can be mounted here")
    yield place
    subprocess.run(["umount", str(place)], check=False)


def test_a_full_disk_holds_says_so_and_loses_nothing(small_disk: Path) -> None:
    into = ["--into", str(small_disk)]
    full = command("run", "couple", "--typed", "--compressed", *into, typed=good_replies())
    assert full.returncode == 3
    assert "Hold. I cannot write to the disk. Nothing is lost yet." in full.stdout
    assert "[journal-not-writable]" in full.stderr
    answered = full.stdout.count("\n> ")
    assert answered > 5
    subprocess.run(["mount", "-o", "remount,size=2m", str(small_disk)], check=True)
    (folder,) = small_disk.iterdir()
    assert command("verify", str(folder)).returncode == 0
    again = command("resume", str(folder), "--typed", "--compressed", typed="")
    last_question = [line for line in full.stdout.splitlines() if line.startswith("  ")][-3]
    assert last_question.strip().rpartition(". ")[2] in again.stdout
    replayed = command("replay", str(folder)).stdout
    assert replayed.count("hears: ") >= answered - 1  # all but the reply that was refused


def test_a_recording_of_noise_alone_answers_nothing(tmp_path: Path) -> None:
    file = tmp_path / "noise.wav"
    soundfile.write(file, wind(12, 3) * 0.05, 16000, subtype="PCM_16")
    done = command("run", "couple", "--wav", str(file), "--into", str(tmp_path / "out"))
    assert done.returncode == 1
    assert "45 items unanswered" in done.stdout
    assert "no more replies" in done.stdout


@pytest.mark.parametrize(("rate", "channels"), [(44100, 1), (16000, 2), (8000, 1)])
def test_a_recording_of_another_kind_is_refused_with_the_cure(
    tmp_path: Path, rate: int, channels: int
) -> None:
    file = tmp_path / "odd.wav"
    soundfile.write(file, np.zeros((rate, channels)), rate, subtype="PCM_16")
    done = command("run", "couple", "--wav", str(file), "--into", str(tmp_path / "out"))
    assert done.returncode == 3
    assert "[wav-unusable]" in done.stderr
    assert "-ar 16000" in done.stderr
    assert not (tmp_path / "out").exists()  # nothing half begun is left behind
