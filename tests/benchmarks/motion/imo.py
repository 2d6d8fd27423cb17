"""The four scenarios of A.823(19) Appendix 2, with its sensor errors and with white noise, against the tables."""

from collections.abc import Iterator
from typing import NamedTuple

import msgspec
import numpy as np
from numpy.typing import NDArray

from alerts.plotting.geometry import Column, closest_approach
from daemon.exercise.scenario import (
    A823_ERRORS,
    HeadingSensor,
    OwnShip,
    RadarErrors,
    Scenario,
    Sensors,
    SpeedSensor,
)
from parsers.observations import NM_M
from tests.benchmarks.motion.bound import information_of, report_sds
from tests.benchmarks.motion.figure import (
    EXACT_OWN,
    Figure,
    at_time,
    pairs,
)
from tests.benchmarks.motion.runs import (
    Followed,
    Sampled,
    Truth,
    follow,
    placed,
    sample,
    with_radar,
)

SCENARIOS = {
    1: ((0.0, 10.0), (180.0, 10.0), (8.0, 0.0)),
    2: ((0.0, 10.0), (45.0, 14.1421), (1.0, 0.0)),
    3: ((0.0, 5.0), (237.1195, 16.8398), (8.0, 45.0)),
    4: ((0.0, 25.0), (307.5159, 17.8296), (8.0, 45.0)),
}
"""A.823(19) Appendix 2: own course and speed, the target's, and its range and bearing when the answer is taken."""

QUANTITIES = ("rel. course", "rel. speed", "CPA", "TCPA", "true course", "true speed")

A823_1_MIN = {1: (11, 2.8, 1.6), 2: (7, 0.6, None), 3: (14, 2.2, 1.8), 4: (15, 1.5, 2.0)}
A823_3_MIN = {
    1: (3.0, 0.8, 0.5, 1.0, 7.4, 1.2),
    2: (2.3, 0.3, None, None, 2.8, 0.8),
    3: (4.4, 0.9, 0.7, 1.0, 3.3, 1.0),
    4: (4.6, 0.8, 0.7, 1.0, 2.6, 1.2),
}
"""95 % errors allowed, degrees, knots, NM and minutes: A.823(19) 3.8.2 and 3.8.3 (the tighter of the two printings)."""


def msc192(minutes: int, relative_kn: float, true_kn: float) -> tuple[float | None, ...]:
    """The same by MSC.192(79), from memory: one table for all scenarios."""
    if minutes == 1:
        return 11, max(1.5, 0.1 * relative_kn), 1.0, None, None, None
    return 3, max(0.8, 0.01 * relative_kn), 0.3, 0.5, 5, max(0.5, 0.01 * true_kn)


A823_SENSORS = Sensors(
    heading=HeadingSensor(bias_deg=0.5, noise_deg=0.12), speed=SpeedSensor(bias_kn=0.5, noise_kn=0.2 / 3)
)
"""A.823(19) Appendix 3: gyro and log. No satellite receiver: own motion is theirs, through the water."""


IMO_WHITE = RadarErrors(range_noise_m=30.0, bearing_noise_deg=0.2)
"""White noise as wide as the standard's sensor errors are at 8 NM, all taken together."""


def imo_scenario(number: int, minutes: int, white: bool) -> Scenario:
    """A scenario whose target stands at the standard's place after so many minutes of tracking; 200 m long."""
    own, target, place = SCENARIOS[number]
    base = with_radar(duration_min=minutes + 0.2, errors=IMO_WHITE if white else A823_ERRORS, scan_s=3.0)
    ship: OwnShip = msgspec.structs.replace(base.own_ship, roll_deg=0.0 if white else 10.0)
    base = msgspec.structs.replace(base, own_ship=ship, sensors=EXACT_OWN if white else A823_SENSORS)
    return placed(base, own, target, place, minutes * 60.0, length_m=200.0)


class Cell(NamedTuple):
    """One quantity of one scenario: our 95 % error, the least that is possible, and what a standard allows."""

    minutes: int
    white: bool
    scenario: int
    quantity: str
    error: float
    bound: float
    standard: str
    allowed: float


def imo_cells(runs: int, seed: int = 101) -> Iterator[Cell]:
    """All cells of both tables, with sensor errors and with white noise."""
    for minutes, table in ((1, A823_1_MIN), (3, A823_3_MIN)):
        for white in (False, True):
            for number, (own, target, _) in SCENARIOS.items():
                scenario = imo_scenario(number, minutes, white)
                followed = list(follow([scenario] * runs, seed + number))
                got = sample(followed, at_time(minutes * 60.0 - 1.5))
                errors = np.percentile(np.abs(_six_errors(got)), 95, axis=1)
                bounds = imo_bounds(scenario, followed[0], minutes * 60.0 - 1.5, white)
                allowed_by: dict[str, tuple[float | None, ...]] = {
                    "A.823(19)": table[number],
                    "MSC.192(79)": msc192(minutes, _speed_between(own, target), target[1]),
                }
                for standard, allowed in allowed_by.items():
                    for name, error, bound, limit in zip(QUANTITIES, errors, bounds, allowed, strict=False):
                        if limit is not None:
                            yield Cell(minutes, white, number, name, error, bound, standard, limit)


