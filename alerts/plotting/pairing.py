"""Radar tracks and AIS tracks held against each other: which are near enough, and how far apart each such pair is.

For each pair in reach the difference of place and velocity (radar's less AIS's) is averaged over the last half minute
and measured in its own standard deviations, after what is common to all pairs (offsets.py) has been taken off. All
is done at once in arrays; what is far apart is never looked at.
"""

from math import exp

import numpy as np
from msgspec import Struct

from alerts.plotting.ais import Heard
from alerts.plotting.ais_report import carried_on
from alerts.plotting.kinematics import Estimate, full
from alerts.plotting.offsets import Array, Offset, design

REACH_NM, REACH_KN = 0.6, 8.0
"""Pairs farther apart than this are not looked at: three sigmas of a bearing's alignment at 6 NM, and half a mile."""

FARTHEST_NM = 24.0

PLACE_FLOOR_NM, VELOCITY_FLOOR_KN = 0.012, 0.3
"""What no filter knows: a ship's antenna is not where her echo is (22 m), and she yaws (judgement)."""

AVERAGE_S = 30.0
MOST_LINKS = 4000


class RadarSide(Struct, frozen=True, gc=False):
    """A radar track now. `is_reported`: the set itself has it by AIS. `correlation`: the set's own joining number."""

    key: str
    estimate: Estimate
    name: str = ""
    is_reported: bool = False
    correlation: int | None = None


class Link(Struct, gc=False):
    """One radar track and one AIS track that are near each other, and what has been seen of the two so far.

    `mean`: averaged differences (east_nm, north_nm, east_kn, north_kn). `distance`: square of how far these are apart
    in standard deviations, 4 degrees of freedom; `cost` adds what the spread itself costs, and the hints.
    """

    radar: str
    ais: str
    began_s: float
    seen_s: float
    mean: tuple[float, float, float, float]
    distance: float = 0.0
    velocity_distance: float = 0.0
    apart_nm: float = 0.0
    cost: float = 0.0
    range_nm: float = 0.0
    good_s: float = 0.0
    bad_s: float = 0.0
    doubt_s: float = 0.0
    twin_s: float = 0.0
    joined_s: float | None = None
    is_reported: bool = False


class Links(Struct):
    """The links of one moment, and the arrays that belong to them: H (N, 2, 3), covariances (N, 4, 4)."""

    links: list[Link]
    h: Array
    covariances: Array


def in_reach(at_s: float, radars: list[RadarSide], stations: list[Heard]) -> list[tuple[int, int]]:
    """Indices of the radar track and the station of each pair in reach, in order."""
    if not radars or not stations:
        return []
    mine = np.array([(e.east_nm, e.north_nm, e.east_kn, e.north_kn) for e in (one.estimate for one in radars)])
    theirs = np.array(
        [(e.at_s, e.east_nm, e.north_nm, e.east_kn, e.north_kn) for e in (one.estimate for one in stations)]
    )
    hours = (at_s - theirs[:, 0]) / 3600.0
    places = theirs[:, 1:3] + theirs[:, 3:5] * hours[:, None]
    near = _apart(mine[:, :2], places) < REACH_NM
    near &= _apart(mine[:, 2:], theirs[:, 3:5]) < REACH_KN
    return [(int(i), int(j)) for i, j in zip(*np.nonzero(near), strict=True)][:MOST_LINKS]


def _apart(one: Array, other: Array) -> Array:
    """Distances (R, A) between points (R, 2) and (A, 2)."""
    return np.hypot(one[:, None, 0] - other[None, :, 0], one[:, None, 1] - other[None, :, 1])


def measure(
    at_s: float,
    own_nm: tuple[float, float],
    sides: list[tuple[RadarSide, Heard]],
    before: dict[tuple[str, str], Link],
    offset: Offset,
) -> Links:
    """Brings the links of these pairs up to this moment. `own_nm` is own place in the plane."""
    if not sides:
        return Links([], np.zeros((0, 2, 3)), np.zeros((0, 4, 4)))
    mine = [radar.estimate for radar, _ in sides]
    theirs = [carried_on(heard.estimate, at_s) for _, heard in sides]
    links = [
        _renewed(before.get((radar.key, heard.key)), radar, heard, a, b, at_s)
        for (radar, heard), a, b in zip(sides, mine, theirs, strict=True)
    ]
    floor = np.diag([PLACE_FLOOR_NM**2] * 2 + [VELOCITY_FLOOR_KN**2] * 2)
    covariances = full([a.covariance for a in mine]) + full([b.covariance for b in theirs]) + floor
    east = np.array([b.east_nm - own_nm[0] for b in theirs])
    north = np.array([b.north_nm - own_nm[1] for b in theirs])
    h = design(east, north)
    _score(links, h, covariances, offset, np.hypot(east, north))
    return Links(links, h, covariances)


def _renewed(link: Link | None, radar: RadarSide, heard: Heard, a: Estimate, b: Estimate, at_s: float) -> Link:
    now = (a.east_nm - b.east_nm, a.north_nm - b.north_nm, a.east_kn - b.east_kn, a.north_kn - b.north_kn)
    if link is None:
        return Link(radar.key, heard.key, at_s, at_s, now, is_reported=radar.is_reported)
    kept = exp(-(at_s - link.seen_s) / AVERAGE_S)
    share = max(1.0 - kept, (at_s - link.seen_s) / max(at_s - link.began_s, 1e-6))  # a plain mean at first
    mean = link.mean
    link.mean = (
        mean[0] + share * (now[0] - mean[0]),
        mean[1] + share * (now[1] - mean[1]),
        mean[2] + share * (now[2] - mean[2]),
        mean[3] + share * (now[3] - mean[3]),
    )
    link.seen_s, link.is_reported = at_s, radar.is_reported
    return link


def _score(links: list[Link], h: Array, covariances: Array, offset: Offset, ranges: Array) -> None:
    left = np.array([link.mean for link in links])
    left[:, :2] -= h @ offset.mean
    spread = covariances.copy()
    spread[:, :2, :2] += h @ offset.covariance @ np.swapaxes(h, 1, 2)
    distances = _squares(left, spread)
    velocity = _squares(left[:, 2:], spread[:, 2:, 2:])
    costs = distances + np.linalg.slogdet(spread)[1]
    apart = np.hypot(left[:, 0], left[:, 1])
    for link, distance, v, cost, nm, range_nm in zip(
        links, distances.tolist(), velocity.tolist(), costs.tolist(), apart.tolist(), ranges.tolist(), strict=True
    ):
        link.distance, link.velocity_distance, link.cost = distance, v, cost
        link.apart_nm, link.range_nm = nm, range_nm


def _squares(left: Array, spread: Array) -> Array:
    """Mahalanobis' squared distances (N,)."""
    solved: Array = np.linalg.solve(spread, left[:, :, None])[:, :, 0]
    squares: Array = (left * solved).sum(axis=1)
    return squares
