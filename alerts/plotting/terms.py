"""Words of the plot: the values that a plot, a rule or a reader may meet, each by its one name."""

from enum import StrEnum


class BearingTrend(StrEnum):
    """How the true bearing draws, toward our bow or our stern; steady: no drift that could be told from none."""

    STEADY = "steady"
    DRAWING_AHEAD = "drawing ahead"
    DRAWING_AFT = "drawing aft"
    UNSETTLED = "unsettled"


class Passing(StrEnum):
    """On which side of us the target cuts our heading line, if it holds on."""

    AHEAD = "ahead"
    ASTERN = "astern"
    COLLISION_COURSE = "collision course"
    OPENING = "opening"
    UNSETTLED = "unsettled"


class Encounter(StrEnum):
    """Geometry of COLREG Rules 13, 14 and 15, by sector; words only, never an order.

    The target is the subject: it is overtaking us, or it is being overtaken (by us). Rules 13 to 15 are for vessels in
    sight of one another; in restricted visibility the words of Rule 19 stand in their place.
    """

    HEAD_ON = "head-on"
    CROSSING_FROM_STARBOARD = "crossing from starboard"
    CROSSING_FROM_PORT = "crossing from port"
    OVERTAKING_US = "overtaking us"
    BEING_OVERTAKEN = "being overtaken"
    IN_DOUBT_OVERTAKING = "in doubt, assume overtaking"
    IN_DOUBT_HEAD_ON = "in doubt, assume head-on"
    RULE_19_FORWARD = "forward of the beam (Rule 19)"
    RULE_19_OVERTAKEN = "being overtaken (Rule 19)"
    RULE_19_ABAFT = "abeam or abaft the beam (Rule 19)"
    STATIONARY = "stationary"
    OPENING = "opening"
    UNSETTLED = "unsettled"


class Check(StrEnum):
    """Ours held against the set's own answer."""

    AGREES = "agrees"
    DIFFERS = "differs"
    SETTLING = "settling"
    NOT_REPORTED = "not reported"


class TrackState(StrEnum):
    """What the filter makes of a track; coasting: carried on without looks, lost: for too long."""

    SETTLING = "settling"
    STEADY = "steady"
    MANOEUVRING = "manoeuvring"
    COASTING = "coasting"
    LOST = "lost"


class AlertState(StrEnum):
    """IEC 62923-1 state names (second-hand, see docs/alerts.md)."""

    ACTIVE_UNACKNOWLEDGED = "active-unacknowledged"
    ACTIVE_SILENCED = "active-silenced"
    ACTIVE_ACKNOWLEDGED = "active-acknowledged"
    RECTIFIED_UNACKNOWLEDGED = "rectified-unacknowledged"
    NORMAL = "normal"


class Priority(StrEnum):
    """How urgent an alert is (IEC 62923-1): alarms and warnings sound, cautions are silent."""

    ALARM = "alarm"
    WARNING = "warning"
    CAUTION = "caution"

    @property
    def rank(self) -> int:
        """The more urgent, the greater: 0 for a caution, 2 for an alarm."""
        return _RANKS[self]


_RANKS = {Priority.CAUTION: 0, Priority.WARNING: 1, Priority.ALARM: 2}


class PairState(StrEnum):
    JOINED = "joined"
    PARTED = "parted"


class FeedState(StrEnum):
    """A feed that is up has been heard lately, a silent one has not; one that is down cannot be opened."""

    UP = "up"
    SILENT = "silent"
    DOWN = "down"
