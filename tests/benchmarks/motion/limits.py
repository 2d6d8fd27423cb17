"""How good the CPA is against the Cramér-Rao bound, and how often the truth lies inside the 95 % limits."""

from collections.abc import Callable, Iterator

import msgspec
import numpy as np

from alerts.plotting.kinematics import Look, OwnMotion
from alerts.plotting.noise import NoiseModel
from daemon.exercise.encounters import draw
from daemon.exercise.scenario import (
    HeadingSensor,
    Sensors,
    SpeedSensor,
    TidalStream,
)
from tests.benchmarks.motion.bound import miss_bound_nm, report_sds
from tests.benchmarks.motion.figure import (
    EXACT_OWN,
    PLAIN,
    PLAIN_AIM,
    SMOOTHED,
    SMOOTHED_AIM,
    Figure,
    at_time,
    coverage_figure,
    first_settled,
    heading_in_bearing,
    miss_errors_nm,
    shared_noise,
    yawing,
)
from tests.benchmarks.motion.runs import (
    WHITE,
    Followed,
    Truth,
    follow,
    sample,
    with_radar,
)


def efficiency(runs: int, seed: int = 202) -> Iterator[Figure]:
    base = msgspec.structs.replace(with_radar(duration_min=3.1, errors=WHITE), sensors=EXACT_OWN)
    for name, noise in (("a feed's first track", NoiseModel), ("a feed that is known", shared_noise())):
        followed = list(follow(draw(seed, runs, base=base), seed, noise))
        got = sample(followed, at_time(180.0))
        bounds = np.array([_bound_at(one, 180.0, report_sds(20.0, 0.5)) for one in followed])
        ratio = float(np.sqrt(np.mean((miss_errors_nm(got) / bounds) ** 2)))
        yield Figure(
            f"CPA after 3 min, white noise, r.m.s. over the Cramér-Rao bound ({name})",
            f"{ratio:.3f}",
            "1.3",
            "1.1",
            ratio <= 1.3,
            ratio <= 1.1,
            runs,
            seed,
        )


def _bound_at(one: Followed, at_s: float, sds: tuple[float, float]) -> float:
    end = one.index_at(at_s) + 1
    return miss_bound_nm(Truth(*(column[:end] for column in one.truth)), one.times_s[:end], sds)


def coverage(runs: int, seed: int = 303) -> Iterator[Figure]:
    base = with_radar(duration_min=10.1, errors=WHITE)
    for name, noise in (("a feed's first track", NoiseModel), ("known feed", shared_noise())):
        followed = list(follow(draw(seed, runs, base=base), seed, noise))
        for label, index in (
            ("just settled", first_settled),
            ("3 min", at_time(180.0)),
            ("6 min", at_time(360.0)),
            ("10 min", at_time(600.0)),
        ):
            yield coverage_figure(f"white noise, {name}, {label}", PLAIN, PLAIN_AIM, sample(followed, index), seed)


def smoothing(runs: int, seed: int = 404) -> Iterator[Figure]:
    gains = ((0.1, 0.0053), (0.35, 0.1), (0.6, 0.26))
    for alpha, beta in gains:
        base = with_radar(duration_min=6.1, errors=WHITE, reports="smoothed", alpha=alpha, beta=beta)
        for name, noise in (("a feed's first track", NoiseModel), ("known feed", shared_noise())):
            followed = list(follow(draw(seed, runs, base=base), seed, noise))
            for minutes in (3, 6):
                label = f"reports smoothed with alpha {alpha:g}, {name}, {minutes} min"
                yield coverage_figure(label, SMOOTHED, SMOOTHED_AIM, sample(followed, at_time(minutes * 60.0)), seed)
    base = with_radar(duration_min=6.1, errors=WHITE, report_interval_s=1.0, scan_s=3.0)
    followed = list(follow(draw(seed, runs, base=base), seed, shared_noise()))
    yield coverage_figure(
        "each measurement sent three times, 3 min", PLAIN, PLAIN_AIM, sample(followed, _fresh(180.0)), seed
    )
    repeats = [
        one.estimates[-1].repeats / (one.estimates[-1].observations + one.estimates[-1].repeats) for one in followed
    ]
    yield Figure(
        "repeats recognised, each measurement sent three times",
        f"{100 * float(np.mean(repeats)):.1f} % of reports (66.7 % are)",
        "",
        "",
        None,
        None,
        runs,
        seed,
    )


