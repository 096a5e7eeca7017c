"""A journal whose chain is whole and whose records do not fit its checklist: an error with a code.

Found by tests/long/fuzz.py: a forger, or another version, can write any record into a whole chain.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from tests.long.fuzz import journal
from voicecheck.errors import JournalDamaged
from voicecheck.journal.file import JOURNAL
from voicecheck.journal.format import encode_all
from voicecheck.run.due import due
from voicecheck.run.opening import read_inspection, reopen
from voicecheck.run.past import all_past
from voicecheck.session import records as r

CHANGES = {
    "an unknown step": (r.StepStarted, {"step": "nowhere"}),
    "an answer to an unknown step": (r.Answered, {"step": "nowhere"}),
    "an answer to no step": (r.Answered, {"step": ""}),
    "an unknown hazard": (r.StepStarted, {"hazard": "dragons"}),
    "an unknown fact": (r.Answered, {"gives": ("all is well",)}),
    "an unknown outcome": (r.Answered, {"outcome": "splendid"}),
}


@pytest.mark.parametrize("name", CHANGES)
def test_it_is_refused_everywhere_with_the_number_of_the_record(tmp_path: Path, name: str) -> None:
    kind, fields = CHANGES[name]
    records = list(journal()[1][:-1])  # unfinished, so that it could be resumed
    at = next(n for n, record in enumerate(records) if isinstance(record, kind))
    records[at] = replace(records[at], **fields)
    folder = tmp_path / "couple-1"
    folder.mkdir()
    (folder / JOURNAL).write_bytes(encode_all(records)[0])
    for read in (read_inspection, reopen):
        with pytest.raises(JournalDamaged) as refused:
            read(folder)
        assert refused.value.record == at + 1
    past, unreadable = all_past(tmp_path)
    assert (past, unreadable) == ([], ["couple-1"])
    assert [line.what for line in due(past, unreadable, "2026-11-25T18:00:00-07:00")] == [
        "unreadable"
    ]
