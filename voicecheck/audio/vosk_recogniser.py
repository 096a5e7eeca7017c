"""Everything that touches vosk.

Rules:

1. A model is loaded from a folder, never by name or language: by name vosk may go on line.
2. vosk ends the whole process on some damaged models. So the files are looked at first, and a
   folder that is not our own is tried in a child process before this one loads it.
3. vosk drops words that the model lacks from a grammar with no more than a log line ("pass zebra"
   becomes "pass"). So every word is looked up first, and a missing one is an error.
4. vosk treats a grammar as word pairs, not as a list of sentences: "five" has come out as the
   lone "by" of "stand by". A phrase that the model has as one entry ("stand_by") is used whole;
   what comes out is compared with the vocabulary by the ear. So are fractions where the model has
   them all ("one_eighth"): then "eighth" alone is no rival of "eight".
5. Beside the phrases of a closed question stand decoys: common words that sound like nothing that
   may be said (graph/decoys.txt, made with the model). Talk is heard as these, and comes out as
   ``[unk]``. Numbers and spellings get none: their words follow one another freely, decoys cost
   them most, and they are read back anyway.
6. A new recogniser is made for each utterance (0.5 to 5 ms): SetGrammar leaks, and ends the
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
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from voicecheck.audio.acceptance import TABLE
from voicecheck.audio.ports import RATE, UNKNOWN, Hypothesis, Word
from voicecheck.errors import ModelUnusable, RecogniserMissing, WordNotInModel

if TYPE_CHECKING:
    from voicecheck.reply.grammar import Vocabulary

RIVALS = 10
"""Paths that are looked through for a rival."""
MOST_DECOYS = 300
"""Each costs time at every utterance: the recogniser is built anew (docs/decisions/0010)."""
_OPENFST_MAGIC = 2125659606  # first int32 of every OpenFst file
_HAS_OUTPUT_SYMBOLS = 2  # bit of the OpenFst header's flags

# Two words of one meaning that differ by a sound halve each other's confidence ("five" 0.5, "fife"
# 0.5), so the radio form is heard as the plain one where both may be said.
_SAME = {"ait": "eight", "fife": "five", "fower": "four", "tree": "three", "wun": "one"}

CARD = "MODEL.json"
_REINSTALL = "Install the program again, or copy the model folder anew from where it came."
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

    The thresholds of acceptance.py were set for one network and mean nothing for another one, so
    ``trusts_pass`` is False with any other, and every reply is read back. ``trusted=True`` is for
    benchmarks that measure such a model.
    """

    def __init__(
        self, folder: Path | None = None, *, trial: bool | None = None, trusted: bool = False
    ) -> None:
        own = default_model()
        chosen = folder or own
        if chosen is None:
            raise ModelUnusable("This installation has no acoustic model.", _HOW)
        check_folder(chosen)
        digests = file_digests(chosen)
        check_card(chosen, digests)
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
        self.folder = chosen
        self.digest = whole_digest(digests)
        self.trusts_pass = trusted or network_digest(digests) == TABLE["vosk"].network
        self._grammar: tuple[str, ...] = ()
        self._decoys = read_decoys(chosen)
        self._talk: frozenset[str] = frozenset()  # the decoys of the present grammar
        self.name = f"vosk {importlib.metadata.version('vosk')}"

    def missing(self, words: Iterable[str]) -> tuple[str, ...]:
        """Those of ``words`` that the model does not have."""
        return tuple(w for w in words if not self._has(w))

    def prepare(self, vocabulary: Vocabulary) -> None:
        """Listen for these phrases and free words and ``[unk]``. Raises WordNotInModel."""
        entries: list[str] = []
        lacking: list[str] = []
        wholes = vocabulary.wholes if all(map(self._is_entry, vocabulary.wholes)) else ()
        ends = vocabulary.ends if wholes else frozenset()
        free = (
            w for w in vocabulary.words if w not in ends and _SAME.get(w) not in vocabulary.words
        )
        for phrase in (*vocabulary.phrases, *free, *wholes):
            entries.append(self._entry(phrase))
            lacking += [] if self._has(entries[-1]) else self.missing(phrase.split())
        entries = [_begun_with(entry, entries) for entry in entries]
        if lacking:
            raise WordNotInModel(
                f"The model {self.folder.name} cannot hear: {', '.join(sorted(set(lacking)))}.",
                "Use other words, or add these to the model: training/README.md, Words.",
            )
        chosen: list[str] = []
        if not vocabulary.words:
            said = set(vocabulary.all_words())
            chosen = [decoy for decoy, near in self._decoys.items() if near.isdisjoint(said)]
        self._talk = frozenset(chosen[:MOST_DECOYS])
        self._grammar = (*dict.fromkeys(entries), *chosen[:MOST_DECOYS], UNKNOWN)

    def hear(self, samples: bytes) -> Hypothesis:
        """Recognise one utterance; ``confidence`` is the lowest of its words'."""
        result = self._decode(samples, self._grammar, alternatives=0)
        words = tuple(
            Word(
                UNKNOWN if item["word"] in self._talk else item["word"].replace("_", " "),
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
        same sound is decoded once more, and the score of the phrase is compared with that of the
        best path of other words; what two paths share cancels out. A path of the same words put
        together from other phrases is no rival. -inf when the phrase is not the best path, +inf
        when no rival is within the decoder's lattice beam (6 in our model).
        """
        result = self._decode(samples, self._grammar, alternatives=RIVALS)
        paths = [
            (path["text"].replace("_", " ").strip(), float(path["confidence"]))
            for path in result.get("alternatives") or ()
        ]
        if not paths or paths[0][0] != phrase:
            return float("-inf")
        rivals = [score for text, score in paths if text != phrase]
        return paths[0][1] - max(rivals) if rivals else float("inf")

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
        return phrase.replace(" ", "_") if self._is_entry(phrase) else phrase

    def _is_entry(self, phrase: str) -> bool:
        """Whether the model has a phrase of several words as one entry."""
        return " " in phrase and self._has(phrase.replace(" ", "_"))

    def _has(self, word: str) -> bool:
        return bool(word) and word != "<eps>" and self._model.vosk_model_find_word(word) >= 0


def _begun_with(entry: str, entries: Iterable[str]) -> str:
    """A longer phrase begins with the same entry as the shorter one that it begins with.

    Else the same words come by two ways ("no_leak", "no leak lamps good"), and halve each other's
    confidence: 0.55 for 1.00 (measured 2026-11-25).
    """
    for other in entries:
        begin = other.replace("_", " ") + " "
        if other != begin[:-1] and entry.startswith(begin):
            return f"{other} {entry[len(begin) :]}"
    return entry


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


def read_decoys(folder: Path) -> dict[str, frozenset[str]]:
    """Each decoy with the words that sound like it; none for a model made without."""
    path = folder / "graph/decoys.txt"
    if not path.is_file():
        return {}
    rows = (line.split() for line in path.read_text("utf-8").splitlines())
    return {row[0]: frozenset(row[1:]) for row in rows if row}


def file_digests(folder: Path) -> dict[str, str]:
    """SHA-256 (hex) by name of the files in am, conf and graph, ordered by path."""
    parts = ("am", "conf", "graph")
    files = sorted(p for part in parts for p in (folder / part).rglob("*") if p.is_file())
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in files
    }


def whole_digest(digests: Mapping[str, str]) -> str:
    """One SHA-256 for a whole folder; the same as in the card of a model of our own."""
    lines = "".join(f"{name} {digest}\n" for name, digest in digests.items())
    return hashlib.sha256(lines.encode()).hexdigest()


def network_digest(digests: Mapping[str, str]) -> str:
    """SHA-256 of what makes the scores: network and settings. Not of the words: one more word in
    the graph changes no other word's score, because a run-time grammar takes only its own."""
    return whole_digest({n: d for n, d in digests.items() if n.startswith(("am/", "conf/"))})


def check_card(folder: Path, digests: Mapping[str, str]) -> None:
    """Raise ModelUnusable where a file is not the one that the folder's card (MODEL.json) lists.

    A folder without a card, which is not one of ours, has nothing to compare with; ours without its
    card is damaged too.
    """
    card = folder / CARD
    if not card.is_file() and folder != default_model():
        return
    try:
        listed = json.loads(card.read_text("utf-8"))["files"]
        wrong = [name for name, digest in sorted(listed.items()) if digests.get(name) != digest]
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        raise ModelUnusable(f"The card {card} cannot be read.", _REINSTALL) from None
    if wrong:
        raise ModelUnusable(
            f"{folder} is damaged: not as in its card {CARD}: {', '.join(wrong)}.", _REINSTALL
        )


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
