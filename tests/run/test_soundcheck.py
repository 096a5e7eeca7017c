"""Sound check and choice of devices: recorded phrases before a stand-in microphone, the real ear.

The levels are exact by construction: the clips are scaled to a peak, the noise to a mean power.
"""

from __future__ import annotations

import tomllib
from collections import deque
from pathlib import Path

import numpy as np
import pytest

from voicecheck.audio.microphone import Device
from voicecheck.audio.noise import diesel, to_samples
from voicecheck.audio.ports import BLOCK, RATE
from voicecheck.audio.vosk_recogniser import VoskRecogniser
from voicecheck.audio.wav import read_wav
from voicecheck.errors import SettingsInvalid, WrongUse
from voicecheck.run import soundcheck
from voicecheck.run.library import shipped
from voicecheck.run.soundcheck import Tried, advice, choose_devices, floor_dbfs, sound_check
from voicecheck.settings import load_settings, save_settings

CLIPS = shipped("drives") / "all-good" / "clips"


def clip(name: str, peak_dbfs: float) -> np.ndarray:
    found = sorted(CLIPS.glob(f"{name}-[0-9]*.flac"))
    if not found:
        found = sorted((CLIPS.parents[1] / "words" / "joe").glob(f"{name}-[0-9]*.flac"))
    sound = np.frombuffer(read_wav(found[0]), dtype="<i2").astype(np.float64)
    return sound / np.abs(sound).max() * 32768 * 10 ** (peak_dbfs / 20)


class Room:
    """A microphone in a noisy room, into which one clip is spoken each time it is opened."""

    def __init__(self, noise_dbfs: float, peak_dbfs: float, *said: str) -> None:
        self._noise = np.frombuffer(to_samples(diesel(10.0, 5), noise_dbfs), dtype="<i2")
        self._clips = deque([np.zeros(0), *(clip(name, peak_dbfs) for name in said)])
        self._blocks: deque[bytes] = deque()

    def start(self) -> None:
        speech = self._clips.popleft() if self._clips else np.zeros(0)
        total = self._noise.astype(np.float64).copy()
        total[RATE : RATE + speech.size] += speech
        samples = np.clip(np.round(total), -32768, 32767).astype("<i2").tobytes()
        size = 2 * BLOCK
        self._blocks = deque(samples[at : at + size] for at in range(0, len(samples) - size, size))

    def stop(self) -> None:
        self._blocks.clear()

    def read(self, timeout: float) -> bytes | None:
        return self._blocks.popleft() if self._blocks else None


def checked(room: Room) -> list[str]:
    told: list[str] = []
    lines = list(sound_check(VoskRecogniser(), room, told.append))
    assert told[0].startswith("Be quiet")
    assert told[1:] == [f"Say: {phrase}." for phrase in soundcheck.PHRASES]
    return lines


@pytest.mark.parametrize("value", ["-1", "40000", "true", '"30"', "1.5"])
def test_days_that_recordings_are_kept(tmp_path: Path, value: str) -> None:
    file = tmp_path / "settings.toml"
    file.write_text("audio_days = 180\n")
    assert load_settings(file).audio_days == 180
    file.write_text(f"audio_days = {value}\n")
    with pytest.raises(SettingsInvalid, match="audio_days has the value"):
        load_settings(file)


def test_a_good_headset_is_told_so() -> None:
    lines = checked(Room(-55.0, -9.0, "closed-and-locked", "affirm", "affirm"))
    assert lines[0] == "noise -55 dBFS"
    assert "closed and locked: level -9 dBFS" in lines[1]
    assert "heard: closed and locked. " in lines[1]
    assert "Too" not in lines[1]
    assert "Heard as 'affirm'" in lines[2]  # asked for "stand by"
    assert "heard: affirm. " in lines[3]
    assert lines[4] == "2 of 3 heard right."


