"""Hostile input: sessions in words and timing, sound, journals, YAML. No crash without a code.

    python tests/long/fuzz.py [--sessions 2000] [--audio 100] [--journals 2000] [--yaml 2000]
                              [--seed 1]

Each part prints its size, what came of it and its processor time; every failure is printed with its
seed. Exit status 1 when something failed:

- a session: an exception, a fact from nowhere or not listed for its answer (H2), a step or an
  answer while a need is false (H1), a fold that differs from the live state, a journal that does
  not read back as it was written (J3), a report or page that cannot be made;
- sound: an exception, or a reply that is not of the vocabulary;
- a journal: another exception than one with a code, or records other than those before the damage;
- YAML (checklists, hazards, vehicles, orders): another exception than one with a code.
"""

from __future__ import annotations

import argparse
import json
import random
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from tests.checklists.walk import Walk, compiled
from tests.session.small import opened
from voicecheck.audio.ear import Ear
from voicecheck.audio.noise import diesel, to_samples, wind
from voicecheck.audio.ports import BLOCK, RATE, Heard
from voicecheck.audio.vosk_recogniser import VoskRecogniser
from voicecheck.audio.wav import read_wav
from voicecheck.checklist.compile import Context, compile_checklist
from voicecheck.checklist.load import load_checklist, load_hazards, load_order, load_vehicle
from voicecheck.checklist.order import loaded
from voicecheck.errors import SessionFault, VoicecheckError
from voicecheck.journal import format as journal_format
from voicecheck.journal.file import JOURNAL
from voicecheck.reply.grammar import Expect, samples, vocabulary
from voicecheck.report.build import build, to_json
from voicecheck.report.files import verify
from voicecheck.report.html import to_html
from voicecheck.run.carry import carried_into
from voicecheck.run.due import due
from voicecheck.run.library import names, shipped
from voicecheck.run.opening import compiled_of, read_inspection, reopen
from voicecheck.run.past import all_past
from voicecheck.session import actions as a
from voicecheck.session import events as e
from voicecheck.session import records as r
from voicecheck.session.facts import missing
from voicecheck.session.fold import evolve, fold
from voicecheck.session.replying import expect, vocabularies
from voicecheck.session.state import Phase

Rng = random.Random
LISTS = [name for name in names("checklists") if name != "vehicle"]
GAPS = (0, 0.05, 1, 3, 5, 20, 31, 61, 125, 700, 4000, 20000)
WALLS = (
    "2026-11-25T06:00:00-07:00", "2026-11-25T05:00:00-07:00", "2026-11-25T14:00:00+00:00",
    "2027-03-14T03:00:00-04:00", "1970-01-01T00:00:00+00:00",
)  # fmt: skip
ODD = (
    "", " ", "[unk]", "affirm affirm", "pass fail", "not", "one twenty five", "\u0000", "é",
    "nine " * 60, "affirm\n", "🚛", "-", "stand by go ahead", "command:end", "i spell", "x-ray",
)  # fmt: skip
NOW = "2026-11-25T18:00:00-07:00"
WHYS = ("noise", "talk", "fragment", "too long", "silence", "muted", "not kept", "other")


@cache
def texts(wanted: Expect) -> list[str]:
    return [text for text, _ in samples(wanted, 40)]


# -- sessions ------------------------------------------------------------------------------------


