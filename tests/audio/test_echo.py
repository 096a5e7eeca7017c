"""The program's own voice is told from a driver's, and never answers."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile

from voicecheck.audio.echo import OWN_VOICE, another_voice, likeness
from voicecheck.audio.ports import BLOCK, RATE
from voicecheck.audio.voice import SynthesiserVoice

CLIPS = Path(__file__).parents[2] / "audio_fixtures" / "all-good" / "clips"
STRETCH = 4608  # 288 ms, what is known when speech is noticed


def loud(values: np.ndarray, count: int = STRETCH) -> np.ndarray:
    """The loudest stretch."""
    powers = np.convolve(values**2, np.ones(count), "valid")
    at = int(powers.argmax())
    return values[at : at + count]


def pcm(values: np.ndarray) -> bytes:
    return np.clip(values, -32768, 32767).astype("<i2").tobytes()


@pytest.mark.parametrize("words", ["closed-and-locked", "spring-brakes", "affirm", "nobody-near"])
def test_an_echo_and_a_driver_are_told_apart(voice: SynthesiserVoice, words: str) -> None:
    """The echo is 6 dB below the driver; a floor of noise is 20 dB below him."""
    played = voice.render("Doors, hinges and lock. Closed and locked, or not locked?")
    prompt = np.frombuffer(played, dtype="<i2").astype(float)
    clip, rate = soundfile.read(CLIPS / f"{words}-1.flac", dtype="int16")
    assert rate == RATE
    driver = loud(clip.astype(float))
    level = float(np.sqrt(np.mean(driver**2)))
    noise = np.random.default_rng(3).standard_normal(STRETCH) * level / 10
    echo = loud(prompt)
    echo = echo * level / np.sqrt(np.mean(echo**2)) * 10 ** (-6 / 20)
    assert likeness(pcm(echo + noise), played) > 1.4 * OWN_VOICE
    assert likeness(pcm(driver + noise), played) < OWN_VOICE
    assert likeness(pcm(noise), played) < OWN_VOICE


@pytest.mark.parametrize("words", ["closed-and-locked", "spring-brakes", "affirm", "nobody-near"])
def test_from_96_ms_on_a_driver_shows_and_an_echo_does_not(
    voice: SynthesiserVoice, words: str
) -> None:
    """As live.py asks, block by block: one stretch under the limit is another's voice."""
    played = voice.render("Doors, hinges and lock. Closed and locked, or not locked?")
    clip, _ = soundfile.read(CLIPS / f"{words}-1.flac", dtype="int16")
    driver = loud(clip.astype(float))
    level = float(np.sqrt(np.mean(driver**2)))
    noise = np.random.default_rng(3).standard_normal(STRETCH) * level / 10
    echo = loud(np.frombuffer(played, dtype="<i2").astype(float))
    echo = echo * level / np.sqrt(np.mean(echo**2)) * 10 ** (-6 / 20)
    stretches = range(3 * BLOCK, STRETCH, BLOCK)
    limits = [another_voice(n / RATE) for n in stretches]
    heard = [likeness(pcm((driver + noise)[:n]), played) for n in stretches]
    assert any(x < limit for x, limit in zip(heard, limits, strict=True))
    heard = [likeness(pcm((echo + noise)[:n]), played) for n in stretches]
    assert all(x > 1.4 * limit for x, limit in zip(heard, limits, strict=True))


def test_silence_is_nobodys_voice() -> None:
    assert likeness(b"", b"") == 0.0
    assert likeness(bytes(2 * STRETCH), bytes(2 * STRETCH)) == 0.0
    assert likeness(pcm(np.ones(STRETCH) * 999), bytes(2 * STRETCH)) == 0.0
