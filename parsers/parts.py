"""Encapsulated sentences (VDM, VDO, TTD): their six-bit payload, and the parts of a message to a whole."""

from msgspec import Struct

from parsers.sentence import RefusalError, RefusalReason, shown

KEPT = 64
"""Unfinished messages held at once: ten sequence numbers on two channels for each of three talkers."""

AGE_S = 2.0
"""A message's parts are sent one behind the other. There are only ten sequence numbers: an old part that waited longer
would be joined to another message's."""


class _Unfinished(Struct):
    began_s: float
    total: int
    parts: dict[int, str]


class Parts:
    """Joins the parts of messages: late, interleaved with others', out of order, or missing."""

    def __init__(self) -> None:
        self._unfinished: dict[tuple[str, ...], _Unfinished] = {}

    def add(self, key: tuple[str, ...], total: int, part: int, text: str, at_s: float) -> tuple[list[str] | None, int]:
        """All texts of a message, in order, once the last is there; and how many unfinished messages were given up."""
        given_up = self._forget(at_s)
        message = self._unfinished.get(key)
        if message is not None and (message.total != total or part in message.parts):
            del self._unfinished[key]  # another message has begun under the same number
            message = None
            given_up += 1
        if message is None:
            message = self._unfinished[key] = _Unfinished(at_s, total, {})
        message.parts[part] = text
        if len(message.parts) < total:
            return None, given_up
        del self._unfinished[key]
        return [message.parts[number] for number in range(1, total + 1)], given_up

    def holds(self, key: tuple[str, ...]) -> bool:
        """Whether a message under this key waits for parts."""
        return key in self._unfinished

    def _forget(self, at_s: float) -> int:
        """Give up what is too old, or dated after now (time went back), and the oldest where there are too many."""
        # Messages stand in the order in which they began, so that the old ones are in front.
        given_up = 0
        for key, message in list(self._unfinished.items()):
            in_time = 0.0 <= at_s - message.began_s <= AGE_S
            if in_time and len(self._unfinished) < KEPT:
                break
            del self._unfinished[key]
            given_up += 1
        return given_up


def part_numbers(total_text: str, part_text: str, base: int, most: int) -> tuple[int, int]:
    """Total and number of a part, in decimal or hexadecimal; RefusalError where they make no sense."""
    try:
        total, part = int(total_text, base), int(part_text, base)
    except ValueError:
        raise RefusalError(RefusalReason.NUMBER_MALFORMED, f"part {shown(part_text)} of {shown(total_text)}") from None
    if not 1 <= part <= total <= most:
        raise RefusalError(RefusalReason.OUT_OF_RANGE, f"part {part} of {total}")
    return total, part


_SIX_BITS = {chr(code): value for value, code in enumerate((*range(48, 88), *range(96, 120)))}


_ARMOUR = "".join(_SIX_BITS)


def is_armoured(payload: str) -> bool:
    """Whether all characters are of the six-bit armour."""
    return not payload.strip(_ARMOUR)


def six_bits(character: str) -> int:
    """The six bits of one character of the armour."""
    return _SIX_BITS[character]


class Bits:
    """A payload's bits, taken from the front."""

    def __init__(self, payload: str, fill: str) -> None:
        """Undo the six-bit armour; `fill` bits at the end are padding. RefusalError where it is none."""
        if fill not in ("0", "1", "2", "3", "4", "5"):
            raise RefusalError(RefusalReason.PAYLOAD_MALFORMED, f"fill bits {shown(fill)}")
        if not is_armoured(payload):
            raise RefusalError(RefusalReason.PAYLOAD_MALFORMED, f"not six-bit armour: {shown(payload)}")
        value = 0
        for character in payload:
            value = value << 6 | _SIX_BITS[character]
        self.left = max(0, 6 * len(payload) - int(fill))
        self._value = value >> int(fill)

    def take(self, width: int) -> int:
        """The next bits as an unsigned number. The caller sees to it that enough are left."""
        self.left -= width
        value = self._value >> self.left
        self._value &= (1 << self.left) - 1
        return value
