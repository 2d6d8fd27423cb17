"""Figures of every setting over pooled recordings, with confidence limits by the bootstrap.

What is drawn again is whole encounters or whole passages (Efron and Tibshirani, An Introduction to the Bootstrap,
1993, from memory): the alerts of one encounter hang together, and those of different encounters hardly do. The same
draws serve all settings, so that two settings are compared on the same encounters.
"""

from collections.abc import Sequence
from enum import StrEnum

import numpy as np
import numpy.typing as npt
from msgspec import Struct

from daemon.bench.encounters import Encounter, Verdict
from daemon.bench.outcome import Outcome

Floats = npt.NDArray[np.float64]

DRAWS, SEED = 1000, 20
FEWEST_DRAWS, MOST_WEIGHTS = 200, 10_000_000
"""With very many encounters fewer draws do, and stay in memory."""

CONFIDENCE = (0.025, 0.975)
FEWEST_PASSAGES = 8
"""With so many recordings passages are drawn, which hold together what a day's traffic has in common."""

LOW_QUANTILE = 0.1


class DrawnBy(StrEnum):
    ENCOUNTERS = "encounters"
    PASSAGES = "passages"


class Pool(Struct, frozen=True, kw_only=True):
    """Encounters of several recordings together: S settings, E encounters; `passage` (E,) says of which recording."""

    encounters: tuple[Encounter, ...]
    passage: npt.NDArray[np.intp]
    hours: Floats  # (P,)
    warned_min: Floats
    raised: Floats
    nuisance: Floats
    again: Floats
    alarm_s: Floats
    in_alarm_s: Floats  # (P, S); NaN for one condition alone
    elsewhere: Floats  # (P, S)
    close: npt.NDArray[np.bool_]  # (E,)
    clear: npt.NDArray[np.bool_]

    @property
    def settings(self) -> int:
        return int(self.warned_min.shape[0])


class Figures(Struct, frozen=True, kw_only=True):
    """Columns (S,). Warning times in minutes over close passes, a missed one counting as 0. Rates by the hour."""

    close: int
    clear: int
    averted: int
    unjudged: int
    hours: float
    caught: Floats
    late: Floats
    missed: Floats
    warning_median_min: Floats
    warning_low_min: Floats  # the 10th percentile
    warning_worst_min: Floats
    nuisance: Floats
    nuisance_clear_nm: Floats  # by how much they passed clear, median
    nuisance_per_h: Floats
    alerts: Floats
    alerts_per_h: Floats
    again: Floats
    alarm_share: Floats  # of the time, one alert at least is active


def pool(outcomes: Sequence[Outcome], condition: str | None = None) -> Pool:
    """All encounters of these recordings, or those in one condition and the hours for which it was in force."""
    kept = [
        np.array([k for k, e in enumerate(one.encounters) if condition in (None, e.condition)], dtype=np.intp)
        for one in outcomes
    ]
    encounters = tuple(one.encounters[k] for one, rows in zip(outcomes, kept, strict=True) for k in rows)
    settings = outcomes[0].warned_min.shape[0]

    def together(name: str) -> Floats:
        parts = [getattr(one, name)[:, rows] for one, rows in zip(outcomes, kept, strict=True)]
        return np.concatenate([np.zeros((settings, 0)), *parts], axis=1)

    elsewhere = np.array([one.elsewhere for one in outcomes], dtype=np.float64)
    in_alarm_s = np.array([one.in_alarm_s for one in outcomes])
    hours = [sum(one.hours.values()) if condition is None else one.hours.get(condition, 0.0) for one in outcomes]
    return Pool(
        encounters=encounters,
        passage=np.repeat(np.arange(len(outcomes)), [len(rows) for rows in kept]),
        hours=np.array(hours),
        warned_min=together("warned_min"),
        raised=together("raised"),
        nuisance=together("nuisance"),
        again=together("again"),
        alarm_s=together("alarm_s"),
        in_alarm_s=in_alarm_s if condition is None else np.full_like(in_alarm_s, np.nan),
        elsewhere=elsewhere if condition is None else np.zeros_like(elsewhere),
        close=np.array([one.verdict is Verdict.CLOSE for one in encounters], dtype=np.bool_),
        clear=np.array([one.verdict is Verdict.CLEAR for one in encounters], dtype=np.bool_),
    )


