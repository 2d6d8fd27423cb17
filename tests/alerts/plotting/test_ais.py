"""AIS stations as targets: where they are now, how sure that is, and when they are late."""

from math import atan2, cos, degrees, radians, sin
from typing import Any

import pytest

from alerts.plotting.ais import AisSettings, AisTargets
from alerts.plotting.ais_intervals import coasting_after_s, lost_after_s, reporting_interval_s
from alerts.plotting.ais_report import carried_on
from alerts.plotting.kinematics import OwnMotion
from alerts.plotting.placing import Ending
from alerts.plotting.terms import TrackState
from parsers.observations import AisClass, AisPosition, AisStatic, MotionReference
from tests.alerts.ais_air import AIS, LAT, LON, NM_M, Vessel, go


def own_at(at_s: float = 0.0, frame: MotionReference = MotionReference.GROUND) -> OwnMotion:
    return OwnMotion(at_s, 3.0, -2.0, 0.0, 0.0, 0.15, frame, 0.0, 0.5)


def hear(targets: AisTargets, report: AisPosition, second: float | None = None) -> str | None:
    own = own_at(report.at_s)
    taken = targets.take(report, own, LAT, LON, report.at_s % 60 if second is None else second)
    return None if taken is None else taken[0].key


def test_place_is_carried_to_the_moment_of_comparison() -> None:
    """A report of 20 kn measured 8 s ago: she is 82 m further on, in the plane from own ship, within 2 m (geodesic)."""
    vessel = Vessel(60, 5, 300, 20, 219000123)
    targets = AisTargets()
    hear(targets, vessel.reports(100.0, late_s=8.0))
    (heard,) = targets.heard()
    estimate = heard.predict(112.0)

    lat, lon = vessel.place(112.0)
    east, north = estimate.east_nm - 3.0, estimate.north_nm + 2.0
    bearing = degrees(atan2(east, north)) % 360
    made = go(LAT, LON, bearing, (east * east + north * north) ** 0.5)
    assert made == pytest.approx((lat, lon), abs=2.5 / NM_M / 60)


def test_without_a_second_a_common_delay_is_assumed_and_doubted() -> None:
    """The place is known the worse along the course."""
    sure, unsure = AisTargets(), AisTargets()
    vessel = Vessel(0, 4, 90, 20, 219000123)
    hear(sure, vessel.reports(100.0))
    hear(unsure, vessel.reports(100.0, second=None))
    (known,), (guessed,) = sure.heard(), unsure.heard()

    assert guessed.estimate.covariance[0] > 1.3 * known.estimate.covariance[0]
    assert guessed.estimate.covariance[4] == pytest.approx(known.estimate.covariance[4])


@pytest.mark.parametrize(("second", "age_s"), [(40, 0.0), (35, 5.0), (59, 2.0), (41, 0.0), (43, 2.0), (10, 2.0)])
def test_seconds_that_no_report_can_have_are_not_believed(second: int, age_s: float) -> None:
    """At second 40: 40 is now, 35 is 5 s ago, 41 is now by a clock that is a little off. 43 would be to come, 59 is
    41 s ago and 10 half a minute: clocks that are wrong."""
    targets = AisTargets()
    hear(targets, Vessel(0, 4, 0, 10, 1).reports(100.0, second=second))

    assert 100.0 - targets.heard()[0].measured_s == pytest.approx(age_s)


def test_a_report_overtaken_on_its_way_tells_nothing() -> None:
    vessel = Vessel(0, 4, 0, 10, 219000123)
    targets = AisTargets()

    assert hear(targets, vessel.reports(100.0)) == "ais-219000123"
    assert hear(targets, vessel.reports(103.0, late_s=9.0)) is None
    assert targets.overtaken == 1
    assert targets.heard()[0].observations == 1


@pytest.mark.parametrize("way", ["configured", "by VDO"])
def test_own_number_is_no_target(way: str) -> None:
    targets = AisTargets(AisSettings(own_mmsi=219000123 if way == "configured" else 0))
    if way == "by VDO":
        targets.is_own(219000123)

    assert hear(targets, Vessel(0, 0.0, 0, 8, 219000123).reports(10.0)) is None
    assert hear(targets, Vessel(0, 1.0, 0, 8, 219000124).reports(10.0)) == "ais-219000124"


