"""Faults of the clock: set back, another zone."""

from __future__ import annotations

import datetime
import json
import os
from pathlib import Path

import pytest

from tests.faults.table import Row, fault
from tests.faults.yard import ASKED, SAFE, put_list
from tests.run import cli_process
from tests.run.cli_process import command, converse, only
from voicecheck.run.opening import SHIFT_S, seconds_between
from voicecheck.session.records import Stamp

SET_BACK = """
import datetime, os
class Back(datetime.datetime):
    @classmethod
    def now(cls, tz=None):
        shift = 1 if os.path.exists(FLAG) else 0
        return super().now(tz) - datetime.timedelta(hours=shift)
datetime.datetime = Back
"""


@pytest.fixture
def patched(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The wall clock of each process is an hour behind while the file is there."""
    flag, folder = tmp_path / "flag", tmp_path / "patch"
    folder.mkdir()
    (folder / "sitecustomize.py").write_text(f"FLAG = {str(flag)!r}\n{SET_BACK}")
    usual = cli_process.environment

    def environment(home: Path) -> dict[str, str]:
        kept = usual(home)
        return {**kept, "PYTHONPATH": f"{folder}{os.pathsep}{kept['PYTHONPATH']}"}

    monkeypatch.setattr(cli_process, "environment", environment)
    return flag


def stamps(folder: Path) -> list[tuple[datetime.datetime, int]]:
    lines = (folder / "journal.jsonl").read_text().splitlines()
    return [(datetime.datetime.fromisoformat(x["wall"]), x["mono"]) for x in map(json.loads, lines)]


@fault(
    "Clock set back an hour in the middle",
    by="the program's wall clock is replaced by one that is an hour behind from the first reply on "
    "(the machine's own cannot be set in a test)",
    says=("Rear. What holds the trailer",),
    keeps=("answered: good", "finished: complete"),
    note="Nothing is said of it. Waits and lifetimes of facts use the steady clock; the "
    "records keep "
    "both clocks, in the order of their numbers.",
)
def test_set_back(row: Row, tmp_path: Path, patched: Path) -> None:
    def reply(sentence: str) -> str | None:
        if ASKED in sentence:
            patched.touch()
            return "closed and locked"
        return "spring brakes" if "What holds" in sentence else None

    words = ("run", str(put_list(tmp_path)), "--typed", "--into", str(tmp_path / "out"))
    talk = converse(tmp_path, *words, reply=reply)
    assert talk.status == 0, talk.errors
    folder = only(tmp_path)
    row.check(talk.lines[1:], folder)
    kept = stamps(folder)
    assert kept[-1][0] < kept[0][0]
    assert [mono for _, mono in kept] == sorted(mono for _, mono in kept)
    assert command(tmp_path, "verify", str(folder)).returncode == 0


@fault(
    "Clock set back an hour before a resume",
    by="the program is killed, and its wall clock is an hour behind when it is resumed",
    says=(SAFE, "Resuming.", ASKED),
    keeps=("make safe: crank", "resumed"),
    note="The time that passed is the more of what both clocks show, so the end of the shift "
    "cannot "
    "be put off by setting the clock back.",
)
def test_set_back_before_resume(row: Row, tmp_path: Path, patched: Path) -> None:
    words = ("run", str(put_list(tmp_path)), "--typed", "--into", str(tmp_path / "out"))
    converse(tmp_path, *words, reply=lambda sentence: None, kill_at=ASKED)
    patched.touch()
    folder = only(tmp_path)
    again = command(tmp_path, "resume", str(folder), "--typed", said="")
    row.check(again.stdout.splitlines(), folder)


@fault(
    "Another time zone at the resume",
    by="the program is killed and resumed with `TZ` set to a zone nine hours away",
    says=(SAFE, "Resuming.", ASKED),
    keeps=("make safe: crank", "resumed"),
    note="Each record keeps its offset; hours between zones are no hours that passed.",
)
def test_another_zone(row: Row, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    words = ("run", str(put_list(tmp_path)), "--typed", "--into", str(tmp_path / "out"))
    converse(tmp_path, *words, reply=lambda sentence: None, kill_at=ASKED)
    usual = cli_process.environment
    monkeypatch.setattr(cli_process, "environment", lambda home: {**usual(home), "TZ": "XXX-9"})
    folder = only(tmp_path)
    again = command(tmp_path, "resume", str(folder), "--typed", said="")
    row.check(again.stdout.splitlines(), folder)
    offsets = {wall.utcoffset() for wall, _ in stamps(folder)}
    assert datetime.timedelta(hours=9) in offsets
    assert len(offsets) == 2


@pytest.mark.parametrize(
    ("wall", "mono_s", "passed"),
    [
        ("2026-11-25T05:00:00+00:00", 5 * 3600, 5 * 3600),  # set back an hour, five have passed
        ("2026-11-25T11:00:00+00:00", -900, 5 * 3600),  # started anew, the wall clock is right
        ("2026-11-25T15:00:30+09:00", 30, 30),  # another zone
        ("2026-11-25T05:00:00+00:00", -900, 0),  # neither tells
    ],
)
def test_time_passed_is_the_more_of_both_clocks(wall: str, mono_s: int, passed: int) -> None:
    before = Stamp("2026-11-25T06:00:00+00:00", 1_000_000)
    assert seconds_between(before, Stamp(wall, 1_000_000 + mono_s * 1000)) == passed
    assert SHIFT_S == 4 * 3600
