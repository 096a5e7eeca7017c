"""Recordings in, evidence out, tones, noise and level figures."""

from __future__ import annotations

import hashlib
import io
import wave
from pathlib import Path

import numpy as np
import pytest
import soundfile
from stand_ins_audio import hiss

from voicecheck.audio import noise
from voicecheck.audio.ear import level, snr
from voicecheck.audio.evidence import Evidence
from voicecheck.audio.ports import RATE
from voicecheck.audio.tones import NAMES, tone
from voicecheck.audio.wav import read_wav
from voicecheck.errors import JournalNotWritable, WavUnusable

# -- reading ---------------------------------------------------------------------------------


def write(path: Path, rate: int = RATE, channels: int = 1, width: int = 2) -> bytes:
    """By the standard library, so that two independent writers and readers meet."""
    data = bytes(range(256)) * 12 * channels * width
    with wave.open(str(path), "wb") as file:
        file.setframerate(rate)
        file.setnchannels(channels)
        file.setsampwidth(width)
        file.writeframes(data)
    return data


def test_a_good_wav_and_flac_give_their_samples(tmp_path: Path) -> None:
    data = write(tmp_path / "good.wav")
    assert read_wav(tmp_path / "good.wav") == data
    soundfile.write(tmp_path / "good.flac", np.frombuffer(data, "<i2"), RATE, subtype="PCM_16")
    assert read_wav(tmp_path / "good.flac") == data


@pytest.mark.parametrize(
    ("change", "said"),
    [({"rate": 8000}, "8000"), ({"channels": 2}, "2 channels"), ({"width": 3}, "16-bit")],
)
def test_a_wrong_wav_is_refused_with_the_way_to_convert_it(
    tmp_path: Path, change: dict[str, int], said: str
) -> None:
    write(tmp_path / "wrong.wav", **change)
    with pytest.raises(WavUnusable, match=said) as caught:
        read_wav(tmp_path / "wrong.wav")
    assert "ffmpeg -i wrong.wav -ac 1 -ar 16000" in caught.value.how


def test_what_is_no_sound_is_refused(tmp_path: Path) -> None:
    empty, text, cut = tmp_path / "empty.wav", tmp_path / "text.wav", tmp_path / "cut.flac"
    empty.write_bytes(b"")
    text.write_text("not a recording")
    soundfile.write(cut, np.zeros(RATE, np.int16), RATE)
    cut.write_bytes(cut.read_bytes()[:30])
    no_samples = tmp_path / "none.wav"
    with wave.open(str(no_samples), "wb") as file:
        file.setparams((1, 2, RATE, 0, "NONE", ""))
    ogg = tmp_path / "sound.ogg"
    soundfile.write(ogg, np.zeros(RATE), RATE)
    for path in (empty, text, cut, no_samples, ogg, tmp_path / "absent.wav", tmp_path):
        with pytest.raises(WavUnusable):
            read_wav(path)


# -- evidence --------------------------------------------------------------------------------


def test_evidence_is_lossless_and_its_digest_is_that_of_the_file(tmp_path: Path) -> None:
    sound = hiss(1.0, 3, rms=2000)
    name, digest = Evidence(tmp_path / "inspection").save(sound, 7)
    path = tmp_path / "inspection" / name
    assert name == "reply-0007.flac"
    assert digest == hashlib.sha256(path.read_bytes()).hexdigest()
    assert read_wav(path) == sound
    assert [p.name for p in path.parent.iterdir()] == [name]  # no half-written file beside it


def test_a_reply_number_is_used_once(tmp_path: Path) -> None:
    evidence = Evidence(tmp_path)
    evidence.save(hiss(0.1), 1)
    first = (tmp_path / "reply-0001.flac").read_bytes()
    with pytest.raises(JournalNotWritable):
        evidence.save(hiss(0.2), 1)
    assert (tmp_path / "reply-0001.flac").read_bytes() == first


