"""A scenario: what happens, as it is written in a TOML file. Types, units, bounds and meanings; nothing is done here.

docs/exercises.md is made from these types, so the descriptions are what a writer of scenarios reads. Times in a
scenario are minutes from its start; a file may give a UTC time of day ("10:42" or "10:42:30") in their stead.
"""

from datetime import datetime
from typing import Annotated, Literal

from msgspec import Meta, Struct, field

from parsers.observations import Orientation

Degrees = Annotated[float, Meta(ge=0, lt=360)]
Minutes = Annotated[float, Meta(ge=0, le=20160)]  # a fortnight
NotNegative = Annotated[float, Meta(ge=0, le=100_000)]  # whatever the unit, more is no error of a sensor
Offset = Annotated[float, Meta(ge=-100_000, le=100_000)]
Share = Annotated[float, Meta(ge=0, le=1)]
Speed = Annotated[float, Meta(ge=-10, le=100)]
Number = Annotated[int, Meta(ge=0, le=999)]
Talker = Annotated[str, Meta(pattern="^[A-Z][A-Z0-9]$")]
Text = Annotated[str, Meta(max_length=60)]


class Table(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What all tables of a scenario share: frozen, and a key that is not known is an error."""


# ------------------------------------------------------------------------------------------------- vessels


class Leg(Table, frozen=True, kw_only=True):
    """An alteration of course, of speed, or of both. What is left out stays as it was."""

    at_min: Annotated[Minutes, Meta(description="when the alteration begins")] = field(name="at")
    course_deg: Annotated[Degrees | None, Meta(description="new course, true")] = None
    speed_kn: Annotated[Speed | None, Meta(description="new speed; negative: astern")] = None
    turn: Annotated[Literal["shorter", "port", "starboard"], Meta(description="which way to turn")] = "shorter"
    turn_rate_deg_min: Annotated[float, Meta(gt=0, le=3600, description="rate of turn")] = 90.0
    speed_rate_kn_min: Annotated[float, Meta(gt=0, le=600, description="change of speed in a minute")] = 6.0


class Span(Table, frozen=True, kw_only=True):
    """A stretch of time."""

    from_min: Annotated[Minutes, Meta(description="from")] = field(name="from")
    until_min: Annotated[Minutes, Meta(description="until")] = field(name="until")


class OwnShip(Table, frozen=True, kw_only=True):
    """Own ship. Courses are headings steered and speeds are through the water: leeway and stream come on top."""

    name: Annotated[Text, Meta(description="an invented name")] = ""
    course_deg: Annotated[Degrees, Meta(description="heading steered at the start, true")]
    speed_kn: Annotated[Speed, Meta(description="speed through the water at the start")]
    legs: Annotated[tuple[Leg, ...], Meta(description="alterations, in order of time")] = ()
    leeway_deg: Annotated[
        float, Meta(ge=-30, le=30, description="track through the water less heading; positive: pushed to starboard")
    ] = 0.0
    yaw_deg: Annotated[float, Meta(ge=0, le=45, description="largest swing of the heading about the course")] = 0.0
    yaw_period_s: Annotated[float, Meta(ge=2, le=120, description="main period of the yaw")] = 9.0
    roll_deg: Annotated[float, Meta(ge=0, le=40, description="largest angle of roll, for radar bearing errors")] = 0.0
    roll_period_s: Annotated[float, Meta(ge=1, le=60, description="period of the roll")] = 5.0
    mmsi: Annotated[
        Annotated[int, Meta(ge=1, le=999999999)] | None, Meta(description="own MMSI; with it VDO is sent each 10 s")
    ] = None


class TidalStream(Table, frozen=True, kw_only=True):
    """One stream for the whole area and time."""

    set_deg: Annotated[Degrees, Meta(description="direction toward which it runs, true")] = 0.0
    drift_kn: Annotated[float, Meta(ge=0, le=15, description="its speed")] = 0.0


class Meeting(Table, frozen=True, kw_only=True):
    """A target placed by how it meets us: its CPA, when, on which side, and either its course or where it comes from.

    Own ship's motion is that at the time of CPA. Where two courses answer (a target slower than us), the one that
    closes faster is taken.
    """

    cpa_nm: Annotated[float, Meta(ge=0, le=24, description="distance at CPA")]
    at_min: Annotated[Minutes, Meta(description="time of CPA")] = field(name="at")
    passes: Annotated[
        Literal["ahead", "astern", "to port", "to starboard"],
        Meta(description="crosses our heading line ahead or astern of us; or where it bears at CPA"),
    ] = "ahead"
    from_bearing_deg: Annotated[Degrees | None, Meta(description="true bearing of it at `seen`")] = None
    from_relative_deg: Annotated[
        Annotated[float, Meta(ge=-180, le=180)] | None,
        Meta(description="bearing of it at `seen` off the bow; starboard positive, port negative"),
    ] = None
    seen_min: Annotated[Minutes, Meta(description="when it bears so")] = field(name="seen", default=0.0)


class Ais(Table, frozen=True, kw_only=True):
    """A target's AIS. Reporting intervals are those of ITU-R M.1371 for its class and speed unless one is given."""

    mmsi: Annotated[int, Meta(ge=1, le=999999999, description="invented; use country code 999 or your own")]
    station: Annotated[Literal["A", "B"], Meta(description="class of the station")] = "A"
    name: Annotated[Annotated[str, Meta(max_length=20)], Meta(description="as sent; empty: the target's own")] = ""
    ship_type: Annotated[int, Meta(ge=0, le=99, description="type of ship, as coded in AIS")] = 70
    interval_s: Annotated[Annotated[float, Meta(gt=0, le=600)] | None, Meta(description="between position reports")] = (
        None
    )
    delay_s: Annotated[float, Meta(ge=0, le=60, description="age of the data when it arrives")] = 0.2
    delay_spread_s: Annotated[float, Meta(ge=0, le=60, description="evenly spread extra age, up to this")] = 0.5
    loss: Annotated[Share, Meta(description="share of reports that never arrive")] = 0.0
    error_m: Annotated[NotNegative, Meta(description="its position error, sd, wandering over minutes")] = 4.0
    offset_east_m: Annotated[Offset, Meta(description="constant error of its position, east")] = 0.0
    offset_north_m: Annotated[Offset, Meta(description="constant error of its position, north")] = 0.0
    heading: Annotated[bool, Meta(description="sends a heading")] = True


class Target(Table, frozen=True, kw_only=True):
    """A vessel, a buoy, a rock. Placed by `meets`, by range and bearing from us at the start, or by position."""

    name: Annotated[Text, Meta(description="an invented name, by which faults and marks refer to it")]
    course_deg: Annotated[Degrees | None, Meta(description="course at the start, true; `meets` may find it")] = None
    speed_kn: Annotated[Speed, Meta(description="speed at the start")] = 0.0
    over: Annotated[
        Literal["ground", "water"], Meta(description="what its courses and speeds are measured against")
    ] = "ground"
    legs: Annotated[tuple[Leg, ...], Meta(description="alterations, in order of time")] = ()
    meets: Annotated[Meeting | None, Meta(description="placed by its meeting with us")] = None
    range_nm: Annotated[Annotated[float, Meta(ge=0, le=96)] | None, Meta(description="range from us at the start")] = (
        None
    )
    bearing_deg: Annotated[Degrees | None, Meta(description="true bearing from us at the start")] = None
    relative_deg: Annotated[
        Annotated[float, Meta(ge=-180, le=180)] | None, Meta(description="bearing off our bow at the start")
    ] = None
    lat_deg: Annotated[Annotated[float, Meta(ge=-85, le=85)] | None, Meta(description="latitude at the start")] = None
    lon_deg: Annotated[Annotated[float, Meta(ge=-180, le=180)] | None, Meta(description="longitude at the start")] = (
        None
    )
    length_m: Annotated[float, Meta(gt=0, le=500, description="length: scales glint; sent in AIS")] = 50.0
    number: Annotated[
        Number | None, Meta(description="always this target number; else the lowest that is free, from 1")
    ] = None
    tracked: Annotated[bool, Meta(description="the set tracks it; if not it gives no sentence of its own")] = True
    acquire_min: Annotated[Minutes, Meta(description="when it is acquired, if it is seen then")] = field(
        name="acquire", default=0.0
    )
    drop_min: Annotated[
        Minutes | None, Meta(description="when the operator cancels its tracking; no 'lost' is sent")
    ] = field(name="drop", default=None)
    acquisition: Annotated[Literal["automatic", "manual"], Meta(description="how it is acquired")] = "automatic"
    unseen: Annotated[tuple[Span, ...], Meta(description="times in which it gives no echo")] = ()
    detection: Annotated[Share | None, Meta(description="chance of an echo at each scan; else the radar's")] = None
    clutter: Annotated[bool, Meta(description="no vessel but a false track; the truth says so")] = False
    ais: Annotated[Ais | None, Meta(description="its AIS, if it has one")] = None


# ------------------------------------------------------------------------------------------------- sensors


class Failure(Table, frozen=True, kw_only=True):
    """A sensor's failure in time."""

    from_min: Annotated[Minutes, Meta(description="from")] = field(name="from")
    until_min: Annotated[Minutes, Meta(description="until")] = field(name="until")
    how: Annotated[
        Literal["silent", "null", "frozen", "offset"],
        Meta(description="no sentences; null fields and status 'not valid'; the last value again; a wrong value"),
    ] = "silent"
    offset: Annotated[
        Offset, Meta(description="with 'offset': added (degrees for a heading, knots for a speed, NM north)")
    ] = 0.0


class HeadingSensor(Table, frozen=True, kw_only=True):
    """The compass."""

    sentences: Annotated[
        tuple[Literal["HDT", "THS", "HDG", "HDM", "ROT"], ...], Meta(min_length=1, description="what it sends")
    ] = ("HDT",)
    talker: Annotated[Talker, Meta(description="talker")] = "HE"
    rate_hz: Annotated[float, Meta(gt=0, le=50, description="sentences of each kind in a second")] = 10.0
    noise_deg: Annotated[NotNegative, Meta(description="error of each value, sd")] = 0.1
    wander_deg: Annotated[NotNegative, Meta(description="slow error, sd, with a time constant of a minute")] = 0.0
    bias_deg: Annotated[float, Meta(ge=-180, le=180, description="constant error")] = 0.0
    delay_s: Annotated[float, Meta(ge=0, le=10, description="age of the heading when it is sent")] = 0.0
    decimals: Annotated[int, Meta(ge=0, le=3, description="decimals sent")] = 1
    failures: Annotated[tuple[Failure, ...], Meta(description="failures in time")] = ()


class PositionSensor(Table, frozen=True, kw_only=True):
    """The satellite receiver: position, speed and course over ground, time."""

    sentences: Annotated[
        tuple[Literal["RMC", "GGA", "GLL", "GNS", "VTG", "ZDA"], ...], Meta(min_length=1, description="what it sends")
    ] = ("RMC", "GGA")
    talker: Annotated[Talker, Meta(description="talker")] = "GP"
    rate_hz: Annotated[float, Meta(gt=0, le=20, description="sentences of each kind in a second")] = 1.0
    noise_m: Annotated[NotNegative, Meta(description="position error in each axis, sd, wandering over a minute")] = 2.0
    speed_noise_kn: Annotated[NotNegative, Meta(description="error of each velocity in each axis, sd")] = 0.05
    offset_east_m: Annotated[Offset, Meta(description="constant error of the position, east")] = 0.0
    offset_north_m: Annotated[Offset, Meta(description="constant error of the position, north")] = 0.0
    delay_s: Annotated[float, Meta(ge=0, le=10, description="from the time in the sentence to its arrival")] = 0.15
    failures: Annotated[tuple[Failure, ...], Meta(description="failures in time")] = ()


class SpeedSensor(Table, frozen=True, kw_only=True):
    """The log: speed along the keel, through the water, or over the ground where it sees the bottom."""

    sentences: Annotated[tuple[Literal["VHW", "VBW"], ...], Meta(min_length=1, description="what it sends")] = ("VHW",)
    talker: Annotated[Talker, Meta(description="talker")] = "VW"
    rate_hz: Annotated[float, Meta(gt=0, le=20, description="sentences of each kind in a second")] = 1.0
    noise_kn: Annotated[NotNegative, Meta(description="error of each value, sd")] = 0.05
    bias_kn: Annotated[float, Meta(ge=-20, le=20, description="constant error")] = 0.0
    factor: Annotated[float, Meta(ge=0, le=10, description="reads this many times the true speed")] = 1.0
    reference: Annotated[
        Literal["water", "ground"], Meta(description="what it measures against; over the ground only VBW can tell it")
    ] = "water"
    delay_s: Annotated[float, Meta(ge=0, le=10, description="age of the speed when it is sent")] = 0.0
    failures: Annotated[tuple[Failure, ...], Meta(description="failures in time")] = ()


class Sensors(Table, frozen=True, kw_only=True):
    """Own ship's sensors; one that is left out is not there."""

    heading: Annotated[HeadingSensor | None, Meta(description="the compass")] = None
    position: Annotated[PositionSensor | None, Meta(description="the satellite receiver")] = None
    speed: Annotated[SpeedSensor | None, Meta(description="the log")] = None


# --------------------------------------------------------------------------------------------------- radar


class RadarErrors(Table, frozen=True, kw_only=True):
    """Errors of one measurement. The second block is the budget of A.823(19) appendix 3; see its values in docs."""

    range_noise_m: Annotated[NotNegative, Meta(description="white range error, sd")] = 0.0
    range_noise_scale_percent: Annotated[
        NotNegative, Meta(description="white range error in per cent of the range scale in use, sd")
    ] = 0.0
    bearing_noise_deg: Annotated[NotNegative, Meta(description="white bearing error, sd")] = 0.0
    range_bias_m: Annotated[Offset, Meta(description="constant range error")] = 0.0
    bearing_bias_deg: Annotated[float, Meta(ge=-180, le=180, description="constant bearing error")] = 0.0
    glint_along_m: Annotated[NotNegative, Meta(description="glint along a target of 200 m, sd")] = 0.0
    glint_across_m: Annotated[NotNegative, Meta(description="glint across a target of 200 m, sd")] = 0.0
    beam_shape_deg: Annotated[NotNegative, Meta(description="beam shape, sd")] = 0.0
    pulse_shape_m: Annotated[NotNegative, Meta(description="pulse shape, sd")] = 0.0
    backlash_deg: Annotated[NotNegative, Meta(description="antenna backlash, evenly within plus and minus")] = 0.0
    encoder_deg: Annotated[NotNegative, Meta(description="bearing encoder, sd")] = 0.0
    bearing_quantum_deg: Annotated[NotNegative, Meta(description="bearing is rounded to this; 0: not")] = 0.0
    range_quantum_nm: Annotated[NotNegative, Meta(description="range is rounded to this; 0: not")] = 0.0


SMALL_SET_ERRORS = RadarErrors(range_noise_m=20.0, bearing_noise_deg=0.5)
"""A small craft's set in good order: within 30 m and 1 degree (MSC.192(79) 5.2 as the reference has it)."""

A823_ERRORS = RadarErrors(
    glint_along_m=30.0,
    glint_across_m=1.0,
    beam_shape_deg=0.05,
    pulse_shape_m=20.0,
    backlash_deg=0.05,
    encoder_deg=0.03,
    bearing_quantum_deg=0.1,
    range_quantum_nm=0.01,
)
"""A.823(19) appendix 3; glint from 33 CFR 164.38 appendix A annex 3. Roll comes from own ship's `roll_deg`."""


class RadarInputs(Table, frozen=True, kw_only=True):
    """What the set itself is fed with. Its own answers come from these, so a wrong input makes a wrong answer."""

    heading: Annotated[
        Literal["sensor", "none"], Meta(description="the compass above, or no heading: bearings are then relative")
    ] = "sensor"
    heading_bias_deg: Annotated[float, Meta(ge=-180, le=180, description="extra error on the way to the set")] = 0.0
    heading_delay_s: Annotated[float, Meta(ge=0, le=10, description="extra age on the way to the set")] = 0.0
    speed: Annotated[
        Literal["log", "ground", "manual"],
        Meta(description="speed through the water; course and speed over ground; or typed in"),
    ] = "log"
    manual_speed_kn: Annotated[Speed, Meta(description="the speed typed in")] = 0.0
    speed_bias_kn: Annotated[float, Meta(ge=-50, le=50, description="extra error, ahead positive")] = 0.0
    speed_factor: Annotated[float, Meta(ge=-10, le=10, description="extra factor")] = 1.0


class ScaleChange(Table, frozen=True, kw_only=True):
    """A change of range scale."""

    at_min: Annotated[Minutes, Meta(description="when")] = field(name="at")
    range_scale_nm: Annotated[float, Meta(gt=0, le=96, description="the new scale")]


class RadarFault(Table, frozen=True, kw_only=True):
    """A fault of the set in time."""

    kind: Annotated[
        Literal["swap", "repeat", "silent", "duplicate"],
        Meta(
            description="two targets exchange their numbers; old measurements under new times; no target sentences; "
            "the target is sent under a second number (that of `number`) as well"
        ),
    ]
    from_min: Annotated[Minutes, Meta(description="from")] = field(name="from")
    until_min: Annotated[Minutes | None, Meta(description="until; left out: to the end")] = field(
        name="until", default=None
    )
    targets: Annotated[tuple[Text, ...], Meta(description="names of the targets; none: all")] = ()
    number: Annotated[Number | None, Meta(description="with 'duplicate': the second number")] = None


class Radar(Table, frozen=True, kw_only=True):
    """The set: what it measures, how it tracks, what it says."""

    talker: Annotated[Talker, Meta(description="talker")] = "RA"
    sentences: Annotated[
        tuple[Literal["TTM", "TLL", "TTD", "TLB"], ...], Meta(description="what it sends of targets")
    ] = ("TTM",)
    scan_s: Annotated[float, Meta(ge=0.2, le=20, description="time of one turn of the antenna")] = 2.5
    report_interval_s: Annotated[
        Annotated[float, Meta(gt=0, le=60)] | None,
        Meta(description="between reports of a target; shorter than a scan it repeats; left out: each scan"),
    ] = None
    report_order: Annotated[
        Literal["as swept", "burst", "in turn"],
        Meta(description="as the antenna passes it; all at once; one line at a time, evenly spread"),
    ] = "as swept"
    report_delay_s: Annotated[float, Meta(ge=0, le=10, description="from measurement to sentence, at least")] = 0.1
    bearing: Annotated[Literal["true", "relative"], Meta(description="reference of reported bearings")] = "true"
    orientation: Annotated[Orientation, Meta(description="how the picture is turned")] = Orientation.NORTH_UP
    units: Annotated[Literal["N", "K", "S"], Meta(description="nautical miles, kilometres, statute miles")] = "N"
    ttm_fields: Annotated[Literal[13, 15], Meta(description="form of TTM: 2.x has 13 fields, 3.0 has 15")] = 15
    time_of_data: Annotated[bool, Meta(description="TTM gives the time of its data")] = True
    range_scale_nm: Annotated[float, Meta(gt=0, le=96, description="range scale at the start")] = 6.0
    scale_changes: Annotated[tuple[ScaleChange, ...], Meta(description="changes of range scale")] = ()
    blank_scans: Annotated[int, Meta(ge=0, le=100, description="scans without an echo after such a change")] = 2
    min_range_nm: Annotated[NotNegative, Meta(description="nearer than this there is no echo")] = 0.02
    max_range_nm: Annotated[float, Meta(gt=0, le=96, description="farther than this there is no echo")] = 24.0
    capacity: Annotated[int, Meta(ge=1, le=1000, description="most targets tracked at once")] = 100
    first_number: Annotated[Number, Meta(description="lowest target number given out")] = 1
    detection: Annotated[Share, Meta(description="chance of an echo at each scan")] = 1.0
    acquisition_s: Annotated[NotNegative, Meta(description="status Q lasts so long")] = 20.0
    acquiring_fields: Annotated[
        Literal["null", "zero", "cpa only", "placeholder"],
        Meta(
            description="what stands in speed, course, CPA and TCPA meanwhile: nothing; zeros; a CPA alone; "
            "speed 0.0, a course that means nothing and a TCPA of millions of minutes"
        ),
    ] = "null"
    missed: Annotated[
        Literal["predicted", "nothing"], Meta(description="what it reports after a scan without an echo")
    ] = "predicted"
    lost_after_scans: Annotated[int, Meta(ge=1, le=1000, description="missed in a row: lost")] = 10
    lost_reports: Annotated[int, Meta(ge=0, le=100, description="reports with status L then sent")] = 3
    alpha: Annotated[float, Meta(gt=0, le=1, description="the tracker's gain on position, once settled")] = 0.1
    beta: Annotated[float, Meta(gt=0, le=2, description="its gain on velocity, once settled")] = 0.0053
    reports: Annotated[
        Literal["measured", "smoothed"], Meta(description="range and bearing as measured, or as the tracker has them")
    ] = "measured"
    rsd_interval_s: Annotated[float, Meta(ge=0, le=3600, description="between RSD; 0: none")] = 10.0
    osd_interval_s: Annotated[float, Meta(ge=0, le=3600, description="between OSD; 0: none")] = 0.0
    errors: Annotated[
        RadarErrors | Literal["small set", "A.823(19)", "none"],
        Meta(description="errors: a table, or one of the sets of them described in docs/exercises.md"),
    ] = "small set"
    inputs: Annotated[RadarInputs, Meta(description="what the set is fed with")] = field(default_factory=RadarInputs)
    faults: Annotated[tuple[RadarFault, ...], Meta(description="faults in time")] = ()


class Mark(Table, frozen=True, kw_only=True):
    """EBL and VRM (or the cursor) as the operator lays them, told by RSD until the next mark of that kind."""

    at_min: Annotated[Minutes, Meta(description="when it is laid")] = field(name="at")
    which: Annotated[Literal["1", "2", "cursor"], Meta(description="which EBL and VRM, or the cursor")] = "1"
    target: Annotated[Text | None, Meta(description="laid on this target's echo")] = None
    range_nm: Annotated[Annotated[float, Meta(ge=0, le=96)] | None, Meta(description="or at this range")] = None
    bearing_deg: Annotated[Degrees | None, Meta(description="and this bearing, as the set shows it")] = None
    range_error_nm: Annotated[NotNegative, Meta(description="how well it is laid, sd")] = 0.01
    bearing_error_deg: Annotated[NotNegative, Meta(description="how well it is laid, sd")] = 0.5
    parts: Annotated[Literal["both", "ebl", "vrm"], Meta(description="what is laid")] = "both"


class Note(Table, frozen=True, kw_only=True):
    """A note by the watchkeeper, sent as TXT of talker U0."""

    at_min: Annotated[Minutes, Meta(description="when it is written")] = field(name="at")
    text: Annotated[Annotated[str, Meta(min_length=1, max_length=55)], Meta(description="what it says")]


class Line(Table, frozen=True, kw_only=True):
    """The serial line that carries it all."""

    baud: Annotated[int, Meta(ge=300, le=921600, description="speed; ten bits a character")] = 38400


class Place(Table, frozen=True, kw_only=True):
    """Where it happens."""

    name: Annotated[str, Meta(max_length=120, description="an invented place, said to be one")] = ""
    lat_deg: Annotated[float, Meta(ge=-80, le=80, description="latitude of own ship at the start, north positive")]
    lon_deg: Annotated[float, Meta(ge=-180, le=180, description="longitude of own ship at the start")]
    variation_deg: Annotated[
        Annotated[float, Meta(ge=-180, le=180)] | None,
        Meta(description="magnetic variation, east positive; left out: nobody sends it, and it is 0"),
    ] = None


class Scenario(Table, frozen=True, kw_only=True):
    """A whole exercise."""

    title: Annotated[str, Meta(min_length=1, max_length=120, description="its name")]
    about: Annotated[str, Meta(max_length=4000, description="what it shows, and that it is invented")] = ""
    seed: Annotated[int, Meta(ge=0, le=2**63 - 1, description="the same seed gives the same bytes")] = 1
    start: Annotated[datetime, Meta(tz=True, description="date and time of the start, with Z or an offset")]
    duration_min: Annotated[float, Meta(gt=0, le=20160, description="how long it lasts")]
    truth_interval_s: Annotated[float, Meta(gt=0, le=3600, description="between records of the truth")] = 10.0
    place: Annotated[Place, Meta(description="where it happens")]
    line: Annotated[Line, Meta(description="the serial line")] = field(default_factory=Line)
    own_ship: Annotated[OwnShip, Meta(description="own ship")]
    tidal_stream: Annotated[TidalStream, Meta(description="the stream")] = field(default_factory=TidalStream)
    sensors: Annotated[Sensors, Meta(description="own ship's sensors")] = field(default_factory=Sensors)
    radar: Annotated[Radar | None, Meta(description="the radar; left out: there is none")] = None
    targets: Annotated[tuple[Target, ...], Meta(max_length=2500, description="all other vessels and marks")] = ()
    marks: Annotated[tuple[Mark, ...], Meta(description="EBL, VRM and cursor")] = ()
    notes: Annotated[tuple[Note, ...], Meta(description="the watchkeeper's notes")] = ()

    @property
    def start_ms(self) -> int:
        """UNIX milliseconds of the start."""
        return round(self.start.timestamp() * 1000)

    @property
    def duration_s(self) -> float:
        return self.duration_min * 60.0
