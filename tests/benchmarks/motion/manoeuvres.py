"""Alterations of the target and of own ship: how soon they are told, how well it goes on, how often for nothing."""

from collections.abc import Callable, Iterator

import msgspec
import numpy as np

from daemon.exercise.encounters import BASE, Distribution, draw
from daemon.exercise.scenario import (
    A823_ERRORS,
    Leg,
)
from tests.benchmarks.motion.bound import earliest_s, report_sds
from tests.benchmarks.motion.figure import (
    Figure,
    at_time,
    covered,
    heading_in_bearing,
    percent,
    shared_noise,
    yawing,
)
from tests.benchmarks.motion.imo import A823_SENSORS
from tests.benchmarks.motion.runs import (
    WHITE,
    Followed,
    follow,
    placed,
    sample,
    with_radar,
)


def altering(runs: int, seed: int, turn_deg: float, speed_kn: float, range_nm: float = 4.0) -> list[Followed]:
    """Targets at 12 kn that alter 6 minutes after the track began, then at a range, bearing and course by chance."""
    rng = np.random.default_rng(seed)
    base = with_radar(duration_min=11.0, errors=WHITE)
    scenarios = []
    for own_course, course, bearing, side in rng.uniform(0, 1, (runs, 4)):
        sign = 1.0 if side < 0.5 else -1.0
        leg = Leg(
            at_min=6.0,
            course_deg=float((course * 360.0 + sign * turn_deg) % 360.0) if turn_deg else None,
            speed_kn=12.0 + speed_kn if speed_kn else None,
            turn="starboard" if sign > 0 else "port",
        )
        scenarios.append(
            placed(
                base,
                (own_course * 360.0, 10.0),
                (course * 360.0, 12.0),
                (range_nm, bearing * 360.0),
                360.0,
                legs=(leg,),
            )
        )
    return list(follow(scenarios, seed, shared_noise()))


def flagged_s(one: Followed, began_s: float = 360.0) -> float:
    """Seconds from a manoeuvre's beginning until the track says so; infinite if it never does."""
    said = np.flatnonzero(one.manoeuvring() & (one.times_s > began_s))
    return float(one.times_s[said[0]] - began_s) if said.size else float("inf")


def manoeuvres(runs: int, seed: int = 606) -> Iterator[Figure]:
    cases = [(15.0, 0.0), (30.0, 0.0), (60.0, 0.0), (90.0, 0.0), (0.0, 6.0), (0.0, -6.0)]
    for turn, speed in cases:
        followed = altering(runs, seed, turn, speed)
        name = f"{turn:g}° alteration" if turn else f"change of speed by {speed:+g} kn"
        delays = np.array([flagged_s(one) for one in followed])
        middle, late = np.percentile(delays, [50, 90], method="higher")
        bounded = turn == 30.0
        yield Figure(
            f"{name} of a target at 12 kn, 4 NM: flagged within, in 90 % of runs",
            f"{late:.0f} s (half of them {middle:.0f} s)",
            "60 s" if bounded else "",
            "40 s" if bounded else "",
            bool(late <= 60.0) if bounded else None,
            bool(late <= 40.0) if bounded else None,
            runs,
            seed,
        )
        if bounded:
            yield _earliest(followed, seed)
        yield _just_manoeuvred(followed, name, seed)
        yield from _after(followed, name, 360.0 + (turn / 90.0 * 60.0 if turn else abs(speed) / 6.0 * 60.0), seed)


def _earliest(followed: list[Followed], seed: int) -> Figure:
    luck = np.random.default_rng(seed).standard_normal(len(followed))
    times = [
        earliest_s(one.truth, one.times_s, 360.0, report_sds(20.0, 0.5), 4.1, draw_)
        for one, draw_ in zip(followed, luck, strict=True)
    ]
    return Figure(
        "the same, for a detector told the onset and the turn, with as few false alarms (a bound)",
        f"{np.percentile(times, 90):.0f} s (half of them {np.percentile(times, 50):.0f} s)",
        "",
        "",
        None,
        None,
        len(followed),
        seed,
    )


def _just_manoeuvred(followed: list[Followed], name: str, seed: int) -> Figure:
    """Coverage at the first settled looks after the track has said that it manoeuvres."""
    told = []
    for wait_s in (0.0, 30.0, 60.0):
        flagged = [one for one in followed if flagged_s(one) < 200.0]
        inside, settled = covered(sample(flagged, _settled_after_flag(wait_s)))
        told.append(f"{percent(inside, settled):.0f} %")
    measured = f"{told[0]}; 30 s and 60 s after the word {told[1]} and {told[2]}"
    return Figure(f"{name}: coverage when just settled again", measured, "", "", None, None, len(followed), seed)


