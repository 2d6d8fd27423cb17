"""Where a target starts: at a position, at a range and bearing from us, or so that it meets us as the scenario says."""

from typing import NamedTuple

import numpy as np

from daemon.errors import UserError
from daemon.exercise.geodesy import Floats, destination, offset, range_and_bearing, wrapped
from daemon.exercise.scenario import Meeting, Target
from daemon.exercise.vessel import STANDING_KN, Vessels
from daemon.words import fine_bearing


class Placed(NamedTuple):
    """A target's position and course at the start."""

    lat_deg: float
    lon_deg: float
    course_deg: float


def place(target: Target, own: Vessels, yaw_free_stream_kn: tuple[float, float]) -> Placed:
    """The start of one target. `own` is own ship's track, one column.

    Raises UserError where the scenario asks for what no such vessel can do.
    """
    if target.meets is not None:
        stream = yaw_free_stream_kn if target.over == "water" else (0.0, 0.0)
        return _meet(target, target.meets, own, stream)
    course = target.course_deg or 0.0
    if target.lat_deg is not None and target.lon_deg is not None:
        return Placed(target.lat_deg, target.lon_deg, course)
    start = own.at(np.zeros(1))
    bearing = target.bearing_deg
    if bearing is None:
        bearing = float(start.course_deg[0, 0]) + (target.relative_deg or 0.0)
    lat, lon = destination(start.lat_deg[0, 0], start.lon_deg[0, 0], bearing, target.range_nm or 0.0)
    return Placed(float(lat), float(lon), course)


class _Encounter(NamedTuple):
    """The plane at own ship's place at CPA: velocities in knots over ground, the time from `seen` to CPA in hours."""

    own_kn: Floats
    own_seen_nm: Floats  # own ship's place at `seen`
    ahead: Floats  # unit vector along own heading
    stream_kn: Floats
    hours: float


def _meet(target: Target, meets: Meeting, own: Vessels, stream_kn: tuple[float, float]) -> Placed:
    cpa_s = meets.at_min * 60.0
    states = own.at(np.array([cpa_s, meets.seen_min * 60.0]))
    lat, lon = float(states.lat_deg[0, 0]), float(states.lon_deg[0, 0])
    distance, bearing = range_and_bearing(lat, lon, states.lat_deg[1, 0], states.lon_deg[1, 0])
    heading = np.radians(states.course_deg[0, 0])
    encounter = _Encounter(
        own_kn=np.array([states.east_kn[0, 0], states.north_kn[0, 0]]),
        own_seen_nm=float(distance) * np.array([np.sin(np.radians(bearing)), np.cos(np.radians(bearing))]),
        ahead=np.array([np.sin(heading), np.cos(heading)]),
        stream_kn=np.array(stream_kn),
        hours=(meets.at_min - meets.seen_min) / 60.0,
    )
    if target.course_deg is not None:
        course = target.course_deg
        side = _side_for(encounter, target.speed_kn, course, meets)
    else:
        course, side = _course_for(encounter, target, meets, float(states.course_deg[1, 0]))
    velocity, at_cpa = _geometry(encounter, target.speed_kn, np.array([course]), side, meets.cpa_nm)
    start = at_cpa[:, 0] - velocity[:, 0] * cpa_s / 3600.0
    start_lat, start_lon = offset(lat, lon, start[0], start[1])
    return Placed(float(start_lat), float(start_lon), course % 360.0)


def _geometry(
    encounter: _Encounter, speed_kn: float, courses: Floats, side: float, cpa_nm: float
) -> tuple[Floats, Floats]:
    """For courses (C,): ground velocity of the target and its place at CPA, each (2, C)."""
    angle = np.radians(courses)
    velocity = speed_kn * np.stack([np.sin(angle), np.cos(angle)]) + encounter.stream_kn[:, None]
    relative = velocity - encounter.own_kn[:, None]
    length = np.maximum(np.hypot(*relative), 1e-9)
    return velocity, side * cpa_nm * np.stack([relative[1], -relative[0]]) / length


