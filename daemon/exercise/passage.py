"""A scenario worked out: every track, reading and measurement of it as arrays, from which all else is written."""

from collections import Counter
from collections.abc import Sequence
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.random import Generator, default_rng

from daemon.errors import UserError
from daemon.exercise import echoes as radar_echoes
from daemon.exercise import tracker
from daemon.exercise.geodesy import Floats
from daemon.exercise.placing import Placed, place
from daemon.exercise.scenario import Radar, Scenario, Target
from daemon.exercise.sensors import Compass, Log, OwnShipReadings, Receiver
from daemon.exercise.vessel import HIGHEST_LAT_DEG, Vessels, by_legs, grid_rows, lay, stream_kn

# Each use of chance has a stream of its own, so that a new sensor does not change what the radar measures.
YAW, COMPASS, RECEIVER, LOG, ERRORS, DETECTION, INPUTS, AIS, MARKS = range(9)


MOST_STATES = 20_000_000
"""Seconds times vessels of one exercise. Each took 235 bytes (a day with 60 vessels, measured): some 5 GB in all."""


def chance(seed: int, use: int) -> Generator:
    """The stream of random numbers for one use."""
    return default_rng([seed, use])


class Sweeps(NamedTuple):
    """All that the set measured and answered of its targets, columns in the order of `targets`."""

    targets: tuple[Target, ...]
    echoes: radar_echoes.Echoes
    seen: np.ndarray
    tracks: tracker.Tracks


class Passage:
    """Own ship, the targets and what the sensors make of them, worked out when first asked for."""

    def __init__(self, scenario: Scenario) -> None:
        self.scenario = scenario
        meetings = [target.meets.at_min * 60.0 for target in scenario.targets if target.meets]
        self.rows = grid_rows(max(scenario.duration_s, *meetings, 0.0))  # a CPA may lie beyond the end
        self.stream_kn = stream_kn(scenario.tidal_stream)
        self._names()
        if self.rows * len(scenario.targets) > MOST_STATES:
            days = MOST_STATES / 86_400 / len(scenario.targets)
            raise UserError(
                f"{len(scenario.targets)} targets for so long do not fit into memory: "
                f"end it after {days:.2g} days, or take fewer targets"
            )

    def _names(self) -> None:
        counts = Counter(target.name for target in self.scenario.targets)
        if twice := [name for name, count in counts.items() if count > 1]:
            raise UserError(f"two targets are called {min(twice)!r}; give each a name of its own")

    @cached_property
    def own_track(self) -> Vessels:
        """Own ship's track, one column."""
        ship, start = self.scenario.own_ship, self.scenario.place
        course = by_legs(ship.course_deg, ship.speed_kn, ship.legs, self.rows)
        track = lay(
            np.array([start.lat_deg]),
            np.array([start.lon_deg]),
            [course],
            np.array([ship.leeway_deg]),
            (np.array([self.stream_kn[0]]), np.array([self.stream_kn[1]])),
        )
        _refuse_the_poles(track, ["own ship"])
        return track

    @cached_property
    def targets(self) -> Vessels:
        """The targets' tracks, a column each."""
        return vessels(self.scenario, self.own_track, self.rows)

    @cached_property
    def own(self) -> OwnShipReadings:
        scenario = self.scenario
        return OwnShipReadings(scenario.own_ship, self.own_track, scenario.duration_s, chance(scenario.seed, YAW))

    @cached_property
    def sensors(self) -> tuple[Compass | None, Receiver | None, Log | None]:
        spec = self.scenario.sensors
        return (
            Compass(spec.heading, self.own) if spec.heading else None,
            Receiver(spec.position, self.own) if spec.position else None,
            Log(spec.speed, self.own) if spec.speed else None,
        )

    @cached_property
    def sweeps(self) -> Sweeps | None:
        """The radar's work; None where there is no radar or nothing that it tracks."""
        radar, columns = self.scenario.radar, self.tracked
        if radar is None or not columns:
            return None
        seed = self.scenario.seed
        chosen = tuple(self.scenario.targets[column] for column in columns)
        tracks = Vessels(type(self.targets.grid)(*(a[:, columns] for a in self.targets.grid)))
        lengths = np.array([target.length_m for target in chosen])
        seconds = self.scenario.duration_s
        echoes = radar_echoes.look(radar, self.own, tracks, lengths, seconds, chance(seed, ERRORS))
        seen = radar_echoes.detected(radar, chosen, echoes, chance(seed, DETECTION))
        fed = tracker.inputs(radar, self.own, self.sensors, echoes.times_s, chance(seed, INPUTS))
        return Sweeps(chosen, echoes, seen, tracker.track(radar, echoes, seen, wanted(chosen, echoes.times_s), fed))

    @cached_property
    def tracked(self) -> list[int]:
        """The columns of the targets that the set tracks."""
        return [column for column, target in enumerate(self.scenario.targets) if target.tracked]

    @property
    def radar(self) -> Radar:
        radar = self.scenario.radar
        assert radar is not None
        return radar


def vessels(scenario: Scenario, own: Vessels, rows: int) -> Vessels:
    """The targets of a scenario laid out: (T, N)."""
    stream = stream_kn(scenario.tidal_stream)
    placed = [placed_target(scenario, index, own, stream) for index in range(len(scenario.targets))]
    courses = [
        by_legs(start.course_deg, target.speed_kn, target.legs, rows)
        for start, target in zip(placed, scenario.targets, strict=True)
    ]
    if not placed:
        return Vessels(type(own.grid)(*(np.empty((rows, 0)) for _ in own.grid)))
    carried = np.array([target.over == "water" for target in scenario.targets], dtype=np.float64)
    tracks = lay(
        np.array([start.lat_deg for start in placed]),
        np.array([start.lon_deg for start in placed]),
        courses,
        np.zeros(len(placed)),
        (carried * stream[0], carried * stream[1]),
    )
    _refuse_the_poles(tracks, [target.name for target in scenario.targets])
    return tracks


def _refuse_the_poles(tracks: Vessels, names: Sequence[str]) -> None:
    """UserError for a track that comes too near to a pole for a course to mean anything. `names` of the columns."""
    beyond = np.abs(tracks.grid.lat_deg) > HIGHEST_LAT_DEG
    if beyond.any():
        row, column = np.argwhere(beyond)[0]
        raise UserError(
            f"{names[column]} comes beyond {HIGHEST_LAT_DEG:g} degrees of latitude in minute {row // 60}: "
            "start elsewhere, or end it sooner"
        )


def placed_target(scenario: Scenario, index: int, own: Vessels, stream: tuple[float, float]) -> Placed:
    target = scenario.targets[index]
    try:
        return place(target, own, stream)
    except UserError as error:
        raise UserError(f"targets.{index} ({target.name}): {error}") from None


def wanted(targets: tuple[Target, ...], times_s: Floats) -> np.ndarray:
    """Where each target may be tracked: from its acquisition until it is dropped. (K, N)."""
    begin = np.array([target.acquire_min * 60.0 for target in targets])
    end = np.array([np.inf if target.drop_min is None else target.drop_min * 60.0 for target in targets])
    return np.asarray((times_s >= begin) & (times_s < end))
