"""Dialogues through the core: each rule of session/state.py, as a driver would meet it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.session.small import GOOD, HAZARDS, VEHICLE, Hand, small
from voicecheck.checklist.compile import Context, compile_checklist
from voicecheck.checklist.load import load_checklist, load_hazards, load_vehicle
from voicecheck.session import actions as a
from voicecheck.session import events as e
from voicecheck.session import records as r
from voicecheck.session.replying import expect
from voicecheck.session.state import Phase, State


def to(step: str, inspection: str = "b") -> Hand:
    """A hand that has answered well up to ``step``."""
    hand = Hand(inspection=inspection)
    for words in GOOD:
        if hand.step == step and hand.phase in ("asked", "stopped"):
            return hand
        hand.reply(words)
    assert hand.step == step, f"never came to {step}"
    return hand


def test_everything_in_order_ends_complete() -> None:
    hand = Hand()
    hand.reply(*GOOD)
    assert hand.outcome == "complete"
    assert {rec.outcome for rec in hand.records if isinstance(rec, r.Answered)} == {"good"}


@pytest.mark.parametrize("words", ["pass", "all good"])
def test_a_verdict_takes_all_good_for_pass(words: str) -> None:
    hand = to("seals")
    hand.reply(words)
    (answer,) = [x for x in hand.records if isinstance(x, r.Answered) and x.step == "seals"]
    assert (answer.outcome, answer.answer) == ("good", "pass")
    assert hand.step == "lamps"


def test_what_unlocks_is_no_pass_by_all_good() -> None:
    step = next(s for s in small().steps if s.id == "seals")
    for gives, wanted in (((), True), (("chocked",), False)):
        changed = replace(small(), steps=(replace(step, gives=gives),))
        asked, _ = expect(changed, State(phase=Phase.ASKED, step="seals"))
        (passed,) = [form for form in asked.forms if form.meaning == "pass"]
        assert ("all good" in passed.said, "pass" in passed.said) == (wanted, True)


def test_all_good_in_doubt_is_read_back_and_no_answer_before_it() -> None:
    hand = to("seals")
    hand.certainty = "doubtful"
    assert "pass" in hand.reply("all good").lower()
    assert (hand.phase, hand.step) == ("reading back", "seals")
    hand.certainty = "clear"
    hand.reply("negative")
    assert hand.step == "seals"


def test_measurements_are_read_back_digit_by_digit_and_judged_in_the_spoken_unit() -> None:
    hand = to("stroke@steer axle left")
    assert "one and one half inches" in hand.reply("one and a half inches")
    # Type 20 standard: 1 3/4 in, 49 CFR 393.47(e), 2012 edition: equal passes
    assert "Within" in hand.reply("affirm")
    assert "Outside" in hand.reply("two inches", "affirm")
    answers = [rec for rec in hand.records if isinstance(rec, r.Answered)]
    assert [rec.verdict for rec in answers[-2:]] == ["within", "outside"]
    assert answers[-1].limit.startswith("us-str-20")


def test_the_timed_hold_is_silent_and_refuses_an_early_reply() -> None:
    hand = to("leak")
    said = hand.reply("one hundred", "affirm")
    assert said.endswith("I stay silent. Listen.")
    assert hand.phase == "timing"
    assert "Too early" in hand.reply("nine eight")
    assert hand.reply("time left") != ""
    assert hand.reply("TIME") == "Gauge again?"
    assert "Outside" in hand.reply("nine five", "affirm")  # 5 psi in a minute, 4 allowed
    assert hand.session.state.defects[-1].defect == "leaks"


def test_h1_no_step_is_spoken_while_a_need_is_false() -> None:
    hand = Hand()
    hand.reply("seven kilo four two", "affirm", "march twenty twenty seven", "affirm")
    said = hand.reply("chocked instead")  # gives no "parked", which the jaws need
    assert said.startswith("Hold. Not established: Both knobs are out. Next: Park.")
    assert hand.step == "park"
    assert not any(isinstance(rec, r.StepStarted) and rec.step == "jaws" for rec in hand.records)


def test_pass_is_refused_where_a_state_is_wanted() -> None:
    hand = to("jaws")
    said = hand.reply("pass")
    assert said.startswith("Pass is not enough here.")
    assert hand.step == "jaws"
    assert not hand.true("seen locked")


def test_the_confirming_question_rotates_between_occasions() -> None:
    first, second = to("jaws", "b"), to("jaws", "a")
    assert first.session.state.variant != second.session.state.variant
    assert second.reply("round the shank") and not second.true("seen locked")
    second.reply("held by the jaws")
    assert second.true("seen locked")


def test_h6_a_hold_is_spoken_to_its_end_before_any_reply_counts() -> None:
    hand = to("jaws")
    hand.reply("round the shank", "pass", "all good")
    hand = to("people")
    state = hand.session.state
    hand.raw(e.ReplyHeard(at=hand.at(), words="somebody near", certainty="typed"))
    assert hand.phase == "speaking"  # asked anew, not yet spoken to its end
    before = hand.session.state
    hand.raw(e.ReplyHeard(at=hand.at(), words="nobody near", certainty="typed"))
    assert hand.session.state == before
    assert state.answers.keys() == before.answers.keys()


def test_again_reopens_what_lies_between_and_the_third_time_stops() -> None:
    hand = to("jaws")
    said = hand.reply("not closed")
    assert hand.step == "draw out", said
    assert not hand.true("seen locked")
    hand.reply("clear of it")
    assert hand.step == "jaws"
    wrong = {0: "not closed", 1: "held by nothing"}
    hand.reply(wrong[hand.session.state.variant], "clear of it")
    said = hand.reply(wrong[hand.session.state.variant])
    assert "Stopping defect" in said
    assert [d.defect for d in hand.session.state.open_stops()] == ["jaws-open"]


def test_h4_a_stop_blocks_its_hazards_until_a_release_with_its_kind() -> None:
    hand = to("seals")
    hand.reply("torn")
    for words in GOOD[GOOD.index("all good") :]:
        if hand.phase == "stopped":
            break
        hand.reply(words)
    assert hand.step == "raise"
    assert hand.phase == "stopped"
    hand.reply("mended", "affirm")
    assert hand.phase == "memo"
    hand.reply("new seal put in")
    assert hand.step == "seals"  # the same test again
    hand.reply("pass", "nobody near")
    assert hand.step == "raise"
    assert hand.phase == "asked"
    released = [rec for rec in hand.records if isinstance(rec, r.Released)]
    assert [(rec.how, rec.memo) for rec in released] == [("driver-mended", "new seal put in")]
    seals = [
        rec.outcome for rec in hand.records if isinstance(rec, r.Answered) and rec.step == "seals"
    ]
    assert seals == ["failed", "good"]  # both results kept


def test_a_mechanics_defect_is_not_for_the_driver_to_mend() -> None:
    hand = to("leak")
    hand.reply("one hundred", "affirm", "TIME", "nine zero", "affirm", "nobody near",
               "all the way up", "a word", "done")  # fmt: skip
    assert hand.phase == "stopped"
    assert hand.step == "statement"
    assert "mechanic" in hand.reply("mended")
    hand.reply("release", "affirm", "an invented foreman released it")
    assert hand.step == "leak"
    kinds = [rec.how for rec in hand.records if isinstance(rec, r.Released)]
    assert kinds == ["in person"]


def test_carry_on_inspects_the_rest_and_records_what_is_blocked() -> None:
    hand = to("seals")
    hand.reply("torn")
    for words in GOOD[GOOD.index("all good") :]:
        if hand.phase == "stopped":
            break
        hand.reply(words)
    hand.reply("carry on", "a word", "done")
    assert hand.session.state.answers["raise"].outcome == "blocked"
    assert hand.outcome == "stopped"


def test_parked_not_to_be_driven_can_be_reached_from_a_stop() -> None:
    hand = to("leak")
    hand.reply("one hundred", "affirm", "TIME", "nine zero", "affirm")
    hand.reply("end inspection", "affirm")
    assert hand.outcome == "stopped"
    assert "Parked, not to be driven." in " ".join(hand.said)


def test_h3_a_correction_withdraws_all_that_rested_on_the_answer() -> None:
    hand = to("people")
    hand.reply("correction park")
    state = hand.session.state
    assert "jaws" not in state.answers  # needed "parked"
    assert "seals" not in state.answers  # needed "seen locked", which the jaws gave
    assert "sticker" in state.answers  # rested on nothing
    assert not hand.true("seen locked")
    assert hand.step == "park"
    assert not hand.true("legs up")


def test_a_corrected_major_defect_stays_a_stop() -> None:
    hand = to("seals")
    hand.reply("torn", "correction")
    assert hand.step == "seals"
    hand.reply("pass")
    assert [d.defect for d in hand.session.state.open_stops()] == ["seal-torn"]


def test_physical_facts_are_not_given_back_by_a_correction() -> None:
    hand = to("raise")
    hand.reply("all the way up")
    assert hand.true("legs up") and not hand.true("legs down")
    hand.reply("a word", "correction raise")
    assert not hand.true("legs up") and not hand.true("legs down")


def test_people_clear_dies_after_its_time_and_at_another_step() -> None:
    hand = to("people")
    hand.reply("nobody near")
    assert hand.step == "raise"
    hand.tell(e.TimerElapsed(at=hand.at(300), name="quiet"))
    assert hand.true("people clear")  # in use while the step is being done
    said = hand.reply("stand by")
    assert said.startswith("Both hands off.")  # make safe first
    assert not hand.true("people clear")
    hand.reply("go ahead")
    assert hand.step == "people"


def test_facts_that_last_until_left_end_after_ten_minutes_away() -> None:
    hand = to("seals")
    hand.reply("stand by")
    hand.tell(e.ReplyHeard(at=hand.at(590), words="go ahead", certainty="typed"))
    assert hand.true("parked")
    hand.reply("stand by")
    hand.tell(e.ReplyHeard(at=hand.at(601), words="go ahead", certainty="typed"))
    assert not hand.true("parked")
    assert hand.true("seen locked")


def test_a_resume_ends_what_lasts_until_left() -> None:
    hand = to("seals")
    hand.tell(e.Resumed(at=hand.at(), gap_s=1800))
    assert not hand.true("parked")
    assert hand.true("right trailer")


@pytest.mark.parametrize(
    "event",
    [
        lambda hand: e.MicrophoneLost(at=hand.at()),
        lambda hand: e.Interrupted(at=hand.at(), why="the program fails"),
        lambda hand: e.ReplyHeard(at=hand.at(), words="correction", certainty="typed"),
        lambda hand: e.ReplyHeard(at=hand.at(), words="next place", certainty="typed"),
    ],
)
def test_make_safe_comes_first_where_a_hazard_is_open(event) -> None:  # type: ignore[no-untyped-def]
    hand = to("people")
    hand.reply("nobody near")
    assert hand.session.state.hazard == "crank"
    actions = hand.raw(event(hand))
    said = [action for action in actions if isinstance(action, a.Say)]
    spoken = said[0] if said else None
    if spoken is None:  # an interruption ends the program: the sentence is in the record
        assert any(isinstance(rec, r.MadeSafe) for rec in hand.records)
    else:
        assert spoken.text == "Both hands off."


def test_a_lost_microphone_changes_no_fact_and_comes_back_to_the_question() -> None:
    hand = to("seals")
    facts = dict(hand.session.state.facts)
    hand.tell(e.MicrophoneLost(at=hand.at()))
    assert hand.phase == "deaf"
    hand.tell(e.MicrophoneBack(at=hand.at()))
    assert hand.session.state.facts == facts
    assert hand.step == "seals"


def test_doubtful_replies_are_read_back_and_fail_is_taken_at_once() -> None:
    hand = to("seals")
    hand.certainty = "doubtful"
    assert hand.reply("pass") == "I heard: pass. Affirm, or negative?"
    hand.reply("negative")
    assert "seals" not in hand.session.state.answers
    assert hand.reply("fail").startswith("Which?")


def test_three_refusals_bring_help_once() -> None:
    hand = to("seals")
    assert "You can say" not in hand.reply("bananas", "bananas")
    assert "You can say" in hand.reply("bananas")
    assert hand.reply("bananas") == ""
    assert not hand.session.state.answers.get("seals")


def test_a_group_takes_exceptions_by_name_and_closes() -> None:
    hand = to("lamps")
    hand.reply("left lamp out")
    hand.reply("right lamp dirty", "nothing else")
    answer = hand.session.state.answers["lamps"]
    assert answer.outcome == "failed"
    assert answer.text == "left lamp out; right lamp dirty; others good"
    assert [(d.item, d.severity) for d in hand.session.state.defects] == [
        ("left lamp", "major"),
        ("right lamp", "minor"),
    ]


def test_a_wrong_trailer_gives_nothing_and_holds_later() -> None:
    hand = Hand()
    said = hand.reply("seven kilo four three", "affirm")
    assert "The order says 7 K 4 2." in said
    assert not hand.true("right trailer")
    said = hand.reply("march twenty twenty seven", "affirm", "both out")
    assert said.startswith("Hold. Not established: The trailer is the ordered one.")
    assert hand.step == "number"


def test_an_overdue_sticker_stops_leaving_only() -> None:
    hand = Hand()
    hand.reply("seven kilo four two", "affirm", "october twenty twenty six", "affirm")
    assert [d.defect for d in hand.session.state.open_stops()] == ["overdue"]
    hand.reply("both out")
    assert hand.step == "jaws"


def test_not_done_is_asked_why_and_is_never_a_pass() -> None:
    hand = to("seals")
    assert hand.reply("not done").startswith("Not done. Why?")
    hand.reply("too dark")
    assert hand.session.state.answers["seals"].outcome == "not done"
    assert hand.session.state.answers["seals"].gives == ()


def test_unanswered_items_hold_before_leaving() -> None:
    hand = to("seals")
    hand.reply("cannot see", *GOOD[GOOD.index("all good") : -1])
    assert hand.phase == "stopped"
    assert "Not answered: Seals" in hand.session.state.hold_text
    hand.reply("correction")
    assert hand.step == "seals"
    hand.reply("pass")
    assert hand.step == "statement"
    hand.reply("affirm")
    assert hand.outcome == "complete"


def test_ending_needs_affirm() -> None:
    hand = to("seals")
    hand.reply("end inspection", "negative")
    assert hand.phase == "asked"
    hand.reply("end inspection", "affirm")
    assert hand.outcome == "not finished"


def test_hands_busy_is_one_prompt_and_a_soft_tone() -> None:
    hand = to("people")
    hand.reply("nobody near")
    actions = hand.tell(e.TimerElapsed(at=hand.at(30), name="hands busy"))
    assert [type(x) for x in actions] == [a.Tone, a.StartTimer]


def test_brief_reads_place_and_item_and_holds_stay_the_same() -> None:
    hand = to("seals")
    said = hand.reply("brief")
    assert said.startswith("Brief.")
    assert hand.reply("pass").startswith("At the coupling. Lamps?")


def test_memo_is_kept_and_the_question_comes_back() -> None:
    hand = to("seals")
    hand.reply("memo", "the yard is icy")
    assert [rec.text for rec in hand.records if isinstance(rec, r.MemoTaken)] == ["the yard is icy"]
    assert hand.step == "seals"


def test_five_seconds_of_foreign_talk_stand_by() -> None:
    hand = to("seals")
    hand.tell(e.SoundRefused(at=hand.at(), why="noise", ms=9000))
    hand.tell(e.SoundRefused(at=hand.at(), why="talk", ms=3000))
    assert hand.phase == "asked"
    hand.tell(e.SoundRefused(at=hand.at(), why="talk", ms=2000))
    assert hand.phase == "standing by"
    hand.reply("go ahead")
    assert hand.step == "seals"


def test_drivers_words_are_heard_for_the_same_thing() -> None:
    from voicecheck.reply.phrases import also_said

    # words of the trade: common practice, no source
    assert also_said("landing gear down") == ("landing gear down", "legs down", "dollies down")
    assert also_said("handle in latch over") == (
        "handle in latch over",
        "release handle in latch over",
    )
    assert also_said("closed round the shank") == ("closed round the shank",)


def test_what_was_put_off_comes_back_before_leaving() -> None:
    hand = to("lamps")
    hand.reply("next place")
    assert "lamps" in hand.session.state.deferred
    hand.reply("one hundred", "affirm", "TIME", "nine nine", "affirm", "nobody near")
    assert hand.step == "note"  # raising the legs waits for the strokes: put off too
    hand.reply("a word", "done")
    assert hand.step == "lamps"
    hand.reply("all good", "one inch", "affirm", "one inch", "affirm")
    assert hand.step == "people"  # the clear look around has ended meanwhile
    hand.reply("nobody near", "all the way up", "affirm")
    assert hand.outcome == "complete"


# -- dates of issue ------------------------------------------------------------------------------

ISSUED = """
id: papers
edition: "1"
title: Papers
places: {cab: In the cab}
facts: {paper: {text: The paper is valid., lasts: lasting}}
defects: {overdue: {text: It is overdue., class: major, source: [x]}}
steps:
  - {id: paper, place: cab, item: Paper, ask: "Issued when?", source: [x],
     date: {what: Day of issue, valid: VALID, overdue: overdue, day: DAY, gives: [paper]}}
  - {id: last, place: cab, item: Last, needs: [paper], ask: "Done?", source: [x], done: {}}
