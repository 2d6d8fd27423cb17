"""Faults of the archive, provoked for real: kills, power cuts, and disks that are full, read-only, slow or broken."""

import contextlib
import random
import shutil
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from daemon.clock import HostClock
from daemon.sinks.archive import Archive
from daemon.sinks.archive_reader import ArchiveReader
from daemon.sinks.archive_store import Dated, Passage, Store
from daemon.sinks.face import SinkError
from tests.daemon.archive_makers import moment, plot
from tests.faults.outcome import Outcome

ROOT = Path(__file__).resolve().parents[2]
PASSAGE = Passage(origin="watch", source="test", program="test")

WRITER = """
import sys, time
from pathlib import Path
from daemon.clock import HostClock
from daemon.sinks.archive import Archive
from tests.daemon.archive_makers import moment, plot
from tests.faults.archive_faults import PASSAGE
clock = HostClock()
archive = Archive(Path(sys.argv[1]), PASSAGE, clock)
number = 0
while True:
    at_s = clock.mono_s()
    number += 1
    archive.take(moment(at_s), [plot(at_s)])
    sys.stdout.write(f"{number} {at_s} {archive.written}\\n")
    sys.stdout.flush()
    time.sleep(0.004)
"""


def kill_minus_nine(folder: Path, rounds: int, seed: int, at_once: int = 1) -> Outcome:
    """A watch's archive under steady traffic, killed at random moments, the next start on the same file."""
    dice = random.Random(seed)
    bad: list[str] = []
    missing_s: list[float] = []
    for first in range(0, rounds, at_once):
        paths = [folder / f"kill-{number}.sqlite" for number in range(min(at_once, rounds - first))]
        children = [
            subprocess.Popen([sys.executable, "-c", WRITER, path], cwd=ROOT, stdout=subprocess.PIPE) for path in paths
        ]
        for child in children:
            assert child.stdout
            child.stdout.readline()
        for path, child in zip(paths, children, strict=True):
            time.sleep(dice.uniform(0.05, 1.9 / at_once))
            child.kill()
            out, _ = child.communicate()
            problems, gap_s = _after_kill(path, out)
            bad += problems
            missing_s.append(gap_s)
    worst_s = max(missing_s)
    return Outcome(
        fault="kill -9 of the watch while it archives",
        tried=rounds,
        lost=f"no committed row; at most {worst_s:.2f} s uncommitted",
        figures={"worst_s": worst_s},
        bad=bad + ([f"{worst_s:.2f} s of data missing"] if worst_s > 1.0 else []),
    )


def _after_kill(path: Path, out: bytes) -> tuple[list[str], float]:
    """What is wrong with the file, and how many seconds before the kill its newest row is."""
    lines = [line.split() for line in out.decode().split("\n")[:-1]]
    lines = [line for line in lines if len(line) == 3] or [["1", "0", "0"]]
    connection = sqlite3.connect(path)
    bad = []
    answer = connection.execute("PRAGMA integrity_check").fetchone()[0]
    if answer != "ok":
        bad.append(f"integrity: {answer}")
    passage = connection.execute("SELECT max(passage_id) FROM passages").fetchone()[0]
    rows, last_s = connection.execute(
        "SELECT count(*), max(at_s) FROM plots JOIN targets USING (target_id) WHERE passage_id = ?", (passage,)
    ).fetchone()
    connection.close()
    committed = int(lines[-1][2])
    if committed == 0:  # killed before its first commit: the newest passage is that of the run before
        return bad, float(lines[-1][1])
    if rows < committed:
        bad.append(f"{committed} rows were committed, {rows} are there")
    if rows > int(lines[-1][0]) + 1:
        bad.append(f"{rows} rows, but only {lines[-1][0]} were taken")
    return bad, float(lines[-1][1]) - last_s


