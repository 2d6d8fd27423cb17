"""The manual plot: what the line through a few readings answers, how sure it says it is, and what it warns of."""

from collections.abc import Sequence
from math import atan2, cos, degrees, hypot, radians, sin

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import least_squares
from scipy.stats import chi2

from alerts.plotting.manual import OwnLeg, Reading, plot
from alerts.plotting.sheet import Accuracy, Frame, ManualPlot
from alerts.plotting.terms import BearingTrend, Passing
from alerts.plotting.trackline import fit, misfit_limit

STEP_S = 360.0
OWN_NORTH = (OwnLeg(0, 0, 6),)


def track(
    east: float,
    north: float,
    course: float,
    speed: float,
    own: Sequence[OwnLeg] = (),
    count: int = 3,
    step_s: float = STEP_S,
) -> list[Reading]:
    """Exact readings of a target (NM, degrees, kn) from own ship that starts at the origin."""
    readings = []
    own_east = own_north = 0.0
    for i in range(count):
        at_s = i * step_s
        hours = at_s / 3600
        there = (east + speed * sin(radians(course)) * hours, north + speed * cos(radians(course)) * hours)
        dx, dy = there[0] - own_east, there[1] - own_north
        readings.append(Reading(at_s, hypot(dx, dy), degrees(atan2(dx, dy)) % 360))
        legs = [leg for leg in own if leg.at_s <= at_s]
        if legs:
            own_east += legs[-1].speed_kn * sin(radians(legs[-1].course_deg)) * step_s / 3600
            own_north += legs[-1].speed_kn * cos(radians(legs[-1].course_deg)) * step_s / 3600
    return readings


def noisy(readings: Sequence[Reading], rng: np.random.Generator, accuracy: Accuracy) -> list[Reading]:
    return [
        Reading(
            one.at_s,
            one.range_nm + max(accuracy.range_sd_nm, accuracy.range_sd_share * one.range_nm) * rng.standard_normal(),
            one.bearing_deg + accuracy.bearing_sd_deg * rng.standard_normal(),
        )
        for one in readings
    ]


def course_of(answer: ManualPlot) -> float:
    assert answer.target is not None
    assert answer.target.course is not None
    return answer.target.course.best % 360


@settings(max_examples=60, derandomize=True, deadline=None)
@given(
    st.floats(-8, 8),
    st.floats(1, 8),
    st.floats(0, 359),
    st.floats(1, 25),
    st.floats(0, 359),
    st.floats(0, 25),
    st.integers(2, 5),
)
def test_exact_readings_give_the_target_back(
    east: float, north: float, course: float, speed: float, own_course: float, own_speed: float, count: int
) -> None:
    """Any straight target, two to five exact readings: its course and speed, and a line through every point."""
    own = [OwnLeg(0, own_course, own_speed)]
    readings = track(east, north, course, speed, own, count)
    if min(reading.range_nm for reading in readings) < 0.1:
        return  # over the target: a bearing there says nothing
    answer = plot(readings, own)

    assert answer.target is not None
    assert answer.target.speed.best == pytest.approx(speed, abs=1e-5)
    assert (course_of(answer) - course + 180) % 360 - 180 == pytest.approx(0, abs=1e-4)
    assert max(abs(one.range_residual_nm) for one in answer.residuals) < 1e-7


def test_the_line_is_the_one_of_least_squares() -> None:
    """The same minimum as scipy.optimize.least_squares finds over ranges and bearings by their errors."""
    rng = np.random.default_rng(3)
    readings = noisy(track(-3, 4, 120, 14, count=5), rng, Accuracy())
    hours = np.array([(one.at_s - readings[-1].at_s) / 3600 for one in readings])
    ranges = np.array([one.range_nm for one in readings])
    bearings = np.array([one.bearing_deg for one in readings])
    range_sd, bearing_sd = np.full(5, 0.03), np.full(5, 1.5)

    def residuals(state: np.ndarray) -> np.ndarray:
        east, north = state[0] + state[2] * hours, state[1] + state[3] * hours
        turned = (bearings - np.degrees(np.arctan2(east, north)) + 180) % 360 - 180
        return np.concatenate([(ranges - np.hypot(east, north)) / range_sd, turned / bearing_sd])

    reference = least_squares(residuals, [-2, 3, 5, -5], xtol=1e-15, ftol=1e-15, gtol=1e-15)
    line = fit(hours, ranges, bearings, np.zeros((5, 2)), range_sd, bearing_sd)

    assert line.state == pytest.approx(reference.x, abs=1e-6)
    assert line.chi_squared == pytest.approx(2 * reference.cost, rel=1e-9)
    assert line.covariance == pytest.approx(np.linalg.inv(reference.jac.T @ reference.jac), rel=1e-3, abs=1e-9)


