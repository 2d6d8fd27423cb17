"""Plotting problems for a crew: ranges and bearings at even intervals, and the answers worked from them.

The geometry is the trade's own: O is the first plot, A the last; W O is own ship's way in that time, W A the target's;
O A is the relative movement, and where it passes nearest is the CPA.
"""

from typing import NamedTuple

import numpy as np
from msgspec import Struct

from daemon.exercise.geodesy import range_and_bearing, wrapped
from daemon.exercise.passage import Passage
from daemon.exercise.scenario import Leg, Target

RANGE_STEP_NM, BEARING_STEP_DEG = 0.05, 0.5
"""To what a crew reads its radar (choice of ours)."""

FARTHEST_NM = 24.0
"""The largest scale of the plotting sheet: what is farther off has no room on it."""

NEAREST_NM = 0.2
"""No plot is laid nearer than this: bearings sweep too fast there to be read (choice of ours)."""

NEAR_NM = 0.2
"""A CPA below this can't be told from none by three readings of this kind (choice of ours)."""

STEADY_DEG_PER_MIN = 0.2
"""Bearing drift below which a plotter calls the bearing steady (choice of ours; the sheet says it)."""


class Plot(Struct, frozen=True):
    """One line of a worksheet. Bearings are true; `relative_deg` is off the bow, starboard positive."""

    at_s: float
    range_nm: float
    bearing_deg: float
    relative_deg: float


class Problem(Struct, frozen=True):
    """Plots of one target while both keep course and speed. Own course and speed are over the ground."""

    target: str
    plots: tuple[Plot, ...]
    own_course_deg: float
    own_speed_kn: float
    own_heading_deg: float
    interval_min: float


class Worked(Struct, frozen=True):
    """The answers from the first and last plot. East and north in NM; None where the relative track gives none.

    `aspect_deg` is how own ship bears off the target's bow, starboard (green) positive. `crossing_nm` is where
    the target crosses our heading line, ahead positive, `crossing_min` when, after the last plot.
    """

    o: tuple[float, float]
    a: tuple[float, float]
    w: tuple[float, float]
    cpa_at: tuple[float, float]
    relative_course_deg: float
    relative_speed_kn: float
    cpa_nm: float
    cpa_bearing_deg: float
    tcpa_min: float
    course_deg: float
    speed_kn: float
    aspect_deg: float
    drift_deg_min: float
    crossing_nm: float | None
    crossing_min: float | None

    @property
    def passing(self) -> str:
        if self.tcpa_min <= 0:
            return "past its CPA and opening"
        if self.cpa_nm < NEAR_NM:
            return "too near for such a plot to say on which side: risk of collision"
        if self.crossing_nm is None or self.crossing_min is None or self.crossing_min <= 0:
            return "does not cross our heading line"
        return "ahead of us" if self.crossing_nm > 0 else "astern of us"


def problems(passage: Passage, interval_min: float, count: int = 3) -> list[Problem]:
    """A problem for each vessel that gives `count` plots while nothing alters and that still closes at the last.

    It closes in truth and by the plots as they are read: what moves less than a step of the scale gives no problem.
    """
    found = []
    for column, target in enumerate(passage.scenario.targets):
        if target.clutter:
            continue
        problem = _problem(passage, column, target, interval_min, count)
        if problem is not None:
            found.append(problem)
    return found


def _problem(passage: Passage, column: int, target: Target, interval_min: float, count: int) -> Problem | None:
    """The first stretch of the passage that makes a problem of this target."""
    scenario = passage.scenario
    farthest = min(scenario.radar.max_range_nm if scenario.radar else FARTHEST_NM, FARTHEST_NM)
    later = np.arange(interval_min, scenario.duration_min - (count - 1) * interval_min, interval_min)
    for start in (*later, 0.0):  # the start itself last: a crew has settled by then
        times = (start + np.arange(count) * interval_min) * 60.0
        if times[-1] > scenario.duration_s or _alters(scenario.own_ship.legs, times) or _alters(target.legs, times):
            continue
        own, other = passage.own.state(times), passage.targets.at(times)
        ranges, bearings = range_and_bearing(
            own.lat_deg, own.lon_deg, other.lat_deg[:, column], other.lon_deg[:, column]
        )
        if ranges.max() > farthest or ranges[-1] >= ranges[-2] or ranges.min() < NEAREST_NM:
            continue
        heading = float(own.course_deg[0] % 360.0)
        problem = Problem(
            target.name,
            tuple(_plot(*row, heading) for row in zip(times.tolist(), ranges.tolist(), bearings.tolist(), strict=True)),
            float(np.degrees(np.arctan2(own.east_kn[0], own.north_kn[0])) % 360.0),
            float(np.hypot(own.east_kn[0], own.north_kn[0])),
            heading,
            interval_min,
        )
        if worked(problem).tcpa_min > 0:
            return problem
    return None


