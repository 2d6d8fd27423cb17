"""A command of the user's own: the alert as JSON on its standard input."""

from collections import deque
from collections.abc import Callable, Sequence

import msgspec

from alerts import events
from alerts.annunciators import processes
from alerts.annunciators.face import Telling
from alerts.annunciators.settings import Command as CommandSettings
from alerts.notices import Notice, Why

TOLD = frozenset(Why) - {Why.REPEATED, Why.REQUESTED}
MOST_HELD = 100
"""Alerts held back by the rate limit; the oldest is dropped and counted."""


class Command:
    """Starts the command once for each telling but repeats, at most so often a minute; the rest waits its turn.

    `now_s` gives a monotonic time.
    """

    name = "command"

    def __init__(self, settings: CommandSettings, now_s: Callable[[], float]) -> None:
        self._settings = settings
        self._now_s = now_s
        self._held: deque[Notice] = deque()
        self._starts: deque[float] = deque()
        self.dropped = 0

    def tell(self, batch: Sequence[Telling]) -> bool:
        for notice in batch:
            if isinstance(notice, Notice) and self._is_for(notice):
                if len(self._held) >= MOST_HELD:
                    self._held.popleft()
                    self.dropped += 1
                self._held.append(notice)
        return self._run_held()

    def idle(self, now_s: float) -> None:
        self._run_held()

    def close(self) -> None:
        """What is still held back is not told any more."""
        self._held.clear()

    def _is_for(self, notice: Notice) -> bool:
        return notice.is_test or (notice.alert.priority in self._settings.priorities and notice.why in TOLD)

    def _run_held(self) -> bool:
        """Start it for those that wait, as long as it may be started; answers whether it was."""
        started = False
        while self._held and self._may_start():
            self._starts.append(self._now_s())
            notice = self._held.popleft()
            processes.run(self._settings.argv, self._settings.time_limit_s, self._json(notice))
            started = True
        return started

    def _may_start(self) -> bool:
        now_s = self._now_s()
        while self._starts and now_s - self._starts[0] >= 60:
            self._starts.popleft()
        return len(self._starts) < self._settings.per_minute

    def _json(self, notice: Notice) -> bytes:
        """The alert as in the event stream, with why it is told."""
        alert = events.encoder.encode(notice.alert)
        extra = {
            "why": str(notice.why),
            "escalation": notice.escalation,
            "is_test": notice.is_test,
            "held_back": len(self._held),
            "dropped": self.dropped,
        }
        return alert[:-1] + b"," + msgspec.json.encode(extra)[1:] + b"\n"