def test_limits_hold_as_often_as_they_say() -> None:
    """Readings with the stated errors: the true CPA and TCPA lie inside the 95 % limits in 92 to 98 % of 200 plots."""
    rng = np.random.default_rng(7)
    exact = track(3, 5, 235, 15, count=5, step_s=180)
    truth = plot(exact).movement
    assert truth.tcpa_min is not None
    inside_cpa = inside_tcpa = 0
    for _ in range(200):
        found = plot(noisy(exact, rng, Accuracy())).movement
        assert found.tcpa_min is not None
        inside_cpa += found.miss.low <= truth.miss.best <= found.miss.high
        inside_tcpa += found.tcpa_min.low <= truth.tcpa_min.best <= found.tcpa_min.high

    assert 0.92 <= inside_cpa / 200 <= 0.98
    assert 0.92 <= inside_tcpa / 200 <= 0.98


@pytest.mark.parametrize("count", [3, 4, 6])
def test_honest_readings_are_seldom_blamed(count: int) -> None:
    """Of a thousand honest plots, at most one in fifty says that a point does not fit (stated: one in a hundred)."""
    rng = np.random.default_rng(11)
    exact = track(-4, 4, 100, 12, count=count, step_s=180)
    hours = np.array([(one.at_s - exact[-1].at_s) / 3600 for one in exact])
    ranges, bearings = np.array([one.range_nm for one in exact]), np.array([one.bearing_deg for one in exact])
    range_sds, bearing_sds, own = 0.01 * ranges, np.ones(count), np.zeros((count, 2))
    blamed = 0
    for _ in range(1000):
        seen = ranges + range_sds * rng.standard_normal(count), bearings + rng.standard_normal(count)
        blamed += bool(np.any(fit(hours, *seen, own, range_sds, bearing_sds).misfit > misfit_limit(0.01 / count)))

    assert blamed <= 20


def test_a_wrong_reading_is_named() -> None:
    """A bearing 10° wrong among five: the warning names the point and the size."""
    readings = track(-4, 4, 100, 12, count=5)
    wrong = Reading(readings[2].at_s, readings[2].range_nm, readings[2].bearing_deg + 10)
    answer = plot([*readings[:2], wrong, *readings[3:]])

    assert answer.residuals[2].fits is False
    assert any("point 3 does not fit the others" in text and "+10.0°" in text for text in answer.warnings)


def test_three_points_off_a_line_blame_no_single_one() -> None:
    """With three readings any two make a line: it cannot be told which of them is wrong."""
    readings = track(-4, 4, 100, 12, count=3)
    bent = [*readings[:2], Reading(readings[2].at_s, readings[2].range_nm + 0.8, readings[2].bearing_deg)]

    assert any(text.startswith("the three points do not lie on a straight line") for text in plot(bent).warnings)


def test_two_points_say_nothing_against_each_other() -> None:
    """The line goes through both whatever they are: no residual is called good, and the plot says so."""
    answer = plot(track(-4, 4, 100, 12, count=2))

    assert [one.fits for one in answer.residuals] == [None, None]
    assert any(text.startswith("two points") for text in answer.warnings)


@pytest.mark.parametrize("step_s", [20.0, 60.0])
def test_too_short_an_interval_is_said(step_s: float) -> None:
    """Two readings at 6 NM 20 or 60 s apart: reference-values 7.1 gives CPA errors of miles."""
    answer = plot(track(0.5, 6, 180, 4, count=2, step_s=step_s))

    assert any("too short to say" in text for text in answer.warnings)
    assert answer.movement.cpa.high > 2


def test_own_alteration_is_not_taken_for_the_targets() -> None:
    """Own ship turns 90° half way: the target's true track stays straight, and no point is blamed."""
    own = [OwnLeg(0, 0, 12), OwnLeg(2 * STEP_S, 90, 12)]
    readings = track(5, 8, 250, 10, own, count=5)

    answer = plot(readings, own)
    assert course_of(answer) == pytest.approx(250, abs=1e-3)
    assert all(one.fits for one in answer.residuals)
    assert any("does not fit" in text for text in plot(readings, own[:1]).warnings)


