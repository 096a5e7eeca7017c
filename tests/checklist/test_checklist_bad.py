"""Bad checklists: each is refused with its code, its line and words that help to mend it.

The files lie in bad/; the line is the one where the author must look. "fact that nobody gives" is
its own class, because no driver could ever clear the hold that it makes.
"""

from __future__ import annotations

import time
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from voicecheck.checklist.load import DEEPEST, LARGEST, load_checklist, read_yaml
from voicecheck.errors import ChecklistError, ChecklistNotFound, ChecklistSyntaxError
from voicecheck.run.library import compile_sources, load_sources

HERE = Path(__file__).parent
SYNTAX, INVALID, NEVER = "checklist-syntax", "checklist-invalid", "fact-never-given"
VEHICLE = "tractor-semitrailer"

# name of the file: code, line, words in the message
BAD = {
    "empty": (SYNTAX, 1, "the file is empty"),
    "only-comments": (SYNTAX, 1, "the file is empty"),
    "gives-both-of-a-pair": (INVALID, 19, "exclude one another"),
    "open-quote": (SYNTAX, 3, "not readable as YAML"),
    "not-yaml": (SYNTAX, 6, "not readable as YAML"),
    "question-mark-in-braces": (SYNTAX, 26, "not readable as YAML"),
    "indentation": (SYNTAX, 14, "not readable as YAML"),
    "tab": (SYNTAX, 12, "not readable as YAML"),
    "tag": (SYNTAX, 3, "tag"),
    "tag-scalar": (SYNTAX, 3, "tag"),
    "aliases": (SYNTAX, 1, "anchors and aliases"),
    "merge-key": (SYNTAX, 3, "anchors and aliases"),
    "duplicate-key": (SYNTAX, 7, "'parked' is written twice"),
    "complex-key": (SYNTAX, 3, "key must be plain text"),
    "too-deep": (SYNTAX, 3, "nested too deeply"),
    "control-character": (SYNTAX, 1, "not readable as YAML"),
    "two-documents": (SYNTAX, 10, "not readable as YAML"),
    "a-list": (INVALID, 1, "the file"),
    "a-number": (INVALID, 1, "the file"),
    "unknown-key": (INVALID, 14, "colour"),
    "missing-key": (INVALID, 11, "source"),
    "two-reply-kinds": (INVALID, 19, "exactly one reply kind"),
    "no-reply-kind": (INVALID, 19, "none"),
    "no-answers": (INVALID, 19, "at least one"),
    "no-question": (INVALID, 19, "write ask:"),
    "no-steps": (INVALID, 10, "at least 1"),
    "fact-undeclared": (INVALID, 22, "'parkd' is not declared"),
    "fact-given-undeclared": (INVALID, 17, "'parkt' is not declared"),
    "fact-never-given": (NEVER, 22, "needs 'parked', which no step gives"),
    "hazard-fact-never-given": (NEVER, 23, "'trailer held', which no step gives"),
    "hazard-fact-undeclared": (INVALID, 22, "'trailer held' is not declared"),
    "derived-circle": (INVALID, 9, "circle"),
    "derived-given": (INVALID, 19, "is derived"),
    "fact-and-derived": (INVALID, 9, "both a fact and derived"),
    "any-and-all": (INVALID, 9, "either any: or all:"),
    "hazard-unknown": (INVALID, 22, "no hazard 'flying'"),
    "blocks-unknown-hazard": (INVALID, 9, "no hazard 'flying'"),
    "blocks-make-safe": (INVALID, 9, "make-safe movement"),
    "class-unknown": (INVALID, 9, "'minor' or 'major'"),
    "again-forward": (INVALID, 18, "again: 'look' is no earlier step"),
    "third-without-again": (INVALID, 18, "third: belongs to again:"),
    "two-ends": (INVALID, 27, "one end"),
    "after-later": (INVALID, 14, "'look' is no earlier step"),
    "group-of-six": (INVALID, 25, "at most five"),
    "group-of-none": (INVALID, 25, "no area with lamps"),
    "group-both": (INVALID, 25, "either items: or each:"),
    "given-each-and-once": (INVALID, 16, "at each position"),
    "each-unknown": (INVALID, 22, "'doors' is no kind of position"),
    "defect-undeclared": (INVALID, 27, "defect 'worn' is not declared"),
    "capitals": (INVALID, 26, "String should match pattern"),
    "digits": (INVALID, 26, "String should match pattern"),
    "double-blank": (INVALID, 26, "String should match pattern"),
    "same-words": (INVALID, 25, "'whole' stands for two answers"),
    "not-fitted-unlocks": (INVALID, 26, "offers 'not fitted'"),
    "ends-what-it-needs": (INVALID, 23, "ends 'parked', which it needs itself"),
    "ends-and-gives": (INVALID, 23, "ended and given by one step"),
    "unit-unknown": (INVALID, 25, "unit 'furlong' is not known"),
    "limit-unknown": (INVALID, 25, "no limit 'us-nothing'"),
    "range-not-a-number": (INVALID, 25, "low"),
    "interval-of-nothing": (INVALID, 25, "seconds"),
    "outside-undeclared": (INVALID, 25, "'worn' is not declared"),
    "spell-backwards": (INVALID, 25, "least is more than most"),
    "match-without-each": (INVALID, 25, "names no unit without each:"),
    "setting-default": (INVALID, 5, "one of the choices"),
    "setting-undeclared": (INVALID, 22, "no setting 'lines'"),
    "season-unknown": (INVALID, 22, "'winter' or 'summer'"),
    "place-undeclared": (INVALID, 20, "'moon' is not declared"),
    "two-steps-one-id": (INVALID, 11, "two steps are called"),
    "exclusive-unknown": (INVALID, 9, "not declared"),
    "lasts-unknown": (INVALID, 6, "String should match pattern"),
    "word-for-a-list": (INVALID, 22, "valid tuple"),
    "carry-gives": (INVALID, 24, "carried forward and gives or ends 'looked'"),
    "carry-ends": (INVALID, 24, "carried forward and gives or ends 'looked'"),
    "carry-twice": (INVALID, 31, "carried by the step 'look' already"),
    "valid-hours-of-a-month": (INVALID, 24, "write day: true"),
    "valid-unknown": (INVALID, 24, "String should match pattern"),
    "clock-of-a-pressure": (INVALID, 24, "no longest time"),
    "clock-called-off-at-once": (INVALID, 24, "most"),
    "clock-outside-undeclared": (INVALID, 24, "'worn' is not declared"),
    "reckoning-rule-unknown": (INVALID, 27, "no rule 'magic'"),
    "reckoning-of-no-step": (INVALID, 27, "'luck' is no step"),
    "reckoning-of-no-reading": (INVALID, 27, "'park' takes no reading"),
    "reckoning-of-what-is-carried": (INVALID, 27, "'look' is carried forward"),
    "reckoning-outside-undeclared": (INVALID, 27, "'worn' is not declared"),
    "reckonings-two-one-id": (INVALID, 27, "two reckonings are called 'kept'"),
    "binary": (SYNTAX, 1, "not UTF-8"),
    "utf-16": (SYNTAX, 1, "not UTF-8"),
}


