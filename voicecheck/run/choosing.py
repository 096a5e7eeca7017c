"""The talk before an inspection: what is resumed or begun is chosen by voice, and nothing is kept.

The rules:

1. It is no part of the session: it gives no fact, answers no step and writes no record. The
   inspection begins with its own first record after the talk is over.
2. What may be said is a grammar of the reply table, as in an inspection, with the same ear and the
   same policy: what is heard in doubt is read back, unless it is harmless.
3. Nothing is begun before the whole choice has been said back and affirmed.
4. One key affirms whatever would be begun or resumed, and nothing else. It is an event that the
   session does not know, so that a press too many answers nothing.
5. A question is said twice at most unless somebody asks for it; then the ear stays open in silence.

Pure: events in, actions out.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum

from voicecheck.reply.grammar import Expect, Form, Refused, parse
from voicecheck.reply.phrases import command_forms
from voicecheck.session import actions as a
from voicecheck.session import events as e
from voicecheck.session import sentences as say
from voicecheck.session.replying import HARMLESS
from voicecheck.session.state import QUIET_S

SEASONS = ("summer", "winter")
PARTS = ("list", "vehicle", "jurisdiction", "season")
REFUSALS_SPOKEN = 2  # in a row; then it is a yard that talks, and nobody talks to the program


@dataclass(frozen=True, kw_only=True)
class KeyPressed(e.Event):
    """The one key."""


@dataclass(frozen=True)
class Choice:
    """What is begun: names of files, a code ("" for the vehicle's own), a season."""

    list: str = ""
    vehicle: str = ""
    jurisdiction: str = ""
    season: str = "summer"


@dataclass(frozen=True)
class Offer:
    """What can be chosen, spoken words to names, and what stands before the first word.

    ``homes``: vehicle to its jurisdiction. ``unfinished``: what can be resumed, in words; "" for
    nothing. ``due``: one sentence, or "". ``why_not`` says why a choice cannot be begun, or "".
    """

    lists: Mapping[str, str]
    vehicles: Mapping[str, str]
    jurisdictions: Mapping[str, str]
    homes: Mapping[str, str]
    choice: Choice
    unfinished: str = ""
    due: str = ""
    why_not: Callable[[Choice], str] = field(default=lambda choice: "")


class Ask(StrEnum):
    RESUME = "resume"
    CONFIRM = "confirm"
    LIST = "list"
    VEHICLE = "vehicle"
    JURISDICTION = "jurisdiction"
    SEASON = "season"


@dataclass(frozen=True)
class Row:
    """What a question takes, and where its "affirm" and "negative" lead; "" where they do not."""

    names: tuple[str, ...] = ()
    parts: bool = False
    affirm: str = ""  # the outcome of the talk
    negative: Ask | None = None


TABLE: Mapping[Ask, Row] = {
    Ask.RESUME: Row(names=("list",), affirm="resume", negative=Ask.LIST),
    Ask.CONFIRM: Row(parts=True, affirm="begin", negative=Ask.LIST),
    Ask.LIST: Row(names=("list",)),
    Ask.VEHICLE: Row(names=("vehicle",)),
    Ask.JURISDICTION: Row(names=("jurisdiction",)),
    Ask.SEASON: Row(names=("season",)),
}


class Choosing:
    """``outcome`` once ``over``: "resume", "begin" (``choice``), or "" when interrupted."""

    def __init__(self, offer: Offer) -> None:
        self.offer = offer
        self.choice = offer.choice
        self.over = False
        self.outcome = ""
        why = offer.why_not(offer.choice) if offer.choice.list else ""
        self._before = [x for x in (offer.due, why and say.cannot_begin(why)) if x]
        self._ask = (
            Ask.RESUME
            if offer.unfinished
            else Ask.CONFIRM
            if offer.choice.list and not why
            else Ask.LIST
        )
        self._doubted = ""  # meaning that waits for its read-back
        self._standing = False
        self._refusals = 0
        self._repeated = False

    # -- what is said --------------------------------------------------------------------------

    def opening(self) -> list[a.Action]:
        return self._asked(*self._before)

    def question(self) -> str:
        """The question that is open now."""
        offer, choice = self.offer, self.choice
        match self._ask:
            case Ask.RESUME:
                return say.resume_which(offer.unfinished)
            case Ask.CONFIRM:
                place = choice.jurisdiction or offer.homes[choice.vehicle]
                return say.begin_this(
                    _spoken(offer.lists, choice.list),
                    _spoken(offer.vehicles, choice.vehicle),
                    _spoken(offer.jurisdictions, place),
                    choice.season,
                )
            case Ask.LIST:
                return say.which_of("list", sorted(offer.lists))
            case Ask.VEHICLE:
                return say.which_of("vehicle", sorted(offer.vehicles))
            case Ask.JURISDICTION:
                return say.which_of("jurisdiction", sorted(offer.jurisdictions))
            case Ask.SEASON:
                return say.which_of("season", SEASONS)

    def expect(self) -> Expect:
        """What may be said now."""
        if self._standing:
            return Expect(command_forms(("go ahead",)))
        if self._doubted:
            return Expect(command_forms(("affirm", "negative", "say again", "stand by")))
        return expect(self.offer, self._ask)

    def _asked(self, *before: str) -> list[a.Action]:
        if self._standing:
            told = [say.STANDING_BY]
        elif self._doubted:
            told = [say.read_back(self._doubted.rpartition(":")[2])]
        else:
            told = [self.question()]
        quiet = [] if self._repeated or self._standing else [a.StartTimer("quiet", QUIET_S)]
        return [
            *(a.Say(text) for text in (*before, *told)),
            a.Tone("listening"),
            a.Listen(self.expect(), frozenset(("affirm",))),
            *quiet,
        ]

    # -- what is heard -------------------------------------------------------------------------

    def receive(self, event: e.Event) -> list[a.Action]:
        match event:
            case e.Interrupted():
                self.over = True
                return []
            case e.MicrophoneLost():
                return [a.Deafen(), a.Tone("hold"), a.Say(say.LOST["microphone"])]
            case e.SpeechLost(what=what):
                return [a.Deafen(), a.Tone("hold"), a.Say(say.LOST[what])]
            case e.MicrophoneBack():
                return self._asked(say.BACK["microphone"])
            case e.SpeechBack(what=what):
                return self._asked(say.BACK[what])
            case e.TimerElapsed():
                self._repeated = True
                return self._asked()
            case KeyPressed():
                return self._take("affirm")
            case e.SoundRefused(why=why):
                return self._refused(why)
            case e.ReplyHeard(words=words, certainty=certainty):
                return self._heard(words, certainty)
        return []

    def _heard(self, words: str, certainty: str) -> list[a.Action]:
        found = parse(self.expect(), words)
        if isinstance(found, Refused):
            return self._refused(found.why)
        self._refusals, self._repeated = 0, False
        if certainty == "doubtful" and found.meaning not in HARMLESS:
            self._doubted = f"{found.meaning}:{found.first}"
            return self._asked()
        return self._take(found.meaning)

    def _refused(self, why: str) -> list[a.Action]:
        self._refusals += 1
        if self._refusals > REFUSALS_SPOKEN:
            return []
        self._repeated = True
        return [a.Tone("not understood"), *self._asked(say.not_understood(why))]

    def _take(self, meaning: str) -> list[a.Action]:
        row = TABLE[self._ask]
        kind, _, name = meaning.partition(":")
        if meaning == "command:stand by":
            self._standing = True
        elif meaning == "command:go ahead":
            self._standing = False
        elif self._doubted and meaning in ("affirm", "negative"):
            doubted, self._doubted = self._doubted.rpartition(":")[0], ""
            return self._take(doubted) if meaning == "affirm" else self._asked()
        elif meaning == "affirm":
            return self._affirmed(row)
        elif meaning == "negative" and row.negative:
            self._ask = row.negative
        elif kind == "change":
            self._ask = Ask(name)
        elif kind in PARTS:
            return self._chosen(replace(self.choice, **{kind: name}))
        return self._asked()

    def _affirmed(self, row: Row) -> list[a.Action]:
        if not row.affirm or self._standing:  # the key, where nothing is to be affirmed
            return self._asked()
        self.over, self.outcome = True, row.affirm
        return [a.Tone("accepted")]

    def _chosen(self, choice: Choice) -> list[a.Action]:
        why = self.offer.why_not(choice) if choice.list else ""
        if why:
            return self._asked(say.cannot_begin(why))
        self.choice = choice
        self._ask = Ask.CONFIRM if choice.list else Ask.LIST
        return [a.Tone("accepted"), *self._asked()]


def expect(offer: Offer, ask: Ask) -> Expect:
    """What may be said to a question."""
    row = TABLE[ask]
    known = {
        "list": offer.lists,
        "vehicle": offer.vehicles,
        "jurisdiction": offer.jurisdictions,
        "season": {season: season for season in SEASONS},
    }
    forms = [
        Form(f"{kind}:{name}", (spoken,))
        for kind in row.names
        for spoken, name in known[kind].items()
    ]
    if row.parts:
        forms += [Form(f"change:{part}", (part, f"change {part}")) for part in PARTS]
    if row.affirm:
        forms += command_forms(("affirm", "negative"))
    return Expect((*forms, *command_forms(("say again", "stand by"))))


def _spoken(words: Mapping[str, str], name: str) -> str:
    return next((spoken for spoken, known in words.items() if known == name), name)
