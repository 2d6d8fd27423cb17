"""A trial manoeuvre: what a trial alteration of our own course or speed would do to every target, against holding on.

The one assumption: targets hold their course and speed. Own ship holds on for the delay, then turns at the rate of turn
and changes speed at its rate, leg after leg; the path is cut into straight pieces of a few degrees, and over each piece
relative motion is a straight line, so that the least distance is a closed form. Uncertainty is that of the targets'
estimates and of own velocity, carried through by samples with a fixed seed.

Pure functions over estimates and own motion. Arrays: T targets, S samples, P pieces.
"""

from collections.abc import Sequence

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from alerts.plotting.encounter import signed
from alerts.plotting.kinematics import Estimate, OwnMotion, full
from alerts.plotting.terms import Passing

Array = NDArray[np.float64]

SAMPLES = 500
SEED = 1972  # the year of the Collision Regulations
PIECE_DEG = 5.0
PIECE_KN = 0.5
COLLISION_NM = 0.05  # as on the manual plot: about one ship's length (no source)
STOPPED_KN = 0.3  # slower, the velocity is no course, and an advance would take for ever (choice of ours)
HORIZON_MIN = 60.0
"""How far ahead a pass inside the limit is looked for: later, everybody will have altered."""

CLEAR_PROBABILITY = 0.95


class TrialLeg(Struct, frozen=True, kw_only=True):
    """One alteration, `after_min` from the moment of the trial; None: as before. Course is true."""

    after_min: float = 0.0
    course_deg: float | None = None
    speed_kn: float | None = None


class Handling(Struct, frozen=True, kw_only=True):
    """How own ship answers: rate of turn, change of speed, and the advance run on before a turn takes effect."""

    turn_deg_min: float = 90.0
    speed_kn_min: float = 4.0
    advance_nm: float = 0.0


class Path(Struct, frozen=True):
    """Own ship's path in straight pieces. `start_h` (P,): when each begins; the last has no end. Velocities (P, 2), kn.

    `places_nm` (P, 2): from own place at the moment of the trial. `course_deg`: of each piece, the last for stopped.
    """

    start_h: Array
    velocities_kn: Array
    places_nm: Array
    courses_deg: Array


class Outcome(Struct, frozen=True):
    """One target under one path, from the moment of the trial on. Limits are 95 %.

    `inside_probability`: of coming inside the limit within the horizon. `side`: on which side of us, port or starboard,
    she is at her CPA. A TCPA of 0 with `opening`: she is at her nearest now.
    """

    cpa_nm: float
    cpa_sd_nm: float
    cpa_low_nm: float
    cpa_high_nm: float
    tcpa_min: float
    tcpa_sd_min: float
    inside_probability: float
    passing: Passing
    side: str


class Trial(Struct, frozen=True):
    """Each target in the order given: holding on, and under the trial."""

    hold_on: tuple[Outcome, ...]
    trial: tuple[Outcome, ...]
    path: Path
    all_clear_probability: float


class Cell(Struct, frozen=True):
    """One alteration in the table: the probability that all targets keep outside the limit, and the nearest of them."""

    course_deg: float
    speed_kn: float
    all_clear_probability: float
    least_cpa_nm: float
    nearest: int  # which target

    @property
    def is_clear(self) -> bool:
        return self.all_clear_probability >= CLEAR_PROBABILITY


def own_course_speed(own: OwnMotion) -> tuple[float, float]:
    """Own course (deg; the heading where she is all but stopped) and speed (kn)."""
    speed = float(np.hypot(own.east_kn, own.north_kn))
    if speed < STOPPED_KN and own.heading_deg is not None:
        return own.heading_deg, speed
    return float(np.degrees(np.arctan2(own.east_kn, own.north_kn)) % 360), speed


def path_of(own: OwnMotion, legs: Sequence[TrialLeg], handling: Handling) -> Path:
    """Own ship's path: each leg begins at its time, or when the one before is done. Turns go the short way."""
    course, speed = own_course_speed(own)
    pieces: list[tuple[float, float, float]] = [(0.0, course, speed)]  # hours, degrees, knots
    done_h = 0.0
    for leg in sorted(legs, key=lambda one: one.after_min):
        begin_h = max(leg.after_min / 60, done_h)
        if leg.course_deg is not None and handling.advance_nm > 0 and speed >= STOPPED_KN:
            begin_h += handling.advance_nm / speed
        to_course = course if leg.course_deg is None else leg.course_deg % 360
        to_speed = speed if leg.speed_kn is None else leg.speed_kn
        turn, change = signed(to_course - course), to_speed - speed
        count = max(1, int(np.ceil(abs(turn) / PIECE_DEG)), int(np.ceil(abs(change) / PIECE_KN)))
        turn_h = 0.0 if handling.advance_nm > 0 else abs(turn) / handling.turn_deg_min / 60
        change_h = abs(change) / handling.speed_kn_min / 60
        lasts_h = max(turn_h, change_h)
        for k in range(count):
            part_h = lasts_h * (k + 0.5) / count
            turned = turn * min(1.0, part_h / turn_h if turn_h else 1.0)
            changed = change * min(1.0, part_h / change_h if change_h else 1.0)
            pieces.append((begin_h + lasts_h * k / count, (course + turned) % 360, speed + changed))
        course, speed, done_h = to_course, to_speed, begin_h + lasts_h
        pieces.append((done_h, course, speed))
    return _joined(pieces)


