"""The journal on disk: one writer, on disk before anything is said, nothing lost.

The rules:

1. An inspection is a folder. ``journal.jsonl`` is its journal; beside it lie the recorded replies
   (``reply-0007.flac``), ``report.json``, ``report.html``, and ``journal.lock``, which is empty.
2. A record counts once ``append`` has returned: written by one write and forced to the disk
   (``fsync`` of the file; on creation also of the folder and of the folder above it) (J1).
3. When a write fails (disk full, read-only, gone), what was written of it is cut back at once; if
   that fails too, it is remembered and cut before the next append. The caller holds, says so, and
   calls ``append`` with the same records again when there is space. A failed ``fsync`` counts as
   a failed write, because the system may have thrown the pages away.
4. One writer. A lock that the system drops when the process dies (``filelock``) keeps out a
   second one; readers need none.
5. A torn tail is cut when the journal is opened for writing and kept in ``torn-<n>.bin``, where
   ``n`` is the number that the lost record would have had. Opening for reading changes nothing.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Sequence
from pathlib import Path
from types import TracebackType
from typing import Self

from filelock import FileLock, Timeout

from voicecheck.errors import (
    JournalBusy,
    JournalDamaged,
    JournalNotFound,
    JournalNotWritable,
)
from voicecheck.journal import format as journal_format
from voicecheck.journal.format import GENESIS, Contents
from voicecheck.session.records import Record

JOURNAL = "journal.jsonl"
LOCK = "journal.lock"

_BINARY = getattr(os, "O_BINARY", 0) | getattr(os, "O_CLOEXEC", 0)


class JournalFile:
    """A journal open for writing. Make it with :meth:`create` or :meth:`open`.

    ``folder``: of the inspection. ``records``: (number, record) as they were when it was opened.
    ``count``: number of the last record. ``head``: hash of the last line. ``torn``: the side file
    into which a torn tail was moved when it was opened, None when there was none.
    """

    def __init__(self, folder: Path, lock: FileLock, fd: int, contents: Contents) -> None:
        self.folder = folder
        self.records = contents.records
        self.count = len(contents.records)
        self.head = contents.head
        self.torn: Path | None = None
        self._lock = lock
        self._fd = fd
        self._size = contents.good_bytes
        self._uncut = False

    @classmethod
    def create(cls, folder: Path) -> JournalFile:
        """Begin an inspection in ``folder``, which is made if it is not there.

        JournalNotWritable when it cannot be made or already has a journal; JournalBusy when
        another run just makes one there.
        """
        with _not_writable(folder):
            folder.mkdir(parents=True, exist_ok=True)
        lock = _lock(folder)
        try:
            with _not_writable(folder):
                flags = os.O_RDWR | os.O_APPEND | os.O_CREAT | os.O_EXCL | _BINARY
                try:
                    fd = os.open(folder / JOURNAL, flags, 0o644)
                except FileExistsError:
                    raise JournalNotWritable(
                        f"{folder} already holds an inspection.",
                        "choose another folder, or resume the one that is there",
                    ) from None
                try:
                    os.fsync(fd)
                    _sync_folder(folder)
                    _sync_folder(folder.absolute().parent)
                except BaseException:
                    os.close(fd)
                    raise
        except BaseException:
            lock.release()
            raise
        return cls(folder, lock, fd, Contents((), GENESIS, 0, b""))

    @classmethod
    def open(cls, folder: Path) -> JournalFile:
        """Go on with the inspection in ``folder``; a torn tail is moved to a side file.

        JournalNotFound, JournalBusy, JournalDamaged, JournalNotWritable.
        """
        if not (folder / JOURNAL).is_file():
            raise _not_found(folder)
        lock = _lock(folder)
        try:
            with _not_writable(folder):
                fd = os.open(folder / JOURNAL, os.O_RDWR | os.O_APPEND | _BINARY)
            try:
                contents = read(folder)
                journal = cls(folder, lock, fd, contents)
                if contents.torn:
                    with _not_writable(folder):
                        journal.torn = _keep(folder, journal.count + 1, contents.torn)
                        os.ftruncate(fd, contents.good_bytes)
                        os.fsync(fd)
            except BaseException:
                os.close(fd)
                raise
        except BaseException:
            lock.release()
            raise
        return journal

    def append(self, records: Sequence[Record]) -> tuple[int, ...]:
        """Write records and force them to the disk; returns their numbers.

        JournalNotWritable when the disk is full, read-only or gone: nothing was added, and the
        same call may be made again. JournalDamaged when somebody else changed the file.
        """
        if self._fd < 0:
            raise JournalNotWritable("The journal is closed.", "open the inspection again")
        if not records:
            return ()
        data, head = journal_format.encode_all(records, self.count + 1, self.head)
        with _not_writable(self.folder):
            self._cut_back()
            self._check()
            try:
                _write(self._fd, data)
                os.fsync(self._fd)
            except OSError:
                self._uncut = True
                with contextlib.suppress(OSError):
                    self._cut_back()
                raise
        first = self.count + 1
        self.count += len(records)
        self.head = head
        self._size += len(data)
        return tuple(range(first, self.count + 1))

    def close(self) -> None:
        """Let go of the file and the lock. May be called twice."""
        if self._fd >= 0:
            with contextlib.suppress(OSError):
                self._cut_back()
            os.close(self._fd)
            self._fd = -1
            self._lock.release()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def _cut_back(self) -> None:
        if self._uncut:
            os.ftruncate(self._fd, self._size)
            os.fsync(self._fd)
            self._uncut = False

    def _check(self) -> None:
        """The file must be as we left it, and still be in its folder."""
        status = os.fstat(self._fd)
        if status.st_size != self._size:
            raise JournalDamaged(
                f"The journal in {self.folder} was changed by another program.",
                "end the other program; the inspection cannot go on in this folder",
                min(status.st_size, self._size),
                self.count + 1,
            )
        if os.name != "nt" and status.st_nlink == 0:
            raise JournalNotWritable(
                f"The journal in {self.folder} was deleted.",
                "begin the inspection again in a folder that stays",
            )


def read(folder: Path) -> Contents:
    """What the journal in ``folder`` holds; changes nothing, needs no lock.

    JournalNotFound, JournalDamaged; JournalNotWritable when the file cannot be read.
    """
    return journal_format.read(read_bytes(folder))


def read_bytes(folder: Path) -> bytes:
    """The journal's bytes. JournalNotFound; JournalNotWritable when the disk does not give them."""
    try:
        return (folder / JOURNAL).read_bytes()
    except (FileNotFoundError, NotADirectoryError, IsADirectoryError):
        raise _not_found(folder) from None
    except OSError as error:
        raise JournalNotWritable(
            f"The journal in {folder} cannot be read: {error.strerror or error}.",
            "check the disk and who may read the folder",
        ) from error


