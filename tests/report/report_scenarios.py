"""Invented inspections for the tests of the report: carrier, units and people are made up.

The checklist is a short coupling. ``Recorder`` writes records as the session would, in order.
"""

from __future__ import annotations

import dataclasses
import datetime
import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from voicecheck.session import records as r


@dataclass(frozen=True)
class Step:
    id: str
    place: str
    item: str
    question: str
    kind: str = "answers"
    hazard: str = ""
    sources: tuple[str, ...] = ("common-practice",)
    only_again: bool = False

    def asked(self, variant: int, together: bool, brief: bool, /) -> str:
        return self.question


@dataclass(frozen=True)
class Checklist:
    title: str
    steps: tuple[Step, ...]
    places: Mapping[str, str]
    facts: Mapping[str, str]
    hazards: Mapping[str, str]
    setting_texts: Mapping[str, str] = field(default_factory=dict)
    reckonings: tuple[()] = ()

    def fact_text(self, name: str) -> str:
        return self.facts.get(name, name)

    def hazard_text(self, name: str) -> str:
        return self.hazards[name]


CHECKLIST = Checklist(
    title="Couple a tractor to a semitrailer",
    places={
        "rear": "Rear of the trailer",
        "near side": "Near side of the trailer",
        "coupling": "Fifth wheel",
        "cab": "Cab",
    },
    facts={
        "trailer held": "The trailer is held by its spring brakes or chocks.",
        "coupling seen locked": "Jaws were seen closed round the kingpin.",
        "people clear": "Nobody is near.",
        "legs up": "The landing gear is up.",
    },
    hazards={
        "back under": "Backing under the trailer.",
        "reach in": "Reaching in at the coupling.",
        "crank": "Cranking the landing gear.",
        "leave": "Leaving the yard.",
    },
    setting_texts={
        "air lines": "Air lines are joined before or after the lock.",
    },
    steps=(
        Step("unit", "rear", "Trailer number", "Last four characters of the trailer?", "spell"),
        Step("doors", "rear", "Rear doors", "Doors closed and locked?"),
        Step(
            "rear lamps", "rear", "Rear lamps", "Rear lamps. All good, or which?", "group",
            sources=("49 CFR 393.11",),
        ),
        Step(
            "tyre", "near side", "Tread, axle 5 outer", "Tread depth?", "measure",
            sources=("49 CFR 393.75(c)",),
        ),
        Step("kingpin", "coupling", "Kingpin", "Kingpin. What do you see?", hazard="reach in"),
        Step("held", "coupling", "Trailer held", "What holds the trailer?"),
        Step("lock", "cab", "Backing under", "Backed under, stopped?", hazard="back under"),
        Step("jaws", "coupling", "Jaws", "Jaws and shank. What do you see?", hazard="reach in"),
        Step("gap", "coupling", "Gap between the plates", "Gap, or no gap?", hazard="reach in"),
        Step("legs", "near side", "Landing gear", "Pads all the way up?", hazard="crank"),
        Step("air", "cab", "Air pressure", "Fall in one minute?", "timed"),
        Step("pull", "cab", "Pull test, red out", "Held, or moved?", hazard="back under"),
        Step(
            "statement", "cab", "Statement",
            "I looked at what I answered, and I answered what I saw. Affirm, or negative?",
            "attest",
        ),
    ),
)  # fmt: skip

SETTINGS = (("air lines", "after the lock"),)


