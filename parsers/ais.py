"""AIS: types 1, 2, 3, 5, 9, 18, 19, 21, 24 and 27 out of VDM, and own MMSI out of VDO.

pyais takes the bits apart, after our own framing, checksum and length check: it accepts wrong and missing checksums and
messages that are cut short. "Not available" (ITU-R M.1371) becomes None.
"""

from collections.abc import Callable
from typing import Any

from parsers.definitions import Fields
from parsers.numbers import Reading
from parsers.observations import AisClass, AisDistress, AisOwnShip, AisPosition, AisStatic, Observation
from parsers.parts import is_armoured, part_numbers, six_bits
from parsers.sentence import RefusalError, RefusalReason, shown
from parsers.text import clean

LEAST_BITS = {1: 168, 2: 168, 3: 168, 5: 420, 9: 168, 18: 168, 19: 312, 21: 271, 24: 160, 27: 96}
"""Lengths by ITU-R M.1371 (from memory), but for 5, which has 424 and is often sent as 420 or 422, and 24, part A of
which has 160 or 168. What is shorter has been cut."""

_LEAST_24_B = 162
_MOST_PARTS = 9
_FILLS = ("0", "1", "2", "3", "4", "5")

_STATIONS = {
    1: AisClass.A,
    2: AisClass.A,
    3: AisClass.A,
    9: AisClass.AIRCRAFT,
    18: AisClass.B,
    19: AisClass.B,
    21: AisClass.AID,
    27: AisClass.LONG_RANGE,
}
_DISTRESS = {970: AisClass.SART, 972: AisClass.MOB, 974: AisClass.EPIRB}
"""By the first three digits of the MMSI (ITU-R M.585, from memory)."""

VDM = Fields("VDM", "total", "part", "sequence", "channel", "payload", "fill")


def vdm(fields: list[str], reading: Reading) -> tuple[Observation, ...]:
    """What other stations send. Types that are not read give nothing."""
    message = _message(fields, reading)
    if message is None:
        return ()
    kind, mmsi = message.msg_type, _mmsi(message.mmsi)
    found: list[Observation] = []
    if kind in _STATIONS:
        position = _position(kind, mmsi, message, reading)
        if position is not None:
            found.append(position)
        elif mmsi // 1_000_000 in _DISTRESS:
            found.append(_distress(mmsi, message, reading))
    if kind in (5, 19, 21, 24):
        found.append(_static(mmsi, message, reading))
    return tuple(found)


def vdo(fields: list[str], reading: Reading) -> tuple[Observation, ...]:
    """Own ship's transmissions say which MMSI is ours; nothing else of them is used."""
    message = _message(fields, reading)
    if message is None:
        return ()
    return (AisOwnShip(at_s=reading.at_s, source=reading.source, mmsi=_mmsi(message.mmsi)),)


def _message(fields: list[str], reading: Reading) -> Any:  # pyais' classes share no typed face
    """The message that this sentence completes, if it is of a type that is read."""
    total_text, part_text, sequence, channel, payload, fill = VDM.pick(fields)
    total, part = part_numbers(total_text, part_text, 10, _MOST_PARTS)
    if total > 1:
        sentence = f"{payload},{fill}"
        key = (fields[0], sequence, channel)
        sentences, given_up = reading.parts.add(key, total, part, sentence, reading.at_s)
        reading.odd("message incomplete", given_up)
        if sentences is None:
            return None
        payload, fill = _joined(sentences)
    if not payload:
        return None
    if fill not in _FILLS or not is_armoured(payload):
        raise RefusalError(RefusalReason.PAYLOAD_MALFORMED, f"AIS: {shown(payload)}, fill bits {shown(fill)}")
    kind = six_bits(payload[0])
    if kind not in LEAST_BITS:
        return None
    length = 6 * len(payload) - int(fill)
    if length < (_LEAST_24_B if kind == 24 and _is_part_b(payload) else LEAST_BITS[kind]):
        raise RefusalError(RefusalReason.PAYLOAD_MALFORMED, f"type {kind} with {length} bits")
    return _decode(payload, fill)


def _is_part_b(payload: str) -> bool:
    """Bits 38 and 39 of type 24 hold 1 for part B."""
    return len(payload) > 6 and six_bits(payload[6]) >> 2 & 3 == 1


