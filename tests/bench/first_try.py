"""First-try acceptance of the recorded test speech, run by hand.

    python -m tests.bench.first_try --engine sphinx
    python -m tests.bench.first_try --engine vosk --model DIR --noise clean,diesel10,wind5
    python -m tests.bench.first_try --engine sphinx --clips drives --every 4

Every reply of audio_fixtures goes once through the real ear (detector, recogniser, acceptance)
with the vocabulary of a state of the couple checklist in which it may be said. The states are
reached by walking the drives by their words. Numbers, which the short checklist does not ask for,
are heard as a pressure or a length beside its commands.

What the words of the tables mean:

* accepted: heard with the right meaning at the first try. doubtful: the part of it that the loop
  reads back before it counts.
* wrong: heard with another meaning. bad to good (command to good): an answer that is no good news
  (a command) was heard as one that passes, affirms or unlocks; counted only where such a one may
  be said. number: another figure, spelling or date.
  Whether a wrong one does harm depends on the read-back: "clear" are those that get none.
* Upper bounds are Clopper-Pearson (Biometrika 26, 1934), 95 %, one-sided 97.5 %. They take the
  trials as independent. They are not: one voice says all its phrases alike, and each recording
  comes back with every noise. The true uncertainty is larger.

The voices and the noises are synthetic. The figures say nothing about people in a yard.
"""

from __future__ import annotations

import argparse
import math
import random
import time
import zlib
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import yaml

from voicecheck.audio.ear import Ear
from voicecheck.audio.endpoint import SileroActivity
from voicecheck.audio.noise import diesel, mix, wind
from voicecheck.audio.ports import BLOCK, RATE, Heard, NotHeard, Recogniser
from voicecheck.audio.wav import read_wav
from voicecheck.reply.grammar import Expect, NumberForm, Understood, parse, vocabulary
from voicecheck.run.library import compile_sources, load_sources
from voicecheck.session import actions as a
from voicecheck.session import events as e
from voicecheck.session import records as r
from voicecheck.session.replying import COMMANDS_ASKED, forms
from voicecheck.session.session import Session
from voicecheck.session.state import Phase
from voicecheck.units import unit_named

FIXTURES = Path(__file__).parents[2] / "audio_fixtures"
LEAD, TAIL = round(0.8 * RATE), round(1.2 * RATE)
MOST_TURNS = 150
TALK_STATES = ("pass", "closed round the shank", "affirm")  # talk comes while this may be said


@dataclass(frozen=True)
class State:
    """What may be said at one moment, and which of it is good news."""

    expect: Expect
    careful: frozenset[str]


@dataclass(frozen=True)
class Trial:
    file: Path
    voice: str
    words: str
    state: State
    talk: bool


@dataclass(frozen=True)
class Outcome:
    """``kind``: right | wrong | refused. ``danger``: "" | bad to good | number."""

    kind: str
    certainty: str
    heard: str
    danger: str = ""


# -- states --------------------------------------------------------------------------------------


def walk(drive: dict[str, Any], inspection: str) -> Iterator[tuple[str, State]]:
    """The replies of a drive with the state in which each one is said, everything understood."""
    compiled, vehicle = compile_sources(load_sources(drive["checklist"], drive["vehicle"]))
    session = Session(compiled)
    left = [list(rule["says"]) for rule in drive["hears"]]
    used: set[int] = set()
    opened = _opened(inspection, vehicle.numbers())
    event: e.Event = e.Started(at=opened.at, opened=opened)
    state, now = State(Expect(()), frozenset()), 0
    for _ in range(MOST_TURNS):
        prompts: list[str] = []
        actions = session.receive(event)
        while actions:
            action = actions.pop(0)
            if isinstance(action, a.Say):
                prompts.append(action.text)
                if not action.interruptible:
                    ended = e.PromptEnded(at=_stamp(now), name=action.name)
                    actions += session.receive(ended)
            elif isinstance(action, a.Listen):
                state = State(action.expect, action.careful)
        if session.state.phase is Phase.FINISHED:
            return
        now += 15_000
        memo = session.state.phase is Phase.MEMO
        if session.state.phase is Phase.READING:
            words = "affirm"
        else:
            words = _reply(drive["hears"], left, used, prompts).replace(",", "")
        if not words or words.startswith(("talk:", "noise:", "silence:")):
            if words.startswith("talk:"):
                yield words, state
            event = e.TimerElapsed(at=_stamp(now), name="quiet")
        elif memo:
            event = e.MemoHeard(at=_stamp(now), evidence="", digest="", seconds="1", text=words)
        else:
            yield words, state
            event = e.ReplyHeard(at=_stamp(now), words=words, certainty="typed")


