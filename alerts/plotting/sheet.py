"""What a plotting sheet answers: types, closed forms over samples, the words and the warnings of a manual plot."""

from collections.abc import Callable, Iterator, Sequence
from enum import StrEnum

import numpy as np
from msgspec import Struct

from alerts.plotting.encounter import aspect_deg, signed
from alerts.plotting.kinematics import Covariance, upper
from alerts.plotting.terms import BearingTrend, Passing
from alerts.plotting.trackline import Array, TrackLine

SAMPLES = 20_000
SEED = 1310  # fixed: the same readings give the same limits
COLLISION_NM = 0.05  # a miss of less is called a collision course: about one ship's length, ours (no source)
STEADY_DEG_MIN = 0.05  # a drift of less is called steady however well it is known (no source)
UNTOLD_DEG_MIN = 2.0  # a drift not known within this is not called steady (no source)
STANDARD_APART_S = 30.0  # "plots more than 30 s apart": MSC.64(67) Annex 4 App. 2 2.4
CONFIDENCE_SD = 1.96
_STOPPED_KN = 1e-6  # no relative movement
_STOPPED_TARGET_KN = 0.1  # a target without course
_ON_TOP_NM = 1e-3  # a CPA without bearing


class Frame(StrEnum):
    """What the angles of a plot are counted from."""

    TRUE = "true"
    BOW = "bow"


class Accuracy(Struct, frozen=True, kw_only=True):
    """Errors of one reading, one standard deviation.

    Range and bearing by default those of a small set: 0.02 NM or 1 % of the range, whichever is greater, and 1°
    (docs/manual-plot.md). The heading's counts only where a bearing is off the bow (MSC.116(73): 1°); own motion's only
    for the target's own course and speed (33 CFR 164.40: 0.5 kn).
    """

    range_sd_nm: float = 0.02
    range_sd_share: float = 0.01
    bearing_sd_deg: float = 1.0
    heading_sd_deg: float = 1.0
    own_velocity_sd_kn: float = 0.5


class Value(Struct, frozen=True):
    """An answer with its standard deviation and 95 % limits. Angles may run past 0 or 360 in their limits."""

    best: float
    sd: float
    low: float
    high: float


class Residual(Struct, frozen=True):
    """A reading as it was laid down and what it says against the line: reading minus line.

    `fits` is None where nothing can be said: the line goes through it whatever it is.
    """

    at_s: float
    bearing_deg: float
    range_nm: float
    range_residual_nm: float
    bearing_residual_deg: float
    fits: bool | None


class Movement(Struct, frozen=True, kw_only=True):
    """Relative movement and the closest approach; None where there is no movement, or no such point.

    `miss` is the CPA with a sign, positive where the bearing draws clockwise. TCPA counts from the last reading.
    """

    course: Value | None
    speed: Value
    cpa: Value
    miss: Value
    cpa_bearing: Value | None
    tcpa_min: Value | None
    bearing_rate: Value  # at the last reading
    drift: Value  # on the mean, from the first reading to the last


class TargetMotion(Struct, frozen=True, kw_only=True):
    """The target's own course and speed. No course and no aspect for one that is stopped."""

    course: Value | None
    speed: Value
    aspect_deg: float | None  # signed, starboard positive


class ManualPlot(Struct, frozen=True, kw_only=True):
    """What the sheet answers. Angles are true, or off the bow where `frame` says so.

    None: own course and speed would be needed and were not given. `state` is relative, at the last reading: east, north
    (or to starboard and ahead), NM and kn.
    """

    frame: Frame
    first_s: float
    last_s: float
    range_nm: float
    bearing_deg: float
    movement: Movement
    target: TargetMotion | None
    bearing_trend: BearingTrend | None
    passing: Passing | None
    bow_crossing_nm: float | None
    bow_crossing_min: float | None
    heading_deg: float | None
    own_kn: tuple[float, float] | None
    state: tuple[float, float, float, float]
    covariance: Covariance
    residuals: tuple[Residual, ...]
    warnings: tuple[str, ...]


class _Cloud:
    """The best state and samples round it: an answer's value, standard deviation and 95 % limits."""

    def __init__(self, best: Array, samples: Array) -> None:
        self.best, self.samples = best, samples

    def value(self, answer: Callable[[Array], Array], angle: bool = False) -> Value:
        best = float(answer(self.best[None, :])[0])
        spread = answer(self.samples) - best
        if angle:
            spread = (spread + 180) % 360 - 180
        low, high = np.percentile(spread, [2.5, 97.5])
        return Value(best, float(np.std(spread)), best + float(low), best + float(high))


