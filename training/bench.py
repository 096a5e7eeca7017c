"""Measure a vosk model folder, another one and pocketsphinx side by side; print Markdown tables.

Rules of this file. A reply counts only if the whole text equals one phrase of the list; [unk] in
it, a fragment or a mixture counts as not heard. No confidence threshold, no voice activity
detector, no read-back: these figures are of the engine alone. Dangerous: a reply of the failing
kind (or talk, or noise) heard as one of the passing kind, or another number than the one said.
Every engine hears the same samples and the same list.

Repeats of one voice are not independent, so every 95 % upper bound counts clusters: the share of
people or voices (in a row about one voice: of phrases) with at least one such error, by Clopper and
Pearson (Biometrika 26, 1934, 404-413; from memory).

    python -m training.bench --model voicecheck/acoustic/model --shared FOLDER --cache FOLDER
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import time
from collections import Counter, defaultdict
from collections.abc import Callable
from pathlib import Path

import numpy as np

from training import bench_items as b

Engine = Callable[[np.ndarray, list[str]], str]


def vosk_engine(folder: Path, whole: bool = True) -> Engine:
    """Decode with a run-time grammar; phrases that are one lexicon entry are used whole."""
    import vosk

    vosk.SetLogLevel(-1)
    model = vosk.Model(model_path=str(folder))
    grammars: dict[tuple[str, ...], str] = {}

    def entry(phrase: str) -> str:
        joined = phrase.replace(" ", "_")
        return (
            joined
            if whole and " " in phrase and model.vosk_model_find_word(joined) >= 0
            else phrase
        )

    def hear(samples: np.ndarray, phrases: list[str]) -> str:
        key = tuple(phrases)
        if key not in grammars:
            for p in phrases:
                for w in entry(p).split():
                    if model.vosk_model_find_word(w) < 0:
                        raise SystemExit(f"{folder}: no word {w!r}")
            grammars[key] = json.dumps([*map(entry, phrases), "[unk]"])
        r = vosk.KaldiRecognizer(model, b.RATE, grammars[key])
        data = samples.tobytes()
        heard = []
        for at in range(0, len(data), 3200):
            if r.AcceptWaveform(data[at : at + 3200]):
                heard.append(json.loads(r.Result())["text"])
        heard.append(json.loads(r.FinalResult())["text"])
        return " ".join(t for t in heard if t).replace("_", " ")

    return hear


def sphinx_engine() -> Engine:
    """pocketsphinx with its own US English model and a JSGF grammar of the phrases."""
    import pocketsphinx

    from training import lexicon

    decoders: dict[int, pocketsphinx.Decoder] = {}

    def hear(samples: np.ndarray, phrases: list[str]) -> str:
        if id(phrases) not in decoders:
            d = pocketsphinx.Decoder(samprate=16000, loglevel="FATAL", lm=None)
            for word in sorted({w for p in phrases for w in p.split()}):
                if d.lookup_word(word) is None:
                    d.add_word(word, " ".join(lexicon.pronunciations(word)[0]), True)
            rule = " | ".join(phrases)
            d.add_jsgf_string("reply", f"#JSGF V1.0;\ngrammar g;\npublic <g> = {rule};\n")
            d.activate_search("reply")
            decoders[id(phrases)] = d
        d = decoders[id(phrases)]
        d.start_utt()
        d.process_raw(samples.tobytes(), full_utt=True)
        d.end_utt()
        hyp = d.hyp()
        return hyp.hypstr.strip() if hyp else ""

    return hear


class Score:
    """Counts of one row for one engine."""

    def __init__(self) -> None:
        self.n = self.right = self.wrong = self.danger = 0
        self.errors: Counter[tuple[str, str]] = Counter()
        self.clusters: set[str] = set()
        self.mistaken: set[str] = set()
        self.hurt: set[str] = set()

    def add(self, said: str, heard: str, listed: set[str], cluster: str) -> None:
        """One trial of a cluster (whatever repeats together: a voice, or a phrase of one voice)."""
        self.n += 1
        self.clusters.add(cluster)
        if heard not in listed:
            return
        if heard == said:
            self.right += 1
            return
        self.wrong += 1
        self.mistaken.add(cluster)
        self.errors[said, heard] += 1
        numbers = set(b.NUMBERS) | set(b.COMMON[:10])
        bad = heard in b.GOOD and (said in b.BAD or said not in listed)
        if bad or (said in numbers and heard in numbers):
            self.danger += 1
            self.hurt.add(cluster)

    def bounds(self) -> str:
        """Clusters with a wrong acceptance and with a dangerous one, and their 95 % bounds."""
        n = len(self.clusters)
        return " | ".join(
            f"{len(k)} of {n}, ≤ {bound(len(k), n):.3f}" for k in (self.mistaken, self.hurt)
        )

    def text(self) -> str:
        """right / wrong / dangerous."""
        n = max(self.n, 1)
        return f"{self.right / n:.3f} / {self.wrong / n:.3f} / {self.danger}"


def bound(failures: int, n: int) -> float:
    """Upper 95 % limit of a rate (Clopper-Pearson by bisection) of independent trials."""
    from math import exp, lgamma, log

    if failures >= n:
        return 1.0

    def below(p: float) -> float:
        return sum(
            exp(
                lgamma(n + 1)
                - lgamma(k + 1)
                - lgamma(n - k + 1)
                + k * log(p)
                + (n - k) * log(1 - p)
            )
            for k in range(failures + 1)
        )

    low, high = 1e-9, 1 - 1e-9
    for _ in range(60):
        mid = (low + high) / 2
        low, high = (mid, high) if below(mid) > 0.05 else (low, mid)
    return high


def run(
    items: list[b.Item], phrases: list[str], engines: dict[str, Engine],
    noises: dict[str, np.ndarray] | None, snr: float, seed: int, repeats: int = 1,
    groups: dict[tuple[str, str], Score] | None = None,
) -> dict[str, Score]:  # fmt: skip
    """Every engine hears every item, with noise at a level, ``repeats`` times."""
    rng = np.random.default_rng(seed)
    names = sorted(noises) if noises else []
    scores = {name: Score() for name in engines}
    listed = set(phrases)
    for item in items:
        for _ in range(repeats):
            noise = noises[names[rng.integers(len(names))]] if noises else None
            samples = b.mixed(item.samples, noise, snr, rng)
            for name, engine in engines.items():
                heard = engine(samples, phrases)
                trial = (item.said, heard, listed)
                scores[name].add(*trial, item.speaker)
                if groups is not None:
                    for key, cluster in ((f"voice {item.speaker}", item.said),
                                         (f"word {item.said}", item.speaker),
                                         ("all", item.speaker)):  # fmt: skip
                        groups.setdefault((name, key), Score()).add(*trial, cluster)
    return scores


def noise_alone(
    noises: dict[str, np.ndarray], phrases: list[str], engines: dict[str, Engine]
) -> dict[str, tuple[int, int, float]]:
    """Triggers, dangerous ones and seconds: windows of 3 s, every 1 s, at -20 dBFS."""
    out = {}
    listed = set(phrases)
    for name, engine in engines.items():
        hits = danger = 0
        seconds = 0.0
        for x in noises.values():
            step = 3 * b.RATE
            for at in range(0, max(1, len(x) - step + 1), b.RATE):
                part = x[at : at + step]
                part = part / max(np.sqrt(np.square(part).mean()), 1e-6) * 0.1
                samples = (np.clip(part, -1, 1) * 32767).astype(np.int16)
                heard = engine(samples, phrases)
                hits += heard in listed
                danger += heard in b.GOOD
                seconds += min(3.0, len(part) / b.RATE)
        out[name] = (hits, danger, seconds)
    return out


COST = """
import json, sys, time
import numpy as np
import vosk
vosk.SetLogLevel(-1)
t = time.perf_counter(); m = vosk.Model(model_path=sys.argv[1]); load = time.perf_counter() - t
r = vosk.KaldiRecognizer(m, 16000, json.dumps(json.loads(sys.argv[2])))
x = np.load(sys.argv[3]); t = time.process_time()
for at in range(0, len(x), 1600):
    # Where a reply ends the result is fetched, as in use: else one lattice grows over all of it.
    if r.AcceptWaveform(x[at:at + 1600].tobytes()):
        r.Result()