def figures(pooled: Pool, late_min: float) -> Figures:
    """The figures themselves. A warning shorter than `late_min` is late."""
    warned = np.nan_to_num(pooled.warned_min[:, pooled.close], nan=0.0)
    is_caught = ~np.isnan(pooled.warned_min[:, pooled.close])
    count = int(pooled.close.sum())
    hours = float(pooled.hours.sum())
    nuisance = pooled.nuisance.sum(axis=1)
    alerts = pooled.raised.sum(axis=1) + pooled.elsewhere.sum(axis=0)
    quantiles = (
        np.quantile(warned, [0.5, LOW_QUANTILE, 0.0], axis=1) if count else np.full((3, pooled.settings), np.nan)
    )
    return Figures(
        close=count,
        clear=int(pooled.clear.sum()),
        averted=sum(one.averted for one in pooled.encounters),
        unjudged=len(pooled.encounters) - count - int(pooled.clear.sum()),
        hours=hours,
        caught=is_caught.sum(axis=1).astype(np.float64),
        late=(is_caught & (warned < late_min)).sum(axis=1).astype(np.float64),
        missed=(~is_caught).sum(axis=1).astype(np.float64),
        warning_median_min=quantiles[0],
        warning_low_min=quantiles[1],
        warning_worst_min=quantiles[2],
        nuisance=nuisance,
        nuisance_clear_nm=_clear_by(pooled),
        nuisance_per_h=_by_hour(nuisance, hours),
        alerts=alerts,
        alerts_per_h=_by_hour(alerts, hours),
        again=pooled.again.sum(axis=1),
        alarm_share=_by_hour(pooled.in_alarm_s.sum(axis=0) / 3600.0, hours),
    )


def _by_hour(count: Floats, hours: float) -> Floats:
    return count / hours if hours > 0.0 else np.full_like(count, np.nan)


def _clear_by(pooled: Pool) -> Floats:
    """By how much those passed beyond what counts as close that were told of for nothing: the median, NM."""
    beyond = np.array([one.cpa_nm - one.close_nm for one in pooled.encounters])
    return np.array([float(np.median(beyond[row > 0])) if (row > 0).any() else np.nan for row in pooled.nuisance])


# -------------------------------------------------------------------------------------------------- bootstrap


