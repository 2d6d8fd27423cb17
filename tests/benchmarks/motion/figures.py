"""The figures that the method must reach, each measured on drawn encounters with a fixed seed."""

from collections.abc import Callable, Iterator
from typing import NamedTuple

import msgspec
import numpy as np
from numpy.typing import NDArray

from alerts.plotting.geometry import Column, closest_approach
from alerts.plotting.kinematics import Estimate, Look, OwnMotion
from alerts.plotting.noise import NoiseModel
from daemon.exercise.encounters import BASE, Distribution, draw
from daemon.exercise.scenario import (
    A823_ERRORS,
    HeadingSensor,
    Leg,
    OwnShip,
    PositionSensor,
    RadarErrors,
    Scenario,
    Sensors,
    SpeedSensor,
    TidalStream,
)
from parsers.observations import NM_M
from tests.benchmarks.motion.bound import earliest_s, information_of, miss_bound_nm, report_sds
from tests.benchmarks.motion.runs import (
    LIMIT_NM,
    WHITE,
    Followed,
    Sampled,
    Truth,
    follow,
    placed,
    sample,
    with_radar,
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


Measure = Callable[[int], Iterator[Figure]]

EXACT_OWN = Sensors(
    heading=HeadingSensor(noise_deg=0.0), position=PositionSensor(noise_m=0.0, speed_noise_kn=0.0), speed=SpeedSensor()
)
"""Own motion known exactly: what the Cramér-Rao bound is worked out for."""

WARM = 60
"""Tracks that a feed's noise model has seen before it counts as known."""


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
            for e, look in _pairs(sampled)
        ]
    ).T
    return closest_approach(*relative).miss_nm - sampled.truth.miss_nm


# ------------------------------------------------------------------------------- the standard's four scenarios

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
                got = sample(followed, _at(minutes * 60.0 - 1.5))
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
    place = np.array([(e.east_nm - o.own.east_nm, e.north_nm - o.own.north_nm) for e, o in _pairs(got)]).T
    own = np.array([(look.own.east_kn, look.own.north_kn) for look in got.looks]).T
    return six_errors(place, estimates, own, got.truth)


def _pairs(got: Sampled) -> Iterator[tuple[Estimate, Look]]:
    return zip(got.estimates, got.looks, strict=True)


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


# ---------------------------------------------------------------------------------- against the Cramér-Rao bound


def efficiency(runs: int, seed: int = 202) -> Iterator[Figure]:
    base = msgspec.structs.replace(with_radar(duration_min=3.1, errors=WHITE), sensors=EXACT_OWN)
    for name, noise in (("a feed's first track", NoiseModel), ("a feed that is known", shared_noise())):
        followed = list(follow(draw(seed, runs, base=base), seed, noise))
        got = sample(followed, _at(180.0))
        bounds = np.array([_bound_at(one, 180.0, report_sds(20.0, 0.5)) for one in followed])
        ratio = float(np.sqrt(np.mean((miss_errors_nm(got) / bounds) ** 2)))
        yield Figure(
            f"CPA after 3 min, white noise, r.m.s. over the Cramér-Rao bound ({name})",
            f"{ratio:.3f}",
            "1.3",
            "1.1",
            ratio <= 1.3,
            ratio <= 1.1,
            runs,
            seed,
        )


def _at(at_s: float) -> Callable[[Followed], int]:
    return lambda one: one.index_at(at_s)


def _bound_at(one: Followed, at_s: float, sds: tuple[float, float]) -> float:
    end = one.index_at(at_s) + 1
    return miss_bound_nm(Truth(*(column[:end] for column in one.truth)), one.times_s[:end], sds)


# ---------------------------------------------------------------------------------------------- coverage of limits


def percent(part: int, whole: int) -> float:
    return 100.0 * part / max(whole, 1)


def _coverage(name: str, bounds: tuple[float, float], aims: tuple[float, float], got: Sampled, seed: int) -> Figure:
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


