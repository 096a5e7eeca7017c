"""Twenty thousand replies through the whole chain, noise alone, and what was accepted wrongly.

    python -m tests.bench.spoken --set trials --cache CACHE       # once, 10 minutes of one core
    python -m tests.long.trials --cache CACHE --bench BENCH --rows ROWS   # 30 minutes of one core
    python -m tests.long.trials --cache CACHE --rows ROWS --tables
    python -m tests.long.trials --noise 2 [--recorded FOLDER]     # noise alone

Rules of this file:

1. Voices that the network never heard (spoken.py, "trials"): six of Kokoro, one of piper, three
   mixtures of the six. Each text comes back in other noise, level, speed, pitch and at another
   question. All synthetic: it says nothing about people in a yard.
2. Each trial is a line of ROWS; when it is called again it goes on where it stopped. ``--part`` and
   ``--parts`` share the work; the trials are in random order, so that any beginning is a sample.
3. Dangerous: an answer that is no good news, a command, talk or a word heard as one that passes,
   affirms or unlocks; another number. ``after`` is what stays of it after the read-back: the
   voice says "negative" to it in the same noise, and that is heard, too, up to three times.
4. Bounds are 95 %, one-sided. By voice: the share of voices that have such an error, from the
   binomial (Clopper and Pearson, Biometrika 26, 1934). Of trials: the 95th percentile of 2,000
   resamples of whole voices; where there was none, the bound of as many independent trials, which
   is too small, stands in brackets.
"""

from __future__ import annotations

import argparse
import datetime
import json
import random
import time
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np
import soundfile

from tests.bench import chain, spoken
from tests.bench.chain import Chain, Trial
from tests.bench.first_try import State, judge, upper_bound
from voicecheck.audio.noise import to_samples
from voicecheck.audio.ports import BLOCK, RATE, Heard
from voicecheck.audio.vosk_recogniser import VoskRecogniser
from voicecheck.authoring.sounds import distance
from voicecheck.reply.grammar import Expect, Understood, parse, vocabulary
from voicecheck.session.replying import COMMANDS, HARMLESS, forms
from voicecheck.session.state import Phase

TIMES = {"reply": 20, "number": 15, "talk": 16, "word": 16}
LEVELS = (5.0, 5.0, 7.5, 10.0, 10.0, 15.0, 20.0, 30.0)
SEED = 2
READING = State(
    Expect(forms("affirm", "negative", *COMMANDS[Phase.READING])),
    frozenset(forms("affirm")[0].said),
)
MOST_READINGS = 3


def planned(cache: Path, bench: Path | None) -> list[Trial]:
    """Every trial, in an order that mixes voices and texts."""
    items = [*spoken.recorded(bench), *spoken.plan("trials")]
    every = chain.trials(items, TIMES, LEVELS, SEED, cache)
    random.Random(SEED).shuffle(every)
    return every


def run(cache: Path, bench: Path | None, rows: Path, part: int, parts: int, seconds: float) -> int:
    """Hear what ROWS lacks, until the time is up; the number of trials that were heard."""
    done = {(row["voice"], row["words"], row["seed"]) for row in read(rows)}
    hearing = Chain(VoskRecogniser(trial=False))
    every = planned(cache, bench)
    negatives = {t.voice: t for t in every if t.words == "negative"}
    until, count = time.monotonic() + seconds, 0
    with rows.open("a", encoding="utf-8") as file:
        for n, trial in enumerate(every):
            if n % parts != part or (trial.voice, trial.words, trial.seed) in done:
                continue
            if time.monotonic() > until:
                break
            result = hearing.hear(
                trial.state, chain.sound("trials", trial), trial.kind in chain.TALK
            )
            outcome = judge(trial.said, result)
            row = {
                "voice": trial.voice, "kind": trial.kind, "words": trial.words, "seed": trial.seed,
                "question": trial.question, "noise": trial.noise, "snr": trial.snr_db,
                "outcome": outcome.kind, "certainty": outcome.certainty, "heard": outcome.heard,
                "danger": outcome.danger,
            }  # fmt: skip
            if outcome.kind == "wrong":
                row["read_back"] = reads_back(trial, outcome.heard, outcome.certainty)
                if row["read_back"]:
                    row["stays"] = stays(hearing, negatives[trial.voice], trial)
            file.write(json.dumps(row) + "\n")
            file.flush()
            count += 1
    return count


