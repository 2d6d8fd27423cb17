r"""TAG blocks and other prefixes off a line: what they say, and the sentence that follows.

A TAG block is `\key:value,key:value*hh\` in front of a sentence (NMEA 0183 4.0, IEC 61162-450; second-hand). Several
may stand in a row. A block whose checksum is wrong or missing is ignored and counted, and the sentence still taken:
it has a checksum of its own, but then no time and no source.
"""

import re
from datetime import date
from functools import lru_cache

from msgspec import Struct, structs

from parsers.numbers import DAY_MS, day_start_ms
from parsers.sentence import CHECKSUM_VALUES, Refusal, RefusalReason, checksum, shown
from parsers.text import NOTE_LENGTH, clean

LATEST_MS = (date(2100, 1, 1).toordinal() - date(1970, 1, 1).toordinal()) * DAY_MS


class Group(Struct, frozen=True, gc=False):
    """`g:`: this line is `part` of `total` lines that belong together."""

    part: int
    total: int
    id: int


class Tagged(Struct, frozen=True, gc=False):
    """A line's sentence and what stood before it. `text` is empty where a line is a TAG block only.

    `source` and `destination` are of the TAG block, cleaned, and empty without one. `utc_ms` is the line's time by the
    TAG block's `c:` or a leading time. `line_number` is `n:`. `checked` says that the sentence's checksum is already
    known to be right. `oddity` names what was strange in front of the sentence, for counting.
    """

    text: str
    checked: bool = False
    utc_ms: int | None = None
    source: str = ""
    destination: str = ""
    group: Group | None = None
    line_number: int | None = None
    note: str | None = None
    oddity: str | None = None


def untag(line: bytes, checked: bool = False) -> Tagged | Refusal:
    """Take a line's TAG blocks, leading time or other prefix off. `checked`: see `framing.Block`."""
    text = line.decode("latin-1")
    first = line[:1]
    if first == b"\\":
        if checked:
            block, _, sentence = text[1:].partition("\\")
            return _tagged(sentence, [block[:-3]], True, None)
        return _with_blocks(text)
    if checked:
        return Tagged(text, True)
    if (first == b"$" or first == b"!") and line.count(b"$") + line.count(b"!") == 1:
        # Checked here, where the bytes are at hand, it takes half the time that it takes `sentence.fields_of`.
        right = line[-3:-2] == b"*" and CHECKSUM_VALUES.get(text[-2:]) == checksum(line[1:-3])
        return Tagged(text, right)
    return _with_prefix(text)


# A TAG block of source and time in milliseconds before 2096, nothing else, or no TAG block at all; then the sentence.
_ORDINARY = re.compile(r"(?:\\s:([^\\,*:\n]{1,15}),c:([0-3][0-9]{12})\*..\\)?(.*)\n")


def ordinary(lines: list[bytes], checked: list[bool]) -> list[Tagged | None]:
    """What `untag` says of those of a file's lines that are checked and of the most usual shape; None for the others.

    One search through all the lines takes half the time of `untag` for each.
    """
    text = b"\n".join((*lines, b"")).decode("latin-1")
    return [
        Tagged(sentence, True, int(time) if time else None, name(source)) if is_right and sentence[0] != "\\" else None
        for is_right, (source, time, sentence) in zip(checked, _ORDINARY.findall(text), strict=True)
    ]


def _tagged(sentence: str, blocks: list[str], checked: bool, oddity: str | None) -> Tagged:
    """What the blocks say, later ones over earlier ones. Keys that nobody here uses are passed over."""
    utc_ms = line_number = group = note = None
    source = destination = ""
    for block in blocks:
        for item in block.split(","):
            key, _, value = item.partition(":")
            if key == "c":
                utc_ms = unix_ms(value)
                if utc_ms is None:
                    oddity = "TAG time malformed"
            elif key == "s":
                source = name(value)
            elif key == "d":
                destination = name(value)
            elif key == "n":
                line_number = int(value) if value.isdecimal() and len(value) <= 9 and value.isascii() else None
            elif key == "g":
                group = group_of(value)
            elif key == "t":
                note = clean(value, NOTE_LENGTH) or None
    return Tagged(sentence, checked, utc_ms, source, destination, group, line_number, note, oddity)


@lru_cache(maxsize=256)
def name(text: str) -> str:
    """A source or destination: 15 characters by the rule."""
    return clean(text, 15)


@lru_cache(maxsize=256)
def group_of(text: str) -> Group | None:
    """A TAG group `part-total-id`; None where it is malformed."""
    match = re.fullmatch(r"([0-9]{1,3})-([0-9]{1,3})-([0-9]{1,9})", text)
    return Group(int(match[1]), int(match[2]), int(match[3])) if match else None