class Recorder:
    """Keeps records with a clock that runs a few seconds at each."""

    def __init__(self, **opened: Any) -> None:
        self.mono = 1_000
        self.wall = datetime.datetime.fromisoformat("2026-11-25T06:38:04-06:00")
        self.records: list[r.Record] = []
        self.typed = opened.get("source") == "typed"
        values: dict[str, Any] = {
            f.name: ""
            for f in dataclasses.fields(r.Opened)
            if f.name != "at" and f.default is dataclasses.MISSING
        }
        values |= {
            "inspection": "HL-2026-1125-07",
            "checklist": "couple",
            "edition": "2026.1",
            "settings": SETTINGS,
            "audio_days": 90,
            "jurisdiction": "US",
            "season": "winter",
            "operating": "inspection",
            "source": "microphone",
            "engine": "pocketsphinx 5.0.4",
            "engine_digest": hashlib.sha256(b"invented model").hexdigest(),
            "voice": "espeak en-us",
            "program": "voicecheck 0.1.0",
            "driver": "Odalys Brandt",
            "carrier": "Harrow Lake Haulage",
            "units": (("tractor", "118"), ("trailer", "7K42")),
            "place": "North yard, bay 12",
        } | opened
        self.keep(r.Opened, **values)

    def keep(self, cls: type[r.Record], **values: Any) -> int:
        self.records.append(cls(at=r.Stamp(self.wall.isoformat(), self.mono), **values))
        self.pause(3)
        return len(self.records)

    def pause(self, seconds: int) -> None:
        self.mono += seconds * 1000
        self.wall += datetime.timedelta(seconds=seconds)

    def ask(self, step: str, speaks: bool = False) -> int:
        hazard = next(s.hazard for s in CHECKLIST.steps if s.id == step)
        return self.keep(r.StepStarted, step=step, ends=(), hazard=hazard, speaks=speaks, variant=0)

    def hear(self, step: str, words: str, took: bool = True, why: str = "", **more: Any) -> int:
        n = len(self.records) + 1
        values = {
            "meaning": words,
            "certainty": "typed" if self.typed else "clear",
            "confidence": "" if self.typed else "0.94",
            "snr_db": "" if self.typed else "13",
            "evidence": "" if self.typed else f"reply-{n:04}.flac",
            "digest": "" if self.typed else hashlib.sha256(f"sound {n}".encode()).hexdigest(),
        } | more
        return self.keep(r.HeardReply, step=step, words=words, took=took, why=why, **values)

    def answer(self, step: str, text: str, outcome: str = "good", **more: Any) -> int:
        values: dict[str, Any] = {
            "answer": text,
            "gives": (),
            "rested_on": (),
            "heard": self._last_heard(),
            "quantity": "",
            "first_quantity": "",
            "limit": "",
            "verdict": "",
            "judged": "",
            "quick": False,
        } | more
        return self.keep(r.Answered, step=step, outcome=outcome, text=text, **values)

    def _last_heard(self) -> int:
        return max(n for n, x in enumerate(self.records, 1) if isinstance(x, r.HeardReply))

    def good(self, step: str, text: str, **more: Any) -> int:
        self.ask(step)
        self.hear(step, text)
        return self.answer(step, text, **more)

    def defect(self, step: str, id: str, text: str, severity: str, **more: Any) -> int:
        number = 1 + sum(isinstance(x, r.DefectFound) for x in self.records)
        values = {
            "item": next(s.item for s in CHECKLIST.steps if s.id == step),
            "scope": ("leave",) if severity == "major" else (),
            "mended_by": "mechanic",
            "source": ("common-practice",),
            "heard": self._last_heard(),
        } | more
        return self.keep(
            r.DefectFound, defect=id, number=number, severity=severity, step=step, text=text,
            **values,
        )  # fmt: skip

    def finish(self, outcome: str, why: str = "every step has an answer") -> list[r.Record]:
        self.keep(r.Finished, outcome=outcome, why=why)
        return self.records

    # -- whole stretches

    def unit(self) -> None:
        self.ask("unit")
        heard = self.hear("unit", "seven kilo four two")
        self.keep(r.ReadBack, step="unit", text="Seven kilo four two.", pending="spell\t7K42")
        self.hear("unit", "affirm")
        self.answer("unit", "7K42", heard=heard)

    def tread(self, value: str = "5/32 in", verdict: str = "within") -> None:
        self.ask("tyre")
        heard = self.hear("tyre", "five thirty seconds")
        self.keep(r.ReadBack, step="tyre", text="Five thirty seconds of an inch.", pending="")
        self.hear("tyre", "affirm")
        self.answer(
            "tyre", value, heard=heard, quantity=value, limit="us-393-75-tread-other",
            verdict=verdict,
            judged=f"{value}. {verdict.capitalize()} the limit: at least 2/32 in "
            "(49 CFR 393.75(c), law).",
        )  # fmt: skip

    def air(self, fall: str = "2 psi/min", verdict: str = "within") -> None:
        self.ask("air")
        self.hear("air", "one one five")
        self.keep(r.Timing, step="air", first="115 psi", until=self.mono + 60_000)
        self.pause(60)
        self.keep(r.TimingDone, step="air")
        self.keep(r.FollowedUp, step="air", question="second reading", about="")
        self.hear("air", "one one three")
        self.answer(
            "air", f"fell by {fall}", outcome="good" if verdict == "within" else "noted",
            quantity="113 psi", first_quantity="115 psi", limit="us-guide-leak-combination",
            verdict=verdict,
            judged=f"{fall}. {verdict.capitalize()} the guide value: at most 3 psi in one minute "
            "(driver handbook, guide value, not law).",
        )  # fmt: skip

    def to_the_coupling(self) -> None:
        self.unit()
        self.good("doors", "closed and locked")
        self.good("rear lamps", "all good")
        self.tread()

    def coupled(self) -> None:
        self.good("kingpin", "straight and sound")
        self.good("held", "spring brakes", gives=("trailer held",))
        self.ask("lock", speaks=True)
        self.keep(r.Said, what="back under caution")
        self.hear("lock", "locked and stopped")
        self.answer("lock", "locked and stopped")
        self.good("jaws", "closed round the shank", gives=("coupling seen locked",))
        self.good("gap", "no gap")
        self.good("legs", "pads all the way up", gives=("legs up",))

    def rest(self) -> None:
        self.air()
        self.good("pull", "held")
        self.good("statement", "affirm")