class Fuzzed(Walk):
    """A walk with random moves, checked at every record."""

    def __init__(self, rng: Rng) -> None:
        self.rng = rng
        self.steps_seen: set[str] = set()
        super().__init__(
            compiled(
                rng.choice(LISTS),
                season=rng.choice(("summer", "winter")),
                jurisdiction=rng.choice(("US", "CA-ON", "US-MD", "CA-QC")),
            ),
            rng.choice("ab"),
        )

    def at(self, seconds: float = 5) -> r.Stamp:
        self.mono += round(seconds * 1000)
        return r.Stamp(self.rng.choice(WALLS), self.mono)

    def raw(self, event: e.Event):  # type: ignore[no-untyped-def]
        if isinstance(event, e.Started):
            codes = self.rng.random() < 0.5
            event = replace(event, opened=replace(event.opened, codes=codes))
        state = self.session.state
        actions = super().raw(event)
        for action in actions:
            if isinstance(action, a.Keep):
                state = self.check(state, action.record)
            if isinstance(action, a.CheckCode) and self.rng.random() < 0.9:
                right = self.rng.random() < 0.3
                self.raw(e.CodeChecked(at=self.at(0), reference=action.reference, right=right))
                state = self.session.state
        return actions

    def check(self, state: Any, record: r.Record) -> Any:
        c = self.session.compiled
        if isinstance(record, r.StepStarted):
            assert not missing(c, state, c.step(record.step)), "H1: spoken while a need is false"
            self.steps_seen.add(record.step)
        if isinstance(record, r.Answered):
            step = c.step(record.step)
            if record.outcome not in ("blocked", "carried"):
                assert not missing(c, state, step), "H1: accepted while a need is false"
                assert state.phase not in (Phase.SPEAKING, Phase.HOLDING, Phase.STOPPING), "H6"
            listed = {*step.gives, *(f for v in step.variants for x in v.answers for f in x.gives)}
            assert set(record.gives) <= listed, "H2: a fact that is not listed"
            assert record.outcome == "good" or not record.gives, "H2: a fact by a bad answer"
        after = evolve(c, state, record)
        if new := set(after.facts) - set(state.facts):
            assert isinstance(record, r.Answered), "H2: a fact from nowhere"
            assert new <= set(record.gives), "H2: a fact from nowhere"
        return after

    def move(self) -> None:
        rng, certainty = self.rng, self.rng.choice(("clear", "clear", "doubtful", "typed"))
        dice = rng.random()
        if dice < 0.45:
            try:
                words = self.good()
            except (KeyError, StopIteration, AssertionError):
                words = "affirm"  # a question that the walk of good answers never meets
            self.certainty = certainty
            self.reply(words)
        elif dice < 0.8:
            words = self.words()
            ago = rng.choice((0, 0, 300, 5000, 10**7))
            event = e.ReplyHeard(
                at=self.at(rng.choice(GAPS)), words=words, certainty=certainty, ago_ms=ago
            )
            (self.tell if rng.random() < 0.8 else self.raw)(event)
        else:
            (self.tell if rng.random() < 0.7 else self.raw)(self.event())

    def words(self) -> str:
        rng = self.rng
        wanted, _ = expect(self.session.compiled, self.session.state)
        said = rng.choice(texts(wanted) or ["affirm"])
        if "end inspection" in said and rng.random() < 0.8:
            said = "say again"
        dice = rng.random()
        parts = said.split()
        if dice < 0.6:
            return said
        if dice < 0.68:
            return rng.choice(ODD)
        if dice < 0.76:
            return " ".join(parts[:-1])
        if dice < 0.84:
            rng.shuffle(parts)
            return " ".join(parts)
        if dice < 0.92:
            return f"{said} {rng.choice(texts(wanted) or ['affirm'])}"
        parts.insert(rng.randrange(len(parts) + 1), rng.choice(("not", "[unk]", "and", "oh")))
        return " ".join(parts)

    def event(self) -> e.Event:
        rng, at = self.rng, self.at(self.rng.choice(GAPS))
        state = self.session.state
        prompt = rng.choice((f"{state.phase}:{state.step}:0", "make safe", "finished", ""))
        return rng.choice((
            e.SoundRefused(at=at, why=rng.choice(WHYS), ms=rng.choice((0, 900, 60000))),
            e.MemoHeard(at=at, evidence="reply-0001.flac", digest="0" * 64, seconds="2.0",
                        text=rng.choice(ODD)),
            e.TimerElapsed(at=at, name=rng.choice(("timing", "quiet", "hands busy", "mark", ""))),
            e.PromptEnded(at=at, name=prompt),
            e.MicrophoneLost(at=at), e.MicrophoneBack(at=at),
            e.Interrupted(at=at, why="fuzz"),
            e.Resumed(at=at, gap_s=rng.choice((0, 5, 700, 14000))),
            e.CodeChecked(at=at, reference=state.reference or "1", right=rng.random() < 0.2),
        ))  # fmt: skip


