"""Ours against the set's answer: when they differ, and what is named as the cause."""

import re
from collections.abc import Callable

import pytest
from msgspec import structs

from alerts.plotting import crosscheck_words as words
from alerts.plotting.crosscheck import CrossCheck
from alerts.plotting.crosscheck_common import Kind
from alerts.plotting.crosscheck_set import CASES
from alerts.plotting.kinematics import OwnMotion
from alerts.plotting.terms import Check, TrackState
from parsers.observations import MotionReference, Reference, TargetReport, TargetStatus
from tests.alerts.plotting.drill import (
    FIVE,
    Drill,
    moved,
    through_the_water,
    wrong_heading_input,
    wrong_speed_input,
)
from tests.alerts.plotting.vessels import Vessel

NORTH_12 = Vessel(0, 0, 0, 12)
Log = list[tuple[float, str, Check, str | None]]


def causes(log: Log) -> set[str | None]:
    return {cause for _, _, _, cause in log}


def checks(log: Log) -> set[Check]:
    return {check for _, _, check, _ in log}


def after(log: Log, at_s: float) -> Log:
    return [line for line in log if line[0] >= at_s]


def third_wrong(report: TargetReport, own: OwnMotion, at_s: float) -> TargetReport:
    """The set gives its third target a motion that is not hers."""
    return moved(report, 6, 5) if report.number == 3 else report


class TestHonestSets:
    def test_an_honest_set_agrees(self) -> None:
        """An hour, five targets, own ship's alteration in the middle: nothing is ever said to differ."""
        drill = Drill(NORTH_12)
        log = drill.run(1800)
        drill.alter(90, 12)
        log += drill.run(1800)

        assert Check.DIFFERS not in checks(log)
        assert checks(after(log, 600)) >= {Check.AGREES}
        assert drill.check.common_fault() is None

    def test_a_common_error_within_the_standards_tolerance_agrees(self) -> None:
        """A log may be wrong by 0.5 kn (33 CFR 164.40): that is no fault."""
        log = Drill(NORTH_12).run(900, wrong_speed_input(0.5))

        assert checks(after(log, 600)) == {Check.AGREES}
        assert Check.DIFFERS not in checks(log)

    def test_nothing_differs_on_a_single_report(self) -> None:
        """One wild report in a hundred changes nothing."""
        drill = Drill(NORTH_12)
        count = 0

        def wild(report: TargetReport, own: OwnMotion, at_s: float) -> TargetReport:
            nonlocal count
            count += 1
            return moved(report, 12, -9) if count % 100 == 0 else report

        log = drill.run(1500, wild)

        assert Check.AGREES in checks(log)
        assert Check.DIFFERS not in checks(log)


