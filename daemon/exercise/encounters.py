"""Encounters drawn by chance, for benchmarks: as scenarios, and as measured looks directly, many at once.

`draw` gives scenarios like any written one. `looks` runs them through the same tracks, sensors, measurement errors and
set as a written scenario goes through, but for hundreds of own ships at a time and without sentences. The random
numbers differ from those of the scenario's own recording, the code does not.
"""

from collections.abc import Iterator, Sequence
from datetime import UTC, datetime
from typing import Annotated

import msgspec
import numpy as np
from msgspec import Meta, Struct
from numpy.random import Generator, default_rng

from alerts.plotting.kinematics import Look, OwnMotion
from daemon.exercise import echoes as radar_echoes
from daemon.exercise import tracker
from daemon.exercise.geodesy import Floats, plane
from daemon.exercise.passage import ERRORS, INPUTS, Sweeps, placed_target, wanted
from daemon.exercise.reports import Reports, reports
from daemon.exercise.scenario import (
    HeadingSensor,
    Leg,
    Meeting,
    OwnShip,
    Place,
    PositionSensor,
    Radar,
    RadarInputs,
    Scenario,
    Sensors,
    SpeedSensor,
    Target,
)
from daemon.exercise.sensors import Compass, Log, OwnShipReadings, Receiver
from daemon.exercise.truth import Approach, approach
from daemon.exercise.vessel import Vessels, by_legs, grid_rows, lay, stream_kn
from parsers.observations import MotionReference

Between = tuple[float, float]

CHUNK = 400
"""Encounters worked out at once: arrays of some megabytes, which the cache still likes."""


class Distribution(Struct, frozen=True, kw_only=True):
    """From what encounters are drawn. A pair is 'evenly between'; courses are even over the circle.

    Draws with a relative speed under `slowest_relative_kn`, or a range at the start outside `start_range_nm`, are
    thrown away. `turns_deg` and `speed_changes_kn`: one of them, and the side, is picked for each alteration; empty
    means none.
    """

    own_speed_kn: Between = (4.0, 14.0)
    target_speed_kn: Between = (3.0, 20.0)
    cpa_nm: Between = (0.0, 2.0)
    tcpa_min: Annotated[Between, Meta(description="from the start")] = (14.0, 24.0)
    start_range_nm: Between = (2.0, 12.0)
    slowest_relative_kn: float = 3.0
    target_turns_deg: tuple[float, ...] = ()
    target_speed_changes_kn: tuple[float, ...] = ()
    own_turns_deg: tuple[float, ...] = ()
    alteration_min: Between = (6.0, 10.0)
    turn_rate_deg_min: float = 90.0
    length_m: Between = (12.0, 200.0)


BASE = Scenario(
    title="Drawn encounter",
    about="Drawn by chance; no vessel and no passage is real.",
    start=datetime(2027, 1, 15, 8, tzinfo=UTC),
    duration_min=20.0,
    place=Place(name="no place", lat_deg=50.0, lon_deg=-5.0),
    own_ship=OwnShip(course_deg=0.0, speed_kn=0.0),
    sensors=Sensors(heading=HeadingSensor(), position=PositionSensor(), speed=SpeedSensor()),
    radar=Radar(max_range_nm=24.0, acquisition_s=0.0, inputs=RadarInputs(speed="ground")),
)
"""What drawn encounters share unless another base is given: sensors, radar, place, length."""


def draw(seed: int, n: int, distribution: Distribution | None = None, base: Scenario = BASE) -> list[Scenario]:
    """`n` scenarios of one target each. The same arguments give the same encounters."""
    spec, rng = distribution or Distribution(), default_rng(seed)
    return [_one(rng, spec, base, seed * 1_000_000 + index) for index in range(n)]


