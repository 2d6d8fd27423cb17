"""The cross-check measured: every cause injected, how often and how soon it is named; and how quiet honest sets stay.

`python -m tests.benchmarks.crosscheck [--runs 100] [--seed 1]`. Prints each figure beside its bound and aim;
`--write` puts them into docs/crosscheck.md.
Times count from the fault's onset; where it is there from the start, from the first sentence, acquisition included.
"""

import argparse
from collections import Counter
from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from msgspec import structs

from alerts.plotting.crosscheck_common import Kind
from alerts.plotting.placing import Ending
from alerts.plotting.terms import Check
from tests.benchmarks import crosscheck_passages as made
from tests.benchmarks.crosscheck_passages import ONSET_S, Stream, passage
from tests.benchmarks.crosscheck_table import FAULT_HEAD, HONEST_HEAD, row, rule, write
from tests.benchmarks.watched import Said, Watch, sent, watch

Named = Callable[[Watch], float | None]
"""Takes what was watched; gives the second at which the cause was named, or None."""


class Case(NamedTuple):
    what: str
    make: Callable[[int], Stream]
    named: Named
    onset_s: float
    bound_s: float = 180.0
    aim_s: float = 120.0
    share: float = 0.95


def fault_of(*kinds: Kind) -> Named:
    """The common fault is first named as one of these kinds, and as no other before."""

    def named(watched: Watch) -> float | None:
        for said in watched.said:
            if said.fault is not None and said.at_s >= 0:
                return said.at_s if said.fault.kind in kinds else None
        return None

    return named


def cause_with(words: str, target: str | None = None, check: Check = Check.DIFFERS) -> Named:
    """A target's cause holds these words."""

    def named(watched: Watch) -> float | None:
        for said in watched.said:
            fits = said.check is check and said.cause is not None and words in said.cause
            if fits and said.at_s >= ONSET_S and target in (None, said.target):
                return said.at_s
        return None

    return named


def ended_by(why: Ending, count: int) -> Named:
    """So many tracks were ended by identity for this reason."""

    def named(watched: Watch) -> float | None:
        times = [moved.at_s for moved in watched.moved for ended in moved.placed.ended if ended.why is why]
        return times[count - 1] if len(times) == count else None

    return named


def doubled(watched: Watch) -> float | None:
    """The second number is known to be the first one's vessel, and nothing else is doubled."""
    (found,) = watched.doubled if len(watched.doubled) == 1 else (None,)
    return found[0] if found and found[1:] == ("radar-50", "radar-01") else None


def turned_to(kind: Kind) -> Named:
    """Some time after own ship's turn at 8 min, the common fault is this one to the end."""

    def named(watched: Watch) -> float | None:
        time = None
        for said in watched.said:
            right = said.fault is not None and said.fault.kind is kind
            time = (said.at_s if time is None else time) if right else None
        return time

    return named


def _sign(seed: int) -> int:
    return 1 if seed % 2 else -1


def _fed_from_start(minutes: float, **inputs: float) -> Callable[[int], Stream]:
    return lambda seed: sent(
        made.fed(passage(seed, minutes), **{key: value * _sign(seed) for key, value in inputs.items()})
    )


def _fed_at_onset(**inputs: float) -> Callable[[int], Stream]:
    def make(seed: int) -> Stream:
        honest = passage(seed, 10)
        return made.step(honest, made.fed(honest, **{key: value * _sign(seed) for key, value in inputs.items()}))

    return make


def _respelt(respell: Callable[[list[str], float], None], from_s: float = ONSET_S) -> Callable[[int], Stream]:
    """Not near north, where relative courses are true ones."""
    return lambda seed: made.respelt(sent(made.away_from_north(passage(seed, 10))), respell, from_s)


def _in_stream(drift_kn: float, log: bool, turn: bool = False) -> Callable[[int], Stream]:
    def make(seed: int) -> Stream:
        scenario = made.in_stream(passage(seed, 14 if turn else 8), drift_kn)
        if turn:
            scenario = made.own_alters(scenario, 6.0, 80 * _sign(seed))
        stream = sent(made.fed(scenario, speed="log"))
        return stream if log else made.without(stream, "VHW")

    return make


def _turned(minutes: float, **inputs: float) -> Callable[[int], Stream]:
    def make(seed: int) -> Stream:
        scenario = made.own_alters(passage(seed, minutes), 6.0, 80 * _sign(seed))
        return made.without(sent(made.fed(scenario, **inputs)), "VHW")

    return make


def _faulty(kind: str, count: int, number: int | None = None, **radar: object) -> Callable[[int], Stream]:
    def make(seed: int) -> Stream:
        scenario = made.numbered(passage(seed, 10))
        return sent(made.with_radar(made.faulty(scenario, kind, count, number), **radar))

    return make


