"""What every feed shows the stream: arrivals, its health, and counters that account for every byte and line.

Two identities hold at all times and are asserted after every run (`Counters.imbalance`):

    bytes read = bytes in lines + bytes discarded, by reason + bytes of an unfinished line
    lines      = accepted + refused, by reason + dropped, by kind + waiting (queued, or in the stream's hand)

Who writes what: the feed's own thread counts bytes and what it discards; the intake counts lines, waiting and dropped
under its lock; the stream counts accepted and refused. No number has two writers.
"""

from collections import Counter
from collections.abc import Mapping
from typing import Protocol

from msgspec import Struct

from parsers.sentence import Refusal
from parsers.tag import Tagged

UNTIMED = -1
"""Stands for both times of an arrival from a recording that does not tell when its lines arrived."""


class Arrival(Struct, frozen=True, gc=False):
    """One line as it arrived: no line end, nothing else taken away.

    `mono_s` is seconds on a clock that never jumps (whole milliseconds), `utc_ms` the host's wall clock. Both are
    UNTIMED in a recording that was not made by our own recorder: the line's own times then drive the stream's clock.
    `tagged` is what `untag` says of the line, where a feed has done that already, for many lines at once.
    """

    feed: str
    line: bytes
    mono_s: float = UNTIMED
    utc_ms: int = UNTIMED
    tagged: Tagged | Refusal | None = None


class Link(Struct, frozen=True, gc=False):
    """How a feed's connection stands, replaced as a whole so that any thread reads one consistent value.

    `trouble` is for a person: why the link is down, or what is odd about it (a wrong baud rate). `ended` says that
    no more will ever come (end of a file or of standard input).
    """

    is_open: bool
    since_s: float
    trouble: str = ""
    attempts: int = 0
    ended: bool = False


class Counters:
    """One feed's account. See the module's head for who writes what."""

    def __init__(self) -> None:
        self.bytes_read = 0
        self.bytes_in_lines = 0
        self.bytes_waiting = 0
        self.bytes_discarded: Counter[str] = Counter()
        self.lines = 0
        self.waiting = 0
        self.taken = 0
        self.dropped: Counter[str] = Counter()
        self.accepted = 0
        self.refused: Counter[str] = Counter()
        self.kernel_drops = 0
        self.lost_by_source: Counter[str] = Counter()

    def accept(self) -> None:
        """The stream has used a line, or known it for a sentence that is not needed."""
        self.accepted += 1

    def refuse(self, reason: str) -> None:
        """The stream has refused a line."""
        self.refused[reason] += 1

    @property
    def in_hand(self) -> int:
        """Lines that the stream has taken and not yet judged."""
        return self.taken - self.accepted - sum(self.refused.values())

    def imbalance(self) -> str:
        """Empty when both identities hold, else what is wrong. Call it where no thread is at work on the feed."""
        discarded = sum(self.bytes_discarded.values())
        if self.bytes_read != self.bytes_in_lines + discarded + self.bytes_waiting:
            return (
                f"{self.bytes_read} bytes read, but {self.bytes_in_lines} in lines, {discarded} discarded"
                f" and {self.bytes_waiting} unfinished"
            )
        dropped = sum(self.dropped.values())
        if self.lines != self.taken + dropped + self.waiting or self.in_hand < 0:
            return (
                f"{self.lines} lines, but {self.accepted} accepted, {sum(self.refused.values())} refused, {dropped}"
                f" dropped, {self.waiting} waiting and {self.in_hand} in hand"
            )
        return ""

    def snapshot(self) -> dict[str, int | dict[str, int]]:
        """All numbers, for `status --json` and the archive. Safe from any thread; each number is right by itself."""
        return {
            "bytes_read": self.bytes_read,
            "bytes_in_lines": self.bytes_in_lines,
            "bytes_discarded": _copy(self.bytes_discarded),
            "lines": self.lines,
            "accepted": self.accepted,
            "refused": _copy(self.refused),
            "dropped": _copy(self.dropped),
            "waiting": self.waiting + max(0, self.in_hand),
            "kernel_drops": self.kernel_drops,
            "lost_by_source": _copy(self.lost_by_source),
        }


class Feed(Protocol):
    """A source of lines. Live feeds are threads of their own; one never affects another."""

    name: str
    counters: Counters

    @property
    def link(self) -> Link:
        """How the connection stands now."""

    def start(self) -> None:
        """Begin to read. A source that is not there is no error: it is tried again for ever."""

    def stop(self) -> None:
        """Ask the feed to end, and return at once."""

    def join(self, timeout_s: float) -> bool:
        """Wait for the end; False where the feed is still busy after that time."""


def _copy(counts: Mapping[str, int]) -> dict[str, int]:
    """A copy that survives another thread adding a key meanwhile."""
    while True:
        try:
            return dict(counts)
        except RuntimeError:
            continue
