"""Alerts on drawn encounters with the default limits: what is warned of in time, what cries wolf, what flaps.

Run: python -m tests.benchmarks.alerts_in_time [ENCOUNTERS] [SEED]. Prints each figure beside its bound, with the seed.
Encounters and sensor errors are those of daemon.exercise.encounters (A.823(19) Appendix 3); each is watched by a
track, a noise model, rules and an alert book of its own, from the first report to the end. A closest_approach is in
time when it is raised before the true TCPA has fallen to 0.75 of its limit. Distributions: `spread` is that of the
generator (CPA evenly 0 to 2 NM); `near` has all CPAs within 0 to 0.8 of the limit.
"""

import sys
from collections import Counter

import msgspec
import numpy as np
from msgspec import Struct

from alerts.events import Alert, Instant, Moment, Plot
from alerts.lifecycle import AlertBook
from alerts.plotting.estimate import Track
from alerts.plotting.motion import assess
from alerts.plotting.noise import NoiseModel
from alerts.plotting.plot_event import plot_event, rounded
from alerts.plotting.terms import Check, Encounter
from alerts.rules.rules import Rules
from alerts.rules.situation import Situation, TargetHealth
from alerts.settings import DEFAULT_CONDITIONS, Alerts
from daemon.exercise.encounters import BASE, Distribution, Looks, draw, looks

LIMITS = DEFAULT_CONDITIONS["open water"]
SETTINGS = Alerts()


class Watched(Struct):
    """One encounter and what was told of it. Times in seconds from the start."""

    cpa_nm: float
    cpa_s: float
    raised_s: dict[str, float]
    changes: dict[int, list[float]]
    trace: list[tuple[float, float | None, float | None, float | None]]


def plots_of(measured: Looks, number: int) -> list[tuple[Moment, Plot]]:
    """The plots of one encounter, as the watch would make them."""
    track = Track(NoiseModel())
    seen = measured.looks(number)
    estimates = [track.observe(look) for look in seen]
    assessment = assess(estimates, [look.own for look in seen], LIMITS.cpa_nm)
    answers = zip(assessment.rows(), rounded(assessment), strict=True)
    plots = []
    for look, estimate, (answer, shown) in zip(seen, estimates, answers, strict=True):
        moment = Moment(look.at_s, Instant(1_800_000_000_000 + round(look.at_s * 1000)))
        check = (Check.NOT_REPORTED, None)
        plots.append(
            (
                moment,
                plot_event(moment, "radar-01", "", look, estimate, answer, shown, Encounter.UNSETTLED, check, None),
            )
        )
    return plots


def watch(plots: list[tuple[Moment, Plot]], cpa_nm: float, cpa_s: float) -> Watched:
    rules, book = Rules(SETTINGS, DEFAULT_CONDITIONS, "open water"), AlertBook(SETTINGS)
    events: list[Alert] = []
    watched = Watched(cpa_nm, cpa_s, {}, {}, [])
    states: dict[int, str] = {}
    for moment, plot in plots:
        situation = Situation(targets=(TargetHealth(plot.target, plot.track, "radar"),))
        events = book.take(moment, rules.see_plot(moment, plot))
        events += book.take(moment, rules.tick(moment, situation)) + book.tick(moment)
        for event in events:
            watched.raised_s.setdefault(event.rule, moment.at_s)
            if states.get(event.id) != event.state:
                watched.changes.setdefault(event.id, []).append(moment.at_s)
            states[event.id] = event.state
        watched.trace.append((moment.at_s, plot.cpa_nm, plot.cpa_sd_nm, plot.inside_probability))
    return watched


def run(count: int, seed: int, distribution: Distribution) -> list[Watched]:
    base = msgspec.structs.replace(BASE, duration_min=26.0)
    found = []
    for measured in looks(draw(seed, count, distribution, base), seed):
        for number, scenario in enumerate(measured.scenarios):
            meets = scenario.targets[0].meets
            assert meets is not None
            found.append(watch(plots_of(measured, number), meets.cpa_nm, meets.at_min * 60))
    return found


def most_in_ten_minutes(times: list[float]) -> int:
    return max((sum(1 for t in times if at <= t <= at + 600) for at in times), default=0)


def tell(watched: list[Watched]) -> None:
    latest_min, limit = 0.75 * LIMITS.tcpa_min, LIMITS.cpa_nm
    inside = [one for one in watched if one.cpa_nm < 0.8 * limit]
    far = [one for one in watched if one.cpa_nm > 1.3 * limit]
    between = [one for one in watched if 0.8 * limit <= one.cpa_nm <= 1.3 * limit]
    tcpa = [(one.cpa_s - one.raised_s["closest_approach"]) / 60 for one in inside if "closest_approach" in one.raised_s]
    in_time = sum(1 for t in tcpa if t >= latest_min)
    raised_far = sum(1 for one in far if "closest_approach" in one.raised_s)
    raised_between = sum(1 for one in between if "closest_approach" in one.raised_s)
    if inside:
        print(f"inside 0.8 x limit: in time {in_time}/{len(inside)} = {in_time / len(inside):.2%} (at least 99.5 %)")
        quantiles = ", ".join(f"{q:.1f}" for q in np.quantile(tcpa, [0.01, 0.1, 0.5, 0.9]))
        print(f"  TCPA when raised, 1st, 10th, 50th, 90th percentile: {quantiles} min")
    if far:
        print(f"beyond 1.3 x limit: raised {raised_far}/{len(far)} = {raised_far / len(far):.2%} (at most 5 %)")
    if between:
        print(f"between: raised {raised_between}/{len(between)} = {raised_between / len(between):.1%}")
    most = max((most_in_ten_minutes(times) for one in watched for times in one.changes.values()), default=0)
    print(f"most changes of state of one alert in ten minutes: {most} (at most 4)")
    rules = Counter(rule for one in watched for rule in one.raised_s)
    wolf = Counter(rule for one in far for rule in one.raised_s)
    print(f"raised by rule: {dict(rules)}; of those passing beyond 1.3 x limit: {dict(wolf)}")
    for one in inside:
        raised_s = one.raised_s.get("closest_approach")
        if raised_s is None or (one.cpa_s - raised_s) / 60 < latest_min:
            explain(one, raised_s)


def explain(one: Watched, raised_s: float | None) -> None:
    """What the track said from 12 to 9 min before the CPA."""
    said = f"raised at {(one.cpa_s - raised_s) / 60:.1f} min" if raised_s is not None else "never raised"
    print(f"  missed: true CPA {one.cpa_nm:.2f} NM, {said}; at 12, 11, 10, 9 min:", end="")
    for minutes in (12, 11, 10, 9):
        near = min(one.trace, key=lambda row: abs(row[0] - one.cpa_s + 60 * minutes))
        print(f"  CPA {near[1]} sd {near[2]} P {near[3]}", end="")
    print()


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 20270401
    for name, distribution in (
        ("spread", Distribution()),
        ("near", Distribution(cpa_nm=(0.0, 0.8 * LIMITS.cpa_nm))),
    ):
        print(f"{name}: {count} encounters, seed {seed}")
        tell(run(count, seed, distribution))


if __name__ == "__main__":
    main()
