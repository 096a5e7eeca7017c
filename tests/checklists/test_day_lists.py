"""Cargo, the look on the way and the end of the day: typed walks, holds, what each must contain.

Outside checks: 49 CFR 396.11(a)(1) (the eleven parts of the driver's report), 392.9(b) (cargo),
396.11(a)(2)(i) (no report without a defect since 18 Dec 2014), O. Reg. 199/07 Schedule 1 part 3
(a securing device that failed is a major defect, an insecure cover a minor one). The order of the
walks is common practice, no source.
"""

from __future__ import annotations

from functools import cache

import pytest

from tests.session.small import Hand
from voicecheck.authoring.lint import MOST_WORDS, lint
from voicecheck.authoring.prove import prove_model
from voicecheck.checklist.compile import Context, compile_checklist
from voicecheck.checklist.compiled import Compiled
from voicecheck.checklist.load import load_checklist, load_hazards, load_vehicle
from voicecheck.run.library import load_sources
from voicecheck.session import records as r

LISTS = ("cargo", "en-route", "post-trip")
AXLE = "{position: %s, wheels: dual, brake: {chamber: '30'}}"
FLATBED = f"""
name: An invented flatbed with a load
jurisdiction: US
features: [spring brakes, hand valve, flatbed]
units:
  - kind: tractor
    number: HL-214
    axles:
      - {{position: steer, wheels: single, brake: {{chamber: '20'}}}}
      - {AXLE % "drive"}
      - {AXLE % "drive"}
  - kind: trailer
    number: HLF-3M19
    length: 48 ft
    axles: [{AXLE % "trailer"}, {AXLE % "trailer"}]
cargo:
  weight: 42000 lb
  length: 40 ft
  blocked: true
  tie-down kinds:
    - {{name: straps, kind: strap, size: "4", use: over}}
    - {{name: chains, kind: chain, size: 3/8, grade: "70", use: direct}}
"""
CONTEXTS = [
    ("flatbed", "summer", "US"),
    ("flatbed", "winter", "CA-ON"),
    ("tractor-semitrailer", "summer", "US"),
    ("tractor-semitrailer", "winter", "CA-ON"),
]


@cache
def context(vehicle: str, season: str, jurisdiction: str) -> Context:
    text = FLATBED if vehicle == "flatbed" else load_sources("couple", vehicle).vehicle
    return Context(load_vehicle(text, "vehicle.yaml"), season, jurisdiction)


@cache
def compiled(
    name: str, vehicle: str = "flatbed", season: str = "summer", jurisdiction: str = "US"
) -> Compiled:
    sources = load_sources(name, "tractor-semitrailer")
    model, lines = load_checklist(sources.checklist, name)
    hazards, _ = load_hazards(sources.hazards, "hazards.yaml")
    return compile_checklist(model, lines, name, hazards, context(vehicle, season, jurisdiction))


class Day(Hand):
    """A hand at one of the lists of the day, with the numbers of the invented flatbed."""

    def __init__(
        self,
        checklist: Compiled,
        jurisdiction: str = "US",
        units: tuple[tuple[str, str], ...] = (("tractor", "HL-214"), ("trailer", "HLF-3M19")),
    ) -> None:
        super().__init__(checklist, "a", units=units, jurisdiction=jurisdiction)

    def holds(self) -> list[r.Hold]:
        return [record for record in self.records if isinstance(record, r.Hold)]

    def defects(self) -> dict[str, str]:
        found = [record for record in self.records if isinstance(record, r.DefectFound)]
        return {record.defect: record.severity for record in found}


# -- what each list contains ----------------------------------------------------------------------


@pytest.mark.parametrize("name", LISTS)
@pytest.mark.parametrize(("vehicle", "season", "jurisdiction"), CONTEXTS)
def test_nothing_to_mend_and_within_the_budget(
    name: str, vehicle: str, season: str, jurisdiction: str
) -> None:
    sources = load_sources(name, "tractor-semitrailer")
    model, lines = load_checklist(sources.checklist, name)
    hazards, _ = load_hazards(sources.hazards, "hazards.yaml")
    found = lint(model, lines, name, hazards, context(vehicle, season, jurisdiction))
    assert [str(finding) for finding in found.findings if finding.grave == "mend"] == []
    assert found.walked.outcome == "complete"
    assert found.walked.held == ()
    assert found.walked.replies <= 30
    assert found.walked.seconds <= 180


