"""How soon a reply stops a prompt, on a sound card made of software.

``python -m tests.bench.barge_in [--times 10]``. From the first sample of the reply in the
microphone to the last one that comes out of the loudspeaker; the recorders' own buffers (20 ms) are
in it.
"""

from __future__ import annotations

import argparse
import os
import statistics

from tests.faults.echo import EchoYard
from tests.faults.test_echo import LONG


def once(words: str) -> float:
    with EchoYard() as yard:
        program = yard.run(LONG, "--headset")
        program.until(LONG)
        while yard.loud_at == 0.0:
            program.hear(0.05)
        program.hear(0.5)
        return yard.stopped_after(words)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--times", type=int, default=10)
    words = ("closed and locked", "spring brakes", "affirm", "nobody near")
    took = sorted(once(words[n % len(words)]) * 1000 for n in range(parser.parse_args().times))
    p95 = took[min(len(took) - 1, int(0.95 * len(took)))]
    print(f"{len(took)} replies: median {statistics.median(took):.0f} ms, 95th percentile "
          f"{p95:.0f}, least {took[0]:.0f}, most {took[-1]:.0f}; "
          f"load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")  # fmt: skip


if __name__ == "__main__":
    main()
