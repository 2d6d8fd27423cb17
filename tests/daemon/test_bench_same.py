"""The sweep's alerts are the alerts: for any setting, count and times are those of a replay with that configuration."""

import gzip
import random
import threading
from collections.abc import Sequence
from itertools import islice
from pathlib import Path

import pytest
from msgspec import structs
from numpy.testing import assert_array_equal

from alerts.events import Alert, AnyEvent, Moment
from alerts.lookout import Lookout
from daemon.bench.abreast import Abreast
from daemon.bench.closest import told
from daemon.bench.grid import Grid, Limits, grid_of
from daemon.bench.limits import columns_of
from daemon.bench.lives import Change
from daemon.bench.near import Near, What
from daemon.bench.outcome import Task, work
from daemon.bench.reading import read
from daemon.clock import HostClock
from daemon.config import Config, load
from daemon.feeds.replay import Recording
from daemon.replaying import MAX, feeds_of, lookout_settings, run
from daemon.stream import Stream
from daemon.timeline import RecordedTimeline
from tests.daemon import bench_makers

RECORDINGS = Path(__file__).parents[2] / "recordings"

Told = list[tuple[int, str, str, bool]]
"""Time, target, state, and whether this is a new alert: in order."""

# Shorter than anybody would set them, so that in eight minutes the flap guard holds alerts back, what was rectified
# ages out and what was lost does; on 3 NM the rule is off, on 6 NM and before it is on.
CONFIG = """
condition = "open water"
[conditions."open water"]
range_scales_nm = [6]
[conditions.coastal]
range_scales_nm = [3]
[alerts.life]
keep_rectified_min = 1.5
keep_lost_min = 1
flap_changes = 2
flap_window_s = 90
"""

SWEEPS = (
    "cpa_nm=0.1:1.2:0.1",
    "tcpa_min=1,2,4,8",
    "probability=0.2,0.5,0.8",
    "basis=recomputed,reported,either",
    "hold_s=0,20",
    "clear_ratio=1,1.5",
    "clear_hold_s=0,20",
)


WIDE = (
    "cpa_nm=0.8:2.4:0.2",
    "tcpa_min=12,18,24",
    "probability=0.02,0.05,0.2,0.5",
    "basis=recomputed,reported,either",
    "hold_s=0,20",
    "clear_hold_s=0,20",
)
"""For vessels that are far off and slow to come."""