def _reply(
    rules: list[dict[str, Any]], left: list[list[str]], used: set[int], prompts: list[str]
) -> str:
    for prompt in reversed(prompts):
        for n, rule in enumerate(rules):
            if rule["prompt"].lower() in prompt.lower() and not (rule.get("once") and n in used):
                if len(left[n]) > 1:
                    return left[n].pop(0)
                used.add(n)
                return left[n][0]
    return ""


def _stamp(ms: int) -> r.Stamp:
    return r.Stamp(wall="2026-11-25T06:00:00-07:00", mono=ms)


def _opened(inspection: str, units: Any) -> r.Opened:
    empty: dict[str, Any] = dict.fromkeys(
        ("checklist_text", "hazards_text", "vehicle_text", "engine", "engine_digest", "voice",
         "program", "driver", "carrier", "place"), "",
    )  # fmt: skip
    return r.Opened(
        at=_stamp(0), inspection=inspection, checklist="couple", edition="", settings=(),
        jurisdiction="US", season="summer", operating="practice", source="typed", units=units,
        **empty,
    )  # fmt: skip


def number_states() -> list[State]:
    """A pressure and a length, each beside the commands of an open question."""
    commands = forms(*COMMANDS_ASKED)
    psi, inch = unit_named("psi"), unit_named("in")
    wanted = NumberForm(psi, (psi,)), NumberForm(inch, (inch,), fractions=True)
    return [State(Expect(commands, form), frozenset()) for form in wanted]


# -- trials --------------------------------------------------------------------------------------


def slug(words: str) -> str:
    """As in audio_fixtures/make.py."""
    return "-".join(words.lower().replace(",", "").split()).replace("'", "")


def trials(clips: str) -> list[Trial]:
    """Every recording with its state. ``clips``: words | drives | all."""
    drives = [yaml.safe_load(p.read_text()) for p in sorted(FIXTURES.glob("*/drive.yaml"))]
    met = [(d, walked) for d in drives for id in ("a", "b") for walked in walk(d, id)]
    states = [state for _, (_, state) in met] + number_states()
    found: dict[Path, Trial] = {}
    if clips != "drives":
        for file in sorted(FIXTURES.glob("words/*/*.flac")):
            words = file.stem.rpartition("-")[0].replace("-", " ")
            state = state_for(words, states)
            found[file] = Trial(file, file.parent.name, words, state, False)
        for file in sorted(FIXTURES.glob("words/*/talk/*.flac")):
            for number, phrase in enumerate(TALK_STATES):
                trial = Trial(file, file.parts[-3], "", state_for(phrase, states), True)
                found[file / str(number)] = trial
    if clips != "words":
        for drive, (words, state) in met:
            talk = words.startswith("talk:")
            name = slug(words.removeprefix("talk:"))
            for file in sorted((FIXTURES / drive["id"] / "clips").glob(f"{name}-[0-9].flac")):
                found.setdefault(file, Trial(file, drive["voice"], words, state, talk))
    order = {id(state): n for n, state in enumerate(states)}
    return sorted(found.values(), key=lambda t: order[id(t.state)])  # each grammar once


def state_for(words: str, states: list[State]) -> State:
    """The first state that understands the words; for a command, where good news could be heard."""
    understood = [(s, u) for s in states if isinstance(u := parse(s.expect, words), Understood)]
    if not understood:
        raise SystemExit(f"no state of the drives understands {words!r}")
    risky = [s for s, u in understood if s.careful and u.meaning.startswith("command:")]
    return risky[0] if risky else understood[0][0]


def hear(ear: Ear, state: State, samples: bytes) -> Heard | NotHeard | None:
    """The first thing that the ear makes of the samples."""
    ear.listen(vocabulary(state.expect), state.careful)
    size = 2 * BLOCK
    for at in range(0, len(samples), size):
        result = ear.feed(samples[at : at + size].ljust(size, b"\0"))
        if result is not None:
            assert not hasattr(result, "memo")
            return result  # type: ignore[return-value]
    return ear.finish()  # type: ignore[return-value]


def judge(trial: Trial, result: Heard | NotHeard | None) -> Outcome:
    if not isinstance(result, Heard):
        why = result.why if result else "nothing"
        return Outcome("refused", "", why)
    text = result.hypothesis.text
    heard = parse(trial.state.expect, text)
    said = None if trial.talk else parse(trial.state.expect, trial.words)
    assert isinstance(heard, Understood)
    if isinstance(said, Understood):
        if _key(said) == _key(heard):
            return Outcome("right", result.certainty, text)
        number = bool(said.quantity or said.spelled or said.date)
        if number and (heard.quantity or heard.spelled or heard.date):
            return Outcome("wrong", result.certainty, text, "number")
    good = text in trial.state.careful and trial.words not in trial.state.careful
    return Outcome("wrong", result.certainty, text, "bad to good" if good else "")