def all_good() -> list[r.Record]:
    recorder = Recorder()
    recorder.to_the_coupling()
    recorder.coupled()
    recorder.rest()
    return recorder.finish("complete")


def stop() -> list[r.Record]:
    """A bent kingpin; the driver looks at some of the rest. One lamp out, one item unseen."""
    recorder = Recorder()
    recorder.unit()
    recorder.good("doors", "closed and locked", quick=True)
    recorder.ask("rear lamps")
    recorder.hear("rear lamps", "fail")
    recorder.keep(r.FollowedUp, step="rear lamps", question="which", about="")
    heard = recorder.hear("rear lamps", "left marker out")
    recorder.keep(r.ItemNoted, step="rear lamps", item="left marker", finding="out", heard=heard)
    recorder.defect(
        "rear lamps", "lamp-out", "Left marker: a lamp is out.", "minor", item="left marker",
        mended_by="driver", source=("49 CFR 393.9",),
    )  # fmt: skip
    recorder.answer("rear lamps", "left marker out", "noted")
    recorder.ask("tyre")
    recorder.hear("tyre", "cannot see")
    recorder.answer("tyre", "cannot see: snow", "cannot see")
    recorder.ask("kingpin")
    recorder.hear("kingpin", "engine noise and talk", took=False, why="not among the answers")
    recorder.keep(r.NotHeard, step="kingpin", why="noise", words="")
    recorder.hear("kingpin", "bent")
    recorder.defect(
        "kingpin", "kingpin-bent", "The kingpin is bent.", "major",
        scope=("leave", "back under"), source=("49 CFR 393.70",),
    )  # fmt: skip
    recorder.answer("kingpin", "bent", "failed")
    recorder.good("held", "spring brakes", gives=("trailer held",))
    recorder.keep(
        r.Hold, hold="stop", step="lock", missing=("kingpin-bent",), goes_to="",
        text="Stop. The kingpin is bent. It stops: Backing under. Say carry on, release, or "
        "end inspection.",
    )  # fmt: skip
    recorder.keep(r.Said, what="stop")
    recorder.keep(
        r.MemoTaken, step="kingpin", about="note", evidence="reply-0099.flac",
        digest=hashlib.sha256(b"note").hexdigest(), text="", seconds="6.4",
    )  # fmt: skip
    recorder.keep(r.CarriedOn, numbers=(2,))
    recorder.answer("lock", "blocked by a stop", "blocked", heard=0)
    recorder.keep(r.Asking, command="end inspection", text="End the inspection here?")
    recorder.hear("jaws", "affirm")
    return recorder.finish("stopped", "ended by the driver")


