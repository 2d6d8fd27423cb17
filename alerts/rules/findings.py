"""What the rules say to the alert book: a condition began, changed, worsened, lost its data or ended."""

from enum import StrEnum

from msgspec import Struct

from alerts.plotting.terms import Priority

Value = float | int | str | bool | None
Key = tuple[str, str | None, str]
"""Identity of a condition: rule, target, and the part (zone, feed or cause) where one target can have several."""


class Phase(StrEnum):
    """What has become of a condition since it was last told."""

    RAISED = "raised"
    UPDATED = "updated"  # still holds; newer text and values
    WORSENED = "worsened"  # by a stated step
    LOST = "lost"  # its data stopped: no data is not safety
    ENDED = "ended"
    HELD_BACK = "held back"  # another alert tells this situation


class Finding(Struct, frozen=True, kw_only=True, gc=False):
    """`reason` says why it ended or worsened. `priority` is the rule's, unless the case itself decides."""

    rule: str
    target: str | None
    phase: Phase
    priority: Priority
    text: str
    values: dict[str, Value]
    part: str = ""
    reason: str = ""

    @property
    def key(self) -> Key:
        return (self.rule, self.target, self.part)
