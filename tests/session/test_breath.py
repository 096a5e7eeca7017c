"""Several states in one breath: rule 14 of session/state.py, as a driver meets it.

The invariants are quoted from docs/invariants.md by their numbers.
"""

from __future__ import annotations

import pytest

from tests.session.breath import CHECKLIST, GOOD_BREATH, HAZARDS, breath
from tests.session.small import VEHICLE, Hand
from voicecheck.checklist.breath import HOW
from voicecheck.checklist.compile import Context, compile_checklist
from voicecheck.checklist.compiled import Compiled
from voicecheck.checklist.load import load_checklist, load_hazards, load_vehicle
from voicecheck.errors import NotTogether
from voicecheck.run.library import compile_sources, load_sources
from voicecheck.session import actions as a
from voicecheck.session import events as e
from voicecheck.session import records as r
from voicecheck.session.fold import fold
from voicecheck.session.replying import expect, vocabularies
from voicecheck.session.session import Session

SIDE, DOORS = GOOD_BREATH[:2]


def hand(*replies: str) -> Hand:
    made = Hand(breath())
    made.reply(*replies)
    return made


def answers(made: Hand) -> list[tuple[str, str, str]]:
    return [(x.step, x.outcome, x.answer) for x in made.records if isinstance(x, r.Answered)]


def heard(made: Hand) -> list[r.HeardReply]:
    return [x for x in made.records if isinstance(x, r.HeardReply)]


def test_one_reply_answers_each_part_with_a_record_of_its_own() -> None:
    made = hand(*GOOD_BREATH)
    assert made.outcome == "complete"
    assert answers(made)[:3] == [
        ("look", "good", "all good"),
        ("brakes", "good", "spring brakes"),
        ("legs", "good", "done"),
    ]
    assert len(heard(made)) == 4
    first = made.records.index(heard(made)[0]) + 1
    cited = [x.heard for x in made.records if isinstance(x, r.Answered)]
    assert cited[:3] == [first] * 3  # each line of the report plays the same recording
    assert {x.gives for x in made.records if isinstance(x, r.Answered) and x.step == "legs"} == {
        ("firm",)
    }


def test_the_sentence_for_all_is_spoken_and_the_others_are_not() -> None:
    made = Hand(breath())
    assert made.said == ["At the near side. Near side, brakes, legs. What of them?"]
    said = made.reply(SIDE)
    assert said == "At the rear. Stand behind the door. Load, doors, dispatch. As ordered?"
    assert made.reply("say again").endswith("Load, doors, dispatch. As ordered?")
    assert made.reply("explain") == "Look for shifted freight. Try the lock."


def test_brief_has_its_own_sentence() -> None:
    made = Hand(breath())
    assert made.reply("brief") == "Brief. At the near side. Side, brakes, legs?"


@pytest.mark.parametrize(
    ("said", "left", "asked"),
    [
        ("side good", "brakes", "What holds it?"),
        ("all good", "brakes", "What holds it?"),
        ("pass", "brakes", "What holds it?"),
        ("side good chocks", "legs", "Legs?"),
    ],
)
def test_what_was_not_said_is_asked_alone_at_once(said: str, left: str, asked: str) -> None:
    made = Hand(breath())
    assert made.reply(said) == asked
    assert (made.step, made.session.state.breath) == (left, ())


def test_plain_words_answer_no_more_than_the_first_part() -> None:
    for words in ("pass", "all good"):
        assert [step for step, _, _ in answers(hand(words))] == ["look"]
    said = Hand(breath()).reply("all good all good")
    assert "two ways" in said  # two replies in one breath, as ever


@pytest.mark.parametrize("name", ["couple", "trip-inspection", "cargo", "post-trip"])
def test_in_no_shipped_breath_all_good_or_pass_is_a_part(name: str) -> None:
    for where in ("US-MD", "CA-ON"):
        compiled, _ = compile_sources(load_sources(name, "tractor-semitrailer"), jurisdiction=where)
        joint = [
            phrase
            for found in vocabularies(compiled)
            for form in found.forms
            if form.meaning.startswith("joint:")
            for phrase in form.said
        ]
        assert joint
        assert not [x for x in joint if "all good" in x or "pass" in x.split()]


def test_a_part_that_is_not_good_ends_the_breath() -> None:
    made = hand(SIDE)
    said = made.reply("as ordered not locked")
    assert said.startswith("Again, from the step before.")
    assert made.step == "load"
    # load was good, and "again" reopens it: nothing of the breath is left
    assert [x for x in answers(made) if x[0] in ("load", "doors")] == [
        ("load", "good", "as ordered")
    ]
    assert "load" not in made.session.state.answers


def test_behind_a_bad_part_nothing_may_be_said() -> None:
    made = hand(SIDE)
    for words in ("shifted closed confirmed", "as ordered not locked confirmed"):
        made.reply(words)
        assert not heard(made)[-1].took
    made.reply("shifted")
    assert made.step == "doors"
    assert made.session.state.defects[-1].defect == "shifted"