def reads_back(trial: Trial, heard: str, certainty: str) -> bool:
    """Whether the session reads the reply back (session/rules.py)."""
    found = parse(trial.state.expect, heard)
    assert isinstance(found, Understood)
    if found.quantity or found.spelled or found.date:
        return True
    return certainty == "doubtful" and found.meaning not in HARMLESS


def stays(hearing: Chain, negative: Trial, trial: Trial) -> bool:
    """Whether "negative" to the read-back is heard as "affirm", at last, in the same noise."""
    for n in range(MOST_READINGS):
        said = replace(
            negative, noise=trial.noise, snr_db=trial.snr_db, rate=trial.rate, dbfs=trial.dbfs,
            seed=trial.seed + n + 1,
        )  # fmt: skip
        result = hearing.hear(READING, chain.sound("trials", said), False)
        if isinstance(result, Heard):
            return result.hypothesis.text in READING.careful
    return False


def read(rows: Path) -> list[dict]:
    if not rows.exists():
        return []
    return [json.loads(line) for line in rows.read_text("utf-8").splitlines() if line]


# -- tables ----------------------------------------------------------------------------------------


def cause(row: dict) -> str:
    """Why it was taken for what it was not: how the words sound, as far as spelling tells."""
    said, heard = row["words"], row["heard"]
    if row["kind"] in chain.TALK:
        inside = f" {heard} " in f" {said} "
        return "talk that holds the phrase" if inside else "talk"
    if row["danger"] == "number":
        return "figures"
    if f" {heard} " in f" {said} " or f" {said} " in f" {heard} ":
        return "part of a phrase"
    apart = distance(said, heard)
    return "alike (under 2 phones)" if apart is not None and apart < 2 else "other words"


def of_voices(rows: Sequence[dict], event: Callable[[dict], bool]) -> str:
    """Events of trials; the bound of the rate; voices with one and the bound of their share."""
    per: dict[str, list[bool]] = defaultdict(list)
    for row in rows:
        per[row["voice"]].append(event(row))
    events, count = sum(map(sum, per.values())), len(rows)
    if not count:
        return "-"
    hurt = sum(any(x) for x in per.values())
    voices = f"{hurt} of {len(per)} voices (≤ {100 * upper_bound(hurt, len(per), 0.95):.0f} %)"
    if not events:
        return f"0 of {count:,} ([≤ {100 * upper_bound(0, count, 0.95):.3f} %]); {voices}"
    rng = np.random.default_rng(0)
    sums = np.array([[sum(x), len(x)] for x in per.values()])
    picks = sums[rng.integers(0, len(sums), (2000, len(sums)))].sum(1)
    high = float(np.percentile(picks[:, 0] / picks[:, 1], 95))
    return f"{events} of {count:,} = {100 * events / count:.2f} % (≤ {100 * high:.2f} %); {voices}"


def good_taken(row: dict) -> bool:
    return bool(row["danger"] == "bad to good")