@pytest.mark.slow
@pytest.mark.parametrize("name", LISTS)
@pytest.mark.parametrize(("vehicle", "season", "jurisdiction"), CONTEXTS[:2])
def test_proven(name: str, vehicle: str, season: str, jurisdiction: str) -> None:
    sources = load_sources(name, "tractor-semitrailer")
    model, lines = load_checklist(sources.checklist, name)
    hazards, _ = load_hazards(sources.hazards, "hazards.yaml")
    where = context(vehicle, season, jurisdiction)
    proof = prove_model(model, lines, name, hazards, where)
    assert [finding.breach for finding in proof.found] == []
    assert proof.kept
    assert proof.graph.started == {step.id for step in proof.compiled.steps}


@pytest.mark.parametrize("name", LISTS)
@pytest.mark.parametrize(("vehicle", "season", "jurisdiction"), CONTEXTS)
def test_every_sentence_can_be_said_in_one_breath(
    name: str, vehicle: str, season: str, jurisdiction: str
) -> None:
    for step in compiled(name, vehicle, season, jurisdiction).steps:
        for variant in step.variants:
            for text in (variant.ask, variant.brief, step.caution, step.explain):
                for sentence in text.replace("?", ".").split(". "):
                    assert len(sentence.split()) <= MOST_WORDS + 2, sentence


def test_the_report_asks_for_the_eleven_parts() -> None:
    # 49 CFR 396.11(a)(1), in its order.
    asked = " ".join(
        f"{step.question} {step.item} {' '.join(item.name for item in step.items)}".lower()
        for step in compiled("post-trip").steps
    )
    for part in (
        ("service brakes", "air lines"),  # service brakes including trailer brake connections
        ("parking brake",),
        ("steering",),
        ("head lamps", "tail lamps", "stop lamps", "turn lamps", "reflectors"),
        ("tires",),
        ("horn",),
        ("wipers",),
        ("mirrors",),
        ("fifth wheel",),
        ("wheels",),
        ("fire extinguisher", "triangles"),
    ):
        for word in part:
            assert word in asked, word


def test_canada_asks_for_the_odometer_and_says_that_every_day_has_a_report() -> None:
    here, there = compiled("post-trip"), compiled("post-trip", "flatbed", "summer", "CA-ON")
    names = {step.id for step in here.steps}, {step.id for step in there.steps}
    assert names[1] - names[0] == {"odometer", "told in canada"}
    assert names[0] - names[1] == {"told"}


@pytest.mark.parametrize(
    ("name", "more"),
    [
        ("cargo", {"warm", "ice", "frozen"}),
        ("en-route", {"snow"}),
        ("post-trip", {"for the frost"}),
    ],
)
def test_winter_merges_into_each(name: str, more: set[str]) -> None:
    summer = {step.id for step in compiled(name).steps}
    winter = {step.id for step in compiled(name, "flatbed", "winter").steps}
    assert winter - summer == more
    assert summer - winter == set()


def test_a_van_has_doors_and_a_flatbed_has_tiedowns() -> None:
    van = {step.id for step in compiled("cargo", "tractor-semitrailer").steps}
    flat = {step.id for step in compiled("cargo").steps}
    assert van - flat == {"inside", "doors"}
    assert {"tiedowns", "count@straps", "count@chains", "fittings", "edges"} <= flat - van


def test_the_mirrors_are_looked_into_from_the_seat() -> None:
    # 49 CFR 392.9(a): cargo must not hide the driver's view ahead or to the sides; from memory.
    asked = [(s.place, v.ask.lower()) for s in compiled("cargo").steps for v in s.variants]
    assert {place for place, ask in asked if "mirror" in ask} == {"cab"}
    day = Day(compiled("cargo"))
    day.reply("engine off mirror hidden")
    assert day.defects() == {"mirror-hidden": "major"}


