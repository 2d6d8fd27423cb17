"""The archive's tables, and the way from each released schema to the newest.

Rules for this file:

- A released step is never edited: a new need is a new step at the end. `user_version` is the number of steps taken.
- Times are UNIX milliseconds UTC (`…_utc_ms`), which are labels and may jump; order and ages within a passage are by
  `at_s`, the stream's own seconds. Units stand in column names. Unknown is NULL.
- Text from the wire is stored as it came: readers make it harmless where they show it.
"""

import sqlite3
from collections.abc import Sequence
from pathlib import Path

from daemon.errors import CANNOT_OPEN, UserError

APPLICATION_ID = 0x53504C54
"""Marks the file as ours (SQLite pragma application_id): the letters SPLT."""

_V1 = """
CREATE TABLE passages (
    passage_id     INTEGER PRIMARY KEY,
    origin         TEXT NOT NULL,            -- watch or replay
    source         TEXT NOT NULL,            -- feeds or files, one a line
    program        TEXT NOT NULL,            -- version that wrote it
    started_utc_ms INTEGER NOT NULL,
    last_utc_ms    INTEGER NOT NULL,         -- of the newest row
    last_at_s      REAL NOT NULL,
    ended          TEXT                      -- NULL while it runs, or when it died
);
CREATE TABLE own_ship (
    own_ship_id    INTEGER PRIMARY KEY,
    passage_id     INTEGER NOT NULL REFERENCES passages ON DELETE CASCADE,
    time_utc_ms    INTEGER NOT NULL,
    at_s           REAL NOT NULL,
    lat_deg REAL, lon_deg REAL, position_age_s REAL,
    sog_kn REAL, sog_age_s REAL, cog_deg REAL, cog_age_s REAL,
    heading_deg REAL, heading_source TEXT, heading_age_s REAL,
    stw_kn REAL, stw_age_s REAL
);
CREATE INDEX own_ship_by_passage ON own_ship (passage_id, at_s);
CREATE TABLE targets (
    target_id      INTEGER PRIMARY KEY,
    passage_id     INTEGER NOT NULL REFERENCES passages ON DELETE CASCADE,
    target         TEXT NOT NULL,            -- radar-07, ais-219000123, mark-1
    name           TEXT NOT NULL,
    first_utc_ms   INTEGER NOT NULL,
    first_at_s     REAL NOT NULL,
    last_utc_ms    INTEGER NOT NULL,
    last_at_s      REAL NOT NULL,
    plots          INTEGER NOT NULL,
    closest_range_nm    REAL NOT NULL,       -- closest approach as observed
    closest_bearing_deg REAL,
    closest_utc_ms INTEGER NOT NULL,
    closest_at_s   REAL NOT NULL,
    UNIQUE (passage_id, target)
);
CREATE INDEX targets_by_age ON targets (last_utc_ms);
CREATE TABLE plots (
    plot_id        INTEGER PRIMARY KEY,
    target_id      INTEGER NOT NULL REFERENCES targets ON DELETE CASCADE,
    time_utc_ms    INTEGER NOT NULL,
    at_s           REAL NOT NULL,
    name TEXT NOT NULL,
    range_nm REAL NOT NULL, bearing_deg REAL, relative_bearing_deg REAL, course_deg REAL, speed_kn REAL,
    cpa_nm REAL, cpa_sd_nm REAL, cpa_low_nm REAL, cpa_high_nm REAL, tcpa_min REAL, tcpa_sd_min REAL,
    inside_probability REAL,
    bearing_rate_deg_min REAL, bearing_rate_sd_deg_min REAL, bearing_trend TEXT NOT NULL,
    bow_crossing_nm REAL, bow_crossing_min REAL, passing TEXT NOT NULL, encounter TEXT NOT NULL,
    reported_cpa_nm REAL, reported_tcpa_min REAL, reported_course_deg REAL, reported_speed_kn REAL,
    "check" TEXT NOT NULL, check_cause TEXT,
    track TEXT NOT NULL, observations INTEGER NOT NULL
);
CREATE INDEX plots_by_target ON plots (target_id, at_s);
CREATE TABLE alerts (
    alert_row_id   INTEGER PRIMARY KEY,
    passage_id     INTEGER NOT NULL REFERENCES passages ON DELETE CASCADE,
    time_utc_ms    INTEGER NOT NULL,
    at_s           REAL NOT NULL,
    id INTEGER NOT NULL, rule TEXT NOT NULL, priority TEXT NOT NULL, state TEXT NOT NULL, target TEXT,
    text TEXT NOT NULL,
    "values" TEXT NOT NULL                   -- JSON
);
CREATE INDEX alerts_by_passage ON alerts (passage_id, at_s);
CREATE TABLE radar (
    radar_id       INTEGER PRIMARY KEY,
    passage_id     INTEGER NOT NULL REFERENCES passages ON DELETE CASCADE,
    time_utc_ms    INTEGER NOT NULL,
    at_s           REAL NOT NULL,
    range_scale_nm REAL, orientation TEXT,
    ebl_1_deg REAL, vrm_1_nm REAL, ebl_2_deg REAL, vrm_2_nm REAL, cursor_range_nm REAL, cursor_bearing_deg REAL
);
CREATE INDEX radar_by_passage ON radar (passage_id, at_s);
CREATE TABLE notes (
    note_id        INTEGER PRIMARY KEY,
    passage_id     INTEGER NOT NULL REFERENCES passages ON DELETE CASCADE,
    time_utc_ms    INTEGER NOT NULL,
    at_s           REAL NOT NULL,
    text TEXT NOT NULL, author TEXT NOT NULL
);
CREATE INDEX notes_by_passage ON notes (passage_id, at_s);
CREATE TABLE feeds (
    feed_id        INTEGER PRIMARY KEY,
    passage_id     INTEGER NOT NULL REFERENCES passages ON DELETE CASCADE,
    time_utc_ms    INTEGER NOT NULL,
    at_s           REAL NOT NULL,
    name TEXT NOT NULL, state TEXT NOT NULL,
    lines INTEGER NOT NULL, accepted INTEGER NOT NULL, refused TEXT NOT NULL, dropped INTEGER NOT NULL
);
CREATE INDEX feeds_by_passage ON feeds (passage_id, at_s);
CREATE TABLE gaps (                          -- when the archive itself could not be written
    gap_id         INTEGER PRIMARY KEY,
    passage_id     INTEGER NOT NULL REFERENCES passages ON DELETE CASCADE,
    time_utc_ms    INTEGER NOT NULL,         -- of the first event lost or late
    at_s           REAL NOT NULL,
    until_at_s     REAL NOT NULL,
    lost           INTEGER NOT NULL,         -- events that are not in the archive
    reason TEXT NOT NULL
);
CREATE INDEX gaps_by_passage ON gaps (passage_id, at_s);
"""

