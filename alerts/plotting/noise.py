"""How good a feed's ranges and bearings are, learnt from what is left over when tracks are fitted to them.

A NoiseModel belongs to one feed and is shared by its tracks; each track keeps a Share of it, because an echo's wander
depends on the vessel too. Variances start at the standard's figures and are corrected by factors learnt from the
residuals, outliers counting at most as `OUTLIER_SQUARED`: one for range, one for bearing as an angle, and one for
glint, the echo's wander along the vessel, which is so many metres athwart at any range.

A set that smooths its reports has errors that hang together from look to look: they average out more slowly than they
seem to. The filter then works with a wider variance, that of a long mean. Until a feed has shown enough looks to tell,
and for as long as it smooths, the standard's figures are the least that is believed.
"""

import copy
from math import copysign, pi, radians, sqrt

from msgspec import Struct

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
TRACK_PRIOR, GLINT_PRIOR, TRACK_MEMORY = 20.0, 6.0, 200.0
"""Looks that the figures one starts from are worth (glint is the vessel's own more than the set's), and looks kept."""

SLOW_GAIN = 0.08
SLOW_PRIOR, SLOW_MEMORY = 6.0, 100.0
"""The slow part of the residuals is their running mean; independent values of it count, one in 1/gain looks."""

LAG_PRIOR, LAG_MEMORY = 8.0, 1500.0
LAG_MOST = 0.97
LAG_KNOWN = 40.0
SMOOTHED = 0.25
"""A correlation of neighbours over this, or not yet known from so many looks: the set may be smoothing."""

SMOOTHED_FLOOR = 1.15
"""A set that smooths is not believed better than so many times the starting variance. (It was worse still while its own
tracker settled, and of that its reports keep a trace for minutes.)"""

BLOCK = 8
"""A track hands on what it has learnt in blocks of so many looks: 13.0 us a look where one by one makes it 18.0."""

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

    __slots__ = ("_product", "_slow", "_square", "factor", "floor")

    def __init__(self) -> None:
        self._product = Level(0.0, LAG_PRIOR, LAG_MEMORY)
        self._square = Level(1.0, LAG_PRIOR, LAG_MEMORY)
        self._slow = Level(1.0, 0.0, SLOW_MEMORY)
        self.factor = 1.0
        self.floor = 1.0

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
        unknown = self._product.weight < LAG_PRIOR + LAG_KNOWN
        self.floor = SMOOTHED_FLOOR if correlation > SMOOTHED else 1.0 if unknown else 0.0

    def widened(self, variance: float, starting: float) -> float:
        """What the filter works with in place of a look's own variance; `starting` is what it would be at first.

        A set that smooths hides its errors: those it starts from then stand, until the slow part has shown more.
        """
        wide, least = variance * self.factor, starting * self.floor
        return wide if wide > least else least


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
        seconds = self._products / self._squares
        self.seconds = seconds if -DELAY_MOST_S < seconds < DELAY_MOST_S else copysign(DELAY_MOST_S, seconds)


class NoiseModel:
    """Errors of one feed. The factors multiply the starting variances."""

    __slots__ = ("bearing_factor", "bearing_hanging", "glint_factor", "heading_delay", "range_factor", "range_hanging")

    def __init__(self) -> None:
        self.range_factor = Level(1.0, FEED_PRIOR, FEED_MEMORY)
        self.bearing_factor = Level(1.0, FEED_PRIOR, FEED_MEMORY)
        self.glint_factor = Level(1.0, FEED_PRIOR, FEED_MEMORY)
        self.range_hanging = Hanging()
        self.bearing_hanging = Hanging()
        self.heading_delay = Delay()

    def __deepcopy__(self, memo: object) -> "NoiseModel":
        """A copy of a track is still a track of the same feed: it shares the feed's noise."""
        return self


class Sums:
    """Sums over one block of looks of normalised residuals, along or athwart the line of sight.

    `residual` and their running `mean` are those of the last look; `white` is what the mean's variance would be, were
    the residuals independent.
    """

    __slots__ = ("looks", "mean", "products", "residual", "slow", "squares", "white")

    def __init__(self) -> None:
        self.residual = self.mean = self.white = 0.0
        self.clear()

    def clear(self) -> None:
        self.products = self.squares = self.slow = self.looks = 0.0

    def add(self, residual: float) -> None:
        """Take in the next look's residual."""
        self.white = white = _WHITE_STEP * self.white + SLOW_GAIN * SLOW_GAIN
        self.mean = mean = self.mean + SLOW_GAIN * (residual - self.mean)
        self.slow += mean * mean / white
        self.products += residual * self.residual
        self.squares += residual * residual
        self.looks += 1.0
        self.residual = residual


class Variances(Struct, frozen=True, gc=False):
    """Of one look, NM squared: its own, along and athwart, and what the filter works with in their place."""

    along: float
    athwart: float
    along_used: float
    athwart_used: float


_Learnt = tuple[float, float, float, float, float, bool]
"""One look's arguments of `Share.learn`."""


