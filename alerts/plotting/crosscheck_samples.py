"""What the set says of one target, held against ours: differences over the last minute, and how large they may be.

A difference is a vector, the set's velocity less ours, in knots east and north. A set's tracker makes it wander with
time constants of tens of seconds, so that single reports prove nothing: means over a window do, against a spread that
is learnt from the wandering itself.
"""

from collections.abc import Sequence
from functools import cached_property
from math import atan2, cos, degrees, radians, sin, sqrt

from msgspec import Struct

from alerts.plotting.kinematics import Estimate, OwnMotion

WINDOW_S = 45.0
SAMPLE_S = 1.5
SAMPLES = 48
"""One sample in 1.5 s at most, the last 48: enough for the window, and for the wandering about it."""

KEPT_S = 6.0
"""A mean stands so long if no sample comes."""

FEWEST = 6
LEAST_SPAN_S = 25.0
"""A mean is spoken of from so many samples on, over so long."""

CORRELATION_S = 25.0
"""How long a set's error lasts: a common tracker's gains make it 20 to 30 s at 2.5 s a scan (measured here)."""

SPEED_95_KN, SPEED_95_RATIO, COURSE_95_DEG = 0.5, 0.01, 5.0
"""True speed and course after 3 min of tracking, 95 % (MSC.192(79), its single table; from memory)."""

SPEED_95_1MIN_KN, COURSE_95_1MIN_DEG = 1.5, 11.0
"""Relative speed and course after 1 min, 95 % (same; from memory). Nothing is promised of true motion so early."""

SD_95 = 1.96

FULL_S = 180.0
"""The standard's one-minute figures hold a set from 1 min, its three-minute figures from 3 min of tracking."""


class Vector(Struct, frozen=True, gc=False):
    """East and north, knots."""

    east: float
    north: float

    def less(self, other: "Vector") -> "Vector":
        return Vector(self.east - other.east, self.north - other.north)

    def plus(self, other: "Vector") -> "Vector":
        return Vector(self.east + other.east, self.north + other.north)

    def times(self, factor: float) -> "Vector":
        return Vector(self.east * factor, self.north * factor)

    def dot(self, other: "Vector") -> float:
        return self.east * other.east + self.north * other.north

    @property
    def size(self) -> float:
        return sqrt(self.east * self.east + self.north * self.north)

    @property
    def course_deg(self) -> float:
        """Toward, in [0, 360); 0 where there is no motion."""
        return degrees(atan2(self.east, self.north)) % 360

    def turned(self, deg: float) -> "Vector":
        """Turned clockwise."""
        c, s = cos(radians(deg)), sin(radians(deg))
        return Vector(self.east * c + self.north * s, self.north * c - self.east * s)


def toward(course_deg: float, speed_kn: float) -> Vector:
    return Vector(speed_kn * sin(radians(course_deg)), speed_kn * cos(radians(course_deg)))


class Spread(Struct, frozen=True, gc=False):
    """A 2 x 2 covariance in knots squared: east, east-north, north."""

    ee: float
    en: float
    nn: float

    def plus(self, other: "Spread") -> "Spread":
        return Spread(self.ee + other.ee, self.en + other.en, self.nn + other.nn)

    def times(self, factor: float) -> "Spread":
        return Spread(self.ee * factor, self.en * factor, self.nn * factor)

    def inverse(self) -> "Spread":
        det = self.ee * self.nn - self.en * self.en
        return Spread(self.nn / det, -self.en / det, self.ee / det)

    def applied_to(self, v: Vector) -> Vector:
        return Vector(self.ee * v.east + self.en * v.north, self.en * v.east + self.nn * v.north)

    def distance2(self, v: Vector) -> float:
        """Squared distance of a vector from nought, in standard deviations: chi-square with two degrees."""
        ee, en, nn, east, north = self.ee, self.en, self.nn, v.east, v.north
        det = ee * nn - en * en
        return east * (nn / det * east + -en / det * north) + north * (-en / det * east + ee / det * north)

    def sd_along(self, direction: Vector) -> float:
        size = direction.size
        if size == 0:
            return float(max(self.ee, self.nn) ** 0.5)
        unit = direction.times(1 / size)
        return float(max(0.0, unit.dot(self.applied_to(unit))) ** 0.5)


