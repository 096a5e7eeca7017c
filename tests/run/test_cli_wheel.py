"""The wheel works from any folder: checklists and one drive travel in it.

The wheel is built from a copy of the project and installed alone into a fresh environment that
sees the libraries of this one, so that the checkout cannot help.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import sysconfig
import venv
import zipfile
from pathlib import Path

import pytest

from tests.run.cli_process import environment

ROOT = Path(__file__).parents[2]
PARTS = ("voicecheck", "checklists", "audio_fixtures", "pyproject.toml", "README.md")

pytestmark = pytest.mark.slow


def test_a_wheel_alone_runs_from_another_folder(tmp_path: Path) -> None:
    pytest.importorskip("hatchling")
    source, elsewhere = tmp_path / "source", tmp_path / "elsewhere"
    source.mkdir()
    elsewhere.mkdir()
    for part in PARTS:
        if (ROOT / part).is_dir():
            ignored = shutil.ignore_patterns("__pycache__")
            shutil.copytree(ROOT / part, source / part, ignore=ignored)
        else:
            shutil.copy(ROOT / part, source)
    _run([sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(tmp_path)], source)
    (wheel,) = tmp_path.glob("*.whl")
    names = zipfile.ZipFile(wheel).namelist()
    assert "voicecheck/data/checklists/couple.yaml" in names
    assert "voicecheck/data/drives/all-good/drive.yaml" in names
    assert not [name for name in names if "espeak" in name.lower()]
    shutil.rmtree(source)

    home = tmp_path / "venv"
    venv.create(home, with_pip=False, symlinks=True)
    binaries = home / ("Scripts" if sys.platform == "win32" else "bin")
    python = next(binaries.glob("python*"))
    paths = sysconfig.get_paths(vars={"base": str(home), "platbase": str(home)})
    site = Path(paths["purelib"])
    zipfile.ZipFile(wheel).extractall(site)  # what pip does with a pure wheel, without scripts
    (site / "libraries.pth").write_text(sysconfig.get_paths()["purelib"] + "\n", encoding="utf-8")
    where = _run([str(python), "-c", "import voicecheck; print(voicecheck.__file__)"], elsewhere)
    assert Path(where.strip()).is_relative_to(site)
    shown = _run(
        [str(python), "-m", "voicecheck.cli", "rehearse", "couple", "--no-voice"], elsewhere
    )
    assert "All required items answered, no stopping defect reported" in shown
    assert list(elsewhere.glob("inspections/practice-couple-*/report.html"))


def _run(words: list[str], folder: Path) -> str:
    alone = {k: v for k, v in environment(folder).items() if k != "PYTHONPATH"}
    done = subprocess.run(words, cwd=folder, env=alone, capture_output=True, text=True, timeout=240)
    assert done.returncode == 0, (done.stdout + done.stderr)[-3000:]
    return done.stdout