def power_cut(folder: Path, copies: int, seed: int) -> Outcome:
    """Main file and write-ahead log copied at random moments, the log cut at a random byte: what a power cut leaves."""
    dice = random.Random(seed)
    path, copy = folder / "power.sqlite", folder / "copy.sqlite"
    store = Store(path, PASSAGE)
    store.open()
    bad: list[str] = []
    shortest = 0
    for number in range(copies):
        store.write([(moment(n), plot(n)) for n in range(number * 5, number * 5 + 5)])
        copy.unlink(missing_ok=True)
        shutil.copy(path, copy)
        log = path.with_name("power.sqlite-wal").read_bytes()
        cut = dice.randrange(len(log) + 1)
        copy.with_name("copy.sqlite-wal").write_bytes(log[:cut])
        copy.with_name("copy.sqlite-shm").unlink(missing_ok=True)
        connection = sqlite3.connect(copy)
        if connection.execute("PRAGMA integrity_check").fetchone()[0] != "ok":
            bad.append(f"copy {number}, cut at {cut}: not whole")
        try:
            times = [row[0] for row in connection.execute("SELECT at_s FROM plots ORDER BY plot_id")]
        except sqlite3.OperationalError:
            times = []  # cut before the tables were made
        connection.close()
        shortest = max(shortest, number * 5 + 5 - len(times))
        if times != [float(n) for n in range(len(times))] or len(times) % 5:
            bad.append(f"copy {number}, cut at {cut}: not the first of the commits, whole")
    store.close()
    return Outcome(
        fault="power cut (log cut at a random byte)",
        tried=copies,
        lost="only what was not synced; always whole transactions, in order",
        bad=bad,
    )


@contextlib.contextmanager
def tmpfs(folder: Path, kib: int) -> Iterator[Path]:
    """A small disk of its own. Needs root."""
    folder.mkdir(exist_ok=True)
    subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={kib}k", "tmpfs", folder], check=True, capture_output=True)
    try:
        yield folder
    finally:
        subprocess.run(["umount", folder], check=True)


def can_mount(folder: Path) -> bool:
    """Whether this user may mount a tmpfs here."""
    try:
        with tmpfs(folder, 64):
            return True
    except (OSError, subprocess.CalledProcessError):
        return False


class Watched:
    """An archive that is fed as a stream feeds it, and how long each call took."""

    def __init__(self, path: Path, store: Store | None = None) -> None:
        self.archive = Archive(path, PASSAGE, HostClock(), store=store)
        self.taken = 0
        self.slowest_s = 0.0
        self.told: list[str] = []

    def feed(self, events: int) -> None:
        for _ in range(events):
            self.taken += 1
            self._timed(lambda: self.archive.take(moment(self.taken), [plot(self.taken, name="N" * 60)]))
        self._timed(lambda: self.archive.idle(0.0))

    def feed_until(self, reached: Callable[[], bool], within_s: float = 20.0, events: int = 5) -> bool:
        end = time.monotonic() + within_s
        while not reached():
            if time.monotonic() > end:
                return False
            self.feed(events)
            time.sleep(0.02)
        return True

    def until_written(self) -> bool:
        return self.feed_until(lambda: self.archive.written > 0)

    def until_trouble(self, word: str, events: int = 5) -> bool:
        return self.feed_until(lambda: word in self.archive.trouble, events=events)

    def until_well(self) -> bool:
        return self.feed_until(lambda: not self.archive.trouble)

    def close(self) -> None:
        with contextlib.suppress(SinkError):
            self.archive.close()

    def _timed(self, call: Callable[[], None]) -> None:
        began = time.monotonic()
        try:
            call()
        except SinkError as error:
            if str(error) not in self.told:
                self.told.append(str(error))
        self.slowest_s = max(self.slowest_s, time.monotonic() - began)


def _account(watched: Watched, path: Path, bad: list[str]) -> None:
    """Taken = in the archive + counted as lost; and the file is whole."""
    connection = sqlite3.connect(path)
    rows = connection.execute("SELECT count(*) FROM plots").fetchone()[0]
    if connection.execute("PRAGMA integrity_check").fetchone()[0] != "ok":
        bad.append("integrity")
    connection.close()
    if rows + watched.archive.lost != watched.taken:
        bad.append(f"{watched.taken} taken, {rows} archived, {watched.archive.lost} counted as lost")


def _recover(watched: Watched, path: Path, bad: list[str]) -> None:
    """The trouble is over: writing goes on by itself, and the account is right."""
    if not watched.until_well():
        bad.append("writing did not go on")
    watched.close()
    _account(watched, path, bad)


