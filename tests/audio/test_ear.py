"""Rules of the ear (the numbers are those at the head of ear.py).

The detector and the recogniser are told what to say, so that only the ear is tested. Invariant H5
is tested here for the part that lies in this room: no text but a whole phrase is ever heard.
"""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from stand_ins_audio import Spans, Told, feed, hiss, phrases

from voicecheck.audio.acceptance import Thresholds
from voicecheck.audio.ear import Ear
from voicecheck.audio.ports import BLOCK, RATE, Heard, Memo, NotHeard
from voicecheck.errors import WordNotInModel

BLOCK_SECONDS = BLOCK / RATE
LIMITS = Thresholds(0.6, 0.9, 0.98, 5.0, 5.0, "for this test")
LOUD = hiss(0.6, 9, rms=3000)


def make(told: Told, *spans: tuple[float, float]) -> Ear:
    return Ear(told, activity=Spans(*spans), thresholds=LIMITS)


def stream(seconds: float, *loud: tuple[float, float]) -> bytes:
    """A quiet floor with loud stretches, so that a signal-to-noise ratio exists."""
    floor = bytearray(hiss(seconds, 1))
    for start, end in loud:
        at = 2 * round(start * RATE)
        piece = hiss(end - start, 2, rms=3000)
        floor[at : at + len(piece)] = piece
    return bytes(floor)


def one(said: list[tuple[float, Heard | NotHeard | Memo]]) -> Heard | NotHeard | Memo:
    assert len(said) == 1, said
    return said[0][1]


# -- rule 2: how long a silence ends a reply -------------------------------------------------


def test_a_closed_phrase_ends_after_288_ms() -> None:
    """Budget of the design: endpoint 250 to 300 ms for closed words."""
    ear = make(Told("pass"), (1.0, 1.6))
    ear.listen(phrases("pass", "fail"))
    result = one(feed(ear, stream(4, (1.0, 1.6))))
    assert isinstance(result, Heard)
    assert result.hypothesis.text == "pass"
    assert 0.25 <= result.utterance.end - result.utterance.speech_end <= 0.3
    assert abs(result.utterance.speech_end - 1.6) <= BLOCK_SECONDS
    assert result.certainty == "clear"


@pytest.mark.parametrize("text", ["one five", "one", "one five p s i"])
def test_a_number_waits_800_ms(text: str) -> None:
    ear = make(Told(text), (1.0, 1.6))
    ear.listen(phrases("pass", number=True))
    result = one(feed(ear, stream(4, (1.0, 1.6))))
    assert isinstance(result, Heard), result
    assert result.utterance.end - result.utterance.speech_end >= 0.8 - 1e-9


def test_a_number_with_a_pause_stays_whole() -> None:
    """ "one ... hundred": a pause of 0.6 s inside the reply does not end it."""
    told = Told("one", "one hundred")
    ear = make(told, (1.0, 1.5), (2.1, 2.8))
    ear.listen(phrases("pass", number=True))
    result = one(feed(ear, stream(5, (1.0, 1.5), (2.1, 2.8))))
    assert isinstance(result, Heard)
    assert result.hypothesis.text == "one hundred"
    assert len(told.given[-1]) / 2 / RATE >= 1.8 - BLOCK_SECONDS


def test_a_phrase_that_may_go_on_waits() -> None:
    ear = make(Told("closed"), (1.0, 1.6))
    ear.listen(phrases("closed", "closed round the shank"))
    result = one(feed(ear, stream(4, (1.0, 1.6))))
    assert isinstance(result, Heard)
    assert result.utterance.end - result.utterance.speech_end >= 0.8 - 1e-9


@pytest.mark.parametrize(
    ("heard", "quiet"),
    [("as ordered", 0.8), ("as ordered closed", 0.8), ("as ordered closed confirmed", 0.288)],
)
def test_the_beginning_of_a_breath_waits_for_the_rest_and_the_whole_does_not(
    heard: str, quiet: float
) -> None:
    ear = make(Told(heard), (1.0, 1.6))
    ear.listen(phrases("as ordered", "as ordered closed", "as ordered closed confirmed"))
    result = one(feed(ear, stream(4, (1.0, 1.6))))
    assert isinstance(result, Heard)
    assert result.hypothesis.text == heard
    assert abs(result.utterance.end - result.utterance.speech_end - quiet) <= 2 * BLOCK_SECONDS


