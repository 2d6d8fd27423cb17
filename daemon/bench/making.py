"""The bench from the command line: passages, grid, workers, answer."""

import argparse
import json
import math
import os
import sys

from rich.console import Console

from daemon.bench import page
from daemon.bench.choosing import Wish, minutes, per_hour
from daemon.bench.grid import AS_CONFIGURED, Grid, grid_of, said
from daemon.bench.outcome import Task
from daemon.bench.passages import Passage, passages_of
from daemon.bench.report import Report, as_json, report_of
from daemon.bench.running import Run, run
from daemon.bench.table import show, write_csv
from daemon.commands import shared
from daemon.config import Config, load
from daemon.errors import CANNOT_OPEN, UserError
from daemon.replaying import lookout_settings

DEFAULT_SWEEPS = ("cpa_nm=0.2:1.5:0.1", "tcpa_min=6:24:2", "probability=0.3,0.5,0.8")

INTERRUPTED = 130

PIPE_WIDTH = 160
"""Where the answer goes to no terminal, it has room for all."""


def make(args: argparse.Namespace) -> int:
    """The command, from its arguments to its exit code."""
    config = load(args.config, shared.overrides(args))
    grid = grid_of(config, args.sweep or DEFAULT_SWEEPS, args.rule)
    pair = tuple(_setting(grid, text) for text in args.compare) if args.compare else None
    wish = Wish(
        minutes(args.at_least_warning, "--at-least-warning") if args.at_least_warning else None,
        per_hour(args.at_most_nuisance, "--at-most-nuisance") if args.at_most_nuisance else None,
    )
    late_min = minutes(args.late, "--late")
    passages = passages_of(args.files, args.joined)
    tasks = _tasks(args, config, grid, passages)
    _say_first(config, grid)
    done = run(tasks, [passage.size for passage in passages], args.workers or _cores(), args.scheduler, args.quiet)
    if not done.outcomes:
        raise UserError("; ".join(done.failed) or "stopped before anything was read", CANNOT_OPEN)
    report = report_of(
        grid,
        [done.outcomes[number] for number in sorted(done.outcomes)],
        wish=wish,
        late_min=late_min,
        pair=(pair[0], pair[1]) if pair else None,
        by=args.draw,
        seed=args.seed,
        is_partial=done.stopped or not all(one.is_whole for one in done.outcomes.values()),
        planned=len(tasks),
        failed=done.failed,
    )
    _write(report, args)
    return _exit_code(done)


def _exit_code(done: Run) -> int:
    if done.stopped:
        return INTERRUPTED
    return CANNOT_OPEN if done.failed else 0


def _tasks(args: argparse.Namespace, config: Config, grid: Grid, passages: list[Passage]) -> list[Task]:
    for name, value in (("--within", args.within), ("--close", args.close)):
        if value is not None and not (math.isfinite(value) and value > 0):
            raise UserError(f"{name} {value:g}: a range in NM, more than 0")
    close_nm = args.close
    widest_nm = close_nm or max(condition.cpa_nm for condition in config.conditions.values())
    return [
        Task(
            paths=passage.paths,
            name=passage.name,
            passage_id=passage.passage_id,
            settings=lookout_settings(config),
            grid=grid,
            within_nm=args.within or max(2.0, 2.0 * widest_nm),
            close_nm=close_nm,
            by_truth=args.truth != "hindsight",
            rate=args.rate,
            require_checksum=not args.no_checksum,
        )
        for passage in passages
    ]


def _say_first(config: Config, grid: Grid) -> None:
    if not grid.vectorised:
        print(
            f"secondplot bench: {len(grid.settings):,} settings of {', '.join(grid.rules)}: the rules run for each of"
            " them, which takes as much longer",
            file=sys.stderr,
        )
    if config.annunciators.sentences.accept_from:
        print("secondplot bench: acknowledgements in the recordings are left out", file=sys.stderr)


def _setting(grid: Grid, text: str) -> int:
    """`cpa_nm=0.5,tcpa_min=12`, or `as configured`, to the setting that it names."""
    if text.strip() == AS_CONFIGURED:
        return 0
    wanted = dict(part.strip().partition("=")[::2] for part in text.split(","))
    names = [axis.name for axis in grid.axes]
    if set(wanted) != set(names):
        raise UserError(f"--compare {text}: give {', '.join(names)}, or '{AS_CONFIGURED}'")
    for number, setting in enumerate(grid.settings):
        values = dict(zip(names, setting.values, strict=True)) if setting.values else {}
        if values and all(_same(wanted[name], said(values[name])) for name in names):
            return number
    raise UserError(f"--compare {text}: the sweep has no such setting")


def _same(text: str, value: str) -> bool:
    try:
        return float(text) == float(value)
    except ValueError:
        return text.strip() == value


def _cores() -> int:
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _write(report: Report, args: argparse.Namespace) -> None:
    for one in report.outcomes:
        for notice in one.notices:
            print(f"secondplot bench: {notice}", file=sys.stderr)
    if args.csv:
        write_csv(report, args.csv)
    if args.html:
        page.write(report, args.html)
    if args.json:
        print(json.dumps(as_json(report)))
    elif not args.quiet:
        show(report, Console(width=None if sys.stdout.isatty() else PIPE_WIDTH), args.all)
