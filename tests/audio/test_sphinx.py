"""The fallback recogniser."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from stand_ins_audio import phrases

from voicecheck.audio.ports import Recogniser
from voicecheck.audio.pronunciations import PRONUNCIATIONS
from voicecheck.audio.sphinx_recogniser import SphinxRecogniser
from voicecheck.errors import WordNotInModel

# The 39 phones of the CMU Pronouncing Dictionary (its file cmudict.phones, 0.7b), no stress.
PHONES = """AA AE AH AO AW AY B CH D DH EH ER EY F G HH IH IY JH K L M N NG OW OY P R S SH T TH UH
UW V W Y Z ZH"""
ARPABET = set(PHONES.split())


@pytest.fixture(scope="module")
def sphinx() -> SphinxRecogniser:
    return SphinxRecogniser()


def test_it_is_a_recogniser_that_is_not_trusted(sphinx: SphinxRecogniser) -> None:
    assert isinstance(sphinx, Recogniser)
    assert sphinx.trusts_pass is False
    assert sphinx.name.startswith("pocketsphinx 5.")
    assert len(sphinx.digest) == 64 and sphinx.digest == SphinxRecogniser().digest


def test_pronunciations_use_known_phones_only() -> None:
    for word, ways in PRONUNCIATIONS.items():
        assert ways and len(set(ways)) == len(ways), word
        for way in ways:
            assert set(way.split()) <= ARPABET, word


TRADE = """gladhand gladhands pushrod chocks dollies juliett taillight psi kilopascals niner fife
fower wun ait"""


@pytest.mark.parametrize("word", TRADE.split())
def test_words_of_the_trade_can_be_heard(sphinx: SphinxRecogniser, word: str) -> None:
    assert sphinx.missing([word]) == ()
    sphinx.prepare(phrases(word, "stand by"))


def test_preparing_a_word_twice_adds_no_second_entry(sphinx: SphinxRecogniser) -> None:
    before = len(PRONUNCIATIONS["psi"])
    for _ in range(3):
        sphinx.missing(["psi"])
    decoder = sphinx._decoder
    assert decoder.lookup_word("psi") is not None
    assert decoder.lookup_word(f"psi({before + 2})") is None


def test_an_unknown_word_is_refused_by_name(sphinx: SphinxRecogniser) -> None:
    assert sphinx.missing(["pass", "zzyzxt"]) == ("zzyzxt",)
    with pytest.raises(WordNotInModel, match="zzyzxt"):
        sphinx.prepare(phrases("pass", "zzyzxt"))


def test_silence_gives_no_text(sphinx: SphinxRecogniser) -> None:
    sphinx.prepare(phrases("pass", "fail"))
    assert sphinx.hear(b"").text == ""
    assert sphinx.hear(bytes(32_000)).text == ""


def test_the_same_sound_gives_the_same_result_whatever_came_before(
    sphinx: SphinxRecogniser, spoken: Callable[[str], bytes]
) -> None:
    words = phrases("negative", "stand by", "pass", "fail")
    sound, other = spoken("negative"), spoken("stand by")
    sphinx.prepare(words)
    first = sphinx.hear(sound)
    sphinx.hear(other)
    sphinx.prepare(phrases("location", "memo"))
    sphinx.hear(other)
    sphinx.prepare(words)
    assert sphinx.hear(sound) == first
    assert first.text == "negative"
    assert 0.8 < first.words[0].start < 1.2 < first.words[0].end


def test_many_vocabularies_one_after_the_other(sphinx: SphinxRecogniser) -> None:
    sphinx.prepare(phrases("pass"))
    for number in range(40):
        sphinx.prepare(phrases("pass", " ".join(["again"] * (number + 1))))
    assert len(sphinx._searches) <= 16
    assert sphinx.hear(bytes(32_000)).text == ""


def test_hear_before_prepare_is_a_defect() -> None:
    with pytest.raises(RuntimeError, match="prepare"):
        SphinxRecogniser().hear(bytes(32_000))
