"""Faults of the program itself: killed, stopped, started twice."""

from __future__ import annotations

import os
import random
import shutil
import signal
import subprocess
import time
from collections.abc import Callable
from pathlib import Path

import psutil
import pytest

from tests.checklists.walk import Walk
from tests.checklists.walk import compiled as walked
from tests.faults.table import Row, fault
from tests.faults.yard import ASKED, QUESTION, SAFE, Yard, put_list
from tests.run.cli_process import command, converse, only
from tests.session.small import GOOD, Hand
from tests.session.test_codes import KEY, Coded, code_for, wrong
from tests.session.test_random import Random
from voicecheck.checklist.compiled import Compiled
from voicecheck.journal import file as journal_file
from voicecheck.journal.file import JournalFile, read
from voicecheck.session import actions as a
from voicecheck.session import events as e
from voicecheck.session import records as r
from voicecheck.session.facts import missing
from voicecheck.session.fold import fold
from voicecheck.session.session import Session
from voicecheck.session.state import Phase


@fault(
    "Killed (kill -9) while a hazard is open",
    by="the process is killed at the question, and resumed",
    says=(SAFE, "Resuming.", "Locked, or not?"),
    keeps=("step started: crank", "make safe: crank", "resumed", "step started: crank"),
    note="It could not be said when it happened, so it is the first thing said on resume.",
)
def test_killed_while_a_hazard_is_open(row: Row, tmp_path: Path) -> None:
    words = ("run", str(put_list(tmp_path)), "--typed", "--into", str(tmp_path / "out"))
    converse(tmp_path, *words, reply=lambda sentence: None, kill_at=ASKED)
    folder = only(tmp_path)
    again = command(tmp_path, "resume", str(folder), "--typed", said="")
    row.check(again.stdout.splitlines(), folder)


# -- at every kind of record -------------------------------------------------------------------

MOVES = ("reply", "good", "doubtful", "odd", "noise", "memo", "lost", "back", "resumed",
         "interrupted", "time", "short")  # fmt: skip


QUICK = (0, 1, 3, 5, 6, 7, 10, 33, 77, 108, 138)
"""Seeds that saw a kind first, so that fewer are tried; no need that they still do."""


def journeys() -> list[tuple[Compiled, list[r.Record]]]:
    """Inspections in whose records every kind occurs.

    Random ones with fixed seeds, and one each with what these hardly meet: a release by code, a
    measured tread, a stop that is carried on under.
    """
    found: list[tuple[Compiled, list[r.Record]]] = []
    kinds: set[str] = set()
    coded = Coded()
    coded.to_the_stop()
    coded.reply("by code")
    coded.give(wrong(coded))
    coded.give(code_for(KEY, coded.reference))
    walk = Walk(walked("trip-inspection"))
    walk.to("left tractor tires")
    walk.reply("left steer tread measured", "three thirty seconds", "affirm", "nothing else")
    under_a_stop = Hand()
    under_a_stop.reply(*GOOD[: GOOD.index("pass")], "torn")
    for words in GOOD[GOOD.index("all good") :]:
        if under_a_stop.phase == "stopped":
            break
        under_a_stop.reply(words)
    under_a_stop.reply("carry on", "a word", "done")
    for sure in (coded, walk, under_a_stop):
        found.append((sure.session.compiled, sure.records))
        kinds.update(x.kind for x in sure.records)
    for seed in (*QUICK, *range(400)):
        chance = random.Random(seed)
        hand = Random(("small", "day")[seed % 2])
        hand.begin_well(chance.randrange(20))
        for _ in range(40):
            hand.move(chance.choice(MOVES), chance.randrange(10_000))
        new = {x.kind for x in hand.records} - kinds
        if new:
            found.append((hand.session.compiled, hand.records))
            kinds |= new
        if kinds == set(r.KINDS):
            return found
    raise AssertionError(f"never seen: {set(r.KINDS) - kinds}")


