"""The documents are true: their commands run, their examples compile, their lists are complete."""

from __future__ import annotations

import importlib.metadata
import json
import re
import shlex
import subprocess
import sys
import tomllib
from pathlib import Path

import jsonschema
import pytest
import yaml

from tests.run.cli_process import command, environment
from voicecheck import errors
from voicecheck.checklist.compile import Context, compile_checklist
from voicecheck.checklist.compiled import Compiled
from voicecheck.checklist.load import (
    load_checklist,
    load_hazards,
    load_order,
    load_vehicle,
    read_yaml,
)
from voicecheck.checklist.model import (
    REPLY_KINDS,
    AnswerModel,
    AttestModel,
    ChecklistModel,
    ClockedModel,
    DateModel,
    DefectModel,
    DerivedModel,
    DoneModel,
    FactModel,
    GroupModel,
    HazardModel,
    MeasureModel,
    ReckoningModel,
    SettingModel,
    SpellModel,
    StepModel,
    TimedModel,
    TogetherModel,
    VariantModel,
    VerdictModel,
    WhenModel,
)
from voicecheck.checklist.order import Load, Order, OrderedUnit
from voicecheck.checklist.order import schema_text as order_schema
from voicecheck.checklist.vehicle import (
    Air,
    Axle,
    Brake,
    Cargo,
    Steering,
    TieDown,
    UnitModel,
    Vehicle,
    positions,
)
from voicecheck.checklist.vehicle import schema_text as vehicle_schema
from voicecheck.limits.sources import sources_page
from voicecheck.run.library import shipped
from voicecheck.session.diagram import diagram
from voicecheck.session.state import TABLE

ROOT = Path(__file__).parents[1]
DOCS = ROOT / "docs"
PAGES = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted(DOCS.rglob("*.md"))]


def read(path: Path) -> str:
    return path.read_text(encoding="utf-8")


def fences(path: Path, kind: str) -> list[str]:
    """The blocks of one kind, as they would be copied."""
    found = re.findall(rf"^( *)```{kind}\n(.*?)^ *```$", read(path), re.M | re.S)
    return [re.sub(rf"^{indent}", "", body, flags=re.M) for indent, body in found]


def commands(path: Path) -> list[str]:
    return [line for body in fences(path, "sh") for line in body.splitlines() if line.strip()]


# -- README ------------------------------------------------------------------------------------


def test_readme_promises_two_commands_first() -> None:
    """.ci/run takes these two lines from README and runs them as they stand."""
    first, second = commands(ROOT / "README.md")[:2]
    assert first.startswith("python3 -m venv .venv && ")
    assert first.endswith("voicecheck rehearse couple")
    assert ".[test]" in second
    assert "pytest" in second
    assert "readme_command 1" in read(ROOT / ".ci" / "run")
    assert "readme_command 2" in read(ROOT / ".ci" / "run")


def test_readme_keeps_its_cautions() -> None:
    words = " ".join(re.sub(r"[*\n]", " ", read(ROOT / "README.md")).split())
    for caution in (
        "Local law, the maker's manual and a licensed mechanic come first.",
        "never says that a vehicle is safe or fit",
        "cannot know who spoke",
        "takes almost any talk",
        "every accepted answer is read back",
    ):
        assert caution in words


# What a command of the documents needs beyond a bare machine.
DEVICE = ("--microphone", "listen")
ELSEWHERE = ("python3 -m venv", ".venv/bin/")  # README's two and the contributors' are CI's


