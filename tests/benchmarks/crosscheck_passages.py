"""Passages for the cross-check's benchmark: five vessels about us, drawn by a seed, and a fault put into what is sent.

All are made by the exercise generator. What it has no word for (a wrong unit letter, a course counted from the bow) is
done to the sentences themselves, checksum and all.
"""

from collections.abc import Callable, Iterator
from datetime import UTC, datetime

import numpy as np
from msgspec import structs

from daemon.exercise.scenario import (
    HeadingSensor,
    Leg,
    OwnShip,
    Place,
    PositionSensor,
    Radar,
    RadarFault,
    RadarInputs,
    Scenario,
    Sensors,
    SpeedSensor,
    Target,
    TidalStream,
)
from parsers.encode import sentence
from tests.benchmarks.watched import sent

Stream = Iterator[tuple[float, str]]
ONSET_S = 300.0
"""A fault that comes on does so here: all targets have been tracked for nearly five minutes."""


def passage(seed: int, minutes: float, targets: int = 5) -> Scenario:
    """An honest passage: own ship at 8 to 14 kn on a steady course, targets at 1.5 to 6 NM and 3 to 18 kn."""
    rng = np.random.default_rng(seed)
    return Scenario(
        title="Cross-check, invented",
        seed=seed,
        start=datetime(2027, 5, 1, 6, 0, tzinfo=UTC),
        duration_min=minutes,
        place=Place(name="an invented sea", lat_deg=50.0, lon_deg=-1.0),
        own_ship=OwnShip(course_deg=float(rng.uniform(0, 360)), speed_kn=float(rng.uniform(8, 14)), yaw_deg=2.0),
        sensors=Sensors(heading=HeadingSensor(rate_hz=2.0), position=PositionSensor(), speed=SpeedSensor()),
        radar=Radar(),
        targets=tuple(
            Target(
                name=f"Vessel {i + 1}",
                course_deg=float(rng.uniform(0, 360)),
                speed_kn=float(rng.uniform(3, 18)),
                range_nm=float(rng.uniform(1.5, 6)),
                bearing_deg=float(rng.uniform(0, 360)),
            )
            for i in range(targets)
        ),
    )


def numbered(scenario: Scenario) -> Scenario:
    """The same with numbers in the order of the vessels, not of the sweep."""
    return structs.replace(
        scenario, targets=tuple(structs.replace(target, number=i) for i, target in enumerate(scenario.targets, 1))
    )


def away_from_north(scenario: Scenario) -> Scenario:
    """Own course from 060 to 300."""
    own = scenario.own_ship
    return structs.replace(scenario, own_ship=structs.replace(own, course_deg=60 + own.course_deg * 2 / 3))


def meeting(scenario: Scenario) -> Scenario:
    """The first two vessels cross each other's track at ONSET_S, 0.02 NM apart: one echo for most of a minute."""
    first, second = scenario.targets[:2]
    rng = np.random.default_rng([scenario.seed, 3])
    east, north = rng.uniform(1.5, 4.0) * np.array([np.sin(angle := rng.uniform(0, 2 * np.pi)), np.cos(angle)])
    placed = []
    for target, offset in ((first, 0.0), (second, 0.02)):
        course = np.radians(target.course_deg or 0.0)
        run = target.speed_kn * ONSET_S / 3600
        own_run = scenario.own_ship.speed_kn * ONSET_S / 3600
        own_course = np.radians(scenario.own_ship.course_deg)
        e = east + own_run * np.sin(own_course) - run * np.sin(course) + offset
        n = north + own_run * np.cos(own_course) - run * np.cos(course)
        bearing = float(np.degrees(np.arctan2(e, n)) % 360)
        placed.append(structs.replace(target, range_nm=float(np.hypot(e, n)), bearing_deg=bearing))
    return structs.replace(scenario, targets=(*placed, *scenario.targets[2:]))


def with_radar(scenario: Scenario, **changes: object) -> Scenario:
    assert scenario.radar is not None
    return structs.replace(scenario, radar=structs.replace(scenario.radar, **changes))


