"""What radar and AIS beside each other tell, in words for the watchkeeper. Information, never an order."""

from collections import OrderedDict

from alerts.plotting.association import Change, PairChange
from alerts.plotting.kinematics import OwnMotion
from alerts.plotting.offsets import Cause, Verdict

AGAIN_S = 1800.0
MOST_IN_WINDOW, WINDOW_S = 4, 60.0
"""The same thing is said again after half an hour at the soonest, and no more than four things a minute."""

MOST_REMEMBERED = 1000

CABLE_NM = 0.1


class Teller:
    """Lets a thing be said now and then. Bounded; what is refused may be asked again."""

    def __init__(self) -> None:
        self._said: OrderedDict[tuple[str, ...], float] = OrderedDict()

    def may_say(self, thing: tuple[str, ...], at_s: float) -> bool:
        last_s = self._said.get(thing)
        if last_s is not None and at_s - last_s < AGAIN_S:
            return False
        if sum(1 for said_s in self._said.values() if at_s - said_s < WINDOW_S) >= MOST_IN_WINDOW:
            return False
        self._said[thing] = at_s
        self._said.move_to_end(thing)
        if len(self._said) > MOST_REMEMBERED:
            self._said.popitem(last=False)
        return True


def change_told(change: PairChange, name: str) -> str:
    """A change of a pair that a person should know of; empty where there is nothing to say."""
    who = called(change.ais, name)
    if change.change is Change.PARTED and change.why == "they drift apart":
        return (
            f"{change.radar} and {who} were one vessel and drift apart, {distance(change.apart_nm)} now: "
            "AIS of another place, a bad sensor there, or the track has gone to another echo"
        )
    if change.change is Change.IN_DOUBT:
        others = ", ".join(change.others[:3])
        return f"{who} fits {change.radar}, but {others} cannot be ruled out: not joined"
    if change.change is Change.TWINS:
        return (
            f"{change.radar} and {who} go the same course and speed {distance(change.apart_nm)} apart: two vessels, or "
            "one whose AIS gives a wrong place; not joined"
        )
    return ""


def verdict_told(found: Verdict, own: OwnMotion) -> str:
    """What all pairs have in common, with its 95 % limits."""
    bearing = (
        f"radar bearings {abs(found.bearing_deg):.1f}° ± {1.96 * found.bearing_sd_deg:.1f}° too "
        f"{'high' if found.bearing_deg > 0 else 'low'} (heading or bearing alignment)"
    )
    off_bow = ""
    if own.heading_deg is not None:
        angle = (found.shift_deg - own.heading_deg + 180.0) % 360.0 - 180.0
        off_bow = f", {abs(angle):.0f}° to {'starboard' if angle >= 0 else 'port'} of the bow"
    shift = (
        f"radar places {found.shift_nm * 1852:.0f} ± {1.96 * found.shift_sd_nm * 1852:.0f} m toward "
        f"{round(found.shift_deg) % 360:03d}°T{off_bow} (antenna offset, or our own position)"
    )
    what = {
        Cause.BEARING: bearing,
        Cause.SHIFT: shift,
        Cause.BOTH: f"{bearing}, and {shift}",
        Cause.EITHER: f"either {bearing}, or {shift}; these pairs cannot tell which",
    }[found.cause]
    return f"radar and AIS differ alike in {found.pairs} pairs: {what}"


def no_echo_told(key: str, name: str, range_nm: float, bearing_deg: float) -> str:
    """A station that radar should see, and does not. Range in NM, true bearing in degrees."""
    return f"{called(key, name)}: AIS {range_nm:.2f} NM, {_bearing(bearing_deg)}, and no tracked radar target there"


def no_ais_told(key: str, range_nm: float, bearing_deg: float) -> str:
    """A radar target close by where others have AIS. Range in NM, true bearing in degrees."""
    return f"{key}: {range_nm:.2f} NM, {_bearing(bearing_deg)}, has no AIS"


def _bearing(bearing_deg: float) -> str:
    return f"bearing {round(bearing_deg) % 360:03d}°T"


def called(key: str, name: str) -> str:
    return f"{key} {name}" if name else key


def distance(nm: float) -> str:
    return f"{nm:.2f} NM" if nm >= CABLE_NM else f"{nm * 1852:.0f} m"
