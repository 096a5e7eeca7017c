"""An inspection as a dialogue for a reader, one line a record."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from voicecheck.checklist.compiled import Compiled
from voicecheck.session import records as r
from voicecheck.session.records import to_body


def dialogue(compiled: Compiled, records: Sequence[r.Record]) -> Iterator[str]:
    """Number, wall time, and what happened."""
    brief = False
    for n, record in enumerate(records, 1):
        if isinstance(record, r.ModeSet):
            brief = record.mode == "brief"
        yield f"{n:4} {record.at.wall[11:19]} {_words(compiled, record, brief)}"


def _words(compiled: Compiled, record: r.Record, brief: bool) -> str:
    match record:
        case r.Opened(inspection=name, checklist=checklist, edition=edition, operating=kind):
            return f"opened {name}: {checklist} {edition}, {kind}"
        case r.StepStarted(step=id, spoken=False):
            return f"answered in the same breath: {compiled.step(id).item}"
        case r.StepStarted(step=id, variant=variant, together=together):
            return f"asks: {compiled.step(id).asked(variant, bool(together), brief)}"
        case r.Hold(text=text) | r.Asking(text=text):
            return f"says: {text}"
        case r.MadeSafe(text=text):
            return f"makes safe: {text}"
        case r.HeardReply(words=words, took=took, why=why):
            return f"hears: {words}" if took else f"refuses: {words} ({why})"
        case r.Marked(mark=mark, mono=mono):
            return f"the clock {'starts' if mark == 1 else 'stops'} ({mono} ms)"
        case r.Answered(step=id, outcome=outcome, text=text):
            return f"accepts: {compiled.step(id).item}: {text} [{outcome}]"
        case r.Reckoned(reckoning=id, quantity=quantity, verdict=verdict, inputs=inputs):
            return f"reckons: {id}: {quantity} {verdict} (records {', '.join(map(str, inputs))})"
        case r.DefectFound(severity=severity, text=text):
            return f"{severity} defect: {text}"
        case r.Withdrawn(step=id, why=why):
            return f"takes back: {compiled.step(id).item} ({why})"
        case r.Finished(outcome=outcome, why=why):
            return f"finished: {outcome} ({why})"
        case _:
            body = ", ".join(f"{k} {v}" for k, v in to_body(record).items() if v not in ("", []))
            return f"{record.kind}: {body}" if body else record.kind
