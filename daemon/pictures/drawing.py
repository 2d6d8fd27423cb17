"""Drawings in SVG: a handful of primitives, one style, no dependency.

Why our own and not a plotting library: the same drawing stands in a page (its colours follow the page's light or dark
and print on white), in a file and in a PNG; a plotting sheet is circles and spokes, which a library of axes does not
have; and a hundred of them must fit in a page of a few megabytes. A library's text as outlines is twenty times the
size, and importing it takes longer than making a debrief.

Classes say what a thing is, the style sheet what it looks like. All text is escaped here and nowhere else. Colours come
from a palette that people with any colour vision tell apart (Okabe and Ito, 2008), and never speak alone: dashes,
markers and labels say the same.
"""

from collections.abc import Iterable, Sequence
from html import escape

Point = tuple[float, float]

# Okabe and Ito's blue, vermilion and green, darkened where they must carry text on white.
LIGHT = {
    "ink": "#1a1a1a",
    "faint": "#8a8a8a",
    "hair": "#d0d0d0",
    "paper": "#ffffff",
    "ours": "#005b96",
    "theirs": "#b34700",
    "good": "#00735c",
    "danger": "#a3004f",
}
DARK = {
    "ink": "#e8e8e8",
    "faint": "#9a9a9a",
    "hair": "#444444",
    "paper": "#16181a",
    "ours": "#56b4e9",
    "theirs": "#e69f00",
    "good": "#35c99f",
    "danger": "#f06aa8",
}

_RULES = """
.pic text{font-family:"DejaVu Sans","Liberation Sans",sans-serif;font-size:11px;fill:[ink]}
.pic .s{font-size:9px;fill:[faint]} .pic .b{font-weight:bold}
.pic .hair{stroke:[hair];stroke-width:1;fill:none} .pic .axis{stroke:[faint];stroke-width:1;fill:none}
.pic .line{stroke:[ink];stroke-width:1.2;fill:none}
.pic .ours{stroke:[ours];stroke-width:1.8;fill:none} .pic .ours-dot{fill:[ours]} .pic text.ours-ink{fill:[ours]}
.pic .theirs{stroke:[theirs];stroke-width:1.5;fill:none;stroke-dasharray:5 3} .pic .theirs-dot{fill:[theirs]}
.pic text.theirs-ink{fill:[theirs]}
.pic .ahead{stroke:[ours];stroke-width:1.2;fill:none;stroke-dasharray:2 3}
.pic .danger{stroke:[danger];stroke-width:1.5;fill:none} .pic .danger-dot{fill:[danger]}
.pic text.danger-ink{fill:[danger]}
.pic .limit{stroke:[danger];stroke-width:1;fill:none;stroke-dasharray:1 3}
.pic .good{stroke:[good];stroke-width:1.5;fill:none}
.pic .band{fill:[ours];fill-opacity:.15;stroke:none}
.pic .ellipse{stroke:[danger];stroke-width:1.2;fill:[danger];fill-opacity:.08;stroke-dasharray:4 2}
.pic .paper{fill:[paper]}
"""


def style(colours: dict[str, str] | None = None) -> str:
    """The style sheet: with these colours, or (None) with the page's own variables `--ink`, `--ours` and so on."""
    text = _RULES.strip()
    for name in LIGHT:
        text = text.replace(f"[{name}]", f"var(--{name})" if colours is None else colours[name])
    return text


def variables(colours: dict[str, str]) -> str:
    """The colours as CSS custom properties, for a page."""
    return "".join(f"--{name}:{value};" for name, value in colours.items())


def number(value: float) -> str:
    """A coordinate in tenths of a pixel, short."""
    text = f"{value:.1f}"
    return text[:-2] if text.endswith(".0") else text


