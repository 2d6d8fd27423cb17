"""An exercise as live traffic: on a serial line, by UDP, or on a pseudo-terminal that is made for it, at any pace."""

import os
import select
import socket
import threading
import tty
from collections.abc import Iterable
from contextlib import suppress
from typing import Literal, Protocol

from msgspec import Struct

from daemon.clock import Clock
from daemon.errors import CANNOT_OPEN, UserError
from daemon.exercise.generate import tagged
from daemon.feeds import uri
from daemon.feeds.serial_line import plainly
from parsers.framing import HEADER

Form = Literal["plain", "tag", "450"]

LOOK_AGAIN_S = 0.05
LONGEST_WAIT_S = 0.5
CLOCK_STEP_S = 0.001  # clocks tell whole milliseconds: what is nearer than that is due


class Outlet(Protocol):
    """Where sentences go. `send` returns False where they had to be thrown away, as a line without a reader does."""

    name: str

    def send(self, data: bytes) -> bool: ...

    def wait_for_reader(self, clock: Clock, stop: threading.Event) -> bool:
        """True once somebody can read; False if stopped before."""

    def close(self) -> None: ...


class Sent(Struct):
    sentences: int = 0
    thrown_away: int = 0
    latest_s: float = 0.0  # how far behind its time the latest sentence was


def open_outlet(text: str, baud: int) -> Outlet:
    """`pty`, `serial:PORT[@BAUD]` or `udp:[HOST:]PORT`. `baud` is the scenario's, used where none is named.

    Raises UserError for another form, and for a port or address that can't be opened.
    """
    if text == "pty":
        return PseudoTerminal()
    if not text.startswith(("serial:", "udp:")):
        raise UserError(f"--to {text}: write pty, serial:PORT[@BAUD] or udp:HOST:PORT")
    spec = uri.parse(text)
    if spec.kind is uri.FeedKind.SERIAL:
        return SerialLine(spec.path, spec.baud if "@" in text else baud)
    return Datagrams(spec.address or "127.0.0.1", spec.port, spec.interface)


class SerialLine:
    """A serial port. What it can't carry makes the exercise late; it loses nothing."""

    def __init__(self, path: str, baud: int) -> None:
        import serial

        self.name = f"serial:{path}@{baud}"
        try:
            self._port = serial.Serial(path, baud, exclusive=True, write_timeout=5)
        except (serial.SerialException, ValueError) as error:
            raise UserError(plainly(path, error), CANNOT_OPEN) from None

    def send(self, data: bytes) -> bool:
        import serial

        try:
            self._port.write(data)
        except serial.SerialTimeoutException:
            return False
        except serial.SerialException as error:
            raise UserError(f"{self.name} is gone: {error}", CANNOT_OPEN) from None
        return True

    def wait_for_reader(self, clock: Clock, stop: threading.Event) -> bool:
        return True

    def close(self) -> None:
        self._port.close()


class Datagrams:
    """UDP, to one host, to a broadcast address or to a group."""

    def __init__(self, host: str, port: int, interface: str = "") -> None:
        self.name = f"udp:{host}:{port}"
        self._socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self._socket.setsockopt(socket.SOL_SOCKET, socket.SO_BROADCAST, 1)
        try:
            if interface:
                self._socket.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, socket.inet_aton(interface))
            self._to = socket.getaddrinfo(host, port, socket.AF_INET, socket.SOCK_DGRAM)[0][4]
        except OSError as error:
            self._socket.close()
            raise UserError(f"cannot send to {self.name}: {error.strerror or error}", CANNOT_OPEN) from None

    def send(self, data: bytes) -> bool:
        try:
            self._socket.sendto(data, self._to)  # not connected: who does not listen yet costs no datagram
        except OSError:
            return False
        return True

    def wait_for_reader(self, clock: Clock, stop: threading.Event) -> bool:
        return True

    def close(self) -> None:
        self._socket.close()


class PseudoTerminal:
    """A serial line without wires. Its other end, `name`, is what a watch opens.

    Like a real line it waits for nobody: what is not read in time is thrown away and counted.
    """

    def __init__(self) -> None:
        try:
            self._master, slave = os.openpty()
        except OSError as error:
            raise UserError(f"cannot make a pseudo-terminal: {error.strerror}", CANNOT_OPEN) from None
        tty.setraw(slave)
        self.name = os.ttyname(slave)
        os.close(slave)  # so that a hang-up shows until a reader comes
        os.set_blocking(self._master, False)

    def _hung_up(self) -> bool:
        poll = select.poll()
        poll.register(self._master, 0)
        return bool(poll.poll(0))

    def wait_for_reader(self, clock: Clock, stop: threading.Event) -> bool:
        while self._hung_up():
            if clock.wait(LOOK_AGAIN_S, stop):
                return False
        return True

    def send(self, data: bytes) -> bool:
        if self._hung_up():
            return False
        try:
            return os.write(self._master, data) == len(data)
        except BlockingIOError:
            return False

    def close(self) -> None:
        with suppress(OSError):
            os.close(self._master)


def send(
    made: Iterable[tuple[int, str]],
    outlet: Outlet,
    clock: Clock,
    stop: threading.Event,
    *,
    pace: float | None = 1.0,
    form: Form = "plain",
) -> Sent:
    """Sends every sentence at its time, `pace` times as fast (None: without waiting), until the end or `stop`."""
    done, first_ms, begin_s = Sent(), None, clock.mono_s()
    for utc_ms, line in made:
        if first_ms is None:
            first_ms = utc_ms
        if pace is not None and not _wait_until(clock, stop, begin_s + (utc_ms - first_ms) / 1000 / pace, done):
            break
        if stop.is_set():
            break
        done.sentences += 1
        done.thrown_away += not outlet.send(_formed(utc_ms, line, form))
    return done


def _wait_until(clock: Clock, stop: threading.Event, due_s: float, done: Sent) -> bool:
    """Passes the time until `due_s`; False if stopped."""
    while (left := due_s - clock.mono_s()) >= CLOCK_STEP_S:
        if clock.wait(min(left, LONGEST_WAIT_S), stop):
            return False
    done.latest_s = max(done.latest_s, -left)
    return True


def _formed(utc_ms: int, line: str, form: Form) -> bytes:
    if form == "plain":
        return line.encode("ascii") + b"\r\n"
    (text,) = tagged([(utc_ms, line)])
    data = text.encode("ascii") + b"\r\n"
    return HEADER + data if form == "450" else data
