"""The head of the screen: time and limits, and own ship with the age of each sensor."""

from rich.text import Text

from daemon import words
from daemon.console.board import Snapshot
from daemon.console.lines import Limits, Look, line

# Older than this, an own-ship value is called stale whatever else is known of it.
STALE_S = 10.0


AID = "aid to look-out only"


def head(snapshot: Snapshot, limits: Limits | None, look: Look) -> list[Text]:
    """Time, the limits in force and own ship. The caution stands beside the limits, or where it has room whole."""
    time = "--:--:--" if snapshot.time is None else words.clock(snapshot.time)
    first = [(f"{time} UTC", "title")]
    if limits is not None:
        held = f"CPA {limits.cpa_nm:g} NM, TCPA {limits.tcpa_min:g} min"
        first.append((f"{words.clean(limits.condition, 24)}: {held}", "title"))
    if sum(len(text) + 2 for text, _ in first) + len(AID) <= look.width:
        return [line(look, *[(f"{text}  ", role) for text, role in first], (AID, "faint")), *own_strip(snapshot, look)]
    return [*_folded(first, look), *own_strip(snapshot, look, AID)]


def own_strip(snapshot: Snapshot, look: Look, caution: str = "") -> list[Text]:
    """Own ship: each sensor's value with its age, or the word for what is wrong with it; then a caution if given."""
    own = snapshot.own
    last = [(caution, "")] if caution else []
    if own is None:
        return _folded([("OWN  no own-ship data yet", "stale"), *last], look)
    since = snapshot.own_age_s
    heading = "CSE for HDG" if own.heading_source == "cog" else "HDG"
    place = f"{words.latitude(own.lat_deg)} {words.longitude(own.lon_deg)}"
    parts: list[tuple[str, str]] = []
    for name, known, value, age_s in (
        (heading, own.heading_deg, words.bearing(own.heading_deg), own.heading_age_s),
        ("COG", own.cog_deg, words.bearing(own.cog_deg), own.cog_age_s),
        ("SOG", own.sog_kn, words.knots(own.sog_kn), own.sog_age_s),
        ("STW", own.stw_kn, words.knots(own.stw_kn), own.stw_age_s),
        ("", own.lat_deg, place, own.position_age_s),
    ):
        parts += _sensor(name or "POS", known, value, None if age_s is None else age_s + since)
    return _folded([*parts, *_picture(snapshot), *last], look)


def _picture(snapshot: Snapshot) -> list[tuple[str, str]]:
    """How the set's picture is turned, and its range scale, as far as it tells them."""
    radar = snapshot.radar
    if radar is None:
        return []
    turned = str(radar.orientation) if radar.orientation else "orientation not told"
    scale = "" if radar.range_scale_nm is None else f", {radar.range_scale_nm:g} NM scale"
    return [(f"RADAR {turned}{scale}", "")]


def _sensor(name: str, known: float | None, value: str, age_s: float | None) -> list[tuple[str, str]]:
    if known is None:
        return [(f"{name} none" if age_s is None else f"{name} LOST {words.age(age_s)}", "stale")]
    if age_s is not None and age_s > STALE_S:
        return [(f"{name} STALE {words.age(age_s)}", "stale")]
    return [(f"{name} {value}", ""), ("" if age_s is None else f" {words.age(age_s)}", "faint")]


def _folded(parts: list[tuple[str, str]], look: Look) -> list[Text]:
    """Parts on as few lines as hold them whole; a faint part stays with the one before it."""
    lines: list[list[tuple[str, str]]] = [[]]
    used = 0
    for text, role in parts:
        joined = role == "faint"
        gap = "" if joined or not lines[-1] else "  "
        room = 7 if not joined else 0  # a value is not parted from its age
        if lines[-1] and used + len(gap) + len(text) + room > look.width and not joined:
            lines.append([])
            used, gap = 0, ""
        lines[-1].append((gap + text, role))
        used += len(gap) + len(text)
    return [line(look, *parts_) for parts_ in lines]
