"""The log of decisions: only ever added to, chained, and damage is found."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from pydantic import ValidationError

from voicecheck.desk.log import LOG, add, read, standing
from voicecheck.errors import DeskLogDamaged, DeskNotWritable

WALL = "2026-11-25T08:00:00-06:00"


def _three(folder: Path) -> None:
    add(folder, WALL, kind="repaired", inspection="couple-1", defect=1, who="R. Mechanic")
    add(folder, WALL, kind="taken back", inspection="couple-1", of=1, who="R. Mechanic")
    add(folder, WALL, kind="not needed", inspection="couple-1", defect=1, who="S. Chief", note="é")


def test_marks_come_back_as_they_were_added(tmp_path: Path) -> None:
    assert read(tmp_path) == ()
    _three(tmp_path)
    marks = read(tmp_path)
    assert [(m.n, m.kind, m.who, m.note) for m in marks] == [
        (1, "repaired", "R. Mechanic", ""),
        (2, "taken back", "R. Mechanic", ""),
        (3, "not needed", "S. Chief", "é"),
    ]
    assert [m.n for m in standing(marks)] == [3]


def test_every_flipped_byte_is_found_and_nothing_more_is_written(tmp_path: Path) -> None:
    _three(tmp_path)
    whole = (tmp_path / LOG).read_bytes()
    last = whole.rindex(b"\n", 0, -1)
    for at in range(len(whole) - 1):  # without the last newline: that is a torn tail
        changed = bytearray(whole)
        changed[at] ^= 1 << (at % 8)
        (tmp_path / LOG).write_bytes(changed)
        if b"\n" in changed[last + 1 : -1] or changed.count(b"\n") == 3:
            with pytest.raises(DeskLogDamaged):
                read(tmp_path)
    with pytest.raises(DeskLogDamaged):
        add(tmp_path, WALL, kind="reviewed", inspection="couple-1", who="D. Driver")
    assert (tmp_path / LOG).read_bytes() == bytes(changed)


def test_a_line_taken_out_or_moved_is_found(tmp_path: Path) -> None:
    _three(tmp_path)
    lines = (tmp_path / LOG).read_bytes().splitlines(keepends=True)
    for kept in ([lines[0], lines[2]], [lines[1], lines[0], lines[2]], lines[1:]):
        (tmp_path / LOG).write_bytes(b"".join(kept))
        with pytest.raises(DeskLogDamaged, match="Mark "):
            read(tmp_path)


def test_a_torn_tail_is_cut_at_the_next_mark(tmp_path: Path) -> None:
    _three(tmp_path)
    whole = (tmp_path / LOG).read_bytes()
    (tmp_path / LOG).write_bytes(whole[:-20])
    assert len(read(tmp_path)) == 2
    mark = add(tmp_path, WALL, kind="reviewed", inspection="couple-1", who="D. Driver")
    assert mark.n == 3
    assert [m.kind for m in read(tmp_path)] == ["repaired", "taken back", "reviewed"]


def test_a_mark_without_a_name_is_none(tmp_path: Path) -> None:
    with pytest.raises(ValidationError):
        add(tmp_path, WALL, kind="repaired", inspection="couple-1", defect=1, who="  ")
    assert read(tmp_path) == ()


@pytest.mark.skipif(os.name == "nt", reason="a folder is made unwritable in another way there")
def test_a_log_that_cannot_be_written(tmp_path: Path) -> None:
    (tmp_path / LOG).mkdir()
    with pytest.raises(DeskNotWritable):
        add(tmp_path, WALL, kind="reviewed", inspection="couple-1", who="D. Driver")
