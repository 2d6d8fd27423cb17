"""The program itself, running as a watch in a process of its own, for benchmarks in real time."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

ROOT = Path(__file__).resolve().parents[2]
PATIENCE_S = 20.0


@contextmanager
def watch(folder: Path, *options: str, stdout: int | IO[bytes] | None = None) -> Iterator["subprocess.Popen[bytes]"]:
    """`secondplot watch` with its files in `folder`; ended in order afterwards."""
    places = {name: str(folder / name.lower()) for name in ("XDG_RUNTIME_DIR", "XDG_CONFIG_HOME", "XDG_DATA_HOME")}
    for place in places.values():
        Path(place).mkdir(mode=0o700)
    command = [sys.executable, "-m", "daemon.main", "watch", *options]
    environment = {**os.environ, **places, "TERM": "xterm"}
    process = subprocess.Popen(command, cwd=ROOT, env=environment, stdout=stdout, stderr=subprocess.DEVNULL)
    try:
        yield process
    finally:
        process.send_signal(signal.SIGTERM)
        process.wait(20)


def wait_for_port(port: int) -> None:
    """Until a UDP socket is bound to the port. RuntimeError where none is within PATIENCE_S."""
    until_s = time.monotonic() + PATIENCE_S
    while time.monotonic() < until_s:
        if f":{port:04X} " in Path("/proc/net/udp").read_text():
            return
        time.sleep(0.002)
    raise RuntimeError(f"nobody listens on UDP port {port}")


def processor_s(pid: int) -> float:
    """User and system time of all threads of a process so far."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def resident_mb(pid: int, greatest: bool = False) -> float:
    """What a process holds in memory now, or has held at most since it began; 0 where it has just ended."""
    for line in Path(f"/proc/{pid}/status").read_text().splitlines():
        if line.startswith("VmHWM" if greatest else "VmRSS"):
            return int(line.split()[1]) / 1024
    return 0.0
