"""AIS targets: what stations say of themselves, as estimates in the plot's plane.

A station reports where it is and how it goes; nothing need be filtered. The estimate is its report carried on from the
second it was measured to the moment it is looked at, with the errors that its sensors and its silence allow. A report
without course and speed gives a place alone, which is never settled: it tells no motion.
"""

from math import cos, degrees, hypot, radians, sin
from typing import Annotated

from msgspec import Meta, Struct

from alerts.plotting.ais_intervals import coasting_after_s, lost_after_s, reporting_interval_s
from alerts.plotting.geodesy import radii_nm, range_and_bearing
from alerts.plotting.kinematics import Covariance, Estimate, Look, OwnMotion
from alerts.plotting.placing import Change, Ending
from alerts.plotting.terms import TrackState
from parsers.observations import AisClass, AisPosition, AisStatic, MotionReference

CAPACITY = 2000
"""Targets kept; ten times what the largest ship's display must show (200 sleeping, MSC.192(79) table 1)."""

FORGET_S = 600.0
"""A station is forgotten so long after it was lost."""

DISTRESS = frozenset({AisClass.SART, AisClass.MOB, AisClass.EPIRB})

ACCURATE_SD_NM, PLAIN_SD_NM, COARSE_SD_NM = 5 / 1852, 12 / 1852, 100 / 1852
"""Place, one sigma in each axis: the accuracy flag means under 10 m (95 %); without it over 10 m; type 27 is rounded
to a tenth of a minute (ITU-R M.1371, from memory; the figures are ours)."""

SPEED_SD_KN, COURSE_SD_DEG = 0.15, 1.5
"""Speed and course over ground of a common receiver, quantisation included (common practice, no source)."""

WANDER_KN_PER_S, WANDER_FULL_KN, WANDER_LEAST = 0.03, 5.0, 0.1
"""A vessel that has not reported may have altered: half a knot in the quarter minute between reports; below 5 kn less,
as her next report would come sooner if she went faster (judgement)."""

UNKNOWN_DELAY_S, UNKNOWN_DELAY_SD_S = 2.0, 1.5
"""How late a report is whose second is not given (measured on no network: judgement)."""

LATEST_S = 20.0
"""A report's second is believed if it makes the report at most this old; more is a clock that is off."""

TURNING_DEG_MIN = 10.0
"""A rate of turn that is a manoeuvre (judgement)."""

ALTERED_DEG, ALTERED_KN, ALTERED_ABOVE_KN, ALTERED_WITHIN_S = 15.0, 2.5, 3.0, 120.0
"""A course or speed that differs so much from the last report's is a manoeuvre; a slow vessel's course is noise."""

OLDER_S = 0.5
"""A report measured so much before the one that is held has been overtaken on its way and tells nothing new."""


