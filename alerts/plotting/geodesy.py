"""Range and bearing between two positions a few miles apart, and a target's position made into a look.

Plane of the WGS-84 ellipsoid at the mid-latitude, as docs/method.md says. Against the geodesic the range is right to
a metre and the bearing to 0.02 degrees up to 24 NM and 70 degrees of latitude (tests/alerts/plotting/test_geodesy.py).
"""

from math import atan2, cos, degrees, hypot, radians, sin, sqrt

from alerts.plotting.kinematics import Look, OwnMotion
from parsers.observations import NM_M, TargetPosition

EQUATORIAL_RADIUS_M = 6378137.0
FLATTENING = 1 / 298.257223563
"""WGS-84, as printed in the geodesic library's own examples."""

_E2 = FLATTENING * (2 - FLATTENING)


def radii_nm(lat_deg: float) -> tuple[float, float]:
    """Radii of curvature at a latitude, NM: in the meridian, and in the prime vertical."""
    w2 = 1 - _E2 * sin(radians(lat_deg)) ** 2
    in_prime_vertical = EQUATORIAL_RADIUS_M / sqrt(w2)
    return in_prime_vertical * (1 - _E2) / w2 / NM_M, in_prime_vertical / NM_M


def range_and_bearing(
    lat_deg: float, lon_deg: float, other_lat_deg: float, other_lon_deg: float
) -> tuple[float, float]:
    """Range (NM) and true bearing (degrees) of the other position from the first. At the same place: (0.0, 0.0).

    The plane at the mid-latitude gives the direction half way along; the meridians' convergence turns it into
    the bearing at the first position. Longitudes are taken the short way round.
    """
    mid_deg = (lat_deg + other_lat_deg) / 2
    lon_diff = radians((other_lon_deg - lon_deg + 180) % 360 - 180)
    meridian_nm, prime_vertical_nm = radii_nm(mid_deg)
    north = radians(other_lat_deg - lat_deg) * meridian_nm
    east = lon_diff * prime_vertical_nm * cos(radians(mid_deg))
    if east == north == 0:
        return 0.0, 0.0
    convergence = lon_diff * sin(radians(mid_deg))
    return hypot(east, north), degrees(atan2(east, north) - convergence / 2) % 360


def look_at(position: TargetPosition, own: OwnMotion, own_lat_deg: float, own_lon_deg: float) -> Look:
    """A target's position (TLL) as a measurement from own ship, own position being that of `own`'s moment."""
    range_nm, bearing_deg = range_and_bearing(own_lat_deg, own_lon_deg, position.lat_deg, position.lon_deg)
    return Look(at_s=position.at_s, range_nm=range_nm, bearing_deg=bearing_deg, own=own)
