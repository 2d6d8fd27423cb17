"""A replay: recordings into the stream at a pace, or as fast as they can be read."""

import argparse
import json
import sys
import threading
from collections.abc import Sequence

import msgspec

from alerts.events import Moment
from alerts.lookout import Lookout, LookoutSettings
from daemon import outputs
from daemon.clock import Clock, HostClock
from daemon.commands import shared
from daemon.config import Config, load
from daemon.control import Request
from daemon.errors import CANNOT_OPEN, WRONG_USAGE, UserError
from daemon.feeds.face import Arrival
from daemon.feeds.replay import Recording
from daemon.stream import FeedLine, Stream
from daemon.timeline import RecordedTimeline
from daemon.undated import undated
from parsers.decode import Decoder

MAX = float("inf")
PACE_ON_A_SCREEN = 20.0

BATCH = 2000
"""Lines taken at once at full speed: enough for the work that is done for many sightings together."""

LOOK_ROUND_S = 0.1
"""A paced replay gives its sinks a sign of life this often."""


def lookout_settings(config: Config, radar_feeds: tuple[str, ...] = ()) -> LookoutSettings:
    """What of the configuration the core needs."""
    return LookoutSettings(
        own_ship=config.own_ship,
        ais=config.ais,
        encounters=config.encounters,
        marks=config.marks,
        picture_quality=config.picture_quality,
        alerts=config.alerts,
        conditions=config.conditions,
        condition=config.condition,
        radar_feeds=radar_feeds,
        command_feeds=config.annunciators.sentences.accept_from,
    )


def replay(args: argparse.Namespace) -> int:
    """The command, from its arguments to its exit code."""
    outputs.palette_of(args)
    config = load(args.config, shared.overrides(args))
    recordings = [Recording(path) for path in args.files]
    clock = HostClock()
    pace = _pace(args.pace, outputs.has_screen(args) and not args.json)
    stop = threading.Event()
    keys = Keys(stop)
    sinks = outputs.files(args, clock, "replay", "\n".join(args.files), config, args.archive)
    if not args.json:
        sinks += outputs.console(args, config, keys.ask, min(pace, 1000.0), patient=True)
    stream = Stream(
        Lookout(lookout_settings(config)),
        sinks,
        feeds_of(recordings, not args.no_checksum),
        RecordedTimeline(args.rate),
    )
    keys.stream = stream
    began_s = clock.mono_s()
    try:
        run(stream, recordings, pace, clock, stop, not args.no_checksum)
    except KeyboardInterrupt:
        stop.set()
    summary = stream.close(summarise=True)
    for text in stream.unbalanced():
        print(f"secondplot replay: {text}", file=sys.stderr)
    _report(args, stream, recordings, clock.mono_s() - began_s, msgspec.to_builtins(summary, enc_hook=str))
    if stop.is_set() and not keys.quit:
        return 130
    if undated(stream):
        return WRONG_USAGE
    return CANNOT_OPEN if any(output.name != "console" for output in stream.failing()) else 0


class Keys:
    """What the keys of a replay's screen ask for; done between two batches by the stream's own thread."""

    def __init__(self, stop: threading.Event) -> None:
        self.stream: Stream | None = None
        self.quit = False
        self._stop = stop

    def ask(self, request: Request) -> None:
        if request.verb == "quit":
            self.quit = True
            self._stop.set()
        elif self.stream is not None:
            self.stream.ask(request.verb, request.id, request.text)


def feeds_of(recordings: Sequence[Recording], require_checksum: bool = True) -> list[FeedLine]:
    """A feed for each name in each recording."""
    return [
        FeedLine(name=name, decoder=Decoder(name, require_checksum), counters=counters)
        for recording in recordings
        for name, counters in recording.counters.items()
    ]


def run(
    stream: Stream,
    recordings: Sequence[Recording],
    pace: float,
    clock: Clock,
    stop: threading.Event,
    require_checksum: bool = True,
) -> None:
    """Every line of every recording, in order. Ends early when `stop` is set.

    `require_checksum` is for feeds that a recording names only on its way; the others have been asked for already.
    """
    for recording in recordings:
        for part in recording.parts():
            for name, counters in recording.counters.items():
                if name not in stream.feeds:
                    stream.add_feed(FeedLine(name=name, decoder=Decoder(name, require_checksum), counters=counters))
            if pace == MAX:
                _at_once(stream, part, clock, stop)
            else:
                _paced(stream, part, pace, clock, stop)
            if stop.is_set():
                return
        for notice in recording.notices:
            print(f"secondplot: {notice}", file=sys.stderr)


def _at_once(stream: Stream, part: Sequence[Arrival], clock: Clock, stop: threading.Event) -> None:
    for start in range(0, len(part), BATCH):
        if stop.is_set():
            return
        stream.take(part[start : start + BATCH])
        stream.idle(clock.mono_s())


def _paced(stream: Stream, part: Sequence[Arrival], pace: float, clock: Clock, stop: threading.Event) -> None:
    if stream.wait_for is None:
        stream.wait_for = Pacer(stream, pace, clock, stop).wait_for
    for arrival in part:
        stream.take([arrival])
        if stop.is_set():
            return


class Pacer:
    """Holds the stream until a line's time has come on the host's clock."""

    def __init__(self, stream: Stream, pace: float, clock: Clock, stop: threading.Event) -> None:
        self._stream, self._pace, self._clock, self._stop = stream, pace, clock, stop
        self._began: tuple[float, float] | None = None  # host and stream seconds

    def wait_for(self, moment: Moment) -> None:
        """Called by the stream before a line is taken in."""
        if self._began is None:
            self._began = (self._clock.mono_s(), moment.at_s)
        due_s = self._began[0] + (moment.at_s - self._began[1]) / self._pace
        while not self._stop.is_set():
            now_s = self._clock.mono_s()
            self._stream.idle(now_s)
            if now_s >= due_s:
                return
            self._clock.wait(min(due_s - now_s, LOOK_ROUND_S), self._stop)


def _pace(text: str | None, on_screen: bool) -> float:
    if text is None:
        return PACE_ON_A_SCREEN if on_screen else MAX
    if text == "max":
        return MAX
    try:
        pace = float(text)
    except ValueError:
        pace = 0.0
    if not 0 < pace <= 1e6:
        raise UserError(f"--pace {text}: give a number over 0, for example 20, or max")
    return pace


def _report(
    args: argparse.Namespace,
    stream: Stream,
    recordings: Sequence[Recording],
    wall_s: float,
    summary: dict[str, object] | None,
) -> None:
    """The summary as JSON on stdout, or the speed on stderr: events depend on the data alone."""
    lines = sum(counters.lines for recording in recordings for counters in recording.counters.values())
    rate = round(lines / wall_s) if wall_s > 0 else 0
    if args.json:
        print(json.dumps({**(summary or {}), "wall_s": round(wall_s, 3), "sentences_per_s": rate}))
    else:
        print(f"secondplot replay: {lines} lines in {wall_s:.1f} s, {rate} a second", file=sys.stderr)
    if stream.moment is None:
        print("secondplot replay: no line could be used; `secondplot survey FILE` says what is in it", file=sys.stderr)
    for notice in undated(stream):
        print(f"secondplot replay: {notice}", file=sys.stderr)
