"""Own-ship sentences: positions, headings, speeds, time, depth.

Each reader takes the fields (padded to its width) and answers with observations. What a sentence marks as not valid
gives none, and is no refusal. The fields without which the sentence says nothing are read strictly (`number`), all
others leniently (`optional`); docs/sentences.md lists them.
"""

from parsers.definitions import Fields
from parsers.numbers import (
    Reading,
    angle,
    day_start_ms,
    ddmmyy_start_ms,
    number,
    optional,
    optional_angle,
    optional_time,
    position,
    signed,
    time_of_day,
    whole,
)
from parsers.observations import (
    NM_M,
    DateAndTime,
    Datum,
    Depth,
    FixQuality,
    GroundMotion,
    Heading,
    LongitudinalGroundSpeed,
    Observation,
    Position,
    RateOfTurn,
    Reference,
    SetAndDrift,
    TimeOfDay,
    Variation,
    WaterMotion,
)
from parsers.sentence import RefusalError, RefusalReason, shown
from parsers.text import clean

Observations = tuple[Observation, ...]

TOP_SPEED_KN = 200.0
"""No vessel is faster; sets write 999.9 for a speed that they do not know."""

_FT_M = 0.3048
_KN_PER_KM_H = 1000.0 / NM_M

# Mode letters of RMC, GLL, VTG and GNS (2.3 and later). A null mode is of an older sentence: the status decides.
_MODES: dict[str, FixQuality | None] = {
    "": FixQuality.SATELLITE,
    "A": FixQuality.SATELLITE,
    "D": FixQuality.SATELLITE,
    "P": FixQuality.SATELLITE,
    "R": FixQuality.SATELLITE,
    "F": FixQuality.SATELLITE,
    "E": FixQuality.DEAD_RECKONING,
    "M": FixQuality.MANUAL,
    "S": FixQuality.SIMULATOR,
    "N": None,
}

_GGA_QUALITIES: dict[str, FixQuality | None] = {
    "": None,
    "0": None,
    "1": FixQuality.SATELLITE,
    "2": FixQuality.SATELLITE,
    "3": FixQuality.SATELLITE,
    "4": FixQuality.SATELLITE,
    "5": FixQuality.SATELLITE,
    "6": FixQuality.DEAD_RECKONING,
    "7": FixQuality.MANUAL,
    "8": FixQuality.SIMULATOR,
}


def _quality(table: dict[str, FixQuality | None], letter: str) -> FixQuality | None:
    """How the values were made; None where they are marked as not valid."""
    try:
        return table[letter]
    except KeyError:
        raise RefusalError(RefusalReason.FLAG_UNKNOWN, f"mode or quality {shown(letter)}") from None


def _valid(status: str) -> bool:
    """A is valid. V is not, and neither is a null where a status belongs."""
    if status == "A":
        return True
    if status in ("V", ""):
        return False
    raise RefusalError(RefusalReason.FLAG_UNKNOWN, f"status {shown(status)}")


def _optional_signed(text: str, letter: str, limit: float, reading: Reading, name: str) -> float | None:
    """An angle with E or W beside it, east positive; None and an oddity where either makes no sense."""
    value = optional(text, 0.0, limit, reading, name)
    try:
        return signed(value, letter, "E", "W")
    except RefusalError:
        reading.odd(f"{name} direction unknown")
        return None


# ------------------------------------------------------------------------------------------------- positions

RMC = Fields(
    "RMC", "timestamp", "status", "lat", "lat_dir", "lon", "lon_dir", "spd_over_grnd", "true_course", "datestamp",
    "mag_variation", "mag_var_dir", "mode_indicator",
)  # fmt: skip


def rmc(fields: list[str], reading: Reading) -> Observations:
    """Position, motion, date and variation. Valid by status A and a mode that is not N.

    The navigational status (field 13) is not asked: ordinary receivers send V, "no such status", with every good fix.
    """
    time, status, lat, ns, lon, ew, sog, cog, date, variation, variation_ew, mode = RMC.pick(fields)
    if not _valid(status):
        return ()
    quality = _quality(_MODES, mode)
    if quality is None:
        return ()
    at_s, source = reading.at_s, reading.source
    place = position(lat, ns, lon, ew)
    time_s = optional_time(time, reading)
    found: list[Observation] = []
    if place is None:
        reading.odd("position missing though valid")
    else:
        found.append(
            Position(
                at_s=at_s, source=source, lat_deg=place[0], lon_deg=place[1], time_of_day_s=time_s, quality=quality
            )
        )
    sog_kn = optional(sog, 0.0, TOP_SPEED_KN, reading, "speed")
    cog_deg = optional_angle(cog, reading, "course")
    if sog_kn is not None or cog_deg is not None:
        found.append(GroundMotion(at_s=at_s, source=source, sog_kn=sog_kn, cog_deg=cog_deg, time_of_day_s=time_s))
    if date and time_s is not None:
        found.extend(_date_and_time(ddmmyy_start_ms(date), time_s, reading))
    if variation:
        east_deg = _optional_signed(variation, variation_ew, 180.0, reading, "variation")
        if east_deg is not None:
            found.append(Variation(at_s=at_s, source=source, variation_deg=east_deg))
    return tuple(found)


