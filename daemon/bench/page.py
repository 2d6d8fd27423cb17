"""The bench's answer as one HTML page: heat maps, the Pareto front, and the encounters behind any cell."""

from collections.abc import Iterator, Sequence
from html import escape
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np

from alerts.plotting.chance import LIMIT
from daemon import words
from daemon.bench.encounters import Encounter, Verdict
from daemon.bench.grid import AS_CONFIGURED, Axis, Value, said, value_at
from daemon.bench.report import PROMISE, Part, Report
from daemon.bench.table import answer, heading
from daemon.errors import CANNOT_OPEN, UserError
from daemon.pictures.drawing import Drawing, Point, thinned
from daemon.pictures.paper import data, paper, table

MOST_WAYS = 60
"""Encounters drawn: the close ones first, then those that most settings told of."""

SHADES = 5


def write(report: Report, path: Path) -> None:
    """Writes the page. Raises UserError where it can't."""
    try:
        path.write_text(page(report), encoding="utf-8")
    except OSError as error:
        raise UserError(f"{path} cannot be written: {error.strerror}", CANNOT_OPEN) from error


def page(report: Report) -> str:
    """The whole file."""
    rules = (files("daemon.debrief") / "page.css").read_text(encoding="utf-8")
    rules += (files("daemon.bench") / "page.css").read_text(encoding="utf-8")
    script = (files("daemon.bench") / "page.js").read_text(encoding="utf-8")
    return paper("Alert limits on the bench", "".join(_sections(report)), rules, script)


def _sections(report: Report) -> Iterator[str]:
    yield "<header><h1>Alert limits on the bench</h1>"
    yield f'<div class="cautions"><p>{words.SMALL_CRAFT}</p><p>{escape(PROMISE)}</p></div></header><main>'
    for line in heading(report):
        mark = ' class="partial"' if line.startswith("PARTIAL") else ""
        yield f"<p{mark}>{escape(line)}</p>"
    yield "<h2>Answer</h2>" + "".join(f"<p>{escape(line)}</p>" for line in answer(report))
    yield "<h2>Settings that no other betters</h2>" + _table(report)
    if report.whole.figures.close:
        front = f'<div class="wide">{pareto(report).svg()}</div>'
        yield f'<figure class="front">{front}<figcaption>{_pareto_words()}</figcaption></figure>'
    for title, parts in (("By condition", report.conditions), ("By passage", report.passages)):
        if len(parts) > 1:
            yield f"<h2>{title}</h2>" + _parts(report, parts)
    shown = _cells(report)
    yield "<h2>Any two limits</h2>" + _maps(report, shown)
    yield from _encounters(report, shown)
    yield "</main>"


def _parts(report: Report, parts: Sequence[Part]) -> str:
    """As configured, and as recommended, for each condition or passage."""
    chosen = {"as configured": 0} | ({"recommended": report.choice.setting} if report.choice.setting else {})
    heads = ["", "hours", "close", "clear", "not judged"]
    heads += [f"{name}: {head}" for name in chosen for head in ("caught", "10th percentile", "nuisance an hour")]
    rows = []
    for part in parts:
        given = part.figures
        cells = [
            words.clean(part.name, 60),
            f"{given.hours:.1f}",
            *map(str, (given.close, given.clear, given.unjudged)),
        ]
        for setting in chosen.values():
            cells.append(f"{given.caught[setting]:.0f} of {given.close}")
            cells.append(_number(given.warning_low_min[setting], " min"))
            cells.append(_number(given.nuisance_per_h[setting], ""))
        rows.append(cells)
    return _rows(heads, rows)


def _rows(heads: Sequence[str], rows: Sequence[Sequence[str]], chosen: int | None = None) -> str:
    """A table of plain text."""
    return table([escape(head) for head in heads], [[escape(cell) for cell in row] for row in rows], chosen=chosen)


