"""Plain numbers to sentences: the way back, for exercises and for whatever else must speak NMEA 0183.

One function for each sentence. Units are those of parsers.observations: nautical miles, knots, degrees, metres,
seconds since midnight UTC. None becomes a null field, never a zero. The result has its start character and checksum
and no line end. Field lists: docs/sentences.md.

Rules for this file:

- An angle is written so that it reads back below 360: 359.97 to one decimal is 0.0.
- Nothing here looks at a clock; every time is an argument.
- Text is escaped (`^hh`), so that no name can end a field or a sentence.
"""

from collections.abc import Mapping, Sequence
from typing import Literal

from parsers.encode_numbers import (
    angle,
    clock,
    fixed,
    latitude,
    longitude,
    signed,
    with_unit,
)
from parsers.observations import NM_M, Acquisition, MotionReference, Orientation, Reference, TargetStatus
from parsers.sentence import checksum

KMH_PER_KN = NM_M / 1000.0
MPH_PER_KN = NM_M / 1609.344  # the international mile, exact

Units = Literal["N", "K", "S"]
_PER_UNIT: dict[str, float] = {"N": 1.0, "K": KMH_PER_KN, "S": MPH_PER_KN}
_RESERVED = frozenset("\r\n!$*,\\^~\x7f")

_REFERENCE = {Reference.TRUE: "T", Reference.RELATIVE: "R", Reference.MAGNETIC: "M"}
_STATUS = {TargetStatus.ACQUIRING: "Q", TargetStatus.TRACKING: "T", TargetStatus.LOST: "L", None: ""}
_ACQUISITION = {Acquisition.AUTOMATIC: "A", Acquisition.MANUAL: "M", Acquisition.REPORTED: "R", None: ""}
_ORIENTATION = {Orientation.HEAD_UP: "H", Orientation.NORTH_UP: "N", Orientation.COURSE_UP: "C", None: ""}
_MOTION = {
    MotionReference.GROUND: "P",  # the positioning system, the usual way to know it
    MotionReference.WATER: "W",
    MotionReference.MANUAL: "M",
    MotionReference.RADAR: "R",
    MotionReference.UNKNOWN: "",
}


# ------------------------------------------------------------------------------------------------ carriage


def sentence(body: str, start: str = "$") -> str:
    """`body`, which must be ASCII, between its start character and its checksum."""
    return f"{start}{body}*{checksum(body.encode('ascii')):02X}"


def tag_block(line: str, utc_ms: int, source: str) -> str:
    """The sentence behind a TAG block with its source (`RA0001`) and its UNIX time in milliseconds."""
    block = f"s:{source},c:{utc_ms}"
    return f"\\{block}*{checksum(block.encode('ascii')):02X}\\{line}"


def escape(text: str) -> str:
    """Text for a field: reserved and non-ASCII characters as `^hh` (ISO 8859-1); what that cannot hold as `?`."""
    if text.isascii() and text.isprintable() and not _RESERVED.intersection(text):
        return text
    coded = text.encode("latin-1", errors="replace").decode("latin-1")
    return "".join(f"^{ord(c):02X}" if c in _RESERVED or not 32 <= ord(c) < 127 else c for c in coded)


# ------------------------------------------------------------------------------------------------- targets


def ttm(
    number: int,
    range_nm: float | None,
    bearing_deg: float | None,
    *,
    bearing_reference: Reference = Reference.TRUE,
    speed_kn: float | None = None,
    course_deg: float | None = None,
    course_reference: Reference = Reference.TRUE,
    cpa_nm: float | None = None,
    tcpa_min: float | None = None,
    name: str = "",
    status: TargetStatus | None = TargetStatus.TRACKING,
    is_reference: bool = False,
    time_of_day_s: float | None = None,
    acquisition: Acquisition | None = Acquisition.AUTOMATIC,
    talker: str = "RA",
    units: Units = "N",
    fields: Literal[13, 15] = 15,
) -> str:
    """TTM, tracked target. Range and CPA to 0.01 of the unit, angles to 0.1°, TCPA to 0.1 min."""
    per = _PER_UNIT[units]
    body = (
        f"{talker}TTM,{number:02d},{_scaled(range_nm, per, 2)},{angle(bearing_deg)},{_REFERENCE[bearing_reference]},"
        f"{_scaled(speed_kn, per, 1)},{angle(course_deg)},{_REFERENCE[course_reference]},"
        f"{_scaled(cpa_nm, per, 2)},{fixed(tcpa_min, 1)},{units},{escape(name)},{_STATUS[status]},"
        f"{'R' if is_reference else ''}"
    )
    if fields == 15:
        body += f",{clock(time_of_day_s)},{_ACQUISITION[acquisition]}"
    return sentence(body)


def _scaled(value: float | None, per: float, decimals: int) -> str:
    return "" if value is None else fixed(value * per, decimals)


