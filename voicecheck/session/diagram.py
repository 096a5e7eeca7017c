"""docs/state-diagram.md, made from the transition table.

The diagram leaves out what every phase has in common (faults, coming back) and what leads nowhere
else; the list below it leaves out nothing. ``python -m voicecheck.session.diagram`` prints it.
"""

from __future__ import annotations

from collections.abc import Iterator

from voicecheck.session.state import ONWARD, TABLE, Input, Phase, Row

EVERYWHERE = frozenset({Input.LOST, Input.INTERRUPTED, Input.CLOSED_LATE, Input.RESUMED})
HEAD = """\
# States of an inspection

Made from the transition table in `voicecheck/session/state.py` by
`python -m voicecheck.session.diagram`; do not edit it by hand. Read the rules at the top of that
file first.

*Onward* stands for what follows when the next step is chosen, or the same step is started anew:
{onward}.

A pair of phase and input that is not listed changes nothing. Inputs that stay in their phase are
not drawn, nor are those that almost every phase has:
{everywhere}.
The list below the diagram has all of them.
"""


def diagram() -> str:
    """The whole page, Markdown with one Mermaid diagram."""
    head = HEAD.format(
        onward=", ".join(f"*{phase}*" for phase in ONWARD),
        everywhere=", ".join(f"*{one}*" for one in Input if one in EVERYWHERE),
    )
    return "\n".join((head, "```mermaid", *_mermaid(), "```", "", *_list(), ""))


def _mermaid() -> Iterator[str]:
    yield "stateDiagram-v2"
    for phase in Phase:
        if phase is not Phase.BETWEEN:
            yield f"    {_id(phase)}: {phase}"
    yield "    onward: onward"
    yield f"    [*] --> {_id(Phase.NEW)}"
    edges: dict[tuple[str, str], list[str]] = {}
    for (phase, came), row in sorted(TABLE.items(), key=_written):
        if came in EVERYWHERE:
            continue
        for name in _targets(row):
            if name != _id(phase):
                edges.setdefault((_id(phase), name), []).append(came)
    for (start, end), inputs in edges.items():
        yield f"    {start} --> {end}: {' / '.join(inputs)}"
    for phase in ONWARD:
        yield f"    onward --> {_id(phase)}"
    yield f"    {_id(Phase.FINISHED)} --> [*]"


def _list() -> Iterator[str]:
    yield "| phase | input | rule | may lead to |"
    yield "|---|---|---|---|"
    for (phase, came), row in sorted(TABLE.items(), key=_written):
        names = [name if name == "onward" else name.replace("_", " ") for name in _targets(row)]
        yield f"| {phase} | {came} | `{row.rule}` | {', '.join(names)} |"


def _written(item: tuple[tuple[Phase, Input], Row]) -> tuple[int, int]:
    (phase, came), _ = item
    return list(Phase).index(phase), list(Input).index(came)


def _targets(row: Row) -> list[str]:
    """Ids of the phases that may follow; all of ONWARD together as "onward"."""
    onward = frozenset(ONWARD) <= row.to
    rest = [phase for phase in Phase if phase in row.to and not (onward and phase in ONWARD)]
    return [*(["onward"] if onward else []), *(_id(phase) for phase in rest)]


def _id(phase: Phase) -> str:
    return phase.value.replace(" ", "_")


if __name__ == "__main__":
    print(diagram(), end="")
