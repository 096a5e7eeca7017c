"""The ear: from blocks of sound to a whole reply, or to the reason why there is none.

Rules:

1. Time is counted in samples. The ear reads no clock, so a recording fed at any speed gives the
   same replies with the same times.
2. A reply ends after ``CLOSED_QUIET`` of silence when what was heard is a whole phrase and no
   longer phrase begins with it; otherwise (numbers, spelling, a phrase that may go on, anything
   else) after ``OPEN_QUIET``, so that "one ... and three quarters" stays whole.
3. Speech that had begun before the ear was opened for the present question is not heard, nor is
   the rest of it: "closed" must not be the tail of "not closed" said into the prompt, and an
   answer to the last question must not answer this one. It is reported as a fragment.
4. Speech longer than ``LONGEST`` is refused as talk, all of it, up to the next silence.
5. The recogniser gets the speech with ``MARGIN`` on both sides (two seconds of engine before a
   reply ruin recognition). The evidence gets ``BEFORE`` of what came before it, for the noise
   floor, and the silence that ended it.
6. Exact zeros for longer than ``MUTED`` mean a muted or lost microphone; that is said once until
   sound comes back, also while the ear is deaf: a headset out of range hears no hold either.
7. Only a text for which Vocabulary.complete is true can be heard. ``[unk]`` anywhere is talk.
8. A reply that drove the microphone to its full scale is doubtful: what was cut off may be the
   difference between two words.
"""

from __future__ import annotations

import dataclasses
import math
from functools import partial
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from voicecheck.audio.acceptance import Thresholds, judge, thresholds_of
from voicecheck.audio.endpoint import Endpoint, SileroActivity, VoiceActivity, seconds
from voicecheck.audio.ports import (
    BLOCK,
    RATE,
    UNKNOWN,
    Heard,
    Hypothesis,
    Memo,
    NotHeard,
    Recogniser,
    RivalScoring,
    Utterance,
)

if TYPE_CHECKING:
    from voicecheck.reply.grammar import Vocabulary

CLOSED_QUIET = 9  # blocks: 288 ms
OPEN_QUIET = 25  # blocks: 800 ms
MEMO_QUIET = 47  # blocks: 1.5 s
STALE_QUIET = 5  # blocks: 160 ms end speech that does not count (an echo, the rest of a sentence)
LONGEST = 375  # blocks: 12 s
LONGEST_MEMO = 3750  # blocks: 120 s
MARGIN = RATE // 4
BEFORE = RATE // 2
MUTED = 32  # blocks: the first count above 1 s
_WORTH_SAYING = 10  # blocks (0.3 s) of speech after opening before a fragment is reported
_ZEROS = bytes(2 * BLOCK)
_SNR_LEAST_FLOOR = RATE // 10


