"""The real PortAudio on a virtual sound card (sound_card.sh): what is played is recorded.

Skipped where PulseAudio or PortAudio is not installed. The program under test runs in a process of
its own, because PortAudio reads the environment of the card when it is loaded.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from voicecheck.audio.voice import SynthesiserVoice

HERE = Path(__file__).parent
SCRIPT = HERE / "sound_card.sh"

pytestmark = pytest.mark.skipif(
    not (shutil.which("pulseaudio") and shutil.which("pactl")), reason="PulseAudio is not installed"
)


@pytest.fixture
def card() -> Iterator[dict[str, str]]:
    folder = tempfile.mkdtemp(prefix="vc-card-")  # short: a socket's path has at most 107 bytes
    started = subprocess.run(
        ["sh", str(SCRIPT), "start", folder],
        stdout=subprocess.PIPE,
        text=True,
        timeout=20,
        check=True,
    )
    settings = dict(line.split("=", 1) for line in started.stdout.splitlines())
    yield {**os.environ, **settings, "CARD": folder}
    subprocess.run(["sh", str(SCRIPT), "stop", folder], timeout=20, check=False)
    shutil.rmtree(folder, ignore_errors=True)


def run(card: dict[str, str], code: str, *arguments: str) -> dict[str, object]:
    done = subprocess.run(
        [sys.executable, "-c", code, *arguments],
        env={**card, "PYTHONPATH": str(HERE.parents[1])},
        capture_output=True,
        text=True,
        timeout=60,
    )
    if "PortAudio library not found" in done.stderr:
        pytest.skip("PortAudio is not installed")
    assert done.returncode == 0, done.stderr
    found: dict[str, object] = json.loads(done.stdout.splitlines()[-1])
    return found


PLAY_AND_RECORD = """
import json, sys, threading, time
import numpy as np
from voicecheck.audio.microphone import Microphone, devices
from voicecheck.audio.speaker import SoundSpeaker

sound = open(sys.argv[1], 'rb').read()
microphone, speaker, done = Microphone(), SoundSpeaker(), threading.Event()
microphone.start()
for _ in range(10):
    microphone.read(1.0)
began = time.monotonic()
speaker.play(sound, done.set)
got, ended = [], None
while ended is None or time.monotonic() - ended < 0.5:
    got.append(microphone.read(1.0) or b'')
    if ended is None and done.is_set():
        ended = time.monotonic()
microphone.stop()
heard = np.frombuffer(b''.join(got), '<i2').astype(float)
played = np.frombuffer(sound, '<i2').astype(float)
size = 1 << int(np.ceil(np.log2(heard.size + played.size)))
like = np.fft.irfft(np.fft.rfft(heard, size) * np.conj(np.fft.rfft(played, size)), size)
at = int(np.argmax(like[: max(1, heard.size - played.size + 1)]))
piece = heard[at : at + played.size]
print(json.dumps({
    'devices': len(devices()), 'late': ended - began - played.size / 16000,
    'complete': piece.size == played.size,
    'difference': float(np.abs(piece - played[: piece.size]).max()),
}))
"""


def test_a_prompt_is_recorded_as_it_was_played(
    card: dict[str, str], voice: SynthesiserVoice, tmp_path: Path
) -> None:
    """Sample for sample, to its last one, and ``done`` soon after its end."""
    prompt = tmp_path / "prompt.raw"
    prompt.write_bytes(voice.render("Kingpin and jaws. What do you see?"))
    for _ in range(3):  # beside other programs a card made of software may drop a block
        found = run(card, PLAY_AND_RECORD, str(prompt))
        if found["complete"] is True and found["difference"] == 0.0:
            break
    assert found["complete"] is True
    assert isinstance(found["difference"], float) and found["difference"] <= 1.0
    assert isinstance(found["late"], float) and 0.0 <= found["late"] < 0.5
    assert isinstance(found["devices"], int) and found["devices"] >= 1


BARGE_IN = """
import json, threading, time
from voicecheck.audio.microphone import Microphone
from voicecheck.audio.speaker import SoundSpeaker
from voicecheck.audio.tones import tone

microphone, speaker, called = Microphone(), SoundSpeaker(), []
microphone.start()
times = []
for _ in range(5):
    speaker.play(tone('hold') * 10, lambda: called.append(1))
    time.sleep(0.3)
    began = time.perf_counter()
    speaker.stop()
    times.append(time.perf_counter() - began)
time.sleep(0.2)
while microphone.read(0.0) is not None:
    pass
later = [microphone.read(1.0) for _ in range(5)]
microphone.stop()
print(json.dumps({'slowest': max(times), 'done': len(called),
                  'quiet': all(not any(b) for b in later if b)}))
"""


def test_barge_in_cuts_off_at_once(card: dict[str, str]) -> None:
    found = run(card, BARGE_IN)
    assert found["done"] == 0
    assert found["quiet"] is True
    assert isinstance(found["slowest"], float) and found["slowest"] < 0.1


FREEZE = """
import json, os, subprocess, sys, time
from voicecheck.audio.microphone import Microphone
from voicecheck.errors import MicrophoneStalled

microphone = Microphone()
microphone.start()
for _ in range(5):
    microphone.read(1.0)
subprocess.run(['sh', sys.argv[1], sys.argv[2], os.environ['CARD']], check=True,
               stdout=subprocess.DEVNULL)
began, said = time.monotonic(), ''
while time.monotonic() - began < 10:
    try:
        microphone.read(0.2)
    except MicrophoneStalled as error:
        said = error.what
        break
print(json.dumps({'said': said, 'after': time.monotonic() - began}))
"""


@pytest.mark.parametrize("failure", ["freeze", "stop"])
def test_a_microphone_that_stops_is_noticed(card: dict[str, str], failure: str) -> None:
    """A frozen source leaves the stream "active"; a dead daemon ends it. Neither raises by
    itself, and a blocking read would hang for ever."""
    found = run(card, FREEZE, str(SCRIPT), failure)
    assert "microphone stopped" in str(found["said"])
    assert isinstance(found["after"], float) and found["after"] < 3.0
