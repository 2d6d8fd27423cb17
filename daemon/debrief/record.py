"""What a debrief is made from: a passage's events, from an archive or gathered from a stream, on one scale of time.

The scale is UNIX seconds that never jump: the stream's own seconds, shifted so that they begin at the passage's first
label. Where a clock jumped during the passage, labels of single events still are what the data said.
"""

from collections.abc import Iterator, Sequence
from typing import Protocol, TypeVar

from msgspec import Struct

from alerts.events import Alert, AnyEvent, Feed, Moment, Note, OwnShip, Pair, Plot, Radar
from daemon.sinks.archive_reader import ArchiveReader, PassageRow, TargetRow

Dated = tuple[float, Plot]
EventType = TypeVar("EventType", bound=AnyEvent)


class Tracked(Struct, frozen=True):
    """One target of the passage, with its closest approach as observed."""

    target: str
    name: str
    first_s: float
    last_s: float
    plots: int
    closest_nm: float
    closest_s: float


class Passage(Struct, frozen=True, kw_only=True):
    """All of a passage but its plots. Times are on the record's scale."""

    source: str
    program: str
    own: Sequence[tuple[float, OwnShip]]
    alerts: Sequence[tuple[float, Alert]]
    radar: Sequence[tuple[float, Radar]]
    notes: Sequence[tuple[float, Note]]
    feeds: Sequence[tuple[float, Feed]]
    targets: Sequence[Tracked]
    pairs: Sequence[tuple[float, Pair]] = ()
    gaps: Sequence[tuple[float, float, int]] = ()
    """Times lost to the archive: from, until, events."""

    @property
    def first_s(self) -> float:
        return min((at_s for at_s in self._ends(0)), default=0.0)

    @property
    def last_s(self) -> float:
        return max((at_s for at_s in self._ends(-1)), default=0.0)

    def _ends(self, which: int) -> Iterator[float]:
        for dated in (self.own, self.alerts, self.radar, self.notes, self.feeds):
            if dated:
                yield dated[which][0]
        for one in self.targets:
            yield one.first_s if which == 0 else one.last_s


class Record(Protocol):
    """A passage and its plots, a target at a time: a day's plots need not be in memory at once."""

    @property
    def passage(self) -> Passage:
        """All but the plots."""

    def plots(self, target: str) -> Sequence[Dated]:
        """All plots of a target in order of time."""


class Gathered:
    """A sink that keeps what a stream says, for a debrief of a recording."""

    name = "debrief"
    trouble = ""
    lost = 0

    def __init__(self, source: str, program: str) -> None:
        self._source = source
        self._program = program
        self._shift_s: float | None = None
        self._plots: dict[str, list[Dated]] = {}
        self._rest: dict[type, list[tuple[float, AnyEvent]]] = {}

    def take(self, moment: Moment, events: Sequence[AnyEvent]) -> None:
        """See Sink."""
        if self._shift_s is None:
            self._shift_s = moment.time.utc_ms / 1000 - moment.at_s
        at_s = moment.at_s + self._shift_s
        for event in events:
            if isinstance(event, Plot):
                self._plots.setdefault(event.target, []).append((at_s, event))
            else:
                self._rest.setdefault(type(event), []).append((at_s, event))

    def idle(self, now_s: float) -> None:
        """See Sink."""

    def close(self) -> None:
        """See Sink."""

    def plots(self, target: str) -> Sequence[Dated]:
        """See Record."""
        return self._plots[target]

    @property
    def passage(self) -> Passage:
        """See Record."""
        return Passage(
            source=self._source,
            program=self._program,
            own=self._of(OwnShip),
            alerts=self._of(Alert),
            radar=self._of(Radar),
            notes=self._of(Note),
            feeds=self._of(Feed),
            pairs=self._of(Pair),
            targets=[_tracked(plots) for plots in self._plots.values()],
        )

    def _of(self, kind: type[EventType]) -> list[tuple[float, EventType]]:
        return [(at_s, event) for at_s, event in self._rest.get(kind, []) if isinstance(event, kind)]


def _tracked(plots: Sequence[Dated]) -> Tracked:
    closest_s, closest = min(plots, key=lambda dated: dated[1].range_nm)
    last_s, last = plots[-1]
    return Tracked(last.target, last.name, plots[0][0], last_s, len(plots), closest.range_nm, closest_s)


class Archived:
    """A passage of an archive. The reader stays open while it is used."""

    def __init__(self, reader: ArchiveReader, row: PassageRow) -> None:
        self._reader = reader
        targets = reader.targets(row.passage_id)
        self._ids = {one.target: one.target_id for one in targets}
        self._shift_s = _shift_s(reader, row, targets)
        number = row.passage_id
        self._passage = Passage(
            source=row.source,
            program=row.program,
            own=self._dated(reader.own_track(number)),
            alerts=self._dated(reader.alerts(number)),
            radar=self._dated(reader.radar(number)),
            notes=self._dated(reader.notes(number)),
            feeds=self._dated(reader.feeds(number)),
            pairs=self._dated(reader.pairs(number)),
            targets=[self._tracked(one) for one in targets],
            gaps=[(gap.at_s + self._shift_s, gap.until_at_s + self._shift_s, gap.lost) for gap in reader.gaps(number)],
        )

    def plots(self, target: str) -> Sequence[Dated]:
        """See Record."""
        return self._dated(self._reader.plots(self._ids[target]))

    def _dated(self, events: Iterator[tuple[Moment, EventType]]) -> list[tuple[float, EventType]]:
        return [(moment.at_s + self._shift_s, event) for moment, event in events]

    @property
    def passage(self) -> Passage:
        """See Record."""
        return self._passage

    def _tracked(self, row: TargetRow) -> Tracked:
        shift_s = self._shift_s
        return Tracked(
            row.target,
            row.name,
            row.first_at_s + shift_s,
            row.last_at_s + shift_s,
            row.plots,
            row.closest_range_nm,
            row.closest_at_s + shift_s,
        )


def _shift_s(reader: ArchiveReader, row: PassageRow, targets: Sequence[TargetRow]) -> float:
    """From the stream's seconds to the record's, by the passage's first dated row."""
    first = next(reader.own_track(row.passage_id), None)
    if first is not None:
        return first[0].time.utc_ms / 1000 - first[0].at_s
    if targets:
        return targets[0].first_utc_ms / 1000 - targets[0].first_at_s
    return row.last_utc_ms / 1000 - row.last_at_s
