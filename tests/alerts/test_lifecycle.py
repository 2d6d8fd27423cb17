"""One alert's life: states, acknowledgement, silence, repeat, escalation, ageing and the flap guard."""

import msgspec
import pytest

from alerts.events import Alert
from alerts.lifecycle import MOST_ALERTS, AlertBook
from alerts.notices import Notice, Why
from alerts.plotting.terms import AlertState, Priority
from alerts.rules.findings import Finding, Phase
from alerts.settings import Alerts, Life, Rule
from alerts.states import TABLE, Trigger
from tests.alerts.watch import moment


def finding(
    phase: Phase = Phase.RAISED, target: str = "radar-03", rule: str = "closest_approach", **more: object
) -> Finding:
    base = Finding(
        rule=rule,
        target=target,
        phase=phase,
        priority=Alerts().rule(rule).priority,
        text=f"{target}: {phase}",
        values={"cpa_nm": 0.1},
    )
    return msgspec.structs.replace(base, **more)


class Sounds:
    """A book, driven by hand, with all that it told."""

    def __init__(self, settings: Alerts | None = None) -> None:
        self.book = AlertBook(settings or Alerts())
        self.notices: list[Notice] = []
        self.states: list[str] = []

    def take(self, at_s: float, *findings: Finding) -> None:
        self._keep(self.book.take(moment(at_s), findings))

    def ticks(self, from_s: int, to_s: int) -> None:
        for at_s in range(from_s, to_s + 1):
            self._keep(self.book.tick(moment(at_s)))

    def acknowledge(self, at_s: float, alert_id: int | None = None) -> None:
        self._keep(self.book.acknowledge(moment(at_s), alert_id))

    def silence(self, at_s: float) -> None:
        self._keep(self.book.silence(moment(at_s)))

    def sounded(self) -> list[tuple[float, Why]]:
        return [(notice.at_s, notice.why) for notice in self.notices if notice.audible]

    def _keep(self, events: list[Alert]) -> None:
        self.states += [f"{event.id} {event.state}" for event in events]
        self.notices += [notice for notice in self.book.drain() if isinstance(notice, Notice)]


def ids(book: AlertBook) -> set[int]:
    """The alerts that are not normal."""
    return {alert.id for alert in book.standing(moment(0))}


QUIET_LIFE = Alerts(life=Life(escalate_s=0))


class TestStates:
    def test_an_alarm_from_raised_to_normal(self) -> None:
        watch = Sounds()
        watch.take(0, finding())
        watch.acknowledge(5)
        watch.take(20, finding(Phase.ENDED, reason="past its CPA"))

        assert watch.states == ["1 active-unacknowledged", "1 active-acknowledged", "1 normal"]

    def test_one_that_ends_unacknowledged_is_kept_until_acknowledged(self) -> None:
        watch = Sounds()
        watch.take(0, finding())
        watch.take(20, finding(Phase.ENDED))
        watch.ticks(21, 600)
        watch.acknowledge(601)

        assert watch.states == [
            "1 active-unacknowledged",
            "1 rectified-unacknowledged",
            "1 normal",
        ]

    def test_one_that_comes_back_before_it_is_acknowledged_is_the_same_alert(self) -> None:
        watch = Sounds()
        watch.take(0, finding())
        watch.take(20, finding(Phase.ENDED))
        watch.take(30, finding())

        assert watch.states[-1] == "1 active-unacknowledged"
        assert watch.sounded() == [(0, Why.RAISED), (30, Why.RAISED)]

    def test_one_that_comes_back_after_its_end_is_a_new_alert(self) -> None:
        watch = Sounds()
        watch.take(0, finding())
        watch.acknowledge(5)
        watch.take(20, finding(Phase.ENDED))
        watch.take(30, finding())

        assert watch.states[-1] == "2 active-unacknowledged"

    def test_a_caution_is_silent_and_needs_no_acknowledgement(self) -> None:
        watch = Sounds()
        watch.take(0, finding(rule="new_target"))
        watch.ticks(1, 200)
        watch.acknowledge(201)
        watch.take(202, finding(Phase.ENDED, rule="new_target"))

        assert watch.states == ["1 active-acknowledged", "1 normal"]
        assert not watch.sounded()

    def test_the_end_carries_its_reason(self) -> None:
        book = AlertBook(Alerts())
        book.take(moment(0), [finding()])
        book.acknowledge(moment(1))
        (end,) = book.take(moment(2), [finding(Phase.ENDED, reason="past its CPA")])

        assert end.values["change"] == "clear: past its CPA"

    def test_a_warning_that_becomes_an_alarm_sounds_again(self) -> None:
        watch = Sounds()
        watch.take(0, finding(rule="radar_capacity"))
        watch.take(10, finding(Phase.UPDATED, rule="radar_capacity", priority=Priority.WARNING))

        assert watch.states == ["1 active-acknowledged", "1 active-unacknowledged"]
        assert watch.sounded() == [(10, Why.WORSENED)]

    def test_what_another_alert_tells_ends_without_acknowledgement(self) -> None:
        watch = Sounds()
        watch.take(0, finding(rule="steady_bearing"))
        watch.take(9, finding(Phase.HELD_BACK, rule="steady_bearing"))

        assert watch.states[-1] == "1 normal"

    def test_the_end_of_the_watch_ends_every_alert(self) -> None:
        book = AlertBook(Alerts())
        book.take(moment(0), [finding(), finding(target="radar-07"), finding(rule="new_target")])
        ends = book.close(moment(10))

        assert [end.state for end in ends] == ["normal"] * 3
        assert ends[0].values["change"] == "watch ends: the watch ended"
        assert not book.standing(moment(11))


