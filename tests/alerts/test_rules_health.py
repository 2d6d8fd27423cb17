"""The watch's own data: sensors, feeds, the set, outputs, clock and beacons; conditions."""

import msgspec
import pytest

from alerts.plotting.terms import AlertState, FeedState, Priority, TrackState
from alerts.rules.situation import (
    Beacon,
    FeedHealth,
    OutputHealth,
    RadarPicture,
    SensorHealth,
    Situation,
)
from alerts.settings import DEFAULT_CONDITIONS, RULES, Alerts, Condition, GuardZone, Zone
from parsers.observations import AisClass, Orientation
from tests.alerts.watch import CLEAR, DANGER, Watch, but, moment


def heading(age_s: float | None, needed: bool = True, stand_in: str | None = "course over ground") -> Situation:
    return Situation(
        heading=SensorHealth(age_s=age_s, source="compass/HEHDT", feed="compass", needed=needed, stand_in=stand_in)
    )


class TestSensors:
    def test_a_heading_that_stops_is_a_warning_that_names_what_stands_in(self) -> None:
        watch = Watch()
        watch.tick(0, heading(1.0))
        watch.tick(12, heading(12.0))

        (alert,) = watch.raised()
        assert (alert.rule, alert.priority) == ("heading_lost", Priority.WARNING)
        assert alert.text == (
            "heading lost, none for 12 s (compass/HEHDT); course over ground stands in; held back: steady bearing, "
            "bow crossing, target manoeuvre, cross check, lost target (0 now)"
        )

    def test_holds_back_what_depends_on_it_and_keeps_the_danger(self) -> None:
        watch = Watch()
        watch.ticks(0, 20, heading(15.0))
        drift = but(DANGER, target="radar-07", tcpa_min=15.0, bow_crossing_min=15.0)
        for at_s in range(21, 80, 3):
            watch.plot(at_s, DANGER)
            watch.plot(at_s + 1, drift)
            watch.tick(at_s + 1, heading(60.0))

        assert [alert.rule for alert in watch.raised()] == ["heading_lost", "closest_approach"]
        standing = [finding for finding in watch.findings if finding.rule == "heading_lost"][-1]
        assert standing.values["held_back"] == 1
        assert "(1 now)" in standing.text

    def test_what_is_told_already_stays_told(self) -> None:
        """A steady bearing that was told before the heading was lost is not taken back for want of it."""
        watch = Watch()
        watch.ticks(0, 1, heading(0.5))
        drift = but(DANGER, tcpa_min=15.0, bow_crossing_min=15.0)
        watch.plots(2, 50, drift)
        for at_s in range(51, 90, 3):
            watch.tick(at_s, heading(at_s - 40.0))
            watch.plot(at_s, drift)

        assert watch.states("steady_bearing") == ["active-unacknowledged"]

    def test_what_waits_goes_with_the_target_that_takes_over(self) -> None:
        """Two tracks are one vessel: what was held back for the old one is not counted for ever."""
        watch = Watch()
        watch.ticks(0, 20, heading(15.0))
        for at_s in range(21, 61, 3):
            watch.plot(at_s, but(DANGER, tcpa_min=15.0, bow_crossing_min=15.0))
            watch.tick(at_s, heading(float(at_s)))
        held = [finding for finding in watch.findings if finding.rule == "heading_lost"][-1].values["held_back"]
        watch.rules.carry("radar-03", "ais-219000123")
        watch.targets.clear()
        watch.tick(62, heading(62.0))
        after = [finding for finding in watch.findings if finding.rule == "heading_lost"][-1].values["held_back"]

        assert (held, after) == (1, 0)

    def test_when_it_is_back_what_still_holds_is_told(self) -> None:
        watch = Watch()
        watch.ticks(0, 20, heading(15.0))
        drift = but(DANGER, tcpa_min=15.0, bow_crossing_min=15.0)
        watch.plots(21, 60, drift)
        for at_s in range(61, 90, 3):
            watch.tick(at_s, heading(0.5))
            watch.plot(at_s, drift)

        assert [alert.rule for alert in watch.raised()] == ["heading_lost", "steady_bearing"]

    def test_one_never_heard_is_told_only_if_the_picture_needs_it(self) -> None:
        without, needing = Watch(), Watch()
        without.ticks(0, 60, heading(None, needed=False))
        needing.ticks(1000, 1029, heading(None, stand_in=None))
        assert not needing.raised()
        needing.ticks(1030, 1060, heading(None, stand_in=None))

        assert not without.raised()
        (alert,) = needing.raised("heading_lost")
        assert str(alert.time) == str(moment(1030).time)
        assert alert.priority is Priority.WARNING
        assert alert.text == (
            "no heading since the start of the watch; bearings are off the bow alone, drift can't be told from yaw; "
            "held back: steady bearing, bow crossing, target manoeuvre, cross check (0 now)"
        )

    @pytest.mark.parametrize(("stand_in", "unjudged"), [(None, True), ("course over ground", False)])
    def test_a_zone_off_the_bow_is_judged_by_what_stands_in(self, stand_in: str | None, unjudged: bool) -> None:
        bow = Zone(to_nm=2, from_deg=330, to_deg=30)
        watch = Watch(Alerts(guard_zone=GuardZone(zones={"bow": bow})))
        watch.tick(0, heading(1.0, needed=False))
        watch.tick(12, heading(12.0, needed=False, stand_in=stand_in))

        (alert,) = watch.raised("heading_lost")
        assert ("not judged: guard zone bow" in alert.text) is unjudged

    def test_a_vessel_without_a_compass_is_told_once_as_a_caution_and_loses_no_rule(self) -> None:
        """Course over ground stands in, with its own uncertainty; nothing is held back for the whole watch."""
        watch = Watch()
        watch.ticks(0, 40, heading(None))
        for at_s in range(41, 100, 3):
            watch.plot(at_s, but(DANGER, tcpa_min=15.0, bow_crossing_min=15.0))
            watch.tick(at_s, heading(None))
        watch.targets["radar-03"] = msgspec.structs.replace(watch.targets["radar-03"], track=TrackState.LOST)
        watch.tick(130, heading(None))

        assert [(a.rule, a.priority) for a in watch.raised()] == [
            ("heading_lost", "caution"),
            ("steady_bearing", "warning"),
        ]
        assert "held back" not in watch.raised()[0].text
        assert "LOST" in watch.events[-1].text

    def test_what_depends_on_it_comes_back_when_the_stand_in_has_settled(self) -> None:
        watch = Watch()
        watch.ticks(0, 20, heading(15.0))
        drift = but(DANGER, tcpa_min=15.0, bow_crossing_min=15.0)
        for at_s in range(21, 160, 3):
            watch.plot(at_s, drift)
            watch.tick(at_s, heading(float(at_s)))

        (late,) = watch.raised("steady_bearing")
        assert str(late.time)[11:19] >= "08:02:10"

    def test_true_bearings_from_the_set_need_no_heading_of_ours(self) -> None:
        watch = Watch()
        watch.ticks(0, 20, heading(15.0, needed=False))
        for at_s in range(21, 80, 3):
            watch.plot(at_s, but(DANGER, tcpa_min=15.0, bow_crossing_min=15.0))
            watch.tick(at_s, heading(60.0, needed=False))

        assert [alert.rule for alert in watch.raised()] == ["heading_lost", "steady_bearing"]

    def test_speed_is_told_where_nothing_tells_the_position_it_went_with(self) -> None:
        """One receiver for both, and position_lost is switched off: the speed is not held back by what nobody tells."""
        off = msgspec.structs.replace(Alerts().position_lost, on=False)
        watch = Watch(Alerts(position_lost=off))
        silent = SensorHealth(age_s=12.0, source="gps/GPRMC", feed="gps", needed=True)
        watch.tick(0, Situation(position=silent, speed=silent))

        assert [alert.rule for alert in watch.raised()] == ["speed_lost"]

    @pytest.mark.parametrize("what", ["position", "speed"])
    def test_position_and_speed_alike(self, what: str) -> None:
        watch = Watch()
        watch.ticks(0, 5, msgspec.structs.replace(Situation(), **{what: SensorHealth(age_s=11.0)}))
        watch.ticks(6, 20, msgspec.structs.replace(Situation(), **{what: SensorHealth(age_s=0.2)}))

        assert watch.states(f"{what}_lost") == ["active-unacknowledged", "rectified-unacknowledged"]


