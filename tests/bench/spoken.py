"""Speech for calibration and for the long trials: voices, texts, noise, kept in a cache.

Rules of this file:

1. Two sets that share nothing. CALIBRATION: mixtures of voices that were in training, and four
   synthesisers' voices that were in neither. TRIALS: voices held out from training and mixtures of
   these alone. No text of talk is in both, no seed is, and nothing here was trained on.
2. A mixture has its timbre and its prosody mixed apart, each of one to three voices, so it is a
   speaker that the network never heard; but one synthesiser speaks nearly all of them.
3. Speech is rendered once into the cache (FLAC, 16 kHz) and played back at another rate for other
   speeds and pitches. Noise and place in it come from the trial's seed.

    python -m tests.bench.spoken --set trials --cache FOLDER --part 0 --parts 2

Needs what ``training/requirements.txt`` lists, and for calibration the Debian packages espeak-ng,
festival, festvox-kdlpc16k and festvox-us-slt-hts.
"""

from __future__ import annotations

import argparse
import hashlib
import random
import subprocess
import tempfile
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
from numpy.typing import NDArray

from tests.bench.first_try import FIXTURES, State, number_states
from voicecheck.audio.noise import diesel, wind
from voicecheck.audio.ports import RATE
from voicecheck.reply.grammar import DateForm, Expect, SpellForm, Understood, parse, samples
from voicecheck.reply.numbers import LETTERS
from voicecheck.run.library import compile_sources, load_sources, names
from voicecheck.session.replying import COMMANDS_ASKED, expect, forms
from voicecheck.session.state import Phase
from voicecheck.session.state import State as SessionState

Sound = NDArray[np.float64]
FOLDER = Path(__file__).parent


@dataclass(frozen=True)
class Voice:
    """``engine``: kokoro, piper, festival or espeak. Weights of a mixture sum to one."""

    name: str
    engine: str
    timbre: tuple[tuple[str, float], ...] = ()
    prosody: tuple[tuple[str, float], ...] = ()
    command: str = ""


def _mixtures(prefix: str, count: int, pool: list[str], lend: list[str], seed: int) -> list[Voice]:
    """``lend``: voices that may lend their timbre beside those of the pool."""
    rng = random.Random(seed)

    def mix(of: list[str]) -> tuple[tuple[str, float], ...]:
        chosen = rng.sample(of, rng.choice((1, 2, 2, 3)))
        weights = [rng.uniform(0.2, 1.0) for _ in chosen]
        return tuple((v, w / sum(weights)) for v, w in zip(chosen, weights, strict=True))

    return [
        Voice(f"{prefix}{n:02}", "kokoro", mix(pool + lend), mix(pool)) for n in range(1, count + 1)
    ]


def trial_voices() -> list[Voice]:
    """Held out: six Kokoro voices, three mixtures of them, one piper voice."""
    from training.kokoro import HELD_OUT

    pure = sorted(HELD_OUT)
    alone = [Voice(v, "kokoro", ((v, 1.0),), ((v, 1.0),)) for v in pure]
    return [*alone, Voice("joe", "piper"), *_mixtures("held-", 3, pure, [], 20_261)]


def calibration_voices() -> list[Voice]:
    """Ten mixtures of training voices; ked, slt and four variants of espeak that were not."""
    from training.kokoro import HELD_OUT, assets_folder, voice_names

    known = [v for v in voice_names(assets_folder()) if v not in HELD_OUT]
    english = [v for v in known if v[:2] in ("af", "am", "bf", "bm")]
    lend = [v for v in known if v[:2] in ("ef", "em", "if", "im", "pf", "pm", "ff", "hf", "hm")]
    variants = ("en-us+Michael", "en-us+linda", "en-gb-x-rp+Andy", "en-gb-x-gbclan+max")
    return [
        *_mixtures("known-", 10, english, lend[:2], 31_007),
        Voice("ked", "festival", command="(voice_ked_diphone)"),
        Voice("slt-hts", "festival", command="(voice_cmu_us_slt_arctic_hts)"),
        *(Voice(f"espeak-{v.partition('+')[2].lower()}", "espeak", command=v) for v in variants),
    ]


