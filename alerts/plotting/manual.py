"""The manual plot: a few ranges and bearings with their times, and what a plotting sheet would answer.

A straight track is laid through the readings by least squares (`trackline`), and the trade's answers follow from it
(`sheet`) with limits of error that come from the stated accuracy of range and bearing. With own course and speed the
target's true motion is laid straight, so own ship may alter between readings; without, the relative movement is.

Readings off the bow need the heading. Own course stands in for it where no heading is given. With neither, all angles
are off the bow (`Frame.BOW`) and a steady heading is assumed: drift cannot be told from yaw.
"""

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from itertools import pairwise
from math import hypot

import numpy as np
from msgspec import Struct, structs

from alerts.plotting.sheet import Accuracy, Frame, ManualPlot, Residual, answers
from alerts.plotting.trackline import Array, TrackLine, fit, misfit_limit

FALSE_MISFITS = 0.01  # share of honest plots in which some reading is wrongly said not to fit


class Reading(Struct, frozen=True):
    """One range and bearing at a moment. `heading_deg` is own heading at that moment, where it was noted."""

    at_s: float
    range_nm: float
    bearing_deg: float
    relative: bool = False
    heading_deg: float | None = None


class OwnLeg(Struct, frozen=True):
    """Own course and speed from this moment on."""

    at_s: float
    course_deg: float
    speed_kn: float


def plot(readings: Sequence[Reading], own: Sequence[OwnLeg] = (), accuracy: Accuracy | None = None) -> ManualPlot:
    """Works the plot. Readings in order of time, at two moments or more; legs in order of time (none: own not known).

    A reading off the bow is turned by its heading, else by own course; with neither known all of them must be off the
    bow. Raises ValueError where the readings cannot make a plot, with the reason for a person.
    """
    accuracy = accuracy or Accuracy()
    _check(readings)
    frame, headings = _headings(readings, own)
    last_s = readings[-1].at_s
    times_s = np.array([reading.at_s for reading in readings])
    hours = (times_s - last_s) / 3600
    own_nm = _own_places(own, times_s)
    turned = [
        reading.bearing_deg + (heading or 0.0) * (reading.relative and frame == Frame.TRUE)
        for reading, heading in zip(readings, headings, strict=True)
    ]
    sds = [hypot(accuracy.bearing_sd_deg, accuracy.heading_sd_deg * reading.relative) for reading in readings]
    bearings = np.array(turned) % 360
    ranges = np.array([reading.range_nm for reading in readings])
    range_sds = np.maximum(accuracy.range_sd_nm, accuracy.range_sd_share * ranges)
    line = fit(hours, ranges, bearings, own_nm, range_sds, np.array(sds))
    residuals = _residuals(readings, bearings, line)
    own_kn = _velocity(_leg(own, last_s)) if own and frame == Frame.TRUE else None
    sheet = answers(frame, residuals, headings[-1], own_kn, accuracy, line, own_nm[0])
    return structs.replace(sheet, warnings=(*_frame_warnings(frame, readings), *sheet.warnings))


def _frame_warnings(frame: Frame, readings: Sequence[Reading]) -> Iterator[str]:
    if frame == Frame.BOW:
        yield "bearings off the bow and no heading: a steady heading is assumed, drift cannot be told from yaw"
    elif any(reading.relative and reading.heading_deg is None for reading in readings):
        yield "own course stands in for the heading: leeway and stream turn all bearings and the target's course"


def _check(readings: Sequence[Reading]) -> None:
    if len(readings) < 2:
        raise ValueError("a plot needs two points or more")
    if any(later.at_s < earlier.at_s for earlier, later in pairwise(readings)):
        raise ValueError("the points are not in order of time")
    if readings[-1].at_s == readings[0].at_s:
        raise ValueError("all points have the same time; a plot needs two times or more")


def _headings(readings: Sequence[Reading], own: Sequence[OwnLeg]) -> tuple[Frame, list[float | None]]:
    """The frame, and own heading at each reading as far as it is known: noted, else the course."""
    headings = [
        reading.heading_deg
        if reading.heading_deg is not None
        else (_leg(own, reading.at_s).course_deg if own else None)
        for reading in readings
    ]
    unturned = [reading.relative and heading is None for reading, heading in zip(readings, headings, strict=True)]
    if not any(unturned):
        return Frame.TRUE, headings
    if not all(unturned):
        raise ValueError("true and relative bearings are mixed, and no heading or course is given to turn them")
    return Frame.BOW, headings


def _leg(own: Sequence[OwnLeg], at_s: float) -> OwnLeg:
    """The leg that own ship is on: the last that has begun, the first where none has."""
    return own[max(0, bisect_right(own, at_s, key=_begin_s) - 1)]


def _begin_s(leg: OwnLeg) -> float:
    return leg.at_s


def _velocity(leg: OwnLeg) -> tuple[float, float]:
    course = np.radians(leg.course_deg)
    return leg.speed_kn * float(np.sin(course)), leg.speed_kn * float(np.cos(course))


def _own_places(own: Sequence[OwnLeg], times_s: Array) -> Array:
    """Own east and north (NM), (K, 2), from the place at the last of the times (K,), by dead reckoning.

    The origin for all where own motion is not known.
    """
    first_s, last_s = float(times_s[0]), float(times_s[-1])
    if not own:
        return np.zeros((len(times_s), 2))
    turns_s = [first_s, *(leg.at_s for leg in own if first_s < leg.at_s < last_s), last_s]
    runs = np.array([_velocity(_leg(own, turn_s)) for turn_s in turns_s[:-1]]) * np.diff(turns_s)[:, None] / 3600
    places = np.vstack([np.zeros((1, 2)), np.cumsum(runs, axis=0)])
    places -= places[-1]
    return np.column_stack([np.interp(times_s, turns_s, places[:, 0]), np.interp(times_s, turns_s, places[:, 1])])


def _residuals(readings: Sequence[Reading], bearings: Array, line: TrackLine) -> tuple[Residual, ...]:
    limit = misfit_limit(FALSE_MISFITS / len(readings))
    return tuple(
        Residual(
            at_s=reading.at_s,
            bearing_deg=float(bearings[i]),
            range_nm=reading.range_nm,
            range_residual_nm=float(line.range_residuals_nm[i]),
            bearing_residual_deg=float(line.bearing_residuals_deg[i]),
            fits=None if line.freedom[i] < 2 else bool(line.misfit[i] <= limit),
        )
        for i, reading in enumerate(readings)
    )
