"""How vessels move: legs to positions on the ellipsoid, for many vessels at once.

Time is in seconds from the start of the exercise. Everything is laid out on a grid of whole seconds, T rows, with one
column for each vessel; between the rows it is linear (a turn of 3 degrees a second at 12 knots then costs 4 cm).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from daemon.exercise.geodesy import Floats, radii_nm, wrapped
from daemon.exercise.scenario import Leg, OwnShip, TidalStream

HIGHEST_LAT_DEG = 85.0
"""Where exercises end, north and south: nearer to a pole radii and convergence run away (choice of ours)."""

STANDING_KN = 0.05
"""Below this relative speed two vessels do not meet: the present range is the CPA and there is no TCPA."""

STRAIGHT_DEG = 1e-6
"""An alteration of less is none: a course that is written again has rounding in it, and no circle is meant."""


class State(NamedTuple):
    """Where vessels are and how they move: arrays of one shape. The velocity is over the ground.

    `course_deg` and `speed_kn` are those of the legs (own ship: heading steered, speed through the water), the course
    unwrapped: it does not jump at north.
    """

    lat_deg: Floats
    lon_deg: Floats
    east_kn: Floats
    north_kn: Floats
    course_deg: Floats
    speed_kn: Floats


@dataclass(frozen=True, slots=True)
class Vessels:
    """The tracks of M vessels, each array (T, M), rows one second apart."""

    grid: State

    @property
    def columns(self) -> int:
        return int(self.grid.lat_deg.shape[1])

    def at(self, times_s: Floats) -> State:
        """Their state at times (K,): (K, M); at times (K, N), a column for each vessel or N for one: (K, N)."""
        last = self.grid.lat_deg.shape[0] - 2
        row = np.clip(times_s.astype(np.int64), 0, last)
        part = times_s - row
        if times_s.ndim == 1:
            return State(*((a[row] * (1 - part)[:, None] + a[row + 1] * part[:, None]) for a in self.grid))
        column = np.zeros(1, dtype=np.int64) if self.columns == 1 else np.arange(self.columns)
        return State(*((a[row, column] * (1 - part) + a[row + 1, column] * part) for a in self.grid))


class Course(NamedTuple):
    """Course (unwrapped) and speed by the legs, at the grid's rows (T,) and half-way between them (T - 1,)."""

    course_deg: Floats
    speed_kn: Floats
    middle_course_deg: Floats
    middle_speed_kn: Floats


def grid_rows(duration_s: float) -> int:
    """Rows of the grid: to the end, and two seconds beyond for what is asked a moment later."""
    return int(np.ceil(duration_s)) + 3


def by_legs(course_deg: float, speed_kn: float, legs: Sequence[Leg], rows: int) -> Course:
    """Course and speed against time: constant, and changing evenly during an alteration.

    An alteration that begins before the one before has ended takes over from where that has come to.
    """
    courses: list[tuple[float, float]] = [(0.0, course_deg)]
    speeds: list[tuple[float, float]] = [(0.0, speed_kn)]
    for leg in legs:
        at_s = leg.at_min * 60.0
        if leg.course_deg is not None:
            now = _cut(courses, at_s)
            turn = _turn(now, leg)
            courses.append((at_s + abs(turn) / leg.turn_rate_deg_min * 60.0, now + turn))
        if leg.speed_kn is not None:
            now = _cut(speeds, at_s)
            speeds.append((at_s + abs(leg.speed_kn - now) / leg.speed_rate_kn_min * 60.0, leg.speed_kn))
    times = np.arange(2 * rows - 1) / 2
    course, speed = _between(courses, times), _between(speeds, times)
    return Course(course[::2], speed[::2], course[1::2], speed[1::2])


def _cut(knots: list[tuple[float, float]], at_s: float) -> float:
    """Ends what is under way at `at_s` and returns the value then."""
    now = float(_between(knots, np.array([at_s]))[0])
    while knots and knots[-1][0] >= at_s:
        knots.pop()
    knots.append((at_s, now))
    return now


def _between(knots: list[tuple[float, float]], times_s: Floats) -> Floats:
    times, values = zip(*knots, strict=True)
    return np.asarray(np.interp(times_s, times, values))


def _turn(now_deg: float, leg: Leg) -> float:
    """Degrees to turn, starboard positive."""
    assert leg.course_deg is not None
    shorter = float(wrapped(leg.course_deg - now_deg))
    if abs(shorter) < STRAIGHT_DEG:
        return shorter
    if leg.turn == "port" and shorter > 0:
        return shorter - 360.0
    if leg.turn == "starboard" and shorter < 0:
        return shorter + 360.0
    return shorter


def lay(
    lat_deg: Floats, lon_deg: Floats, courses: Sequence[Course], leeway_deg: Floats, set_kn: tuple[Floats, Floats]
) -> Vessels:
    """Tracks from start positions (M,), courses, leeway (M,) and the stream that carries each (east, north; (M,)).

    Velocities are integrated by the middle of each second, along the meridian's and the parallel's own radii: what
    keeps its course runs along a rhumb line.
    """
    course, speed, middle_course, middle_speed = (np.stack(columns, axis=1) for columns in zip(*courses, strict=True))
    east, north = _velocity(course + leeway_deg, speed, set_kn)
    middle_east, middle_north = _velocity(middle_course + leeway_deg, middle_speed, set_kn)
    lat = np.broadcast_to(lat_deg, course.shape)
    for _ in range(2):  # the radius belongs to the latitude reached; twice is good to a millimetre in a day
        step_lat = np.degrees(middle_north / 3600.0 / radii_nm((lat[:-1] + lat[1:]) / 2)[0])
        lat = np.concatenate([np.asarray(lat_deg)[None], lat_deg + np.cumsum(step_lat, axis=0)])
    middle_lat = (lat[:-1] + lat[1:]) / 2
    step_lon = np.degrees(middle_east / 3600.0 / (radii_nm(middle_lat)[1] * np.cos(np.radians(middle_lat))))
    lon = np.concatenate([np.asarray(lon_deg)[None], lon_deg + np.cumsum(step_lon, axis=0)])
    return Vessels(State(lat, lon, east, north, course, speed))


def _velocity(course_deg: Floats, speed_kn: Floats, set_kn: tuple[Floats, Floats]) -> tuple[Floats, Floats]:
    angle = np.radians(course_deg)
    return speed_kn * np.sin(angle) + set_kn[0], speed_kn * np.cos(angle) + set_kn[1]


def stream_kn(stream: TidalStream) -> tuple[float, float]:
    """The stream's velocity, east and north."""
    angle = np.radians(stream.set_deg)
    return float(stream.drift_kn * np.sin(angle)), float(stream.drift_kn * np.cos(angle))


def yaw_deg(ship: OwnShip, phases: Floats, times_s: Floats) -> Floats:
    """The swing of the heading about its course: two sines, so that it doesn't repeat, never more than `yaw_deg`.

    `phases` is (2,), or (2, N) for times (K, N).
    """
    if ship.yaw_deg == 0:
        return np.zeros_like(times_s)
    turn = 2 * np.pi * times_s / ship.yaw_period_s
    return np.asarray(ship.yaw_deg * (0.7 * np.sin(turn + phases[0]) + 0.3 * np.sin(1.618 * turn + phases[1])))
