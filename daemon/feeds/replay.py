"""Recordings as feeds: plain or gzip, a file or standard input, read in large parts that hold whole lines.

A recording made by our own recorder tells for each line which feed it came by and when; such lines come back exactly
as they arrived, with the same two times. Any other line keeps its TAG block, and its own times drive the clock.
"""

import io
import re
import sys
import zlib
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

from daemon.errors import CANNOT_OPEN, UserError
from daemon.feeds.face import UNTIMED, Arrival, Counters
from parsers.framing import Framer, frame_block
from parsers.tag import ordinary, untag

PART_BYTES = 1 << 20
HEAD_BYTES = 1 << 16
SLICE_BYTES = 1 << 10

ARRIVAL_BLOCK = re.compile(rb"\\s:([^\\,*]{1,40}),c:(\d{1,15}),r:(\d{1,15})\*[0-9A-Fa-f]{2}\\")
"""The recorder's own TAG block: feed, wall clock in ms, monotonic clock in ms; these three in this order, first."""

MOST_FEEDS = 64
"""Feeds that a recording may name; a vessel has fewer than ten."""

OTHER_FEEDS = "other feeds"

_SENTENCE = re.compile(rb"[$!][A-Za-z0-9]{4,12},")
_GZIP = b"\x1f\x8b"

_OTHER_KINDS = (
    (b"SQLite format 3\x00", "is a database: `secondplot tracks` and `debrief` read archives"),
    (b'{"event"', "holds events, not sentences: give the recording that they were made from"),
    (b"PK\x03\x04", "is a zip file: unpack it first"),
    (b"\xfd7zXZ\x00", "is packed with xz: unpack it first, or use gzip"),
    (b"BZh", "is packed with bzip2: unpack it first, or use gzip"),
    (b"\x28\xb5\x2f\xfd", "is packed with zstd: unpack it first, or use gzip"),
    (b"\xff\xfe", "is UTF-16 text: make it plain text first, with iconv -f UTF-16 -t ASCII"),
    (b"\xfe\xff", "is UTF-16 text: make it plain text first, with iconv -f UTF-16 -t ASCII"),
    (b"%PDF", "is a PDF document"),
    (b"\x89PNG", "is a picture"),
    (b"<", "is a web page or XML document"),
)


