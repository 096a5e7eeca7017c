"""Looks an inspection over: the chain of its journal and the recordings that it cites.

Findings are sentences for a supervisor. A finding is grave when the inspection, or the part of it
that is named, must not be relied on. Recordings may be deleted after their date; that is told and
is no damage, because what was heard stands in the record.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from voicecheck.errors import JournalDamaged
from voicecheck.journal import file as journal_file
from voicecheck.journal import format as journal_format
from voicecheck.journal.format import Contents
from voicecheck.session.records import HeardReply, MemoTaken, Opened, Record

AUDIO_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]*\.(?:flac|wav)")
"""A recording's name: a plain file name in the inspection's folder."""


@dataclass(frozen=True)
class Finding:
    """``code``: kebab-case, stable. ``record``: number, 0 when none. ``offset``: byte, -1."""

    code: str
    grave: bool
    text: str
    record: int = 0
    offset: int = -1


def verify_journal(folder: Path) -> tuple[list[Finding], Contents, bool]:
    """Findings, the whole records, and whether the journal is whole.

    JournalNotFound and JournalNotWritable (unreadable) are raised, not reported.
    """
    contents, damage = journal_format.read_to_damage(journal_file.read_bytes(folder))
    findings: list[Finding] = []
    if damage is not None:
        findings.append(_damage(contents, damage))
    if contents.torn:
        n = len(contents.records) + 1
        findings.append(
            Finding(
                "journal-torn",
                False,
                f"The writing of record {n} was cut off ({len(contents.torn)} bytes). It never "
                "counted; it is set aside when the inspection is resumed.",
                n,
                contents.good_bytes,
            )
        )
    findings += [
        Finding(
            "torn-tail-kept",
            False,
            f"The writing of a record was once cut off; its remains are kept in {path.name}.",
        )
        for path in sorted(folder.glob("torn-*.bin"))
    ]
    if contents.records and not isinstance(contents.records[0][1], Opened):
        findings.append(
            Finding("journal-headless", True, "Record 1 does not open an inspection.", 1, 0)
        )
    if not contents.records and damage is None:
        findings.append(Finding("journal-empty", False, "The journal holds no records yet."))
    findings += _audio(folder, contents, damage is None)
    findings += _carried(folder, contents)
    return findings, contents, damage is None


def _damage(contents: Contents, damage: JournalDamaged) -> Finding:
    n = damage.record
    if contents.records:
        last = contents.records[-1][1]
        step = getattr(last, "step", "")
        about = f' of step "{step}"' if step else ""
        before = (
            f'Records 1 to {n - 1} are whole; the last of them is "{last.kind}"{about}, '
            f"at {last.at.wall}."
        )
    else:
        before = "No record before it is left."
    return Finding(
        "journal-damaged",
        True,
        f"{damage.what} {before} Record {n} and everything after it must not be relied on.",
        n,
        damage.offset,
    )


def _carried(folder: Path, contents: Contents) -> list[Finding]:
    """What was carried is looked up in the inspection beside this one that it names."""
    opened = contents.records[0][1] if contents.records else None
    if not isinstance(opened, Opened):
        return []
    findings = []
    origins = [*(x.origin for x in opened.carried), *(x.origin for x in opened.defects)]
    for name in dict.fromkeys(x.inspection for x in origins):
        records = sorted({x.record for x in origins if x.inspection == name})
        numbers = ", ".join(map(str, records))
        try:
            if Path(name).name != name:
                raise FileNotFoundError
            lines = (folder.parent / name / journal_file.JOURNAL).read_bytes().split(b"\n")
        except OSError:
            text = f"What was carried from {name}, record(s) {numbers}, cannot be looked up: it is"
            findings.append(Finding("carried-absent", False, f"{text} not beside this one.", 1))
            continue
        wrong = [
            x.record
            for x in origins
            if x.inspection == name
            and not (
                0 < x.record < len(lines) and journal_format.digest(lines[x.record - 1]) == x.digest
            )
        ]
        if wrong:
            numbers = ", ".join(map(str, sorted(set(wrong))))
            text = f"Record(s) {numbers} of {name} are not those that were carried into this one:"
            more = "one of the two journals was changed. The carried answers must not be relied on."
            findings.append(Finding("carried-differs", True, f"{text} {more}", 1))
    return findings


def cited(record: Record) -> tuple[str, str]:
    """File name and digest of the recording that a record cites, empty when none."""
    if isinstance(record, HeardReply | MemoTaken):
        return record.evidence, record.digest
    return "", ""


def _audio(folder: Path, contents: Contents, whole: bool) -> list[Finding]:
    findings = []
    known: set[str] = set()
    deleted: list[int] = []
    for n, record in contents.records:
        name, digest = cited(record)
        if not name:
            continue
        known.add(name)
        if not AUDIO_NAME.fullmatch(name):
            findings.append(
                Finding(
                    "audio-name",
                    True,
                    f"Record {n} cites {name!r}, which is not the name of a recording "
                    "in this folder.",
                    n,
                )
            )
            continue
        try:
            data = (folder / name).read_bytes()
        except FileNotFoundError:
            deleted.append(n)
            continue
        except OSError as error:
            findings.append(
                Finding(
                    "audio-unreadable",
                    True,
                    f"The recording {name} of record {n} cannot be read: "
                    f"{error.strerror or error}.",
                    n,
                )
            )
            continue
        if journal_format.digest(data) != digest:
            findings.append(
                Finding(
                    "audio-changed",
                    True,
                    f"The recording {name} is not the one that record {n} was made from: it was "
                    "changed or exchanged. The words in the record stand, the recording does not.",
                    n,
                )
            )
    if deleted:
        numbers = ", ".join(map(str, deleted))
        findings.append(
            Finding(
                "audio-deleted",
                False,
                f"Audio deleted: {len(deleted)} recording(s), of record(s) {numbers}. "
                "The words that were heard stand in the records.",
                deleted[0],
            )
        )
    if whole:
        findings += [
            Finding("audio-uncited", False, f"The recording {path.name} belongs to no record.")
            for path in sorted(folder.glob("reply-*"))
            if path.name not in known
        ]
    return findings
