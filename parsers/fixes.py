"""Own ship's positions, date and time: RMC, GGA, GLL, GNS, DTM, ZDA. (Headings, speeds and depth are in `own_ship`.)

Readers work as those of `own_ship`: what a sentence marks as not valid gives nothing, and is no refusal.
"""

from parsers.definitions import Fields
from parsers.numbers import (
    Reading,
    day_start_ms,
    ddmmyy_start_ms,
    optional,
    optional_angle,
    optional_time,
    position,
    time_of_day,
    whole,
)
from parsers.observations import (
    DateAndTime,
    Datum,
    FixQuality,
    GroundMotion,
    Observation,
    Position,
    TimeOfDay,
    Variation,
)
from parsers.text import clean
from parsers.validity import MODES, TOP_SPEED_KN, east_positive, is_valid, quality_of

Observations = tuple[Observation, ...]

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

RMC = Fields(
    "RMC", "timestamp", "status", "lat", "lat_dir", "lon", "lon_dir", "spd_over_grnd", "true_course", "datestamp",
    "mag_variation", "mag_var_dir", "mode_indicator",
)  # fmt: skip


def rmc(fields: list[str], reading: Reading) -> Observations:
    """Position, motion, date and variation. Valid by status A and a mode that is not N.

    The navigational status (field 13) is not asked: ordinary receivers send V, "no such status", with every good fix.
    """
    time, status, lat, ns, lon, ew, sog, cog, date, variation, variation_ew, mode = RMC.pick(fields)
    if not is_valid(status):
        return ()
    quality = quality_of(MODES, mode)
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
        east_deg = east_positive(variation, variation_ew, 180.0, reading, "variation")
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
    """A fix and its time of day; quality 0 or null gives nothing."""
    time, lat, ns, lon, ew, gps_quality, hdop = GGA.pick(fields)
    quality = quality_of(_GGA_QUALITIES, gps_quality)
    if quality is None:
        return ()
    return _fix(position(lat, ns, lon, ew), time, quality, hdop, reading)


GLL = Fields("GLL", "lat", "lat_dir", "lon", "lon_dir", "timestamp", "status", "faa_mode")


def gll(fields: list[str], reading: Reading) -> Observations:
    """The oldest form ends after the position, with nothing that could say "not valid"; it is taken."""
    lat, ns, lon, ew, time, status, mode = GLL.pick(fields)
    oldest = not time and not status and not mode
    if not oldest and not is_valid(status):
        return ()
    quality = quality_of(MODES, mode)
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
    qualities = {quality_of(MODES, letter) for letter in modes}
    for quality in (FixQuality.SATELLITE, FixQuality.DEAD_RECKONING, FixQuality.MANUAL, FixQuality.SIMULATOR):
        if quality in qualities:
            return _fix(position(lat, ns, lon, ew), time, quality, hdop, reading)
    return ()


DTM = Fields("DTM", "datum", "subd_datum")


def dtm(fields: list[str], reading: Reading) -> Observations:
    """The datum of this source's positions, with its subdivision."""
    datum, subdivision = DTM.pick(fields)
    name = clean(datum + subdivision)
    return (Datum(at_s=reading.at_s, source=reading.source, datum=name),) if name else ()


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
