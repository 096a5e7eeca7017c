"""The only loop: take an event, give it to the session, make the records durable, then perform.

A record is on disk before anything that follows from it is said (J1). When the disk refuses, the
loop says so, makes safe where a hazard is open, and tries again; nothing is lost, and nothing goes
on until the records are kept. When the program itself fails, the loop makes safe first, keeps that
it stopped, says so, and only then lets the error go.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Sequence
from typing import Protocol

from voicecheck.errors import JournalNotWritable, VoicecheckError
from voicecheck.journal.file import JournalFile
from voicecheck.run.clock import Clock
from voicecheck.session import actions as a
from voicecheck.session import events as e
from voicecheck.session import records as r
from voicecheck.session import sentences as say
from voicecheck.session.fold import evolve
from voicecheck.session.session import Session

DISK_TRIES = 3
DISK_WAIT_S = 5.0


class World(Protocol):
    """All that is outside: sound or keyboard, clock and timers."""

    clock: Clock

    def next_event(self) -> e.Event:
        """The next thing that happens; blocks until it does."""
        ...

    def perform(self, action: a.Action) -> None:
        """Do one action, other than keeping a record."""
        ...

    def rest(self, seconds: float) -> None:
        """Wait, with what is being said going on."""
        ...

    def close(self) -> None: ...


class Talk(Protocol):
    """What is said before an inspection is opened."""

    over: bool

    def opening(self) -> Sequence[a.Action]: ...
    def receive(self, event: e.Event) -> Sequence[a.Action]: ...


def before(
    talk: Talk, world: World, told: Callable[[Sequence[a.Action]], None] | None = None
) -> None:
    """The same without a session: nothing is kept. The world stays open for the inspection."""
    actions = talk.opening()
    while True:
        if told:
            told(actions)
        for action in actions:
            world.perform(action)
        if talk.over:
            return
        actions = talk.receive(world.next_event())


def run(
    session: Session,
    journal: JournalFile,
    world: World,
    first: e.Event,
    told: Callable[[Sequence[a.Action]], None] | None = None,
    codes: Callable[[str, str], bool] | None = None,
    woken: Callable[[e.Resumed], tuple[e.Event, Sequence[r.Record]]] | None = None,
) -> str:
    """Run to the end. The outcome: complete, stopped, not finished or interrupted.

    ``woken`` says what a resume means: the event to be taken, and what is to be kept before it.
    ``codes`` says whether a release code is the one for a reference; without it none is.
    ``told`` is given every turn's actions after the records are kept, for a reader.
    JournalNotWritable when the disk refuses and keeps refusing.
    """
    event = first
    try:
        while True:
            hazard = session.state.hazard
            if woken and isinstance(event, e.Resumed):
                event, records = woken(event)
                _keep(session, journal, world, [a.Keep(record) for record in records], hazard)
                for record in records:
                    session.state = evolve(session.compiled, session.state, record)
            actions = session.receive(event)
            _keep(session, journal, world, actions, hazard)
            if told:
                told(actions)
            checked: e.Event | None = None
            for action in actions:
                if isinstance(action, a.Finish):
                    return action.outcome
                if isinstance(action, a.CheckCode):
                    right = codes is not None and codes(action.reference, action.code)
                    checked = e.CodeChecked(
                        at=world.clock.now(), reference=action.reference, right=right
                    )
                elif not isinstance(action, a.Keep):
                    world.perform(action)
            event = checked or world.next_event()
    except JournalNotWritable:  # said already, and there is nowhere to keep it
        raise
    except Exception as error:
        _fail(session, journal, world, error)
        raise
    finally:
        world.close()


def _fail(session: Session, journal: JournalFile, world: World, error: Exception) -> None:
    """The program fails: the make-safe sentence before anything else, then that it stopped."""
    hazard = session.state.hazard
    why = error.code if isinstance(error, VoicecheckError) else type(error).__name__
    with contextlib.suppress(Exception):  # the first error is the one that counts
        ended = session.receive(e.Interrupted(at=world.clock.now(), why=f"failed: {why}"))
        journal.append([action.record for action in ended if isinstance(action, a.Keep)])
    if hazard:
        world.perform(a.Say(session.compiled.hazards[hazard].safe, False, "fault"))
    world.perform(a.Say(say.FAILING, False, "fault"))


def _keep(
    session: Session,
    journal: JournalFile,
    world: World,
    actions: Sequence[a.Action],
    hazard: str,
) -> None:
    records = [action.record for action in actions if isinstance(action, a.Keep)]
    for attempt in range(DISK_TRIES + 1):
        try:
            journal.append(records)
        except JournalNotWritable:
            if attempt == DISK_TRIES:
                world.perform(a.Say(say.DISK_ENDS, False, "disk"))
                raise
            if attempt == 0:
                if hazard:
                    world.perform(a.Say(session.compiled.hazards[hazard].safe, False, "disk"))
                world.perform(a.Tone("hold"))
                world.perform(a.Say(say.DISK_REFUSES, False, "disk"))
            world.rest(DISK_WAIT_S)
        else:
            if attempt:
                world.perform(a.Say(say.DISK_TAKES))
            return
