"""Faults of the disk: full, read-only, slow."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.faults.table import Row, fault
from tests.faults.yard import ASKED, QUESTION, SAFE, Yard, put_list
from tests.run.cli_process import command, converse, only

HOLD = "Hold. I cannot write to the disk. Nothing is lost yet."
END = "I cannot keep records. I stop here. Your last answer is not kept."


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of 256 kB; remounting changes it while it is in use."""
    if os.geteuid() != 0:
        pytest.skip("mounting a small disk needs root")
    place = tmp_path / "disk"
    place.mkdir()
    options = ["-t", "tmpfs", "-o", "size=256k", "tmpfs", str(place)]
    if subprocess.run(["mount", *options], check=False, capture_output=True).returncode:
        pytest.skip("no tmpfs can be mounted here")
    yield place
    subprocess.run(["umount", str(place)], check=False)


def remount(disk: Path, option: str) -> None:
    subprocess.run(["mount", "-o", f"remount,{option}", str(disk)], check=True)


def fill(disk: Path) -> None:
    with (disk / "filler").open("wb", buffering=0) as file:
        try:
            while True:
                file.write(bytes(512))
        except OSError:
            return


@fault(
    "Disk full",
    by="a small disk is filled while a question is open",
    says=(SAFE, HOLD, END),
    keeps=("step started: crank",),
    note="Tried for fifteen seconds; then the program ends with the error "
    "`journal-not-writable`. The "
    "answer that was not kept is asked for again on resume.",
)
def test_full(row: Row, disk: Path, tmp_path: Path) -> None:
    def reply(sentence: str) -> str | None:
        if ASKED not in sentence:
            return None
        fill(disk)
        return "closed and locked"

    words = ("run", str(put_list(tmp_path)), "--typed", "--compressed", "--into", str(disk))
    talk = converse(tmp_path, *words, reply=reply)
    assert talk.status == 3
    assert "[journal-not-writable]" in talk.errors
    folder = only(disk)
    state = row.check(_after_question(talk.lines), folder)
    assert not state.answers
    assert not state.facts
    (disk / "filler").unlink()
    again = command(tmp_path, "resume", str(folder), "--typed", "--compressed",
                    said="closed and locked\nspring brakes\n")  # fmt: skip
    assert again.returncode == 0, again.stderr
    assert command(tmp_path, "verify", str(folder)).returncode == 0


@fault(
    "Disk full, and space made while the loop holds",
    by="the filled disk is made larger after the hold is said",
    says=(SAFE, HOLD, "The disk takes records again.", "Rear. What holds the trailer"),
    keeps=("answered: good", "step started: crank"),
    note="The answer given before the fault is kept; nobody is asked twice.",
)
def test_full_and_mended(row: Row, disk: Path, tmp_path: Path) -> None:
    def reply(sentence: str) -> str | None:
        if HOLD in sentence:
            remount(disk, "size=4m")
        if ASKED in sentence:
            fill(disk)
            return "closed and locked"
        return "spring brakes" if "What holds" in sentence else None

    words = ("run", str(put_list(tmp_path)), "--typed", "--into", str(disk))
    talk = converse(tmp_path, *words, reply=reply)
    assert talk.status == 0, talk.errors
    row.check(_after_question(talk.lines), only(disk))


@fault(
    "Disk read-only when the inspection is to go on",
    by="the program is killed, the disk is mounted anew, read-only, and resume is tried",
    keeps=("step started: crank", "resumed", "answered: good"),
    note="Resume ends with the error `journal-not-writable` and changes nothing; when the disk "
    "takes records again it goes on.",
)
def test_read_only(row: Row, disk: Path, tmp_path: Path) -> None:
    words = ("run", str(put_list(tmp_path)), "--typed", "--compressed", "--into", str(disk))
    converse(tmp_path, *words, reply=lambda sentence: None, kill_at=ASKED)
    folder = only(disk)
    remount(disk, "ro")
    before = (folder / "journal.jsonl").read_bytes()
    refused = command(tmp_path, "resume", str(folder), "--typed", "--compressed", said="")
    assert refused.returncode == 3
    assert "[journal-not-writable]" in refused.stderr
    assert SAFE not in refused.stdout
    assert (folder / "journal.jsonl").read_bytes() == before
    remount(disk, "rw")
    again = command(tmp_path, "resume", str(folder), "--typed", "--compressed",
                    said="closed and locked\nspring brakes\n")  # fmt: skip
    assert again.returncode == 0, again.stderr
    row.check([], folder)


