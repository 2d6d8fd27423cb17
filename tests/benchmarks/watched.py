"""A scenario watched: its sentences through parsers, own ship's picture, identity, motion and cross-check.

Two strokes, as in the program: what depends on what came before line by line, CPA and TCPA for all together, then the
cross-check in order.
"""

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from alerts.plotting.crosscheck import CrossCheck
from alerts.plotting.crosscheck_set import CommonFault
from alerts.plotting.estimate import Track
from alerts.plotting.identity import Targets
from alerts.plotting.kinematics import Estimate, Look
from alerts.plotting.motion import assess
from alerts.plotting.noise import NoiseModel
from alerts.plotting.picture import OwnShip
from alerts.plotting.placing import Change, Placed
from alerts.plotting.terms import Check
from daemon.exercise.generate import lines
from daemon.exercise.scenario import Scenario
from parsers.decode import Decoder
from parsers.observations import Reference, SetAndDrift, TargetPosition, TargetReport, WaterMotion
from parsers.tag import Tagged


class Said(NamedTuple):
    """What the cross-check said of one report, and the common fault in force then."""

    at_s: float
    target: str
    check: Check
    cause: str | None
    fault: CommonFault | None


class Moved(NamedTuple):
    """What identity made of one report that was not plainly the next of its track."""

    at_s: float
    number: int
    placed: Placed


class Watch(NamedTuple):
    said: list[Said]
    moved: list[Moved]
    changes: list[Change]
    doubled: list[tuple[float, str, str]]  # when a track is first known to double another
    targets: Targets


class _Sighting(NamedTuple):
    target: str
    report: TargetReport
    look: Look
    estimate: Estimate
    water: WaterMotion | None
    stream: SetAndDrift | None
    renumbered: bool


def sent(scenario: Scenario) -> Iterator[tuple[float, str]]:
    """A scenario's sentences with their seconds from the start."""
    for utc_ms, text in lines(scenario):
        yield (utc_ms - scenario.start_ms) / 1000, text


def watch(stream: Iterable[tuple[float, str]]) -> Watch:
    """Runs through sentences and their times."""
    noise = NoiseModel()
    watched = Watch([], [], [], [], Targets(lambda feed: Track(noise)))
    sightings = list(_sightings(stream, watched))
    owns = [sighting.look.own for sighting in sightings]
    answers = assess([sighting.estimate for sighting in sightings], owns, 0.5).rows()
    check = CrossCheck()
    for sighting, answer in zip(sightings, answers, strict=True):
        own, report = sighting.look.own, sighting.report
        check.see_own(own, sighting.water, sighting.stream)
        if sighting.renumbered:
            check.renumbered(sighting.target, report.at_s)
        said, cause = check.compare(sighting.target, report, sighting.estimate, answer, own)
        watched.said.append(Said(report.at_s, sighting.target, said, cause, check.common_fault()))
    return watched


def _sightings(stream: Iterable[tuple[float, str]], watched: Watch) -> Iterator[_Sighting]:
    own, decoder = OwnShip(), Decoder("radar")
    second = 0.0
    for at_s, text in stream:
        while second + 1 <= at_s:
            second += 1
            watched.changes.extend(watched.targets.tick(second))
        for seen in decoder.decode(Tagged(text=text), at_s).observations:
            if not isinstance(seen, TargetReport | TargetPosition):
                own.take(seen)
                continue
            look = _look(seen, own) if isinstance(seen, TargetReport) else None
            placed = watched.targets.place(seen, look)
            if placed.is_new or placed.ended or placed.lost or placed.reacquired or placed.ignored is not None:
                watched.moved.append(Moved(at_s, seen.number or -1, placed))
            _note_double(watched, at_s, placed.track)
            if placed.estimate is not None and placed.track and look is not None and isinstance(seen, TargetReport):
                water, set_and_drift = own.water_speed(at_s), own.stream.value(at_s, 600.0)
                renumbered = bool(placed.is_new and placed.ended)
                yield _Sighting(placed.track, seen, look, placed.estimate, water, set_and_drift, renumbered)


def _note_double(watched: Watch, at_s: float, track: str | None) -> None:
    elder = watched.targets.duplicate_of(track) if track else None
    if track and elder and not any(known == track for _, known, _ in watched.doubled):
        watched.doubled.append((at_s, track, elder))


def _look(report: TargetReport, own: OwnShip) -> Look | None:
    if report.range_nm is None or report.bearing_deg is None:
        return None
    motion = own.motion(report.at_s)
    bearing, sd = report.bearing_deg, 0.0
    if report.bearing_reference is Reference.RELATIVE:
        if motion.heading_deg is None:
            return None
        bearing, sd = (bearing + motion.heading_deg) % 360, motion.heading_sd_deg
    return Look(at_s=report.at_s, range_nm=report.range_nm, bearing_deg=bearing, own=motion, bearing_sd_deg=sd)
