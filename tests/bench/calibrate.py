"""Set the thresholds of acceptance.py for a vosk model, from the calibration set alone.

    python -m tests.bench.calibrate --cache FOLDER            # the shipped model; some minutes
    python -m tests.bench.calibrate --cache FOLDER --model DIR --write

Rules of this file:

1. The set is tests/bench/spoken.py's "calibration": voices, texts, noise seeds that are in neither
   the training nor any test; but ten of its sixteen voices are mixtures of training voices. No
   recording of a person and no test voice is ever read here.
2. ``before`` and ``after`` leave all but one in 200 of the right replies in, but are at least 0.3
   and 0.6 s: synthetic voices do not breathe before a word nor let it die away.
3. ``low_figures`` is not measured: it is a half, whatever the network. Figures, letters and dates
   are always read back, so a wrong one costs a read-back and a lost one costs another try; what was
   heard is worth reading back when it is likelier than all else together. No talk counts for it:
   a bound that kept talk out ("truth" as "zero") would lose a quarter of the right ones.
4. On this set nearly nothing is accepted wrongly, and errors alone would let the thresholds fall to
   the bottom; people and real noise are worse. So each threshold is as strict as the right replies
   can pay for: ``low`` loses one in 200 of them, ``high`` leaves 97 of 100 careless ones clear,
   and of the pairs of ``margin`` and ``careful_high`` that leave 90 of 100 careful ones clear the
   one with the largest margin is taken, and then the highest confidence.
5. Where the errors ask for more they get it: at most one in 200 pieces of talk is above ``low``, at
   most one in 500 of all trials is wrong, careless and above ``high``, and nothing that is wrong
   and would be good news comes within 0.005 and 0.5 of both ``careful_high`` and ``margin``.
6. The thresholds are set with the noise at 5 to 30 dB: below ``floor_db`` everything is read back.
"""

from __future__ import annotations

import argparse
import datetime
import pickle
import re
import time
from collections import Counter
from collections.abc import Iterable, Sequence
from pathlib import Path

from tests.bench import chain, spoken
from tests.bench.chain import Score, Trial
from tests.bench.first_try import Outcome
from voicecheck.audio import acceptance
from voicecheck.audio.acceptance import Thresholds
from voicecheck.audio.vosk_recogniser import VoskRecogniser, file_digests, network_digest

TIMES = {"reply": 1, "number": 1, "talk": 1, "word": 2}
LEVELS = (5.0, 7.5, 10.0, 15.0, 20.0, 30.0)
SEED = 1
RIGHT_LOST = 0.005
TALK_TAKEN = 0.005
WRONG_CLEAR = 0.002
PLAIN_CLEAR = 0.97
CAREFUL_CLEAR = 0.90
LIKELIER = 0.5
STEPS = (*(n / 100 for n in range(30, 95)), *(0.95 + n / 1000 for n in range(50)), 0.9995, 1.0)
MARGINS = tuple(n / 4 for n in range(8, 23))  # below the lattice beam

Row = tuple[Trial, Outcome, Score | None]


def share_above(values: Sequence[float], bound: float) -> float:
    return sum(v >= bound for v in values) / max(1, len(values))


def quantile(values: Iterable[float], share: float) -> float:
    """The value above which at most ``share`` of them lie."""
    ordered = sorted(values)
    return ordered[len(ordered) - 1 - int(len(ordered) * share)]


def without_loss(right: Sequence[float]) -> float:
    """The highest step that loses at most one in 200 of these."""
    return max((x for x in STEPS if share_above(right, x) >= 1 - RIGHT_LOST), default=STEPS[0])


def of_figures(trial: Trial, text: str) -> bool:
    """Whether the text is no phrase of the question, but figures, letters or a date."""
    return all(text not in form.said for form in trial.state.expect.forms)


def set_thresholds(rows: Sequence[Row], network: str) -> Thresholds:
    """By the rules at the head of this file."""
    right = [(t, s) for t, o, s in rows if o.kind == "right" and s is not None]
    before = max(0.3, round(quantile((s.before for _, s in right), RIGHT_LOST), 2))
    after = max(0.6, round(quantile((s.after for _, s in right), RIGHT_LOST), 2))
    fits = [
        (t, o, s) for t, o, s in rows if s is not None and s.before <= before and s.after <= after
    ]
    kept = [(t, s) for t, o, s in fits if o.kind == "right"]
    wrong = [(t, s) for t, o, s in fits if o.kind == "wrong"]
    closed = [(s, s.text in t.state.careful) for t, s in kept if t.kind == "reply"]
    plain = [s.confidence for s, careful in closed if not careful]
    asked = [s for s, careful in closed if careful]
    talks = sum(t.kind in chain.TALK for t, _, _ in rows)
    taken = [s.confidence for t, s in wrong if t.kind in chain.TALK and not of_figures(t, s.text)]
    low = max(
        next(x for x in STEPS if sum(v >= x for v in taken) <= TALK_TAKEN * talks),
        without_loss([s.confidence for s, _ in closed]),
    )
    careless = [s.confidence for t, s in wrong if s.text not in t.state.careful]
    high = max(
        next(x for x in STEPS if sum(v >= x for v in careless) <= WRONG_CLEAR * len(rows)),
        max(x for x in STEPS if share_above(plain, x) >= PLAIN_CLEAR),
    )
    good = [s for t, s in wrong if s.text in t.state.careful]
    margin, careful_high = max(
        (m, c)
        for c in STEPS
        for m in MARGINS
        if c >= high
        and sum(s.confidence >= c and s.margin >= m for s in asked) >= CAREFUL_CLEAR * len(asked)
        and not any(s.confidence >= c - 0.005 and s.margin >= m - 0.5 for s in good)
    )
    voices = len({t.voice for t, _, _ in rows})
    counts = Counter("talk" if t.kind in chain.TALK else "reply" for t, _, _ in rows)
    return Thresholds(
        low=low, low_figures=LIKELIER, high=high, careful_high=careful_high,
        margin=margin, floor_db=5.0, before=before, after=after, network=network,
        measured=(
            f"{datetime.date.today()}, tests/bench/calibrate.py: {counts['reply']} replies and "
            f"{counts['talk']} pieces of talk by {voices} synthetic voices (none of a test, ten of "
            "them mixtures of training voices), five synthetic noises, 5 to 30 dB"
        ),
    )  # fmt: skip