class TestAcknowledge:
    def test_one_by_its_id(self) -> None:
        watch = Sounds()
        watch.take(0, finding(), finding(target="radar-07"))
        watch.acknowledge(1, 2)

        assert watch.states[2:] == ["2 active-acknowledged"]

    def test_one_that_is_asked_for_is_told_again_and_no_other(self) -> None:
        book = AlertBook(Alerts())
        book.take(moment(0), [finding(), finding(target="radar-04")])
        book.drain()

        assert book.tell_again(moment(1), [2]) == []
        (notice,) = book.drain()
        assert isinstance(notice, Notice)
        assert (notice.alert.id, notice.why, notice.audible) == (2, Why.REQUESTED, False)

    def test_an_id_that_is_none_does_nothing(self) -> None:
        watch = Sounds()
        watch.take(0, finding())
        watch.acknowledge(1, 99)

        assert len(watch.states) == 1
        assert ids(watch.book) == {1}

    def test_an_acknowledged_alert_makes_no_sound(self) -> None:
        watch = Sounds()
        watch.take(0, finding())
        watch.acknowledge(1)
        watch.ticks(2, 900)

        assert watch.sounded() == [(0, Why.RAISED)]

    def test_worsening_by_a_step_undoes_it(self) -> None:
        watch = Sounds()
        watch.take(0, finding())
        watch.acknowledge(1)
        watch.take(60, finding(Phase.WORSENED))

        assert watch.states[-1] == "1 active-unacknowledged"
        assert watch.sounded()[-1] == (60, Why.WORSENED)

    def test_one_that_worsens_has_its_whole_time_before_it_is_escalated(self) -> None:
        """Since when nobody has acknowledged it counts from the worsening, not from long before the acknowledgement."""
        watch = Sounds()
        watch.take(0, finding())
        watch.acknowledge(1)
        watch.take(300, finding(Phase.WORSENED))
        watch.ticks(301, 360)

        assert [notice.at_s for notice in watch.notices if notice.why is Why.ESCALATED] == [360]

    def test_new_text_does_not(self) -> None:
        watch = Sounds()
        watch.take(0, finding())
        watch.acknowledge(1)
        watch.take(60, finding(Phase.UPDATED, text="newer"))

        assert len(watch.states) == 2
        assert watch.book.standing(moment(61))[0].text == "newer"


