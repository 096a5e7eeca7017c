"""What may be said now: one table from which vocabulary, parser and sample sentences come.

Rules of this room:

1. The language is written once, as a pattern (see pattern.py). The words for the recogniser, the
   JSGF text, the reader and the samples are four views of it.
2. A reply is understood only as a whole and only when it has exactly one meaning. A part of a
   phrase is "fragment". Two meanings, or two replies in one breath, are "two readings" and are
   asked again. Nothing is guessed and nothing is corrected.
3. What people say although it has two meanings is in the language and is refused. A recogniser that
   could not hear "one twenty five" would hear some other number.
4. ``[unk]`` anywhere, or a word outside the vocabulary, refuses the whole reply.
5. ``parse`` never raises on text, whatever the text is.

Order of refusals: nothing, unknown words, too long (a row of figures or letters above the limit, or
more words than two whole replies can have), two readings, implausible, no number, too long,
fragment.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

from voicecheck.errors import ChecklistError
from voicecheck.reply.numbers import (
    FIGURES,
    FRACTION_ENDS,
    LETTERS,
    MOST_FIGURES,
    WHOLE_FRACTIONS,
    DateForm,
    NumberForm,
    SpellForm,
    date_exists,
    date_pattern,
    date_words,
    number_pattern,
    quantity_words,
    spell_pattern,
    spelling_words,
    unit_words,
)
from voicecheck.reply.pattern import (
    Doubt,
    Either,
    Memo,
    Net,
    Pattern,
    Pick,
    Rule,
    Run,
    Say,
    sound_key,
)
from voicecheck.units import Quantity

__all__ = [
    "DateForm",
    "Expect",
    "Form",
    "NumberForm",
    "Refused",
    "SpellForm",
    "Understood",
    "Vocabulary",
    "parse",
    "read_back",
    "samples",
    "vocabulary",
]

_SAID = re.compile(r"[a-z']+( [a-z']+)*")
_FIGURE_WORDS = frozenset({*FIGURES, "oh"})
_NUMBER_GLUE = frozenset({"a", "an", "and", "of", "point", "decimal", "hundred", "thousand"})


@dataclass(frozen=True)
class Form:
    """One closed thing that may be said.

    ``meaning`` is the id given back. ``said`` are the spoken forms, lower-case words separated by
    one blank; the first is the one we speak. Raises ChecklistError for other writing.
    """

    meaning: str
    said: tuple[str, ...]

    def __post_init__(self) -> None:
        if not self.said:
            raise ChecklistError(
                f"The reply {self.meaning!r} has no words.", "Write at least one spoken form."
            )
        for text in self.said:
            if not _SAID.fullmatch(text):
                raise ChecklistError(
                    f"{text!r} is not something that can be heard.",
                    "Write lower-case words of the letters a to z and the apostrophe, "
                    "one blank between them, numbers as words.",
                )


@dataclass(frozen=True)
class Expect:
    """Everything that may be said now."""

    forms: tuple[Form, ...]
    number: NumberForm | None = None
    spell: SpellForm | None = None
    date: DateForm | None = None


@dataclass(frozen=True)
class Understood:
    """One meaning.

    ``meaning`` is ``Form.meaning``, or "number", "spelling" or "date"; ``text`` the words as heard,
    lower-case, one blank between them; ``spelled`` e.g. "7K42"; ``date`` "2027-03" or "2027-03-31".
    ``first`` is the phrase as we speak it (for reading back); it does not count in comparisons.
    """

    meaning: str
    text: str
    quantity: Quantity | None = None
    spelled: str = ""
    date: str = ""
    first: str = field(default="", compare=False)


@dataclass(frozen=True)
class Refused:
    """No meaning, or more than one.

    ``why``: "unknown words", "fragment", "two readings", "no number", "implausible", "too long" or
    "nothing".
    """

    why: str
    text: str


@dataclass(frozen=True)
class Vocabulary:
    """What the recogniser is told.

    ``phrases`` are closed and whole; ``words`` may follow one another freely; ``jsgf`` is the same
    language as a JSGF grammar with the public rule ``<reply>``. It includes what is heard only to
    be refused (rule 3 of this room). ``wholes`` are rows of the free words outside of which those
    of ``ends`` make no sense: an engine that can hear them whole needs no ``ends`` alone.
    """

    phrases: tuple[str, ...]
    words: tuple[str, ...]
    jsgf: str
    expect: Expect | None = field(default=None, repr=False)
    wholes: tuple[str, ...] = ()
    ends: frozenset[str] = frozenset()

    def complete(self, text: str) -> bool:
        """Whether the text is one whole reply that is understood."""
        if self.expect is None:
            return _normal(text) in self.phrases
        return isinstance(parse(self.expect, text), Understood)

    def may_grow(self, text: str) -> bool:
        """Whether a longer reply begins with the text, or it is a number, spelling or date."""
        heard = _normal(text)
        if self.expect is None:
            return any(phrase.startswith(f"{heard} ") for phrase in self.phrases)
        language = _language(self.expect)
        keys = [sound_key(word) for word in heard.split()]
        states = language.net.walk([language.start], keys)
        if any(word is not None for state in states for word, _ in language.net.edges[state]):
            return True
        found = parse(self.expect, text)
        return isinstance(found, Understood) and found.meaning in ("number", "spelling", "date")

    def all_words(self) -> tuple[str, ...]:
        """Every word of the phrases and the free words, sorted."""
        return tuple(sorted({*self.words, *(w for phrase in self.phrases for w in phrase.split())}))


def vocabulary(expect: Expect) -> Vocabulary:
    """The vocabulary of what may be said now. Raises ChecklistError if that is nothing."""
    language = _language(expect)
    if not language.branches:
        raise ChecklistError("Nothing may be said here.", "Give the step at least one reply.")
    phrases = sorted({text for form in expect.forms for text in form.said})
    words = sorted({word for pattern in language.free for word in pattern.words()})
    rules = language.reply.rules()
    lines = ["#JSGF V1.0;", "grammar reply;"]
    lines += [f"<{name}> = {text};" for name, text in rules.items() if name != "reply"]
    lines.append(f"public <reply> = {rules['reply']};")
    number = expect.number
    fractions = number is not None and number.fractions and expect.date is None
    return Vocabulary(
        tuple(phrases),
        tuple(words),
        "\n".join(lines) + "\n",
        expect,
        WHOLE_FRACTIONS if fractions else (),
        FRACTION_ENDS if fractions else frozenset(),
    )


def parse(expect: Expect, text: str) -> Understood | Refused:
    """The one meaning of the text, or why there is none. Never raises on text."""
    heard = _normal(text)
    words = heard.split()
    if not words:
        return Refused("nothing", heard)
    language = _language(expect)
    keys = [sound_key(word) for word in words]
    # "[unk]" needs no line of its own: its brackets keep it out of every vocabulary.
    if not language.keys.issuperset(keys):
        return Refused("unknown words", heard)
    if _row_too_long(expect, keys) or len(keys) > 2 * language.longest:
        return Refused("too long", heard)
    memo: Memo = {}
    values = [value for end, value in language.reply.readings(keys, 0, memo) if end == len(keys)]
    meanings = dict.fromkeys(value for value in values if not isinstance(value, Doubt))
    doubts = {value for value in values if isinstance(value, Doubt)}
    if len(meanings) == 1 and Doubt.STRONG not in doubts:
        return _judged(expect, next(iter(meanings)), heard)
    if meanings or doubts or _several(language.reply, keys, memo):
        return Refused("two readings", heard)
    if expect.number is not None and _without_figure(expect.number, keys):
        return Refused("no number", heard)
    if len(keys) > language.longest:
        return Refused("too long", heard)
    if language.net.walk(range(len(language.net.edges)), keys):
        return Refused("fragment", heard)
    if expect.number is not None and language.number_keys.intersection(keys):
        return Refused("no number", heard)
    return Refused("fragment", heard)


def samples(expect: Expect, most: int = 200) -> tuple[tuple[str, Understood], ...]:
    """Sentences with their meanings, the same ones every time, at most ``most``.

    Every spoken form comes first, then numbers, spellings and dates in turn. A meaning is taken
    from the making of the sentence, not from reading it. Sentences that are refused are left out.
    """
    found: dict[str, Understood] = {}
    for text, made in _made(expect, most):
        if len(found) >= most:
            break
        if text not in found and isinstance(parse(expect, text), Understood):
            found[text] = made
    return tuple(found.items())


def read_back(understood: Understood) -> str:
    """Words to speak so that the driver can say affirm or negative."""
    if understood.quantity is not None:
        return quantity_words(understood.quantity, understood.text)
    if understood.spelled:
        return spelling_words(understood.spelled)
    if understood.date:
        return date_words(understood.date)
    return understood.first or understood.text


# -- the language -----------------------------------------------------------------------------


@dataclass(frozen=True)
class _Meaning:
    """The value of a reading of a whole reply."""

    meaning: str
    quantity: Quantity | None = None
    spelled: str = ""
    date: str = ""
    first: str = field(default="", compare=False)

    def heard_as(self, text: str) -> Understood:
        return Understood(self.meaning, text, self.quantity, self.spelled, self.date, self.first)


@dataclass(frozen=True)
class _Language:
    """An expectation made ready: the pattern of a whole reply and what is derived from it."""

    branches: tuple[Pattern, ...]
    free: tuple[Pattern, ...]  # numbers, spellings, dates
    reply: Pattern
    net: Net
    start: int
    keys: frozenset[str]
    number_keys: frozenset[str]
    longest: int


@lru_cache(maxsize=512)
def _language(expect: Expect) -> _Language:
    phrases = tuple(
        Say(text, _Meaning(form.meaning, first=form.said[0]))
        for form in expect.forms
        for text in form.said
    )
    free: list[Pattern] = []
    if expect.number is not None:
        free.append(_meaning(number_pattern(expect.number), "number", "quantity"))
    if expect.spell is not None:
        free.append(_meaning(spell_pattern(expect.spell), "spelling", "spelled"))
    if expect.date is not None:
        free.append(_meaning(date_pattern(expect.date), "date", "date"))
    branches: list[Pattern] = [*([Rule("phrase", Either(*phrases))] if phrases else []), *free]
    reply = Rule("reply", Either(*branches))
    net = Net()
    start = net.state()
    reply.net(net, start)
    return _Language(
        tuple(branches),
        tuple(free),
        reply,
        net,
        start,
        frozenset(sound_key(word) for word in reply.words()),
        frozenset(sound_key(word) for word in free[0].words()) if expect.number else frozenset(),
        reply.longest(),
    )


def _meaning(pattern: Pattern, meaning: str, slot: str) -> Pattern:
    def make(values: list[Any]) -> _Meaning:
        return _Meaning(meaning, **{slot: values[0]})

    return Run(pattern, make=make)


def _normal(text: str) -> str:
    """Lower-case words with one blank between them; hyphens part words; "p s i" is one word."""
    plain = text.lower().replace("x-ray", "xray").replace("-", " ")
    return re.sub(r"\bp s i\b", "psi", " ".join(plain.split()))


def _judged(expect: Expect, meaning: _Meaning, heard: str) -> Understood | Refused:
    if meaning.date and not date_exists(meaning.date):
        return Refused("implausible", heard)
    quantity, form = meaning.quantity, expect.number
    if quantity is not None and form is not None:
        # Above six figures it could not be read back: a million seconds is no pause.
        sayable = quantity.value < 10**MOST_FIGURES
        if not (sayable and form.plausible(quantity)):
            return Refused("implausible", heard)
    return meaning.heard_as(heard)


def _row_too_long(expect: Expect, keys: Sequence[str]) -> bool:
    """A row of single figures, or of letters and figures, above what may be said."""
    limits: list[int] = []
    if expect.spell is not None and tuple(keys[:2]) == ("i", "spell"):
        keys = keys[2:]
    if _FIGURE_WORDS.issuperset(keys):
        limits += [MOST_FIGURES] if expect.number is not None else []
        limits += [8] if expect.date is not None else []
    if expect.spell is not None and (_FIGURE_WORDS | set(LETTERS)).issuperset(keys):
        limits.append(expect.spell.most)
    return bool(limits) and len(keys) > max(limits)


def _several(reply: Pattern, keys: Sequence[str], memo: Memo) -> bool:
    """Whether the words are two or more whole replies, one after the other."""
    reached = {0}
    for at in range(len(keys)):
        if at in reached:
            reached.update(end for end, _ in reply.readings(keys, at, memo) if end > at)
    return len(keys) in reached


def _without_figure(form: NumberForm, keys: Sequence[str]) -> bool:
    """Only units and joining words of a measurement."""
    units = {word for unit in form.spoken() for text in unit_words(unit) for word in text.split()}
    return (_NUMBER_GLUE | units | {"pound", "pounds"}).issuperset(keys)


def _made(expect: Expect, most: int) -> Iterator[tuple[str, Understood]]:
    for form in expect.forms:
        for text in form.said:
            yield text, Understood(form.meaning, text, first=form.said[0])
    pick = Pick()
    for _ in range(20 * most):
        for pattern in _language(expect).free:
            words, value = pattern.sample(pick)
            text = " ".join(words)
            yield text, value.heard_as(text)
