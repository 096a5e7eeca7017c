"""What people decided at the desk: an append-only log, chained like a journal.

The rules:

1. ``desk.jsonl`` lies in the folder of the inspections. One mark a line, in canonical JSON (RFC
   8785), each with its number, the time, the SHA-256 of the line before it (``prev``) and of itself
   (``sum``). Nothing is ever changed or removed; a mistake is taken back by a further mark.
2. A mark counts when it is on the disk (fsync). A torn tail is cut at the next writing; damage
   elsewhere ends the reading with the number of the first bad mark, and nothing more is written
   until a person has looked.
3. The log is the only thing at the desk that cannot be made again from the reports.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterable
from pathlib import Path
from typing import Annotated, Literal, get_args

from filelock import FileLock
from pydantic import BaseModel, ConfigDict, Field, StringConstraints, ValidationError

from voicecheck.errors import DeskLogDamaged, DeskNotWritable
from voicecheck.journal.format import GENESIS, canonical, digest

LOG = "desk.jsonl"
Kind = Literal["repaired", "not needed", "reviewed", "taken back"]
KINDS: tuple[Kind, ...] = get_args(Kind)
Text = Annotated[str, StringConstraints(strip_whitespace=True, max_length=500)]


class Mark(BaseModel):
    """One decision. ``defect``: its number in the report, 0 for the whole inspection.

    ``repaired`` and ``not needed`` are the certificate of 49 CFR 396.11(a)(3) for one defect;
    ``reviewed`` is the next driver's review of 396.13; ``taken back`` withdraws mark ``of``.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    n: Annotated[int, Field(ge=1)]
    wall: str
    kind: Kind
    inspection: Annotated[str, StringConstraints(min_length=1, max_length=200)]
    defect: Annotated[int, Field(ge=0)] = 0
    of: Annotated[int, Field(ge=0)] = 0
    who: Annotated[Text, StringConstraints(min_length=1)]
    note: Text = ""


def read(folder: Path) -> tuple[Mark, ...]:
    """The marks of the desk in ``folder``; none when there is no log. DeskLogDamaged."""
    return _read(folder)[0]


def add(folder: Path, wall: str, **fields: object) -> Mark:
    """Add one mark; it is on the disk on return. DeskLogDamaged, DeskNotWritable, ValidationError.

    ``fields``: those of :class:`Mark` other than ``n`` and ``wall``.
    """
    file = folder / LOG
    try:
        with FileLock(folder / f"{LOG}.lock", timeout=10):
            marks, head, good = _read(folder)
            mark = Mark(n=len(marks) + 1, wall=wall, **fields)  # type: ignore[arg-type]
            fd = os.open(file, os.O_RDWR | os.O_CREAT | getattr(os, "O_BINARY", 0), 0o644)
            try:
                os.ftruncate(fd, good)
                os.lseek(fd, good, os.SEEK_SET)
                data = encode(mark, head)
                while data:
                    data = data[os.write(fd, data) :]
                os.fsync(fd)
            finally:
                os.close(fd)
    except OSError as error:
        raise DeskNotWritable(
            f"{file} cannot be written: {error.strerror or error}.",
            "make space, or make the folder writable; then decide again",
        ) from error
    return mark


def encode(mark: Mark, prev: str) -> bytes:
    """One line with its newline."""
    line = {**mark.model_dump(), "prev": prev}
    line["sum"] = digest(canonical(line))
    return canonical(line) + b"\n"


def standing(marks: Iterable[Mark]) -> tuple[Mark, ...]:
    """The marks that were not taken back."""
    marks = tuple(marks)
    gone = {mark.of for mark in marks if mark.kind == "taken back"}
    return tuple(mark for mark in marks if mark.n not in gone and mark.kind != "taken back")


def _read(folder: Path) -> tuple[tuple[Mark, ...], str, int]:
    """Marks, hash of the last line, and the length of the whole lines in bytes."""
    try:
        data = (folder / LOG).read_bytes()
    except FileNotFoundError:
        return (), GENESIS, 0
    except OSError as error:
        raise DeskNotWritable(
            f"{folder / LOG} cannot be read: {error.strerror or error}.",
            "check the disk and who may read the folder",
        ) from error
    marks: list[Mark] = []
    prev, offset = GENESIS, 0
    while (end := data.find(b"\n", offset)) >= 0:
        line = data[offset:end]
        mark = _decoded(line, prev)
        if mark is None or mark.n != len(marks) + 1:
            raise DeskLogDamaged(
                f"Mark {len(marks) + 1} of {folder / LOG} is damaged at byte {offset}.",
                "keep the file, and bring back a copy that was made earlier",
            )
        marks.append(mark)
        prev, offset = digest(line), end + 1
    return tuple(marks), prev, offset


def _decoded(line: bytes, prev: str) -> Mark | None:
    try:
        value = json.loads(line.decode("utf-8"))
        said_prev, said_sum = value.pop("prev"), value.pop("sum")
        mark = Mark.model_validate(value)
    except (ValueError, KeyError, AttributeError, RecursionError, ValidationError):
        return None
    same = encode(mark, prev) == line + b"\n"
    return mark if same and said_prev == prev and isinstance(said_sum, str) else None
