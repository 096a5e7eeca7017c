"""With several workers the whole coupling begins with them, and its test comes last.

It takes minutes of real time and hardly any of the processor's, so no worker waits for it.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

import pytest


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The order of the others stays: each worker must find the same one."""
    items.sort(key=lambda item: item.get_closest_marker("last") is not None)


def pytest_collection_finish(session: pytest.Session) -> None:
    worker = getattr(session.config, "workerinput", {})
    if worker.get("workerid") != "gw0" or not session.items:
        return
    if session.items[-1].get_closest_marker("last"):
        folder = begun_at(worker["testrunuid"])
        folder.mkdir()
        with (folder / "log").open("wb") as log:
            subprocess.Popen(
                [sys.executable, "-m", "tests.run.whole_coupling", str(folder)],
                cwd=Path(__file__).parents[1], stdin=subprocess.DEVNULL, stdout=log, stderr=log,
            )  # fmt: skip


def begun_at(run: str) -> Path:
    """Where the coupling of this run of the tests is kept."""
    return Path(tempfile.gettempdir()) / f"voicecheck-{run}"
