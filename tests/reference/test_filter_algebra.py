"""The filter's written-out algebra against scipy and numpy, and a linear case against exact batch least squares."""

import math

import numpy as np
import pytest
from msgspec import structs
from scipy.linalg import expm, solve
from scipy.stats import chi2, multivariate_normal, norm

from alerts.plotting.chance import Relative, binormal_cdf, inside_probability, normal_cdf, spread
from alerts.plotting.filter import Fix, State, change_since, first_state, predict, update, velocity_sd

UPPER = np.triu_indices(4)


def matrix(state: State) -> np.ndarray:
    full = np.zeros((4, 4))
    full[UPPER] = state.covariance
    return full + full.T - np.diag(np.diag(full))


def mean_of(state: State) -> np.ndarray:
    return np.array([state.e, state.n, state.ve, state.vn])


def random_state(rng: np.random.Generator) -> State:
    root = rng.normal(size=(4, 4)) * np.array([[0.05], [0.05], [2.0], [2.0]])
    mean = rng.normal(size=4) * [5, 5, 10, 10]
    e, n, ve, vn = mean.tolist()
    p = (root @ root.T)[UPPER].tolist()
    return State(100.0, e, n, ve, vn, (p[0], p[1], p[2], p[3], p[4], p[5], p[6], p[7], p[8], p[9]))


def random_fix(rng: np.random.Generator, at_s: float) -> Fix:
    bearing = rng.uniform(0, 2 * np.pi)
    e, n = rng.normal(size=2) * 5
    along, athwart = rng.uniform(1e-4, 1e-2, 2)
    return Fix(at_s, float(e), float(n), math.sin(bearing), math.cos(bearing), float(along), float(athwart))


def test_prediction_is_the_matrix_exponential() -> None:
    """x' = F x with white acceleration: F and Q by Van Loan's block matrix (1978), evaluated by scipy's expm."""
    rng = np.random.default_rng(1)
    for _ in range(20):
        state, wander, dt_s = random_state(rng), float(rng.uniform(0.01, 1e4)), float(rng.uniform(0.5, 60))
        hours = dt_s / 3600
        flow = np.zeros((4, 4))
        flow[0, 2] = flow[1, 3] = 1.0
        noise = np.diag([0.0, 0.0, wander, wander])
        block = expm(np.block([[-flow, noise], [np.zeros((4, 4)), flow.T]]) * hours)
        transition = block[4:, 4:].T
        added = transition @ block[:4, 4:]
        got = predict(state, 100.0 + dt_s, wander)

        assert np.allclose(mean_of(got), transition @ mean_of(state))
        assert np.allclose(matrix(got), transition @ matrix(state) @ transition.T + added, rtol=1e-9)


def test_update_is_the_kalman_update() -> None:
    """Two scalar updates along and athwart equal the textbook's matrix form, solved by scipy."""
    rng = np.random.default_rng(2)
    for _ in range(20):
        state = random_state(rng)
        fix = random_fix(rng, 100.0)
        turn = np.array([[fix.sine, fix.cosine], [fix.cosine, -fix.sine]])
        noise = turn.T @ np.diag([fix.along, fix.athwart]) @ turn
        seen = np.hstack([np.eye(2), np.zeros((2, 2))])
        prior = matrix(state)
        gain = solve(seen @ prior @ seen.T + noise, seen @ prior, assume_a="pos").T
        mean = mean_of(state)
        mean = mean + gain @ (np.array([fix.e, fix.n]) - mean[:2])
        got, residual = update(state, fix)

        assert np.allclose(mean_of(got), mean, atol=1e-9)
        assert np.allclose(matrix(got), (np.eye(4) - gain @ seen) @ prior, atol=1e-9)
        assert residual.along_variance == pytest.approx((turn @ prior[:2, :2] @ turn.T)[0, 0])


