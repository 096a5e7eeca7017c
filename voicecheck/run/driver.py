"""The recorded driver of a rehearsal. He hears prompts and tones, and nothing else.

He knows what he would say to which sentence (drive.yaml), says "affirm" when what is read back is
what he said and "negative" when it is not, and says it again when he hears that he was not
understood. He never sees the state of the session, so a rehearsal cannot cheat.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any, Literal, Protocol

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from voicecheck.audio.noise import diesel, to_samples, wind
from voicecheck.audio.noise import mix as mix_noise
from voicecheck.audio.ports import RATE
from voicecheck.audio.wav import read_wav
from voicecheck.checklist.load import line_of, read_yaml
from voicecheck.errors import ChecklistError
from voicecheck.reply.grammar import DateForm, Expect, NumberForm, SpellForm, Understood, parse
from voicecheck.run.library import find, read_text
from voicecheck.units import unit_named

MOST_REPEATS = 6  # of one reply
MOST_UNACCEPTED = 14  # replies in a row that led nowhere: a person would give up
# He affirms a command only when it is the one he gave.
_COMMANDS = {
    "End the inspection here?": "end inspection",
    "Take the last answer back?": "disregard",
    "You have mended it yourself?": "mended",
    "Somebody releases it in person?": "release",
    "You stand by the statement?": "affirm",
    "You do not stand by the statement?": "negative",
}
_NO_REPLY = ("talk:", "noise:", "silence:")
_READ_BACK = re.compile(r"^I heard: (.*)\. Affirm, or negative\?$")
_COUNTED = "From mark to mark:"  # he has no watch: he takes the time that was counted
_FILLERS = frozenset({"it", "the", "a", "set", "both", "is"})


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Noise(_Strict):
    kind: Literal["none", "diesel", "wind"] = "none"
    snr_db: int = 15
    seed: int = 1


class Rule(_Strict):
    """Said to a prompt that contains ``prompt``: one reply an occasion, the last one ever after."""

    prompt: str
    says: tuple[str, ...] = Field(min_length=1)
    once: bool = False


class DriveModel(_Strict):
    id: str
    title: str
    checklist: str
    vehicle: str
    voice: str
    noise: Noise = Noise()
    ends: Literal["complete", "stopped", "not finished"]
    pause_s: int = 12
    hears: tuple[Rule, ...]


@dataclass(frozen=True)
class Spoken:
    """What the driver does next. ``samples``: 16 kHz mono int16. ``text`` for the reader."""

    samples: bytes
    text: str


class Talker(Protocol):
    """Who speaks in a rehearsal: a recorded driver, or a recording played from its start."""

    pause_s: int

    def hear_prompt(self, text: str) -> None: ...
    def hear_tone(self, name: str) -> None: ...
    def unheard(self) -> None: ...
    def reply(self) -> Spoken | None: ...
    def in_noise(self, samples: bytes) -> bytes: ...


def load_drive(name: str) -> tuple[DriveModel, Path]:
    """A drive and its folder. ChecklistError with file and line."""
    folder = find(name, "drives")
    file = folder / "drive.yaml"
    data, lines = read_yaml(read_text(file), str(file))
    try:
        return DriveModel.model_validate(data), folder
    except ValidationError as error:
        first = error.errors()[0]
        raise ChecklistError(
            f"{' > '.join(map(str, first['loc']))}: {first['msg']}",
            "correct the drive at this line",
            str(file),
            line_of(lines, *first["loc"]),
        ) from None


class RecordedDriver:
    """Plays a drive. ``noise`` and ``snr_db`` replace the drive's own."""

    def __init__(
        self,
        drive: DriveModel,
        folder: Path,
        *,
        noise: str | None = None,
        snr_db: int | None = None,
    ) -> None:
        self.drive = drive
        self.pause_s = drive.pause_s
        self._folder = folder
        self._noise_kind = noise or drive.noise.kind
        self._snr_db = drive.noise.snr_db if snr_db is None else snr_db
        make = {"diesel": diesel, "wind": wind}.get(self._noise_kind)
        self._noise: Any = make(20.0, drive.noise.seed) if make else None
        self._prompts: list[str] = []
        self._not_understood = False
        self._used: dict[int, int] = {}
        self._last = ""  # what he said last that was no affirm or negative
        self._latest = ""  # what he said last of all
        self._last_rule = -1
        self._said_negative = False
        self._take = 0
        self._repeats = 0
        self._unaccepted = 0
        self._mixed = 0

    def hear_prompt(self, text: str) -> None:
        self._prompts.append(text)

    def hear_tone(self, name: str) -> None:
        if name == "not understood":
            self._not_understood = True
        elif name == "accepted":
            self._repeats = self._unaccepted = 0

    def unheard(self) -> None:
        """Nothing came back at all: he will say it again."""
        self._not_understood = True

    def reply(self) -> Spoken | None:
        if self._unaccepted >= MOST_UNACCEPTED:
            return None
        prompts, self._prompts = self._prompts, []
        misheard, self._not_understood = self._not_understood, False
        for prompt in reversed(prompts):
            if prompt.startswith(_COUNTED):
                return self._say("affirm", keep=False)
            read_back = _READ_BACK.match(prompt)
            if read_back:
                right = same(self._last, read_back[1])
                self._said_negative = not right
                return self._say("affirm" if right else "negative", keep=False)
            for question, command in _COMMANDS.items():
                if prompt.startswith(question):
                    return self._say("affirm" if self._last == command else "negative", keep=False)
            rule = self._rule(prompt)
            if rule is not None:
                return self._by_rule(rule, again=misheard or self._said_negative)
        if misheard and self._latest:
            return self._again()
        return None

    def _rule(self, prompt: str) -> int | None:
        for n, rule in enumerate(self.drive.hears):
            if rule.prompt.lower() not in prompt.lower():
                continue
            again = n == self._last_rule and self._said_negative
            if rule.once and self._used.get(n, 0) >= len(rule.says) and not again:
                continue
            return n
        return None

    def _by_rule(self, n: int, again: bool) -> Spoken | None:
        self._said_negative = False
        if again and n == self._last_rule:
            self._latest = self._last
            return self._again()
        used = self._used.get(n, 0)
        self._used[n] = used + 1
        says = self.drive.hears[n].says
        self._last_rule, self._repeats, self._take = n, 0, 0
        return self._say(says[min(used, len(says) - 1)])

    def _again(self) -> Spoken | None:
        self._repeats += 1
        if self._repeats > MOST_REPEATS:
            return None
        if self._latest.startswith(_NO_REPLY):  # that was no reply: now he answers
            return self._by_rule(self._last_rule, again=False)
        self._take += 1
        return self._say(self._latest, keep=self._latest == self._last)

    def _say(self, text: str, keep: bool = True) -> Spoken:
        self._unaccepted += 1
        self._latest = text
        if keep:
            self._last = text
        kind, _, rest = text.partition(":")
        if kind == "noise":
            which, _, length = rest.partition(":")
            made = (diesel if which == "diesel" else wind)(float(length), 7)
            return Spoken(to_samples(made, -20.0), f"({which} alone, {length} s)")
        if kind == "silence":
            return Spoken(bytes(2 * int(float(rest) * RATE)), f"(silence, {rest} s)")
        words = rest if kind == "talk" else text
        takes = sorted((self._folder / "clips").glob(f"{slug(words)}-[0-9]*.flac"))
        if not takes:
            raise ChecklistError(
                f"the drive has no recording of {words!r}",
                "make it with audio_fixtures/make.py",
                str(self._folder / "drive.yaml"),
                1,
            )
        shown = f"({words})" if kind == "talk" else words
        return Spoken(read_wav(takes[self._take % len(takes)]), shown)

    def in_noise(self, samples: bytes) -> bytes:
        """The samples as the microphone hears them, in the noise of the drive."""
        self._mixed += 1
        if self._noise is None or not any(samples):
            return _with_floor(samples, self._mixed)
        return mix_noise(samples, self._noise, float(self._snr_db), self._mixed)