def print_tables(rows: list[dict]) -> None:
    """Markdown."""
    own = [r for r in rows if r["kind"] not in chain.TALK]
    talk = [r for r in rows if r["kind"] in chain.TALK]
    print(f"{datetime.date.today()}: {len(own):,} replies, {len(talk):,} pieces of talk, "
          f"{len({r['voice'] for r in rows})} voices, 5 to 30 dB\n")  # fmt: skip
    lines = [
        ("bad answer or command to good", own, good_taken),
        ("the same without a read-back",
         own, lambda r: good_taken(r) and not r.get("read_back")),
        ("the same after the read-back",
         own, lambda r: good_taken(r) and (not r.get("read_back") or r.get("stays"))),
        ("another number, before the read-back",
         [r for r in own if r["kind"] == "number"], lambda r: r["danger"] == "number"),
        ("another number, after it", [r for r in own if r["kind"] == "number"],
         lambda r: r["danger"] == "number" and bool(r.get("stays"))),
        ("any wrong reply", own, lambda r: r["outcome"] == "wrong"),
        ("any wrong reply, 10 dB",
         [r for r in own if r["snr"] == 10], lambda r: r["outcome"] == "wrong"),
        ("sentences accepted",
         [r for r in talk if r["kind"] == "talk"], lambda r: r["outcome"] == "wrong"),
        ("single words accepted",
         [r for r in talk if r["kind"] == "word"], lambda r: r["outcome"] == "wrong"),
        ("talk to good", talk, good_taken),
        ("talk to good, without a read-back",
         talk, lambda r: good_taken(r) and not r.get("read_back")),
    ]  # fmt: skip
    print("| what | events; bound (95 %); voices with one |\n|---|---|")
    for title, of, event in lines:
        print(f"| {title} | {of_voices(of, event)} |")
    print("\n| at | accepted at the first try | of these read back | wrong |\n|---|---|---|---|")
    for level in sorted({r["snr"] for r in own}):
        for kind in ("reply", "number"):
            some = [r for r in own if r["snr"] == level and r["kind"] == kind]
            right = [r for r in some if r["outcome"] == "right"]
            doubtful = sum(r["certainty"] == "doubtful" for r in right)
            wrong = sum(r["outcome"] == "wrong" for r in some)
            print(f"| {level:g} dB, {kind} | {_share(len(right), len(some))} "
                  f"| {_share(doubtful, len(right))} | {wrong} |")  # fmt: skip
    for key in ("voice", "noise"):
        print(f"\n| {key} | replies right | wrong | dangerous | talk accepted |")
        print("|---|---|---|---|---|")
        for name in sorted({r[key] for r in rows}):
            mine = [r for r in own if r[key] == name]
            its = [r for r in talk if r[key] == name]
            right = sum(r["outcome"] == "right" for r in mine)
            wrong = sum(r["outcome"] == "wrong" for r in mine)
            danger = sum(bool(r["danger"]) for r in mine)
            taken = sum(r["outcome"] == "wrong" for r in its)
            print(f"| {name} | {_share(right, len(mine))} | {wrong} | {danger} "
                  f"| {_share(taken, len(its))} |")  # fmt: skip
    weak = _weakest(own)
    print("\nleast heard: " + ", ".join(f"{w} {r}/{n}" for w, r, n in weak))
    print("\n| cause | said | heard | times, voices | certainty | read back | stays |")
    print("|---|---|---|---|---|---|---|")
    for line in _wrong(rows):
        print(line)


def _share(events: int, count: int) -> str:
    return f"{events}/{count} {100 * events / max(1, count):.1f} %"


def _weakest(own: Iterable[dict]) -> list[tuple[str, int, int]]:
    by: dict[str, list[bool]] = defaultdict(list)
    for r in own:
        if r["kind"] == "reply":
            by[r["words"]].append(r["outcome"] == "right")
    ordered = sorted((sum(x) / len(x), w) for w, x in by.items())
    return [(w, sum(by[w]), len(by[w])) for _, w in ordered[:25]]


def _wrong(rows: Iterable[dict]) -> list[str]:
    """Every wrong acceptance, like ones together, the dangerous first."""
    groups: dict[tuple[str, ...], list[dict]] = defaultdict(list)
    for r in rows:
        if r["outcome"] == "wrong":
            groups[r["danger"], cause(r), r["words"], r["heard"]].append(r)
    lines = []
    order = sorted(groups.items(), key=lambda g: (g[0][0] != "bad to good", g[0][1], -len(g[1])))
    for (danger, why, said, heard), some in order:
        voices = len({r["voice"] for r in some})
        back = sum(bool(r.get("read_back")) for r in some)
        stay = sum(bool(r.get("stays")) for r in some)
        title = f"{danger}: {why}" if danger else why
        certain = ", ".join(f"{n} {v}" for v, n in Counter(r["certainty"] for r in some).items())
        lines.append(
            f"| {title} | {said} | {heard} | {len(some)}, {voices} | {certain} | {back} | {stay} |"
        )
    return lines


