"""Walks a shipped checklist with good answers, so that a test can begin anywhere in it."""

from __future__ import annotations

from functools import cache

from tests.session.small import Hand
from voicecheck.checklist.breath import good_ways
from voicecheck.checklist.compiled import Compiled, Step
from voicecheck.run.library import compile_sources, load_sources
from voicecheck.session import records as r

VEHICLE = "tractor-semitrailer"


# Readings that are within, in psi and inches, by limit: first and second where it is timed.
# Sources: those of the rows in voicecheck/limits/table.py; each lies well inside.
SPELLINGS = {"tractor number": "lima two zero eight", "odometer": "one two three four"}
READINGS = {
    "governor-cut-out": ("one hundred thirty",),
    "governor-cut-in": ("one hundred five",),
    "stroke-test-pressure": ("nine zero",),
    "stroke": ("one and one half",),
    "leak-released": ("one hundred", "nine nine"),
    "leak-applied": ("one hundred", "nine eight"),
    "low-air-warning": ("seven zero",),
    "tractor-protection": ("four five",),
    "park-valve": ("three five",),
    "hand-pull": ("one half",),
    # without a limit of their own: by the step
    "odometer": ("four eight two nine one five",),
    "reserve before": ("one hundred",),
    "reserve after": ("nine zero",),
}


def compiled(
    name: str,
    *,
    season: str = "summer",
    settings: dict[str, str] | None = None,
    jurisdiction: str = "US",
    vehicle: str = VEHICLE,
) -> Compiled:
    chosen = tuple(sorted((settings or {}).items()))
    return _compiled(name, season, chosen, jurisdiction, vehicle)


@cache
def _compiled(
    name: str,
    season: str,
    settings: tuple[tuple[str, str], ...],
    jurisdiction: str,
    vehicle: str,
) -> Compiled:
    sources = load_sources(name, vehicle)
    return compile_sources(
        sources, season=season, settings=dict(settings), jurisdiction=jurisdiction
    )[0]


class Walk(Hand):
    """A hand that knows the good answer to every question."""

    def __init__(
        self,
        checklist: Compiled,
        inspection: str = "b",
        jurisdiction: str = "US",
        units: r.Pairs = (("tractor", "HL-208"), ("trailer", "HLT-7K42")),
    ) -> None:
        super().__init__(checklist, inspection, units=units, jurisdiction=jurisdiction)

    def step(self) -> Step:  # type: ignore[override]
        return self.session.compiled.step(self.session.state.step)

    def good(self) -> str:
        state, step = self.session.state, self.step()
        if state.phase in ("reading back", "asking"):
            return "affirm"
        if state.phase == "timing":
            return "mark" if step.kind == "clocked" else "TIME"
        if step.kind in ("measure", "timed"):
            assert step.reading is not None
            return READINGS[step.reading.limit or step.written][state.question == "second reading"]
        if state.breath and self.phase == "asked":
            return self.in_breath(len(state.breath))
        if step.kind == "answers":
            return next(
                a.said[0]
                # at a hold the variant is still that of the step before
                for a in step.variants[state.variant % len(step.variants)].answers
                if not (a.again or a.defect or a.repeat or a.bad)
            )
        return {
            "done": "done",
            "verdict": "pass",
            "group": "all good",
            "clocked": "mark",
            "spell": SPELLINGS.get(step.id, "seven kilo four two"),
            "date": "march twenty twenty nine",
            "attest": "affirm",
        }[step.kind]

    def in_breath(self, count: int) -> str:
        """The good answers to the first ``count`` parts of the question."""
        steps = [self.session.compiled.step(id) for id in self.session.state.breath[:count]]
        return " ".join(good_ways(step)[0][1][0] for step in steps)

    def to(self, id: str, stop_at: tuple[str, ...] = ()) -> None:
        for _ in range(200):
            if self.outcome or self.phase in stop_at:
                return
            state = self.session.state
            if state.step == id and self.phase == "asked":
                return
            if id in state.breath and self.phase == "asked":  # only what is before it is said
                self.reply(self.in_breath(state.breath.index(id)))
            else:
                self.reply(self.good())
        raise AssertionError(f"never came to {id}")

    def to_the_end(self) -> None:
        for _ in range(200):
            if self.outcome:
                return
            self.reply(self.good())
        raise AssertionError("never came to an end")

    def holds(self) -> list[r.Hold]:
        return [rec for rec in self.records if isinstance(rec, r.Hold)]

    def answer(self, id: str) -> r.Answered:
        return self.session.state.answers[id]
