"""Loudspeaker and microphone against a stand-in for sounddevice that fails as real ones do.

The ways of failing are those that were measured on a virtual sound card: callbacks that stop while
the stream stays "active", a stream that becomes inactive, input that was lost. The real library is
in test_sound_card.py.
"""

from __future__ import annotations

import sys
import threading
import time
import types
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from voicecheck.audio import microphone as microphone_module
from voicecheck.audio.device_form import Form as DeviceForm
from voicecheck.audio.device_form import ToMono
from voicecheck.audio.ear import level
from voicecheck.audio.microphone import Microphone
from voicecheck.audio.ports import BLOCK, RATE
from voicecheck.audio.speaker import SilentSpeaker, SoundSpeaker
from voicecheck.audio.tones import tone
from voicecheck.errors import (
    MicrophoneStalled,
    NoLoudspeaker,
    NoMicrophone,
    NoPortAudio,
    VoicecheckError,
)

SOUND = tone("accepted")
A_BLOCK = bytes([1, 0]) * BLOCK


class Stream:
    """Records what is done to it. ``stop`` hangs on a stalled device, so nobody may call it."""

    def __init__(self, owner: FakeSound, **settings: Any) -> None:
        if owner.refuse is not None:
            raise owner.refuse
        self.owner, self.settings = owner, settings
        self.callback = settings["callback"]
        self.active = False
        self.latency = 0.01
        self.did: list[str] = []
        owner.streams.append(self)

    def start(self) -> None:
        self.active = True
        self.did.append("start")
        if self.owner.plays is not None:
            threading.Thread(target=self.owner.plays, args=(self,), daemon=True).start()

    def stop(self) -> None:
        raise AssertionError("stop() hangs for ever on a stalled device")

    def abort(self, ignore_errors: bool = True) -> None:
        self.active = False
        self.did.append("abort")

    def close(self, ignore_errors: bool = True) -> None:
        self.did.append("close")


class FakeSound(types.ModuleType):
    class PortAudioError(Exception):
        pass

    class CallbackStop(Exception):
        pass

    def __init__(self) -> None:
        super().__init__("sounddevice")
        self.refuse: Exception | None = None
        self.plays: Callable[[Stream], None] | None = None
        self.streams: list[Stream] = []
        self.initialised = 0

    def RawInputStream(self, **settings: Any) -> Stream:
        return Stream(self, **settings)

    def RawOutputStream(self, **settings: Any) -> Stream:
        return Stream(self, **settings)

    def _terminate(self) -> None:
        pass

    def _initialize(self) -> None:
        self.initialised += 1


@pytest.fixture
def sound(monkeypatch: pytest.MonkeyPatch) -> FakeSound:
    made = FakeSound()
    monkeypatch.setitem(sys.modules, "sounddevice", made)
    return made


def play_all(stream: Stream) -> None:
    """A device that takes everything."""
    while True:
        out = bytearray(2 * 160)
        try:
            stream.callback(out, 160, None, None)
        except stream.owner.CallbackStop:
            break
    stream.settings["finished_callback"]()


# -- without PortAudio -----------------------------------------------------------------------


@pytest.mark.parametrize("make", [SoundSpeaker, lambda: Microphone().start()])
def test_without_portaudio_the_error_says_how_to_install_it(
    make: Callable[[], object], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "sounddevice.py").write_text("raise OSError('PortAudio library not found')")
    monkeypatch.delitem(sys.modules, "sounddevice", raising=False)
    monkeypatch.syspath_prepend(str(tmp_path))
    with pytest.raises(NoPortAudio, match="PortAudio library not found") as caught:
        make()
    for system in ("libportaudio2", "Fedora", "macOS", "Windows"):
        assert system in caught.value.how


def test_the_modules_do_not_load_portaudio_when_imported() -> None:
    import subprocess

    code = "import voicecheck.audio.microphone, voicecheck.audio.speaker, sys\n"
    code += "assert 'sounddevice' not in sys.modules"
    root = Path(__file__).parents[2]
    assert subprocess.run([sys.executable, "-c", code], cwd=root).returncode == 0


# -- loudspeaker -----------------------------------------------------------------------------


