"""Speed and memory, measured: every figure beside its bound.

python -m tests.benchmarks                    all of it (half an hour), on this machine
python -m tests.benchmarks start framing      these only
python -m tests.benchmarks --list             what there is
python -m tests.benchmarks --write            all of it, and the table in docs/performance.md anew

The method's own figures are in tests.benchmarks.motion, faults and the soak in tests.benchmarks.reliability and .soak.
"""

import argparse
import os
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

from tests.benchmarks import (
    bench_speed,
    framing,
    growth,
    live_latency,
    load_held,
    normal_load,
    replay_floor,
    replay_speed,
    start,
)
from tests.benchmarks.figure import Figure, machine
from tests.benchmarks.motion.speed import speed

DOCUMENT = Path(__file__).resolve().parents[2] / "docs" / "performance.md"
BEGIN, END = "<!-- begin table -->", "<!-- end table -->"


def motion() -> Iterator[Figure]:
    """Closed-form motion for 10,000 targets at once, from tests.benchmarks.motion."""
    for figure in speed(10_000):
        yield Figure(figure.name, figure.measured, f"under {figure.must}" if figure.must else "", figure.met)


ALL: dict[str, Callable[[], Iterator[Figure]]] = {
    "start": start.figures,
    "framing": framing.figures,
    "motion": motion,
    "live_latency": live_latency.figures,
    "normal_load": normal_load.figures,
    "load_held": load_held.figures,
    "growth": growth.figures,
    "replay_speed": replay_speed.figures,
    "replay_floor": replay_floor.figures,
    "bench_speed": bench_speed.figures,
}


def write(rows: list[str]) -> None:
    """The table between the two marks, and the machine."""
    text = DOCUMENT.read_text()
    before, after = text.partition(BEGIN)[0], text.partition(END)[2]
    table = "\n".join(["| figure | measured | bound | | load |", "| --- | --- | --- | --- | --- |", *rows])
    DOCUMENT.write_text(f"{before}{BEGIN}\n{machine()}\n\n{table}\n{END}{after}")


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description=__doc__)
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.add_argument("names", nargs="*", metavar="NAME", help=f"which: {', '.join(ALL)} (default: all)")
    parser.add_argument("--list", action="store_true", help="say what there is, and end")
    parser.add_argument("--write", action="store_true", help="write docs/performance.md (needs all figures)")
    args = parser.parse_args()
    unknown = set(args.names) - set(ALL)
    if unknown or (args.write and args.names):
        parser.error(f"no such benchmark: {', '.join(sorted(unknown))}" if unknown else "--write takes all of them")
    if args.list:
        print("\n".join(ALL))
        return 0
    print(machine())
    rows, failed = [], False
    for name in args.names or ALL:
        for figure in ALL[name]():
            rows.append(f"{figure.line()} {os.getloadavg()[0]:.1f} |")
            print(rows[-1], flush=True)
            failed |= figure.met is False
    if args.write:
        write(rows)
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