def test_the_targets_limits_hold_our_own_error() -> None:
    """Own velocity known to 2 kn: the target's speed is known no better, its relative movement is as before."""
    readings = track(2, 6, 250, 12, OWN_NORTH, count=6)
    exact, rough = (plot(readings, OWN_NORTH, Accuracy(own_velocity_sd_kn=sd)) for sd in (0.0, 2.0))

    assert exact.target is not None
    assert rough.target is not None
    assert (rough.target.speed.sd**2 - exact.target.speed.sd**2) ** 0.5 == pytest.approx(2.0, rel=0.05)
    assert rough.movement == exact.movement


def test_a_line_that_is_crossed_astern_is_no_crossing_of_the_bow() -> None:
    """From the starboard quarter going west slower than we go north: she crosses our wake, and no distance ahead."""
    answer = plot(track(2.0, 1.0, 270.0, 4.0, (OwnLeg(0, 0, 12),)), (OwnLeg(0, 0, 12),))

    assert answer.bow_crossing_nm is None
    assert answer.bow_crossing_min is None


def test_a_cpa_that_may_be_anything_is_said_to_be() -> None:
    """Movement plain, its direction too vague for a CPA: the warning gives the limits."""
    answer = plot([Reading(0, 6.0, 40.0), Reading(360, 5.0, 40.0)], accuracy=Accuracy(bearing_sd_deg=3.0))
    (said,) = [text for text in answer.warnings if "too short to say how close" in text]

    assert f"{answer.movement.cpa.low:.2f} to {answer.movement.cpa.high:.2f} NM" in said


def test_a_drift_that_is_not_known_is_not_called_steady() -> None:
    """Two readings a second apart, 1° of error each: unsettled; the same bearing over six minutes is steady."""
    at_once, in_time = ([Reading(0, 4.0, 10.0), Reading(gap_s, 3.9, 10.0)] for gap_s in (1.0, 360.0))

    assert plot(at_once).bearing_trend is BearingTrend.UNSETTLED
    assert plot(in_time).bearing_trend is BearingTrend.STEADY


def test_a_long_list_of_legs_is_reckoned_as_a_short_one() -> None:
    """A line of 2,000 points with own course and speed on each is worked in a moment; every leg counts."""
    north, east = OwnLeg(0, 0, 6), OwnLeg(10_000, 90, 6)
    readings = [Reading(10.0 * i, 5 - 0.001 * i, 40 + 0.005 * i) for i in range(2000)]
    often = [OwnLeg(one.at_s, *((0, 6) if one.at_s < 10_000 else (90, 6))) for one in readings]

    assert plot(readings, often).movement.cpa.best == pytest.approx(plot(readings, [north, east]).movement.cpa.best)


def test_bearings_off_the_bow() -> None:
    """By heading, by course in its stead (and said), or off the bow alone: one CPA, and true directions by heading."""
    own = [OwnLeg(0, 340, 12)]
    true = track(-4, 1, 60, 11, own)
    off_bow = [Reading(one.at_s, one.range_nm, one.bearing_deg - 340, relative=True) for one in true]
    noted = [Reading(one.at_s, one.range_nm, one.bearing_deg, True, 340.0) for one in off_bow]

    with_heading, by_course, alone = plot(noted, own), plot(off_bow, own), plot(off_bow)

    assert with_heading.movement.cpa.best == pytest.approx(plot(true, own).movement.cpa.best)
    assert by_course.movement.cpa.best == pytest.approx(with_heading.movement.cpa.best)
    assert any("own course stands in for the heading" in text for text in by_course.warnings)
    assert not any("own course stands in" in text for text in with_heading.warnings)
    assert alone.frame == Frame.BOW
    assert alone.movement.cpa.best == pytest.approx(with_heading.movement.cpa.best, abs=1e-6)
    assert alone.passing == with_heading.passing
    assert alone.target is None
    assert any("cannot be told from yaw" in text for text in alone.warnings)


def test_heading_differs_from_course() -> None:
    """With leeway the heading turns the bearings and tells ahead from astern; the course only moves own ship."""
    own = [OwnLeg(0, 350, 6)]
    true = track(-3, 3, 90, 8, own)
    noted = [Reading(one.at_s, one.range_nm, one.bearing_deg - 5, True, 5.0) for one in true]

    assert course_of(plot(noted, own)) == pytest.approx(90, abs=1e-6)


