"""A whole walk in which all is well: replies, seconds of talk, holds that should not be there."""

from __future__ import annotations

import re
from dataclasses import dataclass

from voicecheck.authoring.explore import Node, _at
from voicecheck.authoring.oracle import Oracle
from voicecheck.authoring.prove import Willing, opened_for
from voicecheck.checklist.compile import Context
from voicecheck.checklist.compiled import Compiled
from voicecheck.session import actions as a
from voicecheck.session import events as e
from voicecheck.session import records as r
from voicecheck.session.session import decide
from voicecheck.session.state import Phase, State

# Replies and seconds of talk (design, budgets). A five-axle trip inspection takes the most.
# Brake tests measure up to twelve strokes, each a reading and its read-back.
BUDGETS = {"couple": (30, 180), "brake-tests": (75, 510)}
OTHER = (45, 480)
# Seven prompts spoken by the program's voice at its own rate (145) took 0.52 to 11.9 s; these two
# figures give each of them within 0.7 s.
SECONDS_A_WORD, SECONDS_A_SENTENCE = 0.41, 0.17


@dataclass(frozen=True)
class Walked:
    """``held``: step, what was missing, the step that ended it ("" when it was never given)."""

    outcome: str
    replies: int
    seconds: float
    costliest: tuple[tuple[float, str], ...]
    held: tuple[tuple[str, tuple[str, ...], str], ...]


def seconds_of(text: str) -> float:
    """About how long the program's own voice takes for it."""
    words = len(text.split())
    return SECONDS_A_WORD * words + SECONDS_A_SENTENCE * len(re.findall(r"[.?!]", text))


def walk(compiled: Compiled, oracle: Oracle, context: Context) -> Walked:
    """Answer everything well, typed, so that only what must be read back is."""
    opened = opened_for(compiled, context)
    state, actions = decide(compiled, State(), e.Started(at=_at(0), opened=opened))
    node, willing = Node(state, 0), Willing(compiled, opened)
    replies, spoken = 0, [x.text for x in actions if isinstance(x, a.Say)]
    held: list[tuple[str, tuple[str, ...], str]] = []
    enders: dict[str, str] = {}
    for _ in range(30 * len(compiled.steps) + 60):
        for action in actions:
            if isinstance(action, a.Keep):
                record = action.record
                if isinstance(record, r.StepStarted):
                    enders.update(dict.fromkeys(record.ends, record.step))
                if isinstance(record, r.Hold) and record.hold == "precondition":
                    ender = next((enders[f] for f in record.missing if f in enders), "")
                    held.append((record.step, record.missing, ender))
        if node.state.phase is Phase.FINISHED:
            break
        move = willing.move(node, compiled.step(node.state.step), {}, 0)
        replies += move.kind in ("reply", "memo")
        now = node.now + max(move.jump_ms, 1000)
        state, actions = decide(compiled, node.state, move.event(now))
        node = Node(state, now)
        spoken += [x.text for x in actions if isinstance(x, a.Say)]
    timed = sorted(((seconds_of(text), text) for text in spoken), reverse=True)
    return Walked(
        node.state.outcome, replies, sum(s for s, _ in timed), tuple(timed[:5]), tuple(held[:5])
    )
