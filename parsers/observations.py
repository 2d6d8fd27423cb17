"""The vocabulary: what a sentence says, in typed values with units.

Every decoder in this wing returns these types and nothing else. All are frozen and slotted.

Rules for this file:

- A value that a sentence leaves out, or marks as not valid, is None. It is never 0.0 and never NaN.
- Every number is finite and in range; a decoder refuses a sentence that holds another.
- Units stand in the names. Ranges are nautical miles (1852 m), speeds knots, angles degrees, whatever unit the
  sentence used. Bearings, headings and courses are in [0, 360).
- `at_s` is the stream's own time: seconds on a clock that never jumps, given to the decoder with the line. Ages and
  motion are worked out from it alone. A time that the sentence itself claims is kept apart (`time_of_day_s`).
"""

from enum import Enum, StrEnum

from msgspec import Struct

NM_M = 1852.0
"""Metres in a nautical mile, exact by definition (SI brochure)."""


class Source(Struct, frozen=True, order=True):
    """Where an observation came from: the feed's name and the sentence's address, e.g. radar, RA, TTM."""

    feed: str
    talker: str
    formatter: str

    def __str__(self) -> str:
        return f"{self.feed}/{self.talker}{self.formatter}"


class Reference(StrEnum):
    """What an angle is counted from."""

    TRUE = "true"
    MAGNETIC = "magnetic"
    RELATIVE = "relative"  # from own bow


class MotionReference(StrEnum):
    """What a course and speed are measured against."""

    GROUND = "ground"
    WATER = "water"
    MANUAL = "manual"  # typed in, or a simulator
    RADAR = "radar"  # against a fixed radar target
    UNKNOWN = "unknown"


class TargetStatus(StrEnum):
    """What the set says of its own tracking (TTM field 12, TTD status)."""

    ACQUIRING = "acquiring"
    TRACKING = "tracking"
    LOST = "lost"


class Acquisition(StrEnum):
    """How the set came to track a target (TTM field 15)."""

    AUTOMATIC = "automatic"
    MANUAL = "manual"
    REPORTED = "reported"  # passed on from elsewhere, AIS for instance


class Orientation(StrEnum):
    """How the picture is turned (RSD field 13)."""

    HEAD_UP = "head-up"
    NORTH_UP = "north-up"
    COURSE_UP = "course-up"


class FixQuality(Enum):
    """How a position was made, from GGA quality or the mode letters of other sentences."""

    SATELLITE = "satellite"
    DEAD_RECKONING = "dead reckoning"
    MANUAL = "manual"
    SIMULATOR = "simulator"


class Observation(Struct, frozen=True, gc=False):
    """What all observations share.

    Types that come with every other line may be made by position, in the order of their fields: by keyword a report of
    a target takes ten times as long (1.5 us for 0.13, measured).
    """

    at_s: float
    source: Source


# ---------------------------------------------------------------------------------------------- own ship


class Heading(Observation, frozen=True, gc=False):
    """Own heading (HDT, THS, HDG, HDM, VHW, OSD).

    A magnetic heading is as the sensor gave it, deviation applied where the sentence carries it. `variation_deg` is
    the sentence's own, east positive.
    """

    heading_deg: float
    reference: Reference = Reference.TRUE
    variation_deg: float | None = None
    estimated: bool = False  # THS mode E, M or S


class Variation(Observation, frozen=True, kw_only=True, gc=False):
    """Magnetic variation, east positive (RMC, or HDG where it stands without a heading)."""

    variation_deg: float


class Position(Observation, frozen=True, kw_only=True, gc=False):
    """A valid position (RMC, GGA, GLL, GNS), WGS-84 unless a DTM of the same source says otherwise."""

    lat_deg: float
    lon_deg: float
    time_of_day_s: float | None = None
    quality: FixQuality = FixQuality.SATELLITE
    hdop: float | None = None


class GroundMotion(Observation, frozen=True, kw_only=True, gc=False):
    """Speed and course over ground (RMC, VTG, OSD, VBW). Course is None when stopped; either may be missing."""

    sog_kn: float | None
    cog_deg: float | None
    time_of_day_s: float | None = None
    reference: MotionReference = MotionReference.GROUND


class WaterMotion(Observation, frozen=True, kw_only=True, gc=False):
    """Speed through the water (VHW, VBW, OSD): along the keel, ahead positive; athwart, starboard positive.

    `course_deg` is the course through the water where the sentence gives one (OSD), true.
    """

    stw_kn: float | None
    athwart_kn: float | None = None
    course_deg: float | None = None


class LongitudinalGroundSpeed(Observation, frozen=True, kw_only=True, gc=False):
    """Speed over ground in own ship's axes (VBW): ahead and to starboard positive."""

    ahead_kn: float
    athwart_kn: float | None = None


class RateOfTurn(Observation, frozen=True, kw_only=True, gc=False):
    """Rate of turn (ROT), degrees a minute, to starboard positive."""

    rate_deg_min: float


class SetAndDrift(Observation, frozen=True, kw_only=True, gc=False):
    """The tidal stream as entered or measured on board (OSD fields 7 and 8, VDR): sets toward, true."""

    set_deg: float
    drift_kn: float


class DateAndTime(Observation, frozen=True, kw_only=True, gc=False):
    """Date and time in UTC as the instrument claims it (RMC, ZDA): UNIX milliseconds."""

    utc_ms: int


class TimeOfDay(Observation, frozen=True, kw_only=True, gc=False):
    """A time of day in UTC without a date (GGA, GLL, GNS): seconds since midnight, 86400 and over at a leap second."""

    time_of_day_s: float


