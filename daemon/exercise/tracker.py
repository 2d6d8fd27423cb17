"""The set's own tracking: what it answers from its measurements and from what it is fed with, right or wrong.

An alpha-beta filter on the echo's place, as sets of all sizes have had since tracking began: gains start as a fit to
all measurements so far and fall to the settled ones. Own motion enters as the set's inputs tell it: a wrong speed input
shifts every target's course and speed by one vector and leaves CPA and TCPA alone, a wrong heading turns the picture.
Arrays are (K, N), K turns of the antenna, N targets.
"""

from typing import NamedTuple

import numpy as np
from numpy.random import Generator

from daemon.exercise.echoes import Echoes, Flags
from daemon.exercise.geodesy import Floats
from daemon.exercise.scenario import Radar
from daemon.exercise.sensors import Compass, Log, OwnShipReadings, Receiver
from daemon.exercise.vessel import STANDING_KN

NONE, ACQUIRING, TRACKING, LOST = 0, 1, 2, 3


class Inputs(NamedTuple):
    """What the set knows of own ship at each look, (K, N). NaN heading: none, its bearings are then relative.

    East and north are the set's own: without a heading 'north' is the bow.
    """

    heading_deg: Floats
    east_kn: Floats
    north_kn: Floats


class Tracks(NamedTuple):
    """The set's answers, (K, N). `status` is NONE where it says nothing of the target at that turn.

    Range and bearing are what it reports (bearing true, or relative where there is no heading), course and speed
    the target's by the set's inputs. `relative` is True where the set had no heading.
    """

    status: np.ndarray
    range_nm: Floats
    bearing_deg: Floats
    course_deg: Floats
    speed_kn: Floats
    cpa_nm: Floats
    tcpa_min: Floats
    relative: Flags


def inputs(
    radar: Radar,
    own: OwnShipReadings,
    sensors: tuple[Compass | None, Receiver | None, Log | None],
    times_s: Floats,
    rng: Generator,
) -> Inputs:
    """What reaches the set at the looks' times, faults of the way included."""
    compass, receiver, log = sensors
    spec = radar.inputs
    if compass is None or spec.heading == "none":
        heading = np.full(times_s.shape, np.nan)
    else:
        heading = compass.read(times_s, rng, extra_delay_s=spec.heading_delay_s) + spec.heading_bias_deg
    bow = np.radians(np.nan_to_num(heading))
    if spec.speed == "ground" and receiver is not None:
        east, north = receiver.velocity(times_s, rng)
        truth = own.heading(times_s)
        turn = np.radians(np.where(np.isnan(heading), truth, heading - truth))
        turn = np.where(np.isnan(heading), -np.radians(truth), turn)
        east, north = east * np.cos(turn) + north * np.sin(turn), north * np.cos(turn) - east * np.sin(turn)
        length = np.hypot(east, north)
        speed = length * spec.speed_factor + spec.speed_bias_kn
        scale = np.divide(speed, length, out=np.ones_like(length), where=length > 0.01)
        return Inputs(heading, np.nan_to_num(east * scale), np.nan_to_num(north * scale))
    if spec.speed == "manual":
        speed = np.full(times_s.shape, spec.manual_speed_kn)
    elif log is not None:
        speed = np.nan_to_num(log.read(times_s, rng))
    else:
        speed = np.zeros(times_s.shape)
    speed = speed * spec.speed_factor + spec.speed_bias_kn
    return Inputs(heading, speed * np.sin(bow), speed * np.cos(bow))


def track(radar: Radar, echoes: Echoes, seen: Flags, wanted: Flags, fed: Inputs) -> Tracks:
    """Runs the tracker over all turns. `wanted` (K, N): where the target may be tracked at all."""
    relative = np.isnan(fed.heading_deg)
    bearing = (echoes.relative_deg + np.nan_to_num(fed.heading_deg)) % 360.0
    angle = np.radians(bearing)
    east, north = echoes.range_nm * np.sin(angle), echoes.range_nm * np.cos(angle)
    filtered = _Filter(radar, seen.shape[1])
    turned = np.zeros(seen.shape, dtype=bool)
    turned[1:] = relative[1:] != relative[:-1]
    status = np.zeros(seen.shape, dtype=np.int8)
    places, velocities = np.empty((2, *seen.shape)), np.empty((2, *seen.shape))
    for k in range(seen.shape[0]):
        status[k] = filtered.turn(
            echoes.times_s[k], (east[k], north[k]), (fed.east_kn[k], fed.north_kn[k]), seen[k], wanted[k], turned[k]
        )
        places[:, k], velocities[:, k] = filtered.place, filtered.velocity
    if radar.reports == "measured":
        now = seen & (status != NONE)
        places = np.where(now, np.stack([east, north]), places)
    return _answers(status, places, velocities, fed, relative)


