"""The bytes of a journal: what a line is, how lines are chained, what damage is.

READ THIS FIRST. The rules of the file ``journal.jsonl``:

1. Layout. A journal is JSON Lines: one record a line, every line ends with one newline (0x0A).
   A line is the canonical form (RFC 8785) of an object with exactly these members: ``n`` (the
   record's number, counted from 1), ``wall`` (ISO 8601 with offset, as the device shows it),
   ``mono`` (milliseconds of the monotonic clock), ``prev``, ``sum``, ``kind`` (of the record) and
   ``body`` (its fields). Canonical form has one spelling for one value, so a line that parses but
   is spelled otherwise was not written by us.
2. Chain. ``prev`` is the SHA-256, in lower-case hexadecimal, of the previous line without its
   newline; the first line has 64 zeros. ``sum`` is the SHA-256 of the canonical form of the same
   line without ``sum``. The chain alone would leave the last line uncovered, because nothing
   follows it yet; ``sum`` covers it. The head of a journal is the hash that the next line would
   carry as its ``prev``.
3. Torn tail (J2). Only bytes after the last newline can be torn: a write that was cut off by lost
   power or a killed program leaves a line without its newline. That tail is never a record, it is
   cut, and since a record counts only once it is whole and on disk, nothing that anybody was told
   rests on it. A line that has its newline is whole; when it does not parse, it is damaged, not
   torn, even as the last one. So is a tail in which something follows a whole object: a cut-off
   write cannot leave that, a newline that was overwritten can.
4. Damage (J2). Anything else that is not as rules 1 and 2 say stops the reading with the byte
   offset and the number of the first bad record. Nothing after it is trusted or even looked at.
   The records before it are whole.
5. What this does not show. Whoever can write the file can write a whole new chain. Hashes show
   accidents and clumsy changes; only a signature of the head, or a copy of the head kept
   elsewhere (it is printed in the report), shows a careful forgery or a tail removed whole.

Pure: bytes in, values out; no file is touched here.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import rfc8785

from voicecheck.errors import JournalDamaged, SessionFault
from voicecheck.session.records import Record, Stamp, from_body, to_body

GENESIS = "0" * 64
"""``prev`` of the first line."""

_MEMBERS = frozenset({"n", "wall", "mono", "prev", "sum", "kind", "body"})
_KEEP = (
    "the records before it are whole; keep the folder unchanged and work on a copy, "
    "or fetch a copy that was made earlier"
)


@dataclass(frozen=True)
class Contents:
    """What a journal holds.

    ``records``: (number from 1, record), in order. ``head``: hash of the last whole line.
    ``good_bytes``: length of the whole lines. ``torn``: bytes after the last newline, to be cut.
    """

    records: tuple[tuple[int, Record], ...]
    head: str
    good_bytes: int
    torn: bytes


def canonical(value: Any) -> bytes:
    """RFC 8785 canonical JSON. SessionFault when the value has none (lone surrogate, NaN)."""
    try:
        return rfc8785.dumps(value)
    except (ValueError, RecursionError) as error:
        raise SessionFault(
            f"A value has no canonical JSON form: {error}.",
            "report this; text must be valid Unicode and whole numbers below 2^53",
        ) from error


def digest(data: bytes) -> str:
    """SHA-256 in lower-case hexadecimal, 64 characters."""
    return hashlib.sha256(data).hexdigest()


def encode(record: Record, n: int, prev: str) -> bytes:
    """One line with its newline. SessionFault for a record that has no canonical form."""
    line: dict[str, Any] = {
        "n": n,
        "wall": record.at.wall,
        "mono": record.at.mono,
        "prev": prev,
        "kind": record.kind,
        "body": to_body(record),
    }
    line["sum"] = digest(canonical(line))
    return canonical(line) + b"\n"


def encode_all(records: Sequence[Record], first: int = 1, prev: str = GENESIS) -> tuple[bytes, str]:
    """Lines of records numbered from ``first``, and the head after them."""
    lines = []
    for n, record in enumerate(records, first):
        line = encode(record, n, prev)
        prev = digest(line[:-1])
        lines.append(line)
    return b"".join(lines), prev


def line_digests(records: Sequence[Record]) -> tuple[str, ...]:
    """The hash of each record's line in a journal that begins with the first of them."""
    digests: list[str] = []
    for n, record in enumerate(records, 1):
        line = encode(record, n, digests[-1] if digests else GENESIS)
        digests.append(digest(line[:-1]))
    return tuple(digests)


def read(data: bytes) -> Contents:
    """The records of a journal. JournalDamaged(offset, record) at the first bad record."""
    contents, damage = read_to_damage(data)
    if damage is not None:
        raise damage
    return contents


def read_to_damage(data: bytes) -> tuple[Contents, JournalDamaged | None]:
    """The whole records before the first damage, and the damage, None when there is none."""
    records: list[tuple[int, Record]] = []
    prev, offset = GENESIS, 0
    damage: JournalDamaged | None = None
    while (end := data.find(b"\n", offset)) >= 0:
        line = data[offset:end]
        n = len(records) + 1
        try:
            records.append((n, _decode(line, n, prev, offset)))
        except JournalDamaged as error:
            damage = error
            break
        prev, offset = digest(line), end + 1
    torn = b"" if damage else data[offset:]
    if _more_than_torn(torn):
        damage = _damaged(len(records) + 1, offset, "its end was overwritten")
        torn = b""
    return Contents(tuple(records), prev, offset, torn), damage


def _decode(line: bytes, n: int, prev: str, offset: int) -> Record:
    try:
        value = json.loads(line.decode("utf-8"))
    except (ValueError, RecursionError):
        raise _damaged(n, offset, "it cannot be read") from None
    if not isinstance(value, dict) or set(value) != _MEMBERS or _spelled(value) != line:
        raise _damaged(n, offset, "it is not in the form in which it was written")
    if value["sum"] != digest(canonical({k: v for k, v in value.items() if k != "sum"})):
        raise _damaged(n, offset, "it was changed after it was written")
    if type(value["n"]) is not int or value["n"] != n:
        raise _damaged(
            n, offset, f"record {value['n']} stands in its place: records were removed or added"
        )
    if value["prev"] != prev:
        raise _damaged(
            n, offset, "it does not follow the record before it: one of the two was changed"
        )
    if type(value["mono"]) is not int or not isinstance(value["wall"], str):
        raise _damaged(n, offset, "its time is not a time")
    if not isinstance(value["kind"], str) or not isinstance(value["body"], dict):
        raise _damaged(n, offset, "it is not in the form in which it was written")
    try:
        return from_body(value["kind"], value["body"], Stamp(value["wall"], value["mono"]))
    except SessionFault as fault:
        # The chain is whole, so this is another version's record, but nothing can be built on it.
        raise _damaged(n, offset, fault.what.rstrip("."), fault.how) from fault


def _spelled(value: dict[str, Any]) -> bytes:
    try:
        return canonical(value)
    except SessionFault:
        return b""


def _more_than_torn(tail: bytes) -> bool:
    """A cut-off write leaves the beginning of one object, at most the whole of it."""
    try:
        text = tail.decode("utf-8", errors="surrogateescape")
        _, end = json.JSONDecoder().raw_decode(text)
    except (ValueError, RecursionError):
        return False
    return end < len(text)


def _damaged(n: int, offset: int, why: str, how: str = _KEEP) -> JournalDamaged:
    return JournalDamaged(f"Record {n} at byte {offset} is damaged: {why}.", how, offset, n)
