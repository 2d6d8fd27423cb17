"""Values that pass between the picture, the filter and the closed-form motion.

Everything here lives in one plane: east and north, nautical miles and knots, fixed to the ground (or to the water,
where own ship knows no other motion). Its origin is arbitrary and is own ship's place when the watch began; only
differences mean anything. Own ship moves through it, so an own alteration of course is never taken for a target's.
"""

from math import atan2, degrees, hypot

import numpy as np
from msgspec import Struct
from numpy.typing import ArrayLike, NDArray

from alerts.plotting.terms import TrackState
from parsers.observations import MotionReference


class OwnMotion(Struct, frozen=True, gc=False):
    """Own ship at one moment, by the best sources that are fresh.

    `frame` says what the velocity is measured against; UNKNOWN where nothing is known, the velocity then being zero,
    and only relative motion can be told. `heading_deg` is true. Standard deviations are one sigma. Own ship is
    turning where `turn_rate_deg_min` says so (from ROT, else from successive headings; starboard positive).
    """

    at_s: float
    east_nm: float
    north_nm: float
    east_kn: float
    north_kn: float
    velocity_sd_kn: float
    frame: MotionReference
    heading_deg: float | None
    heading_sd_deg: float
    turn_rate_deg_min: float | None = None


class Look(Struct, frozen=True, gc=False):
    """One measurement of a target: range and true bearing from own ship, with own ship at that moment.

    `bearing_sd_deg` is what the heading used to make the bearing true adds to the radar's own error; 0 where the set
    gave a true bearing itself. `range_scale_nm` is None where the set does not tell it. `reading` is what the sentence
    itself said (range and bearing as sent, speed, course): the same reading again is no new measurement. `is_off_bow`:
    nothing tells where the bow is, and the bearing is counted from it.
    """

    at_s: float
    range_nm: float
    bearing_deg: float
    own: OwnMotion
    bearing_sd_deg: float = 0.0
    range_scale_nm: float | None = None
    reading: tuple[float | None, ...] | None = None
    is_off_bow: bool = False


Covariance = tuple[float, float, float, float, float, float, float, float, float, float]
"""Upper triangle, by rows, of the 4 x 4 covariance of (east_nm, north_nm, east_kn, north_kn)."""

FULL = np.array([[0, 1, 2, 3], [1, 4, 5, 6], [2, 5, 7, 8], [3, 6, 8, 9]])
"""Where each place of the whole matrix stands in that triangle."""


def full(covariances: ArrayLike) -> NDArray[np.float64]:
    """Whole matrices (..., 4, 4) from triangles (..., 10)."""
    return np.take(np.asarray(covariances, dtype=np.float64), FULL, axis=-1)


def upper(covariance: NDArray[np.float64]) -> Covariance:
    """The triangle of a whole matrix (4, 4)."""
    ee, en, eu, ev, nn, nu, nv, uu, uv, vv = covariance[np.triu_indices(4)].tolist()
    return ee, en, eu, ev, nn, nu, nv, uu, uv, vv


class Estimate(Struct, frozen=True, gc=False):
    """A target's place and ground velocity in the plane at one moment, with the covariance of both.

    `settled` is False while too little has been seen, or too soon after a manoeuvre, for the velocity to mean
    anything; the numbers are then not for showing. `observations` counts the measurements taken in since the
    track began; `repeats` those recognised as old measurements under a new time, which are not counted.
    `last_change_s` is the moment of the last measurement that was no repeat, `manoeuvre_at_s` the estimated onset of
    the last manoeuvre.
    `range_sd_nm` and `bearing_sd_deg` are the measurement errors in force for this feed, learnt from its residuals.
    """

    at_s: float
    east_nm: float
    north_nm: float
    east_kn: float
    north_kn: float
    covariance: Covariance
    state: TrackState
    settled: bool
    observations: int
    repeats: int = 0
    last_change_s: float | None = None
    manoeuvre_at_s: float | None = None
    range_sd_nm: float = 0.0
    bearing_sd_deg: float = 0.0


def seen_from(own: OwnMotion, estimate: Estimate) -> tuple[float, float]:
    """Range (NM) and true bearing (degrees, [0, 360)) of a target from own ship, both at one moment."""
    east_nm, north_nm = estimate.east_nm - own.east_nm, estimate.north_nm - own.north_nm
    return hypot(east_nm, north_nm), degrees(atan2(east_nm, north_nm)) % 360.0
