"""Echo steadiness of one target: its rhythm, what was missed, and its scatter about a smoothed track.

The track is smoothed in short blocks: through each some ten reports a parabola in time is laid by least squares, in the
ground plane, so that neither own ship's nor the target's gentle motion counts as scatter. Residuals are split along the
line of sight (range, in metres) and across it (bearing, in degrees). A block never straddles a change of settings.
"""

from collections import deque
from itertools import pairwise
from math import cos, degrees, radians, sin
from operator import mul

import numpy as np
from msgspec import Struct

from alerts.plotting.kinematics import Look
from parsers.observations import NM_M

BLOCK_REPORTS = 10
BLOCK_LEAST = 6  # a parabola has three numbers on each axis; fewer reports leave too little over
BLOCK_S = 60.0
BANDS_NM = (1.0, 3.0, 6.0, 12.0)
"""Upper ends of the range bands in which scatter is told; the last band has none."""

_RHYTHM_INTERVALS = 40
_MOST_BLOCKS = 40  # of ten reports: twenty minutes at one report in three seconds
_MOST_TIMES = 800


class Block(Struct, frozen=True, gc=False):
    """Some ten reports against their own smoothed track: sums of squares, and lag-one products for correlation."""

    first_s: float
    last_s: float
    reports: int
    range_nm: float
    freedom: float  # of each axis
    range_m2: float
    bearing_deg2: float
    range_lag: float
    bearing_lag: float


class Scatter(Struct, frozen=True):
    """One standard deviation about the smoothed track, over so many degrees of freedom; correlation of neighbours."""

    range_m: float | None
    bearing_deg: float | None
    freedom: float
    range_correlation: float = 0.0
    bearing_correlation: float = 0.0