class Drawing:
    """Shapes in pixels, x to the right and y down. `title` and `description` are for those who cannot see it."""

    def __init__(self, width: float, height: float, title: str, description: str = "") -> None:
        self.width = width
        self.height = height
        self.title = title
        self.description = description
        self._parts: list[str] = []

    def line(self, start: Point, end: Point, kind: str) -> None:
        (x1, y1), (x2, y2) = start, end
        where = f'x1="{number(x1)}" y1="{number(y1)}" x2="{number(x2)}" y2="{number(y2)}"'
        self._parts.append(f'<line {where} class="{kind}"/>')

    def polyline(self, points: Iterable[Point], kind: str) -> None:
        self._parts.append(f'<polyline points="{_points(points)}" class="{kind}"/>')

    def polygon(self, points: Iterable[Point], kind: str) -> None:
        self._parts.append(f'<polygon points="{_points(points)}" class="{kind}"/>')

    def circle(self, centre: Point, radius: float, kind: str, hint: str = "") -> None:
        """`hint` is shown when a pointer rests on it."""
        x, y = centre
        inner = f"><title>{escape(hint)}</title></circle>" if hint else "/>"
        self._parts.append(f'<circle cx="{number(x)}" cy="{number(y)}" r="{number(radius)}" class="{kind}"{inner}')

    def ellipse(self, centre: Point, along: float, across: float, turn_deg: float, kind: str) -> None:
        """Half axes; `turn_deg` turns the first from the x axis, clockwise on the screen."""
        x, y = number(centre[0]), number(centre[1])
        shape = f'cx="{x}" cy="{y}" rx="{number(along)}" ry="{number(across)}"'
        self._parts.append(f'<ellipse {shape} transform="rotate({number(turn_deg)} {x} {y})" class="{kind}"/>')

    def rectangle(self, corner: Point, width: float, height: float, kind: str, hint: str = "") -> None:
        x, y = corner
        shape = f'x="{number(x)}" y="{number(y)}" width="{number(width)}" height="{number(height)}"'
        inner = f"><title>{escape(hint)}</title></rect>" if hint else "/>"
        self._parts.append(f'<rect {shape} class="{kind}"{inner}')

    def text(self, at: Point, text: str, kind: str = "", anchor: str = "start") -> None:
        """`anchor`: start, middle or end."""
        x, y = at
        side = "" if anchor == "start" else f' text-anchor="{anchor}"'
        look = f' class="{kind}"' if kind else ""
        self._parts.append(f'<text x="{number(x)}" y="{number(y)}"{side}{look}>{escape(text)}</text>')

    def svg(self, colours: dict[str, str] | None = None) -> str:
        """The SVG element: to stand in a page (None: the page has the style sheet), or by itself with these colours."""
        size = f'viewBox="0 0 {number(self.width)} {number(self.height)}"'
        says = f"<title>{escape(self.title)}</title>"
        says += f"<desc>{escape(self.description)}</desc>" if self.description else ""
        if colours is None:
            return f'<svg class="pic" role="img" {size}>{says}{"".join(self._parts)}</svg>'
        whole = f'<rect width="100%" height="100%" fill="{colours["paper"]}"/>'
        given = f'xmlns="http://www.w3.org/2000/svg" width="{number(self.width)}" height="{number(self.height)}"'
        sheet = f"<style>{style(colours)}</style>"
        return f'<svg {given} class="pic" role="img" {size}>{says}{sheet}{whole}{"".join(self._parts)}</svg>\n'


def _points(points: Iterable[Point]) -> str:
    return " ".join(f"{number(x)},{number(y)}" for x, y in points)


def thinned(points: Sequence[Point], tolerance: float = 0.4) -> list[Point]:
    """The fewest of these points whose line stays within `tolerance` pixels of all (Douglas and Peucker, 1973)."""
    if len(points) < 3:
        return list(points)
    keep = {0, len(points) - 1}
    waiting = [(0, len(points) - 1)]
    while waiting:
        first, last = waiting.pop()
        at, away = _farthest(points, first, last)
        if away > tolerance:
            keep.add(at)
            waiting += [(first, at), (at, last)]
    return [points[index] for index in sorted(keep)]


def _farthest(points: Sequence[Point], first: int, last: int) -> tuple[int, float]:
    (x1, y1), (x2, y2) = points[first], points[last]
    dx, dy = x2 - x1, y2 - y1
    length = (dx * dx + dy * dy) ** 0.5
    best, away = first, 0.0
    for index in range(first + 1, last):
        x, y = points[index]
        gap = abs(dx * (y - y1) - dy * (x - x1)) / length if length else ((x - x1) ** 2 + (y - y1) ** 2) ** 0.5
        if gap > away:
            best, away = index, gap
    return best, away
