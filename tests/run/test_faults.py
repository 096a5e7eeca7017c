"""Recordings that cannot be used, or hold no replies. Faults of devices and disk: tests/faults."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

from voicecheck.audio.noise import wind

CLI = [sys.executable, "-m", "voicecheck.cli"]


def command(*words: str, typed: str = "") -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [*CLI, *words], input=typed, capture_output=True, text=True, timeout=120, check=False
    )


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
