"""Numbers and names as a person reads them: units on every number, three-digit bearings, and words for what is missing.

Console, plain lines, debrief and pictures all speak through this module, so that one thing has one form everywhere.
A value that is not known is a dash, never a number. Text that came over the wire is hostile until `clean` has seen it.
"""

import unicodedata

from alerts.events import Alert, Instant, Plot
from alerts.plotting.colregs import rule_number
from alerts.plotting.terms import AlertState, Encounter, Priority

DASH = "–"
CUT = "…"

# Alerts and notes are said whole where there is room: several targets, a cause and the set's figures are some 600.
TEXT_LENGTH = 1000

# Control and format characters (terminal escapes, direction overrides, zero-width joins), lone surrogates, private use
# and unassigned points, line and paragraph separators: none has a place in a vessel's name or a watchkeeper's note.
_HOSTILE = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}


def clean(text: str, limit: int = 80) -> str:
    """Text from the wire made harmless for a terminal: odd characters become '?', what is longer than `limit` is cut.

    A cut shows: half a sentence may say another thing than the whole, and half a number is another number.
    """
    taken = text[: limit * 4]
    safe = "".join("?" if unicodedata.category(character) in _HOSTILE else character for character in taken)
    return shortened(_without_piled_marks(safe).strip(), limit)


def shortened(text: str, limit: int) -> str:
    """Text of at most `limit` characters; what was cut ends in …"""
    return text if len(text) <= limit else text[: max(limit - 1, 0)].rstrip() + CUT


def _without_piled_marks(text: str) -> str:
    """At most two combining marks on one letter: a pile of them climbs over the lines above."""
    kept: list[str] = []
    marks = 0
    for character in text:
        marks = marks + 1 if unicodedata.combining(character) else 0
        if marks <= 2:
            kept.append(character)
    return "".join(kept)


def clock(instant: Instant) -> str:
    """Time of day in UTC: 10:14:32."""
    return str(instant)[11:19]


def date(instant: Instant) -> str:
    """2026-05-14."""
    return str(instant)[:10]


def bearing(deg: float | None, suffix: str = "T") -> str:
    """Three digits and the reference: 061°T. 359.7 is 000°, as a bearing is read."""
    return f"{DASH * 3} {suffix}" if deg is None else f"{round(deg) % 360:03d}°{suffix}"


def fine_bearing(deg: float) -> str:
    """To a tenth of a degree: 061.4°. 359.96 is 000.0°."""
    return f"{round(deg, 1) % 360.0:05.1f}°"


def bearing_of(plot: Plot) -> str:
    """A target's bearing: true, or R off the bow where no heading is known."""
    if plot.bearing_deg is None and plot.relative_bearing_deg is not None:
        return bearing(plot.relative_bearing_deg, "R")
    return bearing(plot.bearing_deg)


def off_the_bow(relative_deg: float | None) -> str:
    """A relative bearing in -180 to 180 as the trade says it: 61° to port, 12° to starboard."""
    if relative_deg is None:
        return DASH
    whole = abs(round(relative_deg))
    if whole == 0:
        return "right ahead"
    if whole == 180:
        return "right astern"
    return f"{whole}° to {'starboard' if relative_deg > 0 else 'port'}"


def miles(nm: float | None) -> str:
    """A distance: 0.35 NM."""
    return f"{DASH} NM" if nm is None else f"{nm:.2f} NM"


def knots(kn: float | None) -> str:
    """A speed: 9.1 kn."""
    return f"{DASH} kn" if kn is None else f"{kn:.1f} kn"


def minutes(value: float | None) -> str:
    """11.2 min; whole minutes from 100 up; over a day is no time to plan by."""
    if value is None:
        return f"{DASH} min"
    if abs(value) >= 1440:
        return "over 24 h"
    return f"{value:.0f} min" if abs(value) >= 100 else f"{value:.1f} min"


def until(tcpa_min: float | None) -> str:
    """When the CPA is: in 11.2 min, or 3.0 min ago."""
    if tcpa_min is None:
        return f"{DASH} min"
    return f"{minutes(-tcpa_min)} ago" if tcpa_min < 0 else f"in {minutes(tcpa_min)}"


