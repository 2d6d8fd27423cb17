"""The archive file: opening it safely, and writing batches of events in one transaction each.

SQLite, write-ahead log, synchronous FULL: what is committed survives a kill and a power cut (SQLite manual, "PRAGMA
synchronous", "Write-Ahead Logging"). One connection, used by one thread at a time.
"""

import contextlib
import sqlite3
from collections.abc import Callable, Iterator, Sequence
from functools import lru_cache
from operator import attrgetter
from pathlib import Path
from types import UnionType
from typing import get_args, get_origin, get_type_hints

import msgspec
from msgspec import Struct

from alerts.events import Alert, AnyEvent, Feed, Moment, Note, OwnShip, Pair, Plot, Radar
from daemon.errors import CANNOT_OPEN, UserError
from daemon.sinks import archive_schema

BUSY_S = 0.3
"""How long one attempt waits for another program's write lock; the archive's thread tries again for ever."""

WAL_LIMIT_BYTES = 8 * 1024 * 1024
CHECKED_BYTES = 64 * 1024 * 1024
"""A file up to this size is checked whole when it is opened (0.1 s here); a larger one shows its faults in use."""

MOST_TARGETS = 4096
"""Targets whose rows are remembered; any other is looked up again."""

Dated = tuple[Moment, AnyEvent]


class Passage(Struct, frozen=True, kw_only=True):
    """What a run is: `origin` is watch or replay, `source` its feeds or files, one a line."""

    origin: str
    source: str
    program: str


class _Target:
    """One target's row as it will be written at the end of the batch."""

    __slots__ = ("closest", "first", "last", "name", "number", "plots")

    def __init__(self, number: int, moment: Moment, plot: Plot) -> None:
        self.number = number
        self.name = plot.name
        self.first = self.last = moment
        self.plots = 0
        self.closest: tuple[float, float | None, int, float] = _approach(moment, plot)

    def add(self, moment: Moment, plot: Plot) -> None:
        self.plots += 1
        self.last = moment
        self.name = plot.name or self.name
        if plot.range_nm < self.closest[0]:
            self.closest = _approach(moment, plot)


def _approach(moment: Moment, plot: Plot) -> tuple[float, float | None, int, float]:
    return plot.range_nm, plot.bearing_deg, moment.time.utc_ms, moment.at_s


