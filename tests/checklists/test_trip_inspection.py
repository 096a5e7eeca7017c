"""The trip inspection against the parts that the law names, and walked with faults in it."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

import pytest

from tests.checklists.walk import Walk, compiled
from voicecheck.checklist.compile import Context, compile_checklist
from voicecheck.checklist.compiled import Compiled, Step
from voicecheck.checklist.load import load_checklist, load_hazards, load_vehicle
from voicecheck.run.library import load_sources
from voicecheck.session import events as e
from voicecheck.session import records as r

SCHEDULE = Path(__file__).with_name("trip_schedule.md")
MOST_REPLIES = 45  # a five-axle combination


@cache
def everything(name: str, jurisdiction: str) -> Compiled:
    """The list for a vehicle that has every feature a step asks for (invented)."""
    sources = load_sources(name, "tractor-semitrailer")
    model, lines = load_checklist(sources.checklist, "list.yaml")
    hazards, _ = load_hazards(sources.hazards, "hazards.yaml")
    text = sources.vehicle.replace(
        "features: [", "features: [dangerous goods, electric brakes, hydraulic brakes, "
    )
    context = Context(load_vehicle(text, "vehicle.yaml"), jurisdiction=jurisdiction)
    return compile_checklist(model, lines, "list.yaml", hazards, context)


def defects_of(step: Step) -> set[str]:
    found = {defect for _, defect in step.wrong}
    found |= {defect for item in step.items for _, defect in item.wrong}
    found |= {d for v in step.variants for a in v.answers for d in (a.defect, a.third) if d}
    return found | ({step.reading.outside} if step.reading and step.reading.outside else set())


def steps_of(written: str, jurisdiction: str) -> list[Step]:
    """The steps of a written id; those of another list have its name and a colon before them."""
    name, colon, id = written.rpartition(":")
    found = everything(name if colon else "trip-inspection", jurisdiction)
    steps = [s for s in found.steps if s.id.partition("@")[0] == id]
    assert steps, written
    return steps


# -- the law's own lists ---------------------------------------------------------------------------

# 49 CFR 396.11(a)(1), and 392.7(a) as amended 79 FR 75449: the same eleven parts. Step: a finding
# that must stop, because 392.7(a) forbids to drive until the driver is satisfied of the part.
ELEVEN = {
    "service brakes including trailer brake connections": [
        ("test three", "trailer-service-moved"), ("test four", "service-brakes-moved"),
        ("lines", "line-torn"), ("left side", "part-cracked"),
    ],
    "parking brake": [
        ("test one", "trailer-springs-moved"), ("test two", "tractor-springs-moved"),
    ],
    "steering mechanism": [("controls", "steering-loose"), ("front axle", "steering-loose")],
    "lighting devices and reflectors": [
        ("front lamps", "lamp-out"), ("front top lamps", "lamp-out"), ("left lamps", "lamp-out"),
        ("rear lamps", "lamp-out"), ("right lamps", "lamp-out"), ("signals", "lamp-out"),
    ],
    "tires": [
        ("left tractor tires", "tire-flat"), ("left tires", "tire-worn"),
        ("right tires", "tire-cut"), ("right tractor tires", "tire-flat"),
    ],
    "horn": [("view", "view-faulty")],
    "windshield wipers": [("view", "view-faulty")],
    "rear vision mirrors": [("view", "view-faulty")],
    "coupling devices": [("jaws", "jaws-not-closed"), ("fifth wheel", "coupling-open")],
    "wheels and rims": [
        ("left tractor tires", "wheel-loose"), ("left tires", "wheel-cracked"),
        ("right tires", "wheel-loose"), ("right tractor tires", "wheel-cracked"),
    ],
    "emergency equipment": [("seat", "kit-faulty")],
}  # fmt: skip


def test_the_law_has_eleven_parts() -> None:
    assert len(ELEVEN) == 11


@pytest.mark.parametrize("part", ELEVEN)
def test_each_part_of_396_11_is_asked_and_stops_when_it_does_not_work(part: str) -> None:
    trip = compiled("trip-inspection")
    for id, defect in ELEVEN[part]:
        assert defect in defects_of(trip.step(id)), id
        assert trip.defects[defect].severity == "major"


# 49 CFR 393.11, Table 1, as summarised in the Texas DPS chart and in COMAR 11.22.02.14 and
# 11.22.04.09. Of the tractor: what the trailer behind it does not hide or take over.
LAMPS = {
    "front lamps": ["head lamps", "turn lamps", "identification lamps", "clearance lamps",
                    "side markers"],
    "front top lamps": ["clearance lamps"],
    # behind the nose of a trailer: Maryland Transportation Code 22-212, "except tail lamps"; turn
    # lamps by the footnote on double-faced ones, from memory
    "tractor rear lamps": ["tail lamps", "turn lamps"],
    "left lamps": ["front marker", "front reflector", "middle marker", "middle reflector",
                   "rear marker", "rear reflector", "reflective tape"],
    "right lamps": ["front marker", "front reflector", "middle marker", "middle reflector",
                    "rear marker", "rear reflector", "reflective tape"],
    "rear lamps": ["tail lamps", "stop lamps", "turn lamps", "reflectors", "plate lamp",
                   "identification lamps", "clearance lamps", "reflective tape"],
    "signals": ["left signals", "right signals", "high beams", "stop lamps"],
}  # fmt: skip


@pytest.mark.parametrize("id", LAMPS)
def test_each_lamp_of_393_11_is_asked(id: str) -> None:
    """The flatbed's lamps follow from its width, length and year, none is listed by hand."""
    trip = compiled("trip-inspection", vehicle="flatbed")
    asked = [i.name for s in trip.steps for i in s.items if s.written == id]
    assert asked == LAMPS[id]


