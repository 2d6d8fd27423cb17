"""The plotting sheet of the paper form: own ship in the middle, rings, bearings round the rim, relative tracks."""

import math
from collections.abc import Sequence
from itertools import pairwise

from msgspec import Struct

from daemon.pictures.drawing import Drawing, Point, thinned

# Rings as printed sheets have them: four to six, at even miles where they can be.
RING_STEPS_NM = (0.05, 0.1, 0.25, 0.5, 1.0, 2.0, 4.0, 6.0, 12.0, 24.0)
MOST_RINGS = 6
# A relative track breaks where nothing was seen for longer than this, as an exported one does.
GAP_S = 60.0


class Mark(Struct, frozen=True):
    """A place on the sheet, from own ship. Bearings as the sheet counts them: true, or from the bow."""

    range_nm: float
    bearing_deg: float
    label: str = ""
    after_gap: bool = False  # nothing was seen for a while before it: no line leads to it


def resumed(times_s: Sequence[float]) -> list[float]:
    """The times at which something is seen again after more than GAP_S, in order."""
    return [after for before, after in pairwise(times_s) if after - before > GAP_S]


def _pieces(marks: Sequence[Mark], places: Sequence[Point]) -> list[list[Point]]:
    pieces: list[list[Point]] = []
    for mark, place in zip(marks, places, strict=True):
        if mark.after_gap or not pieces:
            pieces.append([])
        pieces[-1].append(place)
    return pieces


class Ellipse(Struct, frozen=True):
    """A 95 % ellipse: its centre, half axes in NM, and the direction of the first axis as the sheet counts bearings."""

    range_nm: float
    bearing_deg: float
    along_nm: float
    across_nm: float
    direction_deg: float


class SheetTrack(Struct, frozen=True, kw_only=True):
    """A relative track. `points` in order of time, those with labels get a mark; `then` is where the line leads on."""

    name: str
    points: Sequence[Mark]
    then: Mark | None = None
    cpa: Mark | None = None
    ellipse: Ellipse | None = None


def plotting_sheet(
    tracks: Sequence[SheetTrack],
    *,
    title: str,
    description: str = "",
    true: bool = True,
    heading_deg: float | None = None,
    radius_nm: float | None = None,
    size: float = 520.0,
    foot: Sequence[str] = (),
) -> Drawing:
    """A sheet with these tracks, the rim `true` (north up) or from the bow (R).

    `heading_deg` draws own heading line. The rim lies at `radius_nm`, or where all that is given fits. `foot`: lines
    of text below the sheet.
    """
    drawing = Drawing(size, size + foot_height(foot), title, description)
    footing(drawing, foot, size)
    sheet = _Sheet(drawing, radius_nm or _needed_nm(tracks))
    sheet.rings()
    sheet.rim(true)
    if heading_deg is not None:
        sheet.heading(heading_deg)
    for track in tracks:
        sheet.track(track)
    return drawing


FOOT_LINE = 14.0  # pixels


def foot_height(foot: Sequence[str]) -> float:
    """Pixels that lines of text below a picture need."""
    return FOOT_LINE * len(foot) + 8 if foot else 0.0


def footing(drawing: Drawing, foot: Sequence[str], below: float) -> None:
    """Lines of text below a picture whose height is `below`."""
    for row, said in enumerate(foot, 1):
        drawing.text((8, below + FOOT_LINE * row - 2), said, "s")


def _needed_nm(tracks: Sequence[SheetTrack]) -> float:
    ranges = [mark.range_nm for track in tracks for mark in track.points]
    ranges += [track.cpa.range_nm for track in tracks if track.cpa is not None]
    ranges += [one.range_nm + max(one.along_nm, one.across_nm) for track in tracks if (one := track.ellipse)]
    return max(ranges, default=1.0) or 1.0


def _step_nm(needed_nm: float) -> float:
    return next((step for step in RING_STEPS_NM if needed_nm <= step * MOST_RINGS), needed_nm / MOST_RINGS)


def rim_nm(needed_nm: float) -> float:
    """Where the rim lies of a sheet that holds this range: at the next whole ring."""
    step = _step_nm(needed_nm)
    return max(1, math.ceil(needed_nm / step - 1e-9)) * step


