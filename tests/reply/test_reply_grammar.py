"""The language as a whole: one meaning or none, fragments, samples, vocabulary."""

from __future__ import annotations

import re

import pytest
from expectations import ALL, ANSWERS, CLOSED, INCHES, MIXED, PRESSURE, UNIT_NUMBER
from hypothesis import given, settings
from hypothesis import strategies as st

from voicecheck.errors import ChecklistError
from voicecheck.reply.grammar import (
    Expect,
    Form,
    Refused,
    Understood,
    Vocabulary,
    parse,
    read_back,
    samples,
    vocabulary,
)

WHYS = {
    "unknown words",
    "fragment",
    "two readings",
    "no number",
    "implausible",
    "too long",
    "nothing",
}
EXPECTS = pytest.mark.parametrize("expect", ALL.values(), ids=ALL.keys())


def why(expect: Expect, text: str) -> str:
    found = parse(expect, text)
    assert isinstance(found, Refused), (text, found)
    return found.why


@EXPECTS
def test_every_sample_has_its_meaning(expect: Expect) -> None:
    made = samples(expect)
    assert made == samples(expect)
    free = expect.number or expect.spell or expect.date
    assert len(made) == 200 if free else len(made) == sum(len(f.said) for f in expect.forms)
    assert {m.meaning for _, m in made} == {
        *(form.meaning for form in expect.forms),
        *(["number"] if expect.number else []),
        *(["spelling"] if expect.spell else []),
        *(["date"] if expect.date else []),
    }
    listening = vocabulary(expect)
    for text, meaning in made:
        assert parse(expect, text) == meaning
        assert meaning.text == text
        assert listening.complete(text)
        assert set(text.split()) <= set(listening.all_words())


@EXPECTS
def test_every_sample_read_back_has_the_same_meaning(expect: Expect) -> None:
    for _, meaning in samples(expect):
        again = parse(expect, read_back(meaning))
        if expect is MIXED and meaning.meaning == "date" and isinstance(again, Refused):
            # "November two zero zero zero" is a spelling too, where both may be said.
            assert (again.why, meaning.date[5:]) == ("two readings", "11")
            continue
        assert isinstance(again, Understood), (meaning, read_back(meaning), again)
        assert (again.meaning, again.quantity, again.spelled, again.date) == (
            meaning.meaning,
            meaning.quantity,
            meaning.spelled,
            meaning.date,
        )


@EXPECTS
def test_samples_are_limited(expect: Expect) -> None:
    assert len(samples(expect, 5)) == 5
    assert samples(expect, 5) == samples(expect)[:5]


@EXPECTS
def test_no_part_of_a_phrase_is_a_reply(expect: Expect) -> None:
    """Proper prefixes and suffixes of closed phrases, unless they are phrases themselves."""
    phrases = {text for form in expect.forms for text in form.said}
    for phrase in phrases:
        words = phrase.split()
        for cut in range(1, len(words)):
            for part in (" ".join(words[:cut]), " ".join(words[cut:])):
                if part not in phrases:
                    assert why(expect, part) in ("fragment", "no number")
                    assert not vocabulary(expect).complete(part)


def test_fragments_of_answers() -> None:
    for part in ("closed", "closed round", "round the", "the shank", "not", "jaws", "stand", "by"):
        assert why(CLOSED, part) == "fragment"


@pytest.mark.parametrize(
    "text",
    [
        "pass fail",
        "pass pass",
        "affirm negative",
        "say again stand by",
        "jaws closed jaws open",
        "pass pass all good",
        "negative jaws closed",
    ],
)
def test_two_replies_in_one_breath(text: str) -> None:
    assert why(CLOSED, text) == "two readings"


def test_two_phrases_that_are_listed_as_one() -> None:
    expect = Expect((Form("a", ("pass",)), Form("b", ("fail",)), Form("c", ("pass fail",))))
    found = parse(expect, "pass fail")
    assert isinstance(found, Understood)
    assert found.meaning == "c"


def test_one_phrase_for_two_answers_is_two_readings() -> None:
    expect = Expect((Form("a", ("open",)), Form("b", ("open", "not closed"))))
    assert why(expect, "open") == "two readings"
    assert all(text != "open" for text, _ in samples(expect))


def test_a_phrase_that_is_also_a_number_is_two_readings() -> None:
    expect = Expect((Form("answer:two", ("two",)),), INCHES.number)
    assert why(expect, "two") == "two readings"
    assert isinstance(parse(expect, "two inches"), Understood)


def test_commands_beside_a_number() -> None:
    found = parse(PRESSURE, "say again")
    assert isinstance(found, Understood)
    assert found.meaning == "command:say again"
    assert found.quantity is None
    assert parse(PRESSURE, "Repeat") == Understood("command:say again", "repeat")


def test_words_are_normalised() -> None:
    found = parse(CLOSED, "  Closed  ROUND\tthe shank ")
    assert isinstance(found, Understood)
    assert found.text == "closed round the shank"
    assert found.meaning == "answer:closed"


def test_a_phrase_with_a_word_that_sounds_like_a_figure() -> None:
    """ "Too" sounds like "two": the answer is found under either spelling, the number too."""
    expect = Expect(ANSWERS, INCHES.number)
    for text in ("pin too high", "pin two high"):
        found = parse(expect, text)
        assert isinstance(found, Understood)
        assert found.meaning == "answer:high"
    assert isinstance(parse(expect, "two inches"), Understood)


