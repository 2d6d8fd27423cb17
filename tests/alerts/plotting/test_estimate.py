"""A track, look by look: it settles, follows, tells repeats from measurements, and says when it does not know."""

import math

import numpy as np
import pytest

from alerts.plotting.estimate import Track
from alerts.plotting.kinematics import Estimate, Look, OwnMotion
from alerts.plotting.noise import NoiseModel
from alerts.plotting.terms import TrackState
from daemon.exercise.encounters import Distribution, draw
from parsers.observations import MotionReference
from tests.benchmarks.motion.manoeuvres import flagged_s
from tests.benchmarks.motion.runs import WHITE, Followed, follow, with_radar


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


def exact_looks(track: Track, times_s: list[float], east_kn: float = -6.0, north_kn: float = -8.0) -> list[Estimate]:
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
    first = exact_looks(Track(NoiseModel()), [0.0])[0]

    assert first.state is TrackState.SETTLING
    assert not first.settled
    assert first.observations == 1
    assert first.east_nm == pytest.approx(4.0, abs=0.001)
    assert first.north_nm == pytest.approx(3.0, abs=0.001)


def test_a_steady_target_settles_and_stays_steady() -> None:
    """By three minutes the velocity is known and the state says steady; it is never manoeuvring on exact looks."""
    estimates = exact_looks(Track(NoiseModel()), every(3.0, 600.0))
    settled = next(estimate.at_s for estimate in estimates if estimate.settled)

    assert 20.0 <= settled <= 180.0
    assert all(estimate.settled for estimate in estimates if estimate.at_s > settled)
    assert {estimate.state for estimate in estimates} == {TrackState.SETTLING, TrackState.STEADY}
    assert estimates[-1].east_kn == pytest.approx(-6.0, abs=0.05)
    assert estimates[-1].north_kn == pytest.approx(-8.0, abs=0.05)


def test_a_prediction_goes_on_in_a_straight_line_and_grows_less_sure() -> None:
    track = Track(NoiseModel())
    last = exact_looks(track, every(3.0, 300.0))[-1]
    later = track.predict(312.0)

    assert later.east_nm == pytest.approx(last.east_nm + last.east_kn * 12 / 3600)
    assert later.covariance[0] > last.covariance[0]
    assert later.observations == last.observations


def test_a_silent_track_coasts_and_is_lost() -> None:
    """No look for several intervals: coasting; for a minute and a half: lost, and nothing of it is for showing."""
    track = Track(NoiseModel())
    exact_looks(track, every(3.0, 300.0))

    assert track.predict(306.0).state is TrackState.STEADY
    assert track.predict(330.0).state is TrackState.COASTING
    assert track.predict(400.0).state is TrackState.LOST
    assert not track.predict(400.0).settled


def test_a_repeated_reading_is_not_counted() -> None:
    """The same range and bearing under a new time, of a target that should have moved: an old measurement."""
    track = Track(NoiseModel())
    exact_looks(track, every(3.0, 120.0))
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
    first = exact_looks(plain, every(3.0, 90.0))
    second = []
    for at_s in every(3.0, 90.0):
        second += exact_looks(asked, [at_s])
        asked.predict(at_s + 1.3)

    assert first == second


# Drawn encounters, with the exercise generator's noise. All seeded.


def drawn(seed: int, count: int, spec: Distribution, minutes: float) -> list[Followed]:
    model = NoiseModel()
    base = with_radar(duration_min=minutes, errors=WHITE)
    return list(follow(draw(seed, count, spec, base), seed, lambda: model))


def test_an_alteration_is_flagged_and_relearnt() -> None:
    """60 degrees at 10 to 15 kn: most are said within a minute of their beginning, with the onset to 25 s.

    Two minutes after its end the new velocity is known to a knot.
    """
    spec = Distribution(target_turns_deg=(60.0,), alteration_min=(5.0, 5.0), target_speed_kn=(10.0, 15.0))
    followed = drawn(41, 25, spec, 8.0)
    late = [one.velocity_error_kn()[one.index_at(300 + 40 + 120)] for one in followed]

    assert np.median([flagged_s(one, 300.0) for one in followed]) < 45
    assert np.mean([flagged_s(one, 300.0) < 60 for one in followed]) > 0.85
    assert np.median(late) < 1.0
    onsets = [one.estimates[one.index_at(390)].manoeuvre_at_s for one in followed]
    assert np.median([abs(onset - 300) for onset in onsets if onset is not None]) < 25


def test_an_own_alteration_is_no_targets() -> None:
    """Own ship turns by 60 degrees: no track is called manoeuvring for it and no velocity is spoilt."""
    spec = Distribution(own_turns_deg=(60.0,), alteration_min=(5.0, 5.0))
    followed = drawn(42, 25, spec, 8.0)
    times = np.arange(280.0, 460.0, 5.0)
    error = np.median([one.velocity_error_kn()[[one.index_at(at_s) for at_s in times]] for one in followed], axis=0)

    assert sum(bool(one.manoeuvring().any()) for one in followed) <= 1
    assert np.max(error[times >= 300]) < 1.3 * np.mean(error[times < 300])


def test_steady_targets_are_left_in_peace() -> None:
    """Five target hours with nothing happening: at most one false manoeuvre, and it does not last."""
    spec = Distribution(tcpa_min=(20.0, 40.0))
    followed = drawn(43, 10, spec, 30.0)
    onsets = sum(len({e.manoeuvre_at_s for e in one.estimates} - {None}) for one in followed)

    assert onsets <= 1


