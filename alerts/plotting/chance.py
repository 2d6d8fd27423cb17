"""How sure a closest approach is: limits, spread, and the probability of passing inside a limit.

Everything is fixed arithmetic on columns: the same row gives the same bits in any company. A relative state is the
target's place r and velocity v from own ship, jointly normal. Columns have the shape (N,).

- A target passes within L of own ship from now on if it is inside now, or if v points into the wedge of half-angle
  asin(L/|r|) about the line to own ship, whatever its speed. For a given r that is a pair of half planes in v, so the
  probability is a bivariate normal one. Only the turning of the wedge with r is taken as linear, and the place
  of a target is known to a few per cent of its range: the error is under 0.01 (tests hold it against sampling).
- The 95 % limits of the CPA are its extremes over states `LIMIT` standard deviations from the mean (a first-order
  reliability bound: exact where the surface of equal CPA is flat, as it is in v).
- Standard deviations of CPA and TCPA come from eight cubature points of the joint distribution.
"""

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from alerts.plotting.geometry import ALONGSIDE_NM, STILL_KN, Column

LIMIT = 1.959963984540054
"""Standard deviations on each side that hold 95 % of a normal distribution."""

_LEAST_SD = 1e-9
_NODES, _WEIGHTS = (array[:, None] for array in np.polynomial.legendre.leggauss(16))
_SMALLEST = STILL_KN * 1e-3
_LEAST_MARGIN_NM = 1e-6
_FAR = 5.0

_LANES = 8
"""Rows are worked in whole groups of this many, so that a row meets the same machine instructions in any company."""

_BLOCK = 4096
"""More rows than this are worked in parts: what lies between then stays in the cache, and 10,000 take two thirds of
the time (measured)."""

Stack = NDArray[np.float64]
"""Columns one upon another, worked on together: (4, N) or (4, K, N)."""


class Relative(NamedTuple):
    """Relative states: `mean` (4, N) is place east and north in NM, then velocity in knots; `covariance` (4, 4, N)."""

    mean: Stack
    covariance: Stack

    def blocks(self) -> Iterator["Relative"]:
        """The same in parts of whole groups of lanes, in order."""
        for start in range(0, max(1, self.mean.shape[1]), _BLOCK):
            yield Relative(self.mean[:, start : start + _BLOCK], self.covariance[:, :, start : start + _BLOCK])

    def take(self, rows: NDArray[np.intp]) -> "Relative":
        """These rows alone, as contiguous columns."""
        return Relative(self.mean.take(rows, axis=1), self.covariance.take(rows, axis=2))


class Spread(NamedTuple):
    """Standard deviations and 95 % limits, one row a target."""

    cpa_sd_nm: Column
    miss_low_nm: Column  # of the CPA with its sign
    miss_high_nm: Column
    tcpa_sd_min: Column
    bearing_rate_sd_deg_min: Column


def normal_cdf(x: Column) -> Column:
    """The standard normal distribution function, to 1e-7 (Abramowitz and Stegun 7.1.26)."""
    z = np.abs(x) * 0.7071067811865476
    t = 1.0 / (1.0 + 0.3275911 * z)
    poly = t * (0.254829592 + t * (-0.284496736 + t * (1.421413741 + t * (-1.453152027 + t * 1.061405429))))
    tail = 0.5 * poly * np.exp(-z * z)
    return np.where(x > 0.0, 1.0 - tail, tail)


def binormal_cdf(h: Column, k: Column, correlation: Column) -> Column:
    """P(X <= h, Y <= k) for standard normal X and Y, to about 1e-3 at any correlation.

    Plackett's integral over the angle asin(correlation) by 16-point Gauss-Legendre quadrature (Drezner and
    Wesolowsky 1990, from memory; the tests hold it against scipy).
    """
    h, k = np.clip(h, -12.0, 12.0), np.clip(k, -12.0, 12.0)
    half = 0.5 * np.arcsin(np.clip(correlation, -1.0, 1.0))
    sine = np.sin(half * (1.0 + _NODES))
    exponent = (h * h + k * k - (2.0 * h * k) * sine) / (2.0 * np.maximum(1.0 - sine * sine, 1e-12))
    integral = half * np.add.reduce(_WEIGHTS * np.exp(-exponent), axis=0)
    probability: Column = np.clip(normal_cdf(h) * normal_cdf(k) + integral / (2.0 * np.pi), 0.0, 1.0)
    return probability


def _times(covariance: Stack, g: Stack) -> Stack:
    """Covariance times vectors, (4, N) or several for each row, (4, K, N)."""
    if g.ndim > 2:
        covariance = covariance[:, :, None]
    product: Stack = np.add.reduce(covariance * g, axis=1)
    return product


def _dot(a: Stack, b: Stack) -> Column:
    product: Column = np.add.reduce(a * b, axis=0)
    return product


def _miss(state: Stack) -> tuple[Column, Column]:
    """The signed miss distance and the relative speed it was made with."""
    east, north, ve, vn = state
    speed = np.maximum(np.sqrt(ve * ve + vn * vn), _SMALLEST)
    return (north * ve - east * vn) / speed, speed