def schedule() -> list[dict[str, str]]:
    lines = [line for line in SCHEDULE.read_text().splitlines() if line.startswith("| ")]
    head = [cell.strip() for cell in lines[0].strip("|").split("|")]
    return [
        dict(zip(head, (cell.strip() for cell in line.strip("|").split("|")), strict=True))
        for line in lines[1:]
    ]


def test_the_schedule_has_23_parts() -> None:
    assert [row["part"] for row in schedule()] == [str(n) for n in range(1, 24)]


@pytest.mark.parametrize("row", schedule(), ids=lambda row: f"{row['part']} {row['system']}")
def test_each_system_of_the_schedule_is_asked_with_its_classes(row: dict[str, str]) -> None:
    names = row["steps"].split("; ")
    found: set[str] = set()
    for name in names:
        steps = steps_of(name, "CA-ON")
        assert {s.item for s in steps}
        mine = {d for s in steps for d in defects_of(s)}
        assert mine & set(f"{row['minor']}; {row['major']}".split("; ")), name
        found |= mine
    classes = {
        id: defect.severity
        for list_name in ("trip-inspection", "brake-tests")
        for id, defect in everything(list_name, "CA-ON").defects.items()
    }
    for column in ("minor", "major"):
        for id in filter(None, row[column].split("; ")):
            assert id in found
            assert classes[id] == column
            cited = [
                source
                for list_name in ("trip-inspection", "brake-tests")
                for name, d in everything(list_name, "CA-ON").defects.items()
                if name == id
                for source in d.source
            ]
            assert any(re.search(rf"Schedule 1, part {row['part']}\b", s) for s in cited), id


def test_a_class_that_was_not_seen_says_so() -> None:
    """Parts 13 to 23, major column: from memory, but for the tires' wear and contact (part 21)."""
    for id, defect in compiled("trip-inspection", jurisdiction="CA-ON").defects.items():
        for source in defect.source:
            part = source.partition("Schedule 1, part ")[2].partition(",")[0]
            if not part or defect.severity == "minor" or int(part) < 13:
                continue
            seen = part == "21" and id in ("tire-worn", "tire-cut")
            assert ("memory" in source) is not seen, id


def test_one_step_of_each_pair_is_asked_in_each_country() -> None:
    us, ca = compiled("trip-inspection"), compiled("trip-inspection", jurisdiction="CA-ON")
    here = [s.item for s in us.steps if s.id != "tractor rear lamps"]  # the chart is US law
    assert here == [s.item for s in ca.steps if s.id != "odometer"]


