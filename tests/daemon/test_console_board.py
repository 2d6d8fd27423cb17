"""What the console keeps of the events, in which order it puts the targets, and how it draws drift."""

import random

import msgspec
from hypothesis import given, settings
from hypothesis import strategies as st

from alerts.events import Pair
from alerts.plotting.terms import AlertState, PairState
from daemon.console import board as boards
from daemon.console.board import Board, Point
from daemon.console.strip import sides, strip
from daemon.console.urgency import MARGIN, alert_scores, order, score
from tests.daemon.passages import Vessel, alert, board_after, moment, plot_of


def points(bearings: dict[float, float], relative_deg: float = 30.0) -> list[Point]:
    """Bearings at so many minutes before 1000 s."""
    return [Point(1000 - 60 * ago, bearing, relative_deg, 2.0, None, None) for ago, bearing in bearings.items()]


class TestBoard:
    def test_a_target_that_falls_silent_is_not_current(self) -> None:
        """Three-second reports that have ceased for 29 s are overdue; those that go on are not."""
        snapshot = board_after(450).snapshot(0.0)

        assert snapshot.rows["radar-15"].age_s == 449 - 419
        assert not snapshot.rows["radar-15"].current
        assert snapshot.rows["radar-07"].current

    def test_two_tracks_of_one_vessel_are_one_line(self) -> None:
        """The track that speaks has it; parted, or with an alert still on the other, there are two again."""
        board = board_after(400)
        whole = board.snapshot(0.0)
        one, other = sorted(whole.rows.keys() - {raised.alert.target for raised in whole.alerts})[:2]
        pair = Pair(time=moment(400).time, target=one, ais=other, name="SHELDUCK", state=PairState.JOINED,
                    speaks=one, why="")  # fmt: skip
        lines = []
        for event in (
            pair,
            msgspec.structs.replace(pair, speaks=other),
            alert(400, 999, one, "CPA", AlertState.ACTIVE_UNACKNOWLEDGED, "closest_approach"),
            msgspec.structs.replace(pair, state=PairState.PARTED, speaks=None),
        ):
            board.take(moment(400), [event])
            lines.append({one, other} & set(board.snapshot(0.0).rows))

        assert lines == [{one}, {other}, {one, other}, {one, other}]

    def test_every_target_is_overdue_when_the_stream_stands_still(self) -> None:
        """Ages grow with the time that passes between moments, so that a dead stream leaves no present figure."""
        board = board_after(400)

        assert any(row.current for row in board.snapshot(0.0).rows.values())
        assert not any(row.current for row in board.snapshot(60.0).rows.values())

    def test_an_alert_leaves_when_it_is_normal(self) -> None:
        board = Board()
        board.take(moment(0), [alert(0, 1, None, "x", AlertState.ACTIVE_UNACKNOWLEDGED, "heading_lost")])
        held = board.snapshot(0.0).alerts
        board.take(moment(5), [alert(5, 1, None, "x", AlertState.NORMAL, "heading_lost")])

        assert [raised.since for raised in held] == [moment(0).time]
        assert board.snapshot(0.0).alerts == ()

    def test_memory_is_bounded_and_what_went_is_counted(self) -> None:
        """More targets than there is room for push out the stalest, and the screen can say how many."""
        board = Board()
        rng = random.Random(1)
        for number in range(boards.TARGETS_MAX + 5):
            vessel = Vessel(f"radar-{number}", 1.0, 1.0, 0.0, 0.0)
            board.take(moment(number * 0.1), [plot_of(vessel, number * 0.1, 1, rng)])
        snapshot = board.snapshot(0.0)

        assert len(snapshot.rows) == boards.TARGETS_MAX
        assert "radar-4" not in snapshot.rows
        assert snapshot.hidden == 5


