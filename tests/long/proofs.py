"""Every shipped checklist proven, as ``voicecheck prove`` does, for the vehicles that it is for.

    python tests/long/proofs.py [NAME ...]

One line each: states, transitions, processor time, kept or the claims that were broken. Exit status
1 when one was.
"""

from __future__ import annotations

import sys

from tests.long import mutants
from voicecheck.authoring.prove import opened_for, prove
from voicecheck.run.library import names


def main() -> int:
    broken = False
    for name in sys.argv[1:] or names("checklists"):
        written = mutants.written(name)
        proof = prove(
            written.compiled, written.oracle, opened_for(written.compiled, written.context)
        )
        wrong = [claim for claim, kept in proof.verdicts.items() if not kept]
        broken |= bool(wrong)
        print(
            f"{name}: {len(proof.graph.nodes)} states, {proof.graph.transitions} transitions, "
            f"{proof.seconds:.1f} s; {'broken: ' + ', '.join(wrong) if wrong else 'all kept'}",
            flush=True,
        )
    return int(broken)


if __name__ == "__main__":
    sys.exit(main())
