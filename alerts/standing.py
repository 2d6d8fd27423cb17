"""How things stand at one moment, for events and rules: own ship, her sensors, the radar's settings."""

from typing import Any

from alerts.ais_watch import CROWD_AGAIN_S
from alerts.events import Moment, OwnShip, Radar
from alerts.plotting.identity import Targets
from alerts.plotting.picture import OwnShip as Picture
from alerts.plotting.sources import Choice
from alerts.rules.situation import SensorHealth
from parsers.observations import FixQuality, RadarSettings

SENSOR_HOLD_S = 10.0
"""A receiver that loses its satellites for a moment, under a bridge, is no news."""


def own_event(own: Picture, moment: Moment) -> OwnShip | None:
    """Own ship as an event; None while nothing has ever been heard of her. What is too old is None, its age is not."""
    at_s = moment.at_s
    ages = [choice.age_s(at_s) for choice in (own.heading, own.position, own.ground, own.water)]
    if all(age is None for age in ages):
        return None
    heading_age_s, position_age_s, ground_age_s, water_age_s = (_tenths(age) for age in ages)
    fix, ground, water = own.fix(at_s), own.ground_velocity(at_s), own.water_speed(at_s)
    heading_deg, _ = own.true_heading(at_s)
    heading_source = own.heading_source(at_s)
    if heading_source == "cog":
        heading_age_s = ground_age_s  # of the value that is shown, not of the sensor whose place it takes
    return OwnShip(
        time=moment.time,
        lat_deg=round(fix.lat_deg, 6) if fix else None,
        lon_deg=round(fix.lon_deg, 6) if fix else None,
        position_age_s=position_age_s,
        sog_kn=round(ground.speed_kn, 2) if ground else None,
        sog_age_s=ground_age_s,
        cog_deg=_angle(ground.course_deg) if ground else None,
        cog_age_s=ground_age_s,
        heading_deg=_angle(heading_deg),
        heading_source=heading_source,
        heading_age_s=heading_age_s,
        stw_kn=round(water.stw_kn, 2) if water and water.stw_kn is not None else None,
        stw_age_s=water_age_s,
    )


def sensors(
    own: Picture, at_s: float, needs_heading: bool, needs_position: bool, needs_speed: bool
) -> tuple[SensorHealth, SensorHealth, SensorHealth]:
    """Health of heading, position and speed. Speed is that over ground, else through the water."""
    stand_in = "course over ground" if own.heading_source(at_s) == "cog" else None
    ground_s, water_s = own.ground.age_s(at_s), own.water.age_s(at_s)
    is_water = water_s is not None and (ground_s is None or ground_s > own.settings.speed_max_age_s)
    return (
        _health(own.heading, at_s, needs_heading, stand_in),
        _health(own.position, at_s, needs_position),
        _health(own.water if is_water else own.ground, at_s, needs_speed),
    )


class SensorWatch:
    """Tells once what own sensors do not show of themselves.

    That a receiver without satellites goes on by dead reckoning: its positions look like any others. And that what is
    heard cannot be used, where nothing else takes its place.
    """

    def __init__(self) -> None:
        self._told = FixQuality.SATELLITE
        self._changing: tuple[FixQuality, float] | None = None  # to what, since when
        self._unused_since: dict[str, tuple[str, float]] = {}
        self._told_unused: dict[str, str] = {}

    def see(self, at_s: float, own: Picture) -> list[str]:
        """What to tell the watch at this moment, of what has lasted for SENSOR_HOLD_S. Once a second of data time."""
        told = self._fix_told(at_s, own)
        in_use = {"heading": own.heading_source(at_s) not in (None, "cog"), "position": own.fix(at_s) is not None}
        unused = [self._unused_told(at_s, what, own, in_use[what]) for what in own.unused]
        return [text for text in (told, *unused) if text]

    def _unused_told(self, at_s: float, what: str, own: Picture, in_use: bool) -> str | None:
        heard_s, why = own.unused[what]
        if in_use or at_s - heard_s > SENSOR_HOLD_S:
            self._unused_since.pop(what, None)
            return None
        since = self._unused_since.get(what)
        if since is None or since[0] != why:
            since = self._unused_since[what] = (why, at_s)
        if at_s - since[1] < SENSOR_HOLD_S or self._told_unused.get(what) == why:
            return None
        self._told_unused[what] = why
        return f"own {what} is not used: {why}"

    def _fix_told(self, at_s: float, own: Picture) -> str | None:
        fix = own.fix(at_s)
        if fix is None or fix.quality is self._told:
            self._changing = None
            return None
        if self._changing is None or self._changing[0] is not fix.quality:
            self._changing = (fix.quality, at_s)
        if at_s - self._changing[1] < SENSOR_HOLD_S:
            return None
        self._told, self._changing = fix.quality, None
        if fix.quality is FixQuality.SATELLITE:
            return f"own position is by satellite again ({fix.source})"
        return f"own position is not by satellite: {fix.quality.value} ({fix.source})"


class CrowdWatch:
    """Tells when there are more radar targets than can be held, and again each half hour while that is so."""

    def __init__(self) -> None:
        self._counted = 0
        self._told_s = float("-inf")

    def see(self, at_s: float, targets: Targets) -> str | None:
        """What to tell the watch at this moment. Once a second of data time."""
        is_crowded, self._counted = targets.crowded_out > self._counted, targets.crowded_out
        if not is_crowded or at_s - self._told_s < CROWD_AGAIN_S:
            return None
        self._told_s = at_s
        return (
            f"more radar targets than the {targets.capacity} that can be held: the others are not plotted and raise no "
            "alert; capacity under [alerts.radar_capacity] says how many your set tracks"
        )


def radar_event(moment: Moment, settings: RadarSettings) -> Radar:
    """The picture's settings and marks as an event."""
    first, second = settings.marks
    return Radar(
        time=moment.time,
        range_scale_nm=settings.range_scale_nm,
        orientation=settings.orientation,
        ebl_1_deg=first.bearing_deg,
        vrm_1_nm=first.range_nm,
        ebl_2_deg=second.bearing_deg,
        vrm_2_nm=second.range_nm,
        cursor_range_nm=settings.cursor.range_nm,
        cursor_bearing_deg=settings.cursor.bearing_deg,
    )


def _health(choice: Choice[Any], at_s: float, needed: bool = False, stand_in: str | None = None) -> SensorHealth:
    source = choice.source
    return SensorHealth(
        age_s=choice.age_s(at_s),
        source=str(source) if source else None,
        feed=source.feed if source else None,
        needed=needed,
        stand_in=stand_in,
    )


def _tenths(seconds: float | None) -> float | None:
    return None if seconds is None else round(seconds, 1)


def _angle(degrees: float | None) -> float | None:
    return None if degrees is None else round(degrees, 1) % 360.0
