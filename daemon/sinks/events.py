"""The events sink: JSON Lines, UTF-8, one event a line; kinds and keys are those of alerts/events.py."""

import os
import re
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import BinaryIO

from alerts.events import Alert, AnyEvent, Moment, encoder
from daemon.errors import CANNOT_OPEN, UserError
from daemon.sinks.face import SinkError

FLUSH_BYTES = 1 << 16

_UNSAFE = re.compile("[\x7f-\x9f\u061c\u200b-\u200f\u2028-\u202e\u2060-\u2069\ufeff]")
"""What JSON leaves alone and a terminal obeys or an eye misreads: C1 controls, direction and zero-width marks."""


class ReaderGone(SinkError):  # noqa: N818 - an end is no error
    """Whoever read standard output has had enough (EPIPE). Nothing more is written, and nothing is lost by it."""


class EventsSink:
    """A sink (face.py) that writes to a file, or with `-` to standard output. A file is made new.

    Written at least every `idle()`, and at once where an alert is among the events: with that the 99th percentile of
    an alert's way from the serial line to the reader fell from 200 ms to a few. After a failed
    write what could not be written is counted in `lost`, and the sink goes on with the next events.
    """

    name = "events"

    def __init__(self, path: str) -> None:
        self._path = path
        self._buffer = bytearray()
        self._lines = 0
        self._torn = False
        self.lost = 0
        self.trouble = ""
        self.reader_gone = False
        try:
            self._file: BinaryIO = sys.stdout.buffer if path == "-" else Path(path).open("wb", buffering=0)  # noqa: SIM115
        except OSError as error:
            raise UserError(f"{path}: events cannot be written there: {error.strerror}", CANNOT_OPEN) from error

    def take(self, moment: Moment, events: Sequence[AnyEvent]) -> None:
        """See Sink."""
        if self.reader_gone:
            return
        self._buffer += encoder.encode_lines(events)
        self._lines += len(events)
        if len(self._buffer) >= FLUSH_BYTES or Alert in map(type, events):
            self._flush()

    def idle(self, now_s: float) -> None:
        """See Sink."""
        self._flush()

    def close(self) -> None:
        """See Sink."""
        try:
            self._flush()
        finally:
            if self._path != "-":
                self._file.close()

    def _flush(self) -> None:
        if not self._buffer:
            return
        data, self._buffer = harmless_json(bytes(self._buffer)), bytearray()
        lines, self._lines = self._lines, 0
        try:
            self._write(b"\n" + data if self._torn else data)
        except BrokenPipeError:
            self.reader_gone = True
            _silence_stdout()
            raise ReaderGone("standard output was closed by its reader: no more events are written") from None
        except OSError as error:
            self.lost += lines
            self.trouble = f"{self._path}: {error.strerror}: events are not being written"
            raise SinkError(self.trouble) from error
        self._torn, self.trouble = False, ""

    def _write(self, data: bytes) -> None:
        """All of it. When that fails half-way the last line is torn, and the next write begins a line of its own."""
        view = memoryview(data)
        while view:
            written = self._file.write(view)
            self._torn = view[written - 1] != ord("\n")
            view = view[written:]
        self._file.flush()


def harmless_json(lines: bytes) -> bytes:
    """The same JSON with unsafe characters in its escaped form, so that even `cat` shows it as it is."""
    if lines.isascii() and b"\x7f" not in lines:
        return lines
    return _UNSAFE.sub(lambda found: f"\\u{ord(found[0]):04x}", lines.decode()).encode()


def _silence_stdout() -> None:
    """Let the interpreter's own flush at exit go nowhere; else it would complain of the broken pipe."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, sys.stdout.fileno())
    os.close(nowhere)
