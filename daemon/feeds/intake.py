"""The one bounded queue between all feeds and the stream.

A live source cannot be made to wait: a full queue only moves the loss into the kernel, where nobody chooses what is
lost. So when the queue is full the oldest line of the least important kind goes, and is counted. Files and standard
input can wait, and do (`put_all(..., wait=True)`): they lose nothing.
"""

import threading
from collections import deque
from collections.abc import Sequence
from enum import IntEnum

from msgspec import structs

from daemon.feeds.face import UNTIMED, Arrival, Counters

CAPACITY = 8192
"""Lines. At the rated 1,240 lines a second it rides out a stall of 6 s; of 82 bytes each it is 2 MB (measured)."""

RESERVE_SHARE = 8
"""One line in eight is kept for what is scarce: a kind of line of one feed that holds no more than its even share of
them pays for no other's flood. Else a flood on one feed would silence the others, and under a long stall old target
lines would leave no room for the newest heading."""

GATHERED = 16
"""So many lines wake the taker whatever they are; fewer only if one of them may decide an alert. A heading does not: it
waits for the next target, or until the taker looks round. At a normal load a watch takes 4.3 % of a core in place of
5.15 % with a wake-up for every line (measured)."""


class Kind(IntEnum):
    """Kinds of line by importance, the least first. What is lost first is what comes again soonest or is not used."""

    UNUSED = 0  # not read, or not missed: depth, text
    AIS = 1
    OWN_SHIP = 2
    TARGETS = 3  # tracked targets, radar settings, commands to alerts
    # The kind is told from three letters, before any checking: a guess that costs no time.


_KINDS = {
    **dict.fromkeys((b"TTM", b"TLL", b"TTD", b"TLB", b"RSD", b"ACN", b"ACK"), Kind.TARGETS),
    **dict.fromkeys(
        (b"RMC", b"GGA", b"GLL", b"GNS", b"VTG", b"VHW", b"VBW", b"HDT", b"THS", b"HDG", b"HDM", b"ROT", b"ZDA"),
        Kind.OWN_SHIP,
    ),
    **dict.fromkeys((b"OSD", b"VDR", b"DTM", b"VDO"), Kind.OWN_SHIP),
    b"VDM": Kind.AIS,
}
DECIDING = frozenset((Kind.AIS, Kind.TARGETS))
"""What may decide an alert."""


def kind_of(line: bytes) -> Kind:
    """The kind of a line with or without TAG blocks, by its formatter."""
    start = line.rfind(b"\\") + 1 if line[:1] == b"\\" else 0
    return _KINDS.get(line[start + 3 : start + 6], Kind.UNUSED)


class _Lane:
    """Waiting lines of one feed and kind, the oldest first, each with its place in the order of arrival."""

    __slots__ = ("counters", "feed", "kind", "lines")

    def __init__(self, feed: str, kind: Kind, counters: Counters) -> None:
        self.feed = feed
        self.kind = kind
        self.counters = counters
        self.lines: deque[tuple[int, Arrival]] = deque()


