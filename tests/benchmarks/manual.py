"""Manual plots and marks in RSD against the Cramér-Rao bound: five plots with the stated accuracy.

Run: python -m tests.benchmarks.manual [RUNS]. The readings carry exactly the errors that the plot assumes by default
(0.02 NM or 1 % of the range, 1°). The bound is that of the signed miss for an unbiased estimator, from the Fisher
information of the five readings at the true track. Prints rms errors over the bound; it must be at most 1.2.
"""

import sys
from math import atan2, degrees, hypot, radians

import numpy as np
from numpy.typing import NDArray

from alerts.plotting.kinematics import Estimate, OwnMotion
from alerts.plotting.manual import OwnLeg, Reading, plot
from alerts.plotting.marks import Marked, Marks
from alerts.plotting.sheet import Accuracy
from parsers.observations import MotionReference, Orientation, RadarSettings, RangeAndBearing, Source

SEED = 20270302
Array = NDArray[np.float64]
OWN = (0.0, 8.0)  # east, north, kn
CASES = {
    "crossing, 6 NM, 12 kn, every 3 min": ((4.5, 4.0, -12.0, 1.0), 180.0),
    "end on, 8 NM, 14 kn, every 3 min": ((0.8, 8.0, 0.0, -14.0), 180.0),
    "overtaking, 3 NM, 16 kn, every 6 min": ((-1.5, -2.6, 4.0, 15.5), 360.0),
    "slow, 4 NM, 5 kn, every 6 min": ((3.0, 2.6, -5.0, 0.0), 360.0),
}


def relative(start: tuple[float, float, float, float], seconds: float) -> Array:
    """Relative east, north (NM), east, north (kn) after some time."""
    east, north, east_kn, north_kn = start
    u, v = east_kn - OWN[0], north_kn - OWN[1]
    return np.array([east + u * seconds / 3600, north + v * seconds / 3600, u, v])


def sds(range_nm: float, accuracy: Accuracy) -> tuple[float, float]:
    return max(accuracy.range_sd_nm, accuracy.range_sd_share * range_nm), radians(accuracy.bearing_sd_deg)


def bound_nm(start: tuple[float, float, float, float], step_s: float, accuracy: Accuracy) -> float:
    """Cramér-Rao bound of the signed miss, one standard deviation, at the fifth reading."""
    information = np.zeros((4, 4))
    last = relative(start, 4 * step_s)
    for k in range(5):
        hours = (k - 4) * step_s / 3600
        x, y = relative(start, k * step_s)[:2]
        range_nm = hypot(x, y)
        range_sd, bearing_sd = sds(range_nm, accuracy)
        by_range = np.array([x, y, x * hours, y * hours]) / range_nm / range_sd
        by_bearing = np.array([y, -x, y * hours, -x * hours]) / range_nm**2 / bearing_sd
        information += np.outer(by_range, by_range) + np.outer(by_bearing, by_bearing)
    gradient = np.empty(4)
    for i in range(4):
        step = np.zeros(4)
        step[i] = 1e-5
        gradient[i] = (miss_nm(last + step) - miss_nm(last - step)) / 2e-5
    return float(np.sqrt(gradient @ np.linalg.inv(information) @ gradient))


def miss_nm(state: Array) -> float:
    return float((state[1] * state[2] - state[0] * state[3]) / hypot(state[2], state[3]))


def readings(
    start: tuple[float, float, float, float], step_s: float, rng: np.random.Generator, accuracy: Accuracy
) -> list[Reading]:
    told = []
    for k in range(5):
        x, y = relative(start, k * step_s)[:2]
        range_nm = hypot(x, y)
        range_sd, _ = sds(range_nm, accuracy)
        error = rng.standard_normal(2)
        bearing = degrees(atan2(x, y)) + accuracy.bearing_sd_deg * error[1]
        told.append(Reading(k * step_s, range_nm + range_sd * error[0], bearing % 360))
    return told


def own_at(at_s: float) -> OwnMotion:
    place = (OWN[0] * at_s / 3600, OWN[1] * at_s / 3600)
    return OwnMotion(at_s, *place, *OWN, 0.1, MotionReference.GROUND, 0.0, 0.0)


def by_marks(plots: list[Reading]) -> tuple[Estimate | None, OwnMotion]:
    """The same readings laid with EBL and VRM, RSD once a second while they stand and between."""
    marks, told = Marks(), list[Marked]()
    source = Source(feed="radar", talker="RA", formatter="RSD")
    laid: Reading | None = None
    for second in range(int(plots[-1].at_s) + 15):
        laid = next((one for one in plots if one.at_s + 5 == second), laid)
        pair = RangeAndBearing(laid.range_nm if laid else 1.0, laid.bearing_deg if laid else 0.0)
        off = RangeAndBearing(None, None)
        settings = RadarSettings(
            at_s=float(second),
            source=source,
            range_scale_nm=12.0,
            orientation=Orientation.NORTH_UP,
            marks=(pair, off),
            origins=(off, off),
            cursor=off,
        )
        told += marks.see(settings, own_at(float(second) - 5))
    return (told[-1].estimate if told else None), own_at(plots[-1].at_s)


def main() -> None:
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 400
    rng, accuracy = np.random.default_rng(SEED), Accuracy()
    print(f"seed {SEED}, {runs} plots each of five readings; rms error of the signed miss over the Cramér-Rao bound")
    print(f"{'':40} {'bound NM':>9} {'manual':>7} {'marks':>7} {'recognised':>11}   (must be <= 1.2)")
    for name, (start, step_s) in CASES.items():
        bound, truth = bound_nm(start, step_s, accuracy), miss_nm(relative(start, 4 * step_s))
        manual, marks = [], []
        for _ in range(runs):
            told = readings(start, step_s, rng, accuracy)
            manual.append(plot(told, [OwnLeg(0, degrees(atan2(*OWN)), hypot(*OWN))]).movement.miss.best - truth)
            estimate, own = by_marks(told)
            if estimate is not None and estimate.observations == 5:
                place = np.array([estimate.east_nm - own.east_nm, estimate.north_nm - own.north_nm])
                velocity = np.array([estimate.east_kn - own.east_kn, estimate.north_kn - own.north_kn])
                marks.append(miss_nm(np.concatenate([place, velocity])) - truth)
        ratios = [float(np.sqrt(np.mean(np.square(errors)))) / bound for errors in (manual, marks)]
        found = 100 * len(marks) / runs
        print(f"{name:40} {bound:9.3f} {ratios[0]:7.2f} {ratios[1]:7.2f} {found:10.1f}%")


if __name__ == "__main__":
    main()