def test_the_load_is_described_in_words() -> None:
    step = compiled("cargo").step("described@cargo")
    for words in ("four two zero zero zero pounds", "four zero feet", "blocked in front"):
        assert words in step.question


def test_what_is_done_beside_the_traffic_is_a_hazard() -> None:
    lists = compiled("en-route")
    for step in lists.steps:
        if step.place in ("left side", "rear"):
            assert step.hazard == "near traffic"
    assert lists.hazards["near traffic"].needs == ("tractor parked",)


@pytest.mark.parametrize("name", LISTS)
def test_every_major_defect_stops_driving(name: str) -> None:
    for defect in compiled(name).defects.values():
        assert defect.source
        assert set(defect.scope) == ({"drive on", "leave"} if defect.severity == "major" else set())


def test_classes_of_part_three_of_the_schedule() -> None:
    # O. Reg. 199/07, Schedule 1, part 3: load insecure or device failed major; cover minor.
    defects = compiled("cargo").defects
    assert defects["cargo-loose"].severity == "major"
    assert defects["tiedown-bad"].severity == "major"
    assert defects["cover-loose"].severity == "minor"


# -- typed walks ----------------------------------------------------------------------------------

LOADED = (
    "engine off", "all free", "load as ordered", "as described", "hard against", "pass", "all good",
    "four", "affirm", "two", "affirm", "pass", "protected", "no tarp", "all free", "level",
    "stowed", "nobody near", "affirm",
)  # fmt: skip
ON_THE_WAY = (
    "off the road", "all good", "all good", "all tight", "all good", "all good", "all good",
    "all tight", "all good", "all good", "way clear", "affirm",
)  # fmt: skip
HOME = (
    "engine off", "lima two one four", "affirm", "three mike one nine", "affirm",
    "still coupled", "all good", "all good", "all good", "done", "all good", "dry", "all good",
    "all good", "all good", "all good", "all good", "all good", "nothing else", "affirm",
)  # fmt: skip


@pytest.mark.parametrize(
    ("name", "replies"), [("cargo", LOADED), ("en-route", ON_THE_WAY), ("post-trip", HOME)]
)
def test_all_good(name: str, replies: tuple[str, ...]) -> None:
    day = Day(compiled(name))
    day.reply(*replies)
    assert day.outcome == "complete"
    assert day.holds() == []
    assert day.defects() == {}


ONE_BREATH = {
    "cargo": (
        "engine off mirrors free", "load as ordered", "as described",
        "hard against front wall good",
        "all good", "four", "affirm", "two", "affirm", "pass", "protected no tarp", "all free",
        "level stowed", "nobody near", "affirm",
    ),
    "post-trip": (*HOME[:10], "lamps good dry", *HOME[12:]),
}  # fmt: skip


@pytest.mark.parametrize("name", ONE_BREATH)
def test_what_one_look_sees_is_answered_in_one_breath(name: str) -> None:
    alone, day = Day(compiled(name)), Day(compiled(name))
    alone.reply(*{"cargo": LOADED, "post-trip": HOME}[name])
    day.reply(*ONE_BREATH[name])
    assert day.outcome == "complete"
    assert day.defects() == {}
    answered = [[a.step for a in d.records if isinstance(a, r.Answered)] for d in (alone, day)]
    assert answered[0] == answered[1]


@pytest.mark.parametrize("said", ["a leak", "leak", "leak seen"])
def test_a_bad_end_of_a_breath_is_kept_with_its_own_step(said: str) -> None:
    day = Day(compiled("post-trip"))
    day.reply(*HOME[:10], f"lamps good {said}")
    assert day.defects() == {"leak-seen": "minor"}


def test_a_bad_look_at_the_load_asks_on() -> None:
    day = Day(compiled("cargo"))
    day.reply(*LOADED[:-4], "level loose")
    assert day.step == "loose things"


