"""Playing sound: through PortAudio, or silently for runs without a device.

Rules:

1. ``done`` says that the sound was played to its end. It is called once, never when the sound was
   stopped and never when the device was lost on the way: a hold that nobody heard is not spoken.
   A lost device is told to ``lost`` instead.
2. A stream is ended with ``abort``, never ``stop``: ``stop`` hangs for ever when the device
   stalls.
3. A stalled device fires nothing at all, so the end is also watched by the clock.
"""

from __future__ import annotations

import contextlib
import threading
import time
from collections.abc import Callable
from typing import Any

from voicecheck.audio.device_form import Form, for_device, open_stream
from voicecheck.audio.ports import RATE
from voicecheck.errors import NoLoudspeaker, NoPortAudio, VoicecheckError

_LEAST_PAD = 0.03  # seconds
_LATE_SECONDS = 2.0  # how much later than its length a sound may end before the device is lost

HOW_TO_INSTALL_PORTAUDIO = (
    "Install it. Debian, Ubuntu: apt install libportaudio2. Fedora: dnf install portaudio. "
    "macOS, Windows: pip install --force-reinstall sounddevice (its wheel brings the library)."
)


def load_sounddevice() -> Any:
    """The module sounddevice, imported only when sound is wanted. Raises NoPortAudio."""
    try:
        import sounddevice
    except (ImportError, OSError) as error:
        raise NoPortAudio(f"Sound cannot be used: {error}.", HOW_TO_INSTALL_PORTAUDIO) from error
    return sounddevice


class SoundSpeaker:
    """Plays through the device named (None: the platform's default).

    ``lost`` is called, on another thread, with the reason when a sound did not come to its end
    though nobody stopped it. Without it the reason stands in ``failure`` and the next ``play``
    raises it.
    """

    def __init__(
        self,
        device: int | str | None = None,
        *,
        lost: Callable[[VoicecheckError], None] | None = None,
    ) -> None:
        self._sd = load_sounddevice()
        self._device = device
        self._lost = lost
        self._lock = threading.Lock()
        self._current: _Playing | None = None
        self.form = Form()
        """How the device was opened last."""
        self.failure: VoicecheckError | None = None

    @property
    def playing(self) -> bool:
        current = self._current
        return current is not None and not current.ended.is_set()

    def play(self, samples: bytes, done: Callable[[], None]) -> None:
        """Play 16 kHz mono int16 ``samples``; what is playing now is cut off.

        Raises NoLoudspeaker when there is no such loudspeaker, and the failure of the last sound if
        it was not told to ``lost``.
        """
        self.stop()
        if self.failure is not None:
            failure, self.failure = self.failure, None
            raise failure
        if not samples:
            threading.Thread(target=done, daemon=True).start()
            return
        with self._lock:
            try:
                self._current = _Playing(self._sd, self._device, self.form, samples)
                self.form = self._current.form
            except (self._sd.PortAudioError, ValueError) as error:
                raise _no_loudspeaker(error) from error
            current = self._current
        threading.Thread(
            target=self._watch, args=(current, done), daemon=True, name="speaker"
        ).start()

    def stop(self) -> None:
        """Cut off what is playing (barge-in): below a millisecond; its ``done`` is not called."""
        with self._lock:
            if self._current is not None:
                self._current.stop()
                self._current = None

    def _watch(self, current: _Playing, done: Callable[[], None]) -> None:
        outcome = current.wait()
        if outcome == "played":
            done()
        elif outcome == "lost":
            failure = _no_loudspeaker("the device stopped taking sound")
            if self._lost is not None:
                self._lost(failure)
            else:
                self.failure = failure


class _Playing:
    """One sound on its way out."""

    def __init__(self, sd: Any, device: int | str | None, form: Form, samples: bytes) -> None:
        self._at = 0
        self.ended = threading.Event()
        self._finished = threading.Event()  # PortAudio is done with the stream
        self._stopped = False
        self._closing = threading.Lock()
        self._closed = False
        self._sd = sd
        self._stream, self.form = open_stream(
            sd,
            "output",
            device,
            form,
            callback=self._fill,
            finished_callback=self._finished.set,
        )
        # The last buffers are lost when the stream is closed (measured: 30 ms of a prompt's end),
        # so silence follows the sound for as long as the output is late.
        pad = bytes(2 * round(RATE * (_LEAST_PAD + min(0.5, self._stream.latency))))
        self._seconds = len(samples + pad) / 2 / RATE
        self._samples = for_device(samples + pad, self.form)
        try:
            self._stream.start()
        except BaseException:
            self._stream.close()
            raise

    def _fill(self, out: Any, frames: int, _time: Any, _status: Any) -> None:
        piece = self._samples[self._at : self._at + 2 * self.form.channels * frames]
        self._at += len(piece)
        out[: len(piece)] = piece
        out[len(piece) :] = bytes(len(out) - len(piece))
        if self._at >= len(self._samples):
            raise self._sd.CallbackStop  # PortAudio plays what it has, then finishes

    def wait(self) -> str:
        """ "played", "stopped" or "lost"; the stream is closed then."""
        deadline = time.monotonic() + self._seconds + _LATE_SECONDS
        while not self._finished.wait(0.05) and not self._stopped:
            if time.monotonic() > deadline:
                break
        complete = self._finished.is_set() and self._at >= len(self._samples)
        outcome = "stopped" if self._stopped else "played" if complete else "lost"
        self.ended.set()
        self._close()
        return outcome

    def stop(self) -> None:
        if not self.ended.is_set():
            self._stopped = True
            self.ended.set()
            self._close()

    def _close(self) -> None:
        """Once, whoever comes first: two threads in abort and close of one stream hang for ever."""
        with self._closing:
            if self._closed:
                return
            self._closed = True
        with contextlib.suppress(self._sd.PortAudioError):
            self._stream.abort(ignore_errors=True)
            self._stream.close(ignore_errors=True)


def _no_loudspeaker(reason: object) -> NoLoudspeaker:
    return NoLoudspeaker(
        f"The loudspeaker cannot be used: {reason}.",
        "Connect it and choose it as the system's output, or name another device "
        "(voicecheck doctor lists them).",
    )


class SilentSpeaker:
    """Plays nothing and keeps time: ``done`` comes after the sound's length.

    ``compressed``: at once, on the caller's thread, before ``play`` returns.
    """

    def __init__(self, *, compressed: bool = False) -> None:
        self._compressed = compressed
        self._lock = threading.Lock()
        self._timer: threading.Timer | None = None
        self.failure: VoicecheckError | None = None
        self.seconds = 0.0
        """Length of all sounds that were given to it."""

    @property
    def playing(self) -> bool:
        return self._timer is not None

    def play(self, samples: bytes, done: Callable[[], None]) -> None:
        self.stop()
        length = len(samples) / 2 / RATE
        self.seconds += length
        if self._compressed:
            done()
            return
        timer = threading.Timer(length, self._end, (done,))
        timer.daemon = True
        with self._lock:
            self._timer = timer
        timer.start()

    def stop(self) -> None:
        with self._lock:
            if self._timer is not None:
                self._timer.cancel()
                self._timer = None

    def _end(self, done: Callable[[], None]) -> None:
        with self._lock:
            if self._timer is not threading.current_thread():
                return  # stopped at the last moment
            self._timer = None
        done()
