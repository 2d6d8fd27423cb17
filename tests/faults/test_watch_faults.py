"""The whole program as a process. In full numbers: tests.benchmarks.reliability."""

from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path

import pytest

from tests.faults import watch_faults as faults
from tests.faults.archive_faults import can_mount
from tests.faults.outcome import Outcome


@pytest.fixture(scope="module", autouse=True)
def clock_put(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Future[Outcome] | None]:
    """Begun first and asked for last: its nine seconds of real time pass while the other tests run."""
    if faults.faketime() is None:
        yield None
        return
    with ThreadPoolExecutor(1) as beside:
        yield beside.submit(faults.host_clock, tmp_path_factory.mktemp("clock"), seconds=9)


def test_it_stops_in_time_in_every_state(tmp_path: Path) -> None:
    """Within 2 s, with code 0: starting, idle, flooded, without its adapter, with a full disk."""
    if not can_mount(tmp_path / "probe"):
        pytest.skip("needs root, to mount a small tmpfs")
    assert faults.stopping(tmp_path, rounds=1, seed=5).bad == []


def test_a_kill_loses_the_last_second_at_most(tmp_path: Path) -> None:
    """SIGKILL: the recording and the archive hold all that came before, without a gap."""
    assert faults.killed(tmp_path, rounds=1, seed=6).bad == []


def test_a_reader_that_goes_is_no_end_of_the_watch(tmp_path: Path) -> None:
    """No traceback, and no lost watch because a pipe was closed."""
    assert faults.reader_gone(tmp_path).bad == []


def test_a_clock_that_is_put_changes_labels_alone(clock_put: Future[Outcome] | None) -> None:
    """The machine's own clock, moved under the running program: no alert without a cause, no track broken."""
    if clock_put is None:
        pytest.skip("needs libfaketime (Debian package of that name), to move the wall clock of a process")
    assert clock_put.result().bad == []
