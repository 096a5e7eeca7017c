"""The report tells each question as the driver heard it, and what one reply answered.

What was heard is taken from what the session gave to be spoken, never from the report.
"""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from dataclasses import replace

import pytest
from pypdf import PdfReader

from tests.checklists.walk import Walk, compiled
from voicecheck.report.build import Report, StepEntry, build
from voicecheck.report.html import to_html
from voicecheck.report.pdf import to_pdf
from voicecheck.session import actions as a
from voicecheck.session import events as e
from voicecheck.session import records as r


class Listening(Walk):
    """Keeps the sentence that was last spoken before each answer, by the answer's number."""

    def raw(self, event: e.Event) -> Sequence[a.Action]:
        if isinstance(event, e.Started):
            self.sentence, self.before = "", dict[int, str]()
        actions = super().raw(event)
        n = len(self.records) - sum(isinstance(x, a.Keep) for x in actions)
        starting = False
        for x in actions:
            if isinstance(x, a.Keep):
                n += 1
                if isinstance(x.record, r.StepStarted):
                    starting = x.record.spoken
                elif isinstance(x.record, r.ModeSet):
                    starting = True
                elif isinstance(x.record, r.Answered):
                    self.before[n] = self.sentence
            elif isinstance(x, a.Say) and starting:
                self.sentence, starting = x.text, False
        return actions

    def report(self) -> Report:
        return build(self.records, self.session.compiled)


def entry(report: Report, id: str) -> StepEntry:
    return next(step for step in report.steps if step.id == id)


def words_of(data: bytes) -> str:
    return " ".join(re.sub(r"<[^>]*>", " ", data.decode()).split())


def paper(report: Report) -> str:
    sheets = PdfReader(io.BytesIO(to_pdf(report))).pages
    return " ".join(" ".join(page.extract_text() for page in sheets).split())


@pytest.mark.parametrize(
    ("name", "mode"), [("trip-inspection", "full"), ("couple", "full"), ("couple", "brief")]
)
def test_each_answer_stands_beside_the_words_that_were_spoken_before_it(
    name: str, mode: str
) -> None:
    walk = Listening(compiled(name))
    if mode == "brief":
        walk.reply("brief")
    walk.to_the_end()
    report = walk.report()
    page = words_of(to_html(report))
    joint = 0
    for step in report.steps:
        for answer in step.answers:
            asked = step.asked[answer.asked - 1]
            (n,) = (k for k in answer.records if k in walk.before)
            assert walk.before[n].endswith(asked.question)
            assert asked.question in page
            if asked.together:
                joint += 1
                assert len(asked.question) > 20 or mode == "brief"
                assert step.id in [part.id for part in asked.one_reply]
    assert joint >= 8
    assert all(step.answers for step in report.steps if step.state != "unanswered")


LINES = "Air lines and cable joined and clear? Lamps at the back of the tractor good?"
BACK = "From outside. Lamps at the back of the tractor. All good, or which is out?"


def test_one_reply_that_answered_two_steps_is_told_as_one() -> None:
    walk = Walk(compiled("trip-inspection"))
    walk.to("lines")
    assert walk.session.state.step == "lines"
    walk.reply("joined and clear lamps good")
    report = build(walk.records, walk.session.compiled)
    numbers = [n for n, step in enumerate(walk.session.compiled.steps, 1)
               if step.id in ("lines", "tractor rear lamps")]  # fmt: skip
    for id in ("lines", "tractor rear lamps"):
        step = entry(report, id)
        (asked,) = step.asked
        assert asked.question == LINES
        for parts in (asked.together, asked.one_reply):
            assert [(part.number, part.id) for part in parts] == list(
                zip(numbers, ("lines", "tractor rear lamps"), strict=True)
            )
        assert [heard.words for heard in step.answers[0].heard] == ["joined and clear lamps good"]
    both = " and ".join(map(str, numbers))
    for text in (words_of(to_html(report)), paper(report)):
        assert text.count(LINES) == 2
        assert text.count(f"One reply answered {both}.") == 2
        assert text.count(f"{numbers[0]} Air lines and cable; {numbers[1]} Rear lamps") == 2
        assert BACK not in text


