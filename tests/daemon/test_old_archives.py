"""Archives of every released schema open, are brought up to date, and keep every row."""

import sqlite3
from pathlib import Path

import pytest

from alerts.events import Pair
from daemon.sinks import archive_schema
from daemon.sinks.archive_reader import ArchiveReader
from daemon.sinks.archive_store import Passage, Store
from tests.daemon.archive_makers import moment, one_of_each, plot

RELEASED = sorted(Path(__file__).with_name("archives").glob("schema-*.sql"))
NEXT = (
    *archive_schema.STEPS,
    "ALTER TABLE plots ADD COLUMN aspect_deg REAL;\nCREATE INDEX notes_by_time ON notes (at_s);",
)


def made(tmp_path: Path, script: Path) -> Path:
    path = tmp_path / "old.sqlite"
    connection = sqlite3.connect(path, isolation_level=None)
    connection.executescript(script.read_text())
    connection.close()
    return path


def events_of(path: Path) -> list[object]:
    with ArchiveReader(path) as reader:
        (passage, *_) = reader.passages()
        (target,) = reader.targets(passage.passage_id)
        number = passage.passage_id
        found = [
            *reader.own_track(number),
            *reader.plots(target.target_id),
            *reader.alerts(number),
            *reader.radar(number),
            *reader.notes(number),
            *reader.feeds(number),
            *reader.pairs(number),
        ]
    return [event for _, event in sorted(found, key=lambda pair: pair[0].at_s)]


def written(script: Path) -> list[object]:
    """What went into it: schema 1 had no place for pairs."""
    events = [*one_of_each(10.0), *one_of_each(20.0)]
    return [event for event in events if script.stem != "schema-1" or not isinstance(event, Pair)]


def test_there_is_one_kept_for_every_released_schema() -> None:
    """A step without an archive from before it would be a step that nobody tried."""
    assert [path.name for path in RELEASED] == [f"schema-{n}.sql" for n in range(1, archive_schema.NEWEST + 1)]


@pytest.mark.parametrize("script", RELEASED, ids=lambda path: path.stem)
def test_it_reads_as_it_was_written(tmp_path: Path, script: Path) -> None:
    """Every event of it, in every field."""
    assert events_of(made(tmp_path, script)) == written(script)


@pytest.mark.parametrize("script", RELEASED, ids=lambda path: path.stem)
def test_a_watch_goes_on_in_it(tmp_path: Path, script: Path) -> None:
    """The next run adds its passage; the old one is as it was."""
    path = made(tmp_path, script)
    store = Store(path, Passage(origin="watch", source="-", program="test"))
    store.open()
    store.write([(moment(30.0), plot(30.0))])
    store.close()

    with ArchiveReader(path) as reader:
        assert [row.targets for row in reader.passages()] == [1, 1]


@pytest.mark.parametrize("script", RELEASED, ids=lambda path: path.stem)
def test_the_next_schema_can_be_reached(tmp_path: Path, script: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A reader brings a copy up to date and leaves the file alone; a writer brings up the file itself."""
    path = made(tmp_path, script)
    monkeypatch.setattr(archive_schema, "NEWEST", len(NEXT))
    monkeypatch.setattr(archive_schema.migrate, "__defaults__", (NEXT,))
    before = path.read_bytes()
    read = events_of(path)
    after = path.read_bytes()
    store = Store(path, Passage(origin="watch", source="-", program="test"))
    store.open()
    assert store.connection
    reached = archive_schema.version(store.connection)
    store.close()

    assert read == written(script)
    assert after == before
    assert reached == len(NEXT)
