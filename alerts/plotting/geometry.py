"""Closed-form relative motion on columns of numbers: closest approach, bearing drift, crossing of the heading line.

All functions take and give numpy arrays of one shape, (N,), or plain floats. East and north in NM, velocities in
knots, times in hours inside and minutes where a name says so, angles in degrees in [0, 360). `east_nm, north_nm` is the
target's place from own ship, `east_kn, north_kn` its velocity less own velocity.

The letters of the method: r for that place, v for that velocity. Source: plane vectors (shared by every manual of
radar plotting, e.g. Pub. 1310); signs: clockwise positive.

Degenerate cases are values. A relative speed under `STILL_KN` has no direction: CPA is the range now, TCPA is NaN.
A target on top of own ship has no bearing: NaN. A CPA that is past has a negative TCPA.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Column = NDArray[np.float64]
"""Numbers, one a target: shape (N,)."""

STILL_KN = 0.01
"""Under this relative speed (0.01 NM, one count of a TTM, in an hour) there is no relative motion to speak of."""

ALONGSIDE_NM = 1e-6
"""Under this range (2 mm) a target has no bearing."""


class Approach(NamedTuple):
    """Closest approach, one row a target.

    `miss_nm` is the CPA with a sign: positive when the bearing drifts clockwise. `cpa_bearing_deg` is NaN where the
    CPA is too small for a bearing; `tcpa_min` NaN where there is no relative motion.
    """

    cpa_nm: Column
    miss_nm: Column
    tcpa_min: Column
    cpa_bearing_deg: Column
    relative_speed_kn: Column


class Crossing(NamedTuple):
    """Where the relative track cuts the heading line ahead of own ship in the future; NaN where it does not."""

    bow_crossing_nm: Column
    bow_crossing_min: Column


def wrap_degrees(angle_deg: Column) -> Column:
    """An angle brought into [0, 360)."""
    wrapped = np.mod(angle_deg, 360.0)
    return np.where(wrapped >= 360.0, 0.0, wrapped)


def signed_degrees(angle_deg: Column) -> Column:
    """An angle brought into [-180, 180): starboard positive, port negative."""
    return wrap_degrees(angle_deg + 180.0) - 180.0


def bearing_of(east: Column, north: Column, least: float) -> Column:
    """Direction of a vector in degrees true; NaN where it is shorter than `least`."""
    bearing = wrap_degrees(np.degrees(np.arctan2(east, north)))
    return np.where(east * east + north * north < least * least, np.nan, bearing)


def closest_approach(east_nm: Column, north_nm: Column, east_kn: Column, north_kn: Column) -> Approach:
    """CPA and TCPA of targets that hold their relative motion.

    TCPA = -(r.v)/|v|^2 and CPA = |r x v|/|v|. TCPA is negative when the closest point is past; the CPA is then
    the range at that point.
    """
    speed_squared = east_kn * east_kn + north_kn * north_kn
    still = speed_squared < STILL_KN * STILL_KN
    divisor = np.where(still, 1.0, speed_squared)
    cross = east_nm * north_kn - north_nm * east_kn
    # Clockwise drift is positive: the bearing turns from north to east, so r x v is taken with its sign turned.
    miss = np.where(still, 0.0, -cross / np.sqrt(divisor))
    hours = -(east_nm * east_kn + north_nm * north_kn) / divisor
    range_nm = np.sqrt(east_nm * east_nm + north_nm * north_nm)
    cpa = np.where(still, range_nm, np.abs(miss))
    after = np.where(still, 0.0, hours)
    cpa_bearing = bearing_of(east_nm + east_kn * after, north_nm + north_kn * after, ALONGSIDE_NM)
    return Approach(cpa, miss, np.where(still, np.nan, hours * 60.0), cpa_bearing, np.sqrt(speed_squared))


def bearing_rate(east_nm: Column, north_nm: Column, east_kn: Column, north_kn: Column) -> Column:
    """Drift of the true bearing in degrees a minute, clockwise positive: (r x v)/|r|^2. NaN alongside."""
    range_squared = east_nm * east_nm + north_nm * north_nm
    alongside = range_squared < ALONGSIDE_NM * ALONGSIDE_NM
    rate = (north_nm * east_kn - east_nm * north_kn) / np.where(alongside, 1.0, range_squared)
    return np.where(alongside, np.nan, np.degrees(rate) / 60.0)


def bow_crossing(east_nm: Column, north_nm: Column, east_kn: Column, north_kn: Column, heading_deg: Column) -> Crossing:
    """Where and when a target crosses own heading line ahead, own heading held.

    In own ship's axes (x to starboard, y ahead) the relative track cuts x = 0 after -x/vx hours. Only a cut that lies
    in the future and ahead counts. A track along the heading line does not cut it. NaN where the heading is NaN.
    """
    heading = np.radians(heading_deg)
    sine, cosine = np.sin(heading), np.cos(heading)
    x, y = east_nm * cosine - north_nm * sine, east_nm * sine + north_nm * cosine
    vx, vy = east_kn * cosine - north_kn * sine, east_kn * sine + north_kn * cosine
    along = np.abs(vx) < STILL_KN
    hours = -x / np.where(along, 1.0, vx)
    ahead = y + vy * hours
    crosses = ~along & (hours >= 0.0) & (ahead > 0.0)
    return Crossing(np.where(crosses, ahead, np.nan), np.where(crosses, hours * 60.0, np.nan))


def drift_toward_stern(rate: Column, relative_bearing_deg: Column) -> Column:
    """Bearing drift counted toward own stern: positive draws aft, negative draws ahead. Same unit as `rate`.

    Off the starboard side a clockwise drift draws aft, off the port side it draws ahead. A target right ahead can
    only draw aft, one right astern only ahead. NaN where the relative bearing is NaN.
    """
    relative = np.radians(relative_bearing_deg)
    side = np.sin(relative)
    on_the_line = np.abs(side) < 1e-12
    off_the_line = np.where(side > 0.0, rate, -rate)
    drift = np.where(on_the_line, np.where(np.cos(relative) > 0.0, np.abs(rate), -np.abs(rate)), off_the_line)
    return np.where(np.isnan(relative_bearing_deg), np.nan, drift)
