"""The archive sink: a thread of its own behind a bounded backlog, so that a slow, full or dead disk delays no alert.

Events wait for at most COMMIT_S; then all that wait go into one transaction. When writing fails the events stay in
the backlog, the failure is told once, and writing is tried again until it works. When the backlog is full the oldest
plots and own-ship rows are given up, and counted; alerts and notes only when there is nothing else.
"""

import contextlib
import sqlite3
import threading
from collections import deque
from collections.abc import Sequence
from pathlib import Path

from alerts.events import Alert, AnyEvent, Moment, Note, Pair, Radar, Summary
from daemon.clock import Clock
from daemon.errors import UserError
from daemon.sinks import archive_upkeep as upkeep
from daemon.sinks.archive_store import Dated, Passage, Store, readable_errors
from daemon.sinks.face import SinkError

COMMIT_S = 0.8
"""An event waits at most this long before its transaction begins, so that with the commit itself at most one second
of data is uncommitted. An SD card bears one sync a second (judgement)."""

BACKLOG = 10_000
"""Events, of each of the two kinds; about 10 MB (measured)."""

RETRY_S = 2.0
PATIENCE_S = 3.0
"""Another program's lock is borne this long before anybody is told."""

UPKEEP_S = 30.0
UPKEEP_TURN_S = 0.1
CLOSE_S = 1.5
"""A stop waits this long for the last commit, whatever the disk does."""

_KEPT = frozenset((Alert, Note, Radar, Pair))


