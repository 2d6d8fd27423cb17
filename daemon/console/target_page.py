"""All that is known of one target: ours beside the set's, how sure, its history, its alerts."""

import textwrap
from collections.abc import Sequence

from rich.text import Text

from alerts.plotting.terms import Check, TrackState
from daemon import words
from daemon.console.alert_lines import alert_lines, current_texts
from daemon.console.board import Point, Row, Snapshot
from daemon.console.lines import Limits, Look, line, rule
from daemon.console.own import head
from daemon.console.strips import drift_strips
from daemon.console.table import label

HISTORY_MINUTES = 6


def target_page(snapshot: Snapshot, key: str, limits: Limits | None, look: Look) -> list[Text]:
    row = snapshot.rows[key]
    top = [*head(snapshot, limits, look), _title(key, row, look)]
    held = [raised for raised in current_texts(snapshot) if raised.alert.target == key]
    foot = [*_history(row.history, snapshot.now_s, look), *alert_lines(held, 2 if look.height < 30 else 6, look)]
    middle = figures(row, look)[: max(look.height - 1 - len(top) - len(foot), 0)]
    room = look.height - 1 - len(top) - len(middle) - len(foot)
    return [*top, *middle, *drift_strips(snapshot, [key], min(room, 12), look), *foot]


def _title(key: str, row: Row, look: Look) -> Text:
    name = label(key, row)
    called = key if name == key else f"{key} ({name})"
    # "steady" is said of a bearing on this page, and of nothing else
    track = "settled" if row.plot.track is TrackState.STEADY else str(row.plot.track)
    said = f"track {track}" if row.current else "NOT UPDATED"
    state = f"{said}, last seen {words.age(row.age_s)} ago, {row.plot.observations} observations"
    return line(look, (f"{called}  ", "title"), (state, "" if row.current else "stale"))


def figures(row: Row, look: Look) -> list[Text]:
    """Every figure of the plot, with the set's own beside it. A target that is not current has last figures only."""
    plot = row.plot
    if not row.current:
        last = f"Last seen {words.bearing_of(plot)}, {words.miles(plot.range_nm)}, {words.age(row.age_s)} ago."
        return [line(look, (last, "stale")), line(look, ("No figure of it is a present one.", "stale"))]
    lines = [
        ("bearing", f"{words.bearing_of(plot)}, {words.off_the_bow(plot.relative_bearing_deg)}"),
        ("range", words.miles(plot.range_nm)),
        ("drift", _drift(row)),
        ("CPA", f"{words.miles(plot.cpa_nm)} (95 %: {words.limits(plot.cpa_low_nm, plot.cpa_high_nm)})"),
        ("TCPA", _tcpa(row)),
        ("inside", f"{words.percent(plot.inside_probability)} likely to pass inside the CPA limit"),
        ("passes", f"{plot.passing}; {_bow(row)}"),
        ("motion", f"course {words.bearing(plot.course_deg)}, speed {words.knots(plot.speed_kn)}, true over ground"),
        ("geometry", words.encounter(plot.encounter)),
        ("the set", _reported(row)),
        ("check", _check(row)),
    ]
    return [one for name, text in lines for one in _figure(name, text, look)]


NAMES = 12  # cells before a figure
FIGURE_LINES = 3


def _figure(name: str, text: str, look: Look) -> list[Text]:
    """A name and its text, going on below where it is long: the cause of a difference is."""
    wrapped = textwrap.wrap(text, max(look.width - NAMES, 12), max_lines=FIGURE_LINES, placeholder=" …")
    heads = [f"  {name:<9} ", *[" " * NAMES] * len(wrapped)]
    return [line(look, (head_, "faint"), (part, "")) for head_, part in zip(heads, wrapped, strict=False)]


def _drift(row: Row) -> str:
    """How the bearing draws. Off the bow alone nobody can tell that from a swing of the bow."""
    plot = row.plot
    said = f"{plot.bearing_trend}, {words.rate(plot.bearing_rate_deg_min, plot.bearing_rate_sd_deg_min)}"
    return f"{said} off the bow: drift or yaw" if words.bearing_of(plot).endswith("R") else said


def _tcpa(row: Row) -> str:
    spread = "" if row.plot.tcpa_sd_min is None else f" (± {row.plot.tcpa_sd_min:.1f} min, one sd)"
    return words.until(row.plot.tcpa_min) + spread


def _bow(row: Row) -> str:
    plot = row.plot
    if plot.bow_crossing_nm is None or plot.bow_crossing_min is None:
        return "no bow crossing" if plot.cpa_nm is not None else f"bow crossing {words.DASH}"
    return f"bow crossing {words.miles(plot.bow_crossing_nm)} {words.until(plot.bow_crossing_min)}"


def _reported(row: Row) -> str:
    plot = row.plot
    return (
        f"CPA {words.miles(plot.reported_cpa_nm)} {words.until(plot.reported_tcpa_min)}, course"
        f" {words.bearing(plot.reported_course_deg)}, {words.knots(plot.reported_speed_kn)}"
    )


def _check(row: Row) -> str:
    said = "DIFFERS" if row.plot.check is Check.DIFFERS else str(row.plot.check)
    return f"{said}: {words.clean(row.plot.check_cause, words.TEXT_LENGTH)}" if row.plot.check_cause else said


def _history(history: Sequence[Point], now_s: float, look: Look) -> list[Text]:
    """A line each minute, the newest first, as in a plotting book."""
    if look.height < 26:
        return []
    lines = [rule(look, "minutes ago, bearing, range, CPA, TCPA")]
    for minute in range(HISTORY_MINUTES):
        point = next((one for one in reversed(history) if now_s - one.at_s >= 60.0 * minute), None)
        if point is None or now_s - point.at_s > 60.0 * minute + 45.0:
            continue
        text = (
            f"  {minute:>2}   {words.bearing(point.bearing_deg)}   {words.miles(point.range_nm)}"
            f"   {words.miles(point.cpa_nm)} {words.until(point.tcpa_min)}"
        )
        lines.append(line(look, (text, "")))
    return lines
