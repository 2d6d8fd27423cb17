"""Drift strips side by side, for the worst few targets."""

from collections.abc import Sequence

from rich.text import Text

from alerts.plotting.terms import BearingTrend
from daemon import words
from daemon.console.board import Row, Snapshot
from daemon.console.lines import Look, line
from daemon.console.strip import Strip, strip
from daemon.console.table import label

# Two heads and at least two minutes, or nothing.
LEAST_ROWS = 4


def drift_strips(snapshot: Snapshot, keys: Sequence[str], rows: int, look: Look) -> list[Text]:
    """Side by side: for each of the worst few, its bearing against time. `rows` lines in all, two of them heads."""
    count = len(keys)
    if count == 0 or rows < LEAST_ROWS:
        return []
    width = (look.width - 4) // count - 2
    minutes = rows - 2
    drawn = [strip(snapshot.rows[key].history, snapshot.now_s, minutes, width) for key in keys]
    names = [_strip_title(key, snapshot.rows[key], width) for key in keys]
    lines = [_side_by_side("", [name.ljust(width) for name in names], "title", look)]
    lines.append(_side_by_side("min", [_strip_scale(one) for one in drawn], "faint", look))
    return lines + [_strip_row(row, drawn, look) for row in range(minutes)]


def _strip_title(key: str, row: Row, width: int) -> str:
    """Name and bearing, and the drift in a word where there is room; the strip itself shows it."""
    short = f"{words.shortened(label(key, row), width - 6)} {words.bearing_of(row.plot)}"
    drift = "STEADY" if row.plot.bearing_trend is BearingTrend.STEADY else str(row.plot.bearing_trend)
    full = f"{short} {drift if row.current else 'not updated'}"
    return full if len(full) <= width else short


def _strip_scale(one: Strip) -> str:
    middle = f"±{one.scale_deg:g}°{one.reference}"
    left, right = f"{one.left} ←", f"→ {one.right}"
    if len(left) + len(middle) + len(right) + 2 > one.width:
        left, right = one.left[:5], one.right[:6]
    space = one.width - len(left) - len(right)
    return left + middle.center(max(space, 0)) + right


def _side_by_side(head: str, cells: Sequence[str], role: str, look: Look) -> Text:
    return line(look, (f"{head:>3} ", "faint"), *[(f"{cell}  ", role) for cell in cells])


def _strip_row(row: int, drawn: Sequence[Strip], look: Look) -> Text:
    parts: list[tuple[str, str]] = [(("now" if row == 0 else f"-{row}").rjust(3) + " ", "faint")]
    for one in drawn:
        mark = one.marks[row]
        cells = [" "] * one.width
        cells[one.centre] = look.glyphs.line
        if mark is None:
            parts.append(("".join(cells) + "  ", "faint"))
            continue
        at = min(max(mark, 0), one.width - 1)
        parts.append(("".join(cells[:at]), "faint"))
        parts.append((look.glyphs.mark, "title"))
        parts.append(("".join(cells[at + 1 :]) + "  ", "faint"))
    return line(look, *parts)
