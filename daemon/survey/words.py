"""A survey's report as text for a person."""

from collections.abc import Iterator

from daemon import words
from daemon.service import harmless
from daemon.survey.findings import Grade
from daemon.survey.survey import FeedReport, Report

_HEADINGS = {
    Grade.CAN: "What can be worked out",
    Grade.LIMITED: "What can be worked out less well than it could",
    Grade.CANNOT: "What cannot be worked out",
    Grade.FAULT: "What is wrong",
}


def text_of(report: Report) -> str:
    """The whole report. Text from the wire in it is harmless."""
    return "\n".join(_all(report)) + "\n"


def _all(report: Report) -> Iterator[str]:
    yield f"Survey of {words.several(len(report.feeds), 'feed')} over {_time(report.seconds)}"
    for feed in report.feeds:
        yield ""
        yield from _feed(feed)
    if report.sources:
        yield ""
        yield "Sources"
    for source in report.sources:
        yield (
            f"  {source.quantity:33} {harmless(source.source):24} {source.count:>8}  {_rate(source.rate_hz):>9}"
            f"  longest gap {source.longest_gap_s:.1f} s"
        )
    for grade, heading in _HEADINGS.items():
        found = [finding for finding in report.findings if finding.grade is grade]
        if found:
            yield ""
            yield heading
        for finding in found:
            yield f"  {harmless(finding.subject)}: {harmless(finding.text)}"
            if finding.mend:
                yield f"      to mend it: {finding.mend}"


def _feed(feed: FeedReport) -> Iterator[str]:
    yield f"Feed {harmless(feed.name)}: {feed.lines} lines, {feed.accepted} accepted" + (
        f" ({harmless(feed.trouble)})" if feed.trouble else ""
    )
    if feed.talkers:
        yield "  talkers: " + ", ".join(f"{harmless(talker)} {count}" for talker, count in feed.talkers.items())
    for sentence in feed.sentences:
        yield (
            f"  {harmless(sentence.address):8} {sentence.meaning:38} {sentence.count:>8}  {_rate(sentence.rate_hz):>9}"
            f"  longest gap {sentence.longest_gap_s:.1f} s"
        )
    for reason, count in feed.refused.items():
        yield f"  refused, {reason}: {count}"
        for example in feed.examples.get(reason, []):
            yield f"      {harmless(example)}"
    for oddity, count in feed.oddities.items():
        yield f"  odd, but taken, {harmless(oddity)}: {count}"
    for since_s, seconds in feed.gaps:
        yield f"  no line for {_time(seconds)}, from {_time(since_s)} after the start"
    if feed.gaps_not_listed:
        yield f"  and {feed.gaps_not_listed} more such gaps"


def _rate(rate_hz: float | None) -> str:
    if rate_hz is None:
        return ""
    return f"{rate_hz:.1f}/s" if rate_hz >= 0.95 else f"{rate_hz * 60:.1f}/min"


def _time(seconds: float) -> str:
    if seconds < 120:
        return f"{seconds:.0f} s"
    return f"{seconds / 60:.0f} min" if seconds < 7200 else f"{seconds / 3600:.1f} h"
