"""Tracked targets: TTM, TLL, TLB. (TTD, which is encapsulated, is in `tracked_data`.)"""

from parsers.definitions import Fields
from parsers.numbers import (
    Reading,
    angle,
    nm_per_unit,
    number,
    optional,
    optional_angle,
    optional_time,
    position,
    whole,
)
from parsers.observations import (
    Acquisition,
    MotionReference,
    Observation,
    Reference,
    TargetLabel,
    TargetPosition,
    TargetReport,
    TargetStatus,
)
from parsers.sentence import RefusalError, RefusalReason, shown
from parsers.text import clean
from parsers.validity import FARTHEST_NM, TOP_SPEED_KN

Observations = tuple[Observation, ...]

LONGEST_TCPA_MIN = 24 * 60.0
"""Sets write millions of minutes for a lost target. Hours occur honestly, where two velocities are nearly equal."""

TCPA_SENTINEL = "99.99"
"""Written by some sets for "none". The honest value of just this text, one in thousands, is lost with it."""

HIGHEST_NUMBER = 9999
"""The standard's two digits are not kept to: 498 has been seen in TTM, and TTD has ten bits."""

_STATUSES: dict[str, TargetStatus | None] = {
    "": None,
    "L": TargetStatus.LOST,
    "Q": TargetStatus.ACQUIRING,
    "T": TargetStatus.TRACKING,
}
_ACQUISITIONS = {"A": Acquisition.AUTOMATIC, "M": Acquisition.MANUAL, "R": Acquisition.REPORTED}
_REFERENCES = {"T": Reference.TRUE, "R": Reference.RELATIVE}

TTM = Fields(
    "TTM", "target_number", "distance", "bearing", "brg_ref", "speed", "cog", "cog_unit", "dist_cpa", "time_cpa",
    "dist_unit", "name", "status", "reference", "timestamp", "acquisition",
)  # fmt: skip


def ttm(fields: list[str], reading: Reading) -> Observations:
    """A target by range and bearing, with the set's own answer beside them.

    What makes no sense in number, range, bearing, their unit and reference, or status refuses the line, with one
    exception: "lost" is always passed on, with range or bearing None. The set's answer is junk often enough while a
    target is being acquired or is lost: what is out of range there becomes None and is counted.
    """
    (
        number_text, distance, bearing, bearing_ref, speed, course, course_ref, cpa, tcpa, unit, name, status_letter,
        reference, time, acquired,
    ) = TTM.pick(fields)  # fmt: skip
    status = _status(status_letter)
    unit_nm, range_nm, bearing_deg, bearing_reference = _measurement(
        distance, bearing, bearing_ref, unit, status, reading
    )
    speed_kn = cpa_nm = tcpa_min = None
    if unit_nm is not None:
        if speed:
            speed_kn = optional(speed, 0.0, TOP_SPEED_KN / unit_nm, reading, "speed")
        if cpa:
            cpa_nm = optional(cpa, 0.0, FARTHEST_NM / unit_nm, reading, "cpa")
        if unit_nm != 1.0:
            speed_kn = None if speed_kn is None else speed_kn * unit_nm
            cpa_nm = None if cpa_nm is None else cpa_nm * unit_nm
    if tcpa == TCPA_SENTINEL:
        reading.odd("tcpa sentinel")
    elif tcpa:
        tcpa_min = optional(tcpa, -LONGEST_TCPA_MIN, LONGEST_TCPA_MIN, reading, "tcpa")
    course_deg, course_reference = _course(course, course_ref, reading)
    target_number = _number(number_text)
    name = clean(name) if name else ""
    is_reference = _is_reference(reference, reading) if reference else False
    time_s = optional_time(time, reading) if time else None
    acquisition = _acquisition(acquired, reading) if acquired else None
    return (
        TargetReport(
            reading.at_s,
            reading.source,
            target_number,
            range_nm,
            bearing_deg,
            bearing_reference,
            speed_kn,
            course_deg,
            course_reference,
            MotionReference.UNKNOWN,
            cpa_nm,
            tcpa_min,
            name,
            status,
            is_reference,
            time_s,
            acquisition,
        ),
    )


