"""The coupling at the real command, typed: jaws that do not close, and each kind of release."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

from tests.checklists.walk import compiled
from voicecheck.checklist.compiled import Step


def good(step: Step) -> list[str]:
    """The good answers of every variant: the one that is not asked for is refused, no more."""
    if step.kind == "answers":
        return [
            next(a.said[0] for a in v.answers if not (a.again or a.defect or a.repeat or a.bad))
            for v in step.variants
        ]
    return {
        "verdict": ["pass"],
        "group": ["all good"],
        "spell": ["seven kilo four two", "affirm"],
        "date": ["march twenty twenty nine", "affirm"],
        "attest": ["affirm"],
    }[step.kind]


def walk(first: str, last: str) -> list[str]:
    """Good answers from one step to another, both included."""
    couple = compiled("couple")
    steps = couple.steps[couple.index(first) : couple.index(last) + 1]
    return [line for step in steps if not step.only_again for line in good(step)]


def run(tmp_path: Path, lines: list[str]) -> tuple[subprocess.CompletedProcess[str], list[dict]]:  # type: ignore[type-arg]
    done = subprocess.run(
        [sys.executable, "-m", "voicecheck.cli", "run", "couple", "--typed", "--compressed",
         "--into", str(tmp_path)],
        input="\n".join(lines) + "\n", capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    (folder,) = tmp_path.iterdir()
    records = [json.loads(line) for line in (folder / "journal.jsonl").read_text().splitlines()]
    return done, records


def kinds(records: list[dict], kind: str) -> list[dict]:  # type: ignore[type-arg]
    return [record["body"] for record in records if record["kind"] == kind]


NOT_CLOSED = ["not closed", "they stand open"]  # whichever question is asked
ROUND_AGAIN = [
    "lines are off", "nobody near", "clear of the jaws", "nobody near", "locked", "held",
    "engine off",
]  # fmt: skip


def test_jaws_not_closed_three_times_stop_and_are_released_in_person(tmp_path: Path) -> None:
    lines = walk("trailer number", "park")
    for _ in range(2):
        lines += [*NOT_CLOSED, *ROUND_AGAIN]
    lines += [*NOT_CLOSED, *walk("legs still down", "people third")]
    lines += ["carry on", "end inspection", "affirm"]
    done, records = run(tmp_path, lines)
    assert [d["defect"] for d in kinds(records, "defect")] == ["jaws-not-closed"]
    assert len(kinds(records, "again")) == 2
    started = [s["step"] for s in kinds(records, "step started")]
    assert "raise legs" not in started
    assert started.count("draw out") == 2
    assert done.returncode == 1
    assert "Not to be driven: The jaws do not close round the kingpin" in done.stdout
    assert "Parked, not to be driven." in done.stdout


def test_a_good_look_does_not_undo_the_stop_but_a_release_in_person_does(tmp_path: Path) -> None:
    look = ["closed round the shank", "they hold the shank"]
    lines = walk("trailer number", "park")
    for _ in range(2):
        lines += [*NOT_CLOSED, *ROUND_AGAIN]
    lines += [*NOT_CLOSED, *look]  # what comes next needs the lock seen: the look is asked again
    lines += walk("handle", "people third")
    lines += ["release", "affirm", "an invented foreman, yard manager, new jaws fitted"]
    lines += ["engine off", *look]
    for line in walk("handle", "raise legs"):  # all that rested on the lock, once more
        lines += ["engine off", line]  # where a hold leads back to the park: said again
    done, records = run(tmp_path, lines)
    released = kinds(records, "released")
    assert [x["how"] for x in released] == ["in person"], done.stdout
    order = [(r["kind"], r["body"].get("step", "")) for r in records]
    release = next(n for n, (kind, _) in enumerate(order) if kind == "released")
    stop = next(n for n, r in enumerate(records) if r["body"].get("hold") == "stop")
    assert order.index(("step started", "raise legs")) > release > stop
    assert order[release + 1 :].index(("step started", "jaws")) >= 0  # the same test again


def test_a_torn_seal_is_mended_by_the_driver_and_tested_again(tmp_path: Path) -> None:
    lines = walk("trailer number", "legs still down")
    lines += ["torn"]
    lines += walk("lines", "people fourth")
    # the stop stands before the first pull against the brakes
    lines += ["mended", "affirm", "a new seal from the box", "both whole", "engine off"]
    lines += walk("people fourth", "statement")
    done, records = run(tmp_path, lines)
    released = kinds(records, "released")
    assert [(x["how"], x["memo"]) for x in released] == [
        ("driver-mended", "a new seal from the box")
    ], done.stdout
    seals = [x["outcome"] for x in kinds(records, "answered") if x["step"] == "seals"]
    assert seals == ["failed", "good"]


def test_pass_to_everything_is_never_led_to_the_crank(tmp_path: Path) -> None:
    done, records = run(tmp_path, ["pass"] * 200)
    assert done.returncode == 1
    started = {s["step"] for s in kinds(records, "step started")}
    assert started <= {"trailer number"}
    _, records = run_from(tmp_path / "two", walk("trailer number", "sticker") + ["pass"] * 200)
    started = {s["step"] for s in kinds(records, "step started")}
    assert "raise legs" not in started
    assert "back under" not in started


def run_from(place: Path, lines: list[str]) -> tuple[object, list[dict]]:  # type: ignore[type-arg]
    place.mkdir()
    return run(place, lines)
