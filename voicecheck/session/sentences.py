"""Every sentence that the program itself speaks, in one place.

Sentences are code: short, one idea, the place first, the verb of the answer last. They are heard
in wind and gloves, so no sentence asks for a look at a screen. What a step says is in its
checklist.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import groupby

from voicecheck.reply.numbers import spelling_words
from voicecheck.session.records import Origin

NAMED = 5  # of many, in one sentence

HEADLINE_COMPLETE = "All required items answered. No stopping defect reported."


def listing(words: Sequence[str]) -> str:
    """ "a, b, or c"."""
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])}, or {words[-1]}"


def at_place(place: str, sentence: str) -> str:
    return f"{place}. {sentence}"


def hold_precondition(missing: Iterable[str], next_item: str) -> str:
    texts = " ".join(f"Not established: {text}" for text in missing)
    return f"Hold. {texts} Next: {next_item}."


def hold_no_way(missing: Iterable[str]) -> str:
    texts = " ".join(f"Not established: {text}" for text in missing)
    return f"Hold. {texts} This cannot go on. Say end inspection."


def hold_stop(defects: Iterable[str], item: str, driver_can_mend: bool, codes: bool) -> str:
    ways = ["carry on, to inspect the rest", "release, for a release in person", "end inspection"]
    if codes:
        ways.insert(2, "by code, for a code from the supervisor")
    if driver_can_mend:
        ways.insert(0, "mended, when you have mended it")
    return f"Stop. {' '.join(defects)} It stops: {item}. Say {listing(ways)}."


def hold_unanswered(items: Sequence[str]) -> str:
    named = listing(items[:3]).replace(", or", ", and")
    more = f", and {len(items) - 3} more" if len(items) > 3 else ""
    return f"Hold. Not answered: {named}{more}. Say correction to answer them, or end inspection."


def read_back(text: str) -> str:
    return f"I heard: {text}. Affirm, or negative?"


def from_mark_to_mark(text: str) -> str:
    return f"From mark to mark: {text}. Affirm, or negative?"


def called_off(seconds: int) -> str:
    return f"Called off. No second mark in {seconds} seconds."


STATEMENT = {
    "answer:affirm": "You stand by the statement? Affirm, or negative?",
    "answer:negative": "You do not stand by the statement? Affirm, or negative?",
}


def which(choices: Sequence[str]) -> str:
    return f"Which? {listing(choices).capitalize()}?"


def finding(item: str, choices: Sequence[str]) -> str:
    return f"{item.capitalize()}: {listing(choices)}?"


def why_not_done(choices: Sequence[str]) -> str:
    return f"Not done. Why? {listing(choices).capitalize()}?"


ANYTHING_ELSE = "Noted. Anything else there? Name it, or say nothing else."


def noted_defect(text: str, severity: str) -> str:
    return f"Noted. {text} Stopping defect." if severity == "major" else f"Noted. {text}"


def again(count: int) -> str:
    return "Again, from the step before." if count == 1 else "Once more. The third time it stops."


PASS_REFUSED = "Pass is not enough here. Say what you see."


def can_say(choices: Sequence[str]) -> str:
    return f"You can say: {listing(choices)}."


NOT_UNDERSTOOD = {
    "noise": "I hear noise, no words.",
    "talk": "I did not catch that.",
    "fragment": "I heard only a part.",
    "too long": "That was too long for me.",
    "silence": "I hear nothing.",
    "engine": "I lost that. Say it again.",
    "muted": "The microphone gives no sound.",
    "not kept": "The disk did not take your reply. Say it again.",
    "two readings": "That can be read in two ways. Say it digit by digit.",
    "no number": "I need the number.",
    "implausible": "That number cannot be right. Say it digit by digit.",
}


def not_understood(why: str) -> str:
    return NOT_UNDERSTOOD.get(why, "I did not catch that.")


def silent_interval(seconds: int) -> str:
    return f"{seconds} seconds from now. I stay silent. Listen."


def too_early(seconds: int) -> str:
    return f"Too early. {seconds} seconds left."


def time_left(seconds: int) -> str:
    return f"{seconds} seconds left."


NOT_ISSUED_YET = "That date is still to come."
NO_INTERVAL = "No interval is running."
NOTHING_ANSWERED = "Nothing is answered yet."
NOTHING_TO_EXPLAIN = "There is no more to this step than its question."


def last_answer(item: str, text: str) -> str:
    return f"Last answer. {item}: {text}."


def code_wanted(reference: str) -> str:
    """The reference in two fours, as figures are read over a telephone."""
    return (
        f"Read this to the supervisor. {by_figures(reference[:4])}, {by_figures(reference[4:])}. "
        "Then say the code, six figures."
    )


def codes_wait(seconds: int) -> str:
    minutes = -(-seconds // 60)
    return f"Too many wrong codes. The next one in {minutes} minute{'s' * (minutes != 1)}."


def wrong_code(left: int) -> str:
    return f"Wrong code. {left} {'tries' if left != 1 else 'try'} left."


NOT_FIGURES = "A code has six figures."


def by_figures(text: str) -> str:
    return spelling_words(text).lower()


def ask_command(command: str) -> str:
    if command.startswith("code:"):
        return f"Code {by_figures(command[5:])}. Affirm, or negative?"
    return {
        "end inspection": "End the inspection here? Affirm, or negative?",
        "disregard": "Take the last answer back? Affirm, or negative?",
        "mended": "You have mended it yourself? Affirm, or negative?",
        "release": "Somebody releases it in person? Affirm, or negative?",
    }[command]


def memo_wanted(about: str) -> str:
    return {
        "note": "Speak your note after the tone.",
        "driver-mended": "Say what you mended, after the tone.",
        "in person": "Say name, role, what was repaired, and why it may go on, after the tone. "
        "Nobody can tell from a voice who spoke.",
    }[about]


MEMO_KEPT = "Kept."
STANDING_BY = "Standing by. Say go ahead."
OTHER_TALK = "I hear other talk. Standing by. Say go ahead."
GOING_AHEAD = "Going ahead."
LOST = {
    "microphone": "Hold. I cannot hear the microphone. See to the headset.",
    "loudspeaker": "Hold. You could not hear me. See to the headset.",
    "synthesiser": "Hold. My speech fails. Wait.",
}
BACK = {
    "microphone": "I hear again.",
    "loudspeaker": "You hear me again.",
    "synthesiser": "I speak again.",
}
DISK_REFUSES = "Hold. I cannot write to the disk. Nothing is lost yet."
DISK_TAKES = "The disk takes records again."
DISK_ENDS = "I cannot keep records. I stop here. Your last answer is not kept."
FAILING = "Hold. I fail and stop here. Your answers are kept."
# Said when something fails; made ready beforehand, so that they need no synthesiser then.
OF_FAULTS = (*LOST.values(), *BACK.values(), DISK_REFUSES, DISK_TAKES, DISK_ENDS, FAILING)
RESUMING = "Resuming."
NOT_NOW = "Not now."
NOTHING_TO_CORRECT = "There is nothing to correct yet."
MODE = {"brief": "Brief.", "full": "Full."}


def corrected(items: Sequence[str]) -> str:
    return f"Taken back: {', '.join(items)}."


def _from(origin: Origin) -> str:
    return f"{origin.checklist} at {origin.wall[11:16]}"


def carried(items: Sequence[tuple[Origin, str]]) -> list[str]:
    """One sentence for each inspection that answers are carried from; the time is the oldest's."""
    by_age = sorted(items, key=lambda pair: (pair[0].inspection, pair[0].wall))
    told = []
    for _, group in groupby(by_age, key=lambda pair: pair[0].inspection):
        found = list(group)
        names = list(dict.fromkeys(item for _, item in found))
        more = f", and {len(names) - NAMED} more" if len(names) > NAMED else ""
        told.append(f"Carried from {_from(found[0][0])}: {', '.join(names[:NAMED])}{more}.")
    return told


