"""The archive: what goes in comes out, in any order of events, through any SQLite tool."""

import sqlite3
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import pytest
from msgspec import structs

from alerts.events import AnyEvent, Feed, Moment, Note, Plot
from daemon.clock import HostClock, VirtualClock
from daemon.errors import UserError
from daemon.sinks import archive as archive_sink
from daemon.sinks import archive_schema, archive_upkeep
from daemon.sinks.archive import COMMIT_S, RETRY_S, UPKEEP_S, Archive
from daemon.sinks.archive_reader import ArchiveReader
from daemon.sinks.archive_store import Dated, Passage, Store, connect
from daemon.sinks.face import SinkError
from tests.daemon.archive_makers import START_MS, moment, one_of_each, own_ship, plot

PASSAGE = Passage(origin="watch", source="udp:10110", program="test")


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "archive.sqlite"


@pytest.fixture
def store(path: Path) -> Iterator[Store]:
    opened = Store(path, PASSAGE)
    opened.open()
    yield opened
    opened.close()


def test_every_kind_of_event_comes_back_equal(path: Path) -> None:
    """One of each event, written by the sink and read back, is equal in every field."""
    archive = Archive(path, PASSAGE, HostClock())
    events = one_of_each(10.0)
    archive.take(moment(10.0), events)
    archive.close()

    with ArchiveReader(path) as reader:
        (passage,) = reader.passages()
        (target,) = reader.targets(passage.passage_id)
        back = [
            *reader.own_track(passage.passage_id),
            *reader.plots(target.target_id),
            *reader.alerts(passage.passage_id),
            *reader.radar(passage.passage_id),
            *reader.notes(passage.passage_id),
            *reader.feeds(passage.passage_id),
            *reader.pairs(passage.passage_id),
        ]

    assert [event for _, event in back] == events
    assert {at for at, _ in back} == {moment(10.0)}
    assert (passage.origin, passage.targets, passage.alerts, passage.ended) == ("watch", 1, 1, "in order")


def test_the_plots_table_has_every_key_of_a_plot(store: Store) -> None:
    """Each field of the plot event is a column of its own: nothing that was told is lost."""
    assert store.connection
    columns = {row[1] for row in store.connection.execute("PRAGMA table_info(plots)")}

    assert set(Plot.__struct_fields__) - {"time", "target"} <= columns


def test_durability_settings_are_in_force(store: Store) -> None:
    """Write-ahead log, synchronous FULL and foreign keys, asked back from SQLite itself."""
    assert store.connection
    answers = [
        store.connection.execute(f"PRAGMA {name}").fetchone()[0]
        for name in ("journal_mode", "synchronous", "foreign_keys", "auto_vacuum", "application_id", "user_version")
    ]

    assert answers == ["wal", 2, 1, 2, archive_schema.APPLICATION_ID, archive_schema.NEWEST]


def test_a_target_keeps_its_closest_approach_and_name(store: Store, path: Path) -> None:
    """Closest range, bearing and time as observed, over batches; a later empty name does not wipe the name."""
    store.write([(moment(t), plot(t, range_nm=r, name=n)) for t, r, n in ((0, 4.0, ""), (3, 2.0, "HALCYON"))])
    store.write([(moment(t), plot(t, range_nm=r)) for t, r in ((6, 1.5), (9, 1.9))])

    with ArchiveReader(path) as reader:
        (target,) = reader.targets()

    assert (target.closest_range_nm, target.closest_at_s, target.closest_utc_ms) == (1.5, 6.0, START_MS + 6000)
    assert (target.plots, target.name, target.first_at_s, target.last_at_s) == (4, "HALCYON", 0.0, 9.0)


def test_a_failed_batch_leaves_nothing_behind(store: Store, path: Path) -> None:
    """A row that SQLite refuses takes its whole transaction with it, and the next batch is whole again."""
    with pytest.raises(sqlite3.IntegrityError):
        store.write([(moment(0), plot(0)), (moment(1), plot(1, name=None))])  # type: ignore[arg-type]
    store.write([(moment(2), plot(2))])

    with ArchiveReader(path) as reader:
        (target,) = reader.targets()
        times = [at.at_s for at, _ in reader.plots(target.target_id)]

    assert (times, target.plots, target.first_at_s) == ([2.0], 1, 2.0)


def test_each_run_is_a_passage_of_its_own(path: Path) -> None:
    """A second run writes to the same file; the same target number there is another target."""
    for start_s in (0, 100):
        archive = Archive(path, PASSAGE, HostClock())
        archive.take(moment(start_s), [plot(start_s)])
        archive.close()

    with ArchiveReader(path) as reader:
        assert [row.targets for row in reader.passages()] == [1, 1]
        assert [row.target for row in reader.targets()] == ["radar-07", "radar-07"]


