"""The desk's pages, asked without a browser: decisions, files, and who may ask."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from tests.desk.generated import inspection, sounding, write
from voicecheck.desk import log
from voicecheck.desk.server import serve
from voicecheck.desk.web import Desk, application
from voicecheck.errors import DeskNotWritable

NOW = datetime.datetime.fromisoformat("2026-11-25T08:00:00-06:00")


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    write(tmp_path, inspection(0, "complete"))
    write(tmp_path, inspection(1, "noted"))
    sounding(tmp_path, inspection(2, "stopped"), b"fLaC not really")
    desk = Desk(tmp_path, {}, lambda: NOW)
    desk.sync()
    yield desk
    desk.stop()


@pytest.fixture
def client(desk: Desk) -> TestClient:
    return TestClient(application(desk), base_url="http://127.0.0.1", follow_redirects=False)


def _decide(client: TestClient, desk: Desk, id: str, **fields: str) -> int:
    data = {"token": desk.token, "who": "R. Mechanic", **fields}
    return client.post(f"/inspection/{id}/decide", data=data).status_code


def test_the_first_page_counts_what_needs_a_person(client: TestClient) -> None:
    page = client.get("/").text
    counts = dict(
        reversed(pair)  # type: ignore[misc]
        for pair in re.findall(r"<strong>(\d+)</strong> ([A-Z][a-z ]+)</a>", page)
    )
    assert counts == {
        "Stopped": "1", "To certify": "1", "To review": "0", "Papers": "0",
        "Not finished": "0", "Recordings": "0",
    }  # fmt: skip
    assert "Turn lamps" in page
    assert " is safe" not in page.lower()


def test_a_repair_is_certified_reviewed_and_taken_back(client: TestClient, desk: Desk) -> None:
    id = "couple-00002"
    assert _decide(client, desk, id, kind="reviewed") == 422, "certify first"
    assert _decide(client, desk, id, kind="repaired", defect="1", note="new lamp") == 303
    page = client.get(f"/inspection/{id}").text
    assert "Repaired</strong>: R. Mechanic" in page
    assert "new lamp" in page
    assert _decide(client, desk, id, kind="not needed", defect="1") == 422, "only once"
    assert _decide(client, desk, id, kind="reviewed", who="D. Driver") == 303
    assert _decide(client, desk, id, kind="reviewed", who="D. Driver") == 422
    assert _decide(client, desk, id, kind="taken back", of="1") == 303
    assert _decide(client, desk, id, kind="taken back", of="1") == 422
    kinds = [(mark.kind, mark.who) for mark in log.read(desk.folder)]
    assert kinds == [
        ("repaired", "R. Mechanic"), ("reviewed", "D. Driver"), ("taken back", "R. Mechanic"),
    ]  # fmt: skip
    assert all(mark.wall == "2026-11-25T08:00:00-06:00" for mark in log.read(desk.folder))


@pytest.mark.parametrize(
    "fields",
    [
        {"kind": "repaired", "defect": "2"},
        {"kind": "repaired", "defect": "0"},
        {"kind": "repaired", "defect": "one"},
        {"kind": "approved", "defect": "1"},
        {"kind": "taken back", "of": "7"},
        {"kind": "repaired", "defect": "1", "who": "   "},
    ],
)
def test_a_decision_that_means_nothing_is_not_kept(
    client: TestClient, desk: Desk, fields: dict[str, str]
) -> None:
    assert _decide(client, desk, "couple-00002", **fields) == 422
    assert log.read(desk.folder) == ()


def test_a_form_of_another_page_is_refused(client: TestClient, desk: Desk) -> None:
    assert _decide(client, desk, "couple-00002", kind="repaired", defect="1", token="guess") == 403
    assert log.read(desk.folder) == ()


def test_another_name_for_this_machine_is_refused(client: TestClient) -> None:
    assert client.get("/", headers={"host": "desk.example"}).status_code == 400


def test_only_files_of_an_inspection_are_given_out(client: TestClient, desk: Desk) -> None:
    (desk.folder / "couple-00002" / "secret.txt").write_text("x", encoding="utf-8")
    sound = next(path.name for path in (desk.folder / "couple-00002").glob("reply-*"))
    given = client.get(f"/inspection/couple-00002/{sound}")
    assert (given.status_code, given.content) == (200, b"fLaC not really")
    assert given.headers["content-type"] == "audio/flac"
    assert client.get("/inspection/couple-00002/report.json").status_code == 200
    for name in ("secret.txt", "journal.jsonl", "..%2fdesk.sqlite", "%2e%2e%2fdesk.sqlite"):
        assert client.get(f"/inspection/couple-00002/{name}").status_code == 404
    assert client.get("/inspection/nobody/report.json").status_code == 404


def test_no_page_may_run_a_script(client: TestClient) -> None:
    for path in ("/", "/inspections", "/questions", "/inspection/couple-00002"):
        answer = client.get(path)
        assert "default-src 'none'" in answer.headers["content-security-policy"]
        assert "<script" not in answer.text


def test_hostile_text_stays_text(tmp_path: Path) -> None:
    folder = tmp_path / "hostile"
    folder.mkdir()
    write(folder, inspection(0, "stopped", driver="<img src=x onerror=alert(1)>"))
    desk = Desk(folder, {}, lambda: NOW)
    desk.sync()
    client = TestClient(application(desk), base_url="http://127.0.0.1")
    for path in ("/", "/inspections", "/questions", "/inspection/couple-00000"):
        page = client.get(path).text
        assert "<img" not in page
        assert "&lt;img" in page
    desk.stop()


def test_finding_and_a_day_that_is_none(client: TestClient) -> None:
    assert "Inspections: 1<" in client.get("/inspections?verdict=stopped").text
    page = client.get("/inspections?first=2026-13-40&page=x").text
    assert "A day is written like" in page
    assert "Inspections: 3<" in page


def test_verify_from_the_desk(client: TestClient, desk: Desk) -> None:
    page = client.get("/inspection/couple-00001/checked").text
    assert "Nothing was found changed" in page
    sound = next((desk.folder / "couple-00002").glob("reply-*"))
    sound.write_bytes(b"another sound")
    page = client.get("/inspection/couple-00002/checked").text
    assert "do not rely on it" in page
    assert sound.name in page


def test_a_damaged_log_is_told_and_nothing_is_decided(client: TestClient, desk: Desk) -> None:
    assert _decide(client, desk, "couple-00002", kind="repaired", defect="1") == 303
    data = (desk.folder / log.LOG).read_bytes()
    (desk.folder / log.LOG).write_bytes(data.replace(b"Mechanic", b"Nechanic"))
    desk.sync()
    assert "desk-log-damaged" in client.get("/").text
    assert _decide(client, desk, "couple-00001", kind="repaired", defect="1") == 500


def test_a_port_that_is_taken(tmp_path: Path) -> None:
    import socket

    with socket.create_server(("127.0.0.1", 0)) as taken, pytest.raises(DeskNotWritable):
        serve(tmp_path, taken.getsockname()[1], {}, lambda line: None)
