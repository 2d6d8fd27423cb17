"""Ours held against the sets' own answers: the door to the cross-check. Each radar feed is a set of its own.

The work is done in crosscheck_set.py; method and causes stand there.
"""

from alerts.plotting.crosscheck_case import Answered
from alerts.plotting.crosscheck_own import OwnWatch
from alerts.plotting.crosscheck_set import CommonFault, SetCheck
from alerts.plotting.kinematics import Estimate, OwnMotion
from alerts.plotting.terms import Check
from parsers.observations import SetAndDrift, TargetReport, WaterMotion

FEEDS = 16
"""Radar feeds that are checked; the targets of any more are not."""


class CrossCheck:
    """The cross-check of all radar feeds. Calls must come in the order of time."""

    def __init__(self) -> None:
        self._own = OwnWatch()
        self._sets: dict[str, SetCheck] = {}

    def see_own(self, own: OwnMotion, water: WaterMotion | None, stream: SetAndDrift | None) -> None:
        """Own ship, once a second or so, with her log and the stream as entered, if there: tells water from ground."""
        self._own.see(own)
        self._own.see_water(own, water, stream)

    def compare(
        self, target: str, report: TargetReport | None, estimate: Estimate, answer: Answered, own: OwnMotion
    ) -> tuple[Check, str | None]:
        """Takes one report in and says how the set's answer stands to ours. `estimate` is for the report's time.

        `report` is None where the set gave only a position (TLL).
        """
        if report is None:
            return Check.NOT_REPORTED, None
        self._own.see(own)
        feed = report.source.feed
        if feed not in self._sets:
            if len(self._sets) >= FEEDS:
                return Check.NOT_REPORTED, None
            self._sets[feed] = SetCheck(self._own)
        return self._sets[feed].compare(target, report, estimate, answer, own)

    def renumbered(self, target: str, at_s: float) -> None:
        """The set has moved this target's number to it from another vessel (reused or exchanged)."""
        for check in self._sets.values():
            check.renumbered(target, at_s)

    def forget(self, target: str) -> None:
        """The track has ended."""
        for check in self._sets.values():
            check.forget(target)

    def common_fault(self, feed: str | None = None) -> CommonFault | None:
        """The fault that all targets of a feed share now; with no feed named, the first that any has. Or None."""
        if feed is not None:
            return self._sets[feed].common_fault() if feed in self._sets else None
        faults = (check.common_fault() for check in self._sets.values())
        return next((fault for fault in faults if fault is not None), None)

    @property
    def cases(self) -> int:
        """Targets remembered, bounded for each feed by crosscheck_set.CASES."""
        return sum(check.cases for check in self._sets.values())