def coverage(runs: int, seed: int = 303) -> Iterator[Figure]:
    base = with_radar(duration_min=10.1, errors=WHITE)
    for name, noise in (("a feed's first track", NoiseModel), ("known feed", shared_noise())):
        followed = list(follow(draw(seed, runs, base=base), seed, noise))
        for label, index in (
            ("just settled", _first_settled),
            ("3 min", _at(180.0)),
            ("6 min", _at(360.0)),
            ("10 min", _at(600.0)),
        ):
            yield _coverage(f"white noise, {name}, {label}", PLAIN, PLAIN_AIM, sample(followed, index), seed)


def _first_settled(one: Followed) -> int:
    return next((k for k, estimate in enumerate(one.estimates) if estimate.settled), len(one.looks) - 1)


def smoothing(runs: int, seed: int = 404) -> Iterator[Figure]:
    gains = ((0.1, 0.0053), (0.35, 0.1), (0.6, 0.26))
    for alpha, beta in gains:
        base = with_radar(duration_min=6.1, errors=WHITE, reports="smoothed", alpha=alpha, beta=beta)
        for name, noise in (("a feed's first track", NoiseModel), ("known feed", shared_noise())):
            followed = list(follow(draw(seed, runs, base=base), seed, noise))
            for minutes in (3, 6):
                label = f"reports smoothed with alpha {alpha:g}, {name}, {minutes} min"
                yield _coverage(label, SMOOTHED, SMOOTHED_AIM, sample(followed, _at(minutes * 60.0)), seed)
    base = with_radar(duration_min=6.1, errors=WHITE, report_interval_s=1.0, scan_s=3.0)
    followed = list(follow(draw(seed, runs, base=base), seed, shared_noise()))
    yield _coverage("each measurement sent three times, 3 min", PLAIN, PLAIN_AIM, sample(followed, _fresh(180.0)), seed)
    repeats = [
        one.estimates[-1].repeats / (one.estimates[-1].observations + one.estimates[-1].repeats) for one in followed
    ]
    yield Figure(
        "repeats recognised, each measurement sent three times",
        f"{100 * float(np.mean(repeats)):.1f} % of reports (66.7 % are)",
        "",
        "",
        None,
        None,
        runs,
        seed,
    )


def _fresh(at_s: float) -> Callable[[Followed], int]:
    """The first look at or after a time that is no repeat of the one before."""

    def index(one: Followed) -> int:
        k = one.index_at(at_s)
        while k < len(one.looks) - 1 and one.estimates[k].repeats > one.estimates[k - 1].repeats:
            k += 1
        return k

    return index


# -------------------------------------------------------------------------------------------- less than the best data


def lesser_data(runs: int, seed: int = 505) -> Iterator[Figure]:
    """Coverage after 3 min (white radar noise) with headings, bearings, scans and references that are not so good."""
    for yaw in (3.0, 8.0):
        for delay in (0.0, 0.5, 1.0):
            base = _yawing(with_radar(duration_min=3.2, errors=WHITE, bearing="relative"), yaw, delay)
            followed = list(follow(draw(seed, runs, base=base), seed, shared_noise(), prepare=_heading_in_bearing))
            yield _told(f"relative bearings, yaw {yaw:g}°, heading {delay:g} s late, 3 min", followed, seed)
    base = _yawing(with_radar(duration_min=3.2, errors=WHITE, bearing="relative"), 3.0, 0.0)
    followed = list(follow(draw(seed, runs, base=base), seed, shared_noise(), prepare=_course_stands_in))
    yield _told("no heading, course over ground stands in, yaw 3°, 3 min", followed, seed)
    water = msgspec.structs.replace(
        with_radar(duration_min=3.2, errors=WHITE),
        tidal_stream=TidalStream(set_deg=70.0, drift_kn=2.5),
        sensors=Sensors(heading=HeadingSensor(), speed=SpeedSensor()),
    )
    yield _told(
        "2.5 kn of stream, own motion through the water, 3 min",
        list(follow(draw(seed, runs, base=water), seed, shared_noise())),
        seed,
    )
    for scan_s, detection, missed in ((1.0, 1.0, ""), (6.0, 1.0, ""), (3.0, 0.5, "nothing"), (3.0, 0.5, "predicted")):
        base = with_radar(
            duration_min=3.3, errors=WHITE, scan_s=scan_s, detection=detection, missed=missed or "predicted"
        )
        label = f"scan {scan_s:g} s" + (f", half the scans missed ({missed} sent)" if missed else "")
        yield _told(f"{label}, 3 min", list(follow(draw(seed, runs, base=base), seed, shared_noise())), seed)


