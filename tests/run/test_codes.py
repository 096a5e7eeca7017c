"""Making and checking release codes, held against RFC 4226, and the two commands."""

from __future__ import annotations

import os
import re
import stat
from pathlib import Path

import pytest

from tests.run.cli_process import command, converse, in_order, only
from voicecheck.errors import ReleaseKeyUnusable, WrongUse
from voicecheck.reply.numbers import spelling_words
from voicecheck.run.codes import checker, code_for, make_key, read_key

FIGURES = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
FIGURE = re.compile("|".join(FIGURES))

# RFC 4226 (December 2005), appendix D: secret "12345678901234567890", counts 0 to 9.
SECRET = b"12345678901234567890"
HOTP = ("755224", "287082", "359152", "969429", "338314", "254676", "287922", "162583", "399871",
        "520489")  # fmt: skip


@pytest.mark.parametrize(("count", "code"), list(enumerate(HOTP)))
def test_rfc_4226_appendix_d(count: int, code: str) -> None:
    assert code_for(SECRET, f"{count:08}") == code
    assert checker(SECRET)(f"{count:08}", code)
    assert not checker(SECRET)(f"{count:08}", f"{(int(code) + 1) % 10**6:06}")


@pytest.mark.parametrize("reference", ["", "1234567", "123456789", "1234 567a", "１２３４５６７８"])
def test_what_is_no_reference(reference: str) -> None:
    with pytest.raises(WrongUse):
        code_for(SECRET, reference)


def test_a_key_is_made_once_and_read_back(tmp_path: Path) -> None:
    file = tmp_path / "release-key.txt"
    make_key(file)
    assert len(read_key(file)) == 20
    if os.name != "nt":
        assert stat.S_IMODE(file.stat().st_mode) == 0o600
    with pytest.raises(ReleaseKeyUnusable):
        make_key(file)
    for bad in ("not base32 !", "MFRGG===", ""):
        file.write_text(bad, encoding="ascii")
        with pytest.raises(ReleaseKeyUnusable):
            read_key(file)


def test_a_stop_is_released_by_telephone_at_the_real_command(tmp_path: Path) -> None:
    kept = tmp_path / "data" / "voicecheck" / "release-key.txt"
    kept.parent.mkdir(parents=True)
    make_key(kept)
    asked: list[str] = []

    def reply(sentence: str) -> str | None:
        if "No leak? Lamps good?" in sentence and not asked:
            return "no leak"  # the first part alone: the lamps are asked next
        if "Rear lamps" in sentence and not asked:
            asked.append("")
            return "turn lamps out"
        if "Anything else there" in sentence:
            return "nothing else"
        if sentence.strip().startswith("Stop."):
            return "by code"
        if "Read this to the supervisor" in sentence:
            figures = FIGURE.findall(sentence.partition("supervisor.")[2].partition("Then")[0])
            reference = "".join(str(FIGURES.index(x)) for x in figures)
            return spelling_words(code_for(read_key(kept), reference)).lower()
        if sentence.strip().startswith("Code "):
            return "affirm"
        return in_order(sentence)

    talk = converse(tmp_path, "run", "couple", "--typed", reply=reply)
    assert talk.status == 0, talk.text + talk.errors
    assert "released by a supervisor's code, person not verified" in talk.text
    page = (only(tmp_path) / "report.html").read_text(encoding="utf-8")
    assert "by code" in page
    assert "somebody with the key, person not verified" in page


def test_the_supervisors_commands(tmp_path: Path) -> None:
    made = command(tmp_path, "release-key", "key.txt")
    assert made.returncode == 0
    assert "Keep it with the supervisor" in made.stdout
    code = command(tmp_path, "release-code", "4829", "1503", "--key", "key.txt")
    assert code.returncode == 0
    assert code.stdout.strip().replace(" ", "") == code_for(
        read_key(tmp_path / "key.txt"), "48291503"
    )
    assert command(tmp_path, "release-code", "12", "--key", "key.txt").returncode == 2
    assert command(tmp_path, "release-code", "48291503", "--key", "none").returncode == 3
