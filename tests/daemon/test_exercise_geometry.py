"""Tracks, ranges and placings of exercises, against the reference geodesic library."""

from datetime import UTC, datetime

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic

from daemon.errors import UserError
from daemon.exercise import geodesy
from daemon.exercise.passage import Passage
from daemon.exercise.scenario import Leg, Meeting, OwnShip, Place, Scenario, Target, TidalStream
from daemon.exercise.truth import closest
from daemon.exercise.vessel import by_legs

ACROSS_LIMIT_M = 1.5
ALONG_LIMIT_M = 2.5
TRUTH_LIMIT_M = 5.0  # what the project promises for the truth of a passage


def scenario(*targets: Target, **changes: object) -> Scenario:
    values: dict[str, object] = {
        "title": "test",
        "start": datetime(2027, 1, 15, 8, tzinfo=UTC),
        "duration_min": 30.0,
        "place": Place(lat_deg=50.0, lon_deg=-5.0),
        "own_ship": OwnShip(course_deg=30.0, speed_kn=10.0),
        "targets": targets,
    }
    return Scenario(**{**values, **changes})  # type: ignore[arg-type]


def test_range_and_bearing_agree_with_the_geodesic() -> None:
    """Out to 30 NM and up to 75 degrees of latitude, across the equator and the antimeridian too."""
    rng = np.random.default_rng(7)
    for _ in range(1500):
        lat, lon, azimuth, distance = rng.uniform([-75, -180, 0, 0.05], [75, 180, 360, 30])
        there = Geodesic.WGS84.Direct(lat, lon, azimuth, distance * geodesy.NM_M)
        found, bearing = geodesy.range_and_bearing(lat, lon, there["lat2"], there["lon2"])
        across = np.radians(geodesy.wrapped(bearing - azimuth)) * distance * geodesy.NM_M

        assert abs(found - distance) * geodesy.NM_M < ALONG_LIMIT_M
        assert abs(across) < ACROSS_LIMIT_M


def test_destination_is_the_inverse() -> None:
    """A position laid off by range and bearing lies there."""
    rng = np.random.default_rng(8)
    lat, lon, bearing, distance = rng.uniform([-70, -180, 0, 0.05], [70, 180, 360, 24], (500, 4)).T
    there = geodesy.destination(lat, lon, bearing, distance)
    back, at = geodesy.range_and_bearing(lat, lon, *there)

    assert np.allclose(back, distance, atol=1e-6)
    assert np.allclose(geodesy.wrapped(at - bearing), 0, atol=1e-5)


@pytest.mark.parametrize(("lat", "lon"), [(50.0, -5.0), (-36.8, 174.8), (70.0, 20.0), (-0.02, 179.98)])
def test_a_passage_agrees_with_geodesic_steps(lat: float, lon: float) -> None:
    """Own ship and a target over an hour with turns and a stream: every second by the geodesic, within 5 m."""
    made = Passage(
        scenario(
            Target(
                name="other",
                range_nm=5,
                bearing_deg=70,
                course_deg=250,
                speed_kn=18,
                legs=(Leg(at_min=20, course_deg=160, turn="port", turn_rate_deg_min=60),),
            ),
            place=Place(lat_deg=lat, lon_deg=lon),
            duration_min=60.0,
            own_ship=OwnShip(course_deg=30, speed_kn=10, legs=(Leg(at_min=10, course_deg=300, speed_kn=16),)),
            tidal_stream=TidalStream(set_deg=120, drift_kn=3),
        )
    )
    for track in (made.own_track, made.targets):
        grid = track.grid
        at_lat, at_lon = float(grid.lat_deg[0, 0]), float(grid.lon_deg[0, 0])
        for second in range(3600):
            east, north = (float(v[second : second + 2, 0].mean()) for v in (grid.east_kn, grid.north_kn))
            step = Geodesic.WGS84.Direct(
                at_lat, at_lon, np.degrees(np.arctan2(east, north)), np.hypot(east, north) * geodesy.NM_M / 3600
            )
            at_lat, at_lon = step["lat2"], step["lon2"]
            if second % 300 == 299:
                off = Geodesic.WGS84.Inverse(at_lat, at_lon, grid.lat_deg[second + 1, 0], grid.lon_deg[second + 1, 0])

                assert off["s12"] < TRUTH_LIMIT_M


def test_a_leg_turns_the_way_it_says() -> None:
    """From 350 to 020 the shorter way is 30 degrees to starboard; by port it is 330; both take their time."""
    rows = 600
    shorter = by_legs(350, 10, [Leg(at_min=1, course_deg=20, turn_rate_deg_min=60)], rows)
    by_port = by_legs(350, 10, [Leg(at_min=1, course_deg=20, turn="port", turn_rate_deg_min=60)], rows)

    assert shorter.course_deg[60] == 350
    assert shorter.course_deg[75] == pytest.approx(365)
    assert shorter.course_deg[90] == shorter.course_deg[-1] == 380
    assert by_port.course_deg[60 + 165] == pytest.approx(350 - 165)
    assert by_port.course_deg[-1] == 20


def test_a_leg_that_comes_early_takes_over() -> None:
    """An alteration that begins during another starts from where that has come to, in course and in speed."""
    legs = [Leg(at_min=1, course_deg=90, turn_rate_deg_min=60), Leg(at_min=1.5, course_deg=0, turn_rate_deg_min=60)]
    course = by_legs(0, 10, legs, 300).course_deg

    assert course[90] == pytest.approx(30)
    assert course.max() == pytest.approx(30)
    assert course[120] == pytest.approx(0)


