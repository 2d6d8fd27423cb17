"""The archive loses nothing that was committed, and never holds up the watch.

The same scenarios in full numbers: tests.benchmarks.reliability.
"""

from pathlib import Path

import pytest

from tests.faults import archive_faults as faults


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("daemon.sinks.archive.PATIENCE_S", 0.5)
    monkeypatch.setattr("daemon.sinks.archive.RETRY_S", 0.3)


@pytest.fixture
def root(tmp_path: Path) -> Path:
    if not faults.can_mount(tmp_path / "probe"):
        pytest.skip("needs root, to mount a small tmpfs")
    return tmp_path


def test_kill_minus_nine(tmp_path: Path) -> None:
    """No committed row is lost, at most one second is missing, the next start goes on."""
    assert faults.kill_minus_nine(tmp_path, rounds=4, seed=1, at_once=4).bad == []


def test_power_cut(tmp_path: Path) -> None:
    """Always whole transactions, in order, in a file that opens by itself."""
    assert faults.power_cut(tmp_path, copies=15, seed=2).bad == []


def test_disk_full(root: Path) -> None:
    """Noticed, told, and writing goes on once there is room; every event is archived or counted."""
    outcome = faults.full_disk(root, rounds=1)

    assert outcome.bad == []
    assert outcome.figures["slowest_take_ms"] < 250


def test_read_only(root: Path) -> None:
    """From the start: the watch begins without an archive, and archives what waited once it can."""
    assert faults.read_only_from_the_start(root).bad == []


def test_every_operation_failing_in_turn(tmp_path: Path) -> None:
    """All of a transaction or nothing of it, and nothing twice."""
    outcome = faults.nth_failure(tmp_path)

    assert outcome.bad == []
    assert outcome.tried > 20


def test_a_broken_file(tmp_path: Path) -> None:
    """Set aside whole, under a new name; a fresh one takes what is new."""
    assert faults.broken_file(tmp_path, rounds=1, seed=3).bad == []


def test_locked_by_another_program(tmp_path: Path) -> None:
    """Told once our patience is over; nothing is lost."""
    assert faults.locked(tmp_path, rounds=1).bad == []
