"""The latches of one target under many settings, moved plot by plot: for targets that are carried into one another.

The same table of cases as alerts/rules/latch.py, whose `sweep` does a whole stretch of one target at once.
"""

import numpy as np
import numpy.typing as npt

Bools = npt.NDArray[np.bool_]
Floats = npt.NDArray[np.float64]


class Latches:
    """One latch for each of S settings, arrays (S,). NaN: not pending, not leaving."""

    def __init__(self, settings: int) -> None:
        self.is_set = np.zeros(settings, dtype=np.bool_)
        self.since_s = np.full(settings, np.nan)
        self.leaving_s = np.full(settings, np.nan)

    def advance(self, at_s: float, enter: Bools, stay: Bools, hold_s: Floats, clear_hold_s: Floats) -> Bools:
        """Moves all by one plot; answers which are set. `enter` counts as `stay`."""
        kept = enter | stay
        free = ~self.is_set
        self.since_s[free & ~kept] = np.nan
        self.since_s[free & enter & np.isnan(self.since_s)] = at_s
        self.leaving_s[self.is_set & kept] = np.nan
        self.leaving_s[self.is_set & ~kept & np.isnan(self.leaving_s)] = at_s
        rises = free & enter & (at_s - self.since_s >= hold_s)
        falls = self.is_set & ~kept & (at_s - self.leaving_s >= clear_hold_s)
        self.since_s[falls] = np.nan
        self.leaving_s[rises] = np.nan
        self.is_set = (self.is_set | rises) & ~falls
        return self.is_set

    def take_over(self, other: "Latches") -> None:
        """Of two latches of one vessel the one that has come further goes on, as in rules.followed: the one that is
        set, else the one that has been inside for longer."""
        theirs = ~self.is_set & (
            other.is_set | (~np.isnan(other.since_s) & (np.isnan(self.since_s) | (other.since_s < self.since_s)))
        )
        for name in ("is_set", "since_s", "leaving_s"):
            setattr(self, name, np.where(theirs, getattr(other, name), getattr(self, name)))
