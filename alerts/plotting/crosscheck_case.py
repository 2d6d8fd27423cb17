"""One target under cross-check: what the set has said of it, since when, and whether that is outside tolerance."""

from collections import deque
from math import hypot
from statistics import median
from typing import Protocol

from msgspec import Struct

from alerts.plotting import crosscheck_words as words
from alerts.plotting import echoes
from alerts.plotting.crosscheck_samples import (
    FEWEST,
    FULL_S,
    LEAST_SPAN_S,
    SD_95,
    WINDOW_S,
    Sample,
    SetNoise,
    Vector,
    Wander,
    Window,
    toward,
)
from alerts.plotting.kinematics import Estimate, OwnMotion
from parsers.observations import MotionReference, Reference, TargetReport, TargetStatus

SOONEST_S = 30.0
"""Windows begin a little before the standard's first minute, as their mean is later."""

OUTSIDE2 = 20.0
INSIDE2 = 9.0
LEAST_KN = 1.0
"""A single target's motion differs beyond 4.5 standard deviations and a knot; it agrees again within three."""

HOLD_S = 20.0
CLEAR_S = 20.0

CPA_95_NM, TCPA_95_MIN = 0.3, 0.5
"""After 3 min of tracking (MSC.192(79), its single table; from memory)."""

PASSING_RATIO = 1.8
"""CPA and TCPA are outside beyond so many times their combined 95 % tolerance: three and a half standard
deviations."""

LEAST_CLOSING_KN = 4.0
LONGEST_TCPA_MIN = 30.0
"""Slower and later than this a CPA is made of errors: nothing is held against it."""

JUNK_SPEED_KN = 100.0
JUNK_TCPA_MIN = 1440.0

STALE_S = 20.0
"""The same range and bearing for so long is stale if the echo must have moved meanwhile (echoes.MOVED_NM)."""

FROZEN_S = 90.0
"""A TCPA in whole minutes moves once in 60 s; all figures the same for longer are old ones."""


class Answered(Protocol):
    """What is read of our own answer (alerts.plotting.motion.Answer)."""

    @property
    def cpa_nm(self) -> float | None: ...
    @property
    def cpa_sd_nm(self) -> float | None: ...
    @property
    def tcpa_min(self) -> float | None: ...
    @property
    def tcpa_sd_min(self) -> float | None: ...


class Reported(Struct, frozen=True, gc=False):
    """The set's usable figures; junk is None."""

    velocity: Vector | None
    cpa_nm: float | None
    tcpa_min: float | None
    is_comparable: bool  # False where our own motion is not known, so that true motions cannot be compared

    @property
    def is_empty(self) -> bool:
        return self.velocity is None and self.cpa_nm is None and self.tcpa_min is None


def reported_by(report: TargetReport, own: OwnMotion, stream: Vector | None) -> Reported:
    """The set's answer, with what cannot be one left out.

    Junk: more than 100 kn, a TCPA beyond a day or of exactly 99.99, a CPA beyond the range, CPA and TCPA both nought on
    a target that is not alongside. A set that says its motion is through the water is taken at its word: the stream is
    added, and where no stream is known only CPA and TCPA are compared.
    """
    comparable = own.frame is not MotionReference.UNKNOWN
    velocity = _velocity(report, own)
    through_water = report.motion_reference is MotionReference.WATER and own.frame is MotionReference.GROUND
    if velocity is not None and through_water:
        velocity = None if stream is None else velocity.plus(stream)
    cpa, tcpa = report.cpa_nm, report.tcpa_min
    if tcpa is not None and (abs(tcpa) > JUNK_TCPA_MIN or tcpa == 99.99):
        tcpa = None
    if cpa is not None and report.range_nm is not None and cpa > 1.05 * report.range_nm + 0.02:
        cpa = None
    if cpa == 0 and tcpa == 0 and (report.range_nm or 0) > 0.1:
        cpa = tcpa = None
    return Reported(velocity if comparable else None, cpa, tcpa, comparable)


def _velocity(report: TargetReport, own: OwnMotion) -> Vector | None:
    if report.speed_kn is None or report.speed_kn > JUNK_SPEED_KN:
        return None
    if report.course_deg is None:
        return Vector(0.0, 0.0) if report.speed_kn < 0.3 else None
    if report.course_reference is Reference.TRUE:
        return toward(report.course_deg, report.speed_kn)
    if report.course_reference is Reference.RELATIVE and own.heading_deg is not None:
        return toward(report.course_deg + own.heading_deg, report.speed_kn)
    return None


