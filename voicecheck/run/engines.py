"""Choosing the recogniser. No engine downloads anything, ever."""

from __future__ import annotations

from pathlib import Path

from voicecheck.audio.ports import Recogniser
from voicecheck.audio.sphinx_recogniser import SphinxRecogniser
from voicecheck.errors import WrongUse

ENGINES = ("pocketsphinx", "vosk")
DEFAULT = "pocketsphinx"


def recogniser(engine: str = "", model: str = "") -> Recogniser:
    """The engine of that name; a model folder alone means vosk."""
    engine = engine or ("vosk" if model else DEFAULT)
    if engine == "pocketsphinx":
        if model:
            raise WrongUse(
                "pocketsphinx brings its own model.", "leave --model out, or say --engine vosk"
            )
        return SphinxRecogniser()
    if engine == "vosk":
        from voicecheck.audio.vosk_recogniser import VoskRecogniser

        return VoskRecogniser(Path(model) if model else None)
    raise WrongUse(f"There is no recogniser {engine!r}.", f"use one of: {', '.join(ENGINES)}")