class Share:
    """One track's part in its feed's noise: what its own looks say, and the feed's figures for what they do not."""

    __slots__ = ("_block", "_feed", "_levels", "_sums", "factors")

    def __init__(self, feed: NoiseModel) -> None:
        self._feed = feed
        self._levels = [Level(1.0, 0.0, TRACK_MEMORY) for _ in range(3)]  # range, bearing, glint
        self._sums = (Sums(), Sums())  # along, athwart
        self._block: list[_Learnt] = []
        self.factors = self._shared_factors()

    def __deepcopy__(self, memo: object) -> "Share":
        """Another track's part, which begins as this one is. Where many meet, copying piece by piece took 3 %."""
        twin = copy.copy(self)
        twin._levels = [copy.copy(level) for level in self._levels]
        along, athwart = self._sums
        twin._sums = (copy.copy(along), copy.copy(athwart))
        twin._block = list(self._block)
        return twin

    def variances(self, range_nm: float, extra_rad: float) -> Variances:
        """Of one look at a range. `extra_rad`: the part that the heading adds to the bearing's error, one sd."""
        range_factor, bearing_factor, glint_factor = self.factors
        square = range_nm * range_nm
        angle = (_BEARING_VARIANCE + extra_rad * extra_rad) * square
        step = _BEARING_STEP_VARIANCE * square
        along = _RANGE_VARIANCE * range_factor + _RANGE_STEP_VARIANCE
        athwart = _GLINT_VARIANCE * glint_factor + angle * bearing_factor + step
        feed = self._feed
        return Variances(
            along,
            athwart,
            feed.range_hanging.widened(along, _RANGE_VARIANCE + _RANGE_STEP_VARIANCE),
            feed.bearing_hanging.widened(athwart, _GLINT_VARIANCE + angle + step),
        )

    def sds(self, range_nm: float) -> tuple[float, float]:
        """Range error (NM) and bearing error (degrees) in force at a range, one sd."""
        range_factor, bearing_factor, glint_factor = self.factors
        square = range_nm * range_nm if range_nm > 1e-3 else 1e-6
        along = _RANGE_VARIANCE * range_factor + _RANGE_STEP_VARIANCE
        angle = _GLINT_VARIANCE * glint_factor / square + _BEARING_VARIANCE * bearing_factor + _BEARING_STEP_VARIANCE
        return sqrt(along), sqrt(angle) * (180.0 / pi)

    def learn(
        self, range_nm: float, along: float, along_part: float, athwart: float, athwart_part: float, steady: bool
    ) -> None:
        """Learn from one look's residuals, each in its expected sds; a part is the look's share of that variance.

        `steady`: not about a manoeuvre, so that the look also tells how errors hang together. The looks of a block are
        worked off together, one straight loop: look by look it took 3 us more, 2 % of a replay.
        """
        self._block.append((range_nm, along, along_part, athwart, athwart_part, steady))
        if len(self._block) == BLOCK:
            self.hand_on()

    def hand_on(self) -> None:
        """Give the block so far to the feed and to the track's own figures."""
        feed = self._feed
        totals = self._work_off()
        commons = (feed.range_factor, feed.bearing_factor, feed.glint_factor)
        for own, common, total, factor in zip(self._levels, commons, totals, self.factors, strict=True):
            own.learn(factor * total[0], total[1])
            common.learn(factor * total[0], total[1])
        for sums, hanging in zip(self._sums, (feed.range_hanging, feed.bearing_hanging), strict=True):
            if sums.looks:
                hanging.learn(sums)
            sums.clear()
        self._block.clear()
        self.factors = self._shared_factors()

    def _work_off(self) -> tuple[tuple[float, float], ...]:
        """The block's weighted squares, and their weights, of range, bearing and glint.

        What little a look says of its own error, it says with little weight; of an error athwart, glint and angle are
        told by what each makes up at that range.
        """
        _, bearing_factor, glint_factor = self.factors
        glint_variance, angle_variance = _GLINT_VARIANCE * glint_factor, _BEARING_VARIANCE * bearing_factor
        sums_along, sums_athwart = self._sums
        range_squares = range_weights = bearing_squares = bearing_weights = glint_squares = glint_weights = 0.0
        for range_nm, along, along_part, athwart, athwart_part, steady in self._block:
            glint = glint_variance / (glint_variance + angle_variance * range_nm * range_nm)
            squared = along * along
            weight = along_part * along_part
            range_squares += weight * (squared if squared < OUTLIER_SQUARED else OUTLIER_SQUARED)
            range_weights += weight
            squared = athwart * athwart
            squared = squared if squared < OUTLIER_SQUARED else OUTLIER_SQUARED
            part = athwart_part * (1.0 - glint)
            weight = part * part
            bearing_squares += weight * squared
            bearing_weights += weight
            part = athwart_part * glint
            weight = part * part
            glint_squares += weight * squared
            glint_weights += weight
            if steady:
                sums_along.add(along)
                sums_athwart.add(athwart)
        return (range_squares, range_weights), (bearing_squares, bearing_weights), (glint_squares, glint_weights)

    def _shared_factors(self) -> tuple[float, float, float]:
        """What the next looks' starting variances are multiplied with: range, bearing, glint."""
        feed, (own_range, own_bearing, own_glint) = self._feed, self._levels
        return (
            _shared(own_range, feed.range_factor, TRACK_PRIOR),
            _shared(own_bearing, feed.bearing_factor, TRACK_PRIOR),
            _shared(own_glint, feed.glint_factor, GLINT_PRIOR),
        )


def _shared(own: Level, common: Level, prior: float) -> float:
    """A track's factor: its own mean, with the feed's for a prior worth so many looks."""
    return (prior * common.mean + own.weight * own.mean) / (prior + own.weight)


_RANGE_VARIANCE = RANGE_SD_NM * RANGE_SD_NM
_RANGE_STEP_VARIANCE = RANGE_STEP_NM * RANGE_STEP_NM / 12.0
_GLINT_VARIANCE = GLINT_NM * GLINT_NM
_BEARING_VARIANCE = BEARING_SD_RAD * BEARING_SD_RAD
_BEARING_STEP_VARIANCE = BEARING_STEP_RAD * BEARING_STEP_RAD / 12.0
