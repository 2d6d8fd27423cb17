"""Whole traffic pictures drawn by chance: many vessels about own ship, some with AIS, some tracks of clutter."""

from datetime import UTC, datetime

import msgspec
import numpy as np
from msgspec import Struct
from numpy.random import Generator, default_rng

from daemon.exercise.scenario import (
    Ais,
    HeadingSensor,
    OwnShip,
    Place,
    PositionSensor,
    Radar,
    RadarErrors,
    RadarInputs,
    Scenario,
    Sensors,
    Target,
)


class Picture(Struct, frozen=True, kw_only=True):
    """From what traffic is drawn. Vessels lie evenly over the disc, none nearer to another than `apart_nm`.

    `clutter` false tracks lie about the same disc, drift at up to 4 knots and are seen at half the scans, for a
    minute or two each. `ais_delay_s` is the most that a report is late, evenly spread from nothing.
    """

    vessels: int = 40
    within_nm: float = 6.0
    apart_nm: float = 0.15
    without_ais: float = 0.3
    class_b: float = 0.3
    clutter: int = 6
    ais_delay_s: float = 10.0
    heading_bias_deg: float = 0.0
    own_speed_kn: tuple[float, float] = (4.0, 12.0)
    speed_kn: tuple[float, float] = (0.0, 18.0)
    duration_min: float = 4.0


BASE = Scenario(
    title="Drawn traffic",
    about="Drawn by chance; no vessel is real.",
    start=datetime(2027, 1, 15, 8, tzinfo=UTC),
    duration_min=4.0,
    place=Place(name="no place", lat_deg=50.0, lon_deg=-5.0),
    own_ship=OwnShip(course_deg=0.0, speed_kn=0.0),
    sensors=Sensors(heading=HeadingSensor(rate_hz=2.0), position=PositionSensor(sentences=("RMC",))),
    radar=Radar(max_range_nm=12.0, acquisition_s=10.0, inputs=RadarInputs(speed="ground")),
)


def draw(seed: int, n: int, picture: Picture | None = None, base: Scenario = BASE) -> list[Scenario]:
    """`n` traffic pictures. The same arguments give the same pictures."""
    spec, rng = picture or Picture(), default_rng([seed, 11])
    return [_one(rng, spec, base, seed * 1_000_000 + index) for index in range(n)]


def _one(rng: Generator, spec: Picture, base: Scenario, seed: int) -> Scenario:
    places = _places(rng, spec)
    vessels = [_vessel(rng, spec, index, place) for index, place in enumerate(places)]
    false = [_clutter(rng, spec, index) for index in range(spec.clutter)]
    assert base.radar is not None
    errors = base.radar.errors if isinstance(base.radar.errors, RadarErrors) else None
    errors = msgspec.structs.replace(
        errors or RadarErrors(range_noise_m=20.0, bearing_noise_deg=0.5), bearing_bias_deg=spec.heading_bias_deg
    )
    speed = spec.own_speed_kn[0] + rng.random() * (spec.own_speed_kn[1] - spec.own_speed_kn[0])
    return msgspec.structs.replace(
        base,
        seed=seed,
        duration_min=spec.duration_min,
        own_ship=msgspec.structs.replace(base.own_ship, course_deg=float(rng.random() * 360), speed_kn=float(speed)),
        radar=msgspec.structs.replace(base.radar, errors=errors),
        targets=(*vessels, *false),
    )


def _places(rng: Generator, spec: Picture) -> list[complex]:
    """Places in the disc, east + north i, far enough apart; as many as find room in a thousand tries each."""
    found: list[complex] = []
    for _ in range(spec.vessels * 1000):
        if len(found) == spec.vessels:
            break
        place = spec.within_nm * np.sqrt(rng.random()) * np.exp(2j * np.pi * rng.random())
        if abs(place) > spec.apart_nm and all(abs(place - other) >= spec.apart_nm for other in found):
            found.append(complex(place))
    return found


def _vessel(rng: Generator, spec: Picture, index: int, place: complex) -> Target:
    speed = spec.speed_kn[0] + rng.random() * (spec.speed_kn[1] - spec.speed_kn[0])
    ais = None
    if rng.random() >= spec.without_ais:
        small = rng.random() < spec.class_b
        ais = Ais(mmsi=999_100_000 + index, station="B" if small else "A", delay_s=0.0, delay_spread_s=spec.ais_delay_s)
    return Target(
        name=f"vessel {index + 1}",
        course_deg=float(rng.random() * 360),
        speed_kn=float(speed),
        length_m=float(12 + rng.random() * 150),
        range_nm=abs(place),
        bearing_deg=float(np.degrees(np.angle(place * -1j)) * -1 % 360.0),
        ais=ais,
    )


def _clutter(rng: Generator, spec: Picture, index: int) -> Target:
    begin = rng.random() * max(0.1, spec.duration_min - 1)
    place = spec.within_nm * np.sqrt(rng.random())
    return Target(
        name=f"clutter {index + 1}",
        course_deg=float(rng.random() * 360),
        speed_kn=float(rng.random() * 4),
        length_m=5.0,
        range_nm=float(max(0.1, place)),
        bearing_deg=float(rng.random() * 360),
        acquire_min=float(begin),
        drop_min=float(begin + 1 + rng.random()),
        detection=0.5,
        clutter=True,
    )


def long_passage(hours: float, targets: int, seed: int = 24) -> Scenario:
    """Own ship at 12 sentences a second and `targets` vessels that keep her company for as long as it lasts.

    Each gives one TTM each 2.5 s. For benchmarks of replay: a day with twenty of them is 1.7 million sentences.
    """
    rng = default_rng([seed, 12])
    own = OwnShip(course_deg=60.0, speed_kn=8.0, yaw_deg=2.0)
    drift = 1.0 / hours  # the company changes its shape by some miles in the whole time, and stays in range
    company = tuple(
        Target(
            name=f"companion {index + 1}",
            course_deg=60.0 + float(rng.uniform(-1, 1)) * 5 * drift,
            speed_kn=8.0 + float(rng.uniform(-1, 1)) * drift,
            range_nm=float(rng.uniform(1.5, 10.0)),
            bearing_deg=float(rng.random() * 360),
        )
        for index in range(targets)
    )
    return msgspec.structs.replace(
        BASE,
        title=f"{hours:g} hours in company",
        seed=seed,
        duration_min=hours * 60.0,
        truth_interval_s=60.0,
        own_ship=own,
        sensors=Sensors(heading=HeadingSensor(), position=PositionSensor(sentences=("RMC", "VTG"))),
        radar=Radar(
            max_range_nm=24.0, capacity=max(20, targets), rsd_interval_s=60.0, inputs=RadarInputs(speed="ground")
        ),
        targets=company,
    )
