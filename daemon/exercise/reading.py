"""A scenario file to a Scenario, with an error that names file, line and key for whatever does not make sense."""

import re
from collections.abc import Iterator
from datetime import datetime, time
from pathlib import Path
from typing import Any

from daemon import settings_file
from daemon.errors import UserError
from daemon.exercise.scenario import Leg, Scenario, Target
from daemon.toml_lines import line_of

_TIMES = {"at", "from", "until", "seen", "acquire", "drop"}
_DAY_MS = 86_400_000
_CLOCK = re.compile(r"^([01]?\d|2[0-3]):([0-5]\d)(?::([0-5]\d(?:\.\d+)?))?$")

Path_ = tuple[str, ...]


def load(path: Path) -> Scenario:
    """The scenario in a file. Raises UserError for a file that can't be read or any mistake in it."""
    return parse(settings_file.read_text(path), str(path))


def parse(text: str, name: str = "scenario") -> Scenario:
    """The scenario in a text. `name` is what errors call it."""
    values = settings_file.parse(text, name)
    begin = values.get("start")
    _minutes(values, begin if isinstance(begin, datetime) else None, (), text, name)
    scenario = settings_file.convert(values, Scenario, text, name)
    for path, problem in _mistakes(scenario):
        raise _refusal(path, problem, text, name)
    return scenario


def _refusal(path: Path_, problem: str, text: str, name: str) -> UserError:
    line = line_of(text, path)
    return UserError(f"{name}{f', line {line}' if line else ''}: {'.'.join(path)}: {problem}")


def _minutes(node: Any, start: datetime | None, path: Path_, text: str, name: str) -> None:
    """Times of day to minutes from the start, in place."""
    steps = node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else ()
    for key, value in list(steps):
        here = (*path, str(key))
        if key in _TIMES and isinstance(value, str | time):
            try:
                node[key] = _minute_of(value.isoformat() if isinstance(value, time) else value, start)
            except ValueError as error:
                raise _refusal(here, str(error), text, name) from None
        else:
            _minutes(value, start, here, text, name)


def _minute_of(clock: str, start: datetime | None) -> float:
    """Minutes from the start to a UTC time of day, over midnight too. ValueError with what is wrong.

    Reckoned in whole milliseconds: in binary fractions of a second the start itself may lie a shade before the start,
    which is a day later.
    """
    found = _CLOCK.match(clock)
    if not found:
        raise ValueError(
            f'{clock!r} is no time; write minutes from the start (7.5) or a UTC time of day ("10:42" or "10:42:30")'
        )
    if start is None:
        raise ValueError("a time of day needs the start of the exercise: start = 2027-01-15T08:00:00Z")
    clock_ms = (int(found[1]) * 60 + int(found[2])) * 60_000 + round(float(found[3] or 0) * 1000)
    return (clock_ms - round(start.timestamp() * 1000)) % _DAY_MS / 60_000


def start_problem(start: datetime) -> str | None:
    """What is wrong with a start, in words; None where nothing is."""
    return None if 2000 <= start.year <= 2079 else "write a year from 2000 to 2079: RMC has two digits for it"


def _mistakes(scenario: Scenario) -> Iterator[tuple[Path_, str]]:
    """What types alone can't say: keys that need or exclude each other, names that are nobody's, times out of order."""
    if (problem := start_problem(scenario.start)) is not None:
        yield ("start",), problem
    yield from _legs(("own_ship",), scenario.own_ship.legs)
    seen: set[str] = set()
    for index, target in enumerate(scenario.targets):
        here = ("targets", str(index))
        if target.name in seen:
            yield (*here, "name"), f"two targets are called {target.name!r}; give each a name of its own"
        seen.add(target.name)
        yield from _placing(here, target, scenario.duration_min)
        yield from _watched(here, target)
        yield from _legs(here, target.legs)
    yield from _radar(scenario, seen)
    for name, sensor in _sensors(scenario):
        for index, failure in enumerate(sensor.failures):
            if failure.until_min <= failure.from_min:
                yield ("sensors", name, "failures", str(index), "until"), "ends before it begins"
    log = scenario.sensors.speed
    if log is not None and log.reference == "ground" and "VHW" in log.sentences:
        yield ("sensors", "speed", "sentences"), 'VHW is through the water; a log over the ground sends ["VBW"]'
    for index, mark in enumerate(scenario.marks):
        here = ("marks", str(index))
        if scenario.radar is None:
            yield here, "EBL and VRM need a [radar]"
        if mark.target is None and mark.range_nm is None and mark.bearing_deg is None:
            yield here, "give a target on which it is laid, or a range_nm and a bearing_deg"
        if mark.target is not None and mark.target not in seen:
            yield (*here, "target"), f"no target is called {mark.target!r}"


