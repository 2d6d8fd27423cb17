"""How long a debrief takes and how large it is: the fog recording, and a day's archive with 500 targets.

    python -m tests.benchmarks.debrief_figures [TARGETS]

Bounds: the recording under 5 s and 1.5 MB; the archive under 60 s and 15 MB. Processor seconds are printed beside the
wall's, as machines that run tests are shared. Seed 7.
"""

import random
import resource
import sys
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path

from alerts.events import AnyEvent, Moment
from daemon.clock import HostClock
from daemon.main import main
from tests.daemon.archives import archive_of
from tests.daemon.passages import Vessel, passage, plot_of

RECORDING = Path("recordings/fog-crossing.nmea.gz")
DAY_S = 86_400
# Each target is tracked for so long, at one report in three seconds.
TRACKED_S = 2400


def day(targets: int) -> Iterator[tuple[Moment, Sequence[AnyEvent]]]:
    """A day in which targets come one after another, each crossing within some miles of own ship."""
    rng = random.Random(7)
    due: dict[int, list[tuple[Vessel, int]]] = {}
    for number in range(targets):
        start = rng.randrange(DAY_S - TRACKED_S)
        course, speed = rng.uniform(0, 360), rng.uniform(4, 18)
        vessel = Vessel(f"radar-{number:03d}", rng.uniform(-5, 5), rng.uniform(-5, 5), course, speed)
        for offset in range(0, TRACKED_S, 3):
            due.setdefault(start + offset, []).append((vessel, offset))
    for now, events in passage(DAY_S, fleet=()):
        second = int(now.at_s - 1000)
        for vessel, offset in due.get(second, []):
            plot = plot_of(vessel, offset, offset // 3 + 1, rng)
            events.append(type(plot)(**{**{f: getattr(plot, f) for f in plot.__struct_fields__}, "time": now.time}))
        yield now, events


def measure(name: str, words: list[str], output: Path) -> None:
    clock = HostClock()
    used, began = resource.getrusage(resource.RUSAGE_SELF).ru_utime, clock.mono_s()
    assert main(["debrief", *words, "--output", str(output)]) == 0
    wall = clock.mono_s() - began
    cpu = resource.getrusage(resource.RUSAGE_SELF).ru_utime - used
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{name}: {wall:.1f} s ({cpu:.1f} s of processor), {output.stat().st_size / 1e6:.2f} MB, peak {peak:.0f} MiB")


if __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    with tempfile.TemporaryDirectory() as folder:
        where = Path(folder)
        measure("fog recording (bounds 5 s, 1.5 MB)", [str(RECORDING)], where / "fog.html")
        archive = archive_of(where / "day.sqlite", day(count))
        print(f"archive of {archive.stat().st_size / 1e6:.0f} MB made")
        measure(f"24 h, {count} targets (bounds 60 s, 15 MB)", [str(archive)], where / "day.html")
        if len(sys.argv) > 2:
            (where / "day.html").rename(sys.argv[2])