def _table(report: Report) -> str:
    given = report.whole.figures
    heads = ("setting", "caught", "late", "missed", "warning, 10th percentile (95 %)", "nuisance an hour (95 %)")
    rows = []
    for setting in report.shown():
        limits = report.limits(setting)
        cells = (
            report.grid.name(setting) + (" (recommended)" if setting == report.choice.setting else ""),
            f"{given.caught[setting]:.0f} of {given.close}",
            f"{given.late[setting]:.0f}",
            f"{given.missed[setting]:.0f}",
            f"{_number(given.warning_low_min[setting], ' min')} ({_pair(limits['warning_low_min'])})",
            f"{_number(given.nuisance_per_h[setting], '')} ({_pair(limits['nuisance_per_h'])})",
        )
        rows.append(cells)
    shown = report.shown()
    return _rows(heads, rows, shown.index(report.choice.setting) if report.choice.setting in shown else None)


def _number(value: float, unit: str) -> str:
    return words.DASH if np.isnan(value) else f"{value:.2f}{unit}"


def _pair(limits: tuple[float, float]) -> str:
    return words.DASH if np.isnan(limits[0]) else f"{limits[0]:.2f} to {limits[1]:.2f}"


# --------------------------------------------------------------------------------------------- the front


def _pareto_words() -> str:
    return (
        "Each dot is a setting. Up: the warning that nine close passes in ten have. To the right: nuisance alerts an"
        " hour. The line joins the settings that no other betters; the ring is the configuration as it stands."
    )


def pareto(report: Report, width: float = 640.0, height: float = 320.0) -> Drawing:
    """Warning time against nuisance, all settings."""
    given = report.whole.figures
    x, y = given.nuisance_per_h, given.warning_low_min
    most_x, most_y = max(float(np.nanmax(x)), 0.1) * 1.05, max(float(np.nanmax(y)), 1.0) * 1.1
    drawing = Drawing(width, height, "Warning time against nuisance alerts", _pareto_words())

    def at(setting: int) -> Point:
        return 46 + (width - 60) * float(x[setting]) / most_x, height - 34 - (height - 54) * float(y[setting]) / most_y

    for share in (0.0, 0.25, 0.5, 0.75, 1.0):
        up, right = height - 34 - (height - 54) * share, 46 + (width - 60) * share
        drawing.line((46, up), (width - 14, up), "hair" if share else "axis")
        drawing.text((42, up + 3), f"{share * most_y:.1f}", "s", "end")
        drawing.text((right, height - 20), f"{share * most_x:.2f}", "s", "middle")
    drawing.text((2, 11), "warning, 10th percentile, min", "s")
    drawing.text((width - 14, height - 5), "nuisance alerts an hour", "s", "end")
    for setting in _apart([at(setting) for setting in range(len(x))]):
        drawing.circle(at(setting), 2.0, "axis", report.grid.name(setting))
    drawing.polyline([at(setting) for setting in report.front], "ours")
    for setting in report.front:
        drawing.circle(at(setting), 3.5, "ours-dot", report.grid.name(setting))
    drawing.circle(at(0), 6.0, "danger", AS_CONFIGURED)
    if report.choice.setting is not None:
        drawing.circle(at(report.choice.setting), 7.0, "good", "recommended")
        drawing.text((at(report.choice.setting)[0] + 9, at(report.choice.setting)[1] + 4), "recommended", "b")
    return drawing


def _apart(places: Sequence[Point]) -> list[int]:
    """One of all that fall on the same pixel."""
    seen: dict[tuple[int, int], int] = {}
    for number, (x, y) in enumerate(places):
        seen.setdefault((round(x), round(y)), number)
    return sorted(seen.values())


# ------------------------------------------------------------------------------------------- the heat maps


def _best(report: Report) -> int:
    """The setting that the page opens with, and whose other limits the maps hold."""
    choice = report.choice
    if choice.setting is not None:
        return choice.setting
    if choice.nearest is not None:
        return choice.nearest
    return report.front[0] if report.front else 0


