"""Plain numbers to sentences: the way back, for exercises and for whatever else must speak NMEA 0183.

One function for each sentence. Units are those of parsers.observations: nautical miles, knots, degrees, metres,
seconds since midnight UTC. None becomes a null field, never a zero. The result has its start character and checksum
and no line end. Field lists: docs/sentences.md.

Rules for this file:

- An angle is written so that it reads back below 360: 359.97 to one decimal is 0.0.
- Nothing here looks at a clock; every time is an argument.
- Text is escaped (`^hh`), so that no name can end a field or a sentence.
"""

from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache, reduce
from operator import xor
from typing import Literal

from msgspec import Struct

from parsers.observations import NM_M, Acquisition, MotionReference, Orientation, Reference, TargetStatus

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


def checksum(text: str) -> int:
    """XOR of all characters. `text` must be ASCII."""
    return reduce(xor, text.encode("ascii"), 0)


def sentence(body: str, start: str = "$") -> str:
    """`body` between its start character and its checksum."""
    return f"{start}{body}*{checksum(body):02X}"


def tag_block(line: str, utc_ms: int, source: str) -> str:
    """The sentence behind a TAG block with its source (`RA0001`) and its UNIX time in milliseconds."""
    block = f"s:{source},c:{utc_ms}"
    return f"\\{block}*{checksum(block):02X}\\{line}"


def escape(text: str) -> str:
    """Text for a field: reserved and non-ASCII characters as `^hh` (ISO 8859-1); what that cannot hold as `?`."""
    if text.isascii() and text.isprintable() and not _RESERVED.intersection(text):
        return text
    coded = text.encode("latin-1", errors="replace").decode("latin-1")
    return "".join(f"^{ord(c):02X}" if c in _RESERVED or not 32 <= ord(c) < 127 else c for c in coded)


# ------------------------------------------------------------------------------------------------- numbers


def _number(value: float | None, decimals: int) -> str:
    """A fixed-point number, without a minus sign on zero."""
    if value is None:
        return ""
    text = f"{value:.{decimals}f}"
    return text[1:] if text[0] == "-" and float(text) == 0 else text


def _angle(value: float | None, decimals: int = 1) -> str:
    """An angle in [0, 360) after rounding too."""
    if value is None:
        return ""
    return f"{round(value % 360.0, decimals) % 360.0:.{decimals}f}"


def _signed(value: float | None, decimals: int, letters: str) -> str:
    """Magnitude and letter, two fields: `_signed(-3.1, 1, "EW")` is `3.1,W`."""
    if value is None:
        return ","
    return f"{abs(value):.{decimals}f},{letters[0] if value >= 0 else letters[1]}"


@lru_cache(maxsize=65536)
def _clock(centiseconds: int) -> str:
    seconds, hundredths = divmod(centiseconds, 100)
    minutes, s = divmod(seconds, 60)
    h, m = divmod(minutes, 60)
    return f"{h:02d}{m:02d}{s:02d}.{hundredths:02d}"


def _time(time_of_day_s: float | None, decimals: int = 2) -> str:
    """hhmmss.ss, cut (never rounded up: a time must not come before its second)."""
    if time_of_day_s is None:
        return ""
    text = _clock(int(time_of_day_s * 100 + 1e-6) % 8_640_000)
    return text if decimals else text[:6]


def _latitude(lat_deg: float | None, decimals: int) -> str:
    """ddmm.mmmm,N as two fields."""
    return _degrees_minutes(lat_deg, 2, decimals, "NS")


def _longitude(lon_deg: float | None, decimals: int) -> str:
    """dddmm.mmmm,E as two fields; any turn of longitude is brought into [-180, 180)."""
    return _degrees_minutes(None if lon_deg is None else (lon_deg + 180.0) % 360.0 - 180.0, 3, decimals, "EW")


def _degrees_minutes(value: float | None, width: int, decimals: int, letters: str) -> str:
    if value is None:
        return ","
    scale = 10**decimals
    degrees, parts = divmod(round(abs(value) * 60 * scale), 60 * scale)
    whole, fraction = divmod(parts, scale)
    return f"{degrees:0{width}d}{whole:02d}.{fraction:0{decimals}d},{letters[0] if value >= 0 else letters[1]}"


