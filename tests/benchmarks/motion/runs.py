"""Encounters run through tracks: what the filter said at each look, beside the truth of that moment."""

from collections.abc import Callable, Iterator, Sequence
from typing import NamedTuple

import msgspec
import numpy as np
from numpy.typing import NDArray

from alerts.plotting.estimate import Track
from alerts.plotting.geometry import Column, closest_approach
from alerts.plotting.kinematics import Estimate, Look
from alerts.plotting.motion import Assessment, assess
from alerts.plotting.noise import NoiseModel
from alerts.plotting.terms import TrackState
from daemon.exercise import tracker
from daemon.exercise.encounters import BASE, Looks, looks
from daemon.exercise.scenario import Leg, OwnShip, Radar, RadarErrors, Scenario, Target

NoiseFor = Callable[[], NoiseModel]
LIMIT_NM = 0.5

WHITE = RadarErrors(range_noise_m=20.0, bearing_noise_deg=0.5)
"""White noise within the standard's figures (MSC.192(79) 5.2, one sd)."""


class Truth(NamedTuple):
    """At each look (K,): place of the target from own ship, and both ground velocities, in own ship's plane."""

    east_nm: Column
    north_nm: Column
    east_kn: Column
    north_kn: Column
    own_east_kn: Column
    own_north_kn: Column

    @property
    def miss_nm(self) -> Column:
        """The true CPA, if nobody alters from there, with its sign."""
        return closest_approach(
            self.east_nm, self.north_nm, self.east_kn - self.own_east_kn, self.north_kn - self.own_north_kn
        ).miss_nm

    @property
    def tcpa_min(self) -> Column:
        return closest_approach(
            self.east_nm, self.north_nm, self.east_kn - self.own_east_kn, self.north_kn - self.own_north_kn
        ).tcpa_min


class Followed(NamedTuple):
    """One encounter: K looks, what the track said at each, and the truth."""

    scenario: Scenario
    times_s: Column
    looks: list[Look]
    estimates: list[Estimate]
    truth: Truth

    def index_at(self, at_s: float) -> int:
        """The first look at or after a time; the last one if there is none."""
        return min(int(np.searchsorted(self.times_s, at_s)), len(self.looks) - 1)

    def velocity_error_kn(self) -> Column:
        """Length of the ground velocity's error at each look."""
        east = np.array([estimate.east_kn for estimate in self.estimates]) - self.truth.east_kn
        north = np.array([estimate.north_kn for estimate in self.estimates]) - self.truth.north_kn
        return np.hypot(east, north)

    def manoeuvring(self) -> NDArray[np.bool_]:
        return np.array([estimate.state is TrackState.MANOEUVRING for estimate in self.estimates])


class Sampled(NamedTuple):
    """One look of each of N encounters: what was said and what was true."""

    said: Assessment
    estimates: list[Estimate]
    looks: list[Look]
    truth: Truth  # each (N,)


def follow(
    scenarios: Sequence[Scenario],
    seed: int,
    noise: NoiseFor = NoiseModel,
    track: Callable[[NoiseModel], Track] = Track,
    prepare: Callable[[Look], Look] | None = None,
) -> Iterator[Followed]:
    """Run encounters through tracks. `noise` gives each its noise model; `prepare` may change a look on its way."""
    for batch in looks(scenarios, seed):
        for n, scenario in enumerate(batch.scenarios):
            rows = _rows(batch, n)
            seen = batch.looks(n)
            if prepare is not None:
                seen = [prepare(look) for look in seen]
            one = track(noise())
            estimates = [one.observe(look) for look in seen]
            yield Followed(scenario, np.array([look.at_s for look in seen]), seen, estimates, _truth(batch, n, rows))


def _rows(batch: Looks, n: int) -> NDArray[np.intp]:
    """The antenna's turn behind each look of encounter n, in the order of `Looks.looks`."""
    mine = np.flatnonzero(batch.told.column == n)
    rows: NDArray[np.intp] = batch.told.row[mine[batch.told.status[mine] != tracker.LOST]].astype(np.intp)
    return rows


def _truth(batch: Looks, n: int, rows: NDArray[np.intp]) -> Truth:
    range_nm, bearing = batch.truth.range_nm[rows, n], np.radians(batch.truth.bearing_deg[rows, n])
    east, north = range_nm * np.sin(bearing), range_nm * np.cos(bearing)
    # The target's north is not quite ours: the meridians converge.
    turn = np.radians(east / 60.0 * np.tan(np.radians(batch.scenarios[n].place.lat_deg)))
    ve, vn = batch.target_east_kn[rows, n], batch.target_north_kn[rows, n]
    return Truth(
        east,
        north,
        ve * np.cos(turn) - vn * np.sin(turn),
        vn * np.cos(turn) + ve * np.sin(turn),
        batch.true_own_east_kn[rows, n],
        batch.true_own_north_kn[rows, n],
    )


def sample(followed: Sequence[Followed], index: Callable[[Followed], int], limit_nm: float = LIMIT_NM) -> Sampled:
    """One look of each encounter, assessed together."""
    at = [(one, index(one)) for one in followed]
    estimates = [one.estimates[k] for one, k in at]
    chosen = [one.looks[k] for one, k in at]
    columns = [
        np.array([float(part[k]) for part, k in zip(parts, _indices(at), strict=True)]) for parts in _columns(at)
    ]
    said = assess(estimates, [look.own for look in chosen], limit_nm)
    return Sampled(said, estimates, chosen, Truth(*columns))


def _indices(at: Sequence[tuple[Followed, int]]) -> list[int]:
    return [k for _, k in at]


def _columns(at: Sequence[tuple[Followed, int]]) -> Iterator[list[Column]]:
    for field in range(len(Truth._fields)):
        yield [one.truth[field] for one, _ in at]


def with_radar(base: Scenario = BASE, duration_min: float | None = None, **changes: object) -> Scenario:
    """A base scenario with its radar changed, and its length."""
    assert isinstance(base.radar, Radar)
    radar = msgspec.structs.replace(base.radar, **changes)
    return msgspec.structs.replace(
        base, radar=radar, duration_min=base.duration_min if duration_min is None else duration_min
    )


def placed(
    base: Scenario,
    own: tuple[float, float],
    target: tuple[float, float],
    place: tuple[float, float],
    at_s: float,
    legs: tuple[Leg, ...] = (),
    own_legs: tuple[Leg, ...] = (),
    length_m: float = 50.0,
) -> Scenario:
    """An encounter with the target at a place (range, bearing) at a time, if both are steady until then.

    `own` and `target` are (course, speed).
    """
    velocity = [np.radians(course) for course, _ in (own, target)]
    east = target[1] * np.sin(velocity[1]) - own[1] * np.sin(velocity[0])
    north = target[1] * np.cos(velocity[1]) - own[1] * np.cos(velocity[0])
    bearing = np.radians(place[1])
    x, y = place[0] * np.sin(bearing) - east * at_s / 3600, place[0] * np.cos(bearing) - north * at_s / 3600
    echo = Target(
        name="target",
        course_deg=float(target[0] % 360.0),
        speed_kn=float(target[1]),
        range_nm=float(np.hypot(x, y)),
        bearing_deg=float(np.degrees(np.arctan2(x, y)) % 360.0),
        legs=legs,
        length_m=length_m,
    )
    ship: OwnShip = msgspec.structs.replace(
        base.own_ship, course_deg=float(own[0] % 360.0), speed_kn=float(own[1]), legs=own_legs
    )
    return msgspec.structs.replace(base, own_ship=ship, targets=(echo,))
