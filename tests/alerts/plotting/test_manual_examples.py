"""Published plotting examples, worked by the manual plot within the tolerance noted beside each.

Each test names its example in tests/reference/worked-examples.json, where the published source, its answers, the
exact ones and the tolerance stand. Where a source gives no answer the exact geometry is held ("computed").
"""

from math import atan2, degrees, hypot
from typing import Any

import pytest

from alerts.plotting.manual import OwnLeg, Reading, plot
from alerts.plotting.sheet import Accuracy, ManualPlot
from alerts.plotting.terms import BearingTrend, Passing
from tests.reference.examples import EXAMPLES, vector

KM_NM = 1 / 1.852


def minutes_of(observation: dict[str, Any]) -> float:
    if "minute" in observation:
        return float(observation["minute"])
    return int(observation["time_hhmm"][:2]) * 60 + int(observation["time_hhmm"][2:])


def worked(identity: str) -> tuple[dict[str, Any], ManualPlot]:
    """An example that gives observations, plotted."""
    example = EXAMPLES[identity]
    given = example["given"]
    readings = []
    for one in given["observations"]:
        relative = "bearing_relative_deg" in one
        bearing = one["bearing_relative_deg"] if relative else one["bearing_true_deg"]
        range_nm = one["range_nm"] if "range_nm" in one else one["range_yd"] / given["yards_per_nm"]
        readings.append(Reading(60 * minutes_of(one), range_nm, bearing, relative))
    own = []
    if "own_course_true_deg" in given:
        own = [OwnLeg(readings[0].at_s, given["own_course_true_deg"], given["own_speed_kn"])]
    return example, plot(readings, own)


def held(example: dict[str, Any], found: dict[str, float]) -> None:
    """Each found value against the published answer, or the computed one where none is printed."""
    for name, value in found.items():
        expected = example["answers"].get(name, example["computed"].get(name))
        assert value == pytest.approx(expected, abs=example["tolerance"][name]), name


def drawn(east: float, north: float, east_kn: float, north_kn: float, own: OwnLeg | None = None) -> ManualPlot:
    """Two exact readings, six minutes apart, that END at this relative position; velocities relative."""
    readings = []
    for minutes in (-6, 0):
        x, y = east + east_kn * minutes / 60, north + north_kn * minutes / 60
        readings.append(Reading(minutes * 60.0, hypot(x, y), degrees(atan2(x, y)) % 360))
    return plot(readings, [own] if own else [], Accuracy())


def test_a01_pub_1310_chapter_6_example_1() -> None:
    """Four readings in yards: DRM 130, SRM 10, CPA 6900 yd bearing 220 at 29 minutes after 0908 (Pub. 1310)."""
    example, answer = worked("A01-pub1310-6-ex1")
    movement = answer.movement
    assert movement.course
    assert movement.cpa_bearing
    assert movement.tcpa_min

    held(
        example,
        {
            "drm_deg": movement.course.best,
            "srm_kn": movement.speed.best,
            "cpa_yd": movement.cpa.best * 2025.372,
            "cpa_bearing_true_deg": movement.cpa_bearing.best,
            "cpa_minutes_after_0908": movement.tcpa_min.best + 12,
        },
    )


@pytest.mark.parametrize("identity", ["A05-ccga-end-on", "A06-plot-345-15", "A07-quiz-steady-bearing"])
def test_a_published_readings(identity: str) -> None:
    """The published true course, speed, relative speed and CPA (coast-guard training slides and problems)."""
    example, answer = worked(identity)
    assert answer.target
    assert answer.target.course
    course = answer.target.course.best % 360
    found = {
        "target_course_true_deg": course,
        "target_course_relative_deg": course - (answer.heading_deg or 0),
        "target_speed_kn": answer.target.speed.best,
        "srm_kn": answer.movement.speed.best,
        "cpa_nm": answer.movement.cpa.best,
    }

    held(example, {name: value for name, value in found.items() if name in example["tolerance"]})


def test_a07_is_the_steady_bearing_of_rule_7() -> None:
    """Bearing constant and range closing: CPA 0, steady, collision course (Rule 7(d)(i))."""
    _, answer = worked("A07-quiz-steady-bearing")

    assert answer.movement.cpa.best == pytest.approx(0, abs=1e-6)
    assert answer.bearing_trend == BearingTrend.STEADY
    assert answer.passing == Passing.COLLISION_COURSE
    assert answer.movement.tcpa_min
    assert answer.movement.tcpa_min.best == pytest.approx(18.0)


def test_b01_time_to_cpa() -> None:
    """3.0 NM along the relative track in 12 min and 1.3 NM to run: 5.2 min (small-craft radar course notes)."""
    example = EXAMPLES["B01-rya-tcpa-arithmetic"]
    given = example["given"]
    ahead, off = given["distance_A_to_CPA_nm"], 0.5
    speed = given["relative_distance_OA_nm"] / given["plot_interval_min"] * 60
    answer = drawn(off, ahead, 0.0, -speed)

    assert answer.movement.tcpa_min
    held(example, {"tcpa_min": answer.movement.tcpa_min.best})


