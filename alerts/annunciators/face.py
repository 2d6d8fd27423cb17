"""The face that every annunciator shows, and the one error that it raises."""

from collections.abc import Sequence
from typing import Protocol

from alerts.notices import Notice, Refused
from alerts.plotting.terms import AlertState
from alerts.rules.wording import clock

Telling = Notice | Refused


class Annunciator(Protocol):
    """Tells alerts to somebody. Runs on a thread of its own and may take its time, within its own limit."""

    name: str

    def tell(self, batch: Sequence[Telling]) -> bool:
        """All that has come up since the last call, in order. Answers whether there was anything in it to tell.

        Raises AnnunciatorError for what could not be told.
        """

    def idle(self, now_s: float) -> None:
        """About once a second when there is nothing to tell, with a monotonic time."""

    def close(self) -> None:
        """No more will come."""


class AnnunciatorError(Exception):
    """An alert could not be told this way; the text says why and what to do about it."""


def to_sound(batch: Sequence[Telling]) -> Notice | None:
    """The most urgent notice that is still to be heard: what was acknowledged or ended meanwhile is not."""
    latest = {notice.alert.id: notice for notice in batch if isinstance(notice, Notice)}
    audible = [
        notice
        for notice in batch
        if isinstance(notice, Notice)
        and notice.audible
        and latest[notice.alert.id].alert.state is AlertState.ACTIVE_UNACKNOWLEDGED
    ]
    return max(audible, key=lambda notice: notice.alert.priority.rank, default=None)


def line_of(notice: Notice) -> str:
    """One line for a person: `08:00:06 UTC ALARM 3 radar-03: CPA 0.12 NM … (raised)`."""
    alert = notice.alert
    test = "TEST " if notice.is_test else ""
    state = "" if alert.state is AlertState.ACTIVE_UNACKNOWLEDGED else f", {alert.state}"
    return f"{clock(alert.time)} {test}{alert.priority.upper()} {alert.id} {alert.text} ({notice.why}{state})"
