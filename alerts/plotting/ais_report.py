"""One AIS report as an estimate in the plot's plane: how late it is, where it puts the station, and how sure that is.

Pure functions. A report is carried on from the second it was measured to the moment it is looked at, with the errors
that its sensors and its silence allow.
"""

from math import cos, degrees, hypot, radians, sin
from typing import Protocol

from alerts.plotting.geodesy import radii_nm, range_and_bearing
from alerts.plotting.kinematics import Covariance, Estimate, Look, OwnMotion
from alerts.plotting.terms import TrackState
from parsers.observations import AisClass, AisPosition, MotionReference

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


class Before(Protocol):
    """The station as it was heard before."""

    @property
    def report(self) -> AisPosition: ...
    @property
    def estimate(self) -> Estimate: ...


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
    report: AisPosition, look: Look, delay_sd_s: float, observations: int, before: Before | None
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


def _is_turning(report: AisPosition, before: Before | None) -> bool:
    """By the station's own rate of turn, or by what has changed since its last report."""
    if report.rate_deg_min is not None and abs(report.rate_deg_min) > TURNING_DEG_MIN:
        return True
    last = before.report if before is not None and report.at_s - before.report.at_s < ALTERED_WITHIN_S else None
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
