"""What a survey counts, all of it bounded: sentence types, talkers, refusals with examples, sources, gaps, targets."""

from collections import Counter
from statistics import median

from daemon.feeds.face import Arrival
from parsers.decode import SENTENCES, Decoder
from parsers.observations import (
    AisOwnShip,
    AisPosition,
    AisStatic,
    DateAndTime,
    Depth,
    GroundMotion,
    Heading,
    LongitudinalGroundSpeed,
    Observation,
    Position,
    RadarSettings,
    RateOfTurn,
    Reference,
    SetAndDrift,
    Source,
    TargetPosition,
    TargetReport,
    TimeOfDay,
    Variation,
    WaterMotion,
)
from parsers.sentence import shown, split_address
from parsers.tag import Tagged

MOST_ADDRESSES = 256
MOST_SOURCES = 256
MOST_TARGETS = 1024
MOST_INTERVALS = 5000
EXAMPLES = 3
MOST_GAPS = 10
GAP_S = 10.0
"""No line at all for this long is a gap worth telling: ten times the usual pace of the slowest sensors."""

OTHERS = "others"


class Rhythm:
    """How often something came: its number, its span, and its longest pause."""

    __slots__ = ("count", "first_s", "last_s", "longest_gap_s")

    def __init__(self) -> None:
        self.count = 0
        self.first_s = self.last_s = 0.0
        self.longest_gap_s = 0.0

    def beat(self, at_s: float) -> None:
        """It came again."""
        if self.count == 0:
            self.first_s = at_s
        else:
            self.longest_gap_s = max(self.longest_gap_s, at_s - self.last_s)
        self.count += 1
        self.last_s = at_s

    @property
    def rate_hz(self) -> float | None:
        """Times a second, None where that cannot be told."""
        span_s = self.last_s - self.first_s
        return (self.count - 1) / span_s if self.count > 1 and span_s > 0 else None


class FeedTally:
    """One feed: what came by it, and what was wrong with it."""

    def __init__(self, name: str, require_checksum: bool = True) -> None:
        self.name = name
        self.decoder = Decoder(name, require_checksum)
        self.lines = Rhythm()
        self.addresses: dict[str, Rhythm] = {}
        self.talkers: Counter[str] = Counter()
        self.accepted = 0
        self.refused: Counter[str] = Counter()
        self.examples: dict[str, list[str]] = {}
        self.gaps: list[tuple[float, float]] = []
        self.gaps_beyond = 0

    def hear(self, at_s: float) -> None:
        """A line came, whatever it holds."""
        if self.lines.count and at_s - self.lines.last_s > GAP_S:
            if len(self.gaps) < MOST_GAPS:
                self.gaps.append((self.lines.last_s, at_s - self.lines.last_s))
            else:
                self.gaps_beyond += 1
        self.lines.beat(at_s)

    def refuse(self, reason: str, detail: str, arrival: Arrival) -> None:
        """Count a refusal, and keep the first few lines of its kind, made harmless."""
        self.refused[reason] += 1
        examples = self.examples.setdefault(reason, [])
        if len(examples) < EXAMPLES:
            line = ascii(arrival.line.decode("latin-1"))[1:-1]
            examples.append(f"{line[:100]}{'…' if len(line) > 100 else ''}  ({detail})")

    def accept(self, tagged: Tagged, at_s: float) -> None:
        """Count a sentence under its address."""
        self.accepted += 1
        address = tagged.text[1:].partition(",")[0].partition("*")[0]
        parts = split_address(address)
        if parts is None:
            return
        key = address if address in self.addresses or len(self.addresses) < MOST_ADDRESSES else OTHERS
        self.addresses.setdefault(key, Rhythm()).beat(at_s)
        talker = parts[0] if parts[0] in self.talkers or len(self.talkers) < MOST_ADDRESSES else OTHERS
        self.talkers[talker] += 1


