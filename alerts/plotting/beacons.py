"""AIS-SART, man-overboard and EPIRB transmitters: heard at any range, with or without a place, and never crowded out.

Such a transmitter speaks from the moment it is switched on, also before it knows where it is. A test says so in its
navigational status (ITU-R M.1371, from memory: 14 active, 15 under test).
"""

from msgspec import Struct

from alerts.plotting.geodesy import range_and_bearing
from alerts.rules.situation import Beacon
from parsers.observations import AisClass, AisDistress, AisPosition

MOST_BEACONS = 100
"""Kept at once; the one heard longest ago goes first."""

FORGET_S = 3600.0
UNDER_TEST = 15

FARTHEST_NM = 200.0
"""A place farther off than this is not told as range and bearing: nothing on the sea is heard over it."""


class _Heard(Struct, gc=False):
    station: AisClass
    at_s: float
    is_test: bool
    place: tuple[float, float] | None = None
    name: str = ""


class Beacons:
    """All distress transmitters heard. Times in stream seconds."""

    def __init__(self) -> None:
        self._heard: dict[int, _Heard] = {}

    def __len__(self) -> int:
        return len(self._heard)

    def take(self, report: AisPosition | AisDistress) -> None:
        """One message of a distress number. A place is kept until a newer one comes."""
        before = self._heard.pop(report.mmsi, None)
        place = before.place if before else None
        if isinstance(report, AisPosition):
            place = (report.lat_deg, report.lon_deg)
        name = before.name if before else ""
        is_test = report.navigational_status == UNDER_TEST
        if len(self._heard) >= MOST_BEACONS:
            del self._heard[next(iter(self._heard))]
        self._heard[report.mmsi] = _Heard(report.station, report.at_s, is_test, place, name)

    def learn(self, mmsi: int, name: str) -> None:
        if mmsi in self._heard:
            self._heard[mmsi].name = name

    def at(self, at_s: float, own: tuple[float, float] | None) -> tuple[Beacon, ...]:
        """What the rule is told at a tick; `own` is own latitude and longitude, where known."""
        for mmsi in [mmsi for mmsi, one in self._heard.items() if at_s - one.at_s > FORGET_S]:
            del self._heard[mmsi]
        return tuple(_beacon(mmsi, one, at_s, own) for mmsi, one in self._heard.items())


def _beacon(mmsi: int, heard: _Heard, at_s: float, own: tuple[float, float] | None) -> Beacon:
    range_nm = bearing_deg = None
    if own is not None and heard.place is not None:
        range_nm, bearing_deg = range_and_bearing(*own, *heard.place)
        if range_nm > FARTHEST_NM:
            range_nm = bearing_deg = None
    return Beacon(
        target=f"ais-{mmsi:09d}",
        station=heard.station,
        age_s=max(0.0, at_s - heard.at_s),
        name=heard.name,
        range_nm=None if range_nm is None else round(range_nm, 3),
        bearing_deg=None if bearing_deg is None else round(bearing_deg, 1) % 360.0,
        is_test=heard.is_test,
    )
