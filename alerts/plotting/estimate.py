"""One target's track: place and ground velocity with their covariance, look by look.

In the plane of kinematics.py a steady target moves in a straight line whatever own ship does, so that with almost no
process noise the filter (filter.py) is the least-squares line through all looks of the leg. What the looks are worth is
learnt on the way (noise.py); a new track goes through its first looks again when more is known of them.

A manoeuvre is looked for when the residuals lean to one side: for several onsets in the last minute and a half, the
change of velocity since then is held against its own covariance. If it is significant, the track goes back to the
onset and takes the looks since with a velocity that may change, then settles on the new one.

docs/method.md tells which other designs were tried, and measures this one. Plain floats, no arrays.
"""

import copy
from collections import deque
from math import copysign, cos, exp, pi, radians, sin, sqrt
from typing import NamedTuple

import msgspec

from alerts.plotting.filter import Fix, Residual, State, change_since, first_state, loosen, predict, update, velocity_sd
from alerts.plotting.kinematics import Estimate, Look
from alerts.plotting.noise import NoiseModel, Share
from alerts.plotting.terms import TrackState
from parsers.observations import MotionReference

WANDER = 0.015
"""Process noise, kn^2 an hour: a steady vessel's velocity wanders by 0.03 kn in three minutes, 0.12 kn in an hour."""

TURN, TURN_ON_S = 7_000.0, 20.0
"""Process noise, kn^2 an hour, from a manoeuvre's onset until so long after it was found: 11 kn in a minute."""

SETTLED_SD_KN, SETTLED_SHARE = 2.0, 0.12
"""Settled: the velocity's greater sd is under 2 kn, or under 12 % of the speed for a fast target.

A.823(19) wants a trend after one minute to 0.6 to 2.8 kn (95 %)."""

SETTLED_LOOKS, SETTLED_S = 5, 20.0

REVIEWS = (10, 16, 25, 40)
"""Looks after which a new track goes through them all again."""

HISTORY_S = 120.0
ONSETS_S = (15.0, 24.0, 36.0, 54.0, 80.0)
"""Ages of the onsets that are tried."""

LEG_LEAST_S = 15.0
LOOKS_LEAST = 4

LEAN_GAIN, LEAN_SQUARED = 0.25, 1.1
"""The residuals' running mean, in sds: when its square is over that, a manoeuvre is looked for."""

SIGNIFICANT = 20.0
"""Chi-square of two degrees for a change of velocity: p = 5e-5 for one look; measured, one false in ten hours or so."""

CONFIRM_S = 20.0
"""So long after it was found a manoeuvre is held against all looks since its onset once more."""

MANOEUVRE_S = 60.0
"""A manoeuvre is shown for the standard's minute after it was last seen."""

STEADY_LOOKS = 12

COASTING_LOOKS, COASTING_S = 4.0, 15.0
LOST_S = 90.0

HEADING_DELAY_S = 0.1
"""How much the delay of headings is in doubt: while own ship turns, bearings are in doubt by that much of the turn."""

TURN_MOST_RAD_S = 0.35
"""A rate of turn over 20 degrees a second is no vessel's but a sensor's."""

REPEAT_SHARE = 0.7

FRAME_SD_KN = 1.0
"""How well the velocity is carried over when own motion changes from ground to water, or back."""


