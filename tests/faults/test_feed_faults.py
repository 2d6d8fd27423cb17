"""Feeds heal and account for every line; clocks that jump change nothing.

The same scenarios in full numbers: tests.benchmarks.reliability.
"""

from pathlib import Path

from tests.faults import feed_faults as faults


def test_a_flood_is_counted_to_the_line() -> None:
    """Sent = lines + kernel drops, exactly; the newest is kept; targets are not dropped before own-ship lines."""
    outcome = faults.flood(0.6, capacity=2000)

    assert outcome.bad == []
    assert outcome.tried > 5000


def test_unplugged_lines_heal(tmp_path: Path) -> None:
    """Within the first pauses."""
    assert faults.unplug(tmp_path, rounds=1).bad == []


def test_lost_connections_are_called_again() -> None:
    """In the middle of a line."""
    assert faults.reset_connections(rounds=3).bad == []


def test_clock_jumps_change_labels_alone(tmp_path: Path) -> None:
    """Plots, alerts and feeds of some minutes of fog are the same whatever the wall clock did."""
    assert faults.clock_jumps(tmp_path, minutes=2.5).bad == []


def test_torn_recordings() -> None:
    """All whole lines come back."""
    assert faults.torn_recordings(rounds=20, seed=4).bad == []
