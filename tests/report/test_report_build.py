"""report.json: what may be said, where it comes from, that it is always the same."""

from __future__ import annotations

import dataclasses
import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import rfc8785
from hypothesis import given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator
from report_scenarios import CHECKLIST, SCENARIOS, Recorder, hostile, stop

from voicecheck.errors import SessionFault
from voicecheck.journal.format import encode_all, read
from voicecheck.report.build import (
    Defect,
    Model,
    Report,
    Statement,
    build,
    clock,
    day,
    schema,
    to_json,
    zone,
)
from voicecheck.session import records as r

SCHEMA_FILE = Path(__file__).parents[2] / "docs" / "report.schema.json"
ALL = {**SCENARIOS, "hostile": hostile}


def _report(name: str) -> Report:
    return build(ALL[name](), CHECKLIST)


# -- the headline ----------------------------------------------------------------------------


def test_headlines() -> None:
    # The three forms are those of the report's specification; no other source.
    assert {name: _report(name).headline.text for name in SCENARIOS} == {
        "all-good": "All required items answered, no stopping defect reported",
        "stop": "Not to be driven: The kingpin is bent",
        "not-finished": "Not finished: 6 items unanswered, next: Jaws",
        "released": "All required items answered, 1 stopping defect released in person, "
        "identity not verified",
        "guide-value": "All required items answered, no stopping defect reported",
        "practice": "All required items answered, no stopping defect reported",
    }


def _steps_good(recorder: Recorder, *, but: str = "") -> None:
    for step in CHECKLIST.steps:
        if step.id != but:
            recorder.good(step.id, "good")


@pytest.mark.parametrize("outcome", ["not done", "cannot see", "blocked", "failed", None])
def test_one_open_item_is_not_all_answered(outcome: str | None) -> None:
    """Also when the last record says that all is complete: the report looks for itself."""
    recorder = Recorder()
    _steps_good(recorder, but="jaws")
    if outcome:
        recorder.ask("jaws")
        recorder.answer("jaws", outcome, outcome)
    headline = build(recorder.finish("complete"), CHECKLIST).headline
    assert headline.verdict == "not finished"
    assert headline.text == "Not finished: 1 item unanswered, next: Jaws"


@pytest.mark.parametrize("outcome", ["good", "noted", "not fitted"])
def test_answers_that_close_an_item(outcome: str) -> None:
    recorder = Recorder()
    _steps_good(recorder, but="jaws")
    recorder.ask("jaws")
    recorder.answer("jaws", outcome, outcome)
    report = build(recorder.finish("complete"), CHECKLIST)
    assert report.headline.verdict == "complete"
    assert [x.item for x in report.not_fitted] == (["Jaws"] if outcome == "not fitted" else [])


def test_a_step_that_only_an_again_leads_to() -> None:
    steps = tuple(
        dataclasses.replace(step, only_again=step.id == "gap") for step in CHECKLIST.steps
    )
    checklist = dataclasses.replace(CHECKLIST, steps=steps)
    recorder = Recorder()
    _steps_good(recorder, but="gap")
    assert build([*recorder.records], checklist).open == ()
    recorder.keep(r.Again, step="jaws", to="gap", count=1)
    assert [x.step for x in build([*recorder.records], checklist).open] == ["gap"]
    recorder.good("gap", "no gap")
    assert build(recorder.finish("complete"), checklist).headline.verdict == "complete"