class Store:
    """The operations on an archive file. Each may raise sqlite3.Error; a failed batch leaves nothing behind."""

    def __init__(self, path: Path, passage: Passage) -> None:
        self.path = path
        self._passage = passage
        self._passage_id: int | None = None
        self._targets: dict[str, _Target] = {}
        self._file_id: tuple[int, int] | None = None
        self.connection: sqlite3.Connection | None = None

    def open(self) -> None:
        """Open or make the file, and bring its schema up to date.

        Raises UserError for a file that is not an archive, or one that a newer program made: those are not touched.
        Raises sqlite3.Error for what may mend itself (locked, read-only, full) or is broken (see upkeep).
        """
        self.path.parent.mkdir(mode=0o755, parents=True, exist_ok=True)  # the control socket may share it
        refuse_foreign(self.path)
        connection = connect(self.path)
        try:
            with readable_errors():
                _prepare(connection, self.path)
        except BaseException:
            connection.close()
            raise
        self.connection = connection
        self._passage_id = None
        self._targets.clear()
        self._file_id = _file_id(self.path)

    def close(self) -> None:
        """Close; the write-ahead log is brought into the file where that is possible."""
        if self.connection is not None:
            self.connection.close()
            self.connection = None

    @property
    def passage_id(self) -> int | None:
        """The row of the present run; None before its first batch."""
        return self._passage_id

    def is_gone(self) -> bool:
        """The file was deleted or replaced under us: what we write would never be seen."""
        return self.connection is not None and _file_id(self.path) != self._file_id

    def write(self, batch: Sequence[Dated], gap: tuple[Moment, int, str] | None = None) -> None:
        """All of the batch in one transaction, or none of it. `gap`: since when, how many were lost, and why."""
        connection = self._open_connection()
        known_passage = self._passage_id
        connection.execute("BEGIN IMMEDIATE")
        try:
            with readable_errors():
                self._insert(connection, batch, gap)
                connection.execute("COMMIT")
        except BaseException:
            self._passage_id = known_passage
            self._targets.clear()
            if connection.in_transaction:
                connection.execute("ROLLBACK")
            raise

    def end_passage(self, how: str) -> None:
        """Mark the run as ended in an orderly way."""
        if self._passage_id is not None:
            self._open_connection().execute(
                "UPDATE passages SET ended = ? WHERE passage_id = ?", (how, self._passage_id)
            )

    def _insert(
        self, connection: sqlite3.Connection, batch: Sequence[Dated], gap: tuple[Moment, int, str] | None
    ) -> None:
        if not batch:
            return
        last = batch[-1][0]
        passage = self._passage_id = self._passage_id or self._begin_passage(connection, batch[0][0])
        plots = [(moment, event) for moment, event in batch if isinstance(event, Plot)]
        connection.executemany(_PLOTS.insert, self._plot_rows(connection, passage, plots))
        connection.executemany(_UPDATE_TARGET, [_target_row(target) for target in self._touched(plots)])
        others = [(moment, event) for moment, event in batch if not isinstance(event, Plot)]
        for kind, rows in _OTHERS.items():
            made = [rows.row(passage, moment, event) for moment, event in others if type(event) is kind]
            connection.executemany(rows.insert, made)
        if gap:
            since, lost, reason = gap
            row = (passage, since.time.utc_ms, since.at_s, last.at_s, lost, reason)
            connection.execute(_insert("gaps", ("until_at_s", "lost", "reason")), row)
        connection.execute(
            "UPDATE passages SET last_utc_ms = ?, last_at_s = ? WHERE passage_id = ?",
            (last.time.utc_ms, last.at_s, passage),
        )

    def _begin_passage(self, connection: sqlite3.Connection, first: Moment) -> int:
        about = self._passage
        row = (about.origin, about.source, about.program, first.time.utc_ms, first.time.utc_ms, first.at_s)
        columns = "origin, source, program, started_utc_ms, last_utc_ms, last_at_s"
        cursor = connection.execute(f"INSERT INTO passages ({columns}) VALUES (?, ?, ?, ?, ?, ?)", row)
        return int(cursor.lastrowid or 0)

    def _plot_rows(
        self, connection: sqlite3.Connection, passage: int, plots: Sequence[tuple[Moment, Plot]]
    ) -> list[list[object]]:
        rows = []
        for moment, plot in plots:
            target = self._targets.get(plot.target) or self._find_target(connection, passage, moment, plot)
            target.add(moment, plot)
            rows.append(_PLOTS.row(target.number, moment, plot))
        return rows

    def _find_target(self, connection: sqlite3.Connection, passage: int, moment: Moment, plot: Plot) -> _Target:
        if len(self._targets) >= MOST_TARGETS:
            self._flush_targets(connection)
        row = connection.execute(_SELECT_TARGET, (passage, plot.target)).fetchone()
        if row is None:
            approach = _approach(moment, plot)
            ends = (moment.time.utc_ms, moment.at_s) * 2
            cursor = connection.execute(_INSERT_TARGET, (passage, plot.target, plot.name, *ends, 0, *approach))
            target = _Target(int(cursor.lastrowid or 0), moment, plot)
        else:
            target = _Target(row[0], moment, plot)
            target.name, target.plots, target.closest = row[1], row[2], tuple(row[3:7])
        self._targets[plot.target] = target
        return target

    def _flush_targets(self, connection: sqlite3.Connection) -> None:
        connection.executemany(_UPDATE_TARGET, [_target_row(target) for target in self._targets.values()])
        self._targets.clear()

    def _touched(self, plots: Sequence[tuple[Moment, Plot]]) -> list[_Target]:
        names = dict.fromkeys(plot.target for _, plot in plots)
        return [self._targets[name] for name in names if name in self._targets]

    def _open_connection(self) -> sqlite3.Connection:
        if self.connection is None:
            raise sqlite3.OperationalError("the archive is not open")
        return self.connection


@contextlib.contextmanager
def readable_errors() -> Iterator[None]:
    """Where noise stands in place of the schema, SQLite's own message is no text, and its module fails on it."""
    try:
        yield
    except UnicodeDecodeError as error:
        raise sqlite3.DatabaseError("database disk image is malformed") from error


def connect(path: Path) -> sqlite3.Connection:
    """A connection in autocommit mode, so that every transaction is one that we began ourselves."""
    return sqlite3.connect(path, timeout=BUSY_S, isolation_level=None, check_same_thread=False)


def refuse_foreign(path: Path) -> None:
    """Raise UserError where the path holds something that is not SQLite at all: we would ruin or rename it."""
    if path.is_dir():
        raise UserError(f"{path} is a folder: name a file for the archive", CANNOT_OPEN)
    try:
        with path.open("rb") as file:
            head = file.read(16)
    except OSError:
        return  # absent, or unreadable for now
    if head and head != b"SQLite format 3\x00" and head.strip(b"\x00"):
        raise UserError(f"{path} is not an archive: choose another file with --archive", CANNOT_OPEN)