def _passes(encounter: _Encounter, velocity: Floats, at_cpa: Floats, meets: Meeting) -> bool:
    """Whether the relative track through `at_cpa` goes by on the side that was asked for. All (2,)."""
    if meets.cpa_nm == 0:
        return True
    ahead = encounter.ahead
    if meets.passes in ("to port", "to starboard"):
        to_starboard = at_cpa[0] * ahead[1] - at_cpa[1] * ahead[0] > 0
        return bool(to_starboard) == (meets.passes == "to starboard")
    relative = velocity - encounter.own_kn
    across = relative[0] * ahead[1] - relative[1] * ahead[0]
    if abs(across) < 1e-6:
        return False  # runs along our heading line and never crosses it
    hours = -(at_cpa[0] * ahead[1] - at_cpa[1] * ahead[0]) / across
    return bool((at_cpa + relative * hours) @ ahead > 0) == (meets.passes == "ahead")


def _relative_kn(encounter: _Encounter, velocity: Floats) -> float:
    """Relative speed of a target with this velocity (2,)."""
    return float(np.hypot(*(velocity - encounter.own_kn)))


def _side_for(encounter: _Encounter, speed_kn: float, course: float, meets: Meeting) -> float:
    """The side on which a target of this course passes as asked: 1 or -1, a factor of `_geometry`."""
    for side in (1.0, -1.0):
        velocity, at_cpa = _geometry(encounter, speed_kn, np.array([course]), side, meets.cpa_nm)
        if _relative_kn(encounter, velocity[:, 0]) < STANDING_KN:
            raise UserError(
                "it moves as we do, so it never meets us: place it by range and bearing, or alter its speed"
            )
        if _passes(encounter, velocity[:, 0], at_cpa[:, 0], meets):
            return side
    raise UserError(f"a target on course {course:g}° at {speed_kn:g} kn never passes {meets.passes} of us")


def _course_for(encounter: _Encounter, target: Target, meets: Meeting, heading_seen_deg: float) -> tuple[float, float]:
    """The course that brings the target from where it is seen to its CPA, and the side: scanned, then bisected."""
    bearing = meets.from_bearing_deg
    if bearing is None:
        bearing = heading_seen_deg + (meets.from_relative_deg or 0.0)

    def miss(courses: Floats, side: float) -> Floats:
        """Bearing at `seen` on each course, less the one asked for."""
        velocity, at_cpa = _geometry(encounter, target.speed_kn, courses, side, meets.cpa_nm)
        east, north = at_cpa - velocity * encounter.hours - encounter.own_seen_nm[:, None]
        return wrapped(np.degrees(np.arctan2(east, north)) - bearing)

    found: list[tuple[float, float, float]] = []
    grid = np.arange(0, 360.25, 0.25)
    for side in (1.0, -1.0):
        misses = miss(grid, side)
        for i in np.flatnonzero((misses[:-1] * misses[1:] <= 0) & (np.abs(misses[:-1] - misses[1:]) < 90)):
            low, high, sign = float(grid[i]), float(grid[i + 1]), np.sign(misses[i + 1] - misses[i])
            for _ in range(40):
                middle = (low + high) / 2
                low, high = (middle, high) if miss(np.array([middle]), side)[0] * sign < 0 else (low, middle)
            velocity, at_cpa = _geometry(encounter, target.speed_kn, np.array([low]), side, meets.cpa_nm)
            relative_kn = _relative_kn(encounter, velocity[:, 0])
            if relative_kn >= STANDING_KN and _passes(encounter, velocity[:, 0], at_cpa[:, 0], meets):
                found.append((relative_kn, low, side))
    if not found:
        raise UserError(
            f"no course of {target.speed_kn:g} kn brings it from {fine_bearing(bearing)} at minute {meets.seen_min:g} "
            f"to pass {meets.cpa_nm:g} NM {meets.passes} of us at minute {meets.at_min:g}; "
            "change its speed, bearing or times"
        )
    _, course, side = max(found)
    return course, side
