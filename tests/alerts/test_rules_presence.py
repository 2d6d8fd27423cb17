"""guard_zone, new_target, lost_target and cross_check."""

import msgspec
import pytest

from alerts.plotting.terms import BearingTrend, Check, Passing, Priority
from alerts.rules import zones
from alerts.rules.checking import cause_family
from alerts.rules.presence import departure
from alerts.rules.situation import RadarPicture, Situation
from alerts.settings import DEFAULT_CONDITIONS, Alerts, GuardZone, LostTarget, Zone, ZoneReference
from tests.alerts.watch import CLEAR, Watch, but, moment

BOW = Zone(to_nm=2.0, from_nm=0.5, from_deg=-30, to_deg=30)
NORTH = Zone(to_nm=3.0, from_deg=330, to_deg=30, reference=ZoneReference.TRUE)
ROUND = Zone(to_nm=1.0)
FAR = but(CLEAR, range_nm=5.0, relative_bearing_deg=0.0)
QUIET = but(CLEAR, range_nm=1.5, relative_bearing_deg=0.0, tcpa_min=25.0)


def guarded(grace_s: float = 0.0, **named: Zone) -> Alerts:
    return Alerts(guard_zone=GuardZone(zones=named, grace_s=grace_s))


class TestZoneGeometry:
    @pytest.mark.parametrize(
        ("zone", "range_nm", "bearing_deg", "inside"),
        [
            (BOW, 1.0, 0.0, True),
            (BOW, 1.0, -30.0, True),
            (BOW, 1.0, 30.0, True),
            (BOW, 1.0, 30.5, False),
            (BOW, 1.0, 180.0, False),
            (BOW, 0.4, 0.0, False),
            (BOW, 2.1, 0.0, False),
            (BOW, 0.5, 0.0, True),  # both edges of its ranges are inside
            (BOW, 2.0, 0.0, True),
            (NORTH, 1.0, 359.0, True),
            (NORTH, 1.0, 29.0, True),
            (NORTH, 1.0, 31.0, False),
            (NORTH, 1.0, 329.0, False),
            (ROUND, 0.9, float("nan"), True),
            (BOW, 1.0, float("nan"), False),
        ],
    )
    def test_sectors_by_range_and_bearing_across_the_bow(
        self, zone: Zone, range_nm: float, bearing_deg: float, inside: bool
    ) -> None:
        assert bool(zones.zone_enter(range_nm, bearing_deg, zone)) is inside

    def test_leaving_takes_a_wider_sector(self) -> None:
        assert zones.zone_stay(1.0, 32.0, BOW, 1.05, 3.0)
        assert not zones.zone_stay(1.0, 34.0, BOW, 1.05, 3.0)
        assert zones.zone_stay(2.09, 0.0, BOW, 1.05, 3.0)
        assert zones.zone_stay(2.09, float("nan"), BOW, 1.05, 3.0)  # unknown: not known to have left

    def test_by_range_a_target_leaves_at_any_bearing(self) -> None:
        for zone in (BOW, NORTH, ROUND):
            assert zones.zone_stay(zone.to_nm, float("nan"), zone, 1.05, 3.0)
            assert not zones.zone_stay(4.0, float("nan"), zone, 1.05, 3.0)

    def test_a_zone_whose_ranges_are_the_wrong_way_round_is_refused(self) -> None:
        with pytest.raises(msgspec.ValidationError, match="to_nm 1 must be greater than from_nm 2"):
            msgspec.convert({"from_nm": 2, "to_nm": 1}, Zone)


