"""The table of command and verdict words."""

from __future__ import annotations

import pytest

from voicecheck.errors import ChecklistError
from voicecheck.reply import phrases
from voicecheck.reply.grammar import Expect, Understood, parse
from voicecheck.reply.phrases import COMMANDS, PHRASES, command_forms

# ICAO Annex 10 Volume II, 5.2.1.5.8, and ICAO Doc 9432, 4th edition 2007, 2.6 (as reproduced):
# standard words with the meaning that this program gives them too.
ICAO_WORDS = {
    "affirm": "affirm",
    "negative": "negative",
    "say again": "command:say again",
    "read back": "command:read back",
    "correction": "command:correction",
    "disregard": "command:disregard",
    "stand by": "command:stand by",
    "go ahead": "command:go ahead",
}


@pytest.mark.parametrize(("text", "meaning"), ICAO_WORDS.items())
def test_standard_words(text: str, meaning: str) -> None:
    found = parse(Expect(command_forms(PHRASES)), text)
    assert isinstance(found, Understood)
    assert found.meaning == meaning


def test_check_is_no_reply() -> None:
    """In ICAO phraseology "check" means examine, and no answer is expected."""
    assert not any("check" in (p.said, *p.twins) for p in PHRASES.values())


def test_no_two_lines_share_words() -> None:
    said = [text for phrase in PHRASES.values() for text in (phrase.said, *phrase.twins)]
    assert len(said) == len(set(said))
    assert len({phrase.meaning for phrase in PHRASES.values()}) == len(PHRASES)


def test_names_are_constants() -> None:
    constants = {v for k, v in vars(phrases).items() if k.isupper() and isinstance(v, str)}
    assert constants == set(PHRASES)


def test_all_lines_together_are_understood() -> None:
    expect = Expect(command_forms(PHRASES))
    for phrase in PHRASES.values():
        for text in (phrase.said, *phrase.twins):
            found = parse(expect, text)
            assert isinstance(found, Understood)
            assert found.meaning == phrase.meaning


def test_twins_may_be_left_out() -> None:
    with_twins, without = command_forms(("negative",)), command_forms(("negative",), twins=False)
    assert with_twins[0].said == ("negative", "no")
    assert without[0].said == ("negative",)


def test_commands_say_so() -> None:
    assert all(PHRASES[name].meaning == f"command:{name}" for name in COMMANDS)
    assert len(COMMANDS) == 17


def test_unknown_name() -> None:
    with pytest.raises(ChecklistError):
        command_forms(("launch",))
