"""The coupling against its table, its hazards, and the order of the holding tests."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.checklists.walk import Walk, compiled
from voicecheck.checklist.compiled import Compiled, Step
from voicecheck.run.library import compile_sources, load_sources
from voicecheck.session import records as r

TABLE = Path(__file__).with_name("coupling_table.md")


def rows() -> list[dict[str, str]]:
    lines = [line for line in TABLE.read_text().splitlines() if line.startswith("| ")]
    head = [cell.strip() for cell in lines[0].strip("|").split("|")]
    return [
        dict(zip(head, (cell.strip() for cell in line.strip("|").split("|")), strict=True))
        for line in lines[1:]
    ]


def good_words(step: Step) -> set[str]:
    if step.kind == "answers":
        return {
            phrase
            for variant in step.variants
            for a in variant.answers
            if not (a.again or a.defect or a.repeat or a.bad)
            for phrase in a.said
        }
    return {
        "verdict": {"pass"},
        "group": {"all good"},
        "spell": {"(spelled)"},
        "date": {"(date)"},
        "attest": {"affirm"},
    }[step.kind]


def consequences(couple: Compiled, step: Step) -> set[str]:
    """What the answers of a step that are not good can do, in the words of the table."""
    found: set[str] = set()
    defects = [d for _, d in step.wrong] + [d for item in step.items for _, d in item.wrong]
    defects += [step.date.overdue] if step.date and step.date.overdue else []
    for variant in step.variants:
        for answer in variant.answers:
            found |= {"again"} if answer.again else set()
            found |= {"bad"} if answer.bad else set()
            defects += [d for d in (answer.defect, answer.third) if d]
    for id in defects:
        defect = couple.defects[id]
        found |= {defect.severity, f"{defect.mended_by}"}
        found |= {"leave"} if set(defect.scope) == {"leave"} else set()
    found |= {"exceptions"} if step.items else set()
    return found


def test_every_row_has_its_steps_in_the_order_of_the_table() -> None:
    couple = compiled("couple")
    order = [couple.index(id) for row in rows() for id in row["steps"].split("; ")]
    assert order == sorted(order)
    assert len(rows()) == 36


@pytest.mark.parametrize("row", rows(), ids=lambda row: row["id"])
def test_row(row: dict[str, str]) -> None:
    couple = compiled("couple")
    steps = [couple.step(id) for id in row["steps"].split("; ")]
    assert row["good"] in good_words(steps[-1])
    for wanted in row["else"].replace("holds back under", "").split():
        assert wanted in consequences(couple, steps[-1]), wanted
    if "holds back under" in row["else"]:
        given = set(steps[-1].gives) | {
            f for v in steps[-1].variants for a in v.answers for f in a.gives
        }
        back = couple.step("back under")
        first = couple.step("to the nose")
        needed = {leaf for n in (*back.needs, *first.needs) for leaf in couple.need(n).leaves()}
        assert given & needed


def test_the_four_holding_tests_are_four_records_with_both_knobs_named_first() -> None:
    couple = compiled("couple")
    walk = Walk(couple)
    walk.to_the_end()
    knobs = {
        "test one": ("yellow in", "red out"),
        "test two": ("yellow out", "red in"),
        "test three": ("both knobs in", "hand valve"),
        "test four": ("both knobs in", "foot brake"),
    }
    for id, words in knobs.items():
        step = couple.step(id)
        before = couple.steps[couple.index(id) - 1]
        named = f"{before.question} {step.question} {step.item}".lower()
        for word in words:
            assert word in named, (id, word)
        assert step.hazard == "holding test"
        assert walk.answer(id).text == "held"
    # on many tractors pulling yellow also pops red: the red knob must be named in words
    assert couple.step("knobs two").confirm
    for id in knobs:
        moved = next(a for a in couple.step(id).variants[0].answers if a.id == "moved")
        assert "leave" in couple.defects[moved.defect].scope


def test_what_proves_the_lock_is_asked_alone_and_in_changing_form() -> None:
    """The looks that coupling rows C11 to C13 give to the eye; common practice, no source."""
    couple = compiled("couple")
    together = [step.together.steps for step in couple.steps if step.together]
    alone = {"jaws", "handle", "gap", "first pull", "raise legs", "test one", "test two"}
    assert together
    assert alone.isdisjoint(id for ids in together for id in ids)
    for id in ("jaws", "handle", "gap"):
        assert len(couple.step(id).variants) > 1
        assert couple.step(id).confirm
    for ids in together:
        assert not any(couple.step(id).caution for id in ids[1:])
        assert len({couple.step(id).place for id in ids}) == 1


def test_no_row_is_lost_when_several_are_asked_together() -> None:
    """Each part is named in the common sentence, or with words of its own answers."""
    couple = compiled("couple")
    named = {
        "near side look": "near side", "trailer brakes": "what holds the trailer",
        "legs first": "landing gear", "load": "load", "doors": "closed and locked",
        "dispatch": "dispatch", "fifth wheel": "bolts, cracks, grease, slider pins",
        "jaws ready": "jaws and handle", "kingpin": "kingpin", "legs still down": "still down",
        "seals": "gladhand seals, both sides", "lines": "far line first",
        "lines clear": "lines clear", "leak": "listen along the lines", "rear lamps": "lamps",
        "left lamps": "lamps", "left tires": "tires and wheels", "right lamps": "lamps",
        "right tires": "tires and wheels", "front lamps": "front top lamps",
        "stow": "crank stowed", "chocks": "frame and tire clearance. chocks away",
    }  # fmt: skip
    found = {
        id: step.together.ask.lower()
        for step in couple.steps
        if step.together
        for id in step.together.steps
    }
    assert set(found) == set(named)
    for id, words in named.items():
        assert words in found[id], id


HAZARDS = {  # hazard: (needs, make-safe), as an instructor demands; common practice, no source
    "reach in": ("tractor parked, engine off, trailer held", "Step out. Keep clear."),
    "between the units": ("tractor parked, engine off, trailer held", "Step out. Keep clear."),
    "back under": (
        "trailer held, legs down, right trailer, load secured, people clear",
        "Stop. Foot brake. Both knobs out.",
    ),
    "first pull": (
        "legs down, trailer springs set, people clear",
        "Stop. Foot brake. Both knobs out.",
    ),
    "draw out": (
        "legs down, lines off, trailer held, people clear",
        "Stop. Foot brake. Both knobs out.",
    ),
    "crank": (
        "coupling seen locked, tractor parked, trailer held, people clear",
        "Both hands off. Step back from the crank.",
    ),
    "holding test": (
        "coupling seen locked, legs up, crank stowed, lines joined, chocks away, belt on, "
        "people clear",
        "Stop. Foot brake. Both knobs out.",
    ),
    "leave": (
        "trailer springs proven, tractor springs proven, trailer service accounted for, "
        "service brakes proven",
        "Stop. Foot brake. Both knobs out.",
    ),
    "doors": ("trailer held", "Step back behind the door."),
    "charged hose": ("tractor parked, supply out", "Let go. Step back."),
}


@pytest.mark.parametrize("name", HAZARDS)
def test_hazard(name: str) -> None:
    hazard = compiled("couple").hazards[name]
    needs, safe = HAZARDS[name]
    assert set(hazard.needs) == set(needs.split(", "))
    assert hazard.safe == safe


@pytest.mark.parametrize(
    ("settings", "season"),
    [
        ({}, "summer"),
        ({}, "winter"),
        ({"air lines": "before the lock"}, "summer"),
        ({"air lines": "before the lock", "engine for the walk": "idling"}, "winter"),
    ],
)
def test_a_walk_with_good_answers_never_holds(settings: dict[str, str], season: str) -> None:
    walk = Walk(compiled("couple", season=season, settings=settings))
    walk.to_the_end()
    assert walk.outcome == "complete"
    assert walk.holds() == []


def test_winter_steps_come_with_winter_only() -> None:
    winter = {s.id for s in compiled("couple", season="winter").steps}
    summer = {s.id for s in compiled("couple").steps}
    assert winter - summer == {
        "warm", "wet tanks", "snow", "jaws in winter", "glad hands in winter", "wheels turn",
    }  # fmt: skip


def test_lines_are_joined_before_or_after_the_lock_as_the_carrier_chose() -> None:
    after, before = (
        compiled("couple"),
        compiled("couple", settings={"air lines": "before the lock"}),
    )
    assert after.index("lines") > after.index("jaws")
    assert before.index("lines before") < before.index("back under")
    assert "lines" not in {s.id for s in before.steps}
    assert before.settings["air lines"] == "before the lock"


def test_a_wrong_trailer_can_always_be_dropped() -> None:
    """After a wrong trailer is found, the way out needs nothing of the trailer's identity."""
    couple, uncouple = compiled("couple"), compiled("uncouple")
    assert couple.hazards["draw out"].never_blocked
    assert "right trailer" not in {n for s in uncouple.steps for n in s.needs}
    walk = Walk(uncouple)
    walk.to_the_end()
    assert walk.outcome == "complete"
    assert walk.holds() == []


