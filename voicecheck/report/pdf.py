"""report.pdf: the report on paper, tagged for readers of every kind (PDF/UA-1).

The rules:

1. Sheet 1 is for the roadside and is complete in itself: units, carrier, driver, place, times, may
   it leave, what stops it, who mends it, defects or "None reported", the driver's statement. What
   does not fit there is named as more and stands on the following sheets, with every answer.
2. Black on white. Nothing is told by colour.
3. Text of the report is data to the template and is never read as markup.
4. Letters that the font does not have would end the printing. They are printed as a box, and a
   sentence says that report.html shows them.
5. The same report gives the same bytes with the same typst (J3): fonts come with typst, and there
   is no time of printing in it.
"""

from __future__ import annotations

import json
import unicodedata
from collections.abc import Sequence
from importlib.resources import files
from typing import Any

import typst

from voicecheck.report.build import (
    Answer,
    CarriedFrom,
    Defect,
    Figure,
    Heard,
    Open,
    Report,
    StepEntry,
    clock,
    count,
    day,
    inside,
)
from voicecheck.report.wording import (
    NOT_GIVEN,
    OUTCOME,
    asked_then,
    beyond,
    by_place,
    capital,
    heard_or_entered,
    leave,
    made,
    nothing_open,
    one_reply,
    question,
    refs,
    resumed,
)

DEFECTS_FIRST = 4
MUSTS_FIRST = 3
"""How many stand on sheet 1; more would push the statement off it."""

PRINTABLE = frozenset(
    [
        chr(code)
        for first, last in ((0x20, 0x7E), (0xA0, 0xAC), (0xAE, 0x24F), (0x400, 0x45F))
        for code in range(first, last + 1)
    ]
    + [*"–—‘’“”„…•→×≥≤⅛⅜⅝⅞°′″€№−≠±"]
)
"""What the font that comes with typst is known to have; a test prints each."""

BOX = "□"

Row = dict[str, Any]


def to_pdf(report: Report) -> bytes:
    """report.pdf of a report: tagged, PDF/UA-1."""
    template = files("voicecheck.report").joinpath("templates/report.typ").read_bytes()
    compiler = typst.Compiler(
        template,
        ignore_system_fonts=True,
        sys_inputs={"report": json.dumps(_printable(_view(report)), ensure_ascii=False)},
    )
    made = compiler.compile(format="pdf", pdf_standards=["ua-1"], timestamp=0)
    assert isinstance(made, bytes)
    return made


def _printable(view: dict[str, Any]) -> Any:
    """The view with a box for each letter that the font lacks, and the note that says so."""
    boxes = 0

    def printed(value: Any) -> Any:
        nonlocal boxes
        if isinstance(value, dict):
            return {name: printed(part) for name, part in value.items()}
        if isinstance(value, list | tuple):
            return [printed(part) for part in value]
        if not isinstance(value, str):
            return value
        text = unicodedata.normalize("NFC", value)
        text = "".join(letter if letter in PRINTABLE else BOX for letter in text)
        boxes += text.count(BOX)
        return text

    shown = printed(view)
    if boxes:
        shown["given_note"] += f" {BOX}: a letter that is not printed here; report.html shows it."
    return shown


def _view(report: Report) -> dict[str, Any]:
    s = report.subject
    fields = leave(report)
    defects = [_defect(defect) for defect in report.defects]
    musts = [
        {"text": f"{must.text}. Who: {must.who}.", "rec": refs(must.records)}
        for must in report.before_moving
    ]
    attested = report.attestation
    return {
        "paper": "us-letter",  # the jurisdictions of the table of limits all print on it
        "title": s.title,
        "number": f"Inspection {s.inspection}",
        "practice": "Practice, not evidence." if report.kind == "practice" else "",
        "footer": "This report says what was answered, nothing more.",
        "mark": fields["mark"],
        "headline": report.headline.text,
        "may": fields["may"],
        "stops": _first(list(fields["stops"])),
        "none": fields["none"],
        "who": fields["who"],
        "head_rec": refs(report.headline.records),
        "given": _given(report),
        "given_note": (
            "As given at the start; nobody's identity and no unit was checked by the program. "
            f"Times are those of the device. [{refs(s.records)}]"
        ),
        "first": {
            "must": musts[:MUSTS_FIRST],
            "must_more": _more(len(musts) - MUSTS_FIRST, "item"),
            "defects": [_short(row) for row in defects[:DEFECTS_FIRST]],
            "defects_more": _more(len(defects) - DEFECTS_FIRST, "defect"),
        },
        "nothing_open": nothing_open(report),
        "statement": attested
        and {
            "text": attested.statement,
            "by": f"Answered by {attested.name or 'a person who gave no name'}, "
            f"{day(attested.wall)}, {clock(attested.wall)}: {attested.answer}",
            "effect": f"{capital(attested.effect)}.",
            "rec": refs(attested.records),
        },
        "chain": (
            "Numbers in brackets are records: lines of journal.jsonl in the folder of this "
            f"inspection, {report.chain.records} in all. Hash of the last: {report.chain.head}"
        ),
        "defects": defects,
        "must_rest": musts[MUSTS_FIRST:],
        "open": [_open(item) for item in report.open],
        "not_fitted": [_open(item) for item in report.not_fitted],
        "holds": _holds(report.steps),
        "places": [
            {"name": place, "rows": [_step(step) for step in steps]}
            for place, steps in by_place(report.steps)
        ],
        "reckonings": [
            _row(
                x.text,
                [f"Source: {'; '.join(x.sources)}"],
                [
                    _line(capital(x.state), "", refs(x.records)),
                    *(line for figure in x.figures for line in _figure(figure)),
                ],
            )
            for x in report.reckonings
        ],
        "corrections": [
            _row(
                c.item,
                [f"{clock(c.wall)}, {c.why}"],
                [
                    _line("Before:", c.before),
                    _line("After:", c.after or "no answer", refs(c.records)),
                ],
            )
            for c in report.corrections
        ],
        "events": [
            {"text": f"{clock(e.wall)}: {e.text}.", "rec": refs(e.records)} for e in report.events
        ],
        "notes": [
            {
                "text": f"{clock(note.wall)}{f', at {note.item}' if note.item else ''}: "
                + (f"“{note.text}”, typed" if note.text else f"spoken, {note.audio}"),
                "rec": refs(note.records),
            }
            for note in report.notes
        ],
        "settings": [
            _row(
                capital(setting.name),
                [setting.text] if setting.text else [],
                [_line("", setting.value, refs(setting.records))],
            )
            for setting in report.settings
        ],
        "made": _made(report),
    }


