"""What the voice costs in each checklist: replies, seconds of talk, wall time against silence.

``python -m tests.bench.walk [--checklist couple] [--jurisdiction US] [--season summer]``.
The walk is simulated, not measured on people: 1.2 m/s between places whose coordinates stand below
(an invented combination, 16 m trailer), the look times of the checklist or, where the driver works,
the work times below (estimates, no source), prompts spoken while walking where the step is at
another place. A reply takes 1.0 s to say, as long again for each further part that it answers in
one breath, and 0.4 s to be taken; with ``--read-back`` each is read back as well. A test that is
timed takes its time with or without the voice.

In "full" and "brief" the look begins when the question is over. "Known" is brief for somebody who
knows the walk and wears a headset: the look begins when the item is named, and the reply stops the
prompt; cautions and confirming questions are heard to their end all the same.
"""

from __future__ import annotations

import argparse
import math

from tests.checklists.walk import VEHICLE, Walk, compiled
from voicecheck.audio.ports import RATE
from voicecheck.audio.voice import SynthesiserVoice
from voicecheck.run.library import names

SPEED = 1.2  # m/s
REPLY_S, TAKEN_S, READ_BACK_S = 1.0, 0.4, 2.5
SAID_MORE_S = 1.0  # for each further part of a reply in one breath
# metres: x along the combination from the tractor's bumper, y across it (invented)
PLACES = {
    "cab": (2.0, -1.8), "tractor": (4.5, -1.8), "coupling": (5.5, -1.5), "nose": (6.0, -1.5),
    "legs": (8.5, -1.8), "near side": (12.0, -1.8), "rear": (20.5, 0.0), "far side": (12.0, 1.8),
    "front top": (5.5, 0.0), "yard": (3.0, -3.0), "front": (-1.0, 0.0), "engine": (0.5, -1.8),
    "tractor left": (4.0, -1.8), "tractor right": (4.0, 1.8), "under": (9.0, 0.0),
    "left side": (8.0, -1.8), "right side": (8.0, 1.8),
}  # fmt: skip
# the same behind a first trailer of 16 m, where the dolly and the second trailer stand (invented)
BEHIND = {
    "hook": (20.5, 0.0), "dolly": (22.0, -1.8), "nose": (23.5, -1.5), "legs": (26.0, -1.8),
    "near side": (30.0, -1.8), "rear": (38.5, 0.0), "cab": (2.0, -1.8), "yard": (21.0, -3.0),
}  # fmt: skip
WORK_S = {  # seconds of work, not of looking, by written id: estimates, no source
    "load": 30, "to the nose": 40, "back under": 45, "first pull": 12, "park": 10, "lines": 60,
    "charge": 60, "raise legs": 90, "chocks": 15, "people fourth": 15, "people": 15,
    "test one": 12, "test two": 12, "test three": 12, "test four": 15, "left tires": 15,
    "right tires": 15, "left tractor tires": 20, "right tractor tires": 20, "fifth wheel": 15,
    # trip inspection
    "engine bay": 60, "front axle": 30, "start": 20, "controls": 20, "view": 20,
    "view canada": 20, "seat": 20, "seat canada": 20, "signals": 30, "signals canada": 30,
    "cargo": 30, "ice": 120, "left side": 20, "right side": 20, "left tractor side": 20,
    "right tractor side": 20,
    # brake tests
    "chock": 60, "chocks away": 40, "cut-out": 60, "cut-in": 15, "made ready": 60, "stroke": 20,
    "charged": 60, "service line": 20, "supply line": 25, "lines again": 30, "released": 60,
    "low air": 20, "protection": 60, "compressor": 20, "wet tanks": 40,
}  # fmt: skip
CLOCKED_S = 40  # between two marks
NAMED_S = 1.5  # until the item is named (an estimate, no source)
CLIMB_S = 6.0  # in or out of the cab, three limbs in contact


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--checklist", default="", help="default: every one that is shipped")
    parser.add_argument("--jurisdiction", default="US")
    parser.add_argument("--season", default="summer")
    parser.add_argument("--read-back", action="store_true")
    given = parser.parse_args()
    chosen = [given.checklist] if given.checklist else names("checklists")
    with SynthesiserVoice() as voice:
        for name in chosen:
            vehicle = "doubles" if "dolly" in name else VEHICLE
            checklist = compiled(
                name, jurisdiction=given.jurisdiction, season=given.season, vehicle=vehicle
            )
            if unknown := {step.place for step in checklist.steps} - set(places_of(name)):
                print(f"{name}: not walked, no coordinates of {', '.join(sorted(unknown))}")
                continue
            for mode in ("full", "brief", "known"):
                where = f"{name}, {given.jurisdiction}, {given.season}, {mode}"
                walk = Walk(checklist, jurisdiction=given.jurisdiction)
                measure(where, walk, mode, given.read_back, voice)


def places_of(name: str) -> dict[str, tuple[float, float]]:
    return BEHIND if "dolly" in name else PLACES


def measure(where: str, walk: Walk, mode: str, read_back: bool, voice: SynthesiserVoice) -> None:
    if mode != "full":
        walk.reply("brief")
    silent = spoken = talk = 0.0
    replies, place, costs, asked = 0, "", [], ""
    checklist = walk.session.compiled
    places = places_of(checklist.id)
    while not walk.outcome:
        step = walk.step()
        prompt = [text for text in walk.said if text]
        seconds = sum(len(voice.render(text)) / 2 / RATE for text in prompt)
        costs.append((seconds, prompt[-1] if prompt else ""))
        way = work = 0.0
        if step.place != place:
            here, there = places[place or step.place], places[step.place]
            way = math.dist(here, there) / SPEED + CLIMB_S * ("cab" in (place, step.place))
            place = step.place
        if step.id != asked:  # a read-back or a second reading is no second look
            asked = step.id
            parts = [checklist.step(id) for id in walk.session.state.breath] or [step]
            work = float(sum(WORK_S.get(part.written, part.look_s) for part in parts))
        if walk.phase == "timing" and step.reading is not None:
            work += step.reading.seconds if step.kind == "timed" else CLOCKED_S
        says = walk.good()
        answers = says != "TIME"
        answer = (REPLY_S + TAKEN_S + (READ_BACK_S + REPLY_S if read_back else 0)) * answers
        silent += way + work
        # the look begins when the question is over and the driver is there
        heard = seconds
        if mode == "known" and not (step.confirm or step.caution):
            heard = min(seconds, NAMED_S)
        answer += SAID_MORE_S * max(0, len(walk.session.state.breath) - 1)
        talk += min(seconds, max(way, heard) + work) if mode == "known" else seconds
        spoken += max(way, heard) + work + answer
        replies += answers
        walk.reply(says)
    print(f"{where}: {replies} replies, {talk:.0f} s of talk, silent walk {silent:.0f} s, "
          f"with the voice {spoken:.0f} s, added {100 * (spoken / silent - 1):.0f} %")  # fmt: skip
    for seconds, text in sorted(costs, reverse=True)[:3]:
        print(f"   {seconds:4.1f} s  {text}")


if __name__ == "__main__":
    main()
