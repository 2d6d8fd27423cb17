"""TCP, as a client. A peer that is gone without a word is found by keep-alive within about a minute."""

import contextlib
import socket

from daemon.feeds.face import Counters
from daemon.feeds.framed import Framed
from daemon.feeds.uri import FeedSpec

CONNECT_S = 5.0
READ_BYTES = 65536


class TcpSource:
    """See live.Source."""

    waits = False

    def __init__(self, spec: FeedSpec) -> None:
        self._spec = spec
        self._socket: socket.socket | None = None
        self._framed = Framed()

    def open(self) -> None:
        """See Source."""
        spec = self._spec
        try:
            self._socket = socket.create_connection((spec.address, spec.port), CONNECT_S)
        except (OSError, UnicodeError) as error:
            reason = getattr(error, "strerror", None) or error
            raise OSError(f"{spec.address}, TCP port {spec.port}: {reason}") from error
        self._socket.setblocking(False)
        _keep_alive(self._socket)

    def fileno(self) -> int:
        """See Source."""
        return self._open_socket().fileno()

    def read(self, counters: Counters, now_s: float) -> list[bytes]:
        """See Source."""
        try:
            data = self._open_socket().recv(READ_BYTES)
        except BlockingIOError:
            return []
        if not data:
            raise OSError(f"{self._spec.address}, TCP port {self._spec.port}: closed by the other side")
        return self._framed.feed(data, counters)

    def trouble(self, counters: Counters, now_s: float) -> str:
        """See Source."""
        return ""

    def close(self, counters: Counters) -> list[bytes]:
        """See Source."""
        if self._socket is not None:
            self._socket.close()
        return self._framed.end(counters)

    def _open_socket(self) -> socket.socket:
        if self._socket is None:
            raise OSError("not open")
        return self._socket


def _keep_alive(opened: socket.socket) -> None:
    opened.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
    for option, seconds_or_count in (("TCP_KEEPIDLE", 20), ("TCP_KEEPINTVL", 10), ("TCP_KEEPCNT", 4)):
        with contextlib.suppress(AttributeError, OSError):  # not on every system
            opened.setsockopt(socket.IPPROTO_TCP, getattr(socket, option), seconds_or_count)
