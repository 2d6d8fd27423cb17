"""What sentences have in common: the largest values there are, marks of what is valid, angles with E or W beside."""

from parsers.numbers import Reading, optional, signed
from parsers.observations import FixQuality
from parsers.sentence import RefusalError, RefusalReason, shown

TOP_SPEED_KN = 200.0
"""No vessel is faster; sets write 999.9 for a speed that they do not know."""

FARTHEST_NM = 200.0
"""Beyond any radar's longest scale (96 or 120 NM) and any AIS target passed on as tracked."""

# Mode letters of RMC, GLL, VTG and GNS (2.3 and later). A null mode is of an older sentence: the status decides.
MODES: dict[str, FixQuality | None] = {
    "": FixQuality.SATELLITE,
    "A": FixQuality.SATELLITE,
    "D": FixQuality.SATELLITE,
    "P": FixQuality.SATELLITE,
    "R": FixQuality.SATELLITE,
    "F": FixQuality.SATELLITE,
    "E": FixQuality.DEAD_RECKONING,
    "M": FixQuality.MANUAL,
    "S": FixQuality.SIMULATOR,
    "N": None,
}


def quality_of(table: dict[str, FixQuality | None], letter: str) -> FixQuality | None:
    """How the values were made, by a mode or quality letter; None where it marks them as not valid.

    RefusalError for a letter that `table` does not have: it decides what the sentence is worth.
    """
    try:
        return table[letter]
    except KeyError:
        raise RefusalError(RefusalReason.FLAG_UNKNOWN, f"mode or quality {shown(letter)}") from None


def is_valid(status: str) -> bool:
    """A is valid. V is not, and neither is a null where a status belongs. RefusalError for any other letter."""
    if status == "A":
        return True
    if status in ("V", ""):
        return False
    raise RefusalError(RefusalReason.FLAG_UNKNOWN, f"status {shown(status)}")


def east_positive(text: str, letter: str, limit: float, reading: Reading, name: str) -> float | None:
    """An angle in degrees, at most `limit`, with E or W beside it: east positive.

    None where it is null; None and an oddity under `name` where either makes no sense.
    """
    value = optional(text, 0.0, limit, reading, name)
    try:
        return signed(value, letter, "E", "W")
    except RefusalError:
        reading.odd(f"{name} direction unknown")
        return None
