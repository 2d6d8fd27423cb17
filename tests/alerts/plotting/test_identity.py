"""Which target a report speaks of: tracks begin, continue and end as a plotter would have it."""

import pytest
from msgspec import structs

from alerts.plotting.estimate import Track
from alerts.plotting.identity import Targets
from alerts.plotting.kinematics import Look
from alerts.plotting.noise import NoiseModel
from alerts.plotting.placing import Change, Ended, Ending, Ignored, Placed
from alerts.plotting.terms import TrackState
from parsers.observations import MotionReference, Source, TargetLabel, TargetPosition, TargetStatus
from tests.alerts.plotting.vessels import TLL, TTD, TTM, LineFilter, Vessel, look_at_place, report_of

OWN = Vessel(0, 0, course_deg=0, speed_kn=8)
CROSSING = Vessel(2, 3, course_deg=270, speed_kn=10)
MEETING = Vessel(-1, 5, course_deg=180, speed_kn=12)
SCAN_S = 3.0


@pytest.fixture
def targets() -> Targets:
    return Targets(lambda feed: LineFilter())


def follow(targets: Targets, number: int, vessel: Vessel, start_s: float, looks: int) -> list[Placed]:
    """The set reports a vessel, scan by scan."""
    times = [start_s + SCAN_S * i for i in range(looks)]
    return [targets.place(report_of(number, look), look) for look in (OWN.look(vessel, at_s) for at_s in times)]


class TestKeys:
    def test_two_digits_at_least(self, targets: Targets) -> None:
        """Number 7 is radar-07; three-digit numbers are real."""
        assert follow(targets, 7, CROSSING, 0, 1)[0].track == "radar-07"
        assert follow(targets, 498, MEETING, 0, 1)[0].track == "radar-498"

    def test_several_feeds_give_their_names(self) -> None:
        """With two radars each key says whose target it is."""
        targets = Targets(lambda feed: LineFilter(), feeds=("mast", "bow"))
        look = OWN.look(CROSSING, 0)
        keys = [targets.place(report_of(7, look, Source(feed, "RA", "TTM")), look).track for feed in ("mast", "bow")]

        assert keys == ["mast-07", "bow-07"]

    def test_an_unannounced_second_feed_is_kept_apart(self, targets: Targets) -> None:
        """Never two tracks under one key, even where the second feed bears the first one's prefix as its name."""
        look = OWN.look(CROSSING, 0)
        keys = [targets.place(report_of(7, look, Source(feed, "RA", "TTM")), look).track for feed in ("a", "radar")]

        assert len(set(keys)) == 2

    def test_a_test_target_is_never_mixed_with_a_real_one(self, targets: Targets) -> None:
        """TTD's test bit: another key, and said so on every report."""
        real, test = OWN.look(CROSSING, 0), OWN.look(CROSSING, 1)
        targets.place(report_of(7, real, TTD), real)
        placed = targets.place(report_of(7, test, TTD, is_test=True), test)

        assert (placed.track, placed.is_test, placed.is_new) == ("radar-test-07", True, True)


