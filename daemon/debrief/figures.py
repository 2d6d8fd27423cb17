"""The debrief's pictures: sheets, charts, the track plot and the timeline."""

import math
from collections.abc import Callable, Sequence

from alerts.events import Plot
from alerts.plotting.terms import FeedState, Priority
from alerts.rules.wording import rule_name
from daemon import words
from daemon.debrief.plane import Place, Plane, unbroken
from daemon.debrief.record import Dated, Passage
from daemon.debrief.study import Alteration, Span, Study
from daemon.pictures.chart import TIME_STEPS_S, Flag, Line, chart
from daemon.pictures.drawing import Drawing, Point, thinned
from daemon.pictures.sheet import Ellipse, Mark, SheetTrack, plotting_sheet, resumed, rim_nm

# 95 % of a bivariate normal lies within this many standard deviations: the root of 5.991, chi-squared with two degrees
# of freedom (any statistical table).
ELLIPSE_SD = 2.4477
# A sheet's line has a point at least this often, a chart's too: more is not to be seen.
MOST_POINTS = 240


def hours(at_s: float) -> str:
    """Time of day to the minute, UTC."""
    return f"{int(at_s // 3600) % 24:02d}:{int(at_s // 60) % 60:02d}"


def seconds(at_s: float) -> str:
    """Time of day to the second, UTC."""
    whole = round(at_s)
    return f"{hours(whole)}:{whole % 60:02d}"


def sparse(plots: Sequence[Dated], most: int = MOST_POINTS) -> Sequence[Dated]:
    """Every so many plots, the last one always."""
    step = max(1, math.ceil(len(plots) / most))
    return [*plots[:-1:step], plots[-1]]


def sheets(one: Study, plots: Sequence[Dated], heading_deg: float | None) -> list[Drawing]:
    """The relative plotting sheet of an encounter, and the same near own ship: track with times, closest approach, and
    the 95 % ellipse of the prediction that was in force when the alarm came (or at the first settled plot)."""
    true = any(plot.bearing_deg is not None for _, plot in plots)
    closest = one.closest
    cpa = None
    if closest.bearing_deg is not None and true:
        cpa = Mark(closest.range_nm, closest.bearing_deg, f"{closest.range_nm:.2f} NM at {hours(closest.at_s)}")
    name, ellipse = words.clean(one.name, 24) or one.target, _ellipse(one)
    said = (
        f"Relative track from {hours(plots[0][0])} to {hours(plots[-1][0])}; closest {words.miles(closest.range_nm)}."
    )
    heading = heading_deg if true else 0.0
    marks = _marks(plots, true)
    whole = plotting_sheet(
        [SheetTrack(name=name, points=marks, cpa=cpa, ellipse=ellipse)],
        title=f"Relative plotting sheet of {name}",
        description=said,
        true=true,
        heading_deg=heading,
        size=460.0,
    )
    near_nm = rim_nm(max([2.5 * closest.range_nm, 0.2, *_reach(ellipse)]))
    inner = [dated for dated in plots if dated[1].range_nm <= near_nm]
    if near_nm > 0.5 * max(mark.range_nm for mark in marks) or len(inner) < 2:
        return [whole]
    near = plotting_sheet(
        [SheetTrack(name="", points=_marks(inner, true), cpa=cpa, ellipse=ellipse)],
        title=f"The closest approach of {name}, near own ship",
        description=said,
        true=true,
        heading_deg=heading,
        radius_nm=near_nm,
        size=340.0,
    )
    return [whole, near]


def _reach(ellipse: Ellipse | None) -> list[float]:
    return [] if ellipse is None else [ellipse.range_nm + max(ellipse.along_nm, ellipse.across_nm)]


def _marks(plots: Sequence[Dated], true: bool) -> list[Mark]:
    """Points of the sheet, of very many a share; a label at each round few minutes."""
    gaps = resumed([at_s for at_s, _ in plots])
    plots = sparse(plots)
    span = plots[-1][0] - plots[0][0]
    step = next((one for one in (60, 120, 180, 300, 600, 1200, 1800, 3600) if span / one <= 8), 7200)
    marks: list[Mark] = []
    named = -1.0
    before_s = plots[0][0]
    for at_s, plot in plots:
        deg = plot.bearing_deg if true else plot.relative_bearing_deg
        if deg is None:
            continue
        number = at_s // step
        gap = any(before_s < resumed_s <= at_s for resumed_s in gaps)
        marks.append(Mark(plot.range_nm, deg % 360.0, hours(at_s) if number != named else "", gap))
        named, before_s = number, at_s
    return marks