def still_open(defects: Sequence[tuple[Origin, str, str]]) -> list[str]:
    """Each stopping defect by name; of the minor ones the first few, and how many more."""
    majors = [x for x in defects if x[2] == "major"]
    minors = [x for x in defects if x[2] != "major"]
    told = [f"Still open from {_from(x)}: {text} Stopping defect." for x, text, _ in majors]
    told += [f"Still open from {_from(x)}: {text}" for x, text, _ in minors[:NAMED]]
    if len(minors) > NAMED:
        told.append(f"More minor defects still open: {len(minors) - NAMED}.")
    return told


# -- before an inspection ------------------------------------------------------------------------


def resume_which(unfinished: str) -> str:
    return f"Resume {unfinished}? Affirm, or which list?"


def begin_this(checklist: str, vehicle: str, jurisdiction: str, season: str) -> str:
    return (
        f"Begin: {checklist}, {vehicle}, {jurisdiction}, {season}. "
        "Affirm, or change list, vehicle, jurisdiction, or season?"
    )


def which_of(kind: str, names: Sequence[str]) -> str:
    return f"Which {kind}? {listing(names)}?"


def cannot_begin(why: str) -> str:
    return f"That cannot be begun. {why}"


def now_due(things: Sequence[str]) -> str:
    named = listing(things).replace(", or", " and" if len(things) == 2 else ", and")
    return f"Due now: {named}."


def finished(outcome: str, stops: Sequence[str], unanswered: Sequence[str]) -> str:
    if outcome == "complete":
        return f"Finished. {HEADLINE_COMPLETE} The report is written."
    if outcome == "stopped":
        return (
            f"Finished. Parked, not to be driven. {' '.join(stops)} "
            "Leave both knobs out. Tell the carrier. The report is written."
        )
    count = len(unanswered)
    items = "1 item" if count == 1 else f"{count} items"
    return f"Not finished. {items} not answered. The report is written."


def cannot_judge(reading: str, reason: str) -> str:
    return f"{reading}. I cannot judge this. {reason}"


def cannot_reckon(reason: str) -> str:
    return f"I cannot judge this. {reason}"


def judged(reading: str, verdict: str, limit: str, guide: bool) -> str:
    words = "Within" if verdict == "within" else "Outside"
    kind = "the guide value" if guide else "the limit"
    return f"{reading}. {words} {kind}: {limit}."
