"""Records for the tests of the journal: invented people and units."""

from __future__ import annotations

import dataclasses
from types import UnionType
from typing import Any, get_args, get_type_hints

from hypothesis import strategies as st

from voicecheck.session.records import (
    KINDS,
    Answered,
    Finished,
    HeardReply,
    Opened,
    Record,
    Said,
    Stamp,
    StepStarted,
)

SAFE = 2**53 - 1  # RFC 8785 Appendix B note 1: whole numbers beyond this are not exact


def stamp(n: int) -> Stamp:
    return Stamp(f"2026-11-25T06:{n // 60:02}:{n % 60:02}-06:00", 1000 * n)


def opened(**changed: Any) -> Opened:
    values: dict[str, Any] = {
        field.name: ""
        for field in dataclasses.fields(Opened)
        if field.name != "at" and field.default is dataclasses.MISSING
    }
    values |= {
        "inspection": "HL-0007",
        "checklist": "couple",
        "edition": "2026.1",
        "settings": (),
        "units": (("trailer", "7K42"),),
        "driver": "Odalys Brandt",
        "carrier": "Harrow Lake Haulage",
    }
    return Opened(at=stamp(0), **(values | changed))


def heard(n: int, **changed: Any) -> HeardReply:
    values: dict[str, Any] = {
        "step": "jaws",
        "words": "closed round the shank",
        "meaning": "closed round the shank",
        "certainty": "clear",
        "confidence": "0.97",
        "snr_db": "14",
        "evidence": "",
        "digest": "",
        "took": True,
        "why": "",
    }
    return HeardReply(at=stamp(n), **(values | changed))


def small() -> list[Record]:
    """Six records, one with letters outside ASCII and a quotation mark."""
    return [
        opened(),
        StepStarted(at=stamp(1), step="jaws", ends=(), hazard="", speaks=False, variant=0),
        Said(at=stamp(2), what='Look with a light, "é" – jaws.'),
        heard(3),
        Answered(
            at=stamp(4),
            step="jaws",
            outcome="good",
            answer="closed round the shank",
            text="closed round the shank",
            gives=("coupling seen locked",),
            rested_on=("trailer held\tspring brakes",),
            heard=4,
            quantity="",
            first_quantity="",
            limit="",
            verdict="",
            judged="",
            quick=False,
        ),
        Finished(at=stamp(5), outcome="complete", why=""),
    ]


def _of(hint: Any) -> st.SearchStrategy[Any]:
    if hint is int:
        return st.integers(-SAFE, SAFE)
    if dataclasses.is_dataclass(hint):
        parts = get_type_hints(hint)
        return st.builds(hint, **{name: _of(part) for name, part in parts.items()})
    if isinstance(hint, UnionType):
        return st.one_of(st.none(), _of(get_args(hint)[0]))
    if get_args(hint)[1:] == (...,):
        return st.lists(_of(get_args(hint)[0]), max_size=4).map(tuple)
    return st.from_type(hint)


def records_of(cls: type[Record]) -> st.SearchStrategy[Record]:
    """Any values of one kind. Text excludes surrogates, which no JSON can carry."""
    hints = get_type_hints(cls)
    fields = {
        field.name: _of(hints[field.name])
        for field in dataclasses.fields(cls)
        if field.name != "at"
    }
    at = st.builds(Stamp, wall=st.text(max_size=40), mono=st.integers(-SAFE, SAFE))
    return st.builds(cls, at=at, **fields)


any_record = st.sampled_from(sorted(KINDS)).flatmap(lambda kind: records_of(KINDS[kind]))
