"""report.html: self-contained, escaped, readable, and never a promise."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path

import pytest
from report_scenarios import (
    CHECKLIST,
    SCENARIOS,
    Recorder,
    hostile,
    released,
    typed_release_and_resumption,
)

import voicecheck.report
from voicecheck.report.build import build
from voicecheck.report.html import to_html

TEMPLATES = Path(voicecheck.report.__file__).parent / "templates"
ALL = {**SCENARIOS, "hostile": hostile}
VOID = {"meta", "col", "br", "hr", "img", "input", "link", "source"}


def _html(name: str) -> str:
    return to_html(build(ALL[name](), CHECKLIST)).decode("utf-8")


class Page(HTMLParser):
    """Elements with attributes, the text by element, and the nesting checked."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.open: list[str] = []
        self.text: list[str] = []
        self.feed(text)
        self.close()
        assert self.open == [], self.open

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open and self.open[-1] == tag, (tag, self.open)
        self.open.pop()

    def handle_data(self, data: str) -> None:
        if self.open and self.open[-1] not in ("style", "title"):
            self.text.append(data)

    @property
    def words(self) -> str:
        return " ".join("".join(self.text).split())

    def tags(self, *names: str) -> list[tuple[str, dict[str, str | None]]]:
        return [element for element in self.elements if element[0] in names]


@pytest.mark.parametrize("name", sorted(ALL))
def test_j3_the_same_records_give_the_same_page(name: str) -> None:
    """J3 … and report.html, byte for byte."""
    assert _html(name) == _html(name)


@pytest.mark.parametrize("name", sorted(ALL))
def test_one_file_without_scripts_or_outside_addresses(name: str) -> None:
    page = Page(_html(name))
    assert not page.tags("script", "link", "img", "iframe", "object", "embed", "form", "base", "a")
    for _, attributes in page.elements:
        for attribute, value in attributes.items():
            assert not attribute.startswith("on")
            assert attribute not in ("href", "srcset", "style", "action")
            if attribute == "src":
                assert value and re.fullmatch(r"[A-Za-z0-9._-]+\.(flac|wav)", value)
    style = _html(name).partition("<style>")[2].partition("</style>")[0]
    assert "url(" not in style
    assert "@import" not in style


def test_no_markup_comes_in_with_a_text() -> None:
    text = _html("hostile")
    assert "<script" not in text
    assert "<img" not in text
    assert "alert(1)" in text  # it is there, as text
    page = Page(text)
    assert not page.tags("script", "img")
    quiet = Page(_html("stop"))
    known = {tag for tag, _ in quiet.elements} | {"ol", "ul", "li", "h3"}
    assert {tag for tag, _ in page.elements} <= known
    assert "</td><script>alert(1)</script>" in page.words


@pytest.mark.parametrize("source", sorted(TEMPLATES.iterdir()), ids=lambda path: path.name)
def test_no_template_calls_a_vehicle_safe_or_fit(source: Path) -> None:
    text = re.sub(r"\{#.*?#\}", "", source.read_text("utf-8"), flags=re.DOTALL)
    assert not re.search(r"\b(safe|safely|safety|fit|fitness|roadworthy)\b", text, re.IGNORECASE)
    assert "|safe" not in text
    assert "autoescape" not in text


@pytest.mark.parametrize("name", sorted(SCENARIOS))
def test_no_page_calls_a_vehicle_safe_or_fit(name: str) -> None:
    words = Page(_html(name)).words
    assert not re.search(r"\b(safe|safely|safety|fit|roadworthy)\b", words, re.IGNORECASE)


def test_the_first_words_answer_the_three_questions() -> None:
    for name, expected in {
        "all-good": ("All required items answered", "nothing that stops it", "Nothing to mend"),
        "stop": ("Not to be driven: The kingpin is bent", "No.", "A mechanic."),
        "not-finished": ("Not finished: 6 items", "Not yet. 6 items open.", "The driver finishes"),
        "released": ("released in person", "identity not verified", "stands in the release"),
        "guide-value": (
            "no stopping defect reported",
            "1 minor defect",
            "Minor defects: a mechanic.",
        ),
        "practice": ("Practice", "Practice says nothing about leaving", "Nothing to mend"),
    }.items():
        words = Page(_html(name)).words
        top = words[: words.index("Tractor")]
        assert "May it leave?" in top
        assert "What stops it?" in top
        assert "Who mends it?" in top
        for part in expected:
            assert part in top, (name, part, top)
        assert len(top.split()) < 90


