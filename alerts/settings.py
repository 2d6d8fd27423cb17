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

    cpa_nm: Annotated[float, Meta(gt=0, le=20)] = 0.5
    tcpa_min: Minutes = 12.0
    bow_crossing_nm: RangeNm = 1.0
    bow_crossing_min: Minutes = 12.0
    close_nm: RangeNm = 0.75
    range_scales_nm: tuple[Annotated[float, Meta(gt=0, le=120)], ...] = ()
    off: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        for name in self.off:
            if name not in RULES:
                raise ValueError(f"off: {name!r} is no rule; one of {', '.join(RULES)}")


class Rule(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What every rule has. Times in seconds.

    A rule is raised when its condition has held for `hold_s`, and cleared when it has been beyond `clear_ratio` times
    the limit for `clear_hold_s`. While nobody acknowledges it is told again every `repeat_s`. `conditions` names
    those in which the rule is on, `annunciators` those that tell it; empty means all.
    """

    on: bool = True
    priority: Priority = Priority.WARNING
    hold_s: Annotated[float, Meta(ge=0, le=600)] = 0.0
    clear_ratio: Annotated[float, Meta(ge=1, le=5)] = 1.2
    clear_hold_s: Annotated[float, Meta(ge=0, le=600)] = 20.0
    repeat_s: Annotated[float, Meta(ge=5, le=3600)] = 120.0
    escalates_to_alarm: bool = False
    conditions: tuple[str, ...] = ()
    annunciators: tuple[str, ...] = ()


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

    priority: Priority = Priority.ALARM
    basis: Basis = Basis.RECOMPUTED
    probability: Annotated[float, Meta(gt=0, lt=1)] = 0.5
    hold_s: Annotated[float, Meta(ge=0, le=600)] = 6.0
    repeat_s: Annotated[float, Meta(ge=5, le=3600)] = 30.0
    worse_nm: Annotated[float, Meta(gt=0, le=10)] = 0.2
    again_min: Annotated[float, Meta(ge=0, le=60)] = 3.0


class SteadyBearing(Rule, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """COLREG Rule 7(d): the compass bearing of an approaching vessel does not appreciably change.

    At each range and TCPA the drift held against is that of a vessel which would pass at `pass_ratio` times the
    condition's CPA limit. In doubt (Rule 7(a)) it is widened by `doubt` standard deviations of the drift itself; a
    drift known no better than the limit says nothing and raises nothing.
    """

    hold_s: Annotated[float, Meta(ge=0, le=600)] = 30.0
    clear_hold_s: Annotated[float, Meta(ge=0, le=600)] = 60.0
    clear_ratio: Annotated[float, Meta(ge=1, le=5)] = 1.5
    range_nm: RangeNm = 8.0
    tcpa_min: Minutes = 20.0
    pass_ratio: Annotated[float, Meta(gt=0, le=5)] = 1.0
    doubt: Number4 = 0.5


class BowCrossing(Rule, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A target will cross ahead of us, within the condition's `bow_crossing_nm` and `bow_crossing_min`."""

    hold_s: Annotated[float, Meta(ge=0, le=600)] = 20.0
    clear_hold_s: Annotated[float, Meta(ge=0, le=600)] = 30.0


class ZoneReference(StrEnum):
    TRUE = "true"
    RELATIVE = "relative"


class Zone(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A sector by range and bearing, clockwise from `from_deg` to `to_deg`; 0 to 360 is all round.

    Relative bearings may be given either way: 330 or -30. `conditions` as in a rule.
    """

    from_nm: RangeNm = 0.0
    to_nm: Annotated[float, Meta(gt=0, le=96)]
    from_deg: Degrees = 0.0
    to_deg: Degrees = 360.0
    reference: ZoneReference = ZoneReference.RELATIVE
    conditions: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if self.to_nm <= self.from_nm:
            raise ValueError(f"to_nm {self.to_nm:g} must be greater than from_nm {self.from_nm:g}")


Zones = Annotated[dict[Name, Zone], Meta(max_length=16)]
"""Zones by name."""


class GuardZone(Rule, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A target enters a guard zone. Those inside during the first `grace_s` are named once, in a caution."""

    zones: Zones = field(default_factory=dict)
    hold_s: Annotated[float, Meta(ge=0, le=600)] = 6.0
    clear_ratio: Annotated[float, Meta(ge=1, le=5)] = 1.05
    clear_margin_deg: Annotated[float, Meta(ge=0, le=45)] = 3.0
    grace_s: Seconds = 60.0


class NewTarget(Rule, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A target first seen after the first `grace_s`, inside `range_nm`; shown for `show_s`."""

    priority: Priority = Priority.CAUTION
    hold_s: Annotated[float, Meta(ge=0, le=600)] = 6.0
    range_nm: RangeNm = 12.0
    grace_s: Seconds = 60.0
    show_s: Seconds = 60.0


class LostTarget(Rule, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A tracked target is lost, unless it left by range, by zone or after passing clear (MSC.192(79) 5.29.4).

    By range: beyond `range_nm`, or opening beyond `edge_ratio` of the range scale. By zone: last seen inside one of
    `except_zones` (a blind sector). Passed clear: past its CPA, and further off than the condition's CPA limit.
    Fewer than `observations` plots are no track that could be lost.
    """

    range_nm: RangeNm = 24.0
    edge_ratio: Annotated[float, Meta(gt=0, le=1)] = 0.95
    except_zones: Zones = field(default_factory=dict)
    observations: Annotated[int, Meta(ge=1, le=100)] = 5


class TargetManoeuvre(Rule, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A target inside `range_nm` alters course or speed."""

    priority: Priority = Priority.CAUTION
    range_nm: RangeNm = 6.0
    clear_hold_s: Annotated[float, Meta(ge=0, le=600)] = 30.0


class CrossCheck(Rule, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The set's own answer differs from ours; targets that differ for one cause make one alert."""

    hold_s: Annotated[float, Meta(ge=0, le=600)] = 30.0
    clear_hold_s: Annotated[float, Meta(ge=0, le=600)] = 60.0
    repeat_s: Annotated[float, Meta(ge=5, le=3600)] = 300.0


class RadarCapacity(Rule, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The set tracks nearly all that it can: caution from `caution_share` on, warning at all (MSC.192(79) 5.25.2.2).

    `capacity` is the least number that MSC.192(79) Table 1 asks of ships under 500 GT; set it to your set's own.
    """

    priority: Priority = Priority.CAUTION
    capacity: Annotated[int, Meta(ge=1, le=1000)] = 20
    caution_share: Share = 0.95
    hold_s: Annotated[float, Meta(ge=0, le=600)] = 10.0


class SensorLost(Rule, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """An own-ship sensor that was there, or is needed, has been silent for `after_s`."""

    after_s: Annotated[float, Meta(gt=0, le=600)] = 10.0
    clear_hold_s: Annotated[float, Meta(ge=0, le=600)] = 5.0


class Passing(Rule, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Something that happens at one moment; shown for `show_s`."""

    priority: Priority = Priority.CAUTION
    show_s: Seconds = 60.0


class Life(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The life of every alert.

    `silence_s`: how long silence lasts (30 s: MSC.302(87) 7.3.5). `escalate_s`: an alert still unacknowledged after
    this is escalated (0: never). `keep_rectified_min`, `keep_lost_min`: when what nobody acknowledged ages out.
    The flap guard lets no condition be raised and cleared more than `flap_changes` times in `flap_window_s`: it
    delays the clearing, never the raising.
    """

    silence_s: Annotated[float, Meta(ge=1, le=30)] = 30.0
    escalate_s: Annotated[float, Meta(ge=0, le=3600)] = 60.0
    keep_rectified_min: Annotated[float, Meta(ge=1, le=1440)] = 240.0
    keep_lost_min: Annotated[float, Meta(ge=1, le=1440)] = 60.0
    flap_changes: Annotated[int, Meta(ge=2, le=100)] = 4
    flap_window_s: Annotated[float, Meta(ge=0, le=3600)] = 600.0


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


# --------------------------------------------------------------------------------------------- annunciators


class ConsoleLine(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A line on stderr for each alert that is told, where no console is open."""

    on: bool = True


class Bell(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The terminal's bell: three strokes for an alarm, two for a warning, none for a caution.

    Unless it is on, it rings only in place of a sound that cannot be played.
    """

    on: bool = False


class Sound(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Tone patterns played by a player found on this machine.

    `command`: "auto", "off", or your own player with its arguments; it gets the name of a WAV file as its last
    argument. `volume` is the peak of the samples against full scale. Frequencies in Hz (A.1021(26): 200 to 2,500).
    """

    on: bool = True
    command: Annotated[str, Meta(min_length=1, max_length=500)] = "auto"
    volume: Annotated[float, Meta(gt=0, le=1)] = 0.7
    alarm_hz: Annotated[float, Meta(ge=200, le=2500)] = 1800.0
    warning_hz: Annotated[float, Meta(ge=200, le=2500)] = 900.0
    time_limit_s: Annotated[float, Meta(gt=0, le=60)] = 10.0

    def __post_init__(self) -> None:
        if not max(self.alarm_hz, self.warning_hz) / min(self.alarm_hz, self.warning_hz) >= 1.25:
            raise ValueError("alarm_hz and warning_hz must differ by a quarter: no two sounds alike")


class Command(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A command of your own: the program and its arguments, run without a shell, the alert as JSON on its stdin.

    At most `per_minute` starts a minute; what is held back is counted and told with the next.
    """

    argv: Annotated[tuple[str, ...], Meta(max_length=64)] = ()
    priorities: tuple[Priority, ...] = (Priority.ALARM, Priority.WARNING)
    time_limit_s: Annotated[float, Meta(gt=0, le=60)] = 10.0
    per_minute: Annotated[int, Meta(ge=1, le=600)] = 12


class Sentences(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Standard alert sentences out, and commands back.

    `uri`: serial:/dev/ttyUSB1@38400 or udp:HOST:PORT; empty is off. ALF, ALC and HBT, with ARC for a command refused;
    `older` sends ALR instead. `accept_from` names the feeds from which ACN and ACK are obeyed; from others they are
    counted and not obeyed. `mnemonic` is the maker's code beside identifiers that are not standard: this program
    holds none, so put your own there if the receiver asks for one.
    """

    uri: Annotated[str, Meta(max_length=200, pattern="^(|serial:.+|udp:.+:[0-9]+)$")] = ""
    talker: Annotated[str, Meta(pattern="^[A-Z][A-Z0-9]$")] = "II"
    older: bool = False
    mnemonic: Annotated[str, Meta(pattern="^[A-Z]{3}$")] = "XXX"
    heartbeat_s: Annotated[float, Meta(ge=1, le=60)] = 30.0
    list_s: Annotated[float, Meta(ge=1, le=30)] = 30.0
    accept_from: tuple[str, ...] = ()


class Annunciators(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Who tells the alerts."""

    console_line: ConsoleLine = field(default_factory=ConsoleLine)
    bell: Bell = field(default_factory=Bell)
    sound: Sound = field(default_factory=Sound)
    command: Command = field(default_factory=Command)
    sentences: Sentences = field(default_factory=Sentences)


ANNUNCIATORS: tuple[str, ...] = Annunciators.__struct_fields__
"""The names of all annunciators."""


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
