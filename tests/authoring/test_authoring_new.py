"""The checklist that ``new`` writes, and the schema for editors."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest
import yaml

from voicecheck.authoring.new import new_checklist
from voicecheck.authoring.schema import schema_text
from voicecheck.cli import main
from voicecheck.errors import WrongUse

ROOT = Path(__file__).parents[2]


def test_new_then_lint_then_prove(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["new", "my-walk", "--into", str(tmp_path)]) == 0
    file = str(tmp_path / "my-walk.yaml")
    assert main(["lint", file, "--vehicle", "tractor-semitrailer"]) == 0
    capsys.readouterr()
    assert main(["prove", file, "--vehicle", "tractor-semitrailer", "--json"]) == 0
    result = json.loads(capsys.readouterr().out)
    assert all(result["verdicts"].values())
    assert result["all explored"]
    assert result["states"] > 100


def test_new_does_not_write_over_a_file(tmp_path: Path) -> None:
    assert main(["new", "my-walk", "--into", str(tmp_path)]) == 0
    before = (tmp_path / "my-walk.yaml").read_text(encoding="utf-8")
    assert main(["new", "my-walk", "--into", str(tmp_path)]) == 2
    assert (tmp_path / "my-walk.yaml").read_text(encoding="utf-8") == before


@pytest.mark.parametrize("name", ["", "Big", "a/b", "../x", "é"])
def test_new_refuses_a_name_that_cannot_be_one(name: str) -> None:
    with pytest.raises(WrongUse):
        new_checklist(name, "x.yaml", "x.json")


def test_the_schema_in_the_docs_is_current() -> None:
    written = (ROOT / "docs" / "checklist.schema.json").read_text(encoding="utf-8")
    assert written == schema_text()


def test_the_schema_takes_the_shipped_checklists_and_refuses_a_wrong_key() -> None:
    schema = json.loads(schema_text())
    jsonschema.Draft202012Validator.check_schema(schema)
    judge = jsonschema.Draft202012Validator(schema)
    for file in (ROOT / "checklists").glob("*.yaml"):
        if file.stem == "hazards":
            continue
        data = yaml.load(file.read_text(encoding="utf-8"), Loader=yaml.BaseLoader)
        # the loader keeps words words; numbers and truth values are those of the schema's own types
        errors = [e for e in judge.iter_errors(data) if e.validator == "additionalProperties"]
        assert errors == []
    data["steps"][0]["colour"] = "red"
    assert [e.validator for e in judge.iter_errors(data) if "colour" in e.message] == [
        "additionalProperties"
    ]
