"""A clocked step: the driver's two marks, the time between, and all that may come between.

The limit is the 45 s from 85 to 100 psi of the model rule for driver examinations (row us-air-4,
a guide value), equal passes.
"""

from __future__ import annotations

import pytest

from tests.session.day import GOOD_DAY, day
from tests.session.small import Hand
from voicecheck.report.build import build
from voicecheck.report.html import to_html
from voicecheck.session import actions as a
from voicecheck.session import events as e
from voicecheck.session import records as r
from voicecheck.session.fold import fold
from voicecheck.session.session import Session


def at_the_gauge() -> Hand:
    hand = Hand(day())
    hand.reply(*GOOD_DAY[:4])
    assert hand.step == "build up"
    return hand


def mark(hand: Hand, after: float, ago_ms: int = 0, certainty: str = "typed") -> str:
    """The word "mark" that began ``ago_ms`` before it was heard. What was said after it."""
    hand.said.clear()
    at = hand.at(after)
    hand.tell(e.ReplyHeard(at=at, words="mark", certainty=certainty, ago_ms=ago_ms))
    return " ".join(hand.said)


@pytest.mark.parametrize(
    ("seconds", "told", "verdict"),
    [
        (44.001, "45 s", "within"),
        (45, "45 s", "within"),
        (45.001, "46 s", "outside"),
        (30, "30 s", "within"),
    ],
)
def test_begun_seconds_between_the_marks_are_judged(
    seconds: float, told: str, verdict: str
) -> None:
    hand = at_the_gauge()
    assert mark(hand, 5) == "Mark at one hundred."
    assert hand.phase == "clocking"
    said = mark(hand, seconds)
    assert said.startswith("From mark to mark: ")
    assert "build up" not in hand.session.state.answers  # nothing counts before affirm
    hand.reply("affirm")
    answer = hand.session.state.answers["build up"]
    assert (answer.quantity, answer.verdict) == (told, verdict)
    assert hand.true("builds up") is (verdict == "within")
    assert [d.defect for d in hand.session.state.open_stops()] == (
        ["slow"] if verdict == "outside" else []
    )


def test_a_mark_counts_from_the_beginning_of_its_word() -> None:
    hand = at_the_gauge()
    mark(hand, 5, ago_ms=900)
    mark(hand, 30, ago_ms=400)  # 30.5 s between the words
    hand.reply("affirm")
    assert hand.session.state.answers["build up"].quantity == "31 s"
    marks = [rec for rec in hand.records if isinstance(rec, r.Marked)]
    assert marks[1].mono - marks[0].mono == 30_500


def test_the_program_is_silent_between_the_marks() -> None:
    hand = at_the_gauge()
    mark(hand, 5)
    for words in ("bananas", "pass", "[unk]"):
        assert hand.reply(words) == ""
    hand.said.clear()
    hand.tell(e.SoundRefused(at=hand.at(), why="noise", ms=4000))
    hand.tell(e.SoundRefused(at=hand.at(), why="talk", ms=9000))
    hand.tell(e.TimerElapsed(at=hand.at(), name="quiet"))
    assert hand.said == []
    assert hand.phase == "clocking"
    assert hand.reply("say again") == "Mark at one hundred."


def test_the_first_mark_heard_twice_is_one_mark() -> None:
    hand = at_the_gauge()
    mark(hand, 5)
    assert mark(hand, 1.9) == ""
    assert hand.phase == "clocking"
    refused = [rec for rec in hand.records if isinstance(rec, r.HeardReply)][-1]
    assert (refused.took, refused.why) == (False, "too soon after the first mark")
    assert mark(hand, 20).startswith("From mark to mark: ")


def test_a_doubtful_mark_counts_and_only_the_time_is_read_back() -> None:
    """An asking back at the mark would come while the needle passes the second figure."""
    hand = at_the_gauge()
    assert mark(hand, 5, certainty="doubtful") == "Mark at one hundred."
    assert mark(hand, 20, certainty="doubtful").startswith("From mark to mark: ")
    assert hand.phase == "reading back"


def test_negative_starts_over() -> None:
    hand = at_the_gauge()
    mark(hand, 5)
    mark(hand, 20)
    said = hand.reply("negative")
    assert said.startswith("Both hands off.")  # the hazard is open: make safe first
    assert "build up" not in hand.session.state.answers
    hand.reply("nobody near")
    assert (hand.step, hand.phase) == ("build up", "asked")