@pytest.fixture(scope="module")
def recording(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return bench_makers.write_busy(tmp_path_factory.mktemp("busy"))


@pytest.fixture(scope="module")
def pairs(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The first minute and a half of a recording in which AIS tracks are told of, and then found to be the radar's."""
    path = tmp_path_factory.mktemp("pairs") / "ais-beside-radar.nmea"
    with gzip.open(RECORDINGS / "ais-beside-radar.nmea.gz") as file:
        path.write_bytes(b"".join(islice(file, 800)))
    return path


def config_of(folder: Path, extra: str = "") -> Config:
    path = folder / "secondplot.toml"
    path.write_text(CONFIG + extra, encoding="utf-8")
    return load(path)


class Alerts:
    """A sink that keeps closest_approach's alerts."""

    name = "alerts"
    trouble = ""
    lost = 0

    def __init__(self) -> None:
        self.all: list[Alert] = []

    def take(self, moment: Moment, events: Sequence[AnyEvent]) -> None:
        self.all += [one for one in events if isinstance(one, Alert) and one.rule == "closest_approach"]

    def idle(self, now_s: float) -> None:
        pass

    def close(self) -> None:
        pass


def replayed(recording: Path, config: Config, limits: Limits) -> Told:
    """The changes of state that a replay with these limits writes as events."""
    kept = Alerts()
    settings = lookout_settings(config)
    settings = type(settings)(
        **{
            name: getattr(settings, name) for name in settings.__struct_fields__ if name not in ("alerts", "conditions")
        },
        alerts=limits.alerts,
        conditions=limits.conditions,
    )
    one = Recording(str(recording))
    stream = Stream(Lookout(settings), [kept], feeds_of([one]), RecordedTimeline())
    run(stream, [one], MAX, HostClock(), threading.Event())
    stream.close()
    told_before: dict[int, str] = {}
    changes: Told = []
    for alert in kept.all:
        if told_before.get(alert.id) != alert.state:
            is_new = alert.id not in told_before
            changes.append((alert.time.utc_ms, str(alert.target), str(alert.state), is_new))
            told_before[alert.id] = str(alert.state)
    return sorted(changes)


def as_told(changes: Sequence[Change]) -> Told:
    known: set[int] = set()
    found: Told = []
    for change in changes:
        found.append((change.utc_ms, change.target, str(change.state), change.alert not in known))
        known.add(change.alert)
    return found


def swept_plots(recording: Path, config: Config, grid: Grid) -> Near:
    near = Near(lookout_settings(config), columns_of([setting.limits for setting in grid.settings]))
    read([str(recording)], lookout_settings(config), [near])
    return near


def swept(recording: Path, config: Config, grid: Grid) -> dict[int, Told]:
    near = swept_plots(recording, config, grid)
    found: dict[int, Told] = {number: [] for number in range(len(grid.settings))}
    for one in told(near, config.alerts):
        for setting in one.settings:
            found[setting] += as_told(one.changes)
    return {number: sorted(changes) for number, changes in found.items()}


def abreast(recording: Path, config: Config, grid: Grid, chosen: Sequence[int]) -> list[Told]:
    side_by_side = Abreast(lookout_settings(config), [grid.settings[one].limits for one in chosen], grid.rules)
    read([str(recording)], lookout_settings(config), [side_by_side])
    return [sorted(as_told(watch.changes.all)) for watch in side_by_side.watches]


def test_for_fifty_random_settings_the_alerts_are_those_of_a_replay(recording: Path, tmp_path: Path) -> None:
    """Count and times, to the millisecond: raised, raised again, rectified and over, of every target."""
    config = config_of(tmp_path)
    grid = grid_of(config, SWEEPS)
    found = swept(recording, config, grid)
    chosen = [0, *random.Random(8).sample(range(1, len(grid.settings)), 50)]

    expected = {number: replayed(recording, config, grid.settings[number].limits) for number in chosen}

    assert grid.vectorised
    assert {number: found[number] for number in chosen} == expected
    # The comparison is worth something: most settings tell something, and they differ among themselves.
    assert sum(bool(one) for one in expected.values()) > 40
    assert len({str(one) for one in expected.values()}) > 35


def test_an_alert_goes_on_where_two_tracks_are_found_to_be_one_vessel(pairs: Path) -> None:
    """AIS and radar of one vessel: fifty more random settings, in which an alert that is told of the AIS target goes on
    under the radar's and is no second one."""
    config = load(None)
    grid = grid_of(config, WIDE)
    chosen = [0, *random.Random(10).sample(range(1, len(grid.settings)), 50)]
    carried = {turn.target: turn.into for turn in swept_plots(pairs, config, grid).turns if turn.what is What.CARRIED}

    found = swept(pairs, config, grid)

    assert {number: found[number] for number in chosen} == {
        number: replayed(pairs, config, grid.settings[number].limits) for number in chosen
    }
    assert len(carried) == 3
    # An alert that began on the one and is over, once, on the other.
    went_on = [
        number
        for number in chosen
        if any(is_new and target in carried for _, target, _, is_new in found[number])
        and any(not is_new and target in carried.values() for _, target, _, is_new in found[number])
    ]
    assert len(went_on) > 12


def test_both_ways_of_sweeping_tell_the_same(recording: Path, tmp_path: Path) -> None:
    """Arrays, and the rules run side by side; also where the rule is off in a condition that comes in half way."""
    for extra in ("", '[alerts.closest_approach]\nconditions = ["open water"]\npriority = "warning"\n'):
        config = config_of(tmp_path, extra)
        grid = grid_of(config, SWEEPS)
        chosen = [0, *random.Random(9).sample(range(1, len(grid.settings)), 12)]
        found = swept(recording, config, grid)

        assert [found[one] for one in chosen] == abreast(recording, config, grid, chosen)
        assert any(found[one] for one in chosen)


def test_both_ways_give_the_same_figures(pairs: Path) -> None:
    """Of vessels with two tracks as well: warnings, counts and times in alarm of every encounter."""
    config = load(None)
    grid = grid_of(config, ["cpa_nm=0.8,1.2,2", "tcpa_min=12,24", "probability=0.05,0.2"])
    task = Task(
        paths=(str(pairs),), name="pairs", settings=lookout_settings(config), grid=grid, within_nm=4.0, close_nm=1.0,
        by_truth=False,
    )  # fmt: skip
    arrays, rules = work(task), work(structs.replace(task, grid=structs.replace(grid, vectorised=False)))

    assert arrays.raised.sum() > 10
    for name in ("warned_min", "raised", "nuisance", "again", "alarm_s", "elsewhere", "in_alarm_s"):
        assert_array_equal(getattr(arrays, name), getattr(rules, name), err_msg=name)


def test_any_other_key_is_swept_by_the_rules_themselves(recording: Path, tmp_path: Path) -> None:
    """A key of another rule: each setting's alerts are a replay's."""
    config = config_of(tmp_path)
    grid = grid_of(config, ["alerts.closest_approach.again_min=0,3", "alerts.life.flap_window_s=0,300"])

    assert not grid.vectorised
    assert abreast(recording, config, grid, range(5)) == [
        replayed(recording, config, grid.settings[number].limits) for number in range(5)
    ]
