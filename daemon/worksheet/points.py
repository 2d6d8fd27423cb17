"""Points of a manual plot as people write them: times, bearings with their letter, ranges with their unit."""

import csv
import re
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from math import ceil, isfinite
from pathlib import Path

from msgspec import structs

from alerts.plotting.manual import OwnLeg, Reading
from daemon.errors import CANNOT_OPEN, UserError
from parsers.observations import NM_M

UNITS_NM = {"": 1.0, "nm": 1.0, "cab": 0.1, "km": 1000 / NM_M, "m": 1 / NM_M, "yd": 0.9144 / NM_M}
"""A cable is a tenth of a nautical mile, a yard 0.9144 m (international yard, 1959)."""

DAY_S = 86_400.0
_MOST_POINTS = 10_000  # a plot by hand has a handful; the bound keeps a wrong file from filling memory
_TIME = re.compile(r"(\d{1,2}):(\d{2})(?::(\d{2}(?:\.\d+)?))?|(\d{2})(\d{2})(\d{2})?")
_BEARING = re.compile(r"(?:R\s*)?(\d{1,3}(?:\.\d+)?)\s*°?\s*([TRPS]?)", re.IGNORECASE)
_RANGE = re.compile(r"(\d+(?:\.\d*)?|\.\d+)\s*(nm|cab|km|m|yd)?", re.IGNORECASE)


def clock_s(text: str) -> float:
    """Seconds since midnight of `10:00`, `10:00:30`, `1000` or `100030`; UNIX seconds of an ISO date and time."""
    match = _TIME.fullmatch(text.strip())
    if match is None:
        try:
            moment = datetime.fromisoformat(text.strip())
        except ValueError:
            raise UserError(f"cannot read the time {text!r}; write 10:00, 10:00:30 or 1000") from None
        return (moment if moment.tzinfo else moment.replace(tzinfo=UTC)).timestamp()
    hour, minute, second = (match[1], match[2], match[3]) if match[1] else (match[4], match[5], match[6])
    if int(hour) > 23 or int(minute) > 59 or float(second or 0) >= 60:
        raise UserError(f"there is no time {text!r}; hours run to 23, minutes and seconds to 59")
    return int(hour) * 3600 + int(minute) * 60 + float(second or 0)


def bearing(text: str) -> tuple[float, bool]:
    """Degrees and whether they are off the bow: `061`, `061T` true; `299R`, `R299`, `61P`, `61S` relative."""
    match = _BEARING.fullmatch(text.strip())
    letter = match[2].upper() if match else ""
    if match and text.strip()[0] in "Rr":
        letter = "R" if not letter else "?"
    degrees = float(match[1]) if match else 0.0
    if match is None or letter == "?":
        raise UserError(f"cannot read the bearing {text!r}; write 061T, 299R, 61P or 61S")
    if degrees > (180 if letter in ("P", "S") else 360):
        raise UserError(f"there is no bearing {text!r}: 0 to 360, or 0 to 180 to port or starboard")
    return (-degrees if letter == "P" else degrees), letter in ("R", "P", "S")


def distance_nm(text: str) -> float:
    """Nautical miles of `4.0`, `6900yd`, `7.4km`, `800m`, `8cab`; more than zero."""
    match = _RANGE.fullmatch(text.strip())
    if match is None:
        raise UserError(f"cannot read the range {text!r}; write 4.0 (NM), 6900yd, 7.4km, 800m or 8cab")
    value = float(match[1]) * UNITS_NM[(match[2] or "").lower()]
    if not 0 < value < 1000:
        raise UserError(f"the range {text!r} is not one of a plot: more than 0 and less than 1000 NM")
    return value


def range_error(text: str) -> tuple[float, float]:
    """One standard deviation of a range: a distance (NM), a share of the range, or both, `0.02,1%`."""
    least, share = 0.0, 0.0
    for part in text.split(","):
        if part.strip().endswith("%"):
            try:
                share = float(part.strip()[:-1]) / 100
            except ValueError:
                raise UserError(f"cannot read the share {part!r}; write 1%") from None
        else:
            least = distance_nm(part)
    if not (0 <= share <= 1 and least + share > 0):
        raise UserError(f"{text!r} is not an error of range; write 0.02, 30m, 1% or 0.02,1%")
    return least, share


def course(text: str) -> float:
    """A true course or heading in [0, 360): `340`, `340T`."""
    try:
        degrees, relative = bearing(text)
    except UserError:
        raise UserError(f"cannot read the course {text!r}; write 340 or 340T, 0 to 360") from None
    if relative:
        raise UserError(f"a course is true, not off the bow: {text!r}")
    return degrees % 360


def speed(text: str) -> float:
    """Knots, not negative."""
    try:
        knots = float(text.lower().removesuffix("kn"))
    except ValueError:
        raise UserError(f"cannot read the speed {text!r}; write knots, as in 12 or 12.5") from None
    if not (isfinite(knots) and 0 <= knots <= 100):
        raise UserError(f"the speed {text!r} is not one of a vessel: 0 to 100 kn")
    return knots