def _optional(value: float | None, decimals: int, letter: str) -> str:
    """A value and its unit letter, both null where there is no value."""
    return "," if value is None else f"{_number(value, decimals)},{letter}"


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
        f"{talker}TTM,{number:02d},{_scaled(range_nm, per, 2)},{_angle(bearing_deg)},{_REFERENCE[bearing_reference]},"
        f"{_scaled(speed_kn, per, 1)},{_angle(course_deg)},{_REFERENCE[course_reference]},"
        f"{_scaled(cpa_nm, per, 2)},{_number(tcpa_min, 1)},{units},{escape(name)},{_STATUS[status]},"
        f"{'R' if is_reference else ''}"
    )
    if fields == 15:
        body += f",{_time(time_of_day_s)},{_ACQUISITION[acquisition]}"
    return sentence(body)


def _scaled(value: float | None, per: float, decimals: int) -> str:
    return "" if value is None else _number(value * per, decimals)


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
        f"{talker}TLL,{'' if number is None else f'{number:02d}'},{_latitude(lat_deg, 3)},{_longitude(lon_deg, 3)},"
        f"{escape(name)},{_time(time_of_day_s)},{_STATUS[status]},{'R' if is_reference else ''}"
    )


def tlb(labels: Sequence[tuple[int, str | None]], *, talker: str = "RA") -> str:
    """TLB, target labels; None is 'no common label'."""
    pairs = ",".join(f"{number},{'' if label is None else escape(label)}" for number, label in labels)
    return sentence(f"{talker}TLB,{pairs}")


class CompressedTarget(Struct, frozen=True, kw_only=True):
    """One target of a TTD, structure 0. None is 'not available'."""

    number: int
    bearing_deg: float | None
    range_nm: float | None
    speed_kn: float | None = None
    course_deg: float | None = None
    ais_heading_deg: float | None = None
    is_radar: bool = True
    status: int = 4  # 1 acquiring, 2 lost, 4 tracked, 6 tracked with alarm, 7 the same acknowledged
    is_test: bool = False
    relative: bool = False
    water: bool = False
    correlation: int = 0


class CompressedPrediction(Struct, frozen=True, kw_only=True):
    """CPA and TCPA of one target of a TTD, structure 1."""

    number: int
    cpa_nm: float | None
    tcpa_min: float | None


def ttd(
    targets: Sequence[CompressedTarget | CompressedPrediction], *, talker: str = "RA", sequence: int | None = None
) -> list[str]:
    """TTD, tracked targets in 6-bit armour, at most four to a sentence; more become several sentences."""
    groups = [targets[i : i + 4] for i in range(0, len(targets), 4)]
    joined = "" if len(groups) == 1 or sequence is None else f"{sequence % 10}"
    return [
        sentence(f"{talker}TTD,{len(groups):02X},{i:02X},{joined},{','.join(armour(_ttd_bits(group)))}", "!")
        for i, group in enumerate(groups, 1)
    ]


def _ttd_bits(targets: Iterable[CompressedTarget | CompressedPrediction]) -> str:
    return "".join(
        _structure_0(target) if isinstance(target, CompressedTarget) else _structure_1(target) for target in targets
    )


def _structure_0(target: CompressedTarget) -> str:
    heading = 4095 if target.is_radar else _counts(target.ais_heading_deg, 10, 4094, turn=3600)
    return (
        f"{0:02b}{target.number:010b}{_counts(target.bearing_deg, 10, 4095, turn=3600):012b}"
        f"{_counts(target.speed_kn, 10, 4095):012b}{_counts(target.course_deg, 10, 4095, turn=3600):012b}"
        f"{heading:012b}{target.status:03b}{target.is_test:b}{_counts(target.range_nm, 100, 16383):014b}"
        f"{target.relative:b}{target.water:b}{0:02b}{target.correlation:08b}"
    )


def _structure_1(target: CompressedPrediction) -> str:
    # 'None' is 8191 in the one sample seen in public; the text of the definition has -8192. Readers take both.
    tcpa = 8191 if target.tcpa_min is None else max(-8191, min(8190, round(target.tcpa_min * 100)))
    return f"{1:02b}{target.number:010b}{_counts(target.cpa_nm, 100, 16383):014b}{tcpa & 0x3FFF:014b}{0:02b}"


def _counts(value: float | None, per: int, missing: int, turn: int | None = None) -> int:
    """A value in counts, or the count that says 'not available'; too large a value is cut to the largest."""
    if value is None:
        return missing
    counts = round(value * per)
    return counts % turn if turn else max(0, min(missing - 1, counts))


