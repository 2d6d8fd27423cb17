"""The hindsight track: never worse than the running one, and as good as one fit through everything."""

import numpy as np
import pytest

from alerts.plotting.estimate import WANDER, Track
from alerts.plotting.kinematics import Estimate, Look
from alerts.plotting.noise import NoiseModel
from alerts.plotting.smooth import found_manoeuvres, hindsight
from alerts.plotting.terms import TrackState
from daemon.exercise.encounters import BASE, Distribution, draw
from tests.benchmarks.motion.runs import WHITE, Followed, follow, with_radar


@pytest.fixture(scope="module", name="encounters")
def fixture_encounters() -> list[Followed]:
    """Thirty seeded encounters of nine minutes; the target alters by 60 degrees between minute 4 and 5."""
    spec = Distribution(target_turns_deg=(60.0,), alteration_min=(4.0, 5.0), target_speed_kn=(10.0, 15.0))
    model = NoiseModel()
    base = with_radar(BASE, duration_min=9.0, errors=WHITE)
    return list(follow(draw(77, 30, spec, base), 77, lambda: model))


def errors(one: Followed, estimates: list[Estimate]) -> tuple[np.ndarray, np.ndarray]:
    """Squared errors of place (NM) and ground velocity (kn) at each look."""
    said = np.array([(e.east_nm, e.north_nm, e.east_kn, e.north_kn) for e in estimates])
    own = np.array([(look.own.east_nm, look.own.north_nm) for look in one.looks])
    truth = one.truth
    place = (said[:, 0] - own[:, 0] - truth.east_nm) ** 2 + (said[:, 1] - own[:, 1] - truth.north_nm) ** 2
    return place, (said[:, 2] - truth.east_kn) ** 2 + (said[:, 3] - truth.north_kn) ** 2


def test_hindsight_is_nowhere_worse(encounters: list[Followed]) -> None:
    """Root-mean-square errors over the encounters and any five looks: at most those of the running track, everywhere.

    (A single look just before an alteration may be worse: the running track still believes what was true then.) The
    last looks have nothing after them: there the two agree, to what the noise learnt meanwhile makes of it.
    """
    running, smoothed = [], []
    for one in encounters:
        running.append([part[:200] for part in errors(one, one.estimates)])
        smoothed.append([part[:200] for part in errors(one, hindsight(one.looks))])
    before, after = (
        np.sqrt([np.convolve(part, np.full(5, 0.2), mode="valid") for part in np.mean(parts, axis=0)])
        for parts in (running, smoothed)
    )

    assert np.all(after <= 1.1 * before + [[0.001], [0.01]])
    assert np.mean(after[0, :150]) < 0.6 * np.mean(before[0, :150])
    assert np.mean(after[1, :150]) < 0.5 * np.mean(before[1, :150])


def test_hindsight_knows_how_sure_it_is(encounters: list[Followed]) -> None:
    """Place errors over their covariance: about 1 a degree of freedom away from the turn."""
    ratios = []
    for one in encounters:
        estimates = hindsight(one.looks)
        place, _ = errors(one, estimates)
        for k in range(10, 80, 5):
            covariance = estimates[k].covariance
            ratios.append(place[k] / (covariance[0] + covariance[4]))

    assert 0.5 < np.mean(ratios) < 1.4


def test_hindsight_of_a_steady_target_is_a_straight_line() -> None:
    """Against one batch least-squares fit of all looks of a steady target: the same line, but for the slight wander."""
    base = with_radar(BASE, duration_min=4.0, errors=WHITE)
    (one,) = follow(draw(5, 1, base=base), 5)
    track = Track(NoiseModel())
    for look in one.looks:
        track.observe(look)
    estimates = hindsight(one.looks)
    rows, values = [], []
    for look in one.looks:
        fix = track.fix(look)
        hours = (look.at_s - one.looks[0].at_s) / 3600
        for (a, b), variance in (
            ((fix.sine, fix.cosine), fix.along),
            ((fix.cosine, -fix.sine), fix.athwart),
        ):
            rows.append(np.array([a, b, a * hours, b * hours]) / np.sqrt(variance))
            values.append((a * fix.e + b * fix.n) / np.sqrt(variance))
    line = np.linalg.lstsq(np.array(rows), np.array(values), rcond=None)[0]
    middle = len(estimates) // 2
    hours = (one.looks[middle].at_s - one.looks[0].at_s) / 3600

    assert WANDER < 0.1
    assert estimates[middle].east_nm == pytest.approx(line[0] + line[2] * hours, abs=0.002)
    assert estimates[middle].north_nm == pytest.approx(line[1] + line[3] * hours, abs=0.002)
    assert estimates[middle].east_kn == pytest.approx(line[2], abs=0.05)
    assert estimates[middle].north_kn == pytest.approx(line[3], abs=0.05)


def test_a_manoeuvre_is_said_at_its_time(encounters: list[Followed]) -> None:
    """In hindsight most turns are manoeuvring while they last and steady before, as nobody could say at the time."""
    early = 0
    for one in encounters:
        began = one.scenario.targets[0].legs[0].at_min * 60
        states = [estimate.state for estimate in hindsight(one.looks)]
        early += states[one.index_at(began + 20)] is TrackState.MANOEUVRING

    assert early > 0.8 * len(encounters)


def test_no_looks() -> None:
    assert hindsight([]) == []


def test_a_manoeuvre_taken_back_is_none(encounters: list[Followed]) -> None:
    """Only what the track still stands by counts: estimates whose onset went back to None leave no manoeuvre."""
    steady = encounters[0].estimates[60]
    said = [steady, _with_onset(steady, 100.0), _with_onset(steady, 100.0), steady]

    assert found_manoeuvres(said[:3])
    assert found_manoeuvres(said) == []


def _with_onset(estimate: Estimate, onset_s: float) -> Estimate:
    fields = {name: getattr(estimate, name) for name in estimate.__struct_fields__}
    return Estimate(**fields | {"manoeuvre_at_s": onset_s})


def test_repeats_change_nothing() -> None:
    """Each look sent twice under a new time gives the same track at the looks themselves."""
    base = with_radar(BASE, duration_min=3.0, errors=WHITE)
    (one,) = follow(draw(6, 1, base=base), 6)
    twice: list[Look] = []
    for look in one.looks:
        own = look.own
        fields = {name: getattr(look, name) for name in look.__struct_fields__}
        twice += [look, Look(**fields | {"at_s": look.at_s + 0.5, "own": own})]
    alone, doubled = hindsight(one.looks), hindsight(twice)

    assert [e.observations for e in doubled[::2]] == [e.observations for e in alone]
    assert doubled[60].east_kn == pytest.approx(alone[30].east_kn, abs=1e-9)
    assert doubled[60].covariance == pytest.approx(alone[30].covariance, rel=1e-6)
