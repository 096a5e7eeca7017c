"""The status page: what stands on it, and the page itself in a real Chromium.

The browser's part is skipped where the system has none; its name is looked up, none is fetched.
"""

from __future__ import annotations

import json
import shutil
import socket
import subprocess
import urllib.error
import urllib.request
from collections.abc import Iterator, Sequence

import pytest
from axe_core_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, Request, Route, expect, sync_playwright

from tests.desk.test_desk_browser import AA, ARGUMENTS, CHROMIUM
from tests.session.small import Hand, small
from voicecheck.audio.noise import to_samples, wind
from voicecheck.audio.ports import BLOCK
from voicecheck.run.page import FALL_DB, Board, show
from voicecheck.session import actions as a
from voicecheck.session import events as e

MM = 96 / 25.4  # CSS pixels a CSS millimetre (W3C, CSS Values and Units Level 3, 6.2)
LONG = Board()
LONG.place = "At the near side of the trailer, behind the landing gear"
LONG.hold = (
    "Hold. Not established: The jaws are closed round the shank. Not established: The release "
    "handle is in. Next: Look at the jaws."
)
LONG.question = "Doors, hinges and lock. Closed and locked, or not locked?"


class Shown(Hand):
    """A session whose turns are told to a board."""

    def __init__(self) -> None:
        self.board = Board()
        self.board.compiled = small()
        super().__init__()

    def raw(self, event: e.Event) -> Sequence[a.Action]:
        actions = super().raw(event)
        self.board.told(actions)
        return actions


def test_place_and_question_of_the_step_that_is_asked() -> None:
    hand = Shown()
    step = hand.session.compiled.step(hand.step)
    assert hand.board.place == hand.session.compiled.places[step.place]
    assert hand.board.question.endswith(step.variants[0].ask) or "?" in hand.board.question
    assert hand.board.hold == ""
    hand.reply("seven kilo four two")
    assert hand.board.question.startswith("I heard:")


def test_a_hold_stands_until_the_step_that_clears_it_begins() -> None:
    hand = Shown()
    hand.reply("seven kilo four two", "affirm", "march twenty twenty seven", "affirm")
    words = "chocked instead"  # gives no "parked", which the next step needs
    turn = hand.raw(e.ReplyHeard(at=hand.at(), words=words, certainty="typed"))
    said = [x for x in turn if isinstance(x, a.Say)]
    assert hand.board.hold == said[-1].text
    assert hand.board.hold.startswith("Hold. Not established: Both knobs are out.")
    assert hand.board.question == ""
    hand.tell(e.PromptEnded(at=hand.at(), name=said[-1].name))
    assert hand.board.hold == ""
    assert hand.board.question


def test_the_level_rises_at_once_and_falls_slowly() -> None:
    board = Board()
    assert board.state()["level"] is None
    board.hear(bytes(2 * BLOCK))
    assert board.state()["level"] == -90
    board.hear(to_samples(wind(BLOCK / 16000, 1), -12.0))
    loud = board.level
    assert loud is not None
    assert loud > -12.0  # the peak lies above the mean
    board.hear(bytes(2 * BLOCK))
    assert board.level == pytest.approx(loud - FALL_DB)


def test_only_this_machine_and_only_by_its_name() -> None:
    port = show(Board(), 0, lambda line: None)
    with urllib.request.urlopen(f"http://127.0.0.1:{port}/state", timeout=10) as answer:
        assert json.load(answer)["question"] == ""
    asked = urllib.request.Request(f"http://127.0.0.1:{port}/", headers={"Host": "elsewhere"})
    with pytest.raises(urllib.error.HTTPError) as refused:
        urllib.request.urlopen(asked, timeout=10)
    assert refused.value.code == 400
    listening = subprocess.run(["ss", "-ltnH", f"sport = :{port}"], capture_output=True, text=True,
                               check=False) if shutil.which("ss") else None  # fmt: skip
    if listening is not None and listening.stdout:
        assert f"127.0.0.1:{port}" in listening.stdout


def test_a_port_in_use_leaves_the_walk_without_a_page() -> None:
    told: list[str] = []
    with socket.create_server(("127.0.0.1", 0)) as taken:
        assert show(Board(), taken.getsockname()[1], told.append) == 0
    assert told[0].startswith("(No status page")


# -- in a browser --------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield browser
        browser.close()


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    """The page with a full board, 1280 by 800."""
    LONG.hear(to_samples(wind(BLOCK / 16000, 1), -20.0))
    port = show(LONG, 0, lambda line: None)
    page = browser.new_page(viewport={"width": 1280, "height": 800})
    page.goto(f"http://127.0.0.1:{port}/")
    expect(page.locator("#hold")).to_have_text(LONG.hold)
    yield page
    page.close()


@pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine")
@pytest.mark.xdist_group("browser")
def test_wcag_2_2_by_axe_core_with_the_enhanced_contrast(page: Page) -> None:
    """W3C, WCAG 2.2 (2023), levels A and AA; and 1.4.6, contrast of level AAA."""
    for options in (AA, {"runOnly": ["color-contrast-enhanced"]}):
        found = Axe().run(page, options=options)
        assert found["passes"]
        assert [(v["id"], [node["html"] for node in v["nodes"]]) for v in found["violations"]] == []


@pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine")
@pytest.mark.xdist_group("browser")
def test_capital_letters_are_12_css_millimetres_high_in_every_line(page: Page) -> None:
    heights = page.evaluate(
        """() => [...document.querySelectorAll('main p, main h1')].map(part => {
            const style = getComputedStyle(part);
            const pen = document.createElement('canvas').getContext('2d');
            pen.font = `${style.fontWeight} ${style.fontSize} ${style.fontFamily}`;
            return pen.measureText('H').actualBoundingBoxAscent;
        })"""
    )
    assert len(heights) == 4
    assert min(heights) >= 12 * MM
    assert page.evaluate("document.getElementById('scale').offsetWidth") == pytest.approx(
        100 * MM, abs=1
    )


@pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine")
@pytest.mark.xdist_group("browser")
def test_hold_and_question_are_seen_without_scrolling(page: Page) -> None:
    for part in ("hold", "question"):
        box = page.locator(f"#{part}").bounding_box()
        assert box is not None
        assert box["y"] + box["height"] <= 800
    assert page.evaluate("document.documentElement.scrollWidth") <= 1280


@pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine")
@pytest.mark.xdist_group("browser")
def test_nothing_but_its_own_state_is_fetched_and_nothing_old_is_left(page: Page) -> None:
    asked: list[str] = []

    def note(request: Request) -> None:
        asked.append(request.url)

    page.on("request", note)
    page.reload()
    expect(page.locator("#question")).to_have_text(LONG.question)
    hosts = {url.split("/")[2].split(":")[0] for url in asked if url.startswith("http")}
    assert hosts == {"127.0.0.1"}
    assert {url.rpartition("/")[2] for url in asked if url.startswith("http")} <= {"", "state"}

    def cut(route: Route) -> None:
        route.abort()

    page.route("**/state", cut)
    expect(page.locator("#question")).to_have_text("The program does not answer.")
    assert page.inner_text("#hold") == ""
    assert page.inner_text("#place") == ""
