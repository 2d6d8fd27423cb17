"""How good a feed's ranges and bearings are, learnt from what is left over when tracks are fitted to them.

A NoiseModel belongs to one feed and is shared by its tracks; each track keeps a Share of it, because an echo's wander
depends on the vessel too. Variances start at the standard's figures and are corrected by factors learnt from the
residuals, range and bearing apart, outliers counting at most as `OUTLIER_SQUARED`.

A set that smooths its reports has errors that hang together from look to look: they average out more slowly than they
seem to. The filter then works with a wider variance, that of a long mean. Until a feed has shown enough looks to tell,
and for as long as it smooths, the standard's figures are the least that is believed.
"""

from math import pi, radians, sqrt

from parsers.observations import NM_M

RANGE_SD_NM = 25.0 / NM_M
"""One sd of range at first, 20 to 30 m (A.823(19) App. 3: pulse shape 20 m, glint up to 30 m)."""

BEARING_SD_RAD = radians(0.5)
GLINT_NM = 10.0 / NM_M
"""At first, one sd of bearing: 0.5 degrees, and 10 m of the echo's wander athwart."""

RANGE_STEP_NM, BEARING_STEP_RAD = 0.01, radians(0.1)
"""Resolution of the reports (A.823(19) App. 3); a step is a uniform error of a twelfth of its square."""

OUTLIER_SQUARED = 9.0

FEED_PRIOR, FEED_MEMORY = 8.0, 1500.0
TRACK_PRIOR, TRACK_MEMORY = 20.0, 200.0
"""Looks that the figures one starts from are worth, and looks remembered."""

SLOW_GAIN = 0.08
SLOW_PRIOR, SLOW_MEMORY = 6.0, 100.0
"""The slow part of the residuals is their running mean; independent values of it count, one in 1/gain looks."""

LAG_PRIOR, LAG_MEMORY = 8.0, 1500.0
LAG_MOST = 0.97
LAG_KNOWN = 40.0
SMOOTHED = 0.25
"""A correlation of neighbours over this, or not yet known from so many looks: the set may be smoothing."""

BLOCK = 8
"""A track hands on what it has learnt in blocks of so many looks; by the look it costs a third of the whole filter."""

DELAY_SD_S, DELAY_MOST_S = 0.3, 3.0
"""How late headings are at first thought to be, one sd, and at most."""

DELAY_MEMORY = 0.999

_WHITE_STEP = (1.0 - SLOW_GAIN) ** 2


class Level:
    """A running mean, begun with a prior of some weight, with a bounded memory."""

    __slots__ = ("mean", "memory", "weight")

    def __init__(self, mean: float, weight: float, memory: float) -> None:
        self.mean = mean
        self.weight = weight
        self.memory = memory

    def learn(self, total: float, weight: float) -> None:
        """Take in values of a total weight, `total` being their weighted sum."""
        if weight > 0.0:
            self.weight += weight
            self.mean += (total - self.mean * weight) / self.weight
            self.weight = min(self.weight, self.memory)


class Hanging:
    """How much errors hang together from look to look, for range or for bearing.

    `factor` is the variance of a long mean over that of independent looks. At first it is judged from the correlation
    of neighbours: 1/(1 - correlation) is right within a fifth for the usual alpha-beta smoothing. The slow part of the
    residuals then takes over.
    """

    __slots__ = ("_product", "_slow", "_square", "factor", "smoothed")

    def __init__(self) -> None:
        self._product = Level(0.0, LAG_PRIOR, LAG_MEMORY)
        self._square = Level(1.0, LAG_PRIOR, LAG_MEMORY)
        self._slow = Level(1.0, 0.0, SLOW_MEMORY)
        self.factor = 1.0
        self.smoothed = True

    def learn(self, sums: "Sums") -> None:
        """Take in a block's sums."""
        self._product.learn(sums.products, sums.looks)
        self._square.learn(sums.squares, sums.looks)
        independent = sums.looks * SLOW_GAIN
        self._slow.learn(min(sums.slow * SLOW_GAIN, OUTLIER_SQUARED * self.factor * independent), independent)
        correlation = min(LAG_MOST, self._product.mean / self._square.mean)
        weight = self._slow.weight
        factor = (SLOW_PRIOR / (1.0 - correlation) + weight * self._slow.mean) / (SLOW_PRIOR + weight)
        self.factor = max(1.0, factor)
        self.smoothed = correlation > SMOOTHED or self._product.weight < LAG_PRIOR + LAG_KNOWN

    def widening(self, factor: float) -> float:
        """What a look's own variance is multiplied with, that variance being `factor` times the starting one.

        A set that smooths hides its errors: those it starts from then stand, until the slow part has shown more.
        """
        return max(self.factor, 1.0 / factor) if self.smoothed else self.factor


class Delay:
    """How late the headings are that bearings are made true with: bearings then err against own rate of turn.

    A weighted regression through the origin with a prior of no delay.
    """

    __slots__ = ("_products", "_squares", "seconds")

    def __init__(self) -> None:
        self._products, self._squares = 0.0, 1.0 / (DELAY_SD_S * DELAY_SD_S)
        self.seconds = 0.0

    def learn(self, error_rad: float, variance: float, rate_rad_s: float) -> None:
        """Take in a bearing's residual, corrected for the delay as known so far, and the rate of turn with it."""
        weight = rate_rad_s / variance
        self._products = DELAY_MEMORY * self._products - weight * (error_rad - rate_rad_s * self.seconds)
        self._squares = DELAY_MEMORY * self._squares + weight * rate_rad_s
        self.seconds = max(-DELAY_MOST_S, min(DELAY_MOST_S, self._products / self._squares))


