"""Closed-form motion: columns in, values out, and what happens where geometry has nothing to say."""

import math
from collections.abc import Iterator

import numpy as np
import pytest

from alerts.plotting import chance
from alerts.plotting.geometry import bearing_rate, bow_crossing, closest_approach
from alerts.plotting.kinematics import Covariance, Estimate, OwnMotion
from alerts.plotting.motion import Answer, assess, relative_states
from alerts.plotting.terms import BearingTrend, Passing, TrackState
from parsers.observations import MotionReference
from tests.reference.examples import vector

SURE: Covariance = (1e-8, 0.0, 0.0, 0.0, 1e-8, 0.0, 0.0, 1e-6, 0.0, 1e-6)
"""A track known to a fifth of a metre and a thousandth of a knot."""


def own_ship(course_deg: float = 0.0, speed_kn: float = 0.0, heading_deg: float | None = None) -> OwnMotion:
    east, north = vector(course_deg, speed_kn)
    return OwnMotion(
        at_s=0.0,
        east_nm=3.0,
        north_nm=-2.0,
        east_kn=east,
        north_kn=north,
        velocity_sd_kn=0.0,
        frame=MotionReference.GROUND,
        heading_deg=course_deg if heading_deg is None else heading_deg,
        heading_sd_deg=0.5,
    )


def target(
    range_nm: float,
    bearing_deg: float,
    course_deg: float,
    speed_kn: float,
    covariance: Covariance = SURE,
    settled: bool = True,
) -> Estimate:
    """A target as seen from `own_ship`, whose place in the plane is (3, -2)."""
    east, north = vector(bearing_deg, range_nm)
    east_kn, north_kn = vector(course_deg, speed_kn)
    return Estimate(
        at_s=0.0,
        east_nm=3.0 + east,
        north_nm=north - 2.0,
        east_kn=east_kn,
        north_kn=north_kn,
        covariance=covariance,
        state=TrackState.STEADY,
        settled=settled,
        observations=60,
    )


def answer(estimate: Estimate, own: OwnMotion, limit_nm: float = 0.5) -> Answer:
    return assess([estimate], [own], limit_nm).rows()[0]


def test_answers_of_one_plain_encounter() -> None:
    """4 NM fine on the starboard bow, both steering into the same water: worked by hand.

    Own 000 at 10 kn; target bears 045, 4 NM, steers 270 at 12 kn. v = (-12, -10), r = (2.8284, 2.8284).
    """
    got = answer(target(4.0, 45.0, 270.0, 12.0), own_ship(0.0, 10.0))

    assert got.range_nm == pytest.approx(4.0)
    assert got.bearing_deg == pytest.approx(45.0)
    assert got.relative_bearing_deg == pytest.approx(45.0)
    assert got.course_deg == pytest.approx(270.0)
    assert got.speed_kn == pytest.approx(12.0)
    assert got.tcpa_min == pytest.approx(60 * 2.82842712 * 22 / 244)
    assert got.cpa_nm == pytest.approx(2.82842712 * 2 / math.sqrt(244))
    assert got.bow_crossing_nm == pytest.approx(2.82842712 * (1 - 10 / 12))
    assert got.bow_crossing_min == pytest.approx(60 * 2.82842712 / 12)
    assert got.passing is Passing.AHEAD
    assert got.bearing_trend is BearingTrend.DRAWING_AHEAD
    assert got.bearing_rate_deg_min == pytest.approx(-math.degrees(2.82842712 * 2 / 16) / 60)


def test_no_relative_motion() -> None:
    """Same course and speed as ours: CPA is the range now, there is no TCPA and no crossing; nothing is divided."""
    got = answer(target(2.0, 300.0, 80.0, 9.0), own_ship(80.0, 9.0))

    assert got.cpa_nm == pytest.approx(2.0)
    assert got.tcpa_min is None
    assert got.tcpa_sd_min is None
    assert got.bow_crossing_nm is None
    assert got.bearing_rate_deg_min == pytest.approx(0.0)
    assert got.bearing_trend is BearingTrend.STEADY
    assert got.passing is Passing.UNSETTLED
    assert got.inside_probability == pytest.approx(0.0)
    assert got.cpa_low_nm == pytest.approx(2.0, abs=0.01)
    assert got.cpa_high_nm == pytest.approx(2.0, abs=0.01)


