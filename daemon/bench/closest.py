"""closest_approach under all settings at once: latches swept as arrays, and what they tell put through the alert book.

The rules' own functions say what is inside the limits, `latch.sweep` moves the latches of all settings together. What
is left of it are a few moments for each target and setting, the same for many settings; they go to a real alert book
(told.py), with those of its ticks that can change anything.

Targets that were found to be one vessel are a family, and are worked through together.
"""

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt
from msgspec import Struct

from alerts.rules import approach
from alerts.rules.approaching import BY_HAND
from alerts.rules.latch import sweep
from alerts.settings import Alerts
from daemon.bench.latches import Latches
from daemon.bench.limits import Columns
from daemon.bench.lives import Change, heads_of
from daemon.bench.near import Near, Rows, Turn, What
from daemon.bench.told import Book, Clock, Step

CELLS = 2_000_000
"""Plots times settings worked at once: some tens of megabytes."""

Bools = npt.NDArray[np.bool_]
Index = npt.NDArray[np.intp]


class Told(Struct, frozen=True):
    """What was told of a target, or of those that are one vessel, under these settings."""

    settings: tuple[int, ...]
    changes: tuple[Change, ...]


class Family(Struct, frozen=True):
    """One target, or several that were carried into one another; with all that befell them, in order.

    `whose` (N,) says which of `keys` each row is of.
    """

    keys: tuple[str, ...]
    rows: Rows
    whose: npt.NDArray[np.intp]
    turns: tuple[Turn, ...]


def told(near: Near, settings: Alerts) -> Iterator[Told]:
    """For each family, what is told under which settings; settings under which nothing is told do not appear.

    `settings` are those that no setting changes: the life of alerts, the rule's priority.
    """
    if near.end is None:
        return
    clock = Clock(near.ticks(), near.end)
    for family in families(near):
        for chosen, wanted in _patterns(family, near.columns):
            yield Told(chosen, Book(settings, clock).run(list(_steps(family, wanted)), family.rows))


def families(near: Near) -> Iterator[Family]:
    """Every target that was ever near, with those that it was carried into or from."""
    rows = near.rows()
    head = heads_of((turn.target, turn.into) for turn in near.turns if turn.what is What.CARRIED)
    names = sorted({stint.target for stint in near.stretches})
    heads = sorted({head.get(name, name) for name in names})
    number = {name: heads.index(head.get(name, name)) for name in names}
    family_of = np.array([number[stint.target] for stint in near.stretches], dtype=np.intp)[rows.stretch]
    turns: dict[str, list[Turn]] = {}
    off = [turn for turn in near.turns if turn.what is What.OFF]
    for turn in near.turns:
        if turn.what is not What.OFF:
            turns.setdefault(head.get(turn.target, turn.target), []).append(turn)
    order = np.argsort(family_of, kind="stable")
    bounds = np.searchsorted(family_of[order], np.arange(len(heads) + 1))
    for index, name in enumerate(heads):
        part = rows.taken(order[bounds[index] : bounds[index + 1]])
        owners = [near.stretches[stretch].target for stretch in part.stretch]
        mine = turns.get(name, [])
        keys = tuple(dict.fromkeys([*owners, *(turn.target for turn in mine), *(t.into for t in mine if t.into)]))
        whose = np.array([keys.index(owner) for owner in owners], dtype=np.intp)
        yield Family(keys, part, whose, tuple(sorted([*mine, *off], key=lambda turn: turn.seq)))


# ------------------------------------------------------------------------------------------------ the latches