def _with_floor(samples: bytes, seed: int) -> bytes:
    """The samples over a quiet room: a live microphone is never at exact zero."""
    room = np.random.default_rng(seed).standard_normal(len(samples) // 2)
    floor = np.frombuffer(to_samples(room, -72.0), dtype="<i2").astype(np.int32)
    total = np.frombuffer(samples, dtype="<i2").astype(np.int32) + floor
    return bytes(np.clip(total, -32768, 32767).astype("<i2").tobytes())


class Recording:
    """``run --wav``: one recording of replies, heard from its start to its end."""

    pause_s = 1

    def __init__(self, samples: bytes) -> None:
        self._samples = samples

    def hear_prompt(self, text: str) -> None:
        pass

    def hear_tone(self, name: str) -> None:
        pass

    def unheard(self) -> None:
        pass

    def reply(self) -> Spoken | None:
        samples, self._samples = self._samples, b""
        return Spoken(samples, "(recording)") if samples else None

    def in_noise(self, samples: bytes) -> bytes:
        return _with_floor(samples, 1)


def slug(words: str) -> str:
    return "-".join(re.findall(r"[a-z0-9']+", words.lower())).replace("'", "")


_NUMBERS = tuple(
    NumberForm(
        unit=unit_named(symbols[0]),
        units=tuple(unit_named(symbol) for symbol in symbols),
        fractions=symbols[0] == "in",
        low=Decimal(0),
        high=Decimal(100000),
    )
    for symbols in (("psi", "kPa"), ("in", "mm", "ft"), ("s", "min"), ("count",), ("km", "mi"))
)
_FIGURES = (
    *(Expect((), number) for number in _NUMBERS),
    Expect((), None, SpellForm(1, 8)),
    Expect((), None, None, DateForm()),
)


def same(said: str, heard: str) -> bool:
    """Whether a person would take ``heard`` for what he said: same words or the same figure."""
    plain = [
        [word for word in re.findall(r"[a-z']+", text.lower()) if word not in _FILLERS]
        for text in (said, heard)
    ]
    if plain[0] == plain[1]:
        return True
    for wanted in _FIGURES:
        first, second = parse(wanted, said.lower()), parse(wanted, heard.lower())
        if (
            isinstance(first, Understood)
            and isinstance(second, Understood)
            and (first.quantity, first.spelled, first.date)
            == (second.quantity, second.spelled, second.date)
        ):
            return True
    return False
