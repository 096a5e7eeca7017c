"""Everything that touches vosk.

Rules:

1. A model is loaded from a folder, never by name or language: by name vosk may go on line.
2. vosk ends the whole process on some damaged models. So the files are looked at first, and a
   folder that is not our own is tried in a child process before this one loads it.
3. vosk drops words that the model lacks from a grammar with no more than a log line ("pass zebra"
   becomes "pass"). So every word is looked up first, and a missing one is an error.
4. vosk treats a grammar as word pairs, not as a list of sentences: "five" has come out as the
   lone "by" of "stand by". A phrase that the model has as one entry ("stand_by") is used whole;
   what comes out is compared with the vocabulary by the ear.
5. A new recogniser is made for each utterance (0.5 to 5 ms): SetGrammar leaks, and ends the
   process when it is called inside an utterance. ``[]`` as grammar crashes: ``[unk]`` is always
   listed.
"""

from __future__ import annotations

import hashlib
import importlib.metadata
import importlib.util
import json
import struct
import subprocess
import sys
from collections.abc import Iterable
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from voicecheck.audio.ports import RATE, UNKNOWN, Hypothesis, Word
from voicecheck.errors import ModelUnusable, RecogniserMissing, WordNotInModel

if TYPE_CHECKING:
    from voicecheck.reply.grammar import Vocabulary

_OPENFST_MAGIC = 2125659606  # first int32 of every OpenFst file
_HAS_OUTPUT_SYMBOLS = 2  # bit of the OpenFst header's flags

# Two words of one meaning that differ by a sound halve each other's confidence ("five" 0.5, "fife"
# 0.5), so the radio form is heard as the plain one where both may be said.
_SAME = {"ait": "eight", "fife": "five", "fower": "four", "tree": "three", "wun": "one"}

_HOW = "Give the folder of a complete vosk model with a run-time grammar (graph/HCLr.fst, Gr.fst)."

# What a foreign folder is tried with, in a process that may die of it. Exit status 0: usable.
_TRIAL = """
import json, sys, vosk
vosk.SetLogLevel(-1)
model = vosk.Model(model_path=sys.argv[1])
r = vosk.KaldiRecognizer(model, 16000, json.dumps(["[unk]"]))
r.SetWords(True)
r.AcceptWaveform(bytes(range(256)) * 125)
json.loads(r.FinalResult())
"""


def default_model() -> Path | None:
    """The model shipped with the package, or None in a checkout without one."""
    spec = importlib.util.find_spec("voicecheck.acoustic")
    for place in (spec.submodule_search_locations or ()) if spec else ():
        folder = Path(place) / "model"
        if (folder / "am" / "final.mdl").is_file():
            return folder
    return None