# -- noise alone -----------------------------------------------------------------------------------


def noise_alone(hours: float, recorded: Path | None) -> None:
    """Replies heard in noise without speech; every 30 s another question and another level."""
    print("| noise | hours | replies heard | an hour | as good news |\n|---|---|---|---|---|")
    asked = [s for s in spoken.inventory().states if s.careful]
    hearing = Chain(VoskRecogniser(trial=False))
    each = round(hours * 120 / len(spoken.NOISES))
    for group in ("synthetic", "recorded") if recorded else ("synthetic",):
        sounds: dict[str, Callable[[int], spoken.Sound]] = {}
        if group == "synthetic":
            sounds = {k: partial(_made, k) for k in spoken.NOISES}
        else:
            files = sorted((recorded or Path()).glob("*.flac"))
            sounds = {file.stem: partial(_looped, file) for file in files}
        count = each if group == "synthetic" else 6
        every: list[bool] = []
        for name, make in sounds.items():
            heard: list[tuple[str, bool]] = []
            for n in range(count):
                samples = to_samples(make(n), (-30.0, -22.0, -14.0)[n % 3])
                heard += _heard(hearing, asked[n % len(asked)], samples)
            every += [good for _, good in heard]
            words = f" ({', '.join(t for t, _ in heard)})" if heard else ""
            print(f"| {name} | {count / 120:.2f} | {len(heard)}{words} "
                  f"| {len(heard) * 120 / count:.1f} | {sum(g for _, g in heard)} |",
                  flush=True)  # fmt: skip
        total = count * len(sounds) / 120
        print(f"| all {group} | {total:.2f} | {len(every)} | {len(every) / total:.1f} "
              f"| {sum(every)} |")  # fmt: skip


def _made(kind: str, n: int) -> spoken.Sound:
    return spoken.NOISES[kind](30.0, 9000 + n)


def _looped(file: Path, n: int) -> spoken.Sound:
    """30 s of a recorded clip, from another place each time."""
    clip = np.asarray(soundfile.read(file)[0], np.float64)
    return np.take(clip, np.arange(30 * RATE) + 7919 * n, mode="wrap")


def _heard(hearing: Chain, state: State, samples: bytes) -> list[tuple[str, bool]]:
    ear, found = hearing.ear(), []
    ear.listen(vocabulary(state.expect), state.careful)
    for at in range(0, len(samples) - 2 * BLOCK + 1, 2 * BLOCK):
        result = ear.feed(samples[at : at + 2 * BLOCK])
        if isinstance(result, Heard):
            found.append((result.hypothesis.text, result.hypothesis.text in state.careful))
    return found


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description="the long trials of the whole chain")
    parser.add_argument("--cache", type=Path)
    parser.add_argument("--bench", type=Path, help="cache of training.bench: more texts")
    parser.add_argument("--rows", type=Path)
    parser.add_argument("--part", type=int, default=0)
    parser.add_argument("--parts", type=int, default=1)
    parser.add_argument("--seconds", type=float, default=3e4, help="stop after so long")
    parser.add_argument("--tables", action="store_true", help="print, hear nothing")
    parser.add_argument("--noise", type=float, default=0.0, help="hours of synthetic noise alone")
    parser.add_argument("--recorded", type=Path, help="folder of recorded noise (FLAC, 16 kHz)")
    args = parser.parse_args()
    if args.noise:
        noise_alone(args.noise, args.recorded)
        return
    if not args.tables:
        print(
            run(args.cache, args.bench, args.rows, args.part, args.parts, args.seconds),
            "trials heard",
        )
    print_tables(read(args.rows))


if __name__ == "__main__":
    main()
