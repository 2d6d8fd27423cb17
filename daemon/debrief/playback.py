"""The play-back: a plotting sheet whose targets move with a slider, and the figures it moves by, as plain data."""

import json
import math
from bisect import bisect_right
from collections.abc import Sequence
from html import escape

from daemon import words
from daemon.debrief.record import Passage
from daemon.debrief.study import Study
from daemon.pictures.sheet import Mark, SheetTrack, plotting_sheet, rim_nm

# Values in the page: at most so many steps in all, a step no finer than the finest that tells anything.
MOST_VALUES = 40_000
FINEST_S = 5.0
# A target is drawn where it was plotted last, and said how long ago; not at all where that is longer ago than this.
LATE_S = 20.0
TRAIL_S = 180.0
SIZE = 520.0


def playback(passage: Passage, studies: Sequence[Study]) -> str:
    """The play-back's HTML, script apart. Ranges in hundredths of a mile, bearings in tenths of a degree, ages in
    seconds."""
    seconds = passage.last_s - passage.first_s
    step_s = max(FINEST_S, math.ceil(seconds * max(len(studies), 1) / MOST_VALUES / FINEST_S) * FINEST_S)
    steps = int(seconds // step_s) + 1
    radius = _radius(studies)
    blank = plotting_sheet([SheetTrack(name="", points=[Mark(radius, 0.0)])], title="Relative play-back", size=SIZE)
    rim = rim_nm(radius)
    data = {
        "start": passage.first_s,
        "step": step_s,
        "middle": SIZE / 2,
        "scale": (SIZE / 2 - 40) / rim,
        "radius": rim,
        "trail": round(TRAIL_S / step_s),
        "heading": _headings(passage, steps, step_s),
        "targets": [_path(one, passage.first_s, steps, step_s, rim) for one in studies],
    }
    sheet = blank.svg().replace("</svg>", '<g id="play-stage"></g></svg>')
    start = _first_of_interest(studies, passage, step_s)
    heads = "".join(f'<th scope="col">{name}</th>' for name in ("target", "bearing", "range", "plotted"))
    return (
        f'<div class="play">{sheet}<div class="controls"><label for="play-time">Time: <output id="play-clock">'
        f"{words.DASH}</output></label>"
        f'<input type="range" id="play-time" min="0" max="{steps - 1}" value="{start}" step="1">'
        '<button type="button" id="play-button">Play</button></div>'
        f"<table><thead><tr>{heads}</tr></thead>"
        f'<tbody id="play-rows"></tbody></table></div>{embedded("play-data", data)}'
    )


def embedded(name: str, data: object) -> str:
    """Data for a script, in a way that no text in it can end the element early."""
    text = json.dumps(data, separators=(",", ":"), ensure_ascii=True, allow_nan=False)
    text = text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")
    return f'<script type="application/json" id="{escape(name)}">{text}</script>'


def _radius(studies: Sequence[Study]) -> float:
    """Nine plots in ten lie inside."""
    ranges = sorted(plot.range_nm for one in studies for _, plot in one.plots[::10])
    return ranges[int(0.9 * (len(ranges) - 1))] if ranges else 6.0


def _headings(passage: Passage, steps: int, step_s: float) -> list[int | None]:
    values: list[int | None] = [None] * steps
    for at_s, ship in passage.own:
        index = round((at_s - passage.first_s) / step_s)
        if 0 <= index < steps and ship.heading_deg is not None:
            values[index] = round(10 * ship.heading_deg) % 3600
    return values


def _path(one: Study, first_s: float, steps: int, step_s: float, rim: float) -> dict[str, object]:
    times = [at_s for at_s, plot in one.plots if plot.bearing_deg is not None]
    plots = [plot for _, plot in one.plots if plot.bearing_deg is not None]
    ranges: list[int | None] = []
    bearings: list[int | None] = []
    ages: list[int | None] = []
    for index in range(steps):
        at_s = first_s + index * step_s
        last = bisect_right(times, at_s) - 1
        if last < 0 or at_s - times[last] > LATE_S or plots[last].range_nm > rim:
            for values in (ranges, bearings, ages):
                values.append(None)
            continue
        ranges.append(round(100 * plots[last].range_nm))
        bearings.append(round(10 * (plots[last].bearing_deg or 0.0)) % 3600)
        ages.append(round(at_s - times[last]))
    return {"name": words.clean(one.name, 24) or one.target, "r": ranges, "b": bearings, "a": ages}


def _first_of_interest(studies: Sequence[Study], passage: Passage, step_s: float) -> int:
    """The slider starts at the first alarm, else three minutes before the nearest of all closest approaches."""
    alarms = [one.alarm.raised_s for one in studies if one.alarm is not None]
    nearest = min(studies, key=lambda one: one.closest.range_nm, default=None)
    at_s = min(alarms) if alarms else (nearest.closest.at_s - 180.0 if nearest else passage.first_s)
    return max(0, int((at_s - passage.first_s) / step_s))
