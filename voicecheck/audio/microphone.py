"""The microphone: blocks of 512 samples at 16 kHz, and an error when they stop coming.

Rules:

1. Callback streams only. A blocking read hangs for ever when the device stalls.
2. A lost device shows in one of two ways, and neither is an exception: the stream is no longer
   active, or it stays "active" and its callbacks just stop. So the time since the last callback
   is watched.
3. ``abort`` and ``close``, never ``stop``: it hangs on a stalled device.
4. Samples are never dropped in silence: "not closed" with a hole is "closed". When the reader
   falls too far behind, or the driver reports lost input, that is a stall.
"""

from __future__ import annotations

import contextlib
import queue
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from voicecheck.audio.device_form import Form, ToMono, open_stream
from voicecheck.audio.ports import BLOCK
from voicecheck.audio.speaker import load_sounddevice
from voicecheck.errors import MicrophoneStalled, NoMicrophone

STALL_SECONDS = 1.0
"""Silence of the callbacks that counts as a stall; bursts up to 0.15 s apart are normal."""
_MOST_BLOCKS = 940  # 30 s


class Microphone:
    """Records from the device named (None: the platform's default input).

    ``start`` raises NoPortAudio or NoMicrophone; ``read`` raises MicrophoneStalled. After a stall
    call ``reopen`` until it says True.
    """

    def __init__(
        self,
        device: int | str | None = None,
        *,
        stall: float = STALL_SECONDS,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._device = device
        self._stall = stall
        self._clock = clock
        self._sd: Any = None
        self._stream: Any = None
        self._blocks: queue.Queue[bytes] = queue.Queue(_MOST_BLOCKS)
        self._last = 0.0
        self._lost = ""
        self._wanted = False
        self._closing = threading.Lock()
        self.form = Form()
        """How the device was opened last."""
        self._to_mono = ToMono(self.form)
        self._mono = b""  # beyond the last whole block

    def start(self) -> None:
        """Open the device and begin recording. Does nothing when it is open."""
        self._wanted = True
        if self._stream is not None:
            return
        self._sd = self._sd or load_sounddevice()
        self._blocks = queue.Queue(_MOST_BLOCKS)
        self._lost = ""
        self._mono = b""
        stream = None
        try:
            stream, self.form = open_stream(
                self._sd,
                "input",
                self._device,
                self.form,
                callback=self._take,
                finished_callback=self._on_finished,
            )
            self._to_mono = ToMono(self.form)
            self._last = self._clock()
            stream.start()
        except (self._sd.PortAudioError, ValueError) as error:
            if stream is not None:
                stream.close(ignore_errors=True)
            named = "the default microphone" if self._device is None else repr(self._device)
            raise NoMicrophone(
                f"{named[0].upper()}{named[1:]} cannot be opened: {error}.",
                "Connect a microphone, allow the program to use it, choose it as the system's "
                "input, or name another one (voicecheck doctor lists them).",
            ) from error
        self._stream = stream

    @property
    def recording(self) -> bool:
        """Whether it is open; False after a stall."""
        return self._stream is not None

    def stop(self) -> None:
        """End recording; what was not read is thrown away."""
        self._wanted = False
        self._close()

    def read(self, timeout: float) -> bytes | None:
        """The next block (1024 bytes), or None when none came within ``timeout`` seconds.

        Raises MicrophoneStalled when the device stopped delivering; the stream is closed then.
        """
        until = self._clock() + timeout
        while len(self._mono) < 2 * BLOCK:
            block = self._device_block(until)
            if block is None:
                return None
            self._mono += self._to_mono(block)
        whole, self._mono = self._mono[: 2 * BLOCK], self._mono[2 * BLOCK :]
        return whole

    def _device_block(self, until: float) -> bytes | None:
        if self._stream is None:
            raise self._stalled("it is not open")
        try:
            return self._blocks.get_nowait()
        except queue.Empty:
            pass
        while True:
            if self._lost:
                raise self._stalled(self._lost)
            if not self._stream.active:
                raise self._stalled("the device is gone")
            if self._clock() - self._last > self._stall:
                raise self._stalled(f"no sound for {self._stall:g} s")
            left = until - self._clock()
            if left <= 0:
                return None
            with contextlib.suppress(queue.Empty):
                return self._blocks.get(timeout=min(left, 0.1))

    def reopen(self) -> bool:
        """Try once to record again after a stall; False when the device is not back yet.

        When opening fails the list of devices is read anew, which ends every stream of the
        process: the next sound of the loudspeaker opens its own again.
        """
        self._close()
        try:
            self.start()
            return True
        except NoMicrophone:
            return self.renew()

    def renew(self) -> bool:
        """Read the list of devices anew and record again; False when there is no microphone.

        A loudspeaker that was plugged in since the start is found only after this.
        """
        self._close()
        self._sd = self._sd or load_sounddevice()
        with contextlib.suppress(Exception):  # PortAudio in any state; the next try tells
            self._sd._terminate()
            self._sd._initialize()
        try:
            self.start()
            return True
        except NoMicrophone:
            return False

    def _take(self, data: Any, _frames: int, _time: Any, status: Any) -> None:
        """On PortAudio's thread: nothing here may wait."""
        self._last = self._clock()
        if status and status.input_overflow:
            self._lost = "the machine was too slow and sound was lost"
        try:
            self._blocks.put_nowait(bytes(data))
        except queue.Full:
            self._lost = "the loop did not read for 30 s"

    def _on_finished(self) -> None:
        if self._wanted and not self._lost:
            self._lost = "the device is gone"

    def _stalled(self, reason: str) -> MicrophoneStalled:
        self._close()
        return MicrophoneStalled(
            f"The microphone stopped: {reason}.",
            "Check the headset: switched on, in range, charged. Listening starts again by itself "
            "when it is back.",
        )

    def _close(self) -> None:
        with self._closing:  # two threads in abort and close of one stream hang for ever
            stream, self._stream = self._stream, None
            self._mono = b""
        if stream is not None:
            with contextlib.suppress(self._sd.PortAudioError):
                stream.abort(ignore_errors=True)
                stream.close(ignore_errors=True)


@dataclass(frozen=True)
class Device:
    """A sound device as PortAudio lists it; ``rate`` is its default, in samples a second.

    ``host``: the system's sound interface by which it is reached; there may be several.
    """

    index: int
    name: str
    inputs: int
    outputs: int
    rate: int
    default_input: bool
    default_output: bool
    host: str = ""


def devices() -> tuple[Device, ...]:
    """All sound devices; empty when there is none. Raises NoPortAudio."""
    sd = load_sounddevice()
    try:
        default_in, default_out = sd.default.device
        listed = list(sd.query_devices())
    except sd.PortAudioError:
        return ()
    return tuple(
        Device(
            index=number,
            name=str(item["name"]),
            inputs=int(item["max_input_channels"]),
            outputs=int(item["max_output_channels"]),
            rate=int(item["default_samplerate"]),
            default_input=number == default_in,
            default_output=number == default_out,
            host=str(sd.query_hostapis(item["hostapi"])["name"]),
        )
        for number, item in enumerate(listed)
    )