class Recording:
    """One recording. Iterate over `parts()` once.

    `name` is the feed's name for lines that do not name one; `counters` holds each feed's account. `notices` says what
    was wrong with the file as a whole, e.g. a gzip file that was cut off: what could be read is given all the same.
    """

    def __init__(self, path: str, name: str = "") -> None:
        self.path = path
        self.name = name or ("stdin" if path == "-" else Path(path).name.partition(".")[0] or "recording")
        self.counters: dict[str, Counters] = {}
        self.notices: list[str] = []
        self._feeds: set[str] = set()  # that lines of our own recorder name
        self.bytes_taken = 0  # of the file, packed as it is
        self._framer = Framer()
        self._file = self._open()
        self._pieces = self._unpacked()
        try:
            self._head = self._checked_head()
        except UserError:
            self.close()
            raise
        # A recording of our own names its feeds itself, and has none of its own name unless a line brings it.
        first = ARRIVAL_BLOCK.match(self._head)
        self._bytes = self.counters[first[1].decode("utf-8", "replace") if first else self.name] = Counters()

    def parts(self) -> Iterator[list[Arrival]]:
        """The lines in order, some thousands at a time. The same lines whatever the size of the parts."""
        try:
            for data in self._data():
                block = frame_block(data, self._framer)
                yield self._arrivals(block.lines, block.checked)
                self._account()
            rest = self._framer.end()
            yield self._arrivals(rest, [False] * len(rest))
            self._account()
        finally:
            self.close()

    def close(self) -> None:
        """Close the file; needed only where `parts()` is not read to its end."""
        if self.path != "-":
            self._file.close()

    def _arrivals(self, lines: list[bytes], checked: list[bool]) -> list[Arrival]:
        name = self.name
        arrivals = [
            Arrival(name, line, UNTIMED, UNTIMED, tagged) if tagged else self._arrival(line, is_right)
            for line, is_right, tagged in zip(lines, checked, ordinary(lines, checked), strict=True)
        ]
        for feed, count in Counter([arrival.feed for arrival in arrivals]).items():
            counters = self.counters.setdefault(feed, Counters())
            counters.lines += count
            counters.taken += count
        return arrivals

    def _arrival(self, line: bytes, checked: bool) -> Arrival:
        block = ARRIVAL_BLOCK.match(line)
        if block is None:
            return Arrival(self.name, line, UNTIMED, UNTIMED, untag(line, checked))
        feed, utc_ms, mono_ms = self._known(block[1].decode("utf-8", "replace")), int(block[2]), int(block[3])
        inner = line[block.end() :]
        tagged = untag(inner, checked and inner[:1] in (b"$", b"!"))
        return Arrival(feed, inner, mono_ms / 1000, utc_ms, tagged)

    def _known(self, feed: str) -> str:
        """The feed's name, or that of all the others: each feed costs memory, and time at every tick."""
        if feed in self._feeds:
            return feed
        if len(self._feeds) < MOST_FEEDS:
            self._feeds.add(feed)
            return feed
        if OTHER_FEEDS not in self.counters:
            self.counters[OTHER_FEEDS] = Counters()
            self.notices.append(f"{self.path} names more than {MOST_FEEDS} feeds: the others are taken for one")
        return OTHER_FEEDS

    def _account(self) -> None:
        """Bytes belong to the recording as a whole, and stand in the account of its first feed."""
        counts, counters = self._framer.counts, self._bytes
        counters.bytes_read, counters.bytes_in_lines = counts.bytes_read, counts.bytes_in_lines
        counters.bytes_waiting = counts.waiting
        for reason, number in counts.discarded.items():
            counters.bytes_discarded[str(reason)] = number

    def _open(self) -> BinaryIO:
        if self.path == "-":
            return sys.stdin.buffer
        path = Path(self.path)
        try:
            if path.is_dir():
                raise UserError(f"{self.path} is a folder: name the recordings in it, e.g. {self.path}/*", CANNOT_OPEN)
            return path.open("rb")
        except OSError as error:
            raise UserError(f"{self.path} cannot be read: {error.strerror}", CANNOT_OPEN) from error

    def _checked_head(self) -> bytes:
        """The first bytes, unpacked; refuses what is no recording before anything is done with it."""
        head = next(self._pieces, b"")
        called = "standard input" if self.path == "-" else self.path
        if not head:
            raise UserError(f"{called} is empty: there is nothing to replay", CANNOT_OPEN)
        for beginning, what in _OTHER_KINDS:
            if head.startswith(beginning):
                raise UserError(f"{called} {what}", CANNOT_OPEN)
        if not _SENTENCE.search(head[:HEAD_BYTES]):
            raise UserError(
                f"{called} is no recording: its first {min(len(head), HEAD_BYTES):,} bytes hold no NMEA 0183"
                " sentence ($ or !, address, comma)",
                CANNOT_OPEN,
            )
        return head

    def _data(self) -> Iterator[bytes]:
        yield self._head
        self._head = b""
        yield from self._pieces

    def _unpacked(self) -> Iterator[bytes]:
        """The file's bytes, never more than about PART_BYTES at a time, however well they were packed."""
        raw = self._read_raw()
        if not raw.startswith(_GZIP):
            while raw:
                yield raw
                raw = self._read_raw()
            return
        ready: list[bytes] = []
        size = 0
        for piece in self._members(raw):
            ready.append(piece)
            size += len(piece)
            if size >= PART_BYTES:
                yield b"".join(ready)
                ready, size = [], 0
        if ready:
            yield b"".join(ready)

    def _members(self, raw: bytes) -> Iterator[bytes]:
        """A gzip file is one or several members in a row, perhaps with padding behind the last.

        Fed in thin slices: where the file is damaged zlib gives nothing of the slice at hand.
        """
        unpacker = zlib.decompressobj(wbits=31)
        while raw:
            for start in range(0, len(raw), SLICE_BYTES):
                slice_ = raw[start : start + SLICE_BYTES]
                while slice_:
                    if unpacker.eof:
                        if not slice_.startswith(_GZIP[: len(slice_)]):
                            return
                        unpacker = zlib.decompressobj(wbits=31)
                    try:
                        yield unpacker.decompress(slice_, SLICE_BYTES * 64)
                    except zlib.error as error:
                        self.notices.append(f"{self.path}: the gzip file is damaged ({error}); its beginning was read")
                        return
                    slice_ = unpacker.unused_data if unpacker.eof else unpacker.unconsumed_tail
            raw = self._read_raw()
        if not unpacker.eof:
            yield unpacker.flush()
            self.notices.append(f"{self.path}: the gzip file is cut off; all that could be unpacked was read")

    def _read_raw(self) -> bytes:
        try:
            read = self._file.read1 if isinstance(self._file, io.BufferedReader) else self._file.read
            data = read(PART_BYTES)
        except OSError as error:
            raise UserError(f"{self.path} cannot be read: {error.strerror}", CANNOT_OPEN) from error
        self.bytes_taken += len(data)
        return data
