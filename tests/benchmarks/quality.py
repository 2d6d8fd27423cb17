"""Picture quality: how often a doubled scatter or a 30 % loss is found within 3 min, and how often nothing is there.

Run: python -m tests.benchmarks.quality [RUNS]. Prints each figure beside its bound, with the seed. The picture is
invented: targets at 1 to 8 NM reported every 3 s (a jitter of 0.1 s) with 20 m and 0.5° of noise, for 6 min before a
note; then 180 s with the change. "Found" is a remark marked as more than chance that names the measure.
"""

import sys
from collections.abc import Sequence
from math import atan2, cos, degrees, hypot, radians, sin

import numpy as np

from alerts.plotting.kinematics import Estimate, Look, OwnMotion
from alerts.plotting.quality import Quality, Remark, RemarkKind
from alerts.plotting.terms import TrackState
from parsers.observations import MotionReference

SEED = 20270301
NOTE_S = 360.0
SETTLED = Estimate(0, 0, 0, 0, 0, (0.0,) * 10, TrackState.STEADY, True, 50)


def own_at(at_s: float) -> OwnMotion:
    """Own ship north at 8 kn."""
    return OwnMotion(at_s, 0.0, 8 * at_s / 3600, 0.0, 8.0, 0.1, MotionReference.GROUND, 0.0, 0.5)


def looks(
    rng: np.random.Generator,
    base_loss: float,
    scatter: float,
    loss: float,
    period_s: float = 3.0,
    smoothing: float = 0.0,
    end_s: float = NOTE_S + 180,
) -> list[Look]:
    """One target's reports: `scatter` multiplies the noise and `loss` is added to the loss after the note.

    `smoothing` makes the noise of neighbours alike (first order), as a set that filters its reports does.
    """
    bearing, course = rng.uniform(0, 2 * np.pi), rng.uniform(0, 360)
    east, north = rng.uniform(1, 8) * np.array([np.sin(bearing), np.cos(bearing)])
    speed = rng.uniform(0, 18)
    found = []
    errors = np.zeros(2)
    for at_s in np.arange(rng.uniform(0, period_s), end_s, period_s):
        after = at_s > NOTE_S
        errors = smoothing * errors + (1 - smoothing**2) ** 0.5 * rng.standard_normal(2)
        if rng.random() < base_loss + (loss if after else 0.0):
            continue
        when = float(at_s + rng.uniform(-0.1, 0.1))
        own = own_at(when)
        x = east + speed * sin(radians(course)) * when / 3600 - own.east_nm
        y = north + speed * cos(radians(course)) * when / 3600 - own.north_nm
        factor = scatter if after else 1.0
        range_nm = max(hypot(x, y) + factor * 20 / 1852 * errors[0], 0.05)
        found.append(Look(when, range_nm, (degrees(atan2(x, y)) + factor * 0.5 * errors[1]) % 360, own))
    return found


def remarks(tracks: Sequence[list[Look]], note: str = "gain down", end_s: float = NOTE_S + 180) -> list[Remark]:
    """What the measure says of these targets, ticked once a second."""
    quality = Quality()
    told: list[Remark] = []
    events = sorted((look.at_s, i) for i, track in enumerate(tracks) for look in track)
    places = [iter(track) for track in tracks]
    second = 0
    noted = False
    for at_s, i in events:
        while second < at_s:
            if second >= NOTE_S and not noted:
                told += quality.note(NOTE_S, note)
                noted = True
            told += quality.tick(float(second))
            second += 1
        quality.see(f"radar-{i:02d}", next(places[i]), SETTLED)
    for late in range(second, int(end_s) + 2):
        told += quality.tick(float(late))
    return told


def share(kind: RemarkKind | None, targets: int, runs: int, rng: np.random.Generator, **change: float) -> float:
    """Per cent of runs in which the kind (None: anything) is found."""
    found = 0
    for _ in range(runs):
        told = remarks([looks(rng, **change) for _ in range(targets)])
        found += any(one.found and (kind is None or one.kind == kind) for one in told)
    return 100 * found / runs


def main() -> None:
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    rng = np.random.default_rng(SEED)
    print(f"seed {SEED}, {runs} runs each; found within 180 s of the note")
    print(f"{'targets':>7} {'base loss':>9} {'doubled scatter':>16} {'30 % loss':>10} {'false findings':>15}")
    print(f"{'bound':>17} {'>= 95 %':>16} {'>= 95 %':>10} {'<= 5 %':>15}")
    for targets, base in ((1, 0.0), (1, 0.05), (4, 0.0), (4, 0.1), (8, 0.1)):
        doubled = share(RemarkKind.SCATTER, targets, runs, rng, base_loss=base, scatter=2.0, loss=0.0)
        lost = share(RemarkKind.REPORTS, targets, runs, rng, base_loss=base, scatter=1.0, loss=0.3)
        false = share(None, targets, runs, rng, base_loss=base, scatter=1.0, loss=0.0)
        print(f"{targets:7d} {base:9.2f} {doubled:15.1f}% {lost:9.1f}% {false:14.1f}%")
    smoothed = share(None, 4, runs, rng, base_loss=0.1, scatter=1.0, loss=0.0, smoothing=0.7)
    print(f"false findings on four targets whose set smooths its reports (neighbours correlated 0.7): {smoothed:.1f}%")


if __name__ == "__main__":
    main()
