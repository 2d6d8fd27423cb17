"""What happened in one encounter: the closest approach, the alerts, what was done about it and what that changed.

Judged with hindsight: the closest approach is that of the smoothed track, with the looks after it as well as before,
not a prediction.
"""

import math
import statistics
from collections import Counter
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import numpy.typing as npt
from msgspec import Struct

from alerts.events import Alert, OwnShip
from alerts.plotting.kinematics import Look, OwnMotion
from alerts.plotting.smooth import hindsight
from alerts.plotting.terms import AlertState, Check, Encounter, Priority, TrackState
from daemon.debrief.plane import Plane
from daemon.debrief.record import Dated, Passage, Tracked
from parsers.observations import MotionReference

Array = npt.NDArray[np.float64]

# Fewer looks make no track: the nearest plot then stands for the closest approach.
LEAST_LOOKS = 5
# An alteration: the mean velocity of one minute against that of the next, by this much or more.
ALTERED_KN = 1.5
MINUTE_S = 60.0
BIN_S = 10.0
# What a prediction was before an alteration, and what it is after: the minute up to it, and a minute that begins when
# motion may be expected to be known again (a minute of steady tracking gives the trend, A.823(19)).
AFTER_S = (60.0, 150.0)


class Closest(Struct, frozen=True):
    """The closest approach as it was: time on the record's scale, range, true bearing. `ended`: the record broke off
    (or began) at it, so that it may not have been the closest."""

    at_s: float
    range_nm: float
    bearing_deg: float | None
    ended: bool


class Span(Struct, frozen=True):
    """One alert from its raising to its end, with its first text and values. A caution needs no acknowledgement."""

    alert: Alert
    raised_s: float
    acknowledged_s: float | None
    over_s: float | None


class Alteration(Struct, frozen=True):
    """Somebody altered course or speed about this time; the CPA that was predicted before and after, NM."""

    at_s: float
    who: str
    course_before_deg: float
    speed_before_kn: float
    course_after_deg: float
    speed_after_kn: float
    cpa_before_nm: float | None = None
    cpa_after_nm: float | None = None


class Agreement(Struct, frozen=True):
    """The cross-check over the encounter: how many plots were compared, how many differed, and the causes named."""

    compared: int
    differed: int
    causes: tuple[tuple[str, int], ...]


class Study(Struct, frozen=True, kw_only=True):
    """One encounter."""

    target: str
    name: str
    plots: Sequence[Dated]
    closest: Closest
    alerts: tuple[Span, ...]
    alterations: tuple[Alteration, ...]
    encounter: Encounter
    agreement: Agreement

    @property
    def alarm(self) -> Span | None:
        """The first closest-approach alert, if there was one."""
        return next((one for one in self.alerts if one.alert.rule == "closest_approach"), None)

    @property
    def warning_min(self) -> float | None:
        """From that alert to the closest approach."""
        return None if self.alarm is None else (self.closest.at_s - self.alarm.raised_s) / 60.0


def study(
    tracked: Tracked, plots: Sequence[Dated], passage: Passage, plane: Plane, own_turns: Sequence[Alteration]
) -> Study:
    """All that the record says of one target."""
    spans = spans_of([dated for dated in passage.alerts if dated[1].target == tracked.target])
    closest = closest_of(plots, plane)
    turns = [*_during(own_turns, plots), *her_turns(plots)]
    return Study(
        target=tracked.target,
        name=tracked.name,
        plots=plots,
        closest=closest,
        alerts=spans,
        alterations=tuple(sorted((_with_effect(one, plots, closest) for one in turns), key=lambda one: one.at_s)),
        encounter=_encounter(plots, closest),
        agreement=_agreement(plots),
    )


# ------------------------------------------------------------------------------------------ closest approach


def closest_of(plots: Sequence[Dated], plane: Plane) -> Closest:
    """Where the track smoothed in hindsight comes closest; of too few plots with a bearing, the nearest plot."""
    looks = looks_of(plots, plane)
    if len(looks) < LEAST_LOOKS:
        at_s, nearest = min(plots, key=lambda dated: dated[1].range_nm)
        return Closest(at_s, nearest.range_nm, nearest.bearing_deg, at_s in (plots[0][0], plots[-1][0]))
    track = [
        (look.at_s, one.east_nm - look.own.east_nm, one.north_nm - look.own.north_nm)
        for look, one in zip(looks, hindsight(looks), strict=True)
    ]
    index = min(range(len(track)), key=lambda k: math.hypot(*track[k][1:]))
    pieces = pairwise(track[max(index - 1, 0) : index + 2])
    at_s, east, north = min((_foot(*piece) for piece in pieces), key=lambda one: math.hypot(*one[1:]))
    # Closest at an end: the record broke off, or began, while the target closed.
    ended = at_s in (track[0][0], track[-1][0])
    return Closest(at_s, math.hypot(east, north), math.degrees(math.atan2(east, north)) % 360.0, ended)


