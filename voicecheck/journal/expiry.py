"""Recordings whose date has come: found, and deleted when told to. The records stay whole.

The date is counted from the day on which the inspection began, by the carrier's setting that stands
in the first record. Without one no recording is ever named here. A recording that differs from its
record stays: it is a sign of a change, which `verify` tells.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path

from voicecheck.errors import JournalNotWritable, VoicecheckError
from voicecheck.journal import file as journal_file
from voicecheck.journal.format import digest
from voicecheck.journal.verify import AUDIO_NAME, cited
from voicecheck.session.records import Opened


@dataclass(frozen=True)
class Expired:
    """One inspection. ``files``: recordings as they were made; ``changed``: others."""

    folder: Path
    deletable_after: date
    files: tuple[Path, ...]
    changed: tuple[Path, ...] = ()


def deletable_after(opened: Opened) -> date | None:
    """The last day on which the recordings must be kept; None when no date is set."""
    if not opened.audio_days:
        return None
    try:
        return datetime.fromisoformat(opened.at.wall).date() + timedelta(opened.audio_days)
    except (ValueError, OverflowError):
        return None


def expired(parent: Path, today: date) -> tuple[list[Expired], list[str]]:
    """The inspections under ``parent`` with recordings past their date; which are unreadable."""
    found, unreadable = [], []
    for journal in sorted(parent.glob(f"*/{journal_file.JOURNAL}")):
        folder = journal.parent
        try:
            records = [record for _, record in journal_file.read(folder).records]
        except VoicecheckError:
            unreadable.append(folder.name)
            continue
        if not records or not isinstance(records[0], Opened):
            continue
        last = deletable_after(records[0])
        if last is None or last >= today:
            continue
        files: list[Path] = []
        changed: list[Path] = []
        for record in records:
            name, recorded = cited(record)
            path = folder / name
            if not AUDIO_NAME.fullmatch(name) or path.is_symlink() or not path.is_file():
                continue
            (files if digest(path.read_bytes()) == recorded else changed).append(path)
        if files or changed:
            found.append(
                Expired(folder, last, tuple(dict.fromkeys(files)), tuple(dict.fromkeys(changed)))
            )
    return found, unreadable


def delete(inspection: Expired) -> None:
    """Delete its recordings, not those that were changed. JournalNotWritable."""
    for path in inspection.files:
        try:
            path.unlink(missing_ok=True)
        except OSError as error:
            raise JournalNotWritable(
                f"{path} cannot be deleted: {error.strerror or error}.",
                "make the folder writable, then give the command again",
            ) from error