def die(*_: object) -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def die_half_way(fd: int, data: bytes) -> None:
    os.write(fd, data[: len(data) // 2])
    die()


def die_before_fsync(fd: int, data: bytes) -> None:
    os.write(fd, data)
    die()


WAYS: tuple[tuple[Callable[..., None], int], ...] = (
    (die, 0), (die_half_way, 0), (die_before_fsync, 1)
)  # fmt: skip
"""What is put in the place of the journal's write, and how many of the records it leaves."""


def killed(folder: Path, kept: list[r.Record], last: r.Record, write: Callable[..., None]) -> None:
    """A process writes the records and dies while it writes the last one."""
    child = os.fork()
    if child == 0:
        try:
            with JournalFile.create(folder) as journal:
                journal.append(kept)
                journal_file._write = write
                journal.append([last])
        finally:
            os._exit(1)
    assert os.waitpid(child, 0)[1] == signal.SIGKILL


@fault(
    "Killed (kill -9) at every kind of record",
    by="a process is killed before, in the middle of and after the writing of a record of each "
    "kind; "
    "its records are those of random inspections",
    says=("{make-safe sentence}", "Resuming."),
    keeps=("resumed",),
    note="All records before it are there; half a record is moved to a file of its own. On "
    "resume the "
    "make-safe sentence of the hazard that was open comes first, nothing that lasts until left is "
    "true any more, and no step is spoken while a fact that it needs is false.",
)
def test_killed_at_every_kind_of_record(row: Row, tmp_path: Path) -> None:
    seen: set[str] = set()
    number = opened_hazards = 0
    for compiled, records in journeys():
        for at, record in enumerate(records):
            if record.kind in seen or at == 0:
                continue
            seen.add(record.kind)
            for write, left in WAYS:
                number += 1
                folder = tmp_path / str(number)
                kept = records[: at + left]
                killed(folder, records[:at], record, write)
                with JournalFile.open(folder) as journal:
                    assert [x for _, x in journal.records] == kept
                    assert (journal.torn is not None) is (write is die_half_way)
                    state = fold(compiled, kept)
                    if state.phase is Phase.FINISHED:
                        continue
                    session = Session(compiled, state)
                    actions = session.receive(e.Resumed(at=record.at, gap_s=60))
                    said = [x.text for x in actions if isinstance(x, a.Say)]
                    safe = [compiled.hazards[state.hazard].safe] if state.hazard else []
                    opened_hazards += len(safe)
                    assert said[: len(safe) + 1] == [*safe, "Resuming."]
                    new = [x.record for x in actions if isinstance(x, a.Keep)]
                    journal.append(new)
                    for n, begun in enumerate(new):
                        if isinstance(begun, r.StepStarted):
                            before = fold(compiled, [*kept, *new[:n]])
                            assert not missing(compiled, before, compiled.step(begun.step))
                    for fact in session.state.facts:
                        assert compiled.facts[fact].lasts == "lasting"
                    for step, given in session.state.answers.items():
                        assert given.outcome == "blocked" or given == state.answers[step]
                assert len(read(folder).records) == len(kept) + len(new)
    assert seen == set(r.KINDS) - {"opened"}
    assert opened_hazards > 5
    row.checked = True  # the sentences are those of each hazard, compared above


# -- two runs, and a device that sleeps -----------------------------------------------------------


@fault(
    "Two runs on one journal",
    by="an inspection is resumed in a second process while the first one waits for a reply",
    says=("Rear. What holds the trailer",),
    keeps=("step started: crank", "answered: good"),
    note="The second ends with the error `journal-busy`, says nothing and changes nothing; the "
    "first "
    "goes on.",
)
def test_two_runs(row: Row, tmp_path: Path) -> None:
    second: list[subprocess.CompletedProcess[str]] = []

    def reply(sentence: str) -> str | None:
        if ASKED in sentence:
            folder = only(tmp_path)
            before = (folder / "journal.jsonl").read_bytes()
            second.append(command(tmp_path, "resume", str(folder), "--typed", said="not locked\n"))
            assert (folder / "journal.jsonl").read_bytes() == before
            return "closed and locked"
        return "spring brakes" if "What holds" in sentence else None

    words = ("run", str(put_list(tmp_path)), "--typed", "--into", str(tmp_path / "out"))
    talk = converse(tmp_path, *words, reply=reply)
    assert talk.status == 0, talk.errors
    (other,) = second
    assert other.returncode == 3
    assert "[journal-busy]" in other.stderr
    assert SAFE not in other.stdout
    row.check(talk.lines[1:], only(tmp_path))


@pytest.mark.skipif(not shutil.which("pulseaudio"), reason="PulseAudio is not installed")
@pytest.mark.xdist_group("sound card")
@fault(
    "The device sleeps",
    by="the process is stopped for more than fifteen seconds and goes on",
    says=(SAFE, "Resuming.", ASKED),
    keeps=("step started: crank", "make safe: crank", "resumed", "step started: crank"),
    note="Facts that last until the driver leaves are asked again, as after a crash. The steady "
    "clock counts a real suspend too (on Linux the boot-time clock, which goes on meanwhile).",
)
def test_suspended(row: Row) -> None:
    with Yard() as yard:
        program = yard.run()
        program.until(QUESTION)
        yard.quiet()
        before = len(program.seen)
        program.process.send_signal(signal.SIGSTOP)
        time.sleep(15.5)
        program.process.send_signal(signal.SIGCONT)
        program.until("Resuming.")
        program.until(ASKED)
        row.check(program.seen[before:], yard.folder)


@fault(
    "The device sleeps while replies are typed",
    by="the process of `run --typed` is stopped for over fifteen seconds at a question and goes on",
    says=(SAFE, "Resuming.", ASKED),
    keeps=("step started: crank", "make safe: crank", "resumed", "step started: crank",
           "answered: good"),
    note="What was typed before it woke is no answer to what is asked then.",
)  # fmt: skip
def test_suspended_typed(row: Row, tmp_path: Path) -> None:
    slept: list[int] = []

    def reply(sentence: str) -> str | None:
        if ASKED in sentence and not slept:
            (program,) = (
                child for child in psutil.Process().children()
                if "voicecheck.cli" in child.cmdline()
            )  # fmt: skip
            time.sleep(0.5)  # it waits for the reply by now
            program.suspend()
            time.sleep(15.5)
            program.resume()
            slept.append(program.pid)
            return None
        if ASKED in sentence:
            return "closed and locked"
        return "spring brakes" if "What holds" in sentence else None

    words = ("run", str(put_list(tmp_path)), "--typed", "--into", str(tmp_path / "out"))
    talk = converse(tmp_path, *words, reply=reply)
    assert talk.status == 0, talk.errors
    first = next(n for n, line in enumerate(talk.lines) if ASKED in line)
    row.check(talk.lines[first + 1 :], only(tmp_path))