def session(rng: Rng, seed: int) -> str:
    """One session; its outcome."""
    hand = Fuzzed(rng)
    for _ in range(rng.choice((5, 20, 60, 150))):
        if hand.session.state.phase is Phase.FINISHED:
            break
        hand.move()
    c, records = hand.session.compiled, tuple(hand.records)
    assert fold(c, records) == hand.session.state, "the fold is not the live state"
    data, _ = journal_format.encode_all(records)
    contents = journal_format.read(data)
    assert tuple(x for _, x in contents.records) == records, "J3: the journal reads otherwise"
    if seed % 5 == 0:
        report = build(records, c)
        assert to_json(report) == to_json(build(records, c)), "J3"
        assert to_html(report)
    return hand.outcome or "open"


# -- sound ---------------------------------------------------------------------------------------


@cache
def engine() -> VoskRecogniser:
    return VoskRecogniser()


@cache
def clips() -> list[bytes]:
    folder = shipped("drives") / "all-good" / "clips"
    return [read_wav(file) for file in sorted(folder.glob("*.flac"))]


def sound(rng: Rng, seed: int) -> str:
    """Twenty seconds of hostile sound before one ear; what was heard."""
    wanted = rng.choice(vocabularies(compiled("couple")))
    words = vocabulary(wanted)
    ear = Ear(engine())
    made = b"".join(piece(rng) for _ in range(rng.randrange(2, 7)))[: 2 * 20 * RATE]
    size = 2 * BLOCK
    blocks = [made[at : at + size] for at in range(0, len(made) - size, size)]
    heard = 0
    ear.listen(words)
    for block in blocks:
        if rng.random() < 0.01:
            rng.choice((ear.deafen, ear.listen_memo, lambda: ear.listen(words)))()
        result = ear.feed(block)
        if isinstance(result, Heard):
            heard += 1
            assert words.complete(result.hypothesis.text), "not of the vocabulary"
            ear.listen(words)
    ear.finish()
    return "heard" if heard else "nothing heard"