def test_b03_cpa_is_square_to_the_relative_track() -> None:
    """DRM 081 relative, CPA 2.0 NM: bearing at CPA 352 relative, exact 351 (online radar lesson)."""
    example = EXAMPLES["B03-drm-perpendicular"]
    given = example["given"]
    along = vector(given["drm_relative_deg"], 1.0)
    square = vector(given["drm_relative_deg"] - 90, given["cpa_nm"])
    answer = drawn(square[0] - 8 * along[0], square[1] - 8 * along[1], 10 * along[0], 10 * along[1])

    assert answer.movement.cpa_bearing
    assert answer.movement.cpa.best == pytest.approx(given["cpa_nm"], abs=1e-4)
    held(example, {"cpa_relative_bearing_deg": answer.movement.cpa_bearing.best % 360})


def test_b04_bow_and_beam() -> None:
    """Bearing 45° to 90° off the bow over a run of 3.4 NM: 3.4 NM off abeam (quiz item)."""
    example = EXAMPLES["B04-bow-beam"]
    run = example["given"]["run_nm"]
    answer = plot([Reading(0, run * 2**0.5, 45, relative=True), Reading(1200, run, 90, relative=True)])

    held(example, {"distance_off_abeam_nm": answer.movement.cpa.best})


@pytest.mark.parametrize("number", [1, 2, 3, 4])
def test_c_scenarios_of_a_823(number: int) -> None:
    """The four operational scenarios: exact CPA, TCPA, true course and speed (A.823(19) Appendix 2, computed)."""
    example = EXAMPLES[f"C0{number}-imo-scenario-{number}"]
    given = example["given"]
    east, north = vector(given["target_bearing_true_deg"], given["target_range_nm"])
    velocity = vector(given["target_relative_course_deg"], given["target_relative_speed_kn"])
    own = OwnLeg(-360, given["own_course_true_deg"], given["own_speed_kn"])
    answer = drawn(east, north, *velocity, own)
    assert answer.movement.tcpa_min
    assert answer.target
    assert answer.target.course

    held(
        example,
        {
            "cpa_nm": answer.movement.cpa.best,
            "tcpa_min": answer.movement.tcpa_min.best,
            "target_course_true_deg": answer.target.course.best % 360,
            "target_speed_kn": answer.target.speed.best,
        },
    )


@pytest.mark.parametrize(
    ("identity", "first", "second"),
    [("F02-closest-15-20", "A", "B"), ("F04-closest-12-9", "A", "B"), ("F05-closest-30-14", "Q", "P")],
)
def test_f_two_ships(identity: str, first: str, second: str) -> None:
    """Two-ship exercises of mechanics: closest distance, time and relative speed (kilometres)."""
    example = EXAMPLES[identity]
    given = example["given"]
    east, north = vector(given[f"{second}_bearing_from_{first}_deg"], given[f"{second}_range_km"] * KM_NM)
    mine = vector(given[f"ship{first}_course_true_deg"], given[f"ship{first}_speed_kmh"] * KM_NM)
    hers = vector(given[f"ship{second}_course_true_deg"], given[f"ship{second}_speed_kmh"] * KM_NM)
    movement = drawn(east, north, hers[0] - mine[0], hers[1] - mine[1]).movement
    assert movement.tcpa_min

    assert movement.cpa.best / KM_NM == pytest.approx(example["computed"]["cpa_km"], abs=0.01)
    assert movement.tcpa_min.best == pytest.approx(example["computed"]["tcpa_min"], abs=0.06)
    assert movement.speed.best / KM_NM == pytest.approx(example["computed"]["relative_speed"], abs=0.01)


def test_f03_vectors() -> None:
    """Positions and velocities as components: 11.1 km after 0.385 h (school notes on relative velocity)."""
    example = EXAMPLES["F03-vce-example-2"]
    given = example["given"]
    place = [b - a for a, b in zip(given["A_pos_km_xy"], given["B_pos_km_xy"], strict=True)]
    speed = [b - a for a, b in zip(given["A_vel_kmh_xy"], given["B_vel_kmh_xy"], strict=True)]
    movement = drawn(*(KM_NM * value for value in (*place, *speed))).movement
    assert movement.tcpa_min

    held(example, {"tcpa_h": movement.tcpa_min.best / 60, "cpa_km": movement.cpa.best / KM_NM})


def test_g01_one_degree_at_twelve_miles() -> None:
    """Bearing errors of -1° and +1° make a collision course an apparent miss of over 2 NM (Cockcroft and Lameijer).

    The plot must not claim that miss: its limits include a collision, and it warns.
    """
    example = EXAMPLES["G01-cockcroft-1deg"]
    answer = plot([Reading(0, 12, 44), Reading(360, 10, 46)])

    assert answer.movement.cpa.best == pytest.approx(example["computed"]["apparent_cpa_nm"], abs=0.01)
    assert answer.movement.cpa.low == 0.0
    assert any("include a collision course" in text for text in answer.warnings)


def test_h01_a_target_seen_from_a_stopped_ship() -> None:
    """Range, bearing, course and speed of a published TTM sentence give its own CPA and TCPA back."""
    example = EXAMPLES["H01-ttm-gonmea"]
    _, _, distance, bearing, _, speed, course, *_ = example["given"]["sentence"].split(",")
    east, north = vector(float(bearing), float(distance))
    movement = drawn(east, north, *vector(float(course), float(speed))).movement
    assert movement.tcpa_min

    held(example, {"cpa_nm": movement.cpa.best, "tcpa_min": movement.tcpa_min.best})