class Bootstrap:
    """The same draws for all settings. `weights` (B, E): how often each encounter was drawn; `hours` (B,)."""

    def __init__(self, pooled: Pool, by: DrawnBy | None = None, draws: int = DRAWS, seed: int = SEED) -> None:
        self.pool = pooled
        passages = len(pooled.hours)
        self.by = by or (DrawnBy.PASSAGES if passages >= FEWEST_PASSAGES else DrawnBy.ENCOUNTERS)
        rng = np.random.default_rng(seed)
        count = len(pooled.encounters)
        draws = max(FEWEST_DRAWS, min(draws, MOST_WEIGHTS // max(count, 1)))
        total = float(pooled.hours.sum())
        if self.by is DrawnBy.PASSAGES:
            drawn = rng.multinomial(passages, np.full(passages, 1.0 / passages), size=draws).astype(np.float64)
            self.weights = drawn[:, pooled.passage]
            self.hours = drawn @ pooled.hours
            self._passages = drawn
        else:
            self.weights = (
                rng.multinomial(count, np.full(count, 1.0 / count), size=draws).astype(np.float64)
                if count
                else np.zeros((draws, 0))
            )
            self.hours = np.full(draws, total)
            self._passages = np.ones((draws, passages))
        self._known_hours = np.where(self.hours > 0, self.hours, np.nan)
        self._close = self.weights[:, pooled.close]
        drawn_close = self._close.sum(axis=1)
        self._drawn_close = np.where(drawn_close > 0, drawn_close, np.nan)

    def units(self, chosen: npt.NDArray[np.bool_]) -> int:
        """How many of what is drawn hold these encounters, (E,): encounters, or passages."""
        return len(np.unique(self.pool.passage[chosen])) if self.by is DrawnBy.PASSAGES else int(chosen.sum())

    def nuisance_per_h(self, setting: int) -> Floats:
        """One for each draw, (B,)."""
        return self._by_hour(self.weights @ self.pool.nuisance[setting])

    def alerts_per_h(self, setting: int) -> Floats:
        """Alerts that belong to no encounter go with their passage."""
        elsewhere = self._passages @ self.pool.elsewhere[:, setting]
        return self._by_hour(self.weights @ self.pool.raised[setting] + elsewhere)

    def again_per_h(self, setting: int) -> Floats:
        return self._by_hour(self.weights @ self.pool.again[setting])

    def alarm_share(self, setting: int) -> Floats:
        """Of the time. Where encounters are drawn, alerts are taken to overlap as they do in the whole."""
        if self.by is DrawnBy.PASSAGES:
            return self._by_hour(self._passages @ self.pool.in_alarm_s[:, setting] / 3600.0)
        told_s = self.pool.alarm_s[setting]
        total_s = float(told_s.sum())
        share = self.weights @ told_s / total_s if total_s > 0.0 else np.full(len(self.weights), np.nan)
        return np.minimum(self._by_hour(share * self.pool.in_alarm_s[:, setting].sum() / 3600.0), 1.0)

    def nuisance_clear_nm(self, setting: int) -> Floats:
        """By how much those passed clear that were told of for nothing: the median; NaN where none was drawn."""
        told = np.flatnonzero(self.pool.nuisance[setting] > 0)
        beyond = np.array([self.pool.encounters[k].cpa_nm - self.pool.encounters[k].close_nm for k in told])
        order = np.argsort(beyond, kind="stable")
        return _weighted_quantile(beyond[order], self.weights[:, told[order]], 0.5)

    def caught_share(self, setting: int) -> Floats:
        """Of the close passes that were drawn; NaN where none was."""
        caught = ~np.isnan(self.pool.warned_min[setting, self.pool.close])
        share: Floats = (self._close @ caught.astype(np.float64)) / self._drawn_close
        return share

    def late_share(self, setting: int, late_min: float) -> Floats:
        """The same of those that were caught, but late."""
        late = self.pool.warned_min[setting, self.pool.close] < late_min  # False for NaN: missed
        share: Floats = (self._close @ late.astype(np.float64)) / self._drawn_close
        return share

    def warning_min(self, setting: int, quantile: float) -> Floats:
        """That quantile of the warning times of each draw, a missed pass counting as 0."""
        warned = np.nan_to_num(self.pool.warned_min[setting, self.pool.close], nan=0.0)
        order = np.argsort(warned)
        return _weighted_quantile(warned[order], self._close[:, order], quantile)

    def _by_hour(self, count: Floats) -> Floats:
        rate: Floats = count / self._known_hours
        return rate


def _weighted_quantile(values: Floats, weights: Floats, quantile: float) -> Floats:
    """Of sorted values (E,) drawn so many times (B, E), NaN for none; linear between them, as numpy's quantile."""
    total = weights.sum(axis=1)
    if not len(values):
        return np.full(len(total), np.nan)
    until = np.cumsum(weights, axis=1)
    place = quantile * np.maximum(total - 1, 0)
    low = (until <= np.floor(place)[:, None]).sum(axis=1).clip(max=len(values) - 1)
    high = (until <= np.ceil(place)[:, None]).sum(axis=1).clip(max=len(values) - 1)
    share = place - np.floor(place)
    answer = values[low] + share * (values[high] - values[low])
    return np.where(total > 0, answer, np.nan)


def limits_of(drawn: Floats) -> tuple[float, float]:
    """95 % limits of one figure from its draws; NaN where it has none."""
    known = drawn[~np.isnan(drawn)]
    if not len(known):
        return float("nan"), float("nan")
    low, high = np.quantile(known, CONFIDENCE)
    return float(low), float(high)