def armour(bits: str) -> tuple[str, str]:
    """6-bit armour of encapsulated sentences: payload and number of fill bits."""
    fill = -len(bits) % 6
    padded = bits + "0" * fill
    sixes = (int(padded[i : i + 6], 2) for i in range(0, len(padded), 6))
    return "".join(chr(six + 48 if six < 40 else six + 56) for six in sixes), str(fill)


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
        f"{talker}OSD,{_angle(heading_deg)},{'A' if heading_valid and heading_deg is not None else 'V'},"
        f"{_angle(course_deg)},{letter},{_scaled(speed_kn, per, 1)},{letter},"
        f"{_angle(set_deg)},{_scaled(drift_kn, per, 1)},{units}"
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
        f"{_scaled(pair[0], per, 2)},{_angle(pair[1])}" for pair in (origin_1, mark_1, origin_2, mark_2, cursor)
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
        f"{talker}RMC,{_time(time_of_day_s)},{'A' if valid else 'V'},{_latitude(lat_deg, 4)},{_longitude(lon_deg, 4)},"
        f"{_number(sog_kn, 2)},{_angle(cog_deg)},{date},{_signed(variation_deg, 1, 'EW')},{mode if valid else 'N'}"
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
        f"{talker}GGA,{_time(time_of_day_s)},{_latitude(lat_deg, 4)},{_longitude(lon_deg, 4)},{quality},"
        f"{satellites:02d},{_number(hdop, 1)},{_optional(height_m, 1, 'M')},{_optional(geoid_m, 1, 'M')},,"
    )


def gll(
    time_of_day_s: float, lat_deg: float | None, lon_deg: float | None, *, valid: bool = True, talker: str = "GP"
) -> str:
    """GLL with status and mode."""
    if not valid:
        lat_deg = lon_deg = None
    return sentence(
        f"{talker}GLL,{_latitude(lat_deg, 4)},{_longitude(lon_deg, 4)},{_time(time_of_day_s)},"
        f"{'A,A' if valid else 'V,N'}"
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
        f"{talker}GNS,{_time(time_of_day_s)},{_latitude(lat_deg, 4)},{_longitude(lon_deg, 4)},"
        f"{'AA' if valid else 'NN'},{satellites:02d},{_number(hdop, 1)},,,,,V"
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
        f"{talker}VTG,{_angle(cog_deg)},T,{_angle(magnetic)},M,{_number(sog_kn, 2)},N,{_number(kmh, 2)},K,"
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
        f"{talker}VHW,{_angle(heading_deg)},T,{_angle(magnetic_deg)},M,{_number(stw_kn, 2)},N,{_number(kmh, 2)},K"
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
        f"{talker}VBW,{_number(water_kn, 2)},{_number(water_athwart_kn, 2)},{'V' if water_kn is None else 'A'},"
        f"{_number(ground_kn, 2)},{_number(ground_athwart_kn, 2)},{'V' if ground_kn is None else 'A'},,V,,V"
    )


def hdt(heading_deg: float | None, *, decimals: int = 1, talker: str = "HE") -> str:
    return sentence(f"{talker}HDT,{_angle(heading_deg, decimals)},T")


def ths(heading_deg: float | None, *, mode: str = "A", decimals: int = 1, talker: str = "HE") -> str:
    return sentence(f"{talker}THS,{_angle(heading_deg, decimals)},{mode if heading_deg is not None else 'V'}")


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
        f"{talker}HDG,{_angle(magnetic_deg, decimals)},{_signed(deviation_deg, 1, 'EW')},"
        f"{_signed(variation_deg, 1, 'EW')}"
    )


def hdm(magnetic_deg: float | None, *, decimals: int = 1, talker: str = "HC") -> str:
    return sentence(f"{talker}HDM,{_angle(magnetic_deg, decimals)},M")


def rot(rate_deg_min: float | None, *, talker: str = "TI") -> str:
    """ROT, to starboard positive."""
    return sentence(f"{talker}ROT,{_number(rate_deg_min, 1)},{'V' if rate_deg_min is None else 'A'}")


def zda(
    time_of_day_s: float, day: int, month: int, year: int, *, zone_h: int = 0, zone_min: int = 0, talker: str = "GP"
) -> str:
    """ZDA. The zone is what is added to local time to get UTC."""
    return sentence(f"{talker}ZDA,{_time(time_of_day_s)},{day:02d},{month:02d},{year:04d},{zone_h:02d},{zone_min:02d}")


def vdr(set_deg: float | None, drift_kn: float | None, *, talker: str = "II") -> str:
    """VDR, set and drift of the stream: direction toward, true."""
    return sentence(f"{talker}VDR,{_angle(set_deg)},T,,M,{_number(drift_kn, 1)},N")


def dpt(depth_m: float | None, *, offset_m: float | None = None, talker: str = "SD") -> str:
    """DPT: below the transducer; offset to the waterline positive, to the keel negative."""
    return sentence(f"{talker}DPT,{_number(depth_m, 1)},{_number(offset_m, 1)},")


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
