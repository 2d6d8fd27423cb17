"""Closed-form motion against published plots, exam keys and textbook answers.

worked-examples.json holds each example with its source, what it gives, the published and the exact answers, and a
tolerance for the way it was published (read off a plot, rounded). Every entry is used but I01, whose great-circle
tracks of thousands of miles are beyond a radar's plane (see test_on_the_ellipsoid.py for the Earth's shape).
"""

import math
from pathlib import Path

import numpy as np
import pytest

from alerts.plotting.geometry import bearing_of, closest_approach, wrap_degrees
from tests.reference.examples import EXAMPLES, vector


class Worked:
    """Relative motion in one example: r, v, and what closed form makes of them. Any length unit, hours."""

    def __init__(self, r: tuple[float, float], v: tuple[float, float]) -> None:
        self.v = v
        found = closest_approach(*(np.array([part]) for part in (*r, *v)))
        self.cpa = float(found.cpa_nm[0])
        self.tcpa_min = float(found.tcpa_min[0])
        self.cpa_bearing_deg = float(found.cpa_bearing_deg[0])
        self.speed = float(found.relative_speed_kn[0])
        self.course_deg = direction(v)


def direction(v: tuple[float, float]) -> float:
    return float(bearing_of(np.array([v[0]]), np.array([v[1]]), 0.0)[0])


def between(first: tuple[float, float], second: tuple[float, float], minutes: float) -> Worked:
    """From two fixes, some minutes apart; TCPA counts from the second."""
    hours = minutes / 60
    return Worked(second, ((second[0] - first[0]) / hours, (second[1] - first[1]) / hours))


def minutes_of(hhmm: str) -> int:
    return int(hhmm[:2]) * 60 + int(hhmm[2:])


def check(example_id: str, **found: float) -> None:
    """Hold what was found against the published answer and the exact one, within the example's own tolerance.

    A course or bearing is compared round the circle.
    """
    example = EXAMPLES[example_id]
    compared = 0
    for key, tolerance in example["tolerance"].items():
        for kind in ("answers", "computed"):
            expected = example[kind].get(key)
            if expected is None or key not in found:
                continue
            difference = found[key] - expected
            if key.endswith("_deg"):
                difference = math.remainder(difference, 360)

            assert abs(difference) <= tolerance, f"{example_id} {kind} {key}: {found[key]} for {expected}"
            compared += 1
    assert compared > 0, f"{example_id}: nothing was compared"
    assert set(found) <= set(example["tolerance"]), f"{example_id}: no tolerance for {set(found)}"


def test_a01_four_fixes() -> None:
    """Pub. 1310 (2001), Ch. 6 Part One, Example 1, p. 244: direction and speed of relative movement, CPA."""
    given = EXAMPLES["A01-pub1310-6-ex1"]["given"]
    fixes = given["observations"]
    places = [vector(fix["bearing_true_deg"], fix["range_yd"] / given["yards_per_nm"]) for fix in fixes]
    elapsed = minutes_of(fixes[-1]["time_hhmm"]) - minutes_of(fixes[0]["time_hhmm"])
    worked = between(places[0], places[-1], elapsed)

    check(
        "A01-pub1310-6-ex1",
        drm_deg=worked.course_deg,
        srm_kn=worked.speed,
        cpa_yd=worked.cpa * given["yards_per_nm"],
        cpa_bearing_true_deg=worked.cpa_bearing_deg,
        cpa_minutes_after_0908=worked.tcpa_min + elapsed,
        mrm_yd=worked.speed * elapsed / 60 * given["yards_per_nm"],
    )


def two_fixes(example_id: str) -> tuple[Worked, tuple[float, float]]:
    """An example of two observations and own course and speed: relative motion, and the target's true velocity."""
    given = EXAMPLES[example_id]["given"]
    places, times = [], []
    for fix in given["observations"]:
        bearing = fix.get("bearing_true_deg")
        if bearing is None:
            bearing = fix["bearing_relative_deg"] + given["own_course_true_deg"]
        places.append(vector(bearing, fix["range_nm"]))
        times.append(fix["minute"] if "minute" in fix else minutes_of(fix["time_hhmm"]))
    worked = between(places[0], places[1], times[1] - times[0])
    own = vector(given["own_course_true_deg"], given["own_speed_kn"])
    return worked, (worked.v[0] + own[0], worked.v[1] + own[1])


def test_a05_end_on() -> None:
    """Canadian Coast Guard Auxiliary (Pacific), radar plotting slides 2008, 'end-on situation'."""
    worked, true = two_fixes("A05-ccga-end-on")

    check(
        "A05-ccga-end-on",
        target_course_relative_deg=direction(true) - 50,
        target_speed_kn=math.hypot(*true),
        cpa_nm=worked.cpa,
    )


def test_a06_two_fixes() -> None:
    """USCG-style radar plotting problem, student solution sheet."""
    _, true = two_fixes("A06-plot-345-15")

    check("A06-plot-345-15", target_course_true_deg=direction(true), target_speed_kn=math.hypot(*true))


