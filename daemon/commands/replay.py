"""`secondplot replay`: recordings through the same stream as a live watch, on the recording's own clock."""

import argparse

from daemon.commands import shared

HELP = """Replays recordings on their own clock: targets plotted again, alerts raised, tracks archived if asked.

examples:
  secondplot replay recordings/fog-crossing.nmea.gz
  secondplot replay passage.nmea --pace 20 --archive passage.sqlite --events events.jsonl"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("files", nargs="+", metavar="FILE", help="a recording, plain or gzip; - for standard input")
    parser.add_argument(
        "--pace", metavar="N|max", help="times real time; max is the default where the output is no terminal, else 20"
    )
    parser.add_argument("--json", action="store_true", help="the summary and the speed as JSON, instead of a console")
    shared.add_reading(parser)
    shared.add_outputs(parser)
    shared.add_settings(parser)


def run(args: argparse.Namespace) -> int:
    from daemon.replaying import replay

    return replay(args)