def write_beside(folder: Path, name: str, data: bytes) -> Path:
    """Put a file (report) into the folder whole or not at all. JournalNotWritable."""
    path = folder / name
    part = folder / f".{name}.part"
    with _not_writable(folder):
        try:
            fd = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | _BINARY, 0o644)
            try:
                _write(fd, data)
                os.fsync(fd)
            finally:
                os.close(fd)
            os.replace(part, path)
            _sync_folder(folder)
        except OSError:
            with contextlib.suppress(OSError):
                part.unlink()
            raise
    return path


def _write(fd: int, data: bytes) -> None:
    """All of it. A nearly full disk takes part of a write and refuses the rest."""
    view = memoryview(data)
    while view:
        view = view[os.write(fd, view) :]


def _keep(folder: Path, n: int, tail: bytes) -> Path:
    """The torn tail in a side file that did not exist before."""
    turn = 1
    while True:
        path = folder / (f"torn-{n}.bin" if turn == 1 else f"torn-{n}-{turn}.bin")
        try:
            fd = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | _BINARY, 0o644)
        except FileExistsError:
            turn += 1
            continue
        try:
            _write(fd, tail)
            os.fsync(fd)
        finally:
            os.close(fd)
        _sync_folder(folder)
        return path


def _lock(folder: Path) -> FileLock:
    lock = FileLock(folder / LOCK, timeout=0, thread_local=False)
    try:
        with _not_writable(folder):
            lock.acquire()
    except Timeout:
        raise JournalBusy(
            f"Another run writes the inspection in {folder}.",
            "end the other run, or choose another folder",
        ) from None
    return lock


def _sync_folder(folder: Path) -> None:
    if os.name == "nt":  # a folder cannot be opened for fsync there
        return
    fd = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(fd)
    finally:
        os.close(fd)


class _not_writable(contextlib.AbstractContextManager[None]):
    """Turns OSError into JournalNotWritable, with what the driver or operator can do."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if isinstance(error, OSError) and not isinstance(error, Timeout):
            raise JournalNotWritable(
                f"The journal in {self.folder} cannot be written: {error.strerror or error}.",
                "make space on the disk, or make the folder writable; then go on",
            ) from error


def _not_found(folder: Path) -> JournalNotFound:
    return JournalNotFound(
        f"There is no inspection in {folder}.", "give the folder that holds journal.jsonl"
    )
