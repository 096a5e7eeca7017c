"""All that can happen in an inspection, tried turn by turn with the session's own ``decide``.

The rules of this file:

1. A node is a state that a driver can really be in: it was reached by the session's own function
   from the start, and the way there is kept. So every breach comes with a true dialogue, and the
   first one found is a shortest one (breadth first).
2. Two states with the same key are one node, and only the first is followed further. ``full_key``
   drops what no rule reads; ``class_key`` drops more (see its comments), which makes the number of
   nodes grow with the steps and not with the subsets of them. ``deep`` follows more states of one
   class. What that leaves out is said in docs/proof.md; tests compare the two on small checklists.
3. Every turn is judged by the oracle, also turns that lead to a node already known.
4. On top of it each start of a step and each answer to it is tried again with its memory spoiled:
   each fact that its needs read taken away alone, and a stop set that blocks it (``spoiled``).
   Those states need not be reachable. They show that the gate holds whatever went before.
5. Words are understood by the session's grammar. For speed its answer is remembered for equal
   questions, and named corrections are looked up instead of parsed (``quick``); a test compares.
"""

from __future__ import annotations

import datetime
import gc
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from decimal import Decimal
from heapq import heappop, heappush
from typing import Any

from voicecheck.authoring.oracle import Breach, Oracle
from voicecheck.checklist.compiled import Compiled, DateAsked, Step
from voicecheck.limits.judge import judge_family
from voicecheck.reply.grammar import Expect, Refused, Understood, parse
from voicecheck.reply.numbers import date_words, quantity_words, spelling_words
from voicecheck.session import actions as a
from voicecheck.session import answering, fold, replying, rules, session, turn
from voicecheck.session import events as e
from voicecheck.session import records as r
from voicecheck.session.facts import missing
from voicecheck.session.reckoning import due
from voicecheck.session.replying import HARMLESS, expect, reading_asked
from voicecheck.session.session import decide
from voicecheck.session.state import Phase, State
from voicecheck.units import Quantity, S, unit_named

WALL = "2026-11-25T06:00:00-07:00"
VALID, OVERDUE = "2027-10", "2026-01"  # months after and before WALL
ISSUED = "2026-11"  # where the date of issue is asked
TICK_MS = 10  # a reply takes no time that could end a fact; time passes by its own events
CODES = frozenset({Phase.STOPPED, Phase.CODING, Phase.CHECKING})
SPOKEN = frozenset({Phase.SPEAKING, Phase.HOLDING, Phase.STOPPING})
LONG_TALK_MS = 3_600_000

Key = tuple[Any, ...]


@dataclass(frozen=True)
class Move:
    """One thing that happens. ``said`` is the driver's part of the dialogue."""

    kind: str  # reply | doubtful | prompt | time | sound | memo | code | lost | back | fault | odd
    said: str
    meaning: str = ""
    event: Callable[[int], e.Event] = field(default=lambda now: e.Event(at=_at(now)), repr=False)
    jump_ms: int = TICK_MS


@dataclass(frozen=True)
class Node:
    state: State
    now: int


@dataclass
class Found:
    """A breach with the moves that lead to it from the start."""

    breach: Breach
    moves: tuple[Move, ...]
    spoiled: str = ""  # what was taken from the memory before the last move, "" for a true state


@dataclass
class Graph:
    """What was explored. ``edges``: key -> keys that one move leads to."""

    nodes: dict[Key, Node] = field(default_factory=dict)
    came: dict[Key, tuple[Key | None, Move | None]] = field(default_factory=dict)
    transitions: int = 0
    classes: int = 0
    spoiled: int = 0
    started: set[str] = field(default_factory=set)
    joined: set[str] = field(default_factory=set)  # first steps of what was asked in one sentence
    cut: bool = False
    found: list[Found] = field(default_factory=list)

    def path(self, key: Key) -> tuple[Move, ...]:
        moves: list[Move] = []
        at: Key | None = key
        while at is not None:
            at, move = self.came[at]
            if move is not None:
                moves.append(move)
        return tuple(reversed(moves))


def _at(now: int) -> r.Stamp:
    return r.Stamp(WALL, now)


# -- keys --------------------------------------------------------------------------------------


def _control(compiled: Compiled, s: State, now: int) -> Key:
    """Where the dialogue stands.

    Dropped: hold_text, last_place, mode (spoken words only); asked_at (marks a quick answer only);
    refusals and talk_ms (what is said, and a stand-by that ``LONG_TALK_MS`` shows); heard and
    records (numbers for the report); words and evidence inside ``pending``.
    """
    P = Phase
    step = compiled.step(s.step) if s.step else None
    # What a phase does not read is dead in it: whatever leads out of it sets it anew or starts
    # the step anew, which clears it (Turn.begin).
    inside = s.phase in (P.FOLLOWING, P.READING)
    listening = s.phase in (P.SPEAKING, P.ASKED, P.FOLLOWING, P.READING, P.TIMING)
    pending = s.pending.split("\t") if s.phase is P.READING else []
    return (
        s.phase,
        s.step,
        s.hold if s.phase in (P.STOPPING, P.STOPPED) else "",
        s.goes_to if s.phase is P.HOLDING else "",
        s.hazard,
        s.variant if step and len(step.variants) > 1 and listening else 0,
        s.breath if listening else (),
        s.question if inside else "",
        s.about if inside else "",
        (pending[0], *pending[2:5]) if pending else (),
        s.command if s.phase is P.ASKING else "",
        s.wrong_codes if s.phase in CODES or s.command.startswith("code:") else 0,
        s.codes_from > now if s.phase is P.STOPPED else False,
        (s.memo_about, s.memo_defect > 0) if s.phase is P.MEMO else (),
        s.first if inside else "",
        s.outcome,
    )


