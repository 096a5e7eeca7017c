"""What both pages, report.html and report.pdf, say in words beyond the report itself.

The first screen and the first sheet answer three questions: may it leave, what stops it, who mends
it. Never with "safe" or "fit".
"""

from __future__ import annotations

from collections.abc import Sequence

from voicecheck.report.build import (
    Answer,
    Asked,
    MadeWith,
    Open,
    Part,
    Report,
    StepEntry,
    clock,
    count,
)

NOT_GIVEN = "not given"

OUTCOME = {
    "good": "Good",
    "noted": "Noted, minor defect",
    "failed": "Failed",
    "not done": "Not done",
    "cannot see": "Not seen",
    "not fitted": "Not fitted",
    "blocked": "Blocked by a stop",
    "carried": "Carried forward",
    "unanswered": "No answer",
}


def nothing_open(report: Report) -> str:
    """Where nothing is left to do: that, and on which releases of other persons it rests."""
    others = [d for d in report.defects if d.release and d.release.how != "driver-mended"]
    text = "Nothing is left open in this checklist."
    if not others:
        return text
    which = "defect" if len(others) == 1 else "defects"
    numbers = _numbers([d.number for d in others])
    return f"{text} It rests on the release of {which} {numbers}: read it below."


def resumed(report: Report) -> str:
    """How often an inspection was broken off and resumed, for the first sheet; "" when never."""
    times = [event.wall for event in report.events if event.event == "resumed"]
    if not times:
        return ""
    return f"{count(len(times), 'time')}, last at {clock(times[-1])}"


def heard_or_entered(typed: bool) -> str:
    """The verb before a reply: a keyboard hears nothing."""
    return "entered" if typed else "heard"


def made(made_with: MadeWith) -> str:
    """Program, recogniser and voice of an inspection; typed ones have only the first."""
    ear = f"recogniser {made_with.engine}" if made_with.engine else "no recogniser"
    digest = f", {made_with.engine_digest}" if made_with.engine_digest else ""
    voice = f"voice {made_with.voice}" if made_with.voice else "no voice"
    return f"Program {made_with.program}; {ear}{digest}; {voice}."


def by_place(steps: Sequence[StepEntry]) -> list[tuple[str, list[StepEntry]]]:
    """Runs of steps at one place, in walking order; without those in which nothing happened.

    Those stand in the list of what was not reached.
    """
    runs: list[tuple[str, list[StepEntry]]] = []
    for step in steps:
        if step.state == "unanswered" and step.records == (1,):
            continue
        if not runs or runs[-1][0] != step.place:
            runs.append((step.place, []))
        runs[-1][1].append(step)
    return runs


def leave(report: Report) -> dict[str, str | list[str]]:
    """The three fields of the first screen: may it leave, what stops it, who mends it."""
    fields = _fields(report)
    if report.kind == "practice":
        fields["mark"] = f"Practice. {fields['mark']}"
        fields["may"] = "Practice says nothing about leaving."
    return fields


def _fields(report: Report) -> dict[str, str | list[str]]:
    stops = [defect for defect in report.defects if defect.status == "open"]
    open_items = count(len(report.open), "item")
    if report.headline.verdict == "complete":
        released = [defect for defect in report.defects if defect.release]
        by_others = [
            defect
            for defect in released
            if defect.release and defect.release.how != "driver-mended"
        ]
        minor = [defect for defect in report.defects if defect.status == "noted"]
        may = "This report names nothing that stops it. Driver and carrier decide."
        menders = {"driver": "the driver", "mechanic": "a mechanic"}
        by = sorted({menders.get(defect.mended_by, defect.mended_by) for defect in minor})
        who = f"Minor defects: {' and '.join(by)}." if by else "Nothing to mend was reported."
        if by_others:
            numbers = ", ".join(str(defect.number) for defect in by_others)
            ways = {"in person": "in person, identity not verified"}
            ways["by code"] = "by a supervisor's code, person not verified"
            given = sorted({ways[d.release.how] for d in by_others if d.release})
            may = (
                f"Only on the release of defect {numbers}: given {' and '.join(given)}. "
                "Driver and carrier decide."
            )
            who = "What was repaired stands in the release: see below."
        elif released:
            who = "The driver mended it; the same test was done again."
        return {
            "mark": "Answered, on a release" if by_others else "Answered",
            "tone": "open" if by_others else "complete",
            "may": may,
            "stops": [],
            "none": f"Nothing open. {_left(len(released), len(minor))}",
            "who": who,
        }
    if report.headline.verdict == "stopped":
        by_driver = [defect for defect in stops if defect.mended_by == "driver"]
        if not stops:
            who = "Not recorded."
        elif len(by_driver) == len(stops):
            who = "The driver may mend it, then the same test again; else a mechanic."
        elif by_driver:
            who = "A mechanic; the driver may mend what is marked so."
        else:
            who = "A mechanic. Then a release by name or by code, and the same test again."
        return {
            "mark": "Stopped",
            "tone": "stopped",
            "may": "No.",
            "stops": [defect.text for defect in stops],
            "none": "" if stops else report.headline.text,
            "who": who,
        }
    return {
        "mark": "Open items",
        "tone": "open",
        "may": f"Not yet. {open_items} open.",
        "stops": [],
        "none": f"No stopping defect is open, but the walk is not finished: {open_items} open"
        + (f", next {report.headline.next}." if report.headline.next else "."),
        "who": "The driver finishes the walk.",
    }


