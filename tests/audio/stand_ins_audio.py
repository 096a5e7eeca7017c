"""Sound and stand-ins for the tests of this room."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from voicecheck.audio.ear import Ear
from voicecheck.audio.ports import BLOCK, RATE, Heard, Hypothesis, Memo, NotHeard, Word
from voicecheck.errors import WordNotInModel
from voicecheck.reply.grammar import Expect, Form, NumberForm, Vocabulary, vocabulary
from voicecheck.units import PSI


def phrases(*said: str, number: bool = False) -> Vocabulary:
    """A vocabulary of these phrases, with or without a measurement."""
    form = NumberForm(PSI, (PSI,)) if number else None
    return vocabulary(Expect(tuple(Form(f"answer:{s}", (s,)) for s in said), number=form))


def blocks(samples: bytes) -> list[bytes]:
    size = 2 * BLOCK
    return [samples[i : i + size] for i in range(0, len(samples) - size + 1, size)]


def hiss(seconds: float, seed: int = 0, rms: float = 20.0) -> bytes:
    """A quiet floor; exact zeros would be a muted microphone."""
    noise = np.random.default_rng(seed).normal(0, rms, round(seconds * RATE))
    return bytes(np.round(noise).astype("<i2").tobytes())


class Spans:
    """A voice activity detector that is told when there is speech (stream seconds)."""

    def __init__(self, *spans: tuple[float, float]) -> None:
        self._spans = spans
        self._block = -1

    def reset(self) -> None:
        """Nothing is remembered."""

    def __call__(self, block: bytes) -> float:
        self._block += 1
        middle = (self._block + 0.5) * BLOCK / RATE
        return 0.95 if any(a <= middle < b for a, b in self._spans) else 0.02


class Told:
    """A recogniser that is told what it hears; remembers what it was given."""

    name = "told 1"
    digest = "0" * 64

    def __init__(
        self, *texts: str, confidence: float = 1.0, trusts_pass: bool = True, margin: float = 99.0
    ) -> None:
        self.texts = list(texts)
        self.confidence = confidence
        self.trusts_pass = trusts_pass
        self._margin = margin
        self.given: list[bytes] = []
        self.prepared: list[Vocabulary] = []

    def prepare(self, vocabulary: Vocabulary) -> None:
        if "unhearable" in vocabulary.all_words():
            raise WordNotInModel("unhearable", "Use another word.")
        self.prepared.append(vocabulary)

    def missing(self, words: Sequence[str]) -> tuple[str, ...]:
        return tuple(w for w in words if w == "unhearable")

    def hear(self, samples: bytes) -> Hypothesis:
        self.given.append(samples)
        text = self.texts.pop(0) if len(self.texts) > 1 else self.texts[0]
        words = tuple(
            Word(w, 0.25 + 0.1 * i, 0.35 + 0.1 * i, self.confidence)
            for i, w in enumerate(text.split())
        )
        return Hypothesis(text, words, self.confidence if words else 0.0)

    def margin(self, samples: bytes, phrase: str) -> float:
        return self._margin


Result = Heard | NotHeard | Memo


def feed(ear: Ear, samples: bytes) -> list[tuple[float, Result]]:
    """Everything the ear says while it is fed, with the stream time at which it said it."""
    said = []
    for block in blocks(samples):
        result = ear.feed(block)
        if result is not None:
            said.append((ear.time, result))
    return said
