"""A plane for a passage's chart-free plot: miles east and north of where own ship was first, ground-fixed.

One mile is 1852 m on the ellipsoid at the passage's own latitudes; a passage of a day keeps within a few thousandths.
"""

import math
from bisect import bisect_left
from collections.abc import Sequence

from alerts.events import OwnShip
from alerts.plotting.geodesy import radii_nm

# A gap in own positions up to this long is bridged by a straight line; a longer one is a gap.
BRIDGED_S = 30.0
# A line breaks where nothing was known for longer than this, as in exported tracks.
BROKEN_S = 60.0

Place = tuple[float, float]


def unbroken(track: Sequence[tuple[float, float, float]]) -> list[list[Place]]:
    """Time, east, north to the pieces of a line: none goes through more than BROKEN_S in which nothing was known."""
    pieces: list[list[Place]] = []
    last_s = -math.inf
    for at_s, east, north in track:
        if at_s - last_s > BROKEN_S:
            pieces.append([])
        pieces[-1].append((east, north))
        last_s = at_s
    return pieces


class Plane:
    """Own ship's places, by time. Empty where the record holds no position."""

    def __init__(self, own: Sequence[tuple[float, OwnShip]]) -> None:
        self._times: list[float] = []
        self._places: list[tuple[float, float]] = []
        before: OwnShip | None = None
        east = north = 0.0
        for at_s, ship in own:
            if ship.lat_deg is None or ship.lon_deg is None:
                continue
            if before is not None:
                step = _step(before, ship)
                east, north = east + step[0], north + step[1]
            before = ship
            self._times.append(at_s)
            self._places.append((east, north))

    def __len__(self) -> int:
        return len(self._times)

    @property
    def track(self) -> Sequence[tuple[float, float, float]]:
        """Time, east, north."""
        return [(at_s, *place) for at_s, place in zip(self._times, self._places, strict=True)]

    def own_at(self, at_s: float) -> tuple[float, float] | None:
        """Own place at a time, by a straight line between fixes; None where there is none near."""
        index = bisect_left(self._times, at_s)
        if index == len(self._times):
            return self._places[-1] if self._times and at_s - self._times[-1] <= BRIDGED_S else None
        if index == 0:
            return self._places[0] if self._times[0] - at_s <= BRIDGED_S else None
        t0, t1 = self._times[index - 1], self._times[index]
        if t1 - t0 > BRIDGED_S:
            return None
        share = (at_s - t0) / (t1 - t0) if t1 > t0 else 0.0
        (e0, n0), (e1, n1) = self._places[index - 1], self._places[index]
        return e0 + share * (e1 - e0), n0 + share * (n1 - n0)

    def target_at(self, at_s: float, range_nm: float, bearing_deg: float) -> tuple[float, float] | None:
        """A target's place, from own ship's at that time."""
        own = self.own_at(at_s)
        if own is None:
            return None
        angle = math.radians(bearing_deg)
        return own[0] + range_nm * math.sin(angle), own[1] + range_nm * math.cos(angle)


def _step(before: OwnShip, after: OwnShip) -> tuple[float, float]:
    assert before.lat_deg is not None and before.lon_deg is not None
    assert after.lat_deg is not None and after.lon_deg is not None
    middle_deg = (before.lat_deg + after.lat_deg) / 2
    meridian_nm, prime_vertical_nm = radii_nm(middle_deg)
    east = math.radians((after.lon_deg - before.lon_deg + 180.0) % 360.0 - 180.0)
    return (
        east * prime_vertical_nm * math.cos(math.radians(middle_deg)),
        math.radians(after.lat_deg - before.lat_deg) * meridian_nm,
    )
