"""A yard in which the loudspeaker is heard by the microphone, and the times on its sound card.

One sound server carries both devices, so that the one can be led back into the other (a loopback of
the server). What comes out of the loudspeaker and what goes into the microphone are recorded by two
recorders with one clock.
"""

from __future__ import annotations

import shutil
import subprocess
import tempfile
import threading
import time
from pathlib import Path
from typing import Self

import numpy as np

from tests.faults.yard import put_list, recorded
from tests.run.yard import Card, Program
from voicecheck.audio.voice import SynthesiserVoice

BELOW_DB = 6.0
"""How far the prompt that is fed back lies below the driver's speech."""


def loudness(samples: bytes) -> float:
    """RMS of what is no silence."""
    values = np.frombuffer(samples, dtype="<i2").astype(float)
    values = values[np.abs(values) > 100]
    return float(np.sqrt(np.mean(values**2)))


class EchoYard(Card):
    """The card of tests/run/yard.py with an echo of its loudspeaker in its microphone."""

    def __enter__(self) -> Self:
        super().__enter__()
        self.place = Path(tempfile.mkdtemp(prefix="vc-"))
        self.program: Program | None = None
        return self

    def __exit__(self, *given: object) -> None:
        if self.program is not None:
            self.program.process.kill()
            self.program.process.wait(30)
        super().__exit__(*given)
        shutil.rmtree(self.place, ignore_errors=True)

    def echo(self, prompt: str, reply: str) -> None:
        """Lead the loudspeaker back into the microphone, ``BELOW_DB`` below the reply."""
        wanted = loudness(recorded(reply)) / loudness(SynthesiserVoice().render(prompt))
        gain_db = 20 * np.log10(wanted) - BELOW_DB
        self._pactl("load-module", "module-loopback", "source=card.monitor", "sink=mic",
                    "latency_msec=20")  # fmt: skip
        for line in self._pactl("list", "short", "sink-inputs").splitlines():
            if "loopback" in line:
                self._pactl("set-sink-input-volume", line.split()[0], f"{gain_db:.1f}dB")
                return
        raise AssertionError("no loopback")

    def _pactl(self, *words: str) -> str:
        return subprocess.run(
            ["pactl", *words], env=self.env, check=True, capture_output=True, text=True, timeout=30
        ).stdout

    def run(self, ask: str, *words: str, caution: str = "") -> Program:
        """The program with one question."""
        file = put_list(self.place)
        text = file.read_text().replace("ask: Locked, or not?", f"{caution}ask: {ask}")
        file.write_text(text)
        self.program = Program(
            self, str(file), "--into", str(self.place / "out"), "--engine", "pocketsphinx", *words
        )
        return self.program

    @property
    def inspection(self) -> Path:
        (found,) = (self.place / "out").iterdir()
        return found

    def stopped_after(self, words: str) -> float:
        """Say this into a prompt. Seconds from its first sample to the loudspeaker's last one."""
        samples = recorded(words)
        began: list[float] = []
        recorder = subprocess.Popen(
            ["parec", "--device=mic.monitor", "--format=s16le", "--rate=16000", "--channels=1",
             "--latency-msec=20"], env=self.env, stdout=subprocess.PIPE,
        )  # fmt: skip

        def first() -> None:
            assert recorder.stdout is not None
            while block := recorder.stdout.read(320):
                if np.abs(np.frombuffer(block, dtype="<i2").astype(int)).max() > 300:
                    began.append(time.monotonic())
                    return

        watch = threading.Thread(target=first, daemon=True)
        watch.start()
        time.sleep(0.5)
        self.speak(samples)
        watch.join(10)
        recorder.kill()
        recorder.wait(30)
        return self.loud_at - began[0]