# -- texts -----------------------------------------------------------------------------------------


@dataclass
class Inventory:
    """What may be said: states by phrase, and which phrases are no good news where good may be."""

    states: list[State] = field(default_factory=list)
    phrases: dict[str, list[int]] = field(default_factory=dict)
    bad: list[str] = field(default_factory=list)
    good: list[str] = field(default_factory=list)
    free: list[int] = field(default_factory=list)
    numbers: list[str] = field(default_factory=list)

    def takes_figures(self, text: str) -> list[int]:
        """The states of numbers, spellings and dates that understand the text as one."""
        reads = {n: parse(self.states[n].expect, text) for n in self.free}
        return [
            n
            for n, read in reads.items()
            if isinstance(read, Understood) and (read.quantity or read.spelled or read.date)
        ]


@lru_cache(maxsize=1)
def inventory() -> Inventory:
    """Of every question of the shipped checklists with the shipped vehicles."""
    found = Inventory()
    seen: set[tuple[Expect, frozenset[str]]] = set()
    for vehicle in names("vehicles"):
        for name in names("checklists"):
            compiled, _ = compile_sources(load_sources(name, vehicle))
            every = tuple(step.id for step in compiled.steps)
            moments = []
            for step in compiled.steps:
                moments += [
                    SessionState(phase=Phase.ASKED, step=step.id, variant=n, order=every)
                    for n in range(len(step.variants))
                ]
                questions = ["which"] if step.wrong or step.items else []
                questions += ["anything else"] if step.items else []
                moments += [
                    SessionState(phase=Phase.FOLLOWING, step=step.id, question=q)
                    for q in (*questions, "why")
                ]
            first = compiled.steps[0].id
            moments += [
                SessionState(phase=p, step=first)
                for p in (Phase.READING, Phase.TIMING, Phase.ASKING, Phase.STANDING)
            ]
            moments.append(SessionState(phase=Phase.STOPPED, step=first, hold="stop"))
            for moment in moments:
                wanted = expect(compiled, moment)
                if wanted not in seen:
                    seen.add(wanted)
                    found.states.append(State(*wanted))
    bad, good = set(), set()
    for n, state in enumerate(found.states):
        for form in state.expect.forms:
            for text in form.said:
                found.phrases.setdefault(text, []).append(n)
                if text in state.careful:
                    good.add(text)
                elif state.careful and not form.meaning.startswith("command:"):
                    bad.add(text)
    found.bad, found.good = sorted(bad), sorted(good)
    commands = forms(*COMMANDS_ASKED)
    free = [
        *number_states(),
        State(Expect(commands, spell=SpellForm(3, 8)), frozenset()),
        State(Expect(commands, date=DateForm(day=False)), frozenset()),
    ]
    rng = random.Random(5)
    figures = sorted({make(rng) for make in (_pressure, _length, _spelling) for _ in range(150)})
    for state in free:
        found.free.append(len(found.states))
        found.states.append(state)
        figures += [t for t, m in samples(state.expect, 60) if m.date]
    found.numbers = [text for text in figures if found.takes_figures(text)]
    return found


_ONES = "zero one two three four five six seven eight nine".split()  # noqa: SIM905
_TEENS = ["ten", "eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen",
          "eighteen", "nineteen"]  # fmt: skip
_TENS = "twenty thirty forty fifty sixty seventy eighty ninety".split()  # noqa: SIM905