def test_at_the_closest_point() -> None:
    """A target abeam crossing square: TCPA is zero and CPA is the range (IMO scenario 2 has this form)."""
    got = answer(target(1.0, 0.0, 90.0, 10.0), own_ship())

    assert got.tcpa_min == pytest.approx(0.0, abs=1e-9)
    assert got.cpa_nm == pytest.approx(1.0)
    assert got.cpa_bearing_deg == pytest.approx(0.0, abs=1e-6)


def test_past_the_closest_point() -> None:
    """An opening target keeps its CPA as the range at that point, with a negative TCPA."""
    got = answer(target(5.0, 90.0, 90.0, 10.0), own_ship(0.0, 10.0))

    assert got.tcpa_min == pytest.approx(-15.0)
    assert got.cpa_nm == pytest.approx(5.0 / math.sqrt(2))
    assert got.passing is Passing.OPENING
    assert got.bow_crossing_nm is None
    assert got.inside_probability == pytest.approx(0.0)


def test_alongside() -> None:
    """A target on top of own ship has no bearing and no bearing rate; its CPA is zero, now."""
    got = answer(target(0.0, 0.0, 90.0, 5.0), own_ship())

    assert got.range_nm == 0.0
    assert got.bearing_deg is None
    assert got.bearing_rate_deg_min is None
    assert got.bearing_trend is BearingTrend.UNSETTLED
    assert got.cpa_nm == 0.0
    assert got.inside_probability == pytest.approx(1.0)


def test_a_meeting_on_parallel_lines_never_crosses_the_bow() -> None:
    """Reciprocal courses, half a mile apart: no crossing; the target draws aft and passes astern of our bow line."""
    got = answer(target(4.0, 7.0, 180.0, 10.0), own_ship(0.0, 10.0))

    assert got.bow_crossing_nm is None
    assert got.bearing_trend is BearingTrend.DRAWING_AFT
    assert got.passing is Passing.ASTERN
    assert got.cpa_nm == pytest.approx(4.0 * math.sin(math.radians(7.0)))


def test_without_a_heading_there_is_no_bow() -> None:
    """No heading: no relative bearing and no bow crossing. Own course tells ahead from astern as long as we move."""
    own = own_ship(0.0, 10.0)
    blind = OwnMotion(**{name: getattr(own, name) for name in own.__struct_fields__} | {"heading_deg": None})
    got = answer(target(4.0, 45.0, 270.0, 12.0), blind)

    assert got.relative_bearing_deg is None
    assert got.bow_crossing_nm is None
    assert got.passing is Passing.AHEAD


def test_in_an_unknown_frame_only_relative_motion_is_told() -> None:
    own = own_ship()
    adrift = OwnMotion(
        **{name: getattr(own, name) for name in own.__struct_fields__} | {"frame": MotionReference.UNKNOWN}
    )
    got = answer(target(4.0, 45.0, 225.0, 12.0), adrift)

    assert got.course_deg is None
    assert got.speed_kn is None
    assert got.tcpa_min == pytest.approx(20.0)


def test_an_unsettled_track_shows_no_motion() -> None:
    """Range and bearing are measurements and stay; all that rests on the velocity is unknown, in words too."""
    got = answer(target(4.0, 45.0, 225.0, 12.0, settled=False), own_ship(0.0, 10.0))
    shown = {name for name in got.__struct_fields__ if getattr(got, name) is not None}

    assert shown == {"range_nm", "bearing_deg", "relative_bearing_deg", "bearing_trend", "passing"}
    assert got.bearing_trend is BearingTrend.UNSETTLED
    assert got.passing is Passing.UNSETTLED


def test_an_uncertain_zero_miss_is_not_called_ahead_or_astern() -> None:
    """Steady bearing with doubt on both sides: low limit zero, and a collision course while that is the likelier."""
    doubtful: Covariance = (1e-4, 0.0, 0.0, 0.0, 1e-4, 0.0, 0.0, 0.04, 0.0, 0.04)
    got = answer(target(4.0, 45.0, 225.0, 12.0, doubtful), own_ship())

    assert got.cpa_low_nm == 0.0
    assert got.cpa_high_nm == pytest.approx(1.96 * 4.0 * 0.2 / 12.0, rel=0.05)
    assert got.bearing_trend is BearingTrend.STEADY
    assert got.passing is Passing.COLLISION_COURSE