def test_a_receiver_that_falls_silent_is_one_alert() -> None:
    """Position and speed of the same sentence are lost together."""
    watch = Watch()
    gone = SensorHealth(age_s=11.0, source="gnss/GPRMC", feed="gnss")
    watch.ticks(0, 5, Situation(position=gone, speed=gone))

    assert [alert.rule for alert in watch.raised()] == ["position_lost"]
    assert watch.book.standing(moment(5))[0].text == "position lost, none for 11 s (gnss/GPRMC); speed lost with it"


def test_what_was_held_back_and_is_there_again_is_never_told() -> None:
    """The log takes the lost receiver's place: no warning sounds to say 'speed is there again'."""
    watch = Watch()
    gone = SensorHealth(age_s=11.0, source="gnss/GPRMC", feed="gnss")
    watch.ticks(0, 5, Situation(position=gone, speed=gone))
    watch.ticks(6, 20, Situation(position=gone, speed=SensorHealth(age_s=0.2, source="log/VWVHW", feed="log")))

    assert [alert.rule for alert in watch.raised()] == ["position_lost"]


class TestFeeds:
    SILENT = (FeedHealth(name="radar", state=FeedState.SILENT, silent_s=14.0),)

    def test_a_silent_feed_is_one_warning_that_holds_back_what_came_by_it(self) -> None:
        watch = Watch()
        watch.plots(0, 30, CLEAR)
        watch.targets["radar-03"] = msgspec.structs.replace(watch.targets["radar-03"], track=TrackState.LOST)
        gone = SensorHealth(age_s=30.0, feed="radar")
        watch.ticks(44, 50, Situation(feeds=self.SILENT, heading=gone, position=gone))

        (alert,) = watch.raised()
        assert alert.rule == "feed_silent"
        assert alert.text.startswith("feed radar is silent, nothing for 14 s")
        standing = [finding for finding in watch.findings if finding.rule == "feed_silent"][-1]
        assert "3 other alerts held back" in standing.text

    def test_a_feed_that_is_down_tells_why_and_no_silence_that_would_grow_old(self) -> None:
        """Its alert is raised when the cable goes and stands unchanged: its one second of silence would grow old."""
        watch = Watch()
        down = FeedHealth(name="radar", state=FeedState.DOWN, silent_s=1.0, detail="unplugged or gone")
        watch.ticks(0, 5, Situation(feeds=(down,)))

        assert watch.raised()[0].text == "feed radar is down (unplugged or gone)"

    def test_when_it_is_heard_again_what_is_still_lost_is_told(self) -> None:
        watch = Watch()
        watch.plots(0, 30, CLEAR)
        watch.targets["radar-03"] = msgspec.structs.replace(watch.targets["radar-03"], track=TrackState.LOST)
        watch.ticks(44, 50, Situation(feeds=self.SILENT))
        watch.ticks(51, 60, Situation(feeds=(FeedHealth(name="radar", state=FeedState.UP),)))

        assert [alert.rule for alert in watch.raised()] == ["feed_silent", "lost_target"]

    def test_a_feed_that_is_down_says_why(self) -> None:
        watch = Watch()
        watch.tick(0, Situation(feeds=(FeedHealth(name="radar", state=FeedState.DOWN, detail="no such port"),)))

        assert watch.raised()[0].text == "feed radar is down (no such port)"

    def test_a_silent_feed_whose_cable_then_goes_is_told_again_with_the_reason(self) -> None:
        """Acknowledged silence is no acknowledgement of the cable."""
        watch = Watch()
        watch.ticks(0, 5, Situation(feeds=(FeedHealth(name="radar", state=FeedState.SILENT),)))
        watch.acknowledge(6)
        down = FeedHealth(name="radar", state=FeedState.DOWN, detail="unplugged or gone")
        watch.ticks(7, 20, Situation(feeds=(down,)))

        assert watch.states("feed_silent") == [
            AlertState.ACTIVE_UNACKNOWLEDGED,
            AlertState.ACTIVE_ACKNOWLEDGED,
            AlertState.ACTIVE_UNACKNOWLEDGED,
        ]
        assert watch.events[-1].text == "feed radar is down (unplugged or gone)"


