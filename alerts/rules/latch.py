"""Hold and clear: when a condition that is true now becomes an alert, and when it stops being one.

One latch for each rule and target, moved by the target's plots alone. `enter`: inside the limits now. `stay`: not yet
beyond the wider limits at which it would be cleared. A plot that cannot be judged neither enters nor leaves: no data
is not safety. One plot outside the limits but inside the wider ones does not forget what is pending, because radar
plots jitter; the plot that raises must itself be inside. Neither does silence: a set that reports many targets in turn
comes round in more than half a minute, a moored station's AIS in three, and such a target must be told of too.

`advance` moves one latch; `sweep` moves one for each of many settings through the same plots. They are the same
table of cases, and a test holds them to the same answers.
"""

from enum import Enum

import numpy as np
import numpy.typing as npt
from msgspec import Struct


class Edge(Enum):
    """What a plot did to a latch."""

    ROSE = "rose"
    FELL = "fell"


class Latch(Struct):
    """`is_set`: the condition is an alert. `is_inside`: inside the limits at the last plot.

    `since_s`: inside since then. `leaving_s`: outside since then.
    """

    is_set: bool = False
    is_inside: bool = False
    since_s: float | None = None
    leaving_s: float | None = None

    @property
    def is_open(self) -> bool:
        """Set, or on its way: only then does it matter whether a plot that does not enter stays."""
        return self.is_set or self.since_s is not None


def advance(latch: Latch, at_s: float, enter: bool, stay: bool, hold_s: float, clear_hold_s: float) -> Edge | None:
    """Move one latch by one plot. `enter` counts as `stay`."""
    latch.is_inside = enter
    if latch.is_set:
        return _leave(latch, at_s, enter or stay, clear_hold_s)
    if not (enter or stay):
        latch.since_s = None
    if not enter:
        return None
    if latch.since_s is None:
        latch.since_s = at_s
    if at_s - latch.since_s < hold_s:
        return None
    latch.is_set, latch.leaving_s = True, None
    return Edge.ROSE


def _leave(latch: Latch, at_s: float, stay: bool, clear_hold_s: float) -> Edge | None:
    if stay:
        latch.leaving_s = None
        return None
    if latch.leaving_s is None:
        latch.leaving_s = at_s
    if at_s - latch.leaving_s < clear_hold_s:
        return None
    latch.is_set, latch.since_s = False, None
    return Edge.FELL


Truth = npt.NDArray[np.bool_]
Times = npt.NDArray[np.float64]


def sweep(at_s: Times, enter: Truth, stay: Truth, hold_s: Times, clear_hold_s: Times) -> Truth:
    """The latches of S settings over T plots of one target: `at_s` (T,), truths (T, S), holds (S,).

    Answers whether each is set after each plot, (T, S).
    """
    plots, settings = enter.shape
    is_set = np.zeros(settings, dtype=np.bool_)
    since = np.full(settings, np.nan)
    leaving = np.full(settings, np.nan)
    answer = np.zeros((plots, settings), dtype=np.bool_)
    for row in range(plots):
        now = at_s[row]
        inside = enter[row]
        kept = inside | stay[row]
        since[~is_set & ~kept] = np.nan
        since[~is_set & inside & np.isnan(since)] = now
        leaving[is_set & kept] = np.nan
        leaving[is_set & ~kept & np.isnan(leaving)] = now
        # NaN compares false: neither pending nor leaving.
        rises = ~is_set & inside & (now - since >= hold_s)
        falls = is_set & ~kept & (now - leaving >= clear_hold_s)
        since[falls] = np.nan
        leaving[rises] = np.nan
        is_set = (is_set | rises) & ~falls
        answer[row] = is_set
    return answer
