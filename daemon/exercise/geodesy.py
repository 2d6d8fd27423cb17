"""Steps, ranges and bearings on the WGS-84 ellipsoid, for whole arrays at once.

Degrees, metres and nautical miles of 1852 m. All functions broadcast. Out to 30 NM and up to 75 degrees of latitude
ranges are good to 2.5 m and bearings to 1.5 m across (measured against geographiclib, held in tests); at 12 NM and
60 degrees to a few centimetres.
"""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Values = Floats | float

EQUATORIAL_RADIUS_M = 6378137.0
FLATTENING = 1 / 298.257223563
_E2 = FLATTENING * (2 - FLATTENING)
NM_M = 1852.0


def radii_nm(lat_deg: Values) -> tuple[Floats, Floats]:
    """Radii of curvature in the meridian and in the prime vertical, NM, at a latitude (any textbook of geodesy)."""
    w2 = 1.0 - _E2 * np.sin(np.radians(lat_deg)) ** 2
    prime = EQUATORIAL_RADIUS_M / NM_M / np.sqrt(w2)
    return np.asarray(prime * (1.0 - _E2) / w2), np.asarray(prime)


def wrapped(angle_deg: Values) -> Floats:
    """An angle in [-180, 180)."""
    return np.asarray((np.asarray(angle_deg) + 180.0) % 360.0 - 180.0)


def offset(lat_deg: Values, lon_deg: Values, east_nm: Values, north_nm: Values) -> tuple[Floats, Floats]:
    """The position that lies so far east and north, by the radii at the mid-latitude. Longitude is not wrapped."""
    lat = np.asarray(lat_deg, dtype=np.float64)
    new_lat = lat
    for _ in range(3):  # the mid-latitude depends on the answer: three rounds are good to a millimetre at 30 NM
        meridian, prime = radii_nm((lat + new_lat) / 2)
        new_lat = lat + np.degrees(np.asarray(north_nm) / meridian)
    middle = np.radians((lat + new_lat) / 2)
    return new_lat, np.asarray(lon_deg + np.degrees(np.asarray(east_nm) / (prime * np.cos(middle))))


def destination(lat_deg: Values, lon_deg: Values, bearing_deg: Values, range_nm: Values) -> tuple[Floats, Floats]:
    """The position at so much range on an initial true bearing: the inverse of `range_and_bearing`."""
    at_middle = np.asarray(bearing_deg, dtype=np.float64)
    for _ in range(3):  # the convergence depends on the answer, weakly
        angle = np.radians(at_middle)
        lat, lon = offset(lat_deg, lon_deg, range_nm * np.sin(angle), range_nm * np.cos(angle))
        at_middle = bearing_deg + convergence_deg(lat_deg, lon_deg, lat, lon) / 2
    return lat, lon


def range_and_bearing(
    lat_deg: Values, lon_deg: Values, to_lat_deg: Values, to_lon_deg: Values
) -> tuple[Floats, Floats]:
    """Range (NM) and initial true bearing (degrees, [0, 360)) by Gauss's mid-latitude method.

    The direction at the middle of the line comes from the radii at the mid-latitude; the meridians' convergence
    between there and the beginning is half the difference of longitude times the sine of that latitude.
    """
    east, north, convergence = _middle(lat_deg, lon_deg, to_lat_deg, to_lon_deg)
    return np.hypot(east, north), (np.degrees(np.arctan2(east, north)) - convergence / 2) % 360.0


def plane(lat_deg: Values, lon_deg: Values, to_lat_deg: Values, to_lon_deg: Values) -> tuple[Floats, Floats]:
    """East and north (NM) of a position from another, along the middle of the line between them."""
    east, north, _ = _middle(lat_deg, lon_deg, to_lat_deg, to_lon_deg)
    return east, north


def convergence_deg(lat_deg: Values, lon_deg: Values, to_lat_deg: Values, to_lon_deg: Values) -> Floats:
    """By how much a course at the far end must be turned (subtract it) to stand in the near end's directions."""
    return _middle(lat_deg, lon_deg, to_lat_deg, to_lon_deg)[2]


def _middle(lat_deg: Values, lon_deg: Values, to_lat_deg: Values, to_lon_deg: Values) -> tuple[Floats, Floats, Floats]:
    """East and north along the middle of the line (NM), and the convergence from end to end (degrees)."""
    lat, to_lat = np.asarray(lat_deg, dtype=np.float64), np.asarray(to_lat_deg, dtype=np.float64)
    difference = wrapped(np.asarray(to_lon_deg, dtype=np.float64) - np.asarray(lon_deg, dtype=np.float64))
    middle = (lat + to_lat) / 2
    meridian, prime = radii_nm(middle)
    radians = np.radians(middle)
    east = np.radians(difference) * prime * np.cos(radians)
    north = np.radians(to_lat - lat) * meridian
    return east, north, np.asarray(difference * np.sin(radians))
