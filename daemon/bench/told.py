"""What is told of a vessel under one setting: the few moments that count, through a real alert book.

A book is called once a second in a watch, which would be the whole cost of a sweep. Here it is called at those ticks
only at which time alone can change an alert's state: when the flap guard lets it clear, and when it ages out.
"""

from collections.abc import Sequence

import numpy as np
from msgspec import Struct, field

from alerts.events import Alert, Instant, Moment
from alerts.lifecycle import AlertBook
from alerts.plotting.terms import AlertState
from alerts.rules.findings import Finding, Phase
from alerts.settings import Alerts
from daemon.bench.grid import CLOSEST
from daemon.bench.lives import Change, Changes
from daemon.bench.near import Rows, Ticks, Turn, What

CLOSE_S = 1e-3
"""Sums of seconds are held against ticks to this; a tick too many changes nothing."""


class Step(Struct, frozen=True, gc=False):
    """A plot of a target, after which an alert is `wanted` or not; or a turn (row -1)."""

    seq: int
    row: int
    target: str
    is_wanted: bool
    turn: Turn | None


class Clock:
    """The moments of ticks and rows, and the end."""

    def __init__(self, ticks: Ticks, end: Moment) -> None:
        self.ticks = ticks
        self.end = end

    def tick(self, index: int) -> Moment:
        return Moment(float(self.ticks.at_s[index]), Instant(int(self.ticks.utc_ms[index])))


class _Entry(Struct):
    """What of a target's alert decides about its next change by time alone. As the book has it."""

    state: AlertState = AlertState.NORMAL
    times_s: list[float] = field(default_factory=list)
    lost_s: float | None = None
    is_clearing: bool = False


class Book:
    """An alert book for one family, under one setting."""

    def __init__(self, settings: Alerts, clock: Clock) -> None:
        self._settings = settings
        self._clock = clock
        self._book = AlertBook(settings)
        self._changes = Changes((CLOSEST,))
        self._entries: dict[str, _Entry] = {}
        self._told: set[str] = set()
        self._next = 0  # the first tick that has not been looked at

    def run(self, steps: Sequence[Step], rows: Rows) -> tuple[Change, ...]:
        """Everything that is told, to the end of the watch."""
        for step in steps:
            self._pass_ticks(step.seq)
            if step.turn is not None:
                self._turn(step.turn)
            else:
                moment = Moment(float(rows.at_s[step.row]), Instant(int(rows.utc_ms[step.row])))
                self._settle(moment, step.target, step.is_wanted)
        self._pass_ticks(None)
        end = self._clock.end
        self._changes.take(end, self._book.close(end))
        return tuple(self._changes.all)

    # ------------------------------------------------------------------------------------ as the rules tell it

    def _settle(self, moment: Moment, target: str, wanted: bool) -> None:
        if wanted:
            self._say(moment, target, Phase.UPDATED if target in self._told else Phase.RAISED)
            self._told.add(target)
        elif target in self._told:
            self._told.discard(target)
            self._say(moment, target, Phase.ENDED)

    def _turn(self, turn: Turn) -> None:
        if turn.what is What.OFF:
            for target in sorted(self._told):
                self._settle(turn.moment, target, False)
        elif turn.what is What.LOST and turn.target in self._told:
            self._say(turn.moment, turn.target, Phase.LOST)
        elif turn.what is What.GONE:
            self._told.discard(turn.target)
        elif turn.what is What.CARRIED:
            self._carry(turn)

    def _carry(self, turn: Turn) -> None:
        if turn.target in self._told:
            self._told.discard(turn.target)
            self._told.add(turn.into)
        old, new = self._entry(turn.target), self._entry(turn.into)
        moves = old.state is not AlertState.NORMAL and new.state is AlertState.NORMAL
        if moves:
            self._entries[turn.into] = self._entries.pop(turn.target)
        self._take(turn.moment, self._book.carry(turn.moment, turn.target, turn.into))

    def _say(self, moment: Moment, target: str, phase: Phase) -> None:
        priority = self._settings.closest_approach.priority
        finding = Finding(rule=CLOSEST, target=target, phase=phase, priority=priority, text="", values={})
        self._take(moment, self._book.take(moment, [finding]))
        entry = self._entry(target)
        entry.is_clearing = phase is Phase.ENDED
        if phase in (Phase.RAISED, Phase.UPDATED):
            entry.lost_s = None
        elif phase is Phase.LOST and entry.lost_s is None:
            entry.lost_s = moment.at_s

    # --------------------------------------------------------------------------------------- as time passes

    def _take(self, moment: Moment, alerts: Sequence[Alert]) -> None:
        known = len(self._changes.all)
        self._changes.take(moment, alerts)
        for change in self._changes.all[known:]:
            entry = self._entry(change.target)
            entry.state = change.state
            entry.times_s.append(change.at_s)

    def _entry(self, target: str) -> _Entry:
        return self._entries.setdefault(target, _Entry())

    def _pass_ticks(self, until: int | None) -> None:
        """The ticks before this place in the order at which age or the flap guard may act."""
        ticks = self._clock.ticks
        while True:
            due_s = min((due for entry in self._entries.values() for due in self._due_s(entry)), default=None)
            if due_s is None:
                return
            index = max(self._next, int(np.searchsorted(ticks.at_s, due_s - CLOSE_S)))
            if index >= len(ticks.at_s) or (until is not None and ticks.seq[index] >= until):
                return
            moment = self._clock.tick(index)
            self._take(moment, self._book.tick(moment))
            self._next = index + 1

    def _due_s(self, entry: _Entry) -> Sequence[float]:
        """When time alone may next change an alert's state."""
        life, due = self._settings.life, []
        if entry.state is AlertState.NORMAL:
            return ()
        if entry.state is AlertState.RECTIFIED_UNACKNOWLEDGED:
            return (entry.times_s[-1] + 60 * life.keep_rectified_min,)
        if entry.is_clearing:
            # Room for one more raising comes when so many changes have left the window that two fit in again.
            held_by = max(len(entry.times_s) - life.flap_changes + 1, 0)
            due.append(entry.times_s[held_by] + life.flap_window_s)
        if entry.lost_s is not None and entry.state is AlertState.ACTIVE_UNACKNOWLEDGED:
            due.append(entry.lost_s + 60 * life.keep_lost_min)
        return due
