"""What the law wants in a driver's report, and where it stands in report.json.

Sources: 49 CFR 396.11(a)(2) (identify the vehicle; list each defect that could affect safety or
lead to a breakdown, or say that there was none; the driver signs), 396.11(a)(3) and 396.13
(certificate of repair, next driver's review: at the desk, tests/desk). Canada: Québec, C-24.2,
r. 32, s. 197.0.3 (16 Sep 2020), the contents of the report of a circle check: plate or unit number,
operator, date and time, municipality or place on the road, defects or none, signed statement of the
person who inspected, name in block letters, odometer. National Safety Code Standard 13 and O. Reg.
199/07 s. 7 ask for the same, from memory. A spoken "affirm" stands where a signature is asked; its
effect in law is not claimed.
"""

from __future__ import annotations

import dataclasses
import json
from typing import Any

import pytest

from tests.checklists.test_day_lists import HOME, Day, compiled
from voicecheck.report.build import build, schema, to_json
from voicecheck.session import events as e

REQUIRED = (
    # law, what, path in report.json; * stands for each element of a list that is not empty
    ("49 CFR 396.11(a)(2)", "vehicle identified", "subject.units.*.value"),
    ("49 CFR 396.11(a)(2)", "defects, or none", "headline.text"),
    ("49 CFR 396.11(a)(2)", "each defect", "defects.*.text"),
    ("49 CFR 396.11(a)(2)", "driver", "subject.driver"),
    ("49 CFR 396.11(a)(2)", "driver's statement", "attestation.answer"),
    ("Québec 197.0.3", "carrier", "subject.carrier"),
    ("Québec 197.0.3", "units as read off", "subject.read_off.*.value"),
    ("Québec 197.0.3", "place", "subject.place"),
    ("Québec 197.0.3", "date and time", "subject.ended"),
    ("Québec 197.0.3", "who inspected", "attestation.name"),
    ("Québec 197.0.3", "that it was done as required", "attestation.statement"),
    ("Québec 197.0.3", "defects, or none", "headline.text"),
    ("NSC 13 (memory)", "class of each defect", "defects.*.severity"),
    ("NSC 13 (memory)", "where the defect is", "defects.*.item"),
)


class Canadian(Day):
    def raw(self, event: e.Event) -> Any:
        if isinstance(event, e.Started):
            opened = dataclasses.replace(
                event.opened, driver="Odalys Brandt", carrier="Harrow Lake Haulage", place="Yard"
            )
            event = dataclasses.replace(event, opened=opened)
        return super().raw(event)


@pytest.fixture(scope="module")
def report() -> dict[str, Any]:
    """A Canadian report after the trip with one defect."""
    checklist = compiled("post-trip", jurisdiction="CA-ON")
    day = Canadian(checklist, "CA-ON")
    read = ("four eight two nine one five", "affirm")
    for words in (*HOME[:6], *read, HOME[6], "mirrors broken", "nothing else", *HOME[8:]):
        day.reply(words)
    assert day.outcome
    value = json.loads(to_json(build(day.records, checklist)))
    assert isinstance(value, dict)
    return value


def _values(value: Any, path: str) -> list[Any]:
    for n, name in enumerate(path.split(".")):
        if name == "*":
            rest = ".".join(path.split(".")[n + 1 :])
            assert value, path
            return [found for part in value for found in _values(part, rest)]
        value = value[name]
    return [value]


def _in_schema(path: str) -> bool:
    whole = schema()
    node: Any = whole
    for name in path.split("."):
        while "$ref" in node:
            node = whole["$defs"][node["$ref"].rpartition("/")[2]]
        if "anyOf" in node:  # a model or null
            node = next(part for part in node["anyOf"] if "$ref" in part)
            node = whole["$defs"][node["$ref"].rpartition("/")[2]]
        node = node["items"] if name == "*" else node["properties"].get(name)
        if node is None:
            return False
    return True


@pytest.mark.parametrize(("law", "what", "path"), REQUIRED)
def test_it_is_in_the_report_and_in_its_published_schema(
    report: dict[str, Any], law: str, what: str, path: str
) -> None:
    assert _in_schema(path), f"{law}: {what}"
    assert all(_values(report, path)), f"{law}: {what}"


def test_the_odometer_is_printed_with_the_units(report: dict[str, Any]) -> None:
    read = {value["name"]: value["value"] for value in report["subject"]["read_off"]}
    assert read["odometer"] == "482915 km"
    assert set(read) == {"number of the tractor", "number of the trailer", "odometer"}


def test_a_path_that_is_not_there_is_noticed() -> None:
    assert not _in_schema("subject.colour")
    assert not _in_schema("defects.*.colour")
