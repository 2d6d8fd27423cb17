"""Which of a scenario's faults are in force at a moment, in words."""

from collections.abc import Iterator

from daemon.exercise.echoes import errors_of
from daemon.exercise.scenario import Failure, Radar, RadarFault, Scenario


def in_force(scenario: Scenario, at_s: float) -> Iterator[str]:
    """Every fault at so many seconds from the start: sensors, what the set is fed with, the set, echoes not there."""
    sensors = scenario.sensors
    for name, sensor in (("heading", sensors.heading), ("position", sensors.position), ("speed", sensors.speed)):
        for failure in sensor.failures if sensor else ():
            if _within(failure.from_min, failure.until_min, at_s):
                yield _failure(name, failure)
    if sensors.heading and sensors.heading.bias_deg:
        yield f"heading sensor wrong by {sensors.heading.bias_deg:+g} degrees"
    if sensors.speed and (sensors.speed.bias_kn or sensors.speed.factor != 1):
        yield f"log wrong by {sensors.speed.bias_kn:+g} kn, factor {sensors.speed.factor:g}"
    if scenario.radar:
        yield from _inputs(scenario.radar)
        for fault in scenario.radar.faults:
            if _within(fault.from_min, fault.until_min, at_s):
                yield _set_fault(fault)
    for target in scenario.targets:
        if any(_within(span.from_min, span.until_min, at_s) for span in target.unseen):
            yield f"{target.name} gives no echo"


def _inputs(radar: Radar) -> Iterator[str]:
    fed = radar.inputs
    if fed.heading == "none":
        yield "the set has no heading input"
    if fed.heading_bias_deg:
        yield f"the set's heading input is wrong by {fed.heading_bias_deg:+g} degrees"
    if fed.heading_delay_s:
        yield f"the set's heading input is {fed.heading_delay_s:g} s late"
    if fed.speed == "manual":
        yield f"the set's speed is typed in: {fed.manual_speed_kn:g} kn"
    if fed.speed_bias_kn or fed.speed_factor != 1:
        yield f"the set's speed input is wrong by {fed.speed_bias_kn:+g} kn, factor {fed.speed_factor:g}"
    if errors_of(radar).bearing_bias_deg:
        yield f"the set's bearings are wrong by {errors_of(radar).bearing_bias_deg:+g} degrees"


def _failure(name: str, failure: Failure) -> str:
    if failure.how == "offset":
        return f"{name} sensor wrong by {failure.offset:+g}"
    return f"{name} sensor {failure.how}"


def _set_fault(fault: RadarFault) -> str:
    who = " and ".join(fault.targets) or "all targets"
    return {
        "swap": f"the set has swapped {who}",
        "repeat": f"the set repeats old measurements of {who}",
        "silent": f"the set says nothing of {who}",
        "duplicate": f"the set has {who} under a second number, {fault.number}",
    }[fault.kind]


def _within(from_min: float, until_min: float | None, at_s: float) -> bool:
    return from_min * 60 <= at_s and (until_min is None or at_s < until_min * 60)