def full_disk(folder: Path, rounds: int) -> Outcome:
    """A small disk filled by others until the archive cannot write, and freed again."""
    bad: list[str] = []
    slowest_s, lost = 0.0, 0
    for _ in range(rounds):
        with tmpfs(folder / "full", 2048) as disk:
            path, ballast = disk / "a.sqlite", disk / "ballast"
            watched = Watched(path)
            if not watched.until_written():
                bad.append("nothing was written to the empty disk")
            with contextlib.suppress(OSError), ballast.open("wb", buffering=0) as file:
                while True:
                    file.write(bytes(4096))
            if not watched.until_trouble("full", events=10):
                bad.append("a full disk was not noticed")
            ballast.unlink()
            _recover(watched, path, bad)
            slowest_s, lost = max(slowest_s, watched.slowest_s), lost + watched.archive.lost
    return Outcome(
        fault="disk full, then freed",
        tried=rounds,
        lost=f"{lost} events; told at once; writing goes on by itself",
        figures={"slowest_take_ms": slowest_s * 1000},
        bad=bad,
    )


def read_only_disk(folder: Path, rounds: int) -> Outcome:
    """The disk turns read-only under a running watch, and back."""
    bad: list[str] = []
    slowest_s, lost = 0.0, 0
    for _ in range(rounds):
        with tmpfs(folder / "ro", 2048) as disk:
            path = disk / "a.sqlite"
            watched = Watched(path)
            watched.until_written()
            connection = watched.archive._store.connection
            assert connection
            connection.execute("PRAGMA query_only = ON")  # a mounted disk with open files cannot be remounted
            if not watched.until_trouble("read-only"):
                bad.append("a read-only disk was not noticed")
            connection.execute("PRAGMA query_only = OFF")
            _recover(watched, path, bad)
            slowest_s, lost = max(slowest_s, watched.slowest_s), lost + watched.archive.lost
    return Outcome(
        fault="archive read-only under a running watch (connection set query-only: a disk in use cannot be remounted),"
        " then writable",
        tried=rounds,
        lost=f"{lost} events; told at once; writing goes on by itself",
        figures={"slowest_take_ms": slowest_s * 1000},
        bad=bad,
    )


def read_only_from_the_start(folder: Path) -> Outcome:
    """The disk is mounted read-only when the watch begins, and remounted later."""
    bad: list[str] = []
    with tmpfs(folder / "ro-start", 2048) as disk:
        subprocess.run(["mount", "-o", "remount,ro", disk], check=True)
        path = disk / "a.sqlite"
        watched = Watched(path)
        if not watched.until_trouble("archive"):
            bad.append("a read-only disk was not noticed")
        subprocess.run(["mount", "-o", "remount,rw", disk], check=True)
        _recover(watched, path, bad)
        lost = watched.archive.lost
    return Outcome(fault="disk read-only from the start", tried=1, lost=f"{lost} events", bad=bad)


