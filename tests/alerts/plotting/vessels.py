"""Vessels, looks and reports for the tests of identity and cross-check: exact geometry, errors only where asked for."""

from collections import deque
from math import atan2, cos, degrees, hypot, radians, sin

from msgspec import structs

from alerts.plotting.kinematics import Estimate, Look, OwnMotion
from alerts.plotting.terms import TrackState
from parsers.observations import MotionReference, Source, TargetReport, TargetStatus

TTM = Source(feed="radar", talker="RA", formatter="TTM")
TTD = Source(feed="radar", talker="RA", formatter="TTD")
TLL = Source(feed="radar", talker="RA", formatter="TLL")


class Vessel:
    """Steady course and speed from a place at time 0."""

    def __init__(self, east_nm: float, north_nm: float, course_deg: float = 0.0, speed_kn: float = 0.0) -> None:
        self.east_nm, self.north_nm = east_nm, north_nm
        self.course_deg, self.speed_kn = course_deg, speed_kn
        self.east_kn, self.north_kn = velocity(course_deg, speed_kn)

    def place(self, at_s: float) -> tuple[float, float]:
        return self.east_nm + self.east_kn * at_s / 3600, self.north_nm + self.north_kn * at_s / 3600

    def motion(self, at_s: float, heading_deg: float | None = None) -> OwnMotion:
        """Herself as own ship."""
        east_nm, north_nm = self.place(at_s)
        return OwnMotion(
            at_s=at_s,
            east_nm=east_nm,
            north_nm=north_nm,
            east_kn=self.east_kn,
            north_kn=self.north_kn,
            velocity_sd_kn=0.15,
            frame=MotionReference.GROUND,
            heading_deg=self.course_deg if heading_deg is None else heading_deg,
            heading_sd_deg=0.5,
        )

    def look(self, target: "Vessel", at_s: float) -> Look:
        """What her radar measures of another, without error."""
        (east, north), (own_east, own_north) = target.place(at_s), self.place(at_s)
        return look_at_place(east - own_east, north - own_north, self.motion(at_s))


def velocity(course_deg: float, speed_kn: float) -> tuple[float, float]:
    return speed_kn * sin(radians(course_deg)), speed_kn * cos(radians(course_deg))


def look_at_place(east_nm: float, north_nm: float, own: OwnMotion) -> Look:
    return Look(
        at_s=own.at_s,
        range_nm=hypot(east_nm, north_nm),
        bearing_deg=degrees(atan2(east_nm, north_nm)) % 360,
        own=own,
    )


def report_of(number: int, look: Look, source: Source = TTM, **changes: object) -> TargetReport:
    """A tracked-target report of that look."""
    report = TargetReport(
        at_s=look.at_s,
        source=source,
        number=number,
        range_nm=look.range_nm,
        bearing_deg=look.bearing_deg,
        status=TargetStatus.TRACKING,
    )
    return structs.replace(report, **changes)


class LineFilter:
    """A filter whose every answer can be foretold: the straight line through the first and last of its latest looks.

    Settled from the fifth look on, with a fixed covariance: 10 m and 0.3 knots.
    """

    def __init__(self) -> None:
        self.places: deque[tuple[float, float, float]] = deque(maxlen=10)
        self.count = 0

    def observe(self, look: Look) -> Estimate:
        bearing = radians(look.bearing_deg)
        east = look.own.east_nm + look.range_nm * sin(bearing)
        north = look.own.north_nm + look.range_nm * cos(bearing)
        self.places.append((look.at_s, east, north))
        self.count += 1
        return self.predict(look.at_s)

    def predict(self, at_s: float) -> Estimate:
        (start_s, start_east, start_north), (end_s, end_east, end_north) = self.places[0], self.places[-1]
        hours = (end_s - start_s) / 3600
        east_kn = (end_east - start_east) / hours if hours else 0.0
        north_kn = (end_north - start_north) / hours if hours else 0.0
        ahead = (at_s - end_s) / 3600
        place, speed = (10 / 1852) ** 2, 0.3**2
        return Estimate(
            at_s=at_s,
            east_nm=end_east + east_kn * ahead,
            north_nm=end_north + north_kn * ahead,
            east_kn=east_kn,
            north_kn=north_kn,
            covariance=(place, 0, 0, 0, place, 0, 0, speed, 0, speed),
            state=TrackState.STEADY if self.count >= 5 else TrackState.SETTLING,
            settled=self.count >= 5,
            observations=self.count,
        )