def _one(rng: Generator, spec: Distribution, base: Scenario, seed: int) -> Scenario:
    while True:
        own_course, course = rng.random(2) * 360.0
        own_speed, speed = _even(rng, spec.own_speed_kn), _even(rng, spec.target_speed_kn)
        cpa, tcpa = _even(rng, spec.cpa_nm), _even(rng, spec.tcpa_min)
        side = "to port" if rng.random() < 0.5 else "to starboard"
        length = _even(rng, spec.length_m)
        relative = np.abs(speed * np.exp(1j * np.radians(course)) - own_speed * np.exp(1j * np.radians(own_course)))
        start = np.hypot(relative * tcpa / 60, cpa)
        if relative >= spec.slowest_relative_kn and spec.start_range_nm[0] <= start <= spec.start_range_nm[1]:
            break
    own_legs = _alteration(rng, spec, own_course, own_speed, spec.own_turns_deg, ())
    legs = _alteration(rng, spec, course, speed, spec.target_turns_deg, spec.target_speed_changes_kn)
    target = Target(
        name="target",
        course_deg=float(course),
        speed_kn=speed,
        legs=legs,
        length_m=length,
        meets=Meeting(cpa_nm=cpa, at_min=tcpa, passes="to port" if side == "to port" else "to starboard"),
    )
    ship = msgspec.structs.replace(base.own_ship, course_deg=float(own_course), speed_kn=own_speed, legs=own_legs)
    if own_legs:  # the meeting is the one that would have been: placed before own ship alters
        target = _placed_before(base, ship, target)
    return msgspec.structs.replace(base, seed=seed, own_ship=ship, targets=(target,))


def _even(rng: Generator, pair: Between) -> float:
    return float(pair[0] + (pair[1] - pair[0]) * rng.random())


def _alteration(
    rng: Generator,
    spec: Distribution,
    course: float,
    speed: float,
    turns: tuple[float, ...],
    changes: tuple[float, ...],
) -> tuple[Leg, ...]:
    if not turns and not changes:
        return ()
    at = _even(rng, spec.alteration_min)
    to_starboard = rng.random() < 0.5
    turn = turns[int(rng.random() * len(turns))] if turns else 0.0
    change = changes[int(rng.random() * len(changes))] if changes else 0.0
    return (
        Leg(
            at_min=at,
            course_deg=float((course + (turn if to_starboard else -turn)) % 360.0) if turn else None,
            speed_kn=max(0.0, speed + change) if change else None,
            turn="starboard" if to_starboard else "port",
            turn_rate_deg_min=spec.turn_rate_deg_min,
        ),
    )


def _placed_before(base: Scenario, ship: OwnShip, target: Target) -> Target:
    """The target at the position from which it meets an own ship that does not alter."""
    steady = msgspec.structs.replace(base, own_ship=msgspec.structs.replace(ship, legs=()), targets=(target,))
    track = _own_tracks([steady], grid_rows(max(base.duration_s, target.meets.at_min * 60 if target.meets else 0)))
    start = placed_target(steady, 0, track, stream_kn(base.tidal_stream))
    return msgspec.structs.replace(target, meets=None, lat_deg=start.lat_deg, lon_deg=start.lon_deg)


# -------------------------------------------------------------------------------------------------- looks


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


def _own_tracks(scenarios: Sequence[Scenario], rows: int) -> Vessels:
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
    track = _own_tracks(scenarios, rows)
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


# ---------------------------------------------------------------------------------------- published scenarios


OPERATIONAL = {
    1: (0.0, 10.0, 8.0, 0.0, 180.0, 20.0),
    2: (0.0, 10.0, 1.0, 0.0, 90.0, 10.0),
    3: (0.0, 5.0, 8.0, 45.0, 225.0, 20.0),
    4: (0.0, 25.0, 8.0, 45.0, 225.0, 20.0),
}
"""A.823(19) appendix 2: own course and speed; range and bearing of the target; relative course and speed."""


def operational(which: int, tracked_min: float = 3.0, base: Scenario = BASE) -> Scenario:
    """One of the four scenarios of A.823(19): the target comes to its tabulated position after `tracked_min` minutes.

    The exercise ends there: the last look lies within one scan of it, and `truth` tells the moment of each look.
    """
    own_course, own_speed, range_nm, bearing, relative_course, relative_speed = OPERATIONAL[which]
    angle = np.radians([own_course, bearing, relative_course])
    own = own_speed * np.array([np.sin(angle[0]), np.cos(angle[0])])
    relative = relative_speed * np.array([np.sin(angle[2]), np.cos(angle[2])])
    place = range_nm * np.array([np.sin(angle[1]), np.cos(angle[1])]) - relative * tracked_min / 60.0
    true = own + relative
    target = Target(
        name="target",
        course_deg=float(np.degrees(np.arctan2(*true)) % 360.0),
        speed_kn=float(np.hypot(*true)),
        range_nm=float(np.hypot(*place)),
        bearing_deg=float(np.degrees(np.arctan2(*place)) % 360.0),
        length_m=200.0,
    )
    ship = msgspec.structs.replace(base.own_ship, course_deg=own_course, speed_kn=own_speed, legs=())
    return msgspec.structs.replace(base, duration_min=tracked_min, own_ship=ship, targets=(target,))