def _told(label: str, followed: list[Followed], seed: int) -> Figure:
    got = sample(followed, _at(180.0))
    told = _coverage(label, (88.0, 100.0), SMOOTHED_AIM, got, seed)
    settled = ~np.isnan(got.said.cpa_nm)
    error = np.abs(miss_errors_nm(got))[settled]
    return told._replace(measured=f"{told.measured}, median error {np.median(error):.2f} NM")


def _yawing(base: Scenario, yaw_deg: float, delay_s: float) -> Scenario:
    ship: OwnShip = msgspec.structs.replace(base.own_ship, yaw_deg=yaw_deg)
    sensors = msgspec.structs.replace(base.sensors, heading=HeadingSensor(delay_s=delay_s))
    return msgspec.structs.replace(base, own_ship=ship, sensors=sensors)


def _heading_in_bearing(look: Look) -> Look:
    """A look as the picture gives it: a relative bearing made true with a heading carries the heading's own sd."""
    return look if look.bearing_sd_deg == 0.0 else msgspec.structs.replace(look, bearing_sd_deg=0.5)


def _course_stands_in(look: Look) -> Look:
    """A relative bearing made true with the course over ground: the yaw stays in it."""
    own = look.own
    assert own.heading_deg is not None
    course = float(np.degrees(np.arctan2(own.east_kn, own.north_kn)) % 360.0)
    bearing = (look.bearing_deg - own.heading_deg + course) % 360.0
    stands_in: OwnMotion = msgspec.structs.replace(own, heading_deg=course, heading_sd_deg=5.0)
    return msgspec.structs.replace(look, bearing_deg=bearing, own=stands_in, bearing_sd_deg=3.0)


# ------------------------------------------------------------------------------------------------------ manoeuvres


def altering(runs: int, seed: int, turn_deg: float, speed_kn: float, range_nm: float = 4.0) -> list[Followed]:
    """Targets at 12 kn that alter 6 minutes after the track began, then at a range, bearing and course by chance."""
    rng = np.random.default_rng(seed)
    base = with_radar(duration_min=11.0, errors=WHITE)
    scenarios = []
    for own_course, course, bearing, side in rng.uniform(0, 1, (runs, 4)):
        sign = 1.0 if side < 0.5 else -1.0
        leg = Leg(
            at_min=6.0,
            course_deg=float((course * 360.0 + sign * turn_deg) % 360.0) if turn_deg else None,
            speed_kn=12.0 + speed_kn if speed_kn else None,
            turn="starboard" if sign > 0 else "port",
        )
        scenarios.append(
            placed(
                base,
                (own_course * 360.0, 10.0),
                (course * 360.0, 12.0),
                (range_nm, bearing * 360.0),
                360.0,
                legs=(leg,),
            )
        )
    return list(follow(scenarios, seed, shared_noise()))


def flagged_s(one: Followed, began_s: float = 360.0) -> float:
    """Seconds from a manoeuvre's beginning until the track says so; infinite if it never does."""
    said = np.flatnonzero(one.manoeuvring() & (one.times_s > began_s))
    return float(one.times_s[said[0]] - began_s) if said.size else float("inf")


def manoeuvres(runs: int, seed: int = 606) -> Iterator[Figure]:
    cases = [(15.0, 0.0), (30.0, 0.0), (60.0, 0.0), (90.0, 0.0), (0.0, 6.0), (0.0, -6.0)]
    for turn, speed in cases:
        followed = altering(runs, seed, turn, speed)
        name = f"{turn:g}° alteration" if turn else f"change of speed by {speed:+g} kn"
        delays = np.array([flagged_s(one) for one in followed])
        middle, late = np.percentile(delays, [50, 90], method="higher")
        bounded = turn == 30.0
        yield Figure(
            f"{name} of a target at 12 kn, 4 NM: flagged within, in 90 % of runs",
            f"{late:.0f} s (half of them {middle:.0f} s)",
            "60 s" if bounded else "",
            "40 s" if bounded else "",
            bool(late <= 60.0) if bounded else None,
            bool(late <= 40.0) if bounded else None,
            runs,
            seed,
        )
        if bounded:
            yield _earliest(followed, seed)
        yield from _after(followed, name, 360.0 + (turn / 90.0 * 60.0 if turn else abs(speed) / 6.0 * 60.0), seed)


