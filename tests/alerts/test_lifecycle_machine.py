"""The life cycle under anything that may happen, with its own clock: nothing lost, no false sound, nothing stuck."""

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from alerts.events import Alert
from alerts.lifecycle import AlertBook
from alerts.notices import Notice
from alerts.plotting.terms import AlertState, Priority
from alerts.rules.findings import Finding, Phase
from alerts.settings import Alerts, Life
from alerts.states import TABLE
from tests.alerts.watch import moment

KINDS = [("closest_approach", "radar-01"), ("closest_approach", "radar-02"), ("lost_target", "radar-01")]
CAUTION = ("new_target", "radar-01")
SETTINGS = Alerts(life=Life(keep_rectified_min=30, keep_lost_min=20))

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
        self.changes: dict[tuple[str, str | None], list[float]] = {}  # raised or cleared, by the machine
        self.ended_otherwise: dict[tuple[str, str | None], int] = {}
        self.since: dict[int, float] = {}  # in its state
        self.sounded: dict[int, float] = {}

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
            change, kind = str(event.values["change"]), (event.rule, event.target)
            if event.state is not before:
                self.since[event.id] = self.at_s
                if change.startswith(("raise", "clear", "supersede")):
                    self.changes.setdefault(kind, []).append(self.at_s)
            if event.state is AlertState.ACTIVE_ACKNOWLEDGED:
                assert change.startswith(("acknowledge", "raise a caution")), "nobody acknowledged it"
            if event.state is AlertState.NORMAL:
                self.check_end(event, past, change)
                if not change.startswith(("clear", "supersede")):
                    self.ended_otherwise[kind] = self.ended_otherwise.get(kind, 0) + 1
            past.append(event)
        for notice in self.book.drain():
            if isinstance(notice, Notice) and notice.audible:
                self.sounded[notice.alert.id] = self.at_s
                assert notice.alert.state is AlertState.ACTIVE_UNACKNOWLEDGED, "only this state sounds"
                assert notice.alert.priority is not Priority.CAUTION, "cautions are silent"

    def check_end(self, event: Alert, past: list[Alert], change: str) -> None:
        """Only a person, another alert or old age ends what nobody has acknowledged."""
        assert change, "an end has its reason"
        acknowledged = past[-1].state is AlertState.ACTIVE_ACKNOWLEDGED or change.startswith("acknowledge")
        assert acknowledged or change.startswith(("supersede", "age out"))

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

    @rule(seconds=st.sampled_from([1, 5, 20, 31, 130, 700, 2000]))
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
        """Raised and cleared at most four times in ten minutes, but where a person or old age ended it between."""
        for kind, times in self.changes.items():
            recent = [at_s for at_s in times if self.at_s - at_s <= SETTINGS.life.flap_window_s]
            assert len(recent) <= SETTINGS.life.flap_changes + self.ended_otherwise.get(kind, 0)

    @invariant()
    def nothing_stays_too_long(self) -> None:
        """Silence is over after 30 s, what is rectified ages out, what is unacknowledged sounds again."""
        late_s = 5  # the clock of this test moves by so much
        for alert in self.book.standing(moment(self.at_s)):
            age_s = self.at_s - self.since[alert.id]
            if alert.state is AlertState.ACTIVE_SILENCED:
                assert age_s <= SETTINGS.life.silence_s + late_s
            if alert.state is AlertState.RECTIFIED_UNACKNOWLEDGED:
                assert age_s <= 60 * SETTINGS.life.keep_rectified_min + late_s
            if alert.state is AlertState.ACTIVE_UNACKNOWLEDGED:
                assert self.at_s - self.sounded[alert.id] <= SETTINGS.rule(alert.rule).repeat_s + late_s

    @invariant()
    def lost_is_not_acknowledged(self) -> None:
        """An alert whose data stopped asks for a person again."""
        for alert in self.book.standing(moment(self.at_s)):
            if self.holds.get((alert.rule, alert.target or "")) is Phase.LOST:
                assert alert.state in (AlertState.ACTIVE_UNACKNOWLEDGED, AlertState.ACTIVE_SILENCED)

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


TestLifeCycle = LifeCycle.TestCase
TestLifeCycle.settings = settings(max_examples=150, stateful_step_count=60, deadline=None, derandomize=True)
