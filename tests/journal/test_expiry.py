"""Recordings past their date: named first, deleted when told to, the chain whole afterwards."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

import pytest

from tests.desk.generated import inspection, sounding
from voicecheck import cli
from voicecheck.journal.expiry import expired
from voicecheck.journal.verify import verify_journal

DAYS = 30
LAST = date(2026, 10, 1)  # the first generated inspection begins on 1 September 2026


def recorded(parent: Path, n: int, days: int = DAYS) -> tuple[Path, Path]:
    """The folder of a generated inspection, and its recording."""
    folder = sounding(parent, inspection(n, "complete", audio_days=days), b"a voice")
    (sound,) = folder.glob("*.flac")
    return folder, sound


def test_nothing_is_named_on_the_last_day_and_all_on_the_next(tmp_path: Path) -> None:
    folder, sound = recorded(tmp_path, 0)
    recorded(tmp_path, 1, days=0)  # no date is set
    assert expired(tmp_path, LAST) == ([], [])
    ((found,), unreadable) = expired(tmp_path, LAST.replace(day=2))
    assert unreadable == []
    assert (found.folder, found.deletable_after, found.files) == (folder, LAST, (sound,))


def test_shown_then_deleted_and_the_chain_stays_whole(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder, sound = recorded(tmp_path, 0)
    _, other = recorded(tmp_path, 1, days=0)
    (folder / "note.txt").write_text("not a recording")
    command = ["delete-recordings", str(tmp_path), "--at", "2026-10-02"]
    assert cli.main(command) == 0
    assert f"{folder.name}: 1 recording(s), kept until 2026-10-01" in capsys.readouterr().out
    assert sound.exists()
    assert cli.main([*command, "--yes"]) == 0
    assert not sound.exists()
    assert other.exists()
    assert (folder / "note.txt").exists()
    findings, contents, whole = verify_journal(folder)
    assert whole
    assert [finding.code for finding in findings] == ["audio-deleted"]
    assert len(contents.records) == len(inspection(0, "complete"))
    capsys.readouterr()
    assert cli.main([*command, "--yes"]) == 0
    assert capsys.readouterr().out == "No recordings whose date is over.\n"


def test_a_changed_recording_and_a_damaged_inspection_stay(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    _, changed = recorded(tmp_path, 0)
    changed.write_bytes(b"another voice")
    damaged, kept = recorded(tmp_path, 1)
    journal = damaged / "journal.jsonl"
    journal.write_bytes(journal.read_bytes().replace(b"Harrow", b"Narrow", 1))
    command = ["delete-recordings", str(tmp_path), "--at", "2027-01-01", "--yes"]
    assert cli.main([*command, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["unreadable"] == [damaged.name]
    assert told["inspections"][0]["changed"] == [str(changed)]
    assert changed.exists()
    assert kept.exists()
    assert cli.main(command) == 0
    told = capsys.readouterr().out
    assert f"{changed.name} is not as it was recorded and stays" in told
    assert f"{damaged.name}: cannot be read" in told


def test_a_link_is_not_followed(tmp_path: Path) -> None:
    _, sound = recorded(tmp_path, 0)
    outside = tmp_path / "outside.flac"
    sound.rename(outside)
    sound.symlink_to(outside)
    assert expired(tmp_path, date(2027, 1, 1)) == ([], [])


@pytest.mark.parametrize("day", ["tomorrow", "2026-13-01"])
def test_what_is_no_day_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], day: str
) -> None:
    assert cli.main(["delete-recordings", str(tmp_path), "--at", day]) == 2
    assert "is no day" in capsys.readouterr().err
