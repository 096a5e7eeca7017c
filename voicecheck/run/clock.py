"""Clocks: the device's own, and one that jumps for compressed time."""

from __future__ import annotations

import datetime
import sys
import time
from typing import Protocol

from voicecheck.session.records import Stamp

ASLEEP_S = 15.0
"""A gap from which the device slept, or was kept from working: what was asked is asked anew."""


class Clock(Protocol):
    def now(self) -> Stamp: ...

    def pass_time(self, seconds: float) -> None:
        """Let time pass: sleep, or jump."""


def _wall(moment: datetime.datetime) -> str:
    return moment.isoformat(timespec="milliseconds")


def _steady_ms() -> int:
    """Milliseconds of a clock that is never set, and that goes on while the device sleeps.

    Python's monotonic clock stands still in a suspend on Linux, its boot-time clock does not. On
    macOS and Windows the monotonic clock goes on.
    """
    if sys.platform == "linux":
        return time.clock_gettime_ns(time.CLOCK_BOOTTIME) // 1_000_000
    return time.monotonic_ns() // 1_000_000


class DeviceClock:
    """Wall time with the device's offset, and a steady clock in milliseconds."""

    def now(self) -> Stamp:
        return Stamp(_wall(datetime.datetime.now().astimezone()), _steady_ms())

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
