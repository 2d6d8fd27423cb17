"""closest_approach, steady_bearing and bow_crossing: when they are raised, when cleared, and what they say."""

import msgspec
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from alerts.plotting.terms import Check, Priority, TrackState
from alerts.rules import approach, wording
from alerts.rules.approach import DriftLimits, Figures
from alerts.rules.latch import Latch, advance, sweep
from alerts.settings import Alerts, Basis, ClosestApproach
from tests.alerts.watch import CLEAR, DANGER, Watch, but, moment


def with_closest(**changes: object) -> Alerts:
    return Alerts(closest_approach=msgspec.structs.replace(ClosestApproach(), **changes))


class TestClosestApproach:
    def test_is_an_alarm_after_its_hold_with_the_text_a_tired_reader_needs(self) -> None:
        watch = Watch()
        watch.plots(0, 9, DANGER)

        (alert,) = watch.raised()

        assert (alert.rule, alert.priority, alert.target) == ("closest_approach", Priority.ALARM, "radar-03")
        assert alert.text == ("radar-03: CPA 0.12 NM (0.02 to 0.31) in 11.4 min, passing ahead, bearing 061°T steady")
        assert str(alert.time) == "2027-01-15T08:00:06.000Z"

    def test_values_hold_what_was_measured_and_the_limits_it_was_held_against(self) -> None:
        watch = Watch()
        watch.plots(0, 9, DANGER)

        values = watch.raised()[0].values

        assert values["cpa_nm"] == 0.12
        assert values["cpa_limit_nm"] == 0.5
        assert values["tcpa_limit_min"] == 12
        assert values["probability_limit"] == 0.5
        assert values["condition"] == "open water"
        assert values["basis"] == "recomputed"

    @pytest.mark.parametrize("change", [{"inside_probability": 0.5}, {"tcpa_min": 12.0}, {"tcpa_min": 0.0}], ids=str)
    def test_its_limits_are_inside(self, change: dict[str, float]) -> None:
        watch = Watch()
        watch.plots(0, 9, but(DANGER, **change))

        assert watch.raised("closest_approach")

    @pytest.mark.parametrize(
        "change",
        [
            {"inside_probability": 0.49},
            {"tcpa_min": 12.01},
            {"tcpa_min": -0.1},
            {"inside_probability": None, "cpa_nm": None, "tcpa_min": None},
        ],
    )
    def test_is_not_raised_outside_either_limit_past_the_cpa_or_unsettled(self, change: dict[str, float]) -> None:
        watch = Watch()
        watch.plots(0, 60, but(DANGER, **change))

        assert not watch.raised("closest_approach")

    def test_one_plot_in_the_band_between_raising_and_clearing_does_not_restart_the_hold(self) -> None:
        watch = Watch()
        watch.plot(0, DANGER)
        watch.plot(3, but(DANGER, inside_probability=0.4, cpa_nm=0.55))
        watch.plot(6, DANGER)

        assert watch.raised("closest_approach")

    def test_one_plot_beyond_the_band_restarts_the_hold(self) -> None:
        watch = Watch()
        watch.plot(0, DANGER)
        watch.plot(3, CLEAR)
        watch.plot(6, DANGER)

        assert not watch.raised("closest_approach")

    @pytest.mark.parametrize("apart_s", [31.0, 60.0, 180.0])
    def test_a_target_that_is_seldom_reported_is_told_of(self, apart_s: float) -> None:
        """A set with many targets comes round in more than half a minute, a moored station's AIS in three: the next
        look that is inside still says that the limits have held."""
        watch = Watch()
        watch.plot(0, DANGER)
        watch.plot(apart_s, DANGER)

        assert watch.raised("closest_approach")

    def test_what_another_track_spoke_for_is_told_of_between_reports_too(self) -> None:
        """Of a moored station whose radar track has just ended nothing is kept, and her next report is minutes off."""
        watch = Watch()
        found = [
            finding
            for at_s in (0.0, 20.0)
            for finding in watch.rules.see_carried(moment(at_s), but(DANGER, target="ais-219000123"))
        ]

        assert [(finding.rule, finding.phase) for finding in found] == [("closest_approach", "raised")]

    def test_is_cleared_only_beyond_the_ratio_for_the_clear_hold(self) -> None:
        watch = Watch()
        watch.plots(0, 9, DANGER)
        watch.plots(12, 60, but(CLEAR, cpa_nm=0.59))  # within 1.2 x 0.5

        assert watch.states("closest_approach") == ["active-unacknowledged"]

        watch.plots(63, 81, CLEAR)
        assert watch.states("closest_approach") == ["active-unacknowledged"]

        watch.plots(84, 87, CLEAR)
        assert watch.states("closest_approach") == ["active-unacknowledged", "rectified-unacknowledged"]

    def test_a_plot_that_cannot_be_judged_does_not_clear(self) -> None:
        watch = Watch()
        watch.plots(0, 9, DANGER)
        watch.plots(12, 90, but(DANGER, cpa_nm=None, tcpa_min=None, inside_probability=None))

        assert watch.states("closest_approach") == ["active-unacknowledged"]

    def test_lasts_until_half_a_minute_after_the_cpa(self) -> None:
        watch = Watch()
        watch.plots(0, 9, DANGER)
        watch.plots(12, 60, but(DANGER, tcpa_min=-0.5, bow_crossing_min=None))
        before = watch.states("closest_approach")
        watch.plots(63, 90, but(DANGER, tcpa_min=-0.51, bow_crossing_min=None))

        assert before == ["active-unacknowledged"]
        assert watch.states("closest_approach")[-1] == "rectified-unacknowledged"
        assert "past its CPA" in str(watch.events[-1].values["change"])
        assert len(watch.raised()) == 1  # what it held back is past as well

    @pytest.mark.parametrize(
        ("basis", "ours", "theirs", "raised"),
        [
            (Basis.RECOMPUTED, 0.9, 2.0, True),
            (Basis.RECOMPUTED, 0.1, 0.2, False),
            (Basis.REPORTED, 0.9, 2.0, False),
            (Basis.REPORTED, 0.1, 0.2, True),
            (Basis.EITHER, 0.9, 2.0, True),
            (Basis.EITHER, 0.1, 0.2, True),
            (Basis.EITHER, 0.1, 2.0, False),
        ],
    )
    def test_basis_says_whose_answer_decides(self, basis: Basis, ours: float, theirs: float, raised: bool) -> None:
        watch = Watch(with_closest(basis=basis))
        watch.plots(0, 30, but(CLEAR, inside_probability=ours, reported_cpa_nm=theirs))

        assert bool(watch.raised("closest_approach")) is raised

    def test_the_sets_answer_is_not_used_while_it_settles(self) -> None:
        watch = Watch(with_closest(basis=Basis.REPORTED))
        watch.plots(0, 30, but(DANGER, check=Check.SETTLING, reported_cpa_nm=0.0, reported_tcpa_min=0.0))

        assert not watch.raised("closest_approach")

    def test_a_reported_basis_quotes_the_set(self) -> None:
        watch = Watch(with_closest(basis=Basis.EITHER))
        watch.plots(0, 9, DANGER)

        assert "set reports CPA 0.20 NM in 11.5 min" in watch.raised()[0].text

    def test_worsening_by_the_step_is_said_once_for_each_step(self) -> None:
        watch = Watch()
        watch.plots(0, 9, but(DANGER, cpa_nm=0.45))
        watch.acknowledge(9)
        watch.plots(12, 30, but(DANGER, cpa_nm=0.26))
        quiet = watch.states("closest_approach")
        watch.plots(33, 60, but(DANGER, cpa_nm=0.25))

        assert quiet == ["active-unacknowledged", "active-acknowledged"]
        assert watch.states("closest_approach")[2:] == ["active-unacknowledged"]
        assert "CPA down from 0.45 NM" in str(watch.events[-1].values["change"])

    def test_what_is_past_gets_no_worse(self) -> None:
        watch = Watch()
        watch.plots(0, 9, DANGER)
        watch.acknowledge(9)
        watch.plots(12, 60, but(DANGER, tcpa_min=-1.0, cpa_nm=0.0, bow_crossing_min=None))

        assert watch.states("closest_approach") == ["active-unacknowledged", "active-acknowledged", "normal"]

    def test_an_acknowledged_danger_sounds_again_once_when_time_is_short(self) -> None:
        watch = Watch()
        watch.plots(0, 9, DANGER)
        watch.acknowledge(9)
        watch.plots(12, 30, but(DANGER, tcpa_min=3.0))
        watch.acknowledge(31)
        watch.plots(33, 60, but(DANGER, tcpa_min=2.0))

        assert watch.states("closest_approach") == ["active-unacknowledged", "active-acknowledged"] * 2

    def test_data_that_stops_leaves_the_danger_as_lost_until_acknowledged(self) -> None:
        watch = Watch()
        watch.plots(0, 9, DANGER)
        watch.acknowledge(10)
        watch.lose(60, "radar-03")
        del watch.targets["radar-03"]
        watch.ticks(61, 300)

        lost = watch.events[-1]
        assert lost.text == (
            "radar-03: LOST, last known CPA 0.12 NM (0.02 to 0.31) in 11.4 min at 08:00:09 UTC, 3.00 NM, "
            "bearing 061°T, passing ahead"
        )
        assert (lost.values["lost"], lost.values["last_seen"]) == (True, "2027-01-15T08:00:09.000Z")
        assert lost.state == "active-unacknowledged"
        assert watch.acknowledge(301)[0].state == "normal"
        assert not watch.raised("lost_target")  # the danger tells it already

    def test_what_the_picture_has_dropped_is_not_remembered(self) -> None:
        """In a watch of weeks with dangers on thousands of targets that would grow for ever."""
        watch = Watch()
        watch.plots(0, 9, DANGER)
        del watch.targets["radar-03"]
        watch.tick(10)

        assert not watch.rules._board.told

    def test_a_lost_danger_that_is_plotted_again_goes_on_as_the_same_alert(self) -> None:
        watch = Watch()
        watch.plots(0, 9, DANGER)
        watch.lose(60, "radar-03")
        watch.plots(90, 120, DANGER)

        (alert,) = watch.raised()
        (standing,) = watch.book.standing(moment(watch.at_s))
        assert standing.id == alert.id
        assert "LOST" not in standing.text

    def test_a_name_from_the_wire_cannot_carry_escapes_into_the_text(self) -> None:
        watch = Watch()
        watch.plots(0, 9, but(DANGER, name="\x1b[2JEVIL\r\n\x07NAME"))

        assert watch.raised()[0].text.startswith("radar-03 [2JEVILNAME: CPA")

    def test_bearing_never_reads_360(self) -> None:
        watch = Watch()
        watch.plots(0, 9, but(DANGER, bearing_deg=359.7))

        assert "bearing 000°T" in watch.raised()[0].text

    def test_a_cpa_that_is_past_or_unknown_says_so(self) -> None:
        assert wording.approach(but(DANGER, tcpa_min=-2.0)) == "CPA 0.12 NM (0.02 to 0.31) 2.0 min ago"
        assert wording.approach(but(DANGER, cpa_nm=None, tcpa_min=None)) == "CPA unsettled"
        assert wording.approach(but(DANGER, tcpa_min=None)) == "CPA unsettled"


