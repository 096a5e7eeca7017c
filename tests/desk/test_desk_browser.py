"""The desk in a real Chromium: playing a reply, by keyboard only, and WCAG 2.2 AA by axe-core.

Skipped where the system has no Chromium; its name is looked up, none is ever fetched.
"""

from __future__ import annotations

import io
import shutil
import threading
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile
import uvicorn
from axe_core_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, sync_playwright

from tests.desk.generated import inspection, sounding, write
from tests.desk.test_desk_web import NOW
from voicecheck.desk import log
from voicecheck.desk.web import Desk, application
from voicecheck.report.build import Report
from voicecheck.report.files import JSON
from voicecheck.report.html import to_html

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
pytestmark = [
    pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine"),
    pytest.mark.xdist_group("browser"),
]
ARGUMENTS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--autoplay-policy=no-user-gesture-required",
]  # fmt: skip
AA = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}
PAGES = (
    "/", "/inspections", "/questions", "/questions?unit=HLT-02K2", "/inspection/couple-00002",
    "/inspection/couple-00002/checked", "/inspection/nobody",
    "/inspection/couple-00002/report.html",
)  # fmt: skip


def _flac(seconds: float) -> bytes:
    tone = np.sin(np.arange(int(16000 * seconds)) * 0.1)
    data = io.BytesIO()
    soundfile.write(data, (tone * 12000).astype("int16"), 16000, format="FLAC", subtype="PCM_16")
    return data.getvalue()


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield browser
        browser.close()


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, Path]]:
    """A desk on a free port, and its folder."""
    folder = tmp_path_factory.mktemp("inspections")
    write(folder, inspection(0, "complete"))
    write(folder, inspection(1, "noted"))
    stopped = sounding(folder, inspection(2, "stopped"), _flac(0.4))
    report = Report.model_validate_json((stopped / JSON).read_bytes())
    (stopped / "report.html").write_bytes(to_html(report))
    desk = Desk(folder, {}, lambda: NOW)
    desk.sync()
    server = uvicorn.Server(uvicorn.Config(application(desk), port=0, log_level="warning"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        thread.join(0.05)
    port = server.servers[0].sockets[0].getsockname()[1]
    yield f"http://127.0.0.1:{port}", folder
    server.should_exit = True
    thread.join(10)


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    page = browser.new_page()
    yield page
    page.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("path", PAGES)
def test_wcag_2_2_aa_by_axe_core(
    page: Page, desk: tuple[str, Path], path: str, scheme: str
) -> None:
    """W3C, WCAG 2.2 (2023), levels A and AA, as far as axe-core can tell."""
    page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
    page.goto(desk[0] + path)
    found = Axe().run(page, options=AA)["violations"]
    assert [(v["id"], [node["html"] for node in v["nodes"]]) for v in found] == []


@pytest.mark.parametrize("path", PAGES)
def test_a_phone_needs_no_sideways_scrolling(page: Page, desk: tuple[str, Path], path: str) -> None:
    """WCAG 2.2, 1.4.10 Reflow: 320 CSS pixels."""
    page.set_viewport_size({"width": 320, "height": 640})
    page.goto(desk[0] + path)
    assert page.evaluate("document.documentElement.scrollWidth") <= 320


def test_a_reply_is_played(page: Page, desk: tuple[str, Path]) -> None:
    page.goto(f"{desk[0]}/inspection/couple-00002")
    ended = page.evaluate(
        """async () => {
            const sound = document.querySelector('audio');
            const end = new Promise((done, fail) => {
                sound.onended = () => done(sound.currentTime);
                sound.onerror = () => fail(new Error('cannot be played'));
            });
            await sound.play();
            return await end;
        }"""
    )
    assert ended == pytest.approx(0.4, abs=0.05)


def test_a_repair_is_certified_with_the_keyboard_only(page: Page, desk: tuple[str, Path]) -> None:
    address, folder = desk
    page.goto(address)

    def tab_to(wanted: str) -> None:
        for _ in range(80):
            page.keyboard.press("Tab")
            focused = page.evaluate(
                "document.activeElement.getAttribute('href') || document.activeElement.id || "
                "document.activeElement.textContent"
            )
            if focused == wanted:
                outline = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
                assert outline != "none", "where the keyboard is must be seen"
                return
        raise AssertionError(f"the keyboard does not come to {wanted}")

    tab_to("/inspection/couple-00001")
    page.keyboard.press("Enter")
    page.wait_for_url("**/inspection/couple-00001")
    tab_to("who-1")
    page.keyboard.type("R. Mechanic")
    tab_to("note-1")
    page.keyboard.type("greased")
    tab_to("No repair needed")
    page.keyboard.press("Enter")
    page.wait_for_url("**/inspection/couple-00001#decisions")
    assert "No repair needed: R. Mechanic" in page.inner_text("main")
    (mark,) = log.read(folder)
    assert (mark.kind, mark.who, mark.note) == ("not needed", "R. Mechanic", "greased")


def test_print_leaves_the_forms_out(page: Page, desk: tuple[str, Path]) -> None:
    page.goto(f"{desk[0]}/inspection/couple-00002")
    page.emulate_media(media="print")
    assert not page.locator("form").first.is_visible()
    assert page.locator("h1").is_visible()
