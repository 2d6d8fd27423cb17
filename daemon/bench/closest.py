"""closest_approach under all settings at once: latches swept as arrays, and what they tell put through the alert book.

The rules' own functions say what is inside the limits, `latch.sweep` moves the latches of all settings together. What
is left of it are a few moments for each target and setting, the same for many settings; they go to a real alert book,
with those of its ticks that can change anything.
"""

from collections.abc import Iterator, Sequence

import numpy as np
import numpy.typing as npt
from msgspec import Struct

from alerts.events import Instant, Moment
from alerts.lifecycle import AlertBook
from alerts.plotting.terms import AlertState
from alerts.rules import approach
from alerts.rules.approaching import BY_HAND
from alerts.rules.findings import Finding, Phase
from alerts.rules.latch import sweep
from alerts.settings import Alerts
from daemon.bench.grid import CLOSEST
from daemon.bench.limits import Columns
from daemon.bench.lives import Change, Changes
from daemon.bench.near import Near, Rows, Ticks

CELLS = 2_000_000
"""Plots times settings worked at once: some tens of megabytes."""

Bools = npt.NDArray[np.bool_]
Event = tuple[int, int, Phase]
"""What the rules say: its place in the order, the row that it is said at (-1: a tick, or a change of condition)."""


class Told(Struct, frozen=True):
    """What was told of one target under these settings."""

    settings: tuple[int, ...]
    changes: tuple[Change, ...]


class _Target(Struct, frozen=True):
    """All that happened to one target: its rows, and what came at ticks, as (seq, stint, what)."""

    target: str
    rows: Rows
    stints: npt.NDArray[np.int64]  # (N,): whose each row is
    turns: tuple[tuple[int, int, str], ...]


CLOSE_S = 1e-3
"""Sums of seconds are held against ticks to this; a tick too many changes nothing."""


def told(near: Near, settings: Alerts) -> Iterator[Told]:
    """For each target, what is told under which settings; settings under which nothing is told do not appear.

    `settings` are those that no setting changes: the life of alerts, the rule's priority.
    """
    end = near.end
    if end is None:
        return
    clock = _Clock(near, near.ticks())
    for target in _targets(near):
        for chosen, wanted in _patterns(target, near.columns):
            events = _events(target, wanted)
            yield Told(chosen, _Book(target.target, settings, clock, end).run(events, target.rows))


def _targets(near: Near) -> Iterator[_Target]:
    rows = near.rows()
    stint_of = np.array([stint.number for stint in near.stretches], dtype=np.int64)
    names = sorted({stint.target for stint in near.stretches})
    number = {name: index for index, name in enumerate(names)}
    whose = np.array([number[stint.target] for stint in near.stretches], dtype=np.int64)[rows.stretch]
    target_of = {stint.number: number[stint.target] for stint in near.stretches}
    turns: dict[int, list[tuple[int, int, str]]] = {}
    for turn in near.turns:
        if turn.stint in target_of:
            what = "gone" if turn.is_gone else "lost"
            turns.setdefault(target_of[turn.stint], []).append((turn.seq, turn.stint, what))
    off = [(seq, -1, "off") for seq, _, condition in near.changes if not near.columns.is_on[condition]]
    order = np.argsort(whose, kind="stable")
    bounds = np.searchsorted(whose[order], np.arange(len(names) + 1))
    for index, name in enumerate(names):
        mine = order[bounds[index] : bounds[index + 1]]
        part = rows.taken(mine)
        yield _Target(name, part, stint_of[part.stretch], tuple(sorted([*turns.get(index, []), *off])))


# ------------------------------------------------------------------------------------------------ the latches


