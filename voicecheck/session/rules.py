"""The rules that the transition table names, one function each.

A rule is told the turn and what came in. It may only lead to the phases that its row of the table
allows; the session checks that after every turn.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from voicecheck.checklist.compiled import Step
from voicecheck.reply.grammar import Understood, read_back
from voicecheck.session import actions as a
from voicecheck.session import events as e
from voicecheck.session import records as r
from voicecheck.session import sentences as say
from voicecheck.session.answering import follow_up, follow_up_text, settle
from voicecheck.session.codes import reference_of
from voicecheck.session.facts import missing
from voicecheck.session.replying import HARMLESS, Reply, expect, in_words
from voicecheck.session.state import (
    AWAY_S,
    CODE_TRIES,
    HANDS_BUSY_S,
    MARKS_APART_MS,
    QUIET_LATER_S,
    REFUSALS_BEFORE_HELP,
    TALK_MS,
    Phase,
)
from voicecheck.session.turn import Turn
from voicecheck.units import Quantity, S


@dataclass(frozen=True)
class In:
    """What came in: the event and, for words, what they were understood as or why refused."""

    event: e.Event
    understood: Understood | None = None
    why: str = ""

    @property
    def reply(self) -> e.ReplyHeard:
        assert isinstance(self.event, e.ReplyHeard)
        return self.event

    @property
    def name(self) -> str:
        """Name of the command, e.g. "correction:jaws"."""
        assert self.understood is not None
        return self.understood.meaning.partition(":")[2] or self.understood.meaning


def _heard(turn: Turn, came: In, took: bool = True, why: str = "") -> int:
    """Keep the reply as evidence. Its number."""
    reply = came.reply
    turn.keep(
        r.HeardReply(
            at=turn.at,
            step=turn.state.step,
            words=reply.words,
            meaning=came.understood.meaning if came.understood else "",
            certainty=reply.certainty,
            confidence=reply.confidence,
            snr_db=reply.snr_db,
            evidence=reply.evidence,
            digest=reply.digest,
            took=took,
            why=why,
        )
    )
    return turn.state.heard


# -- beginning, speaking to the end ------------------------------------------------------------


def start(turn: Turn, came: In) -> None:
    assert isinstance(came.event, e.Started)
    turn.keep(came.event.opened)
    turn.take_over(came.event.opened)
    turn.onward()


def listen_now(turn: Turn, came: In) -> None:
    turn.keep(r.Said(at=turn.at, what="question"))
    turn.tone("listening")
    turn.listen()


def go_to_giver(turn: Turn, came: In) -> None:
    giver = turn.state.goes_to
    turn.keep(r.Said(at=turn.at, what="hold"))
    if giver:
        turn.begin(turn.compiled.step(giver))
    else:
        turn.finish("a hold that no step clears")


def wait_for_release(turn: Turn, came: In) -> None:
    turn.keep(r.Said(at=turn.at, what="hold"))
    turn.tone("listening")
    turn.listen()


# -- answers -----------------------------------------------------------------------------------


def answer(turn: Turn, came: In) -> None:
    """A reply to the open question: to be read back, or accepted."""
    step = turn.current()
    understood = came.understood
    assert step is not None
    assert understood is not None
    if _needs_gone(turn, came, step):
        return
    reply = Reply.of(understood, _heard(turn, came))
    doubtful = came.reply.certainty == "doubtful" and understood.meaning not in HARMLESS
    if doubtful or understood.meaning in ("number", "spelling", "date"):
        text = in_words(turn.compiled, turn.state, understood)
        turn.keep(r.ReadBack(at=turn.at, step=step.id, text=text, pending=reply.to_text()))
        turn.say(read_back_question(turn, understood))
        turn.listen()
    else:
        settle(turn, step, reply)


def _needs_gone(turn: Turn, came: In, step: Step) -> bool:
    """H1, checked again at the reply: it is refused, and the step asked when it may be."""
    if not missing(turn.compiled, turn.state, step):
        return False
    turn.make_safe("a needed fact is gone")
    _heard(turn, came, took=False, why="a needed fact is gone")
    turn.begin(step)
    return True


def second_mark(turn: Turn, came: In) -> None:
    """The clock stops. The time between the marks, in begun seconds, is read back."""
    step = turn.current()
    assert step is not None
    if _needs_gone(turn, came, step):
        return
    elapsed = turn.spoken_at - turn.state.marked_at
    if elapsed < MARKS_APART_MS:
        unclear(turn, In(came.event, came.understood, why="too soon after the first mark"))
        return
    heard = _heard(turn, came)
    turn.keep(r.Marked(at=turn.at, step=step.id, mark=2, mono=turn.spoken_at, until=0, heard=heard))
    time = Understood("mark", came.reply.words, Quantity.of(-(-elapsed // 1000), S))
    pending = Reply.of(time, heard).to_text()
    turn.keep(r.ReadBack(at=turn.at, step=step.id, text=read_back(time), pending=pending))
    turn.say(read_back_question(turn, time))
    turn.listen()


def unclear(turn: Turn, came: In) -> None:
    """Between two marks nothing is said: the driver watches the gauge."""
    _heard(turn, came, took=False, why=came.why)
    turn.tone("not understood")
    turn.listen()


def call_off(turn: Turn, came: In) -> None:
    step = turn.current()
    assert step is not None
    assert step.reading is not None
    turn.make_safe("the clock is called off")
    turn.keep(r.TimingDone(at=turn.at, step=step.id))
    turn.say(say.called_off(step.reading.seconds))
    turn.restart()


def read_back_question(turn: Turn, understood: Understood) -> str:
    """What is asked after a reply. "Affirm. Affirm, or negative?" would be no question."""
    step = turn.compiled.step(turn.state.step)
    if step.kind == "attest" and understood.meaning in say.STATEMENT:
        return say.STATEMENT[understood.meaning]
    if understood.meaning == "mark":
        return say.from_mark_to_mark(read_back(understood))
    return say.read_back(in_words(turn.compiled, turn.state, understood))


def confirm(turn: Turn, came: In) -> None:
    """Affirm after a read-back: the reply stands."""
    step = turn.current()
    assert step is not None
    pending = Reply.from_text(turn.state.pending)
    _heard(turn, came)
    if missing(turn.compiled, turn.state, step):
        turn.make_safe("a needed fact is gone")
        turn.begin(step)
    else:
        settle(turn, step, pending)


def refuse_read_back(turn: Turn, came: In) -> None:
    """Negative after a read-back: ask the same question again, in the same place."""
    step = turn.current()
    assert step is not None
    state = turn.state
    question, about, first = state.question, state.about, state.first
    _heard(turn, came)
    turn.keep(r.ReadBackRefused(at=turn.at, step=step.id))
    if (question == "second reading" and first) or step.kind == "clocked":
        turn.make_safe("the interval starts over")
    if question and question != "second reading":
        follow_up(turn, step, question, about)
    else:
        turn.restart()


def second_reading(turn: Turn, came: In) -> None:
    step = turn.current()
    assert step is not None
    turn.keep(r.TimingDone(at=turn.at, step=step.id))
    turn.tone("listening")
    follow_up(turn, step, "second reading", "")


def too_early(turn: Turn, came: In) -> None:
    _heard(turn, came, took=False, why="too early")
    turn.say(say.too_early(_seconds_left(turn)))
    turn.listen()


def _seconds_left(turn: Turn) -> int:
    return max(0, -(-(turn.state.deadlines.get("timing", 0) - turn.at.mono) // 1000))


# -- what is not understood --------------------------------------------------------------------


def refuse(turn: Turn, came: In) -> None:
    _heard(turn, came, took=False, why=came.why)
    turn.tone("not understood")
    if came.why == "pass refused":
        turn.say(say.PASS_REFUSED)
        turn.say(_question(turn))
    elif came.why == "not for the driver":
        turn.say("A mechanic must mend this.")
    else:
        _say_why(turn, came.why)
    turn.listen()


def not_heard(turn: Turn, came: In) -> None:
    assert isinstance(came.event, e.SoundRefused)
    event = came.event
    turn.keep(
        r.NotHeard(at=turn.at, step=turn.state.step, why=event.why, words=event.words, ms=event.ms)
    )
    if turn.state.talk_ms >= TALK_MS:
        _stand_by(turn, "talk", say.OTHER_TALK)
        return
    turn.tone("not understood")
    _say_why(turn, event.why)
    turn.listen()


def unheard_command(turn: Turn, came: In) -> None:
    """Standing by, talk is nobody's business; who nearly said a command is told with a tone."""
    assert isinstance(came.event, e.SoundRefused)
    event = came.event
    wanted, _ = expect(turn.compiled, turn.state)
    own = {word for form in wanted.forms for phrase in form.said for word in phrase.split()}
    if own.isdisjoint(event.words.split()):
        return
    turn.keep(r.NotHeard(at=turn.at, step="", why=event.why, words=event.words, ms=event.ms))
    turn.tone("not understood")