def not_finished() -> list[r.Record]:
    """Typed; a correction, a hold that was cleared, a stand by, and an early end."""
    recorder = Recorder(source="typed", driver="Teo Lindqvist")
    recorder.unit()
    recorder.good("doors", "closed and locked")
    recorder.good("rear lamps", "all good")
    recorder.keep(r.Withdrawn, step="rear lamps", why="correction")
    recorder.ask("rear lamps")
    recorder.hear("rear lamps", "reflector cracked")
    recorder.defect("rear lamps", "reflector", "A reflector is cracked.", "minor")
    recorder.answer("rear lamps", "reflector cracked", "noted")
    recorder.tread()
    recorder.good("kingpin", "straight and sound")
    recorder.keep(
        r.Hold, hold="precondition", step="lock", missing=("trailer held",), goes_to="held",
        text="Hold. Not established: The trailer is held by its spring brakes or chocks. "
        "Next: Trailer held.",
    )  # fmt: skip
    recorder.keep(r.StoodBy, why="driver")
    recorder.pause(240)
    recorder.keep(r.WentAhead, away_s=243)
    recorder.good("held", "spring brakes", gives=("trailer held",))
    recorder.ask("lock")
    recorder.hear("lock", "locked and stopped")
    recorder.answer("lock", "locked and stopped")
    recorder.ask("jaws")
    recorder.hear("jaws", "not done")
    recorder.keep(r.FollowedUp, step="jaws", question="why", about="")
    recorder.hear("jaws", "too dark")
    recorder.answer("jaws", "not done: too dark", "not done")
    recorder.keep(r.MadeSafe, hazard="reach in", why="the inspection ends", text="Step out.")
    return recorder.finish("not finished", "ended by the driver")


def released() -> list[r.Record]:
    """A worn kingpin released in person; a gladhand seal mended by the driver before."""
    recorder = Recorder()
    recorder.to_the_coupling()
    recorder.ask("kingpin")
    recorder.hear("kingpin", "worn")
    recorder.defect(
        "kingpin", "kingpin-worn", "The kingpin is worn thin.", "major",
        scope=("leave", "back under"),
    )  # fmt: skip
    recorder.answer("kingpin", "worn", "failed")
    recorder.keep(
        r.Hold, hold="stop", step="lock", missing=("kingpin-worn",), goes_to="",
        text="Stop. The kingpin is worn thin. It stops: Backing under.",
    )  # fmt: skip
    recorder.keep(r.Said, what="stop")
    recorder.keep(r.Asking, command="release", text="Somebody releases it in person?")
    recorder.hear("lock", "affirm")
    recorder.keep(r.MemoWanted, about="in person", number=1)
    recorder.pause(1500)
    recorder.keep(
        r.MemoTaken, step="lock", about="in person", evidence="memo-0031.flac",
        digest=hashlib.sha256(b"memo").hexdigest(), text="", seconds="14.2",
    )  # fmt: skip
    recorder.keep(r.Released, number=1, how="in person", memo="memo-0031.flac")
    recorder.keep(r.Withdrawn, step="kingpin", why="released")
    recorder.coupled()
    recorder.rest()
    return recorder.finish("complete")