class NoiseModel:
    """Errors of one feed. `range_factor` and `bearing_factor` multiply the starting variances."""

    __slots__ = ("bearing_factor", "bearing_hanging", "heading_delay", "range_factor", "range_hanging")

    def __init__(self) -> None:
        self.range_factor = Level(1.0, FEED_PRIOR, FEED_MEMORY)
        self.bearing_factor = Level(1.0, FEED_PRIOR, FEED_MEMORY)
        self.range_hanging = Hanging()
        self.bearing_hanging = Hanging()
        self.heading_delay = Delay()

    def __deepcopy__(self, memo: object) -> "NoiseModel":
        """A copy of a track is still a track of the same feed: it shares the feed's noise."""
        return self


class Sums:
    """Sums over one block of looks of normalised residuals, for range or for bearing."""

    __slots__ = ("looks", "mean", "products", "ratios", "residual", "slow", "squares", "weights")

    def __init__(self) -> None:
        self.residual = self.mean = 0.0
        self.clear()

    def clear(self) -> None:
        self.ratios = self.weights = self.products = self.squares = self.slow = self.looks = 0.0


class Share:
    """One track's part in its feed's noise: what its own looks say, and the feed's figures for what they do not."""

    __slots__ = ("_bearing", "_feed", "_pending", "_range", "_sums", "_white", "factors", "widenings")

    def __init__(self, feed: NoiseModel) -> None:
        self._feed = feed
        self._range = Level(1.0, 0.0, TRACK_MEMORY)
        self._bearing = Level(1.0, 0.0, TRACK_MEMORY)
        self._sums = (Sums(), Sums())
        self._white = 0.0  # variance of the running means, were the residuals independent
        self._pending = 0
        self._settle()

    def variances(self, range_nm: float, extra_rad: float) -> tuple[float, float]:
        """Range and athwart variance of one look, NM squared. `extra_rad`: the part that the heading adds, one sd."""
        range_factor, bearing_factor = self.factors
        square = range_nm * range_nm
        return (
            _RANGE_VARIANCE * range_factor + _RANGE_STEP_VARIANCE,
            (_GLINT_VARIANCE + (_BEARING_VARIANCE + extra_rad * extra_rad) * square) * bearing_factor
            + _BEARING_STEP_VARIANCE * square,
        )

    def sds(self, range_nm: float) -> tuple[float, float]:
        """Range error (NM) and bearing error (degrees) in force at a range, one sd."""
        along, athwart = self.variances(range_nm, 0.0)
        return sqrt(along), sqrt(athwart) / max(range_nm, 1e-3) * (180.0 / pi)

    def learn(self, along: float, along_part: float, athwart: float, athwart_part: float, steady: bool) -> None:
        """Learn from one look's residuals, each in its expected sds; a part is the look's share of that variance.

        What little a look says of its own error, it says with little weight. `steady`: not about a manoeuvre, so that
        the look also tells how errors hang together.
        """
        self._white = white = _WHITE_STEP * self._white + SLOW_GAIN * SLOW_GAIN
        for sums, residual, part in zip(self._sums, (along, athwart), (along_part, athwart_part), strict=True):
            squared = residual * residual
            weight = part * part
            sums.weights += weight
            sums.ratios += weight * (squared if squared < OUTLIER_SQUARED else OUTLIER_SQUARED)
            if steady:
                sums.mean = mean = sums.mean + SLOW_GAIN * (residual - sums.mean)
                sums.slow += mean * mean / white
                sums.products += residual * sums.residual
                sums.squares += squared
                sums.looks += 1.0
            sums.residual = residual
        self._pending += 1
        if self._pending == BLOCK:
            self.hand_on()

    def hand_on(self) -> None:
        """Give the block so far to the feed and to the track's own figures."""
        feed = self._feed
        levels = (
            (self._range, feed.range_factor, feed.range_hanging),
            (self._bearing, feed.bearing_factor, feed.bearing_hanging),
        )
        for sums, (own, common, hanging), factor in zip(self._sums, levels, self.factors, strict=True):
            own.learn(factor * sums.ratios, sums.weights)
            common.learn(factor * sums.ratios, sums.weights)
            if sums.looks:
                hanging.learn(sums)
            sums.clear()
        self._pending = 0
        self._settle()

    def _settle(self) -> None:
        """Work out anew what the next looks' variances are multiplied with."""
        feed = self._feed
        range_factor = _shared(self._range, feed.range_factor)
        bearing_factor = _shared(self._bearing, feed.bearing_factor)
        self.factors = range_factor, bearing_factor
        self.widenings = feed.range_hanging.widening(range_factor), feed.bearing_hanging.widening(bearing_factor)


def _shared(own: Level, common: Level) -> float:
    """A track's factor: its own mean, with the feed's for a prior."""
    return (TRACK_PRIOR * common.mean + own.weight * own.mean) / (TRACK_PRIOR + own.weight)


_RANGE_VARIANCE = RANGE_SD_NM * RANGE_SD_NM
_RANGE_STEP_VARIANCE = RANGE_STEP_NM * RANGE_STEP_NM / 12.0
_GLINT_VARIANCE = GLINT_NM * GLINT_NM
_BEARING_VARIANCE = BEARING_SD_RAD * BEARING_SD_RAD
_BEARING_STEP_VARIANCE = BEARING_STEP_RAD * BEARING_STEP_RAD / 12.0
