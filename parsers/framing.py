"""Bytes or datagrams to lines.

Rules for this file:

- A line ends at CR, LF or NUL, and where a second sentence or TAG block begins right after a checksum: streams without
  any line ends, and two sentences run together, come apart.
- Where lines end depends on the bytes alone, never on how they were cut into reads.
- Every byte is accounted for: bytes_read = bytes_in_lines + the sum of discarded + waiting.
- No input costs more than a fixed number of looks at each byte, and no more than `limit` bytes are kept.
"""

import re
from collections import Counter
from enum import StrEnum

from msgspec import Struct

LIMIT = 1024
"""Longest line. A sentence has 82 characters by the rule and 88 have been seen; each TAG block adds at most 80 and a
few may stand in a row; a datagram has at most 1472. A name of 10 kB is an attack."""

HEADER = b"UdPbC\0"
"""The token that opens an IEC 61162-450 datagram of sentences, once."""

_OTHER_TOKEN = re.compile(rb"[A-Z][A-Za-z0-9]{4}\0")
"""Five letters and NUL: a datagram of another kind (RaUdP, RrUdP, RpUdP are file transfers)."""

_RESTART = re.compile(rb"[\r\n\0$!]")

# A checksum with a new beginning right behind it. `\\` ends a TAG block more often than it begins one: it begins one
# only where a letter follows and `_inside_sentence` agrees.
_SEAM = re.compile(rb"\*[0-9A-Fa-f]{2}(?=[$!]|\\[A-Za-z])")
_SEAM_LENGTH = 5


class Discarded(StrEnum):
    """Why bytes are in no line."""

    LINE_END = "line end"
    NUL = "NUL"
    TOO_LONG = "line too long"
    HEADER = "datagram header"
    OTHER_DATAGRAM = "datagram of another kind"


class Counts:
    """A feed's bytes, as far as framing has seen them."""

    __slots__ = ("bytes_in_lines", "bytes_read", "discarded", "waiting")

    def __init__(self) -> None:
        self.bytes_read = 0
        self.bytes_in_lines = 0
        self.discarded: Counter[Discarded] = Counter()
        self.waiting = 0

    @property
    def balanced(self) -> bool:
        """Whether every byte read is accounted for."""
        return self.bytes_read == self.bytes_in_lines + self.discarded.total() + self.waiting


