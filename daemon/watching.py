"""A live watch: feeds on threads of their own, one queue, one loop that takes from it and never waits on anything else.

Signals wake the queue. The first SIGTERM or SIGINT ends the watch in order, a second one at once.
"""

import argparse
import queue
import sys
from collections.abc import Sequence
from contextlib import closing
from functools import partial
from pathlib import Path

from alerts.lookout import Lookout
from alerts.waiting import our_note
from daemon import outputs, status, telling
from daemon.clock import Clock, HostClock
from daemon.commands import shared
from daemon.config import Config, FeedSettings, LabelsFrom, archive_path, feed_specs, load
from daemon.control import ControlServer, Pending, Request
from daemon.errors import UserError
from daemon.feeds.face import Feed
from daemon.feeds.intake import Intake
from daemon.feeds.opening import open_feed
from daemon.feeds.uri import FeedSpec, FeedTime
from daemon.replaying import lookout_settings
from daemon.serving import Service
from daemon.sinks.face import Sink
from daemon.sinks.recorder import Recorder
from daemon.stream import FeedLine, Stream
from daemon.timeline import LiveTimeline, TaggedTimeline
from parsers.decode import Decoder

LOOK_ROUND_S = 0.2
"""Time passes, sinks flush and links are looked at this often."""

Requests = queue.SimpleQueue[Request | Pending]
"""What keys ask, and what the control socket asks and waits for."""

LAST_LINES_S = 1.0
"""What is still waiting at the end is taken in, for at most this long."""

LAST_WORDS_S = 0.2
"""Feeds have this long to hand over what they hold. One that is just calling a host is not waited for."""


def watch(args: argparse.Namespace) -> int:
    """The command, from its arguments to its exit code."""
    outputs.palette_of(args)
    config = load(args.config, shared.overrides(args))
    specs = feed_specs(args.feed, config, args.config)
    clock = HostClock()
    intake = Intake()
    requests: Requests = queue.SimpleQueue()

    def ask(request: Request | Pending) -> None:
        requests.put(request)
        intake.wake()

    # First of all: one that runs already under this name is told before its archive and its lines are touched.
    with closing(ControlServer(args.name, ask)):
        archive = _archive(args, config)
        sinks = outputs.files(args, clock, "watch", "\n".join(spec.uri for spec in specs), config, archive)
        if not args.service:
            sinks += outputs.console(args, config, ask, 1.0, patient=False)
        service = Service(clock, intake, args.service, partial(load, args.config, shared.overrides(args)), config)
        sinks += service.sinks
        feeds = [open_feed(spec, intake, clock) for spec in specs]
        recorder = Recorder(args.record, clock) if args.record else None
        watching = Watch(config, specs, feeds, sinks, intake, clock, requests, recorder)
        watching.name, watching.service = args.name, service
        shows_alerts = not (args.quiet or args.service or args.events == "-")
        watching.stream.desk = telling.open_desk(config.annunciators, clock, sys.stderr, console_is_open=shows_alerts)
        return watching.run()


