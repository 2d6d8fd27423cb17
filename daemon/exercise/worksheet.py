"""A plotting exercise for a crew as two printable HTML files: the worksheet, and the answers with the worked geometry.

Each stands alone: no script, no font and no picture from anywhere else. Text from the scenario is escaped.
"""

from collections.abc import Iterator
from datetime import UTC, datetime
from html import escape
from pathlib import Path

from daemon.errors import CANNOT_OPEN, UserError
from daemon.exercise import plotting_sheet
from daemon.exercise.passage import Passage
from daemon.exercise.plot_problem import (
    BEARING_STEP_DEG,
    RANGE_STEP_NM,
    STEADY_DEG_PER_MIN,
    Problem,
    Worked,
    problems,
    worked,
)
from daemon.exercise.truth import TargetTruth, situations
from daemon.words import fine_bearing
from parsers.observations import Orientation

CAUTION = (
    "An exercise with invented vessels. Radar plotting is an aid to a proper look-out, never a substitute; small craft "
    "may not be seen by radar at all. The COLREGs, local rules and licensed practice decide."
)

# US STCW radar assessments OICNW-3-1F and 3-1J, as a state academy has them.
TOLERANCES = "within 5° and 5 kn for course and speed, 0.5 NM for CPA, 3 min for TCPA"

STYLE = """
@page { size: A4; margin: 12mm }
body { font: 10pt/1.35 serif; color: #000; background: #fff; max-width: 186mm; margin: 0 auto; padding: 4mm }
h1 { font-size: 16pt; margin: 0 0 2mm } h2 { font-size: 13pt; margin: 0 0 2mm }
section { break-before: page; padding-top: 4mm }
.caution { border: 1px solid #000; padding: 2mm; font-size: 9.5pt }
table { border-collapse: collapse; margin: 2mm 0 }
th, td { border: 1px solid #444; padding: .7mm 2.5mm; text-align: right }
th { font-weight: bold; text-align: left; background: #eee } td.blank { min-width: 38mm }
.answers { width: 100% } .answers th:first-child { width: 46% } .answers ~ svg { max-width: 122mm }
svg { width: 100%; max-width: 130mm; display: block; margin: 2mm auto }
svg text { font: 11px sans-serif; fill: #333 } svg .bearing { text-anchor: middle } svg .letter { text-anchor: end }
svg .letter { font-weight: bold; font-size: 14px; fill: #000 } svg .time { font-size: 12px; fill: #000 }
.ring, .spoke { fill: none; stroke: #888; stroke-width: .7 } .heading { stroke: #000; stroke-width: 1.6 }
.plot { fill: none; stroke: #000; stroke-width: 1.4 } .relative { stroke: #000; stroke-width: 1.8 }
.dashed { stroke-dasharray: 6 4 } .cpa { stroke: #000; stroke-width: 1.2; stroke-dasharray: 2 3 }
.own { stroke: #000; stroke-width: 1.2 } .true { stroke: #000; stroke-width: 2.6 }
"""


def write(passage: Passage, folder: Path, stem: str, interval_min: float, count: int = 3) -> tuple[Path, Path]:
    """Writes worksheet and answers into `folder`. Raises UserError where nothing can be asked or written."""
    asked = problems(passage, interval_min, count)
    if not asked:
        raise UserError(
            f"no target gives {count} plots {interval_min:g} minutes apart while it closes and nobody alters; "
            "take a shorter interval"
        )
    pages = {
        folder / f"{stem}.worksheet.html": worksheet(passage, asked),
        folder / f"{stem}.answers.html": answers(passage, asked),
    }
    for path, page in pages.items():
        try:
            path.write_text(page, encoding="utf-8")
        except OSError as error:
            raise UserError(f"cannot write {path}: {error.strerror}", CANNOT_OPEN) from None
    first, second = pages
    return first, second


def worksheet(passage: Passage, asked: list[Problem]) -> str:
    """The sheet for the crew: what is seen, what is asked, and a blank plotting sheet for each target."""
    return _page(passage, "Worksheet", (part for problem in asked for part in _question(passage, problem)))


def answers(passage: Passage, asked: list[Problem]) -> str:
    """The answers, as plotted from the sheet's own numbers, beside the exact ones of the scenario."""
    return _page(passage, "Answers", (part for problem in asked for part in _answer(passage, problem)))


def _page(passage: Passage, kind: str, body: Iterator[str]) -> str:
    scenario = passage.scenario
    title = escape(f"{scenario.title}: {kind.lower()}")
    return (
        f'<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"><title>{title}</title>'
        f"<style>{STYLE}</style></head>"
        f"<body><h1>{title}</h1><p>{escape(scenario.about.strip())}</p>"
        f"<p>{escape(scenario.place.name)} {scenario.start:%Y-%m-%d}. Times are UTC. Ranges are read to "
        f"{RANGE_STEP_NM:g} NM and bearings to {BEARING_STEP_DEG:g}°. Pass marks of one training authority: "
        f"{TOLERANCES}.</p>"
        f'<p class="caution">{CAUTION}</p>{"".join(body)}</body></html>\n'
    )


def _clock(passage: Passage, at_s: float) -> str:
    when = datetime.fromtimestamp(passage.scenario.start_ms / 1000 + at_s, UTC)
    return when.strftime("%H:%M" if when.second == 0 else "%H:%M:%S")


def _head_up(passage: Passage) -> bool:
    return passage.scenario.radar is not None and passage.scenario.radar.orientation is Orientation.HEAD_UP


def _side(relative_deg: float) -> str:
    """061° to port as the trade writes it in a table: P 061."""
    return f"{'S' if relative_deg >= 0 else 'P'} {abs(relative_deg):05.1f}°"


