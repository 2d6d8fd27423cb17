"""Numbers and short titles by which the alert sentences name an alert, and the commands that come back by them.

3044 and 3052 are standard identifiers (dangerous target, lost target; docs/sentences.md says how sure that is). The
others lie in the makers' own range, 10000 and up, and go with a mnemonic. Never renumber one: receivers keep them.
"""

from collections.abc import Collection

from alerts.events import Alert, Moment
from alerts.lifecycle import AlertBook
from parsers.observations import AlertCommand

TITLES: dict[str, tuple[int, str, str]] = {
    # rule: identifier, category (A: the picture is needed to judge it; B: it is not), title of at most 16 characters
    "closest_approach": (3044, "A", "CPA/TCPA"),
    "lost_target": (3052, "A", "LOST TARGET"),
    "steady_bearing": (10001, "A", "STEADY BEARING"),
    "bow_crossing": (10002, "A", "BOW CROSSING"),
    "guard_zone": (10003, "A", "GUARD ZONE"),
    "new_target": (10004, "A", "NEW TARGET"),
    "target_manoeuvre": (10005, "A", "TGT MANOEUVRE"),
    "cross_check": (10006, "B", "CROSS-CHECK"),
    "radar_capacity": (10007, "B", "RADAR CAPACITY"),
    "heading_lost": (10008, "B", "HEADING LOST"),
    "position_lost": (10009, "B", "POSITION LOST"),
    "speed_lost": (10010, "B", "SPEED LOST"),
    "feed_silent": (10011, "B", "FEED SILENT"),
    "picture_changed": (10012, "B", "PICTURE CHANGED"),
    "archive_failed": (10013, "B", "ARCHIVE FAILED"),
    "output_failed": (10014, "B", "OUTPUT FAILED"),
    "annunciator_failed": (10015, "B", "ANNUNC FAILED"),
    "clock_jump": (10016, "B", "CLOCK JUMP"),
    "distress_beacon": (10017, "A", "DISTRESS BEACON"),
    "self_test": (10018, "B", "SELF-TEST"),
}

STANDARD_BELOW = 10_000


def instance_of(alert_id: int) -> int:
    """ALF's instance, 1 to 999999."""
    return (alert_id - 1) % 999_999 + 1


def alarm_number(alert_id: int) -> int:
    """ALR's alarm number, 1 to 999; 0 in ACK means all."""
    return (alert_id - 1) % 999 + 1


def obey(book: AlertBook, moment: Moment, command: AlertCommand, accept_from: Collection[str]) -> list[Alert]:
    """Do what a command from outside asks, if its feed may ask; else the sender is told by ARC that it is refused."""
    if command.source.feed not in accept_from:
        return book.refuse(moment, command, f"feed {command.source.feed} may not command alerts")
    chosen = [alert for alert in book.standing(moment) if _is_meant(alert, command)]
    if command.command == "request":
        return book.tell_again(moment, [alert.id for alert in chosen])
    if command.command not in ("acknowledge", "silence"):
        return book.refuse(moment, command, f"{command.command} is not done here")
    act = book.acknowledge if command.command == "acknowledge" else book.silence
    changed = [event for alert in chosen for event in act(moment, alert.id)]
    return changed or book.refuse(moment, command, f"nothing to {command.command}")


def _is_meant(alert: Alert, command: AlertCommand) -> bool:
    if command.identifier == 0:
        return True
    if command.source.formatter == "ACK":
        return alarm_number(alert.id) == command.identifier
    return TITLES[alert.rule][0] == command.identifier and command.instance in (None, 0, instance_of(alert.id))