class Ear:
    """Endpoint, recogniser and acceptance together. Deaf until ``listen`` or ``listen_memo``."""

    def __init__(
        self,
        recogniser: Recogniser,
        *,
        activity: VoiceActivity | None = None,
        thresholds: Thresholds | None = None,
    ) -> None:
        self._recogniser = recogniser
        self._thresholds = thresholds or thresholds_of(recogniser.name)
        self._endpoint = Endpoint(activity or SileroActivity())
        self._mode = "deaf"  # "deaf" | "phrases" | "memo"
        self._vocabulary: Vocabulary | None = None
        self._careful: frozenset[str] = frozenset()
        self._opened = 0  # sample at which the present question was opened
        self._stale: str | None = None  # why the speech going on does not count
        self._pause: Hypothesis | None = None  # what was decoded in the present pause
        self._zeros = 0
        self._muted = False
        self._spoke = False  # speech of any kind since opening

    # -- what may be said now ---------------------------------------------------------------

    def listen(self, vocabulary: Vocabulary, careful: frozenset[str] = frozenset()) -> None:
        """Hear phrases of ``vocabulary`` from here on, until the next call of one of these three.

        ``careful`` are the phrases that need the higher threshold and the margin (acceptance.py).
        Call it between utterances: speech that is going on now does not count. Raises
        WordNotInModel, and then the ear is as it was.
        """
        self._recogniser.prepare(vocabulary)
        self._vocabulary, self._careful = vocabulary, careful
        self._open("phrases")

    def listen_memo(self) -> None:
        """Record free talk until 1.5 s of silence (at most 120 s), then be deaf."""
        self._open("memo")

    def replace(self, recogniser: Recogniser) -> None:
        """Go on with another recogniser; the speech going on is dropped. Raises WordNotInModel."""
        self._recogniser = recogniser
        self._endpoint.end()
        self._pause = None
        if self._mode == "phrases" and self._vocabulary is not None:
            recogniser.prepare(self._vocabulary)

    def deafen(self) -> None:
        """Ignore what comes: a hold is being spoken, or nothing is asked."""
        self._mode = "deaf"
        self._stale = None

    @property
    def speaking(self) -> bool:
        """Speech that counts is going on now."""
        return self._mode != "deaf" and self._endpoint.in_speech and self._stale is None

    @property
    def stirring(self) -> bytes:
        """Samples of the speech going on that counts, or of its first sign; empty without one."""
        first = self._endpoint.sign
        if self._mode == "deaf" or self._stale is not None or first is None:
            return b""
        if first * BLOCK < self._opened:
            return b""
        return self._endpoint.cut(first * BLOCK, self._endpoint.position * BLOCK)

    @property
    def glimpse(self) -> bool:
        """The last block may be the beginning of speech that counts, or is in it."""
        return self._mode != "deaf" and self._stale is None and self._endpoint.glimpse

    @property
    def time(self) -> float:
        """Stream seconds heard so far."""
        return seconds(self._endpoint.position * BLOCK)

    # -- sound ------------------------------------------------------------------------------

    def feed(self, block: bytes) -> Heard | NotHeard | Memo | None:
        """Take the next block of 512 samples. Raises ValueError for another length."""
        if len(block) != 2 * BLOCK:
            raise ValueError(f"a block has {2 * BLOCK} bytes, not {len(block)}")
        self._endpoint.feed(block)
        self._zeros = self._zeros + 1 if block == _ZEROS else 0
        if self._zeros == 0:
            self._muted = False
        if self._zeros >= MUTED and not self._muted:
            self._muted = True
            return NotHeard("muted", None, "")
        if self._mode == "deaf":
            self._end_stale_speech()
            return None
        if not self._endpoint.in_speech:
            return None
        if self._stale is not None:
            return self._drain()
        self._spoke = True
        return self._memo() if self._mode == "memo" else self._phrase()

    def finish(self) -> Heard | NotHeard | Memo | None:
        """The stream is over (a recording ended): what is there is all there is.

        NotHeard("silence") when nothing was said since the ear was opened; None when deaf or when
        the last speech was dealt with already.
        """
        if self._mode == "deaf":
            return None
        if self._endpoint.in_speech and self._stale is None:
            self._spoke = True
            if self._mode == "memo":
                return self._take_memo()
            return self._take(self._decode())
        self._endpoint.end()
        self._stale = None
        return None if self._spoke else NotHeard("silence", None, "")

    # -- states -----------------------------------------------------------------------------

    def _open(self, mode: str) -> None:
        self._mode = mode
        self._opened = self._endpoint.position * BLOCK
        self._pause = None
        self._spoke = False
        self._end_stale_speech()
        self._endpoint.fresh()
        self._stale = "fragment" if self._endpoint.in_speech else None

    def _end_stale_speech(self) -> None:
        if self._endpoint.in_speech and self._endpoint.quiet >= STALE_QUIET:
            self._endpoint.end()

    def _drain(self) -> NotHeard | None:
        """Speech is going on that does not count: wait for its end."""
        if self._stale == "too long":  # was reported when it became too long
            if self._endpoint.quiet >= CLOSED_QUIET:
                self._endpoint.end()
                self._stale = None
            self._endpoint.shed()
            return None
        self._endpoint.shed()
        if self._endpoint.quiet < STALE_QUIET:
            return None
        length = self._endpoint.last + 1 - self._opened // BLOCK
        self._endpoint.end()
        self._stale = None
        if length < _WORTH_SAYING:
            return None  # the last sound of the prompt, most likely
        self._spoke = True
        return NotHeard("fragment", None, "")

    def _phrase(self) -> Heard | NotHeard | None:
        endpoint, vocabulary = self._endpoint, self._vocabulary
        assert vocabulary is not None
        if endpoint.first * BLOCK < self._opened:
            self._stale = "fragment"  # it began before the question was open
            return None
        if endpoint.position - endpoint.first > LONGEST:
            utterance = self._utterance()
            self._stale, self._pause = "too long", None
            return NotHeard("too long", utterance, "")
        if endpoint.quiet == 0:
            self._pause = None
            return None
        if endpoint.quiet == CLOSED_QUIET:
            self._pause = self._decode()
            text = self._pause.text
            if vocabulary.complete(text) and not vocabulary.may_grow(text):
                return self._take(self._pause)
        # The recogniser is given MARGIN of the silence, and CLOSED_QUIET is longer than that, so
        # decoding again at the end of the pause would give the same text.
        if endpoint.quiet >= OPEN_QUIET:
            return self._take(self._pause or self._decode())
        return None

    def _memo(self) -> Memo | None:
        endpoint = self._endpoint
        too_long = endpoint.position - endpoint.first > LONGEST_MEMO
        return self._take_memo() if endpoint.quiet >= MEMO_QUIET or too_long else None

    def _take_memo(self) -> Memo:
        memo = Memo(self._utterance())
        self._endpoint.end()
        self.deafen()
        return memo

    def _take(self, hypothesis: Hypothesis) -> Heard | NotHeard:
        assert self._vocabulary is not None
        utterance = self._utterance()
        samples, _ = self._recogniser_cut()  # before end(): the margin needs the same cut
        self._endpoint.end()
        self._pause = None
        text = hypothesis.text
        if not text:
            return NotHeard("noise", utterance, text)
        if UNKNOWN in text.split():
            return NotHeard("talk", utterance, text)
        if not self._vocabulary.complete(text):
            return NotHeard("fragment", utterance, text)
        engine = self._recogniser
        certainty = judge(
            hypothesis,
            self._thresholds,
            careful=text in self._careful,
            trusted=engine.trusts_pass,
            snr_db=utterance.snr_db,
            margin=partial(engine.margin, samples, text)
            if isinstance(engine, RivalScoring)
            else None,
            outside=outside(hypothesis, utterance),
            figures=text not in self._vocabulary.phrases,
        )
        if certainty == "talk":
            return NotHeard("talk", utterance, text)
        return Heard(hypothesis, utterance, "doubtful" if utterance.clipped else certainty)

    # -- cutting ----------------------------------------------------------------------------

    def _recogniser_cut(self) -> tuple[bytes, int]:
        """What the recogniser is given, and the stream sample at which that begins."""
        start = max(self._endpoint.first * BLOCK - MARGIN, self._opened, self._endpoint.kept_from)
        return self._endpoint.cut(start, (self._endpoint.last + 1) * BLOCK + MARGIN), start

    def _evidence_start(self) -> int:
        return max(self._endpoint.first * BLOCK - BEFORE, self._endpoint.kept_from)

    def _decode(self) -> Hypothesis:
        samples, start = self._recogniser_cut()
        heard = self._recogniser.hear(samples)
        shift = seconds(start - self._evidence_start())
        words = tuple(
            dataclasses.replace(word, start=word.start + shift, end=word.end + shift)
            for word in heard.words
        )
        return dataclasses.replace(heard, words=words)

    def _utterance(self) -> Utterance:
        endpoint = self._endpoint
        start, end = self._evidence_start(), endpoint.position * BLOCK
        samples = endpoint.cut(start, end)
        speech = endpoint.first * BLOCK - start
        speech_end = (endpoint.last + 1) * BLOCK
        peak, clipped = level(samples)
        return Utterance(
            samples=samples,
            start=seconds(start),
            end=seconds(end),
            speech_start=seconds(endpoint.first * BLOCK),
            speech_end=seconds(speech_end),
            snr_db=snr(samples, speech, speech_end - start),
            peak_dbfs=peak,
            clipped=clipped,
        )


