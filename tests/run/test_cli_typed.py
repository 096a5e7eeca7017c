"""A whole coupling at the keyboard, through the real command, and coming back to one."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from tests.run.cli_process import command, converse, in_order, only
from voicecheck.journal.file import JournalFile
from voicecheck.journal.file import read as read_journal
from voicecheck.session import records as r


@pytest.fixture(scope="module")
def coupled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with one finished coupling in ``inspections``, and all that was printed."""
    folder = tmp_path_factory.mktemp("coupled")
    talk = converse(folder, "run", "couple", "--typed", "--driver", "A. Example")
    assert talk.status == 0, talk.text + talk.errors
    assert "All required items answered" in talk.text
    (folder / "printed.txt").write_text(talk.text, encoding="utf-8")
    return folder


def test_typed_coupling_is_complete_and_reported(coupled: Path) -> None:
    inspection = only(coupled)
    assert inspection.parent == coupled / "inspections"
    report = json.loads((inspection / "report.json").read_text(encoding="utf-8"))
    assert report["headline"]["verdict"] == "complete"
    page = (inspection / "report.html").read_text(encoding="utf-8")
    assert "All required items answered" in page
    records = [record for _, record in read_journal(inspection).records]
    assert isinstance(records[0], r.Opened)
    assert (records[0].source, records[0].operating) == ("typed", "inspection")
    heard = [record for record in records if isinstance(record, r.HeardReply)]
    assert {record.certainty for record in heard} == {"typed"}


def test_the_report_tells_the_questions_that_were_printed(coupled: Path) -> None:
    printed = (coupled / "printed.txt").read_text(encoding="utf-8").splitlines()
    asked = [line.strip() for line in printed if line.startswith("  ")]
    report = json.loads((only(coupled) / "report.json").read_text(encoding="utf-8"))
    page = (only(coupled) / "report.html").read_text(encoding="utf-8")
    joint = {
        question["question"]
        for step in report["steps"]
        for question in step["asked"]
        if any(line.endswith(question["question"]) for line in asked) and question["together"]
    }
    told = [question["question"] for step in report["steps"] for question in step["asked"]]
    assert [words for words in told if not any(line.endswith(words) for line in asked)] == []
    assert len(joint) == 9  # as decision 0015 counts them: nine sentences ask for 22 steps
    assert [words for words in joint if words not in page] == []


def test_verify_report_and_replay_of_it(coupled: Path) -> None:
    inspection = str(only(coupled))
    checked = command(coupled, "verify", inspection)
    assert checked.returncode == 0, checked.stdout
    assert "does not show who spoke" in checked.stdout
    before = (only(coupled) / "report.html").read_bytes()
    again = command(coupled, "report", inspection)
    assert again.returncode == 0
    assert (only(coupled) / "report.html").read_bytes() == before, "J3: byte for byte"
    told = command(coupled, "replay", inspection)
    assert told.returncode == 0
    assert "hears: load as ordered closed and locked confirmed" in told.stdout
    closed = command(coupled, "resume", inspection, "--typed")
    assert closed.returncode == 3
    assert "[inspection-closed]" in closed.stderr


def test_the_inspection_is_signed_by_the_device(coupled: Path, tmp_path: Path) -> None:
    inspection = str(only(coupled))
    key = command(coupled, "key")
    assert key.stdout.startswith("Fingerprint: ")
    printed = key.stdout.splitlines()[0].removeprefix("Fingerprint: ")
    (tmp_path / "yard-one.pem").write_text(key.stdout, encoding="ascii")
    ours = command(coupled, "verify", inspection, "--device", str(tmp_path / "yard-one.pem"))
    assert ours.returncode == 0
    assert f"Signed by the device yard-one ({printed})" in ours.stdout
    strange = command(tmp_path, "key")  # another home, another device
    (tmp_path / "other.pem").write_text(strange.stdout, encoding="ascii")
    refused = command(coupled, "verify", inspection, "--device", str(tmp_path / "other.pem"))
    assert refused.returncode == 1
    assert "GRAVE: Signed by a key that is none of the devices given" in refused.stdout


def test_verify_finds_a_changed_word(coupled: Path, tmp_path: Path) -> None:
    source = only(coupled)
    copied = tmp_path / source.name
    copied.mkdir()
    for file in source.iterdir():
        (copied / file.name).write_bytes(file.read_bytes())
    journal = copied / "journal.jsonl"
    text = journal.read_bytes()
    assert b"closed and locked" in text
    journal.write_bytes(text.replace(b"closed and locked", b"closed and lockad", 1))
    checked = command(tmp_path, "verify", str(copied))
    assert checked.returncode != 0
    assert "GRAVE" in checked.stdout or "[journal-damaged]" in checked.stderr