def _open_defects(s: State) -> frozenset[tuple[Any, ...]]:
    # numbers are dropped: they only tie a release to its defect; a defect found again after its
    # release is one more of the same kind, so a set of kinds is enough
    return frozenset(
        (d.defect, d.step, d.item, d.number in s.carried)
        for d in s.defects
        if d.severity == "major" and d.number not in s.released
    )


def full_key(compiled: Compiled, node: Node) -> Key:
    """All that any rule can read. Two states with one key go on alike for ever."""
    s = node.state
    reckoned = {id for x in compiled.reckonings for id in x.steps}
    many = {step.id for step in compiled.steps if len(step.variants) > 1}
    return (
        _control(compiled, s, node.now),
        frozenset(s.facts.items()),
        # only whether and in what order deadlines pass can be noticed
        tuple(sorted((until <= node.now, f) for f, until in s.deadlines.items())),
        frozenset(
            # the text, the figures and the number of the reply are for the report
            (id, x.outcome in ("blocked", "carried"), x.outcome in turn.DONE_WELL, x.rested_on,
             x.quantity if id in reckoned else "")
            for id, x in s.answers.items()
        ),
        s.order[-1:],  # the rest of the order is read after the last one is gone (see class_key)
        frozenset((id, frozenset(items)) for id, items in s.items.items()),
        # the third time is the last that is told apart
        frozenset((id, min(3, n)) for id, n in s.agains.items()),
        frozenset((id, n % len(compiled.step(id).variants)) for id, n in s.asked.items()
                  if id in many),
        s.deferred, s.wanted, _open_defects(s), s.wrong_codes, s.codes_from > node.now,
        bool(s.away_since) and s.phase in (Phase.STANDING, Phase.DEAF),
    )  # fmt: skip


def class_key(compiled: Compiled, node: Node) -> Key:
    """What the next few turns at this step can read.

    Facts that neither this step's needs nor its answers touch, answers to other steps, and stops
    that do not block this step are dropped: the step at which they matter has them in its own key.
    Where several steps are asked in one sentence, the key is that of the first with what the others
    read of the memory.
    """
    s = node.state
    asked = s.phase in (Phase.SPEAKING, Phase.ASKED, Phase.READING)
    also = tuple(_read_of(compiled, s, id) for id in s.breath[1:]) if asked else ()
    return (*_class_key(compiled, node), also) if also else _class_key(compiled, node)


def _read_of(compiled: Compiled, s: State, id: str) -> Key:
    """Of a part behind the first: whether its gate is open, and exceptions noted in its group.

    What it excludes, its third time and each needed fact gone are tried with spoiled memory.
    """
    step = compiled.step(id)
    return all(compiled.need(n).holds(s.true) for n in step.needs), bool(s.items.get(id))


def _class_key(compiled: Compiled, node: Node) -> Key:
    s = node.state
    step = compiled.step(s.step) if s.step else None
    if s.phase is Phase.FINISHED:
        return (s.phase, s.outcome)
    open_stops = s.open_stops()
    # whether a stop is open, and whether the driver carries on under it
    stops = frozenset(d.number in s.carried for d in open_stops)
    blocking = frozenset(
        (d.defect, d.number in s.carried)
        for d in open_stops
        if step and step.hazard and (step.hazard == "leave" or step.hazard in d.scope)
    )
    # what is carried falls where another unit is found
    carried = bool(step and step.spelling) and any(
        x.outcome == "carried" for x in s.answers.values()
    )
    # which figures this step completes, and whether a figure stops it
    reckons = tuple(
        all(id == step.id or (id in s.answers and s.answers[id].quantity) for id in x.steps)
        for x in compiled.reckonings
        if step and step.id in x.steps
    ) + tuple(sorted({d.reckoning for d in open_stops if step and step.hazard and d.reckoning}))
    holes, short, back = _memory(compiled, s)
    why = s.phase is Phase.FOLLOWING and s.question == "why"
    if why or s.phase in (Phase.STANDING, Phase.DEAF, Phase.ASKING, Phase.MEMO, Phase.READING,
                          Phase.CODING, Phase.CHECKING):  # fmt: skip
        # the way on starts the step anew, or is that of the same reply typed: only whether the
        # gate is open can be read
        open_gate = all(compiled.need(n).holds(s.true) for n in step.needs) if step else True
        after: Key = ()
        if why or (s.phase is Phase.READING and _figure(step)):
            # a figure, a spelling and a date are always read back: all that follows goes this way
            after = (holes, short, stops, back)
        elif s.memo_defect or s.command in ("release", "mended") or s.phase in (
            Phase.CODING, Phase.CHECKING
        ):  # fmt: skip
            # the test of what is released is asked again
            tests = {(d.defect, d.step) for d in open_stops if d.defect in dict(blocking)}
            after = (holes, short, stops, frozenset(tests))
        return (_control(compiled, s, node.now), open_gate, s.step in s.answers, bool(blocking),
                carried, reckons, after)  # fmt: skip
    leaves = _leaves(compiled, step) if step else ()
    given = _given(step) if step else ()
    # which of its defects were found is not read again, only whether one stops, or was released
    here = frozenset(
        (d.severity, d.number in s.released) for d in s.defects if step and d.step == step.id
    )
    return (
        _control(compiled, s, node.now),
        tuple(f in s.facts for f in leaves),
        tuple(s.deadlines.get(f, node.now + 1) <= node.now for f in leaves),
        tuple(f in s.facts for f in given),
        s.step in s.answers,
        bool(s.items.get(s.step)),
        # the third time is told apart; it is come to where all went well before, and tried with
        # spoiled memory elsewhere (Explorer._third_time)
        min(3, s.agains.get(s.step, 0)) if not (holes or short or stops) else 0,
        s.step in s.deferred,
        bool(s.deferred),
        bool(s.wanted),
        here,
        blocking,
        stops,
        holes,
        short,
        carried,
        reckons,
        back,
        # "correction" alone reopens the last answer: none, one before this step, one behind it
        bool(s.order) and 1 + (compiled.index(s.order[-1]) > compiled.index(s.step)),
    )


