"""What the tests of this room share: a real voice, a model to test with."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from stand_ins_audio import hiss

from voicecheck.audio.voice import SynthesiserVoice
from voicecheck.errors import NoSynthesiser


@pytest.fixture(scope="session")
def voice(tmp_path_factory: pytest.TempPathFactory) -> Iterator[SynthesiserVoice]:
    with SynthesiserVoice(tmp_path_factory.mktemp("voice")) as made:
        try:
            made.render("ready")
        except NoSynthesiser as error:
            pytest.skip(str(error))
        yield made


@pytest.fixture(scope="session")
def spoken(voice: SynthesiserVoice) -> Callable[[str], bytes]:
    """A rendered text with a second of quiet floor before and after it."""

    def make(text: str) -> bytes:
        return hiss(1.0, 1) + voice.render(text) + hiss(1.3, 2)

    return make


@pytest.fixture(scope="session")
def model() -> Path:
    """A vosk model to test with: VOICECHECK_TEST_MODEL, else the shipped one."""
    from voicecheck.audio.vosk_recogniser import default_model

    named = os.environ.get("VOICECHECK_TEST_MODEL")
    folder = Path(named) if named else default_model()
    if folder is None:
        pytest.skip("no acoustic model here: set VOICECHECK_TEST_MODEL to a vosk model folder")
    return folder