def _date_and_time(day_ms: int | None, time_s: float, reading: Reading) -> Observations:
    if day_ms is None:
        reading.odd("date malformed")
        return ()
    return (DateAndTime(at_s=reading.at_s, source=reading.source, utc_ms=day_ms + round(time_s * 1000.0)),)


def _fix(
    place: tuple[float, float] | None, time: str, quality: FixQuality, hdop: str, reading: Reading
) -> Observations:
    """A position and its time of day, from a sentence without a date."""
    time_s = optional_time(time, reading)
    at_s, source = reading.at_s, reading.source
    clock = () if time_s is None else (TimeOfDay(at_s=at_s, source=source, time_of_day_s=time_s),)
    if place is None:
        reading.odd("position missing though valid")
        return clock
    lat_deg, lon_deg = place
    hdop_value = optional(hdop, 0.0, 1000.0, reading, "hdop")
    fix = Position(
        at_s=at_s,
        source=source,
        lat_deg=lat_deg,
        lon_deg=lon_deg,
        time_of_day_s=time_s,
        quality=quality,
        hdop=hdop_value,
    )
    return (fix, *clock)


GGA = Fields("GGA", "timestamp", "lat", "lat_dir", "lon", "lon_dir", "gps_qual", "horizontal_dil")


def gga(fields: list[str], reading: Reading) -> Observations:
    time, lat, ns, lon, ew, gps_quality, hdop = GGA.pick(fields)
    quality = _quality(_GGA_QUALITIES, gps_quality)
    if quality is None:
        return ()
    return _fix(position(lat, ns, lon, ew), time, quality, hdop, reading)


GLL = Fields("GLL", "lat", "lat_dir", "lon", "lon_dir", "timestamp", "status", "faa_mode")


def gll(fields: list[str], reading: Reading) -> Observations:
    """The oldest form ends after the position, with nothing that could say "not valid"; it is taken."""
    lat, ns, lon, ew, time, status, mode = GLL.pick(fields)
    oldest = not time and not status and not mode
    if not oldest and not _valid(status):
        return ()
    quality = _quality(_MODES, mode)
    if quality is None:
        return ()
    place = position(lat, ns, lon, ew)
    if place is None and oldest:
        return ()
    return _fix(place, time, quality, "", reading)


GNS = Fields("GNS", "timestamp", "lat", "lat_dir", "lon", "lon_dir", "mode", "hdop")


def gns(fields: list[str], reading: Reading) -> Observations:
    """One mode letter a constellation; valid when any is not N, and as good as the best of them."""
    time, lat, ns, lon, ew, modes, hdop = GNS.pick(fields)
    qualities = {_quality(_MODES, letter) for letter in modes}
    for quality in (FixQuality.SATELLITE, FixQuality.DEAD_RECKONING, FixQuality.MANUAL, FixQuality.SIMULATOR):
        if quality in qualities:
            return _fix(position(lat, ns, lon, ew), time, quality, hdop, reading)
    return ()


DTM = Fields("DTM", "datum", "subd_datum")


def dtm(fields: list[str], reading: Reading) -> Observations:
    datum, subdivision = DTM.pick(fields)
    name = clean(datum + subdivision)
    return (Datum(at_s=reading.at_s, source=reading.source, datum=name),) if name else ()


# ---------------------------------------------------------------------------------------- course and speed

VTG = Fields(
    "VTG", "true_track", "true_track_sym", "mag_track", "spd_over_grnd_kts", "spd_over_grnd_kmph", "faa_mode"
)  # fmt: skip


