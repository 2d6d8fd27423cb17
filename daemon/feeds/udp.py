"""UDP: unicast, broadcast and multicast, plain sentences or IEC 61162-450 datagrams.

UDP says nothing of who sent a datagram, so: the local address is explicit, senders can be listed, and each sender has
a rate cap. What the kernel dropped because we were too slow is told by the kernel itself (SO_RXQ_OVFL, socket(7)).
"""

import contextlib
import errno
import ipaddress
import re
import socket
import struct
from collections import OrderedDict
from pathlib import Path

from daemon.feeds.face import Counters
from daemon.feeds.framed import Framed
from daemon.feeds.uri import FeedSpec

SO_RXQ_OVFL = 40
"""Linux asm-generic/socket.h; Python's socket module does not name it."""

BUFFER_BYTES = 2 * 1024 * 1024
"""Asked of the kernel, which grants up to net.core.rmem_max. A datagram costs 832 bytes of it whatever its length."""

LONGEST = 65535
AT_ONCE = 64
"""Datagrams read in one go, so that stopping never waits behind a flood."""

MOST_SENDERS = 256
TURNED_AWAY_S = 10.0
MOST_SOURCES = 64
OTHER_SOURCES = "other sources"

NUMBERS = 1000
"""`n:` runs from 0 to 999 and starts again (IEC 61162-450; from memory)."""

_NUMBERED = re.compile(rb"\\([^\\]*)\\")


_MEANINGS = {
    errno.EADDRINUSE: "another program listens there already (with ?share=yes on both, both can)",
    errno.EADDRNOTAVAIL: "no interface of this machine has that address",
    errno.EACCES: "no permission: take a port from 1024 up",
}


def _plainly(error: OSError) -> str:
    return _MEANINGS.get(error.errno or 0) or error.strerror or str(error)


class UdpSource:
    """See live.Source."""

    waits = False

    def __init__(self, spec: FeedSpec) -> None:
        self._spec = spec
        self._socket: socket.socket | None = None
        self._framed = Framed()
        self._caps = SenderCaps(spec.cap)
        self._numbers = LineNumbers()
        self._kernel_drops = 0  # of this socket
        self._turned_away, self._turned_away_s = "", float("-inf")

    def open(self) -> None:
        """See Source."""
        spec = self._spec
        family = socket.AF_INET6 if ":" in spec.address else socket.AF_INET
        opened = socket.socket(family, socket.SOCK_DGRAM)
        try:
            self._prepare(opened)
            opened.bind((spec.address, spec.port))
            if spec.is_multicast:
                _join(opened, spec)
        except OSError as error:
            opened.close()
            where = f"{spec.address or 'any address'}, UDP port {spec.port}"
            raise OSError(f"{where}: {_plainly(error)}") from error
        self._socket, self._kernel_drops = opened, 0

    def fileno(self) -> int:
        """See Source."""
        return self._open_socket().fileno()

    def read(self, counters: Counters, now_s: float) -> list[bytes]:
        """See Source."""
        lines: list[bytes] = []
        for _ in range(AT_ONCE):
            try:
                data, ancillary, flags, sender = self._open_socket().recvmsg(LONGEST, socket.CMSG_SPACE(4))
            except BlockingIOError:
                break
            self._count_kernel_drops(ancillary, counters)
            lines += self._datagram(data, str(sender[0]), bool(flags & socket.MSG_TRUNC), counters, now_s)
        return lines

    def trouble(self, counters: Counters, now_s: float) -> str:
        """See Source: whose datagrams are turned away, for as long as they come."""
        return self._turned_away if now_s - self._turned_away_s < TURNED_AWAY_S else ""

    def close(self, counters: Counters) -> list[bytes]:
        """See Source. The last drops are told only with a next datagram, so the kernel's table is asked as well."""
        if self._socket is not None:
            total = _drops_in_table(self._socket)
            counters.kernel_drops += max(0, total - self._kernel_drops)
            self._socket.close()
        return self._framed.end(counters)

    def _prepare(self, opened: socket.socket) -> None:
        opened.setblocking(False)
        opened.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, BUFFER_BYTES)
        with contextlib.suppress(OSError):  # not Linux: kernel drops are then not counted
            opened.setsockopt(socket.SOL_SOCKET, SO_RXQ_OVFL, 1)
        if self._spec.is_multicast or self._spec.share:
            opened.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)

    def _datagram(self, data: bytes, sender: str, cut: bool, counters: Counters, now_s: float) -> list[bytes]:
        if cut:
            self._framed.discard(len(data), "datagram too long", counters)
            return []
        if self._spec.senders and not any(ipaddress.ip_address(sender) in net for net in self._spec.senders):
            self._turned_away, self._turned_away_s = f"{sender} sends here and is not one of the senders allowed", now_s
            self._framed.discard(len(data), "sender not allowed", counters)
            return []
        if not self._caps.allows(sender, max(1, data.count(b"\n")), now_s):
            self._turned_away = f"{sender} sends more than its {self._spec.cap} lines a second"
            self._turned_away_s = now_s
            self._framed.discard(len(data), "sender over its rate cap", counters)
            return []
        lines = self._framed.datagram(data, counters)
        for line in lines:
            self._numbers.see(line, counters)
        return lines

    def _count_kernel_drops(self, ancillary: list[tuple[int, int, bytes]], counters: Counters) -> None:
        for level, kind, value in ancillary:
            if level == socket.SOL_SOCKET and kind == SO_RXQ_OVFL:
                (total,) = struct.unpack("=I", value[:4])
                counters.kernel_drops += max(0, total - self._kernel_drops)
                self._kernel_drops = total

    def _open_socket(self) -> socket.socket:
        if self._socket is None:
            raise OSError("not open")
        return self._socket