@fault(
    "File system that turns read-only in the middle of a run",
    by="an ext4 file system on a loop device is made to abort (`mount -o remount,abort`) while a "
    "question is open: as after a fault of its medium, every write to open files is refused",
    says=(SAFE, HOLD, END),
    keeps=("step started: crank", "resumed", "answered: good"),
    note="As with a full disk: tried for fifteen seconds, then the program ends with the error "
    "`journal-not-writable`. Mounted anew, the journal is whole and resume asks again.",
)
def test_turns_read_only(row: Row, tmp_path: Path) -> None:
    image, disk = tmp_path / "image", tmp_path / "disk"
    disk.mkdir()
    if os.geteuid() != 0 or shutil.which("mkfs.ext4") is None:
        pytest.skip("an ext4 file system on a loop device needs root and mkfs.ext4")
    with image.open("wb") as file:
        file.truncate(8_000_000)
    subprocess.run(["mkfs.ext4", "-q", "-F", str(image)], check=True)
    mount = ["mount", "-o", "loop,errors=remount-ro", str(image), str(disk)]
    if subprocess.run(mount, check=False, capture_output=True).returncode:
        pytest.skip("no loop device can be mounted here")

    def reply(sentence: str) -> str | None:
        if ASKED not in sentence:
            return None
        subprocess.run(["mount", "-o", "remount,abort", str(disk)], check=True)
        return "closed and locked"

    try:
        words = ("run", str(put_list(tmp_path)), "--typed", "--compressed", "--into", str(disk))
        talk = converse(tmp_path, *words, reply=reply)
        folder = only(disk)
        assert talk.status == 3
        assert "[journal-not-writable]" in talk.errors
        with pytest.raises(OSError, match="Read-only"):
            (folder / "try").touch()
        subprocess.run(["umount", str(disk)], check=True)
        subprocess.run(mount, check=True)
        again = command(tmp_path, "resume", str(folder), "--typed", "--compressed",
                        said="closed and locked\nspring brakes\n")  # fmt: skip
        assert again.returncode == 0, again.stderr
        row.check(_after_question(talk.lines), folder)
        assert command(tmp_path, "verify", str(folder)).returncode == 0
    finally:
        subprocess.run(["umount", str(disk)], check=False)


def _after_question(lines: list[str]) -> list[str]:
    return lines[next(n for n, line in enumerate(lines) if ASKED in line) + 1 :]


SLOW = """
import os, time
whole = os.fsync
def slow(fd):
    if os.path.exists(FLAG):
        time.sleep(5)
    whole(fd)
os.fsync = slow
"""


@pytest.mark.skipif(not shutil.which("pulseaudio"), reason="PulseAudio is not installed")
@pytest.mark.xdist_group("sound card")
@fault(
    "Disk that takes five seconds for each write",
    by="each `fsync` of the program is made to wait five seconds before it is done",
    says=("I heard: closed and locked.",),
    keeps=("read back",),
    note="Nothing is said until the record is on disk. What is said in the meantime is no "
    "answer to "
    "the question that follows: in the test a second reply, said while the disk is written, is not "
    "taken.",
)
def test_slow(row: Row) -> None:
    with Yard() as yard:
        flag = yard.patch(SLOW)
        program = yard.run()
        program.until(QUESTION)
        yard.quiet()
        before = len(program.seen)
        flag.touch()
        yard.say("closed and locked")
        yard.say("affirm")  # before the read-back that it would answer
        yard.say("affirm")
        program.until("I heard: closed and locked.")
        flag.unlink()
        yard.quiet()
        program.hear(2)
        state = row.check(program.seen[before:], yard.folder)
    assert not state.answers
    assert sum(line.startswith("> ") for line in program.seen) == 1
