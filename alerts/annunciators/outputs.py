"""Where alert sentences go: a serial line or a UDP address. Opened when first needed, and again after a failure."""

import socket
from contextlib import suppress
from typing import Protocol

import serial

from alerts.annunciators.face import AnnunciatorError

WRITE_LIMIT_S = 2.0
FORMS = "serial:PORT[@BAUD] or udp:HOST:PORT"


Address = tuple[str, int] | tuple[str, int, int, int] | tuple[int, bytes]
"""As getaddrinfo gives it."""


class Output(Protocol):
    """Where alert sentences go."""

    def write(self, lines: list[bytes]) -> None:
        """Each line with its CR LF. Raises AnnunciatorError."""

    def close(self) -> None: ...


def parse(uri: str) -> "SerialOutput | UdpOutput":
    """An output, not yet open. Raises ValueError for a URI that cannot be meant."""
    kind, _, place = uri.partition(":")
    if kind == "serial" and place:
        port, at, baud = place.rpartition("@")
        if not at:
            return SerialOutput(place, 4800)
        if baud.isascii() and baud.isdigit() and 300 <= int(baud) <= 921_600:
            return SerialOutput(port, int(baud))
    if kind == "udp":
        host, _, port = place.rpartition(":")
        if host and port.isascii() and port.isdigit() and 1 <= int(port) <= 65_535:
            return UdpOutput(host.strip("[]"), int(port))
    raise ValueError(f"{uri!r} is not {FORMS}")


class SerialOutput:
    """A serial line, opened with the first sentence and again after each failure. `write` raises AnnunciatorError."""

    def __init__(self, port: str, baud: int) -> None:
        self._port, self._baud = port, baud
        self._line: serial.Serial | None = None

    def write(self, lines: list[bytes]) -> None:
        try:
            if self._line is None:
                self._line = serial.Serial(self._port, self._baud, write_timeout=WRITE_LIMIT_S)
            self._line.write(b"".join(lines))
        except (OSError, serial.SerialException) as error:
            self.close()
            raise AnnunciatorError(f"serial line {self._port}: {error}") from error

    def close(self) -> None:
        if self._line is not None:
            with suppress(OSError):
                self._line.close()
            self._line = None


class UdpOutput:
    """One datagram a sentence. A group or broadcast address goes no further than the local network."""

    def __init__(self, host: str, port: int) -> None:
        self._host, self._port = host, port
        self._socket: tuple[socket.socket, Address] | None = None

    def write(self, lines: list[bytes]) -> None:
        try:
            sock, address = self._socket or self._open()
            for line in lines:
                sock.sendto(line, address)
        except OSError as error:
            self.close()
            raise AnnunciatorError(f"udp {self._host} port {self._port}: {error}") from error

    def _open(self) -> "tuple[socket.socket, Address]":
        """Not connected: a receiver that is away for a while is no error of ours and must cost no line."""
        family, kind, protocol, _, address = socket.getaddrinfo(self._host, self._port, type=socket.SOCK_DGRAM)[0]
        sock = socket.socket(family, kind, protocol)
        sock.settimeout(WRITE_LIMIT_S)
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_BROADCAST, 1)
        self._socket = (sock, address)
        return self._socket

    def close(self) -> None:
        if self._socket is not None:
            self._socket[0].close()
            self._socket = None