class TestWrongSpeedInput:
    @pytest.mark.parametrize("error_kn", [3.0, -3.0, 5.0])
    def test_named_within_two_minutes(self, error_kn: float) -> None:
        """A common vector along own heading; every target says so, with its size and direction."""
        drill = Drill(NORTH_12)
        drill.run(300)
        log = drill.run(120, wrong_speed_input(error_kn))
        fault = drill.check.common_fault()

        assert fault is not None
        assert fault.kind is Kind.SPEED_INPUT
        assert fault.vector_kn == pytest.approx(abs(error_kn), abs=0.4)
        assert len(fault.targets) == 5
        assert {(check, cause) for _, _, check, cause in log[-5:]} == {(Check.DIFFERS, fault.text)}

    def test_the_sentence(self) -> None:
        """Evidence with figures first, then what it comes from, for a skipper."""
        drill = Drill(NORTH_12)
        drill.stream(90, 0.0)
        drill.run(300)
        drill.run(150, wrong_speed_input(3.0))
        fault = drill.check.common_fault()

        assert fault is not None
        assert fault.text.startswith("all five targets' reported motion differs from ours by the same ")
        assert fault.text.endswith(" kn too high")
        assert "along our heading: the set's speed input looks " in fault.text

    def test_without_a_log_water_is_left_open(self) -> None:
        """A stream right along our heading would look the same, and the sentence says so."""
        drill = Drill(NORTH_12)
        drill.run(300)
        drill.run(150, wrong_speed_input(3.0))
        fault = drill.check.common_fault()

        assert fault is not None
        assert fault.text.endswith("or it reports motion through the water")

    def test_a_turn_decides(self) -> None:
        """It turns with us: speed input, on the new leg too, and not water."""
        drill = Drill(NORTH_12)
        drill.run(300)
        drill.run(180, wrong_speed_input(3.0))
        drill.alter(70, 12)
        drill.run(300, wrong_speed_input(3.0))
        fault = drill.check.common_fault()

        assert fault is not None
        assert fault.kind is Kind.SPEED_INPUT
        assert fault.toward_deg == pytest.approx(70, abs=10)

    def test_the_sentence_stands_still(self) -> None:
        """Ten minutes of the same fault under noise: at most three wordings."""
        drill = Drill(NORTH_12)
        drill.run(300)
        drill.run(120, wrong_speed_input(3.0))

        assert len(causes(drill.run(600, wrong_speed_input(3.0)))) <= 3

    def test_it_ends_when_the_fault_is_mended(self) -> None:
        """Within two minutes of the mend nothing is said to differ."""
        drill = Drill(NORTH_12)
        drill.run(300)
        drill.run(180, wrong_speed_input(3.0))
        drill.run(120)

        assert drill.check.common_fault() is None
        assert Check.DIFFERS not in checks(drill.run(60))


class TestWrongHeadingInput:
    @pytest.mark.parametrize("error_deg", [12.0, -15.0, 25.0])
    def test_named_with_its_size(self, error_deg: float) -> None:
        """A common vector across own course."""
        drill = Drill(NORTH_12)
        drill.run(300)
        drill.run(180, wrong_heading_input(error_deg))
        fault = drill.check.common_fault()

        assert fault is not None
        assert fault.kind is Kind.HEADING_INPUT
        named = re.search(r"the set's heading input looks (\d+)° too (high|low), or", fault.text)
        assert named is not None
        assert float(named[1]) == pytest.approx(abs(error_deg), abs=1)
        assert named[2] == ("high" if error_deg > 0 else "low")

    def test_it_turns_and_grows_with_us(self) -> None:
        """After a turn and with more speed it is still the heading."""
        drill = Drill(Vessel(0, 0, 0, 10))
        drill.run(300)
        drill.run(180, wrong_heading_input(15.0))
        drill.alter(90, 16)
        drill.run(300, wrong_heading_input(15.0))
        fault = drill.check.common_fault()

        assert fault is not None
        assert fault.kind is Kind.HEADING_INPUT
        assert fault.vector_kn == pytest.approx(4.2, abs=0.5)


class TestWater:
    def test_named_by_the_stream_that_log_and_compass_show(self) -> None:
        """The common vector is the stream turned round."""
        drill = Drill(NORTH_12)
        drill.stream(221, 2.9)
        drill.run(300)
        drill.run(150, through_the_water(221, 2.9))
        fault = drill.check.common_fault()

        assert fault is not None
        assert fault.kind is Kind.WATER
        assert fault.toward_deg == pytest.approx(41, abs=8)
        assert "motion through the water" in fault.text

    def test_oblique_and_without_a_log_it_is_left_open(self) -> None:
        """One leg, no log: input or water, and said so."""
        drill = Drill(NORTH_12)
        drill.run(300)
        drill.run(150, through_the_water(221, 2.9))
        fault = drill.check.common_fault()

        assert fault is not None
        assert fault.kind is Kind.UNCLEAR
        assert fault.text.endswith(
            "the set's speed or heading input looks wrong, or it reports motion through the water"
        )

    def test_a_turn_decides(self) -> None:
        """The vector stays where it is when we turn: no input of ours is in it."""
        drill = Drill(NORTH_12)
        drill.run(300)
        drill.run(180, through_the_water(221, 2.9))
        drill.alter(100, 12)
        drill.run(300, through_the_water(221, 2.9))
        fault = drill.check.common_fault()

        assert fault is not None
        assert fault.kind is Kind.WATER

    def test_a_set_that_says_so_is_taken_at_its_word(self) -> None:
        """TTD's bit: with the stream known its figures agree, without it only CPA and TCPA are compared."""

        def declared(report: TargetReport, own: OwnMotion, at_s: float) -> TargetReport:
            spoilt = through_the_water(221, 2.9)(report, own, at_s)
            return structs.replace(spoilt, motion_reference=MotionReference.WATER)

        for known in (True, False):
            drill = Drill(NORTH_12)
            if known:
                drill.stream(221, 2.9)

            log = drill.run(600, declared)
            assert Check.AGREES in checks(log)
            assert Check.DIFFERS not in checks(log)
            assert drill.check.common_fault() is None


