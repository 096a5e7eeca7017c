"""The signature of a journal's head."""

from __future__ import annotations

import dataclasses
import json
import os
import stat
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
from cryptography.hazmat.primitives.asymmetric.x25519 import X25519PrivateKey
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    PublicFormat,
)
from journal_samples import small

from voicecheck.errors import DeviceKeyUnusable, JournalDamaged
from voicecheck.journal import file as journal_file
from voicecheck.journal.file import JOURNAL, JournalFile
from voicecheck.journal.format import canonical, digest, encode_all
from voicecheck.journal.signature import (
    SIGNATURE,
    check,
    device_key,
    fingerprint,
    public_pem,
    read_public,
    sign,
)
from voicecheck.journal.verify import Finding, verify_journal
from voicecheck.session.records import Finished, HeardReply

KEY = Ed25519PrivateKey.from_private_bytes(bytes(range(32)))


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    with JournalFile.create(tmp_path) as journal:
        journal.append(small())
    sign(tmp_path, KEY)
    return tmp_path


def found(folder: Path, *known: Ed25519PrivateKey) -> list[Finding]:
    names = {f"tablet-{n}": key.public_key() for n, key in enumerate(known)}
    return check(folder, journal_file.read(folder), True, names)


def test_the_library_signs_as_rfc_8032_says() -> None:
    """RFC 8032, section 7.1, test 2: the one-byte message."""
    key = Ed25519PrivateKey.from_private_bytes(
        bytes.fromhex("4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb")
    )
    assert key.public_key().public_bytes(Encoding.Raw, PublicFormat.Raw) == bytes.fromhex(
        "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c"
    )
    assert key.sign(b"\x72") == bytes.fromhex(
        "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da"
        "085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00"
    )


def test_signed_by_a_device_that_is_known(folder: Path) -> None:
    (finding,) = found(folder, Ed25519PrivateKey.generate(), KEY)
    assert (finding.code, finding.grave) == ("signed-by", False)
    assert "device tablet-1" in finding.text


def test_signed_by_a_key_that_nobody_gave(folder: Path) -> None:
    (finding,) = found(folder)
    assert (finding.code, finding.grave) == ("signed-by", False)
    assert "was not compared" in finding.text
    (finding,) = found(folder, Ed25519PrivateKey.generate())
    assert (finding.code, finding.grave) == ("signed-by-stranger", True)


def test_no_signature_is_grave_only_where_one_is_expected(folder: Path) -> None:
    (folder / SIGNATURE).unlink()
    assert [(f.code, f.grave) for f in found(folder)] == [("not-signed", False)]
    assert [(f.code, f.grave) for f in found(folder, KEY)] == [("not-signed", True)]


def test_every_byte_of_the_signature_counts(folder: Path) -> None:
    data = (folder / SIGNATURE).read_bytes()
    for at in range(len(data)):
        for flip in (0x01, 0x20):
            changed = bytearray(data)
            changed[at] ^= flip
            (folder / SIGNATURE).write_bytes(changed)
            assert any(f.grave for f in found(folder, KEY)), at


def test_every_byte_of_a_small_inspection_counts(tmp_path: Path) -> None:
    """One flipped byte of journal, recording or signature is found and is grave."""
    records = small()
    sound = bytes(range(64))
    at = next(n for n, record in enumerate(records) if isinstance(record, HeardReply))
    heard = records[at]
    assert isinstance(heard, HeardReply)
    records[at] = heard = dataclasses.replace(
        heard, evidence="reply-0004.flac", digest=digest(sound)
    )
    with JournalFile.create(tmp_path) as journal:
        journal.append(records)
    (tmp_path / heard.evidence).write_bytes(sound)
    sign(tmp_path, KEY)
    for name in (JOURNAL, heard.evidence, SIGNATURE):
        whole = (tmp_path / name).read_bytes()
        for n in range(len(whole)):
            changed = bytearray(whole)
            changed[n] ^= 1 << (n % 8)
            (tmp_path / name).write_bytes(changed)
            findings, contents, sound_journal = verify_journal(tmp_path)
            findings += check(tmp_path, contents, sound_journal, {"tablet": KEY.public_key()})
            assert any(finding.grave for finding in findings), (name, n)
        (tmp_path / name).write_bytes(whole)
    findings, contents, _ = verify_journal(tmp_path)
    assert not findings
    assert not any(f.grave for f in check(tmp_path, contents, True, {}))