class Track:
    """One target. `observe` takes looks in order of time; `predict` answers for any later moment."""

    __slots__ = (
        "_changed_s",
        "_doubt",
        "_early",
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
        "_share",
        "_state",
        "_variances",
        "noise",
    )

    def __init__(self, noise: NoiseModel) -> None:
        self.noise = noise
        self._share = Share(noise)
        self._state: State | None = None
        self._last: Look | None = None
        self._early: list[Look] = []
        self._doubt: _Doubt | None = None
        self._history: deque[tuple[State, Fix]] = deque()
        self._lean = (0.0, 0.0)
        self._observations = self._repeats = self._leg_looks = 0
        self._leg_s = self._changed_s = 0.0
        self._onset_s: float | None = None
        self._found_s: float | None = None
        self._interval_s = 3.0
        self._variances = self._share.variances(1.0, 0.0)  # of the look in hand

    def __deepcopy__(self, memo: dict[int, object]) -> "Track":
        """A track of its own, noise model included. What is in its history never changes, and is not copied.

        Copied piece by piece it took 3.3 ms, and now 0.05: two are copied when vessels meet, while an alert may wait.
        """
        twin = copy.copy(self)
        twin.noise = copy.deepcopy(self.noise, memo)
        twin._share = copy.deepcopy(self._share, memo)
        twin._early, twin._history = list(self._early), self._history.copy()
        return twin

    def observe(self, look: Look) -> Estimate:
        """Take in one look and answer for its moment. A repeat of the last one is counted and otherwise ignored."""
        state, last, at_s = self._state, self._last, look.at_s
        if state is None or last is None:
            return self._begin(look)
        if at_s < state.at_s or self._is_repeat(look, last, state):
            self._repeats += 1
            return self.predict(max(at_s, state.at_s))
        interval_s = at_s - state.at_s
        self._interval_s += 0.2 * ((interval_s if interval_s < 30.0 else 30.0) - self._interval_s)
        if look.own.frame is not last.own.frame:
            if MotionReference.UNKNOWN in (look.own.frame, last.own.frame):
                return self._begin_again(look)
            state = self._change_frame(state, last, look)
        fix = self.fix(look)
        turning = self._found_s is not None and at_s < self._found_s + TURN_ON_S
        state, residual = update(predict(state, at_s, TURN if turning else WANDER), fix)
        self._state, self._last, self._changed_s = state, look, at_s
        self._observations += 1
        self._leg_looks += 1
        self._remember(state, fix)
        leans = self._leg_looks > 2 and self._leans(residual, fix, look)
        if self._early and self._observations <= REVIEWS[-1]:
            self._early.append(look)
            if self._observations in REVIEWS and self._onset_s is None:
                self._review()
        if self._doubt is not None and at_s >= self._doubt.until_s:
            self._confirm(self._doubt)
        if leans and self._observations > REVIEWS[1]:
            self._seek_manoeuvre(at_s)
        return self._estimate(self._state, self._phase(at_s, at_s))

    def predict(self, at_s: float) -> Estimate:
        """The estimate for a moment at or after the last look, without one."""
        if self._state is None:
            raise ValueError("a track without a look has no estimate")
        return self._estimate(predict(self._state, at_s, WANDER), self._phase(at_s, self._state.at_s))

    def _begin(self, look: Look) -> Estimate:
        fix = self.fix(look)
        self._state = first_state(fix)
        self._last = look
        self._early.append(look)
        self._observations = self._leg_looks = 1
        self._leg_s = self._changed_s = look.at_s
        self._remember(self._state, fix)
        return self._estimate(self._state, TrackState.SETTLING)

    def fix(self, look: Look) -> Fix:
        """The look in the plane, with the variances that the filter works with."""
        own, range_nm, extra, bearing = look.own, look.range_nm, radians(look.bearing_sd_deg), radians(look.bearing_deg)
        if own.turn_rate_deg_min is not None and own.heading_deg is not None:
            rate = _turn_rad_s(own.turn_rate_deg_min)
            bearing += rate * self.noise.heading_delay.seconds
            extra += abs(rate) * HEADING_DELAY_S
        self._variances = found = self._share.variances(range_nm, extra)
        sine, cosine = sin(bearing), cos(bearing)
        if range_nm > 0.0:
            # The mean of r sin(b + error) is shorter than r sin(b) by exp(-variance/2).
            shortened = 0.5 * found.athwart / (range_nm * range_nm)
            range_nm *= exp(shortened if shortened < 0.1 else 0.1)
        return Fix(
            look.at_s,
            own.east_nm + range_nm * sine,
            own.north_nm + range_nm * cosine,
            sine,
            cosine,
            found.along_used,
            found.athwart_used,
        )

    def _begin_again(self, look: Look) -> Estimate:
        """Own motion is lost or found: the plane is another one, and nothing of the old state holds in it."""
        observations = self._observations
        self._history.clear()
        self._early, self._doubt, self._lean = [], None, (0.0, 0.0)
        self._onset_s = self._found_s = None
        estimate = self._begin(look)
        self._observations = observations + 1
        self._early = []
        return msgspec.structs.replace(estimate, observations=self._observations)

    def _change_frame(self, state: State, last: Look, look: Look) -> State:
        """Own motion is now known against something else: what the target does relative to us goes on."""
        moved = msgspec.structs.replace(
            state,
            ve=state.ve + look.own.east_kn - last.own.east_kn,
            vn=state.vn + look.own.north_kn - last.own.north_kn,
        )
        self._history.clear()
        self._early = []
        return loosen(moved, FRAME_SD_KN)

    def _is_repeat(self, look: Look, last: Look, state: State) -> bool:
        """Whether a look is the last measurement again: the same reading, where chance or stillness hardly gives it.

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
        noise = self._share.variances(look.range_nm, 0.0)
        step = 0.01 * 0.01 + (0.00175 * look.range_nm) ** 2
        return moved_e * moved_e + moved_n * moved_n + noise.along + noise.athwart > REPEAT_SHARE * step

    def _remember(self, state: State, fix: Fix) -> None:
        history = self._history
        history.append((state, fix))
        while history[0][1].at_s < fix.at_s - HISTORY_S:
            history.popleft()

    def _leans(self, residual: Residual, fix: Fix, look: Look) -> bool:
        """Learn from the residuals, and tell whether they have leaned to one side for some looks."""
        along, athwart = residual.along, residual.athwart
        own_along, own_athwart = self._variances.along, self._variances.athwart
        expected_along, expected_athwart = residual.along_variance + own_along, residual.athwart_variance + own_athwart
        self._share.learn(
            look.range_nm,
            along / sqrt(expected_along),
            own_along / expected_along,
            athwart / sqrt(expected_athwart),
            own_athwart / expected_athwart,
            self._leg_looks > STEADY_LOOKS and (self._found_s is None or fix.at_s > self._found_s + MANOEUVRE_S),
        )
        turn = look.own.turn_rate_deg_min
        if turn is not None and look.own.heading_deg is not None and look.range_nm > 0.0:
            square = look.range_nm * look.range_nm
            self.noise.heading_delay.learn(athwart / look.range_nm, expected_athwart / square, _turn_rad_s(turn))
        r = along / sqrt(residual.along_variance + fix.along)
        t = athwart / sqrt(residual.athwart_variance + fix.athwart)
        r0, t0 = self._lean
        r0 += LEAN_GAIN * ((r if -3.0 < r < 3.0 else copysign(3.0, r)) - r0)
        t0 += LEAN_GAIN * ((t if -3.0 < t < 3.0 else copysign(3.0, t)) - t0)
        self._lean = r0, t0
        return r0 * r0 + t0 * t0 > LEAN_SQUARED

    def _review(self) -> None:
        """Go through all looks again with the errors that they have shown since."""
        self._share.hand_on()
        self._history.clear()
        fix = self.fix(self._early[0])
        state = first_state(fix)
        self._remember(state, fix)
        for look in self._early[1:]:
            fix = self.fix(look)
            state, _ = update(predict(state, look.at_s, WANDER), fix)
            self._remember(state, fix)
        self._state = state
        if self._observations == REVIEWS[-1]:
            self._early = []

    def _seek_manoeuvre(self, now_s: float) -> None:
        """Try each onset; if the best change of velocity is significant, learn the track anew from there."""
        best, onset = SIGNIFICANT, -1
        history = list(self._history)
        fixes = [fix for _, fix in history]
        for index in _onsets(fixes, now_s, self._leg_s + LEG_LEAST_S):
            found = change_since(history[index][0], fixes[index + 1 :])
            if found > best:
                best, onset = found, index
        if onset >= 0:
            self._relearn(history, onset, now_s)

    def _relearn(self, history: list[tuple[State, Fix]], onset: int, now_s: float) -> None:
        self._doubt = _Doubt(now_s + CONFIRM_S, self._leg_s, self._leg_looks, self._onset_s, self._found_s)
        self._refilter(history, onset, TURN)
        self._leg_s = self._onset_s = history[onset][1].at_s
        self._leg_looks = len(history) - onset - 1
        self._found_s = now_s
        self._lean = (0.0, 0.0)

    def _refilter(self, history: list[tuple[State, Fix]], since: int, wander: float) -> None:
        """Take the looks after one of the history again, the velocity wandering so much."""
        state = history[since][0]
        self._history = deque(history[: since + 1])
        for _, fix in history[since + 1 :]:
            state, _ = update(predict(state, fix.at_s, wander), fix)
            self._history.append((state, fix))
        self._state = state

    def _confirm(self, doubt: "_Doubt") -> None:
        """Hold a manoeuvre against the looks since it was found; one that they do not bear out is taken back."""
        self._doubt = None
        history = list(self._history)
        onset = next((k for k, (_, fix) in enumerate(history) if fix.at_s == self._onset_s), None)
        if onset is None:
            return
        if change_since(history[onset][0], [fix for _, fix in history[onset + 1 :]]) > SIGNIFICANT:
            return
        self._refilter(history, onset, WANDER)
        self._leg_s, self._leg_looks = doubt.leg_s, doubt.leg_looks + self._leg_looks
        self._onset_s, self._found_s = doubt.onset_s, doubt.found_s
        self._lean = (0.0, 0.0)

    def _phase(self, at_s: float, seen_s: float) -> TrackState:
        gap = at_s - seen_s
        if gap > COASTING_S and gap > COASTING_LOOKS * self._interval_s:
            return TrackState.LOST if gap > LOST_S else TrackState.COASTING
        if self._found_s is not None and at_s < self._found_s + MANOEUVRE_S:
            return TrackState.MANOEUVRING
        return TrackState.STEADY

    def _estimate(self, state: State, phase: TrackState) -> Estimate:
        at_s = state.at_s
        settled = (
            self._leg_looks >= SETTLED_LOOKS
            and at_s >= self._leg_s + SETTLED_S
            and phase is not TrackState.LOST
            and is_settled(state)
        )
        if phase is TrackState.STEADY and not settled:
            phase = TrackState.SETTLING
        last = self._last
        range_sd_nm, bearing_sd_deg = self._share.sds(last.range_nm if last is not None else 1.0)
        return Estimate(
            at_s,
            state.e,
            state.n,
            state.ve,
            state.vn,
            state.covariance,
            phase,
            settled,
            self._observations,
            self._repeats,
            self._changed_s,
            self._onset_s,
            range_sd_nm,
            bearing_sd_deg,
        )


def is_settled(state: State) -> bool:
    """Whether the velocity is known well enough to mean anything."""
    sd = velocity_sd(state)
    return sd <= SETTLED_SD_KN or sd * sd <= SETTLED_SHARE * SETTLED_SHARE * (state.ve**2 + state.vn**2)


class _Doubt(NamedTuple):
    """Until when a manoeuvre is to be confirmed, and the leg that goes on if it is not."""

    until_s: float
    leg_s: float
    leg_looks: int
    onset_s: float | None
    found_s: float | None


def _turn_rad_s(turn_deg_min: float) -> float:
    turn = turn_deg_min * (pi / 10_800.0)
    return turn if -TURN_MOST_RAD_S < turn < TURN_MOST_RAD_S else copysign(TURN_MOST_RAD_S, turn)


def _onsets(fixes: list[Fix], now_s: float, earliest_s: float) -> list[int]:
    """Indices of the looks after which a manoeuvre may have begun, one for each age."""
    found: list[int] = []
    index = len(fixes) - LOOKS_LEAST
    for age in ONSETS_S:
        while index >= 0 and now_s - fixes[index].at_s < age:
            index -= 1
        if index < 0 or fixes[index].at_s < earliest_s:
            break
        if not found or found[-1] != index:
            found.append(index)
    return found
