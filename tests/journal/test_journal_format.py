"""The bytes of the journal: RFC 8785, the chain, J2."""

from __future__ import annotations

import json
import struct

import pytest
import rfc8785
from hypothesis import given, settings
from hypothesis import strategies as st
from journal_samples import any_record, opened, records_of, small

from voicecheck.errors import JournalDamaged, SessionFault
from voicecheck.journal.format import (
    GENESIS,
    canonical,
    digest,
    encode,
    encode_all,
    read,
    read_to_damage,
)
from voicecheck.session.records import KINDS, Said, Stamp

# -- RFC 8785 (June 2020) ------------------------------------------------------------------

# Section 3.2.2, the sample, as the RFC writes it.
SAMPLE = r"""
    {
      "numbers": [333333333.33333329, 1E30, 4.50,
                  2e-3, 0.000000000000000000000000001],
      "string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/",
      "literals": [null, true, false]
    }
"""

# Section 3.2.4, the sample's canonical form as UTF-8 bytes in hexadecimal.
SAMPLE_BYTES = """
    7b 22 6c 69 74 65 72 61 6c 73 22 3a 5b 6e 75 6c 6c 2c 74 72
    75 65 2c 66 61 6c 73 65 5d 2c 22 6e 75 6d 62 65 72 73 22 3a
    5b 33 33 33 33 33 33 33 33 33 2e 33 33 33 33 33 33 33 2c 31
    65 2b 33 30 2c 34 2e 35 2c 30 2e 30 30 32 2c 31 65 2d 32 37
    5d 2c 22 73 74 72 69 6e 67 22 3a 22 e2 82 ac 24 5c 75 30 30
    30 66 5c 6e 41 27 42 5c 22 5c 5c 5c 5c 5c 22 2f 22 7d
"""


def test_rfc_8785_section_3_2_4_sample() -> None:
    assert canonical(json.loads(SAMPLE)) == bytes.fromhex(SAMPLE_BYTES)


def test_rfc_8785_section_3_2_3_property_order() -> None:
    # Section 3.2.3: test data for sorting by UTF-16 code units, and the expected order.
    names = json.loads(r"""
        {
          "\u20ac": "Euro Sign",
          "\r": "Carriage Return",
          "\ufb33": "Hebrew Letter Dalet With Dagesh",
          "1": "One",
          "\ud83d\ude00": "Emoji: Grinning Face",
          "\u0080": "Control",
          "\u00f6": "Latin Small Letter O With Diaeresis"
        }
    """)
    assert list(json.loads(canonical(names)).values()) == [
        "Carriage Return",
        "One",
        "Control",
        "Latin Small Letter O With Diaeresis",
        "Euro Sign",
        "Emoji: Grinning Face",
        "Hebrew Letter Dalet With Dagesh",
    ]


# Appendix B, Table 1: IEEE 754 bits and their JSON form.
@pytest.mark.parametrize(
    ("bits", "text"),
    [
        ("0000000000000000", "0"),
        ("8000000000000000", "0"),
        ("0000000000000001", "5e-324"),
        ("8000000000000001", "-5e-324"),
        ("7fefffffffffffff", "1.7976931348623157e+308"),
        ("ffefffffffffffff", "-1.7976931348623157e+308"),
        ("4340000000000000", "9007199254740992"),
        ("c340000000000000", "-9007199254740992"),
        ("4430000000000000", "295147905179352830000"),
        ("44b52d02c7e14af5", "9.999999999999997e+22"),
        ("44b52d02c7e14af6", "1e+23"),
        ("44b52d02c7e14af7", "1.0000000000000001e+23"),
        ("444b1ae4d6e2ef4e", "999999999999999700000"),
        ("444b1ae4d6e2ef4f", "999999999999999900000"),
        ("444b1ae4d6e2ef50", "1e+21"),
        ("3eb0c6f7a0b5ed8c", "9.999999999999997e-7"),
        ("3eb0c6f7a0b5ed8d", "0.000001"),
        ("41b3de4355555553", "333333333.3333332"),
        ("41b3de4355555554", "333333333.33333325"),
        ("41b3de4355555555", "333333333.3333333"),
        ("41b3de4355555556", "333333333.3333334"),
        ("41b3de4355555557", "333333333.33333343"),
        ("becbf647612f3696", "-0.0000033333333333333333"),
        ("43143ff3c1cb0959", "1424953923781206.2"),
    ],
)
def test_rfc_8785_appendix_b_numbers(bits: str, text: str) -> None:
    assert canonical(struct.unpack(">d", bytes.fromhex(bits))[0]) == text.encode()