def _say_why(turn: Turn, why: str) -> None:
    """The reason; at the third refusal in a row what can be said; after that the tone alone."""
    count = turn.state.refusals
    if count < REFUSALS_BEFORE_HELP:
        turn.say(say.not_understood(why))
    elif count == REFUSALS_BEFORE_HELP:
        turn.say(f"{say.not_understood(why)} {say.can_say(_choices(turn))}")


def _choices(turn: Turn) -> list[str]:
    """What may be said now, answers first, at most six."""
    wanted, _ = expect(turn.compiled, turn.state)
    said = [f.said[0] for f in wanted.forms if not f.meaning.startswith("command:")]
    if wanted.number:
        said.insert(0, "the number, digit by digit")
    if wanted.spell:
        said.insert(0, "letters and figures, one by one")
    if wanted.date:
        said.insert(0, "month and year")
    return [*said[:5], "say again"]


# -- commands ----------------------------------------------------------------------------------


def say_again(turn: Turn, came: In) -> None:
    _heard(turn, came)
    turn.say(_question(turn))
    turn.listen()


def _question(turn: Turn) -> str:
    """What is being asked now, in full."""
    state, step = turn.state, turn.current()
    if state.phase is Phase.READING:
        pending = Reply.from_text(state.pending)
        return read_back_question(
            turn,
            Understood(
                pending.meaning, pending.text, pending.quantity, pending.spelled, pending.date
            ),
        )
    if state.phase is Phase.ASKING:
        return say.ask_command(state.command)
    if state.phase is Phase.CODING:
        return say.code_wanted(state.reference)
    if state.phase is Phase.STOPPED:
        return state.hold_text
    if step is None:
        return ""
    if state.phase is Phase.FOLLOWING:
        return follow_up_text(step, state.question, state.about)
    if state.phase is Phase.CLOCKING and step.reading:
        return step.reading.second_ask
    return turn.prompt(step)