def _pressure(rng: random.Random) -> str:
    """5 to 150 psi, said as a number or figure by figure, with a unit or without."""
    value = rng.randint(5, 150)
    if rng.random() < 0.5:
        words = [_ONES[int(figure)] for figure in str(value)]
    else:
        words = ["one", "hundred"] * (value >= 100)
        rest = value % 100
        if rest >= 20:
            words += [_TENS[rest // 10 - 2], *([_ONES[rest % 10]] if rest % 10 else [])]
        elif rest or not words:
            words.append((_ONES + _TEENS)[rest])
    return " ".join([*words, *rng.choice(([], ["psi"], ["pounds"]))])


def _length(rng: random.Random) -> str:
    part = rng.choice(("half", "quarter", "eighth", "sixteenth"))
    top = 1 if part in ("half", "quarter") else rng.choice((1, 3, 5, 7))
    words = [_ONES[top], part if top == 1 else f"{part}s"]
    if rng.random() < 0.6:
        words = [_ONES[rng.randint(1, 4)], "and", *words]
    return " ".join([*words, *rng.choice(([], ["inches"]))])


def _spelling(rng: random.Random) -> str:
    letters = sorted(LETTERS)
    return " ".join(rng.choice(letters + _ONES) for _ in range(rng.randint(3, 5)))


CORE = ("pass", "fail", "affirm", "negative", "no", "all good", "done", "not done", "not sure",
        "cannot see", "held", "moved", "locked", "not locked", "closed round the shank",
        "not closed", "in and latched", "not latched", "no gap", "there is a gap", "clear",
        "say again", "stand by", "correction", "explain", "release")  # fmt: skip


def talk(name: str) -> list[str]:
    """The sentences of talk_NAME.txt, lower-case."""
    text = (FOLDER / f"talk_{name}.txt").read_text(encoding="utf-8")
    return [line.lower() for line in text.splitlines() if line and not line.startswith("#")]


@lru_cache(maxsize=2)
def single_words(name: str) -> list[str]:
    """Common words that are in no phrase; a word is in one set only, by its digest."""
    from training.lexicon import common_words

    own = {w for phrase in (*inventory().phrases, *inventory().numbers) for w in phrase.split()}
    return [
        word
        for word in common_words(3000)
        if word not in own and len(word) > 2 and (_digest(word)[0] % 2 == 0) == (name == "trials")
    ]


def texts(
    kind: str, number: int, replies: int, figures: int, talks: int, words: int
) -> list[tuple[str, str]]:
    """(kind, words) for the ``number``-th voice of a set: "reply", "number", "talk" (a sentence)
    or "word" (one word, now and then two, that is no reply)."""
    found = inventory()
    core = [p for p in CORE if p in found.phrases]
    said = talk(kind)
    random.Random(kind).shuffle(said)
    at = number * talks % len(said)
    draw = f"{kind} {number}"
    singles = some(draw, single_words(kind), 2 * words)
    return [
        *(("reply", p) for p in core),
        *(("reply", p) for p in some(draw, set(found.phrases) - set(core), replies - len(core))),
        *(("number", p) for p in some(draw, found.numbers, figures)),
        *(("talk", p) for p in (said + said)[at : at + talks]),
        *(("word", " ".join(singles[n : n + 1 + (n % 4 == 0)])) for n in range(0, 2 * words, 2)),
    ]


def some(draw: str, of: Iterable[str], count: int) -> list[str]:
    """A choice that stays as it is where the checklists get a phrase more or less."""
    return sorted(of, key=lambda p: _digest(f"{draw} {p}"))[:count]


def _digest(text: str) -> bytes:
    return hashlib.sha256(text.encode()).digest()


SETS: dict[str, tuple[Callable[[], list[Voice]], tuple[int, int, int, int]]] = {
    "calibration": (calibration_voices, (40, 10, 36, 16)),
    "trials": (trial_voices, (50, 12, 12, 10)),
}


# -- speaking --------------------------------------------------------------------------------------


class Speaker:
    """Speaks with any voice; engines are loaded when they are first needed."""

    def __init__(self, cache: Path) -> None:
        self.cache = cache
        self._kokoro: Any = None
        self._piper: Any = None

    def file(self, voice: Voice, words: str) -> Path:
        key = hashlib.sha1(repr((voice, words)).encode()).hexdigest()[:20]
        return self.cache / f"{key}.flac"

    def speak(self, voice: Voice, words: str) -> Path:
        """The file of the words, rendered when it is not there; peak 0.9, silence cut off."""
        path = self.file(voice, words)
        if not path.exists():
            x, rate = getattr(self, f"_{voice.engine}_speak")(voice, words)
            from training.bench_items import to_16k

            x = to_16k(np.asarray(x, np.float64), rate)
            loud = np.flatnonzero(np.abs(x) > 0.01 * np.abs(x).max())
            x = x[max(0, loud[0] - 800) : loud[-1] + 800]
            part = path.with_suffix(".part")
            soundfile.write(part, x / np.abs(x).max() * 0.9, RATE, format="FLAC")
            part.replace(path)
        return path

    def _kokoro_speak(self, voice: Voice, words: str) -> tuple[Any, int]:
        from training import kokoro

        class Mixed(kokoro.Kokoro):
            """Timbre (first half of the style) and prosody (second half) from two mixtures."""

            prosody: dict[str, float]

            def style(self, voice: Any, tokens: int) -> Any:
                timbre, prosody = super().style(voice, tokens), super().style(self.prosody, tokens)
                return np.concatenate([timbre[:, :128], prosody[:, 128:]], axis=1)

        if self._kokoro is None:
            from training import lexicon

            self._kokoro = Mixed(threads=1)
            self._kokoro.pronunciations = lexicon.dictionary()
        self._kokoro.prosody = dict(voice.prosody)
        # One speed a voice and text, so that not every repetition has the same length.
        speed = random.Random(f"{voice.name} {words}").uniform(0.85, 1.3)
        said = self._kokoro.speak(words.split(), dict(voice.timbre), speed)
        return said.samples, kokoro.RATE

    def _piper_speak(self, voice: Voice, words: str) -> tuple[Any, int]:
        from training.bench_items import Piper

        self._piper = self._piper or Piper(self.cache)
        speed = random.Random(f"{voice.name} {words}").uniform(0.85, 1.3)
        spoken: tuple[Any, int] = self._piper.speak(words.split(), speed)
        return spoken

    def _festival_speak(self, voice: Voice, words: str) -> tuple[Any, int]:
        return _by_program(["text2wave", "-eval", voice.command], words)

    def _espeak_speak(self, voice: Voice, words: str) -> tuple[Any, int]:
        speed = random.Random(f"{voice.name} {words}").randint(120, 180)
        return _by_program(["espeak-ng", "-v", voice.command, "-s", str(speed), "--stdin"], words)


def _by_program(command: list[str], words: str) -> tuple[Any, int]:
    with tempfile.NamedTemporaryFile(suffix=".wav") as out:
        option = "-w" if command[0] == "espeak-ng" else "-o"
        text = words.replace("xray", "x-ray").encode()
        subprocess.run([*command, option, out.name], input=text, check=True, capture_output=True)
        return soundfile.read(out.name)


@dataclass(frozen=True)
class Spoken:
    """One rendered text. ``kind``: reply | number | talk | word. ``file``: where it already is."""

    voice: Voice
    kind: str
    words: str
    file: Path | None = None


def recorded(bench: Path | None) -> Iterator[Spoken]:
    """What other tests have rendered with the held-out voices: audio_fixtures/words, and the cache
    of ``training.bench`` where its folder is given; phrases and figures that can be said now."""
    found = inventory()
    voices = {v.name: v for v in trial_voices()}

    def item(voice: str, words: str, file: Path) -> Iterator[Spoken]:
        if file.exists() and (words in found.phrases or found.takes_figures(words)):
            kind = "reply" if words in found.phrases else "number"
            yield Spoken(voices[voice], kind, words, file)

    for file in sorted(FIXTURES.glob("words/*/*.flac")):
        if file.parent.name in voices:
            yield from item(file.parent.name, file.stem[:-2].replace("-", " "), file)
    for file in sorted(FIXTURES.glob("words/*/talk/*.flac")):
        voice = voices[file.parts[-3]]
        yield Spoken(voice, "talk", file.stem[:-2].replace("-", " "), file)
    if bench:
        from training.bench_items import REPLIES

        for name in [*sorted(kokoro_held_out()), "joe"]:
            for words in REPLIES:
                for speed in (1.0, 1.25):
                    key = hashlib.sha1(f"{name}|{words}|{speed}".encode()).hexdigest()[:16]
                    yield from item(name, words, bench / f"{key}.flac")


def kokoro_held_out() -> frozenset[str]:
    from training.kokoro import HELD_OUT

    return HELD_OUT


def plan(name: str) -> list[Spoken]:
    """Every text of a set with its voice, in a fixed order."""
    voices, counts = SETS[name]
    return [
        Spoken(voice, kind, words)
        for n, voice in enumerate(voices())
        for kind, words in texts(name, n, *counts)
    ]


# -- noise -----------------------------------------------------------------------------------------


def rain(seconds: float, seed: int) -> Sound:
    """Rain on a hood: many short bright drops over a hiss; invented."""
    rng = np.random.default_rng(seed)
    n = round(seconds * RATE)
    out = rng.standard_normal(n) * 0.05
    drop = np.exp(-np.arange(240) / 40) * rng.standard_normal(240)
    for at in rng.integers(0, n - 240, round(seconds * 90)):
        out[at : at + 240] += drop * rng.exponential(0.5)
    return _unit(out)


def air(seconds: float, seed: int) -> Sound:
    """Air let off by brakes: a burst of hiss every two to five seconds; invented."""
    rng = np.random.default_rng(seed)
    n = round(seconds * RATE)
    out = rng.standard_normal(n) * 0.02
    at = round(rng.uniform(0, RATE))
    while at < n:
        size = min(n - at, round(rng.uniform(0.3, 1.5) * RATE))
        t = np.arange(size) / RATE
        shape = (1 - np.exp(-t / 0.01)) * np.exp(-t / rng.uniform(0.1, 0.5))
        burst = np.diff(rng.standard_normal(size + 1))  # brighter than white
        out[at : at + size] += burst * shape
        at += round(rng.uniform(2, 5) * RATE)
    return _unit(out)


def beeper(seconds: float, seed: int) -> Sound:
    """A reversing beeper of about 1.2 kHz, once a second, over a faint hiss; invented."""
    rng = np.random.default_rng(seed)
    t = np.arange(round(seconds * RATE)) / RATE
    f = rng.uniform(1000, 1500)
    on = (t * rng.uniform(0.9, 1.2)) % 1 < 0.5
    tone = np.sin(2 * np.pi * f * t) + 0.3 * np.sin(6 * np.pi * f * t)
    return _unit(tone * on + 0.05 * rng.standard_normal(t.size))


def _unit(x: Sound) -> Sound:
    return np.asarray(x / np.sqrt(np.mean(x**2)))


NOISES: dict[str, Callable[[float, int], Sound]] = {
    "diesel": diesel, "wind": wind, "rain": rain, "air": air, "beeper": beeper,
}  # fmt: skip
NOISE_SEED = {"calibration": 410, "trials": 770}


@lru_cache(maxsize=32)
def noise(name: str, kind: str) -> Sound:
    """A minute of a kind of noise for a set."""
    return NOISES[kind](60.0, NOISE_SEED[name] + sorted(NOISES).index(kind))


def played(x: Sound, rate: float) -> Sound:
    """Faster and higher by the factor, as a tape would be."""
    at = np.arange(0, len(x) - 1, rate)
    return np.interp(at, np.arange(len(x)), x)


def at_peak(x: Sound, dbfs: float) -> bytes:
    """int16 samples with a peak of ``dbfs``."""
    scaled = x / max(float(np.abs(x).max()), 1e-9) * 10 ** (dbfs / 20) * 32767
    return bytes(np.round(scaled).astype("<i2").tobytes())


def render(name: str, cache: Path, part: int = 0, parts: int = 1) -> Iterator[Path]:
    """Render what the cache lacks; ``part`` of ``parts`` takes every so-manieth text."""
    speaker = Speaker(cache)
    cache.mkdir(parents=True, exist_ok=True)
    for n, item in enumerate(plan(name)):
        if n % parts == part:
            yield speaker.speak(item.voice, item.words)


def main() -> None:
    """Render a set into the cache."""
    parser = argparse.ArgumentParser(description="render speech into a cache")
    parser.add_argument("--set", choices=sorted(SETS), required=True)
    parser.add_argument("--cache", type=Path, required=True)
    parser.add_argument("--part", type=int, default=0)
    parser.add_argument("--parts", type=int, default=1)
    args = parser.parse_args()
    count = sum(1 for _ in render(args.set, args.cache, args.part, args.parts))
    print(f"{args.set}: {count} texts")


if __name__ == "__main__":
    main()
