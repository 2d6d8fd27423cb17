"""What can be tuned, with its default, its unit and its sane bounds. The configuration file is made of these types.

Rules for this file:

- Units stand in the names. `msgspec.convert` refuses unknown keys, wrong types and values outside the bounds.
- A limit that changes with the waters stands in `Condition`; what belongs to one rule whatever the waters, in that
  rule's own table under `Alerts`.
- Every number is plain data, so that a sweep can try another by `msgspec.structs.replace`.
"""

from collections.abc import Collection, Iterator
from enum import StrEnum
from typing import Annotated

from msgspec import Meta, Struct, field

from alerts.annunciators.settings import ANNUNCIATORS
from alerts.plotting.terms import Priority

Share = Annotated[float, Meta(ge=0, le=1)]
RangeNm = Annotated[float, Meta(ge=0, le=96)]
Minutes = Annotated[float, Meta(gt=0, le=120)]
Seconds = Annotated[float, Meta(ge=0, le=3600)]
Degrees = Annotated[float, Meta(ge=-180, le=360)]
Name = Annotated[str, Meta(min_length=1, max_length=60)]
Number4 = Annotated[float, Meta(ge=0, le=4)]


class Condition(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A named set of limits. One is in force; it can be changed while the watch runs.

    `close_nm` is the close range of Rule 7(d)(ii): an approaching vessel inside it is a risk whatever its drift.
    `range_scales_nm`: this condition comes into force by itself when the radar goes to one of these range scales.
    `off` names rules that are off in this condition.
    """

    cpa_nm: Annotated[float, Meta(gt=0, le=20, description="CPA limit")] = 0.5
    tcpa_min: Annotated[Minutes, Meta(description="TCPA limit")] = 12.0
    bow_crossing_nm: Annotated[RangeNm, Meta(description="a target that crosses ahead within this range")] = 1.0
    bow_crossing_min: Annotated[Minutes, Meta(description="and within this time is told")] = 12.0
    close_nm: Annotated[
        RangeNm,
        Meta(description="close range of Rule 7(d)(ii): an approaching target inside it is told whatever its drift"),
    ] = 0.75
    range_scales_nm: Annotated[
        tuple[Annotated[float, Meta(gt=0, le=120)], ...],
        Meta(description="in force by itself when the radar goes to one of these range scales"),
    ] = ()
    off: Annotated[tuple[str, ...], Meta(description="rules that are off in this condition")] = ()

    def __post_init__(self) -> None:
        for name in self.off:
            if name not in RULES:
                raise ValueError(f"off: {name!r} is no rule; one of {', '.join(RULES)}")


Urgency = Annotated[Priority, Meta(description="how urgent: alarm and warning sound, caution is silent")]
Hold = Annotated[float, Meta(ge=0, le=600, description="must be true for so long first")]
ClearRatio = Annotated[float, Meta(ge=1, le=5, description="cleared only beyond so many times the limit")]
ClearHold = Annotated[float, Meta(ge=0, le=600, description="and for so long")]
Repeat = Annotated[float, Meta(ge=5, le=3600, description="sounds again so often while nobody acknowledges")]


class Rule(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What every rule has. Times in seconds.

    A rule is raised when its condition has held for `hold_s`, and cleared when it has been beyond `clear_ratio` times
    the limit for `clear_hold_s`. While nobody acknowledges it is told again every `repeat_s`. `conditions` names
    those in which the rule is on, `annunciators` those that tell it; empty means all.
    """

    on: Annotated[bool, Meta(description="whether the rule is on at all")] = True
    priority: Urgency = Priority.WARNING
    hold_s: Hold = 0.0
    clear_ratio: ClearRatio = 1.2
    clear_hold_s: ClearHold = 20.0
    repeat_s: Repeat = 120.0
    escalates_to_alarm: Annotated[bool, Meta(description="a warning that stays unacknowledged becomes an alarm")] = (
        False
    )
    conditions: Annotated[tuple[str, ...], Meta(description="on in these conditions only; empty: in all")] = ()
    annunciators: Annotated[tuple[str, ...], Meta(description="told by these only; empty: by all")] = ()


class Basis(StrEnum):
    """Whose CPA and TCPA decide: ours, the set's, or whichever is inside first."""

    RECOMPUTED = "recomputed"
    REPORTED = "reported"
    EITHER = "either"


class ClosestApproach(Rule, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """CPA and TCPA both inside the condition's limits (MSC.192(79) 5.29.1).

    An acknowledged danger is told again when its CPA has fallen by a further `worse_nm`, and once when its TCPA falls
    to `again_min` (0: never).
    """

    priority: Urgency = Priority.ALARM
    basis: Annotated[Basis, Meta(description="whose CPA and TCPA decide")] = Basis.RECOMPUTED
    probability: Annotated[float, Meta(gt=0, lt=1, description="least probability of passing inside the CPA limit")] = (
        0.5
    )
    hold_s: Hold = 6.0
    repeat_s: Repeat = 30.0
    worse_nm: Annotated[
        float, Meta(gt=0, le=10, description="an acknowledged danger sounds again when its CPA has fallen by this")
    ] = 0.2
    again_min: Annotated[float, Meta(ge=0, le=60, description="and once when its TCPA falls to this; 0: never")] = 3.0


class SteadyBearing(Rule, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """COLREG Rule 7(d): the compass bearing of an approaching vessel does not appreciably change.

    At each range and TCPA the drift held against is that of a vessel which would pass at `pass_ratio` times the
    condition's CPA limit. In doubt (Rule 7(a)) it is widened by `doubt` standard deviations of the drift itself; a
    drift known no better than the limit says nothing and raises nothing.
    """

    hold_s: Hold = 30.0
    clear_hold_s: ClearHold = 60.0
    clear_ratio: ClearRatio = 1.5
    range_nm: Annotated[RangeNm, Meta(description="only inside this range")] = 8.0
    tcpa_min: Annotated[Minutes, Meta(description="only within this time of the CPA")] = 20.0
    pass_ratio: Annotated[
        float, Meta(gt=0, le=5, description="held against the drift of a pass at so many times the CPA limit")
    ] = 1.0
    doubt: Annotated[
        Number4, Meta(description="the drift may exceed that by so many of its own standard deviations")
    ] = 0.5


class BowCrossing(Rule, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A target will cross ahead of us, within the condition's `bow_crossing_nm` and `bow_crossing_min`."""

    hold_s: Hold = 20.0
    clear_hold_s: ClearHold = 30.0


class ZoneReference(StrEnum):
    """What a zone's bearings count from."""

    TRUE = "true"
    RELATIVE = "relative"


class Zone(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A sector by range and bearing, clockwise from `from_deg` to `to_deg`; 0 to 360 is all round.

    Relative bearings may be given either way: 330 or -30. `conditions` as in a rule.
    """

    from_nm: Annotated[RangeNm, Meta(description="inner range")] = 0.0
    to_nm: Annotated[float, Meta(gt=0, le=96, description="outer range")]
    from_deg: Annotated[Degrees, Meta(description="from this bearing, clockwise")] = 0.0
    to_deg: Annotated[Degrees, Meta(description="to this one; 0 to 360 is all round")] = 360.0
    reference: Annotated[ZoneReference, Meta(description="true bearings, or relative to the bow")] = (
        ZoneReference.RELATIVE
    )
    conditions: Annotated[tuple[str, ...], Meta(description="on in these conditions only; empty: in all")] = ()

    def __post_init__(self) -> None:
        if self.to_nm <= self.from_nm:
            raise ValueError(f"to_nm {self.to_nm:g} must be greater than from_nm {self.from_nm:g}")


Zones = Annotated[dict[Name, Zone], Meta(max_length=16)]
"""Zones by name."""


class GuardZone(Rule, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A target enters a guard zone. Those inside during the first `grace_s` are named once, in a caution."""

    zones: Annotated[Zones, Meta(description="the zones, a table each")] = field(default_factory=dict)
    hold_s: Hold = 6.0
    clear_ratio: ClearRatio = 1.05
    clear_margin_deg: Annotated[
        float, Meta(ge=0, le=45, description="a target has left when it is so far outside either bearing")
    ] = 3.0
    grace_s: Annotated[
        Seconds, Meta(description="targets inside during the first of this are named in one caution")
    ] = 60.0


class NewTarget(Rule, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A target first seen after the first `grace_s`, inside `range_nm`; shown for `show_s`."""

    priority: Urgency = Priority.CAUTION
    hold_s: Hold = 6.0
    range_nm: Annotated[RangeNm, Meta(description="only inside this range")] = 12.0
    grace_s: Annotated[Seconds, Meta(description="targets seen first within this time of the start are not new")] = 60.0
    show_s: Annotated[Seconds, Meta(description="shown for so long")] = 60.0


class LostTarget(Rule, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A tracked target is lost, unless it left by range, by zone or after passing clear (MSC.192(79) 5.29.4).

    By range: beyond `range_nm`, or opening beyond `edge_ratio` of the range scale. By zone: last seen inside one of
    `except_zones` (a blind sector). Passed clear: past its CPA, and further off than the condition's CPA limit.
    Fewer than `observations` plots are no track that could be lost.
    """

    range_nm: Annotated[RangeNm, Meta(description="beyond this range a target has left, not been lost")] = 24.0
    edge_ratio: Annotated[
        float, Meta(gt=0, le=1, description="an opening target beyond this part of the range scale has left")
    ] = 0.95
    except_zones: Annotated[Zones, Meta(description="blind sectors, a table each")] = field(default_factory=dict)
    observations: Annotated[int, Meta(ge=1, le=100, description="fewer plots are no track that could be lost")] = 5


class TargetManoeuvre(Rule, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A target inside `range_nm` alters course or speed."""

    priority: Urgency = Priority.CAUTION
    range_nm: Annotated[RangeNm, Meta(description="only inside this range")] = 6.0
    clear_hold_s: ClearHold = 30.0


class CrossCheck(Rule, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The set's own answer differs from ours; targets that differ for one cause make one alert."""

    hold_s: Hold = 30.0
    clear_hold_s: ClearHold = 60.0
    repeat_s: Repeat = 300.0


class RadarCapacity(Rule, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The set tracks nearly all that it can: caution from `caution_share` on, warning at all (MSC.192(79) 5.25.2.2).

    `capacity` is the least number that MSC.192(79) Table 1 asks of ships under 500 GT; set it to your set's own.
    """

    priority: Urgency = Priority.CAUTION
    capacity: Annotated[int, Meta(ge=1, le=1000, description="how many targets your set can track")] = 20
    caution_share: Annotated[Share, Meta(description="caution from this part of it on; warning when full")] = 0.95
    hold_s: Hold = 10.0


class SensorLost(Rule, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """An own-ship sensor that was there, or is needed, has been silent for `after_s`."""

    after_s: Annotated[float, Meta(gt=0, le=600, description="lost when silent for so long")] = 10.0
    clear_hold_s: ClearHold = 5.0


class Passing(Rule, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Something that happens at one moment; shown for `show_s`."""

    priority: Urgency = Priority.CAUTION
    show_s: Annotated[Seconds, Meta(description="shown for so long")] = 60.0


class Life(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The life of every alert.

    `silence_s`: how long silence lasts (30 s: MSC.302(87) 7.3.5). `escalate_s`: an alert still unacknowledged after
    this is escalated (0: never). `keep_rectified_min`, `keep_lost_min`: when what nobody acknowledged ages out.
    The flap guard lets no condition be raised and cleared more than `flap_changes` times in `flap_window_s`: it
    delays the clearing, never the raising.
    """

    silence_s: Annotated[
        float, Meta(ge=1, le=30, description="how long silence lasts, at most 30 s by MSC.302(87) 7.3.5")
    ] = 30.0
    escalate_s: Annotated[
        float, Meta(ge=0, le=3600, description="escalated when unacknowledged for so long; 0: never")
    ] = 60.0
    keep_rectified_min: Annotated[
        float, Meta(ge=1, le=1440, description="what has ended and nobody acknowledged is kept for so long")
    ] = 240.0
    keep_lost_min: Annotated[
        float,
        Meta(ge=1, le=1440, description="a danger whose data stopped and nobody acknowledged is kept for so long"),
    ] = 60.0
    flap_changes: Annotated[
        int, Meta(ge=2, le=100, description="a condition is raised and cleared at most so often")
    ] = 4
    flap_window_s: Annotated[
        float, Meta(ge=0, le=3600, description="in this time; clearing waits, raising never does")
    ] = 600.0


class Alerts(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One table for each rule of the program, and `life` for what all alerts have in common."""

    life: Life = field(default_factory=Life)
    closest_approach: ClosestApproach = field(default_factory=ClosestApproach)
    steady_bearing: SteadyBearing = field(default_factory=SteadyBearing)
    bow_crossing: BowCrossing = field(default_factory=BowCrossing)
    guard_zone: GuardZone = field(default_factory=GuardZone)
    new_target: NewTarget = field(default_factory=NewTarget)
    lost_target: LostTarget = field(default_factory=LostTarget)
    target_manoeuvre: TargetManoeuvre = field(default_factory=TargetManoeuvre)
    cross_check: CrossCheck = field(default_factory=CrossCheck)
    radar_capacity: RadarCapacity = field(default_factory=RadarCapacity)
    heading_lost: SensorLost = field(default_factory=SensorLost)
    position_lost: SensorLost = field(default_factory=SensorLost)
    speed_lost: SensorLost = field(default_factory=SensorLost)
    feed_silent: Rule = field(default_factory=lambda: Rule(clear_hold_s=5))
    picture_changed: Passing = field(default_factory=Passing)
    archive_failed: Rule = field(default_factory=Rule)
    output_failed: Rule = field(default_factory=Rule)
    annunciator_failed: Rule = field(default_factory=Rule)
    clock_jump: Passing = field(default_factory=Passing)
    distress_beacon: Rule = field(default_factory=lambda: Rule(priority=Priority.ALARM, repeat_s=30, clear_hold_s=600))

    def rule(self, name: str) -> Rule:
        """The settings of one rule by its name; KeyError for a name that is none."""
        if name not in RULES:
            raise KeyError(name)
        rule: Rule = getattr(self, name)
        return rule


RULES: tuple[str, ...] = tuple(name for name in Alerts.__struct_fields__ if name != "life")
"""The names of all rules, in the order of the configuration."""


DEFAULT_CONDITIONS: dict[str, Condition] = {
    "open water": Condition(cpa_nm=0.5, tcpa_min=12),
    "coastal": Condition(cpa_nm=0.3, tcpa_min=10, bow_crossing_nm=0.6, bow_crossing_min=10, close_nm=0.45),
    "harbour": Condition(
        cpa_nm=0.1,
        tcpa_min=5,
        bow_crossing_nm=0.2,
        bow_crossing_min=4,
        close_nm=0.1,
        off=("new_target", "steady_bearing", "target_manoeuvre"),
    ),
    "restricted visibility": Condition(cpa_nm=1.0, tcpa_min=18, bow_crossing_nm=2.0, bow_crossing_min=18, close_nm=1.5),
}


def misnamed(settings: Alerts, conditions: Collection[str]) -> Iterator[tuple[tuple[str, ...], str]]:
    """Names in the rules' tables that name nothing: the key's path and what is wrong.

    A rule that is on in a condition which does not exist would be off for ever, and nobody would know.
    """
    for rule in RULES:
        table = settings.rule(rule)
        for key, names, known in (
            ("conditions", table.conditions, tuple(conditions)),
            ("annunciators", table.annunciators, ANNUNCIATORS),
        ):
            for name in names:
                if name not in known:
                    yield ("alerts", rule, key), f"{name!r} is none of {', '.join(map(repr, known))}"
    for zone_name, zone in settings.guard_zone.zones.items():
        for name in zone.conditions:
            if name not in conditions:
                path = ("alerts", "guard_zone", "zones", zone_name, "conditions")
                yield path, f"{name!r} is none of {', '.join(map(repr, conditions))}"