def _held(report: Report) -> dict[str, Value]:
    """The values that the maps hold, by key: the best setting's, or those of the sweep next to the configuration's."""
    values = report.grid.settings[_best(report)].values
    if values:
        return dict(zip((axis.name for axis in report.grid.axes), values, strict=True))
    held: dict[str, Value] = {}
    for axis in report.grid.axes:
        now = value_at(report.grid.settings[0].limits, axis.paths[0])
        held[axis.name] = min(axis.values, key=lambda value: _away(value, now))
    return held


def _away(value: Value, now: Value) -> float:
    if isinstance(value, str) or isinstance(now, str):
        return float(value != now)
    return abs(value - now)


def _axes(report: Report) -> list[Axis]:
    """The two swept keys with the most values, in the order of the sweep; one, where only one was swept."""
    axes = sorted(report.grid.axes, key=lambda axis: -len(axis.values))[:2]
    return [axis for axis in report.grid.axes if axis in axes]


def _cells(report: Report) -> list[int]:
    """The settings of the maps: all values of two keys, the others as in the best setting; and as configured."""
    axes, values = _axes(report), _held(report)
    held = [None if axis in axes else values[axis.name] for axis in report.grid.axes]
    cells = [
        number
        for number, setting in enumerate(report.grid.settings)
        if setting.values and all(h is None or h == v for h, v in zip(held, setting.values, strict=True))
    ]
    return list(dict.fromkeys([*cells, 0, _best(report)]))


def _maps(report: Report, shown: Sequence[int]) -> str:
    given, axes = report.whole.figures, _axes(report)
    values = _held(report)
    others = [f"{axis.name} {said(values[axis.name])}" for axis in report.grid.axes if axis not in axes]
    held = f", with {', '.join(others)}" if others else ""
    intro = f"<p>{escape(' against '.join(axis.name for axis in axes))}{escape(held)}. Choose a cell.</p>"
    maps = (
        _map(report, "Warning, 10th percentile, minutes", given.warning_low_min, axes, shown, 1),
        _map(report, "Nuisance alerts an hour", given.nuisance_per_h, axes, shown, 2),
        _map(report, "Close passes missed", given.missed, axes, shown, 0),
    )
    return intro + f'<div class="maps">{"".join(maps)}</div>'


def _map(report: Report, title: str, values: Any, axes: Sequence[Axis], shown: Sequence[int], digits: int) -> str:
    settings = report.grid.settings
    place = [report.grid.axes.index(axis) for axis in axes]
    by_values = {
        tuple(settings[number].values[k] for k in place): number for number in shown if settings[number].values
    }
    across = axes[-1].values
    down = axes[0].values if len(axes) > 1 else (None,)
    known = [float(values[number]) for number in by_values.values() if not np.isnan(values[number])]
    low, high = (min(known), max(known)) if known else (0.0, 1.0)
    head = "<tr><th></th>" + "".join(f"<th>{escape(said(value))}</th>" for value in across) + "</tr>"
    rows = []
    for row in down:
        cells = [
            _cell(by_values.get((value,) if row is None else (row, value)), values, low, high, digits)
            for value in across
        ]
        name = "" if row is None else escape(said(row))
        rows.append(f"<tr><th>{name}</th>{''.join(cells)}</tr>")
    about = f"{title}: {axes[-1].name} across" + (f", {axes[0].name} down" if len(axes) > 1 else "")
    heat = f'<table class="heat" aria-label="{escape(about)}">{head}{"".join(rows)}</table>'
    return f'<figure><figcaption>{escape(about)}</figcaption><div class="wide">{heat}</div></figure>'


def _cell(setting: int | None, values: Any, low: float, high: float, digits: int) -> str:
    if setting is None:
        return "<td></td>"
    value = float(values[setting])
    shade = 0 if np.isnan(value) or high <= low else min(int(SHADES * (value - low) / (high - low)), SHADES - 1)
    text = words.DASH if np.isnan(value) else f"{value:.{digits}f}"
    return (
        f'<td class="h{shade}"><button type="button" data-setting="{setting}" aria-pressed="false">{text}</button></td>'
    )


# ------------------------------------------------------------------------------------------- the encounters


