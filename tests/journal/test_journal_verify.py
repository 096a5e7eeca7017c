"""What a supervisor is told about a journal and its recordings."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest
from journal_samples import heard, opened, small

from voicecheck.errors import JournalNotFound
from voicecheck.journal.file import JOURNAL
from voicecheck.journal.format import encode_all
from voicecheck.journal.verify import Finding, verify_journal
from voicecheck.session.records import Record


def _put(folder: Path, records: list[Record]) -> bytes:
    data = encode_all(records)[0]
    (folder / JOURNAL).write_bytes(data)
    return data


def _codes(folder: Path) -> list[str]:
    return [finding.code for finding in verify_journal(folder)[0]]


def _with_audio(folder: Path) -> list[Record]:
    sound = b"fLaC invented"
    (folder / "reply-0002.flac").write_bytes(sound)
    return [
        opened(),
        heard(1, evidence="reply-0002.flac", digest=hashlib.sha256(sound).hexdigest()),
    ]


def test_nothing_to_find(tmp_path: Path) -> None:
    _put(tmp_path, _with_audio(tmp_path))
    findings, contents, whole = verify_journal(tmp_path)
    assert (findings, len(contents.records), whole) == ([], 2, True)


def test_no_inspection(tmp_path: Path) -> None:
    with pytest.raises(JournalNotFound):
        verify_journal(tmp_path)


def test_deleted_audio_is_told_and_is_no_damage(tmp_path: Path) -> None:
    _put(tmp_path, _with_audio(tmp_path))
    (tmp_path / "reply-0002.flac").unlink()
    (finding,) = verify_journal(tmp_path)[0]
    assert (finding.code, finding.grave, finding.record) == ("audio-deleted", False, 2)
    assert finding.text.startswith("Audio deleted")


def test_changed_audio_is_grave_and_named(tmp_path: Path) -> None:
    _put(tmp_path, _with_audio(tmp_path))
    (tmp_path / "reply-0002.flac").write_bytes(b"fLaC another")
    (finding,) = verify_journal(tmp_path)[0]
    assert (finding.code, finding.grave, finding.record) == ("audio-changed", True, 2)
    assert "reply-0002.flac" in finding.text


def test_audio_that_no_record_cites(tmp_path: Path) -> None:
    _put(tmp_path, _with_audio(tmp_path))
    (tmp_path / "reply-0009.flac").write_bytes(b"")
    assert _codes(tmp_path) == ["audio-uncited"]


@pytest.mark.parametrize("name", ["../reply-0001.flac", "/etc/hostname", "reply.exe", "a/b.flac"])
def test_a_recording_outside_the_folder_is_never_opened(tmp_path: Path, name: str) -> None:
    _put(tmp_path, [opened(), heard(1, evidence=name, digest="0" * 64)])
    assert _codes(tmp_path) == ["audio-name"]


def test_the_first_bad_record_is_named_in_words(tmp_path: Path) -> None:
    data = bytearray(_put(tmp_path, small()))
    lines = bytes(data).splitlines(keepends=True)
    offset = sum(map(len, lines[:4]))
    data[offset + 60] ^= 1
    (tmp_path / JOURNAL).write_bytes(data)
    findings, contents, whole = verify_journal(tmp_path)
    assert not whole
    assert len(contents.records) == 4
    (finding,) = findings
    assert finding == Finding("journal-damaged", True, finding.text, 5, offset)
    assert "Record 5" in finding.text
    assert "Records 1 to 4 are whole" in finding.text
    assert '"heard" of step "jaws"' in finding.text
    assert "must not be relied on" in finding.text


def test_a_torn_tail_is_told_and_not_touched(tmp_path: Path) -> None:
    data = _put(tmp_path, small())
    (tmp_path / JOURNAL).write_bytes(data[:-10])
    (finding,) = verify_journal(tmp_path)[0]
    assert (finding.code, finding.grave, finding.record) == ("journal-torn", False, 6)
    assert (tmp_path / JOURNAL).read_bytes() == data[:-10]


def test_empty_and_headless(tmp_path: Path) -> None:
    _put(tmp_path, [])
    assert _codes(tmp_path) == ["journal-empty"]
    _put(tmp_path, small()[1:])
    assert _codes(tmp_path) == ["journal-headless"]
