"""What becomes of a target's report: the words for it, and what the report alone tells beside its track."""

from enum import StrEnum

from msgspec import Struct

from alerts.plotting import echoes
from alerts.plotting.kept import Kept
from alerts.plotting.kinematics import Estimate, Look
from alerts.plotting.terms import TrackState
from parsers.observations import TargetPosition, TargetReport, TargetStatus

DISORDER_S = 10.0
"""A time of data that goes back by less than this within a number is an old report; by more, the clock was put."""

ONE_BURST_S = 0.5
"""Sentences of one target that come within this are one measurement said twice."""


class Ending(StrEnum):
    """Why a track has ended."""

    REUSED = "number reused"
    EXCHANGED = "numbers exchanged"
    FORGOTTEN = "not seen again"
    CROWDED_OUT = "no room"


class Ignored(StrEnum):
    """Why a report gave no measurement."""

    MARK = "a mark without a number"
    NO_MEASUREMENT = "no range and bearing"
    NOT_TRACKED = "lost before it was tracked"
    LOST = "reported lost"
    SAME_MEASUREMENT = "the same measurement again"
    SECOND_SOURCE = "another source tracks it"
    OUT_OF_ORDER = "older than the last report"
    JUMP = "off its track, held until confirmed"
    CONTESTED = "off its track again and again"


class Ended(Struct, frozen=True):
    track: str
    why: Ending


class Placed(Struct, frozen=True, kw_only=True):
    """Where a report belongs. `estimate` is None, and `ignored` says why, unless a measurement was taken.

    `continues` names the track whose echo a new one carries on, when numbers were exchanged. `lost` is True once, on
    the report by which the set gives the target up; `reacquired` on the first measurement after it was out of sight.
    `duplicate_of` names the elder track on the same vessel: alerts are raised for that one alone.
    An old measurement that is sent again and again has an estimate too, which goes on from the last new one and whose
    state tells coasting or lost: the track ages until a new measurement comes.
    """

    track: str | None
    ignored: Ignored | None = None
    estimate: Estimate | None = None
    is_new: bool = False
    continues: str | None = None
    lost: bool = False
    reacquired: bool = False
    is_test: bool = False
    duplicate_of: str | None = None
    ended: tuple[Ended, ...] = ()


def contest_told(track: str) -> str:
    """What to tell the watch of a number that two targets share."""
    return (
        f"{track}: every other report of this number is of an echo elsewhere, which is not plotted and raises no "
        "alert; two sets on one feed? Give each a feed of its own"
    )


def exchange_told(placed: Placed) -> str | None:
    """What to tell the watch of a track that carries another's echo on; None if there is nothing."""
    if placed.continues is None:
        return None
    return f"{placed.track}: the set has moved this number to the vessel that was {placed.continues}; her plot goes on"


def double_told(track: str, elder: str) -> str:
    """What to tell the watch of one vessel under two numbers."""
    return f"{track} and {elder} look like one vessel under two numbers: alerts are raised for {elder} alone"


class Change(Struct, frozen=True):
    """What the passing of time did to a track: coasting, lost, or ended (`ended` is then not None)."""

    track: str
    state: TrackState
    ended: Ending | None = None


def speaks_second(kept: Kept, report: TargetReport | TargetPosition) -> bool:
    """Whether the report is by another voice than the one whose measurements are taken. A position never takes over
    from a report; a report takes over from a position at once."""
    if isinstance(report, TargetReport) and kept.source.formatter == "TLL":
        return False
    return report.source != kept.source


def not_a_measurement(kept: Kept, report: TargetReport | TargetPosition, look: Look) -> Ignored | None:
    """Why a report brings nothing new to its track; None where it is a measurement of its own."""
    if report.source != kept.source and look.at_s - kept.last_s <= ONE_BURST_S:
        if not speaks_second(kept, report):
            kept.source = report.source
        return Ignored.SAME_MEASUREMENT
    if speaks_second(kept, report) and kept.is_fresh(look.at_s):
        return Ignored.SECOND_SOURCE
    if look.at_s < kept.last_s or _is_older(kept, report):
        return Ignored.OUT_OF_ORDER
    if echoes.same_measurement(kept.last_look, look):
        same_time = report.time_of_day_s is not None and report.time_of_day_s == kept.time_of_day_s
        # When it comes again and again it is stale data, and shown as such: see Kept.take.
        if look.at_s == kept.last_s or (same_time and look.at_s - kept.last_s <= kept.rhythm.coasting_after_s):
            return Ignored.SAME_MEASUREMENT
    return None


def _is_older(kept: Kept, report: TargetReport | TargetPosition) -> bool:
    if report.time_of_day_s is None or kept.time_of_day_s is None:
        return False
    forward_s = (report.time_of_day_s - kept.time_of_day_s + 43200) % 86400 - 43200
    return -DISORDER_S < forward_s < 0


def is_a_break(kept: Kept, report: TargetReport | TargetPosition, look: Look) -> bool:
    """Whether the set itself marks a new beginning, or the number was silent for long."""
    begins = report.status is TargetStatus.ACQUIRING and kept.status is not TargetStatus.ACQUIRING
    return kept.is_lost or begins or look.at_s - kept.last_s > kept.rhythm.lost_after_s