def test_practice_is_marked_on_every_page_and_an_inspection_is_not() -> None:
    practice = _html("practice")
    assert "Practice. This is no inspection and no evidence." in practice
    # The strip is fixed in print, so the print engine repeats it on every page (CSS 2.2
    # section 9.6.1, "fixed": repeated on every page in paged media).
    assert '<div class="edge" aria-hidden="true">PRACTICE, not evidence</div>' in practice
    printed = practice.partition("@media print")[2]
    assert re.search(r"\.edge \{[^}]*position: fixed", printed)
    assert "practice" in practice.partition("How this report was made")[2]
    for name in SCENARIOS:
        if name != "practice":
            assert "PRACTICE" not in _html(name)


def test_typed_stands_on_every_line() -> None:
    page = _html("not-finished")
    report = build(SCENARIOS["not-finished"](), CHECKLIST)
    replies = [
        heard
        for step in report.steps
        for heard in (*(h for a in step.answers for h in a.heard), *step.refused)
    ]
    assert len(replies) > 5
    assert page.count('<span class="tag">typed</span>') == len(replies)
    assert '<span class="tag">typed</span>' not in _html("all-good")


def test_a_typed_release_was_not_heard() -> None:
    page = Page(to_html(build(typed_release_and_resumption(), CHECKLIST)).decode("utf-8")).words
    assert "entered worn" in page
    assert "heard worn" not in page
    assert "R. Example, workshop, measured again, within the maker's limit typed" in page
    assert "It rests on the release of defect 1: read it below." in page
    assert "Program voicecheck 0.1.0; no recogniser; no voice." in page
    spoken = Page(to_html(build(released(), CHECKLIST)).decode("utf-8")).words
    assert "heard worn" in spoken
    assert "recogniser pocketsphinx 5.0.4," in spoken


def test_that_it_was_broken_off_stands_on_the_first_screen() -> None:
    report = build(typed_release_and_resumption(), CHECKLIST)
    page = Page(to_html(report).decode("utf-8")).words
    first = page[: page.index("Before the vehicle moves")]
    last = [event for event in report.events if event.event == "resumed"][-1]
    assert f"Broken off and resumed2 times, last at {last.wall[11:19]}" in first
    assert "resumed after less than a minute" in page
    assert "resumed after 12 minutes" in page
    assert "Broken off" not in Page(_html("all-good")).words


@pytest.mark.parametrize("name", sorted(SCENARIOS))
def test_every_step_stands_in_the_page(name: str) -> None:
    words = Page(_html(name)).words
    for step in CHECKLIST.steps:
        assert step.item in words


def test_what_must_stand_in_a_page() -> None:
    words = Page(_html("stop")).words
    for part in (
        "Before the vehicle moves",
        "Open stop",
        "Stops: Leaving the yard; Backing under the trailer.",
        "quick",
        "not taken: not among the answers",
        "Recorded: replies only; audio may be deleted after 23 Feb 2027",
        "pocketsphinx 5.0.4",
        "espeak en-us",
        "voicecheck 0.1.0",
        "Not seen",
        "Blocked by a stop",
        "Not reached",
    ):
        assert part in words, part
    assert "guide value" in Page(_html("guide-value")).words
    assert "legal effect not claimed" in Page(_html("all-good")).words.lower()
    released = Page(_html("released")).words
    assert "in person" in released
    assert "identity not verified" in released
    head = build(SCENARIOS["stop"](), CHECKLIST).chain.head
    assert head in words


def test_r1_record_numbers_stand_beside_statements() -> None:
    report = build(SCENARIOS["stop"](), CHECKLIST)
    words = Page(_html("stop")).words
    for defect in report.defects:
        assert f"records {', '.join(map(str, defect.records))}" in words


# -- WCAG 2.2 --------------------------------------------------------------------------------


@pytest.mark.parametrize("name", sorted(SCENARIOS))
def test_structure(name: str) -> None:
    text = _html(name)
    page = Page(text)
    assert text.startswith("<!DOCTYPE html>")
    # 3.1.1 Language of Page; 2.4.2 Page Titled.
    assert page.tags("html")[0][1]["lang"] == "en"
    assert len(page.tags("title")) == 1
    assert len(page.tags("main")) == 1
    # 1.3.1 Info and Relationships: headings in order, none skipped.
    levels = [int(tag[1]) for tag, _ in page.tags("h1", "h2", "h3", "h4")]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after - before <= 1 for before, after in pairwise(levels))
    # 1.3.1: every table has a caption and every header cell a scope (technique H63).
    assert len(page.tags("caption")) == len(page.tags("table"))
    assert all(
        attributes.get("scope") in ("col", "row", "rowgroup") for _, attributes in page.tags("th")
    )
    # 4.1.2 Name, Role, Value: every player has a name, none loads or plays by itself.
    for _, attributes in page.tags("audio"):
        assert attributes["aria-label"]
        assert attributes["preload"] == "none"
        assert "autoplay" not in attributes
    ids = [a["id"] for _, a in page.elements if "id" in a]
    assert len(ids) == len(set(ids))
    for _, attributes in page.elements:
        if "aria-labelledby" in attributes:
            assert attributes["aria-labelledby"] in ids
    # 1.4.4 Resize Text: zooming is not forbidden.
    viewport = next(a["content"] for t, a in page.tags("meta") if a.get("name") == "viewport")
    assert viewport == "width=device-width, initial-scale=1"


