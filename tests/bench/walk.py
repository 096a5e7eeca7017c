"""What the voice costs in a coupling: replies, seconds of talk, wall time against a silent walk.

``python -m tests.bench.walk [--checklist couple]``. The walk is simulated, not measured on people:
1.2 m/s between places whose coordinates stand below (an invented combination, 16 m trailer), the
look times of the checklist or, where the driver works, the work times below (estimates, no
source), prompts spoken while walking where the step is at another place. A
reply takes 1.0 s to say and 0.4 s to be taken; with ``--read-back`` each is read back as well.
"""

from __future__ import annotations

import argparse
import math

from tests.checklists.walk import Walk, compiled
from voicecheck.audio.ports import RATE
from voicecheck.audio.voice import SynthesiserVoice

SPEED = 1.2  # m/s
REPLY_S, TAKEN_S, READ_BACK_S = 1.0, 0.4, 2.5
# metres: x along the combination from the tractor's bumper, y across it (invented)
PLACES = {
    "cab": (2.0, -1.8), "tractor": (4.5, -1.8), "coupling": (5.5, -1.5), "nose": (6.0, -1.5),
    "legs": (8.5, -1.8), "near side": (12.0, -1.8), "rear": (20.5, 0.0), "far side": (12.0, 1.8),
    "front top": (5.5, 0.0), "yard": (3.0, -3.0),
}  # fmt: skip
WORK_S = {  # seconds of work, not of looking: estimates, no source
    "load": 30, "to the nose": 40, "back under": 45, "first pull": 12, "park": 10, "lines": 60,
    "charge": 60, "raise legs": 90, "chocks": 15, "people fourth": 15, "test one": 12,
    "test two": 12, "test three": 12, "test four": 15, "left tires": 15, "right tires": 15,
    "fifth wheel": 15,
}  # fmt: skip
CLIMB_S = 6.0  # in or out of the cab, three limbs in contact


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--checklist", default="couple")
    parser.add_argument("--read-back", action="store_true")
    given = parser.parse_args()
    with SynthesiserVoice() as voice:
        for mode in ("full", "brief"):
            measure(given.checklist, mode, given.read_back, voice)


def measure(name: str, mode: str, read_back: bool, voice: SynthesiserVoice) -> None:
    walk = Walk(compiled(name))
    if mode == "brief":
        walk.reply("brief")
    silent = spoken = talk = 0.0
    replies, place, costs = 0, "", []
    while not walk.outcome:
        step = walk.step()
        prompt = [text for text in walk.said if text]
        seconds = sum(len(voice.render(text)) / 2 / RATE for text in prompt)
        talk += seconds
        costs.append((seconds, prompt[-1] if prompt else ""))
        way = 0.0
        if step.place != place:
            here, there = PLACES[place or step.place], PLACES[step.place]
            way = math.dist(here, there) / SPEED + CLIMB_S * ("cab" in (place, step.place))
            place = step.place
        answer = REPLY_S + TAKEN_S + (READ_BACK_S + REPLY_S if read_back else 0)
        work = WORK_S.get(step.id, step.look_s)
        silent += way + work
        # the look begins when the question is over and the driver is there
        spoken += max(way, seconds) + work + answer
        replies += 1
        walk.reply(walk.good())
    print(f"{name}, {mode}: {replies} replies, {talk:.0f} s of talk, silent walk {silent:.0f} s, "
          f"with the voice {spoken:.0f} s, added {100 * (spoken / silent - 1):.0f} %")  # fmt: skip
    for seconds, text in sorted(costs, reverse=True)[:5]:
        print(f"   {seconds:4.1f} s  {text}")


if __name__ == "__main__":
    main()
