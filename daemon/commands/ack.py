"""`secondplot ack`: acknowledges an alert of a running watch, or all."""

import argparse

from daemon.commands import speaking
from daemon.errors import UserError

HELP = """Acknowledges one alert of a running watch by its number, or all. Its sound stops; it is shown while it holds.

examples:
  secondplot ack 3
  secondplot ack all"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("alert", nargs="?", default="all", metavar="ID", help="the alert's number, or all (default)")
    speaking.add_arguments(parser)


def run(args: argparse.Namespace) -> int:
    if args.alert == "all":
        return speaking.ask(args, "ack")
    if not (args.alert.isascii() and args.alert.isdigit() and 0 < int(args.alert) < 2**31):
        raise UserError(f"{args.alert!r} is no alert's number: give the number that stands beside it, or all")
    return speaking.ask(args, "ack", int(args.alert))
