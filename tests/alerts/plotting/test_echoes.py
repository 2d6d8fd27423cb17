"""Whether an echo may be a target: each limit by hand, and the noise against samples of what it stands for."""

from math import cos, hypot, radians, sin, sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec import structs

from alerts.plotting import echoes
from alerts.plotting.kinematics import Estimate, Look, OwnMotion
from alerts.plotting.terms import TrackState
from parsers.observations import MotionReference

OWN = OwnMotion(0.0, 1.0, -2.0, 3.0, 4.0, 0.1, MotionReference.GROUND, 30.0, 0.5)
SURE = (0.0,) * 10
LOOK = Look(0.0, 5.0, 90.0, OWN)
"""Right to the east of own ship: the echo stands at (6, -2)."""

TARGET = Estimate(0.0, 6.0, -2.0, 0.0, 12.0, SURE, TrackState.STEADY, True, 99)
"""Where LOOK sees it, going north at 12 kn, its place known exactly."""

RANGE_SD_NM = 0.025
"""Of a measurement at 5 NM: half a per cent, which is more than 25 m."""


def off(east: float, north: float, **changes: object) -> Estimate:
    """A target from which the echo of LOOK stands so far off."""
    return structs.replace(TARGET, east_nm=6.0 - east, north_nm=-2.0 - north, **changes)


class TestNoise:
    @pytest.mark.parametrize("direction_deg", [0.0, 37.0, 90.0, 143.0, 180.0, 265.0])
    def test_it_is_that_of_the_samples(self, direction_deg: float) -> None:
        """A place and an echo drawn 40,000 times from their errors: the spread of the offset along any direction."""
        rng = np.random.default_rng(17)
        spread = np.array([[0.004, 0.0015], [0.0015, 0.001]])
        covariance = (spread[0, 0], spread[0, 1], 0.0, 0.0, spread[1, 1], 0.0, 0.0, 1.0, 0.0, 1.0)
        looking = structs.replace(LOOK, bearing_deg=60.0, bearing_sd_deg=0.7)
        known = structs.replace(TARGET, covariance=covariance, range_sd_nm=0.04, bearing_sd_deg=0.9)
        places = rng.multivariate_normal([0.0, 0.0], spread, 40_000)
        ranges = 5.0 + rng.normal(0.0, 0.04, 40_000)
        bearings = np.radians(60.0 + rng.normal(0.0, hypot(0.9, 0.7), 40_000))
        seen = np.stack([ranges * np.sin(bearings), ranges * np.cos(bearings)], axis=1)
        east, north = np.sin(np.radians(direction_deg)), np.cos(np.radians(direction_deg))

        sampled = np.std((seen - places) @ np.array([east, north]))
        assert echoes.noise_nm(known, looking, 2 * east, 2 * north) == pytest.approx(sampled, rel=0.02)

    def test_at_no_offset_there_is_none(self) -> None:
        assert echoes.noise_nm(TARGET, LOOK, 0.0, 0.0) == echoes.least_noise_nm(LOOK, 0.0, 0.0) == 0.0

    @pytest.mark.parametrize(("observations", "sd_deg"), [(24, 1.0), (25, 0.4)])
    def test_a_set_that_is_known_is_believed_to_be_better_than_the_standard(
        self, observations: int, sd_deg: float
    ) -> None:
        found = echoes.noise_nm(structs.replace(TARGET, observations=observations), LOOK, 0.0, 1.0)

        assert found == pytest.approx(5.0 * radians(sd_deg))

    @pytest.mark.parametrize(("rate_deg_min", "late_deg"), [(-120.0, 0.6), (600.0, 3.0), (9000.0, 6.0)])
    def test_while_own_ship_turns_a_late_heading_moves_the_bearing(self, rate_deg_min: float, late_deg: float) -> None:
        """0.3 s late, at 20 degrees a second at most."""
        turning = structs.replace(LOOK, own=structs.replace(OWN, turn_rate_deg_min=rate_deg_min))

        assert echoes.noise_nm(TARGET, turning, 0.0, 1.0) == pytest.approx(5.0 * radians(hypot(0.4, late_deg)))

    @settings(derandomize=True, max_examples=200, deadline=None)
    @given(st.floats(0.01, 24), st.floats(0, 360), st.floats(0.001, 3), st.floats(0, 360), st.integers(1, 60))
    def test_the_least_is_never_more(
        self, range_nm: float, bearing_deg: float, off_nm: float, toward_deg: float, observations: int
    ) -> None:
        """And with nothing else in doubt it is all there is."""
        look = structs.replace(LOOK, range_nm=range_nm, bearing_deg=bearing_deg)
        east, north = off_nm * sin(radians(toward_deg)), off_nm * cos(radians(toward_deg))
        least = echoes.least_noise_nm(look, east, north)
        known = structs.replace(TARGET, observations=25)

        assert least <= echoes.noise_nm(structs.replace(TARGET, observations=observations), look, east, north) + 1e-12
        assert least == pytest.approx(echoes.noise_nm(known, look, east, north), abs=1e-9)


