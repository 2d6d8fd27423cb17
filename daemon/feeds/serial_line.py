"""A serial line: opened by name, again and again, so that an adapter can be unplugged and plugged in anywhere."""

import os
import re

import serial

from daemon.feeds.face import Counters
from daemon.feeds.framed import Framed
from daemon.feeds.uri import FeedSpec

READ_BYTES = 4096

JUDGED_BYTES = 300
"""How many bytes it takes to say that a rate is wrong: three sentences and more, 0.6 s at 4800 baud."""

_READABLE = bytes((*range(0x20, 0x7F), *b"\r\n"))
_SENTENCE = re.compile(rb"[$!][A-Z0-9]{4,5},[\x20-\x7e]*\*[0-9A-Fa-f]{2}")


class SerialSource:
    """See live.Source. Exclusive: two readers on one line would silently steal each other's bytes (TIOCEXCL)."""

    waits = False

    def __init__(self, spec: FeedSpec) -> None:
        self._spec = spec
        self._port: serial.Serial | None = None
        self._framed = Framed()
        self._rate = RateCheck(spec.baud)

    def open(self) -> None:
        """See Source."""
        spec = self._spec
        try:
            self._port = serial.Serial(
                spec.path,
                baudrate=spec.baud,
                bytesize=spec.bits,
                parity=spec.parity,
                stopbits=spec.stop,
                timeout=0,
                exclusive=True,
            )
        except (ValueError, serial.SerialException) as error:
            raise OSError(plainly(spec.path, error)) from error
        self._rate = RateCheck(spec.baud)

    def fileno(self) -> int:
        """See Source."""
        return self._open_port().fileno()

    def read(self, counters: Counters, now_s: float) -> list[bytes]:
        """See Source."""
        # Not the port's own read: it asks select() first, which the feed's poll() has just done.
        try:
            data = os.read(self._open_port().fileno(), READ_BYTES)
        except BlockingIOError:
            return []
        except OSError as error:
            raise OSError(f"{self._spec.path}: unplugged or gone ({error.strerror})") from error
        if not data:
            raise OSError(f"{self._spec.path}: unplugged or gone (it is ready, and gives nothing)")
        self._rate.see(data)
        return self._framed.feed(data, counters)

    def trouble(self, counters: Counters, now_s: float) -> str:
        """See Source: a wrong baud rate."""
        return self._rate.trouble

    def close(self, counters: Counters) -> list[bytes]:
        """See Source."""
        if self._port is not None:
            self._port.close()
        return self._framed.end(counters)

    def _open_port(self) -> serial.Serial:
        if self._port is None:
            raise OSError(f"{self._spec.path}: not open")
        return self._port


class RateCheck:
    """Tells a wrong rate from line noise.

    At a wrong rate nearly every byte comes out wrong: about half of them have no place in a sentence, and sentences,
    which have a `$` or `!`, commas and a line end at least each 82 bytes, do not occur. Judged over blocks of
    JUDGED_BYTES, so that the word changes as soon as the data does.
    """

    def __init__(self, baud: int) -> None:
        self._baud = baud
        self._block = bytearray()
        self.trouble = ""

    def see(self, data: bytes) -> None:
        """Judge once a block is full."""
        self._block += data
        if len(self._block) < JUDGED_BYTES:
            return
        block, self._block = bytes(self._block), bytearray()
        unreadable = len(block.translate(None, _READABLE)) / len(block)
        self.trouble = ""
        if unreadable > 0.1 and not _SENTENCE.search(block):
            self.trouble = (
                f"{unreadable:.0%} of the bytes unreadable: {self._baud} baud is probably the wrong rate"
                f" (try {38400 if self._baud == 4800 else 4800}), or A and B are swapped"
            )


def plainly(path: str, error: Exception) -> str:
    """Why a serial port cannot be opened, in words that a person can act on."""
    number = getattr(error, "errno", None)
    if number == 2:
        return f"{path} is not there: is the adapter plugged in?"
    if number == 13:
        return f"{path}: no permission: add this user to the group that owns it (usually dialout)"
    if number in (11, 16):
        return f"{path} is in use by another program"
    if number == 21:
        return f"{path} is a folder"
    if number == 25 or "Inappropriate ioctl" in str(error):  # pyserial keeps the number of some errors to itself
        return f"{path} is no serial port"
    return f"{path} cannot be opened: {error}"