class TestGuardZone:
    def test_entering_is_a_warning_that_names_the_zone(self) -> None:
        watch = Watch(guarded(bow=BOW))
        watch.plots(0, 30, FAR)
        watch.plots(33, 60, QUIET)

        (alert,) = watch.raised("guard_zone")
        assert alert.priority is Priority.WARNING
        assert alert.text == (
            "radar-03: in guard zone bow, 1.50 NM, bearing 061°T drawing aft, CPA 2.10 NM (1.90 to 2.30) in 25.0 min"
        )
        assert alert.values["zone"] == "bow"

    def test_a_zone_says_no_cpa_of_a_track_that_has_not_settled(self) -> None:
        watch = Watch(guarded(bow=BOW))
        watch.plots(0, 30, FAR)
        watch.plots(33, 60, but(QUIET, cpa_nm=None, tcpa_min=None, bearing_trend=BearingTrend.UNSETTLED))

        assert watch.raised("guard_zone")[0].text == "radar-03: in guard zone bow, 1.50 NM, bearing 061°T"

    def test_two_zones_are_two_alerts(self) -> None:
        watch = Watch(guarded(bow=BOW, wide=Zone(to_nm=3.0)))
        watch.plots(0, 30, QUIET)

        assert sorted(str(alert.values["zone"]) for alert in watch.raised("guard_zone")) == ["bow", "wide"]

    def test_true_and_relative_zones_look_at_their_own_bearing(self) -> None:
        watch = Watch(guarded(bow=BOW, north=NORTH))
        watch.plots(0, 30, but(QUIET, bearing_deg=10.0, relative_bearing_deg=90.0))

        assert [alert.values["zone"] for alert in watch.raised("guard_zone")] == ["north"]

    def test_those_inside_at_the_start_are_named_once_in_a_caution_when_the_grace_is_over(self) -> None:
        watch = Watch(guarded(grace_s=60, bow=BOW))
        watch.plots(0, 90, QUIET)

        (alert,) = watch.raised("guard_zone")
        assert (alert.priority, alert.target) == (Priority.CAUTION, None)
        assert alert.text == "guard zone bow: 1 inside since the start of the watch: radar-03"

    def test_one_that_left_after_the_grace_and_comes_back_is_a_warning(self) -> None:
        watch = Watch(guarded(grace_s=60, bow=BOW))
        watch.plots(0, 90, QUIET)
        watch.plots(93, 150, FAR)
        watch.plots(153, 180, QUIET)

        assert [alert.target for alert in watch.raised("guard_zone")] == [None, "radar-03"]
        caution = [event for event in watch.events if event.target is None]
        assert caution[-1].state == "normal"

    def test_a_zone_may_be_on_in_some_conditions_only(self) -> None:
        zone = msgspec.structs.replace(BOW, conditions=("harbour",))
        watch = Watch(guarded(bow=zone))
        watch.plots(0, 30, QUIET)
        before = watch.raised("guard_zone")
        watch.rules.set_condition("harbour")
        watch.plots(33, 60, QUIET)

        assert not before
        assert watch.raised("guard_zone")

    def test_a_target_lost_inside_a_zone_stays_told(self) -> None:
        watch = Watch(guarded(bow=BOW))
        watch.plots(0, 30, QUIET)
        watch.lose(60, "radar-03")

        assert watch.events[-1].rule == "guard_zone"
        assert "LOST, last known" in watch.events[-1].text
        assert not watch.raised("lost_target")


class TestNewTarget:
    def test_is_a_caution_shown_for_a_while(self) -> None:
        watch = Watch()
        watch.plots(0, 60, FAR)
        watch.plots(63, 180, but(FAR, target="radar-09"))

        (alert,) = watch.raised("new_target")
        assert (alert.target, alert.priority) == ("radar-09", Priority.CAUTION)
        assert alert.text == "radar-09: new target, 5.00 NM, bearing 061°T"
        assert watch.states("new_target") == ["active-acknowledged", "normal"]

    @pytest.mark.parametrize(("range_nm", "told"), [(12.0, True), (12.01, False)])
    def test_is_told_up_to_its_range(self, range_nm: float, told: bool) -> None:
        watch = Watch()
        watch.plots(0, 60, FAR)
        watch.plots(63, 90, but(FAR, target="radar-09", range_nm=range_nm))

        assert bool(watch.raised("new_target")) is told

    def test_targets_that_were_there_at_the_start_are_not_new(self) -> None:
        watch = Watch()
        watch.plots(0, 180, FAR)

        assert not watch.raised()

    def test_an_echo_that_is_gone_at_once_is_not_told(self) -> None:
        watch = Watch()
        watch.plots(0, 60, FAR)
        watch.plots(90, 93, but(FAR, target="radar-09"))
        watch.lose(96, "radar-09")

        assert not watch.raised("new_target")


