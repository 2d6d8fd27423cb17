"""What the set says of one target, held against ours: differences over the last minute, and how large they may be.

A difference is a vector, the set's velocity less ours, in knots east and north. A set's tracker makes it wander with
time constants of tens of seconds, so that single reports prove nothing: means over a window do, against a spread that
is learnt from the wandering itself.
"""

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
        return v.dot(self.inverse().applied_to(v))

    def sd_along(self, direction: Vector) -> float:
        size = direction.size
        if size == 0:
            return float(max(self.ee, self.nn) ** 0.5)
        unit = direction.times(1 / size)
        return float(max(0.0, unit.dot(self.applied_to(unit))) ** 0.5)


def spread_of(direction_deg: float, along: float, across: float) -> Spread:
    """From standard deviations along a direction and across it."""
    u = toward(direction_deg, 1.0)
    a, c = along * along, across * across
    return Spread(a * u.east**2 + c * u.north**2, (a - c) * u.east * u.north, a * u.north**2 + c * u.east**2)


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

    def learn(self, residual: Vector, bearing_deg: float, range_nm: float) -> None:
        u = toward(bearing_deg, 1.0)
        along = residual.dot(u)
        across = residual.dot(Vector(u.north, -u.east)) / max(range_nm, 0.25)
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
    """Sums up to and with one sample: the mean over any stretch is a difference of two rows."""

    at_s: float
    difference: Vector
    ours: Vector
    own: Vector
    heading: Vector
    headings: int


_NOUGHT = Vector(0.0, 0.0)


class Window:
    """The samples of one target, bounded. Means are asked for far more often than samples come in: they are kept."""

    def __init__(self) -> None:
        self.clear()

    def clear(self) -> None:
        self._rows: list[_Row] = [_Row(0.0, _NOUGHT, _NOUGHT, _NOUGHT, _NOUGHT, 0)]  # the first: before any sample
        self._latest: Sample | None = None
        self._kept: tuple[float, Mean | None] = (0.0, None)

    def add(self, sample: Sample, noise: SetNoise) -> None:
        if self._latest is not None and sample.at_s - self._latest.at_s < SAMPLE_S:
            return
        rows, last = self._rows, self._rows[-1]
        difference = sample.difference
        known = sample.heading_deg is not None
        heading = toward(sample.heading_deg, 1.0) if sample.heading_deg is not None else _NOUGHT
        rows.append(
            _Row(
                sample.at_s,
                last.difference.plus(difference),
                last.ours.plus(sample.ours),
                last.own.plus(sample.own),
                last.heading.plus(heading),
                last.headings + known,
            )
        )
        if len(rows) > SAMPLES + 1:
            del rows[0]
        self._latest = sample
        self._kept = (float("-inf"), None)
        if len(rows) > 2 * FEWEST:
            mean = rows[-1].difference.less(rows[0].difference).times(1 / (len(rows) - 1))
            noise.learn(difference.less(mean), sample.bearing_deg, sample.range_nm)

    def mean(self, now_s: float, noise: SetNoise) -> Mean | None:
        """None while there is too little."""
        if 0 <= now_s - self._kept[0] < KEPT_S:
            return self._kept[1]
        mean = self._mean(now_s, noise)
        self._kept = (now_s, mean)
        return mean

    def _mean(self, now_s: float, noise: SetNoise) -> Mean | None:
        rows, last = self._rows, self._latest
        first = next((i for i in range(1, len(rows)) if now_s - rows[i].at_s <= WINDOW_S), len(rows))
        count = len(rows) - first
        if last is None or count < FEWEST or last.at_s - rows[first].at_s < LEAST_SPAN_S:
            return None
        before, half, end = rows[first - 1], rows[first + count // 2 - 1], rows[-1]
        independent = 1 + (last.at_s - rows[first].at_s) / CORRELATION_S
        wander = noise.spread(last.bearing_deg, last.range_nm).times(1 / independent)
        newer = end.difference.less(half.difference).times(1 / (count - count // 2))
        older = half.difference.less(before.difference).times(1 / (count // 2))
        all_headings = end.headings - before.headings == count
        return Mean(
            difference=end.difference.less(before.difference).times(1 / count),
            spread=wander.plus(last.ours_spread).plus(standard_spread(last)),
            ours=end.ours.less(before.ours).times(1 / count),
            own=end.own.less(before.own).times(1 / count),
            heading_deg=end.heading.less(before.heading).course_deg if all_headings else None,
            drift=newer.less(older),
        )


def standard_spread(sample: Sample) -> Spread:
    """What the standard lets a set err by, as one standard deviation along and across the target's course."""
    speed_95, course_95_deg = sample.theirs_95
    speed_kn = sample.ours.size
    along = max(speed_95, SPEED_95_RATIO * speed_kn) / SD_95
    across = max(along, speed_kn * sin(radians(course_95_deg)) / SD_95)
    return spread_of(sample.ours.course_deg, along, across)
