"""Is this echo that target? Whether a look may belong to a track, by what a vessel can do and what a radar can err.

All pure. The plane is that of kinematics.py.
"""

from math import cos, hypot, radians, sin, sqrt

from alerts.plotting.kinematics import Estimate, Look
from parsers.observations import MotionReference

NOISE_SDS = 5.0
"""Standard deviations of position and measurement that are put down to noise."""

RANGE_SD_NM, RANGE_SD_RATIO = 25 / 1852, 0.005
BEARING_SD_DEG = 1.0
"""A tracked target is measured within 50 m or 1 % of its range, and 2 degrees, at 95 % (MSC.192(79) 5.25.4.7.1)."""

KNOWN_NOISE_LOOKS = 25
KNOWN_BEARING_SD_DEG = 0.4
"""From so many looks on the feed's own bearing error, as learnt, stands in the standard's place, down to this."""

HEADING_LATE_S, FASTEST_TURN_DEG_S = 0.3, 20.0
"""How late a heading may be, one sd, and the fastest turn that is believed: while own ship tacks, a bearing made true
with it is off by as many degrees as she has turned meanwhile."""

_LEAST_BEARING_SD_RAD = radians(KNOWN_BEARING_SD_DEG)

MOVED_NM, MOVED_RATIO = 0.03, 0.004
"""A target that has moved this much relative to us, its range counted with the ratio, must show it in its figures:
three counts of 0.01 NM and of 0.1 degree."""

UNSETTLED_KN = 60.0
"""How far off a velocity that has not settled may be. Sets show 30 kn just after acquiring a vessel of 12."""

ALTERATION_KN = 6.0
"""A settled vessel may turn right round (twice her speed) and gather this much more."""

REACQUIRED_NM = 0.5
"""A target that was out of sight is the same again only this near its prediction, however little is known of it."""


def place_of(look: Look) -> tuple[float, float]:
    """East and north of the echo in the plane, NM."""
    bearing = radians(look.bearing_deg)
    return (
        look.own.east_nm + look.range_nm * sin(bearing),
        look.own.north_nm + look.range_nm * cos(bearing),
    )


def noise_nm(estimate: Estimate, look: Look, east: float, north: float) -> float:
    """One standard deviation, NM, of the echo's offset from the estimate, along the direction (east, north)."""
    length = hypot(east, north)
    if length == 0:
        return 0.0
    u, v = east / length, north / length
    p = estimate.covariance
    of_estimate = u * u * p[0] + 2 * u * v * p[1] + v * v * p[4]
    bearing = radians(look.bearing_deg)
    along = u * sin(bearing) + v * cos(bearing)
    range_sd = max(RANGE_SD_NM, RANGE_SD_RATIO * look.range_nm, estimate.range_sd_nm)
    least_sd = KNOWN_BEARING_SD_DEG if estimate.observations >= KNOWN_NOISE_LOOKS else BEARING_SD_DEG
    swing_deg_s = min(abs(look.own.turn_rate_deg_min or 0.0) / 60, FASTEST_TURN_DEG_S)
    bearing_sd = hypot(max(least_sd, estimate.bearing_sd_deg), look.bearing_sd_deg, swing_deg_s * HEADING_LATE_S)
    across_sd = look.range_nm * radians(bearing_sd)
    of_look = (along * range_sd) ** 2 + (1 - min(1.0, along * along)) * across_sd**2
    return float((max(0.0, of_estimate) + of_look) ** 0.5)


def least_noise_nm(look: Look, east: float, north: float) -> float:
    """The same by the look's own error alone, at the least that is believed of it: never more than `noise_nm`."""
    length = hypot(east, north)
    if length == 0:
        return 0.0
    bearing, range_nm = radians(look.bearing_deg), look.range_nm
    along = (east * sin(bearing) + north * cos(bearing)) / length
    range_sd = RANGE_SD_RATIO * range_nm
    range_sd = range_sd if range_sd > RANGE_SD_NM else RANGE_SD_NM
    across_sd = range_nm * _LEAST_BEARING_SD_RAD
    square = along * along
    return sqrt(square * range_sd * range_sd + (1.0 - square if square < 1.0 else 0.0) * across_sd * across_sd)