class TestContinuing:
    def test_one_vessel_is_one_track(self, targets: Targets) -> None:
        """New once, then each report is a measurement of the same track."""
        placed = follow(targets, 7, CROSSING, 0, 20)

        assert {p.track for p in placed} == {"radar-07"}
        assert [p.is_new for p in placed] == [True] + [False] * 19
        assert placed[-1].estimate is not None
        assert placed[-1].estimate.observations == 20

    def test_an_alteration_is_not_another_vessel(self, targets: Targets) -> None:
        """A vessel of 20 knots that turns right round on the spot stays herself."""
        follow(targets, 7, Vessel(2, 3, 270, 20), 0, 20)
        east, north = Vessel(2, 3, 270, 20).place(57.0)
        back = Vessel(east - 20 * 57 / 3600, north, 90, 20)  # where she was at 57 s, going the other way

        assert all(p.ignored is None and p.track == "radar-07" for p in follow(targets, 7, back, 60, 20))

    def test_lost_and_found_near_her_prediction(self, targets: Targets) -> None:
        """The set loses her for 48 s and finds her where she should be: the track goes on."""
        follow(targets, 7, CROSSING, 0, 20)
        look = OWN.look(CROSSING, 60)
        lost = targets.place(report_of(7, look, status=TargetStatus.LOST), look)
        again = follow(targets, 7, CROSSING, 108, 2)

        assert (lost.track, lost.ignored, lost.lost) == ("radar-07", Ignored.LOST, True)
        assert [(p.track, p.reacquired) for p in again] == [("radar-07", True), ("radar-07", False)]

    def test_lost_is_said_once(self, targets: Targets) -> None:
        """A set repeats its lost sentence; the target is lost once."""
        follow(targets, 7, CROSSING, 0, 5)
        look = OWN.look(CROSSING, 15)
        report = report_of(7, look, status=TargetStatus.LOST)

        assert [targets.place(report, look).lost for _ in range(3)] == [True, False, False]

    def test_a_lost_report_is_no_measurement(self, targets: Targets) -> None:
        """Its range and bearing are the last ones once more."""
        follow(targets, 7, CROSSING, 0, 5)
        look = OWN.look(CROSSING, 15)
        targets.place(report_of(7, look, status=TargetStatus.LOST), look)
        estimate = targets.predict("radar-07", 15)

        assert estimate is not None
        assert (estimate.observations, estimate.state) == (5, TrackState.LOST)

    def test_lost_before_tracked_begins_nothing(self, targets: Targets) -> None:
        """A number first heard of as lost is not a target."""
        look = OWN.look(CROSSING, 0)
        placed = targets.place(report_of(7, look, status=TargetStatus.LOST), look)

        assert (placed.track, placed.ignored) == (None, Ignored.NOT_TRACKED)
        assert targets.keys() == []

    def test_looks_are_taken_while_the_set_acquires(self, targets: Targets) -> None:
        """Status Q: the measurement is good, whatever the set's own answer is."""
        look = OWN.look(CROSSING, 0)
        placed = targets.place(report_of(7, look, status=TargetStatus.ACQUIRING), look)

        assert placed.ignored is None
        assert placed.estimate is not None


class TestReusedNumbers:
    def test_lost_then_acquired_elsewhere(self, targets: Targets) -> None:
        """Real: 01 stands still at 0.48 NM, goes L; 48 s later 01 is Q at 0.11 NM on another bearing (oddity 8)."""
        moored = Vessel(0, 0)
        for i in range(20):
            look = look_at_place(-0.48, -0.05, moored.motion(i * 4.0))
            targets.place(report_of(1, look), look)
        targets.place(report_of(1, look, status=TargetStatus.LOST), look)
        other = look_at_place(0.08, 0.08, moored.motion(76 + 48.0))
        placed = targets.place(report_of(1, other, status=TargetStatus.ACQUIRING), other)

        assert (placed.track, placed.is_new, placed.continues) == ("radar-01.2", True, None)
        assert placed.ended == (Ended("radar-01", Ending.REUSED),)

    def test_a_jump_without_a_word_needs_two_looks(self, targets: Targets) -> None:
        """The first look off the track is held back, the second that goes with it begins the new track with both."""
        follow(targets, 7, CROSSING, 0, 20)
        first, second, third = follow(targets, 7, MEETING, 60, 3)

        assert (first.track, first.ignored, first.estimate) == ("radar-07", Ignored.JUMP, None)
        assert (second.track, second.is_new, second.ended) == (
            "radar-07.2",
            True,
            (Ended("radar-07", Ending.REUSED),),
        )
        assert second.estimate is not None
        assert second.estimate.observations == 2
        assert (third.track, third.is_new) == ("radar-07.2", False)

    def test_one_wild_plot_changes_nothing(self, targets: Targets) -> None:
        """A single error off the line is left out and the track goes on."""
        follow(targets, 7, CROSSING, 0, 20)
        wild = follow(targets, 7, MEETING, 60, 1)[0]
        after = follow(targets, 7, CROSSING, 63, 2)

        assert wild.ignored is Ignored.JUMP
        assert [(p.track, p.ignored) for p in after] == [("radar-07", None)] * 2

    def test_the_third_vessel_is_number_three(self, targets: Targets) -> None:
        """Sequels count on."""
        follow(targets, 7, CROSSING, 0, 10)
        follow(targets, 7, MEETING, 30, 10)

        assert follow(targets, 7, Vessel(4, -2), 60, 2)[1].track == "radar-07.3"

    def test_after_ten_minutes_a_number_is_another_vessel(self, targets: Targets) -> None:
        """Even at the very place: nobody has watched it. (Oddity 9: 13 minutes with no line, then T.)"""
        buoy = Vessel(1, 1)
        moored = Vessel(0, 0)
        for i in range(10):
            look = moored.look(buoy, i * 4.0)
            targets.place(report_of(3, look), look)
        changes = targets.tick(36 + 780.0)
        look = moored.look(buoy, 36 + 780.0)

        assert changes == [Change("radar-03", TrackState.LOST, Ending.FORGOTTEN)]
        assert targets.place(report_of(3, look), look).track == "radar-03.2"