class Intake:
    """Bounded; any number of threads put, one takes. Lines come out in the order in which they came in.

    Their dates do not run backwards: of two feeds that bring a line in the same moment, the one dated first may be put
    last, and is then dated like the other.
    """

    def __init__(self, capacity: int = CAPACITY) -> None:
        self._capacity = capacity
        self._lanes: dict[tuple[str, Kind], _Lane] = {}
        self._size = 0
        self._order = 0
        self._latest_s: float = UNTIMED
        lock = threading.RLock()  # re-entrant: a signal handler may wake() while its own thread holds it
        self._changed = threading.Condition(lock)
        self._room = threading.Condition(lock)
        self._awake = False  # there is something to take, or to look after, at once
        self._stopped = False
        self.peak = 0

    def put_all(self, arrivals: Sequence[Arrival], counters: Counters, wait: bool = False) -> None:
        """Put lines of one feed, in order. With `wait`, pause while there is no room, until stopped."""
        is_due = wait
        with self._changed:
            for arrival in arrivals:
                if wait:
                    self._wait_for_room()
                counters.lines += 1
                counters.waiting += 1
                is_due |= self._append(arrival, counters) in DECIDING
                if self._size > self._capacity:
                    self._drop_one()
            self.peak = max(self.peak, self._size)
            if is_due or self._size >= GATHERED:
                self._rouse()

    def get(self, timeout_s: float, limit: int = 512) -> list[Arrival]:
        """Up to `limit` lines, oldest first: at once if one may decide an alert or there are many, or when woken or
        stopped; else, and perhaps empty, after the time-out."""
        with self._changed:
            if not self._awake and not self._stopped:
                self._changed.wait(timeout_s)
            taken = self._take(limit)
            self._awake = self._size > 0
            self._room.notify_all()
            return taken

    def wake(self) -> None:
        """Let the taker return at once. Safe in a signal handler: the lock may be taken again by its own thread."""
        with self._changed:
            self._rouse()

    def stop(self) -> None:
        """No more waiting, for anybody. Lines that wait can still be taken."""
        with self._changed:
            self._stopped = True
            self._changed.notify_all()
            self._room.notify_all()

    def reached(self, now_s: float) -> float:
        """How far time may pass at `now_s`: not beyond a line that waits. None is dated earlier that comes later."""
        with self._changed:
            oldest = min((lane.lines[0] for lane in self._lanes.values() if lane.lines), default=None)
            if oldest is not None:
                return min(now_s, oldest[1].mono_s)
            self._latest_s = max(self._latest_s, now_s)
            return now_s

    @property
    def stopped(self) -> bool:
        """Whether stop() was called."""
        return self._stopped

    def __len__(self) -> int:
        return self._size

    def _rouse(self) -> None:
        self._awake = True
        self._changed.notify_all()

    def _wait_for_room(self) -> None:
        while self._size >= self._capacity and not self._stopped:
            self._rouse()
            self._room.wait(0.5)

    def _append(self, arrival: Arrival, counters: Counters) -> Kind:
        """Put one line into its lane; of what kind it is."""
        key = (arrival.feed, kind_of(arrival.line))
        lane = self._lanes.get(key)
        if lane is None:
            lane = self._lanes[key] = _Lane(*key, counters)
        if arrival.mono_s < self._latest_s:
            late_ms = round((self._latest_s - arrival.mono_s) * 1000)
            arrival = structs.replace(arrival, mono_s=self._latest_s, utc_ms=arrival.utc_ms + late_ms)
        self._latest_s = arrival.mono_s
        lane.lines.append((self._order, arrival))
        self._order += 1
        self._size += 1
        return lane.kind

    def _drop_one(self) -> None:
        """The oldest of the least important kind, but from no lane that keeps within its reserve."""
        reserve = self._capacity // (RESERVE_SHARE * len(self._lanes))
        lanes = [lane for lane in self._lanes.values() if len(lane.lines) > (reserve if lane.kind else 0)]
        kind = min(lane.kind for lane in lanes)
        victim = min((lane for lane in lanes if lane.kind is kind), key=lambda lane: lane.lines[0][0])
        victim.lines.popleft()
        victim.counters.waiting -= 1
        victim.counters.dropped[kind.name.lower().replace("_", " ")] += 1
        self._size -= 1

    def _take(self, limit: int) -> list[Arrival]:
        taken: list[Arrival] = []
        while self._size and len(taken) < limit:
            busy = [lane for lane in self._lanes.values() if lane.lines]
            first, *others = sorted(busy, key=lambda lane: lane.lines[0][0])
            until = others[0].lines[0][0] if others else self._order
            while first.lines and first.lines[0][0] < until and len(taken) < limit:
                taken.append(first.lines.popleft()[1])
                first.counters.waiting -= 1
                first.counters.taken += 1
                self._size -= 1
        return taken
