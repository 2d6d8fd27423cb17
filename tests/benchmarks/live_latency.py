"""From the last byte of a TTM on a serial line to the alert's event at its reader, through the running program.

Run: python -m tests.benchmarks.live_latency [RUNS]. A pseudo-terminal carries the targets; 1,000 sentences a second
come by UDP meanwhile. Each TTM brings a new target into a guard zone with no hold, so that this very sentence raises an
alert; the events are read from the watch's standard output as they come. With archive, as by default.
"""

import json
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import IO

import numpy as np

from parsers import encode
from tests.benchmarks.figure import Figure, under
from tests.benchmarks.running import wait_for_port, watch
from tests.benchmarks.soak import Sender, udp_second
from tests.daemon.feed_makers import SerialCable, free_port

ZONE = """
[alerts.guard_zone]
hold_s = 0.0
grace_s = 0.0
[alerts.guard_zone.zones.round]
from_nm = 0.0
to_nm = 12.0
from_deg = 0
to_deg = 360
"""
EVERY_S = 0.15
MOST_RUNS = 190
"""Targets that the plot has room for."""


class Reader(threading.Thread):
    """Notes when each target's alert was read."""

    def __init__(self, events: IO[bytes]) -> None:
        super().__init__(daemon=True)
        self.read_s: dict[str, float] = {}
        self._events = events

    def run(self) -> None:
        for line in self._events:
            now_s = time.perf_counter()
            if line.startswith(b'{"event":"alert"'):
                event = json.loads(line)
                if event["rule"] == "guard_zone" and event["target"]:
                    self.read_s.setdefault(event["target"], now_s)


def measure(runs: int) -> list[float]:
    """Seconds of each TTM's way."""
    port = free_port()
    with tempfile.TemporaryDirectory() as name, socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as network:
        folder = Path(name)
        (folder / "zone.toml").write_text(ZONE)
        cable = SerialCable(folder / "ttyUSB0")
        feeds = ["--feed", f"serial:{cable.link}@38400?name=radar", "--feed", f"udp:127.0.0.1:{port}?name=net"]
        options = [*feeds, "--events", "-", "--config", str(folder / "zone.toml")]
        with watch(folder, *options, stdout=subprocess.PIPE) as process:
            assert process.stdout is not None
            reader = Reader(process.stdout)
            reader.start()
            wait_for_port(port)
            background = Sender(lambda data: network.sendto(data, ("127.0.0.1", port)), udp_second, 3 + runs * EVERY_S)
            background.start()
            time.sleep(2)
            sent_s = _send(cable, runs)
            time.sleep(1)
            background.join()
        cable.pull()
    return [reader.read_s[key] - at_s for key, at_s in sent_s.items() if key in reader.read_s]


def _send(cable: SerialCable, runs: int) -> dict[str, float]:
    """One new target after another; when the last byte of each was sent."""
    sent_s = {}
    for number in range(1, runs + 1):
        line = encode.ttm(number, 1.0 + number % 10, (number * 37.0) % 360) + "\r\n"
        cable.send(line.encode())
        sent_s[f"radar-{number:02d}"] = time.perf_counter()
        time.sleep(EVERY_S)
    return sent_s


def figures(runs: int = MOST_RUNS) -> Iterator[Figure]:
    took = measure(runs)
    p50, p99 = np.quantile(np.array(took) * 1000, [0.5, 0.99]) if took else (float("inf"), float("inf"))
    all_told = f" ({len(took)} of {runs} alerts came)"
    yield under("live latency, TTM on a serial line to the alert's event, p50", float(p50), "ms", 5, all_told)
    yield under("the same, p99", float(p99), "ms", 20, f" (worst {max(took, default=0) * 1000:.0f} ms)")


if __name__ == "__main__":
    for figure in figures(int(sys.argv[1]) if len(sys.argv) > 1 else MOST_RUNS):
        print(figure.line())
