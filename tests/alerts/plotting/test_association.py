"""Radar and AIS beside each other: what is joined, what is parted, what is left in doubt, and what all share."""

from collections.abc import Callable
from math import cos, radians, sin

import numpy as np
import pytest
from msgspec import structs

from alerts.plotting.ais import AisTargets, Heard
from alerts.plotting.association import Association, Change, PairChange
from alerts.plotting.association_words import MOST_IN_WINDOW, Teller, no_ais_told, no_echo_told, verdict_told
from alerts.plotting.kinematics import Estimate, OwnMotion
from alerts.plotting.offsets import Cause, Verdict, design, estimate, verdict
from alerts.plotting.pairing import RadarSide
from alerts.plotting.terms import TrackState
from parsers.observations import AisStatic, MotionReference
from tests.alerts.ais_air import AIS, LAT, LON, Vessel
from tests.alerts.plotting.vessels import Vessel as InPlane

OWN = OwnMotion(0.0, 0.0, 0.0, 0.0, 0.0, 0.15, MotionReference.GROUND, 0.0, 0.5)
PLACE_SD_NM, SPEED_SD_KN = 0.02, 0.5


class Ship(InPlane):
    """A vessel in the plane about own ship, who lies still."""

    def seen(self, key: str, at_s: float, bias_deg: float = 0.0, off: tuple[float, float] = (0, 0)) -> RadarSide:
        east, north = self.place(at_s)
        turn = radians(bias_deg)
        east, north = east * cos(turn) + north * sin(turn) + off[0], north * cos(turn) - east * sin(turn) + off[1]
        p, v = PLACE_SD_NM**2, SPEED_SD_KN**2
        covariance = (p, 0.0, 0.0, 0.0, p, 0.0, 0.0, v, 0.0, v)
        state = TrackState.STEADY
        return RadarSide(key, Estimate(at_s, east, north, self.east_kn, self.north_kn, covariance, state, True, 50))

    def heard(self, mmsi: int, at_s: float, off: tuple[float, float] = (0, 0), name: str = "") -> Heard:
        """As a station reports, measured at `at_s`, through AisTargets' own estimate."""
        station = AisTargets()
        east, north = self.place(at_s)
        distance = ((east + off[0]) ** 2 + (north + off[1]) ** 2) ** 0.5
        bearing = float(np.degrees(np.arctan2(east + off[0], north + off[1])))
        vessel = Vessel(bearing, distance, self.course_deg, 0.0, mmsi)
        report = vessel.reports(at_s, sog_kn=self.speed_kn, second=int(at_s) % 60)
        taken = station.take(report, OWN, LAT, LON, at_s % 60)
        assert taken is not None
        taken[0].name = name
        return taken[0]


Sides = Callable[[float], tuple[list[RadarSide], list[Heard]]]


def watch(association: Association, sides: Sides, seconds: tuple[int, int]) -> list[PairChange]:
    changes = []
    for second in range(*seconds, 2):
        changes += association.update(float(second), (0.0, 0.0), *sides(float(second)))
    return changes


def changed(changes: list[PairChange]) -> list[tuple[str, str, str]]:
    return [(change.change, change.radar, change.ais) for change in changes]


FIRST, SECOND, THIRD = Ship(2, 3, 200, 10), Ship(-3, 2, 90, 12), Ship(1, -4, 0, 6)


def test_what_is_one_vessel_is_joined_within_half_a_minute() -> None:
    association = Association()
    changes = watch(
        association,
        lambda t: ([FIRST.seen("radar-01", t), SECOND.seen("radar-02", t)], [SECOND.heard(2, t), FIRST.heard(1, t)]),
        (0, 30),
    )

    assert sorted(changed(changes)) == [
        (Change.JOINED, "radar-01", "ais-000000001"),
        (Change.JOINED, "radar-02", "ais-000000002"),
    ]
    assert association.by_ais == {"ais-000000001": "radar-01", "ais-000000002": "radar-02"}


def test_a_late_and_seldom_report_is_carried_on() -> None:
    """One report, 12 knots, held against radar for half a minute."""
    report = FIRST.heard(1, 0.0)
    changes = watch(Association(), lambda t: ([FIRST.seen("radar-01", t)], [report]), (0, 40))

    assert changed(changes) == [(Change.JOINED, "radar-01", "ais-000000001")]