class Watch:
    """The loop and what it holds."""

    name = "watch"
    service: Service | None = None

    def __init__(
        self,
        config: Config,
        specs: Sequence[FeedSpec],
        feeds: Sequence[Feed],
        sinks: Sequence[Sink],
        intake: Intake,
        clock: Clock,
        requests: Requests,
        recorder: Recorder | None = None,
    ) -> None:
        self.feeds = feeds
        self.intake = intake
        self.clock = clock
        self.requests = requests
        self.recorder = recorder
        by_tag = {spec.time is FeedTime.TAG for spec in specs}
        if len(by_tag) > 1:
            raise UserError("time=tag must be given for all feeds or for none: a watch has one clock")
        by_instruments = config.clock.labels_from is LabelsFrom.INSTRUMENTS
        live = LiveTimeline(clock.mono_s(), clock.utc_ms(), by_instruments)
        self.timeline = TaggedTimeline() if True in by_tag else live
        lines = [
            FeedLine(
                name=feed.name,
                decoder=Decoder(feed.name, _settings(config, feed.name).checksum),
                counters=feed.counters,
                silent_after_s=_settings(config, feed.name).silent_after_s,
            )
            for feed in feeds
        ]
        self.stream = Stream(Lookout(lookout_settings(config)), sinks, lines, self.timeline, recorder)
        self._looked_s = 0.0

    def run(self) -> int:
        """Until the intake is stopped, or every feed has come to its end."""
        for feed in self.feeds:
            feed.start()
        try:
            while not self.intake.stopped:
                self.turn(LOOK_ROUND_S)
                if self.service is not None:
                    self.service.turn(self.stream, self.feeds)
                if all(feed.link.ended for feed in self.feeds) and not len(self.intake):
                    break
        finally:
            self._end()
        return 0

    def turn(self, timeout_s: float) -> None:
        """Once round the loop: lines, requests, and several times a second the passing of time."""
        arrivals = self.intake.get(timeout_s)
        if arrivals:
            if self.recorder is not None:
                self.recorder.take(arrivals)
            self.stream.take(arrivals)
        while not self.requests.empty():
            self._obey(self.requests.get_nowait())
        now_s = self.clock.mono_s()
        if now_s - self._looked_s >= LOOK_ROUND_S:
            self._looked_s = now_s
            self._look_round(now_s)

    def _look_round(self, now_s: float) -> None:
        at_s = self.intake.reached(now_s)
        moment = self.timeline.at(at_s, self.clock.utc_ms() - round((now_s - at_s) * 1000))
        if moment is not None:
            self.stream.pass_time(moment)
            for feed in self.feeds:
                link = feed.link
                if not link.is_open and not link.ended and link.attempts and not feed.counters.waiting:
                    self.stream.link_is_down(feed.name, moment, link.trouble)
                elif link.is_open:  # what is odd about it: a wrong baud rate
                    self.stream.feeds[feed.name].trouble = link.trouble
            for text in self.stream.notices():
                self.stream.lookout.say(*our_note(moment, text))
            self.stream.flush()
        self.stream.idle(now_s)
        if self.recorder is not None:
            self.recorder.idle(now_s)

    def _obey(self, request: Request | Pending) -> None:
        if request.verb == "quit":
            self.intake.stop()
            return
        if isinstance(request, Pending):
            status.obey(request, self.stream, self.name, self.stream.desk)
            return
        try:
            self.stream.ask(request.verb, request.id, request.text)
        except UserError as error:
            print(f"secondplot watch: {error}", file=sys.stderr)

    def _end(self) -> None:
        if self.service is not None:
            self.service.stopping()
        for feed in self.feeds:
            feed.stop()
        until_s = self.clock.mono_s() + LAST_WORDS_S
        for feed in self.feeds:
            feed.join(max(0.0, until_s - self.clock.mono_s()))
        until_s = self.clock.mono_s() + LAST_LINES_S
        while self.clock.mono_s() < until_s and (arrivals := self.intake.get(0.0)):
            if self.recorder is not None:
                self.recorder.take(arrivals)
            self.stream.take(arrivals)
        self.stream.close()
        for text in self.stream.unbalanced():
            print(f"secondplot watch: {text}", file=sys.stderr)
        if all(feed.link.ended for feed in self.feeds) and not any(feed.counters.accepted for feed in self.feeds):
            print("secondplot watch: no line could be used; `secondplot survey` says what is there", file=sys.stderr)
        if self.recorder is not None:
            self.recorder.close()


def _settings(config: Config, name: str) -> FeedSettings:
    return config.feeds.get(name) or FeedSettings(uri="")


def _archive(args: argparse.Namespace, config: Config) -> Path | None:
    if args.no_archive:
        return None
    if args.archive:
        return Path(args.archive)
    return archive_path(config)
