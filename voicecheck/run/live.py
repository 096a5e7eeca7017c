"""The world of ``run --microphone``: a real microphone, a real loudspeaker, real time.

By default the ear is closed while the program speaks, so that an open-air loudspeaker can never
answer for the driver. With a headset (``headset=True``) a reply may begin during a prompt that may
be interrupted, and stops it; never during a hold.
"""

from __future__ import annotations

import queue
from collections import deque
from collections.abc import Callable

from voicecheck.audio.microphone import Microphone
from voicecheck.audio.ports import RATE, NotHeard, Speaker, Voice
from voicecheck.errors import MicrophoneStalled, VoicecheckError
from voicecheck.run.clock import Clock
from voicecheck.run.hearing import Hearing
from voicecheck.run.speaking import Prompts
from voicecheck.session import actions as a
from voicecheck.session import events as e

REOPEN_S = 1.0
SOUND_LATE_S = 4.0  # longer than its length by this, and a sound is taken for lost
SOUND_TRIES = 3


class LiveWorld:
    def __init__(
        self,
        microphone: Microphone,
        speaker: Speaker | None,
        voice: Voice | None,
        hearing: Hearing,
        clock: Clock,
        write: Callable[[str], None],
        headset: bool = False,
    ) -> None:
        self.clock = clock
        self._microphone = microphone
        self._speaker = speaker
        self._prompts = Prompts(voice, write)
        self._hearing = hearing
        self._write = write
        self._headset = headset
        self._queue: deque[a.Say | a.Tone] = deque()
        self._playing: a.Say | a.Tone | None = None
        self._ended: queue.Queue[int] = queue.Queue()
        self._serial = 0
        self._late = 0  # monotonic ms at which the present sound is taken for lost
        self._tries = 0
        self._wanted: a.Action | None = None  # what the ear shall do once it may
        self._open = False
        self._events: deque[e.Event] = deque()
        self._timers: dict[str, int] = {}
        self._lost = False
        self._muted = False  # exact zeros: a headset that is off or out of range
        self._turn_over = False
        microphone.start()

    # -- what the loop asks for ----------------------------------------------------------------

    def perform(self, action: a.Action) -> None:
        if self._turn_over:  # a new turn: sentences of the turn before are out of date
            self._turn_over = False
            self._drop_old()
        match action:
            case a.Say() | a.Tone():
                if isinstance(action, a.Say):
                    self._write(f"  {action.text}")
                self._queue.append(action)
            case a.StartTimer(name=name, seconds=seconds):
                self._timers[name] = self.clock.now().mono + round(seconds * 1000)
            case a.Listen() | a.ListenMemo() | a.Deafen():
                if isinstance(action, a.Listen):
                    self._timers.clear()
                self._wanted = action
                self._open = False
                self._hearing.obey(a.Deafen())

    def next_event(self) -> e.Event:
        self._turn_over = True
        while True:
            self._step_sound()
            if self._events:
                return self._events.popleft()
            self._open_ear()
            due = self._due()
            if due:
                return e.TimerElapsed(at=self.clock.now(), name=due)
            heard = self._listen()
            if heard is not None:
                return heard

    def tell(self, event: e.Event) -> None:
        """Something that happened elsewhere; may be called on any thread."""
        self._events.append(event)

    def rest(self, seconds: float) -> None:
        until = self.clock.now().mono + seconds * 1000
        while self.clock.now().mono < until:
            self._step_sound()
            self.clock.pass_time(0.05)

    def close(self) -> None:
        until = self.clock.now().mono + 60_000
        while (self._queue or self._playing) and self.clock.now().mono < until:
            self._step_sound()
            self.clock.pass_time(0.02)
        if self._speaker is not None:
            self._speaker.stop()
        self._microphone.stop()

    # -- speaking ------------------------------------------------------------------------------

    def _drop_old(self) -> None:
        self._queue = deque(s for s in self._queue if isinstance(s, a.Say) and not s.interruptible)
        if isinstance(self._playing, a.Say) and self._playing.interruptible:
            self._stop_playing()

    def _stop_playing(self) -> None:
        self._serial += 1
        self._playing = None
        if self._speaker is not None:
            self._speaker.stop()

    def _step_sound(self) -> None:
        while not self._ended.empty():
            if self._ended.get() == self._serial and self._playing is not None:
                self._end_of_sound(self._playing)
        if self._playing is not None and self.clock.now().mono > self._late:
            self._lost_sound(self._playing)
        if self._playing is None and self._queue:
            self._start(self._queue.popleft())

    def _lost_sound(self, sound: a.Say | a.Tone) -> None:
        """The loudspeaker did not play it to its end: what nobody heard is said again.

        A tone or a question is given up after some tries; a hold never counts as spoken.
        """
        self._stop_playing()
        self._tries += 1
        holds = isinstance(sound, a.Say) and not sound.interruptible
        if self._tries < SOUND_TRIES or holds:
            self._queue.appendleft(sound)
        else:
            self._write("(The loudspeaker does not play. See to it.)")
            self._tries = 0

    def _end_of_sound(self, sound: a.Say | a.Tone) -> None:
        self._playing = None
        self._tries = 0
        if isinstance(sound, a.Say) and not sound.interruptible:
            self._events.append(e.PromptEnded(at=self.clock.now(), name=sound.name))

    def _start(self, sound: a.Say | a.Tone) -> None:
        self._playing = sound
        samples = self._prompts.sound(sound)
        if not samples or self._speaker is None:
            self._end_of_sound(sound)
            return
        self._serial += 1
        serial = self._serial
        length = len(samples) / 2 / RATE
        self._late = self.clock.now().mono + round((length + SOUND_LATE_S) * 1000)
        try:
            self._speaker.play(samples, lambda: self._ended.put(serial))
        except VoicecheckError as error:
            self._write(f"({error})")
            if self._tries < SOUND_TRIES:  # tried again when it is late
                return
            self._end_of_sound(sound)  # no loudspeaker at all: it stands in print

    # -- hearing -------------------------------------------------------------------------------

    def _open_ear(self) -> None:
        if self._wanted is None or self._open:
            return
        sounding = [*([self._playing] if self._playing else []), *self._queue]
        may = all(isinstance(s, a.Say) and s.interruptible for s in sounding)
        if not sounding or (self._headset and may):
            self._open = True
            self._hearing.obey(self._wanted)

    def _due(self) -> str:
        now = self.clock.now().mono
        for name, at in sorted(self._timers.items(), key=lambda item: item[1]):
            if at <= now and (name == "timing" or not self._hearing.ear.speaking):
                del self._timers[name]
                return name
        return ""

    def _listen(self) -> e.Event | None:
        if self._lost:
            self.clock.pass_time(REOPEN_S)
            if self._microphone.reopen():
                self._lost = False
                return e.MicrophoneBack(at=self.clock.now())
            return None
        try:
            block = self._microphone.read(0.05)
        except MicrophoneStalled:
            self._lost = True
            return e.MicrophoneLost(at=self.clock.now())
        if block is None:
            return None
        result = self._hearing.ear.feed(block)
        playing = self._playing
        if self._hearing.ear.speaking and isinstance(playing, a.Say) and playing.interruptible:
            self._stop_playing()
            self._queue.clear()
        if self._muted:
            if any(block):
                self._muted = False
                return e.MicrophoneBack(at=self.clock.now())
            return None
        if result is None:
            return None
        if isinstance(result, NotHeard) and result.why == "muted":
            self._muted = True
            return e.MicrophoneLost(at=self.clock.now())
        event = self._hearing.event(result, self.clock.now())
        if isinstance(event, e.ReplyHeard):
            self._write(f"> {event.words}")
        return event