def _palettes() -> dict[str, dict[str, str]]:
    """Custom properties of the light, dark and print :root blocks, each over the light ones."""
    css = (TEMPLATES / "report.css").read_text("utf-8")
    blocks = re.findall(r":root \{([^}]*)\}", css)
    assert len(blocks) == 3
    found = [dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6});", block)) for block in blocks]
    names = ("light", "dark", "print")
    return {name: found[0] | block for name, block in zip(names, found, strict=True)}


def _luminance(colour: str) -> float:
    """WCAG 2.2, definition of "relative luminance" (sRGB)."""
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    r, g, b = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def _contrast(one: str, other: str) -> float:
    """WCAG 2.2, definition of "contrast ratio"."""
    lighter, darker = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def test_the_contrast_formula_itself() -> None:
    # WCAG 2.2: the ratio runs from 1 to 21; #767676 on white is the well-known lightest grey
    # that reaches 4.5 (from memory).
    assert _contrast("#000000", "#ffffff") == pytest.approx(21)
    assert _contrast("#777777", "#777777") == pytest.approx(1)
    assert _contrast("#767676", "#ffffff") >= 4.5 > _contrast("#777777", "#ffffff")


@pytest.mark.parametrize("scheme", ["light", "dark", "print"])
def test_text_contrast(scheme: str) -> None:
    # WCAG 2.2, success criterion 1.4.3 Contrast (Minimum), AA: 4.5 to 1 for text.
    palette = _palettes()[scheme]
    for ink in ("ink", "quiet"):
        assert _contrast(palette[ink], palette["paper"]) >= 4.5, ink
    if scheme != "print":  # in print the tab is ink on paper with a border
        for tone in ("stop", "hold", "done"):
            assert _contrast(palette["on-mark"], palette[tone]) >= 4.5, tone


@pytest.mark.parametrize("scheme", ["light", "dark", "print"])
def test_line_contrast(scheme: str) -> None:
    # WCAG 2.2, success criterion 1.4.11 Non-text Contrast, AA: 3 to 1 for what is needed to
    # understand the content; the frame of the verdict and the focus ring are.
    palette = _palettes()[scheme]
    for line in ("stop", "hold", "done", "ink", "rule"):
        assert _contrast(palette[line], palette["paper"]) >= 3, line


def test_every_colour_comes_from_the_tested_palette() -> None:
    css = (TEMPLATES / "report.css").read_text("utf-8")
    rest = re.sub(r":root \{[^}]*\}", "", css)
    used = set(re.findall(r"var\(--([a-z-]+)\)", rest))
    assert used - {"tone"} <= set(_palettes()["light"])
    assert re.findall(r"#[0-9a-fA-F]{3,8}\b", rest) in ([], ["#000000"])
    assert not re.search(r"\brgba?\(|\bhsl|opacity", rest)


def test_no_colour_carries_a_meaning_alone() -> None:
    # WCAG 2.2, success criterion 1.4.1 Use of Color: the word stands on the tab of the frame.
    marks = {name: re.search(r'<p class="mark">([^<]+)</p>', _html(name)) for name in SCENARIOS}
    assert {name: mark and mark[1] for name, mark in marks.items()} == {
        "all-good": "Answered",
        "stop": "Stopped",
        "not-finished": "Open items",
        "released": "Answered, on a release",
        "guide-value": "Answered",
        "practice": "Practice. Answered",
    }


def test_an_inspection_of_nothing_yet() -> None:
    recorder = Recorder()
    page = Page(to_html(build(recorder.records, CHECKLIST)).decode("utf-8"))
    assert "Not finished: 13 items unanswered, next: Trailer number" in page.words
    assert "Last record (not closed)" in page.words


def test_what_was_not_named_is_not_given() -> None:
    report = build(Recorder().records, CHECKLIST)
    unnamed = report.model_copy(
        update={"subject": report.subject.model_copy(update={"driver": "", "place": ""})}
    )
    page = Page(to_html(unnamed).decode("utf-8"))
    assert "Drivernot given" in page.words
    assert "Placenot given" in page.words
    assert "Carriernot given" not in page.words
