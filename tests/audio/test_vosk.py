"""The vosk recogniser, and the folders it must refuse before vosk sees them.

Tests with a model are skipped where there is none; set VOICECHECK_TEST_MODEL to a vosk folder.
"""

from __future__ import annotations

import json
import shutil
import struct
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import ClassVar

import pytest
from stand_ins_audio import feed, hiss, phrases

from voicecheck.audio import noise
from voicecheck.audio.acceptance import TABLE
from voicecheck.audio.ear import Ear
from voicecheck.audio.ports import Heard, Recogniser, RivalScoring
from voicecheck.audio.vosk_recogniser import (
    VoskRecogniser,
    _begun_with,
    check_card,
    check_folder,
    default_model,
    file_digests,
    network_digest,
    read_decoys,
    whole_digest,
)
from voicecheck.errors import ModelUnusable, RecogniserMissing, WordNotInModel
from voicecheck.reply.grammar import DateForm, Expect, NumberForm, Vocabulary, vocabulary
from voicecheck.units import unit_named

Spoken = Callable[[str], bytes]
WORDS = ("pass", "fail", "negative", "affirm", "say again", "stand by", "not closed", "closed")


@pytest.fixture(scope="module")
def vosk(model: Path) -> VoskRecogniser:
    return VoskRecogniser(model, trial=False, trusted=True)


def fst(kind: bytes, flags: int = 0) -> bytes:
    """The header of an OpenFst file (Kaldi and OpenFst sources; layout measured on a real file)."""
    head = struct.pack("<i", 2125659606)
    head += struct.pack("<i", len(kind)) + kind + struct.pack("<i", 8) + b"standard"
    return head + struct.pack("<ii", 1, flags) + bytes(64)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """The smallest folder that passes the look at its files; no model is in it."""
    made = tmp_path / "model"
    for name in ("am", "conf", "graph"):
        (made / name).mkdir(parents=True)
    (made / "am/final.mdl").write_bytes(b"\0B<TransitionModel> <Topology> " + bytes(64))
    (made / "conf/model.conf").write_text(
        "--min-active=200\n--frame-subsampling-factor=3\n--endpoint.silence-phones=1\n"
    )
    (made / "conf/mfcc.conf").write_text("--sample-frequency=16000\n")
    (made / "graph/HCLr.fst").write_bytes(fst(b"olabel_lookahead"))
    (made / "graph/Gr.fst").write_bytes(fst(b"vector"))
    (made / "graph/words.txt").write_text("<eps> 0\n[unk] 1\n")
    (made / "graph/disambig_tid.int").write_text("1\n")
    check_folder(made)
    return made


@pytest.mark.parametrize(
    "name",
    [
        "am/final.mdl",
        "conf/model.conf",
        "conf/mfcc.conf",
        "graph/HCLr.fst",
        "graph/Gr.fst",
        "graph/words.txt",
        "graph/disambig_tid.int",
    ],
)
def test_a_missing_file_is_named(folder: Path, name: str) -> None:
    (folder / name).unlink()
    with pytest.raises(ModelUnusable, match=name):
        VoskRecogniser(folder)


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("am/final.mdl", b"", "final.mdl"),
        ("am/final.mdl", b"<TransitionModel> as text", "final.mdl"),
        ("graph/HCLr.fst", b"short", "HCLr.fst"),
        ("graph/HCLr.fst", fst(b"const"), "olabel_lookahead"),
        ("graph/Gr.fst", bytes(200), "Gr.fst"),
        ("graph/words.txt", b"pass 1\n", "words.txt"),
        ("conf/model.conf", b"--endpoint.silence-phones=1\n", "frame-subsampling-factor"),
        ("conf/model.conf", b"--frame-subsampling-factor=3\n", "endpoint.silence-phones"),
        ("conf/mfcc.conf", b"--sample-frequency=8000\n", "8000"),
        ("graph/HCLG.fst", b"x", "HCLG.fst"),
    ],
)
def test_a_wrong_file_is_refused(folder: Path, name: str, content: bytes, said: str) -> None:
    (folder / name).write_bytes(content)
    with pytest.raises(ModelUnusable, match=said):
        VoskRecogniser(folder)


def test_no_folder_and_a_file_are_refused(tmp_path: Path) -> None:
    file = tmp_path / "file"
    file.write_text("x")
    for place in (tmp_path / "none", file, tmp_path):
        with pytest.raises(ModelUnusable):
            VoskRecogniser(place)


