"""What the set says of itself: RSD (the picture's settings and marks) and OSD (the own-ship data that it uses)."""

from parsers.definitions import Fields
from parsers.numbers import Reading, angle, nm_per_unit, number, optional, optional_angle
from parsers.observations import (
    GroundMotion,
    Heading,
    MotionReference,
    Observation,
    Orientation,
    RadarSettings,
    RangeAndBearing,
    SetAndDrift,
    WaterMotion,
)
from parsers.sentence import RefusalError, RefusalReason, shown
from parsers.validity import FARTHEST_NM, TOP_SPEED_KN

Observations = tuple[Observation, ...]

_ORIENTATIONS = {"C": Orientation.COURSE_UP, "H": Orientation.HEAD_UP, "N": Orientation.NORTH_UP}

RSD = Fields(
    "RSD", "origin_1_range", "origin_1_bearing", "vrm_1", "ebl_1", "origin_2_range", "origin_2_bearing", "vrm_2",
    "ebl_2", "cursor_range", "cursor_bearing", "range_scale", "units", "rotation",
)  # fmt: skip


def rsd(fields: list[str], reading: Reading) -> Observations:
    """Nearly every field is null in real lines; one that makes no sense is None and counted."""
    *marks, scale, unit, rotation = RSD.pick(fields)
    if not any(marks) and not scale and not rotation:
        return ()
    try:
        unit_nm = nm_per_unit(unit)
    except RefusalError:
        reading.odd("unit unknown")
        unit_nm = None
    origin_1, mark_1, origin_2, mark_2, cursor = (
        RangeAndBearing(_range(marks[i], unit_nm, reading), optional_angle(marks[i + 1], reading, "bearing"))
        for i in range(0, 10, 2)
    )
    orientation = _ORIENTATIONS.get(rotation)
    if rotation and orientation is None:
        reading.odd("rotation unknown")
    return (
        RadarSettings(
            at_s=reading.at_s,
            source=reading.source,
            range_scale_nm=_range(scale, unit_nm, reading) or None,  # a scale of zero is no scale
            orientation=orientation,
            marks=(mark_1, mark_2),
            origins=(origin_1, origin_2),
            cursor=cursor,
        ),
    )


def _range(text: str, unit_nm: float | None, reading: Reading) -> float | None:
    if unit_nm is None:
        return None
    value = optional(text, 0.0, FARTHEST_NM / unit_nm, reading, "range")
    return None if value is None else value * unit_nm


_MOTIONS = {
    "B": MotionReference.GROUND,  # bottom log
    "P": MotionReference.GROUND,  # positioning system
    "W": MotionReference.WATER,
    "R": MotionReference.RADAR,
    "M": MotionReference.MANUAL,
    "": MotionReference.UNKNOWN,
}

OSD = Fields("OSD", "heading", "status", "course", "course_ref", "speed", "speed_ref", "set", "drift", "units")


def osd(fields: list[str], reading: Reading) -> Observations:
    """Heading, course and speed by the named references, and the set and drift entered. Set and drift are not in the
    course and speed."""
    heading, status, course, course_ref, speed, speed_ref, set_to, drift, unit = OSD.pick(fields)
    if status not in ("A", "V", ""):
        raise RefusalError(RefusalReason.FLAG_UNKNOWN, f"heading status {shown(status)}")
    unit_nm = nm_per_unit(unit) if speed or drift else 1.0
    speed_kn, drift_kn = _speed(speed, unit_nm), _speed(drift, unit_nm)
    course_deg, set_deg = angle(course), angle(set_to)
    at_s, source = reading.at_s, reading.source
    found: list[Observation] = []
    heading_deg = angle(heading) if status == "A" else None
    if heading_deg is not None:
        found.append(Heading(at_s=at_s, source=source, heading_deg=heading_deg))
    found.extend(_motions(course_deg, _motion(course_ref), speed_kn, _motion(speed_ref), reading))
    if set_deg is not None and drift_kn is not None:
        found.append(SetAndDrift(at_s=at_s, source=source, set_deg=set_deg, drift_kn=drift_kn))
    return tuple(found)


def _speed(text: str, unit_nm: float) -> float | None:
    value = number(text, 0.0, TOP_SPEED_KN / unit_nm)
    return None if value is None else value * unit_nm


def _motion(letter: str) -> MotionReference:
    try:
        return _MOTIONS[letter]
    except KeyError:
        raise RefusalError(RefusalReason.FLAG_UNKNOWN, f"motion reference {shown(letter)}") from None


def _motions(
    course_deg: float | None,
    course_reference: MotionReference,
    speed_kn: float | None,
    speed_reference: MotionReference,
    reading: Reading,
) -> Observations:
    """One observation where course and speed share a reference, else one for each."""
    if course_reference == speed_reference or course_deg is None or speed_kn is None:
        return _motion_of(course_deg, speed_kn, speed_reference if course_deg is None else course_reference, reading)
    return (
        *_motion_of(course_deg, None, course_reference, reading),
        *_motion_of(None, speed_kn, speed_reference, reading),
    )


def _motion_of(
    course_deg: float | None, speed_kn: float | None, reference: MotionReference, reading: Reading
) -> Observations:
    if course_deg is None and speed_kn is None:
        return ()
    at_s, source = reading.at_s, reading.source
    if reference is MotionReference.WATER:
        return (WaterMotion(at_s=at_s, source=source, stw_kn=speed_kn, course_deg=course_deg),)
    return (GroundMotion(at_s=at_s, source=source, sog_kn=speed_kn, cog_deg=course_deg, reference=reference),)