def test_who_is_no_target() -> None:
    """Base stations, aids that are not wanted, and what lies beyond the range."""
    targets = AisTargets(AisSettings(range_nm=20.0, aids=False))
    vessel = Vessel(0, 4, 0, 0, 2190000)

    assert hear(targets, vessel.reports(1.0, station=AisClass.BASE)) is None
    assert hear(targets, vessel.reports(1.0, station=AisClass.AID)) is None
    assert hear(targets, Vessel(0, 25, 0, 0, 219000125).reports(1.0)) is None
    assert hear(AisTargets(), vessel.reports(1.0, station=AisClass.AID)) == "ais-002190000"


def test_where_there_are_too_many_the_nearest_are_kept() -> None:
    """A port full of stations, heard first and far off, does not keep out the vessel that comes close."""
    targets = AisTargets(capacity=20)
    for i in range(25):
        hear(targets, Vessel(i * 14, 20 - i / 2, 0, 0, 219000100 + i).reports(1.0))
    gone = [change.track for change in targets.tick(2.0, own_at(2.0))]
    near = hear(targets, Vessel(0, 2, 0, 10, 219000200).reports(3.0))
    far = hear(targets, Vessel(0, 21, 0, 10, 219000201).reports(3.0))

    assert gone == ["ais-219000101", "ais-219000100"]
    assert (near, far) == ("ais-219000200", None)
    assert targets.edge_nm == pytest.approx(19.0, abs=0.01)
    assert targets.crowded_out == 5 + 2 + 1


def test_what_is_lost_makes_room_before_what_is_heard() -> None:
    """A near station that has been silent for long is missed less than one far off that is there."""
    targets = AisTargets(capacity=10)
    hear(targets, Vessel(0, 1, 0, 10, 219000100).reports(1.0))
    for i in range(9):
        hear(targets, Vessel(i * 40, 20 + i, 0, 0, 219000101 + i).reports(100.0))
    changes = targets.tick(100.0, own_at(100.0))

    assert [change.track for change in changes if change.ended is Ending.CROWDED_OUT] == ["ais-219000100"]


def test_room_again_opens_the_edge() -> None:
    """When stations have gone, those farther off are taken in again."""
    targets = AisTargets(capacity=20)
    for i in range(20):
        hear(targets, Vessel(i * 18, 5 + i / 2, 0, 0, 219000100 + i).reports(1.0))
    targets.tick(2.0, own_at(2.0))
    assert targets.edge_nm is not None
    targets.tick(5000.0, own_at(5000.0))
    targets.tick(5001.0, own_at(5001.0))

    assert targets.edge_nm is None
    assert hear(targets, Vessel(0, 40, 0, 0, 219000201).reports(5002.0)) == "ais-219000201"


def test_bounded() -> None:
    """Where there is no room the newcomer is counted; those that are held go on."""
    targets = AisTargets(capacity=10)
    for i in range(15):
        hear(targets, Vessel(i * 20, 4, 0, 10, 219000100 + i).reports(1.0))
    for i in range(100):
        targets.learn(AisStatic(at_s=1.0, source=AIS, mmsi=300000000 + i, name=f"NAME {i}"))

    assert len(targets.heard()) == 10
    assert (targets.crowded_out, targets.load) == (5, 1.0)
    assert len(targets._names) == 20
    assert hear(targets, Vessel(0, 4, 0, 10, 219000100).reports(11.0)) == "ais-219000100"


@pytest.mark.parametrize("changes", [{"sog_kn": None}, {"cog_deg": None}])
def test_no_motion_told_is_not_settled(changes: dict[str, Any]) -> None:
    targets = AisTargets()
    hear(targets, Vessel(0, 4, 0, 10, 1).reports(1.0, **changes))

    assert not targets.heard()[0].estimate.settled


def test_motion_over_ground_is_not_mixed_with_ours_through_the_water() -> None:
    """Where own ship knows her speed through the water only, a station is a place alone."""
    targets = AisTargets()
    targets.take(Vessel(0, 4, 0, 10, 1).reports(1.0), own_at(1.0, MotionReference.WATER), LAT, LON, 1.0)

    assert not targets.heard()[0].estimate.settled