class _Passing(Struct, gc=False):
    """CPA and TCPA of one report, the set's (None: not reported) and ours, and what differences are held against."""

    at_s: float
    their_cpa_nm: float | None
    their_tcpa_min: float | None
    our_cpa_nm: float
    our_tcpa_min: float
    cpa_sd_nm: float
    tcpa_sd_min: float
    relative: Vector
    wander: Wander
    bearing_deg: float
    range_nm: float
    ratios: tuple[float | None, float | None] | None = None

    @property
    def cpa_nm(self) -> tuple[float, float] | None:
        """The set's and ours."""
        return None if self.their_cpa_nm is None else (self.their_cpa_nm, self.our_cpa_nm)

    @property
    def tcpa_min(self) -> tuple[float, float] | None:
        """The set's and ours."""
        return None if self.their_tcpa_min is None else (self.their_tcpa_min, self.our_tcpa_min)

    def is_far(self) -> bool:
        """Whether a difference may be outside: beyond what it may be in any case."""
        cpa, tcpa = self.their_cpa_nm, self.their_tcpa_min
        return (cpa is not None and abs(cpa - self.our_cpa_nm) > PASSING_RATIO * CPA_95_NM) or (
            tcpa is not None and abs(tcpa - self.our_tcpa_min) > PASSING_RATIO * TCPA_95_MIN
        )

    def over_tolerance(self) -> tuple[float | None, float | None]:
        """The differences of CPA and TCPA over their tolerance: the set's wandering velocity, carried on to the CPA, is
        in it. Worked out once, where it is asked for."""
        if self.ratios is None:
            spread, tcpa_min = self.wander.spread(self.bearing_deg, self.range_nm), self.our_tcpa_min
            closing, across_sd = self.relative.size, spread.sd_along(self.relative.turned(90))
            cpa_ratio = tcpa_ratio = None
            if self.their_cpa_nm is not None:
                carried = across_sd * tcpa_min / 60
                tolerance = hypot(CPA_95_NM, SD_95 * hypot(carried, self.cpa_sd_nm))
                cpa_ratio = (self.their_cpa_nm - self.our_cpa_nm) / tolerance
            if self.their_tcpa_min is not None:
                # d TCPA / d velocity: along the relative track TCPA over its speed; across it CPA over its square.
                along = spread.sd_along(self.relative) * tcpa_min / closing
                across = across_sd * self.our_cpa_nm * 60 / closing**2
                tolerance = hypot(TCPA_95_MIN, SD_95 * hypot(along, across, self.tcpa_sd_min))
                tcpa_ratio = (self.their_tcpa_min - tcpa_min) / tolerance
            self.ratios = cpa_ratio, tcpa_ratio
        return self.ratios