@pytest.mark.parametrize(
    "other", [Ship(2.0, 3.0, 20, 10), Ship(2.5, 3.0, 90, 10), Ship(2.0, 3.0, 200, 18), Ship(9, 9, 200, 10)]
)
def test_what_is_not_one_vessel_is_not_joined(other: Ship) -> None:
    """The same place on another course or at another speed, or another place."""
    changes = watch(Association(), lambda t: ([FIRST.seen("radar-01", t)], [other.heard(1, t)]), (0, 120))

    assert Change.JOINED not in {change.change for change in changes}


def test_two_side_by_side_are_in_doubt_and_said_so_once() -> None:
    """Two on one course 40 m apart, one AIS between them: which it is nobody can tell."""
    left, right = Ship(2.0, 3.0, 200, 10), Ship(2.02, 3.0, 200, 10)
    middle = Ship(2.01, 3.0, 200, 10)
    association = Association()
    changes = watch(
        association, lambda t: ([left.seen("radar-01", t), right.seen("radar-02", t)], [middle.heard(1, t)]), (0, 300)
    )

    assert association.pairs == {}
    assert sorted(changed(changes)) == [
        (Change.IN_DOUBT, "radar-01", "ais-000000001"),
        (Change.IN_DOUBT, "radar-02", "ais-000000001"),
    ]
    assert changes[0].others == ("radar-02",)


def test_the_set_s_own_label_decides_a_doubt() -> None:
    """The set calls one of the two by the AIS name (TLB)."""
    left, right = Ship(2.0, 3.0, 200, 10), Ship(2.02, 3.0, 200, 10)

    def sides(t: float) -> tuple[list[RadarSide], list[Heard]]:
        named = right.seen("radar-02", t)
        named = RadarSide(named.key, named.estimate, "Dotterel ")
        return [left.seen("radar-01", t), named], [Ship(2.01, 3.0, 200, 10).heard(1, t, name="DOTTEREL")]

    association = Association()
    watch(association, sides, (0, 60))

    assert association.pairs == {"radar-02": "ais-000000001"}


def test_the_set_s_own_correlation_decides_a_doubt() -> None:
    """The set reports the AIS target as its own number 9, and correlates that with number 2 (TTD)."""
    left, right, middle = (Ship(east, 3.0, 200, 10) for east in (2.0, 2.02, 2.01))

    def sides(t: float) -> tuple[list[RadarSide], list[Heard]]:
        second, ninth = right.seen("radar-02", t), middle.seen("radar-09", t)
        return [
            left.seen("radar-01", t),
            RadarSide(second.key, second.estimate, correlation=5),
            RadarSide(ninth.key, ninth.estimate, is_reported=True, correlation=5),
        ], [middle.heard(1, t)]

    association = Association()
    changes = watch(association, sides, (0, 60))

    assert association.pairs == {"radar-02": "ais-000000001"}, changes


def test_a_pair_that_drifts_apart_parts_late_and_is_told() -> None:
    """Joined, then the AIS place runs away at 6 knots: parted, and not at the first bad look."""
    association = Association()
    watch(association, lambda t: ([FIRST.seen("radar-01", t)], [FIRST.heard(1, t)]), (0, 60))
    changes = watch(
        association,
        lambda t: ([FIRST.seen("radar-01", t)], [FIRST.heard(1, t, (6 * (t - 60) / 3600, 0.0))]),
        (60, 400),
    )

    assert changed(changes)[0] == (Change.PARTED, "radar-01", "ais-000000001")
    assert changes[0].why == "they drift apart"
    assert 0.05 < changes[0].apart_nm < 0.4


def test_a_joined_pair_survives_a_bad_quarter_minute() -> None:
    association = Association()
    off = {t: (0.3, 0.0) if 60 <= t < 75 else (0.0, 0.0) for t in range(200)}
    changes = watch(association, lambda t: ([FIRST.seen("radar-01", t)], [FIRST.heard(1, t, off[int(t)])]), (0, 200))

    assert changed(changes) == [(Change.JOINED, "radar-01", "ais-000000001")]