def vtg(fields: list[str], reading: Reading) -> Observations:
    """Course and speed over ground. The oldest form is four bare numbers: true, magnetic, knots, km/h."""
    cog, symbol, third, knots, km_h, mode = VTG.pick(fields)
    if symbol not in ("T", ""):
        if symbol.strip("0123456789."):
            raise RefusalError(RefusalReason.FLAG_UNKNOWN, f"course reference {shown(symbol)}")
        knots, km_h, mode = third, fields[4], ""
    if _quality(_MODES, mode) is None:
        return ()
    sog_kn = _knots(knots, km_h, 0.0)
    cog_deg = angle(cog)
    if sog_kn is None and cog_deg is None:
        return ()
    return (GroundMotion(at_s=reading.at_s, source=reading.source, sog_kn=sog_kn, cog_deg=cog_deg),)


def _knots(knots: str, km_h: str, low: float) -> float | None:
    """Knots, from km/h where the knots are null."""
    value = number(knots, low, TOP_SPEED_KN)
    if value is None:
        value = number(km_h, low, TOP_SPEED_KN / _KN_PER_KM_H)
        if value is not None:
            value *= _KN_PER_KM_H
    return value


VHW = Fields("VHW", "heading_true", "heading_magnetic", "knots", "km_h")


def vhw(fields: list[str], reading: Reading) -> Observations:
    """Speed through the water, and a heading where there is one: the true one, else the magnetic.

    The speed may be slightly negative when the vessel lies still.
    """
    true, magnetic, knots, km_h = VHW.pick(fields)
    at_s, source = reading.at_s, reading.source
    found: list[Observation] = []
    heading_deg = optional_angle(true, reading, "heading")
    reference = Reference.TRUE
    if heading_deg is None:
        heading_deg = optional_angle(magnetic, reading, "heading")
        reference = Reference.MAGNETIC
    if heading_deg is not None:
        found.append(Heading(at_s=at_s, source=source, heading_deg=heading_deg, reference=reference))
    stw_kn = _knots(knots, km_h, -TOP_SPEED_KN)
    if stw_kn is not None:
        found.append(WaterMotion(at_s=at_s, source=source, stw_kn=stw_kn))
    return tuple(found)


VBW = Fields(
    "VBW", "water_ahead", "water_athwart", "water_status", "ground_ahead", "ground_athwart", "ground_status"
)  # fmt: skip


def vbw(fields: list[str], reading: Reading) -> Observations:
    """Speeds along and athwart the keel, through the water and over ground, each with its own status."""
    water, water_athwart, water_status, ground, ground_athwart, ground_status = VBW.pick(fields)
    at_s, source = reading.at_s, reading.source
    found: list[Observation] = []
    if _valid(water_status):
        ahead_kn = number(water, -TOP_SPEED_KN, TOP_SPEED_KN)
        athwart_kn = optional(water_athwart, -TOP_SPEED_KN, TOP_SPEED_KN, reading, "athwart speed")
        if ahead_kn is not None:
            found.append(WaterMotion(at_s=at_s, source=source, stw_kn=ahead_kn, athwart_kn=athwart_kn))
    if _valid(ground_status):
        ahead_kn = number(ground, -TOP_SPEED_KN, TOP_SPEED_KN)
        athwart_kn = optional(ground_athwart, -TOP_SPEED_KN, TOP_SPEED_KN, reading, "athwart speed")
        if ahead_kn is not None:
            found.append(LongitudinalGroundSpeed(at_s=at_s, source=source, ahead_kn=ahead_kn, athwart_kn=athwart_kn))
    return tuple(found)


VDR = Fields("VDR", "deg_t", "current")


def vdr(fields: list[str], reading: Reading) -> Observations:
    set_to, drift = VDR.pick(fields)
    set_deg, drift_kn = angle(set_to), number(drift, 0.0, TOP_SPEED_KN)
    if set_deg is None or drift_kn is None:
        return ()
    return (SetAndDrift(at_s=reading.at_s, source=reading.source, set_deg=set_deg, drift_kn=drift_kn),)


# ------------------------------------------------------------------------------------------------- heading

HDT = Fields("HDT", "heading", "hdg_true")


def hdt(fields: list[str], reading: Reading) -> Observations:
    heading, letter = HDT.pick(fields)
    if letter not in ("T", ""):
        raise RefusalError(RefusalReason.FLAG_UNKNOWN, f"heading reference {shown(letter)}")
    heading_deg = angle(heading)
    if heading_deg is None:
        return ()
    return (Heading(at_s=reading.at_s, source=reading.source, heading_deg=heading_deg),)


