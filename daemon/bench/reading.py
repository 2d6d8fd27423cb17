"""A recording through the stream once, into watchers."""

import threading
from collections.abc import Callable, Sequence

from msgspec import Struct

from alerts.events import Moment
from alerts.lookout import LookoutSettings
from daemon.bench.observer import Observer, Watcher
from daemon.feeds.replay import Recording
from daemon.replaying import BATCH, feeds_of
from daemon.stream import FeedLine, Stream
from daemon.timeline import RecordedTimeline
from daemon.undated import undated
from parsers.decode import Decoder

Progress = Callable[[int, int], None]
"""Told how many lines, and how many bytes of the files, have been read since the last call."""


class Reading(Struct, frozen=True, kw_only=True):
    """What was read. `last` is None where no line could be used; `is_whole` is False where it was stopped."""

    last: Moment | None
    lines: int
    accepted: int
    is_whole: bool
    notices: tuple[str, ...]


def read(
    paths: Sequence[str],
    settings: LookoutSettings,
    watchers: Sequence[Watcher],
    *,
    rate: float | None = None,
    require_checksum: bool = True,
    stop: threading.Event | None = None,
    progress: Progress | None = None,
) -> Reading:
    """Reads one passage's recordings in order to their end, or until `stop` is set.

    Raises UserError for what is no recording.
    """
    recordings = [Recording(path) for path in paths]
    observer = Observer(settings, watchers)
    stream = Stream(observer, [], feeds_of(recordings, require_checksum), RecordedTimeline(rate))
    stop = stop or threading.Event()
    for recording in recordings:
        if not stop.is_set():
            _run(stream, recording, require_checksum, stop, progress)
        recording.close()
    stream.flush()
    if stream.moment is not None:
        observer.watcher.close(stream.moment)
    counts = [counters for recording in recordings for counters in recording.counters.values()]
    return Reading(
        last=stream.moment,
        lines=sum(one.lines for one in counts),
        accepted=sum(one.accepted for one in counts),
        is_whole=not stop.is_set(),
        notices=(*(notice for recording in recordings for notice in recording.notices), *undated(stream)),
    )


def _run(
    stream: Stream, recording: Recording, require_checksum: bool, stop: threading.Event, progress: Progress | None
) -> None:
    told = 0
    for part in recording.parts():
        for name, counters in recording.counters.items():
            if name not in stream.feeds:
                stream.add_feed(FeedLine(name=name, decoder=Decoder(name, require_checksum), counters=counters))
        for start in range(0, len(part), BATCH):
            if stop.is_set():
                return
            some = part[start : start + BATCH]
            stream.take(some)
            if progress is not None:
                progress(len(some), recording.bytes_taken - told)
                told = recording.bytes_taken
