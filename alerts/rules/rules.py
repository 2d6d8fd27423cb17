"""Which conditions hold now, by the limits in force: plots and ticks in, findings out.

Two layers are kept apart. The rules say what is true and since when, from the data alone; whether anybody should be
told again, and what was acknowledged, is the alert book's business (alerts/lifecycle.py) and never comes back here.
"""

from alerts.events import Moment, Plot
from alerts.rules.board import Board
from alerts.rules.findings import Finding
from alerts.rules.health import HealthRules
from alerts.rules.situation import Situation
from alerts.rules.targets import TargetRules
from alerts.settings import Alerts, Condition


class Rules:
    """All rules of one watch. Findings come in a fixed order: the same data gives the same findings."""

    def __init__(self, settings: Alerts, conditions: dict[str, Condition], condition: str) -> None:
        """KeyError where `condition` is not one of `conditions`."""
        self._board = Board(settings, conditions, condition)
        self._targets = TargetRules(self._board)
        self._health = HealthRules(self._board)

    @property
    def condition(self) -> str:
        """The name of the condition in force."""
        return self._board.condition_name

    @property
    def limits(self) -> Condition:
        return self._board.condition

    def see_plot(self, moment: Moment, plot: Plot) -> list[Finding]:
        """Judge one plot. Its `inside_probability` must be that of the CPA limit in force (`limits.cpa_nm`)."""
        self._targets.see(moment, plot)
        return self._board.take()

    def see_carried(self, moment: Moment, plot: Plot) -> list[Finding]:
        """Judge what the last report of a target has come to by now, between two that are far apart."""
        self._targets.see_carried(moment, plot)
        return self._board.take()

    def tick(self, moment: Moment, situation: Situation) -> list[Finding]:
        """Judge what the plots do not show. About once a second of the stream's time."""
        silent = self._health.tick(moment, situation)
        self._targets.tick(moment, situation, silent)
        return self._board.take()

    def carry(self, old: str, new: str) -> None:
        """Two targets are one vessel: what was found of the old goes on for the new, as if it had been there always."""
        self._targets.carry(old, new)

    def set_condition(self, name: str) -> list[Finding]:
        """Put a condition in force; what is off in it ends. KeyError for a name that is none.

        What still holds by the old limits is judged by the new ones from each target's next plot on.
        """
        self._board.use(name)
        return self._end_what_is_off()

    def configure(self, settings: Alerts, conditions: dict[str, Condition], condition: str) -> list[Finding]:
        """Put other settings in force, as set_condition() does with a condition. What was told stays told."""
        self._board.settings = settings
        self._board.conditions = conditions
        return self.set_condition(condition)

    def _end_what_is_off(self) -> list[Finding]:
        for key in sorted(self._board.told, key=lambda key: (key[0], key[1] or "", key[2])):
            is_gone = key[0] == "guard_zone" and key[2] not in self._board.settings.guard_zone.zones
            if is_gone or not self._board.is_on(key[0]):
                self._board.end_off(key)
        return self._board.take()