def _seen(passage: Passage, problem: Problem) -> str:
    relative = _head_up(passage)
    rows = "".join(
        f"<tr><td>{_clock(passage, plot.at_s)}</td><td>{plot.range_nm:.2f}</td>"
        f"<td>{_side(plot.relative_deg) if relative else fine_bearing(plot.bearing_deg)}</td></tr>"
        for plot in problem.plots
    )
    bearing = "Bearing off the bow" if relative else "True bearing"
    own = f"Own course {fine_bearing(problem.own_course_deg)}T and speed {problem.own_speed_kn:.1f} kn over the ground"
    heading = f", heading {fine_bearing(problem.own_heading_deg)}T"
    return f"<p>{own}{heading}.</p><table><tr><th>Time</th><th>Range, NM</th><th>{bearing}</th></tr>{rows}</table>"


ASKED = (
    "Direction and speed of relative movement",
    "CPA: distance and bearing",
    "TCPA: minutes after the last plot, and clock time",
    "Course and speed of the target",
    "Aspect at the last plot",
    "Bearing: steady, drawing ahead or drawing aft",
    "Does it pass ahead or astern of us; where does it cross our heading line",
)


def _question(passage: Passage, problem: Problem) -> Iterator[str]:
    blanks = "".join(f'<tr><th>{text}</th><td class="blank"></td></tr>' for text in ASKED)
    scale = plotting_sheet.scale_for(problem, worked(problem))
    yield f"<section><h2>{escape(problem.target)}</h2>{_seen(passage, problem)}<table>{blanks}</table>"
    yield plotting_sheet.blank(scale, problem.own_heading_deg)
    yield "</section>"


def _answer(passage: Passage, problem: Problem) -> Iterator[str]:
    answer = worked(problem)
    exact = _exact(passage, problem)
    last_s = problem.plots[-1].at_s
    found = [
        f"{fine_bearing(answer.relative_course_deg)}T, {answer.relative_speed_kn:.1f} kn",
        f"{answer.cpa_nm:.2f} NM on {fine_bearing(answer.cpa_bearing_deg)}T",
        f"{answer.tcpa_min:.1f} min, at {_clock(passage, round(last_s + answer.tcpa_min * 60))}",
        f"{fine_bearing(answer.course_deg)}T, {answer.speed_kn:.1f} kn",
        _aspect(answer.aspect_deg),
        _drift(answer, problem),
        _passing(answer),
    ]
    true = ["", f"{exact.cpa_nm:.2f} NM", "" if exact.tcpa_min is None else f"{exact.tcpa_min:.1f} min",
            f"{fine_bearing(exact.course_deg)}T, {exact.speed_kn:.1f} kn", "", "", ""]  # fmt: skip
    rows = "".join(
        f"<tr><th>{asked}</th><td>{plotted}</td><td>{value}</td></tr>"
        for asked, plotted, value in zip(ASKED, found, true, strict=True)
    )
    yield f"<section><h2>{escape(problem.target)}</h2>{_seen(passage, problem)}"
    yield f"<table class='answers'><tr><th></th><th>By plot from the sheet</th><th>Exact</th></tr>{rows}</table>"
    yield f"<p>{_working(problem, answer)}</p>"
    yield plotting_sheet.solved(problem, answer, [_clock(passage, plot.at_s) for plot in problem.plots])
    yield "</section>"


def _exact(passage: Passage, problem: Problem) -> TargetTruth:
    import numpy as np

    (now,) = situations(passage, np.array([problem.plots[-1].at_s]))
    return next(target for target in now.targets if target.target == problem.target)


def _aspect(aspect_deg: float) -> str:
    return f"{'green' if aspect_deg >= 0 else 'red'} {abs(aspect_deg):03.0f}°"


def _drift(answer: Worked, problem: Problem) -> str:
    rate = f"{abs(answer.drift_deg_min):.1f}° a minute"
    if abs(answer.drift_deg_min) < STEADY_DEG_PER_MIN:
        return f"steady ({rate}; under {STEADY_DEG_PER_MIN:g}°)"
    on_starboard = problem.plots[-1].relative_deg >= 0
    aft = (answer.drift_deg_min > 0) == on_starboard
    return f"drawing {'aft' if aft else 'ahead'}, {rate}"


def _passing(answer: Worked) -> str:
    if answer.crossing_nm is None or answer.crossing_min is None or answer.crossing_min <= 0:
        return answer.passing
    where = f"{abs(answer.crossing_nm):.2f} NM {'ahead' if answer.crossing_nm > 0 else 'astern'}"
    return f"{answer.passing}; crosses {where}, {answer.crossing_min:.1f} min after the last plot"


def _working(problem: Problem, answer: Worked) -> str:
    minutes = (problem.plots[-1].at_s - problem.plots[0].at_s) / 60
    hours = minutes / 60
    own, relative, true = problem.own_course_deg, answer.relative_course_deg, answer.course_deg
    return (
        f"In {minutes:g} min own ship runs {problem.own_speed_kn * hours:.2f} NM on {fine_bearing(own)}T: lay it off "
        f"so that it ends in O, its beginning is W. O A is {answer.relative_speed_kn * hours:.2f} NM on "
        f"{fine_bearing(relative)}T, the relative movement: {answer.relative_speed_kn:.1f} kn. W A is the target's own "
        f"way, {answer.speed_kn * hours:.2f} NM on {fine_bearing(true)}T: {answer.speed_kn:.1f} kn. O A, "
        f"carried on, comes nearest to us at the foot of the perpendicular: {answer.cpa_nm:.2f} NM, which is reached "
        f"{answer.tcpa_min:.1f} min after A."
    )