def test_a_steady_target_is_the_least_squares_line() -> None:
    """With no process noise the filter after K looks is the batch least-squares line, the velocity's prior included."""
    rng = np.random.default_rng(3)
    times = np.sort(rng.uniform(0, 240, 60))
    fixes = [random_fix(rng, float(at_s)) for at_s in times]
    state = first_state(fixes[0])
    for fix in fixes[1:]:
        state, _ = update(predict(state, fix.at_s, 0.0), fix)
    rows = [np.array([0, 0, 1 / 30.0, 0]), np.array([0, 0, 0, 1 / 30.0])]
    values = [0.0, 0.0]
    for fix in fixes:
        hours = (fix.at_s - times[-1]) / 3600
        for (a, b), variance in (((fix.sine, fix.cosine), fix.along), ((fix.cosine, -fix.sine), fix.athwart)):
            rows.append(np.array([a, b, a * hours, b * hours]) / np.sqrt(variance))
            values.append(float((a * fix.e + b * fix.n) / np.sqrt(variance)))
    design = np.array(rows)
    line = np.linalg.lstsq(design, np.array(values), rcond=None)[0]

    assert np.allclose(mean_of(state), line, rtol=1e-6, atol=1e-8)
    assert np.allclose(matrix(state), np.linalg.inv(design.T @ design), rtol=1e-6)


def test_the_change_of_velocity_is_chi_square_when_there_is_none() -> None:
    """Of looks that go on as before, one in twenty is over the 95 % point of chi-square, or less.

    (The looks' own scatter divides it where that is wide.) Looks with a change of 8 knots are far over it.
    """
    rng = np.random.default_rng(4)
    quiet, loud = [], []
    for _ in range(400):
        ve, vn = rng.normal(size=2) * 8
        fixes = []
        for k in range(40):
            u = k * 3 / 3600
            fix = random_fix(rng, k * 3.0)
            a, b = rng.normal(size=2) * np.sqrt([fix.along, fix.athwart]) * 0.2
            e = ve * u + a * fix.sine + b * fix.cosine
            n = vn * u + a * fix.cosine - b * fix.sine
            fixes.append(structs.replace(fix, e=e, n=n, along=fix.along * 0.04, athwart=fix.athwart * 0.04))
        state = first_state(fixes[0])
        for fix in fixes[1:28]:
            state, _ = update(predict(state, fix.at_s, 0.0), fix)
        quiet.append(change_since(state, fixes[28:]))
        turned = [structs.replace(fix, e=fix.e + 8 * (fix.at_s - state.at_s) / 3600) for fix in fixes[28:]]
        loud.append(change_since(state, turned))
    limit = chi2.ppf(0.95, 2)

    assert np.mean(np.array(quiet) > limit) < 0.07
    assert np.median(loud) > 3 * limit


def test_the_change_of_velocity_is_generalised_least_squares() -> None:
    """The same by whole matrices: looks along one line of sight, where an error of range and one of bearing are mixed.

    The fitted change, its own covariance with that of the old state at the looks' mean lever, and their scatter.
    """
    rng = np.random.default_rng(8)
    for _ in range(20):
        state, bearing = random_state(rng), float(rng.uniform(0, 2 * np.pi))
        sight = np.array([[np.sin(bearing), np.cos(bearing)], [np.cos(bearing), -np.sin(bearing)]])
        along, athwart = 1e-4, 4e-3
        weight = sight.T @ np.diag([1 / along, 1 / athwart]) @ sight
        hours = np.arange(1, 13) * 5 / 3600
        line = np.array([state.e, state.n]) + np.outer(hours, [state.ve + 3.0, state.vn - 2.0])
        places = line + rng.normal(size=(12, 2)) @ (np.sqrt([[along], [athwart]]) * sight)
        off = places - np.array([state.e, state.n]) - np.outer(hours, [state.ve, state.vn])
        information = weight * np.sum(hours**2)
        change = solve(information, weight @ (hours @ off))
        lever = np.trace(weight * np.sum(hours)) / np.trace(information)
        reach = np.hstack([np.eye(2) * lever, np.eye(2)])
        covariance = np.linalg.inv(information) + reach @ matrix(state) @ reach.T
        left = off - np.outer(hours, change)
        scatter = (np.einsum("ki,ij,kj->", left, weight, left) + 4.0) / (22.0 + 4.0)
        fixes = [
            Fix(state.at_s + hour * 3600, float(e), float(n), float(sight[0, 0]), float(sight[0, 1]), along, athwart)
            for hour, (e, n) in zip(hours, places, strict=True)
        ]

        assert change_since(state, fixes) == pytest.approx(change @ solve(covariance, change) / max(1.0, scatter))


def test_velocity_sd_is_the_greater_axis() -> None:
    rng = np.random.default_rng(5)
    for _ in range(10):
        state = random_state(rng)

        assert velocity_sd(state) == pytest.approx(np.sqrt(np.linalg.eigvalsh(matrix(state)[2:, 2:])[-1]))