def test_a_step_that_was_asked_alone_after_a_defect_is_told_so() -> None:
    walk = Walk(compiled("trip-inspection"))
    walk.to("lines")
    walk.reply("rubbing")
    assert walk.said[-1] == BACK
    walk.reply("all good")
    report = build(walk.records, walk.session.compiled)
    lines, lamps = entry(report, "lines"), entry(report, "tractor rear lamps")
    assert [asked.question for asked in lines.asked] == [LINES]
    assert [asked.question for asked in lamps.asked] == [LINES, BACK]
    assert [asked.one_reply for asked in lamps.asked] == [(), ()]
    assert (lines.answers[0].asked, lamps.answers[0].asked) == (1, 2)
    assert [heard.words for heard in lamps.answers[0].heard] == ["all good"]
    for text in (words_of(to_html(report)), paper(report)):
        assert (text.count(LINES), text.count(BACK)) == (1, 1)
        assert f"This reply answered {lines.number} only." in text
        assert f"Asked alone. Before, asked together: {lines.number} Air lines and cable;" in text
        assert "One reply answered" not in text.partition(BACK)[2]


def test_two_of_three_in_one_reply_and_the_third_alone() -> None:
    walk = Walk(compiled("couple"))
    walk.to("near side look")
    walk.reply("near side good spring brakes", "down and firm")
    report = build(walk.records, walk.session.compiled)
    numbers = {step.item: step.number for step in report.steps}
    first, second = numbers["Near side of the trailer"], numbers["Trailer held"]
    for text in (words_of(to_html(report)), paper(report)):
        assert text.count(f"One reply answered {first} and {second}.") == 2
        assert text.count(f"Asked together: {first} Near side of the trailer;") == 2
        assert text.count("Asked alone. Before, asked together:") == 1


def test_a_fail_in_the_same_breath_and_what_followed_it_are_told_at_its_step() -> None:
    walk = Walk(compiled("trip-inspection"))
    walk.to("lines")
    walk.reply("joined and clear fail", "tail lamps out", "nothing else")
    report = build(walk.records, walk.session.compiled)
    said = [[x.words for x in entry(report, id).answers[0].heard]
            for id in ("lines", "tractor rear lamps")]  # fmt: skip
    assert said[0] == ["joined and clear fail"]
    assert said[1] == ["joined and clear fail", "tail lamps out", "nothing else"]


def test_a_joint_reply_that_was_read_back_was_read_back_for_each_of_its_steps() -> None:
    walk = Walk(compiled("trip-inspection"))
    walk.to("lines")
    walk.certainty = "doubtful"
    read = walk.reply("joined and clear lamps good")
    assert walk.phase == "reading back"
    walk.certainty = "typed"
    walk.reply("affirm")
    report = build(walk.records, walk.session.compiled)
    for id in ("lines", "tractor rear lamps"):
        (answer,) = entry(report, id).answers
        assert answer.read_back
        assert answer.read_back in read
        assert [heard.words for heard in answer.heard] == ["joined and clear lamps good", "affirm"]


def test_a_sentence_that_nobody_answered_was_asked_for_each_of_its_steps() -> None:
    walk = Walk(compiled("trip-inspection"))
    walk.to("lines")
    report = build(walk.records, walk.session.compiled)
    why = {item.step: item.why for item in report.open}
    assert why["lines"] == why["tractor rear lamps"] == "asked, not answered"
    assert why["legs"] == "not asked"
    assert words_of(to_html(report)).count(LINES) == 2


def test_the_rotating_question_that_was_asked_is_told() -> None:
    told = set()
    for inspection in ("a", "b"):
        walk = Listening(compiled("trip-inspection"), inspection)
        walk.to("jaws")
        (asked,) = entry(walk.report(), "jaws").asked
        assert walk.sentence.endswith(asked.question)
        told.add(asked.question)
    assert len(told) == 2


def test_a_journal_in_which_all_was_asked_alone_gives_a_report_of_that() -> None:
    """As one written before steps were asked together, with the same checklist."""
    walk = Walk(compiled("trip-inspection"))
    walk.to("lines")
    walk.reply("joined and clear", "all good")
    alone = [replace(x, together=()) if isinstance(x, r.StepStarted) else x for x in walk.records]
    report = build(alone, walk.session.compiled)
    assert not [x for step in report.steps for x in step.asked if x.together or x.one_reply]
    assert [x.question for x in entry(report, "tractor rear lamps").asked] == [BACK]
    text = words_of(to_html(report))
    assert LINES not in text
    assert "sked together" not in text


@pytest.mark.parametrize("name", ["trip-inspection", "couple"])
def test_no_question_goes_over_the_edge_of_a_sheet(name: str) -> None:
    walk = Walk(compiled(name))
    walk.to_the_end()
    report = build(walk.records, walk.session.compiled)
    sheets = [" ".join(page.extract_text().split())
              for page in PdfReader(io.BytesIO(to_pdf(report))).pages]  # fmt: skip
    assert len(sheets) > 3
    for step in report.steps:
        for asked in step.asked:
            assert any(asked.question in sheet for sheet in sheets), asked.question
