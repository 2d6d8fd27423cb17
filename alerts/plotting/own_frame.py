"""A target's report made into a look: its bearing true, own ship beside it.

Which bearing is which: a true bearing is the set's own. A relative one is made true with the heading of its own
moment. Where there is no heading and no course that could stand in, only the bow itself is left to count from: the
look is then bow-relative, own ship lies still with her bow to the north of her own plane, and the swing of the bow goes
into the bearing's error, because a drift of the bearing can't be told from yaw.
"""

from alerts.plotting.kinematics import Look, OwnMotion
from alerts.plotting.picture import OwnShip
from parsers.observations import MotionReference, Reference, TargetReport


def look_of(report: TargetReport, own: OwnShip, range_scale_nm: float | None = None) -> Look | None:
    """The report's measurement, or None where it has no range or no bearing."""
    if report.range_nm is None or report.bearing_deg is None:
        return None
    motion = own.motion(report.at_s)
    bearing_deg, sd_deg, is_off_bow = report.bearing_deg, 0.0, False
    if report.bearing_reference is Reference.RELATIVE:
        if motion.heading_deg is None:
            motion, sd_deg, is_off_bow = bow_frame(motion), own.settings.yaw_sd_deg, True
        else:
            bearing_deg, sd_deg = (bearing_deg + motion.heading_deg) % 360.0, motion.heading_sd_deg
    reading = (report.range_nm, report.bearing_deg, report.speed_kn, report.course_deg)
    return Look(report.at_s, report.range_nm, bearing_deg, motion, sd_deg, range_scale_nm, reading, is_off_bow)


def bow_frame(motion: OwnMotion) -> OwnMotion:
    """Own ship in the frame of her own bow: heading zero by definition, no motion of her own that could be told."""
    return OwnMotion(
        at_s=motion.at_s,
        east_nm=0.0,
        north_nm=0.0,
        east_kn=0.0,
        north_kn=0.0,
        velocity_sd_kn=0.0,
        frame=MotionReference.UNKNOWN,
        heading_deg=None,
        heading_sd_deg=motion.heading_sd_deg,
        turn_rate_deg_min=motion.turn_rate_deg_min,
    )
