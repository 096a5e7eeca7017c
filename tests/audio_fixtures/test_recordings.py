"""The recorded test speech: complete, small, of one format, neither clipped nor padded.

The bounds are those that audio_fixtures/README.md states (own requirement, no outside source).
"""

from __future__ import annotations

import importlib.util
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest
import soundfile
import yaml

from voicecheck.run.driver import load_drive, slug

ROOT = Path(__file__).parents[2]
FIXTURES = ROOT / "audio_fixtures"
DRIVES = (
    "all-good", "brake-tests", "cargo", "corrections", "en-route", "post-trip", "stop",
    "trip-inspection",
)  # fmt: skip
MOST_KIB = 14 * 1024
MOST_SILENCE_S = 0.4


def _make() -> ModuleType:
    spec = importlib.util.spec_from_file_location("fixtures_make", FIXTURES / "make.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


MAKE = _make()


def _drive(name: str) -> dict[str, Any]:
    data = yaml.safe_load((FIXTURES / name / "drive.yaml").read_text(encoding="utf-8"))
    assert isinstance(data, dict)
    return data


def _said(drive: dict[str, Any]) -> Iterator[str]:
    for rule in drive["hears"]:
        for reply in rule["says"]:
            if not reply.startswith(("noise:", "silence:")):
                yield reply.removeprefix("talk:")


def test_the_drives_are_the_known_ones() -> None:
    assert sorted(p.parent.name for p in FIXTURES.glob("*/drive.yaml")) == list(DRIVES)


@pytest.mark.parametrize("name", DRIVES)
def test_a_drive_has_two_takes_of_all_it_says_and_nothing_more(name: str) -> None:
    wanted = {
        f"{slug(words)}-{take}.flac"
        for words in (*_said(_drive(name)), "affirm", "negative")
        for take in (1, 2)
    }
    assert {p.name for p in (FIXTURES / name / "clips").iterdir()} == wanted


@pytest.mark.parametrize("name", DRIVES)
def test_the_program_reads_the_drive(name: str) -> None:
    drive, folder = load_drive(name)
    assert (drive.id, folder.name) == (name, name)
    assert drive.voice in MAKE.WORD_VOICES
    assert drive.noise.kind != "none"


@pytest.mark.parametrize("name", DRIVES)
def test_the_two_takes_differ(name: str) -> None:
    clips = FIXTURES / name / "clips"
    for first in clips.glob("*-1.flac"):
        a, _ = soundfile.read(first)
        b, _ = soundfile.read(first.with_name(first.name.replace("-1.flac", "-2.flac")))
        assert len(a) != len(b) or not np.array_equal(a, b), first.name


def test_every_voice_says_every_word() -> None:
    words = {f"{MAKE.slug(w)}-1.flac" for w in MAKE.WORDS}
    for voice in MAKE.WORD_VOICES:
        assert {p.name for p in (FIXTURES / "words" / voice).glob("*.flac")} == words, voice
    talk = {f"{MAKE.slug(w)}-1.flac" for w in MAKE.TALK}
    for voice in MAKE.TALK_VOICES:
        assert {p.name for p in (FIXTURES / "words" / voice / "talk").iterdir()} == talk, voice


@pytest.mark.parametrize("words", ["seven kilo four two", "I think it's Fine", "x-ray one"])
def test_file_names_are_those_the_program_looks_for(words: str) -> None:
    assert MAKE.slug(words) == slug(words)


def test_every_recording_keeps_to_the_format() -> None:
    files = sorted(FIXTURES.rglob("*.flac"))
    assert len(files) > 500
    for file in files:
        info = soundfile.info(file)
        got = (info.format, info.samplerate, info.channels, info.subtype)
        assert got == ("FLAC", 16_000, 1, "PCM_16"), file
        samples, _ = soundfile.read(file, dtype="int16")
        level = np.abs(samples.astype(np.int32))
        assert 0.2 < len(samples) / 16_000 < 6.0, file
        assert 0.45 * 32768 < level.max() < 0.55 * 32768, f"{file}: the peak is not -6 dBFS"
        loud = np.flatnonzero(level > level.max() * 0.02)
        before, after = loud[0] / 16_000, (len(level) - loud[-1]) / 16_000
        assert before <= MOST_SILENCE_S, f"{file}: {before:.2f} s of silence before"
        assert after <= MOST_SILENCE_S, f"{file}: {after:.2f} s of silence after"


def test_all_together_stay_small() -> None:
    blocks = sum(-(-p.stat().st_size // 4096) * 4 for p in FIXTURES.rglob("*") if p.is_file())
    assert blocks <= MOST_KIB