def test_many_targets_stay_right_beyond_the_remembered_ones(
    store: Store, path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A target whose row was forgotten is looked up again, and keeps counting."""
    monkeypatch.setattr("daemon.sinks.archive_store.MOST_TARGETS", 2)
    names = ["radar-01", "radar-02", "radar-03", "radar-01", "radar-02"]
    store.write([(moment(t), plot(t, target=name)) for t, name in enumerate(names)])

    with ArchiveReader(path) as reader:
        assert {row.target: row.plots for row in reader.targets()} == {"radar-01": 2, "radar-02": 2, "radar-03": 1}


def test_readable_by_any_tool_while_it_is_written(store: Store, path: Path) -> None:
    """A plain SQLite connection sees what is committed while the writer is open."""
    store.write([(moment(0), own_ship(0))])
    other = sqlite3.connect(path)

    assert other.execute("SELECT count(*), max(lat_deg) FROM own_ship").fetchone() == (1, 58.2)
    other.close()


@pytest.mark.parametrize(
    ("content", "word"),
    [(b"Dear diary", "not an archive"), (None, "folder"), (b"SQLite format 3\x00" + bytes(84), "archive")],
)
def test_files_of_others_are_refused_and_left_alone(tmp_path: Path, content: bytes | None, word: str) -> None:
    """Neither writer nor reader takes, renames or changes a file that is not an archive."""
    path = tmp_path / "letters"
    if content is None:
        path.mkdir()
    else:
        path.write_bytes(content)
    with pytest.raises(UserError, match=word):
        ArchiveReader(path)
    if content != b"SQLite format 3\x00" + bytes(84):
        with pytest.raises(UserError, match=word):
            Archive(path, PASSAGE, HostClock())

        assert path.is_dir() or path.read_bytes() == content


def test_another_programs_database_and_a_newer_archive_are_refused(tmp_path: Path) -> None:
    """Told apart by the application id and the schema number, with the mend in the message."""
    other = sqlite3.connect(tmp_path / "other")
    other.execute("CREATE TABLE recipes (name)")
    other.close()
    newer = Store(tmp_path / "newer", PASSAGE)
    newer.open()
    assert newer.connection
    newer.connection.execute("PRAGMA user_version = 99")
    newer.close()

    for name, word in (("other", "another program"), ("newer", "newer version")):
        with pytest.raises(UserError, match=word) as refused:
            Store(tmp_path / name, PASSAGE).open()
        assert refused.value.code == 3


class TestMigration:
    STEPS = (*archive_schema.STEPS, "ALTER TABLE notes ADD COLUMN mood TEXT;\nCREATE TABLE extra (x);")

    def test_steps_that_are_missing_are_taken_once(self, store: Store) -> None:
        """From the newest schema to a made-up next one: rows stay, the column is new, a second run does nothing."""
        store.write([(moment(0), event) for event in one_of_each(0)])
        assert store.connection

        taken = [archive_schema.migrate(store.connection, self.STEPS) for _ in range(2)]

        assert taken == [1, 0]
        assert store.connection.execute("SELECT text, mood FROM notes").fetchall() == [("sea clutter up", None)]

    def test_a_step_that_fails_half_way_changes_nothing(self, store: Store) -> None:
        """All of a step or nothing of it: the table made before the mistake is gone again."""
        assert store.connection
        broken = (*archive_schema.STEPS, "CREATE TABLE extra (x);\nCREATE TABLE extra (x);")
        with pytest.raises(sqlite3.OperationalError):
            archive_schema.migrate(store.connection, broken)

        assert archive_schema.version(store.connection) == len(archive_schema.STEPS)
        assert not store.connection.execute("SELECT 1 FROM sqlite_schema WHERE name = 'extra'").fetchall()


class TestUpkeep:
    def fill(self, store: Store, hours: int) -> sqlite3.Connection:
        for hour in range(hours):
            at_s = hour * 3600.0
            events: list[AnyEvent] = [e for e in one_of_each(at_s) if not isinstance(e, Plot)]
            events += [plot(at_s, target="radar-01"), plot(at_s, target=f"radar-{10 + hour}")]
            store.write([(moment(at_s), event) for event in events])
        assert store.connection
        return store.connection

    def test_old_rows_go_and_young_rows_stay(self, store: Store) -> None:
        """Cut at 5 h of 10 h: whole targets go, a target that lives on loses its old plots only, and keeps order."""
        connection = self.fill(store, 10)
        while archive_upkeep.remove_before(connection, START_MS + 5 * 3_600_000):
            pass

        counts = [
            connection.execute(f"SELECT count(*) FROM {t}").fetchone()[0] for t in ("own_ship", "targets", "notes")
        ]
        assert counts == [5, 6, 5]
        assert connection.execute("SELECT min(at_s) FROM plots").fetchone() == (18000.0,)
        assert connection.execute("SELECT first_at_s FROM targets WHERE target = 'radar-01'").fetchone() == (18000.0,)
        assert connection.execute("PRAGMA foreign_key_check").fetchall() == []

    def test_a_wall_clock_that_jumped_removes_nothing(self, store: Store) -> None:
        """Labels of the year 2000 in the middle of a passage: the rows are young by the stream's own time, and stay."""
        connection = self.fill(store, 3)
        connection.execute("UPDATE own_ship SET time_utc_ms = 946684800000 WHERE at_s > 0")

        assert not archive_upkeep.remove_before(connection, START_MS - 1)
        assert archive_upkeep.Limits(1, None).cutoff_utc_ms(connection, START_MS, START_MS + 400 * 86_400_000) is None
        assert archive_upkeep.Limits(1, None).cutoff_utc_ms(connection, START_MS, START_MS) == START_MS - 86_400_000

    def test_free_space_goes_back_to_the_disk(self, store: Store, path: Path) -> None:
        """After old rows are removed the file shrinks, a portion at a time."""
        store.write([(moment(t), plot(t, name="N" * 200)) for t in range(8000)])
        store.write([(moment(10_000_000), own_ship(10_000_000))])
        connection = store.connection
        assert connection
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
        full = path.stat().st_size
        while archive_upkeep.remove_before(connection, START_MS + 9_000_000_000):
            pass
        portions = 0
        while archive_upkeep.give_back_space(connection):
            portions += 1
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()

        assert portions > 3
        assert path.stat().st_size < full / 2

    def removed_until_small(self, connection: sqlite3.Connection, limits: archive_upkeep.Limits, newest: int) -> int:
        turns = 0
        while True:
            cutoff = limits.cutoff_utc_ms(connection, newest, newest)
            removed = cutoff is not None and archive_upkeep.remove_before(connection, cutoff)
            if not (removed or limits.move_on(connection, newest)):
                return turns
            turns += 1

    def test_over_the_size_limit_the_oldest_goes_first_whatever_it_is(self, store: Store) -> None:
        """Plots and own ship's rows end at the same time, within the quarter of an hour that is cut at once."""
        store.write([(moment(t), event) for t in range(0, 40_000, 20) for event in (own_ship(t), plot(t))])
        connection = store.connection
        assert connection
        before = archive_upkeep.used_bytes(connection)
        limits = archive_upkeep.Limits(None, before / 2 / 1024 / 1024)
        self.removed_until_small(connection, limits, START_MS + 39_980_000)
        firsts = [connection.execute(f"SELECT min(at_s) FROM {name}").fetchone()[0] for name in ("own_ship", "plots")]

        assert archive_upkeep.used_bytes(connection) <= before / 2
        assert abs(firsts[0] - firsts[1]) <= 900
        assert 15_000 < min(firsts) < 25_000

    def test_the_last_hour_stays_whatever_the_size_limit(self, store: Store) -> None:
        """And a passage that began when the clock was not set yet is not a reason to look through fifty years."""
        connection = self.fill(store, 5)
        connection.execute("UPDATE passages SET started_utc_ms = 0")
        turns = self.removed_until_small(connection, archive_upkeep.Limits(None, 0.001), START_MS + 4 * 3_600_000)

        assert connection.execute("SELECT min(at_s) FROM own_ship").fetchone() == (3 * 3600.0,)
        assert connection.execute("SELECT min(at_s) FROM plots").fetchone() == (3 * 3600.0,)
        assert turns < 60

    def test_a_new_name_for_all_three_parts(self, tmp_path: Path) -> None:
        """Main file, log and index are renamed together; a second one in the same second gets a number."""
        for _ in range(2):
            for part in ("", "-wal", "-shm"):
                (tmp_path / f"a{part}").write_text(part)
            archive_upkeep.set_aside(tmp_path / "a", START_MS)

        names = sorted(file.name for file in tmp_path.iterdir())
        stamp = "a.broken-20270115T080000Z"
        assert names == sorted(f"{stamp}{n}{part}" for n in ("", "-2") for part in ("", "-wal", "-shm"))


def until(done: Callable[[], bool]) -> None:
    """Within ten seconds."""
    for _ in range(1000):
        if done():
            return
        time.sleep(0.01)
    raise AssertionError("not within ten seconds")


def test_a_running_archive_keeps_within_its_size(path: Path) -> None:
    """Rows of days before, more than the limit: they go while the watch writes, the oldest first, and its own stay."""
    old = Store(path, PASSAGE)
    old.open()
    old.write([(moment(t), plot(t, name="N" * 300)) for t in range(-400_000, -100_000, 75)])
    old.close()
    clock = VirtualClock(utc_ms=START_MS)
    archive = Archive(path, PASSAGE, clock, keep_mib=1.0)
    archive.take(moment(0), one_of_each(0))
    connection = connect(path)
    assert archive_upkeep.used_bytes(connection) > 1.5 * 1024 * 1024
    clock.advance(COMMIT_S)
    until(lambda: archive.written > 0)
    clock.advance(UPKEEP_S)
    until(lambda: archive_upkeep.used_bytes(connection) <= 1024 * 1024)
    archive.close()

    assert archive_upkeep.used_bytes(connection) <= 1024 * 1024
    assert connection.execute("SELECT count(*) FROM plots").fetchone()[0] > 500
    assert connection.execute("SELECT min(at_s) FROM plots").fetchone()[0] > -400_000
    assert connection.execute("SELECT count(*) FROM alerts").fetchone() == (1,)
    connection.close()


def test_one_transaction_holds_all_that_waited(path: Path) -> None:
    """Nothing is written before COMMIT_S has passed on the clock; then everything that waits goes in at once."""
    clock = VirtualClock()
    archive = Archive(path, PASSAGE, clock)
    archive.take(moment(0), one_of_each(0))
    assert archive.written == 0
    clock.advance(COMMIT_S + 0.01)
    for _ in range(200):
        if archive.written:
            break
        archive._thread.join(0.01)

    assert archive.written == 7
    archive.close()


class Balky(Store):
    """Fails for so many batches; `meanwhile` is called while a batch is being written."""

    def __init__(self, path: Path, failures: int = 0, meanwhile: Callable[[], None] = lambda: None) -> None:
        super().__init__(path, PASSAGE)
        self.failures = failures
        self.meanwhile = meanwhile

    def write(self, batch: Sequence[Dated], gap: tuple[Moment, int, str] | None = None) -> None:
        meanwhile, self.meanwhile = self.meanwhile, lambda: None
        meanwhile()
        if self.failures:
            self.failures -= 1
            raise sqlite3.OperationalError("disk I/O error")
        super().write(batch, gap)


def written(archive: Archive, clock: VirtualClock, count: int) -> None:
    """Lets time pass until so many events are written."""
    for _ in range(400):
        if archive.written >= count:
            break
        clock.advance(RETRY_S)
        archive._thread.join(0.01)
    assert archive.written >= count


@pytest.mark.parametrize("failures", [1, 2])
def test_what_was_put_back_is_written_in_its_order(path: Path, failures: int) -> None:
    """Writes fail: nothing is lost, and the rows stand in the order in which things happened."""
    clock = VirtualClock()
    archive = Archive(path, PASSAGE, clock, store=Balky(path, failures=failures))
    for second in range(20):
        archive.take(moment(second), [plot(second), Note(time=moment(second).time, text=f"{second}", author="a")])
    written(archive, clock, 40)
    archive.close()

    with ArchiveReader(path) as reader:
        (passage,) = reader.passages()
        assert reader.gaps(passage.passage_id) == []
    connection = connect(path)
    assert [text for (text,) in connection.execute("SELECT text FROM notes ORDER BY rowid")] == [
        f"{second}" for second in range(20)
    ]
    assert [at_s for (at_s,) in connection.execute("SELECT at_s FROM plots ORDER BY rowid")] == list(range(20))
    connection.close()


def test_of_what_was_put_back_the_oldest_is_given_up(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A write fails while more comes in than the backlog holds: the newest of both are kept."""
    monkeypatch.setattr(archive_sink, "BACKLOG", 10)
    clock = VirtualClock()
    store = Balky(path, 1, lambda: archive.take(moment(100), [plot(100 + k) for k in range(5)]))
    archive = Archive(path, PASSAGE, clock, store=store)
    for second in range(10):
        archive.take(moment(second), [plot(second)])
    written(archive, clock, 10)
    with pytest.raises(SinkError, match="5 events were not archived"):
        archive.close()

    connection = connect(path)
    kept = [at_s for (at_s,) in connection.execute("SELECT at_s FROM plots ORDER BY rowid")]
    connection.close()
    assert kept == [5, 6, 7, 8, 9, *[100] * 5]


@pytest.mark.parametrize("failures", [0, 1])
def test_every_event_that_was_given_up_is_in_a_gap(path: Path, monkeypatch: pytest.MonkeyPatch, failures: int) -> None:
    """Also what was given up while an earlier gap was on its way to the disk, or failed to get there."""
    monkeypatch.setattr(archive_sink, "BACKLOG", 10)
    clock = VirtualClock()
    store = Balky(path, failures, lambda: archive.take(moment(100), [plot(100 + k / 100) for k in range(25)]))
    archive = Archive(path, PASSAGE, clock, store=store)
    archive.take(moment(0), [plot(k / 100) for k in range(30)])
    written(archive, clock, 10 if failures else 20)
    with pytest.raises(SinkError, match="were not archived"):
        archive.close()

    with ArchiveReader(path) as reader:
        (passage,) = reader.passages()
        gaps = reader.gaps(passage.passage_id)
    assert archive.lost == (45 if failures else 35)
    assert sum(gap.lost for gap in gaps) == archive.lost
    assert gaps[0].at_s == 0.0


def test_a_file_that_was_taken_away_is_begun_anew(path: Path) -> None:
    """Deleted by hand while it is written: what is written to it would never be seen. It is said, and nothing is lost
    from then on."""
    clock = VirtualClock()
    archive = Archive(path, PASSAGE, clock)
    archive.take(moment(0), [plot(0)])
    written(archive, clock, 1)
    for part in path.parent.glob(f"{path.name}*"):
        part.unlink()
    archive.take(moment(1), [plot(1)])
    written(archive, clock, 2)
    archive.close()

    assert "deleted or replaced by another program" in archive.notices[0]
    connection = connect(path)
    assert connection.execute("SELECT at_s FROM plots").fetchall() == [(1.0,)]
    connection.close()


def test_connections_are_never_in_a_transaction_of_their_own(path: Path) -> None:
    """isolation_level None: the sqlite3 module begins no transaction behind our back."""
    connection = connect(path)

    assert connection.isolation_level is None
    connection.close()


def test_the_file_is_closed_even_if_the_end_cannot_be_written(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The disk fills up at the very end: the passage is told like one that died, and nobody holds the file."""

    def full(store: Store, how: str) -> None:
        raise sqlite3.OperationalError("database or disk is full")

    monkeypatch.setattr(Store, "end_passage", full)
    archive = Archive(path, PASSAGE, HostClock())
    archive.take(moment(0), [plot(0)])
    archive.close()

    assert archive._store.connection is None
    with ArchiveReader(path) as reader:
        assert reader.passages()[0].ended is None


def test_an_archive_whose_schema_is_noise_is_set_aside(path: Path) -> None:
    """SQLite's own message is then no text. Kept under another name, a new one begun, and that is told."""
    Archive(path, PASSAGE, HostClock()).close()
    noise = path.read_bytes().replace(b"CREATE TABLE", b"\xcb\xff\xfe TABLE \xcb")
    path.write_bytes(noise)
    with pytest.raises(UserError, match="cannot be read as an archive"):
        ArchiveReader(path)
    archive = Archive(path, PASSAGE, HostClock())
    archive.take(moment(0), one_of_each(0))
    archive.close()
    (aside,) = path.parent.glob("*.broken-*Z")

    assert aside.read_bytes() == noise
    assert [text for text in archive.notices if f"kept as {aside}" in text] == list(archive.notices)
    with ArchiveReader(path) as reader:
        assert reader.passages()[0].targets == 1


def test_an_event_that_no_table_takes_costs_its_batch_and_is_told(path: Path) -> None:
    """A fault of our own: the archive's thread lives on, and the gap says what is missing."""
    archive = Archive(path, PASSAGE, HostClock())
    archive.take(moment(0), [structs.replace(feed, lines=2**70) for feed in one_of_each(0) if isinstance(feed, Feed)])
    until(lambda: archive.lost == 1)
    archive.take(moment(1), one_of_each(1))
    with pytest.raises(SinkError, match="1 events were not archived: a fault of the program"):
        archive.close()

    assert "could not be written (OverflowError" in archive.notices[0]
    with ArchiveReader(path) as reader:
        (passage,) = reader.passages()
        assert [gap.lost for gap in reader.gaps(passage.passage_id)] == [1]
        assert passage.targets == 1
