"""Clocks: the only module that asks the machine what time it is, or sleeps.

Three kinds of time, never subtracted across kinds: `mono_s`, seconds that never jump (all ages and time-outs);
`utc_ms`, the host's wall clock (labels); and what an instrument claims (labels too, and a check on the host's).
"""

import threading
import time
from typing import Protocol


class Clock(Protocol):
    """Three things that a program can ask of time."""

    def mono_s(self) -> float:
        """Seconds since this clock began, whole milliseconds. Never jumps; goes on while the machine is suspended."""

    def utc_ms(self) -> int:
        """The wall clock: UNIX milliseconds. May jump either way at any moment."""

    def wait(self, seconds: float, stop: threading.Event) -> bool:
        """Pass time; True as soon as `stop` is set."""


class HostClock:
    """The machine's own clocks.

    CLOCK_BOOTTIME, where there is one, goes on during suspend as CLOCK_MONOTONIC does not (Linux clock_gettime(2)):
    after a wake all targets are as old as they really are.
    """

    def __init__(self) -> None:
        self._which = getattr(time, "CLOCK_BOOTTIME", time.CLOCK_MONOTONIC)
        self._start_ns = time.clock_gettime_ns(self._which)

    def mono_s(self) -> float:
        """See Clock. Whole milliseconds, so that a recording holds exactly what the watch used."""
        return (time.clock_gettime_ns(self._which) - self._start_ns) // 1_000_000 / 1000

    def utc_ms(self) -> int:
        """See Clock."""
        return time.time_ns() // 1_000_000

    def wait(self, seconds: float, stop: threading.Event) -> bool:
        """See Clock."""
        return stop.wait(seconds)


class VirtualClock:
    """A clock that goes only when told to, or when somebody waits: hours of pauses take no time.

    `jump_wall` moves the wall clock alone, as an operator or a first satellite fix does.
    """

    def __init__(self, utc_ms: int = 1_800_000_000_000) -> None:
        self._mono_ms = 0
        self._utc_ms = utc_ms
        self._lock = threading.Lock()

    def mono_s(self) -> float:
        """See Clock."""
        return self._mono_ms / 1000

    def utc_ms(self) -> int:
        """See Clock."""
        return self._utc_ms

    def wait(self, seconds: float, stop: threading.Event) -> bool:
        """See Clock: advances at once."""
        if not stop.is_set():
            self.advance(max(0.0, seconds))
        return stop.is_set()

    def advance(self, seconds: float) -> None:
        """Both clocks go on by this much, which is never negative."""
        if seconds < 0:
            raise ValueError("a clock does not go backwards; jump_wall() moves the wall clock alone")
        with self._lock:
            ms = round(seconds * 1000)
            self._mono_ms += ms
            self._utc_ms += ms

    def jump_wall(self, seconds: float) -> None:
        """The wall clock alone jumps, either way."""
        with self._lock:
            self._utc_ms += round(seconds * 1000)


def monotonic_us() -> int:
    """CLOCK_MONOTONIC in microseconds, as sd_notify(3) wants it with RELOADING=1."""
    return time.clock_gettime_ns(time.CLOCK_MONOTONIC) // 1000