def _prepare(connection: sqlite3.Connection, path: Path) -> None:
    schema = archive_schema.version(connection)
    mark = connection.execute("PRAGMA application_id").fetchone()[0]
    tables = connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0]
    if tables and mark != archive_schema.APPLICATION_ID:
        raise UserError(f"{path} is a database of another program: choose another file with --archive", CANNOT_OPEN)
    archive_schema.refuse_newer(schema, path, "install that version, or choose another file with --archive")
    if not tables:
        connection.execute("PRAGMA auto_vacuum = INCREMENTAL")
    mode = connection.execute("PRAGMA journal_mode = WAL").fetchone()[0]
    if mode != "wal":
        raise sqlite3.OperationalError(f"no write-ahead log on this disk (journal mode {mode})")
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute("PRAGMA foreign_keys = ON")
    connection.execute(f"PRAGMA journal_size_limit = {WAL_LIMIT_BYTES}")
    if tables and path.stat().st_size <= CHECKED_BYTES:
        answer = connection.execute("PRAGMA quick_check(1)").fetchone()[0]
        if answer != "ok":
            raise sqlite3.DatabaseError(f"database disk image is malformed ({answer})")
    archive_schema.migrate(connection)


def _file_id(path: Path) -> tuple[int, int] | None:
    try:
        status = path.stat()
    except OSError:
        return None
    return status.st_dev, status.st_ino


def _insert(table: str, columns: Sequence[str], owner: str = "passage_id") -> str:
    names = [owner, "time_utc_ms", "at_s", *(f'"{column}"' for column in columns)]
    return f"INSERT INTO {table} ({', '.join(names)}) VALUES ({', '.join('?' * len(names))})"


class _Rows:
    """How one kind of event becomes a row of its table.

    Which columns hold text or JSON is sorted out once for each kind: asked of every value it took half the time of the
    archive (measured).
    """

    def __init__(self, table: str, kind: type[AnyEvent], *without: str, owner: str = "passage_id") -> None:
        hints = get_type_hints(kind)
        columns = [name for name in kind.__struct_fields__ if name not in ("time", *without)]
        self.insert = _insert(table, columns, owner)
        self._values: Callable[[AnyEvent], tuple[object, ...]] = attrgetter(*columns)
        self._texts = [place for place, name in enumerate(columns) if _is_text(hints[name])]
        self._objects = [place for place, name in enumerate(columns) if get_origin(hints[name]) is dict]

    def row(self, owner: int, moment: Moment, event: AnyEvent) -> list[object]:
        """The values that `insert` asks for, as SQLite takes them."""
        values = [owner, moment.time.utc_ms, moment.at_s, *self._values(event)]
        for place in self._texts:
            values[place + 3] = _plain(values[place + 3])
        for place in self._objects:
            values[place + 3] = msgspec.json.encode(values[place + 3]).decode()
        return values


def _is_text(hint: object) -> bool:
    kinds = get_args(hint) if isinstance(hint, UnionType) else (hint,)
    return any(isinstance(kind, type) and issubclass(kind, str) for kind in kinds)


@lru_cache(maxsize=1024)
def _plain(text: str | None) -> str | None:
    """An enum becomes plain text; no lone surrogates."""
    return None if text is None else text.encode("utf-8", "replace").decode()


def _target_row(target: _Target) -> tuple[object, ...]:
    last = target.last
    return target.name, last.time.utc_ms, last.at_s, target.plots, *target.closest, target.number


_CLOSEST = ("closest_range_nm", "closest_bearing_deg", "closest_utc_ms", "closest_at_s")
_PLOTS = _Rows("plots", Plot, "target", owner="target_id")
_OTHERS: dict[type[AnyEvent], _Rows] = {
    OwnShip: _Rows("own_ship", OwnShip),
    Alert: _Rows("alerts", Alert),
    Radar: _Rows("radar", Radar),
    Note: _Rows("notes", Note),
    Feed: _Rows("feeds", Feed),
    Pair: _Rows("pairs", Pair),
}
_INSERT_TARGET = (
    "INSERT INTO targets (passage_id, target, name, first_utc_ms, first_at_s, last_utc_ms, last_at_s, plots,"
    f" {', '.join(_CLOSEST)}) VALUES ({', '.join('?' * 12)})"
)
_UPDATE_TARGET = (
    "UPDATE targets SET name = ?, last_utc_ms = ?, last_at_s = ?, plots = ?,"
    f" {', '.join(f'{column} = ?' for column in _CLOSEST)} WHERE target_id = ?"
)
_SELECT_TARGET = (
    f"SELECT target_id, name, plots, {', '.join(_CLOSEST)} FROM targets WHERE passage_id = ? AND target = ?"
)
