"""From a reply that stands to an accepted answer, by kind of step.

Each function is told the turn, the step and the reply. The reply has been read back already where
the policy wants it. Whatever unlocks comes from ``gives`` of a listed good answer and from nowhere
else (H2).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

from voicecheck.checklist.compiled import Answer, Item, Reading, Reckoning, Step
from voicecheck.errors import SessionFault
from voicecheck.limits.judge import Judgement, judge_family, leak_per_minute
from voicecheck.limits.validity import last_valid
from voicecheck.session import records as r
from voicecheck.session import sentences as say
from voicecheck.session.reckoning import due
from voicecheck.session.replying import WHY_NOT_DONE, Reply, item_reading, meanings
from voicecheck.session.turn import Turn
from voicecheck.units import Quantity, unit_named


def settle(turn: Turn, step: Step, reply: Reply) -> None:
    """Act on a reply that stands, part after part, each by the rule of its own step.

    A part is reached only where the one before it was good and led on to it (``Turn.said_before``).
    """
    first, *others = meanings(reply.meaning)
    said = turn.said_with = turn.state.breath[1 : 1 + len(others)]
    _settle(turn, step, replace(reply, meaning=first))
    for id, meaning in zip(said, others, strict=True):
        if turn.unspoken != id:
            break
        _settle(turn, turn.compiled.step(id), replace(reply, meaning=meaning))
    turn.said_with = ()


def _settle(turn: Turn, step: Step, reply: Reply) -> None:
    kind, _, rest = reply.meaning.partition(":")
    if reply.meaning == "command:not done":
        follow_up(turn, step, "why", "")
    elif reply.meaning == "command:cannot see":
        turn.answered(step, "cannot see", "cannot see", "cannot see", heard=reply.heard)
        accepted(turn, "")
    elif kind == "why":
        turn.answered(step, "not done", "not done", f"not done: {rest}", heard=reply.heard)
        accepted(turn, "")
    elif turn.state.question == "second reading":
        _second_reading(turn, step, reply)
    elif turn.state.question == "reading":
        _item_measured(turn, step, reply)
    else:
        _SETTLE[step.kind](turn, step, reply)


def accepted(turn: Turn, sentence: str, onward: bool = True) -> None:
    """The short tone, what must be told, and the next step."""
    turn.tone("accepted")
    if sentence:
        turn.say(sentence)
    if onward:
        turn.onward()


def follow_up(turn: Turn, step: Step, question: str, about: str) -> None:
    turn.keep(r.FollowedUp(at=turn.at, step=step.id, question=question, about=about))
    turn.say(follow_up_text(step, question, about))
    turn.listen()


def follow_up_text(step: Step, question: str, about: str) -> str:
    if question == "why":
        return say.why_not_done(WHY_NOT_DONE)
    if question == "finding":
        return say.finding(about, _item(step, about).findings)
    if question == "reading":
        name, _, reading = item_reading(step, about)
        return f"{name.capitalize()}. {reading.second_ask}"
    if question == "anything else":
        return say.ANYTHING_ELSE
    if question == "second reading":
        return step.reading.second_ask if step.reading else ""
    names = [item.name for item in step.items] or [finding for finding, _ in step.wrong]
    return say.which(names)


# -- done, verdict, attest ---------------------------------------------------------------------


def _done(turn: Turn, step: Step, reply: Reply) -> None:
    turn.answered(step, "good", "done", "done", gives=step.gives, heard=reply.heard)
    accepted(turn, "")


def _verdict(turn: Turn, step: Step, reply: Reply) -> None:
    kind, _, finding = reply.meaning.partition(":")
    if reply.meaning == "pass":
        turn.answered(step, "good", "pass", "pass", gives=step.gives, heard=reply.heard)
        accepted(turn, "")
    elif reply.meaning == "not fitted":
        turn.answered(step, "not fitted", "not fitted", "not fitted", heard=reply.heard)
        accepted(turn, "")
    elif kind == "wrong":
        _found(turn, step, dict(step.wrong)[finding], finding, reply)
    elif len(step.wrong) == 1:
        finding, defect = step.wrong[0]
        _found(turn, step, defect, finding, reply)
    elif step.wrong:
        follow_up(turn, step, "which", "")
    else:
        turn.make_safe("fail")
        turn.answered(step, "failed", "fail", "fail", heard=reply.heard)
        accepted(turn, "")


def _found(turn: Turn, step: Step, defect: str, finding: str, reply: Reply, then: str = "") -> None:
    """A defect that ends the step: record it, say it and what follows (``then``), go on."""
    if turn.compiled.defects[defect].severity == "major":
        turn.make_safe("a stopping defect")
    severity = turn.defect(defect, step, step.item, reply)
    outcome = "failed" if severity == "major" else "noted"
    turn.answered(step, outcome, finding, finding, heard=reply.heard)
    told = say.noted_defect(turn.compiled.defects[defect].text, severity)
    accepted(turn, " ".join(filter(None, (told, then))))


def _attest(turn: Turn, step: Step, reply: Reply) -> None:
    if reply.meaning == "answer:affirm":
        turn.answered(step, "good", "affirm", "affirm", gives=step.gives, heard=reply.heard)
    else:
        turn.answered(step, "failed", "negative", "negative", heard=reply.heard)
    accepted(turn, "")


# -- states named in words ---------------------------------------------------------------------


def _answers(turn: Turn, step: Step, reply: Reply) -> None:
    id = reply.meaning.partition(":")[2]
    answer = next(x for x in step.variants[turn.state.variant].answers if x.id == id)
    if answer.again:
        _again(turn, step, answer, reply)
    elif answer.defect:
        _found(turn, step, answer.defect, id, reply, answer.say)
    elif answer.repeat:
        turn.tone("accepted")
        if answer.say:
            turn.say(answer.say)
        turn.restart()
    elif answer.bad:
        turn.make_safe("not as it must be")
        turn.answered(step, "failed", id, id, heard=reply.heard)
        accepted(turn, answer.say)
    else:
        turn.answered(step, "good", id, id, gives=answer.gives, heard=reply.heard)
        accepted(turn, answer.say)


def _again(turn: Turn, step: Step, answer: Answer, reply: Reply) -> None:
    """Do it over from an earlier step. The third time is a defect, where the author named one."""
    count = turn.state.agains.get(step.id, 0) + 1
    if count >= 3 and answer.third:
        _found(turn, step, answer.third, answer.id, reply, answer.say)
        return
    turn.make_safe("again")
    first = turn.compiled.index(_instance(turn, answer.again, step))
    last = turn.compiled.index(step.id)
    turn.keep(r.Again(at=turn.at, step=step.id, to=turn.compiled.steps[first].id, count=count))
    turn.withdraw([s.id for s in turn.compiled.steps[first : last + 1]], "again")
    turn.tone("accepted")
    turn.say(" ".join(filter(None, (say.again(count), answer.say))))
    turn.begin(turn.compiled.steps[first])


def _instance(turn: Turn, id: str, step: Step) -> str:
    """The step that an ``again`` means: the instance at the same position where there is one."""
    position = step.id.partition("@")[2]
    for wanted in (f"{id}@{position}", id):
        if any(s.id == wanted for s in turn.compiled.steps):
            return wanted
    return next(s.id for s in turn.compiled.steps if s.written == id)


# -- groups ------------------------------------------------------------------------------------


def _item(step: Step, name: str) -> Item:
    return next(item for item in step.items if item.name == name)


def _group(turn: Turn, step: Step, reply: Reply) -> None:
    kind, _, rest = reply.meaning.partition(":")
    if kind == "item":
        name, _, finding = rest.partition(":")
        item = _item(step, name)
        if finding in dict(item.measured):
            turn.tone("accepted")
            follow_up(turn, step, "reading", rest)
        elif finding:
            _exception(turn, step, name, finding, reply)
        elif len(item.findings) == len(item.wrong) == 1:
            _exception(turn, step, name, item.findings[0], reply)
        else:
            follow_up(turn, step, "finding", name)
    elif reply.meaning == "fail":
        follow_up(turn, step, "which", "")
    else:
        _close_group(turn, step, reply)


def _exception(turn: Turn, step: Step, name: str, finding: str, reply: Reply) -> None:
    defect = dict(_item(step, name).wrong)[finding]
    if turn.compiled.defects[defect].severity == "major":
        turn.make_safe("a stopping defect")
    severity = turn.defect(defect, step, name, reply)
    turn.keep(r.ItemNoted(at=turn.at, step=step.id, item=name, finding=finding, heard=reply.heard))
    turn.tone("accepted")
    if severity == "major":
        turn.say(say.noted_defect(f"{name.capitalize()} {finding}.", severity))
    follow_up(turn, step, "anything else", "")


def _item_measured(turn: Turn, step: Step, reply: Reply) -> None:
    """The figure of one item. Outside its limit it is the defect; within, no exception at all.

    What cannot be judged is kept as an exception without a defect, so that it is no pass.
    """
    name, finding, spec = item_reading(step, turn.state.about)
    if reply.quantity is None:
        raise SessionFault("A measurement without a number.", "report this with the journal")
    result = _by_limit(turn, spec, reply.quantity)
    outside = result.verdict == "outside"
    severity = turn.compiled.defects[spec.outside].severity if outside else ""
    if severity == "major":
        turn.make_safe("outside the limit")
    if outside:
        turn.defect(spec.outside, step, name, reply)
    turn.keep(
        r.ItemMeasured(
            at=turn.at,
            step=step.id,
            item=name,
            finding=finding,
            heard=reply.heard,
            quantity=str(reply.quantity),
            limit=result.limit.id if result.limit else "",
            verdict=result.verdict,
            judged=result.reason,
        )
    )
    if result.verdict != "within":
        turn.keep(
            r.ItemNoted(at=turn.at, step=step.id, item=name, finding=finding, heard=reply.heard)
        )
    turn.tone("accepted")
    turn.say(_told_with_defect(turn, result, spec.outside, severity))
    follow_up(turn, step, "anything else", "")


def _close_group(turn: Turn, step: Step, reply: Reply) -> None:
    noted = turn.state.items.get(step.id, ())
    majors = any(d.step == step.id for d in turn.state.open_stops())
    text = "; ".join(f"{item} {finding}" for item, finding in noted)
    outcome = "failed" if majors else "noted" if noted else "good"
    turn.answered(
        step,
        outcome,
        "exceptions" if noted else "all good",
        f"{text}; others good" if noted else "all good",
        heard=reply.heard,
    )
    accepted(turn, "")


# -- measurements ------------------------------------------------------------------------------


def _measure(turn: Turn, step: Step, reply: Reply) -> None:
    if step.reading is None or reply.quantity is None:
        raise SessionFault("A measurement without a number.", "report this with the journal")
    _judge(turn, step, reply, reply.quantity, reply.quantity, "")


def _timed(turn: Turn, step: Step, reply: Reply) -> None:
    """The first reading stands: the silent interval begins."""
    if step.reading is None or reply.quantity is None:
        raise SessionFault("A measurement without a number.", "report this with the journal")
    seconds = step.reading.seconds
    turn.say(say.silent_interval(seconds), interruptible=False, name="interval")
    turn.keep(
        r.Timing(
            at=turn.at,
            step=step.id,
            first=str(reply.quantity),
            until=turn.at.mono + seconds * 1000,
        )
    )
    turn.listen()


def _second_reading(turn: Turn, step: Step, reply: Reply) -> None:
    if step.reading is None or reply.quantity is None:
        raise SessionFault("A measurement without a number.", "report this with the journal")
    first = Quantity.parse(turn.state.first)
    second = reply.quantity
    if first.unit != second.unit:
        turn.tone("not understood")
        turn.say("Say it in the same unit as the first reading.")
        follow_up(turn, step, "second reading", "")
        return
    elapsed = Quantity.of(step.reading.seconds, unit_named("s"))
    fall = leak_per_minute(first, second, elapsed)
    _judge(turn, step, reply, fall, second, str(first))


def _clocked(turn: Turn, step: Step, reply: Reply) -> None:
    """The first mark starts the clock. After the second the time between was affirmed."""
    assert step.reading is not None
    if reply.quantity is not None:
        _judge(turn, step, reply, reply.quantity, reply.quantity, "")
        return
    until = turn.spoken_at + step.reading.seconds * 1000
    turn.keep(
        r.Marked(
            at=turn.at, step=step.id, mark=1, mono=turn.spoken_at, until=until, heard=reply.heard
        )
    )
    turn.tone("accepted")
    turn.say(step.reading.second_ask)
    turn.listen()


def _judge(
    turn: Turn, step: Step, reply: Reply, judged: Quantity, reading: Quantity, first: str
) -> None:
    """Judge by the limit that the step names, in the unit spoken. Cannot judge is no pass."""
    assert step.reading is not None
    spec = step.reading
    result = _by_limit(turn, spec, judged) if spec.limit else None
    verdict = result.verdict if result else ""
    outside = verdict == "outside"
    reckoned = due(turn.compiled, turn.state, step, reading)
    found = [spec.outside if outside else ""]
    found += [part.outside for part, judgement in reckoned if judgement.verdict == "outside"]
    if any(turn.compiled.defects[defect].severity == "major" for defect in found if defect):
        turn.make_safe("outside the limit")
    severity = turn.defect(spec.outside, step, step.item, reply) if outside and spec.outside else ""
    outcome = {"within": "good", "": "good", "cannot judge": "noted"}.get(
        verdict, "failed" if severity == "major" else "noted"
    )
    turn.answered(
        step,
        outcome,
        "measured",
        str(judged) if first else str(reading),
        gives=step.gives if outcome == "good" else (),
        heard=reply.heard,
        quantity=str(reading),
        first_quantity=first,
        limit=result.limit.id if result and result.limit else "",
        verdict=verdict,
        judged=result.reason if result else "",
    )
    told = _told_with_defect(turn, result, spec.outside, severity) if result else ""
    for reckoning, judgement in reckoned:
        # with an answer that gave more before, another reading may have fallen
        if turn.state.numbers.keys() >= set(reckoning.steps):
            told = f"{told} {_reckon(turn, step, reply, reckoning, judgement)}"
    accepted(turn, told.strip())


def _reckon(turn: Turn, step: Step, reply: Reply, reckoning: Reckoning, result: Judgement) -> str:
    """Keep the figure, and the defect where it is outside. What is said of it."""
    turn.keep(
        r.Reckoned(
            at=turn.at,
            reckoning=reckoning.id,
            inputs=tuple(turn.state.numbers[id] for id in reckoning.steps),
            quantity="" if result.verdict == "cannot judge" else str(result.reading),
            limit=result.limit.id if result.limit else "",
            verdict=result.verdict,
            judged=result.reason,
        )
    )
    if result.verdict == "cannot judge":
        return f"{reckoning.text} {say.cannot_reckon(result.reason)}"
    told = " ".join(filter(None, (reckoning.text, _told(result), result.short)))
    if result.verdict == "outside" and reckoning.outside:
        severity = turn.defect(reckoning.outside, step, reckoning.text, reply, reckoning.id)
        told += f" {say.noted_defect(turn.compiled.defects[reckoning.outside].text, severity)}"
    return told


def _by_limit(turn: Turn, spec: Reading, figure: Quantity) -> Judgement:
    """The figure by the limit of the reading, where the vehicle is."""
    jurisdiction = turn.state.opened.jurisdiction if turn.state.opened else "US"
    return judge_family(spec.limit, figure, dict(spec.given), jurisdiction)


def _told_with_defect(turn: Turn, result: Judgement, defect: str, severity: str) -> str:
    """The judgement as a sentence, and the defect behind it; ``severity`` "": there is none."""
    if not severity:
        return _told(result)
    return f"{_told(result)} {say.noted_defect(turn.compiled.defects[defect].text, severity)}"


def _told(result: Judgement) -> str:
    """The judgement as a sentence: reading, within or outside, and the limit."""
    if result.limit is None or result.bound is None:
        return say.cannot_judge(result.reading.spoken(), result.reason)
    bound = result.bound
    spoken = (
        f"{bound[0].spoken()} and {bound[1].spoken()}"
        if isinstance(bound, tuple)
        else bound.spoken()
    )
    return say.judged(
        result.reading.spoken(), result.verdict, f"{result.limit.sense} {spoken}", result.guide
    )


# -- identities, dates -------------------------------------------------------------------------


def _spell(turn: Turn, step: Step, reply: Reply) -> None:
    assert step.spelling is not None
    wanted = dict(turn.state.opened.units).get(step.spelling.match, "") if turn.state.opened else ""
    if step.spelling.match and wanted and not _same(wanted, reply.spelled):
        turn.make_safe("another unit")
        told = f"The order says {' '.join(_last(wanted))}."
        if step.spelling.mismatch:
            turn.defect(step.spelling.mismatch, step, step.item, reply)
        turn.answered(
            step, "failed", "mismatch", f"{reply.spelled}, ordered {wanted}", heard=reply.heard
        )
        # what was carried was answered about the unit on the order, not about this one
        answers = turn.state.answers.items()
        turn.withdraw([id for id, x in answers if x.outcome == "carried"], "another unit")
        accepted(turn, told)
        return
    text = f"{reply.spelled}, as ordered" if wanted else reply.spelled
    turn.answered(step, "good", "spelled", text, gives=step.gives, heard=reply.heard)
    accepted(turn, "")


def _last(number: str) -> str:
    """The last four letters and figures, which is what a driver reads off in the dark."""
    return "".join(c for c in number.upper() if c.isalnum())[-4:]


def _same(ordered: str, spelled: str) -> bool:
    full = "".join(c for c in ordered.upper() if c.isalnum())
    return spelled.upper() in (full, _last(ordered))


def _date(turn: Turn, step: Step, reply: Reply) -> None:
    """A validity date: the named month (or day) is the last one that is valid, or that of issue."""
    assert step.date is not None
    today = turn.at.wall[: len(reply.date)]
    last, text = reply.date, reply.date
    if step.date.valid:
        if reply.date > today:
            turn.tone("not understood")
            turn.say(say.NOT_ISSUED_YET)
            turn.restart()
            return
        last = last_valid(reply.date, step.date.valid)
        text = f"issued {reply.date}, valid until {last}"
    if last < today and step.date.overdue:
        severity = turn.defect(step.date.overdue, step, step.item, reply)
        outcome = "failed" if severity == "major" else "noted"
        turn.answered(step, outcome, "overdue", f"{text}, overdue", heard=reply.heard)
        told = turn.compiled.defects[step.date.overdue].text
        accepted(turn, say.noted_defect(told, severity))
        return
    turn.answered(step, "good", "date", text, gives=step.gives, heard=reply.heard)
    accepted(turn, "")


_SETTLE: Mapping[str, Callable[[Turn, Step, Reply], None]] = {
    "done": _done,
    "verdict": _verdict,
    "answers": _answers,
    "group": _group,
    "measure": _measure,
    "timed": _timed,
    "clocked": _clocked,
    "spell": _spell,
    "date": _date,
    "attest": _attest,
}
