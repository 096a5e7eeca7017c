"""The journal on disk: J1, one writer, torn tails, disks that refuse."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from journal_samples import small, stamp

from voicecheck.errors import (
    JournalBusy,
    JournalDamaged,
    JournalNotFound,
    JournalNotWritable,
)
from voicecheck.journal import file as journal_file
from voicecheck.journal.file import JOURNAL, JournalFile, read, write_beside
from voicecheck.journal.format import encode_all
from voicecheck.session.records import Record, Said


def _records(folder: Path) -> list[Record]:
    return [record for _, record in read(folder).records]


def test_created_appended_closed_opened_again(tmp_path: Path) -> None:
    folder = tmp_path / "yard" / "HL-0007"
    records = small()
    with JournalFile.create(folder) as journal:
        assert journal.append(records[:1]) == (1,)
        assert journal.append(records[1:4]) == (2, 3, 4)
        assert journal.append([]) == ()
    with JournalFile.open(folder) as journal:
        assert journal.records == tuple(enumerate(records[:4], 1))
        assert journal.append(records[4:]) == (5, 6)
        assert journal.head == encode_all(records)[1]
    assert (folder / JOURNAL).read_bytes() == encode_all(records)[0]


def test_j1_a_record_is_on_disk_when_append_returns(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """J1 A record is on disk before anything that follows from it is said."""
    calls: list[str] = []
    real_write, real_fsync = os.write, os.fsync

    def write(fd: int, data: bytes) -> int:
        calls.append("write")
        return real_write(fd, data)

    def fsync(fd: int) -> None:
        calls.append("fsync folder" if os.path.isdir(f"/proc/self/fd/{fd}") else "fsync file")
        real_fsync(fd)

    monkeypatch.setattr(os, "write", write)
    monkeypatch.setattr(os, "fsync", fsync)
    with JournalFile.create(tmp_path / "a") as journal:
        if sys.platform == "linux":
            assert calls == ["fsync file", "fsync folder", "fsync folder"]
        calls.clear()
        journal.append(small())
        assert calls[:2] == ["write", "fsync file"]
        assert calls.count("write") == 1


def test_create_refuses_a_folder_with_an_inspection(tmp_path: Path) -> None:
    with JournalFile.create(tmp_path) as journal:
        journal.append(small())
    with pytest.raises(JournalNotWritable, match="already holds"):
        JournalFile.create(tmp_path)
    assert _records(tmp_path) == small()


def test_no_inspection_there(tmp_path: Path) -> None:
    for folder in (tmp_path, tmp_path / "nowhere"):
        with pytest.raises(JournalNotFound):
            JournalFile.open(folder)
        with pytest.raises(JournalNotFound):
            read(folder)
    assert list(tmp_path.iterdir()) == []


def test_j2_cut_at_every_byte_is_opened_and_goes_on(tmp_path: Path) -> None:
    records = small()
    data, _ = encode_all(records)
    ends = [i + 1 for i, byte in enumerate(data) if byte == 0x0A]
    for cut in {*range(0, len(data), 17), *ends, *(end - 1 for end in ends)}:
        folder = tmp_path / str(cut)
        folder.mkdir(exist_ok=True)
        (folder / JOURNAL).write_bytes(data[:cut])
        whole = sum(end <= cut for end in ends)
        tail = data[([0, *ends])[whole] : cut]
        with JournalFile.open(folder) as journal:
            assert journal.count == whole
            if tail:
                assert journal.torn is not None
                assert journal.torn.name == f"torn-{whole + 1}.bin"
                assert journal.torn.read_bytes() == tail
            else:
                assert journal.torn is None
            journal.append(records[whole:])
        assert (folder / JOURNAL).read_bytes() == data


def test_a_second_torn_tail_of_the_same_number_keeps_both(tmp_path: Path) -> None:
    for tail in (b'{"bo', b'{"body":{'):
        with open(tmp_path / JOURNAL, "ab") as file:
            file.write(tail)
        JournalFile.open(tmp_path).close()
    kept = sorted(path.name for path in tmp_path.glob("torn-*"))
    assert kept == ["torn-1-2.bin", "torn-1.bin"]
    assert (tmp_path / "torn-1.bin").read_bytes() == b'{"bo'
    assert (tmp_path / "torn-1-2.bin").read_bytes() == b'{"body":{'


def test_damage_in_the_middle_is_not_opened_and_not_touched(tmp_path: Path) -> None:
    data = bytearray(encode_all(small())[0])
    data[len(data) // 2] ^= 1
    (tmp_path / JOURNAL).write_bytes(data)
    with pytest.raises(JournalDamaged):
        JournalFile.open(tmp_path)
    assert (tmp_path / JOURNAL).read_bytes() == data
    with pytest.raises(JournalDamaged):  # the lock was let go: the same error, not JournalBusy
        JournalFile.open(tmp_path)


def test_two_writers_in_one_process(tmp_path: Path) -> None:
    with JournalFile.create(tmp_path) as journal:
        journal.append(small()[:1])
        with pytest.raises(JournalBusy):
            JournalFile.open(tmp_path)
        with pytest.raises(JournalBusy):
            JournalFile.create(tmp_path)
        assert len(read(tmp_path).records) == 1  # readers need no lock
    JournalFile.open(tmp_path).close()


CHILD = """
import sys
from pathlib import Path
from voicecheck.journal.file import JournalFile
from voicecheck.session.records import Said, Stamp
folder = Path(sys.argv[1])
journal = JournalFile.open(folder) if (folder / "journal.jsonl").exists() \\
    else JournalFile.create(folder)
