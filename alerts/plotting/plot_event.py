"""A sighting with its answer to a Plot event: rounded, and silent about what has not settled."""

from alerts.events import Moment, Plot
from alerts.plotting.kinematics import Estimate, Look
from alerts.plotting.motion import Answer
from alerts.plotting.terms import Check, Encounter
from parsers.observations import MotionReference, TargetReport


def plot_event(
    moment: Moment,
    target: str,
    name: str,
    look: Look,
    estimate: Estimate,
    answer: Answer,
    encounter: Encounter,
    checked: tuple[Check, str | None],
    report: TargetReport | None,
) -> Plot:
    """The event for one accepted measurement.

    Range and bearing are the measurement's own; the rest comes from the whole track. Digits: a metre in range (0.001
    NM), a tenth in angles and knots, a hundredth of a minute: each under what radar can tell, so nothing is lost.
    Bearings and courses have no true value while the look is counted from the bow alone.
    """
    moving = look.own.frame is not MotionReference.UNKNOWN
    check, cause = checked
    return Plot(
        time=moment.time,
        target=target,
        name=name,
        range_nm=round(look.range_nm, 3),
        bearing_deg=None if look.is_off_bow else _angle(look.bearing_deg),
        relative_bearing_deg=_off_bow(look),
        course_deg=_angle(answer.course_deg) if moving else None,
        speed_kn=_rounded(answer.speed_kn, 1) if moving else None,
        cpa_nm=_rounded(answer.cpa_nm, 3),
        cpa_sd_nm=_rounded(answer.cpa_sd_nm, 3),
        cpa_low_nm=_rounded(answer.cpa_low_nm, 3),
        cpa_high_nm=_rounded(answer.cpa_high_nm, 3),
        tcpa_min=_rounded(answer.tcpa_min, 2),
        tcpa_sd_min=_rounded(answer.tcpa_sd_min, 2),
        inside_probability=_rounded(answer.inside_probability, 3),
        bearing_rate_deg_min=_rounded(answer.bearing_rate_deg_min, 3),
        bearing_rate_sd_deg_min=_rounded(answer.bearing_rate_sd_deg_min, 3),
        bearing_trend=answer.bearing_trend,
        bow_crossing_nm=_rounded(answer.bow_crossing_nm, 3),
        bow_crossing_min=_rounded(answer.bow_crossing_min, 2),
        passing=answer.passing,
        encounter=encounter,
        reported_cpa_nm=report.cpa_nm if report else None,
        reported_tcpa_min=report.tcpa_min if report else None,
        reported_course_deg=report.course_deg if report else None,
        reported_speed_kn=report.speed_kn if report else None,
        check=check,
        check_cause=cause,
        track=estimate.state,
        observations=estimate.observations,
    )


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None else round(value, digits) + 0.0  # + 0.0: no minus zero on the wire


def _angle(value: float | None) -> float | None:
    """Degrees to a tenth, in [0, 360): 359.97 is 0.0."""
    return None if value is None else round(value, 1) % 360.0


def _off_bow(look: Look) -> float | None:
    """Degrees off own bow, starboard positive; by the bow itself where there is no heading."""
    heading_deg = 0.0 if look.is_off_bow else look.own.heading_deg
    if heading_deg is None:
        return None
    off = look.bearing_deg - heading_deg
    return round((off + 180.0) % 360.0 - 180.0, 1) + 0.0
