"""The pictures of the README and the docs, made again from the invented recordings: `python -m docs.pictures`.

Writes docs/pictures/*.svg. The console's picture is what its own pages say at one moment, the others are the debrief's.
"""

import threading
from html import escape
from pathlib import Path

from rich.console import Console
from rich.style import Style
from rich.text import Text

from alerts.events import AnyEvent, Moment
from alerts.lookout import Lookout
from alerts.settings import DEFAULT_CONDITIONS
from daemon.clock import HostClock
from daemon.config import Config
from daemon.console import urgency
from daemon.console.board import Board
from daemon.console.lines import Limits, Look
from daemon.console.pages import page
from daemon.console.palette import PALETTES, UNICODE
from daemon.console.state import Page, View
from daemon.debrief import figures
from daemon.debrief.cards import window
from daemon.debrief.page import Debrief, Shape
from daemon.debrief.record import Gathered
from daemon.feeds.replay import Recording
from daemon.pictures.drawing import LIGHT
from daemon.replaying import MAX, feeds_of, lookout_settings, run
from daemon.stream import Stream
from daemon.timeline import RecordedTimeline

FOLDER = Path(__file__).parent / "pictures"
RECORDINGS = Path(__file__).parent.parent / "recordings"
CELL = (7.83, 17.0)  # of a 13 px monospaced letter
# The moment of the console's pictures: four minutes before the closest approach of the fog recording.
AT_S = 14 * 60


def gathered(name: str) -> Gathered:
    """A recording's events."""
    recording = Recording(str(RECORDINGS / name))
    record = Gathered(name, "secondplot")
    stream = Stream(Lookout(lookout_settings(Config())), [record], feeds_of([recording]), RecordedTimeline(None))
    run(stream, [recording], MAX, HostClock(), threading.Event())
    stream.close()
    return record


def console(record: Gathered, shown: Page, palette: str) -> str:
    """The console as it stood at AT_S, on 80 x 24."""
    board, view = Board(), View(tuple(DEFAULT_CONDITIONS))
    for moment, events in moments(record):
        board.take(moment, events)
    keys = frozenset(one.target for one in record.passage.targets)
    snapshot = board.snapshot(0.0, keys)
    scores = urgency.alert_scores(snapshot.alerts)
    view.order = urgency.order(
        [], {key: urgency.score(row, scores.get(key, 0.0)) for key, row in snapshot.rows.items()}
    )
    view.page, view.chosen = shown, view.order[0] if shown is Page.TARGET else None
    condition = DEFAULT_CONDITIONS["open water"]
    limits = Limits("open water", condition.cpa_nm, condition.tcpa_min)
    return as_svg(page(snapshot, view, limits, Look(80, 24, PALETTES[palette], UNICODE)))


def moments(record: Gathered) -> list[tuple[Moment, list[AnyEvent]]]:
    """What the record holds up to AT_S, in order."""
    passage = record.passage
    events: list[tuple[float, AnyEvent]] = [
        dated for kind in (passage.own, passage.alerts, passage.radar, passage.notes, passage.feeds) for dated in kind
    ]
    events += [dated for one in passage.targets for dated in record.plots(one.target)]
    until_s = passage.first_s + AT_S
    return [
        (Moment(at_s, event.time), [event]) for at_s, event in sorted(events, key=lambda d: d[0]) if at_s <= until_s
    ]


def as_svg(lines: list[Text]) -> str:
    """Lines of a terminal as SVG, on a dark ground as terminals mostly are."""
    width, height = 80 * CELL[0] + 20, len(lines) * CELL[1] + 20
    parts = [f'<rect width="{width:.0f}" height="{height:.0f}" fill="#101214"/>']
    plain = Console(width=80, color_system="truecolor", force_terminal=True)
    for row, line in enumerate(lines):
        column = 0
        for segment in line.render(plain):
            x, y = 10 + column * CELL[0], 10 + row * CELL[1]
            column += segment.cell_length
            parts.append(_run(segment.text, segment.style, x, y, segment.cell_length))
    head = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.0f} {height:.0f}" role="img">'
    said = escape("\n".join(line.plain.rstrip() for line in lines))
    font = 'font-family="\'DejaVu Sans Mono\',monospace" font-size="13"'
    return f"{head}<title>The console</title><desc>{said}</desc><g {font}>{''.join(parts)}</g></svg>\n"


def _run(text: str, style: Style | None, x: float, y: float, cells: int) -> str:
    ink, ground = "#d8d8d8", None
    bold = faint = line = False
    if style is not None:
        if style.color is not None and not style.color.is_default:
            ink = style.color.get_truecolor().hex
        if style.bgcolor is not None and not style.bgcolor.is_default:
            ground = style.bgcolor.get_truecolor(foreground=False).hex
        bold, faint, line = bool(style.bold), bool(style.dim), bool(style.underline)
    box = (
        f'<rect x="{x:.1f}" y="{y:.1f}" width="{cells * CELL[0]:.1f}" height="{CELL[1]}" fill="{ground}"/>'
        if ground
        else ""
    )
    look = (' font-weight="bold"' if bold else "") + (' fill-opacity=".6"' if faint else "")
    look += ' text-decoration="underline"' if line else ""
    if not text.strip():
        return box
    size = f'textLength="{cells * CELL[0]:.1f}"'
    fixed = text.replace(" ", "\N{NO-BREAK SPACE}")  # browsers run plain spaces together
    return f'{box}<text x="{x:.1f}" y="{y + 13:.1f}" fill="{ink}" {size}{look}>{escape(fixed)}</text>'


def main() -> None:
    """Write them all."""
    FOLDER.mkdir(exist_ok=True)
    fog = gathered("fog-crossing.nmea.gz")
    for name, shown, palette in (
        ("console", Page.WATCH, "day"),
        ("console-target", Page.TARGET, "day"),
        ("console-night", Page.WATCH, "night"),
    ):
        (FOLDER / f"{name}.svg").write_text(console(fog, shown, palette), encoding="utf-8")
    late = gathered("late-turn.nmea.gz")
    debrief = Debrief(late, Shape())
    one = debrief.studies[0]
    plots = window(one)
    drawings = {
        f"sheet-{part}": drawing
        for part, drawing in zip(("whole", "near"), figures.sheets(one, plots, 20.0), strict=False)
    }
    drawings |= dict(zip(("bearing", "range", "cpa", "tcpa"), figures.charts(one, plots), strict=True))
    drawings["timeline"] = figures.timeline(late.passage, debrief.spans, debrief.turns)
    for name, drawing in drawings.items():
        (FOLDER / f"{name}.svg").write_text(drawing.svg(LIGHT), encoding="utf-8")
    print(f"{len(list(FOLDER.glob('*.svg')))} pictures in {FOLDER}")


if __name__ == "__main__":
    main()