class Archive:
    """A sink (face.py). `lossless` is for replay: the stream then waits for the disk instead of giving up rows.

    `trouble` says for a person what is wrong now, and is empty when all is well; `lost` counts events given up.
    """

    name = "archive"

    def __init__(
        self,
        path: Path,
        passage: Passage,
        clock: Clock,
        *,
        lossless: bool = False,
        keep_days: float | None = None,
        keep_mib: float | None = None,
        store: Store | None = None,
    ) -> None:
        self._store = store or Store(path, passage)
        self._clock = clock
        self._lossless = lossless
        self._limits = upkeep.Limits(keep_days, keep_mib)
        self._lock = threading.Condition()
        self._common: deque[Dated] = deque()
        self._kept: deque[Dated] = deque()
        self._due_s: float | None = None
        self._stopping = False
        self._failing_since_s: float | None = None
        self._gap: tuple[Moment, int] | None = None
        self._newest: Moment | None = None
        self._in_flight = 0
        self._reason = "the disk is too slow"
        self._next_upkeep_s = clock.mono_s() + UPKEEP_S
        self._told = ""
        self.trouble = ""
        self.notices: deque[str] = deque(maxlen=16)
        self.lost = 0
        self.written = 0
        self._open_first()
        self._thread = threading.Thread(target=self._run, name="archive", daemon=True)
        self._thread.start()

    # ------------------------------------------------------------------------------- called by the stream

    def take(self, moment: Moment, events: Sequence[AnyEvent]) -> None:
        """See Sink."""
        common, kept = self._common, self._kept
        room = BACKLOG - len(events)  # for all of the moment's: what is over the bound would be given up
        with self._lock:
            if self._lossless and len(common) > room:
                self._lock.wait_for(lambda: len(common) <= room or not common or bool(self.trouble) or self._stopping)
            for event in events:
                kind = type(event)
                if kind is not Summary:
                    (kept if kind in _KEPT else common).append((moment, event))
            if len(common) > BACKLOG or len(kept) > BACKLOG:
                self._give_up_oldest()
            if self._due_s is None and (common or kept):
                self._due_s = self._clock.mono_s() + COMMIT_S
                self._lock.notify_all()

    @property
    def waiting(self) -> int:
        """Events that are not yet committed."""
        return len(self._common) + len(self._kept) + self._in_flight

    def idle(self, now_s: float) -> None:
        """See Sink: tells of trouble once for as long as it lasts."""
        trouble = self.trouble
        if trouble != self._told:
            self._told = trouble
            if trouble:
                raise SinkError(trouble)

    def close(self) -> None:
        """See Sink. Writes what waits, for at most CLOSE_S (replay: for as long as it takes)."""
        with self._lock:
            self._stopping = True
            self._lock.notify_all()
        self._thread.join(None if self._lossless else CLOSE_S)
        lost = self.lost + self.waiting
        if lost:
            raise SinkError(f"{self._store.path}: {lost} events were not archived: {self.trouble or self._reason}")

    # ------------------------------------------------------------------------------ the archive's own thread

    def _run(self) -> None:
        while not self._stopping:
            with self._lock:
                self._lock.wait(self._pause_s())
                due = self._is_due()
            if due or self._stopping:
                self._write_backlog()
            elif self._failing_since_s is None:
                self._do_upkeep()
        self._write_backlog()
        with contextlib.suppress(sqlite3.Error):  # then the passage is told like one that died
            if self._failing_since_s is None:
                self._store.end_passage("in order")
        with contextlib.suppress(sqlite3.Error):
            self._store.close()

    def _pause_s(self) -> float:
        """Never long: a virtual clock cannot wake this thread."""
        if self._stopping or self._is_due():
            return 0.0
        return 0.5 if self._due_s is None else min(0.1, max(0.01, self._due_s - self._clock.mono_s()))

    def _is_due(self) -> bool:
        if self._due_s is None:
            return False
        crowded = self._lossless and not self.trouble and len(self._common) >= BACKLOG // 2
        return crowded or self._clock.mono_s() >= self._due_s

    def _write_backlog(self) -> None:
        with self._lock:
            batch = sorted((*self._common, *self._kept), key=lambda dated: dated[0].at_s)
            self._common.clear()
            self._kept.clear()
            self._in_flight = len(batch)
            self._due_s = None
            gap, self._gap = self._gap, None  # what is given up while this is written makes a gap of its own
            self._lock.notify_all()
        if not batch:
            self._widen(gap)
            return
        try:
            self._reopen_if_needed()
            self._store.write(batch, None if gap is None else (*gap, self._reason))
        except (sqlite3.Error, OSError, UserError) as error:
            self._put_back(batch, gap)
            self._failed(error)
        except Exception as error:  # a fault of ours: this thread must not die of it without a word
            self._give_up(batch, gap, error)
        else:
            self._succeeded(batch)

    def _widen(self, earlier: tuple[Moment, int] | None) -> None:
        """A gap that has not been written yet, with what has been given up since."""
        if earlier is not None:
            with self._lock:
                since, lost = earlier
                self._gap = (since, lost + (self._gap[1] if self._gap else 0))

    def _put_back(self, batch: list[Dated], gap: tuple[Moment, int] | None) -> None:
        self._widen(gap)
        with self._lock:
            self._common.extendleft(dated for dated in reversed(batch) if type(dated[1]) not in _KEPT)
            self._kept.extendleft(dated for dated in reversed(batch) if type(dated[1]) in _KEPT)
            self._in_flight = 0
            self._give_up_oldest()
            self._due_s = self._clock.mono_s() + RETRY_S

    def _give_up(self, batch: list[Dated], gap: tuple[Moment, int] | None, error: Exception) -> None:
        """A batch that can never be written: lost, counted and told; the next is tried."""
        self._widen(gap)
        fault = f"{type(error).__name__}: {error}"
        with self._lock:
            self._in_flight = 0
            self.lost += len(batch)
            since, lost = self._gap or (batch[0][0], 0)
            self._gap = (since, lost + len(batch))
            self._reason = f"a fault of the program ({fault})"
        self.notices.append(f"archive {self._store.path}: {len(batch)} events could not be written ({fault})")

    def _succeeded(self, batch: list[Dated]) -> None:
        self._in_flight = 0
        self.written += len(batch)
        self._newest = batch[-1][0]
        self._failing_since_s = None
        self.trouble = ""

    def _failed(self, error: Exception) -> None:
        if isinstance(error, sqlite3.Error) and upkeep.is_broken(error):
            self._replace_broken(error)
            return
        now_s = self._clock.mono_s()
        if self._failing_since_s is None:
            self._failing_since_s = now_s
        is_lock = getattr(error, "sqlite_errorname", "") in {"SQLITE_BUSY", "SQLITE_LOCKED"}
        if not is_lock or now_s - self._failing_since_s >= PATIENCE_S:
            self.trouble = self._reason = _plain(self._store.path, error)

    def _replace_broken(self, error: sqlite3.Error) -> None:
        """A broken file goes out of the way, whole, and a fresh one takes its place."""
        self._store.close()
        try:
            aside = upkeep.set_aside(self._store.path, self._clock.utc_ms())
            self.notices.append(f"{self._store.path} is damaged ({error}): kept as {aside}, and a new archive begun")
            self._store.open()
        except (sqlite3.Error, OSError, UserError) as second:
            self._failing_since_s = self._clock.mono_s()
            self.trouble = self._reason = _plain(self._store.path, second)
        else:
            with self._lock:
                self._due_s = self._clock.mono_s() if self._common or self._kept else None

    def _open_first(self) -> None:
        """At the start a wrong path is the user's to mend (UserError); what may mend itself is waited for."""
        try:
            self._store.open()
        except (sqlite3.Error, OSError) as error:
            self._failed(error)

    def _reopen_if_needed(self) -> None:
        if self._store.is_gone():
            self.notices.append(f"{self._store.path} was deleted or replaced by another program: begun anew")
            self._store.close()
        if self._store.connection is None:
            self._store.open()

    def _give_up_oldest(self) -> None:
        """Keep within the bound (under the lock)."""
        for waiting in (self._common, self._kept):
            while len(waiting) > BACKLOG:
                moment, _ = waiting.popleft()
                self.lost += 1
                since, lost = self._gap or (moment, 0)
                self._gap = (since, lost + 1)

    def _do_upkeep(self) -> None:
        """Short portions of upkeep, for a moment at a time, so that new data is never kept waiting."""
        connection, newest = self._store.connection, self._newest
        now_s = self._clock.mono_s()
        if connection is None or newest is None or now_s < self._next_upkeep_s:
            return
        more = True
        try:
            with readable_errors():
                while (
                    more and not self._stopping and not self._is_due() and self._clock.mono_s() - now_s < UPKEEP_TURN_S
                ):
                    more = self._upkeep_portion(connection, newest.time.utc_ms)
        except sqlite3.Error as error:
            self._failed(error)
            more = False
        if not more:
            self._next_upkeep_s = self._clock.mono_s() + UPKEEP_S

    def _upkeep_portion(self, connection: sqlite3.Connection, newest_utc_ms: int) -> bool:
        cutoff = self._limits.cutoff_utc_ms(connection, newest_utc_ms, self._clock.utc_ms())
        more = cutoff is not None and upkeep.remove_before(connection, cutoff)
        more = more or self._limits.move_on(connection, newest_utc_ms)
        return upkeep.give_back_space(connection) or more


_MEANINGS = {
    "SQLITE_FULL": "the disk is full: free some space, writing then goes on by itself",
    "SQLITE_READONLY": "the disk or the file is read-only: writing goes on by itself once it is not",
    "SQLITE_BUSY": "another program holds it locked: writing goes on once it lets go",
    "SQLITE_LOCKED": "another program holds it locked: writing goes on once it lets go",
    "SQLITE_CANTOPEN": "it cannot be opened or made: look at the folder and its permissions",
    "SQLITE_IOERR": "the disk reports errors",
}


def _plain(path: Path, error: Exception) -> str:
    if isinstance(error, UserError):
        return str(error)
    name = getattr(error, "sqlite_errorname", "") or ""
    for prefix, meaning in _MEANINGS.items():
        if name.startswith(prefix):
            return f"archive {path}: {meaning}"
    return f"archive {path}: {getattr(error, 'strerror', None) or error}"
