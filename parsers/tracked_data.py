"""Tracked target data (TTD): targets packed in six-bit armour, with more resolution and flags than TTM.

Field widths second-hand (docs/sentences.md). Structure 0, 90 bits: number, bearing, speed, course, AIS heading, status,
flags, distance, correlation number. Structure 1, 42 bits: number, CPA, TCPA. The first two bits say which.
"""

from parsers.definitions import Fields
from parsers.numbers import Reading
from parsers.observations import (
    Acquisition,
    MotionReference,
    Observation,
    Reference,
    TargetPrediction,
    TargetReport,
    TargetStatus,
)
from parsers.parts import Bits, part_numbers
from parsers.sentence import RefusalError, RefusalReason

_LENGTHS = (90, 42)
_NO_ANGLE = 4095
_RADAR_TARGET = 4095  # in the AIS heading's place; 4094 is an AIS target without heading
_NO_DISTANCE = 16383
_NO_TCPA = (-8192, 8191)  # one source says the lowest; the one real sample has the highest

_STATUSES = {
    1: TargetStatus.ACQUIRING,  # or a sleeping AIS target
    2: TargetStatus.LOST,
    4: TargetStatus.TRACKING,
    6: TargetStatus.TRACKING,  # in alarm by CPA and TCPA
    7: TargetStatus.TRACKING,  # the same, acknowledged
}

TTD = Fields("TTD", "total", "part", "sequence", "payload", "fill")


def ttd(fields: list[str], reading: Reading) -> tuple[Observation, ...]:
    """The targets of one sentence, or of all sentences of a message.

    A sentence that holds whole targets is read at once, so that a lost one takes no others with it. One that does not
    waits for the message's other parts.
    """
    total_text, part_text, sequence, payload, fill = TTD.pick(fields)
    if not payload:
        return ()
    total, part = part_numbers(total_text, part_text, 16, 255)
    key = (fields[0], sequence)
    if part < total and fill not in ("0", ""):
        raise RefusalError(RefusalReason.PAYLOAD_MALFORMED, "fill bits inside a message")
    bits = Bits(payload, fill or "0")
    if total == 1 or (_whole(Bits(payload, fill or "0")) and not reading.parts.holds(key)):
        return _targets(bits, reading)
    payloads, given_up = reading.parts.add(key, total, part, payload, reading.at_s)
    reading.odd("message incomplete", given_up)
    if payloads is None:
        return ()
    return _targets(Bits("".join(payloads), "0"), reading)


def _whole(bits: Bits) -> bool:
    """Whether the bits are a row of whole targets, by the structure that each one's first two bits name."""
    while bits.left >= _LENGTHS[1]:
        structure = bits.take(2)
        if structure > 1 or bits.left < _LENGTHS[structure] - 2:
            return False
        bits.take(_LENGTHS[structure] - 2)
    return bits.left < 6


def _targets(bits: Bits, reading: Reading) -> tuple[Observation, ...]:
    """All targets in a row of bits. Fewer than six bits at the end are padding."""
    found: list[Observation] = []
    while bits.left >= 6:
        structure = bits.take(2)
        if structure > 1 or bits.left < _LENGTHS[structure] - 2:
            raise RefusalError(RefusalReason.PAYLOAD_MALFORMED, f"structure {structure}, {bits.left} bits left")
        target = _report(bits, reading) if structure == 0 else _prediction(bits, reading)
        if target is not None:
            found.append(target)
    return tuple(found)


def _scaled(raw: int, none: int, divisor: float) -> float | None:
    return None if raw == none else raw / divisor


def _angle(raw: int, reading: Reading) -> float | None:
    """Tenths of a degree. 360 is 0; between 360 and the "none" of 409.5 there is no angle."""
    if raw == _NO_ANGLE:
        return None
    if raw > 3600:
        reading.odd("angle out of range")
        return None
    return raw % 3600 / 10.0


def _report(bits: Bits, reading: Reading) -> TargetReport | None:
    number = bits.take(10)
    bearing, speed, course, ais_heading = bits.take(12), bits.take(12), bits.take(12), bits.take(12)
    status, is_test, distance = bits.take(3), bits.take(1), bits.take(14)
    relative, water, _, correlation = bits.take(1), bits.take(1), bits.take(2), bits.take(8)
    if number == 0:
        return None
    return TargetReport(
        at_s=reading.at_s,
        source=reading.source,
        number=number,
        range_nm=_scaled(distance, _NO_DISTANCE, 100.0),
        bearing_deg=_angle(bearing, reading),
        speed_kn=_scaled(speed, _NO_ANGLE, 10.0),
        course_deg=_angle(course, reading),
        course_reference=Reference.RELATIVE if relative else Reference.TRUE,
        motion_reference=MotionReference.WATER if water else MotionReference.GROUND,
        status=_STATUSES.get(status),
        acquisition=None if ais_heading == _RADAR_TARGET else Acquisition.REPORTED,
        correlation=correlation or None,
        is_test=bool(is_test),
    )


def _prediction(bits: Bits, reading: Reading) -> TargetPrediction | None:
    number, cpa, tcpa, _ = bits.take(10), bits.take(14), bits.take(14), bits.take(2)
    if number == 0:
        return None
    signed = tcpa - 16384 if tcpa >= 8192 else tcpa
    return TargetPrediction(
        at_s=reading.at_s,
        source=reading.source,
        number=number,
        cpa_nm=_scaled(cpa, _NO_DISTANCE, 100.0),
        tcpa_min=None if signed in _NO_TCPA else signed / 100.0,
    )
