"""The trial manoeuvre: against exact geometry, published alterations, and the closed form of holding on."""

from collections.abc import Sequence
from math import hypot

import numpy as np
import pytest

from alerts.plotting.cautions import cautions
from alerts.plotting.kinematics import Estimate, OwnMotion
from alerts.plotting.motion import assess
from alerts.plotting.terms import Passing, TrackState
from alerts.plotting.trial import Handling, Trial, TrialLeg, own_course_speed, path_of, table, try_out
from parsers.observations import MotionReference
from tests.reference.examples import EXAMPLES, vector

AT_ONCE = Handling(turn_deg_min=1e9, speed_kn_min=1e9)


def own_on(course: float, speed: float, sd_kn: float = 0.0, heading: float | None = None) -> OwnMotion:
    heading = course if heading is None else heading
    return OwnMotion(0.0, 0.0, 0.0, *vector(course, speed), sd_kn, MotionReference.GROUND, heading, 0.0)


def target(
    bearing: float, range_nm: float, course: float, speed: float, place_sd_nm: float = 0.0, velocity_sd_kn: float = 0.0
) -> Estimate:
    p, v = place_sd_nm**2, velocity_sd_kn**2
    covariance = (p, 0.0, 0.0, 0.0, p, 0.0, 0.0, v, 0.0, v)
    place, velocity = vector(bearing, range_nm), vector(course, speed)
    return Estimate(0.0, *place, *velocity, covariance, TrackState.STEADY, True, 60)


def test_holding_on_is_the_plots_own_answer() -> None:
    """Closing targets: CPA, TCPA and their spread as the closed form of the watch gives them (motion.assess)."""
    own = own_on(20, 9, sd_kn=0.15)
    targets = [target(50, 6, 250, 12, 0.03, 0.5), target(340, 4, 120, 8, 0.02, 0.3), target(200, 3, 15, 16, 0.02, 0.4)]
    rows = assess(targets, [own] * 3, 1.0).rows()
    told = try_out(targets, own, [], 1.0)

    for row, outcome in zip(rows, told.hold_on, strict=True):
        assert outcome.cpa_nm == pytest.approx(row.cpa_nm, abs=1e-6)
        assert outcome.tcpa_min == pytest.approx(row.tcpa_min, abs=1e-4)
        assert outcome.tcpa_sd_min == pytest.approx(row.tcpa_sd_min, rel=0.2)
        assert outcome.passing == row.passing
    assert told.hold_on == told.trial


def test_a06_new_course_to_pass_at_two_miles() -> None:
    """Alter to 014.6 when the range is 4.5 NM: CPA 2.0 NM, the target to port (USCG-style problem, computed)."""
    example = EXAMPLES["A06-plot-345-15"]
    given, computed = example["given"], example["computed"]
    own = own_on(given["own_course_true_deg"], given["own_speed_kn"])
    other = target(326, 6.0, computed["target_course_true_deg"], computed["target_speed_kn"])
    leg = TrialLeg(
        after_min=computed["manoeuvre_minutes_after_1206"], course_deg=computed["new_course_true_deg_candidates"][0]
    )
    told = try_out([other], own, [leg], 2.0, AT_ONCE).trial[0]

    assert told.cpa_nm == pytest.approx(2.0, abs=0.01)
    assert told.side == "port"


@pytest.mark.parametrize("identity", ["D01-daymark-241", "D06-light-163"])
def test_d_a_mark_left_to_starboard(identity: str) -> None:
    """The course that leaves a fixed mark abeam at the given distance (deck examinations)."""
    example = EXAMPLES[identity]
    given, computed = example["given"], example["computed"]
    own = own_on(given["own_course_true_deg"], given["own_speed_kn"])
    delay = given.get("minutes_from_observation_to_turn", 0.0)
    mark = target(given["bearing_true_deg"], given["range_nm"], 0.0, 0.0)
    told = try_out(
        [mark], own, [TrialLeg(after_min=delay, course_deg=computed["new_course_true_deg"])], 0.5, AT_ONCE
    ).trial[0]

    assert told.cpa_nm == pytest.approx(given["pass_distance_nm"], abs=0.01)
    assert told.side == "starboard"
    abeam = computed.get("minutes_after_turn_when_abeam", computed.get("minutes_to_abeam"))
    assert told.tcpa_min == pytest.approx(delay + abeam, abs=0.05)