class TestRadar:
    def test_a_change_of_picture_is_a_caution_for_a_minute(self) -> None:
        watch = Watch()
        watch.tick(0, Situation(radars=(RadarPicture(feed="radar", range_scale_nm=6.0),)))
        watch.tick(1, Situation(radars=(RadarPicture(feed="radar", range_scale_nm=3.0),)))
        watch.ticks(2, 70, Situation(radars=(RadarPicture(feed="radar", range_scale_nm=3.0),)))

        (alert,) = watch.raised()
        assert (alert.priority, alert.text) == (Priority.CAUTION, "radar: picture changed, range scale 6 to 3 NM")
        assert watch.states("picture_changed") == ["active-acknowledged", "normal"]

    def test_two_changes_are_two_cautions_and_the_first_values_none(self) -> None:
        watch = Watch()
        pictures = [
            RadarPicture(feed="radar"),
            RadarPicture(feed="radar", range_scale_nm=6.0, orientation=Orientation.HEAD_UP),
            RadarPicture(feed="radar", range_scale_nm=3.0, orientation=Orientation.HEAD_UP),
            RadarPicture(feed="radar", range_scale_nm=3.0, orientation=Orientation.NORTH_UP),
        ]
        for at_s, picture in enumerate(pictures):
            watch.tick(at_s, Situation(radars=(picture,)))

        assert [alert.text for alert in watch.raised()] == [
            "radar: picture changed, range scale 6 to 3 NM",
            "radar: picture changed, head-up to north-up",
        ]

    def test_capacity_is_a_caution_when_near_and_a_warning_when_full(self) -> None:
        watch = Watch()
        watch.ticks(0, 15, Situation(radars=(RadarPicture(feed="radar", tracked=19),)))
        watch.ticks(16, 30, Situation(radars=(RadarPicture(feed="radar", tracked=20),)))

        states = [(event.priority, event.state) for event in watch.events]
        assert states == [("caution", "active-acknowledged"), ("warning", "active-unacknowledged")]
        assert watch.events[-1].text == "radar: tracks 20 of 20 targets; it may take no more"

    def test_more_than_the_capacity_shows_that_the_set_can_do_more(self) -> None:
        watch = Watch()
        watch.ticks(0, 60, Situation(radars=(RadarPicture(feed="radar", tracked=24),)))

        assert not watch.raised()