def point(text: str) -> Reading:
    """One `TIME BEARING RANGE`; a unit may stand apart (`10:00 061T 800 m`)."""
    words = text.split()
    if len(words) == 4 and words[3].lower() in UNITS_NM:
        words = [*words[:2], words[2] + words[3]]
    if len(words) != 3:
        raise UserError(f'cannot read the point {text!r}; write it as "10:00 061T 4.0": time, bearing, range')
    degrees, relative = bearing(words[1])
    return Reading(clock_s(words[0]), distance_nm(words[2]), degrees, relative)


def leg(text: str) -> OwnLeg:
    """One `TIME COURSE SPEED` of own ship."""
    words = text.split()
    if len(words) != 3:
        raise UserError(f'cannot read own motion {text!r}; write it as "10:06 010 8": time, course, speed')
    return OwnLeg(clock_s(words[0]), course(words[1]), speed(words[2]))


def from_csv(path: Path) -> tuple[list[Reading], list[OwnLeg]]:
    """Columns time, bearing, range; and, where own ship's are noted, heading, course, speed."""
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            reader = csv.DictReader(file, skipinitialspace=True)
            names = [name.strip().lower() for name in reader.fieldnames or ()]
            missing = [name for name in ("time", "bearing", "range") if name not in names]
            if missing:
                raise UserError(f"{path}: no column {', '.join(missing)}; the first line must be time,bearing,range")
            if twice := {name for name in names if name and names.count(name) > 1}:
                raise UserError(f"{path}: two columns are called {min(twice)}")
            return _rows(path, reader, names)
    except OSError as error:
        raise UserError(f"{path}: cannot be read: {error.strerror}", CANNOT_OPEN) from None
    except UnicodeDecodeError:
        raise UserError(f"{path} is not UTF-8 text; name a CSV file", CANNOT_OPEN) from None
    except csv.Error as error:
        raise UserError(f"{path}: cannot be read as CSV: {error}", CANNOT_OPEN) from None


def _rows(
    path: Path, reader: Iterable[dict[str | None, str | None]], names: list[str]
) -> tuple[list[Reading], list[OwnLeg]]:
    readings: list[Reading] = []
    legs: list[OwnLeg] = []
    for number, row in enumerate(reader, start=2):
        cells = dict(zip(names, ((value or "").strip() for value in list(row.values())[: len(names)]), strict=False))
        if not any(cells.values()):
            continue
        if len(readings) == _MOST_POINTS:
            raise UserError(f"{path}, line {number}: more than {_MOST_POINTS} points")
        try:
            reading, noted = _row(cells)
        except UserError as error:
            raise UserError(f"{path}, line {number}: {error}") from None
        readings.append(reading)
        legs += noted
    return readings, legs


def _row(cells: dict[str, str]) -> tuple[Reading, list[OwnLeg]]:
    """The point of a line, and own course and speed where they are noted in it."""
    at_s = clock_s(cells["time"])
    degrees, relative = bearing(cells["bearing"])
    heading = course(cells["heading"]) if cells.get("heading") else None
    reading = Reading(at_s, distance_nm(cells["range"]), degrees, relative, heading)
    noted = cells.get("course", ""), cells.get("speed", "")
    if not any(noted):
        return reading, []
    if not all(noted):
        raise UserError("own course and own speed go together: give both, or neither")
    return reading, [OwnLeg(at_s, course(noted[0]), speed(noted[1]))]


def in_order(readings: Sequence[Reading], legs: Sequence[OwnLeg]) -> tuple[list[Reading], list[OwnLeg]]:
    """In order of time, clock times made to run on past midnight; what is dated stays as it is.

    A clock time that falls back by more than half a day from the reading before it is the next day's. A leg's is that
    of the plot's days: see `_beside`. Raises UserError where some readings are dated and some are not.
    """
    dated = [_is_dated(one) for one in readings]
    if any(dated) != all(dated) or (any(map(_is_dated, legs)) and not all(dated)):
        raise UserError("some times have a date and some have none: give all with a date, or none")
    placed: list[Reading] = []
    for reading in readings:
        at_s = reading.at_s
        while placed and not _is_dated(reading) and at_s < placed[-1].at_s - DAY_S / 2:
            at_s += DAY_S
        placed.append(structs.replace(reading, at_s=at_s))
    placed.sort(key=lambda reading: reading.at_s)
    if not placed:
        return [], list(legs)
    first_s, last_s = placed[0].at_s, placed[-1].at_s
    moved = [one if _is_dated(one) else structs.replace(one, at_s=_beside(one.at_s, first_s, last_s)) for one in legs]
    return placed, sorted(moved, key=lambda one: one.at_s)


def _is_dated(one: Reading | OwnLeg) -> bool:
    """Whether its time is UNIX seconds: a clock time, as read, is less than a day."""
    return not 0 <= one.at_s < DAY_S


def _beside(at_s: float, first_s: float, last_s: float) -> float:
    """A clock time on one of the days of a plot: within it if it can be, else at the nearer side of its beginning."""
    later_s = at_s + DAY_S * ceil((first_s - at_s) / DAY_S)
    return later_s if later_s <= last_s or later_s - first_s < DAY_S / 2 else later_s - DAY_S
