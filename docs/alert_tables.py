"""The tables of docs/alerts.md, made from the code's own; `python -m docs.reference` writes them there again."""

import inspect
import re
from pathlib import Path

from alerts import identifiers
from alerts.plotting.terms import AlertState
from alerts.settings import DEFAULT_CONDITIONS, RULES, Alerts, Passing, Rule, SensorLost
from alerts.states import TABLE, Trigger

DOCUMENT = Path(__file__).parent / "alerts.md"


def states() -> str:
    """What each trigger does in each state; a dash where it does nothing."""
    order = list(AlertState)
    head = ["| trigger | " + " | ".join(order) + " |", "| --- |" + " --- |" * len(order)]
    rows = [
        f"| {trigger} | " + " | ".join(TABLE.get((state, trigger), "–") for state in order) + " |"
        for trigger in Trigger
    ]
    return "\n".join(head + rows)


def rules() -> str:
    """Every rule: when, how urgent, and its times by default."""
    settings = Alerts()
    lines = ["| rule | raised when | priority | hold s | clear: ratio, s | repeat s |", "| --- |" + " --- |" * 5]
    for name in RULES:
        rule = settings.rule(name)
        when = WHEN[name] if type(rule) in SHARED else inspect.cleandoc(type(rule).__doc__ or "").split("\n\n")[0]
        times = f"{rule.hold_s:g} | {rule.clear_ratio:g}, {rule.clear_hold_s:g} | {rule.repeat_s:g}"
        lines.append(f"| `{name}` | {' '.join(when.split())} | {rule.priority} | {times} |")
    return "\n".join(lines)


SHARED = (Rule, SensorLost, Passing)
WHEN = {
    # Rules whose settings have no class of their own to say it.
    "heading_lost": "The heading has been silent for 10 s, or is needed and was never heard.",
    "position_lost": "The position, likewise.",
    "speed_lost": "Course and speed over ground, likewise.",
    "feed_silent": "A feed is silent or down. Holds back what came by it.",
    "picture_changed": "The set's range scale or orientation changed; shown for 60 s.",
    "clock_jump": "The wall clock jumped; shown for 60 s. No age or alert depends on it.",
    "archive_failed": "The archive cannot be written.",
    "output_failed": "Another output (events, console) fails.",
    "annunciator_failed": "An annunciator cannot tell; the others tell that.",
    "distress_beacon": "An AIS-SART, man-overboard or EPIRB transmitter is heard; one under test is a caution.",
}


def conditions() -> str:
    """The built-in sets of limits."""
    lines = [
        "| condition | CPA NM | TCPA min | bow crossing NM, min | close range NM | rules off |",
        "| --- |" + " --- |" * 5,
    ]
    for name, limits in DEFAULT_CONDITIONS.items():
        bow = f"{limits.bow_crossing_nm:g}, {limits.bow_crossing_min:g}"
        off = ", ".join(f"`{rule}`" for rule in limits.off) or "–"
        lines.append(f"| {name} | {limits.cpa_nm:g} | {limits.tcpa_min:g} | {bow} | {limits.close_nm:g} | {off} |")
    return "\n".join(lines)


def names() -> str:
    """Identifier, category and title of each rule in the alert sentences."""
    lines = ["| rule | identifier | category | title |", "| --- | --- | --- | --- |"]
    lines += [f"| `{rule}` | {number} | {letter} | {title} |" for rule, (number, letter, title) in TITLES]
    return "\n".join(lines)


TITLES = list(identifiers.TITLES.items())
TABLES = {"states": states, "rules": rules, "conditions": conditions, "identifiers": names}


def page() -> str:
    """docs/alerts.md with its tables made again between their marks."""
    text = DOCUMENT.read_text(encoding="utf-8")
    for name, table in TABLES.items():
        mark = re.compile(rf"(<!-- table: {name} -->\n).*?(<!-- end -->)", re.DOTALL)
        before = text
        text = mark.sub(lambda match, table=table: f"{match[1]}{table()}\n{match[2]}", text)  # type: ignore[misc]
        assert mark.search(before), f"docs/alerts.md has no place for the table {name}"
    return text
