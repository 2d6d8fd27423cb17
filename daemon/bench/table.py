"""The answer for a person at a terminal, and every figure of every setting as CSV."""

import csv
from pathlib import Path

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from daemon import words
from daemon.bench import grid as grids
from daemon.bench import report as reports
from daemon.bench.confidence import LIMITED
from daemon.bench.report import FEW, PROMISE, Part, Report
from daemon.errors import CANNOT_OPEN, UserError

MOST_ROWS = 40
"""Of a longer front every so many rows are shown; CSV and JSON hold them all."""


def show(report: Report, console: Console, everything: bool = False) -> None:
    """What was read, the settings worth looking at, the recommendation, and what it can't promise."""
    for line in heading(report):
        console.print(Text(line))
    console.print(_settings(report, everything, console.width))
    if len(report.conditions) > 1:
        console.print(_apart(report, "by condition", report.conditions, console.width))
    if len(report.passages) > 1:
        console.print(_apart(report, "by passage", report.passages, console.width))
    for line in answer(report):
        console.print(Text(line))
    console.print(Text(PROMISE, style="italic"))


def heading(report: Report) -> list[str]:
    given = report.whole.figures
    lines = []
    if report.is_partial:
        done = sum(one.is_whole for one in report.outcomes)
        lines.append(
            f"PARTIAL: stopped after {done} of {words.several(report.planned, 'passage')};"
            " what was not read is in no figure"
        )
    lines += [f"not read: {words.clean(why, 200)}" for why in report.failed]
    lines.append(
        f"{words.several(len(report.grid.settings), 'setting')} of {', '.join(report.grid.rules)} over"
        f" {words.several(len(report.outcomes), 'passage')}, {given.hours:.1f} h"
    )
    lines.append(
        f"{words.several(given.close + given.clear + given.unjudged, 'encounter')}:"
        f" {words.several(given.close, 'close pass', 'close passes')}, {given.clear} passed"
        f" clear ({given.averted} after an alteration), {given.unjudged} cannot be judged"
    )
    lines += [f"  cannot be judged: {count}, {why}" for why, count in report.unjudged().items()]
    lost = [name for one in report.outcomes for name in one.untracked]
    if lost:
        lines.append(f"close, and never on the plot, so that no limit could warn: {words.clean(', '.join(lost), 200)}")
    if 0 < given.close < FEW:
        passes = words.several(given.close, "close pass", "close passes")
        lines.append(f"only {passes}: the 10th percentile of warning is all but the worst of them")
    return lines


NARROW, WIDE = 110, 150
"""Below the one a console has room for the chief figures only; from the other on, for every one."""