def test_a_journal_written_anew_is_found(folder: Path) -> None:
    records = list(small())
    del records[3]
    (folder / JOURNAL).write_bytes(encode_all(records)[0])
    assert "journal-shortened" in [f.code for f in found(folder) if f.grave]
    records.append(records[-1])
    (folder / JOURNAL).write_bytes(encode_all(records)[0])
    assert "signature-bad" in [f.code for f in found(folder) if f.grave]


def test_a_tail_removed_whole_is_found(folder: Path) -> None:
    records = small()
    (folder / JOURNAL).write_bytes(encode_all(records[:-2])[0])
    shortened = next(f for f in found(folder) if f.code == "journal-shortened")
    assert shortened.grave
    assert shortened.record == len(records) - 1


def test_records_after_the_signature_are_told(folder: Path) -> None:
    records = list(small())
    (folder / JOURNAL).write_bytes(encode_all(records[:4])[0])
    sign(folder, KEY)
    more = [r for r in records[4:] if not isinstance(r, Finished)]
    (folder / JOURNAL).write_bytes(encode_all(records[:4] + more)[0])
    earlier = next(f for f in found(folder) if f.code == "signature-earlier")
    assert (earlier.grave, earlier.record) == (False, 5)
    (folder / JOURNAL).write_bytes(encode_all(records)[0])
    assert next(f for f in found(folder) if f.code == "signature-earlier").grave


def test_the_signature_of_another_inspection_does_not_hold(folder: Path, tmp_path: Path) -> None:
    value = json.loads((folder / SIGNATURE).read_bytes())
    value["inspection"] = "another"
    (folder / SIGNATURE).write_bytes(canonical(value) + b"\n")
    assert [f.code for f in found(folder)] == ["signature-bad"]


def test_a_damaged_journal_is_not_signed(folder: Path) -> None:
    data = bytearray((folder / JOURNAL).read_bytes())
    data[40] ^= 1
    (folder / JOURNAL).write_bytes(data)
    with pytest.raises(JournalDamaged):
        sign(folder, KEY)


def test_the_device_key_is_made_once_and_is_its_owners_alone(tmp_path: Path) -> None:
    file = tmp_path / "data" / "device-key.pem"
    first = device_key(file)
    again = device_key(file)
    assert fingerprint(first.public_key()) == fingerprint(again.public_key())
    assert list(file.parent.iterdir()) == [file]
    if os.name != "nt":
        assert stat.S_IMODE(file.stat().st_mode) == 0o600


def test_a_key_that_cannot_be_used(tmp_path: Path) -> None:
    file = tmp_path / "device-key.pem"
    file.write_text("no key", encoding="ascii")
    with pytest.raises(DeviceKeyUnusable, match="cannot be used"):
        device_key(file)
    with pytest.raises(DeviceKeyUnusable):
        read_public(file)
    file.write_bytes(
        X25519PrivateKey.generate().private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
    )
    with pytest.raises(DeviceKeyUnusable, match="another kind"):
        device_key(file)
    (tmp_path / "file").write_text("", encoding="ascii")
    with pytest.raises(DeviceKeyUnusable):
        device_key(tmp_path / "file" / "device-key.pem")


def test_the_public_key_as_printed_can_be_kept_in_a_file(tmp_path: Path) -> None:
    public = KEY.public_key()
    file = tmp_path / "yard-one.pem"
    file.write_text(f"Fingerprint: {fingerprint(public)}\n{public_pem(public)}", encoding="ascii")
    kept: Ed25519PublicKey = read_public(file)
    assert fingerprint(kept) == fingerprint(public)
