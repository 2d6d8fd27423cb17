"""Field texts to numbers: finite, in range, and nothing but digits, sign and point.

`float` alone would take `nan`, `inf`, `1e5` and `1_0`: a NaN that reaches a comparison makes it silently False, and
an alarm that depends on it never sounds.

Two manners. `number` and its like raise RefusalError: for the fields without which a sentence says nothing. `optional`
and its like answer None and count an oddity: for all others. In both, a null field is None, not an error.
"""

from collections import Counter
from datetime import date
from functools import lru_cache

from parsers.observations import NM_M, Source
from parsers.parts import Parts
from parsers.sentence import RefusalError, RefusalReason, shown

DAY_S = 86_400
DAY_MS = 86_400_000

_PLAIN = "0123456789.+-"

_NM_PER_UNIT = {"N": 1.0, "K": 1000.0 / NM_M, "S": 1609.344 / NM_M}
"""Nautical miles in one unit of a units field: N nautical mile, K kilometre, S statute mile (1609.344 m exactly)."""


class Reading:
    """What a reader of fields knows beside the fields.

    The line's time and source, where oddities are counted, and the feed's unfinished messages.
    """

    __slots__ = ("at_s", "oddities", "parts", "source")

    def __init__(self, source: Source, oddities: Counter[str], parts: Parts) -> None:
        self.at_s = 0.0
        self.source = source
        self.oddities = oddities
        self.parts = parts

    def odd(self, what: str, times: int = 1) -> None:
        """Count something strange in a sentence that is nevertheless taken. `what` is one of a closed set."""
        if times:
            self.oddities[f"{self.source.formatter} {what}"] += times


def number(text: str, low: float, high: float) -> float | None:
    """A number within [low, high]; None for a null field; RefusalError for anything else."""
    if not text:
        return None
    if text.strip(_PLAIN):
        text = text.strip(" ")  # blanks round a number occur and do no harm
        if not text:
            return None
        if text.strip(_PLAIN):
            raise RefusalError(RefusalReason.NUMBER_MALFORMED, shown(text))
    try:
        value = float(text)
    except ValueError:
        raise RefusalError(RefusalReason.NUMBER_MALFORMED, shown(text)) from None
    if not low <= value <= high:
        raise RefusalError(RefusalReason.OUT_OF_RANGE, f"{shown(text)} is not in {low:g} to {high:g}")
    return value + 0.0  # -0.0 becomes 0.0


def optional(text: str, low: float, high: float, reading: Reading, name: str) -> float | None:
    """A number within [low, high], or None; what is malformed or out of range is counted under the field's name."""
    if not text:
        return None
    try:
        # As in `number`, whose call alone takes a third of the time.
        if not text.strip(_PLAIN) and low <= (value := float(text)) <= high:
            return value + 0.0
    except ValueError:
        pass
    try:
        return number(text, low, high)
    except RefusalError as error:
        reading.odd(f"{name} {error.refusal.reason}")
        return None


def angle(text: str) -> float | None:
    """Degrees in [0, 360); 360 is taken as 0. RefusalError as for `number`."""
    value = number(text, 0.0, 360.0)
    return 0.0 if value == 360.0 else value


def optional_angle(text: str, reading: Reading, name: str) -> float | None:
    """Degrees in [0, 360), or None as for `optional`."""
    value = optional(text, 0.0, 360.0, reading, name)
    return 0.0 if value == 360.0 else value


def whole(text: str, low: int, high: int) -> int | None:
    """A whole number; `2.0` is one. RefusalError as for `number`."""
    value = number(text, low, high)
    if value is None:
        return None
    if not value.is_integer():
        raise RefusalError(RefusalReason.NUMBER_MALFORMED, f"{shown(text)} is not whole")
    return int(value)


def nm_per_unit(letter: str) -> float:
    """Nautical miles in one of the unit that a units field names (N, K, S)."""
    factor = _NM_PER_UNIT.get(letter) or _NM_PER_UNIT.get(letter.strip(" ").upper())
    if factor is None:
        raise RefusalError(RefusalReason.FLAG_UNKNOWN, f"unit {shown(letter)}")
    return factor


