"""One pass over a recording through the ordinary stream and lookout, with somebody else in the place of the rules.

Parsing, identity, filters, CPA and the cross-check do not depend on the limits of the alerts, so that they are done
once. What takes the rules' place sees what the rules would see, and for each plot the estimate that it came from.
"""

from collections.abc import Sequence

from alerts.events import Alert, Moment, Plot
from alerts.judging import Judging
from alerts.lifecycle import AlertBook
from alerts.lookout import Lookout, LookoutSettings
from alerts.plotting.kinematics import Estimate, Look
from alerts.plotting.motion import Answer
from alerts.plotting.plot_event import Rounded
from alerts.rules.findings import Finding
from alerts.rules.rules import Rules
from alerts.rules.situation import Situation
from alerts.settings import DEFAULT_CONDITIONS, Alerts
from alerts.waiting import NewCondition, Said, Sighting


class Watcher(Rules):
    """Stands where the rules stand, and raises nothing. `look` and `estimate` are those of the plot at hand."""

    look: Look
    estimate: Estimate
    moment: Moment  # of a change of condition, or of one target carried into another

    def see_plot(self, moment: Moment, plot: Plot) -> list[Finding]:
        raise NotImplementedError

    def see_carried(self, moment: Moment, plot: Plot) -> list[Finding]:
        """To the limits a plot like any other; a watcher that keeps what was seen overrides it."""
        return self.see_plot(moment, plot)

    def tick(self, moment: Moment, situation: Situation) -> list[Finding]:
        raise NotImplementedError

    def carry(self, old: str, new: str) -> None:
        raise NotImplementedError

    def close(self, moment: Moment) -> None:
        """The recording has ended at this moment."""


class Several(Watcher):
    """Several watchers as one."""

    def __init__(self, settings: LookoutSettings, watchers: Sequence[Watcher]) -> None:
        super().__init__(settings.alerts, settings.conditions or DEFAULT_CONDITIONS, settings.condition)
        self._watchers = watchers

    def see_plot(self, moment: Moment, plot: Plot) -> list[Finding]:
        for watcher in self._watchers:
            watcher.look, watcher.estimate = self.look, self.estimate
            watcher.see_plot(moment, plot)
        return []

    def see_carried(self, moment: Moment, plot: Plot) -> list[Finding]:
        for watcher in self._watchers:
            watcher.look, watcher.estimate = self.look, self.estimate
            watcher.see_carried(moment, plot)
        return []

    def tick(self, moment: Moment, situation: Situation) -> list[Finding]:
        for watcher in self._watchers:
            watcher.tick(moment, situation)
        return []

    def carry(self, old: str, new: str) -> None:
        """The lookout tells the rules first, without the moment, and the book then: see `carry_on`."""

    def carry_on(self, old: str, new: str) -> None:
        for watcher in self._watchers:
            watcher.moment = self.moment
            watcher.carry(old, new)

    def set_condition(self, name: str) -> list[Finding]:
        super().set_condition(name)
        for watcher in self._watchers:
            watcher.moment = self.moment
            watcher.set_condition(name)
        return []

    def close(self, moment: Moment) -> None:
        for watcher in self._watchers:
            watcher.close(moment)


class _Relay(AlertBook):
    """An empty book, that hears at which moment two targets are found to be one."""

    def __init__(self, settings: Alerts, watcher: Several) -> None:
        super().__init__(settings)
        self._watcher = watcher

    def carry(self, moment: Moment, old: str, new: str) -> list[Alert]:
        self._watcher.moment = moment
        self._watcher.carry_on(old, new)
        return []


class _WatchedJudging(Judging):
    """Says to the watchers first what it judges."""

    def __init__(self, settings: LookoutSettings, watcher: Several) -> None:
        book = _Relay(settings.alerts, watcher)
        super().__init__(watcher, book, settings.encounters, settings.picture_quality, command_feeds=())
        self._watcher = watcher

    def _judge(self, sighting: Sighting, answer: Answer, shown: Rounded, said: list[Said]) -> None:
        self._watcher.look, self._watcher.estimate = sighting.look, sighting.estimate
        super()._judge(sighting, answer, shown, said)

    def _change_condition(self, change: NewCondition, said: list[Said]) -> None:
        self._watcher.moment = change.moment
        super()._change_condition(change, said)


class Observer(Lookout):
    """A lookout whose plots and ticks go to watchers. Nobody acknowledges on the bench, by whatever feed."""

    def __init__(self, settings: LookoutSettings, watchers: Sequence[Watcher]) -> None:
        super().__init__(settings)
        self.watcher = Several(settings, watchers)
        self.judging = _WatchedJudging(settings, self.watcher)
