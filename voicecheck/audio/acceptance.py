"""Whether a whole phrase that was recognised counts as heard.

Rules:

1. One row of thresholds an engine; each row says what it was measured on.
2. A phrase fills its speech. More speech than ``before`` in front of its first word or than
   ``after`` behind its last is talk: "say again" is not heard in "somebody moved my gloves again".
   Below ``low`` it is talk, too. Figures, letters and dates have ``low_figures``: their confidence
   is that of the weakest of many words, "fifty" shares it with "fifteen", and they are always read
   back. From ``high`` on it is clear, between them doubtful.
3. A careful phrase (one that says that something is good, or affirms) is clear only from
   ``careful_high`` on and when it beats its best rival by ``margin``: hearing "pass" for "fail"
   is the accident to prevent, the other way round costs one question.
4. Below the signal-to-noise ratio at which the engine was measured, or when that ratio is
   unknown, nothing is clear. A high estimate proves nothing: in gusts the estimate per reply is
   off by 6 dB and more (measured), so it can only make a reply doubtful, never clear.
5. An engine that is not trusted is never clear.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from voicecheck.audio.ports import Hypothesis


@dataclass(frozen=True)
class Thresholds:
    """Confidences 0..1; ``margin`` in natural-log units; ``floor_db`` signal-to-noise ratio;
    ``before`` and ``after`` in seconds; ``low_figures`` None: the same as ``low``.

    ``network``: digest of the network that they were set for (vosk_recogniser.network_digest).
    """

    low: float
    high: float
    careful_high: float
    margin: float
    floor_db: float
    measured: str
    low_figures: float | None = None
    before: float = math.inf
    after: float = math.inf
    network: str = ""


TABLE: dict[str, Thresholds] = {
    "vosk": Thresholds(
        low=0.71,
        low_figures=0.5,
        high=0.94,
        careful_high=0.994,
        margin=5.0,
        floor_db=5.0,
        before=0.3,
        after=0.6,
        measured=(
            "2026-11-27, tests/bench/calibrate.py: 792 replies and 1088 pieces of talk by "
            "16 synthetic voices (none of a test, ten of them mixtures of training "
            "voices), five synthetic noises, 5 to 30 dB"
        ),
        network="acd27c77fb9fc6a1a342df5451c72e6aa00f42e6396b63fb35ca726648a4ea02",
    ),
    "pocketsphinx": Thresholds(
        low=0.0,
        high=2.0,  # out of reach: never clear
        careful_high=2.0,
        margin=0.0,
        floor_db=5.0,
        measured="its confidences do not tell talk from phrases, so every reply is read back",
    ),
}

UNKNOWN_ENGINE = Thresholds(0.5, 2.0, 2.0, 0.0, 5.0, "not measured: every reply is read back")


def thresholds_of(engine: str) -> Thresholds:
    """The row for an engine's name ("vosk 0.3.45"); an engine not measured is never clear."""
    return TABLE.get(engine.split(" ")[0], UNKNOWN_ENGINE)


def judge(
    hypothesis: Hypothesis,
    thresholds: Thresholds,
    *,
    careful: bool,
    trusted: bool,
    snr_db: float | None,
    margin: Callable[[], float] | None,
    outside: tuple[float, float] = (0.0, 0.0),
    figures: bool = False,
) -> str:
    """ "talk", "doubtful" or "clear" for a whole phrase.

    ``margin`` is asked only when everything else says clear, because it costs another decode;
    None when the engine cannot tell, which leaves a careful phrase doubtful. ``outside``: seconds
    of speech before the first word and after the last. ``figures``: no phrase, but free words.
    """
    if outside[0] > thresholds.before or outside[1] > thresholds.after:
        return "talk"
    own = thresholds.low_figures if figures else None
    if hypothesis.confidence < (thresholds.low if own is None else own):
        return "talk"
    if not trusted or snr_db is None or snr_db < thresholds.floor_db:
        return "doubtful"
    if hypothesis.confidence < (thresholds.careful_high if careful else thresholds.high):
        return "doubtful"
    if careful and (margin is None or not margin() >= thresholds.margin):
        return "doubtful"
    return "clear"