class TestLost:
    def test_data_that_stops_sounds_again_and_stays(self) -> None:
        watch = Sounds(QUIET_LIFE)
        watch.take(0, finding())
        watch.acknowledge(1)
        watch.take(60, finding(Phase.LOST))
        watch.ticks(61, 1800)

        assert watch.states == ["1 active-unacknowledged", "1 active-acknowledged", "1 active-unacknowledged"]
        assert (60, Why.LOST) in watch.sounded()

    def test_acknowledged_it_ends(self) -> None:
        watch = Sounds()
        watch.take(0, finding())
        watch.take(60, finding(Phase.LOST))
        watch.acknowledge(61)

        assert watch.states[-1] == "1 normal"

    def test_never_acknowledged_it_ages_out_with_its_own_notice(self) -> None:
        watch = Sounds(Alerts(life=Life(escalate_s=0, keep_lost_min=10)))
        watch.take(0, finding())
        watch.take(60, finding(Phase.LOST))
        watch.ticks(61, 659)
        before = watch.states[-1]
        watch.ticks(660, 660)

        assert (before, watch.states[-1]) == ("1 active-unacknowledged", "1 normal")
        assert watch.notices[-1].alert.values["change"] == "lost, never acknowledged in 10 min"

    def test_data_that_stops_again_after_that_is_no_alert(self) -> None:
        """What was acknowledged as lost is not there to be lost once more."""
        watch = Sounds()
        watch.take(0, finding())
        watch.take(60, finding(Phase.LOST))
        watch.acknowledge(61)
        watch.take(62, finding(Phase.LOST))

        assert watch.states[-1] == "1 normal"

    def test_found_again_after_it_was_acknowledged_as_lost_it_is_a_new_alert(self) -> None:
        watch = Sounds()
        watch.take(0, finding())
        watch.take(60, finding(Phase.LOST))
        watch.acknowledge(61)
        watch.take(70, finding(Phase.UPDATED))

        assert watch.states[-1] == "2 active-unacknowledged"


class TestSilence:
    def test_lasts_30_seconds_and_then_sounds_again(self) -> None:
        """MSC.302(87) 7.3.5."""
        watch = Sounds(QUIET_LIFE)
        watch.take(0, finding())
        watch.silence(10)
        watch.ticks(11, 45)

        assert watch.states == ["1 active-unacknowledged", "1 active-silenced", "1 active-unacknowledged"]
        assert watch.sounded() == [(0, Why.RAISED), (40, Why.SILENCE_OVER)]

    def test_a_new_alert_sounds_all_the_same(self) -> None:
        """33 CFR 164.38 App. B: each new threat sounds again after the previous one was silenced."""
        watch = Sounds()
        watch.take(0, finding())
        watch.silence(10)
        watch.take(12, finding(target="radar-07"))

        assert watch.sounded()[-1] == (12, Why.RAISED)

    def test_one_that_ends_silenced_is_still_kept(self) -> None:
        watch = Sounds()
        watch.take(0, finding())
        watch.silence(10)
        watch.take(20, finding(Phase.ENDED))

        assert watch.states[-1] == "1 rectified-unacknowledged"


class TestRepeatAndEscalation:
    def test_an_unacknowledged_alarm_repeats(self) -> None:
        watch = Sounds(QUIET_LIFE)
        watch.take(0, finding())
        watch.ticks(1, 95)

        assert watch.sounded() == [(0, Why.RAISED), (30, Why.REPEATED), (60, Why.REPEATED), (90, Why.REPEATED)]

    def test_what_stays_unacknowledged_is_escalated_with_one_event(self) -> None:
        watch = Sounds()
        watch.take(0, finding(rule="lost_target"))
        watch.ticks(1, 1000)

        escalated = [notice for notice in watch.notices if notice.why is Why.ESCALATED]
        assert [notice.at_s for notice in escalated] == [60.0 * n for n in range(1, 10)]
        assert [notice.escalation for notice in escalated] == list(range(1, 10))
        assert watch.states == ["1 active-unacknowledged"] * 2

    def test_what_gets_worse_is_not_escalated_the_later_for_it(self) -> None:
        """Each step sounds again, and nobody has acknowledged the alert since it was raised."""
        watch = Sounds()
        watch.take(0, finding())
        watch.take(50, finding(Phase.WORSENED))
        watch.ticks(51, 60)

        assert [notice.at_s for notice in watch.notices if notice.why is Why.ESCALATED] == [60]

    def test_a_rule_may_make_an_alarm_of_its_warning(self) -> None:
        watch = Sounds(Alerts(lost_target=msgspec.structs.replace(Alerts().lost_target, escalates_to_alarm=True)))
        watch.take(0, finding(rule="lost_target"))
        watch.ticks(1, 61)

        assert watch.notices[-1].alert.priority is Priority.ALARM

    def test_acknowledgement_stops_both(self) -> None:
        watch = Sounds()
        watch.take(0, finding())
        watch.acknowledge(59)
        watch.ticks(60, 600)

        assert not [notice for notice in watch.notices if notice.why is Why.ESCALATED]

    def test_a_rule_names_its_annunciators(self) -> None:
        watch = Sounds(Alerts(feed_silent=Rule(annunciators=("bell",))))
        watch.take(0, finding(rule="feed_silent"))

        assert watch.notices[0].annunciators == ("bell",)


