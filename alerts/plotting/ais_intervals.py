"""How often an AIS station reports, by class and motion: what is late, and what is lost, follows from it.

ITU-R M.1371 (from memory): class A 3 min at anchor or moored and not faster than 3 kn, else 10 s to 14 kn, 6 s to
23 kn, 2 s above (sooner while turning); class B 30 s above 2 kn, else 3 min; long range 3 min; aids 3 min; SAR aircraft
10 s; base stations 10 s; AIS-SART and its like in bursts of eight a minute, of which seldom all are heard.
"""

from parsers.observations import AisClass

SLOWEST_S = 180.0

_FIXED_S = {
    AisClass.LONG_RANGE: SLOWEST_S,
    AisClass.AID: SLOWEST_S,
    AisClass.BASE: 10.0,
    AisClass.AIRCRAFT: 10.0,
    AisClass.SART: 60.0,
    AisClass.MOB: 60.0,
    AisClass.EPIRB: 60.0,
}

MOORED = frozenset({1, 5, 6})
"""Navigational status: at anchor, moored, aground."""

MOORED_KN, STOPPED_KN = 3.0, 0.5


def reporting_interval_s(station: AisClass, speed_kn: float | None, status: int | None = None) -> float:
    """Seconds between position reports. An unknown speed counts as slow; a stopped class A whose status is not known
    as moored."""
    fixed = _FIXED_S.get(station)
    if fixed is not None:
        return fixed
    speed = speed_kn or 0.0
    if station is AisClass.B:
        return 30.0 if speed > 2.0 else SLOWEST_S
    if (status in MOORED and speed <= MOORED_KN) or (status is None and speed < STOPPED_KN):
        return SLOWEST_S
    return 10.0 if speed <= 14.0 else 6.0 if speed <= 23.0 else 2.0


COASTING_INTERVALS, LOST_INTERVALS = 3.0, 6.0
"""Reports are missed in crowded waters; six in a row are not (common practice, no source)."""

LEAST_COASTING_S, LEAST_LOST_S = 15.0, 60.0
"""A fast ship sends every 2 s, but slots collide: nothing is late sooner than this (common practice, no source)."""


def coasting_after_s(interval_s: float) -> float:
    """Seconds of silence after which a station that sends every `interval_s` is carried on as coasting."""
    return max(LEAST_COASTING_S, COASTING_INTERVALS * interval_s)


def lost_after_s(interval_s: float) -> float:
    """Seconds of silence after which it is lost."""
    return max(LEAST_LOST_S, LOST_INTERVALS * interval_s)