class _Sheet:
    def __init__(self, drawing: Drawing, needed_nm: float) -> None:
        self._drawing = drawing
        self._middle = drawing.width / 2
        self._step_nm = _step_nm(needed_nm)
        self._rings = round(rim_nm(needed_nm) / self._step_nm)
        self._scale = (self._middle - 40) / (self._rings * self._step_nm)  # pixels in a mile
        self._told: list[Point] = []  # where the labels of CPAs stand

    def place(self, range_nm: float, bearing_deg: float) -> Point:
        angle = math.radians(bearing_deg)
        away = range_nm * self._scale
        return (self._middle + away * math.sin(angle), self._middle - away * math.cos(angle))

    def rings(self) -> None:
        centre = (self._middle, self._middle)
        for ring in range(1, self._rings + 1):
            self._drawing.circle(centre, ring * self._step_nm * self._scale, "axis" if ring == self._rings else "hair")
            x, y = self.place(ring * self._step_nm, 180.0)
            self._drawing.text((x + 3, y - 3), f"{ring * self._step_nm:g} NM", "s")
        self._drawing.line((self._middle - 5, self._middle), (self._middle + 5, self._middle), "line")
        self._drawing.line((self._middle, self._middle - 5), (self._middle, self._middle + 5), "line")

    def rim(self, true: bool) -> None:
        """A stroke every five degrees, longer every ten, a figure every thirty."""
        outer = self._rings * self._step_nm
        for degrees in range(0, 360, 5):
            length = 8.0 if degrees % 10 == 0 else 4.0
            self._drawing.line(self.place(outer, degrees), self.place(outer + length / self._scale, degrees), "axis")
            if degrees % 30 == 0:
                self._drawing.line(self.place(0, 0), self.place(outer, degrees), "hair")
                x, y = self.place(outer + 20 / self._scale, degrees)
                self._drawing.text((x, y + 4), f"{degrees:03d}°{'T' if true else 'R'}", "s", "middle")

    def heading(self, heading_deg: float) -> None:
        outer = self._rings * self._step_nm
        self._drawing.line(self.place(0, 0), self.place(outer, heading_deg), "line")
        x, y = self.place(outer * 0.93, heading_deg)
        self._drawing.text((x + 4, y), "heading", "s")

    def track(self, track: SheetTrack) -> None:
        drawing = self._drawing
        places = [self.place(mark.range_nm, mark.bearing_deg) for mark in track.points]
        for piece in _pieces(track.points, places):
            drawing.polyline(thinned(piece), "ours")
        beside = not _runs_across(places)
        for mark, place in zip(track.points, places, strict=True):
            if mark.label:
                drawing.circle(place, 3, "ours-dot")
                right, down = (6, 3) if beside else (0, 15)
                drawing.text((place[0] + right, place[1] + down), mark.label, "s", "start" if beside else "middle")
        if places:
            x, y = places[0]
            far = x > 0.75 * drawing.width
            drawing.text((x - 6 if far else x + 6, y - 6), track.name, "b", "end" if far else "start")
        if track.then is not None and places:
            drawing.line(places[-1], self.place(track.then.range_nm, track.then.bearing_deg), "ahead")
        if track.ellipse is not None:
            self._ellipse(track.ellipse)
        if track.cpa is not None:
            self._cpa(track.cpa)

    def _ellipse(self, one: Ellipse) -> None:
        centre = self.place(one.range_nm, one.bearing_deg)
        along, across = one.along_nm * self._scale, one.across_nm * self._scale
        self._drawing.ellipse(centre, along, across, one.direction_deg - 90.0, "ellipse")

    def _cpa(self, cpa: Mark) -> None:
        """The perpendicular from own ship, and a square at its foot."""
        x, y = self.place(cpa.range_nm, cpa.bearing_deg)
        self._drawing.line(self.place(0, 0), (x, y), "danger")
        self._drawing.polygon([(x - 4, y - 4), (x + 4, y - 4), (x + 4, y + 4), (x - 4, y + 4)], "danger")
        if cpa.label:
            far = x > 0.75 * self._drawing.width
            at = self._free((x - 8 if far else x + 8, y + 12))
            self._drawing.text(at, cpa.label, "danger-ink", "end" if far else "start")

    def _free(self, at: Point) -> Point:
        """The place, or the first below it at which no other CPA's label stands."""
        x, y = at
        while any(abs(x - x1) < LABEL[0] and abs(y - y1) < LABEL[1] for x1, y1 in self._told):
            y += LABEL[1]
        self._told.append((x, y))
        return (x, y)


LABEL = (200.0, 13.0)  # pixels that the label of a CPA takes at most


def _runs_across(places: Sequence[Point]) -> bool:
    """True where the track runs so nearly along a line of text that it would strike its own times through."""
    if len(places) < 2:
        return False
    (x1, y1), (x2, y2) = places[0], places[-1]
    return abs(x2 - x1) > 2 * abs(y2 - y1)