class AisSettings(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Own ship's number is learnt from VDO where the transponder sends it."""

    on: Annotated[bool, Meta(description="take AIS targets in; distress beacons are always told")] = True
    own_mmsi: Annotated[
        int, Meta(ge=0, le=999_999_999, description="our own MMSI, which is not taken for a target; 0: none")
    ] = 0
    range_nm: Annotated[
        float, Meta(gt=0, le=100, description="stations beyond this are not taken in; distress beacons are")
    ] = 48.0
    tell_within_nm: Annotated[
        float,
        Meta(ge=0, le=24, description="AIS without a radar target, or the reverse, is told within this; 0: never"),
    ] = 2.0
    aids: Annotated[bool, Meta(description="take aids to navigation in; virtual ones are nothing to run into")] = True


class Heard(Struct, gc=False):
    """One station as last heard. Times in stream seconds."""

    key: str
    mmsi: int
    station: AisClass
    report: AisPosition
    measured_s: float
    estimate: Estimate
    name: str = ""
    observations: int = 1
    interval_s: float = 180.0
    first_s: float = 0.0
    out_of_sight: TrackState | None = None

    @property
    def last_s(self) -> float:
        return self.report.at_s

    @property
    def is_judged(self) -> bool:
        """Whether the rules on vessels are for it: an aircraft passes over, and a beacon has an alert of its own."""
        return self.station not in DISTRESS and self.station is not AisClass.AIRCRAFT

    @property
    def has_body(self) -> bool:
        """Whether radar should see it: an aid to navigation may be virtual, a message and nothing more."""
        return self.is_judged and self.station is not AisClass.AID

    @property
    def state(self) -> TrackState:
        return self.out_of_sight or self.estimate.state

    def predict(self, at_s: float) -> Estimate:
        """Where the station should be; its state says so where it has not been heard when it was due."""
        return carried_on(self.estimate, at_s, self.out_of_sight)


class AisTargets:
    """All stations but our own. `utc_second` tells the UTC second of the minute now, where own ship knows it."""

    def __init__(self, settings: AisSettings | None = None, capacity: int = CAPACITY) -> None:
        self.settings = settings or AisSettings()
        self.capacity = capacity
        self.crowded_out = self.overtaken = 0
        self._own: set[int] = {self.settings.own_mmsi} - {0}
        self._heard: dict[int, Heard] = {}
        self._mistaken: list[Change] = []  # own ship, taken for a target before she named herself
        self._names: dict[int, str] = {}

    def is_own(self, mmsi: int) -> None:
        """Own ship's transponder has named itself. Two at most: a watch may be moved from one to another."""
        if len(self._own) < 2 and mmsi not in self._own:
            self._own.add(mmsi)
            mistaken = self._heard.pop(mmsi, None)
            if mistaken is not None:
                self._mistaken.append(Change(mistaken.key, TrackState.LOST, mistaken.last_s, Ending.FORGOTTEN))

    def learn(self, static: AisStatic) -> None:
        """A name is kept for stations that are heard, and for as many more as may yet be."""
        if static.name and (static.mmsi in self._names or len(self._names) < 2 * self.capacity):
            self._names[static.mmsi] = static.name
            if static.mmsi in self._heard:
                self._heard[static.mmsi].name = static.name

    def take(
        self, report: AisPosition, own: OwnMotion, own_lat_deg: float, own_lon_deg: float, utc_second: float | None
    ) -> tuple[Heard, Look] | None:
        """The station's new estimate and its place as a look from own ship.

        None for own ship, for base stations, for what is out of range, and for a report that a newer one has overtaken.
        """
        if not self._is_wanted(report):
            return None
        before = self._heard.get(report.mmsi)
        delay_s, delay_sd_s = delay_of(report, utc_second)
        if before is not None and report.at_s - delay_s < before.measured_s - OLDER_S:
            self.overtaken += 1
            return None
        look = look_at_report(report, own, own_lat_deg, own_lon_deg, delay_s)
        if look.range_nm > self.settings.range_nm or (before is None and not self._has_room()):
            return None
        estimate = estimate_of(report, look, delay_sd_s, (before.observations if before else 0) + 1, before)
        heard = Heard(
            key=f"ais-{report.mmsi:09d}",
            mmsi=report.mmsi,
            station=report.station,
            report=report,
            measured_s=report.at_s - delay_s,
            estimate=estimate,
            name=self._names.get(report.mmsi, ""),
            observations=estimate.observations,
            interval_s=reporting_interval_s(report.station, report.sog_kn, report.navigational_status),
            first_s=before.first_s if before else report.at_s,
        )
        self._heard[report.mmsi] = heard
        return heard, look

    def _is_wanted(self, report: AisPosition) -> bool:
        unwanted = report.station is AisClass.BASE or (report.station is AisClass.AID and not self.settings.aids)
        return self.settings.on and not unwanted and report.mmsi not in self._own

    def _has_room(self) -> bool:
        if len(self._heard) < self.capacity:
            return True
        self.crowded_out += 1
        return False

    def tick(self, at_s: float) -> list[Change]:
        """Ages the stations: silent ones coast, then are lost, then forgotten. For use once a second."""
        changes, self._mistaken = self._mistaken, []
        for heard in list(self._heard.values()):
            silent_s = at_s - heard.last_s
            if silent_s > lost_after_s(heard.interval_s) + FORGET_S:
                del self._heard[heard.mmsi]
                changes.append(Change(heard.key, TrackState.LOST, heard.last_s, Ending.FORGOTTEN))
                continue
            state = None
            if silent_s > lost_after_s(heard.interval_s):
                state = TrackState.LOST
            elif silent_s > coasting_after_s(heard.interval_s):
                state = TrackState.COASTING
            if state is not heard.out_of_sight and state is not None:
                heard.out_of_sight = state
                changes.append(Change(heard.key, state, heard.last_s))
        return changes

    def get(self, key: str) -> Heard | None:
        """The station of a target's key, `ais-219000123`."""
        mmsi = key.removeprefix("ais-")
        found = self._heard.get(int(mmsi)) if len(mmsi) == 9 and mmsi.isdecimal() else None
        return found if found is not None and found.key == key else None

    def heard(self) -> list[Heard]:
        """All stations, in the order in which they were first heard."""
        return list(self._heard.values())

    @property
    def load(self) -> float:
        """Share of the capacity in use, 0 to 1."""
        return len(self._heard) / self.capacity


def delay_of(report: AisPosition, utc_second: float | None) -> tuple[float, float]:
    """How long ago the report was measured, and how sure that is, in seconds.

    The report names its UTC second, whole; own ship's clock names now's. Where either is missing, or the two can't be
    reconciled, a common delay is assumed.
    """
    if report.second is None or report.second > 59 or utc_second is None:
        return UNKNOWN_DELAY_S, UNKNOWN_DELAY_SD_S
    late_s = (utc_second - report.second + 5.0) % 60.0 - 5.0
    if late_s > LATEST_S or late_s < -2.0:
        return UNKNOWN_DELAY_S, UNKNOWN_DELAY_SD_S
    return max(0.0, late_s), 0.5


def look_at_report(report: AisPosition, own: OwnMotion, own_lat_deg: float, own_lon_deg: float, delay_s: float) -> Look:
    """The station's place, carried on over the delay by its own course and speed, from own ship's place now."""
    lat_deg, lon_deg = report.lat_deg, report.lon_deg
    if report.sog_kn is not None and report.cog_deg is not None:
        run_nm = report.sog_kn * delay_s / 3600.0
        meridian_nm, prime_vertical_nm = radii_nm(lat_deg)
        course = radians(report.cog_deg)
        lat_deg += degrees(run_nm * cos(course) / meridian_nm)
        lon_deg += degrees(run_nm * sin(course) / (prime_vertical_nm * max(cos(radians(lat_deg)), 1e-6)))
    range_nm, bearing_deg = range_and_bearing(own_lat_deg, own_lon_deg, lat_deg, lon_deg)
    return Look(at_s=report.at_s, range_nm=range_nm, bearing_deg=bearing_deg, own=own)


def estimate_of(
    report: AisPosition, look: Look, delay_sd_s: float, observations: int, before: Heard | None
) -> Estimate:
    """The report as an estimate at the moment it came in.

    A report's motion is over ground: where own ship knows hers through the water only, the two cannot be compared, and
    the estimate is a place alone.
    """
    bearing = radians(look.bearing_deg)
    east_kn = north_kn = 0.0
    tells_motion = report.sog_kn is not None and (report.cog_deg is not None or report.sog_kn < 0.5)
    settled = (tells_motion or report.station is AisClass.AID) and look.own.frame is MotionReference.GROUND
    if settled and report.cog_deg is not None:
        course = radians(report.cog_deg)
        east_kn, north_kn = (report.sog_kn or 0.0) * sin(course), (report.sog_kn or 0.0) * cos(course)
    turning = _is_turning(report, before)
    state = TrackState.SETTLING if not settled else TrackState.MANOEUVRING if turning else TrackState.STEADY
    since_s = before.estimate.manoeuvre_at_s if before else None
    return Estimate(
        at_s=look.at_s,
        east_nm=look.own.east_nm + look.range_nm * sin(bearing),
        north_nm=look.own.north_nm + look.range_nm * cos(bearing),
        east_kn=east_kn,
        north_kn=north_kn,
        covariance=_covariance(report, east_kn, north_kn, delay_sd_s),
        state=state,
        settled=settled,
        observations=observations,
        last_change_s=report.at_s,
        manoeuvre_at_s=report.at_s if turning else since_s,
    )


def _is_turning(report: AisPosition, before: Heard | None) -> bool:
    """By the station's own rate of turn, or by what has changed since its last report."""
    if report.rate_deg_min is not None and abs(report.rate_deg_min) > TURNING_DEG_MIN:
        return True
    last = before.report if before is not None and report.at_s - before.last_s < ALTERED_WITHIN_S else None
    if last is None or last.sog_kn is None or report.sog_kn is None:
        return False
    if abs(report.sog_kn - last.sog_kn) > ALTERED_KN:
        return True
    if min(report.sog_kn, last.sog_kn) < ALTERED_ABOVE_KN or report.cog_deg is None or last.cog_deg is None:
        return False
    return abs((report.cog_deg - last.cog_deg + 180.0) % 360.0 - 180.0) > ALTERED_DEG


def _covariance(report: AisPosition, east_kn: float, north_kn: float, delay_sd_s: float) -> Covariance:
    """Errors along and across the course, independent of one another but for the delay, which moves the place."""
    speed_kn = hypot(east_kn, north_kn)
    place_sd = ACCURATE_SD_NM if report.high_accuracy else PLAIN_SD_NM
    if report.station is AisClass.LONG_RANGE or report.message_type == 27:
        place_sd = COARSE_SD_NM
    along = SPEED_SD_KN
    across = max(SPEED_SD_KN, speed_kn * radians(COURSE_SD_DEG))
    u, v = (east_kn / speed_kn, north_kn / speed_kn) if speed_kn > 0 else (0.0, 1.0)
    late_nm = speed_kn * delay_sd_s / 3600.0
    a, c = along * along, across * across
    p = place_sd * place_sd
    return (
        p + (late_nm * u) ** 2,
        late_nm * late_nm * u * v,
        0.0,
        0.0,
        p + (late_nm * v) ** 2,
        0.0,
        0.0,
        a * u * u + c * v * v,
        (a - c) * u * v,
        a * v * v + c * u * u,
    )


def carried_on(estimate: Estimate, at_s: float, state: TrackState | None = None) -> Estimate:
    """An estimate at a later moment: straight on, with errors that grow by what a silent vessel may do."""
    seconds = max(0.0, at_s - estimate.at_s)
    h = seconds / 3600.0
    p = estimate.covariance
    share = min(1.0, max(WANDER_LEAST, hypot(estimate.east_kn, estimate.north_kn) / WANDER_FULL_KN))
    wander = (WANDER_KN_PER_S * share * seconds) ** 2
    return Estimate(
        at_s=estimate.at_s + seconds,
        east_nm=estimate.east_nm + estimate.east_kn * h,
        north_nm=estimate.north_nm + estimate.north_kn * h,
        east_kn=estimate.east_kn,
        north_kn=estimate.north_kn,
        covariance=(
            p[0] + 2 * h * p[2] + h * h * (p[7] + wander / 3),
            p[1] + h * (p[3] + p[5]) + h * h * p[8],
            p[2] + h * p[7] + h * wander / 2,
            p[3] + h * p[8],
            p[4] + 2 * h * p[6] + h * h * (p[9] + wander / 3),
            p[5] + h * p[8],
            p[6] + h * p[9] + h * wander / 2,
            p[7] + wander,
            p[8],
            p[9] + wander,
        ),
        state=state or estimate.state,
        settled=estimate.settled,
        observations=estimate.observations,
        last_change_s=estimate.last_change_s,
        manoeuvre_at_s=estimate.manoeuvre_at_s,
    )
