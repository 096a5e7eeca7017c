"""A checklist as it is spoken, for reading aloud in one go: every question, caution and answer."""

from __future__ import annotations

from collections.abc import Iterator

from voicecheck.checklist.breath import good_ways
from voicecheck.checklist.compiled import Compiled, Step


def script(compiled: Compiled, brief: bool = False) -> Iterator[str]:
    """One line a sentence. ``brief``: place and item only, as for people who know the walk."""
    yield f"{compiled.title} ({compiled.id} {compiled.edition})"
    for name, choice in sorted(compiled.settings.items()):
        yield f"  setting: {name}: {choice}"
    place = ""
    for n, step in enumerate(compiled.steps, 1):
        if step.place != place or brief:
            place = step.place
            yield f"\n{compiled.places[place]}."
        yield from _step(compiled, n, step, brief)
        for part in compiled.reckonings:
            if step.id == max(part.steps, key=compiled.index):
                yield f"    [{part.id}]"
                yield f"      {part.text} (the figure and its limit)"


def _step(compiled: Compiled, n: int, step: Step, brief: bool) -> Iterator[str]:
    again = " (only after an again)" if step.only_again else ""
    yield f"{n:3} [{step.id}]{again}"
    if step.caution:
        yield f"      {step.caution}"
    if step.together:
        parts = [compiled.step(id) for id in step.together.steps]
        together = ", ".join(part.id for part in parts[1:])
        good = ", ".join(good_ways(part)[0][1][0] for part in parts)
        yield f"      Asked together with [{together}]:"
        yield f"      {step.together.brief if brief else step.together.ask}"
        yield f"        > {good}   (in one breath, or the first alone)"
        yield "      Asked alone:"
    for variant in step.variants:
        yield f"      {variant.brief if brief else variant.ask}"
        for answer in variant.answers:
            yield f"        > {' / '.join(answer.said)}{_then(answer.say)}"
    for item in step.items:
        yield f"        > all good, or {item.said[0]}: {', '.join(item.findings)}"
        for finding, reading in item.measured:
            yield f"            {finding}: {reading.second_ask}"
    for finding, defect in step.wrong:
        yield f"        > {finding}: {compiled.defects[defect].text}"
    if step.kind == "clocked" and step.reading:
        yield f"        > mark   ({step.reading.second_ask})"
        yield "        > mark   (From mark to mark: the seconds between. Affirm, or negative?)"
    if step.explain:
        yield f"      explain: {step.explain}"
    if step.hazard:
        yield f"      if anything goes wrong: {compiled.hazards[step.hazard].safe}"


def _then(say: str) -> str:
    return f"   ({say})" if say else ""