def _joined(sentences: list[str]) -> tuple[str, str]:
    """Payload and fill bits of a whole message. Padding before its end would shift all that follows."""
    payloads, _, fills = zip(*(text.rpartition(",") for text in sentences), strict=True)
    if any(fill != "0" for fill in fills[:-1]):
        raise RefusalError(RefusalReason.PAYLOAD_MALFORMED, "fill bits inside a message")
    return "".join(payloads), fills[-1]


_taken_apart: Callable[[bytes], Any] | None = None


def _decode(payload: str, fill: str) -> Any:
    global _taken_apart  # noqa: PLW0603  (loading pyais takes 80 ms, which a vessel without AIS need not wait)
    if _taken_apart is None:
        from pyais import decode

        _taken_apart = decode
    try:
        return _taken_apart(f"!AIVDM,1,1,,,{payload},{fill}*00".encode("ascii"))
    except Exception as error:
        raise RefusalError(RefusalReason.PAYLOAD_MALFORMED, f"AIS: {shown(str(error))}") from None


def _mmsi(value: int) -> int:
    if not 0 < value <= 999_999_999:
        raise RefusalError(RefusalReason.OUT_OF_RANGE, f"MMSI {value}")
    return value


def _position(kind: int, mmsi: int, message: Any, reading: Reading) -> AisPosition | None:
    """None where the station does not know where it is."""
    lat_deg, lon_deg = message.lat, message.lon
    if lat_deg == 91.0 or lon_deg == 181.0:
        return None
    if abs(lat_deg) > 90.0 or abs(lon_deg) > 180.0:
        reading.odd("position out of range")
        return None
    second = getattr(message, "second", None)  # 60 and over say why there is no time
    status = getattr(message, "status", None)
    return AisPosition(
        at_s=reading.at_s,
        source=reading.source,
        mmsi=mmsi,
        station=_DISTRESS.get(mmsi // 1_000_000, _STATIONS[kind]),
        lat_deg=lat_deg,
        lon_deg=lon_deg,
        high_accuracy=bool(message.accuracy),
        sog_kn=_speed(kind, getattr(message, "speed", None)),
        cog_deg=_degrees(getattr(message, "course", None), reading),
        heading_deg=_degrees(getattr(message, "heading", None), reading),
        rate_deg_min=_rate(getattr(message, "turn", None)),
        navigational_status=None if status is None else int(status),
        second=second if second is not None and second < 60 else None,
        message_type=kind,
    )


def _distress(mmsi: int, message: Any, reading: Reading) -> AisDistress:
    """A beacon is heard before it knows where it is."""
    status = getattr(message, "status", None)
    return AisDistress(
        at_s=reading.at_s,
        source=reading.source,
        mmsi=mmsi,
        station=_DISTRESS[mmsi // 1_000_000],
        navigational_status=None if status is None else int(status),
    )


_NO_SPEED = {9: 1023.0, 27: 63.0}


def _speed(kind: int, value: float | None) -> float | None:
    return None if value is None or value == _NO_SPEED.get(kind, 102.3) else float(value)


def _degrees(value: float | None, reading: Reading) -> float | None:
    """A course or heading. 360 (course), 511 (heading; type 27's course) are "not available"."""
    if value is None or value in (360.0, 511.0):
        return None
    if value > 360.0:
        reading.odd("angle out of range")
        return None
    return float(value)


def _rate(turn: float | None) -> float | None:
    """Degrees a minute; +-127 (no indicator, turning) and -128 (no information) are no rates.

    pyais gives these three as members of an enumeration, all others as plain floats: 127 cannot be told by its value.
    """
    return turn if type(turn) is float else None


def _static(mmsi: int, message: Any, reading: Reading) -> AisStatic:
    """What this type, or this part of type 24, says. Blank texts, type 0 and lengths of 0 are "not available"."""
    name = getattr(message, "shipname", None) or getattr(message, "full_name", None)
    length = (getattr(message, "to_bow", None) or 0) + (getattr(message, "to_stern", None) or 0)
    beam = (getattr(message, "to_port", None) or 0) + (getattr(message, "to_starboard", None) or 0)
    return AisStatic(
        at_s=reading.at_s,
        source=reading.source,
        mmsi=mmsi,
        name=clean(name or "") or None,
        call_sign=clean(getattr(message, "callsign", None) or "") or None,
        ship_type=int(getattr(message, "ship_type", None) or 0) or None,
        length_m=float(length) or None,
        beam_m=float(beam) or None,
    )
