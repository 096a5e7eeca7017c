"""The mean of several trained networks that began from the same weights.

Rules of this file. Weights, and the statistics of batch norm, are averaged as they are; the
networks must have been trained on from one network, or their units do not match.

    python -m training.average --out FOLDER FOLDER FOLDER ... [--share 1 1 2]
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path

from torch import Tensor

from training.network import read_weights, write_weights


def mean(states: Sequence[dict[str, Tensor]], shares: Sequence[float]) -> dict[str, Tensor]:
    """The weighted mean of the states of networks; counters are those of the first."""
    total = sum(shares)
    out = {}
    for name, first in states[0].items():
        if first.is_floating_point():
            parts = (s[name].double() * w / total for s, w in zip(states, shares, strict=True))
            out[name] = sum(parts, 0 * first.double()).float()
        else:
            out[name] = first
    return out


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folders", type=Path, nargs="+")
    parser.add_argument("--share", type=float, nargs="*", default=[])
    parser.add_argument("--out", type=Path, required=True)
    args = parser.parse_args()
    states = [read_weights(folder) for folder in args.folders]
    write_weights(mean(states, args.share or [1.0] * len(states)), args.out)


if __name__ == "__main__":
    main()