def _joined(pieces: list[tuple[float, float, float]]) -> Path:
    start = np.array([piece[0] for piece in pieces])
    courses = np.array([piece[1] for piece in pieces])
    speeds = np.array([piece[2] for piece in pieces])
    velocities = speeds[:, None] * np.column_stack([np.sin(np.radians(courses)), np.cos(np.radians(courses))])
    runs = velocities[:-1] * np.diff(start)[:, None]
    places = np.vstack([np.zeros((1, 2)), np.cumsum(runs, axis=0)])
    return Path(start, velocities, places, courses)


def try_out(
    estimates: Sequence[Estimate],
    own: OwnMotion,
    legs: Sequence[TrialLeg],
    limit_nm: float,
    handling: Handling | None = None,
) -> Trial:
    """Every target under the trial and holding on. Estimates and own motion are of the same moment."""
    handling = handling or Handling()
    cloud = _Cloud(estimates, own)
    hold_path, path = path_of(own, (), handling), path_of(own, legs, handling)
    hold_on, _ = cloud.outcomes(hold_path, limit_nm)
    trial, clear = cloud.outcomes(path, limit_nm)
    return Trial(hold_on, trial, path, clear)


def table(
    estimates: Sequence[Estimate],
    own: OwnMotion,
    limit_nm: float,
    courses_deg: Sequence[float],
    speeds_kn: Sequence[float],
    handling: Handling | None = None,
    after_min: float = 0.0,
) -> list[list[Cell]]:
    """One row for each speed, one cell for each course: which alterations clear all by the limit."""
    handling = handling or Handling()
    cloud = _Cloud(estimates, own)
    rows = []
    for speed in speeds_kn:
        row = []
        for course in courses_deg:
            leg = TrialLeg(after_min=after_min, course_deg=course, speed_kn=speed)
            probability, least, nearest = cloud.clearance(path_of(own, [leg], handling), limit_nm)
            row.append(Cell(course, speed, probability, least, nearest))
        rows.append(row)
    return rows


def place_at(estimate: Estimate, own: OwnMotion, path: Path, at_h: float) -> tuple[float, float]:
    """Where a target is from us (east, north, NM) so many hours on along the path."""
    piece = _piece_at(path, at_h)
    east, north = path.places_nm[piece] + path.velocities_kn[piece] * (at_h - path.start_h[piece])
    return (
        estimate.east_nm - own.east_nm + estimate.east_kn * at_h - float(east),
        estimate.north_nm - own.north_nm + estimate.north_kn * at_h - float(north),
    )


