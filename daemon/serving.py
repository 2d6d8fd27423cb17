"""What a watch does beside watching: signals, notices to a service manager, a log, and settings that are read again."""

from collections.abc import Callable, Sequence

import msgspec

from daemon import words
from daemon.clock import Clock
from daemon.config import Config
from daemon.errors import UserError
from daemon.feeds.face import Feed
from daemon.feeds.intake import Intake
from daemon.replaying import lookout_settings
from daemon.service import JournalSink, Notifier, Signals, Watchdog, log, set_up_log
from daemon.sinks.face import Sink
from daemon.stream import Stream

STATUS_EVERY_S = 10.0

APPLIED = ("alerts", "conditions", "condition")
"""Keys of the configuration that a reload puts in force; the others are in force from the next start on."""


class Service:
    """Called by the watch's loop once round. On a terminal only the signals and the log of it are in use."""

    def __init__(
        self, clock: Clock, intake: Intake, as_service: bool, load: Callable[[], Config], config: Config
    ) -> None:
        self._clock = clock
        self._load = load
        self._config = config
        self._notifier = Notifier.of_this_process()
        self._watchdog = Watchdog(self._notifier, clock, ("lines", "judgement"))
        self._signals = Signals(intake)
        self._signals.install()
        self._ready = False
        self._status_s = float("-inf")
        self.sinks: list[Sink] = [JournalSink()] if as_service else []
        set_up_log(clock, for_journal=as_service)

    def turn(self, stream: Stream, feeds: Sequence[Feed]) -> None:
        """The loop has taken lines and judged what was due: it is alive. Never called from anywhere else."""
        self._watchdog.beat("lines")
        self._watchdog.beat("judgement")
        if not self._ready:
            self._ready = True
            self._notifier.ready(_status(stream, feeds))
        self._watchdog.turn()
        if self._signals.take_reload():
            self._reload(stream, feeds)
        now_s = self._clock.mono_s()
        if now_s - self._status_s >= STATUS_EVERY_S:
            self._status_s = now_s
            self._notifier.status(_status(stream, feeds))

    def stopping(self) -> None:
        """The loop has ended."""
        self._notifier.stopping()

    def _reload(self, stream: Stream, feeds: Sequence[Feed]) -> None:
        """The configuration anew. One with a mistake is refused whole, and the old one stays in force."""
        self._notifier.reloading()
        try:
            config = self._load()
        except UserError as error:
            log.error(f"settings not taken, the old ones stay in force: {error}")
        else:
            if stream.moment is not None:
                stream.lookout.configure(stream.moment, lookout_settings(config))
            later = [
                name
                for name in msgspec.structs.asdict(config)
                if name not in APPLIED and getattr(config, name) != getattr(self._config, name)
            ]
            self._config = config
            tail = f"; from the next start on: {', '.join(later)}" if later else ""
            log.info(f"settings read again, condition {stream.lookout.condition!r} in force{tail}")
        self._notifier.ready(_status(stream, feeds))


def _status(stream: Stream, feeds: Sequence[Feed]) -> str:
    up = sum(feed.link.is_open for feed in feeds)
    targets = words.several(len(stream.lookout.judging.plots), "target")
    return f"{up} of {words.several(len(feeds), 'feed')} open, {targets}, condition {stream.lookout.condition}"
