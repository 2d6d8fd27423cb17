"""The watch line by line, for an output that is no terminal, a screen reader, or a person who prefers it.

Alerts, notes, changes of the feeds and of the picture as they come; and at every full minute of the data own ship and
the most urgent targets. One fact a line, no colour, no cursor: what is printed stays true of the time before it.
"""

import sys
from collections import deque
from collections.abc import Sequence
from threading import Condition, Thread
from typing import TextIO

from alerts.events import Alert, AnyEvent, Event, Feed, Instant, Moment, Note, Pair, Radar, Summary
from alerts.plotting.terms import AlertState, BearingTrend, PairState, TrackState
from alerts.rules import wording
from daemon import words
from daemon.console import urgency
from daemon.console.board import Board, Row, Snapshot
from daemon.sinks.face import SinkError
from daemon.sinks.feed_lines import FeedLines

PERIOD_S = 60.0
WORST = 3
# Lines that wait for a slow reader. In a live watch the oldest go first and are counted; a replay waits.
QUEUE_MAX = 2000
CLOSE_S = 1.0


class Plain:
    """A sink that writes lines. With `patient` it waits for its reader (a replay); else it never holds the stream."""

    name = "console"

    def __init__(
        self,
        output: TextIO | None = None,
        *,
        patient: bool = False,
        period_s: float = PERIOD_S,
        worst: int = WORST,
        cautions: bool = True,
    ) -> None:
        self._writer = _Writer(sys.stdout if output is None else output, patient)
        self._board = Board()
        self._feeds = FeedLines()
        self._order: list[str] = []
        self._rectified: set[int] = set()  # alerts that are over and wait for a person
        self._period_s = period_s
        self._worst = worst
        self._next_s: float | None = None
        for caution in words.CAUTIONS if cautions else ():
            self._writer.put(caution)

    def take(self, moment: Moment, events: Sequence[AnyEvent]) -> None:
        self._board.take(moment, events)
        for event in events:
            said = self._line(event)
            if said:
                self._say(event, said)
        if self._next_s is None:
            self._next_s = moment.at_s + self._period_s
        elif moment.at_s >= self._next_s:
            self._next_s = moment.at_s + self._period_s
            self._periodic(moment.time)
        self._writer.check()

    def idle(self, now_s: float) -> None:
        self._writer.check()

    def close(self) -> None:
        self._writer.close()

    @property
    def trouble(self) -> str:
        """What is wrong with the output now."""
        return self._writer.trouble

    @property
    def lost(self) -> int:
        """Lines given up because the reader was too slow."""
        return self._writer.lost_in_all

    def _say(self, event: Event, text: str) -> None:
        self._writer.put(f"{words.clock(event.time)} {text}")

    def _line(self, event: AnyEvent) -> str | None:
        if isinstance(event, Alert):
            state = "" if event.id in self._rectified else _not_over(event)
            state = state or words.alert_state(event)
            if event.state is AlertState.RECTIFIED_UNACKNOWLEDGED:
                self._rectified.add(event.id)
            else:
                self._rectified.discard(event.id)
            return f"{event.priority.upper()} {event.id}, {state}: {words.clean(event.text, words.TEXT_LENGTH)}"
        if isinstance(event, Note):
            author = f" ({words.clean(event.author, 40)})" if event.author else ""
            return f"NOTE{author}: {words.clean(event.text, words.TEXT_LENGTH)}"
        if isinstance(event, Feed):
            return self._feeds.say(event)
        if isinstance(event, Radar):
            return radar_line(event)
        if isinstance(event, Pair):
            return pair_line(event)
        if isinstance(event, Summary):
            return summary_line(event)
        return None

    def _periodic(self, time: Instant) -> None:
        snapshot = self._board.snapshot(0.0)
        scores = urgency.alert_scores(snapshot.alerts)
        self._order = urgency.order(
            self._order, {key: urgency.score(row, scores.get(key, 0.0)) for key, row in snapshot.rows.items()}
        )
        now = words.clock(time)
        for text in self._feeds.periodic():
            self._writer.put(f"{now} {text}")
        self._writer.put(f"{now} {own_line(snapshot)}")
        for key in self._order[: self._worst]:
            self._writer.put(f"{now} {target_line(key, snapshot.rows[key])}")


def pair_line(pair: Pair) -> str | None:
    """Two tracks of one vessel; which of them speaks for her is not said each time that it changes."""
    name = words.clean(pair.name, 20)
    who = f"{pair.target} and {pair.ais}" + (f" ({name})" if name else "")
    if pair.state is PairState.PARTED:
        return f"PARTED {who}: {words.clean(pair.why, 80)}"
    return f"JOINED {who} are one vessel" if pair.speaks == pair.target else f"JOINED {who}: AIS speaks for both"


def _not_over(alert: Alert) -> str:
    """An alert that gave way to a more urgent one is not over: its danger is told by that. Empty for all others.

    Nor is one over that ends because the watch does: what it says may still be so.
    """
    change = str(alert.values.get("change") or "")
    if change.startswith("watch ends"):
        return "no longer watched"
    _, gave_way, holder = change.partition("supersede: told by ")
    return f"now told by {words.clean(holder, 40).replace('_', ' ')}" if gave_way else ""


