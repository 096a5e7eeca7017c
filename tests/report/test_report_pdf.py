"""report.pdf: tagged, complete on its first sheet, literal, and the same bytes each time.

Checked against PDF/UA-1 (ISO 14289-1:2014) as far as a file can be checked by reading it: section 5
(identification), 7.1 (tagged, title shown, language), 7.4 (headings), 7.5 (tables), 7.21 (fonts
embedded). The clause numbers are from memory.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from itertools import pairwise
from typing import Any

import pikepdf
import pytest
from pypdf import PdfReader
from report_scenarios import (
    CHECKLIST,
    SCENARIOS,
    Recorder,
    hostile,
    typed_release_and_resumption,
)

from voicecheck.report.build import Report, build
from voicecheck.report.pdf import DEFECTS_FIRST, PRINTABLE, to_pdf

ALL = {**SCENARIOS, "hostile": hostile}


def _report(name: str) -> Report:
    return build(ALL[name](), CHECKLIST)


def _sheets(pdf: bytes) -> list[str]:
    return [" ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(pdf)).pages]


def _tags(element: Any) -> Iterator[tuple[str, Any]]:
    """Every element of the structure tree with its type, parents first."""
    if isinstance(element, pikepdf.Dictionary) and "/S" in element:
        yield str(element.S), element
    children = element.get("/K", []) if isinstance(element, pikepdf.Dictionary) else element
    if not isinstance(children, pikepdf.Array | list):
        children = [children]
    for child in children:
        if isinstance(child, pikepdf.Dictionary):
            yield from _tags(child)


@pytest.mark.parametrize("name", sorted(ALL))
def test_tagged_as_pdf_ua_asks(name: str) -> None:
    with pikepdf.open(io.BytesIO(to_pdf(_report(name)))) as pdf:
        root = pdf.Root
        assert bool(root.MarkInfo.Marked)
        assert str(root.Lang) == "en"
        assert bool(root.ViewerPreferences.DisplayDocTitle)
        with pdf.open_metadata() as metadata:
            assert metadata["pdfuaid:part"] == "1"
            assert metadata["dc:title"] == _report(name).subject.title
        tags = list(_tags(root.StructTreeRoot))
        kinds = [kind for kind, _ in tags]
        headings = [kind for kind in kinds if kind in {f"/H{n}" for n in range(1, 7)}]
        assert headings[0] == "/H1"
        assert headings.count("/H1") == 1
        levels = [int(kind[2:]) for kind in headings]
        assert all(after <= before + 1 for before, after in pairwise(levels))
        tables = [element for kind, element in tags if kind == "/Table"]
        with_head = [t for t in tables if "/TH" in {kind for kind, _ in _tags(t)}]
        assert len(tables) - len(with_head) == 1, "all but the block of what was given"
        for page in pdf.pages:
            assert str(page.get("/Tabs", "")) == "/S"
        for value in pdf.objects:
            if isinstance(value, pikepdf.Dictionary) and value.get("/Type") == "/FontDescriptor":
                assert any(f"/FontFile{n}" in value for n in ("", "2", "3")), "not embedded"


@pytest.mark.parametrize("name", sorted(ALL))
def test_the_first_sheet_is_complete_in_itself(name: str) -> None:
    report = _report(name)
    first = _sheets(to_pdf(report))[0]
    s = report.subject
    wanted = [report.headline.text, "May it leave?", "What stops it?", "Who mends it?"]
    wanted += [s.carrier, s.driver, s.place, *(unit.value for unit in s.units)]
    wanted += ["Statement of the driver", report.chain.head]
    for text in wanted:
        assert "".join(text.split()) in "".join(first.split()), text
    if not report.defects:
        assert "None reported" in first
    lowered = first.lower()
    assert " is safe" not in lowered
    assert " fit to" not in lowered


def test_more_defects_than_the_first_sheet_holds() -> None:
    recorder = Recorder()
    recorder.unit()
    for n in range(DEFECTS_FIRST + 5):
        recorder.ask("jaws")
        recorder.hear("jaws", "not closed")
        recorder.defect("jaws", "jaws-not-closed", f"Finding {n}, of an ordinary length", "major")
    report = build(recorder.finish("stopped"), CHECKLIST)
    sheets = _sheets(to_pdf(report))
    assert "And 5 more defects, on the following sheets." in sheets[0]
    assert "Statement of the driver" in sheets[0]
    rest = " ".join(sheets[1:])
    assert all(f"Finding {n}" in rest for n in range(DEFECTS_FIRST + 5))


def test_a_typed_release_and_a_resumption_stand_on_the_first_sheet() -> None:
    first = _sheets(to_pdf(build(typed_release_and_resumption(), CHECKLIST)))[0]
    for text in ("entered “worn”", "limit”, typed", "Broken off and resumed", "2 times, last at"):
        assert "".join(text.split()) in "".join(first.split()), text
    spoken = _sheets(to_pdf(_report("released")))[0]
    assert "heard “worn”" in spoken
    assert "Broken off" not in spoken


def test_what_was_not_named_is_not_given() -> None:
    report = _report("all-good")
    unnamed = report.model_copy(
        update={"subject": report.subject.model_copy(update={"driver": "", "place": ""})}
    )
    assert "not given" not in _sheets(to_pdf(report))[0]
    assert _sheets(to_pdf(unnamed))[0].count("not given") == 2


def test_practice_is_marked_on_every_sheet() -> None:
    for sheet in _sheets(to_pdf(_report("practice"))):
        assert "Practice, not evidence." in sheet


def test_text_of_a_report_is_never_markup() -> None:
    recorder = Recorder(
        driver='#panic("x") *bold* $x$ <a> @ref', carrier="日本 Łódź \\ e\u0301 \u202e\t"
    )
    recorder.unit()
    sheets = _sheets(to_pdf(build(recorder.finish("not finished"), CHECKLIST)))
    assert '#panic("x") *bold* $x$ <a> @ref' in sheets[0]
    assert "□□ Łódź \\ é □□" in sheets[0]
    assert "report.html shows it" in sheets[0]


def test_every_letter_that_is_let_through_is_in_the_font() -> None:
    recorder = Recorder(place=" ".join(sorted(PRINTABLE)))
    recorder.unit()
    to_pdf(build(recorder.finish("not finished"), CHECKLIST))


def test_every_answer_is_on_paper() -> None:
    report = _report("released")
    text = "".join(" ".join(_sheets(to_pdf(report))).split())
    for step in report.steps:
        for answer in step.answers:
            assert "".join(answer.text.split()) in text
    for defect in report.defects:
        assert "".join(defect.text.split()) in text


def test_j3_the_same_records_give_the_same_bytes() -> None:
    assert to_pdf(_report("released")) == to_pdf(_report("released"))