@pytest.mark.parametrize("identity", ["E07-intercept-248", "E12-intercept-physics"])
def test_e_an_intercept_is_a_collision_course(identity: str) -> None:
    """On the published course to intercept the CPA is zero at the stated time (examination; physics textbook)."""
    example = EXAMPLES[identity]
    given, computed = example["given"], example["computed"]
    nm = 1 / 1.852 if "target_range_km" in given else 1.0
    speed = given.get("own_speed_kn", given.get("own_speed_kmh", 0.0) * nm)
    other = target(
        given["target_bearing_true_deg"],
        given.get("target_range_nm", given.get("target_range_km", 0.0) * nm),
        given["target_course_true_deg"],
        given.get("target_speed_kn", given.get("target_speed_kmh", 0.0) * nm),
    )
    leg = TrialLeg(course_deg=computed["intercept_course_true_deg"])
    told = try_out([other], own_on(0, speed), [leg], 0.5, AT_ONCE).trial[0]

    assert told.cpa_nm == pytest.approx(0.0, abs=0.05)
    assert told.passing == Passing.COLLISION_COURSE
    assert told.tcpa_min / 60 == pytest.approx(computed["hours_to_intercept"], abs=0.005)


def test_the_path_against_small_steps() -> None:
    """Delay, turn at 60°/min, speed at 2 kn/min, a second leg: the least distance as stepping by 0.2 s finds it."""
    own, other = own_on(0, 12), target(30, 3.0, 262, 11)
    legs = [TrialLeg(after_min=2, course_deg=70, speed_kn=6), TrialLeg(after_min=8, course_deg=350)]
    handling = Handling(turn_deg_min=60, speed_kn_min=2)
    told = try_out([other], own, legs, 0.5, handling).trial[0]

    step_h, place, least, when = 0.2 / 3600, np.zeros(2), np.inf, 0.0
    course, speed = 0.0, 12.0
    for k in range(int(40 * 60 / 0.2)):
        minutes = k * 0.2 / 60
        goal_course, goal_speed = (0.0, 12.0) if minutes < 2 else (70.0, 6.0) if minutes < 8 else (-10.0, 6.0)
        turn, change = 60 * 0.2 / 60, 2 * 0.2 / 60
        course += max(-turn, min(turn, goal_course - course))
        speed += max(-change, min(change, goal_speed - speed))
        place = place + np.array(vector(course, speed)) * step_h
        there = np.array(vector(30, 3.0)) + np.array(vector(262, 11)) * (k + 1) * step_h
        distance = hypot(*(there - place))
        if distance < least:
            least, when = distance, minutes
    assert told.cpa_nm == pytest.approx(least, abs=0.005)
    assert told.tcpa_min == pytest.approx(when, abs=0.1)


def test_who_lies_stopped_turns_without_an_advance() -> None:
    """Drifting at 0.05 kn she does not run on for four hours first: she gathers way on the new course at once."""
    path = path_of(own_on(0, 0.05), [TrialLeg(course_deg=90, speed_kn=8)], Handling(advance_nm=0.2))

    assert path.start_h[1] == 0.0
    assert path.courses_deg[-1] == 90


def test_advance_is_run_on_the_old_course() -> None:
    """0.2 NM of advance at 12 kn: a minute on, then the new course at once."""
    path = path_of(own_on(0, 12), [TrialLeg(course_deg=90)], Handling(advance_nm=0.2))

    assert path.start_h[-1] * 60 == pytest.approx(1.0)
    assert path.places_nm[-1] == pytest.approx([0.0, 0.2])
    assert path.courses_deg[-1] == 90


def test_turns_go_the_short_way() -> None:
    """From 350 to 010 through north, 20° at 20°/min: a minute; from 010 to 350 to port."""
    path = path_of(own_on(350, 10), [TrialLeg(course_deg=10)], Handling(turn_deg_min=20))
    back = path_of(own_on(10, 10), [TrialLeg(course_deg=350)], Handling(turn_deg_min=20))

    assert path.start_h[-1] * 60 == pytest.approx(1.0)
    assert all(course >= 350 or course <= 10 for course in path.courses_deg)
    assert back.courses_deg[1] < 10


