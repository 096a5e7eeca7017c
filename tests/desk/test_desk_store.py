"""The desk's database is made from the reports, and what does not fit changes nothing."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import Engine, select
from sqlalchemy.orm import Session

from tests.checklists.walk import Walk, compiled
from tests.desk.generated import inspection, sounding, write
from voicecheck.desk import log, questions
from voicecheck.desk.store import DATABASE, DefectOf, Inspection, StepOf, open_store, sync
from voicecheck.desk.today import Filter, found, today
from voicecheck.errors import DeskNotWritable
from voicecheck.journal.format import encode_all
from voicecheck.report.build import build, to_json

WALL = "2026-11-25T08:00:00-06:00"
DAY = "2026-11-25"


@pytest.fixture
def engine(tmp_path: Path) -> Iterator[Engine]:
    engine = open_store(tmp_path)
    yield engine
    engine.dispose()


def _ids(engine: Engine) -> list[str]:
    with Session(engine) as session:
        return list(session.scalars(select(Inspection.id).order_by(Inspection.id)))


def _dump(engine: Engine) -> list[tuple[object, ...]]:
    with engine.connect() as connection:
        rows: list[tuple[object, ...]] = []
        for table in ("inspection", "unit", "defect", "step", "reading", "paper", "mark"):
            rows += [(table, *row) for row in connection.exec_driver_sql(f"SELECT * FROM {table}")]
        return sorted(rows, key=repr)


def _sections(engine: Engine, day: str = DAY) -> dict[str, int]:
    with Session(engine) as session:
        return {name: section.total for name, section in today(session, day).items()}


def test_taken_in_once_and_again_nothing_changes(tmp_path: Path, engine: Engine) -> None:
    for n in range(6):
        write(tmp_path, inspection(n))
    assert sync(engine, tmp_path).taken == 6
    before = _dump(engine)
    again = sync(engine, tmp_path)
    assert (again.taken, again.unchanged) == (0, 6)
    assert _dump(engine) == before


def test_the_database_can_be_made_again(tmp_path: Path, engine: Engine) -> None:
    for n in range(6):
        write(tmp_path, inspection(n))
    log.add(tmp_path, WALL, kind="repaired", inspection="couple-00004", defect=1, who="R. Mechanic")
    sync(engine, tmp_path)
    before = _dump(engine)
    engine.dispose()
    for path in tmp_path.glob(f"{DATABASE}*"):
        path.unlink()
    anew = open_store(tmp_path)
    sync(anew, tmp_path)
    assert _dump(anew) == before
    anew.dispose()


def test_a_damaged_database_is_made_again(tmp_path: Path, engine: Engine) -> None:
    write(tmp_path, inspection(0))
    engine.dispose()
    (tmp_path / DATABASE).write_bytes(b"not a database at all" * 300)
    anew = open_store(tmp_path)
    assert sync(anew, tmp_path).taken == 1
    anew.dispose()


def test_the_same_inspection_in_two_folders_counts_once(tmp_path: Path, engine: Engine) -> None:
    write(tmp_path, inspection(3))
    shutil.copytree(tmp_path / "couple-00003", tmp_path / "couple-00003-copy")
    synced = sync(engine, tmp_path)
    assert synced.taken == 1
    assert synced.refused == (("couple-00003-copy", "It is the same inspection as couple-00003."),)
    assert _ids(engine) == ["couple-00003"]


@pytest.mark.parametrize("name", ["journal.jsonl", "report.json"])
def test_half_a_copy_changes_nothing(tmp_path: Path, engine: Engine, name: str) -> None:
    folder = write(tmp_path, inspection(4))
    sync(engine, tmp_path)
    before = _dump(engine)
    data = (folder / name).read_bytes()
    (folder / name).write_bytes(data[: len(data) // 2])
    synced = sync(engine, tmp_path)
    assert synced.taken == 0
    assert len(synced.refused) == 1
    assert _dump(engine) == before
    (folder / name).write_bytes(data)
    assert sync(engine, tmp_path).refused == ()
    assert [row[1] for row in _dump(engine) if row[0] == "inspection"] == ["couple-00004"]


def test_a_longer_journal_replaces_its_own_beginning(tmp_path: Path, engine: Engine) -> None:
    records = inspection(0)
    write(tmp_path, records[:-30])
    sync(engine, tmp_path)
    write(tmp_path, records, "later-copy")
    assert sync(engine, tmp_path).taken == 1
    with Session(engine) as session:
        (row,) = session.scalars(select(Inspection)).all()
        assert (row.verdict, row.records, row.folder) == ("complete", len(records), "later-copy")


def test_two_that_contradict_each_other_are_told(tmp_path: Path, engine: Engine) -> None:
    write(tmp_path, inspection(0, "complete"))
    write(tmp_path, inspection(0, "noted"), "other")
    synced = sync(engine, tmp_path)
    assert synced.taken == 1
    ((folder, why),) = synced.refused
    assert folder == "other"
    assert "contradicts" in why


def test_practice_is_refused(tmp_path: Path, engine: Engine) -> None:
    write(tmp_path, inspection(0, operating="practice"))
    assert sync(engine, tmp_path).refused == (("couple-00000", "Practice is not evidence."),)
    assert _ids(engine) == []


def test_a_changed_report_is_not_taken_in(tmp_path: Path, engine: Engine) -> None:
    """A report that says another head than the journal's: made from other records."""
    one, two = write(tmp_path, inspection(0)), write(tmp_path, inspection(1))
    shutil.copyfile(two / "report.json", one / "report.json")
    assert _folders(sync(engine, tmp_path).refused) == ["couple-00000"]


