"""The book of alerts: each one's life from raised to normal, and what of it is to be told and sounded.

Rules for this file:

- What a trigger does stands in states.py.
- Time comes in as an argument. All ages are on the stream's own clock.
- Nothing here asks whether a condition is true; the rules say so by findings. The book decides only what is told.
- Clearing may be late (the flap guard), raising never is.
"""

from collections import deque
from collections.abc import Collection, Iterable

from msgspec import Struct

from alerts.events import Alert, Moment
from alerts.notices import Notice, Refused, Why
from alerts.plotting.terms import AlertState, Priority
from alerts.rules.findings import Finding, Key, Phase, Value
from alerts.settings import Alerts, Rule
from alerts.states import BY_A_PERSON, WHY, A, N, S, Trigger, U, V, is_audible, next_state
from parsers.observations import AlertCommand

MOST_ALERTS = 1000
"""Alerts kept at once; beyond it the oldest rectified one ages out. A watch that reaches this has other troubles."""

MOST_ESCALATIONS = 9
"""The counter of ALF field 12 has one digit."""


class Entry(Struct):
    """One alert that is not normal. Times in seconds of the stream's clock."""

    id: int
    key: Key
    priority: Priority
    text: str
    values: dict[str, Value]
    state: AlertState
    since_s: float  # in this state
    told_s: float  # when it last sounded
    unacknowledged_s: float  # since when nobody has acknowledged it
    lost_s: float | None = None  # since when its data has stopped
    escalation: int = 0
    revision: int = 0
    clear_reason: str = ""  # it would have cleared, but for the flap guard
    clear_by: Trigger | None = None


