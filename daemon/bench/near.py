"""Collects the plots near any of the limits of closest_approach, as columns; the others can change no alert.

A latch that is neither set nor pending stays so until a plot enters the limits. So a target's plots are kept from the
first that may enter the loosest limits until every latch must have fallen, and forgotten until the next that may.
What is kept is small: the figures that the rule looks at, and the chance of passing inside each of the limits swept.
"""

from collections.abc import Sequence
from enum import StrEnum

import numpy as np
import numpy.typing as npt
from msgspec import Struct

from alerts.events import Moment, Plot
from alerts.lookout import LookoutSettings
from alerts.plotting.chance import inside_probability
from alerts.plotting.kinematics import Estimate, OwnMotion
from alerts.plotting.motion import relative_states
from alerts.plotting.terms import TrackState
from alerts.rules import approach
from alerts.rules.approach import Figures
from alerts.rules.findings import Finding
from alerts.rules.situation import Situation
from alerts.settings import DEFAULT_CONDITIONS, Basis
from daemon.bench.limits import Columns, Floats, loosest_of
from daemon.bench.observer import Watcher

BATCH = 4096
"""Plots judged together."""

LANES = 8
"""The chances are worked in whole groups of so many rows, as `assess` works them."""

Which = npt.NDArray[np.int16]


class Stint(Struct):
    """A target from its first plot until the picture lets it go. `stretch`: the one that is open, if any."""

    target: str
    is_lost: bool = False
    stretch: int | None = None
    out_since_s: float | None = None


class What(StrEnum):
    LOST = "lost"
    GONE = "gone"
    CARRIED = "carried"
    OFF = "off"  # the rule, in the condition that is now in force; of all targets


class Turn(Struct, frozen=True, gc=False):
    """What befalls a target, but not at a plot: its data stopped, it was let go, or it was found to be another.

    `into` is that other.
    """

    seq: int
    moment: Moment
    what: What
    target: str
    into: str = ""


class Rows(Struct, frozen=True):
    """Kept plots in the order of the recording, columns (N,); `chances` (N, L) in thousandths, -1 for none."""

    seq: npt.NDArray[np.int64]
    at_s: Floats
    utc_ms: npt.NDArray[np.int64]
    condition: Which
    stretch: npt.NDArray[np.int32]
    cpa_nm: Floats
    tcpa_min: Floats
    reported_cpa_nm: Floats
    reported_tcpa_min: Floats
    chances: npt.NDArray[np.int16]

    def taken(self, index: npt.NDArray[np.intp]) -> "Rows":
        return Rows(*(getattr(self, name)[index] for name in self.__struct_fields__))

    def figures(self, cpa_at: npt.NDArray[np.intp]) -> Figures:
        """As the rule takes them: (N, 1); the chance (N, S) at limits that stand at `cpa_at`, (1, S) or (N, S)."""
        rows = np.arange(len(self.at_s))[:, None]
        nan = np.nan
        return Figures(
            nan,
            self.cpa_nm[:, None],
            self.tcpa_min[:, None],
            self.chances[rows, cpa_at] / 1000.0,
            nan,
            nan,
            nan,
            nan,
            self.reported_cpa_nm[:, None],
            self.reported_tcpa_min[:, None],
        )


class Ticks(Struct, frozen=True):
    """Each tick's place in the order, its second and its label."""

    seq: npt.NDArray[np.int64]
    at_s: Floats
    utc_ms: npt.NDArray[np.int64]


class _Waiting(Struct, frozen=True, gc=False):
    stint: Stint
    seq: int
    moment: Moment
    condition: int
    figures: Figures
    estimate: Estimate
    own: OwnMotion


