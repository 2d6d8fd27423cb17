"""What really happened: a target's track with all its looks known, those after each moment as well as those before.

A forward pass of the track (estimate.py) learns what the looks are worth and finds the manoeuvres. A second one takes
all looks again with that knowledge, the velocity free to change during the manoeuvres, and a backward pass (Rauch, Tung
and Striebel 1965, from memory; the tests hold it against one batch least-squares fit) corrects each state by what came
after.
"""

from collections.abc import Sequence
from typing import NamedTuple

import msgspec
import numpy as np
from numpy.typing import NDArray

from alerts.plotting.estimate import TURN, TURN_ON_S, WANDER, Track, is_settled
from alerts.plotting.filter import State, first_state, predict, update
from alerts.plotting.kinematics import Estimate, Look, full, upper
from alerts.plotting.noise import NoiseModel
from alerts.plotting.terms import TrackState

BEFORE_ONSET_S = 6.0
"""An onset is found to the look or two."""


class Manoeuvre(NamedTuple):
    """From when until when a target's velocity is taken to have changed."""

    from_s: float
    until_s: float


def hindsight(looks: Sequence[Look], noise: NoiseModel | None = None) -> list[Estimate]:
    """The smoothed track, one estimate a look, in order. Looks are of one target, in order of time.

    `noise` is the feed's; it learns from these looks as it would from a running track. No looks, no estimates.
    """
    if not looks:
        return []
    track = Track(noise if noise is not None else NoiseModel())
    told = [track.observe(look) for look in looks]
    manoeuvres = found_manoeuvres(told)
    states, predictions, gaps = _forward(track, looks, told, manoeuvres)
    smoothed = _backward(states, predictions, gaps)
    return [_estimate(said, state, manoeuvres) for said, state in zip(told, smoothed, strict=True)]


def found_manoeuvres(told: Sequence[Estimate]) -> list[Manoeuvre]:
    """The manoeuvres that a track said and did not take back, in order."""
    standing: list[tuple[float, Manoeuvre]] = []
    for estimate in told:
        onset_s = estimate.manoeuvre_at_s
        if onset_s == (standing[-1][0] if standing else None):
            continue
        if onset_s is None:
            standing.clear()
        elif any(onset_s == one for one, _ in standing):
            while standing[-1][0] != onset_s:
                standing.pop()
        else:
            standing.append((onset_s, Manoeuvre(onset_s - BEFORE_ONSET_S, estimate.at_s + TURN_ON_S)))
    return [manoeuvre for _, manoeuvre in standing]


def _forward(
    track: Track, looks: Sequence[Look], told: Sequence[Estimate], manoeuvres: Sequence[Manoeuvre]
) -> tuple[list[State], list[State], list[float]]:
    """States after each look, predictions before it, and the hours between. Repeats are carried over, not taken in."""
    state = first_state(track.fix(looks[0]))
    states, predictions, gaps = [state], [state], [0.0]
    for look, said, before in zip(looks[1:], told[1:], told, strict=False):
        # A look older than the track's last is answered for the last one's moment, as the track did.
        at_s = said.at_s
        turning = any(one.from_s < at_s and state.at_s < one.until_s for one in manoeuvres)
        prediction = predict(state, at_s, TURN if turning else WANDER)
        gaps.append((at_s - state.at_s) / 3600.0)
        predictions.append(prediction)
        state = prediction if said.repeats > before.repeats else update(prediction, track.fix(look))[0]
        states.append(state)
    return states, predictions, gaps


def _backward(states: Sequence[State], predictions: Sequence[State], gaps: Sequence[float]) -> list[State]:
    means, covariances = _arrays(states)
    ahead_means, ahead_covariances = _arrays(predictions)
    transition = np.broadcast_to(np.eye(4), covariances.shape).copy()
    transition[:-1, 0, 2] = transition[:-1, 1, 3] = gaps[1:]
    gains = covariances[:-1] @ transition[:-1].transpose(0, 2, 1) @ np.linalg.inv(ahead_covariances[1:])
    for k in range(len(states) - 2, -1, -1):
        gain = gains[k]
        means[k] += gain @ (means[k + 1] - ahead_means[k + 1])
        covariances[k] += gain @ (covariances[k + 1] - ahead_covariances[k + 1]) @ gain.T
    smoothed = []
    for state, (e, n, ve, vn), covariance in zip(states, means.tolist(), covariances, strict=True):
        smoothed.append(State(state.at_s, e, n, ve, vn, upper(covariance)))
    return smoothed


def _arrays(states: Sequence[State]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Means (K, 4) and full covariances (K, 4, 4)."""
    means = np.array([(state.e, state.n, state.ve, state.vn) for state in states])
    return means, full([state.covariance for state in states])


def _estimate(said: Estimate, state: State, manoeuvres: Sequence[Manoeuvre]) -> Estimate:
    turning = any(one.from_s <= state.at_s <= one.until_s for one in manoeuvres)
    settled = is_settled(state)
    phase = TrackState.MANOEUVRING if turning else TrackState.STEADY if settled else TrackState.SETTLING
    onset = max((one.from_s + BEFORE_ONSET_S for one in manoeuvres if one.from_s <= state.at_s), default=None)
    estimate: Estimate = msgspec.structs.replace(
        said,
        east_nm=state.e,
        north_nm=state.n,
        east_kn=state.ve,
        north_kn=state.vn,
        covariance=state.covariance,
        state=phase,
        settled=settled,
        manoeuvre_at_s=onset,
    )
    return estimate
