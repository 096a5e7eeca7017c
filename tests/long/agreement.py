"""Reduced against unreduced exploration on random checklists.

    python tests/long/agreement.py [FIRST] [LAST] [MOST NODES]

A checklist whose unreduced exploration is larger than MOST NODES is compared one way: what was
found of it unreduced must be found reduced too.
"""

from __future__ import annotations

import sys
import time
from collections import Counter

from tests.authoring.random_checklists import proved


def main(first: int = 0, last: int = 500, most: int = 1200) -> int:
    count, sizes, broken = Counter[str](), Counter[int](), Counter[str]()
    began = time.process_time()
    for seed in range(first, last):
        full = proved(seed, reduced=False, most_nodes=most)
        if full is None:
            count["not compiled"] += 1
            continue
        reduced = proved(seed, reduced=True, most_nodes=1_000_000)
        assert reduced is not None
        mine = {claim for claim, kept in full.verdicts.items() if not kept}
        theirs = {claim for claim, kept in reduced.verdicts.items() if not kept}
        whole = not full.graph.cut
        same = mine == theirs if whole else mine - {"reached"} <= theirs
        count[("whole" if whole else "in part") + (", agree" if same else ", DIFFER")] += 1
        if whole:
            sizes[len(full.compiled.steps)] += 1
            broken.update(mine or {"nothing broken"})
        if not same:
            print(f"seed {seed}: unreduced {sorted(mine)}, reduced {sorted(theirs)}", flush=True)
    print(", ".join(f"{n} {what}" for what, n in sorted(count.items())))
    print(
        "steps of those explored whole: " + ", ".join(f"{k}: {n}" for k, n in sorted(sizes.items()))
    )
    print("broken in those: " + ", ".join(f"{k} {n}" for k, n in broken.most_common()))
    print(f"{time.process_time() - began:.0f} s of processor")
    return 1 if any("DIFFER" in what for what in count) else 0


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:])))
