"""A small drill for the cross-check: five vessels, our exact plot of them, and a set whose answers a test may spoil."""

from collections.abc import Callable
from math import atan2, degrees, hypot
from random import Random

from msgspec import Struct, structs

from alerts.plotting.crosscheck import CrossCheck
from alerts.plotting.kinematics import Estimate, OwnMotion
from alerts.plotting.terms import Check, TrackState
from parsers.observations import TargetReport, TargetStatus, WaterMotion
from tests.alerts.plotting.vessels import TTM, Vessel, velocity

FIVE = (
    Vessel(2, 4, 250, 9),
    Vessel(-3, 2, 95, 14),
    Vessel(0.5, 6, 185, 12),
    Vessel(4, -1, 320, 7),
    Vessel(-2, -3, 20, 16),
)
SCAN_S = 3.0
SET_NOISE_KN = 0.3


class Ours(Struct):
    """Our answer, as far as the cross-check reads it."""

    cpa_nm: float | None
    cpa_sd_nm: float | None
    tcpa_min: float | None
    tcpa_sd_min: float | None


Spoil = Callable[[TargetReport, OwnMotion, float], TargetReport]
"""Takes the honest report, own motion and the true velocity's time; gives what the set sends instead."""


class Drill:
    """Runs a cross-check by the clock. `log` holds (at_s, target, check, cause)."""

    def __init__(self, own: Vessel, targets: tuple[Vessel, ...] = FIVE, seed: int = 1) -> None:
        self.own, self.targets = own, targets
        self.random = Random(seed)
        self.check = CrossCheck()
        self.log: list[tuple[float, str, Check, str | None]] = []
        self.at_s = 0.0
        self.water: WaterMotion | None = None
        self.change: dict[str, object] = {}  # of every estimate

    def alter(self, course_deg: float, speed_kn: float) -> None:
        """Own ship takes another course and speed, at once."""
        east, north = self.own.place(self.at_s)
        self.own = Vessel(east, north, course_deg, speed_kn)
        self.own.east_nm -= self.own.east_kn * self.at_s / 3600
        self.own.north_nm -= self.own.north_kn * self.at_s / 3600

    def run(self, seconds: float, spoil: Spoil | None = None) -> list[tuple[float, str, Check, str | None]]:
        """Goes on for so long; gives what was said meanwhile."""
        begun = len(self.log)
        for _ in range(int(seconds / SCAN_S)):
            self.at_s += SCAN_S
            own = self.own.motion(self.at_s)
            self.check.see_own(own, self.water, None)
            for number, target in enumerate(self.targets, 1):
                self._report(number, target, own, spoil)
        return self.log[begun:]

    def _report(self, number: int, target: Vessel, own: OwnMotion, spoil: Spoil | None) -> None:
        report, ours = self._honest(number, target, own)
        if spoil is not None:
            report = spoil(report, own, self.at_s)
        key = f"radar-{number:02d}"
        check, cause = self.check.compare(key, report, self._estimate(target), ours, own)
        self.log.append((self.at_s, key, check, cause))

    def _estimate(self, target: Vessel) -> Estimate:
        east, north = target.place(self.at_s)
        estimate = Estimate(
            at_s=self.at_s,
            east_nm=east,
            north_nm=north,
            east_kn=target.east_kn,
            north_kn=target.north_kn,
            covariance=(1e-4, 0, 0, 0, 1e-4, 0, 0, 0.09, 0, 0.09),
            state=TrackState.STEADY,
            settled=True,
            observations=100,
        )
        return structs.replace(estimate, **self.change)

    def _honest(self, number: int, target: Vessel, own: OwnMotion) -> tuple[TargetReport, Ours]:
        east, north = (a - b for a, b in zip(target.place(self.at_s), (own.east_nm, own.north_nm), strict=True))
        ve, vn = target.east_kn - own.east_kn, target.north_kn - own.north_kn
        squared = ve * ve + vn * vn
        tcpa_min = -60 * (east * ve + north * vn) / squared
        cpa = abs(east * vn - north * ve) / squared**0.5
        noisy = [v + self.random.gauss(0, SET_NOISE_KN) for v in (target.east_kn, target.north_kn)]
        report = TargetReport(
            at_s=self.at_s,
            source=TTM,
            number=number,
            range_nm=hypot(east, north),
            bearing_deg=degrees(atan2(east, north)) % 360,
            speed_kn=hypot(*noisy),
            course_deg=degrees(atan2(*noisy)) % 360,
            cpa_nm=cpa,
            tcpa_min=tcpa_min,
            status=TargetStatus.TRACKING,
        )
        return report, Ours(cpa, 0.05, tcpa_min, 0.2)

    def stream(self, set_deg: float, drift_kn: float) -> None:
        """A stream under own ship, told by log and compass: heading as it is, speed through the water."""
        east, north = velocity(set_deg, drift_kn)
        through = (self.own.east_kn - east, self.own.north_kn - north)
        heading = self.own.course_deg
        ahead, athwart = velocity(heading, 1.0), velocity(heading + 90, 1.0)
        self.water = WaterMotion(
            at_s=self.at_s,
            source=TTM,
            stw_kn=through[0] * ahead[0] + through[1] * ahead[1],
            athwart_kn=through[0] * athwart[0] + through[1] * athwart[1],
        )


def moved(report: TargetReport, east_kn: float, north_kn: float) -> TargetReport:
    """The same report with its velocity shifted."""
    assert report.course_deg is not None
    assert report.speed_kn is not None
    ve, vn = velocity(report.course_deg, report.speed_kn)
    ve, vn = ve + east_kn, vn + north_kn
    return structs.replace(report, speed_kn=hypot(ve, vn), course_deg=degrees(atan2(ve, vn)) % 360)


def wrong_speed_input(error_kn: float) -> Spoil:
    """The set takes own ship to be faster by so much along her heading."""

    def spoil(report: TargetReport, own: OwnMotion, at_s: float) -> TargetReport:
        assert own.heading_deg is not None
        return moved(report, *velocity(own.heading_deg, error_kn))

    return spoil


def wrong_heading_input(error_deg: float) -> Spoil:
    """The set turns own velocity, and the whole picture with it; bearings are left as they are here."""

    def spoil(report: TargetReport, own: OwnMotion, at_s: float) -> TargetReport:
        speed = hypot(own.east_kn, own.north_kn)
        course = degrees(atan2(own.east_kn, own.north_kn))
        east, north = velocity(course + error_deg, speed)
        return moved(report, east - own.east_kn, north - own.north_kn)

    return spoil


def through_the_water(set_deg: float, drift_kn: float) -> Spoil:
    """The set leaves the stream out."""

    def spoil(report: TargetReport, own: OwnMotion, at_s: float) -> TargetReport:
        return moved(report, *velocity(set_deg, -drift_kn))

    return spoil