def test_a_quiet_one_is_told_where_to_sit() -> None:
    lines = checked(Room(-75.0, -36.0, "closed-and-locked"))
    assert "Too quiet: move the microphone to the corner of your mouth" in lines[1]
    assert "Nothing" not in lines[1]
    assert lines[-1].endswith("of 3 heard right.")


@pytest.mark.parametrize(
    ("tried", "first"),
    [
        (Tried("affirm", -90.3), "Nothing at all"),
        (Tried("affirm", -0.4, "affirm", "", "clear", 30.0), "Too loud"),
        (Tried("affirm", -3.0, "affirm", "", "clear", 30.0, True), "Too loud"),
        (Tried("affirm", -31.0, "affirm", "", "clear", 30.0), "Too quiet"),
        (Tried("affirm", -10.0, "affirm", "", "doubtful", 4.0), "Too noisy"),
        (Tried("affirm", -10.0, "", "talk", "", 20.0), "Heard, but not as words"),
        (Tried("affirm", -10.0, "fail", "", "clear", 20.0), "Heard as 'fail'"),
        (Tried("affirm", -10.0, "affirm", "", "doubtful", 20.0), "Right, but in doubt"),
        (Tried("affirm", -10.0, "affirm", "", "clear", None), "Good."),
    ],
)
def test_advice_is_plain_and_the_worst_comes_first(tried: Tried, first: str) -> None:
    assert advice(tried).startswith(first)


def test_the_noise_floor_is_the_power_of_the_room_not_of_a_bang() -> None:
    """Against the definition: 10 log10 of mean power over that of a full-scale square wave."""
    tone = np.round(3276.8 * np.sqrt(2) * np.sin(np.arange(RATE) * 0.3)).astype("<i2")
    assert floor_dbfs(tone.tobytes()) == pytest.approx(-20.0, abs=0.1)
    banged = tone.copy()
    banged[:800] = 32767
    assert floor_dbfs(banged.tobytes()) == pytest.approx(-20.0, abs=0.2)
    assert floor_dbfs(bytes(32000)) == -120.0


DEVICES = (
    Device(0, "Headset", 1, 0, 48000, True, False, "MME"),
    Device(1, "Headset", 1, 0, 48000, False, False, "WASAPI"),
    Device(2, "Speakers", 0, 2, 48000, False, True, "MME"),
)


def test_devices_are_chosen_by_number_and_told_apart_by_their_host() -> None:
    shown: list[str] = []
    answers = deque(["2", "1"])
    chosen = choose_devices(DEVICES, lambda text: answers.popleft(), shown.append)
    assert chosen == {"microphone": "Headset, WASAPI", "loudspeaker": "Speakers"}
    assert "  1  Headset  (the system uses it)" in shown
    assert choose_devices(DEVICES, lambda text: "", shown.append) == {}
    with pytest.raises(WrongUse):
        choose_devices(DEVICES, lambda text: "3", shown.append)


def test_settings_keep_their_comments(tmp_path: Path) -> None:
    file = tmp_path / "deep" / "settings.toml"
    save_settings({"microphone": 'Boom "2"'}, file)
    assert load_settings(file).microphone == 'Boom "2"'
    file.write_text(
        '# the yard\nengine = "vosk"\n\nmicrophone = "old # one"  # the red one\n# end\n'
    )
    save_settings({"microphone": "new", "loudspeaker": "Ürsula"}, file)
    assert file.read_text() == (
        '# the yard\nengine = "vosk"\n\nmicrophone = "new"  # the red one\n# end\n'
        'loudspeaker = "Ürsula"\n'
    )
    assert tomllib.loads(file.read_text())["loudspeaker"] == "Ürsula"


def test_a_file_that_cannot_be_changed_line_by_line_is_left_with_an_instruction(
    tmp_path: Path,
) -> None:
    file = tmp_path / "settings.toml"
    text = 'microphone = """\nmany\nlines"""\n'
    file.write_text(text)
    with pytest.raises(SettingsInvalid) as refused:
        save_settings({"microphone": "new"}, file)
    assert 'microphone = "new"' in str(refused.value)
    assert file.read_text() == text
