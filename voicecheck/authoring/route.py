"""The walking order: how often it changes its place, and how often it would have to.

Places have no coordinates yet, so a walk is measured by its changes of place. A step must stay
behind another where the author wrote ``after``, and where the two touch the same fact (one gives,
needs or ends it): their written order is kept. The best order is found exactly, by trying places
breadth first; at a place everything that may be done there is done, which never makes a walk
longer. Since "just before" is not kept, the best is a lower bound.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise

from voicecheck.checklist.compiled import Compiled, Step
from voicecheck.checklist.vehicle import Position

MOST_STATES = 200_000


def changes(steps: Sequence[Step]) -> int:
    """How often the place changes, in this order."""
    return sum(a.place != b.place for a, b in pairwise(steps))


def crossings(positions: Sequence[Position]) -> int:
    """How often a list over the vehicle changes from one side of it to the other; 1 is enough."""
    sides = [p.given["side"] for p in positions if "side" in p.given]
    return sum(a != b for a, b in pairwise(sides))


def best_changes(
    compiled: Compiled, steps: Sequence[Step], after: Mapping[str, tuple[str, ...]]
) -> tuple[int, list[str]] | None:
    """The fewest changes and the places in that order; None when too many orders are possible."""
    before = _before(compiled, steps, after)
    places = list(dict.fromkeys(step.place for step in steps))
    at = {place: [n for n, s in enumerate(steps) if s.place == place] for place in places}
    everything = (1 << len(steps)) - 1

    def stay(done: int, place: str) -> int:
        grown = True
        while grown:
            grown = False
            for n in at[place]:
                if not done >> n & 1 and before[n] & ~done == 0:
                    done |= 1 << n
                    grown = True
        return done

    level: dict[tuple[int, str], list[str]] = {}
    for place in places:
        done = stay(0, place)
        if done:
            level[(done, place)] = [place]
    seen = set(level)
    count = 0
    while level:
        for (done, _), order in level.items():
            if done == everything:
                return count, order
        count += 1
        following: dict[tuple[int, str], list[str]] = {}
        for (done, here), order in level.items():
            for place in places:
                if place == here:
                    continue
                more = stay(done, place)
                if more != done and (more, place) not in seen:
                    seen.add((more, place))
                    following[(more, place)] = [*order, place]
        if len(seen) > MOST_STATES:
            return None
        level = following
    return None


def _before(
    compiled: Compiled, steps: Sequence[Step], after: Mapping[str, tuple[str, ...]]
) -> list[int]:
    """For each step the bits of those that must come before it."""
    gives = [
        {f.partition("@")[0] for f in (*s.gives, *(f for v in s.variants for x in v.answers
                                                   for f in x.gives))}
        for s in steps
    ]  # fmt: skip
    reads = [
        {leaf.partition("@")[0] for need in s.needs for leaf in compiled.need(need).leaves()}
        for s in steps
    ]
    ends = [set(s.ends) for s in steps]
    bits = []
    for n, step in enumerate(steps):
        bit = 0
        for m in range(n):
            changed = gives[m] | ends[m] | gives[n] | ends[n]
            shared = (gives[m] | reads[m] | ends[m]) & (gives[n] | reads[n] | ends[n]) & changed
            again = any(x.again == steps[m].id for v in step.variants for x in v.answers)
            written = steps[m].written in after.get(step.written, ())
            if shared or again or written:
                bit |= 1 << m
        bits.append(bit)
    return bits
