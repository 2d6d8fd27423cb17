"""One encounter's card in words and tables."""

from collections.abc import Sequence
from html import escape

from alerts.plotting.colregs import rule_text
from alerts.plotting.terms import Priority
from alerts.rules.wording import rule_name
from daemon import words
from daemon.debrief import figures
from daemon.debrief.record import Dated, Passage
from daemon.debrief.steadiness import Steadiness
from daemon.debrief.study import Alteration, Span, Study
from daemon.pictures.paper import table


def said(text: str, limit: int = words.TEXT_LENGTH) -> str:
    """Text from the wire, harmless in a page."""
    return escape(words.clean(text, limit))


def called(target: str, name: str) -> str:
    """The track's key, with the target's own name where it has one."""
    return f"{said(target, 40)} ({said(name, 40)})" if words.clean(name) else said(target, 40)


def anchor(target: str) -> str:
    return "t-" + "".join(letter if letter.isalnum() else "-" for letter in target)[:60]


def card(one: Study, echo: Steadiness, passage: Passage) -> str:
    """The whole card."""
    plots = window(one)
    heading = _heading_at(passage, one.closest.at_s)
    pictures = "".join(f"<figure>{drawing.svg()}</figure>" for drawing in figures.charts(one, plots))
    drawn = "".join(drawing.svg() for drawing in figures.sheets(one, plots, heading))
    sheet = f"<figure>{drawn}<figcaption>{_caption(one)}</figcaption></figure>"
    return (
        f'<article id="{anchor(one.target)}" aria-labelledby="{anchor(one.target)}-h">'
        f'<h3 id="{anchor(one.target)}-h">{called(one.target, one.name)}</h3>{_facts(one)}'
        f'<div class="pair"><div>{sheet}</div><div>{pictures}</div></div>'
        f"{_alerts(one)}{_done(one)}{_geometry(one)}{_check(one)}{_echo(echo)}</article>"
    )


def window(one: Study) -> Sequence[Dated]:
    """The plots that the card draws: from forty minutes before the closest approach to ten after."""
    near = [dated for dated in one.plots if -2400.0 <= dated[0] - one.closest.at_s <= 600.0]
    return near or one.plots


def _heading_at(passage: Passage, at_s: float) -> float | None:
    near = [(abs(when - at_s), ship.heading_deg) for when, ship in passage.own if abs(when - at_s) < 30.0]
    return min(near, key=lambda pair: pair[0])[1] if near else None


def _facts(one: Study) -> str:
    closest = one.closest
    end = " (the record begins or ends there)" if closest.ended else ""
    nearest = f'<span class="closest">{words.miles(closest.range_nm)}</span> at {figures.seconds(closest.at_s)} UTC'
    alarm = "none was raised"
    if one.alarm is not None:
        alarm = f'<span class="alarm">{figures.seconds(one.alarm.raised_s)} UTC</span>, {_lead(one.warning_min)}'
    first, last = figures.seconds(one.plots[0][0]), figures.seconds(one.plots[-1][0])
    rows = [
        ["Closest approach", f"{nearest}, bearing {words.bearing(closest.bearing_deg)}{end}"],
        ["Alarm", alarm],
        ["Geometry", escape(str(one.encounter))],
        ["Seen", f"{first} to {last} UTC, {len(one.plots)} plots"],
    ]
    cells = "".join(f'<tr><th scope="row">{name}</th><td>{text}</td></tr>' for name, text in rows)
    return f'<div class="wide"><table class="facts">{cells}</table></div>'


def _lead(minutes: float | None) -> str:
    if minutes is None:
        return words.DASH
    if minutes < 0:
        return f"{words.minutes(-minutes)} after the closest approach"
    return f"{words.minutes(minutes)} before the closest approach"


def _caption(one: Study) -> str:
    moment = (
        f"when the alarm came ({figures.hours(one.alarm.raised_s)})" if one.alarm else "when its motion was first known"
    )
    return (
        "Relative track with times. Square: closest approach as it was. Dashed ellipse: where it was expected "
        f"{moment}, 95 %. Heading line: own heading at the closest approach."
    )


def _alerts(one: Study) -> str:
    if not one.alerts:
        return "<p>No alert of this target.</p>"
    rows = [
        [
            figures.seconds(span.raised_s),
            f"{span.alert.priority}: {said(rule_name(span.alert.rule), 40)}",
            said(span.alert.text),
            "needs none" if span.alert.priority is Priority.CAUTION else _when(span.acknowledged_s),
            _when(span.over_s),
            _lead((one.closest.at_s - span.raised_s) / 60.0),
        ]
        for span in one.alerts
    ]
    return table(("raised", "alert", "as it was told", "acknowledged", "over", "in time"), rows)


def _when(at_s: float | None) -> str:
    return words.DASH if at_s is None else figures.seconds(at_s)


def _done(one: Study) -> str:
    if not one.alterations:
        return "<p>No alteration of course or speed was found, ours or the target's, while it was tracked.</p>"
    rows = [
        [
            figures.seconds(turn.at_s),
            turn.who,
            _turned(turn),
            words.miles(turn.cpa_before_nm),
            words.miles(turn.cpa_after_nm),
        ]
        for turn in one.alterations
    ]
    return table(("about", "who", "alteration", "CPA predicted before", "CPA predicted after"), rows)


def _turned(turn: Alteration) -> str:
    return (
        f"{words.bearing(turn.course_before_deg)} at {words.knots(turn.speed_before_kn)} to "
        f"{words.bearing(turn.course_after_deg)} at {words.knots(turn.speed_after_kn)}"
    )


def _geometry(one: Study) -> str:
    text = rule_text(one.encounter)
    fog = (
        " In or near restricted visibility, not in sight of one another, Rule 19 applies instead: no vessel stands on."
    )
    return f'<p class="small">{escape(text)}{"" if "19" in text else fog}</p>' if text else ""


def _check(one: Study) -> str:
    held = one.agreement
    if held.compared == 0:
        return "<p>The set's own CPA and TCPA were not there to be compared.</p>"
    share = words.percent(held.differed / held.compared)
    causes = "; ".join(f"{said(cause)} ({count} plots)" for cause, count in held.causes)
    found = f" Causes named: {causes}." if causes else ""
    counts = f"of {held.compared} plots compared with the set's answer, {held.differed} differed ({share})"
    return f"<p>Cross-check: {counts}.{found}</p>"


def _echo(echo: Steadiness) -> str:
    lost = f"; lost for a while at {', '.join(figures.hours(at) for at in echo.losses[:8])}" if echo.losses else ""
    return (
        f"<p>Echo: {echo.received} of {echo.expected} reports due ({words.percent(echo.received / echo.expected)}), "
        f"{words.scatter(echo.scatter.range_m, echo.scatter.bearing_deg)}{lost}.</p>"
    )


def span_words(span: Span) -> str:
    """An alert in a line of the list."""
    return f"{span.alert.priority} {span.alert.id}, {said(rule_name(span.alert.rule), 40)}: {said(span.alert.text)}"
