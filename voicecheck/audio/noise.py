"""Seeded synthetic noise of a yard, and mixing at a stated signal-to-noise ratio.

For fixtures and benchmarks. The noises are models, never compared with recordings of a real
truck: every table made with them says "synthetic". The same seed gives the same samples with the
same numpy version.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from voicecheck.audio.ports import RATE

Samples = NDArray[np.float64]


def _coloured(count: int, slope: float, rng: np.random.Generator, low: float = 30.0) -> Samples:
    """Gaussian noise with power falling as frequency**-slope above ``low`` hertz, rms 1."""
    spectrum = np.fft.rfft(rng.standard_normal(count))
    frequency = np.fft.rfftfreq(count, 1 / RATE)
    weight = np.maximum(frequency, low) ** (-slope / 2)
    weight[frequency < low / 2] = 0.0
    shaped = np.fft.irfft(spectrum * weight, count)
    return np.asarray(shaped / np.sqrt(np.mean(shaped**2)))


def _slow(count: int, hertz: float, rng: np.random.Generator) -> Samples:
    """A random curve without energy above ``hertz``, rms 1."""
    spectrum = np.fft.rfft(rng.standard_normal(count))
    spectrum[np.fft.rfftfreq(count, 1 / RATE) > hertz] = 0.0
    spectrum[0] = 0.0
    curve = np.fft.irfft(spectrum, count)
    rms = float(np.sqrt(np.mean(curve**2)))
    return np.asarray(curve / rms if rms > 0 else curve)


def diesel(seconds: float, seed: int, rpm: float = 650.0, cylinders: int = 6) -> Samples:
    """A four-stroke diesel at idle, rms 1.

    Firing rate = rpm / 60 * cylinders / 2 (four-stroke: each cylinder fires every second turn).
    Each firing is a damped low thump and a short knock in the speech band; fan and intake are
    coloured noise. Strengths and the hunting of the governor are invented.
    """
    rng = np.random.default_rng(seed)
    count = max(1, round(seconds * RATE))
    out = np.zeros(count + RATE)
    t = np.arange(round(0.06 * RATE)) / RATE
    thump = np.exp(-t / 0.014) * np.sin(2 * np.pi * 68.0 * t)
    knock_noise = _coloured(RATE, 0.0, rng)
    unequal = 1.0 + 0.15 * rng.standard_normal(cylinders)  # no two cylinders are alike
    hunting = 1.0 + 0.012 * _slow(count, 0.8, rng)
    at, fired = 0.0, 0
    while at < count:
        start = int(at)
        power = unequal[fired % cylinders] * (1.0 + 0.08 * rng.standard_normal())
        offset = int(rng.integers(0, RATE - t.size))
        knock = np.exp(-t / 0.004) * knock_noise[offset : offset + t.size]
        out[start : start + t.size] += power * (thump + 0.22 * knock)
        at += RATE / (rpm / 60.0 * cylinders / 2.0 * hunting[min(start, count - 1)])
        fired += 1
    pulses = out[:count] / np.sqrt(np.mean(out[:count] ** 2))
    mixed = pulses + 0.35 * _coloured(count, 1.0, rng) + 0.12 * _coloured(count, 0.3, rng)
    return np.asarray(mixed / np.sqrt(np.mean(mixed**2)))


def wind(seconds: float, seed: int) -> Samples:
    """Gusting wind over a microphone, rms 1: low rumble and a weaker hiss, each swelling slowly
    and for itself."""
    rng = np.random.default_rng(seed)
    count = max(1, round(seconds * RATE))
    rumble = _coloured(count, 2.2, rng, low=40.0) * np.exp(0.7 * _slow(count, 0.7, rng))
    hiss = _coloured(count, 0.8, rng, low=400.0) * np.exp(0.9 * _slow(count, 1.2, rng))
    mixed = rumble + 0.18 * hiss
    return np.asarray(mixed / np.sqrt(np.mean(mixed**2)))


def to_samples(noise: Samples, dbfs: float) -> bytes:
    """int16 samples of ``noise`` at an rms level of ``dbfs`` (0 = a full-scale square wave)."""
    rms = float(np.sqrt(np.mean(noise**2))) or 1.0
    scaled = noise / rms * 10 ** (dbfs / 20) * 32768.0
    return bytes(np.clip(np.round(scaled), -32768, 32767).astype("<i2").tobytes())


def speech_power(samples: bytes) -> float:
    """Mean power (squared int16 units) of the speech part: 20 ms frames within 35 dB of the
    95th percentile of frame power. 0 for silence."""
    frames = _frame_powers(np.frombuffer(samples, dtype="<i2").astype(np.float64))
    if frames.size == 0:
        return 0.0
    top = float(np.percentile(frames, 95))
    return float(np.mean(frames[frames >= top * 10**-3.5])) if top > 0 else 0.0


def mix(samples: bytes, noise: Samples, snr_db: float, seed: int) -> bytes:
    """``samples`` with a stretch of ``noise`` beginning at a place chosen by ``seed``.

    The ratio holds over the speech part (``speech_power``), not over pauses. ``noise`` shorter
    than the samples is repeated. Sums beyond full scale are clipped, as a sound card would.
    """
    voice = np.frombuffer(samples, dtype="<i2").astype(np.float64)
    power = speech_power(samples)
    if power == 0.0 or noise.size == 0:
        raise ValueError("a ratio needs speech and noise")
    rng = np.random.default_rng(seed)
    index = (int(rng.integers(0, noise.size)) + np.arange(voice.size)) % noise.size
    piece = noise[index]
    level = np.sqrt(power / 10 ** (snr_db / 10) / float(np.mean(piece**2)))
    total = np.clip(np.round(voice + level * piece), -32768, 32767)
    return bytes(total.astype("<i2").tobytes())


def _frame_powers(samples: Samples) -> Samples:
    size = RATE // 50
    frames = samples[: samples.size // size * size].reshape(-1, size)
    return np.asarray(np.mean(frames**2, axis=1))