def test_twins_are_said_and_not_joined() -> None:
    """The same course and speed a quarter of a mile apart: two vessels, or a wrong place."""
    association = Association()
    changes = watch(association, lambda t: ([FIRST.seen("radar-01", t)], [FIRST.heard(1, t, (0.25, 0))]), (0, 300))

    assert changed(changes) == [(Change.TWINS, "radar-01", "ais-000000001")]
    assert changes[0].apart_nm == pytest.approx(0.25, abs=0.02)
    assert association.pairs == {}


def test_another_number_for_the_same_vessel() -> None:
    """The track of number 1 is lost and she comes up as number 5: the pair goes over."""
    association = Association()
    watch(association, lambda t: ([FIRST.seen("radar-01", t)], [FIRST.heard(1, t)]), (0, 60))
    changes = watch(association, lambda t: ([FIRST.seen("radar-05", t)], [FIRST.heard(1, t)]), (60, 120))

    assert changed(changes) == [
        (Change.PARTED, "radar-01", "ais-000000001"),
        (Change.JOINED, "radar-05", "ais-000000001"),
    ]


def test_a_track_that_ends_is_forgotten() -> None:
    association = Association()
    watch(association, lambda t: ([FIRST.seen("radar-01", t)], [FIRST.heard(1, t)]), (0, 60))
    (gone,) = association.forget("ais-000000001")

    assert (gone.change, gone.radar) == (Change.PARTED, "radar-01")
    assert (association.pairs, association.by_ais, association._links, association._said) == ({}, {}, {}, {})


def test_links_are_dropped_when_out_of_reach() -> None:
    association = Association()
    watch(association, lambda t: ([FIRST.seen("radar-01", t)], [FIRST.heard(1, t, (0.4, 0))]), (0, 20))
    watch(association, lambda t: ([FIRST.seen("radar-01", t)], [FIRST.heard(1, t, (3.0, 0))]), (20, 120))

    assert association._links == {}


# -------------------------------------------------------------------------------------------- common offsets


def three(bias_deg: float, off: tuple[float, float] = (0, 0)) -> Association:
    association = Association()
    ships = (FIRST, SECOND, THIRD)
    watch(
        association,
        lambda t: (
            [ship.seen(f"radar-0{i}", t, bias_deg, off) for i, ship in enumerate(ships)],
            [ship.heard(i + 1, t) for i, ship in enumerate(ships)],
        ),
        (0, 160),
    )
    return association


@pytest.mark.parametrize("bias_deg", [2.0, -2.0])
def test_a_bearing_error_common_to_three_pairs_is_named(bias_deg: float) -> None:
    """Radar clockwise of AIS is a bearing too high; with its sign to 0.1 degrees."""
    found = three(bias_deg).verdict()

    assert found is not None
    assert (found.cause, found.pairs) == (Cause.BEARING, 3)
    assert found.bearing_deg == pytest.approx(bias_deg, abs=0.1)
    assert f"radar bearings 2.0° ± {1.96 * found.bearing_sd_deg:.1f}° too {'high' if bias_deg > 0 else 'low'}" in (
        verdict_told(found, OWN)
    )


def test_a_shift_common_to_three_pairs_is_named() -> None:
    """All echoes 120 m east of the AIS places: our position or an antenna."""
    found = three(0.0, (120 / 1852, 0.0)).verdict()

    assert found is not None
    assert found.cause is Cause.SHIFT
    assert found.shift_nm * 1852 == pytest.approx(120, abs=10)
    assert found.shift_deg == pytest.approx(90, abs=5)
    assert "toward 09" in verdict_told(found, OWN) or "toward 08" in verdict_told(found, OWN)


@pytest.mark.parametrize(
    ("heading_deg", "off_bow"),
    [(60.0, "30° to starboard of the bow"), (135.0, "45° to port of the bow"), (300.0, "150° to starboard of the bow")],
)
def test_a_shift_is_told_off_the_bow(heading_deg: float, off_bow: str) -> None:
    """The side on which an antenna would stand; a direction never reads 360."""
    found = Verdict(Cause.SHIFT, 3, 0.0, 0.1, 0.06, 0.01, 90.0)
    own = structs.replace(OWN, heading_deg=heading_deg)

    assert off_bow in verdict_told(found, own)
    assert "toward 000°T" in verdict_told(structs.replace(found, shift_deg=359.8), own)


