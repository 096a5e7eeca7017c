"""The form in which a sound device is opened, and the way between it and 16 kHz mono.

Most sound systems convert for a program and take 16 kHz mono. A device that is reached directly
(ALSA's hw, Windows' WASAPI) takes only what it has: rates of its own, often two channels. So 16 kHz
mono is tried first, then what the device calls its own, then the usual rates.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import soxr
from numpy.typing import NDArray

from voicecheck.audio.ports import BLOCK, RATE

_RATES = (48_000, 44_100, 32_000, 96_000, 8_000)
_REFUSED: Final = frozenset({-9999, -9998, -9997})
"""PortAudio's codes of a device that is there but not to be had like this: an error of the host,
the number of channels, the rate (portaudio.h, PaErrorCode)."""
_QUALITY = "HQ"


@dataclass(frozen=True)
class Form:
    """``rate`` in samples a second."""

    rate: int = RATE
    channels: int = 1

    @property
    def frames(self) -> int:
        """Samples of each channel in a block of 32 ms."""
        return round(BLOCK * self.rate / RATE)

    def __str__(self) -> str:
        if self.rate == RATE and self.channels == 1:
            return f"{RATE} Hz"
        channels = "one channel" if self.channels == 1 else f"{self.channels} channels"
        return f"{self.rate} Hz, {channels}, turned into {RATE} Hz"


def open_stream(
    sd: Any, kind: str, device: int | str | None, first: Form, **settings: Any
) -> tuple[Any, Form]:
    """A stream of int16 that is open, and its form. ``kind``: "input" | "output".

    ``first`` is tried first. Raises PortAudioError or ValueError: the first that came, when the
    device takes no form at all.
    """
    make = sd.RawInputStream if kind == "input" else sd.RawOutputStream
    refused: Exception | None = None
    for form in _forms(sd, kind, device, first):
        size = {"blocksize": form.frames} if kind == "input" else {}
        try:
            stream = make(
                samplerate=form.rate, channels=form.channels, dtype="int16", device=device,
                **size, **settings,
            )  # fmt: skip
        except sd.PortAudioError as error:
            refused = refused or error
            if len(error.args) < 2 or error.args[1] not in _REFUSED:
                break
        else:
            return stream, form
    assert refused is not None
    raise refused


def _forms(sd: Any, kind: str, device: int | str | None, first: Form) -> Iterator[Form]:
    yield first
    with contextlib.suppress(sd.PortAudioError):  # the device went away meanwhile
        found = sd.query_devices(device, kind)
        rates = dict.fromkeys((RATE, round(found["default_samplerate"]), *_RATES))
        for channels in range(1, min(2, int(found[f"max_{kind}_channels"])) + 1):
            yield from (f for f in (Form(rate, channels) for rate in rates) if f != first)


class ToMono:
    """From a device's blocks to 16 kHz mono, in a stream: no sample is lost between two blocks.

    Channels are averaged. The filter looks ahead, so sound comes out later than it went in: 21 ms
    in the mean, at most 37 ms, at 48 kHz; 64 and 116 ms at 8 kHz (measured 2026-11-25, soxr 1.1.0).
    Where the device was at its full scale the result is too: a flat top that a filter makes wavy
    would not be known for clipping any more.
    """

    def __init__(self, form: Form) -> None:
        self._channels = form.channels
        self._stream = (
            None
            if form.rate == RATE
            # as floats: for int16 soxr adds dither, and exact zeros are the sign of a dead headset
            else soxr.ResampleStream(form.rate, RATE, 1, dtype="float32", quality=_QUALITY)
        )
        self._ratio = form.rate / RATE
        self._full = np.zeros(0, dtype=np.bool_)  # samples at full scale that are not out yet
        self._taken = self._given = 0  # samples dropped from there, samples given out

    def __call__(self, data: bytes) -> bytes:
        if self._stream is None and self._channels == 1:
            return data
        values = np.frombuffer(data, dtype="<i2").reshape(-1, self._channels).astype(np.float32)
        self._full = np.concatenate([self._full, (np.abs(values) >= 32767).any(axis=1)])
        mono: NDArray[np.float32] = values.mean(axis=1, dtype=np.float32)
        if self._stream is not None:
            mono = self._stream.resample_chunk(mono)
        until = self._given + mono.size
        came_of = np.rint(np.arange(self._given, until) * self._ratio).astype(int) - self._taken
        full = self._full[np.minimum(came_of, self._full.size - 1)]
        mono[full] = np.copysign(np.float32(32768), mono[full])
        self._given = until
        done = min(int(until * self._ratio) - self._taken, self._full.size)
        self._full, self._taken = self._full[done:], self._taken + done
        return _int16(mono)


def for_device(samples: bytes, form: Form) -> bytes:
    """A whole sound, 16 kHz mono int16, as the device takes it."""
    if form == Form():
        return samples
    mono = np.frombuffer(samples, dtype="<i2").astype(np.float32)
    if form.rate != RATE:
        mono = soxr.resample(mono, RATE, form.rate, quality=_QUALITY)
    return _int16(np.repeat(mono, form.channels))


def _int16(values: NDArray[np.float32]) -> bytes:
    return np.clip(np.rint(values), -32768, 32767).astype("<i2").tobytes()