def test_a_folder_that_cannot_be_written_is_an_error(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(JournalNotWritable):
        Evidence(tmp_path / "file").save(hiss(0.1), 1)


# -- tones -----------------------------------------------------------------------------------


def bursts(samples: bytes) -> list[tuple[float, float]]:
    """(seconds, hertz of the strongest partial) of each stretch of sound."""
    values = np.frombuffer(samples, "<i2").astype(float)
    size = RATE // 200
    loud = [
        bool(np.any(np.abs(values[i : i + size]) > 300)) for i in range(0, values.size - size, size)
    ]
    edges = np.flatnonzero(np.diff(np.array([False, *loud, False]).astype(int)))
    found = []
    for start, end in zip(edges[::2] * size, edges[1::2] * size, strict=True):
        piece = values[start:end]
        spectrum = np.abs(np.fft.rfft(piece * np.hanning(piece.size), 1 << 15))
        found.append((piece.size / RATE, float(np.argmax(spectrum)) * RATE / (1 << 15)))
    return found


def test_tones_differ_in_rhythm_and_in_pitch() -> None:
    assert set(NAMES) == {"listening", "accepted", "hold", "not understood", "working"}
    heard = {name: bursts(tone(name)) for name in NAMES}
    rhythms = {name: tuple(round(length / 0.03) for length, _ in b) for name, b in heard.items()}
    pitches = {name: tuple(round(hertz / 20) for _, hertz in b) for name, b in heard.items()}
    assert len(set(rhythms.values())) == len(NAMES), rhythms
    assert len(set(pitches.values())) == len(NAMES), pitches
    for name, b in heard.items():
        assert all(400 < hertz < 1700 for _, hertz in b), name
        assert len(tone(name)) / 2 / RATE < 0.65, name
    assert heard["accepted"][1][1] > heard["accepted"][0][1]  # rises
    assert heard["not understood"][1][1] < heard["not understood"][0][1]  # falls


def test_tones_begin_and_end_softly_and_do_not_clip() -> None:
    for name in NAMES:
        values = np.abs(np.frombuffer(tone(name), "<i2").astype(int))
        assert values[0] < 300 and values[-1] < 300 and values.max() < 16_000
    with pytest.raises(KeyError):
        tone("siren")


# -- noise -----------------------------------------------------------------------------------


def test_noise_is_seeded() -> None:
    for make in (noise.diesel, noise.wind):
        assert np.array_equal(make(1.0, 5), make(1.0, 5))
        assert not np.array_equal(make(1.0, 5), make(1.0, 6))
        assert abs(float(np.sqrt(np.mean(make(2.0, 5) ** 2))) - 1) < 1e-6
        assert make(1.5, 1).size == 24_000


def test_a_diesel_fires_at_the_rate_of_a_four_stroke() -> None:
    """650 turns a minute, six cylinders, each firing every second turn: 32.5 a second (any
    textbook of engines; from memory)."""
    made = noise.diesel(20, 1, rpm=650, cylinders=6)
    power = np.abs(np.fft.rfft(made * np.hanning(made.size))) ** 2
    frequency = np.fft.rfftfreq(made.size, 1 / RATE)

    def around(hertz: float) -> float:
        return float(power[(frequency > hertz - 1.5) & (frequency < hertz + 1.5)].mean())

    assert around(32.5) > 10 * around(32.5 * 1.25)
    assert around(65.0) > 10 * around(65.0 * 1.2)


@pytest.mark.parametrize("snr_db", [20.0, 10.0, 0.0])
def test_mixing_keeps_the_ratio_over_the_speech(snr_db: float) -> None:
    """Speech is a loud second between two quiet ones: the ratio is that of the loud part."""
    loud = hiss(1.0, 4, rms=1500)
    voice = hiss(1.0, 5, rms=1) + loud + hiss(1.0, 6, rms=1)
    mixed = noise.mix(voice, np.random.default_rng(1).normal(size=RATE * 5), snr_db, seed=2)
    added = np.frombuffer(mixed, "<i2").astype(float) - np.frombuffer(voice, "<i2").astype(float)
    signal = float(np.mean(np.frombuffer(loud, "<i2").astype(float) ** 2))
    assert abs(10 * np.log10(signal / np.mean(added**2)) - snr_db) < 0.3
    with pytest.raises(ValueError, match="ratio"):
        noise.mix(bytes(3200), np.ones(10), 10, seed=1)


@pytest.mark.parametrize("true_db", [20.0, 10.0, 5.0, 0.0])
def test_the_estimated_ratio_is_right_in_steady_noise(true_db: float) -> None:
    floor = np.random.default_rng(3).normal(0, 300, 2 * RATE)
    loud = np.random.default_rng(4).normal(0, 300 * 10 ** (true_db / 20), RATE)
    floor[RATE:] += loud
    samples = np.round(floor).astype("<i2").tobytes()
    found = snr(samples, RATE, 2 * RATE)
    assert found is not None and abs(found - true_db) < 1.0


def test_the_ratio_is_unknown_without_a_floor_and_limited() -> None:
    sound = hiss(1.0, 1, rms=1000)
    assert snr(sound, RATE // 20, RATE) is None
    assert snr(bytes(RATE) + sound, RATE // 2, RATE) == 60.0
    assert snr(sound + bytes(2 * RATE), RATE, 2 * RATE) == -20.0


def test_level() -> None:
    assert level(bytes(100)) == (float("-inf"), False)
    half = np.array([0, 16384, -3], "<i2").tobytes()
    assert level(half)[0] == pytest.approx(-6.02, abs=0.01)
    clipped = io.BytesIO(np.array([1, 32767, 32767, 32767, 1], "<i2").tobytes()).getvalue()
    assert level(clipped)[1] and not level(half)[1]
