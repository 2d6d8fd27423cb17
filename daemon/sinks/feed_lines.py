"""Feeds as lines of text: a feed is spoken of when its state changes, unless it does so all the time.

A loose plug makes a line go and come every second; sixty lines a minute would push all else off the screen.
"""

from collections import Counter

from alerts.events import Feed
from daemon import words

MOST = 4
"""Changes of one feed in a period that are each told."""

FEEDS_MAX = 64


class FeedLines:
    """`say` for each event, `periodic` once a minute."""

    def __init__(self) -> None:
        self._states: dict[str, Feed] = {}
        self._changes: Counter[str] = Counter()  # since the last period
        self._restless: set[str] = set()

    def say(self, feed: Feed) -> str | None:
        """The line for it; None where nothing changed, or the feed comes and goes."""
        before, self._states[feed.name] = self._states.get(feed.name), feed
        if len(self._states) > FEEDS_MAX:
            del self._states[next(iter(self._states))]
        if before is not None and before.state is feed.state:
            return None
        self._changes[feed.name] += 1
        if feed.name in self._restless:
            return None
        if self._changes[feed.name] > MOST:
            self._restless.add(feed.name)
            return f"FEED {words.clean(feed.name, 40)} comes and goes: from now on told once a minute"
        return _line(feed)

    def periodic(self) -> list[str]:
        """How the restless ones fare. One that has kept its state through a whole period is told as any other."""
        lines = []
        for name in sorted(self._restless):
            feed, changes = self._states.get(name), self._changes[name]
            if changes:
                lines.append(f"FEED {words.clean(name, 40)} comes and goes: {changes} changes in the last minute")
            else:
                self._restless.discard(name)
                lines += [] if feed is None else [_line(feed)]
        self._changes.clear()
        return lines


def _line(feed: Feed) -> str:
    lost = f", {feed.dropped} lost" if feed.dropped else ""
    counts = f"{feed.lines} lines, {sum(feed.refused.values())} refused{lost}"
    return f"FEED {words.clean(feed.name, 40)} is {feed.state}: {counts}"
