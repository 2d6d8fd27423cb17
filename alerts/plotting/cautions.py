"""Cautions on a trial manoeuvre, by rule number: what the rules say of an alteration like this. Never an order.

Rule 19(d) holds for vessels not in sight of one another, so where the condition in force is not restricted visibility
its cautions say "in restricted visibility". Rule 8 always holds. The rules give no figures: 30° of course and half the
speed as the least that is readily apparent on another's radar are common teaching (no source).
"""

from collections.abc import Iterator, Sequence
from math import atan2, degrees

from msgspec import Struct

from alerts.plotting.encounter import BEAM_DEG, STERN_SECTOR_DEG, aspect_deg, signed
from alerts.plotting.kinematics import Estimate, OwnMotion, seen_from
from alerts.plotting.trial import Outcome, Trial, TrialLeg, own_course_speed

APPARENT_DEG = 30.0
APPARENT_SPEED_SHARE = 0.5
CONCERN = 0.05
"""A target is of concern from this probability of passing inside the limit on."""

_LEAST_DEG, _LEAST_KN = 0.5, 0.1  # less is no alteration


class Caution(Struct, frozen=True):
    """`rule`: its number, e.g. 19(d)(i). `target`: whom it is about; None for the alteration itself."""

    rule: str
    target: str | None
    text: str


def cautions(
    keys: Sequence[str],
    estimates: Sequence[Estimate],
    own: OwnMotion,
    legs: Sequence[TrialLeg],
    trial: Trial,
    restricted_visibility: bool,
) -> list[Caution]:
    """All that apply, in order of the targets, those on the alteration itself first."""
    course, speed = own_course_speed(own)
    told = list(_small(legs, course, speed))
    turn = _first_turn(legs, course)
    for i, key in enumerate(keys):
        told += _of_target(key, estimates[i], own, turn, trial.hold_on[i], restricted_visibility)
        told += _of_outcome(key, trial.hold_on[i], trial.trial[i])
    return told


def _first_turn(legs: Sequence[TrialLeg], course_deg: float) -> float:
    """The first alteration of course, starboard positive; 0 where there is none."""
    turns = (signed(leg.course_deg - course_deg) for leg in legs if leg.course_deg is not None)
    return next((turn for turn in turns if abs(turn) >= _LEAST_DEG), 0.0)


def _small(legs: Sequence[TrialLeg], course: float, speed: float) -> Iterator[Caution]:
    """Rule 8(b): alterations that are not readily apparent, or a string of them."""
    small = 0
    for leg in legs:
        turn = 0.0 if leg.course_deg is None else abs(signed(leg.course_deg - course))
        change = 0.0 if leg.speed_kn is None else abs(leg.speed_kn - speed)
        altered = turn >= _LEAST_DEG or change >= _LEAST_KN
        apparent = turn >= APPARENT_DEG or change >= APPARENT_SPEED_SHARE * max(speed, 1.0)
        small += altered and not apparent
        course = course if leg.course_deg is None else leg.course_deg
        speed = speed if leg.speed_kn is None else leg.speed_kn
    if small > 1:
        yield Caution("8(b)", None, f"{small} small alterations: a succession of them is to be avoided")
    elif small:
        yield Caution("8(b)", None, "a small alteration: large enough to be readily apparent, by eye or by radar")


def _of_target(
    key: str, estimate: Estimate, own: OwnMotion, turn: float, hold_on: Outcome, restricted: bool
) -> Iterator[Caution]:
    """Rules 19(d) and 17(c), for a target with which close quarters or risk of collision develops."""
    if turn == 0.0 or hold_on.inside_probability < CONCERN or own.heading_deg is None:
        return
    bearing = _bearing_deg(estimate, own)
    bow = signed(bearing - own.heading_deg)
    course = _course_deg(estimate)
    overtaken = abs(aspect_deg(bearing, course)) > STERN_SECTOR_DEG
    where = f"R {round(bow) % 360:03d}°"
    when = "" if restricted else "in restricted visibility: "
    if abs(bow) < BEAM_DEG:
        if turn < 0 and not overtaken:
            yield Caution("19(d)(i)", key, f"{when}alteration to port for a vessel forward of the beam ({where})")
    elif (turn > 0) == (bow > 0):
        yield Caution("19(d)(ii)", key, f"{when}alteration towards a vessel abeam or abaft the beam ({where})")
    if not restricted and turn < 0 and -STERN_SECTOR_DEG <= bow < 0 and not overtaken:
        yield Caution("17(c)", key, f"in sight, crossing: alteration to port for a vessel on our port side ({where})")


def _of_outcome(key: str, hold_on: Outcome, trial: Outcome) -> Iterator[Caution]:
    """Rule 8(c) and (d): another close-quarters situation, or no safe distance."""
    if trial.inside_probability < CONCERN:
        return
    chance = f"{100 * trial.inside_probability:.0f} % inside the limit"
    if hold_on.inside_probability < CONCERN:
        yield Caution("8(c)", key, f"makes another close-quarters situation ({chance})")
    else:
        yield Caution("8(d)", key, f"does not make sure of a safe distance ({chance})")


def _bearing_deg(estimate: Estimate, own: OwnMotion) -> float:
    return seen_from(own, estimate)[1]


def _course_deg(estimate: Estimate) -> float:
    return _angle(estimate.east_kn, estimate.north_kn)


def _angle(east: float, north: float) -> float:
    return degrees(atan2(east, north)) % 360