class TestOutputs:
    def test_archive_sink_and_annunciator_have_their_own_rules(self) -> None:
        watch = Watch()
        watch.tick(
            0,
            Situation(
                outputs=(
                    OutputHealth(name="archive", problem="disk full", lost=12),
                    OutputHealth(name="events", problem="broken pipe"),
                ),
                annunciators=(OutputHealth(name="sound", problem="no player"),),
            ),
        )

        assert [(alert.rule, alert.text) for alert in watch.raised()] == [
            ("archive_failed", "archive fails, tracks are not kept: disk full; 12 not written"),
            ("output_failed", "output events fails: broken pipe"),
            ("annunciator_failed", "annunciator sound fails: no player"),
        ]

    def test_one_that_works_again_is_rectified(self) -> None:
        watch = Watch()
        watch.ticks(0, 3, Situation(outputs=(OutputHealth(name="archive", problem="disk full"),)))
        watch.ticks(4, 40)

        assert watch.states("archive_failed") == ["active-unacknowledged", "rectified-unacknowledged"]


class TestClock:
    def test_a_jump_is_a_caution(self) -> None:
        watch = Watch()
        watch.tick(0, Situation(clock_jump_s=-7200.0))
        watch.ticks(1, 59)
        assert watch.states("clock_jump") == ["active-acknowledged"]
        watch.tick(60)

        (alert,) = watch.raised()
        assert alert.text == "the clock jumped 2.0 h backwards; times are labels, no age or alert depends on them"
        assert watch.states("clock_jump") == ["active-acknowledged", "normal"]

    def test_weeks_that_rolled_over_are_said_in_days(self) -> None:
        watch = Watch()
        watch.tick(0, Situation(clock_jump_s=-1024 * 7 * 86_400.0))

        assert watch.raised()[0].text.startswith("the clock jumped 7168 days backwards;")

    def test_a_clock_that_jumps_at_every_line_is_one_condition(self) -> None:
        """Two sources of time three seconds apart: eight jumps are told, then that it goes on, and once it is over."""
        watch = Watch()
        for second in range(600):
            watch.tick(second, Situation(clock_jump_s=3.0 if second % 2 else -3.0))
        told = [alert.text for alert in watch.raised()]
        assert told[:8] == [
            f"the clock jumped 3 s {way}; times are labels, no age or alert depends on them"
            for way in ("backwards", "forwards") * 4
        ]
        assert told[8:] == [
            "the clock jumps again and again, now 3 s backwards: two sources of time may not agree; times are labels,"
            " no age or alert depends on them"
        ]

        watch.ticks(600, 658)
        assert watch.events[-1].time == moment(67).time  # when the last of the eight had been shown
        watch.tick(659)
        assert (str(watch.events[-1].state), watch.events[-1].text) == (
            "normal",
            told[8].replace("backwards", "forwards"),
        )
        assert len(watch.events) == 18
        watch.tick(700, Situation(clock_jump_s=3.0))
        assert watch.events[-1].text.startswith("the clock jumped 3 s forwards")


