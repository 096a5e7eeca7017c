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

import yaml

ROOT = Path(__file__).parents[2]
LONGEST = 40


def _in_order() -> dict[str, str]:
    """A part of what is asked, and the answer when everything is in order; the first one counts.

    They are what the recorded driver of the drive "all-good" says, who hears the prompts only.
    """
    drive = yaml.safe_load((ROOT / "audio_fixtures/all-good/drive.yaml").read_text("utf-8"))
    said = {rule["prompt"].lower(): str(rule["says"][0]) for rule in drive["hears"]}
    return {"i heard:": "affirm", **{part: words for part, words in said.items() if part != "?"}}


IN_ORDER: Mapping[str, str] = _in_order()


def environment(home: Path) -> dict[str, str]:
    """Nothing of the machine's settings; the checkout's own package."""
    kept = {k: v for k, v in os.environ.items() if k in ("PATH", "LANG", "SYSTEMROOT", "TMPDIR")}
    return {**kept, "HOME": str(home), "XDG_CONFIG_HOME": str(home / "config"),
            "XDG_CACHE_HOME": str(home / "cache"), "XDG_DATA_HOME": str(home / "data"),
            "PYTHONPATH": str(ROOT), "PYTHONUNBUFFERED": "1"}  # fmt: skip


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
    heard = sentence.lower()
    return next((reply for part, reply in IN_ORDER.items() if part in heard), None)


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
