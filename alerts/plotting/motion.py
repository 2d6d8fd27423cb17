"""What a target will do if nobody alters: all answers of the plot for many targets at once.

`assess` takes each target's estimate and own motion at the same moment. Relative motion is the target's velocity less
own velocity, both in the plane of kinematics.py. Own place in that plane is reckoned from own velocity itself, so a
steady error of own speed or course is in both velocities and drops out; only its flutter stays (`OWN_FLUTTER`).
"""

from collections.abc import Sequence

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from alerts.plotting.chance import Relative, Spread, Stack, inside_probability, spread
from alerts.plotting.geometry import (
    STILL_KN,
    Approach,
    Column,
    bearing_of,
    bearing_rate,
    bow_crossing,
    closest_approach,
    drift_toward_stern,
    signed_degrees,
)
from alerts.plotting.kinematics import FULL, Estimate, OwnMotion
from alerts.plotting.terms import BearingTrend, Passing
from parsers.observations import MotionReference

OWN_FLUTTER, OWN_FLUTTER_MOST_KN = 0.5, 0.08
"""The part of own velocity's sd that is not steady, and so does not cancel, and the most of it. (The log's error in
A.823(19) App. 3 is a bias of 0.5 kn and 0.067 kn about it; satellite speed comes to a count of 0.1 kn.)"""

LIMIT_SDS = 1.96

STEADY_DEG_MIN = 0.05
"""A slower drift is none to speak of: 3 degrees in an hour, 80 m of miss for 20 kn at 4 NM."""

TREND_SD_DEG_MIN = 0.25
"""With a wider error than this nobody can say that a bearing is steady."""

COLLISION_NM = 0.05
"""A miss of half a cable is none: ships are that long, and their echoes wander by as much."""

_TRENDS = (BearingTrend.UNSETTLED, BearingTrend.STEADY, BearingTrend.DRAWING_AHEAD, BearingTrend.DRAWING_AFT)
_PASSINGS = (Passing.UNSETTLED, Passing.AHEAD, Passing.ASTERN, Passing.COLLISION_COURSE, Passing.OPENING)
_LANES = 8


class Answer(Struct, frozen=True, gc=False):
    """One target's plot, unrounded. None where a value does not exist or the track has not settled.

    `cpa_low_nm` and `cpa_high_nm` are 95 % limits. Course and speed are in own motion's frame (true, over ground or
    through the water), and None where that is unknown and only relative motion can be told.
    """

    range_nm: float
    bearing_deg: float | None
    relative_bearing_deg: float | None
    course_deg: float | None
    speed_kn: float | None
    cpa_nm: float | None
    cpa_sd_nm: float | None
    cpa_low_nm: float | None
    cpa_high_nm: float | None
    tcpa_min: float | None
    tcpa_sd_min: float | None
    inside_probability: float | None
    bearing_rate_deg_min: float | None
    bearing_rate_sd_deg_min: float | None
    bearing_trend: BearingTrend
    bow_crossing_nm: float | None
    bow_crossing_min: float | None
    passing: Passing
    cpa_bearing_deg: float | None


class Assessment(Struct, frozen=True):
    """The same as columns of shape (N,), NaN where a value does not exist. `trend` and `pass_` index the words."""

    range_nm: Column
    bearing_deg: Column
    relative_bearing_deg: Column
    course_deg: Column
    speed_kn: Column
    cpa_nm: Column
    cpa_sd_nm: Column
    cpa_low_nm: Column
    cpa_high_nm: Column
    tcpa_min: Column
    tcpa_sd_min: Column
    inside_probability: Column
    bearing_rate_deg_min: Column
    bearing_rate_sd_deg_min: Column
    trend: NDArray[np.intp]
    bow_crossing_nm: Column
    bow_crossing_min: Column
    pass_: NDArray[np.intp]
    cpa_bearing_deg: Column

    def rows(self) -> list[Answer]:
        """One Answer a target, in order."""
        columns: list[list[object]] = []
        for name in self.__struct_fields__:
            values = getattr(self, name).tolist()
            if name == "trend":
                columns.append([_TRENDS[code] for code in values])
            elif name == "pass_":
                columns.append([_PASSINGS[code] for code in values])
            else:
                columns.append([None if value != value else value for value in values])
        return list(map(Answer, *columns))


