"""`tracks`, from its arguments to its exit code: list, show, export."""

import argparse
import json
import sys
from collections.abc import Iterable, Iterator
from pathlib import Path

from alerts.events import Instant
from daemon import words
from daemon.config import archive_path, load
from daemon.errors import CANNOT_OPEN, UserError
from daemon.pictures.drawing import Drawing
from daemon.pictures.files import write as write_picture
from daemon.pictures.sheet import Mark, SheetTrack, plotting_sheet, resumed
from daemon.sinks.archive_reader import ArchiveReader, PassageRow, TargetRow
from daemon.tracks import columns, gpx
from daemon.tracks.geojson import geojson
from daemon.tracks.selection import Point, Selection, Track, own_points, rows, tracks, when

ENDINGS = {".gpx": "gpx", ".geojson": "geojson", ".json": "geojson", ".csv": "csv", ".parquet": "parquet"}
SHOWN = 25
"""`show` prints about so many lines of a track, evenly spread; --json prints every plot."""


def tell(args: argparse.Namespace) -> int:
    """The command."""
    wanted = Selection(
        passage=args.passage,
        targets=tuple(args.target),
        from_ms=when(args.since, "--since"),
        to_ms=when(args.until, "--until"),
        within_nm=args.within,
    )
    with ArchiveReader(args.archive or archive_path(load(None))) as reader:
        if args.action == "list":
            return _list(reader, wanted, args.json)
        if args.action == "show":
            return _show(reader, wanted, args)
        return _export(reader, wanted, args)


# ----------------------------------------------------------------------------------------------------- list


def _list(reader: ArchiveReader, wanted: Selection, as_json: bool) -> int:
    chosen = rows(reader, wanted)
    passages = {row.passage_id: row for row in reader.passages()}
    if as_json:
        for row in chosen:
            print(json.dumps(_as_json(row), ensure_ascii=False))
        return 0
    last = None
    for row in chosen:
        if row.passage_id != last:
            last = row.passage_id
            print(_passage_line(passages[last]))
            print("  target         plots  seen, UTC             closest  at        name")
        print(_row_line(row))
    _say_none(chosen)
    return 0


def _say_none(chosen: list[TargetRow]) -> None:
    if not chosen:
        print("secondplot tracks: no track in the archive is what was asked for", file=sys.stderr)


def _passage_line(row: PassageRow) -> str:
    first, last = Instant(row.started_utc_ms), Instant(row.last_utc_ms)
    source = words.clean(row.source.replace("\n", ", "), 60)
    return f"passage {row.passage_id}: {words.date(first)} {words.clock(first)} to {words.clock(last)} UTC, {source}"


def _row_line(row: TargetRow) -> str:
    seen = f"{words.clock(Instant(row.first_utc_ms))} to {words.clock(Instant(row.last_utc_ms))}"
    closest = f"{words.miles(row.closest_range_nm):>8}  {words.clock(Instant(row.closest_utc_ms))}"
    return (
        f"  {words.clean(row.target, 40):<14} {row.plots:>5}  {seen}  {closest}  {words.clean(row.name, 30)}".rstrip()
    )


def _as_json(row: TargetRow) -> dict[str, object]:
    return {
        "passage": row.passage_id,
        "target": row.target,
        "name": row.name,
        "first_time": str(Instant(row.first_utc_ms)),
        "last_time": str(Instant(row.last_utc_ms)),
        "plots": row.plots,
        "closest_range_nm": row.closest_range_nm,
        "closest_bearing_deg": row.closest_bearing_deg,
        "closest_time": str(Instant(row.closest_utc_ms)),
    }


# ----------------------------------------------------------------------------------------------------- show