class _Filter:
    """The running state of N trackers. Places in NM from own ship, velocities in knots over the set's ground."""

    def __init__(self, radar: Radar, targets: int) -> None:
        self.radar = radar
        self.place, self.velocity = np.zeros((2, targets)), np.zeros((2, targets))
        self.held = np.zeros(targets, dtype=bool)
        self.measured, self.missed = np.zeros(targets, dtype=np.int64), np.zeros(targets, dtype=np.int64)
        self.since_s, self.last_s = np.zeros(targets), np.zeros(targets)
        self.lost = np.zeros(targets, dtype=np.int64)  # reports with status L still to be sent

    def turn(
        self,
        times_s: Floats,
        echo: tuple[Floats, Floats],
        own_kn: tuple[Floats, Floats],
        seen: Flags,
        wanted: Flags,
        turned: Flags,
    ) -> np.ndarray:
        """One turn of the antenna; returns each target's status."""
        hours = (times_s - self.last_s) / 3600.0
        self.last_s = times_s
        own, measured = np.stack(own_kn), np.stack(echo)
        self.held &= wanted & ~turned
        self.lost[~wanted] = 0
        self.place = self.place + (self.velocity - own) * hours
        self._begin(times_s, seen & wanted & ~self.held, measured, own)
        self._correct(seen & self.held, measured, hours)
        self.missed = np.where(seen, 0, self.missed + 1)
        gone = self.held & (self.missed >= self.radar.lost_after_scans)
        self.held &= ~gone
        self.lost = np.where(gone, self.radar.lost_reports, np.where(self.held, 0, self.lost))
        status = np.where(times_s - self.since_s < self.radar.acquisition_s, ACQUIRING, TRACKING)
        status = np.where(self.held, status, np.where(self.lost > 0, LOST, NONE))
        self.lost = np.maximum(self.lost - (status == LOST), 0)
        return status

    def _begin(self, times_s: Floats, new: Flags, measured: Floats, own: Floats) -> None:
        """Takes up echoes that are not held yet, as far as the capacity reaches."""
        room = self.radar.capacity - int(self.held.sum())
        if int(new.sum()) > room:
            new = new & (np.cumsum(new) <= room)
        if not new.any():
            return
        self.held = self.held | new
        self.since_s = np.where(new, times_s, self.since_s)
        self.measured = np.where(new, 0, self.measured)
        self.place = np.where(new, measured, self.place)
        self.velocity = np.where(new, own, self.velocity)  # at rest relative to us until it is seen to move

    def _correct(self, now: Flags, measured: Floats, hours: Floats) -> None:
        """The alpha-beta step. The first gains are those of a straight-line fit (Kalata's and older texts)."""
        n = self.measured
        alpha = np.maximum(2 * (2 * n + 1) / ((n + 1) * (n + 2)), self.radar.alpha)
        beta = np.where(n == 0, 0.0, np.maximum(6 / ((n + 1) * (n + 2)), self.radar.beta))
        miss = np.where(now, measured - self.place, 0.0)
        self.place = self.place + np.minimum(alpha, 1.0) * miss
        step = np.divide(beta, hours, out=np.zeros_like(hours), where=hours > 1e-6)
        self.velocity = self.velocity + step * miss
        self.measured = n + now


def _answers(status: np.ndarray, place: Floats, velocity: Floats, fed: Inputs, relative: Flags) -> Tracks:
    """Range, bearing, course, speed, CPA and TCPA from the tracker's place and velocity, (2, K, N) each.

    Textbook closed form. A relative speed under STANDING_KN has its present range as CPA and no TCPA (NaN).
    """
    ve, vn = velocity[0] - fed.east_kn, velocity[1] - fed.north_kn
    squared = ve**2 + vn**2
    still = squared < STANDING_KN**2
    safe = np.where(still, 1.0, squared)
    tcpa = -(place[0] * ve + place[1] * vn) / safe
    cpa = np.where(still, np.hypot(*place), np.abs(place[0] * vn - place[1] * ve) / np.sqrt(safe))
    return Tracks(
        status,
        np.hypot(*place),
        np.degrees(np.arctan2(place[0], place[1])) % 360.0,
        np.degrees(np.arctan2(velocity[0], velocity[1])) % 360.0,
        np.hypot(*velocity),
        cpa,
        np.where(still, np.nan, tcpa * 60.0),
        relative,
    )
