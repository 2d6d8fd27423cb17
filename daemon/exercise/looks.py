"""Drawn encounters measured directly: hundreds of own ships at a time, no sentences.

The tracks, sensors, measurement errors and set are those that a written scenario goes through; only the random numbers
are others than those of the scenario's own recording.
"""

from collections.abc import Iterator, Sequence

import msgspec
import numpy as np
from msgspec import Struct
from numpy.random import Generator, default_rng

from alerts.plotting.kinematics import Look, OwnMotion
from daemon.exercise import echoes as radar_echoes
from daemon.exercise import tracker
from daemon.exercise.geodesy import Floats, plane
from daemon.exercise.passage import ERRORS, INPUTS, Sweeps, placed_target, wanted
from daemon.exercise.reports import Reports, reports
from daemon.exercise.scenario import Scenario
from daemon.exercise.sensors import Compass, Log, OwnShipReadings, Receiver
from daemon.exercise.truth import Approach, approach
from daemon.exercise.vessel import Vessels, by_legs, grid_rows, lay, stream_kn
from parsers.observations import MotionReference

CHUNK = 400
"""Encounters worked out at once: arrays of some megabytes, which the cache still likes."""


class Looks(Struct, frozen=True):
    """N encounters measured at K turns of the antenna: arrays (K, N) in the order of `scenarios`.

    `range_nm` and `bearing_deg` are what TTM would carry, rounded as TTM rounds (`set_.relative`: off the bow).
    `own_*` are own ship's readings at `times_s`: place in a plane with its origin at own ship's start, velocity, true
    heading and rate of turn (NaN: none). `truth` holds the true range, bearing, motion, CPA and TCPA of the moment;
    `set_` the set's own answers; `seen` where there was an echo.
    """

    scenarios: Sequence[Scenario]
    times_s: Floats
    seen: np.ndarray
    range_nm: Floats
    bearing_deg: Floats
    own_east_nm: Floats
    own_north_nm: Floats
    own_east_kn: Floats
    own_north_kn: Floats
    own_heading_deg: Floats
    own_turn_deg_min: Floats
    truth: Approach
    target_east_kn: Floats
    target_north_kn: Floats
    true_own_east_kn: Floats
    true_own_north_kn: Floats
    set_: tracker.Tracks
    told: Reports
    frame: MotionReference

    def looks(self, n: int) -> list[Look]:
        """What a listener gets of encounter `n`: a Look for each report (repeats too), at the time it is about.

        A report that repeats an old measurement stands under its own, later time, as the stream would have it.
        """
        radar = self.scenarios[n].radar
        assert radar is not None
        mine = np.flatnonzero(self.told.column == n)
        found = []
        for index in mine[self.told.status[mine] != tracker.LOST]:
            row, at_s = int(self.told.row[index]), float(self.told.times_s[index]) - radar.report_delay_s
            found.append(self._look(n, row, at_s))
        return found

    def _look(self, n: int, row: int, at_s: float) -> Look:
        hours = (at_s - float(self.times_s[row, n])) / 3600.0
        east_kn, north_kn = float(self.own_east_kn[row, n]), float(self.own_north_kn[row, n])
        heading = float(self.own_heading_deg[row, n])
        turn = float(self.own_turn_deg_min[row, n])
        relative = bool(self.set_.relative[row, n])
        bearing = float(self.bearing_deg[row, n])
        return Look(
            at_s=at_s,
            range_nm=float(self.range_nm[row, n]),
            bearing_deg=(bearing + heading) % 360.0 if relative and heading == heading else bearing,
            bearing_sd_deg=0.5 if relative else 0.0,
            own=OwnMotion(
                at_s=at_s,
                east_nm=float(self.own_east_nm[row, n]) + east_kn * hours,
                north_nm=float(self.own_north_nm[row, n]) + north_kn * hours,
                east_kn=east_kn,
                north_kn=north_kn,
                velocity_sd_kn=0.1,
                frame=self.frame,
                heading_deg=heading if heading == heading else None,
                heading_sd_deg=0.5,
                turn_rate_deg_min=turn if turn == turn else None,
            ),
        )


def looks(scenarios: Sequence[Scenario], seed: int, chunk: int = CHUNK) -> Iterator[Looks]:
    """Measured looks of encounters with one target each, `chunk` at a time.

    All scenarios of a call share radar, sensors, duration, stream and own ship's yaw, roll and leeway (as those of one
    `draw` do); else ValueError. Courses, speeds, places and alterations differ freely.
    """
    for begin in range(0, len(scenarios), chunk):
        part = scenarios[begin : begin + chunk]
        _check_alike(part)
        yield _measure(part, default_rng([seed, ERRORS, begin]), default_rng([seed, INPUTS, begin]))


def _check_alike(scenarios: Sequence[Scenario]) -> None:
    first = scenarios[0]
    if first.radar is None:
        raise ValueError("encounters without a radar have no looks")
    for one in scenarios:
        ship, other = one.own_ship, first.own_ship
        alike = (
            (one.radar is first.radar or one.radar == first.radar)
            and (one.sensors is first.sensors or one.sensors == first.sensors)
            and one.tidal_stream == first.tidal_stream
            and one.duration_min == first.duration_min
            and (ship.yaw_deg, ship.yaw_period_s, ship.roll_deg, ship.roll_period_s, ship.leeway_deg)
            == (other.yaw_deg, other.yaw_period_s, other.roll_deg, other.roll_period_s, other.leeway_deg)
        )
        if not alike or len(one.targets) != 1:
            raise ValueError("these encounters differ in more than courses, speeds and places, or have several targets")


