"""The face that every sink shows the stream."""

from collections.abc import Sequence
from typing import Protocol

from alerts.events import AnyEvent, Moment


class Output(Protocol):
    """Anything that writes for the watch, and how it fares."""

    name: str

    @property
    def trouble(self) -> str:
        """What is wrong now, for a person; empty when all is well."""

    @property
    def lost(self) -> int:
        """What was given up for good so far, events or lines."""


class Sink(Output, Protocol):
    """Takes what the watch says: console, archive, JSON Lines.

    A sink never blocks the stream for longer than a write to memory or to a local file takes (in a replay it may).
    What it cannot do now it raises as SinkError, or tells in `trouble` where it works on a thread of its own; the
    stream counts it, says so once, and goes on without losing the other sinks. One that has a deque `notices` of texts
    has them told, each once.
    """

    def take(self, moment: Moment, events: Sequence[AnyEvent]) -> None:
        """All events of one moment, in order."""

    def idle(self, now_s: float) -> None:
        """Called at least four times a second while live, with the host's monotonic time: flush, redraw."""

    def close(self) -> None:
        """The watch has ended: write what is left."""


class SinkError(Exception):
    """A sink could not do its work; the text says which file or device and what to do about it."""