@pytest.mark.parametrize("passes", ["ahead", "astern", "to port", "to starboard"])
@pytest.mark.parametrize("relative", [40.0, -75.0, 10.0])
def test_a_meeting_comes_true(passes: str, relative: float) -> None:
    """'Passes 0.2 NM astern of us in 20 minutes from 40 degrees on the bow': the tracks do so, by geographiclib."""
    target = Target(
        name="other",
        speed_kn=14,
        meets=Meeting(cpa_nm=0.2, at_min=20, passes=passes, from_relative_deg=relative),  # type: ignore[arg-type]
    )
    made = Passage(scenario(target))
    own, other = made.own_track.grid, made.targets.grid
    lines = [
        Geodesic.WGS84.Inverse(own.lat_deg[s, 0], own.lon_deg[s, 0], other.lat_deg[s, 0], other.lon_deg[s, 0])
        for s in range(1801)
    ]
    distances = np.array([line["s12"] for line in lines]) / geodesy.NM_M
    off_bow = geodesy.wrapped(np.array([line["azi1"] for line in lines]) - 30.0)
    (found,) = closest(made)

    assert off_bow[0] == pytest.approx(relative, abs=0.2)
    assert distances.min() == pytest.approx(0.2, abs=0.005)
    assert int(distances.argmin()) == pytest.approx(1200, abs=3)
    assert found.cpa_nm == pytest.approx(distances.min(), abs=0.001)
    assert found.at_min == pytest.approx(20, abs=0.05)
    if passes in ("to port", "to starboard"):
        assert (off_bow[1200] > 0) == (passes == "to starboard")
    else:
        crossing = np.flatnonzero(np.diff(np.sign(np.sin(np.radians(off_bow)))))
        assert (np.abs(off_bow[crossing[0]]) < 90) == (passes == "ahead")


def test_an_impossible_meeting_is_refused() -> None:
    """A vessel of 2 knots cannot come from astern of one that makes 10."""
    target = Target(
        name="slow", speed_kn=2, meets=Meeting(cpa_nm=0.1, at_min=20, passes="astern", from_relative_deg=180.0)
    )
    with pytest.raises(UserError, match=r"targets\.0 \(slow\): no course of 2 kn brings it from 210\.0°"):
        Passage(scenario(target)).targets  # noqa: B018


@pytest.mark.parametrize("passes", ["ahead", "to port", "to starboard"])
@pytest.mark.parametrize("cpa_nm", [0.0, 0.5])
def test_who_moves_as_we_do_never_meets_us(passes: str, cpa_nm: float) -> None:
    """Refused in words: its CPA is its range, wherever it is, and not the one asked for."""
    target = Target(
        name="twin",
        course_deg=30.0,
        speed_kn=10,
        meets=Meeting(cpa_nm=cpa_nm, at_min=20, passes=passes),  # type: ignore[arg-type]
    )
    with pytest.raises(UserError, match=r"targets\.0 \(twin\): it moves as we do, so it never meets us"):
        Passage(scenario(target)).targets  # noqa: B018


def test_a_course_that_is_written_again_is_no_circle() -> None:
    """Steady on 168.6 after a turn, 'starboard to 168.6' alters nothing but the speed, whatever the rounding."""
    rng = np.random.default_rng(9)
    for before, after in np.round(rng.uniform(0, 360, (200, 2)), 1):
        for turn in ("port", "starboard"):
            again = Leg(at_min=6, course_deg=after, speed_kn=5, turn=turn)
            course = by_legs(before, 8, [Leg(at_min=1, course_deg=after), again], 600)

            assert course.course_deg[-1] == pytest.approx(course.course_deg[359], abs=1e-6)
            assert course.speed_kn[-1] == 5


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        (
            {"own_ship": OwnShip(course_deg=0, speed_kn=100)},
            r"own ship comes beyond 85 degrees of latitude in minute 1",
        ),
        (
            {"own_ship": OwnShip(course_deg=180, speed_kn=1)},
            r"fast one comes beyond 85 degrees of latitude in minute 1",
        ),
        ({"duration_min": 20160.0}, r"1000 targets for so long do not fit into memory: end it after 0\.23 days"),
    ],
)
def test_what_cannot_be_made_is_refused_in_words(changes: dict[str, object], said: str) -> None:
    """Over a pole, where a course means nothing; and more vessels for longer than a computer holds."""
    many = 1000 if "duration_min" in changes else 1
    targets = [Target(name=f"n{k}", range_nm=1, bearing_deg=0) for k in range(many - 1)]
    fast = Target(name="fast one", range_nm=1, bearing_deg=0, course_deg=0, speed_kn=100)
    far_north = {"place": Place(lat_deg=80.0, lon_deg=0.0), "duration_min": 240.0}
    with pytest.raises(UserError, match=said):
        Passage(scenario(*targets, fast, **{**far_north, **changes})).targets  # noqa: B018


@pytest.mark.parametrize("others", [1, 600])
def test_a_name_is_one_vessels(others: int) -> None:
    """Faults and marks go by names: two of one name are refused, among however many."""
    targets = [Target(name=f"n{k}", range_nm=1, bearing_deg=0) for k in range(others)]
    with pytest.raises(UserError, match="two targets are called 'n0'"):
        Passage(scenario(*targets, targets[0]))