class Framer:
    """Puts a stream's bytes together to lines. One for each feed; datagrams may come between."""

    def __init__(self, limit: int = LIMIT) -> None:
        self.counts = Counts()
        self._limit = limit
        self._rest = b""  # an unfinished line: at most limit bytes
        self._searched = 0  # no seam begins before this place of the rest
        self._skipping = False  # inside a line that is too long

    def feed(self, data: bytes) -> list[bytes]:
        """The lines that these bytes complete."""
        self.counts.bytes_read += len(data)
        if self._skipping:
            data = self._skip(data)
        pieces = self._pieces(data)
        if self._rest:
            pieces[0] = self._rest + pieces[0]
        first, unfinished = pieces[0], pieces.pop()
        lines = list(filter(None, pieces))
        # One search through all of it costs less than one a line. It says nothing of a seam across the old rest's end.
        if (
            _SEAM.search(data)
            or _SEAM.search(first, self._searched)
            or len(unfinished) > self._limit
            or len(max(lines, key=len, default=b"")) > self._limit
        ):
            lines, unfinished = self._apart(lines, unfinished)
        self._keep(unfinished)
        self.counts.bytes_in_lines += sum(map(len, lines))
        return lines

    def end(self) -> list[bytes]:
        """The unfinished line, at the end of a file or when a port closes."""
        rest, self._skipping = self._rest, False
        self._keep(b"")
        self.counts.bytes_in_lines += len(rest)
        return [rest] if rest else []

    def datagram(self, data: bytes) -> list[bytes]:
        """The lines of one datagram, which always ends its last line. Leaves an unfinished line of the stream alone."""
        counts = self.counts
        if _OTHER_TOKEN.match(data):
            ours = data.startswith(HEADER)
            dropped = len(HEADER) if ours else len(data)
            counts.bytes_read += dropped
            counts.discarded[Discarded.HEADER if ours else Discarded.OTHER_DATAGRAM] += dropped
            data = data[dropped:]
        own = Framer(self._limit)
        own.counts, waiting = counts, counts.waiting
        lines = own.feed(data) + own.end()
        counts.waiting = waiting
        return lines

    def _apart(self, pieces: list[bytes], unfinished: bytes) -> tuple[list[bytes], bytes]:
        """Pieces between line ends to lines and an unfinished one: parted at seams, without what is too long."""
        lines: list[bytes] = []
        searched = self._searched
        for piece in (*pieces, unfinished):
            start = 0
            while (end := self._seam(piece, start, searched)) is not None or len(piece) - start > self._limit:
                if end is None:
                    end = self._restart(piece, start)
                else:
                    lines.append(piece[start:end])
                start = searched = end
            searched = 0
            if start < len(piece):
                lines.append(piece[start:])
        # The last piece has no end yet. A seam always leaves something behind it: where nothing is left, a line was too
        # long and goes on.
        self._skipping = start == len(unfinished) > 0
        return lines, lines.pop() if start < len(unfinished) else b""

    def _seam(self, piece: bytes, start: int, searched: int) -> int | None:
        """Where a second sentence or TAG block begins, at most limit bytes behind start."""
        for match in _SEAM.finditer(piece, searched, start + self._limit + 1):
            end = match.end()
            if piece[end] != ord("\\") or _inside_sentence(piece, start, match.start()):
                return end
        return None

    def _restart(self, piece: bytes, start: int) -> int:
        """Discard a line that is too long, up to where a sentence may begin."""
        match = _RESTART.search(piece, start + self._limit)
        end = match.start() if match else len(piece)
        self.counts.discarded[Discarded.TOO_LONG] += end - start
        return end

    def _skip(self, data: bytes) -> bytes:
        match = _RESTART.search(data)
        dropped = match.start() if match else len(data)
        self._skipping = match is None
        self.counts.discarded[Discarded.TOO_LONG] += dropped
        return data[dropped:]

    def _keep(self, rest: bytes) -> None:
        self._rest = rest
        self._searched = max(0, len(rest) - _SEAM_LENGTH + 1)
        self.counts.waiting = len(rest)

    def _pieces(self, data: bytes) -> list[bytes]:
        """What stands between line ends, empty where two follow one another; the last piece has no end yet."""
        nuls = data.count(0) if b"\0" in data else 0
        if nuls:
            self.counts.discarded[Discarded.NUL] += nuls
            data = data.replace(b"\0", b"\n")
        pieces = data.splitlines()  # at CR, LF and CR LF; takes half the time of translate and split (measured)
        ends = len(data) - sum(map(len, pieces)) - nuls
        if ends:
            self.counts.discarded[Discarded.LINE_END] += ends
        if not data or data[-1:] in (b"\r", b"\n"):
            pieces.append(b"")
        return pieces


def _inside_sentence(piece: bytes, start: int, star: int) -> bool:
    """Whether the star belongs to a sentence, not to a TAG block: by which of their first characters came last."""
    began = max(piece.rfind(b"$", start, star), piece.rfind(b"!", start, star))
    return began > piece.rfind(b"\\", start, star)


class Block(Struct, frozen=True):
    """Lines of a part of a file. `checked` says of each line that its checksums, TAG block and sentence, are right."""

    lines: list[bytes]
    checked: list[bool]


def frame_block(data: bytes, framer: Framer | None = None) -> Block:
    """A large part of a file to lines, the same as `Framer.feed` gives, with all checksums worked out at once.

    With a framer, the parts of one file follow one another; without, the data are whole.
    """
    from parsers.checksums import verify

    if framer is None:
        framer = Framer()
        lines = framer.feed(data) + framer.end()
    else:
        lines = framer.feed(data)
    return Block(lines, verify(lines))