def _earliest(followed: list[Followed], seed: int) -> Figure:
    luck = np.random.default_rng(seed).standard_normal(len(followed))
    times = [
        earliest_s(one.truth, one.times_s, 360.0, report_sds(20.0, 0.5), 4.1, draw_)
        for one, draw_ in zip(followed, luck, strict=True)
    ]
    return Figure(
        "the same, for a detector told the onset and the turn, with as few false alarms (a bound)",
        f"{np.percentile(times, 90):.0f} s (half of them {np.percentile(times, 50):.0f} s)",
        "",
        "",
        None,
        None,
        len(followed),
        seed,
    )


def _after(followed: list[Followed], name: str, ended_s: float, seed: int) -> Iterator[Figure]:
    """Velocity error and coverage one, two and three minutes after the manoeuvre has ended."""
    told = []
    for minutes in (1, 2, 3):
        index = _at(ended_s + 60.0 * minutes)
        error = np.array([one.velocity_error_kn()[index(one)] for one in followed])
        inside, settled = covered(sample(followed, index))
        told.append(f"{minutes} min {np.sqrt(np.mean(error**2)):.2f} kn, {percent(inside, settled):.0f} %")
    yield Figure(
        f"{name}: velocity error (r.m.s.) and coverage after its end",
        "; ".join(told),
        "",
        "",
        None,
        None,
        len(followed),
        seed,
    )


def false_manoeuvres(runs: int, seed: int = 707) -> Iterator[Figure]:
    """Steady targets for an hour each."""
    kinds = {
        "white noise": with_radar(duration_min=60.0, errors=WHITE),
        "white noise twice as wide": with_radar(
            duration_min=60.0, errors=msgspec.structs.replace(WHITE, range_noise_m=40.0, bearing_noise_deg=1.0)
        ),
        "reports smoothed, alpha 0.1": with_radar(duration_min=60.0, errors=WHITE, reports="smoothed"),
        "reports smoothed, alpha 0.35": with_radar(
            duration_min=60.0, errors=WHITE, reports="smoothed", alpha=0.35, beta=0.1
        ),
        "A.823 sensor errors, roll": msgspec.structs.replace(
            with_radar(duration_min=60.0, errors=A823_ERRORS, scan_s=3.0),
            sensors=A823_SENSORS,
            own_ship=msgspec.structs.replace(BASE.own_ship, roll_deg=10.0),
        ),
        "relative bearings, yaw 8°, heading 0.5 s late": _yawing(
            with_radar(duration_min=60.0, errors=WHITE, bearing="relative"), 8.0, 0.5
        ),
        "half the scans missed (predicted sent)": with_radar(duration_min=60.0, errors=WHITE, detection=0.5),
    }
    spec = Distribution(tcpa_min=(20.0, 40.0), start_range_nm=(3.0, 12.0), slowest_relative_kn=4.0)
    for name, base in kinds.items():
        found = hours = 0.0
        for one in follow(draw(seed, runs, spec, base), seed, shared_noise()):
            found += len({e.manoeuvre_at_s for e in one.estimates if e.manoeuvre_at_s is not None})
            hours += (one.times_s[-1] - one.times_s[0]) / 3600.0
        rate = found / hours
        yield Figure(
            f"false manoeuvring, {name}",
            f"{rate:.2f} an hour a target",
            "1",
            "0.1",
            rate <= 1.0,
            rate <= 0.1,
            runs,
            seed,
        )


