"""Lint: bad checklists, each with its rule, line and weight; the shipped ones have none to mend.

The sentence length of 14 words, the budgets and the weights of phones: common practice, no source.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from itertools import permutations
from pathlib import Path
from random import Random

import pytest

from voicecheck.audio.sphinx_recogniser import SphinxRecogniser
from voicecheck.authoring import lint as rules
from voicecheck.authoring.budget import seconds_of
from voicecheck.authoring.lint import Linted, lint
from voicecheck.authoring.route import best_changes, changes, crossings
from voicecheck.authoring.sounds import distance, phones_of
from voicecheck.checklist.compile import Context
from voicecheck.checklist.compiled import Compiled, Step, Variant
from voicecheck.checklist.load import load_checklist, load_hazards, load_vehicle
from voicecheck.checklist.vehicle import positions
from voicecheck.limits.table import LIMITS
from voicecheck.run.library import load_sources, names

BAD = Path(__file__).parent / "bad"

# file: rule, weight, line, words of the finding
FINDINGS = {
    "word-unknown": ("word", "mend", 35, "'zlotnik'"),
    "alike-where-wear": ("alike", "mend", 35, "'wear' and 'where'"),
    "alike-one-phone": ("alike", "mend", 64, "'all set' and 'all sat'"),
    "figure-without-source": ("source", "mend", 73, "cites nobody"),
    "no-source": ("source", "mend", 61, "names no source"),
    "defect-without-source": ("source", "mend", 25, "'legs-stuck'"),
    "outside-without-limit": ("limit", "mend", 62, "names none"),
    "clock-called-off-too-soon": ("limit", "mend", 62, "before it can be outside"),
    "sentence-too-long": ("sentence", "mend", 88, "17 words"),
    "said-too-long": ("sentence", "mend", 72, "17 words"),
    "fact-never-given": ("fact", "mend", 13, "No step gives the fact 'chocks away'"),
    "fact-never-needed": ("fact", "mend", 13, "No step needs the fact 'legs up'"),
    "moving-without-look": ("caution", "mend", 76, "'creep' moves the vehicle"),
    "pinching-without-caution": ("caution", "mend", 76, "'lid' can pinch"),
    "answer-is-a-command": ("dead answer", "mend", 35, "'say again'"),
    "ended-before-it-is-needed": ("ends", "mend", 74, "'seals' has ended it"),
    "walk-to-and-fro": ("route", "mind", 1, "changes its place 3 times"),
    "too-many-words": ("budget", "mind", 1, "32 replies"),
}


@cache
def engine() -> SphinxRecogniser:
    return SphinxRecogniser()


@cache
def linted(name: str) -> Linted:
    sources = load_sources(name, "tractor-semitrailer")
    model, lines = load_checklist(sources.checklist, sources.checklist_file)
    hazards, _ = load_hazards(sources.hazards, "hazards.yaml")
    context = Context(load_vehicle(sources.vehicle, "vehicle.yaml"))
    return lint(model, lines, sources.checklist_file, hazards, context, [engine()])


def test_every_bad_file_is_listed() -> None:
    assert {p.stem for p in BAD.glob("*.yaml")} == {*FINDINGS, "hazards"}


@pytest.mark.parametrize("name", FINDINGS)
def test_a_bad_checklist_is_found_with_its_line(name: str) -> None:
    rule, grave, line, words = FINDINGS[name]
    result = linted(str(BAD / f"{name}.yaml"))
    found = [f for f in result.findings if f.rule == rule and words in f.why]
    assert [(f.grave, f.line) for f in found] == [(grave, line)]
    assert found[0].mend
    assert result.clean == (grave == "mind")


@pytest.mark.parametrize(
    ("rule", "line", "words"),
    [
        ("budget", 1, "185 s of talk by the program, and 180 are planned"),
        ("alike", 111, "'lamp b' and 'lamp d' sound alike after 'correction'"),
    ],
)
def test_too_much_talk_and_items_that_sound_alike_are_told(
    rule: str, line: int, words: str
) -> None:
    """The same file as for the replies; B and D: one voiced consonant apart."""
    found = [f for f in linted(str(BAD / "too-many-words.yaml")).findings if words in f.why]
    assert [(f.rule, f.grave, f.line) for f in found] == [(rule, "mind", line)]


def test_a_limit_that_cites_nobody_must_be_mended(monkeypatch: pytest.MonkeyPatch) -> None:
    """No row of the table is so (tests/limits); lint does not rest on that."""
    rows = tuple(replace(row, source="") if row.family == "stroke" else row for row in LIMITS)
    monkeypatch.setattr(rules, "LIMITS", rows)
    sources = load_sources("brake-tests", "tractor-semitrailer")
    model, lines = load_checklist(sources.checklist, sources.checklist_file)
    hazards, _ = load_hazards(sources.hazards, "hazards.yaml")
    context = Context(load_vehicle(sources.vehicle, "vehicle.yaml"))
    found = lint(model, lines, sources.checklist_file, hazards, context, [engine()]).findings
    assert {f.why for f in found if f.grave == "mend"} == {"The limit 'stroke' has no source."}


@pytest.mark.parametrize("name", names("checklists"))
def test_the_shipped_checklists_have_nothing_to_mend(name: str) -> None:
    assert [str(f) for f in linted(name).findings if f.grave == "mend"] == []
    assert linted(name).walked.outcome == "complete"
    assert linted(name).walked.held == ()


# -- sounds ----------------------------------------------------------------------------------------


def test_phones_are_those_of_the_cmu_dictionary() -> None:
    """CMU Pronouncing Dictionary, as in the pocketsphinx wheel, without stress."""
    assert ("F", "EY", "L") in phones_of("fail")
    assert phones_of("kingpin") == (("K", "IH", "NG", "P", "IH", "N"),)
    assert phones_of("zlotnik") == ()


@pytest.mark.parametrize(
    ("first", "second", "apart"),
    [
        ("where", "wear", 0.0),  # the same phones
        ("red", "read", 0.0),  # "read" has two ways; the nearest counts
        ("fail", "full", 0.5),  # one vowel for another
        ("bad", "pad", 0.5),  # voiced for unvoiced of one place
        ("held", "help", 1.0),  # another place
        ("up", "cup", 1.0),  # one phone more
        ("red in", "red out", 1.5),  # a vowel for another, N for T
    ],
)
def test_distance_by_hand(first: str, second: str, apart: float) -> None:
    assert distance(first, second) == apart
    assert distance(second, first) == apart


# -- talk, walking order ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "measured"),
    [
        # rendered by pyttsx3 with espeak-ng, rate 145, on 2026-11-25
        ("Ready.", 0.52),
        ("Jaws closed round the shank.", 2.01),
        ("Lowest gear. Pull gently against the held trailer. Held, or moved?", 5.53),
        (
            "Look along the near side. Body, legs, anything hanging? All good, or what is wrong?",
            6.7,
        ),
    ],
)
def test_the_length_of_talk_is_near_what_was_measured(text: str, measured: float) -> None:
    assert abs(seconds_of(text) - measured) < 0.7


def _steps(places: str, gives: dict[int, str], needs: dict[int, str]) -> tuple[Step, ...]:
    return tuple(
        Step(
            id=f"s{n}",
            place=place,
            item="x",
            kind="done",
            variants=(Variant("x", "x", ()),),
            gives=(gives[n],) if n in gives else (),
            needs=(needs[n],) if n in needs else (),
        )
        for n, place in enumerate(places)
    )


def _compiled(steps: tuple[Step, ...]) -> Compiled:
    return Compiled("x", "1", "x", steps, {}, {}, (), {}, {}, {})


def test_the_best_walk_equals_that_of_every_order_tried() -> None:
    """Brute force over all orders of six steps; each giver stays before what needs its fact."""
    for seed in range(60):
        rnd = Random(seed)
        places = "".join(rnd.choice("abc") for _ in range(6))
        giver, user = sorted(rnd.sample(range(6), 2))
        steps = _steps(places, {giver: "f"}, {user: "f"})
        orders = (
            order for order in permutations(range(6)) if order.index(giver) < order.index(user)
        )
        brute = min(changes([steps[n] for n in order]) for order in orders)
        best = best_changes(_compiled(steps), steps, {})
        assert best is not None
        assert best[0] == brute, (seed, places)


@pytest.mark.parametrize(
    ("of", "across"), [("wheels", 9), ("brakes.steer", 1), ("wheels.left", 0), ("wheels.right", 0)]
)
def test_a_list_over_the_vehicle_should_not_go_from_side_to_side(of: str, across: int) -> None:
    """Counted by hand: five axles, each left then right, are five crossings and four back."""
    sources = load_sources("couple", "tractor-semitrailer")
    vehicle = load_vehicle(sources.vehicle, "vehicle.yaml")
    assert crossings(positions(vehicle, of)) == across
    text = (Path(__file__).parents[1] / "checklist/good/every-kind.yaml").read_text(
        encoding="utf-8"
    )
    model, lines = load_checklist(text.replace("each: wheels", f"each: {of}"), "every.yaml")
    hazards, _ = load_hazards(sources.hazards, "hazards.yaml")
    found = lint(model, lines, "every.yaml", hazards, Context(vehicle)).findings
    told = [f for f in found if f.rule == "route" and f"'{of}'" in f.why]
    assert len(told) == (across > 1)
