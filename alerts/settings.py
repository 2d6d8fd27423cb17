"""What can be tuned, with its default, its unit and its sane bounds. The configuration file is made of these types."""

from typing import Annotated

from msgspec import Meta, Struct, field

from alerts.plotting.terms import Priority

Positive = Annotated[float, Meta(gt=0)]
Share = Annotated[float, Meta(ge=0, le=1)]


class Condition(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A named set of limits. One is in force; it can be changed while the watch runs."""

    cpa_nm: Annotated[float, Meta(gt=0, le=20)] = 0.5
    tcpa_min: Annotated[float, Meta(gt=0, le=120)] = 12.0
    off: tuple[str, ...] = ()


DEFAULT_CONDITIONS: dict[str, Condition] = {
    "open water": Condition(cpa_nm=0.5, tcpa_min=12),
    "coastal": Condition(cpa_nm=0.3, tcpa_min=10),
    "harbour": Condition(cpa_nm=0.1, tcpa_min=5),
    "restricted visibility": Condition(cpa_nm=1.0, tcpa_min=18),
}


class Rule(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What every rule has. Times in seconds."""

    on: bool = True
    priority: Priority = Priority.WARNING
    hold_s: Annotated[float, Meta(ge=0, le=600)] = 0.0
    clear_ratio: Annotated[float, Meta(ge=1, le=5)] = 1.2
    clear_hold_s: Annotated[float, Meta(ge=0, le=600)] = 20.0
    repeat_s: Annotated[float, Meta(gt=0, le=3600)] = 30.0


class Alerts(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One table for each rule of the program."""

    lost_target: Rule = field(default_factory=Rule)
