"""A fault that all targets share: one vector, or one wrong reading of the set's figures; and what it comes from.

A wrong input does the same to every target. A speed input that is wrong adds a vector along own heading; a heading
that is wrong turns own velocity, which adds one across it that grows with own speed; a set that reports motion through
the water leaves out the stream, which stays where it is when own ship turns. One leg can leave these in doubt, and is
then said to; a second on another course decides.
"""

from collections.abc import Callable, Sequence
from enum import StrEnum
from math import asin, degrees
from statistics import median
from typing import NamedTuple

from alerts.plotting.crosscheck_samples import Mean, Spread, Vector, toward

KM_H_IN_KNOT = 1.852

LEAST_COMMON_KN = 1.0
"""A smaller common vector is within what input sensors may err by (log 0.5 kn, 33 CFR 164.40) and a common stream."""

SIGNIFICANT2 = 25.0
FITS2 = 12.0
"""Squared standard deviations: a vector beyond five is there; one within three and a half fits (0.25 % by chance)."""

SHARE = 0.6
"""So many of the targets must show the common fault."""

ALONG_DEG = 20.0
ACROSS_DEG = 20.0
"""How far off a common vector may lie, beyond its own error, and still be along own heading or across it."""

LARGEST_HEADING_FAULT_DEG = 45.0
MATCH_KN = 0.5
"""How near two vectors must be, beyond their errors, to be the same."""

NEW_LEG_DEG = 25.0


class Kind(StrEnum):
    """What a common fault comes from."""

    UNITS = "units"
    REFERENCE = "reference"
    WATER = "water"
    SPEED_INPUT = "speed input"
    HEADING_INPUT = "heading input"
    UNCLEAR = "speed or heading input, or water"


class Reading(StrEnum):
    """A wrong reading of the set's figures that would explain them."""

    SPEED_KM_H = "its speeds look like km/h sent as knots"
    SPEED_KNOTS = "its speeds look like knots sent as km/h"
    ALL_KM = "its figures look like kilometres sent as nautical miles (or its speed input is 1.85 times ours)"
    ALL_NM = "its figures look like nautical miles sent as kilometres (or its speed input is 0.54 of ours)"
    COURSE_RELATIVE = "its courses look relative to our bow, though sent as true"
    COURSE_TRUE = "its courses look true, though sent as relative to our bow"
    RELATIVE_MOTION = "it seems to report relative motion as true, or to take our speed for zero"
    BEARING_RELATIVE = "its bearings look relative to our bow, though sent as true"
    BEARING_TRUE = "its bearings look true, though sent as relative to our bow"


KIND_OF = {
    Reading.SPEED_KM_H: Kind.UNITS,
    Reading.SPEED_KNOTS: Kind.UNITS,
    Reading.ALL_KM: Kind.UNITS,
    Reading.ALL_NM: Kind.UNITS,
}


OWN_TIMES = {Reading.ALL_KM: KM_H_IN_KNOT - 1, Reading.ALL_NM: 1 / KM_H_IN_KNOT - 1, Reading.RELATIVE_MOTION: -1.0}
"""Readings that make one vector of all targets' differences: own velocity by this factor. Ranges are scaled with a unit
too, so our own answer, made from them, is already wrong: only own motion is left over."""


def expected(reading: Reading, mean: Mean) -> Vector | None:
    """The difference that this reading would make of a target; None where it cannot be told."""
    ours, own, heading = mean.ours, mean.own, mean.heading_deg
    factors = {Reading.SPEED_KM_H: KM_H_IN_KNOT, Reading.SPEED_KNOTS: 1 / KM_H_IN_KNOT}
    if reading in factors:
        return ours.times(factors[reading] - 1)
    if reading in OWN_TIMES:
        return own.times(OWN_TIMES[reading])
    if heading is None:
        return None
    turn = heading if reading in (Reading.COURSE_TRUE, Reading.BEARING_RELATIVE) else -heading
    if reading in (Reading.COURSE_RELATIVE, Reading.COURSE_TRUE):
        return ours.turned(turn).less(ours)
    return ours.less(own).turned(turn).plus(own).less(ours)


def wrong_reading(means: Sequence[Mean]) -> Reading | None:
    """The reading under which the targets' figures agree with ours, where as sent they do not. None: there is none."""
    if not means or not _rejected(means):
        return None
    plain = sum(min(mean.distance2, 400.0) for mean in means)
    best: tuple[float, Reading] | None = None
    for reading in Reading:
        misfit = _misfit(reading, means)
        if misfit is not None and misfit < plain / 5 and (best is None or misfit < best[0]):
            best = misfit, reading
    return best[1] if best else None


def _rejected(means: Sequence[Mean]) -> bool:
    """Whether enough targets differ, as sent, by enough."""
    limit2, least_kn = (SIGNIFICANT2, LEAST_COMMON_KN) if len(means) > 1 else (2 * SIGNIFICANT2, 3.0)
    off = sum(mean.difference.size > least_kn and mean.distance2 > limit2 for mean in means)
    return off >= max(1, len(means) / 2)


def _misfit(reading: Reading, means: Sequence[Mean]) -> float | None:
    total, fitting = 0.0, 0
    for mean in means:
        difference = expected(reading, mean)
        if difference is None:
            return None
        distance2 = mean.spread.distance2(mean.difference.less(difference))
        total += min(distance2, 400.0)
        fitting += distance2 < FITS2
    return total if fitting >= max(1, 0.8 * len(means)) else None


READING_MATCH_KN, READING_SD_KN = 0.12, 0.28


class Common(NamedTuple):
    """One vector that most targets share. `members` are the indices of these."""

    vector: Vector
    spread: Spread
    members: tuple[int, ...]