class TestExchangedNumbers:
    def test_each_plot_goes_on_under_the_number_the_set_now_shows(self, targets: Targets) -> None:
        """07 and 08 change places: both tracks end, and each number begins with the history of its new echo."""
        for i in range(20):
            for number, vessel in ((7, CROSSING), (8, MEETING)):
                follow(targets, number, vessel, SCAN_S * i + 0.5 * (number == 8), 1)
        swapped = []
        for i in range(20, 24):
            for number, vessel in ((7, MEETING), (8, CROSSING)):
                swapped += follow(targets, number, vessel, SCAN_S * i + 0.5 * (number == 8), 1)
        new = [(p.track, p.continues, p.ended[0].why) for p in swapped if p.is_new]

        assert new == [
            ("radar-07.2", "radar-08", Ending.EXCHANGED),
            ("radar-08.2", "radar-07", Ending.EXCHANGED),
        ]
        last = swapped[-1].estimate
        assert last is not None
        assert last.settled
        assert (last.east_kn, last.north_kn) == pytest.approx((CROSSING.east_kn, CROSSING.north_kn), abs=0.2)
        assert targets.keys() == ["radar-07.2", "radar-08.2"]

    def test_a_number_that_moves_on_to_a_tracked_echo_doubles_it(self, targets: Targets) -> None:
        """07 jumps onto the vessel of 08, which keeps its own: two numbers on one vessel, and said so."""
        for i in range(20):
            follow(targets, 7, CROSSING, SCAN_S * i, 1)
            follow(targets, 8, MEETING, SCAN_S * i + 0.5, 1)
        for i in range(20, 40):
            follow(targets, 7, MEETING, SCAN_S * i, 1)
            follow(targets, 8, MEETING, SCAN_S * i + 0.5, 1)

        assert targets.keys() == ["radar-08", "radar-07.2"]
        assert targets.duplicate_of("radar-07.2") == "radar-08"