def test_a07_steady_bearing() -> None:
    """USCG-style quiz item: relative bearing 030 held from 8 to 6 NM, so CPA is nil (COLREG Rule 7(d)(i))."""
    worked, true = two_fixes("A07-quiz-steady-bearing")

    check("A07-quiz-steady-bearing", srm_kn=worked.speed)
    assert worked.cpa == pytest.approx(0.0, abs=1e-9)
    assert worked.tcpa_min == pytest.approx(18.0)
    assert direction(true) == pytest.approx(331.9848, abs=1e-3)
    assert math.hypot(*true) == pytest.approx(11.3273, abs=1e-3)


def test_b01_time_to_closest_approach() -> None:
    """RYA radar course notes (2009): 3.0 NM run in 12 minutes, 1.3 NM still to run along the relative line."""
    worked = Worked((0.0, -1.3), (0.0, 3.0 / 12 * 60))

    check("B01-rya-tcpa-arithmetic", tcpa_min=worked.tcpa_min)
    assert worked.speed == pytest.approx(15.0)


def test_b03_cpa_is_square_to_the_relative_track() -> None:
    """Online radar lesson: relative movement line 081R, CPA 2 NM at 352R."""
    along, square = vector(81, 10.0), vector(81 - 90, 2.0)
    worked = Worked((square[0] - along[0], square[1] - along[1]), along)

    check("B03-drm-perpendicular", cpa_relative_bearing_deg=worked.cpa_bearing_deg)
    assert worked.cpa == pytest.approx(2.0)


def test_b04_bow_and_beam() -> None:
    """USCG-style quiz item: bearing doubled from 045 to 090 relative, so the distance off is the distance run."""
    run_nm = EXAMPLES["B04-bow-beam"]["given"]["run_nm"]
    worked = Worked(vector(45, run_nm * math.sqrt(2)), (0.0, -10.0))

    check("B04-bow-beam", distance_off_abeam_nm=worked.cpa)
    assert worked.tcpa_min == pytest.approx(run_nm / 10 * 60)
    assert worked.cpa_bearing_deg == pytest.approx(90.0)


@pytest.mark.parametrize(
    "example_id", ["C01-imo-scenario-1", "C02-imo-scenario-2", "C03-imo-scenario-3", "C04-imo-scenario-4"]
)
def test_c_imo_scenarios(example_id: str) -> None:
    """IMO A.823(19) Appendix 2 (the same in 33 CFR 164.38 App. A Annex 2), the four operational scenarios."""
    given = EXAMPLES[example_id]["given"]
    v = vector(given["target_relative_course_deg"], given["target_relative_speed_kn"])
    worked = Worked(vector(given["target_bearing_true_deg"], given["target_range_nm"]), v)
    own = vector(given["own_course_true_deg"], given["own_speed_kn"])
    true = (v[0] + own[0], v[1] + own[1])

    check(
        example_id,
        cpa_nm=worked.cpa,
        tcpa_min=worked.tcpa_min,
        target_course_true_deg=direction(true),
        target_speed_kn=math.hypot(*true),
    )


def test_d01_turn_to_pass_a_daymark() -> None:
    """USCG deck examination item: run 3 minutes, then steer 222 to leave the mark 1 NM to starboard.

    Forward: on the exact course the mark passes at 1.0 NM to starboard, abeam at the stated time.
    """
    given, computed = (EXAMPLES["D01-daymark-241"][kind] for kind in ("given", "computed"))
    run = given["own_speed_kn"] * given["minutes_from_observation_to_turn"] / 60
    mark = vector(given["bearing_true_deg"], given["range_nm"] - run)
    east, north = vector(computed["new_course_true_deg"], -given["own_speed_kn"])
    worked = Worked(mark, (east, north))

    check("D01-daymark-241", new_course_true_deg=computed["new_course_true_deg"])
    assert worked.cpa == pytest.approx(1.0, abs=0.001)
    assert worked.tcpa_min == pytest.approx(computed["minutes_after_turn_when_abeam"], abs=0.01)
    assert math.remainder(worked.cpa_bearing_deg - computed["new_course_true_deg"] - 90, 360) == pytest.approx(0)


def test_d06_pass_a_light() -> None:
    """USCG-type problem with printed solution: a light ahead at 11 NM left 2 NM to starboard."""
    given, computed = (EXAMPLES["D06-light-163"][kind] for kind in ("given", "computed"))
    east, north = vector(computed["new_course_true_deg"], -given["own_speed_kn"])
    worked = Worked(vector(given["bearing_true_deg"], given["range_nm"]), (east, north))

    check(
        "D06-light-163",
        minutes_to_abeam=worked.tcpa_min,
        distance_run_nm=worked.tcpa_min / 60 * given["own_speed_kn"],
    )
    assert worked.cpa == pytest.approx(given["pass_distance_nm"], abs=0.001)


