"""``doctor`` and ``listen``: is everything there, and what is heard. Advice in plain words."""

from __future__ import annotations

import os
import shutil
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from voicecheck.audio.ear import Ear, level
from voicecheck.audio.microphone import Microphone, devices
from voicecheck.audio.ports import BLOCK, Heard, NotHeard, Recogniser
from voicecheck.audio.voice import SynthesiserVoice
from voicecheck.errors import NoPortAudio, VoicecheckError
from voicecheck.reply.grammar import Expect, vocabulary
from voicecheck.reply.phrases import COMMANDS, command_forms
from voicecheck.run.begin import choices, expectations
from voicecheck.run.choosing import Choice
from voicecheck.run.library import compile_sources, load_sources, names
from voicecheck.session.replying import vocabularies

LEAST_FREE_MB = 200


@dataclass(frozen=True)
class Look:
    """One thing that was looked at. ``state``: good | mind | missing."""

    what: str
    state: str
    text: str


def examine(make_recogniser: Callable[[], Recogniser], vehicle: str, folder: Path) -> list[Look]:
    """Recogniser, its words, voice, microphone, loudspeaker, disk, clock."""
    return [
        *_recogniser(make_recogniser, vehicle),
        _voice(),
        *_sound(),
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


def _sound() -> list[Look]:
    try:
        found = devices()
    except NoPortAudio as error:
        return [Look("microphone", "missing", str(error)), Look("loudspeaker", "missing", "same")]
    looks = []
    for what, usable, default in (
        ("microphone", [d for d in found if d.inputs], [d for d in found if d.default_input]),
        ("loudspeaker", [d for d in found if d.outputs], [d for d in found if d.default_output]),
    ):
        if not usable:
            looks.append(Look(what, "missing", f"No {what} is connected. Connect a headset."))
            continue
        listed = ", ".join(d.name for d in usable)
        chosen = default[0].name if default else usable[0].name
        looks.append(Look(what, "good", f"{chosen} (there are: {listed})"))
    return looks


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


def listen(
    recogniser: Recogniser, microphone: Microphone | None, samples: bytes, seconds: float
) -> Iterator[str]:
    """Lines that show level, signal-to-noise and what is heard; the commands may be said."""
    ear = Ear(recogniser)
    ear.listen(vocabulary(Expect(command_forms((*COMMANDS, "pass", "fail", "affirm", "negative")))))
    loudest = -120.0
    for count, block in enumerate(_blocks(microphone, samples, seconds), 1):
        loudest = max(loudest, level(block)[0])
        if count % 31 == 0:
            bar = "#" * max(0, min(30, round((loudest + 60) / 2)))
            yield f"level {loudest:6.1f} dBFS {bar}{_advice(loudest)}"
            loudest = -120.0
        result = ear.feed(block)
        if isinstance(result, Heard):
            ratio = result.utterance.snr_db
            noise = "unknown" if ratio is None else f"{ratio:.0f} dB"
            yield (
                f"heard: {result.hypothesis.text} ({result.certainty}, "
                f"confidence {result.hypothesis.confidence:.2f}, signal-to-noise {noise})"
            )
        elif isinstance(result, NotHeard):
            yield f"not heard: {result.why}"


def _advice(dbfs: float) -> str:
    if dbfs <= -90:
        return "  nothing at all: is it muted, or out of range?"
    return "  too loud: move the microphone away" if dbfs > -1 else ""


def _blocks(microphone: Microphone | None, samples: bytes, seconds: float) -> Iterator[bytes]:
    size = 2 * BLOCK
    if microphone is None:
        padded = samples + bytes(32000)
        for at in range(0, len(padded) - size, size):
            yield padded[at : at + size]
        return
    microphone.start()
    until = time.monotonic() + seconds
    try:
        while time.monotonic() < until:
            block = microphone.read(0.2)
            if block is not None:
                yield block
    finally:
        microphone.stop()