def tll(
    number: int | None,
    lat_deg: float,
    lon_deg: float,
    *,
    name: str = "",
    time_of_day_s: float | None = None,
    status: TargetStatus | None = TargetStatus.TRACKING,
    is_reference: bool = False,
    talker: str = "RA",
) -> str:
    """TLL, target position, to 0.001 of a minute. With no number: a mark on the picture."""
    return sentence(
        f"{talker}TLL,{'' if number is None else f'{number:02d}'},{latitude(lat_deg, 3)},{longitude(lon_deg, 3)},"
        f"{escape(name)},{clock(time_of_day_s)},{_STATUS[status]},{'R' if is_reference else ''}"
    )


def tlb(labels: Sequence[tuple[int, str | None]], *, talker: str = "RA") -> str:
    """TLB, target labels; None is 'no common label'."""
    pairs = ",".join(f"{number},{'' if label is None else escape(label)}" for number, label in labels)
    return sentence(f"{talker}TLB,{pairs}")


# ------------------------------------------------------------------------------------------ radar settings


def osd(
    heading_deg: float | None,
    *,
    course_deg: float | None,
    speed_kn: float | None,
    reference: MotionReference = MotionReference.WATER,
    set_deg: float | None = None,
    drift_kn: float | None = None,
    heading_valid: bool = True,
    talker: str = "RA",
    units: Units = "N",
) -> str:
    """OSD, own ship as the set has it. Course and speed are the reference's own, without set and drift."""
    per, letter = _PER_UNIT[units], _MOTION[reference]
    return sentence(
        f"{talker}OSD,{angle(heading_deg)},{'A' if heading_valid and heading_deg is not None else 'V'},"
        f"{angle(course_deg)},{letter},{_scaled(speed_kn, per, 1)},{letter},"
        f"{angle(set_deg)},{_scaled(drift_kn, per, 1)},{units}"
    )


def rsd(
    *,
    range_scale_nm: float | None,
    orientation: Orientation | None,
    mark_1: tuple[float | None, float | None] = (None, None),
    mark_2: tuple[float | None, float | None] = (None, None),
    cursor: tuple[float | None, float | None] = (None, None),
    origin_1: tuple[float | None, float | None] = (None, None),
    origin_2: tuple[float | None, float | None] = (None, None),
    talker: str = "RA",
    units: Units = "N",
) -> str:
    """RSD, radar settings. Marks (VRM, EBL), origins and cursor are (range in NM, bearing in degrees)."""
    per = _PER_UNIT[units]
    pairs = ",".join(
        f"{_scaled(pair[0], per, 2)},{angle(pair[1])}" for pair in (origin_1, mark_1, origin_2, mark_2, cursor)
    )
    scale = "" if range_scale_nm is None else f"{range_scale_nm * per:.3f}".rstrip("0").rstrip(".")
    return sentence(f"{talker}RSD,{pairs},{scale},{units},{_ORIENTATION[orientation]}")


# ------------------------------------------------------------------------------------------------ own ship


def rmc(
    time_of_day_s: float,
    date: str,
    lat_deg: float | None,
    lon_deg: float | None,
    *,
    sog_kn: float | None,
    cog_deg: float | None,
    variation_deg: float | None = None,
    valid: bool = True,
    mode: str = "A",
    talker: str = "GP",
) -> str:
    """RMC with mode (2.3). `date` is ddmmyy. Without a fix the position, speed and course are null."""
    if not valid:
        lat_deg = lon_deg = sog_kn = cog_deg = None
    return sentence(
        f"{talker}RMC,{clock(time_of_day_s)},{'A' if valid else 'V'},{latitude(lat_deg, 4)},{longitude(lon_deg, 4)},"
        f"{fixed(sog_kn, 2)},{angle(cog_deg)},{date},{signed(variation_deg, 1, 'EW')},{mode if valid else 'N'}"
    )


def gga(
    time_of_day_s: float,
    lat_deg: float | None,
    lon_deg: float | None,
    *,
    quality: int = 1,
    satellites: int = 9,
    hdop: float | None = 1.0,
    height_m: float | None = 2.5,
    geoid_m: float | None = 45.0,
    talker: str = "GP",
) -> str:
    """GGA. Quality 0 is 'no fix': position, height and HDOP are then null."""
    if quality == 0:
        lat_deg = lon_deg = hdop = height_m = geoid_m = None
        satellites = 0
    return sentence(
        f"{talker}GGA,{clock(time_of_day_s)},{latitude(lat_deg, 4)},{longitude(lon_deg, 4)},{quality},"
        f"{satellites:02d},{fixed(hdop, 1)},{with_unit(height_m, 1, 'M')},{with_unit(geoid_m, 1, 'M')},,"
    )


def gll(
    time_of_day_s: float, lat_deg: float | None, lon_deg: float | None, *, valid: bool = True, talker: str = "GP"
) -> str:
    """GLL with status and mode."""
    if not valid:
        lat_deg = lon_deg = None
    return sentence(
        f"{talker}GLL,{latitude(lat_deg, 4)},{longitude(lon_deg, 4)},{clock(time_of_day_s)},{'A,A' if valid else 'V,N'}"
    )