def looks_of(plots: Sequence[Dated], plane: Plane) -> list[Look]:
    """The measurements behind the plots, with own ship's place at each; one place throughout where none is known."""
    looks = []
    for at_s, plot in plots:
        if plot.bearing_deg is None:
            continue
        place = plane.own_at(at_s)
        east, north = place or (0.0, 0.0)
        frame = MotionReference.GROUND if place else MotionReference.UNKNOWN
        own = OwnMotion(at_s, east, north, 0.0, 0.0, 0.0, frame, None, 0.0)
        looks.append(Look(at_s, plot.range_nm, plot.bearing_deg, own))
    return looks


def _foot(start: tuple[float, float, float], end: tuple[float, float, float]) -> tuple[float, float, float]:
    """The point of a straight piece of track that lies nearest to own ship: time, east, north."""
    (t0, e0, n0), (t1, e1, n1) = start, end
    de, dn = e1 - e0, n1 - n0
    length2 = de * de + dn * dn
    share = 0.0 if length2 == 0 else min(max(-(e0 * de + n0 * dn) / length2, 0.0), 1.0)
    return t0 + share * (t1 - t0), e0 + share * de, n0 + share * dn


# --------------------------------------------------------------------------------------------------- alerts


def spans_of(alerts: Sequence[tuple[float, Alert]]) -> tuple[Span, ...]:
    """Each alert from first to last, in the order of raising."""
    first: dict[int, tuple[float, Alert]] = {}
    acknowledged: dict[int, float] = {}
    over: dict[int, float] = {}
    for at_s, alert in alerts:
        first.setdefault(alert.id, (at_s, alert))
        if alert.state is AlertState.ACTIVE_ACKNOWLEDGED and alert.priority is not Priority.CAUTION:
            acknowledged.setdefault(alert.id, at_s)
        if alert.state in (AlertState.NORMAL, AlertState.RECTIFIED_UNACKNOWLEDGED):
            over.setdefault(alert.id, at_s)
    return tuple(
        Span(alert, at_s, acknowledged.get(number), over.get(number)) for number, (at_s, alert) in first.items()
    )


def worst(spans: Sequence[Span]) -> Priority | None:
    """The highest priority among alerts."""
    held = {span.alert.priority for span in spans}
    return next((one for one in (Priority.ALARM, Priority.WARNING, Priority.CAUTION) if one in held), None)


# ---------------------------------------------------------------------------------------------- alterations


def own_turns(own: Sequence[tuple[float, OwnShip]]) -> list[Alteration]:
    """Own alterations, from course and speed over ground, else from heading and log."""
    moving = [(at_s, *velocity) for at_s, ship in own if (velocity := _own_velocity(ship)) is not None]
    if len(moving) < 10:
        return []
    at_s, east, north = (np.array(column) for column in zip(*moving, strict=True))
    return _turns("own ship", at_s, east, north)


def _own_velocity(ship: OwnShip) -> tuple[float, float] | None:
    course, speed = ship.cog_deg, ship.sog_kn
    if course is None or speed is None:
        course, speed = ship.heading_deg, ship.stw_kn
    if course is None or speed is None:
        return None
    return _components(course, speed)


def _components(course_deg: float, speed_kn: float) -> tuple[float, float]:
    angle = math.radians(course_deg)
    return speed_kn * math.sin(angle), speed_kn * math.cos(angle)


def her_turns(plots: Sequence[Dated]) -> list[Alteration]:
    """The target's alterations: where her track was found to manoeuvre, and her velocity really is another after."""
    found: list[Alteration] = []
    for start, end in _manoeuvres(plots):
        before = _mean_velocity(plots, start - MINUTE_S, start)
        after = _mean_velocity(plots, end, end + MINUTE_S)
        if before is not None and after is not None and math.dist(before, after) >= ALTERED_KN:
            found.append(_alteration("the target", start, before, after))
    return found


def _manoeuvres(plots: Sequence[Dated]) -> list[tuple[float, float]]:
    """Stretches in which the track was manoeuvring: first and last plot of each."""
    stretches: list[tuple[float, float]] = []
    open_s: float | None = None
    last_s = 0.0
    for at_s, plot in plots:
        if plot.track is TrackState.MANOEUVRING:
            open_s, last_s = (at_s if open_s is None else open_s), at_s
        elif open_s is not None:
            stretches.append((open_s, last_s))
            open_s = None
    return stretches