def own_line(snapshot: Snapshot) -> str:
    """Own ship in words, with the age of each value."""
    own = snapshot.own
    if own is None:
        return "OWN SHIP: no data yet"
    heading = "course over ground for heading" if own.heading_source == "cog" else "heading"
    parts = [
        _aged(heading, own.heading_deg, words.bearing(own.heading_deg), own.heading_age_s),
        _aged("course over ground", own.cog_deg, words.bearing(own.cog_deg), own.cog_age_s),
        _aged("speed over ground", own.sog_kn, words.knots(own.sog_kn), own.sog_age_s),
        _aged("position", own.lat_deg, f"{words.latitude(own.lat_deg)} {words.longitude(own.lon_deg)}",
              own.position_age_s),
    ]  # fmt: skip
    return "OWN SHIP: " + ", ".join(parts)


def _aged(name: str, known: float | None, value: str, age_s: float | None) -> str:
    if known is None:
        return f"no {name}" if age_s is None else f"no {name} for {words.age(age_s)}"
    return f"{name} {value}" if age_s is None else f"{name} {value} ({words.age(age_s)} old)"


def target_line(key: str, row: Row) -> str:
    """One target in a sentence."""
    plot = row.plot
    name = words.clean(plot.name, 20)
    called = f"{key} ({name})" if name else key
    place = f"bearing {words.bearing_of(plot)}, {words.miles(plot.range_nm)}"
    if not row.current:
        state = "lost" if plot.track is TrackState.LOST else "not updated"
        return f"{called}: {state} for {words.age(row.age_s)}, last {place}"
    if plot.cpa_nm is None or plot.tcpa_min is None:
        return f"{called}: {place}, {plot.track}, motion not known yet"
    if plot.tcpa_min < 0:
        return f"{called}: {place}, opening, CPA {words.miles(plot.cpa_nm)} was {words.until(plot.tcpa_min)}"
    side = wording.passing(plot) or "passing side unsettled"
    return (
        f"{called}: {place}, bearing {plot.bearing_trend}{_drift(row)}, CPA {words.miles(plot.cpa_nm)} (95 % "
        f"{words.limits(plot.cpa_low_nm, plot.cpa_high_nm)}) {words.until(plot.tcpa_min)}, {side}; "
        f"the set: {plot.check}"
    )


def _drift(row: Row) -> str:
    """How fast a bearing draws: slowly may be hardly at all. Off the bow alone it may be a swing of the bow."""
    plot = row.plot
    said = []
    if plot.bearing_rate_deg_min is not None and plot.bearing_trend in _DRAWING:
        said.append(f"{abs(plot.bearing_rate_deg_min):.1f}°/min")
    if plot.bearing_deg is None and plot.relative_bearing_deg is not None:
        said.append("drift or yaw")
    return f" ({', '.join(said)})" if said else ""


_DRAWING = (BearingTrend.DRAWING_AHEAD, BearingTrend.DRAWING_AFT)


def radar_line(radar: Radar) -> str:
    scale = "range scale not given" if radar.range_scale_nm is None else f"range scale {radar.range_scale_nm:g} NM"
    return f"RADAR: {scale}, {radar.orientation or 'orientation not given'}"


def summary_line(summary: Summary) -> str:
    rules = ", ".join(f"{words.clean(rule, 40)} {count}" for rule, count in sorted(summary.alerts.items()))
    refused = sum(summary.refused.values())
    targets = words.several(summary.targets, "target")
    return f"END: {targets}, {summary.lines} lines, {refused} refused; alerts: {rules or 'none'}"


class _Writer:
    """Writes lines in a thread of its own, so that a reader who has stopped reading does not stop the watch."""

    def __init__(self, output: TextIO, patient: bool) -> None:
        self._output = output
        self._patient = patient
        self._lines: deque[str] = deque()
        self._changed = Condition()
        self._closed = False
        self._lost = 0
        self.lost_in_all = 0
        self.trouble = ""
        self._fault: OSError | ValueError | None = None
        self._thread = Thread(target=self._run, name="plain", daemon=True)
        self._thread.start()

    def put(self, text: str) -> None:
        with self._changed:
            while self._patient and len(self._lines) >= QUEUE_MAX and self._fault is None:
                self._changed.wait()
            if len(self._lines) >= QUEUE_MAX:
                self._lines.popleft()
                self._lost += 1
                self.lost_in_all += 1
            self._lines.append(text)
            self._changed.notify_all()

    def check(self) -> None:
        """Raise what the output has complained of since."""
        fault, self._fault = self._fault, None
        if fault is not None:
            raise SinkError(f"console: {self.trouble}")

    def close(self) -> None:
        with self._changed:
            self._closed = True
            self._changed.notify_all()
        self._thread.join(None if self._patient else CLOSE_S)

    def _run(self) -> None:
        while True:
            with self._changed:
                while not self._lines and not self._closed:
                    self._changed.wait()
                batch, lost = list(self._lines), self._lost
                self._lines.clear()
                self._lost = 0
                self._changed.notify_all()
                if not batch and self._closed:
                    return
            if lost:
                batch.insert(0, f"({lost} lines not shown: the reader was too slow)")
            try:
                self._output.write("\n".join(batch) + "\n")
                self._output.flush()
            except (OSError, ValueError) as error:
                self._fault = error
                self.trouble = f"cannot write to standard output: {error}"