class TestOrder:
    def test_an_alarm_stands_first(self) -> None:
        snapshot = board_after(260).snapshot(0.0)
        of_alerts = alert_scores(snapshot.alerts)
        scores = {key: score(row, of_alerts.get(key, 0.0)) for key, row in snapshot.rows.items()}

        assert order([], scores)[0] == "radar-07"

    def test_an_alarm_that_is_over_lends_its_target_nothing(self) -> None:
        """It waits to be acknowledged in the list of alerts; what still comes stands above what has passed."""
        board = board_after(260)
        board.take(moment(261), [alert(261, 90, "radar-11", "x", AlertState.ACTIVE_UNACKNOWLEDGED, "closest_approach")])
        assert "radar-11" in alert_scores(board.snapshot(0.0).alerts)
        over = AlertState.RECTIFIED_UNACKNOWLEDGED
        board.take(moment(262), [alert(262, 90, "radar-11", "x", over, "closest_approach")])

        assert "radar-11" not in alert_scores(board.snapshot(0.0).alerts)

    def test_of_two_alike_the_sooner_stands_first(self) -> None:
        """Two minutes from its CPA or six is worth a change of places, whichever stood first."""
        row = board_after(260).snapshot(0.0).rows["radar-07"]
        plots = [msgspec.structs.replace(row.plot, tcpa_min=one) for one in (2.0, 6.2)]
        sooner, later = (score(msgspec.structs.replace(row, plot=plot), 400.0) for plot in plots)

        assert order(["later", "sooner"], {"later": later, "sooner": sooner}) == ["sooner", "later"]

    def test_a_target_that_is_not_settled_stands_above_one_that_opens(self) -> None:
        snapshot = board_after(20).snapshot(0.0)
        unsettled = score(snapshot.rows["radar-03"], 0.0)
        late = board_after(1100).snapshot(0.0)

        assert unsettled > score(late.rows["radar-03"], 0.0)

    def test_small_changes_do_not_change_the_order(self) -> None:
        """Two targets whose scores cross by less than the margin keep their places; by more, they change."""
        first = order([], {"a": 60.0, "b": 58.0})

        assert first == ["a", "b"]
        assert order(first, {"a": 58.0, "b": 58.0 + MARGIN - 0.1}) == ["a", "b"]
        assert order(first, {"a": 58.0, "b": 58.1 + MARGIN}) == ["b", "a"]

    @settings(max_examples=100, derandomize=True, deadline=None)
    @given(
        st.lists(st.sampled_from("abcdefgh"), unique=True),
        st.dictionaries(st.sampled_from("abcdefgh"), st.floats(0, 500), max_size=8),
    )
    def test_nothing_stands_above_what_is_more_urgent_by_the_margin(
        self, previous: list[str], scores: dict[str, float]
    ) -> None:
        """Whatever stood there before: each target once, and none above another that beats it by the margin."""
        result = order(previous, scores)

        assert sorted(result) == sorted(scores)
        for i, upper in enumerate(result):
            assert all(scores[lower] <= scores[upper] + MARGIN for lower in result[i + 1 :])


class TestStrip:
    def test_a_steady_bearing_is_a_vertical_line(self) -> None:
        drawn = strip(points({0: 70.0, 1: 70.0, 2: 70.0}), 1000, 4, 21)

        assert drawn.marks == (10, 10, 10, None)

    def test_a_bearing_that_moves_left_leans_left_across_north(self) -> None:
        """From 001° to 357° is 4° to the left, not 356° to the right."""
        drawn = strip(points({0: 357.0, 1: 359.0, 2: 1.0}), 1000, 3, 21)

        assert drawn.scale_deg == 5.0
        assert drawn.marks == (2, 6, 10)

    def test_the_sides_are_named_for_the_target_s_side(self) -> None:
        """To starboard a bearing that draws left draws ahead, to port one that draws right; right ahead, neither.

        Source: plane geometry; the rule of thumb that bearings draw forward or aft, common practice.
        """
        assert sides(60.0) == ("ahead", "astern")
        assert sides(-60.0) == ("astern", "ahead")
        assert sides(0.5) == ("left", "right")
        assert sides(179.0) == ("left", "right")

    def test_a_gap_stays_a_gap(self) -> None:
        assert strip(points({0: 70.0, 3: 70.0}), 1000, 4, 21).marks == (10, None, None, 10)
