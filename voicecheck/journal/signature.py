"""The signature of a journal's head with the key of the device that kept it.

The rules:

1. What is signed: the name of the inspection, the number of records and the head of the chain
   (format.py), in canonical JSON after a line that says what it is. Through the chain the head
   stands for every record, and through the digests in the records for every recording. The report
   needs no signature: ``verify`` makes it again from the records.
2. The key is Ed25519 (RFC 8032). It is made once on each device, lies in a file that only its
   owner can read, and never leaves the device. Its public half, and the fingerprint of that, are
   what a supervisor keeps.
3. ``signature.json`` lies beside the journal, one canonical line. It is written anew whenever the
   report is written, so after an interruption it covers the records up to there.
4. What this shows: the records were signed by whoever held the device's key, and not one byte of
   them was changed since. What it does not show: who spoke, that an answer was true, that the
   device's clock was right, or that nobody had the key. A signature by a key that nobody knows
   shows nothing but that the folder agrees with itself, because anybody can make a key.
"""

from __future__ import annotations

import contextlib
import json
import os
from collections.abc import Mapping
from pathlib import Path

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    PublicFormat,
    load_pem_private_key,
    load_pem_public_key,
)

from voicecheck.errors import DeviceKeyUnusable
from voicecheck.journal import file as journal_file
from voicecheck.journal.format import Contents, canonical, digest, encode_all
from voicecheck.journal.verify import Finding
from voicecheck.session.records import Finished, Opened

SIGNATURE = "signature.json"
_CONTEXT = b"voicecheck: head of a journal, version 1\n"
_MEMBERS = frozenset(
    {"version", "algorithm", "inspection", "records", "head", "public_key", "signature"}
)


def device_key(file: Path) -> Ed25519PrivateKey:
    """The key of this device; made and stored at the first call. DeviceKeyUnusable."""
    try:
        with contextlib.suppress(FileExistsError):
            _make(file)
        key = load_pem_private_key(file.read_bytes(), password=None)
    except (OSError, ValueError, TypeError) as error:
        raise DeviceKeyUnusable(
            f"The key of this device in {file} cannot be used: {error}.",
            "check the disk and who may read the file; moving the file away makes a new key, "
            "which every supervisor must then be told",
        ) from error
    if not isinstance(key, Ed25519PrivateKey):
        raise DeviceKeyUnusable(
            f"{file} holds a key of another kind.", "move it away; a new key is then made"
        )
    return key