@pytest.fixture(scope="module")
def yard(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with one interrupted inspection called NAME, and the key of its device."""
    folder = tmp_path_factory.mktemp("yard")
    begun = command(folder, "run", "couple", "--typed", said="seven kilo four two\n")
    assert begun.returncode == 1
    (made,) = (folder / "inspections").iterdir()
    made.rename(folder / "inspections" / "NAME")
    key = command(folder, "key").stdout
    (folder / "yard-one.pem").write_text(key, encoding="ascii")
    return folder


SHOWN = sorted(
    {
        line
        for page in PAGES
        for line in commands(page)
        if not line.startswith(ELSEWHERE)
    }
)  # fmt: skip


@pytest.mark.parametrize("line", SHOWN)
def test_every_command_runs_where_it_can(yard: Path, line: str) -> None:
    words = shlex.split(line.partition(" > ")[0])
    if words[0] == "python":
        made = subprocess.run(
            [sys.executable, *words[1:]],
            cwd=yard, env=environment(yard), capture_output=True, text=True, timeout=60,
        )  # fmt: skip
        assert made.returncode == 0, made.stderr
        assert made.stdout == read(ROOT / line.partition(" > ")[2])
        return
    assert words[0] == "voicecheck"
    if any(word in words for word in DEVICE):
        result = command(yard, words[1], "--help")
        assert result.returncode == 0
        for word in words[2:]:
            assert not word.startswith("--") or word in result.stdout
        return
    result = command(yard, *words[1:], said="stand by\n")
    assert "Traceback" not in result.stderr
    # NAME is a coupling, which describes no vehicle
    allowed = {"doctor": {0, 3}, "run": {1}, "report": {1}, "vehicle": {3}}.get(words[1], {0})
    assert result.returncode in allowed, result.stdout + result.stderr


def test_links_lead_somewhere() -> None:
    for page in PAGES:
        for target in re.findall(r"\]\(([^)#]+)\)", read(page)):
            if "://" not in target:
                assert (page.parent / target).exists(), f"{page.name}: {target}"


def test_exit_statuses_are_the_same_everywhere(tmp_path: Path) -> None:
    shown = command(tmp_path, "--help").stdout
    readme = read(ROOT / "README.md")
    for status in ("1", "2", "3"):
        assert re.search(rf"\b{status}[: ]", shown)
        assert re.search(rf"\b{status}: ", readme)


# -- pages made from code ----------------------------------------------------------------------


def test_state_diagram_is_current() -> None:
    page = read(DOCS / "state-diagram.md")
    assert page == diagram(), "python -m voicecheck.session.diagram > docs/state-diagram.md"
    rows = re.findall(r"^\| (.+?) \| (.+?) \| `(\w+)` \|", page, re.M)
    assert {(phase, came): rule for phase, came, rule in rows} == {
        (phase.value, came.value): row.rule for (phase, came), row in TABLE.items()
    }


def test_sources_page_is_current() -> None:
    assert read(DOCS / "sources.md") == sources_page()


# -- errors ------------------------------------------------------------------------------------


def _tree(root: type[errors.VoicecheckError]) -> list[type[errors.VoicecheckError]]:
    return [root, *(e for child in root.__subclasses__() for e in _tree(child))]


def test_errors_page_and_code_agree_both_ways() -> None:
    page = read(DOCS / "errors.md")
    told = {
        code: (what.strip(), who.strip(), how.strip())
        for code, what, who, how in re.findall(
            r"^## ([a-z-]+)\n\n- what: (.+?)\n- who: (.+?)\n- how: (.+?)(?=\n\n|\n?\Z)",
            page,
            re.M | re.S,
        )
    }
    assert page.count("\n## ") == len(told), "each has what, who and how"
    tree = [e for e in _tree(errors.VoicecheckError) if e.__module__ == "voicecheck.errors"]
    assert set(told) == {e.code for e in tree}
    for error in tree:
        assert told[error.code][1] == error.who, error.code
        assert error.__doc__


def test_codes_are_not_shared() -> None:
    tree = [e for e in _tree(errors.VoicecheckError) if e.__module__ == "voicecheck.errors"]
    codes = [e.code for e in tree]
    assert len(codes) == len(set(codes))
    assert {e.who for e in tree} <= {"driver", "author", "operator", "us"}


# -- invariants --------------------------------------------------------------------------------

INVARIANTS = (
    *("H1", "H2", "H3", "H4", "H5", "H6", "H7", "H8", "H9"),
    *("J1", "J2", "J3", "R1", "V1"),
)


def test_invariants_are_numbered_once() -> None:
    found = re.findall(r"^- \*\*([A-Z]\d)\*\* ", read(DOCS / "invariants.md"), re.M)
    assert tuple(found) == INVARIANTS


# -- dependencies ------------------------------------------------------------------------------


def test_dependencies_are_all_told_with_their_licence() -> None:
    project = tomllib.loads(read(ROOT / "pyproject.toml"))["project"]
    wanted = [*project["dependencies"], *project["optional-dependencies"]["test"]]
    names = {re.split(r"[<>=;\s\[]", line)[0].lower() for line in wanted}
    rows = dict(
        re.findall(r"^\| ([A-Za-z0-9-]+) \| .+ \| (.+) \|$", read(DOCS / "dependencies.md"), re.M)
    )
    told = {name.lower(): licence for name, licence in rows.items() if name != "package"}
    assert set(told) == names
    family = re.compile(r"MIT|BSD|Apache|MPL|GPL")
    for name, licence in told.items():
        try:
            data = importlib.metadata.metadata(name)
        except importlib.metadata.PackageNotFoundError:
            continue
        stated = " ".join(
            [data.get("License-Expression") or "", data.get("License") or "",
             *(c for c in data.get_all("Classifier") or () if c.startswith("License"))]
        )  # fmt: skip
        if family.search(stated):
            assert set(family.findall(licence)) & set(family.findall(stated)), (name, stated)


# -- examples for authors ----------------------------------------------------------------------

WRITING = DOCS / "writing-checklists.md"


def _compiled(text: str) -> Compiled:
    model, lines = load_checklist(text, "example.yaml")
    folder = shipped("checklists")
    hazards, _ = load_hazards(read(folder / "hazards.yaml"), "hazards.yaml")
    vehicle = load_vehicle(read(folder / "vehicles" / "tractor-semitrailer.yaml"), "vehicle.yaml")
    return compile_checklist(model, lines, "example.yaml", hazards, Context(vehicle, "winter"))


def _with_step(part: str, *, ask: bool = True) -> str:
    (whole,) = fences(WRITING, "yaml")
    head = ["  - id: example", "    place: hitch", "    item: Example", "    source: [practice]"]
    head += ["    ask: Example?"] if ask else []
    return whole + "\n".join([*head, *("    " + line for line in part.splitlines())]) + "\n"


def test_the_whole_example_compiles() -> None:
    (whole,) = fences(WRITING, "yaml")
    assert [step.id for step in _compiled(whole).steps] == ["brake", "leg"]


@pytest.mark.parametrize("part", [*fences(WRITING, "step"), *fences(WRITING, "keys")])
def test_each_example_of_a_step_compiles(part: str) -> None:
    made = [s for s in _compiled(_with_step(part)).steps if s.id.startswith("example")]
    assert made


def test_the_example_of_a_breath_compiles() -> None:
    ((whole,), (part,)) = fences(WRITING, "yaml"), fences(WRITING, "breath")
    together = _compiled(whole + part).step("load").together
    assert together is not None
    assert together.steps == ("load", "lid")


@pytest.mark.parametrize("part", fences(WRITING, "variants"))
def test_the_example_of_variants_compiles(part: str) -> None:
    assert len(_compiled(_with_step(part, ask=False)).step("example").variants) == 2


def test_the_example_of_an_order_is_read() -> None:
    (text,) = fences(DOCS / "orders.md", "order")
    order = load_order(text, "order.yaml")
    shown = _keys(yaml.safe_load(text))
    assert {*Order.model_fields, *Load.model_fields, *OrderedUnit.model_fields} <= shown
    assert load_order(read(shipped("checklists") / "orders" / "van-load.yaml"), "") == order
    assert read(DOCS / "order.schema.json") == order_schema()


def test_the_example_of_a_vehicle_is_read_and_shows_every_key() -> None:
    (text,) = fences(DOCS / "vehicles.md", "vehicle")
    assert positions(load_vehicle(text, "vehicle.yaml"), "brakes.drive")
    models = (Vehicle, UnitModel, Air, Steering, Axle, Brake, Cargo, TieDown)
    wanted = {field.alias or name for model in models for name, field in model.model_fields.items()}
    assert wanted <= _keys(yaml.safe_load(text))


def test_the_schema_of_vehicles_is_current_and_takes_what_is_shipped() -> None:
    assert read(DOCS / "vehicle.schema.json") == vehicle_schema()
    schema = json.loads(vehicle_schema())
    jsonschema.Draft202012Validator.check_schema(schema)
    judge = jsonschema.Draft202012Validator(schema)
    for file in (shipped("checklists") / "vehicles").glob("*.yaml"):
        data, _ = read_yaml(read(file), file.name)  # what is read, as text, whole numbers and truth
        assert [error.message for error in judge.iter_errors(data)] == []
        data["units"][0]["colour"] = "red"
        assert [e.validator for e in judge.iter_errors(data)] == ["additionalProperties"]


def test_the_example_of_hazards_is_read() -> None:
    (text,) = fences(WRITING, "hazards")
    assert "doors" in load_hazards(text, "hazards.yaml")[0].hazards


def test_the_example_of_a_reckoning_compiles() -> None:
    (part,) = fences(WRITING, "reckonings")
    step = _with_step("each: brakes\nmeasure: {unit: in, limit: stroke}")
    (made,) = _compiled(step.replace("id: example", "id: stroke") + part).reckonings
    assert len(made.steps) == 10  # the brakes of the shipped vehicle


def _keys(value: object) -> set[str]:
    if isinstance(value, dict):
        return set(value) | {key for part in value.values() for key in _keys(part)}
    if isinstance(value, list):
        return {key for part in value for key in _keys(part)}
    return set()


def test_every_key_an_author_may_write_is_shown() -> None:
    shown: set[str] = set()
    for kind in ("yaml", "hazards", "step", "variants", "keys", "breath", "reckonings"):
        for body in fences(WRITING, kind):
            shown |= _keys(yaml.safe_load(body))
    models = (
        ChecklistModel, FactModel, DerivedModel, DefectModel, SettingModel, WhenModel, AnswerModel,
        VariantModel, DoneModel, VerdictModel, GroupModel, MeasureModel, TimedModel, ClockedModel,
        SpellModel, DateModel, AttestModel, StepModel, TogetherModel, HazardModel,
        ReckoningModel,
    )  # fmt: skip
    wanted = {field.alias or name for model in models for name, field in model.model_fields.items()}
    assert wanted <= shown, f"not shown: {sorted(wanted - shown)}"
    assert set(REPLY_KINDS) <= shown


# -- words -------------------------------------------------------------------------------------


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_no_page_names_a_machine(page: Path) -> None:
    text = read(page)
    assert not re.search(r"(?<![\w.])/(?:home|tmp|work|root|Users)/", text)