def guide_value() -> list[r.Record]:
    """The air pressure falls faster than the handbook's guide value: noted, no stop."""
    recorder = Recorder()
    recorder.to_the_coupling()
    recorder.coupled()
    recorder.air("4 psi/min", "outside")
    recorder.defect(
        "air", "air-leak", "Air pressure falls faster than the guide value.", "minor",
        source=("driver handbook",),
    )  # fmt: skip
    recorder.good("pull", "held")
    recorder.good("statement", "affirm")
    return recorder.finish("complete")


def practice() -> list[r.Record]:
    recorder = Recorder(operating="practice", source="rehearsal", driver="Rehearsal")
    recorder.to_the_coupling()
    recorder.coupled()
    recorder.rest()
    return recorder.finish("complete")


def hostile() -> list[r.Record]:
    """Texts that try to be markup, in every place that a person or a file can fill."""
    evil = "</td><script>alert(1)</script><img src=x onerror=alert(1)>\"'&"
    recorder = Recorder(
        driver=evil, carrier=evil, place=evil, units=((evil, evil),), settings=((evil, evil),),
        inspection=evil, engine=evil, engine_digest=evil, voice=evil, program=evil,
        source=evil, jurisdiction=evil, season=evil, checklist=evil, edition=evil,
    )  # fmt: skip
    recorder.ask("kingpin")
    recorder.hear("kingpin", evil, took=False, why=evil)
    recorder.hear(
        "kingpin", evil, evidence='x" onerror="alert(1).flac', snr_db=evil, confidence=evil,
        certainty=evil,
    )  # fmt: skip
    recorder.keep(r.ReadBack, step="kingpin", text=evil, pending=evil)
    recorder.keep(r.ItemNoted, step="kingpin", item=evil, finding=evil, heard=4)
    recorder.defect(
        "kingpin", evil, evil, "major", item=evil, scope=(evil,), mended_by=evil, source=(evil,)
    )
    recorder.answer(
        "kingpin", evil, "failed", quantity=evil, first_quantity=evil, limit=evil, verdict=evil,
        judged=evil,
    )  # fmt: skip
    recorder.keep(r.Hold, hold=evil, step="lock", missing=(evil,), goes_to=evil, text=evil)
    recorder.keep(
        r.MemoTaken, step="kingpin", about="note", evidence="javascript:alert(1)", digest=evil,
        text=evil, seconds=evil,
    )  # fmt: skip
    recorder.keep(r.Released, number=1, how=evil, memo=evil)
    recorder.keep(r.Withdrawn, step="kingpin", why=evil)
    recorder.keep(r.StoodBy, why=evil)
    recorder.keep(r.MadeSafe, hazard=evil, why=evil, text=evil)
    return recorder.finish("not finished", evil)


SCENARIOS: dict[str, Callable[[], list[r.Record]]] = {
    "all-good": all_good,
    "stop": stop,
    "not-finished": not_finished,
    "released": released,
    "guide-value": guide_value,
    "practice": practice,
}


def typed_release_and_resumption() -> list[r.Record]:
    """Typed without sound: a worn kingpin released in person, then broken off and resumed."""
    recorder = Recorder(source="typed", engine="", engine_digest="", voice="")
    recorder.to_the_coupling()
    recorder.ask("kingpin")
    recorder.hear("kingpin", "worn")
    recorder.defect("kingpin", "kingpin-worn", "The kingpin is worn thin.", "major")
    recorder.answer("kingpin", "worn", "failed")
    given = "R. Example, workshop, measured again, within the maker's limit"
    recorder.keep(
        r.MemoTaken, step="lock", about="in person", evidence="", digest="", text=given,
        seconds="",
    )  # fmt: skip
    recorder.keep(r.Released, number=1, how="in person", memo=given)
    recorder.keep(r.Withdrawn, step="kingpin", why="released")
    recorder.keep(r.Resumed, gap_s=20)
    recorder.keep(r.Resumed, gap_s=720)
    recorder.coupled()
    recorder.rest()
    return recorder.finish("complete")