class _Inputs(Struct, frozen=True):
    """Columns of a padded batch, shape (M,), and the state of motion from own ship."""

    state: Relative
    settled: NDArray[np.bool_]
    heading_deg: Column  # NaN: not known
    ahead_deg: Column  # heading, else own course: what 'ahead' is counted from
    east_kn: Column  # target's own velocity; NaN in an unknown frame
    north_kn: Column


def assess(estimates: Sequence[Estimate], owns: Sequence[OwnMotion], cpa_limit_nm: float) -> Assessment:
    """Assess N targets, each with own motion at the moment of its estimate.

    A row's numbers do not depend on what else is in the batch, bit for bit. A row that has not settled has NaN (and
    `unsettled`) for all but its range and bearings. `inside_probability` is that of passing within `cpa_limit_nm`
    from now on.
    """
    return _assess_columns(_inputs(estimates, owns), cpa_limit_nm, len(estimates))


def relative_states(estimates: Sequence[Estimate], owns: Sequence[OwnMotion]) -> Relative:
    """The relative states that `assess` works on, columns of shape (N,): for another limit's `inside_probability`.

    Padded to whole groups of lanes like any batch, a row then has the same bits as in `assess`.
    """
    return _inputs(estimates, owns).state.take(np.arange(len(estimates)))


def _inputs(estimates: Sequence[Estimate], owns: Sequence[OwnMotion]) -> _Inputs:
    """The structs' numbers as contiguous columns, padded by repeating the last row to whole groups of lanes."""
    nan = float("nan")
    table: list[tuple[float, ...]] = [
        (
            e.east_nm - o.east_nm,
            e.north_nm - o.north_nm,
            e.east_kn,
            e.north_kn,
            o.east_kn,
            o.north_kn,
            o.velocity_sd_kn,
            nan if o.heading_deg is None else o.heading_deg,
            e.settled,
            o.frame is not MotionReference.UNKNOWN,
            *e.covariance,
        )
        for e, o in zip(estimates, owns, strict=True)
    ]
    filler = table[-1] if table else (1.0,) * 20
    table.extend([filler] * (-len(table) % _LANES or (0 if table else _LANES)))
    c = np.ascontiguousarray(np.array(table, dtype=np.float64).T)
    covariance = c[10 + FULL]
    covariance[[2, 3], [2, 3]] += np.minimum(OWN_FLUTTER * c[6], OWN_FLUTTER_MOST_KN) ** 2
    own_course = bearing_of(c[4], c[5], 0.5)
    known = c[9] > 0.0
    return _Inputs(
        state=Relative(np.array([c[0], c[1], c[2] - c[4], c[3] - c[5]]), covariance),
        settled=c[8] > 0.0,
        heading_deg=c[7],
        ahead_deg=np.where(np.isnan(c[7]), own_course, c[7]),
        east_kn=np.where(known, c[2], np.nan),
        north_kn=np.where(known, c[3], np.nan),
    )


