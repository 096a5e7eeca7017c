"""The world of ``run --microphone``: a real microphone, a real loudspeaker, real time.

Rules:

1. By default the ear is closed while the program speaks, so that an open-air loudspeaker can never
   answer for the driver. With a headset (``headset=True``) a reply may begin during a prompt that
   may be interrupted, and stops it; never during a hold. When the program's own voice comes back
   through the microphone it is no headset, and is not treated as one any more. The first sign of a
   reply mutes the prompt: several blocks of another voice, or, once ``UNHEARD_BLOCKS`` of the
   prompt were played without the detector taking anything for speech, a single block. Where no
   speech follows, it goes on from a pause before, so that no word is lost. It is muted ``MUTES``
   times at most; then only speech stops it.
2. What was said before a question was open is no answer to it, also where the program fell behind:
   the sound that came meanwhile is gone through before the ear opens.
3. A sentence counts as spoken when the loudspeaker played it to its end. After ``SOUND_TRIES``
   that failed the session is told, which holds; one sentence that was played says that it is back.
4. A microphone is back when sound comes from it, not when it could be opened, and not while the
   program speaks: its own words may be all that is heard.
5. What the program says of faults, and the make-safe sentences, are made ready at the start: a
   synthesiser that fails cannot take them away.
6. A gap in which nobody was listened to (the device slept) is a resume.
"""

from __future__ import annotations

import queue
from collections import deque
from collections.abc import Callable, Iterable

from voicecheck.audio.echo import OWN_VOICE, another_voice, likeness
from voicecheck.audio.microphone import Microphone
from voicecheck.audio.pauses import pause_before
from voicecheck.audio.ports import RATE, Heard, Memo, NotHeard, Speaker, Voice
from voicecheck.audio.tones import tone
from voicecheck.errors import MicrophoneStalled, NoSynthesiser, VoicecheckError
from voicecheck.run.clock import ASLEEP_S, Clock
from voicecheck.run.hearing import Hearing
from voicecheck.session import actions as a
from voicecheck.session import events as e

