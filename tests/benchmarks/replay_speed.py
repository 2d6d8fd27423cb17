"""Replay against a bare loop of pynmea2 over the same lines.

Run: python -m tests.benchmarks.replay_speed [HOURS [TARGETS]]. Ours is the whole command in a process of its own, its
start included: framing, parsing, picture, estimates, alerts, archive and events on disk. The bare loop calls
`pynmea2.parse(line, check=True)` and reads all fields; TAG blocks are taken off beforehand, and lines that pynmea2 has
no class for are left out of its count. Both are measured in processor seconds of all threads, in one run.
"""

import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import pynmea2
from msgspec import Struct, structs

from tests.benchmarks.figure import Figure, at_least, under
from tests.benchmarks.passages import recording
from tests.benchmarks.running import resident_mb

MUST = 1.0
"""Aim: 2.5."""

SAMPLE = 100_000
"""Lines of the bare loop, spread over the recording: its cost does not depend on what came before."""


class Cost(Struct, frozen=True):
    lines: int
    cpu_s: float
    resident_mb: float = 0.0
    archive_bytes: int = 0

    @property
    def rate(self) -> float:
        """Sentences a processor second."""
        return self.lines / self.cpu_s


def replay_cost(path: Path, *options: str) -> Cost:
    """One replay in a process of its own: user and system time of all its threads, and its greatest resident size."""
    command = [sys.executable, "-m", "daemon.main", "replay", str(path), "--quiet", *options]
    with path.open("rb") as file:
        lines = sum(1 for _ in file)
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    with subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as process:
        resident = 0.0
        while process.poll() is None:
            # Not ru_maxrss: that begins with the size of the process that started this one.
            resident = max(resident, resident_mb(process.pid, greatest=True))
            time.sleep(0.05)
    if process.returncode:
        raise subprocess.CalledProcessError(process.returncode, command)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    cpu_s = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return Cost(lines, cpu_s, resident)


def whole_replay(path: Path, *options: str) -> Cost:
    """With archive and events on disk."""
    with tempfile.TemporaryDirectory() as folder:
        archive = Path(folder) / "archive.db"
        cost = replay_cost(path, "--events", f"{folder}/events.jsonl", "--archive", str(archive), *options)
        return structs.replace(cost, archive_bytes=archive.stat().st_size)


def bare_loop(path: Path) -> Cost:
    """pynmea2 over the same lines."""
    with path.open() as file:
        lines = [line.rstrip("\r\n").rpartition("\\")[2] for line in file]
    lines = lines[:: max(1, len(lines) // SAMPLE)]
    counted = 0
    began = time.process_time()
    for line in lines:
        try:
            sentence = pynmea2.parse(line, check=True)
        except pynmea2.ParseError:
            continue
        for field in sentence.fields:
            getattr(sentence, field[1])
        counted += 1
    return Cost(counted, time.process_time() - began)


def figures(hours: float = 24.0, targets: int = 20) -> Iterator[Figure]:
    path = recording(hours, targets)
    ours, bare = whole_replay(path), bare_loop(path)
    detail = f" ({ours.rate:,.0f} sentences a processor second, {ours.cpu_s:.0f} s in all; pynmea2 {bare.rate:,.0f})"
    what = f"replay of {hours:g} h, {targets} targets, over a bare loop of pynmea2"
    yield at_least(what, ours.rate / bare.rate, "", MUST, detail)
    yield under("memory of that replay at most", ours.resident_mb, "MB", 120)


if __name__ == "__main__":
    words = dict(enumerate(sys.argv))
    for figure in figures(float(words.get(1, "24")), int(words.get(2, "20"))):
        print(figure.line())