def _ellipse(one: Study) -> Ellipse | None:
    """Where the closest approach was expected, 95 %: across the relative track the CPA's sd, along it the TCPA's."""
    at_s = one.alarm.raised_s if one.alarm else None
    plot = next(
        (
            plot
            for when, plot in one.plots
            if (at_s is None or when >= at_s) and plot.cpa_sd_nm and plot.tcpa_sd_min and (plot.tcpa_min or 0) > 0
        ),
        None,
    )
    motion = None if plot is None else relative_motion(plot)
    if plot is None or motion is None:
        return None
    east, north, east_kn, north_kn = motion
    ahead_h = (plot.tcpa_min or 0.0) / 60.0
    e, n = east + east_kn * ahead_h, north + north_kn * ahead_h
    along = ELLIPSE_SD * math.hypot(east_kn, north_kn) * (plot.tcpa_sd_min or 0.0) / 60.0
    across = ELLIPSE_SD * (plot.cpa_sd_nm or 0.0)
    return Ellipse(math.hypot(e, n), _deg(e, n), along, across, _deg(east_kn, north_kn))


def _deg(east: float, north: float) -> float:
    return math.degrees(math.atan2(east, north)) % 360.0


def relative_motion(plot: Plot) -> tuple[float, float, float, float] | None:
    """Place and relative velocity from range, bearing, CPA, TCPA and the drift's side: east, north, in NM and kn.

    The relative line lies `cpa` from own ship and is `sqrt(range² − cpa²)` long up to the CPA, run in `tcpa`; the
    bearing rate says on which side it passes.
    """
    if plot.bearing_deg is None or plot.cpa_nm is None or not plot.tcpa_min:
        return None
    run = math.sqrt(max(plot.range_nm**2 - plot.cpa_nm**2, 0.0))
    if run == 0.0:
        return None
    off = math.degrees(math.asin(min(plot.cpa_nm / plot.range_nm, 1.0)))
    drift = plot.bearing_rate_deg_min or 0.0
    side = (1.0 if drift > 0 else -1.0) * (1.0 if plot.tcpa_min > 0 else -1.0)
    course = math.radians(plot.bearing_deg + 180.0 - off * side)
    speed = run / (plot.tcpa_min / 60.0)
    angle = math.radians(plot.bearing_deg)
    return (
        plot.range_nm * math.sin(angle),
        plot.range_nm * math.cos(angle),
        speed * math.sin(course),
        speed * math.cos(course),
    )


# --------------------------------------------------------------------------------------------------- charts


def charts(one: Study, plots: Sequence[Dated]) -> list[Drawing]:
    """Bearing and range against time, and our CPA and TCPA with limits against the set's."""
    few = sparse(plots)
    flags = flags_of(one)
    name = words.clean(one.name, 24) or one.target
    bearing = Line(name="bearing", points=_unrolled(few))
    range_line = Line(name="range", points=[(at_s, plot.range_nm) for at_s, plot in few])
    ours = _ahead(few, lambda plot: plot.cpa_nm)
    band = [
        (at_s, plot.cpa_low_nm, plot.cpa_high_nm)
        for at_s, plot in few
        if plot.cpa_low_nm is not None and plot.cpa_high_nm is not None and (plot.tcpa_min or -1.0) > 0
    ]
    theirs = _ahead(few, lambda plot: plot.reported_cpa_nm)
    limit = one.alarm.alert.values.get("cpa_limit_nm") if one.alarm else None
    top = _top([value for _, value in ours if value is not None], limit)
    cpa = [Line(name="ours, 95 %", points=ours, band=band), Line(name="the set's", points=theirs, kind="theirs")]
    tcpa = [
        Line(name="ours", points=_ahead(few, lambda plot: plot.tcpa_min)),
        Line(name="the set's", points=_ahead(few, lambda plot: plot.reported_tcpa_min), kind="theirs"),
    ]
    return [
        chart(
            [bearing],
            title=f"True bearing of {name} against time",
            unit="°T",
            label="bearing",
            clock=hours,
            flags=flags,
        ),
        chart(
            [range_line],
            title=f"Range of {name} against time",
            unit="NM",
            label="range",
            clock=hours,
            flags=flags,
            low=0.0,
        ),
        chart(
            cpa,
            title=f"CPA of {name}: ours with 95 % limits, and the set's",
            unit="NM",
            label="CPA",
            clock=hours,
            flags=flags,
            limit=float(limit) if isinstance(limit, int | float) else None,
            low=0.0,
            high=top,
        ),
        chart(
            tcpa,
            title=f"TCPA of {name}: ours and the set's",
            unit="min",
            label="TCPA",
            clock=hours,
            flags=flags,
            low=0.0,
            high=_top([value for _, value in tcpa[0].points if value is not None], None),
        ),
    ]


