"""`secondplot silence`: silences the sound of a running watch for 30 s."""

import argparse

from daemon.commands import speaking

HELP = """Silences what sounds now for 30 s. What is not acknowledged by then sounds again; a new alert sounds at once.

example:
  secondplot silence"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    speaking.add_arguments(parser)


def run(args: argparse.Namespace) -> int:
    return speaking.ask(args, "silence")