_V2 = """
CREATE TABLE pairs (                         -- a radar and an AIS track are one vessel, or no longer
    pair_id        INTEGER PRIMARY KEY,
    passage_id     INTEGER NOT NULL REFERENCES passages ON DELETE CASCADE,
    time_utc_ms    INTEGER NOT NULL,
    at_s           REAL NOT NULL,
    target TEXT NOT NULL, ais TEXT NOT NULL, name TEXT NOT NULL, state TEXT NOT NULL,
    speaks TEXT,                             -- the track that alerts are for
    why TEXT NOT NULL
);
CREATE INDEX pairs_by_passage ON pairs (passage_id, at_s);
"""

STEPS: tuple[str, ...] = (_V1, _V2)
"""Step n leads from schema n to schema n + 1."""

NEWEST = len(STEPS)


def version(connection: sqlite3.Connection) -> int:
    """The schema in the file; 0 for a new file."""
    return int(connection.execute("PRAGMA user_version").fetchone()[0])


def refuse_newer(schema: int, path: Path, mend: str) -> None:
    """UserError, with what to do about it, where the file's schema is newer than any that is known here."""
    if schema > NEWEST:
        raise UserError(
            f"{path} was made by a newer version of this program (schema {schema}, known here: up to {NEWEST}): {mend}",
            CANNOT_OPEN,
        )


def migrate(connection: sqlite3.Connection, steps: Sequence[str] = STEPS) -> int:
    """Take all steps that are missing, each whole or not at all; the number taken.

    The connection is in autocommit mode (isolation_level None). A crash between two steps leaves a valid older schema.
    """
    begun = version(connection)
    for number in range(begun, len(steps)):
        connection.execute("BEGIN IMMEDIATE")
        try:
            for statement in _statements(steps[number]):
                connection.execute(statement)
            connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            connection.execute(f"PRAGMA user_version = {number + 1}")
            connection.execute("COMMIT")
        except BaseException:
            if connection.in_transaction:
                connection.execute("ROLLBACK")
            raise
    return max(0, len(steps) - begun)


def _statements(script: str) -> list[str]:
    """The statements of a script: executescript() would commit behind our back."""
    statements, part = [], ""
    for line in script.splitlines():
        part += line + "\n"
        if sqlite3.complete_statement(part):
            statements.append(part)
            part = ""
    if part.strip():
        statements.append(part)
    return statements