class AlertBook:
    """All alerts of a watch. Each method answers the alert events of that moment, in order.

    `drain()` gives the notices for the annunciators; nobody need take them.
    """

    def __init__(self, settings: Alerts) -> None:
        self._settings = settings
        self._life = settings.life
        self._entries: dict[Key, Entry] = {}
        self._changes: dict[Key, deque[float]] = {}  # when the machine, not a person, changed the state
        self._last_id = 0
        self._notices: deque[Notice | Refused] = deque(maxlen=MOST_ALERTS)
        self._events: list[Alert] = []

    def configure(self, settings: Alerts) -> None:
        """Other settings from now on; every alert stays in the state that it is in."""
        self._settings = settings
        self._life = settings.life

    # --------------------------------------------------------------------------------------------- inputs

    def take(self, moment: Moment, findings: Iterable[Finding]) -> list[Alert]:
        """What the rules found."""
        for finding in findings:
            self._take_one(moment, finding)
        return self._flush()

    def tick(self, moment: Moment) -> list[Alert]:
        """Time has passed: silence ends, what is unacknowledged repeats and escalates, what is old ages out."""
        for entry in list(self._entries.values()):
            self._tick_one(moment, entry)
        self._prune(moment)
        return self._flush()

    def acknowledge(self, moment: Moment, alert_id: int | None = None) -> list[Alert]:
        """Acknowledge one alert, or all; nothing where there is no such alert or it needs none."""
        for entry in self._chosen(alert_id):
            if entry.lost_s is not None and entry.state in (V, S):
                self._fire(moment, entry, Trigger.ACKNOWLEDGE_LOST, "lost, and acknowledged as such")
            else:
                self._fire(moment, entry, Trigger.ACKNOWLEDGE, "acknowledged")
        return self._flush()

    def silence(self, moment: Moment, alert_id: int | None = None) -> list[Alert]:
        """Stop the sound of what is unacknowledged now for `silence_s`. A new alert sounds all the same."""
        for entry in self._chosen(alert_id):
            self._fire(moment, entry, Trigger.SILENCE, f"for {self._life.silence_s:g} s")
        return self._flush()

    def carry(self, moment: Moment, old: str, new: str) -> list[Alert]:
        """Two targets are one vessel. Her alerts go on under the new target in the state that they are in; one that is
        told of both ends on the old."""
        for key in [key for key in self._entries if key[1] == old]:
            entry, into = self._entries[key], (key[0], new, key[2])
            if into in self._entries:
                self._fire(moment, entry, Trigger.SUPERSEDE, f"{old} is {new}")
                continue
            entry.key = into
            self._entries[into] = self._entries.pop(key)
            if key in self._changes:
                self._changes[into] = self._changes.pop(key)
            self._events.append(self._event(moment, entry, f"{old} is {new}"))
        return self._flush()

    def close(self, moment: Moment, reason: str = "the watch ended") -> list[Alert]:
        """End every alert: each has exactly one end."""
        for entry in list(self._entries.values()):
            self._fire(moment, entry, Trigger.CLOSE, reason)
        return self._flush()

    def refuse(self, moment: Moment, command: AlertCommand, reason: str) -> list[Alert]:
        """A command from outside is not obeyed; the annunciators that can will say so."""
        self._notices.append(Refused(at_s=moment.at_s, time=moment.time, command=command, reason=reason))
        return []

    def tell_again(self, moment: Moment, alert_ids: Collection[int]) -> list[Alert]:
        """Somebody asks for these again: told without sound, and no event."""
        for entry in self._entries.values():
            if entry.id in alert_ids:
                self._tell(moment, entry, Why.REQUESTED, "")
        return []

    # -------------------------------------------------------------------------------------------- answers

    def standing(self, moment: Moment) -> list[Alert]:
        """All alerts that are not normal, the most urgent first, as events of this moment."""
        order = {V: 0, S: 1, A: 2, U: 3}
        entries = sorted(self._entries.values(), key=lambda e: (-e.priority.rank, order[e.state], e.id))
        return [self._event(moment, entry, "") for entry in entries]

    def drain(self) -> list[Notice | Refused]:
        """The notices since the last call, in order."""
        notices = list(self._notices)
        self._notices.clear()
        return notices

    # ------------------------------------------------------------------------------------------- findings

    def _take_one(self, moment: Moment, finding: Finding) -> None:
        entry = self._entries.get(finding.key)
        if finding.phase in (Phase.ENDED, Phase.HELD_BACK):
            if entry is not None:
                self._end(moment, entry, finding)
            return
        if entry is None:
            if finding.phase is not Phase.LOST:  # acknowledged as lost, or ended: there is nothing left to lose
                self._raise(moment, finding)
            return
        self._renew(moment, entry, finding)

    def _renew(self, moment: Moment, entry: Entry, finding: Finding) -> None:
        """A condition that is told already still holds, or holds again."""
        lost_before, clearing = entry.lost_s is not None, entry.clear_by is not None
        entry.text, entry.values, entry.clear_by = finding.text, finding.values, None
        if finding.phase is not Phase.LOST:
            entry.lost_s = None
        elif not lost_before:
            entry.lost_s = moment.at_s
        if entry.state is U:
            self._fire(moment, entry, Trigger.RAISE, "again")
        elif finding.phase is Phase.LOST and not lost_before:
            self._fire(moment, entry, Trigger.LOSE, finding.reason)
        elif finding.priority.rank > entry.priority.rank:
            entry.priority = finding.priority
            self._fire(moment, entry, Trigger.PROMOTE, str(finding.priority))
        elif finding.phase is Phase.WORSENED:
            self._fire(moment, entry, Trigger.WORSEN, finding.reason)
        elif clearing and entry.state is A and self._recent_changes(moment, entry) < self._life.flap_changes:
            self._fire(moment, entry, Trigger.WORSEN, "again")

    def _raise(self, moment: Moment, finding: Finding) -> None:
        self._last_id += 1
        at_s = moment.at_s
        entry = Entry(
            id=self._last_id,
            key=finding.key,
            priority=finding.priority,
            text=finding.text,
            values=finding.values,
            state=N,
            since_s=at_s,
            told_s=at_s,
            unacknowledged_s=at_s,
        )
        self._make_room(moment)
        self._entries[finding.key] = entry
        caution = finding.priority is Priority.CAUTION
        self._fire(moment, entry, Trigger.RAISE_CAUTION if caution else Trigger.RAISE, finding.reason)

    def _end(self, moment: Moment, entry: Entry, finding: Finding) -> None:
        """Clear it now, or remember to when the flap guard allows. A caution has no U to wait in."""
        if entry.state is U:
            return
        entry.text, entry.values = finding.text, finding.values
        trigger = Trigger.SUPERSEDE if finding.phase is Phase.HELD_BACK else Trigger.CLEAR
        entry.clear_by, entry.clear_reason = trigger, finding.reason
        self._clear_if_allowed(moment, entry)

    def _clear_if_allowed(self, moment: Moment, entry: Entry) -> None:
        """After a clearing there must be room for one more raising within the window."""
        if entry.clear_by is None:
            return
        if self._recent_changes(moment, entry) + 2 <= self._life.flap_changes:
            entry.lost_s = None
            self._fire(moment, entry, entry.clear_by, entry.clear_reason)

    def _recent_changes(self, moment: Moment, entry: Entry) -> int:
        window_s = self._life.flap_window_s
        return sum(1 for at_s in self._changes.get(entry.key, ()) if moment.at_s - at_s <= window_s)

    # ----------------------------------------------------------------------------------------------- time

    def _tick_one(self, moment: Moment, entry: Entry) -> None:
        at_s, life = moment.at_s, self._life
        self._clear_if_allowed(moment, entry)
        if entry.state is S and at_s - entry.since_s >= life.silence_s:
            self._fire(moment, entry, Trigger.SILENCE_OVER, "")
        elif entry.state is U and at_s - entry.since_s >= 60 * life.keep_rectified_min:
            self._fire(moment, entry, Trigger.AGE_OUT, f"never acknowledged in {life.keep_rectified_min:g} min")
        elif entry.lost_s is not None and entry.state in (V, S) and at_s - entry.lost_s >= 60 * life.keep_lost_min:
            self._fire(moment, entry, Trigger.AGE_OUT, f"lost, never acknowledged in {life.keep_lost_min:g} min")
        elif entry.state is V and not self._escalate(moment, entry) and self._is_due(at_s, entry):
            self._tell(moment, entry, Why.REPEATED, "")

    def _is_due(self, at_s: float, entry: Entry) -> bool:
        return at_s - entry.told_s >= self._rule(entry).repeat_s

    def _escalate(self, moment: Moment, entry: Entry) -> bool:
        """The first escalation is an event; a rule may make an alarm of its warning by it."""
        every_s = self._life.escalate_s
        due = every_s > 0 and entry.escalation < MOST_ESCALATIONS
        if not due or moment.at_s - entry.unacknowledged_s < every_s * (entry.escalation + 1):
            return False
        entry.escalation += 1
        if entry.escalation == 1:
            if self._rule(entry).escalates_to_alarm:
                entry.priority = Priority.ALARM
            self._events.append(self._event(moment, entry, f"escalated: not acknowledged in {every_s:g} s"))
        self._tell(moment, entry, Why.ESCALATED, "")
        return True

    # ------------------------------------------------------------------------------------------ the machine

    def _fire(self, moment: Moment, entry: Entry, trigger: Trigger, reason: str) -> None:
        """Let a trigger act, by the table; what it does not hold does nothing."""
        before, after = entry.state, next_state(entry.state, trigger, entry.priority)
        if after is None:
            return
        entry.state = after
        entry.revision = entry.revision % 99 + 1
        if after is not before:
            entry.since_s = moment.at_s
            if trigger not in BY_A_PERSON:
                self._changes.setdefault(entry.key, deque(maxlen=2 * self._life.flap_changes)).append(moment.at_s)
        if after is V and before is not V and trigger is not Trigger.SILENCE_OVER:
            entry.unacknowledged_s, entry.escalation = moment.at_s, 0
        if after in (N, U):
            entry.clear_by = None
        if after is N:
            self._entries.pop(entry.key, None)
        self._events.append(self._event(moment, entry, f"{trigger}: {reason}" if reason else str(trigger)))
        self._tell(moment, entry, Why.ENDED if after is N else WHY[trigger], reason)

    def _tell(self, moment: Moment, entry: Entry, why: Why, reason: str) -> None:
        audible = is_audible(entry.state, entry.priority, why)
        if audible:
            entry.told_s = moment.at_s
        self._notices.append(
            Notice(
                at_s=moment.at_s,
                why=why,
                alert=self._event(moment, entry, reason),
                audible=audible,
                part=entry.key[2],
                escalation=entry.escalation,
                revision=entry.revision,
                annunciators=self._rule(entry).annunciators,
            )
        )

    def _event(self, moment: Moment, entry: Entry, change: str) -> Alert:
        values = {**entry.values, "change": change or None}
        if entry.escalation:
            values["escalation"] = entry.escalation
        if entry.clear_by is not None:
            values["kept_by_flap_guard"] = True
        rule, target, _ = entry.key
        return Alert(
            time=moment.time,
            id=entry.id,
            rule=rule,
            priority=entry.priority,
            state=entry.state,
            target=target,
            text=entry.text,
            values=values,
        )

    # ----------------------------------------------------------------------------------------------- small

    def _rule(self, entry: Entry) -> Rule:
        return self._settings.rule(entry.key[0])

    def _chosen(self, alert_id: int | None) -> list[Entry]:
        return [entry for entry in self._entries.values() if alert_id is None or entry.id == alert_id]

    def _flush(self) -> list[Alert]:
        events, self._events = self._events, []
        return events

    def _make_room(self, moment: Moment) -> None:
        """Bounded: what is rectified goes first, then what is acknowledged, cautions first; what sounds goes last."""
        if len(self._entries) < MOST_ALERTS:
            return
        order = {U: 0, A: 1, S: 2, V: 3}
        oldest = min(self._entries.values(), key=lambda e: (order[e.state], e.priority.rank, e.id))
        self._fire(moment, oldest, Trigger.CLOSE, f"more than {MOST_ALERTS} alerts")

    def _prune(self, moment: Moment) -> None:
        """Forget the changes that no longer count."""
        window_s = self._life.flap_window_s
        old = [key for key, times in self._changes.items() if moment.at_s - times[-1] > window_s]
        for key in old:
            del self._changes[key]