def common_vector(means: Sequence[Mean]) -> Common | None:
    """The vector that most of the targets' differences share, if it is there beyond doubt; at least two targets."""
    if len(means) < 2:
        return None
    vector = Vector(median(m.difference.east for m in means), median(m.difference.north for m in means))
    if vector.size < LEAST_COMMON_KN / 2:
        return None
    members: tuple[int, ...] = ()
    spread = means[0].spread
    for _ in range(4):
        members = tuple(i for i, m in enumerate(means) if m.spread.distance2(m.difference.less(vector)) < FITS2)
        if len(members) < max(2, SHARE * len(means)):
            return None
        vector, spread = _weighted([means[i] for i in members])
    if vector.size < LEAST_COMMON_KN or spread.distance2(vector) < SIGNIFICANT2:
        return None
    return Common(vector, spread, members)


class Undecided(Exception):  # noqa: N818 - no error: a wait
    """The common vector may be a reading's or not; it is not known well enough yet."""


def reading_of(common: Common, own: Vector) -> Reading | None:
    """The reading that would make this very vector, if one would. Raises Undecided while that can't be told."""
    for reading, factor in OWN_TIMES.items():
        off = common.vector.less(own.times(factor))
        sd = common.spread.sd_along(off)
        if off.size <= READING_MATCH_KN + sd and sd <= READING_SD_KN:
            return reading
        if off.size <= 1.4 * (READING_MATCH_KN + sd) and sd > READING_SD_KN:
            raise Undecided
    return None


def _weighted(means: Sequence[Mean]) -> tuple[Vector, Spread]:
    """Best vector of several, each weighted by its spread."""
    information = Spread(0.0, 0.0, 0.0)
    total = Vector(0.0, 0.0)
    for mean in means:
        weight = mean.spread.inverse()
        information = information.plus(weight)
        total = total.plus(weight.applied_to(mean.difference))
    spread = information.inverse()
    return spread.applied_to(total), spread


class Leg(NamedTuple):
    """The common vector on one steady leg of own ship, with the stream that own sensors showed, if they did."""

    vector: Vector
    spread: Spread
    own: Vector
    heading_deg: float
    stream: Vector | None

    def near(self, other: Vector) -> float:
        """How far another vector is off, over what it may be (1: just the same)."""
        off = self.vector.less(other)
        return off.size / (MATCH_KN + 2 * self.spread.sd_along(off))


def cause_of(legs: Sequence[Leg]) -> Kind:
    """What the common vectors of these legs (the last is the present one) come from."""
    last = legs[-1]
    if last.stream is not None and last.stream.size >= LEAST_COMMON_KN / 2 and last.near(last.stream.times(-1)) <= 1:
        return Kind.WATER
    alike = [leg for leg in legs if leg is last or leg.vector.size >= LEAST_COMMON_KN / 2]
    turned = [leg for leg in alike if abs(_short(leg.heading_deg - last.heading_deg)) >= NEW_LEG_DEG]
    models: dict[Kind, Callable[[Leg], Vector]] = {
        Kind.SPEED_INPUT: _as_speed(last),
        Kind.HEADING_INPUT: _as_heading(last),
        Kind.WATER: lambda leg: last.vector,
    }
    if turned:
        misfits = {kind: max(leg.near(model(leg)) for leg in turned) for kind, model in models.items()}
        for kind in (Kind.SPEED_INPUT, Kind.HEADING_INPUT):
            if not _points(kind, last):
                misfits[kind] = float("inf")
        best = min(misfits, key=lambda kind: misfits[kind])
        if misfits[best] <= 1.5:
            return best
    for kind in (Kind.SPEED_INPUT, Kind.HEADING_INPUT):
        if _points(kind, last):
            return kind
    return Kind.UNCLEAR


def _points(kind: Kind, leg: Leg) -> bool:
    """Whether the vector lies as that input's fault would put it: along own heading, or across own velocity."""
    along_deg = abs(_short(leg.vector.course_deg - leg.heading_deg))
    error_deg = degrees(asin(min(1.0, 1.5 * leg.spread.sd_along(leg.vector.turned(90)) / leg.vector.size)))
    if kind is Kind.SPEED_INPUT:
        return min(along_deg, 180 - along_deg) <= ALONG_DEG + min(error_deg, 20.0)
    turn_deg = heading_fault_deg(leg)
    if turn_deg is None or abs(turn_deg) > LARGEST_HEADING_FAULT_DEG:
        return False
    # own velocity turned by an angle differs from itself by a vector that lies square to the half-way direction
    square_deg = _short(leg.own.course_deg + turn_deg / 2 + (90 if turn_deg > 0 else -90) - leg.vector.course_deg)
    return abs(square_deg) <= ACROSS_DEG + min(error_deg, 20.0)


def heading_fault_deg(leg: Leg) -> float | None:
    """The turn of own velocity that makes the vector, clockwise positive; None where own ship is too slow for it."""
    if leg.own.size < max(2.0, leg.vector.size / 2):
        return None
    turn = 2 * degrees(asin(leg.vector.size / (2 * leg.own.size)))
    to_starboard = leg.vector.dot(Vector(leg.own.north, -leg.own.east)) > 0
    return turn if to_starboard else -turn


def _as_speed(last: Leg) -> Callable[[Leg], Vector]:
    along_kn = last.vector.dot(toward(last.heading_deg, 1.0))
    return lambda leg: toward(leg.heading_deg, along_kn)


def _as_heading(last: Leg) -> Callable[[Leg], Vector]:
    turn_deg = heading_fault_deg(last) or 0.0
    return lambda leg: leg.own.turned(turn_deg).less(leg.own)


def _short(deg: float) -> float:
    return (deg + 180) % 360 - 180