def test_normal_distribution() -> None:
    x = np.linspace(-8, 8, 2001)

    assert np.max(np.abs(normal_cdf(x) - norm.cdf(x))) < 1e-7


def test_bivariate_normal_distribution() -> None:
    """At 400 random points, half of them correlated almost fully either way, to a thousandth."""
    rng = np.random.default_rng(6)
    h, k = rng.normal(size=(2, 400)) * 1.5
    k[:100] = -h[:100] + 0.05 * rng.normal(size=100)
    correlation = np.clip(
        np.where(rng.random(400) < 0.5, rng.uniform(-1, 1, 400), np.tanh(4 * rng.normal(size=400))), -0.999999, 0.999999
    )
    expected = [
        multivariate_normal.cdf([a, b], cov=[[1, r], [r, 1]], allow_singular=True)
        for a, b, r in zip(h, k, correlation, strict=True)
    ]

    assert np.max(np.abs(binormal_cdf(h, k, correlation) - expected)) < 1e-3


def drawn_states(count: int, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Relative states as tracks have them: means (count, 4) and covariances (count, 4, 4)."""
    rng = np.random.default_rng(seed)
    means, covariances = [], []
    for _ in range(count):
        range_nm, bearing = rng.uniform(0.3, 10), rng.uniform(0, 2 * np.pi)
        along, across = rng.uniform(0.2, 1, 2)
        sd_nm, sd_kn = rng.uniform(0.005, 0.05), rng.choice([0.1, 0.5, 2.0])
        turn = np.kron(np.eye(2), [[np.cos(bearing), -np.sin(bearing)], [np.sin(bearing), np.cos(bearing)]])
        shape = np.kron([[sd_nm**2, 0.86 * sd_nm * sd_kn], [0.86 * sd_nm * sd_kn, sd_kn**2]], np.diag([along, across]))
        means.append([range_nm * np.sin(bearing), range_nm * np.cos(bearing), *rng.normal(size=2) * 9])
        covariances.append(turn @ shape @ turn.T)
    return np.array(means), np.array(covariances)


def as_relative(means: np.ndarray, covariances: np.ndarray) -> Relative:
    return Relative(np.ascontiguousarray(means.T), np.ascontiguousarray(covariances.transpose(1, 2, 0)))


def test_inside_probability_by_sampling() -> None:
    """Against 20,000 draws of each of 160 random tracks: within 0.02 (the sampling's own error is 0.007, two sds)."""
    means, covariances = drawn_states(160, 7)
    got = inside_probability(as_relative(means, covariances), 0.5)
    rng = np.random.default_rng(8)
    for mean, covariance, probability in zip(means, covariances, got, strict=True):
        e, n, ve, vn = rng.multivariate_normal(mean, covariance, 20_000).T
        speed = np.hypot(ve, vn)
        miss, closing = (n * ve - e * vn) / speed, -(e * ve + n * vn) > 0
        inside = (np.hypot(e, n) <= 0.5) | (closing & (np.abs(miss) <= 0.5))

        assert probability == pytest.approx(np.mean(inside), abs=0.02)


def test_limits_by_sampling() -> None:
    """The 95 % limits of the signed miss leave 2 to 3.5 % of draws on each side.

    That is so where the velocity's direction is known (four sds or more). About the closest point the range bounds the
    miss and one side is empty.
    """
    means, covariances = drawn_states(200, 9)
    got = spread(as_relative(means, covariances))
    rng = np.random.default_rng(10)
    judged = 0
    for k, (mean, covariance) in enumerate(zip(means, covariances, strict=True)):
        e, n, ve, vn = rng.multivariate_normal(mean, covariance, 20_000).T
        miss = (n * ve - e * vn) / np.hypot(ve, vn)
        below, above = np.mean(miss < got.miss_low_nm[k]), np.mean(miss > got.miss_high_nm[k])
        if np.hypot(*mean[2:]) < 4 * np.sqrt(covariance[2:, 2:].trace()):
            continue
        judged += 1

        assert below + above < 0.11
        if abs((mean[1] * mean[2] - mean[0] * mean[3]) / np.hypot(*mean[2:])) < 0.9 * np.hypot(*mean[:2]):
            assert 0.02 < below < 0.035
            assert 0.02 < above < 0.035
            assert got.cpa_sd_nm[k] == pytest.approx(miss.std(), rel=0.1)
    assert judged > 60
