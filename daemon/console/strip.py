"""The drift strip: a target's bearing against time, in characters.

Time runs upward, now at the top; across is how far the bearing has moved since the bottom of the strip. A vertical
line is a steady bearing. A line that leans toward the side marked 'ahead' is drawing ahead of us.
"""

from collections.abc import Sequence

from msgspec import Struct

from daemon.console.board import Point

# Half widths of the strip in degrees: the smallest that holds the drift.
SCALES_DEG = (2.0, 5.0, 10.0, 20.0, 45.0, 90.0)
# Closer than this to the bow or stern line, left and right are neither ahead nor astern.
END_ON_DEG = 3.0


class Strip(Struct, frozen=True):
    """`marks` holds one column for each minute from now (first) back, None where nothing was seen."""

    marks: tuple[int | None, ...]
    width: int
    scale_deg: float
    left: str
    right: str
    reference: str  # T, or R where no true bearing is known

    @property
    def centre(self) -> int:
        return self.width // 2


def _bearing(point: Point, true: bool) -> float | None:
    return point.bearing_deg if true else point.relative_bearing_deg


def _turn(from_deg: float, to_deg: float) -> float:
    """The smaller angle from one bearing to another, clockwise positive."""
    return (to_deg - from_deg + 180.0) % 360.0 - 180.0


def sides(relative_deg: float | None) -> tuple[str, str]:
    """What lies to the left and right of a bearing line, for a target on that side of own ship.

    To starboard, a bearing that draws left draws ahead; to port, one that draws right does.
    """
    if relative_deg is None or abs(relative_deg) < END_ON_DEG or abs(relative_deg) > 180.0 - END_ON_DEG:
        return ("left", "right")
    return ("ahead", "astern") if relative_deg > 0 else ("astern", "ahead")


def strip(history: Sequence[Point], now_s: float, minutes: int, width: int) -> Strip:
    """The last `minutes` of a target's bearing, a row for each minute, as columns 0 to width - 1."""
    true = any(point.bearing_deg is not None for point in history)
    means = _minute_means(history, now_s, minutes, true)
    known = [mean for mean in means if mean is not None]
    base = known[-1] if known else 0.0
    drifts = [None if mean is None else _turn(base, mean) for mean in means]
    widest = max((abs(drift) for drift in drifts if drift is not None), default=0.0)
    scale = next((step for step in SCALES_DEG if widest <= step), 180.0)
    half = width // 2
    marks = tuple(None if drift is None else half + round(half * drift / scale) for drift in drifts)
    left, right = sides(history[-1].relative_bearing_deg if history else None)
    return Strip(marks, width, scale, left, right, "T" if true else "R")


def _minute_means(history: Sequence[Point], now_s: float, minutes: int, true: bool) -> list[float | None]:
    """The mean bearing about each whole minute before now (the last half minute, then a minute each)."""
    bins: list[list[float]] = [[] for _ in range(minutes)]
    for point in history:
        value = _bearing(point, true)
        row = round((now_s - point.at_s) / 60.0)
        if value is not None and 0 <= row < minutes:
            bins[row].append(value)
    return [_mean(values) for values in bins]


def _mean(values: Sequence[float]) -> float | None:
    """The mean of bearings that lie close together, across north too."""
    if not values:
        return None
    return (values[0] + sum(_turn(values[0], value) for value in values) / len(values)) % 360.0