def signed(value: float | None, letter: str, positive: str, negative: str) -> float | None:
    """An angle with its direction letter, E or W. RefusalError where the letter is missing or another.

    Zero needs no letter.
    """
    if not value:
        return value
    letter = letter.strip(" ").upper()
    if letter == positive:
        return value
    if letter == negative:
        return -value
    raise RefusalError(RefusalReason.FLAG_UNKNOWN, f"{shown(letter)} is neither {positive} nor {negative}")


def _coordinate(text: str, letter: str, letters: str, limit: float) -> float:
    value = number(text, 0.0, limit * 100)
    if value is None:
        raise RefusalError(RefusalReason.FIELD_MISSING, "half a position")
    degrees = value // 100.0
    minutes = value - 100.0 * degrees
    degrees += minutes / 60.0
    if minutes >= 60.0 or degrees > limit:
        raise RefusalError(RefusalReason.OUT_OF_RANGE, f"position {shown(text)}")
    if letter == letters[0]:
        return degrees
    letter = letter.strip(" ").upper()
    if letter not in (
        letters[0],
        letters[1],
    ):  # zero, too: a place at 0 N 0 E that nobody named is a wrong quiet answer
        raise RefusalError(RefusalReason.FLAG_UNKNOWN, f"hemisphere {shown(letter)}")
    return degrees if letter == letters[0] else 0.0 - degrees


def position(lat: str, north_south: str, lon: str, east_west: str) -> tuple[float, float] | None:
    """Latitude and longitude in degrees, north and east positive, from `ddmm.mm` and `dddmm.mm`.

    None where both are null, whatever the hemispheres say. Half a position, minutes of 60 and over, a latitude beyond
    90 or a missing hemisphere raise RefusalError.
    """
    if not lat and not lon:
        return None
    return _coordinate(lat, north_south, "NS", 90.0), _coordinate(lon, east_west, "EW", 180.0)


def time_of_day(text: str) -> float | None:
    """Seconds since midnight from `hhmmss.ss`; 86400 and over at a leap second (235960).

    RefusalError as for `number`.
    """
    second, point, digits = text.partition(".")
    if len(second) != 6 or second >= "24" or not digits or not (second + digits).isdecimal():
        return _time_of_day(text)
    whole_s = _time_of_day(second)
    # The seconds and their fraction apart, so that no dust of a subtraction is left.
    return None if whole_s is None else whole_s + float(point + digits)


# The sentences of one second share it: remembering it takes a fifth off the time of a TTM (measured).
@lru_cache(maxsize=256)
def _time_of_day(text: str) -> float | None:
    value = number(text, 0.0, 240001.0)
    if value is None:
        return None
    whole_part = int(value)
    seconds, minutes = whole_part % 100, whole_part // 100 % 100
    if seconds > 60 or minutes > 59:
        raise RefusalError(RefusalReason.OUT_OF_RANGE, f"time {shown(text)}")
    text = text.strip(" ")
    point = text.find(".")
    fraction = float(text[point:]) if 0 <= point < len(text) - 1 else 0.0
    return whole_part // 10000 * 3600 + minutes * 60 + seconds + fraction


def optional_time(text: str, reading: Reading) -> float | None:
    """As `time_of_day`, but None and an oddity where it is malformed."""
    if not text:
        return None
    try:
        return time_of_day(text)
    except RefusalError as error:
        reading.odd(f"time {error.refusal.reason}")
        return None


@lru_cache(maxsize=64)
def day_start_ms(year: int, month: int, day: int) -> int | None:
    """UNIX milliseconds at 00:00 UTC of a date; None where there is no such date."""
    try:
        return (date(year, month, day).toordinal() - date(1970, 1, 1).toordinal()) * DAY_MS
    except ValueError:
        return None


@lru_cache(maxsize=64)
def ddmmyy_start_ms(text: str) -> int | None:
    """UNIX milliseconds at 00:00 UTC of `ddmmyy`; None where there is no such date.

    Years 80 to 99 are of the last century: satellite positioning began in 1980.
    """
    if len(text) != 6 or not (text.isascii() and text.isdigit()):
        return None
    year = int(text[4:])
    return day_start_ms(year + (1900 if year >= 80 else 2000), int(text[2:4]), int(text[:2]))
