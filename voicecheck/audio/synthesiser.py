"""The speech synthesiser, as a program of its own.

A synthesiser can end the process it runs in (espeak-ng without its data calls exit), can hang
(two threads on one pyttsx3 engine) and prints on standard output. So it runs in a child process
that voice.py starts by this file's path, and this file imports nothing of the package.

It reads one JSON object a line from standard input, {"text", "path"}, writes the speech as a WAV
file to ``path`` and answers one JSON object a line, {"ok": true} or {"error": "..."}. The first
line it writes is {"ready": "<driver> <voice>"} or {"error": "..."}. It ends with its input.
"""

from __future__ import annotations

import contextlib
import ctypes
import json
import os
import signal
import sys
import time
from typing import Any

LONGEST_RENDER = 8.0  # seconds
_PACE_ATTEMPTS = 4


def prepare_espeak() -> ctypes.CDLL:
    """Make libespeak-ng findable for pyttsx3 (Linux) and return it.

    The system's library when there is one; else that of espeakng-loader, loaded before pyttsx3
    looks for it by the same name. With the latter the data folder must be named and be there:
    without it the library ends the process. Setting LD_LIBRARY_PATH here would be too late.
    """
    try:
        return ctypes.CDLL("libespeak-ng.so.1")
    except OSError:
        pass
    import espeakng_loader  # its absence is the caller's ImportError

    data = espeakng_loader.get_data_path()
    if not os.path.isfile(os.path.join(data, "phontab")):
        raise RuntimeError("the data of espeak-ng are missing")
    os.environ["ESPEAK_DATA_PATH"] = data
    return ctypes.CDLL(espeakng_loader.get_library_path())


class _EspeakPace:
    """The rate as libespeak-ng itself knows it.

    pyttsx3 hands the rate over only when the first text is due and at once cancels whatever the
    library is still doing. When the library's own thread is late, as on a busy machine, the rate
    is lost with that and the text comes at pyttsx3's 200 words a minute. pyttsx3 cannot say the
    rate in force either: it calls espeak_GetParameter with one argument where it takes two.
    """

    _RATE, _CURRENT = 1, 1  # espeakRATE; 1: the value in force, 0: the default (speak_lib.h)

    def __init__(self, library: ctypes.CDLL, rate: int) -> None:
        self._library, self._rate = library, rate

    def set(self) -> None:
        """Set the rate and wait until the library has done so."""
        self._library.espeak_SetParameter(self._RATE, self._rate, 0)
        self._library.espeak_Synchronize()

    def is_set(self) -> bool:
        return bool(self._library.espeak_GetParameter(self._RATE, self._CURRENT) == self._rate)


class Engine:
    """One pyttsx3 engine with one voice and rate."""

    def __init__(self, voice: str, rate: int) -> None:
        self._pace: _EspeakPace | None = None
        if sys.platform.startswith("linux"):
            self._pace = _EspeakPace(prepare_espeak(), rate)
        import pyttsx3

        self._engine: Any = pyttsx3.init()
        known = {str(v.id).lower() for v in self._engine.getProperty("voices")}
        self.voice = voice if voice.lower() in known else "default"
        if self.voice == voice:
            # A wrong name would be ignored without a word, so it is looked up first.
            self._engine.setProperty("voice", voice)
        self._engine.setProperty("rate", rate)
        self._finished = False
        self._engine.connect("finished-utterance", self._on_finished)

    def _on_finished(self, name: Any = None, completed: bool = True) -> None:
        self._finished = True

    def render(self, text: str, path: str) -> None:
        """Write ``text`` to the WAV file ``path``.

        runAndWait does not wait on every platform: the file is complete when the engine said so,
        or when it has stopped growing where no such event comes. With espeak-ng it is made again
        when it may have been spoken at another rate than ours.
        """
        for _ in range(_PACE_ATTEMPTS):
            if self._pace is not None:
                self._pace.set()
            self._make(text, path)
            if self._pace is None or self._pace.is_set():
                return
        raise RuntimeError("the synthesiser does not keep the rate")

    def _make(self, text: str, path: str) -> None:
        with contextlib.suppress(FileNotFoundError):
            os.unlink(path)  # the one before it must not be taken for it
        self._finished = False
        self._engine.save_to_file(text, path)  # one at a time: a queued first one is never made
        self._engine.runAndWait()
        limit = time.monotonic() + LONGEST_RENDER
        size, since = -1, time.monotonic()
        while time.monotonic() < limit:
            now = os.path.getsize(path) if os.path.exists(path) else -1
            if now != size:
                size, since = now, time.monotonic()
            if size > 44 and (self._finished or time.monotonic() - since > 0.3):
                return
            time.sleep(0.002)
        raise RuntimeError("the synthesiser made no sound")


def main() -> int:
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the loop, which may still speak
    answers = os.fdopen(os.dup(1), "w", encoding="utf-8", buffering=1)
    os.dup2(2, 1)  # whatever the engine prints must not reach the answers

    def answer(**what: object) -> None:
        answers.write(json.dumps(what) + "\n")

    voice, rate = sys.argv[1], int(sys.argv[2])
    try:
        engine = Engine(voice, rate)
    except Exception as error:  # any: pyttsx3 raises bare classes, and all mean the same here
        answer(error=f"{type(error).__name__}: {error}".splitlines()[0])
        return 1
    answer(ready=engine.voice)
    for line in sys.stdin:
        job = json.loads(line)
        try:
            engine.render(job["text"], job["path"])
            answer(ok=True)
        except Exception as error:
            answer(error=f"{type(error).__name__}: {error}".splitlines()[0])
    return 0


if __name__ == "__main__":
    sys.exit(main())
