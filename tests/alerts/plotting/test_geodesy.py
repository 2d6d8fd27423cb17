"""Range and bearing from positions, against the geodesic."""

import pytest
from geographiclib.geodesic import Geodesic

from alerts.plotting.geodesy import look_at, range_and_bearing
from parsers.observations import NM_M, TargetPosition
from tests.alerts.plotting.vessels import TLL, Vessel

# Start, azimuth and NM of shared reference positions: both hemispheres, the equator, the antimeridian, high latitude.
LINES = [
    (50.0, -1.0, 0.0, 6.0),
    (50.0, -1.0, 45.0, 6.0),
    (50.0, -1.0, 90.0, 12.0),
    (50.75, -1.3, 237.3, 3.55),
    (60.0, 5.0, 135.0, 24.0),
    (-36.8, 174.8, 315.0, 12.0),
    (-0.05, 179.95, 60.0, 6.0),
    (0.02, -0.03, 200.0, 4.0),
    (70.0, 20.0, 270.0, 24.0),
]


@pytest.mark.parametrize(("lat", "lon", "azimuth", "nm"), LINES)
def test_range_and_bearing_against_the_geodesic(lat: float, lon: float, azimuth: float, nm: float) -> None:
    """Within a metre and 0.02 degrees of the WGS-84 geodesic. Source: the geodesic reference library."""
    end = Geodesic.WGS84.Direct(lat, lon, azimuth, nm * NM_M)

    range_nm, bearing_deg = range_and_bearing(lat, lon, end["lat2"], end["lon2"])

    assert abs(range_nm - nm) * NM_M < 1.0
    assert abs((bearing_deg - azimuth + 180) % 360 - 180) < 0.02


def test_the_same_place_has_range_nought() -> None:
    """No division by zero at own ship's own place."""
    assert range_and_bearing(50.0, -1.0, 50.0, -1.0) == (0.0, 0.0)


def test_a_position_becomes_a_look() -> None:
    """A TLL without a TTM beside it is measured from own position."""
    own = Vessel(0, 0).motion(12.0)
    position = TargetPosition(at_s=12.0, source=TLL, number=4, lat_deg=50.1, lon_deg=-1.0)

    look = look_at(position, own, 50.0, -1.0)

    assert (look.at_s, look.own) == (12.0, own)
    assert look.bearing_deg == 0.0
    assert look.range_nm == pytest.approx(Geodesic.WGS84.Inverse(50.0, -1.0, 50.1, -1.0)["s12"] / NM_M, abs=1e-3)