def test_a_wild_track_is_neither_steady_nor_drawing() -> None:
    wild: Covariance = (1e-3, 0.0, 0.0, 0.0, 1e-3, 0.0, 0.0, 25.0, 0.0, 25.0)
    got = answer(target(4.0, 45.0, 225.0, 12.0, wild), own_ship())

    assert got.bearing_trend is BearingTrend.UNSETTLED
    assert got.passing is Passing.UNSETTLED
    assert got.inside_probability is not None
    assert 0.05 < got.inside_probability < 0.5


def random_encounters(count: int) -> tuple[list[Estimate], list[OwnMotion]]:
    rng = np.random.default_rng(20)
    estimates, owns = [], []
    for row in rng.uniform(size=(count, 9)):
        sd_nm, sd_kn = 0.005 + 0.05 * row[6], 0.05 + 3.0 * row[7] ** 3
        cross = 0.8 * sd_nm * sd_kn
        covariance = (sd_nm**2, 0.0, cross, 0.0, sd_nm**2, 0.0, cross, sd_kn**2, 0.0, sd_kn**2)
        estimates.append(target(12 * row[0] ** 2, 360 * row[1], 360 * row[2], 25 * row[3], covariance, row[8] > 0.05))
        owns.append(own_ship(360 * row[4], 20 * row[5]))
    return estimates, owns


def test_a_row_does_not_depend_on_its_company() -> None:
    """Alone, in a crowd of 500, or in any part of it: the same bits."""
    estimates, owns = random_encounters(500)
    together = assess(estimates, owns, 0.5).rows()

    for first, last in [(0, 1), (1, 2), (3, 10), (17, 49), (100, 133), (250, 500), (499, 500)]:
        assert assess(estimates[first:last], owns[first:last], 0.5).rows() == together[first:last]