def own_tracks(scenarios: Sequence[Scenario], rows: int) -> Vessels:
    """Own ships' tracks, a column each."""
    stream = stream_kn(scenarios[0].tidal_stream)
    ships = [one.own_ship for one in scenarios]
    ones = np.ones(len(ships))
    return lay(
        np.array([one.place.lat_deg for one in scenarios]),
        np.array([one.place.lon_deg for one in scenarios]),
        [by_legs(ship.course_deg, ship.speed_kn, ship.legs, rows) for ship in ships],
        np.array([ship.leeway_deg for ship in ships]),
        (stream[0] * ones, stream[1] * ones),
    )


def _target_tracks(scenarios: Sequence[Scenario], own: Vessels, rows: int) -> Vessels:
    """The targets' tracks, a column each; each is placed against its own ship's column."""
    stream = stream_kn(scenarios[0].tidal_stream)
    placed = [
        placed_target(one, 0, Vessels(type(own.grid)(*(a[:, n : n + 1] for a in own.grid))), stream)
        for n, one in enumerate(scenarios)
    ]
    carried = np.array([one.targets[0].over == "water" for one in scenarios], dtype=np.float64)
    return lay(
        np.array([start.lat_deg for start in placed]),
        np.array([start.lon_deg for start in placed]),
        [
            by_legs(start.course_deg, one.targets[0].speed_kn, one.targets[0].legs, rows)
            for start, one in zip(placed, scenarios, strict=True)
        ],
        np.zeros(len(placed)),
        (carried * stream[0], carried * stream[1]),
    )


def _measure(scenarios: Sequence[Scenario], rng: Generator, inputs_rng: Generator) -> Looks:
    first = scenarios[0]
    assert first.radar is not None
    radar, duration_s = first.radar, first.duration_s
    latest = max(one.targets[0].meets.at_min * 60 if one.targets[0].meets else 0.0 for one in scenarios)
    rows = grid_rows(max(duration_s, latest))
    track = own_tracks(scenarios, rows)
    own = OwnShipReadings(first.own_ship, track, duration_s, rng)
    targets = tuple(one.targets[0] for one in scenarios)
    vessels = _target_tracks(scenarios, track, rows)
    lengths = np.array([target.length_m for target in targets])
    echoes = radar_echoes.look(radar, own, vessels, lengths, duration_s, rng)
    seen = radar_echoes.detected(radar, targets, echoes, rng)
    spec = first.sensors
    sensors = (
        Compass(spec.heading, own) if spec.heading else None,
        Receiver(spec.position, own) if spec.position else None,
        Log(spec.speed, own) if spec.speed else None,
    )
    fed = tracker.inputs(radar, own, sensors, echoes.times_s, inputs_rng)
    alone = msgspec.structs.replace(radar, capacity=max(radar.capacity, len(targets)))  # each has a set of its own
    tracks = tracker.track(alone, echoes, seen, wanted(targets, echoes.times_s), fed)
    sweeps = Sweeps(targets, echoes, seen, tracks)
    readings = _readings(own, sensors, echoes, rng)
    bearing = tracks.bearing_deg
    if radar.bearing == "relative":  # made relative again with the heading that made it true
        bearing = (bearing - np.nan_to_num(fed.heading_deg)) % 360.0
        tracks = tracks._replace(relative=np.ones_like(tracks.relative))
    return Looks(
        scenarios,
        echoes.times_s,
        seen,
        np.round(tracks.range_nm, 2),
        np.round(bearing, 1) % 360.0,
        *readings,
        approach(echoes.own, echoes.target),
        echoes.target.east_kn,
        echoes.target.north_kn,
        echoes.own.east_kn,
        echoes.own.north_kn,
        tracks,
        reports(radar, sweeps, duration_s),
        MotionReference.GROUND if sensors[1] else MotionReference.WATER,
    )


def _readings(
    own: OwnShipReadings,
    sensors: tuple[Compass | None, Receiver | None, Log | None],
    echoes: radar_echoes.Echoes,
    rng: Generator,
) -> tuple[Floats, Floats, Floats, Floats, Floats, Floats]:
    """Own ship's place in the plane, velocity, heading and rate of turn as read at the looks, (K, N) each.

    Without a receiver the place is reckoned from log and compass, through the water.
    """
    compass, receiver, log = sensors
    times = echoes.times_s
    heading = compass.read(times, rng) if compass else np.full(times.shape, np.nan)
    turn = compass.rate(times) if compass else np.full(times.shape, np.nan)
    if receiver:
        start = own.track.grid
        east, north = plane(start.lat_deg[0], start.lon_deg[0], *receiver.position(times))
        return east, north, *receiver.velocity(times, rng), heading, turn
    speed = log.read(times, rng) if log else np.zeros(times.shape)
    angle = np.radians(np.nan_to_num(heading))
    east_kn, north_kn = speed * np.sin(angle), speed * np.cos(angle)
    hours = np.diff(times, axis=0, prepend=times[:1]) / 3600.0
    return np.cumsum(east_kn * hours, axis=0), np.cumsum(north_kn * hours, axis=0), east_kn, north_kn, heading, turn
