"""Own-ship sentences: headings, speeds, depth. (Positions, date and time are in `fixes`.)

Each reader takes the fields (padded to its width) and answers with observations. What a sentence marks as not valid
gives none, and is no refusal. The fields without which the sentence says nothing are read strictly (`number`), all
others leniently (`optional`); docs/sentences.md lists them.
"""

from parsers.definitions import Fields
from parsers.numbers import (
    Reading,
    angle,
    number,
    optional,
    optional_angle,
    signed,
)
from parsers.observations import (
    NM_M,
    Depth,
    GroundMotion,
    Heading,
    LongitudinalGroundSpeed,
    Observation,
    RateOfTurn,
    Reference,
    SetAndDrift,
    Variation,
    WaterMotion,
)
from parsers.sentence import RefusalError, RefusalReason, shown
from parsers.validity import MODES, TOP_SPEED_KN, east_positive, is_valid, quality_of

Observations = tuple[Observation, ...]

_FT_M = 0.3048
_KN_PER_KM_H = 1000.0 / NM_M

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
    if quality_of(MODES, mode) is None:
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
    if is_valid(water_status):
        ahead_kn = number(water, -TOP_SPEED_KN, TOP_SPEED_KN)
        athwart_kn = optional(water_athwart, -TOP_SPEED_KN, TOP_SPEED_KN, reading, "athwart speed")
        if ahead_kn is not None:
            found.append(WaterMotion(at_s=at_s, source=source, stw_kn=ahead_kn, athwart_kn=athwart_kn))
    if is_valid(ground_status):
        ahead_kn = number(ground, -TOP_SPEED_KN, TOP_SPEED_KN)
        athwart_kn = optional(ground_athwart, -TOP_SPEED_KN, TOP_SPEED_KN, reading, "athwart speed")
        if ahead_kn is not None:
            found.append(LongitudinalGroundSpeed(at_s=at_s, source=source, ahead_kn=ahead_kn, athwart_kn=athwart_kn))
    return tuple(found)


VDR = Fields("VDR", "deg_t", "current")


def vdr(fields: list[str], reading: Reading) -> Observations:
    """Set in degrees true and drift in knots."""
    set_to, drift = VDR.pick(fields)
    set_deg, drift_kn = angle(set_to), number(drift, 0.0, TOP_SPEED_KN)
    if set_deg is None or drift_kn is None:
        return ()
    return (SetAndDrift(at_s=reading.at_s, source=reading.source, set_deg=set_deg, drift_kn=drift_kn),)


# ------------------------------------------------------------------------------------------------- heading

HDT = Fields("HDT", "heading", "hdg_true")


def hdt(fields: list[str], reading: Reading) -> Observations:
    """Heading in degrees true. RefusalError for another reference than T."""
    heading, letter = HDT.pick(fields)
    if letter not in ("T", ""):
        raise RefusalError(RefusalReason.FLAG_UNKNOWN, f"heading reference {shown(letter)}")
    heading_deg = angle(heading)
    if heading_deg is None:
        return ()
    return (Heading(reading.at_s, reading.source, heading_deg),)


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
    variation_deg = east_positive(variation, variation_ew, 180.0, reading, "variation")
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
    """Magnetic heading in degrees. RefusalError for another reference than M."""
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
    if not is_valid(status):
        return ()
    rate_deg_min = number(rate, -3600.0, 3600.0)
    if rate_deg_min is None:
        return ()
    return (RateOfTurn(at_s=reading.at_s, source=reading.source, rate_deg_min=rate_deg_min),)


# ---------------------------------------------------------------------------------------------------- depth

DEEPEST_M = 12_000.0

DPT = Fields("DPT", "depth", "offset")


def dpt(fields: list[str], reading: Reading) -> Observations:
    """Depth below the transducer in metres, with the offset where it makes sense."""
    depth, offset = DPT.pick(fields)
    depth_m = number(depth, 0.0, DEEPEST_M)
    if depth_m is None:
        return ()
    offset_m = optional(offset, -100.0, 100.0, reading, "offset")
    return (Depth(at_s=reading.at_s, source=reading.source, depth_m=depth_m, offset_m=offset_m),)


DBT = Fields("DBT", "depth_feet", "depth_meters")


def dbt(fields: list[str], reading: Reading) -> Observations:
    """Depth below the transducer in metres, from feet where metres are null."""
    feet, metres = DBT.pick(fields)
    depth_m = number(metres, 0.0, DEEPEST_M)
    if depth_m is None:
        depth_ft = number(feet, 0.0, DEEPEST_M / _FT_M)
        if depth_ft is None:
            return ()
        depth_m = depth_ft * _FT_M
    return (Depth(at_s=reading.at_s, source=reading.source, depth_m=depth_m),)
