"""The pages of the screen: exactly as many lines as the terminal has, whatever its size."""

import textwrap

from rich.text import Text

from daemon import words
from daemon.console.alert_lines import alert_lines, current_texts, feeds_line, note_line
from daemon.console.board import Snapshot
from daemon.console.lines import Limits, Look, line, rule
from daemon.console.own import head
from daemon.console.state import Page, Prompt, View
from daemon.console.strips import LEAST_ROWS, drift_strips
from daemon.console.table import answer, held, table
from daemon.console.target_page import target_page

# The worst few have strips; three are legible on 80 columns.
STRIPS = 3
STRIP_ROWS = 7
STRIP_ROWS_TALL = 12


def page(snapshot: Snapshot, view: View, limits: Limits | None, look: Look) -> list[Text]:
    """The chosen page with the bottom line, `look.height` lines of at most `look.width` cells."""
    if view.page is Page.CAUTIONS:
        body = cautions_page(look)
    elif view.page is Page.HELP:
        body = help_page(look)
    elif view.page is Page.TARGET and view.chosen in snapshot.rows:
        body = target_page(snapshot, view.chosen, limits, look)
    else:
        body = watch_page(snapshot, view, limits, look)
    body = body[: max(look.height - 1, 0)]
    blank = [line(look, ("", ""))] * (look.height - 1 - len(body))
    return [*body, *blank, bottom_line(view, look)][: look.height]


def watch_page(snapshot: Snapshot, view: View, limits: Limits | None, look: Look) -> list[Text]:
    """Head, answer, targets, strips, alerts, feeds: each gets its room, the answer and alerts first."""
    top = [*head(snapshot, limits, look), *answer(snapshot, view.order, look)]
    foot = [feeds_line(snapshot, look), *note_line(snapshot, look)] if look.height >= 16 else []
    room = look.height - 1 - len(top) - len(foot)
    alerts = alert_lines(current_texts(snapshot), max(1, min(len(snapshot.alerts) + 1, room // 4)), look)
    room -= len(alerts) + 1
    # No strip takes the line of a target that an alarm or a warning holds; two more are the heads and what is left out.
    wanted = min(len(view.order) + 1, max(5, held(snapshot) + 2))
    strip_rows = min(STRIP_ROWS_TALL if look.height >= 36 else STRIP_ROWS, room - wanted)
    keys = view.order[: STRIPS if look.width >= 72 else max(1, look.width // 26)]
    strips = drift_strips(snapshot, keys, strip_rows, look) if strip_rows >= LEAST_ROWS else []
    targets = table(snapshot, view.order, view.chosen, max(room - len(strips), 2), look)
    filler = [line(look, ("", ""))] * (room - len(strips) - len(targets))
    return [*top, *targets, *filler, *strips, rule(look, "alerts"), *alerts, *foot]


def cautions_page(look: Look) -> list[Text]:
    """The first screen of a watch."""
    lines = [line(look, ("Secondplot: an independent second plot", "title")), line(look, ("", ""))]
    lines += [
        line(look, (f"  {part}", ""))
        for caution in words.CAUTIONS
        for part in textwrap.wrap(caution, look.width - 2, subsequent_indent="  ")
    ]
    return [*lines, line(look, ("", "")), line(look, ("The watch is running. Press any key to see it.", "title"))]


HELP = (
    ("down, up", "choose a target; Enter shows all that is known of it; Esc goes back"),
    ("a", "acknowledge: the first alert of the list, or the chosen target's"),
    ("s", "silence the sound; what has not been acknowledged sounds again"),
    ("n", "write a note into the record"),
    ("c", "change the condition (the set of limits)"),
    ("p", "next palette: day, night, high contrast, monochrome"),
    ("q", "end the watch"),
    ("", ""),
    ("STEADY", "compass bearing does not appreciably change, range closes (Rule 7)"),
    ("(95 %)", "the CPA lies between these limits in 95 cases of 100"),
    ("passes", "ahead or astern of us, as the target cuts our heading line"),
    ("set", "the set's own answer: agrees, DIFFERS, settling (not yet), – none"),
    ("! + * ?", "alarm to acknowledge, acknowledged; warning; over, to acknowledge"),
    ("alerts", "the time is that at which the figures in the text were true"),
    ("strip", "bearing against time, newest on top: upright is a steady bearing"),
)


def help_page(look: Look) -> list[Text]:
    """Keys and words, and the cautions."""
    lines = [line(look, ("Keys and words", "title"))]
    lines += [line(look, (f"  {key:<9}", "title"), (f" {what}", "")) for key, what in HELP]
    return [*lines, line(look, ("", "")), *[line(look, (caution, "faint")) for caution in words.CAUTIONS]]


def bottom_line(view: View, look: Look) -> Text:
    """What a key would do now, or what is being typed."""
    if view.prompt is Prompt.NOTE:
        return line(look, ("Note: ", "title"), (view.typed[-(look.width - 30) :] + "_", ""), ("  Enter, Esc", "faint"))
    if view.prompt is Prompt.CONDITION:
        choices = "  ".join(f"{number} {words.clean(name, 24)}" for number, name in enumerate(view.conditions, 1))
        return line(look, ("Condition: ", "title"), (choices, ""), ("  Esc", "faint"))
    if view.prompt is Prompt.QUIT:
        return line(look, ("End the watch? y ends it, any other key goes on.", "title"))
    if view.message:
        return line(look, (view.message, "title"))
    if view.page is Page.HELP:
        return line(look, ("Any key goes back to the targets.", "title"))
    if view.page is Page.CAUTIONS:
        return line(look, ("", ""))
    keys = "a ack  s silence  n note  c condition  Enter target  p palette  ? help  q end"
    return line(look, (keys if look.width >= 80 else "a ack  s silence  ? help  q end", "faint"))