# -- walks -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("season", ["summer", "winter"])
@pytest.mark.parametrize("jurisdiction", ["US", "US-MD", "CA", "CA-ON", "CA-QC"])
def test_a_walk_with_good_answers_never_holds_and_keeps_to_its_replies(
    jurisdiction: str, season: str
) -> None:
    trip = compiled("trip-inspection", season=season, jurisdiction=jurisdiction)
    walk = Walk(trip, jurisdiction=jurisdiction)
    replies = 0
    while not walk.outcome:
        walk.reply(walk.good())
        replies += 1
    assert walk.outcome == "complete"
    assert walk.holds() == []
    assert replies <= MOST_REPLIES
    assert sum(s.kind == "spell" for s in trip.steps) <= 4


@pytest.mark.parametrize(
    ("vehicle", "jurisdiction", "joint"),
    [
        ("doubles", "US", "dolly good drain closed"),
        ("tractor-tridem", "CA-ON", "up and clear lamps good"),
        ("tractor-semitrailer", "US", "lamps good tires good"),
    ],
)
def test_what_one_look_sees_is_answered_in_one_breath(
    vehicle: str, jurisdiction: str, joint: str
) -> None:
    """And each good state may be said in words of its own, which answer that question only."""
    trip = compiled("trip-inspection", vehicle=vehicle, jurisdiction=jurisdiction)
    walk = Walk(trip, jurisdiction=jurisdiction)
    said = []
    while not walk.outcome:
        step = walk.step()
        alone = walk.phase == "asked" and step.kind in ("verdict", "group")
        words = walk.good()
        if alone and not walk.session.state.breath:
            (words, *_) = step.good  # every question has such words
        said.append(words)
        walk.reply(words)
    assert joint in said
    assert walk.outcome == "complete"
    assert walk.session.state.defects == ()
    assert walk.holds() == []


def test_winter_steps_come_with_winter_only() -> None:
    winter = {s.id for s in compiled("trip-inspection", season="winter").steps}
    summer = {s.id for s in compiled("trip-inspection").steps}
    assert winter - summer == {"ice", "wheels turn"}


def test_the_walk_follows_the_vehicle() -> None:
    """Cab and engine, round the vehicle on one side and back on the other, signals, brakes."""
    places: list[str] = []
    for step in compiled("trip-inspection").steps:
        if not places or places[-1] != step.place:
            places.append(step.place)
    assert places == [
        "cab", "front", "engine", "cab", "front", "tractor left", "coupling", "front top",
        "near side", "rear", "far side", "tractor right", "cab",
    ]  # fmt: skip


def test_a_flat_tire_stops_the_vehicle_until_somebody_releases_it() -> None:
    walk = Walk(compiled("trip-inspection"))
    walk.to("left tractor tires")
    said = walk.reply("left steer flat")
    assert "Left steer flat. Stopping defect." in said
    walk.reply("nothing else")
    walk.to("statement", stop_at=("stopped",))
    assert walk.phase == "stopped"
    assert "A mechanic must mend this." in walk.reply("mended")
    walk.reply("release", "affirm", "an invented mechanic changed the tire")
    walk.to_the_end()
    assert walk.outcome == "complete"
    assert [rec.how for rec in walk.records if isinstance(rec, r.Released)] == ["in person"]


def test_a_wet_hub_is_noted_and_does_not_stop() -> None:
    walk = Walk(compiled("trip-inspection", jurisdiction="CA-ON"), jurisdiction="CA-ON")
    walk.to("right tires")
    walk.reply("right front outer wet hub", "nothing else")
    walk.to_the_end()
    assert walk.outcome == "complete"
    assert [(d.defect, d.severity) for d in walk.session.state.defects] == [("hub-leak", "minor")]


@pytest.mark.parametrize(("jurisdiction", "severity"), [("US", "major"), ("CA-ON", "minor")])
def test_a_dead_horn_has_the_class_of_its_country(jurisdiction: str, severity: str) -> None:
    """49 CFR 392.7(a) names the horn; O. Reg. 199/07, Schedule 1, part 16 makes it minor."""
    walk = Walk(compiled("trip-inspection", jurisdiction=jurisdiction), jurisdiction=jurisdiction)
    walk.to("view" if jurisdiction == "US" else "view canada")
    walk.reply("horn faulty", "nothing else")
    assert [d.severity for d in walk.session.state.defects] == [severity]


