"""A figure of the table, and what several of them share."""

from collections.abc import Callable, Iterator
from typing import NamedTuple

import msgspec
import numpy as np

from alerts.plotting.geometry import Column, closest_approach
from alerts.plotting.kinematics import Estimate, Look
from alerts.plotting.noise import NoiseModel
from daemon.exercise.scenario import (
    HeadingSensor,
    OwnShip,
    PositionSensor,
    Scenario,
    Sensors,
    SpeedSensor,
)
from tests.benchmarks.motion.runs import (
    Followed,
    Sampled,
)


class Figure(NamedTuple):
    """One line of the table. `met` is None where the figure has no bound and is only told."""

    name: str
    measured: str
    must: str
    aim: str
    met: bool | None
    reached: bool | None  # the aim
    runs: int
    seed: int


Span = tuple[float, float]
Measure = Callable[[int], Iterator[Figure]]


EXACT_OWN = Sensors(
    heading=HeadingSensor(noise_deg=0.0), position=PositionSensor(noise_m=0.0, speed_noise_kn=0.0), speed=SpeedSensor()
)
"""Own motion known exactly: what the Cramér-Rao bound is worked out for."""


def shared_noise() -> Callable[[], NoiseModel]:
    """One noise model for all encounters of a run, as a feed has."""
    model = NoiseModel()
    return lambda: model


def covered(sampled: Sampled) -> tuple[int, int]:
    """How often the true CPA lies inside the 95 % limits, and how many rows were settled."""
    said, miss = sampled.said, np.abs(sampled.truth.miss_nm)
    settled = ~np.isnan(said.cpa_nm)
    inside = (said.cpa_low_nm <= miss) & (miss <= said.cpa_high_nm)
    return int((inside & settled).sum()), int(settled.sum())


def miss_errors_nm(sampled: Sampled) -> Column:
    """Estimated less true signed CPA."""
    relative = np.array(
        [
            (
                e.east_nm - look.own.east_nm,
                e.north_nm - look.own.north_nm,
                e.east_kn - look.own.east_kn,
                e.north_kn - look.own.north_kn,
            )
            for e, look in pairs(sampled)
        ]
    ).T
    return closest_approach(*relative).miss_nm - sampled.truth.miss_nm


def pairs(got: Sampled) -> Iterator[tuple[Estimate, Look]]:
    return zip(got.estimates, got.looks, strict=True)


def percent(part: int, whole: int) -> float:
    return 100.0 * part / max(whole, 1)


def coverage_figure(name: str, bounds: Span, aims: Span, got: Sampled, seed: int) -> Figure:
    """How often the truth lay inside the limits of the settled ones, beside its bounds in per cent."""
    inside, settled = covered(got)
    share = percent(inside, settled)
    unsettled = len(got.looks) - settled
    return Figure(
        f"true CPA inside our 95 % limits: {name}",
        f"{share:.1f} %" + (f" ({unsettled} unsettled)" if unsettled else ""),
        f"{bounds[0]:g} to {bounds[1]:g} %",
        f"{aims[0]:g} to {aims[1]:g} %",
        bounds[0] <= share <= bounds[1],
        aims[0] <= share <= aims[1],
        settled,
        seed,
    )


PLAIN, PLAIN_AIM = (92.0, 98.0), (94.0, 96.0)
SMOOTHED, SMOOTHED_AIM = (88.0, 99.0), (93.0, 97.0)


def at_time(at_s: float) -> Callable[[Followed], int]:
    return lambda one: one.index_at(at_s)


def first_settled(one: Followed) -> int:
    return next((k for k, estimate in enumerate(one.estimates) if estimate.settled), len(one.looks) - 1)


def yawing(base: Scenario, yaw_deg: float, delay_s: float) -> Scenario:
    ship: OwnShip = msgspec.structs.replace(base.own_ship, yaw_deg=yaw_deg)
    sensors = msgspec.structs.replace(base.sensors, heading=HeadingSensor(delay_s=delay_s))
    return msgspec.structs.replace(base, own_ship=ship, sensors=sensors)


def heading_in_bearing(look: Look) -> Look:
    """A look as the picture gives it: a relative bearing made true with a heading carries the heading's own sd."""
    return look if look.bearing_sd_deg == 0.0 else msgspec.structs.replace(look, bearing_sd_deg=0.5)
