"""An archive of the invented passage, for what reads archives."""

from collections.abc import Iterable, Sequence
from pathlib import Path

from alerts.events import AnyEvent, Moment
from daemon.clock import VirtualClock
from daemon.sinks.archive import Archive
from daemon.sinks.archive_store import Passage


def archive_of(path: Path, happened: Iterable[tuple[Moment, Sequence[AnyEvent]]]) -> Path:
    """A new passage in the archive, with these events."""
    passage = Passage(origin="replay", source="invented passage", program="a test")
    sink = Archive(path, passage, VirtualClock(), lossless=True)
    for moment, events in happened:
        sink.take(moment, events)
    sink.close()
    return path