def _given(report: Report) -> list[dict[str, str]]:
    s = report.subject
    pairs = [(capital(given.name), given.value) for given in (*s.units, *s.order)]
    pairs += [(f"{capital(read.name)}, read off", read.value) for read in s.read_off]
    pairs += [
        ("Carrier", s.carrier or NOT_GIVEN),
        ("Driver", s.driver or NOT_GIVEN),
        ("Place", s.place or NOT_GIVEN),
        ("Begun", f"{day(s.started)}, {clock(s.started)}"),
        (
            "Closed" if s.closed else "Last record (not closed)",
            f"{day(s.ended)}, {clock(s.ended)}",
        ),
    ]
    if often := resumed(report):
        pairs.append(("Broken off and resumed", often))
    return [{"name": name, "value": value} for name, value in pairs]


def _first(stops: list[str]) -> list[str]:
    more = len(stops) - DEFECTS_FIRST
    return [*stops[:DEFECTS_FIRST], f"and {more} more"] if more > 0 else stops


def _more(n: int, one: str) -> str:
    return f"And {count(n, f'more {one}')}, on the following sheets." if n > 0 else ""


def _line(strong: str, text: str, rec: str = "") -> dict[str, str]:
    return {"strong": strong, "text": text, "rec": rec}


def _figure(x: Figure) -> list[dict[str, str]]:
    inputs = "; ".join(f"{i.name} {i.value}" for i in x.inputs)
    return [
        _line(x.value if x.stands else f"Earlier: {x.value}", x.judged, refs(x.records)),
        _line("", f"{clock(x.wall)}, from {inputs}"),
    ]


def _row(head: str, under: Sequence[str], lines: Sequence[dict[str, str]]) -> Row:
    return {"head": head, "under": list(under), "lines": list(lines)}


def _defect(d: Defect) -> Row:
    status = {"open": "Open stop", "released": "Stop, released", "noted": "Minor"}[d.status]
    heard = f", {heard_or_entered(d.typed)} “{d.words}”" if d.words else ""
    lines = [_line(status, f"found {clock(d.wall)}{heard}", refs(d.records))]
    lines += _origin(d.origin)
    if d.blocks:
        lines.append(_line("Stops:", f"{'; '.join(d.blocks)}."))
    by = "the driver, then the same test again" if d.mended_by == "driver" else d.mended_by
    lines.append(_line("Mended by:", f"{by}."))
    if d.release:
        said = f": “{d.release.text}”" if d.release.text else ""
        said += ", typed" if d.release.typed else ""
        lines.append(
            _line(
                "Release:",
                f"{d.release.how}, {d.release.identity}, {day(d.release.wall)}, "
                f"{clock(d.release.wall)}{said}",
                refs(d.release.records),
            )
        )
    if d.corrected:
        lines.append(
            _line("", "The answer was corrected afterwards; that does not release the defect.")
        )
    if d.carried_on:
        lines.append(_line("", "The driver inspected on under this stop."))
    lines.append(_line("", f"Source: {'; '.join(d.sources)}"))
    return _row(
        f"{d.number}. {d.text}",
        [", ".join(filter(None, (capital(d.item), inside(d.place))))],
        lines,
    )


