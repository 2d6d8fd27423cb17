"""What has been told: turns 'it holds now' into findings, one for each change, and holds back what another tells."""

from collections.abc import Callable

from msgspec import Struct

from alerts.plotting.terms import Priority
from alerts.rules.findings import Finding, Key, Phase, Value
from alerts.settings import Alerts, Condition

HELD_BY_HEADING = ("steady_bearing", "bow_crossing", "target_manoeuvre", "cross_check")
"""Without any heading these speak of own ship's bow, not of the target. Fixed and few; closest_approach is not one."""


class Case(Struct, frozen=True, gc=False):
    """What an alert would say: text, values, and a priority where the case itself decides it."""

    text: str
    values: dict[str, Value]
    priority: Priority | None = None


class Board:
    """The conditions told so far and the findings of the step at hand."""

    def __init__(self, settings: Alerts, conditions: dict[str, Condition], condition: str) -> None:
        self.settings = settings
        self.conditions = conditions
        self.told: set[Key] = set()
        self.waiting: dict[Key, str] = {}  # what is held back, and what by
        self.held_by_heading: tuple[str, ...] = ()
        self._out: list[Finding] = []
        self.condition_name = condition
        self.condition = conditions[condition]

    def use(self, condition: str) -> None:
        """Put a condition in force; KeyError for a name that is none."""
        self.condition = self.conditions[condition]
        self.condition_name = condition

    def is_on(self, rule: str) -> bool:
        table = self.settings.rule(rule)
        chosen = not table.conditions or self.condition_name in table.conditions
        return table.on and chosen and rule not in self.condition.off

    def settle(
        self, key: Key, wanted: bool, compose: Callable[[], Case], *, reason: str = "cleared", held_by: str = ""
    ) -> None:
        """Bring what is told into line with what is wanted."""
        if not wanted and key not in self.told:  # nearly always
            self.waiting.pop(key, None)
            return
        rule = key[0]
        if wanted and not held_by and rule in self.held_by_heading and key not in self.told:
            held_by = "heading_lost"
        self._wait(key, held_by if wanted else "")
        if wanted and not held_by:
            phase = Phase.UPDATED if key in self.told else Phase.RAISED
            self.told.add(key)
            self.say(key, phase, compose())
        elif key in self.told:
            self.told.discard(key)
            if wanted:
                self.say(key, Phase.HELD_BACK, compose(), f"told by {held_by}")
            else:
                self.say(key, Phase.ENDED, compose(), reason)

    def say(self, key: Key, phase: Phase, case: Case, reason: str = "") -> None:
        rule, target, part = key
        priority = case.priority or self.settings.rule(rule).priority
        self._out.append(
            Finding(
                rule=rule,
                target=target,
                part=part,
                phase=phase,
                priority=priority,
                text=case.text,
                values=case.values,
                reason=reason,
            )
        )

    def end_off(self, key: Key) -> None:
        """The rule is off in the condition now in force."""
        self.told.discard(key)
        name = self.condition_name
        self.say(key, Phase.ENDED, Case(f"{key[0].replace('_', ' ')} is off in {name}", {}), f"off in {name}")

    def drop(self, key: Key) -> None:
        """Nothing more will be heard of this condition; what is told stays with the alert book."""
        self.told.discard(key)
        self._wait(key, "")

    def targets(self, rule: str) -> set[str | None]:
        """The targets of which this is told, or waits because another tells it."""
        return {key[1] for keys in (self.told, self.waiting) for key in keys if key[0] == rule}

    def carry(self, old: str, new: str) -> None:
        """What is told of the old target is told of the new; what waits is asked again at the new one's next plot."""
        for key in [key for key in self.told if key[1] == old]:
            self.told.discard(key)
            self.told.add((key[0], new, key[2]))
        for key in [key for key in self.waiting if key[1] == old]:
            del self.waiting[key]

    def held_back(self, holder: str) -> int:
        return sum(held_by == holder for held_by in self.waiting.values())

    def take(self) -> list[Finding]:
        out, self._out = self._out, []
        return out

    def _wait(self, key: Key, holder: str) -> None:
        if holder:
            self.waiting[key] = holder
        else:
            self.waiting.pop(key, None)
