"""A whole drive on a virtual sound card, through the real ``run --microphone``, unattended.

``python -m tests.long.yard [--drive all-good] [--engine vosk] [--noise-dbfs -38]``. Takes as long
as the coupling takes (about six minutes). Prints the outcome, the wall time and what was read
back; exit status 1 when the drive did not end as it was made to.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
import time
from pathlib import Path

from tests.run.yard import Card, Program, drive
from voicecheck.run.driver import load_drive


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--drive", default="all-good")
    parser.add_argument("--engine", default="vosk")
    parser.add_argument("--noise-dbfs", type=float, default=None)
    parser.add_argument("--most-s", type=float, default=1500)
    given = parser.parse_args()
    model, _ = load_drive(given.drive)
    began = time.monotonic()
    with tempfile.TemporaryDirectory() as parent, Card() as card:
        program = Program(
            card, model.checklist, "--vehicle", model.vehicle, "--into", parent,
            "--engine", given.engine,
        )  # fmt: skip
        lines = drive(card, given.drive, program, noise_db=given.noise_dbfs, most_s=given.most_s)
        program.process.wait(60)
        (folder,) = Path(parent).iterdir()
        report = json.loads((folder / "report.json").read_text())
    verdict = report["headline"]["verdict"]
    replies = sum(line.startswith("> ") for line in lines)
    read_back = sum(line.strip().startswith("I heard:") for line in lines)
    took = time.monotonic() - began
    print(f"{given.drive} with {given.engine}: {verdict}, {took:.0f} s")
    print(f"{replies} replies heard, {read_back} read back")
    if verdict != model.ends:
        print("\n".join(lines[-20:]))
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
