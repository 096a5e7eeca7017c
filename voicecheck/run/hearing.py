"""From what the ear gives to the session's events, with the sound kept as evidence."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from voicecheck.audio.ear import Ear
from voicecheck.audio.evidence import Evidence
from voicecheck.audio.ports import RATE, Heard, Hypothesis, Memo, NotHeard, Recogniser, Utterance
from voicecheck.errors import JournalNotWritable, RecogniserFailed, VoicecheckError
from voicecheck.reply.grammar import vocabulary
from voicecheck.session import actions as a
from voicecheck.session import events as e
from voicecheck.session.records import Stamp

MOST_FAILURES = 3  # of the recogniser without one reply between


class Hearing:
    """An ear that keeps every reply in the inspection's folder before it is passed on.

    Before there is a folder nothing is kept. A recogniser that fails is made anew by ``make``; what
    was being said is lost and asked for again. RecogniserFailed when that does not help, or there
    is no ``make``.
    """

    def __init__(
        self,
        ear: Ear,
        folder: Path | None = None,
        make: Callable[[], Recogniser] | None = None,
    ) -> None:
        self.ear = ear
        self._make = make
        self._failures = 0
        self._evidence: Evidence | None = None
        if folder is not None:
            self.keep_in(folder)

    def keep_in(self, folder: Path) -> None:
        """From here on the replies belong to the inspection in ``folder``."""
        self._evidence = Evidence(folder)
        self._count = sum(1 for _ in folder.glob("reply-*.flac"))

    def feed(self, block: bytes) -> Heard | NotHeard | Memo | None:
        """Give the ear its next block."""
        try:
            result = self.ear.feed(block)
        except VoicecheckError:
            raise
        except Exception as error:  # an engine raises anything
            self._make_anew(error)
            return NotHeard("engine", None, "")
        if isinstance(result, Heard):
            self._failures = 0
        return result

    def _make_anew(self, error: Exception) -> None:
        self._failures += 1
        why = f"The recogniser failed: {error!r}."
        if self._make is None or self._failures >= MOST_FAILURES:
            raise RecogniserFailed(why, "resume; if it fails again, try another engine") from error
        try:
            self.ear.replace(self._make())
        except Exception as again:
            how = "see what voicecheck doctor says of it, or try another engine"
            raise RecogniserFailed(f"{why} It cannot be made anew: {again}", how) from again

    def obey(self, action: a.Action) -> None:
        match action:
            case a.Listen(expect=expect, careful=careful):
                try:
                    self.ear.listen(vocabulary(expect), careful)
                except VoicecheckError:
                    raise
                except Exception as error:
                    self._make_anew(error)
                    self.ear.listen(vocabulary(expect), careful)
            case a.ListenMemo():
                self.ear.listen_memo()
            case a.Deafen():
                self.ear.deafen()

    def event(self, result: Heard | NotHeard | Memo, at: Stamp) -> e.Event:
        """The event for what was heard; its sound is on disk when this returns.

        A reply whose sound the disk does not take is no reply: it is asked for again.
        """
        try:
            return self._event(result, at)
        except JournalNotWritable:
            return e.SoundRefused(at=at, why="not kept")

    def _event(self, result: Heard | NotHeard | Memo, at: Stamp) -> e.Event:
        match result:
            case Heard(hypothesis=hypothesis, utterance=utterance, certainty=certainty):
                name, digest = self._keep(utterance.samples)
                return e.ReplyHeard(
                    at=at,
                    words=hypothesis.text,
                    certainty=certainty,
                    confidence=f"{hypothesis.confidence:.2f}",
                    snr_db="" if utterance.snr_db is None else f"{utterance.snr_db:.0f}",
                    evidence=name,
                    digest=digest,
                    ago_ms=self._ago_ms(hypothesis, utterance),
                )
            case Memo(utterance=utterance):
                name, digest = self._keep(utterance.samples)
                seconds = len(utterance.samples) / 2 / RATE
                return e.MemoHeard(at=at, evidence=name, digest=digest, seconds=f"{seconds:.1f}")
            case NotHeard(why=why, text=text, utterance=utterance):
                ms = round((utterance.end - utterance.start) * 1000) if utterance else 0
                return e.SoundRefused(at=at, why=why, words=text, ms=ms)

    def _ago_ms(self, hypothesis: Hypothesis, utterance: Utterance) -> int:
        """Milliseconds of sound since the first word began; 0 when the recogniser does not say."""
        if not hypothesis.words:
            return 0
        began = utterance.start + hypothesis.words[0].start
        return max(0, round((self.ear.time - began) * 1000))

    def _keep(self, samples: bytes) -> tuple[str, str]:
        if self._evidence is None:
            return "", ""
        self._count += 1
        return self._evidence.save(samples, self._count)
