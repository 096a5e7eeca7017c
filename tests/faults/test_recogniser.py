"""Faults of the recogniser and of the sound that it is given."""

from __future__ import annotations

import shutil

import pytest

from tests.faults.table import Row, fault
from tests.faults.yard import QUESTION, SAFE, Yard

pytestmark = [
    pytest.mark.skipif(not shutil.which("pulseaudio"), reason="PulseAudio is not installed"),
    pytest.mark.xdist_group("sound card"),
]

FAILS = """
import os
import pocketsphinx
class Failing(pocketsphinx.Decoder):
    def end_utt(self):
        if os.path.exists(FLAG):
            ONCE and os.remove(FLAG)
            raise RuntimeError("injected")
        return super().end_utt()
pocketsphinx.Decoder = Failing
"""


@fault(
    "Recogniser fails once",
    by="the engine's decoder is made to raise in the middle of a reply",
    says=("I lost that. Say it again.",),
    keeps=("not heard: engine", "answered: good"),
    note="The engine is made anew; the same reply said again is taken.",
)
def test_fails_once(row: Row) -> None:
    with Yard() as yard:
        flag = yard.patch(FAILS.replace("ONCE", "True"))
        program = yard.run()
        program.until(QUESTION)
        yard.quiet()
        before = len(program.seen)
        flag.touch()
        yard.say("closed and locked")
        program.until("I lost that")
        yard.answer("closed and locked")
        program.until("Rear.")
        state = row.check(program.seen[before:], yard.folder)
    assert state.answers["crank"].answer == "closed and locked"


@fault(
    "Recogniser fails again and again",
    by="the engine's decoder is made to raise at every reply",
    says=("I lost that. Say it again.", "I lost that. Say it again.", SAFE,
          "Hold. I fail and stop here. Your answers are kept."),
    keeps=("not heard: engine", "not heard: engine", "make safe: crank",
           "stood by: failed: recogniser-failed"),
    note="The program ends with the error `recogniser-failed`; resume asks the same question.",
)  # fmt: skip
def test_fails_always(row: Row) -> None:
    with Yard() as yard:
        flag = yard.patch(FAILS.replace("ONCE", "False"))
        program = yard.run()
        program.until(QUESTION)
        yard.quiet()
        before = len(program.seen)
        flag.touch()
        for said in ("I lost that", "I lost that", "Hold. I fail"):
            yard.quiet()
            yard.say("closed and locked")
            program.until(said)
        assert program.process.wait(60) == 3
        program.until("recogniser-failed")
        state = row.check(program.seen[before:], yard.folder)
    assert not state.answers


@fault(
    "A reply so loud that it is clipped",
    by="the recorded reply is made thirty times louder, and cut at full scale",
    says=("I heard: closed and locked.",),
    keeps=("read back",),
    note="It is read back, whatever the engine's confidence.",
)
def test_clipped(row: Row) -> None:
    with Yard() as yard:
        program = yard.run()
        program.until(QUESTION)
        yard.quiet()
        before = len(program.seen)
        yard.say("closed and locked", gain=30.0)
        program.until("I heard: closed and locked.")
        state = row.check(program.seen[before:], yard.folder)
        assert not state.answers
