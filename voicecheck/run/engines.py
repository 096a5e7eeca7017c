"""Choosing the recogniser. No engine downloads anything, ever.

The default is vosk with the model that the package ships, where it is there; pocketsphinx, which
brings a model in its own wheel, is the fallback.
"""

from __future__ import annotations

from pathlib import Path

from voicecheck.audio.ports import Recogniser
from voicecheck.audio.sphinx_recogniser import SphinxRecogniser
from voicecheck.audio.vosk_recogniser import VoskRecogniser, default_model
from voicecheck.errors import WrongUse

ENGINES = ("pocketsphinx", "vosk")


def default_engine() -> str:
    """vosk where the package has its model, pocketsphinx otherwise."""
    return "vosk" if default_model() else "pocketsphinx"


def recogniser(engine: str = "", model: str = "") -> Recogniser:
    """The engine of that name; a model folder alone means vosk."""
    engine = engine or ("vosk" if model else default_engine())
    if engine == "pocketsphinx":
        if model:
            raise WrongUse(
                "pocketsphinx brings its own model.", "leave --model out, or say --engine vosk"
            )
        return SphinxRecogniser()
    if engine == "vosk":
        return VoskRecogniser(Path(model) if model else None)
    raise WrongUse(f"There is no recogniser {engine!r}.", f"use one of: {', '.join(ENGINES)}")