def _sensors(scenario: Scenario) -> Iterator[tuple[str, Any]]:
    for name in ("heading", "position", "speed"):
        sensor = getattr(scenario.sensors, name)
        if sensor is not None:
            yield name, sensor


def _legs(here: Path_, legs: tuple[Leg, ...]) -> Iterator[tuple[Path_, str]]:
    for index, leg in enumerate(legs):
        if leg.course_deg is None and leg.speed_kn is None:
            yield (*here, "legs", str(index)), "alters nothing; give course_deg, speed_kn or both"
        if index and leg.at_min < legs[index - 1].at_min:
            yield (*here, "legs", str(index), "at"), "comes before the leg above it; write legs in order of time"


def _watched(here: Path_, target: Target) -> Iterator[tuple[Path_, str]]:
    """When the set may see and track it."""
    for index, span in enumerate(target.unseen):
        if span.until_min <= span.from_min:
            yield (*here, "unseen", str(index), "until"), "ends before it begins"
    if target.drop_min is not None and target.drop_min <= target.acquire_min:
        yield (*here, "drop"), "comes before it is acquired"


def _placing(here: Path_, target: Target, duration_min: float) -> Iterator[tuple[Path_, str]]:
    by_range = target.range_nm is not None
    by_position = target.lat_deg is not None or target.lon_deg is not None
    if (target.meets is not None) + by_range + by_position != 1:
        yield (
            here,
            (
                "say in one way where it starts: meets, or range_nm with bearing_deg or relative_deg, "
                "or lat_deg and lon_deg"
            ),
        )
    if by_position and (target.lat_deg is None or target.lon_deg is None):
        yield here, "a position needs lat_deg and lon_deg"
    if by_range and (target.bearing_deg is None) == (target.relative_deg is None):
        yield here, "range_nm needs either bearing_deg (true) or relative_deg (off the bow)"
    if not by_range and (target.bearing_deg is not None or target.relative_deg is not None):
        yield here, "a bearing needs a range_nm; a meeting has from_bearing_deg or from_relative_deg"
    if target.course_deg is None and target.meets is None and (target.speed_kn or target.legs):
        yield (*here, "speed_kn"), "it moves, so give its course_deg"
    if target.meets is not None:
        yield from _meeting(here, target, duration_min)
    if target.clutter and target.ais is not None:
        yield (*here, "ais"), "a false track has no AIS"


def _meeting(here: Path_, target: Target, duration_min: float) -> Iterator[tuple[Path_, str]]:
    meets = target.meets
    assert meets is not None
    ways = [target.course_deg, meets.from_bearing_deg, meets.from_relative_deg]
    if sum(way is not None for way in ways) != 1:
        yield (
            (*here, "meets"),
            ("give one of: course_deg of the target, from_bearing_deg (true) or from_relative_deg (off the bow)"),
        )
    if target.course_deg is None and meets.at_min <= meets.seen_min:
        yield (*here, "meets", "at"), "the CPA must come after the moment at which it is seen"
    if meets.at_min > duration_min + 120:
        yield (*here, "meets", "at"), f"is more than two hours after the end of the exercise ({duration_min:g} min)"


def _radar(scenario: Scenario, names: set[str]) -> Iterator[tuple[Path_, str]]:
    radar = scenario.radar
    if radar is None:
        return
    if radar.min_range_nm >= radar.max_range_nm:
        yield ("radar", "min_range_nm"), "is not below max_range_nm"
    for index, fault in enumerate(radar.faults):
        here = ("radar", "faults", str(index))
        for name in fault.targets:
            if name not in names:
                yield (*here, "targets"), f"no target is called {name!r}"
        if fault.kind == "swap" and len(fault.targets) != 2:
            yield (*here, "targets"), "a swap needs two targets"
        if fault.kind == "duplicate" and (fault.number is None or len(fault.targets) != 1):
            yield here, "a duplicate needs one target and the second number"
        if fault.until_min is not None and fault.until_min <= fault.from_min:
            yield (*here, "until"), "ends before it begins"
    if radar.inputs.speed == "log" and scenario.sensors.speed is None:
        yield ("radar", "inputs", "speed"), 'there is no [sensors.speed]; give "ground" or "manual"'
    if radar.inputs.speed == "ground" and scenario.sensors.position is None:
        yield ("radar", "inputs", "speed"), 'there is no [sensors.position]; give "log" or "manual"'
    if radar.inputs.heading == "sensor" and scenario.sensors.heading is None:
        yield ("radar", "inputs", "heading"), 'there is no [sensors.heading]; give "none"'
