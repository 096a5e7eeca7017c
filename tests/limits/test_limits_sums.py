"""Sums as typed: the answer says the figure, its limit and who says so.

The figures behind each sum are checked against their sources in the tests of their own modules;
here each is typed once more from the source named beside it.
"""

from __future__ import annotations

import shlex

import pytest

from voicecheck.cli import main
from voicecheck.errors import (
    IntervalUnusable,
    UnknownInput,
    UnknownLimit,
    UnknownUnit,
    VoicecheckError,
    WrongUse,
)
from voicecheck.limits.sums import SUMS, work


@pytest.mark.parametrize(
    ("typed", "place", "verdict", "told"),
    [
        # Driver manuals: more than four pounds in one minute, combination, brakes applied.
        ("leak-down 120 psi 116 psi 60 s combination=yes", "US", "within", "4 psi/min"),
        ("leak-down 120 psi 118 psi 30 s combination=yes", "US", "within", "applied: 4 psi/min"),
        ("leak-down 120 psi 115 psi 60 s combination=yes", "US", "outside", "handbook"),
        # COMAR 11.14.04.03 K: three, combination, released.
        ("leak-down 120 psi 117 psi 1 min combination=yes brakes=released", "US", "within", ""),
        ("leak-down 120 psi 116 psi 1 min combination=yes brakes=released", "US", "outside", ""),
        ("leak-down 120 psi 116 psi 60 s", "US", "cannot judge", '"combination=..."'),
        # Model manual: 85 to 100 psi in 45 s; 571.121 S5.1.1: 25 s x 6000 / 4000 = 37.5 s.
        ('build-up-time 85 psi 100 psi 45 s "air system=dual"', "US", "within", "guide value"),
        ('build-up-time 85 psi 100 psi 46 s "air system=dual"', "US", "outside", "45 s"),
        (
            'build-up-time 85 psi 100 psi 37 s "air system=dual" '
            '"actual reservoir volume=6000 in3" "required reservoir volume=4000 in3"',
            "US", "within", "37.5 s",
        ),
        (
            'build-up-time 85 psi 100 psi 38 s "air system=dual" '
            '"actual reservoir volume=6000 in3" "required reservoir volume=4000 in3"',
            "US", "outside", "37.5 s",
        ),
        # Alberta guide, B.C. manual: 50 to 90 psi in 3 min. No row for Saskatchewan.
        ("build-up-time 50 psi 90 psi 3 min", "CA-AB", "within", "180 s"),
        ("build-up-time 50 psi 90 psi 3 min", "CA-BC", "within", "180 s"),
        ("build-up-time 50 psi 90 psi 181 s", "CA-BC", "outside", "at most 3 min"),
        ("build-up-time 50 psi 90 psi 3 min", "CA-SK", "cannot judge", "No limit on file"),
        # 4 x 4000 over + 2 x 6600 / 2 direct = 22600 lb of 20000; 20 ft, not blocked: three.
        (
            'tie-downs "weight=40000 lb" "length=20 ft" blocked=no "tie-down=4 strap 4 over" '
            '"tie-down=2 chain 3/8 grade 70 direct"',
            "US", "within", "22600 lb",
        ),
        (
            'tie-downs "weight=40000 lb" "length=20 ft" "tie-down=2 strap 4 over"',
            "US", "outside", "short by 12000 lb",
        ),
        (
            'tie-downs "weight=20000 lb" "length=20 ft" blocked=yes '
            '"tie-down=2 strap 4 over marked 5000 lb"',
            "CA-ON", "within", "10000 lb",
        ),
        (
            'tie-downs "weight=20000 lb" "length=20 ft" blocked=yes "tie-down=2 strap 4 over"',
            "CA-ON", "outside", "not counted. Not marked.",
        ),
        (
            'tie-downs "weight=9000 lb" "length=9 ft" "tie-down=2 rope 1/2 over"',
            "US", "within", "Taken as not blocked",
        ),
        # 49 CFR 396.17; 24 h from the inspection; National Safety Code course (B.C.): 3 months.
        ("valid 2026-03 12 months", "US", "", "until 2027-03,"),
        ("valid 2026-03-14T06:40 24 h", "CA-ON", "", "until 2026-03-15T06:40,"),
        ("valid 2026-03-14 report-kept", "CA-BC", "", "until 2026-06-14"),
        ("valid 2026-03-14 periodic-report-kept", "CA-BC", "cannot judge", "No limit on file"),
        # Chart points of the National Weather Service and of the Celsius page; hazard table.
        ("wind-chill 20 degF 20 mph", "US", "", "Wind chill 4 degF"),
        ("wind-chill -18 degC 32 km/h", "US", "", "-30 degC: bare skin can freeze in 10 to 30"),
        ("wind-chill 10 degC 32 km/h", "US", "cannot judge", "No wind chill"),
        # 392.9(b): 50 miles, then 3 h or 150 miles.
        ("en-route 30 mi 45 min", "US", "within", "within 20 mi, within 135 min"),
        ("en-route 51 mi 45 min checked=no", "US", "outside", "now"),
        ("en-route 51 mi 45 min checked=yes", "US", "within", "99 mi"),
        ("en-route 51 mi 45 min checked=yes duty=changed", "US", "within", "now"),
        ("en-route 400 mi 9 h sealed=yes", "US", "within", "No check of the cargo"),
        ("en-route 1 km 1 min", "EU", "cannot judge", "No limit on file"),
        # One reading by family or id. 393.75(b): 4/32 in, B.C. front 3 mm; 80 percent of 2.5 in.
        ("tread 4/32 in axle=steer", "US", "within", "393.75(b)"),
        ("tread 2.9 mm axle=steer", "CA-BC", "outside", "handbook"),
        ('us-str-r 2 in "rated stroke=2.5 in"', "US", "within", "law seen"),
        ("stroke 2 in", "US", "cannot judge", '"chamber type=..."'),
        ("tread", "US", "", "ca-qc-tyr-steer"),
        ("us-str-30-standard", "US", "", "393.47(e)(1)"),
    ],
)  # fmt: skip
def test_answers(typed: str, place: str, verdict: str, told: str) -> None:
    name, *words = shlex.split(typed)
    worked = work(name, words, place)
    assert worked.verdict == verdict, worked
    assert told in " ".join(worked.lines)


