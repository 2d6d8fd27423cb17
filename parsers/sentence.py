"""One line's text to its address and fields, or a typed refusal.

Rules of the line (NMEA 0183 and IEC 61162-1, second-hand; the reference table is docs/sentences.md): `$` or `!`,
an address, fields between commas, `*` and two hexadecimal digits, which are the exclusive or of all bytes between the
start character and the star.

A text is ISO 8859-1 decoded bytes, so one character is one byte throughout this wing.
"""

from enum import StrEnum
from functools import lru_cache, reduce
from operator import xor

from msgspec import Struct


class RefusalReason(StrEnum):
    """Why a line was refused. Each is counted by its name; the set is closed, so that counters stay bounded."""

    NO_SENTENCE = "no sentence"  # neither $ nor ! in the line
    ADDRESS = "address malformed"
    CHECKSUM_MISSING = "checksum missing"
    CHECKSUM_MALFORMED = "checksum malformed"
    CHECKSUM_WRONG = "checksum wrong"
    FIELD_MISSING = "field missing"
    NUMBER_MALFORMED = "number malformed"
    OUT_OF_RANGE = "out of range"
    FLAG_UNKNOWN = "flag unknown"  # a unit, hemisphere, reference or status letter that the standard does not have
    PAYLOAD_MALFORMED = "payload malformed"  # six-bit armour of VDM, VDO and TTD


class Refusal(Struct, frozen=True, gc=False):
    """A line that was not taken. `detail` is for people: printable ASCII of bounded length."""

    reason: RefusalReason
    detail: str


class RefusalError(Exception):
    """Raised by a reader of fields; `decode` turns it into the line's Refusal. It never leaves this wing."""

    def __init__(self, reason: RefusalReason, detail: str) -> None:
        super().__init__(detail)
        self.refusal = Refusal(reason, detail)


class Sentence(Struct, frozen=True, gc=False):
    """A sentence whose frame is right. `fields[0]` is the address, so that fields count from 1 as the standard does."""

    start: str
    talker: str
    formatter: str
    fields: list[str]


SHOWN = 40
"""Characters of a foreign text that a refusal's detail may repeat."""


def shown(text: str) -> str:
    """A text from the wire, quoted, escaped to printable ASCII and cut, for a refusal's detail."""
    return ascii(text[:SHOWN]) + ("..." if len(text) > SHOWN else "")


def checksum(data: bytes) -> int:
    """The exclusive or of all bytes."""
    return reduce(xor, data, 0)


_HEX = "0123456789ABCDEFabcdef"
CHECKSUM_VALUES = {high + low: int(high + low, 16) for high in _HEX for low in _HEX}
"""What two hexadecimal digits, of either case, say."""


def parse(text: str, require_checksum: bool = True, checked: bool = False) -> Sentence | Refusal:
    """Take a text that begins at `$` or `!` apart.

    Lower-case hexadecimal digits are accepted. A checksum that is there must be right, even where none is required.
    `checked` says that the line's last three characters are a checksum already known to be right.
    """
    fields = text[1:-3].split(",") if checked else fields_of(text, require_checksum)
    if isinstance(fields, Refusal):
        return fields
    address = split_address(fields[0])
    if address is None:
        return Refusal(RefusalReason.ADDRESS, shown(fields[0]))
    return Sentence(text[0], address[0], address[1], fields)


def fields_of(text: str, require_checksum: bool) -> list[str] | Refusal:
    """What stands between the start character and the star, at its commas, once the checksum agrees."""
    text = text.rstrip(" \t")
    star = text.rfind("*")
    if star < 0:
        if require_checksum:
            return Refusal(RefusalReason.CHECKSUM_MISSING, shown(text))
        return text[1:].split(",")
    digits = text[star + 1 :]
    given = CHECKSUM_VALUES.get(digits)
    if given is None:
        return Refusal(RefusalReason.CHECKSUM_MALFORMED, f"after the star: {shown(digits)}")
    body = text[1:star]
    computed = checksum(body.encode("latin-1"))
    if computed != given:
        return Refusal(RefusalReason.CHECKSUM_WRONG, f"{shown(text)}: computed {computed:02X}, given {digits.upper()}")
    return body.split(",")


# 1024 addresses: more than any vessel has; a flood of invented ones only costs the cache its use.
@lru_cache(maxsize=1024)
def split_address(address: str) -> tuple[str, str] | None:
    """Talker and formatter, upper case; None where the address is malformed.

    A proprietary address (`P` and a maker's code) has the talker `P`. A query (`CCGPQ`) is an address like any other:
    its formatter ends in Q and no decoder takes it.
    """
    if not (address.isascii() and address.isalnum()):
        return None
    address = address.upper()
    if address[0] == "P" and 4 <= len(address) <= 12:
        return "P", address[1:]
    if len(address) != 5:
        return None
    return address[:2], address[2:]