def spread_of(direction_deg: float, along: float, across: float) -> Spread:
    """From standard deviations along a direction and across it."""
    sine, cosine = sin(radians(direction_deg)), cos(radians(direction_deg))
    a, c = along * along, across * across
    return Spread(a * sine**2 + c * cosine**2, (a - c) * sine * cosine, a * cosine**2 + c * sine**2)


class Sample(Struct, frozen=True, gc=False):
    """One report beside our estimate of that moment."""

    at_s: float
    theirs: Vector  # as reported, made true
    estimate: Estimate
    own: OwnMotion
    range_nm: float
    bearing_deg: float
    tracked_s: float  # the age of the set's own track


class Wander(Struct, frozen=True, gc=False):
    """How much a set's velocities wander at a moment, squared: along the bearing, and across it for each mile."""

    along2: float
    across2: float

    def spread(self, bearing_deg: float, range_nm: float) -> Spread:
        along = SetNoise.INFLATION * self.along2**0.5
        across = SetNoise.INFLATION * self.across2**0.5 * max(range_nm, 0.25)
        return spread_of(bearing_deg, along, across)


class SetNoise:
    """How much this set's velocities wander: along the bearing in knots, across it in knots for each mile of range.

    Learnt from the scatter of each target's differences about their own mean, over all targets; a constant difference,
    such as a wrong input makes, does not count. Starts with the standard's figures.
    """

    PRIOR_WEIGHT = 20
    MEMORY = 400
    INFLATION = 1.5  # the mean follows a part of the wandering

    def __init__(self) -> None:
        self._weight = float(self.PRIOR_WEIGHT)
        self._along2 = 0.5**2
        self._across2 = 0.25**2

    def learn(self, east_kn: float, north_kn: float, bearing_deg: float, range_nm: float) -> None:
        bearing, along2, across2 = radians(bearing_deg), self._along2, self._across2
        sine, cosine = sin(bearing), cos(bearing)
        along = east_kn * sine + north_kn * cosine
        across = (east_kn * cosine - north_kn * sine) / (range_nm if range_nm > 0.25 else 0.25)
        if self._weight < self.MEMORY:
            self._weight += 1.0
        self._along2 += ((along * along if along * along < 9 * along2 else 9 * along2) - along2) / self._weight
        self._across2 += ((across * across if across * across < 9 * across2 else 9 * across2) - across2) / self._weight

    def wander(self) -> Wander:
        """As learnt by now."""
        return Wander(self._along2, self._across2)


Row = tuple[float, float, float, float, float, float, float, float | None]
"""One sample: its time; the sums, up to and with it, of the differences east and north, so that the mean of any stretch
is a difference of two rows; then our velocity, own velocity, each east and north, and own heading."""


