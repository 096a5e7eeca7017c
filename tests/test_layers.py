"""The layers of pyproject.toml hold, and the check can fail.

The contracts are import-linter's; a planted import of a clock into the session must break them.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]


PROGRAM = """
import sys
sys.path.insert(0, ".")
from importlinter.cli import lint_imports_command
lint_imports_command()
"""


def lint(folder: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", PROGRAM, "--no-cache", "--config", "pyproject.toml"],
        cwd=folder,
        capture_output=True,
        text=True,
        timeout=60,
    )


@pytest.fixture
def copied(tmp_path: Path) -> Path:
    shutil.copytree(
        ROOT / "voicecheck", tmp_path / "voicecheck", ignore=shutil.ignore_patterns("__pycache__")
    )
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    return tmp_path


def test_contracts_hold(copied: Path) -> None:
    result = lint(copied)
    assert result.returncode == 0, result.stdout + result.stderr
    assert "0 broken" in result.stdout


@pytest.mark.parametrize(
    ("module", "planted", "contract"),
    [
        ("session/facts.py", "import time", "the core knows no clock"),
        ("reply/phrases.py", "import logging", "the core knows no clock"),
        ("limits/judge.py", "from pathlib import Path", "the core knows no clock"),
        ("units.py", "import random", "the core knows no clock"),
        ("reply/phrases.py", "import voicecheck.session.state", "rooms"),
        ("audio/tones.py", "import voicecheck.session.state", "sound knows nothing"),
    ],
)
def test_a_planted_import_breaks_them(
    copied: Path, module: str, planted: str, contract: str
) -> None:
    file = copied / "voicecheck" / module
    text = file.read_text(encoding="utf-8")
    marker = "from __future__ import annotations\n"
    assert marker in text
    file.write_text(text.replace(marker, f"{marker}{planted}\n", 1), encoding="utf-8")
    result = lint(copied)
    assert result.returncode == 1, result.stdout + result.stderr
    broken = [line for line in result.stdout.splitlines() if line.endswith("BROKEN")]
    assert any(line.startswith(contract) for line in broken), result.stdout


def test_a_new_room_must_be_given_its_layer(copied: Path) -> None:
    (copied / "voicecheck" / "elsewhere.py").write_text("", encoding="utf-8")
    result = lint(copied)
    assert result.returncode == 1, result.stdout + result.stderr
    assert "elsewhere" in result.stdout + result.stderr