def test_a_pause_between_the_parts_of_a_breath_stays_whole() -> None:
    """Of 0.6 s; the first part alone is complete, and must not be taken before the rest is over."""
    told = Told("as ordered", "as ordered closed")
    ear = make(told, (1.0, 1.5), (2.1, 2.8))
    ear.listen(phrases("as ordered", "as ordered closed"))
    result = one(feed(ear, stream(5, (1.0, 1.5), (2.1, 2.8))))
    assert isinstance(result, Heard)
    assert result.hypothesis.text == "as ordered closed"


# -- rule 3: speech that had begun before ----------------------------------------------------


def test_the_tail_of_speech_begun_in_a_hold_is_not_heard() -> None:
    """H6: no reply counts before a hold was spoken to its end. "not closed" begun in the hold
    must not be heard as "closed"."""
    told = Told("closed")
    ear = make(told, (0.6, 2.2))
    assert feed(ear, stream(1.5, (0.6, 1.5))) == []  # deaf
    ear.listen(phrases("closed", "not closed"))
    assert not ear.speaking
    result = one(feed(ear, stream(2.5, (0.0, 0.7))))
    assert isinstance(result, NotHeard)
    assert result.why == "fragment"
    assert told.given == []


def test_speech_going_on_when_the_question_changes_is_a_fragment() -> None:
    told = Told("pass")
    ear = make(told, (1.0, 2.5))
    ear.listen(phrases("pass", "fail"))
    assert feed(ear, stream(1.6, (1.0, 1.6))) == []
    assert ear.speaking
    ear.listen(phrases("pass", "fail"))
    result = one(feed(ear, stream(3, (0, 0.9))))
    assert isinstance(result, NotHeard) and result.why == "fragment"
    assert told.given == []


def test_the_echo_of_a_prompt_is_dropped_and_the_reply_after_it_is_heard() -> None:
    told = Told("pass")
    ear = make(told, (0.5, 2.1), (2.5, 3.0))
    assert feed(ear, stream(2.0, (0.5, 2.0))) == []  # deaf: the prompt sounds until 2.1
    ear.listen(phrases("pass", "fail"))
    result = one(feed(ear, stream(3, (0.0, 0.1), (0.5, 1.0))))
    assert isinstance(result, Heard)
    assert result.utterance.start >= 2.5 - 0.5 - BLOCK_SECONDS


def test_deaf_hears_nothing_and_is_not_speaking() -> None:
    told = Told("pass")
    ear = make(told, (1.0, 1.6), (3.0, 3.5))
    ear.listen(phrases("pass"))
    ear.deafen()
    assert feed(ear, stream(3.3, (1.0, 1.6), (3.0, 3.3))) == []
    assert not ear.speaking
    assert told.given == []


def test_speech_begun_while_listening_and_cut_by_deafen_is_never_heard() -> None:
    told = Told("pass")
    ear = make(told, (1.0, 2.0))
    ear.listen(phrases("pass"))
    feed(ear, stream(1.5, (1.0, 1.5)))
    ear.deafen()
    assert feed(ear, stream(2.0)) == []
    assert told.given == []


# -- rule 4: too long ------------------------------------------------------------------------


def test_too_long_is_refused_once_with_all_that_follows() -> None:
    told = Told("pass")
    ear = make(told, (1.0, 15.0), (17.0, 17.6))
    ear.listen(phrases("pass"))
    said = feed(ear, stream(19, (1.0, 15.0), (17.0, 17.6)))
    assert [type(r).__name__ for _, r in said] == ["NotHeard", "Heard"]
    first = said[0][1]
    assert isinstance(first, NotHeard) and first.why == "too long"
    assert 13.0 <= said[0][0] <= 13.1
    assert len(told.given) == 1


# -- rule 5: what is cut ---------------------------------------------------------------------


def test_the_recogniser_gets_a_quarter_second_and_the_evidence_half_a_second_before() -> None:
    told = Told("pass")
    ear = make(told, (2.0, 2.6))
    ear.listen(phrases("pass"))
    sound = stream(5, (2.0, 2.6))
    result = one(feed(ear, sound))
    assert isinstance(result, Heard)
    assert abs(len(told.given[0]) / 2 / RATE - (0.6 + 0.5)) <= 2 * BLOCK_SECONDS
    utterance = result.utterance
    first, last = round(utterance.start * RATE), round(utterance.end * RATE)
    assert utterance.samples == sound[2 * first : 2 * last]
    assert abs(utterance.start - 1.5) <= BLOCK_SECONDS
    # the stand-in puts its first word 0.25 s into what it was given: where the speech begins
    assert abs(utterance.start + result.hypothesis.words[0].start - 2.0) <= BLOCK_SECONDS


