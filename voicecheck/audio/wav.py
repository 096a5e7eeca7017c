"""Reading and writing recordings: 16 kHz, one channel, 16 bit. Nothing is converted silently."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

from voicecheck.audio.ports import RATE
from voicecheck.errors import WavUnusable

_MOST_SECONDS = 4 * 3600


def read_wav(path: str | os.PathLike[str]) -> bytes:
    """Samples (16 kHz mono int16, little-endian) of a 16-bit WAV or FLAC file.

    Raises WavUnusable, which says how to convert, for every other rate, channel count, depth or
    format, for an empty or unreadable file and for one longer than four hours.
    """
    import soundfile

    file = Path(path)
    convert = (
        f"convert it with: ffmpeg -i {file.name} -ac 1 -ar {RATE} -sample_fmt s16 "
        f"{file.stem}-16k.wav"
    )
    if not file.is_file():
        raise WavUnusable(f"There is no recording {file}.", "Check the path.")
    try:
        with soundfile.SoundFile(str(file)) as sound:
            if sound.format not in ("WAV", "WAVEX", "FLAC"):
                raise WavUnusable(f"{file.name} is {sound.format}, not WAV or FLAC.", convert)
            if sound.samplerate != RATE:
                raise WavUnusable(
                    f"{file.name} has {sound.samplerate} samples a second, not {RATE}.", convert
                )
            if sound.channels != 1:
                raise WavUnusable(f"{file.name} has {sound.channels} channels, not 1.", convert)
            if sound.subtype != "PCM_16":
                raise WavUnusable(f"{file.name} is {sound.subtype}, not 16-bit PCM.", convert)
            if sound.frames > _MOST_SECONDS * RATE:
                raise WavUnusable(f"{file.name} is longer than four hours.", "Cut it.")
            samples = sound.read(dtype="int16")
    except (soundfile.LibsndfileError, RuntimeError, OSError) as error:
        raise WavUnusable(f"{file.name} cannot be read as sound: {error}", convert) from error
    if len(samples) == 0:
        raise WavUnusable(f"{file.name} holds no samples.", "Record it again.")
    return bytes(samples.astype("<i2").tobytes())


def write_flac(path: Path, samples: bytes) -> str:
    """Write 16 kHz mono int16 ``samples`` as FLAC, on disk before this returns; its SHA-256 (hex).

    The file appears under its name whole or not at all.
    """
    import io

    import numpy
    import soundfile

    buffer = io.BytesIO()
    soundfile.write(
        buffer, numpy.frombuffer(samples, dtype="<i2"), RATE, format="FLAC", subtype="PCM_16"
    )
    data = buffer.getvalue()
    write_durably(path, data)
    return hashlib.sha256(data).hexdigest()


def write_durably(path: Path, data: bytes) -> None:
    """Write, fsync and rename into place, then fsync the folder where the platform can."""
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        with part.open("wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        os.replace(part, path)
    except OSError:
        part.unlink(missing_ok=True)
        raise
    if hasattr(os, "O_DIRECTORY"):
        folder = os.open(path.parent, os.O_RDONLY | os.O_DIRECTORY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)
