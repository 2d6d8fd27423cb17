"""`secondplot watch`: a live watch on feeds, for days if need be."""

import argparse
from pathlib import Path

from daemon.commands import shared

HELP = """Keeps a live watch: console, alerts, archive; until Ctrl-C or SIGTERM.

examples:
  secondplot watch --feed serial:/dev/ttyUSB0@38400?name=radar --feed udp:10110
  secondplot watch --config boat.toml --record recordings/ --service
  secondplot watch --self-test

An aid to look-out, never a substitute. Small craft, buoys and wood may not be tracked or seen by radar at all."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--feed",
        action="append",
        default=[],
        metavar="URI",
        help="serial:PORT@BAUD, udp:[ADDRESS:]PORT, tcp:HOST:PORT, file:PATH or -, with ?name=NAME; repeatable",
    )
    parser.add_argument("--record", type=Path, metavar="DIR", help="write verbatim what arrives, a file an hour")
    parser.add_argument("--no-archive", action="store_true", help="keep no tracks")
    parser.add_argument("--keep-days", type=float, metavar="DAYS", help="remove from the archive what is older")
    parser.add_argument(
        "--keep-mib", type=float, metavar="MIB", help="remove what is oldest from an archive larger than this"
    )
    parser.add_argument(
        "--service",
        action="store_true",
        help="run under a service manager: notices, log for the journal (docs/service.md)",
    )
    parser.add_argument("--name", default="watch", help="this watch's name, where several run on one machine")
    parser.add_argument(
        "--self-test",
        action="store_true",
        help="raise one alert of each priority, marked as a test, through every annunciator; say which worked, and end",
    )
    shared.add_outputs(parser)
    shared.add_settings(parser)


def run(args: argparse.Namespace) -> int:
    if args.self_test:
        from daemon.telling import self_test

        return self_test(args)
    from daemon.watching import watch

    return watch(args)