class TestOneSituationOneAlert:
    def test_closest_approach_holds_back_the_others_on_its_target_and_says_their_state(self) -> None:
        watch = Watch()
        watch.plots(0, 120, DANGER)

        assert [alert.rule for alert in watch.raised()] == ["closest_approach"]
        assert watch.findings[-1].values["steady_bearing"] is True
        assert watch.findings[-1].values["bow_crossing"] is True

    def test_nothing_else_begins_to_tell_while_closest_approach_is_held(self) -> None:
        """A bow crossing whose own hold ends a moment earlier would be an alert of two seconds."""
        watch = Watch()
        watch.plots(0, 18, but(DANGER, tcpa_min=12.1, bow_crossing_min=11.9))
        watch.plots(21, 60, DANGER)

        assert [alert.rule for alert in watch.raised()] == ["closest_approach"]

    def test_steady_bearing_gives_way_when_closest_approach_is_raised(self) -> None:
        watch = Watch()
        watch.plots(0, 60, but(DANGER, tcpa_min=15.0, range_nm=5.0, bow_crossing_min=15.0))
        watch.plots(63, 90, DANGER)

        assert [alert.rule for alert in watch.raised()] == ["steady_bearing", "closest_approach"]
        assert watch.states("steady_bearing") == ["active-unacknowledged", "normal"]

    def test_another_targets_alerts_are_not_held_back(self) -> None:
        watch = Watch()
        other = but(DANGER, target="radar-07", tcpa_min=15.0, range_nm=5.0, bow_crossing_min=15.0)
        for at_s in range(0, 60, 3):
            watch.plot(at_s, DANGER)
            watch.plot(at_s + 1, other)

        assert {(a.rule, a.target) for a in watch.raised()} == {
            ("closest_approach", "radar-03"),
            ("steady_bearing", "radar-07"),
        }


