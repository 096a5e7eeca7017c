""" "All good" to a question that asks for a pass: recordings of nine voices, the shipped model.

The vocabulary is that of the question as shipped. Voices and their licences: audio_fixtures/README.
"""

from __future__ import annotations

from pathlib import Path

import pytest
import soundfile
from stand_ins_audio import feed, hiss

from voicecheck.audio.ear import Ear
from voicecheck.audio.ports import Heard
from voicecheck.audio.vosk_recogniser import VoskRecogniser
from voicecheck.reply.grammar import Expect, Understood, parse, vocabulary
from voicecheck.run.library import compile_sources, load_sources
from voicecheck.session.replying import expect
from voicecheck.session.state import Phase, State

WORDS = Path(__file__).parents[2] / "audio_fixtures" / "words"
VOICES = sorted(folder.name for folder in WORDS.iterdir() if folder.is_dir())
QUESTIONS = ("rear lamps canada", "overview")


@pytest.fixture(scope="module")
def vosk() -> VoskRecogniser:
    return VoskRecogniser(trial=False)


@pytest.mark.parametrize("voice", VOICES)
@pytest.mark.parametrize("step", QUESTIONS)
def test_all_good_is_a_pass_and_a_fail_stays_one(
    vosk: VoskRecogniser, voice: str, step: str
) -> None:
    sources = load_sources("trip-inspection", "tractor-semitrailer")
    compiled, _ = compile_sources(sources, jurisdiction="CA-ON")
    asked, careful = expect(compiled, State(phase=Phase.ASKED, step=step))
    for said, meant in (("all-good-1", "pass"), ("fail-1", "fail")):
        samples, _ = soundfile.read(WORDS / voice / f"{said}.flac", dtype="int16")
        ear = Ear(vosk)
        ear.listen(vocabulary(asked), careful)
        heard = [x for _, x in feed(ear, hiss(1.0) + samples.tobytes() + hiss(1.2))]
        results = [x for x in heard if isinstance(x, Heard)]
        assert [parsed(asked, x) for x in results] == [meant], heard


def parsed(asked: Expect, heard: Heard) -> str:
    found = parse(asked, heard.hypothesis.text)
    assert isinstance(found, Understood)
    return found.meaning