class TestMeetings:
    """Two vessels pass within what the radar can tell apart, here at 60 s, 0.02 NM from each other."""

    EAST, NORTH = Vessel(1.5, 2, 90, 12), Vessel(1.7, 1.82, 0, 10)

    def run(self, exchange_s: float) -> tuple[Targets, list[Placed]]:
        noise = NoiseModel()
        targets = Targets(lambda feed: Track(noise))
        placed = []
        for i in range(60):
            pair = (self.EAST, self.NORTH) if SCAN_S * i < exchange_s else (self.NORTH, self.EAST)
            for number, vessel in zip((7, 8), pair, strict=True):
                placed += follow(targets, number, vessel, SCAN_S * i + 0.5 * (number == 8), 1)
        return targets, placed

    def test_numbers_that_stay_keep_their_tracks(self) -> None:
        """Nothing ends when two vessels cross."""
        targets, placed = self.run(exchange_s=1e9)

        assert targets.keys() == ["radar-07", "radar-08"]
        assert not any(p.ended for p in placed)

    def test_numbers_that_are_exchanged_are_found_when_the_echoes_have_parted(self) -> None:
        """No look is off its track by more than noise may do; the lines from before the meeting decide. Both end in
        one report, and each number's next one says whom it continues."""
        targets, placed = self.run(exchange_s=62)
        new = {p.track: p.continues for p in placed if p.is_new and p.continues}
        last = {p.track: p.estimate for p in placed[-2:] if p.estimate}

        assert new == {"radar-07.2": "radar-08", "radar-08.2": "radar-07"}
        assert set(targets.keys()) == {"radar-07.2", "radar-08.2"}
        assert [len(p.ended) for p in placed if p.ended] == [2]
        for key, vessel in (("radar-07.2", self.NORTH), ("radar-08.2", self.EAST)):
            assert last[key].settled
            assert (last[key].east_kn, last[key].north_kn) == pytest.approx((vessel.east_kn, vessel.north_kn), abs=0.5)


