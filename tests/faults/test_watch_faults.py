"""The whole program as a process. In full numbers: tests.benchmarks.reliability."""

from pathlib import Path

import pytest

from tests.faults import watch_faults as faults
from tests.faults.archive_faults import can_mount


def test_it_stops_in_time_in_every_state(tmp_path: Path) -> None:
    """Within 2 s, with code 0: starting, idle, flooded, without its adapter, with a full disk."""
    if not can_mount(tmp_path / "probe"):
        pytest.skip("needs root, to mount a small tmpfs")
    assert faults.stopping(tmp_path, rounds=1, seed=5).bad == []


def test_a_clock_that_is_put_changes_labels_alone(tmp_path: Path) -> None:
    """The machine's own clock, moved under the running program: no alert without a cause, no track broken."""
    if faults.faketime() is None:
        pytest.skip("needs libfaketime (Debian package of that name), to move the wall clock of a process")
    assert faults.host_clock(tmp_path, seconds=9).bad == []


def test_a_reader_that_goes_is_no_end_of_the_watch(tmp_path: Path) -> None:
    """No traceback, and no lost watch because a pipe was closed."""
    assert faults.reader_gone(tmp_path).bad == []
