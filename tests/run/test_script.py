"""The checklist to be read aloud holds every question that is asked in an inspection."""

from __future__ import annotations

import pytest

from tests.checklists.walk import Walk, compiled
from voicecheck.run.script import script


@pytest.mark.parametrize("mode", ["full", "brief"])
@pytest.mark.parametrize("name", ["couple", "trip-inspection"])
def test_what_is_asked_is_in_the_script(name: str, mode: str) -> None:
    checklist = compiled(name)
    printed = {line.strip() for line in script(checklist, brief=mode == "brief")}
    walk = Walk(checklist)
    if mode == "brief":
        walk.reply("brief")
    joint = set[str]()
    while not walk.outcome:
        if walk.phase == "asked":
            said = [text for text in walk.said if text][-1]
            assert any(said.endswith(line) for line in printed if line), said
            if parts := walk.session.state.breath:
                joint.add(said)
                good = walk.in_breath(len(parts))
                told = [line for line in printed if line.endswith("or the first alone)")]
                ways = [line.removeprefix("> ").partition("   ")[0] for line in told]
                assert good in [way.replace(", ", " ") for way in ways], good
        walk.reply(walk.good())
    assert len(joint) >= 3