class TestLostTarget:
    def test_is_a_warning_with_the_last_position(self) -> None:
        watch = Watch()
        watch.plots(0, 30, FAR)
        watch.lose(60, "radar-03")

        (alert,) = watch.raised("lost_target")
        assert alert.priority is Priority.WARNING
        assert alert.text == (
            "radar-03: LOST, last known CPA 2.10 NM (1.90 to 2.30) in 11.4 min at 08:00:30 UTC, 5.00 NM, "
            "bearing 061°T, passing astern"
        )

    def test_ends_when_found_again(self) -> None:
        watch = Watch()
        watch.plots(0, 30, FAR)
        watch.lose(60, "radar-03")
        watch.plots(63, 66, FAR)

        assert watch.states("lost_target") == ["active-unacknowledged", "rectified-unacknowledged"]
        assert "found again" in str(watch.events[-1].values["change"])

    @pytest.mark.parametrize(
        ("change", "scale_nm", "why"),
        [
            ({}, 6.0, ""),
            ({"range_nm": 5.9}, 6.0, ""),  # closing at the edge: it cannot have left by range
            ({"range_nm": 5.9, "passing": Passing.OPENING, "tcpa_min": -3.0}, 6.0, "left by range"),
            ({"range_nm": 5.0}, 3.0, "left by range"),  # the scale was made smaller
            ({"range_nm": 24.5}, None, "left by range"),
            # Each limit itself is inside: there a lost target is told.
            ({"range_nm": 24.0}, None, ""),
            ({"range_nm": 6.0}, 6.0, ""),
            ({"range_nm": 0.95 * 6.0, "passing": Passing.OPENING, "cpa_nm": 5.7}, 6.0, "passed clear"),
            ({"range_nm": 0.5, "tcpa_min": -6.0}, 6.0, ""),
            ({"range_nm": 2.5, "tcpa_min": 0.0}, 6.0, ""),
            ({"range_nm": 2.5, "tcpa_min": -6.0}, 6.0, "passed clear"),
            ({"range_nm": 0.4, "tcpa_min": -0.2}, 6.0, ""),  # past, but not clear
            # In company, the sign of the TCPA is noise: the CPA may be anything up to the range itself.
            ({"range_nm": 0.8, "cpa_low_nm": 0.0, "cpa_high_nm": 0.8, "tcpa_min": -2900.0}, 6.0, ""),
            ({"range_nm": 1.0, "relative_bearing_deg": 175.0}, 6.0, "left by zone"),
            ({"observations": 4}, 6.0, "no track yet"),
            ({"observations": 5}, 6.0, ""),
        ],
    )
    def test_not_for_targets_that_leave_by_range_by_zone_or_after_passing_clear(
        self, change: dict[str, object], scale_nm: float | None, why: str
    ) -> None:
        rule = LostTarget(except_zones={"stern": Zone(to_nm=2, from_deg=150, to_deg=210)})

        assert departure(but(FAR, **change), scale_nm, rule, DEFAULT_CONDITIONS["open water"]) == why

    @pytest.mark.parametrize(("own_nm", "other_nm", "told"), [(3.0, 24.0, 0), (24.0, 3.0, 1)])
    def test_the_range_scale_comes_from_the_targets_own_radar(self, own_nm: float, other_nm: float, told: int) -> None:
        watch = Watch()
        watch.plots(0, 30, FAR)
        radars = (
            RadarPicture(feed="radar", range_scale_nm=own_nm),
            RadarPicture(feed="other", range_scale_nm=other_nm),
        )
        watch.lose(60, "radar-03", Situation(radars=radars))

        assert len(watch.raised("lost_target")) == told

    def test_a_target_dropped_from_the_picture_ends_its_alert_as_rectified(self) -> None:
        watch = Watch()
        watch.plots(0, 30, FAR)
        watch.lose(60, "radar-03")
        del watch.targets["radar-03"]
        watch.tick(120)

        assert watch.states("lost_target") == ["active-unacknowledged", "rectified-unacknowledged"]


