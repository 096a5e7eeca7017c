"""The table of faults: a test registers its row, and is held to it.

A row says what the fault is, how the test causes it, what the driver hears from then on and what
the journal holds. ``Row.check`` compares both with what happened, so the page made of the rows
(``python -m tests.faults.table > docs/reliability.md``) says what the tests have seen.
"""

from __future__ import annotations

import importlib
import sys
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from voicecheck.journal.file import read
from voicecheck.run.opening import read_inspection
from voicecheck.session import records as r
from voicecheck.session.fold import fold
from voicecheck.session.state import State

HERE = Path(__file__).parent
MODULES = ("test_microphone", "test_speech", "test_recogniser", "test_disk", "test_process",
           "test_clock", "test_echo")  # fmt: skip
Test = TypeVar("Test", bound=Callable[..., Any])


@dataclass
class Row:
    """``says``: the sentences in order, the first of them the very first one after the fault.

    ``keeps``: records in order, as "kind" or "kind: what", others may stand between. ``note``: what
    cannot be said in either, one sentence.
    """

    fault: str
    by: str
    says: tuple[str, ...]
    keeps: tuple[str, ...]
    note: str
    test: str
    checked: bool = False

    def check(self, lines: Iterable[str], folder: Path) -> State:
        """The lines printed since the fault, and the inspection. The state that its records give.

        The journal must be whole and must replay: what was accepted before the fault is in it.
        """
        prompts = prompts_of(lines)
        if self.says:
            assert prompts, "nothing was said"
            assert prompts[0].startswith(self.says[0]), (prompts, self.says)
        _in_order(self.says, prompts, lambda wanted, said: said.startswith(wanted))
        assert not read(folder).torn
        compiled, records = read_inspection(folder)
        _in_order(self.keeps, [described(x) for x in records], _is)
        self.checked = True
        return fold(compiled, records)


ROWS: list[Row] = []


def fault(
    name: str, *, by: str, says: tuple[str, ...] = (), keeps: tuple[str, ...] = (), note: str = ""
) -> Callable[[Test], Test]:
    """Register the row of a test, which gets it as the fixture ``row``."""

    def mark(test: Test) -> Test:
        place = f"{test.__module__.rpartition('.')[2]}.py, {test.__name__}"
        row = Row(name, by, says, keeps, note, place)
        ROWS.append(row)
        test.row = row  # type: ignore[attr-defined]
        return test

    return mark


def prompts_of(lines: Iterable[str]) -> list[str]:
    """The sentences spoken: lines set in by two blanks, without remarks in brackets."""
    return [s.strip() for s in lines if s.startswith("  ") and not s.startswith("  (")]


def described(record: r.Record) -> str:
    """A record as the table names it."""
    for field in ("what", "hazard", "outcome", "why"):
        value = getattr(record, field, "")
        if value:
            return f"{record.kind}: {value}"
    return record.kind


def _is(wanted: str, record: str) -> bool:
    return record == wanted if ":" in wanted else record.partition(":")[0] == wanted


def _in_order(wanted: Iterable[str], found: list[str], same: Callable[[str, str], bool]) -> None:
    at = 0
    for one in wanted:
        hit = next((n for n in range(at, len(found)) if same(one, found[n])), None)
        assert hit is not None, f"{one!r} is not in {found[at:]}"
        at = hit + 1


TOP = """# Reliability: what happens when something breaks

This page is made from the tests in `tests/faults`: each causes its fault, then compares what was
said and what the journal holds with its row. Make it again with
`python -m tests.faults.table > docs/reliability.md`.

What holds in every row: a record is on disk before anything that follows from it is said; no
sentence that nobody could hear counts as spoken; where a hazard is open its make-safe sentence
comes first ("Both hands off." in these tests); no answer that was accepted before is lost, and none
is made by the fault. The microphone, loudspeaker, synthesiser and files are real ones (a sound card
made of software); what is put in the place of something is said in the row.
"""


def page() -> str:
    for name in MODULES:
        importlib.import_module(f"tests.faults.{name}")
    parts = [TOP]
    # in this order, whichever was imported first
    for row in sorted(ROWS, key=lambda row: MODULES.index(row.test.partition(".py")[0])):
        said = " ".join(f"“{s}”" for s in row.says) or "Nothing."
        kept = ", ".join(f"`{k}`" for k in row.keeps) or "Nothing more."
        parts.append(
            f"\n## {row.fault}\n\n"
            f"- Caused by: {row.by}\n- Said: {said}\n- Kept: {kept}\n"
            + (f"- Note: {row.note}\n" if row.note else "")
            + f"- Test: `{row.test}`\n"
        )
    return "".join(parts)


if __name__ == "__main__":
    # under its own name, so that the tests' rows go into the list that is printed
    sys.stdout.write(importlib.import_module("tests.faults.table").page())