def test_two_stops_of_which_one_is_released() -> None:
    recorder = Recorder()
    recorder.unit()
    recorder.defect("kingpin", "bent", "The kingpin is bent.", "major")
    recorder.defect("rear lamps", "lamp", "A lamp is out.", "major", mended_by="driver")
    hold = {"hold": "stop", "step": "lock", "goes_to": "", "text": "Stop."}
    recorder.keep(r.Hold, missing=("bent", "lamp"), **hold)
    recorder.keep(r.Released, number=2, how="driver-mended", memo="new bulb")
    recorder.keep(r.Hold, missing=("bent",), **hold)
    recorder.keep(r.Released, number=1, how="in person", memo="pressed straight")
    recorder.good("lock", "locked")
    first, second = next(
        step for step in build(recorder.records, CHECKLIST).steps if step.id == "lock"
    ).holds
    assert first.cleared.startswith("not cleared altogether; A lamp is out: mended by the driver")
    assert second.cleared.startswith("The kingpin is bent: released in person, identity not")


def test_a_stop_that_the_driver_mended_is_in_the_headline() -> None:
    recorder = Recorder()
    _steps_good(recorder)
    recorder.defect("rear lamps", "lamp", "A lamp is out.", "major", mended_by="driver")
    recorder.keep(r.Released, number=1, how="driver-mended", memo="new bulb")
    recorder.keep(r.Withdrawn, step="rear lamps", why="released")
    assert build([*recorder.records], CHECKLIST).headline.verdict == "not finished"
    recorder.good("rear lamps", "all good")
    assert build(recorder.finish("complete"), CHECKLIST).headline.text == (
        "All required items answered, 1 stopping defect mended by the driver and tested again"
    )


def test_all_answered_but_not_closed_is_not_complete() -> None:
    recorder = Recorder()
    _steps_good(recorder)
    assert build(recorder.records, CHECKLIST).headline.verdict == "not finished"
    assert build(recorder.finish("not finished"), CHECKLIST).headline.verdict == "not finished"


def test_h4_an_open_stop_is_the_headline_whatever_else_the_records_say() -> None:
    """H4 … without a release record whose kind is printed."""
    recorder = Recorder()
    _steps_good(recorder)
    recorder.defect("jaws", "jaws", "The jaws do not close.", "major")
    recorder.keep(r.Withdrawn, step="jaws", why="correction")
    recorder.good("jaws", "closed round the shank")
    report = build(recorder.finish("complete"), CHECKLIST)
    assert report.headline.text == "Not to be driven: The jaws do not close"
    assert report.defects[0].corrected
    assert report.defects[0].status == "open"


def test_an_answer_withdrawn_and_not_given_again_is_open() -> None:
    recorder = Recorder()
    _steps_good(recorder)
    recorder.keep(r.Withdrawn, step="gap", why="rested on a withdrawn answer")
    report = build(recorder.finish("complete"), CHECKLIST)
    assert [(x.step, x.why) for x in report.open] == [
        ("gap", "answer taken back: rested on a withdrawn answer")
    ]


FORBIDDEN = re.compile(r"\b(safe|safely|safety|fit|fitness|roadworthy)\b", re.IGNORECASE)


