"""`secondplot survey`: what is on a feed, and what can be worked out from it."""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from daemon.commands import shared

if TYPE_CHECKING:
    from daemon.survey.survey import Report

HELP = """Listens to feeds for a while, or reads recordings, and says what is there, how often and how clean;
which sources of heading, position, speed and targets exist, and whether they agree; what can and cannot
be worked out from them, and what to change on board to mend that.

examples:
  secondplot survey --feed serial:/dev/ttyUSB0@38400 --feed udp:10110 --for 60
  secondplot survey --config boat.toml --for 60
  secondplot survey recordings/fog-crossing.nmea.gz"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("files", nargs="*", metavar="FILE", help="a recording, plain or gzip; - for standard input")
    parser.add_argument(
        "--feed",
        action="append",
        default=[],
        metavar="URI",
        help="a live feed, in place of those configured; repeatable",
    )
    parser.add_argument(
        "--config", type=Path, metavar="PATH", help="whose [feeds] to listen to, not the one under $XDG_CONFIG_HOME"
    )
    parser.add_argument(
        "--for", type=float, default=30.0, dest="seconds", metavar="SECONDS", help="how long to listen (30)"
    )
    parser.add_argument("--json", action="store_true", help="the report as JSON")
    shared.add_reading(parser)


def run(args: argparse.Namespace) -> int:
    import sys

    import msgspec

    from daemon.errors import UserError
    from daemon.sinks.events import harmless_json
    from daemon.survey import listen
    from daemon.survey.words import text_of

    if args.files and (args.feed or args.config):
        raise UserError("name either recordings or live feeds (--feed, --config), not both")
    if not 0 < args.seconds <= 86_400:
        raise UserError(f"--for {args.seconds:g}: a time in seconds, up to a day")
    report = listen.of_files(args.files, args.rate, not args.no_checksum) if args.files else _of_feeds(args)
    if args.json:
        line = msgspec.json.format(msgspec.json.encode(report), indent=2)
        sys.stdout.write(harmless_json(line).decode() + "\n")
    else:
        sys.stdout.write(text_of(report))
    return 0


def _of_feeds(args: argparse.Namespace) -> "Report":
    """A configuration that nobody named, and that is not needed, is not read: a mistake in it must not hide a cable."""
    from daemon.clock import HostClock
    from daemon.config import Config, feed_specs, load
    from daemon.survey import listen

    config = load(args.config) if args.config or not args.feed else Config()
    specs = feed_specs(args.feed, config, args.config)
    without = {name for name, feed in config.feeds.items() if not feed.checksum}
    lenient = {spec.name for spec in specs} if args.no_checksum else without
    return listen.of_feeds(specs, args.seconds, HostClock(), lenient)