def _figure(step: Step | None) -> bool:
    """Whether the step asks for what is always read back, of itself or of one of its items."""
    measured = step is not None and any(item.measured for item in step.items)
    return step is not None and bool(step.reading or step.spelling or step.date or measured)


def _memory(compiled: Compiled, s: State) -> tuple[bool, bool, Key]:
    """Whether a step before this one is open, whether one was answered less than well; detours."""
    here = compiled.index(s.step) if s.step else 0
    still, short = _open_steps(compiled, s)
    holes = bool(still) and compiled.index(still[0].id) < here
    if s.step and compiled.step(s.step).hazard == "leave":
        # leaving waits for every other step, wherever it stands
        holes = any(step.hazard != "leave" for step in still)
        short = any(
            x.outcome not in turn.DONE_WELL
            for id, x in s.answers.items()
            if compiled.step(id).hazard != "leave"
        )
    return holes, short, _back(compiled, s, still) if s.step else ()


def _open_steps(compiled: Compiled, s: State) -> tuple[list[Step], bool]:
    """The steps of the walk without an answer; whether one was answered less than well."""
    answers = s.answers
    still = [step for step in compiled.walk(s.wanted) if step.id not in answers]
    return still, any(x.outcome not in ("good", "noted", "carried") for x in answers.values())


def _back(compiled: Compiled, s: State, still: Sequence[Step]) -> Key:
    """At a hold and where this step is a detour for what it gives: the step to which the walk comes
    back, what that one lacks, and which question comes next at the steps that give it."""
    here = compiled.step(s.step)
    ahead = next((x for x in still if x.id not in s.deferred and x is not here), None)
    if s.phase is Phase.HOLDING:
        ahead = here
    elif s.step not in s.answers and ahead and compiled.index(ahead.id) > compiled.index(s.step):
        return ()
    if ahead is None or not (ahead is here or _given(here)):
        return ()
    lacking = missing(compiled, s, ahead)
    leaves = dict.fromkeys(leaf for name in lacking for leaf in compiled.need(name).leaves())
    turns = {
        id: s.asked.get(id, 0) % len(compiled.step(id).variants)
        for leaf in leaves
        for id in compiled.givers(leaf)
        if len(compiled.step(id).variants) > 1
    }
    true = tuple(leaf for leaf in leaves if leaf in s.facts)
    return ahead.id, lacking, true, tuple(turns.values())


def _leaves(compiled: Compiled, step: Step) -> tuple[str, ...]:
    return tuple(dict.fromkeys(leaf for n in step.needs for leaf in compiled.need(n).leaves()))


def day_of(month: str, asked: DateAsked) -> str:
    """A date of that month in the form asked for: the day of ``WALL``, so that hours can count."""
    return f"{month}-{WALL[8:10]}" if asked.day else month