def test_asked_again_the_part_is_spoken() -> None:
    made = hand(SIDE)
    assert made.reply("unsure").endswith("Load, doors, dispatch. As ordered?")
    assert made.session.state.breath == ("load", "doors", "dispatch")


def test_exceptions_of_a_group_follow_up_and_the_rest_is_asked() -> None:
    made = hand("body bent")
    assert made.phase == "following up"
    assert made.reply("nothing else") == "What holds it?"
    assert answers(made) == [("look", "noted", "exceptions")]


def test_a_fail_behind_a_good_part_is_of_that_part_and_makes_safe() -> None:
    made = hand(SIDE, DOORS)
    said = made.reply("seals whole fail")
    assert said.startswith("Step out. Noted. The load has shifted.")
    assert answers(made)[-2:] == [("seals", "good", "pass"), ("plug", "failed", "loose")]


def test_it_is_asked_alone_while_a_later_part_may_not_be_spoken() -> None:
    """H1: the doors may be asked, dispatch not, so the first question is spoken alone."""
    made = hand("side good spring brakes")
    made.reply("not done", "too dark")  # the legs: "firm" is not given, which dispatch needs
    assert made.said[-1].endswith("Load as ordered?")
    assert made.session.state.breath == ()
    made.reply("as ordered")
    assert made.reply("closed").startswith("Hold. Not established: The legs are firm.")


def test_a_gate_that_closed_meanwhile_holds_the_part_that_it_guards() -> None:
    """H1: what lasts until left is gone at the reply; the parts before it count, it is held."""
    made = hand(SIDE)
    made.session.state.facts.pop("firm")  # type: ignore[attr-defined]
    said = made.reply(DOORS)
    assert said.startswith("Hold. Not established: The legs are firm.")
    assert [x[0] for x in answers(made)[-2:]] == ["load", "doors"]


def test_a_stop_between_the_parts_is_looked_at_again() -> None:
    """H4: a stop that blocks the second part is found by nobody in the same breath, but before."""
    made = hand(SIDE, "as ordered closed confirmed")
    made.reply("torn")
    assert made.phase == "stopped"
    assert not any(x.step == "plug" for x in made.records if isinstance(x, r.StepStarted))


def test_what_the_sentence_speaks_of_ends_its_facts() -> None:
    """H2: the plug ends "firm" as soon as it is spoken, with the seals."""
    made = hand(SIDE)
    assert made.true("firm")
    made.reply(DOORS)
    assert not made.true("firm")


def test_doubtful_it_is_read_back_part_by_part() -> None:
    made = Hand(breath())
    made.certainty = "doubtful"
    assert made.reply(SIDE) == "I heard: side good, spring brakes, legs firm. Affirm, or negative?"
    assert answers(made) == []
    assert made.reply("say again").startswith("I heard: side good, spring brakes, legs firm.")
    assert made.reply("negative").endswith("Near side, brakes, legs. What of them?")
    made.reply("side good chocks", "affirm")
    assert [x[0] for x in answers(made)] == ["look", "brakes"]
    assert made.step == "legs"


def test_every_joint_phrase_is_careful() -> None:
    for steps in (("look", "brakes", "legs"), ("load", "doors", "dispatch"), ("seals", "plug")):
        state = Hand(breath()).session.state
        state = fold(breath(), ()).__class__(phase=state.phase, step=steps[0], breath=steps)
        wanted, careful = expect(breath(), state)
        joint = [f for f in wanted.forms if f.meaning.startswith("joint:")]
        assert joint
        assert {text for form in joint for text in form.said} <= careful
    assert "legs firm" in expect(breath(), state.__class__(phase=state.phase, step="legs"))[1]


@pytest.mark.parametrize("name", ["near side", "brakes", "legs"])
def test_a_part_is_corrected_by_its_name_and_alone(name: str) -> None:
    made = hand(SIDE)
    step = {"near side": "look"}.get(name, name)
    said = made.reply(f"correction {name}")
    gone = {x.step for x in made.records if isinstance(x, r.Withdrawn)}
    assert gone == {step}
    assert made.step == step
    assert "together" not in said
    assert made.session.state.breath == ()
    assert set(made.session.state.answers) == {"look", "brakes", "legs"} - {step}


def test_h3_what_rested_on_a_part_falls_with_it() -> None:
    made = hand(SIDE, DOORS)
    made.reply("correction brakes")
    gone = {x.step for x in made.records if isinstance(x, r.Withdrawn)}
    assert gone == {"brakes", "load"}  # the doors were opened on the strength of it


def test_correction_alone_takes_the_last_part_back() -> None:
    made = hand(SIDE, "correction")
    assert [x.step for x in made.records if isinstance(x, r.Withdrawn)] == ["legs"]


def test_put_off_it_comes_back_whole() -> None:
    made = hand(SIDE, "next place")
    assert made.step == "load"  # nothing is left but the leaving: it comes back at once
    assert made.session.state.breath == ("load", "doors", "dispatch")