def test_without_a_second_mark_it_is_called_off_and_asked_again() -> None:
    hand = at_the_gauge()
    mark(hand, 5)
    hand.tell(e.TimerElapsed(at=hand.at(119.9), name="mark"))
    assert hand.phase == "clocking"
    hand.said.clear()
    hand.tell(e.TimerElapsed(at=hand.at(0.1), name="mark"))
    assert "Called off. No second mark in 120 seconds." in hand.said
    assert (hand.step, hand.phase) == ("build up", "asked")
    assert "build up" not in hand.session.state.answers


def test_the_longest_time_goes_on_running_after_words() -> None:
    """Opening the ear stops the timers of a world; what is left must be started again."""
    hand = at_the_gauge()
    mark(hand, 5)
    actions = hand.tell(e.ReplyHeard(at=hand.at(20), words="bananas", certainty="typed"))
    assert [x for x in actions if isinstance(x, a.StartTimer)] == [a.StartTimer("mark", 100.0)]


@pytest.mark.parametrize("words", ["stand by", "disregard", "correction", "end inspection"])
def test_commands_between_the_marks_forget_the_first_one(words: str) -> None:
    hand = at_the_gauge()
    mark(hand, 5)
    hand.reply(words)
    if words == "end inspection":
        hand.reply("negative")
    if words == "stand by":
        hand.reply("go ahead")
    for _ in range(2):  # the look around and what was taken back
        if hand.step != "build up":
            hand.reply("nobody near")
    assert (hand.step, hand.phase) == ("build up", "asked")
    assert mark(hand, 60) == "Mark at one hundred."  # a first mark again


def test_a_lost_microphone_between_the_marks_asks_anew() -> None:
    hand = at_the_gauge()
    mark(hand, 5)
    hand.said.clear()
    hand.tell(e.MicrophoneLost(at=hand.at()))
    assert hand.said[0] == "Both hands off."
    hand.tell(e.MicrophoneBack(at=hand.at()))
    hand.reply("nobody near")
    assert (hand.step, hand.phase) == ("build up", "asked")


def test_a_crash_between_the_marks_asks_anew() -> None:
    hand = at_the_gauge()
    mark(hand, 5)
    hand.session = Session(day(), fold(day(), hand.records))
    hand.said.clear()
    hand.tell(e.Resumed(at=hand.at(30), gap_s=30))
    assert hand.said[0] == "Both hands off."
    hand.reply("both out", "nobody near")
    assert (hand.step, hand.phase) == ("build up", "asked")
    assert "build up" not in hand.session.state.answers


def test_both_marks_stand_in_the_journal_with_the_replies_they_came_from() -> None:
    hand = at_the_gauge()
    mark(hand, 5)
    mark(hand, 20)
    marks = [rec for rec in hand.records if isinstance(rec, r.Marked)]
    assert [m.mark for m in marks] == [1, 2]
    for m in marks:
        heard = hand.records[m.heard - 1]
        assert isinstance(heard, r.HeardReply)
        assert heard.words == "mark"


def test_an_early_reply_does_not_stop_a_timed_interval() -> None:
    """The same for the silent interval of a leak test."""
    from tests.session.test_dialogues import to

    hand = to("leak")
    hand.reply("one hundred", "affirm")
    actions = hand.tell(e.ReplyHeard(at=hand.at(20), words="nine eight", certainty="typed"))
    assert [x for x in actions if isinstance(x, a.StartTimer)] == [a.StartTimer("timing", 40.0)]


def test_the_report_names_both_marks_beside_the_time() -> None:
    hand = at_the_gauge()
    mark(hand, 5)
    mark(hand, 20)
    hand.reply(*GOOD_DAY[6:])
    assert hand.outcome == "complete"
    report = build(hand.records, day())
    entry = next(step for step in report.steps if step.id == "build up")
    measured = entry.answers[0].measured
    assert measured is not None
    assert (measured.value, measured.verdict) == ("20 s", "within")
    marks = [n for n, rec in enumerate(hand.records, 1) if isinstance(rec, r.Marked)]
    assert set(marks) < set(measured.records)
    assert b"20 s" in to_html(report)
