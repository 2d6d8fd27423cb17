"""Which tracks are near one another: the squares give what going through all tracks would."""

from random import Random

from alerts.plotting.kept import Kept
from alerts.plotting.kinematics import Estimate, Look, OwnMotion
from alerts.plotting.places import NEAR_NM, Places
from alerts.plotting.terms import TrackState
from parsers.observations import MotionReference, Reference, Source, TargetReport

OWN = OwnMotion(0.0, 0.0, 0.0, 0.0, 0.0, 0.1, MotionReference.GROUND, 0.0, 0.5)


class Still:
    """A filter that answers with the place it was given."""

    def __init__(self) -> None:
        self.place = (0.0, 0.0)

    def observe(self, look: Look) -> Estimate:
        return self.predict(look.at_s)

    def predict(self, at_s: float) -> Estimate:
        return Estimate(at_s, *self.place, 0.0, 0.0, (0.0,) * 10, TrackState.STEADY, True, 9)


def track(number: int) -> tuple[Kept, Still]:
    source = Source("radar", "RA", "TTM")
    report = TargetReport(
        at_s=0.0, source=source, number=number, range_nm=1.0, bearing_deg=0.0, bearing_reference=Reference.TRUE
    )
    still = Still()
    return Kept(f"radar-{number:03d}", ("radar", number, False), report, still, Look(0.0, 1.0, 0.0, OWN)), still


def gone_through(kept: Kept, tracks: list[Kept]) -> list[str]:
    """The same, one by one."""
    mine = kept.estimate
    assert mine is not None
    return [
        other.key
        for other in tracks
        if other is not kept
        and other.estimate is not None
        and abs(other.estimate.east_nm - mine.east_nm) < NEAR_NM
        and abs(other.estimate.north_nm - mine.north_nm) < NEAR_NM
    ]


def test_the_squares_give_what_going_through_all_gives() -> None:
    """Sixty tracks wander over the squares' edges, begin and end; each asks for its neighbours, in their order."""
    rng, places = Random(5), Places()
    there: list[Kept] = []
    stills: dict[str, Still] = {}
    asked = 0
    for step in range(3000):
        if len(there) < 60 and rng.random() < 0.2:
            kept, still = track(step)
            there.append(kept)
            stills[kept.key] = still
        elif there and rng.random() < 0.02:
            places.drop(there.pop(rng.randrange(len(there))))
        if not there:
            continue
        kept = rng.choice(there)
        stills[kept.key].place = (rng.uniform(-4, 4), rng.uniform(-4, 4))
        kept.take(Look(float(step), 1.0, 0.0, OWN))
        places.put(kept)
        near = [other.key for other in places.near(kept)]
        asked += len(near)
        moved = [one for one in there if one.estimate is not None]
        assert sorted(near) == sorted(gone_through(kept, moved))

    assert asked > 1000


def test_neighbours_come_in_the_order_in_which_they_began() -> None:
    """Whatever square they are in, and however often they moved."""
    places, made = Places(), [track(number) for number in range(9)]
    for number, (kept, still) in enumerate(made):
        still.place = (0.9 - 0.2 * number, 0.1 * number)
        kept.take(Look(0.0, 1.0, 0.0, OWN))
        places.put(kept)
    kept, still = made[2]
    still.place = (-0.05, 0.4)
    kept.take(Look(1.0, 1.0, 0.0, OWN))
    places.put(kept)

    assert [other.key for other in places.near(made[4][0])] == [f"radar-{n:03d}" for n in (0, 1, 2, 3, 5, 6, 7, 8)]


def test_a_track_without_an_estimate_has_no_neighbours() -> None:
    """It is nowhere yet."""
    places = Places()
    kept, _ = track(1)
    places.put(kept)

    assert places.near(kept) == []
    places.drop(kept)
