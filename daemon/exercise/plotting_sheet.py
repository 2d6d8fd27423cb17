"""A plotting sheet of the usual trade form as SVG: six rings, bearings all round, own ship in the middle."""

from collections.abc import Iterator

import numpy as np

from daemon.exercise.plot_problem import FARTHEST_NM, Problem, Worked

SCALES_NM = (1.5, 3.0, 6.0, 12.0, FARTHEST_NM)
"""Range scales of MSC.64(67) annex 4 that have six rings."""

RINGS = 6
SIZE, RADIUS = 720.0, 300.0  # pixels at 96 to the inch: the whole sheet fits the width of A4

_MIDDLE = SIZE / 2


def scale_for(problem: Problem, answer: Worked) -> float:
    """The smallest scale that holds all plots and the triangle."""
    farthest = max([plot.range_nm for plot in problem.plots] + [float(np.hypot(*answer.w))])
    return next((scale for scale in SCALES_NM if scale >= farthest), SCALES_NM[-1])


def blank(scale_nm: float, heading_deg: float) -> str:
    """A sheet with its rings, bearings and own heading line."""
    return _svg(f"Plotting sheet, {scale_nm:g} NM", [*_grid(scale_nm), *_heading(heading_deg)])


def solved(problem: Problem, answer: Worked, labels: list[str]) -> str:
    """The sheet with the plots (`labels`: their times), the relative track to its CPA, and the triangle W O A."""
    scale = scale_for(problem, answer)
    to = _Plane(scale)
    parts = [*_grid(scale), *_heading(problem.own_heading_deg)]
    end = answer.cpa_at if answer.tcpa_min > 0 else answer.a
    parts += [
        to.line(answer.o, answer.a, "relative"),
        to.line(answer.a, end, "relative dashed"),
        to.line((0.0, 0.0), answer.cpa_at, "cpa"),
        to.line(answer.w, answer.o, "own", arrow=True),
        to.line(answer.w, answer.a, "true", arrow=True),
    ]
    for plot, label in zip(problem.plots, labels, strict=True):
        angle = np.radians(plot.bearing_deg)
        parts += to.cross((plot.range_nm * np.sin(angle), plot.range_nm * np.cos(angle)), label)
    parts += [to.text(answer.o, "O"), to.text(answer.a, "A"), to.text(answer.w, "W")]
    parts.append(to.text(answer.cpa_at, f"CPA {answer.cpa_nm:.2f} NM"))
    return _svg(f"{problem.target}: relative track and triangle, {scale:g} NM", parts)


class _Plane:
    """East and north in NM to the sheet's pixels."""

    def __init__(self, scale_nm: float) -> None:
        self._per_nm = RADIUS / scale_nm

    def point(self, at: tuple[float, float]) -> tuple[float, float]:
        return _MIDDLE + at[0] * self._per_nm, _MIDDLE - at[1] * self._per_nm

    def line(self, start: tuple[float, float], end: tuple[float, float], kind: str, *, arrow: bool = False) -> str:
        (x1, y1), (x2, y2) = self.point(start), self.point(end)
        tip = ' marker-end="url(#tip)"' if arrow else ""
        return f'<line class="{kind}" x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}"{tip}/>'

    def cross(self, at: tuple[float, float], label: str) -> Iterator[str]:
        x, y = self.point(at)
        yield f'<path class="plot" d="M{x - 5:.1f} {y:.1f}h10M{x:.1f} {y - 5:.1f}v10"/>'
        yield f'<text class="time" x="{x + 9:.1f}" y="{y + 4:.1f}">{label}</text>'

    def text(self, at: tuple[float, float], text: str) -> str:
        """A letter to the left of a point: the times stand to the right."""
        x, y = self.point(at)
        return f'<text class="letter" x="{x - 8:.1f}" y="{y - 4:.1f}">{text}</text>'


def _grid(scale_nm: float) -> Iterator[str]:
    for ring in range(1, RINGS + 1):
        radius = RADIUS * ring / RINGS
        yield f'<circle class="ring" cx="{_MIDDLE}" cy="{_MIDDLE}" r="{radius:.1f}"/>'
        said = f"{scale_nm * ring / RINGS:g} NM"
        yield f'<text class="scale" x="{_MIDDLE + 3}" y="{_MIDDLE - radius - 3:.1f}">{said}</text>'
    for degrees in range(360):
        outer = RADIUS + (14 if degrees % 10 == 0 else 9 if degrees % 5 == 0 else 5)
        inner = RADIUS / RINGS if degrees % 30 == 0 else RADIUS - 4 if degrees % 10 == 0 else RADIUS
        yield _spoke(degrees, inner, outer)
    for degrees in range(0, 360, 10):
        x, y = _polar(degrees, RADIUS + 27)
        yield f'<text class="bearing" x="{x:.1f}" y="{y + 4:.1f}">{degrees:03d}{"" if degrees else "°T"}</text>'
    yield f'<path class="plot" d="M{_MIDDLE - 6} {_MIDDLE}h12M{_MIDDLE} {_MIDDLE - 6}v12"/>'


def _spoke(degrees: float, inner: float, outer: float) -> str:
    (x1, y1), (x2, y2) = _polar(degrees, inner), _polar(degrees, outer)
    return f'<line class="spoke" x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}"/>'


def _heading(heading_deg: float) -> Iterator[str]:
    x, y = _polar(heading_deg, RADIUS)
    yield f'<line class="heading" x1="{_MIDDLE}" y1="{_MIDDLE}" x2="{x:.1f}" y2="{y:.1f}"/>'


def _polar(degrees: float, radius: float) -> tuple[float, float]:
    angle = np.radians(degrees)
    return float(_MIDDLE + radius * np.sin(angle)), float(_MIDDLE - radius * np.cos(angle))


def _svg(title: str, parts: list[str]) -> str:
    from html import escape

    tip = (
        '<defs><marker id="tip" viewBox="0 0 10 10" refX="9" refY="5" markerWidth="11" markerHeight="11" '
        'markerUnits="userSpaceOnUse" orient="auto"><path d="M0 0L10 5L0 10z"/></marker></defs>'
    )
    name = escape(title)
    return (
        f'<svg viewBox="0 0 {SIZE:g} {SIZE:g}" role="img" aria-label="{name}"><title>{name}</title>'
        f"{tip}{''.join(parts)}</svg>"
    )
