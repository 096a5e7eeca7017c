"""Some texts through the whole chain: figures that sound alike, or the words that are given.

    python -m tests.bench.heard --cache FOLDER                    # FOLDER as of tests.bench.spoken
    python -m tests.bench.heard --cache FOLDER --texts "done" "finished"

Rules of this file: held-out voices only (spoken.py, "trials", without the mixtures); five synthetic
noises, 5 to 20 dB, fixed by the seed. Figures are heard at a question for a length, words at any
question that takes them, rather one where something careful may be said. What the cache lacks is
rendered.
"""

from __future__ import annotations

import argparse
import datetime
import random
from collections import Counter, defaultdict
from collections.abc import Sequence
from pathlib import Path

from tests.bench import chain, spoken
from tests.bench.chain import Chain, Trial
from tests.bench.first_try import judge
from voicecheck.audio.vosk_recogniser import VoskRecogniser

TEXTS = (
    "eight", "one eighth", "an eighth", "three eighths", "five eighths", "seven eighths",
    "two and one eighth", "one sixteenth", "three sixteenths", "five sixteenths", "sixteen",
    "eighteen", "one eight", "six eight", "eight inches", "six", "eighty",
)  # fmt: skip
TIMES = 4
LEVELS = (5.0, 7.5, 10.0, 20.0)


def trials(cache: Path, texts: Sequence[str]) -> list[Trial]:
    """Every text by every voice, TIMES times in other noise."""
    speaker, found = spoken.Speaker(cache), spoken.inventory()
    length = next(
        n for n in found.free if (f := found.states[n].expect.number) is not None and f.fractions
    )
    out = []
    for voice in spoken.trial_voices():
        if voice.name.startswith("held-"):
            continue
        for words in texts:
            rng = random.Random(f"heard {voice.name} {words}")
            asked = found.phrases.get(words, [length])
            asked = [n for n in asked if found.states[n].careful] or asked
            for _ in range(TIMES):
                out.append(
                    Trial(
                        voice.name, "reply", words, speaker.speak(voice, words),
                        rng.choice(asked),
                        rng.choice(sorted(spoken.NOISES)), rng.choice(LEVELS),
                        rng.uniform(0.9, 1.12), rng.uniform(-22.0, -3.0), rng.randrange(1 << 30),
                    )
                )  # fmt: skip
    return out


def main() -> None:
    """Print a table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cache", type=Path, required=True)
    parser.add_argument("--model", type=Path, help="another folder than the one that ships")
    parser.add_argument("--texts", nargs="*", default=TEXTS)
    args = parser.parse_args()
    every = trials(args.cache, args.texts)
    hearing = Chain(VoskRecogniser(args.model, trial=False))
    outcomes: dict[str, Counter[str]] = defaultdict(Counter)
    wrong: Counter[tuple[str, str]] = Counter()
    for trial in every:
        result = hearing.hear(trial.state, chain.sound("trials", trial), False)
        outcome = judge(trial.said, result)
        for key in (trial.words, "all"):
            outcomes[key][outcome.kind] += 1
        if outcome.kind == "wrong":
            wrong[trial.words, outcome.heard] += 1
    voices = len({t.voice for t in every})
    print(f"{datetime.date.today()}: {len(every)} replies by {voices} voices, 5 to 20 dB\n")
    print("| said | n | right | wrong | not heard |\n|---|---|---|---|---|")
    for key, count in outcomes.items():
        n = count.total()
        print(f"| {key} | {n} | {count['right']} | {count['wrong']} "
              f"| {n - count['right'] - count['wrong']} |")  # fmt: skip
    print("wrong:", ", ".join(f"{a} as {b} ({n})" for (a, b), n in wrong.most_common()))


if __name__ == "__main__":
    main()
