"""READ FIRST. The state of an inspection, its phases and the transition table.

The rules, in whole sentences:

1. The state is a fold of the records (fold.py). Nothing else changes it.
2. An event is first turned into an input (``classify`` in session.py): what it means in this phase.
   The table below says for each phase and input which rule answers and which phases may follow.
   A pair that is not in the table changes nothing: the input is ignored, or refused aloud if it
   was a reply.
3. A step is spoken only when every fact that it needs is true. Otherwise the loop holds, says what
   is missing, and goes to the step that gives it (precondition hold).
4. Facts that a step ends are false from the moment that the step is spoken.
5. A reply is accepted only in a phase that listens, and only while the step's needs are true.
6. A caution, a hold and a confirming question are spoken to their end (``SPEAKING``, ``HOLDING``,
   ``STOPPING``) before any reply counts.
7. A major defect stops what it names: the steps of the hazards in its scope, and always ``leave``.
   Only a release with its kind, or ending the inspection, leads out. A make-safe movement is never
   stopped.
8. ``again`` is not a stop: it reopens every step from an earlier one up to this one. The third
   time it is a defect.
9. A correction withdraws the answer and, transitively, every answer that rested on a fact which
   would not have been true without it. What a step ended is not given back.
10. Where a hazard is open and something goes wrong, the hazard's make-safe sentence is the first
    thing said.
11. Every interruption (stand by, a lost microphone or loudspeaker, a note, a dropped command, a
    crash) comes back by starting the current step anew, needs checked anew.
12. Facts that last until left end when the driver was away for more than ten minutes and at every
    resume. Facts that last for seconds end by the clock, at any stand by, and when another step is
    spoken; while the step that needs them is being done they stay.
13. A figure is reckoned when the last of its readings is accepted, and again when one is answered
    anew; a reading taken back takes the figure with it. It gives no fact. Outside its limit it is a
    defect, whose release asks for all its readings again.
14. Steps are asked in one sentence only when each is open, may be spoken and comes next. A reply
    to it is taken part by part, each as if it had been asked alone, its needs and stops looked at
    again before it. Only the question of a part that was answered in the same breath is not
    spoken. What stands behind a part that is not good is dropped and asked in its turn.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from voicecheck.session.records import Answered, DefectFound, Opened, Reckoned

CODE_TRIES = 5  # wrong codes in a row, then CODE_WAIT_S without any
CODE_WAIT_S = 900
AWAY_S = 600  # longer than this and facts that last "until left" are asked again
REFUSALS_BEFORE_HELP = 3
TALK_MS = 5000  # foreign talk of this length and the loop stands by
QUIET_S = 20
QUIET_LATER_S = 120
HANDS_BUSY_S = 30
MARKS_APART_MS = 2000  # sooner than this it is the first mark heard twice


class Phase(StrEnum):
    NEW = "new"
    BETWEEN = "between"  # only inside one turn: the next step is about to be chosen
    SPEAKING = "speaking"  # a caution or confirming question is spoken to its end
    HOLDING = "holding"  # a missing precondition is spoken to its end
    STOPPING = "stopping"  # a stop is spoken to its end
    STOPPED = "stopped"  # waits for a release, carry on, or the end
    ASKED = "asked"
    FOLLOWING = "following up"
    TIMING = "timing"
    CLOCKING = "clocking"  # between the driver's two marks
    READING = "reading back"
    ASKING = "asking"  # a command waits for affirm
    CODING = "taking a code"  # the reference was told; six figures are waited for
    CHECKING = "checking a code"  # a moment, until the device has compared it
    MEMO = "memo"
    STANDING = "standing by"
    DEAF = "deaf"  # the microphone is lost, or nothing that is said can be heard
    FINISHED = "finished"


class Input(StrEnum):
    STARTED = "started"
    RESUMED = "resumed"
    SPOKEN = "spoken to the end"
    ANSWER = "answer"
    AFFIRM = "affirm"
    NEGATIVE = "negative"
    REFUSED = "refused"  # words, but none that may be said now
    NOT_HEARD = "not heard"
    REPEAT = "say again"
    TELL = "explain, location, read back, time left"
    MODE = "brief, full"
    STAND_BY = "stand by"
    GO_AHEAD = "go ahead"
    CORRECTION = "correction"
    DISREGARD = "disregard"
    NOT_DONE = "not done"
    CANNOT_SEE = "cannot see"
    NEXT_PLACE = "next place"
    MEMO = "memo"
    MEMO_TAKEN = "memo taken"
    END = "end inspection"
    RELEASE = "mended, release"
    BY_CODE = "by code"
    CODE_CHECKED = "code checked"
    CARRY_ON = "carry on"
    INTERVAL = "interval over"
    QUIET = "quiet"
    HANDS_BUSY = "hands busy"
    LOST = "sound lost"
    BACK = "sound back"
    INTERRUPTED = "interrupted"
    CLOSED_LATE = "closed late"


@dataclass(frozen=True)
class Row:
    """One row of the table: the rule that answers and every phase that may follow."""

    rule: str
    to: frozenset[Phase]


def _row(rule: str, *to: Phase) -> Row:
    return Row(rule, frozenset(to))


P, I = Phase, Input  # noqa: E741  (the table is read as a table)

# Where choosing the next step, or starting one anew, can lead.
ONWARD = (P.SPEAKING, P.ASKED, P.HOLDING, P.STOPPING, P.MEMO, P.FINISHED)
LISTENING = (P.ASKED, P.FOLLOWING, P.READING)

TABLE: Mapping[tuple[Phase, Input], Row] = {
    (P.NEW, I.STARTED): _row("start", *ONWARD),
    # spoken to the end: nothing counts before
    (P.SPEAKING, I.SPOKEN): _row("listen_now", P.ASKED),
    (P.HOLDING, I.SPOKEN): _row("go_to_giver", *ONWARD),
    (P.STOPPING, I.SPOKEN): _row("wait_for_release", P.STOPPED),
    # the question is open
    (P.ASKED, I.ANSWER): _row("answer", *ONWARD, P.FOLLOWING, P.READING, P.TIMING, P.CLOCKING),
    (P.FOLLOWING, I.ANSWER): _row("answer_follow_up", *ONWARD, P.FOLLOWING, P.READING),
    (P.FOLLOWING, I.NEGATIVE): _row("restart", *ONWARD),
    (P.READING, I.AFFIRM): _row("confirm", *ONWARD, P.FOLLOWING, P.TIMING),
    (P.READING, I.NEGATIVE): _row("refuse_read_back", *ONWARD, P.FOLLOWING),
    (P.TIMING, I.INTERVAL): _row("second_reading", P.FOLLOWING, P.HOLDING),
    (P.CLOCKING, I.ANSWER): _row("second_mark", *ONWARD, P.CLOCKING, P.READING),
    (P.CLOCKING, I.INTERVAL): _row("call_off", *ONWARD),
    # a stop
    (P.STOPPED, I.RELEASE): _row("ask_release", P.ASKING),
    (P.STOPPED, I.BY_CODE): _row("ask_code", P.CODING, P.STOPPED),
    (P.CODING, I.ANSWER): _row("take_code", P.ASKING, P.CODING),
    (P.CODING, I.DISREGARD): _row("restart", *ONWARD),
    (P.CHECKING, I.CODE_CHECKED): _row("code_checked", P.CODING, *ONWARD),
    (P.STOPPED, I.CARRY_ON): _row("carry_on", *ONWARD),
    (P.STOPPED, I.CORRECTION): _row("correct", *ONWARD),
    # commands that wait for affirm
    (P.ASKING, I.AFFIRM): _row("do_command", *ONWARD, P.MEMO, P.CHECKING),
    (P.ASKING, I.NEGATIVE): _row("drop_command", *ONWARD, P.CODING),
    # voice notes
    (P.MEMO, I.MEMO_TAKEN): _row("keep_memo", *ONWARD),
    # standing by and coming back
    (P.STANDING, I.GO_AHEAD): _row("go_ahead", *ONWARD),
    (P.DEAF, I.BACK): _row("have_sound_again", *ONWARD),
    # say again, in every phase that waits for words
    **{
        (phase, I.REPEAT): _row("say_again", phase)
        for phase in (*LISTENING, P.CLOCKING, P.STOPPED, P.ASKING, P.CODING)
    },
    **{
        (phase, I.TELL): _row("tell", phase)
        for phase in (*LISTENING, P.STOPPED, P.ASKING, P.TIMING)
    },
    **{(phase, I.MODE): _row("set_mode", phase) for phase in (*LISTENING, P.STOPPED)},
    **{
        (phase, I.CORRECTION): _row("correct", *ONWARD)
        for phase in (P.ASKED, P.FOLLOWING, P.TIMING, P.CLOCKING)
    },
    (P.READING, I.CORRECTION): _row("refuse_read_back", *ONWARD, P.FOLLOWING),
    (P.ASKED, I.DISREGARD): _row("ask_command", P.ASKING, P.ASKED),
    (P.FOLLOWING, I.DISREGARD): _row("restart", *ONWARD),
    (P.READING, I.DISREGARD): _row("refuse_read_back", *ONWARD, P.FOLLOWING),
    (P.ASKING, I.DISREGARD): _row("drop_command", *ONWARD, P.CODING),
    (P.TIMING, I.DISREGARD): _row("restart", *ONWARD),
    (P.CLOCKING, I.DISREGARD): _row("restart", *ONWARD),
    (P.ASKED, I.NOT_DONE): _row("ask_why", P.FOLLOWING, P.READING),
    (P.ASKED, I.CANNOT_SEE): _row("cannot_see", *ONWARD, P.READING),
    (P.ASKED, I.NEXT_PLACE): _row("next_place", *ONWARD),
    (P.ASKED, I.MEMO): _row("take_note", P.MEMO),
    (P.STOPPED, I.MEMO): _row("take_note", P.MEMO),
    **{
        (phase, I.STAND_BY): _row("stand_by", P.STANDING)
        for phase in (*LISTENING, P.STOPPED, P.ASKING, P.TIMING, P.CLOCKING, P.CODING)
    },
    **{
        (phase, I.END): _row("ask_command", P.ASKING)
        for phase in (*LISTENING, P.STOPPED, P.STANDING, P.TIMING, P.CLOCKING, P.CODING)
    },
    # what is not understood
    **{
        (phase, I.REFUSED): _row("refuse", phase)
        for phase in (*LISTENING, P.STOPPED, P.ASKING, P.STANDING, P.CODING)
    },
    (P.CLOCKING, I.REFUSED): _row("unclear", P.CLOCKING),
    (P.TIMING, I.REFUSED): _row("too_early", P.TIMING),
    (P.TIMING, I.ANSWER): _row("too_early", P.TIMING),
    **{
        (phase, I.NOT_HEARD): _row("not_heard", phase, P.STANDING)
        for phase in (*LISTENING, P.STOPPED, P.ASKING, P.CODING)
    },
    (P.STANDING, I.NOT_HEARD): _row("unheard_command", P.STANDING),
    **{
        (phase, I.QUIET): _row("quiet", phase)
        for phase in (*LISTENING, P.STOPPED, P.ASKING, P.CODING)
    },
    (P.ASKED, I.HANDS_BUSY): _row("hands_busy", P.ASKED),
    # faults
    **{
        (phase, I.LOST): _row("lose_sound", P.DEAF)
        for phase in Phase
        if phase not in (P.NEW, P.BETWEEN, P.DEAF, P.FINISHED)
    },
    **{
        (phase, I.INTERRUPTED): _row("interrupt", P.STANDING)
        for phase in Phase
        if phase not in (P.NEW, P.BETWEEN, P.FINISHED)
    },
    **{
        (phase, I.CLOSED_LATE): _row("close_late", P.FINISHED)
        for phase in Phase
        if phase is not P.FINISHED
    },
    **{(phase, I.RESUMED): _row("resume", *ONWARD) for phase in Phase if phase is not P.FINISHED},
}


@dataclass(frozen=True)
class State:
    """Everything the session remembers. Mappings are never changed in place."""

    phase: Phase = Phase.NEW
    opened: Opened | None = None
    step: str = ""
    hold: str = ""  # kind of the hold being spoken or waited in
    goes_to: str = ""
    hold_text: str = ""
    hazard: str = ""  # the hazard that is open, "" when none
    variant: int = 0
    breath: tuple[str, ...] = ()  # the steps asked in one sentence, the present one first
    question: str = ""  # of the follow-up: which | finding | anything else | why | second reading
    about: str = ""
    pending: str = ""  # the reply that was read back
    command: str = ""  # that waits for affirm
    memo_about: str = ""
    memo_defect: int = 0
    first: str = ""  # first reading of a timed step
    marked_at: int = 0  # monotonic ms of the first mark of a clocked step
    facts: Mapping[str, frozenset[str]] = field(default_factory=dict)  # fact -> steps that gave it
    deadlines: Mapping[str, int] = field(default_factory=dict)  # fact or "timing" -> monotonic ms
    answers: Mapping[str, Answered] = field(default_factory=dict)
    numbers: Mapping[str, int] = field(default_factory=dict)  # answered step -> its record
    reckoned: Mapping[str, Reckoned] = field(default_factory=dict)  # those that stand
    order: tuple[str, ...] = ()  # answered steps, latest last
    items: Mapping[str, tuple[tuple[str, str], ...]] = field(default_factory=dict)
    agains: Mapping[str, int] = field(default_factory=dict)
    asked: Mapping[str, int] = field(default_factory=dict)  # how often each step was started
    deferred: frozenset[str] = frozenset()
    wanted: frozenset[str] = frozenset()  # steps of again only that an again has called for
    defects: tuple[DefectFound, ...] = ()
    reference: str = ""  # told to the supervisor, and which defect it is for
    code_for: int = 0
    wrong_codes: int = 0  # in a row
    codes_from: int = 0  # monotonic ms before which no code is taken
    released: Mapping[int, str] = field(default_factory=dict)
    carried: frozenset[int] = frozenset()  # stops that the driver chose to carry on under
    refusals: int = 0
    talk_ms: int = 0  # foreign talk since the last reply that was taken
    mode: str = "full"
    last_place: str = ""
    asked_at: int = 0
    away_since: int = 0
    heard: int = 0  # number of the last heard record
    records: int = 0  # number of records so far
    outcome: str = ""

    def true(self, fact: str) -> bool:
        """Whether a plain fact is true."""
        return fact in self.facts

    def open_stops(self) -> tuple[DefectFound, ...]:
        """Major defects that are not released."""
        return tuple(
            d for d in self.defects if d.severity == "major" and d.number not in self.released
        )