def answers(
    frame: Frame,
    residuals: tuple[Residual, ...],
    heading_deg: float | None,
    own_kn: tuple[float, float] | None,
    accuracy: Accuracy,
    line: TrackLine,
    own_first_nm: Array,
) -> ManualPlot:
    """All answers at the last reading. `own_first_nm` (2,): own place at the first reading, from that at the last."""
    rng = np.random.default_rng(SEED)
    shift = np.array([0.0, 0.0, *(own_kn or (0.0, 0.0))])
    state = line.state - shift
    root = np.linalg.cholesky(line.covariance + 1e-18 * np.eye(4))
    cloud = _Cloud(state, state + rng.standard_normal((SAMPLES, 4)) @ root.T)
    movement = _movement(cloud, (residuals[-1].at_s - residuals[0].at_s) / 60, shift, own_first_nm)
    bearing = float(_bearing_deg(state[None, :])[0])
    target = None
    if own_kn is not None:
        samples = cloud.samples + shift
        samples[:, 2:] += accuracy.own_velocity_sd_kn * rng.standard_normal((SAMPLES, 2))
        target = _target(_Cloud(line.state, samples), bearing)
    bow_deg = 0.0 if frame == Frame.BOW else heading_deg
    crossing = (None, None) if bow_deg is None else _bow_crossing(state, bow_deg)
    return ManualPlot(
        frame=frame,
        first_s=residuals[0].at_s,
        last_s=residuals[-1].at_s,
        range_nm=float(np.hypot(*state[:2])),
        bearing_deg=bearing,
        movement=movement,
        target=target,
        bearing_trend=_trend(movement.drift, bearing, bow_deg),
        passing=_passing(movement, bearing, bow_deg),
        bow_crossing_nm=crossing[0],
        bow_crossing_min=crossing[1],
        heading_deg=heading_deg,
        own_kn=own_kn,
        state=(float(state[0]), float(state[1]), float(state[2]), float(state[3])),
        covariance=upper(line.covariance),
        residuals=residuals,
        warnings=tuple(_warnings(residuals, line, movement)),
    )


def _movement(cloud: _Cloud, minutes: float, shift: Array, own_first_nm: Array) -> Movement:
    moving = float(np.hypot(*cloud.best[2:])) > _STOPPED_KN
    miss = cloud.value(_miss_nm)

    def drift(states: Array) -> Array:
        """Change of bearing a minute from the first reading to the last."""
        first = states[:, :2] - (states[:, 2:] + shift[2:]) * minutes / 60 - own_first_nm
        turned = _bearing_deg(states) - np.degrees(np.arctan2(first[:, 0], first[:, 1]))
        return ((turned + 180) % 360 - 180) / minutes

    return Movement(
        course=cloud.value(_course_deg, angle=True) if moving else None,
        speed=cloud.value(_speed_kn),
        cpa=_unsigned(miss, cloud.samples),
        miss=miss,
        cpa_bearing=cloud.value(_cpa_bearing_deg, angle=True) if moving and abs(miss.best) > _ON_TOP_NM else None,
        tcpa_min=cloud.value(_tcpa_min) if moving else None,
        bearing_rate=cloud.value(_bearing_rate),
        drift=cloud.value(drift),
    )


def _unsigned(miss: Value, samples: Array) -> Value:
    """The CPA from the signed miss: its low limit is 0 where the limits lie on both sides of us."""
    low, high = sorted((abs(miss.low), abs(miss.high)))
    if miss.low < 0 < miss.high:
        low, high = 0.0, float(np.percentile(np.abs(_miss_nm(samples)), 95))
    return Value(abs(miss.best), miss.sd, low, max(high, abs(miss.best)))


def _target(cloud: _Cloud, bearing_deg: float) -> TargetMotion:
    speed = cloud.value(_speed_kn)
    if speed.best < _STOPPED_TARGET_KN:
        return TargetMotion(course=None, speed=speed, aspect_deg=None)
    course = cloud.value(_course_deg, angle=True)
    return TargetMotion(course=course, speed=speed, aspect_deg=aspect_deg(bearing_deg, course.best))


# Closed forms over states (N, 4): relative east, north (NM), east, north (kn). method.md, "Relative motion".


def _speed_kn(states: Array) -> Array:
    return np.asarray(np.hypot(states[:, 2], states[:, 3]))


def _course_deg(states: Array) -> Array:
    return np.degrees(np.arctan2(states[:, 2], states[:, 3])) % 360


def _bearing_deg(states: Array) -> Array:
    return np.degrees(np.arctan2(states[:, 0], states[:, 1])) % 360


def _cross(states: Array) -> Array:
    """North x east velocity minus east x north velocity: positive where the bearing draws clockwise."""
    return states[:, 1] * states[:, 2] - states[:, 0] * states[:, 3]


def _miss_nm(states: Array) -> Array:
    """Signed CPA; the range itself where there is no relative movement."""
    speed = _speed_kn(states)
    still = speed < _STOPPED_KN
    miss = _cross(states) / np.where(still, 1.0, speed)
    return np.asarray(np.where(still, np.hypot(states[:, 0], states[:, 1]), miss))


def _tcpa_min(states: Array) -> Array:
    closing = -(states[:, 0] * states[:, 2] + states[:, 1] * states[:, 3])
    return np.asarray(60 * closing / np.maximum(_speed_kn(states), _STOPPED_KN) ** 2)


