"""Which sensor to believe: one quantity, several sources, each with a rank."""

from typing import Generic, TypeVar

from parsers.observations import Source

Value = TypeVar("Value")

MOST_SOURCES = 16
"""Sources remembered for one quantity. A vessel has a handful; more is a flood, and the stalest gives way."""


class Reading(Generic[Value]):
    """The latest value of one source."""

    __slots__ = ("at_s", "rank", "since_s", "value")

    def __init__(self, at_s: float, rank: int, value: Value) -> None:
        self.at_s = at_s
        self.since_s = at_s  # unbroken since
        self.rank = rank
        self.value = value


class Choice(Generic[Value]):
    """The source in use for one quantity, chosen by rank (lower is better) and freshness.

    A better source takes over once it has been there unbroken for `return_s`, so that one that comes and goes does
    not make the picture jump. A source that has been silent for `fallback_s` gives way to the best fresh one.
    """

    def __init__(self, fallback_s: float, return_s: float = 10.0) -> None:
        self.fallback_s = fallback_s
        self.return_s = return_s
        self.source: Source | None = None
        self.reading: Reading[Value] | None = None
        self._readings: dict[Source, Reading[Value]] = {}

    def take(self, at_s: float, source: Source, rank: int, value: Value) -> bool:
        """Takes a new value in. True where its source is the one in use."""
        reading = self._remember(at_s, source, rank, value)
        if reading is self.reading:
            return True
        if self.reading is None or self._gives_way_to(reading, at_s):
            self.source, self.reading = source, reading
            return True
        return False

    def value(self, at_s: float, max_age_s: float) -> Value | None:
        """The value in use, or None where none is fresh enough."""
        reading = self.reading
        if reading is None:
            return None
        if at_s - reading.at_s > self.fallback_s:
            reading = self._fall_back(at_s, reading)
        return None if at_s - reading.at_s > max_age_s else reading.value

    def age_s(self, at_s: float) -> float | None:
        return None if self.reading is None else max(0.0, at_s - self.reading.at_s)

    def _remember(self, at_s: float, source: Source, rank: int, value: Value) -> Reading[Value]:
        reading = self._readings.get(source)
        if reading is None:
            if len(self._readings) >= MOST_SOURCES:
                stalest = min((s for s in self._readings if s != self.source), key=lambda s: self._readings[s].at_s)
                del self._readings[stalest]
            reading = self._readings[source] = Reading(at_s, rank, value)
        if at_s - reading.at_s > self.fallback_s:
            reading.since_s = at_s
        reading.at_s, reading.rank, reading.value = at_s, rank, value
        return reading

    def _gives_way_to(self, other: Reading[Value], at_s: float) -> bool:
        assert self.reading is not None
        if at_s - self.reading.at_s > self.fallback_s:
            return True
        return other.rank < self.reading.rank and at_s - other.since_s >= self.return_s

    def _fall_back(self, at_s: float, silent: Reading[Value]) -> Reading[Value]:
        """The best fresh source takes the silent one's place, where there is one."""
        fresh = [item for item in self._readings.items() if at_s - item[1].at_s <= self.fallback_s]
        if not fresh:
            return silent
        self.source, self.reading = min(fresh, key=lambda item: (item[1].rank, item[0]))
        return self.reading
