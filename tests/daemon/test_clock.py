"""Clocks: one module asks the machine; the rest of the daemon is told."""

import ast
import threading
import time
from pathlib import Path

import pytest

from daemon.clock import HostClock, VirtualClock

ROOT = Path(__file__).resolve().parents[2]
ASKED = {"now", "utcnow", "today"}


def test_only_the_clock_module_asks_what_time_it_is() -> None:
    """No other module of the program imports `time`, or calls datetime.now, utcnow or today."""
    files = [path for wing in ("parsers", "alerts", "daemon") for path in (ROOT / wing).rglob("*.py")]
    assert ROOT / "daemon" / "clock.py" in files
    for path in files:
        if path == ROOT / "daemon" / "clock.py":
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names: list[str] = []
            if isinstance(node, ast.Import):
                names = [alias.name for alias in node.names]
            elif isinstance(node, ast.ImportFrom):
                names = [node.module or ""]
            elif isinstance(node, ast.Attribute):
                assert node.attr not in ASKED, f"{path.relative_to(ROOT)}, line {node.lineno}: asks a clock"

            assert "time" not in names, f"{path.relative_to(ROOT)}: imports time"


def test_the_host_clock_goes_forward_in_whole_milliseconds() -> None:
    """A recording holds exactly the times that the watch used."""
    clock = HostClock()
    times = [clock.mono_s() for _ in range(1000)]

    assert times == sorted(times)
    assert all(value == round(value, 3) for value in times)
    assert abs(clock.utc_ms() - time.time() * 1000) < 5000


def test_a_wait_ends_when_stop_is_set() -> None:
    """And says so."""
    stop = threading.Event()
    stop.set()

    assert HostClock().wait(60, stop)
    assert not HostClock().wait(0.001, threading.Event())


def test_the_virtual_clock_goes_only_when_told() -> None:
    """Waiting advances it at once; a jump of the wall clock leaves the monotonic one alone; it never goes back."""
    clock = VirtualClock(utc_ms=1000)
    assert not clock.wait(3600, threading.Event())
    clock.jump_wall(-86_400)

    assert (clock.mono_s(), clock.utc_ms()) == (3600.0, 1000 + 3_600_000 - 86_400_000)
    with pytest.raises(ValueError, match="backwards"):
        clock.advance(-1)
