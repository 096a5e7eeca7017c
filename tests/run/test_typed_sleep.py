"""A device that sleeps between question and reply, with replies from the keyboard.

The whole program, stopped and let go: tests/faults/test_process.py.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator

from voicecheck.run.typed import TypedWorld
from voicecheck.session import events as e
from voicecheck.session.records import Stamp


class Clock:
    mono = 0

    def now(self) -> Stamp:
        return Stamp("2026-11-25T06:00:00+00:00", self.mono)

    def pass_time(self, seconds: float) -> None:
        self.mono += round(seconds * 1000)


def test_what_was_typed_before_it_woke_is_no_answer() -> None:
    awake = threading.Event()
    taken = threading.Event()

    def lines() -> Iterator[str]:
        yield "pass"
        taken.set()  # the line before is in the queue
        awake.wait(10)
        yield "fail"

    clock = Clock()
    world = TypedWorld(lines(), clock, print)
    assert taken.wait(10)
    clock.mono += 3_600_000
    resumed = world.next_event()
    assert isinstance(resumed, e.Resumed)
    assert resumed.gap_s == 3600
    awake.set()
    reply = world.next_event()
    assert isinstance(reply, e.ReplyHeard)
    assert reply.words == "fail"


def test_a_moment_away_is_no_sleep() -> None:
    clock = Clock()
    world = TypedWorld(["pass"], clock, print)
    clock.mono += 14_000
    assert isinstance(world.next_event(), e.ReplyHeard)
