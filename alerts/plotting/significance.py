"""Whether a difference is more than chance: the small tests of the picture's quality, exact or nearly so.

- counts received and missed, before and after: Fisher's exact test, two-sided (R. A. Fisher; common practice);
- events against exposure: the conditional binomial test of two Poisson rates, one-sided (Przyborowski and Wilenski
  1940, from memory);
- variances of several targets, before and after: the weighted log-variance test (Bartlett and Kendall 1946, from
  memory), which for one target is nearly the F-test.

The tests hold these against scipy. Runs of like values carry less than their number: `run_factor` and `scatter_factor`
say by how much, and the callers divide by it.
"""

from collections.abc import Sequence
from math import erfc, exp, lgamma, log, sqrt

from msgspec import Struct

_NEGLIGIBLE = 1e-15
"""A share of a sum that its last binary place does not hold."""


class Variances(Struct, frozen=True):
    """One target's variance before and after, each with its degrees of freedom (need not be whole)."""

    before: float
    before_freedom: float
    after: float
    after_freedom: float


def fisher_exact(before: tuple[int, int], after: tuple[int, int], mid: bool = False) -> float:
    """Two-sided p of (hits, misses) before against after: all tables no more likely than this one.

    `mid`: the mid-p, in which the table itself counts half. It is wrong as often as it says; the full p, which small
    whole numbers make too careful, less often.
    """
    row, column, total = sum(before), before[0] + after[0], sum(before) + sum(after)
    if total == 0 or row in (0, total) or column in (0, total):
        return 1.0
    ways = _log_comb(total, column)
    low, high = max(0, column - (total - row)), min(row, column)

    def weight(hits: int) -> float:
        return _log_comb(row, hits) + _log_comb(total - row, column - hits) - ways

    seen = weight(before[0])
    chances = [weight(hits) for hits in range(low, high + 1)]
    p = min(1.0, sum(exp(one) for one in chances if one <= seen + 1e-7))
    return p - exp(seen) / 2 if mid else p


def rate_rise(events_before: int, exposure_before: float, events_after: int, exposure_after: float) -> float:
    """One-sided p that the rate has risen: the later events as a binomial share of all, given both exposures.

    1.0 where there is no later event or no exposure to compare. The tail is summed in logarithms: a watch of a week
    loses thousands of targets, and their binomial coefficients are no floating-point numbers any more.
    """
    if events_after == 0 or exposure_after <= 0 or exposure_before <= 0:
        return 1.0
    total, exposure = events_before + events_after, exposure_before + exposure_after
    log_after, log_before = log(exposure_after / exposure), log(exposure_before / exposure)
    p = 0.0
    for k in range(events_after, total + 1):
        term = exp(_log_comb(total, k) + k * log_after + (total - k) * log_before)
        p += term
        if k * exposure > total * exposure_after and term < _NEGLIGIBLE * p:  # past the top: only smaller ones follow
            break
    return min(1.0, p)


def variance_change(targets: Sequence[Variances]) -> tuple[float, float]:
    """The ratio of the variances, after over before, common to all targets, and its two-sided p.

    Each log-ratio is freed of the bias of the logarithm of a chi-squared variate and weighted by its variance.
    (1.0, 1.0) where nothing can be compared.
    """
    weighted = weights = 0.0
    for one in targets:
        half_before, half_after = one.before_freedom / 2, one.after_freedom / 2
        if min(half_before, half_after) < 0.5 or min(one.before, one.after) <= 0:
            continue
        bias = (digamma(half_after) - log(half_after)) - (digamma(half_before) - log(half_before))
        weight = 1 / (trigamma(half_before) + trigamma(half_after))
        weighted += weight * (log(one.after / one.before) - bias)
        weights += weight
    if weights == 0:
        return 1.0, 1.0
    mean = weighted / weights
    return exp(mean), erfc(abs(mean) * sqrt(weights) / sqrt(2))


def run_factor(correlation: float) -> float:
    """How many reports in a row carry what one alone would, where hits and misses come in runs; at least 1.

    Variance of a mean of a first-order chain over that of independent values: (1 + rho) / (1 - rho).
    """
    rho = min(max(correlation, 0.0), 0.9)
    return (1 + rho) / (1 - rho)


def scatter_factor(correlation: float) -> float:
    """The same for a variance: (1 + rho^2) / (1 - rho^2)."""
    square = min(correlation * correlation, 0.8)
    return (1 + square) / (1 - square)


def digamma(x: float) -> float:
    """Derivative of log gamma for x > 0: recurrence up to 8, then the asymptotic series (common practice)."""
    shift = 0.0
    while x < 8:
        shift -= 1 / x
        x += 1
    square = 1 / (x * x)
    return shift + log(x) - 0.5 / x - square * (1 / 12 - square * (1 / 120 - square / 252))


def trigamma(x: float) -> float:
    """Second derivative of log gamma for x > 0, in the same way."""
    shift = 0.0
    while x < 8:
        shift += 1 / (x * x)
        x += 1
    square = 1 / (x * x)
    return shift + 1 / x + square / 2 + square / x * (1 / 6 - square * (1 / 30 - square / 42))


def _log_comb(n: int, k: int) -> float:
    return lgamma(n + 1) - lgamma(k + 1) - lgamma(n - k + 1)
