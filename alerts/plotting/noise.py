"""How good a feed's ranges and bearings are, learnt from what is left over when tracks are fitted to them.

A NoiseModel belongs to one feed and is shared by its tracks; each track keeps a Share of it, because an echo's wander
depends on the vessel too. Variances start at the standard's figures and are corrected by factors learnt from the
residuals, range and bearing apart, outliers counting at most as `OUTLIER_SQUARED`.

A set that smooths its reports has errors that hang together from look to look: they average out more slowly. The slow
part of the residuals tells by how much, and widens the variance that a track's filter works with.
"""

from math import radians, sqrt

from parsers.observations import NM_M

RANGE_SD_NM = 25.0 / NM_M
"""One sd of range at first, 20 to 30 m (A.823(19) App. 3: pulse shape 20 m, glint up to 30 m)."""

BEARING_SD_RAD = radians(0.4)
GLINT_NM = 10.0 / NM_M
"""At first, one sd of bearing: 0.4 degrees, and 10 m of the echo's wander athwart (A.823(19) App. 3, gyro of 1.6)."""

RANGE_STEP_NM, BEARING_STEP_RAD = 0.01, radians(0.1)
"""Resolution of the reports (A.823(19) App. 3); a step is a uniform error of a twelfth of its square."""

OUTLIER_SQUARED = 9.0

FEED_PRIOR, FEED_MEMORY = 30.0, 1500.0
TRACK_PRIOR, TRACK_MEMORY = 30.0, 200.0
"""Looks that the starting figures are worth, and looks remembered."""

SLOW_GAIN = 0.12
SLOW_PRIOR, SLOW_MEMORY = 12.0, 150.0
SLOW_MOST = 40.0


class Level:
    """A running mean of a variance factor, begun with a prior mean of some weight and a bounded memory."""

    __slots__ = ("mean", "memory", "weight")

    def __init__(self, mean: float, weight: float, memory: float) -> None:
        self.mean = mean
        self.weight = weight
        self.memory = memory

    def learn(self, value: float, weight: float) -> None:
        total = self.weight + weight
        self.mean += (value - self.mean) * weight / total
        self.weight = min(total, self.memory)


class NoiseModel:
    """Errors of one feed. `range_factor` and `bearing_factor` multiply the starting variances."""

    __slots__ = ("bearing_factor", "bearing_slow", "range_factor", "range_slow")

    def __init__(self) -> None:
        self.range_factor = Level(1.0, FEED_PRIOR, FEED_MEMORY)
        self.bearing_factor = Level(1.0, FEED_PRIOR, FEED_MEMORY)
        self.range_slow = Level(1.0, SLOW_PRIOR, SLOW_MEMORY)
        self.bearing_slow = Level(1.0, SLOW_PRIOR, SLOW_MEMORY)


class Share:
    """One track's part in its feed's noise."""

    __slots__ = ("_bearing", "_bearing_mean", "_feed", "_range", "_range_mean")

    def __init__(self, feed: NoiseModel) -> None:
        self._feed = feed
        self._range = Level(feed.range_factor.mean, TRACK_PRIOR, TRACK_MEMORY)
        self._bearing = Level(feed.bearing_factor.mean, TRACK_PRIOR, TRACK_MEMORY)
        self._range_mean = 0.0
        self._bearing_mean = 0.0

    def variances(self, range_nm: float, extra_rad: float) -> tuple[float, float, float, float]:
        """Of one look: range and athwart variances (NM squared), and the factors by which slow errors widen them.

        `extra_rad` is the heading's share of the bearing error, one sd.
        """
        athwart = (BEARING_SD_RAD * range_nm) ** 2 + GLINT_NM * GLINT_NM
        along = RANGE_SD_NM * RANGE_SD_NM * self._range.mean + RANGE_STEP_NM * RANGE_STEP_NM / 12.0
        step = BEARING_STEP_RAD * BEARING_STEP_RAD / 12.0 + extra_rad * extra_rad
        return (
            along,
            athwart * self._bearing.mean + step * range_nm * range_nm,
            max(1.0, self._feed.range_slow.mean),
            max(1.0, self._feed.bearing_slow.mean),
        )

    def sds(self, range_nm: float) -> tuple[float, float]:
        """Range error (NM) and bearing error (radians) in force at a range, one sd."""
        along, athwart, _, _ = self.variances(range_nm, 0.0)
        return sqrt(along), sqrt(athwart) / max(range_nm, 1e-3)

    def learn(
        self, range_ratio: float, range_part: float, athwart_ratio: float, athwart_part: float, steady: bool
    ) -> None:
        """Learn from one look's normalised squared residuals.

        A ratio is the squared residual over its expected variance, a part the share of the measurement's own variance
        in that. What little a look says of its own error, it says with little weight.
        """
        weight = range_part * range_part
        value = self._range.mean * min(range_ratio, OUTLIER_SQUARED)
        self._range.learn(value, weight)
        if steady:
            self._feed.range_factor.learn(value, weight)
        weight = athwart_part * athwart_part
        value = self._bearing.mean * min(athwart_ratio, OUTLIER_SQUARED)
        self._bearing.learn(value, weight)
        if steady:
            self._feed.bearing_factor.learn(value, weight)

    def learn_slow(self, range_residual: float, athwart_residual: float) -> None:
        """Learn from normalised residuals of a steady track how much their errors hang together."""
        self._range_mean += SLOW_GAIN * (range_residual - self._range_mean)
        self._bearing_mean += SLOW_GAIN * (athwart_residual - self._bearing_mean)
        scale = (2.0 - SLOW_GAIN) / SLOW_GAIN
        for level, mean in ((self._feed.range_slow, self._range_mean), (self._feed.bearing_slow, self._bearing_mean)):
            level.learn(min(SLOW_MOST, level.mean * min(mean * mean * scale, OUTLIER_SQUARED)), SLOW_GAIN)