def _reused(seed: int) -> Stream:
    """Vessel 1 is dropped at ONSET_S; another vessel elsewhere is acquired under her number a minute later."""
    scenario = passage(seed, 10)
    first, last = scenario.targets[0], scenario.targets[-1]
    first = structs.replace(first, number=1, drop_min=ONSET_S / 60)
    last = structs.replace(last, number=1, acquire_min=ONSET_S / 60 + 1)
    return sent(structs.replace(scenario, targets=(first, *scenario.targets[1:-1], last)))


def _met(swapped: bool) -> Callable[[int], Stream]:
    """Two vessels meet, and the set does or does not carry their numbers on with the wrong echoes."""

    def make(seed: int) -> Stream:
        scenario = made.meeting(made.numbered(passage(seed, 10)))
        return sent(made.faulty(scenario, "swap", 2) if swapped else scenario)

    return make


def undisturbed(watched: Watch) -> float | None:
    """No track has been ended."""
    return None if any(moved.placed.ended for moved in watched.moved) else ONSET_S


def _given_anothers_motion(seed: int) -> Stream:
    """Vessel 1 is on another course than vessel 2, whose course and speed the set gives her."""
    scenario = made.numbered(passage(seed, 10))
    first, second, *others = scenario.targets
    first = structs.replace(first, course_deg=((second.course_deg or 0.0) + 120) % 360)
    stream = sent(structs.replace(scenario, targets=(first, second, *others)))
    return made.respelt(stream, made.motion_of_the_next({}))


WATER_OR_UNCLEAR = (Kind.WATER, Kind.UNCLEAR, Kind.SPEED_INPUT, Kind.HEADING_INPUT)

CASES = (
    Case("speed input 3 kn off, from the start", _fed_from_start(8, speed_bias_kn=3.0), fault_of(Kind.SPEED_INPUT), 0),
    Case("speed input 3 kn off, at 5 min", _fed_at_onset(speed_bias_kn=3.0), fault_of(Kind.SPEED_INPUT), ONSET_S),
    Case(
        "heading input 15 deg off, from the start",
        _fed_from_start(8, heading_bias_deg=15.0),
        fault_of(Kind.HEADING_INPUT),
        0,
    ),
    Case(
        "heading input 20 deg off, at 5 min",
        _fed_at_onset(heading_bias_deg=20.0),
        fault_of(Kind.HEADING_INPUT),
        ONSET_S,
    ),
    Case("2.5 kn of stream, set through water, log heard", _in_stream(2.5, log=True), fault_of(Kind.WATER), 0),
    Case("the same, no log: a common vector, left open", _in_stream(2.5, log=False), fault_of(*WATER_OR_UNCLEAR), 0),
    Case(
        "the same, no log, own turn at 6 min: water",
        _in_stream(2.5, log=False, turn=True),
        turned_to(Kind.WATER),
        360,
        300,
        240,
    ),
    Case(
        "speed input, no log, own turn at 6 min",
        _turned(14, speed_bias_kn=3.0),
        turned_to(Kind.SPEED_INPUT),
        360,
        300,
        240,
    ),
    Case(
        "kilometres called nautical miles (N for K)",
        _respelt(made.kilometres_called("K"), 0.0),
        fault_of(Kind.UNITS),
        0,
    ),
    Case("speeds in km/h called knots", _respelt(made.speed_in_km_h), fault_of(Kind.UNITS), ONSET_S),
    Case("course from the bow called true", _respelt(made.course_from_bow), fault_of(Kind.REFERENCE), ONSET_S),
    Case("true course called relative", _respelt(made.true_called_relative), fault_of(Kind.REFERENCE), ONSET_S),
    Case(
        "old measurements repeated",
        _faulty("repeat", 0),
        cause_with("repeated the same measurement"),
        ONSET_S,
    ),
    Case(
        "old measurements repeated, no times of data",
        _faulty("repeat", 0, time_of_data=False),
        cause_with("repeated the same measurement"),
        ONSET_S,
    ),
    Case(
        "one target given another's motion",
        _given_anothers_motion,
        cause_with("", "radar-01"),
        ONSET_S,
    ),
    Case("two numbers exchanged", _faulty("swap", 2), ended_by(Ending.EXCHANGED, 2), ONSET_S, 30, 15),
    Case("numbers exchanged where two echoes meet", _met(True), ended_by(Ending.EXCHANGED, 2), ONSET_S, 120, 90, 0.9),
    Case("two echoes meet, numbers stay (0: unharmed)", _met(False), undisturbed, ONSET_S, 180, 120),
    Case("a number reused", _reused, ended_by(Ending.REUSED, 1), ONSET_S + 60, 30, 15),
    Case("one vessel under two numbers", _faulty("duplicate", 1, number=50), doubled, ONSET_S),
)