class TestReach:
    @pytest.mark.parametrize(
        ("target", "seconds", "reach_nm"),
        [
            (TARGET, 60.0, 0.5),  # right round at 12 kn, and 6 kn more: 30 kn for a minute
            (structs.replace(TARGET, settled=False), 60.0, 1.0),  # 60 kn
            (structs.replace(TARGET, east_kn=50.0), 60.0, 1.0),  # and never more than that
            (TARGET, -60.0, 0.0),
        ],
    )
    def test_it_is_what_an_alteration_can_do(self, target: Estimate, seconds: float, reach_nm: float) -> None:
        assert echoes.reach_nm(target, seconds) == pytest.approx(reach_nm)


class TestBelongs:
    @pytest.mark.parametrize(("beyond_nm", "holds"), [(-0.001, True), (0.001, False)])
    def test_up_to_five_deviations_and_what_she_can_alter(self, beyond_nm: float, holds: bool) -> None:
        """Along the range: 5 x 0.025 NM, and in 36 s at 30 kn 0.3 NM."""
        assert echoes.belongs(off(5 * RANGE_SD_NM + 0.3 + beyond_nm, 0.0), LOOK, 36.0, out_of_sight=False) is holds

    @pytest.mark.parametrize(("off_nm", "holds"), [(0.499, True), (0.501, False)])
    def test_one_that_was_out_of_sight_only_near_her_prediction(self, off_nm: float, holds: bool) -> None:
        assert echoes.belongs(off(off_nm, 0.0), LOOK, 600.0, out_of_sight=True) is holds
        assert echoes.belongs(off(off_nm, 0.0), LOOK, 600.0, out_of_sight=False)

    @pytest.mark.parametrize(("sds", "holds"), [(2.99, True), (3.01, False)])
    def test_it_coincides_within_noise_alone(self, sds: float, holds: bool) -> None:
        assert echoes.coincides(off(0.0, sds * 5.0 * radians(0.4)), LOOK) is holds
        assert echoes.sds_off(off(0.0, sds * 5.0 * radians(0.4)), LOOK) == pytest.approx(sds)
        assert echoes.sds_off(TARGET, LOOK) == pytest.approx(0.0, abs=1e-9)

    def test_nothing_coincides_half_a_mile_off(self) -> None:
        doubtful = off(0.0, 0.501, covariance=(1.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 1.0, 0.0, 1.0))

        assert not echoes.coincides(doubtful, LOOK)

    def test_an_estimate_is_carried_on_in_a_straight_line(self) -> None:
        """At 5 kn east and 12 north for half a minute; the echo stands 0.3 NM east of where that brings her."""
        seen = structs.replace(LOOK, bearing_deg=30.0)
        east_nm, north_nm = 1.0 + 5.0 * 0.5 - 0.3, -2.0 + 5.0 * sqrt(0.75)
        there = structs.replace(TARGET, at_s=-30.0, east_kn=5.0)
        earlier = structs.replace(there, east_nm=east_nm - 5.0 / 120, north_nm=north_nm - 12.0 / 120)
        off_nm, noise_nm = echoes.carried_off(earlier, seen)

        assert off_nm == pytest.approx(0.3)
        assert noise_nm == pytest.approx(echoes.least_noise_nm(seen, 1.0, 0.0))


