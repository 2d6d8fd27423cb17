"""A short, busy recording for the bench: encounters of every kind in eight minutes of few sentences.

One vessel on a steady bearing, one that passes near the limit, one that alters late, one that overtakes, one that
opens, one whose echo fails and comes again; the range scale changes half way. Invented.
"""

from pathlib import Path

import numpy as np
from msgspec import structs

from daemon.bench.encounters import Encounter, Verdict
from daemon.exercise import generate
from daemon.exercise.reading import parse

SCENARIO = """
title = "Busy water"
about = "Invented for tests; no vessel is real."
start = 2027-01-15T08:00:00Z
seed = 7
duration_min = 8
[place]
name = "No place"
lat_deg = 50.0
lon_deg = -5.0
[own_ship]
name = "Teal"
course_deg = 30
speed_kn = 8
[sensors.heading]
rate_hz = 0.5
[sensors.position]
sentences = ["RMC"]
rate_hz = 0.5
[radar]
scan_s = 5
max_range_nm = 12
rsd_interval_s = 30
acquisition_s = 10
lost_after_scans = 4
range_scale_nm = 6
inputs = {speed = "ground"}
scale_changes = [{at = 4.2, range_scale_nm = 3}]
[[targets]]
name = "Steady"
course_deg = 270
speed_kn = 10
meets = {cpa_nm = 0.1, at = 5, passes = "to port"}
[[targets]]
name = "Doubtful"
course_deg = 180
speed_kn = 12
meets = {cpa_nm = 0.5, at = 4.5, passes = "to starboard"}
[[targets]]
name = "Late"
course_deg = 130
speed_kn = 14
meets = {cpa_nm = 0.9, at = 7.5, passes = "to port"}
legs = [{at = 3, course_deg = 160, turn = "starboard"}]
[[targets]]
name = "Fast"
course_deg = 30
speed_kn = 22
meets = {cpa_nm = 0.35, at = 6, passes = "to starboard"}
[[targets]]
name = "Gone"
course_deg = 210
speed_kn = 6
detection = 0.35
meets = {cpa_nm = 0.2, at = 6.5, passes = "to port"}
"""


def write_busy(folder: Path) -> Path:
    """The recording and, beside it, its truth."""
    recording = folder / "busy.nmea.gz"
    generate.write(parse(SCENARIO, "busy.toml"), recording, folder / "busy.truth.jsonl.gz")
    return recording


def encounter(verdict: Verdict, **changes: object) -> Encounter:
    """One encounter of twenty minutes, closest in the middle of it."""
    made = Encounter(
        recording="one",
        target="Teal",
        keys=("radar-01",),
        condition="open water",
        from_s=0.0,
        until_s=1200.0,
        closest_s=600.0,
        cpa_nm=0.2 if verdict is Verdict.CLOSE else 1.4,
        sd_nm=0.0,
        verdict=verdict,
        close_nm=0.5,
        danger_s=(),
        way=np.zeros((0, 3)),
    )
    return structs.replace(made, **changes)