def test_no_report_is_needed_without_a_defect() -> None:
    day = Day(compiled("post-trip"))
    assert "no report is needed" in day.reply(*HOME[:-1])
    assert "49 CFR 396.11(a)(2)(i)" in day.session.compiled.step("told").sources


def test_a_cut_strap_stops_driving_until_it_is_mended_and_looked_at_again() -> None:
    day = Day(compiled("cargo"))
    day.reply(*LOADED[:6], "straps cut", "nothing else")
    assert day.defects() == {"tiedown-bad": "major"}
    day.reply(*LOADED[7:-1])
    assert day.step == "statement"
    assert day.phase == "stopped"
    day.reply("mended", "affirm")
    assert day.phase == "memo"
    day.reply("a new strap is on")
    assert day.step == "tiedowns"
    day.reply("all good")
    for _ in range(4):  # what rested on nobody near is asked again
        if day.outcome:
            break
        day.reply("nobody near" if day.step == "people" else "affirm")
    assert day.outcome == "complete"
    released = [record for record in day.records if isinstance(record, r.Released)]
    assert [(record.how, record.memo) for record in released] == [
        ("driver-mended", "a new strap is on")
    ]


COUNTED = LOADED.index("four")


def test_the_tiedowns_are_reckoned_when_the_last_kind_is_counted() -> None:
    # 49 CFR 393.106(d), 393.108: 4 x 4000 over + 2 x 6600 / 2 direct = 22600 of 42000 / 2 = 21000;
    # 393.110(c), blocked: 40 ft asks for four. Six are on.
    day = Day(compiled("cargo"))
    assert "Tiedowns together" not in day.reply(*LOADED[: COUNTED + 2])
    said = day.reply(*LOADED[COUNTED + 2 : COUNTED + 4])
    assert "two two six zero zero pounds. Within the guide value" in said
    assert "at least two one zero zero zero pounds" in said
    assert [x.verdict for x in day.records if isinstance(x, r.Reckoned)] == ["within"]


def test_too_weak_tiedowns_stop_driving_and_are_told_by_how_much() -> None:
    # 3 x 4000 + 2 x 3300 = 18600 of 21000: 2400 short.
    day = Day(compiled("cargo"))
    said = day.reply(*LOADED[:COUNTED], "three", "affirm", "two", "affirm")
    assert "Short by two four zero zero pounds." in said
    assert day.defects() == {"tie-downs-short": "major"}
    day.reply(*LOADED[COUNTED + 4 : -1])
    assert (day.step, day.phase) == ("statement", "stopped")
    day.reply("mended", "affirm", "one more strap thrown over")
    assert day.step == "count@straps"
    day.reply("four", "affirm", "two", "affirm", "nobody near", "affirm")
    assert day.outcome == "complete"
    verdicts = [x.verdict for x in day.records if isinstance(x, r.Reckoned)]
    assert verdicts == ["outside", "within"]  # both are kept


def test_too_few_tiedowns_are_told_by_how_many() -> None:
    day = Day(compiled("cargo"))
    said = day.reply(*LOADED[:COUNTED], "zero", "affirm", "three", "affirm")
    assert "Short by one piece." in said
    assert "Short by one one one zero zero pounds." in said


def test_what_is_on_file_for_one_country_is_not_used_in_the_other() -> None:
    # Unmarked straps count nowhere in Canada; the table of graded chain was not found there.
    day = Day(compiled("cargo", "flatbed", "summer", "CA-ON"), "CA-ON")
    day.reply(*LOADED[:3], "none on board", *LOADED[3:COUNTED])
    said = day.reply("four", "affirm", "twelve", "affirm")
    assert "I cannot judge this. No Canadian limit on file for chains." in said
    assert "Their marked figure is needed." in said
    assert day.defects() == {}


