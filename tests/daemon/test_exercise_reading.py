"""Scenario files: every mistake is refused with file, line, key and what was meant; what is right comes back."""

from pathlib import Path

import pytest

from daemon.errors import UserError
from daemon.exercise import encounters, reading, traffic
from daemon.exercise.writing import to_toml

GOOD = """\
title = "test"
start = 2027-01-15T08:00:00Z
duration_min = 20

[place]
lat_deg = 50.0
lon_deg = -5.0

[own_ship]
course_deg = 30
speed_kn = 10
legs = [{ at = 5, course_deg = 60 }]

[sensors.heading]

[sensors.position]

[sensors.speed]

[radar]

[[radar.faults]]
kind = "silent"
from = 3
until = 4

[[targets]]
name = "one"
range_nm = 4
bearing_deg = 90

[[targets]]
name = "two"
speed_kn = 12
meets = { cpa_nm = 0.2, at = "08:15", passes = "ahead", from_relative_deg = 40 }

[[targets.legs]]
at = "08:10:30"
speed_kn = 6

[[marks]]
at = 2
target = "one"
"""

WRONG = [
    ("duration_min = 20", "duration_min = 0", 3, "duration_min: expected a number > 0.0"),
    ("duration_min = 20", "", None, "duration_min"),
    ("duration_min = 20", 'duration_min = "long"', 3, "duration_min: expected a number, got text"),
    ("lat_deg = 50.0", "lat_deg = 95.0", 6, "place.lat_deg: expected a number <= 80.0"),
    ("lat_deg = 50.0", "latitude_deg = 50.0", 6, "place.latitude_deg: there is no such key; did you mean 'lat_deg'?"),
    ("start = 2027-01-15T08:00:00Z", "start = 2027-01-15T08:00:00", 2, "start: "),
    ("start = 2027-01-15T08:00:00Z", "start = 1999-01-15T08:00:00Z", 2, "start: write a year from 2000 to 2079"),
    ("legs = [{ at = 5, course_deg = 60 }]", "legs = [{ at = 5 }]", 12, "own_ship.legs.0: alters nothing"),
    (
        "legs = [{ at = 5, course_deg = 60 }]",
        "legs = [{ at = 5, course_deg = 60 }, { at = 4, speed_kn = 3 }]",
        12,
        "own_ship.legs.1.at: comes before the leg above it",
    ),
    ("[sensors.speed]\n", "", 19, "radar.inputs.speed: there is no [sensors.speed]"),
    ("[sensors.heading]\n", "", 19, "radar.inputs.heading: there is no [sensors.heading]"),
    (
        'kind = "silent"',
        'kind = "broken"',
        23,
        "radar.faults.0.kind: 'broken' is none of duplicate, repeat, silent, swap",
    ),
    ('kind = "silent"', 'kind = "swap"', 22, "radar.faults.0.targets: a swap needs two targets"),
    ("until = 4", "until = 2", 25, "radar.faults.0.until: ends before it begins"),
    ("range_nm = 4\n", "", 27, "targets.0: say in one way where it starts"),
    ("bearing_deg = 90\n", "", 27, "targets.0: range_nm needs either bearing_deg (true) or relative_deg"),
    ("bearing_deg = 90", "bearing_deg = 360", 30, "targets.0.bearing_deg: expected a number < 360.0"),
    ("bearing_deg = 90", "bearing_deg = 90\nspeed_kn = 5", 31, "targets.0.speed_kn: it moves, so give its course_deg"),
    ("[radar]", "[radar]\nscan = 3", 21, "radar.scan: there is no such key; did you mean 'scan_s'?"),
    ("bearing_deg = 90", "bearing_deg = 90\nnumbr = 3", 31, "did you mean 'number'?"),
    ("bearing_deg = 90", "bearing_deg = 90\ncolour = 3", 31, "targets.0.colour: there is no such key"),
    ("bearing_deg = 90", "bearing_deg = 90\nnumber = 1000", 31, "targets.0.number: expected a whole number <= 999"),
    ('name = "two"', 'name = "one"', 33, "targets.1.name: two targets are called 'one'"),
    ('at = "08:15"', 'at = "08:75"', 35, "targets.1.meets.at: '08:75' is no time; write minutes from the start"),
    ('at = "08:15"', "at = 0", 35, "targets.1.meets.at: the CPA must come after"),
    (', passes = "ahead"', ', passes = "above"', 35, "targets.1.meets.passes: 'above' is none of ahead, astern, "),
    (", from_relative_deg = 40", "", 35, "targets.1.meets: give one of: course_deg of the target"),
    ("speed_kn = 6", "speed_kn = 600", 39, "targets.1.legs.0.speed_kn: expected a number <= 100.0"),
    ('target = "one"', 'target = "three"', 43, "marks.0.target: no target is called 'three'"),
    ('target = "one"', "", 41, "marks.0: give a target on which it is laid"),
    ('title = "test"', 'title = "test', None, "not valid TOML"),
    (
        "[sensors.speed]",
        "[sensors.speed]\nnoise_kn = inf",
        19,
        "sensors.speed.noise_kn: expected a number <= 100000.0",
    ),
    ("start = 2027-01-15T08:00:00Z\n", "", 34, "targets.1.meets.at: a time of day needs the start of the exercise"),
    (
        "bearing_deg = 90",
        "bearing_deg = 90\nunseen = [{ from = 5, until = 5 }]",
        31,
        "targets.0.unseen.0.until: ends before it begins",
    ),
    ("bearing_deg = 90", "bearing_deg = 90\nacquire = 6\ndrop = 5", 32, "targets.0.drop: comes before it is acquired"),
]