print("open", flush=True)
for turn in range(1, 1_000_000):
    journal.append([
        Said(at=Stamp("", turn), what="x" * (turn % 700)), Said(at=Stamp("", turn), what="y")
    ])
    print(journal.count, flush=True)
"""


def _child(folder: Path) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", CHILD, str(folder)], stdout=subprocess.PIPE, text=True
    )


def test_two_writers_in_two_processes(tmp_path: Path) -> None:
    child = _child(tmp_path)
    try:
        assert child.stdout is not None
        assert child.stdout.readline() == "open\n"
        with pytest.raises(JournalBusy):
            JournalFile.open(tmp_path)
    finally:
        child.kill()
        child.communicate()
    JournalFile.open(tmp_path).close()  # the system dropped the dead process's lock


@pytest.mark.skipif(os.name == "nt", reason="no SIGKILL there")
def test_j1_kill_9_in_the_middle_of_appending_loses_nothing_that_was_told(tmp_path: Path) -> None:
    told = 0
    for turn in range(6):
        child = _child(tmp_path)
        assert child.stdout is not None
        assert child.stdout.readline() == "open\n"
        told = max(told, int(child.stdout.readline()))
        time.sleep(0.02 + 0.017 * turn)
        child.send_signal(signal.SIGKILL)
        with child.stdout:
            *lines, _ = child.stdout.read().split("\n")  # the last one may be cut off
        child.wait()
        told = max([told, *map(int, lines)])
        with JournalFile.open(tmp_path) as journal:
            assert journal.count >= told
            told = journal.count
    assert told >= 12


# -- disks that refuse -----------------------------------------------------------------------


@pytest.fixture
def tiny_disk(tmp_path: Path) -> Iterator[Path]:
    """A real file system of 64 KiB in memory."""
    if sys.platform != "linux" or os.geteuid() != 0:
        pytest.skip("mounting a file system needs root on Linux")
    disk = tmp_path / "disk"
    disk.mkdir()
    mount = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=64k", "tmpfs", str(disk)], capture_output=True
    )
    if mount.returncode:
        pytest.skip("this machine lets nobody mount")
    try:
        yield disk
    finally:
        subprocess.run(["umount", str(disk)], check=True)


def test_full_disk_holds_and_goes_on_when_there_is_space(tiny_disk: Path) -> None:
    ballast = tiny_disk / "ballast"
    ballast.write_bytes(bytes(20_000))
    records: list[Record] = [Said(at=stamp(n), what="x" * 900) for n in range(200)]
    written = 0
    with JournalFile.create(tiny_disk / "HL-0007") as journal:
        with pytest.raises(JournalNotWritable) as caught:
            while True:
                journal.append(records[written : written + 3])
                written += 3
        assert caught.value.code == "journal-not-writable"
        assert "space" in caught.value.how
        assert written > 0
        assert _records(tiny_disk / "HL-0007") == records[:written]
        with pytest.raises(JournalNotWritable):  # still full: the same records, the same answer
            journal.append(records[written : written + 3])
        ballast.unlink()
        numbers = journal.append(records[written : written + 3])
        assert numbers == (written + 1, written + 2, written + 3)
    data = (tiny_disk / "HL-0007" / JOURNAL).read_bytes()
    assert data == encode_all(records[: written + 3])[0]


def test_full_disk_at_the_start(tiny_disk: Path) -> None:
    ballast = tiny_disk / "ballast"
    with pytest.raises(OSError), open(ballast, "wb", buffering=0) as file:
        while True:
            file.write(bytes(4096))
    with pytest.raises(JournalNotWritable), JournalFile.create(tiny_disk / "HL-0007") as journal:
        journal.append(small())


def test_read_only_disk(tiny_disk: Path) -> None:
    folder = tiny_disk / "HL-0007"
    with JournalFile.create(folder) as journal:
        journal.append(small())
    subprocess.run(["mount", "-o", "remount,ro", str(tiny_disk)], check=True)
    with pytest.raises(JournalNotWritable):
        JournalFile.open(folder)
    with pytest.raises(JournalNotWritable):
        JournalFile.create(tiny_disk / "HL-0008")
    assert _records(folder) == small()


@pytest.mark.skipif(
    os.name == "nt" or os.geteuid() == 0, reason="root may write in read-only folders"
)
def test_read_only_folder(tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    try:
        with pytest.raises(JournalNotWritable):
            JournalFile.create(tmp_path)
    finally:
        tmp_path.chmod(0o700)


@pytest.mark.parametrize("taken", [0, 1, 40, 700])
@pytest.mark.parametrize("cut_fails", [False, True])
def test_a_partial_write_is_cut_back_or_remembered(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, taken: int, cut_fails: bool
) -> None:
    records = small()
    journal = JournalFile.create(tmp_path)
    journal.append(records[:2])
    before = (tmp_path / JOURNAL).read_bytes()
    real_write, real_truncate = os.write, os.ftruncate
    left = [taken]

    def write(fd: int, data: bytes) -> int:
        if not left:
            raise OSError(28, "No space left on device")
        return real_write(fd, bytes(data)[: left.pop()])

    def truncate(fd: int, size: int) -> None:
        if cut_fails:
            raise OSError(5, "Input/output error")
        real_truncate(fd, size)

    with monkeypatch.context() as patch:
        patch.setattr(os, "write", write)
        patch.setattr(os, "ftruncate", truncate)
        with pytest.raises(JournalNotWritable):
            journal.append(records[2:])
    if not cut_fails:
        assert (tmp_path / JOURNAL).read_bytes() == before
    assert journal.append(records[2:]) == (3, 4, 5, 6)
    journal.close()
    assert (tmp_path / JOURNAL).read_bytes() == encode_all(records)[0]


def test_a_failed_fsync_counts_as_not_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    records = small()
    with JournalFile.create(tmp_path) as journal:
        journal.append(records[:2])

        def fsync(fd: int) -> None:
            raise OSError(5, "Input/output error")

        with monkeypatch.context() as patch:
            patch.setattr(os, "fsync", fsync)
            with pytest.raises(JournalNotWritable):
                journal.append(records[2:])
        assert journal.count == 2
        assert journal.append(records[2:]) == (3, 4, 5, 6)
    assert _records(tmp_path) == records


def test_a_journal_changed_by_another_program_is_not_written_on(tmp_path: Path) -> None:
    with JournalFile.create(tmp_path) as journal:
        journal.append(small()[:2])
        with open(tmp_path / JOURNAL, "ab") as other:
            other.write(b"x")
        with pytest.raises(JournalDamaged, match="another program"):
            journal.append(small()[2:])


@pytest.mark.skipif(os.name == "nt", reason="an open file cannot be deleted there")
def test_a_deleted_journal_is_told(tmp_path: Path) -> None:
    with JournalFile.create(tmp_path) as journal:
        journal.append(small()[:2])
        (tmp_path / JOURNAL).unlink()
        with pytest.raises(JournalNotWritable, match="deleted"):
            journal.append(small()[2:])


def test_closed_is_closed(tmp_path: Path) -> None:
    journal = JournalFile.create(tmp_path)
    journal.close()
    journal.close()
    with pytest.raises(JournalNotWritable):
        journal.append(small())


def test_a_report_is_put_beside_whole_or_not_at_all(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_beside(tmp_path, "report.json", b"first")

    def fsync(fd: int) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(journal_file.os, "fsync", fsync)
        with pytest.raises(JournalNotWritable):
            write_beside(tmp_path, "report.json", b"second")
    assert (tmp_path / "report.json").read_bytes() == b"first"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["report.json"]
    write_beside(tmp_path, "report.json", b"second")
    assert (tmp_path / "report.json").read_bytes() == b"second"
