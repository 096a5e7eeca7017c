"""The real command in a process of its own, and a person at the keyboard.

The person knows what to answer to which sentence, as in the yard: no answer depends on where the
program is, only on what it asked. HOME and the folder are temporary.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

ROOT = Path(__file__).parents[2]
LONGEST = 40

# A part of what is asked, and the answer when everything is in order. The first that fits counts.
IN_ORDER: Mapping[str, str] = {
    "I heard:": "affirm",
    "Spell the last four": "seven kilo four two",
    "Valid until which month": "december twenty thirty nine",
    "Closed and locked, or not": "closed and locked",
    "What holds the trailer": "spring brakes",
    "Down and firm, or not": "down and firm",
    "Fifth wheel. Bolts": "pass",
    "Open and ready, or not": "open and ready",
    "Straight and sound, or": "straight and sound",
    "or somebody near": "nobody near",
    "Say both out": "both out",
    "Slightly low, too high": "slightly low",
    "Say clear": "clear of the jaws",
    "Say locked": "locked",
    "Pull gently against": "held",
    "Say engine off": "engine off",
    "see closed, and round what": "closed round the shank",
    "hold which part": "they hold the shank",
    "Release handle and latch. Where": "in and latched",
    "Is the handle all in": "handle in latch over",
    "Is there a gap": "no gap",
    "Upper and lower plate": "plates together",
    "Still down, or up": "still down",
    "Gladhand seals": "whole",
    "Red to supply": "joined not crossed",
    "Clear, or rubbing": "pass",
    "Does the gauge come back": "back to normal",
    "No leak, or a leak": "no leak",
    "or which is out": "all good",
    "Pads all the way up": "all the way up",
    "Stowed, or loose": "stowed",
    "Away, or still there": "chocks away",
    "Seat belt. On": "belt on",
    "Yellow in. Red": "red out",
    "Yellow out. Red": "red in",
    "Gentle pull. Held": "held",
    "Roll a few feet": "held",
    "Say affirm, or negative": "affirm",
}


def environment(home: Path) -> dict[str, str]:
    """Nothing of the machine's settings; the checkout's own package."""
    kept = {k: v for k, v in os.environ.items() if k in ("PATH", "LANG", "SYSTEMROOT", "TMPDIR")}
    return {**kept, "HOME": str(home), "XDG_CONFIG_HOME": str(home / "config"),
            "XDG_CACHE_HOME": str(home / "cache"), "PYTHONPATH": str(ROOT),
            "PYTHONUNBUFFERED": "1"}  # fmt: skip


def command(
    folder: Path, *words: str, said: str = "", timeout: float = LONGEST
) -> subprocess.CompletedProcess[str]:
    """Run one command to its end in ``folder`` with ``said`` as its input."""
    return subprocess.run(
        [sys.executable, "-m", "voicecheck.cli", *words],
        cwd=folder,
        env=environment(folder),
        input=said,
        capture_output=True,
        text=True,
        timeout=timeout,
    )


@dataclass
class Talk:
    """What was printed and answered. ``killed``: at the sentence that was waited for."""

    lines: list[str] = field(default_factory=list)
    said: list[tuple[str, str]] = field(default_factory=list)
    status: int = -1
    errors: str = ""

    @property
    def text(self) -> str:
        return "\n".join(self.lines)

    def asked(self, part: str) -> int:
        """How often a sentence with this part was spoken."""
        return sum(part in line for line in self.lines)


def in_order(sentence: str) -> str | None:
    return next((reply for part, reply in IN_ORDER.items() if part in sentence), None)


def converse(
    folder: Path,
    *words: str,
    reply: Callable[[str], str | None] = in_order,
    kill_at: str = "",
    most: int = 300,
) -> Talk:
    """Run a command and answer what it asks; kill -9 at the sentence ``kill_at``.

    The input is closed after ``most`` answers.
    """
    talk = Talk()
    process = subprocess.Popen(
        [sys.executable, "-m", "voicecheck.cli", *words],
        cwd=folder,
        env=environment(folder),
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        bufsize=1,
    )
    assert process.stdin is not None
    assert process.stdout is not None
    watch = threading.Timer(LONGEST, process.kill)  # a question that nobody here can answer
    watch.start()
    try:
        for line in process.stdout:
            sentence = line.rstrip("\n")
            talk.lines.append(sentence)
            if kill_at and kill_at in sentence:
                process.send_signal(signal.SIGKILL)
                break
            answer = reply(sentence) if sentence.startswith("  ") else None
            if answer is not None and len(talk.said) >= most:
                process.stdin.close()
            elif answer is not None:
                talk.said.append((sentence.strip(), answer))
                process.stdin.write(f"{answer}\n")
                process.stdin.flush()
    except BrokenPipeError:
        pass
    finally:
        watch.cancel()
        if not process.stdin.closed:
            process.stdin.close()
        talk.errors = process.stderr.read() if process.stderr else ""
        talk.status = process.wait(LONGEST)
    return talk


def only(folder: Path) -> Path:
    """The one inspection below ``folder``."""
    (found,) = (file.parent for file in folder.rglob("journal.jsonl"))
    return found
