"""What instruments claim of date and time, held against seconds that never jump.

A receiver's claim is late by its queue and its line, up to a second or two, and may be plain wrong: after a restart, by
1,024 weeks, by the leap seconds that it has not heard of yet. So a claim is never subtracted from another kind of time;
it is only looked at whether one source's claims go on as the seconds do.
"""

from collections import OrderedDict

from msgspec import Struct

STEP_MS = 3000
"""Claims of one source that leap by more than this against the seconds have jumped; less is queues and leap seconds."""

AGREEING = 3
"""So many claims in a row must go on as the seconds do before a source is believed."""

MOST_SOURCES = 16
WEEKS_MS = 1024 * 7 * 86_400_000
EARLIEST_MS = 1_767_225_600_000
"""The first of January 2026: no live instrument is before this program. An earlier date is of a receiver whose week
number has rolled over (GPS has ten bits for it); it is put right by 1,024 weeks, and if that does not help, refused."""


class _Claim(Struct, frozen=True, gc=False):
    utc_ms: int
    at_ms: int
    agreeing: int


class InstrumentTime:
    """Believes a source after AGREEING claims; tells steps. Bounded."""

    def __init__(self) -> None:
        self._claims: OrderedDict[str, _Claim] = OrderedDict()

    def see(self, source: str, utc_ms: int, at_s: float) -> float | None:
        """One claim at the stream's seconds; by how many seconds this source's time has stepped, None if it did not."""
        corrected = self._corrected(utc_ms)
        at_ms = round(at_s * 1000)
        last = self._claims.pop(source, None)
        step_ms = 0 if last is None else (corrected - last.utc_ms) - (at_ms - last.at_ms)
        stepped = abs(step_ms) > STEP_MS
        agreeing = 1 if last is None or stepped else min(AGREEING, last.agreeing + 1)
        self._claims[source] = _Claim(corrected, at_ms, agreeing)
        if len(self._claims) > MOST_SOURCES:
            self._claims.popitem(last=False)
        return step_ms / 1000.0 if stepped else None

    def offset_ms(self, at_s: float) -> int | None:
        """UTC less the stream's time in ms, by the best source that is believed and fresh; None without one.

        The greatest is the best: a claim can be late, and never early.
        """
        fresh = [
            claim.utc_ms - claim.at_ms
            for claim in self._claims.values()
            if claim.agreeing >= AGREEING and claim.utc_ms >= EARLIEST_MS and at_s * 1000 - claim.at_ms < 10_000
        ]
        return max(fresh, default=None)

    def _corrected(self, utc_ms: int) -> int:
        """A date before this program is moved on by 1,024 weeks, where that makes it a possible one."""
        corrected = utc_ms
        while corrected < EARLIEST_MS:
            corrected += WEEKS_MS
        is_near = corrected < EARLIEST_MS + WEEKS_MS
        if corrected != utc_ms and is_near and corrected - utc_ms <= 2 * WEEKS_MS:
            return corrected
        return utc_ms