class _Cloud:
    """The targets as they are now: the best state of each and samples round it, relative to own place."""

    def __init__(self, estimates: Sequence[Estimate], own: OwnMotion) -> None:
        rng = np.random.default_rng(SEED)
        self.own_course_deg, _ = own_course_speed(own)
        self.heading_off_deg = 0.0 if own.heading_deg is None else signed(own.heading_deg - self.own_course_deg)
        count = len(estimates)
        self.states = np.zeros((count, SAMPLES + 1, 4))  # sample 0 is the best state
        normal = rng.standard_normal((SAMPLES, 4))
        for i, one in enumerate(estimates):
            best = (one.east_nm - own.east_nm, one.north_nm - own.north_nm, one.east_kn, one.north_kn)
            self.states[i] = best
            self.states[i, 1:] += normal @ _root(one).T
        # Own velocity as sensed is in the targets' too, and drops out while we hold on; after an alteration the error
        # of the new velocity is another one.
        self.own_error_kn = np.vstack([np.zeros((1, 2)), own.velocity_sd_kn * rng.standard_normal((SAMPLES, 2))])

    def nearest(self, path: Path, horizon_h: float) -> tuple[Array, Array, Array]:
        """Least distance (NM), its time (h), and how the bearing draws then (clockwise positive), all (T, S + 1)."""
        least = np.full(self.states.shape[:2], np.inf)
        when, draws = np.zeros_like(least), np.zeros_like(least)
        for piece in range(len(path.start_h)):
            begin = float(path.start_h[piece])
            end = float(path.start_h[piece + 1]) if piece + 1 < len(path.start_h) else horizon_h
            if begin >= horizon_h:
                break
            error = self.own_error_kn if piece else 0.0 * self.own_error_kn
            distance, at, turning = self._in_piece(path, piece, min(end, horizon_h) - begin, error)
            nearer = distance < least
            least, when = np.where(nearer, distance, least), np.where(nearer, begin + at, when)
            draws = np.where(nearer, turning, draws)
        return least, when, draws

    def _in_piece(self, path: Path, piece: int, lasts_h: float, error_kn: Array) -> tuple[Array, Array, Array]:
        """Least distance within one piece, hours from its beginning, and how the bearing draws in it."""
        since = path.start_h[piece] - (path.start_h[1] if len(path.start_h) > 1 else 0.0)
        place = path.places_nm[piece] + error_kn * max(0.0, float(since))
        relative = self.states[..., :2] + self.states[..., 2:] * path.start_h[piece] - place
        velocity = self.states[..., 2:] - path.velocities_kn[piece] - error_kn
        square = np.maximum(np.sum(velocity * velocity, axis=-1), 1e-12)
        at = np.clip(-np.sum(relative * velocity, axis=-1) / square, 0.0, max(lasts_h, 0.0))
        there = relative + velocity * at[..., None]
        turning = relative[..., 1] * velocity[..., 0] - relative[..., 0] * velocity[..., 1]
        return np.hypot(there[..., 0], there[..., 1]), at, turning

    def outcomes(self, path: Path, limit_nm: float) -> tuple[tuple[Outcome, ...], float]:
        least, when, draws = self.nearest(path, np.inf)
        soon, _, _ = self.nearest(path, HORIZON_MIN / 60)
        inside = np.mean(soon[:, 1:] < limit_nm, axis=1)
        clear = float(np.mean(np.all(soon[:, 1:] >= limit_nm, axis=0))) if len(least) else 1.0
        told = []
        for i in range(len(least)):
            low, high = np.percentile(least[i, 1:], [2.5, 97.5])
            passing, side = self._words(path, i, least[i], when[i], draws[i], float(inside[i]))
            told.append(
                Outcome(
                    cpa_nm=float(least[i, 0]),
                    cpa_sd_nm=float(np.std(least[i, 1:])),
                    cpa_low_nm=min(float(low), float(least[i, 0])),
                    cpa_high_nm=max(float(high), float(least[i, 0])),
                    tcpa_min=60 * float(when[i, 0]),
                    tcpa_sd_min=60 * float(np.std(when[i, 1:])),
                    inside_probability=float(inside[i]),
                    passing=passing,
                    side=side,
                )
            )
        return tuple(told), clear

    def clearance(self, path: Path, limit_nm: float) -> tuple[float, float, int]:
        """Probability that all targets keep outside, the least CPA and whose it is (-1: no targets)."""
        if not len(self.states):
            return 1.0, float("inf"), -1
        least, _, _ = self.nearest(path, HORIZON_MIN / 60)
        nearest = int(np.argmin(least[:, 0]))
        return float(np.mean(np.all(least[:, 1:] >= limit_nm, axis=0))), float(least[nearest, 0]), nearest

    def _words(self, path: Path, i: int, least: Array, when: Array, draws: Array, inside: float) -> tuple[Passing, str]:
        """Ahead or astern by the way her bearing draws; port or starboard by where she is at the CPA.

        As in the watch: where she may pass on either side it is a collision course if she is likelier inside the limit
        than not, and unsettled otherwise.
        """
        when_h = float(when[0])
        side = "starboard" if self._off_bow_deg(path, i, when_h) >= 0 else "port"
        if when_h <= 0:
            return Passing.OPENING, side
        either_side = bool(np.mean((draws[1:] > 0) == (draws[0] > 0)) < 0.975)
        if (inside >= 0.5) if either_side else (least[0] < COLLISION_NM):
            return Passing.COLLISION_COURSE, side
        if either_side or draws[0] == 0:
            return Passing.UNSETTLED, side
        before = self._off_bow_deg(path, i, when_h - min(when_h, 1 / 60) / 2)
        return (Passing.AHEAD if (draws[0] < 0) == (before >= 0) else Passing.ASTERN), side

    def _off_bow_deg(self, path: Path, i: int, at_h: float) -> float:
        """Her bearing off our bow on the path, starboard positive: off its course as we head off ours now."""
        east, north = self._relative(path, i, at_h)
        bow = float(path.courses_deg[_piece_at(path, at_h)]) + self.heading_off_deg
        return signed(float(np.degrees(np.arctan2(east, north))) - bow)

    def _relative(self, path: Path, i: int, at_h: float) -> tuple[float, float]:
        piece = _piece_at(path, at_h)
        own = path.places_nm[piece] + path.velocities_kn[piece] * (at_h - path.start_h[piece])
        east, north = self.states[i, 0, :2] + self.states[i, 0, 2:] * at_h - own
        return float(east), float(north)


def _piece_at(path: Path, at_h: float) -> int:
    return max(0, int(np.searchsorted(path.start_h, at_h, side="right")) - 1)


def _root(estimate: Estimate) -> Array:
    """A square root of the covariance (4, 4); rounding may have left it a shade short of positive."""
    values, axes = np.linalg.eigh(full(estimate.covariance))
    return np.asarray(axes * np.sqrt(np.maximum(values, 0.0)))
