"""The brake tests: their order, their limits by jurisdiction, their hazards, and walks with faults.

Figures are typed from the documents named beside them, never from the table of limits.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.checklists.walk import VEHICLE, Walk, compiled
from voicecheck.run.library import load_sources
from voicecheck.session import actions as a
from voicecheck.session import events as e
from voicecheck.session import records as r

STROKES = {"stroke in the United States": "measured"}
RESERVE = {"reserve": "tested"}
EVERYTHING = {
    **STROKES,
    "released leak": "measured",
    "build-up in the United States": "timed",
    **RESERVE,
}


def walk_in(jurisdiction: str, settings: dict[str, str] | None = None, **more: str) -> Walk:
    vehicle = more.get("vehicle", VEHICLE)
    season = more.get("season", "summer")
    checklist = compiled(
        "brake-tests", settings=settings, jurisdiction=jurisdiction, vehicle=vehicle, season=season
    )
    return Walk(checklist, jurisdiction=jurisdiction)


def in_order(jurisdiction: str, *ids: str, settings: dict[str, str] | None = None) -> None:
    steps = compiled("brake-tests", jurisdiction=jurisdiction, settings=settings).steps
    walked = list(dict.fromkeys(s.id.partition("@")[0] for s in steps))
    places = [walked.index(id) for id in ids]
    assert places == sorted(places)


# -- order -----------------------------------------------------------------------------------------


def test_the_order_of_the_united_states() -> None:
    """Georgia DDS 11M.1.2: gauge and governor, leak with brakes applied, low air, valves.

    Released leak and build-up belong to the older test and come where the model manual has them.
    """
    in_order(
        "US", "chock", "cut-out", "cut-in", "reserve after", "leak released", "leak", "low air",
        "red pops", "yellow pops", "build-up by choice", "protection", "wet tank", "test one",
        "test two", "test four",
        settings=EVERYTHING,
    )  # fmt: skip
    usual = {s.id for s in compiled("brake-tests").steps}
    assert not usual & {"leak released", "build-up by choice", "made ready by choice"}


def test_the_canadian_order() -> None:
    """Saskatchewan Air Brake Manual (SGI), combination; build-up by the Ontario handbook."""
    in_order(
        "CA-ON", "parked", "compressor", "chock", "build-up", "made ready", "stroke",
        "out from under", "cut-out", "cut-in", "charged", "service line", "supply line",
        "pedal with lines off", "lines again", "released", "leak",
    )  # fmt: skip


def test_each_brake_is_measured_with_what_its_limit_must_know() -> None:
    strokes = [
        s for s in compiled("brake-tests", jurisdiction="CA-ON").steps if s.written == "stroke"
    ]
    assert len(strokes) == 10  # five axles
    for step in strokes:
        assert step.reading is not None
        assert {"chamber type", "long stroke", "slack adjuster"} <= set(dict(step.reading.given))
        assert step.hazard == "under the vehicle"


@pytest.mark.parametrize("season", ["summer", "winter"])
@pytest.mark.parametrize(
    ("jurisdiction", "settings", "vehicle"),
    [
        ("US", {}, VEHICLE),
        ("US", EVERYTHING, VEHICLE),
        ("US", {}, "reefer"),  # no hand valve
        ("US-MD", STROKES, VEHICLE),
        ("CA", {}, VEHICLE),
        ("CA-ON", {}, VEHICLE),
        ("CA-ON", {}, "tractor-tridem"),
        ("CA-AB", {}, VEHICLE),
        ("CA-BC", {}, VEHICLE),
        ("CA-SK", {}, VEHICLE),
        ("CA-SK", RESERVE, VEHICLE),
        ("US-MD", RESERVE, VEHICLE),
    ],
)
def test_a_walk_with_good_answers_never_holds(
    jurisdiction: str, settings: dict[str, str], vehicle: str, season: str
) -> None:
    walk = walk_in(jurisdiction, settings, vehicle=vehicle, season=season)
    walk.to_the_end()
    assert walk.outcome == "complete"
    assert walk.holds() == []
    assert walk.session.state.defects == ()


# -- limits ----------------------------------------------------------------------------------------

# jurisdiction, step, readings just at and just over or under, in words; the verdicts.
AT_THE_LIMIT = [
    # 49 CFR 571.121 S5.1.5 (letters of 1973 and 1983): the signal is on below 60 psi
    ("US", "low air", "six zero", "within"),
    ("US", "low air", "five nine", "outside"),
    ("US", "low air", "zero", "outside"),
    # MTO truck handbook 6-1-3: acts at 55 psi
    ("CA-ON", "low air", "five five", "within"),
    ("CA-ON", "low air", "five four", "outside"),
    # Alberta commercial driver's guide: on by 60 psi
    ("CA-AB", "low air", "five nine", "outside"),
    # 49 CFR 393.43(b): not lower than 20, not higher than 45
    ("US", "red pops", "two zero", "within"),
    ("US", "red pops", "four five", "within"),
    ("US", "red pops", "one nine", "outside"),
    ("US", "red pops", "four six", "outside"),
    # COMAR 11.22.02.06 F(5): 45 to 60
    ("US-MD", "red pops", "four four", "outside"),
    ("US-MD", "red pops", "six zero", "within"),
    # Driving Commercial Vehicles (B.C.), Class 1 pre-trip: cut-out 105 to 135, cut-in not below 80,
    # warning at or above 60, supply valve closes between 20 and 45
    ("CA-BC", "cut-out", "one hundred five", "within"),
    ("CA-BC", "cut-out", "one hundred four", "outside"),
    ("CA-BC", "cut-in", "eight zero", "within"),
    ("CA-BC", "cut-in", "seven nine", "outside"),
    ("CA-BC", "low air", "six zero", "within"),
    ("CA-BC", "low air", "five nine", "outside"),
    ("CA-BC", "red pops", "four five", "within"),
    ("CA-BC", "red pops", "four six", "outside"),
    # 61 FR 6173: the compressor starts whenever the pressure drops below 100
    ("US", "cut-in", "one hundred", "within"),
    ("US", "cut-in", "nine nine", "outside"),
    # COMAR: cut-out not over 135
    ("US-MD", "cut-out", "one hundred thirty five", "within"),
    ("US-MD", "cut-out", "one hundred thirty six", "outside"),
    # Saskatchewan Air Brake Manual: cut-out 120 to 145
    ("CA-SK", "cut-out", "one hundred forty five", "within"),
    ("CA-SK", "cut-out", "one hundred forty six", "outside"),
    # Saskatchewan Air Brake Manual: the truck's air shuts off at 20 or more; Alberta: 40 or more
    ("CA-SK", "truck air", "two zero", "within"),
    ("CA-SK", "truck air", "one nine", "outside"),
    ("CA-AB", "truck air", "three nine", "outside"),
]


@pytest.mark.parametrize(("jurisdiction", "step", "said", "verdict"), AT_THE_LIMIT)
def test_a_reading_at_the_limit(jurisdiction: str, step: str, said: str, verdict: str) -> None:
    walk = walk_in(jurisdiction)
    walk.to(step)
    walk.reply(said, "affirm")
    assert walk.answer(step).verdict == verdict
    assert bool(walk.session.state.defects) is (verdict == "outside")


@pytest.mark.parametrize(
    ("jurisdiction", "second", "verdict"),
    [
        # 4 psi in a minute for a combination: Georgia DDS 11M.1.2; COMAR 11.22.02.06 D; MTO; SGI
        ("US", "nine six", "within"),
        ("US", "nine five", "outside"),
        ("CA-ON", "nine six", "within"),
        ("CA-ON", "nine five", "outside"),
        ("CA-SK", "nine five", "outside"),
    ],
)
def test_the_leak_with_brakes_applied(jurisdiction: str, second: str, verdict: str) -> None:
    walk = walk_in(jurisdiction)
    walk.to("leak")
    walk.reply("one hundred", "affirm", "TIME", second, "affirm")
    assert walk.answer("leak").verdict == verdict
    assert [d.severity for d in walk.session.state.defects] == ["major"] * (verdict == "outside")


@pytest.mark.parametrize(
    ("brake", "said", "verdict"),
    [
        # 49 CFR 393.47(e)(1), 77 FR 46633; COMAR 11.22.02.06 J Table 1: "exceeding": equal passes.
        # Steer axle Type 20, drive axles Type 30, trailer Type 30 long stroke.
        ("left steer axle", "one and three quarters", "within"),
        ("left steer axle", "one and seven eighths", "outside"),
        ("left front drive axle", "two", "within"),
        ("left front drive axle", "two and one eighth", "outside"),
        ("left rear trailer axle", "two and one half", "within"),
        ("left rear trailer axle", "two and five eighths", "outside"),
    ],
)
def test_a_stroke_is_judged_by_its_own_chamber(brake: str, said: str, verdict: str) -> None:
    walk = walk_in("US", STROKES)
    id = next(
        s.id
        for s in walk.session.compiled.steps
        if s.written == "stroke by choice" and brake in s.item
    )
    walk.to(id)
    told = walk.reply(said, "affirm")
    assert walk.answer(id).verdict == verdict
    assert ("Report it. Do not adjust." in told) is (verdict == "outside")


@pytest.mark.parametrize(("right", "found"), [("one and one quarter", []), ("one", ["minor"])])
def test_left_and_right_stroke_of_the_steer_axle(right: str, found: list[str]) -> None:
    """COMAR 11.22.02.06 J(3): a quarter of an inch on the steering axle, equal passes."""
    walk = walk_in("US-MD", STROKES)
    first = next(s.id for s in walk.session.compiled.steps if s.written == "stroke by choice")
    walk.to(first)
    walk.reply("one and one half", "affirm", right, "affirm")
    walk.to("out from under by choice")
    assert [d.severity for d in walk.session.state.defects] == found


@pytest.mark.parametrize(
    ("jurisdiction", "step", "seconds", "defect"),
    [
        # MTO truck handbook: 85 to 100 psi within two minutes, slower is minor
        ("CA-ON", "build-up", 120, ""),
        ("CA-ON", "build-up", 121, "minor"),
        # Alberta commercial driver's guide: 50 to 90 psi within three minutes
        ("CA-AB", "build-up from fifty", 180, ""),
        ("CA-AB", "build-up from fifty", 181, "minor"),
        # Driving Commercial Vehicles (B.C.): 50 to 90 psi within three minutes
        ("CA-BC", "build-up from fifty", 180, ""),
        ("CA-BC", "build-up from fifty", 181, "minor"),
        # Québec, C-24.2, r. 32, s. 38 (1): "en moins de 3 minutes"
        ("CA-QC", "build-up from fifty", 179, ""),
        ("CA-QC", "build-up from fifty", 180, "minor"),
    ],
)
def test_build_up_is_timed_between_two_marks(
    jurisdiction: str, step: str, seconds: int, defect: str
) -> None:
    walk = walk_in(jurisdiction)
    walk.to(step)
    walk.reply("mark")
    walk.tell(e.ReplyHeard(at=walk.at(seconds), words="mark", certainty="typed"))
    walk.reply("affirm")
    assert [d.severity for d in walk.session.state.defects] == [defect] * bool(defect)


# -- the reserve -----------------------------------------------------------------------------------

# 49 CFR 393.50(a), older wording, copied in S.C. Reg. 38-393.50: one full application, engine
# stopped, not "below 70 percent of that pressure ... immediately before". COMAR rejects a drop of
# 30 percent or more, so equal fails there. For Canada no figure was found.
KEPT = [
    ("US", "one hundred", "seven zero", "within"),
    ("US", "one hundred", "six nine", "outside"),
    ("US", "one hundred", "seven one", "within"),
    ("US", "one hundred twenty", "eight four", "within"),
    ("US", "one hundred twenty", "eight three", "outside"),
    # 89 of 127 is 70.07 percent, which is more than 70
    ("US-MD", "one hundred twenty seven", "eight nine", "within"),
    ("US-MD", "one hundred", "seven zero", "outside"),
    ("CA-ON", "one hundred", "five zero", "cannot judge"),
]


@pytest.mark.parametrize(("jurisdiction", "before", "after", "verdict"), KEPT)
def test_the_reserve_after_one_full_pedal(
    jurisdiction: str, before: str, after: str, verdict: str
) -> None:
    walk = walk_in(jurisdiction, RESERVE)
    walk.to("reserve before")
    told = walk.reply(before, "affirm", after, "affirm")
    reckoned = [x for x in walk.records if isinstance(x, r.Reckoned) and x.reckoning == "reserve"]
    assert [x.verdict for x in reckoned] == [verdict]
    assert [d.severity for d in walk.session.state.defects] == ["major"] * (verdict == "outside")
    figures = told.partition(" decimal ")[2].partition(" percent")[0].split()
    assert len(figures) <= 3, told  # nobody can follow more, and the verdict needs no more


@pytest.mark.parametrize("jurisdiction", ["US", "CA-ON"])
@pytest.mark.parametrize(
    ("step", "said"),
    [("wet tank", "keeps blowing"), ("tanks kept", "air falls"), ("brakes on reserve", "nothing")],
)
def test_a_leak_before_the_tanks_may_take_nothing(jurisdiction: str, step: str, said: str) -> None:
    """49 CFR 393.50(b)(1): the supply "shall not be depleted by the leak or failure"."""
    walk = walk_in(jurisdiction, RESERVE)
    walk.to(step)
    walk.reply(said)
    assert [(d.defect, d.severity) for d in walk.session.state.defects] == [
        ("reserve-lost", "major")
    ]


def test_a_drain_is_opened_only_parked_chocked_and_with_the_engine_off() -> None:
    step = compiled("brake-tests", settings=RESERVE).step("wet tank")
    assert set(step.needs) == {"tractor parked", "engine off", "wheels chocked"}
    assert step.caution == "Glasses and gloves on. Face and hands out of the jet."
    assert compiled("brake-tests").hazards["open drain"].safe == "Let go. Step back."


def test_the_engine_is_not_started_with_the_drain_open() -> None:
    walk = walk_in("US", RESERVE)
    walk.to("drain closed")
    walk.reply("cannot see")
    assert walk.step().id == "drain closed"
    assert walk.holds()[-1].missing == ("drain closed",)


def test_the_reserve_is_left_out_unless_the_carrier_chose_it() -> None:
    for jurisdiction in ("US", "CA-ON"):
        ids = {s.id for s in compiled("brake-tests", jurisdiction=jurisdiction).steps}
        assert not ids & {"reserve before", "reserve after", "wet tank", "drain closed"}


# -- the hand pull ---------------------------------------------------------------------------------


PULLS = ("hand pull", "hand pull right")  # left from front to rear, right back again


def by_hand(tmp_path: Path, jurisdiction: str) -> Walk:
    """The invented combination with manual adjusters on its drive axles."""
    text = load_sources("brake-tests", VEHICLE).vehicle.replace(
        'position: drive, wheels: dual, brake: {chamber: "30", style: drum, adjuster: automatic}',
        'position: drive, wheels: dual, brake: {chamber: "30", style: drum, adjuster: manual}',
    )
    vehicle = tmp_path / "manual.yaml"
    vehicle.write_text(text)
    return walk_in(jurisdiction, vehicle=str(vehicle))


@pytest.mark.parametrize(
    ("jurisdiction", "said", "verdict"),
    [
        # Georgia manual 11.2.3: "should not move more than one inch ... when pulled by hand"
        ("US", "seven eighths", "within"),
        ("US", "one", "within"),
        ("US", "one and one sixteenth", "outside"),
        # Canadian driver-training pages (private): up to three quarters of an inch
        ("CA-ON", "three quarters", "within"),
        ("CA-ON", "seven eighths", "outside"),
        # SGI Air Brake Manual: at three quarters of an inch the brakes must be adjusted
        ("CA-SK", "eleven sixteenths", "within"),
        ("CA-SK", "three quarters", "outside"),
    ],
)
def test_the_hand_pull_of_a_manual_adjuster(
    tmp_path: Path, jurisdiction: str, said: str, verdict: str
) -> None:
    walk = by_hand(tmp_path, jurisdiction)
    pulls = [s.id for s in walk.session.compiled.steps if s.written in PULLS]
    assert len(pulls) == 4  # both sides of two drive axles, no automatic one
    walk.to(pulls[0])
    told = walk.reply(said, "affirm")
    assert walk.answer(pulls[0]).verdict == verdict
    assert ("guide value" in told) is (jurisdiction == "CA-ON")
    assert [d.severity for d in walk.session.state.defects] == ["minor"] * (verdict == "outside")


def test_nobody_pulls_by_hand_with_the_springs_set_or_the_wheels_free(tmp_path: Path) -> None:
    walk = by_hand(tmp_path, "US")
    steps = [s for s in walk.session.compiled.steps if s.written in PULLS]
    for step in steps:
        assert {"wheels chocked", "engine off", "springs released"} <= set(step.needs)
        assert "Nobody at the pedal." in step.caution
    walk.to_the_end()
    assert walk.outcome == "complete"
    assert walk.holds() == []


def test_automatic_adjusters_are_not_pulled() -> None:
    ids = {s.written for s in compiled("brake-tests").steps}
    assert not ids & {*PULLS, "out from hand pull"}


# -- what can hurt ---------------------------------------------------------------------------------

# hazard: (needs, make-safe), as an instructor demands; common practice, no source
HAZARDS = {
    "under the vehicle": ("wheels chocked, engine off", "Come out. Keep clear."),
    "roll away": ("wheels chocked", "Both knobs out."),
    "open line": (
        "wheels chocked, engine off, tractor parked",
        "Step back. Face away from the line.",
    ),
    "hot engine": ("tractor parked, engine off", "Hands out. Step back."),
    "near traffic": ("tractor parked", "Step away from the traffic."),
}


@pytest.mark.parametrize("name", HAZARDS)
def test_hazard(name: str) -> None:
    hazard = compiled("brake-tests").hazards[name]
    needs, safe = HAZARDS[name]
    assert set(hazard.needs) == set(needs.split(", "))
    assert hazard.safe == safe


@pytest.mark.parametrize("jurisdiction", ["US", "CA-ON"])
def test_no_spring_brake_is_released_without_chocks(jurisdiction: str) -> None:
    for step in compiled("brake-tests", jurisdiction=jurisdiction, settings=EVERYTHING).steps:
        given = {*step.gives, *(f for v in step.variants for x in v.answers for f in x.gives)}
        if "springs released" in given or "springs released" in step.needs:
            assert "wheels chocked" in step.needs, step.id


def test_without_chocks_the_walk_goes_back_to_them() -> None:
    walk = walk_in("US")
    walk.to("released")
    walk.reply("correction chocks in place")
    assert walk.step().id == "chock"
    for _ in range(4):
        walk.reply("not chocked")
        assert walk.step().id == "chock"
    walk.reply("chocked")
    walk.to_the_end()
    assert walk.outcome == "complete"


def test_nobody_goes_under_without_a_helper_at_the_pedal() -> None:
    walk = walk_in("CA-ON")
    walk.to("made ready")
    walk.reply("no helper")
    assert walk.step().id == "made ready"
    assert any(h.hold == "precondition" for h in walk.holds())


def test_the_program_is_silent_while_the_driver_listens_for_a_leak() -> None:
    """Nothing is said from the first reading to the end of the minute but that it is too early."""
    walk = walk_in("US")
    walk.to("leak")
    walk.reply("one hundred", "affirm")
    assert walk.phase == "timing"
    quiet = walk.tell(e.TimerElapsed(at=walk.at(20), name="quiet"))
    assert [x for x in quiet if isinstance(x, a.Say | a.Tone)] == []
    assert walk.reply("nine eight").startswith("Too early.")
    assert walk.phase == "timing"


def test_a_leak_over_the_limit_makes_safe_first_and_stops_leaving() -> None:
    walk = walk_in("US")
    walk.to("leak")
    said = walk.reply("one hundred", "affirm", "TIME", "nine zero", "affirm")
    assert said.startswith("Both knobs out.")
    walk.to("statement", stop_at=("stopped",))
    assert walk.phase == "stopped"
    walk.reply("end inspection", "affirm")
    assert walk.outcome == "stopped"


def test_a_stop_is_released_in_person_and_the_test_made_again() -> None:
    walk = walk_in("US")
    walk.to("low air")
    walk.reply("zero", "affirm")
    walk.to("statement", stop_at=("stopped",))
    walk.reply("release", "affirm", "an invented mechanic changed the switch")
    walk.to_the_end()
    assert walk.outcome == "complete"
    assert [rec.how for rec in walk.records if isinstance(rec, r.Released)] == ["in person"]


def test_after_a_resume_the_knobs_and_the_engine_are_asked_again() -> None:
    walk = walk_in("US")
    walk.to("low air")
    walk.tell(e.Resumed(at=walk.at(), gap_s=900))
    assert walk.step().id == "released"
    walk.to_the_end()
    assert walk.outcome == "complete"


@pytest.mark.parametrize("name", ["couple", "brake-tests", "trip-inspection"])
def test_without_a_hand_valve_nobody_near_still_counts_at_test_four(name: str) -> None:
    """The question of the missing valve stands before the look round, not between the tests."""
    walk = Walk(compiled(name, vehicle="reefer"))
    walk.to("test four")
    assert walk.true("people clear")
    assert walk.holds() == []
