"""Random event sequences through the core: the invariants, and fold equals live."""

from __future__ import annotations

import dataclasses
from functools import cache

from hypothesis import given, settings
from hypothesis import strategies as st

from tests.session.breath import GOOD_BREATH, breath
from tests.session.day import GOOD_DAY, day
from tests.session.small import GOOD, Hand, opened, small
from voicecheck.reply.grammar import Expect, samples
from voicecheck.session import actions as a
from voicecheck.session import events as e
from voicecheck.session import records as r
from voicecheck.session.facts import missing
from voicecheck.session.fold import evolve, fold
from voicecheck.session.replying import expect
from voicecheck.session.session import Session
from voicecheck.session.state import TABLE, Phase, State

# Each move is (kind, number): what happens, and which of the possible replies, or how long.
MOVES = st.lists(
    st.tuples(
        st.sampled_from(
            ["reply"] * 12
            + ["good"] * 8
            + ["doubtful", "odd", "noise", "memo", "lost", "back", "resumed", "interrupted"]
            + ["time", "short", "stray prompt", "unended"]
        ),
        st.integers(0, 10_000),
    ),
    max_size=60,
)
LISTS = {"small": (small, GOOD), "day": (day, GOOD_DAY), "breath": (breath, GOOD_BREATH)}
CERTAINTIES = {"reply": "typed", "doubtful": "doubtful"}


@cache
def texts(wanted: Expect) -> list[str]:
    return [text for text, _ in samples(wanted, 60)]


def possible(session: Session) -> list[str]:
    """Every reply that may be said now, as text."""
    return texts(expect(session.compiled, session.state)[0])


class Random(Hand):
    """A hand that plays random moves and checks the invariants at every record."""

    def __init__(self, which: str) -> None:
        compiled, self.good = LISTS[which]
        super().__init__(compiled())

    def raw(self, event: e.Event):  # type: ignore[no-untyped-def]
        before = self.session.state
        actions = super().raw(event)
        state = before
        for action in actions:
            if isinstance(action, a.Keep):
                self.check(state, action.record, event)
                state = evolve(self.session.compiled, state, action.record)
        assert state == self.session.state
        started = [x for x in self.records if isinstance(x, r.StepStarted)]
        if self.session.state.phase in (Phase.ASKED, Phase.SPEAKING):
            assert started[-1].spoken, "a question that was left out is waited for"
        assert self.session.state.phase is not Phase.BETWEEN
        return actions

    def check(self, state: State, record: r.Record, event: e.Event) -> None:
        compiled = self.session.compiled
        if isinstance(record, r.StepStarted):
            step = compiled.step(record.step)
            assert not missing(compiled, state, step), "H1: spoken while a need is false"
            for id in record.together[1:]:
                part = compiled.step(id)
                assert not missing(compiled, state, part), "H1: spoken together while false"
                assert id not in state.answers
            if not record.spoken:
                assert state.answers[state.step].outcome == "good", "only behind a good part"
            blocked = [
                d for d in state.open_stops()
                if step.hazard and (step.hazard == "leave" or step.hazard in d.scope)
            ]  # fmt: skip
            assert not blocked or compiled.hazards[step.hazard].never_blocked, "H4"
        if isinstance(record, r.Answered) and record.outcome != "blocked":
            step = compiled.step(record.step)
            assert not missing(compiled, state, step), "H1: accepted while a need is false"
            assert state.phase not in (Phase.SPEAKING, Phase.HOLDING, Phase.STOPPING), "H6"
        after = evolve(compiled, state, record)
        new = set(after.facts) - set(state.facts)
        if new:
            assert isinstance(record, r.Answered), "H2: a fact from nowhere"
            assert new <= set(record.gives)
        for pair in compiled.exclusive:
            assert not all(fact in after.facts for fact in pair)
        if isinstance(event, e.SoundRefused):  # H5
            assert after.facts == state.facts
            assert after.answers == state.answers
        if isinstance(record, r.Withdrawn):
            assert record.step not in after.answers

    def begin_well(self, count: int) -> None:
        """The first ``count`` good replies of a whole walk, so that late steps are reached."""
        self.reply(*self.good[: count % len(self.good)])

    def move(self, kind: str, number: int) -> None:
        session = self.session
        if kind in ("reply", "doubtful", "unended"):
            replies = [words for words in possible(session) if "end inspection" not in words]
            if not replies:
                return
            certainty = CERTAINTIES.get(kind, "typed")
            event = e.ReplyHeard(
                at=self.at(), words=replies[number % len(replies)], certainty=certainty
            )
            (self.raw if kind == "unended" else self.tell)(event)
        elif kind == "good":
            if session.state.phase == "memo":
                self.move("memo", number)
                return
            for words in (*self.good, "clear of it", "held by the jaws"):
                replies = possible(session)
                if words in replies and not words.startswith("affirm"):
                    self.reply(words)
                    return
            if session.state.phase == "timing":
                self.reply("TIME")
            else:
                self.reply("affirm")
        elif kind == "odd":
            self.reply(("bananas", "not", "pass pass", "[unk]", "one twenty five")[number % 5])
        elif kind == "noise":
            self.tell(e.SoundRefused(at=self.at(), why="noise"))
        elif kind == "memo":
            self.tell(
                e.MemoHeard(at=self.at(), evidence="reply-0001.flac", digest="x", seconds="2")
            )
        elif kind == "time":
            names = ("timing", "quiet", "hands busy", "nothing", "mark")
            self.tell(e.TimerElapsed(at=self.at(number % 700), name=names[number % 5]))
        elif kind == "short":
            self.tell(e.TimerElapsed(at=self.at(0), name="timing"))
        elif kind == "stray prompt":
            names = ("make safe", session.state.phase + "::0", "finished")
            self.tell(e.PromptEnded(at=self.at(), name=names[number % 3]))
        else:
            make = {
                "lost": lambda at: e.MicrophoneLost(at=at),
                "back": lambda at: e.MicrophoneBack(at=at),
                "resumed": lambda at: e.Resumed(at=at, gap_s=number),
                "interrupted": lambda at: e.Interrupted(at=at, why="test"),
            }[kind]
            self.tell(make(self.at()))


