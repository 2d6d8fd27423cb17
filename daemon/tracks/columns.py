"""Tracks as a table: CSV, or Parquet where the extra is installed. One row for each plot, with both positions."""

import csv
import io
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from alerts.events import Instant, Plot
from daemon import words
from daemon.errors import CANNOT_OPEN, UserError
from daemon.tracks.selection import Point, Track

if TYPE_CHECKING:
    import pyarrow

Cell = float | int | str | None

# What a plot says, in the events' own names; its `name` is told apart, made harmless.
PLOT_FIELDS = tuple(field for field in Plot.__struct_fields__ if field not in ("time", "target", "name"))
PLACES = ("lat_deg", "lon_deg", "own_lat_deg", "own_lon_deg")
COLUMNS = ("passage", "target", "name", "time", *PLACES, *PLOT_FIELDS)
WORDS = {"bearing_trend", "passing", "encounter", "check", "check_cause", "track"}


def cells(track: Track, point: Point) -> dict[str, Cell]:
    """A row by its column's name; `time` is UNIX milliseconds."""
    place, own = point.place, point.own
    places = (
        None if place is None else round(place.lat_deg, 7),
        None if place is None else round(place.lon_deg, 7),
        None if own is None else round(own.lat_deg, 7),
        None if own is None else round(own.lon_deg, 7),
    )
    named: dict[str, Cell] = {
        "passage": track.row.passage_id,
        "target": track.row.target,
        "name": words.clean(point.plot.name, 60),
        "time": point.utc_ms,
    }
    told = {field: getattr(point.plot, field) for field in PLOT_FIELDS}
    return {**named, **dict(zip(PLACES, places, strict=True)), **told}


def csv_text(tracks: Iterable[Track]) -> Iterator[str]:
    """The CSV in pieces (RFC 4180): a header, then a row for each plot. Unknown is empty."""
    yield _csv_rows([list(COLUMNS)])
    for track in tracks:
        yield _csv_rows([[_csv_cell(name, value) for name, value in cells(track, one).items()] for one in track.points])


def _csv_rows(rows: list[list[str]]) -> str:
    text = io.StringIO()
    csv.writer(text).writerows(rows)
    return text.getvalue()


def _csv_cell(name: str, value: Cell) -> str:
    if value is None:
        return ""
    if name == "time":
        return str(Instant(int(value)))
    text = str(value)
    # A spreadsheet takes a text that begins so for a formula; a target's name must not be one.
    return f"'{text}" if isinstance(value, str) and text[:1] in ("=", "+", "-", "@") else text


def write_parquet(tracks: Iterable[Track], path: Path) -> int:
    """Write a Parquet file, a row group for each track; how many rows."""
    try:
        import pyarrow as arrow
        from pyarrow import parquet
    except ImportError:
        raise UserError("Parquet needs its library: pip install pyarrow, or choose another format") from None
    schema = _schema(arrow)
    written = 0
    try:
        with parquet.ParquetWriter(path, schema) as writer:
            for track in tracks:
                rows = [cells(track, point) for point in track.points]
                writer.write_table(arrow.Table.from_pylist(rows, schema=schema))
                written += len(rows)
    except OSError as error:
        raise UserError(f"--output {path}: cannot be written: {error.strerror or error}", CANNOT_OPEN) from error
    return written


def _schema(arrow: "pyarrow") -> "pyarrow.Schema":
    kinds = {"passage": arrow.int64(), "observations": arrow.int64(), "time": arrow.timestamp("ms", tz="UTC")}
    texts = WORDS | {"target", "name"}
    return arrow.schema(
        [(name, kinds.get(name, arrow.string() if name in texts else arrow.float64())) for name in COLUMNS]
    )