def test_uncertainty_is_carried_through() -> None:
    """A target's velocity error of 1 kn athwart the relative track is an error of the CPA of 1 NM an hour of TCPA."""
    own, sure = own_on(0, 10), target(0, 6, 180, 8)
    vague = target(0, 6, 180, 8, velocity_sd_kn=1.0)
    told = try_out([vague], own, [TrialLeg(course_deg=45)], 1.0, AT_ONCE).trial[0]
    best = try_out([sure], own, [TrialLeg(course_deg=45)], 1.0, AT_ONCE).trial[0]

    assert told.cpa_nm == pytest.approx(best.cpa_nm)
    assert best.cpa_sd_nm == pytest.approx(0.0, abs=1e-9)
    assert told.cpa_sd_nm == pytest.approx(told.tcpa_min / 60, rel=0.15)
    assert told.cpa_low_nm < told.cpa_nm < told.cpa_high_nm


def test_the_table_says_which_alterations_clear_all() -> None:
    """A vessel end on: holding on does not clear a mile, 60° either way does; with doubt it takes more than without."""
    own = own_on(0, 10, sd_kn=0.15)
    courses = [float(course) for course in range(-90, 91, 10)]
    sure = table([target(0, 6, 180, 10, 0.01, 0.1)], own, 1.0, courses, [10.0, 5.0], AT_ONCE)
    vague = table([target(0, 6, 180, 10, 0.05, 2.0)], own, 1.0, courses, [10.0, 5.0], AT_ONCE)

    clear = {cell.course_deg for cell in sure[0] if cell.is_clear}
    assert 0.0 not in clear
    assert {60.0, -60.0} <= clear
    assert {cell.course_deg for cell in vague[0] if cell.is_clear} < clear
    assert all(cell.nearest == 0 for row in sure for cell in row)
    assert table([], own, 1.0, [0.0], [10.0])[0][0].is_clear


def test_joint_probability_is_over_all_targets() -> None:
    """Two targets that each come inside in half the cases are clear together in fewer than either alone."""
    own = own_on(0, 10)
    first, second = target(30, 5, 240, 10, 0.02, 1.0), target(330, 5, 120, 10, 0.02, 1.0)
    limit = 0.4

    both = try_out([first, second], own, [], limit).all_clear_probability
    each = [try_out([one], own, [], limit).all_clear_probability for one in (first, second)]
    assert both <= min(each)


def cautioned(
    targets: Sequence[Estimate], legs: Sequence[TrialLeg], restricted: bool = True, course: float = 0.0
) -> tuple[list[tuple[str, str | None]], Trial]:
    own = own_on(course, 10)
    told = try_out(targets, own, legs, 1.0)
    keys = [f"radar-{i:02d}" for i in range(len(targets))]
    return [(one.rule, one.target) for one in cautions(keys, targets, own, legs, told, restricted)], told


@pytest.mark.parametrize(
    ("other", "course", "rules"),
    [
        (target(30, 5, 240, 10), 320, {"19(d)(i)"}),  # to port, for a vessel forward of the beam
        (target(30, 5, 240, 10), 70, set()),  # to starboard
        (target(0, 3, 0, 4), 320, set()),  # being overtaken: excepted
        (target(130, 2, 335, 13), 60, {"19(d)(ii)"}),  # towards a vessel abaft the beam
        (target(130, 2, 335, 13), 300, set()),  # away from her
    ],
)
def test_rule_19d_cautions(other: Estimate, course: float, rules: set[str]) -> None:
    """33 CFR 83.19(d): to port for a vessel forward of the beam, other than one being overtaken; towards one abaft."""
    told, trial = cautioned([other], [TrialLeg(course_deg=course)])

    assert trial.hold_on[0].inside_probability > 0.5
    assert {rule for rule, _ in told if rule.startswith("19")} == rules


def test_cautions_need_a_vessel_of_concern() -> None:
    """A vessel that passes miles off, or opens, is no reason for one."""
    told, _ = cautioned([target(30, 8, 90, 12)], [TrialLeg(course_deg=320)])

    assert told == []


