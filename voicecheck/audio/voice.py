"""Prompts as sound: rendered once by the synthesiser, kept on disk, played from there.

The synthesiser lives in a child process (synthesiser.py says why). It is started with the first
text that is not in the cache, serves until the voice is closed, and is started again once when it
dies; a text that kills it twice is an error, not a dead loop. Only one text is rendered at a time.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import queue
import shutil
import subprocess
import sys
import tempfile
import threading
import wave
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from voicecheck.audio.ports import RATE
from voicecheck.errors import NoSynthesiser

DEFAULT_VOICE = "gmw/en-us"
DEFAULT_RATE = 145  # set value; measured about 155 words a minute
_FORMAT = "2"  # raise it when the making of sound changes: what is cached is then made again
_START_SECONDS = 20.0
_RENDER_SECONDS = 10.0
_QUIET = 90  # int16: below it at both ends is silence (-51 dB of full scale)
_LEAD, _TAIL = RATE // 50, RATE // 20

_HOW = (
    "Install one. Debian, Ubuntu: apt install espeak-ng. Fedora: dnf install espeak-ng. Any "
    "Linux: pip install espeakng-loader. Windows and macOS speak with the system's own voices "
    "(pip install pyttsx3)."
)


class SynthesiserVoice:
    """Speaks with pyttsx3 and keeps what it rendered in ``folder``.

    ``folder`` None: the platform's cache folder. Where it cannot be written, prompts are rendered
    anew each time. ``voice`` is an id of the platform's synthesiser; one that is not there is
    replaced by the platform's default. Use it in a ``with`` block or call ``close``.
    """

    def __init__(
        self, folder: Path | None = None, *, voice: str = DEFAULT_VOICE, rate: int = DEFAULT_RATE
    ) -> None:
        if folder is None:
            import platformdirs

            folder = Path(platformdirs.user_cache_dir("voicecheck", appauthor=False)) / "voice"
        self._folder = folder
        self._voice, self._rate = voice, rate
        self._lock = threading.Lock()
        self._child: _Child | None = None
        self.rendered = 0
        """Texts that were not in the cache."""

    @property
    def name(self) -> str:
        return f"pyttsx3 {self._voice} {self._rate}"

    def render(self, text: str) -> bytes:
        """16 kHz mono int16 samples of ``text``, without silence at the ends; b"" for blank text.

        Raises NoSynthesiser when none can be started or the text cannot be rendered.
        """
        text = " ".join(text.split())
        if not text:
            return b""
        path = self._folder / f"{self._key(text)}.wav"
        with self._lock:
            cached = _read(path)
            if cached is not None:
                return cached
            samples = self._make(text)
            self.rendered += 1
            with contextlib.suppress(OSError):  # a cache that cannot be written is no cache
                self._folder.mkdir(parents=True, exist_ok=True)
                _write(path, samples)
            return samples

    def render_many(self, texts: Iterable[str]) -> int:
        """Render all of ``texts`` that the cache lacks; how many these were."""
        before = self.rendered
        for text in texts:
            self.render(text)
        return self.rendered - before

    def close(self) -> None:
        """End the child process. The voice can be used again."""
        with self._lock:
            self._drop()

    def __enter__(self) -> SynthesiserVoice:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _key(self, text: str) -> str:
        parts = (_FORMAT, sys.platform, self._voice, str(self._rate), text)
        return hashlib.sha256("\0".join(parts).encode()).hexdigest()

    def _make(self, text: str) -> bytes:
        for attempt in (1, 2):
            try:
                if self._child is None:
                    self._child = _Child(self._voice, self._rate)
                return trim(self._child.render(text))
            except _Died as error:
                self._drop()
                if attempt == 2:
                    raise NoSynthesiser(
                        f"The synthesiser ended while rendering {text!r} ({error}).", _HOW
                    ) from None
        raise AssertionError

    def _drop(self) -> None:
        if self._child is not None:
            self._child.close()
            self._child = None


class _Died(Exception):
    """The child process ended, hung or cannot be understood."""


class _Child:
    """One running synthesiser."""

    def __init__(self, voice: str, rate: int) -> None:
        from voicecheck.audio import synthesiser

        self._folder = Path(tempfile.mkdtemp(prefix="voicecheck-voice-"))
        # -P: the folder of the script is not put on the path, whose wave.py etc. are not ours.
        command = [sys.executable, "-P", synthesiser.__file__, voice, str(rate)]
        try:
            self._process = subprocess.Popen(
                command,
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                text=True,
                encoding="utf-8",
            )
        except OSError as error:
            shutil.rmtree(self._folder, ignore_errors=True)
            raise NoSynthesiser(f"The synthesiser cannot be started: {error}.", _HOW) from error
        self._answers: queue.Queue[str] = queue.Queue()
        threading.Thread(target=self._listen, daemon=True, name="synthesiser").start()
        try:
            first = self._answer(_START_SECONDS)
        except _Died as error:
            self.close()
            raise NoSynthesiser(f"The speech synthesiser does not start ({error}).", _HOW) from None
        if "ready" not in first:
            self.close()
            raise NoSynthesiser(f"No speech synthesiser: {first.get('error', first)}.", _HOW)

    def render(self, text: str) -> NDArray[np.int16]:
        path = self._folder / "prompt.wav"
        assert self._process.stdin is not None
        try:
            self._process.stdin.write(json.dumps({"text": text, "path": str(path)}) + "\n")
            self._process.stdin.flush()
        except OSError:
            raise _Died("it is gone") from None
        answer = self._answer(_RENDER_SECONDS)
        if "error" in answer:
            raise NoSynthesiser(f"{text!r} cannot be rendered: {answer['error']}.", _HOW)
        try:
            with wave.open(str(path), "rb") as file:
                if file.getsampwidth() != 2:
                    raise _Died("it does not write 16-bit sound")
                data = np.frombuffer(file.readframes(file.getnframes()), dtype="<i2")
                mono = data.reshape(-1, file.getnchannels()).mean(axis=1)
                return resample(mono, file.getframerate())
        except (OSError, EOFError, wave.Error) as error:
            raise _Died(f"its sound cannot be read: {error}") from None

    def close(self) -> None:
        with contextlib.suppress(OSError):
            if self._process.stdin is not None:
                self._process.stdin.close()
        try:
            self._process.wait(0.5)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        shutil.rmtree(self._folder, ignore_errors=True)

    def _listen(self) -> None:
        assert self._process.stdout is not None
        for line in self._process.stdout:
            self._answers.put(line)
        self._process.stdout.close()
        self._answers.put("")

    def _answer(self, limit: float) -> dict[str, Any]:
        try:
            line = self._answers.get(timeout=limit)
        except queue.Empty:
            raise _Died(f"no answer within {limit:.0f} s") from None
        if not line:
            raise _Died(f"status {self._process.wait()}")
        try:
            answer = json.loads(line)
        except ValueError:
            raise _Died(f"it says {line.strip()!r}") from None
        return answer if isinstance(answer, dict) else {}


def resample(samples: NDArray[np.float64], rate: int) -> NDArray[np.int16]:
    """From ``rate`` to 16 kHz by the spectrum of the whole prompt.

    Exact for what lies below both half rates; half a second of zeros on both sides keep the ends
    from running into each other.
    """
    if rate == RATE or samples.size == 0:
        return np.clip(np.round(samples), -32768, 32767).astype(np.int16)
    pad = rate // 2
    padded = np.concatenate([np.zeros(pad), samples, np.zeros(pad)])
    padded = np.concatenate([padded, np.zeros(-padded.size % rate)])  # whole seconds: exact ratio
    count = padded.size // rate * RATE
    spectrum = np.fft.rfft(padded)
    wanted = np.zeros(count // 2 + 1, dtype=np.complex128)
    common = min(spectrum.size, wanted.size)
    wanted[:common] = spectrum[:common]
    wanted[-1] = 0.0
    out = np.fft.irfft(wanted, count) * (count / padded.size)
    start = pad * RATE // rate
    out = out[start : start + samples.size * RATE // rate]
    return np.clip(np.round(out), -32768, 32767).astype(np.int16)


def trim(samples: NDArray[np.int16]) -> bytes:
    """Without the silence at both ends (20 ms and 50 ms of it stay)."""
    loud = np.flatnonzero(np.abs(samples.astype(np.int32)) > _QUIET)
    if loud.size == 0:
        return b""
    kept = samples[max(0, loud[0] - _LEAD) : loud[-1] + 1 + _TAIL]
    return bytes(kept.astype("<i2").tobytes())


def _read(path: Path) -> bytes | None:
    """Samples of a cached prompt; None when it is not there or not as we write them."""
    try:
        with wave.open(str(path), "rb") as file:
            if (file.getframerate(), file.getnchannels(), file.getsampwidth()) != (RATE, 1, 2):
                return None
            samples = file.readframes(file.getnframes())
            return samples if len(samples) == 2 * file.getnframes() else None
    except (OSError, EOFError, wave.Error):
        return None


def _write(path: Path, samples: bytes) -> None:
    handle, part = tempfile.mkstemp(dir=path.parent, prefix=".part-")
    try:
        with os.fdopen(handle, "wb") as raw, wave.open(raw, "wb") as file:
            file.setnchannels(1)
            file.setsampwidth(2)
            file.setframerate(RATE)
            file.writeframes(samples)
        os.replace(part, path)
    except OSError:
        Path(part).unlink(missing_ok=True)
        raise