def _texts(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for part in value.values():
            yield from _texts(part)
    elif isinstance(value, list):
        for part in value:
            yield from _texts(part)


@pytest.mark.parametrize("name", sorted(SCENARIOS))
def test_no_report_calls_a_vehicle_safe_or_fit(name: str) -> None:
    for text in _texts(json.loads(to_json(_report(name)))):
        assert not FORBIDDEN.search(text), text


# -- random journals -------------------------------------------------------------------------

_step = st.sampled_from([step.id for step in CHECKLIST.steps])
_moves = st.lists(
    st.one_of(
        st.tuples(
            st.just("answer"),
            _step,
            st.sampled_from(
                ["good", "noted", "failed", "not done", "cannot see", "not fitted", "blocked"]
            ),
        ),
        st.tuples(st.just("defect"), _step, st.sampled_from(["minor", "major"])),
        st.tuples(st.just("withdraw"), _step, st.sampled_from(["correction", "again", "released"])),
        st.tuples(st.just("hold"), _step, st.sampled_from(["precondition", "stop", "unanswered"])),
        st.tuples(st.just("release"), st.integers(1, 4), st.sampled_from(["in person"])),
        st.tuples(st.just("carry on"), st.integers(1, 4), st.just("")),
        st.tuples(st.just("stand by"), st.integers(0, 900), st.just("")),
    ),
    max_size=40,
)


def _play(moves: list[tuple[str, Any, str]], end: str | None, everything: bool) -> list[r.Record]:
    recorder = Recorder()
    if everything:
        _steps_good(recorder)
    else:
        recorder.unit()
    for move, what, how in moves:
        if move == "answer":
            recorder.ask(what)
            recorder.hear(what, how)
            recorder.answer(what, how, how)
        elif move == "defect":
            recorder.defect(what, "some-defect", "Something is broken.", how)
        elif move == "withdraw":
            recorder.keep(r.Withdrawn, step=what, why=how)
        elif move == "hold":
            recorder.keep(
                r.Hold, hold=how, step=what, missing=("trailer held",), goes_to="held", text="Hold."
            )
        elif move == "release":
            recorder.keep(r.Released, number=what, how=how, memo="repaired")
        elif move == "carry on":
            recorder.keep(r.CarriedOn, numbers=(what,))
        else:
            recorder.keep(r.StoodBy, why="driver")
            recorder.keep(r.WentAhead, away_s=what)
    return recorder.finish(end) if end else recorder.records


_ends = st.sampled_from(["complete", "stopped", "not finished", None])


@given(_moves, _ends, st.booleans())
@settings(max_examples=150, deadline=None)
def test_the_headline_is_never_kinder_than_the_records(
    moves: list[tuple[str, Any, str]], end: str | None, everything: bool
) -> None:
    records = _play(moves, end, everything)
    headline = build(records, CHECKLIST).headline
    standing: dict[str, str] = {}
    stops: set[int] = set()
    released: set[int] = set()
    for record in records:
        match record:
            case r.Answered():
                standing[record.step] = record.outcome
            case r.Withdrawn():
                standing.pop(record.step, None)
            case r.DefectFound(severity="major"):
                stops.add(record.number)
            case r.Released():
                released.add(record.number)
    closed = {step for step, outcome in standing.items()
              if outcome in ("good", "noted", "not fitted")}  # fmt: skip
    if stops - released or end == "stopped":
        assert headline.text.startswith("Not to be driven: ")
    elif end == "complete" and closed == {step.id for step in CHECKLIST.steps}:
        assert headline.text.startswith("All required items answered, ")
        assert ("no stopping defect reported" in headline.text) == (not stops)
    else:
        assert headline.text.startswith("Not finished: ")
    assert not FORBIDDEN.search(headline.text)


@given(_moves, _ends, st.booleans())
@settings(max_examples=60, deadline=None)
def test_any_journal_gives_a_report_that_the_schema_accepts(
    moves: list[tuple[str, Any, str]], end: str | None, everything: bool
) -> None:
    report = build(_play(moves, end, everything), CHECKLIST)
    VALIDATOR.validate(json.loads(to_json(report)))
    _check_sources(report, report.chain.records)


def test_every_prefix_of_an_inspection_gives_a_report() -> None:
    for name in SCENARIOS:
        records = SCENARIOS[name]()
        for length in range(1, len(records)):
            headline = build(records[:length], CHECKLIST).headline
            assert headline.verdict != "complete"


# -- R1 --------------------------------------------------------------------------------------


def _statements(value: object) -> Iterator[Statement]:
    if isinstance(value, Statement):
        yield value
    if isinstance(value, Model):
        for name in type(value).model_fields:
            yield from _statements(getattr(value, name))
    elif isinstance(value, tuple):
        for part in value:
            yield from _statements(part)


def _check_sources(report: Report, count: int) -> None:
    found = list(_statements(report))
    assert len(found) > 10
    for statement in found:
        assert statement.records, statement
        assert statement.records == tuple(sorted(set(statement.records)))
        assert 1 <= statement.records[0] <= statement.records[-1] <= count


@pytest.mark.parametrize("name", sorted(ALL))
def test_r1_every_statement_names_the_records_it_came_from(name: str) -> None:
    """R1 Every statement in a report names the records it came from."""
    _check_sources(_report(name), len(ALL[name]()))


def test_r1_every_model_with_a_statement_is_a_statement() -> None:
    # Chain is the journal itself, Report the frame; everything else must carry records.
    plain = {cls.__name__ for cls in Model.__subclasses__()} - {"Statement"}
    assert plain == {"Chain", "Report"}


def test_r1_the_numbers_point_at_the_right_records() -> None:
    records = stop()
    report = build(records, CHECKLIST)

    def at(numbers: tuple[int, ...], kind: type[r.Record]) -> list[Any]:
        return [records[n - 1] for n in numbers if isinstance(records[n - 1], kind)]

    kingpin = report.defects[0]
    assert kingpin.text == "The kingpin is bent"
    assert at(kingpin.records, r.DefectFound)[0].defect == "kingpin-bent"
    assert at(kingpin.records, r.HeardReply)[0].words == "bent"
    assert kingpin.words == "bent"
    unit = next(step for step in report.steps if step.id == "unit")
    (answer,) = unit.answers
    assert at(answer.records, r.Answered)[0].text == "7K42"
    assert [heard.words for heard in answer.heard] == ["seven kilo four two", "affirm"]
    for heard in answer.heard:
        assert at(heard.records, r.HeardReply)[0].words == heard.words
    (hold,) = next(step for step in report.steps if step.id == "lock").holds
    assert at(hold.records, r.Hold)[0].missing == ("kingpin-bent",)


# -- J3 --------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", sorted(ALL))
def test_j3_the_same_journal_gives_the_same_bytes(name: str) -> None:
    """J3 Replaying a journal … gives … the same report.json, byte for byte."""
    records = ALL[name]()
    first = to_json(build(records, CHECKLIST))
    data, head = encode_all(records)
    replayed = [record for _, record in read(data).records]
    again = build(replayed, CHECKLIST)
    assert to_json(again) == first
    assert again.chain.head == head
    assert first == rfc8785.dumps(json.loads(first))


# -- schema ----------------------------------------------------------------------------------

VALIDATOR = Draft202012Validator(json.loads(SCHEMA_FILE.read_text("utf-8")))


def test_the_published_schema_is_current() -> None:
    assert json.loads(SCHEMA_FILE.read_text("utf-8")) == json.loads(json.dumps(schema())), (
        "docs/report.schema.json is not what voicecheck.report.build.schema() gives"
    )


def test_the_schema_is_a_schema_of_2020_12() -> None:
    # JSON Schema 2020-12: the meta-schema that jsonschema carries.
    Draft202012Validator.check_schema(schema())
    assert schema()["$schema"] == "https://json-schema.org/draft/2020-12/schema"


@pytest.mark.parametrize("name", sorted(ALL))
def test_reports_validate_against_the_schema(name: str) -> None:
    VALIDATOR.validate(json.loads(to_json(_report(name))))


def test_the_schema_refuses_what_is_no_report() -> None:
    value = json.loads(to_json(_report("stop")))
    assert VALIDATOR.is_valid(value)
    assert not VALIDATOR.is_valid(value | {"verdict": "good"})
    assert not VALIDATOR.is_valid({k: v for k, v in value.items() if k != "headline"})
    headline = dict(value["headline"])
    headline["records"] = []
    assert not VALIDATOR.is_valid(value | {"headline": headline})


# -- the contents ----------------------------------------------------------------------------


def test_stop_in_full() -> None:
    report = _report("stop")
    assert [(d.number, d.severity, d.status) for d in report.defects] == [
        (2, "major", "open"),
        (1, "minor", "noted"),
    ]
    assert report.defects[0].mended_by == "mechanic"
    assert report.defects[0].blocks == ("Leaving the yard", "Backing under the trailer")
    assert report.defects[0].carried_on
    assert report.before_moving[0].text.startswith("The kingpin is bent: to be mended")
    assert report.before_moving[0].who == "mechanic"
    # Failed, not seen, blocked and not reached stay apart.
    assert [(x.step, x.state) for x in report.open] == [
        ("tyre", "cannot see"),
        ("lock", "blocked"),
        ("jaws", "unanswered"),
        ("gap", "unanswered"),
        ("legs", "unanswered"),
        ("air", "unanswered"),
        ("pull", "unanswered"),
        ("statement", "unanswered"),
    ]
    lamps = next(step for step in report.steps if step.id == "rear lamps")
    assert [(i.item, i.finding) for i in lamps.answers[0].items] == [("left marker", "out")]
    doors = next(step for step in report.steps if step.id == "doors")
    assert doors.answers[0].quick
    kingpin = next(step for step in report.steps if step.id == "kingpin")
    assert [(x.words, x.taken) for x in kingpin.refused] == [("engine noise and talk", False)]
    assert kingpin.not_heard == 1
    (hold,) = next(step for step in report.steps if step.id == "lock").holds
    assert hold.missing == ("The kingpin is bent",)
    assert hold.cleared == "not cleared; the driver inspected on under the stop"
    (note,) = report.notes
    assert (note.audio, note.seconds) == ("reply-0099.flac", "6.4")
    assert report.attestation is None


def test_not_finished_in_full() -> None:
    report = _report("not-finished")
    (correction,) = report.corrections
    assert (correction.before, correction.after, correction.why) == (
        "all good",
        "reflector cracked",
        "correction",
    )
    lock = next(step for step in report.steps if step.id == "lock")
    (hold,) = lock.holds
    assert hold.missing == ("The trailer is held by its spring brakes or chocks",)
    assert hold.cleared.startswith("Trailer held: spring brakes, ")
    for step in report.steps:
        for answer in step.answers:
            assert all(heard.source == "typed" for heard in answer.heard)
    jaws = next(x for x in report.open if x.step == "jaws")
    assert (jaws.state, jaws.why) == ("not done", "not done: too dark")
    assert [event.event for event in report.events] == ["stood by", "went ahead", "broken off"]
    assert report.evidence.text.startswith("Recorded: no sound")


def test_released_in_person_prints_its_kind() -> None:
    (defect,) = _report("released").defects
    assert defect.status == "released"
    assert defect.release is not None
    assert defect.release.how == "in person"
    assert defect.release.identity == "identity not verified"
    assert defect.release.audio == "memo-0031.flac"
    kingpin = next(s for s in _report("released").steps if s.id == "kingpin")
    assert [(a.outcome, a.stands, a.withdrawn) for a in kingpin.answers] == [
        ("failed", False, "released"),
        ("good", True, ""),
    ]


def test_measured_values_carry_unit_limit_source_and_standing() -> None:
    air = next(s for s in _report("guide-value").steps if s.id == "air")
    (answer,) = air.answers
    assert answer.measured is not None
    assert (answer.measured.first, answer.measured.value) == ("115 psi", "113 psi")
    assert answer.measured.verdict == "outside"
    assert "guide value" in answer.measured.judged
    assert answer.measured.limit == "us-guide-leak-combination"
    assert answer.interval is not None
    assert (answer.interval.seconds, answer.interval.ran_out) == (60, True)
    unit = next(s for s in _report("guide-value").steps if s.id == "unit")
    assert unit.answers[0].read_back == "Seven kilo four two"


def test_a_refused_read_back_is_not_an_answer_that_was_read_back() -> None:
    recorder = Recorder()
    recorder.ask("unit")
    recorder.hear("unit", "seven kilo four three")
    recorder.keep(r.ReadBack, step="unit", text="Seven kilo four three.", pending="")
    recorder.hear("unit", "negative")
    recorder.keep(r.ReadBackRefused, step="unit")
    heard = recorder.hear("unit", "seven kilo four two")
    recorder.answer("unit", "7K42", heard=heard)
    (answer,) = build(recorder.records, CHECKLIST).steps[0].answers
    assert answer.read_back == ""
    assert [x.words for x in answer.heard] == ["seven kilo four two"]


def test_commands_are_no_part_of_an_answer_but_not_done_is() -> None:
    recorder = Recorder()
    recorder.ask("jaws")
    recorder.hear("jaws", "say again", meaning="command:say again")
    recorder.hear("jaws", "not done", meaning="command:not done")
    recorder.hear("jaws", "too dark", meaning="why:too dark")
    recorder.answer("jaws", "not done: too dark", "not done")
    report = build(recorder.records, CHECKLIST)
    (answer,) = next(step for step in report.steps if step.id == "jaws").answers
    assert [x.words for x in answer.heard] == ["not done", "too dark"]


def test_kind_settings_people_and_machines() -> None:
    report = _report("practice")
    assert report.kind == "practice"
    assert _report("all-good").kind == "inspection"
    assert report.subject.carrier == "Harrow Lake Haulage"
    assert [(u.name, u.value) for u in report.subject.units] == [
        ("tractor", "118"),
        ("trailer", "7K42"),
    ]
    assert [s.value for s in report.settings] == ["after the lock"]
    assert report.settings[0].text.startswith("Air lines are joined")
    assert report.made_with.engine == "pocketsphinx 5.0.4"
    assert report.attestation is not None
    assert "legal effect not claimed" in report.attestation.effect


def test_audio_may_be_deleted_after_the_carriers_days() -> None:
    # 25 November 2026 + 90 days: 5 left in November, 31 + 31 + 23 = 23 February 2027.
    evidence = _report("all-good").evidence
    assert evidence.delete_after == "2027-02-23"
    assert evidence.text == "Recorded: replies only; audio may be deleted after 23 Feb 2027"
    recorder = Recorder(audio_days=0)
    recorder.unit()
    assert "no date is set" in build(recorder.records, CHECKLIST).evidence.text


def test_a_clock_set_back_is_told() -> None:
    recorder = Recorder()
    recorder.unit()
    recorder.wall = recorder.wall.replace(hour=5)
    recorder.good("doors", "closed and locked")
    (event,) = build(recorder.records, CHECKLIST).events
    assert event.event == "clock"


def test_records_that_cannot_be_an_inspection_are_refused() -> None:
    with pytest.raises(SessionFault):
        build([], CHECKLIST)
    records = stop()
    with pytest.raises(SessionFault):
        build(records[1:], CHECKLIST)
    with pytest.raises(SessionFault):
        build(records, dataclasses.replace(CHECKLIST, steps=CHECKLIST.steps[1:]))


def test_open_stops_come_first() -> None:
    order = {"open": 0, "released": 1, "noted": 2}
    recorder = Recorder()
    recorder.unit()
    for severity in ("minor", "major", "major", "minor"):
        recorder.defect("jaws", severity, severity, severity)
    recorder.keep(r.Released, number=2, how="in person", memo="")
    found: tuple[Defect, ...] = build(recorder.records, CHECKLIST).defects
    assert [order[d.status] for d in found] == [0, 1, 2, 2]


def test_moments_for_readers() -> None:
    assert day("2026-11-05T06:38:04-06:00") == "5 Nov 2026"
    assert clock("2026-11-05T06:38:04.250-06:00") == "06:38:04"
    assert zone("2026-11-05T06:38:04-03:30") == "UTC−03:30"
    assert zone("2026-11-05T06:38:04+05:45") == "UTC+05:45"
    assert (day("soon"), clock("soon"), zone("soon")) == ("soon", "soon", "")
