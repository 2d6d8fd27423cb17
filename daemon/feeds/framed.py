"""A feed's framer, with its counts kept in the feed's account."""

from daemon.feeds.face import Counters
from parsers.framing import Framer


class Framed:
    """Bytes or datagrams to lines for the whole life of a feed, over all its connections.

    Bytes thrown away before framing (a sender that is not allowed) are counted by `discard`.
    """

    def __init__(self) -> None:
        self._framer = Framer()
        self._read_apart = 0

    def feed(self, data: bytes, counters: Counters) -> list[bytes]:
        """Lines completed by these bytes of a stream."""
        lines = self._framer.feed(data)
        self._account(counters)
        return lines

    def datagram(self, data: bytes, counters: Counters) -> list[bytes]:
        """Lines of one datagram."""
        lines = self._framer.datagram(data)
        self._account(counters)
        return lines

    def end(self, counters: Counters) -> list[bytes]:
        """The connection has ended: the unfinished line, where there is one."""
        lines = self._framer.end()
        self._account(counters)
        return lines

    def discard(self, size: int, reason: str, counters: Counters) -> None:
        """Bytes that were read and are not looked at."""
        self._read_apart += size
        counters.bytes_discarded[reason] += size
        self._account(counters)

    def _account(self, counters: Counters) -> None:
        counts = self._framer.counts
        counters.bytes_read = counts.bytes_read + self._read_apart
        counters.bytes_in_lines = counts.bytes_in_lines
        for reason, number in counts.discarded.items():
            counters.bytes_discarded[str(reason)] = number
        counters.bytes_waiting = counts.waiting