def _settings(report: Report, everything: bool, width: int) -> Table:
    title = "every setting" if everything else "settings that no other betters, by nuisance"
    table = Table(title=title, title_justify="left", box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0))
    for axis in report.grid.axes:
        table.add_column(_headed(axis.name.rpartition(".")[2]), no_wrap=True)
    late = f"late\n<{report.late_min:g} min"
    heads = ["caught", late, "10th,\nmin", "false\n/h"]
    if width >= NARROW:
        heads[2:] = ["warning, min:\n10th (95 %)", "nuisance\n/h (95 %)", "alerts\n/h"]
    if width >= WIDE:
        heads += ["missed", "median,\nmin", "worst,\nmin", "passed\nclear by", "again", "in\nalarm"]
    for head in heads:
        table.add_column(head, justify="right", no_wrap=True)
    table.add_column("", no_wrap=True)
    shown = list(range(len(report.grid.settings))) if everything else report.shown()
    if not everything and len(shown) > MOST_ROWS:
        step = -(-len(shown) // MOST_ROWS)
        shown = [setting for place, setting in enumerate(shown) if place < 3 or place % step == 0]
    what = {report.choice.nearest: "nearest", 0: "configured", report.choice.setting: "recommended"}
    for setting in shown:
        cells = _row(report, setting, width >= NARROW)[: len(heads)]
        values = report.grid.settings[setting].values
        keys = [grids.said(value) for value in values] or _configured(report)
        table.add_row(*keys, *cells, what.get(setting, ""), style="bold" if setting == report.choice.setting else "")
    return table


def _headed(key: str) -> str:
    """A key above a narrow column: a word a line, twelve letters of it at most."""
    return "\n".join(word[:12] for word in key.split("_"))


_LIMITED = (("warning_low_min", 1), ("nuisance_per_h", 2))


def _configured(report: Report) -> list[str]:
    """The swept keys' values in the configuration as it stands: a dash where they differ by condition."""
    told = []
    for axis in report.grid.axes:
        values = {str(grids.value_at(report.grid.settings[0].limits, path)) for path in axis.paths}
        told.append(values.pop() if len(values) == 1 else words.DASH)
    return told


def _row(report: Report, setting: int, limited: bool) -> list[str]:
    """The cells, with their limits or without; the chief ones first."""
    given, limits = report.whole.figures, report.limits(setting)
    about = {name: f" ({_between(*limits[name], digits)})" if limited else "" for name, digits in _LIMITED}
    return [
        f"{given.caught[setting]:.0f}/{given.close}",
        f"{given.late[setting]:.0f}",
        _number(float(given.warning_low_min[setting]), 1) + about["warning_low_min"],
        _number(float(given.nuisance_per_h[setting]), 2) + about["nuisance_per_h"],
        _number(float(given.alerts_per_h[setting]), 2),
        f"{given.missed[setting]:.0f}",
        _number(float(given.warning_median_min[setting]), 1),
        _number(float(given.warning_worst_min[setting]), 1),
        _number(float(given.nuisance_clear_nm[setting]), 2, " NM"),
        f"{given.again[setting]:.0f}",
        _number(100 * float(given.alarm_share[setting]), 1, " %"),
    ]


def _number(value: float, digits: int, unit: str = "") -> str:
    return words.DASH if value != value else f"{value:.{digits}f}{unit}"


def _between(low: float, high: float, digits: int) -> str:
    return words.DASH if low != low else f"{low:.{digits}f} to {high:.{digits}f}"


def _apart(report: Report, title: str, parts: tuple[Part, ...], width: int) -> Table:
    """As configured, and as recommended, for each condition or passage."""
    table = Table(title=title, title_justify="left", box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0))
    table.add_column("", overflow="fold", min_width=16)
    settings = [0, report.choice.setting] if report.choice.setting else [0]
    is_narrow = width < NARROW
    heads = ["close"] if is_narrow else ["hours", "close", "clear", "not\njudged"]
    for setting in settings:
        name = "recommended" if setting else "configured"
        heads += (
            [f"{name[:5]}.\ncaught", "10th,\nmin", "false\n/h"]
            if is_narrow
            else [
                f"{name}:\ncaught",
                "median / 10th,\nmin",
                "nuisance\n/h",
            ]
        )
    for head in heads:
        table.add_column(head, justify="right", no_wrap=True)
    for part in parts:
        given = part.figures
        counts = [f"{given.hours:.1f}", str(given.close), str(given.clear), str(given.unjudged)]
        cells = [words.clean(part.name, 60), *(counts[1:2] if is_narrow else counts)]
        for setting in settings:
            low = _number(float(given.warning_low_min[setting]), 1)
            median = _number(float(given.warning_median_min[setting]), 1)
            cells.append(f"{given.caught[setting]:.0f}/{given.close}")
            cells.append(low if is_narrow else f"{median} / {low}")
            cells.append(_number(float(given.nuisance_per_h[setting]), 2))
        table.add_row(*(Text(cell) for cell in cells))
    return table


def answer(report: Report) -> list[str]:
    lines = []
    setting = report.choice.setting
    if setting is not None:
        lines.append(f"recommended: {report.grid.name(setting)} ({report.choice.why})")
    else:
        lines.append(report.choice.why)
        if report.choice.nearest is not None:
            lines.append(f"nearest to the wish: {report.grid.name(report.choice.nearest)}")
    if report.pair and report.differences:
        first, second = (report.grid.name(one) for one in report.pair)
        lines.append(f"{second}, against {first}, on the same encounters:")
        for one in report.differences:
            limits = _between(one.low, one.high, 2)
            lines.append(f"  {one.figure}: {_number(one.difference, 2)} {one.unit} ({limits}), {one.judged()}")
    return lines


def write_csv(report: Report, path: Path) -> None:
    """A row for each setting, a column for each figure, its limits and each swept key."""
    axes = [axis.name for axis in report.grid.axes]
    counts = reports.counted(report.whole.figures)
    try:
        with path.open("w", encoding="utf-8", newline="") as file:
            writer = csv.writer(file)
            limited = [f"{name}_{end}" for name in LIMITED for end in ("low_95", "high_95")]
            writer.writerow(["setting", *axes, *reports.COLUMNS, *limited, *counts, "partial"])
            for setting in range(len(report.grid.settings)):
                values = reports.settings_row(report, setting)
                writer.writerow(
                    [
                        report.grid.name(setting),
                        *(values.get(name, "") for name in axes),
                        *reports.row(report.whole.figures, setting).values(),
                        *(end for pair in reports.limits_row(report, setting).values() for end in pair),
                        *counts.values(),
                        str(report.is_partial).lower(),
                    ]
                )
    except OSError as error:
        raise UserError(f"{path} cannot be written: {error.strerror}", CANNOT_OPEN) from error
