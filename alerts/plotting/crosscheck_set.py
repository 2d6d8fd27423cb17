"""One set's answers held against ours, over all its targets, and the cause named where they differ.

Causes are tested in this order, and the first that holds is named: still settling; an alteration of the target or of
own ship; stale or repeated data; a wrong unit or reference; motion through the water; a wrong heading or speed input to
the set; a fault of this target alone. The last four are looked for over all targets together (crosscheck_common.py).
Nothing is called `differs` on single reports: see the windows and holds here and in crosscheck_samples.py.
"""

from collections import OrderedDict
from typing import NamedTuple

from msgspec import Struct

from alerts.plotting import crosscheck_common as common
from alerts.plotting import crosscheck_words as words
from alerts.plotting.crosscheck_case import Answered, Case, reported_by
from alerts.plotting.crosscheck_common import Kind, Leg, Reading
from alerts.plotting.crosscheck_own import RECENT_S, SETTLE_S, OwnWatch
from alerts.plotting.crosscheck_samples import Mean, SetNoise, Vector, toward
from alerts.plotting.kinematics import Estimate, OwnMotion
from alerts.plotting.terms import Check, TrackState
from parsers.observations import MotionReference, TargetReport, TargetStatus

CASES = 1024
"""Targets remembered; the least recently reported is forgotten first."""

JUDGE_S = 2.0
"""All targets are held against each other at most this often."""

FRESH_S = 30.0
"""A target reported within this counts among 'all targets'."""

HOLD_S = 10.0
CLEAR_S = 30.0
"""A common fault is named when it has been found for HOLD_S, dropped when it has been missed for CLEAR_S."""

MOST_LEGS = 8

READING_SLACK = 14.0
"""A wrong reading may fit worse than the best common vector by this chi-square: the two figures of the vector take up
errors (yaw, the set's own sensors) that a reading leaves in. One in a thousand by chance."""


class CommonFault(Struct, frozen=True):
    """A fault that all targets share (for the rule `cross_check`, once and not for each target).

    `vector_kn` and `toward_deg` are the common vector, the set's motion less ours; 0 where a reading is wrong.
    """

    kind: Kind
    text: str
    vector_kn: float
    toward_deg: float
    targets: tuple[str, ...]
    since_s: float


class _Found(NamedTuple):
    kind: Kind
    reading: Reading | None
    vector: Vector
    leg: Leg | None
    targets: tuple[str, ...]
    total: int


