"""Marks from RSD: what is a lay, what is a plot, and what is neither. Invented vessels."""

from collections.abc import Sequence
from math import atan2, degrees, hypot

import numpy as np
import pytest
from msgspec import structs

from alerts.plotting.kinematics import OwnMotion
from alerts.plotting.lays import Bearings, Hands, MarkSettings
from alerts.plotting.marks import Marked, Marks
from alerts.plotting.terms import TrackState
from parsers.observations import MotionReference, Orientation, RadarSettings, RangeAndBearing, Source

NOTHING = RangeAndBearing(None, None)
Lay = tuple[float, float, float]  # seconds, range NM, bearing deg


def own_at(at_s: float, heading_deg: float | None = 20.0) -> OwnMotion:
    """Own ship north at 8 kn, heading 20° off her course by leeway and stream."""
    return OwnMotion(at_s, 0.0, 8 * at_s / 3600, 0.0, 8.0, 0.1, MotionReference.GROUND, heading_deg, 0.5)


def rsd(
    at_s: float, hand: str, pair: RangeAndBearing, orientation: Orientation | None = Orientation.NORTH_UP
) -> RadarSettings:
    return RadarSettings(
        at_s=at_s,
        source=Source(feed="radar", talker="RA", formatter="RSD"),
        range_scale_nm=6.0,
        orientation=orientation,
        marks=(pair if hand == "1" else NOTHING, pair if hand == "2" else NOTHING),
        origins=(NOTHING, NOTHING),
        cursor=pair if hand == "cursor" else NOTHING,
    )


def lays_on(
    course: float, speed: float, times: Sequence[float], noise: float = 0.0, east: float = 3.0, north: float = 4.0
) -> list[Lay]:
    """True range and bearing of a vessel at those times, with that much of the stated errors."""
    rng = np.random.default_rng(21)
    told = []
    for at_s in times:
        x = east + speed * np.sin(np.radians(course)) * at_s / 3600
        y = north + speed * np.cos(np.radians(course)) * at_s / 3600 - 8 * at_s / 3600
        error = noise * rng.standard_normal(2)
        told.append((at_s, hypot(x, y) * (1 + 0.01 * error[0]), (degrees(atan2(x, y)) + error[1]) % 360))
    return told


def lay(
    marks: Marks,
    lays: Sequence[Lay],
    hand: str = "1",
    until_s: float | None = None,
    every_s: float = 1.0,
    orientation: Orientation | None = Orientation.NORTH_UP,
    heading_deg: float | None = 20.0,
    off_bow: bool = False,
) -> list[Marked]:
    """The set's RSD, once in `every_s`, with a mark that stands where it was laid last."""
    told: list[Marked] = []
    value = RangeAndBearing(0.5, 0.0)
    coming = list(lays)
    end_s = until_s if until_s is not None else lays[-1][0] + 10
    at_s = max(0.0, lays[0][0] - 20)
    while at_s <= end_s:
        own = own_at(at_s, heading_deg)
        while coming and coming[0][0] <= at_s:
            _, range_nm, bearing = coming.pop(0)
            value = RangeAndBearing(range_nm, (bearing - (20.0 if off_bow else 0.0)) % 360)
        told += marks.see(rsd(at_s, hand, value, orientation), own)
        told += marks.tick(at_s)
        at_s += every_s
    return told


@pytest.mark.parametrize("hand", ["1", "2", "cursor"])
def test_three_lays_on_one_echo_are_a_plot(hand: str) -> None:
    """The third makes `mark-1`, said to be new; the fourth goes on with it. Course and speed are the vessel's."""
    told = lay(Marks(), lays_on(270, 12, (60, 240, 420, 600)), hand)

    assert [(one.key, one.begun, one.estimate.observations) for one in told] == [
        ("mark-1", True, 3),
        ("mark-1", False, 4),
    ]
    estimate = told[-1].estimate
    assert estimate.settled
    assert estimate.state == TrackState.STEADY
    assert (estimate.east_kn, estimate.north_kn) == pytest.approx((-12, 0), abs=0.01)
    assert told[-1].look.at_s == 600
    assert (told[0].hand == "cursor") == (hand == "cursor")


def test_errors_are_those_of_a_hand() -> None:
    """0.02 NM or 1 % and 1°, more than a tracker's; the velocity's error follows and contains the truth."""
    told = lay(Marks(), lays_on(270, 12, (60, 240, 420, 600, 780), noise=1.0))
    estimate = told[-1].estimate

    assert estimate.bearing_sd_deg == pytest.approx(1.0)
    assert estimate.range_sd_nm == pytest.approx(max(0.02, 0.01 * told[-1].look.range_nm))
    sd_kn = estimate.covariance[7] ** 0.5
    assert 0.2 < sd_kn < 1.0
    assert abs(estimate.east_kn + 12) < 3 * sd_kn


