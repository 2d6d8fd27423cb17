"""Where a survey's lines come from: recordings, or live feeds for a while."""

import sys
from collections.abc import Collection, Sequence

from daemon.clock import Clock
from daemon.errors import CANNOT_OPEN, UserError
from daemon.feeds.face import Counters
from daemon.feeds.intake import Intake
from daemon.feeds.opening import open_feed
from daemon.feeds.replay import Recording
from daemon.feeds.uri import FeedSpec
from daemon.service import Signals
from daemon.survey.survey import Report, Survey
from daemon.survey.tally import FeedTally
from daemon.timeline import LiveTimeline, RecordedTimeline

GIVE_UP_S = 5.0
"""A survey of feeds of which none has been opened by then ends: whoever waits for it looks at the cable meanwhile."""


def of_files(paths: Sequence[str], rate: float | None = None, require_checksum: bool = True) -> Report:
    """One survey over all the files, in the order given. `rate`: lines a second, where they hold no time."""
    survey = Survey(RecordedTimeline(rate), require_checksum)
    accounts: dict[str, Counters] = {}
    recordings = [Recording(path) for path in paths]
    for recording in recordings:
        for part in recording.parts():
            accounts |= recording.counters
            survey.take(part, recording.counters)
        for notice in recording.notices:
            print(f"secondplot survey: {notice}", file=sys.stderr)
    return survey.report(accounts, {})


def of_feeds(specs: Sequence[FeedSpec], seconds: float, clock: Clock, lenient: Collection[str] = ()) -> Report:
    """Listen for that long, or until a signal or the end of all feeds, whichever comes first.

    `lenient` names the feeds whose sentences need no checksum.
    Raises UserError where not one feed could ever be opened: a report would blame equipment that was never heard.
    """
    intake = Intake()
    Signals(intake).install()
    feeds = [open_feed(spec, intake, clock) for spec in specs]
    survey = Survey(LiveTimeline(clock.mono_s(), clock.utc_ms()))
    for spec in specs:
        survey.feeds[spec.name] = FeedTally(spec.name, spec.name not in lenient)
    accounts = {feed.name: feed.counters for feed in feeds}
    for feed in feeds:
        feed.start()
    began_s = clock.mono_s()
    end_s, give_up_s = began_s + seconds, began_s + GIVE_UP_S
    while not intake.stopped and clock.mono_s() < end_s:
        survey.take(intake.get(min(0.5, max(0.0, end_s - clock.mono_s()))), accounts)
        if all(feed.link.ended for feed in feeds) and not len(intake):
            break
        if clock.mono_s() >= give_up_s and not any(feed.counters.lines or feed.link.is_open for feed in feeds):
            break
    listened_s = clock.mono_s() - began_s
    opened = any(feed.link.is_open for feed in feeds)
    troubles = {feed.name: feed.link.trouble for feed in feeds if not feed.link.ended}
    intake.stop()
    for feed in feeds:
        feed.stop()
        feed.join(1.0)
    while arrivals := intake.get(0.0):
        survey.take(arrivals, accounts)
    if not opened and len(troubles) == len(feeds) and not any(one.lines for one in accounts.values()):
        raise UserError("\n".join(f"{name}: {trouble}" for name, trouble in troubles.items()), CANNOT_OPEN)
    return survey.report(accounts, troubles, listened_s)
