"""Folders of generated inspections for the desk: real walks of the coupling, other names and days.

All carriers, units and people are invented.
"""

from __future__ import annotations

import dataclasses
import datetime
import hashlib
from functools import cache
from pathlib import Path
from typing import Any

from tests.checklists.walk import VEHICLE, Walk, compiled
from voicecheck.journal.format import encode_all
from voicecheck.report.build import build, to_json
from voicecheck.run.library import load_sources
from voicecheck.session import records as r

DRIVERS = ("Odalys Brandt", "Ilse Varga", "Tomas Keel", "Anneke Roth", "Bram Osei", "Lena Pruitt")
FIRST_DAY = datetime.datetime.fromisoformat("2026-09-01T06:00:00-06:00")
KINDS = ("complete", "complete", "complete", "noted", "stopped", "not finished")


@cache
def walked(kind: str) -> tuple[r.Record, ...]:
    """The records of one walk that ends as ``kind`` says."""
    walk = Walk(compiled("couple"))
    if kind == "not finished":
        walk.to("jaws")
        for words in ("end inspection", "affirm"):
            walk.reply(words)
    if kind == "noted":
        walk.to("fifth wheel")
        walk.reply("dry plate")
    if kind == "stopped":
        walk.to("rear lamps")
        walk.reply("turn lamps out")
        walk.reply("nothing else")
        walk.to("", stop_at=("stopped",))
        for words in ("end inspection", "affirm"):
            walk.reply(words)
    walk.to_the_end()
    return tuple(walk.records)


def inspection(n: int, kind: str = "", **opened: object) -> list[r.Record]:
    """The records of the ``n``-th inspection: four a day, names in turn."""
    records = walked(kind or KINDS[n % len(KINDS)])
    began = FIRST_DAY + datetime.timedelta(hours=6 * n)
    moved: list[r.Record] = []
    for record in records:
        wall = began + datetime.timedelta(milliseconds=record.at.mono)
        at = r.Stamp(wall.isoformat(), record.at.mono)
        moved.append(dataclasses.replace(record, at=at))
    first = moved[0]
    assert isinstance(first, r.Opened)
    sources = load_sources("couple", VEHICLE)
    names: dict[str, Any] = {
        "checklist_text": sources.checklist,
        "hazards_text": sources.hazards,
        "vehicle_text": sources.vehicle,
        "inspection": f"couple-{n:05}",
        "driver": DRIVERS[n % len(DRIVERS)],
        "carrier": "Harrow Lake Haulage",
        "place": "North yard",
        "units": (("tractor", f"HL-{200 + n % 40}"), ("trailer", f"HLT-{n % 90:02}K2")),
    }
    changed = names | opened
    moved[0] = dataclasses.replace(first, **changed)
    return moved


def write(parent: Path, records: list[r.Record], name: str = "") -> Path:
    """An inspection on disk: journal and report.json."""
    first = records[0]
    assert isinstance(first, r.Opened)
    folder = parent / (name or first.inspection)
    folder.mkdir()
    (folder / "journal.jsonl").write_bytes(encode_all(records)[0])
    (folder / "report.json").write_bytes(to_json(build(records, compiled("couple"))))
    return folder


def sounding(folder: Path, records: list[r.Record], sound: bytes) -> Path:
    """The same with a recording behind the first reply."""
    n = next(n for n, record in enumerate(records) if isinstance(record, r.HeardReply))
    heard = records[n]
    assert isinstance(heard, r.HeardReply)
    name = f"reply-{n + 1:04}.flac"
    records[n] = dataclasses.replace(
        heard, evidence=name, digest=hashlib.sha256(sound).hexdigest(), certainty="clear"
    )
    made = write(folder, records)
    (made / name).write_bytes(sound)
    return made