def test_rule_8_cautions() -> None:
    """Small alterations, one or a string; another vessel's way; not enough."""
    small, _ = cautioned([], [TrialLeg(course_deg=10)])
    string, _ = cautioned([], [TrialLeg(course_deg=10), TrialLeg(after_min=3, course_deg=20)])
    slow, _ = cautioned([], [TrialLeg(speed_kn=4)])
    large, _ = cautioned([], [TrialLeg(course_deg=60)])
    other, _ = cautioned([target(0, 5, 180, 10), target(65, 3.2, 315, 2)], [TrialLeg(course_deg=50)])
    short, _ = cautioned([target(0, 2, 180, 10)], [TrialLeg(course_deg=40)])

    assert small == string == [("8(b)", None)]
    assert slow == large == []
    assert ("8(c)", "radar-01") in other
    assert ("8(d)", "radar-00") in short


def test_in_sight_says_so() -> None:
    """Out of the condition `restricted visibility` Rule 19 is named for it, and 17(c) stands beside."""
    own, other = own_on(0, 10), target(330, 5, 120, 10)
    legs = [TrialLeg(course_deg=300)]
    told = cautions(["radar-01"], [other], own, legs, try_out([other], own, legs, 1.0), False)

    assert [one.rule for one in told][:2] == ["19(d)(i)", "17(c)"]
    assert told[0].text.startswith("in restricted visibility: ")


def test_a_stopped_ship_has_her_heading_for_course() -> None:
    """Stopped with the bow at 120: course is the heading, and a turn begins there."""
    assert own_course_speed(own_on(0, 0.0, heading=120.0)) == (120.0, 0.0)


@pytest.mark.parametrize("handling", [AT_ONCE, Handling(turn_deg_min=8)])
def test_the_error_of_own_velocity_counts_after_the_alteration_alone(handling: Handling) -> None:
    """Targets known exactly, own velocity to 0.5 kn: holding on it drops out, from the alteration's beginning it is
    run off, through a slow turn too."""
    other, own = target(50, 6, 250, 10), own_on(0, 10, sd_kn=0.5)
    told = try_out([other], own, [TrialLeg(after_min=3, course_deg=60)], 0.5, handling)
    run_h = (told.trial[0].tcpa_min - 3) / 60

    assert told.hold_on[0].cpa_sd_nm == pytest.approx(0, abs=1e-9)
    assert told.trial[0].cpa_nm > 0.5
    assert run_h > 0.1
    assert told.trial[0].cpa_sd_nm == pytest.approx(0.5 * run_h, rel=0.15)


def test_who_may_pass_on_either_side_is_unsettled_and_not_ahead() -> None:
    """A CPA of 0.1 NM known within 0.3: no side is claimed, unless she is likelier inside the limit than not."""
    other = target(45, 6, 270, 10, place_sd_nm=0.3)
    own = own_on(2, 10)
    narrow, wide = (try_out([other], own, [], limit_nm).hold_on[0] for limit_nm in (0.02, 2.0))

    assert 0.05 < narrow.cpa_nm < 0.3
    assert narrow.passing == Passing.UNSETTLED
    assert wide.passing == Passing.COLLISION_COURSE


def test_the_side_is_that_of_the_bow_and_not_of_the_course() -> None:
    """Heading 040 on a course of 000 in a stream, a target that bears 020 at its CPA is to port of the bow."""
    nearest = 10.0 * np.array([np.sin(np.radians(290)), np.cos(np.radians(290))]) / 6
    place = np.array(vector(20, 1.0)) + nearest
    bearing, range_nm = float(np.degrees(np.arctan2(*place))), float(np.hypot(*place))
    velocity = np.array(vector(110, 10)) + np.array(vector(0, 5))
    other = target(bearing, range_nm, float(np.degrees(np.arctan2(*velocity))), float(np.hypot(*velocity)))
    sides = [try_out([other], own_on(0, 5, heading=heading), [], 0.5).hold_on[0].side for heading in (0.0, 40.0)]

    assert sides == ["starboard", "port"]


def test_what_comes_inside_beyond_the_hour_is_not_counted() -> None:
    """Ninety minutes off everybody will have altered: the CPA is told, the probability is the hour's."""
    other = target(0, 15, 180, 5)
    told = try_out([other], own_on(0, 5), [], 0.5).hold_on[0]

    assert told.tcpa_min == pytest.approx(90)
    assert told.cpa_nm == pytest.approx(0, abs=1e-6)
    assert told.inside_probability == 0
