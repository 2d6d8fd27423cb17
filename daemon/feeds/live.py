"""What all live feeds share: a thread, a wake-up, and a reconnection that never gives up.

A feed opens its source, reads until that fails, says why, pauses, and opens it again: for ever, the pauses growing
from FIRST_PAUSE_S to LAST_PAUSE_S. A source that is absent at the start is treated in the same way. Nothing that
happens to one feed touches another.
"""

import contextlib
import select
import socket
import threading
from typing import Protocol

from daemon.clock import Clock
from daemon.feeds.face import Arrival, Counters, Link
from daemon.feeds.intake import Intake

FIRST_PAUSE_S = 0.5
LAST_PAUSE_S = 30.0
STEADY_S = 10.0
"""A connection that has held this long starts the pauses afresh when it breaks."""

LOOK_ROUND_MS = 1000
"""How often a feed that hears nothing looks whether something is odd."""


class Ended(Exception):  # noqa: N818 - an end is no error
    """The source has come to its end and will give no more."""


class Source(Protocol):
    """One kind of source, opened and closed again and again by its feed. Errors are OSError, their text for people."""

    waits: bool  # the source can be made to wait, so that nothing of it need ever be dropped

    def open(self) -> None:
        """Connect. May take seconds; `fileno` is valid afterwards."""

    def fileno(self) -> int:
        """What poll() watches."""

    def read(self, counters: Counters, now_s: float) -> list[bytes]:
        """What has arrived, framed to lines and counted. Called when poll() says so. Raises Ended or OSError."""

    def trouble(self, counters: Counters, now_s: float) -> str:
        """What is odd about the data though the connection is open; empty if nothing."""

    def close(self, counters: Counters) -> list[bytes]:
        """Disconnect; an unfinished last line is given or counted. Never raises."""


class LiveFeed:
    """A feed (see face.py) over any Source."""

    def __init__(self, name: str, source: Source, intake: Intake, clock: Clock) -> None:
        self.name = name
        self.counters = Counters()
        self._source = source
        self._intake = intake
        self._clock = clock
        self._stop = threading.Event()
        self._wake: tuple[socket.socket, socket.socket] | None = None
        self._thread = threading.Thread(target=self._run, name=f"feed {name}", daemon=True)
        self._link = Link(is_open=False, since_s=clock.mono_s(), trouble="not opened yet")

    @property
    def link(self) -> Link:
        """See Feed."""
        return self._link

    def start(self) -> None:
        """See Feed."""
        self._wake = socket.socketpair()
        self._wake[1].setblocking(False)
        self._thread.start()

    def stop(self) -> None:
        """See Feed."""
        self._stop.set()
        if self._wake is not None:
            with contextlib.suppress(OSError):  # full, so it is awake; or closed, so it has ended
                self._wake[1].send(b"x")

    def join(self, timeout_s: float) -> bool:
        """See Feed."""
        if self._thread.ident is not None:
            self._thread.join(timeout_s)
        return not self._thread.is_alive()

    def _run(self) -> None:
        pause_s = FIRST_PAUSE_S
        attempts = 0
        while not self._stop.is_set():
            began_s = self._clock.mono_s()
            attempts += 1
            trouble = self._connection(attempts)
            now_s = self._clock.mono_s()
            if self._link.ended:
                break
            if now_s - began_s >= STEADY_S or self._link.is_open:
                pause_s, attempts = FIRST_PAUSE_S, 0
            self._link = Link(is_open=False, since_s=now_s, trouble=trouble, attempts=attempts)
            if self._clock.wait(pause_s, self._stop):
                break
            pause_s = min(2 * pause_s, LAST_PAUSE_S)
        for end in self._wake or ():
            end.close()

    def _connection(self, attempts: int) -> str:
        """One connection from open to close; why it ended. `link.is_open` stays as it was at the end."""
        try:
            self._source.open()
        except OSError as error:
            return str(error)
        self._link = Link(is_open=True, since_s=self._clock.mono_s(), attempts=attempts)
        ended = False
        try:
            self._read_on()
            trouble = "stopped"
        except Ended:
            trouble, ended = "ended", True
        except OSError as error:
            trouble = str(error)
        self._put(self._source.close(self.counters))
        if ended:  # only now: whoever sees it looks for no more lines
            self._link = Link(is_open=False, since_s=self._clock.mono_s(), trouble=trouble, ended=True)
        return trouble

    def _read_on(self) -> None:
        poll = select.poll()
        poll.register(self._source.fileno(), select.POLLIN)
        if self._wake is not None:
            poll.register(self._wake[0], select.POLLIN)
        while not self._stop.is_set():
            ready = {number for number, _ in poll.poll(LOOK_ROUND_MS)}
            if self._source.fileno() in ready and not self._stop.is_set():
                self._put(self._source.read(self.counters, self._clock.mono_s()))
            self._watch_trouble()

    def _put(self, lines: list[bytes]) -> None:
        if not lines:
            return
        mono_s, utc_ms = self._clock.mono_s(), self._clock.utc_ms()
        arrivals = [Arrival(self.name, line, mono_s, utc_ms) for line in lines]
        self._intake.put_all(arrivals, self.counters, wait=self._source.waits)

    def _watch_trouble(self) -> None:
        trouble = self._source.trouble(self.counters, self._clock.mono_s())
        if trouble != self._link.trouble:
            self._link = Link(is_open=True, since_s=self._link.since_s, trouble=trouble, attempts=self._link.attempts)
