"""``begin``: after power-on nothing but the voice, or one key, resumes or begins an inspection.

choosing.py leads the talk; this file knows what there is to choose: files, earlier inspections,
what is due.
"""

from __future__ import annotations

import re
import threading
import unicodedata
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from voicecheck.audio.microphone import Microphone
from voicecheck.checklist.load import load_vehicle
from voicecheck.checklist.order import Order
from voicecheck.errors import NoMicrophone, VoicecheckError
from voicecheck.limits.table import JURISDICTIONS
from voicecheck.reply.grammar import Expect
from voicecheck.run import choosing, start
from voicecheck.run.choosing import Choice, Choosing, KeyPressed, Offer
from voicecheck.run.clock import DeviceClock
from voicecheck.run.due import Due, due
from voicecheck.run.library import compile_sources, find, load_sources, names, read_text
from voicecheck.run.live import LiveWorld
from voicecheck.run.loop import before
from voicecheck.run.opening import Setting, fits
from voicecheck.run.past import SHIFT, SPOKEN_BY_PEOPLE, Past, all_past, folded, moment
from voicecheck.session import sentences as say

# What recognisers know under another name.
EVERYDAY = {"reefer": "refrigerated", "flatbed": "flat bed", "tridem": "tri axle"}
DUE = {
    "stop": "a stop that is not released",
    "cargo check": "the check of the cargo",
    "trip report": "the trip inspection",
    "paper": "a paper",
    "unreadable": "an inspection that cannot be read",
}
LOOK_AGAIN_S = 3.0


@dataclass(frozen=True)
class Wish:
    """What settings and command line give before the first word. ``own``: the user's folder."""

    choice: Choice
    setting: Setting
    own: Path | None = None


def begin(wish: Wish, wanted: start.Wanted) -> start.Result | None:
    """Wait for the voice or the key, then run what was chosen. None: interrupted before.

    Nothing is written before the inspection opens.
    """
    if wanted.source == "microphone":
        _until_there(wanted)
    gear = start.equip(wanted)
    try:
        offer, unfinished = offered(wish, wanted.parent, gear.clock.now().wall)
        talk = Choosing(offer)
        if isinstance(gear.world, LiveWorld):
            _watch_key(wanted.lines, gear.world, talk)
        before(talk, gear.world, wanted.board.told if wanted.board else None)
        if talk.outcome == "resume" and unfinished is not None:
            return start.resume(unfinished, wanted, gear)
        if talk.outcome == "begin":
            chosen = talk.choice
            setting = replace(wish.setting, season=chosen.season, jurisdiction=chosen.jurisdiction)
            sources = load_sources(chosen.list, chosen.vehicle, wish.own)
            return start.start(sources, setting, wanted, gear)
        return None
    finally:
        gear.world.close()


def _until_there(wanted: start.Wanted) -> None:
    """A headset may be switched on after the computer is."""
    microphone = Microphone(wanted.microphone or None)
    clock = DeviceClock()
    told = False
    while True:
        try:
            microphone.start()
            break
        except NoMicrophone as error:
            if not told:
                wanted.write(f"({error} Waiting for it.)")
                told = True
        clock.pass_time(LOOK_AGAIN_S)
        if microphone.reopen():
            break
    microphone.stop()


def _watch_key(lines: Iterable[str], world: LiveWorld, talk: Choosing) -> None:
    def watch() -> None:
        for _ in lines:
            if talk.over:
                return
            world.tell(KeyPressed(at=world.clock.now()))

    threading.Thread(target=watch, daemon=True, name="key").start()


# -- what there is to choose ---------------------------------------------------------------------


def offered(wish: Wish, parent: Path, now: str) -> tuple[Offer, Path | None]:
    """The offer, and the folder of the inspection that it offers to resume."""
    past, unreadable = all_past(parent)
    open_one = _unfinished(past, now)
    offer = choices(wish.choice, wish.own, wish.setting.order)
    return (
        replace(
            offer,
            unfinished=_named(open_one) if open_one else "",
            due=due_sentence(due(past, unreadable, now)),
        ),
        parent / open_one.folder if open_one else None,
    )


def choices(choice: Choice, own: Path | None = None, order: Order | None = None) -> Offer:
    """What can be chosen, without regard to earlier inspections."""
    homes = {}
    for name in dict.fromkeys((choice.vehicle, *names("vehicles", own))):
        file = find(name, "vehicles", own)
        homes[name] = load_vehicle(read_text(file), str(file)).jurisdiction
    lists = [*([choice.list] if choice.list else []), *names("checklists", own)]

    def why_not(chosen: Choice) -> str:
        try:
            _, vehicle = compile_sources(
                load_sources(chosen.list, chosen.vehicle, own),
                season=chosen.season,
                jurisdiction=chosen.jurisdiction,
                order=order.rest() if order else (),
            )
            fits(order, vehicle)
        except VoicecheckError as error:
            return error.what[:1].upper() + error.what[1:].rstrip(".") + "."
        return ""

    return Offer(
        lists={spoken(name): name for name in lists},
        vehicles={spoken(name): name for name in homes},
        jurisdictions={
            spoken(re.split("[,(]", text)[0]): code for code, text in JURISDICTIONS.items()
        },
        homes=homes,
        choice=choice,
        why_not=why_not,
    )


def spoken(name: str) -> str:
    """The words for a file or a name: letters only, and what recognisers know."""
    stem = Path(name).stem if name.endswith((".yaml", ".yml")) else name
    plain = unicodedata.normalize("NFD", stem).encode("ascii", "ignore").decode().lower()
    return " ".join(EVERYDAY.get(word, word) for word in re.findall("[a-z]+", plain))


def expectations(offer: Offer) -> Iterator[Expect]:
    """Everything that may be said before an inspection, for lint and doctor."""
    for ask in choosing.Ask:
        yield choosing.expect(offer, ask)


def _unfinished(past: Sequence[Past], now: str) -> Past | None:
    """The latest that may still be resumed."""
    at = moment(now)
    fresh = [
        p
        for p in past
        if p.finished is None
        and p.whole
        and p.opened.operating == "inspection"
        and p.opened.source in SPOKEN_BY_PEOPLE
        and (last := moment(p.records[-1].at.wall)) is not None
        and at is not None
        and at - last <= SHIFT
    ]
    return max(fresh, key=lambda p: p.records[-1].at.wall, default=None)


def _named(past: Past) -> str:
    state = folded(past.compiled, past.records)
    name = spoken(past.compiled.id)
    return f"{name} at: {past.compiled.step(state.step).item.lower()}" if state.step else name


def due_sentence(found: Iterable[Due]) -> str:
    """What is overdue, and stops, in one sentence; "" when there is nothing."""
    now = [
        x.what for x in found if x.what in DUE and (x.overdue or x.what in ("stop", "unreadable"))
    ]
    return say.now_due([DUE[what] for what in dict.fromkeys(now)]) if now else ""
