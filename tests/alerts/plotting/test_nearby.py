"""Tracks by squares of the plane: the same neighbours as by looking at all."""

import numpy as np

from alerts.plotting.estimate import Track
from alerts.plotting.kept import Kept
from alerts.plotting.kinematics import Look, OwnMotion
from alerts.plotting.nearby import SIDE_NM, Nearby
from alerts.plotting.noise import NoiseModel
from parsers.observations import MotionReference, Source, TargetReport

OWN = OwnMotion(0.0, 0.0, 0.0, 0.0, 0.0, 0.1, MotionReference.GROUND, 0.0, 0.5)


def track(number: int, range_nm: float, bearing_deg: float) -> Kept:
    """A track that has been seen once."""
    look = Look(0.0, range_nm, bearing_deg, OWN)
    report = TargetReport(
        at_s=0.0, source=Source("radar", "RA", "TTM"), number=number, range_nm=range_nm, bearing_deg=bearing_deg
    )
    kept = Kept(f"radar-{number:02d}", ("radar", number, False), report, Track(NoiseModel()), look)
    kept.order = number
    kept.take(look)
    return kept


def by_looking_at_all(kept: Kept, tracks: list[Kept], reach_nm: float) -> list[Kept]:
    assert kept.estimate is not None
    near = []
    for other in tracks:
        assert other.estimate is not None
        east, north = (
            other.estimate.east_nm - kept.estimate.east_nm,
            other.estimate.north_nm - kept.estimate.north_nm,
        )
        if other is not kept and abs(east) < reach_nm and abs(north) < reach_nm:
            near.append(other)
    return near


def test_neighbours_are_those_within_reach_the_eldest_first() -> None:
    """300 tracks within 5 NM, on all sides of own ship; reaches under and over the side of a square."""
    rng = np.random.default_rng(3)
    tracks = [track(i, float(rng.uniform(0.1, 5)), float(rng.uniform(0, 360))) for i in range(300)]
    nearby = Nearby()
    for kept in reversed(tracks):
        nearby.put(kept)
    for reach_nm in (0.1, SIDE_NM, 1.0):
        found = [nearby.of(kept, reach_nm) for kept in tracks]
        assert found == [by_looking_at_all(kept, tracks, reach_nm) for kept in tracks]
        assert any(found)


def test_a_track_is_found_where_it_is_now_and_not_after_its_end() -> None:
    """It moves over to another square, and is dropped there."""
    one, other = track(1, 2.0, 90.0), track(2, 2.1, 90.0)
    nearby = Nearby()
    nearby.put(one)
    nearby.put(other)
    assert nearby.of(one, 0.5) == [other]
    other.estimate = track(3, 4.0, 180.0).estimate
    nearby.put(other)
    assert nearby.of(one, 0.5) == []
    other.estimate = track(3, 2.1, 91.0).estimate
    nearby.put(other)
    assert nearby.of(one, 0.5) == [other]
    nearby.drop(other)
    assert nearby.of(one, 0.5) == []