@settings(max_examples=400, deadline=None)
@given(st.sampled_from(sorted(LISTS)), st.integers(0, len(GOOD) - 1), MOVES)
def test_invariants_hold_and_fold_equals_live(
    which: str, well: int, moves: list[tuple[str, int]]
) -> None:
    hand = Random(which)
    hand.begin_well(well)
    for kind, number in moves:
        hand.move(kind, number)
    assert fold(hand.session.compiled, hand.records) == hand.session.state


@settings(max_examples=150, deadline=None)
@given(st.sampled_from(sorted(LISTS)), st.integers(0, len(GOOD) - 1), MOVES,
       st.integers(0, 10_000))  # fmt: skip
def test_a_crash_anywhere_resumes_from_the_records(
    which: str, well: int, moves: list[tuple[str, int]], cut: int
) -> None:
    """A journal cut between any two records resumes, and nothing that lasts until left is true."""
    hand = Random(which)
    compiled = hand.session.compiled
    hand.begin_well(well)
    for kind, number in moves:
        hand.move(kind, number)
    kept = hand.records[: 1 + cut % len(hand.records)]
    state = fold(compiled, kept)
    if state.phase is Phase.FINISHED:
        return
    session = Session(compiled, state)
    session.receive(e.Resumed(at=r.Stamp("2026-11-25T06:30:00-07:00", hand.mono), gap_s=1800))
    for fact in session.state.facts:
        assert compiled.facts[fact].lasts == "lasting"
    assert session.state.phase in (
        Phase.ASKED, Phase.SPEAKING, Phase.HOLDING, Phase.STOPPING, Phase.MEMO, Phase.FINISHED,
    )  # fmt: skip


@given(st.sampled_from(sorted(r.KINDS)))
def test_every_kind_of_record_has_an_effect_in_the_fold(kind: str) -> None:
    from voicecheck.session.fold import _EVOLVE

    assert r.KINDS[kind] in _EVOLVE


def test_every_row_of_the_table_names_a_rule() -> None:
    from voicecheck.session.rules import RULES

    assert {row.rule for row in TABLE.values()} <= set(RULES)
    assert set(RULES) <= {row.rule for row in TABLE.values()}


def test_an_opening_record_survives_the_body_round_trip() -> None:
    record = opened()
    again = r.from_body(record.kind, r.to_body(record) | {"units": [list(p) for p in record.units]},
                        record.at)  # fmt: skip
    assert again == record
    assert dataclasses.replace(again, place="x") != record
