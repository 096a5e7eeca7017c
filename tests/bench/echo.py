"""What stops a prompt, on a card that is only reckoned: drivers, its own echo, noise.

``python -m tests.bench.echo [--echoes 400] [--minutes 10]``. Real loop, detector and synthesiser;
sound reaches the loudspeaker 40 ms after it was given to it and the ear another 20 ms later. White
noise lies 15 dB below the driver, an echo 6 or 14 dB below him. A room is an exponential tail (0.5
s to -60 dB, direct sound and tail of equal power). Rain, air and beeper are models as in
``voicecheck.audio.noise``: never compared with recordings.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import soundfile

from voicecheck.audio.acceptance import Thresholds
from voicecheck.audio.ear import Ear
from voicecheck.audio.endpoint import SileroActivity
from voicecheck.audio.noise import Samples, diesel, wind
from voicecheck.audio.ports import BLOCK, RATE, Hypothesis, Word
from voicecheck.audio.voice import SynthesiserVoice
from voicecheck.reply.grammar import Expect, Form
from voicecheck.run.clock import CompressedClock
from voicecheck.run.hearing import Hearing
from voicecheck.run.live import LiveWorld
from voicecheck.session import actions as a

CLIPS = Path(__file__).parents[2] / "audio_fixtures"
PROMPTS = (
    "Doors, hinges and lock. Closed and locked, or not locked?",
    "Look at the lock, at the hinges and at both doors, then tell me if they are locked.",
    "Landing gear. Crank it up all the way. Is the handle folded in and held?",
    "Air lines. Blue left, red right. Are both connected and whole?",
    "Kneel and look with a light. Jaws closed around the shank of the pin, or open?",
    "Walk to the rear. Lamps, reflectors, plate. Is anything broken, dirty or missing?",
    "Tires of the tandem, all eight. Tread, cuts, inflation. What do you see?",
    "Brake chambers left and right. Pushrods straight, no leak to be heard?",
)
OUT, IN = round(0.04 * RATE), round(0.02 * RATE)
DRIVER = 3000.0


class Card:
    """Microphone, loudspeaker, voice and recogniser. Time is what was read."""

    name, digest, trusts_pass = "reckoned 1", "0" * 64, True
    recording, failure = True, None

    def __init__(self, prompt: bytes, seconds: float, hears: Samples, tail: Samples | None) -> None:
        self.clock = CompressedClock()
        self.prompt, self.hears = prompt, hears
        self.count = round(seconds * RATE)
        self.came_out = np.zeros(self.count + RATE)
        self.tail = tail
        self._last = np.zeros(0 if tail is None else tail.size - 1 + IN)
        self._sound, self._began, self._at = np.zeros(0), 0, 0
        self._done: Callable[[], None] | None = None
        self._stopped = 0
        self.plays = 0
        self.finished = False
        self.deaf = False

    def start(self) -> None: ...

    def read(self, timeout: float) -> bytes | None:
        if timeout == 0.0:
            return None
        over = self._done is None and self._at - self._stopped > RATE
        if self._at + BLOCK > self.count or self.finished or self.deaf or over:
            raise EOFError
        here = slice(self._at, self._at + BLOCK)
        if self._done is not None:
            first = self._at - self._began - OUT
            places = np.arange(first, first + BLOCK)
            valid = (places >= 0) & (places < self._sound.size)
            self.came_out[here][valid] = self._sound[places[valid]]
        heard = self.hears[here].copy()
        if self.tail is not None:
            from_ = max(0, self._at - IN - self.tail.size + 1)
            past = self.came_out[from_ : self._at + BLOCK - IN]
            if past.any():
                heard += np.convolve(past, self.tail)[self._at - IN - from_ :][:BLOCK]
        self._at += BLOCK
        self.clock.pass_time(BLOCK / RATE)
        if self._done is not None and self._at - self._began - OUT >= self._sound.size:
            done, self._done, self.finished = self._done, None, True
            done()
        return np.clip(np.round(heard), -32768, 32767).astype("<i2").tobytes()

    def play(self, samples: bytes, done: Callable[[], None]) -> None:
        self._sound = np.frombuffer(samples, dtype="<i2").astype(float)
        self._began, self._done = self._at, done
        self.plays += 1

    def stop(self) -> None:
        if self._done is not None:
            self._stopped = self._at
        self._done = None

    def render(self, text: str) -> bytes:
        return self.prompt

    def prepare(self, vocabulary: object) -> None: ...

    def hear(self, samples: bytes) -> Hypothesis:
        return Hypothesis("locked", (Word("locked", 0.0, 0.3, 1.0),), 1.0)

    def led(self) -> None:
        """One question, until its prompt is over or stays stopped, or the headset is given up."""
        this: Any = self
        ear = Ear(this, activity=SileroActivity(),
                  thresholds=Thresholds(0.6, 0.9, 0.98, 5.0, 5.0, "a bench"))  # fmt: skip

        def write(line: str) -> None:
            self.deaf = self.deaf or "hears the loudspeaker" in line

        world = LiveWorld(this, this, this, Hearing(ear), self.clock, write, headset=True)
        world.perform(a.Say("Look."))
        world.perform(a.Listen(Expect((Form("answer:locked", ("locked",)),)), frozenset()))
        try:
            while True:
                world.next_event()
        except EOFError:
            pass


def level(values: Samples) -> float:
    return float(np.sqrt(np.mean(values[np.abs(values) > 100] ** 2)))


def scaled(values: Samples, to: float) -> Samples:
    return np.asarray(values * to / level(values))


def white(count: int, rng: np.random.Generator) -> Samples:
    return rng.standard_normal(count) * DRIVER * 10 ** (-15 / 20)


def room(rng: np.random.Generator) -> Samples:
    t = np.arange(round(0.5 * RATE)) / RATE
    tail = rng.standard_normal(t.size) * np.exp(-6.9 * t / 0.5)
    tail /= np.sqrt(np.sum(tail**2))
    tail[0] += 1.0
    return np.asarray(tail / np.sqrt(np.sum(tail**2)))


def coloured(values: Samples, low: float, high: float) -> Samples:
    spectrum = np.fft.rfft(values)
    f = np.fft.rfftfreq(values.size, 1 / RATE)
    spectrum[(f < low) | (f > high)] = 0
    return np.asarray(np.fft.irfft(spectrum, values.size))


def rain(seconds: float, seed: int) -> Samples:
    rng = np.random.default_rng(seed)
    count = round(seconds * RATE)
    drops = np.zeros(count)
    t = np.arange(round(0.04 * RATE)) / RATE
    for at in rng.integers(0, count - t.size, round(60 * seconds)):
        ring = np.sin(2 * np.pi * rng.uniform(600, 6000) * t) * np.exp(
            -t / rng.uniform(0.002, 0.012)
        )
        drops[at : at + t.size] += ring * rng.exponential()
    hiss = rng.standard_normal(count)
    return drops / np.sqrt(np.mean(drops**2)) + 0.7 * hiss


def air(seconds: float, seed: int) -> Samples:
    """A release every two seconds in the mean: bright, and dying away."""
    rng = np.random.default_rng(seed)
    count = round(seconds * RATE)
    out = np.zeros(count)
    t = np.arange(RATE) / RATE
    for at in rng.integers(0, count - t.size, round(seconds / 2)):
        fall = np.exp(-t / rng.uniform(0.03, 0.35)) * (1 - np.exp(-t / rng.uniform(0.002, 0.03)))
        out[at : at + t.size] += rng.standard_normal(t.size) * fall
    out = coloured(out, 800, 7500)
    return np.asarray(out / np.sqrt(np.mean(out**2)) + 0.05 * rng.standard_normal(count))


def beeper(seconds: float, seed: int) -> Samples:
    """A backup beeper: 0.5 s on, 0.5 s off; its pitch (900 to 1400 Hz) is the seed's."""
    rng = np.random.default_rng(seed)
    t = np.arange(round(seconds * RATE)) / RATE
    f = rng.uniform(900, 1400)
    tone = sum(np.sin(2 * np.pi * f * h * t) / h**2 for h in (1, 2, 3))
    return np.asarray(tone * (t % 1.0 < 0.5) + 0.05 * rng.standard_normal(t.size))