@pytest.mark.parametrize(("old", "new", "line", "said"), WRONG)
def test_a_mistake_is_named(old: str, new: str, line: int | None, said: str) -> None:
    """One line with the file, the line of the key where it stands, the key and the mend."""
    assert old in GOOD
    with pytest.raises(UserError) as caught:
        reading.parse(GOOD.replace(old, new, 1), "scene.toml")
    text = str(caught.value)

    assert said in text
    assert text.startswith(f"scene.toml, line {line}: " if line else "scene.toml")
    assert "\n" not in text
    assert caught.value.code == 2


def test_times_of_day_are_minutes_from_the_start() -> None:
    """08:15 is minute 15 of an exercise that starts at 08:00; over midnight too."""
    scenario = reading.parse(GOOD)
    night = reading.parse(GOOD.replace("T08:00:00Z", "T23:50:00Z").replace("08:15", "00:05").replace("08:10", "00:01"))

    assert scenario.targets[1].meets is not None
    assert scenario.targets[1].meets.at_min == 15
    assert scenario.targets[1].legs[0].at_min == 10.5
    assert night.targets[1].meets is not None
    assert night.targets[1].meets.at_min == 15


def test_the_start_itself_is_minute_0_to_the_millisecond() -> None:
    """A start between two seconds, as a recorded time may be, is not a day before its own time of day."""
    for milliseconds in range(0, 1000, 7):
        clock = f"08:00:00.{milliseconds:03d}"
        text = GOOD.replace("08:00:00Z", f"{clock}Z").replace("at = 2\n", f'at = "{clock}"\n')

        assert reading.parse(text).marks[0].at_min == 0


@pytest.mark.parametrize(
    ("path", "said"), [("nowhere.toml", "cannot read"), (".", "is a folder"), ("binary.toml", "is not UTF-8")]
)
def test_what_is_no_scenario_file(path: str, said: str, tmp_path: Path) -> None:
    """A missing file, a directory and a binary file: code 3."""
    (tmp_path / "binary.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(UserError, match=said) as caught:
        reading.load(tmp_path / path)

    assert caught.value.code == 3


def test_drawn_scenarios_come_back_from_their_toml() -> None:
    """What is written reads back as the same scenario, traffic with AIS and clutter too."""
    spec = encounters.Distribution(own_turns_deg=(30,), target_turns_deg=(60,))
    drawn = [*encounters.draw(3, 3), *encounters.draw(4, 2, spec), *traffic.draw(1, 1), encounters.operational(3)]
    for scenario in drawn:
        assert reading.parse(to_toml(scenario)) == scenario


def test_recorded_scenarios_come_back_too() -> None:
    """Every key that the passages use survives the way out and back."""
    paths = list((Path(__file__).parent.parent.parent / "recordings").glob("*.toml"))
    assert paths
    for path in paths:
        scenario = reading.load(path)

        assert reading.parse(to_toml(scenario)) == scenario