def _make(file: Path) -> None:
    """A new key, whole or not at all, readable by its owner only. FileExistsError."""
    if file.exists():
        raise FileExistsError(file)
    file.parent.mkdir(parents=True, exist_ok=True)
    data = Ed25519PrivateKey.generate().private_bytes(
        Encoding.PEM, PrivateFormat.PKCS8, NoEncryption()
    )
    part = file.with_name(f".{file.name}.{os.getpid()}")
    fd = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        with os.fdopen(fd, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        os.link(part, file)  # unlike a rename, never replaces the key of another run
    finally:
        part.unlink()


def public_pem(key: Ed25519PublicKey) -> str:
    """The public key as a supervisor keeps it."""
    return key.public_bytes(Encoding.PEM, PublicFormat.SubjectPublicKeyInfo).decode("ascii")


def read_public(file: Path) -> Ed25519PublicKey:
    """A public key that a supervisor kept. DeviceKeyUnusable."""
    try:
        key = load_pem_public_key(file.read_bytes())
    except (OSError, ValueError) as error:
        raise DeviceKeyUnusable(
            f"{file} holds no public key: {error}.",
            "write it on the device with: voicecheck key > FILE",
        ) from error
    if not isinstance(key, Ed25519PublicKey):
        raise DeviceKeyUnusable(
            f"{file} holds a key of another kind.",
            "write it on the device with: voicecheck key > FILE",
        )
    return key


def fingerprint(key: Ed25519PublicKey) -> str:
    """First half of the SHA-256 of the public key, in fours, to be compared by eye or telephone."""
    hexes = digest(key.public_bytes(Encoding.Raw, PublicFormat.Raw))[:32]
    return " ".join(hexes[i : i + 4] for i in range(0, 32, 4))


def sign(folder: Path, key: Ed25519PrivateKey) -> Path:
    """Sign the journal in ``folder`` as it is now.

    JournalNotFound, JournalDamaged (a damaged journal is not signed), JournalNotWritable.
    """
    contents = journal_file.read(folder)
    claim = {
        "inspection": _inspection(contents),
        "records": len(contents.records),
        "head": contents.head,
    }
    raw = key.public_key().public_bytes(Encoding.Raw, PublicFormat.Raw)
    value = {
        "version": 1,
        "algorithm": "Ed25519",
        **claim,
        "public_key": raw.hex(),
        "signature": key.sign(_message(claim)).hex(),
    }
    return journal_file.write_beside(folder, SIGNATURE, canonical(value) + b"\n")


def check(
    folder: Path, contents: Contents, whole: bool, known: Mapping[str, Ed25519PublicKey]
) -> list[Finding]:
    """Findings about the signature. ``known``: devices' public keys by the name they are kept by.

    ``whole``: the journal has no damage; otherwise the signature can only be told, not compared.
    """
    try:
        data = (folder / SIGNATURE).read_bytes()
    except FileNotFoundError:
        grave = bool(known)
        return [
            Finding(
                "not-signed",
                grave,
                "The inspection is not signed"
                + (", although the keys of devices are given." if grave else "."),
            )
        ]
    except OSError as error:
        text = f"{SIGNATURE} cannot be read: {error.strerror or error}."
        return [Finding("signature-bad", True, text)]
    value = _parsed(data)
    if value is None:
        return [_bad("it is not in the form in which it was written")]
    claim = {name: value[name] for name in ("inspection", "records", "head")}
    try:
        key = Ed25519PublicKey.from_public_bytes(_bytes(value["public_key"]))
        key.verify(_bytes(value["signature"]), _message(claim))
    except (InvalidSignature, ValueError):
        return [_bad("it was not made by the key that it names")]
    return [*_covers(contents, whole, value), _signer(key, known)]


def _covers(contents: Contents, whole: bool, value: dict[str, object]) -> list[Finding]:
    """Whether the journal is the one that was signed, and up to where."""
    signed, held = value["records"], len(contents.records)
    assert isinstance(signed, int)
    if value["inspection"] != _inspection(contents):
        return [_bad(f"it belongs to the inspection {value['inspection']}")]
    if signed > held:
        if not whole:
            return []  # the damage is told already
        return [
            Finding(
                "journal-shortened",
                True,
                f"{signed} records were signed, the journal holds {held}: the end of the journal "
                f"is gone, from record {held + 1} on.",
                held + 1,
            )
        ]
    if encode_all([record for _, record in contents.records[:signed]])[1] != value["head"]:
        return [_bad(f"the first {signed} records are not those that were signed")]
    if signed < held:
        finished = isinstance(contents.records[-1][1], Finished)
        return [
            Finding(
                "signature-earlier",
                finished,
                f"Records {signed + 1} to {held} were written after the signature and are not "
                "covered by it."
                + (
                    " A finished inspection is signed as a whole: find out why." if finished else ""
                ),
                signed + 1,
            )
        ]
    return []


def _signer(key: Ed25519PublicKey, known: Mapping[str, Ed25519PublicKey]) -> Finding:
    printed = fingerprint(key)
    names = [name for name, other in known.items() if fingerprint(other) == printed]
    if names:
        return Finding("signed-by", False, f"Signed by the device {names[0]} ({printed}).")
    if known:
        text = f"Signed by a key that is none of the devices given ({printed})."
        return Finding("signed-by-stranger", True, text)
    return Finding(
        "signed-by",
        False,
        f"Signed by the key {printed}. Whose that is was not compared: give the device's public "
        "key with --device.",
    )


def _bad(why: str) -> Finding:
    return Finding(
        "signature-bad",
        True,
        f"The signature does not hold: {why}. The records, the signature or both were exchanged "
        "or changed.",
    )


def _parsed(data: bytes) -> dict[str, object] | None:
    try:
        value = json.loads(data.decode("utf-8"))
        if not isinstance(value, dict) or set(value) != _MEMBERS:
            return None
        if canonical(value) + b"\n" != data:
            return None
    except (ValueError, RecursionError):
        return None
    texts = ("inspection", "head", "public_key", "signature")
    right = value["version"] == 1 and value["algorithm"] == "Ed25519"
    right = right and type(value["records"]) is int and value["records"] >= 0
    return value if right and all(isinstance(value[name], str) for name in texts) else None


def _bytes(text: object) -> bytes:
    """Lower-case hexadecimal only, so that one signature has one spelling. ValueError."""
    data = bytes.fromhex(str(text))
    if data.hex() != text:
        raise ValueError(text)
    return data


def _message(claim: dict[str, object]) -> bytes:
    return _CONTEXT + canonical(claim)


def _inspection(contents: Contents) -> str:
    first = contents.records[0][1] if contents.records else None
    return first.inspection if isinstance(first, Opened) else ""
