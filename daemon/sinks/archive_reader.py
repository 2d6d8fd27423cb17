"""Reading an archive: passages, targets with their closest approach, plots, own track, alerts, notes.

Opened read-only, while a watch writes to it or not. An archive with an older schema is brought up to date in a copy;
the file itself is left as it is.
"""

import sqlite3
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any, TypeVar

import msgspec
from msgspec import Struct

from alerts.events import Alert, Feed, Instant, Moment, Note, OwnShip, Pair, Plot, Radar
from daemon.errors import CANNOT_OPEN, UserError
from daemon.sinks import archive_schema
from daemon.sinks.archive_store import refuse_foreign


class PassageRow(Struct, frozen=True, kw_only=True):
    """One run. `ended` is None where it still runs, or died. `targets` and `alerts` are counts."""

    passage_id: int
    origin: str
    source: str
    program: str
    started_utc_ms: int
    last_utc_ms: int
    last_at_s: float
    ended: str | None
    targets: int
    alerts: int


class TargetRow(Struct, frozen=True, kw_only=True):
    """One target's track, with its closest approach as observed."""

    target_id: int
    passage_id: int
    target: str
    name: str
    first_utc_ms: int
    first_at_s: float
    last_utc_ms: int
    last_at_s: float
    plots: int
    closest_range_nm: float
    closest_bearing_deg: float | None
    closest_utc_ms: int
    closest_at_s: float


class GapRow(Struct, frozen=True, kw_only=True):
    """A time in which events were lost to the archive: from `at_s` until `until_at_s`."""

    passage_id: int
    time_utc_ms: int
    at_s: float
    until_at_s: float
    lost: int
    reason: str


EventType = TypeVar("EventType", OwnShip, Plot, Alert, Radar, Note, Feed, Pair)
RowType = TypeVar("RowType", PassageRow, TargetRow, GapRow)

_JSON_COLUMNS = {"values", "refused"}