class Near(Watcher):
    """The plots near the limits, and every tick that can matter. Read it after `close`."""

    def __init__(self, settings: LookoutSettings, columns: Columns) -> None:
        super().__init__(settings.alerts, settings.conditions or DEFAULT_CONDITIONS, settings.condition)
        self.columns = columns
        self.turns: list[Turn] = []
        self.stretches: list[Stint] = []  # whose each stretch is
        self.end: Moment | None = None
        self._loosest = loosest_of(columns)
        self._stints: dict[str, Stint] = {}
        self._seq = 0
        self._condition = columns.conditions.index(settings.condition)
        self._ticks: list[tuple[int, float, int]] = []
        self._packed_ticks: list[npt.NDArray[np.float64]] = []
        self._waiting: list[_Waiting] = []
        self._kept: list[Rows] = []

    # ------------------------------------------------------------------------------------------- what is seen

    def see_plot(self, moment: Moment, plot: Plot) -> list[Finding]:
        self._seq += 1
        stint = self._stints.get(plot.target)
        if stint is None:
            stint = self._stints[plot.target] = Stint(plot.target)
        stint.is_lost = False
        f = approach.figures(plot)
        self._waiting.append(_Waiting(stint, self._seq, moment, self._condition, f, self.estimate, self.look.own))
        if len(self._waiting) >= BATCH:
            self._judge()
        return []

    def tick(self, moment: Moment, situation: Situation) -> list[Finding]:
        self._seq += 1
        self._ticks.append((self._seq, moment.at_s, moment.time.utc_ms))
        if len(self._ticks) >= BATCH:
            self._pack_ticks()
        there = set()
        for health in situation.targets:
            stint = self._stints.get(health.target)
            if stint is None:
                continue
            there.add(stint.target)
            is_lost = health.track is TrackState.LOST
            if is_lost and not stint.is_lost:
                self.turns.append(Turn(self._seq, moment, What.LOST, stint.target))
            stint.is_lost = is_lost
        if len(there) < len(self._stints):
            for target in [target for target in self._stints if target not in there]:
                stint = self._stints.pop(target)
                if not stint.is_lost:
                    self.turns.append(Turn(self._seq, moment, What.LOST, target))
                self.turns.append(Turn(self._seq, moment, What.GONE, target))
        return []

    def carry(self, old: str, new: str) -> None:
        """The old target's latches go on for the new: what was near stays near."""
        self._seq += 1
        stint = self._stints.pop(old, None)
        if stint is None:
            return
        self._judge()  # whether a stretch is open is known only then
        mine = self._stints.get(new)
        if mine is None:
            mine = self._stints[new] = Stint(new)
            mine.is_lost = stint.is_lost
        if stint.stretch is not None:
            mine.out_since_s = None
            if mine.stretch is None:
                mine.stretch = self._open(mine)
        self.turns.append(Turn(self._seq, self.moment, What.CARRIED, old, new))

    def _open(self, stint: Stint) -> int:
        self.stretches.append(stint)
        return len(self.stretches) - 1

    def set_condition(self, name: str) -> list[Finding]:
        super().set_condition(name)
        self._seq += 1
        self._condition = self.columns.conditions.index(name)
        if not self.columns.is_on[self._condition]:
            self.turns.append(Turn(self._seq, self.moment, What.OFF, ""))
        return []

    def close(self, moment: Moment) -> None:
        self._judge()
        self._pack_ticks()
        self.end = moment

    # --------------------------------------------------------------------------------------- what was kept

    def ticks(self) -> Ticks:
        whole = np.concatenate([np.zeros((0, 3)), *self._packed_ticks])
        return Ticks(whole[:, 0].astype(np.int64), whole[:, 1].copy(), whole[:, 2].astype(np.int64))

    def rows(self) -> Rows:
        """All kept rows; the pieces are given up column by column, so that nothing is held twice for long."""
        if not self._kept:
            self._kept = [_no_rows(len(self.columns.cpas))]
        return Rows(*(np.concatenate([getattr(one, name) for one in self._kept]) for name in Rows.__struct_fields__))

    def _pack_ticks(self) -> None:
        if self._ticks:
            self._packed_ticks.append(np.array(self._ticks, dtype=np.float64))
            self._ticks = []

    def _judge(self) -> None:
        """Keeps what is near of the plots that wait."""
        waiting, self._waiting = self._waiting, []
        if not waiting:
            return
        condition = np.array([one.condition for one in waiting], dtype=np.int16)
        f = _batch_of(waiting)
        within = (f.tcpa_min >= 0) & (f.tcpa_min <= self._loosest.tcpa_min[condition])
        chances = _Chances(waiting, np.flatnonzero(within) if self._loosest.ours else np.zeros(0, np.intp))
        enter, keep = self._may(f, condition, chances)
        stretch = np.array(
            [self._follow(one, enter[row], keep[row]) for row, one in enumerate(waiting)], dtype=np.int32
        )
        index = np.flatnonzero(stretch >= 0)
        if not len(index):
            return
        some = [waiting[row] for row in index]
        self._kept.append(
            Rows(
                seq=np.array([one.seq for one in some], dtype=np.int64),
                at_s=np.array([one.moment.at_s for one in some]),
                utc_ms=np.array([one.moment.time.utc_ms for one in some], dtype=np.int64),
                condition=condition[index],
                stretch=stretch[index],
                cpa_nm=f.cpa_nm[index],
                tcpa_min=f.tcpa_min[index],
                reported_cpa_nm=f.reported_cpa_nm[index],
                reported_tcpa_min=f.reported_tcpa_min[index],
                chances=chances.thousandths(index, self.columns.cpas),
            )
        )

    def _may(self, f: "_Batch", condition: Which, chances: "_Chances") -> tuple[list[bool], list[bool]]:
        """Whether a plot may enter the limits of any setting, and whether it may keep any alert from clearing."""
        loose = self._loosest
        enter = np.zeros(len(condition), dtype=np.bool_)
        for which in np.unique(condition[chances.rows]):
            likely = chances.at(float(loose.cpa_nm[which])) >= loose.probability
            enter[chances.rows[likely & (condition[chances.rows] == which)]] = True
        if loose.theirs:
            cpa, tcpa = loose.cpa_nm[condition], loose.tcpa_min[condition]
            enter |= approach.closest_enter(f.figures(), cpa, tcpa, 0.5, Basis.REPORTED)
        basis = Basis.EITHER if loose.ours and loose.theirs else Basis.REPORTED if loose.theirs else Basis.RECOMPUTED
        stay_cpa, stay_tcpa = loose.stay_cpa_nm[condition], loose.stay_tcpa_min[condition]
        keep = enter | approach.closest_stay(f.figures(), stay_cpa, stay_tcpa, 1.0, basis)
        return enter.tolist(), keep.tolist()

    def _follow(self, one: _Waiting, enter: bool, keep: bool) -> int:
        """The stretch that this plot belongs to: it opens one, or the one that is open is not over yet. Else -1."""
        stint, at_s = one.stint, one.moment.at_s
        if stint.stretch is None:
            if not enter:
                return -1
            stint.stretch = self._open(stint)
        stretch = stint.stretch
        if keep:
            stint.out_since_s = None
        elif stint.out_since_s is None:
            stint.out_since_s = at_s
        if stint.out_since_s is not None and at_s - stint.out_since_s >= self._loosest.clear_hold_s:
            stint.stretch = stint.out_since_s = None
        return stretch