def just_expired(asked: DateAsked, valid: str) -> str:
    """The last date of issue that ``WALL`` is too late for, in the form asked for."""
    number, unit = valid.split()
    today = datetime.date.fromisoformat(WALL[:10])
    if unit == "h":
        return (today - datetime.timedelta(days=int(number) // 24 + 1)).isoformat()
    years, month = divmod(today.year * 12 + today.month - 1 - (int(number) + 1), 12)
    return day_of(f"{years}-{month + 1:02}", asked)


def _given(step: Step) -> tuple[str, ...]:
    every = [*step.gives, *(f for v in step.variants for x in v.answers for f in x.gives)]
    return tuple(dict.fromkeys(every))


# -- the moves of a state ------------------------------------------------------------------------

# Replies that lead back to the same question, from whatever class of the step they are given.
SAME_EVERYWHERE = frozenset(
    {"command:say again", "command:explain", "command:location", "command:read back",
     "command:brief", "command:full", "command:time left"}
)  # fmt: skip


class Moves:
    """The moves of a state: every meaning that may be said, and everything else that can happen."""

    def __init__(self, compiled: Compiled, opened: r.Opened) -> None:
        self.compiled = compiled
        self.units = dict(opened.units)
        self._numbers: dict[str, tuple[str, ...]] = {}

    def of(self, node: Node, first: bool = True) -> Iterator[Move]:
        """``first``: the first class of this step and phase, which is tried with everything."""
        s = node.state
        if s.phase is Phase.FINISHED:
            yield _reply("affirm", "typed", "affirm")
            return
        if s.phase in SPOKEN:
            yield from self._speaking(s, first)
        if s.phase is Phase.MEMO:
            yield _memo("a note")
            yield _reply("affirm", "typed", "affirm")
        if s.phase is Phase.CHECKING:
            yield _checked(s, True)
            yield _checked(s, False)
            if first:
                yield _checked(replace(s, reference="00000000"), True)
        yield from self._replies(s, node.now, first)
        yield from self._time(s, node.now, first)
        yield from self._faults(s, first)

    def _speaking(self, s: State, first: bool) -> Iterator[Move]:
        name = f"{s.phase}:{s.step}:{s.asked.get(s.step, 0)}"
        yield _prompt(name)
        if not first:
            return
        yield _prompt("another sentence")
        step = self.compiled.step(s.step)
        early = ["affirm", "pass", "correction", "end inspection"]
        early += [x.said[0] for v in step.variants for x in v.answers]
        for words in early:
            yield _reply(words, "typed", "early")

    def _replies(self, s: State, now: int, first: bool) -> Iterator[Move]:
        wanted = expect(self.compiled, s)[0]
        asked = s.phase in (Phase.ASKED, Phase.FOLLOWING, Phase.CLOCKING)
        items = self.compiled.step(s.step).items if s.step else ()
        other_items = tuple(f"item:{item.name}" for item in items[1:])
        seen: set[str] = set()
        for form in wanted.forms:
            if not first and (
                form.meaning in SAME_EVERYWHERE
                # it leads to the same place from every class of the step
                or form.meaning.startswith("command:correction:")
                # the items of a group share their findings: they differ in their names only
                or (other_items and form.meaning.startswith(other_items))
                or (form.meaning.startswith("joint:") and _another(form.meaning, seen))
            ):
                continue
            words = form.said[0]
            if form.meaning == "command:go ahead":
                yield _reply(words, "typed", form.meaning)
                yield _reply(words, "typed", form.meaning, 601_000)
                continue
            if form.meaning == "mark" and s.phase is Phase.CLOCKING:
                yield from self.marks(s, now)
                continue
            yield _reply(words, "typed", form.meaning)
            if first and asked and (form.meaning not in HARMLESS or form.meaning == "mark"):
                yield _reply(words, "doubtful", form.meaning)
        if s.phase is Phase.TIMING and s.step:
            for words in self._readings(s)[:1]:
                yield _reply(words, "typed", "number")
        elif wanted.number and s.step:
            for words in self._readings(s):
                yield _reply(words, "typed", "number")
        if s.phase is Phase.CODING:
            yield _reply(spelling_words("482915").lower(), "typed", "spelling")
            if first:
                yield _reply(spelling_words("48A915").lower(), "typed", "letters in a code")
        elif wanted.spell and s.step:
            spelling = self.compiled.step(s.step).spelling
            assert spelling is not None
            ordered = self.units.get(spelling.match, "")
            right = "".join(c for c in ordered.upper() if c.isalnum())[-4:]
            wrong = "ZQ99"[-max(spelling.least, min(4, spelling.most)) :]
            for text in filter(None, (right, wrong)):
                if spelling.least <= len(text) <= spelling.most:
                    yield _reply(spelling_words(text).lower(), "typed", "spelling")
        if wanted.date:
            spec = self.compiled.step(s.step).date
            assert spec is not None
            if spec.valid:
                # a date still to come, one in time, and too late ones: the validity may be spoiled
                usual = "24 h" if spec.valid.endswith("h") else "12 months"
                expired = dict.fromkeys(just_expired(spec, valid) for valid in (spec.valid, usual))
                dates = [day_of(VALID, spec), day_of(ISSUED, spec), *expired]
            else:
                dates = [day_of(VALID, spec), day_of(OVERDUE, spec)]
            for date in dates:
                yield _reply(date_words(date).lower(), "typed", "date")
        if first and s.phase is not Phase.MEMO:
            yield _reply("[unk]", "typed", "unknown words")

    def marks(self, s: State, now: int) -> Iterator[Move]:
        """A second mark too soon after the first, and one for each verdict on the time between."""
        step = self.compiled.step(s.step)
        spec = step.reading
        assert spec is not None
        yield _reply("mark", "typed", "mark")
        yield _reply("mark", "doubtful", "mark", max(TICK_MS, s.marked_at + 3000 - now))
        seen: set[str] = set()
        for seconds in (
            5,
            spec.seconds // 8,
            spec.seconds // 4,
            spec.seconds // 2,
            spec.seconds - 1,
        ):
            later = s.marked_at + seconds * 1000 - now
            place = s.opened.jurisdiction if s.opened else "US"
            verdict = (
                _verdict(step, spec, Quantity.of(seconds, S), None, place) if spec.limit else ""
            )
            if verdict not in seen and later > 0:
                seen.add(verdict)
                yield _reply("mark", "typed", "mark", later)

    def _readings(self, s: State) -> tuple[str, ...]:
        """Words for a reading within the limit (first, where one is), one outside, and one that
        cannot be judged; of what is reckoned from it too."""
        others = {id for x in self.compiled.reckonings if s.step in x.steps for id in x.steps}
        read = sorted((id, s.answers[id].quantity) for id in others & set(s.answers))
        about = s.about if s.question == "reading" else ""
        key = f"{s.step}\t{about}\t{s.first}\t{read}"
        if key not in self._numbers:
            self._numbers[key] = tuple(self._find_readings(s))
        return self._numbers[key]

    def _find_readings(self, s: State) -> Iterator[str]:
        step = self.compiled.step(s.step)
        spec = reading_asked(step, s)
        assert spec is not None
        found: dict[tuple[str, ...], str] = {}
        low, high = spec.low or Decimal(0), spec.high or Decimal(200)
        first = Quantity.parse(s.first) if s.first else None
        of_item = s.question == "reading"
        wanted = expect(self.compiled, s if of_item else replace(s, phase=Phase.ASKED))[0]
        opened = s.opened
        place = opened.jurisdiction if opened else "US"
        parts = (0, 1, 2, 3, 4, 6, 8, 10, 13, 16)
        if any(step.id in x.steps for x in self.compiled.reckonings):
            parts = (6, 4, 8, 3, 10, 2, 13, 1, 16, 0)  # the other readings can lie on both sides
        for unit in spec.units:
            if first is not None and first.unit != unit:
                continue
            for part in parts:
                value = low + (high - low) * part / 16
                if unit != spec.unit:
                    value = Quantity.of(value, spec.unit).to(unit).value.quantize(Decimal(1))
                value = value.quantize(Decimal("0.25")).normalize()
                if value == value.to_integral():
                    value = value.quantize(Decimal(1))
                reading = Quantity.of(value, unit)
                words = quantity_words(reading).lower()
                made = parse(wanted, words)
                if isinstance(made, Refused) or made.quantity != reading:
                    continue
                if step.kind == "timed" and not s.first:
                    if part >= 10 or not spec.limit:
                        found.setdefault((), words)
                    continue
                verdict = _verdict(step, spec, reading, first, place) if spec.limit else ""
                reckoned = (x.verdict for _, x in due(self.compiled, s, step, reading))
                found.setdefault((verdict, *reckoned), words)
        good = ("within", "")
        yield from (
            found[verdicts]
            for verdicts in sorted(found, key=lambda v: sum(x not in good for x in v))
        )

    def _time(self, s: State, now: int, first: bool) -> Iterator[Move]:
        if s.phase in turn.TIMERS:
            over, name = s.deadlines["timing"], turn.TIMERS[s.phase]
            yield _timer(name, 0, "the time is not over")
            yield _timer(name, max(0, over - now), "the time passes")
        if s.phase is Phase.STOPPED and s.codes_from > now:
            yield _timer("nothing", s.codes_from - now, "the wait for a code passes")
        if first and s.phase not in SPOKEN:
            yield _timer("quiet", TICK_MS, "20 seconds of silence")
            yield _timer("hands busy", TICK_MS, "30 seconds of work")
        for fact, until in sorted(s.deadlines.items(), key=lambda pair: pair[1]):
            if fact != "timing" and until > now:
                yield _timer("nothing", until - now, f"{(until - now) // 1000} seconds pass")
                break  # the others follow from there

    def _faults(self, s: State, first: bool) -> Iterator[Move]:
        if s.phase is Phase.DEAF:
            for away in (TICK_MS, 601_000):
                said = f"the microphone is back after {away // 1000} s"
                yield Move("back", said, "", lambda now: e.MicrophoneBack(at=_at(now)), away)
        else:
            yield Move("lost", "the microphone is lost",
                       event=lambda now: e.MicrophoneLost(at=_at(now)))  # fmt: skip
        yield Move("fault", "the program crashes and is resumed",
                   event=lambda now: e.Resumed(at=_at(now), gap_s=5), jump_ms=5000)  # fmt: skip
        if not first:
            return  # being told to stop ends as standing by does
        yield Move("fault", "the program is told to stop",
                   event=lambda now: e.Interrupted(at=_at(now), why="told to stop"))  # fmt: skip
        yield Move("fault", "the shift ends",
                   event=lambda now: e.ClosedLate(at=_at(now), why="late"))  # fmt: skip
        if s.phase is not Phase.DEAF:
            for why in ("noise", "talk"):
                yield _sound(why, 500)
            yield _sound("talk", LONG_TALK_MS)


def _another(meaning: str, seen: set[str]) -> bool:
    """Whether another item of the same group ends a joint reply with the same finding."""
    before, item, rest = meaning.partition("item:")
    name = f"{before}{item}{rest.partition(':')[2]}" if item else meaning
    known = name in seen
    seen.add(name)
    return known


def _verdict(step: Step, spec: Any, reading: Quantity, first: Quantity | None, place: str) -> str:
    from voicecheck.errors import VoicecheckError
    from voicecheck.limits.judge import leak_per_minute

    judged = reading
    if step.kind == "timed" and first is not None:
        try:
            judged = leak_per_minute(first, reading, Quantity.of(spec.seconds, unit_named("s")))
        except VoicecheckError:
            return "no rate"
    return str(judge_family(spec.limit, judged, dict(spec.given), place).verdict)


def _reply(words: str, certainty: str, meaning: str, later: int = TICK_MS) -> Move:
    sure = "" if certainty == "typed" else " (not clearly heard)"
    late = f" (after {later // 1000} s)" if later > 1000 else ""
    return Move(
        "doubtful" if sure else "reply",
        f"{words}{sure}{late}",
        meaning,
        lambda now: e.ReplyHeard(at=_at(now), words=words, certainty=certainty),
        later,
    )


def _prompt(name: str) -> Move:
    return Move("prompt", "", name, lambda now: e.PromptEnded(at=_at(now), name=name))


def _timer(name: str, later: int, said: str) -> Move:
    return Move("time", said, name, lambda now: e.TimerElapsed(at=_at(now), name=name), later)


def _checked(s: State, right: bool) -> Move:
    def event(now: int) -> e.Event:
        return e.CodeChecked(at=_at(now), reference=s.reference, right=right)

    return Move("code", f"the code is {'right' if right else 'wrong'}", "code", event)


def _memo(text: str) -> Move:
    def event(now: int) -> e.Event:
        return e.MemoHeard(at=_at(now), evidence="", digest="", seconds="2", text=text)

    return Move("memo", text, "memo", event)


def _sound(why: str, ms: int) -> Move:
    def event(now: int) -> e.Event:
        return e.SoundRefused(at=_at(now), why=why, ms=ms)

    return Move("sound", f"{why} for {ms / 1000:g} s", why, event)


# -- the exploration -----------------------------------------------------------------------------


@dataclass
class Explorer:
    """Explores one compiled checklist and holds it against what its author wrote."""

    compiled: Compiled
    oracle: Oracle
    opened: r.Opened
    reduced: bool = True
    most_nodes: int = 1_000_000
    deep: int = 1  # states of one class that are followed, differing in what a rule can read
    most_found: int = 1  # of each invariant
    stop_at_first: bool = False
    does: Callable[[State, Move], bool] | None = None  # which moves are made; None: all

    def __post_init__(self) -> None:
        self.moves = Moves(self.compiled, self.opened)
        self.graph = Graph()

    def key(self, node: Node) -> Key:
        """The name of a node; beyond the first ``deep`` of a class that of the first one."""
        if not self.reduced:
            return full_key(self.compiled, node)
        same = class_key(self.compiled, node)
        if self.deep == 1:
            return same
        followed = self._followed.setdefault(same, {})
        whole = full_key(self.compiled, node)
        if len(followed) < self.deep:
            followed.setdefault(whole, len(followed))
        return same, followed.get(whole, 0)

    def run(self) -> Graph:
        with quick(self.compiled):
            return self._run()

    def start(self) -> Node:
        first = e.Started(at=_at(0), opened=self.opened)
        state, actions = decide(self.compiled, State(), first)
        self._judge(State(), first, actions, state, (), None)
        return Node(state, 0)

    def _run(self) -> Graph:
        graph = self.graph
        node = self.start()
        key = self.key(node)
        graph.nodes[key], graph.came[key] = node, (None, None)
        # First the fewest departures from a good walk, then the fewest moves: what is followed
        # further has the best memory that leads there. Unreduced: the fewest moves.
        depth = {key: (0, 0)}
        waiting = [(0, 0, 0, key)]
        serial = 0
        tried: set[Key] = set()
        while waiting:
            departures, moves, _, key = heappop(waiting)
            if depth[key] < (departures, moves):
                continue
            node = graph.nodes[key]
            s = node.state
            place = (s.phase, s.step, s.question, s.hold, s.variant, s.breath)
            first = not self.reduced or place not in tried
            tried.add(place)
            for move in self.moves.of(node, first):
                if self.does is not None and not self.does(s, move):
                    continue
                after = self._turn(key, node, move)
                if after is None:
                    continue
                reached = self.key(after)
                far = (departures + self._departs(move, self._last), moves + 1)
                if reached not in graph.nodes and len(graph.nodes) >= self.most_nodes:
                    graph.cut = True
                    if not self.reduced:
                        return graph  # it says nothing unless it is whole
                elif reached not in depth or far < depth[reached]:
                    graph.nodes[reached], graph.came[reached] = after, (key, move)
                    depth[reached] = far
                    serial += 1
                    heappush(waiting, (*far, serial, reached))
                if self.stop_at_first and graph.found:
                    return graph
        graph.classes = len(self._followed) or len(graph.nodes)
        return graph

    def _departs(self, move: Move, actions: list[a.Action]) -> int:
        if not self.reduced or move.kind == "prompt":
            return 0
        records = [action.record for action in actions if isinstance(action, a.Keep)]
        answers = [x for x in records if isinstance(x, r.Answered)]
        if answers:
            # no limit on file is the best that a reading can come to there
            good = all(x.outcome == "good" or x.verdict == "cannot judge" for x in answers)
            return int(not good or any(isinstance(x, r.Again | r.FollowedUp) for x in records))
        for record in records:
            match record:
                case r.ReadBack() if move.kind == "reply":
                    return 0
                case r.Timing() | r.TimingDone() | r.Marked():
                    return 0
        return 1

    def _turn(self, key: Key, node: Node, move: Move) -> Node | None:
        now = node.now + move.jump_ms
        event = move.event(now)
        self.graph.transitions += 1
        try:
            state, actions = decide(self.compiled, node.state, event)
        except Exception as error:  # whatever it is, the driver would stand there alone
            self._add(Breach("fault", f"the program fails: {error!r}"), key, move, "")
            return None
        self._last = actions
        self._judge(node.state, event, actions, state, key, move)
        for action in actions:
            if isinstance(action, a.Keep) and isinstance(action.record, r.StepStarted):
                self.graph.started.add(action.record.step)
                if action.record.together:
                    self.graph.joined.add(action.record.step)
                self._spoil(key, node, move, event, action.record)
            elif isinstance(action, a.Keep) and isinstance(action.record, r.Answered):
                self._spoil_answer(key, node, move, event, action.record)
                self._spoil_exclusive(key, node, move, event, action.record)
            elif isinstance(action, a.Keep) and isinstance(action.record, r.Again):
                self._third_time(key, node, move, event, action.record)
        return Node(state, now)

    def _judge(
        self,
        before: State,
        event: e.Event,
        actions: list[a.Action],
        after: State,
        key: Key,
        move: Move | None,
        spoiled: str = "",
    ) -> None:
        for breach in self.oracle.check(before, event, actions, after):
            self._add(breach, key, move, spoiled)

    def _add(self, breach: Breach, key: Key, move: Move | None, spoiled: str) -> None:
        same = [f for f in self.graph.found if f.breach.invariant == breach.invariant]
        if len(same) >= self.most_found and not (same[-1].spoiled and not spoiled):
            return
        if len(same) >= self.most_found:
            self.graph.found.remove(same[-1])
        moves = (*self.graph.path(key), move) if move is not None else ()
        self.graph.found.append(Found(breach, moves, spoiled))

    # -- the gate, whatever went before ----------------------------------------------------------

    def _spoil(
        self, key: Key, node: Node, move: Move, event: e.Event, record: r.StepStarted
    ) -> None:
        """The same move with each needed fact gone alone, and with a stop that blocks the step."""
        known = self.oracle.steps.get(record.step)
        parts = [self.oracle.steps[id] for id in record.together[1:] if id in self.oracle.steps]
        leaves = frozenset[str]().union(*(k.leaves for k in (known, *parts) if k))
        if known is None or not (leaves or known.hazard or known.ends):
            return
        once = (record.step, node.state.phase, move.kind, move.meaning.partition(":")[0],
                record.spoken, bool(parts))  # fmt: skip
        if self.reduced:
            if once in self._spoilt:
                return  # the gate is the same code by the same way in
            self._spoilt.add(once)
        s = node.state
        worse: list[tuple[str, State]] = []
        for leaf in sorted(leaves & set(s.facts)):
            facts = {f: g for f, g in s.facts.items() if f != leaf}
            deadlines = {f: t for f, t in s.deadlines.items() if f != leaf}
            worse.append((f"if {leaf!r} were false", replace(s, facts=facts, deadlines=deadlines)))
        for end in sorted(known.ends.union(*(part.ends for part in parts))):
            if end in s.facts or (self.reduced and ("end", record.step, end) in self._spoilt):
                continue
            self._spoilt.add(("end", record.step, end))
            givers = self.compiled.givers(end)
            if givers:
                others = {f for pair in self.oracle.exclusive if end in pair for f in pair}
                facts = {f: g for f, g in s.facts.items() if f not in others}
                facts[end] = frozenset(givers[:1])
                deadlines = {f: t for f, t in s.deadlines.items() if f in facts or f == "timing"}
                if self.oracle.life(end) == "time":
                    deadlines[end] = event.at.mono + 60_000
                worse.append(
                    (f"if {end!r} were true", replace(s, facts=facts, deadlines=deadlines))
                )
        if known.hazard and not known.never_blocked:
            for id, written in self.oracle.model.defects.items():
                if written.severity != "major":
                    continue
                if known.hazard != "leave" and known.hazard not in written.blocks:
                    continue
                made = self.compiled.defects[id]
                defect = r.DefectFound(
                    at=_at(0), defect=id, number=len(s.defects) + 1, severity=made.severity,
                    step=record.step, item="", text=made.text, scope=made.scope,
                    mended_by=made.mended_by, source=(), heard=0,
                )  # fmt: skip
                worse.append((f"if {id!r} were open", replace(s, defects=(*s.defects, defect))))
                if self.reduced and ("stop", record.step, id) in self._spoilt:
                    worse.pop()
                self._spoilt.add(("stop", record.step, id))
        for what, state in worse:
            self.graph.spoiled += 1
            try:
                after, actions = decide(self.compiled, state, event)
            except Exception as error:
                self._add(Breach("fault", f"the program fails: {error!r}"), key, move, what)
                continue
            self._judge(state, event, actions, after, key, move, what)

    def _spoil_answer(
        self, key: Key, node: Node, move: Move, event: e.Event, record: r.Answered
    ) -> None:
        """The same answer while a fact that its step needs is false."""
        known = self.oracle.steps.get(record.step)
        if known is None or record.outcome == "blocked":
            return
        s = node.state
        for leaf in sorted(known.leaves & set(s.facts)):
            once = ("answer", record.step, s.phase, move.kind, move.meaning, leaf)
            if once in self._spoilt:
                continue
            self._spoilt.add(once)
            facts = {f: g for f, g in s.facts.items() if f != leaf}
            deadlines = {f: t for f, t in s.deadlines.items() if f != leaf}
            state = replace(s, facts=facts, deadlines=deadlines)
            self.graph.spoiled += 1
            after, actions = decide(self.compiled, state, event)
            self._judge(state, event, actions, after, key, move, f"if {leaf!r} were false")

    def _spoil_exclusive(
        self, key: Key, node: Node, move: Move, event: e.Event, record: r.Answered
    ) -> None:
        """The same answer while the fact that excludes what it gives is still true."""
        s = node.state
        for pair in self.oracle.exclusive:
            for given, other in (pair, pair[::-1]):
                if given not in record.gives or other in s.facts:
                    continue
                if self.reduced and ("pair", record.step, other) in self._spoilt:
                    continue
                givers = self.compiled.givers(other)
                if not givers or self.oracle.life(other) == "time":
                    continue
                self._spoilt.add(("pair", record.step, other))
                facts = {**s.facts, other: frozenset(givers[:1])}
                self.graph.spoiled += 1
                state = replace(s, facts=facts)
                after, actions = decide(self.compiled, state, event)
                self._judge(state, event, actions, after, key, move, f"if {other!r} were true")

    def _third_time(
        self, key: Key, node: Node, move: Move, event: e.Event, record: r.Again
    ) -> None:
        """The same answer as the third of its kind."""
        once = ("third", record.step, move.meaning, move.kind)
        if once in self._spoilt:
            return
        self._spoilt.add(once)
        self.graph.spoiled += 1
        state = replace(node.state, agains={**node.state.agains, record.step: 2})
        after, actions = decide(self.compiled, state, event)
        self._judge(state, event, actions, after, key, move, "as the third of its kind")

    _spoilt: set[Any] = field(default_factory=set)
    _followed: dict[Key, dict[Key, int]] = field(default_factory=dict)
    _last: list[a.Action] = field(default_factory=list)


# -- speed ---------------------------------------------------------------------------------------


def _changed(state: State, **changes: Any) -> State:
    """``dataclasses.replace`` of a state without asking every field anew: half the time saved."""
    made = object.__new__(State)
    made.__dict__.update(state.__dict__, **changes)
    return made


@contextmanager
def quick(compiled: Compiled) -> Iterator[None]:
    """Remember what may be said, what was understood and who can give what; look named corrections
    up.

    ``expect``, ``parse`` and ``ranks`` are pure, so remembering changes nothing. A named correction
    is one phrase of its own; leaving those phrases out of the grammar changes no other reading,
    since none begins with the word "correction" (tests compare on every vocabulary of the
    coupling).
    """
    known: dict[Key, tuple[Expect, frozenset[str]]] = {}
    understood: dict[tuple[int, str], Understood | Refused] = {}
    bare: dict[Key, Expect] = {}
    keep: list[Expect] = []  # so that no id is used twice
    plain: dict[int, Expect] = {}
    named: dict[int, Mapping[str, str]] = {}

    def remembered(
        compiled_: Compiled, s: State, make: Callable[..., Any] = replying.expect
    ) -> tuple[Expect, frozenset[str]]:
        key: Key = (s.phase, s.step, s.variant, s.question, s.about, s.hold, s.breath)
        order = s.order if s.phase is Phase.ASKED else ()
        found = known.get((key, order))
        if found is None or compiled_ is not compiled:
            found = make(compiled_, s)
            if compiled_ is not compiled:
                return found[0], found[1]
            known[(key, order)] = found
            keep.append(found[0])
            forms = found[0].forms
            own = tuple(f for f in forms if not f.meaning.startswith("command:correction:"))
            if key not in bare:
                bare[key] = replace(found[0], forms=own)
            plain[id(found[0])] = bare[key]
            named[id(found[0])] = {
                text: f.meaning
                for f in forms
                if f.meaning.startswith("command:correction:")
                for text in f.said
            }
        return found[0], found[1]

    def read(wanted: Expect, words: str) -> Understood | Refused:
        meaning = named.get(id(wanted), {}).get(words)
        if meaning is not None:
            return Understood(meaning, words, first=words)
        own = plain.get(id(wanted), wanted)
        found = understood.get((id(own), words))
        if found is None:
            found = parse(own, words)
            if own is not wanted or id(wanted) in plain:
                understood[(id(own), words)] = found
        return found

    ranks = turn.Turn.ranks
    ranked: dict[Key, dict[str, int]] = {}

    def remembered_ranks(self: turn.Turn) -> dict[str, int]:
        s = self.state
        stops = tuple((d.scope, d.number in s.carried) for d in s.open_stops())
        key: Key = (frozenset(s.facts), stops)
        if self.compiled is not compiled:
            return ranks(self)
        if key not in ranked:
            ranked[key] = ranks(self)
        return ranked[key]

    places: list[tuple[Any, str, Any]] = [
        (module, "expect", remembered)
        for module in (session, turn, rules, answering)
        if getattr(module, "expect", None) is replying.expect
    ]
    import voicecheck.authoring.explore as here

    still: dict[int, tuple[Mapping[str, Any], frozenset[str], tuple[list[Step], bool]]] = {}

    def open_steps(
        compiled_: Compiled,
        s: State,
        make: Callable[[Compiled, State], tuple[list[Step], bool]] = _open_steps,
    ) -> tuple[list[Step], bool]:
        # most turns leave the answers as they are, the very same object
        if compiled_ is not compiled:
            return make(compiled_, s)
        found = still.get(id(s.answers))
        if found is None or found[1] != s.wanted:
            if len(still) > 1000:
                still.clear()
            still[id(s.answers)] = found = s.answers, s.wanted, make(compiled_, s)
        return found[2]

    leaves = {step.id: _leaves(compiled, step) for step in compiled.steps}
    given = {step.id: _given(step) for step in compiled.steps}
    places += [
        (session, "parse", read),
        (fold, "replace", _changed),
        (turn.Turn, "ranks", remembered_ranks),
        (here, "expect", remembered),
        (here, "_open_steps", open_steps),
        (here, "_leaves", lambda _, step: leaves[step.id]),
        (here, "_given", lambda step: given[step.id]),
    ]
    before = [(module, name, getattr(module, name)) for module, name, _ in places]
    collects = gc.isenabled()
    gc.disable()  # states hold no circles, and looking for some takes a twentieth of the time
    try:
        for module, name, value in places:
            setattr(module, name, value)
        yield
    finally:
        for module, name, value in before:
            setattr(module, name, value)
        if collects:
            gc.enable()
