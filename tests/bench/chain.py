"""One trial through the whole chain: detector, recogniser, acceptance.

Rules of this file. A trial is data: what is said by whom, at which question, in which noise, how
fast and how loud; its seed settles the rest, so any trial can be heard again alone. Of a reply the
first thing counts that the ear makes of it; of talk and noise anything that it ever accepts.
"""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
import soundfile

from tests.bench import spoken
from tests.bench.first_try import Outcome, State, judge
from tests.bench.first_try import Trial as Said
from voicecheck.audio.acceptance import Thresholds
from voicecheck.audio.ear import Ear, outside
from voicecheck.audio.endpoint import SileroActivity
from voicecheck.audio.noise import mix
from voicecheck.audio.ports import BLOCK, RATE, Heard, Hypothesis, NotHeard, Recogniser
from voicecheck.reply.grammar import Vocabulary, vocabulary

LEAD, TAIL = round(0.7 * RATE), round(1.0 * RATE)
TALK = ("talk", "word")


@dataclass(frozen=True)
class Trial:
    """``question`` counts the states of the inventory; ``rate`` speeds up and raises the pitch."""

    voice: str
    kind: str
    words: str
    file: Path
    question: int
    noise: str
    snr_db: float
    rate: float
    dbfs: float
    seed: int

    @property
    def state(self) -> State:
        return spoken.inventory().states[self.question]

    @property
    def said(self) -> Said:
        """As the tables of first_try take it."""
        words = "" if self.kind in TALK else self.words
        return Said(self.file, self.voice, words, self.state, self.kind in TALK)


def trials(
    items: Sequence[spoken.Spoken],
    times: dict[str, int],
    levels: Sequence[float],
    seed: int,
    cache: Path,
) -> list[Trial]:
    """Each text so many times, by kind, each time in other circumstances; a text that the cache
    lacks is left out."""
    found = []
    inventory, speaker = spoken.inventory(), spoken.Speaker(cache)
    asked = [n for n, state in enumerate(inventory.states) if state.careful]
    kinds = sorted(spoken.NOISES)
    for item in items:
        file = item.file or speaker.file(item.voice, item.words)
        if not file.exists():
            continue
        rng = random.Random(f"{seed} {item.voice.name} {item.words} {file.name}")
        where = asked if rng.random() < 0.8 else inventory.free
        if item.kind == "reply":
            where = inventory.phrases[item.words]
        elif item.kind == "number":
            where = inventory.takes_figures(item.words)
        risky = [n for n in where if inventory.states[n].careful] or where
        for n in range(times[item.kind]):
            found.append(
                Trial(
                    item.voice.name, item.kind, item.words, file,
                    rng.choice(risky if rng.random() < 0.7 else where),
                    kinds[(n + rng.randrange(len(kinds))) % len(kinds)],
                    rng.choice(levels), 0.9 * (1.12 / 0.9) ** rng.random(),
                    rng.uniform(-22.0, -3.0), rng.randrange(1 << 30),
                )
            )  # fmt: skip
    return found


@lru_cache(maxsize=4000)
def _read(file: Path) -> spoken.Sound:
    return np.asarray(soundfile.read(file)[0], np.float64)


def sound(name: str, trial: Trial) -> bytes:
    """The samples that the ear gets, 16 kHz."""
    voice = spoken.at_peak(spoken.played(_read(trial.file), trial.rate), trial.dbfs)
    padded = bytes(2 * LEAD) + voice + bytes(2 * TAIL)
    return mix(padded, spoken.noise(name, trial.noise), trial.snr_db, trial.seed)


@dataclass(frozen=True)
class Score:
    """What the engine said of one accepted text, before any threshold."""

    text: str
    confidence: float
    margin: float
    before: float
    after: float
    snr_db: float | None
    seconds: float


class Keeping:
    """A recogniser that keeps the last sound and hypothesis, so that a margin can be asked for."""

    def __init__(self, engine: Recogniser) -> None:
        self.engine = engine
        self.name, self.digest, self.trusts_pass = engine.name, engine.digest, True
        self.sound, self.heard = b"", Hypothesis("", (), 0.0)

    def prepare(self, vocabulary: Vocabulary) -> None:
        self.engine.prepare(vocabulary)

    def hear(self, samples: bytes) -> Hypothesis:
        self.sound, self.heard = samples, self.engine.hear(samples)
        return self.heard

    def missing(self, words: object) -> tuple[str, ...]:
        return ()


class Chain:
    """The ear over an engine; thresholds None: those that ship."""

    def __init__(self, engine: Recogniser, thresholds: Thresholds | None = None) -> None:
        self._engine, self._thresholds = engine, thresholds
        self._activity = SileroActivity()  # one for all: loading it costs more than a trial

    def ear(self) -> Ear:
        """A new ear; only one may be in use."""
        return Ear(self._engine, activity=self._activity, thresholds=self._thresholds)

    def hear(self, state: State, samples: bytes, until_heard: bool) -> Heard | NotHeard | None:
        """The first result, or with ``until_heard`` the first reply that was heard, if any."""
        ear = self.ear()
        ear.listen(vocabulary(state.expect), state.careful)
        size, last = 2 * BLOCK, None
        for at in range(0, len(samples), size):
            result = ear.feed(samples[at : at + size].ljust(size, b"\0"))
            if isinstance(result, Heard) or (isinstance(result, NotHeard) and not until_heard):
                return result
            last = result if isinstance(result, NotHeard) else last
        result = ear.finish()
        return last if result is None else result  # type: ignore[return-value]


OPEN = Thresholds(0.0, 2.0, 2.0, 0.0, -99.0, "nothing is refused for its score")


def scored(
    name: str, engine: Recogniser, some: Sequence[Trial]
) -> Iterator[tuple[Trial, Outcome, Score | None]]:
    """Every trial as heard without thresholds; a score where a whole phrase came out."""
    keeping = Keeping(engine)
    chain = Chain(keeping, OPEN)
    for trial in some:
        result = chain.hear(trial.state, sound(name, trial), trial.kind in TALK)
        outcome = judge(trial.said, result)
        if not isinstance(result, Heard):
            yield trial, outcome, None
            continue
        text, utterance = result.hypothesis.text, result.utterance
        margin = float("inf")
        if text in trial.state.careful:
            margin = engine.margin(keeping.sound, text)  # type: ignore[attr-defined]
        yield trial, outcome, Score(
            text, result.hypothesis.confidence, margin, *outside(result.hypothesis, utterance),
            utterance.snr_db, utterance.speech_end - utterance.speech_start,
        )  # fmt: skip
