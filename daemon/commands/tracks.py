"""`secondplot tracks`: archived tracks listed, shown and exported."""

import argparse
from pathlib import Path

HELP = """Lists, shows and exports the tracks of an archive. Positions are worked out from own position, range and true
bearing along the geodesic; where own position or heading was missing there is none.

examples:
  secondplot tracks list --archive passage.sqlite --within 1
  secondplot tracks show radar-01 --archive passage.sqlite --plot radar-01.svg
  secondplot tracks export --archive passage.sqlite --since 2027-01-15T08:00 --output passage.gpx"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    actions = parser.add_subparsers(dest="action", metavar="list|show|export", required=True)
    for name, line in (
        ("list", "one line for each track"),
        ("show", "one target's track: figures as the passage went"),
        ("export", "GPX 1.1, GeoJSON (RFC 7946), CSV or Parquet"),
    ):
        one = actions.add_parser(name, help=line, description=line, allow_abbrev=False)
        if name == "show":
            one.add_argument("target", nargs=1, metavar="TARGET", help="as `tracks list` names it")
            one.add_argument("--plot", type=Path, metavar="FILE", help="its relative track as a picture, .svg or .png")
        else:
            one.add_argument("--target", action="append", default=[], metavar="TARGET", help="this one; repeatable")
        if name == "export":
            one.add_argument("--format", choices=("gpx", "geojson", "csv", "parquet"), help="default: as --output ends")
            one.add_argument("--output", type=Path, metavar="PATH", help="the file to write (default: standard output)")
        else:
            one.add_argument("--json", action="store_true", help="JSON Lines")
        one.add_argument("--archive", type=Path, metavar="PATH", help="the archive (default: that of `watch`)")
        one.add_argument("--passage", type=int, metavar="N", help="of this passage only")
        one.add_argument("--since", dest="since", metavar="TIME", help="from this time, UTC: 2027-01-15T08:30")
        one.add_argument("--until", dest="until", metavar="TIME", help="up to this time")
        one.add_argument("--within", type=float, metavar="NM", help="only targets that came as close as this")


def run(args: argparse.Namespace) -> int:
    from daemon.tracks.telling import tell

    return tell(args)
