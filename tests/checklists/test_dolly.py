"""Dolly and second trailer: the handbook's order, what can hurt, walks with faults.

Order: sections 7.2.1 and 7.2.2 of the state commercial driver manuals (2005 testing system), typed
from the copies of California, Florida and Michigan 2015, not from the checklists. Where a line says
so it is common practice, no source.
"""

from __future__ import annotations

import pytest

from tests.checklists.walk import Walk, compiled
from voicecheck.checklist.compiled import Compiled, Step
from voicecheck.session import records as r

UNITS = (
    ("tractor", "HL-302"), ("first trailer", "HLP-2C51"), ("dolly", "HLD-09"),
    ("second trailer", "HLP-2C88"),
)  # fmt: skip


def listed(name: str) -> Compiled:
    return compiled(name, vehicle="doubles")


class Dolly(Walk):
    """A walk with the numbers of the invented doubles."""

    def __init__(self, checklist: Compiled) -> None:
        super().__init__(checklist, units=UNITS)

    def good(self) -> str:
        if self.step().kind == "spell" and self.phase == "asked":
            return "two charlie eight eight"
        return super().good()


# 7.2.1: the manual's line, and the step that asks it.
COUPLING = [
    ("the more heavily loaded semitrailer in first position", "heavier"),
    ("secure second trailer: brakes, or chock the wheels if in doubt", "held"),
    ("dolly in front of second trailer, in line with the kingpin", "in line"),
    ("back first semitrailer in front of the dolly tongue", "back to the dolly"),
    ("hook dolly to front trailer, lock pintle hook", "hook"),
    ("secure converter gear support in raised position", "support"),
    ("trailer height: slightly lower than the center of the fifth wheel", "height"),
    ("back converter dolly under rear trailer", "back under"),
    ("test coupling by pulling against the pin", "pull"),
    ("visual check: locking jaws closed on kingpin", "jaws seen"),
    ("no space between upper and lower fifth wheel", "gap"),
    ("connect safety chains", "chains"),
    ("air hoses and light cords", "lines"),
    ("close converter dolly air tank petcock", "dolly drain"),
    ("open shut-off valves at rear of first trailer", "front valves"),
    ("raise landing gear completely", "raise legs"),
    ("charge trailers", "charge"),
    ("check for air at the rear of the second trailer", "air at the end"),
]
# 7.2.2
PARTING = [
    ("park in a straight line", "parked"),
    ("on firm level ground", "ground"),
    ("chock wheels of second trailer", "chock"),
    ("lower landing gear enough to remove some weight from the dolly", "lower legs"),
    ("close air shut-offs at rear of first semitrailer", "front valves"),
    ("disconnect all dolly air and electric lines and secure them", "lines"),
    ("release dolly brakes", "dolly brakes"),
    ("release converter dolly fifth wheel latch", "release"),
    ("pull dolly out from under rear semitrailer", "draw out"),
    ("lower dolly landing gear", "support"),
    ("disconnect safety chains", "chains"),
    ("release pintle hook on first semitrailer", "hook"),
    ("slowly pull clear of dolly", "clear"),
]


@pytest.mark.parametrize(
    ("name", "manual"), [("couple-dolly", COUPLING), ("uncouple-dolly", PARTING)]
)
def test_the_order_of_the_manual(name: str, manual: list[tuple[str, str]]) -> None:
    walked = [step.id for step in listed(name).steps]
    places = [walked.index(step) for _, step in manual]
    assert places == sorted(places)


def test_the_end_valves_are_closed_before_the_trailers_are_charged() -> None:
    """7.2.1: "close ... shut-off valves at rear of second trailer" before "charge trailers"."""
    charge = listed("couple-dolly").step("charge")
    assert {"end valves closed", "front valves open", "drain closed"} <= set(charge.needs)


@pytest.mark.parametrize("name", ["couple-dolly", "uncouple-dolly"])
def test_a_walk_with_good_answers_never_holds(name: str) -> None:
    walk = Dolly(listed(name))
    walk.to_the_end()
    assert walk.outcome == "complete"
    assert walk.holds() == []
    assert walk.session.state.defects == ()


# -- what can hurt ---------------------------------------------------------------------------------

# hazard: needs, make-safe, as an instructor demands; common practice, no source
HAZARDS = {
    "dolly tongue": (
        "tractor parked, engine off, trailer held, dolly held", "Let go. Step back.",
    ),
    "back to the dolly": ("dolly held, people clear", "Stop. Foot brake. Both knobs out."),
    "pull the dolly": (
        "legs down, trailer held, people clear", "Stop. Foot brake. Both knobs out.",
    ),
    "end valve": ("tractor parked", "Close the valve. Step back."),
}  # fmt: skip


