"""Association: right and wrong pairs after 2 min in drawn traffic, and a heading bias found from three pairs.

Run: python -m tests.benchmarks.association [PICTURES] [BIASES]. Prints each figure beside its bound, with the seed.
Pictures are drawn by daemon.exercise.traffic: 40 vessels in 6 NM, 30 % without AIS, clutter tracks, AIS 0 to 10 s late,
radar noise 20 m and 0.5 degrees. They go through the whole program as sentences. Asked of at minute 2: vessels whose
radar track has settled and whose AIS has been heard half a minute before. Wrong: joined, and not one vessel.
"""

import sys
from collections.abc import Iterator

import msgspec

from alerts.events import Instant, Moment
from alerts.lookout import Lookout, World
from alerts.plotting.offsets import Cause
from daemon.exercise.generate import lines
from daemon.exercise.passage import Passage
from daemon.exercise.scenario import Scenario
from daemon.exercise.traffic import Picture, draw
from daemon.exercise.truth import Situation, records
from parsers.decode import Decoder

SEED = 20270511
AT_S, HEARD_BY_S = 120.0, 90.0


def watched(scenario: Scenario, until_s: float) -> Iterator[tuple[float, Lookout]]:
    """The scenario's sentences through decoder and lookout, second by second."""
    lookout, decoder = Lookout(), Decoder("exercise")
    second, start_ms = 0.0, scenario.start_ms
    for stamp, text in lines(scenario):
        at_s = (stamp - start_ms) / 1000
        while second <= at_s:
            lookout.tick(Moment(second, Instant(start_ms + int(second * 1000))), World())
            yield second, lookout
            second += 1.0
            if second > until_s:
                return
        decoded = decoder.decode_line(text.encode(), at_s)
        lookout.take(Moment(at_s, Instant(stamp)), decoded.observations)
        if int(at_s) % 10 == 0:
            lookout.flush()


def matched(scenario: Scenario, lookout: Lookout, heard_by_s: float, at_s: float) -> tuple[int, ...]:
    """Vessels that could be joined, of these joined rightly, all pairs, pairs that are not one vessel; the first
    two again with those whose AIS was heard for the first time since `heard_by_s`."""
    numbers = truth_numbers(scenario, at_s)  # vessel of each radar number
    mmsi_of = {target.name: target.ais.mmsi for target in scenario.targets if target.ais is not None}
    first_s = {heard.mmsi: heard.first_s for heard in lookout.ais.stations.heard()}
    settled = {key for key, _ in lookout.targets.in_sight(at_s)}
    pairs = {radar: int(ais.removeprefix("ais-")) for radar, ais in lookout.vessels.association.pairs.items()}
    could = right = wrong = could_late = right_late = 0
    for key in settled | set(pairs):
        vessel = numbers.get(int(key.removeprefix("radar-").split(".")[0]))
        mmsi = mmsi_of.get(vessel) if vessel is not None else None
        if key in pairs:
            wrong += pairs[key] != mmsi
        if key in settled and mmsi in first_s:
            could_late, right_late = could_late + 1, right_late + (pairs.get(key) == mmsi)
            if first_s[mmsi] <= heard_by_s:
                could, right = could + 1, right + (pairs.get(key) == mmsi)
    return could, right, len(pairs), wrong, could_late, right_late


def truth_numbers(scenario: Scenario, at_s: float) -> dict[int, str]:
    """The vessel under each target number of the set, by the exercise's truth."""
    for record in records(Passage(msgspec.structs.replace(scenario, truth_interval_s=5.0))):
        if isinstance(record, Situation) and record.time.utc_ms - scenario.start_ms >= at_s * 1000:
            return {target.number: target.target for target in record.targets if target.number is not None}
    raise ValueError("the exercise is shorter than that")


def in_pictures(pictures: int) -> None:
    totals = [0] * 6
    spec = Picture(duration_min=AT_S / 60 + 0.2)
    for scenario in draw(SEED, pictures, spec):
        lookout = after(scenario, AT_S)
        for i, count in enumerate(matched(scenario, lookout, HEARD_BY_S, AT_S)):
            totals[i] += count
    could, right, pairs, wrong, could_late, right_late = totals
    print(f"association, {pictures} pictures of {spec.vessels} vessels in {spec.within_nm:g} NM, seed {SEED}, 2 min:")
    print(f"  right pairs   {100 * right / could:6.2f} % of {could} that could be joined (must be at least 98 %)")
    print(f"  with those whose AIS was first heard in the last half minute: {right_late} of {could_late}")
    print(f"  wrong pairs   {100 * wrong / max(1, pairs):6.2f} % of {pairs} joined (must be at most 0.5 %)")


def after(scenario: Scenario, at_s: float) -> Lookout:
    *_, (_, lookout) = watched(scenario, at_s)
    return lookout


def of_bias(runs: int) -> None:
    """Three vessels with AIS within 6 NM, radar bearings 2 degrees too high, at minute 5."""
    spec = Picture(vessels=3, without_ais=0.0, clutter=0, heading_bias_deg=2.0, duration_min=5.2)
    errors: list[float] = []
    named = 0
    for scenario in draw(SEED + 1, runs, spec):
        lookout = after(scenario, 300.0)
        if len(lookout.vessels.association.pairs) < 3:
            continue
        found = lookout.vessels.association.verdict()
        named += found is not None and found.cause in (Cause.BEARING, Cause.BOTH)
        if found is not None:
            errors.append(found.bearing_deg - 2.0)
    within = sum(abs(error) <= 0.3 for error in errors)
    print(f"heading bias of 2 degrees, {runs} runs with three vessels at most, 5 min, seed {SEED + 1}:")
    print(f"  three pairs in {len(errors)}; within 0.3 degrees {within}; worst {max(map(abs, errors), default=0):.2f}")
    print(f"  named as a bearing error {named}")


if __name__ == "__main__":
    in_pictures(int(sys.argv[1]) if len(sys.argv) > 1 else 50)
    of_bias(int(sys.argv[2]) if len(sys.argv) > 2 else 20)