class TestSteadyBearing:
    """COLREG Rule 7(d), geometry checked against the straight-track table of reference values, section 3."""

    @pytest.mark.parametrize(
        ("cpa_nm", "from_nm", "to_nm", "change_deg"),
        # Change of bearing between two ranges on a straight relative track (computed table, one decimal).
        [(0.25, 8, 6, 0.6), (0.5, 12, 10, 0.5), (0.5, 10, 8, 0.7), (0.5, 8, 6, 1.2), (0.5, 6, 4, 2.4), (1, 8, 6, 2.4)],
    )
    def test_the_drift_limit_is_that_of_the_straight_track(
        self, cpa_nm: float, from_nm: float, to_nm: float, change_deg: float
    ) -> None:
        """Integrated over the approach at 12 kn, the limit's drift makes up the table's change of bearing."""
        speed_kn, minute = 12.0, 1 / 60
        run = np.sqrt(from_nm**2 - cpa_nm**2)
        end = np.sqrt(to_nm**2 - cpa_nm**2)
        along = np.arange(run, end, -speed_kn * minute / 10)
        ranges = np.hypot(along, cpa_nm)
        rates = approach.drift_limit_deg_min(ranges, cpa_nm, along / speed_kn * 60, cpa_nm)

        assert float(np.sum(rates)) * 0.1 == pytest.approx(change_deg, abs=0.06)

    def test_is_raised_on_a_steady_bearing_beyond_the_time_of_closest_approach(self) -> None:
        watch = Watch()
        watch.plots(0, 40, but(DANGER, tcpa_min=15.0, range_nm=5.0, bow_crossing_min=15.0))

        (alert,) = watch.raised()
        assert (alert.rule, alert.priority) == ("steady_bearing", Priority.WARNING)
        assert alert.text == (
            "radar-03: bearing 061°T steady, drift +0.1 ± 0.1°/min, limit 0.4, 5.00 NM, "
            "range decreasing (Rule 7(d)(i)), "
            "CPA 0.12 NM (0.02 to 0.31) in 15.0 min"
        )

    def test_scales_with_range(self) -> None:
        """A drift of 0.6 deg/min at 12 kn is appreciable at 6 NM (limit 0.16) and steady at 1.5 NM (limit 2.5)."""
        limits = DriftLimits(pass_nm=0.5, tcpa_min=40, range_nm=8, close_nm=0, doubt=0.0)
        far = approach.figures(but(DANGER, range_nm=6.0, tcpa_min=30.0, bearing_rate_deg_min=0.6))
        near = approach.figures(but(DANGER, range_nm=1.5, tcpa_min=7.5, bearing_rate_deg_min=0.6))

        assert not approach.steady_enter(far, limits)
        assert approach.steady_enter(near, limits)

    def test_scales_with_its_own_uncertainty(self) -> None:
        """In doubt risk is deemed to exist (Rule 7(a)); a drift known no better than the limit says nothing."""
        limits = DriftLimits(pass_nm=0.5, tcpa_min=20, range_nm=8, close_nm=0, doubt=1.0)
        limit = float(approach.drift_limit_deg_min(5.0, 0.12, 15.0, 0.5))

        def enters(rate: float, sd: float) -> bool:
            plot = but(DANGER, range_nm=5.0, tcpa_min=15.0, bearing_rate_deg_min=rate, bearing_rate_sd_deg_min=sd)
            return bool(approach.steady_enter(approach.figures(plot), limits))

        assert enters(limit * 1.4, limit * 0.5)
        assert not enters(limit * 1.4, limit * 0.1)
        assert not enters(0.0, limit * 1.1)

    def test_stays_until_it_surely_draws(self) -> None:
        """A drift over the wider limit that may be within it, for what is known of it, does not clear."""
        limits = DriftLimits(pass_nm=0.5, tcpa_min=20, range_nm=8, close_nm=0, doubt=1.0)
        limit = 1.5 * float(approach.drift_limit_deg_min(5.0, 0.12, 15.0, 0.5))

        def stays(rate: float, sd: float) -> bool:
            plot = but(DANGER, range_nm=5.0, tcpa_min=15.0, bearing_rate_deg_min=rate, bearing_rate_sd_deg_min=sd)
            return bool(approach.steady_stay(approach.figures(plot), limits, 1.5))

        assert stays(limit * 1.4, limit * 0.5)
        assert not stays(limit * 1.4, limit * 0.3)

    def test_what_was_held_back_and_is_on_its_way_out_does_not_come_up(self) -> None:
        """The closest approach is over, and the drift, still within its wider limit, is not inside its own any more."""
        watch = Watch()
        watch.plots(0, 60, DANGER)
        limit = float(approach.drift_limit_deg_min(3.0, 0.9, 11.4, 0.5))
        watch.plots(63, 90, but(CLEAR, cpa_nm=0.9, bearing_rate_deg_min=1.2 * limit, bearing_rate_sd_deg_min=0.0))

        assert watch.states("closest_approach")[-1] == "rectified-unacknowledged"
        assert not watch.raised("steady_bearing")

    @pytest.mark.parametrize("range_nm", [0.7, 0.75])
    def test_close_range_counts_whatever_the_drift(self, range_nm: float) -> None:
        """Rule 7(d)(ii); the limit itself is close."""
        watch = Watch()
        watch.plots(0, 60, but(CLEAR, range_nm=range_nm, tcpa_min=4.0, cpa_nm=0.65, bearing_rate_deg_min=25.0))

        (alert,) = watch.raised()
        assert alert.rule == "steady_bearing"
        assert "at close range (Rule 7(d)(ii))" in alert.text

    def test_an_opening_target_is_no_risk_at_any_range(self) -> None:
        watch = Watch()
        watch.plots(0, 60, but(CLEAR, range_nm=0.6, tcpa_min=-2.0, bearing_rate_deg_min=0.0))

        assert not watch.raised()


