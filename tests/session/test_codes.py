"""A stop is released by a supervisor's code, and by no other: wrong, old, or for another defect."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

from tests.checklists.walk import Walk, compiled
from voicecheck.reply.numbers import spelling_words
from voicecheck.run.codes import checker, code_for
from voicecheck.session import actions as a
from voicecheck.session import events as e
from voicecheck.session import records as r
from voicecheck.session.codes import reference_of
from voicecheck.session.fold import fold

KEY = bytes(range(20))


class Coded(Walk):
    """A walk on a device that has a key or not; codes are checked as the loop does."""

    def __init__(self, codes: bool = True, inspection: str = "b") -> None:
        self.codes = codes
        super().__init__(compiled("couple"), inspection)

    def raw(self, event: e.Event) -> Sequence[a.Action]:
        if isinstance(event, e.Started):
            opened = dataclasses.replace(event.opened, codes=self.codes)
            event = dataclasses.replace(event, opened=opened)
        actions = list(super().raw(event))
        for action in tuple(actions):
            if isinstance(action, a.CheckCode):
                right = checker(KEY)(action.reference, action.code)
                checked = e.CodeChecked(at=self.at(0), reference=action.reference, right=right)
                actions += self.raw(checked)
        return actions

    def to_the_stop(self) -> None:
        self.to("rear lamps")
        self.reply("turn lamps out", "nothing else")
        self.to("", stop_at=("stopped",))

    def give(self, code: str) -> str:
        return self.reply(spelling_words(code).lower(), "affirm")

    @property
    def reference(self) -> str:
        return self.session.state.reference

    def released(self) -> list[str]:
        return [x.how for x in self.records if isinstance(x, r.Released)]


def wrong(walk: Coded) -> str:
    return f"{(int(code_for(KEY, walk.reference)) + 1) % 10**6:06}"


def test_the_right_code_releases_and_the_same_test_comes_again() -> None:
    walk = Coded()
    walk.to_the_stop()
    assert "by code, for a code from the supervisor" in walk.session.state.hold_text
    told = walk.reply("by code")
    first, second = walk.reference[:4], walk.reference[4:]
    assert spelling_words(first).lower() in told
    assert spelling_words(second).lower() in told
    asked = walk.reply(spelling_words(code_for(KEY, walk.reference)).lower())
    assert asked.endswith("Affirm, or negative?")
    walk.reply("affirm")
    assert walk.released() == ["by code"]
    assert walk.session.state.step == "rear lamps"
    walk.to_the_end()
    assert walk.outcome == "complete"
    assert fold(walk.session.compiled, walk.records) == walk.session.state


def test_without_a_key_there_are_no_codes() -> None:
    walk = Coded(codes=False)
    walk.to_the_stop()
    assert "by code" not in walk.session.state.hold_text
    walk.reply("by code")
    assert walk.phase == "stopped"
    assert not any(isinstance(x, r.CodeAsked) for x in walk.records)


def test_a_wrong_code_five_times_and_then_none_for_a_quarter_of_an_hour() -> None:
    walk = Coded()
    walk.to_the_stop()
    walk.reply("by code")
    for left in (4, 3, 2, 1):
        assert f"Wrong code. {left} tr" in walk.give(wrong(walk))
        assert walk.phase == "taking a code"
    assert "Too many wrong codes. The next one in 15 minutes." in walk.give(wrong(walk))
    right = code_for(KEY, walk.reference)
    walk.mono += 899_000 - 30_000
    assert "The next one in 1 minute" in walk.reply("by code")
    assert walk.phase == "stopped"
    walk.mono += 60_000
    walk.reply("by code")
    walk.give(right)
    assert walk.released() == ["by code"]


def test_a_restart_does_not_shorten_the_wait() -> None:
    walk = Coded()
    walk.to_the_stop()
    walk.reply("by code")
    for _ in range(5):
        walk.give(wrong(walk))
    walk.mono = 0  # the device was started again: its clock begins anew
    walk.tell(e.Resumed(at=walk.at(1), gap_s=10))
    for _ in range(3):
        if walk.phase == "stopped":
            break
        walk.to("", stop_at=("stopped",))
    assert "The next one in 15 minutes" in walk.reply("by code")
    assert walk.released() == []


def test_the_tries_are_counted_across_a_restart() -> None:
    walk = Coded()
    walk.to_the_stop()
    walk.reply("by code")
    for _ in range(4):
        walk.give(wrong(walk))
    walk.tell(e.Resumed(at=walk.at(1), gap_s=10))
    walk.to("", stop_at=("stopped",))
    walk.reply("by code")
    assert "Too many wrong codes" in walk.give(wrong(walk))


def test_an_old_code_and_a_code_for_another_defect_are_refused() -> None:
    first = Coded()
    first.to_the_stop()
    first.reply("by code")
    old = code_for(KEY, first.reference)
    other_day = Coded(inspection="c")
    other_day.to_the_stop()
    other_day.reply("by code")
    assert "Wrong code" in other_day.give(old)

    first.give(old)
    assert first.released() == ["by code"]
    first.reply("turn lamps out", "nothing else")  # the same test, the same defect again
    first.to("", stop_at=("stopped",))
    first.reply("by code")
    assert "Wrong code" in first.give(old)
    assert first.released() == ["by code"]


def test_a_code_misheard_is_dropped_and_costs_no_try() -> None:
    walk = Coded()
    walk.to_the_stop()
    walk.reply("by code")
    walk.reply(spelling_words(wrong(walk)).lower(), "negative")
    assert walk.phase == "taking a code"
    assert "six figures" in walk.reply(spelling_words("48A915").lower())
    walk.reply("disregard")
    assert walk.phase == "stopped"
    assert not any(isinstance(x, r.CodeTried) for x in walk.records)


def test_an_answer_for_another_reference_changes_nothing() -> None:
    walk = Coded()
    walk.to_the_stop()
    walk.reply("by code")
    before = walk.session.state
    walk.tell(e.CodeChecked(at=walk.at(0), reference="00000000", right=True))
    walk.tell(e.CodeChecked(at=walk.at(0), reference=walk.reference, right=True))
    assert walk.released() == []
    assert walk.session.state.phase == before.phase


def test_references_differ_by_inspection_opening_number_and_finding() -> None:
    wall = "2026-11-25T06:00:00-07:00"
    references = {
        reference_of("a", wall, 1, wall),
        reference_of("b", wall, 1, wall),
        reference_of("a", "2026-11-26T06:00:00-07:00", 1, wall),
        reference_of("a", wall, 2, wall),
        reference_of("a", wall, 1, "2026-11-25T06:10:00-07:00"),
    }
    assert len(references) == 5
    assert all(len(x) == 8 and x.isdigit() for x in references)