def _folders(refused: tuple[tuple[str, str], ...]) -> list[str]:
    return [folder for folder, _ in refused]


def test_what_needs_a_person(tmp_path: Path, engine: Engine) -> None:
    kinds = ("complete", "noted", "stopped", "not finished")
    for n, kind in enumerate(kinds):
        write(tmp_path, inspection(n, kind))
    sync(engine, tmp_path)
    assert _sections(engine) == {
        "stopped": 1, "certify": 1, "review": 0, "papers": 0, "unfinished": 1, "retention": 0,
    }  # fmt: skip
    log.add(tmp_path, WALL, kind="repaired", inspection="couple-00002", defect=1, who="R. Mechanic")
    log.add(tmp_path, WALL, kind="not needed", inspection="couple-00001", defect=1, who="S. Chief")
    sync(engine, tmp_path)
    assert (_sections(engine)["stopped"], _sections(engine)["certify"]) == (0, 0)
    assert _sections(engine)["review"] == 2
    log.add(tmp_path, WALL, kind="reviewed", inspection="couple-00001", who="D. Driver")
    log.add(tmp_path, WALL, kind="taken back", inspection="couple-00002", of=1, who="R. Mechanic")
    sync(engine, tmp_path)
    assert (_sections(engine)["stopped"], _sections(engine)["review"]) == (1, 0)


def test_recordings_are_listed_until_they_are_gone(tmp_path: Path, engine: Engine) -> None:
    """Kept for 30 days from 1 September 2026, and named a week before the date."""
    folder = sounding(tmp_path, inspection(0, audio_days=30), b"a voice")
    sync(engine, tmp_path)
    assert _sections(engine, "2026-09-23")["retention"] == 0
    assert _sections(engine, "2026-09-24")["retention"] == 1
    for sound in folder.glob("*.flac"):
        sound.unlink()
    assert sync(engine, tmp_path).taken == 1
    assert _sections(engine, "2026-12-24")["retention"] == 0


