"""What the console keeps of the events: own ship, targets, alerts, feeds and notes, all bounded.

The stream writes here and the drawing thread reads; neither waits for the other for longer than a dictionary takes.
Everything the stream sends is immutable, so a snapshot shares it and copies only the containers.
"""

from collections import deque
from collections.abc import Sequence
from threading import Lock

from msgspec import Struct

from alerts.events import Alert, AnyEvent, Feed, Instant, Moment, Note, OwnShip, Pair, Plot, Radar
from alerts.plotting.terms import AlertState, PairState, Priority, TrackState

# Enough for the largest fit of a radar (100 tracked) and the AIS targets of a busy strait; the stalest goes first.
TARGETS_MAX = 600
PAIRS_MAX = 200
ALERTS_MAX = 200
FEEDS_MAX = 40
NOTES_MAX = 8
# A point of history every five seconds for half an hour.
HISTORY_STEP_S = 5.0
HISTORY_MAX = 360
# A target is forgotten when it has said nothing for this long and no alert holds it.
FORGET_S = 600.0
# How long a target may say nothing before its figures are not shown as present ones: four of its own intervals, at
# least ten seconds (three sweeps of a slow scanner), at most six minutes (two reports of an anchored AIS class A).
OVERDUE_INTERVALS = 4.0
OVERDUE_LEAST_S = 10.0
OVERDUE_MOST_S = 360.0


class Point(Struct, frozen=True, gc=False):
    """One moment of a target's history."""

    at_s: float
    bearing_deg: float | None
    relative_bearing_deg: float | None
    range_nm: float
    cpa_nm: float | None
    tcpa_min: float | None


class Seen:
    """A target on the board: its last plot, how often it speaks, and its history."""

    __slots__ = ("at_s", "history", "interval_s", "plot")

    def __init__(self, at_s: float, plot: Plot) -> None:
        self.at_s = at_s
        self.plot = plot
        self.interval_s = 0.0
        self.history: deque[Point] = deque(maxlen=HISTORY_MAX)
        self._remember(at_s, plot)

    def see(self, at_s: float, plot: Plot) -> None:
        gap_s = max(at_s - self.at_s, 0.0)
        self.interval_s = gap_s if self.interval_s == 0.0 else self.interval_s + 0.2 * (gap_s - self.interval_s)
        self.at_s = at_s
        self.plot = plot
        if at_s - self.history[-1].at_s >= HISTORY_STEP_S:
            self._remember(at_s, plot)

    def _remember(self, at_s: float, plot: Plot) -> None:
        self.history.append(
            Point(at_s, plot.bearing_deg, plot.relative_bearing_deg, plot.range_nm, plot.cpa_nm, plot.tcpa_min)
        )


class Row(Struct, frozen=True):
    """A target in a snapshot. `age_s` counts from its last plot on the stream's own clock."""

    plot: Plot
    age_s: float
    overdue: bool
    history: tuple[Point, ...]

    @property
    def current(self) -> bool:
        """True where the figures of the last plot may be shown as present ones."""
        return not self.overdue and self.plot.track not in (TrackState.LOST, TrackState.COASTING)


class Raised(Struct, frozen=True):
    """An alert that is not normal, and when it was raised on the stream's clock."""

    alert: Alert
    since_s: float
    since: Instant


class Snapshot(Struct, frozen=True):
    """The board at one moment. `now_s` is the stream's clock, `time` its label."""

    now_s: float
    time: Instant | None
    own: OwnShip | None
    own_age_s: float
    rows: dict[str, Row]
    alerts: tuple[Raised, ...]
    feeds: tuple[Feed, ...]
    notes: tuple[Note, ...]
    radar: Radar | None
    hidden: int