def tell(turn: Turn, came: In) -> None:
    _heard(turn, came)
    step = turn.current()
    asked = turn.state.breath or ((step.id,) if step else ())
    explained = " ".join(filter(None, (turn.compiled.step(id).explain for id in asked)))
    text = {
        "explain": explained or say.NOTHING_TO_EXPLAIN,
        "location": (step.location or turn.compiled.places[step.place] + ".") if step else "",
        "read back": _last_answer(turn),
        "time left": say.time_left(_seconds_left(turn))
        if turn.state.phase is Phase.TIMING
        else say.NO_INTERVAL,
    }[came.name]
    turn.say(text)
    turn.listen()


def _last_answer(turn: Turn) -> str:
    if not turn.state.order:
        return say.NOTHING_ANSWERED
    last = turn.state.answers[turn.state.order[-1]]
    return say.last_answer(turn.compiled.step(last.step).item, last.text)


def set_mode(turn: Turn, came: In) -> None:
    _heard(turn, came)
    turn.keep(r.ModeSet(at=turn.at, mode=came.name))
    turn.say(f"{say.MODE[came.name]} {_question(turn)}")
    turn.listen()


def correct(turn: Turn, came: In) -> None:
    """Reopen the last answer, or the named one, and all that rested on it."""
    state = turn.state
    named = came.name.partition(":")[2]
    if state.hold == "unanswered" and not named and state.phase is Phase.STOPPED:
        steps = [s.id for s in turn.unanswered() if s.id in state.answers]
    elif named:
        steps = [named]
    else:
        steps = [state.order[-1]] if state.order else []
    if steps:
        turn.make_safe("correction")  # the driver is led elsewhere: leave the hazard first
    _heard(turn, came)
    if not steps:
        if state.hold == "unanswered" and state.phase is Phase.STOPPED and turn.unanswered():
            turn.begin(turn.unanswered()[0])  # none was answered badly: some were not asked yet
            return
        turn.say(say.NOTHING_TO_CORRECT)
        turn.restart()
        return
    withdrawn = turn.withdraw(steps, "correction")
    items = [turn.compiled.step(id).item for id in withdrawn]
    turn.say(say.corrected(items[:3]))
    turn.begin(turn.compiled.step(withdrawn[0]))


