"""What the radar measures: when the antenna passes a target, whether there is an echo, and with which errors.

Arrays are (K, N): K turns of the antenna, N targets. The same code serves a written scenario (one own ship, N targets)
and drawn encounters (N own ships with a target each).
"""

from typing import NamedTuple

import numpy as np
from numpy.random import Generator

from daemon.exercise.geodesy import NM_M, Floats, range_and_bearing
from daemon.exercise.scenario import A823_ERRORS, SMALL_SET_ERRORS, OwnShip, Radar, RadarErrors, Target
from daemon.exercise.sensors import OwnShipReadings
from daemon.exercise.vessel import State, Vessels

Flags = np.ndarray

GLINT_LENGTH_M = 200.0
"""The length of target for which the glint figures are given (33 CFR 164.38 appendix A annex 3)."""

ROLL_ERROR_DEG, ROLL_ANGLE_DEG = 0.22, 10.0
"""Bearing error of a rolling antenna: mean and peak at 10 degrees of roll, on the quarters (A.823(19) appendix 3)."""


class Echoes(NamedTuple):
    """Measurements, each (K, N). Range and relative bearing hold the errors; `seen` is False where there is no echo.

    `own` and `target` are the true states at `times_s`, `heading_deg` own ship's true heading.
    """

    times_s: Floats
    range_nm: Floats
    relative_deg: Floats
    seen: Flags
    true_range_nm: Floats
    true_bearing_deg: Floats
    heading_deg: Floats
    own: State
    target: State


def errors_of(radar: Radar) -> RadarErrors:
    """The errors in force: the table, or the named set of them."""
    if isinstance(radar.errors, RadarErrors):
        return radar.errors
    return {"small set": SMALL_SET_ERRORS, "A.823(19)": A823_ERRORS, "none": RadarErrors()}[radar.errors]


def scans(radar: Radar, duration_s: float) -> int:
    """Whole turns of the antenna in the time."""
    return max(1, int(duration_s / radar.scan_s))


def look(
    radar: Radar, own: OwnShipReadings, vessels: Vessels, lengths_m: Floats, duration_s: float, rng: Generator
) -> Echoes:
    """Sweeps all targets through the whole time. `lengths_m` is (N,). Chance of detection is the caller's business."""
    starts = np.arange(float(scans(radar, duration_s))) * radar.scan_s
    times = _sweep(radar, own, vessels, starts)
    own_state, target = own.state(times), vessels.at(times)
    true_range, true_bearing = range_and_bearing(own_state.lat_deg, own_state.lon_deg, target.lat_deg, target.lon_deg)
    heading = own.heading(times)
    relative = true_bearing - heading
    measured_range, measured_relative = _measure(
        radar, own.ship, times, true_range, relative, target.course_deg - true_bearing, lengths_m, rng
    )
    seen = (true_range >= radar.min_range_nm) & (true_range <= radar.max_range_nm) & ~_blank(radar, starts)[:, None]
    # A target that own ship turns across the bow line may fall into two turns with one passing: it counts once.
    seen[1:] &= np.diff(times, axis=0) > radar.scan_s / 2
    return Echoes(
        times, measured_range, measured_relative % 360.0, seen, true_range, true_bearing, heading, own_state, target
    )


def _sweep(radar: Radar, own: OwnShipReadings, vessels: Vessels, starts_s: Floats) -> Floats:
    """When the antenna passes each target: it turns evenly, from the bow at the start of each turn."""
    begin = own.track.at(starts_s)
    there = vessels.at(starts_s)
    _, bearing = range_and_bearing(begin.lat_deg, begin.lon_deg, there.lat_deg, there.lon_deg)
    return starts_s[:, None] + (bearing - begin.course_deg) % 360.0 / 360.0 * radar.scan_s