@pytest.mark.parametrize("bits", ["7fffffffffffffff", "7ff0000000000000"])
def test_rfc_8785_appendix_b_nan_and_infinity_are_errors(bits: str) -> None:
    # Table 1 note 3 and section 3.2.2.3: values outside JSON must end with an error.
    with pytest.raises(SessionFault):
        canonical(struct.unpack(">d", bytes.fromhex(bits))[0])


def test_rfc_8785_section_3_2_2_2_lone_surrogate_is_an_error() -> None:
    with pytest.raises(SessionFault):
        canonical("\ud800")


def test_whole_numbers_end_where_doubles_stop_being_exact() -> None:
    # RFC 8785 Appendix B note 1: integers in -(2^53-1) .. 2^53-1.
    assert canonical(2**53 - 1) == b"9007199254740991"
    with pytest.raises(SessionFault):
        canonical(2**53)


# -- lines and chain -----------------------------------------------------------------------


def test_a_line_is_canonical_chained_and_covers_itself() -> None:
    line = encode(Said(at=Stamp("2026-11-25T06:40:00-06:00", 12), what="Stop."), 3, "ab" * 32)
    value = json.loads(line)
    assert line == rfc8785.dumps(value) + b"\n"
    own = value.pop("sum")
    assert own == digest(rfc8785.dumps(value))
    assert value == {
        "n": 3,
        "wall": "2026-11-25T06:40:00-06:00",
        "mono": 12,
        "prev": "ab" * 32,
        "kind": "said",
        "body": {"what": "Stop."},
    }


def test_each_line_names_the_hash_of_the_one_before() -> None:
    data, head = encode_all(small())
    lines = data.split(b"\n")[:-1]
    prevs = [json.loads(line)["prev"] for line in lines]
    assert prevs == [GENESIS, *(digest(line) for line in lines[:-1])]
    assert head == digest(lines[-1])


@pytest.mark.parametrize("kind", sorted(KINDS))
@given(data=st.data())
@settings(max_examples=40, deadline=None)
def test_every_kind_of_record_comes_back_equal(kind: str, data: st.DataObject) -> None:
    record = data.draw(records_of(KINDS[kind]))
    contents = read(encode(record, 1, GENESIS))
    assert contents.records == ((1, record),)
    assert type(contents.records[0][1]) is KINDS[kind]


@given(st.lists(any_record, max_size=6))
@settings(max_examples=60, deadline=None)
def test_a_journal_comes_back_equal(records: list) -> None:  # type: ignore[type-arg]
    data, head = encode_all(records)
    contents = read(data)
    assert [record for _, record in contents.records] == records
    assert [n for n, _ in contents.records] == list(range(1, len(records) + 1))
    assert (contents.head, contents.good_bytes, contents.torn) == (head, len(data), b"")


def test_text_that_no_json_can_carry_is_refused_when_written() -> None:
    with pytest.raises(SessionFault):
        encode(Said(at=Stamp("", 0), what="\udc80"), 1, GENESIS)


# -- J2: any prefix opens --------------------------------------------------------------------


def test_j2_any_prefix_of_a_journal_opens() -> None:
    """J2 Any prefix of a journal opens. A torn last record is cut."""
    records = small()
    data, _ = encode_all(records)
    ends = [i + 1 for i, byte in enumerate(data) if byte == 0x0A]
    for cut in range(len(data) + 1):
        contents = read(data[:cut])
        whole = sum(end <= cut for end in ends)
        good = ([0, *ends])[whole]
        assert [record for _, record in contents.records] == records[:whole]
        assert contents.good_bytes == good
        assert contents.torn == data[good:cut]
        # Going on after the cut gives the journal that was never cut.
        rest, _ = encode_all(records[whole:], whole + 1, contents.head)
        assert data[:good] + rest == data


def test_j2_a_tail_of_zeros_is_torn() -> None:
    # A file system may lengthen the file before the data arrive (common practice, no source).
    data, _ = encode_all(small())
    line = encode(Said(at=Stamp("", 0), what="x"), 7, read(data).head)
    tail = line[:20] + bytes(40)
    assert read(data + tail).torn == tail


