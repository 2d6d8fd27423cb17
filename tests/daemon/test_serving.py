"""`watch --service` as a service manager sees it: a real process, real notices, real signals."""

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.daemon.feed_makers import free_port

ROOT = Path(__file__).resolve().parents[2]


class Managed:
    """A watch under a manager that listens."""

    def __init__(self, folder: Path) -> None:
        self.config = folder / "boat.toml"
        self.config.write_text('condition = "coastal"\n')
        self._listener = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._listener.bind(str(folder / "notify"))
        self.port = free_port()
        environment = {**os.environ, "NOTIFY_SOCKET": str(folder / "notify"), "WATCHDOG_USEC": "400000"}
        environment |= {"XDG_RUNTIME_DIR": str(folder)}
        words = ["--feed", f"udp:127.0.0.1:{self.port}", "--no-archive", "--config", str(self.config)]
        self.log = folder / "log"
        self._log = self.log.open("wb")
        self.process = subprocess.Popen(
            [sys.executable, "-m", "daemon.main", "watch", "--service", *words],
            cwd=ROOT,
            env=environment,
            stdout=subprocess.DEVNULL,
            stderr=self._log,
        )

    def until(self, wanted: str, within_s: float = 15.0) -> str:
        """The first notice that holds this."""
        end = time.monotonic() + within_s
        while (left := end - time.monotonic()) > 0:
            self._listener.settimeout(left)
            notice = self._listener.recv(4096).decode()
            if wanted in notice:
                return notice
        raise AssertionError(f"no {wanted}: {self.log.read_text()}")

    def send(self, line: bytes) -> None:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
            sender.sendto(line, ("127.0.0.1", self.port))

    def close(self) -> None:
        self.process.kill()
        self.process.wait()
        self._listener.close()
        self._log.close()


@pytest.fixture
def managed(tmp_path: Path) -> Iterator[Managed]:
    made = Managed(tmp_path)
    yield made
    made.close()


def test_a_life_under_a_manager(managed: Managed) -> None:
    """Ready, signs of life at half the interval, a reload that is taken, one that is refused, and an orderly stop."""
    ready = managed.until("READY=1")
    assert "STATUS=" in ready
    managed.until("WATCHDOG=1")
    began = time.monotonic()
    for _ in range(4):
        managed.until("WATCHDOG=1")
    assert 0.5 < time.monotonic() - began < 3.0

    managed.send(b"$HEHDT,123.4,T*2B\r\n")
    managed.config.write_text('condition = "harbour"\n[archive]\nkeep_days = 3\n')
    managed.process.send_signal(signal.SIGHUP)
    managed.until("RELOADING=1")
    assert "condition harbour" in managed.until("READY=1")

    managed.config.write_text('condition = "harbor"\n')
    managed.process.send_signal(signal.SIGHUP)
    managed.until("RELOADING=1")
    assert "condition harbour" in managed.until("READY=1")

    managed.process.send_signal(signal.SIGTERM)
    managed.until("STOPPING=1")
    assert managed.process.wait(10) == 0
    log = managed.log.read_text()
    assert "<6>settings read again, condition 'harbour' in force; from the next start on: archive" in log
    assert "<3>settings not taken, the old ones stay in force" in log
    assert "'harbor'" in log
    assert "Traceback" not in log
