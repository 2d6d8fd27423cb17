"""`secondplot note`: writes a note into a running watch's record."""

import argparse

from daemon.commands import speaking

HELP = """Writes a note into the record of a running watch, at the time of its data. Quality figures compare before and
after a note.

example:
  secondplot note sea clutter up"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("text", nargs="+", metavar="TEXT", help="the note")
    speaking.add_arguments(parser)


def run(args: argparse.Namespace) -> int:
    return speaking.ask(args, "note", text=" ".join(args.text))