class TestBowCrossing:
    FAR_CPA = but(CLEAR, bow_crossing_nm=0.8, bow_crossing_min=8.0)

    def test_is_raised_inside_both_limits(self) -> None:
        watch = Watch()
        watch.plots(0, 30, self.FAR_CPA)

        (alert,) = watch.raised()
        assert alert.rule == "bow_crossing"
        assert alert.text.startswith("radar-03: crosses ahead at 0.80 NM in 8.0 min, CPA 2.10 NM")

    @pytest.mark.parametrize(
        "change", [{"bow_crossing_nm": 1.1}, {"bow_crossing_min": 12.5}, {"bow_crossing_min": -0.1}]
    )
    def test_is_not_raised_outside_either(self, change: dict[str, float]) -> None:
        watch = Watch()
        watch.plots(0, 60, but(self.FAR_CPA, **change))

        assert not watch.raised()

    def test_a_target_that_has_crossed_clears_it(self) -> None:
        watch = Watch()
        watch.plots(0, 30, self.FAR_CPA)
        watch.plots(33, 90, but(self.FAR_CPA, bow_crossing_nm=None, bow_crossing_min=None))

        assert watch.states("bow_crossing") == ["active-unacknowledged", "rectified-unacknowledged"]


def listed(truth: approach.Truth) -> list[bool]:
    answers: list[bool] = np.asarray(truth).tolist()
    return answers