def kilometres_an_hour(report: TargetReport, own: OwnMotion, at_s: float) -> TargetReport:
    assert report.speed_kn is not None
    return structs.replace(report, speed_kn=report.speed_kn * 1.852)


def relative_course(report: TargetReport, own: OwnMotion, at_s: float) -> TargetReport:
    assert report.course_deg is not None
    assert own.heading_deg is not None
    return structs.replace(report, course_deg=(report.course_deg - own.heading_deg) % 360)


def true_course_called_relative(report: TargetReport, own: OwnMotion, at_s: float) -> TargetReport:
    return structs.replace(report, course_reference=Reference.RELATIVE)


def relative_motion(report: TargetReport, own: OwnMotion, at_s: float) -> TargetReport:
    return moved(report, -own.east_kn, -own.north_kn)


class TestUnitsAndReferences:
    @pytest.mark.parametrize(
        ("spoil", "kind", "words"),
        [
            (kilometres_an_hour, Kind.UNITS, "km/h sent as knots"),
            (relative_course, Kind.REFERENCE, "courses look relative to our bow, though sent as true"),
            (true_course_called_relative, Kind.REFERENCE, "courses look true, though sent as relative"),
            (relative_motion, Kind.REFERENCE, "relative motion as true"),
        ],
    )
    def test_named_within_two_minutes(
        self, spoil: Callable[[TargetReport, OwnMotion, float], TargetReport], kind: Kind, words: str
    ) -> None:
        """The figures agree if they are read otherwise, all of them."""
        drill = Drill(Vessel(0, 0, 75, 11))
        drill.run(300)
        drill.run(120, spoil)
        fault = drill.check.common_fault()

        assert fault is not None
        assert fault.kind is kind
        assert words in fault.text