class Mean:
    """A target's difference over the window, with the spread that an honest set's would have.

    Where a set agrees nobody asks for more than the difference. What else there is is worked out when it is asked for,
    from the rows of the time: that halves the cross-check, a tenth of a replay.
    """

    def __init__(self, rows: Sequence[Row], last: Sample, wander: Wander) -> None:
        """`rows`: those of the window, and the one before them."""
        self._rows = rows
        self._last = last
        self._wander = wander
        share, before, end = 1 / (len(rows) - 1), rows[0], rows[-1]
        self.difference = Vector((end[1] - before[1]) * share, (end[2] - before[2]) * share)

    @cached_property
    def spread(self) -> Spread:
        last, p = self._last, self._last.estimate.covariance
        independent = 1 + (last.at_s - self._rows[1][0]) / CORRELATION_S
        wander = self._wander.spread(last.bearing_deg, last.range_nm).times(1 / independent)
        return wander.plus(Spread(p[7], p[8], p[9])).plus(standard_spread(last))

    @cached_property
    def distance2(self) -> float:
        """Chi-square, two degrees, of an honest set."""
        return self.spread.distance2(self.difference)

    @cached_property
    def ours(self) -> Vector:
        """Our answer for the target, the mean."""
        rows = self._rows[1:]
        return Vector(sum(row[3] for row in rows) / len(rows), sum(row[4] for row in rows) / len(rows))

    @cached_property
    def own(self) -> Vector:
        """Own velocity, the mean."""
        rows = self._rows[1:]
        return Vector(sum(row[5] for row in rows) / len(rows), sum(row[6] for row in rows) / len(rows))

    @cached_property
    def heading_deg(self) -> float | None:
        """Own heading, the mean; None where it was not always known."""
        headings = [radians(row[7]) for row in self._rows[1:] if row[7] is not None]
        if len(headings) < len(self._rows) - 1:
            return None
        return Vector(sum(map(sin, headings)), sum(map(cos, headings))).course_deg

    @cached_property
    def drift(self) -> Vector:
        """Of the difference: newer half less older half."""
        rows, count = self._rows, len(self._rows) - 1
        before, half, end = rows[0], rows[count // 2], rows[-1]
        newer, older = 1 / (count - count // 2), 1 / (count // 2)
        return Vector(
            (end[1] - half[1]) * newer - (half[1] - before[1]) * older,
            (end[2] - half[2]) * newer - (half[2] - before[2]) * older,
        )

    def is_steady(self) -> bool:
        """Whether the difference has been the same through the window, as far as the spread can tell."""
        return self.drift.size <= 0.35 * self.difference.size + 2 * self.spread.sd_along(self.drift)


class Window:
    """The samples of one target, bounded."""

    def __init__(self) -> None:
        self.clear()

    def clear(self) -> None:
        self._rows: list[Row] = [(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, None)]  # the first: before any sample
        self._first = 1  # of those in the window
        self._latest: Sample | None = None
        self._kept: tuple[float, Mean | None] = (0.0, None)

    def add(self, sample: Sample, noise: SetNoise) -> None:
        latest, at_s = self._latest, sample.at_s
        if latest is not None and at_s - latest.at_s < SAMPLE_S:
            return
        rows, theirs, own = self._rows, sample.theirs, sample.own
        ours_e, ours_n = sample.estimate.east_kn, sample.estimate.north_kn
        off_e, off_n = theirs.east - ours_e, theirs.north - ours_n
        sum_e, sum_n = rows[-1][1] + off_e, rows[-1][2] + off_n
        rows.append((at_s, sum_e, sum_n, ours_e, ours_n, own.east_kn, own.north_kn, own.heading_deg))
        if len(rows) > SAMPLES + 1:
            del rows[0]
            if self._first > 1:
                self._first -= 1
        self._latest = sample
        self._kept = (float("-inf"), None)
        if len(rows) > 2 * FEWEST:
            share, before = 1 / (len(rows) - 1), rows[0]
            mean_e, mean_n = (sum_e - before[1]) * share, (sum_n - before[2]) * share
            noise.learn(off_e - mean_e, off_n - mean_n, sample.bearing_deg, sample.range_nm)

    def mean(self, now_s: float, noise: SetNoise) -> Mean | None:
        """None while there is too little. `now_s` must not go back."""
        if 0 <= now_s - self._kept[0] < KEPT_S:
            return self._kept[1]
        mean = self._mean(now_s, noise)
        self._kept = (now_s, mean)
        return mean

    def _mean(self, now_s: float, noise: SetNoise) -> Mean | None:
        rows, last, first = self._rows, self._latest, self._first
        while first < len(rows) and now_s - rows[first][0] > WINDOW_S:
            first += 1
        self._first = first
        if last is None or len(rows) - first < FEWEST or last.at_s - rows[first][0] < LEAST_SPAN_S:
            return None
        return Mean(rows[first - 1 :], last, noise.wander())


def standard_spread(sample: Sample) -> Spread:
    """What the standard lets a set err by, as one standard deviation along and across the target's course."""
    ours = Vector(sample.estimate.east_kn, sample.estimate.north_kn)
    speed_95, course_95_deg = standard_95(sample.tracked_s)
    along = max(speed_95, SPEED_95_RATIO * ours.size) / SD_95
    across = max(along, ours.size * sin(radians(course_95_deg)) / SD_95)
    return spread_of(ours.course_deg, along, across)


def standard_95(tracked_s: float) -> tuple[float, float]:
    """True speed (kn) and course (degrees) that a set may be off by, 95 %: its 1 min figures falling to those of 3."""
    part = min(1.0, max(0.0, (tracked_s - 60.0) / (FULL_S - 60.0)))
    return (
        SPEED_95_1MIN_KN + part * (SPEED_95_KN - SPEED_95_1MIN_KN),
        COURSE_95_1MIN_DEG + part * (COURSE_95_DEG - COURSE_95_1MIN_DEG),
    )