THS = Fields("THS", "heading", "mode")


def ths(fields: list[str], reading: Reading) -> Observations:
    """Mode V may stand beside a value, which is then dropped; so is a value with no mode."""
    heading, mode = THS.pick(fields)
    if mode in ("V", ""):
        return ()
    if mode not in ("A", "E", "M", "S"):
        raise RefusalError(RefusalReason.FLAG_UNKNOWN, f"mode {shown(mode)}")
    heading_deg = angle(heading)
    if heading_deg is None:
        return ()
    return (Heading(at_s=reading.at_s, source=reading.source, heading_deg=heading_deg, estimated=mode != "A"),)


HDG = Fields("HDG", "heading", "deviation", "dev_dir", "variation", "var_dir")


def hdg(fields: list[str], reading: Reading) -> Observations:
    """Magnetic heading: the sensor's with its deviation. A deviation that makes no sense refuses the sentence."""
    heading, deviation, deviation_ew, variation, variation_ew = HDG.pick(fields)
    at_s, source = reading.at_s, reading.source
    sensor_deg = angle(heading)
    variation_deg = _optional_signed(variation, variation_ew, 180.0, reading, "variation")
    if sensor_deg is None:
        return () if variation_deg is None else (Variation(at_s=at_s, source=source, variation_deg=variation_deg),)
    deviation_deg = signed(number(deviation, 0.0, 180.0), deviation_ew, "E", "W") or 0.0
    return (
        Heading(
            at_s=at_s,
            source=source,
            heading_deg=(sensor_deg + deviation_deg) % 360.0,
            reference=Reference.MAGNETIC,
            variation_deg=variation_deg,
        ),
    )


HDM = Fields("HDM", "heading", "magnetic")


def hdm(fields: list[str], reading: Reading) -> Observations:
    heading, letter = HDM.pick(fields)
    if letter not in ("M", ""):
        raise RefusalError(RefusalReason.FLAG_UNKNOWN, f"heading reference {shown(letter)}")
    heading_deg = angle(heading)
    if heading_deg is None:
        return ()
    return (Heading(at_s=reading.at_s, source=reading.source, heading_deg=heading_deg, reference=Reference.MAGNETIC),)


ROT = Fields("ROT", "rate_of_turn", "status")


def rot(fields: list[str], reading: Reading) -> Observations:
    """Degrees a minute, to port negative. 3600 is ten turns a minute: no vessel does that."""
    rate, status = ROT.pick(fields)
    if not _valid(status):
        return ()
    rate_deg_min = number(rate, -3600.0, 3600.0)
    if rate_deg_min is None:
        return ()
    return (RateOfTurn(at_s=reading.at_s, source=reading.source, rate_deg_min=rate_deg_min),)


# -------------------------------------------------------------------------------------------- time and depth

ZDA = Fields("ZDA", "timestamp", "day", "month", "year")


def zda(fields: list[str], reading: Reading) -> Observations:
    """Date and time in UTC. The zone is not used: equipment is of two minds about its sign."""
    time, day, month, year = ZDA.pick(fields)
    time_s = time_of_day(time)
    if time_s is None:
        return ()
    date = whole(year, 1980, 2099), whole(month, 1, 12), whole(day, 1, 31)
    if None in date:
        return (TimeOfDay(at_s=reading.at_s, source=reading.source, time_of_day_s=time_s),)
    return _date_and_time(day_start_ms(*date), time_s, reading)


DEEPEST_M = 12_000.0

DPT = Fields("DPT", "depth", "offset")


def dpt(fields: list[str], reading: Reading) -> Observations:
    depth, offset = DPT.pick(fields)
    depth_m = number(depth, 0.0, DEEPEST_M)
    if depth_m is None:
        return ()
    offset_m = optional(offset, -100.0, 100.0, reading, "offset")
    return (Depth(at_s=reading.at_s, source=reading.source, depth_m=depth_m, offset_m=offset_m),)


DBT = Fields("DBT", "depth_feet", "depth_meters")


def dbt(fields: list[str], reading: Reading) -> Observations:
    feet, metres = DBT.pick(fields)
    depth_m = number(metres, 0.0, DEEPEST_M)
    if depth_m is None:
        depth_ft = number(feet, 0.0, DEEPEST_M / _FT_M)
        if depth_ft is None:
            return ()
        depth_m = depth_ft * _FT_M
    return (Depth(at_s=reading.at_s, source=reading.source, depth_m=depth_m),)