"""


def issued(valid: str, day: bool) -> Hand:
    text = ISSUED.replace("VALID", valid).replace("DAY", str(day).lower())
    model, lines = load_checklist(text, "papers.yaml")
    hazards, _ = load_hazards(HAZARDS, "hazards.yaml")
    context = Context(load_vehicle(VEHICLE, "vehicle.yaml"))
    return Hand(compile_checklist(model, lines, "papers.yaml", hazards, context))


# Today is 2026-11-25 (small.py). Twelve months: 49 CFR 396.17(c), "at least once during the
# preceding 12 months"; 24 h: NSC Standard 13 part 1, a report is valid for 24 hours.
@pytest.mark.parametrize(
    ("valid", "day", "said", "good"),
    [
        ("12 months", False, "november twenty twenty five", True),
        ("12 months", False, "october twenty twenty five", False),
        ("12 months", True, "november twenty five twenty twenty five", True),
        ("12 months", True, "november twenty four twenty twenty five", False),
        ("24 h", True, "november twenty four twenty twenty six", True),
        ("24 h", True, "november twenty three twenty twenty six", False),
    ],
)
def test_the_last_valid_day_is_counted_from_the_date_of_issue(
    valid: str, day: bool, said: str, good: bool
) -> None:
    hand = issued(valid, day)
    hand.reply(said, "affirm")
    answer = hand.session.state.answers["paper"]
    assert answer.text.startswith("issued 202")
    assert (answer.outcome == "good") is good
    assert hand.true("paper") is good
    assert bool(hand.session.state.open_stops()) is not good


def test_a_date_of_issue_still_to_come_is_refused() -> None:
    hand = issued("12 months", False)
    assert "still to come" in hand.reply("december twenty twenty six", "affirm")
    assert hand.step == "paper"
    assert "paper" not in hand.session.state.answers
    assert not hand.true("paper")
