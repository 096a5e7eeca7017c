"""The world of ``rehearse`` and ``run --wav``: recorded replies through the real ear.

No device is needed. Time is compressed unless real time is asked for: then prompts are played and
the recorded replies take as long as they take.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable

from voicecheck.audio.ports import BLOCK, RATE, Speaker, Voice
from voicecheck.audio.tones import tone
from voicecheck.run.clock import Clock
from voicecheck.run.driver import Talker
from voicecheck.run.hearing import Hearing
from voicecheck.run.speaking import Prompts
from voicecheck.session import actions as a
from voicecheck.session import events as e

LEAD_S = 0.8
TAIL_S = 1.3
WORDS_A_SECOND = 2.5
MOST_SILENCES = 3


class RehearsalWorld:
    """``speaker`` None: prompts are only printed (and measured, where a voice is given)."""

    def __init__(
        self,
        talker: Talker,
        hearing: Hearing,
        clock: Clock,
        write: Callable[[str], None],
        voice: Voice | None = None,
        speaker: Speaker | None = None,
    ) -> None:
        self.clock = clock
        self.talk_s = 0.0  # seconds of talk by the program
        self.replies = 0
        self._talker = talker
        self._hearing = hearing
        self._write = write
        self._prompts = Prompts(voice, write)
        self._speaker = speaker
        self._events: deque[str] = deque()
        self._timers: dict[str, int] = {}
        self._blocks: deque[bytes] = deque()
        self._silences = 0
        self._dealt_with = False  # the reply before the microphone has had its event

    # -- what the loop asks for ----------------------------------------------------------------

    def perform(self, action: a.Action) -> None:
        match action:
            case a.Say(text=text, interruptible=interruptible, name=name):
                self._write(f"  {text}")
                self._play(self._prompts.render(text), len(text.split()) / WORDS_A_SECOND)
                self._talker.hear_prompt(text)
                if not interruptible:
                    self._events.append(name)
            case a.Tone(name=name):
                if name in ("hold", "not understood"):
                    self._write(f"  ({name} tone)")
                self._play(tone(name), 0.2)
                self._talker.hear_tone(name)
            case a.StartTimer(name=name, seconds=seconds):
                self._timers[name] = self.clock.now().mono + round(seconds * 1000)
            case _:
                if isinstance(action, a.Listen):
                    self._timers.clear()
                self._hearing.obey(action)

    def next_event(self) -> e.Event:
        while True:
            if self._events:
                return e.PromptEnded(at=self.clock.now(), name=self._events.popleft())
            heard = self._feed()
            if heard is not None:
                return heard
            timing = self._timers.pop("timing", None)
            if timing is not None:  # the driver, too, listens in silence
                return self._elapse("timing", timing)
            spoken = self._talker.reply()
            if spoken is not None:
                self._silences = 0
                self.replies += 1
                self._write(f"> {spoken.text}")
                self.clock.pass_time(self._talker.pause_s)
                self._hold_out(spoken.samples)
                continue
            self._silences += 1
            if self._silences > MOST_SILENCES or not self._timers:
                self._write(
                    "(The recording has no more replies. What was not answered stays open.)"
                )
                return e.Interrupted(at=self.clock.now(), why="the recording has no more replies")
            name = min(self._timers, key=lambda n: self._timers[n])
            return self._elapse(name, self._timers.pop(name))

    def rest(self, seconds: float) -> None:
        self.clock.pass_time(seconds)

    def close(self) -> None:
        if self._speaker is not None:
            self._speaker.stop()

    # -- sound ---------------------------------------------------------------------------------

    def _elapse(self, name: str, due: int) -> e.Event:
        self.clock.pass_time((due - self.clock.now().mono) / 1000)
        return e.TimerElapsed(at=self.clock.now(), name=name)

    def _hold_out(self, samples: bytes) -> None:
        """Put a reply before the microphone, with what is heard around it."""
        silence = bytes(2 * int(LEAD_S * RATE)), bytes(2 * int(TAIL_S * RATE))
        self._dealt_with = False
        whole = self._talker.in_noise(silence[0] + samples + silence[1])
        size = 2 * BLOCK
        self._blocks.extend(
            whole[at : at + size].ljust(size, b"\0") for at in range(0, len(whole), size)
        )

    def _feed(self) -> e.Event | None:
        if not self._blocks:
            return None
        while self._blocks:
            result = self._hearing.feed(self._blocks.popleft())
            self.clock.pass_time(BLOCK / RATE)
            if result is not None:
                self._dealt_with = True
                return self._hearing.event(result, self.clock.now())
        if self._dealt_with:  # what was left over was the silence after the reply
            return None
        result = self._hearing.ear.finish()
        if result is None:
            self._talker.unheard()
            return None
        return self._hearing.event(result, self.clock.now())

    def _play(self, samples: bytes, guess_s: float) -> None:
        length = len(samples) / 2 / RATE if samples else guess_s
        self.talk_s += length
        if self._speaker is None or not samples:
            self.clock.pass_time(length)
            return
        ended = threading.Event()
        self._speaker.play(samples, ended.set)
        ended.wait(length + 3)