@pytest.mark.parametrize(
    ("typed", "error"),
    [
        ("nothing 3 in", UnknownLimit),
        ("us-str-30-standard 2.1", UnknownUnit),
        ("us-str-30-standard 2.1 furlongs", UnknownUnit),
        ("leak-down 120 psi 117 psi", WrongUse),
        ("leak-down 120 psi 117 psi 60 s brakes=hot", WrongUse),
        ("leak-down 120 psi 117 psi 60 s colour=red", WrongUse),
        ("leak-down 120 psi 117 psi 0 s combination=yes", IntervalUnusable),
        ('build-up-time 90 psi 100 psi 40 s "air system=dual"', IntervalUnusable),
        ('tie-downs "weight=9000 lb" "length=9 ft"', WrongUse),
        ('tie-downs "weight=9000 lb" "length=9 ft" "tie-down=two straps"', WrongUse),
        ('tie-downs "weight=9000 lb" "length=9 ft" "tie-down=2 tape 4 over"', WrongUse),
        ('tie-downs "weight=9000 lb" "length=9 ft" "tie-down=2 strap 5 over"', UnknownInput),
        ('tie-downs "weight=9000 lb" blocked=maybe "tie-down=2 strap 4 over"', WrongUse),
        ("valid 2026-03", WrongUse),
        ("valid 2026-13 12 months", UnknownInput),
        ("wind-chill -18 degC", WrongUse),
        ("wind-chill -18 degC 20 mph", UnknownUnit),
        ("en-route 3 mi 3 min checked=perhaps", WrongUse),
        ("tread 3/32 in axle=front", UnknownInput),
        ("tread 3/32 in colour=red", WrongUse),
    ],
)
def test_refused_with_a_way_out(typed: str, error: type[VoicecheckError]) -> None:
    name, *words = shlex.split(typed)
    with pytest.raises(error) as caught:
        work(name, words, "US")
    assert caught.value.how


@pytest.mark.parametrize("name", SUMS)
def test_every_example_of_the_help_works(
    name: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: object
) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    for example in SUMS[name].example.split("; "):
        program, command, *words = shlex.split(example)
        assert (program, command) == ("voicecheck", "limits")
        assert main(["limits", *words]) in (0, 1)
        said = capsys.readouterr()
        assert said.out
        assert not said.err


def test_for_machines(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: object
) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    words = ["limits", "leak-down", "120", "psi", "110", "psi", "60", "s", "combination=yes"]
    assert main([*words, "--json"]) == 1
    assert '"verdict": "outside"' in capsys.readouterr().out
