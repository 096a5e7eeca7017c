"""The one table of command and verdict words.

Rules of this file:

1. Each line is a name (what it is called in code, in the journal and in documents), the meaning
   that the parser gives back, and the words. The first words are the ones that we speak.
2. A twin is an everyday word for the same thing. It may be left out where it could be confused.
3. No two lines share their words.

Sources: affirm, negative, say again, read back, correction, disregard, stand by: ICAO Annex 10
Volume II, 5.2.1.5.8, and ICAO Doc 9432, 4th edition 2007, 2.6. I spell: ACP 125 (from memory).
The rest is everyday speech: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from voicecheck.errors import ChecklistError
from voicecheck.reply.grammar import Form

SAY_AGAIN = "say again"
STAND_BY = "stand by"
GO_AHEAD = "go ahead"
CORRECTION = "correction"
DISREGARD = "disregard"
READ_BACK = "read back"
EXPLAIN = "explain"
LOCATION = "location"
MEMO = "memo"
TIME_LEFT = "time left"
NOT_DONE = "not done"
CANNOT_SEE = "cannot see"
NEXT_PLACE = "next place"
BRIEF = "brief"
FULL = "full"
END_INSPECTION = "end inspection"
I_SPELL = "i spell"
AFFIRM = "affirm"
NEGATIVE = "negative"
PASS = "pass"
FAIL = "fail"
NOT_FITTED = "not fitted"
DONE = "done"
ALL_GOOD = "all good"
MENDED = "mended"
RELEASE = "release"
CARRY_ON = "carry on"
BY_CODE = "by code"
MARK = "mark"


@dataclass(frozen=True)
class Phrase:
    """A line of the table: the meaning given back, our words, and everyday twins."""

    meaning: str
    said: str
    twins: tuple[str, ...] = ()


def _command(name: str, *twins: str) -> tuple[str, Phrase]:
    return name, Phrase(f"command:{name}", name, twins)


def _word(name: str, *twins: str) -> tuple[str, Phrase]:
    return name, Phrase(name, name, twins)


PHRASES: Mapping[str, Phrase] = MappingProxyType(
    dict(
        (
            _command(SAY_AGAIN, "repeat"),
            _command(STAND_BY),
            _command(GO_AHEAD),
            _command(CORRECTION),
            _command(DISREGARD),
            _command(READ_BACK),
            _command(EXPLAIN),
            _command(LOCATION),
            _command(MEMO),
            _command(TIME_LEFT),
            _command(NOT_DONE),
            _command(CANNOT_SEE),
            _command(NEXT_PLACE),
            _command(BRIEF),
            # "full" alone is half a phone away from "fail"
            (FULL, Phrase(f"command:{FULL}", "in full")),
            _command(END_INSPECTION),
            _command(I_SPELL),
            # no "yes" and no "good": talk was taken for them (docs/speech.md), and both unlock
            _word(AFFIRM),
            _word(NEGATIVE, "no"),
            _word(PASS),
            _word(FAIL),
            _word(NOT_FITTED),
            _word(DONE, "complete", "finished"),
            _word(ALL_GOOD),
            _word(MENDED),
            _word(RELEASE),
            _word(CARRY_ON),
            _word(BY_CODE),
            _word(MARK),
        )
    )
)
COMMANDS: tuple[str, ...] = tuple(
    name for name, phrase in PHRASES.items() if phrase.meaning.startswith("command:")
)


def command_forms(names: Iterable[str], twins: bool = True) -> tuple[Form, ...]:
    """The forms of those names, in that order; ``twins=False`` leaves the everyday words out.

    Raises ChecklistError for a name outside the table.
    """
    forms: list[Form] = []
    for name in names:
        phrase = PHRASES.get(name)
        if phrase is None:
            raise ChecklistError(
                f"There is no command or verdict {name!r}.", "Use one of: " + ", ".join(PHRASES)
            )
        forms.append(Form(phrase.meaning, (phrase.said, *(phrase.twins if twins else ()))))
    return tuple(forms)


# What drivers call one thing. Whichever of a row is in an answer, the others are heard as well.
# Common practice, no source; the colours of lines and knobs are those of North America.
SAME_THING: tuple[tuple[str, ...], ...] = (
    ("release handle", "handle"),
    ("landing gear", "legs", "dollies"),
    ("kingpin", "pin"),
    ("supply line", "red line", "emergency line"),
    ("service line", "blue line"),
    ("supply knob", "red knob"),
    ("park knob", "yellow knob"),
    ("hand valve", "trolley"),
    ("inspection sticker", "sticker"),
    ("pull test", "tug"),
    ("cable", "pigtail"),
)
# An answer of one syllable is lost in noise; these are fuller words for it. No source.
FULLER: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {"chocked": ("chocks set",), "chocks": ("chocks set",), "loose": ("come loose",)}
)


def also_said(phrase: str) -> tuple[str, ...]:
    """The phrase and the other ways in which drivers say it, the written one first."""
    found = [phrase, *FULLER.get(phrase, ())]
    padded = f" {phrase} "
    for names in SAME_THING:
        for name in names:  # the longest name of a row stands first
            if f" {name} " in padded:
                found += [
                    padded.replace(f" {name} ", f" {other} ").strip()
                    for other in names
                    if other != name
                ]
                break
    return tuple(dict.fromkeys(found))