class TestCrossCheck:
    WRONG = but(FAR, check=Check.DIFFERS, check_cause="speed input to the set wrong by 3.0 kn")

    def test_a_difference_that_holds_is_told_with_its_cause_and_both_answers(self) -> None:
        watch = Watch()
        watch.plots(0, 30, self.WRONG)

        (alert,) = watch.raised("cross_check")
        assert alert.text == (
            "radar-03: the set's answer differs: speed input to the set wrong by 3.0 kn; "
            "set reports CPA 2.00 NM in 11.5 min, ours CPA 2.10 NM (1.90 to 2.30) in 11.4 min"
        )

    def test_a_closest_approach_that_the_set_puts_in_the_past_is_told_as_past(self) -> None:
        """'in -12.5 min' is read as twelve minutes to come."""
        watch = Watch()
        watch.plots(0, 30, but(self.WRONG, reported_tcpa_min=-12.5))

        assert "set reports CPA 2.00 NM 12.5 min ago, ours" in watch.raised("cross_check")[0].text

    def test_targets_that_differ_for_one_cause_make_one_alert(self) -> None:
        watch = Watch()
        for at_s in range(0, 60, 3):
            watch.plot(at_s, self.WRONG)
            watch.plot(
                at_s + 1, but(self.WRONG, target="radar-07", check_cause="speed input to the set wrong by 2.9 kn")
            )

        (alert,) = watch.raised("cross_check")
        (standing,) = [f for f in watch.findings if f.rule == "cross_check"][-1:]
        assert alert.target is None
        assert standing.values["targets"] == 2
        assert cause_family("wrong by 3.0 kn") == cause_family("wrong by 2.9 kn")

    def test_a_diagnosis_that_changes_its_mind_is_no_new_situation(self) -> None:
        watch = Watch()
        watch.plots(0, 36, self.WRONG)
        watch.plots(39, 60, but(self.WRONG, check_cause="heading input to the set wrong by 4°"))

        assert len(watch.raised("cross_check")) == 1
        assert "heading input" in watch.book.standing(moment(60))[0].text

    def test_the_text_gives_the_cause_of_the_target_seen_last(self) -> None:
        watch = Watch()
        other = but(self.WRONG, target="radar-07")
        for at_s in range(0, 60, 3):
            watch.plot(at_s, self.WRONG)
            watch.plot(at_s + 1, other)
        watch.plot(60, but(self.WRONG, check_cause="heading input to the set wrong by 4°"))

        assert "heading input" in watch.book.standing(moment(60))[0].text

    def test_without_a_cause_each_target_has_its_own(self) -> None:
        watch = Watch()
        for at_s in range(0, 60, 3):
            watch.plot(at_s, but(self.WRONG, check_cause=None))
            watch.plot(at_s + 1, but(self.WRONG, check_cause=None, target="radar-07"))

        assert [alert.target for alert in watch.raised("cross_check")] == ["radar-03", "radar-07"]

    def test_clears_when_it_agrees_and_when_the_target_is_lost(self) -> None:
        agreed, lost = Watch(), Watch()
        for watch in (agreed, lost):
            watch.plots(0, 36, self.WRONG)
        agreed.plots(39, 120, FAR)
        lost.lose(60, "radar-03")

        assert agreed.states("cross_check")[-1] == "rectified-unacknowledged"
        assert lost.states("cross_check")[-1] == "rectified-unacknowledged"

    def test_while_it_cannot_be_judged_it_is_not_cleared(self) -> None:
        watch = Watch()
        watch.plots(0, 36, self.WRONG)
        watch.plots(39, 300, but(FAR, check=Check.SETTLING))

        assert watch.states("cross_check") == ["active-unacknowledged"]