def judged(row: Row, thresholds: Thresholds) -> str:
    """talk, doubtful or clear, as acceptance.judge would say with the estimate of the noise."""
    trial, _, score = row
    if score is None:
        return "talk"
    from voicecheck.audio.ports import Hypothesis

    return acceptance.judge(
        Hypothesis(score.text, (), score.confidence),
        thresholds,
        careful=score.text in trial.state.careful,
        trusted=True,
        snr_db=score.snr_db,
        margin=lambda: score.margin,
        outside=(score.before, score.after),
        figures=of_figures(trial, score.text),
    )


def report(rows: Sequence[Row], thresholds: Thresholds) -> None:
    """What the thresholds do on the set that they were set on."""
    print("| kind | n | right | of these read back | wrong | clear | good news, clear |")
    print("|---|---|---|---|---|---|---|")
    for kind in TIMES:
        own = [row for row in rows if row[0].kind == kind]
        said = [(row, judged(row, thresholds)) for row in own]
        right = [v for row, v in said if row[1].kind == "right" and v != "talk"]
        wrong = [(row, v) for row, v in said if row[1].kind == "wrong" and v != "talk"]
        good = [
            row
            for row, v in wrong
            if v == "clear" and row[2] is not None and row[2].text in row[0].state.careful
        ]
        print(f"| {kind} | {len(own)} | {100 * len(right) / max(1, len(own)):.1f} % "
              f"| {100 * sum(v == 'doubtful' for v in right) / max(1, len(right)):.0f} % "
              f"| {len(wrong)} ({100 * len(wrong) / max(1, len(own)):.2f} %) "
              f"| {sum(v == 'clear' for _, v in wrong)} | {len(good)} |")  # fmt: skip
        for (trial, _, score), verdict in wrong[:20]:
            assert score is not None
            where = f"{trial.voice}, {trial.noise} {trial.snr_db:g} dB"
            print(f"    {trial.words!r} as {score.text!r}, {verdict}, {where}, "
                  f"{score.confidence:.3f}, margin {score.margin:.1f}, "
                  f"outside {score.before:.2f} {score.after:.2f}")  # fmt: skip


def write_row(thresholds: Thresholds) -> None:
    """Put the row into acceptance.TABLE."""
    path = Path(acceptance.__file__)
    words, lines = thresholds.measured.split(), [""]
    for word in words:
        if len(lines[-1]) + len(word) > 76:
            lines.append("")
        lines[-1] += f"{word} "
    lines[-1] = lines[-1].rstrip()
    measured = "\n".join(f'            "{line}"' for line in lines)
    row = f'''    "vosk": Thresholds(
        low={thresholds.low},
        low_figures={thresholds.low_figures},
        high={thresholds.high},
        careful_high={thresholds.careful_high},
        margin={thresholds.margin},
        floor_db={thresholds.floor_db},
        before={thresholds.before},
        after={thresholds.after},
        measured=(
{measured}
        ),
        network="{thresholds.network}",
    ),
    "pocketsphinx"'''
    text = path.read_text("utf-8")
    new = re.sub(
        r'    "vosk": Thresholds\(.*?\n    "pocketsphinx"', lambda _: row, text, flags=re.S
    )
    path.write_text(new, "utf-8")


def main() -> None:
    """Measure, print, and with --write put the row into the table."""
    parser = argparse.ArgumentParser(description="thresholds from the calibration set")
    parser.add_argument("--cache", type=Path, required=True)
    parser.add_argument("--model", type=Path)
    parser.add_argument("--rows", type=Path, help="keep the scores in this file, or take them")
    parser.add_argument("--write", action="store_true")
    args = parser.parse_args()
    began = time.time()
    engine = VoskRecogniser(args.model, trial=False, trusted=True)
    network = network_digest(file_digests(engine.folder))
    if args.rows and args.rows.exists():
        rows = pickle.loads(args.rows.read_bytes())
    else:
        some = chain.trials(spoken.plan("calibration"), TIMES, LEVELS, SEED, args.cache)
        rows = list(chain.scored("calibration", engine, some))
        if args.rows:
            args.rows.write_bytes(pickle.dumps(rows))
    thresholds = set_thresholds(rows, network)
    print(thresholds)
    report(rows, thresholds)
    print(f"{time.time() - began:.0f} s")
    if args.write:
        write_row(thresholds)


if __name__ == "__main__":
    main()