class TestBounds:
    def test_a_rectified_alert_ages_out_at_last(self) -> None:
        watch = Sounds(Alerts(life=Life(keep_rectified_min=5)))
        watch.take(0, finding())
        watch.take(10, finding(Phase.ENDED))
        watch.ticks(11, 309)
        before = watch.states[-1]
        watch.ticks(310, 310)

        assert (before, watch.states[-1]) == ("1 rectified-unacknowledged", "1 normal")

    def test_the_flap_guard_delays_clearing_and_never_raising(self) -> None:
        """No condition changes state more than four times in ten minutes."""
        watch = Sounds(QUIET_LIFE)
        changes: list[float] = []
        for at_s in range(0, 3600, 10):
            before = len(watch.states)
            watch.take(at_s, finding(Phase.ENDED if at_s // 10 % 2 else Phase.RAISED))
            watch.ticks(at_s + 1, at_s + 9)
            standing = watch.book.standing(moment(at_s))
            changes += [float(at_s)] * (len(watch.states) - before)
            if at_s // 10 % 2 == 0:
                assert standing[0].state == "active-unacknowledged"

        assert max(sum(1 for c in changes if at <= c <= at + 600) for at in changes) <= 4
        assert len(changes) > 10

    def test_a_worsening_and_an_end_are_no_flapping(self) -> None:
        """Raised, worsened after it was acknowledged, over: there is room for a raising more within the window."""
        watch = Sounds(QUIET_LIFE)
        watch.take(0, finding())
        watch.acknowledge(5)
        watch.take(10, finding(Phase.WORSENED))
        watch.take(20, finding(Phase.ENDED))

        assert watch.states[-1] == "1 rectified-unacknowledged"

    def test_what_the_guard_keeps_may_be_acknowledged_and_clears_in_its_time(self) -> None:
        watch = Sounds(QUIET_LIFE)
        watch.take(0, finding())
        watch.take(10, finding(Phase.ENDED))
        watch.take(20, finding())
        watch.take(30, finding(Phase.ENDED))
        watch.acknowledge(40)
        watch.ticks(41, 640)

        assert watch.states[-2:] == ["1 active-acknowledged", "1 normal"]

    def test_what_the_guard_keeps_says_so_and_clears_in_its_time(self) -> None:
        watch = Sounds(QUIET_LIFE)
        watch.take(0, finding())
        watch.take(10, finding(Phase.ENDED))
        watch.take(20, finding())
        watch.take(30, finding(Phase.ENDED))
        (standing,) = watch.book.standing(moment(31))
        watch.ticks(32, 620)

        assert standing.values["kept_by_flap_guard"] is True
        assert watch.states[-1] == "1 rectified-unacknowledged"

    def test_what_a_person_does_is_no_flapping(self) -> None:
        """Silence, its end and the acknowledgement change the state three times, and delay no clearing."""
        watch = Sounds(QUIET_LIFE)
        watch.take(0, finding())
        watch.silence(1)
        watch.ticks(2, 32)
        watch.acknowledge(33)
        watch.take(40, finding(Phase.ENDED))

        assert watch.states[-1] == "1 normal"

    def test_what_the_guard_keeps_and_comes_back_sounds_again(self) -> None:
        """It was acknowledged, and its end was held back: to the watch it has begun anew."""
        watch = Sounds(QUIET_LIFE)
        watch.take(0, finding())
        watch.acknowledge(5)
        watch.take(10, finding(Phase.ENDED))
        watch.take(20, finding())
        watch.acknowledge(25)
        watch.take(30, finding(Phase.ENDED))
        watch.take(40, finding())

        assert watch.states[-2:] == ["2 active-acknowledged", "2 active-unacknowledged"]
        assert watch.sounded()[-1] == (40, Why.WORSENED)

    def test_the_guard_goes_with_an_alert_that_is_carried_to_another_target(self) -> None:
        watch = Sounds(QUIET_LIFE)
        watch.take(0, finding())
        watch.take(10, finding(Phase.ENDED))
        watch.take(20, finding())
        watch.book.carry(moment(25), "radar-03", "ais-219000123")
        watch.take(30, finding(Phase.ENDED, target="ais-219000123"))
        (standing,) = watch.book.standing(moment(31))

        assert (standing.state, standing.values["kept_by_flap_guard"]) == ("active-unacknowledged", True)

    def test_a_full_book_gives_up_what_is_over_before_what_nobody_has_acknowledged(self) -> None:
        """The first alarm, still unacknowledged, outlives a flood of others that have ended."""
        book = AlertBook(Alerts())
        book.take(moment(0), [finding()])
        for number in range(MOST_ALERTS + 50):
            one = f"radar-{number + 10}"
            book.take(moment(number), [finding(target=one), finding(Phase.ENDED, target=one)])

        assert len(book.standing(moment(2000))) == MOST_ALERTS
        assert 1 in ids(book)

    def test_what_is_over_goes_before_what_is_acknowledged_and_that_before_what_is_not(self) -> None:
        book = AlertBook(Alerts())
        book.take(moment(0), [finding(target="acknowledged")])
        book.acknowledge(moment(1))
        book.take(moment(2), [finding(target="unacknowledged")])
        book.take(moment(3), [finding(target="over"), finding(Phase.ENDED, target="over")])
        book.take(moment(4), [finding(target=f"radar-{number}") for number in range(MOST_ALERTS - 3)])
        left = []
        for number in range(3):
            before = set(ids(book))
            book.take(moment(5), [finding(target=f"ais-{number}")])
            left += sorted(before - set(ids(book)))

        assert left == [3, 1, 2]

    def test_the_book_is_bounded(self) -> None:
        book = AlertBook(Alerts())
        for number in range(MOST_ALERTS + 50):
            book.take(moment(number), [finding(target=f"radar-{number}")])

        assert len(book.standing(moment(2000))) == MOST_ALERTS
        assert MOST_ALERTS + 50 in ids(book)

    def test_notices_that_nobody_takes_do_not_pile_up(self) -> None:
        book = AlertBook(Alerts())
        for number in range(3 * MOST_ALERTS):
            book.take(moment(number), [finding(), finding(Phase.ENDED)])

        assert len(book.drain()) <= MOST_ALERTS


class TestTable:
    @pytest.mark.parametrize("trigger", [Trigger.ACKNOWLEDGE, Trigger.CLEAR, Trigger.CLOSE])
    def test_every_state_but_normal_has_a_way_out(self, trigger: Trigger) -> None:
        """Unacknowledged states can be acknowledged, active ones cleared, all closed."""
        wanted = {
            Trigger.ACKNOWLEDGE: {"active-unacknowledged", "active-silenced", "rectified-unacknowledged"},
            Trigger.CLEAR: {"active-unacknowledged", "active-silenced", "active-acknowledged"},
            Trigger.CLOSE: {str(state) for state in AlertState} - {"normal"},
        }

        assert {str(state) for state, known in TABLE if known is trigger} == wanted[trigger]

    def test_standing_alerts_come_with_the_most_urgent_first(self) -> None:
        book = AlertBook(Alerts())
        book.take(moment(0), [finding(rule="new_target"), finding(rule="lost_target"), finding(target="a"), finding()])
        book.acknowledge(moment(1), 3)

        assert [alert.id for alert in book.standing(moment(2))] == [4, 3, 2, 1]