def outside(hypothesis: Hypothesis, utterance: Utterance) -> tuple[float, float]:
    """Seconds of speech before the first word and after the last; negative where a word goes on
    beyond the speech."""
    if not hypothesis.words:
        return 0.0, 0.0
    first = utterance.start + hypothesis.words[0].start
    last = utterance.start + hypothesis.words[-1].end
    return first - utterance.speech_start, utterance.speech_end - last


def level(samples: bytes) -> tuple[float, bool]:
    """Peak in dB of full scale (-inf for zeros), and whether three samples in a row are at it."""
    values = np.abs(np.frombuffer(samples, dtype="<i2").astype(np.int32))
    if values.size == 0 or values.max() == 0:
        return -math.inf, False
    full = values >= 32767
    clipped = bool(np.any(full[:-2] & full[1:-1] & full[2:])) if full.size >= 3 else False
    return 20 * math.log10(int(values.max()) / 32768), clipped


def snr(samples: bytes, speech_start: int, speech_end: int) -> float | None:
    """Estimated signal-to-noise ratio in dB, limited to -20..60.

    10 log10((Ps - Pn) / Pn) with Pn the mean, trimmed by a fifth on both sides, of the power of
    20 ms frames before the speech and Ps the mean of the frames of the speech within 35 dB of
    their 95th percentile. The last 60 ms before the speech are left out: the detector is late.
    None with less than 100 ms before the speech. Measured: right within 1 dB in steady noise,
    useless for a single reply in wind (10 dB true: 13.4 mean, 6.5 standard deviation).
    """
    values = np.frombuffer(samples, dtype="<i2").astype(np.float64)
    floor = _powers(values[: max(0, speech_start - RATE * 60 // 1000)])
    speech = _powers(values[speech_start:speech_end])
    if floor.size * (RATE // 50) < _SNR_LEAST_FLOOR or speech.size == 0:
        return None
    ordered = np.sort(floor)
    trim = ordered.size // 5
    noise = float(np.mean(ordered[trim : ordered.size - trim]))
    top = float(np.percentile(speech, 95))
    if top <= 0:
        return -20.0
    signal = float(np.mean(speech[speech >= top * 10**-3.5]))
    if noise <= 0:
        return 60.0
    if signal <= noise:
        return -20.0
    return max(-20.0, min(60.0, 10 * math.log10((signal - noise) / noise)))


def _powers(values: NDArray[np.float64]) -> NDArray[np.float64]:
    size = RATE // 50
    frames = values[: values.size // size * size].reshape(-1, size)
    return np.asarray(np.mean(frames**2, axis=1))
