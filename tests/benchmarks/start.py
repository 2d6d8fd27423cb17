"""How long a start takes: --help, and a watch until it listens. Run: python -m tests.benchmarks.start"""

import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from statistics import median

from tests.benchmarks.figure import Figure, under
from tests.benchmarks.running import ROOT, wait_for_port, watch
from tests.daemon.feed_makers import free_port

RUNS = 9


def _help_s() -> float:
    began = time.perf_counter()
    subprocess.run([sys.executable, "-m", "daemon.main", "--help"], cwd=ROOT, check=True, capture_output=True)
    return time.perf_counter() - began


def _listening_s() -> float:
    port = free_port()
    with tempfile.TemporaryDirectory() as folder:
        began = time.perf_counter()
        with watch(Path(folder), "--quiet", "--feed", f"udp:127.0.0.1:{port}"):
            wait_for_port(port)
            return time.perf_counter() - began


def figures() -> Iterator[Figure]:
    helps, listens = [_help_s() for _ in range(RUNS)], [_listening_s() for _ in range(RUNS)]
    for name, seconds, bound in (("start of --help", helps, 0.25), ("watch until it listens", listens, 1.0)):
        yield under(f"{name}, median", median(seconds), "s", bound, f" (worst of {RUNS}: {max(seconds):.2f} s)", 2)


if __name__ == "__main__":
    for figure in figures():
        print(figure.line())
