"""What the commands say and with which status they end: help, wrong use, the environment, limits.

Exit status: 0 all answered and no stopping defect, 1 stopped or not finished or outside, 2 wrong
use, 3 environment. Each command runs in a process of its own with an empty HOME.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.run.cli_process import command

COMMANDS = (
    "run", "rehearse", "resume", "report", "verify", "key", "replay", "doctor", "listen", "limits",
    "due",
)  # fmt: skip


def test_help_leads_a_beginner(tmp_path: Path) -> None:
    shown = command(tmp_path, "--help")
    assert shown.returncode == 0
    for name in COMMANDS:
        assert f"\n    {name} " in shown.stdout
    assert "voicecheck rehearse couple" in shown.stdout
    assert "exit status: 0" in shown.stdout
    words = " ".join(shown.stdout.split())
    assert "never says that a vehicle is safe or fit" in words
    assert "Local law, the maker's manual and a licensed mechanic come first" in words


@pytest.mark.parametrize("name", COMMANDS)
def test_help_of_each_command(tmp_path: Path, name: str) -> None:
    shown = command(tmp_path, name, "--help")
    assert shown.returncode == 0
    assert f"usage: voicecheck {name}" in shown.stdout
    assert f"\n  voicecheck {name} " in shown.stdout, "an example that can be copied"


@pytest.mark.parametrize(
    "words",
    [
        (),
        ("run",),
        ("run", "couple"),
        ("run", "couple", "--typed", "--microphone"),
        ("run", "couple", "--typed", "--season", "autumn"),
        ("run", "couple", "--typed", "--set", "air lines"),
        ("rehearse", "couple", "--drive", "nowhere"),
        ("rehearse", "uncouple"),  # no drive walks through it
        ("rehearse", "brake-tests", "--drive", "stop"),
        ("rehearse", "couple", "--engine", "pocketsphinx", "--model", "somewhere"),
        ("fly",),
    ],
)
def test_wrong_use_is_2(tmp_path: Path, words: tuple[str, ...]) -> None:
    result = command(tmp_path, *words)
    assert result.returncode == 2, result.stdout + result.stderr
    assert "voicecheck" in result.stderr
    assert not list(tmp_path.rglob("journal.jsonl")), "nothing was begun"


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("rehearse", "couple", "--engine", "vosk", "--model", "nowhere"), "model-unusable"),
        (("listen", "--engine", "vosk", "--model", "nowhere"), "model-unusable"),
        (("listen", "--wav", "nowhere.wav"), "wav-unusable"),
        (("run", "couple", "--wav", "nowhere.wav"), "wav-unusable"),
        (("run", "nothing", "--typed"), "checklist-not-found"),
        (("run", "couple", "--typed", "--vehicle", "bicycle"), "checklist-not-found"),
        (("report", "nowhere"), "journal-not-found"),
        (("verify", "nowhere"), "journal-not-found"),
        (("replay", "nowhere"), "journal-not-found"),
        (("resume", "--typed"), "journal-not-found"),
        (("limits", "us-nothing"), "limit-unknown"),
        (("limits", "us-str-30-standard", "2.1"), "unit-unknown"),
    ],
)
def test_environment_is_3_with_a_code_and_a_way_out(
    tmp_path: Path, words: tuple[str, ...], code: str
) -> None:
    result = command(tmp_path, *words)
    assert result.returncode == 3, result.stdout + result.stderr
    assert f"[{code}]" in result.stderr
    assert result.stderr.startswith("voicecheck: ")
    assert "Traceback" not in result.stderr


def test_a_bad_settings_file_is_told(tmp_path: Path) -> None:
    file = tmp_path / "config" / "voicecheck" / "settings.toml"
    file.parent.mkdir(parents=True)
    file.write_text("colour = 'red'\n", encoding="utf-8")
    result = command(tmp_path, "limits")
    assert result.returncode == 3
    assert "[settings-invalid]" in result.stderr
    assert "colour" in result.stderr


# Type 30 clamp chamber, standard stroke: at most 2 in, 49 CFR 393.47(e)(1) by way of COMAR
# 11.22.02.06 J Table 1 (docs/sources.md).
@pytest.mark.parametrize(
    ("reading", "status", "verdict"),
    [
        (("1", "3/4", "in"), 0, "within"),
        (("2", "in"), 0, "within"),
        (("2", "1/8", "in"), 1, "outside"),
        (("5", "psi"), 1, "cannot judge"),
    ],
)
def test_limits_judges_one_reading(
    tmp_path: Path, reading: tuple[str, ...], status: int, verdict: str
) -> None:
    result = command(tmp_path, "limits", "us-str-30-standard", *reading)
    assert result.returncode == status
    assert result.stdout.startswith(f"{verdict}: ")
    if status == 0:
        assert "393.47(e)(1)" in result.stdout, "a limit never travels without its source"


def test_limits_of_one_jurisdiction_for_machines(tmp_path: Path) -> None:
    result = command(tmp_path, "limits", "--jurisdiction", "CA-ON", "--json")
    lines = json.loads(result.stdout)
    assert result.returncode == 0
    assert lines
    assert all("CA-ON" in line for line in lines)


def test_doctor_names_what_is_missing(tmp_path: Path) -> None:
    result = command(tmp_path, "doctor", "--json", "--engine", "vosk", "--model", "nowhere")
    looks = {look["what"]: look for look in json.loads(result.stdout)}
    assert result.returncode == 3
    assert looks["recogniser"]["state"] == "missing"
    assert "Operator:" in looks["recogniser"]["text"]
    assert looks["disk"]["state"] in ("good", "mind")
