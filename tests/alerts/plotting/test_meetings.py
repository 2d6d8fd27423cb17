"""Two echoes that meet: when a meeting begins, and when it ends. What comes of it is held in test_identity.py."""

import pytest
from msgspec import structs

from alerts.plotting.estimate import Track
from alerts.plotting.kept import Kept
from alerts.plotting.kinematics import Look, OwnMotion
from alerts.plotting.meetings import LONGEST_S, Meetings
from alerts.plotting.noise import NoiseModel
from parsers.observations import MotionReference, Source, TargetReport

OWN = OwnMotion(0.0, 0.0, 0.0, 0.0, 0.0, 0.1, MotionReference.GROUND, 0.0, 0.5)
LOOK = Look(0.0, 1.0, 90.0, OWN)


def settled(number: int, east_kn: float, north_kn: float = 0.0, look: Look = LOOK, is_test: bool = False) -> Kept:
    """A track that has just been seen there, and has settled on this velocity."""
    source = Source("radar", "RA", "TTM")
    report = TargetReport(
        at_s=0.0, source=source, number=number, range_nm=look.range_nm, bearing_deg=look.bearing_deg, is_test=is_test
    )
    kept = Kept(f"radar-{number:02d}", ("radar", number, is_test), report, Track(NoiseModel()), look)
    kept.take(look)
    assert kept.estimate is not None
    kept.estimate = structs.replace(kept.estimate, settled=True, east_kn=east_kn, north_kn=north_kn)
    return kept


@pytest.mark.parametrize(
    ("other", "meet"),
    [
        (settled(2, -5.0), True),
        (settled(2, 5.0, 2.1), True),
        (settled(2, 5.0, 1.9), False),  # in company: less than 2 kn between them
        (settled(2, -5.0, look=structs.replace(LOOK, range_nm=1.12)), True),
        (settled(2, -5.0, look=structs.replace(LOOK, range_nm=1.5)), False),
    ],
)
def test_vessels_meet_that_are_near_and_not_in_company(other: Kept, meet: bool) -> None:
    one, meetings = settled(1, 5.0), Meetings()

    assert meetings.see(one, LOOK, [other]) is None
    assert meetings.are_meeting(one, other) is meetings.are_meeting(other, one) is meet


def test_one_of_which_too_little_is_known_meets_nobody() -> None:
    one, other, meetings = settled(1, 5.0), settled(2, -5.0), Meetings()
    assert other.estimate is not None
    other.estimate = structs.replace(other.estimate, settled=False)
    meetings.see(one, LOOK, [other])
    meetings.see(other, LOOK, [one])

    assert not meetings.are_meeting(one, other)


def test_a_meeting_ends_with_a_track_and_for_that_track_alone() -> None:
    one, other, third, fourth = settled(1, 5.0), settled(2, -5.0), settled(3, 9.0), settled(4, -9.0)
    meetings = Meetings()
    meetings.see(one, LOOK, [other])
    meetings.see(third, LOOK, [fourth])
    assert not meetings.are_meeting(one, third)
    meetings.drop(other)

    assert not meetings.are_meeting(one, other)
    assert meetings.are_meeting(third, fourth)


def test_a_meeting_that_never_ends_is_given_up() -> None:
    """After five minutes; what is then still near begins another."""
    one, other, meetings = settled(1, 5.0), settled(2, -5.0), Meetings()
    meetings.see(one, LOOK, [other])
    meetings.see(one, structs.replace(LOOK, at_s=LONGEST_S), [])
    assert meetings.are_meeting(one, other)
    meetings.see(one, structs.replace(LOOK, at_s=LONGEST_S + 1), [])

    assert not meetings.are_meeting(one, other)
