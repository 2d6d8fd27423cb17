"""One target's track: place and ground velocity with their covariance, look by look.

A Kalman filter in the plane of kinematics.py. There a steady target moves in a straight line whatever own ship does, so
that with almost no process noise the filter is the least-squares line through all looks of the leg. Each look is
taken in along and athwart the line of sight, where its errors are independent.

A manoeuvre is looked for when the residuals lean to one side: for several onsets in the last minute and a half, the
change of velocity since then is worked out and held against its own covariance. If it is significant, the track goes
back to the onset and learns the velocity anew from the looks since.

Plain floats, no arrays: a look costs some 10 microseconds.
"""

from collections import deque
from math import cos, exp, pi, radians, sin, sqrt
from typing import NamedTuple

from alerts.plotting.kinematics import Covariance, Estimate, Look
from alerts.plotting.noise import NoiseModel, Share
from alerts.plotting.terms import TrackState

FIRST_SD_KN = 30.0
"""What is known of a new target's velocity, each component: few vessels go faster."""

WANDER = 0.15
"""Process noise, kn^2 an hour: a steady vessel's velocity wanders by 0.05 kn in a minute, 0.09 kn in three."""

CHANGE_SD_KN = 12.0
"""How far a manoeuvre may change each component of the velocity."""

SETTLED_SD_KN, SETTLED_SHARE = 2.0, 0.12
"""Settled: the velocity's greater sd is under 2 kn, or under 12 % of the speed for a fast target.

A.823(19) wants a trend after one minute to 1.5 to 2.8 kn (95 %)."""

SETTLED_LOOKS, SETTLED_S = 5, 20.0

HISTORY_S = 120.0
ONSETS_S = (15.0, 24.0, 36.0, 54.0, 80.0)
"""Ages of the onsets that are tried."""

LEAN_GAIN, LEAN = 0.25, 0.5
"""The residuals' running mean, in sds, squared: over `LEAN` a manoeuvre is looked for."""

SIGNIFICANT = 22.0
"""Chi-square of two degrees for a change of velocity: p = 2e-5 a look-out, about one false in ten hours."""

MANOEUVRE_S = 60.0
"""A manoeuvre is shown for the standard's minute after it was last seen."""

COASTING_LOOKS, COASTING_S = 4.0, 15.0
LOST_S = 90.0

REPEAT_MOVE = 0.7


class State(NamedTuple):
    """Place (NM), velocity (kn) and covariance at a moment (s)."""

    at_s: float
    e: float
    n: float
    ve: float
    vn: float
    covariance: Covariance


class Fix(NamedTuple):
    """A look as the filter takes it: where it puts the target, along which line, and how well (NM squared)."""

    at_s: float
    e: float
    n: float
    sine: float
    cosine: float
    along: float
    athwart: float


class Innovation(NamedTuple):
    """Residuals against the prediction, along and athwart, and their variances but for the look's own."""

    along: float
    athwart: float
    along_variance: float
    athwart_variance: float


def predict(state: State, at_s: float, wander: float = WANDER) -> State:
    """The state carried on to a moment in a straight line."""
    dt = (at_s - state.at_s) / 3600.0
    if dt == 0.0:
        return state
    p00, p01, p02, p03, p11, p12, p13, p22, p23, p33 = state.covariance
    spread = wander * abs(dt)
    half = 0.5 * spread * dt
    third = spread * dt * dt / 3.0
    cross = dt * (p03 + p12) + dt * dt * p23
    return State(
        at_s,
        state.e + state.ve * dt,
        state.n + state.vn * dt,
        state.ve,
        state.vn,
        (
            p00 + dt * (2.0 * p02 + dt * p22) + third,
            p01 + cross,
            p02 + dt * p22 + half,
            p03 + dt * p23,
            p11 + dt * (2.0 * p13 + dt * p33) + third,
            p12 + dt * p23,
            p13 + dt * p33 + half,
            p22 + spread,
            p23,
            p33 + spread,
        ),
    )