def test_a_twin_is_read_back_as_we_speak_it() -> None:
    found = parse(CLOSED, "repeat")
    assert isinstance(found, Understood)
    assert read_back(found) == "say again"


@pytest.mark.parametrize("text", ["never pass", "pass please", "[unk]", "pass [unk]", "[UNK] pass"])
def test_unknown_words(text: str) -> None:
    assert why(CLOSED, text) == "unknown words"


def test_not_before_a_verdict() -> None:
    """ "Not" is a word of this vocabulary; before another phrase it makes no phrase."""
    for text in ("not pass", "not all good", "not jaws closed", "not affirm"):
        assert why(CLOSED, text) == "fragment"


def test_words_in_an_order_that_says_nothing() -> None:
    assert why(CLOSED, "again say") == "fragment"
    assert why(PRESSURE, "eighty again") == "no number"


def test_very_long_talk() -> None:
    assert why(CLOSED, "pass " * 500) == "too long"
    assert why(PRESSURE, "eighty " * 5000) == "too long"


_WORDS = sorted({w for expect in ALL.values() for w in vocabulary(expect).all_words()})


@settings(max_examples=400, deadline=None)
@given(st.sampled_from(list(ALL.values())), st.text(max_size=60))
def test_parse_never_raises_on_text(expect: Expect, text: str) -> None:
    found = parse(expect, text)
    assert isinstance(found, Understood) or found.why in WHYS
    vocabulary(expect).may_grow(text)


@settings(max_examples=800, deadline=2000)
@given(
    st.sampled_from(list(ALL.values())),
    st.lists(st.sampled_from([*_WORDS, "[unk]", "wun", "x-ray", "p s i"]), max_size=20),
)
def test_parse_never_raises_on_words(expect: Expect, words: list[str]) -> None:
    found = parse(expect, " ".join(words))
    assert isinstance(found, Understood) or found.why in WHYS
    if "[unk]" in words:
        assert isinstance(found, Refused)


@EXPECTS
def test_unknown_words_never_help(expect: Expect) -> None:
    """A reply with a word put in that is no part of the vocabulary is always refused."""
    for number, (text, _) in enumerate(samples(expect)):
        words = text.split()
        strange = ("[unk]", "banana", "<unk>", "12")[number % 4]
        words.insert(number % (len(words) + 1), strange)
        assert why(expect, " ".join(words)) == "unknown words"


@EXPECTS
def test_vocabulary(expect: Expect) -> None:
    listening = vocabulary(expect)
    assert listening.phrases == tuple(sorted(set(listening.phrases)))
    assert listening.words == tuple(sorted(set(listening.words)))
    assert listening.phrases == tuple(sorted({t for f in expect.forms for t in f.said}))
    for word in listening.all_words():
        assert re.fullmatch(r"[a-z']+", word)


@EXPECTS
def test_may_grow_follows_every_prefix(expect: Expect) -> None:
    listening = vocabulary(expect)
    for text, _ in samples(expect):
        words = text.split()
        for cut in range(len(words)):
            assert listening.may_grow(" ".join(words[:cut]))


def test_may_grow() -> None:
    closed = vocabulary(CLOSED)
    assert closed.may_grow("not")
    assert closed.may_grow("jaws")
    assert not closed.may_grow("pass")
    assert not closed.may_grow("say again")
    assert not closed.may_grow("again")
    assert not closed.may_grow("pass fail")
    assert not closed.may_grow("[unk]")
    number = vocabulary(PRESSURE)
    assert number.may_grow("eighty")
    assert number.may_grow("eighty five")
    assert number.may_grow("eighty five psi")  # a number waits longer, even with its unit
    assert not number.may_grow("stand by")
    assert vocabulary(UNIT_NUMBER).may_grow("seven kilo")
    assert vocabulary(UNIT_NUMBER).may_grow("alfa alfa alfa alfa alfa alfa alfa alfa")


def test_complete() -> None:
    closed = vocabulary(CLOSED)
    assert closed.complete("say again")
    assert not closed.complete("say")
    assert not closed.complete("")
    number = vocabulary(PRESSURE)
    assert number.complete("eighty five")
    assert not number.complete("one twenty five")
    assert not number.complete("one hundred and")
    assert vocabulary(MIXED).complete("march twenty twenty seven")


def test_a_vocabulary_written_by_hand_knows_its_phrases() -> None:
    plain = Vocabulary(("pass", "say again"), (), "")
    assert plain.complete("Say again")
    assert not plain.complete("say")
    assert plain.may_grow("say")
    assert not plain.may_grow("pass")


def test_nothing_may_be_said() -> None:
    with pytest.raises(ChecklistError):
        vocabulary(Expect(()))
    assert why(Expect(()), "pass") == "unknown words"
    assert samples(Expect(())) == ()


@pytest.mark.parametrize("said", ["", "Pass", "pass  fail", " pass", "85", "x-ray", "pass.", "né"])
def test_forms_that_cannot_be_heard(said: str) -> None:
    with pytest.raises(ChecklistError):
        Form("answer:x", (said,))


def test_a_form_without_words() -> None:
    with pytest.raises(ChecklistError):
        Form("answer:x", ())
