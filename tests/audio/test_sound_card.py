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
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest
import soundfile

from voicecheck.audio.ear import Ear
from voicecheck.audio.noise import to_samples
from voicecheck.audio.ports import BLOCK, RATE, Heard
from voicecheck.audio.voice import SynthesiserVoice
from voicecheck.audio.vosk_recogniser import VoskRecogniser
from voicecheck.reply.grammar import Expect, Form, vocabulary

HERE = Path(__file__).parent
SCRIPT = HERE / "sound_card.sh"
CLIPS = HERE.parents[1] / "audio_fixtures" / "all-good" / "clips"

pytestmark = pytest.mark.skipif(
    not (shutil.which("pulseaudio") and shutil.which("pactl")), reason="PulseAudio is not installed"
)


@pytest.fixture
def card() -> Iterator[dict[str, str]]:
    with a_card() as settings:
        yield settings


@contextmanager
def a_card(rate: int = RATE, channels: int = 1) -> Iterator[dict[str, str]]:
    folder = tempfile.mkdtemp(prefix="vc-card-")  # short: a socket's path has at most 107 bytes
    started = subprocess.run(
        ["sh", str(SCRIPT), "start", folder],
        stdout=subprocess.PIPE,
        text=True,
        timeout=20,
        check=True,
        env={**os.environ, "RATE": str(rate), "CHANNELS": str(channels)},
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


ONE_FORM = """
import sys
import sounddevice

RATE, CHANNELS = int(sys.argv[1]), int(sys.argv[2])


def only(make):
    def opened(*, samplerate, channels, **settings):
        if (samplerate, channels) != (RATE, CHANNELS):
            samplerate = 10_000_000  # no card has this: PortAudio refuses by itself
        return make(samplerate=samplerate, channels=channels, **settings)
    return opened


sounddevice.RawInputStream = only(sounddevice.RawInputStream)
sounddevice.RawOutputStream = only(sounddevice.RawOutputStream)
"""
RECORD = (
    ONE_FORM
    + """
import json, subprocess
from voicecheck.audio.microphone import Microphone

microphone = Microphone()
microphone.start()
for _ in range(10):
    microphone.read(1.0)
playing = subprocess.Popen(['paplay', sys.argv[3]])
got = []
while playing.poll() is None:
    got.append(microphone.read(1.0) or b'')
got += [microphone.read(1.0) or b'' for _ in range(30)]
microphone.stop()
open(sys.argv[4], 'wb').write(b''.join(got))
print(json.dumps({'form': str(microphone.form), 'blocks': sorted({len(b) for b in got})}))
"""
)
FORMS = [(48_000, 2), (48_000, 1), (44_100, 2), (8_000, 1)]


@pytest.mark.parametrize(("rate", "channels"), FORMS)
def test_a_microphone_that_refuses_16_khz(rate: int, channels: int, tmp_path: Path) -> None:
    """A tone keeps its pitch and level, a recorded reply is heard right.

    The card runs at that rate and PortAudio refuses every other form; the rest of the way is what
    a real card's is. At 8 kHz a reply has half its band: that it is heard is not asked for.
    """
    seconds, pitch, level = 2.0, 1000.0, 0.25
    reply, _ = soundfile.read(CLIPS / "closed-and-locked-1.flac")
    played = tmp_path / "played.wav"
    times = np.arange(round(seconds * RATE)) / RATE
    quiet = np.random.default_rng(1).standard_normal(RATE) * 0.001
    sound = [quiet, level * np.sin(2 * np.pi * pitch * times), quiet, reply, quiet]
    soundfile.write(played, np.concatenate(sound), RATE)
    with a_card(rate, channels) as card:
        found = run(card, RECORD, str(rate), str(channels), str(played), str(tmp_path / "heard"))
    assert found["blocks"] == [2 * BLOCK]
    assert str(found["form"]).startswith(f"{rate} Hz")
    raw = (tmp_path / "heard").read_bytes()
    heard = np.frombuffer(raw, dtype="<i2") / 32768
    loud = np.flatnonzero(np.abs(heard) > level / 2)
    tone = heard[loud[0] + RATE // 4 : loud[0] + RATE // 4 + RATE]  # one second: bins of 1 Hz
    spectrum = np.abs(np.fft.rfft(tone * np.hanning(tone.size)))
    assert int(np.argmax(spectrum)) == pytest.approx(pitch, abs=2)  # a dropped block shifts it
    assert np.sqrt(2 * np.mean(tone**2)) == pytest.approx(level, rel=0.03)
    if rate < RATE:
        return
    ear = Ear(VoskRecogniser())
    words = (Form("closed", ("closed and locked",)), Form("open", ("not locked",)))
    ear.listen(vocabulary(Expect(words)))
    results = [ear.feed(raw[at : at + 2 * BLOCK]) for at in range(0, len(raw), 2 * BLOCK)]
    texts = [x.hypothesis.text for x in results if isinstance(x, Heard)]
    assert texts == ["closed and locked"]


PLAY = (
    ONE_FORM
    + """
import json, subprocess, threading, time
from voicecheck.audio.speaker import SoundSpeaker

recorder = subprocess.Popen(['parec', '--device=card.monitor', '--format=s16le', '--rate=16000',
                             '--channels=1'], stdout=open(sys.argv[4], 'wb'))
time.sleep(0.5)
speaker, done = SoundSpeaker(), threading.Event()
speaker.play(open(sys.argv[3], 'rb').read(), done.set)
ended = done.wait(20)
time.sleep(0.5)
recorder.kill()
print(json.dumps({'ended': ended, 'form': str(speaker.form)}))
"""
)


@pytest.mark.parametrize(("rate", "channels"), FORMS[:3:2])
def test_a_loudspeaker_that_refuses_16_khz(rate: int, channels: int, tmp_path: Path) -> None:
    pitch = 1000.0
    tone = np.sin(2 * np.pi * pitch * np.arange(RATE * 2) / RATE)
    (tmp_path / "tone").write_bytes(to_samples(tone, -12.0))
    length = pytest.approx(2.0, abs=0.02)
    for _ in range(3):  # beside other programs a card made of software may drop a block
        with a_card(rate, channels) as card:
            found = run(card, PLAY, str(rate), str(channels), str(tmp_path / "tone"),
                        str(tmp_path / "heard"))  # fmt: skip
        heard = np.frombuffer((tmp_path / "heard").read_bytes(), dtype="<i2") / 32768
        loud = np.flatnonzero(np.abs(heard) > 0.1)
        if (loud[-1] - loud[0]) / RATE == length:
            break
    assert found["ended"] is True and str(found["form"]).startswith(f"{rate} Hz")
    assert (loud[-1] - loud[0]) / RATE == length
    tone = heard[loud[0] + RATE // 4 : loud[0] + RATE // 4 + RATE]
    spectrum = np.abs(np.fft.rfft(tone * np.hanning(tone.size)))
    assert int(np.argmax(spectrum)) == pytest.approx(pitch, abs=2)  # a dropped block shifts it