@pytest.mark.parametrize(
    ("day", "total", "over"),
    [("2029-02-28", 0, False), ("2029-03-01", 1, False), ("2029-03-31", 1, False),
     ("2029-04-01", 1, True)],
)  # fmt: skip
def test_a_sticker_is_good_to_the_last_day_of_its_month(
    tmp_path: Path, engine: Engine, day: str, total: int, over: bool
) -> None:
    """The walk answers "march twenty twenty nine"; listed from 30 days before its end."""
    write(tmp_path, inspection(0))
    sync(engine, tmp_path)
    with Session(engine) as session:
        section = today(session, day)["papers"]
        assert section.total == total
        assert [line.overdue for line in section.lines] == [over] * total


def test_only_the_latest_answer_about_a_paper_counts(tmp_path: Path, engine: Engine) -> None:
    units = (("tractor", "HL-208"), ("trailer", "HLT-7K42"))
    write(tmp_path, inspection(0, "complete", units=units))
    write(tmp_path, inspection(1, "complete", units=units))
    write(tmp_path, inspection(2, "complete"))
    sync(engine, tmp_path)
    assert _sections(engine, "2029-03-15")["papers"] == 2


def test_finding_by_each_field(tmp_path: Path, engine: Engine) -> None:
    for n in range(12):
        write(tmp_path, inspection(n))
    sync(engine, tmp_path)

    def ids(**wanted: str) -> list[str]:
        with Session(engine) as session:
            lines = found(session, Filter(**wanted), 1).lines
            return sorted(line.inspection.id[-2:] for line in lines)

    assert len(ids()) == 12
    assert ids(unit="HL-203") == ["03"]
    assert ids(unit="hlt-0") == [f"{n:02}" for n in range(10)]
    assert ids(unit="%") == []
    assert ids(driver="varga") == ["01", "07"]
    assert ids(verdict="stopped") == ["04", "10"]
    assert ids(checklist="uncouple") == []
    # one every six hours from 1 September, 06:00: the seventh after it ends just after midnight
    assert ids(first="2026-09-03", last="2026-09-03") == ["07", "08", "09", "10"]
    assert ids(words="turn lamps") == ["04", "10"]


def test_questions_count_what_was_answered(tmp_path: Path, engine: Engine) -> None:
    for n in range(12):
        write(tmp_path, inspection(n))
    sync(engine, tmp_path)
    with Session(engine) as session:
        shares = {x.name: (x.part, x.whole) for x in questions.failing_items(session)}
        bad = session.scalars(select(StepOf).where(StepOf.state.in_(("failed", "noted")))).all()
        assert sum(part for part, _ in shares.values()) == len(bad) == 4
        assert len(session.scalars(select(DefectOf)).all()) == 4
        drivers = {h.driver: h.inspections for h in questions.habits(session)}
        assert drivers == dict.fromkeys(drivers, 2)
        assert len(drivers) == 6
        (took,) = questions.durations(session)
        assert took.inspections == 8
        assert 0 < took.median <= took.ninetieth
        assert questions.returning_units(session) == []


def test_a_folder_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(DeskNotWritable):
        open_store(tmp_path / "nowhere")


def test_the_measured_tread_of_each_wheel_is_a_trend(tmp_path: Path, engine: Engine) -> None:
    walk = Walk(compiled("trip-inspection"))
    walk.to("left tractor tires")
    for tire, depth in (("left steer", "five thirty seconds"), ("left steer", "three millimeters")):
        walk.reply(f"{tire} tread measured", depth, "affirm")
    walk.reply("nothing else", "end inspection", "affirm")
    folder = tmp_path / "trip-1"
    folder.mkdir()
    (folder / "journal.jsonl").write_bytes(encode_all(walk.records)[0])
    (folder / "report.json").write_bytes(to_json(build(walk.records, compiled("trip-inspection"))))
    assert sync(engine, tmp_path).taken == 1
    with Session(engine) as session:
        (trend,) = questions.trends(session, "HL-208")
    # 3 mm is under 1/8 in (49 CFR 393.75(b)); of two figures for one wheel the later one counts
    assert (trend.item, trend.unit) == ("left steer, tread measured", "mm")
    assert [(str(p.value), p.verdict) for p in trend.points] == [("3", "outside")]
