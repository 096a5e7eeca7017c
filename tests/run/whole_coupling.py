"""The drive "all-good" by the real ``run --microphone``, in real time, on a virtual sound card.

``python -m tests.run.whole_coupling FOLDER`` puts the inspection there, what was printed into
``talk`` and the exit status into ``status``, the latter as the last.
"""

from __future__ import annotations

import sys
from pathlib import Path

from tests.run.cli_process import ROOT
from tests.run.yard import Card, Program, drive
from voicecheck.run.driver import DriveModel, load_drive

DRIVE = ROOT / "audio_fixtures" / "all-good"
MOST_S = 1200.0


def script() -> DriveModel:
    return load_drive(str(DRIVE))[0]


def lead(folder: Path) -> None:
    model = script()
    with Card() as card:
        own = {f"XDG_{k}_HOME": str(folder / k) for k in ("CONFIG", "DATA", "CACHE")}
        card.env.update(own)
        program = Program(
            card, model.checklist, "--vehicle", model.vehicle, "--engine", "vosk",
            "--into", str(folder / "spoken"),
        )  # fmt: skip
        lines = drive(card, str(DRIVE), program, noise_db=None, most_s=MOST_S)
        program.process.kill()
        status = program.process.wait(30)
    (folder / "talk").write_text("\n".join(lines))
    (folder / "status.part").write_text(str(status))
    (folder / "status.part").rename(folder / "status")


if __name__ == "__main__":
    lead(Path(sys.argv[1]))