class TestVectors:
    """The watch and a sweep of settings use the same functions and get the same answers, bit for bit."""

    @settings(max_examples=60, deadline=None, derandomize=True)
    @given(
        st.lists(
            st.tuples(
                st.floats(0.5, 40) | st.just(1.0),  # step in time
                st.sampled_from(["in", "band", "out", "unknown"]),
            ),
            max_size=40,
        ),
        st.lists(
            st.tuples(st.sampled_from([0.0, 3.0, 6.0, 30.0]), st.sampled_from([0.0, 20.0])), min_size=1, max_size=5
        ),
    )
    def test_sweep_is_advance_for_each_setting(
        self, steps: list[tuple[float, str]], holds: list[tuple[float, float]]
    ) -> None:
        at_s = np.cumsum([step for step, _ in steps]) if steps else np.zeros(0)
        enter = np.array([[kind == "in"] * len(holds) for _, kind in steps], dtype=bool).reshape(len(steps), len(holds))
        stay = np.array([[kind != "out"] * len(holds) for _, kind in steps], dtype=bool).reshape(enter.shape)
        hold = np.array([h for h, _ in holds])
        clear = np.array([c for _, c in holds])

        swept = sweep(at_s, enter, stay, hold, clear)

        for column, (hold_s, clear_hold_s) in enumerate(holds):
            latch = Latch()
            for row, now in enumerate(at_s):
                advance(latch, float(now), bool(enter[row, column]), bool(stay[row, column]), hold_s, clear_hold_s)
                assert latch.is_set == swept[row, column]

    @settings(max_examples=100, deadline=None, derandomize=True)
    @given(st.data())
    def test_predicates_of_arrays_are_those_of_floats(self, data: st.DataObject) -> None:
        number = st.floats(-5, 30) | st.just(float("nan"))
        rows = data.draw(
            st.lists(st.tuples(*[number] * len(Figures.__struct_fields__)), min_size=1, max_size=6).map(
                lambda rows: [(abs(row[0]), *row[1:]) for row in rows]
            )
        )
        columns = Figures(*(np.array(column) for column in zip(*rows, strict=True)))
        drift = DriftLimits(0.5, 20.0, 8.0, 0.75, 0.5)
        for basis in Basis:
            array = approach.closest_enter(columns, 0.5, 12.0, 0.5, basis)
            assert listed(array) == [approach.closest_enter(Figures(*row), 0.5, 12.0, 0.5, basis) for row in rows]
            array = approach.closest_stay(columns, 0.5, 12.0, 1.2, basis)
            assert listed(array) == [approach.closest_stay(Figures(*row), 0.5, 12.0, 1.2, basis) for row in rows]
        array = approach.steady_enter(columns, drift)
        assert listed(array) == [approach.steady_enter(Figures(*row), drift) for row in rows]
        array = approach.steady_stay(columns, drift, 1.5)
        assert listed(array) == [approach.steady_stay(Figures(*row), drift, 1.5) for row in rows]
        array = approach.bow_stay(columns, 1.0, 12.0, 1.2)
        assert listed(array) == [approach.bow_stay(Figures(*row), 1.0, 12.0, 1.2) for row in rows]


class TestManoeuvre:
    @pytest.mark.parametrize("range_nm", [3.0, 6.0])
    def test_an_altering_target_in_range_is_a_caution(self, range_nm: float) -> None:
        watch = Watch()
        watch.plots(0, 9, but(CLEAR, track=TrackState.MANOEUVRING, range_nm=range_nm))
        watch.plots(12, 60, CLEAR)

        (alert,) = watch.raised()
        assert (alert.rule, alert.priority) == ("target_manoeuvre", Priority.CAUTION)
        assert watch.states("target_manoeuvre") == ["active-acknowledged", "normal"]

    def test_not_beyond_its_range(self) -> None:
        watch = Watch()
        watch.plots(0, 30, but(CLEAR, track=TrackState.MANOEUVRING, range_nm=6.5))

        assert not watch.raised()