def test_a_large_crowd_is_worked_in_parts(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where it is parted makes no difference to anybody."""
    estimates, owns = random_encounters(200)
    together = assess(estimates, owns, 0.5).rows()
    monkeypatch.setattr(chance, "_BLOCK", 64)

    assert assess(estimates, owns, 0.5).rows() == together


def test_some_rows_of_many_are_columns_like_any_others() -> None:
    """Contiguous, in the order asked for: what is summed over them is summed in the same order, to the same bits."""
    estimates, owns = random_encounters(64)
    states = relative_states(estimates, owns)
    rows = np.arange(63, -1, -1)
    some = states.take(rows)

    assert some.mean.flags.c_contiguous and some.covariance.flags.c_contiguous
    assert (some.mean == states.mean[:, ::-1]).all() and (some.covariance == states.covariance[:, :, ::-1]).all()
    together = chance.inside_probability(states, 0.5)
    assert (chance.inside_probability(some, 0.5) == together[::-1]).all()


def test_no_targets() -> None:
    assert assess([], [], 0.5).rows() == []


def test_low_and_high_hold_the_answer() -> None:
    """The 95 % limits lie on either side of the CPA, whatever the geometry, and nothing settled is NaN by accident."""
    estimates, owns = random_encounters(500)
    for estimate, row in zip(estimates, assess(estimates, owns, 0.5).rows(), strict=True):
        if not estimate.settled:
            continue
        assert row.cpa_low_nm is not None and row.cpa_nm is not None and row.cpa_high_nm is not None
        assert 0.0 <= row.cpa_low_nm <= row.cpa_nm <= row.cpa_high_nm
        assert row.inside_probability is not None
        assert 0.0 <= row.inside_probability <= 1.0


def test_the_signed_miss_has_the_sign_of_the_drift() -> None:
    """Clockwise is positive in both: due north, going east, a target passes with a positive miss."""
    east = closest_approach(np.array([0.0]), np.array([2.0]), np.array([10.0]), np.array([-1.0]))
    west = closest_approach(np.array([0.0]), np.array([2.0]), np.array([-10.0]), np.array([-1.0]))

    assert east.miss_nm[0] == pytest.approx(east.cpa_nm[0])
    assert west.miss_nm[0] == pytest.approx(-west.cpa_nm[0])
    assert bearing_rate(*(np.array([one]) for one in (0.0, 2.0, 10.0, -1.0)))[0] > 0


def test_the_drift_agrees_with_the_side_it_crosses() -> None:
    """Where the relative track will cut the heading line ahead, the bearing draws ahead. 10,000 random encounters."""
    rng = np.random.default_rng(7)
    e, n = rng.uniform(-8, 8, (2, 10_000))
    ve, vn = rng.uniform(-25, 25, (2, 10_000))
    heading = rng.uniform(0, 360, 10_000)
    crossing = bow_crossing(e, n, ve, vn, heading)
    relative = np.degrees(np.arctan2(e, n)) - heading
    starboard = np.sin(np.radians(relative)) > 0
    clockwise = bearing_rate(e, n, ve, vn) > 0
    cuts = ~np.isnan(crossing.bow_crossing_nm)

    assert 2_000 < cuts.sum() < 5_000
    assert np.all(starboard[cuts] != clockwise[cuts])


@pytest.fixture(scope="module", name="stepped")
def fixture_stepped() -> Iterator[tuple[np.ndarray, ...]]:
    """10,000 random encounters, and where each target is every 6 s for two hours, by stepping alone."""
    rng = np.random.default_rng(11)
    e, n = rng.uniform(-12, 12, (2, 10_000))
    ve, vn = rng.uniform(-30, 30, (2, 10_000))
    yield e, n, ve, vn


def test_closest_approach_by_time_stepping(stepped: tuple[np.ndarray, ...]) -> None:
    """CPA and TCPA agree with the least range of a walk in steps of 6 s, two hours back and forth."""
    e, n, ve, vn = stepped
    best, when = np.full(e.shape, np.inf), np.zeros(e.shape)
    for hours in np.arange(-1200, 1201) * (6 / 3600):
        range_nm = np.hypot(e + ve * hours, n + vn * hours)
        closer = range_nm < best
        best, when = np.where(closer, range_nm, best), np.where(closer, hours, when)
    got = closest_approach(e, n, ve, vn)
    within = np.abs(got.tcpa_min) < 119
    half_step_nm = got.relative_speed_kn * 3 / 3600

    assert within.mean() > 0.95
    assert np.all(np.abs(got.tcpa_min - when * 60)[within] <= 0.05 + 1e-9)
    assert np.all((best >= got.cpa_nm - 1e-9)[within])
    assert np.all((best <= np.hypot(got.cpa_nm, half_step_nm) + 1e-9)[within])


def test_bow_crossing_by_time_stepping(stepped: tuple[np.ndarray, ...]) -> None:
    """The first step at which the target changes from one side of the heading line to the other, ahead."""
    e, n, ve, vn = (part[:2_000] for part in stepped)
    heading = np.linspace(0, 359, e.size)
    sine, cosine = np.sin(np.radians(heading)), np.cos(np.radians(heading))
    crossed = np.full(e.shape, np.nan)
    before = e * cosine - n * sine
    for hours in np.arange(1, 601) * (6 / 3600):
        x, y = e + ve * hours, n + vn * hours
        athwart, ahead = x * cosine - y * sine, x * sine + y * cosine
        crosses = (athwart * before < 0) & (ahead > 0.1) & np.isnan(crossed)
        crossed = np.where(crosses, hours * 60, crossed)
        before = athwart
    got = bow_crossing(e, n, ve, vn, heading)
    seen = ~np.isnan(crossed)
    soon = (got.bow_crossing_min < 59.9) & (got.bow_crossing_nm > 0.2)

    assert seen.sum() > 300
    assert np.all(np.abs(got.bow_crossing_min - crossed)[seen] <= 0.1)
    assert np.all(seen[soon])


def test_bearing_rate_by_difference(stepped: tuple[np.ndarray, ...]) -> None:
    e, n, ve, vn = stepped
    second = 1 / 3600
    later = np.arctan2(e + ve * second, n + vn * second)
    earlier = np.arctan2(e - ve * second, n - vn * second)
    difference = np.degrees(np.angle(np.exp(1j * (later - earlier)))) * 30
    far = np.hypot(e, n) > 0.5

    assert np.allclose(bearing_rate(e, n, ve, vn)[far], difference[far], atol=0.05)