def _show(reader: ArchiveReader, wanted: Selection, args: argparse.Namespace) -> int:
    chosen = rows(reader, wanted)
    # The newest passage that holds the target, unless one is named.
    track = next(iter(tracks(reader, chosen[-1:], wanted)), None)
    if track is None:
        raise UserError(f"{args.target[0]} has no plot in the times asked for", CANNOT_OPEN)
    if args.json:
        for point in track.points:
            told = columns.cells(track, point)
            print(json.dumps({**told, "time": str(Instant(point.utc_ms))}, ensure_ascii=False, allow_nan=False))
    else:
        _print_track(track)
    if args.plot is not None:
        write_picture(relative_sheet(track), args.plot)
    return 0


def _print_track(track: Track) -> None:
    print(_row_line(track.row).strip())
    print(
        "UTC       bearing  range     CPA      95 %              TCPA         bearing is     passing           the set"
    )
    step = max(1, len(track.points) // SHOWN)
    shown = [*track.points[:-1:step], track.points[-1]]
    for point in shown:
        plot = point.plot
        cpa = f"{words.miles(plot.cpa_nm):<8} {words.limits(plot.cpa_low_nm, plot.cpa_high_nm):<16}"
        place = f"{words.bearing(plot.bearing_deg):<7}  {words.miles(plot.range_nm):<8}"
        judged = f"{words.until(plot.tcpa_min):<12} {plot.bearing_trend:<14} {plot.passing:<17} {plot.check}"
        print(f"{words.clock(Instant(point.utc_ms))}  {place}  {cpa}  {judged}")
    if len(shown) < len(track.points):
        print(f"{len(shown)} of {len(track.points)} plots; --json prints all")


def relative_sheet(track: Track) -> Drawing:
    """The target's relative track on a plotting sheet, a time about every eighth of it."""
    points = [point for point in track.points if point.plot.bearing_deg is not None]
    every = max(1, len(points) // 8)
    gaps = set(resumed([point.utc_ms / 1000 for point in points]))
    marks = [
        Mark(
            point.plot.range_nm,
            point.plot.bearing_deg or 0.0,
            _label(point, number % every == 0),
            point.utc_ms / 1000 in gaps,
        )
        for number, point in enumerate(points)
    ]
    row = track.row
    closest = None
    if row.closest_bearing_deg is not None:
        closest = Mark(row.closest_range_nm, row.closest_bearing_deg, f"closest {words.miles(row.closest_range_nm)}")
    name = words.clean(row.name, 24) or row.target
    sheet = SheetTrack(name=name, points=marks, cpa=closest)
    return plotting_sheet([sheet], title=f"Relative track of {name}", description=_row_line(row))


def _label(point: Point, shown: bool) -> str:
    return words.clock(Instant(point.utc_ms))[:5] if shown else ""


# --------------------------------------------------------------------------------------------------- export


def _export(reader: ArchiveReader, wanted: Selection, args: argparse.Namespace) -> int:
    kind = args.format or ENDINGS.get(args.output.suffix.lower() if args.output else "", "")
    if not kind:
        raise UserError("choose --format gpx, geojson, csv or parquet, or an --output that ends so")
    chosen = rows(reader, wanted)
    _say_none(chosen)
    found = tracks(reader, chosen, wanted)
    if kind == "parquet":
        if args.output is None:
            raise UserError("Parquet goes into a file: name it with --output")
        columns.write_parquet(found, args.output)
    else:
        _write(_pieces(kind, reader, chosen, found, wanted), args.output)
    return 0


def _pieces(
    kind: str, reader: ArchiveReader, chosen: list[TargetRow], found: Iterable[Track], wanted: Selection
) -> Iterator[str]:
    if kind == "csv":
        return columns.csv_text(found)
    numbers = {row.passage_id for row in chosen}
    own = (own_points(reader, row, wanted) for row in reader.passages() if row.passage_id in numbers)
    return gpx.gpx(own, found) if kind == "gpx" else geojson(own, found)


def _write(pieces: Iterator[str], output: Path | None) -> None:
    if output is None:
        sys.stdout.writelines(pieces)
        return
    try:
        with output.open("w", encoding="utf-8", newline="") as file:
            file.writelines(pieces)
    except OSError as error:
        raise UserError(f"--output {output}: cannot be written: {error.strerror}", CANNOT_OPEN) from error