def fed(scenario: Scenario, **inputs: object) -> Scenario:
    """The same with the set's inputs changed."""
    return with_radar(scenario, inputs=structs.replace(RadarInputs(), **inputs))


def in_stream(scenario: Scenario, drift_kn: float) -> Scenario:
    """A stream whose direction is drawn; targets keep their motion over the ground."""
    set_deg = float(np.random.default_rng([scenario.seed, 7]).uniform(0, 360))
    return structs.replace(scenario, tidal_stream=TidalStream(set_deg=set_deg, drift_kn=drift_kn))


def own_alters(scenario: Scenario, at_min: float, by_deg: float) -> Scenario:
    own = scenario.own_ship
    leg = Leg(at_min=at_min, course_deg=(own.course_deg + by_deg) % 360)
    return structs.replace(scenario, own_ship=structs.replace(own, legs=(*own.legs, leg)))


def target_alters(scenario: Scenario, at_min: float, by_deg: float) -> Scenario:
    first = scenario.targets[0]
    assert first.course_deg is not None
    leg = Leg(at_min=at_min, course_deg=(first.course_deg + by_deg) % 360)
    return structs.replace(scenario, targets=(structs.replace(first, legs=(leg,)), *scenario.targets[1:]))


def faulty(scenario: Scenario, kind: str, count: int, number: int | None = None) -> Scenario:
    """One of the generator's own faults of the set, from ONSET_S on, for the first `count` targets (0: all)."""
    names = tuple(target.name for target in scenario.targets[:count])
    fault = RadarFault(kind="repeat", from_min=ONSET_S / 60, targets=names, number=number)
    return with_radar(scenario, faults=(structs.replace(fault, kind=kind),))


# ------------------------------------------------------------------------------------------------- streams


def step(before: Scenario, after: Scenario) -> Stream:
    """The one until ONSET_S, then the other: with one seed all but the set's answers is the same in both."""
    for at_s, text in sent(before):
        if at_s >= ONSET_S:
            break
        yield at_s, text
    yield from ((at_s, text) for at_s, text in sent(after) if at_s >= ONSET_S)


def without(stream: Stream, formatter: str) -> Stream:
    return ((at_s, text) for at_s, text in stream if text[3:6] != formatter)


def respelt(stream: Stream, respell: Callable[[list[str], float], None], from_s: float = ONSET_S) -> Stream:
    """Every TTM from a moment on with its fields changed. `respell` is given them, and the last heading sent."""
    heading_deg = 0.0
    for at_s, text in stream:
        fields = text[1:].split("*")[0].split(",")
        if fields[0][2:] == "HDT" and fields[1]:
            heading_deg = float(fields[1])
        if fields[0][2:] == "TTM" and at_s >= from_s:
            respell(fields, heading_deg)
            yield at_s, sentence(",".join(fields))
        else:
            yield at_s, text


def kilometres_called(letter: str) -> Callable[[list[str], float], None]:
    def respell(fields: list[str], heading_deg: float) -> None:
        fields[10] = letter

    return respell


def speed_in_km_h(fields: list[str], heading_deg: float) -> None:
    if fields[5]:
        fields[5] = f"{float(fields[5]) * 1.852:.1f}"


def course_from_bow(fields: list[str], heading_deg: float) -> None:
    """Relative, but the letter still says true."""
    if fields[6]:
        fields[6] = f"{(float(fields[6]) - heading_deg) % 360:.1f}"


def true_called_relative(fields: list[str], heading_deg: float) -> None:
    fields[7] = "R"


def motion_of_the_next(held: dict[str, tuple[str, str]]) -> Callable[[list[str], float], None]:
    """Target 01 is given the course and speed that the set last sent for 02."""

    def respell(fields: list[str], heading_deg: float) -> None:
        held[fields[1]] = fields[5], fields[6]
        if fields[1] == "01" and "02" in held:
            fields[5], fields[6] = held["02"]

    return respell
