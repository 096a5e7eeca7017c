"""Seeded faults: made by operators over the checklist and the core, and who notices them.

    python tests/long/mutants.py [--of NAME] [--every N] [--list]

Operators over the compiled checklist (a fault of the compiler or of what it is told): the author's
model stays as written, so ``prove`` must see that the walk is no longer what was written. Operators
over the core: every row of the transition table, and the key functions of the session. A fault is
noticed when ``prove`` breaks a claim that it keeps without the fault. Nothing is picked by hand:
each operator is applied wherever it can be.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import partial
from itertools import pairwise
from typing import Any

from tests.session import breath as br
from tests.session import day as dy
from tests.session import small as sm
from voicecheck.authoring.oracle import Oracle
from voicecheck.authoring.prove import opened_for, prove
from voicecheck.checklist.compile import Context, compile_checklist
from voicecheck.checklist.compiled import Compiled, Item, Reckoning, Step
from voicecheck.checklist.load import load_checklist, load_hazards, load_vehicle
from voicecheck.run.library import load_sources
from voicecheck.session import answering, facts, fold, reckoning, rules, session, state, turn
from voicecheck.session.replying import HARMLESS, item_reading, meanings
from voicecheck.session.state import TABLE, Row

DAY_RECORDS = ("marked", "timing done", "reckoned")
ELSE = "Something else?"
NODES = 4000  # the fewest departures come first; more is not looked at in a faulty walk


@dataclass(frozen=True)
class Written:
    """A checklist as its author wrote it, and its oracle."""

    name: str
    compiled: Compiled
    oracle: Oracle
    context: Context


@dataclass(frozen=True)
class Fault:
    operator: str
    where: str
    compiled: Compiled | None = None
    patch: Callable[[], Any] | None = None


def written(name: str) -> Written:
    if name == "small":
        texts = sm.CHECKLIST, sm.HAZARDS, sm.VEHICLE
    elif name == "breath":
        texts = br.CHECKLIST, br.HAZARDS, sm.VEHICLE
    elif name == "day":
        texts = dy.CHECKLIST, sm.HAZARDS, dy.VEHICLE
    else:
        sources = load_sources(name, "tractor-semitrailer")
        texts = sources.checklist, sources.hazards, sources.vehicle
    model, lines = load_checklist(texts[0], name)
    hazards, _ = load_hazards(texts[1], "hazards.yaml")
    context = Context(load_vehicle(texts[2], "vehicle.yaml"))
    compiled = compile_checklist(model, lines, name, hazards, context)
    return Written(name, compiled, Oracle.of(model, hazards, context), context)


# -- faults in the checklist -----------------------------------------------------------------------


def _with(those: tuple[Any, ...], n: int, instead: object) -> tuple[Any, ...]:
    """The same with another one in the ``n``-th place."""
    return (*those[:n], instead, *those[n + 1 :])


def checklist_faults(w: Written) -> Iterator[Fault]:
    c = w.compiled

    def step_fault(operator: str, step: Step, where: str, **changes: Any) -> Fault:
        steps = tuple(replace(s, **changes) if s.id == step.id else s for s in c.steps)
        return Fault(operator, f"{step.id}: {where}", replace(c, steps=steps))

    def answer_fault(operator: str, step: Step, v: int, n: int, **changes: Any) -> Fault:
        variant = step.variants[v]
        answers = _with(variant.answers, n, replace(variant.answers[n], **changes))
        return variant_fault(operator, step, v, variant.answers[n].id, answers=answers)

    def variant_fault(operator: str, step: Step, v: int, where: str, **changes: Any) -> Fault:
        variants = _with(step.variants, v, replace(step.variants[v], **changes))
        return step_fault(operator, step, where, variants=variants)

    def another_defect(wrong: tuple[tuple[str, str], ...], n: int) -> tuple[tuple[str, str], ...]:
        finding, found = wrong[n]
        return _with(wrong, n, (finding, next(d for d in c.defects if d != found)))

    def item_fault(operator: str, step: Step, item: Item, what: str, **changes: Any) -> Fault:
        items = tuple(replace(x, **changes) if x == item else x for x in step.items)
        return step_fault(operator, step, f"{item.name} {what}", items=items)

    for step in c.steps:
        for need in step.needs:
            rest = tuple(x for x in step.needs if x != need)
            yield step_fault("drop a need", step, need, needs=rest)
        for fact in step.gives:
            rest = tuple(x for x in step.gives if x != fact)
            yield step_fault("drop a give", step, fact, gives=rest)
        for fact in step.ends:
            rest = tuple(x for x in step.ends if x != fact)
            yield step_fault("drop an end", step, fact, ends=rest)
        for v, variant in enumerate(step.variants):
            given = tuple(dict.fromkeys(f for x in variant.answers for f in x.gives))
            for n, answer in enumerate(variant.answers):
                for fact in answer.gives:
                    rest = tuple(x for x in answer.gives if x != fact)
                    yield answer_fault("drop a give", step, v, n, gives=rest)
                if given and not answer.gives:
                    yield answer_fault("give by a wrong answer", step, v, n, gives=given,
                                       again="", third="", defect="", repeat=False,
                                       bad=False)  # fmt: skip
                if answer.again:
                    yield answer_fault("again is good", step, v, n, again="", third="")
                if answer.third:
                    yield answer_fault("no third time", step, v, n, third="")
                if answer.defect:
                    yield answer_fault("a defect is good", step, v, n, defect="")
                if answer.bad:
                    yield answer_fault("bad is good", step, v, n, bad=False)
        if step.confirm or step.caution:
            yield step_fault("may be cut short", step, "", confirm=False, caution="")
        if step.hazard:
            yield step_fault("no hazard", step, step.hazard, hazard="")
        if step.together:
            ids = step.together.steps
            yield step_fault("asked alone", step, "", together=None)
            for what, others in (
                ("without the last", ids[:-1]),
                ("with the next", (*ids, c.steps[c.index(ids[-1]) + 1].id)),
            ):
                if len(others) > 1:
                    together = replace(step.together, steps=others)
                    yield step_fault("asked with others", step, what, together=together)
            alone = replace(step.together, ask=step.question, brief=step.question)
            yield step_fault("another sentence", step, "", together=alone)
        if step.reading:
            if step.reading.limit:
                yield step_fault("no limit", step, "", reading=replace(step.reading, limit=""))
            if step.reading.outside:
                reading = replace(step.reading, outside="")
                yield step_fault("outside finds nothing", step, "", reading=reading)
            if step.reading.seconds:
                reading = replace(step.reading, seconds=1)
                yield step_fault("the interval is short", step, "", reading=reading)
            if step.reading.given:
                yield step_fault("nothing given", step, "", reading=replace(step.reading, given=()))
            if step.reading.second_ask:
                reading = replace(step.reading, second_ask=ELSE)
                yield step_fault("another question", step, "the second", reading=reading)
        for v, variant in enumerate(step.variants):
            yield variant_fault("another question", step, v, f"ask {v}", ask=ELSE)
            if variant.brief:
                yield variant_fault("another question", step, v, f"brief {v}", brief=ELSE)
            for n, (one, two) in enumerate(pairwise(variant.answers)):
                turned = _with(variant.answers, n, replace(one, said=two.said))
                turned = _with(turned, n + 1, replace(two, said=one.said))
                yield variant_fault("words of another answer", step, v, one.id, answers=turned)
        if step.caution:
            yield step_fault("another caution", step, "", caution="Mind the step.")
        if step.explain:
            yield step_fault("another explanation", step, "", explain="Nothing.")
        if step.not_fitted:
            yield step_fault("never not fitted", step, "", not_fitted=False)
        if step.date and step.date.valid:
            longer = replace(step.date, valid="36 months")
            yield step_fault("valid for longer", step, "", date=longer)
        if step.spelling and step.spelling.match:
            yield step_fault("nothing to match", step, "",
                             spelling=replace(step.spelling, match=""))  # fmt: skip
        if step.date and step.date.overdue:
            yield step_fault("never overdue", step, "", date=replace(step.date, overdue=""))
        for n, (finding, _) in enumerate(step.wrong):
            yield step_fault("another defect", step, finding, wrong=another_defect(step.wrong, n))
        for item in step.items:
            for n, (finding, _) in enumerate(item.wrong):
                wrong = another_defect(item.wrong, n)
                yield item_fault("another defect", step, item, finding, wrong=wrong)
            for finding, reading in item.measured:
                for operator, changed in (
                    ("no limit", replace(reading, limit="")),
                    ("outside finds nothing", replace(reading, outside="")),
                ):
                    yield item_fault(operator, step, item, finding, measured=((finding, changed),))
    for name, lasting in c.facts.items():
        changes: dict[str, dict[str, Any]] = {
            "lasting": {"lasts": "until left"},
            "until left": {"lasts": "lasting"},
            "time": {"seconds": lasting.seconds * 10},
        }
        other = replace(lasting, **changes[lasting.lasts])
        yield Fault("another lifetime", name, replace(c, facts={**c.facts, name: other}))
        if lasting.lasts == "time":
            ever = replace(lasting, lasts="lasting", seconds=0)
            yield Fault("lasts for ever", name, replace(c, facts={**c.facts, name: ever}))
    for pair in c.exclusive:
        rest_pairs = tuple(x for x in c.exclusive if x != pair)
        yield Fault("not exclusive", " / ".join(pair), replace(c, exclusive=rest_pairs))
    for n, part in enumerate(c.reckonings):
        parts: tuple[tuple[str, tuple[Reckoning, ...]], ...] = (
            ("a reckoning lost", ()),
            ("a reading lost", (replace(part, steps=part.steps[1:]),)),
            ("a reckoning finds nothing", (replace(part, outside=""),)),
        )
        for operator, instead in parts:
            reckonings = (*c.reckonings[:n], *instead, *c.reckonings[n + 1 :])
            yield Fault(operator, part.id, replace(c, reckonings=reckonings))
    for id, defect in c.defects.items():
        for hazard in defect.scope:
            scope = tuple(x for x in defect.scope if x != hazard)
            narrower = replace(defect, scope=scope)
            yield Fault("drop a scope", f"{id}: {hazard}",
                        replace(c, defects={**c.defects, id: narrower}))  # fmt: skip
        unsaid = replace(defect, text="Something.")
        yield Fault("another text", id, replace(c, defects={**c.defects, id: unsaid}))
        if defect.severity == "major":
            minor = replace(defect, severity="minor")
            yield Fault("minor for major", id, replace(c, defects={**c.defects, id: minor}))
            who: Any = "mechanic" if defect.mended_by == "driver" else "driver"
            mended = replace(defect, mended_by=who)
            yield Fault("mended by another", id, replace(c, defects={**c.defects, id: mended}))
    for name, hazard_ in c.hazards.items():
        if not any(s.hazard == name for s in c.steps):
            continue
        other_safe = replace(hazard_, safe="Mind it.")
        unlike = replace(c, hazards={**c.hazards, name: other_safe})
        yield Fault("another make-safe sentence", name, unlike)
        if not hazard_.never_blocked:
            free = replace(hazard_, never_blocked=True)
            yield Fault("never blocked", name, replace(c, hazards={**c.hazards, name: free}))


# -- faults in the core ----------------------------------------------------------------------------


@contextmanager
def _set(*places: tuple[Any, str, Any]) -> Iterator[None]:
    before = [(owner, name, getattr(owner, name)) for owner, name, _ in places]
    try:
        for owner, name, value in places:
            setattr(owner, name, value)
        yield
    finally:
        for owner, name, value in before:
            setattr(owner, name, value)


@contextmanager
def _row(key: Any, row: Row | None) -> Iterator[None]:
    table: Any = TABLE
    before = table[key]
    try:
        if row is None:
            del table[key]
        else:
            table[key] = row
        yield
    finally:
        table[key] = before


def used_rows(w: Written) -> set[Any]:
    """The rows that any turn of the exploration uses; the others can do neither good nor harm."""
    used: set[Any] = set()
    classify = session.classify

    def watched(turn_: Any, event: Any) -> Any:
        kind, came = classify(turn_, event)
        used.add((turn_.state.phase, kind))
        return kind, came

    with _set((session, "classify", watched)):
        prove(w.compiled, w.oracle, opened_for(w.compiled, w.context), shorten=False)
    return used & set(TABLE)


def table_faults(used: set[Any]) -> Iterator[Fault]:
    keys = [key for key in TABLE if key in used]
    every = frozenset(state.Phase)
    for n, key in enumerate(keys):
        yield Fault("drop a row", " + ".join(key), patch=partial(_row, key, None))
        same = [k for k in keys if k[0] is key[0] and TABLE[k].rule != TABLE[key].rule]
        if same:
            neighbour = TABLE[same[n % len(same)]].rule
            row = Row(neighbour, every)
            where = f"{' + '.join(key)}: {neighbour}"
            yield Fault("a neighbour's rule", where, patch=partial(_row, key, row))


def core_faults() -> Iterator[Fault]:
    """The key functions: each returns nothing, everything, or forgets its last part."""

    def function(name: str, value: Any, what: str) -> Iterator[Fault]:
        owners = [m for m in (facts, turn, rules, answering, session, fold) if hasattr(m, name)]
        yield Fault("a key function", f"{name}: {what}",
                    patch=lambda: _set(*((m, name, value) for m in owners)))  # fmt: skip

    missing, in_use, rests_on = facts.missing, facts.in_use, facts.rests_on
    falls_with, ended_by = facts.falls_with, facts.ended_by
    yield from function("missing", lambda c, s, step: (), "nothing is missing")
    yield from function("missing", lambda c, s, step: missing(c, s, step)[1:], "the first forgot")
    yield from function("missing", lambda c, s, step: missing(c, s, step)[:1], "only the first")
    yield from function("in_use", lambda c, step: frozenset(), "nothing is in use")
    yield from function("in_use", lambda c, step: frozenset(c.facts), "all is in use")
    yield from function("rests_on", lambda c, s, step: (), "rests on nothing")
    yield from function("rests_on", lambda c, s, step: rests_on(c, s, step)[1:], "one forgot")
    yield from function("falls_with", lambda c, s, gone: (), "nothing falls")
    yield from function("falls_with", lambda c, s, gone: falls_with(c, s, gone)[:1], "one falls")
    yield from function("ended_by", lambda s, names: (), "nothing ends")
    yield from function("ended_by", lambda s, names: ended_by(s, names)[1:], "one does not end")
    del in_use
    T: Any = turn.Turn
    methods: list[tuple[str, Any, str]] = [
        ("expire", lambda self: None, "nothing expires"),
        ("end_facts", lambda self, why, *lasting: None, "nothing ends when left"),
        ("make_safe", lambda self, why: None, "nothing is said"),
        ("stops_before", lambda self, step: (), "nothing stops"),
        ("unanswered", lambda self: (), "nothing is open"),
        ("withdraw", _withdraw_plain, "not transitive"),
        ("spoken_name", lambda self: "any", "another name"),
        ("hold_precondition", lambda self, step, lacking: self.start(step), "goes on"),
        ("hold_stop", lambda self, step, stops: self.start(step), "goes on"),
        ("hold_unanswered", lambda self, step: self.start(step), "goes on"),
        ("hold", _hold_open, "may be cut short"),
        ("defect", lambda self, id, step, item, reply: "minor", "is not recorded"),
        ("giver", lambda self, step, lacking: None, "nobody gives"),
        ("giver", lambda self, step, lacking: self.compiled.steps[0], "the first step gives"),
    ]
    for name, value, what in methods:
        changed = partial(_set, (T, name, value))
        yield Fault("a key function", f"Turn.{name}: {what}", patch=changed)
    evolve: Any = fold._EVOLVE
    for record in evolve:

        @contextmanager
        def nothing(record: Any = record) -> Iterator[None]:
            before = evolve[record]
            evolve[record] = lambda compiled, s, r: s
            try:
                yield
            finally:
                evolve[record] = before

        yield Fault("a record without effect", record.kind, patch=nothing)
    for name in ("AWAY_S",):
        yield Fault("a key figure", name, patch=partial(_set, (rules, name, 10**6)))
    for meaning in ("answer", "pass", "done", "all good", "command:not done", "command:cannot see"):
        more = partial(_set, (rules, "HARMLESS", HARMLESS | {meaning}))
        yield Fault("a key figure", f"{meaning} is harmless", patch=more)
    yield Fault("a key figure", "PLAIN", patch=lambda: _set((session, "PLAIN", frozenset())))


def _withdraw_plain(self: Any, steps: Any, why: str) -> Any:
    from voicecheck.session import records as r

    first = tuple(id for id in steps if id in self.state.answers)
    for id in first:
        self.keep(r.Withdrawn(at=self.at, step=id, why=why))
    return tuple(sorted(first, key=self.compiled.index))


def _hold_open(self: Any, kind: str, step: Any, lacking: Any, goes_to: str, text: str) -> None:
    self.start(step) if kind == "nothing" else None
    from voicecheck.session import records as r

    self.keep(r.Hold(at=self.at, hold=kind, step=step.id, missing=lacking, goes_to=goes_to,
                     text=text))  # fmt: skip
    self.say(text)
    self.listen()


# -- running ---------------------------------------------------------------------------------------


def noticed(w: Written, fault: Fault, nodes: int = NODES) -> str:
    """The claim that the fault breaks, "" when it is not noticed."""
    compiled = fault.compiled or w.compiled
    opened = opened_for(w.compiled, w.context)

    def look() -> str:
        try:
            proof = prove(compiled, w.oracle, opened, most_nodes=nodes, stop_at_first=True,
                          shorten=False)  # fmt: skip
        except Exception as error:
            return f"fails: {type(error).__name__}"
        return proof.found[0].breach.invariant if proof.found else ""

    if fault.patch is None:
        return look()
    with fault.patch():
        return look()


def faults(w: Written) -> list[Fault]:
    """All faults of a checklist; those of the core belong to the two small ones."""
    found = list(checklist_faults(w))
    if w.name == "small":
        used = used_rows(w)
        unused = [" + ".join(key) for key in TABLE if key not in used]
        print(f"{len(unused)} rows of the table are never used: {'; '.join(unused)}")
        found += [*table_faults(used), *core_faults()]
    if w.name == "breath":
        found += breath_faults()
    if w.name == "day":
        used = {key for key in used_rows(w) if key[0] is state.Phase.CLOCKING}
        found += [*table_faults(used), *day_faults()]
    return found


def _within(judged: Any) -> Any:
    return replace(judged, verdict="within") if judged.verdict == "outside" else judged


def day_faults() -> Iterator[Fault]:
    """Of the core, what only the second small checklist uses."""
    for fault in core_faults():
        if fault.where in DAY_RECORDS:
            yield fault
    due, evolved = reckoning.due, fold._resting_on
    judged, asked_of = answering._by_limit, item_reading

    def all_within(*what: Any) -> Any:
        return _within(judged(*what))

    def another_item(step: Step, about: str) -> Any:
        name, finding, spec = asked_of(step, about)
        return "another " + name, finding, spec

    figures: list[tuple[Any, str, Any, str]] = [
        (rules, "MARKS_APART_MS", 0, "one mark is two"),
        (rules, "HARMLESS", HARMLESS - {"mark"}, "a doubtful mark is read back"),
        (rules, "unclear", rules.refuse, "talk between the marks"),
        (answering, "due", lambda *x: (), "nothing is reckoned"),
        (answering, "due", lambda *x: due(*x)[1:], "one is not reckoned"),
        (answering, "due", lambda *x: tuple((y, _within(z)) for y, z in due(*x)), "all is within"),
        (fold, "_resting_on", lambda compiled, step: (), "figures stand for ever"),
        (fold, "_resting_on", lambda compiled, step: evolved(compiled, step)[1:], "one stands"),
        (answering, "_by_limit", all_within, "a figure is within"),
        (answering, "item_reading", another_item, "the figure is of another item"),
        (answering, "last_valid", lambda issued, valid: "2099-12", "nothing is overdue"),
    ]
    for owner, name, value, what in figures:
        patch = lambda owner=owner, name=name, value=value: _set((owner, name, value))  # noqa: E731
        yield Fault("a key figure", f"{name}: {what}", patch=patch)


def breath_faults() -> Iterator[Fault]:
    """Of the core, what makes and takes a joint reply."""
    T = turn.Turn
    understood, ended = meanings, facts.ended_by
    said_before = T.said_before

    def asked(self: Any, step: Step, test: Callable[[Any, tuple[str, ...]], bool]) -> Any:
        ids = step.together.steps if step.together else ()
        return ids if ids and test(self, ids) else ()

    def next_in_line(self: Any, ids: tuple[str, ...]) -> bool:
        return tuple(s.id for s in self.ahead()[: len(ids)]) == ids

    def open_gates(self: Any, ids: tuple[str, ...]) -> bool:
        steps = [self.compiled.step(id) for id in ids[1:]]
        return not any(facts.missing(self.compiled, self.state, s) for s in steps)

    def unstopped(self: Any, ids: tuple[str, ...]) -> bool:
        return not any(self.stops_before(self.compiled.step(id)) for id in ids[1:])

    def whatever_was_answered(self: Any, step: Step) -> bool:
        ids, self.said_with = self.said_with, self.said_with[1:]
        return bool(ids[:1] == (step.id,))

    def nothing_spoken(self: Any, step: Step) -> bool:
        more = bool(self.said_with)
        return said_before(self, step) or more

    def all_of_it(turn_: Any, step: Step, reply: Any) -> None:
        ids = turn_.state.breath or (step.id,)
        for id, meaning in zip(ids, understood(reply.meaning), strict=False):
            answering._settle(turn_, turn_.compiled.step(id), replace(reply, meaning=meaning))

    class Harmless(frozenset[str]):
        def __contains__(self, meaning: object) -> bool:
            return super().__contains__(meaning) or str(meaning).startswith("joint:")

    def first_ends(state_: Any, names: Any) -> Any:
        return ended(state_, sorted(names)[:0])

    def brief_prompt(self: Any, step: Step, with_place: bool = True) -> str:
        return step.variants[0].ask

    made: list[tuple[Any, str, Any, str]] = [
        (T, "breath", lambda self, step: (), "never together"),
        (T, "breath", lambda self, step: asked(self, step, lambda *x: True), "always together"),
        (T, "breath", lambda self, step: asked(self, step, next_in_line), "no needs, no stops"),
        (T, "breath", lambda self, step: asked(self, step, open_gates), "answered, stopped ones"),
        (T, "breath",
         lambda self, step: asked(self, step, lambda *x: open_gates(*x) and unstopped(*x)),
         "answered ones"),
        (T, "breath",
         lambda self, step: asked(self, step, lambda *x: unstopped(*x) and next_in_line(*x)),
         "no needs"),
        (T, "said_before", lambda self, step: False, "each question is spoken"),
        (T, "said_before", whatever_was_answered, "behind one that is not good"),
        (T, "said_before", nothing_spoken, "another question is left out"),
        (T, "prompt", brief_prompt, "the first question alone"),
        (answering, "meanings", lambda m: understood(m)[::-1], "in the other order"),
        (answering, "meanings", lambda m: understood(m)[:1], "the first part alone"),
        (answering, "meanings", lambda m: (understood(m)[0],) * len(understood(m)),
         "each as the first"),
        (rules, "settle", all_of_it, "no gate between"),
        (rules, "HARMLESS", Harmless(HARMLESS), "a doubtful one is taken"),
        (turn, "ended_by", first_ends, "nothing is ended"),
    ]  # fmt: skip
    for owner, name, value, what in made:
        patch = lambda owner=owner, name=name, value=value: _set((owner, name, value))  # noqa: E731
        yield Fault("a breath", f"{name}: {what}", patch=patch)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--of", default="small", help="small, day, breath, or a shipped one")
    parser.add_argument("--every", type=int, default=1, help="only every Nth fault")
    parser.add_argument("--first", type=int, default=0, help="and the first of them")
    parser.add_argument("--list", action="store_true")
    given = parser.parse_args()
    w = written(given.of)
    every = faults(w)[given.first :: given.every]
    if given.list:
        print("\n".join(f"{f.operator}: {f.where}" for f in every))
        return 0
    made, killed = Counter[str](), Counter[str]()
    claims = Counter[str]()
    survivors: list[Fault] = []
    began = time.process_time()
    for fault in every:
        claim = noticed(w, fault)
        made[fault.operator] += 1
        killed[fault.operator] += bool(claim)
        claims[claim or "not noticed"] += 1
        if not claim:
            survivors.append(fault)
            print(f"not noticed: {fault.operator}: {fault.where}", flush=True)
    for operator in made:
        print(f"{killed[operator]:4} of {made[operator]:4}  {operator}")
    total, caught = sum(made.values()), sum(killed.values())
    print(f"{caught} of {total} noticed ({100 * caught / total:.1f} %), {w.name}, "
          f"{time.process_time() - began:.0f} s of processor")  # fmt: skip
    print("by claim: " + ", ".join(f"{claim} {n}" for claim, n in claims.most_common()))
    return 0 if caught >= 0.95 * total else 1


if __name__ == "__main__":
    sys.exit(main())
