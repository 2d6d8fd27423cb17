"""What the alert book hands to the annunciators: not only changes of state, but every time that somebody is told."""

from enum import StrEnum

from msgspec import Struct

from alerts.events import Alert, Instant
from parsers.observations import AlertCommand


class Why(StrEnum):
    """The reason for telling; each decision to tell has one."""

    RAISED = "raised"
    WORSENED = "worsened"
    LOST = "data lost"
    REPEATED = "repeated"
    ESCALATED = "escalated"
    SILENCED = "silenced"
    SILENCE_OVER = "silence over"
    ACKNOWLEDGED = "acknowledged"
    RECTIFIED = "rectified"
    ENDED = "ended"
    REQUESTED = "requested"
    TEST = "test"


class Notice(Struct, frozen=True, kw_only=True, gc=False):
    """One telling of one alert. `audible`: it is to sound now. `annunciators`: who tells it; empty means all.

    `part` is the zone, feed or cause where a target can have several alerts of a rule. `revision` counts the changes
    of this alert, 1 to 99 and round; `escalation` how often it was escalated, 0 to 9.
    """

    at_s: float
    why: Why
    alert: Alert
    audible: bool
    part: str = ""
    escalation: int = 0
    revision: int = 1
    annunciators: tuple[str, ...] = ()
    is_test: bool = False


class Refused(Struct, frozen=True, kw_only=True, gc=False):
    """A command from outside that was not obeyed; the sender is told by ARC."""

    at_s: float
    time: Instant
    command: AlertCommand
    reason: str