@pytest.mark.parametrize("name", HAZARDS)
def test_hazard(name: str) -> None:
    hazard = listed("couple-dolly").hazards[name]
    needs, safe = HAZARDS[name]
    assert set(hazard.needs) == set(needs.split(", "))
    assert hazard.safe == safe
    assert hazard.moving == name.startswith(("back", "pull"))


def needing(name: str, hazard: str) -> list[Step]:
    found = [step for step in listed(name).steps if step.hazard == hazard]
    assert found
    return found


def test_the_hook_is_never_opened_with_the_dolly_under_the_trailer() -> None:
    """7.2.2, caution: the dolly tow bar may fly up."""
    assert "dolly out" in listed("uncouple-dolly").step("hook").needs
    walk = Dolly(listed("uncouple-dolly"))
    walk.to("draw out")
    walk.reply("correction pintle hook open")
    assert walk.step().id != "hook"
    assert not walk.true("hook open")


def test_hands_are_at_the_tongue_only_while_rig_trailer_and_dolly_are_held() -> None:
    for name in ("couple-dolly", "uncouple-dolly"):
        for step in needing(name, "dolly tongue"):
            assert {"tractor parked", "engine off", "trailer held", "dolly held"} <= set(step.needs)
            assert "Feet clear of the tongue." in step.caution


def test_the_dolly_is_not_backed_under_before_the_hook_was_seen_latched() -> None:
    under = listed("couple-dolly").step("back under")
    assert {
        "hook latched", "support up", "trailer held", "legs down", "right trailer", "people clear",
    } <= set(under.needs)  # fmt: skip


def test_the_legs_stay_down_until_the_lock_was_seen() -> None:
    raised = listed("couple-dolly").step("raise legs")
    assert {"coupling seen locked", "handle seen in", "no gap seen"} <= set(raised.needs)


def test_another_second_trailer_than_ordered_holds_the_backing() -> None:
    walk = Dolly(listed("couple-dolly"))
    walk.to("number")
    assert "2 C 8 8" in walk.reply("two charlie five one", "affirm")
    walk.to("people second")
    walk.reply("nobody near")
    assert walk.step().id == "number"
    assert walk.holds()[-1].missing == ("right trailer",)


def test_a_hook_that_does_not_latch_stops_the_third_time() -> None:
    walk = Dolly(listed("couple-dolly"))
    walk.to("hook")
    for _ in range(3):
        bad = walk.step().variants[walk.session.state.variant].answers[1]
        walk.reply(bad.id)
    assert [d.defect for d in walk.session.state.open_stops()] == ["hook-open"]
    walk.to("back under", stop_at=("stopped",))
    assert walk.phase == "stopped"


@pytest.mark.parametrize(
    ("step", "said"), [("pull", "moved"), ("gap", "there is a gap"), ("handle", "handle is out")]
)
def test_what_is_not_locked_is_backed_under_again(step: str, said: str) -> None:
    walk = Dolly(listed("couple-dolly"))
    walk.to(step)
    walk.reply(said)
    assert walk.step().id == "people second"
    assert not walk.true("coupling seen locked")
    walk.to_the_end()
    assert walk.outcome == "complete"


def test_without_air_at_the_end_the_set_does_not_leave() -> None:
    """7.2.1: if there is no air at the rear "something is wrong and the brakes won't work"."""
    walk = Dolly(listed("couple-dolly"))
    walk.to("air at the end")
    walk.reply("none out")
    assert [d.defect for d in walk.session.state.open_stops()] == ["no-air-at-the-end"]
    walk.to("statement", stop_at=("stopped", "held"))
    walk.reply("end inspection", "affirm")
    assert walk.outcome != "complete"


def test_the_end_valve_is_asked_closed_again_after_it_was_opened() -> None:
    walk = Dolly(listed("couple-dolly"))
    walk.to("air at the end")
    assert not walk.true("end valves closed")
    walk.reply("air comes")
    assert walk.step().id == "end valve closed"
    walk.reply("both closed again")
    assert walk.true("end valves closed")


def test_the_tractor_is_parted_after_the_dolly() -> None:
    assert listed("uncouple").steps[0].id == "dolly parted"
    assert "dolly parted" not in {s.id for s in compiled("uncouple").steps}
    walk = Dolly(listed("uncouple"))
    walk.reply("still on")
    assert walk.step().id == "dolly parted"
    walk.reply("parted already")
    assert walk.step().id == "ground"


def test_nothing_is_offered_that_was_not_seen() -> None:
    """No sentence of either list says that the set is safe or fit."""
    for name in ("couple-dolly", "uncouple-dolly"):
        walk = Dolly(listed(name))
        walk.to_the_end()
        spoken = " ".join(walk.said).lower()
        assert " safe " not in spoken
        assert not [rec for rec in walk.records if isinstance(rec, r.Released)]
