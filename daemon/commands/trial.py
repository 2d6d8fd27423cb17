"""`secondplot trial`: a trial manoeuvre at one moment of a recording, an archive or a running watch."""

import argparse
import json
from pathlib import Path
from typing import TYPE_CHECKING

from daemon.commands import shared
from daemon.errors import UserError

if TYPE_CHECKING:
    from alerts.plotting.trial import Handling, TrialLeg
    from daemon.trialling.moment import Situation

HELP = """A trial manoeuvre: what an alteration of course or speed would do to every target, against holding on.

Targets are assumed to hold their course and speed. Every line says TRIAL: geometry and rule numbers, never advice.

examples:
  secondplot trial recordings/fog-crossing.nmea.gz --at +12 --course 080
  secondplot trial passage.sqlite --at 10:42 --leg "2 080 6" --leg "10 050 8"
  secondplot trial --table                       (the running watch, now)"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("files", nargs="*", metavar="FILE", help="recordings, or one archive; none: the running watch")
    parser.add_argument("--at", metavar="TIME", help="10:42 (UTC), an ISO date and time, or +12 minutes; else the end")
    parser.add_argument("--watch", metavar="NAME", help="which running watch, where there are several")
    group = parser.add_argument_group("the alteration")
    group.add_argument("--course", metavar="DEG", help="new course, true; +40 or -40: to starboard or to port")
    group.add_argument("--speed", metavar="KN", help="new speed")
    group.add_argument("--delay", type=float, default=0.0, metavar="MIN", help="minutes from the moment on (default 0)")
    group.add_argument(
        "--leg", action="append", default=[], metavar='"MIN COURSE SPEED"', help="a further leg; - for as before"
    )
    group.add_argument("--turn-rate", type=float, default=90.0, metavar="DEG", help="degrees a minute (default 90)")
    group.add_argument("--speed-rate", type=float, default=4.0, metavar="KN", help="knots a minute (default 4)")
    group.add_argument(
        "--advance", type=float, metavar="NM", help="distance run on before the turn, in place of a rate"
    )
    group.add_argument("--table", action="store_true", help="courses and speeds: which clear all with 95 %% confidence")
    group.add_argument("--cpa", type=float, metavar="NM", help="the limit (default: that of the condition)")
    parser.add_argument("--json", action="store_true", help="the answer as JSON")
    parser.add_argument("--plot", type=Path, metavar="FILE", help="draw it into an .svg or .png file")
    shared.add_reading(parser)
    shared.add_settings(parser)


def run(args: argparse.Namespace) -> int:
    from alerts.plotting.cautions import cautions
    from alerts.plotting.trial import try_out
    from daemon.trialling import words
    from parsers.observations import MotionReference

    situation = _situation(args)
    if situation.own.frame is MotionReference.UNKNOWN:
        raise UserError("own course and speed are not known at that moment, so nothing can be tried")
    if args.table:
        return _table(args, situation)
    legs = _legs(args, situation)
    estimates = [held.estimate for held in situation.targets]
    trial = try_out(estimates, situation.own, legs, situation.limit_nm, _handling(args))
    keys = [held.target for held in situation.targets]
    told = cautions(keys, estimates, situation.own, legs, trial, situation.is_restricted)
    if args.plot is not None:
        from daemon.trialling.picture import draw

        draw(args.plot, situation, trial, legs)
    if args.json:
        print(json.dumps(words.as_json(situation, legs, trial, told), ensure_ascii=False, allow_nan=False))
    else:
        print(words.text(situation, legs, trial, told))
    return 0


def _situation(args: argparse.Namespace) -> "Situation":
    from msgspec import structs

    from daemon.config import load
    from daemon.trialling.moment import from_recordings, from_watch
    from daemon.trialling.times import When

    when = When(args.at) if args.at else None
    if args.cpa is not None and not 0 < args.cpa <= 20:
        raise UserError(f"--cpa {args.cpa:g}: a limit is more than 0 and at most 20 NM")
    if not args.files:
        if when is not None:
            raise UserError("--at needs a recording or an archive; a running watch is tried as it stands now")
        found = from_watch(args.watch)
    else:
        config = load(args.config, shared.overrides(args))
        if _is_archive(args.files[0]):
            from daemon.trialling.past import from_archive

            if len(args.files) > 1:
                raise UserError("name one archive, or recordings, not both")
            found = from_archive(Path(args.files[0]), when, config)
        else:
            found = from_recordings(args.files, when, config, args.rate, not args.no_checksum)
    return found if args.cpa is None else structs.replace(found, limit_nm=args.cpa)


def _is_archive(path: str) -> bool:
    try:
        with Path(path).open("rb") as file:
            return file.read(16) == b"SQLite format 3\x00"
    except OSError:
        return False


def _handling(args: argparse.Namespace) -> "Handling":
    from alerts.plotting.trial import Handling

    if not (0 < args.turn_rate <= 3600 and 0 < args.speed_rate <= 600):
        raise UserError("--turn-rate and --speed-rate are more than 0, at most 3600°/min and 600 kn/min")
    if args.advance is not None and not 0 <= args.advance <= 5:
        raise UserError("--advance is a distance of 0 to 5 NM")
    return Handling(turn_deg_min=args.turn_rate, speed_kn_min=args.speed_rate, advance_nm=args.advance or 0.0)


def _legs(args: argparse.Namespace, situation: "Situation") -> "list[TrialLeg]":
    from alerts.plotting.trial import TrialLeg, own_course_speed

    course, _ = own_course_speed(situation.own)
    legs = []
    if args.course is not None or args.speed is not None:
        legs.append(
            TrialLeg(
                after_min=_minutes(args.delay), course_deg=_course(args.course, course), speed_kn=_speed(args.speed)
            )
        )
    for text in args.leg:
        parts = text.split()
        if len(parts) != 3:
            raise UserError(
                f'cannot read the leg {text!r}; write it as "10 050 8": minutes, course, speed, - as before'
            )
        legs.append(
            TrialLeg(after_min=_minutes(parts[0]), course_deg=_course(parts[1], course), speed_kn=_speed(parts[2]))
        )
    if not legs:
        raise UserError("nothing to try: give --course, --speed or --leg, or --table")
    return sorted(legs, key=lambda leg: leg.after_min)


def _minutes(text: str | float) -> float:
    try:
        minutes = float(text)
    except ValueError:
        minutes = -1.0
    if not 0 <= minutes <= 240:
        raise UserError(f"{text!r} is no delay: 0 to 240 minutes")
    return minutes


def _course(text: str | None, now_deg: float) -> float | None:
    """True, or with a sign from the present course."""
    from daemon.worksheet.points import course

    if text is None or text == "-":
        return None
    if text.startswith(("+", "-")):
        sign = 1 if text[0] == "+" else -1
        return (now_deg + sign * course(text[1:])) % 360
    return course(text)


def _speed(text: str | None) -> float | None:
    from daemon.worksheet.points import speed

    return None if text in (None, "-") else speed(str(text))


def _table(args: argparse.Namespace, situation: "Situation") -> int:
    from alerts.plotting.trial import own_course_speed, table
    from daemon.trialling import words

    _, speed = own_course_speed(situation.own)
    courses = [float(deg) for deg in range(0, 360, 10)]
    speeds = sorted({round(speed * share, 1) for share in (1.0, 0.75, 0.5, 0.25, 0.0)}, reverse=True)
    estimates = [held.estimate for held in situation.targets]
    after_min = _minutes(args.delay)
    rows = table(estimates, situation.own, situation.limit_nm, courses, speeds, _handling(args), after_min)
    if args.plot is not None:
        from daemon.trialling.picture import draw_table

        draw_table(args.plot, situation, rows)
    if args.json:
        print(json.dumps(words.table_json(situation, rows), ensure_ascii=False, allow_nan=False))
    else:
        print(words.table_text(situation, rows))
    return 0