# -- J2: damage ------------------------------------------------------------------------------


def _spans(data: bytes) -> list[tuple[int, int]]:
    """(start, end) of every line with its newline."""
    spans, start = [], 0
    while start < len(data):
        end = data.index(b"\n", start) + 1
        spans.append((start, end))
        start = end
    return spans


@pytest.mark.parametrize("mask", [0x01, 0x20, 0x80, 0xFF])
def test_j2_a_changed_byte_anywhere_is_found_and_named(mask: int) -> None:
    """J2 … damage elsewhere stops with its offset, and nothing after it is trusted."""
    records = small()
    data, _ = encode_all(records)
    for number, (start, end) in enumerate(_spans(data), 1):
        for position in range(start, end):
            changed = bytearray(data)
            changed[position] ^= mask
            with pytest.raises(JournalDamaged) as caught:
                read(bytes(changed))
            assert (caught.value.record, caught.value.offset) == (number, start)
            before, damage = read_to_damage(bytes(changed))
            assert damage is not None
            assert [record for _, record in before.records] == records[: number - 1]
            assert before.good_bytes == start


def test_j2_a_byte_turned_into_a_newline_is_damage() -> None:
    data, _ = encode_all(small())
    for number, (start, end) in enumerate(_spans(data), 1):
        for position in range(start, end - 1):
            changed = data[:position] + b"\n" + data[position + 1 :]
            with pytest.raises(JournalDamaged) as caught:
                read(changed)
            assert caught.value.record == number


def test_a_whole_last_line_that_does_not_parse_is_damage_and_not_torn() -> None:
    data, _ = encode_all(small())
    with pytest.raises(JournalDamaged) as caught:
        read(data + b'{"body":\n')
    assert (caught.value.record, caught.value.offset) == (7, len(data))


def test_a_line_taken_out_put_in_or_exchanged_is_damage() -> None:
    data, _ = encode_all(small())
    lines = data.splitlines(keepends=True)
    for changed, number in (
        (lines[:2] + lines[3:], 3),
        (lines[:3] + lines[2:], 4),
        ([lines[0], lines[2], lines[1], *lines[3:]], 2),
        (lines[1:], 1),
    ):
        with pytest.raises(JournalDamaged) as caught:
            read(b"".join(changed))
        assert caught.value.record == number


def test_a_line_written_anew_with_its_own_sum_breaks_the_chain_after_it() -> None:
    records = small()
    data, _ = encode_all(records)
    lines = data.splitlines(keepends=True)
    prev = json.loads(lines[2])["prev"]
    lines[2] = encode(Said(at=records[2].at, what="Something else."), 3, prev)
    with pytest.raises(JournalDamaged) as caught:
        read(b"".join(lines))
    assert caught.value.record == 4
    assert "one of the two was changed" in caught.value.what


@pytest.mark.parametrize(
    "line",
    [
        b"",
        b"null",
        b"[]",
        b"{}",
        b"{" * 100_000,
        b"[" * 100_000,
        b"9" * 5_000,
        b'{"n":NaN}',
        b"\xff\xfe",
        b'{"body":{},"kind":"said","kind":"said","mono":0,"n":1,"prev":"","sum":"","wall":""}',
    ],
)
def test_hostile_lines_are_damage(line: bytes) -> None:
    with pytest.raises(JournalDamaged) as caught:
        read(line + b"\n")
    assert (caught.value.record, caught.value.offset) == (1, 0)


def _line(**changed: object) -> bytes:
    value = json.loads(encode(opened(), 1, GENESIS)) | changed
    value.pop("sum")
    value["sum"] = digest(rfc8785.dumps(value))
    return rfc8785.dumps(value) + b"\n"


@pytest.mark.parametrize(
    "changed",
    [
        {"n": True},
        {"n": 2},
        {"mono": "0"},
        {"mono": True},
        {"wall": 0},
        {"kind": "of another version"},
        {"kind": 1},
        {"body": {"what": 1}},
        {"body": []},
        {"more": 1},
    ],
)
def test_well_summed_lines_of_wrong_shape_are_damage(changed: dict[str, object]) -> None:
    read(_line())
    with pytest.raises(JournalDamaged):
        read(_line(**changed))