def locked(folder: Path, rounds: int) -> Outcome:
    """Another program holds a write transaction for longer than our patience."""
    bad: list[str] = []
    slowest_s, lost = 0.0, 0
    for number in range(rounds):
        path = folder / f"locked-{number}.sqlite"
        watched = Watched(path)
        watched.until_written()
        other = sqlite3.connect(path, isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        if not watched.until_trouble("locked"):
            bad.append("the lock was not noticed")
        other.execute("ROLLBACK")
        other.close()
        _recover(watched, path, bad)
        slowest_s, lost = max(slowest_s, watched.slowest_s), lost + watched.archive.lost
    return Outcome(
        fault="archive locked by another program",
        tried=rounds,
        lost=f"{lost} events; told after 3 s; writing goes on by itself",
        figures={"slowest_take_ms": slowest_s * 1000},
        bad=bad,
    )


class Failing:
    """A connection whose n-th operation fails, once or for ever after."""

    def __init__(self, connection: sqlite3.Connection, counter: list[int], fails: Callable[[int], bool]) -> None:
        self._connection = connection
        self._counter = counter
        self._fails = fails

    def _strike(self) -> None:
        self._counter[0] += 1
        if self._fails(self._counter[0]):
            raise sqlite3.OperationalError("disk I/O error")

    def execute(self, statement: str, *values: Any) -> sqlite3.Cursor:
        if not statement.startswith("ROLLBACK"):
            self._strike()
        return self._connection.execute(statement, *values)

    def executemany(self, statement: str, rows: Any) -> sqlite3.Cursor:
        self._strike()
        return self._connection.executemany(statement, rows)

    @property
    def in_transaction(self) -> bool:
        return self._connection.in_transaction

    def close(self) -> None:
        self._connection.close()


class FailingStore(Store):
    def __init__(self, path: Path, fails: Callable[[int], bool]) -> None:
        super().__init__(path, PASSAGE)
        self.operations = [0]
        self._fails = fails

    def open(self) -> None:
        super().open()
        assert self.connection
        self.connection = Failing(self.connection, self.operations, self._fails)  # type: ignore[assignment]


def nth_failure(folder: Path) -> Outcome:
    """Each operation of two commits fails in turn: once, and for ever after. All or nothing, and nothing twice."""
    bad: list[str] = []
    tried = 0
    batches: list[list[Dated]] = [[(moment(n), plot(n)) for n in range(first, first + 4)] for first in (0, 4)]
    for for_ever in (False, True):
        n = 0
        while True:
            n += 1
            path = folder / f"nth-{for_ever}-{n}.sqlite"
            fails = (lambda count, n=n: count >= n) if for_ever else (lambda count, n=n: count == n)
            store = FailingStore(path, fails)
            store.open()
            done = 0
            for batch in batches:
                for _ in range(2):  # one repetition, as the archive's thread does it
                    try:
                        store.write(batch)
                    except sqlite3.OperationalError:
                        continue
                    done += 1
                    break
            store.close()
            if store.operations[0] < n:
                break
            tried += 1
            with ArchiveReader(path) as reader:
                rows = [at.at_s for target in reader.targets() for at, _ in reader.plots(target.target_id)]
                counted = sum(target.plots for target in reader.targets())
            if rows != [float(number) for number in range(4 * done)] or counted != len(rows):
                bad.append(f"operation {n} failing {'for ever' if for_ever else 'once'}: rows {rows}")
            if not for_ever and done != 2:
                bad.append(f"operation {n} failing once: only {done} of 2 batches in the end")
    return Outcome(
        fault="n-th operation on the file fails, once or for ever",
        tried=tried,
        lost="whole transactions or nothing; after a single failure nothing",
        bad=bad,
    )


def broken_file(folder: Path, rounds: int, seed: int) -> Outcome:
    """Random pages of an archive overwritten with noise before the start: set aside whole, or read on as it is."""
    dice = random.Random(seed)
    bad: list[str] = []
    aside = 0
    for number in range(rounds):
        home = folder / f"broken-{number}"
        home.mkdir()
        path = home / "a.sqlite"
        store = Store(path, PASSAGE)
        store.open()
        store.write([(moment(n), plot(n)) for n in range(400)])
        store.close()
        data = bytearray(path.read_bytes())
        for _ in range(8):
            place = dice.randrange(100, len(data) - 200)
            data[place : place + 200] = dice.randbytes(200)
        path.write_bytes(data)
        watched = Watched(path)
        if not watched.until_written():
            bad.append(f"round {number}: nothing was written: {watched.archive.trouble}")
        watched.close()
        kept = [file for file in home.iterdir() if ".broken-" in file.name and file.suffix != ".shm"]
        aside += bool(kept)
        if kept and kept[0].read_bytes()[:4096] != bytes(data[:4096]):
            bad.append(f"round {number}: the broken file was changed")
        if watched.archive.lost:
            bad.append(f"round {number}: {watched.archive.lost} new events lost")
    return Outcome(
        fault="archive file broken (noise in random pages)",
        tried=rounds,
        lost=f"no new event; set aside whole {aside} times of {rounds}, nothing deleted",
        bad=bad,
    )


class SlowStore(Store):
    """A disk that takes two seconds for each commit."""

    def write(self, batch: Any, gap: Any = None) -> None:
        time.sleep(2.0)
        super().write(batch, gap)


def slow_disk(folder: Path, seconds: float) -> Outcome:
    """Every commit takes 2 s: how long does the stream wait for it?"""
    path = folder / "slow.sqlite"
    watched = Watched(path, SlowStore(path, PASSAGE))
    end = time.monotonic() + seconds
    watched.feed_until(lambda: time.monotonic() > end)
    slowest_ms = watched.slowest_s * 1000
    watched.archive._stopping = True
    watched.archive._thread.join(10)
    watched.close()
    bad: list[str] = []
    _account(watched, path, bad)
    if slowest_ms > 250:
        bad.append(f"a call took {slowest_ms:.0f} ms")
    return Outcome(
        fault="slow disk (2 s a commit)",
        tried=1,
        lost=f"{watched.archive.lost} events; the stream never waited over {slowest_ms:.1f} ms",
        figures={"slowest_take_ms": slowest_ms},
        bad=bad,
    )