class VoskRecogniser:
    """Recognises with the model in ``folder`` (default: the one shipped with the package).

    Raises RecogniserMissing (vosk not installed) or ModelUnusable. ``trial=False`` leaves out
    the trial in a child process (about half a second) for a folder known to be good.

    The thresholds of acceptance.py were measured with the shipped model and mean nothing for
    another one, so ``trusts_pass`` is False with any other folder, and every reply is read back.
    ``trusted=True`` is for benchmarks that measure such a model.
    """

    def __init__(
        self, folder: Path | None = None, *, trial: bool | None = None, trusted: bool = False
    ) -> None:
        own = default_model()
        chosen = folder or own
        if chosen is None:
            raise ModelUnusable("This installation has no acoustic model.", _HOW)
        check_folder(chosen)
        try:
            import vosk
        except (ImportError, OSError, TypeError, AttributeError) as error:
            raise RecogniserMissing(
                f"vosk cannot be loaded: {error}.",
                "Install it: pip install vosk (there are machines without a wheel), or choose "
                "the other recogniser.",
            ) from error
        if trial if trial is not None else chosen != own:
            _try_in_child(chosen)
        self._vosk: Any = vosk
        vosk.SetLogLevel(-1)
        try:
            self._model: Any = vosk.Model(model_path=str(chosen))
        except Exception as error:  # vosk raises the bare class
            raise ModelUnusable(f"vosk cannot load {chosen}: {error}", _HOW) from error
        self._folder = chosen
        self.trusts_pass = trusted or chosen == own
        self._grammar: tuple[str, ...] = ()
        self.name = f"vosk {importlib.metadata.version('vosk')}"

    @cached_property
    def digest(self) -> str:
        """SHA-256 over the names and contents of the files in am, conf and graph."""
        total = hashlib.sha256()
        for part in ("am", "conf", "graph"):
            for path in sorted(p for p in (self._folder / part).rglob("*") if p.is_file()):
                total.update(path.relative_to(self._folder).as_posix().encode() + b"\0")
                total.update(hashlib.sha256(path.read_bytes()).digest())
        return total.hexdigest()

    def missing(self, words: Iterable[str]) -> tuple[str, ...]:
        """Those of ``words`` that the model does not have."""
        return tuple(w for w in words if not self._has(w))

    def prepare(self, vocabulary: Vocabulary) -> None:
        """Listen for these phrases and free words and ``[unk]``. Raises WordNotInModel."""
        entries: list[str] = []
        lacking: list[str] = []
        free = (w for w in vocabulary.words if _SAME.get(w) not in vocabulary.words)
        for phrase in (*vocabulary.phrases, *free):
            entries.append(self._entry(phrase))
            lacking += [] if self._has(entries[-1]) else self.missing(phrase.split())
        if lacking:
            raise WordNotInModel(
                f"The model {self._folder.name} cannot hear: {', '.join(sorted(set(lacking)))}.",
                "Use other words, or train the model with them.",
            )
        self._grammar = (*dict.fromkeys(entries), UNKNOWN)

    def hear(self, samples: bytes) -> Hypothesis:
        """Recognise one utterance; ``confidence`` is the lowest of its words'."""
        result = self._decode(samples, self._grammar, alternatives=0)
        words = tuple(
            Word(
                item["word"].replace("_", " "),
                float(item["start"]),
                float(item["end"]),
                min(1.0, float(item.get("conf", 0.0))),
            )
            for item in result.get("result", ())
        )
        text = " ".join(word.text for word in words)
        return Hypothesis(text, words, min((w.confidence for w in words), default=0.0))

    def margin(self, samples: bytes, phrase: str) -> float:
        """By how much ``phrase`` beat its best rival: natural log of the likelihood ratio.

        Word confidences exist only without alternatives, and path scores only with them, so the
        same sound is decoded twice more, with and without the phrase, and the scores of the best
        paths are compared. The difference contains the phrase's acoustics only: what the two
        paths share cancels out. -inf when the phrase is not the best path, +inf when nothing
        else fits at all.
        """
        entry = self._entry(phrase)
        text, score = self._best(samples, self._grammar)
        if text != phrase:
            return float("-inf")
        rivals = tuple(e for e in self._grammar if e != entry)
        if len(rivals) == len(self._grammar):
            return 0.0  # made of free words: no entry to leave out, so nothing is known
        other, rival = self._best(samples, rivals)
        return score - rival if other else float("inf")

    def _best(self, samples: bytes, grammar: tuple[str, ...]) -> tuple[str, float]:
        result = self._decode(samples, grammar, alternatives=1)
        best = (result.get("alternatives") or [{"text": "", "confidence": 0.0}])[0]
        return best["text"].replace("_", " ").strip(), float(best["confidence"])

    def _decode(self, samples: bytes, grammar: tuple[str, ...], alternatives: int) -> Any:
        if not grammar:
            raise RuntimeError("prepare() comes before hear()")
        recogniser = self._vosk.KaldiRecognizer(self._model, RATE, json.dumps(list(grammar)))
        recogniser.SetWords(True)
        recogniser.SetMaxAlternatives(alternatives)
        # In one piece: vosk applies its own end-point rules only between pieces, and would cut
        # "one ... and three quarters" in two.
        recogniser.AcceptWaveform(samples)
        return json.loads(recogniser.FinalResult())

    def _entry(self, phrase: str) -> str:
        joined = phrase.replace(" ", "_")
        return joined if joined != phrase and self._has(joined) else phrase

    def _has(self, word: str) -> bool:
        return bool(word) and word != "<eps>" and self._model.vosk_model_find_word(word) >= 0