def test_the_recogniser_never_gets_sound_from_before_the_question() -> None:
    """The prompt's own echo must not answer the prompt."""
    told = Told("pass")
    ear = make(told, (1.1, 1.7))
    feed(ear, stream(1.024))
    ear.listen(phrases("pass"))
    one(feed(ear, stream(3, (0.1, 0.7))))
    assert len(told.given[0]) / 2 / RATE <= 0.08 + 0.6 + 0.25 + 2 * BLOCK_SECONDS


# -- rule 6: muted ---------------------------------------------------------------------------


def test_exact_zeros_are_reported_once_until_sound_comes_back() -> None:
    ear = make(Told("pass"))
    ear.listen(phrases("pass"))
    zeros = bytes(2 * RATE * 4)
    said = feed(ear, zeros + hiss(1) + zeros)
    assert [r.why for _, r in said if isinstance(r, NotHeard)] == ["muted", "muted"]
    assert 1.0 < said[0][0] < 1.1
    deaf = feed(make(Told("pass")), zeros)  # a hold is being spoken: it must be told all the same
    assert [r.why for _, r in deaf if isinstance(r, NotHeard)] == ["muted"]


def test_half_a_second_of_zeros_is_not_muted() -> None:
    ear = make(Told("pass"))
    ear.listen(phrases("pass"))
    assert feed(ear, hiss(1) + bytes(RATE) + hiss(1)) == []


# -- rule 7: only whole phrases --------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("", "noise"),
        ("[unk]", "talk"),
        ("[unk] pass", "talk"),
        ("pass [unk]", "talk"),
        ("stand", "fragment"),
        ("by", "fragment"),
        ("stand by stand by", "fragment"),
        ("pass fail", "fragment"),
        ("pasture", "fragment"),
    ],
)
def test_what_is_not_a_whole_phrase_is_not_heard(text: str, why: str) -> None:
    ear = make(Told(text), (1.0, 1.6))
    ear.listen(phrases("pass", "fail", "stand by"))
    result = one(feed(ear, stream(4, (1.0, 1.6))))
    assert isinstance(result, NotHeard)
    assert (result.why, result.text) == (why, text)
    assert result.utterance is not None


WORDS = st.sampled_from(["pass", "fail", "stand", "by", "one", "five", "[unk]", "psi", "zebra"])


@settings(max_examples=60, deadline=None)
@given(st.lists(WORDS, max_size=5).map(" ".join), st.floats(0, 1))
def test_heard_is_always_complete_and_without_unknown(text: str, confidence: float) -> None:
    """H5, for whatever the recogniser says with whatever confidence."""
    words = phrases("pass", "fail", "stand by", number=True)
    ear = make(Told(text, confidence=confidence), (1.0, 1.3))
    ear.listen(words, careful=frozenset({"pass"}))
    result = one(feed(ear, stream(2.3, (1.0, 1.3))))
    if isinstance(result, Heard):
        assert words.complete(text)
        assert "[unk]" not in text
        assert confidence >= LIMITS.low
        assert result.certainty == "doubtful" or confidence >= LIMITS.high
        assert result.certainty == "doubtful" or text != "pass" or confidence >= 0.98


# -- acceptance, as the ear applies it -------------------------------------------------------


@pytest.mark.parametrize(
    ("told", "certainty"),
    [
        (Told("pass"), "clear"),
        (Told("pass", confidence=0.95), "doubtful"),  # careful needs more than high
        (Told("pass", margin=4.9), "doubtful"),
        (Told("pass", margin=float("nan")), "doubtful"),
        (Told("pass", trusts_pass=False), "doubtful"),
        (Told("fail", confidence=0.95, margin=0), "clear"),  # failing is as cheap
        (Told("fail", trusts_pass=False), "doubtful"),
    ],
)
def test_certainty(told: Told, certainty: str) -> None:
    ear = make(told, (1.0, 1.6))
    ear.listen(phrases("pass", "fail"), careful=frozenset({"pass"}))
    result = one(feed(ear, stream(4, (1.0, 1.6))))
    assert isinstance(result, Heard)
    assert result.certainty == certainty


@pytest.mark.parametrize(("span", "why"), [((1.0, 1.6), ""), ((0.2, 1.0), "talk")])
def test_a_phrase_fills_the_speech_around_it(span: tuple[float, float], why: str) -> None:
    """The recogniser says that "pass" ends a tenth of a second after the speech began."""
    told = Told("pass")
    row = Thresholds(0.5, 0.9, 0.9, 0.0, 5.0, "for this test", before=0.2, after=0.55)
    ear = Ear(told, activity=Spans((1.0, 1.0 + span[1] - span[0])), thresholds=row)
    ear.listen(phrases("pass", "fail"), careful=frozenset({"pass"}))
    result = one(feed(ear, stream(4, (1.0, 1.0 + span[1] - span[0]))))
    assert isinstance(result, NotHeard if why else Heard)
    assert not why or result.why == why


