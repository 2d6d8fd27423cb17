"""Which setting: the Pareto front between warning time and nuisance, one setting for a wish, and whether two differ."""

import re
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
from msgspec import Struct

from daemon.bench.figures import LOW_QUANTILE, Bootstrap, Figures, limits_of
from daemon.errors import UserError

Floats = npt.NDArray[np.float64]

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


FEWEST_PAIRS = 6
"""Where two settings differ in fewer encounters, all of them may well differ one way by chance: a sign test gives 0.06
for five, 0.03 for six (any text on statistics)."""


class Difference(Struct, frozen=True):
    """The second setting less the first, with 95 % limits from the same draws.

    `differ_in` is the number of encounters, or of passages where those are drawn, in which the two differ.
    """

    figure: str
    unit: str
    difference: float
    low: float
    high: float
    differ_in: int

    @property
    def is_more_than_chance(self) -> bool:
        return self.differ_in >= FEWEST_PAIRS and (self.low > 0.0 or self.high < 0.0)

    def judged(self) -> str:
        """For people."""
        if self.is_more_than_chance:
            return "more than chance"
        if self.low > 0.0 or self.high < 0.0:
            return f"may be chance, the two differ in {self.differ_in} only"
        return "may be chance" if self.differ_in else "no difference"


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
        return Choice(
            None, "none recommended: no wish was stated (for example --at-least-warning 10min --at-most-nuisance 1/h)"
        )
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
    two, pool = [first, second], bootstrap.pool
    warned = np.nan_to_num(pool.warned_min[two], nan=0.0)
    in_close = bootstrap.units((warned[0] != warned[1]) & pool.close)
    in_nuisance = bootstrap.units(pool.nuisance[first] != pool.nuisance[second])
    in_alerts = bootstrap.units(pool.raised[first] != pool.raised[second])
    in_caught = bootstrap.units((np.isnan(pool.warned_min[first]) != np.isnan(pool.warned_min[second])) & pool.close)
    caught = 100.0 * given.caught / (given.close or np.nan)
    low = [bootstrap.warning_min(one, LOW_QUANTILE) for one in two]
    median = [bootstrap.warning_min(one, 0.5) for one in two]
    nuisance, alerts = ([draw(one) for one in two] for draw in (bootstrap.nuisance_per_h, bootstrap.alerts_per_h))
    shares = [100.0 * bootstrap.caught_share(one) for one in two]
    return [
        _difference("warning, 10th percentile", "min", given.warning_low_min[two], low, in_close),
        _difference("warning, median", "min", given.warning_median_min[two], median, in_close),
        _difference("nuisance alerts", "/h", given.nuisance_per_h[two], nuisance, in_nuisance),
        _difference("alerts", "/h", given.alerts_per_h[two], alerts, in_alerts),
        _difference("close passes caught", "%", caught[two], shares, in_caught),
    ]


def _difference(figure: str, unit: str, values: Floats, drawn: Sequence[Floats], differ_in: int) -> Difference:
    low, high = limits_of(drawn[1] - drawn[0])
    return Difference(figure, unit, float(values[1] - values[0]), low, high, differ_in)
