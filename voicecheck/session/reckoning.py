"""What is reckoned from several readings, once the last of them is there."""

from __future__ import annotations

from voicecheck.checklist.compiled import Compiled, Reckoning, Step
from voicecheck.errors import VoicecheckError
from voicecheck.limits.judge import Judgement
from voicecheck.limits.reckon import RULES, Reading
from voicecheck.session.state import State
from voicecheck.units import Quantity


def due(
    compiled: Compiled, state: State, step: Step, quantity: Quantity
) -> tuple[tuple[Reckoning, Judgement], ...]:
    """The reckonings that this reading of the step completes, each with its judgement."""
    found = []
    for reckoning in compiled.reckonings:
        if step.id not in reckoning.steps:
            continue
        read = {id: a.quantity for id, a in state.answers.items()} | {step.id: str(quantity)}
        if all(read.get(id) for id in reckoning.steps):
            found.append((reckoning, _judge(compiled, state, reckoning, read)))
    return tuple(found)


def _judge(
    compiled: Compiled, state: State, reckoning: Reckoning, read: dict[str, str]
) -> Judgement:
    """What cannot be reckoned from these readings cannot be judged; nothing fails on the road."""
    readings = []
    for id in reckoning.steps:
        step = compiled.step(id)
        given = dict(step.reading.given) if step.reading else {}
        position = id.partition("@")[2]
        readings.append(Reading(step.written, position, Quantity.parse(read[id]), given))
    place = state.opened.jurisdiction if state.opened else "US"
    try:
        return RULES[reckoning.rule](tuple(readings), dict(reckoning.given), place)
    except VoicecheckError as error:
        return Judgement("cannot judge", readings[-1].quantity, error.what)
