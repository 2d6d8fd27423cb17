"""What the rules remember of one target."""

from msgspec import Struct, field

from alerts.events import Plot
from alerts.rules.latch import Latch

DANGERS = ("closest_approach", "steady_bearing", "bow_crossing")
"""Rules whose alert on a target stays, as lost, when its plots stop. Guard zones too, by zone."""


class Followed(Struct):
    """The last plot, a latch for each rule, and what was last told of the danger.

    `in_grace` holds the zones that the target was inside when the watch began.
    """

    plot: Plot
    first_s: float
    closest: Latch = field(default_factory=Latch)
    steady: Latch = field(default_factory=Latch)
    bow: Latch = field(default_factory=Latch)
    manoeuvre: Latch = field(default_factory=Latch)
    new: Latch = field(default_factory=Latch)
    zones: dict[str, Latch] = field(default_factory=dict)
    in_grace: set[str] = field(default_factory=set)
    told_cpa_nm: float | None = None
    told_again: bool = False
    is_lost: bool = False

    def take_over(self, other: "Followed") -> None:
        """What the vessel's other track has found holds for her: latches that are set there, and what has been told."""
        for name in ("closest", "steady", "bow", "manoeuvre", "new"):
            setattr(self, name, _further(getattr(self, name), getattr(other, name)))
        for zone, latch in other.zones.items():
            self.zones[zone] = _further(self.zones.get(zone, latch), latch)
        if self.told_cpa_nm is None:
            self.told_cpa_nm, self.told_again = other.told_cpa_nm, other.told_again
        self.first_s = min(self.first_s, other.first_s)
        self.in_grace |= other.in_grace


def _further(mine: Latch, theirs: Latch) -> Latch:
    """The latch that has come further: set, else inside for longer."""
    if mine.is_set or not (theirs.is_set or theirs.since_s is not None):
        return mine
    if theirs.is_set or mine.since_s is None or (theirs.since_s or 0.0) < mine.since_s:
        return theirs
    return mine