class Board:
    """Takes the events of the stream; gives snapshots. Safe between one writer and one reader."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._now: Moment | None = None
        self._own: tuple[float, OwnShip] | None = None
        self._targets: dict[str, Seen] = {}
        self._alerts: dict[int, Raised] = {}
        self._pairs: dict[str, Pair] = {}  # by the radar track
        self._feeds: dict[str, Feed] = {}
        self._notes: deque[Note] = deque(maxlen=NOTES_MAX)
        self._radar: Radar | None = None
        self._hidden = 0  # targets and alerts that had to go for want of room

    def take(self, moment: Moment, events: Sequence[AnyEvent]) -> None:
        with self._lock:
            self._now = moment
            for event in events:
                self._take(moment, event)

    def _take(self, moment: Moment, event: AnyEvent) -> None:
        if isinstance(event, Plot):
            self._plot(moment.at_s, event)
        elif isinstance(event, OwnShip):
            self._own = (moment.at_s, event)
        elif isinstance(event, Alert):
            self._alert(moment, event)
        elif isinstance(event, Feed):
            if event.name in self._feeds or len(self._feeds) < FEEDS_MAX:
                self._feeds[event.name] = event
        elif isinstance(event, Note):
            self._notes.append(event)
        elif isinstance(event, Radar):
            self._radar = event
        elif isinstance(event, Pair):
            self._pair(event)

    def _pair(self, pair: Pair) -> None:
        self._pairs.pop(pair.target, None)
        if pair.state is PairState.JOINED:
            self._pairs[pair.target] = pair
            if len(self._pairs) > PAIRS_MAX:
                del self._pairs[next(iter(self._pairs))]

    def _folded(self) -> set[str]:
        """Tracks for which the vessel's other track speaks: one line a vessel. None goes without its other being there,
        nor while an alert is on it."""
        held = self._held()
        folded = set()
        for pair in self._pairs.values():
            quiet = pair.ais if pair.speaks == pair.target else pair.target
            if pair.speaks in self._targets and quiet not in held:
                folded.add(quiet)
        return folded

    def _plot(self, at_s: float, plot: Plot) -> None:
        seen = self._targets.get(plot.target)
        if seen is not None:
            seen.see(at_s, plot)
            return
        if len(self._targets) >= TARGETS_MAX:
            held = self._held()
            del self._targets[min(self._targets, key=lambda key: (key in held, self._targets[key].at_s))]
            self._hidden += 1
        self._targets[plot.target] = Seen(at_s, plot)

    def _alert(self, moment: Moment, alert: Alert) -> None:
        if alert.state is AlertState.NORMAL:
            self._alerts.pop(alert.id, None)
            return
        known = self._alerts.get(alert.id)
        if known is not None:
            self._alerts[alert.id] = Raised(alert, known.since_s, known.since)
            return
        if len(self._alerts) >= ALERTS_MAX:
            del self._alerts[min(self._alerts, key=lambda key: _weight(self._alerts[key]))]
            self._hidden += 1
        self._alerts[alert.id] = Raised(alert, moment.at_s, moment.time)

    def _held(self) -> set[str | None]:
        """Targets that an alert holds on the board."""
        return {raised.alert.target for raised in self._alerts.values()}

    def snapshot(self, elapsed_s: float, detailed: frozenset[str] = frozenset()) -> Snapshot:
        """The board `elapsed_s` (stream seconds) after its last moment; histories only of the `detailed` targets."""
        with self._lock:
            last_s = 0.0 if self._now is None else self._now.at_s
            now_s = last_s + elapsed_s
            self._forget(now_s)
            folded = self._folded()
            return Snapshot(
                now_s=now_s,
                time=None if self._now is None else Instant(self._now.time.utc_ms + round(1000 * elapsed_s)),
                own=None if self._own is None else self._own[1],
                own_age_s=0.0 if self._own is None else now_s - self._own[0],
                rows={
                    key: _row(seen, now_s, key in detailed) for key, seen in self._targets.items() if key not in folded
                },
                alerts=tuple(self._alerts.values()),
                feeds=tuple(self._feeds.values()),
                notes=tuple(self._notes),
                radar=self._radar,
                hidden=self._hidden,
            )

    def _forget(self, now_s: float) -> None:
        held = self._held()
        old = [key for key, seen in self._targets.items() if now_s - seen.at_s > FORGET_S and key not in held]
        for key in old:
            del self._targets[key]


def _row(seen: Seen, now_s: float, detailed: bool) -> Row:
    age_s = now_s - seen.at_s
    allowed_s = min(max(OVERDUE_INTERVALS * seen.interval_s, OVERDUE_LEAST_S), OVERDUE_MOST_S)
    return Row(seen.plot, age_s, age_s > allowed_s, tuple(seen.history) if detailed else ())


def _weight(raised: Raised) -> tuple[int, float]:
    """Which alert goes first when there is no room: the lowest priority, the oldest."""
    return ((Priority.CAUTION, Priority.WARNING, Priority.ALARM).index(raised.alert.priority), raised.since_s)