def limits(low_nm: float | None, high_nm: float | None) -> str:
    """The 95 % limits of a CPA: 0.00 to 0.35 NM."""
    if low_nm is None or high_nm is None:
        return f"{DASH} NM"
    return f"{low_nm:.2f} to {high_nm:.2f} NM"


def several(number: int, one: str, many: str = "") -> str:
    """A number with its noun: 1 target, 2 targets; `many` where an s does not do it."""
    return f"{number:,} {one if number == 1 else many or one + 's'}"


def percent(share: float | None) -> str:
    """A probability in whole per cent. Only exact certainty is called 0 or 100; the rest says under or over."""
    if share is None:
        return f"{DASH} %"
    if 0.0 < share < 0.005:
        return "under 1 %"
    if 0.995 <= share < 1.0:
        return "over 99 %"
    return f"{100 * share:.0f} %"


def rate(deg_min: float | None, sd_deg_min: float | None = None) -> str:
    """Drift of the bearing, clockwise positive: +0.42°/min, with its standard deviation where known."""
    if deg_min is None:
        return f"{DASH}°/min"
    spread = "" if sd_deg_min is None else f" ± {sd_deg_min:.2f}"
    return f"{deg_min:+.2f}{spread}°/min"


def scatter(range_m: float | None, bearing_deg: float | None) -> str:
    """How an echo's reports lie about her track: scatter 18 m and 0.41° (one sd)."""
    if range_m is None or bearing_deg is None:
        return "too few for scatter"
    return f"scatter {range_m:.0f} m and {bearing_deg:.2f}° (one sd)"


def age(seconds: float | None) -> str:
    """How old: 0.4 s, 12 s, 3 min, 2 h."""
    if seconds is None:
        return f"{DASH} s"
    if seconds < 9.95:
        return f"{max(seconds, 0.0):.1f} s"
    if seconds < 120:
        return f"{seconds:.0f} s"
    return f"{seconds / 60:.0f} min" if seconds < 7200 else f"{seconds / 3600:.0f} h"


def latitude(deg: float | None) -> str:
    """50°37.06′N."""
    return DASH if deg is None else _degrees_minutes(deg, 2, "NS")


def longitude(deg: float | None) -> str:
    """002°50.91′W."""
    return DASH if deg is None else _degrees_minutes(deg, 3, "EW")


def _degrees_minutes(deg: float, digits: int, sides: str) -> str:
    hundredths = round(abs(deg) * 6000)  # of a minute, so that 59.999' never prints as 60.00'
    whole, rest = divmod(hundredths, 6000)
    return f"{whole:0{digits}d}°{rest / 100:05.2f}′{sides[0] if deg >= 0 else sides[1]}"


def encounter(kind: Encounter) -> str:
    """The geometry in words with the rule's number: crossing from starboard (Rule 15)."""
    rule = rule_number(kind)
    return f"{kind} (Rule {rule})" if rule else str(kind)


ALERT_STATES = {
    AlertState.ACTIVE_UNACKNOWLEDGED: "not acknowledged",
    AlertState.ACTIVE_SILENCED: "silenced, not acknowledged",
    AlertState.ACTIVE_ACKNOWLEDGED: "acknowledged",
    AlertState.RECTIFIED_UNACKNOWLEDGED: "over, not acknowledged",
    AlertState.NORMAL: "over",
}
"""The states of IEC 62923-1 as a person reads them; events and the archive keep the standard's own names."""


def alert_state(alert: Alert) -> str:
    """The state as a person reads it. A caution needs no acknowledgement: nobody has acknowledged it, it stands."""
    if alert.priority is Priority.CAUTION and alert.state is AlertState.ACTIVE_ACKNOWLEDGED:
        return "stands"
    return ALERT_STATES[alert.state]


SMALL_CRAFT = "Small craft, buoys and wood may not be tracked or seen by radar at all."

CAUTIONS = (
    "An aid to a proper look-out, never a substitute.",
    SMALL_CRAFT,
    "The size of an echo says nothing of the size of the vessel.",
    "The COLREGs, local rules and licensed practice decide.",
    "In restricted visibility no vessel stands on (Rule 19).",
    "It gives geometry and the rule's number, never an order to manoeuvre.",
)
"""Shown at the top of a watch and in every debrief."""
