"""The filter's algebra: a straight line in the ground-fixed plane, carried on in time and corrected by looks.

A Kalman filter of four states (place in NM, velocity in knots, time in hours inside) in plain floats, the covariance as
its upper triangle. A look is taken in along and athwart the line of sight, where its errors are independent: two
scalar updates, no matrix to invert. tests/reference/test_filter_algebra.py holds it against scipy and least squares.
"""

from math import sqrt

from msgspec import Struct, structs

from alerts.plotting.kinematics import Covariance

FIRST_SD_KN = 30.0
"""What is known of a new target's velocity, each component: few vessels go faster."""


class State(Struct, frozen=True, gc=False):
    """Place (NM), velocity (kn) and covariance at a moment (s)."""

    at_s: float
    e: float
    n: float
    ve: float
    vn: float
    covariance: Covariance


class Fix(Struct, frozen=True, gc=False):
    """A look as the filter takes it: where it puts the target, along which line, and its variances (NM squared)."""

    at_s: float
    e: float
    n: float
    sine: float
    cosine: float
    along: float
    athwart: float


class Residual(Struct, frozen=True, gc=False):
    """A look less the prediction, along and athwart (NM), and the prediction's own variances there."""

    along: float
    athwart: float
    along_variance: float
    athwart_variance: float


def first_state(fix: Fix) -> State:
    """What one look says: a place, and next to nothing of the velocity."""
    a, b = fix.sine, fix.cosine
    p00 = fix.along * a * a + fix.athwart * b * b
    p01 = (fix.along - fix.athwart) * a * b
    p11 = fix.along * b * b + fix.athwart * a * a
    velocity = FIRST_SD_KN * FIRST_SD_KN
    return State(fix.at_s, fix.e, fix.n, 0.0, 0.0, (p00, p01, 0.0, 0.0, p11, 0.0, 0.0, velocity, 0.0, velocity))


def predict(state: State, at_s: float, wander: float) -> State:
    """The state carried on in a straight line; its velocity's variance grows by `wander` (kn^2) an hour."""
    dt = (at_s - state.at_s) / 3600.0
    if dt == 0.0:
        return state
    p00, p01, p02, p03, p11, p12, p13, p22, p23, p33 = state.covariance
    grown = wander * abs(dt)
    half, third = 0.5 * grown * dt, grown * dt * dt / 3.0
    return State(
        at_s,
        state.e + state.ve * dt,
        state.n + state.vn * dt,
        state.ve,
        state.vn,
        (
            p00 + dt * (2.0 * p02 + dt * p22) + third,
            p01 + dt * (p03 + p12 + dt * p23),
            p02 + dt * p22 + half,
            p03 + dt * p23,
            p11 + dt * (2.0 * p13 + dt * p33) + third,
            p12 + dt * p23,
            p13 + dt * p33 + half,
            p22 + grown,
            p23,
            p33 + grown,
        ),
    )


def update(state: State, fix: Fix) -> tuple[State, Residual]:
    """The state after a look at its own moment: the scalar update along the line of sight, then the one athwart."""
    e, n, ve, vn, (p00, p01, p02, p03, p11, p12, p13, p22, p23, p33) = (
        state.e,
        state.n,
        state.ve,
        state.vn,
        state.covariance,
    )
    fe, fn, a, b = fix.e, fix.n, fix.sine, fix.cosine
    h0, h1, h2, h3 = p00 * a + p01 * b, p01 * a + p11 * b, p02 * a + p12 * b, p03 * a + p13 * b
    along_variance = a * h0 + b * h1
    gain = 1.0 / (along_variance + fix.along)
    along = (fe - e) * a + (fn - n) * b
    step = along * gain
    e += h0 * step
    n += h1 * step
    ve += h2 * step
    vn += h3 * step
    g = h0 * gain
    p00, p01, p02, p03 = p00 - g * h0, p01 - g * h1, p02 - g * h2, p03 - g * h3
    g = h1 * gain
    p11, p12, p13 = p11 - g * h1, p12 - g * h2, p13 - g * h3
    g = h2 * gain
    p22, p23, p33 = p22 - g * h2, p23 - g * h3, p33 - h3 * gain * h3
    # Athwart: clockwise positive, the direction (cosine, -sine).
    h0, h1, h2, h3 = p00 * b - p01 * a, p01 * b - p11 * a, p02 * b - p12 * a, p03 * b - p13 * a
    athwart_variance = b * h0 - a * h1
    gain = 1.0 / (athwart_variance + fix.athwart)
    athwart = (fe - e) * b - (fn - n) * a
    step = athwart * gain
    g, g1, g2 = h0 * gain, h1 * gain, h2 * gain
    return (
        State(
            state.at_s,
            e + h0 * step,
            n + h1 * step,
            ve + h2 * step,
            vn + h3 * step,
            (
                p00 - g * h0,
                p01 - g * h1,
                p02 - g * h2,
                p03 - g * h3,
                p11 - g1 * h1,
                p12 - g1 * h2,
                p13 - g1 * h3,
                p22 - g2 * h2,
                p23 - g2 * h3,
                p33 - h3 * gain * h3,
            ),
        ),
        Residual(along, athwart, along_variance, athwart_variance),
    )


