"""Which tracks of an archive: by passage, target, time and closest approach."""

from collections.abc import Iterator, Sequence
from datetime import UTC, datetime

from msgspec import Struct

from alerts.events import OwnShip, Plot
from daemon.errors import UserError
from daemon.sinks.archive_reader import ArchiveReader, PassageRow, TargetRow
from daemon.tracks.positions import OwnTrack, Place


class Selection(Struct, frozen=True, kw_only=True):
    """What was asked for; None where it does not matter. Times are UNIX milliseconds."""

    passage: int | None = None
    targets: tuple[str, ...] = ()
    from_ms: int | None = None
    to_ms: int | None = None
    within_nm: float | None = None

    def wants(self, row: TargetRow) -> bool:
        """Whether a target's track belongs to it, by its summary."""
        return not (
            (self.passage is not None and row.passage_id != self.passage)
            or (self.targets and row.target not in self.targets)
            or (self.from_ms is not None and row.last_utc_ms < self.from_ms)
            or (self.to_ms is not None and row.first_utc_ms > self.to_ms)
            or (self.within_nm is not None and row.closest_range_nm > self.within_nm)
        )

    def holds(self, utc_ms: int) -> bool:
        """Whether a moment lies in its times."""
        return (self.from_ms is None or utc_ms >= self.from_ms) and (self.to_ms is None or utc_ms <= self.to_ms)


class Point(Struct, frozen=True):
    """One plot and where the target was; `place` is None where own position or the true bearing is not known."""

    utc_ms: int
    plot: Plot
    own: Place | None
    place: Place | None


class Track(Struct, frozen=True):
    """One target's points, of at least one plot."""

    row: TargetRow
    points: Sequence[Point]


def when(text: str | None, option: str) -> int | None:
    """A time as typed, RFC 3339 or without its zone, which is then UTC."""
    if text is None:
        return None
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise UserError(f"{option} {text}: give a date and time as 2027-01-15T08:30 or 2027-01-15T08:30:00Z") from None
    return round((moment if moment.tzinfo else moment.replace(tzinfo=UTC)).timestamp() * 1000)


def rows(reader: ArchiveReader, wanted: Selection) -> list[TargetRow]:
    """The targets that are asked for. A passage or a target that is not there is said so."""
    held = reader.targets()
    if wanted.passage is not None and wanted.passage not in {row.passage_id for row in reader.passages()}:
        known = ", ".join(str(row.passage_id) for row in reader.passages()[-20:]) or "none"
        raise UserError(f"--passage {wanted.passage}: {reader.path} holds no such passage; it holds: {known}")
    for target in wanted.targets:
        if target not in {row.target for row in held}:
            raise UserError(f"{reader.path} holds no target {target!r}; `secondplot tracks list` names them")
    return [row for row in held if wanted.wants(row)]


def tracks(reader: ArchiveReader, chosen: Sequence[TargetRow], wanted: Selection) -> Iterator[Track]:
    """The tracks one after another, each with its positions. One track at a time is in memory."""
    own: OwnTrack | None = None
    passage = -1
    for row in chosen:
        if own is None or row.passage_id != passage:
            own, passage = OwnTrack(reader.own_track(row.passage_id)), row.passage_id
        points = [
            Point(moment.time.utc_ms, plot, *own.places(moment.at_s, plot))
            for moment, plot in reader.plots(row.target_id)
            if wanted.holds(moment.time.utc_ms)
        ]
        if points:
            yield Track(row, points)


def own_points(reader: ArchiveReader, passage: PassageRow, wanted: Selection) -> list[tuple[int, OwnShip]]:
    """Own ship's positions in the times asked for, each dated when the fix was made."""
    return [
        (moment.time.utc_ms - round(1000 * (ship.position_age_s or 0.0)), ship)
        for moment, ship in reader.own_track(passage.passage_id)
        if ship.lat_deg is not None and wanted.holds(moment.time.utc_ms)
    ]
