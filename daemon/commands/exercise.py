"""`secondplot exercise`: recordings with known truth from written scenarios, live drills, and plotting worksheets."""

import argparse
import json
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from daemon import words
from daemon.errors import CANNOT_OPEN, UserError

if TYPE_CHECKING:
    from daemon.exercise.generate import Load
    from daemon.exercise.live import Sent
    from daemon.exercise.scenario import Scenario

HELP = """Makes a recording and its truth from a written scenario, sends it as live traffic, or makes a plotting
exercise for a crew. The same scenario and seed give the same bytes. docs/exercises.md describes every key.

examples:
  secondplot exercise recordings/fog-crossing.toml
  secondplot exercise recordings/fog-crossing.toml --to udp:127.0.0.1:10110 --pace 4 --form tag
  secondplot exercise recordings/fog-crossing.toml --to pty
  secondplot exercise recordings/fog-crossing.toml --questions . --interval 6
  secondplot exercise --draw 20 --seed 7 --output drawn/"""

LONG_S = 6 * 3600.0
"""Scenarios longer than this are sent without first running through them to see whether the line carries them."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("scenario", nargs="?", type=Path, metavar="SCENARIO.toml", help="the written scenario")
    parser.add_argument(
        "--output", type=Path, metavar="PATH", help="the recording, .nmea or .nmea.gz (default: SCENARIO.nmea.gz here)"
    )
    parser.add_argument("--truth", type=Path, metavar="PATH", help="the truth (default: beside the recording)")
    parser.add_argument("--seed", type=int, metavar="N", help="another seed than the scenario's")
    parser.add_argument("--start", metavar="TIME", help="another start: `now`, or 2027-01-15T08:00:00Z (live: now)")
    parser.add_argument("--baud", type=int, metavar="N", help="another line speed than the scenario's")
    parser.add_argument("--check", action="store_true", help="write nothing: check the scenario and the line's load")
    live = parser.add_argument_group("live")
    live.add_argument("--to", metavar="WHERE", help="serial:PORT[@BAUD], udp:HOST:PORT, or pty (made and named)")
    live.add_argument("--pace", default="1", metavar="N", help="times real time, or max (default 1); see --form")
    live.add_argument(
        "--form",
        choices=("plain", "tag", "450"),
        default="plain",
        help="bare sentences; with TAG blocks, whose time a watch goes by at any pace if its feed has ?time=tag;"
        " datagrams of IEC 61162-450, likewise (default plain)",
    )
    drill = parser.add_argument_group("worksheets")
    drill.add_argument("--questions", type=Path, metavar="DIR", help="write a worksheet and its answers there")
    drill.add_argument("--interval", type=float, default=3.0, metavar="MIN", help="between plots, 3 or 6 (default 3)")
    drill.add_argument("--plots", type=int, default=3, metavar="N", help="plots of each target (default 3)")
    drawn = parser.add_argument_group("drawn encounters")
    drawn.add_argument("--draw", type=int, metavar="N", help="draw N encounters by chance instead of reading a file")
    parser.add_argument("--keys", action="store_true", help="print every key of a scenario with its meaning and unit")
    parser.add_argument("--json", action="store_true", help="say what was done as JSON")


def run(args: argparse.Namespace) -> int:
    if args.keys:
        from daemon.exercise.keys import markdown

        sys.stdout.write(markdown())
        return 0
    if args.seed is not None and args.seed < 0:
        raise UserError("--seed: write a whole number from 0")
    if args.draw is not None:
        return _draw(args)
    if args.scenario is None:
        raise UserError("name a scenario file, for example recordings/fog-crossing.toml, or give --draw N")
    scenario = _scenario(args)
    if args.check:
        return _check(scenario, args)
    if args.questions is not None:
        return _questions(scenario, args)
    if args.to is not None:
        return _live(scenario, args)
    return _record(scenario, args)


def _scenario(args: argparse.Namespace) -> "Scenario":
    """The file's scenario with the command line's seed, start and line speed."""
    import msgspec

    from daemon.exercise import reading

    scenario = reading.load(args.scenario)
    if args.seed is not None:
        scenario = msgspec.structs.replace(scenario, seed=args.seed)
    if args.baud is not None:
        if not 300 <= args.baud <= 921600:
            raise UserError("--baud: write a speed from 300 to 921600")
        scenario = msgspec.structs.replace(scenario, line=type(scenario.line)(baud=args.baud))
    begin = args.start or ("now" if args.to else None)
    return msgspec.structs.replace(scenario, start=_start(begin)) if begin else scenario


def _start(text: str) -> datetime:
    from daemon.clock import HostClock
    from daemon.exercise.reading import start_problem

    if text == "now":
        return datetime.fromtimestamp(HostClock().utc_ms() // 1000, UTC)
    try:
        when = datetime.fromisoformat(text)
    except ValueError:
        raise UserError(f"--start {text}: write now, or a date and time such as 2027-01-15T08:00:00Z") from None
    when = when if when.tzinfo else when.replace(tzinfo=UTC)
    if (problem := start_problem(when)) is not None:
        raise UserError(f"--start {text}: {problem}")
    return when


def _record(scenario: "Scenario", args: argparse.Namespace) -> int:
    from daemon.exercise import generate

    stem = args.scenario.name.removesuffix(".toml")
    recording = args.output or Path(f"{stem}.nmea.gz")
    if recording.is_dir():
        recording = recording / f"{stem}.nmea.gz"
    truth = args.truth or recording.with_name(
        recording.name.removesuffix(".gz").removesuffix(".nmea") + ".truth.jsonl.gz"
    )
    if len({path.resolve() for path in (args.scenario, recording, truth)}) < 3:
        raise UserError("scenario, recording and truth are three files: one would be written over another")
    load = generate.write(scenario, recording, truth)
    _say(args, load, recording=str(recording), truth=str(truth))
    return 0


def _check(scenario: "Scenario", args: argparse.Namespace) -> int:
    from daemon.exercise import generate
    from daemon.exercise.passage import Passage
    from daemon.exercise.truth import closest

    passage = Passage(scenario)
    load = generate.measure(passage)
    found = closest(passage)
    if not args.json:
        targets = words.several(len(found), "target")
        print(f"{args.scenario}: good. {scenario.title}, {scenario.duration_min:g} min, {targets}.")
        for one in found:
            print(f"  {one.target}: CPA {one.cpa_nm:.2f} NM at minute {one.at_min:.1f}")
    _say(args, load, scenario=str(args.scenario), targets={one.target: one.cpa_nm for one in found})
    return 0


def _say(args: argparse.Namespace, load: "Load", **what: object) -> None:
    """What was made and whether the line would carry it."""
    if args.json:
        filled = {"baud": load.baud, "sentences": load.sentences, "share": round(load.share, 4), "fits": load.fits}
        print(json.dumps({**what, "line": {**filled, "seconds_over": load.over}}))
        return
    for name, path in what.items():
        if isinstance(path, str) and name != "scenario":
            print(f"{name}: {path}")
    print(load.text(), file=sys.stdout if load.fits else sys.stderr)


def _live(scenario: "Scenario", args: argparse.Namespace) -> int:
    import signal
    import threading

    from daemon.clock import HostClock
    from daemon.exercise import generate, live
    from daemon.exercise.passage import Passage

    pace = _pace(args.pace)
    passage = Passage(scenario)
    outlet = live.open_outlet(args.to, scenario.line.baud)
    stop, clock = threading.Event(), HostClock()
    before = {which: signal.signal(which, lambda *_: stop.set()) for which in (signal.SIGINT, signal.SIGTERM)}
    try:
        if scenario.duration_s <= LONG_S and not (load := generate.measure(passage)).fits:
            print(load.text(), file=sys.stderr)
        print(f"{scenario.title}: to {outlet.name}, {scenario.duration_min:g} min at pace {args.pace}", flush=True)
        if pace != 1 and args.form == "plain":
            print(
                f"secondplot exercise: at pace {args.pace} a watch's own clock makes every motion of the targets wrong:"
                " use --form tag here, and ?time=tag on the watch's feed",
                file=sys.stderr,
            )
        sent = live.Sent()
        if outlet.wait_for_reader(clock, stop):
            sent = live.send(generate.lines(passage), outlet, clock, stop, pace=pace, form=args.form)
    finally:
        outlet.close()
        for which, handler in before.items():
            signal.signal(which, handler)
    _say_sent(args, sent)
    return 0


def _pace(text: str) -> float | None:
    if text == "max":
        return None
    try:
        pace = float(text)
    except ValueError:
        pace = 0.0
    if not 0 < pace <= 100_000:
        raise UserError(f"--pace {text}: write a number over 0, such as 4, or max")
    return pace


def _say_sent(args: argparse.Namespace, sent: "Sent") -> None:
    if args.json:
        print(json.dumps({"sentences": sent.sentences, "thrown_away": sent.thrown_away, "latest_s": sent.latest_s}))
        return
    lost = f"; {sent.thrown_away} thrown away, nobody read them" if sent.thrown_away else ""
    print(f"{sent.sentences} sentences sent{lost}; at most {sent.latest_s:.2f} s behind their time")


def _questions(scenario: "Scenario", args: argparse.Namespace) -> int:
    from daemon.exercise import worksheet
    from daemon.exercise.passage import Passage

    if not 0.1 <= args.interval <= 60:
        raise UserError(f"--interval {args.interval:g}: write minutes from 0.1 to 60")
    if not 2 <= args.plots <= 20:
        raise UserError(f"--plots {args.plots}: write how many, from 2 to 20")
    _make_folder(args.questions, "--questions")
    stem = args.scenario.name.removesuffix(".toml")
    paths = worksheet.write(Passage(scenario), args.questions, stem, args.interval, args.plots)
    if args.json:
        print(json.dumps({"worksheet": str(paths[0]), "answers": str(paths[1])}))
    else:
        print(f"worksheet: {paths[0]}\nanswers: {paths[1]}")
    return 0


def _make_folder(folder: Path, option: str) -> None:
    """The folder, made where it is not there yet. UserError where it cannot be one."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        why = "is no folder" if isinstance(error, FileExistsError) else f"cannot be made: {error.strerror}"
        raise UserError(f"{option} {folder}: {why}", CANNOT_OPEN) from None


def _draw(args: argparse.Namespace) -> int:
    """Drawn encounters: scenario, recording and truth of each, numbered, in the folder `--output`."""
    from daemon.exercise import encounters, generate
    from daemon.exercise.writing import to_toml

    if args.draw < 1:
        raise UserError("--draw: write how many, at least 1")
    if args.scenario is not None or args.to is not None or args.questions is not None or args.check:
        raise UserError("--draw only writes files: leave out the scenario, --to, --questions and --check")
    folder = args.output or Path()
    _make_folder(folder, "--output")
    seed = 1 if args.seed is None else args.seed
    for index, scenario in enumerate(encounters.draw(seed, args.draw), start=1):
        path = folder / f"encounter-{index:05d}.toml"
        try:
            path.write_text(to_toml(scenario), encoding="utf-8")
        except OSError as error:
            raise UserError(f"cannot write {path}: {error.strerror}", CANNOT_OPEN) from None
        generate.write(scenario, path.with_suffix(".nmea.gz"), path.with_suffix(".truth.jsonl.gz"))
    print(
        json.dumps({"encounters": args.draw}) if args.json else f"{words.several(args.draw, 'encounter')} in {folder}"
    )
    return 0
