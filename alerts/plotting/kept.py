"""One target that is kept on the plot: its key, its filter, and when and how it was last seen."""

from collections import deque
from typing import Protocol

from msgspec import structs

from alerts.plotting import echoes
from alerts.plotting.kinematics import Estimate, Look
from alerts.plotting.terms import TrackState
from parsers.observations import Source, TargetPosition, TargetReport, TargetStatus

COASTING_RHYTHMS = 3.0
LOST_RHYTHMS = 10.0
"""A set must keep a target that shows on 5 of 10 scans (MSC.192(79) 5.25.4.3), so ten without a word are the end."""

COASTING_S = (5.0, 40.0)
LOST_S = (20.0, 120.0)
"""Least and greatest times that those multiples may come to, seconds."""

UNKNOWN_RHYTHM_S = 4.0
"""Taken until two reports are in: a common antenna with a sentence a second among four targets comes to this."""

ESTABLISHED_LOOKS = 3
"""From the third plot on a target is taken for real: three plots make a line (common practice, no source)."""

REMEMBERED_INTERVALS = 9

CONTESTED_JUMPS = 10.0
"""So many more jumps than half the measurements: errors come one at a time, another target of the number always."""

NAME_LENGTH = 40
"""A TTM of 82 characters has room for fewer; a longer name is a fault or an attack, and its beginning will do."""

Slot = tuple[str, int, bool]
"""What a set calls a target: the feed, the number, and whether it is a test target."""


class Filter(Protocol):
    """What a target's estimator must do. alerts.plotting.estimate.Track does it."""

    def observe(self, look: Look) -> Estimate:
        """Takes one measurement in."""

    def predict(self, at_s: float) -> Estimate:
        """The estimate for a later time, nothing being taken in."""


class Rhythm:
    """How often a target is reported: the median of its last intervals, seconds; and what silence then means."""

    __slots__ = ("_intervals", "coasting_after_s", "interval_s", "lost_after_s")

    def __init__(self) -> None:
        self._intervals: deque[float] = deque(maxlen=REMEMBERED_INTERVALS)
        self._be(UNKNOWN_RHYTHM_S)

    def beat(self, interval_s: float) -> None:
        self._intervals.append(interval_s)
        self._be(sorted(self._intervals)[len(self._intervals) // 2])

    def _be(self, interval_s: float) -> None:
        self.interval_s = interval_s
        self.coasting_after_s = _between(COASTING_RHYTHMS * interval_s, COASTING_S)
        self.lost_after_s = _between(LOST_RHYTHMS * interval_s, LOST_S)


def _between(value: float, limits: tuple[float, float]) -> float:
    least, most = limits
    return least if value < least else most if value > most else value


class Kept:
    """A track. Only Targets makes and changes it."""

    __slots__ = (
        "began_s",
        "estimate",
        "filter",
        "is_test",
        "jumps",
        "key",
        "last_look",
        "last_s",
        "looks",
        "name",
        "order",
        "out_of_sight",
        "rhythm",
        "slot",
        "source",
        "status",
        "suspect",
        "time_of_day_s",
        "unannounced",
    )

    def __init__(
        self, key: str, slot: Slot, report: TargetReport | TargetPosition, filter_: Filter, look: Look
    ) -> None:
        self.key = key
        self.order = 0  # of the tracks' beginning
        self.slot = slot
        self.is_test = slot[2]
        self.filter = filter_
        self.began_s = look.at_s
        self.looks = 0
        self.name = ""
        self.rhythm = Rhythm()
        self.last_s = look.at_s
        self.last_look = look
        self.estimate: Estimate | None = None
        self.out_of_sight: TrackState | None = None
        self.suspect: Look | None = None
        self.jumps = 0.0  # echoes off its track, less half of those on it
        self.unannounced: str | None = None  # the track that this one continues, until a report has said so
        self.take_note(report)

    def take_note(self, report: TargetReport | TargetPosition) -> None:
        """What the report says beside its measurement."""
        self.source: Source = report.source
        self.status: TargetStatus | None = report.status
        if report.time_of_day_s is not None:
            self.time_of_day_s: float | None = report.time_of_day_s
        elif not self.looks:
            self.time_of_day_s = None
        if report.name:
            self.name = report.name[:NAME_LENGTH]

    def continue_from(self, track: "Kept", other: "Kept", last_look: Look) -> None:
        """Begins as a number's next track, on the echo of another."""
        self.looks = other.looks
        self.name, self.source, self.status = track.name, track.source, track.status
        self.time_of_day_s = track.time_of_day_s
        self.last_s, self.last_look = last_look.at_s, last_look
        self.rhythm = track.rhythm
        self.unannounced = other.key
        self.estimate = self.filter.predict(self.last_s)

    def take(self, look: Look) -> Estimate:
        """One measurement of this target. An old one sent again, of a target that must have moved since, ages it on."""
        repeats = self.estimate.repeats if self.estimate is not None else 0
        self.estimate = self.filter.observe(look)
        if self.estimate.repeats > repeats and echoes.must_have_moved(self.estimate, look):
            return self._as_seen(self.estimate)
        if self.looks and look.at_s > self.last_s and self.out_of_sight is None:
            self.rhythm.beat(look.at_s - self.last_s)
        self.looks += 1
        self.last_s, self.last_look = look.at_s, look
        self.out_of_sight = self.suspect = None
        if self.jumps > 0.0:
            self.jumps -= 0.5
        return self.estimate

    def jumped(self) -> bool:
        """An echo off its track. True once, when there have been so many that another target must have its number."""
        self.jumps += 1.0
        if self.jumps < CONTESTED_JUMPS:
            return False
        self.jumps = float("-inf")
        return True

    def predict(self, at_s: float) -> Estimate:
        """Where the target should be; its state says so where it is no longer seen."""
        return self._as_seen(self.filter.predict(at_s))

    def _as_seen(self, estimate: Estimate) -> Estimate:
        if self.out_of_sight is None:
            return estimate
        return structs.replace(estimate, state=self.out_of_sight)

    @property
    def is_lost(self) -> bool:
        return self.out_of_sight is TrackState.LOST

    @property
    def is_established(self) -> bool:
        return self.looks >= ESTABLISHED_LOOKS

    def is_fresh(self, at_s: float) -> bool:
        """Whether its own source still speaks of it."""
        return self.out_of_sight is None and at_s - self.last_s <= self.rhythm.coasting_after_s


def slot_of(report: TargetReport | TargetPosition, number: int) -> Slot:
    return report.source.feed, number, isinstance(report, TargetReport) and report.is_test
