"""The real ``run --microphone`` on a virtual sound card, led by recorded replies."""

from __future__ import annotations

import json
import shutil
import signal
from pathlib import Path

import pytest

from tests.run.yard import Card, Program, drive
from voicecheck.run.library import shipped

pytestmark = [
    pytest.mark.skipif(not shutil.which("pulseaudio"), reason="PulseAudio is not installed"),
    pytest.mark.xdist_group("sound card"),
]

SHORT = """
id: short
edition: "1"
title: The first steps of a coupling
places: {near side: At the near side, rear: At the rear}
facts:
  doors locked: {text: The doors are locked., lasts: lasting}
steps:
  - id: doors
    place: rear
    item: Doors
    ask: Doors, hinges and lock. Closed and locked, or not locked?
    source: [practice]
    answers:
      closed and locked: {gives: [doors locked]}
      not locked: {bad: true}
  - id: brakes
    place: near side
    item: Trailer held
    needs: [doors locked]
    confirm: true
    ask: What holds the trailer, spring brakes or chocks?
    source: [practice]
    answers:
      spring brakes: {}
      chocks: {}
"""


def test_recorded_replies_through_a_real_sound_card_make_a_report(tmp_path: Path) -> None:
    file = tmp_path / "short.yaml"
    file.write_text(SHORT)
    with Card() as card:
        program = Program(
            card, str(file), "--into", str(tmp_path / "out"), "--engine", "pocketsphinx"
        )
        lines = drive(card, str(shipped("drives") / "all-good"), program, noise_db=None, most_s=90)
        assert program.process.wait(20) == 0, "\n".join(lines)
    (folder,) = (tmp_path / "out").iterdir()
    report = json.loads((folder / "report.json").read_text())
    assert report["headline"]["verdict"] == "complete"
    assert list(folder.glob("reply-*.flac"))


def test_ctrl_c_in_the_middle_of_a_hold_loses_nothing(tmp_path: Path) -> None:
    file = tmp_path / "short.yaml"
    file.write_text(SHORT.replace("confirm: true", "caution: Three limbs in contact."))
    with Card() as card:
        program = Program(
            card, str(file), "--into", str(tmp_path / "out"), "--engine", "pocketsphinx"
        )
        drive_until = drive(
            card, str(shipped("drives") / "all-good"), program, noise_db=None, most_s=14
        )
        program.process.send_signal(signal.SIGINT)
        status = program.process.wait(20)
        program.hear(0.5)
    assert status == 1, "\n".join([*drive_until, *program.seen])
    (folder,) = (tmp_path / "out").iterdir()
    last = json.loads((folder / "journal.jsonl").read_text().splitlines()[-1])
    assert last["kind"] in ("stood by", "finished")
