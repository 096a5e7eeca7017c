"""report.html: the report as one file that opens anywhere, on a phone and on paper.

The rules:

1. One file: style inside, no script, no address outside the inspection's folder. The only things
   it points to are the recordings beside it, by plain file names.
2. Every text goes through the template's escaping; none is ever marked as ready-made markup.
3. No colour carries a meaning alone: the word stands beside it, and in print there is only black.
4. The first screen answers: may it leave, and if not, what stops it and who mends it.
5. The same report gives the same bytes (J3).
"""

from __future__ import annotations

from jinja2 import Environment, PackageLoader, StrictUndefined

from voicecheck.report.build import Report, audio_name, clock, count, day, inside, zone
from voicecheck.report.wording import (
    NOT_GIVEN,
    OUTCOME,
    asked_then,
    beyond,
    by_place,
    capital,
    heard_or_entered,
    leave,
    nothing_open,
    one_reply,
    question,
    refs,
    resumed,
    together,
)

SHOWN_FIRST = 5
"""How many of the things to be done are shown before the rest, so that defects stay in view."""


def to_html(report: Report) -> bytes:
    """report.html of a report, UTF-8."""
    return (
        _ENVIRONMENT.get_template("report.html.j2")
        .render(report=report, places=by_place(report.steps), leave=leave(report))
        .encode("utf-8")
    )


_ENVIRONMENT = Environment(
    loader=PackageLoader("voicecheck.report", "templates"),
    autoescape=True,
    undefined=StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
    keep_trailing_newline=True,
)
_ENVIRONMENT.filters.update(
    day=day,
    clock=clock,
    zone=zone,
    refs=refs,
    audio_name=audio_name,
    beyond=beyond,
    capital=capital,
    inside=inside,
    together=together,
    question=question,
    outcome=lambda state: OUTCOME.get(state, state),
    count=count,
)
_ENVIRONMENT.globals["SHOWN_FIRST"] = SHOWN_FIRST
_ENVIRONMENT.globals["one_reply"] = one_reply
_ENVIRONMENT.globals["asked_then"] = asked_then
_ENVIRONMENT.globals["NOT_GIVEN"] = NOT_GIVEN
_ENVIRONMENT.globals["heard_or_entered"] = heard_or_entered
_ENVIRONMENT.globals["nothing_open"] = nothing_open
_ENVIRONMENT.globals["resumed"] = resumed
