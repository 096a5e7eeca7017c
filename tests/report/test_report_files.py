"""The report's files beside the journal, and looking an inspection over."""

from __future__ import annotations

import dataclasses
import hashlib
from collections.abc import Callable
from pathlib import Path

import pytest
from report_scenarios import CHECKLIST, Recorder, all_good

from voicecheck.errors import ChecklistError, JournalNotFound, JournalNotWritable
from voicecheck.journal.file import JOURNAL, JournalFile
from voicecheck.journal.format import encode_all
from voicecheck.journal.verify import Finding
from voicecheck.report.build import ChecklistText, build, to_json
from voicecheck.report.files import HTML, JSON, PDF, verify, write
from voicecheck.session.records import HeardReply, Opened, Record


def _compile(opened: Opened) -> ChecklistText:
    return CHECKLIST


def _verify(folder: Path, compile_from: Callable[[Opened], ChecklistText]) -> list[Finding]:
    """What verify finds in an inspection that is not signed, apart from that."""
    findings = verify(folder, compile_from)
    unsigned = [finding for finding in findings if finding.code == "not-signed"]
    assert [finding.grave for finding in unsigned] == [False]
    return [finding for finding in findings if finding not in unsigned]


def _inspection(folder: Path) -> list[Record]:
    """A typed inspection on disk with its report: no recordings."""
    recorder = Recorder(source="typed")
    recorder.to_the_coupling()
    recorder.coupled()
    recorder.rest()
    records = recorder.finish("complete")
    with JournalFile.create(folder) as journal:
        journal.append(records)
    write(folder, records, CHECKLIST)
    return records


def test_a_whole_inspection_has_no_findings(tmp_path: Path) -> None:
    records = _inspection(tmp_path)
    assert _verify(tmp_path, _compile) == []
    assert (tmp_path / JSON).read_bytes() == to_json(build(records, CHECKLIST))


def test_no_inspection(tmp_path: Path) -> None:
    with pytest.raises(JournalNotFound):
        _verify(tmp_path, _compile)


@pytest.mark.parametrize("name", [JSON, HTML, PDF])
def test_a_changed_report_is_found(tmp_path: Path, name: str) -> None:
    _inspection(tmp_path)
    path = tmp_path / name
    changed = bytearray(path.read_bytes())
    changed[len(changed) // 2] ^= 1
    path.write_bytes(changed)
    (finding,) = _verify(tmp_path, _compile)
    assert (finding.code, finding.grave) == ("report-differs", True)
    assert name in finding.text


def test_a_tail_cut_off_whole_is_found_by_the_report(tmp_path: Path) -> None:
    records = _inspection(tmp_path)
    (tmp_path / JOURNAL).write_bytes(encode_all(records[:-2])[0])
    found = {finding.code: finding for finding in _verify(tmp_path, _compile)}
    assert found["journal-shortened"].grave
    assert found["journal-shortened"].record == len(records) - 1
    assert f"from {len(records)} records" in found["journal-shortened"].text


def test_a_report_from_before_the_end_is_told(tmp_path: Path) -> None:
    records = _inspection(tmp_path)
    write(tmp_path, records[:-2], CHECKLIST)
    found = _verify(tmp_path, _compile)
    assert [(finding.code, finding.grave) for finding in found] == [("report-older", False)] * 3
    (tmp_path / HTML).write_bytes((tmp_path / HTML).read_bytes() + b" ")
    found = _verify(tmp_path, _compile)
    assert [(finding.code, finding.grave) for finding in found] == [
        ("report-older", False),
        ("report-differs", True),
        ("report-older", False),
    ]


def test_a_journal_written_anew_from_end_to_end_is_found_by_the_report(tmp_path: Path) -> None:
    records = _inspection(tmp_path)
    index = next(i for i, x in enumerate(records) if isinstance(x, HeardReply))
    old = records[index]
    assert isinstance(old, HeardReply)
    records[index] = dataclasses.replace(old, words="something else")
    (tmp_path / JOURNAL).write_bytes(encode_all(records)[0])
    assert "report-differs" in [finding.code for finding in _verify(tmp_path, _compile)]


def test_a_missing_report_is_no_damage(tmp_path: Path) -> None:
    _inspection(tmp_path)
    (tmp_path / HTML).unlink()
    (finding,) = _verify(tmp_path, _compile)
    assert (finding.code, finding.grave) == ("report-missing", False)
    (tmp_path / JSON).unlink()
    (tmp_path / PDF).unlink()
    (finding,) = _verify(tmp_path, _compile)
    assert (finding.code, finding.grave) == ("report-missing", False)


def test_damage_in_the_journal_names_the_record_and_leaves_the_report_alone(
    tmp_path: Path,
) -> None:
    _inspection(tmp_path)
    data = bytearray((tmp_path / JOURNAL).read_bytes())
    lines = bytes(data).splitlines(keepends=True)
    data[sum(map(len, lines[:9])) + 30] ^= 4
    (tmp_path / JOURNAL).write_bytes(data)
    first, second = _verify(tmp_path, _compile)
    assert (first.code, first.grave, first.record) == ("journal-damaged", True, 10)
    assert second.code == "report-not-compared"


def test_deleted_recordings_are_told_once(tmp_path: Path) -> None:
    records = all_good()
    with JournalFile.create(tmp_path) as journal:
        journal.append(records)
    write(tmp_path, records, CHECKLIST)
    (finding,) = _verify(tmp_path, _compile)
    assert (finding.code, finding.grave) == ("audio-deleted", False)


def test_recordings_are_compared_with_their_digests(tmp_path: Path) -> None:
    records = all_good()
    with JournalFile.create(tmp_path) as journal:
        journal.append(records)
    write(tmp_path, records, CHECKLIST)
    for n, record in enumerate(records, 1):
        if isinstance(record, HeardReply):
            sound = f"sound {n}".encode()
            assert hashlib.sha256(sound).hexdigest() == record.digest
            (tmp_path / record.evidence).write_bytes(sound)
    assert _verify(tmp_path, _compile) == []


def test_a_checklist_that_this_version_cannot_read(tmp_path: Path) -> None:
    _inspection(tmp_path)

    def refuse(opened: Opened) -> ChecklistText:
        raise ChecklistError("The checklist has a field of another version.", "use that version")

    (finding,) = _verify(tmp_path, refuse)
    assert (finding.code, finding.grave) == ("report-not-compared", True)
    assert "another version" in finding.text


def test_a_report_that_cannot_be_written_is_an_error_of_the_disk(tmp_path: Path) -> None:
    (tmp_path / JSON).mkdir()
    with pytest.raises(JournalNotWritable):
        write(tmp_path, all_good(), CHECKLIST)
