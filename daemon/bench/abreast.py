"""The rules of every setting abreast: for keys that cannot be swept as arrays, the real rules run for each setting.

Parsing and estimating are still done once; each plot and each tick goes to the rules and the alert book of every
setting. The same alerts as a replay's by construction, at the rules' own cost for each setting.
"""

from collections.abc import Sequence

from msgspec import Struct, structs

from alerts.events import Moment, Plot
from alerts.lifecycle import AlertBook
from alerts.lookout import LookoutSettings
from alerts.plotting.kinematics import Estimate, OwnMotion
from alerts.plotting.motion import Answer, assess
from alerts.rules.findings import Finding
from alerts.rules.rules import Rules
from alerts.rules.situation import Situation
from alerts.settings import DEFAULT_CONDITIONS
from alerts.waiting import Carried, NewCondition
from daemon.bench.grid import Limits
from daemon.bench.lives import Changes
from daemon.bench.observer import Watcher

BATCH = 1024
"""Plots and ticks judged together."""


class _Seen(Struct, frozen=True, gc=False):
    moment: Moment
    plot: Plot
    estimate: Estimate
    own: OwnMotion


class _Ticked(Struct, frozen=True, gc=False):
    moment: Moment
    situation: Situation


_Item = _Seen | _Ticked | NewCondition | Carried


class Watch:
    """One setting's rules, alert book and what came of it."""

    def __init__(self, limits: Limits, condition: str, rules: Sequence[str]) -> None:
        self.rules = Rules(limits.alerts, limits.conditions, condition)
        self.book = AlertBook(limits.alerts)
        self.changes = Changes(rules)

    def take(self, moment: Moment, findings: Sequence[Finding]) -> None:
        if findings:
            self.changes.take(moment, self.book.take(moment, findings))
            self.book.drain()

    def pass_on(self, item: _Ticked | NewCondition | Carried) -> None:
        """What is no plot: the same for every setting."""
        moment = item.moment
        if isinstance(item, _Ticked):
            self.take(moment, self.rules.tick(moment, item.situation))
            self.changes.take(moment, self.book.tick(moment))
        elif isinstance(item, NewCondition):
            self.take(moment, self.rules.set_condition(item.name))
        else:
            self.rules.carry(item.old, item.new)
            self.changes.take(moment, self.book.carry(moment, item.old, item.new))
        self.book.drain()


class Abreast(Watcher):
    """A watch for each setting. Read `watches` after `close`."""

    def __init__(self, settings: LookoutSettings, every: Sequence[Limits], rules: Sequence[str]) -> None:
        super().__init__(settings.alerts, settings.conditions or DEFAULT_CONDITIONS, settings.condition)
        self.watches = [Watch(limits, settings.condition, rules) for limits in every]
        self.carried: list[tuple[str, str]] = []  # target, into which
        self._cpas = sorted({condition.cpa_nm for limits in every for condition in limits.conditions.values()})
        self._waiting: list[_Item] = []

    def see_plot(self, moment: Moment, plot: Plot) -> list[Finding]:
        self._take(_Seen(moment, plot, self.estimate, self.look.own))
        return []

    def tick(self, moment: Moment, situation: Situation) -> list[Finding]:
        self._take(_Ticked(moment, situation))
        return []

    def set_condition(self, name: str) -> list[Finding]:
        super().set_condition(name)
        self._take(NewCondition(self.moment, name))
        return []

    def carry(self, old: str, new: str) -> None:
        self.carried.append((old, new))
        self._take(Carried(self.moment, old, new))

    def close(self, moment: Moment) -> None:
        self._judge()
        for watch in self.watches:
            watch.changes.take(moment, watch.book.close(moment))

    def _take(self, item: _Item) -> None:
        self._waiting.append(item)
        if len(self._waiting) >= BATCH:
            self._judge()

    def _judge(self) -> None:
        """All that waits, under one setting after the other: they know nothing of each other."""
        waiting, self._waiting = self._waiting, []
        plots = self._held_against([item for item in waiting if isinstance(item, _Seen)])
        for watch in self.watches:
            number = 0
            for item in waiting:
                if isinstance(item, _Seen):
                    watch.take(item.moment, watch.rules.see_plot(item.moment, plots[watch.rules.limits.cpa_nm][number]))
                    number += 1
                else:
                    watch.pass_on(item)

    def _held_against(self, seen: Sequence[_Seen]) -> dict[float, list[Plot]]:
        """The plots as they would be with each CPA limit in force: the chance and the word that depend on it."""
        estimates, owns = [one.estimate for one in seen], [one.own for one in seen]
        plots: dict[float, list[Plot]] = {}
        for limit_nm in self._cpas:
            answers = assess(estimates, owns, limit_nm).rows()
            plots[limit_nm] = [_with(one.plot, answer) for one, answer in zip(seen, answers, strict=True)]
        return plots


def _with(plot: Plot, answer: Answer) -> Plot:
    chance = answer.inside_probability
    rounded = None if chance is None else round(chance, 3) + 0.0
    return structs.replace(plot, inside_probability=rounded, passing=answer.passing)
