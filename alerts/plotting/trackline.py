"""A straight track through ranges and bearings: weighted least squares in the measurements' own errors.

The track is straight and at constant speed in a plane in which own ship may move; each reading is a range and a bearing
from where own ship then is. With Gaussian errors of the stated size this is the maximum-likelihood line, whose
covariance is the Cramér-Rao bound as far as the problem is linear (common practice, no source).
"""

from math import log
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

_STEPS = 50  # Gauss-Newton settles in 3 to 8; more means that the geometry is hopeless and the last line stands
_HALVINGS = 20  # a full step may overshoot where the track passes close by
_SETTLED = 1e-12  # NM and NM an hour
_RANK = 1e-9  # below this a residual carries no information: the line goes through the point whatever it says


class TrackLine(NamedTuple):
    """The fitted line at one moment, with what each reading says of it.

    `state` (4,): east, north (NM), east, north (kn) in the plane, at the moment asked for; `covariance` (4, 4) from the
    stated errors alone. `range_residuals_nm`, `bearing_residuals_deg` (N,): reading minus line. `left_out` (N, 2):
    range (NM) and bearing (deg) of each reading minus what the other readings say of it; NaN where they say nothing.
    `misfit` (N,): that difference squared over its own covariance, chi-squared with `freedom` (N,) degrees, 0 where
    nothing can be said. `chi_squared`: sum of squared weighted residuals, over 2 N - 4 degrees.
    """

    state: Array
    covariance: Array
    range_residuals_nm: Array
    bearing_residuals_deg: Array
    left_out: Array
    misfit: Array
    freedom: NDArray[np.int64]
    chi_squared: float


def fit(
    hours: Array, ranges_nm: Array, bearings_deg: Array, own_nm: Array, range_sd_nm: Array, bearing_sd_deg: Array
) -> TrackLine:
    """The line through N readings, N at least 2, at two moments or more.

    `hours` (N,) from the moment for which the state is wanted; `own_nm` (N, 2) own ship's east and north at each.
    """
    sines, cosines = np.sin(np.radians(bearings_deg)), np.cos(np.radians(bearings_deg))
    places = own_nm + np.column_stack([ranges_nm * sines, ranges_nm * cosines])
    state = _first_guess(hours, places)
    weights = np.concatenate([1 / range_sd_nm, 1 / np.radians(bearing_sd_deg)])
    residuals, jacobian = _linearised(state, hours, ranges_nm, bearings_deg, own_nm)
    for _ in range(_STEPS):
        step = np.linalg.lstsq(jacobian * weights[:, None], residuals * weights, rcond=None)[0]
        cost = float(np.sum((residuals * weights) ** 2))
        for _halving in range(_HALVINGS):
            tried = _linearised(state + step, hours, ranges_nm, bearings_deg, own_nm)
            if float(np.sum((tried[0] * weights) ** 2)) <= cost:
                break
            step = step / 2
        else:
            break  # no shorter step is better: this is the line
        state, (residuals, jacobian) = state + step, tried
        if float(np.max(np.abs(step))) < _SETTLED:
            break
    return _described(state, residuals, jacobian, weights)


def misfit_limit(false_share: float) -> float:
    """The chi-squared value of two degrees of freedom that chance alone exceeds in that share of cases (exact)."""
    return -2.0 * log(false_share)


def _first_guess(hours: Array, places: Array) -> Array:
    """Unweighted straight line through the plotted points (4,)."""
    design = np.column_stack([np.ones_like(hours), hours])
    lines = np.linalg.lstsq(design, places, rcond=None)[0]
    return np.array([lines[0, 0], lines[0, 1], lines[1, 0], lines[1, 1]])


def _linearised(
    state: Array, hours: Array, ranges_nm: Array, bearings_deg: Array, own_nm: Array
) -> tuple[Array, Array]:
    """Residuals (2N,), ranges (NM) then bearings (rad), and their derivatives (2N, 4) by the state."""
    east = state[0] + state[2] * hours - own_nm[:, 0]
    north = state[1] + state[3] * hours - own_nm[:, 1]
    distance = np.maximum(np.hypot(east, north), 1e-6)
    turned = np.radians(bearings_deg) - np.arctan2(east, north)
    turned = (turned + np.pi) % (2 * np.pi) - np.pi
    by_range = np.column_stack([east, north, east * hours, north * hours]) / distance[:, None]
    by_bearing = np.column_stack([north, -east, north * hours, -east * hours]) / distance[:, None] ** 2
    return np.concatenate([ranges_nm - distance, turned]), np.vstack([by_range, by_bearing])


def _described(state: Array, residuals: Array, jacobian: Array, weights: Array) -> TrackLine:
    count = len(residuals) // 2
    weighted = jacobian * weights[:, None]
    covariance = np.asarray(np.linalg.pinv(weighted.T @ weighted), dtype=np.float64)
    scaled = residuals * weights
    left = np.eye(2 * count) - weighted @ covariance @ weighted.T  # covariance of the weighted residuals
    left_out, misfit = np.full((count, 2), np.nan), np.zeros(count)
    freedom = np.zeros(count, dtype=np.int64)
    for i in range(count):
        pair = [i, i + count]
        values, axes = np.linalg.eigh(left[np.ix_(pair, pair)])
        freedom[i] = int(np.sum(values > _RANK))
        if freedom[i] < 2:
            continue
        told = axes.T @ scaled[pair]
        misfit[i] = float(np.sum(told**2 / values))
        left_out[i] = (axes @ (told / values)) / weights[pair]
        left_out[i, 1] = np.degrees(left_out[i, 1])
    return TrackLine(
        state=state,
        covariance=covariance,
        range_residuals_nm=residuals[:count],
        bearing_residuals_deg=np.degrees(residuals[count:]),
        left_out=left_out,
        misfit=misfit,
        freedom=freedom,
        chi_squared=float(scaled @ scaled),
    )
