"""Plane motion against the Earth's shape: vessels steaming along geodesics of WGS-84 for up to an hour.

Positions are the reference geodesic library's (Karney's algorithms, geographiclib), independent of this project.
"""

import numpy as np
from geographiclib.geodesic import Geodesic

from alerts.plotting.geometry import closest_approach

NM_M = 1852.0
WGS84 = Geodesic.WGS84
MASK = Geodesic.LATITUDE | Geodesic.LONGITUDE


def place(own: tuple[float, float], other: tuple[float, float]) -> tuple[float, float]:
    """East and north (NM) of another position, by geodesic range and azimuth: what an ideal radar sees."""
    seen = WGS84.Inverse(*own, *other, Geodesic.DISTANCE | Geodesic.AZIMUTH)
    angle = np.radians(seen["azi1"])
    return seen["s12"] / NM_M * np.sin(angle), seen["s12"] / NM_M * np.cos(angle)


def steam(position: tuple[float, float], course_deg: float, distance_nm: float) -> tuple[float, float]:
    end = WGS84.Direct(*position, course_deg, distance_nm * NM_M, MASK)
    return end["lat2"], end["lon2"]


def test_closest_approach_on_the_ellipsoid() -> None:
    """10,000 random encounters up to 70 degrees of latitude, within 12 NM, CPA up to half an hour away.

    Velocities are those that a plot finds: six minutes' run of each vessel as seen from own first position. At the
    closed form's TCPA the geodesic distance is its CPA to 5 m, and two minutes before and after it is no less.
    """
    rng = np.random.default_rng(5)
    count, tenth = 10_000, 0.1
    kept = 0
    errors: list[float] = []
    dips: list[float] = []
    for lat, lon, bearing, far, own_course, course, own_speed, speed in zip(
        rng.uniform(-70, 70, count),
        rng.uniform(-180, 180, count),
        rng.uniform(0, 360, count),
        rng.uniform(0.5, 12, count),
        rng.uniform(0, 360, count),
        rng.uniform(0, 360, count),
        rng.uniform(0, 25, count),
        rng.uniform(0, 30, count),
        strict=True,
    ):
        own = (float(lat), float(lon))
        target = steam(own, bearing, far)
        angle = np.radians(bearing)
        e, n = far * np.sin(angle), far * np.cos(angle)
        e1, n1 = place(own, steam(target, course, speed * tenth))
        own_angle = np.radians(own_course)
        v = (e1 - e) / tenth - own_speed * np.sin(own_angle), (n1 - n) / tenth - own_speed * np.cos(own_angle)
        found = closest_approach(*(np.array([part]) for part in (e, n, *v)))
        hours = float(found.tcpa_min[0]) / 60
        if not abs(hours) <= 0.5:
            continue
        kept += 1
        distances = []
        for later in (hours,) if kept % 10 else (hours, hours - 1 / 30, hours + 1 / 30):
            at, there = steam(own, own_course, own_speed * later), steam(target, course, speed * later)
            distances.append(WGS84.Inverse(*at, *there, Geodesic.DISTANCE)["s12"])
        errors.append(distances[0] - float(found.cpa_nm[0]) * NM_M)
        dips.extend(distance - distances[0] for distance in distances[1:])

    assert kept > 4_000
    assert np.max(np.abs(errors)) < 5.0
    assert np.min(dips) > -1.0