def test_errors_lie_along_and_across_the_course() -> None:
    """20 kn on 030: speed is known to 0.15 kn, course to 1.5 degrees, which is 0.52 kn across."""
    targets = AisTargets()
    hear(targets, Vessel(0, 4, 30, 20, 1).reports(1.0))
    p = targets.heard()[0].estimate.covariance
    u, v = sin(radians(30)), cos(radians(30))

    along = p[7] * u * u + 2 * p[8] * u * v + p[9] * v * v
    across = p[7] * v * v - 2 * p[8] * u * v + p[9] * u * u
    assert along**0.5 == pytest.approx(0.15)
    assert across**0.5 == pytest.approx(20 * radians(1.5))


def test_doubt_grows_with_silence() -> None:
    """Half a minute after a report at 10 kn her place may be off by more than a ship's length; at anchor not."""
    targets = AisTargets()
    hear(targets, Vessel(0, 4, 0, 10, 1).reports(1.0))
    hear(targets, Vessel(0, 4, 0, 0, 2).reports(1.0))
    moving, lying = (carried_on(heard.estimate, 61.0) for heard in targets.heard())

    assert moving.covariance[0] ** 0.5 * NM_M > 20
    assert lying.covariance[0] ** 0.5 * NM_M < 15


@pytest.mark.parametrize(
    ("changes", "state"),
    [
        ({"rate_deg_min": 20.0}, TrackState.MANOEUVRING),
        ({"rate_deg_min": 5.0}, TrackState.STEADY),
        ({"cog_deg": 40.0}, TrackState.MANOEUVRING),
        ({"sog_kn": 14.0}, TrackState.MANOEUVRING),
        ({"cog_deg": 8.0, "sog_kn": 11.0}, TrackState.STEADY),
    ],
)
def test_manoeuvre(changes: dict[str, float], state: TrackState) -> None:
    """By her rate of turn, or by a course or speed that is another than in the last report."""
    targets = AisTargets()
    vessel = Vessel(0, 4, 0, 10, 1)
    hear(targets, vessel.reports(1.0))
    hear(targets, vessel.reports(11.0, **changes))

    assert targets.heard()[0].state is state


@pytest.mark.parametrize(
    ("station", "speed_kn", "status", "interval_s"),
    [
        (AisClass.A, 0.0, 1, 180),
        (AisClass.A, 0.0, 0, 10),
        (AisClass.A, 5.0, 1, 10),
        (AisClass.A, 14.0, 0, 10),
        (AisClass.A, 14.1, 0, 6),
        (AisClass.A, 23.1, 0, 2),
        (AisClass.B, 2.0, None, 180),
        (AisClass.B, 2.1, None, 30),
        (AisClass.AID, None, None, 180),
        (AisClass.AIRCRAFT, 100.0, None, 10),
        (AisClass.LONG_RANGE, 12.0, 0, 180),
    ],
)
def test_reporting_intervals(station: AisClass, speed_kn: float | None, status: int | None, interval_s: int) -> None:
    """ITU-R M.1371 tables 1 and 2, from memory."""
    assert reporting_interval_s(station, speed_kn, status) == interval_s


def test_silence_by_class() -> None:
    """A fast ship is lost after a minute, one at anchor after 18; each coasts first, and is forgotten in the end."""
    targets = AisTargets()
    hear(targets, Vessel(0, 4, 0, 20, 1).reports(0.0))
    hear(targets, Vessel(90, 4, 0, 0, 2).reports(0.0, navigational_status=1))
    told = [
        (second, change.track, change.state, change.ended)
        for second in range(2000)
        for change in targets.tick(second, own_at(second))
    ]

    fast, moored = "ais-000000001", "ais-000000002"
    assert told == [
        (19, fast, TrackState.COASTING, None),
        (61, fast, TrackState.LOST, None),
        (541, moored, TrackState.COASTING, None),
        (661, fast, TrackState.LOST, Ending.FORGOTTEN),
        (1081, moored, TrackState.LOST, None),
        (1681, moored, TrackState.LOST, Ending.FORGOTTEN),
    ]
    assert (coasting_after_s(6.0), lost_after_s(6.0)) == (18.0, 60.0)
