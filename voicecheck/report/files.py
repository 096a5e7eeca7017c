"""The report's files beside the journal: write them, and look an inspection over.

``verify`` walks the chain of the journal and the recordings (journal/verify.py), checks the
signature (journal/signature.py), makes the report again from the records and compares it with the
files on disk byte for byte (J3).
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

from voicecheck.errors import VoicecheckError
from voicecheck.journal.file import write_beside
from voicecheck.journal.format import Contents
from voicecheck.journal.signature import check
from voicecheck.journal.verify import Finding, verify_journal
from voicecheck.report.build import ChecklistText, Report, build, to_json
from voicecheck.report.html import to_html
from voicecheck.report.pdf import to_pdf
from voicecheck.session.records import Opened, Record

JSON = "report.json"
HTML = "report.html"
PDF = "report.pdf"


def derive(records: Sequence[Record], compiled: ChecklistText) -> tuple[Report, dict[str, bytes]]:
    """The report, and the bytes of its files by name."""
    report = build(records, compiled)
    return report, {JSON: to_json(report), HTML: to_html(report), PDF: to_pdf(report)}


def write(folder: Path, records: Sequence[Record], compiled: ChecklistText) -> Report:
    """Put the report's three files into the folder. JournalNotWritable when it cannot be."""
    report, files = derive(records, compiled)
    for name, data in files.items():
        write_beside(folder, name, data)
    return report


def verify(
    folder: Path,
    compile_from: Callable[[Opened], ChecklistText],
    known: Mapping[str, Ed25519PublicKey] | None = None,
) -> list[Finding]:
    """What there is to say about an inspection, in words for a supervisor.

    ``compile_from`` makes the checklist from the texts in the opening record; ``known`` are public
    keys of devices by name. A finding with ``grave`` means that the inspection, or the part named,
    must not be relied on. JournalNotFound and JournalNotWritable (unreadable) are raised.
    """
    findings, contents, whole = verify_journal(folder)
    findings += check(folder, contents, whole, known or {})
    first = contents.records[0][1] if contents.records else None
    if not whole:
        findings.append(
            Finding(
                "report-not-compared",
                False,
                "The report was not compared: it cannot be made from a damaged journal.",
            )
        )
    elif isinstance(first, Opened):
        findings += _compare(folder, contents, first, compile_from)
    return findings


def _compare(
    folder: Path,
    contents: Contents,
    opened: Opened,
    compile_from: Callable[[Opened], ChecklistText],
) -> list[Finding]:
    if not any((folder / name).exists() for name in (JSON, HTML, PDF)):
        return [Finding("report-missing", False, "No report has been made yet.")]
    records = [record for _, record in contents.records]
    try:
        compiled = compile_from(opened)
        _, files = derive(records, compiled)
        made_from = _records_of(folder / JSON)
        older = (
            derive(records[:made_from], compiled)[1]
            if made_from is not None and 0 < made_from < len(records)
            else {}
        )
    except VoicecheckError as error:
        return [
            Finding(
                "report-not-compared",
                True,
                f"The report cannot be made again by this version: {error.what} The inspection "
                f"was run by {opened.program or 'an unnamed version'}.",
            )
        ]
    findings = []
    if made_from is not None and made_from > len(records):
        findings.append(
            Finding(
                "journal-shortened",
                True,
                f"{JSON} was made from {made_from} records, the journal holds {len(records)}: "
                f"the end of the journal is gone, from record {len(records) + 1} on.",
                len(records) + 1,
            )
        )
    for name, data in files.items():
        try:
            on_disk = (folder / name).read_bytes()
        except FileNotFoundError:
            findings.append(Finding("report-missing", False, f"{name} is not there."))
            continue
        except OSError as error:
            text = f"{name} cannot be read: {error.strerror or error}."
            findings.append(Finding("report-unreadable", True, text))
            continue
        if on_disk == data:
            continue
        if on_disk == older.get(name):
            text = f"{name} was made from the first {made_from} of {len(records)} records only."
            findings.append(Finding("report-older", False, f"{text} Make it again."))
        else:
            findings.append(
                Finding(
                    "report-differs",
                    True,
                    f"{name} is not what the journal gives: the file was changed after it was "
                    "made, the journal was written anew, or another version made it (the "
                    f"inspection was run by {opened.program or 'an unnamed version'}). Find out "
                    "which before relying on either.",
                )
            )
    return findings


def _records_of(path: Path) -> int | None:
    """How many records a report.json says it was made from; None when it does not say."""
    try:
        value = json.loads(path.read_bytes())["chain"]["records"]
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return None
    return value if type(value) is int else None