def inside_probability(state: Relative, limit_nm: float) -> Column:
    """Probability that a target's range is, or from now on becomes, at most `limit_nm`. Shape (N,), in [0, 1].

    A target known to be still relative to own ship is inside or outside by its range now.
    """
    return np.concatenate([_inside(part, limit_nm) for part in state.blocks()])


def _inside(state: Relative, limit_nm: float) -> Column:
    e, n, _, _ = state.mean
    range_nm = np.sqrt(e * e + n * n)
    radial_sd = _radial_sd(state, range_nm)
    probability = np.where(range_nm > limit_nm, _wedge_probability(state, limit_nm, radial_sd), 1.0)
    (near,) = np.nonzero(np.abs(range_nm - limit_nm) < 5.0 * radial_sd)
    if near.size:
        # On the limit the wedge opens to a half plane within the error of the range: taken range by range.
        rows = np.resize(near, near.size + (-near.size) % _LANES)
        found = _near_limit(state.take(rows), limit_nm, range_nm[rows], radial_sd[rows])
        probability[near] = found[: near.size]
    return probability


def _radial_sd(state: Relative, range_nm: Column) -> Column:
    """Standard deviation of the range, NM."""
    least = np.maximum(range_nm, ALONGSIDE_NM)
    ue, un = state.mean[:2] / least
    c = state.covariance
    sd: Column = np.sqrt(np.maximum(ue * ue * c[0, 0] + 2.0 * ue * un * c[0, 1] + un * un * c[1, 1], _LEAST_SD**2))
    return sd


def _wedge_probability(state: Relative, limit_nm: float, margin_nm: Column | float) -> Column:
    """Probability that the velocity points into the wedge, seen from at least `margin_nm` outside the limit."""
    e, n, ve, vn = state.mean
    range_nm = np.maximum(np.sqrt(e * e + n * n), ALONGSIDE_NM)
    ue, un = e / range_nm, n / range_nm
    outside = np.maximum(range_nm, limit_nm + margin_nm)
    sine = limit_nm / outside
    cosine = np.sqrt(1.0 - sine * sine)
    closing, across = -(ve * ue + vn * un), ve * un - vn * ue
    side = np.array([[1.0], [-1.0]])
    edge = sine * closing + side * (cosine * across)
    turning = (side * cosine * closing - sine * across) / outside
    growing = (side * (sine * sine / cosine) * across - sine * closing) / outside
    g = np.array(
        [
            growing * ue + turning * un,
            growing * un - turning * ue,
            side * cosine * un - sine * ue,
            -side * cosine * ue - sine * un,
        ]
    )
    cg = _times(state.covariance, g)
    variance = np.maximum(_dot(g, cg), _LEAST_SD**2)
    shared = _dot(g[:, 0], cg[:, 1])
    sd = np.sqrt(variance)
    h = edge / sd
    probability = binormal_cdf(h[0], h[1], shared / (sd[0] * sd[1]))
    fixed = (ve * ve + vn * vn < STILL_KN * STILL_KN) & (variance[0] < STILL_KN * STILL_KN)
    return np.where(fixed, 0.0, probability)


def _near_limit(state: Relative, limit_nm: float, range_nm: Column, radial_sd: Column) -> Column:
    """The same for targets about the limit: inside now, or outside at some range with what that says of the rest.

    The ranges outside are taken at sixteen Gauss-Legendre points of the normal distribution, out to `_FAR` sds.
    """
    away = np.zeros_like(state.mean)
    away[:2] = state.mean[:2] / np.maximum(range_nm, ALONGSIDE_NM)
    gain = _times(state.covariance, away) / radial_sd
    rest = state.covariance - gain[:, None] * gain
    edge = (limit_nm - range_nm) / radial_sd
    half = 0.5 * (_FAR - np.clip(edge, -_FAR, _FAR))
    z = _FAR - half * (1.0 - _NODES)
    weight = _WEIGHTS * half * np.exp(-0.5 * z * z) / np.sqrt(2.0 * np.pi)
    at = (state.mean[:, None] + z * gain[:, None]).reshape(4, -1)
    everywhere = Relative(at, np.tile(rest, z.shape[0]))
    outside = _wedge_probability(everywhere, limit_nm, _LEAST_MARGIN_NM).reshape(z.shape)
    probability: Column = np.clip(normal_cdf(edge) + np.add.reduce(weight * outside, axis=0), 0.0, 1.0)
    return probability


def _miss_limits(state: Relative) -> NDArray[np.float64]:
    """Lowest and highest signed miss on the ellipsoid of `LIMIT` standard deviations: shape (2, N)."""
    mean = state.mean[:, None]
    signs = np.array([[-LIMIT], [LIMIT]])
    at = np.repeat(mean, 2, axis=1)
    miss, speed = _miss(at)
    furthest = miss * signs
    # Each step goes to the extreme of the surface's tangent plane. All lie on the ellipsoid: the furthest counts.
    for _ in range(4):
        se, sn = at[2:] / speed
        g = np.array([-sn, se, (at[1] - miss * se) / speed, -(at[0] + miss * sn) / speed])
        cg = _times(state.covariance, g)
        at = mean + signs / np.sqrt(np.maximum(_dot(g, cg), _LEAST_SD**2)) * cg
        miss, speed = _miss(at)
        furthest = np.maximum(furthest, miss * signs)
    found = furthest / signs
    turned = _miss_when_turned(state, signs)
    low = np.minimum(found[0], np.minimum(turned[0], turned[1]))
    high = np.maximum(found[1], np.maximum(turned[0], turned[1]))
    return np.array([np.minimum(low, turned[2]), np.maximum(high, turned[2])])