class TestTwoLooks:
    @pytest.mark.parametrize(("beyond_nm", "holds"), [(-0.001, True), (0.001, False)])
    def test_one_vessel_may_have_come_so_far(self, beyond_nm: float, holds: bool) -> None:
        """Five deviations of one degree and 25 m at the greater range, and 60 kn for 36 s."""
        far_nm = 5 * sqrt((9.0 * radians(1.0)) ** 2 + (25 / 1852) ** 2) + 0.6 + beyond_nm
        other = Look(36.0, 9.0, 90.0, structs.replace(OWN, east_nm=OWN.east_nm - 4.0 + far_nm))

        assert echoes.same_vessel(LOOK, other) is echoes.same_vessel(other, LOOK) is holds

    @pytest.mark.parametrize(
        ("range_nm", "unseen_s", "holds"),
        [(5.128, 0.0, True), (5.129, 0.0, False), (4.863, 1.0, True), (4.86, 1.0, False), (5.51, 600.0, False)],
    )
    def test_by_range_alone(self, range_nm: float, unseen_s: float, holds: bool) -> None:
        """Five deviations (half a per cent) and 60 kn, but never over half a mile."""
        assert echoes.range_belongs(LOOK, structs.replace(LOOK, range_nm=range_nm), unseen_s) is holds

    def test_the_same_measurement_is_told_by_what_the_sentence_said(self) -> None:
        """Range and bearing as worked out stand for it only where one of the two has no reading."""
        said, same = structs.replace(LOOK, reading=(5.0, 60.0)), structs.replace(LOOK, reading=(5.0, 60.0))

        assert echoes.same_measurement(said, structs.replace(same, bearing_deg=91.0))
        assert not echoes.same_measurement(said, structs.replace(same, reading=(5.0, 61.0)))
        assert echoes.same_measurement(said, LOOK)
        assert not echoes.same_measurement(said, structs.replace(LOOK, bearing_deg=91.0))
        assert not echoes.same_measurement(LOOK, structs.replace(LOOK, range_nm=5.01))


@pytest.mark.parametrize(("seconds", "moved"), [(19.9, False), (20.4, True)])
def test_an_honest_report_shows_what_has_moved(seconds: float, moved: bool) -> None:
    """She does 1 kn west and 12 north, we 3 east and 4 north: 8.94 kn; 0.03 NM and 0.4 % of 5 NM take 20.1 s."""
    target = structs.replace(TARGET, east_kn=-1.0, last_change_s=1000.0)

    assert echoes.must_have_moved(target, structs.replace(LOOK, at_s=1000.0 + seconds)) is moved
    assert not echoes.must_have_moved(TARGET, structs.replace(LOOK, at_s=1000.0 + seconds))


@pytest.mark.parametrize(
    ("changes", "relative"),
    [
        ({}, True),
        ({"frame": MotionReference.GROUND}, False),
        ({"heading_deg": 0.0}, False),
        ({"east_nm": 0.1}, False),
        ({"north_nm": 0.1}, False),
    ],
)
def test_a_plane_off_the_bow_is_one_of_which_nothing_is_known(changes: dict[str, object], relative: bool) -> None:
    blind = structs.replace(
        OWN, frame=MotionReference.UNKNOWN, heading_deg=None, east_nm=0.0, north_nm=0.0, east_kn=0.0, north_kn=0.0
    )

    assert echoes.is_bow_relative(structs.replace(LOOK, own=structs.replace(blind, **changes))) is relative
