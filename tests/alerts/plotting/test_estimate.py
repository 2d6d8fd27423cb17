"""A track, look by look: it settles, follows, tells repeats from measurements, and says when it does not know."""

import math

import pytest

from alerts.plotting.estimate import Track
from alerts.plotting.kinematics import Estimate, Look, OwnMotion
from alerts.plotting.noise import NoiseModel
from alerts.plotting.terms import TrackState
from parsers.observations import MotionReference


def own_at(at_s: float, course_deg: float = 0.0, speed_kn: float = 10.0) -> OwnMotion:
    """Own ship on a straight course from the origin."""
    angle = math.radians(course_deg)
    east_kn, north_kn = speed_kn * math.sin(angle), speed_kn * math.cos(angle)
    return OwnMotion(
        at_s=at_s,
        east_nm=east_kn * at_s / 3600,
        north_nm=north_kn * at_s / 3600,
        east_kn=east_kn,
        north_kn=north_kn,
        velocity_sd_kn=0.1,
        frame=MotionReference.GROUND,
        heading_deg=course_deg,
        heading_sd_deg=0.5,
    )


def exact_look(at_s: float, east_nm: float, north_nm: float, own: OwnMotion) -> Look:
    """A look without any error at a target at that place."""
    east, north = east_nm - own.east_nm, north_nm - own.north_nm
    bearing = math.degrees(math.atan2(east, north)) % 360
    return Look(at_s=at_s, range_nm=math.hypot(east, north), bearing_deg=bearing, own=own)


def follow(track: Track, times_s: list[float], east_kn: float = -6.0, north_kn: float = -8.0) -> list[Estimate]:
    """Exact looks at a target that starts 4 NM east and 3 NM north of the origin."""
    estimates = []
    for at_s in times_s:
        look = exact_look(at_s, 4 + east_kn * at_s / 3600, 3 + north_kn * at_s / 3600, own_at(at_s))
        estimates.append(track.observe(look))
    return estimates


def every(interval_s: float, last_s: float) -> list[float]:
    return [interval_s * k for k in range(int(last_s / interval_s) + 1)]


def test_a_track_begins_unsettled() -> None:
    """One look gives a place and no velocity worth showing."""
    first = follow(Track(NoiseModel()), [0.0])[0]

    assert first.state is TrackState.SETTLING
    assert not first.settled
    assert first.observations == 1
    assert first.east_nm == pytest.approx(4.0, abs=0.001)
    assert first.north_nm == pytest.approx(3.0, abs=0.001)


def test_a_steady_target_settles_and_stays_steady() -> None:
    """By three minutes the velocity is known and the state says steady; it is never manoeuvring on exact looks."""
    estimates = follow(Track(NoiseModel()), every(3.0, 600.0))
    settled = next(estimate.at_s for estimate in estimates if estimate.settled)

    assert 20.0 <= settled <= 180.0
    assert all(estimate.settled for estimate in estimates if estimate.at_s > settled)
    assert {estimate.state for estimate in estimates} == {TrackState.SETTLING, TrackState.STEADY}
    assert estimates[-1].east_kn == pytest.approx(-6.0, abs=0.05)
    assert estimates[-1].north_kn == pytest.approx(-8.0, abs=0.05)


def test_a_prediction_goes_on_in_a_straight_line_and_grows_less_sure() -> None:
    track = Track(NoiseModel())
    last = follow(track, every(3.0, 300.0))[-1]
    later = track.predict(312.0)

    assert later.east_nm == pytest.approx(last.east_nm + last.east_kn * 12 / 3600)
    assert later.covariance[0] > last.covariance[0]
    assert later.observations == last.observations


def test_a_silent_track_coasts_and_is_lost() -> None:
    """No look for several intervals: coasting; for a minute and a half: lost, and nothing of it is for showing."""
    track = Track(NoiseModel())
    follow(track, every(3.0, 300.0))

    assert track.predict(306.0).state is TrackState.STEADY
    assert track.predict(330.0).state is TrackState.COASTING
    assert track.predict(400.0).state is TrackState.LOST
    assert not track.predict(400.0).settled


def test_a_repeated_reading_is_not_counted() -> None:
    """The same range and bearing under a new time, of a target that should have moved: an old measurement."""
    track = Track(NoiseModel())
    follow(track, every(3.0, 120.0))
    east, north = 4 - 6.0 * 123 / 3600, 3 - 8.0 * 123 / 3600
    fresh = exact_look(123.0, east, north, own_at(123.0))
    again = Look(at_s=124.0, range_nm=fresh.range_nm, bearing_deg=fresh.bearing_deg, own=own_at(124.0))
    before, after = track.observe(fresh), track.observe(again)

    assert after.repeats == before.repeats + 1
    assert after.observations == before.observations
    assert after.last_change_s == 123.0
    assert after.east_kn == before.east_kn


def test_a_track_without_a_look_has_no_estimate() -> None:
    with pytest.raises(ValueError, match="without a look"):
        Track(NoiseModel()).predict(1.0)


def test_results_do_not_depend_on_when_it_is_asked() -> None:
    """Predictions in between leave no trace: the same looks give the same estimates."""
    plain, asked = Track(NoiseModel()), Track(NoiseModel())
    first = follow(plain, every(3.0, 90.0))
    second = []
    for at_s in every(3.0, 90.0):
        second += follow(asked, [at_s])
        asked.predict(at_s + 1.3)

    assert first == second