class Echo:
    """One target's reports, bounded: times for rhythm and misses, closed blocks for scatter."""

    def __init__(self, first_s: float) -> None:
        self.first_s = first_s
        self.last_s = first_s
        self.settled = False
        self.range_nm = 0.0
        self.reports = self.repeats = 0
        self.times: deque[float] = deque(maxlen=_MOST_TIMES)
        self.blocks: deque[Block] = deque(maxlen=_MOST_BLOCKS)
        self._looks: list[Look] = []

    def see(self, look: Look, steady: bool) -> Block | None:
        """One new measurement; the block that it closes, if it does.

        While the target manoeuvres (`steady` False) it counts as received, not as scatter.
        """
        self.times.append(look.at_s)
        self.last_s, self.range_nm = look.at_s, look.range_nm
        self.reports += 1
        if not steady:
            self._looks.clear()
            return None
        closed = None
        if self._looks and look.at_s - self._looks[0].at_s > BLOCK_S:
            closed = self.close_block()
        self._looks.append(look)
        return self.close_block() if len(self._looks) >= BLOCK_REPORTS else closed

    def close_block(self) -> Block | None:
        """Ends the block that is open, and drops it where it is too short to say anything."""
        closed = None
        if len(self._looks) >= BLOCK_LEAST and self._looks[-1].at_s > self._looks[0].at_s:
            closed = block_of(self._looks)
            self.blocks.append(closed)
        self._looks.clear()
        return closed

    def rhythm_s(self, until_s: float, from_s: float = float("-inf")) -> float | None:
        """Seconds between reports when none is missed, from those of a window (its last forty); None while too few.

        The shorter intervals set the scale (losses only lengthen them), then all intervals of about once that are
        averaged.
        """
        times = [at_s for at_s in self.times if from_s < at_s <= until_s][-_RHYTHM_INTERVALS - 1 :]
        gaps = sorted(b - a for a, b in pairwise(times) if b > a)
        if len(gaps) < 5:
            return None
        scale = gaps[len(gaps) * 3 // 10]
        single = [gap for gap in gaps if 0.5 * scale <= gap <= 1.5 * scale]
        return sum(single) / len(single)

    def is_regular(self, from_s: float, to_s: float) -> bool:
        """Whether at least 85 % of the window's intervals lie within a fifth of the middle one: a rhythm, no losses."""
        gaps = sorted(b - a for a, b in pairwise(at_s for at_s in self.times if from_s < at_s <= to_s))
        if len(gaps) < 5:
            return False
        middle = gaps[len(gaps) // 2]
        return sum(abs(gap - middle) <= 0.2 * middle for gap in gaps) >= 0.85 * len(gaps)

    def received(self, from_s: float, to_s: float) -> int:
        """Reports in (from, to]."""
        return sum(from_s < at_s <= to_s for at_s in self.times)

    def slots(self, from_s: float, to_s: float, rhythm_s: float) -> list[bool]:
        """The window's expected reports in order, True where received: a gap of n rhythms is n - 1 misses."""
        slots: list[bool] = []
        if len(self.times) == _MOST_TIMES:  # what came before them is forgotten, not missed
            from_s = max(from_s, self.times[0])
        last_s = max((at_s for at_s in self.times if at_s <= from_s), default=from_s)
        for at_s in self.times:
            if from_s < at_s <= to_s:
                begun = max(last_s, from_s - rhythm_s / 2)
                slots += [False] * max(0, round((at_s - begun) / rhythm_s) - 1)
                slots.append(True)
                last_s = at_s
        tail = to_s - max(last_s, from_s)
        return slots + [False] * max(0, int(tail / rhythm_s - 0.5))

    def blocks_in(self, from_s: float, to_s: float) -> list[Block]:
        """The blocks wholly inside a window."""
        return [one for one in self.blocks if from_s <= one.first_s and one.last_s <= to_s]

    def scatter(self, from_s: float = float("-inf"), band: int | None = None) -> Scatter:
        """Over the blocks since a moment, and inside one range band if one is named."""
        blocks = self.blocks_in(from_s, float("inf"))
        return pooled([one for one in blocks if band is None or band_of(one.range_nm) == band])


def band_of(range_nm: float) -> int:
    """Which range band, 0 to len(BANDS_NM)."""
    return sum(range_nm > edge for edge in BANDS_NM)


def _smoothing_table() -> tuple[list[float], list[float], list[float]]:
    """What a parabola leaves of first-order noise in a block of ten: correlations, lag ratios, shares of the variance.

    Exact: traces of the residual-maker with the noise's own correlation matrix.
    """
    at = np.linspace(-0.5, 0.5, BLOCK_REPORTS)
    design = np.column_stack([np.ones_like(at), at, at * at])
    keep = np.eye(BLOCK_REPORTS) - design @ np.linalg.pinv(design)
    apart = np.abs(np.subtract.outer(np.arange(BLOCK_REPORTS), np.arange(BLOCK_REPORTS)))
    correlations = [k / 50 for k in range(48)]
    ratios, shares = [], []
    for rho in correlations:
        left = keep @ (rho**apart if rho else np.eye(BLOCK_REPORTS)) @ keep
        ratios.append(float(np.trace(left, 1) / np.trace(left)))
        shares.append(float(np.trace(left) / (BLOCK_REPORTS - 3)))
    return correlations, ratios, shares


_CORRELATIONS, _RATIOS, _SHARES = _smoothing_table()
_FREEDOM_FOR_SMOOTHING = 40.0  # with less to go by, correlation is not told from chance and is not corrected for


def pooled(blocks: list[Block]) -> Scatter:
    """The scatter of blocks taken together.

    A set that smooths its reports makes neighbours alike, and a parabola then takes up some of the noise; where there
    is enough to measure the correlation by, the scatter is freed of that.
    """
    freedom, range_m2, range_lag, bearing_deg2, bearing_lag = _sums(blocks)
    if freedom <= 0:
        return Scatter(None, None, 0.0)
    range_m2, rho = _freed(range_m2, range_lag, freedom)
    bearing_deg2, theta = _freed(bearing_deg2, bearing_lag, freedom)
    return Scatter(range_m2**0.5, bearing_deg2**0.5, freedom, rho, theta)


def residual(blocks: list[Block]) -> Scatter:
    """The same as the parabolas left it, for comparing like with like; correlations are those of the residuals."""
    freedom, range_m2, range_lag, bearing_deg2, bearing_lag = _sums(blocks)
    if freedom <= 0:
        return Scatter(None, None, 0.0)
    alike = [
        min(max(lagged / squares - _RATIOS[0], 0.0), 0.95) if squares > 0 else 0.0
        for lagged, squares in ((range_lag, range_m2), (bearing_lag, bearing_deg2))
    ]
    return Scatter((range_m2 / freedom) ** 0.5, (bearing_deg2 / freedom) ** 0.5, freedom, *alike)


def _sums(blocks: list[Block]) -> tuple[float, float, float, float, float]:
    """Freedom, squares and lag-one products of range, the same of bearing."""
    return (
        sum(one.freedom for one in blocks),
        sum(one.range_m2 for one in blocks),
        sum(one.range_lag for one in blocks),
        sum(one.bearing_deg2 for one in blocks),
        sum(one.bearing_lag for one in blocks),
    )


def _freed(squares: float, lagged: float, freedom: float) -> tuple[float, float]:
    """Variance and correlation of the noise from what the parabolas left of it."""
    variance = squares / freedom
    if squares <= 0 or freedom < _FREEDOM_FOR_SMOOTHING:
        return variance, 0.0
    rho = float(np.interp(lagged / squares, _RATIOS, _CORRELATIONS))
    return variance / float(np.interp(rho, _CORRELATIONS, _SHARES)), rho


def block_of(looks: list[Look]) -> Block:
    """A block's residuals about its own parabola.

    In plain floats: numpy took 9 us of each report for its columns of ten, 6 % of a replay.
    """
    count = len(looks)
    middle_s, span_s = sum(look.at_s for look in looks) / count, looks[-1].at_s - looks[0].at_s
    line = [(look.at_s - middle_s) / span_s for look in looks]
    curve = _curve(line)
    bearings = [radians(look.bearing_deg) for look in looks]
    sines, cosines = [sin(bearing) for bearing in bearings], [cos(bearing) for bearing in bearings]
    east = _left(line, curve, [look.own.east_nm + look.range_nm * s for look, s in zip(looks, sines, strict=True)])
    north = _left(line, curve, [look.own.north_nm + look.range_nm * c for look, c in zip(looks, cosines, strict=True)])
    off = list(zip(looks, east, north, sines, cosines, strict=True))
    along_m = [(e * s + n * c) * NM_M for _, e, n, s, c in off]
    across_deg = [degrees((e * c - n * s) / max(look.range_nm, 1e-3)) for look, e, n, s, c in off]
    return Block(
        first_s=looks[0].at_s,
        last_s=looks[-1].at_s,
        reports=count,
        range_nm=sum(look.range_nm for look in looks) / count,
        freedom=float(count - 3),
        range_m2=_product(along_m, along_m),
        bearing_deg2=_product(across_deg, across_deg),
        range_lag=_product(along_m[:-1], along_m[1:]),
        bearing_lag=_product(across_deg[:-1], across_deg[1:]),
    )


def _product(one: list[float], other: list[float]) -> float:
    total: float = sum(map(mul, one, other))
    return total


def _curve(line: list[float]) -> list[float]:
    """The squares of centred times less their own straight line: what a parabola has that a line has not."""
    mean = _product(line, line) / len(line)
    slope = sum(t * t * t for t in line) / (mean * len(line))
    return [t * t - slope * t - mean for t in line]


def _left(line: list[float], curve: list[float], values: list[float]) -> list[float]:
    """What the least-squares parabola leaves of values: the parts along line and curve, square to one another, off."""
    mean = sum(values) / len(values)
    slope = _product(line, values) / _product(line, line)
    squares = _product(curve, curve)
    bend = _product(curve, values) / squares if squares > _NO_CURVE else 0.0
    return [value - mean - slope * t - bend * c for value, t, c in zip(values, line, curve, strict=True)]


_NO_CURVE = 1e-12
"""Reports at two times only have no curve."""