class TestSingleTargets:
    def test_one_targets_fault_is_its_own(self) -> None:
        """The others agree, and it says so; there is no common fault."""
        drill = Drill(NORTH_12)
        drill.run(300)
        log = drill.run(150, third_wrong)
        said = {key: (check, cause) for _, key, check, cause in log[-5:]}
        check, cause = said.pop("radar-03")

        assert check is Check.DIFFERS
        assert cause is not None
        assert "while the other four targets agree" in cause
        assert set(said.values()) == {(Check.AGREES, None)}
        assert drill.check.common_fault() is None

    def test_the_motion_of_another(self) -> None:
        """The set gives 01 the course and speed of 02."""

        def exchanged(report: TargetReport, own: OwnMotion, at_s: float) -> TargetReport:
            if report.number != 1:
                return report
            return structs.replace(report, course_deg=FIVE[1].course_deg, speed_kn=FIVE[1].speed_kn)

        drill = Drill(NORTH_12)
        drill.run(300)
        cause = drill.run(150, exchanged)[-5][3]

        assert cause == "the set gives it the motion of radar-02: it may have exchanged the two"

    def test_after_a_number_moved(self) -> None:
        """Identity saw the number go to another vessel: that is the cause."""
        drill = Drill(NORTH_12)
        drill.run(300)
        drill.check.renumbered("radar-03", 300)
        cause = drill.run(150, third_wrong)[-3][3]

        assert cause == "the number has moved to another vessel within the last 3 min"

    def test_cpa_alone(self) -> None:
        """Course and speed agree, the CPA does not: both figures are given."""

        def near(report: TargetReport, own: OwnMotion, at_s: float) -> TargetReport:
            assert report.cpa_nm is not None
            return structs.replace(report, cpa_nm=report.cpa_nm + 2.0) if report.number == 3 else report

        target = Vessel(-0.5, 9, 185, 12)  # CPA well ahead in time
        drill = Drill(NORTH_12, (*FIVE[:2], target))
        drill.run(240)
        check, cause = drill.run(120, near)[-1][2:]

        assert check is Check.DIFFERS
        assert cause is not None
        assert cause.startswith("CPA is ")
        assert cause.endswith("though course and speed agree")

    def test_tcpa_alone_where_no_cpa_is_reported(self) -> None:
        """What the set does not say is no figure of the set: no sentence has a CPA of 0.0 NM, then or later."""

        def without_cpa(report: TargetReport, own: OwnMotion, at_s: float) -> TargetReport:
            return structs.replace(report, cpa_nm=None)

        def late(report: TargetReport, own: OwnMotion, at_s: float) -> TargetReport:
            assert report.tcpa_min is not None
            wrong = report.tcpa_min + 8.0 if report.number == 3 else report.tcpa_min
            return structs.replace(report, cpa_nm=None, tcpa_min=wrong)

        drill = Drill(NORTH_12, (*FIVE[:2], Vessel(-0.5, 9, 185, 12)))
        drill.run(240, without_cpa)
        log = drill.run(120, late)
        mended = drill.run(60, without_cpa)
        causes_told = [cause for *_, check, cause in (*log, *mended) if check is Check.DIFFERS]

        assert causes_told
        assert {cause.split(" is ")[0] for cause in causes_told if cause} == {"TCPA"}

    def test_many_others_are_counted(self) -> None:
        assert "the other two targets agree" in words.alone(3.0, 90.0, 2)
        assert "the other 15 targets agree" in words.alone(3.0, 90.0, 15)

    def test_a_lone_target_has_no_common_fault(self) -> None:
        """One target proves nothing about the set's inputs."""
        drill = Drill(NORTH_12, FIVE[:1])
        drill.run(300)
        check, cause = drill.run(150, wrong_speed_input(5.0))[-1][2:]

        assert check is Check.DIFFERS
        assert cause is not None
        assert cause.startswith("its reported motion differs from ours by ")
        assert drill.check.common_fault() is None


