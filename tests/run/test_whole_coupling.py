"""A whole coupling, unattended: the real ``run --microphone`` in real time on a virtual sound card.

What is answered is the drive's own script. What the report must hold is what the same script gives
at the keyboard, where no word can be misheard.
"""

from __future__ import annotations

import json
import shutil
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.checklists.walk import compiled
from tests.conftest import begun_at
from tests.run.cli_process import converse, only
from tests.run.whole_coupling import MOST_S, lead, script


@pytest.fixture
def spoken(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Path]:
    """Led now, or since the workers began (tests/conftest.py)."""
    if not shutil.which("pulseaudio"):
        pytest.skip("PulseAudio is not installed")
    run = getattr(request.config, "workerinput", {}).get("testrunuid", "")
    folder = begun_at(run) if run else tmp_path
    if not run:
        lead(folder)
    until = time.monotonic() + MOST_S + 120
    while not (folder / "status").exists():
        assert time.monotonic() < until, (folder / "log").read_text()
        time.sleep(1)
    yield folder
    if run:
        shutil.rmtree(folder)


@pytest.mark.last
@pytest.mark.slow
def test_a_whole_coupling_by_voice_gives_the_report_of_what_was_answered(
    spoken: Path, tmp_path: Path
) -> None:
    """It takes some seven minutes and waits nearly all the time."""
    model = script()
    at_keyboard = tmp_path / "typed"
    at_keyboard.mkdir()
    words = ("run", model.checklist, "--vehicle", model.vehicle, "--typed", "--compressed")
    typed = converse(at_keyboard, *words)
    assert typed.status == 0, typed.text
    wanted = json.loads((only(at_keyboard) / "report.json").read_text())

    talk = (spoken / "talk").read_text()
    assert (spoken / "status").read_text() == "0", talk
    folder = only(spoken / "spoken")
    report = json.loads((folder / "report.json").read_text())
    assert report["headline"]["verdict"] == wanted["headline"]["verdict"] == model.ends, talk
    assert answers(report, folder.name) == answers(wanted, only(at_keyboard).name), talk
    assert read_off(report) == read_off(wanted), talk
    for kind in ("open", "defects", "before_moving", "not_fitted"):
        assert report[kind] == wanted[kind] == [], talk

    taken = [x for step in report["steps"] for a in step["answers"] for x in a["heard"]]
    assert taken and {x["source"] for x in taken} == {"microphone"}
    assert all((folder / x["audio"]).stat().st_size > 1000 for x in taken)


def read_off(report: dict[str, Any]) -> list[tuple[str, str]]:
    return [(x["name"], x["value"]) for x in report["subject"]["read_off"]]


def answers(
    report: dict[str, Any], inspection: str
) -> list[tuple[str, str, str, list[tuple[str, str]]]]:
    """Each step in its order with what stands answered there.

    Which of several questions is asked follows the inspection's name, so the minute of its
    beginning: there a good answer to the one that was asked must stand, in its own words.
    """
    occasion = sum(map(ord, inspection))
    good = {
        step.id: {
            x.said[0] for x in step.variants[occasion % len(step.variants)].answers if x.gives
        }
        for step in compiled(script().checklist).steps
        if len(step.variants) > 1
    }
    return [
        (s["place"], s["id"], s["state"],
         [("the good one", a["outcome"]) if a["text"] in good.get(s["id"], ())
          else (a["text"], a["outcome"]) for a in s["answers"] if a["stands"]])
        for s in report["steps"]
    ]  # fmt: skip