def _patterns(family: Family, columns: Columns) -> Iterator[tuple[tuple[int, ...], Bools]]:
    """Which settings want which plots told: distinct columns (N,) that are not all false, with their settings."""
    settings, plots = len(columns.bases), len(family.rows.at_s)
    size = max(1, CELLS // max(1, plots))
    alike: dict[bytes, list[int]] = {}
    is_one = all(turn.what is not What.CARRIED for turn in family.turns)
    for start in range(0, settings, size):
        chosen = np.arange(start, min(start + size, settings))
        wanted = _wanted(family, columns, chosen) if is_one else _wanted_together(family, columns, chosen)
        packed = np.ascontiguousarray(np.packbits(wanted, axis=0).T)
        for setting, pattern in zip(chosen.tolist(), packed, strict=True):
            if pattern.any():
                alike.setdefault(pattern.tobytes(), []).append(setting)
    for data, same in alike.items():
        bits = np.unpackbits(np.frombuffer(data, dtype=np.uint8), count=plots)
        yield tuple(same), bits.astype(np.bool_)


def _wanted(family: Family, columns: Columns, chosen: Index) -> Bools:
    """Whether an alert is wanted after each plot, (N, S), of a target by itself: stretch by stretch."""
    rows = family.rows
    wanted = np.zeros((len(rows.at_s), len(chosen)), dtype=np.bool_)
    starts = np.flatnonzero(np.diff(rows.stretch, prepend=-1))
    hold_s = _hold_s(family.keys[0], columns, chosen)
    for start, stop in zip(starts, [*starts[1:], len(rows.at_s)], strict=True):
        stretch = rows.taken(np.arange(start, stop))
        enter, stay = _truths(stretch, columns, chosen)
        live = np.flatnonzero(enter.any(axis=0))
        if len(live):
            clear_hold_s = columns.clear_hold_s[chosen[live]]
            is_set = sweep(stretch.at_s, enter[:, live], stay[:, live], hold_s[live], clear_hold_s)
            wanted[start:stop, live] = is_set & columns.is_on[stretch.condition][:, None]
    return wanted


def _wanted_together(family: Family, columns: Columns, chosen: Index) -> Bools:
    """The same for targets that are carried into one another: plot by plot, each target with latches of its own."""
    rows = family.rows
    enter, stay = _truths(rows, columns, chosen)
    latches = {key: Latches(len(chosen)) for key in family.keys}
    holds = {key: _hold_s(key, columns, chosen) for key in family.keys}
    clear_hold_s = columns.clear_hold_s[chosen]
    wanted = np.zeros(enter.shape, dtype=np.bool_)
    turns = [turn for turn in family.turns if turn.what in (What.GONE, What.CARRIED)]
    for row, seq in enumerate(rows.seq.tolist()):
        while turns and turns[0].seq < seq:
            turn = turns.pop(0)
            if turn.what is What.CARRIED:
                latches[turn.into].take_over(latches[turn.target])
            latches[turn.target] = Latches(len(chosen))
        key = family.keys[family.whose[row]]
        is_set = latches[key].advance(float(rows.at_s[row]), enter[row], stay[row], holds[key], clear_hold_s)
        wanted[row] = is_set & columns.is_on[rows.condition[row]]
    return wanted


def _hold_s(target: str, columns: Columns, chosen: Index) -> npt.NDArray[np.float64]:
    return np.zeros(len(chosen)) if target.startswith(BY_HAND) else columns.hold_s[chosen]


def _truths(rows: Rows, columns: Columns, chosen: Index) -> tuple[Bools, Bools]:
    """`enter` and `stay` of these plots under the chosen settings, each (N, S)."""
    shape = (len(rows.at_s), len(chosen))
    enter, stay = np.zeros(shape, dtype=np.bool_), np.zeros(shape, dtype=np.bool_)
    step = max(1, CELLS // 8 // len(chosen))
    bases = {
        basis: np.array([place for place, setting in enumerate(chosen) if columns.bases[setting] is basis])
        for basis in set(columns.bases)
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


def _steps(family: Family, wanted: Bools) -> Iterator[Step]:
    """The turns, and those plots after which something else is told than before, or may be: in order."""
    rows = family.rows
    points: set[int] = set()
    for number in range(len(family.keys)):
        mine = np.flatnonzero(family.whose == number)
        if len(mine):
            points.update(_points(family, family.keys[number], mine, wanted[mine]))
    steps = [Step(int(rows.seq[row]), row, family.keys[family.whose[row]], bool(wanted[row]), None) for row in points]
    steps += [Step(turn.seq, -1, turn.target, False, turn) for turn in family.turns]
    yield from sorted(steps, key=lambda step: step.seq)


def _points(family: Family, key: str, mine: Index, wanted: Bools) -> Iterator[int]:
    """Rows of one target at which the answer changes, and the first after each turn of hers."""
    rows = family.rows
    first = np.diff(rows.stretch[mine], prepend=-1) != 0
    before = np.concatenate([[False], wanted[:-1]]) & ~first
    yield from mine[wanted != before].tolist()
    turns = [turn.seq for turn in family.turns if key in (turn.target, turn.into) or turn.what is What.OFF]
    after = np.searchsorted(rows.seq[mine], turns)
    yield from mine[after[after < len(mine)]].tolist()
