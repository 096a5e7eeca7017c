"""The state as a fold of the records: ``evolve`` one record, ``fold`` all.

The live session uses the same ``evolve``, so a replayed journal and the live state are equal.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from functools import reduce
from typing import Any, TypeVar

from voicecheck.checklist.compiled import Compiled
from voicecheck.session import records as r
from voicecheck.session.state import CODE_TRIES, CODE_WAIT_S, Phase, State

K = TypeVar("K")
V = TypeVar("V")


def fold(compiled: Compiled, records: Iterable[r.Record]) -> State:
    """The state after these records, from nothing."""
    return reduce(lambda state, record: evolve(compiled, state, record), records, State())


def evolve(compiled: Compiled, state: State, record: r.Record) -> State:
    """The state after one more record. Pure; SessionFault never: any record has an effect."""
    state = replace(state, records=state.records + 1)
    return _EVOLVE[type(record)](compiled, state, record)


def _with(mapping: Mapping[K, V], key: K, value: V) -> dict[K, V]:
    return {**mapping, key: value}


def _without(mapping: Mapping[K, V], keys: Iterable[K]) -> dict[K, V]:
    gone = set(keys)
    return {key: value for key, value in mapping.items() if key not in gone}


def _opened(compiled: Compiled, state: State, record: r.Opened) -> State:
    return replace(state, opened=record, phase=Phase.NEW)


def _resumed(compiled: Compiled, state: State, record: r.Resumed) -> State:
    # the clock may have begun anew, so the wait after wrong codes does too
    wait = record.at.mono + CODE_WAIT_S * 1000 if state.codes_from else 0
    return replace(state, phase=Phase.BETWEEN, hazard="", refusals=0, talk_ms=0, codes_from=wait)


def _step_started(compiled: Compiled, state: State, record: r.StepStarted) -> State:
    ended = record.ends
    step = compiled.step(record.step)
    return replace(
        state,
        phase=Phase.SPEAKING if record.speaks else Phase.ASKED,
        step=record.step,
        hold="",
        goes_to="",
        hold_text="",
        hazard=record.hazard,
        variant=record.variant,
        breath=record.together,
        question="",
        about="",
        pending="",
        command="",
        first="",
        facts=_without(state.facts, ended),
        deadlines=_without(state.deadlines, (*ended, "timing")),
        asked=_with(state.asked, record.step, state.asked.get(record.step, 0) + 1),
        deferred=state.deferred - {record.step},
        last_place=step.place,
        asked_at=record.at.mono if record.spoken else _looked_at(compiled, state),
    )


def _looked_at(compiled: Compiled, state: State) -> int:
    """When a part of a breath could be looked at: one after the other, after the question."""
    return state.asked_at + compiled.step(state.step).look_s * 1000


def _hold(compiled: Compiled, state: State, record: r.Hold) -> State:
    return replace(
        state,
        phase=Phase.HOLDING if record.hold == "precondition" else Phase.STOPPING,
        step=record.step,
        hold=record.hold,
        goes_to=record.goes_to,
        hold_text=record.text,
        breath=(),
        hazard="",
        question="",
        about="",
        pending="",
        command="",
    )


def _said(compiled: Compiled, state: State, record: r.Said) -> State:
    after = {Phase.SPEAKING: Phase.ASKED, Phase.STOPPING: Phase.STOPPED}
    return replace(state, phase=after.get(state.phase, state.phase), asked_at=record.at.mono)


def _heard(compiled: Compiled, state: State, record: r.HeardReply) -> State:
    return replace(
        state,
        heard=state.records,
        refusals=0 if record.took else state.refusals + 1,
        talk_ms=0 if record.took else state.talk_ms,
    )


def _not_heard(compiled: Compiled, state: State, record: r.NotHeard) -> State:
    talk = record.ms if record.why in ("talk", "too long") else 0
    return replace(state, refusals=state.refusals + 1, talk_ms=state.talk_ms + talk)


def _followed_up(compiled: Compiled, state: State, record: r.FollowedUp) -> State:
    return replace(
        state,
        phase=Phase.FOLLOWING,
        question=record.question,
        about=record.about,
        pending="",
        breath=(),
    )


def _read_back(compiled: Compiled, state: State, record: r.ReadBack) -> State:
    return replace(state, phase=Phase.READING, pending=record.pending)


def _read_back_refused(compiled: Compiled, state: State, record: r.ReadBackRefused) -> State:
    return replace(state, phase=Phase.BETWEEN, pending="")


def _timing(compiled: Compiled, state: State, record: r.Timing) -> State:
    return replace(
        state,
        phase=Phase.TIMING,
        pending="",
        first=record.first,
        deadlines=_with(state.deadlines, "timing", record.until),
    )


def _timing_done(compiled: Compiled, state: State, record: r.TimingDone) -> State:
    return replace(state, deadlines=_without(state.deadlines, ("timing",)))


def _marked(compiled: Compiled, state: State, record: r.Marked) -> State:
    if record.mark == 2:
        return replace(state, deadlines=_without(state.deadlines, ("timing",)))
    return replace(
        state,
        phase=Phase.CLOCKING,
        marked_at=record.mono,
        deadlines=_with(state.deadlines, "timing", record.until),
    )


def _item_noted(compiled: Compiled, state: State, record: r.ItemNoted) -> State:
    found = (*state.items.get(record.step, ()), (record.item, record.finding))
    return replace(state, items=_with(state.items, record.step, found))


def _item_measured(compiled: Compiled, state: State, record: r.ItemMeasured) -> State:
    """What is not as it must be comes as a defect or an exception of its own."""
    return state


def _answered(compiled: Compiled, state: State, record: r.Answered) -> State:
    facts = dict(state.facts)
    deadlines = dict(state.deadlines)
    for fact in record.gives:
        for pair in compiled.exclusive:
            if fact in pair:
                for other in pair:
                    if other != fact:
                        facts.pop(other, None)
                        deadlines.pop(other, None)
        facts[fact] = facts.get(fact, frozenset()) | {record.step}
        known = compiled.facts.get(fact)
        if known is not None and known.lasts == "time":
            deadlines[fact] = record.at.mono + known.seconds * 1000
    deadlines.pop("timing", None)
    return replace(
        state,
        phase=Phase.BETWEEN,
        breath=(),
        hazard="",
        question="",
        about="",
        pending="",
        first="",
        facts=facts,
        deadlines=deadlines,
        answers=_with(state.answers, record.step, record),
        numbers=_with(state.numbers, record.step, state.records),
        reckoned=_without(state.reckoned, _resting_on(compiled, record.step)),
        order=(*(s for s in state.order if s != record.step), record.step),
        deferred=state.deferred - {record.step},
        wanted=state.wanted - {record.step},
    )


def _resting_on(compiled: Compiled, step: str) -> tuple[str, ...]:
    """The reckonings that take the reading of the step."""
    return tuple(x.id for x in compiled.reckonings if step in x.steps)


def _reckoned(compiled: Compiled, state: State, record: r.Reckoned) -> State:
    return replace(state, reckoned=_with(state.reckoned, record.reckoning, record))


def _fact_ended(compiled: Compiled, state: State, record: r.FactEnded) -> State:
    return replace(
        state,
        facts=_without(state.facts, (record.fact,)),
        deadlines=_without(state.deadlines, (record.fact,)),
    )


def _withdrawn(compiled: Compiled, state: State, record: r.Withdrawn) -> State:
    facts = {}
    for fact, givers in state.facts.items():
        left = givers - {record.step}
        if left:
            facts[fact] = left
    return replace(
        state,
        phase=Phase.BETWEEN,
        facts=facts,
        deadlines={k: v for k, v in state.deadlines.items() if k in facts or k == "timing"},
        answers=_without(state.answers, (record.step,)),
        numbers=_without(state.numbers, (record.step,)),
        reckoned=_without(state.reckoned, _resting_on(compiled, record.step)),
        order=tuple(s for s in state.order if s != record.step),
        items=_without(state.items, (record.step,)),
        # a step of again only that the driver himself takes back is called for anew
        wanted=state.wanted | {record.step}
        if record.why == "correction" and compiled.step(record.step).only_again
        else state.wanted,
    )


def _again(compiled: Compiled, state: State, record: r.Again) -> State:
    return replace(
        state,
        phase=Phase.BETWEEN,
        hazard="",
        agains=_with(state.agains, record.step, record.count),
        wanted=state.wanted | {record.to} if compiled.step(record.to).only_again else state.wanted,
    )


def _defect(compiled: Compiled, state: State, record: r.DefectFound) -> State:
    return replace(state, defects=(*state.defects, record))


def _released(compiled: Compiled, state: State, record: r.Released) -> State:
    return replace(
        state,
        phase=Phase.BETWEEN,
        released=_with(state.released, record.number, record.how),
        carried=state.carried - {record.number},
    )


def _code_asked(compiled: Compiled, state: State, record: r.CodeAsked) -> State:
    return replace(
        state,
        phase=Phase.CODING,
        code_for=record.number,
        reference=record.reference,
        codes_from=0,  # a wait, if there was one, is over
    )


def _code_given(compiled: Compiled, state: State, record: r.CodeGiven) -> State:
    return replace(state, phase=Phase.CHECKING, command="")


def _code_tried(compiled: Compiled, state: State, record: r.CodeTried) -> State:
    state = replace(state, phase=Phase.BETWEEN)
    wrong = 0 if record.right else state.wrong_codes + 1
    if wrong < CODE_TRIES:
        return replace(state, wrong_codes=wrong)
    return replace(state, wrong_codes=0, codes_from=record.at.mono + CODE_WAIT_S * 1000)


def _asking(compiled: Compiled, state: State, record: r.Asking) -> State:
    return replace(state, phase=Phase.ASKING, command=record.command)


def _asking_dropped(compiled: Compiled, state: State, record: r.AskingDropped) -> State:
    return replace(state, phase=Phase.BETWEEN, command="")


def _memo_wanted(compiled: Compiled, state: State, record: r.MemoWanted) -> State:
    return replace(
        state,
        phase=Phase.MEMO,
        command="",
        memo_about=record.about,
        memo_defect=record.number,
    )


def _memo_taken(compiled: Compiled, state: State, record: r.MemoTaken) -> State:
    return replace(state, phase=Phase.BETWEEN, memo_about="", memo_defect=0)


def _deferred(compiled: Compiled, state: State, record: r.Deferred) -> State:
    return replace(
        state,
        phase=Phase.BETWEEN,
        hazard="",
        deferred=state.deferred | frozenset(record.steps),
    )


def _stood_by(compiled: Compiled, state: State, record: r.StoodBy) -> State:
    return replace(
        state, phase=Phase.STANDING, hazard="", command="", pending="", away_since=record.at.mono
    )


def _went_ahead(compiled: Compiled, state: State, record: r.WentAhead) -> State:
    return replace(state, phase=Phase.BETWEEN, refusals=0, talk_ms=0)


def _mode(compiled: Compiled, state: State, record: r.ModeSet) -> State:
    return replace(state, mode=record.mode)


def _made_safe(compiled: Compiled, state: State, record: r.MadeSafe) -> State:
    return replace(state, hazard="")


def _lost(compiled: Compiled, state: State, record: r.Lost) -> State:
    return replace(state, phase=Phase.DEAF, hazard="", away_since=record.at.mono)


def _back(compiled: Compiled, state: State, record: r.Back) -> State:
    return replace(state, phase=Phase.BETWEEN, refusals=0)


def _carried(compiled: Compiled, state: State, record: r.CarriedOn) -> State:
    return replace(state, phase=Phase.BETWEEN, carried=state.carried | frozenset(record.numbers))


def _finished(compiled: Compiled, state: State, record: r.Finished) -> State:
    return replace(state, phase=Phase.FINISHED, hazard="", outcome=record.outcome)


_EVOLVE: dict[type[r.Record], Callable[[Compiled, State, Any], State]] = {
    r.Opened: _opened,
    r.Resumed: _resumed,
    r.StepStarted: _step_started,
    r.Hold: _hold,
    r.Said: _said,
    r.HeardReply: _heard,
    r.NotHeard: _not_heard,
    r.FollowedUp: _followed_up,
    r.ReadBack: _read_back,
    r.ReadBackRefused: _read_back_refused,
    r.Timing: _timing,
    r.TimingDone: _timing_done,
    r.Marked: _marked,
    r.ItemNoted: _item_noted,
    r.ItemMeasured: _item_measured,
    r.Answered: _answered,
    r.Reckoned: _reckoned,
    r.FactEnded: _fact_ended,
    r.Withdrawn: _withdrawn,
    r.Again: _again,
    r.DefectFound: _defect,
    r.Released: _released,
    r.CodeAsked: _code_asked,
    r.CodeGiven: _code_given,
    r.CodeTried: _code_tried,
    r.CarriedOn: _carried,
    r.Asking: _asking,
    r.AskingDropped: _asking_dropped,
    r.MemoWanted: _memo_wanted,
    r.MemoTaken: _memo_taken,
    r.Deferred: _deferred,
    r.StoodBy: _stood_by,
    r.WentAhead: _went_ahead,
    r.ModeSet: _mode,
    r.MadeSafe: _made_safe,
    r.Lost: _lost,
    r.Back: _back,
    r.Finished: _finished,
}
