"""`secondplot status`: says how a running watch stands."""

import argparse

from daemon.commands import speaking

HELP = """Says how a running watch stands: data, own ship, feeds, how steady the echoes are, what fails, and every alert
that is not normal.

examples:
  secondplot status
  secondplot status --json --watch radar"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    speaking.add_arguments(parser)


def run(args: argparse.Namespace) -> int:
    return speaking.ask(args, "status")
