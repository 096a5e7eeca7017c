"""Reduced against unreduced exploration on random checklists and drivers, each compared whole.

    python tests/long/agreement.py [FIRST] [LAST] [--most NODES] [--jobs N]

How the sample is drawn stands in tests/authoring/random_checklists.py. A driver with whom the
unreduced exploration has more than NODES states is given up for a thinner one, up to ``THINNEST``
times; the thinnest may have fifty times as many, and what is still larger is not compared. Two
questions for each checklist:

1. With this driver, is the verdict on every claim the same reduced and unreduced?
2. What is found unreduced with this driver, is it found reduced with the driver who does all (as
   ``voicecheck prove`` explores)? For "reached" the other way round: who does more reaches more.

"Joined" is compared one way: what unreduced is never asked together must not be asked together
reduced. The reduced exploration meets fewer dialogues, so it may miss one (told, with its number).
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

from tests.authoring.random_checklists import drawn

THINNEST = 3
MOST = 4000


@dataclass(frozen=True)
class Compared:
    """The comparison of one seed. ``nodes`` of the unreduced exploration, ``classes`` reduced."""

    seed: int
    steps: int
    again: int
    thin: int
    everything: bool  # the driver does all, everywhere
    whole: bool
    nodes: int
    classes: int
    transitions: int
    unreduced: frozenset[str]
    reduced: frozenset[str]
    found: frozenset[str]  # reduced, with the driver who does all
    kinds: Counter[str]
    features: frozenset[str]

    @property
    def agree(self) -> bool:
        joined = frozenset({"joined"})
        if self.unreduced & joined and not self.reduced & joined:
            return False
        unreduced, reduced, found = (x - joined for x in (self.unreduced, self.reduced, self.found))
        less, more = unreduced - {"reached"}, found & {"reached"}
        return unreduced == reduced and less <= found and more <= unreduced


def compared(seed: int, most: int = MOST) -> Compared:
    one = drawn(seed)
    for thin in range(THINNEST + 1):
        driver = one.driver(thin)
        full = one.prove(False, most if thin < THINNEST else 50 * most, driver)
        if not full.graph.cut:
            break
    reduced, every = one.prove(True, driver=driver), one.prove(True)
    broken = lambda p: frozenset(claim for claim, kept in p.verdicts.items() if not kept)  # noqa: E731
    return Compared(
        seed, len(one.compiled.steps), one.again, thin, driver.pairs is None, not full.graph.cut,
        len(full.graph.nodes), len(reduced.graph.nodes), full.graph.transitions,
        broken(full), broken(reduced), broken(every), one.kinds(), frozenset(one.features()),
    )  # fmt: skip


def report(rows: list[Compared]) -> list[str]:
    """Histograms of the sample and of what was found."""
    whole = [row for row in rows if row.whole]
    per = lambda counter: ", ".join(f"{k}: {n}" for k, n in sorted(counter.items()))  # noqa: E731
    sizes = sorted(row.nodes for row in whole)
    nodes = Counter[int]()
    for row in whole:
        nodes[row.steps] += row.nodes
    count = Counter(row.steps for row in whole)
    kinds, features, broken = Counter[str](), Counter[str](), Counter[str]()
    for row in whole:
        kinds.update(row.kinds)
        features.update(row.features)
        broken.update(row.unreduced or {"nothing broken"})
    return [
        f"{len(rows)} drawn, {len(whole)} compared whole, "
        f"{sum(not row.agree for row in whole)} of them differ",
        f"steps: {per(count)}",
        f"driver who does all, by steps: {per(Counter(r.steps for r in whole if r.everything))}",
        f"thinner drivers: {per(Counter(row.thin for row in whole))}",
        f"checklists that did not compile, drawn anew: {sum(row.again for row in rows)}",
        "mean states unreduced, by steps: " + per({k: nodes[k] // count[k] for k in count}),
        f"states unreduced: median {sizes[len(sizes) // 2]}, greatest {sizes[-1]}, "
        f"sum {sum(sizes)}; reduced: sum {sum(row.classes for row in whole)}",
        f"transitions unreduced: {sum(row.transitions for row in whole)}",
        f"reply kinds (steps): {per(kinds)}",
        f"features (checklists): {per(features)}",
        "breaths that only the reduced exploration does not find asked together: "
        f"{sum('joined' in row.reduced - row.unreduced for row in whole)}",
        "broken, unreduced: " + ", ".join(f"{k} {n}" for k, n in broken.most_common()),
    ]  # fmt: skip


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("first", type=int, nargs="?", default=0)
    parser.add_argument("last", type=int, nargs="?", default=500)
    parser.add_argument("--most", type=int, default=MOST)
    parser.add_argument("--jobs", type=int, default=1)
    given = parser.parse_args()
    began = time.monotonic()
    rows: list[Compared] = []
    seeds = range(given.first, given.last)
    with ProcessPoolExecutor(given.jobs) as pool:
        for row in pool.map(compared, seeds, [given.most] * len(seeds)):
            rows.append(row)
            if not row.whole:
                print(f"seed {row.seed}: {row.steps} steps, not compared whole", flush=True)
            elif not row.agree:
                print(
                    f"seed {row.seed}: unreduced {sorted(row.unreduced)}, reduced "
                    f"{sorted(row.reduced)}, with the driver who does all {sorted(row.found)}",
                    flush=True,
                )
    print("\n".join(report(rows)))
    print(f"{time.monotonic() - began:.0f} s")
    return 0 if all(row.whole and row.agree for row in rows) else 1


if __name__ == "__main__":
    sys.exit(main())