def _key(understood: Understood) -> tuple[object, ...]:
    return understood.meaning, understood.quantity, understood.spelled, understood.date


def noisy(samples: bytes, condition: str, file: Path) -> bytes:
    """The recording with the quiet around it, in the noise of the condition ("diesel10")."""
    padded = bytes(2 * LEAD) + samples + bytes(2 * TAIL)
    kind = condition.rstrip("0123456789")
    seed = zlib.crc32(f"{file.parent.name}/{file.name}".encode())
    if kind == "clean":  # a quiet room is not made of exact zeros
        rng = np.random.default_rng(seed)
        hush = np.round(rng.standard_normal(len(padded) // 2) * 3).astype(np.int32)
        total = np.frombuffer(padded, "<i2").astype(np.int32) + hush
        return np.clip(total, -32768, 32767).astype("<i2").tobytes()
    return mix(padded, NOISES[kind](), float(condition[len(kind) :]), seed)


def _kept(make: Callable[[], Any]) -> Callable[[], Any]:
    kept: list[Any] = []

    def get() -> Any:
        if not kept:
            kept.append(make())
        return kept[0]

    return get


NOISES = {"diesel": _kept(lambda: diesel(20.0, 11)), "wind": _kept(lambda: wind(20.0, 12))}


# -- tables --------------------------------------------------------------------------------------


def upper_bound(events: int, count: int, level: float = 0.975) -> float:
    """Clopper-Pearson upper bound of a share of ``events`` in ``count``."""
    if events >= count:
        return 1.0
    low, high = 0.0, 1.0
    for _ in range(60):
        p = (low + high) / 2
        below = sum(
            math.exp(
                math.lgamma(count + 1) - math.lgamma(k + 1) - math.lgamma(count - k + 1)
                + k * math.log(p) + (count - k) * math.log1p(-p)
            )
            for k in range(events + 1)
        )  # fmt: skip
        low, high = (p, high) if below > 1 - level else (low, p)
    return high


def share(events: int, count: int) -> str:
    """ "3/40 8 % (≤ 21 %)"."""
    if count == 0:
        return "-"
    bound = 100 * upper_bound(events, count)
    return f"{events}/{count} {100 * events / count:.0f} % (≤ {bound:.1f} %)"


def table(title: str, head: Iterable[str], rows: Iterable[Iterable[object]]) -> None:
    lines = [[str(cell) for cell in row] for row in (list(head), *rows)]
    widths = [max(len(line[n]) for line in lines) for n in range(len(lines[0]))]
    print(f"\n{title}")
    for line in lines:
        print(
            "  " + "  ".join(cell.ljust(w) for cell, w in zip(line, widths, strict=True)).rstrip()
        )


Done = list[tuple[Trial, Outcome]]


def print_tables(done: dict[str, Done]) -> None:
    """Everything that was counted, by noise, voice and word."""
    rows, danger_rows, talk_rows = [], [], []
    for condition, pairs in done.items():
        own = [(t, o) for t, o in pairs if not t.talk]
        talk = [o for t, o in pairs if t.talk]
        right = [o for _, o in own if o.kind == "right"]
        doubtful = sum(o.certainty == "doubtful" for o in right)
        wrong = [o for _, o in own if o.kind == "wrong"]
        why = Counter(o.heard for _, o in own if o.kind == "refused")
        rows.append(
            (condition, f"{len(right)}/{len(own)} {100 * len(right) / max(1, len(own)):.1f} %",
             f"{100 * doubtful / max(1, len(right)):.0f} %",
             f"{share(len(wrong), len(own))}, clear {sum(o.certainty == 'clear' for o in wrong)}",
             ", ".join(f"{k} {n}" for k, n in why.most_common()) or "none")
        )  # fmt: skip
        bad = [o for t, o in own if _is_bad(t)]
        other = [o for t, o in own if _is_command(t)]
        numbers = [o for t, o in own if _is_number(t)]
        danger_rows.append(
            (condition,
             share(sum(o.danger == "bad to good" for o in bad), len(bad)),
             share(sum(o.danger == "bad to good" for o in other), len(other)),
             share(sum(o.danger == "number" for o in numbers), len(numbers)),
             sum(bool(o.danger) and o.certainty == "clear" for _, o in own))
        )  # fmt: skip
        taken = [o for o in talk if o.kind == "wrong"]
        talk_rows.append(
            (condition, share(len(taken), len(talk)),
             share(sum(o.danger != "" for o in taken), len(talk)),
             sum(o.certainty == "clear" for o in taken))
        )  # fmt: skip
    table("Replies", ("noise", "accepted", "doubtful", "wrong", "refused as"), rows)
    table(
        "Dangerous",
        ("noise", "bad to good", "command to good", "another number", "of these clear"),
        danger_rows,
    )
    table("Talk", ("noise", "taken for a reply", "taken for good", "of these clear"), talk_rows)
    for title, key in (
        ("Accepted by voice", lambda t: t.voice),
        ("Accepted by word", lambda t: t.words),
    ):
        names = sorted({key(t) for pairs in done.values() for t, _ in pairs if not t.talk})
        table(title, ("", *done), ([n, *(_cell(p, key, n) for p in done.values())] for n in names))
    found: dict[tuple[str, str, str, str], list[str]] = defaultdict(list)
    for condition, pairs in done.items():
        for t, o in pairs:
            if o.danger:
                said = "(talk)" if t.talk else t.words
                found[(said, o.heard, o.danger, o.certainty)].append(f"{t.voice} {condition}")
    lines = sorted(found.items(), key=lambda item: -len(item[1]))[:40]
    table(
        "Dangerous ones, at most 40",
        ("said", "heard", "what", "certainty", "times", "for example"),
        ((*key, len(where), where[0]) for key, where in lines),
    )


def _is_bad(trial: Trial) -> bool:
    """An answer that is no good news, said where good news could be heard instead."""
    careful = trial.state.careful
    return bool(careful) and trial.words not in careful and not _is_command(trial)


def _is_command(trial: Trial) -> bool:
    """A command, said where good news could be heard instead."""
    said = parse(trial.state.expect, trial.words)
    command = isinstance(said, Understood) and said.meaning.startswith("command:")
    return bool(trial.state.careful) and command


def _is_number(trial: Trial) -> bool:
    said = parse(trial.state.expect, trial.words)
    return isinstance(said, Understood) and said.meaning in ("number", "spelling", "date")


def _cell(pairs: Done, key: Callable[[Trial], str], name: str) -> str:
    mine = [o for t, o in pairs if not t.talk and key(t) == name]
    return f"{sum(o.kind == 'right' for o in mine)}/{len(mine)}"


def engine(name: str, model: str) -> Recogniser:
    if name == "vosk":
        from voicecheck.audio.vosk_recogniser import VoskRecogniser

        return VoskRecogniser(Path(model) if model else None)
    from voicecheck.audio.sphinx_recogniser import SphinxRecogniser

    return SphinxRecogniser()


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description="first-try acceptance of the recorded speech")
    parser.add_argument("--engine", choices=("sphinx", "vosk"), default="sphinx")
    parser.add_argument("--model", default="", help="folder of a vosk model")
    parser.add_argument("--noise", default="clean,diesel10,diesel5,wind10,wind5")
    parser.add_argument("--clips", choices=("words", "drives", "all"), default="all")
    parser.add_argument("--every", type=int, default=1, help="a seeded sample: one of so many")
    args = parser.parse_args()
    recogniser = engine(args.engine, args.model)
    wanted = trials(args.clips)
    if args.every > 1:
        chosen = set(random.Random(1).sample(range(len(wanted)), len(wanted) // args.every))
        wanted = [t for n, t in enumerate(wanted) if n in chosen]
    replies = sum(not t.talk for t in wanted)
    print(f"{recogniser.name}: {replies} replies and {len(wanted) - replies} talk, clips "
          f"{args.clips}, one of {args.every}; synthetic voices, synthetic noise")  # fmt: skip
    activity = SileroActivity()  # one for all: loading it costs more than a trial
    done: dict[str, Done] = {}
    heard_s = spent = 0.0
    for condition in args.noise.split(","):
        done[condition] = []
        for trial in wanted:
            samples = noisy(read_wav(trial.file), condition, trial.file)
            began = time.perf_counter()
            result = hear(Ear(recogniser, activity=activity), trial.state, samples)
            spent += time.perf_counter() - began
            heard_s += len(samples) / 2 / RATE
            done[condition].append((trial, judge(trial, result)))
    print_tables(done)
    print(f"\nReal-time factor of ear and recogniser: {spent / heard_s:.3f} ({heard_s:.0f} s)")
    print("Trials of one voice are not independent; the bounds (97.5 %, one-sided) are too small.")


if __name__ == "__main__":
    main()