def gns(
    time_of_day_s: float,
    lat_deg: float | None,
    lon_deg: float | None,
    *,
    valid: bool = True,
    satellites: int = 14,
    hdop: float | None = 0.8,
    talker: str = "GN",
) -> str:
    """GNS of two constellations."""
    if not valid:
        lat_deg = lon_deg = hdop = None
        satellites = 0
    return sentence(
        f"{talker}GNS,{clock(time_of_day_s)},{latitude(lat_deg, 4)},{longitude(lon_deg, 4)},"
        f"{'AA' if valid else 'NN'},{satellites:02d},{fixed(hdop, 1)},,,,,V"
    )


def vtg(
    cog_deg: float | None,
    sog_kn: float | None,
    *,
    variation_deg: float | None = None,
    mode: str = "A",
    talker: str = "GP",
) -> str:
    """VTG. The magnetic course needs the variation (east positive)."""
    magnetic = None if cog_deg is None or variation_deg is None else cog_deg - variation_deg
    kmh = None if sog_kn is None else sog_kn * KMH_PER_KN
    return sentence(
        f"{talker}VTG,{angle(cog_deg)},T,{angle(magnetic)},M,{fixed(sog_kn, 2)},N,{fixed(kmh, 2)},K,"
        f"{mode if sog_kn is not None else 'N'}"
    )


def vhw(
    stw_kn: float | None,
    *,
    heading_deg: float | None = None,
    magnetic_deg: float | None = None,
    talker: str = "VW",
) -> str:
    """VHW, speed through the water; ahead positive."""
    kmh = None if stw_kn is None else stw_kn * KMH_PER_KN
    return sentence(
        f"{talker}VHW,{angle(heading_deg)},T,{angle(magnetic_deg)},M,{fixed(stw_kn, 2)},N,{fixed(kmh, 2)},K"
    )


def vbw(
    water_kn: float | None,
    water_athwart_kn: float | None = None,
    ground_kn: float | None = None,
    ground_athwart_kn: float | None = None,
    *,
    talker: str = "VD",
) -> str:
    """VBW; ahead and starboard positive. A part without a value is V."""
    return sentence(
        f"{talker}VBW,{fixed(water_kn, 2)},{fixed(water_athwart_kn, 2)},{'V' if water_kn is None else 'A'},"
        f"{fixed(ground_kn, 2)},{fixed(ground_athwart_kn, 2)},{'V' if ground_kn is None else 'A'},,V,,V"
    )


def hdt(heading_deg: float | None, *, decimals: int = 1, talker: str = "HE") -> str:
    """HDT: heading in degrees true; None writes a null field."""
    return sentence(f"{talker}HDT,{angle(heading_deg, decimals)},T")


def ths(heading_deg: float | None, *, mode: str = "A", decimals: int = 1, talker: str = "HE") -> str:
    """THS: heading in degrees true with its mode; None writes mode V."""
    return sentence(f"{talker}THS,{angle(heading_deg, decimals)},{mode if heading_deg is not None else 'V'}")


def hdg(
    magnetic_deg: float | None,
    *,
    deviation_deg: float | None = None,
    variation_deg: float | None = None,
    decimals: int = 1,
    talker: str = "HC",
) -> str:
    """HDG: the sensor's heading; deviation and variation east positive."""
    return sentence(
        f"{talker}HDG,{angle(magnetic_deg, decimals)},{signed(deviation_deg, 1, 'EW')},{signed(variation_deg, 1, 'EW')}"
    )


def hdm(magnetic_deg: float | None, *, decimals: int = 1, talker: str = "HC") -> str:
    """HDM: magnetic heading in degrees."""
    return sentence(f"{talker}HDM,{angle(magnetic_deg, decimals)},M")


def rot(rate_deg_min: float | None, *, talker: str = "TI") -> str:
    """ROT, to starboard positive."""
    return sentence(f"{talker}ROT,{fixed(rate_deg_min, 1)},{'V' if rate_deg_min is None else 'A'}")


def zda(
    time_of_day_s: float, day: int, month: int, year: int, *, zone_h: int = 0, zone_min: int = 0, talker: str = "GP"
) -> str:
    """ZDA. The zone is what is added to local time to get UTC."""
    return sentence(f"{talker}ZDA,{clock(time_of_day_s)},{day:02d},{month:02d},{year:04d},{zone_h:02d},{zone_min:02d}")


# --------------------------------------------------------------------------------------------- text and AIS


def txt(text: str, *, identifier: int = 1, talker: str = "U0") -> str:
    """TXT in one sentence. Talker U0 with identifier 1: a watchkeeper's note."""
    return sentence(f"{talker}TXT,01,01,{identifier:02d},{escape(text)}")


def vdm(
    message: Mapping[str, str | int | float], *, channel: str = "A", sequence: int = 0, own_ship: bool = False
) -> list[str]:
    """VDM or VDO of one AIS message, its fields named as pyais names them, `msg_type` and `mmsi` first of all.

    A long message becomes several sentences that share the sequence number.
    """
    from pyais.encode import encode_dict

    lines: list[str] = encode_dict(
        dict(message),
        talker_id="AI",
        sentence_type="VDO" if own_ship else "VDM",
        radio_channel=channel,
        seq_id=sequence % 10,
    )
    return lines