def test_figures_are_heard_at_their_own_bound() -> None:
    row = Thresholds(0.9, 0.95, 0.95, 0.0, 5.0, "for this test", low_figures=0.4)
    for text, kind in (("one five", Heard), ("pass", NotHeard)):
        ear = Ear(Told(text, confidence=0.5), activity=Spans((1.0, 1.6)), thresholds=row)
        ear.listen(phrases("pass", number=True))
        result = one(feed(ear, stream(4, (1.0, 1.6))))
        assert isinstance(result, kind), result


def test_below_the_measured_noise_nothing_is_clear() -> None:
    ear = make(Told("fail"), (1.0, 1.6))
    ear.listen(phrases("pass", "fail"))
    result = one(feed(ear, hiss(4, rms=500)))  # "speech" no louder than what went before
    assert isinstance(result, Heard)
    assert result.utterance.snr_db is not None and result.utterance.snr_db < 5
    assert result.certainty == "doubtful"


def test_an_engine_without_a_measured_row_is_never_clear() -> None:
    told = Told("pass")
    ear = Ear(told, activity=Spans((1.0, 1.6)))
    ear.listen(phrases("pass"))
    result = one(feed(ear, stream(4, (1.0, 1.6))))
    assert isinstance(result, Heard) and result.certainty == "doubtful"


# -- memo, end of stream, wrong use ----------------------------------------------------------


def test_a_memo_ends_after_a_second_and_a_half_and_is_not_recognised() -> None:
    told = Told("pass")
    ear = make(told, (1.0, 3.0), (4.0, 5.0), (8.0, 9.0))
    ear.listen_memo()
    result = one(feed(ear, stream(11, (1.0, 3.0), (4.0, 5.0), (8.0, 9.0))))
    assert isinstance(result, Memo)
    assert abs(result.utterance.speech_end - 5.0) <= BLOCK_SECONDS
    assert 1.5 <= result.utterance.end - result.utterance.speech_end <= 1.55
    assert told.given == []


def test_the_end_of_a_recording() -> None:
    ear = make(Told("pass"))
    assert ear.finish() is None  # deaf
    ear.listen(phrases("pass"))
    assert feed(ear, stream(2)) == []
    assert ear.finish() == NotHeard("silence", None, "")

    ear = make(Told("one five"), (1.0, 1.6))
    ear.listen(phrases("pass", number=True))
    assert feed(ear, stream(1.9, (1.0, 1.6))) == []
    result = ear.finish()
    assert isinstance(result, Heard) and result.hypothesis.text == "one five"
    assert ear.finish() is None


def test_the_same_sound_gives_the_same_result_at_any_chunking_in_time() -> None:
    def run() -> list[object]:
        ear = make(Told("pass"), (1.0, 1.6))
        ear.listen(phrases("pass"))
        return [dataclasses.astuple(r) for _, r in feed(ear, stream(4, (1.0, 1.6)))]

    assert run() == run()


def test_a_word_that_cannot_be_heard_leaves_the_ear_as_it_was() -> None:
    ear = make(Told("pass"), (1.0, 1.6))
    ear.listen(phrases("pass"))
    with pytest.raises(WordNotInModel):
        ear.listen(phrases("unhearable"))
    assert isinstance(one(feed(ear, stream(4, (1.0, 1.6)))), Heard)


def test_a_block_of_another_length_is_refused() -> None:
    with pytest.raises(ValueError, match="1024"):
        make(Told("pass")).feed(bytes(1000))


def test_speaking_tells_barge_in_within_200_ms() -> None:
    ear = make(Told("pass"), (1.0, 1.6))
    ear.listen(phrases("pass"))
    feed(ear, stream(1.2, (1.0, 1.2)))
    assert ear.speaking


def test_a_clipped_reply_is_doubtful() -> None:
    """The same reply, once cut at full scale; the engine is as sure of both."""
    for gain, certainty in ((1, "clear"), (40, "doubtful")):
        ear = make(Told("pass"), (1.0, 1.6))
        ear.listen(phrases("pass", "fail"))
        values = np.frombuffer(stream(4, (1.0, 1.6)), dtype="<i2").astype(np.int32) * gain
        result = one(feed(ear, np.clip(values, -32768, 32767).astype("<i2").tobytes()))
        assert isinstance(result, Heard)
        assert result.utterance.clipped is (gain > 1)
        assert result.certainty == certainty