def update(state: State, fix: Fix) -> tuple[State, Innovation]:
    """The state after a look at its own moment: two scalar Kalman updates, along and athwart the line of sight."""
    _, e, n, ve, vn, (p00, p01, p02, p03, p11, p12, p13, p22, p23, p33) = state
    a, b = fix.sine, fix.cosine
    h0, h1, h2, h3 = p00 * a + p01 * b, p01 * a + p11 * b, p02 * a + p12 * b, p03 * a + p13 * b
    along_variance = a * h0 + b * h1
    gain = 1.0 / (along_variance + fix.along)
    along = (fix.e - e) * a + (fix.n - n) * b
    step = along * gain
    e, n, ve, vn = e + h0 * step, n + h1 * step, ve + h2 * step, vn + h3 * step
    g0, g1, g2, g3 = h0 * gain, h1 * gain, h2 * gain, h3 * gain
    p00, p01, p02, p03 = p00 - g0 * h0, p01 - g0 * h1, p02 - g0 * h2, p03 - g0 * h3
    p11, p12, p13 = p11 - g1 * h1, p12 - g1 * h2, p13 - g1 * h3
    p22, p23, p33 = p22 - g2 * h2, p23 - g2 * h3, p33 - g3 * h3
    a, b = fix.cosine, -fix.sine
    h0, h1, h2, h3 = p00 * a + p01 * b, p01 * a + p11 * b, p02 * a + p12 * b, p03 * a + p13 * b
    athwart_variance = a * h0 + b * h1
    gain = 1.0 / (athwart_variance + fix.athwart)
    athwart = (fix.e - e) * a + (fix.n - n) * b
    step = athwart * gain
    g0, g1, g2, g3 = h0 * gain, h1 * gain, h2 * gain, h3 * gain
    return State(
        state.at_s,
        e + h0 * step,
        n + h1 * step,
        ve + h2 * step,
        vn + h3 * step,
        (
            p00 - g0 * h0,
            p01 - g0 * h1,
            p02 - g0 * h2,
            p03 - g0 * h3,
            p11 - g1 * h1,
            p12 - g1 * h2,
            p13 - g1 * h3,
            p22 - g2 * h2,
            p23 - g2 * h3,
            p33 - g3 * h3,
        ),
    ), Innovation(along, athwart, along_variance, athwart_variance)


def loosen(state: State, sd_kn: float) -> State:
    """The same place, with the velocity's variance grown: what is known where a manoeuvre begins."""
    p00, p01, p02, p03, p11, p12, p13, p22, p23, p33 = state.covariance
    grown = sd_kn * sd_kn
    return state._replace(covariance=(p00, p01, p02, p03, p11, p12, p13, p22 + grown, p23, p33 + grown))


def velocity_sd(state: State) -> float:
    """The greater sd of the velocity, along the axis where it is worst known, kn."""
    p22, p23, p33 = state.covariance[7:]
    mean, half = 0.5 * (p22 + p33), 0.5 * (p22 - p33)
    return sqrt(max(0.0, mean + sqrt(half * half + p23 * p23)))