class SetCheck:
    """The cross-check of one radar feed's targets. Own ship is seen by CrossCheck, for all feeds."""

    def __init__(self, own: OwnWatch) -> None:
        self._cases: OrderedDict[str, Case] = OrderedDict()
        self._noise = SetNoise()
        self._own = own
        self._legs: dict[int, Leg] = {}
        self._judged_s: float | None = None
        self._found: _Found | None = None
        self._found_since_s = self._found_last_s = 0.0
        self._fault: CommonFault | None = None
        self._shown = {
            "size": words.Steady(0.3),
            "toward": words.Steady(7.0, 0, full_circle=True),
            "along": words.Steady(0.3),
            "turn": words.Steady(2.0, 0),
        }

    # ------------------------------------------------------------------------------------------ taking in

    def renumbered(self, target: str, at_s: float) -> None:
        """The set has moved this target's number to it from another vessel (reused or exchanged)."""
        self._case(target).renumbered_s = at_s

    def forget(self, target: str) -> None:
        """The track has ended."""
        self._cases.pop(target, None)

    def compare(
        self, target: str, report: TargetReport, estimate: Estimate, answer: Answered, own: OwnMotion
    ) -> tuple[Check, str | None]:
        """Takes one report in and says how the set's answer stands to ours."""
        at_s = report.at_s
        case = self._case(target)
        case.see(report)
        if report.status is TargetStatus.LOST:
            return Check.SETTLING, words.SET_LOST
        if report.status is TargetStatus.ACQUIRING:
            return Check.SETTLING, words.SET_ACQUIRING
        if not estimate.settled:
            case.pause()
            return self._unsettled(at_s, estimate)
        reported = reported_by(report, own, self._own.stream(at_s))
        if reported.is_empty:
            return Check.NOT_REPORTED, words.NOTHING_REPORTED if reported.is_comparable else words.NOTHING_COMMON
        altering = estimate.state is TrackState.MANOEUVRING or _within(estimate.manoeuvre_at_s, at_s, SETTLE_S)
        if altering or self._own.altered_within(at_s, SETTLE_S):
            case.pause()
        else:
            case.take(reported, report, estimate, answer, own, self._noise)
        self._judge(at_s)
        stale = case.stale(report, estimate, own)
        return (Check.DIFFERS, stale) if stale else self._verdict(target, case, at_s, estimate)

    def common_fault(self) -> CommonFault | None:
        """The fault that all targets share now, or None."""
        return self._fault

    @property
    def cases(self) -> int:
        """Targets remembered."""
        return len(self._cases)

    def _case(self, target: str) -> Case:
        case = self._cases.get(target)
        if case is None:
            case = self._cases[target] = Case()
            if len(self._cases) > CASES:
                self._cases.popitem(last=False)
        self._cases.move_to_end(target)
        return case

    # ------------------------------------------------------------------------------------------ one target

    def _unsettled(self, at_s: float, estimate: Estimate) -> tuple[Check, str]:
        if self._own.altered_within(at_s, RECENT_S):
            return Check.SETTLING, words.WE_ALTERED
        if _within(estimate.manoeuvre_at_s, at_s, RECENT_S):
            return Check.SETTLING, words.TARGET_ALTERED
        return Check.SETTLING, words.WE_SETTLE

    def _verdict(self, target: str, case: Case, at_s: float, estimate: Estimate) -> tuple[Check, str | None]:
        fault = self._fault
        if fault is not None and target in fault.targets:
            return Check.DIFFERS, fault.text
        if not case.judge(at_s, self._noise):
            doubt = case.doubt(at_s)
            return (Check.AGREES, None) if doubt is None else (Check.SETTLING, doubt)
        if case.tracked_s(at_s) < RECENT_S:
            return Check.SETTLING, words.SET_SETTLING
        if _within(estimate.manoeuvre_at_s, at_s, RECENT_S):
            return Check.SETTLING, words.TARGET_ALTERED
        if self._own.altered_within(at_s, RECENT_S):
            return Check.SETTLING, words.WE_ALTERED
        if self._found is not None:
            return Check.SETTLING, None  # a common cause is being looked into: seconds
        return Check.DIFFERS, self._alone(target, case, at_s)

    def _alone(self, target: str, case: Case, at_s: float) -> str:
        if _within(case.renumbered_s, at_s, RECENT_S):
            return words.RENUMBERED
        mean = case.window.mean(at_s, self._noise)
        if mean is None or not case.motion_differs:
            return words.passing(*case.passing_differs())
        theirs = mean.ours.plus(mean.difference)
        others = 0
        for name, mine in self._means(at_s):
            if name == target:
                continue
            others += mine.distance2 < common.FITS2
            if mine.ours.less(mean.ours).size > 2 * common.LEAST_COMMON_KN and (
                mean.spread.distance2(theirs.less(mine.ours)) < common.FITS2 / 2
            ):
                return words.takes_for(name)
        size, course = case.shown_difference(mean.difference)
        return words.alone(size, course, others)

    # ------------------------------------------------------------------------------------------ all targets

    def _means(self, at_s: float) -> list[tuple[str, Mean]]:
        """The targets that can be held against each other now."""
        fresh = []
        for name, case in self._cases.items():
            if at_s - case.last_s <= FRESH_S:
                mean = case.window.mean(at_s, self._noise)
                if mean is not None:
                    fresh.append((name, mean))
        return fresh

    def _judge(self, at_s: float) -> None:
        if self._judged_s is not None and 0 <= at_s - self._judged_s < JUDGE_S:
            return
        self._judged_s = at_s
        if self._own.altered_within(at_s, SETTLE_S):
            return  # nothing is seen clearly now: what was found stands
        found = self._look(at_s)
        if found is None:
            if self._found is not None and at_s - self._found_last_s > (CLEAR_S if self._fault else HOLD_S):
                self._found = self._fault = None
            return
        if self._found is None:
            self._found_since_s = at_s
        self._found, self._found_last_s = found, at_s
        if self._fault is not None or at_s - self._found_since_s >= HOLD_S:
            self._fault = self._name(found)

    def _look(self, at_s: float) -> _Found | None:
        named = self._means(at_s)
        means = [mean for _, mean in named]
        reading = common.wrong_reading(means)
        shared = common.common_vector(means)
        if reading is None and shared is None:
            return None  # nearly always
        if sum(mean.is_steady() for mean in means) < common.SHARE * len(means):
            return None
        if reading is not None and (shared is None or self._explains(reading, means, shared)):
            return _misread(reading, tuple(name for name, _ in named), len(named))
        if shared is None:
            return None
        try:
            reading = common.reading_of(shared, means[0].own)
        except common.Undecided:
            return None
        if reading is not None:
            return _misread(reading, tuple(named[i][0] for i in shared.members), len(named))
        leg = self._leg(shared, means, at_s)
        if leg is None:
            return None
        members = tuple(named[i][0] for i in shared.members)
        return _Found(common.cause_of(list(self._legs.values())), None, shared.vector, leg, members, len(means))

    def _explains(self, reading: Reading, means: list[Mean], shared: common.Common) -> bool:
        """Whether a wrong reading is as good as the common vector, which has two figures to fit with."""
        off = [mean.difference.less(common.expected(reading, mean) or Vector(0, 0)) for mean in means]
        misfit = sum(mean.spread.distance2(difference) for mean, difference in zip(means, off, strict=True))
        fit = sum(mean.spread.distance2(mean.difference.less(shared.vector)) for mean in means)
        return misfit <= fit + READING_SLACK

    def _leg(self, shared: common.Common, means: list[Mean], at_s: float) -> Leg | None:
        headings = [mean.heading_deg for mean in means if mean.heading_deg is not None]
        own = means[0].own
        heading = headings[0] if headings else own.course_deg
        leg = Leg(shared.vector, shared.spread, own, heading, self._own.stream(at_s))
        self._legs.pop(self._own.leg, None)
        self._legs[self._own.leg] = leg
        if len(self._legs) > MOST_LEGS:
            del self._legs[min(self._legs)]
        return leg

    def _name(self, found: _Found) -> CommonFault:
        size = self._shown["size"].show(found.vector.size)
        course = self._shown["toward"].show(found.vector.course_deg) % 360
        count = len(found.targets)
        if found.leg is None:
            assert found.reading is not None
            text = words.misread(found.reading, count, found.total)
            size = course = 0.0
        elif self._own.frame is MotionReference.WATER and found.kind is not Kind.SPEED_INPUT:
            text = words.through_water(count, found.total, size, course)
        else:
            along = self._shown["along"].show(found.leg.vector.dot(toward(found.leg.heading_deg, 1.0)))
            turn = self._shown["turn"].show(words.heading_fault(found.leg))
            why = words.because(found.kind, found.leg, along, turn, found.leg.stream is not None)
            joint = ", " if found.kind is not Kind.UNCLEAR else ": "
            text = words.shared(count, found.total, size, course) + joint + why
        return CommonFault(found.kind, text, size, course, tuple(sorted(found.targets)), self._found_since_s)


def _misread(reading: Reading, targets: tuple[str, ...], total: int) -> _Found:
    return _Found(common.KIND_OF.get(reading, Kind.REFERENCE), reading, Vector(0, 0), None, targets, total)


def _within(then_s: float | None, now_s: float, seconds: float) -> bool:
    return then_s is not None and now_s - then_s <= seconds
