"""A target's position: the end of a geodesic from own position, along the true bearing, as long as the range.

The geodesic is geographiclib's (Karney, 2013): right to nanometres, and kept by its author. The plane that is good
enough for relative motion is metres out at the far end of the picture; a position that goes to other people's charts
should not be.
"""

from bisect import bisect_left
from collections.abc import Iterable

from geographiclib.geodesic import Geodesic
from msgspec import Struct

from alerts.events import Moment, OwnShip, Plot
from parsers.observations import NM_M

# Between fixes this far apart own position is taken to have moved in a straight line; in a longer gap it is not known.
BRIDGED_S = 30.0


class Place(Struct, frozen=True):
    """WGS-84, degrees; longitude in [-180, 180)."""

    lat_deg: float
    lon_deg: float


class OwnTrack:
    """Own positions of a passage by the stream's own time."""

    def __init__(self, own: Iterable[tuple[Moment, OwnShip]]) -> None:
        self._times: list[float] = []
        self._places: list[Place] = []
        for moment, ship in own:
            if ship.lat_deg is not None and ship.lon_deg is not None:
                # A fix was as old as the event says: it is own ship's place of then.
                self._times.append(moment.at_s - (ship.position_age_s or 0.0))
                self._places.append(Place(ship.lat_deg, ship.lon_deg))

    def places(self, at_s: float, plot: Plot) -> tuple[Place | None, Place | None]:
        """Own place and the target's at a plot's time."""
        own = self.at(at_s)
        if own is None or plot.bearing_deg is None:
            return own, None
        return own, place_of(own, plot.range_nm, plot.bearing_deg)

    def at(self, at_s: float) -> Place | None:
        """Own place between the fixes about a time; None where they are too far apart. Crosses the antimeridian."""
        index = bisect_left(self._times, at_s)
        if index == 0 or index == len(self._times):
            near = self._times[:1] if index == 0 else self._times[-1:]
            if not near or abs(near[0] - at_s) > BRIDGED_S:
                return None
            return self._places[0 if index == 0 else -1]
        before_s, after_s = self._times[index - 1], self._times[index]
        if after_s - before_s > BRIDGED_S:
            return None
        share = (at_s - before_s) / (after_s - before_s) if after_s > before_s else 0.0
        before, after = self._places[index - 1], self._places[index]
        turn = (after.lon_deg - before.lon_deg + 180.0) % 360.0 - 180.0
        return Place(
            before.lat_deg + share * (after.lat_deg - before.lat_deg),
            _wrapped(before.lon_deg + share * turn),
        )


def place_of(own: Place, range_nm: float, bearing_deg: float) -> Place:
    """Where the geodesic from own place on this bearing ends after this range."""
    end = Geodesic.WGS84.Direct(
        own.lat_deg, own.lon_deg, bearing_deg, range_nm * NM_M, Geodesic.LATITUDE | Geodesic.LONGITUDE
    )
    return Place(end["lat2"], _wrapped(end["lon2"]))


def _wrapped(lon_deg: float) -> float:
    return (lon_deg + 180.0) % 360.0 - 180.0
