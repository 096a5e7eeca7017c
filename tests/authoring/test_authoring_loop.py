"""The whole loop as a state machine: typed replies, crashes, torn journals, resuming.

J2: any prefix of a journal opens, and a torn last record is cut. J3: replaying a journal gives the
same state and the same report.json and report.html, byte for byte.
"""

from __future__ import annotations

import contextlib
import datetime
import shutil
import tempfile
from collections.abc import Iterator
from functools import cache
from pathlib import Path

from hypothesis import HealthCheck, settings
from hypothesis import Phase as Phases
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from tests.session import small as sm
from voicecheck.checklist.compiled import Compiled
from voicecheck.journal.file import JOURNAL, JournalFile
from voicecheck.journal.file import read as read_journal
from voicecheck.reply.grammar import Understood, parse
from voicecheck.report.files import derive, verify, write
from voicecheck.run.clock import CompressedClock
from voicecheck.run.library import Sources, compile_sources
from voicecheck.run.loop import run
from voicecheck.run.opening import Setting, compiled_of, open_inspection, reopen
from voicecheck.run.typed import TypedWorld
from voicecheck.session import events as e
from voicecheck.session import records as r
from voicecheck.session.fold import fold
from voicecheck.session.replying import expect
from voicecheck.session.session import Session
from voicecheck.session.state import Phase, State

SOURCES = Sources(sm.CHECKLIST, sm.HAZARDS, sm.VEHICLE, "small.yaml")
PICKS = st.lists(st.integers(0, 10_000), min_size=1, max_size=8)


class Crash(Exception):
    """The process dies here; what is on disk is all that is left."""


@cache
def compiled() -> Compiled:
    return compile_sources(SOURCES)[0]


class Loop(RuleBasedStateMachine):
    def __init__(self) -> None:
        super().__init__()
        self.parent = Path(tempfile.mkdtemp())
        self.folder = self.parent
        self.live: State | None = None  # what the process knew when it died
        self.last = CompressedClock().now()

    def teardown(self) -> None:
        shutil.rmtree(self.parent)

    # -- the driver ----------------------------------------------------------------------------

    def replies(self, picks: list[int], crash: bool) -> Iterator[str]:
        """What may be said by the journal on disk; good replies more often than others."""
        for pick in picks:
            state = fold(compiled(), self.records())
            wanted = expect(compiled(), state)[0]
            possible = [f.said[0] for f in wanted.forms if "end" not in f.meaning]
            good = [w for w in sm.GOOD if isinstance(parse(wanted, w), Understood)]
            if state.phase is Phase.MEMO:
                yield "a word"
            elif good and pick % 3:
                yield good[0]
            elif possible:
                yield possible[pick % len(possible)]
            else:
                yield "bananas"
        if crash:
            raise Crash

    def records(self) -> list[r.Record]:
        return [record for _, record in read_journal(self.folder).records]

    def world(self, picks: list[int], crash: bool) -> TypedWorld:
        start = datetime.datetime.fromisoformat(self.last.wall) + datetime.timedelta(seconds=30)
        return TypedWorld(self.replies(picks, crash), CompressedClock(start), lambda line: None)

    def lead(
        self, session: Session, journal: JournalFile, world: TypedWorld, first: e.Event
    ) -> None:
        with journal, contextlib.suppress(Crash):
            run(session, journal, world, first)
        self.live = session.state
        self.last = self.records()[-1].at

    # -- rules ---------------------------------------------------------------------------------

    @initialize(picks=PICKS, crash=st.booleans())
    def open(self, picks: list[int], crash: bool) -> None:
        setting = Setting(operating="inspection", source="typed")
        made, opened, self.folder = open_inspection(SOURCES, setting, self.last, self.parent)
        world = self.world(picks, crash)
        first = e.Started(at=opened.at, opened=opened)
        self.lead(Session(made, State()), JournalFile.create(self.folder), world, first)

    def is_open(self) -> bool:
        return bool(self.live) and fold(compiled(), self.records()).phase is not Phase.FINISHED

    @precondition(is_open)
    @rule(picks=PICKS, crash=st.booleans())
    def resume(self, picks: list[int], crash: bool) -> None:
        made, state, journal, _ = reopen(self.folder)
        world = self.world(picks, crash)
        first = e.Resumed(at=world.clock.now(), gap_s=30)
        self.lead(Session(made, state), journal, world, first)

    @precondition(is_open)
    @rule(cut=st.integers(0, 10_000))
    def tear(self, cut: int) -> None:
        """The power fails inside the writing of the last record."""
        file = self.folder / JOURNAL
        data = file.read_bytes()
        begins = data.rstrip(b"\n").rfind(b"\n") + 1
        if not begins or not data.endswith(b"\n"):
            return  # torn already; and the opening record is whole before anything is said
        before = self.records()
        file.write_bytes(data[: begins + cut % (len(data) - begins)])
        assert self.records() == before[:-1], "J2: the torn record is cut, nothing else"
        self.live = fold(compiled(), before[:-1])

    # -- invariants ----------------------------------------------------------------------------

    @invariant()
    def the_journal_is_the_state(self) -> None:
        if self.live is not None:
            assert fold(compiled(), self.records()) == self.live

    @invariant()
    def the_report_is_the_same_byte_for_byte(self) -> None:
        if self.live is None:
            return
        first, again = self.records(), self.records()
        _, files = derive(first, compiled())
        _, later = derive(again, compiled_of(tuple(again), self.folder))
        assert files == later
        assert set(files) == {"report.json", "report.html", "report.pdf"}
        write(self.folder, first, compiled())
        for name, data in files.items():
            assert (self.folder / name).read_bytes() == data
        found = verify(self.folder, lambda opened: compiled_of((opened,), self.folder))
        assert [f for f in found if f.grave] == []

    @invariant()
    def nothing_that_lasts_until_left_outlives_a_crash(self) -> None:
        records = self.records() if self.live is not None else []
        for n, record in enumerate(records):
            if isinstance(record, r.Resumed):
                ended = fold(compiled(), records[: n + 1]).facts
                for later in records[n + 1 :]:
                    if not isinstance(later, r.FactEnded):
                        break
                    ended = {f: g for f, g in ended.items() if f != later.fact}
                if n + 1 < len(records) and not isinstance(records[-1], r.FactEnded):
                    assert all(compiled().facts[f].lasts == "lasting" for f in ended)


TestLoop = Loop.TestCase
TestLoop.settings = settings(
    max_examples=6,
    stateful_step_count=4,
    phases=(Phases.explicit, Phases.generate),
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
)