def test_done_comes_once_when_all_was_played(sound: FakeSound) -> None:
    taken: list[bytes] = []

    def play(stream: Stream) -> None:
        ask = stream.callback

        def keep(out: bytearray, *rest: Any) -> None:
            try:
                ask(out, *rest)
            finally:
                taken.append(bytes(out))

        stream.callback = keep
        play_all(stream)

    sound.plays = play
    done = threading.Event()
    speaker = SoundSpeaker()
    speaker.play(SOUND, done.set)
    assert done.wait(2)
    played = b"".join(taken)
    assert played.startswith(SOUND)
    assert len(played) - len(SOUND) >= 2 * RATE * 0.03  # silence, so that the end is not cut
    assert set(played[len(SOUND) :]) == {0}
    assert not speaker.playing
    assert sound.streams[0].did == ["start", "abort", "close"]


def test_stop_cuts_off_without_done(sound: FakeSound) -> None:
    called: list[str] = []
    speaker = SoundSpeaker()
    speaker.play(SOUND, lambda: called.append("done"))
    assert speaker.playing
    began = time.perf_counter()
    speaker.stop()
    assert time.perf_counter() - began < 0.2
    assert not speaker.playing
    time.sleep(0.15)
    assert called == []
    assert sound.streams[0].did == ["start", "abort", "close"]  # closed by one thread only


def test_a_new_sound_cuts_off_the_old_one(sound: FakeSound) -> None:
    called: list[str] = []
    speaker = SoundSpeaker()
    speaker.play(SOUND, lambda: called.append("first"))
    sound.plays = play_all
    done = threading.Event()
    speaker.play(SOUND, done.set)
    assert done.wait(2) and called == []


@pytest.mark.parametrize("finishes", [True, False])
def test_a_device_lost_on_the_way_is_not_done(
    sound: FakeSound, monkeypatch: pytest.MonkeyPatch, finishes: bool
) -> None:
    """A daemon that dies fires the finish at once; a stalled one fires nothing for ever."""
    monkeypatch.setattr("voicecheck.audio.speaker._LATE_SECONDS", 0.1)
    if finishes:
        sound.plays = lambda stream: stream.settings["finished_callback"]()
    called: list[str] = []
    lost: list[VoicecheckError] = []
    seen = threading.Event()

    def tell(error: VoicecheckError) -> None:
        lost.append(error)
        seen.set()

    SoundSpeaker(lost=tell).play(SOUND, lambda: called.append("done"))
    assert seen.wait(2)
    assert called == [] and "loudspeaker" in lost[0].what

    speaker = SoundSpeaker()
    speaker.play(SOUND, lambda: called.append("done"))
    until = time.monotonic() + 2
    while speaker.failure is None and time.monotonic() < until:
        time.sleep(0.01)
    with pytest.raises(NoLoudspeaker):
        speaker.play(SOUND, lambda: None)
    assert called == []


def test_no_such_loudspeaker(sound: FakeSound) -> None:
    for error in (FakeSound.PortAudioError("Error querying device -1"), ValueError("No output")):
        sound.refuse = error
        with pytest.raises(NoLoudspeaker, match="loudspeaker"):
            SoundSpeaker("nowhere").play(SOUND, lambda: None)


