"""docs/sources.md is current, and every row is on it once with its source and standing."""

from __future__ import annotations

import re
from pathlib import Path

from voicecheck.limits import FAMILIES, LIMITS
from voicecheck.limits.sources import LOOKED_UP, sources_page

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "docs" / "sources.md"


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


def test_what_is_only_looked_up_is_what_no_list_measures_and_no_rule_reads() -> None:
    lists = "".join(file.read_text(encoding="utf-8") for file in ROOT.glob("checklists/*.yaml"))
    named = set(re.findall(r"\blimit: *([a-z0-9-]+)", lists))
    families = {row.id: row.family for row in LIMITS}
    measured = {families.get(name, name) for name in named}
    rules = "".join(
        file.read_text(encoding="utf-8")
        for file in ROOT.glob("voicecheck/**/*.py")
        if file.name not in ("table.py", "sources.py")
    )
    read = {family for family in FAMILIES if f'"{family}"' in rules}
    assert set(LOOKED_UP) == FAMILIES - measured - read
    assert len(set(LOOKED_UP)) == len(LOOKED_UP)
