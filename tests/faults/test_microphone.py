"""Faults of the microphone, on a sound card made of software."""

from __future__ import annotations

import shutil
import time

import pytest

from tests.faults.table import Row, fault
from tests.faults.yard import ASKED, QUESTION, SAFE, Yard

pytestmark = [
    pytest.mark.skipif(not shutil.which("pulseaudio"), reason="PulseAudio is not installed"),
    pytest.mark.xdist_group("sound card"),
]

HOLD = "Hold. I cannot hear the microphone. See to the headset."
BACK = "I hear again."
GONE_AND_BACK = ("step started: crank", "make safe: crank", "lost: microphone", "back: microphone",
                 "step started: crank")  # fmt: skip


@fault(
    "Microphone unplugged, and back",
    by="the sound server of the microphone is ended and started again",
    says=(SAFE, HOLD, BACK, ASKED),
    keeps=GONE_AND_BACK,
)
def test_unplugged_and_back(row: Row) -> None:
    with Yard() as yard:
        program = yard.run()
        program.until(QUESTION)
        before = len(program.seen)
        yard.silence()
        yard.microphone.end()
        program.until(HOLD)
        program.hear(2.2)  # opened in vain at least twice
        yard.microphone.start()
        yard.noise()
        program.until(BACK)
        program.until(ASKED)
        state = row.check(program.seen[before:], yard.folder)
    assert not state.answers and not state.facts


@fault(
    "Microphone that dies silently, and comes back",
    by="its source is suspended: the stream stays active and its callbacks stop",
    says=(SAFE, HOLD, BACK, ASKED),
    keeps=GONE_AND_BACK,
    note="While it stays so, opening it again succeeds; it counts as back when sound comes.",
)
def test_dies_silently(row: Row) -> None:
    with Yard() as yard:
        program = yard.run()
        program.until(QUESTION)
        before = len(program.seen)
        yard.microphone.told("suspend-sink", "card", "1")
        program.until(HOLD)
        assert BACK not in program.hear(3.5)  # opened again and again, and as silent as before
        yard.microphone.told("suspend-sink", "card", "0")
        program.until(BACK)
        program.until(ASKED)
        row.check(program.seen[before:], yard.folder)


@fault(
    "Exact zeros: the headset is out of range or muted",
    by="nothing is played into the microphone any more, so that it gives zeros",
    says=(SAFE, HOLD, BACK, ASKED),
    keeps=GONE_AND_BACK,
    note="Zeros count as lost after 1.02 s, also while the program speaks; the test allows four "
    "seconds from the first zero to the hold.",
)
def test_exact_zeros(row: Row) -> None:
    with Yard() as yard:
        program = yard.run()
        program.until(QUESTION)
        before = len(program.seen)
        began = time.monotonic()
        yard.silence()
        program.until(HOLD)
        assert time.monotonic() - began < 4
        assert BACK not in program.hear(2)
        yard.noise()
        program.until(BACK)
        program.until(ASKED)
        row.check(program.seen[before:], yard.folder)


@fault(
    "Microphone switched to another device",
    by="the recording stream is moved to another source while a question is open",
    says=("I heard: closed and locked.", "Rear. What holds the trailer"),
    keeps=("read back", "answered: good"),
    note="The system changes the device under the program; the next reply is heard by the new one.",
)
def test_switched(row: Row) -> None:
    with Yard() as yard:
        yard.microphone.told("load-module", "module-null-sink", "sink_name=other", "rate=16000",
                             "channels=1", "format=s16le", "norewinds=1")  # fmt: skip
        program = yard.run()
        program.until(QUESTION)
        before = len(program.seen)
        (stream,) = (
            line.split()[0]
            for line in yard.microphone.told("list", "short", "source-outputs").splitlines()
        )
        yard.microphone.told("move-source-output", stream, "other.monitor")
        yard.silence()
        yard.noise("other")
        yard.answer("closed and locked", sink="other")
        program.until("Rear. What holds the trailer")
        state = row.check(program.seen[before:], yard.folder)
    assert state.facts.keys() == {"doors locked"}


STRICT = """
import sounddevice


def only(make):
    def opened(*, samplerate, channels, **settings):
        if f"{samplerate} {channels}" != open(FLAG).read():
            samplerate = 10_000_000  # no card has this: PortAudio refuses by itself
        return make(samplerate=samplerate, channels=channels, **settings)
    return opened


sounddevice.RawInputStream = only(sounddevice.RawInputStream)
"""


@fault(
    "A microphone that refuses 16 kHz, unplugged, and another of another rate",
    by="PortAudio is made to refuse every form but 48 kHz with two channels, later every one but "
    "44.1 kHz with one; in between the sound server of the microphone is ended and started again",
    says=(SAFE, HOLD, BACK, ASKED, "I heard: closed and locked."),
    keeps=(*GONE_AND_BACK, "read back"),
    note="It is opened as it can be and its sound turned into 16 kHz, each time anew.",
)
def test_other_rates(row: Row) -> None:
    with Yard() as yard:
        flag = yard.patch(STRICT)
        flag.write_text("48000 2")
        program = yard.run()
        program.until(QUESTION)
        before = len(program.seen)
        yard.silence()
        yard.microphone.end()
        program.until(HOLD)
        flag.write_text("44100 1")
        yard.microphone.start()
        yard.noise()
        program.until(BACK)
        yard.answer("closed and locked")
        program.until("Rear. What holds the trailer")
        state = row.check(program.seen[before:], yard.folder)
    assert state.facts.keys() == {"doors locked"}
