"""A small world for tests with AIS: own ship with a fix, and stations whose true motion is a straight line."""

from math import cos, radians, sin

from geographiclib.geodesic import Geodesic

from alerts.events import AnyEvent
from alerts.lookout import Lookout, World
from parsers import observations as seen
from tests.alerts.watch import moment

GPS = seen.Source(feed="gps", talker="GP", formatter="RMC")
AIS = seen.Source(feed="ais", talker="AI", formatter="VDM")
TTM = seen.Source(feed="radar", talker="RA", formatter="TTM")
LAT, LON = 50.0, -5.0
NM_M = 1852.0


def go(lat_deg: float, lon_deg: float, bearing_deg: float, range_nm: float) -> tuple[float, float]:
    """A place by the geodesic (geographiclib)."""
    end = Geodesic.WGS84.Direct(lat_deg, lon_deg, bearing_deg, range_nm * NM_M)
    return end["lat2"], end["lon2"]


class Own:
    """Own ship on a steady course from LAT, LON."""

    def __init__(self, course_deg: float = 0.0, speed_kn: float = 8.0) -> None:
        self.course_deg, self.speed_kn = course_deg, speed_kn

    def place(self, at_s: float) -> tuple[float, float]:
        return go(LAT, LON, self.course_deg, self.speed_kn * at_s / 3600)

    def says(self, at_s: float) -> list[seen.Observation]:
        lat, lon = self.place(at_s)
        return [
            seen.GroundMotion(at_s=at_s, source=GPS, sog_kn=self.speed_kn, cog_deg=self.course_deg),
            seen.Position(at_s=at_s, source=GPS, lat_deg=lat, lon_deg=lon, time_of_day_s=at_s),
            seen.Heading(at_s=at_s, source=GPS, heading_deg=self.course_deg),
        ]


class Vessel:
    """A vessel from a range and bearing off LAT, LON at second 0, on a steady course."""

    def __init__(self, bearing_deg: float, range_nm: float, course_deg: float, speed_kn: float, mmsi: int = 0) -> None:
        self.start = go(LAT, LON, bearing_deg, range_nm)
        self.course_deg, self.speed_kn, self.mmsi = course_deg, speed_kn, mmsi

    def place(self, at_s: float) -> tuple[float, float]:
        return go(*self.start, self.course_deg, self.speed_kn * at_s / 3600)

    def reports(self, at_s: float, late_s: float = 0.0, **changes: object) -> seen.AisPosition:
        """A report that comes in at `at_s` and was measured at the whole second `late_s` before."""
        lat, lon = self.place(at_s - late_s)
        values = {
            "at_s": at_s,
            "source": AIS,
            "mmsi": self.mmsi,
            "station": seen.AisClass.A,
            "lat_deg": lat,
            "lon_deg": lon,
            "sog_kn": self.speed_kn,
            "cog_deg": self.course_deg,
            "navigational_status": 0,
            "second": int(at_s - late_s) % 60,
            "message_type": 1,
        }
        return seen.AisPosition(**{**values, **changes})  # type: ignore[arg-type]

    def echo(self, at_s: float, own: Own, number: int, bias_deg: float = 0.0) -> seen.TargetReport:
        """The vessel as radar sees her: true range and bearing by the geodesic, rounded as TTM is."""
        line = Geodesic.WGS84.Inverse(*own.place(at_s), *self.place(at_s))
        return seen.TargetReport(
            at_s=at_s,
            source=TTM,
            number=number,
            range_nm=round(line["s12"] / NM_M, 2),
            bearing_deg=round((line["azi1"] + bias_deg) % 360, 1),
        )

    def relative(self, own: Own) -> tuple[float, float]:
        """CPA (NM) and TCPA (min) from second 0 on, in the plane."""
        line = Geodesic.WGS84.Inverse(LAT, LON, *self.start)
        x, y = (line["s12"] / NM_M * f(radians(line["azi1"])) for f in (sin, cos))
        u, v = (
            self.speed_kn * f(radians(self.course_deg)) - own.speed_kn * f(radians(own.course_deg)) for f in (sin, cos)
        )
        return abs(x * v - y * u) / (u * u + v * v) ** 0.5, -60 * (x * u + y * v) / (u * u + v * v)


def run(
    lookout: Lookout,
    own: Own,
    lines: list[tuple[float, seen.Observation]],
    seconds: tuple[int, int],
    flush_every: int = 1,
) -> list[AnyEvent]:
    """Ticks once a second, own ship's sentences after each tick, the lines in their places."""
    coming = sorted(lines, key=lambda line: line[0])
    said: list[AnyEvent] = []
    for second in range(*seconds):
        lookout.tick(moment(float(second)), World())
        lookout.take(moment(float(second)), own.says(float(second)))
        while coming and coming[0][0] < second + 1:
            when, observation = coming.pop(0)
            lookout.take(moment(when), [observation])
        if second % flush_every == 0:
            said += [event for _, event in lookout.flush()]
    return said + [event for _, event in lookout.flush()]