def _mean_velocity(plots: Sequence[Dated], from_s: float, to_s: float) -> tuple[float, float] | None:
    velocities = [
        _components(plot.course_deg, plot.speed_kn)
        for at_s, plot in plots
        if from_s <= at_s <= to_s
        and plot.course_deg is not None
        and plot.speed_kn is not None
        and plot.track is TrackState.STEADY
    ]
    if len(velocities) < 3:
        return None
    east, north = zip(*velocities, strict=True)
    return statistics.fmean(east), statistics.fmean(north)


def _turns(who: str, at_s: Array, east_kn: Array, north_kn: Array) -> list[Alteration]:
    """Where the mean velocity of a minute differs from that of the minute after the next half: the peaks of that."""
    bins = ((at_s - at_s[0]) // BIN_S).astype(int)
    count = np.bincount(bins).astype(float)
    filled = count > 0
    means = np.full((len(count), 2), np.nan)
    for axis, values in enumerate((east_kn, north_kn)):
        means[filled, axis] = np.bincount(bins, weights=values)[filled] / count[filled]
    half = round(MINUTE_S / BIN_S)
    jumps = np.zeros(len(count))
    sides: dict[int, tuple[Array, Array]] = {}
    for index in range(half, len(count) - half):
        before, after = means[index - half : index], means[index + 1 : index + 1 + half]
        if np.isfinite(before).all() and np.isfinite(after).all():
            sides[index] = (before.mean(axis=0), after.mean(axis=0))
            jumps[index] = float(np.hypot(*(sides[index][1] - sides[index][0])))
    peaks: list[int] = []
    for index in sides:
        highest = jumps[index] == jumps[max(index - half, 0) : index + half + 1].max()
        if jumps[index] >= ALTERED_KN and highest and not (peaks and index - peaks[-1] <= half):
            peaks.append(index)
    return [
        _alteration(who, float(at_s[0] + (index + 0.5) * BIN_S), tuple(sides[index][0]), tuple(sides[index][1]))
        for index in peaks
    ]


def _alteration(who: str, at_s: float, before: tuple[float, ...], after: tuple[float, ...]) -> Alteration:
    (course_0, speed_0), (course_1, speed_1) = (
        (math.degrees(math.atan2(*velocity)) % 360.0, math.hypot(*velocity)) for velocity in (before, after)
    )
    return Alteration(at_s, who, course_0, speed_0, course_1, speed_1)


def _during(turns: Sequence[Alteration], plots: Sequence[Dated]) -> list[Alteration]:
    return [one for one in turns if plots[0][0] <= one.at_s <= plots[-1][0]]


def _with_effect(turn: Alteration, plots: Sequence[Dated], closest: Closest) -> Alteration:
    """What the predicted CPA was in the minute before, and in the minute and a half from a minute after."""
    if turn.at_s >= closest.at_s:
        return turn
    before = _median_cpa(plots, turn.at_s - MINUTE_S - BIN_S, turn.at_s - BIN_S)
    after = _median_cpa(plots, turn.at_s + AFTER_S[0], turn.at_s + AFTER_S[1])
    return Alteration(
        turn.at_s,
        turn.who,
        turn.course_before_deg,
        turn.speed_before_kn,
        turn.course_after_deg,
        turn.speed_after_kn,
        before,
        after,
    )


def _median_cpa(plots: Sequence[Dated], from_s: float, to_s: float) -> float | None:
    values = [
        plot.cpa_nm
        for at_s, plot in plots
        if from_s <= at_s <= to_s and plot.cpa_nm is not None and plot.tcpa_min is not None and plot.tcpa_min > 0
    ]
    return statistics.median(values) if values else None


# ------------------------------------------------------------------------------------ geometry, agreement


def _encounter(plots: Sequence[Dated], closest: Closest) -> Encounter:
    """The geometry that held for most of the time up to the closest approach, where it could be told."""
    told = Counter(
        plot.encounter
        for at_s, plot in plots
        if at_s <= closest.at_s and plot.encounter not in (Encounter.UNSETTLED, Encounter.OPENING)
    )
    return told.most_common(1)[0][0] if told else Encounter.UNSETTLED


def _agreement(plots: Sequence[Dated]) -> Agreement:
    checks = Counter(plot.check for _, plot in plots)
    causes = Counter(plot.check_cause for _, plot in plots if plot.check is Check.DIFFERS and plot.check_cause)
    differed = checks[Check.DIFFERS]
    return Agreement(checks[Check.AGREES] + differed, differed, tuple(causes.most_common(3)))