class TestSettling:
    def test_while_the_set_acquires(self) -> None:
        """Status Q: whatever stands in its fields is not an answer."""

        def acquiring(report: TargetReport, own: OwnMotion, at_s: float) -> TargetReport:
            return structs.replace(report, status=TargetStatus.ACQUIRING, cpa_nm=0.0, tcpa_min=0.0)

        log = Drill(NORTH_12).run(60, acquiring)

        assert checks(log) == {Check.SETTLING}
        assert causes(log) == {
            "the set is still acquiring it: its course, speed, CPA and TCPA mean nothing yet",
        }

    def test_when_the_set_has_lost_it(self) -> None:
        """Status L: the figures beside it are the last ones, or junk."""

        def lost(report: TargetReport, own: OwnMotion, at_s: float) -> TargetReport:
            return structs.replace(report, status=TargetStatus.LOST, speed_kn=99.0, cpa_nm=0.0)

        log = Drill(NORTH_12).run(60, lost)

        assert checks(log) == {Check.SETTLING}
        assert causes(log) == {words.SET_LOST}

    def test_while_we_settle(self) -> None:
        """Our own plot is not settled: nothing is compared with it."""
        drill = Drill(NORTH_12)
        drill.change = {"settled": False, "state": TrackState.SETTLING}

        assert checks(drill.run(60, wrong_speed_input(9))) == {Check.SETTLING}

    def test_a_young_track_of_the_set_is_settling_not_differing(self) -> None:
        """Wild speeds just after acquisition (oddity 13) are the set's settling."""

        log = [line for line in Drill(NORTH_12).run(170, third_wrong) if line[1] == "radar-03"]

        assert Check.DIFFERS not in checks(log)
        assert log[-1][2:] == (
            Check.SETTLING,
            "the set has tracked it for less than 3 min: its course and speed are still settling",
        )

    def test_nothing_agrees_before_it_has_been_compared(self) -> None:
        """A set that is far out from its first report on is never said to agree, not for a minute: no quiet answer."""

        def far_out(report: TargetReport, own: OwnMotion, at_s: float) -> TargetReport:
            return moved(report, 40, -30) if report.number == 3 else report

        log = Drill(NORTH_12).run(300, far_out)
        bad = [line for line in log if line[1] == "radar-03"]
        good = [line for line in log if line[1] == "radar-01"]

        assert checks(bad) == {Check.SETTLING, Check.DIFFERS}
        assert "not compared for long enough to say that it agrees" in causes(bad)
        assert "it differs, and is being looked into: 20 s decide" in causes(bad)
        assert checks(after(good, 90)) == {Check.AGREES}

    def test_nothing_reported(self) -> None:
        """A target without course, speed, CPA and TCPA has nothing to check."""

        def bare(report: TargetReport, own: OwnMotion, at_s: float) -> TargetReport:
            return structs.replace(report, speed_kn=None, course_deg=None, cpa_nm=None, tcpa_min=None)

        assert checks(Drill(NORTH_12).run(60, bare)) == {Check.NOT_REPORTED}

    @pytest.mark.parametrize(
        "junk",
        [
            {"cpa_nm": None, "tcpa_min": 24751376.1},
            {"cpa_nm": 0.0, "tcpa_min": 0.0},
            {"cpa_nm": None, "tcpa_min": 99.99},
            {"cpa_nm": 500.0, "tcpa_min": None},
        ],
    )
    def test_junk_is_known_for_what_it_is(self, junk: dict[str, float | None]) -> None:
        """Junk in CPA and TCPA is left out, and does not differ from anything (oddities 1, 2 and 5)."""

        def spoil(report: TargetReport, own: OwnMotion, at_s: float) -> TargetReport:
            return structs.replace(report, speed_kn=None, course_deg=None, **junk)

        assert checks(Drill(NORTH_12).run(400, spoil)) == {Check.NOT_REPORTED}


class TestManoeuvres:
    def test_the_set_may_lag_after_the_targets_alteration(self) -> None:
        """Three minutes are the set's by the standard; the cause is named and it is not called a difference."""

        def lagging(report: TargetReport, own: OwnMotion, at_s: float) -> TargetReport:
            return moved(report, -5, 4) if report.number == 2 else report

        drill = Drill(NORTH_12)
        drill.run(300)
        drill.change = {"manoeuvre_at_s": 300.0}
        log = [line for line in drill.run(175, lagging) if line[1] == "radar-02"]

        assert Check.DIFFERS not in checks(log)
        assert log[-1][2] is Check.SETTLING
        assert log[-1][3] is not None
        assert log[-1][3].startswith("the target altered course or speed within the last 3 min")

    def test_the_set_may_lag_after_our_own(self) -> None:
        """All targets are off for a minute after we turn: the set's lag, not its inputs."""
        drill = Drill(NORTH_12)
        drill.run(300)
        drill.alter(60, 12)
        log = drill.run(45, wrong_speed_input(-6.0)) + drill.run(180)

        assert Check.DIFFERS not in checks(log)
        assert drill.check.common_fault() is None