class Track:
    """One target. `observe` takes looks in order of time; `predict` answers for any later moment."""

    __slots__ = (
        "_changed_s",
        "_found_s",
        "_history",
        "_interval_s",
        "_last",
        "_lean",
        "_leg_looks",
        "_leg_s",
        "_observations",
        "_onset_s",
        "_repeats",
        "_sds",
        "_share",
        "_state",
    )

    def __init__(self, noise: NoiseModel) -> None:
        self._share = Share(noise)
        self._state: State | None = None
        self._last: Look | None = None
        self._history: deque[tuple[State, Fix]] = deque()
        self._lean = (0.0, 0.0)
        self._observations = self._repeats = self._leg_looks = 0
        self._leg_s = self._changed_s = 0.0
        self._onset_s: float | None = None
        self._found_s: float | None = None
        self._interval_s = 3.0
        self._sds = (0.0, 0.0)

    def observe(self, look: Look) -> Estimate:
        """Take in one look and answer for its moment. A repeat of the last one is counted and otherwise ignored."""
        state, last = self._state, self._last
        if state is None or last is None:
            return self._begin(look)
        if look.at_s < state.at_s or self._is_repeat(look, last, state):
            self._repeats += 1
            return self.predict(max(look.at_s, state.at_s))
        fix, own_along, own_athwart = self._fix(look)
        self._interval_s += 0.2 * (min(look.at_s - state.at_s, 30.0) - self._interval_s)
        state, innovation = update(predict(state, look.at_s), fix)
        self._state, self._last = state, look
        self._changed_s = look.at_s
        self._observations += 1
        self._leg_looks += 1
        self._remember(state, fix)
        if self._leans(innovation, fix, own_along, own_athwart):
            self._seek_manoeuvre(look.at_s)
        return self._estimate(self._state, self._phase(look.at_s, look.at_s))

    def predict(self, at_s: float) -> Estimate:
        """The estimate for a moment at or after the last look, without one."""
        if self._state is None:
            raise ValueError("a track without a look has no estimate")
        state = predict(self._state, at_s)
        return self._estimate(state, self._phase(at_s, self._state.at_s))

    def _begin(self, look: Look) -> Estimate:
        fix, _, _ = self._fix(look)
        a, b = fix.sine, fix.cosine
        velocity = FIRST_SD_KN * FIRST_SD_KN
        covariance = (
            fix.along * a * a + fix.athwart * b * b,
            (fix.along - fix.athwart) * a * b,
            0.0,
            0.0,
            fix.along * b * b + fix.athwart * a * a,
            0.0,
            0.0,
            velocity,
            0.0,
            velocity,
        )
        self._state = State(look.at_s, fix.e, fix.n, 0.0, 0.0, covariance)
        self._last = look
        self._observations = self._leg_looks = 1
        self._leg_s = self._changed_s = look.at_s
        self._remember(self._state, fix)
        return self._estimate(self._state, TrackState.SETTLING)

    def _fix(self, look: Look) -> tuple[Fix, float, float]:
        """The look in the plane, with the variances that the filter works with and the look's own."""
        own = look.own
        extra = look.bearing_sd_deg
        if extra > 0.0 and own.turn_rate_deg_min is not None:
            extra += abs(own.turn_rate_deg_min) * (HEADING_DELAY_S / 60.0)
        along, athwart, slow_along, slow_athwart = self._share.variances(look.range_nm, extra * (pi / 180.0))
        bearing = radians(look.bearing_deg)
        sine, cosine = sin(bearing), cos(bearing)
        # The mean of r sin(b + error) is shorter than r sin(b) by exp(-variance/2).
        true_range = look.range_nm
        if true_range > 0.0:
            true_range *= exp(min(0.5 * athwart / (true_range * true_range), 0.1))
        self._sds = (along, athwart / max(look.range_nm * look.range_nm, 1e-6))
        fix = Fix(
            look.at_s,
            own.east_nm + true_range * sine,
            own.north_nm + true_range * cosine,
            sine,
            cosine,
            along * slow_along,
            athwart * slow_athwart,
        )
        return fix, along, athwart

    def _is_repeat(self, look: Look, last: Look, state: State) -> bool:
        """Whether a look is the last measurement again: the same reading, of a target that ought to have moved.

        Without the sentence's own reading, range and bearing stand for it.
        """
        if look.reading is not None and last.reading is not None:
            same = look.reading == last.reading
        else:
            same = look.range_nm == last.range_nm and look.bearing_deg == last.bearing_deg
        if not same:
            return False
        if look.at_s == last.at_s:
            return True
        hours = (look.at_s - last.at_s) / 3600.0
        moved_e = (state.ve - look.own.east_kn) * hours
        moved_n = (state.vn - look.own.north_kn) * hours
        along, bearing = self._sds
        noise = along + bearing * look.range_nm * look.range_nm
        step = 0.01 * 0.01 + (0.00175 * look.range_nm) ** 2
        return moved_e * moved_e + moved_n * moved_n + noise > REPEAT_MOVE * step

    def _remember(self, state: State, fix: Fix) -> None:
        history = self._history
        history.append((state, fix))
        while history[0][0].at_s < state.at_s - HISTORY_S:
            history.popleft()

    def _leans(self, innovation: Innovation, fix: Fix, own_along: float, own_athwart: float) -> bool:
        """Learn from the residuals, and tell whether they have leaned to one side for some looks."""
        along, athwart, along_variance, athwart_variance = innovation
        if self._leg_looks < 3:
            return False
        leg_steady = self._leg_looks > 12 and (self._found_s is None or fix.at_s - self._found_s > MANOEUVRE_S)
        expected_along, expected_athwart = along_variance + own_along, athwart_variance + own_athwart
        self._share.learn(
            along * along / expected_along,
            own_along / expected_along,
            athwart * athwart / expected_athwart,
            own_athwart / expected_athwart,
            leg_steady,
        )
        r = along / sqrt(along_variance + fix.along)
        t = athwart / sqrt(athwart_variance + fix.athwart)
        lean_r, lean_t = self._lean
        lean_r += LEAN_GAIN * (max(-3.0, min(3.0, r)) - lean_r)
        lean_t += LEAN_GAIN * (max(-3.0, min(3.0, t)) - lean_t)
        self._lean = (lean_r, lean_t)
        if leg_steady:
            self._share.learn_slow(r, t)
        return lean_r * lean_r + lean_t * lean_t > LEAN

    def _seek_manoeuvre(self, now_s: float) -> None:
        """Try each onset; if the best change of velocity is significant, learn the track anew from there."""
        best, best_index = SIGNIFICANT, -1
        history = list(self._history)
        ages = iter(ONSETS_S)
        age = next(ages)
        for index in range(len(history) - 4, -1, -1):
            state = history[index][0]
            if state.at_s < self._leg_s + 10.0:
                break
            if now_s - state.at_s < age:
                continue
            found = _change(state, history[index + 1 :])
            if found > best:
                best, best_index = found, index
            following = next((a for a in ages if a > now_s - state.at_s), None)
            if following is None:
                break
            age = following
        if best_index >= 0:
            self._relearn(history, best_index, now_s)

    def _relearn(self, history: list[tuple[State, Fix]], onset: int, now_s: float) -> None:
        state = loosen(history[onset][0], CHANGE_SD_KN)
        self._history = deque(history[: onset + 1])
        for _, fix in history[onset + 1 :]:
            state, _ = update(predict(state, fix.at_s), fix)
            self._history.append((state, fix))
        self._state = state
        self._leg_s = self._onset_s = history[onset][0].at_s
        self._leg_looks = len(history) - onset - 1
        self._found_s = now_s
        self._lean = (0.0, 0.0)

    def _phase(self, at_s: float, seen_s: float) -> TrackState:
        gap = at_s - seen_s
        if gap > LOST_S:
            return TrackState.LOST
        if gap > max(COASTING_S, COASTING_LOOKS * self._interval_s):
            return TrackState.COASTING
        if self._found_s is not None and at_s - self._found_s < MANOEUVRE_S:
            return TrackState.MANOEUVRING
        return TrackState.STEADY

    def _estimate(self, state: State, phase: TrackState) -> Estimate:
        sd = velocity_sd(state)
        settled = (
            self._leg_looks >= SETTLED_LOOKS
            and state.at_s - self._leg_s >= SETTLED_S
            and (sd <= SETTLED_SD_KN or sd * sd <= SETTLED_SHARE**2 * (state.ve * state.ve + state.vn * state.vn))
        )
        if phase is TrackState.STEADY and not settled:
            phase = TrackState.SETTLING
        along, bearing = self._sds
        return Estimate(
            state.at_s,
            state.e,
            state.n,
            state.ve,
            state.vn,
            state.covariance,
            phase,
            settled and phase is not TrackState.LOST,
            self._observations,
            self._repeats,
            self._changed_s,
            self._onset_s,
            sqrt(along),
            sqrt(bearing) * (180.0 / pi),
        )