def test_the_silent_speaker_keeps_time() -> None:
    speaker = SilentSpeaker()
    done = threading.Event()
    began = time.monotonic()
    speaker.play(bytes(2 * RATE // 5), done.set)
    assert speaker.playing
    assert done.wait(2)
    assert 0.19 <= time.monotonic() - began < 0.5
    assert not speaker.playing
    called: list[str] = []
    speaker.play(bytes(2 * RATE // 10), lambda: called.append("done"))
    speaker.stop()
    time.sleep(0.15)
    assert called == [] and not speaker.playing


def test_compressed_is_done_at_once_and_counts_the_time() -> None:
    speaker = SilentSpeaker(compressed=True)
    called: list[str] = []
    speaker.play(bytes(2 * RATE * 60), lambda: called.append("done"))
    assert called == ["done"] and speaker.seconds == 60.0 and not speaker.playing


# -- microphone ------------------------------------------------------------------------------


class Clock:
    def __init__(self) -> None:
        self.now = 100.0

    def __call__(self) -> float:
        self.now += 0.01  # each look at the clock costs time, so that no loop lasts for ever
        return self.now


class Status:
    input_overflow = False


def test_blocks_come_in_order(sound: FakeSound) -> None:
    microphone = Microphone("headset")
    microphone.start()
    (stream,) = sound.streams
    settings = stream.settings
    assert (settings["samplerate"], settings["blocksize"], settings["channels"]) == (RATE, BLOCK, 1)
    assert settings["dtype"] == "int16" and settings["device"] == "headset"
    for value in range(3):
        stream.callback(bytes([value, 0]) * BLOCK, BLOCK, None, None)
    assert [microphone.read(0.01) for _ in range(4)] == [
        bytes([0, 0]) * BLOCK,
        bytes([1, 0]) * BLOCK,
        bytes([2, 0]) * BLOCK,
        None,
    ]
    microphone.stop()
    assert stream.did == ["start", "abort", "close"]
    with pytest.raises(MicrophoneStalled):
        microphone.read(0.01)


def test_callbacks_that_stop_while_the_stream_stays_active_are_a_stall(sound: FakeSound) -> None:
    clock = Clock()
    microphone = Microphone(clock=clock)
    microphone.start()
    sound.streams[0].callback(A_BLOCK, BLOCK, None, None)
    assert microphone.read(0.1) == A_BLOCK
    clock.now += microphone_module.STALL_SECONDS
    assert sound.streams[0].active
    with pytest.raises(MicrophoneStalled, match="no sound for 1 s"):
        microphone.read(0.1)
    assert sound.streams[0].did[-2:] == ["abort", "close"]


def test_a_short_gap_is_no_stall(sound: FakeSound) -> None:
    """Callbacks came up to 0.15 s apart (measured)."""
    clock = Clock()
    microphone = Microphone(clock=clock)
    microphone.start()
    clock.now += 0.4
    assert microphone.read(0.1) is None


def test_a_device_that_is_gone_is_a_stall(sound: FakeSound) -> None:
    for spoil in (
        lambda s: setattr(s, "active", False),
        lambda s: s.settings["finished_callback"](),
    ):
        microphone = Microphone()
        microphone.start()
        spoil(sound.streams[-1])
        with pytest.raises(MicrophoneStalled, match="gone"):
            microphone.read(0.5)


def test_lost_input_is_a_stall_and_never_a_hole(sound: FakeSound) -> None:
    """ "not closed" with a hole is "closed"."""
    microphone = Microphone()
    microphone.start()
    status = Status()
    status.input_overflow = True
    sound.streams[0].callback(A_BLOCK, BLOCK, None, status)
    assert microphone.read(0.01) == A_BLOCK
    with pytest.raises(MicrophoneStalled, match="lost"):
        microphone.read(0.01)


def test_a_reader_that_falls_behind_is_told(sound: FakeSound) -> None:
    microphone = Microphone()
    microphone.start()
    count = 0
    for _ in range(1000):
        sound.streams[0].callback(A_BLOCK, BLOCK, None, None)
    with pytest.raises(MicrophoneStalled, match="did not read"):
        for _ in range(1000):
            microphone.read(0.01)
            count += 1
    assert count < 1000


def test_no_microphone(sound: FakeSound) -> None:
    for error in (FakeSound.PortAudioError("Error querying device -1"), ValueError("No input")):
        sound.refuse = error
        with pytest.raises(NoMicrophone, match="cannot be opened"):
            Microphone().start()


def test_it_can_be_opened_again_when_the_device_is_back(sound: FakeSound) -> None:
    microphone = Microphone()
    microphone.start()
    sound.streams[0].active = False
    with pytest.raises(MicrophoneStalled):
        microphone.read(0.01)
    sound.refuse = FakeSound.PortAudioError("Illegal combination of I/O devices")
    assert microphone.reopen() is False
    assert sound.initialised == 1  # the list of devices is read anew only when opening failed
    sound.refuse = None
    assert microphone.reopen() is True
    assert sound.initialised == 1
    sound.streams[-1].callback(A_BLOCK, BLOCK, None, None)
    assert microphone.read(0.1) == A_BLOCK


# -- devices of another rate -----------------------------------------------------------------


def refusing(sound: FakeSound, *taken: tuple[int, int]) -> None:
    """The device takes these forms (rate, channels) only, and PortAudio says why (its codes)."""

    def only(make: Callable[..., Stream]) -> Callable[..., Stream]:
        def opened(**settings: Any) -> Stream:
            if (settings["samplerate"], settings["channels"]) not in taken:
                raise FakeSound.PortAudioError("Invalid sample rate", -9997)
            return make(**settings)

        return opened

    sound.RawInputStream = only(sound.RawInputStream)  # type: ignore[method-assign]
    sound.RawOutputStream = only(sound.RawOutputStream)  # type: ignore[method-assign]
    sound.query_devices = lambda device, kind: {  # type: ignore[attr-defined]
        "default_samplerate": 44100.0, "max_input_channels": 2, "max_output_channels": 8,
    }  # fmt: skip


def test_its_own_rate_before_the_usual_ones_and_one_channel_before_two(sound: FakeSound) -> None:
    refusing(sound, (48000, 1), (44100, 1), (44100, 2))
    microphone = Microphone()
    microphone.start()
    assert (microphone.form.rate, microphone.form.channels) == (44100, 1)
    microphone.stop()
    microphone.start()
    assert len(sound.streams) == 2  # what was taken before is tried first


def test_a_device_that_takes_nothing_is_no_microphone(sound: FakeSound) -> None:
    refusing(sound)
    with pytest.raises(NoMicrophone, match="Invalid sample rate"):
        Microphone().start()
    with pytest.raises(NoLoudspeaker, match="Invalid sample rate"):
        SoundSpeaker().play(SOUND, lambda: None)


def test_two_channels_are_averaged_and_blocks_stay_whole(sound: FakeSound) -> None:
    refusing(sound, (RATE, 2))
    microphone = Microphone()
    microphone.start()
    pair = np.array([1000, -400], dtype="<i2")
    sound.streams[0].callback(np.tile(pair, BLOCK).tobytes(), BLOCK, None, None)
    assert microphone.read(0.01) == np.full(BLOCK, 300, dtype="<i2").tobytes()


def test_exact_zeros_stay_exact_zeros() -> None:
    """They are the sign of a headset out of range (ear.py, rule 6)."""
    mono = ToMono(DeviceForm(44100, 2))
    speech = (np.random.default_rng(1).standard_normal(2 * 44100) * 3000).astype("<i2").tobytes()
    mono(speech)
    mono(bytes(4 * 4410))  # what was in the filter comes out
    assert not any(mono(bytes(4 * 44100)))


@pytest.mark.parametrize(("rate", "channels"), [(48000, 1), (44100, 2), (96000, 1)])
def test_clipping_of_the_device_is_still_known(rate: int, channels: int) -> None:
    """A reply that drove the microphone to its full scale is doubtful (ear.py, rule 8)."""
    times = np.arange(rate) / rate
    for peak, clipped in ((0.95, False), (1.3, True), (4.0, True)):
        wave = np.clip(np.sin(2 * np.pi * 300 * times) * peak, -1, 1) * 32767
        stereo = np.repeat(np.round(wave), channels).astype("<i2").tobytes()
        mono = ToMono(DeviceForm(rate, channels))
        size = 2 * channels * DeviceForm(rate).frames
        sound = b"".join(mono(stereo[at : at + size]) for at in range(0, len(stereo), size))
        assert level(sound)[1] is clipped


def test_a_prompt_in_two_channels(sound: FakeSound) -> None:
    refusing(sound, (RATE, 2))
    taken: list[bytes] = []

    def play(stream: Stream) -> None:
        try:
            while True:
                out = bytearray(4 * 160)
                taken.append(out)
                stream.callback(out, 160, None, None)
        except FakeSound.CallbackStop:
            stream.settings["finished_callback"]()

    sound.plays = play
    done = threading.Event()
    SoundSpeaker().play(SOUND, done.set)
    assert done.wait(2)
    both = np.frombuffer(b"".join(taken), dtype="<i2").reshape(-1, 2)
    for channel in both.T:
        assert channel.tobytes().startswith(SOUND)
