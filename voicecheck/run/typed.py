"""The world of ``run --typed``: prompts are printed, replies are typed, one a line.

A typed reply is exact, so it is never read back for doubt; the report says "typed" on each line.
A gap in which nobody looked for a reply (the device slept) is a resume, and what was typed before
its end is no answer to what is asked after it.
"""

from __future__ import annotations

import queue
import threading
from collections import deque
from collections.abc import Callable, Iterable

from voicecheck.run.clock import ASLEEP_S, Clock, CompressedClock
from voicecheck.session import actions as a
from voicecheck.session import events as e

LOOK_S = 1.0


class _Slept(Exception):
    """The device slept for so many seconds."""


class TypedWorld:
    """``lines``: the replies as they come (standard input). ``write``: prints one line."""

    def __init__(self, lines: Iterable[str], clock: Clock, write: Callable[[str], None]) -> None:
        self.clock = clock
        self._write = write
        self._events: deque[str] = deque()
        self._timers: dict[str, int] = {}
        self._memo = False
        self._lines: queue.Queue[str | None] = queue.Queue()
        self._compressed = isinstance(clock, CompressedClock)
        self._awake = clock.now().mono
        if self._compressed:
            self._source = iter(lines)
        else:
            threading.Thread(target=self._read, args=(lines,), daemon=True).start()

    def _read(self, lines: Iterable[str]) -> None:
        for line in lines:
            self._lines.put(line)
        self._lines.put(None)

    def _next_line(self, seconds: float | None) -> str | None:
        """The next line; None at the end of input. queue.Empty after ``seconds``."""
        if self._compressed:
            return next(self._source, None)
        until = None if seconds is None else self.clock.now().mono + seconds * 1000
        while True:
            self._stay_awake()
            left = LOOK_S if until is None else (until - self.clock.now().mono) / 1000
            try:
                line = self._lines.get(timeout=max(0.0, min(LOOK_S, left)))
            except queue.Empty:
                if left <= 0:
                    raise
            else:
                self._stay_awake()
                return line

    def _stay_awake(self) -> None:
        before, self._awake = self._awake, self.clock.now().mono
        gap = (self._awake - before) // 1000
        if gap < ASLEEP_S:
            return
        while not self._lines.empty():
            if self._lines.get() is None:
                self._lines.put(None)
                break
        raise _Slept(gap)

    def perform(self, action: a.Action) -> None:
        match action:
            case a.Say(text=text, interruptible=interruptible, name=name):
                self._write(f"  {text}")
                if not interruptible:
                    self._events.append(name)
            case a.Tone(name=name):
                if name in ("hold", "not understood"):
                    self._write(f"  ({name})")
            case a.Listen():
                self._memo = False
                self._timers.clear()
            case a.ListenMemo():
                self._memo = True
            case a.StartTimer(name="timing" | "mark" as name, seconds=seconds):
                self._timers[name] = self.clock.now().mono + round(seconds * 1000)
            case _:
                pass  # nobody needs a reminder at a keyboard

    def next_event(self) -> e.Event:
        if self._events:
            return e.PromptEnded(at=self.clock.now(), name=self._events.popleft())
        while True:
            name, due = next(iter(self._timers.items()), ("", None))  # one runs at a time
            left = None if due is None else max(0.0, (due - self.clock.now().mono) / 1000)
            if self._compressed and left is not None and (name == "timing" or not left):
                return self._elapse(name, left)
            try:
                line = self._next_line(left)
            except queue.Empty:
                return self._elapse(name, 0)
            except _Slept as slept:
                self._timers.clear()
                self._memo = False
                return e.Resumed(at=self.clock.now(), gap_s=slept.args[0])
            if line is None:
                return e.Interrupted(at=self.clock.now(), why="the input ended")
            said = " ".join(line.split())
            if not said:
                continue
            if self._compressed:
                self.clock.pass_time(3)
                self._write(f"> {said}")
            if self._memo:
                self._memo = False
                return e.MemoHeard(
                    at=self.clock.now(), evidence="", digest="", seconds="", text=said
                )
            words = said.lower().replace(", ", " ")  # at a keyboard a pause is a comma
            return e.ReplyHeard(at=self.clock.now(), words=words, certainty="typed")

    def _elapse(self, name: str, left: float) -> e.Event:
        self.clock.pass_time(left)
        self._timers.clear()
        return e.TimerElapsed(at=self.clock.now(), name=name)

    def rest(self, seconds: float) -> None:
        self.clock.pass_time(seconds)

    def close(self) -> None:
        pass