def test_a_bearing_in_a_note_says_that_it_is_true() -> None:
    """As everywhere else: three digits and a T."""
    assert no_ais_told("radar-05", 1.91, 359.7) == "radar-05: 1.91 NM, bearing 000°T, has no AIS"
    assert "bearing 061°T, and no tracked radar target" in no_echo_told("ais-999000105", "KNOT", 1.12, 61.2)


@pytest.mark.parametrize("off_nm", [0.15, 0.3])
def test_a_fix_that_is_far_off_is_found(off_nm: float) -> None:
    """Our own position is wrong by hundreds of metres: no pair fits by itself, three that differ alike are joined."""
    association = three(0.0, (0.0, off_nm))
    found = association.verdict()

    assert len(association.pairs) == 3
    assert found is not None
    assert found.cause is Cause.SHIFT
    assert found.shift_nm == pytest.approx(off_nm, abs=0.01)


def test_an_honest_radar_is_not_blamed() -> None:
    assert three(0.0).verdict() is None


def places(*polar: tuple[float, float]) -> tuple[np.ndarray, np.ndarray]:
    ranges, bearings = (np.array(values) for values in zip(*polar, strict=True))
    return ranges * np.sin(np.radians(bearings)), ranges * np.cos(np.radians(bearings))


def test_pairs_all_on_one_bearing_cannot_tell_which() -> None:
    """At one range and bearing a bearing error and a shift are the same thing: both are said."""
    h = design(*places((4, 10), (4.1, 11), (4.05, 9)))
    differences = h @ np.array([radians(2.0), 0.0, 0.0])
    found = verdict(h, differences, np.tile(np.eye(2) * 0.02**2, (3, 1, 1)))

    assert found is not None
    assert found.cause is Cause.EITHER
    assert "either" in verdict_told(found, OWN)


def test_one_wrong_ais_does_not_move_the_rest() -> None:
    """Four pairs with a bearing error of 2 degrees and a fifth a third of a mile off: still 2 degrees."""
    h = design(*places((4, 10), (3, 120), (5, 200), (4, 280), (3, 60)))
    differences = h @ np.array([radians(2.0), 0.0, 0.0])
    differences[4] += (0.3, 0.1)
    found = estimate(h, differences, np.tile(np.eye(2) * 0.02**2, (5, 1, 1)))

    assert np.degrees(found.mean[0]) == pytest.approx(2.0, abs=0.05)
    assert np.hypot(*found.mean[1:]) < 0.01


def test_least_squares_by_hand() -> None:
    """Without outliers the estimate is the prior and the data in their information form (scipy's least squares)."""
    from scipy.optimize import least_squares

    rng = np.random.default_rng(3)
    h = design(*places((4, 10), (3, 120), (5, 200)))
    differences = h @ np.array([0.01, 0.01, -0.005]) + rng.normal(0, 0.005, (3, 2))
    covariances = np.tile(np.diag([0.02**2, 0.03**2]), (3, 1, 1))
    sds = np.array([radians(1.5), 0.015, 0.015])

    def residuals(b: np.ndarray) -> np.ndarray:
        return np.concatenate([((differences - h @ b) / (0.02, 0.03)).ravel(), b / sds])

    assert estimate(h, differences, covariances).mean == pytest.approx(
        least_squares(residuals, np.zeros(3)).x, rel=1e-6
    )


def test_the_teller_says_little() -> None:
    """Each thing once in half an hour, four things a minute, and it remembers no more than a thousand."""
    teller = Teller()
    first = [teller.may_say(("a", str(i)), 0.0) for i in range(10)]

    assert first == [True] * MOST_IN_WINDOW + [False] * (10 - MOST_IN_WINDOW)
    assert not teller.may_say(("a", "0"), 1000.0)
    assert teller.may_say(("a", "0"), 1801.0)
    for i in range(3000):
        teller.may_say(("b", str(i)), 2000.0 + 61 * i)
    assert len(teller._said) == 1000


def test_statics_do_not_make_a_target() -> None:
    station = AisTargets()
    station.learn(AisStatic(at_s=0.0, source=AIS, mmsi=1, name="A"))

    assert station.heard() == []
