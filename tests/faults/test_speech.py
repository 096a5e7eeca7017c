"""Faults of what the driver is to hear: loudspeaker and synthesiser."""

from __future__ import annotations

import shutil

import psutil
import pytest

from tests.faults.table import Row, fault, prompts_of
from tests.faults.yard import ASKED, QUESTION, SAFE, Yard

pytestmark = [
    pytest.mark.skipif(not shutil.which("pulseaudio"), reason="PulseAudio is not installed"),
    pytest.mark.xdist_group("sound card"),
]

CAUTION = "Legs. Three limbs in contact. Locked, or not?"
UNHEARD = "Hold. You could not hear me. See to the headset."
SPEECHLESS = "Hold. My speech fails. Wait."


@fault(
    "Loudspeaker gone while a caution is spoken, and back",
    by="the loudspeaker's sound server is ended in the middle of the sentence, and started again",
    says=(SAFE, UNHEARD, "You hear me again.", "Three limbs in contact. Locked, or not?"),
    keeps=("step started: crank", "make safe: crank", "lost: loudspeaker", "back: loudspeaker",
           "step started: crank", "said: question"),
    note="Tried three times, then every five seconds; what is said meanwhile is printed, and the "
    "first sentence heard to its end is the make-safe one. The caution counts as spoken once.",
)  # fmt: skip
def test_loudspeaker_gone(row: Row) -> None:
    with Yard() as yard:
        cautious = "caution: Three limbs in contact.\n    ask: Locked"
        yard.list.write_text(yard.list.read_text().replace("ask: Locked", cautious))
        program = yard.run()
        program.until(CAUTION)
        program.hear(0.5)
        before = len(program.seen)
        yard.loudspeaker.end()
        program.until(UNHEARD)
        assert not program.hear(6)  # it holds, and does not say it for ever
        assert "said" not in yard.kinds()
        yard.loudspeaker.start()
        program.until("You hear me again.")
        program.until(ASKED)
        yard.until_kept("said")
        row.check(program.seen[before:], yard.folder)
        assert yard.kinds().count("said") == 1


def synthesisers(pid: int) -> list[psutil.Process]:
    return [
        child
        for child in psutil.Process(pid).children()
        if any("synthesiser.py" in word for word in child.cmdline())
    ]


@fault(
    "Synthesiser crashes",
    by="its process is killed before a sentence that was never rendered",
    says=("I heard: closed and locked.", "Rear. What holds the trailer"),
    keeps=("answered: good", "step started: crank"),
    note="It is started again for the next sentence.",
)
def test_synthesiser_killed(row: Row) -> None:
    with Yard() as yard:
        program = yard.run()
        program.until(QUESTION)
        yard.quiet()
        before = len(program.seen)
        (child,) = synthesisers(program.process.pid)
        child.kill()
        yard.answer("closed and locked")
        program.until("Rear. What holds the trailer")
        yard.until_kept("said")  # the confirming question was heard to its end
        row.check(program.seen[before:], yard.folder)


@fault(
    "Synthesiser crashes at every start, then works again",
    by="its process is killed, and every new one ends at once until a file is taken away",
    says=(SAFE, SPEECHLESS, "I speak again.", ASKED),
    keeps=("read back", "make safe: crank", "lost: synthesiser", "back: synthesiser",
           "step started: crank"),
    note="The make-safe sentences and those of faults were rendered at the start and are heard. "
    "The read-back that could not be spoken waits for no answer.",
)  # fmt: skip
def test_synthesiser_gone(row: Row) -> None:
    with Yard() as yard:
        broken = yard.patch(
            "import os, sys\n"
            "if os.path.exists(FLAG) and any('synthesiser.py' in w for w in sys.orig_argv):\n"
            "    os._exit(9)\n"
        )
        program = yard.run()
        program.until(QUESTION)
        yard.quiet()
        broken.touch()
        (child,) = synthesisers(program.process.pid)
        child.kill()
        yard.say("closed and locked")
        program.until("I heard")
        before = len(program.seen)
        program.until(SPEECHLESS)
        program.hear(4)
        # it holds, and does not say it for ever
        assert prompts_of(program.seen[before:]) == [SAFE, SPEECHLESS]
        broken.unlink()
        program.until(ASKED)
        row.check(program.seen[before:], yard.folder)
