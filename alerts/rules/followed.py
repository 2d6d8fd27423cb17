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
