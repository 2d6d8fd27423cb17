"""What really happens in a passage: positions, closest approaches, faults in force. JSON Lines, one record each.

First the exercise, then a record for each target with its closest approach in the whole time, then the situation at
each interval, CPA and TCPA being those of the moment: if both kept their course and speed from then on.
"""

from collections.abc import Iterator

import msgspec
import numpy as np
from msgspec import Struct

from alerts.events import Instant
from daemon.exercise.faults import in_force
from daemon.exercise.geodesy import Floats, convergence_deg, range_and_bearing
from daemon.exercise.passage import Passage
from daemon.exercise.reports import numbers
from daemon.exercise.vessel import STANDING_KN, State


class Record(Struct, frozen=True, kw_only=True, tag_field="record"):
    time: Instant


class Exercise(Record, frozen=True, kw_only=True, tag="exercise"):
    """What this is the truth of. `time` is the start."""

    title: str
    about: str
    place: str
    seed: int
    duration_min: float
    own_ship: str


class ClosestApproach(Record, frozen=True, kw_only=True, tag="closest approach"):
    """The least distance of one target in the whole time, from the true positions. `time` is when."""

    target: str
    mmsi: int | None
    clutter: bool
    cpa_nm: float
    cpa_bearing_deg: float
    at_min: float  # from the start


class OwnTruth(Struct, frozen=True, kw_only=True):
    lat_deg: float
    lon_deg: float
    heading_deg: float
    sog_kn: float
    cog_deg: float


class TargetTruth(Struct, frozen=True, kw_only=True):
    """`number` is the target number under which the set has it then; course and speed are over the ground."""

    target: str
    number: int | None
    lat_deg: float
    lon_deg: float
    range_nm: float
    bearing_deg: float
    course_deg: float
    speed_kn: float
    cpa_nm: float
    tcpa_min: float | None


class Situation(Record, frozen=True, kw_only=True, tag="situation"):
    own_ship: OwnTruth
    targets: tuple[TargetTruth, ...]
    faults: tuple[str, ...]


AnyRecord = Exercise | ClosestApproach | Situation


def _hook(value: object) -> str:
    if isinstance(value, Instant):
        return str(value)
    raise NotImplementedError(f"a record of the truth holds a {type(value).__name__}")


encoder = msgspec.json.Encoder(enc_hook=_hook)


class Approach(Struct, frozen=True):
    """Relative motion at times (K,) of N targets, arrays (K, N). NaN: no TCPA, the relative speed being nil."""

    range_nm: Floats
    bearing_deg: Floats
    course_deg: Floats
    speed_kn: Floats
    cpa_nm: Floats
    tcpa_min: Floats


def approach(own: State, targets: State) -> Approach:
    """Range, bearing, ground motion, CPA and TCPA in the plane at own ship. Shapes broadcast."""
    range_nm, bearing = range_and_bearing(own.lat_deg, own.lon_deg, targets.lat_deg, targets.lon_deg)
    turn = np.radians(convergence_deg(own.lat_deg, own.lon_deg, targets.lat_deg, targets.lon_deg))
    east = targets.east_kn * np.cos(turn) - targets.north_kn * np.sin(turn)  # the target's north is not quite ours
    north = targets.north_kn * np.cos(turn) + targets.east_kn * np.sin(turn)
    x, y = range_nm * np.sin(np.radians(bearing)), range_nm * np.cos(np.radians(bearing))
    ve, vn = east - own.east_kn, north - own.north_kn
    squared = ve**2 + vn**2
    still = squared < STANDING_KN**2
    safe = np.where(still, 1.0, squared)
    return Approach(
        range_nm,
        bearing,
        np.degrees(np.arctan2(targets.east_kn, targets.north_kn)) % 360.0,
        np.hypot(targets.east_kn, targets.north_kn),
        np.where(still, range_nm, np.abs(x * vn - y * ve) / np.sqrt(safe)),
        np.where(still, np.nan, -(x * ve + y * vn) / safe * 60.0),
    )


def closest(passage: Passage) -> list[ClosestApproach]:
    """The least distance of every target, found between the grid's seconds by a parabola through the squares."""
    own, targets = passage.own_track.grid, passage.targets.grid
    last = int(passage.scenario.duration_s) + 1
    range_nm, bearing = range_and_bearing(
        own.lat_deg[:last], own.lon_deg[:last], targets.lat_deg[:last], targets.lon_deg[:last]
    )
    found = []
    for column, target in enumerate(passage.scenario.targets):
        squares = range_nm[:, column] ** 2
        least, at_s = _lowest(squares)
        bearing_deg = float(bearing[min(len(squares) - 1, round(at_s)), column])
        found.append(
            ClosestApproach(
                time=Instant(passage.scenario.start_ms + round(at_s * 1000)),
                target=target.name,
                mmsi=target.ais.mmsi if target.ais else None,
                clutter=target.clutter,
                cpa_nm=round(float(np.sqrt(max(0.0, least))), 4),
                cpa_bearing_deg=round(bearing_deg, 1) % 360.0,
                at_min=round(at_s / 60.0, 3),
            )
        )
    return found