def _short(row: Row) -> Row:
    """A defect on sheet 1: its state and its release."""
    kept = [line for n, line in enumerate(row["lines"]) if n == 0 or line["strong"] == "Release:"]
    return {**row, "lines": kept}


def _open(item: Open) -> Row:
    why = beyond(item.why, item.state)
    state = OUTCOME.get(item.state, item.state)
    return _row(item.item, [item.place], [_line(state, why, refs(item.records))])


def _holds(steps: Sequence[StepEntry]) -> list[Row]:
    names = {"stop": "Stop:", "precondition": "Not established:"}
    return [
        _row(
            step.item,
            [f"{step.place}, {clock(hold.wall)}"],
            [
                _line(names.get(hold.hold, "Not answered:"), f"{'; '.join(hold.missing)}."),
                _line(
                    "" if hold.cleared.startswith("not cleared") else "Cleared by:",
                    f"{hold.cleared}.",
                    refs(hold.records),
                ),
            ],
        )
        for step in steps
        for hold in step.holds
    ]


def _step(step: StepEntry) -> Row:
    under = [words for words in question(step) if words]
    if step.hazard:
        under.append(f"Hazard: {step.hazard}")
    under.append(f"Source: {'; '.join(step.sources)}")
    lines = [line for entry in step.answers if entry.stands for line in _answer(step, entry)]
    if not lines:
        lines = [_line("No answer", "", refs(step.records))]
    for entry in step.answers:
        if not entry.stands:
            lines.append(_line("Earlier answer, taken back:", entry.withdrawn))
            if then := asked_then(step, entry):
                lines.append(_line("Asked then:", then))
            lines += _answer(step, entry)
    lines += [
        _line("", f"Held before it at {clock(hold.wall)}", refs(hold.records))
        for hold in step.holds
    ]
    lines += [_heard(reply) for reply in step.refused]
    if step.not_heard:
        were = "was" if step.not_heard == 1 else "were"
        lines.append(_line("", f"{count(step.not_heard, 'sound')} that {were} no reply"))
    if step.defects:
        lines.append(_line("", f"Defect {', '.join(map(str, step.defects))}"))
    return _row(f"{step.number}. {step.item}", under, lines)


def _answer(step: StepEntry, entry: Answer) -> list[dict[str, str]]:
    text = beyond(entry.text, entry.outcome)
    m = entry.measured
    outcome = OUTCOME.get(entry.outcome, entry.outcome)
    if m:
        first = f"first {m.first}, then " if m.first else ""
        told = f"{first}{m.value}" + (f", {text}" if text and text != m.value else "")
    else:
        told = text
    lines = [_line(f"{outcome}:" if told else outcome, told)]
    if joint := one_reply(step, entry):
        lines.append(_line("", joint))
    if m and m.judged:
        lines.append(_line("", m.judged, refs(m.records)))
    lines += [
        _line(
            "",
            f"{capital(item.item)}: {item.finding}"
            f"{f', {item.quantity}. {item.judged}' if item.quantity else ''}",
            refs(item.records),
        )
        for item in entry.items
    ]
    lines += _origin(entry.origin)
    how = clock(entry.wall)
    if entry.outcome not in ("blocked", "carried"):
        how += (
            f", read back and affirmed: “{entry.read_back}”"
            if entry.read_back
            else ", not read back"
        )
    if entry.interval:
        broken = "" if entry.interval.ran_out else " broken off"
        how += f", silent interval {entry.interval.seconds} s{broken}"
    lines.append(_line("", how, refs(entry.records)))
    if entry.quick:
        lines.append(_line("Quick:", "sooner than walking there and looking takes"))
    lines += [_heard(reply) for reply in entry.heard]
    return lines


def _origin(x: CarriedFrom | None) -> list[dict[str, str]]:
    if x is None:
        return []
    told = f"{x.inspection}, {day(x.wall)}, {clock(x.wall)}, record {x.record} there; hash of that"
    return [_line("From the inspection", f"{told} record {x.digest}", refs(x.records))]


def _heard(reply: Heard) -> dict[str, str]:
    verb = "Entered" if reply.source == "typed" else "Heard"
    text = f"{verb} {clock(reply.wall)} “{reply.words}”"
    if reply.source == "typed":
        text += ", typed"
    if reply.audio:
        text += f", {reply.audio}, {reply.certainty}"
    if not reply.taken:
        text += f", not taken: {reply.why}"
    return _line("", text, refs(reply.records))


def _made(report: Report) -> list[dict[str, str]]:
    s, m = report.subject, report.made_with
    law = f", jurisdiction {s.jurisdiction}" if s.jurisdiction else ""
    return [
        {"text": f"{report.evidence.text}.", "rec": refs(report.evidence.records)},
        {
            "text": f"Kind: {report.kind}. Checklist {s.checklist}, edition {s.edition}{law}"
            f"{f', {s.season}' if s.season else ''}. Replies came from: {m.source}.",
            "rec": refs(m.records),
        },
        {
            "text": made(m),
            "rec": refs(m.records),
        },
    ]