def imo_bounds(scenario: Scenario, one: Followed, at_s: float, white: bool) -> Column:
    """95 % errors of an ideal estimator in the six quantities: Cramér-Rao, with the biases that nobody can see."""
    end = one.index_at(at_s) + 1
    truth, times = Truth(*(column[:end] for column in one.truth)), one.times_s[:end]
    covariance = np.linalg.inv(information_of(truth, times, _look_variances(scenario, truth, white)))
    last = Truth(*(column[-1:] for column in truth))
    state = np.array([last.east_nm, last.north_nm, last.east_kn, last.north_kn])
    draws = np.random.default_rng(1).multivariate_normal(state[:, 0], covariance, 20_000).T
    own = np.array([last.own_east_kn, last.own_north_kn])
    heading, log = (0.0, 0.0) if white else (np.radians(0.5), 0.5)
    said_own = _turned(own * (1 + log / np.hypot(*own)), heading)
    # With own motion by gyro and log, relative motion is seen turned by the gyro's error; own error adds to the true.
    place = _turned(draws[:2], heading)
    relative = _turned(draws[2:] - own, heading)
    return np.asarray(np.percentile(np.abs(six_errors(place, relative + said_own, said_own, last)), 95, axis=1))


def _turned(v: NDArray[np.float64], angle: float) -> NDArray[np.float64]:
    return np.array([v[0] * np.cos(angle) + v[1] * np.sin(angle), v[1] * np.cos(angle) - v[0] * np.sin(angle)])


def _look_variances(scenario: Scenario, truth: Truth, white: bool) -> tuple[Column, Column]:
    """Variances of each look along and athwart, NM squared, all of A.823(19) Appendix 3 but the biases."""
    range_nm = np.hypot(truth.east_nm, truth.north_nm)
    if white:
        along, angle = report_sds(30.0, 0.2)
        return np.full(range_nm.shape, along**2), (angle * range_nm) ** 2
    course = np.radians(scenario.targets[0].course_deg or 0.0) - np.arctan2(truth.east_nm, truth.north_nm)
    glint = (30.0 / NM_M * np.cos(course)) ** 2, (30.0 / NM_M * np.sin(course)) ** 2
    angle = np.radians(np.sqrt(0.05**2 + 0.05**2 / 3 + 0.03**2 + 2 * 0.1**2 / 12 + 0.12**2))
    bow = np.arctan2(truth.east_nm, truth.north_nm) - np.radians(scenario.own_ship.course_deg)
    roll = np.radians(0.22 * np.sin(2 * bow)) / np.sqrt(2)
    along = glint[0] + (20.0 / NM_M) ** 2 + 2 * 0.01**2 / 12
    return along, glint[1] + (angle**2 + roll**2) * range_nm**2


def _six_errors(got: Sampled) -> NDArray[np.float64]:
    estimates = np.array([(e.east_kn, e.north_kn) for e in got.estimates]).T
    place = np.array([(e.east_nm - o.own.east_nm, e.north_nm - o.own.north_nm) for e, o in pairs(got)]).T
    own = np.array([(look.own.east_kn, look.own.north_kn) for look in got.looks]).T
    return six_errors(place, estimates, own, got.truth)


def six_errors(
    place: NDArray[np.float64], velocity: NDArray[np.float64], own: NDArray[np.float64], truth: Truth
) -> NDArray[np.float64]:
    """Errors of the six quantities, (6, N): of a place and ground velocity, own velocity being `own`, all (2, N)."""
    true_own, true = np.array([truth.own_east_kn, truth.own_north_kn]), np.array([truth.east_kn, truth.north_kn])
    relative, true_relative = velocity - own, true - true_own
    found = closest_approach(place[0], place[1], relative[0], relative[1])
    return np.array(
        [
            _apart(_course(relative), _course(true_relative)),
            np.hypot(*relative) - np.hypot(*true_relative),
            found.cpa_nm - np.abs(truth.miss_nm),
            found.tcpa_min - truth.tcpa_min,
            _apart(_course(velocity), _course(true)),
            np.hypot(*velocity) - np.hypot(*true),
        ]
    )


def _course(v: NDArray[np.float64]) -> Column:
    return np.asarray(np.degrees(np.arctan2(v[0], v[1])))


def _apart(a: Column, b: Column) -> Column:
    return np.asarray((a - b + 180.0) % 360.0 - 180.0)


def imo(runs: int, seed: int = 101) -> Iterator[Figure]:
    cells = list(imo_cells(runs, seed))
    for minutes in (1, 3):
        for white in (False, True):
            for standard in ("A.823(19)", "MSC.192(79)"):
                mine = [c for c in cells if (c.minutes, c.white, c.standard) == (minutes, white, standard)]
                yield _imo_figure(mine, runs, seed)


def _imo_figure(cells: list[Cell], runs: int, seed: int) -> Figure:
    """The worst cell over its table; cells that nobody can reach are counted apart, and are not met."""
    worst = max(cells, key=lambda cell: cell.error / cell.allowed)
    beyond = [cell for cell in cells if cell.error > cell.allowed]
    possible = [cell for cell in beyond if cell.bound <= cell.allowed]
    third = sum(cell.error <= cell.allowed / 3 for cell in cells)
    first, white = cells[0], "white noise" if cells[0].white else "A.823 sensor errors"
    return Figure(
        f"four IMO scenarios, {first.minutes} min, {white}, 95 % errors over the table of {first.standard}",
        f"worst {worst.error / worst.allowed:.2f} (scenario {worst.scenario}, {worst.quantity}: {worst.error:.2f} of "
        f"{worst.allowed:g}; the bound is {worst.bound:.2f}); {len(beyond)} of {len(cells)} cells beyond, of these "
        f"{len(possible)} where the bound is inside; {third} cells within a third",
        "1.00",
        "0.33" if first.minutes == 3 else "",
        not beyond,
        worst.error <= worst.allowed / 3 if first.minutes == 3 else None,
        runs * 4,
        seed,
    )


def _speed_between(own: tuple[float, float], target: tuple[float, float]) -> float:
    one, other = (speed * np.exp(1j * np.radians(course)) for course, speed in (own, target))
    return float(abs(other - one))
