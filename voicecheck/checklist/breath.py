"""Several states in one breath: which steps may be asked in one sentence, and what answers them.

Rules of this file:

1. A part stays a step of its own. Here is only said which words answer several parts at once.
2. A joint reply names the state of each part in words of its own ("as ordered, closed and locked").
   The plain words "pass", "done" and "all good" answer the first part and never more.
3. Every answer in it but the last is one that goes on; one that does not ends the breath. So the
   phrases are few: the good ones in order, and good ones with one bad one behind them.
4. What is dangerous is asked alone: what must be heard to its end (``confirm``, rotating
   questions), what moves, what has a caution of its own behind the first part.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import combinations, product

from voicecheck.checklist.compiled import Compiled, Step
from voicecheck.checklist.model import StepModel

MOST_PARTS = 3  # nobody keeps more in mind while looking
MOST_PHRASES = 100  # that the recogniser hears to one question, beside those of the first part
CLOSED = frozenset({"done", "verdict", "answers", "group"})
PLAIN = {"done": "done", "verdict": "pass", "group": "all good"}  # kind: its good meaning

# Why steps may not be asked together: a stable word, and how to mend it.
HOW = {
    "unknown": "name steps of this file under with:",
    "not next": "write them in that order, and between them only steps that a when: leaves out",
    "other place": "ask together what is seen from one place",
    "kind": "only done, verdict, answers and group can be asked together",
    "confirm": "what must be heard to its end is asked alone",
    "caution": "only the first step may have a caution; ask this one alone",
    "hazard": "give it the hazard of the first step, or none; ask what moves alone",
    "hands busy": "what is worked at is asked alone",
    "each": "what is asked at each position, or after an again only, is asked alone",
    "rests on": "the question would be spoken before it may be: ask it alone",
    "ends": "the fact would be ended by a question in the same breath: ask them apart",
    "time": "a fact that lasts seconds must be needed by the first step too",
    "words": "name its good state in words under good:, as it is said in one breath",
    "same words": "give the answers words that can be read in one way only",
    "twice": "let each step be part of one breath",
    "too many": f"at most {MOST_PARTS} steps and {MOST_PHRASES} phrases in one breath",
}

Phrase = tuple[tuple[str, ...], tuple[str, ...]]  # meanings of the parts in order, ways to say it


def good_ways(step: Step) -> list[tuple[str, tuple[str, ...]]]:
    """The answers that go on: their meanings, and the words for them in one breath."""
    if step.kind == "answers":
        return [
            (f"answer:{x.id}", x.said)
            for x in step.variants[0].answers
            if not (x.again or x.defect or x.repeat or x.bad)
        ]
    return [(PLAIN[step.kind], step.good)]


def ending_ways(step: Step) -> list[tuple[str, tuple[str, ...]]]:
    """The answers that end a breath: something is wrong, or is asked again."""
    if step.kind == "answers":
        good = {meaning for meaning, _ in good_ways(step)}
        made = [(f"answer:{x.id}", x.said) for x in step.variants[0].answers]
        return [(meaning, said) for meaning, said in made if meaning not in good]
    if step.kind == "done":
        return []
    wrong = [(f"wrong:{finding}", (finding,)) for finding, _ in step.wrong]
    wrong += [
        (f"item:{item.name}:{finding}", (f"{item.said[0]} {finding}",))
        for item in step.items
        for finding, _ in item.wrong
    ]
    return [("fail", ("fail",)), *wrong]


def joint_phrases(steps: Sequence[Step]) -> tuple[Phrase, ...]:
    """What answers the first two of these steps or more, fewest first."""
    found: list[Phrase] = []
    for count in range(2, len(steps) + 1):
        *before, last = steps[:count]
        for ways in product(*map(good_ways, before), [*good_ways(last), *ending_ways(last)]):
            meanings = tuple(meaning for meaning, _ in ways)
            found.append((meanings, tuple(map(" ".join, product(*(said for _, said in ways))))))
    return tuple(found)


def refused(compiled: Compiled, steps: Sequence[Step]) -> tuple[str, str] | None:
    """Why these steps cannot be asked together, and which one it is; None when they can."""
    first, later = steps[0], steps[1:]

    def any_of(why: str, test: Callable[[Step], object], among: Sequence[Step]) -> str | None:
        return next((step.id for step in among if test(step)), None)

    def leaves(step: Step) -> set[str]:
        return {leaf for need in step.needs for leaf in compiled.need(need).leaves()}

    def moves(step: Step) -> bool:
        hazard = compiled.hazards.get(step.hazard)
        return step.hazard == "leave" or (hazard is not None and hazard.moving)

    tests: list[tuple[str, Callable[[Step], object], Sequence[Step]]] = [
        ("other place", lambda s: s.place != first.place, later),
        ("kind", lambda s: s.kind not in CLOSED or len(s.variants) > 1, steps),
        ("confirm", lambda s: s.confirm, steps),
        ("hands busy", lambda s: s.hands_busy, steps),
        ("each", lambda s: s.only_again or "@" in s.id, steps),
        ("caution", lambda s: s.caution, later),
        ("hazard", lambda s: s.hazard not in ("", first.hazard), later),
        ("hazard", moves, steps),
        ("words", lambda s: s.kind in PLAIN and not s.good, steps),
    ]
    for why, test, among in tests:
        found = any_of(why, test, among)
        if found:
            return why, found
    if len(steps) > MOST_PARTS:
        return "too many", steps[MOST_PARTS].id
    for before, after in combinations(steps, 2):
        if leaves(after) & set(compiled.given_by(before)):
            return "rests on", after.id
    for one, other in product(steps, steps):
        if one is not other and {leaf.partition("@")[0] for leaf in leaves(one)} & set(other.ends):
            return "ends", one.id
    brief = {leaf for leaf, fact in compiled.facts.items() if fact.lasts == "time"}
    for step in later:
        if leaves(step) & brief - leaves(first):
            return "time", step.id
    return _phrases_refused(steps)


def _phrases_refused(steps: Sequence[Step]) -> tuple[str, str] | None:
    """Two readings of one phrase, or more phrases than can be told apart."""
    said = [text for _, ways in joint_phrases(steps) for text in ways]
    alone = [text for step in steps for _, ways in (*good_ways(step), *ending_ways(step))
             for text in ways]  # fmt: skip
    twice = [text for text in said if said.count(text) > 1 or text in alone]
    if twice:
        return "same words", steps[1].id
    if len(said) > MOST_PHRASES:
        return "too many", steps[-1].id
    return None


def written_wrongly(steps: Sequence[StepModel], n: int) -> tuple[str, str] | None:
    """The same for what an author wrote, whatever the vehicle: names and order."""
    body = steps[n].together
    assert body is not None
    ids = [step.id for step in steps]
    if steps[n].each or steps[n].only_again:
        return "each", ids[n]
    at = n
    for id in body.parts:
        if id not in ids:
            return "unknown", id
        before, at = at, ids.index(id)
        if at <= before or any(step.when is None for step in steps[before + 1 : at]):
            return "not next", id
        if steps[at].together is not None:
            return "twice", id
        if steps[at].each or steps[at].only_again:
            return "each", id
    return None
