"""The archive's upkeep, off the hot path: a broken file set aside, old rows removed, space given back.

All work is done in short transactions by the archive's own thread, so that a commit of new data never waits long.
"""

import sqlite3
from datetime import UTC, datetime
from pathlib import Path

ROWS_AT_ONCE = 2000
PAGES_AT_ONCE = 200
FREE_PAGES = 256
"""Fewer free pages than this (1 MB) are left for the next rows to use."""

BROKEN = {"SQLITE_CORRUPT", "SQLITE_NOTADB"}
_DAY_MS = 86_400_000
_HOUR_MS = 3_600_000
_QUARTER_MS = _HOUR_MS // 4
_TABLES = ("own_ship", "alerts", "radar", "notes", "feeds", "gaps", "pairs")


def is_broken(error: sqlite3.Error) -> bool:
    """The file itself is damaged, as against full, locked or read-only."""
    name = getattr(error, "sqlite_errorname", "") or ""
    return name in BROKEN or name.startswith("SQLITE_CORRUPT") or "malformed" in str(error)


def set_aside(path: Path, utc_ms: int) -> Path:
    """Rename all three parts of a closed, broken archive; nothing is deleted. The new name of the main file."""
    stamp = datetime.fromtimestamp(utc_ms / 1000, UTC).strftime("%Y%m%dT%H%M%SZ")
    aside = path.with_name(f"{path.name}.broken-{stamp}")
    number = 1
    while aside.exists():
        number += 1
        aside = path.with_name(f"{path.name}.broken-{stamp}-{number}")
    for part in ("-wal", "-shm", ""):
        source = path.with_name(path.name + part)
        if source.exists():
            source.rename(aside.with_name(aside.name + part))
    return aside


def used_bytes(connection: sqlite3.Connection) -> int:
    """Bytes that hold rows and indexes: the file less its free pages."""
    pages, free, size = (
        int(connection.execute(f"PRAGMA {name}").fetchone()[0])
        for name in ("page_count", "freelist_count", "page_size")
    )
    return (pages - free) * size


def remove_before(connection: sqlite3.Connection, cutoff_utc_ms: int) -> bool:
    """Remove one portion of what is older than that; False when nothing is left to remove.

    Within a passage the cut is made by `at_s`, counted back from its newest row, so that a jump of the wall clock in
    the middle of a passage removes nothing that is young.
    """
    rows = connection.execute("SELECT passage_id, last_utc_ms, last_at_s FROM passages ORDER BY passage_id").fetchall()
    for passage, last_utc_ms, last_at_s in rows:
        cut_at_s = last_at_s - (last_utc_ms - cutoff_utc_ms) / 1000
        if _remove_portion(connection, passage, cut_at_s):
            return True
        if last_utc_ms < cutoff_utc_ms:
            connection.execute("DELETE FROM passages WHERE passage_id = ?", (passage,))
            return True
    return False


def _remove_portion(connection: sqlite3.Connection, passage: int, cut_at_s: float) -> bool:
    for table in _TABLES:
        chosen = f"SELECT rowid FROM {table} WHERE passage_id = ? AND at_s < ? LIMIT {ROWS_AT_ONCE}"
        removed = connection.execute(f"DELETE FROM {table} WHERE rowid IN ({chosen})", (passage, cut_at_s))
        if removed.rowcount:
            return True
    target = connection.execute(
        "SELECT target_id, last_at_s FROM targets WHERE passage_id = ? AND first_at_s < ? ORDER BY first_at_s LIMIT 1",
        (passage, cut_at_s),
    ).fetchone()
    return target is not None and _remove_of_target(connection, target[0], target[1], cut_at_s)


def _remove_of_target(connection: sqlite3.Connection, target_id: int, last_at_s: float, cut_at_s: float) -> bool:
    """Its old plots; then the target itself, or where it lives on, the new time of its first plot."""
    removed = connection.execute(
        "DELETE FROM plots WHERE plot_id IN"
        f" (SELECT plot_id FROM plots WHERE target_id = ? AND at_s < ? LIMIT {ROWS_AT_ONCE})",
        (target_id, cut_at_s),
    )
    if removed.rowcount:
        return True
    if last_at_s < cut_at_s:
        connection.execute("DELETE FROM targets WHERE target_id = ?", (target_id,))
        return True
    row = connection.execute(
        "SELECT time_utc_ms, at_s FROM plots WHERE target_id = ? ORDER BY at_s LIMIT 1", (target_id,)
    ).fetchone()
    if row is None:
        return False
    connection.execute("UPDATE targets SET first_utc_ms = ?, first_at_s = ? WHERE target_id = ?", (*row, target_id))
    return True


def give_back_space(connection: sqlite3.Connection) -> bool:
    """Return one portion of free pages to the disk; False when there is nothing worth it."""
    free = int(connection.execute("PRAGMA freelist_count").fetchone()[0])
    if free < FREE_PAGES:
        return False
    connection.execute(f"PRAGMA incremental_vacuum({PAGES_AT_ONCE})").fetchall()
    return True


def _oldest_utc_ms(connection: sqlite3.Connection) -> int | None:
    """The oldest row's label, counted back from its passage's newest row as in `remove_before`; None without rows."""
    columns = [(table, "at_s") for table in _TABLES] + [("targets", "first_at_s")]
    firsts = ", ".join(
        f"(SELECT min({column}) FROM {table} WHERE passage_id = passages.passage_id)" for table, column in columns
    )
    oldest = [
        last_utc_ms - round((last_at_s - min(found)) * 1000)
        for last_utc_ms, last_at_s, *each in connection.execute(
            f"SELECT last_utc_ms, last_at_s, {firsts} FROM passages"
        )
        if (found := [at_s for at_s in each if at_s is not None])
    ]
    return min(oldest, default=None)


class Limits:
    """Which rows are too old: by age, by size, or neither.

    Age is counted from the label of the newest row, and only while the host's clock says about the same: a clock that
    jumped by years must never empty the archive.
    """

    def __init__(self, keep_days: float | None, keep_mib: float | None) -> None:
        self._keep_days = keep_days
        self._most_bytes = None if keep_mib is None else keep_mib * 1024 * 1024
        self._size_cut_ms: int | None = None

    def cutoff_utc_ms(self, connection: sqlite3.Connection, newest_utc_ms: int, host_utc_ms: int) -> int | None:
        """Rows before this are to go; None if nothing is."""
        cuts = []
        if self._keep_days is not None and abs(newest_utc_ms - host_utc_ms) < _DAY_MS:
            cuts.append(round(newest_utc_ms - self._keep_days * _DAY_MS))
        if self._size_cut_ms is not None and self._is_too_large(connection):
            cuts.append(self._size_cut_ms)
        return max(cuts, default=None)

    def move_on(self, connection: sqlite3.Connection, newest_utc_ms: int) -> bool:
        """Nothing is left before the cut: the next one is a quarter of an hour after the oldest row, where the file is
        too large. False where there is no more to remove.

        Not before: a cut that ran ahead of the removing would cost own ship's rows long before any plot.
        """
        oldest_utc_ms = _oldest_utc_ms(connection) if self._is_too_large(connection) else None
        if oldest_utc_ms is None:
            return False
        self._size_cut_ms = min(oldest_utc_ms + _QUARTER_MS, newest_utc_ms - _HOUR_MS)
        return self._size_cut_ms > oldest_utc_ms

    def _is_too_large(self, connection: sqlite3.Connection) -> bool:
        return self._most_bytes is not None and used_bytes(connection) > self._most_bytes
