"""What is common to all pairs of a radar track and an AIS track: one bearing error, one shift of all places.

The difference of a pair's places, radar's less AIS's, is modelled as H b: b = (bearing error in radians, shift east,
shift north in NM). A bearing error moves each echo about own ship by its range times the error; a shift moves all
alike. The bearing error is the radar's heading (bearing) alignment; the shift an antenna's offset or an error of our
own position. A vessel's own AIS errors are her own: they are in the scatter.
"""

from enum import StrEnum
from math import degrees, hypot, radians
from typing import Any

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

Array = NDArray[np.floating[Any]]

PRIOR_BEARING_DEG, PRIOR_SHIFT_NM = 1.5, 0.015
"""One sigma before anything is known: a bearing's alignment as found on small vessels, and antennas, own fix and clocks
(28 m) (judgement; A.823(19) allows 1 degree of bearing error, 95 %)."""

WIDE_BEARING_DEG, WIDE_SHIFT_NM, SURPRISE = 5.0, 0.3, 9.0
"""Where three pairs or more contradict the prior by this (chi square), it was wrong: a fix may be far off."""

VOTE_NM, VOTED_BEARING_DEG, VOTED_SHIFT_NM = 0.05, 0.5, 0.03
"""Candidates agree on one offset within the first; what they have found is then known to the others, one sigma."""

HUBER = 2.0
"""A pair farther off than so many sigmas counts by its distance, not by its square: one wrong AIS moves nobody else."""

ROUNDS = 4

NAMED_SIGMAS, NAMED_DEG, NAMED_NM = 4.0, 0.5, 25 / 1852
"""A common offset is named when it is so many sigmas from none, and at least this much."""

CLEARLY = 9.0
"""One explanation is better than the other by this much in chi square, else both are named."""

LEAST_PAIRS = 3


class Cause(StrEnum):
    BEARING = "bearing"
    SHIFT = "shift"
    BOTH = "both"
    EITHER = "either"


class Offset(Struct, frozen=True):
    """The common offset in force: `mean` (3,) and `covariance` (3, 3) of b (radians, NM, NM), and the pairs used."""

    mean: Array
    covariance: Array
    pairs: int = 0


class Verdict(Struct, frozen=True):
    """What the pairs have in common, with one sigma of each figure. Bearings positive clockwise, a shift to 0-360."""

    cause: Cause
    pairs: int
    bearing_deg: float
    bearing_sd_deg: float
    shift_nm: float
    shift_sd_nm: float
    shift_deg: float


def prior(bearing_deg: float = PRIOR_BEARING_DEG, shift_nm: float = PRIOR_SHIFT_NM) -> Offset:
    sds = np.array([radians(bearing_deg), shift_nm, shift_nm])
    return Offset(np.zeros(3), np.diag(sds**2))


def design(east_nm: Array, north_nm: Array) -> Array:
    """H (N, 2, 3) for places (N,) from own ship: a bearing that is too high moves an echo clockwise."""
    h = np.zeros((len(east_nm), 2, 3))
    h[:, 0, 0], h[:, 1, 0] = north_nm, -east_nm
    h[:, 0, 1] = h[:, 1, 2] = 1.0
    return h


def estimate(h: Array, differences: Array, covariances: Array) -> Offset:
    """The common offset from H (N, 2, 3), differences (N, 2) and their covariances (N, 2, 2), with the prior."""
    start = prior()
    if not len(differences):
        return start
    information, believed = np.linalg.inv(covariances), np.linalg.inv(start.covariance)
    mean, covariance = _fit(h, differences, information, believed)
    if len(differences) >= LEAST_PAIRS and mean @ believed @ mean > SURPRISE:
        wide = prior(WIDE_BEARING_DEG, WIDE_SHIFT_NM)
        mean, covariance = _fit(h, differences, information, np.linalg.inv(wide.covariance))
    return Offset(mean, covariance, len(differences))


