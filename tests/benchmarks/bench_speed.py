"""What a sweep costs against one plain replay of the same recording: time and memory.

Run: python -m tests.benchmarks.bench_speed [HOURS [TARGETS]]. Makes a long passage in company, with a vessel that meets
own ship every quarter of an hour, then runs `replay --pace max` and `bench` with 1,001 settings, one after the other,
each in a process of its own. Processor time is that of all threads, start included.
"""

import json
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import msgspec
from msgspec import Struct
from numpy.random import default_rng

from daemon.exercise.generate import write
from daemon.exercise.scenario import Meeting, Scenario, Target
from daemon.exercise.traffic import long_passage
from tests.benchmarks.figure import Figure, under
from tests.benchmarks.passages import FOLDER
from tests.benchmarks.running import ROOT

MUST_TIMES, MUST_MB = 1.5, 200.0

SWEEPS = ("cpa_nm=0.2:1.1:0.1", "tcpa_min=6:24:2", "probability=0.05:0.95:0.1")
"""10 x 10 x 10, and the configuration as it stands."""


MEASURED = """
import json, resource, sys
from daemon.main import main
code = main(sys.argv[1:])
used = resource.getrusage(resource.RUSAGE_SELF)
peak = next(line for line in open("/proc/self/status") if line.startswith("VmHWM"))
print(json.dumps([used.ru_utime + used.ru_stime, int(peak.split()[1]) / 1024]), file=sys.stderr)
sys.exit(code)
"""
"""The command, which says at its end what it took. Not ru_maxrss: that begins with the size of the parent."""


class Cost(Struct, frozen=True):
    cpu_s: float
    wall_s: float
    most_mb: float

    def said(self) -> str:
        return f"{self.cpu_s:.0f} s ({self.wall_s:.0f} s by the clock), {self.most_mb:.0f} MB"


def scenario(hours: float, targets: int) -> Scenario:
    """The passage: the company of `long_passage`, and vessels that pass at up to 1.5 NM."""
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


def recording(hours: float, targets: int) -> Path:
    """Made once, its truth beside it, and kept."""
    path = FOLDER / f"{hours:g}-hours-{targets}-targets-and-meetings.nmea.gz"
    if not path.exists():
        FOLDER.mkdir(exist_ok=True)
        unfinished = path.with_name(f"unfinished-{path.name}")
        write(scenario(hours, targets), unfinished, path.with_name(path.name.replace(".nmea.gz", ".truth.jsonl.gz")))
        unfinished.rename(path)
    return path


def cost_of(*words: str) -> Cost:
    began_s = time.monotonic()
    command = [sys.executable, "-c", MEASURED, *words]
    done = subprocess.run(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True, check=True, cwd=ROOT)
    cpu_s, most_mb = json.loads(done.stderr.splitlines()[-1])
    return Cost(cpu_s, time.monotonic() - began_s, most_mb)


def figures(hours: float = 24.0, targets: int = 20) -> Iterator[Figure]:
    path = str(recording(hours, targets))
    plain = cost_of("replay", path, "--quiet", "--pace", "max")
    sweeps = [word for sweep in SWEEPS for word in ("--sweep", sweep)]
    swept = cost_of("bench", path, "--workers", "1", "--json", *sweeps)
    what = f"1,001 settings on the bench over one plain replay, {hours:g} h, {targets} targets"
    detail = f" (bench {swept.said()}; replay {plain.said()})"
    yield under(what, swept.cpu_s / plain.cpu_s, "x", MUST_TIMES, detail, digits=2)
    yield under("memory of that bench above the replay's", swept.most_mb - plain.most_mb, "MB", MUST_MB, digits=0)


if __name__ == "__main__":
    words = dict(enumerate(sys.argv))
    for figure in figures(float(words.get(1, "24")), int(words.get(2, "20"))):
        print(figure.line(), flush=True)
