"""What motion costs. Times of one process on this machine, the best of several: state the machine beside them."""

from collections.abc import Callable, Iterator
from time import perf_counter

import numpy as np

from alerts.plotting.chance import Relative, inside_probability, spread
from alerts.plotting.estimate import Track
from alerts.plotting.geometry import bearing_rate, bow_crossing, closest_approach
from alerts.plotting.kinematics import Estimate, Look
from alerts.plotting.motion import assess
from alerts.plotting.noise import NoiseModel
from daemon.exercise.encounters import draw
from tests.benchmarks.motion.figure import Figure
from tests.benchmarks.motion.runs import WHITE, follow, with_radar

REPEATS = 9


def best_s(work: Callable[[], object]) -> float:
    """Shortest wall time of several runs."""
    times = []
    for _ in range(REPEATS):
        begin = perf_counter()
        work()
        times.append(perf_counter() - begin)
    return min(times)


def speed(runs: int, seed: int = 111) -> Iterator[Figure]:
    """Closed-form motion and the probability for `runs` targets at once; a look; a row of `assess`."""
    state, heading = _states(runs, seed)
    e, n, ve, vn = state.mean

    def motion() -> None:
        closest_approach(e, n, ve, vn)
        bearing_rate(e, n, ve, vn)
        bow_crossing(e, n, ve, vn, heading)

    def with_probability() -> None:
        motion()
        inside_probability(state, 0.5)
        spread(state)

    yield _timed(f"motion of {runs:,} targets at once", best_s(motion) * 1e3, "ms", 2.0, runs, seed)
    yield _timed("the same with limits and probability", best_s(with_probability) * 1e3, "ms", 20.0, runs, seed)
    followed = list(follow(draw(seed, 30, base=with_radar(duration_min=10.0, errors=WHITE)), seed))
    looks = [one.looks for one in followed]
    count = sum(map(len, looks))
    yield _timed("one look taken in by a track", best_s(lambda: _track(looks)) / count * 1e6, "us", None, count, seed)
    pairs = [(estimate, look) for one in followed for estimate, look in zip(one.estimates, one.looks, strict=True)][
        :300
    ]
    each = best_s(lambda: _assess(pairs)) / len(pairs) * 1e6
    yield _timed("one row of assess, 300 at a time, with its Answer", each, "us", None, len(pairs), seed)


def _states(count: int, seed: int) -> tuple[Relative, np.ndarray]:
    rng = np.random.default_rng(seed)
    place, velocity = rng.uniform(-10, 10, (2, count)), rng.uniform(-25, 25, (2, count))
    sd_kn = rng.uniform(0.1, 1.0, count)
    covariance = np.zeros((4, 4, count))
    for axis in (0, 1):
        covariance[axis, axis] = 0.02**2
        covariance[axis + 2, axis + 2] = sd_kn**2
        covariance[axis, axis + 2] = covariance[axis + 2, axis] = 0.8 * 0.02 * sd_kn
    return Relative(np.concatenate([place, velocity]), covariance), rng.uniform(0, 360, count)


def _track(looks: list[list[Look]]) -> None:
    noise = NoiseModel()
    for one in looks:
        track = Track(noise)
        for look in one:
            track.observe(look)


def _assess(pairs: list[tuple[Estimate, Look]]) -> None:
    assess([estimate for estimate, _ in pairs], [look.own for _, look in pairs], 0.5).rows()


def _timed(name: str, value: float, unit: str, must: float | None, runs: int, seed: int) -> Figure:
    bound = "" if must is None else f"{must:g} {unit}"
    return Figure(name, f"{value:.2f} {unit}", bound, "", None if must is None else value <= must, None, runs, seed)