def _fresh(at_s: float) -> Callable[[Followed], int]:
    """The first look at or after a time that is no repeat of the one before."""

    def index(one: Followed) -> int:
        k = one.index_at(at_s)
        while k < len(one.looks) - 1 and one.estimates[k].repeats > one.estimates[k - 1].repeats:
            k += 1
        return k

    return index


def lesser_data(runs: int, seed: int = 505) -> Iterator[Figure]:
    """Coverage after 3 min (white radar noise) with headings, bearings, scans and references that are not so good."""
    for yaw in (3.0, 8.0):
        for delay in (0.0, 0.5, 1.0):
            base = yawing(with_radar(duration_min=3.2, errors=WHITE, bearing="relative"), yaw, delay)
            followed = list(follow(draw(seed, runs, base=base), seed, shared_noise(), prepare=heading_in_bearing))
            yield _told(f"relative bearings, yaw {yaw:g}°, heading {delay:g} s late, 3 min", followed, seed)
    base = yawing(with_radar(duration_min=3.2, errors=WHITE, bearing="relative"), 3.0, 0.0)
    followed = list(follow(draw(seed, runs, base=base), seed, shared_noise(), prepare=_course_stands_in))
    yield _told("no heading, course over ground stands in, yaw 3°, 3 min", followed, seed)
    water = msgspec.structs.replace(
        with_radar(duration_min=3.2, errors=WHITE),
        tidal_stream=TidalStream(set_deg=70.0, drift_kn=2.5),
        sensors=Sensors(heading=HeadingSensor(), speed=SpeedSensor()),
    )
    yield _told(
        "2.5 kn of stream, own motion through the water, 3 min",
        list(follow(draw(seed, runs, base=water), seed, shared_noise())),
        seed,
    )
    for scan_s, detection, missed in ((1.0, 1.0, ""), (6.0, 1.0, ""), (3.0, 0.5, "nothing"), (3.0, 0.5, "predicted")):
        base = with_radar(
            duration_min=3.3, errors=WHITE, scan_s=scan_s, detection=detection, missed=missed or "predicted"
        )
        label = f"scan {scan_s:g} s" + (f", half the scans missed ({missed} sent)" if missed else "")
        yield _told(f"{label}, 3 min", list(follow(draw(seed, runs, base=base), seed, shared_noise())), seed)


def _told(label: str, followed: list[Followed], seed: int) -> Figure:
    got = sample(followed, at_time(180.0))
    told = coverage_figure(label, (88.0, 100.0), SMOOTHED_AIM, got, seed)
    settled = ~np.isnan(got.said.cpa_nm)
    error = np.abs(miss_errors_nm(got))[settled]
    return told._replace(measured=f"{told.measured}, median error {np.median(error):.2f} NM")


def _course_stands_in(look: Look) -> Look:
    """A relative bearing made true with the course over ground: the yaw stays in it."""
    own = look.own
    assert own.heading_deg is not None
    course = float(np.degrees(np.arctan2(own.east_kn, own.north_kn)) % 360.0)
    bearing = (look.bearing_deg - own.heading_deg + course) % 360.0
    stands_in: OwnMotion = msgspec.structs.replace(own, heading_deg=course, heading_sd_deg=5.0)
    return msgspec.structs.replace(look, bearing_deg=bearing, own=stands_in, bearing_sd_deg=3.0)
