"""The tracks of a recording, compact: enough of each target's looks to tell afterwards what really happened."""

from array import array
from bisect import bisect_right
from math import nan

import numpy as np
import numpy.typing as npt
from msgspec import Struct

from alerts.events import Moment, Plot
from alerts.lookout import LookoutSettings
from alerts.plotting.kinematics import Look, OwnMotion
from alerts.rules.findings import Finding
from alerts.rules.situation import Situation
from alerts.settings import DEFAULT_CONDITIONS
from daemon.bench.observer import Watcher
from parsers.observations import MotionReference

SPACING = ((1.5, 3.0), (6.0, 8.0), (float("inf"), 15.0))
"""Up to this range (NM), a look at least so far from the one before (seconds) is kept: a track needs no more."""

_FRAMES = tuple(MotionReference)
_WIDTH = 14


class Track(Struct, frozen=True):
    """One target's kept looks, in order, (N, 14)."""

    target: str
    name: str
    keys: tuple[str, ...]  # under which the watch had it: its own, and those that were carried into it
    table: npt.NDArray[np.float64]

    @property
    def at_s(self) -> npt.NDArray[np.float64]:
        return self.table[:, 0]

    @property
    def utc_ms(self) -> npt.NDArray[np.float64]:
        return self.table[:, 1]

    @property
    def range_nm(self) -> npt.NDArray[np.float64]:
        return self.table[:, 2]

    @property
    def bearing_deg(self) -> npt.NDArray[np.float64]:
        return self.table[:, 3]

    def looks(self, rows: npt.NDArray[np.intp]) -> list[Look]:
        """These rows as measurements again."""
        return [_look(*row) for row in self.table[rows].tolist()]


class Tracks(Watcher):
    """Keeps tracks, and which condition was in force when."""

    def __init__(self, settings: LookoutSettings) -> None:
        super().__init__(settings.alerts, settings.conditions or DEFAULT_CONDITIONS, settings.condition)
        self.conditions = settings.conditions or DEFAULT_CONDITIONS
        self._tables: dict[str, array[float]] = {}
        self._names: dict[str, str] = {}
        self._next_s: dict[str, float] = {}
        self._carried: dict[str, tuple[str, ...]] = {}
        self._since: list[float] = []
        self._in_force: list[str] = []
        self._last_s = 0.0

    def see_plot(self, moment: Moment, plot: Plot) -> list[Finding]:
        self._see_time(moment)
        if plot.name:
            self._names[plot.target] = plot.name
        if moment.at_s < self._next_s.get(plot.target, -1.0):
            return []
        look = self.look
        self._next_s[plot.target] = moment.at_s + next(s for nm, s in SPACING if look.range_nm <= nm)
        table = self._tables.get(plot.target)
        if table is None:
            table = self._tables[plot.target] = array("d")
        table.extend(_row(moment, look))
        return []

    def see_carried(self, moment: Moment, plot: Plot) -> list[Finding]:
        """No sight of her: no part of her track."""
        self._see_time(moment)
        return []

    def tick(self, moment: Moment, situation: Situation) -> list[Finding]:
        self._see_time(moment)
        return []

    def carry(self, old: str, new: str) -> None:
        """One vessel: her track goes on, or is the one that is longer there under the new key."""
        table = self._tables.pop(old, None)
        if table is not None:
            self._tables.setdefault(new, table)
        self._names.setdefault(new, self._names.get(old, ""))
        before = (*self._carried.get(new, ()), old, *self._carried.pop(old, ()))
        self._carried[new] = tuple(dict.fromkeys(before))

    def set_condition(self, name: str) -> list[Finding]:
        super().set_condition(name)
        self._since.append(self.moment.at_s)
        self._in_force.append(name)
        return []

    def close(self, moment: Moment) -> None:
        self._see_time(moment)

    def _see_time(self, moment: Moment) -> None:
        if not self._since:
            self._since.append(moment.at_s)
            self._in_force.append(self.condition)
        self._last_s = moment.at_s

    def condition_at(self, at_s: float) -> str:
        """Which condition was in force then."""
        if not self._since:
            return self.condition
        return self._in_force[max(0, bisect_right(self._since, at_s) - 1)]

    def hours(self) -> dict[str, float]:
        """How long each condition was in force."""
        hours: dict[str, float] = {}
        if not self._since:
            return hours
        for name, from_s, until_s in zip(self._in_force, self._since, [*self._since[1:], self._last_s], strict=True):
            hours[name] = hours.get(name, 0.0) + (until_s - from_s) / 3600.0
        return hours

    def all(self) -> list[Track]:
        """Every target's track, by its key."""
        found = []
        for key, table in sorted(self._tables.items()):
            keys = (key, *self._carried.get(key, ()))
            rows = np.frombuffer(table, dtype=np.float64).reshape(-1, _WIDTH)
            found.append(Track(key, self._names.get(key, ""), keys, rows))
        return found


def _row(moment: Moment, look: Look) -> tuple[float, ...]:
    own = look.own
    return (
        look.at_s,
        float(moment.time.utc_ms),
        look.range_nm,
        look.bearing_deg,
        look.bearing_sd_deg,
        own.east_nm,
        own.north_nm,
        own.east_kn,
        own.north_kn,
        own.velocity_sd_kn,
        float(_FRAMES.index(own.frame)),
        nan if own.heading_deg is None else own.heading_deg,
        own.heading_sd_deg,
        nan if own.turn_rate_deg_min is None else own.turn_rate_deg_min,
    )


def _look(
    at_s: float,
    _utc_ms: float,
    range_nm: float,
    bearing_deg: float,
    bearing_sd_deg: float,
    east_nm: float,
    north_nm: float,
    east_kn: float,
    north_kn: float,
    velocity_sd_kn: float,
    frame: float,
    heading_deg: float,
    heading_sd_deg: float,
    turn_rate_deg_min: float,
) -> Look:
    own = OwnMotion(
        at_s=at_s,
        east_nm=east_nm,
        north_nm=north_nm,
        east_kn=east_kn,
        north_kn=north_kn,
        velocity_sd_kn=velocity_sd_kn,
        frame=_FRAMES[int(frame)],
        heading_deg=None if heading_deg != heading_deg else heading_deg,
        heading_sd_deg=heading_sd_deg,
        turn_rate_deg_min=None if turn_rate_deg_min != turn_rate_deg_min else turn_rate_deg_min,
    )
    return Look(at_s=at_s, range_nm=range_nm, bearing_deg=bearing_deg, own=own, bearing_sd_deg=bearing_sd_deg)