def meaning(address: str) -> tuple[str, bool]:
    """What an address means, and whether the program reads it."""
    parts = split_address(address)
    if parts is None:
        return "several", False
    known = SENTENCES.get(parts[1]) if parts[0] != "P" else None
    return (known.meaning, True) if known else ("proprietary" if parts[0] == "P" else "not used", False)


class Targets:
    """Tracked targets by number: how many, how often, and what their reports leave out."""

    def __init__(self) -> None:
        self.reports = 0
        self.relative = 0
        self.without_range = 0
        self.with_cpa = 0
        self._last_s: dict[tuple[str, int], float] = {}
        self._intervals: list[float] = []

    def see(self, report: TargetReport) -> None:
        """One TTM, or one target of a TTD."""
        self.reports += 1
        self.relative += report.bearing_reference is Reference.RELATIVE
        self.without_range += report.range_nm is None or report.bearing_deg is None
        self.with_cpa += report.cpa_nm is not None
        key = (report.source.feed, report.number)
        last_s = self._last_s.get(key)
        if last_s is not None and len(self._intervals) < MOST_INTERVALS:
            self._intervals.append(report.at_s - last_s)
        if last_s is not None or len(self._last_s) < MOST_TARGETS:
            self._last_s[key] = report.at_s

    @property
    def numbers(self) -> int:
        """Different numbers, of all feeds."""
        return len(self._last_s)

    @property
    def interval_s(self) -> float | None:
        """Median time between two reports of one target."""
        return median(self._intervals) if self._intervals else None


class Sources:
    """Which source gives which quantity, and how often."""

    def __init__(self) -> None:
        self.rhythms: dict[tuple[str, str], Rhythm] = {}
        self.targets = Targets()

    def see(self, observation: Observation) -> None:
        """One observation, under its quantity and its source."""
        if isinstance(observation, TargetReport):
            self.targets.see(observation)
        quantity = quantity_of(observation)
        if quantity is not None:
            self._beat(quantity, observation)
        if isinstance(observation, Heading) and observation.variation_deg is not None:
            self._beat("variation", observation)

    def _beat(self, quantity: str, observation: Observation) -> None:
        key = (quantity, _named(observation.source))
        if key in self.rhythms or len(self.rhythms) < MOST_SOURCES:
            self.rhythms.setdefault(key, Rhythm()).beat(observation.at_s)

    def of(self, quantity: str) -> list[str]:
        """The sources of a quantity, the busiest first."""
        found = [(rhythm.count, source) for (kind, source), rhythm in self.rhythms.items() if kind == quantity]
        return [source for _, source in sorted(found, key=lambda pair: (-pair[0], pair[1]))]

    def rate_hz(self, quantity: str) -> float | None:
        """The rate of the busiest source of a quantity."""
        rates = [rhythm.rate_hz for (kind, _), rhythm in self.rhythms.items() if kind == quantity]
        return max((rate for rate in rates if rate is not None), default=None)


def _named(source: Source) -> str:
    return shown(str(source))[1:-1]


_QUANTITIES: dict[type[Observation], str] = {
    Variation: "variation",
    Position: "position",
    LongitudinalGroundSpeed: "speed over ground along the keel",
    WaterMotion: "speed through the water",
    RateOfTurn: "rate of turn",
    SetAndDrift: "set and drift",
    DateAndTime: "date and time",
    TimeOfDay: "time of day",
    Depth: "depth",
    TargetReport: "tracked targets",
    TargetPosition: "target positions",
    RadarSettings: "radar settings",
    AisPosition: "AIS positions",
    AisStatic: "AIS names",
    AisOwnShip: "own MMSI",
}


def quantity_of(observation: Observation) -> str | None:
    """The quantity's name in a survey; None for what a survey does not tell apart."""
    if isinstance(observation, Heading):
        return "magnetic heading" if observation.reference is Reference.MAGNETIC else "true heading"
    if isinstance(observation, GroundMotion):
        return "speed over ground" if observation.cog_deg is None else "course and speed over ground"
    return _QUANTITIES.get(type(observation))
