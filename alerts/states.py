"""The states of one alert and what leads from one to another: the machine, as a table.

Rules for this file:

- TABLE is the machine. docs/alerts.md prints it, and a test holds the two together. A pair that is not in it does
  nothing. Names of states are those of IEC 62923-1 (second-hand, see docs/alerts.md).
- Only `active-unacknowledged` sounds.
"""

from enum import StrEnum

from alerts.notices import Why
from alerts.plotting.terms import AlertState, Priority

N = AlertState.NORMAL
V = AlertState.ACTIVE_UNACKNOWLEDGED
S = AlertState.ACTIVE_SILENCED
A = AlertState.ACTIVE_ACKNOWLEDGED
U = AlertState.RECTIFIED_UNACKNOWLEDGED


class Trigger(StrEnum):
    """What can happen to an alert."""

    RAISE = "raise"  # the condition began to hold
    RAISE_CAUTION = "raise a caution"  # needs no acknowledgement
    PROMOTE = "rise in priority"
    WORSEN = "worsen"  # by a stated step
    LOSE = "lose data"  # the condition can no longer be judged
    CLEAR = "clear"  # the condition has ended
    SUPERSEDE = "supersede"  # another alert tells this situation
    ACKNOWLEDGE = "acknowledge"
    ACKNOWLEDGE_LOST = "acknowledge, data lost"
    SILENCE = "silence"
    SILENCE_OVER = "silence over"
    AGE_OUT = "age out"
    CLOSE = "watch ends"


TABLE: dict[tuple[AlertState, Trigger], AlertState] = {
    (N, Trigger.RAISE): V,
    (N, Trigger.RAISE_CAUTION): A,
    (V, Trigger.WORSEN): V,
    (V, Trigger.LOSE): V,
    (V, Trigger.PROMOTE): V,
    (V, Trigger.SILENCE): S,
    (V, Trigger.ACKNOWLEDGE): A,
    (V, Trigger.ACKNOWLEDGE_LOST): N,
    (V, Trigger.CLEAR): U,
    (V, Trigger.SUPERSEDE): N,
    (V, Trigger.AGE_OUT): N,
    (V, Trigger.CLOSE): N,
    (S, Trigger.WORSEN): V,
    (S, Trigger.LOSE): V,
    (S, Trigger.PROMOTE): V,
    (S, Trigger.SILENCE_OVER): V,
    (S, Trigger.ACKNOWLEDGE): A,
    (S, Trigger.ACKNOWLEDGE_LOST): N,
    (S, Trigger.CLEAR): U,
    (S, Trigger.SUPERSEDE): N,
    (S, Trigger.AGE_OUT): N,
    (S, Trigger.CLOSE): N,
    (A, Trigger.WORSEN): V,
    (A, Trigger.LOSE): V,
    (A, Trigger.PROMOTE): V,
    (A, Trigger.CLEAR): N,
    (A, Trigger.SUPERSEDE): N,
    (A, Trigger.CLOSE): N,
    (U, Trigger.RAISE): V,
    (U, Trigger.ACKNOWLEDGE): N,
    (U, Trigger.SUPERSEDE): N,
    (U, Trigger.AGE_OUT): N,
    (U, Trigger.CLOSE): N,
}
"""(state, trigger) -> next state. A caution knows only raise, clear, supersede and the end of the watch."""

WHY = {
    Trigger.RAISE: Why.RAISED,
    Trigger.RAISE_CAUTION: Why.RAISED,
    Trigger.PROMOTE: Why.WORSENED,
    Trigger.WORSEN: Why.WORSENED,
    Trigger.LOSE: Why.LOST,
    Trigger.SILENCE: Why.SILENCED,
    Trigger.SILENCE_OVER: Why.SILENCE_OVER,
    Trigger.ACKNOWLEDGE: Why.ACKNOWLEDGED,
    Trigger.ACKNOWLEDGE_LOST: Why.ENDED,
    Trigger.CLEAR: Why.RECTIFIED,
    Trigger.SUPERSEDE: Why.ENDED,
    Trigger.AGE_OUT: Why.ENDED,
    Trigger.CLOSE: Why.ENDED,
}
"""The reason for telling what a trigger did."""

BY_A_PERSON = frozenset({Trigger.ACKNOWLEDGE, Trigger.ACKNOWLEDGE_LOST, Trigger.SILENCE, Trigger.SILENCE_OVER})
"""What a person does is no flapping of the condition."""

_NOT_FOR_CAUTIONS = frozenset({Trigger.WORSEN, Trigger.LOSE, Trigger.ACKNOWLEDGE, Trigger.SILENCE})
_SOUNDING = frozenset({Why.RAISED, Why.WORSENED, Why.LOST, Why.SILENCE_OVER, Why.REPEATED, Why.ESCALATED})


def next_state(state: AlertState, trigger: Trigger, priority: Priority) -> AlertState | None:
    """The state after a trigger, by the table; None where it does nothing. A caution needs no acknowledgement."""
    if priority is Priority.CAUTION and trigger in _NOT_FOR_CAUTIONS:
        return None
    return TABLE.get((state, trigger))


def is_audible(state: AlertState, priority: Priority, why: Why) -> bool:
    """Whether a telling of this alert is to sound."""
    return state is V and why in _SOUNDING and priority is not Priority.CAUTION
