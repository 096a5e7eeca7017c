"""``listen``: a sound check that needs no engineer, then whatever else is said.

The room is measured in silence, then phrases are said one by one. Level, noise, signal-to-noise and
what was heard are shown with advice in plain words. The levels of ``advice`` are common practice,
no source; the ratio is that of audio/acceptance.py, below which no answer is clear.
"""

from __future__ import annotations

import math
import threading
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from typing import Protocol

import numpy as np

from voicecheck.audio.acceptance import TABLE
from voicecheck.audio.ear import Ear, level
from voicecheck.audio.microphone import Device
from voicecheck.audio.ports import BLOCK, RATE, Heard, NotHeard, Recogniser
from voicecheck.audio.speaker import SoundSpeaker
from voicecheck.audio.voice import SynthesiserVoice
from voicecheck.errors import NoPortAudio, WrongUse
from voicecheck.reply.grammar import Expect, Form, vocabulary
from voicecheck.reply.phrases import COMMANDS, command_forms
from voicecheck.run.speaking import Prompts

PHRASES = ("closed and locked", "stand by", "affirm")
QUIET_S = 3.0
PHRASE_S = 8.0
LOUD_DBFS = -1.0
QUIET_DBFS = -30.0  # peak of a phrase
NOTHING_DBFS = -80.0
LEAST_SNR_DB = TABLE["vosk"].floor_db
_EXPECT = Expect(
    (
        *(Form(f"phrase:{text}", (text,)) for text in PHRASES[:1]),
        *command_forms((*COMMANDS, "pass", "fail", "affirm", "negative")),
    )
)


class Source(Protocol):
    """A microphone, or what stands for one."""

    def start(self) -> None: ...
    def stop(self) -> None: ...
    def read(self, timeout: float) -> bytes | None: ...


@dataclass(frozen=True)
class Tried:
    """One phrase. Peak in dB of full scale, ratio in dB (None: not known). ``why``: not heard."""

    phrase: str
    peak_dbfs: float
    heard: str = ""
    why: str = "silence"
    certainty: str = ""
    snr_db: float | None = None
    clipped: bool = False


def advice(tried: Tried) -> str:
    """What to do, in plain words; the worst first."""
    if tried.peak_dbfs <= NOTHING_DBFS:
        return (
            "Nothing at all: is it switched on, in range, not muted? Is it the right microphone? "
            "Choose one: voicecheck doctor --choose."
        )
    if tried.clipped or tried.peak_dbfs > LOUD_DBFS:
        return (
            "Too loud, it distorts: move the microphone a finger's width away, out of the breath."
        )
    if tried.peak_dbfs < QUIET_DBFS:
        return (
            "Too quiet: move the microphone to the corner of your mouth, or turn its level up in "
            "the system's sound settings."
        )
    if tried.snr_db is not None and tried.snr_db < LEAST_SNR_DB:
        return (
            "Too noisy: put the wind cover on, bring the microphone nearer, turn your back to wind "
            "and engine. Like this every answer is read back."
        )
    if not tried.heard:
        return "Heard, but not as words of the list: say it once more, plainly, not louder."
    if tried.heard != tried.phrase:
        return f"Heard as {tried.heard!r}: say it once more, plainly, not louder."
    if tried.certainty == "doubtful":
        return "Right, but in doubt: in an inspection it would be read back."
    return "Good."


def sound_check(
    recogniser: Recogniser, source: Source, tell: Callable[[str], None]
) -> Iterator[str]:
    """Lines for a reader. ``tell`` speaks an instruction to its end, before the ear opens."""
    tell(f"Be quiet for {QUIET_S:.0f} seconds.")
    with _open(source):
        room = b"".join(islice(_blocks(source, QUIET_S + 2), round(QUIET_S * RATE / BLOCK)))
    noise = floor_dbfs(room)
    yield f"noise {noise:.0f} dBFS"
    right = 0
    ear = Ear(recogniser)
    for phrase in PHRASES:
        tell(f"Say: {phrase}.")
        with _open(source):
            tried = _try(ear, phrase, _blocks(source, PHRASE_S))
        ratio = "unknown" if tried.snr_db is None else f"{tried.snr_db:.0f} dB"
        right += tried.heard == phrase
        yield (
            f"{phrase}: level {tried.peak_dbfs:.0f} dBFS, signal-to-noise {ratio}, heard: "
            f"{tried.heard or 'nothing'}. {advice(tried)}"
        )
    yield f"{right} of {len(PHRASES)} heard right."