def _left(released: int, minor: int) -> str:
    parts = []
    if released:
        parts.append(f"{count(released, 'stop')} released")
    if minor:
        parts.append(count(minor, "minor defect"))
    return (", ".join(parts) + ": see below.") if parts else "No defect was reported."


def refs(numbers: Sequence[int]) -> str:
    """ "record 7" or "records 7–9, 12"."""
    runs: list[list[int]] = []
    for n in numbers:
        if runs and n == runs[-1][-1] + 1:
            runs[-1].append(n)
        else:
            runs.append([n])
    text = ", ".join(
        str(run[0]) if len(run) == 1 else f"{run[0]}{'–' if len(run) > 2 else ', '}{run[-1]}"
        for run in runs
    )
    # A space that does not break, so that a number is not left alone on a line.
    return f"{'record' if len(numbers) == 1 else 'records'}\N{NO-BREAK SPACE}{text}"


def question(step: StepEntry) -> tuple[str, str]:
    """What was asked, in the words that were spoken, and with which other steps, if with any.

    That of the answer that stands; else the last one; else what the checklist would ask.
    """
    standing = [entry.asked for entry in step.answers if entry.stands]
    n = standing[-1] if standing else len(step.asked)
    if not n:
        return step.question, ""
    asked = step.asked[n - 1]
    if asked.together:
        return asked.question, f"Asked together: {_named(asked.together)}."
    earlier = [x for x in step.asked[: n - 1] if x.together]
    if not earlier:
        return asked.question, ""
    return asked.question, f"Asked alone. Before, asked together: {_named(earlier[-1].together)}."


def one_reply(step: StepEntry, entry: Answer) -> str:
    """Of an answer to a joint question: which steps its reply answered. "" of any other."""
    asked = _asked(step, entry)
    if asked is None or not asked.together:
        return ""
    told = [part.number for part in asked.one_reply]
    if told:
        return f"One reply answered {_numbers(told)}."
    return f"This reply answered {step.number} only."


def asked_then(step: StepEntry, entry: Answer) -> str:
    """The question of an answer that was taken back, where another stands beside it. Else ""."""
    asked = _asked(step, entry)
    return "" if asked is None or asked.question == question(step)[0] else asked.question


def _asked(step: StepEntry, entry: Answer) -> Asked | None:
    return step.asked[entry.asked - 1] if entry.asked else None


def _named(parts: Sequence[Part]) -> str:
    return "; ".join(f"{part.number} {part.item}" for part in parts)


def _numbers(numbers: Sequence[int]) -> str:
    """ "4 and 5", "4, 5 and 6"."""
    *most, last = map(str, numbers)
    return f"{', '.join(most)} and {last}" if most else last


def beyond(text: str, outcome: str) -> str:
    """The text of an answer without the outcome that is printed before it."""
    rest = text.removeprefix(outcome).lstrip(" :,.") if text.startswith(outcome) else text
    return "" if outcome == "blocked" else rest


def together(items: Sequence[Open]) -> list[int]:
    """The record numbers of several statements, in order, once each."""
    return sorted({n for item in items for n in item.records})


def capital(text: str) -> str:
    return text[:1].upper() + text[1:]