class _Batch(Struct, frozen=True):
    """The waiting plots' figures, columns (N,), NaN for unknown."""

    cpa_nm: Floats
    tcpa_min: Floats
    reported_cpa_nm: Floats
    reported_tcpa_min: Floats

    def figures(self) -> Figures:
        nan = np.nan
        return Figures(
            nan, self.cpa_nm, self.tcpa_min, nan, nan, nan, nan, nan, self.reported_cpa_nm, self.reported_tcpa_min
        )


def _batch_of(waiting: Sequence[_Waiting]) -> _Batch:
    some = [one.figures for one in waiting]
    table = np.array([(f.cpa_nm, f.tcpa_min, f.reported_cpa_nm, f.reported_tcpa_min) for f in some], dtype=np.float64)
    return _Batch(*np.ascontiguousarray(table.T))


class _Chances:
    """The chance of passing inside any limit, for those rows of a batch whose CPA may count."""

    def __init__(self, waiting: Sequence[_Waiting], rows: npt.NDArray[np.intp]) -> None:
        self.rows = rows
        self._size = len(waiting)
        some = [waiting[row] for row in rows]
        self._states = relative_states([one.estimate for one in some], [one.own for one in some]) if some else None

    def at(self, limit_nm: float) -> Floats:
        """Unrounded, for each of `rows`."""
        return self._worked(np.arange(len(self.rows)), limit_nm)

    def thousandths(self, index: npt.NDArray[np.intp], limits: Floats) -> npt.NDArray[np.int16]:
        """Rounded as in the plot, in thousandths, for these rows of the batch and each limit; -1 outside `rows`."""
        place = np.full(self._size, -1, dtype=np.intp)
        place[self.rows] = np.arange(len(self.rows))
        there = np.flatnonzero(place[index] >= 0)
        found = np.full((len(index), len(limits)), -1, dtype=np.int16)
        for column, limit_nm in enumerate(limits.tolist()):
            worked = self._worked(place[index[there]], limit_nm)
            found[there, column] = [round(round(chance, 3) * 1000.0) for chance in worked.tolist()]
        return found

    def _worked(self, rows: npt.NDArray[np.intp], limit_nm: float) -> Floats:
        if self._states is None or not len(rows):
            return np.zeros(0)
        whole = np.concatenate([rows, np.repeat(rows[-1:], -len(rows) % LANES)])
        return inside_probability(self._states.take(whole), limit_nm)[: len(rows)]


def _no_rows(limits: int) -> Rows:
    whole, real = np.zeros(0, np.int64), np.zeros(0)
    small = np.zeros(0, np.int32)
    return Rows(
        whole, real, whole, small.astype(np.int16), small, real, real, real, real, np.zeros((0, limits), np.int16)
    )