def _alters(legs: tuple[Leg, ...], times_s: np.ndarray) -> bool:
    """Whether an alteration is under way between the first and the last time, with five minutes for it to end."""
    return any(times_s[0] - 300 < leg.at_min * 60 < times_s[-1] for leg in legs)


def _plot(at_s: float, range_nm: float, bearing_deg: float, heading_deg: float) -> Plot:
    read = round(bearing_deg / BEARING_STEP_DEG) * BEARING_STEP_DEG % 360.0
    return Plot(
        at_s,
        round(round(range_nm / RANGE_STEP_NM) * RANGE_STEP_NM, 2),
        read,
        float(wrapped(read - round(heading_deg / BEARING_STEP_DEG) * BEARING_STEP_DEG)),
    )


class _Vector(NamedTuple):
    east: float
    north: float

    @classmethod
    def polar(cls, length: float, direction_deg: float) -> "_Vector":
        angle = np.radians(direction_deg)
        return cls(float(length * np.sin(angle)), float(length * np.cos(angle)))

    @property
    def length(self) -> float:
        return float(np.hypot(*self))

    @property
    def direction_deg(self) -> float:
        return float(np.degrees(np.arctan2(self.east, self.north)) % 360.0)


def worked(problem: Problem) -> Worked:
    """The plotter's answers, from the plots as they stand on the sheet and from nothing else."""
    first, last = problem.plots[0], problem.plots[-1]
    minutes = (last.at_s - first.at_s) / 60.0
    o, a = _Vector.polar(first.range_nm, first.bearing_deg), _Vector.polar(last.range_nm, last.bearing_deg)
    relative = _Vector(a.east - o.east, a.north - o.north)
    run = _Vector.polar(problem.own_speed_kn * minutes / 60.0, problem.own_course_deg)
    w = _Vector(o.east - run.east, o.north - run.north)
    true = _Vector(a.east - w.east, a.north - w.north)
    length = max(relative.length, 1e-6)
    along = -(a.east * relative.east + a.north * relative.north) / length
    cpa = _Vector(a.east + relative.east / length * along, a.north + relative.north / length * along)
    crossing = _crossing(a, relative, minutes, problem.own_heading_deg)
    return Worked(
        o=(o.east, o.north),
        a=(a.east, a.north),
        w=(w.east, w.north),
        cpa_at=(cpa.east, cpa.north),
        relative_course_deg=relative.direction_deg,
        relative_speed_kn=relative.length / minutes * 60.0,
        cpa_nm=cpa.length,
        cpa_bearing_deg=cpa.direction_deg,
        tcpa_min=along / length * minutes,
        course_deg=true.direction_deg,
        speed_kn=true.length / minutes * 60.0,
        aspect_deg=float(wrapped(last.bearing_deg + 180.0 - true.direction_deg)),
        drift_deg_min=float(wrapped(last.bearing_deg - first.bearing_deg)) / minutes,
        crossing_nm=crossing[0],
        crossing_min=crossing[1],
    )


def _crossing(a: _Vector, relative: _Vector, minutes: float, heading_deg: float) -> tuple[float | None, float | None]:
    """Where (NM along our heading) and when (minutes after the last plot) the relative track cuts our heading line."""
    bow = _Vector.polar(1.0, heading_deg)
    rate = relative.east * bow.north - relative.north * bow.east
    if abs(rate) < 1e-9:
        return None, None
    intervals = -(a.east * bow.north - a.north * bow.east) / rate
    east, north = a.east + relative.east * intervals, a.north + relative.north * intervals
    return east * bow.east + north * bow.north, intervals * minutes