def _settled_after_flag(wait_s: float) -> Callable[[Followed], int]:
    def index(one: Followed) -> int:
        start = one.index_at(360.0 + flagged_s(one) + wait_s)
        return next((k for k in range(start, len(one.looks)) if one.estimates[k].settled), len(one.looks) - 1)

    return index


def _after(followed: list[Followed], name: str, ended_s: float, seed: int) -> Iterator[Figure]:
    """Velocity error and coverage one, two and three minutes after the manoeuvre has ended."""
    told = []
    for minutes in (1, 2, 3):
        index = at_time(ended_s + 60.0 * minutes)
        error = np.array([one.velocity_error_kn()[index(one)] for one in followed])
        inside, settled = covered(sample(followed, index))
        told.append(f"{minutes} min {np.sqrt(np.mean(error**2)):.2f} kn, {percent(inside, settled):.0f} %")
    yield Figure(
        f"{name}: velocity error (r.m.s.) and coverage after its end",
        "; ".join(told),
        "",
        "",
        None,
        None,
        len(followed),
        seed,
    )


def false_manoeuvres(runs: int, seed: int = 707) -> Iterator[Figure]:
    """Steady targets for an hour each."""
    kinds = {
        "white noise": with_radar(duration_min=60.0, errors=WHITE),
        "white noise twice as wide": with_radar(
            duration_min=60.0, errors=msgspec.structs.replace(WHITE, range_noise_m=40.0, bearing_noise_deg=1.0)
        ),
        "reports smoothed, alpha 0.1": with_radar(duration_min=60.0, errors=WHITE, reports="smoothed"),
        "reports smoothed, alpha 0.35": with_radar(
            duration_min=60.0, errors=WHITE, reports="smoothed", alpha=0.35, beta=0.1
        ),
        "A.823 sensor errors, roll": msgspec.structs.replace(
            with_radar(duration_min=60.0, errors=A823_ERRORS, scan_s=3.0),
            sensors=A823_SENSORS,
            own_ship=msgspec.structs.replace(BASE.own_ship, roll_deg=10.0),
        ),
        "relative bearings, yaw 8°, heading 0.5 s late": yawing(
            with_radar(duration_min=60.0, errors=WHITE, bearing="relative"), 8.0, 0.5
        ),
        "half the scans missed (predicted sent)": with_radar(duration_min=60.0, errors=WHITE, detection=0.5),
    }
    spec = Distribution(tcpa_min=(20.0, 40.0), start_range_nm=(3.0, 12.0), slowest_relative_kn=4.0)
    for name, base in kinds.items():
        found = hours = 0.0
        for one in follow(draw(seed, runs, spec, base), seed, shared_noise()):
            found += len({e.manoeuvre_at_s for e in one.estimates if e.manoeuvre_at_s is not None})
            hours += (one.times_s[-1] - one.times_s[0]) / 3600.0
        rate = found / hours
        yield Figure(
            f"false manoeuvring, {name}",
            f"{rate:.2f} an hour a target",
            "1",
            "0.1",
            rate <= 1.0,
            rate <= 0.1,
            runs,
            seed,
        )


def own_alteration(runs: int, seed: int = 808) -> Iterator[Figure]:
    """Own ship alters 60 degrees after six minutes: the targets' ground velocity error over that just before."""
    spec = Distribution(own_turns_deg=(60.0,), alteration_min=(6.0, 6.0))
    kinds = {
        "true bearings": with_radar(duration_min=11.0, errors=WHITE),
        "reports smoothed, alpha 0.1": with_radar(duration_min=11.0, errors=WHITE, reports="smoothed"),
        "relative bearings, heading 0.5 s late": yawing(
            with_radar(duration_min=11.0, errors=WHITE, bearing="relative"), 1.0, 0.5
        ),
    }
    for name, base in kinds.items():
        grid = np.arange(330.0, 630.0, 2.5)
        errors, flagged = [], 0
        for one in follow(draw(seed, runs, spec, base), seed, shared_noise(), prepare=heading_in_bearing):
            error = one.velocity_error_kn()
            errors.append(error[np.minimum(np.searchsorted(one.times_s, grid), len(error) - 1)])
            flagged += int(one.manoeuvring().any())
        for share in (50, 95):
            error = np.percentile(errors, share, axis=0)
            before = float(np.mean(error[grid < 360.0]))
            ratio = float(np.max(error[grid >= 360.0])) / before
            yield Figure(
                f"own alteration of 60°, {name}: velocity error of {share} % at its greatest over that before",
                f"{ratio:.2f} ({before:.2f} kn before; {flagged} of {runs} targets ever called manoeuvring)",
                "1.5",
                "1.1",
                ratio <= 1.5,
                ratio <= 1.1,
                runs,
                seed,
            )
