"""Which setting: the Pareto front between warning time and nuisance, one setting for a wish, and whether two differ."""

import re
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
from msgspec import Struct

from daemon.bench.figures import LOW_QUANTILE, Bootstrap, Figures, limits_of
from daemon.errors import UserError

_MINUTES = re.compile(r"^\s*(\d+(?:\.\d+)?)\s*(s|min|h)?\s*$")
_RATE = re.compile(r"^\s*(\d+(?:\.\d+)?)\s*(?:/\s*(min|h|day))?\s*$")


class Wish(Struct, frozen=True):
    """What a setting must give: warning in minutes for nine close passes in ten, nuisance alerts an hour at most."""

    warning_min: float | None = None
    nuisance_per_h: float | None = None


class Choice(Struct, frozen=True):
    """The setting that is recommended, or why there is none. `nearest` comes closest to the wish."""

    setting: int | None
    why: str
    nearest: int | None = None


class Difference(Struct, frozen=True):
    """The second setting less the first, with 95 % limits from the same draws."""

    figure: str
    unit: str
    difference: float
    low: float
    high: float

    @property
    def is_more_than_chance(self) -> bool:
        return self.low > 0.0 or self.high < 0.0


def minutes(text: str, option: str) -> float:
    """`10min`, `90s`, `0.5h`; a bare number is minutes."""
    found = _MINUTES.match(text)
    if not found:
        raise UserError(f"{option} {text}: a time, for example 10min or 90s")
    return float(found[1]) * {"s": 1 / 60, "min": 1.0, "h": 60.0}[found[2] or "min"]


def per_hour(text: str, option: str) -> float:
    """`1/h`, `6/day`; a bare number is by the hour."""
    found = _RATE.match(text)
    if not found:
        raise UserError(f"{option} {text}: a rate, for example 1/h or 6/day")
    return float(found[1]) * {"min": 60.0, "h": 1.0, "day": 1 / 24}[found[2] or "h"]


def front(given: Figures) -> npt.NDArray[np.intp]:
    """Settings that no other betters: longer warning (10th percentile) for no more nuisance. By nuisance, rising.

    Of settings with the same two figures the first stands for all. Empty where there is no close pass.
    """
    if not given.close:
        return np.zeros(0, dtype=np.intp)
    order = np.lexsort((np.arange(len(given.nuisance)), -given.warning_low_min, given.nuisance_per_h))
    kept, best = [], -np.inf
    for setting in order:
        if given.warning_low_min[setting] > best:
            kept.append(setting)
            best = given.warning_low_min[setting]
    return np.array(kept, dtype=np.intp)


def choose(given: Figures, wish: Wish) -> Choice:
    """The setting with the least nuisance among those that fulfil the wish; of equals the longest warning."""
    if not given.close:
        return Choice(None, "no setting can be recommended: no close pass in these recordings can be judged")
    if wish.warning_min is None and wish.nuisance_per_h is None:
        return Choice(None, "no wish was stated: --at-least-warning 10min, --at-most-nuisance 1/h")
    warning, nuisance = given.warning_low_min, given.nuisance_per_h
    fits = np.ones(len(warning), dtype=np.bool_)
    if wish.warning_min is not None:
        fits &= warning >= wish.warning_min
    if wish.nuisance_per_h is not None:
        fits &= nuisance <= wish.nuisance_per_h
    if not fits.any():
        return Choice(None, f"no setting does: {_nearest_words(given, wish)}", _nearest(given, wish))
    rows = np.flatnonzero(fits)
    if wish.warning_min is None:  # the wish is for quiet: what is asked for then is the longest warning
        order = np.lexsort((nuisance[rows], given.missed[rows], -warning[rows]))
    else:
        order = np.lexsort((-warning[rows], given.missed[rows], nuisance[rows]))
    return Choice(int(rows[order[0]]), f"{len(rows)} of {len(warning)} settings fulfil the wish")


def _nearest(given: Figures, wish: Wish) -> int:
    """The setting that is short of the wish by the least, each part as a share of what was asked."""
    short = np.zeros(len(given.nuisance))
    if wish.warning_min:
        short += np.maximum(wish.warning_min - given.warning_low_min, 0.0) / wish.warning_min
    if wish.nuisance_per_h is not None:
        short += np.maximum(given.nuisance_per_h - wish.nuisance_per_h, 0.0) / max(wish.nuisance_per_h, 0.1)
    return int(np.argmin(short))


def _nearest_words(given: Figures, wish: Wish) -> str:
    nearest = _nearest(given, wish)
    return (
        f"the nearest gives {given.warning_low_min[nearest]:.1f} min of warning"
        f" for {given.nuisance_per_h[nearest]:.2f} nuisance alerts an hour"
    )


def differences(bootstrap: Bootstrap, given: Figures, first: int, second: int) -> Sequence[Difference]:
    """What the second setting gives more than the first, on the same encounters."""
    told: list[Difference] = []
    for figure, unit, values, drawn in (
        (
            "warning, 10th percentile",
            "min",
            given.warning_low_min,
            [bootstrap.warning_min(one, LOW_QUANTILE) for one in (first, second)],
        ),
        (
            "warning, median",
            "min",
            given.warning_median_min,
            [bootstrap.warning_min(one, 0.5) for one in (first, second)],
        ),
        (
            "nuisance alerts",
            "/h",
            given.nuisance_per_h,
            [bootstrap.nuisance_per_h(one) for one in (first, second)],
        ),
        ("alerts", "/h", given.alerts_per_h, [bootstrap.alerts_per_h(one) for one in (first, second)]),
        (
            "close passes caught",
            "%",
            100.0 * given.caught / (given.close or np.nan),
            [100.0 * bootstrap.caught_share(one) for one in (first, second)],
        ),
    ):
        low, high = limits_of(drawn[1] - drawn[0])
        told.append(Difference(figure, unit, float(values[second] - values[first]), low, high))
    return told
