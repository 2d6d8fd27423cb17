"""A small watch for tests of rules and life cycle: plots from plain numbers, and a clock that only tests move."""

from collections.abc import Iterable
from typing import Any

import msgspec

from alerts.events import Alert, AnyEvent, Instant, Moment, Note, Plot
from alerts.lifecycle import AlertBook
from alerts.notices import Notice, Refused
from alerts.plotting.terms import BearingTrend, Check, Encounter, Passing, TrackState
from alerts.rules.findings import Finding
from alerts.rules.rules import Rules
from alerts.rules.situation import Situation, TargetHealth
from alerts.settings import DEFAULT_CONDITIONS, Alerts, Condition

START_MS = 1_800_000_000_000


def moment(at_s: float) -> Moment:
    return Moment(at_s, Instant(START_MS + round(at_s * 1000)))


DANGER = Plot(
    time=moment(0).time,
    target="radar-03",
    name="",
    range_nm=3.0,
    bearing_deg=61.0,
    relative_bearing_deg=31.0,
    course_deg=250.0,
    speed_kn=12.0,
    cpa_nm=0.12,
    cpa_sd_nm=0.08,
    cpa_low_nm=0.02,
    cpa_high_nm=0.31,
    tcpa_min=11.4,
    tcpa_sd_min=0.2,
    inside_probability=0.99,
    bearing_rate_deg_min=0.1,
    bearing_rate_sd_deg_min=0.1,
    bearing_trend=BearingTrend.STEADY,
    bow_crossing_nm=0.4,
    bow_crossing_min=11.0,
    passing=Passing.AHEAD,
    encounter=Encounter.CROSSING_FROM_STARBOARD,
    reported_cpa_nm=0.2,
    reported_tcpa_min=11.5,
    reported_course_deg=251.0,
    reported_speed_kn=12.1,
    check=Check.AGREES,
    check_cause=None,
    track=TrackState.STEADY,
    observations=80,
)
"""A target on a collision course; tests change what they speak of."""

CLEAR = msgspec.structs.replace(
    DANGER,
    cpa_nm=2.1,
    cpa_low_nm=1.9,
    cpa_high_nm=2.3,
    inside_probability=0.0,
    bearing_rate_deg_min=-4.0,
    bearing_trend=BearingTrend.DRAWING_AFT,
    bow_crossing_nm=None,
    bow_crossing_min=None,
    passing=Passing.ASTERN,
    reported_cpa_nm=2.0,
)
"""The same target passing well clear."""


def notes(said: Iterable[AnyEvent]) -> list[str]:
    """What the notes among the events say."""
    return [event.text for event in said if isinstance(event, Note)]


def but(plot: Plot, **changes: Any) -> Plot:
    return msgspec.structs.replace(plot, **changes)


class Watch:
    """Rules and book together. Feeds plots and ticks, keeps every finding, event and notice."""

    def __init__(self, settings: Alerts | None = None, conditions: dict[str, Condition] | None = None) -> None:
        self.settings = settings or Alerts()
        self.rules = Rules(self.settings, conditions or DEFAULT_CONDITIONS, "open water")
        self.book = AlertBook(self.settings)
        self.findings: list[Finding] = []
        self.events: list[Alert] = []
        self.notices: list[Notice] = []
        self.refused: list[Refused] = []
        self.targets: dict[str, TargetHealth] = {}
        self.at_s = 0.0

    def plot(self, at_s: float, plot: Plot) -> None:
        self.at_s = at_s
        now = moment(at_s)
        dated = but(plot, time=now.time)
        self.targets[plot.target] = TargetHealth(plot.target, plot.track, "radar")
        self._take(now, self.rules.see_plot(now, dated))

    def plots(self, from_s: float, to_s: float, plot: Plot, every_s: float = 3.0) -> None:
        """The same plot again and again, ends included, with a tick after each."""
        at_s = from_s
        while at_s <= to_s:
            self.plot(at_s, plot)
            self.tick(at_s)
            at_s += every_s

    def lose(self, at_s: float, target: str, situation: Situation | None = None) -> None:
        """The track of a target is lost."""
        self.targets[target] = msgspec.structs.replace(self.targets[target], track=TrackState.LOST)
        self.tick(at_s, situation)

    def tick(self, at_s: float, situation: Situation | None = None) -> None:
        self.at_s = at_s
        now = moment(at_s)
        base = situation or Situation()
        whole = msgspec.structs.replace(base, targets=base.targets or tuple(self.targets.values()))
        self._take(now, self.rules.tick(now, whole))
        self.events += self.book.tick(now)
        self._drain()

    def ticks(self, from_s: float, to_s: float, situation: Situation | None = None) -> None:
        for at_s in range(int(from_s), int(to_s) + 1):
            self.tick(at_s, situation)

    def acknowledge(self, at_s: float, alert_id: int | None = None) -> list[Alert]:
        return self._person(self.book.acknowledge(moment(at_s), alert_id))

    def silence(self, at_s: float) -> list[Alert]:
        return self._person(self.book.silence(moment(at_s)))

    def raised(self, rule: str | None = None) -> list[Alert]:
        """The first event of each alert, of one rule or all."""
        first: dict[int, Alert] = {}
        for event in self.events:
            first.setdefault(event.id, event)
        return [event for event in first.values() if rule in (None, event.rule)]

    def states(self, rule: str) -> list[str]:
        """The states of a rule's alerts, one for each change."""
        states: list[str] = []
        for event in self.events:
            if event.rule == rule and (not states or states[-1] != event.state):
                states.append(str(event.state))
        return states

    def _drain(self) -> None:
        for notice in self.book.drain():
            if isinstance(notice, Notice):
                self.notices.append(notice)
            else:
                self.refused.append(notice)

    def _person(self, events: list[Alert]) -> list[Alert]:
        self.events += events
        self._drain()
        return events

    def _take(self, now: Moment, findings: list[Finding]) -> None:
        self.findings += findings
        self.events += self.book.take(now, findings)
        self._drain()
