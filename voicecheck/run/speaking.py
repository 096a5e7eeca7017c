"""Prompts as sound, or only in print where there is no synthesiser."""

from __future__ import annotations

from collections.abc import Callable

from voicecheck.audio.ports import Voice
from voicecheck.errors import NoSynthesiser


class Prompts:
    """``render`` gives the sound of a sentence, b"" from the moment that the voice fails."""

    def __init__(self, voice: Voice | None, write: Callable[[str], None]) -> None:
        self._voice = voice
        self._write = write

    def render(self, text: str) -> bytes:
        if self._voice is None:
            return b""
        try:
            return self._voice.render(text)
        except NoSynthesiser as error:
            self._write(f"({error})")
            self._voice = None
            return b""