def _assess_columns(given: _Inputs, cpa_limit_nm: float, count: int) -> Assessment:
    e, n, ve, vn = given.state.mean
    approach = closest_approach(e, n, ve, vn)
    rate = bearing_rate(e, n, ve, vn)
    doubt = spread(given.state)
    inside = inside_probability(given.state, cpa_limit_nm)
    crossing = bow_crossing(e, n, ve, vn, given.heading_deg)
    bearing = bearing_of(e, n, 1e-6)
    drift = drift_toward_stern(rate, signed_degrees(bearing - given.ahead_deg))
    low, high = _fold(approach, doubt, given.state.covariance)
    settled = given.settled

    def shown(column: Column) -> Column:
        return np.where(settled, column, np.nan)[:count]

    return Assessment(
        range_nm=np.sqrt(e * e + n * n)[:count],
        bearing_deg=bearing[:count],
        relative_bearing_deg=signed_degrees(bearing - given.heading_deg)[:count],
        course_deg=shown(bearing_of(given.east_kn, given.north_kn, STILL_KN)),
        speed_kn=shown(np.sqrt(given.east_kn**2 + given.north_kn**2)),
        cpa_nm=shown(approach.cpa_nm),
        cpa_sd_nm=shown(doubt.cpa_sd_nm),
        cpa_low_nm=shown(low),
        cpa_high_nm=shown(high),
        tcpa_min=shown(approach.tcpa_min),
        tcpa_sd_min=shown(doubt.tcpa_sd_min),
        inside_probability=shown(inside),
        bearing_rate_deg_min=shown(rate),
        bearing_rate_sd_deg_min=shown(doubt.bearing_rate_sd_deg_min),
        trend=_trend(drift, doubt.bearing_rate_sd_deg_min, settled)[:count],
        bow_crossing_nm=shown(crossing.bow_crossing_nm),
        bow_crossing_min=shown(crossing.bow_crossing_min),
        pass_=_passing(approach, doubt, inside, drift, settled)[:count],
        cpa_bearing_deg=shown(approach.cpa_bearing_deg),
    )


def _fold(approach: Approach, doubt: Spread, covariance: Stack) -> tuple[Column, Column]:
    """95 % limits of the CPA from those of the signed miss: a miss that may be on either side may be none."""
    low, high = doubt.miss_low_nm, doubt.miss_high_nm
    either_side = (low <= 0.0) & (high >= 0.0)
    least = np.where(either_side, 0.0, np.minimum(np.abs(low), np.abs(high)))
    most = np.maximum(np.abs(low), np.abs(high))
    still = np.isnan(approach.tcpa_min) & (covariance[2, 2] + covariance[3, 3] < STILL_KN * STILL_KN)
    apart = LIMIT_SDS * np.sqrt(covariance[0, 0] + covariance[1, 1])
    least = np.where(still, np.maximum(approach.cpa_nm - apart, 0.0), least)
    most = np.where(still, approach.cpa_nm + apart, most)
    return np.minimum(least, approach.cpa_nm), np.maximum(most, approach.cpa_nm)


def _trend(drift: Column, drift_sd: Column, settled: NDArray[np.bool_]) -> NDArray[np.intp]:
    """Index into the words of bearing trend. Steady: no drift beyond 95 % doubt or `STEADY_DEG_MIN`."""
    known = settled & ~np.isnan(drift)
    drawing = known & (np.abs(drift) > np.maximum(LIMIT_SDS * drift_sd, STEADY_DEG_MIN))
    steady = known & ~drawing & (drift_sd <= TREND_SD_DEG_MIN)
    return np.where(drawing, np.where(drift < 0.0, 2, 3), np.where(steady, 1, 0))


def _passing(
    approach: Approach, doubt: Spread, inside: Column, drift: Column, settled: NDArray[np.bool_]
) -> NDArray[np.intp]:
    """Index into the words of passing, for a target whose CPA is to come.

    Drawing ahead it passes ahead of us, drawing aft astern: the relative track cuts the heading line on that side.
    A miss that is nothing, or may be nothing and is likelier inside the limit than not, is a collision course.
    """
    still = np.isnan(approach.tcpa_min)
    opening = settled & ~still & (approach.tcpa_min <= 0.0)
    closing = settled & ~still & ~opening
    either_side = (doubt.miss_low_nm <= 0.0) & (doubt.miss_high_nm >= 0.0)
    collision = closing & np.where(either_side, inside >= 0.5, approach.cpa_nm < COLLISION_NM)
    passes = closing & ~either_side & ~collision & ~np.isnan(drift)
    side = np.where(drift < 0.0, 1, 2)
    return np.where(opening, 4, np.where(collision, 3, np.where(passes, side, 0)))