def _ahead(plots: Sequence[Dated], value: Callable[[Plot], float | None]) -> list[tuple[float, float | None]]:
    """A prediction's values while the CPA is to come."""
    return [(at_s, value(plot) if (plot.tcpa_min or -1.0) > 0 else None) for at_s, plot in plots]


def _top(values: Sequence[float], limit: object) -> float:
    """The axis holds nine values in ten and the limit: a wild first minute does not flatten the rest."""
    ordered = sorted(values)
    high = ordered[int(0.9 * (len(ordered) - 1))] * 1.3 if ordered else 1.0
    return max(high, float(limit) * 1.5 if isinstance(limit, int | float) else 0.0, 0.1)


def _unrolled(plots: Sequence[Dated]) -> list[tuple[float, float | None]]:
    """Bearings as a line that does not jump at north."""
    values: list[tuple[float, float | None]] = []
    last: float | None = None
    for at_s, plot in plots:
        deg = plot.bearing_deg
        if deg is not None and last is not None:
            deg = last + (deg - last + 180.0) % 360.0 - 180.0
        last = deg if deg is not None else last
        values.append((at_s, deg))
    return values


def flags_of(one: Study) -> list[Flag]:
    """The alarm, the alterations and the closest approach, as upright lines."""
    flags = [Flag(one.alarm.raised_s, "alarm", "danger")] if one.alarm else []
    flags += [
        Flag(turn.at_s, "we alter" if turn.who == "own ship" else "she alters", "good") for turn in one.alterations
    ]
    return [*flags, Flag(one.closest.at_s, "closest", "line")]


# ------------------------------------------------------------------------------------- track plot, timeline


def track_plot(plane: Plane, tracks: Sequence[tuple[str, Sequence[Sequence[Place]]]], width: float = 760.0) -> Drawing:
    """All tracks over the ground, north up, with a scale. A track is a name (empty: not named) and its pieces."""
    own = unbroken(plane.track)
    everything = [place for pieces in (own, *(pieces for _, pieces in tracks)) for piece in pieces for place in piece]
    low_e, high_e = min(p[0] for p in everything), max(p[0] for p in everything)
    low_n, high_n = min(p[1] for p in everything), max(p[1] for p in everything)
    span = max(high_e - low_e, (high_n - low_n) * 0.8, 0.5)
    scale = (width - 60) / span
    height = min(max((high_n - low_n) * scale + 60, 260.0), 980.0)
    drawing = Drawing(width, height, "Tracks over the ground", f"Own ship and {len(tracks)} targets, north up.")

    def place(point: tuple[float, float]) -> Point:
        return (30 + (point[0] - low_e) * scale, height - 30 - (point[1] - low_n) * scale)

    for name, pieces in tracks:
        lines = [thinned([place(point) for point in piece], 0.8) for piece in pieces]
        for line in lines:
            drawing.polyline(line if len(line) > 1 else line * 2, "ours" if name else "axis")
        if name:
            line = lines[-1]
            far = line[-1][0] > 0.8 * width
            at = (line[-1][0] + (-5 if far else 5), line[-1][1] + 4)
            drawing.circle(line[-1], 2.5, "ours-dot")
            drawing.text(at, name, "ours-ink", "end" if far else "start")
    for piece in own:
        drawing.polyline(thinned([place(point) for point in piece], 0.5), "line")
    _own_times(drawing, plane, place)
    _scale_bar(drawing, scale)
    return drawing


def _own_times(drawing: Drawing, plane: Plane, place: Callable[[tuple[float, float]], Point]) -> None:
    track = plane.track
    span = track[-1][0] - track[0][0]
    step = next((one for one in TIME_STEPS_S if one >= 60 and span / one <= 10), TIME_STEPS_S[-1])
    named = track[0][0] // step
    for at_s, east, north in track:
        if at_s // step != named:
            named = at_s // step
            x, y = place((east, north))
            drawing.circle((x, y), 2, "line")
            drawing.text((x + 5, y - 3), hours(at_s), "s")
    x, y = place(track[-1][1:])
    far = x > drawing.width - 80
    drawing.text((x - 6 if far else x + 6, y + 10), "own ship", "b", "end" if far else "start")


def _scale_bar(drawing: Drawing, scale: float) -> None:
    miles = next((one for one in (0.1, 0.25, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0) if one * scale >= 60), 200.0)
    y = drawing.height - 12
    drawing.line((30, y), (30 + miles * scale, y), "line")
    for x in (30.0, 30 + miles * scale):
        drawing.line((x, y - 4), (x, y + 4), "line")
    drawing.text((36 + miles * scale, y + 4), f"{miles:g} NM", "s")
    drawing.line((drawing.width - 18, 34), (drawing.width - 18, 10), "line")
    drawing.polyline([(drawing.width - 22, 17), (drawing.width - 18, 9), (drawing.width - 14, 17)], "line")
    drawing.text((drawing.width - 18, 46), "north", "s", "middle")


