"""Whether two sources of the same quantity agree, while both are fresh."""

from collections.abc import Callable
from math import cos, hypot, radians

from msgspec import Struct

from parsers.observations import GroundMotion, Heading, Observation, Position, Reference

FRESH_S = 1.5
MOST_SOURCES = 16
ENOUGH = 5
"""Fewer comparisons than this say nothing."""

MOVING_KN = 2.0
"""Below this a course over ground is noise."""

Value = tuple[float, ...]


class Limit(Struct, frozen=True):
    """How far apart two honest sensors may be on average (judgement; sensor figures: MSC.116(73), 33 CFR 164.40)."""

    quantity: str
    unit: str
    most: float
    apart: Callable[[Value, Value], float]


def _angle(a: Value, b: Value) -> float:
    return abs((a[0] - b[0] + 180.0) % 360.0 - 180.0)


def _plain(a: Value, b: Value) -> float:
    return abs(a[0] - b[0])


def _distance_nm(a: Value, b: Value) -> float:
    east = ((a[1] - b[1] + 180.0) % 360.0 - 180.0) * cos(radians(a[0]))
    return hypot(a[0] - b[0], east) * 60.0


LIMITS = {
    limit.quantity: limit
    for limit in (
        Limit("true heading", "°", 3.0, _angle),
        Limit("magnetic heading", "°", 5.0, _angle),
        Limit("position", "NM", 0.05, _distance_nm),
        Limit("speed over ground", "kn", 1.0, _plain),
        Limit("course over ground", "°", 8.0, _angle),
    )
}


class Comparison(Struct, frozen=True, kw_only=True):
    """Two sources of one quantity: mean and greatest difference over `times` comparisons."""

    quantity: str
    unit: str
    first: str
    second: str
    times: int
    mean: float
    greatest: float
    limit: float

    @property
    def disagrees(self) -> bool:
        """They differ by more on average than two honest sensors may."""
        return self.mean > self.limit


class Comparisons:
    """Holds the newest value of each source, and sums of differences for each pair; bounded."""

    def __init__(self) -> None:
        self._newest: dict[str, dict[str, tuple[float, Value]]] = {}
        self._sums: dict[tuple[str, str, str], tuple[int, float, float]] = {}

    def see(self, observation: Observation) -> None:
        """Hold it against the fresh values of all other sources."""
        for quantity, value in _values(observation):
            self._compare(quantity, str(observation.source), observation.at_s, value)

    def results(self) -> list[Comparison]:
        """All pairs that were compared often enough, those that disagree first."""
        made = [
            Comparison(
                quantity=quantity,
                unit=LIMITS[quantity].unit,
                first=first,
                second=second,
                times=times,
                mean=total / times,
                greatest=greatest,
                limit=LIMITS[quantity].most,
            )
            for (quantity, first, second), (times, total, greatest) in self._sums.items()
            if times >= ENOUGH
        ]
        return sorted(made, key=lambda one: (not one.disagrees, one.quantity, one.first, one.second))

    def _compare(self, quantity: str, source: str, at_s: float, value: Value) -> None:
        newest = self._newest.setdefault(quantity, {})
        if source not in newest and len(newest) >= MOST_SOURCES:
            return
        for other, (other_s, other_value) in newest.items():
            if other != source and at_s - other_s <= FRESH_S:
                first, second = sorted((source, other))
                apart = LIMITS[quantity].apart(value, other_value)
                times, total, greatest = self._sums.get((quantity, first, second), (0, 0.0, 0.0))
                self._sums[quantity, first, second] = (times + 1, total + apart, max(greatest, apart))
        newest[source] = (at_s, value)


def _values(observation: Observation) -> list[tuple[str, Value]]:
    if isinstance(observation, Heading):
        magnetic = observation.reference is Reference.MAGNETIC
        return [("magnetic heading" if magnetic else "true heading", (observation.heading_deg,))]
    if isinstance(observation, Position):
        return [("position", (observation.lat_deg, observation.lon_deg))]
    if isinstance(observation, GroundMotion) and observation.sog_kn is not None:
        values: list[tuple[str, Value]] = [("speed over ground", (observation.sog_kn,))]
        if observation.cog_deg is not None and observation.sog_kn > MOVING_KN:
            values.append(("course over ground", (observation.cog_deg,)))
        return values
    return []