class Honest(NamedTuple):
    what: str
    make: Callable[[int], Stream]
    hours: float
    targets: int = 5


def _honest(minutes: float = 60, **radar: object) -> Callable[[int], Stream]:
    return lambda seed: sent(made.with_radar(passage(seed, minutes), **radar))


def _altering(seed: int) -> Stream:
    """Own ship and a target alter every ten minutes or so."""
    scenario = passage(seed, 60)
    for i, at_min in enumerate((12, 24, 36, 48)):
        scenario = made.own_alters(scenario, at_min, (40, 75, 110, 150)[i] * _sign(seed + i))
    return sent(made.target_alters(scenario, 18, 60))


HONEST = (
    Honest("steady, small set", _honest(), 1),
    Honest("smoothed reports", _honest(reports="smoothed"), 1),
    Honest("errors of A.823(19)", _honest(errors="A.823(19)"), 1),
    Honest("scan of 5 s, 3 of 10 scans missed", _honest(scan_s=5.0, detection=0.7), 1),
    Honest("relative bearings", _honest(bearing="relative"), 1),
    Honest("one line a second in turn", _honest(report_order="in turn", report_interval_s=5.0), 1),
    Honest("alterations of own ship and of a target", _altering, 1),
)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=100, help="runs of each fault; honest hours are a fifth of it")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", default="", help="cases whose name holds this")
    parser.add_argument("--verbose", action="store_true", help="what was said where a run missed")
    parser.add_argument("--write", action="store_true", help="write the tables into docs/crosscheck.md")
    options = parser.parse_args()
    if options.write and options.only:
        parser.error("--write takes all cases")
    lines = [row(*FAULT_HEAD), rule(FAULT_HEAD)]
    print("\n".join(lines))
    chosen = (case for case in CASES if options.only in case.what)
    lines.extend(measure(case, options.runs, options.seed, options.verbose) for case in chosen)
    begun = len(lines)
    lines += ["", row(*HONEST_HEAD), rule(HONEST_HEAD)]
    print("\n".join(lines[begun:]))
    sets = (honest for honest in HONEST if options.only in honest.what)
    lines.extend(quiet(honest, max(2, options.runs // 5), options.seed, options.verbose) for honest in sets)
    if options.write:
        write(lines, options.runs, options.seed)


def measure(case: Case, runs: int, seed: int, verbose: bool) -> str:
    """One line of the table: how many runs named the cause within the bound, and how soon."""
    times = []
    for run in range(runs):
        watched = watch(case.make(1000 * seed + run))
        named = case.named(watched)
        delay = float("inf") if named is None else named - case.onset_s
        times.append(delay)
        if verbose and not 0 <= delay <= case.bound_s:
            print(f"    run {run}: {delay}", said_most(watched.said, case.onset_s))
    delays = np.array(times)
    within = np.mean((delays >= 0) & (delays <= case.bound_s))
    median, late = (f"{value:.0f}" for value in np.quantile(delays, [0.5, 0.95], method="higher"))
    limits = f"{case.bound_s:.0f}", f"{case.aim_s:.0f}"
    line = row(case.what, runs, f"{within:.0%}", f"{case.share:.0%}", median, late, *limits)
    print(line, flush=True)
    return line


def said_most(said: list[Said], after_s: float) -> list[tuple[tuple[object, ...], int]]:
    """What was said most often after a moment."""
    lines = ((s.check.value, s.cause, s.fault and s.fault.kind) for s in said if s.at_s > after_s)
    return Counter[tuple[object, ...]](lines).most_common(3)


def quiet(honest: Honest, runs: int, seed: int, verbose: bool) -> str:
    """One line: how often a target of an honest set began to differ, in so many target hours."""
    false = 0
    for run in range(runs):
        watched = watch(honest.make(1000 * seed + 500 + run))
        before: dict[str, Check] = {}
        for said in watched.said:
            if said.check is Check.DIFFERS and before.get(said.target) is not Check.DIFFERS:
                false += 1
                if verbose:
                    print(f"    run {run}: {said.at_s:.0f} s {said.target} {said.cause}")
            before[said.target] = said.check
    hours = runs * honest.hours * honest.targets
    line = row(honest.what, f"{hours:.0f}", false, f"{false / hours:.3f}", "0.10", "0.01")
    print(line, flush=True)
    return line


if __name__ == "__main__":
    main()
