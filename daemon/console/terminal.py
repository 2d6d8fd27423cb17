"""The terminal: keys in without waiting, and only the lines that changed out.

A whole screen four times a second is two seconds' worth of a 9600 baud line; a few changed lines are not.
"""

import contextlib
import os
import select
import termios
import tty
from threading import Lock
from typing import TextIO

from rich.console import COLOR_SYSTEMS, Console
from rich.style import Style
from rich.text import Text

# Screen of its own, cursor hidden; and the way back (ECMA-48 and the usual private modes).
ENTER = "\x1b[?1049h\x1b[?25l\x1b[2J"
LEAVE = "\x1b[0m\x1b[?25h\x1b[?1049l"


_Modes = list[int | list[bytes | int]]


class Terminal:
    """An output that is a terminal, and a descriptor that keys come from, which it closes at the end."""

    def __init__(self, output: TextIO, keys_fd: int | None) -> None:
        self._output = output
        self._keys_fd = self._keys_given = keys_fd
        self._saved = None if keys_fd is None else _cbreak(keys_fd)
        self._wake_out, self._wake_in = os.pipe2(os.O_NONBLOCK | os.O_CLOEXEC)
        self._is_closed = False
        self._lock = Lock()  # between wake() and close(): a number that was closed is soon another file's
        self._shown: list[Text] = []
        self._size = (0, 0)
        self._entered = False
        self._console = Console(file=output, force_terminal=True, highlight=False, markup=False, emoji=False)

    @property
    def size(self) -> tuple[int, int]:
        """Columns and lines now."""
        try:
            columns, lines = os.get_terminal_size(self._output.fileno())
        except (OSError, ValueError):
            columns, lines = 0, 0
        # A serial line does not know its terminal's size: 80 x 24 unless the environment says.
        columns = columns or _number("COLUMNS", 80)
        lines = lines or _number("LINES", 24)
        return max(columns, 20), max(lines, 4)

    def wake(self) -> None:
        """From another thread: end the wait for a key."""
        with self._lock, contextlib.suppress(BlockingIOError):
            if not self._is_closed:
                os.write(self._wake_in, b"x")

    def wait(self, timeout_s: float) -> bytes:
        """Bytes typed within the time, none if woken or nothing came."""
        watched = [self._wake_out] if self._keys_fd is None else [self._wake_out, self._keys_fd]
        ready, _, _ = select.select(watched, [], [], timeout_s)
        if self._wake_out in ready:
            with contextlib.suppress(BlockingIOError):
                os.read(self._wake_out, 4096)
        if self._keys_fd is None or self._keys_fd not in ready:
            return b""
        try:
            data = os.read(self._keys_fd, 1024)
        except OSError:
            data = b""
        if not data:
            self._keys_fd = None  # the line has hung up: draw on, but ask it no more
        return data

    def show(self, lines: list[Text]) -> None:
        """Bring the screen to these lines, writing those that differ from what stands there."""
        if self.size != self._size:
            self._size = self.size
            self._shown = []
            self._output.write("\x1b[0m\x1b[2J" if self._entered else ENTER)
            self._entered = True
        for number, text in enumerate(lines):
            if number >= len(self._shown) or not _is_same(self._shown[number], text):
                self._output.write(f"\x1b[{number + 1};1H\x1b[0m{self._ansi(text)}")
        self._shown = lines
        self._output.flush()
        # A slow line's buffer holds seconds of drawing: the next frame waits until this one has been sent.
        with contextlib.suppress(OSError, ValueError, termios.error):
            termios.tcdrain(self._output.fileno())

    def _ansi(self, text: Text) -> str:
        """The line with its colours, and what clears the rest of it. A full line must not be followed by an erase:

        the cursor still stands on its last cell. A palette with its own background pads with spaces instead.
        """
        system = COLOR_SYSTEMS.get(self._console.color_system or "")
        room = self._size[0] - text.cell_len
        painted = isinstance(text.style, Style) and text.style.bgcolor is not None
        if painted:
            text = text.copy()
            text.append(" " * room, text.style)  # in a span: rich draws text that has none without its style
        drawn = "".join(
            segment.style.render(segment.text, color_system=system) if segment.style else segment.text
            for segment in text.render(self._console)
        )
        return drawn if painted or room <= 0 else f"{drawn}\x1b[0m\x1b[K"

    def restore(self) -> None:
        """Put the terminal's modes back. Does not wait for a terminal that stands still."""
        with self._lock, contextlib.suppress(termios.error):
            saved, self._saved = self._saved, None
            if saved is not None and self._keys_given is not None:
                termios.tcsetattr(self._keys_given, termios.TCSANOW, saved)

    def close(self) -> None:
        with contextlib.suppress(OSError, ValueError):
            self._output.write(LEAVE)
            self._output.flush()
        self.restore()
        with self._lock:
            self._is_closed = True
            os.close(self._wake_out)
            os.close(self._wake_in)
        if self._keys_given is not None:
            os.close(self._keys_given)


def _is_same(one: Text, other: Text) -> bool:
    """Text compares what is written and its spans, but not the style of the whole."""
    return one == other and one.style == other.style


def _cbreak(fd: int) -> _Modes:
    saved = termios.tcgetattr(fd)
    tty.setcbreak(fd, termios.TCSANOW)
    return saved


def _number(name: str, default: int) -> int:
    text = os.environ.get(name, "")
    return int(text) if text.isdecimal() and int(text) > 0 else default
