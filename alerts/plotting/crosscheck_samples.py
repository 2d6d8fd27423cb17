"""What the set says of one target, held against ours: differences over the last minute, and how large they may be.

A difference is a vector, the set's velocity less ours, in knots east and north. A set's tracker makes it wander with
time constants of tens of seconds, so that single reports prove nothing: means over a window do, against a spread that
is learnt from the wandering itself.
"""

from bisect import bisect_left
from math import atan2, cos, degrees, radians, sin
from typing import NamedTuple

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


class Vector(NamedTuple):
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
        return float((self.east**2 + self.north**2) ** 0.5)

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


class Spread(NamedTuple):
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
        ee, en, nn = self
        east, north = v
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


class Sample(NamedTuple):
    """One report beside our estimate of that moment."""

    at_s: float
    theirs: Vector  # as reported, made true
    ours: Vector
    ours_spread: Spread
    own: Vector
    heading_deg: float | None
    range_nm: float
    bearing_deg: float
    theirs_95: tuple[float, float]  # the standard's speed (kn) and course (degrees) for the age of the set's track

    @property
    def difference(self) -> Vector:
        return self.theirs.less(self.ours)


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
        sine, cosine = sin(radians(bearing_deg)), cos(radians(bearing_deg))
        along = east_kn * sine + north_kn * cosine
        across = (east_kn * cosine - north_kn * sine) / max(range_nm, 0.25)
        self._weight = min(self._weight + 1, float(self.MEMORY))
        self._along2 += (min(along * along, 9 * self._along2) - self._along2) / self._weight
        self._across2 += (min(across * across, 9 * self._across2) - self._across2) / self._weight

    def spread(self, bearing_deg: float, range_nm: float) -> Spread:
        along = self.INFLATION * self._along2**0.5
        across = self.INFLATION * self._across2**0.5 * max(range_nm, 0.25)
        return spread_of(bearing_deg, along, across)


class Mean(NamedTuple):
    """A target's difference over the window, with the spread that an honest set's would have."""

    difference: Vector
    spread: Spread
    ours: Vector
    own: Vector
    heading_deg: float | None
    drift: Vector  # of the difference: newer half less older half

    @property
    def distance2(self) -> float:
        """Chi-square, two degrees, of an honest set."""
        return self.spread.distance2(self.difference)

    def is_steady(self) -> bool:
        """Whether the difference has been the same through the window, as far as the spread can tell."""
        return self.drift.size <= 0.35 * self.difference.size + 2 * self.spread.sd_along(self.drift)


class _Row(NamedTuple):
    """Sums up to and with one sample: the mean over any stretch is a difference of two rows.

    Plain numbers, east and north of each: with a Vector for each the whole cross-check took 1.4 times as long.
    """

    at_s: float
    off_e: float  # theirs less ours
    off_n: float
    ours_e: float
    ours_n: float
    own_e: float
    own_n: float
    heading_e: float
    heading_n: float
    headings: int


class Window:
    """The samples of one target, bounded. Means are asked for far more often than samples come in: they are kept."""

    def __init__(self) -> None:
        self.clear()

    def clear(self) -> None:
        self._rows: list[_Row] = [_Row(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0)]  # the first: before any sample
        self._latest: Sample | None = None
        self._kept: tuple[float, Mean | None] = (0.0, None)

    def add(self, sample: Sample, noise: SetNoise) -> None:
        if self._latest is not None and sample.at_s - self._latest.at_s < SAMPLE_S:
            return
        rows = self._rows
        _, off_e, off_n, ours_e, ours_n, own_e, own_n, heading_e, heading_n, headings = rows[-1]
        at_s, theirs, ours, _, own, heading_deg, range_nm, bearing_deg, _ = sample
        difference_e, difference_n = theirs.east - ours.east, theirs.north - ours.north
        if heading_deg is not None:
            heading_e += sin(radians(heading_deg))
            heading_n += cos(radians(heading_deg))
            headings += 1
        off_e += difference_e
        off_n += difference_n
        ours_e += ours.east
        ours_n += ours.north
        rows.append(
            _Row(
                at_s, off_e, off_n, ours_e, ours_n, own_e + own.east, own_n + own.north, heading_e, heading_n, headings
            )
        )
        if len(rows) > SAMPLES + 1:
            del rows[0]
        self._latest = sample
        self._kept = (float("-inf"), None)
        if len(rows) > 2 * FEWEST:
            share, before = 1 / (len(rows) - 1), rows[0]
            mean_e, mean_n = (off_e - before.off_e) * share, (off_n - before.off_n) * share
            noise.learn(difference_e - mean_e, difference_n - mean_n, bearing_deg, range_nm)

    def mean(self, now_s: float, noise: SetNoise) -> Mean | None:
        """None while there is too little."""
        if 0 <= now_s - self._kept[0] < KEPT_S:
            return self._kept[1]
        mean = self._mean(now_s, noise)
        self._kept = (now_s, mean)
        return mean

    def _mean(self, now_s: float, noise: SetNoise) -> Mean | None:
        rows, last = self._rows, self._latest
        first = bisect_left(rows, True, 1, key=lambda row: now_s - row.at_s <= WINDOW_S)
        count = len(rows) - first
        if last is None or count < FEWEST or last.at_s - rows[first].at_s < LEAST_SPAN_S:
            return None
        before, half, end = rows[first - 1], rows[first + count // 2 - 1], rows[-1]
        independent = 1 + (last.at_s - rows[first].at_s) / CORRELATION_S
        wander = noise.spread(last.bearing_deg, last.range_nm).times(1 / independent)
        all_headings = end.headings - before.headings == count
        heading = Vector(end.heading_e - before.heading_e, end.heading_n - before.heading_n)
        share, newer, older = 1 / count, 1 / (count - count // 2), 1 / (count // 2)
        return Mean(
            difference=Vector((end.off_e - before.off_e) * share, (end.off_n - before.off_n) * share),
            spread=wander.plus(last.ours_spread).plus(standard_spread(last)),
            ours=Vector((end.ours_e - before.ours_e) * share, (end.ours_n - before.ours_n) * share),
            own=Vector((end.own_e - before.own_e) * share, (end.own_n - before.own_n) * share),
            heading_deg=heading.course_deg if all_headings else None,
            drift=Vector(
                (end.off_e - half.off_e) * newer - (half.off_e - before.off_e) * older,
                (end.off_n - half.off_n) * newer - (half.off_n - before.off_n) * older,
            ),
        )


def standard_spread(sample: Sample) -> Spread:
    """What the standard lets a set err by, as one standard deviation along and across the target's course."""
    speed_95, course_95_deg = sample.theirs_95
    speed_kn = sample.ours.size
    along = max(speed_95, SPEED_95_RATIO * speed_kn) / SD_95
    across = max(along, speed_kn * sin(radians(course_95_deg)) / SD_95)
    return spread_of(sample.ours.course_deg, along, across)