@pytest.mark.parametrize(("example_id", "unit"), [("E07-intercept-248", "nm"), ("E12-intercept-physics", "km")])
def test_e_intercepts(example_id: str, unit: str) -> None:
    """A deck examination item and a physics textbook exercise: on the answer's course the CPA is nil, at its time."""
    given, computed = EXAMPLES[example_id]["given"], EXAMPLES[example_id]["computed"]
    speed = "kn" if unit == "nm" else "kmh"
    target = vector(given["target_course_true_deg"], given[f"target_speed_{speed}"])
    own = vector(computed["intercept_course_true_deg"], given[f"own_speed_{speed}"])
    worked = Worked(
        vector(given["target_bearing_true_deg"], given[f"target_range_{unit}"]),
        (target[0] - own[0], target[1] - own[1]),
    )

    check(example_id, intercept_course_true_deg=computed["intercept_course_true_deg"])
    assert worked.cpa == pytest.approx(0.0, abs=0.02)
    assert worked.tcpa_min / 60 == pytest.approx(computed["hours_to_intercept"], abs=0.001)


def test_f02_two_ships_square() -> None:
    """Mechanics exercise: a 3-4-5 triangle."""
    worked = Worked((10.0, 0.0), (-15.0, -20.0))

    check("F02-closest-15-20", relative_speed=worked.speed, bearing_at_cpa_true_deg=worked.cpa_bearing_deg)
    assert worked.cpa == pytest.approx(8.0)
    assert worked.tcpa_min == pytest.approx(14.4)
    assert worked.course_deg == pytest.approx(216.8699, abs=1e-4)


def test_f03_vectors() -> None:
    """VCE Specialist Mathematics notes, relative velocity, example 2: 40 sqrt(13)/13 km."""
    worked = Worked((10.0, 5.0), (1.0 - 3.0, 4.0 - 1.0))

    check("F03-vce-example-2", tcpa_h=worked.tcpa_min / 60, cpa_km=worked.cpa)


def test_f04_two_ships() -> None:
    """Calculus exercise: 12 and 9 km/h, 15 km apart; z squared is 81."""
    worked = Worked((0.0, 15.0), (9.0, -12.0))

    check("F04-closest-12-9", tcpa_h=worked.tcpa_min / 60, cpa_km=worked.cpa)


def test_f05_two_ships() -> None:
    """Mechanics exercise: P and Q; their relative speed is 40."""
    given = EXAMPLES["F05-closest-30-14"]["given"]
    p, q = vector(90, 30.0), vector(given["shipQ_course_true_deg"], 14.0)
    worked = Worked((0.0, 7.0), (p[0] - q[0], p[1] - q[1]))

    check("F05-closest-30-14", relative_speed=worked.speed)
    assert worked.cpa == pytest.approx(6.72, abs=0.001)
    assert worked.tcpa_min == pytest.approx(2.94, abs=0.001)


def test_g01_two_bearings_a_degree_wrong() -> None:
    """Cockcroft and Lameijer, p. 44: a true collision course seems to pass over 2 NM off."""
    computed = EXAMPLES["G01-cockcroft-1deg"]["computed"]
    worked = between(vector(-1, 12.0), vector(1, 10.0), 6)

    assert worked.cpa > computed["apparent_cpa_more_than_nm"]
    assert worked.cpa == pytest.approx(computed["apparent_cpa_nm"], abs=1e-3)


def test_h01_a_sentence_agrees_with_itself() -> None:
    """TTM documentation example of a public parsing library: with own ship stopped its CPA and TCPA follow."""
    fields = EXAMPLES["H01-ttm-gonmea"]["given"]["sentence"].split(",")
    worked = Worked(vector(float(fields[3]), float(fields[2])), vector(float(fields[6]), float(fields[5])))

    check("H01-ttm-gonmea", cpa_nm=worked.cpa, tcpa_min=worked.tcpa_min)


def test_every_entry_is_used() -> None:
    """An example added to the file is to be tested, or to be named here with the reason why it cannot be."""
    source = Path(__file__).read_text(encoding="utf-8")
    beyond_the_plane = {"I01-sphere-cpa"}
    unused = {example_id for example_id in EXAMPLES if f'"{example_id}"' not in source}

    assert unused <= beyond_the_plane


def test_change_of_bearing_between_ranges() -> None:
    """Table of reference-values section 3 (computed there from straight tracks): CPA 0.5 NM, 12 to 10 NM 0.5 degree,
    and so on. The difference of bearings is asin(CPA/range) apart."""
    table = {0.1: (0.1, 0.1, 0.2, 0.5, 0.5, 1.0, 2.9), 0.5: (0.5, 0.7, 1.2, 2.4, 2.4, 4.9, 15.5)}
    steps = ((12, 10), (10, 8), (8, 6), (6, 4), (4, 3), (3, 2), (2, 1))
    for cpa, changes in table.items():
        for (far, near), change in zip(steps, changes, strict=True):
            ahead = [math.sqrt(r * r - cpa * cpa) for r in (far, near)]
            found = wrap_degrees(np.degrees(np.arctan2(cpa, ahead[1]) - np.arctan2(cpa, ahead[0])))

            assert float(found) == pytest.approx(change, abs=0.051)
            assert Worked((cpa, ahead[1]), (0.0, -10.0)).cpa == pytest.approx(cpa)
