"""Values against time: lines, bands of uncertainty, limits, and moments marked."""

import math
from collections.abc import Callable, Sequence

from msgspec import Struct

from daemon.pictures.drawing import Drawing, Point, thinned

STEPS = (0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 30.0, 45.0, 60.0, 90.0, 100.0, 200.0, 500.0)
TIME_STEPS_S = (10, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400, 21600, 43200, 86400, 172800)
LEFT, RIGHT, TOP, BOTTOM = 46.0, 10.0, 16.0, 26.0


class Line(Struct, frozen=True, kw_only=True):
    """A series. `points` are (seconds, value or None); a None breaks the line. `kind` is a class of the style sheet.

    `band` are (seconds, low, high) of a band about it.
    """

    name: str
    points: Sequence[tuple[float, float | None]]
    kind: str = "ours"
    band: Sequence[tuple[float, float, float]] = ()


class Flag(Struct, frozen=True):
    """A moment marked by an upright line, with a word."""

    at_s: float
    label: str
    kind: str = "danger"


def chart(
    lines: Sequence[Line],
    *,
    title: str,
    unit: str,
    clock: Callable[[float], str],
    label: str = "",
    description: str = "",
    flags: Sequence[Flag] = (),
    limit: float | None = None,
    low: float | None = None,
    high: float | None = None,
    width: float = 520.0,
    height: float = 190.0,
) -> Drawing:
    """A chart with time along the foot, in words of `clock`. `label` says what the values are, `unit` theirs.

    Bearings (unit °T) may run on past north; their axis is told in three figures. `limit` is a dotted level; `low` and
    `high` hold the axis.
    """
    drawing = Drawing(width, height, title, description)
    frame = _Frame(drawing, lines, flags, limit, low, high, round_the_rim=unit == "°T")
    frame.grid(f"{label}, {unit}" if label else unit, clock)
    for line in lines:
        frame.line(line)
    if limit is not None:
        frame.limit(limit, unit)
    for number, flag in enumerate(flags):
        frame.flag(flag, number)
    frame.legend(lines)
    return drawing


class _Frame:
    def __init__(
        self,
        drawing: Drawing,
        lines: Sequence[Line],
        flags: Sequence[Flag],
        limit: float | None,
        low: float | None,
        high: float | None,
        round_the_rim: bool,
    ) -> None:
        self._round_the_rim = round_the_rim
        self._drawing = drawing
        times = [at_s for line in lines for at_s, _ in line.points] + [flag.at_s for flag in flags]
        values = [value for line in lines for _, value in line.points if value is not None]
        values += [edge for line in lines for _, *edges in line.band for edge in edges]
        values += [] if limit is None else [limit * 1.1]
        self._t0, self._t1 = (min(times), max(times)) if times else (0.0, 1.0)
        self._t1 = max(self._t1, self._t0 + 1.0)
        self._low = min(values, default=0.0) if low is None else low
        self._high = max(values, default=1.0) if high is None else high
        self._step = next((step for step in STEPS if (self._high - self._low) / step <= 5), STEPS[-1])
        self._low = math.floor(self._low / self._step + 1e-9) * self._step
        self._high = max(math.ceil(self._high / self._step - 1e-9) * self._step, self._low + self._step)

    def place(self, at_s: float, value: float) -> Point:
        width = self._drawing.width - LEFT - RIGHT
        height = self._drawing.height - TOP - BOTTOM
        up = min(max((value - self._low) / (self._high - self._low), 0.0), 1.0)
        return (LEFT + width * (at_s - self._t0) / (self._t1 - self._t0), TOP + height * (1 - up))

    def grid(self, unit: str, clock: Callable[[float], str]) -> None:
        for index in range(round((self._high - self._low) / self._step) + 1):
            value = self._low + index * self._step
            x, y = self.place(self._t0, value)
            self._drawing.line((x, y), self.place(self._t1, value), "hair" if index else "axis")
            said = f"{round(value) % 360:03d}" if self._round_the_rim else f"{round(value, 4):g}"
            self._drawing.text((x - 4, y + 3), said, "s", "end")
        self._drawing.text((2, 11), unit, "s")
        step = next((one for one in TIME_STEPS_S if (self._t1 - self._t0) / one <= 7), TIME_STEPS_S[-1])
        tick = math.ceil(self._t0 / step) * step
        while tick <= self._t1:
            x, y = self.place(tick, self._low)
            self._drawing.line((x, y), (x, y + 4), "axis")
            self._drawing.text((x, y + 15), clock(tick), "s", "middle")
            tick += step

    def line(self, line: Line) -> None:
        if line.band:
            upper = [self.place(at_s, high) for at_s, _, high in line.band]
            lower = [self.place(at_s, low) for at_s, low, _ in line.band]
            self._drawing.polygon([*thinned(upper), *reversed(thinned(lower))], "band")
        for piece in _pieces(line.points):
            places = thinned([self.place(at_s, value) for at_s, value in piece])
            if len(places) == 1:
                self._drawing.circle(places[0], 1.5, f"{line.kind}-dot")
            else:
                self._drawing.polyline(places, line.kind)

    def limit(self, value: float, unit: str) -> None:
        x, y = self.place(self._t1, value)
        self._drawing.line(self.place(self._t0, value), (x, y), "limit")
        self._drawing.text((x - 2, y - 3), f"limit {value:g} {unit}", "s", "end")

    def flag(self, flag: Flag, number: int) -> None:
        """Words one below the other, so that moments close together can be read; on the left near the right edge."""
        x, y = self.place(flag.at_s, self._low)
        far = x > self._drawing.width - RIGHT - 60
        self._drawing.line((x, y), (x, TOP), flag.kind)
        at = (x - 3 if far else x + 3, TOP + 9 + 10 * (number % 4))
        self._drawing.text(at, flag.label, "s", "end" if far else "start")

    def legend(self, lines: Sequence[Line]) -> None:
        """At the top right, each name behind a sample of its line."""
        x = self._drawing.width - RIGHT
        for line in reversed(lines):
            x -= 6.2 * len(line.name) + 6
            self._drawing.text((x, 11), line.name, "s")
            self._drawing.line((x - 20, 8), (x - 3, 8), line.kind)
            x -= 28


def _pieces(points: Sequence[tuple[float, float | None]]) -> list[list[tuple[float, float]]]:
    """The unbroken stretches of a series."""
    pieces: list[list[tuple[float, float]]] = [[]]
    for at_s, value in points:
        if value is None:
            pieces.append([])
        else:
            pieces[-1].append((at_s, value))
    return [piece for piece in pieces if piece]
