"""Every fault of docs/reliability.md, provoked in full numbers; writes the table and the promises into that file.

    python -m tests.benchmarks.reliability            all of it, about 25 minutes; needs root for the small disks
    python -m tests.benchmarks.reliability --quick    a tenth of the numbers, writes nothing
    python -m tests.benchmarks.reliability --only flood --only unplug --write    these rows of the table alone

The soak is apart: tests.benchmarks.soak.
"""

import argparse
import json
import platform
import sqlite3
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path

from tests.faults import archive_faults, feed_faults, hostile_faults, watch_faults
from tests.faults.outcome import Outcome

DOCUMENT = Path(__file__).resolve().parents[2] / "docs" / "reliability.md"
BEGIN, END = "<!-- begin table -->", "<!-- end table -->"

Scenario = Callable[[Path, float], Outcome]


def _count(full: int, part: float, least: int = 1) -> int:
    return max(least, round(full * part))


SCENARIOS: dict[str, Scenario] = {
    "kill": lambda folder, part: archive_faults.kill_minus_nine(folder, _count(100, part, 4), 11, at_once=4),
    "killed": lambda folder, part: watch_faults.killed(folder, _count(100, part, 4), 16, at_once=4),
    "power": lambda folder, part: archive_faults.power_cut(folder, _count(400, part), 12),
    "full": lambda folder, part: archive_faults.full_disk(folder, _count(20, part)),
    "read-only": lambda folder, part: archive_faults.read_only_disk(folder, _count(20, part)),
    "read-only-start": lambda folder, part: archive_faults.read_only_from_the_start(folder),
    "locked": lambda folder, part: archive_faults.locked(folder, _count(10, part)),
    "nth": lambda folder, part: archive_faults.nth_failure(folder),
    "broken": lambda folder, part: archive_faults.broken_file(folder, _count(30, part), 13),
    "slow": lambda folder, part: archive_faults.slow_disk(folder, 20 * part + 2),
    "torn": lambda folder, part: feed_faults.torn_recordings(_count(1000, part), 14),
    "flood": lambda folder, part: feed_faults.flood(30 * part),
    "unplug": lambda folder, part: feed_faults.unplug(folder, _count(30, part)),
    "reset": lambda folder, part: feed_faults.reset_connections(_count(50, part)),
    "clocks": lambda folder, part: feed_faults.clock_jumps(folder, 26 * part + 2),
    "stop": lambda folder, part: watch_faults.stopping(folder, _count(20, part), 15),
    "host-clock": lambda folder, part: watch_faults.host_clock(folder, 56 * part + 8),
    "reader": lambda folder, part: watch_faults.reader_gone(folder),
    "latency": lambda folder, part: watch_faults.latency(folder, 60 * part + 2, 1000),
    "latency-10": lambda folder, part: watch_faults.latency(folder, 60 * part + 2, 10_000),
    **{
        f"flood of {what}": lambda folder, part, what=what: hostile_faults.flood_of(what, _count(1_000_000, part))  # type: ignore[misc]
        for what in hostile_faults.FLOODS
    },
}


def table(outcomes: list[Outcome]) -> str:
    """The outcomes as a Markdown table."""
    rows = ["| fault | tried | lost | held |", "| --- | ---: | --- | --- |"]
    for one in outcomes:
        held = "yes" if not one.bad else f"**no**: {'; '.join(one.bad[:3])}"
        rows.append(f"| {one.fault} | {one.tried:,} | {one.lost} | {held} |")
    return "\n".join(rows)


def machine() -> str:
    """What it was measured on."""
    return (
        f"Measured on {platform.system()} {platform.release()}, Python {platform.python_version()},"
        f" SQLite {sqlite3.sqlite_version}, 2 cores that others used as well."
    )


def write(outcomes: list[Outcome], names: Sequence[str]) -> None:
    """Put the table between its marks; of some scenarios, their rows into the table that is there."""
    text = DOCUMENT.read_text()
    before, _, rest = text.partition(BEGIN)
    old, _, after = rest.partition(END)
    rows = table(outcomes).splitlines()
    if names:
        kept = [line for line in old.splitlines() if line.startswith("| ")]
        for new in rows[2:]:
            fault = new.split(" | ")[0]
            same = next((at for at, line in enumerate(kept) if line.split(" | ")[0] == fault), None)
            if same is None:
                kept.append(new)
            else:
                kept[same] = new
        rows = kept
    lines = "\n".join(rows)
    DOCUMENT.write_text(f"{before}{BEGIN}\n{machine()}\n\n{lines}\n{END}{after}")


def main() -> int:
    """Exit code 1 if any promise was broken."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--only", action="append", choices=list(SCENARIOS), default=[])
    parser.add_argument("--part", type=float, default=1.0, help="this share of the full numbers")
    parser.add_argument("--write", action="store_true", help="with --only: put these rows into the table")
    args = parser.parse_args()
    part = 0.1 if args.quick else args.part
    outcomes: list[Outcome] = []
    for name in args.only or SCENARIOS:
        began = time.monotonic()
        with tempfile.TemporaryDirectory() as folder:
            outcome = SCENARIOS[name](Path(folder), part)
        outcomes.append(outcome)
        print(f"{name} ({time.monotonic() - began:.0f} s): {json.dumps(outcome.figures)}", file=sys.stderr, flush=True)
        print(table([outcome]).splitlines()[-1], flush=True)
    if args.write or not (args.quick or args.only or args.part != 1.0):
        write(outcomes, args.only)
    return int(any(outcome.bad for outcome in outcomes))


if __name__ == "__main__":
    sys.exit(main())
