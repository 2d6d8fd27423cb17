"""The survey itself: lines in, one report out. Live feeds and recordings differ only in what calls it."""

from collections import Counter
from collections.abc import Mapping, Sequence

from msgspec import Struct

from daemon.feeds.duplicates import Duplicates
from daemon.feeds.face import Arrival, Counters
from daemon.survey.compare import Comparison, Comparisons
from daemon.survey.findings import Finding, findings
from daemon.survey.tally import FeedTally, Sources, meaning
from daemon.timeline import Timeline
from parsers.observations import DateAndTime
from parsers.sentence import Refusal
from parsers.tag import untag

MOST_FEEDS = 64


class SentenceReport(Struct, frozen=True, kw_only=True):
    """One address on one feed."""

    address: str
    meaning: str
    used: bool
    count: int
    rate_hz: float | None
    longest_gap_s: float


class FeedReport(Struct, frozen=True, kw_only=True):
    """One feed. `gaps` are times without any line: when, in seconds from the start, and for how long."""

    name: str
    seconds: float
    lines: int
    accepted: int
    refused: dict[str, int]
    examples: dict[str, list[str]]
    oddities: dict[str, int]
    duplicates: int
    sentences: list[SentenceReport]
    talkers: dict[str, int]
    gaps: list[tuple[float, float]]
    gaps_not_listed: int
    account: dict[str, int | dict[str, int]]
    trouble: str


class SourceReport(Struct, frozen=True, kw_only=True):
    """One source of one quantity."""

    quantity: str
    source: str
    count: int
    rate_hz: float | None
    longest_gap_s: float


class Report(Struct, frozen=True, kw_only=True):
    """What a survey found. `clock_offset_s`: what instruments say less what the lines' own times say, in the median."""

    seconds: float
    feeds: list[FeedReport]
    sources: list[SourceReport]
    comparisons: list[Comparison]
    targets: int
    target_interval_s: float | None
    clock_offset_s: float | None
    findings: list[Finding]


class Survey:
    """Takes lines and remembers what they were; nothing is judged before the end."""

    def __init__(self, timeline: Timeline, require_checksum: bool = True) -> None:
        self._timeline = timeline
        self._require_checksum = require_checksum
        self.feeds: dict[str, FeedTally] = {}
        self.sources = Sources()
        self.comparisons = Comparisons()
        self._duplicates = Duplicates()
        self._copies: Counter[str] = Counter()
        self._offsets_s: list[float] = []
        self._first_s: float | None = None
        self._last_s = 0.0

    def take(self, arrivals: Sequence[Arrival], accounts: Mapping[str, Counters]) -> None:
        """Lines in the order of their arrival; each is counted in its feed's account as accepted or refused."""
        for arrival in arrivals:
            account = accounts.get(arrival.feed)
            refusal = self._take(arrival)
            if account is not None and refusal is None:
                account.accept()
            elif account is not None and refusal is not None:
                account.refuse(refusal.reason)

    def _take(self, arrival: Arrival) -> Refusal | None:
        name = arrival.feed if arrival.feed in self.feeds or len(self.feeds) < MOST_FEEDS else "others"
        feed = self.feeds.get(name) or self.feeds.setdefault(name, FeedTally(name, self._require_checksum))
        tagged = arrival.tagged or untag(arrival.line)
        if isinstance(tagged, Refusal):
            feed.refuse(tagged.reason, tagged.detail, arrival)
            return tagged
        moment = self._timeline.moment(arrival, tagged)
        at_s = moment.at_s
        self._first_s = at_s if self._first_s is None else self._first_s
        self._last_s = at_s
        feed.hear(at_s)
        decoded = feed.decoder.decode(tagged, at_s)
        if decoded.refusal is not None:
            feed.refuse(decoded.refusal.reason, decoded.refusal.detail, arrival)
            return decoded.refusal
        feed.accept(tagged, at_s)
        if len(self.feeds) > 1 and self._duplicates.is_duplicate(name, tagged.text, at_s):
            self._copies[name] += 1
        self._timeline.learn(decoded.observations)
        for observation in decoded.observations:
            self.sources.see(observation)
            self.comparisons.see(observation)
            if isinstance(observation, DateAndTime) and len(self._offsets_s) < 5000 and moment.time.utc_ms > 0:
                self._offsets_s.append((observation.utc_ms - moment.time.utc_ms) / 1000)
        return None

    def report(
        self, accounts: Mapping[str, Counters], troubles: Mapping[str, str], listened_s: float | None = None
    ) -> Report:
        """The end: everything in order, and what follows from it. `listened_s`: how long live feeds were heard."""
        begun_s = self._first_s or 0.0
        for name in accounts:
            self.feeds.setdefault(name, FeedTally(name, self._require_checksum))
        feeds = [
            self._feed_report(feed, accounts.get(name, Counters()), troubles.get(name, ""), begun_s)
            for name, feed in sorted(self.feeds.items())
        ]
        offsets = sorted(self._offsets_s)
        offset_s = offsets[len(offsets) // 2] if offsets else None
        comparisons = self.comparisons.results()
        return Report(
            seconds=self._last_s - begun_s if listened_s is None else listened_s,
            feeds=feeds,
            sources=[
                SourceReport(
                    quantity=quantity,
                    source=source,
                    count=rhythm.count,
                    rate_hz=rhythm.rate_hz,
                    longest_gap_s=rhythm.longest_gap_s,
                )
                for (quantity, source), rhythm in sorted(self.sources.rhythms.items())
            ],
            comparisons=comparisons,
            targets=self.sources.targets.numbers,
            target_interval_s=self.sources.targets.interval_s,
            clock_offset_s=offset_s,
            findings=findings(self, comparisons, accounts, troubles, offset_s),
        )

    def copies(self, name: str) -> int:
        """How many lines of a feed were copies of another's."""
        return self._copies[name]

    def _feed_report(self, feed: FeedTally, account: Counters, trouble: str, begun_s: float) -> FeedReport:
        sentences = [
            SentenceReport(
                address=address,
                meaning=meaning(address)[0],
                used=meaning(address)[1],
                count=rhythm.count,
                rate_hz=rhythm.rate_hz,
                longest_gap_s=rhythm.longest_gap_s,
            )
            for address, rhythm in sorted(feed.addresses.items(), key=lambda pair: (-pair[1].count, pair[0]))
        ]
        return FeedReport(
            name=feed.name,
            seconds=feed.lines.last_s - feed.lines.first_s,
            lines=feed.accepted + feed.refused.total(),
            accepted=feed.accepted,
            refused=dict(feed.refused.most_common()),
            examples=feed.examples,
            oddities=dict(feed.decoder.oddities.most_common(20)),
            duplicates=self._copies[feed.name],
            sentences=sentences,
            talkers=dict(feed.talkers.most_common()),
            gaps=[(since_s - begun_s, seconds) for since_s, seconds in feed.gaps],
            gaps_not_listed=feed.gaps_beyond,
            account=account.snapshot(),
            trouble=trouble,
        )
