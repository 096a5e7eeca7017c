"""Release codes: made by the supervisor, checked on the device without a network.

The rules:

1. A code is HOTP (RFC 4226, HMAC-SHA-1, six figures) of the reference as its counter. The reference
   (session/codes.py) stands for one inspection and one finding of one defect.
2. Supervisor and devices share one key of 20 bytes, written as base32 in a file. Whoever has the
   file can make codes; a driver must not have it to read, which on a device of one's own is a
   matter of its user accounts. What a code shows is that somebody with the key agreed.
3. After five wrong codes in a row none is taken for 15 minutes (session/state.py), also after a
   restart. So guessing a code takes nearly three years of days and nights on average.
"""

from __future__ import annotations

import base64
import binascii
import hmac
import os
import secrets
from collections.abc import Callable
from pathlib import Path

from cryptography.hazmat.primitives.hashes import SHA1
from cryptography.hazmat.primitives.twofactor.hotp import HOTP

from voicecheck.errors import ReleaseKeyUnusable, WrongUse

FIGURES = 6
KEY_BYTES = 20


def code_for(key: bytes, reference: str) -> str:
    """The code of six figures for a reference of eight. WrongUse for another reference."""
    figures = reference.replace(" ", "")
    if not (figures.isascii() and figures.isdigit() and len(figures) == 8):
        raise WrongUse(
            f"{reference!r} is no reference.", "give the eight figures that the driver reads out"
        )
    return HOTP(key, FIGURES, SHA1()).generate(int(figures)).decode("ascii")


def checker(key: bytes) -> Callable[[str, str], bool]:
    """Whether a code is the one for a reference."""

    def right(reference: str, code: str) -> bool:
        return hmac.compare_digest(code_for(key, reference), code)

    return right


def read_key(file: Path) -> bytes:
    """The shared key in ``file``. ReleaseKeyUnusable."""
    try:
        key = base64.b32decode("".join(file.read_text(encoding="ascii").split()))
    except (OSError, UnicodeDecodeError, binascii.Error) as error:
        raise ReleaseKeyUnusable(
            f"The key for release codes in {file} cannot be read: {error}.",
            "copy the supervisor's file there again, or remove it: then there are no codes",
        ) from error
    if len(key) != KEY_BYTES:
        raise ReleaseKeyUnusable(
            f"{file} holds {len(key)} bytes, a key for release codes has {KEY_BYTES}.",
            "copy the supervisor's file there again, or remove it: then there are no codes",
        )
    return key


def make_key(file: Path) -> None:
    """A new key in a file that was not there, readable by its owner only. ReleaseKeyUnusable."""
    text = base64.b32encode(secrets.token_bytes(KEY_BYTES)).decode("ascii")
    try:
        fd = os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(fd, "w", encoding="ascii") as stream:
            stream.write(text + "\n")
    except OSError as error:
        raise ReleaseKeyUnusable(
            f"{file} cannot be made: {error.strerror or error}.",
            "choose a file that is not there yet, in a folder that can be written",
        ) from error