class TestOneVesselUnderTwoNumbers:
    def double(self, targets: Targets, seconds: int, offset_nm: float = 0.0) -> None:
        other = Vessel(CROSSING.east_nm, CROSSING.north_nm + offset_nm, CROSSING.course_deg, CROSSING.speed_kn)
        for i in range(seconds // 3):
            follow(targets, 1, CROSSING, SCAN_S * i, 1)
            follow(targets, 2, other, SCAN_S * i + 1, 1)

    def test_kept_as_two_but_known(self, targets: Targets) -> None:
        """The younger number is the elder's duplicate; the elder is nobody's."""
        self.double(targets, 90)

        assert targets.keys() == ["radar-01", "radar-02"]
        assert targets.duplicate_of("radar-02") == "radar-01"
        assert targets.duplicate_of("radar-01") is None

    def test_a_few_looks_are_not_enough(self, targets: Targets) -> None:
        """Two vessels may pass close to each other: thirty seconds of the same motion are asked for."""
        self.double(targets, 27)

        assert targets.duplicate_of("radar-02") is None

    def test_a_tow_is_not_her_tug(self, targets: Targets) -> None:
        """Same motion a cable apart: two vessels, each with her own alerts."""
        self.double(targets, 180, offset_nm=0.1)

        assert targets.duplicate_of("radar-02") is None

    def test_when_the_elder_is_lost_the_younger_speaks(self, targets: Targets) -> None:
        """A duplicate must never keep a danger quiet that nobody else reports."""
        self.double(targets, 90)
        look = OWN.look(CROSSING, 90)
        targets.place(report_of(1, look, status=TargetStatus.LOST), look)

        assert targets.duplicate_of("radar-02") is None

    def test_they_part_again(self, targets: Targets) -> None:
        """One of the two turns out to be a launch that leaves the ship's side."""
        self.double(targets, 90)
        launch = Vessel(*CROSSING.place(90), course_deg=0, speed_kn=15)
        moved = Vessel(launch.east_nm, launch.north_nm - 15 * 90 / 3600, 0, 15)
        for i in range(30, 50):
            follow(targets, 1, CROSSING, SCAN_S * i, 1)
            follow(targets, 2, moved, SCAN_S * i + 1, 1)

        assert targets.duplicate_of("radar-02") is None


class TestSeveralSentencesForOneTarget:
    def position(self, number: int | None, look: Look, at_s: float) -> TargetPosition:
        return TargetPosition(at_s=at_s, source=TLL, number=number, lat_deg=50.0, lon_deg=-1.0)

    def test_ttm_and_tll_of_one_burst_are_one_measurement(self, targets: Targets) -> None:
        """The position is the report's own range and bearing worked out again (oddity 12)."""
        for i in range(10):
            look, beside = OWN.look(CROSSING, SCAN_S * i), OWN.look(CROSSING, SCAN_S * i + 0.1)
            report = targets.place(report_of(7, look), look)
            position = targets.place(self.position(7, beside, SCAN_S * i + 0.1), beside)

            assert report.ignored is None
            assert position.ignored is not None
            assert position.track == "radar-07"
        assert targets.keys() == ["radar-07"]

    def test_the_report_takes_over_from_a_position_that_came_first(self, targets: Targets) -> None:
        """TLL before TTM in the burst: from the second burst on it is the TTM that is measured."""
        taken = []
        for i in range(4):
            look, beside = OWN.look(CROSSING, SCAN_S * i), OWN.look(CROSSING, SCAN_S * i + 0.1)
            taken.append(targets.place(self.position(7, look, SCAN_S * i), look).ignored is None)
            taken.append(targets.place(report_of(7, beside), beside).ignored is None)

        assert taken == [True, False, False, True, False, True, False, True]

    def test_positions_alone_make_a_track(self, targets: Targets) -> None:
        """TLL without TTM is measured."""
        looks = [OWN.look(CROSSING, SCAN_S * i) for i in range(5)]
        placed = [targets.place(self.position(7, look, look.at_s), look) for look in looks]

        assert all(p.track == "radar-07" and p.ignored is None for p in placed)

    def test_a_position_without_a_number_is_a_mark(self, targets: Targets) -> None:
        """No track stands behind it."""
        look = OWN.look(CROSSING, 0)

        assert targets.place(self.position(None, look, 0), look) == Placed(track=None, ignored=Ignored.MARK)

    def test_one_target_from_two_talkers(self, targets: Targets) -> None:
        """GPTTM 01 and RATTM 01 on the same place: measured once (oddity 11)."""
        other = Source("radar", "GP", "TTM")
        for i in range(5):
            look, beside = OWN.look(CROSSING, SCAN_S * i), OWN.look(CROSSING, SCAN_S * i + 0.1)
            assert targets.place(report_of(1, look), look).ignored is None
            assert targets.place(report_of(1, beside, other), beside).ignored is not None
        assert targets.keys() == ["radar-01"]

    def test_the_second_talker_takes_over_when_the_first_falls_silent(self, targets: Targets) -> None:
        """Better a second source than none."""
        follow(targets, 1, CROSSING, 0, 10)
        other = Source("radar", "GP", "TTM")
        looks = [OWN.look(CROSSING, at_s) for at_s in (30.0, 33.0, 36.0, 39.0, 42.0)]
        placed = [targets.place(report_of(1, look, other), look) for look in looks]

        assert [p.ignored for p in placed] == [Ignored.SECOND_SOURCE] * 3 + [None] * 2
        assert {p.track for p in placed} == {"radar-01"}

    def test_two_talkers_with_numbers_of_their_own(self, targets: Targets) -> None:
        """The same number by another talker at another place is another target; both live side by side."""
        other = Source("radar", "GP", "TTM")
        for i in range(10):
            look, elsewhere = OWN.look(CROSSING, SCAN_S * i), OWN.look(MEETING, SCAN_S * i + 0.2)
            first = targets.place(report_of(1, look), look)
            second = targets.place(report_of(1, elsewhere, other), elsewhere)

        assert (first.track, second.track) == ("radar-01", "radar-01.2")
        assert first.ignored is second.ignored is None


class TestOldAndRepeatedData:
    def test_the_same_line_twice(self, targets: Targets) -> None:
        """Same figures, same time of data: one measurement."""
        look = OWN.look(CROSSING, 0)
        later = Look(at_s=0.8, range_nm=look.range_nm, bearing_deg=look.bearing_deg, own=OWN.motion(0.8))
        targets.place(report_of(7, look, time_of_day_s=43200.0), look)
        again = targets.place(report_of(7, later, time_of_day_s=43200.0), later)

        assert again.ignored is Ignored.SAME_MEASUREMENT

    def test_an_old_measurement_under_a_new_time_is_left_to_the_filter(self, targets: Targets) -> None:
        """Sets send one in three again (oddity 14); the filter recognises it, and it is never taken for a jump."""
        follow(targets, 7, CROSSING, 0, 10)
        last = OWN.look(CROSSING, 27)
        repeated = Look(at_s=30.0, range_nm=last.range_nm, bearing_deg=last.bearing_deg, own=OWN.motion(30.0))

        assert targets.place(report_of(7, repeated), repeated).ignored is None

    def test_older_than_the_last_by_its_own_time(self, targets: Targets) -> None:
        """A time of data several seconds behind the last one of the same number is out of order (oddity 16)."""
        for i in range(5):
            look = OWN.look(CROSSING, SCAN_S * i)
            targets.place(report_of(7, look, time_of_day_s=100.0 + SCAN_S * i), look)
        late = OWN.look(CROSSING, 9.0)
        late = Look(at_s=15.0, range_nm=late.range_nm, bearing_deg=late.bearing_deg, own=OWN.motion(15.0))

        assert targets.place(report_of(7, late, time_of_day_s=109.0), late).ignored is Ignored.OUT_OF_ORDER

    @pytest.mark.parametrize(("before", "after"), [(86399.0, 2.0), (50000.0, 100.0), (100.0, None)])
    def test_midnight_and_a_clock_that_is_put_back_are_not_disorder(
        self, targets: Targets, before: float, after: float | None
    ) -> None:
        """A set that was restarted at another time of day is heard at once."""
        first, second = OWN.look(CROSSING, 0), OWN.look(CROSSING, 3)
        targets.place(report_of(7, first, time_of_day_s=before), first)

        assert targets.place(report_of(7, second, time_of_day_s=after), second).ignored is None

    def test_no_range_no_measurement(self, targets: Targets) -> None:
        """A report without range or bearing is passed over, and its track stays."""
        look = OWN.look(CROSSING, 0)
        targets.place(report_of(7, look), look)
        placed = targets.place(report_of(7, look, range_nm=None), None)

        assert (placed.track, placed.ignored) == ("radar-07", Ignored.NO_MEASUREMENT)


class TestStaleData:
    def test_lines_that_say_nothing_new_do_not_keep_a_target_alive(self) -> None:
        """The set goes on sending the last measurement of a moving vessel: she coasts, then is lost, and stays so."""
        targets = Targets(lambda feed: Track(NoiseModel()))
        follow(targets, 7, CROSSING, 0, 40)
        last = OWN.look(CROSSING, 39 * SCAN_S)
        states = []
        for i in range(40, 80):
            changes = targets.tick(SCAN_S * i)
            look = Look(
                at_s=SCAN_S * i, range_nm=last.range_nm, bearing_deg=last.bearing_deg, own=OWN.motion(SCAN_S * i)
            )
            placed = targets.place(report_of(7, look), look)
            states += [change.state for change in changes]

            assert placed.track == "radar-07"
        assert states == [TrackState.COASTING, TrackState.LOST]
        assert placed.estimate is not None
        assert placed.estimate.state is TrackState.LOST
        again = follow(targets, 7, CROSSING, SCAN_S * 80, 1)[0]
        assert (again.track, again.reacquired) == ("radar-07", True)

    def test_a_target_that_does_not_move_may_say_the_same_for_ever(self) -> None:
        """Both moored: range and bearing are the same to the last digit, and the target is there."""
        targets = Targets(lambda feed: Track(NoiseModel()))
        moored, buoy = Vessel(0, 0), Vessel(0.5, 0.5)
        changes = []
        for i in range(100):
            look = moored.look(buoy, SCAN_S * i)
            targets.place(report_of(7, look), look)
            changes += targets.tick(SCAN_S * i)

        assert changes == []


class TestSilence:
    def test_coasting_then_lost_then_forgotten(self, targets: Targets) -> None:
        """Three of its own rhythms without a word, then ten, then ten minutes."""
        follow(targets, 7, CROSSING, 0, 10)  # every 3 s, last at 27 s
        log = [(at_s, change.state, change.ended) for at_s in range(28, 700) for change in targets.tick(float(at_s))]

        assert log == [
            (37, TrackState.COASTING, None),
            (58, TrackState.LOST, None),
            (628, TrackState.LOST, Ending.FORGOTTEN),
        ]
        assert targets.keys() == []

    def test_the_rhythm_is_the_targets_own(self, targets: Targets) -> None:
        """A target that is reported every 12 s is not coasting after 30."""
        for i in range(10):
            look = OWN.look(CROSSING, 12.0 * i)
            targets.place(report_of(7, look), look)

        assert targets.tick(108 + 30.0) == []
        assert [c.state for c in targets.tick(108 + 37.0)] == [TrackState.COASTING]

    def test_a_coasting_target_says_so(self, targets: Targets) -> None:
        """Its prediction is marked, and a new look takes the mark away."""
        follow(targets, 7, CROSSING, 0, 10)
        targets.tick(40.0)
        coasting = targets.predict("radar-07", 40.0)
        seen = follow(targets, 7, CROSSING, 42, 1)[0]

        assert coasting is not None
        assert coasting.state is TrackState.COASTING
        assert seen.reacquired
        assert seen.estimate is not None
        assert seen.estimate.state is TrackState.STEADY


class TestHeadingLostAndFound:
    def bow(self, look: Look) -> Look:
        """The same measurement with nothing known of own ship: counted from the bow, in a plane of its own."""
        own = structs.replace(
            look.own,
            east_nm=0.0,
            north_nm=0.0,
            east_kn=0.0,
            north_kn=0.0,
            frame=MotionReference.UNKNOWN,
            heading_deg=None,
        )
        return structs.replace(look, own=own, bearing_deg=(look.bearing_deg - 75) % 360)

    def test_the_track_keeps_its_key_and_learns_its_motion_anew(self, targets: Targets) -> None:
        """Bearings from the bow say nothing of bearings from north: the target is hers by her range, if it can be."""
        follow(targets, 7, CROSSING, 0, 10)
        placed = [
            targets.place(report_of(7, look), look) for look in (self.bow(OWN.look(CROSSING, t)) for t in (30, 33))
        ]
        after = follow(targets, 7, CROSSING, 36, 1)[0]

        assert [p.track for p in (*placed, after)] == ["radar-07"] * 3
        assert [p.estimate.observations for p in (*placed, after) if p.estimate] == [1, 2, 1]

    def test_another_range_is_another_vessel(self, targets: Targets) -> None:
        """Not by the bearing, but a mile in three seconds nobody makes."""
        follow(targets, 7, CROSSING, 0, 10)
        look = self.bow(OWN.look(MEETING, 30))

        assert targets.place(report_of(7, look), look).track == "radar-07.2"


class TestWithTheRealFilter:
    def test_exchanged_numbers_keep_their_histories(self) -> None:
        """The same exchange as above: settled at once under the new keys, sharing their feed's noise still."""
        noise = NoiseModel()
        targets = Targets(lambda feed: Track(noise))
        placed = []
        for i in range(60):
            pair = (CROSSING, MEETING) if i < 50 else (MEETING, CROSSING)
            for number, vessel in zip((7, 8), pair, strict=True):
                placed += follow(targets, number, vessel, SCAN_S * i + 0.5 * (number == 8), 1)
        new = [p for p in placed if p.is_new and p.continues]

        assert [(p.track, p.continues) for p in new] == [("radar-07.2", "radar-08"), ("radar-08.2", "radar-07")]
        assert all(p.estimate is not None and p.estimate.settled for p in new)
        assert targets._tracks["radar-07.2"].filter._share._feed is noise  # type: ignore[attr-defined]


class TestNames:
    def test_the_label_comes_before_the_name(self, targets: Targets) -> None:
        """TLB names a number; without one the name in the target's own sentence stands."""
        look = OWN.look(CROSSING, 0)
        targets.place(report_of(7, look, name="PETREL"), look)
        targets.label(TargetLabel(at_s=1.0, source=TTM, number=7, label="pilot"))
        labelled = targets.name_of("radar-07")
        targets.label(TargetLabel(at_s=2.0, source=TTM, number=7, label=None))

        assert labelled == "pilot"
        assert targets.name_of("radar-07") == "PETREL"

    def test_a_name_of_any_length_costs_little(self, targets: Targets) -> None:
        """Cut where it is stored."""
        look = OWN.look(CROSSING, 0)
        targets.place(report_of(7, look, name="x" * 10_000), look)

        assert targets.name_of("radar-07") == "x" * 40


class TestFloods:
    def test_a_flood_of_numbers_leaves_the_size_alone(self) -> None:
        """30,000 different numbers: never more tracks than the capacity, and it is told what was crowded out."""
        targets = Targets(lambda feed: LineFilter(), capacity=50)
        ended = 0
        for number in range(30_000):
            look = look_at_place(1.0, 2.0, OWN.motion(number * 0.01))
            ended += len(targets.place(report_of(number, look), look).ended)

        assert len(targets.keys()) == 50
        assert ended == targets.crowded_out == 29_950
        assert targets.load == 1.0
        assert len(targets._numbers) == 50
        assert len(targets._sequels) <= 8192

    def test_a_flood_does_not_crowd_out_what_is_established(self) -> None:
        """The vessels that were being watched stay; the flood's one-look targets push out each other."""
        targets = Targets(lambda feed: LineFilter(), capacity=20)
        for number, vessel in ((7, CROSSING), (8, MEETING)):
            follow(targets, number, vessel, 0, 10)
        for number in range(1000, 3000):
            look = look_at_place(1.0, 2.0, OWN.motion(30 + number * 0.001))
            targets.place(report_of(number, look), look)

        assert targets.keys()[:2] == ["radar-07", "radar-08"]

    def test_a_number_that_a_flood_made_forgotten_never_shares_a_living_key(self) -> None:
        """Two talkers' targets under one number, with ten thousand other numbers between: two keys."""
        targets = Targets(lambda feed: LineFilter(), capacity=20)
        follow(targets, 7, CROSSING, 0, 10)
        for number in range(1000, 11_000):
            look = look_at_place(1.0, 2.0, OWN.motion(28 + number * 0.0001))
            targets.place(report_of(number, look), look)
        look = OWN.look(MEETING, 30)
        placed = targets.place(report_of(7, look, Source("radar", "GP", "TTM")), look)

        assert placed.track == "radar-07.2"
        assert {"radar-07", "radar-07.2"} <= set(targets.keys())

    def test_a_flood_of_talkers_on_one_number(self) -> None:
        """Each at another place: tracks up to the capacity, and no more."""
        targets = Targets(lambda feed: LineFilter(), capacity=50)
        for i in range(676):
            source = Source("radar", f"{chr(65 + i // 26)}{chr(65 + i % 26)}", "TTM")
            look = look_at_place(1.0 + i, 2.0, OWN.motion(i * 0.01))
            targets.place(report_of(1, look, source), look)

        assert len(targets.keys()) == 50
