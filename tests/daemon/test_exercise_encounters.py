"""Drawn encounters: as they were asked for, and with the measurement errors that the scenario states."""

import msgspec
import numpy as np
import pytest

from daemon.exercise import encounters, generate
from daemon.exercise.echoes import roll_error_deg
from daemon.exercise.geodesy import NM_M, wrapped
from daemon.exercise.passage import Passage
from daemon.exercise.scenario import A823_ERRORS, OwnShip, RadarErrors, Scenario
from daemon.exercise.truth import approach, closest

SHORT = msgspec.structs.replace(encounters.BASE, duration_min=8.0)


def with_errors(errors: RadarErrors, **radar: object) -> Scenario:
    assert SHORT.radar is not None
    changed = msgspec.structs.replace(SHORT.radar, errors=errors, **radar)
    return msgspec.structs.replace(SHORT, radar=changed)


def test_the_same_seed_draws_the_same() -> None:
    """And another seed others; each drawn scenario has a seed of its own."""
    first, again, other = encounters.draw(3, 5), encounters.draw(3, 5), encounters.draw(4, 5)

    assert first == again
    assert first != other
    assert len({one.seed for one in first}) == 5


def test_draws_keep_to_their_distribution() -> None:
    """CPA and time of CPA of the true tracks are those drawn, and start within the range that was asked for."""
    spec = encounters.Distribution(cpa_nm=(0.4, 0.6), tcpa_min=(14, 18), start_range_nm=(3, 8))
    for one in encounters.draw(11, 40, spec):
        made = Passage(one)
        (found,) = closest(made)
        start = np.array([0.0])
        state, own = made.targets.at(start), made.own_track.at(start)
        range_nm = approach(own, state).range_nm[0, 0]

        assert 0.39 < found.cpa_nm < 0.61
        assert 13.9 < found.at_min < 18.1
        assert 2.95 < range_nm < 8.05


def test_looks_are_those_of_the_scenario() -> None:
    """Without errors the fast way and the scenario's own radar measure the same, to a thousandth of TTM's count."""
    base = with_errors(RadarErrors())
    drawn = encounters.draw(5, 3, base=base)
    (fast,) = encounters.looks(drawn, seed=1)
    for n, one in enumerate(drawn):
        sweeps = Passage(one).sweeps
        assert sweeps is not None

        assert np.allclose(sweeps.echoes.times_s[:, 0], fast.times_s[:, n], atol=1e-9)
        assert np.allclose(np.round(sweeps.echoes.range_nm[:, 0], 2), fast.range_nm[:, n])
        assert np.allclose(fast.truth.range_nm[:, n], sweeps.echoes.true_range_nm[:, 0], atol=1e-5)


@pytest.mark.parametrize(
    ("errors", "range_sd_m", "bearing_sd_deg"),
    [
        (RadarErrors(range_noise_m=25), 25, 0),
        (RadarErrors(bearing_noise_deg=0.7), 0, 0.7),
        (RadarErrors(pulse_shape_m=20, range_noise_m=15), 25, 0),
        (RadarErrors(beam_shape_deg=0.3, encoder_deg=0.4), 0, 0.5),
        (RadarErrors(backlash_deg=0.6), 0, 0.6 / np.sqrt(3)),
        (RadarErrors(range_noise_scale_percent=1.0), 60 * 1.852, 0),
        (RadarErrors(bearing_quantum_deg=1.2), 0, 1.2 / np.sqrt(12)),
        (RadarErrors(range_quantum_nm=0.1), 185.2 / np.sqrt(12), 0),
    ],
)
def test_each_error_has_the_size_it_states(errors: RadarErrors, range_sd_m: float, bearing_sd_deg: float) -> None:
    """Standard deviations over thousands of looks, within 5 %; an even spread has its half width over root three."""
    base = with_errors(errors)
    (found,) = encounters.looks(encounters.draw(9, 60, base=base), seed=2)
    off_range = (found.set_.range_nm - found.truth.range_nm) * NM_M
    compass = (found.set_.bearing_deg - found.truth.bearing_deg).ravel()
    off_bearing = wrapped(compass)
    heading_sd = 0.1  # the base's compass makes the bearings true

    assert off_range.std() == pytest.approx(range_sd_m, rel=0.05, abs=0.5)
    assert off_bearing.std() == pytest.approx(np.hypot(bearing_sd_deg, heading_sd), rel=0.05)
    assert abs(off_range.mean()) < 0.05 * range_sd_m + 1.0


def test_glint_works_along_the_target() -> None:
    """Glint along a target of 200 m: all in range when she is seen end on, all across when she is beam on."""
    base = with_errors(RadarErrors(glint_along_m=30))
    spec = encounters.Distribution(length_m=(200, 200))
    (found,) = encounters.looks(encounters.draw(9, 120, spec, base=base), seed=2)
    off_line = np.radians(found.truth.course_deg - found.truth.bearing_deg)
    out = (found.set_.range_nm - found.truth.range_nm) * NM_M

    assert out[np.abs(np.cos(off_line)) > 0.98].std() == pytest.approx(30, rel=0.08)
    assert out[np.abs(np.cos(off_line)) < 0.1].std() < 3


