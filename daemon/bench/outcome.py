"""One recording under all settings: its encounters, and what each setting said of each. Made by one worker."""

import threading
from collections.abc import Iterable, Iterator, Sequence

import numpy as np
import numpy.typing as npt
from msgspec import Struct

from alerts.lookout import LookoutSettings
from daemon.bench import archived, known
from daemon.bench.abreast import Abreast
from daemon.bench.closest import told
from daemon.bench.encounters import Encounter, Judge, Verdict
from daemon.bench.grid import Grid
from daemon.bench.limits import columns_of
from daemon.bench.lives import Change, Stretch, heads_of, stretches
from daemon.bench.near import Near
from daemon.bench.observer import Watcher
from daemon.bench.reading import Progress, Reading, read
from daemon.bench.tracks import Tracks

Floats = npt.NDArray[np.float64]

GONE_ON_S = 60.0
"""An alert that comes again within this of its end has gone on warning."""

STANDING_S = 120.0
"""An alert that ended longer than this before a close pass had said that there was no danger: a pass missed."""

Group = tuple[tuple[int, ...], Sequence[Change]]
"""What was told under these settings."""


class Task(Struct, frozen=True, kw_only=True):
    """All that a worker needs to know."""

    paths: tuple[str, ...]
    name: str
    passage_id: int | None = None  # of an archive
    settings: LookoutSettings
    grid: Grid
    within_nm: float
    close_nm: float | None
    by_truth: bool
    rate: float | None = None
    require_checksum: bool = True


class Outcome(Struct, frozen=True, kw_only=True):
    """S settings, E encounters. `warned_min`: before the closest approach, NaN for never; `raised`: how often an alert
    began; `nuisance`: how many of those were for nothing; `again`: how many came again in the same encounter;
    `alarm_s`: how long it was active. `is_whole` is False
    for what was stopped before its end.
    """

    name: str
    hours: dict[str, float]
    lines: int
    is_whole: bool
    has_truth: bool
    untracked: tuple[str, ...]  # vessels of the truth that passed close and were never on the plot
    encounters: tuple[Encounter, ...]
    warned_min: Floats
    raised: npt.NDArray[np.int32]
    nuisance: npt.NDArray[np.int32]
    again: npt.NDArray[np.int32]
    alarm_s: Floats
    elsewhere: npt.NDArray[np.int32]  # alerts that belong to no encounter, (S,)
    in_alarm_s: Floats  # how long one alert at least was active, (S,)
    notices: tuple[str, ...] = ()


def work(task: Task, stop: threading.Event | None = None, progress: Progress | None = None) -> Outcome:
    """Reads the recording once and judges every setting on it."""
    grid, settings = task.grid, task.settings
    every = [setting.limits for setting in grid.settings]
    tracks = Tracks(settings)
    near = Near(settings, columns_of(every)) if grid.vectorised else None
    abreast = None if grid.vectorised else Abreast(settings, every, grid.rules)
    watchers: list[Watcher] = [tracks, *([near] if near else []), *([abreast] if abreast else [])]
    reading = _read(task, watchers, stop, progress)
    notices = reading.notices
    if not reading.accepted and reading.is_whole:
        notices = (*notices, f"{task.name}: no line could be used; `secondplot survey` says what is in it")
    groups: list[Group]
    if near is not None:
        groups = [(one.settings, one.changes) for one in told(near, settings.alerts)]
    else:
        groups = list(_by_vessel(abreast)) if abreast else []
    alerted = frozenset(change.target for _, changes in groups for change in changes)
    beside = known.beside(task.paths[0]) if task.by_truth and len(task.paths) == 1 and task.passage_id is None else None
    truth = known.read(beside) if beside else None
    judge = Judge(task.name, tracks, task.within_nm, task.close_nm, truth)
    encounters = judge.encounters(alerted)
    sheet = Sheet(len(every), encounters)
    for chosen, changes in groups:
        sheet.mark(np.array(chosen), stretches(changes))
    return Outcome(
        name=task.name,
        hours=tracks.hours(),
        lines=reading.lines,
        is_whole=reading.is_whole,
        has_truth=truth is not None,
        untracked=judge.untracked(encounters) if reading.is_whole else (),
        encounters=tuple(encounters),
        warned_min=sheet.warned_min,
        raised=sheet.raised,
        nuisance=sheet.nuisance,
        again=sheet.again,
        alarm_s=sheet.alarm_s,
        elsewhere=sheet.elsewhere,
        in_alarm_s=sheet.in_alarm_s(),
        notices=notices,
    )


def _read(task: Task, watchers: Sequence[Watcher], stop: threading.Event | None, progress: Progress | None) -> Reading:
    if task.passage_id is not None:
        return archived.read(task.paths[0], task.passage_id, task.settings, watchers, stop=stop, progress=progress)
    return read(
        task.paths,
        task.settings,
        watchers,
        rate=task.rate,
        require_checksum=task.require_checksum,
        stop=stop,
        progress=progress,
    )


