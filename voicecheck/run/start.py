"""Putting an inspection together and running it: the world, the journal, the loop."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import timedelta
from functools import partial
from pathlib import Path

from voicecheck.audio.ear import Ear
from voicecheck.audio.microphone import Microphone
from voicecheck.audio.ports import Recogniser, Speaker, Voice
from voicecheck.audio.speaker import SoundSpeaker
from voicecheck.audio.voice import SynthesiserVoice
from voicecheck.audio.wav import read_wav
from voicecheck.checklist.compiled import Compiled
from voicecheck.errors import InspectionClosed, NoPortAudio, NoSynthesiser, WrongUse
from voicecheck.journal.file import JournalFile
from voicecheck.run.carry import fallen
from voicecheck.run.clock import Clock, CompressedClock, DeviceClock
from voicecheck.run.driver import RecordedDriver, Recording, Talker, load_drive
from voicecheck.run.hearing import Hearing
from voicecheck.run.library import Sources, load_sources
from voicecheck.run.live import LiveWorld
from voicecheck.run.loop import World, run
from voicecheck.run.opening import SHIFT_S, Setting, open_inspection, reopen, seconds_between
from voicecheck.run.page import Board, Metered
from voicecheck.run.past import moment, past_of
from voicecheck.run.rehearsal import RehearsalWorld
from voicecheck.run.typed import TypedWorld
from voicecheck.session import events as e
from voicecheck.session import records as r
from voicecheck.session.sentences import OF_FAULTS
from voicecheck.session.session import Session
from voicecheck.session.state import State

Write = Callable[[str], None]


@dataclass(frozen=True)
class Wanted:
    """How to run: what the command line and the settings say."""

    source: str  # microphone | wav | typed | rehearsal
    parent: Path
    write: Write
    make_recogniser: Callable[[], Recogniser]
    wav: Path | None = None
    drive: str = ""
    noise: str | None = None
    snr_db: int | None = None
    compressed: bool = False
    headset: bool = False
    microphone: str = ""
    loudspeaker: str = ""
    speak: bool = True
    lines: Iterable[str] = sys.stdin
    board: Board | None = None  # of the status page
    codes: Callable[[str, str], bool] | None = None  # is this the release code for the reference?


@dataclass(frozen=True)
class Result:
    """``outcome``: complete | stopped | not finished | interrupted."""

    outcome: str
    folder: Path
    world: World


@dataclass(frozen=True)
class Equipment:
    """What a run works with, opened once. ``hearing``: None at the keyboard."""

    clock: Clock
    recogniser: Recogniser | None
    voice: Voice | None
    hearing: Hearing | None
    world: World


def equip(wanted: Wanted) -> Equipment:
    """Recogniser, voice and world. Without a microphone no empty inspection is left behind."""
    clock: Clock = CompressedClock() if wanted.compressed else DeviceClock()
    if wanted.source == "typed":
        world: World = TypedWorld(wanted.lines, clock, wanted.write)
        return Equipment(clock, None, None, None, world)
    recogniser = wanted.make_recogniser()
    voice = _voice(wanted)
    hearing = Hearing(Ear(recogniser), make=wanted.make_recogniser)
    world = _world(wanted, clock, voice, hearing)
    return Equipment(clock, recogniser, voice, hearing, world)


def start(
    sources: Sources, setting: Setting, wanted: Wanted, gear: Equipment | None = None
) -> Result:
    """A new inspection, to its end, with what is open already (``gear``) or opened now."""
    gear = gear or equip(wanted)
    with _closing_on_error(gear.world):
        setting = replace(
            setting,
            source=wanted.source,
            engine=gear.recogniser.name if gear.recogniser else "",
            engine_digest=gear.recogniser.digest if gear.recogniser else "",
            voice=gear.voice.name if gear.voice else "",
            codes=wanted.codes is not None,
        )
        compiled, opened, folder = open_inspection(
            sources, setting, gear.clock.now(), wanted.parent, wanted.write
        )
        for name, _ in setting.settings:
            if name not in compiled.settings:
                known = ", ".join(compiled.settings) or "none"
                raise WrongUse(f"{compiled.id} has no setting {name!r}.", f"it has: {known}")
        if gear.hearing:
            gear.hearing.keep_in(folder)
        with JournalFile.create(folder) as journal:
            first = e.Started(at=opened.at, opened=opened)
            return _run(compiled, State(), journal, gear.world, first, wanted)


def resume(folder: Path, wanted: Wanted, gear: Equipment | None = None) -> Result:
    """Go on with an inspection within the shift; a later one is closed as unfinished."""
    compiled, state, journal, last = reopen(folder)
    with journal:
        now = (gear.clock if gear else DeviceClock()).now()
        practice = state.opened is not None and state.opened.operating == "practice"
        gap = seconds_between(last, now, steady=not practice)  # practice has clocks of its own
        if gap > SHIFT_S:
            session = Session(compiled, state)
            late = _late(now, gap)
            run(session, journal, TypedWorld((), CompressedClock(), wanted.write), late)
            raise InspectionClosed(
                f"The last reply is {gap // 3600} hours old. The inspection is closed as "
                "not finished; its report is kept.",
                "start a new inspection",
            )
        gear = gear or equip(wanted)
        if gear.hearing:
            gear.hearing.keep_in(folder)
        event = e.Resumed(at=gear.clock.now(), gap_s=gap)
        return _run(compiled, state, journal, gear.world, event, wanted, last)


def _late(at: r.Stamp, gap_s: int) -> e.ClosedLate:
    return e.ClosedLate(at=at, why=f"not resumed within the shift ({gap_s // 3600} h)")


@contextlib.contextmanager
def _closing_on_error(world: World) -> Iterator[None]:
    try:
        yield
    except BaseException:
        world.close()
        raise


def rehearsed(name: str, checklist: str, vehicle: str = "") -> tuple[Sources, str]:
    """The sources that a drive walks through, and the outcome it expects.

    ``vehicle``: name or file of another than the drive was made for.

    WrongUse when the drive was made for another checklist.
    """
    drive, _ = load_drive(name)
    if drive.checklist != checklist:
        raise WrongUse(
            f"The drive {name!r} walks through {drive.checklist!r}, not {checklist!r}.",
            f"use: voicecheck rehearse {drive.checklist} --drive {name}",
        )
    return load_sources(drive.checklist, vehicle or drive.vehicle), drive.ends


def _run(
    compiled: Compiled,
    state: State,
    journal: JournalFile,
    world: World,
    first: e.Event,
    wanted: Wanted,
    last: r.Stamp | None = None,
) -> Result:
    """``last``: of the records before, where there are any."""
    session = Session(compiled, state)
    event = first
    if wanted.board:
        wanted.board.compiled = compiled
    told = wanted.board.told if wanted.board else None
    if isinstance(world, LiveWorld):
        world.make_ready([*(hazard.safe for hazard in compiled.hazards.values()), *OF_FAULTS])
    woken = partial(_woken, session, journal.folder, last)
    while True:
        try:
            outcome = run(session, journal, world, event, told, wanted.codes, woken)
            return Result(outcome, journal.folder, world)
        except KeyboardInterrupt:
            event = e.Interrupted(at=world.clock.now(), why="interrupted at the keyboard")


def _woken(
    session: Session, folder: Path, last: r.Stamp | None, event: e.Resumed
) -> tuple[e.Event, list[r.Record]]:
    """A device that woke is closed like one resumed after the shift, and what was carried is
    looked at again: answers that would not be carried any more fall."""
    opened = session.state.opened
    now = moment(event.at.wall)
    if event.gap_s > SHIFT_S:
        return _late(event.at, event.gap_s), []
    if opened is None or now is None or not opened.carried:
        return event, []
    before = moment(last.wall) if last else None
    if before:  # a wall clock that was set back hides time
        now = max(now, before + timedelta(seconds=event.gap_s))
    past, _ = past_of(folder.parent, replace(opened, at=replace(event.at, wall=now.isoformat())))
    steps = fallen(opened, session.compiled, session.state.answers, now, past)
    why = "carried no longer"
    return event, [r.Withdrawn(at=event.at, step=step, why=why) for step in steps]


def _voice(wanted: Wanted) -> Voice | None:
    if not wanted.speak or wanted.source == "typed":
        return None
    voice = SynthesiserVoice()
    try:
        voice.render("Ready.")
    except NoSynthesiser as error:
        wanted.write(f"({error} Prompts are printed.)")
        return None
    return voice


def _speaker(wanted: Wanted) -> Speaker | None:
    try:
        return SoundSpeaker(wanted.loudspeaker or None)
    except NoPortAudio as error:
        wanted.write(f"({error} Prompts are printed.)")
        return None


def _world(wanted: Wanted, clock: Clock, voice: Voice | None, hearing: Hearing) -> World:
    if wanted.source == "microphone":
        speaker = _speaker(wanted) if voice else None
        device = wanted.microphone or None
        microphone = Metered(device, wanted.board) if wanted.board else Microphone(device)
        return LiveWorld(microphone, speaker, voice, hearing, clock, wanted.write, wanted.headset)
    talker: Talker
    if wanted.source == "wav":
        if wanted.wav is None:
            raise WrongUse("No recording is named.", "say --wav FILE")
        talker = Recording(read_wav(wanted.wav))
    else:
        drive, drive_folder = load_drive(wanted.drive)
        talker = RecordedDriver(drive, drive_folder, noise=wanted.noise, snr_db=wanted.snr_db)
    speaker = _speaker(wanted) if voice and not wanted.compressed else None
    return RehearsalWorld(talker, hearing, clock, wanted.write, voice, speaker)
