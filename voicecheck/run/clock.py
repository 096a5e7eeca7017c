"""Clocks: the device's own, and one that jumps for compressed time."""

from __future__ import annotations

import datetime
import time
from typing import Protocol

from voicecheck.session.records import Stamp


class Clock(Protocol):
    def now(self) -> Stamp: ...

    def pass_time(self, seconds: float) -> None:
        """Let time pass: sleep, or jump."""


def _wall(moment: datetime.datetime) -> str:
    return moment.isoformat(timespec="milliseconds")


class DeviceClock:
    """Wall time with the device's offset, and the monotonic clock in milliseconds."""

    def now(self) -> Stamp:
        return Stamp(_wall(datetime.datetime.now().astimezone()), time.monotonic_ns() // 1_000_000)

    def pass_time(self, seconds: float) -> None:
        time.sleep(seconds)


class CompressedClock:
    """Starts at the device's time and moves only when told to."""

    def __init__(self, start: datetime.datetime | None = None) -> None:
        self._start = start or datetime.datetime.now().astimezone()
        self._passed = 0.0

    def now(self) -> Stamp:
        moment = self._start + datetime.timedelta(seconds=self._passed)
        return Stamp(_wall(moment), round(self._passed * 1000))

    def pass_time(self, seconds: float) -> None:
        self._passed += max(0.0, seconds)
