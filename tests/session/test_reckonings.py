"""Figures reckoned from readings: when, from what, again after a correction, and what they stop.

Limits: left/right difference of strokes 1/4 in on the steering axle (COMAR 11.22.02.06 J(3), taken
as advice outside Maryland; equal passes); pressure kept at least 70 percent (49 CFR 393.50(a),
older wording).
"""

from __future__ import annotations

import pytest

from tests.session.day import GOOD_DAY, day
from tests.session.small import Hand
from voicecheck.report.build import build
from voicecheck.report.html import to_html
from voicecheck.report.pdf import to_pdf
from voicecheck.session import events as e
from voicecheck.session import records as r
from voicecheck.session.fold import fold
from voicecheck.session.session import Session
from voicecheck.units import Quantity

AT_STROKES = GOOD_DAY.index("one and a half inches")
LEFT, RIGHT = "stroke@steer axle left", "stroke@steer axle right"


def at_the_strokes() -> Hand:
    hand = Hand(day())
    hand.reply(*GOOD_DAY[:AT_STROKES])
    assert hand.step == LEFT
    return hand


def reckoned(hand: Hand, id: str = "balance") -> list[r.Reckoned]:
    return [x for x in hand.records if isinstance(x, r.Reckoned) and x.reckoning == id]


def stops(hand: Hand) -> list[str]:
    return [d.defect for d in hand.session.state.open_stops()]


@pytest.mark.parametrize(
    ("right", "quantity", "verdict"),
    [
        ("one and three quarters inches", "0.25 in", "within"),
        ("one and one quarter inches", "0.25 in", "within"),
        ("one and one half inches", "0 in", "within"),
        ("one and one eighth inches", "0.375 in", "outside"),
    ],
)
def test_it_is_reckoned_when_the_last_reading_is_accepted(
    right: str, quantity: str, verdict: str
) -> None:
    hand = at_the_strokes()
    said = hand.reply("one and a half inches", "affirm")
    assert "Left and right stroke." not in said
    assert reckoned(hand) == []
    hand.reply(right)
    assert reckoned(hand) == []  # not before affirm
    said = hand.reply("affirm")
    assert said.count("Left and right stroke.") == 1
    (record,) = reckoned(hand)
    assert (Quantity.parse(record.quantity), record.verdict) == (Quantity.parse(quantity), verdict)
    assert ("Stopping defect" in said) is (verdict == "outside")
    assert stops(hand) == (["uneven"] if verdict == "outside" else [])


def test_its_inputs_are_the_records_of_the_answers() -> None:
    hand = at_the_strokes()
    hand.reply("one and a half inches", "affirm", "one inch", "affirm")
    (record,) = reckoned(hand)
    inputs = [hand.records[n - 1] for n in record.inputs]
    assert [(x.step, x.quantity) for x in inputs if isinstance(x, r.Answered)] == [
        (LEFT, "1 1/2 in"), (RIGHT, "1 in"),
    ]  # fmt: skip


def test_it_gives_no_fact() -> None:
    hand = at_the_strokes()
    hand.reply("one and a half inches", "affirm")
    before = dict(hand.session.state.facts)
    hand.reply("one and a half inches", "affirm")
    assert hand.session.state.facts == before


def test_after_a_correction_it_is_reckoned_again_and_both_are_kept() -> None:
    hand = at_the_strokes()
    hand.reply("one and a half inches", "affirm", "one inch", "affirm")
    assert stops(hand) == ["uneven"]
    hand.reply("correction")
    assert "balance" not in hand.session.state.reckoned
    assert hand.step == RIGHT
    hand.reply("one and a half inches", "affirm")
    assert [x.verdict for x in reckoned(hand)] == ["outside", "within"]
    assert hand.session.state.reckoned["balance"].verdict == "within"
    assert stops(hand) == ["uneven"]  # only a release closes a stop


def test_correcting_an_earlier_reading_by_name_reckons_again() -> None:
    hand = at_the_strokes()
    hand.reply("one and a half inches", "affirm", "one and a half inches", "affirm")
    hand.reply("correction left steer axle stroke")
    assert hand.step == LEFT
    hand.reply("one inch", "affirm")
    assert [x.verdict for x in reckoned(hand)] == ["within", "outside"]