def unix_ms(text: str) -> int | None:
    """UNIX time to milliseconds: whole numbers of 12 digits and over are milliseconds, all others seconds."""
    if text.isdecimal() and text.isascii() and len(text) <= 15:
        value = int(text)
        ms = value if len(text) >= 12 else value * 1000
    else:
        match = re.fullmatch(r"([0-9]{1,11})\.([0-9]{1,9})", text)
        if match is None:
            return None
        ms = int(match[1]) * 1000 + _fraction_ms(match[2])
    return ms if ms < LATEST_MS else None


def _fraction_ms(digits: str) -> int:
    """The digits behind the point to whole milliseconds, cut, so that no time lies in the future of its line."""
    return int(digits[:3].ljust(3, "0"))


_BLOCK = re.compile(r"\\([^\\$!]*)\\")
_BLOCK_TEXT = re.compile(r"([^*]*)\*([0-9A-Fa-f]{2})")


def _with_blocks(text: str) -> Tagged | Refusal:
    """All blocks at the line's beginning, each by its own checksum."""
    blocks: list[str] = []
    oddity = None
    place = 0
    while match := _BLOCK.match(text, place):
        right = _BLOCK_TEXT.fullmatch(match[1])
        if right and checksum(right[1].encode("latin-1")) == CHECKSUM_VALUES[right[2]]:
            blocks.append(right[1])
        else:
            oddity = "TAG checksum wrong" if right else "TAG block malformed"
        place = match.end()
    rest = text[place:].strip(" \t")
    if not rest:
        if place == 0:
            return Refusal(RefusalReason.NO_SENTENCE, shown(text))
        return _tagged("", blocks, False, oddity)
    found = _sentence_in(rest)
    if found is None:
        return Refusal(RefusalReason.NO_SENTENCE, shown(text))
    if found > 0:
        oddity = "TAG block malformed" if rest[0] == "\\" else "junk before the sentence"
    return _tagged(rest[found:], blocks, False, oddity)


_ADDRESS = re.compile(r"[$!](?=[A-Za-z0-9]{4,12}[,*])")


def _sentence_in(text: str) -> int | None:
    """Where the sentence begins: at the last `$` or `!` that an address follows, else at the first of either."""
    begins = None
    for match in _ADDRESS.finditer(text):
        begins = match.start()
    if begins is not None:
        return begins
    firsts = [place for place in (text.find("$"), text.find("!")) if place >= 0]
    return min(firsts) if firsts else None


_TIME = re.compile(
    r"\s*(?:(?P<unix>[0-9]{9,15}(?:\.[0-9]{1,9})?)"
    r"|(?P<date>[0-9]{4}-[0-9]{2}-[0-9]{2})[T ](?P<h>[0-9]{2}):(?P<m>[0-9]{2}):(?P<s>[0-9]{2})"
    r"(?:[.,](?P<fraction>[0-9]{1,9}))?\s?(?P<zone>Z|[+-][0-9]{2}:?[0-9]{2})?)[\s,;]+"
)


def _with_prefix(text: str) -> Tagged | Refusal:
    """A leading time, or a logger's text, which is passed over and counted. Behind it a TAG block may stand."""
    utc_ms = None
    text = text.strip(" \t")
    match = _TIME.match(text)
    if match:
        utc_ms = unix_ms(match["unix"]) if match["unix"] else _iso_ms(match)
        text = text[match.end() :]
        if text.startswith("\\"):
            tagged = _with_blocks(text)
            if isinstance(tagged, Refusal) or tagged.utc_ms is not None:
                return tagged
            return structs.replace(tagged, utc_ms=utc_ms)
    begins = _sentence_in(text)
    if begins is None:
        return Refusal(RefusalReason.NO_SENTENCE, shown(text))
    if begins == 0:
        return Tagged(text, utc_ms=utc_ms)
    return Tagged(text[begins:], utc_ms=utc_ms, oddity="junk before the sentence")


def _iso_ms(match: re.Match[str]) -> int | None:
    """ISO 8601 to milliseconds; without a zone it is taken for UTC."""
    year, month, day = match["date"].split("-")
    day_ms = day_start_ms(int(year), int(month), int(day))
    hour, minute, second = int(match["h"]), int(match["m"]), int(match["s"])
    if day_ms is None or hour > 24 or minute > 59 or second > 60:
        return None
    minutes = hour * 60 + minute
    zone = match["zone"]
    if zone and zone != "Z":
        offset = int(zone[1:3]) * 60 + int(zone[-2:])
        minutes -= offset if zone[0] == "+" else -offset
    ms = day_ms + minutes * 60_000 + second * 1000 + _fraction_ms(match["fraction"] or "")
    return ms if 0 <= ms < LATEST_MS else None
