"""The answer and the targets by urgency: closing on a steady bearing, how close, when, on which side, how sure."""

import textwrap
from collections.abc import Sequence

from rich.text import Text

from alerts.plotting.terms import AlertState, BearingTrend, Check, Passing, Priority, TrackState
from daemon import words
from daemon.console.alert_lines import alert_rank, role_of
from daemon.console.board import Raised, Row, Snapshot
from daemon.console.lines import Look, line


def answer(snapshot: Snapshot, order: Sequence[str], look: Look) -> list[Text]:
    """The first question: is anything closing on a steady bearing, or to pass inside the limit? Never cut short."""
    text, role = _answer(snapshot, order, look)
    return [line(look, (part.ljust(look.width), role)) for part in textwrap.wrap(text, look.width)]


def _answer(snapshot: Snapshot, order: Sequence[str], look: Look) -> tuple[str, str]:
    rows = [(key, snapshot.rows[key]) for key in order]
    current = [(key, row) for key, row in rows if row.current]
    closing = [(key, row) for key, row in current if closing_steady(row) or inside(row)]
    if closing:
        key, row = closing[0]
        text = f"{_closing_words(row)}: {label(key, row)} CPA {words.miles(row.plot.cpa_nm)}"
        more = f"; {len(closing) - 1} more" if len(closing) > 1 else ""
        return f"{text} {words.until(row.plot.tcpa_min)}{more}", _alert_role(snapshot, key, look)
    if not rows:
        return "No target has been reported yet: nothing can be said of any.", "stale"
    if not current:
        youngest = words.age(min(row.age_s for _, row in rows))
        return f"NO CURRENT TARGET DATA, the last {youngest} ago: nothing can be said.", "warning"
    return _quiet_words([row for _, row in current], len(rows), look.width), "title"


def _closing_words(row: Row) -> str:
    if row.plot.bearing_trend is BearingTrend.STEADY:
        return "STEADY BEARING, CLOSING"
    if row.plot.passing is Passing.COLLISION_COURSE:
        return "COLLISION COURSE"
    return "PASSES INSIDE THE LIMIT"


def _quiet_words(current: Sequence[Row], known: int, width: int) -> str:
    """A quiet answer carries what it rests on: how many were judged, and how many could not be."""
    judged = sum(row.plot.bearing_trend is not BearingTrend.UNSETTLED for row in current)
    doubtful = sum(_doubtful(row) for row in current)
    counts = ((doubtful, "in doubt"), (len(current) - judged, "unsettled"), (known - len(current), "not updated"))
    rest = [f"{count} {what}" for count, what in counts if count]
    if not judged:
        return "; ".join(["No target can be judged yet", *rest]) + "."
    whole = "; ".join([f"None of {judged} judged closes on a steady bearing or passes inside the limit", *rest]) + "."
    return whole if len(whole) <= width else whole.replace("on a steady bearing", "steady").replace(" the limit", "")


# A CPA further off than this is a vessel that keeps station with us, not one that closes.
CLOSING_MIN = 60.0


def _to_come(row: Row) -> bool:
    return row.plot.tcpa_min is not None and 0 < row.plot.tcpa_min <= CLOSING_MIN


def closing_steady(row: Row) -> bool:
    """True where the target is on a steady bearing or a collision course and its CPA lies within the hour."""
    plot = row.plot
    return _to_come(row) and (plot.bearing_trend is BearingTrend.STEADY or plot.passing is Passing.COLLISION_COURSE)


def inside(row: Row) -> bool:
    """True where it is likelier than not to pass inside the limit, however clearly its bearing draws: Rule 7(d)(ii)."""
    return _to_come(row) and (row.plot.inside_probability or 0.0) >= 0.5


def _doubtful(row: Row) -> bool:
    return _to_come(row) and 0.05 <= (row.plot.inside_probability or 0.0) < 0.5


def _alert_role(snapshot: Snapshot, target: str, look: Look) -> str:
    raised = [alert for alert in snapshot.alerts if alert.alert.target == target]
    return role_of(min(raised, key=alert_rank), look) if raised else "title"


def table(snapshot: Snapshot, order: Sequence[str], chosen: str | None, room: int, look: Look) -> list[Text]:
    """Up to `room` lines: the targets by urgency, the last line saying how many more there are."""
    lines = [line(look, (_heads(look.width), "faint"))]
    fitting = room - 1 if len(order) <= room - 1 else room - 2
    marks = _marks(snapshot.alerts)
    for key in order[: max(fitting, 0)]:
        lines += [target_line(key, snapshot.rows[key], marks.get(key, " "), key == chosen, look)]
    left = len(order) - max(fitting, 0)
    if left > 0:
        lines.append(line(look, (f"   and {left} more, less urgent (keys: down, up)", "faint")))
    return lines[:room]


_HEADS = {
    "target": "target",
    "bearing": "brg",
    "range": "rng NM",
    "drift": "bearing is",
    "cpa": "CPA N",  # the head goes on over the limits
    "limits": "M (95 %)",
    "tcpa": "in min",
    "passes": "passes",
    "set": "set",
}


