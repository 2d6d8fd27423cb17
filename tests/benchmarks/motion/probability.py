"""Whether what is said to be likely happens as often as that."""

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from daemon.exercise.encounters import draw
from tests.benchmarks.motion.figure import (
    Figure,
    first_settled,
    shared_noise,
)
from tests.benchmarks.motion.runs import (
    LIMIT_NM,
    WHITE,
    Sampled,
    Truth,
    follow,
    sample,
    with_radar,
)


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
        parts.append(sample(followed, lambda one: int(rng.integers(first_settled(one), len(one.looks)))))
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