def test_jaws_not_closed_three_times_is_a_major_that_blocks_the_crank() -> None:
    walk = Walk(compiled("couple"))
    walk.to("jaws")
    for _ in range(3):
        bad = next(
            a
            for a in walk.step().variants[walk.session.state.variant].answers
            if a.third == "jaws-not-closed" and "head" not in a.id
        )
        walk.reply(bad.id)
        walk.to("jaws", stop_at=("finished", "stopped"))
    assert [d.defect for d in walk.session.state.open_stops()] == ["jaws-not-closed"]
    walk.to("raise legs", stop_at=("stopped",))
    assert walk.phase == "stopped"
    assert "jaws do not close" in walk.session.state.hold_text
    walk.reply("release", "affirm", "an invented foreman released it")
    walk.to("jaws")  # by way of what the look needs, which ended meanwhile
    assert [rec.how for rec in walk.records if isinstance(rec, r.Released)] == ["in person"]


def test_a_flatbed_has_its_load_tied_down_before_it_is_backed_under() -> None:
    flat = compile_sources(load_sources("couple", "flatbed"))[0]
    ids = {step.id for step in flat.steps}
    assert "deck" in ids
    assert not {"load", "doors"} & ids
    (answer,) = (a for a in flat.step("deck").variants[0].answers if a.id == "loose")
    assert answer.bad
    assert not answer.gives
    assert not flat.need("load secured").holds(
        lambda fact: fact not in ("load tied", "doors locked")
    )