def test_a_reading_that_is_not_done_leaves_nothing_to_reckon() -> None:
    hand = at_the_strokes()
    hand.reply("one inch", "affirm", "not done", "no tool")
    assert reckoned(hand) == []
    assert "balance" not in hand.session.state.reckoned


def test_release_asks_for_all_the_readings_again() -> None:
    hand = at_the_strokes()
    hand.reply("one and a half inches", "affirm", "one inch", "affirm",
               "one hundred", "affirm", "nine zero", "affirm", "all good")  # fmt: skip
    assert (hand.step, hand.phase) == ("statement", "stopped")
    hand.reply("release", "affirm", "an invented foreman adjusted the brakes")
    assert hand.step == LEFT
    assert not {LEFT, RIGHT} & set(hand.session.state.answers)
    hand.reply("one and a half inches", "affirm", "one and a half inches", "affirm",
               "all good", "affirm")  # fmt: skip
    assert hand.outcome == "complete"
    assert [x.verdict for x in reckoned(hand)] == ["outside", "within"]
    assert [d.reckoning for d in hand.session.state.defects] == ["balance"]


def test_one_defect_whichever_reading_came_last() -> None:
    hand = at_the_strokes()
    hand.reply("one and a half inches", "affirm", "one inch", "affirm")
    hand.reply("correction left steer axle stroke", "one and five eighths inches", "affirm")
    assert [d.defect for d in hand.session.state.defects] == ["uneven"]


def test_a_minor_one_is_told_and_the_walk_goes_on() -> None:
    hand = at_the_strokes()
    hand.reply("one inch", "affirm", "one inch", "affirm", "one hundred", "affirm")
    said = hand.reply("six nine", "affirm")
    assert "Noted. An application takes too much air." in said
    assert reckoned(hand, "kept")[0].quantity == "69 percent"
    assert stops(hand) == []
    hand.reply("all good", "affirm")
    assert hand.outcome == "complete"


def test_what_cannot_be_reckoned_is_said_and_no_defect() -> None:
    hand = at_the_strokes()
    hand.reply("one inch", "affirm", "one inch", "affirm", "zero psi", "affirm")
    said = hand.reply("nine zero", "affirm")
    assert "Pressure kept. I cannot judge this." in said
    (record,) = reckoned(hand, "kept")
    assert (record.verdict, record.quantity) == ("cannot judge", "")
    assert hand.session.state.defects == ()


def test_a_crash_before_the_last_reading_keeps_the_first_one() -> None:
    hand = at_the_strokes()
    hand.reply("one and a half inches", "affirm", "one inch")  # read back, not yet affirmed
    hand.session = Session(day(), fold(day(), hand.records))
    hand.tell(e.Resumed(at=hand.at(30), gap_s=30))
    hand.reply("one and a half inches", "affirm")
    assert [x.verdict for x in reckoned(hand)] == ["within"]


def test_stand_by_and_a_lost_microphone_change_no_figure() -> None:
    hand = at_the_strokes()
    hand.reply("one inch", "affirm", "one inch", "affirm")
    before = dict(hand.session.state.reckoned)
    hand.reply("stand by", "go ahead")
    hand.tell(e.MicrophoneLost(at=hand.at()))
    hand.tell(e.MicrophoneBack(at=hand.at()))
    assert hand.session.state.reckoned == before
    assert len(reckoned(hand)) == 1


def test_the_report_tells_each_figure_what_it_rests_on_and_which_stands() -> None:
    hand = at_the_strokes()
    hand.reply("one and a half inches", "affirm", "one inch", "affirm", "correction",
               "one and a half inches", "affirm")  # fmt: skip
    report = build(hand.records, day())
    balance, kept = report.reckonings
    assert (balance.id, balance.state, kept.state) == ("balance", "within", "not reckoned")
    assert [(x.value, x.stands) for x in balance.figures] == [("1/2 in", False), ("0 in", True)]
    last = balance.figures[-1]
    assert [(x.name, x.value) for x in last.inputs] == [
        ("left steer axle stroke", "1 1/2 in"),
        ("right steer axle stroke", "1 1/2 in"),
    ]
    assert set(reckoned(hand)[-1].inputs) < set(last.records)
    assert "COMAR" in last.judged
    page = to_html(report).decode()
    assert "Left and right stroke" in page
    assert "not reckoned" in page.lower()
    assert to_pdf(report).startswith(b"%PDF-")
