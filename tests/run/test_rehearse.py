"""The main job: recorded replies through the real recogniser, the real loop, a report on disk.

That a drive reaches its end says that the loop works with these recordings; it is no measure of
recognition (the clips of the drives were chosen so that both engines can follow them).
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from voicecheck.cli import main
from voicecheck.run import start
from voicecheck.run.driver import RecordedDriver, load_drive, same
from voicecheck.run.library import Sources

DRIVES = [
    ("couple", "all-good", "complete", 0),
    ("couple", "stop", "stopped", 1),
    ("couple", "corrections", "complete", 0),
    ("brake-tests", "", "complete", 0),
    ("trip-inspection", "", "complete", 0),
    ("cargo", "", "complete", 0),
    ("en-route", "", "complete", 0),
    ("post-trip", "", "complete", 0),
]


def rehearse(
    tmp_path: Path, *words: str, checklist: str = "couple"
) -> tuple[subprocess.CompletedProcess[str], Path]:
    done = subprocess.run(
        [sys.executable, "-m", "voicecheck.cli", "rehearse", checklist, "--into", str(tmp_path),
         *words],
        capture_output=True, text=True, timeout=240, check=False,
    )  # fmt: skip
    (folder,) = tmp_path.iterdir()
    return done, folder


@pytest.mark.parametrize(("checklist", "drive", "ends", "status"), DRIVES)
def test_a_drive_ends_as_it_was_made_to(
    tmp_path: Path, checklist: str, drive: str, ends: str, status: int
) -> None:
    """Without --drive the drive of the checklist's own name is played."""
    chosen = ("--drive", drive) if drive else ()
    done, folder = rehearse(tmp_path, *chosen, "--no-voice", checklist=checklist)
    assert done.returncode == status, done.stdout + done.stderr
    report = json.loads((folder / "report.json").read_text())
    assert report["headline"]["verdict"] == ends
    text = (folder / "report.html").read_text()
    assert "Practice" in text
    verified = subprocess.run(
        [sys.executable, "-m", "voicecheck.cli", "verify", str(folder)],
        capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert verified.returncode == 0, verified.stdout


def test_the_fallback_engine_reads_every_accepted_answer_back(tmp_path: Path) -> None:
    done, folder = rehearse(tmp_path, "--engine", "pocketsphinx", "--no-voice", "--noise", "none")
    assert done.returncode == 0, done.stdout + done.stderr
    records = [json.loads(line) for line in (folder / "journal.jsonl").read_text().splitlines()]
    heard = [r for r in records if r["kind"] == "heard"]
    assert {r["body"]["certainty"] for r in heard} == {"doubtful"}
    read_back = sum(r["kind"] == "read back" for r in records)
    # what is answered in one breath is read back in one sentence, and cites one reply
    answered = {r["body"]["heard"] for r in records if r["kind"] == "answered"}
    assert len(answered) > 25
    assert read_back >= len(answered)


def test_every_reply_has_its_sound_beside_the_journal(tmp_path: Path) -> None:
    _, folder = rehearse(tmp_path, "--no-voice")
    records = [json.loads(line) for line in (folder / "journal.jsonl").read_text().splitlines()]
    cited = [r["body"]["evidence"] for r in records if r["kind"] == "heard"]
    assert cited
    assert all((folder / name).stat().st_size > 1000 for name in cited)
    assert sorted(set(cited)) == sorted(p.name for p in folder.glob("reply-*.flac"))


@pytest.mark.parametrize(
    ("said", "heard", "right"),
    [
        ("it held", "held", True),
        ("red in", "red out", False),
        ("closed", "not closed", False),
        ("seven kilo four two", "seven kilo four two", True),
        ("march twenty twenty seven", "march two zero two seven", True),
        ("fifteen", "one five psi", True),
        ("fifteen", "five zero psi", False),
        ("one two", "two one", False),
        ("four", "four pieces", True),
        ("four", "five pieces", False),
    ],
)
def test_the_recorded_driver_affirms_only_what_he_said(said: str, heard: str, right: bool) -> None:
    assert same(said, heard) is right


def test_the_recorded_driver_hears_prompts_and_tones_only() -> None:
    """He has no way to the session: what he is given is text and names of tones."""
    drive, folder = load_drive("all-good")
    driver = RecordedDriver(drive, folder)
    public = {name for name in vars(type(driver)) if not name.startswith("_")}
    assert public == {"hear_prompt", "hear_tone", "unheard", "reply", "in_noise"}
    driver.hear_prompt("I heard: bananas. Affirm, or negative?")
    spoken = driver.reply()
    assert spoken is not None
    assert spoken.text == "negative"


def test_another_vehicle_than_the_drives_is_the_one_that_is_walked_round(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Begun(Exception):
        pass

    def begin(sources: Sources, *_: object) -> None:
        raise Begun(Path(sources.vehicle_file).name)

    monkeypatch.setattr(start, "start", begin)
    words = ["rehearse", "trip-inspection", "--into", str(tmp_path)]
    with pytest.raises(Begun, match=r"^tractor-semitrailer\.yaml$"):
        main(words)
    with pytest.raises(Begun, match=r"^doubles\.yaml$"):
        main([*words, "--vehicle", "doubles"])