HEADING_DELAY_S = 0.3
"""How late a heading may be: while own ship turns, a bearing made true with it is wrong by that much of the turn."""


def _change(state: State, later: list[tuple[State, Fix]]) -> float:
    """Chi-square (two degrees) of the change of velocity since `state` that the later looks show."""
    a00 = a01 = a11 = b0 = b1 = c00 = c11 = 0.0
    at_s, e, n, ve, vn, covariance = state
    for _, (fix_s, fix_e, fix_n, sine, cosine, along, athwart) in later:
        u = (fix_s - at_s) / 3600.0
        d0, d1 = fix_e - e - ve * u, fix_n - n - vn * u
        w_along, w_athwart = u / along, u / athwart
        w00 = w_along * sine * sine + w_athwart * cosine * cosine
        w01 = (w_along - w_athwart) * sine * cosine
        w11 = w_along * cosine * cosine + w_athwart * sine * sine
        a00 += w00 * u
        a01 += w01 * u
        a11 += w11 * u
        b0 += w00 * d0 + w01 * d1
        b1 += w01 * d0 + w11 * d1
        c00 += w00
        c11 += w11
    determinant = a00 * a11 - a01 * a01
    if determinant <= 0.0:
        return 0.0
    dv0, dv1 = (a11 * b0 - a01 * b1) / determinant, (a00 * b1 - a01 * b0) / determinant
    # The old state's own error: its velocity's, and its place's as a velocity over the mean lever of the looks.
    k = (c00 + c11) / (a00 + a11)
    p00, p01, p02, p03, p11, p12, p13, p22, p23, p33 = covariance
    s00 = a11 / determinant + p22 + k * (2.0 * p02 + k * p00)
    s01 = -a01 / determinant + p23 + k * (p03 + p12 + k * p01)
    s11 = a00 / determinant + p33 + k * (2.0 * p13 + k * p11)
    return (s11 * dv0 * dv0 - 2.0 * s01 * dv0 * dv1 + s00 * dv1 * dv1) / (s00 * s11 - s01 * s01)