def test_a_false_manoeuvre_is_taken_back() -> None:
    """Eighteen seconds in which an echo wanders off by 90 m look like an alteration; then the old leg goes on."""
    rng = np.random.default_rng(46)
    track = Track(NoiseModel())
    estimates = []
    for at_s in every(3.0, 540.0):
        aside = 0.05 if 300 <= at_s < 318 else 0.0
        e, n = np.array([4 - 6.0 * at_s / 3600 + aside, 3 - 8.0 * at_s / 3600]) + 0.02 * rng.normal(size=2)
        estimates.append(track.observe(exact_look(at_s, float(e), float(n), own_at(at_s))))

    assert any(estimate.state is TrackState.MANOEUVRING for estimate in estimates)
    assert estimates[-1].manoeuvre_at_s is None
    assert estimates[-1].state is TrackState.STEADY
    assert estimates[-1].east_kn == pytest.approx(-6.0, abs=0.4)


def test_a_change_of_own_reference_is_no_manoeuvre() -> None:
    """Own motion known through the water from now on, 3 kn of stream: what the target does relative to us goes on."""
    track = Track(NoiseModel())
    exact_looks(track, every(3.0, 240.0))
    for at_s in every(3.0, 120.0)[1:]:
        own = own_at(240 + at_s)
        fields = {name: getattr(own, name) for name in own.__struct_fields__}
        water = OwnMotion(
            **fields
            | {
                "frame": MotionReference.WATER,
                "east_kn": own.east_kn - 3.0,
                "east_nm": own.east_nm - 3.0 * at_s / 3600,
            }
        )
        truth = 4 - 6.0 * (240 + at_s) / 3600 - 3.0 * at_s / 3600, 3 - 8.0 * (240 + at_s) / 3600
        estimate = track.observe(exact_look(240 + at_s, *truth, water))

        assert estimate.state is not TrackState.MANOEUVRING
        assert estimate.east_kn == pytest.approx(-9.0, abs=0.5), "at the first look already"
    assert estimate.east_kn == pytest.approx(-9.0, abs=0.2)


def test_a_plane_of_its_own_begins_the_motion_again() -> None:
    """Own motion lost: looks are counted from the bow, and nothing known in the old plane is carried into it."""
    track = Track(NoiseModel())
    before = exact_looks(track, every(3.0, 240.0))[-1]
    own = own_at(243.0)
    adrift = OwnMotion(243.0, 0.0, 0.0, 0.0, 0.0, 0.0, MotionReference.UNKNOWN, None, 5.0)
    after = track.observe(Look(at_s=243.0, range_nm=4.3, bearing_deg=71.0, own=adrift))

    assert before.settled
    assert not after.settled
    assert after.observations == before.observations + 1
    assert after.east_kn == 0.0
    assert own.frame is not adrift.frame


def test_an_old_look_changes_nothing() -> None:
    """A look older than the last one is counted as a repeat and answered for the last one's moment."""
    track = Track(NoiseModel())
    last = exact_looks(track, every(3.0, 90.0))[-1]
    again = track.observe(exact_look(80.0, 4.0, 3.0, own_at(80.0)))

    assert again.at_s == last.at_s
    assert again.east_kn == last.east_kn
    assert again.repeats == last.repeats + 1


def test_the_same_reading_is_a_repeat_whatever_the_heading_made_of_it() -> None:
    """A relative bearing repeated while own ship yaws gives another true bearing; its reading tells."""
    track = Track(NoiseModel())
    exact_looks(track, every(3.0, 120.0))
    fresh = exact_look(123.0, 4 - 6.0 * 123 / 3600, 3 - 8.0 * 123 / 3600, own_at(123.0))
    fields = {name: getattr(fresh, name) for name in fresh.__struct_fields__}
    first = track.observe(Look(**fields | {"reading": (5.0, 31.2, 10.0, 217.0)}))
    yawed = fields | {"reading": (5.0, 31.2, 10.0, 217.0), "at_s": 124.0, "bearing_deg": fresh.bearing_deg + 2.0}
    second = track.observe(Look(**yawed | {"own": own_at(124.0)}))

    assert second.repeats == first.repeats + 1


def test_a_reading_that_never_changes_settles_nothing() -> None:
    """Moored target, own ship moored, a quiet set: a reading that never changes is one measurement, and no motion."""
    track = Track(NoiseModel())
    for at_s in every(3.0, 300.0):
        estimate = track.observe(exact_look(at_s, 0.48, 0.0, own_at(at_s, speed_kn=0.0)))

    assert (estimate.settled, estimate.observations) == (False, 1)
    assert abs(estimate.east_kn) < 0.1
    assert abs(estimate.north_kn) < 0.1


@pytest.mark.parametrize("range_nm", [0.0, 0.001, 40.0])
def test_extreme_ranges_raise_nothing(range_nm: float) -> None:
    track = Track(NoiseModel())
    for at_s in every(3.0, 60.0):
        own = own_at(at_s)
        estimate = track.observe(Look(at_s=at_s, range_nm=range_nm, bearing_deg=(at_s * 7) % 360, own=own))

        assert all(math.isfinite(value) for value in (estimate.east_nm, estimate.east_kn, *estimate.covariance))