def test_pass_to_everything_never_reaches_the_crank(tmp_path: Path) -> None:
    """Confirm hold: where a state is wanted, "pass" is refused. Identities are typed honestly."""
    honest = {"Spell the last four", "Valid until which month", "I heard:"}
    asked: list[str] = []

    def reply(sentence: str) -> str | None:
        if any(part in sentence for part in honest):
            return in_order(sentence)
        if in_order(sentence) is None:
            return None
        asked.append(sentence)
        return "pass"

    talk = converse(tmp_path, "run", "couple", "--typed", reply=reply, most=25)
    assert talk.status == 1
    assert talk.asked("Pass is not enough here. Say what you see.") > 3
    assert talk.asked("Raise the landing gear") == 0
    answers = [a for _, a in read_journal(only(tmp_path)).records if isinstance(a, r.Answered)]
    assert not [a for a in answers if "trailer springs set" in a.gives]
    assert not [a for a in answers if a.answer == "pass"]


def test_pass_alone_from_the_start(tmp_path: Path) -> None:
    result = command(tmp_path, "run", "couple", "--typed", said="pass\n" * 120)
    assert result.returncode == 1
    assert "Raise the landing gear" not in result.stdout
    records = [record for _, record in read_journal(only(tmp_path)).records]
    assert not [record for record in records if isinstance(record, r.Answered)]


def test_the_input_ends(tmp_path: Path) -> None:
    result = command(tmp_path, "run", "couple", "--typed", said="")
    assert result.returncode == 1
    assert "Not finished" in result.stdout
    assert f"Go on with: voicecheck resume {Path('inspections') / only(tmp_path).name}" in (
        result.stdout
    )


# -- killed and resumed ------------------------------------------------------------------------


def test_killed_after_engine_off_asks_again_what_lasts_until_left(tmp_path: Path) -> None:
    """kill -9 at the jaws: what was answered is kept; parked and engine off are asked again."""
    killed = converse(tmp_path, "run", "couple", "--typed", kill_at="Use the light")
    assert killed.said[-1][1] == "engine off"
    before = [x for _, x in read_journal(only(tmp_path)).records if isinstance(x, r.Answered)]
    talk = converse(tmp_path, "resume", "--typed")
    assert talk.status == 0, talk.text + talk.errors
    assert "Not established: Both knobs are out." in talk.text
    assert "The engine is off and the key is with the driver." in talk.text
    after = [x for _, x in read_journal(only(tmp_path)).records if isinstance(x, r.Answered)]
    assert after[: len(before)] == before, "nothing answered was lost"
    parked = next(n for n, (_, said) in enumerate(talk.said) if said == "engine off")
    jaws = next(n for n, (_, said) in enumerate(talk.said) if "shank" in said)
    assert parked < jaws
    assert talk.asked("Spell the last four") == 0, "what is lasting is not asked again"
    assert command(tmp_path, "verify", str(only(tmp_path))).returncode == 0


def test_coming_back_never_asks_to_move_in_order_to_park(tmp_path: Path) -> None:
    """With the tractor under the trailer, the way to "both knobs out" is not to back again."""
    backing = "Back until the plate just reaches the nose"
    killed = converse(tmp_path, "run", "couple", "--typed", kill_at="Use the light")
    assert killed.asked(backing) == 1
    talk = converse(tmp_path, "resume", "--typed")
    assert talk.status == 0
    assert talk.asked(backing) == 0


def test_resumed_after_nine_hours_is_closed_as_unfinished(tmp_path: Path) -> None:
    """The stamps of an interrupted inspection are set back nine hours, through the library."""
    interrupted = command(tmp_path, "run", "couple", "--typed", said="seven kilo four two\n")
    assert interrupted.returncode == 1
    young = only(tmp_path)
    old = young.parent / "couple-old"
    with JournalFile.create(old) as journal:
        journal.append([_earlier(record) for _, record in read_journal(young).records])
    result = command(tmp_path, "resume", str(old), "--typed")
    assert result.returncode == 3
    assert "[inspection-closed]" in result.stderr
    assert "9 hours old" in result.stderr
    records = [record for _, record in read_journal(old).records]
    assert isinstance(records[-1], r.Finished)
    assert records[-1].outcome == "not finished"
    report = json.loads((old / "report.json").read_text(encoding="utf-8"))
    assert report["headline"]["verdict"] == "not finished"
    again = command(tmp_path, "resume", str(old), "--typed")
    assert "[inspection-closed]" in again.stderr


def _earlier(record: r.Record) -> r.Record:
    import datetime

    wall = datetime.datetime.fromisoformat(record.at.wall) - datetime.timedelta(hours=9)
    return replace(record, at=r.Stamp(wall.isoformat(timespec="milliseconds"), record.at.mono))
