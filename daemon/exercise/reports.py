"""When the set says what of which target, and under which number: measurements to reports, faults included."""

import heapq
from typing import NamedTuple

import numpy as np

from daemon.exercise.geodesy import Floats
from daemon.exercise.passage import Sweeps
from daemon.exercise.scenario import Radar, RadarFault, Target
from daemon.exercise.tracker import NONE, TRACKING


class Reports(NamedTuple):
    """R reports in order of time: when they leave the set, which target (column) and turn (row) they tell, and as what.

    `number` is the target number in the sentence, `status` the tracker's.
    """

    times_s: Floats
    column: np.ndarray
    row: np.ndarray
    number: np.ndarray
    status: np.ndarray


def numbers(radar: Radar, targets: tuple[Target, ...], status: np.ndarray, times_s: Floats) -> np.ndarray:
    """The target number of each column at each turn, (K, N); -1 where there is none.

    A number is given at acquisition, the lowest free one unless the target has its own, and is free again when the
    set says no more of the target: so a number may come back on another vessel.
    """
    given = np.full(status.shape, -1, dtype=np.int32)
    active = status != NONE
    edges = np.diff(np.pad(active.astype(np.int8), ((1, 1), (0, 0))), axis=0)
    spans = []
    for column in range(len(targets)):
        begins, ends = np.flatnonzero(edges[:, column] == 1), np.flatnonzero(edges[:, column] == -1)
        spans += [(float(times_s[b, column]), column, int(b), int(e)) for b, e in zip(begins, ends, strict=True)]
    own = {target.number for target in targets if target.number is not None}
    free = [n for n in range(radar.first_number, radar.first_number + len(targets) + len(own) + 1) if n not in own]
    heapq.heapify(free)
    running: list[tuple[float, int]] = []
    for start_s, column, begin, end in sorted(spans):
        while running and running[0][0] < start_s:
            heapq.heappush(free, heapq.heappop(running)[1])
        number = targets[column].number
        if number is None:
            number = heapq.heappop(free)
            heapq.heappush(running, (float(times_s[end - 1, column]), number))
        given[begin:end, column] = number
    return given


def reports(radar: Radar, sweeps: Sweeps, duration_s: float) -> Reports:
    """All reports of a passage in the order in which they leave the set."""
    tracks, times = sweeps.tracks, sweeps.echoes.times_s
    number = numbers(radar, sweeps.targets, tracks.status, times)
    silent = (tracks.status == TRACKING) & ~sweeps.seen if radar.missed == "nothing" else None
    parts = []
    for column in range(len(sweeps.targets)):
        at, row = _schedule(radar, times[:, column], column, len(sweeps.targets), duration_s)
        row = _repeated(radar.faults, sweeps.targets[column].name, times[:, column], at, row)
        keep = tracks.status[row, column] != NONE
        if silent is not None:
            keep &= ~silent[row, column]
        at, row = at[keep], row[keep]
        parts.append((at, np.full(row.shape, column), row, number[row, column], tracks.status[row, column]))
    joined = [np.concatenate(column) for column in zip(*parts, strict=True)]
    joined = _faulty(radar, sweeps.targets, joined)
    order = np.argsort(joined[0], kind="stable")
    return Reports(*(part[order] for part in joined))


def _schedule(radar: Radar, looks_s: Floats, rank: int, of: int, duration_s: float) -> tuple[Floats, np.ndarray]:
    """Report times of one target, and the turn that each of them tells."""
    ready = looks_s + radar.report_delay_s
    if radar.report_interval_s is None and radar.report_order == "as swept":
        return ready, np.arange(len(looks_s))
    interval = radar.report_interval_s or radar.scan_s
    phase = {"as swept": float(ready[0]) % interval, "burst": 0.0, "in turn": interval * rank / of}[radar.report_order]
    at = np.arange(phase, duration_s, interval)
    row = np.searchsorted(ready, at, side="right") - 1
    return at[row >= 0], row[row >= 0]


def _repeated(faults: tuple[RadarFault, ...], name: str, looks_s: Floats, at_s: Floats, row: np.ndarray) -> np.ndarray:
    """Turns with those of a 'repeat' replaced by the last one before it."""
    for fault in faults:
        if fault.kind == "repeat" and _concerns(fault, name):
            last = max(0, int(np.searchsorted(looks_s, fault.from_min * 60)) - 1)
            row = np.where(_within(fault, at_s), np.minimum(row, last), row)
    return row


def _faulty(radar: Radar, targets: tuple[Target, ...], parts: list[np.ndarray]) -> list[np.ndarray]:
    """Reports with numbers swapped, silences left out and duplicates added."""
    at, column, row, number, status = parts
    for fault in radar.faults:
        within = _within(fault, at)
        concerned = [i for i, target in enumerate(targets) if _concerns(fault, target.name)]
        if fault.kind == "swap" and len(concerned) == 2:
            number = _swapped(column, number, within, concerned)
        elif fault.kind == "silent":
            keep = ~(within & np.isin(column, concerned))
            at, column, row, number, status = (part[keep] for part in (at, column, row, number, status))
        elif fault.kind == "duplicate" and fault.number is not None:
            copy = within & np.isin(column, concerned)
            second = np.full(int(copy.sum()), fault.number, dtype=number.dtype)
            number = np.concatenate([number, second])
            at, column, row, status = (np.concatenate([p, p[copy]]) for p in (at, column, row, status))
            at[len(at) - len(second) :] += 0.02
    return [at, column, row, number, status]


def _swapped(column: np.ndarray, number: np.ndarray, within: np.ndarray, pair: list[int]) -> np.ndarray:
    """Each of the pair under the number that the other had when it began."""
    held = []
    for one in pair:
        mine = np.flatnonzero((column == one) & within)
        if not len(mine):
            return number
        held.append(int(number[mine[0]]))
    swapped = number.copy()
    for one, theirs in zip(pair, reversed(held), strict=True):
        swapped[(column == one) & within] = theirs
    return swapped


def _within(fault: RadarFault, at_s: Floats) -> np.ndarray:
    end = np.inf if fault.until_min is None else fault.until_min * 60
    return np.asarray((at_s >= fault.from_min * 60) & (at_s < end))


def _concerns(fault: RadarFault, name: str) -> bool:
    return not fault.targets or name in fault.targets