def _number(text: str) -> int:
    if len(text) <= 3 and text.isdigit() and text.isascii():
        return int(text)
    value = whole(text, 0, HIGHEST_NUMBER)
    if value is None:
        raise RefusalError(RefusalReason.FIELD_MISSING, "target number")
    return value


def _status(letter: str) -> TargetStatus | None:
    try:
        return _STATUSES[letter]
    except KeyError:
        raise RefusalError(RefusalReason.FLAG_UNKNOWN, f"target status {shown(letter)}") from None


def _measurement(
    distance: str, bearing: str, bearing_ref: str, unit: str, status: TargetStatus | None, reading: Reading
) -> tuple[float | None, float | None, float | None, Reference]:
    """NM in the sentence's unit, range, bearing and what the bearing counts from."""
    try:
        unit_nm = nm_per_unit(unit)
        range_nm = number(distance, 0.0, FARTHEST_NM / unit_nm)
        bearing_deg, reference = _bearing(bearing, bearing_ref)
    except RefusalError as error:
        if status is not TargetStatus.LOST:
            raise
        reading.odd(f"measurement of a lost target {error.refusal.reason}")
        return None, None, None, Reference.TRUE
    if range_nm is not None and unit_nm != 1.0:
        range_nm *= unit_nm
    return unit_nm, range_nm, bearing_deg, reference


def _bearing(text: str, letter: str) -> tuple[float | None, Reference]:
    """A bearing in [0, 360) and what it counts from. A relative one may be written as negative to port."""
    if letter == "T":
        return angle(text), Reference.TRUE
    if letter == "R":
        value = number(text, -180.0, 360.0)
        return None if value is None else value % 360.0, Reference.RELATIVE
    if letter or text:
        raise RefusalError(RefusalReason.FLAG_UNKNOWN, f"bearing reference {shown(letter)}")
    return None, Reference.TRUE


def _course(text: str, letter: str, reading: Reading) -> tuple[float | None, Reference]:
    """The reported course; with an unknown reference it is no course."""
    reference = _REFERENCES.get(letter)
    if reference is None:
        if text or letter:
            reading.odd("course reference unknown")
        return None, Reference.TRUE
    return optional_angle(text, reading, "course"), reference


def _is_reference(letter: str, reading: Reading) -> bool:
    if letter != "R":
        reading.odd("reference flag unknown")
    return letter == "R"


def _acquisition(letter: str, reading: Reading) -> Acquisition | None:
    acquisition = _ACQUISITIONS.get(letter)
    if acquisition is None:
        reading.odd("acquisition unknown")
    return acquisition


TLL = Fields(
    "TLL", "target_number", "lat", "lat_dir", "lon", "lon_dir", "target_name", "timestamp", "target_status", "reference"
)  # fmt: skip


def tll(fields: list[str], reading: Reading) -> Observations:
    """A target's position; without a number, a mark on the picture.

    "Lost" is passed on without a position too, as a report with no range and bearing.
    """
    number_text, lat, ns, lon, ew, name, time, status, reference = TLL.pick(fields)
    place = position(lat, ns, lon, ew)
    if place is None:
        return _lost_without_a_place(number_text, reading) if status == "L" and number_text else ()
    return (
        TargetPosition(
            at_s=reading.at_s,
            source=reading.source,
            number=_number(number_text) if number_text else None,
            lat_deg=place[0],
            lon_deg=place[1],
            name=clean(name) if name else "",
            status=_status(status),
            is_reference=_is_reference(reference, reading) if reference else False,
            time_of_day_s=optional_time(time, reading),
        ),
    )


def _lost_without_a_place(number_text: str, reading: Reading) -> Observations:
    number = _number(number_text)
    return (
        TargetReport(
            at_s=reading.at_s,
            source=reading.source,
            number=number,
            range_nm=None,
            bearing_deg=None,
            status=TargetStatus.LOST,
        ),
    )


def tlb(fields: list[str], reading: Reading) -> Observations:
    """Pairs of number and label. A null label says that there is no common label, not that it is blank."""
    pairs = zip(fields[1::2], fields[2::2], strict=False)
    return tuple(
        TargetLabel(at_s=reading.at_s, source=reading.source, number=_number(number_text), label=clean(label) or None)
        for number_text, label in pairs
        if number_text
    )
