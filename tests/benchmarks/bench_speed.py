"""What a sweep costs against one plain replay of the same recording: time and memory.

    python -m tests.benchmarks.bench_speed --hours 24 --targets 20

Makes a long passage in company, with a vessel that meets own ship every quarter of an hour, then runs `replay --pace
max` and `bench` with 1,001 settings (one for one, in a process each), and tells CPU, wall time and the most memory.
The bounds: 1.5 times the replay's time, 200 MB more memory.
"""

import argparse
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from daemon.exercise.scenario import Scenario

# The most memory of a child counts from that of its parent, so that this process stays small: what makes the recording
# is imported in a process of its own.

SWEEPS = ("cpa_nm=0.2:1.1:0.1", "tcpa_min=6:24:2", "probability=0.05:0.95:0.1")
"""10 x 10 x 10, and the configuration as it stands."""


class Cost(NamedTuple):
    cpu_s: float
    wall_s: float
    most_mb: float


def scenario(hours: float, targets: int) -> "Scenario":
    """The passage: the company of `long_passage`, and vessels that pass at up to 1.5 NM."""
    import msgspec
    from numpy.random import default_rng

    from daemon.exercise.scenario import Meeting, Target
    from daemon.exercise.traffic import long_passage

    base = long_passage(hours, targets)
    rng = default_rng(25)
    meeting = []
    for number, at_min in enumerate(range(25, int(hours * 60) - 10, 15)):
        meeting.append(
            Target(
                name=f"vessel {number + 1}",
                course_deg=float(rng.choice([150.0, 200.0, 240.0, 280.0, 330.0])),
                speed_kn=float(rng.uniform(8, 18)),
                acquire_min=at_min - 20.0,
                drop_min=at_min + 8.0,
                meets=Meeting(cpa_nm=float(rng.uniform(0, 1.5)), at_min=float(at_min), passes="to port"),
            )
        )
    assert base.radar is not None
    radar = msgspec.structs.replace(base.radar, capacity=targets + 20)
    return msgspec.structs.replace(base, radar=radar, targets=(*base.targets, *meeting))


def make(recording: Path, hours: float, targets: int) -> None:
    from daemon.exercise import generate

    load = generate.write(scenario(hours, targets), recording, recording.with_name("day.truth.jsonl.gz"))
    print(f"{hours:g} h, {load.sentences:,} sentences", flush=True)


def cost_of(words: list[str]) -> Cost:
    began_s = time.monotonic()
    actions = [(os.POSIX_SPAWN_OPEN, 1, os.devnull, os.O_WRONLY, 0)]
    pid = os.posix_spawn(
        sys.executable, [sys.executable, "-m", "daemon.main", *words], os.environ, file_actions=actions
    )
    _, status, used = os.wait4(pid, 0)
    if os.waitstatus_to_exitcode(status) != 0:
        raise SystemExit(f"{' '.join(words)} failed")
    return Cost(used.ru_utime + used.ru_stime, time.monotonic() - began_s, used.ru_maxrss / 1024)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--hours", type=float, default=2.0)
    parser.add_argument("--targets", type=int, default=20)
    parser.add_argument("--times", type=int, default=1, help="repeat, and tell the least of each")
    parser.add_argument("--make", type=Path, help=argparse.SUPPRESS)
    args = parser.parse_args()
    if args.make:
        make(args.make, args.hours, args.targets)
        return
    with tempfile.TemporaryDirectory() as folder:
        recording = Path(folder) / "day.nmea.gz"
        shape = ["--hours", str(args.hours), "--targets", str(args.targets), "--make", str(recording)]
        subprocess.run([sys.executable, "-m", "tests.benchmarks.bench_speed", *shape], check=True)
        sweeps = [word for sweep in SWEEPS for word in ("--sweep", sweep)]
        replay = ["replay", str(recording), "--quiet", "--pace", "max"]
        bench = ["bench", str(recording), "--workers", "1", "--json", *sweeps]
        plain = [cost_of(replay) for _ in range(args.times)]
        swept = [cost_of(bench) for _ in range(args.times)]
    for name, costs in (("replay", plain), ("bench", swept)):
        cpu_s, wall_s, most_mb = (min(getattr(one, part) for one in costs) for part in Cost._fields)
        print(f"{name:>6}: {cpu_s:7.1f} s CPU, {wall_s:7.1f} s, {most_mb:6.0f} MB at most")
    ratio = min(one.cpu_s for one in swept) / min(one.cpu_s for one in plain)
    more = max(one.most_mb for one in swept) - min(one.most_mb for one in plain)
    print(f"1,001 settings cost {ratio:.2f} times one replay (CPU), and {more:.0f} MB more")


if __name__ == "__main__":
    main()
