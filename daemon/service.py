"""Life under a service manager: readiness and watchdog notices (sd_notify(3)), a log for the journal, signals.

Nothing here is needed to run on a terminal; without a manager every notice goes nowhere.
"""

import contextlib
import logging
import os
import re
import signal
import socket
import sys
from collections import OrderedDict
from collections.abc import Mapping, Sequence
from types import FrameType

from alerts.events import Alert, AnyEvent, Feed, Moment, Note
from alerts.plotting.terms import AlertState, FeedState, Priority
from daemon.clock import Clock, monotonic_us
from daemon.feeds.intake import Intake

log = logging.getLogger("secondplot")

# ------------------------------------------------------------------------------------------- notices


class Notifier:
    """Tells the service manager how we are: datagrams to NOTIFY_SOCKET; a leading @ means the abstract namespace.

    `watchdog_s` is how often the manager wants a sign of life, None where it wants none of this process.
    """

    def __init__(self, environment: Mapping[str, str], pid: int) -> None:
        self._address = environment.get("NOTIFY_SOCKET", "")
        self.watchdog_s: float | None = None
        microseconds = environment.get("WATCHDOG_USEC", "")
        is_ours = bool(self._address) and environment.get("WATCHDOG_PID") in (None, str(pid))
        if is_ours and microseconds.isdecimal() and int(microseconds) > 0:
            self.watchdog_s = int(microseconds) / 1_000_000

    @classmethod
    def of_this_process(cls) -> "Notifier":
        """The one that the manager asked for, if it did; its variables are not for our children."""
        notifier = cls(os.environ, os.getpid())
        for name in ("NOTIFY_SOCKET", "WATCHDOG_USEC", "WATCHDOG_PID"):
            os.environ.pop(name, None)
        return notifier

    def ready(self, status: str = "") -> None:
        """Feeds are started and the first turn of the loop is done; also after a reload."""
        self._send("READY=1", *_status(status))

    def status(self, text: str) -> None:
        """One line for a person, shown by `systemctl status`."""
        self._send(*_status(text))

    def reloading(self) -> None:
        """The configuration is being read again; ready() says when that is over."""
        self._send("RELOADING=1", f"MONOTONIC_USEC={monotonic_us()}")

    def stopping(self) -> None:
        """An orderly stop has begun."""
        self._send("STOPPING=1")

    def alive(self) -> None:
        """A sign of life. Only Watchdog calls this."""
        self._send("WATCHDOG=1")

    def _send(self, *assignments: str) -> None:
        if not self._address or not assignments:
            return
        address = "\0" + self._address[1:] if self._address.startswith("@") else self._address
        with contextlib.suppress(OSError), socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as sender:
            sender.setblocking(False)  # a manager that hangs must not hang us
            sender.sendto("\n".join(assignments).encode(), address)


def _status(text: str) -> tuple[str, ...]:
    return (f"STATUS={harmless(text)}",) if text else ()


class Watchdog:
    """Signs of life, sent by the loop that judges, and only while every stage has made progress.

    A timer thread would prove nothing. `beat` is called by each stage as its work is done, `turn` once round the loop.
    """

    def __init__(self, notifier: Notifier, clock: Clock, stages: Sequence[str]) -> None:
        self._notifier = notifier
        self._clock = clock
        now_s = clock.mono_s()
        self._last_s = dict.fromkeys(stages, now_s)
        self._pinged_s = float("-inf")

    def beat(self, stage: str) -> None:
        """This stage has done its work just now."""
        self._last_s[stage] = self._clock.mono_s()

    def turn(self) -> bool:
        """Send a sign of life when one is due (at half the interval, sd_watchdog_enabled(3)); True if it was sent."""
        interval_s = self._notifier.watchdog_s
        now_s = self._clock.mono_s()
        if interval_s is None or now_s - self._pinged_s < interval_s / 2:
            return False
        if any(now_s - last_s > interval_s for last_s in self._last_s.values()):
            return False
        self._pinged_s = now_s
        self._notifier.alive()
        return True


# ----------------------------------------------------------------------------------------------- log

_UNSAFE = re.compile("[\x00-\x1f\x7f-\x9f\u061c\u200b-\u200f\u2028-\u202e\u2060-\u2069\ufeff\ud800-\udfff]")
LONGEST = 2000


def harmless(text: str) -> str:
    """Text from anywhere as one line that no terminal obeys: controls and direction marks become their escapes."""
    escaped = _UNSAFE.sub(lambda found: f"\\x{ord(found[0]):02x}", text)
    return escaped if len(escaped) <= LONGEST else escaped[: LONGEST - 1] + "…"


_LEVELS = {logging.CRITICAL: 2, logging.ERROR: 3, logging.WARNING: 4, logging.INFO: 6, logging.DEBUG: 7}
NOTICE = 25
logging.addLevelName(NOTICE, "NOTICE")
_LEVELS[NOTICE] = 5