def test_a_lamp_that_the_driver_mends_is_looked_at_again() -> None:
    walk = Walk(compiled("trip-inspection"))
    walk.to("rear lamps")
    walk.reply("plate lamp out", "nothing else")
    walk.to("statement", stop_at=("stopped",))
    walk.reply("mended", "affirm", "a new bulb")
    assert walk.step().id == "rear lamps"  # the same test again
    walk.to_the_end()
    assert walk.outcome == "complete"
    assert [rec.how for rec in walk.records if isinstance(rec, r.Released)] == ["driver-mended"]


def test_both_tail_lamps_out_stop_in_canada_and_one_does_not() -> None:
    for said, stops in (("tail lamp", 0), ("both tail lamps", 1), ("turn lamp", 1)):
        walk = Walk(compiled("trip-inspection", jurisdiction="CA"), jurisdiction="CA")
        walk.to("rear lamps canada")
        walk.reply(said)
        assert len(walk.session.state.open_stops()) == stops, said


def test_jaws_that_are_not_closed_keep_the_vehicle_from_pulling() -> None:
    walk = Walk(compiled("trip-inspection"))
    walk.to("jaws")
    bad = walk.step().variants[walk.session.state.variant].answers[1]
    walk.reply(bad.id)
    walk.to("knobs one", stop_at=("stopped",))
    assert walk.phase == "stopped"
    assert "jaws are not closed" in walk.session.state.hold_text


def test_after_a_resume_the_knobs_are_asked_before_a_hand_goes_in() -> None:
    """H1: the driver was away, so parked and engine off must be said again."""
    walk = Walk(compiled("trip-inspection"))
    walk.to("fifth wheel")
    walk.tell(e.Resumed(at=walk.at(), gap_s=900))
    assert walk.step().id == "parked"
    walk.reply("parked")
    assert walk.step().id == "fifth wheel"
    walk.to_the_end()
    assert walk.outcome == "complete"


@pytest.mark.parametrize("season", ["summer", "winter"])
def test_the_front_lamps_of_each_trailer_are_asked_where_they_are_seen(season: str) -> None:
    """Behind the first trailer nobody sees the front of the second from before the first."""
    doubles = compiled("trip-inspection", vehicle="doubles", season=season)
    asked = {s.place: s for s in doubles.steps if any("clearance lamps" in x.name for x in s.items)
             and s.place in ("front top", "dolly")}  # fmt: skip
    assert [x.name for x in asked["front top"].items] == ["first trailer clearance lamps"]
    assert [x.name for x in asked["dolly"].items] == ["second trailer clearance lamps"]
    for words in (asked["dolly"].variants[0].ask, asked["dolly"].variants[0].brief):
        assert "second trailer" in words.lower()
    alone = compiled("trip-inspection", season=season)
    assert not [s for s in alone.steps if "second trailer" in s.item]


# State commercial driver manuals, section 7.3 ("Inspecting Doubles and Triples", 2005 testing
# system; California, Florida and Michigan 2015 copies): shut-off valves at the rear of front
# trailers open, at the rear of the last one closed, drain of the dolly closed; hook latched.
DOUBLES = {
    "dolly": "not latched",
    "dolly drain": "drain open",
    "front valves": "one closed",
    "end valves": "one open",
}


def test_doubles_are_asked_for_hook_and_valves_and_a_single_trailer_is_not() -> None:
    walked = [s.id for s in compiled("trip-inspection", vehicle="doubles").steps]
    places = [walked.index(id) for id in DOUBLES]
    assert places == sorted(places)
    assert not DOUBLES.keys() & {s.id for s in compiled("trip-inspection").steps}


@pytest.mark.parametrize("id", list(DOUBLES)[1:])
def test_a_valve_that_stays_wrong_stops_the_third_time(id: str) -> None:
    walk = Walk(compiled("trip-inspection", vehicle="doubles"))
    walk.to(id)
    for _ in range(2):
        walk.reply(DOUBLES[id])
        assert walk.step().id == id
    assert walk.session.state.defects == ()
    walk.reply(DOUBLES[id])
    assert [d.defect for d in walk.session.state.open_stops()] == ["valve-wrong"]


def test_a_hook_that_is_not_latched_keeps_the_doubles_from_pulling() -> None:
    walk = Walk(compiled("trip-inspection", vehicle="doubles"))
    walk.to("dolly")
    walk.reply("pintle hook not latched", "nothing else")
    walk.to("knobs one", stop_at=("stopped",))
    assert walk.phase == "stopped"