def _by_vessel(abreast: Abreast) -> Iterator[Group]:
    """An alert that was carried from one target to another has its beginning on the one and its end on the other."""
    head = heads_of(abreast.carried)
    for setting, watch in enumerate(abreast.watches):
        of: dict[str, list[Change]] = {}
        for change in watch.changes.all:
            of.setdefault(head.get(change.target, change.target), []).append(change)
        yield from (((setting,), changes) for changes in of.values())


class Sheet:
    """The figures of each setting (row) for each encounter (column); `elsewhere`, alerts that belong to none."""

    def __init__(self, settings: int, encounters: Sequence[Encounter]) -> None:
        shape = (settings, len(encounters))
        self.warned_min = np.full(shape, np.nan)
        self.raised = np.zeros(shape, dtype=np.int32)
        self.nuisance = np.zeros(shape, dtype=np.int32)
        self.again = np.zeros(shape, dtype=np.int32)
        self.alarm_s = np.zeros(shape)
        self.elsewhere = np.zeros(settings, dtype=np.int32)
        self._encounters = encounters
        self._of: dict[str, list[int]] = {}
        self._stretches: list[Floats] = []  # rows of setting, from, until
        for column, encounter in enumerate(encounters):
            for key in encounter.keys:
                self._of.setdefault(key, []).append(column)

    def mark(self, chosen: npt.NDArray[np.intp], found: Iterable[Stretch]) -> None:
        """What was told of one target under these settings."""
        by_column: dict[int, list[Stretch]] = {}
        found = list(found)
        times = np.array([(one.from_s, one.until_s) for one in found]).reshape(-1, 2)
        self._stretches.append(np.column_stack([np.repeat(chosen, len(found)), np.tile(times, (len(chosen), 1))]))
        for stretch in found:
            column = self._column(stretch)
            if column is None:
                self.elsewhere[chosen] += 1
            else:
                by_column.setdefault(column, []).append(stretch)
        for column, some in by_column.items():
            self._mark(chosen, column, some)

    def in_alarm_s(self) -> Floats:
        """Time in which at least one alert was active, (S,): stretches that overlap are counted once."""
        parts = self._stretches or [np.zeros((0, 3))]
        setting, from_s, until_s = np.concatenate(parts).T
        order = np.lexsort((until_s, from_s, setting))
        setting, from_s, until_s = setting[order].astype(np.intp), from_s[order], until_s[order]
        # Every setting's times are put behind those of the one before, so that one running maximum serves all.
        apart = setting * (float(until_s.max(initial=0.0)) + 1.0)
        reached = np.maximum.accumulate(until_s + apart) - apart
        before = np.where(np.diff(setting, prepend=-1) == 0, np.concatenate([[0.0], reached[:-1]]), -np.inf)
        alone = np.maximum(until_s - np.maximum(from_s, before), 0.0)
        return np.bincount(setting, weights=alone, minlength=len(self.elsewhere)).astype(np.float64)

    def _column(self, stretch: Stretch) -> int | None:
        """The encounter that an alert belongs to: the one that goes on when it begins, else the next, else the last."""
        columns = self._of.get(stretch.target)
        if not columns:
            return None
        return next((c for c in columns if stretch.from_s < self._encounters[c].until_s), columns[-1])

    def _mark(self, chosen: npt.NDArray[np.intp], column: int, some: Sequence[Stretch]) -> None:
        encounter = self._encounters[column]
        raised = np.int32(len(some))
        before = self.raised[chosen, column] > 0
        self.again[chosen, column] += raised - 1 + before
        self.raised[chosen, column] += raised
        self.alarm_s[chosen, column] += sum(one.until_s - one.from_s for one in some)
        if encounter.verdict is Verdict.CLEAR:
            self.nuisance[chosen, column] += sum(not encounter.was_danger(one.from_s) for one in some)
        warned = warned_min(some, encounter.closest_s)
        if warned is not None:
            self.warned_min[chosen, column] = np.fmax(self.warned_min[chosen, column], warned)


def warned_min(found: Sequence[Stretch], closest_s: float) -> float | None:
    """How long before the closest approach the alert came that then stood; None where none did."""
    since_s: float | None = None
    until_s = -np.inf
    for one in sorted(found, key=lambda stretch: stretch.from_s):
        if one.from_s > closest_s:
            break
        if since_s is None or one.from_s - until_s > GONE_ON_S:
            since_s = one.from_s
        until_s = max(until_s, one.until_s)
    if since_s is None or until_s < closest_s - STANDING_S:
        return None
    return (closest_s - since_s) / 60.0