r.FinalResult()
used = time.process_time() - t
peak = next(int(x.split()[1]) for x in open("/proc/self/status") if x.startswith("VmHWM"))
print(json.dumps([load, peak / 1024, used / (len(x) / 16000)]))
"""


def cost(folder: Path, phrases: list[str], samples: np.ndarray, cache: Path) -> list[float]:
    """Load time (s), peak resident memory of python + vosk (MiB), real-time factor, own process."""
    path = cache / "cost.npy"
    np.save(path, samples)
    words = json.dumps([*phrases, "[unk]"])
    done = subprocess.run(
        [sys.executable, "-c", COST, str(folder), words, str(path)],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    return json.loads(done.stdout)


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--model", type=Path, required=True)
    parser.add_argument("--other", type=Path, nargs="*", default=[], help="vosk folders beside it")
    parser.add_argument("--shared", type=Path, help="folder of the recordings")
    parser.add_argument("--cache", type=Path, required=True)
    parser.add_argument("--no-synthetic", action="store_true")
    parser.add_argument("--no-sphinx", action="store_true")
    parser.add_argument("--every", type=int, default=1, help="take every n-th synthetic item")
    parser.add_argument("--errors", action="store_true")
    args = parser.parse_args()
    engines: dict[str, Engine] = {}
    if not args.no_sphinx:
        engines["pocketsphinx 5.1.1"] = sphinx_engine()
    for folder in args.other:
        engines[folder.name] = vosk_engine(folder)
    engines["this model"] = vosk_engine(args.model)
    names = list(engines)
    last = "this model: clusters with a wrong one, bound | with a dangerous one, bound |"
    print("| right / wrong / dangerous (count) | n | " + " | ".join(names) + f" | {last}")
    print("|---|---|" + "---|" * (len(names) + 2))
    began = time.time()

    def row(title: str, scores: dict[str, Score]) -> None:
        n = next(iter(scores.values())).n
        cells = " | ".join(scores[k].text() for k in names)
        print(f"| {title} | {n} | {cells} | {scores[names[-1]].bounds()} |", flush=True)
        if args.errors:
            for k in names:
                print("   ", k, scores[k].errors.most_common(12), file=sys.stderr)

    common = list(b.COMMON)
    made_up = b.made_up_noises()
    speech = None
    if args.shared:
        items = b.human(args.shared)
        recorded = b.recorded_noises(args.shared)
        by_kind: dict[str, list[b.Item]] = defaultdict(list)
        for item in items:
            by_kind[item.kind].append(item)
        speech = by_kind["word"]
        for kind, title in (("word", "one-word commands of many people"),
                            ("talk", "talk outside the phrases (wrong = accepted)"),
                            ("digit", "digits, two people, telephone band")):  # fmt: skip
            row(f"{title}, clean", run(by_kind[kind], common, engines, None, 99, 1))
            for snr in (10, 5):
                row(f"{title}, recorded noise {snr} dB",
                    run(by_kind[kind], common, engines, recorded, snr, 2, 2))  # fmt: skip
        diesel = {k: v for k, v in made_up.items() if "diesel" in k}
        row("digits, synthetic diesel 10 dB", run(by_kind["digit"], common, engines, diesel, 10, 3))
        wakes = sorted({i.said for i in by_kind["wake"]})
        row(
            "three wake phrases among the 33",
            run(by_kind["wake"], common + wakes, engines, None, 99, 4),
        )
        for title, noises in (("recorded", recorded), ("synthetic diesel, wind", made_up)):
            cells = [f"{h}; {d}" for h, d, _ in noise_alone(noises, common, engines).values()]
            seconds = sum(max(3, len(x) // b.RATE) for x in noises.values())
            print(f"| noise alone, {title}: windows with a trigger; dangerous"
                  f" | {seconds} s | " + " | ".join(cells) + " | | |", flush=True)  # fmt: skip
    if not args.no_synthetic:
        groups: dict[tuple[str, str], Score] = {}
        items = b.synthetic(args.cache)[:: args.every]
        speech = speech or items
        replies = list(b.REPLIES)
        for title, noises, snr in (("clean", None, 99), ("diesel or wind 10 dB", made_up, 10),
                                   ("diesel or wind 5 dB", made_up, 5)):  # fmt: skip
            row(f"replies of the trade ({len(replies)} phrases), held-out voices, {title}",
                run(items, replies, engines, noises, snr, 6, 1, groups))  # fmt: skip
        for kind in ("voice", "word"):
            print(f"\n| {kind}, all three levels | n | " + " | ".join(names) + f" | {last}")
            print("|---|---|" + "---|" * (len(names) + 2))
            keys = sorted({k for _, k in groups if k.startswith(kind)})
            mine = names[-1]
            if kind == "word":
                keys.sort(key=lambda k: groups[mine, k].right / groups[mine, k].n)
            for key in keys:
                n = groups[mine, key].n
                cells = " | ".join(groups[k, key].text() for k in names)
                print(f"| {key} | {n} | {cells} | {groups[mine, key].bounds()} |")
        for name in names:
            score = groups[name, "all"]
            print(f"\n{name}, synthetic voices: {score.danger} dangerous of {score.n};"
                  f" 95 % bound {bound(score.danger, score.n):.5f} if trials were independent;"
                  f" voices with a wrong one | with a dangerous one: {score.bounds()}")  # fmt: skip
            common_errors = [f"{a} → {z} ({n})" for (a, z), n in score.errors.most_common(25)]
            print("most frequent wrong acceptances:", ", ".join(common_errors))
    rng = np.random.default_rng(0)
    sound = np.concatenate(
        [b.mixed(i.samples, made_up["diesel0"], 10, rng) for i in (speech or [])[:60]]
    )
    print("\n| cost | load s | resident MiB (python + vosk) | real-time factor, one core |")
    print("|---|---|---|---|")
    for name, folder in [*((f.name, f) for f in args.other), ("this model", args.model)]:
        load, memory, factor = cost(folder, common, sound, args.cache)
        print(f"| {name} | {load:.3f} | {memory:.0f} | {factor:.4f} |")
    print(f"\n{time.strftime('%Y-%m-%d')}, {time.time() - began:.0f} s")


if __name__ == "__main__":
    main()
