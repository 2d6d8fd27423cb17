"""The life cycle under anything that may happen, with its own clock: nothing lost, no false sound, nothing stuck."""

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from alerts.events import Alert
from alerts.lifecycle import TABLE, AlertBook
from alerts.notices import Why
from alerts.plotting.terms import AlertState, Priority
from alerts.rules.findings import Finding, Phase
from alerts.settings import Alerts, Life
from tests.alerts.watch import moment

KINDS = [("closest_approach", "radar-01"), ("closest_approach", "radar-02"), ("lost_target", "radar-01")]
CAUTION = ("new_target", "radar-01")
SETTINGS = Alerts(life=Life(keep_rectified_min=30, keep_lost_min=20))
BY_A_PERSON = ("acknowledge", "silence")

kinds = st.sampled_from([*KINDS, CAUTION])


class LifeCycle(RuleBasedStateMachine):
    """What is true (`holds`) is the model; the book must agree with it at every step."""

    def __init__(self) -> None:
        super().__init__()
        self.book = AlertBook(SETTINGS)
        self.at_s = 0.0
        self.holds: dict[tuple[str, str], Phase] = {}
        self.accepted_lost: set[tuple[str, str]] = set()
        self.history: dict[int, list[Alert]] = {}
        self.changes: dict[tuple[str, str | None], list[float]] = {}

    def find(self, kind: tuple[str, str], phase: Phase) -> None:
        finding = Finding(
            rule=kind[0],
            target=kind[1],
            phase=phase,
            priority=SETTINGS.rule(kind[0]).priority,
            text=str(phase),
            values={},
            reason="a reason",
        )
        self.keep(self.book.take(moment(self.at_s), [finding]))

    def keep(self, events: list[Alert]) -> None:
        for event in events:
            past = self.history.setdefault(event.id, [])
            before = past[-1].state if past else AlertState.NORMAL
            assert not past or past[-1].state is not AlertState.NORMAL, "an alert ends once"
            steps = {after for (state, _), after in TABLE.items() if state is before}
            escalated = str(event.values["change"]).startswith("escalated")
            assert escalated or event.state in steps, f"{before} to {event.state} is not in the table"
            if event.state is AlertState.NORMAL:
                assert event.values["change"], "an end has its reason"
            by_person = str(event.values["change"]).startswith(BY_A_PERSON)
            if event.state is not before and not by_person:
                self.changes.setdefault((event.rule, event.target), []).append(self.at_s)
            past.append(event)
        for notice in self.book.drain():
            if notice.audible:
                assert notice.alert.state is AlertState.ACTIVE_UNACKNOWLEDGED, "only this state sounds"
                assert notice.alert.priority is not Priority.CAUTION, "cautions are silent"

    # ------------------------------------------------------------------------------------- what may happen

    @rule(kind=kinds)
    def begins(self, kind: tuple[str, str]) -> None:
        if kind not in self.holds:
            self.holds[kind] = Phase.RAISED
            self.accepted_lost.discard(kind)
            self.find(kind, Phase.RAISED)

    @rule(kind=kinds, phase=st.sampled_from([Phase.UPDATED, Phase.WORSENED]))
    def goes_on(self, kind: tuple[str, str], phase: Phase) -> None:
        if kind in self.holds:
            self.holds[kind] = Phase.RAISED
            self.accepted_lost.discard(kind)
            self.find(kind, phase)

    @rule(kind=st.sampled_from(KINDS))
    def loses_its_data(self, kind: tuple[str, str]) -> None:
        if self.holds.get(kind) is Phase.RAISED:
            self.holds[kind] = Phase.LOST
            self.find(kind, Phase.LOST)

    @rule(kind=kinds)
    def ends(self, kind: tuple[str, str]) -> None:
        if self.holds.pop(kind, None):
            self.find(kind, Phase.ENDED)

    @rule(kind=kinds)
    def is_told_by_another(self, kind: tuple[str, str]) -> None:
        if self.holds.pop(kind, None):
            self.find(kind, Phase.HELD_BACK)

    @rule(seconds=st.sampled_from([1, 5, 20, 31, 61, 130, 700]))
    def time_passes(self, seconds: int) -> None:
        for _ in range(0, seconds, 5):
            self.at_s += min(5, seconds)
            self.keep(self.book.tick(moment(self.at_s)))

    @precondition(lambda self: self.history)
    @rule(data=st.data(), everything=st.booleans())
    def acknowledges(self, data: st.DataObject, everything: bool) -> None:
        chosen = None if everything else data.draw(st.sampled_from(sorted(self.history)))
        for kind, phase in self.holds.items():
            events = [past[-1] for past in self.history.values() if (past[-1].rule, past[-1].target) == kind]
            if phase is Phase.LOST and (chosen is None or events[-1].id == chosen):
                self.accepted_lost.add(kind)
        self.keep(self.book.acknowledge(moment(self.at_s), chosen))

    @rule()
    def silences(self) -> None:
        self.keep(self.book.silence(moment(self.at_s)))

    # ------------------------------------------------------------------------------------ what always holds

    @invariant()
    def no_alarm_is_lost(self) -> None:
        """What is true is told, unless it was acknowledged as lost or aged out as lost, with its own notice."""
        active = {
            (alert.rule, alert.target)
            for alert in self.book.standing(moment(self.at_s))
            if alert.state is not AlertState.RECTIFIED_UNACKNOWLEDGED
        }
        for kind, phase in self.holds.items():
            aged = any(
                past[-1].state is AlertState.NORMAL and "never acknowledged" in str(past[-1].values["change"])
                for past in self.history.values()
                if (past[-1].rule, past[-1].target) == kind
            )
            assert kind in active or (phase is Phase.LOST and (kind in self.accepted_lost or aged))

    @invariant()
    def one_condition_has_one_alert(self) -> None:
        standing = [(alert.rule, alert.target) for alert in self.book.standing(moment(self.at_s))]
        assert len(standing) == len(set(standing))

    @invariant()
    def the_machine_does_not_flap(self) -> None:
        """Worsening and lost data may sound again at any time; raising and clearing are bounded."""
        for times in self.changes.values():
            recent = [at_s for at_s in times if self.at_s - at_s <= SETTINGS.life.flap_window_s]
            assert len(recent) <= SETTINGS.life.flap_changes + self.exempt()

    def exempt(self) -> int:
        """Changes that a stated worsening made of an acknowledged alert: never suppressed."""
        return sum(
            1
            for past in self.history.values()
            for event in past
            if str(event.values["change"]).startswith(("worsen", "lose", "rise", "age", "acknowledge, data lost"))
        )

    def teardown(self) -> None:
        """Nothing is stuck: acknowledged, ended and waited for, every alert is normal."""
        for kind in list(self.holds):
            self.ends(kind)
        self.keep(self.book.acknowledge(moment(self.at_s)))
        for _ in range(300):
            self.at_s += 5
            self.keep(self.book.tick(moment(self.at_s)))
        self.keep(self.book.acknowledge(moment(self.at_s)))
        assert not self.book.standing(moment(self.at_s))
        assert all(past[-1].state is AlertState.NORMAL for past in self.history.values())
        assert not [n for n in self.book.drain() if n.why is Why.REPEATED]


TestLifeCycle = LifeCycle.TestCase
TestLifeCycle.settings = settings(max_examples=60, stateful_step_count=40, deadline=None, derandomize=True)