def _encounters(report: Report, shown: Sequence[int]) -> Iterator[str]:
    pooled = report.whole.pooled
    chosen = _chosen(report)
    plots = [Plotted(pooled.encounters[k]) for k in chosen]
    first = _best(report)
    name = escape(report.grid.name(first))
    yield f'<h2 data-first="{first}">Encounters under <span id="cell-name">{name}</span></h2>'
    left = len(pooled.encounters) - len(chosen)
    yield "<p>Relative tracks, own ship in the middle, north up; the ring is what counts as close, the circle on the"
    yield " track where the alert came that stood at the closest approach."
    yield f" Not drawn: {words.several(left, 'more encounter')}.</p>" if left else "</p>"
    yield '<div class="ways">'
    for number, (k, plot) in enumerate(zip(chosen, plots, strict=True)):
        one = pooled.encounters[k]
        # 95 %; an exercise's truth has none.
        doubt = f" ± {max(LIMIT * one.sd_nm, 0.01):.2f}" if one.sd_nm > 0.0 else ""
        apart = f"{one.cpa_nm:.2f}{doubt} NM, {one.verdict}"
        why = f" ({words.clean(one.why, 80)})" if one.why else ""
        averted = ", after an alteration" if one.averted else ""
        yield f'<figure id="way-{number}">{plot.drawing.svg()}<figcaption>{escape(words.clean(one.target, 40))},'
        yield f" {escape(words.clean(one.recording, 60))}: {apart}{averted}{escape(why)}."
        yield ' <b class="told-here"></b></figcaption></figure>'
    yield "</div>"
    cells = {
        str(setting): {
            "name": report.grid.name(setting),
            "told": [
                [
                    None if np.isnan(pooled.warned_min[setting, k]) else round(float(pooled.warned_min[setting, k]), 2),
                    int(pooled.raised[setting, k]),
                    int(pooled.nuisance[setting, k]),
                ]
                for k in chosen
            ],
        }
        for setting in shown
    }
    yield data("cells", cells)
    ways = [
        {"verdict": str(pooled.encounters[k].verdict), "way": plot.way} for k, plot in zip(chosen, plots, strict=True)
    ]
    yield data("ways", ways)


def _chosen(report: Report) -> list[int]:
    pooled = report.whole.pooled
    often = (pooled.raised > 0).sum(axis=0)
    order = sorted(
        range(len(pooled.encounters)),
        key=lambda k: (pooled.encounters[k].verdict is not Verdict.CLOSE, -int(often[k]), pooled.encounters[k].cpa_nm),
    )
    told = [k for k in order if often[k] or pooled.encounters[k].verdict is Verdict.CLOSE]
    return told[:MOST_WAYS]


class Plotted:
    """An encounter's relative track as a drawing; `way` has seconds and pixels, for the marks."""

    def __init__(self, one: Encounter, size: float = 220.0) -> None:
        middle = size / 2
        near = one.way[np.hypot(one.way[:, 1], one.way[:, 2]) <= 8.0] if len(one.way) else one.way
        reach = max(float(np.hypot(near[:, 1], near[:, 2]).max(initial=0.0)), 1.2 * one.close_nm, 0.2)
        scale = (middle - 12) / reach
        title = f"Relative track of {words.clean(one.target, 40)}"
        self.drawing = Drawing(size, size, title, f"Closest approach {one.cpa_nm:.2f} NM.")
        self.way = [
            [round(at_s, 1), round(middle + scale * east, 1), round(middle - scale * north, 1)]
            for at_s, east, north in near.tolist()
        ]
        self.drawing.circle((middle, middle), scale * one.close_nm, "limit")
        self.drawing.line((middle - 5, middle), (middle + 5, middle), "line")
        self.drawing.line((middle, middle - 5), (middle, middle + 5), "line")
        points = [(x, y) for _, x, y in self.way]
        self.drawing.polyline(thinned(points), "ours")
        if points:
            self.drawing.circle(points[-1], 2.5, "ours-dot")
        self.drawing.text((4, size - 5), f"{reach:.1f} NM to the edge", "s")