def _miss_when_turned(state: Relative, signs: NDArray[np.float64]) -> NDArray[np.float64]:
    """Signed miss with the velocity's direction at its two 95 % limits, and the greatest between them: shape (3, N).

    About the closest point the miss is greatest (the range itself) for some direction between the limits, so that
    its slope at the mean shows nothing. Elsewhere the third row repeats the first.
    """
    e, n, ve, vn = state.mean
    zero = np.zeros_like(e)
    athwart = np.array([zero, zero, vn, -ve])
    cg = _times(state.covariance, athwart)
    step = signs / np.sqrt(np.maximum(_dot(athwart, cg), _LEAST_SD**2))
    at = state.mean[:, None] + step * cg[:, None]
    ends, _ = _miss(at)
    along = at[0] * at[2] + at[1] * at[3]
    range_nm = np.sqrt(e * e + n * n)
    most = np.copysign(range_nm + LIMIT * _radial_sd(state, range_nm), ends[0])
    return np.array([ends[0], ends[1], np.where(along[0] * along[1] < 0.0, most, ends[0])])


def _direction_unknown(state: Relative) -> NDArray[np.bool_]:
    """Where a relative velocity of zero lies within the 95 % ellipse: it may point anywhere."""
    _, _, ve, vn = state.mean
    ee, en, nn = state.covariance[2, 2], state.covariance[2, 3], state.covariance[3, 3]
    determinant = ee * nn - en * en
    distance = ve * ve * nn - 2.0 * ve * vn * en + vn * vn * ee
    unknown: NDArray[np.bool_] = distance <= LIMIT * LIMIT * np.maximum(determinant, 0.0)
    return unknown


def _cubature_points(state: Relative) -> NDArray[np.float64]:
    """Eight equally weighted points with the state's mean and covariance: shape (4, 8, N). Arasaratnam 2009."""
    left, root = state.covariance.copy(), np.zeros_like(state.covariance)
    for k in range(4):  # Cholesky's triangle, column by column
        pivot = root[k, k] = np.sqrt(np.maximum(left[k, k], 1e-24))
        below = root[k + 1 :, k] = left[k + 1 :, k] / pivot
        left[k + 1 :, k + 1 :] -= below[:, None] * below
    mean = state.mean[:, None]
    return np.concatenate([mean + 2.0 * root, mean - 2.0 * root], axis=1)


def _sd(values: NDArray[np.float64]) -> Column:
    """Standard deviation over the eight points: (8, N) to (N,)."""
    mean = np.add.reduce(values, axis=0) / 8.0
    sd: Column = np.sqrt(np.add.reduce((values - mean) ** 2, axis=0) / 8.0)
    return sd


def spread(state: Relative) -> Spread:
    """Standard deviations of CPA, TCPA and bearing rate, and the 95 % limits of the signed miss distance.

    Where the relative velocity may be zero its direction is unknown: the miss is then anything up to the range on
    either side. TCPA's deviation is NaN where there is no relative motion, the bearing rate's NaN alongside.
    """
    return Spread(*map(np.concatenate, zip(*map(_spread, state.blocks()), strict=True)))


def _spread(state: Relative) -> Spread:
    e, n, ve, vn = state.mean
    points = _cubature_points(state)
    miss, speed = _miss(points)
    minutes = -60.0 * (points[0] * points[2] + points[1] * points[3]) / (speed * speed)
    range_nm = np.sqrt(e * e + n * n)
    low, high = _miss_limits(state)
    unknown = _direction_unknown(state)
    still = ve * ve + vn * vn < STILL_KN * STILL_KN
    alongside = range_nm < ALONGSIDE_NM
    # The rate is the transverse velocity over the range; the range's own error is second order.
    away_nm = np.maximum(range_nm, ALONGSIDE_NM)
    ue, un = e / away_nm, n / away_nm
    turning = -(ve * ue + vn * un) / away_nm
    across = np.array([turning * un, turning * -ue, un, -ue])
    across_sd = np.sqrt(np.maximum(_dot(across, _times(state.covariance, across)), 0.0))
    furthest = range_nm + LIMIT * np.sqrt(state.covariance[0, 0] + state.covariance[1, 1])
    return Spread(
        cpa_sd_nm=_sd(miss),
        miss_low_nm=np.where(unknown, -range_nm, np.maximum(low, -furthest)),
        miss_high_nm=np.where(unknown, range_nm, np.minimum(high, furthest)),
        tcpa_sd_min=np.where(still, np.nan, _sd(minutes)),
        bearing_rate_sd_deg_min=np.where(alongside, np.nan, np.degrees(across_sd / away_nm) / 60.0),
    )
