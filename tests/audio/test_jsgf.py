"""Our automaton of a grammar against the engine's own reading of it."""

from __future__ import annotations

import random
import time
from collections.abc import Callable
from decimal import Decimal

import pytest
from stand_ins_audio import hiss

from voicecheck.audio.jsgf import compile_jsgf
from voicecheck.audio.sphinx_recogniser import SphinxRecogniser
from voicecheck.reply.grammar import (
    DateForm,
    Expect,
    Form,
    NumberForm,
    SpellForm,
    samples,
    vocabulary,
)
from voicecheck.units import IN, PSI

SMALL = """#JSGF V1.0;
grammar small;
<thing> = ( lamp | mud flap );
<state> = ( good | not good | [ very ] dirty );
public <reply> = ( <thing> <state> | stand by | again + | ( left | right ) * stop );
"""

FORMS = tuple(Form(f"f:{s}", (s,)) for s in ("stand by", "say again", "not done", "i spell"))
EXPECTATIONS = {
    "phrases": Expect(FORMS),
    "pressure": Expect(FORMS, number=NumberForm(PSI, (PSI,))),
    "length": Expect(
        FORMS, number=NumberForm(IN, (IN,), fractions=True, low=Decimal(0), high=Decimal(9))
    ),
    "spelling": Expect(FORMS, spell=SpellForm(2, 6)),
    "date": Expect(FORMS, date=DateForm()),
}


def accepts(grammar: str, text: str) -> bool:
    return compile_jsgf(grammar).accepts(text.split())


@pytest.mark.parametrize(
    ("text", "whole"),
    [
        ("lamp good", True),
        ("mud flap not good", True),
        ("mud flap very dirty", True),
        ("lamp dirty", True),
        ("again", True),
        ("again again again", True),
        ("stop", True),
        ("left left right stop", True),
        ("stand by", True),
        ("", False),
        ("lamp", False),
        ("flap good", False),
        ("lamp very good", False),
        ("stand by stand by", False),
        ("left", False),
        ("pass", False),
    ],
)
def test_a_small_grammar(text: str, whole: bool) -> None:
    assert accepts(SMALL, text) is whole


@pytest.mark.parametrize("name", EXPECTATIONS)
def test_every_sample_is_accepted_and_the_engine_agrees_on_random_words(name: str) -> None:
    """Reference: FsgModel.accept of pocketsphinx on its own compilation of the same text.

    It is asked about samples, samples with one word changed, dropped or doubled, and beginnings.
    """
    import pocketsphinx

    expect = EXPECTATIONS[name]
    grammar = vocabulary(expect).jsgf
    automaton = compile_jsgf(grammar)
    theirs = pocketsphinx.Decoder(lm=None, loglevel="FATAL").parse_jsgf(grammar)
    words = vocabulary(expect).all_words()
    chance = random.Random(7)
    agreed = {True: 0, False: 0}
    for text, _ in samples(expect, 60):
        said = text.split()
        assert automaton.accepts(said), text
        at = chance.randrange(len(said))
        for other in (
            said,
            [*said[:at], chance.choice(words), *said[at + 1 :]],
            said[:at] + said[at + 1 :],
            [*said[:at], said[at], *said[at:]],
            said[:at],
        ):
            if other:
                ours = automaton.accepts(other)
                assert ours is bool(theirs.accept(" ".join(other))), other
                agreed[ours] += 1
    assert min(agreed.values()) >= len(FORMS), agreed


def test_it_is_small() -> None:
    automaton = compile_jsgf(vocabulary(EXPECTATIONS["length"]).jsgf)
    assert len(automaton.arcs) < 500
    shapes = {
        (tuple(row.items()), state in automaton.accepting)
        for state, row in enumerate(automaton.arcs)
    }
    assert len(shapes) == len(automaton.arcs)  # no two states from which the same can be said


def test_a_measurement_is_recognised_faster_than_it_is_spoken(
    spoken: Callable[[str], bytes],
) -> None:
    """With the engine's own compilation three seconds took 48."""
    sphinx = SphinxRecogniser()
    sphinx.prepare(vocabulary(EXPECTATIONS["length"]))
    sound = spoken("one and three quarters") + hiss(1.0, 3)
    began = time.perf_counter()
    sphinx.hear(sound)
    assert time.perf_counter() - began < len(sound) / 32_000


@pytest.mark.parametrize(
    "body",
    [
        "public <a> = <a> x;",
        "public <a> = <b>;",
        "<a> = x;",
        "public <a> = ( x;",
        "public <a> = x );",
        "public <a> = x |;",
        "public <a> = * x;",
        "public <a> = /0.5/ x;",
        "public <a> = x {tag};",
        "public <a> = x; <a> = y;",
        "import <other>;",
    ],
)
def test_what_is_not_read_is_refused(body: str) -> None:
    with pytest.raises(ValueError, match=r".+"):
        compile_jsgf(f"#JSGF V1.0;\ngrammar g;\n{body}\n")


def test_no_header_is_refused() -> None:
    with pytest.raises(ValueError, match="JSGF"):
        compile_jsgf("public <a> = x;")
