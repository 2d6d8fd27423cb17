"""`secondplot condition`: changes the condition of a running watch."""

import argparse

from daemon.commands import speaking

HELP = """Puts another set of limits in force in a running watch: open water, coastal, harbour, restricted visibility,
or your own.

example:
  secondplot condition restricted visibility"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("name", nargs="+", metavar="NAME", help="the condition, as the configuration names it")
    speaking.add_arguments(parser)


def run(args: argparse.Namespace) -> int:
    return speaking.ask(args, "condition", text=" ".join(args.name))
