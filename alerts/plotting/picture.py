"""Own ship as known at each moment: which sensor is used, how old it is, and when it is too old.

Own ship's place is kept by dead reckoning in a plane fixed to the ground (or to the water, where no ground motion is
known): see kinematics.py. Positions in latitude and longitude are carried beside it and are not needed for CPA.
"""

from collections.abc import Callable
from math import cos, degrees, hypot, radians, sin
from typing import Annotated, Any

from msgspec import Meta, Struct

from alerts.plotting.geodesy import radii_nm
from alerts.plotting.kinematics import OwnMotion
from alerts.plotting.sources import Choice
from parsers.observations import (
    Datum,
    FixQuality,
    GroundMotion,
    Heading,
    LongitudinalGroundSpeed,
    MotionReference,
    Observation,
    Position,
    RateOfTurn,
    Reference,
    SetAndDrift,
    Variation,
    WaterMotion,
)

Age = Annotated[float, Meta(gt=0, le=300)]


class OwnShipSettings(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How own-ship data is chosen and when it is too old. Ages in seconds."""

    heading_max_age_s: Annotated[Age, Meta(description="a heading older than this is not used")] = 5.0
    position_max_age_s: Annotated[Age, Meta(description="a position older than this is not used")] = 15.0
    speed_max_age_s: Annotated[Age, Meta(description="a course and speed older than this is not used")] = 15.0
    fallback_s: Annotated[Age, Meta(description="a source silent for this long gives way to the next best")] = 3.0
    return_s: Annotated[Age, Meta(description="a better source must be back this long before it is used")] = 10.0
    variation_deg: Annotated[
        float | None, Meta(description="magnetic variation, east positive, where no sentence gives it")
    ] = None
    cog_stands_in: Annotated[
        bool, Meta(description="use course over ground as heading where there is no heading sensor")
    ] = True
    cog_min_speed_kn: Annotated[
        float, Meta(ge=0.5, le=20, description="course over ground stands in only above this speed")
    ] = 2.0
    leeway_sd_deg: Annotated[
        float, Meta(ge=0, le=30, description="how far (one sigma) heading may be from course over ground")
    ] = 5.0
    yaw_sd_deg: Annotated[
        float, Meta(ge=0, le=30, description="how far (one sigma) the bow may swing where no heading is known")
    ] = 3.0


HEADING_SD_DEG = 0.5
"""A gyro or satellite compass, one sigma about its bias: half the static limit of MSC.116(73) 4.3.2."""

MAGNETIC_SD_DEG = 1.5
"""A fluxgate on a small vessel, one sigma (common practice, no source)."""

GROUND_SD_KN, WATER_SD_KN = 0.15, 0.5
"""Velocity errors: satellite speed to a count or two of 0.1 kn; a log by 33 CFR 164.40 (0.5 kn)."""

LONGEST_REACH_S = 1.5
"""How far a heading is carried on with its rate of turn: beyond that the last value stands."""

TIDE_MAX_AGE_S = 600.0
"""A set and drift is typed in now and then and sent with every OSD."""

STOPPED_KN = 0.3
"""Below this a satellite receiver's course is noise (common practice, no source)."""

# Lower is better. What to believe for true heading: common practice, no source.
_HEADING_RANK = {"THS": 0, "HDT": 1, "VHW": 3, "OSD": 2, "HDG": 4, "HDM": 6}
_GROUND_RANK = {"RMC": 0, "VTG": 1, "OSD": 2, "VBW": 3}
_WATER_RANK = {"VHW": 0, "VBW": 1, "OSD": 2}
_POSITION_RANK = {"GNS": 0, "RMC": 1, "GGA": 2, "GLL": 3}
_LAST = 9


class _TrueHeading(Struct, frozen=True, gc=False):
    heading_deg: float
    sd_deg: float


class _Velocity(Struct, frozen=True, gc=False):
    east_kn: float
    north_kn: float
    speed_kn: float
    course_deg: float | None


class OwnShip:
    """The running picture of own ship. Observations go in; `motion(at_s)` says where and how she goes."""

    def __init__(self, settings: OwnShipSettings | None = None) -> None:
        self.settings = s = settings or OwnShipSettings()
        self.heading: Choice[_TrueHeading] = Choice(s.fallback_s, s.return_s)
        self.position: Choice[Position] = Choice(s.fallback_s, s.return_s)
        self.ground: Choice[_Velocity] = Choice(s.fallback_s, s.return_s)
        self.water: Choice[WaterMotion] = Choice(s.fallback_s, s.return_s)
        self.stream: Choice[SetAndDrift] = Choice(60.0)
        self.turn: Choice[float] = Choice(s.fallback_s, s.return_s)
        self._variation: Choice[float] = Choice(600.0)
        self._datums: dict[str, str] = {}
        self.unused: dict[str, tuple[float, str]] = {}  # heading, position: heard when, and why it can't be used
        self._last_heading: tuple[float, float] | None = None  # at_s, degrees
        self._swing_deg_s = 0.0
        self._east_nm = self._north_nm = 0.0
        self._reckoned_s: float | None = None
        self._reckoned: tuple[float, float, MotionReference] = (0.0, 0.0, MotionReference.UNKNOWN)

    def take(self, observation: Observation) -> None:
        """Takes one own-ship observation in; others are not for this room and are passed over."""
        taker = _TAKERS.get(type(observation))
        if taker is not None:
            taker(self, observation)

    # ------------------------------------------------------------------------------------------ what is known

    def motion(self, at_s: float) -> OwnMotion:
        """Own ship at a moment not before the last observation."""
        east_kn, north_kn, frame = self._velocity(at_s)
        hours = 0.0 if self._reckoned_s is None else max(0.0, at_s - self._reckoned_s) / 3600.0
        old_east_kn, old_north_kn, _ = self._reckoned
        if frame is MotionReference.UNKNOWN:
            hours = 0.0  # a place that went on while the velocity says zero would put own speed into every target's
        heading_deg, heading_sd_deg = self.true_heading(at_s)
        return OwnMotion(
            at_s,
            self._east_nm + old_east_kn * hours,
            self._north_nm + old_north_kn * hours,
            east_kn,
            north_kn,
            GROUND_SD_KN if frame is MotionReference.GROUND else WATER_SD_KN,
            frame,
            heading_deg,
            heading_sd_deg,
            self._turn_rate(at_s),
        )

    def true_heading(self, at_s: float) -> tuple[float | None, float]:
        """True heading, carried on with the rate of turn, or course over ground in its stead; and its sd."""
        sensed = self.heading.value(at_s, self.settings.heading_max_age_s)
        if sensed is not None and self.heading.reading is not None:
            reach_s = min(max(0.0, at_s - self.heading.reading.at_s), LONGEST_REACH_S)
            return (sensed.heading_deg + self._swing_deg_s * reach_s) % 360.0, sensed.sd_deg
        course = self._standing_in(at_s)
        return course, self.settings.leeway_sd_deg if course is not None else 180.0

    def heading_source(self, at_s: float) -> str | None:
        """The sentence that gives the heading, `cog` where course over ground stands in, or None."""
        if self.heading.value(at_s, self.settings.heading_max_age_s) is not None:
            return str(self.heading.source)
        return "cog" if self._standing_in(at_s) is not None else None

    def ground_velocity(self, at_s: float) -> _Velocity | None:
        return self.ground.value(at_s, self.settings.speed_max_age_s)

    def water_speed(self, at_s: float) -> WaterMotion | None:
        return self.water.value(at_s, self.settings.speed_max_age_s)

    def tide(self, at_s: float) -> SetAndDrift | None:
        """The tidal stream as entered or measured on board."""
        return self.stream.value(at_s, TIDE_MAX_AGE_S)

    def fix(self, at_s: float) -> Position | None:
        return self.position.value(at_s, self.settings.position_max_age_s)

    def place(self, at_s: float) -> tuple[float, float] | None:
        """Own latitude and longitude now: the last fix carried on by own velocity since. None without a fresh fix."""
        fix = self.fix(at_s)
        if fix is None:
            return None
        east_kn, north_kn, _ = self._velocity(at_s)
        hours = max(0.0, at_s - fix.at_s) / 3600.0
        meridian_nm, prime_vertical_nm = radii_nm(fix.lat_deg)
        across_nm = prime_vertical_nm * max(cos(radians(fix.lat_deg)), 1e-6)
        return (
            fix.lat_deg + degrees(north_kn * hours / meridian_nm),
            (fix.lon_deg + degrees(east_kn * hours / across_nm) + 180.0) % 360.0 - 180.0,
        )

    def utc_second(self, at_s: float) -> float | None:
        """The second of the UTC minute now, by the time of the fix in use; None where the fix does not tell it."""
        fix = self.fix(at_s)
        if fix is None or fix.time_of_day_s is None:
            return None
        return (fix.time_of_day_s + at_s - fix.at_s) % 60.0

    # ------------------------------------------------------------------------------------------- taking it in

    def _take_heading(self, seen: Heading) -> None:
        rank = _HEADING_RANK.get(seen.source.formatter, _LAST) + (_LAST if seen.estimated else 0)
        true_deg, sd_deg = seen.heading_deg, HEADING_SD_DEG
        if seen.reference is Reference.MAGNETIC:
            variation_deg = seen.variation_deg if seen.variation_deg is not None else self._known_variation(seen.at_s)
            if variation_deg is None:
                why = f"{seen.source} gives a magnetic heading, and no variation is known"
                self.unused["heading"] = (seen.at_s, why)
                return
            true_deg, sd_deg = (seen.heading_deg + variation_deg) % 360.0, MAGNETIC_SD_DEG
        if self.heading.take(seen.at_s, seen.source, rank, _TrueHeading(true_deg, sd_deg)):
            self._learn_swing(seen.at_s, true_deg)
            self._reckon(seen.at_s)

    def _learn_swing(self, at_s: float, heading_deg: float) -> None:
        last = self._last_heading
        if last is not None and 0.02 <= at_s - last[0] <= 2.5:
            swing = ((heading_deg - last[1] + 180.0) % 360.0 - 180.0) / (at_s - last[0])
            self._swing_deg_s = swing if abs(swing) < 30.0 else 0.0
        elif last is not None and at_s - last[0] > 2.5:
            self._swing_deg_s = 0.0
        if last is None or at_s - last[0] >= 0.02:
            self._last_heading = (at_s, heading_deg)

    def _take_variation(self, seen: Variation) -> None:
        self._variation.take(seen.at_s, seen.source, 0, seen.variation_deg)

    def _known_variation(self, at_s: float) -> float | None:
        sent = self._variation.value(at_s, 86400.0)
        return sent if sent is not None else self.settings.variation_deg

    def _take_position(self, seen: Position) -> None:
        rank = _POSITION_RANK.get(seen.source.formatter, _LAST)
        rank += _LAST if seen.quality is not FixQuality.SATELLITE else 0
        datum = self._datums.get(seen.source.feed, "W84")
        if datum != "W84":
            self.unused["position"] = (seen.at_s, f"{seen.source} gives positions on datum {datum}, not on WGS-84")
            return
        self.position.take(seen.at_s, seen.source, rank, seen)

    def _take_datum(self, seen: Datum) -> None:
        if len(self._datums) < 64 or seen.source.feed in self._datums:
            self._datums[seen.source.feed] = seen.datum

    def _take_ground(self, seen: GroundMotion) -> None:
        if seen.sog_kn is None or (seen.cog_deg is None and seen.sog_kn > STOPPED_KN):
            return
        made_good_kn = seen.sog_kn if seen.cog_deg is not None else 0.0
        course_rad = radians(seen.cog_deg or 0.0)
        velocity = _Velocity(made_good_kn * sin(course_rad), made_good_kn * cos(course_rad), made_good_kn, seen.cog_deg)
        rank = _GROUND_RANK.get(seen.source.formatter, _LAST)
        rank += _LAST if seen.reference in (MotionReference.MANUAL, MotionReference.UNKNOWN) else 0
        if self.ground.take(seen.at_s, seen.source, rank, velocity):
            self._reckon(seen.at_s)

    def _take_ground_log(self, seen: LongitudinalGroundSpeed) -> None:
        heading_deg, _ = self.true_heading(seen.at_s)
        if heading_deg is None:
            return
        east_kn, north_kn = _along_and_athwart(seen.ahead_kn, seen.athwart_kn or 0.0, heading_deg)
        velocity = _Velocity(east_kn, north_kn, hypot(east_kn, north_kn), None)
        if self.ground.take(seen.at_s, seen.source, _GROUND_RANK["VBW"], velocity):
            self._reckon(seen.at_s)

    def _take_water(self, seen: WaterMotion) -> None:
        if seen.stw_kn is None:
            return
        if self.water.take(seen.at_s, seen.source, _WATER_RANK.get(seen.source.formatter, _LAST), seen):
            self._reckon(seen.at_s)

    def _take_stream(self, seen: SetAndDrift) -> None:
        self.stream.take(seen.at_s, seen.source, 0, seen)

    def _take_turn(self, seen: RateOfTurn) -> None:
        self.turn.take(seen.at_s, seen.source, 0, seen.rate_deg_min)

    # ------------------------------------------------------------------------------------------ dead reckoning

    def _reckon(self, at_s: float) -> None:
        """Carries own ship's place on to now with the mean of the old and the new velocity.

        It stands still from the last reckoning on where no velocity is known, as `motion` has it.
        """
        east_kn, north_kn, frame = self._velocity(at_s)
        is_known = frame is not MotionReference.UNKNOWN
        if is_known and self._reckoned_s is not None and at_s > self._reckoned_s:
            old_east_kn, old_north_kn, old_frame = self._reckoned
            hours = (at_s - self._reckoned_s) / 3600.0
            new_east_kn, new_north_kn = (east_kn, north_kn) if frame is old_frame else (old_east_kn, old_north_kn)
            self._east_nm += 0.5 * (old_east_kn + new_east_kn) * hours
            self._north_nm += 0.5 * (old_north_kn + new_north_kn) * hours
        self._reckoned_s = at_s if self._reckoned_s is None else max(at_s, self._reckoned_s)
        self._reckoned = (east_kn, north_kn, frame)

    def _velocity(self, at_s: float) -> tuple[float, float, MotionReference]:
        ground = self.ground_velocity(at_s)
        if ground is not None:
            return ground.east_kn, ground.north_kn, MotionReference.GROUND
        water = self.water_speed(at_s)
        sensed = self.heading.value(at_s, self.settings.heading_max_age_s)
        if water is not None and water.stw_kn is not None and sensed is not None:
            east_kn, north_kn = _along_and_athwart(water.stw_kn, water.athwart_kn or 0.0, sensed.heading_deg)
            stream = self.tide(at_s)
            if stream is None:
                return east_kn, north_kn, MotionReference.WATER
            set_rad = radians(stream.set_deg)
            return (
                east_kn + stream.drift_kn * sin(set_rad),
                north_kn + stream.drift_kn * cos(set_rad),
                MotionReference.GROUND,
            )
        return 0.0, 0.0, MotionReference.UNKNOWN

    def _standing_in(self, at_s: float) -> float | None:
        ground = self.ground_velocity(at_s)
        if not self.settings.cog_stands_in or ground is None or ground.speed_kn < self.settings.cog_min_speed_kn:
            return None
        return ground.course_deg

    def _turn_rate(self, at_s: float) -> float | None:
        sent = self.turn.value(at_s, self.settings.heading_max_age_s)
        if sent is not None:
            return sent
        sensed = self.heading.value(at_s, self.settings.heading_max_age_s)
        return None if sensed is None else self._swing_deg_s * 60.0


def _along_and_athwart(ahead_kn: float, athwart_kn: float, heading_deg: float) -> tuple[float, float]:
    """Own axes (ahead, to starboard) to east and north."""
    heading_rad = radians(heading_deg)
    return (
        ahead_kn * sin(heading_rad) + athwart_kn * cos(heading_rad),
        ahead_kn * cos(heading_rad) - athwart_kn * sin(heading_rad),
    )


_TAKERS: dict[type[Observation], Callable[[OwnShip, Any], None]] = {
    Heading: OwnShip._take_heading,
    Variation: OwnShip._take_variation,
    Position: OwnShip._take_position,
    Datum: OwnShip._take_datum,
    GroundMotion: OwnShip._take_ground,
    LongitudinalGroundSpeed: OwnShip._take_ground_log,
    WaterMotion: OwnShip._take_water,
    SetAndDrift: OwnShip._take_stream,
    RateOfTurn: OwnShip._take_turn,
}
