"""The foot of the screen: alerts, feeds and the last note."""

import textwrap
from collections.abc import Sequence

from msgspec import structs
from rich.text import Text

from alerts.plotting.terms import AlertState, FeedState, Priority
from daemon import words
from daemon.console.board import Raised, Snapshot
from daemon.console.lines import Look, line


def alert_rank(raised: Raised) -> tuple[int, int, float]:
    """Sorts alerts: those that wait for a person, then by priority, then the newest."""
    waiting = raised.alert.state in (AlertState.ACTIVE_UNACKNOWLEDGED, AlertState.ACTIVE_SILENCED)
    priorities = (Priority.ALARM, Priority.WARNING, Priority.CAUTION)
    return (0 if waiting else 1, priorities.index(raised.alert.priority), -raised.since_s)


def ranked(alerts: Sequence[Raised]) -> list[Raised]:
    """Alerts as they are listed: not acknowledged first, then by priority, then the newest."""
    return sorted(alerts, key=alert_rank)


def role_of(raised: Raised, look: Look) -> str:
    """The role of an alert's line; one that waits for a person changes once a second."""
    waiting = raised.alert.state is AlertState.ACTIVE_UNACKNOWLEDGED
    return raised.alert.priority if look.bright or not waiting else "title"


STATE_WORDS = {
    AlertState.ACTIVE_UNACKNOWLEDGED: "not ack'd",
    AlertState.ACTIVE_SILENCED: "silenced",
    AlertState.ACTIVE_ACKNOWLEDGED: "ack'd",
    AlertState.RECTIFIED_UNACKNOWLEDGED: "over ack?",
    AlertState.NORMAL: "over",
}


def current_texts(snapshot: Snapshot) -> list[Raised]:
    """The alerts; what a text told as lost and is seen again is said to be: the alert itself keeps its last words."""
    return [_seen_again(raised, snapshot) for raised in snapshot.alerts]


def _seen_again(raised: Raised, snapshot: Snapshot) -> Raised:
    alert = raised.alert
    row = snapshot.rows.get(alert.target or "")
    if row is None or not row.current or not alert.values.get("lost"):
        return raised
    text = alert.text.replace(": LOST", ": SEEN AGAIN, had been LOST", 1)
    return structs.replace(raised, alert=structs.replace(alert, text=text))


def alert_lines(raised: Sequence[Raised], room: int, look: Look) -> list[Text]:
    """Up to `room` lines of alerts, the last one saying how many more there are."""
    alerts = ranked(raised)
    if not alerts:
        return [line(look, ("No alert holds.", ""))]
    shown = alerts if len(alerts) <= room else alerts[: max(room - 1, 0)]
    if room == 1:
        return [_alert_line(alerts[0], look)[0]]
    spare = max(room - len(alerts), 0)  # lines on which the first alert's text may go on
    lines = [text for one in shown[:1] for text in _alert_line(one, look, 1 + spare)]
    lines += [_alert_line(one, look)[0] for one in shown[1:]]
    if len(shown) < len(alerts):
        lines.append(line(look, (f"and {words.several(len(alerts) - len(shown), 'more alert')}", "caution")))
    return lines[:room]


HEAD = 27  # cells before an alert's text


def _alert_line(raised: Raised, look: Look, most: int = 1) -> list[Text]:
    """Priority, state, the text, and the time at which the text's figures were true; `most` lines, a cut is marked."""
    alert = raised.alert
    needs_none = alert.priority is Priority.CAUTION and alert.state is AlertState.ACTIVE_ACKNOWLEDGED
    state = "" if needs_none else STATE_WORDS[alert.state]
    head = f"{alert.priority.upper():<7} {state:<9.9} {words.clock(alert.time)}"
    text = _wrapped(alert.text, most, look)
    first = line(look, (head, role_of(raised, look)), (" " + text[0], ""))
    return [first, *[line(look, (" " * HEAD + rest, "")) for rest in text[1:]]]


def _wrapped(text: str, most: int, look: Look) -> list[str]:
    """An alert's text beside its head, and on the lines below."""
    width = max(look.width - HEAD, 12)
    return textwrap.wrap(words.clean(text, words.TEXT_LENGTH), width, max_lines=most, placeholder=" …") or [""]


def feeds_line(snapshot: Snapshot, look: Look) -> Text:
    """Each feed's state, and how much of it was refused or lost."""
    if not snapshot.feeds:
        return line(look, ("Feeds: no report yet", "faint"))
    parts: list[tuple[str, str]] = [("Feeds ", "faint")]
    for feed in sorted(snapshot.feeds, key=lambda one: (one.state is FeedState.UP, one.name)):
        parts.append((f"{words.clean(feed.name, 20)} {_feed_words(feed.state)}", _feed_role(feed.state)))
        refused = sum(feed.refused.values())
        told = [f"{refused} refused"] * bool(refused) + [f"{feed.dropped} lost"] * bool(feed.dropped)
        parts.append((f" ({', '.join(told)})" if told else "", "faint"))
        parts.append(("  ", ""))
    if snapshot.hidden:
        parts.append((f"{snapshot.hidden} not shown for want of room", "caution"))
    return line(look, *parts)


def _feed_words(state: FeedState) -> str:
    return state if state is FeedState.UP else state.upper()


def _feed_role(state: FeedState) -> str:
    return "good" if state is FeedState.UP else "warning"


def note_line(snapshot: Snapshot, look: Look) -> list[Text]:
    """The last note, with its time and author, if there is one."""
    if not snapshot.notes:
        return []
    note = snapshot.notes[-1]
    author = f" ({words.clean(note.author, 20)})" if note.author else ""
    text = words.clean(note.text, words.TEXT_LENGTH)
    return [line(look, (f"Note {words.clock(note.time)}{author} ", "faint"), (text, ""))]
