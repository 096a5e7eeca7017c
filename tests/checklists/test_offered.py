"""What a question offers is understood: docs/drivers.md tells to answer with its words.

Looked at are the questions that end in a choice, "A, or B?". Left out is what is no answer in
itself: which, what. An article may be lost in noise. The words of the lists are common practice,
no source.
"""

from __future__ import annotations

import re
from itertools import product

import pytest

from voicecheck.checklist.compiled import Step
from voicecheck.reply.grammar import Understood, parse
from voicecheck.run.library import compile_sources, load_sources
from voicecheck.session.replying import expect
from voicecheck.session.state import Phase, State

LISTS = (
    "brake-tests",
    "cargo",
    "couple",
    "couple-dolly",
    "en-route",
    "post-trip",
    "trip-inspection",
    "uncouple",
    "uncouple-dolly",
)
NO_ANSWER = re.compile(r"(which|what|and what)\b.*|do they stand open|where are they")
IN_PASSING = {"anything hanging", "latch"}  # where to look, not what may be wrong
OPEN = re.compile(r"what holds|which part|is the handle|what of")  # asked so that one must look


def offered(question: str) -> list[str]:
    """The answers that the last sentence names, where it ends in a choice."""
    last = re.split(r"(?<=[.?])\s+", question.strip())[-1].lower()
    if " or " not in last or not last.endswith("?") or OPEN.search(last):
        return []
    parts = [part.strip() for part in re.split(r",| or ", last[:-1])]
    parts = [part.removeprefix("or ") for part in parts if part and not NO_ANSWER.fullmatch(part)]
    return parts + [part.removeprefix("a ") for part in parts if part.startswith("a ")]


def choices(step: Step) -> list[tuple[int, str]]:
    asked = [(n, v.ask) for n, v in enumerate(step.variants)]
    asked += [(n, v.brief) for n, v in enumerate(step.variants) if v.brief]
    return asked if step.kind in ("answers", "verdict", "group", "done") else []


@pytest.mark.parametrize("name", LISTS)
def test_each_answer_that_a_question_offers_is_understood(name: str) -> None:
    missed, looked_at = set(), 0
    vehicle = "doubles" if "dolly" in name else "tractor-semitrailer"
    for where, season in product(("US-MD", "CA-ON", "CA-SK"), ("summer", "winter")):
        sources = load_sources(name, "flatbed" if name == "cargo" and where == "US-MD" else vehicle)
        compiled, _ = compile_sources(sources, jurisdiction=where, season=season)
        for step in compiled.steps:
            for variant, question in choices(step):
                asked, _ = expect(compiled, State(phase=Phase.ASKED, step=step.id, variant=variant))
                for words in offered(question):
                    looked_at += 1
                    if not isinstance(parse(asked, words), Understood):
                        missed.add((step.id, words))
    assert looked_at > 5
    assert not missed


def named(question: str) -> list[str]:
    """The things that a question about a group names, before it asks for all good."""
    found = re.search(r"(?:^|[.?] )([^.?]*,[^.?]*)[.?] (?:by|all good)\b", question.lower())
    parts = re.split(r", | and ", found[1]) if found else []
    return [re.sub("^(its|look at the|on the road today) ", "", part) for part in parts]


@pytest.mark.parametrize("name", LISTS)
def test_each_thing_that_a_question_names_may_be_said_of(name: str) -> None:
    missed, looked_at = set(), 0
    vehicles, seasons = ("tractor-semitrailer", "doubles"), ("summer", "winter")
    for vehicle, season, where in product(vehicles, seasons, ("US-MD", "CA-ON")):
        if "dolly" in name and vehicle != "doubles":
            continue
        compiled, _ = compile_sources(
            load_sources(name, vehicle), jurisdiction=where, season=season
        )
        for step in compiled.steps:
            items = [item.name for item in step.items if not item.unit]
            if not items or all(item in step.explain.lower() for item in items):
                continue
            for variant, question in choices(step) if step.kind == "group" else ():
                asked, _ = expect(compiled, State(phase=Phase.ASKED, step=step.id, variant=variant))
                for words in set(named(question)) - IN_PASSING:
                    looked_at += 1
                    short = any(item.startswith(words) for item in items)  # "tail, stop, ... lamps"
                    if not short and not isinstance(parse(asked, words), Understood):
                        missed.add((step.id, words))
    assert looked_at or name == "cargo"
    assert not missed
