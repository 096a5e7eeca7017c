"""Whether a whole phrase that was recognised counts as heard.

Rules:

1. One row of thresholds an engine; each row says what it was measured on.
2. Below ``low`` it is talk. From ``high`` on it is clear, between them doubtful.
3. A careful phrase (one that says that something is good, or affirms) is clear only from
   ``careful_high`` on and when it beats its best rival by ``margin``: hearing "pass" for "fail"
   is the accident to prevent, the other way round costs one question.
4. Below the signal-to-noise ratio at which the engine was measured, or when that ratio is
   unknown, nothing is clear. A high estimate proves nothing: in gusts the estimate per reply is
   off by 6 dB and more (measured), so it can only make a reply doubtful, never clear.
5. An engine that is not trusted is never clear.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from voicecheck.audio.ports import Hypothesis


@dataclass(frozen=True)
class Thresholds:
    """Confidences 0..1; ``margin`` in natural-log units; ``floor_db`` signal-to-noise ratio."""

    low: float
    high: float
    careful_high: float
    margin: float
    floor_db: float
    measured: str


TABLE: dict[str, Thresholds] = {
    "vosk": Thresholds(
        low=0.6,
        high=0.95,
        careful_high=0.98,
        margin=5.0,
        floor_db=5.0,
        measured=(
            "provisional, for a first small model: 98 human one-word commands and 52 words and "
            "sentences outside the 21 phrases, each clean and in synthetic diesel and recorded "
            "rain, crowd and train at 10 and 5 dB, speech found by the detector; to be set again "
            "for the shipped model"
        ),
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
) -> str:
    """ "talk", "doubtful" or "clear" for a whole phrase.

    ``margin`` is asked only when everything else says clear, because it costs two more decodes;
    None when the engine cannot tell, which leaves a careful phrase doubtful.
    """
    if hypothesis.confidence < thresholds.low:
        return "talk"
    if not trusted or snr_db is None or snr_db < thresholds.floor_db:
        return "doubtful"
    if hypothesis.confidence < (thresholds.careful_high if careful else thresholds.high):
        return "doubtful"
    if careful and (margin is None or not margin() >= thresholds.margin):
        return "doubtful"
    return "clear"