class TestBeacon:
    SART = Beacon(target="ais-970123456", station=AisClass.SART, age_s=2.0, range_nm=3.2, bearing_deg=118.0)

    def test_a_distress_beacon_is_an_alarm(self) -> None:
        watch = Watch()
        watch.tick(0, Situation(beacons=(self.SART,)))

        (alert,) = watch.raised()
        assert (alert.rule, alert.priority) == ("distress_beacon", Priority.ALARM)
        assert alert.text == "ais-970123456: AIS-SART, 3.20 NM, bearing 118°T, heard 2 s ago"

    def test_one_that_says_it_is_being_tested_is_a_caution(self) -> None:
        watch = Watch()
        watch.tick(0, Situation(beacons=(msgspec.structs.replace(self.SART, is_test=True),)))

        assert watch.raised()[0].priority is Priority.CAUTION
        assert "TEST of AIS-SART" in watch.raised()[0].text


class TestConditions:
    def test_limits_are_those_of_the_condition_in_force(self) -> None:
        watch = Watch()
        watch.rules.set_condition("harbour")
        watch.plots(0, 30, DANGER)  # 11.4 min is beyond harbour's 5

        assert not watch.raised()

    def test_what_is_off_in_the_new_condition_ends_at_once(self) -> None:
        watch = Watch()
        watch.plots(0, 60, but(DANGER, tcpa_min=15.0, range_nm=5.0, bow_crossing_min=15.0))
        (ended,) = watch.rules.set_condition("harbour")

        assert (ended.rule, ended.phase, ended.reason) == ("steady_bearing", "ended", "off in harbour")

    def test_settings_that_are_read_again_end_what_they_switch_off(self) -> None:
        watch = Watch()
        watch.plots(0, 60, but(DANGER, tcpa_min=15.0, range_nm=5.0, bow_crossing_min=15.0))
        off = msgspec.structs.replace(Alerts().steady_bearing, on=False)
        ended = watch.rules.configure(Alerts(steady_bearing=off), {"open water": Condition()}, "open water")

        assert [(finding.rule, finding.phase) for finding in ended] == [("steady_bearing", "ended")]
        assert not watch.rules.configure(Alerts(), {"open water": Condition()}, "open water")

    def test_a_guard_zone_that_is_taken_out_of_the_settings_ends_its_alerts(self) -> None:
        """Nobody would ever say that the target has left it."""
        zone = Zone(to_nm=6.0)
        watch = Watch(Alerts(guard_zone=GuardZone(zones={"ring": zone, "other": zone}, grace_s=0)))
        watch.plots(0, 30, DANGER)
        left = Alerts(guard_zone=GuardZone(zones={"other": zone}, grace_s=0))
        ended = watch.rules.configure(left, {"open water": Condition()}, "open water")

        assert [(finding.key, finding.phase) for finding in ended] == [(("guard_zone", "radar-03", "ring"), "ended")]

    def test_a_rule_may_be_on_in_named_conditions_only(self) -> None:
        closest = msgspec.structs.replace(Alerts().closest_approach, conditions=("coastal",))
        watch = Watch(Alerts(closest_approach=closest))
        watch.plots(0, 9, DANGER)

        assert not watch.raised("closest_approach")

    def test_a_condition_that_names_no_rule_is_refused(self) -> None:
        with pytest.raises(msgspec.ValidationError, match="'lost' is no rule"):
            msgspec.convert({"off": ["lost"]}, Condition)

    def test_an_unknown_condition_is_a_key_error(self) -> None:
        with pytest.raises(KeyError):
            Watch().rules.set_condition("high seas")

    def test_every_rule_of_the_interfaces_has_its_settings(self) -> None:
        named = (
            "closest_approach bow_crossing steady_bearing guard_zone new_target lost_target target_manoeuvre "
            "cross_check radar_capacity heading_lost position_lost speed_lost feed_silent picture_changed "
            "archive_failed clock_jump"
        )

        assert set(named.split()) <= set(RULES)
        assert DEFAULT_CONDITIONS.keys() >= {"open water", "coastal", "harbour", "restricted visibility"}