def next_place(turn: Turn, came: In) -> None:
    step = turn.current()
    assert step is not None
    turn.make_safe("next place")
    _heard(turn, came)
    put_off = tuple(
        s.id for s in turn.walk() if s.place == step.place and s.id not in turn.state.answers
    )
    turn.keep(r.Deferred(at=turn.at, steps=tuple({**dict.fromkeys(put_off), step.id: None})))
    turn.tone("accepted")
    turn.onward()


def restart(turn: Turn, came: In) -> None:
    if turn.state.phase in (Phase.TIMING, Phase.CLOCKING):
        turn.make_safe("the interval is broken off")
    _heard(turn, came)
    turn.restart()


def take_note(turn: Turn, came: In) -> None:
    _heard(turn, came)
    _want_memo(turn, "note", 0)


def _want_memo(turn: Turn, about: str, number: int) -> None:
    turn.keep(r.MemoWanted(at=turn.at, about=about, number=number))
    turn.say(say.memo_wanted(about))
    turn.tone("listening")
    turn.actions.append(a.ListenMemo())


def keep_memo(turn: Turn, came: In) -> None:
    assert isinstance(came.event, e.MemoHeard)
    event, state = came.event, turn.state
    about, number = state.memo_about, state.memo_defect
    step = turn.current()
    asked = step is not None and step.kind == "memo" and step.id not in state.answers
    gone = asked and step is not None and bool(missing(turn.compiled, state, step))
    if gone:  # H1, checked again at the reply
        turn.make_safe("a needed fact is gone")
    turn.keep(
        r.MemoTaken(
            at=turn.at,
            step=state.step,
            about=about,
            evidence=event.evidence,
            digest=event.digest,
            text=event.text,
            seconds=event.seconds,
        )
    )
    turn.tone("accepted")
    if number:
        _release(turn, number, about, event.evidence or event.text)
    elif asked and not gone and step is not None:
        turn.answered(step, "good", "memo", event.text or "voice note")
        turn.onward()
    else:
        turn.say(say.MEMO_KEPT)
        turn.restart()


def _release(turn: Turn, number: int, how: str, memo: str) -> None:
    """The stop is released, its kind is kept, and its test, if it is here, is asked again."""
    defect = next(d for d in turn.state.defects if d.number == number)
    turn.keep(r.Released(at=turn.at, number=number, how=how, memo=memo))
    blocked = [id for id, given in turn.state.answers.items() if given.outcome == "blocked"]
    tested: tuple[str, ...] = (defect.step,)
    if defect.reckoning:
        tested = next(x.steps for x in turn.compiled.reckonings if x.id == defect.reckoning)
    turn.withdraw([*tested, *blocked], "released")
    if defect.step:
        turn.begin(turn.compiled.step(tested[0]))
    else:  # carried, and nothing in this checklist tests it: the step that it held
        turn.restart()


def ask_release(turn: Turn, came: In) -> None:
    _heard(turn, came)
    _ask(turn, came.name)