class _Rows:
    """A timeline's rows, each with a name at the left."""

    LEFT, ROW = 128.0, 20.0

    def __init__(self, first_s: float, last_s: float, names: Sequence[str], width: float) -> None:
        height = self.ROW * len(names) + 30
        said = f"From {hours(first_s)} to {hours(last_s)} UTC: {', '.join(names)}."
        self.drawing = Drawing(width, height, "Timeline of the passage", said)
        self._names = list(names)
        self._first_s, self._span_s = first_s, max(last_s - first_s, 1.0)
        self._width = width - self.LEFT - 12
        for row, name in enumerate(names):
            y = self.ROW * (row + 1)
            self.drawing.text((self.LEFT - 8, y - 6), name, "s", "end")
            self.drawing.line((self.LEFT, y), (self.LEFT + self._width, y), "hair")
        step = next((one for one in TIME_STEPS_S if self._span_s / one <= 10), TIME_STEPS_S[-1])
        tick = math.ceil(first_s / step) * step
        while tick <= last_s:
            self.drawing.line((self._x(tick), 4), (self._x(tick), height - 24), "hair")
            self.drawing.text((self._x(tick), height - 12), hours(tick), "s", "middle")
            tick += step

    def _x(self, at_s: float) -> float:
        return self.LEFT + self._width * (at_s - self._first_s) / self._span_s

    def bar(self, name: str, from_s: float, to_s: float, kind: str, hint: str) -> None:
        """As thick as it is urgent: colour alone is lost in print, and on those who cannot tell red from brown."""
        y = self.ROW * (self._names.index(name) + 1) - 8.5
        width, thick = max(self._x(to_s) - self._x(from_s), 2.5), THICKNESS[kind]
        self.drawing.rectangle((self._x(from_s), y - thick / 2), width, thick, kind, hint)

    def dot(self, name: str, at_s: float, kind: str, hint: str) -> None:
        y = self.ROW * (self._names.index(name) + 1)
        self.drawing.circle((self._x(at_s), y - 8), 4, kind, hint)


THICKNESS = {"danger-dot": 13.0, "theirs-dot": 8.0, "ours-dot": 4.0}


def timeline(passage: Passage, spans: Sequence[Span], turns: Sequence[Alteration], width: float = 760.0) -> Drawing:
    """A row for each kind of alert that came, then what was done and what failed."""
    rules = list(dict.fromkeys(span.alert.rule for span in sorted(spans, key=_weight)))
    named = {rule: words.clean(rule_name(rule), 24) for rule in rules}
    rows = _Rows(
        passage.first_s, passage.last_s, [*named.values(), "alterations", "notes", "range scale", "feeds"], width
    )
    for span in spans:
        kind = {Priority.ALARM: "danger-dot", Priority.WARNING: "theirs-dot"}.get(span.alert.priority, "ours-dot")
        hint = f"{seconds(span.raised_s)} {span.alert.priority}: {words.clean(span.alert.text, words.TEXT_LENGTH)}"
        rows.bar(named[span.alert.rule], span.raised_s, span.over_s or passage.last_s, kind, hint)
    for turn in turns:
        rows.dot("alterations", turn.at_s, "good", f"{seconds(turn.at_s)} {turn.who}")
    for at_s, note in passage.notes:
        rows.dot("notes", at_s, "ours-dot", f"{seconds(at_s)} {words.clean(note.text, words.TEXT_LENGTH)}")
    for at_s, radar in passage.radar:
        rows.dot(
            "range scale", at_s, "ours-dot", f"{seconds(at_s)} range scale {radar.range_scale_nm or words.DASH} NM"
        )
    for from_s, to_s, hint in feed_faults(passage):
        rows.bar("feeds", from_s, to_s, "danger-dot", hint)
    return rows.drawing


def _weight(span: Span) -> tuple[int, float]:
    return ((Priority.ALARM, Priority.WARNING, Priority.CAUTION).index(span.alert.priority), span.raised_s)


def feed_faults(passage: Passage) -> list[tuple[float, float, str]]:
    """When a feed was silent or down: from, to, and in words."""
    open_since: dict[str, tuple[float, FeedState]] = {}
    faults: list[tuple[float, float, str]] = []
    for at_s, feed in passage.feeds:
        began = open_since.pop(feed.name, None)
        if began is not None:
            faults.append((began[0], at_s, f"{words.clean(feed.name, 40)} {began[1]} from {seconds(began[0])}"))
        if feed.state is not FeedState.UP:
            open_since[feed.name] = (at_s, feed.state)
    for name, (since, state) in open_since.items():
        faults.append((since, passage.last_s, f"{words.clean(name, 40)} {state} from {seconds(since)}"))
    return sorted(faults)