def _columns(width: int) -> dict[str, int]:
    """Cells of each column, in order. A narrow screen keeps what answers the first question; names take the rest."""
    if width < 72:
        return {"target": 10, "bearing": 6, "range": 7, "drift": 12, "cpa": 7, "tcpa": 7, "passes": 9}
    name = 11 + min(max(width - 80, 0), 10)
    cells = {"target": name, "bearing": 7, "range": 7, "drift": 12, "cpa": 5, "limits": 10, "tcpa": 8, "passes": 10}
    return cells if width < 80 else cells | {"set": 8}


def _heads(width: int) -> str:
    columns = _columns(width)
    heads = _HEADS if "limits" in columns else _HEADS | {"cpa": "CPA NM"}
    return "  " + "".join(heads[name].ljust(cells) for name, cells in columns.items())


def target_line(key: str, row: Row, mark: str, chosen: bool, look: Look) -> Text:
    """One target. Figures of a target that is not current are not shown as if they were."""
    role = {"!": "alarm", "+": "alarm", "*": "warning"}.get(mark, "chosen" if chosen else "text")
    pointer = ">" if chosen else " "
    plot = row.plot
    columns = _columns(look.width)
    head = f"{mark}{pointer}{words.shortened(label(key, row), columns['target'] - 1).ljust(columns['target'])}"
    if not row.current:
        state = "LOST" if plot.track is TrackState.LOST else "NOT UPDATED"
        last = f"{state} for {words.age(row.age_s)}; last {words.bearing_of(plot)} {words.miles(plot.range_nm)}"
        return line(look, (head, role if mark.strip() else "stale"), (last, "stale"))
    cpa, limits, tcpa = _closest(row)
    cells = {
        "bearing": words.bearing_of(plot),
        "range": _short(plot.range_nm),
        "drift": _drift(row),
        "cpa": cpa,
        "limits": limits,
        "tcpa": tcpa,
        "passes": _passing(row),
        "set": _set_says(plot.check),
    }
    body = "".join(cells[name].ljust(room) for name, room in columns.items() if name in cells)
    return line(look, (head, role), (body, "chosen" if chosen else "text"))


def label(key: str, row: Row) -> str:
    """The name a person knows the target by: its own where it has one, else the track's."""
    return words.clean(row.plot.name, 20) or key


def _drift(row: Row) -> str:
    plot = row.plot
    if plot.track is TrackState.MANOEUVRING:
        return "MANOEUVRING"
    if plot.bearing_trend is BearingTrend.STEADY:
        return "STEADY" if closing_steady(row) else "steady"
    return str(plot.bearing_trend).replace("drawing", "draws")


def _closest(row: Row) -> tuple[str, str, str]:
    """CPA, its 95 % limits and TCPA; dashes while unsettled, and a word once it is past."""
    plot = row.plot
    if plot.cpa_nm is None or plot.tcpa_min is None:
        return (words.DASH, words.DASH, words.DASH)
    if plot.tcpa_min < 0:
        return (words.DASH, words.DASH, "past")
    spread = words.DASH
    if plot.cpa_low_nm is not None and plot.cpa_high_nm is not None:
        spread = f"{_short(plot.cpa_low_nm)}–{_short(plot.cpa_high_nm)}"
    minutes = f"{plot.tcpa_min:.1f}" if plot.tcpa_min < 100 else ">100"
    return (_short(plot.cpa_nm), spread, minutes)


def _short(nm: float) -> str:
    """Four figures at most, so that columns stand."""
    return f"{nm:.2f}" if nm < 9.995 else f"{nm:.1f}"[:4].rstrip(".")


def _passing(row: Row) -> str:
    return "collision" if row.plot.passing is Passing.COLLISION_COURSE else str(row.plot.passing)


def _set_says(check: Check) -> str:
    return {Check.DIFFERS: "DIFFERS", Check.NOT_REPORTED: words.DASH}.get(check, str(check))


def held(snapshot: Snapshot) -> int:
    """How many targets an alarm or a warning holds now."""
    return sum(mark != "?" and key in snapshot.rows for key, mark in _marks(snapshot.alerts).items())


def _marks(alerts: Sequence[Raised]) -> dict[str, str]:
    """A sign before a target's name: ! an alarm not acknowledged, + one acknowledged, * a warning; ? where all that
    is left of them is over and waits to be acknowledged."""
    marks: dict[str, str] = {}
    for raised in sorted(alerts, key=alert_rank, reverse=True):
        alert = raised.alert
        if alert.target is None or alert.priority is Priority.CAUTION:
            continue
        if alert.state is AlertState.RECTIFIED_UNACKNOWLEDGED:
            marks.setdefault(alert.target, "?")
            continue
        alarm = "+" if alert.state is AlertState.ACTIVE_ACKNOWLEDGED else "!"
        marks[alert.target] = alarm if alert.priority is Priority.ALARM else "*"
    return marks
