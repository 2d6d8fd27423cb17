"""`secondplot plot`: a manual plot from ranges and bearings, typed or from a CSV file."""

import argparse
import json
import sys
from math import isfinite
from pathlib import Path
from typing import TYPE_CHECKING

from daemon.errors import UserError

if TYPE_CHECKING:
    from alerts.plotting.manual import OwnLeg, Reading
    from alerts.plotting.sheet import Accuracy, ManualPlot

HELP = """A manual plot: ranges and bearings with their times, two or more, typed or read from a CSV file.

Answers as the trade asks: direction and speed of relative movement, CPA and its bearing, TCPA, the target's course and
speed, aspect, bearing drift, passing ahead or astern; each with its limits of error.

example:
  secondplot plot --course 340 --speed 12 "10:00 61P 4.0" "10:06 60P 3.1" "10:12 58P 2.2"

A point is "TIME BEARING RANGE": 10:00, 10:00:30 or 1000; 061T (or 061) true, 299R relative, 61P or 61S off the bow;
4.0 (NM), 6900yd, 7.4km, 800m or 8cab."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("points", nargs="*", metavar="POINT", help='"TIME BEARING RANGE"')
    parser.add_argument(
        "--csv", type=Path, metavar="FILE", help="columns time,bearing,range (and heading,course,speed)"
    )
    parser.add_argument("--course", metavar="DEG", help="own course, true")
    parser.add_argument("--speed", metavar="KN", help="own speed")
    parser.add_argument(
        "--heading", metavar="DEG", help="own heading, true, for bearings off the bow (default: the course)"
    )
    parser.add_argument(
        "--own",
        action="append",
        default=[],
        metavar='"TIME COURSE SPEED"',
        help="own course and speed from then on; repeatable",
    )
    parser.add_argument(
        "--range-error",
        default="0.02,1%",
        metavar="RANGE",
        help="one sd of a range: 30m, 1%%, or both, the greater (default 0.02,1%%)",
    )
    parser.add_argument(
        "--bearing-error", type=float, default=1.0, metavar="DEG", help="one sd of a bearing (default 1)"
    )
    parser.add_argument(
        "--heading-error",
        type=float,
        default=1.0,
        metavar="DEG",
        help="one sd of the heading under a relative bearing (default 1)",
    )
    parser.add_argument(
        "--own-error", type=float, default=0.5, metavar="KN", help="one sd of own velocity (default 0.5)"
    )
    parser.add_argument("--plot", type=Path, metavar="FILE", help="draw the plotting sheet into an .svg or .png file")
    parser.add_argument("--json", action="store_true", help="the answers as one JSON object")
    parser.add_argument("--limits", action="store_true", help="with --json: the 95 %% limits and the warnings too")


def run(args: argparse.Namespace) -> int:
    from alerts.plotting.manual import plot
    from daemon.worksheet.words import text

    readings, legs = _gather(args)
    try:
        answer = plot(readings, legs, _accuracy(args))
    except ValueError as error:
        raise UserError(str(error)) from None
    if args.plot is not None:
        from daemon.worksheet.picture import draw

        draw(args.plot, answer)
    if args.json:
        _print_json(answer, args.limits)
    else:
        print(text(answer))
    return 0


def _gather(args: argparse.Namespace) -> "tuple[list[Reading], list[OwnLeg]]":
    """Readings and own legs from the command line and the file, in order of time."""
    from msgspec import structs

    from alerts.plotting.manual import OwnLeg
    from daemon.worksheet import points

    readings = [points.point(text) for text in args.points]
    legs = [points.leg(text) for text in args.own]
    if args.csv is not None:
        from_file, noted = points.from_csv(args.csv)
        readings, legs = readings + from_file, noted + legs
    if not readings:
        raise UserError('no points; give two or more, as "10:00 061T 4.0", or --csv FILE')
    if args.heading is not None:
        heading = points.course(args.heading)
        readings = [structs.replace(one, heading_deg=heading) if one.heading_deg is None else one for one in readings]
    if (args.course is None) != (args.speed is None):
        raise UserError("own course and own speed go together: give both --course and --speed, or neither")
    readings, legs = points.in_order(readings, legs)
    if args.course is not None:
        legs.insert(0, OwnLeg(readings[0].at_s, points.course(args.course), points.speed(args.speed)))
    return readings, sorted(legs, key=lambda leg: leg.at_s)


def _accuracy(args: argparse.Namespace) -> "Accuracy":
    from alerts.plotting.sheet import Accuracy
    from daemon.worksheet.points import range_error

    for name, least in (("bearing_error", 1e-6), ("heading_error", 0.0), ("own_error", 0.0)):
        value = getattr(args, name)
        if not (isfinite(value) and least <= value <= 90):
            option = name.replace("_", "-")
            raise UserError(f"--{option} {value:g} is not an error to reckon with: more than 0, at most 90")
    least, share = range_error(args.range_error)
    return Accuracy(
        range_sd_nm=least,
        range_sd_share=share,
        bearing_sd_deg=args.bearing_error,
        heading_sd_deg=args.heading_error,
        own_velocity_sd_kn=args.own_error,
    )


def _print_json(answer: "ManualPlot", limits: bool) -> None:
    """The keys of the manual plot alone; the warnings go to stderr unless they are asked for."""
    from daemon.worksheet.words import as_json, limits_json

    told = as_json(answer)
    if limits:
        told |= limits_json(answer)
    else:
        for warning in answer.warnings:
            print(f"secondplot plot: warning: {warning}", file=sys.stderr)
    print(json.dumps(told, ensure_ascii=False, allow_nan=False))