def _lowest(squares: Floats) -> tuple[float, float]:
    """Lowest value of a series of one-second steps, and when."""
    i = int(np.argmin(squares))
    if not 0 < i < len(squares) - 1:
        return float(squares[i]), float(i)
    before, here, after = squares[i - 1 : i + 2]
    curve = before - 2 * here + after
    if curve <= 0:
        return float(here), float(i)
    shift = (before - after) / (2 * curve)
    return float(here - curve * shift**2 / 2), i + float(shift)


def records(passage: Passage) -> Iterator[AnyRecord]:
    """The whole truth, in order."""
    scenario = passage.scenario
    yield Exercise(
        time=Instant(scenario.start_ms),
        title=scenario.title,
        about=scenario.about,
        place=scenario.place.name,
        seed=scenario.seed,
        duration_min=scenario.duration_min,
        own_ship=scenario.own_ship.name,
    )
    yield from closest(passage)
    times = np.arange(0.0, scenario.duration_s + 1e-6, scenario.truth_interval_s)
    yield from situations(passage, times)


def situations(passage: Passage, times_s: Floats) -> Iterator[Situation]:
    """The situation at each of the times (K,)."""
    own, targets = passage.own_track.at(times_s), passage.targets.at(times_s)
    motion = approach(own, targets)
    heading = passage.own.heading(times_s) % 360.0
    held = _numbers(passage, times_s)
    names = [target.name for target in passage.scenario.targets]
    for k, at_s in enumerate(times_s.tolist()):
        yield Situation(
            time=Instant(passage.scenario.start_ms + round(at_s * 1000)),
            own_ship=OwnTruth(
                lat_deg=_position(own.lat_deg[k, 0]),
                lon_deg=_position((own.lon_deg[k, 0] + 180) % 360 - 180),
                heading_deg=_angle(heading[k]),
                sog_kn=_rounded(np.hypot(own.east_kn[k, 0], own.north_kn[k, 0]), 3),
                cog_deg=_angle(np.degrees(np.arctan2(own.east_kn[k, 0], own.north_kn[k, 0]))),
            ),
            targets=tuple(_target(targets, motion, k, n, name, held) for n, name in enumerate(names)),
            faults=tuple(in_force(passage.scenario, at_s)),
        )


def _target(targets: State, motion: Approach, k: int, n: int, name: str, held: np.ndarray) -> TargetTruth:
    tcpa = motion.tcpa_min[k, n]
    return TargetTruth(
        target=name,
        number=int(held[k, n]) if held[k, n] >= 0 else None,
        lat_deg=_position(targets.lat_deg[k, n]),
        lon_deg=_position((targets.lon_deg[k, n] + 180) % 360 - 180),
        range_nm=_rounded(motion.range_nm[k, n], 4),
        bearing_deg=_angle(motion.bearing_deg[k, n]),
        course_deg=_angle(motion.course_deg[k, n]),
        speed_kn=_rounded(motion.speed_kn[k, n], 3),
        cpa_nm=_rounded(motion.cpa_nm[k, n], 4),
        tcpa_min=None if np.isnan(tcpa) else _rounded(tcpa, 3),
    )


def _numbers(passage: Passage, times_s: Floats) -> np.ndarray:
    """The target number of each target at each time, (K, N); -1 where the set does not have it."""
    held = np.full((len(times_s), len(passage.scenario.targets)), -1, dtype=np.int32)
    if passage.sweeps is None:
        return held
    looks = passage.sweeps.echoes.times_s
    given = numbers(passage.radar, passage.sweeps.targets, passage.sweeps.tracks.status, looks)
    for place, column in enumerate(passage.tracked):
        row = np.searchsorted(looks[:, place], times_s, side="right") - 1
        held[:, column] = np.where(row >= 0, given[np.maximum(row, 0), place], -1)
    return held


def _rounded(value: float, decimals: int) -> float:
    return round(float(value), decimals) + 0.0


def _position(value: float) -> float:
    return round(float(value), 7)


def _angle(value: float) -> float:
    return round(float(value) % 360.0, 2) % 360.0
