"""A debrief from the command line: the record found or gathered, the page written."""

import argparse
import json
import math
import sys
import threading
from pathlib import Path

from alerts.lookout import Lookout
from daemon.about import program
from daemon.clock import HostClock
from daemon.commands import shared
from daemon.config import load
from daemon.debrief.page import Debrief, Shape, page
from daemon.debrief.record import Archived, Gathered, Record
from daemon.errors import CANNOT_OPEN, UserError
from daemon.feeds.replay import Recording
from daemon.replaying import MAX, feeds_of, lookout_settings, run
from daemon.sinks.archive_reader import ArchiveReader
from daemon.stream import Stream
from daemon.timeline import RecordedTimeline
from daemon.undated import undated

SQLITE_HEAD = b"SQLite format 3\x00"
"""The first sixteen bytes of every SQLite file (the file format's own documentation, 1.3)."""


def make(args: argparse.Namespace) -> int:
    """The command, from its arguments to its exit code."""
    if not (math.isfinite(args.within) and args.within > 0):
        raise UserError(f"--within {args.within:g}: a range in NM, more than 0")
    if args.cards < 0:
        raise UserError(f"--cards {args.cards}: 0 or more")
    output = args.output or Path(Path(args.files[0]).name.partition(".")[0] + ".debrief.html")
    if is_archive(args.files[0]):
        if len(args.files) > 1:
            raise UserError("one archive at a time: name a single archive, or recordings only")
        with ArchiveReader(Path(args.files[0])) as reader:
            return _write(from_archive(reader, args.passage), args, output)
    if args.passage is not None:
        raise UserError("--passage is for archives: a recording is one passage")
    return _write(gather(args), args, output)


def is_archive(path: str) -> bool:
    """Whether the file is a SQLite database."""
    try:
        with Path(path).open("rb") as file:
            return file.read(len(SQLITE_HEAD)) == SQLITE_HEAD
    except OSError:
        return False


def from_archive(reader: ArchiveReader, number: int | None) -> Record:
    """One passage of an archive, the last where none is named."""
    rows = reader.passages()
    if not rows:
        raise UserError(f"{reader.path} holds no passage yet", CANNOT_OPEN)
    chosen = rows[-1] if number is None else next((row for row in rows if row.passage_id == number), None)
    if chosen is None:
        held = ", ".join(str(row.passage_id) for row in rows[-20:])
        raise UserError(f"--passage {number}: {reader.path} holds no such passage; it holds: {held}")
    return Archived(reader, chosen)


def gather(args: argparse.Namespace) -> Gathered:
    """Recordings through the stream, their events kept."""
    config = load(args.config, shared.overrides(args))
    recordings = [Recording(path) for path in args.files]
    record = Gathered("\n".join(args.files), program())
    stream = Stream(
        Lookout(lookout_settings(config)),
        [record],
        feeds_of(recordings, not args.no_checksum),
        RecordedTimeline(args.rate),
    )
    run(stream, recordings, MAX, HostClock(), threading.Event(), not args.no_checksum)
    stream.close()
    if stream.moment is None:
        raise UserError("no line could be used; `secondplot survey FILE` says what is in it", CANNOT_OPEN)
    for notice in undated(stream):
        raise UserError(notice)
    return record


def _write(record: Record, args: argparse.Namespace, output: Path) -> int:
    title = args.title or f"Passage debrief: {Path(args.files[0]).name}"
    debrief = Debrief(record, Shape(title=title, within_nm=args.within, most_cards=args.cards))
    data = page(debrief).encode("utf-8")
    try:
        output.write_bytes(data)
    except OSError as error:
        raise UserError(f"--output {output}: cannot be written: {error.strerror}", CANNOT_OPEN) from error
    if args.json:
        told = {"output": str(output), "bytes": len(data), "targets": len(debrief.passage.targets)}
        print(json.dumps({**told, "cards": len(debrief.studies)}))
    else:
        print(output)
        print(f"secondplot debrief: {len(debrief.studies)} full cards, {len(data) / 1e6:.2f} MB", file=sys.stderr)
    return 0