def test_roll_error_is_that_of_the_standard() -> None:
    """A.823(19) appendix 3: at 045 mean 0.22 with a sine of 0.22 at twice the roll's frequency; nil at 000 and 090."""
    ship = OwnShip(course_deg=0, speed_kn=0, roll_deg=10, roll_period_s=8)
    times = np.arange(0, 8, 0.01)
    on_bow, abeam = (roll_error_deg(ship, times, np.full(times.shape, off)) for off in (45.0, 90.0))

    assert np.mean(on_bow) == pytest.approx(0.22, abs=1e-3)
    assert (np.min(on_bow), np.max(on_bow)) == pytest.approx((0.0, 0.44), abs=1e-3)
    assert int(np.sum(np.diff(np.sign(on_bow - 0.22)) != 0)) == 4
    assert np.abs(abeam).max() < 1e-12


def test_the_standards_budget_is_the_standards() -> None:
    """The figures of A.823(19) appendix 3 and of 33 CFR 164.38 for glint, as the reference has them."""
    assert (A823_ERRORS.glint_along_m, A823_ERRORS.glint_across_m) == (30, 1)
    assert (A823_ERRORS.beam_shape_deg, A823_ERRORS.pulse_shape_m, A823_ERRORS.encoder_deg) == (0.05, 20, 0.03)
    assert (A823_ERRORS.backlash_deg, A823_ERRORS.bearing_quantum_deg, A823_ERRORS.range_quantum_nm) == (
        0.05,
        0.1,
        0.01,
    )


def test_encounters_that_differ_too_much_are_refused() -> None:
    """The fast way takes only what shares radar, sensors and duration."""
    one, other = encounters.draw(1, 2)
    with pytest.raises(ValueError, match="differ in more than"):
        next(encounters.looks([one, msgspec.structs.replace(other, duration_min=9.0)], seed=1))


def test_drawn_alterations_happen() -> None:
    """A target that turns by 30 degrees at six to eight minutes does, to either side."""
    spec = encounters.Distribution(target_turns_deg=(30.0,), alteration_min=(6, 7))
    drawn = encounters.draw(2, 30, spec, base=msgspec.structs.replace(encounters.BASE, duration_min=10.0))
    (found,) = encounters.looks(drawn, seed=1)
    turned = wrapped(found.truth.course_deg[-1] - found.truth.course_deg[0])

    assert np.allclose(np.abs(turned), 30)
    assert set(np.sign(turned)) == {-1.0, 1.0}


def test_looks_for_a_listener() -> None:
    """Looks in the plot's own types: one for each report, repeats under their own time, own ship where it is then."""
    base = with_errors(RadarErrors(), report_interval_s=1.0)
    drawn = encounters.draw(5, 2, base=base)
    (found,) = encounters.looks(drawn, seed=1)
    heard = found.looks(0)

    assert len(heard) == pytest.approx(480, abs=3)
    assert len({(look.range_nm, look.bearing_deg) for look in heard}) < len(heard) / 2
    assert np.allclose(np.diff([look.at_s for look in heard]), 1.0)
    speed = drawn[0].own_ship.speed_kn
    run = np.hypot(heard[-1].own.east_nm - heard[0].own.east_nm, heard[-1].own.north_nm - heard[0].own.north_nm)
    assert run == pytest.approx(speed * (heard[-1].at_s - heard[0].at_s) / 3600, abs=0.01)


def test_a_drawn_encounter_makes_a_recording_too() -> None:
    """The same scenario objects give sentences."""
    made = list(generate.lines(encounters.draw(1, 1, base=SHORT)[0]))

    assert sum("TTM" in line for _, line in made) > 150
    assert [at for at, _ in made] == sorted(at for at, _ in made)


def test_a_target_that_swings_across_the_bow_is_swept_once_in_a_turn() -> None:
    """Own ship turns under the antenna: no two echoes come closer together than half a turn of it."""
    spec = encounters.Distribution(own_turns_deg=(60.0, 90.0), alteration_min=(2.0, 4.0))
    base = with_errors(RadarErrors())
    (found,) = encounters.looks(encounters.draw(31, 80, spec, base), seed=31)
    for n in range(80):
        times = found.times_s[found.seen[:, n], n]

        assert np.diff(times).min() > found.scenarios[n].radar.scan_s / 2  # type: ignore[union-attr]


def test_a_distribution_that_is_empty_is_refused() -> None:
    """Closest approaches of 5 NM and more do not begin at 3: said, not sought for ever."""
    with pytest.raises(ValueError, match="none of 100000 draws"):
        encounters.draw(1, 1, encounters.Distribution(cpa_nm=(5.0, 6.0), start_range_nm=(2.0, 3.0)))
