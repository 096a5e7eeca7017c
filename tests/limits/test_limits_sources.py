"""docs/sources.md is current, and every row is on it once with its source and standing."""

from __future__ import annotations

from pathlib import Path

from voicecheck.limits import LIMITS
from voicecheck.limits.sources import sources_page

PAGE = Path(__file__).parents[2] / "docs" / "sources.md"


def test_the_page_is_current() -> None:
    assert PAGE.read_text(encoding="utf-8") == sources_page(), (
        "run: python -m voicecheck.limits.sources > docs/sources.md"
    )


def test_every_row_is_on_the_page_once() -> None:
    lines = sources_page().splitlines()
    for row in LIMITS:
        found = [line for line in lines if line.startswith(f"| `{row.id}` |")]
        assert len(found) == 1
        cells = [cell.strip() for cell in found[0].split("|")]
        assert len(cells) == 8
        assert cells[4].startswith(row.source)
        assert cells[5].startswith(row.standing)


def test_a_range_is_shown_with_both_ends() -> None:
    assert "**between 20 psi and 45 psi**; usual 138 kPa to 310 kPa" in sources_page()
