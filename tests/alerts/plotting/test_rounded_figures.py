"""The figures of a plot's event, rounded in columns."""

import numpy as np
from msgspec import structs

from alerts.plotting.kinematics import Estimate, OwnMotion
from alerts.plotting.motion import Assessment, assess
from alerts.plotting.plot_event import DIGITS, rounded
from alerts.plotting.terms import TrackState
from parsers.observations import MotionReference

OWN = OwnMotion(0.0, 0.0, 0.0, 3.0, 4.0, 0.1, MotionReference.GROUND, 30.0, 0.5)
COVARIANCE = (1e-4, 0.0, 0.0, 0.0, 1e-4, 0.0, 0.0, 0.1, 0.0, 0.1)


def with_figures(values: np.ndarray) -> Assessment:
    """An assessment that has these values, one a target, for every figure."""
    estimate = Estimate(0.0, 2.0, 3.0, -5.0, -6.0, COVARIANCE, TrackState.STEADY, True, 9)
    plain = assess([estimate] * len(values), [OWN] * len(values), 0.5)
    return structs.replace(plain, **dict.fromkeys(DIGITS, values))


def test_figures_are_rounded_as_decimal_fractions() -> None:
    """To the bit what `round` makes of each: halves that binary cannot hold, ties, tiny and great values, signs."""
    rng = np.random.default_rng(7)
    halves = (np.arange(-4000, 4000) + 0.5) / np.repeat([10.0, 100.0, 1000.0, 10_000.0], 2000)
    values = np.concatenate([rng.normal(size=2000) * 10.0 ** rng.integers(-6, 7, 2000), halves, -halves, [0.0, -0.0]])
    shown = rounded(with_figures(values))
    for name, digits in DIGITS.items():
        expected = [round(value, digits) + 0.0 for value in values.tolist()]
        if name == "course_deg":
            expected = [value % 360.0 for value in expected]
        found = [getattr(one, name) for one in shown]
        assert found == expected
        assert not any(np.signbit(value) for value in found if value == 0.0)


def test_what_does_not_exist_is_none() -> None:
    """NaN in a column is None in the event."""
    only = rounded(with_figures(np.array([np.nan])))[0]
    assert {getattr(only, name) for name in DIGITS} == {None}


def test_a_course_just_under_360_is_0() -> None:
    """359.97 degrees is 0.0."""
    assert rounded(with_figures(np.array([359.97])))[0].course_deg == 0.0
