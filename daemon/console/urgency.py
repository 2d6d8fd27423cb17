"""Which target first: a score for each, and an order that does not jump about.

The score is for ordering only; it is never shown. What cannot be judged (unsettled, overdue) ranks above what is
known to pass clear: not knowing is no comfort.
"""

from collections.abc import Iterable, Mapping

from alerts.plotting.terms import AlertState, Passing, Priority, TrackState
from daemon.console.board import Raised, Row

ALERT_SCORE = {Priority.ALARM: 400.0, Priority.WARNING: 200.0, Priority.CAUTION: 50.0}
# An acknowledged alert still holds: it keeps its place above all that has none. One that is over lends nothing, though
# it waits to be acknowledged: a vessel that has passed must not stand above one that is coming.
ACKNOWLEDGED_SHARE = 0.8
# A target overtakes another on the screen only when its score is better by this much.
MARGIN = 12.0
# A CPA that comes in so many minutes counts half as soon as one that comes now.
SOON_MIN = 6.0


def alert_scores(alerts: Iterable[Raised]) -> dict[str, float]:
    """The highest score that an alert lends to each target."""
    scores: dict[str, float] = {}
    for raised in alerts:
        if raised.alert.target is None or raised.alert.state is AlertState.RECTIFIED_UNACKNOWLEDGED:
            continue
        quiet = raised.alert.state is AlertState.ACTIVE_ACKNOWLEDGED
        score = ALERT_SCORE[raised.alert.priority] * (ACKNOWLEDGED_SHARE if quiet else 1.0)
        scores[raised.alert.target] = max(score, scores.get(raised.alert.target, 0.0))
    return scores


def score(row: Row, alert_score: float) -> float:
    """How urgent: the alert's share, then how near the CPA may be, how soon, and how near the target is."""
    plot = row.plot
    nearness = max(0.0, 1.0 - plot.range_nm / 6.0)
    if row.overdue or plot.track is TrackState.LOST:
        return alert_score + 30.0 * nearness
    if plot.cpa_nm is None or plot.tcpa_min is None:
        return alert_score + 60.0 + 40.0 * nearness
    if plot.tcpa_min < 0 or plot.passing is Passing.OPENING:
        return alert_score + 20.0 * nearness
    soon = SOON_MIN / (SOON_MIN + plot.tcpa_min)
    close = max(0.0, 1.0 - (plot.cpa_nm if plot.cpa_low_nm is None else plot.cpa_low_nm) / 2.0)
    return alert_score + 40.0 + 60.0 * (plot.inside_probability or 0.0) + 60.0 * soon * close + 10.0 * close


def order(previous: list[str], scores: Mapping[str, float]) -> list[str]:
    """The targets by urgency, keeping last time's order unless a target is better by MARGIN.

    Each place goes to the first target, in last time's order, that no remaining one beats by the margin; so no
    target ever stands above another that is more urgent by more than that.
    """
    known = [key for key in previous if key in scores]
    fresh = sorted(scores.keys() - set(known), key=lambda key: (-scores[key], key))
    waiting = known + fresh
    best = sorted(waiting, key=lambda key: -scores[key])
    placed: set[str] = set()
    result: list[str] = []
    for leader in best:
        while leader not in placed:
            chosen = next(key for key in waiting if scores[key] >= scores[leader] - MARGIN)
            waiting.remove(chosen)
            placed.add(chosen)
            result.append(chosen)
    return result
