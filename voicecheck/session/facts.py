"""Questions about facts: what is missing, what an answer rests on, what falls with it.

A plain fact is true while at least one standing answer supports it. Derived facts are looked up,
never stored.
"""

from __future__ import annotations

from collections.abc import Iterable

from voicecheck.checklist.compiled import Compiled, Step
from voicecheck.session.state import State


def missing(compiled: Compiled, state: State, step: Step) -> tuple[str, ...]:
    """The needs of the step that are false now, in written order.

    What the step itself ends does not count: it would be false as soon as the step is spoken.
    """

    def still(fact: str) -> bool:
        return state.true(fact) and fact.partition("@")[0] not in step.ends

    true = still if step.ends else state.true
    return tuple(name for name in step.needs if not compiled.need(name).holds(true))


def in_use(compiled: Compiled, step: Step) -> frozenset[str]:
    """The plain facts that the step's needs read."""
    return compiled.reads(step)


def rests_on(compiled: Compiled, state: State, step: Step) -> tuple[str, ...]:
    """What an answer given now stands on: "fact<tab>step that gave it", sorted."""
    return tuple(
        sorted(
            f"{fact}\t{giver}"
            for fact in in_use(compiled, step)
            for giver in state.facts.get(fact, ())
        )
    )


def falls_with(compiled: Compiled, state: State, withdrawn: Iterable[str]) -> tuple[str, ...]:
    """The answered steps that fall, transitively, when these answers are withdrawn (H3).

    An answer falls when its needs would not have held at its time without the withdrawn answers.
    """
    gone = set(withdrawn)
    fallen: list[str] = []
    changed = True
    while changed:
        changed = False
        for id, answer in state.answers.items():
            if id in gone or not answer.rested_on:
                continue
            stood = {
                fact
                for fact, _, giver in (pair.partition("\t") for pair in answer.rested_on)
                if giver not in gone
            }
            step = compiled.step(id)
            if not all(compiled.need(name).holds(stood.__contains__) for name in step.needs):
                gone.add(id)
                fallen.append(id)
                changed = True
    return tuple(sorted(fallen, key=compiled.index))


def ended_by(state: State, names: Iterable[str]) -> tuple[str, ...]:
    """The true facts that these names end: the fact itself and its instances by position."""
    wanted = set(names)
    return tuple(sorted(fact for fact in state.facts if fact.partition("@")[0] in wanted))
