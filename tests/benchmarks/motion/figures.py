"""All figures by name, with the number of runs that the table in docs/method.md is made with."""

from tests.benchmarks.motion.figure import Measure
from tests.benchmarks.motion.imo import imo
from tests.benchmarks.motion.limits import coverage, efficiency, lesser_data, smoothing
from tests.benchmarks.motion.manoeuvres import false_manoeuvres, manoeuvres, own_alteration
from tests.benchmarks.motion.probability import probability
from tests.benchmarks.motion.speed import speed

ALL: dict[str, tuple[Measure, int]] = {
    "imo": (imo, 1000),
    "efficiency": (efficiency, 1000),
    "coverage": (coverage, 600),
    "smoothing": (smoothing, 400),
    "lesser-data": (lesser_data, 400),
    "manoeuvres": (manoeuvres, 300),
    "false-manoeuvres": (false_manoeuvres, 40),
    "own-alteration": (own_alteration, 300),
    "probability": (probability, 20_000),
    "speed": (speed, 10_000),
}
