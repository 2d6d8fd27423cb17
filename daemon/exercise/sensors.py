"""What own ship's sensors read: truth, late, wrong and noisy as the scenario has it, or nothing at all.

Readings are arrays over times; NaN means 'no reading', inside this package only. The sentences and the set's inputs
come from the same readings. Slow errors are laid out once for a passage, so that all who read a sensor see them.
"""

from collections.abc import Callable, Sequence

import numpy as np
from numpy.random import Generator

from daemon.exercise.geodesy import Floats, offset
from daemon.exercise.scenario import Failure, HeadingSensor, OwnShip, PositionSensor, SpeedSensor
from daemon.exercise.vessel import State, Vessels, yaw_deg

WANDER_TIME_S = 60.0
"""Time constant of slow errors (choice of ours: satellite and compass errors stay alike for about a minute)."""

_WANDER_STEP_S = 10.0


def wander(rng: Generator, sd: float, duration_s: float, columns: int) -> Floats:
    """A slow error of this standard deviation, (S, columns), rows ten seconds apart: a first-order Markov process."""
    rows = int(duration_s / _WANDER_STEP_S) + 3
    values = rng.standard_normal((rows, columns)) * sd
    keep = np.exp(-_WANDER_STEP_S / WANDER_TIME_S)
    values[1:] *= np.sqrt(1 - keep**2)
    for row in range(1, rows):
        values[row] += keep * values[row - 1]
    return values


def wander_at(values: Floats, times_s: Floats) -> Floats:
    """The slow error at times (K,) for one column: (K,); at times (K, N): (K, N)."""
    place = np.clip(times_s / _WANDER_STEP_S, 0, values.shape[0] - 1.001)
    row = place.astype(np.int64)
    part = place - row
    column = np.zeros(1, dtype=np.int64) if values.shape[1] == 1 or times_s.ndim == 1 else np.arange(values.shape[1])
    return np.asarray(values[row, column] * (1 - part) + values[row + 1, column] * part)


def _inside(failure: Failure, times_s: Floats) -> np.ndarray:
    """True where one failure is in force."""
    return np.asarray((times_s >= failure.from_min * 60) & (times_s < failure.until_min * 60))


def during(spans: Sequence[Failure], how: str, times_s: Floats) -> np.ndarray:
    """True where a failure of this kind is in force."""
    inside = np.zeros(times_s.shape, dtype=bool)
    for span in spans:
        if span.how == how:
            inside |= _inside(span, times_s)
    return inside


def _frozen(failures: Sequence[Failure], times_s: Floats) -> Floats:
    """The times whose values are read: those of a frozen sensor stand still."""
    read = times_s
    for failure in failures:
        if failure.how == "frozen":
            read = np.where(_inside(failure, times_s), failure.from_min * 60, read)
    return np.maximum(read, 0.0)


def _failing(failures: Sequence[Failure], times_s: Floats, values: Floats) -> Floats:
    """Offsets added, one value over and over while frozen, NaN where the sensor says nothing or nothing valid."""
    for failure in failures:
        inside = _inside(failure, times_s)
        if failure.how == "frozen" and inside.any():
            first = np.expand_dims(inside.argmax(axis=0), 0)
            values = np.where(inside, np.take_along_axis(values, first, axis=0), values)
        if failure.how == "offset":
            values = np.where(inside, values + failure.offset, values)
        elif failure.how in ("silent", "null"):
            values = np.where(inside, np.nan, values)
    return values


class OwnShipReadings:
    """All sensors of own ship over a passage (one column) or of N own ships (N columns, for drawn encounters).

    `phases` of the yaw are (2, columns).
    """

    def __init__(self, ship: OwnShip, track: Vessels, duration_s: float, rng: Generator) -> None:
        self.ship, self.track, self.duration_s = ship, track, duration_s
        self.phases = rng.random((2, track.columns)) * 2 * np.pi
        self._rng = rng

    # Truth ------------------------------------------------------------------------------------------------

    def state(self, times_s: Floats) -> State:
        """True state at times (K,) of one ship: (K,); at times (K, N): (K, N)."""
        if times_s.ndim == 1:
            return State(*(a[:, 0] for a in self.track.at(times_s)))
        return self.track.at(times_s)

    def heading(self, times_s: Floats) -> Floats:
        """True heading with its yaw, not wrapped."""
        phases = self.phases[:, 0] if times_s.ndim == 1 else self.phases
        return self.state(times_s).course_deg + yaw_deg(self.ship, phases, times_s)

    # Readings ---------------------------------------------------------------------------------------------

    def slow(self, sd: float) -> Callable[[Floats], Floats]:
        """A slow error of its own, as a function of time."""
        if sd == 0:
            return np.zeros_like
        values = wander(self._rng, sd, self.duration_s, self.track.columns)
        return lambda times_s: wander_at(values, times_s)