def compiled(file: Path) -> object:
    return compile_sources(load_sources(str(file), VEHICLE))[0]


def test_every_bad_file_is_listed() -> None:
    assert {file.stem for file in (HERE / "bad").glob("*.yaml")} == set(BAD)


@pytest.mark.parametrize("name", BAD)
def test_refused_with_code_line_and_words(name: str) -> None:
    code, line, words = BAD[name]
    with pytest.raises(ChecklistError) as caught:
        compiled(HERE / "bad" / f"{name}.yaml")
    error = caught.value
    assert (error.code, error.line) == (code, line), str(error)
    assert words in error.what
    assert Path(error.file).name == f"{name}.yaml"
    assert f"{name}.yaml:{line}: " in str(error)
    assert error.who == "author"
    assert len(error.how.split()) >= 2, "the message says how to mend it"


def test_the_file_that_the_bad_ones_are_made_from_is_good() -> None:
    """So that each bad file fails for its own reason only."""
    assert compiled(HERE / "good" / "small.yaml")


def test_too_large() -> None:
    text = (HERE / "good" / "small.yaml").read_text(encoding="utf-8")
    padded = text + "#" * (LARGEST - len(text))
    assert len(padded) == LARGEST
    load_checklist(padded, "padded.yaml")
    with pytest.raises(ChecklistSyntaxError, match="512 KiB"):
        load_checklist(padded + "#", "padded.yaml")