def test_rsd_only_on_change_or_seldom() -> None:
    """A set that tells its settings once in ten seconds, and one that tells them only when they change."""
    seldom = lay(Marks(), lays_on(270, 12, (60, 240, 420)), every_s=10.0)
    marks, told = Marks(), list[Marked]()
    marks.see(rsd(0.0, "1", RangeAndBearing(0.5, 0.0)), own_at(0.0))
    for at_s, range_nm, bearing in lays_on(270, 12, (60, 240, 420)):
        told += marks.see(rsd(at_s, "1", RangeAndBearing(range_nm, bearing)), own_at(at_s))
        told += marks.tick(at_s + 1)
        assert not told or told[-1].look.at_s != at_s  # not at rest yet
        told += marks.tick(at_s + 4)

    assert [one.key for one in seldom] == [one.key for one in told] == ["mark-1"]


def test_a_mark_on_its_way_is_not_laid() -> None:
    """A cursor that moves all the time is no measurement."""
    marks, told = Marks(), list[Marked]()
    for second in range(600):
        pair = RangeAndBearing(1 + second * 0.005, second * 0.1)
        told += marks.see(rsd(float(second), "cursor", pair), own_at(float(second)))

    assert told == []
    assert list(marks.states(600.0)) == []


def test_a_mark_of_which_one_part_moved_is_not_laid() -> None:
    """Only the EBL is turned; the VRM stands where it was: that range is of no echo now."""
    marks, told = Marks(), list[Marked]()
    for second in range(900):
        pair = RangeAndBearing(3.0, 10.0 + second // 180)
        told += marks.see(rsd(float(second), "1", pair), own_at(float(second)))

    assert told == []


@pytest.mark.parametrize(("orientation", "laid"), [(Orientation.NORTH_UP, 1), (Orientation.HEAD_UP, 0)])
def test_a_picture_that_is_turned_moves_no_bearing(orientation: Orientation, laid: int) -> None:
    """The EBL shows another number of the same line when the picture goes head-up; only the VRM was moved."""
    hands = Hands(MarkSettings())
    hands.see(rsd(0.0, "1", RangeAndBearing(3.0, 40.0)), own_at(0.0))
    hands.see(rsd(10.0, "1", RangeAndBearing(2.9, 20.0), orientation), own_at(10.0))

    assert len(hands.tick(20.0)) == laid


def test_different_echoes_are_no_plot() -> None:
    """A hand that measures one echo after another, each once: nothing is claimed, in twenty such walks."""
    rng = np.random.default_rng(30)
    begun = 0
    for _ in range(20):
        walk = [(60.0 * (k + 1), float(rng.uniform(0.5, 6)), float(rng.uniform(0, 360))) for k in range(8)]
        begun += sum(one.begun for one in lay(Marks(), walk))

    assert begun <= 1


def test_two_echoes_by_turns_are_two_plots() -> None:
    """One EBL and VRM on two vessels alternately: `mark-1` and `mark-2`, each with its own course."""
    first = lays_on(270, 12, (60, 300, 540, 780))
    second = lays_on(90, 6, (180, 420, 660, 900), east=-3.0, north=2.0)
    told = lay(Marks(), sorted(first + second))

    last = {one.key: one.estimate for one in told}
    assert set(last) == {"mark-1", "mark-2"}
    assert last["mark-1"].east_kn == pytest.approx(-12, abs=0.05)
    assert last["mark-2"].east_kn == pytest.approx(6, abs=0.05)


def test_a_wild_lay_is_left_out() -> None:
    """One lay on another echo among five good ones does not bend the plot."""
    lays = lays_on(270, 12, (60, 240, 420, 600, 780))
    told = lay(Marks(), sorted([*lays, (500.0, 1.0, 200.0)]))

    assert {one.key for one in told} == {"mark-1"}
    assert told[-1].estimate.observations == 5
    assert told[-1].estimate.east_kn == pytest.approx(-12, abs=0.01)


def test_a_correction_takes_the_place_of_the_lay() -> None:
    """Set again within seconds: the better of the two is the plot's, and none is counted twice."""
    lays = lays_on(270, 12, (60, 240, 420, 600))
    at_s, range_nm, bearing = lays[-1]
    corrected = (at_s + 8, *lays_on(270, 12, (at_s + 8,))[0][1:])
    told = lay(Marks(), [*lays[:-1], (at_s, range_nm * 1.01, bearing + 1), corrected])

    assert told[-1].estimate.observations == 4
    assert told[-1].look.at_s == at_s + 8
    assert told[-1].estimate.east_kn == pytest.approx(-12, abs=0.01)


def test_a_vessel_that_alters_keeps_its_mark() -> None:
    """Three lays on a new course by the same hand go on with `mark-1`, as a manoeuvre."""
    before = lays_on(270, 12, (60, 240, 420))
    turned = lays_on(180, 12, (0, 180, 360, 540), east=3 - 12 * 420 / 3600, north=4 - 8 * 420 / 3600)
    told = lay(Marks(), [*before, *((at_s + 420, range_nm, bearing) for at_s, range_nm, bearing in turned[1:])])

    assert {one.key for one in told} == {"mark-1"}
    assert told[-1].estimate.state == TrackState.MANOEUVRING
    assert told[-1].estimate.north_kn == pytest.approx(-12, abs=0.01)


def test_head_up_bearings_are_made_true_and_unknown_orientation_is_not_guessed() -> None:
    """Off the bow on a head-up picture, with the heading; with no orientation told, nothing, unless it is set."""
    lays = lays_on(270, 12, (60, 240, 420))
    head_up = lay(Marks(), lays, orientation=Orientation.HEAD_UP, off_bow=True)
    unknown = lay(Marks(), lays, orientation=None)
    told = lay(Marks(MarkSettings(bearings=Bearings.TRUE)), lays, orientation=None)

    assert head_up[0].estimate.east_kn == pytest.approx(-12, abs=0.01)
    assert head_up[0].look.bearing_sd_deg == 0.5  # the heading's own error
    assert unknown == []
    assert told[0].estimate.east_kn == pytest.approx(-12, abs=0.01)


def test_off_the_bow_alone_without_a_heading() -> None:
    """No heading: the plot is in the bow's own frame, own motion unknown, yaw in its error; never mixed with true."""
    lays = lays_on(270, 12, (60, 240, 420))
    told = lay(Marks(), lays, orientation=Orientation.HEAD_UP, heading_deg=None, off_bow=True)

    assert told[0].look.own.frame == MotionReference.UNKNOWN
    assert told[0].look.bearing_sd_deg == 3.0
    marks = Marks()
    for k, one in enumerate(lays):
        heading = None if k == 1 else 20.0
        mixed = lay(marks, [one], orientation=Orientation.HEAD_UP, heading_deg=heading, off_bow=True)
        assert mixed == []


def test_an_origin_elsewhere_is_not_own_ship() -> None:
    """EBL and VRM laid from another point measure from there and say nothing of us."""
    marks, told = Marks(), list[Marked]()
    for at_s, range_nm, bearing in [(0.0, 0.5, 0.0), *lays_on(270, 12, (60, 240, 420))]:
        settings = rsd(at_s, "1", RangeAndBearing(range_nm, bearing))
        away = structs.replace(settings, origins=(RangeAndBearing(1.2, 90.0), NOTHING))
        told += marks.see(away, own_at(at_s))
        told += marks.tick(at_s + 5)

    assert told == []


def test_a_mark_coasts_and_is_forgotten_but_never_lost() -> None:
    """Steady while its rhythm lasts, then coasting, then gone after 12 minutes."""
    marks = Marks()
    lay(marks, lays_on(270, 12, (60, 240, 420)))

    assert [state for _, _, state in marks.states(500.0)] == [TrackState.STEADY]
    assert [state for _, _, state in marks.states(420.0 + 400)] == [TrackState.COASTING]
    assert marks.forget(420.0 + 700) == []
    assert marks.forget(420.0 + 730) == ["mark-1"]
    assert list(marks.states(1200.0)) == []


def test_off_means_off() -> None:
    """`marks.on = false`: nothing is recognised."""
    assert lay(Marks(MarkSettings(on=False)), lays_on(270, 12, (60, 240, 420))) == []


def test_memory_is_bounded() -> None:
    """A thousand wild lays, a hundred feeds: few are kept."""
    marks, rng = Marks(), np.random.default_rng(40)
    for k in range(1000):
        pair = RangeAndBearing(float(rng.uniform(0.5, 20)), float(rng.uniform(0, 360)))
        settings = rsd(30.0 * k, "1", pair)
        source = Source(feed=f"radar-{k % 100}", talker="RA", formatter="RSD")
        marks.see(structs.replace(settings, source=source), own_at(30.0 * k))

    assert len(marks._hands._hands) <= 24
    assert len(marks._loose) <= 24
    assert len(list(marks.states(30000.0))) <= 20


def test_lays_through_the_water_do_not_go_on_with_a_plot_over_the_ground() -> None:
    """The receiver falls silent and the log stands in: places of the two are not on one line."""
    marks, told = Marks(), []
    lays = lays_on(270, 12, (60, 240, 420, 600))
    for at_s, range_nm, bearing in lays:
        frame = MotionReference.WATER if at_s == 600 else MotionReference.GROUND
        own = structs.replace(own_at(at_s), frame=frame)
        marks.see(rsd(at_s - 5, "1", RangeAndBearing(0.5, 0.0)), own)
        marks.see(rsd(at_s, "1", RangeAndBearing(range_nm, bearing)), own)
        told += marks.tick(at_s + 5)

    assert [(one.key, one.look.at_s) for one in told] == [("mark-1", 420)]


def test_a_vrm_at_nothing_is_no_lay() -> None:
    """A VRM run in to 0 lies on own ship: it has no echo under it."""
    hands = Hands(MarkSettings())
    for at_s, pair in ((0.0, RangeAndBearing(2.0, 10.0)), (1.0, RangeAndBearing(0.0, 50.0))):
        hands.see(rsd(at_s, "1", pair), own_at(at_s))

    assert hands.tick(20.0) == []
