"""``voicecheck prove``: what was explored of a checklist, and what it shows.

Every line of the result is one claim with its verdict. What is claimed, and what is not, stands in
docs/proof.md. In short: the turns that were made are the session's own; from every state found
every move was made; a breach is a dialogue that a driver could have.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import islice

from voicecheck.authoring.explore import (
    ISSUED,
    SPOKEN,
    VALID,
    WALL,
    Explorer,
    Found,
    Graph,
    Key,
    Move,
    Moves,
    Node,
    _at,
    _checked,
    _memo,
    _prompt,
    _reply,
    _timer,
    day_of,
    quick,
)
from voicecheck.authoring.oracle import Breach, Oracle
from voicecheck.checklist.compile import Context, compile_checklist
from voicecheck.checklist.compiled import Compiled, Step
from voicecheck.checklist.load import Lines
from voicecheck.checklist.model import ChecklistModel, HazardsModel
from voicecheck.reply.numbers import date_words, spelling_words
from voicecheck.session import actions as a
from voicecheck.session import events as e
from voicecheck.session import records as r
from voicecheck.session.session import decide
from voicecheck.session.state import Phase, State

MOST_TALK = 8  # sentences to their end, one after another, without a reply between
MOST_TO_END = 4  # replies until the inspection is ended, from anywhere
DEEPER = 4  # times as many states of a class are followed where a step was not reached

CLAIMS = {
    "H1": "no step is spoken, and no reply to it taken, while a fact that it needs is false",
    "H2": (
        "facts become true by listed answers only, and end as written; a figure is what its limit "
        "says of it"
    ),
    "H3": "a correction takes back what rested on the answer",
    "H4": "no stop is passed without a release of a printed kind",
    "H5": "noise, refused and doubtful replies change no answer",
    "H6": (
        "a sentence that must be heard is spoken to its end before a reply counts, with its "
        "caution as written"
    ),
    "H8": "what was carried gives no fact, and falls where another unit is found",
    "H9": "a defect that was open at the beginning is open until it is released",
    "exclusive": "facts that exclude one another are never both true",
    "silence": "a timed interval runs to its end and is silent",
    "make safe": "where a hazard is open and something goes wrong, its sentence comes first",
    "defect": "a finding is recorded as the defect that the author wrote beside it",
    "reckoned": "a figure stands while its readings do, is spoken, and rests on no other",
    "complete": "no end is called complete over an open stop or an unanswered step",
    "heard": (
        "every word that may be said is heard and does what the author wrote for it; the question "
        "asked is the one written"
    ),
    "closed": "nothing happens after the end",
    "fault": "the program never fails",
    "reached": "every step is spoken in some dialogue",
    "joined": "steps to be asked together are so asked in some dialogue",
    "cleared": "every hold can be cleared by replies",
    "parked": f"the inspection can be ended from anywhere within {MOST_TO_END} replies",
    "endless talk": f"the program never speaks {MOST_TALK} sentences without waiting for a reply",
}


@dataclass
class Proof:
    """The result. ``verdicts``: claim -> whether it was kept."""

    compiled: Compiled
    oracle: Oracle
    opened: r.Opened
    reduced: bool
    deep: int
    graph: Graph
    found: list[Found] = field(default_factory=list)
    seconds: float = 0.0
    holds: int = 0
    most_to_end: int = 0

    @property
    def verdicts(self) -> dict[str, bool]:
        broken = {f.breach.invariant for f in self.found}
        return {claim: claim not in broken for claim in CLAIMS}

    @property
    def kept(self) -> bool:
        return not self.found and not self.graph.cut


def opened_for(
    compiled: Compiled,
    context: Context,
    inspection: str = "b",
    carried: bool = False,
    codes: bool = False,
) -> r.Opened:
    """An opening record for the exploration. Its texts are empty: no rule reads them.

    ``carried``: an earlier inspection hands on every answer that may be carried, and one stop
    that nothing in this checklist tests. ``codes``: the device can check release codes.
    """
    origin = r.Origin("earlier", "another checklist", 1, "", WALL)
    opened = r.Opened(
        at=_at(0), inspection=inspection, checklist=compiled.id, edition=compiled.edition,
        checklist_text="", hazards_text="", vehicle_text="", settings=(),
        jurisdiction=context.jurisdiction, season=context.season, operating="practice",
        source="typed", engine="", engine_digest="", voice="", program="", driver="", carrier="",
        units=context.vehicle.numbers(), place="", codes=codes,
    )  # fmt: skip
    if not carried:
        return opened
    stop = r.CarriedDefect(
        defect="handed-on", severity="major", name="", found_at="elsewhere", step="",
        item="something else", unit="", text="Something else is broken.", scope=("leave",),
        mended_by="mechanic", source=("another checklist",), origin=origin,
    )  # fmt: skip
    answers = tuple(
        r.Carried(x.carry, x.id, "all good", False, origin) for x in compiled.steps if x.carry
    )
    return replace(opened, carried=answers, defects=(stop,))


def prove_model(
    model: ChecklistModel,
    lines: Lines,
    file: str,
    hazards: HazardsModel,
    context: Context,
    *,
    reduced: bool = True,
    most_nodes: int = 1_000_000,
    deep: int = 1,
    carried: bool = False,
) -> Proof:
    """Compile and prove. ChecklistError where the checklist cannot be compiled.

    ``deep``: how many states of a class are followed. ``carried``: from an opening with answers and
    a stop of an earlier inspection.
    """
    compiled = compile_checklist(model, lines, file, hazards, context)
    oracle = Oracle.of(model, hazards, context)
    opened = opened_for(compiled, context, carried=carried, codes=reduced)
    return prove(compiled, oracle, opened, reduced=reduced, most_nodes=most_nodes, deep=deep)


def prove(
    compiled: Compiled,
    oracle: Oracle,
    opened: r.Opened,
    *,
    reduced: bool = True,
    most_nodes: int = 1_000_000,
    deep: int = 1,
    stop_at_first: bool = False,
    shorten: bool = True,
    does: Callable[[State, Move], bool] | None = None,
) -> Proof:
    """Explore ``compiled`` and hold it against the author's model in ``oracle``.

    ``deep``: how many states of a class are followed. ``does``: whether a move is made in a state,
    for a driver who does not do everything.
    """
    began = time.process_time()
    explorer = Explorer(
        compiled, oracle, opened, reduced, most_nodes, deep, stop_at_first=stop_at_first, does=does
    )
    oracle.units = dict(opened.units)
    proof = Proof(compiled, oracle, opened, reduced, deep, Graph())
    if set(oracle.steps) != {step.id for step in compiled.steps}:
        what = "the steps walked are not the steps written"
        proof.found.append(Found(Breach("H1", what), ()))
    elif any(
        oracle.steps[step.id].items != tuple(item.name for item in step.items)
        for step in compiled.steps
    ):
        what = "the items asked for are not those of the vehicle"
        proof.found.append(Found(Breach("H1", what), ()))
    else:
        unlike = (what for step in compiled.steps for what in oracle.unlike(step))
        proof.found += [Found(Breach("heard", what), ()) for what in islice(unlike, 1)]
    with quick(compiled):
        proof.graph = explorer._run()
        proof.found += proof.graph.found
        if not (stop_at_first and proof.found) and (reduced or not proof.graph.cut):
            if reduced and _unreached(proof):
                # what one state of a class does not lead to, another may
                more = Explorer(
                    compiled, oracle, opened, True, most_nodes, DEEPER * deep, does=does
                )
                graph = more._run()
                proof.graph.started |= graph.started
                proof.graph.joined |= graph.joined
                seen = {f.breach.invariant for f in proof.found}
                proof.found += [f for f in graph.found if f.breach.invariant not in seen]
            _Lead(proof).all()
        if reduced and shorten:
            proof.found = [_shortened(proof, found) for found in proof.found]
    proof.seconds = time.process_time() - began
    return proof


def _unreached(proof: Proof) -> list[tuple[str, str]]:
    """Claim and what was never spoken, or never asked as one. Nothing is said of a part."""
    graph, found = proof.graph, list[tuple[str, str]]()
    for step in () if graph.cut else proof.compiled.steps:
        if step.id not in graph.started:
            found.append(("reached", f"{step.item!r} is never spoken"))
        written = proof.oracle.steps.get(step.id)
        if written and written.breath and step.id not in graph.joined:
            what = f"{step.item!r} is never asked together with what follows it"
            found.append(("joined", what))
    return found


# -- what must be possible -------------------------------------------------------------------------


class _Lead:
    """Leads a willing driver from a state: out of a hold, or to the end."""

    def __init__(self, proof: Proof) -> None:
        self.proof, self.compiled = proof, proof.compiled
        self.willing = Willing(proof.compiled, proof.opened)

    def all(self) -> None:
        graph = self.proof.graph
        for claim, what in _unreached(self.proof):
            self._add(claim, what, ())
        for key, node in list(graph.nodes.items()):
            phase = node.state.phase
            if phase is Phase.FINISHED:
                continue
            if phase in SPOKEN:
                self._talk(key, node)
            held = self.compiled.step(node.state.step)
            walked = held.id not in node.state.answers and (
                not held.only_again or held.id in node.state.wanted
            )  # else it was only led to for what it gives, and the walk may not need it any more
            if phase in (Phase.HOLDING, Phase.STOPPED) and walked:
                self.proof.holds += 1
                self._clear(key, node)
            self._end(key, node)

    def _add(self, claim: str, what: str, moves: Sequence[Move]) -> None:
        if all(f.breach.invariant != claim for f in self.proof.found):
            self.proof.found.append(Found(Breach(claim, what), tuple(moves)))

    def _do(self, node: Node, move: Move) -> tuple[Node, list[a.Action]]:
        now = node.now + move.jump_ms
        state, actions = decide(self.compiled, node.state, move.event(now))
        return Node(state, now), actions

    def _talk(self, key: Key, node: Node) -> None:
        made: list[Move] = []
        at = node
        while at.state.phase in SPOKEN and len(made) < MOST_TALK:
            made.append(_end_of(at.state))
            at, _ = self._do(at, made[-1])
        if len(made) >= MOST_TALK:
            what = f"{MOST_TALK} sentences follow each other and none waits for a reply"
            self._add("endless talk", what, (*self.proof.graph.path(key), *made))

    def _end(self, key: Key, node: Node) -> None:
        replies, at, made = 0, node, list[Move]()
        while at.state.phase is not Phase.FINISHED and replies <= MOST_TO_END and len(made) < 60:
            move = self._towards_end(at.state)
            replies += move.kind in ("reply", "memo")
            made.append(move)
            at, _ = self._do(at, move)
        if at.state.phase is not Phase.FINISHED or replies > MOST_TO_END:
            self._add("parked", "the inspection cannot be ended",
                      (*self.proof.graph.path(key), *made))  # fmt: skip
        self.proof.most_to_end = max(self.proof.most_to_end, replies)

    def _towards_end(self, s: State) -> Move:
        if s.phase in SPOKEN:
            return _end_of(s)
        if s.phase is Phase.MEMO:
            return _memo("a note")
        if s.phase is Phase.DEAF:
            return Move("back", "the microphone is back",
                        event=lambda now: e.MicrophoneBack(at=_at(now)))  # fmt: skip
        if s.phase is Phase.CHECKING:
            return _checked(s, True)
        if s.phase is Phase.ASKING:
            yes = s.command == "end inspection"
            return _reply("affirm" if yes else "negative", "typed", "affirm")
        return _reply("end inspection", "typed", "end")

    def _clear(self, key: Key, node: Node) -> None:
        """A willing driver clears the hold: the step that was held is spoken, or called blocked."""
        step = self.compiled.step(node.state.step)
        stop = node.state.phase is Phase.STOPPED
        for turns in range(2):  # of several good answers: the one that helps, or each in turn
            at, made, seen = node, list[Move](), dict[str, int]()
            while at.state.phase is not Phase.FINISHED and len(made) < 60 + 8 * len(
                self.compiled.steps
            ):
                move = self.willing.move(at, step, seen, turns)
                made.append(move)
                at, actions = self._do(at, move)
                if _passed(actions, step.id, stop):
                    return
        what = f"no replies clear the hold before {step.item!r}"
        self._add("cleared", what, self.proof.graph.path(key))


class Willing:
    """A driver who answers well, and helps where a hold names something."""

    def __init__(self, compiled: Compiled, opened: r.Opened) -> None:
        self.compiled = compiled
        self.moves = Moves(compiled, opened)

    def move(self, node: Node, target: Step, seen: dict[str, int], turns: int) -> Move:
        s = node.state
        if s.phase in SPOKEN:
            return _end_of(s)
        if s.phase is Phase.MEMO:
            return _memo("a note")
        if s.phase is Phase.STOPPED:
            return _reply("release" if s.hold == "stop" else "correction", "typed", "clear")
        if s.phase is Phase.CHECKING:
            return _checked(s, True)
        if s.phase is Phase.CODING:
            return _reply("disregard", "typed", "command:disregard")
        if s.phase in (Phase.READING, Phase.ASKING):
            return _reply("affirm", "typed", "affirm")
        if s.phase is Phase.TIMING:
            return _timer("timing", s.deadlines["timing"] - node.now, "the interval passes")
        if s.phase is Phase.CLOCKING:
            return next(m for m in self.moves.marks(s, node.now) if m.jump_ms > 3000)
        if s.phase is Phase.STANDING:
            return _reply("go ahead", "typed", "go ahead")
        step = self.compiled.step(s.step)
        if s.phase is Phase.FOLLOWING:
            if s.question == "anything else":
                return _reply("nothing else", "typed", "nothing else")
            if s.question == "second reading":
                return self._reading(s)
            return _reply("negative", "typed", "negative")
        n = seen[step.id] = seen.get(step.id, -1) + 1
        if s.breath:
            every = [self.compiled.step(id) for id in s.breath]
            joint = [self._in_breath(s, part, target, n if turns else 0) for part in every]
            return _reply(" ".join(joint), "typed", "joint")
        if step.kind == "answers":
            return self._named(s, step, target, n if turns else 0)
        if step.kind == "clocked":
            return _reply("mark", "typed", "mark")
        if step.reading is not None:
            return self._reading(s)
        if step.spelling is not None:
            ordered = self.moves.units.get(step.spelling.match, "")
            text = "".join(c for c in ordered.upper() if c.isalnum())[-4:] or "A123"
            text = text[: step.spelling.most].ljust(step.spelling.least, "1")
            return _reply(spelling_words(text).lower(), "typed", "spelling")
        if step.date is not None:
            text = day_of(ISSUED if step.date.valid else VALID, step.date)
            return _reply(date_words(text).lower(), "typed", "date")
        words = {"done": "done", "verdict": "pass", "group": "all good", "attest": "affirm"}
        return _reply(words.get(step.kind, "done"), "typed", "good")

    def _in_breath(self, s: State, step: Step, target: Step, n: int) -> str:
        if step.kind == "answers":
            return self._named(s, step, target, n).said
        return step.good[0]

    def _named(self, s: State, step: Step, target: Step, n: int) -> Move:
        answers = step.variants[s.variant if len(step.variants) > 1 else 0].answers
        good = [x for x in answers if not (x.again or x.defect or x.repeat or x.bad)]
        if not good:  # a step of defects alone: any answer goes on
            return _reply(answers[n % len(answers)].said[0], "typed", "answer")
        lacking = {
            leaf
            for need in target.needs
            for leaf in self.compiled.need(need).leaves()
            if leaf not in s.facts
        }
        good.sort(key=lambda x: (-len(lacking & set(x.gives)), -len(x.gives)))
        return _reply(good[n % len(good)].said[0], "typed", "answer")

    def _reading(self, s: State) -> Move:
        words = self.moves._readings(s)
        return _reply(words[0] if words else "one", "typed", "number")


def _end_of(s: State) -> Move:
    return _prompt(f"{s.phase}:{s.step}:{s.asked.get(s.step, 0)}")


def _passed(actions: Sequence[a.Action], step: str, stop: bool) -> bool:
    for action in actions:
        if isinstance(action, a.Keep):
            record = action.record
            if isinstance(record, r.StepStarted) and record.step == step:
                return True
            if isinstance(record, r.Answered) and record.step == step:
                return record.outcome == "blocked"
            if stop and isinstance(record, r.Finished) and record.outcome == "complete":
                return True
    return False


# -- the dialogue of a breach ----------------------------------------------------------------------


def _shortened(proof: Proof, found: Found) -> Found:
    """The same breach with every move left out that is not needed for it."""
    if found.spoiled or len(found.moves) < 2 or found.breach.invariant not in _BY_TURN:
        return found
    moves = [m for m in found.moves if m.kind != "prompt" or m.meaning == "another sentence"]
    if found.moves[-1].kind == "prompt" and moves[-1:] != list(found.moves[-1:]):
        moves.append(found.moves[-1])
    size = max(1, len(moves) // 2)
    while size:
        at = 0
        while at < len(moves) - 1:
            fewer = moves[:at] + moves[min(at + size, len(moves) - 1) :]
            again = _replayed(proof, fewer, found.breach.invariant)
            if again is not None:
                found, moves = again, fewer
            else:
                at += size
        size //= 2
    return _replayed(proof, moves, found.breach.invariant) or found


_BY_TURN = frozenset(CLAIMS) - {"reached", "joined", "cleared", "parked", "endless talk"}


def _replayed(proof: Proof, moves: Sequence[Move], invariant: str) -> Found | None:
    """The first breach of the invariant along these moves; sentences end by themselves."""
    node, made = _begin(proof), list[Move]()
    for move in _with_ends(proof, node, moves):
        now = node.now + move.jump_ms
        event = move.event(now)
        made.append(move)
        try:
            state, actions = decide(proof.compiled, node.state, event)
        except Exception as error:
            breach = Breach("fault", f"the program fails: {error!r}")
            return Found(breach, tuple(made)) if invariant == "fault" else None
        for breach in proof.oracle.check(node.state, event, actions, state):
            if breach.invariant == invariant:
                return Found(breach, tuple(made))
        node.__dict__.update(state=state, now=now)  # the generator looks at it
    return None


def _with_ends(proof: Proof, node: Node, moves: Iterable[Move]) -> Iterator[Move]:
    for move in moves:
        for _ in range(MOST_TALK):
            if node.state.phase not in SPOKEN or move.meaning in ("early", "another sentence"):
                break
            if move.kind in ("prompt", "lost", "fault", "sound"):
                break
            yield _end_of(node.state)
        if move.kind == "prompt" and node.state.phase in SPOKEN and " " not in move.meaning:
            move = _end_of(node.state)
        yield move


def _begin(proof: Proof) -> Node:
    state, _ = decide(proof.compiled, State(), e.Started(at=_at(0), opened=proof.opened))
    return Node(state, 0)


def dialogue(proof: Proof, found: Found) -> list[str]:
    """The breach as it would be heard: "program: ..." and "driver: ..." lines."""
    lines: list[str] = []
    state = State()
    event: e.Event = e.Started(at=_at(0), opened=proof.opened)
    now = 0
    for move in (None, *found.moves):
        if move is not None:
            now += move.jump_ms
            event = move.event(now)
            if move.kind in ("reply", "doubtful", "memo"):
                lines.append(f"driver: {move.said}")
            elif move.kind != "prompt":
                lines.append(f"({move.said})")
        try:
            state, actions = decide(proof.compiled, state, event)
        except Exception as error:
            lines.append(f"(the program fails: {error})")
            break
        said = [x.text for x in actions if isinstance(x, a.Say)]
        if said:
            lines.append(f"program: {' '.join(said)}")
    if found.spoiled:
        lines.append(f"(the last move is made {found.spoiled})")
    return lines


# -- telling it ------------------------------------------------------------------------------------


def proof_summary(proof: Proof) -> dict[str, object]:
    """The result for machines: JSON values only."""
    graph = proof.graph
    return {
        "checklist": proof.compiled.id,
        "steps": len(proof.compiled.steps),
        "reduced": proof.reduced,
        "deep": proof.deep,
        "carried answers": len(proof.opened.carried),
        "carried defects": len(proof.opened.defects),
        "states": len(graph.nodes),
        "classes": graph.classes,
        "transitions": graph.transitions,
        "spoiled": graph.spoiled,
        "seconds": round(proof.seconds, 1),
        "all explored": not graph.cut,
        "holds": proof.holds,
        "most replies to end": proof.most_to_end,
        "verdicts": proof.verdicts,
        "breaches": [
            {
                "invariant": found.breach.invariant,
                "what": found.breach.what,
                "dialogue": dialogue(proof, found),
            }
            for found in proof.found
        ],
    }


def proof_report(proof: Proof) -> list[str]:
    """The result for a reader."""
    graph, compiled = proof.graph, proof.compiled
    how = f"at most {proof.deep} states of a class" if proof.reduced else "not reduced"
    how = "one state of a class" if proof.reduced and proof.deep == 1 else how
    lines = [
        f"{compiled.title}: {len(compiled.steps)} steps, {how}",
        f"Opened with {len(proof.opened.carried)} carried answers and "
        f"{len(proof.opened.defects)} open defects of an earlier inspection",
        f"{len(graph.nodes)} states of {graph.classes} classes, "
        f"{graph.transitions} transitions, {proof.seconds:.1f} s of processor; "
        f"{graph.spoiled} turns tried with spoiled memory",
        f"{proof.holds} holds cleared; ended from anywhere within {proof.most_to_end} replies",
        "",
    ]
    for claim, kept in proof.verdicts.items():
        lines.append(f"{'kept  ' if kept else 'BROKEN'} {claim}: {CLAIMS[claim]}")
    for found in proof.found:
        lines += ["", f"{found.breach.invariant}: {found.breach.what}"]
        lines += [f"  {line}" for line in dialogue(proof, found)]
    if graph.cut:
        lines += ["", f"Not all was explored: more than {len(graph.nodes)} states."]
    lines += [
        "",
        "This is about accepted replies. Which sound is taken for which reply is measured, not",
        "proven. What is explored and what is left out stands in docs/proof.md.",
    ]
    return lines