def test_quick_counts_the_looks_of_all_parts_before() -> None:
    """Each part has a look of 2 s: after 5 s two of them can have been looked at."""
    made = hand(SIDE)
    assert [x.quick for x in made.records if isinstance(x, r.Answered)] == [False, False, True]


def test_a_crash_between_any_two_records_resumes_where_it_was() -> None:
    """J2, H2: what stands behind the cut is asked, and what is answered stays answered."""
    made = hand(*GOOD_BREATH[:3])
    for cut in range(1, len(made.records)):
        kept = made.records[:cut]
        state = fold(breath(), kept)
        session = Session(breath(), state)
        session.receive(e.Resumed(at=r.Stamp("2026-11-25T06:30:00-07:00", made.mono), gap_s=5))
        known = {x.step for x in kept if isinstance(x, r.Answered)}
        assert set(session.state.answers) == known
        assert str(session.state.phase) in ("asked", "speaking", "holding")
        if str(session.state.phase) == "asked":
            assert session.state.step not in known


def test_a_reply_into_the_caution_counts_for_no_part() -> None:
    """H6."""
    made = hand()
    made.raw(e.ReplyHeard(at=made.at(), words=SIDE, certainty="typed"))
    assert made.phase == "speaking"
    before = made.session.state
    made.raw(e.ReplyHeard(at=made.at(), words=DOORS, certainty="typed"))
    assert made.session.state == before


def test_one_tone_for_each_part_that_was_taken() -> None:
    made = Hand(breath())
    actions = made.tell(e.ReplyHeard(at=made.at(), words=SIDE, certainty="typed"))
    assert [x.name for x in actions if isinstance(x, a.Tone)] == ["accepted"] * 3


# -- what cannot be asked together ---------------------------------------------------------------


def changed(*pairs: tuple[str, str]) -> Compiled:
    text = CHECKLIST
    for old, new in pairs:
        assert old in text, old
        text = text.replace(old, new, 1)
    model, lines = load_checklist(text, "breath.yaml")
    hazards, _ = load_hazards(HAZARDS, "hazards.yaml")
    context = Context(load_vehicle(VEHICLE, "vehicle.yaml"))
    return compile_checklist(model, lines, "breath.yaml", hazards, context)


LEGS = "done: {good: [legs firm], gives: [firm]}"
BAD: dict[str, tuple[tuple[str, str], ...]] = {
    "unknown": (("with: [brakes, legs]", "with: [breaks, legs]"),),
    "not next": (("with: [brakes, legs]", "with: [legs, brakes]"),),
    "other place": (("  - id: legs\n    place: near", "  - id: legs\n    place: rear"),),
    "kind": ((LEGS, "attest: {gives: [firm]}"),),
    "confirm": (("item: Legs", "item: Legs\n    confirm: true"),),
    "caution": (("item: Legs", "item: Legs\n    caution: Mind your hands."),),
    "hazard": (("item: Doors", "item: Doors\n    hazard: between"),),
    "hands busy": (("item: Legs", "item: Legs\n    hands busy: true"),),
    "each": (("item: Legs", "item: Legs\n    each: brakes"),),
    "rests on": (("item: Legs", "item: Legs\n    needs: [held]"),),
    "ends": (("needs: [locked]\n    ends: [firm]", "needs: [locked]\n    ends: [agreed]"),),
    "time": (("Legs are firm., lasts: until left", ""),),
    "words": ((LEGS, "done: {gives: [firm]}"),),
    "same words": (("closed: {gives", "closed: {also: [closed confirmed], gives"),),
    "twice": (
        (
            "item: Brakes",
            'item: Brakes\n    together: {with: [legs], ask: "Both?"}',
        ),
    ),
    "too many": (("spring brakes: {also: [springs set]", "spring brakes: {also: [MANY]"),),
}
NUMBERS = ("one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
MANY = ", ".join(f"{x} {y}" for x in NUMBERS for y in NUMBERS)
BAD["too many"] = (("also: [springs set]", f"also: [{MANY}]"),)
BAD["time"] = (("legs are firm., lasts: until left", "legs are firm., lasts: 60 s"),)


def test_every_reason_has_its_case_and_its_cure() -> None:
    assert set(BAD) == set(HOW)
    assert changed().step("look").together is not None


@pytest.mark.parametrize("why", sorted(BAD))
def test_what_cannot_be_asked_together_is_refused_with_its_reason(why: str) -> None:
    with pytest.raises(NotTogether) as caught:
        changed(*BAD[why])
    assert f"({why})" in str(caught.value)
    assert HOW[why] in str(caught.value)
    assert "breath.yaml:" in str(caught.value)
    assert "[not-together]" in str(caught.value)


def test_where_the_walk_lacks_a_part_the_others_are_asked_alone() -> None:
    winter = changed(
        ("item: Legs", "item: Legs\n    when: {season: winter}"), ("    needs: [firm]\n", "")
    )
    assert winter.step("look").together is None