def _patterns(target: _Target, columns: Columns) -> Iterator[tuple[tuple[int, ...], Bools]]:
    """Which settings want which plots told: distinct columns (N,) that are not all false, with their settings."""
    settings = len(columns.bases)
    size = max(1, CELLS // max(1, len(target.rows.at_s)))
    alike: dict[bytes, list[int]] = {}
    for start in range(0, settings, size):
        chosen = np.arange(start, min(start + size, settings))
        packed = np.ascontiguousarray(np.packbits(_wanted(target, columns, chosen), axis=0).T)
        for setting, pattern in zip(chosen.tolist(), packed, strict=True):
            if pattern.any():
                alike.setdefault(pattern.tobytes(), []).append(setting)
    for data, same in alike.items():
        bits = np.unpackbits(np.frombuffer(data, dtype=np.uint8), count=len(target.rows.at_s))
        yield tuple(same), bits.astype(np.bool_)


def _wanted(target: _Target, columns: Columns, chosen: npt.NDArray[np.intp]) -> Bools:
    """Whether an alert is wanted after each plot, (N, S)."""
    rows = target.rows
    wanted = np.zeros((len(rows.at_s), len(chosen)), dtype=np.bool_)
    starts = np.flatnonzero(np.diff(rows.stretch, prepend=-1))
    by_hand = target.target.startswith(BY_HAND)
    hold_s = np.zeros(len(chosen)) if by_hand else columns.hold_s[chosen]
    for start, stop in zip(starts, [*starts[1:], len(rows.at_s)], strict=True):
        stretch = rows.taken(np.arange(start, stop))
        enter, stay = _truths(stretch, columns, chosen)
        live = np.flatnonzero(enter.any(axis=0))
        if len(live):
            is_set = sweep(
                stretch.at_s, enter[:, live], stay[:, live], hold_s[live], columns.clear_hold_s[chosen[live]]
            )
            wanted[start:stop, live] = is_set & columns.is_on[stretch.condition][:, None]
    return wanted


def _truths(rows: Rows, columns: Columns, chosen: npt.NDArray[np.intp]) -> tuple[Bools, Bools]:
    """`enter` and `stay` of a stretch's plots under the chosen settings, each (N, S)."""
    shape = (len(rows.at_s), len(chosen))
    enter, stay = np.zeros(shape, dtype=np.bool_), np.zeros(shape, dtype=np.bool_)
    step = max(1, CELLS // 8 // len(chosen))
    bases = {
        basis: np.array([k for k, s in enumerate(chosen) if columns.bases[s] is basis]) for basis in set(columns.bases)
    }
    for first in range(0, shape[0], step):
        part = rows.taken(np.arange(first, min(first + step, shape[0])))
        here = slice(first, first + len(part.at_s))
        condition = part.condition if len(set(part.condition.tolist())) > 1 else part.condition[:1]
        for basis, mine in bases.items():
            if not len(mine):
                continue
            which = chosen[mine]
            f = part.figures(columns.cpa_at[condition][:, which])
            cpa, tcpa = columns.cpa_nm[condition][:, which], columns.tcpa_min[condition][:, which]
            enter[here, mine] = approach.closest_enter(f, cpa, tcpa, columns.probability[which], basis)
            stay[here, mine] = approach.closest_stay(f, cpa, tcpa, columns.clear_ratio[which], basis)
    return enter, stay


# --------------------------------------------------------------------------------------------- what is told


def _events(target: _Target, wanted: Bools) -> list[Event]:
    """What the rules would say, one entry for each change: (seq, row or -1, phase). As Board.settle() does.

    UPDATED matters to the book only as the first word after the data stopped, or the rule was off.
    """
    rows, turns = target.rows, target.turns
    first = np.diff(rows.stretch, prepend=-1) != 0
    before = np.concatenate([[False], wanted[:-1]]) & ~first
    points = set(np.flatnonzero(wanted != before).tolist())
    after = np.searchsorted(rows.seq, [seq for seq, _, _ in turns])
    points.update(int(row) for row in after if row < len(wanted))
    steps: list[tuple[int, int, str]] = [(int(rows.seq[row]), row, "plot") for row in points]
    stint_at = [int(target.stints[row - 1]) if row > 0 else -2 for row in after]
    for (seq, stint, what), current in zip(turns, stint_at, strict=True):
        if stint in (-1, current):
            steps.append((seq, -1, what))
    return list(_say(sorted(steps), wanted))


def _say(steps: Sequence[tuple[int, int, str]], wanted: Bools) -> Iterator[Event]:
    is_told = False
    for seq, row, what in steps:
        if what == "plot":
            if wanted[row]:
                yield seq, row, Phase.UPDATED if is_told else Phase.RAISED
            elif is_told:
                yield seq, row, Phase.ENDED
            is_told = bool(wanted[row])
        elif what == "lost":
            if is_told:
                yield seq, row, Phase.LOST
        else:
            if is_told and what == "off":
                yield seq, row, Phase.ENDED
            is_told = False


# ------------------------------------------------------------------------------------------------- the book


class _Clock:
    """The moment of anything in the order of a recording: of a row, a tick, or a change of condition."""

    def __init__(self, near: Near, ticks: Ticks) -> None:
        self.ticks = ticks
        self._changes = {seq: moment for seq, moment, _ in near.changes}

    def of_tick(self, index: int) -> Moment:
        return Moment(float(self.ticks.at_s[index]), Instant(int(self.ticks.utc_ms[index])))

    def of(self, seq: int, row: int, rows: Rows) -> Moment:
        if row >= 0:
            return Moment(float(rows.at_s[row]), Instant(int(rows.utc_ms[row])))
        return self._changes.get(seq) or self.of_tick(int(np.searchsorted(self.ticks.seq, seq)))


class _Book:
    """A real alert book for one target, called at the ticks that can change anything."""

    def __init__(self, target: str, settings: Alerts, clock: _Clock, end: Moment) -> None:
        self._target = target
        self._settings = settings
        self._clock = clock
        self._end = end
        self._book = AlertBook(settings)
        self._changes = Changes((CLOSEST,))
        self._next = 0  # the first tick that has not been looked at
        self._lost_s: float | None = None
        self._clearing = False

    def run(self, events: Sequence[Event], rows: Rows) -> tuple[Change, ...]:
        """Everything that is told of the target, to the end of the watch."""
        for seq, row, phase in events:
            self._pass_ticks(seq)
            self._take(self._clock.of(seq, row, rows), phase)
        self._pass_ticks(None)
        self._changes.take(self._end, self._book.close(self._end))
        return tuple(self._changes.all)

    def _take(self, moment: Moment, phase: Phase) -> None:
        finding = Finding(
            rule=CLOSEST,
            target=self._target,
            phase=phase,
            priority=self._settings.closest_approach.priority,
            text="",
            values={},
        )
        self._changes.take(moment, self._book.take(moment, [finding]))
        self._clearing = phase is Phase.ENDED
        if phase is not Phase.LOST:
            self._lost_s = None if phase is not Phase.ENDED else self._lost_s
        elif self._lost_s is None:
            self._lost_s = moment.at_s

    def _pass_ticks(self, until: int | None) -> None:
        """The ticks before this place in the order at which silence, age or the flap guard may act."""
        ticks = self._clock.ticks
        while True:
            due_s = self._due_s()
            if due_s is None:
                return
            index = max(self._next, int(np.searchsorted(ticks.at_s, due_s - CLOSE_S)))
            if index >= len(ticks.at_s) or (until is not None and ticks.seq[index] >= until):
                return
            moment = self._clock.of_tick(index)
            self._changes.take(moment, self._book.tick(moment))
            self._next = index + 1

    def _due_s(self) -> float | None:
        """When time alone may next change the alert's state; None for never."""
        changes, life = self._changes.all, self._settings.life
        if not changes or changes[-1].state is AlertState.NORMAL:
            return None
        last = changes[-1]
        if last.state is AlertState.RECTIFIED_UNACKNOWLEDGED:
            return last.at_s + 60 * life.keep_rectified_min
        due: list[float] = []
        if self._clearing:
            # Room for one more raising comes when so many changes have left the window that two fit in again.
            held_by = len(changes) - life.flap_changes + 1
            due.append(changes[max(held_by, 0)].at_s + life.flap_window_s)
        if self._lost_s is not None and last.state is AlertState.ACTIVE_UNACKNOWLEDGED:
            due.append(self._lost_s + 60 * life.keep_lost_min)
        return min(due, default=None)