def ask_code(turn: Turn, came: In) -> None:
    """Tell the reference, unless too many codes were wrong a short while ago."""
    wait = turn.state.codes_from - turn.at.mono
    if wait > 0:
        _heard(turn, came, took=False, why="codes wait")
        turn.tone("not understood")
        turn.say(say.codes_wait(-(-wait // 1000)))
        turn.listen()
        return
    _heard(turn, came)
    step = turn.current()
    assert step is not None
    _want_code(turn, turn.stops_before(step)[0])


def _want_code(turn: Turn, defect: r.DefectFound) -> None:
    """The reference is bound to this inspection and this finding of this defect."""
    opened = turn.state.opened
    assert opened is not None
    reference = reference_of(opened.inspection, opened.at.wall, defect.number, defect.at.wall)
    turn.keep(r.CodeAsked(at=turn.at, number=defect.number, reference=reference))
    turn.say(say.code_wanted(reference))
    turn.listen()


def take_code(turn: Turn, came: In) -> None:
    assert came.understood is not None
    code = came.understood.spelled
    if not code.isdigit():
        _heard(turn, came, took=False, why="not figures")
        turn.tone("not understood")
        turn.say(say.NOT_FIGURES)
        turn.listen()
        return
    _heard(turn, came)
    _ask(turn, f"code:{code}")


def code_checked(turn: Turn, came: In) -> None:
    assert isinstance(came.event, e.CodeChecked)
    state, right = turn.state, came.event.right
    defect = next(d for d in state.defects if d.number == state.code_for)
    turn.keep(r.CodeTried(at=turn.at, number=defect.number, reference=state.reference, right=right))
    if right:
        turn.tone("accepted")
        _release(turn, defect.number, "by code", state.reference)
        return
    turn.tone("not understood")
    wait = turn.state.codes_from - turn.at.mono
    if wait > 0:
        turn.say(say.codes_wait(-(-wait // 1000)))
        turn.restart()
    else:
        turn.say(say.wrong_code(CODE_TRIES - turn.state.wrong_codes))
        _want_code(turn, defect)


def ask_command(turn: Turn, came: In) -> None:
    if came.name == "disregard" and not turn.state.order:
        _heard(turn, came)
        turn.say(say.NOTHING_TO_CORRECT)
        turn.listen()
        return
    _heard(turn, came)
    _ask(turn, came.name)


def _ask(turn: Turn, command: str) -> None:
    turn.keep(r.Asking(at=turn.at, command=command, text=say.ask_command(command)))
    turn.say(say.ask_command(command))
    turn.listen()


def do_command(turn: Turn, came: In) -> None:
    command = turn.state.command
    if command == "end inspection":
        _heard(turn, came)
        turn.finish("ended by the driver")
    elif command == "disregard":
        turn.make_safe("disregard")
        _heard(turn, came)
        withdrawn = turn.withdraw((turn.state.order[-1],), "correction")
        turn.say(say.corrected([turn.compiled.step(id).item for id in withdrawn[:3]]))
        turn.begin(turn.compiled.step(withdrawn[0]))
    elif command.startswith("code:"):
        _heard(turn, came)
        number, reference, code = turn.state.code_for, turn.state.reference, command[5:]
        turn.keep(r.CodeGiven(at=turn.at, number=number, reference=reference, code=code))
        turn.actions.append(a.CheckCode(reference, code))
    else:
        _heard(turn, came)
        step = turn.current()
        assert step is not None
        stops = turn.stops_before(step)
        if command == "mended":
            stops = tuple(d for d in stops if d.mended_by == "driver")
        about = "driver-mended" if command == "mended" else "in person"
        _want_memo(turn, about, stops[0].number)


def drop_command(turn: Turn, came: In) -> None:
    _heard(turn, came)
    command = turn.state.command
    turn.keep(r.AskingDropped(at=turn.at, command=command))
    if command.startswith("code:") and came.name == "negative":
        _want_code(turn, next(d for d in turn.state.defects if d.number == turn.state.code_for))
    else:
        turn.restart()


def carry_on(turn: Turn, came: In) -> None:
    """Inspect on under the stop: what it blocks is recorded as blocked, never as done."""
    step = turn.current()
    assert step is not None
    _heard(turn, came)
    numbers = tuple(d.number for d in turn.stops_before(step))
    turn.keep(r.CarriedOn(at=turn.at, numbers=numbers))
    turn.tone("accepted")
    turn.begin(step)


def stand_by(turn: Turn, came: In) -> None:
    turn.make_safe("standing by")
    _heard(turn, came)
    _stand_by(turn, "driver", say.STANDING_BY)


def _stand_by(turn: Turn, why: str, sentence: str) -> None:
    turn.make_safe("standing by")
    turn.end_facts("stood by", "time")
    turn.keep(r.StoodBy(at=turn.at, why=why))
    turn.say(sentence)
    turn.listen()


def go_ahead(turn: Turn, came: In) -> None:
    _heard(turn, came)
    away = max(0, turn.at.mono - turn.state.away_since) // 1000
    turn.keep(r.WentAhead(at=turn.at, away_s=away))
    if away > AWAY_S:
        turn.end_facts("left", "until left")
    turn.tone("accepted")
    turn.restart()


# -- time and faults ---------------------------------------------------------------------------


def quiet(turn: Turn, came: In) -> None:
    turn.say(_question(turn))
    turn.listen()
    turn.actions.append(a.StartTimer("quiet", QUIET_LATER_S))


def hands_busy(turn: Turn, came: In) -> None:
    turn.tone("working")
    turn.actions.append(a.StartTimer("hands busy", HANDS_BUSY_S))


def lose_sound(turn: Turn, came: In) -> None:
    what = came.event.what if isinstance(came.event, e.SpeechLost) else "microphone"
    turn.make_safe(f"the {what} is lost")
    turn.end_facts("left", "time")
    turn.keep(r.Lost(at=turn.at, what=what))
    turn.actions.append(a.Deafen())
    turn.tone("hold")
    turn.say(say.LOST[what])


def have_sound_again(turn: Turn, came: In) -> None:
    what = came.event.what if isinstance(came.event, e.SpeechBack) else "microphone"
    away = max(0, turn.at.mono - turn.state.away_since) // 1000
    turn.keep(r.Back(at=turn.at, what=what))
    if away > AWAY_S:
        turn.end_facts("left", "until left")
    turn.say(say.BACK[what])
    turn.restart()


def interrupt(turn: Turn, came: In) -> None:
    assert isinstance(came.event, e.Interrupted)
    turn.make_safe(came.event.why)
    turn.end_facts("stood by", "time")
    turn.keep(r.StoodBy(at=turn.at, why=came.event.why))
    turn.actions.append(a.Deafen())
    turn.actions.append(a.Finish("interrupted"))


def resume(turn: Turn, came: In) -> None:
    assert isinstance(came.event, e.Resumed)
    turn.make_safe("the program was interrupted")  # it could not be said when it happened
    turn.keep(r.Resumed(at=turn.at, gap_s=came.event.gap_s))
    turn.end_facts("resumed", "time", "until left")
    turn.say(say.RESUMING)
    turn.restart()


def close_late(turn: Turn, came: In) -> None:
    assert isinstance(came.event, e.ClosedLate)
    turn.finish(came.event.why)


RULES: Mapping[str, Callable[[Turn, In], None]] = {
    rule.__name__: rule
    for rule in (
        start, listen_now, go_to_giver, wait_for_release, answer, confirm, refuse_read_back,
        second_reading, too_early, refuse, not_heard, say_again, tell, set_mode, correct,
        next_place, restart, take_note, keep_memo, ask_release, ask_command, do_command,
        drop_command, carry_on, stand_by, go_ahead, quiet, hands_busy, lose_sound,
        have_sound_again, unheard_command, interrupt, resume, close_late, second_mark, unclear,
        call_off, ask_code, take_code, code_checked,
    )
} | {"answer_follow_up": answer, "ask_why": answer, "cannot_see": answer}  # fmt: skip