class Depth(Observation, frozen=True, kw_only=True, gc=False):
    """Depth below the transducer in metres (DPT, DBT); `offset_m` to the waterline (positive) or keel (negative)."""

    depth_m: float
    offset_m: float | None = None


class Datum(Observation, frozen=True, kw_only=True, gc=False):
    """The datum of this source's positions (DTM). Only W84 may be used with no correction."""

    datum: str


# ------------------------------------------------------------------------------------------------- targets


class TargetReport(Observation, frozen=True, gc=False):
    """One tracked target as the set reports it (TTM, TTD; TLL where it says "lost" and no position).

    `range_nm` and `bearing_deg` are the measurement. Course, speed, CPA and TCPA are the set's own answer: they are
    held against ours and never used to make it. A target that is being acquired or is lost may carry junk in them.
    `motion_reference` is UNKNOWN for TTM, which has no field for it.
    """

    number: int
    range_nm: float | None
    bearing_deg: float | None
    bearing_reference: Reference = Reference.TRUE
    speed_kn: float | None = None
    course_deg: float | None = None
    course_reference: Reference = Reference.TRUE
    motion_reference: MotionReference = MotionReference.UNKNOWN
    cpa_nm: float | None = None
    tcpa_min: float | None = None
    name: str = ""
    status: TargetStatus | None = None
    is_reference: bool = False
    time_of_day_s: float | None = None
    acquisition: Acquisition | None = None
    correlation: int | None = None  # TTD: the number that joins a radar and an AIS target
    is_test: bool = False


class TargetPrediction(Observation, frozen=True, kw_only=True, gc=False):
    """The set's CPA and TCPA for a numbered target, sent apart from its position (TTD structure 1)."""

    number: int
    cpa_nm: float | None
    tcpa_min: float | None


class TargetPosition(Observation, frozen=True, kw_only=True, gc=False):
    """A target's position (TLL). With no number it is a mark on the picture with no track behind it."""

    number: int | None
    lat_deg: float
    lon_deg: float
    name: str = ""
    status: TargetStatus | None = None
    is_reference: bool = False
    time_of_day_s: float | None = None


class TargetLabel(Observation, frozen=True, kw_only=True, gc=False):
    """The label of a numbered target (TLB). None: no common label."""

    number: int
    label: str | None


# --------------------------------------------------------------------------------------------------- radar


class RangeAndBearing(Struct, frozen=True, gc=False):
    """A mark on the picture: either part may be missing. The bearing is as the set shows it (see RadarSettings)."""

    range_nm: float | None
    bearing_deg: float | None


class RadarSettings(Observation, frozen=True, kw_only=True, gc=False):
    """The picture's settings and marks (RSD). `marks` are the two EBL/VRM pairs, each from its own origin."""

    range_scale_nm: float | None
    orientation: Orientation | None
    marks: tuple[RangeAndBearing, RangeAndBearing]
    origins: tuple[RangeAndBearing, RangeAndBearing]
    cursor: RangeAndBearing


# ----------------------------------------------------------------------------------------------------- AIS


class AisClass(StrEnum):
    """What kind of AIS station it is, by message type and MMSI."""

    A = "class A"
    B = "class B"
    LONG_RANGE = "long range"
    AID = "aid to navigation"
    BASE = "base station"
    SART = "AIS-SART"
    MOB = "man overboard"
    EPIRB = "EPIRB-AIS"
    AIRCRAFT = "SAR aircraft"


class AisPosition(Observation, frozen=True, kw_only=True, gc=False):
    """A dynamic AIS report (types 1, 2, 3, 9, 18, 19, 21, 27). `second` is the report's UTC second, 0 to 59."""

    mmsi: int
    station: AisClass
    lat_deg: float
    lon_deg: float
    high_accuracy: bool = False
    sog_kn: float | None = None
    cog_deg: float | None = None
    heading_deg: float | None = None
    rate_deg_min: float | None = None
    navigational_status: int | None = None
    second: int | None = None
    message_type: int = 0


class AisStatic(Observation, frozen=True, kw_only=True, gc=False):
    """Static AIS data (types 5, 19, 21, 24); None where this part does not carry it."""

    mmsi: int
    name: str | None = None
    call_sign: str | None = None
    ship_type: int | None = None
    length_m: float | None = None
    beam_m: float | None = None


class AisDistress(Observation, frozen=True, kw_only=True, gc=False):
    """A distress transmitter that does not know its place (yet): it is switched on, and that is told."""

    mmsi: int
    station: AisClass
    navigational_status: int | None = None


class AisOwnShip(Observation, frozen=True, kw_only=True, gc=False):
    """Own ship's MMSI, learnt from VDO."""

    mmsi: int


# -------------------------------------------------------------------------------------------------- alerts


class AlertCommand(Observation, frozen=True, kw_only=True, gc=False):
    """A command from outside to one alert or all: `acknowledge`, `silence`, `request` or `transfer`.

    Of ACN: an `identifier` of 0 means all alerts, an `instance` of 0 or None all of that kind. Of the older ACK:
    `identifier` is the number that ALR gave, 0 for all, and there is no instance.
    """

    command: str
    identifier: int
    instance: int | None = None
    mnemonic: str = ""


# ------------------------------------------------------------------------------------------------- carriage


class Note(Observation, frozen=True, kw_only=True, gc=False):
    """A note carried in the data (TAG block `t:`, or TXT of a talker U0 to U9). `author` says so, for a person."""

    text: str
    author: str = ""