def reach_nm(estimate: Estimate, seconds: float) -> float:
    """How far a vessel may be from its prediction after so long, by altering course and speed."""
    alteration = 2 * hypot(estimate.east_kn, estimate.north_kn) + ALTERATION_KN if estimate.settled else UNSETTLED_KN
    return min(alteration, UNSETTLED_KN) * max(0.0, seconds) / 3600


def offset_nm(estimate: Estimate, look: Look) -> tuple[float, float]:
    """East and north of the echo from the estimate, which must be for the look's own time."""
    east, north = place_of(look)
    return east - estimate.east_nm, north - estimate.north_nm


def belongs(estimate: Estimate, look: Look, unseen_s: float, out_of_sight: bool) -> bool:
    """Whether the echo may be the target predicted to the look's time, last seen `unseen_s` before."""
    east, north = offset_nm(estimate, look)
    allowed = NOISE_SDS * noise_nm(estimate, look, east, north) + reach_nm(estimate, unseen_s)
    if out_of_sight:
        allowed = min(allowed, REACQUIRED_NM)
    return hypot(east, north) <= allowed


def carried_off(estimate: Estimate, look: Look) -> tuple[float, float]:
    """How far the echo is off a track's last estimate, carried on in a straight line to the look's time, and the least
    that noise may be said to do there, one sd; NM.

    Nearly always that settles it, and the prediction with its covariance need not be made: 8 us of a report, 5 %.
    """
    bearing, own = radians(look.bearing_deg), look.own
    hours = (look.at_s - estimate.at_s) / 3600
    east = own.east_nm + look.range_nm * sin(bearing) - estimate.east_nm - estimate.east_kn * hours
    north = own.north_nm + look.range_nm * cos(bearing) - estimate.north_nm - estimate.north_kn * hours
    return hypot(east, north), least_noise_nm(look, east, north)


def coincides(estimate: Estimate, look: Look) -> bool:
    """Whether the echo stands on the predicted place within noise alone: no room for an alteration."""
    east, north = offset_nm(estimate, look)
    return hypot(east, north) <= min(3 * noise_nm(estimate, look, east, north), REACQUIRED_NM)


def same_vessel(earlier: Look, later: Look) -> bool:
    """Whether two echoes may be one vessel, nothing else being known."""
    east, north = place_of(earlier)
    other_east, other_north = place_of(later)
    across = radians(BEARING_SD_DEG) * max(earlier.range_nm, later.range_nm)
    noise = hypot(across, RANGE_SD_NM) * NOISE_SDS
    reach = UNSETTLED_KN * abs(later.at_s - earlier.at_s) / 3600
    return hypot(other_east - east, other_north - north) <= noise + reach


def is_bow_relative(look: Look) -> bool:
    """Whether the look is counted from the bow, nothing being known of heading and motion: a plane of its own."""
    own = look.own
    return own.frame is MotionReference.UNKNOWN and own.heading_deg is None and own.east_nm == own.north_nm == 0


def range_belongs(earlier: Look, later: Look, unseen_s: float) -> bool:
    """Whether a later range may be the same vessel's, bearings not being comparable."""
    noise = NOISE_SDS * max(RANGE_SD_NM, RANGE_SD_RATIO * later.range_nm)
    reach = UNSETTLED_KN * max(0.0, unseen_s) / 3600
    return abs(later.range_nm - earlier.range_nm) <= min(noise + reach, REACQUIRED_NM)


def same_measurement(earlier: Look, later: Look) -> bool:
    """Whether the sentence's figures, or else range and bearing, are the very same: an old measurement, or one sent
    twice."""
    if earlier.reading is not None and later.reading is not None:
        return earlier.reading == later.reading
    return earlier.range_nm == later.range_nm and earlier.bearing_deg == later.bearing_deg


def must_have_moved(estimate: Estimate, look: Look) -> bool:
    """Whether the target has moved so far since its last new measurement that an honest report would show it."""
    since_s = 0.0 if estimate.last_change_s is None else look.at_s - estimate.last_change_s
    closing_kn = hypot(estimate.east_kn - look.own.east_kn, estimate.north_kn - look.own.north_kn)
    return closing_kn * since_s / 3600 > MOVED_NM + MOVED_RATIO * look.range_nm


def sds_off(estimate: Estimate, look: Look) -> float:
    """How many standard deviations the echo is off the estimate for its moment, by noise alone."""
    east, north = offset_nm(estimate, look)
    noise = noise_nm(estimate, look, east, north)
    return hypot(east, north) / noise if noise else 0.0
