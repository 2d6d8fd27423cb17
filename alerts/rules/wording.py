"""Texts of the alerts, for a tired reader: who, how close, when, on which side, and whether the bearing moves."""

from alerts.events import Instant, Plot
from alerts.plotting.terms import BearingTrend, Passing

NAME_LENGTH = 20


def clean(text: str, length: int = NAME_LENGTH) -> str:
    """Text from the wire, made safe to show: printable characters only, cut to a length."""
    return "".join(c for c in text if c.isprintable())[:length].strip()


def who(plot: Plot) -> str:
    """The target's key, and its name where it has one."""
    name = clean(plot.name)
    return f"{plot.target} {name}" if name else plot.target


def angle(bearing_deg: float | None) -> str:
    """Three digits and a T, never 360."""
    return "bearing unknown" if bearing_deg is None else f"bearing {round(bearing_deg) % 360:03d}°T"


def where(plot: Plot) -> str:
    """The bearing; off the bow where no heading makes it true."""
    if plot.bearing_deg is None and plot.relative_bearing_deg is not None:
        return f"bearing {round(plot.relative_bearing_deg) % 360:03d}°R"
    return angle(plot.bearing_deg)


DRIFT_OR_YAW = "drift or yaw: no heading"
"""Said of every drift that is counted from the bow alone."""


def bearing(plot: Plot) -> str:
    """The bearing and how it draws; off the bow, and as what it may be, where no heading makes it true."""
    if plot.bearing_trend is BearingTrend.UNSETTLED:
        return where(plot)
    doubt = f" ({DRIFT_OR_YAW})" if plot.bearing_deg is None and plot.relative_bearing_deg is not None else ""
    return f"{where(plot)} {plot.bearing_trend}{doubt}"


def passing(plot: Plot) -> str:
    """How it passes; nothing where that is not settled."""
    if plot.passing in (Passing.AHEAD, Passing.ASTERN):
        return f"passing {plot.passing}"
    return "" if plot.passing is Passing.UNSETTLED else str(plot.passing)


def approach(plot: Plot) -> str:
    """`CPA 0.12 NM (0.02 to 0.31) in 11.4 min`."""
    if plot.cpa_nm is None or plot.tcpa_min is None:
        return "CPA unsettled"
    limits = ""
    if plot.cpa_low_nm is not None and plot.cpa_high_nm is not None:
        limits = f" ({plot.cpa_low_nm:.2f} to {plot.cpa_high_nm:.2f})"
    return f"CPA {plot.cpa_nm:.2f} NM{limits} {_when(plot.tcpa_min)}"


def _when(tcpa_min: float) -> str:
    """`in 11.4 min`, or `3.0 min ago`: nobody reads a negative time right."""
    return f"in {tcpa_min:.1f} min" if tcpa_min >= 0 else f"{-tcpa_min:.1f} min ago"


def reported(plot: Plot) -> str:
    """The set's own answer, where that is what an alert rests on."""
    if plot.reported_cpa_nm is None or plot.reported_tcpa_min is None:
        return ""
    return f"set reports CPA {plot.reported_cpa_nm:.2f} NM {_when(plot.reported_tcpa_min)}"


def sentence(plot: Plot, *parts: str) -> str:
    """Who, and what is so, without the parts that are empty."""
    return f"{who(plot)}: " + ", ".join(part for part in parts if part)


def clock(time: Instant) -> str:
    """`10:02:10 UTC`."""
    return f"{str(time)[11:19]} UTC"


def lost(plot: Plot) -> str:
    """A danger whose data stopped, with all that was last known and when."""
    last = f"LOST, last known {approach(plot)}" if plot.cpa_nm is not None else "LOST"
    place = f"at {clock(plot.time)}, {plot.range_nm:.2f} NM, {where(plot)}"
    return sentence(plot, f"{last} {place}", passing(plot))


def rule_name(rule: str) -> str:
    """`closest_approach` as a person reads it."""
    return rule.replace("_", " ")


def seconds(value: float) -> str:
    """A duration in the unit that suits it."""
    size = abs(value)
    if size < 120:
        return f"{size:.0f} s"
    if size < 7200:
        return f"{size / 60:.0f} min"
    if size < 172_800:
        return f"{size / 3600:.1f} h"
    return f"{size / 86_400:.0f} days"