def _measure(
    radar: Radar,
    ship: OwnShip,
    times_s: Floats,
    range_nm: Floats,
    relative_deg: Floats,
    off_line_deg: Floats,
    lengths_m: Floats,
    rng: Generator,
) -> tuple[Floats, Floats]:
    """Range and relative bearing with the errors of one look each. `off_line_deg`: target's course less its bearing."""
    errors, shape = errors_of(radar), range_nm.shape

    def normal(sd: float) -> Floats | float:
        return rng.standard_normal(shape) * sd if sd else 0.0

    along = normal(errors.glint_along_m) * lengths_m / GLINT_LENGTH_M / NM_M
    across = normal(errors.glint_across_m) * lengths_m / GLINT_LENGTH_M / NM_M
    angle = np.radians(off_line_deg)
    glint_out = along * np.cos(angle) + across * np.sin(angle)
    glint_side = along * np.sin(angle) - across * np.cos(angle)
    scale = scale_at(radar, times_s[:, :1]) if errors.range_noise_scale_percent else 0.0
    measured = (
        range_nm
        + (errors.range_bias_m + normal(errors.range_noise_m) + normal(errors.pulse_shape_m)) / NM_M
        + normal(1.0 if errors.range_noise_scale_percent else 0.0) * errors.range_noise_scale_percent / 100 * scale
        + glint_out
    )
    backlash = rng.uniform(-errors.backlash_deg, errors.backlash_deg, shape) if errors.backlash_deg else 0.0
    bearing = (
        relative_deg
        + errors.bearing_bias_deg
        + normal(errors.bearing_noise_deg)
        + normal(errors.beam_shape_deg)
        + normal(errors.encoder_deg)
        + backlash
        + np.degrees(np.arctan2(glint_side, np.maximum(range_nm, 1e-3)))
        + roll_error_deg(ship, times_s, relative_deg)
    )
    return np.maximum(_rounded(measured, errors.range_quantum_nm), 0.0), _rounded(bearing, errors.bearing_quantum_deg)


def roll_error_deg(ship: OwnShip, times_s: Floats, relative_deg: Floats) -> Floats | float:
    """Bearing error of a rolling antenna: nothing ahead and abeam, most on the bows and quarters.

    A mean and a sine of twice the roll's frequency with the same peak; both grow with the square of the angle.
    """
    if ship.roll_deg == 0:
        return 0.0
    most = ROLL_ERROR_DEG * (ship.roll_deg / ROLL_ANGLE_DEG) ** 2
    swing = 1 - np.cos(4 * np.pi * times_s / ship.roll_period_s)
    return np.asarray(most * np.sin(2 * np.radians(relative_deg)) * swing)


def _rounded(values: Floats, quantum: float) -> Floats:
    return np.asarray(np.round(values / quantum) * quantum) if quantum else values


def scale_at(radar: Radar, times_s: Floats) -> Floats:
    """The range scale in use, NM."""
    scale = np.full(times_s.shape, radar.range_scale_nm)
    for change in radar.scale_changes:
        scale = np.where(times_s >= change.at_min * 60, change.range_scale_nm, scale)
    return scale


def _blank(radar: Radar, starts_s: Floats) -> Flags:
    """Turns (K,) in which a change of range scale leaves the set without a picture."""
    blank = np.zeros(starts_s.shape, dtype=bool)
    for change in radar.scale_changes:
        since = starts_s - change.at_min * 60
        blank |= (since >= 0) & (since < radar.blank_scans * radar.scan_s)
    return blank


def detected(radar: Radar, targets: tuple[Target, ...], echoes: Echoes, rng: Generator) -> Flags:
    """`seen` (K, N) with each target's own chance of an echo and the times in which it gives none."""
    seen = echoes.seen.copy()
    draws = rng.random(seen.shape)
    for column, target in enumerate(targets):
        chance = radar.detection if target.detection is None else target.detection
        seen[:, column] &= draws[:, column] < chance
        for span in target.unseen:
            times = echoes.times_s[:, column]
            seen[:, column] &= ~((times >= span.from_min * 60) & (times < span.until_min * 60))
    return seen