def vote(h: Array, differences: Array) -> Offset | None:
    """An offset on which three candidates or more, and most of them, agree: so a fix that is far off is found, with
    which nothing fits. Each candidate proposes one shift, and one bearing error."""
    best, voices = None, max(LEAST_PAIRS, len(differences) // 2 + 1)
    for i, (east, north) in enumerate(differences):
        turn = float(h[i, :, 0] @ differences[i] / max(h[i, :, 0] @ h[i, :, 0], 1e-9))
        for proposed in (np.array([0.0, east, north]), np.array([turn, 0.0, 0.0])):
            agree = int((np.hypot(*(differences - h @ proposed).T) < VOTE_NM).sum())
            if agree >= voices and (best is None or agree > best.pairs):
                best = Offset(proposed, prior(VOTED_BEARING_DEG, VOTED_SHIFT_NM).covariance, agree)
    return best


def _fit(h: Array, differences: Array, information: Array, prior_information: Array) -> tuple[Array, Array]:
    """Least squares with Huber's weights. Information (N, 2, 2) of the differences, (K, K) of the prior about zero."""
    weights = np.ones(len(differences))
    turned = np.swapaxes(h, 1, 2) @ information
    for _ in range(ROUNDS):
        matrix = prior_information + np.einsum("n,nij,njk->ik", weights, turned, h)
        covariance = np.linalg.inv(matrix)
        mean = covariance @ np.einsum("n,nij,nj->i", weights, turned, differences)
        weights = np.minimum(1.0, HUBER / np.maximum(_sigmas(h, mean, differences, information), 1e-9))
    return mean, covariance


def _sigmas(h: Array, mean: Array, differences: Array, information: Array) -> Array:
    left = differences - h @ mean
    squares: Array = np.einsum("ni,nij,nj->n", left, information, left)
    return np.sqrt(squares)


def verdict(h: Array, differences: Array, covariances: Array) -> Verdict | None:
    """The common offset by name, from three pairs on; None where there is none to speak of.

    Both explanations are fitted alone and together, without a prior but a faint one for the inverse's sake.
    """
    if len(differences) < LEAST_PAIRS:
        return None
    information = np.linalg.inv(covariances)
    costs, fits = {}, {}
    for cause, columns in ((Cause.BEARING, [0]), (Cause.SHIFT, [1, 2]), (Cause.BOTH, [0, 1, 2])):
        part: Array = h[:, :, columns]
        faint: Array = np.diag([(1.0 if column == 0 else 5.0) ** -2 for column in columns])
        fits[cause] = _fit(part, differences, information, faint)
        costs[cause] = _cost(_sigmas(part, fits[cause][0], differences, information))
    nothing = _cost(_sigmas(h, np.zeros(3), differences, information))
    named = _cause(costs, nothing)
    return None if named is None else _told(named, fits, len(differences))


def _cost(sigmas: Array) -> float:
    """Huber's: squares near, twice the bound times the distance beyond."""
    return float(np.where(sigmas <= HUBER, sigmas**2, 2 * HUBER * sigmas - HUBER**2).sum())


def _cause(costs: dict[Cause, float], nothing: float) -> Cause | None:
    """The simplest explanation that the others do not clearly better."""
    single = min(costs[Cause.BEARING], costs[Cause.SHIFT])
    if nothing - min(single, costs[Cause.BOTH]) < NAMED_SIGMAS**2:
        return None
    if single - costs[Cause.BOTH] > CLEARLY:
        return Cause.BOTH
    if abs(costs[Cause.BEARING] - costs[Cause.SHIFT]) < CLEARLY:
        return Cause.EITHER
    return Cause.BEARING if costs[Cause.BEARING] < costs[Cause.SHIFT] else Cause.SHIFT


def _told(cause: Cause, fits: dict[Cause, tuple[Array, Array]], pairs: int) -> Verdict | None:
    """The figures, each by the fit that the cause names; None where they are too small to speak of."""
    bearing_mean, bearing_cov = fits[Cause.BOTH if cause is Cause.BOTH else Cause.BEARING]
    shift_mean, shift_cov = fits[Cause.BOTH if cause is Cause.BOTH else Cause.SHIFT]
    (east, north), spread = shift_mean[-2:], shift_cov[-2:, -2:]
    size = hypot(east, north)
    along = np.array([east, north]) / size if size else np.array([1.0, 0.0])
    found = Verdict(
        cause=cause,
        pairs=pairs,
        bearing_deg=degrees(bearing_mean[0]),
        bearing_sd_deg=degrees(bearing_cov[0, 0] ** 0.5),
        shift_nm=size,
        shift_sd_nm=float(along @ spread @ along) ** 0.5,
        shift_deg=float(np.degrees(np.arctan2(east, north))) % 360.0,
    )
    turned = abs(found.bearing_deg) >= NAMED_DEG and abs(found.bearing_deg) >= NAMED_SIGMAS * found.bearing_sd_deg
    moved = found.shift_nm >= NAMED_NM and found.shift_nm >= NAMED_SIGMAS * found.shift_sd_nm
    said = {
        Cause.BEARING: turned,
        Cause.SHIFT: moved,
        Cause.BOTH: turned or moved,
        Cause.EITHER: turned or moved,
    }
    return found if said[cause] else None