class SenderCaps:
    """Lines a second from each sender: a bucket that holds two seconds' worth. The senders remembered are bounded.

    A flood from more than MOST_SENDERS forged addresses gets past it, to the intake's own bound.
    """

    def __init__(self, cap: int) -> None:
        self._cap = cap
        self._buckets: OrderedDict[str, tuple[float, float]] = OrderedDict()

    def allows(self, sender: str, lines: int, now_s: float) -> bool:
        """Whether this sender may send that many lines now; they are then counted against it."""
        level, seen_s = self._buckets.pop(sender, (2.0 * self._cap, now_s))
        level = min(2.0 * self._cap, level + (now_s - seen_s) * self._cap)
        allowed = level >= lines
        self._buckets[sender] = (level - lines if allowed else level, now_s)
        if len(self._buckets) > MOST_SENDERS:
            self._buckets.popitem(last=False)
        return allowed


class LineNumbers:
    """Gaps in the `n:` of each TAG block source, counted as lost lines. The sources remembered are bounded.

    A number that goes back by less than half of the circle came late or the source started again: no loss is claimed.
    """

    def __init__(self) -> None:
        self._last: OrderedDict[str, int] = OrderedDict()

    def see(self, line: bytes, counters: Counters) -> None:
        """Look at one line with its TAG blocks."""
        source, number = _source_and_number(line)
        if number is None:
            return
        last = self._last.pop(source, None)
        self._last[source] = number
        if len(self._last) > MOST_SOURCES:
            self._last.popitem(last=False)
            return
        missing = 0 if last is None else (number - last - 1) % NUMBERS
        if 0 < missing < NUMBERS // 2:
            lost = counters.lost_by_source
            lost[source if source in lost or len(lost) < MOST_SOURCES else OTHER_SOURCES] += missing


def _source_and_number(line: bytes) -> tuple[str, int | None]:
    source, number = "", None
    position = 0
    while line[position : position + 1] == b"\\":
        block = _NUMBERED.match(line, position)
        if block is None:
            break
        for part in block[1].partition(b"*")[0].split(b","):
            key, _, value = part.partition(b":")
            if key == b"s":
                source = value.decode("ascii", "replace")[:15]
            elif key == b"n" and value.isdigit() and len(value) <= 3:
                number = int(value)
        position = block.end()
    return source, number


def _join(opened: socket.socket, spec: FeedSpec) -> None:
    group = socket.inet_pton(opened.family, spec.address)
    if opened.family == socket.AF_INET6:
        index = socket.if_nametoindex(spec.interface) if spec.interface else 0
        opened.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_JOIN_GROUP, group + struct.pack("=I", index))
        return
    try:
        address, index = socket.inet_aton(spec.interface or "0.0.0.0"), 0  # noqa: S104 - the kernel chooses
    except OSError:
        address, index = socket.inet_aton("0.0.0.0"), socket.if_nametoindex(spec.interface)  # noqa: S104
    opened.setsockopt(socket.IPPROTO_IP, socket.IP_ADD_MEMBERSHIP, struct.pack("=4s4si", group, address, index))


def _drops_in_table(opened: socket.socket) -> int:
    """The kernel's own drop count of this socket (last column of proc/net/udp), 0 where it cannot be read."""
    inode = str(Path(f"/proc/self/fd/{opened.fileno()}").readlink()).removeprefix("socket:[").removesuffix("]")
    table = Path("/proc/self/net/udp6" if opened.family == socket.AF_INET6 else "/proc/self/net/udp")
    try:
        for row in table.read_text().splitlines()[1:]:
            columns = row.split()
            if columns[9] == inode:
                return int(columns[12])
    except (OSError, IndexError, ValueError):
        return 0
    return 0
