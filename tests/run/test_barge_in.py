"""A prompt that somebody speaks into, block by block: devices and detector are told what to do.

On a sound card: tests/faults/test_echo.py; how soon: tests/bench/barge_in.py.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from voicecheck.audio.acceptance import Thresholds
from voicecheck.audio.ear import Ear
from voicecheck.audio.ports import BLOCK, RATE, Hypothesis, Word
from voicecheck.reply.grammar import Expect, Form
from voicecheck.run.clock import CompressedClock
from voicecheck.run.hearing import Hearing
from voicecheck.run.live import LiveWorld
from voicecheck.session import actions as a
from voicecheck.session import events as e

BLOCK_S = BLOCK / RATE
PROMPT = "Look at the lock."
PROMPT_S = 3.0


def noise(seconds: float, seed: int, rms: float) -> np.ndarray:
    return np.random.default_rng(seed).normal(0, rms, round(seconds * RATE))


class Yard:
    """Microphone, loudspeaker, voice, detector, recogniser in one. ``speech``: stream seconds."""

    name, digest, trusts_pass = "told 1", "0" * 64, True
    recording, failure = True, None

    def __init__(
        self, *speech: tuple[float, float], echo: bool = False, most_s: float = 12
    ) -> None:
        self.clock = CompressedClock()
        self.speech, self.echo, self.most_s = speech, echo, most_s
        self.did: list[tuple[str, float]] = []
        self.parts: list[bytes] = []  # what was given to the loudspeaker
        self.prompt_s = PROMPT_S
        self.silent_from = math.inf  # no block comes from then on
        self.now, self.block = 0.0, 0
        self._sound, self._began = np.zeros(0), 0.0
        self._done: Callable[[], None] | None = None

    # microphone
    def start(self) -> None: ...

    def read(self, timeout: float) -> bytes | None:
        if timeout == 0.0:
            return None
        if self.now > self.most_s:
            raise EOFError
        if self.now >= self.silent_from:
            self._pass()
            return None
        floor = noise(BLOCK_S, self.block, 20.0)
        if self.echo and self._done:
            at = round((self.now - self._began - 0.06) * RATE)
            if 0 <= at <= self._sound.size - BLOCK:
                floor += 0.5 * self._sound[at : at + BLOCK]
        elif self._speaks():
            floor += noise(BLOCK_S, 10_000 + self.block, 2000.0)
        self._pass()
        return np.round(floor).astype("<i2").tobytes()

    def _pass(self) -> None:
        self.block += 1
        self.now = self.block * BLOCK_S
        self.clock.pass_time(BLOCK_S)
        if self._done and self.now - self._began >= self._sound.size / RATE:
            done, self._done = self._done, None
            self.did.append(("played", self.now))
            done()

    def _speaks(self) -> bool:
        middle = self.now + BLOCK_S / 2
        return any(first <= middle < last for first, last in self.speech)

    # loudspeaker and voice
    def play(self, samples: bytes, done: Callable[[], None]) -> None:
        self._sound, self._began = np.frombuffer(samples, dtype="<i2").astype(float), self.now
        self._done = done
        self.parts.append(samples)
        self.did.append(("play", self.now))

    def stop(self) -> None:
        if self._done:
            self._done = None
            self.did.append(("stop", self.now))

    def render(self, text: str) -> bytes:
        return np.round(noise(self.prompt_s, 77, 3000.0)).astype("<i2").tobytes()

    # detector and recogniser
    def __call__(self, block: bytes) -> float:
        loud = float(np.sqrt(np.mean(np.frombuffer(block, dtype="<i2").astype(float) ** 2))) > 200
        return 0.95 if loud else 0.02

    def reset(self) -> None: ...
    def prepare(self, vocabulary: object) -> None: ...

    def hear(self, samples: bytes) -> Hypothesis:
        return Hypothesis("locked", (Word("locked", 0.3, 0.6, 1.0),), 1.0)

    @property
    def played(self) -> list[float]:
        """Seconds of each."""
        return [len(part) / 2 / RATE for part in self.parts]

    def led(self, *sounds: a.Say) -> tuple[list[e.Event], list[str]]:
        """One question with a headset, until the sound is over: events and what was printed."""
        printed: list[str] = []
        this: Any = self
        ear = Ear(this, activity=this, thresholds=Thresholds(0.6, 0.9, 0.98, 5.0, 5.0, "a test"))
        world = LiveWorld(this, this, this, Hearing(ear), self.clock, printed.append, headset=True)
        events: list[e.Event] = []
        for sound in sounds or (a.Say(PROMPT),):
            world.perform(sound)
        world.perform(a.Listen(Expect((Form("answer:locked", ("locked",)),)), frozenset()))
        with pytest.raises(EOFError):
            while True:
                events.append(world.next_event())
        return events, printed


def test_the_first_sign_of_a_reply_stops_the_prompt() -> None:
    """With the block in which it begins: at most 64 ms of sound."""
    yard = Yard((1.0, 1.7))
    events, _ = yard.led()
    assert [what for what, _ in yard.did] == ["play", "stop"]
    assert 0 < yard.did[1][1] - 1.0 <= 2 * BLOCK_S
    assert [x.words for x in events if isinstance(x, e.ReplyHeard)] == ["locked"]


def test_so_early_that_an_echo_could_be_unknown_yet_it_takes_more_than_a_block() -> None:
    yard = Yard((0.4, 1.1))
    events, _ = yard.led()
    assert [what for what, _ in yard.did] == ["play", "stop"]
    assert 2 * BLOCK_S < yard.did[1][1] - 0.4 <= 4 * BLOCK_S
    assert [x.words for x in events if isinstance(x, e.ReplyHeard)] == ["locked"]


def knock(at: float) -> tuple[float, float]:
    """Two blocks: too short for speech."""
    return at, at + 2 * BLOCK_S


def test_a_knock_mutes_it_and_it_goes_on_so_that_everything_is_said() -> None:
    yard = Yard(knock(1.504))
    events, printed = yard.led()
    assert [what for what, _ in yard.did] == ["play", "stop", "play", "played"]
    muted, on = yard.did[1][1], yard.did[2][1]
    assert on - muted < 0.3
    assert 0 <= PROMPT_S - yard.played[1] < muted - 0.2  # the last sounds before it come again
    assert yard.parts[1] == yard.parts[0][-len(yard.parts[1]) :]
    assert math.isclose(yard.did[3][1] - on, yard.played[1], abs_tol=2 * BLOCK_S)
    assert events == [] and len(printed) == 1


def test_a_prompt_is_muted_twice_at_most() -> None:
    yard = Yard(*(knock(at) for at in (1.504, 3.2, 4.64, 5.792)), most_s=20)
    yard.prompt_s = 6.0
    events, _ = yard.led()
    assert [what for what, _ in yard.did] == ["play", "stop", "play", "stop", "play", "played"]
    assert events == []


def test_each_prompt_may_be_muted() -> None:
    yard = Yard(*(knock(at) for at in (1.504, 3.2, 8.0)), most_s=30)
    yard.led(a.Say("One."), a.Say("Two."))
    assert [what for what, _ in yard.did].count("played") == 2
    assert [what for what, _ in yard.did].count("stop") == 3


def test_a_hold_is_neither_muted_nor_stopped() -> None:
    yard = Yard(knock(1.504), (2.0, 2.7))
    events, _ = yard.led(a.Say(PROMPT, interruptible=False))
    assert [what for what, _ in yard.did] == ["play", "played"]
    assert not any(isinstance(x, e.ReplyHeard) for x in events)


def test_a_hold_after_a_muted_prompt_waits_for_it_and_is_not_muted() -> None:
    """The ear is closed while a hold is still to be said."""
    yard = Yard(knock(1.504), knock(4.8))
    yard.led(a.Say(PROMPT), a.Say("Hold.", interruptible=False))
    assert [what for what, _ in yard.did] == ["play", "played", "play", "played"]


def test_without_a_microphone_a_muted_prompt_goes_on() -> None:
    yard = Yard(knock(1.504))
    yard.silent_from = 1.504 + 2 * BLOCK_S
    yard.led()
    assert [what for what, _ in yard.did] == ["play", "stop", "play", "played"]


def test_speech_stops_it_also_after_a_knock() -> None:
    yard = Yard(knock(0.992), (2.4, 3.1))
    events, _ = yard.led()
    assert [what for what, _ in yard.did] == ["play", "stop", "play", "stop"]
    assert [x.words for x in events if isinstance(x, e.ReplyHeard)] == ["locked"]


def test_an_echo_never_stops_it_and_ends_the_headset() -> None:
    yard = Yard(echo=True)
    _, printed = yard.led()
    assert [what for what, _ in yard.did] == ["play", "played"]
    assert math.isclose(yard.did[1][1], PROMPT_S, abs_tol=2 * BLOCK_S)
    assert any("hears the loudspeaker" in line for line in printed)
