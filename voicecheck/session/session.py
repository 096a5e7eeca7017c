"""The session: told what happened, it says what to do next.

It knows nothing of sound, clocks, files or threads. ``decide`` is the whole of it as a pure
function; ``Session`` keeps the state between turns.
"""

from __future__ import annotations

from voicecheck.checklist.compiled import Compiled
from voicecheck.errors import SessionFault
from voicecheck.reply.grammar import Refused, parse
from voicecheck.session import events as e
from voicecheck.session.actions import Action
from voicecheck.session.replying import expect
from voicecheck.session.rules import RULES, In
from voicecheck.session.state import TABLE, Input, Phase, State
from voicecheck.session.turn import Turn

_BY_MEANING = {
    "affirm": Input.AFFIRM,
    "negative": Input.NEGATIVE,
    "mended": Input.RELEASE,
    "release": Input.RELEASE,
    "carry on": Input.CARRY_ON,
    "by code": Input.BY_CODE,
    "command:say again": Input.REPEAT,
    "command:explain": Input.TELL,
    "command:location": Input.TELL,
    "command:read back": Input.TELL,
    "command:time left": Input.TELL,
    "command:brief": Input.MODE,
    "command:full": Input.MODE,
    "command:stand by": Input.STAND_BY,
    "command:go ahead": Input.GO_AHEAD,
    "command:disregard": Input.DISREGARD,
    "command:not done": Input.NOT_DONE,
    "command:cannot see": Input.CANNOT_SEE,
    "command:next place": Input.NEXT_PLACE,
    "command:memo": Input.MEMO,
    "command:end inspection": Input.END,
}
PLAIN = frozenset({"pass", "done", "fail", "all good"})


class Session:
    """The live session. ``receive`` returns the actions in the order of their doing."""

    def __init__(self, compiled: Compiled, state: State | None = None) -> None:
        self.compiled = compiled
        self.state = state or State()

    def receive(self, event: e.Event) -> list[Action]:
        self.state, actions = decide(self.compiled, self.state, event)
        return actions


def decide(compiled: Compiled, state: State, event: e.Event) -> tuple[State, list[Action]]:
    """The next state and what to do. Pure. SessionFault when a rule leaves its row."""
    turn = Turn(compiled, state, event.at)
    if isinstance(event, e.ReplyHeard):
        turn.spoken_at -= event.ago_ms
    if state.phase not in (Phase.NEW, Phase.FINISHED):
        turn.expire()
    kind, came = classify(turn, event)
    row = TABLE.get((turn.state.phase, kind)) if kind else None
    if row is not None:
        RULES[row.rule](turn, came)
        if turn.state.phase not in row.to:
            raise SessionFault(
                f"The rule {row.rule!r} led from {state.phase} to {turn.state.phase}, "
                "which the transition table excludes.",
                "report this with the journal",
            )
    return turn.state, turn.actions


def classify(turn: Turn, event: e.Event) -> tuple[Input | None, In]:
    """What the event means in this phase. None: nothing, e.g. a timer of an earlier phase."""
    state = turn.state
    came = In(event)
    match event:
        case e.Started():
            return Input.STARTED, came
        case e.Resumed():
            return Input.RESUMED, came
        case e.PromptEnded(name=name):
            return (Input.SPOKEN if name == turn.spoken_name() else None), came
        case e.SoundRefused():
            return Input.NOT_HEARD, came
        case e.MemoHeard():
            return Input.MEMO_TAKEN, came
        case e.TimerElapsed(name="timing" | "mark"):
            over = event.at.mono >= state.deadlines.get("timing", event.at.mono + 1)
            return (Input.INTERVAL if over else None), came
        case e.TimerElapsed(name="quiet"):
            return Input.QUIET, came
        case e.TimerElapsed(name="hands busy"):
            return Input.HANDS_BUSY, came
        case e.CodeChecked(reference=reference):
            return (Input.CODE_CHECKED if reference == state.reference else None), came
        case e.MicrophoneLost() | e.SpeechLost():
            return Input.LOST, came
        case e.MicrophoneBack() | e.SpeechBack():
            return Input.BACK, came
        case e.Interrupted():
            return Input.INTERRUPTED, came
        case e.ClosedLate():
            return Input.CLOSED_LATE, came
        case e.ReplyHeard(words=words):
            return _classify_words(turn, event, words)
    return None, came


def _classify_words(turn: Turn, event: e.ReplyHeard, words: str) -> tuple[Input, In]:
    wanted, _ = expect(turn.compiled, turn.state)
    understood = parse(wanted, words)
    if isinstance(understood, Refused):
        return Input.REFUSED, In(event, why=understood.why)
    step = turn.current()
    meaning = understood.meaning
    asked = turn.state.phase is Phase.ASKED
    if asked and step and step.kind == "answers" and meaning in PLAIN:
        return Input.REFUSED, In(event, understood, why="pass refused")
    if meaning == "mended" and step:
        stops = turn.stops_before(step)
        if not any(d.mended_by == "driver" for d in stops):
            return Input.REFUSED, In(event, understood, why="not for the driver")
    if meaning.startswith("command:correction"):
        return Input.CORRECTION, In(event, understood)
    return _BY_MEANING.get(meaning, Input.ANSWER), In(event, understood)
