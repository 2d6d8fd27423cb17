"""Range scale, EBL, VRM and cursor: the operator's hand on the set, told by RSD."""

from collections.abc import Callable

import numpy as np

from daemon.exercise.echoes import scale_at
from daemon.exercise.geodesy import Floats, range_and_bearing
from daemon.exercise.passage import MARKS, Passage, chance
from daemon.exercise.scenario import Mark
from parsers import encode
from parsers.observations import Orientation

Pair = tuple[float | None, float | None]

AFTER_CHANGE_S = 0.5
"""A set that tells its settings does so at once when one is changed (choice of ours), and else at its interval."""


def settings(passage: Passage) -> tuple[Floats, Callable[[int, int], list[str]]]:
    """Times of RSD, and how to write them."""
    radar, scenario = passage.radar, passage.scenario
    interval = radar.rsd_interval_s
    regular = np.arange(0.2, scenario.duration_s, interval) if interval else np.empty(0)
    laid = sorted(scenario.marks, key=lambda mark: mark.at_min)
    changes = [mark.at_min * 60 for mark in laid] + [change.at_min * 60 for change in radar.scale_changes]
    times = np.unique(np.round(np.concatenate([regular, np.array(changes) + AFTER_CHANGE_S]), 3))
    pairs = _laid(passage, laid)
    talker, units, orientation = radar.talker, radar.units, radar.orientation

    def write(i: int, j: int) -> list[str]:
        lines = []
        for at, scale in zip(times[i:j].tolist(), scale_at(radar, times[i:j]).tolist(), strict=True):
            now = _standing(laid, pairs, at)
            lines.append(
                encode.rsd(
                    range_scale_nm=scale,
                    orientation=orientation,
                    mark_1=now["1"],
                    mark_2=now["2"],
                    cursor=now["cursor"],
                    talker=talker,
                    units=units,
                )
            )
        return lines

    return times, write


def _standing(laid: list[Mark], pairs: list[Pair], at_s: float) -> dict[str, Pair]:
    """Each mark as it stands at a moment: as it was laid last, each part by itself."""
    now: dict[str, Pair] = {"1": (None, None), "2": (None, None), "cursor": (None, None)}
    for mark, (range_nm, bearing) in zip(laid, pairs, strict=True):
        if mark.at_min * 60 <= at_s:
            before = now[mark.which]
            now[mark.which] = (
                before[0] if mark.parts == "ebl" else range_nm,
                before[1] if mark.parts == "vrm" else bearing,
            )
    return now


def _laid(passage: Passage, laid: list[Mark]) -> list[Pair]:
    """Range and bearing of each mark as the set shows them: true, or off the bow on a head-up picture."""
    rng = chance(passage.scenario.seed, MARKS)
    return [_on_target(passage, mark, rng) if mark.target else (mark.range_nm, mark.bearing_deg) for mark in laid]


def _on_target(passage: Passage, mark: Mark, rng: np.random.Generator) -> Pair:
    names = [target.name for target in passage.scenario.targets]
    at = np.array([mark.at_min * 60.0])
    own, there = passage.own.state(at), passage.targets.at(at)
    column = names.index(mark.target or "")
    range_nm, bearing = range_and_bearing(
        own.lat_deg[0], own.lon_deg[0], there.lat_deg[0, column], there.lon_deg[0, column]
    )
    heading = float(passage.own.heading(at)[0])
    shown = float(bearing) + rng.standard_normal() * mark.bearing_error_deg
    if passage.radar.orientation is Orientation.HEAD_UP:
        shown -= heading
    elif passage.sensors[0] is not None:
        shown += float(np.nan_to_num(passage.sensors[0].read(at, rng)[0] - heading))
    return max(0.0, float(range_nm) + rng.standard_normal() * mark.range_error_nm), shown % 360.0