class ArchiveReader:
    """Use as a context manager. All lists are in the order of time; large ones are iterators.

    Raises UserError (code 3) where the path is not an archive that can be read.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._copy: tempfile.TemporaryDirectory[str] | None = None
        self._connection = self._open()
        self._connection.row_factory = sqlite3.Row

    def __enter__(self) -> "ArchiveReader":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close; a copy that was made is removed."""
        self._connection.close()
        if self._copy is not None:
            self._copy.cleanup()

    def passages(self) -> list[PassageRow]:
        """All passages, the oldest first."""
        counts = ", ".join(
            f"(SELECT count(*) FROM {table} WHERE {table}.passage_id = passages.passage_id) AS {name}"
            for table, name in (("targets", "targets"), ("(SELECT DISTINCT passage_id, id FROM alerts) a", "alerts"))
        ).replace("(SELECT DISTINCT passage_id, id FROM alerts) a.passage_id", "a.passage_id")
        return self._rows(PassageRow, f"SELECT *, {counts} FROM passages ORDER BY passage_id")

    def targets(self, passage_id: int | None = None) -> list[TargetRow]:
        """Targets of one passage, or of all, by the time of their first plot."""
        where, values = ("WHERE passage_id = ?", (passage_id,)) if passage_id is not None else ("", ())
        return self._rows(TargetRow, f"SELECT * FROM targets {where} ORDER BY passage_id, first_at_s", values)

    def plots(self, target_id: int) -> Iterator[tuple[Moment, Plot]]:
        """All plots of one target."""
        query = (
            "SELECT plots.*, targets.target AS target FROM plots JOIN targets USING (target_id)"
            " WHERE target_id = ? ORDER BY plots.at_s, plot_id"
        )
        return self._events(Plot, query, (target_id,))

    def own_track(self, passage_id: int) -> Iterator[tuple[Moment, OwnShip]]:
        """Own ship through a passage."""
        return self._of_passage(OwnShip, "own_ship", passage_id)

    def alerts(self, passage_id: int) -> Iterator[tuple[Moment, Alert]]:
        """All changes of state of all alerts of a passage."""
        return self._of_passage(Alert, "alerts", passage_id)

    def radar(self, passage_id: int) -> Iterator[tuple[Moment, Radar]]:
        """The picture's settings through a passage."""
        return self._of_passage(Radar, "radar", passage_id)

    def notes(self, passage_id: int) -> Iterator[tuple[Moment, Note]]:
        """The notes of a passage."""
        return self._of_passage(Note, "notes", passage_id)

    def feeds(self, passage_id: int) -> Iterator[tuple[Moment, Feed]]:
        """The feeds' states and counters through a passage."""
        return self._of_passage(Feed, "feeds", passage_id)

    def pairs(self, passage_id: int) -> Iterator[tuple[Moment, Pair]]:
        """Which radar and AIS tracks were taken for one vessel, and when no longer. None from schema 1."""
        return self._of_passage(Pair, "pairs", passage_id)

    def gaps(self, passage_id: int) -> list[GapRow]:
        """When the archive could not be written and what that cost."""
        columns = ", ".join(GapRow.__struct_fields__)
        query = f"SELECT {columns} FROM gaps WHERE passage_id = ? ORDER BY at_s"
        return self._rows(GapRow, query, (passage_id,))

    def _of_passage(self, kind: type[EventType], table: str, passage_id: int) -> Iterator[tuple[Moment, EventType]]:
        query = f"SELECT * FROM {table} WHERE passage_id = ? ORDER BY at_s, rowid"
        return self._events(kind, query, (passage_id,))

    def _events(
        self, kind: type[EventType], query: str, values: tuple[object, ...]
    ) -> Iterator[tuple[Moment, EventType]]:
        for row in self._connection.execute(query, values):
            fields: dict[str, Any] = {
                name: msgspec.json.decode(row[name]) if name in _JSON_COLUMNS else row[name]
                for name in kind.__struct_fields__
                if name != "time"
            }
            time = Instant(row["time_utc_ms"])
            event = msgspec.convert({**fields, "time": time, "event": kind.__struct_config__.tag}, kind)
            yield Moment(row["at_s"], time), event

    def _rows(self, kind: type[RowType], query: str, values: tuple[object, ...] = ()) -> list[RowType]:
        try:
            return [
                kind(**{name: row[name] for name in kind.__struct_fields__})
                for row in self._connection.execute(query, values)
            ]
        except sqlite3.Error as error:
            raise UserError(f"{self.path} cannot be read: {error}", CANNOT_OPEN) from error

    def _open(self) -> sqlite3.Connection:
        if not self.path.exists():
            raise UserError(f"{self.path} is not there: name an archive that a watch or replay has made", CANNOT_OPEN)
        refuse_foreign(self.path)
        try:
            connection = self._connect()
            schema = self._checked(connection)
        except (sqlite3.Error, UnicodeDecodeError) as error:  # the latter: SQLite's own message is noise from the file
            raise UserError(f"{self.path} cannot be read as an archive: {error}", CANNOT_OPEN) from error
        return connection if schema == archive_schema.NEWEST else self._migrated_copy(connection)

    def _connect(self) -> sqlite3.Connection:
        """Read-only. On a read-only disk a log's index cannot be made, and the file alone is then the whole truth."""
        address = self.path.resolve().as_uri()
        for mode in ("mode=ro", "immutable=1"):
            connection = sqlite3.connect(f"{address}?{mode}", uri=True, isolation_level=None)
            try:
                connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()
            except sqlite3.OperationalError:
                connection.close()
                wal = self.path.with_name(self.path.name + "-wal")
                if mode == "immutable=1" or (wal.exists() and wal.stat().st_size):
                    raise
            else:
                return connection
        raise AssertionError("one of the two modes answered or raised")

    def _checked(self, connection: sqlite3.Connection) -> int:
        mark = connection.execute("PRAGMA application_id").fetchone()[0]
        schema = archive_schema.version(connection)
        if mark != archive_schema.APPLICATION_ID or schema == 0:
            raise UserError(f"{self.path} is not an archive of this program", CANNOT_OPEN)
        archive_schema.refuse_newer(schema, self.path, "install that version to read it")
        return schema

    def _migrated_copy(self, old: sqlite3.Connection) -> sqlite3.Connection:
        self._copy = tempfile.TemporaryDirectory(prefix="secondplot-")
        copy = sqlite3.connect(Path(self._copy.name) / "archive.sqlite", isolation_level=None)
        old.backup(copy)
        old.close()
        archive_schema.migrate(copy)
        return copy
