"""The recorder: every line as it arrived, refused ones too, with its feed and both its times in a TAG block before it.

    \\s:radar,c:1800000000250,r:12345*hh\\$RATTM,…*hh

`c:` is the wall clock of the arrival and `r:` the monotonic clock, both in milliseconds: a replay has the very times
that the watch had, whatever the wall clock did. One file an hour. Written by a thread of its own at least every
FLUSH_S and synced to the disk; a kill or a power cut tears at most the last line, and loses at most a second.
"""

import contextlib
import gzip
import os
import re
import shutil
import threading
from collections.abc import Sequence
from datetime import UTC, datetime
from functools import lru_cache
from pathlib import Path

from daemon.clock import Clock
from daemon.errors import CANNOT_OPEN, UserError
from daemon.feeds.face import Arrival
from parsers.sentence import checksum

FLUSH_S = 0.5
RETRY_S = 2.0
WAITING_BYTES = 4 * 1024 * 1024
"""What waits for a disk that is slow or full: 20 s at the rated load. Beyond it the oldest lines are given up."""

CLOSE_S = 1.5
_HOUR_MS = 3_600_000


class Recorder:
    """Takes arrivals from the stream; never blocks it and never raises.

    `trouble` says for a person what is wrong now, empty when all is well; `lost` counts lines that were given up.
    With `compress`, each hour is packed with gzip once it is over.
    """

    name = "recorder"

    def __init__(self, folder: Path | str, clock: Clock, compress: bool = False) -> None:
        self._folder = Path(folder)
        self._clock = clock
        self._compress = compress
        self._lock = threading.Condition()
        self._waiting: list[tuple[int, bytes]] = []  # hour and line
        self._waiting_bytes = 0
        self._hour = 0
        self._stopping = False
        self._file: int | None = None
        self._file_hour: int | None = None
        self._torn = False
        self.trouble = ""
        self.lost = 0
        try:
            self._folder.mkdir(parents=True, exist_ok=True)
        except FileExistsError:
            raise UserError(f"{folder} is a file: name a folder for the recordings", CANNOT_OPEN) from None
        except OSError as error:
            raise UserError(f"{folder}: recordings cannot be kept there: {error.strerror}", CANNOT_OPEN) from error
        self._thread = threading.Thread(target=self._run, name="recorder", daemon=True)
        self._thread.start()

    def take(self, arrivals: Sequence[Arrival]) -> None:
        """Lines to be written, in order. Names of files never run backwards, whatever the wall clock does."""
        with self._lock:
            for arrival in arrivals:
                self._hour = max(self._hour, arrival.utc_ms // _HOUR_MS)
                line = recorded(arrival)
                self._waiting.append((self._hour, line))
                self._waiting_bytes += len(line)
            given_up = 0
            while self._waiting_bytes > WAITING_BYTES:
                self._waiting_bytes -= len(self._waiting[given_up][1])
                given_up += 1
            del self._waiting[:given_up]
            self.lost += given_up

    def idle(self, now_s: float) -> None:
        """Nothing to do: the recorder's own thread keeps time."""

    def close(self) -> None:
        """Write what waits, for at most CLOSE_S."""
        with self._lock:
            self._stopping = True
            self._lock.notify_all()
        self._thread.join(CLOSE_S)

    # --------------------------------------------------------------------------- the recorder's own thread

    def _run(self) -> None:
        while not self._stopping:
            with self._lock:
                self._lock.wait(RETRY_S if self.trouble else FLUSH_S)
            self._write_waiting()
        self._write_waiting()
        self._close_file()

    def _write_waiting(self) -> None:
        with self._lock:
            waiting, self._waiting, self._waiting_bytes = self._waiting, [], 0
        done = 0
        try:
            while done < len(waiting):
                hour = waiting[done][0]
                until = next((i for i in range(done, len(waiting)) if waiting[i][0] != hour), len(waiting))
                self._write(hour, b"".join(line for _, line in waiting[done:until]))
                done = until
            if waiting and self._file is not None:
                os.fdatasync(self._file)
        except OSError as error:
            self.trouble = f"recording in {self._folder}: {error.strerror}: it goes on by itself once that is mended"
            self._close_file()
            with self._lock:
                self._waiting = waiting[done:] + self._waiting
                self._waiting_bytes = sum(len(line) for _, line in self._waiting)
        else:
            self.trouble = ""

    def _write(self, hour: int, data: bytes) -> None:
        """All of it, or OSError; then what was written of it is cut off again, so that no line is there twice."""
        if self._file is None or self._file_hour != hour:
            self._next_file(hour)
        assert self._file is not None
        end = os.fstat(self._file).st_size
        view = memoryview(data)
        try:
            while view:
                view = view[os.write(self._file, view) :]
        except OSError:
            with contextlib.suppress(OSError):
                os.ftruncate(self._file, end)
            raise

    def _next_file(self, hour: int) -> None:
        before = self._file_hour
        self._close_file()
        self._folder.mkdir(parents=True, exist_ok=True)
        path = self._path(hour)
        self._file = os.open(path, os.O_RDWR | os.O_CREAT | os.O_APPEND | os.O_CLOEXEC, 0o644)
        self._file_hour = hour
        _end_torn_line(self._file)
        if before is not None and self._compress and before != hour:
            threading.Thread(target=_pack, args=(self._path(before),), name="packing", daemon=True).start()

    def _close_file(self) -> None:
        if self._file is not None:
            with contextlib.suppress(OSError):
                os.close(self._file)
            self._file = None

    def _path(self, hour: int) -> Path:
        stamp = datetime.fromtimestamp(hour * 3600, UTC).strftime("%Y-%m-%dT%HZ")
        return self._folder / f"secondplot-{stamp}.nmea"


def recorded(arrival: Arrival) -> bytes:
    """One line of a recording. See feeds.replay.ARRIVAL_BLOCK for its way back."""
    text = b"s:%s,c:%d,r:%d" % (_tag_name(arrival.feed), arrival.utc_ms, round(arrival.mono_s * 1000))
    return b"\\%s*%02X\\%s\r\n" % (text, checksum(text), arrival.line)


@lru_cache(maxsize=64)
def _tag_name(feed: str) -> bytes:
    return re.sub(rb"[\\,*\x00-\x20\x7f]", b"_", feed.encode())[:40] or b"_"


def _end_torn_line(file: int) -> None:
    """A crash may have left a line without its end; the next one must not be joined to it."""
    size = os.fstat(file).st_size
    if size and os.pread(file, 1, size - 1) != b"\n":
        os.write(file, b"\r\n")


def _pack(path: Path) -> None:
    """Gzip beside it, synced, then the plain file goes. A failure leaves the plain file, which is as good."""
    packed = path.with_name(path.name + ".gz")
    part = path.with_name(path.name + ".gz.part")
    with contextlib.suppress(OSError):
        with path.open("rb") as source, part.open("wb") as raw:
            with gzip.GzipFile(path.name, "wb", 5, raw) as target:
                shutil.copyfileobj(source, target, 1 << 16)
            raw.flush()
            os.fsync(raw.fileno())
        part.rename(packed)
        path.unlink()