class Case:
    """A target. Only CrossCheck makes and feeds it."""

    def __init__(self) -> None:
        self.window = Window()
        self.last_s = 0.0
        self.renumbered_s: float | None = None
        self.motion_differs = False
        self._first_s: float | None = None
        self._passing: deque[_Passing] = deque(maxlen=48)
        self._far_s = float("-inf")  # when CPA or TCPA last differed by what may be outside
        self._figures: tuple[object, ...] = ()
        self._figures_s = 0.0
        self._measured: tuple[float | None, float | None] | None = None
        self._measured_s = 0.0
        self._outside_since_s: float | None = None
        self._inside_since_s: float | None = None
        self._differs = False
        self._has_mean = self._has_motion = False
        self._size = words.Steady(0.4)
        self._toward = words.Steady(8.0, 0, full_circle=True)
        self._shown = {key: words.Steady(slack, digits) for key, slack, digits in _SLACK}

    def see(self, report: TargetReport) -> None:
        """Every report, whatever its status."""
        self.last_s = report.at_s
        if report.status is TargetStatus.TRACKING or report.status is None:
            if self._first_s is None:
                self._first_s = report.at_s
        else:
            self._first_s = None
            self.pause()
        figures = (report.speed_kn, report.course_deg, report.cpa_nm, report.tcpa_min)
        if figures != self._figures:
            self._figures, self._figures_s = figures, report.at_s
        measured = (report.range_nm, report.bearing_deg)
        if measured != self._measured:
            self._measured, self._measured_s = measured, report.at_s

    def tracked_s(self, at_s: float) -> float:
        return 0.0 if self._first_s is None else at_s - self._first_s

    def pause(self) -> None:
        """Nothing that was compared before may be averaged with what comes after."""
        self.window.clear()
        self._passing.clear()

    # ------------------------------------------------------------------------------------------ differences

    def take(
        self,
        reported: Reported,
        report: TargetReport,
        estimate: Estimate,
        answer: Answered,
        own: OwnMotion,
        noise: SetNoise,
    ) -> None:
        """One report that can be compared."""
        tracked_s = self.tracked_s(report.at_s)
        full = tracked_s >= FULL_S
        if tracked_s < SOONEST_S or report.range_nm is None or report.bearing_deg is None:
            return
        self._has_motion = reported.velocity is not None
        if reported.velocity is not None:
            self.window.add(
                Sample(report.at_s, reported.velocity, estimate, own, report.range_nm, report.bearing_deg, tracked_s),
                noise,
            )
        if full:
            self._take_passing(reported, report, estimate, answer, own, noise)

    def _take_passing(
        self,
        reported: Reported,
        report: TargetReport,
        estimate: Estimate,
        answer: Answered,
        own: OwnMotion,
        noise: SetNoise,
    ) -> None:
        """CPA and TCPA, where there is much to say of them."""
        cpa_nm, tcpa_min = answer.cpa_nm, answer.tcpa_min
        if cpa_nm is None or tcpa_min is None or not 0.5 < tcpa_min < LONGEST_TCPA_MIN:
            return
        relative = Vector(estimate.east_kn - own.east_kn, estimate.north_kn - own.north_kn)
        if relative.size < LEAST_CLOSING_KN or report.range_nm is None or report.bearing_deg is None:
            return
        passing = _Passing(
            report.at_s,
            reported.cpa_nm,
            reported.tcpa_min,
            cpa_nm,
            tcpa_min,
            answer.cpa_sd_nm or 0.0,
            answer.tcpa_sd_min or 0.0,
            relative,
            noise.wander(),
            report.bearing_deg,
            report.range_nm,
        )
        self._passing.append(passing)
        if passing.is_far():
            self._far_s = report.at_s

    # ------------------------------------------------------------------------------------------ judgement

    def judge(self, at_s: float, noise: SetNoise) -> bool:
        """Whether this target differs, with its holds: HOLD_S outside to begin, CLEAR_S inside to end."""
        mean = self.window.mean(at_s, noise)
        self._has_mean = mean is not None
        size = 0.0 if mean is None else mean.difference.size
        motion_outside = mean is not None and size > LEAST_KN and mean.distance2 > OUTSIDE2
        passing_outside = any(self._ratios(at_s))
        if motion_outside or passing_outside:
            self.motion_differs = motion_outside
            self._inside_since_s = None
            self._outside_since_s = at_s if self._outside_since_s is None else self._outside_since_s
            self._differs = self._differs or at_s - self._outside_since_s >= HOLD_S
        elif mean is None or size < LEAST_KN or mean.distance2 < INSIDE2:
            self._outside_since_s = None
            self._inside_since_s = at_s if self._inside_since_s is None else self._inside_since_s
            self._differs = self._differs and at_s - self._inside_since_s < CLEAR_S
        return self._differs

    def doubt(self, at_s: float) -> str | None:
        """Why a target that does not differ cannot be said to agree either; None where it can. Ask after `judge`."""
        if self._outside_since_s is not None:
            return words.LOOKED_INTO
        if self._has_mean or (self.tracked_s(at_s) >= FULL_S and not self._has_motion):
            return None
        return words.NOT_COMPARED

    def _ratios(self, at_s: float) -> tuple[bool, bool]:
        """Whether CPA, and TCPA, are outside. Nearly always none has been far for long: nothing is to be weighed."""
        if at_s - self._far_s > WINDOW_S:
            return False, False
        recent = [p for p in self._passing if at_s - p.at_s <= WINDOW_S]
        if len(recent) < FEWEST or recent[-1].at_s - recent[0].at_s < LEAST_SPAN_S:
            return False, False
        ratios = [p.over_tolerance() for p in recent]
        return (
            _outside([cpa for cpa, _ in ratios if cpa is not None]),
            _outside([tcpa for _, tcpa in ratios if tcpa is not None]),
        )

    def passing_differs(self) -> tuple[tuple[float, float] | None, tuple[float, float] | None]:
        """The set's and our CPA, and TCPA, where these differ; where neither does any more, one that is reported."""
        last = next((one for one in reversed(self._passing) if one.cpa_nm or one.tcpa_min), None)
        if last is None:
            return None, None
        cpa_differs, tcpa_differs = self._ratios(self._passing[-1].at_s)
        cpa = last.cpa_nm if cpa_differs or not tcpa_differs else None
        tcpa = last.tcpa_min if tcpa_differs or cpa is None else None
        return self._figures_shown("cpa", cpa), self._figures_shown("tcpa", tcpa)

    def _figures_shown(self, name: str, figures: tuple[float, float] | None) -> tuple[float, float] | None:
        if figures is None:
            return None
        theirs, ours = figures
        return self._shown[f"their {name}"].show(theirs), self._shown[f"our {name}"].show(ours)

    def shown_difference(self, difference: Vector) -> tuple[float, float]:
        return self._size.show(difference.size), self._toward.show(difference.course_deg) % 360

    def stale(self, report: TargetReport, estimate: Estimate, own: OwnMotion) -> str | None:
        """The cause, where the set goes on saying what it said: the same measurement, or the same answer."""
        same_s, answer_s = report.at_s - self._measured_s, report.at_s - self._figures_s
        if same_s < STALE_S and answer_s < FROZEN_S:
            return None
        closing = Vector(estimate.east_kn - own.east_kn, estimate.north_kn - own.north_kn).size
        moved = closing * same_s / 3600
        if same_s >= STALE_S and moved > echoes.MOVED_NM + echoes.MOVED_RATIO * (report.range_nm or 0.0):
            return words.stale(same_s)
        counts_down = report.tcpa_min is not None and abs(report.tcpa_min) < 2 * LONGEST_TCPA_MIN
        if counts_down and answer_s >= FROZEN_S and closing > LEAST_CLOSING_KN:
            return words.frozen(answer_s)
        return None


def _outside(ratios: list[float]) -> bool:
    return len(ratios) >= FEWEST and abs(median(ratios)) > PASSING_RATIO


_SLACK = (("their cpa", 0.2, 1), ("our cpa", 0.2, 1), ("their tcpa", 1.5, 0), ("our tcpa", 1.5, 0))
