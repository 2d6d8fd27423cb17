"""Encounters drawn by chance, for benchmarks: as scenarios, and as measured looks directly, many at once.

`draw` gives scenarios like any written one. `looks` runs them through the same tracks, sensors, measurement errors and
set as a written scenario goes through, but for hundreds of own ships at a time and without sentences. The random
numbers differ from those of the scenario's own recording, the code does not.
"""

from datetime import UTC, datetime
from typing import Annotated

import msgspec
import numpy as np
from msgspec import Meta, Struct
from numpy.random import Generator, default_rng

from daemon.exercise.looks import Looks as Looks  # here too: one door for those who draw and measure
from daemon.exercise.looks import looks as looks
from daemon.exercise.looks import own_tracks
from daemon.exercise.passage import placed_target
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
from daemon.exercise.vessel import grid_rows, stream_kn

Between = tuple[float, float]

MOST_TRIES = 100_000
"""After so many draws in a row that are thrown away the distribution is taken for an empty one."""


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
    """`n` scenarios of one target each. The same arguments give the same encounters.

    ValueError for a distribution from which nothing can be drawn.
    """
    spec, rng = distribution or Distribution(), default_rng(seed)
    return [_one(rng, spec, base, seed * 1_000_000 + index) for index in range(n)]


def _one(rng: Generator, spec: Distribution, base: Scenario, seed: int) -> Scenario:
    for _ in range(MOST_TRIES):
        own_course, course = rng.random(2) * 360.0
        own_speed, speed = _even(rng, spec.own_speed_kn), _even(rng, spec.target_speed_kn)
        cpa, tcpa = _even(rng, spec.cpa_nm), _even(rng, spec.tcpa_min)
        to_port = rng.random() < 0.5
        length = _even(rng, spec.length_m)
        relative = np.abs(speed * np.exp(1j * np.radians(course)) - own_speed * np.exp(1j * np.radians(own_course)))
        start = np.hypot(relative * tcpa / 60, cpa)
        if relative >= spec.slowest_relative_kn and spec.start_range_nm[0] <= start <= spec.start_range_nm[1]:
            break
    else:
        raise ValueError(f"none of {MOST_TRIES} draws has its relative speed and range at the start within {spec}")
    own_legs = _alteration(rng, spec, own_course, own_speed, spec.own_turns_deg, ())
    legs = _alteration(rng, spec, course, speed, spec.target_turns_deg, spec.target_speed_changes_kn)
    target = Target(
        name="target",
        course_deg=float(course),
        speed_kn=speed,
        legs=legs,
        length_m=length,
        meets=Meeting(cpa_nm=cpa, at_min=tcpa, passes="to port" if to_port else "to starboard"),
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
    track = own_tracks([steady], grid_rows(max(base.duration_s, target.meets.at_min * 60 if target.meets else 0)))
    start = placed_target(steady, 0, track, stream_kn(base.tidal_stream))
    return msgspec.structs.replace(target, meets=None, lat_deg=start.lat_deg, lon_deg=start.lon_deg)


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