def _cpa_bearing_deg(states: Array) -> Array:
    """Bearing of the target at its CPA: square to the relative course, on the side of the miss."""
    return (_course_deg(states) - np.where(_cross(states) >= 0, 90.0, -90.0)) % 360


def _bearing_rate(states: Array) -> Array:
    """Degrees a minute at the last reading, clockwise positive."""
    square = np.maximum(states[:, 0] ** 2 + states[:, 1] ** 2, 1e-12)
    return np.degrees(_cross(states) / square) / 60


def _bow_crossing(state: Array, bow_deg: float) -> tuple[float | None, float | None]:
    """Where (NM ahead) and when (min) the target crosses our heading line ahead; None where it never will."""
    bow = np.radians(bow_deg)
    sine, cosine = float(np.sin(bow)), float(np.cos(bow))
    abeam, abeam_kn = state[0] * cosine - state[1] * sine, state[2] * cosine - state[3] * sine
    ahead, ahead_kn = state[0] * sine + state[1] * cosine, state[2] * sine + state[3] * cosine
    if abs(abeam_kn) < _STOPPED_KN:
        return None, None
    hours = -abeam / abeam_kn
    where = ahead + ahead_kn * hours
    return (float(where), float(60 * hours)) if hours > 0 and where > 0 else (None, None)


# -------------------------------------------------------------------------------------------------- words


def _draws_ahead(clockwise: float, bearing_deg: float, bow_deg: float) -> bool:
    """Whether a bearing that draws this way draws towards our bow: anticlockwise to starboard, clockwise to port."""
    return (clockwise < 0) == (signed(bearing_deg - bow_deg) >= 0)


def _trend(rate: Value, bearing_deg: float, bow_deg: float | None) -> BearingTrend | None:
    """Steady unless the limits exclude it: in doubt risk is deemed to exist (Rule 7(a), (d)(i)).

    UNSETTLED where the limits are so wide that steady would say nothing; None where the drift is plain but our bow is
    not known.
    """
    half_width = CONFIDENCE_SD * rate.sd
    if abs(rate.best) <= max(half_width, STEADY_DEG_MIN):
        return BearingTrend.STEADY if half_width <= UNTOLD_DEG_MIN else BearingTrend.UNSETTLED
    if bow_deg is None:
        return None
    return BearingTrend.DRAWING_AHEAD if _draws_ahead(rate.best, bearing_deg, bow_deg) else BearingTrend.DRAWING_AFT


def _passing(movement: Movement, bearing_deg: float, bow_deg: float | None) -> Passing | None:
    """Ahead where the bearing draws ahead, astern where it draws aft; None where our bow is not known."""
    if movement.tcpa_min is None or _little(movement):
        return Passing.UNSETTLED
    if movement.tcpa_min.best <= 0:
        return Passing.OPENING
    if movement.cpa.best < COLLISION_NM:
        return Passing.COLLISION_COURSE
    if bow_deg is None:
        return None
    return Passing.AHEAD if _draws_ahead(movement.miss.best, bearing_deg, bow_deg) else Passing.ASTERN


def _little(movement: Movement) -> bool:
    """Whether relative movement is too small against its error for its direction to mean anything."""
    return movement.speed.best < 2 * CONFIDENCE_SD * movement.speed.sd


def _warnings(residuals: Sequence[Residual], line: TrackLine, movement: Movement) -> Iterator[str]:
    """What a careful plotter would say of these readings."""
    if len(residuals) == 2:
        yield "two points: nothing shows whether one of them is wrong; three or more on a line do"
    yield from _misfits(residuals, line)
    span_s = residuals[-1].at_s - residuals[0].at_s
    if span_s <= STANDARD_APART_S:
        yield f"the points are {span_s:.0f} s apart: a plot wants more than {STANDARD_APART_S:.0f} s (MSC.64(67))"
    if _little(movement):
        yield "the interval is too short to say: the relative movement is little more than the error of the readings"
    elif movement.cpa.high - movement.cpa.low > 0.5 * residuals[-1].range_nm:
        width = f"{movement.cpa.low:.2f} to {movement.cpa.high:.2f} NM"
        yield f"the interval is too short to say how close: the CPA may be anything from {width}"
    if movement.miss.low < 0 < movement.miss.high and movement.cpa.best >= COLLISION_NM:
        yield "the limits of error include a collision course, and passing on the other side"


def _misfits(residuals: Sequence[Residual], line: TrackLine) -> Iterator[str]:
    bad = [i for i, residual in enumerate(residuals) if residual.fits is False]
    if not bad:
        return
    cause = "a reading is wrong, or the target or own ship has altered course or speed"
    if len(residuals) == 3:
        yield f"the three points do not lie on a straight line within their accuracy: {cause}"
        return
    worst = int(np.argmax(line.misfit))
    by_range, by_bearing = line.left_out[worst]
    yield f"point {worst + 1} does not fit the others, by {by_range:+.2f} NM and {by_bearing:+.1f}°: {cause}"
    if len(bad) > 1:
        others = ", ".join(str(i + 1) for i in bad if i != worst)
        yield f"nor do points {others}: the track may not be straight"
