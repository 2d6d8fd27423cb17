"""`secondplot debrief`: the passage report, one self-contained HTML file, from a recording or an archive."""

import argparse
from pathlib import Path

from daemon.commands import shared

HELP = """The passage report as one HTML file that needs nothing else: tracks, timeline, a card for each encounter with
its plotting sheet, the picture's quality, and a play-back. From recordings, or from an archive that a watch has kept.

examples:
  secondplot debrief recordings/fog-crossing.nmea.gz
  secondplot debrief passage.sqlite --passage 3 --within 1 --output report.html"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("files", nargs="+", metavar="FILE", help="recordings of one passage in order, or one archive")
    parser.add_argument("--output", type=Path, metavar="PATH", help="the file to write (default: FILE.debrief.html)")
    parser.add_argument("--passage", type=int, metavar="N", help="which passage of an archive (default: the last)")
    parser.add_argument("--within", type=float, default=2.0, metavar="NM", help="full cards within this range (2 NM)")
    parser.add_argument("--cards", type=int, default=60, metavar="N", help="at most so many full cards (60)")
    parser.add_argument("--title", default="", help="the report's title")
    parser.add_argument("--json", action="store_true", help="say what was written as one JSON object")
    shared.add_reading(parser)
    shared.add_settings(parser)


def run(args: argparse.Namespace) -> int:
    from daemon.debrief.making import make

    return make(args)