def test_a_hot_hub_keeps_the_vehicle_at_the_stop() -> None:
    day = Day(compiled("en-route"))
    day.reply(*ON_THE_WAY[:2], "left rear drive outer hot", "nothing else")
    assert day.defects() == {"wheel-hot": "major"}
    day.reply(*ON_THE_WAY[3:-1])
    assert (day.step, day.phase) == ("statement", "stopped")
    assert "mechanic" in day.reply("mended")
    day.reply("end inspection", "affirm")
    assert day.outcome not in ("", "complete")


def test_a_loose_strap_is_pulled_and_looked_at_again_and_the_third_time_is_a_defect() -> None:
    day = Day(compiled("en-route"))
    day.reply(*ON_THE_WAY[:3], "strap loose", "strap loose")
    assert day.defects() == {}
    assert day.step == "left load"
    day.reply("strap loose")
    assert day.defects() == {"tiedown-bad": "major"}


def test_nobody_walks_beside_the_traffic_before_the_vehicle_is_parked() -> None:
    day = Day(compiled("en-route"))
    day.reply("cannot see", "all good")
    assert day.holds()[0].missing == ("tractor parked",)
    assert day.step == "stop"


def test_another_trailer_than_the_one_named_is_told() -> None:
    day = Day(compiled("post-trip"))
    said = day.reply(*HOME[:3], "three mike one eight", "affirm")
    assert "3 M 1 9" in said
    assert day.session.state.answers["trailer number"].outcome == "failed"


DOUBLES = {  # checklists/vehicles/doubles.yaml, an invented set
    "tractor number": "lima three zero two",
    "trailer numbers@first trailer": "two charlie five one",
    "trailer numbers@second trailer": "two charlie eight eight",
    "dolly number@dolly": "lima delta zero nine",
}
UNITS = (
    ("tractor", "HL-302"), ("first trailer", "HLP-2C51"), ("dolly", "HLD-09"),
    ("second trailer", "HLP-2C88"),
)  # fmt: skip


def doubles(name: str) -> Day:
    sources = load_sources(name, "doubles")
    model, lines = load_checklist(sources.checklist, name)
    hazards, _ = load_hazards(sources.hazards, "hazards.yaml")
    where = Context(load_vehicle(sources.vehicle, "vehicle.yaml"), "summer", "US")
    return Day(compile_checklist(model, lines, name, hazards, where), units=UNITS)


def test_with_doubles_the_number_of_each_unit_is_asked_and_compared() -> None:
    """49 CFR 396.11(a)(2): the report identifies the vehicle; each unit is one."""
    day = doubles("post-trip")
    day.reply("engine off")
    for id, words in DOUBLES.items():
        assert day.step == id
        day.reply(words, "affirm")
        assert day.session.state.answers[id].outcome == "good"
        assert day.session.state.answers[id].text.endswith("as ordered")
    assert day.step == "coupled"


def test_with_doubles_the_trailers_are_not_taken_for_one_another() -> None:
    day = doubles("post-trip")
    day.reply("engine off", "lima three zero two", "affirm")
    said = day.reply("two charlie eight eight", "affirm")
    assert "2 C 5 1" in said
    assert day.session.state.answers["trailer numbers@first trailer"].outcome == "failed"


@pytest.mark.parametrize("name", ["en-route", "post-trip"])
def test_with_doubles_hook_and_chains_of_the_dolly_are_looked_at(name: str) -> None:
    # State commercial driver manuals, section 7.3: pintle hook latched, chains, lines of the dolly.
    step = doubles(name).session.compiled.step("dolly")
    assert [item.name for item in step.items] == ["pintle hook", "safety chains", "dolly lines"]
    stops = dict(step.items[0].wrong)["not latched"]
    assert doubles(name).session.compiled.defects[stops].severity == "major"
    assert "dolly" not in {step.id for step in compiled(name).steps}


def test_a_told_defect_is_noted_and_the_memo_is_asked_for() -> None:
    day = Day(compiled("post-trip"))
    said = day.reply(*HOME[:-2], "something else")
    assert day.defects() == {"told-defect": "minor"}
    assert "Say memo" in said
    day.reply("affirm")
    assert day.outcome == "complete"
