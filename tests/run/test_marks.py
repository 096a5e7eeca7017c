"""The time of a mark on its way from the ear or the keyboard to the session."""

from __future__ import annotations

import datetime
from pathlib import Path

import pytest

from tests.session.day import GOOD_DAY, day
from tests.session.small import opened
from voicecheck.audio.ports import RATE, Heard, Hypothesis, Utterance, Word
from voicecheck.run.clock import CompressedClock
from voicecheck.run.driver import RecordedDriver, load_drive
from voicecheck.run.hearing import Hearing
from voicecheck.run.library import names
from voicecheck.run.typed import TypedWorld
from voicecheck.session import actions as a
from voicecheck.session import events as e
from voicecheck.session import records as r
from voicecheck.session.session import Session

NOW = datetime.datetime(2026, 11, 25, 6, 0, tzinfo=datetime.UTC)


class FakeEar:
    time = 12.0  # stream seconds


@pytest.mark.parametrize(("words", "ago_ms"), [((Word("mark", 0.5, 0.9, 1.0),), 1500), ((), 0)])
def test_the_beginning_of_the_word_in_the_stream(
    tmp_path: Path, words: tuple[Word, ...], ago_ms: int
) -> None:
    """The word begins 0.5 s into a stretch that began at 10 s; now it is 12 s."""
    utterance = Utterance(
        bytes(2 * RATE),
        start=10.0,
        end=11.0,
        speech_start=10.5,
        speech_end=10.9,
        snr_db=20.0,
        peak_dbfs=-12.0,
        clipped=False,
    )
    heard = Heard(Hypothesis("mark", words, 1.0), utterance, "clear")
    hearing = Hearing(FakeEar(), tmp_path)  # type: ignore[arg-type]
    event = hearing.event(heard, r.Stamp(NOW.isoformat(), 99_000))
    assert isinstance(event, e.ReplyHeard)
    assert event.ago_ms == ago_ms


def played(*lines: str) -> list[r.Record]:
    clock = CompressedClock(NOW)
    session, world = Session(day()), TypedWorld(lines, clock, lambda text: None)
    event: e.Event = e.Started(at=clock.now(), opened=opened("b"))
    kept: list[r.Record] = []
    while True:
        for action in session.receive(event):
            if isinstance(action, a.Keep):
                kept.append(action.record)
            elif isinstance(action, a.Finish):
                return kept
            else:
                world.perform(action)
        event = world.next_event()


def test_marks_are_typed() -> None:
    """In compressed time a typed line takes three seconds."""
    kept = played(*GOOD_DAY)
    answer = next(x for x in kept if isinstance(x, r.Answered) and x.step == "build up")
    assert (answer.quantity, answer.verdict) == ("3 s", "within")
    finished = kept[-1]
    assert isinstance(finished, r.Finished)
    assert finished.outcome == "complete"


def test_a_typed_clock_is_called_off_in_compressed_time() -> None:
    kept = played(*GOOD_DAY[:5], *["bananas"] * 45, "end inspection", "affirm")
    assert sum(isinstance(x, r.TimingDone) for x in kept) == 1


def test_the_recorded_driver_takes_the_time_that_was_counted() -> None:
    """He has no watch; what he said last was "mark", which is no time to compare with."""
    drive, folder = load_drive(names("drives")[0])
    driver = RecordedDriver(drive, folder)
    driver.hear_prompt("From mark to mark: three two seconds. Affirm, or negative?")
    spoken = driver.reply()
    assert spoken is not None
    assert spoken.text == "affirm"