class TestStaleData:
    def test_the_same_measurement_again_and_again(self) -> None:
        """Old range and bearing under new times, of a target that moves: stale, within half a minute."""
        drill = Drill(NORTH_12)
        drill.run(300)
        kept: dict[int, TargetReport] = {}

        def repeated(report: TargetReport, own: OwnMotion, at_s: float) -> TargetReport:
            return structs.replace(kept.setdefault(report.number, report), at_s=at_s)

        log = drill.run(90, repeated)

        assert [line[2] for line in log if line[0] <= 315] == [Check.AGREES] * 25
        assert {line[2] for line in log if line[0] >= 345} == {Check.DIFFERS}
        assert log[-1][3] is not None
        assert log[-1][3].startswith("the set has repeated the same measurement under new times for more than 1 min")

    def test_every_third_report_repeated_is_no_fault(self) -> None:
        """Real: output is faster than the antenna (oddity 14)."""
        kept: dict[int, TargetReport] = {}
        count: dict[int, int] = {}

        def some(report: TargetReport, own: OwnMotion, at_s: float) -> TargetReport:
            count[report.number] = count.get(report.number, 0) + 1
            if count[report.number] % 3:
                kept[report.number] = report
            return structs.replace(kept[report.number], at_s=at_s)

        log = Drill(NORTH_12).run(600, some)

        assert Check.AGREES in checks(log)
        assert Check.DIFFERS not in checks(log)

    def test_an_answer_that_stands_still(self) -> None:
        """Ranges go on, but speed, course, CPA and TCPA are those of two minutes ago."""
        drill = Drill(NORTH_12)
        drill.run(300)
        kept: dict[int, TargetReport] = {}

        def frozen(report: TargetReport, own: OwnMotion, at_s: float) -> TargetReport:
            old = kept.setdefault(report.number, report)
            return structs.replace(old, at_s=at_s, range_nm=report.range_nm, bearing_deg=report.bearing_deg)

        causes_then = causes(drill.run(120, frozen)[-5:])

        assert causes_then == {"the set's own figures have not changed for more than 1 min, though the target moves"}


class TestOwnMotionUnknown:
    def test_only_cpa_and_tcpa_are_compared(self) -> None:
        """Without own speed true motions cannot be told, so they cannot differ."""
        drill = Drill(Vessel(0, 0, 0, 12))
        known = drill.own.motion

        def blind(at_s: float, heading_deg: float | None = None) -> OwnMotion:
            return structs.replace(known(at_s), frame=MotionReference.UNKNOWN)

        drill.own.motion = blind  # type: ignore[method-assign]

        log = drill.run(400, wrong_speed_input(5.0))

        assert Check.AGREES in checks(log)
        assert Check.DIFFERS not in checks(log)


def test_two_radars_are_two_sets() -> None:
    """What is wrong with one radar's input is not said of the other's targets."""
    drill = Drill(NORTH_12)

    def second_feed(report: TargetReport, own: OwnMotion, at_s: float) -> TargetReport:
        if report.number <= 2:
            return structs.replace(report, source=structs.replace(report.source, feed="mast"))
        return wrong_speed_input(4.0)(report, own, at_s)

    log = drill.run(400, second_feed)
    fault = drill.check.common_fault("radar")

    assert fault is not None
    assert fault.targets == ("radar-03", "radar-04", "radar-05")
    assert drill.check.common_fault("mast") is None
    assert {key for _, key, check, _ in log if check is Check.DIFFERS} == set(fault.targets)


def test_memory_is_bounded() -> None:
    """A flood of targets leaves the number of cases at its bound."""
    check = CrossCheck()
    drill = Drill(NORTH_12, FIVE[:1])
    own = NORTH_12.motion(0)
    report, ours = drill._honest(1, FIVE[0], own)
    for number in range(3000):
        check.compare(f"radar-{number}", report, drill._estimate(FIVE[0]), ours, own)

    assert check.cases == CASES


def test_the_same_reports_give_the_same_words() -> None:
    """Nothing depends on anything but what was taken in."""
    first, second = (Drill(NORTH_12, seed=5) for _ in range(2))
    for drill in (first, second):
        drill.run(200)
        drill.run(200, wrong_speed_input(3))

    assert first.log == second.log
