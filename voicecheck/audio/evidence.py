"""The sound of each reply, kept beside the journal."""

from __future__ import annotations

from pathlib import Path

from voicecheck.audio.wav import write_flac
from voicecheck.errors import JournalNotWritable


class Evidence:
    """Saves replies as FLAC in the folder of one inspection."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def save(self, samples: bytes, number: int) -> tuple[str, str]:
        """Write ``samples`` as reply ``number``; file name (relative to the folder) and SHA-256.

        The file is on disk when this returns. A reply number is used once: the same number again
        is refused, because a record already carries the digest of the first one. Raises
        JournalNotWritable (disk full, read-only, lost).
        """
        if number < 0:
            raise ValueError("reply numbers begin at 0")
        name = f"reply-{number:04d}.flac"
        path = self._folder / name
        if path.exists():
            raise JournalNotWritable(
                f"{name} exists already in this inspection.",
                "Do not run two loops in one inspection folder.",
            )
        try:
            self._folder.mkdir(parents=True, exist_ok=True)
            return name, write_flac(path, samples)
        except OSError as error:
            raise JournalNotWritable(
                f"The sound of reply {number} could not be stored: {error.strerror or error}.",
                "Free the disk or make the inspection folder writable.",
            ) from error