class Compass:
    """The heading sensor's readings."""

    def __init__(self, sensor: HeadingSensor, own: OwnShipReadings) -> None:
        self.sensor, self._own = sensor, own
        self._slow = own.slow(sensor.wander_deg)

    def read(self, times_s: Floats, rng: Generator, *, extra_delay_s: float = 0.0) -> Floats:
        """Headings as sent, true, in [0, 360); NaN where there is none."""
        sensor = self.sensor
        read = np.maximum(times_s - sensor.delay_s - extra_delay_s, 0.0)
        values = self._own.heading(read) + sensor.bias_deg + self._slow(read)
        if sensor.noise_deg:
            values = values + rng.standard_normal(times_s.shape) * sensor.noise_deg
        return np.asarray(_failing(sensor.failures, times_s, values) % 360.0)

    def rate(self, times_s: Floats) -> Floats:
        """Rate of turn in degrees a minute, over one second."""
        later, sooner = self._own.heading(times_s + 0.5), self._own.heading(np.maximum(times_s - 0.5, 0))
        return _failing(self.sensor.failures, times_s, (later - sooner) * 60.0)


class Receiver:
    """The satellite receiver's readings."""

    def __init__(self, sensor: PositionSensor, own: OwnShipReadings) -> None:
        self.sensor, self._own = sensor, own
        self._slow_east, self._slow_north = own.slow(sensor.noise_m / 1852.0), own.slow(sensor.noise_m / 1852.0)

    def position(self, times_s: Floats) -> tuple[Floats, Floats]:
        """Latitude and longitude as read; NaN where there is no fix."""
        sensor = self.sensor
        read = _frozen(sensor.failures, times_s)
        state = self._own.state(read)
        north = self._slow_north(read) + sensor.offset_north_m / 1852.0
        north = _failing([f for f in sensor.failures if f.how != "frozen"], times_s, north)
        return offset(state.lat_deg, state.lon_deg, self._slow_east(read) + sensor.offset_east_m / 1852.0, north)

    def velocity(self, times_s: Floats, rng: Generator) -> tuple[Floats, Floats]:
        """Velocity over ground, east and north, knots; NaN where there is no fix."""
        failures = tuple(failure for failure in self.sensor.failures if failure.how != "offset")  # of the position
        state, sd = self._own.state(times_s), self.sensor.speed_noise_kn
        east, north = (
            _failing(failures, times_s, part + (rng.standard_normal(times_s.shape) * sd if sd else 0.0))
            for part in (state.east_kn, state.north_kn)
        )
        return east, north


class Log:
    """The log's readings."""

    def __init__(self, sensor: SpeedSensor, own: OwnShipReadings) -> None:
        self.sensor, self._own = sensor, own

    def read(self, times_s: Floats, rng: Generator) -> Floats:
        """Speed along the keel, knots; NaN where there is none."""
        sensor = self.sensor
        true = self._along_keel(np.maximum(times_s - sensor.delay_s, 0.0))
        values = true * sensor.factor + sensor.bias_kn
        if sensor.noise_kn:
            values = values + rng.standard_normal(times_s.shape) * sensor.noise_kn
        return _failing(sensor.failures, times_s, values)

    def _along_keel(self, times_s: Floats) -> Floats:
        state = self._own.state(times_s)
        if self.sensor.reference == "water":
            return np.asarray(state.speed_kn * np.cos(np.radians(self._own.ship.leeway_deg)))
        bow = np.radians(self._own.heading(times_s))
        return np.asarray(state.east_kn * np.sin(bow) + state.north_kn * np.cos(bow))
