"""The program's own voice in the microphone, and a reply that begins during a prompt."""

from __future__ import annotations

import shutil
import time

import pytest

from tests.faults.echo import EchoYard
from tests.faults.table import Row, fault
from voicecheck.journal.file import read

pytestmark = [
    pytest.mark.skipif(not shutil.which("pulseaudio"), reason="PulseAudio is not installed"),
    pytest.mark.xdist_group("sound card"),
]

TEMPTING = "If they are, say closed and locked."
LONG = "Look at the lock, at the hinges and at both doors, then tell me if they are locked."


@pytest.mark.parametrize("headset", [(), ("--headset",)], ids=["loudspeaker", "headset"])
@fault(
    "The microphone hears the loudspeaker",
    by="the loudspeaker is led back into the microphone, 6 dB below the driver's speech; the "
    "prompt ends with the very words that would answer it",
    says=("If they are, say closed and locked.",),
    keeps=("step started: crank",),
    note="Nothing is taken as an answer while it speaks and after it. With `--headset` the echo is "
    "told from a driver by its likeness to what is played; replies then wait for the prompt's "
    "end. One block that may be speech mutes a prompt only after 0.77 s of it in which nothing was "
    "taken for speech; without speech it goes on from a pause before, so that all of it is heard.",
)
def test_its_own_voice_answers_nothing(row: Row, headset: tuple[str, ...]) -> None:
    with EchoYard() as yard:
        yard.echo(TEMPTING, "closed and locked")
        program = yard.run(TEMPTING, *headset)
        program.until(TEMPTING)
        while yard.loud_at < program.prompted_at or time.monotonic() - yard.loud_at < 3:
            program.hear(0.2)  # the prompt, and then what could be heard of it
        before = [line.replace("Legs. ", "") for line in program.seen]
        state = row.check(before, yard.inspection)
        kinds = {record.kind for _, record in read(yard.inspection).records}
    assert not state.answers
    assert "heard" not in kinds


def test_a_reply_stops_a_prompt_and_is_taken() -> None:
    """The exact time is measured by tests/bench/barge_in.py; the prompt takes five seconds."""
    with EchoYard() as yard:
        program = yard.run(LONG, "--headset")
        program.until(LONG)
        while yard.loud_at == 0.0:
            program.hear(0.05)
        program.hear(0.5)
        assert yard.stopped_after("closed and locked") < 1.5
        program.until("> closed and locked")


def test_no_reply_stops_a_hold() -> None:
    with EchoYard() as yard:
        program = yard.run("Locked, or not?", "--headset", caution=f"caution: {LONG}\n    ")
        program.until(LONG)
        while yard.loud_at == 0.0:
            program.hear(0.05)
        program.hear(0.3)
        yard.stopped_after("closed and locked")
        assert time.monotonic() - yard.loud_at < 0.5  # it goes on
        until = time.monotonic() + 120
        while "said" not in {x.kind for _, x in read(yard.inspection).records}:
            assert time.monotonic() < until
            program.hear(0.5)
        assert not any(line.startswith("> ") for line in program.seen)