def test_a_folder_that_looks_right_and_is_not_does_not_end_this_process(folder: Path) -> None:
    """vosk itself raises or aborts on it; the trial in a child process finds that out."""
    with pytest.raises(ModelUnusable, match="trial"):
        VoskRecogniser(folder)


def test_a_truncated_model_does_not_end_this_process(model: Path, tmp_path: Path) -> None:
    for name in ("am/final.mdl", "graph/HCLr.fst"):
        broken = tmp_path / name.replace("/", "-")
        shutil.copytree(model, broken)
        (broken / "MODEL.json").unlink(missing_ok=True)  # with its card it is not even tried
        whole = (broken / name).read_bytes()
        (broken / name).write_bytes(whole[: len(whole) // 2])
        with pytest.raises(ModelUnusable):
            VoskRecogniser(broken)


def test_without_vosk_the_error_says_so(folder: Path) -> None:
    code = (
        "import sys; sys.modules['vosk'] = None\n"
        "from pathlib import Path\n"
        "from voicecheck.audio.vosk_recogniser import VoskRecogniser\n"
        "from voicecheck.errors import RecogniserMissing\n"
        "try: VoskRecogniser(Path(sys.argv[1]))\n"
        "except RecogniserMissing as e: print(e.code)\n"
    )
    root = Path(__file__).parents[2]
    done = subprocess.run(
        [sys.executable, "-c", code, str(folder)], cwd=root, capture_output=True, text=True
    )
    assert done.stdout.strip() == RecogniserMissing.code, done.stderr


# -- with a model ----------------------------------------------------------------------------


def test_it_is_a_recogniser_that_scores_rivals(vosk: VoskRecogniser) -> None:
    assert isinstance(vosk, Recogniser) and isinstance(vosk, RivalScoring)
    assert vosk.name.startswith("vosk 0.3.") and len(vosk.digest) == 64


def test_only_the_network_that_was_calibrated_is_trusted(model: Path, tmp_path: Path) -> None:
    """The thresholds were set for that one."""
    calibrated = network_digest(file_digests(model)) == TABLE["vosk"].network
    assert VoskRecogniser(model, trial=False).trusts_pass is calibrated
    other = tmp_path / "other"
    shutil.copytree(model, other)
    (other / "MODEL.json").unlink()
    with (other / "conf/model.conf").open("a") as conf:
        conf.write("--endpoint.rule4.min-trailing-silence=1.1\n")
    assert not VoskRecogniser(other, trial=False).trusts_pass


def test_the_shipped_model_is_whole_and_calibrated() -> None:
    """After a new network: python -m tests.bench.calibrate (training/README.md)."""
    own = default_model()
    if own is None:
        pytest.skip("this checkout has no model")
    digests = file_digests(own)
    check_card(own, digests)
    card = json.loads((own / "MODEL.json").read_text("utf-8"))
    assert card["files"] == digests and card["sha256"] == whole_digest(digests)
    assert network_digest(digests) == TABLE["vosk"].network


@pytest.mark.parametrize("name", ["am/final.mdl", "graph/HCLr.fst", "graph/words.txt"])
def test_one_flipped_bit_is_noticed(tmp_path: Path, name: str) -> None:
    own = default_model()
    if own is None:
        pytest.skip("this checkout has no model")
    damaged = tmp_path / "model"
    shutil.copytree(own, damaged)
    with (damaged / name).open("r+b") as file:
        file.seek(-100, 2)
        (byte,) = file.read(1)
        file.seek(-100, 2)
        file.write(bytes([byte ^ 1]))
    with pytest.raises(ModelUnusable, match=f"damaged.*{name}") as caught:
        VoskRecogniser(damaged, trial=False)
    assert caught.value.code == "model-unusable"


def test_a_card_that_cannot_be_read_is_an_error(folder: Path) -> None:
    for text in ("", "[]", '{"files": 3}', "{}"):
        (folder / "MODEL.json").write_text(text)
        with pytest.raises(ModelUnusable, match="card"):
            check_card(folder, file_digests(folder))


def test_a_missing_word_is_refused_and_not_dropped(vosk: VoskRecogniser) -> None:
    """vosk alone turns "pass zzyzxt" into "pass" and says nothing."""
    assert vosk.missing(["pass", "zzyzxt", "<eps>", ""]) == ("zzyzxt", "<eps>", "")
    with pytest.raises(WordNotInModel, match="zzyzxt"):
        vosk.prepare(phrases("pass zzyzxt", "fail"))


def test_silence_and_noise_are_no_words(vosk: VoskRecogniser) -> None:
    vosk.prepare(phrases(*WORDS))
    assert vosk.hear(bytes(32_000)).text == ""
    text = vosk.hear(noise.to_samples(noise.wind(2, 5), -25)).text
    assert set(text.split()) <= {"[unk]"}


def test_the_same_sound_gives_the_same_result_with_times_from_its_beginning(
    vosk: VoskRecogniser, spoken: Spoken
) -> None:
    vosk.prepare(phrases(*WORDS))
    sound = spoken("negative")
    first = vosk.hear(sound)
    vosk.hear(spoken("affirm"))
    assert vosk.hear(sound) == first
    if first.words:
        assert 0.8 < first.words[0].start < 1.3


def test_a_pause_does_not_cut_an_utterance_in_two(vosk: VoskRecogniser, spoken: Spoken) -> None:
    """vosk's own end-point rules (0.5 s of silence) must not lose what follows or precedes."""
    vosk.prepare(phrases(*WORDS))
    single = spoken("negative")
    text = vosk.hear(single + single).text
    assert text == " ".join([vosk.hear(single).text] * 2)


def test_margin_is_positive_only_for_what_is_heard_best(
    vosk: VoskRecogniser, spoken: Spoken
) -> None:
    words = phrases(*WORDS)
    vosk.prepare(words)
    for phrase in ("negative", "affirm", "stand by"):
        sound = spoken(phrase)
        if vosk.hear(sound).text != phrase:
            continue  # a synthetic voice that this model does not understand
        assert vosk.margin(sound, phrase) > 0
        assert vosk.margin(sound, "fail") == float("-inf")
        return
    pytest.fail("this model hears none of three rendered phrases")


def test_eighth_alone_is_no_rival_of_eight(vosk: VoskRecogniser) -> None:
    """Fractions are entries; where a model lacks one, their words stand alone as before."""
    inch = unit_named("in")
    length = vocabulary(Expect((), NumberForm(inch, (inch,), fractions=True)))
    vosk.prepare(length)
    if vosk.missing(["three_eighths"]):
        assert "eighth" in vosk._grammar
        return
    assert {"one_eighth", "three_eighths", "an_eighth", "eight", "quarter"} <= set(vosk._grammar)
    assert not {"eighth", "eighths", "sixteenth", "sixteenths"} & set(vosk._grammar)
    vosk.prepare(vocabulary(Expect((), NumberForm(inch, (inch,)))))
    assert "one_eighth" not in vosk._grammar
    vosk.prepare(vocabulary(Expect((), date=DateForm(day=True))))
    assert "eighth" in vosk._grammar


def test_joined_entries_are_used_and_turned_back(vosk: VoskRecogniser) -> None:
    """A model may have "stand_by" as one entry; nobody outside this file sees the underscore."""

    class Joined:
        def vosk_model_find_word(self, word: str) -> int:
            return 1 if word in ("stand_by", "stand", "by", "pass", "say", "again") else -1

    class Saying:
        grammar: ClassVar[list[str]] = []

        def __init__(self, _model: object, _rate: int, grammar: str) -> None:
            Saying.grammar = json.loads(grammar)

        def SetWords(self, _on: bool) -> None: ...

        def SetMaxAlternatives(self, _most: int) -> None: ...

        def AcceptWaveform(self, _samples: bytes) -> None: ...

        def FinalResult(self) -> str:
            word = {"word": "stand_by", "start": 0.1, "end": 0.6, "conf": 0.9}
            return json.dumps({"result": [word], "text": "stand_by"})

    made = VoskRecogniser.__new__(VoskRecogniser)
    made._model, made.folder, made._grammar = Joined(), Path("model"), ()
    made._decoys, made._talk = {}, frozenset()
    made._vosk = type("Vosk", (), {"KaldiRecognizer": Saying})
    words: Vocabulary = phrases("stand by", "say again", "pass")
    made.prepare(words)
    heard = made.hear(bytes(3200))
    assert Saying.grammar == ["pass", "say again", "stand_by", "[unk]"]
    assert heard.text == "stand by" and heard.words[0].text == "stand by"
    assert words.complete(heard.text)


def test_a_longer_phrase_begins_with_the_joined_entry_of_the_shorter_one() -> None:
    """Two ways to the same words halve their confidence."""
    entries = ["no_leak", "no leak lamps good", "no leaks", "stop", "stop now"]
    wanted = ["no_leak", "no_leak lamps good", "no leaks", "stop", "stop now"]
    assert [_begun_with(entry, entries) for entry in entries] == wanted


@pytest.mark.parametrize("kind", ["diesel", "wind"])
def test_a_minute_of_noise_alone_is_never_heard(vosk: VoskRecogniser, kind: str) -> None:
    made = noise.diesel(60, 4) if kind == "diesel" else noise.wind(60, 4)
    ear = Ear(vosk)
    ear.listen(phrases(*WORDS), careful=frozenset({"pass", "affirm", "closed"}))
    assert not [r for _, r in feed(ear, noise.to_samples(made, -22)) if isinstance(r, Heard)]


def test_talk_outside_the_vocabulary_is_never_clear_as_a_careful_phrase(
    vosk: VoskRecogniser, spoken: Spoken
) -> None:
    careful = frozenset({"pass", "affirm", "closed"})
    ear = Ear(vosk)
    for text in ("the harbour master waved", "happy birthday", "past the last exit", "classical"):
        ear.listen(phrases(*WORDS), careful=careful)
        for _, result in feed(ear, spoken(text) + hiss(1.0)):
            if isinstance(result, Heard) and result.hypothesis.text in careful:
                assert result.certainty == "doubtful", (text, result.hypothesis)


def test_decoys_stand_beside_closed_phrases_and_come_out_as_talk() -> None:
    """Not one that sounds like a word that may be said, and none beside numbers."""

    class Everything:
        def vosk_model_find_word(self, word: str) -> int:
            return -1 if "_" in word else 1

    class Hearing:
        def __init__(self, _model: object, _rate: int, grammar: str) -> None: ...

        def SetWords(self, _on: bool) -> None: ...

        def SetMaxAlternatives(self, _most: int) -> None: ...

        def AcceptWaveform(self, _samples: bytes) -> None: ...

        def FinalResult(self) -> str:
            words = [
                {"word": w, "start": 0.1, "end": 0.6, "conf": 0.9} for w in ("because", "pass")
            ]
            return json.dumps({"result": words, "text": "because pass"})

    made = VoskRecogniser.__new__(VoskRecogniser)
    made._model, made.folder = Everything(), Path("model")
    made._vosk = type("Vosk", (), {"KaldiRecognizer": Hearing})
    made._decoys = {
        "because": frozenset({"because"}),
        "past": frozenset({"past", "pass", "fast"}),
        "say": frozenset({"say", "they"}),
    }
    made.prepare(phrases("pass", "say again"))
    assert made._grammar == ("pass", "say again", "because", "[unk]")
    assert made.hear(bytes(3200)).text == "[unk] pass"
    made.prepare(phrases("pass", number=True))
    assert not {"because", "past"} & set(made._grammar)


def test_every_decoy_of_the_model_is_a_word_of_it_and_near_itself(vosk: VoskRecogniser) -> None:
    decoys = read_decoys(vosk.folder)
    assert len(decoys) >= 300 and not vosk.missing(decoys)
    assert all(decoy in near for decoy, near in decoys.items())


def test_the_radio_form_of_a_figure_gives_way_to_the_plain_one() -> None:
    """Both in one grammar halve each other's confidence; both mean the same figure."""

    class Everything:
        def vosk_model_find_word(self, word: str) -> int:
            return -1 if "_" in word else 1

    made = VoskRecogniser.__new__(VoskRecogniser)
    made._model, made.folder = Everything(), Path("model")
    made._decoys, made._talk = {}, frozenset()
    words = phrases("pass", number=True)
    assert {"five", "fife", "four", "fower", "three", "tree"} <= set(words.words)
    made.prepare(words)
    assert {"five", "four", "three", "niner", "pass", "[unk]"} <= set(made._grammar)
    assert not {"fife", "fower", "tree"} & set(made._grammar)
    assert words.complete("one five") and words.complete("one fife")