@pytest.mark.parametrize(
    ("east", "north", "course", "speed", "passing", "trend"),
    [
        (3, 3, 270, 14, Passing.AHEAD, BearingTrend.DRAWING_AHEAD),
        (3, 3, 270, 6, Passing.ASTERN, BearingTrend.DRAWING_AFT),
        (-3, 3, 90, 14, Passing.AHEAD, BearingTrend.DRAWING_AHEAD),
        (-3, 3, 90, 6, Passing.ASTERN, BearingTrend.DRAWING_AFT),
        (3, 3, 270, 10, Passing.COLLISION_COURSE, BearingTrend.STEADY),
        (3, 3, 90, 14, Passing.OPENING, BearingTrend.DRAWING_AFT),
        (1, 5, 180, 10, Passing.ASTERN, BearingTrend.DRAWING_AFT),  # green to green: down our starboard side
    ],
)
def test_passing_and_drift_agree(
    east: float, north: float, course: float, speed: float, passing: Passing, trend: BearingTrend
) -> None:
    """Own ship north at 10 kn. A bearing that draws ahead passes ahead; geometry by hand, no source."""
    own = [OwnLeg(0, 0, 10)]
    answer = plot(track(east, north, course, speed, own), own, Accuracy(bearing_sd_deg=0.1, range_sd_share=0))

    assert answer.passing == passing
    assert answer.bearing_trend == trend


def test_an_opening_target_has_its_cpa_behind_it() -> None:
    """Range at the closest point, with a negative TCPA."""
    answer = plot(track(0.5, 1, 0, 10, count=3))

    assert answer.passing == Passing.OPENING
    assert answer.movement.cpa.best == pytest.approx(0.5, abs=1e-6)
    assert answer.movement.tcpa_min is not None
    assert answer.movement.tcpa_min.best == pytest.approx(-18, abs=1e-4)  # 1 NM past at 10 kn, and two steps of 6 min


@pytest.mark.parametrize(("east", "course", "crosses"), [(2.0, 270.0, True), (-2.0, 270.0, False), (2.0, 90.0, False)])
def test_a_bow_is_crossed_in_the_future_or_not_at_all(east: float, course: float, crosses: bool) -> None:
    """Own ship north: from starboard going west she will cross; to port going west, or to starboard going east, she
    has."""
    answer = plot(track(east, 4.0, course, 6.0, OWN_NORTH), OWN_NORTH)

    assert (answer.bow_crossing_nm is not None) is crosses
    assert answer.bow_crossing_min is None or answer.bow_crossing_min > 0


def test_no_relative_movement_is_no_division_by_zero() -> None:
    """A vessel in company: no direction of movement, no TCPA; her course and speed are ours."""
    own = [OwnLeg(0, 20, 8)]
    answer = plot(track(1, 1, 20, 8, own), own)

    assert answer.movement.cpa.best == pytest.approx(2**0.5, abs=1e-3)
    assert answer.passing == Passing.UNSETTLED
    assert course_of(answer) == pytest.approx(20, abs=1e-3)


def test_a_stopped_target_has_no_course_and_no_aspect() -> None:
    """A buoy: speed about nothing, course and aspect None."""
    own = [OwnLeg(0, 20, 8)]
    answer = plot(track(1, 4, 0, 0, own), own)

    assert answer.target is not None
    assert answer.target.course is None
    assert answer.target.aspect_deg is None
    assert answer.target.speed.best == pytest.approx(0, abs=1e-6)


@pytest.mark.parametrize(
    ("readings", "why"),
    [
        ([Reading(0, 4, 10)], "two points or more"),
        ([Reading(0, 4, 10), Reading(0, 4, 20)], "the same time"),
        ([Reading(60, 4, 10), Reading(0, 4, 20)], "not in order"),
        ([Reading(0, 4, 10), Reading(60, 4, 20, relative=True)], "mixed"),
    ],
)
def test_what_cannot_make_a_plot_is_refused(readings: list[Reading], why: str) -> None:
    """With the reason, for a person."""
    with pytest.raises(ValueError, match=why):
        plot(readings)


@pytest.mark.parametrize("share", [0.05, 0.01, 0.001])
def test_misfit_limit(share: float) -> None:
    """The exact chi-squared quantile of two degrees of freedom, as scipy has it."""
    assert misfit_limit(share) == pytest.approx(chi2.isf(share, 2))