def teller(write: Callable[[str], None], loudspeaker: str) -> Callable[[str], None]:
    """Prints and speaks to the end; only prints where nothing can be spoken."""
    prompts = Prompts(SynthesiserVoice(), write)
    speaker: SoundSpeaker | None = None
    try:
        speaker = SoundSpeaker(loudspeaker or None)
    except NoPortAudio as error:
        write(f"({error})")

    def tell(text: str) -> None:
        write(text)
        samples = prompts.render(text)
        if speaker is None or not samples:
            return
        ended = threading.Event()
        try:
            speaker.play(samples, ended.set)
        except NoPortAudio as error:
            write(f"({error})")
            return
        ended.wait(len(samples) / 2 / RATE + 3)

    return tell


def _try(ear: Ear, phrase: str, blocks: Iterator[bytes]) -> Tried:
    ear.listen(vocabulary(_EXPECT), frozenset(("affirm", "pass")))
    peak = -120.0
    for block in blocks:
        peak = max(peak, level(block)[0])
        result = ear.feed(block)
        if isinstance(result, Heard):
            heard = result.utterance
            return Tried(
                phrase,
                heard.peak_dbfs,
                result.hypothesis.text,
                "",
                result.certainty,
                heard.snr_db,
                heard.clipped,
            )
        if isinstance(result, NotHeard) and result.utterance is not None:
            made = result.utterance
            return Tried(phrase, made.peak_dbfs, "", result.why, "", made.snr_db, made.clipped)
    return Tried(phrase, peak)


def floor_dbfs(samples: bytes) -> float:
    """Noise floor: the median power of 20 ms frames, in dB of a full-scale square wave."""
    values = np.frombuffer(samples, dtype="<i2").astype(np.float64)
    size = RATE // 50
    frames = values[: values.size // size * size].reshape(-1, size)
    if frames.size == 0:
        return -120.0
    power = float(np.median(np.mean(frames**2, axis=1)))
    return max(-120.0, 10 * math.log10(power / 32768**2)) if power > 0 else -120.0


def listen(recogniser: Recogniser, blocks: Iterator[bytes]) -> Iterator[str]:
    """Lines that show level, signal-to-noise and what is heard; the commands may be said."""
    ear = Ear(recogniser)
    ear.listen(vocabulary(_EXPECT))
    loudest = -120.0
    for count, block in enumerate(blocks, 1):
        loudest = max(loudest, level(block)[0])
        if count % 31 == 0:
            bar = "#" * max(0, min(30, round((loudest + 60) / 2)))
            yield f"level {loudest:6.1f} dBFS {bar}"
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


def live_blocks(source: Source, seconds: float) -> Iterator[bytes]:
    """From the microphone, for so long."""
    with _open(source):
        yield from _blocks(source, seconds)


def recorded_blocks(samples: bytes) -> Iterator[bytes]:
    """Of a recording, with a second of silence behind it."""
    size = 2 * BLOCK
    padded = samples + bytes(2 * RATE)
    for at in range(0, len(padded) - size, size):
        yield padded[at : at + size]


class _open:
    """Opened anew each time, so that nothing from before is heard."""

    def __init__(self, source: Source) -> None:
        self._source = source

    def __enter__(self) -> None:
        self._source.start()

    def __exit__(self, *_: object) -> None:
        self._source.stop()


def _blocks(source: Source, seconds: float) -> Iterator[bytes]:
    left = seconds * RATE / BLOCK
    while left > 0:
        block = source.read(0.2)
        left -= 1 if block is not None else 0.2 * RATE / BLOCK
        if block is not None:
            yield block


# -- choosing the devices ------------------------------------------------------------------------


def choose_devices(
    found: Sequence[Device], ask: Callable[[str], str], write: Callable[[str], None]
) -> dict[str, str]:
    """Setting to device name, for what was chosen by number. WrongUse for another number."""
    chosen: dict[str, str] = {}
    for what in ("microphone", "loudspeaker"):
        usable = [d for d in found if (d.inputs if what == "microphone" else d.outputs)]
        if not usable:
            write(f"There is no {what}. Connect a headset.")
            continue
        for n, device in enumerate(usable, 1):
            default = device.default_input if what == "microphone" else device.default_output
            write(f"{n:3}  {device.name}{'  (the system uses it)' if default else ''}")
        answer = ask(f"Number of the {what} (Enter: leave it as it is): ").strip()
        if not answer:
            continue
        if not answer.isdecimal() or not 1 <= int(answer) <= len(usable):
            raise WrongUse(f"There is no number {answer!r}.", f"say 1 to {len(usable)}")
        device = usable[int(answer) - 1]
        twice = sum(d.name == device.name for d in usable) > 1
        chosen[what] = f"{device.name}, {device.host}" if twice else device.name
    return chosen
