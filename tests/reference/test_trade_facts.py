"""Facts of the trade that any plot must hold to. Each: common practice, no source."""

import math

import numpy as np
import pytest

from alerts.plotting.estimate import Track
from alerts.plotting.geometry import bearing_rate, bow_crossing, closest_approach, drift_toward_stern, wrap_degrees
from alerts.plotting.kinematics import Estimate, Look, OwnMotion
from alerts.plotting.motion import Answer, assess
from alerts.plotting.noise import NoiseModel
from alerts.plotting.terms import BearingTrend, Passing
from parsers.observations import MotionReference


def own_ship(at_s: float, speed_kn: float) -> OwnMotion:
    """Own ship heading north from the origin."""
    return OwnMotion(
        at_s=at_s,
        east_nm=0.0,
        north_nm=speed_kn * at_s / 3600,
        east_kn=0.0,
        north_kn=speed_kn,
        velocity_sd_kn=0.0,
        frame=MotionReference.GROUND,
        heading_deg=0.0,
        heading_sd_deg=0.2,
    )


def plot(first: tuple[float, float], velocity: tuple[float, float], own_speed_kn: float) -> tuple[Estimate, Answer]:
    """Four minutes of exact looks, one in 3 s, at a target with a place (NM) and a ground velocity (kn)."""
    track = Track(NoiseModel())
    for at_s in range(0, 241, 3):
        own = own_ship(at_s, own_speed_kn)
        east = first[0] + velocity[0] * at_s / 3600 - own.east_nm
        north = first[1] + velocity[1] * at_s / 3600 - own.north_nm
        bearing = math.degrees(math.atan2(east, north)) % 360
        estimate = track.observe(Look(at_s=at_s, range_nm=math.hypot(east, north), bearing_deg=bearing, own=own))
    return estimate, assess([estimate], [own], 0.5).rows()[0]


def test_stopped_own_ship_sees_true_motion() -> None:
    """With own ship stopped the relative motion of a target is its true motion: 10 knots toward us closes at 10."""
    estimate, answer = plot((0.0, 6.0), (0.0, -10.0), own_speed_kn=0.0)

    assert answer.course_deg == pytest.approx(180.0, abs=0.5)
    assert answer.speed_kn == pytest.approx(10.0, abs=0.05)
    assert answer.tcpa_min == pytest.approx(answer.range_nm / 10 * 60, rel=0.01)
    assert estimate.north_kn == pytest.approx(-10.0, abs=0.05)


def test_a_fixed_bearing_with_falling_range_is_a_collision_course() -> None:
    """An echo that comes down a fixed bearing line while its range falls."""
    _, answer = plot((4.0, 4.0), (-8.0, 0.0), own_speed_kn=8.0)

    assert answer.bearing_trend is BearingTrend.STEADY
    assert answer.passing is Passing.COLLISION_COURSE
    assert answer.cpa_low_nm == 0.0


def test_an_echo_that_draws_ahead_of_the_line_passes_ahead() -> None:
    """It will pass ahead of us, we astern of it."""
    _, answer = plot((4.0, 4.0), (-12.0, 0.0), own_speed_kn=8.0)

    assert answer.bearing_trend is BearingTrend.DRAWING_AHEAD
    assert answer.passing is Passing.AHEAD
    assert answer.bow_crossing_nm is not None
    assert answer.bow_crossing_nm > 0.5


def test_an_echo_that_draws_aft_passes_astern() -> None:
    """It will pass astern of us, we ahead of it: it never crosses our bow."""
    _, answer = plot((4.0, 4.0), (-5.0, 0.0), own_speed_kn=8.0)

    assert answer.bearing_trend is BearingTrend.DRAWING_AFT
    assert answer.passing is Passing.ASTERN
    assert answer.bow_crossing_nm is None


@pytest.mark.parametrize("side", [1.0, -1.0])
def test_ahead_and_aft_on_either_side(side: float) -> None:
    """Drawing ahead is toward the bow: counter-clockwise to starboard, clockwise to port."""
    e, n, ve, vn = (np.array([part]) for part in (side * 3.0, 2.0, side * -9.0, 0.0))
    rate = bearing_rate(e, n, ve, vn)
    relative = np.degrees(np.arctan2(e, n))

    assert rate[0] * side < 0
    assert drift_toward_stern(rate, relative)[0] < 0
    assert bow_crossing(e, n, ve, vn, np.array([0.0])).bow_crossing_nm[0] == pytest.approx(2.0)


@pytest.mark.parametrize(("scale_nm", "rings", "apart_nm"), [(1.5, 3, 0.5), (0.5, 2, 0.25)])
def test_range_rings_divide_the_scale_evenly(scale_nm: float, rings: int, apart_nm: float) -> None:
    """1.5 NM with three rings: 0.5 NM apart; 0.5 NM with two: 0.25 NM. An echo that crosses from ring to ring in six
    minutes closes at ten times the distance in knots (the six-minute rule)."""
    spacing = scale_nm / rings
    closing = closest_approach(*(np.array([part]) for part in (0.0, scale_nm - spacing, 0.0, -spacing * 10)))

    assert spacing == pytest.approx(apart_nm)
    assert closing.relative_speed_kn[0] == pytest.approx(apart_nm * 10)
    assert closing.tcpa_min[0] == pytest.approx(6 * (rings - 1))


def test_a_bearing_to_port_is_subtracted_from_the_heading() -> None:
    """A relative bearing to port of the heading line is the heading minus that angle in true terms."""
    assert wrap_degrees(np.array([20.0 - 61.0]))[0] == pytest.approx(319.0)
    assert wrap_degrees(np.array([200.0 - 61.0]))[0] == pytest.approx(139.0)


def test_a_few_scans_are_worth_nothing() -> None:
    """A new picture needs some scans before its numbers are worth anything: after three, no motion is shown."""
    track = Track(NoiseModel())
    for at_s in (0, 3, 6):
        own = own_ship(at_s, 8.0)
        estimate = track.observe(Look(at_s=at_s, range_nm=4.0 - at_s / 900, bearing_deg=45.0 + at_s / 100, own=own))
    answer = assess([estimate], [own], 0.5).rows()[0]

    assert not estimate.settled
    assert answer.cpa_nm is None
    assert answer.bearing_trend is BearingTrend.UNSETTLED


def test_the_size_of_an_echo_is_not_asked() -> None:
    """The size of an echo is no measure of the vessel: nothing that the plot takes or gives has a size."""
    names = {*Look.__struct_fields__, *Estimate.__struct_fields__, *Answer.__struct_fields__}

    assert not [name for name in names if "size" in name or "strength" in name or "length" in name]