def test_depth_at_and_over_the_limit() -> None:
    def nested(depth: int) -> str:
        return "a: " + "[" * depth + "x" + "]" * depth

    value, _ = read_yaml(nested(DEEPEST - 1), "deep.yaml")
    assert isinstance(value, dict)
    with pytest.raises(ChecklistSyntaxError, match="nested too deeply"):
        read_yaml(nested(DEEPEST), "deep.yaml")
    for hostile in (nested(300), "- " * 50_000 + "x", "{a: " * 50_000):
        with pytest.raises(ChecklistSyntaxError):
            read_yaml(hostile, "deep.yaml")


def test_deep_brackets_do_not_hang_the_loader() -> None:
    """Refused at the depth that is too deep, however many brackets follow."""

    def took(brackets: int) -> float:
        began = time.process_time()
        with pytest.raises(ChecklistSyntaxError):
            read_yaml("a: " + "[" * brackets + "]" * brackets, "deep.yaml")
        return time.process_time() - began

    few, many = (min(took(n) for _ in range(3)) for n in (2_000, 32_000))
    assert many < 8 * few, "sixteen times as many brackets"


def test_no_such_file_and_no_such_name() -> None:
    with pytest.raises(ChecklistNotFound, match="no file"):
        load_sources("nowhere/list.yaml", VEHICLE)
    with pytest.raises(ChecklistNotFound, match=r"use one of: .*couple"):
        load_sources("cuople", VEHICLE)


def test_a_folder_is_no_checklist(tmp_path: Path) -> None:
    with pytest.raises(ChecklistNotFound, match="cannot be read"):
        load_sources(f"{tmp_path}/", VEHICLE)


@pytest.mark.parametrize("word", ["no", "off", "yes", "on", "null", "~", "2026-01-01", "1.5", "07"])
def test_words_stay_words(word: str) -> None:
    """Drivers say "no" and "off"; YAML 1.1 (chapter 10, yaml.org) would make truth values."""
    assert read_yaml(f"a: {word}", "words.yaml")[0] == {"a": word}


def test_plain_whole_numbers_and_truth_values() -> None:
    value, lines = read_yaml("a: 7\nb: true\nc: '7'\nd:\n  - e: false\n", "plain.yaml")
    assert value == {"a": 7, "b": True, "c": "7", "d": [{"e": False}]}
    assert lines[("d", 0, "e")] == 5


# Pieces of YAML that go wrong together more often than random letters do.
PIECES = st.sampled_from(
    ["a", ": ", "- ", "\n", "  ", "{", "}", "[", "]", ",", "&x ", "*x", "!t ", "!!int ", "? ", "|",
     ">", "'", '"', "#", "%YAML 1.1\n", "---\n", "...\n", "\t", "\x00", "\ufeff", "\ud800", "7",
     "<<: ", "= ", "!!timestamp ", "2026-99-99", "!!binary ", "0x", "\x85", "~"]
)  # fmt: skip


@settings(max_examples=600, deadline=None)
@given(st.one_of(st.text(), st.lists(PIECES, max_size=40).map("".join)))
def test_any_text_is_read_or_refused_as_a_checklist(text: str) -> None:
    """Nothing but ChecklistError leaves the loader, whatever the text is."""
    try:
        value, lines = read_yaml(text, "any.yaml")
    except ChecklistError as error:
        assert error.file == "any.yaml"
        assert 1 <= error.line <= text.count("\n") + text.count("\r") + text.count("\x85") + 3
    else:
        assert isinstance(value, dict | list | str | int)
        assert lines[()] >= 1
    try:
        load_checklist(text, "any.yaml")
    except ChecklistError:
        pass
    else:
        raise AssertionError("random text is no checklist")
