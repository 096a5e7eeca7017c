"""The fallback recogniser: pocketsphinx with the model inside its wheel.

It works on a bare machine, and it takes nearly any talk for a phrase of its grammar (measured:
157 of 160 clean sentences outside the grammar), so none of its replies is trusted:
``trusts_pass`` is False and the acceptance table calls every reply doubtful.
"""

from __future__ import annotations

import hashlib
import importlib.metadata
import math
from collections.abc import Iterable
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from voicecheck.audio.jsgf import compile_jsgf
from voicecheck.audio.ports import RATE, Hypothesis, Word
from voicecheck.audio.pronunciations import PRONUNCIATIONS
from voicecheck.errors import ModelUnusable, RecogniserMissing, WordNotInModel

if TYPE_CHECKING:
    from voicecheck.reply.grammar import Vocabulary

_FRAMES_A_SECOND = 100
# Narrower than the engine's own (1e-48, 7e-29, 30000): measured on 158 human one-word replies, no
# fewer right, and half the time with the grammar of a measurement, where it matters.
_SEARCH = {"beam": 1e-40, "pbeam": 1e-40, "wbeam": 1e-25, "maxhmmpf": 1500}
_MOST_SEARCHES = 16  # compiled grammars kept; a loop alternates between a few


class SphinxRecogniser:
    """Recognises with closed grammars. Raises RecogniserMissing or ModelUnusable when made."""

    trusts_pass = False

    def __init__(self) -> None:
        try:
            import pocketsphinx
        except (ImportError, OSError) as error:
            raise RecogniserMissing(
                f"pocketsphinx cannot be loaded: {error}.", "Install it: pip install pocketsphinx"
            ) from error
        self._folder = Path(pocketsphinx.get_model_path()) / "en-us"
        try:
            self._decoder: Any = pocketsphinx.Decoder(
                samprate=RATE, lm=None, loglevel="FATAL", **_SEARCH
            )
        except (RuntimeError, ValueError) as error:
            raise ModelUnusable(
                f"pocketsphinx cannot load its own model in {self._folder}.",
                "Install it again: pip install --force-reinstall pocketsphinx",
            ) from error
        self.name = f"pocketsphinx {importlib.metadata.version('pocketsphinx')}"
        self._searches: dict[str, None] = {}
        self._active = ""

    @cached_property
    def digest(self) -> str:
        """SHA-256 over the names and contents of the acoustic model, the dictionary and our own
        pronunciations."""
        total = hashlib.sha256()
        files = sorted(p for p in (self._folder / "en-us").rglob("*") if p.is_file())
        for path in [*files, self._folder / "cmudict-en-us.dict"]:
            total.update(path.relative_to(self._folder).as_posix().encode() + b"\0")
            total.update(hashlib.sha256(path.read_bytes()).digest())
        total.update(repr(sorted(PRONUNCIATIONS.items())).encode())
        return total.hexdigest()

    def missing(self, words: Iterable[str]) -> tuple[str, ...]:
        """Those of ``words`` in neither the engine's dictionary nor pronunciations.py."""
        return tuple(w for w in words if not self._know(w))

    def prepare(self, vocabulary: Vocabulary) -> None:
        """Compile the vocabulary's grammar (a few milliseconds) or take it from the last ones."""
        lacking = self.missing(vocabulary.all_words())
        if lacking:
            raise WordNotInModel(
                f"{self.name} cannot hear: {', '.join(lacking)}.",
                "Use other words, or add the pronunciation in voicecheck/audio/pronunciations.py.",
            )
        key = "g" + hashlib.sha256(vocabulary.jsgf.encode()).hexdigest()[:16]
        if key not in self._searches:
            if len(self._searches) >= _MOST_SEARCHES:
                oldest = next(name for name in self._searches if name != self._active)
                self._decoder.remove_search(oldest)
                del self._searches[oldest]
            try:
                self._decoder.add_fsg(key, self._graph(key, vocabulary.jsgf))
            except (RuntimeError, ValueError) as error:
                raise WordNotInModel(
                    f"{self.name} cannot use the grammar of this step: {error}.",
                    "This is a defect of the program if the checklist passed lint.",
                ) from error
            self._searches[key] = None
        self._decoder.activate_search(key)
        self._active = key

    def hear(self, samples: bytes) -> Hypothesis:
        """Recognise one utterance; ``confidence`` is the lowest posterior of its words.

        The whole utterance is given at once, so that the mean of the channel is that of this
        utterance alone and the same sound always gives the same text. Cut it tightly: two
        seconds of noise before a reply ruined recognition (measured 4 of 120 right).
        """
        if not self._active:
            raise RuntimeError("prepare() comes before hear()")
        if len(samples) < 2 * RATE // 20:
            return Hypothesis("", (), 0.0)
        self._decoder.start_utt()
        self._decoder.process_raw(samples, no_search=False, full_utt=True)
        self._decoder.end_utt()
        hypothesis = self._decoder.hyp()
        if hypothesis is None or not hypothesis.hypstr:
            return Hypothesis("", (), 0.0)
        words = []
        for segment in self._decoder.seg() or ():
            text = segment.word.split("(")[0]
            if not text or text.startswith(("<", "[", "+")):
                continue  # silence and the engine's own noise words
            words.append(
                Word(
                    text,
                    segment.start_frame / _FRAMES_A_SECOND,
                    (segment.end_frame + 1) / _FRAMES_A_SECOND,
                    _probability(segment.prob),
                )
            )
        text = " ".join(word.text for word in words)
        return Hypothesis(text, tuple(words), min((w.confidence for w in words), default=0.0))

    def _graph(self, name: str, jsgf: str) -> Any:
        """The grammar for the engine. Every way on from a state is equally likely."""
        automaton = compile_jsgf(jsgf)
        final = len(automaton.arcs)
        transitions: list[tuple[int, int, float] | tuple[int, int, float, str]] = []
        for state, row in enumerate(automaton.arcs):
            ends = state in automaton.accepting
            share = 1.0 / (len(row) + ends) if row or ends else 1.0
            transitions += [(state, to, share, word) for word, to in row.items()]
            transitions += [(state, final, share)] if ends else []
        return self._decoder.create_fsg(name, 0, final, transitions)

    def _know(self, word: str) -> bool:
        ours = PRONUNCIATIONS.get(word, ())
        if not ours:
            return self._decoder.lookup_word(word) is not None
        for phones in ours:
            self._add(word, phones)
        return True

    def _add(self, word: str, phones: str) -> None:
        """Add a pronunciation as the next free alternative of the word, unless it is there."""
        entry, number = word, 1
        while (known := self._decoder.lookup_word(entry)) is not None:
            if known == phones:
                return
            number += 1
            entry = f"{word}({number})"
        self._decoder.add_word(entry, phones, True)


def _probability(value: float) -> float:
    """Within 0..1; the engine gives a posterior that can exceed 1 by rounding."""
    return 0.0 if math.isnan(value) else min(1.0, max(0.0, float(value)))