def piece(rng: Rng) -> bytes:
    seconds = rng.choice((0.1, 0.5, 2.0, 5.0))
    clip = np.frombuffer(rng.choice(clips()), dtype="<i2").astype(np.float64)
    noise = rng.choice((diesel, wind))(seconds, rng.randrange(1000))
    kind = rng.choice(("clip", "cut", "loud", "backwards", "noise", "zeros", "square", "chopped",
                       "random", "dc", "two"))  # fmt: skip
    match kind:
        case "clip":
            out = clip
        case "cut":
            out = clip[rng.randrange(clip.size) :]
        case "loud":
            out = clip * 40
        case "backwards":
            out = clip[::-1]
        case "noise":
            return to_samples(noise, rng.choice((-60.0, -20.0, 0.0)))
        case "zeros":
            return bytes(2 * int(seconds * RATE))
        case "square":
            out = np.sign(np.sin(np.arange(int(seconds * RATE)) * 0.2)) * 32767
        case "chopped":
            out = clip * (np.arange(clip.size) // 800 % 2)
        case "random":
            return rng.randbytes(2 * int(seconds * RATE))
        case "dc":
            out = np.full(int(seconds * RATE), 30000.0)
        case _:
            other = np.frombuffer(rng.choice(clips()), dtype="<i2").astype(np.float64)
            out = clip[: other.size] + other[: clip.size]
    return bytes(np.clip(out, -32768, 32767).astype("<i2").tobytes())


# -- journals ------------------------------------------------------------------------------------


@cache
def journal() -> tuple[bytes, tuple[r.Record, ...]]:
    """A whole coupling."""
    hand = Walk(compiled("couple"))
    hand.to_the_end()
    sources = opened()
    first = hand.records[0]
    assert isinstance(first, r.Opened)
    folder = shipped("checklists")
    first = replace(
        first,
        checklist="couple",
        checklist_text=(folder / "couple.yaml").read_text("utf-8"),
        hazards_text=(folder / "hazards.yaml").read_text("utf-8"),
        vehicle_text=(folder / "vehicles" / "tractor-semitrailer.yaml").read_text("utf-8"),
        program=sources.program,
    )
    records = (first, *hand.records[1:])
    return journal_format.encode_all(records)[0], records


def reported(folder: Path) -> None:
    """What ``report`` does with a folder."""
    compiled_, records = read_inspection(folder)
    build(records, compiled_)


def reader(rng: Rng, seed: int) -> str:
    """One damaged journal through the reader, and now and then through all that reads it."""
    data, records = journal()
    if rng.random() < 0.5:
        broken = bytes_changed(rng, data)
        contents, damage = journal_format.read_to_damage(broken)
        found = tuple(x for _, x in contents.records)
        assert found == records[: len(found)], "records other than those before the damage"
        if broken == data[: len(broken)]:
            assert damage is None, "a torn tail is no damage"
        kind = "damaged" if damage else "torn or whole"
    else:
        broken = rechained(rng, data)
        contents, damage = journal_format.read_to_damage(broken)
        kind = "chained anew, refused" if damage else "chained anew, read"
    if seed % 10 == 0 or kind == "chained anew, read":
        with tempfile.TemporaryDirectory() as parent:
            folder = Path(parent) / "x"
            folder.mkdir()
            (folder / JOURNAL).write_bytes(broken)
            past, unreadable = all_past(Path(parent))
            due(past, unreadable, NOW)
            if past:
                carried_into(past[0].opened, past[0].compiled, past)
            coded(lambda: reopen(folder)[2].close())
            coded(lambda: reported(folder))
            coded(lambda: verify(folder, lambda first: compiled_of((first,), folder)))
    return kind


def coded(do: Callable[[], object]) -> None:
    try:
        do()
    except SessionFault:
        raise
    except VoicecheckError:
        pass


def bytes_changed(rng: Rng, data: bytes) -> bytes:
    at = rng.randrange(len(data))
    end = min(len(data), at + rng.choice((1, 2, 40, 3000)))
    lines = data.splitlines(keepends=True)
    n = rng.randrange(len(lines))
    match rng.randrange(8):
        case 0:
            return data[:at]
        case 1:
            return data[:at] + data[end:]
        case 2:
            return data[:at] + bytes([data[at] ^ 1 << rng.randrange(8)]) + data[at + 1 :]
        case 3:
            return data[:at] + rng.randbytes(end - at) + data[end:]
        case 4:
            return b"".join(lines[:n] + lines[n + 1 :])
        case 5:
            return b"".join([*lines[:n], lines[n], *lines[n:]])
        case 6:
            return data[:at] + rng.choice((b"\n", b"\x00", b"{" * 5000, b"\xff", b'"')) + data[at:]
        case _:
            rng.shuffle(lines)
            return b"".join(lines)


def rechained(rng: Rng, data: bytes) -> bytes:
    """As by a forger or another version: bodies changed, sums and chain made anew."""
    values = [json.loads(line) for line in data.splitlines()]
    for _ in range(rng.randrange(1, 4)):
        value = rng.choice(values)
        mutate(rng, value if rng.random() < 0.1 else value["body"])
    out, prev = [], journal_format.GENESIS
    for value in values:
        value.pop("sum", None)
        value["prev"] = prev
        value["sum"] = journal_format.digest(journal_format.canonical(value))
        line = journal_format.canonical(value)
        prev = journal_format.digest(line)
        out.append(line + b"\n")
    return b"".join(out)


STRANGE: tuple[Any, ...] = (
    None, True, 0, -1, 2**53 - 1, "", "nowhere", [], {}, [["a"]], [["a", "b"]], "x" * 5000, 1.5,
)  # fmt: skip


def mutate(rng: Rng, value: dict[str, Any]) -> None:
    if not value:
        return
    key = rng.choice(sorted(value))
    old = value[key]
    dice = rng.random()
    if isinstance(old, dict) and dice < 0.5:
        mutate(rng, old)
    elif isinstance(old, list) and old and dice < 0.5:
        old[rng.randrange(len(old))] = rng.choice(STRANGE)
    elif isinstance(old, str) and dice < 0.6:
        at = rng.randrange(len(old) + 1)
        value[key] = old[:at] + rng.choice(("x", "", "\t", "é", " ")) + old[at + 1 :]
    elif dice < 0.1:
        del value[key]
    else:
        value[key] = rng.choice(STRANGE)


# -- YAML ----------------------------------------------------------------------------------------


def files(rng: Rng) -> tuple[str, str]:
    """Kind and text of one shipped file."""
    folder = shipped("checklists")
    kind = rng.choice(("checklist", "checklist", "hazards", "vehicle", "order"))
    file = {
        "checklist": lambda: folder / f"{rng.choice(names('checklists'))}.yaml",
        "hazards": lambda: folder / "hazards.yaml",
        "vehicle": lambda: folder / "vehicles" / f"{rng.choice(names('vehicles'))}.yaml",
        "order": lambda: folder / "orders" / "van-load.yaml",
    }[kind]()
    return kind, file.read_text("utf-8")


SCALARS = (
    "", "null", "true", "-1", "0", "99999999999999999999", "1e999", ".nan", "2026-13-45", "[]",
    "{}", "'", '"', "&a x", "*a", "!!python/object:os.system x", "|", ">", "? x", "- - - -", "{{",
    "\t", "\u2028", "é" * 300, "[" * 30, "{a: " * 30, "<<: x", "no", "off", "0x10", "1:30",
)  # fmt: skip


def loader(rng: Rng, seed: int) -> str:
    """One changed file through loader and compiler."""
    kind, text = files(rng)
    for _ in range(rng.choice((1, 1, 2, 5))):
        text = text_changed(rng, text)
    folder = shipped("checklists")
    hazards_text = (folder / "hazards.yaml").read_text("utf-8")
    vehicle_text = (folder / "vehicles" / "tractor-semitrailer.yaml").read_text("utf-8")
    list_text = (folder / "couple.yaml").read_text("utf-8")
    rest: Any = ()
    if kind == "checklist":
        list_text = text
    elif kind == "hazards":
        hazards_text = text
    elif kind == "vehicle":
        vehicle_text = text
    try:
        if kind == "order":
            rest = load_order(text, "order").rest()
        model, lines = load_checklist(list_text, "list")
        hazards, _ = load_hazards(hazards_text, "hazards")
        vehicle = loaded(load_vehicle(vehicle_text, "vehicle"), rest)
        compile_checklist(model, lines, "list", hazards, Context(vehicle))
    except SessionFault:
        raise
    except VoicecheckError as error:
        return error.code
    return "compiled"


def text_changed(rng: Rng, text: str) -> str:
    lines = text.split("\n")
    n = rng.randrange(len(lines))
    line = lines[n]
    match rng.randrange(9):
        case 0:
            del lines[n]
        case 1:
            lines.insert(n, line)
        case 2:
            lines[n] = " " * rng.randrange(12) + line.lstrip()
        case 3 | 4:
            head, colon, _ = line.partition(":")
            lines[n] = f"{head}{colon} {rng.choice(SCALARS)}"
        case 5:
            m = rng.randrange(len(lines))
            lines[n], lines[m] = lines[m], line
        case 6:
            at = rng.randrange(len(line) + 1)
            lines[n] = line[:at] + chr(rng.choice((0, 9, 34, 39, 58, 91, 123, 0x1F69B, 0xD7FF)))
            lines[n] += line[at:]
        case 7:
            lines = lines[:n]
        case _:
            words = line.split(" ")
            rng.shuffle(words)
            lines[n] = " ".join(words)
    return "\n".join(lines)


# -- all of it -----------------------------------------------------------------------------------


def part(name: str, do: Callable[[Rng, int], str], count: int, seed: int) -> int:
    """Run one part; how many failed."""
    outcomes: Counter[str] = Counter()
    failures: Counter[str] = Counter()
    began = time.process_time()
    for n in range(count):
        number = seed * 1_000_000 + n
        try:
            outcomes[do(Rng(number), number)] += 1
        except Exception as error:
            where = traceback.extract_tb(error.__traceback__)[-1]
            text = f"{type(error).__name__}: {error} ({Path(where.filename).name}:{where.lineno})"
            if not failures[text]:
                print(f"FAILED {name} {number}: {text}", flush=True)
                print("".join(traceback.format_exception(error)[-6:]), flush=True)
            failures[text] += 1
    spent = time.process_time() - began
    told = ", ".join(f"{k} {v}" for k, v in outcomes.most_common(8))
    print(f"{name}: {count}, failed {failures.total()}; {told}; {spent:.0f} s of processor time",
          flush=True)  # fmt: skip
    return failures.total()


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sessions", type=int, default=2000)
    parser.add_argument("--audio", type=int, default=100)
    parser.add_argument("--journals", type=int, default=2000)
    parser.add_argument("--yaml", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    failed = part("yaml", loader, given.yaml, given.seed)
    failed += part("journals", reader, given.journals, given.seed)
    failed += part("sessions", session, given.sessions, given.seed)
    failed += part("audio", sound, given.audio, given.seed)
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