def loosen(state: State, sd_kn: float) -> State:
    """The same state with its velocity known less well, by so much in each component."""
    p00, p01, p02, p03, p11, p12, p13, p22, p23, p33 = state.covariance
    grown = sd_kn * sd_kn
    return structs.replace(state, covariance=(p00, p01, p02, p03, p11, p12, p13, p22 + grown, p23, p33 + grown))


def velocity_sd(state: State) -> float:
    """The sd of the velocity along the axis where it is worst known, kn."""
    _, _, _, _, _, _, _, p22, p23, p33 = state.covariance
    mean, half = 0.5 * (p22 + p33), 0.5 * (p22 - p33)
    square = mean + sqrt(half * half + p23 * p23)
    return sqrt(square) if square > 0.0 else 0.0


def change_since(state: State, later: list[Fix]) -> float:
    """How surely the later looks show another velocity than `state` had: chi-square of two degrees of freedom.

    The change is fitted as if it had come at once after `state`; its covariance holds the looks' errors and the
    state's own. Where the looks scatter more about the new line than their variances say, it counts for less.
    """
    a00 = a01 = a11 = b0 = b1 = c00 = c11 = squares = 0.0
    at_s, e, n, ve, vn = state.at_s, state.e, state.n, state.ve, state.vn
    for fix in later:
        sine, cosine, along, athwart = fix.sine, fix.cosine, fix.along, fix.athwart
        u = (fix.at_s - at_s) / 3600.0
        d0, d1 = fix.e - e - ve * u, fix.n - n - vn * u
        w00 = sine * sine / along + cosine * cosine / athwart
        w01 = (1.0 / along - 1.0 / athwart) * sine * cosine
        w11 = cosine * cosine / along + sine * sine / athwart
        f0, f1 = w00 * d0 + w01 * d1, w01 * d0 + w11 * d1
        squares += f0 * d0 + f1 * d1
        b0 += f0 * u
        b1 += f1 * u
        c00 += w00 * u
        c11 += w11 * u
        a00 += w00 * u * u
        a01 += w01 * u * u
        a11 += w11 * u * u
    determinant = a00 * a11 - a01 * a01
    if determinant <= 0.0:
        return 0.0
    dv0, dv1 = (a11 * b0 - a01 * b1) / determinant, (a00 * b1 - a01 * b0) / determinant
    # The old state's error is its velocity's, and its place's taken as a velocity over the looks' mean lever.
    k = (c00 + c11) / (a00 + a11)
    p00, p01, p02, p03, p11, p12, p13, p22, p23, p33 = state.covariance
    s00 = a11 / determinant + p22 + k * (2.0 * p02 + k * p00)
    s01 = -a01 / determinant + p23 + k * (p03 + p12 + k * p01)
    s11 = a00 / determinant + p33 + k * (2.0 * p13 + k * p11)
    found = (s11 * dv0 * dv0 - 2.0 * s01 * dv0 * dv1 + s00 * dv1 * dv1) / (s00 * s11 - s01 * s01)
    freedom = 2.0 * len(later) - 2.0
    scatter = (squares - b0 * dv0 - b1 * dv1 + _SCATTER_PRIOR) / (freedom + _SCATTER_PRIOR)
    return found / max(1.0, scatter)


_SCATTER_PRIOR = 4.0
