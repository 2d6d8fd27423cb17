"""Real far ends for the feeds: a pseudo-terminal behind a symbolic link, UDP and TCP on loopback, a named pipe."""

import os
import pty
import socket
import time
import tty
from collections.abc import Callable
from pathlib import Path

from daemon.clock import HostClock
from daemon.feeds.face import Arrival, Feed
from daemon.feeds.intake import Intake
from daemon.feeds.opening import open_feed
from daemon.feeds.uri import parse


class SerialCable:
    """An adapter that can be pulled out and plugged in: the link stays, the terminal behind it is another one."""

    def __init__(self, link: Path) -> None:
        self.link = link
        self.near = self.far = -1
        self.plug()

    def plug(self) -> None:
        self.near, self.far = pty.openpty()
        tty.setraw(self.far)
        os.set_blocking(self.near, False)
        self.link.symlink_to(os.ttyname(self.far))

    def pull(self) -> None:
        self.link.unlink()
        os.close(self.far)
        os.close(self.near)

    def send(self, data: bytes) -> None:
        os.write(self.near, data)


class Station:
    """A feed under test with its intake and clock; ends them whatever happens."""

    def __init__(self, uri: str, intake: Intake | None = None) -> None:
        self.intake = Intake() if intake is None else intake  # an empty one is false
        self.clock = HostClock()
        self.feed: Feed = open_feed(parse(uri), self.intake, self.clock)
        self.lines: list[bytes] = []
        self.arrivals: list[Arrival] = []

    def __enter__(self) -> "Station":
        self.feed.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.intake.stop()
        self.feed.stop()
        assert self.feed.join(5)
        self.take(0)
        assert not self.feed.counters.imbalance()

    def take(self, timeout_s: float) -> None:
        """What has arrived; every line counts as accepted."""
        for arrival in self.intake.get(timeout_s):
            self.arrivals.append(arrival)
            self.lines.append(arrival.line)
            self.feed.counters.accept()

    def until(self, reached: Callable[[], bool], within_s: float = 10.0) -> bool:
        """Take lines until the condition holds; False if it does not within that time."""
        end = time.monotonic() + within_s
        while not reached():
            if time.monotonic() > end:
                return False
            self.take(0.02)
        return True

    def until_lines(self, number: int) -> bool:
        return self.until(lambda: len(self.lines) >= number)

    def until_open(self) -> bool:
        return self.until(lambda: self.feed.link.is_open)

    def until_down(self) -> bool:
        return self.until(lambda: not self.feed.link.is_open and self.feed.link.attempts > 0)


def free_port(kind: socket.SocketKind = socket.SOCK_DGRAM) -> int:
    with socket.socket(socket.AF_INET, kind) as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])
