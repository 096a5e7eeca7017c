"""The JSGF text, read by an independent reader and by pocketsphinx."""

from __future__ import annotations

import re
from typing import Any

import pytest
from expectations import ALL, CLOSED, INCHES, PRESSURE, SECONDS
from hypothesis import given, settings
from hypothesis import strategies as st

from voicecheck.reply.grammar import Expect, Understood, parse, samples, vocabulary


def as_regex(jsgf: str) -> re.Pattern[str]:
    """A JSGF grammar without recursion as one regular expression over words and blanks.

    Written from the JSpeech Grammar Format, W3C Note of 5 June 2000: ``( )`` groups, ``[ ]`` is
    optional, ``|`` separates alternatives, ``<name>`` refers to a rule.
    """
    header, name, *rules = [line.strip() for line in jsgf.split(";") if line.strip()]
    assert header == "#JSGF V1.0"
    assert name == "grammar reply"
    table: dict[str, str] = {}
    public = []
    for rule in rules:
        left, right = rule.split(" = ", 1)
        if left.startswith("public "):
            left = left.removeprefix("public ")
            public.append(left)
        table[left] = right
    assert public == ["<reply>"]

    def expand(text: str) -> str:
        out = []
        for token in re.findall(r"<[a-z]+>|[a-z']+|[()\[\]|]", text):
            if token.startswith("<"):
                out.append(f"(?:{expand(table[token])})")
            elif token in "([":
                out.append("(?:")
            elif token == ")":
                out.append(")")
            elif token == "]":
                out.append(")?")
            elif token == "|":
                out.append("|")
            else:
                out.append(f"{token} ")
        return "".join(out)

    return re.compile(expand(table["<reply>"]))


REGEX = {name: as_regex(vocabulary(expect).jsgf) for name, expect in ALL.items()}


@pytest.mark.parametrize("name", ALL)
def test_every_sample_is_in_the_grammar(name: str) -> None:
    for text, _ in samples(ALL[name]):
        assert REGEX[name].fullmatch(text + " "), text


@pytest.mark.parametrize("name", ALL)
def test_grammar_and_parser_agree(name: str) -> None:
    """What is understood is in the grammar; what is in the grammar is understood or asked again.

    Sentences: samples, and samples with one word left out, doubled, changed or moved.
    """
    expect = ALL[name]
    vocabulary_words = vocabulary(expect).all_words()
    made = [text.split() for text, _ in samples(expect)]
    inside = 0
    outside = 0

    @settings(max_examples=250, deadline=None, derandomize=True, database=None)
    @given(
        st.integers(0, len(made) - 1),
        st.integers(0, 40),
        st.integers(0, 40),
        st.sampled_from(vocabulary_words),
        st.integers(0, 4),
    )
    def compare(which: int, here: int, there: int, word: str, how: int) -> None:
        nonlocal inside, outside
        words = list(made[which])
        here, there = here % len(words), there % len(words)
        if how == 1:
            del words[here]
        elif how == 2:
            words.insert(here, words[there])
        elif how == 3:
            words[here] = word
        elif how == 4:
            words[here], words[there] = words[there], words[here]
        text = " ".join(words)
        found = parse(expect, text)
        if REGEX[name].fullmatch(text + " "):
            inside += 1
            assert isinstance(found, Understood) or found.why in ("two readings", "implausible")
        else:
            outside += 1
            assert not isinstance(found, Understood)

    compare()
    assert inside > 20
    assert outside > 20


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("pressure", "one twenty five"),
        ("pressure", "zero five"),
        ("inches", "one three quarters"),
        ("seconds", "five thirty seconds"),
        ("seconds", "one oh five"),
        ("clock", "five thirty seconds"),
        ("length", "thirteen six"),
        ("unit number", "seven oh two"),
        ("month", "zero three two zero two seven"),
    ],
)
def test_what_is_heard_to_be_refused(name: str, text: str) -> None:
    assert REGEX[name].fullmatch(text + " ")
    assert not isinstance(parse(ALL[name], text), Understood)


@pytest.mark.parametrize("name", ALL)
def test_numbers_are_rules_not_lists(name: str) -> None:
    assert len(vocabulary(ALL[name]).jsgf) < 4000


@pytest.fixture(scope="module")
def decoder() -> Any:
    """pocketsphinx with the words that its dictionary lacks; their sounds do not matter here."""
    pocketsphinx = pytest.importorskip("pocketsphinx")
    made = pocketsphinx.Decoder(lm=None, loglevel="FATAL")
    words = sorted({w for expect in ALL.values() for w in vocabulary(expect).all_words()})
    missing = [word for word in words if made.lookup_word(word) is None]
    for word in missing:
        made.add_word(word, "AH", word == missing[-1])
    assert "juliett" in missing
    return made


@pytest.mark.parametrize("name", ALL)
def test_pocketsphinx_compiles_the_grammar(decoder: Any, name: str) -> None:
    decoder.add_jsgf_string("reply", vocabulary(ALL[name]).jsgf)
    decoder.activate_search("reply")
    decoder.start_utt()
    decoder.process_raw(b"\0" * 32000, full_utt=True)
    decoder.end_utt()
    assert decoder.current_search() == "reply"


def test_pocketsphinx_refuses_a_broken_grammar(decoder: Any) -> None:
    """The check above can fail."""
    broken = vocabulary(CLOSED).jsgf.replace("public <reply> = ", "public <reply> = ( ")
    with pytest.raises(ValueError):
        decoder.add_jsgf_string("broken", broken)


@pytest.mark.parametrize("expect", [CLOSED, PRESSURE, INCHES, SECONDS])
def test_pocketsphinx_accepts_the_samples(decoder: Any, expect: Expect) -> None:
    """The compiled state graph of pocketsphinx takes our sentences and no proper prefix of one."""
    decoder.add_jsgf_string("graph", vocabulary(expect).jsgf)
    graph = decoder.get_fsg("graph")
    taken = {text for text, _ in samples(expect, 60) if graph.accept(text)}
    assert len(taken) == len(samples(expect, 60))
    for text in ("say", "stand", "again", "one hundred and", "point five"):
        assert not graph.accept(text)
