"""``doctor``: is everything there? Advice in plain words."""

from __future__ import annotations

import os
import shutil
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from voicecheck.audio.microphone import Device, Microphone, devices
from voicecheck.audio.ports import RATE, Recogniser
from voicecheck.audio.voice import SynthesiserVoice
from voicecheck.errors import NoPortAudio, VoicecheckError
from voicecheck.reply.grammar import vocabulary
from voicecheck.run.begin import choices, expectations
from voicecheck.run.choosing import Choice
from voicecheck.run.library import compile_sources, load_sources, names
from voicecheck.run.soundcheck import floor_dbfs, live_blocks
from voicecheck.session.replying import vocabularies

LEAST_FREE_MB = 200


@dataclass(frozen=True)
class Look:
    """One thing that was looked at. ``state``: good | mind | missing."""

    what: str
    state: str
    text: str


def examine(
    make_recogniser: Callable[[], Recogniser],
    vehicle: str,
    folder: Path,
    microphone: str = "",
    loudspeaker: str = "",
) -> list[Look]:
    """Recogniser, its words, voice, microphone, loudspeaker, disk, clock.

    ``microphone``, ``loudspeaker``: the devices of the settings, "" for the system's own.
    """
    return [
        *_recogniser(make_recogniser, vehicle),
        _voice(),
        *_sound(microphone, loudspeaker),
        _disk(folder),
        Look("clock", "good", time.strftime("%Y-%m-%d %H:%M:%S %z")),
    ]


def _recogniser(make: Callable[[], Recogniser], vehicle: str) -> list[Look]:
    began = time.perf_counter()
    try:
        engine = make()
    except VoicecheckError as error:
        return [Look("recogniser", "missing", str(error))]
    took = time.perf_counter() - began
    note = "" if engine.trusts_pass else " Every accepted reply is read back with this engine."
    looks = [
        Look(
            "recogniser",
            "good",
            f"{engine.name}, model {engine.digest[:12]}, loaded in {took:.1f} s.{note}",
        )
    ]
    expected = {"begin": list(expectations(choices(Choice(vehicle=vehicle))))}
    for name in names("checklists"):
        expected[name] = list(vocabularies(compile_sources(load_sources(name, vehicle))[0]))
    for name, wanted in expected.items():
        words = {word for expect in wanted for word in vocabulary(expect).all_words()}
        absent = engine.missing(sorted(words))
        looks.append(
            Look(
                f"words of {name}",
                "missing" if absent else "good",
                f"cannot be heard: {', '.join(absent)}"
                if absent
                else f"all {len(words)} can be heard",
            )
        )
    return looks


def _voice() -> Look:
    voice = SynthesiserVoice()
    try:
        samples = voice.render("Jaws closed round the shank.")
    except VoicecheckError as error:
        return Look("voice", "missing", str(error))
    finally:
        voice.close()
    return Look("voice", "good", f"{voice.name}, {len(samples) / 32000:.1f} s for a test sentence")


def _sound(microphone: str, loudspeaker: str) -> list[Look]:
    try:
        found = devices()
    except NoPortAudio as error:
        return [Look("microphone", "missing", str(error)), Look("loudspeaker", "missing", "same")]
    looks = [
        _device("microphone", [d for d in found if d.inputs], microphone),
        _device("loudspeaker", [d for d in found if d.outputs], loudspeaker),
    ]
    if looks[0].state == "good":
        looks.append(_level(microphone))
    return looks


def _device(what: str, usable: Sequence[Device], named: str) -> Look:
    if not usable:
        return Look(what, "missing", f"No {what} is connected. Connect a headset.")
    listed = ", ".join(d.name for d in usable)
    there = [d for d in usable if f"{d.name}, {d.host}".lower().startswith(named.lower())]
    if not there:
        text = f"{named!r} of the settings is not connected (there are: {listed}). "
        return Look(what, "missing", text + "Connect it, or: voicecheck doctor --choose")
    default = [d for d in there if (d.default_input if what == "microphone" else d.default_output)]
    return Look(what, "good", f"{(default or there)[0].name} (there are: {listed})")


def _level(named: str) -> Look:
    """What the microphone gives in a second of silence."""
    microphone = Microphone(named or None)
    try:
        room = b"".join(live_blocks(microphone, 1.0))
    except VoicecheckError as error:
        return Look("level", "missing", str(error))
    noise = floor_dbfs(room)
    if not any(room):
        return Look("level", "missing", "No sound at all: is it on, in range, not muted?")
    text = f"noise {noise:.0f} dBFS at {microphone.form}. "
    if microphone.form.rate < RATE:
        text += "A microphone of the telephone hears less well: connect another one if there is. "
        return Look("level", "mind", text + "To try your voice: voicecheck listen")
    return Look("level", "good", text + "To try your voice: voicecheck listen")


def _disk(folder: Path) -> Look:
    place = folder if folder.exists() else folder.absolute().parent
    try:
        with tempfile.NamedTemporaryFile(dir=place) as file:
            began = time.perf_counter()
            file.write(b"x" * 512)
            file.flush()
            os.fsync(file.fileno())
            took = (time.perf_counter() - began) * 1000
        free = shutil.disk_usage(place).free // 1_000_000
    except OSError as error:
        return Look("disk", "missing", f"{place} cannot be written: {error.strerror}.")
    state = "mind" if free < LEAST_FREE_MB or took > 500 else "good"
    advice = " Make space: an inspection needs about 5 MB." if free < LEAST_FREE_MB else ""
    return Look("disk", state, f"{free} MB free, a record is kept in {took:.0f} ms.{advice}")
