"""What the bench takes for the truth of an encounter: the exercise's own, or the track in hindsight with its doubt."""

from pathlib import Path

import numpy as np
import pytest

from daemon.bench.encounters import Path as Way
from daemon.bench.encounters import Verdict, closest, segments
from daemon.bench.grid import grid_of
from daemon.bench.lives import Stretch
from daemon.bench.outcome import Outcome, Sheet, Task, warned_min, work
from daemon.config import load
from daemon.replaying import lookout_settings
from tests.daemon.bench_makers import encounter

RECORDINGS = Path(__file__).parents[2] / "recordings"


def outcome_of(name: str, by_truth: bool, close_nm: float = 0.5) -> Outcome:
    config = load(None)
    path = RECORDINGS / f"{name}.nmea.gz"
    return work(
        Task(
            paths=(str(path),),
            name=name,
            settings=lookout_settings(config),
            grid=grid_of(config, ["cpa_nm=0.3,0.5,1.0", "tcpa_min=6,12"]),
            within_nm=2.0,
            close_nm=close_nm,
            by_truth=by_truth,
        )
    )


@pytest.fixture(scope="module")
def told() -> Outcome:
    return outcome_of("night-overtaking", True)


@pytest.fixture(scope="module")
def hindsight() -> Outcome:
    return outcome_of("night-overtaking", False)


def test_an_exercise_says_what_happened(told: Outcome) -> None:
    """Encounters are told from the truth beside the recording: closest approach to a metre or two, no doubt."""
    assert told.has_truth
    by_name = {one.target: one for one in told.encounters}
    # The closest approaches as the truth's own file has them.
    assert {name: round(one.cpa_nm, 2) for name, one in by_name.items()} == expected("night-overtaking")
    assert all(one.sd_nm == 0.0 for one in told.encounters)


def test_hindsight_tells_the_same_within_its_own_doubt(told: Outcome, hindsight: Outcome) -> None:
    """Without the truth the smoothed track says what happened, and the truth lies within its limits."""
    assert not hindsight.has_truth
    truth = {key: one for one in told.encounters for key in one.keys}
    judged = [one for one in hindsight.encounters if one.verdict is not Verdict.UNJUDGED]
    assert len(judged) >= 2
    for one in judged:
        true = truth[one.keys[0]]
        assert one.cpa_nm == pytest.approx(true.cpa_nm, abs=max(3 * one.sd_nm, 0.02))
        assert one.closest_s == pytest.approx(true.closest_s, abs=20.0)
        assert one.verdict is true.verdict


def expected(name: str) -> dict[str, float]:
    from daemon.bench import known

    truth = known.read(RECORDINGS / f"{name}.truth.jsonl.gz")
    return {vessel: round(nm, 2) for vessel, nm in zip(truth.names, truth.closest_nm.tolist(), strict=True)}


def test_a_wider_limit_catches_no_fewer_and_warns_no_later(told: Outcome) -> None:
    """Settings come in the order of the grid: as configured, then cpa_nm by tcpa_min."""
    close = [k for k, one in enumerate(told.encounters) if one.verdict is Verdict.CLOSE]
    assert close
    narrow, wide = told.warned_min[1, close], told.warned_min[6, close]
    assert np.all(np.nan_to_num(wide) >= np.nan_to_num(narrow))
    # As configured is 0.5 NM and 12 min, which is also in the grid.
    np.testing.assert_array_equal(told.warned_min[0], told.warned_min[4])
    np.testing.assert_array_equal(told.raised[0], told.raised[4])


def way(*points: tuple[float, float, float]) -> Way:
    at_s, east, north = (np.array(column) for column in zip(*points, strict=True))
    nothing = np.zeros(len(points))
    return Way(at_s, east, north, nothing, nothing, nothing)


def test_the_closest_point_lies_between_the_looks() -> None:
    """A straight run from (-1, 0.3) to (1, 0.3) in two minutes passes at 0.3 NM after one."""
    at_s, nm, row = closest(way((0, -1, 0.3), (120, 1, 0.3)))

    assert (at_s, row) == (60.0, 0)
    assert nm == pytest.approx(0.3)


def test_a_track_is_parted_between_two_stays_inside_the_circle() -> None:
    """Out and in again is another encounter; along the rim is none."""
    out_and_in = np.array([3.0, 1.5, 1.0, 1.5, 2.4, 3.2, 2.6, 1.8, 0.9, 1.9, 3.0])
    assert segments(out_and_in, 2.0) == [(0, 5), (5, 11)]
    assert segments(np.array([3.0, 1.9, 2.1, 1.9, 2.2, 1.8]), 2.0) == [(0, 6)]
    assert segments(np.array([5.0, 4.0, 6.0]), 2.0) == [(0, 3)]


def stretch(from_s: float, until_s: float) -> Stretch:
    return Stretch("radar-01", from_s, until_s)


def test_warning_counts_from_the_alert_that_stood_at_the_closest_approach() -> None:
    """An alert that was over long before had said that there was no danger; one that only flickered goes on."""
    assert warned_min([stretch(0, 700)], 600) == 10.0
    assert warned_min([stretch(0, 200), stretch(420, 700)], 600) == 3.0
    assert warned_min([stretch(0, 400), stretch(430, 700)], 600) == 10.0
    assert warned_min([stretch(0, 400)], 600) is None
    assert warned_min([stretch(0, 500)], 600) == 10.0
    assert warned_min([stretch(601, 700)], 600) is None


def test_an_alert_is_a_nuisance_where_nothing_came_of_it_and_nothing_would_have() -> None:
    """Not where it would have been close but for an alteration, and not where nobody can tell."""
    for verdict, danger, nuisance in (
        (Verdict.CLEAR, (), 2),
        (Verdict.CLEAR, ((0.0, 150.0),), 1),
        (Verdict.UNJUDGED, (), 0),
        (Verdict.CLOSE, (), 0),
    ):
        sheet = Sheet(2, [encounter(verdict, danger_s=danger)])
        sheet.mark(np.array([1]), [stretch(100, 200), stretch(300, 400)])

        assert sheet.nuisance.tolist() == [[0], [nuisance]]
        assert sheet.raised.tolist() == [[0], [2]]
        assert sheet.again.tolist() == [[0], [1]]


def test_time_in_alarm_counts_what_overlaps_once() -> None:
    """Two targets at once are one time in alarm, each setting by itself."""
    sheet = Sheet(3, [])
    sheet.mark(np.array([0, 2]), [stretch(100, 200), stretch(300, 400)])
    sheet.mark(np.array([2]), [stretch(150, 350), stretch(360, 370)])

    assert sheet.in_alarm_s().tolist() == [200.0, 0.0, 300.0]
    assert sheet.elsewhere.tolist() == [2, 0, 4]
