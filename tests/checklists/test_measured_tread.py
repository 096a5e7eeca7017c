"""A measured tread in the trip inspection: asked only where the driver says that he measured.

The limits at, just under and just over them. 49 CFR 393.75(b): front wheels of a tractor 4/32 inch;
(c): other wheels 2/32 inch. Québec, C-24.2, r. 32, s. 120 (1): 3.2 mm, other wheels 1.6 mm. British
Columbia, Driving Commercial Vehicles, p. 56: front 3 mm. Ontario, s. 3 of Reg. 625 in the private
copy of a handbook: 3 mm and 1.5 mm, guide values. Alberta: no figure was found.
"""

from __future__ import annotations

import pytest

from tests.checklists.walk import Walk, compiled
from voicecheck.report.build import build
from voicecheck.report.html import to_html
from voicecheck.session import records as r

FRONT, TRAILER = "left tractor tires", "left tires"


def measured(jurisdiction: str, step: str, tire: str, words: str) -> Walk:
    hand = Walk(compiled("trip-inspection", jurisdiction=jurisdiction), jurisdiction=jurisdiction)
    hand.to(step)
    hand.reply(f"{tire} tread measured", words, "affirm")
    return hand


def figure(hand: Walk) -> r.ItemMeasured:
    (found,) = [x for x in hand.records if isinstance(x, r.ItemMeasured)]
    return found


@pytest.mark.parametrize(
    ("jurisdiction", "step", "tire", "words", "verdict"),
    [
        ("US", FRONT, "left steer", "one eighth", "within"),  # 4/32: equal passes
        ("US", FRONT, "left steer", "five thirty seconds", "within"),
        ("US", FRONT, "left steer", "three thirty seconds", "outside"),
        ("US", TRAILER, "left rear outer", "one sixteenth", "within"),  # 2/32: equal passes
        ("US", TRAILER, "left rear outer", "three thirty seconds", "within"),
        ("US", TRAILER, "left rear outer", "one thirty second", "outside"),
        ("CA-QC", FRONT, "left steer", "three point two millimeters", "within"),
        ("CA-QC", FRONT, "left steer", "three point three millimeters", "within"),
        ("CA-QC", FRONT, "left steer", "three point one millimeters", "outside"),
        ("CA-QC", TRAILER, "left rear outer", "one point six millimeters", "within"),
        ("CA-QC", TRAILER, "left rear outer", "one point five millimeters", "outside"),
        ("CA-BC", FRONT, "left steer", "three millimeters", "within"),
        ("CA-BC", FRONT, "left steer", "two point nine millimeters", "outside"),
        ("CA-ON", FRONT, "left steer", "three millimeters", "within"),
        ("CA-ON", FRONT, "left steer", "two point nine millimeters", "outside"),
        ("CA-ON", TRAILER, "left rear outer", "one point five millimeters", "within"),
        ("CA-ON", TRAILER, "left rear outer", "one point four millimeters", "outside"),
        ("CA-AB", FRONT, "left steer", "eight millimeters", "cannot judge"),
    ],
)
def test_the_limits_table_judges_it(
    jurisdiction: str, step: str, tire: str, words: str, verdict: str
) -> None:
    hand = measured(jurisdiction, step, tire, words)
    found = figure(hand)
    assert (found.item, found.verdict) == (tire, verdict)
    worn = [x.item for x in hand.records if isinstance(x, r.DefectFound)]
    assert worn == ([tire] if verdict == "outside" else [])
    hand.reply("nothing else")
    (answer,) = [x for x in hand.records if isinstance(x, r.Answered) and x.step == step]
    outcomes = {"within": "good", "outside": "failed", "cannot judge": "noted"}
    assert answer.outcome == outcomes[verdict]


def test_it_is_read_back_and_refused_it_is_asked_again() -> None:
    hand = Walk(compiled("trip-inspection"))
    hand.to(FRONT)
    assert "Left steer. Tread. How deep?" in hand.reply("left steer tread measured")
    assert "three thirty seconds" in hand.reply("three thirty seconds").lower()
    assert not [x for x in hand.records if isinstance(x, r.ItemMeasured | r.DefectFound)]
    assert "How deep?" in hand.reply("negative")
    said = hand.reply("five thirty seconds", "affirm")
    assert "Within the limit" in said
    assert "Anything else" in said


@pytest.mark.parametrize(
    ("jurisdiction", "words", "told"),
    [
        ("US", "three thirty seconds", "3/32 in is outside"),
        ("US", "five thirty seconds", "5/32 in is within"),
        ("CA-AB", "eight millimeters", "tread measured, 8 mm. No limit on file"),
    ],
)
def test_the_report_shows_value_place_and_judgement(
    jurisdiction: str, words: str, told: str
) -> None:
    hand = measured(jurisdiction, FRONT, "left steer", words)
    hand.reply("nothing else")
    page = to_html(build(hand.records, hand.session.compiled)).decode("utf-8")
    (line,) = [x for x in page.splitlines() if "Left steer: tread measured" in x]
    assert told in line
    if jurisdiction == "US":
        assert "393.75(b)" in line


def test_guide_values_are_told_as_such() -> None:
    hand = measured("CA-ON", FRONT, "left steer", "two millimeters")
    assert "guide value" in figure(hand).judged
    assert "guide value" in " ".join(hand.said)


def test_who_measured_nothing_answers_as_before() -> None:
    """No further question: "tread low" is the defect at once, "all good" is all good."""
    hand = Walk(compiled("trip-inspection"))
    hand.to(FRONT)
    said = hand.reply("left steer tread low")
    assert "Anything else" in said
    assert "How deep" not in said
    assert [x.defect for x in hand.records if isinstance(x, r.DefectFound)] == ["tire-worn"]
    hand = Walk(compiled("trip-inspection"))
    hand.to(FRONT)
    hand.reply("all good")
    assert hand.step().id != FRONT


def test_a_figure_within_does_not_take_back_what_the_driver_said() -> None:
    hand = Walk(compiled("trip-inspection"))
    hand.to(FRONT)
    hand.reply("left steer tread low", "left steer tread measured", "five thirty seconds", "affirm")
    assert [x.defect for x in hand.records if isinstance(x, r.DefectFound)] == ["tire-worn"]
    hand.reply("nothing else")
    (answer,) = [x for x in hand.records if isinstance(x, r.Answered) and x.step == FRONT]
    assert answer.outcome == "failed"


def test_taken_back_in_the_middle_nothing_is_kept() -> None:
    hand = Walk(compiled("trip-inspection"))
    hand.to(FRONT)
    hand.reply("left steer tread measured", "negative")
    assert hand.step().id == FRONT
    assert not [x for x in hand.records if isinstance(x, r.ItemMeasured | r.ItemNoted)]