class JournalFormatter(logging.Formatter):
    """One line a message. For the journal with its level as `<n>` (sd-daemon(3)) and no time, which it has itself."""

    def __init__(self, for_journal: bool) -> None:
        super().__init__()
        self._for_journal = for_journal

    def format(self, record: logging.LogRecord) -> str:
        """The message with its fields behind it, as `key=value`."""
        fields: Mapping[str, object] = getattr(record, "fields", {})
        tail = "".join(f" {key}={_quoted(value)}" for key, value in fields.items() if value is not None)
        text = harmless(record.getMessage() + tail)
        return f"<{_LEVELS.get(record.levelno, 6)}>{text}" if self._for_journal else f"secondplot: {text}"


def _quoted(value: object) -> str:
    text = str(value)
    return f'"{text}"' if re.search(r'[\s"=]', text) else text


class RepeatFilter(logging.Filter):
    """At most MOST of the same message in PERIOD_S: a fault a thousand times a second must not fill the journal."""

    MOST = 5
    PERIOD_S = 60.0
    REMEMBERED = 256

    def __init__(self, clock: Clock) -> None:
        super().__init__()
        self._clock = clock
        self._seen: OrderedDict[str, tuple[float, int]] = OrderedDict()

    def filter(self, record: logging.LogRecord) -> bool:
        """Whether this one is written; the last that is says that more are held back."""
        now_s, key = self._clock.mono_s(), f"{record.levelno} {record.msg}"
        since_s, times = self._seen.pop(key, (now_s, 0))
        if now_s - since_s >= self.PERIOD_S:
            since_s, times = now_s, 0
        self._seen[key] = (since_s, times + 1)
        if len(self._seen) > self.REMEMBERED:
            self._seen.popitem(last=False)
        if times + 1 == self.MOST:
            record.msg = f"{record.msg} (more of the same are held back for {self.PERIOD_S:.0f} s)"
        return times < self.MOST


def set_up_log(clock: Clock, for_journal: bool, debug: bool = False) -> None:
    """All messages to stderr: the process does not route or rotate its log."""
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(JournalFormatter(for_journal))
    handler.addFilter(RepeatFilter(clock))
    log.handlers[:] = [handler]
    log.setLevel(logging.DEBUG if debug else logging.INFO)
    log.propagate = False


class JournalSink:
    """A sink (sinks/face.py) that logs what a person reads afterwards: alerts, feeds that come and go, notes."""

    name = "journal"
    trouble = ""
    lost = 0

    def take(self, moment: Moment, events: Sequence[AnyEvent]) -> None:
        """See Sink."""
        for event in events:
            if isinstance(event, Alert):
                fields = {"id": event.id, "rule": event.rule, "state": event.state.value, "target": event.target}
                self._say(_alert_level(event), event.text, moment, fields)
            elif isinstance(event, Feed):
                level = logging.INFO if event.state is FeedState.UP else logging.WARNING
                fields = {"feed": event.name, "lines": event.lines, "dropped": event.dropped}
                self._say(level, f"feed {event.name} is {event.state.value}", moment, fields)
            elif isinstance(event, Note):
                self._say(logging.INFO, f"note: {event.text}", moment, {"author": event.author})

    def idle(self, now_s: float) -> None:
        """See Sink."""

    def close(self) -> None:
        """See Sink."""

    def _say(self, level: int, text: str, moment: Moment, fields: Mapping[str, object]) -> None:
        log.log(level, text, extra={"fields": {**fields, "time": moment.time}})


def _alert_level(alert: Alert) -> int:
    if alert.state is not AlertState.ACTIVE_UNACKNOWLEDGED:
        return logging.INFO
    levels = {Priority.ALARM: logging.CRITICAL, Priority.WARNING: logging.WARNING, Priority.CAUTION: NOTICE}
    return levels[alert.priority]


# ------------------------------------------------------------------------------------------- signals


class Signals:
    """SIGTERM and SIGINT stop in order, a second one at once; SIGHUP asks for the configuration to be read again.

    A handler that only set a flag would leave the loop asleep until its time-out: each one wakes the intake.
    """

    def __init__(self, intake: Intake) -> None:
        self._intake = intake
        self._reload = False

    def install(self) -> None:
        """Call once, in the main thread."""
        signal.signal(signal.SIGTERM, self._stop)
        signal.signal(signal.SIGINT, self._stop)
        signal.signal(signal.SIGHUP, self._ask_reload)

    def take_reload(self) -> bool:
        """Whether a reload was asked for since the last call."""
        asked, self._reload = self._reload, False
        return asked

    def _stop(self, number: int, frame: FrameType | None) -> None:
        if self._intake.stopped:
            os._exit(128 + number)
        self._intake.stop()

    def _ask_reload(self, number: int, frame: FrameType | None) -> None:
        self._reload = True
        self._intake.wake()