def check_folder(folder: Path) -> None:
    """Raise ModelUnusable unless ``folder`` has the files vosk needs, with the right beginnings.

    Each of these, when missing or wrong, makes vosk abort, crash or decode rubbish.
    """

    def refuse(what: str) -> None:
        raise ModelUnusable(f"{folder} is no usable model: {what}.", _HOW)

    if not folder.is_dir():
        refuse("there is no such folder")
    needed = (
        "am/final.mdl",
        "conf/model.conf",
        "conf/mfcc.conf",
        "graph/HCLr.fst",
        "graph/Gr.fst",
        "graph/disambig_tid.int",
    )
    for name in needed:
        if not (folder / name).is_file():
            refuse(f"{name} is missing")
    if (folder / "graph/HCLG.fst").exists():
        refuse("graph/HCLG.fst is there, which switches run-time grammars off")
    if not _beginning(folder / "am/final.mdl", 64).startswith(b"\0B<TransitionModel> "):
        refuse("am/final.mdl is not a binary acoustic model")
    for name, kind in (("graph/HCLr.fst", b"olabel_lookahead"), ("graph/Gr.fst", b"")):
        head = _beginning(folder / name, 128)
        if len(head) < 64 or struct.unpack("<i", head[:4])[0] != _OPENFST_MAGIC:
            refuse(f"{name} is not a transducer")
        if kind not in head:
            refuse(f"{name} is not of the kind {kind.decode()}")
    if not (folder / "graph/words.txt").is_file() and not _carries_words(folder / "graph/Gr.fst"):
        refuse("graph/words.txt is missing")
    if (folder / "graph/words.txt").is_file():
        first = _beginning(folder / "graph/words.txt", 64).split(b"\n")[0].split()
        if first != [b"<eps>", b"0"]:
            refuse("graph/words.txt does not begin with <eps> 0")
    conf = (folder / "conf/model.conf").read_text("utf-8", "replace")
    for setting in ("--endpoint.silence-phones=", "--frame-subsampling-factor="):
        if not any(line.strip().startswith(setting) for line in conf.splitlines()):
            refuse(f"conf/model.conf lacks {setting[:-1]}")
    mfcc = (folder / "conf/mfcc.conf").read_text("utf-8", "replace")
    for line in mfcc.splitlines():
        name, _, value = line.strip().partition("=")
        if name == "--sample-frequency" and value.split("#")[0].strip() != str(RATE):
            refuse(f"it is made for {value.strip()} samples a second, not {RATE}")


def _beginning(path: Path, count: int) -> bytes:
    with path.open("rb") as file:
        return file.read(count)


def _carries_words(path: Path) -> bool:
    """The transducer holds its own word list (OpenFst header: magic, two strings, version,
    flags)."""
    head = _beginning(path, 256)
    at = 4
    for _ in range(2):
        (length,) = struct.unpack_from("<i", head, at)
        if not 0 <= length <= 64:
            return False
        at += 4 + length
    _version, flags = struct.unpack_from("<ii", head, at)
    return bool(flags & _HAS_OUTPUT_SYMBOLS)


def _try_in_child(folder: Path) -> None:
    """Load and use the model in a process of its own; ModelUnusable if that does not end well."""
    try:
        done = subprocess.run(
            [sys.executable, "-c", _TRIAL, str(folder)],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            timeout=120,
            check=False,
        )
    except subprocess.TimeoutExpired:
        raise ModelUnusable(f"vosk does not finish loading {folder}.", _HOW) from None
    if done.returncode != 0:
        raise ModelUnusable(
            f"{folder} is damaged or foreign: a trial process ended with status {done.returncode}.",
            _HOW,
        )