def own_alteration(runs: int, seed: int = 808) -> Iterator[Figure]:
    """Own ship alters 60 degrees after six minutes: the targets' ground velocity error over that just before."""
    spec = Distribution(own_turns_deg=(60.0,), alteration_min=(6.0, 6.0))
    kinds = {
        "true bearings": with_radar(duration_min=11.0, errors=WHITE),
        "reports smoothed, alpha 0.1": with_radar(duration_min=11.0, errors=WHITE, reports="smoothed"),
        "relative bearings, heading 0.5 s late": _yawing(
            with_radar(duration_min=11.0, errors=WHITE, bearing="relative"), 1.0, 0.5
        ),
    }
    for name, base in kinds.items():
        grid = np.arange(330.0, 630.0, 2.5)
        errors, flagged = [], 0
        for one in follow(draw(seed, runs, spec, base), seed, shared_noise(), prepare=_heading_in_bearing):
            error = one.velocity_error_kn()
            errors.append(error[np.minimum(np.searchsorted(one.times_s, grid), len(error) - 1)])
            flagged += int(one.manoeuvring().any())
        for share in (50, 95):
            error = np.percentile(errors, share, axis=0)
            before = float(np.mean(error[grid < 360.0]))
            ratio = float(np.max(error[grid >= 360.0])) / before
            yield Figure(
                f"own alteration of 60°, {name}: velocity error of {share} % at its greatest over that before",
                f"{ratio:.2f} ({before:.2f} kn before; {flagged} of {runs} targets ever called manoeuvring)",
                "1.5",
                "1.1",
                ratio <= 1.5,
                ratio <= 1.1,
                runs,
                seed,
            )


# ---------------------------------------------------------------------------------- probability of passing inside


class Bin(NamedTuple):
    """Encounters of which the same was foretold: how many, the mean probability, and the share that passed inside."""

    cases: int
    said: float
    came: float


def reliability(runs: int, seed: int = 909) -> tuple[list[Bin], Sampled]:
    """Ten bins of `inside_probability`, a moment between settling and five minutes picked in each of the encounters."""
    base = with_radar(duration_min=5.0, errors=WHITE)
    rng = np.random.default_rng(seed)
    noise = shared_noise()
    parts: list[Sampled] = []
    scenarios = draw(seed, runs, base=base)
    for begin in range(0, runs, 2000):
        followed = list(follow(scenarios[begin : begin + 2000], seed + begin, noise))
        parts.append(sample(followed, lambda one: int(rng.integers(_first_settled(one), len(one.looks)))))
    said = np.concatenate([part.said.inside_probability for part in parts])
    inside = np.concatenate([_passes_inside(part.truth) for part in parts])
    known = ~np.isnan(said)
    which = np.minimum((np.nan_to_num(said) * 10).astype(int), 9)
    bins = []
    for k in range(10):
        mine = known & (which == k)
        count = int(mine.sum())
        bins.append(
            Bin(count, float(said[mine].mean()) if count else np.nan, float(inside[mine].mean()) if count else np.nan)
        )
    return bins, parts[0]


def _passes_inside(truth: Truth) -> NDArray[np.bool_]:
    now = np.hypot(truth.east_nm, truth.north_nm) <= LIMIT_NM
    return now | ((truth.tcpa_min > 0) & (np.abs(truth.miss_nm) <= LIMIT_NM))


def probability(runs: int, seed: int = 909) -> Iterator[Figure]:
    bins, _ = reliability(runs, seed)
    judged = [b for b in bins if b.cases >= 200]
    worst = max(abs(b.said - b.came) for b in judged)
    yield Figure(
        f"inside_probability: worst bin of {len(judged)} with 200 cases or more",
        f"{worst:.3f} from the truth",
        "0.05",
        "",
        worst <= 0.05,
        None,
        runs,
        seed,
    )


ALL: dict[str, tuple[Measure, int]] = {
    "imo": (imo, 1000),
    "efficiency": (efficiency, 2000),
    "coverage": (coverage, 1000),
    "smoothing": (smoothing, 600),
    "lesser-data": (lesser_data, 600),
    "manoeuvres": (manoeuvres, 400),
    "false-manoeuvres": (false_manoeuvres, 60),
    "own-alteration": (own_alteration, 400),
    "probability": (probability, 20_000),
}
"""Figures by name, with the number of runs that the table in docs/method.md is made with."""