REOPEN_S = 1.0
SOUND_LATE_S = 4.0  # longer than its length by this, and a sound is taken for lost
SOUND_AGAIN_S = 0.5  # after one that could not be played
SOUND_TRIES = 3
PROBE_S = 5.0  # between tries to be heard again
BACK_BLOCKS = 8  # with sound, in a row (0.26 s), and the microphone is back
TAIL_S = 0.5  # for so long after the program's own sound the microphone may hear it
KNOWN_S = 0.288  # length of speech that is known for the program's own
LAG_S = 0.6  # at most between playing a sound and hearing it
MUTES = 2  # of one prompt
MUTED_BLOCKS = 6  # without a sign of speech, and a muted prompt goes on (0.19 s)
UNHEARD_BLOCKS = 24  # of a prompt (0.77 s): an echo that can be taken for speech shows by then
MUTED_S = 1.0  # so long it waits for blocks, where none come


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
        self._speaker = speaker if voice is not None else None
        self._voice = voice
        self._hearing = hearing
        self._write = write
        self._headset = headset
        self._ready: dict[str, bytes] = {}
        self._queue: deque[a.Say | a.Tone] = deque()
        self._playing: a.Say | a.Tone | None = None
        self._samples_played = b""  # of the last sound that was begun
        self._began = 0  # steady ms at which it was
        self._cut_off = False  # the speech going on stopped a prompt
        self._muted: a.Say | None = None  # what a mere sign of speech stopped
        self._muted_at = 0  # steady ms at which it did
        self._mutes = 0  # of this prompt
        self._unspoken = 0  # blocks since then without a sign
        self._unheard_blocks = 0  # of this prompt, since one may have been speech
        self._ended: queue.Queue[int] = queue.Queue()
        self._serial = 0
        self._late = 0  # steady ms at which the present sound is taken for lost
        self._quiet_from = 0  # steady ms at which the last sound ended
        self._tries = 0
        self._not_before = 0  # steady ms before which no sound is begun
        self._unheard = ""  # what keeps the driver from hearing: loudspeaker | synthesiser
        self._unsaid = ""  # the text that the synthesiser failed at
        self._probe_at = 0  # steady ms at which it is tried with that again
        self._wanted: a.Action | None = None  # what the ear shall do once it may
        self._open = False
        self._events: deque[e.Event] = deque()
        self._timers: dict[str, int] = {}
        self._unhearing = False  # the microphone stopped, or gives exact zeros
        self._sounding = 0  # blocks with sound in a row since then
        self._reopen_at = 0
        self._told = ""  # what the session was told is lost
        self._turn_over = False
        microphone.start()
        self._awake = clock.now().mono

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
                self._timers[name] = self._now() + round(seconds * 1000)
            case a.Listen() | a.ListenMemo() | a.Deafen():
                if isinstance(action, a.Listen):
                    self._timers.clear()
                self._wanted = action
                self._open = False
                self._hearing.obey(a.Deafen())

    def next_event(self) -> e.Event:
        self._turn_over = True
        while True:
            slept = self._slept()
            if slept is not None:
                return slept
            self._step_sound()
            if self._events:
                return self._events.popleft()
            change = self._lost_or_back()
            if change is not None:
                return change
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

    def make_ready(self, texts: Iterable[str]) -> None:
        """An inspection begins: these sentences are to be heard whatever fails later.

        What is lost already is told again, to its session. Raises NoSynthesiser.
        """
        if self._voice is not None:
            self._ready = {text: self._voice.render(text) for text in texts}
        self._told = ""
        self._awake = self._now()

    def rest(self, seconds: float) -> None:
        until = self._now() + seconds * 1000
        while self._now() < until:
            self._step_sound()
            self.clock.pass_time(0.05)
            self._awake = self._now()

    def close(self) -> None:
        until = self._now() + 60_000
        while self._sounding_now() and self._now() < until and not self._unheard:
            self._step_sound()
            self.clock.pass_time(0.02)
        if self._speaker is not None:
            self._speaker.stop()
        self._microphone.stop()

    def _now(self) -> int:
        return self.clock.now().mono

    def _slept(self) -> e.Event | None:
        """Nobody was listened to for long: the device slept, or was kept from working."""
        before, self._awake = self._awake, self._now()
        gap = (self._awake - before) // 1000
        if gap < ASLEEP_S:
            return None
        self._stop_playing()
        self._queue.clear()
        self._events = deque(x for x in self._events if not isinstance(x, e.PromptEnded))
        self._told = ""  # what is lost still is told after the resume
        return e.Resumed(at=self.clock.now(), gap_s=gap)

    def _lost_or_back(self) -> e.Event | None:
        """What the session must be told of the devices; the first loss stands for the others."""
        lost = "microphone" if self._unhearing else self._unheard
        if lost and not self._told:
            self._told = lost
            if lost == "microphone":
                return e.MicrophoneLost(at=self.clock.now())
            return e.SpeechLost(at=self.clock.now(), what=lost)
        if self._told and not lost:
            what, self._told = self._told, ""
            if what == "microphone":
                return e.MicrophoneBack(at=self.clock.now())
            return e.SpeechBack(at=self.clock.now(), what=what)
        return None

    # -- speaking ------------------------------------------------------------------------------

    def _drop_old(self) -> None:
        self._muted = None
        self._queue = deque(s for s in self._queue if isinstance(s, a.Say) and not s.interruptible)
        if isinstance(self._playing, a.Say) and self._playing.interruptible:
            self._stop_playing()

    def _stop_playing(self) -> None:
        self._serial += 1
        if self._playing is not None:
            self._quiet_from = self._now()
        self._playing = self._muted = None
        if self._speaker is not None:
            self._speaker.stop()

    def _step_sound(self) -> None:
        while not self._ended.empty():
            if self._ended.get() == self._serial and self._playing is not None:
                self._end_of_sound(self._playing)
        now = self._now()
        if self._speaker is not None and self._playing is not None:
            failed, self._speaker.failure = self._speaker.failure, None
            if failed is not None or now > self._late:
                self._not_played(self._playing, "loudspeaker")
        if self._unheard == "synthesiser" and now >= self._probe_at:
            self._try_to_speak()
        if self._unheard == "loudspeaker" and not self._queue and self._playing is None:
            self._queue.append(a.Tone("hold"))  # something must be played to know that it is back
        if self._muted is not None:
            if now > self._muted_at + MUTED_S * 1000:
                self._go_on()
        elif self._playing is None and self._queue and now >= self._not_before:
            self._mutes = self._unheard_blocks = 0
            self._start(self._queue.popleft())

    def _start(self, sound: a.Say | a.Tone, first: int = 0) -> None:
        """Play it, from its sample ``first`` on."""
        if self._speaker is None or (isinstance(sound, a.Say) and not sound.text.strip()):
            self._end_of_sound(sound)  # in print only
            return
        self._playing = sound
        self._serial += 1
        serial = self._serial
        try:
            samples = self._samples(sound)
            self._samples_played = samples
            self._began = self._now() - round(first / RATE * 1000)
            self._late = self._began + round((len(samples) / 2 / RATE + SOUND_LATE_S) * 1000)
            self._speaker.play(samples[2 * first :], lambda: self._ended.put(serial))
        except VoicecheckError as error:
            self._write(f"({error})")
            failed = isinstance(error, NoSynthesiser)
            self._not_played(sound, "synthesiser" if failed else "loudspeaker")

    def _mute(self, sound: a.Say) -> None:
        self._stop_playing()
        self._muted, self._muted_at = sound, self._now()
        self._mutes += 1
        self._unspoken = self._unheard_blocks = 0

    def _go_on(self) -> None:
        sound, self._muted = self._muted, None
        assert sound is not None
        # not more than this was given to the loudspeaker; less of it came out
        place = round((self._muted_at - self._began) / 1000 * RATE)
        self._start(sound, pause_before(self._samples_played, place))

    def _sounding_now(self) -> list[a.Say | a.Tone]:
        now = self._playing or self._muted
        return [*([now] if now else []), *self._queue]

    def _samples(self, sound: a.Say | a.Tone) -> bytes:
        if isinstance(sound, a.Tone):
            return tone(sound.name)
        assert self._voice is not None
        return self._ready.get(sound.text) or self._voice.render(sound.text)

    def _not_played(self, sound: a.Say | a.Tone, what: str) -> None:
        """It was not heard to its end: said again, and after some tries the session is told."""
        self._stop_playing()
        if self._unheard == "synthesiser" and what == "synthesiser":
            return  # it is not ready and cannot be made: it stands in print
        self._queue.appendleft(sound)
        self._tries += 1
        self._not_before = self._now() + round(SOUND_AGAIN_S * 1000)
        if self._tries < SOUND_TRIES:
            return
        if not self._unheard:
            self._unheard = what
            self._write(f"(The {what} fails. See to it.)")
            if not self._told:
                self._queue.clear()  # the session is told, and says what is to be said now
        elif not self._microphone.renew():  # a loudspeaker plugged in now is found after this
            self._lose_microphone()
        if what == "synthesiser":
            assert isinstance(sound, a.Say)
            self._unsaid = sound.text
            self._probe_at = self._now() + round(PROBE_S * 1000)
        else:
            self._not_before = self._now() + round(PROBE_S * 1000)

    def _try_to_speak(self) -> None:
        assert self._voice is not None
        try:
            self._voice.render(self._unsaid)
        except NoSynthesiser:
            self._probe_at = self._now() + round(PROBE_S * 1000)
        else:
            self._unheard = ""
            self._tries = 0

    def _end_of_sound(self, sound: a.Say | a.Tone) -> None:
        self._playing = None
        self._quiet_from = self._now()
        self._tries = 0
        if self._unheard == "loudspeaker":
            self._unheard = ""
        if isinstance(sound, a.Say) and not sound.interruptible:
            self._events.append(e.PromptEnded(at=self.clock.now(), name=sound.name))

    # -- hearing -------------------------------------------------------------------------------

    def _open_ear(self) -> None:
        if self._wanted is None or self._open:
            return
        sounding = self._sounding_now()
        may = all(isinstance(s, a.Say) and s.interruptible for s in sounding)
        if not sounding or (self._headset and may):
            while not self._unhearing and (block := self._block(0.0)) is not None:
                self._feed(block)
            self._open = True
            self._hearing.obey(self._wanted)

    def _due(self) -> str:
        now = self._now()
        for name, at in sorted(self._timers.items(), key=lambda item: item[1]):
            if at <= now and (name == "timing" or not self._hearing.ear.speaking):
                del self._timers[name]
                return name
        return ""

    def _listen(self) -> e.Event | None:
        if self._unhearing:
            self._hear_back()
            return None
        block = self._block(0.05)
        if block is None:
            return None
        result = self._feed(block)
        if self._interrupted():
            self._no_headset()
            return None
        if result is None:
            return None
        if self._cut_off:
            self._cut_off = False
            if isinstance(result, Heard) and self._likeness(result.utterance.samples) >= OWN_VOICE:
                self._no_headset()
                return e.SoundRefused(at=self.clock.now(), why="fragment")
        event = self._hearing.event(result, self.clock.now())
        if isinstance(event, e.ReplyHeard):
            self._write(f"> {event.words}")
        return event

    def _interrupted(self) -> bool:
        """Stop a prompt that somebody speaks into. True: what is heard is the prompt itself."""
        ear, sound = self._hearing.ear, self._muted or self._playing
        if not isinstance(sound, a.Say) or not sound.interruptible:
            return False
        if self._muted is not None:
            self._follow_mute()
            return False
        heard = ear.stirring
        if not ear.glimpse:
            self._unheard_blocks += 1
        elif self._mutes < MUTES and self._unheard_blocks >= UNHEARD_BLOCKS:
            self._mute(sound)
            return False
        else:
            self._unheard_blocks = 0  # what was it? several blocks tell
        if not heard or (not ear.speaking and self._mutes >= MUTES):
            return False
        alike, length = self._likeness(heard), len(heard) / 2 / RATE
        if alike >= another_voice(length) and length < KNOWN_S:
            return False  # a longer stretch tells
        if alike >= OWN_VOICE:
            return ear.speaking
        if ear.speaking:
            self._stop_for_reply()
        else:
            self._mute(sound)
        return False

    def _follow_mute(self) -> None:
        """One more block since the prompt was muted: it is stopped, or goes on."""
        ear = self._hearing.ear
        self._unspoken = 0 if ear.glimpse else self._unspoken + 1
        if ear.speaking:
            self._stop_for_reply()
        elif self._unspoken >= MUTED_BLOCKS:
            self._go_on()

    def _stop_for_reply(self) -> None:
        self._cut_off = True
        self._stop_playing()
        self._queue.clear()

    def _likeness(self, heard: bytes) -> float:
        """To what was played around the time that it was heard."""
        now = (self._now() - self._began) / 1000
        first = max(0.0, now - len(heard) / 2 / RATE - LAG_S)
        played = self._samples_played[2 * round(first * RATE) : 2 * round((now + LAG_S) * RATE)]
        return likeness(heard, played)

    def _no_headset(self) -> None:
        self._write("(The microphone hears the loudspeaker: replies count after each prompt.)")
        self._headset = False
        self._open = False
        self._hearing.obey(a.Deafen())

    def _block(self, timeout: float) -> bytes | None:
        try:
            return self._microphone.read(timeout)
        except MicrophoneStalled as error:
            if not self._unhearing:
                self._write(f"({error})")
            self._lose_microphone()
            return None

    def _feed(self, block: bytes) -> Heard | NotHeard | Memo | None:
        result = self._hearing.feed(block)
        if isinstance(result, NotHeard) and result.why == "muted":
            self._lose_microphone()
            return None
        return result

    def _lose_microphone(self) -> None:
        self._unhearing, self._sounding = True, 0

    def _hear_back(self) -> None:
        """Wait for sound that is not the program's own; open the microphone again where it closed.

        Opening may begin the sound system anew, which cuts off what is being played: only in quiet.
        """
        quiet = not self._playing and self._now() - self._quiet_from > TAIL_S * 1000
        if not self._microphone.recording:
            self.clock.pass_time(0.05)
            if quiet and not self._queue and self._now() >= self._reopen_at:
                self._reopen_at = self._now() + round(REOPEN_S * 1000)
                self._microphone.reopen()
            return
        block = self._block(0.05)
        if block is None or not quiet:
            return
        self._sounding = self._sounding + 1 if any(block) else 0
        if self._sounding >= BACK_BLOCKS:
            self._unhearing = False
