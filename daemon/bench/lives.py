"""What became of each alert: its changes of state, and the stretches of time in which it was active."""

from collections.abc import Iterable, Sequence

from msgspec import Struct

from alerts.events import Alert, Moment
from alerts.plotting.terms import AlertState

ACTIVE = frozenset({AlertState.ACTIVE_UNACKNOWLEDGED, AlertState.ACTIVE_SILENCED, AlertState.ACTIVE_ACKNOWLEDGED})


class Change(Struct, frozen=True, gc=False):
    """One change of an alert's state. `alert` counts the alerts of one target, or of all; only equality means much."""

    alert: int
    rule: str
    target: str
    state: AlertState
    at_s: float
    utc_ms: int


class Stretch(Struct, frozen=True, gc=False):
    """An alert was active from one moment to another."""

    target: str
    from_s: float
    until_s: float


class Changes:
    """Picks the changes of state out of alert events: a worsening, an escalation, newer values are none."""

    def __init__(self, rules: Sequence[str]) -> None:
        self._rules = frozenset(rules)
        self._states: dict[int, AlertState] = {}
        self.all: list[Change] = []

    def take(self, moment: Moment, alerts: Iterable[Alert]) -> None:
        for alert in alerts:
            if alert.rule not in self._rules or self._states.get(alert.id) is alert.state:
                continue
            if alert.state is AlertState.NORMAL:
                self._states.pop(alert.id, None)
            else:
                self._states[alert.id] = alert.state
            self.all.append(
                Change(alert.id, alert.rule, alert.target or "", alert.state, moment.at_s, moment.time.utc_ms)
            )


def heads_of(carried: Iterable[tuple[str, str]]) -> dict[str, str]:
    """A common name for all targets that were carried (from, into) one another; others do not appear."""
    head: dict[str, str] = {}

    def find(name: str) -> str:
        while head.get(name, name) != name:
            name = head[name]
        return name

    for old, new in carried:
        head.setdefault(new, new)
        head[find(old)] = find(new)
    return {name: find(name) for name in head}


def stretches(changes: Iterable[Change]) -> list[Stretch]:
    """The stretches of a watch that was closed: each that began has its end."""
    since: dict[int, float] = {}
    found: list[Stretch] = []
    for change in changes:
        if change.state in ACTIVE:
            since.setdefault(change.alert, change.at_s)
        elif change.alert in since:
            from_s = since.pop(change.alert)
            found.append(Stretch(change.target, from_s, change.at_s))
    return found
