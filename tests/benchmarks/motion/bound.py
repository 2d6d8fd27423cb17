"""Bounds that no estimator can pass: Cramér-Rao for the CPA, and the earliest that a manoeuvre can be told."""

import numpy as np
from numpy.typing import NDArray

from alerts.plotting.geometry import Column
from parsers.observations import NM_M
from tests.benchmarks.motion.runs import Truth

Matrix = NDArray[np.float64]


def report_sds(range_m: float, bearing_deg: float) -> tuple[float, float]:
    """One sd of a reported range (NM) and bearing (radians): white noise, and rounding to 0.01 NM and 0.1 degree."""
    return (
        float(np.hypot(range_m / NM_M, 0.01 / np.sqrt(12))),
        float(np.radians(np.hypot(bearing_deg, 0.1 / np.sqrt(12)))),
    )


def information(truth: Truth, times_s: Column, sds: tuple[float, float]) -> Matrix:
    """`information_of` looks that are all as good: one sd of range (NM) and bearing (radians)."""
    return information_of(truth, times_s, _variances(truth, sds))


def information_of(truth: Truth, times_s: Column, variances: tuple[Column, Column]) -> Matrix:
    """Fisher information (4, 4) of a steady target's place and velocity at the last of K looks of independent errors.

    `variances` are those along and athwart, (K,), NM squared. Van Trees, Detection, Estimation and Modulation Theory I,
    section 2.4 (from memory): the sum of H' R^-1 H.
    """
    total = np.zeros((4, 4))
    for weight, hours in zip(look_information(truth, variances), (times_s - times_s[-1]) / 3600, strict=True):
        rows = np.hstack([np.eye(2), hours * np.eye(2)])
        total += rows.T @ weight @ rows
    return total


def _variances(truth: Truth, sds: tuple[float, float]) -> tuple[Column, Column]:
    range_nm = np.hypot(truth.east_nm, truth.north_nm)
    return np.full(range_nm.shape, sds[0] ** 2), (sds[1] * range_nm) ** 2


def look_information(truth: Truth, variances: tuple[Column, Column]) -> Matrix:
    """What each of K looks tells of the place, (K, 2, 2): along and athwart the true line of sight."""
    range_nm = np.hypot(truth.east_nm, truth.north_nm)
    along = np.stack([truth.east_nm, truth.north_nm], axis=1) / range_nm[:, None]
    athwart = np.stack([along[:, 1], -along[:, 0]], axis=1)
    return np.asarray(
        along[:, :, None] * along[:, None, :] / variances[0][:, None, None]
        + athwart[:, :, None] * athwart[:, None, :] / variances[1][:, None, None]
    )


def miss_bound_nm(truth: Truth, times_s: Column, sds: tuple[float, float]) -> float:
    """Least sd that an unbiased estimate of the signed miss distance can have at the last look, own motion known."""
    e, n = truth.east_nm[-1], truth.north_nm[-1]
    ve, vn = truth.east_kn[-1] - truth.own_east_kn[-1], truth.north_kn[-1] - truth.own_north_kn[-1]
    speed = np.hypot(ve, vn)
    miss = (n * ve - e * vn) / speed
    gradient = np.array([-vn, ve, n - miss * ve / speed, -(e + miss * vn / speed)]) / speed
    return float(np.sqrt(gradient @ np.linalg.solve(information(truth, times_s, sds), gradient)))


def earliest_s(
    truth: Truth, times_s: Column, began_s: float, sds: tuple[float, float], threshold: float, luck: float
) -> float:
    """When a detector that knows onset, turn and old motion exactly, and asks only whether it happened, says so.

    Its statistic is normal with unit variance and mean sqrt(sum d' R^-1 d), d being how far the target has left its
    old line. `threshold` (sds) sets its false alarms; `luck` is this run's draw of the noise. Seconds after the
    onset; infinite if never.
    """
    start = int(np.searchsorted(times_s, began_s)) - 1
    hours = (times_s - times_s[start]) / 3600
    left = np.stack([_left(truth.east_kn, hours, start), _left(truth.north_kn, hours, start)], axis=1)
    weights = look_information(truth, _variances(truth, sds))
    gain = np.cumsum(np.where(hours > 0, np.einsum("ki,kij,kj->k", left, weights, left), 0.0))
    said = np.flatnonzero((hours > 0) & (np.sqrt(gain) + luck > threshold))
    return float(times_s[said[0]] - began_s) if said.size else float("inf")


def _left(velocity_kn: Column, hours: Column, start: int) -> Column:
    """How far from its old straight line a target has come: the integral of its change of velocity."""
    change = velocity_kn - velocity_kn[start]
    step = np.diff(hours, prepend=hours[:1])
    return np.asarray(np.cumsum((change + np.roll(change, 1)) / 2 * step) * (hours > 0))
