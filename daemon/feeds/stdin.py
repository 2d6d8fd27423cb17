"""Standard input, and files or named pipes given as a feed. They can be made to wait, so they lose nothing."""

import os
import stat
import sys

from daemon.feeds.face import Counters
from daemon.feeds.framed import Framed
from daemon.feeds.live import Ended
from daemon.feeds.uri import FeedKind, FeedSpec

READ_BYTES = 65536


class StreamSource:
    """See live.Source. Ends for good at the end of a file or of standard input; a named pipe is opened again."""

    waits = True

    def __init__(self, spec: FeedSpec) -> None:
        self._spec = spec
        self._number = -1
        self._framed = Framed()
        self._is_pipe = False

    def open(self) -> None:
        """See Source."""
        if self._spec.kind is FeedKind.STDIN:
            self._number = os.dup(sys.stdin.fileno())
            return
        try:
            self._number = os.open(self._spec.path, os.O_RDONLY | os.O_NONBLOCK | os.O_NOCTTY)
        except OSError as error:
            raise OSError(f"{self._spec.path}: {error.strerror}") from error
        mode = os.fstat(self._number).st_mode
        if stat.S_ISDIR(mode):
            self._close()
            raise OSError(f"{self._spec.path} is a folder: name a file in it")
        self._is_pipe = stat.S_ISFIFO(mode)

    def fileno(self) -> int:
        """See Source."""
        return self._number

    def read(self, counters: Counters, now_s: float) -> list[bytes]:
        """See Source."""
        try:
            data = os.read(self._number, READ_BYTES)
        except BlockingIOError:
            return []
        if data:
            return self._framed.feed(data, counters)
        if self._is_pipe:
            raise OSError(f"{self._spec.path}: closed by its writer")
        raise Ended

    def trouble(self, counters: Counters, now_s: float) -> str:
        """See Source."""
        return ""

    def close(self, counters: Counters) -> list[bytes]:
        """See Source."""
        self._close()
        return self._framed.end(counters)

    def _close(self) -> None:
        if self._number >= 0:
            os.close(self._number)
            self._number = -1
