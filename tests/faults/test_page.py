"""The page of the faults says what the tests hold the program to."""

from __future__ import annotations

from pathlib import Path

from tests.faults.table import ROWS, page

PAGE = Path(__file__).parents[2] / "docs" / "reliability.md"


def test_the_page_is_current() -> None:
    assert PAGE.read_text(encoding="utf-8") == page()


def test_each_fault_has_one_row() -> None:
    page()
    names = [row.fault for row in ROWS]
    assert len(names) == len(set(names))
