"""The tests of chance, held against scipy."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import special, stats

from alerts.plotting.significance import (
    Variances,
    digamma,
    fisher_exact,
    rate_rise,
    run_factor,
    scatter_factor,
    trigamma,
    variance_change,
)

counts = st.tuples(st.integers(0, 80), st.integers(0, 80))


@settings(max_examples=150, derandomize=True, deadline=None)
@given(counts, counts)
def test_fisher_exact(before: tuple[int, int], after: tuple[int, int]) -> None:
    """The same two-sided p as scipy.stats.fisher_exact."""
    reference = float(stats.fisher_exact([before, after])[1])
    table = stats.hypergeom(sum(before) + sum(after), before[0] + after[0], sum(before)).pmf(before[0])

    assert fisher_exact(before, after) == pytest.approx(reference, abs=1e-9)
    if reference < 1:
        assert fisher_exact(before, after, mid=True) == pytest.approx(reference - table / 2, abs=1e-9)


@settings(max_examples=100, derandomize=True, deadline=None)
@given(st.integers(0, 30), st.floats(0.1, 300), st.integers(1, 12), st.floats(0.1, 10))
def test_rate_rise(before: int, exposure: float, after: int, later: float) -> None:
    """The upper tail of the binomial, as scipy.stats.binomtest has it."""
    reference = stats.binomtest(after, before + after, later / (later + exposure), alternative="greater")

    assert rate_rise(before, exposure, after, later) == pytest.approx(reference.pvalue, abs=1e-9)


@pytest.mark.parametrize("before", [1_000, 1_030, 5_000, 200_000])
@pytest.mark.parametrize("after", [2, 8, 60])
def test_rate_rise_after_a_week(before: int, after: int) -> None:
    """Thousands of losses behind it, whose binomial coefficients are beyond a float: still scipy's tail."""
    reference = stats.binomtest(after, before + after, 600 / (600 + 600_000), alternative="greater")

    assert rate_rise(before, 600_000, after, 600) == pytest.approx(reference.pvalue, rel=1e-6, abs=1e-12)


@pytest.mark.parametrize("x", [0.3, 0.5, 1.0, 2.5, 7.9, 8.0, 60.0])
def test_polygamma(x: float) -> None:
    """digamma and trigamma as scipy.special has them."""
    assert digamma(x) == pytest.approx(float(special.psi(x)), abs=1e-8)
    assert trigamma(x) == pytest.approx(float(special.polygamma(1, x)), rel=1e-7)


@pytest.mark.parametrize(("before", "after"), [(14, 14), (20, 20), (50, 30)])
def test_variance_change_is_nearly_the_f_test(before: int, after: int) -> None:
    """For one target, p within a third of the two-sided F-test's, where that is between 0.5 % and 50 %."""
    for ratio in (1.3, 2.0, 0.5, 3.0, 0.4):
        _, p = variance_change([Variances(1.0, before, ratio, after)])
        tail = stats.f.sf(ratio, after, before)
        exact = 2 * min(tail, 1 - tail)

        if 0.005 < exact < 0.5:
            assert p == pytest.approx(exact, rel=0.33)


def test_variance_change_over_many_targets() -> None:
    """Five targets of unlike scatter: false alarms as often as stated, and a common ratio of 2.25 is found."""
    rng = np.random.default_rng(5)
    sizes = (10.0, 25.0, 40.0, 80.0, 150.0)

    def p_of(ratio: float) -> float:
        return variance_change(
            [
                Variances(size**2 * rng.chisquare(14) / 14, 14, ratio * size**2 * rng.chisquare(14) / 14, 14)
                for size in sizes
            ]
        )[1]

    false = sum(p_of(1.0) < 0.05 for _ in range(2000)) / 2000
    found = sum(p_of(2.25) < 0.05 for _ in range(300)) / 300

    assert 0.035 <= false <= 0.065
    assert found > 0.85


def test_runs_carry_less_than_their_number() -> None:
    """Factors for first-order chains; none below 1, and bounded."""
    assert run_factor(-0.5) == run_factor(0) == scatter_factor(0) == 1
    assert run_factor(0.5) == pytest.approx(3)
    assert scatter_factor(0.5) == pytest.approx(1.25 / 0.75)
    assert run_factor(1.0) == pytest.approx(19)


def test_nothing_to_compare_is_chance() -> None:
    """Empty tables and targets without freedom: p is 1, never an error."""
    assert fisher_exact((0, 0), (3, 4)) == 1.0
    assert rate_rise(0, 0.0, 3, 1.0) == 1.0
    assert variance_change([]) == (1.0, 1.0)
    assert variance_change([Variances(0.0, 5, 1.0, 5)]) == (1.0, 1.0)