NOISES = {"diesel": diesel, "wind": wind, "rain": rain, "air": air, "beeper": beeper}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--drivers", type=int, default=400)
    parser.add_argument("--echoes", type=int, default=400)
    parser.add_argument("--minutes", type=float, default=10.0)
    given = parser.parse_args()
    voice = SynthesiserVoice()
    prompts = [voice.render(text) for text in PROMPTS]
    clips = sorted(CLIPS.glob("words/*/*.flac"))
    rng = np.random.default_rng(11)

    took, own = [], 0
    for n in range(given.drivers):
        prompt = prompts[n % len(prompts)]
        clip, _ = soundfile.read(clips[int(rng.integers(len(clips)))], dtype="int16")
        clip = scaled(clip.astype(float), DRIVER)
        seconds = len(prompt) / 2 / RATE + 3
        hears = white(round(seconds * RATE), rng)
        at = round(rng.uniform(0.6, 2.2) * RATE)
        hears[at + IN : at + IN + clip.size] += clip
        card = Card(prompt, seconds, hears, None)
        card.led()
        own += card.deaf
        began = at + int(np.argmax(np.abs(clip) > 0.1 * DRIVER))
        last = int(np.flatnonzero(card.came_out).max())
        took.append((last - began) / RATE * 1000 if not card.finished else np.inf)
    ms = np.sort(took)
    p95 = ms[int(0.95 * len(ms))]
    print(f"{given.drivers} drivers: the first sound to the loudspeaker's last, "
          f"median {np.median(ms):.0f} ms, 95th percentile {p95:.0f}, most {ms[-1]:.0f}; "
          f"taken for its own voice {own}", flush=True)  # fmt: skip

    for below, rooms in ((6, False), (6, True), (14, True)):
        name = f"echoes {below} dB below" + (" with a room" if rooms else "")
        stopped = plays = given_up = 0
        for n in range(given.echoes):
            prompt = prompts[n % len(prompts)]
            seconds = len(prompt) / 2 / RATE + 3
            sound = np.frombuffer(prompt, dtype="<i2").astype(float)
            gain = DRIVER * 10 ** (-below / 20) / level(sound)
            tail = (room(rng) if rooms else np.ones(1)) * gain
            card = Card(prompt, seconds, white(round(seconds * RATE), rng), tail)
            card.led()
            given_up += card.deaf
            plays += card.plays - 1
            stopped += not card.deaf and not card.finished
        print(
            f"{given.echoes} {name}: stop for good {stopped}, breaks {plays}, "
            f"headset given up {given_up}",
            flush=True,
        )

    for name, make in NOISES.items():
        for snr in (15, 5):
            plays = stopped = 0
            spoken = 0.0
            noise = make(60.0 * given.minutes, 3)
            noise *= DRIVER * 10 ** (-snr / 20) / np.sqrt(np.mean(noise**2))
            place = n = 0
            while True:
                prompt = prompts[n % len(prompts)]
                seconds = len(prompt) / 2 / RATE + 3
                hears = noise[place : place + round(seconds * RATE)]
                if hears.size < round(seconds * RATE):
                    break
                card = Card(prompt, seconds, hears, None)
                card.led()
                spoken += len(prompt) / 2 / RATE
                plays += card.plays - 1
                stopped += not card.finished
                place, n = place + hears.size, n + 1
            print(f"{name}, {snr} dB below a driver: {plays / spoken * 60:.2f} breaks a minute of "
                  f"prompts, stopped for good {stopped} of {n}", flush=True)  # fmt: skip


if __name__ == "__main__":
    main()
