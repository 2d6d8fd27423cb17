"""What a feed's looks are worth, learnt from residuals of known size."""

import copy

import numpy as np
import pytest

from alerts.plotting.estimate import Track
from alerts.plotting.noise import BEARING_SD_RAD, RANGE_SD_NM, Delay, Hanging, Level, NoiseModel, Share, Sums
from daemon.exercise.encounters import draw
from daemon.exercise.scenario import HeadingSensor, RadarErrors, Scenario
from parsers.observations import NM_M
from tests.benchmarks.motion.figure import heading_in_bearing, yawing
from tests.benchmarks.motion.runs import WHITE, follow, with_radar


def feed_after(seed: int, encounters: int, base: Scenario) -> NoiseModel:
    """The noise model of a feed that has shown so many steady targets."""
    model = NoiseModel()
    for _ in follow(draw(seed, encounters, base=base), seed, lambda: model):
        pass
    return model


@pytest.mark.parametrize(("range_m", "bearing_deg"), [(15.0, 0.25), (25.0, 0.5), (60.0, 1.2)])
def test_white_noise_is_learnt(range_m: float, bearing_deg: float) -> None:
    """After fifteen tracks the sds in force are those of the set, range and bearing apart, to a fifth."""
    errors = RadarErrors(range_noise_m=range_m, bearing_noise_deg=bearing_deg)
    model = feed_after(1, 15, with_radar(duration_min=8.0, errors=errors))
    range_sd_nm, bearing_sd_deg = Share(model).sds(6.0)

    assert range_sd_nm * NM_M == pytest.approx(range_m, rel=0.2)
    assert bearing_sd_deg == pytest.approx(bearing_deg, rel=0.2)
    assert model.range_hanging.factor < 1.5
    assert model.bearing_hanging.factor < 1.5


def test_smoothed_reports_are_seen_to_hang_together() -> None:
    """A set that smooths seems better than it is: the variance that the filter works with stays near the set's own."""
    model = feed_after(2, 15, with_radar(duration_min=8.0, errors=WHITE, reports="smoothed", alpha=0.35, beta=0.1))
    found = Share(model).variances(6.0, 0.0)
    own = (np.radians(0.5) * 6.0) ** 2

    assert found.athwart < 0.5 * own
    assert model.bearing_hanging.floor > 1.0
    assert found.athwart_used == pytest.approx(own, rel=0.4)


@pytest.mark.parametrize("delay_s", [0.0, 0.5, 1.0])
def test_a_late_heading_is_found(delay_s: float) -> None:
    """Relative bearings made true with a heading that is late, own ship yawing: the delay to a tenth of a second."""
    base = yawing(with_radar(duration_min=6.0, errors=WHITE, bearing="relative"), 6.0, delay_s)
    assert base.sensors.heading == HeadingSensor(delay_s=delay_s)
    model = NoiseModel()
    for _ in follow(draw(3, 6, base=base), 3, lambda: model, prepare=heading_in_bearing):
        pass

    assert model.heading_delay.seconds == pytest.approx(delay_s, abs=0.1)


def test_nothing_is_learnt_from_a_straight_course() -> None:
    """Without turning there is no delay to see, and none is made up."""
    delay = Delay()
    rng = np.random.default_rng(4)
    for error in rng.normal(size=500) * 0.01:
        delay.learn(float(error), 1e-4, 0.0)

    assert delay.seconds == 0.0


def test_a_level_forgets() -> None:
    """A running mean with a memory of 50 has forgotten its beginning after some hundreds of looks."""
    level = Level(10.0, 20.0, 50.0)
    for _ in range(400):
        level.learn(2.0, 1.0)

    assert level.mean == pytest.approx(2.0, abs=0.01)
    assert level.weight == 50.0


def test_a_new_feed_is_believed_no_better_than_the_standard() -> None:
    """Until enough looks have been seen, small residuals may be smoothing: the starting variance is the least."""
    hanging = Hanging()

    assert hanging.widened(0.1, 1.0) == pytest.approx(1.0)
    assert hanging.widened(4.0, 1.0) == pytest.approx(4.0)


def test_a_known_honest_feed_is_believed() -> None:
    """Independent residuals, many of them: what they say stands."""
    hanging, rng = Hanging(), np.random.default_rng(5)
    for _ in range(40):
        sums = Sums()
        residuals = rng.normal(size=8)
        sums.squares, sums.looks, sums.slow = float(np.sum(residuals**2)), 8.0, 8.0
        sums.products = float(np.sum(residuals[1:] * residuals[:-1]))
        hanging.learn(sums)

    assert hanging.floor == 0.0
    assert hanging.widened(0.1, 1.0) < 0.13


def test_outliers_count_little() -> None:
    """One look in twenty thrown off by fifteen sds widens the errors by less than half."""
    plain, spoilt = Share(NoiseModel()), Share(NoiseModel())
    rng = np.random.default_rng(6)
    for k in range(400):
        along, athwart = (float(part) for part in rng.normal(size=2))
        wild = 15.0 if k % 20 == 0 else along
        plain.learn(4.0, along / np.sqrt(plain.factors[0]), 1.0, athwart, 1.0, True)
        spoilt.learn(4.0, wild / np.sqrt(spoilt.factors[0]), 1.0, athwart, 1.0, True)

    assert spoilt.sds(4.0)[0] < 1.5 * plain.sds(4.0)[0]


def test_tracks_of_one_feed_share_what_is_learnt() -> None:
    """A second track starts from what the first has taught the feed; another feed does not."""
    model = feed_after(
        7, 6, with_radar(duration_min=8.0, errors=RadarErrors(range_noise_m=80.0, bearing_noise_deg=1.5))
    )

    assert Share(model).sds(4.0)[0] > 2 * Share(NoiseModel()).sds(4.0)[0]
    assert Share(NoiseModel()).sds(100.0) == pytest.approx((RANGE_SD_NM, np.degrees(BEARING_SD_RAD)), rel=0.05)


def test_a_copied_track_keeps_its_feed() -> None:
    """A copy that is given its feed's model to share goes on as the original does."""
    base = with_radar(duration_min=3.0, errors=WHITE)
    (one,) = follow(draw(8, 1, base=base), 8)
    model = NoiseModel()
    track = Track(model)
    for look in one.looks[:-1]:
        track.observe(look)
    copied = copy.deepcopy(track, {id(model): model})

    assert copied.noise is model
    assert copied.predict(one.looks[-1].at_s) == track.predict(one.looks[-1].at_s)


def test_glint_is_told_from_an_error_of_angle() -> None:
    """A fine bearing and 25 m of wander, targets at all ranges: the metres count close by, the angle far off.

    Both to a third: what lies between tells of both.
    """
    model = NoiseModel()
    rng = np.random.default_rng(9)
    for range_nm in rng.permutation(np.linspace(0.4, 10.0, 60)):
        share = Share(model)
        for _ in range(80):
            wander = np.hypot(25.0 / NM_M, np.radians(0.1) * range_nm) * rng.normal()
            found = share.variances(range_nm, 0.0)
            along = RANGE_SD_NM * rng.normal() / np.sqrt(found.along)
            share.learn(range_nm, along, 1.0, wander / np.sqrt(found.athwart), 1.0, True)
    close, far = Share(model).sds(0.7)[1], Share(model).sds(8.0)[1]

    assert np.radians(close) * 0.7 * NM_M == pytest.approx(25.0, rel=0.33)
    assert far == pytest.approx(np.degrees(np.hypot(25.0 / NM_M / 8.0, np.radians(0.1))), rel=0.33)
